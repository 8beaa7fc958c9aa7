"""How numba is told to compile the kernel, and to keep the machine code."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib.metadata import version
from typing import Any, TypeVar

import numba
from numba.core import config

from simbot.physics.compiled import made_folder

F = TypeVar("F", bound=Callable[..., Any])

TRIED = ("0.68.",)  # versions of numba whose inside `one_program` is known to fit


@contextmanager
def _kept_apart() -> Iterator[None]:
    """What is compiled here is cached in its own folder; what others compile stays where they have it."""
    theirs = config.CACHE_DIR  # type: ignore[attr-defined]  # numba's settings are made at run time
    config.CACHE_DIR = str(made_folder())  # type: ignore[attr-defined]
    try:
        yield
    finally:
        config.CACHE_DIR = theirs  # type: ignore[attr-defined]


def _program() -> Any:
    """The module that compiles in one, or None where it might not fit."""
    if not version("numba").startswith(TRIED):
        return None
    from simbot.physics import one_program

    return one_program


one_program = _program()


def inner(function: F) -> F:
    """Compile a function that only other compiled functions call; it makes no arrays of its own."""
    options: dict[str, Any] = {
        "error_model": "numpy",
        "no_cpython_wrapper": True,
        "no_cfunc_wrapper": True,
        "_nrt": False,
        "no_rewrites": True,
    }
    if one_program:
        options["pipeline_class"] = one_program.InnerCompiler
    return numba.njit(**options)(function)  # type: ignore[no-any-return]


def entry(function: F) -> F:
    """Compile a function that Python calls, and keep the machine code."""
    options: dict[str, Any] = {"error_model": "numpy", "nogil": True, "cache": True, "no_rewrites": True}
    if one_program:
        options["pipeline_class"] = one_program.EntryCompiler
    with _kept_apart():
        kept = numba.njit(**options)(function)
    if not one_program:
        return kept  # type: ignore[no-any-return]
    return one_program.reload_lightly(kept)  # type: ignore[no-any-return]

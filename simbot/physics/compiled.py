"""The one home of numba: turns plain functions of floats into machine code, cached for good.

The cache lies in the user's own cache folder, so that a read-only installation is cached too, under a name
made from the text of every kernel source and the versions below it: an edited source can never be answered
from a stale cache.
"""

from __future__ import annotations

import hashlib
import os
import platform
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from importlib.metadata import version
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt
from platformdirs import user_cache_path

Array = npt.NDArray[np.float64]
F = TypeVar("F", bound=Callable[..., Any])

KEPT = 8  # folders of compiled code, of this and of other versions, the newest

SOURCES = (
    "layout.py",
    "forces.py",
    "apart.py",
    "bus.py",
    "linear.py",
    "quick.py",
    "control.py",
    "steps.py",
    "events.py",
    "modes.py",
    "ticks.py",
    "stepper.py",
    "record.py",
    "air.py",
    "stroke.py",
    "stroke_compiled.py",
    "compiled.py",
    "one_program.py",
    "haste.py",
    "lowering.py",
)


def cache_folder() -> Path:
    """Folder of the compiled code that belongs to these very sources."""
    here = Path(__file__).parent
    digest = hashlib.sha256()
    for name in SOURCES:
        digest.update(name.encode())
        digest.update((here / name).read_bytes())
    for part in (version("numba"), version("numpy"), sys.version, platform.machine(), platform.processor()):
        digest.update(part.encode())
    base = os.environ.get("SIMBOT_CACHE_DIR")
    root = Path(base) if base else user_cache_path("simbot", appauthor=False)
    return root / "kernel" / digest.hexdigest()[:20]


def needs_compiling() -> bool:
    """True where the next simulation compiles the kernel first (once, 20 seconds or so)."""
    folder = cache_folder()
    return not (folder / "complete").exists()


def mark_complete() -> None:
    """Note that everything a run needs has been compiled and cached."""
    try:
        folder = cache_folder()
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "complete").touch()
        others = sorted(
            (path for path in folder.parent.iterdir() if path != folder),
            key=lambda path: path.stat().st_mtime,
        )
    except OSError:
        return  # an unwritable cache costs time, never an answer
    for old in others[: -KEPT + 1]:
        shutil.rmtree(old, ignore_errors=True)


def _set_up() -> Any:
    with suppress(OSError):
        cache_folder().mkdir(parents=True, exist_ok=True)
    import numba

    return numba


_numba = _set_up()


@contextmanager
def _kept_apart() -> Iterator[None]:
    """What is compiled here is cached in its own folder; what others compile stays where they have it."""
    from numba.core import config

    theirs = config.CACHE_DIR  # type: ignore[attr-defined]  # numba's settings are made at run time
    config.CACHE_DIR = str(cache_folder())  # type: ignore[attr-defined]
    try:
        yield
    finally:
        config.CACHE_DIR = theirs  # type: ignore[attr-defined]


TRIED = ("0.68.",)  # versions of numba whose inside `one_program` is known to fit


def _program() -> Any:
    """The module that compiles in one, or None where it might not fit."""
    if not version("numba").startswith(TRIED):
        return None
    from simbot.physics import one_program

    return one_program


_one_program = _program()


def inner(function: F) -> F:
    """Compile a function that only other compiled functions call; it makes no arrays of its own."""
    options = {"error_model": "numpy", "no_cpython_wrapper": True, "no_cfunc_wrapper": True, "_nrt": False}
    if _one_program:
        options["pipeline_class"] = _one_program.InnerCompiler
    return _numba.njit(no_rewrites=True, **options)(function)  # type: ignore[no-any-return]


def entry(function: F) -> F:
    """Compile a function that Python calls, and keep the machine code."""
    options = {"error_model": "numpy", "nogil": True, "cache": True, "no_rewrites": True}
    if _one_program:
        options["pipeline_class"] = _one_program.EntryCompiler
    with _kept_apart():
        kept = _numba.njit(**options)(function)
    if not _one_program:
        return kept  # type: ignore[no-any-return]
    return _one_program.reload_lightly(kept)  # type: ignore[no-any-return]

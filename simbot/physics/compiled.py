"""Turns plain functions of floats into machine code, cached for good.

The cache lies in the user's own cache folder, so that a read-only installation is cached too, under a name
made from the text of every kernel source and the versions below it: an edited source can never be answered
from a stale cache. Which processor it was made for is asked by what loads it (numba, `ready`). Once everything
is in it, numba is not loaded any more (`ready`).
"""

from __future__ import annotations

import hashlib
import os
import platform
import shutil
import sys
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any, TypeVar, cast

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
    "ready.py",
    "with_numba.py",
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
    for part in (version("numba"), version("numpy"), sys.version, platform.machine()):
        digest.update(part.encode())
    base = os.environ.get("SIMBOT_CACHE_DIR")
    root = Path(base) if base else user_cache_path("simbot", appauthor=False)
    return root / "kernel" / digest.hexdigest()[:20]


def made_folder() -> Path:
    """That folder, made where it was not there yet and can be."""
    with suppress(OSError):
        cache_folder().mkdir(parents=True, exist_ok=True)
    return cache_folder()


def needs_compiling() -> bool:
    """True where the next simulation compiles the kernel first (once, 20 seconds or so)."""
    folder = cache_folder()
    return not (folder / "complete").exists()


def mark_complete() -> None:
    """Note that everything a run needs has been compiled and cached."""
    try:
        folder = made_folder()
        (folder / "complete").touch()
        others = sorted(
            (path for path in folder.parent.iterdir() if path != folder),
            key=lambda path: path.stat().st_mtime,
        )
    except OSError:
        return  # an unwritable cache costs time, never an answer
    for old in others[: -KEPT + 1]:
        shutil.rmtree(old, ignore_errors=True)


_numba_alone = False


def by_numba() -> None:
    """Let numba load the whole kernel in this process, as entries of one's own need it; said before any is made."""
    global _numba_alone
    _numba_alone = True


@cache
def _at_hand() -> dict[str, Callable[..., Any]]:
    """The entries, if all are in the cache and can be linked; none where numba is to load or compile them."""
    if _numba_alone:
        return {}
    from simbot.physics import ready

    return ready.load(cache_folder())


def inner(function: F) -> F:
    """Compile a function that only other compiled functions call; it makes no arrays of its own."""
    if _at_hand():
        return function
    from simbot.physics import with_numba

    return with_numba.inner(function)


def entry(function: F) -> F:
    """Compile a function that Python calls, and keep the machine code."""
    if _at_hand():
        from simbot.physics.ready import name_of

        return cast(F, _at_hand()[name_of(function)])
    from simbot.physics import with_numba

    return with_numba.entry(function)

"""The first run on a machine: a second process compiles the smaller entries while the first one compiles the stepper.

What it has compiled is found in the cache. Where there is one core only, where the cache cannot be written, or where
the process does not start or fails, the first one compiles those entries too, as it comes to them.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from math import inf

import numpy as np

from simbot.physics import layout as L
from simbot.physics.compiled import made_folder


def answers() -> None:
    """Compile what a run asks its log, and a cylinder's stroke, by asking an empty log."""
    from simbot.physics import record
    from simbot.physics.stroke_compiled import stroke_time

    log = np.zeros((1, L.LOG_MECH + L.LOG_PER_MECH))
    record.first_time(log, 1, 0, 0.0, 1.0, inf, 0.0, 1.0, True)
    record.inside_since(log, 1, 0, 0.0, 1.0, inf, 0.0, 1.0)
    record.state_at(log, 1, 0, 0.0)
    record.touched_at(log, 1, 0, 0.0, 0.0)
    record.lagged_square(log, 1, 0, 1.0, 1.0, 1.0)
    stroke_time(1e-8, 1e-8, 0.3, 7e5, 1e-3, inf, 1e-3, 1e-3, 1e5, 0.1, 1e-5, 1.0, 0.0, 0.0)


@contextmanager
def aside() -> Iterator[subprocess.Popen[bytes] | None]:
    """A process that compiles the answers meanwhile; it ends with this at the latest, whatever happens."""
    process = _start() if (os.cpu_count() or 1) > 1 and os.access(made_folder(), os.W_OK) else None
    try:
        yield process
    finally:
        if process is not None:
            process.kill()
            process.wait()


def _start() -> subprocess.Popen[bytes] | None:
    code = f"import sys; sys.path[:] = {sys.path!r}; from {__name__} import answers; answers()"
    nothing = subprocess.DEVNULL
    try:
        return subprocess.Popen(
            [sys.executable, "-P", "-c", code], stdin=nothing, stdout=nothing, stderr=nothing
        )
    except OSError:
        return None

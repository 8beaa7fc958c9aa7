"""The same drawn examples on every run and every machine; entries of the tests' own beside the kernel's."""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: as the command line has it

from hypothesis import settings
from hypothesis.internal.conjecture import providers

from simbot.physics.compiled import by_numba

by_numba()  # in this process: commands and workers load the kernel as a user's do
# else examples hang on which modules other tests have loaded by then: numbers in them are drawn too
if hasattr(providers, "_get_local_constants"):
    providers._get_local_constants = lambda: providers._local_constants
settings.register_profile("steady", derandomize=True)
settings.load_profile("steady")

"""The same drawn examples on every run and every machine; entries of the tests' own beside the kernel's."""

from __future__ import annotations

from hypothesis import settings

from simbot.physics.compiled import by_numba

by_numba()  # in this process: commands and workers load the kernel as a user's do
settings.register_profile("steady", derandomize=True)
settings.load_profile("steady")

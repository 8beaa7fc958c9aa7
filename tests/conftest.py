"""The same drawn examples on every run and every machine."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("steady", derandomize=True)
settings.load_profile("steady")

"""Independent engines that some checks need: where one is absent a user skips, and the full check fails."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from importlib.util import find_spec

import pytest


@pytest.fixture
def need_engine() -> Callable[[str], None]:
    """Call with the name of a program (ngspice) or a package (mujoco, ruckig)."""

    def need(name: str) -> None:
        if shutil.which(name) or find_spec(name):
            return
        if os.environ.get("CI") == "true":
            pytest.fail(f"{name} is not installed")
        pytest.skip(f"{name} is not installed")

    return need

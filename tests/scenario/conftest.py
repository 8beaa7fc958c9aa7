"""Sample files, and a way to load them with a few characters changed."""

from __future__ import annotations

from pathlib import Path

import pytest

from simbot.physics.kinds import KINDS
from simbot.scenario.errors import ScenarioError
from simbot.scenario.load import load_plan

SAMPLE = Path(__file__).parent / "sample"


class Folder:
    """The sample's three files in a folder of their own."""

    def __init__(self, path):
        self.path = path
        for file in SAMPLE.glob("*.yaml"):
            (path / file.name).write_bytes(file.read_bytes())

    def edit(self, file, old, new):
        """Replace the first occurrence; returns the new text."""
        path = self.path / f"{file}.yaml"
        text = path.read_text(encoding="utf-8")
        assert old in text, old
        text = text.replace(old, new, 1)
        path.write_text(text, encoding="utf-8")
        return text

    def load(self, **overrides):
        return load_plan(self.path / "plan.yaml", KINDS, overrides)

    def problems(self, overrides=None):
        with pytest.raises(ScenarioError) as caught:
            load_plan(self.path / "plan.yaml", KINDS, overrides or {})
        return caught.value.problems


@pytest.fixture
def folder(tmp_path):
    return Folder(tmp_path)

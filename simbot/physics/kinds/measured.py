"""A time from a stopwatch, and no physics: it is where it was sent once the time is over, till then nowhere."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from simbot.physics.kinds.common import HOLDING
from simbot.physics.outline import Outline
from simbot.scenario.parameters import Parameter

NAME = "measured"
COORDINATE = "word"
SUMMARY = "a stopwatch time, no physics"
PARAMETERS = (
    Parameter("time", "time", "from the command to being there", required=True, low=0.0, high=600.0),
    *HOLDING,
)
EXAMPLE = """\
time: 300 ms
"""
SKETCH = """
   command ----- `time` -----> it is there
"""


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Nothing: a stopwatch time has no geometry."""
    return ()

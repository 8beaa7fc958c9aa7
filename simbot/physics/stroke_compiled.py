"""A cylinder's stroke as machine code."""

from __future__ import annotations

from simbot.physics import stroke
from simbot.physics.compiled import entry

stroke_time = entry(stroke.stroke_time)

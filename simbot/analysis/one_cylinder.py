"""One cylinder alone on its tank: its strokes out and in by turns, from a full tank to the first that fails."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from simbot.physics.air import ATMOSPHERE
from simbot.physics.kinds import cylinder
from simbot.physics.stroke import stroke_time
from simbot.scenario.model import MechanismSpec, Robot

MOST = 2000  # strokes that are looked at


@dataclass(frozen=True)
class StrokeNumbers:
    """One stroke; pressures above the outer air [Pa]."""

    number: int  # from 1 on
    outwards: bool
    tank: float  # before it
    at_end: float | None  # in the cylinder; None: it takes no air
    needs: float
    push: float  # at its end, its spring's force taken into account [N]
    time_s: float | None  # None: it does not get there
    reason: str  # of one that does not


@dataclass(frozen=True)
class OneCylinder:
    """All strokes on one fill, and the first that does not get there; SI."""

    robot: Robot
    spec: MechanismSpec
    owner: str  # of the tank
    strokes: tuple[StrokeNumbers, ...]
    holds_out_pa: float | None  # down to this it stays out; None: no air could hold it
    holds_in_pa: float | None
    without_air: str  # "in", "out", or "": it stays

    @property
    def done(self) -> int:
        """Strokes on one fill that get there; no more than `MOST` are looked at."""
        return sum(stroke.time_s is not None for stroke in self.strokes)


def strokes_of(robot: Robot, name: str) -> OneCylinder:
    """The strokes of a cylinder of a robot; nothing else takes air from its tank."""
    spec = robot.mechanisms[name]
    p = spec.values
    owner = p["tank_of"] or name
    tank = robot.mechanisms[owner].values
    room, pressure = float(tank["tank"]), float(tank["supply"]) + ATMOSPHERE
    run = stroke_time
    if p["time"] is None:
        from simbot.physics.stroke_compiled import stroke_time as run
    strokes: list[StrokeNumbers] = []
    while len(strokes) < MOST and not (strokes and strokes[-1].reason):
        out = len(strokes) % 2 == 0
        timed = p["time"] if out or p["time_in"] is None else p["time_in"]
        stroke = cylinder.one_stroke(p, pressure, out, room, None if timed is None else float(timed), run)
        strokes.append(
            StrokeNumbers(
                number=len(strokes) + 1,
                outwards=out,
                tank=pressure - ATMOSPHERE,
                at_end=None if stroke.at_end == inf else stroke.at_end - ATMOSPHERE,
                needs=cylinder.least_pressure(p, out),
                push=cylinder.push(p, stroke.at_end, out),
                time_s=None if stroke.why else stroke.seconds,
                reason=stroke.why,
            )
        )
        pressure = stroke.left
    return OneCylinder(
        robot,
        spec,
        owner,
        tuple(strokes),
        cylinder.holds_down_to(p, True),
        cylinder.holds_down_to(p, False),
        cylinder.without_air(p),
    )

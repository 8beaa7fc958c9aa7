"""What `simbot move` is asked: its options read against the robot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from simbot.physics.build import DRIVES, LIFTS_ROBOTS
from simbot.physics.heat import AIR
from simbot.scenario.errors import SimbotError
from simbot.scenario.given import mechanism_given, position_given, quantity_given, way_given
from simbot.scenario.model import Robot

FIGURES = (".png", ".svg", ".pdf")
LOAD_MAX = 500.0  # kg
COLD, HOT = -40.0, 200.0  # degrees C, of a motor


@dataclass(frozen=True)
class Asked:
    """Options of `simbot move` in SI; None where not given."""

    start: float | None
    target: float | None
    turn: float | None
    loads: tuple[float, ...]
    until: float | None
    volts: float | None
    celsius: float  # of the motors in the tables
    battery: str


def read_asked(
    robot: Robot, mechanism: str, start: str | None, target: str | None, turn: str | None,
    loads: Sequence[str], until: str | None, tables: bool, volts: str | None, celsius: float | None,
    battery: str | None, figure: str | None,
) -> Asked:  # fmt: skip
    """The options read, each mistake told with the option's name."""
    spec = mechanism_given(robot, mechanism)
    drives, positioned = spec.kind in DRIVES, "travel" in spec.values
    if turn is not None and not drives:
        raise SimbotError(f"--turn {turn}: {mechanism} is no drive; --from and --to say where it goes")
    if turn is not None and target is not None:
        raise SimbotError(f"--turn {turn}: a straight line (--to) or a turn, one at a time")
    if start is not None and not positioned:
        raise SimbotError(f"--from {start}: {mechanism} has no travel to start from")
    if target is not None and not (positioned or drives):
        raise SimbotError(f"--to {target}: {mechanism} only turns; it has nowhere to go")
    if until is not None and spec.kind not in LIFTS_ROBOTS:
        raise SimbotError(f"--until {until}: {mechanism} is no winch and no hoist")
    if volts is not None and not tables:
        raise SimbotError(
            f"--volts {volts}: says at which voltage --tables are; without them it does nothing"
        )
    if tables and not positioned:
        raise SimbotError(f"--tables: {mechanism} has no travel to table")
    if celsius is not None and not tables:
        raise SimbotError(
            f"--celsius {celsius:g}: says how warm motors are in --tables; without them it does nothing"
        )
    if celsius is not None and not COLD <= celsius <= HOT:
        raise SimbotError(f"--celsius {celsius:g}: would do: {COLD:g} to {HOT:g}")
    if figure is not None and Path(figure).suffix.lower() not in FIGURES:
        raise SimbotError(f"--figure {figure}: would do: a file ending in {', '.join(FIGURES)}")
    goal = None
    if target is not None:
        goal = (position_given if positioned else way_given)("--to", target, spec)
    return Asked(
        None if start is None else position_given("--from", start, spec),
        goal,
        None if turn is None else float(quantity_given("--turn", turn, "angle", -3.1416, 3.1416)),
        tuple(float(quantity_given("--load", text, "mass", 0.0, LOAD_MAX)) for text in loads),
        None if until is None else float(quantity_given("--until", until, "time", 0.0)),
        None if volts is None else float(quantity_given("--volts", volts, "voltage", 0.1, 100.0)),
        AIR if celsius is None else celsius,
        _battery(robot, battery),
    )


def _battery(robot: Robot, wanted: str | None) -> str:
    names = [state.name for state in robot.battery]
    if wanted is None:
        return "mid-event" if "mid-event" in names else names[len(names) // 2]
    if wanted not in names:
        raise SimbotError(
            f"--battery {wanted}: the robot has no such battery state; it has {', '.join(names)}"
        )
    return wanted

"""The Python door: run a plan that has been loaded, and get its numbers.

>>> from pathlib import Path
>>> from simbot.api import run
>>> from simbot.physics.kinds import KINDS
>>> from simbot.scenario.load import load_plan
>>> plan, remarks = load_plan(Path("plan.yaml"), KINDS)  # doctest: +SKIP
>>> run(plan).states[0].cycle_time_s  # doctest: +SKIP
4.18
"""

from __future__ import annotations

from collections.abc import Sequence

from simbot.analysis.move_results import OneMove, Tables
from simbot.analysis.one_cylinder import OneCylinder, strokes_of
from simbot.analysis.one_move import examine, ways_of
from simbot.analysis.results import RunResult, StateResult
from simbot.analysis.states import run_result, state_result
from simbot.physics.build import Models
from simbot.routine.match import TOLERANCE, play
from simbot.scenario.errors import SimbotError, nearest, quoted
from simbot.scenario.given import mechanism_given
from simbot.scenario.model import BatteryState, Plan, Robot


def run(plan: Plan, states: Sequence[str] | None = None, tolerance: float = TOLERANCE) -> RunResult:
    """Nominal runs of a plan on some of the robot's battery states (all, unless named), strongest first.

    Parameters
    ----------
    plan : Plan
        As loaded by `simbot.scenario.load.load_plan`.
    states : sequence of str, optional
        Names of battery states.
    tolerance : float
        Relative tolerance of the integrator.

    Returns
    -------
    RunResult
        The same for the same files, to the last bit.

    Raises
    ------
    SimbotError
        Where the robot has no battery state of that name, or a repeat of the plan never ends.
    """
    if states is None:
        wanted = plan.robot.battery
    else:
        named = [_battery(plan, name) for name in states]
        wanted = tuple(battery for battery in plan.robot.battery if battery in named)
    models = Models(plan.robot)
    return run_result(plan, tuple(_run_on(plan, battery, tolerance, models) for battery in wanted))


def move(
    robot: Robot,
    mechanism: str,
    start: float | None = None,
    target: float | None = None,
    turn: float | None = None,
    loads: Sequence[float] = (),
    tables: Tables | None = None,
    tolerance: float = TOLERANCE,
) -> OneMove:
    """One mechanism alone, on all of the robot's battery states: times, energies, limits, holding.

    Parameters
    ----------
    robot : Robot
        As loaded by `simbot.scenario.load.load_robot`.
    mechanism : str
        Its name.
    start, target : float, optional
        Positions [m, rad]; neither: both ends of the travel, there and back. Of a drive: `target` is the
        distance ahead [m].
    turn : float, optional
        Of a drive: the angle to turn in place [rad].
    loads : sequence of float
        Masses it carries [kg], each looked at besides nothing.
    tables : Tables, optional
        To be handed on (see `simbot.analysis.one_move.tables_of`).

    Raises
    ------
    SimbotError
        Where the robot has no such mechanism, it has no physics, or the ends are the same.
    """
    spec = mechanism_given(robot, mechanism)
    ways = ways_of(spec, start, target, turn)
    if any(way.start == way.target for way in ways):
        raise SimbotError(f"{mechanism} would not move: its start is its target")
    return examine(robot, mechanism, ways, (0.0, *loads), tolerance, tables)


def strokes(robot: Robot, mechanism: str) -> OneCylinder:
    """One pneumatic cylinder alone on its full tank: its strokes, out and in by turns, to the first that fails.

    Parameters
    ----------
    robot : Robot
        As loaded by `simbot.scenario.load.load_robot`.
    mechanism : str
        Its name.

    Raises
    ------
    SimbotError
        Where the robot has no cylinder of that name.
    """
    cylinders = [name for name, spec in robot.mechanisms.items() if spec.kind == "cylinder"]
    if mechanism not in cylinders:
        raise SimbotError(
            f"{robot.name} has no cylinder {quoted(mechanism)}; it has {', '.join(cylinders) or 'none'}"
        )
    return strokes_of(robot, mechanism)


def _run_on(plan: Plan, battery: BatteryState, tolerance: float, models: Models) -> StateResult:
    trace, plant = play(plan, battery, models, tolerance)
    return state_result(plan, battery, plant, trace)


def _battery(plan: Plan, name: str) -> BatteryState:
    states = {battery.name: battery for battery in plan.robot.battery}
    if name not in states:
        guess = nearest(name, states)
        hint = f"; did you mean {quoted(guess)}?" if guess else f"; there are: {', '.join(states)}"
        raise SimbotError(f"the robot has no battery state {quoted(name)}{hint}")
    return states[name]

"""What a team wants of a value: `arrival <= 0.8 s, tired; current <= 20 A`, and whether it is so at every spread.

A mechanism: each quantity with a spread is put to both its ends by itself, and all of them at once to those that are
worse for the wish; the worst of these runs counts. It is the worst of all where each quantity pulls one way
whatever the others are.

A plan: robots drawn from the spreads, each in a nominal match. Where a wish does not hold for all of them, each
quantity is put to both its ends by itself, to see what it hangs on. A wish about matches with chance has met the
spreads already: it holds surely where the whole interval does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from simbot.physics.build import DRIVES, Models
from simbot.physics.spreads import Path, all_spread_paths, at_ends, quantity_at, spread_paths
from simbot.scenario.model import BatteryState, Plan, Robot
from simbot.studies.drawn import battery_of_match, robot_of_day
from simbot.studies.strata import DrawnEvenly
from simbot.studies.sweep_asked import Wish
from simbot.studies.sweep_points import Changes, Look, OneMechanism, WholePlan

WITH_CHANCE = ("mean", "mean_rate")
ROBOTS = 20  # drawn for a plan: each quantity once in each twentieth of its spread
END = {-1.0: "low", 1.0: "high"}


@dataclass(frozen=True)
class Spread:
    """A wish over the whole spread at one value of what is swept.

    Parameters
    ----------
    holds : bool
    worst : float or None
        The measure at its worst, SI: of a mechanism with every quantity at its worse end, of a plan among drawn robots,
        of matches with chance the worse end of the interval.
    blame : str
        The quantity that matters most, at which end; empty where none has a spread, or of a plan none does it alone.
    guessed : bool
        Nobody stated that one: a default stands in for it.
    share : float or None
        Of a plan: the share of drawn robots for which it holds.
    """

    holds: bool
    worst: float | None = None
    blame: str = ""
    guessed: bool = False
    share: float | None = None


def over_spread(
    subject: OneMechanism | WholePlan, changes: Changes, wishes: Sequence[Wish], looks: Sequence[Look]
) -> tuple[Spread, ...]:
    """Every wish over the whole spread, in their order; `looks`: what was seen in its middle."""
    if isinstance(subject, OneMechanism):
        return _of_mechanism(subject, changes, wishes)
    chance = {wish: _of_chance(wish, looks) for wish in wishes if wish.measure in WITH_CHANCE}
    nominal = [wish for wish in wishes if wish not in chance]
    found = {**chance, **dict(zip(nominal, _of_plan(subject, changes, nominal), strict=True))}
    return tuple(found[wish] for wish in wishes)


def _of_mechanism(subject: OneMechanism, changes: Changes, wishes: Sequence[Wish]) -> tuple[Spread, ...]:
    robot = subject.robot(changes)
    way, load = subject.asked(robot)
    models = Models(subject.alone(robot))
    name = subject.mechanism
    drives = robot.mechanisms[name].kind in DRIVES
    found: dict[Wish, Spread] = {}
    for battery in robot.battery:
        own = [wish for wish in wishes if wish.state == battery.name]
        if not own:
            continue

        def look(ends: list[tuple[Path, float]], battery: BatteryState = battery) -> Look:
            return subject.look(*at_ends(models.robot, battery, ends), way, load)

        paths = spread_paths(models.robot, battery, name, drives)
        alone = {(path, sign): look([(path, sign)]) for path in paths for sign in (-1.0, 1.0)}
        for wish in own:
            ends = [
                max(
                    ((path, sign) for sign in (-1.0, 1.0)),
                    key=lambda end: wish.worse(alone[end].values[wish.measure]),
                )
                for path in paths
            ]
            looked = [look(ends), *alone.values()]
            worst = max((each.values[wish.measure] for each in looked), key=wish.worse)
            blame = max(ends, key=lambda end: wish.worse(alone[end].values[wish.measure]), default=None)
            if blame is None:
                found[wish] = Spread(wish.holds(worst), worst)
                continue
            told, guessed = _blamed(models.robot, battery, blame)
            found[wish] = Spread(wish.holds(worst), worst, told, guessed)
    return tuple(found[wish] for wish in wishes)


def path_told(path: Path, battery: BatteryState) -> str:
    """A quantity by its key, as short as is clear."""
    where, *rest = path
    if where == "battery":
        return ".".join(map(str, ("battery", battery.name, *rest)))
    return ".".join(map(str, rest if where in ("robot", "mechanisms") else path))


def _blamed(robot: Robot, battery: BatteryState, end: tuple[Path, float]) -> tuple[str, bool]:
    """A quantity at an end in words, and whether nobody stated it."""
    path, sign = end
    return f"{path_told(path, battery)} at its {END[sign]} end", quantity_at(robot, battery, path).assumed


def _of_chance(wish: Wish, looks: Sequence[Look]) -> Spread:
    """A wish about drawn matches: whether the worse end of the interval fulfils it."""
    drawn = next(look.drawn for look in looks if look.state == wish.state)
    figure = None if drawn is None else drawn.mean if wish.measure == "mean" else drawn.rate
    if figure is None or figure.interval is None:
        return Spread(False)
    worst = max(figure.interval, key=wish.worse)
    return Spread(wish.holds(worst), worst)


def _of_plan(subject: WholePlan, changes: Changes, wishes: Sequence[Wish]) -> list[Spread]:
    plan = subject.plan(changes)
    models = [Models(robot_of_day(plan.robot, _luck(number))) for number in range(ROBOTS if wishes else 0)]
    found: dict[Wish, Spread] = {}
    for battery in plan.robot.battery:
        own = [wish for wish in wishes if wish.state == battery.name]
        if not own:
            continue
        looks = [
            subject.look(plan, each, battery_of_match(battery, _luck(number)))
            for number, each in enumerate(models)
        ]
        ends: dict[tuple[Path, float], Look] = {}
        for wish in own:
            seen = [look.values[wish.measure] for look in looks]
            held = sum(map(wish.holds, seen))
            blame, guessed = "", False
            if held < ROBOTS:
                ends = ends or _each_end(subject, plan, battery)
                one = max(ends, key=lambda end: wish.worse(ends[end].values[wish.measure]), default=None)
                if one is not None and not wish.holds(ends[one].values[wish.measure]):
                    blame, guessed = _blamed(Models(plan.robot).robot, battery, one)
            found[wish] = Spread(held == ROBOTS, max(seen, key=wish.worse), blame, guessed, held / ROBOTS)
    return [found[wish] for wish in wishes]


def _luck(number: int) -> DrawnEvenly:
    """Of a drawn robot."""
    return DrawnEvenly(1, number, number, "")


def _each_end(subject: WholePlan, plan: Plan, battery: BatteryState) -> dict[tuple[Path, float], Look]:
    """The plan with each quantity that has a spread at an end of it by itself."""
    robot = Models(plan.robot).robot
    return {
        (path, sign): subject.look(plan, *at_ends(robot, battery, [(path, sign)]))
        for path in all_spread_paths(robot, battery)
        for sign in (-1.0, 1.0)
    }

"""What a team wants of a value: `arrival <= 0.8 s, tired; current <= 20 A`, and whether it is so at every spread.

A mechanism: each quantity with a spread is put to both its ends by itself, and all of them at once to those that are
worse for the wish; the worst of these runs counts. It is the worst of all where each quantity pulls one way
whatever the others are. A plan:
robots drawn from the spreads, each in a nominal match; the share of them in which the wish holds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from simbot.physics.build import DRIVES, Models
from simbot.physics.spreads import Path, at_ends, quantity_at, spread_paths
from simbot.scenario.model import BatteryState
from simbot.studies.drawn import battery_of_match, robot_of_day
from simbot.studies.strata import DrawnEvenly
from simbot.studies.sweep_asked import Wish
from simbot.studies.sweep_points import Changes, Look, OneMechanism, WholePlan

ROBOTS = 20  # drawn for a plan: each quantity once in each twentieth of its spread
END = {-1.0: "low", 1.0: "high"}


@dataclass(frozen=True)
class Spread:
    """A wish over the whole spread at one value of what is swept.

    Parameters
    ----------
    holds : bool
    worst : float or None
        Of a mechanism: the measure with every quantity at its worse end, SI.
    blame : str
        The quantity that matters most, at which end; empty where none has a spread.
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
    subject: OneMechanism | WholePlan, changes: Changes, wishes: Sequence[Wish]
) -> tuple[Spread, ...]:
    """Every wish over the whole spread, in their order."""
    if isinstance(subject, OneMechanism):
        return _of_mechanism(subject, changes, wishes)
    return _of_plan(subject, changes, wishes)


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
            return subject.look(*at_ends(models.robot, battery, name, ends), way, load)

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
            told = f"{_told(blame[0], battery)} at its {END[blame[1]]} end"
            guessed = quantity_at(models.robot, battery, blame[0]).assumed
            found[wish] = Spread(wish.holds(worst), worst, told, guessed)
    return tuple(found[wish] for wish in wishes)


def _told(path: Path, battery: BatteryState) -> str:
    where, *rest = path
    if where == "battery":
        return ".".join(map(str, ("battery", battery.name, *rest)))
    return ".".join(map(str, rest if where in ("robot", "mechanisms") else path))


def _of_plan(subject: WholePlan, changes: Changes, wishes: Sequence[Wish]) -> tuple[Spread, ...]:
    plan = subject.plan(changes)
    held = dict.fromkeys(wishes, 0)
    for number in range(ROBOTS):
        luck = DrawnEvenly(1, number, number, "")
        drawn = robot_of_day(plan.robot, luck)
        models = Models(drawn)
        for battery in drawn.battery:
            own = [wish for wish in wishes if wish.state == battery.name]
            if own:
                look = subject.look(plan, models, battery_of_match(battery, luck))
                for wish in own:
                    held[wish] += wish.holds(look.values[wish.measure])
    return tuple(Spread(held[wish] == ROBOTS, share=held[wish] / ROBOTS) for wish in wishes)

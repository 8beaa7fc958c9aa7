"""What the best value of a sweep of one mechanism hangs on: each quantity with a spread, at both its ends.

One at a time, all else in the middle of its spread: how far each moves the measure by itself.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

from simbot.physics.build import DRIVES, Models
from simbot.physics.spreads import at_ends, quantity_at, spread_paths
from simbot.studies.sweep import Hang, SweepResult
from simbot.studies.sweep_answer import best_point
from simbot.studies.sweep_points import OneMechanism
from simbot.studies.wishes import path_told


def with_hangs(result: SweepResult) -> SweepResult:
    """The same with what its best value hangs on, what moves it most first; a plan's, or one cut short, as it is."""
    best, subject, asked = best_point(result), result.subject, result.asked
    if best is None or result.stopped or not isinstance(subject, OneMechanism):
        return result
    robot = subject.robot(
        {axis.key: axis.text(value) for axis, value in zip(asked.axes, best.at, strict=True)}
    )
    way, load = subject.asked(robot)
    whole = Models(subject.alone(robot)).robot
    battery = next(each for each in robot.battery if each.name == asked.states[0])
    hangs = []
    for path in spread_paths(
        whole, battery, subject.mechanism, robot.mechanisms[subject.mechanism].kind in DRIVES
    ):
        low, high = (
            subject.look(*at_ends(whole, battery, [(path, sign)]), way, load).values[asked.by.name]
            for sign in (-1.0, 1.0)
        )
        hangs.append(Hang(path_told(path, battery), quantity_at(whole, battery, path).assumed, low, high))
    middle = best.value(asked.by)
    hangs.sort(key=lambda hang: (-_moves(hang, middle), hang.name))
    return replace(result, hangs=tuple(hangs))


def _moves(hang: Hang, middle: float | None) -> float:
    """How far apart a quantity can put the measure; without end where it can leave none."""
    values = [value for value in (hang.low, middle, hang.high) if value is not None]
    return max(values) - min(values) if len(values) == 3 else inf

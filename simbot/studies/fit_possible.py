"""Times that no value of the unknowns explains: shorter than any control could make the move."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from pathlib import Path

import numpy as np

from simbot.physics.build import least_factor
from simbot.physics.motor import motor_model
from simbot.scenario.errors import Problem, ScenarioError
from simbot.scenario.measured import Condition, Measured
from simbot.scenario.model import Plan
from simbot.studies.fit_data import PRESS, error_of
from simbot.studies.likelihood import Data
from simbot.studies.predicted import Predictor, bench, bench_time
from simbot.studies.unknowns import Unknown, with_numbers

SURE = 2.0  # standard deviations
BY_FAR = 0.5  # of the shortest cycle of the plan: what else may be wrong in the files does not explain it


def check_possible(
    file: Path,
    plan: Plan,
    unknowns: Sequence[Unknown],
    measured: Sequence[Measured],
    data: Data,
    conditions: Sequence[Condition],
    predictor: Predictor,
) -> list[str]:
    """Hold the means against what the motors can do at all, with every unknown at its better bound.

    Of a cycle nobody knows what the motors can do at all: it is held against the plan with every unknown there.

    Returns
    -------
    Means that are too short, but not surely.

    Raises
    ------
    ScenarioError
        Where a mean is surely too short, with the line of its first trial.
    """
    problems, doubts = [], []
    predicted = predictor(np.array([unknown.given.number for unknown in unknowns]))
    for place, condition in enumerate(conditions):
        if condition.kind == "cycle":
            problem, doubt = _cycle(file, measured, data, place, predictor)
            problems += problem
            doubts += doubt
        if condition.kind != "move":
            continue
        of_it = np.flatnonzero(data.condition == place)
        mean = float(np.mean(data.value[of_it]))
        if mean >= predicted[place]:
            continue
        least, speed, free = _best(plan, unknowns, condition, mean)
        if mean >= least:
            continue
        shared = data.shift_sd if data.shifted[of_it].any() else 0.0
        error = sqrt(float(np.mean(data.sd[of_it] ** 2)) / len(of_it) + shared**2)
        first = measured[of_it[0]]
        unit = "m/s" if plan.robot.mechanisms[condition.mechanism].coordinate == "length" else "rad/s"
        unit = "rad/s" if condition.turning else unit
        text = f"{first.text} on {condition.battery}: a mean of {mean:.3f} s is not possible"
        if speed > free:
            text = (
                f"{first.text} on {condition.battery}: the measured mean, {mean:.3f} s or {speed:.3g} {unit}, is above "
                f"the free speed, {free:.3g} {unit}, from standstill"
            )
        text += (
            f"; no control and no value of the unknowns makes it shorter than {least:.3f} s: a rolling start, the "
            "stopwatch, another motor or gearing, or a stronger battery than the file has"
        )
        if mean + SURE * error < least:
            problems.append(Problem(str(file), first.line, 1, "value", None, "", None, text))
        else:
            doubts.append(text)
    if problems:
        raise ScenarioError(problems)
    return doubts


def _cycle(
    file: Path, measured: Sequence[Measured], data: Data, place: int, predictor: Predictor
) -> tuple[list[Problem], list[str]]:
    """Cycles that are too short for the plan: by far, which is refused, or surely."""
    of_it = np.flatnonzero(data.condition == place)
    mean, first = float(np.mean(data.value[of_it])), measured[of_it[0]]
    error = sqrt(error_of(first, data.shift_sd / PRESS) ** 2 / len(of_it) + data.shift_sd**2)
    least = _shortest(predictor, place)
    if mean + SURE * error >= least:
        return [], []
    text = (
        f"{first.text} on {first.condition.battery}: a mean of {mean:.3f} s is not possible; no value of the unknowns "
        f"makes any simulated cycle shorter than {least:.3f} s: is it timed from one delivery to the next?"
    )
    if mean < BY_FAR * least:
        return [Problem(str(file), first.line, 1, "value", None, "", None, text)], []
    return [], [text]


def _shortest(predictor: Predictor, place: int) -> float:
    """The shortest simulated cycle with one unknown after the other at its better bound [s]."""
    numbers = np.array([unknown.given.number for unknown in predictor.unknowns])
    for number, unknown in enumerate(predictor.unknowns):
        tried = [numbers]
        for end in (unknown.low, unknown.high):
            tried.append(numbers.copy())
            tried[-1][number] = end
        numbers = min(tried, key=lambda each: float(predictor(each)[place]))
    plan = with_numbers(predictor.plan, predictor.unknowns, list(numbers))
    return min(predictor.cycle_times(plan, predictor.conditions[place].battery), default=0.0)


def _best(
    plan: Plan, unknowns: Sequence[Unknown], condition: Condition, mean: float
) -> tuple[float, float, float]:
    """The least time [s], the measured mean speed and the free speed [m/s, rad/s]."""
    number = next(n for n, each in enumerate(plan.robot.battery) if each.name == condition.battery)
    numbers = [unknown.given.number for unknown in unknowns]
    for place, unknown in enumerate(unknowns):
        if unknown.touches(condition.mechanism, condition.battery, plan):
            ends = []
            for end in (unknown.low, unknown.high):
                tried = with_numbers(plan, unknowns, [*numbers[:place], end, *numbers[place + 1 :]])
                ends.append((bench_time(tried.robot, tried.robot.battery[number], condition), end))
            numbers[place] = min(ends)[1]
    best = with_numbers(plan, unknowns, numbers)
    battery = best.robot.battery[number]
    plant, command = bench(best.robot, battery, condition)
    move = plant.command(condition.mechanism, command)
    assert condition.target is not None
    way = abs(condition.target - (condition.start or 0.0)) - move.window
    direction = None if condition.turning else 0.0
    built = plant.models.get(condition.mechanism, condition.load, direction)
    servo = plant.models.robot.mechanisms[condition.mechanism].servo
    rail = None if servo is None or servo["rail"] is None else plant.models.robot.rails[servo["rail"]].voltage
    volts = battery.open_circuit if rail is None else min(rail, battery.open_circuit)
    free = built.free_speed * float(volts) / built.volts / least_factor(built.reduced)
    if servo is None:  # the sheet's, which is less than that of a motor without friction
        sheet = plant.models.robot.motors[
            plant.models.robot.mechanisms[condition.mechanism].values["motors"].motor
        ]
        free *= float(sheet.free_speed) * motor_model(sheet).constant / float(sheet.voltage)
    floor = move.floor_s()
    return (0.0 if floor is None else floor), way / mean, free

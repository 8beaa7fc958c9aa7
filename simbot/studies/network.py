"""A routine as a network of waits: what follows what, how long each takes in a run, and the slack of each."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import fmean

from simbot.scenario.model import (
    FirstStep,
    Plan,
    RepeatStep,
    RunStep,
    SequenceStep,
    Step,
    TogetherStep,
    TryStep,
    WaitStep,
    WhenStep,
)
from simbot.scenario.plan_file import held_steps
from simbot.studies.critical_path import schedule
from simbot.studies.runs import Ran
from simbot.studies.tune_results import Activity, PathOf

MOST = 2000  # activities of one network


class _Network:
    """Activities by number, in the order of the routine."""

    def __init__(self, plan: Plan, took_us: dict[int, float]) -> None:
        self.plan = plan
        self.took_us = took_us
        self.waits: list[WaitStep] = []
        self.after: dict[int, list[int]] = {}

    def put(self, step: Step, before: list[int]) -> list[int]:
        """Add what a step waits for; the activities that end it."""
        if isinstance(step, WaitStep):
            if id(step) not in self.took_us or len(self.waits) >= MOST:
                return before
            number = len(self.waits)
            self.waits.append(step)
            self.after[number] = before
            return [number]
        if isinstance(step, SequenceStep):
            for inner in step.steps:
                before = self.put(inner, before)
            return before
        if isinstance(step, TogetherStep):
            ends = [self.put(branch, before) for branch in step.branches]
            return list(dict.fromkeys(number for end in ends for number in end))
        if isinstance(step, RepeatStep):
            for _ in range(step.times or 1):
                before = self.put(step.steps, before)
            return before
        if isinstance(step, RunStep):
            return self.put(self.plan.routines[step.routine], before)
        if isinstance(step, FirstStep | TryStep | WhenStep):  # what was not done took no time
            for inner in held_steps(step):
                before = self.put(inner, before)
        return before


def paths_of(ran: Ran) -> tuple[PathOf, ...]:
    """Each period's network with its own real waits in a run, the mean of repeats; one without end counts once."""
    roots = dict(ran.plan.periods)
    if ran.plan.endgame is not None:
        roots["endgame"] = ran.plan.endgame.steps
    paths = (_path(ran, name, steps) for name, steps in roots.items())
    return tuple(path for path in paths if path.activities)


def _path(ran: Ran, name: str, steps: SequenceStep) -> PathOf:
    waited: dict[int, list[int]] = {}
    labels: dict[int, tuple[str, ...]] = {}
    for wait in ran.trace.waits:
        if not wait.cut and wait.period == name:
            waited.setdefault(id(wait.given), []).append(wait.ended_us - wait.began_us)
            timed = tuple(dict.fromkeys(ran.trace.moves[index].label for index in wait.moves))
            labels.setdefault(id(wait.given), timed)
    took = {step: fmean(each) for step, each in waited.items()}
    network = _Network(ran.plan, took)
    network.put(steps, [])
    durations: dict[int, float] = {number: round(took[id(wait)]) for number, wait in enumerate(network.waits)}
    found = schedule(durations, network.after)
    critical = set(found.path)
    return PathOf(
        name,
        round(found.length),
        tuple(
            Activity(
                wait.line,
                _label(wait, labels[id(wait)]),
                round(durations[number]),
                round(found.slack(number)),
                number in critical,
            )
            for number, wait in enumerate(network.waits)
        ),
    )


def _label(wait: WaitStep, labels: Sequence[str]) -> str:
    if wait.purpose is not None:
        return wait.purpose
    return ", ".join(labels) or "no move"

"""Repeats in which no time passes: those that never end, and those that may not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from simbot.scenario.errors import Fault
from simbot.scenario.model import (
    ActStep,
    DriveForStep,
    DriveStep,
    EffortStep,
    FirstStep,
    LeaveStep,
    MoveStep,
    Plan,
    RepeatStep,
    RunStep,
    SenseStep,
    SequenceStep,
    SpinStep,
    Step,
    TryStep,
    WaitStep,
    WhenStep,
    ZeroStep,
)
from simbot.scenario.plan_file import fail_at_line, held_steps, inner_steps
from simbot.scenario.sheet import Sheet

NEVER, MAYBE, SURE = 0, 1, 2  # whether a step takes time, or ends the repeat that it stands in
MOST_AT_ONCE = 1_000_000  # steps at one instant
COMMANDS = MoveStep | DriveStep | DriveForStep | EffortStep | ZeroStep | SpinStep | ActStep


@dataclass
class _Round:
    """A round of a repeat, from its second on: what was commanded before the repeat has been waited for."""

    plan: Plan
    end_us: int  # of the period
    commands: bool  # something is commanded in it
    reacts: bool  # a person sees arrivals

    def takes(self, step: Step, at_least: bool = False) -> int:
        """Whether it takes time, at least or at most."""
        if isinstance(step, WaitStep):
            return self._wait(step)
        if isinstance(step, SenseStep):
            return SURE
        if isinstance(step, ActStep | LeaveStep):
            return MAYBE
        if isinstance(step, DriveStep):
            return MAYBE if self.plan.patterns or self.plan.defenders or self.plan.partner else NEVER
        if isinstance(step, RunStep):
            return self.takes(self.plan.routines[step.routine], at_least)
        inside = [self.takes(inner, at_least) for inner in held_steps(step)]
        if isinstance(step, RepeatStep) and step.times is None:
            leaves = any(isinstance(inner, LeaveStep) for inner in inner_steps(step, self.plan, inline=True))
            return inside[0] if leaves else SURE
        if isinstance(step, WhenStep):
            ways = inside if step.otherwise is not None else [*inside, NEVER]
            return min(ways) if at_least else max(ways)
        if isinstance(step, FirstStep):
            return min(inside)
        if isinstance(step, TryStep) and at_least:
            return inside[0]
        return max(inside, default=NEVER)

    def _wait(self, step: WaitStep) -> int:
        if step.past is not None:
            return MAYBE
        if step.arrival:
            return MAYBE if self.commands or self.reacts else NEVER
        if step.until_us is not None:
            return NEVER if step.until_us < self.end_us else SURE
        return SURE if step.duration_us else NEVER

    def steps(self, step: Step) -> int:
        """How many steps are taken in it."""
        if isinstance(step, RunStep):
            return self.steps(self.plan.routines[step.routine])
        inside = sum(self.steps(inner) for inner in held_steps(step))
        return (step.times or 1) * inside if isinstance(step, RepeatStep) else max(1, inside)


def check_endless(sheet: Sheet, plan: Plan) -> None:
    """Note repeats in which no time can ever pass."""
    found = False
    for step, around in _repeats(plan):
        if found or around.takes(step.steps) != NEVER:
            continue
        if step.times is None:
            wanted = "a wait that takes time in every round"
            fault = Fault(
                "from its second round on no time passes: it never ends", "until period_end", wanted
            )
            fail_at_line(sheet, step, "repeat", fault)
            found = True
        elif (number := around.steps(step)) > MOST_AT_ONCE:
            given, wanted = f"{number} steps", f"at most {MOST_AT_ONCE}, or a wait among them"
            fail_at_line(sheet, step, "repeat", Fault("too many steps at one instant", given, wanted))
            found = True


def idle_rounds(plan: Plan) -> Iterator[tuple[int, str, str]]:
    """Repeats without end in which time passes only where the one condition in them is so."""
    told: set[int] = set()
    for step, around in _repeats(plan):
        if step.times is not None or around.takes(step.steps, at_least=True) != NEVER:
            continue
        whens = [inner for inner in inner_steps(step.steps, plan, inline=True) if isinstance(inner, WhenStep)]
        if len(whens) == 1 and whens[0].line not in told and not _always(whens[0], around.end_us):
            told.add(whens[0].line)
            yield (
                whens[0].line,
                "when",
                f"once its condition is not so, the repeat of line {step.line} never ends, because no time passes "
                "in it: a wait or `leave: repeat` under `otherwise` would do",
            )


def _always(step: WhenStep, end_us: int) -> bool:
    """Whether a condition is so in the whole period."""
    asked = [(one.kind, one.least, one.negated) for one in step.conditions]
    late = all(one.below is not None and one.below >= end_us for one in step.conditions)
    return late and all(one == ("clock", None, False) for one in asked)


def _repeats(plan: Plan) -> Iterator[tuple[RepeatStep, _Round]]:
    """Every repeat of every period, routines written out, with the rounds that it makes there."""
    for period, root, end_us in _roots(plan):
        reacts = plan.driver is not None and period in plan.driver.periods
        for step in inner_steps(root, plan, inline=True):
            if isinstance(step, RepeatStep):
                inside = inner_steps(step, plan, inline=True)
                commands = any(isinstance(inner, COMMANDS) for inner in inside)
                yield step, _Round(plan, end_us, commands, reacts)


def _roots(plan: Plan) -> Iterator[tuple[str, SequenceStep, int]]:
    end_us, endgame = 0, plan.endgame
    for period in plan.game.periods:
        end_us += period.duration_us
        if period.name in plan.periods:
            cut = endgame is not None and end_us - period.duration_us < endgame.begin_us < end_us
            last = endgame.begin_us if endgame is not None and cut else end_us
            yield period.name, plan.periods[period.name], last
    if endgame is not None:
        yield "endgame", endgame.steps, end_us

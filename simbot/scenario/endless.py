"""Repeats in which no time passes: those that never end, and those that may not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from simbot.scenario.errors import Fault
from simbot.scenario.model import (
    ActStep,
    DriveForStep,
    DriveStep,
    EffortStep,
    FirstStep,
    HandOverStep,
    LeaveStep,
    LetGoStep,
    MoveStep,
    PickStep,
    PlaceStep,
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
from simbot.scenario.situations import Situation, situations

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
    begin_us: int = 0  # of the period
    now: Situation | None = None  # what conditions find; None: either
    asked: dict[int, bool] = field(default_factory=dict)  # line of a condition that was found so, or not
    fails: bool = True  # a `try` may fail at once
    acts_idle: bool = False  # what picks and places change is asked nowhere in it
    inner: bool = False  # within another repeat in it, which `leave: repeat` ends

    def takes(self, step: Step, at_least: bool = False) -> int:
        """Whether it takes time, at least or at most."""
        if isinstance(step, WaitStep):
            return self._wait(step)
        if isinstance(step, SenseStep):
            return SURE
        if isinstance(step, ActStep):
            return MAYBE if not at_least or not self.acts_idle or self._queues(step) else NEVER
        if isinstance(step, LeaveStep):
            return NEVER if at_least and self.inner and step.what == "repeat" else MAYBE
        if isinstance(step, LetGoStep) and self.now is not None:
            return NEVER if at_least and self.acts_idle else MAYBE
        if isinstance(step, WhenStep) and self.now is not None:
            so = self.asked[step.line] = self.now.so(step)
            done = step.steps if so else step.otherwise
            return NEVER if done is None else self.takes(done, at_least)
        if isinstance(step, DriveStep):
            return MAYBE if self.plan.patterns or self.plan.defenders or self.plan.partner else NEVER
        if isinstance(step, RunStep):
            return self.takes(self.plan.routines[step.routine], at_least)
        if isinstance(step, TryStep) and at_least:
            return self._tries(step)
        around = replace(self, inner=True) if isinstance(step, RepeatStep) else self
        inside = [around.takes(inner, at_least) for inner in held_steps(step)]
        if isinstance(step, RepeatStep) and step.times is None:
            leaves = any(isinstance(inner, LeaveStep) for inner in inner_steps(step, self.plan, inline=True))
            return inside[0] if leaves else SURE
        if isinstance(step, WhenStep):
            ways = inside if step.otherwise is not None else [*inside, NEVER]
            return min(ways) if at_least else max(ways)
        if isinstance(step, FirstStep):
            return min(inside)
        return max(inside, default=NEVER)

    def _tries(self, step: TryStep) -> int:
        """What a `try` takes at least, whether or not something in it fails."""
        inside = inner_steps(step.steps, self.plan, inline=True)
        closes = any(isinstance(inner, PickStep | HandOverStep) for inner in inside)  # which is waited for
        through = max(self.takes(step.steps, at_least=True), MAYBE if closes else NEVER)
        failed = self._failure(step.steps) if self.fails else None
        if failed is None:
            return through
        then = NEVER if step.otherwise is None else self.takes(step.otherwise, at_least=True)
        return min(through, max(failed, then))

    def _failure(self, step: Step) -> int | None:
        """What passes at least until something in it fails; None: nothing in it fails at once."""
        if isinstance(step, ActStep):
            at_once = bool(step.needs) or isinstance(step, PlaceStep)
            return self.takes(step, at_least=True) if at_once else None
        if isinstance(step, RunStep):
            return self._failure(self.plan.routines[step.routine])
        if not isinstance(step, SequenceStep):
            return (
                MAYBE
                if any(isinstance(inner, ActStep) for inner in inner_steps(step, self.plan, True))
                else None
            )
        found: list[int] = []
        before = NEVER
        for inner in step.steps:
            failed = self._failure(inner)
            if failed is not None:
                found.append(max(before, failed))
            before = max(before, self.takes(inner, at_least=True))
        return min(found, default=None)

    def _queues(self, step: ActStep) -> bool:
        """Whether it may have to wait: for an element, or for a place to be cleared."""
        if isinstance(step, PickStep):
            return self.plan.game.stations[step.station].stock is not None
        return isinstance(step, PlaceStep) and self.plan.game.places[step.place].clearing_us is not None

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


NO_FAILURE = (
    "where nothing in its `try` fails no time passes, and it never ends: a wait in every round would do"
)
FAILURE = (
    "where its `try` fails at once no time passes, and it never ends: a wait or `leave: repeat` under its "
    "`otherwise` would do"
)
NO_TIME = "it comes to rounds in which no time passes, and then never ends: a wait in every round would do"
BY_ACTS = ("holds", "points", "room", "stock")  # what conditions ask that a pick or a place changes


def idle_rounds(plan: Plan) -> Iterator[tuple[int, str, str]]:
    """Repeats without end in which no time passes in some situation."""
    told: set[int] = set()
    for step, around in _repeats(plan):
        if step.times is not None or step.line in told:
            continue
        inside = list(inner_steps(step.steps, plan, inline=True))
        whens = [inner for inner in inside if isinstance(inner, WhenStep)]
        asks = {one.kind for inner in whens for one in inner.conditions}
        around = replace(around, acts_idle=asks.isdisjoint(BY_ACTS))
        if replace(around, commands=False).takes(step.steps, at_least=True) != NEVER:
            continue
        tries = any(isinstance(inner, TryStep) for inner in inside)
        for fails in (False, True) if tries else (False,):
            if step.line in told:
                break
            for now in situations(plan, whens, around.begin_us, around.end_us):
                commands = any(isinstance(inner, COMMANDS) for inner in _come_to(step.steps, plan, now))
                looked = replace(around, now=now, asked={}, fails=fails, commands=commands)
                if looked.takes(step.steps, at_least=True) == NEVER:
                    told.add(step.line)
                    yield _told(step, looked, tries)
                    break


def _come_to(step: Step, plan: Plan, now: Situation) -> Iterator[Step]:
    """The step and all in it that conditions let it come to."""
    yield step
    inside = held_steps(step)
    if isinstance(step, WhenStep) and not now.so(step):
        inside = () if step.otherwise is None else (step.otherwise,)
    elif isinstance(step, WhenStep | RunStep):
        inside = (step.steps if isinstance(step, WhenStep) else plan.routines[step.routine],)
    for inner in inside:
        yield from _come_to(inner, plan, now)


def _told(step: RepeatStep, looked: _Round, tries: bool) -> tuple[int, str, str]:
    if looked.asked:
        failing = "where a `try` fails at once, " if looked.fails else ""
        return min(looked.asked), "when", failing + _idle(step, looked.asked)
    if not tries:
        return step.line, "repeat", NO_TIME
    return step.line, "repeat", FAILURE if looked.fails else NO_FAILURE


def _idle(step: RepeatStep, asked: dict[int, bool]) -> str:
    """What such a situation is, by the lines that ask for it."""
    endless = f"the repeat of line {step.line} never ends, because no time passes in it"
    if len(asked) == 1:
        (so,) = asked.values()
        under = "`do`" if so else "`otherwise`"
        once = "is so" if so else "is not so"
        return f"once its condition {once}, {endless}: a wait or `leave: repeat` under {under} would do"
    found = (f"what line {line} asks is {'' if so else 'not '}so" for line, so in sorted(asked.items()))
    return f"once {' and '.join(found)}, {endless}: a wait or `leave: repeat` for that would do"


def _repeats(plan: Plan) -> Iterator[tuple[RepeatStep, _Round]]:
    """Every repeat of every period, routines written out, with the rounds that it makes there."""
    for period, root, begin_us, end_us in roots(plan):
        reacts = plan.driver is not None and period in plan.driver.periods
        for step in inner_steps(root, plan, inline=True):
            if isinstance(step, RepeatStep):
                inside = inner_steps(step, plan, inline=True)
                commands = any(isinstance(inner, COMMANDS) for inner in inside)
                yield step, _Round(plan, end_us, commands, reacts, begin_us)


def roots(plan: Plan) -> Iterator[tuple[str, SequenceStep, int, int]]:
    """Periods with what is done in them, from when to when."""
    end_us, endgame = 0, plan.endgame
    for period in plan.game.periods:
        end_us += period.duration_us
        if period.name in plan.periods:
            begin_us = end_us - period.duration_us
            cut = endgame is not None and begin_us < endgame.begin_us < end_us
            last = endgame.begin_us if endgame is not None and cut else end_us
            yield period.name, plan.periods[period.name], begin_us, last
    if endgame is not None:
        yield "endgame", endgame.steps, endgame.begin_us, end_us

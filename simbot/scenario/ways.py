"""Where each mechanism was sent last, whichever way a plan goes: the ground of what is said of needs and waits."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from math import inf

from simbot.scenario.model import (
    ActStep,
    DriveForStep,
    DriveStep,
    EffortStep,
    FirstStep,
    HandOverStep,
    LeaveStep,
    MoveStep,
    Need,
    PawlStep,
    Plan,
    Pose,
    RepeatStep,
    RunStep,
    SequenceStep,
    SpinStep,
    Step,
    Target,
    TogetherStep,
    TryStep,
    WaitStep,
    WhenStep,
    ZeroStep,
)
from simbot.scenario.plan_file import all_steps, held_steps, inner_steps, sends

START = 0  # line of what no step sent
OVERSHOOT = (
    0.4  # of its way, by which a loop may carry beyond its target what it lifts; anything else as far again
)
ELSEWHERE = {"zero", "zero_drift", "backlash"}  # keys by which it stands where its code does not see it


@dataclass(frozen=True)
class Sent:
    """Where a mechanism was sent last, whether a wait saw it arrive, and whether the next wait looks at it."""

    target: Target | Pose | None  # None: it stands where the files do not say
    line: int
    there: bool = False
    due: bool = False
    low: float = -inf  # where it was sent from, if at a coordinate: no lower, and no higher
    high: float = inf


# mechanism -> all that may have been its last command; one that is absent may be anywhere
State = dict[str, frozenset[Sent]]


def without(state: State, mechanisms: set[str]) -> State:
    return {name: sent for name, sent in state.items() if name not in mechanisms}


def _timed(state: State, arrived: bool = False) -> State:
    """After a wait, or where there may have been one: the next one looks at nothing of this."""
    due = {name: {one for one in sent if one.due} for name, sent in state.items()}
    return {
        name: (sent - due[name]) | {replace(one, there=arrived, due=False) for one in due[name]}
        for name, sent in state.items()
    }


def _either(ways: list[State]) -> State:
    """What is known where one of several ways was gone."""
    common = set(ways[0]).intersection(*ways[1:])
    return {name: frozenset().union(*(way[name] for way in ways)) for name in common}


def at_start(plan: Plan) -> State:
    """Where everything stands before the first step, as far as the plan says it."""
    drives = {step.mechanism for step in all_steps(plan) if isinstance(step, DriveStep)}
    drives |= {need.mechanism for need in _needs(plan) if isinstance(need.target, Pose)}
    state = {name: frozenset((Sent(at, START, True),)) for name, at in plan.start.positions.items()}
    if plan.start.pose is not None:
        state |= {name: frozenset((Sent(plan.start.pose, START, True),)) for name in drives}
    return state


def _needs(plan: Plan) -> Iterable[Need]:
    for step in all_steps(plan):
        if isinstance(step, ActStep):
            yield from step.needs


def window_of(plan: Plan, mechanism: str) -> float | None:
    """How far from its target it may be where it has arrived; None: it may stand anywhere."""
    spec = plan.robot.mechanisms[mechanism]
    if spec.kind == "claw" or not ELSEWHERE.isdisjoint(spec.lines):  # a claw arrives at what it closes on
        return None
    loop = spec.servo or spec.values.get("control") or {}
    if loop.get("after", "brake") != "brake":  # it leaves the place at which it has arrived
        return None
    return float(loop.get("window") or 0.0)


@dataclass
class Reading:
    """Goes through a plan and takes down, of each place that is asked of, all that is found there.

    An empty text: nothing is certain there.
    """

    plan: Plan
    found: dict[tuple[int, str], dict[str, None]] = field(default_factory=dict)
    quiet: bool = False

    def read(self, state: State) -> None:
        """The whole plan, from where everything stands at first."""
        for period in self.plan.periods.values():  # the end of a period may cut it anywhere
            self.walk(period, state)
            state = without(state, self.commanded(period))
        if self.plan.endgame is not None:
            self.walk(self.plan.endgame.steps, state)

    def certain(self) -> list[tuple[int, str, str]]:
        """(line, name, text) of what is found there whichever way was gone."""
        return [
            (line, name, next(iter(told)))
            for (line, name), told in sorted(self.found.items())
            if "" not in told
        ]

    def note(self, line: int, name: str, text: str) -> None:
        if not self.quiet:
            self.found.setdefault((line, name), {})[text] = None

    def acts(self, step: ActStep, state: State) -> None:
        """What is to be found of an acting step before it is carried out."""

    def waits(self, step: WaitStep, state: State) -> None:
        """What is to be found of a wait as it begins."""

    def sent(self, mechanism: str, target: Target | Pose, line: int, state: State) -> frozenset[Sent]:
        """What is known of a mechanism that is sent somewhere now."""
        return frozenset((Sent(target, line, due=True),))

    def beside(self, step: TogetherStep | FirstStep, number: int, own: list[set[str]], state: State) -> State:
        """What one of several branches knows: nothing of what the others command (`own`: what each does)."""
        return without(state, set().union(*own[:number], *own[number + 1 :]))

    def commanded(self, step: Step) -> set[str]:
        """Mechanisms that are sent or driven anywhere in it."""
        inside = list(inner_steps(step, self.plan, inline=True))
        names = {name for one in inside for name, _ in sends(one)}
        return names | {one.giver for one in inside if isinstance(one, HandOverStep)}

    def walk(self, step: Step, state: State) -> State:
        """What is known after a step, from what is known before it."""
        if isinstance(step, SequenceStep):
            for inner in step.steps:
                state = self.walk(inner, state)
        elif isinstance(step, RunStep):
            state = self.walk(self.plan.routines[step.routine], state)
        elif isinstance(step, MoveStep):
            state = {
                **state,
                **{
                    goal.mechanism: self.sent(goal.mechanism, goal.target, goal.line, state)
                    for goal in step.goals
                },
            }
        elif isinstance(step, DriveStep):
            state = {**state, step.mechanism: self.sent(step.mechanism, step.pose, step.line, state)}
        elif isinstance(step, DriveForStep | EffortStep | ZeroStep | SpinStep | PawlStep):
            state = without(state, {step.mechanism})
        elif isinstance(step, ActStep):
            state = self._act(step, state)
        elif isinstance(step, WaitStep):
            self.waits(step, state)
            if step.purpose is None and step.past is None:
                state = _timed(state, step.arrival and step.at_most_us is None)
        elif isinstance(step, TogetherStep | FirstStep):
            state = self._side_by_side(step, state)
        elif isinstance(step, WhenStep):
            ways = [self.walk(inner, state) for inner in held_steps(step)]
            state = _either([*ways, *([state] if step.otherwise is None else [])])
        elif isinstance(step, TryStep):
            state = self._try(step, state)
        elif isinstance(step, RepeatStep):
            state = self._repeat(step, state)
        return state

    def _left(self, step: Step, state: State) -> State:
        """What is known where a step was left anywhere in it, from what is known before it."""
        return _timed(without(state, self.commanded(step)))

    def _act(self, step: ActStep, state: State) -> State:
        self.acts(step, state)
        by = step.by
        state = {**state, by.mechanism: self.sent(by.mechanism, by.target, step.line, state)}
        return without(state, {step.giver}) if isinstance(step, HandOverStep) else state

    def _side_by_side(self, step: TogetherStep | FirstStep, state: State) -> State:
        """What a cut branch, or several, command may be anywhere; the waits of one look at its own commands only."""
        own = [self.commanded(branch) for branch in step.branches]
        after = without(state, set().union(*own))
        for number, branch in enumerate(step.branches):
            others = set().union(*own[:number], *own[number + 1 :])
            ended = self.walk(branch, _timed(self.beside(step, number, own, state)))
            if isinstance(step, TogetherStep):
                after |= {name: sent for name, sent in ended.items() if name in own[number] - others}
        return after

    def _try(self, step: TryStep, state: State) -> State:
        """It may fail, or its time run out, anywhere; then it begins anew, or the other thing is done, or nothing."""
        left = self._left(step.steps, state)
        through = self.walk(step.steps, state if step.tries == 1 else _either([state, left]))
        return _either([through, left if step.otherwise is None else self.walk(step.otherwise, left)])

    def _repeat(self, step: RepeatStep, state: State) -> State:
        if step.times != 1:  # a later round begins where one has ended
            loud, self.quiet = self.quiet, True
            once = self.walk(step.steps, without(state, self.commanded(step)))
            self.quiet = loud
            state = _either([state, once])
        after = self.walk(step.steps, state)
        inside = inner_steps(step, self.plan, inline=True)
        leaves = any(isinstance(inner, LeaveStep) for inner in inside)
        return _either([after, self._left(step, state)]) if leaves else after

"""Needs that the plan itself has contradicted: what they want was sent elsewhere for good, and was waited for there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import hypot, pi

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
ELSEWHERE = {"zero", "zero_drift", "backlash"}  # keys by which it stands where its code does not see it


@dataclass(frozen=True)
class Sent:
    """Where a mechanism was sent last, whether a wait saw it arrive, and whether the next wait looks at it."""

    target: Target | Pose
    line: int
    there: bool = False
    due: bool = False


# mechanism -> all that may have been its last command; one that is absent may be anywhere
State = dict[str, frozenset[Sent]]


def _without(state: State, mechanisms: set[str]) -> State:
    return {name: sent for name, sent in state.items() if name not in mechanisms}


def _timed(state: State, arrived: bool = False) -> State:
    """After a wait, or where there may have been one: the next one looks at nothing of this."""
    due = {name: {one for one in sent if one.due} for name, sent in state.items()}
    return {
        name: (sent - due[name]) | {Sent(one.target, one.line, there=arrived) for one in due[name]}
        for name, sent in state.items()
    }


def _either(ways: list[State]) -> State:
    """What is known where one of several ways was gone."""
    common = set(ways[0]).intersection(*ways[1:])
    return {name: frozenset().union(*(way[name] for way in ways)) for name in common}


def contrary_needs(plan: Plan) -> Iterator[tuple[int, str, str]]:
    """(line, key, text) of every need that is contradicted whenever its step is come to."""
    reading = _Reading(plan)
    drives = {step.mechanism for step in all_steps(plan) if isinstance(step, DriveStep)}
    drives |= {need.mechanism for need in _needs(plan) if isinstance(need.target, Pose)}
    state = {name: frozenset((Sent(at, START, True),)) for name, at in plan.start.positions.items()}
    if plan.start.pose is not None:
        state |= {name: frozenset((Sent(plan.start.pose, START, True),)) for name in drives}
    for period in plan.periods.values():  # the end of a period may cut it anywhere
        reading.walk(period, state)
        state = _without(state, reading.commanded(period))
    if plan.endgame is not None:
        reading.walk(plan.endgame.steps, state)
    for (line, mechanism), told in sorted(reading.found.items()):
        if "" not in told:
            yield line, f"needs.{mechanism}", next(iter(told))


def _needs(plan: Plan) -> Iterator[Need]:
    for step in all_steps(plan):
        if isinstance(step, ActStep):
            yield from step.needs


@dataclass
class _Reading:
    """Goes through a plan and takes down, of each need, all that is found of it; empty: nothing is certain."""

    plan: Plan
    found: dict[tuple[int, str], dict[str, None]] = field(default_factory=dict)
    quiet: bool = False

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
            state = {**state, **{goal.mechanism: _now(goal.target, goal.line) for goal in step.goals}}
        elif isinstance(step, DriveStep):
            state = {**state, step.mechanism: _now(step.pose, step.line)}
        elif isinstance(step, DriveForStep | EffortStep | ZeroStep | SpinStep | PawlStep):
            state = _without(state, {step.mechanism})
        elif isinstance(step, ActStep):
            state = self._act(step, state)
        elif isinstance(step, WaitStep):
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
        return _timed(_without(state, self.commanded(step)))

    def _act(self, step: ActStep, state: State) -> State:
        for need in step.needs:
            if not self.quiet:
                self.found.setdefault((step.line, need.mechanism), {})[self._contradicted(need, state)] = None
        state = {**state, step.by.mechanism: _now(step.by.target, step.line)}
        return _without(state, {step.giver}) if isinstance(step, HandOverStep) else state

    def _side_by_side(self, step: TogetherStep | FirstStep, state: State) -> State:
        """Branches know nothing of what the others command; what a cut one, or several, command may be anywhere.

        The waits of a branch look at its own commands only.
        """
        own = [self.commanded(branch) for branch in step.branches]
        after = _without(state, set().union(*own))
        for number, branch in enumerate(step.branches):
            others = set().union(*own[:number], *own[number + 1 :])
            ended = self.walk(branch, _timed(_without(state, others)))
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
            once = self.walk(step.steps, _without(state, self.commanded(step)))
            self.quiet = loud
            state = _either([state, once])
        after = self.walk(step.steps, state)
        inside = inner_steps(step, self.plan, inline=True)
        leaves = any(isinstance(inner, LeaveStep) for inner in inside)
        return _either([after, self._left(step, state)]) if leaves else after

    def _contradicted(self, need: Need, state: State) -> str:
        """How a need is contradicted whatever way was gone; empty: it may be met."""
        sent = state.get(need.mechanism)
        if sent is None or not all(one.there and self._is_off(need, one.target) for one in sent):
            return ""
        lines = sorted({one.line for one in sent} - {START})
        wanted = f"the {need.mechanism} is needed at {need.text}, but"
        if not lines:
            return f"{wanted} nothing before sends it there from where it starts: never met"
        who = f"line {lines[0]}" if len(lines) == 1 else f"lines {', '.join(map(str, lines))}"
        verb = "sends" if len(lines) == 1 else "send"
        return f"{wanted} {who} {verb} it elsewhere, where it has arrived before this step: never met"

    def _is_off(self, need: Need, target: Target | Pose) -> bool:
        """Whether a target is surely another than the one that is needed, wherever in its window it is arrived at."""
        spec = self.plan.robot.mechanisms[need.mechanism]
        if spec.kind == "claw" or not ELSEWHERE.isdisjoint(spec.lines):  # a claw arrives at what it closes on
            return False
        loop = spec.servo or spec.values.get("control") or {}
        if loop.get("after", "brake") != "brake":  # it leaves the place at which it has arrived
            return False
        window = float(loop.get("window") or 0.0)
        if isinstance(need.target, Pose) and isinstance(target, Pose):
            apart = hypot(need.target.x - target.x, need.target.y - target.y)
            return apart > need.within + window
        if isinstance(need.target, float) and isinstance(target, float):
            apart = abs(need.target - target)
            if spec.coordinate == "angle":  # a turn more is the same direction
                apart = abs((apart + pi) % (2.0 * pi) - pi)
            return apart > need.within + window
        return isinstance(need.target, str) and isinstance(target, str) and need.target != target


def _now(target: Target | Pose, line: int) -> frozenset[Sent]:
    return frozenset((Sent(target, line, due=True),))

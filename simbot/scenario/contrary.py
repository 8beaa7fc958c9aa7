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
from simbot.scenario.plan_file import all_steps, held_steps, inner_steps

START = 0  # line of what no step sent


@dataclass(frozen=True)
class Sent:
    """Where a mechanism was sent last, and whether a wait saw it arrive."""

    target: Target | Pose
    line: int
    there: bool = False


# mechanism -> all that may have been its last command; one that is absent may be anywhere
State = dict[str, frozenset[Sent]]


@dataclass
class Way:
    """What is known at a point of the plan; `waiting`: mechanisms whose command no wait has timed yet."""

    state: State
    waiting: frozenset[str] = frozenset()

    def sent(self, mechanism: str, target: Target | Pose, line: int) -> None:
        self.state[mechanism] = frozenset((Sent(target, line),))
        self.waiting |= {mechanism}

    def without(self, mechanisms: set[str]) -> Way:
        return Way({name: sent for name, sent in self.state.items() if name not in mechanisms}, self.waiting)

    def copy(self) -> Way:
        return Way(dict(self.state), self.waiting)


def _either(ways: list[Way]) -> Way:
    """What is known where one of several ways was gone."""
    common = set(ways[0].state).intersection(*(way.state for way in ways))
    state = {name: frozenset().union(*(way.state[name] for way in ways)) for name in common}
    return Way(state, frozenset().union(*(way.waiting for way in ways)))


def contrary_needs(plan: Plan) -> Iterator[tuple[int, str, str]]:
    """(line, key, text) of every need that is contradicted whenever its step is come to."""
    reading = _Reading(plan)
    drives = {step.mechanism for step in all_steps(plan) if isinstance(step, DriveStep)}
    drives |= {need.mechanism for need in _needs(plan) if isinstance(need.target, Pose)}
    state = {name: frozenset((Sent(at, START, True),)) for name, at in plan.start.positions.items()}
    if plan.start.pose is not None:
        state |= {name: frozenset((Sent(plan.start.pose, START, True),)) for name in drives}
    before = Way(state)
    for period in plan.periods.values():  # the end of a period may cut it anywhere
        reading.walk(period, before.copy())
        before = before.without(reading.commanded(period))
    if plan.endgame is not None:
        reading.walk(plan.endgame.steps, before.copy())
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
        names: set[str] = set()
        for one in inner_steps(step, self.plan, inline=True):
            if isinstance(one, MoveStep):
                names |= {goal.mechanism for goal in one.goals}
            elif isinstance(one, ActStep):
                names |= {one.by.mechanism, *([one.giver] if isinstance(one, HandOverStep) else [])}
            elif isinstance(one, DriveStep | DriveForStep | EffortStep | ZeroStep | SpinStep | PawlStep):
                names.add(one.mechanism)
        return names

    def walk(self, step: Step, way: Way) -> Way:
        """What is known after a step, from what is known before it; `way` may be changed."""
        if isinstance(step, SequenceStep):
            for inner in step.steps:
                way = self.walk(inner, way)
        elif isinstance(step, RunStep):
            way = self.walk(self.plan.routines[step.routine], way)
        elif isinstance(step, MoveStep):
            for goal in step.goals:
                way.sent(goal.mechanism, goal.target, goal.line)
        elif isinstance(step, DriveStep):
            way.sent(step.mechanism, step.pose, step.line)
        elif isinstance(step, DriveForStep | EffortStep | ZeroStep | SpinStep | PawlStep):
            way.state.pop(step.mechanism, None)
        elif isinstance(step, ActStep):
            self._act(step, way)
        elif isinstance(step, WaitStep):
            _wait(step, way)
        elif isinstance(step, TogetherStep | FirstStep):
            way = self._side_by_side(step, way)
        elif isinstance(step, WhenStep):
            ways = [self.walk(inner, way.copy()) for inner in held_steps(step)]
            way = _either([*ways, *([way] if step.otherwise is None else [])])
        elif isinstance(step, TryStep):
            again = way.without(self.commanded(step))  # it may begin anew from anywhere in it
            way = _either([self.walk(inner, again.copy()) for inner in held_steps(step)])
        elif isinstance(step, RepeatStep):
            way = self._repeat(step, way)
        return way

    def _act(self, step: ActStep, way: Way) -> None:
        for need in step.needs:
            if not self.quiet:
                self.found.setdefault((step.line, need.mechanism), {})[self._contradicted(need, way)] = None
        way.sent(step.by.mechanism, step.by.target, step.line)
        if isinstance(step, HandOverStep):
            way.state.pop(step.giver, None)

    def _side_by_side(self, step: TogetherStep | FirstStep, way: Way) -> Way:
        """Branches know nothing of what the others command; what a cut one, or several, command may be anywhere."""
        own = [self.commanded(branch) for branch in step.branches]
        after = way.copy()
        for number, branch in enumerate(step.branches):
            others = set().union(*own[:number], *own[number + 1 :])
            left = self.walk(branch, Way(way.without(others).state))
            after = after.without(own[number])
            after.waiting |= left.waiting
            if isinstance(step, TogetherStep):
                alone = own[number] - others
                after.state |= {name: sent for name, sent in left.state.items() if name in alone}
        return after

    def _repeat(self, step: RepeatStep, way: Way) -> Way:
        if step.times != 1:  # a later round begins where one has ended
            loud, self.quiet = self.quiet, True
            once = self.walk(step.steps, way.without(self.commanded(step)))
            self.quiet = loud
            way = _either([way, once])
        after = self.walk(step.steps, way)
        inside = inner_steps(step, self.plan, inline=True)
        leaves = any(isinstance(inner, LeaveStep) for inner in inside)
        return after.without(self.commanded(step)) if leaves else after

    def _contradicted(self, need: Need, way: Way) -> str:
        """How a need is contradicted whatever way was gone; empty: it may be met."""
        sent = way.state.get(need.mechanism)
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
        spec = self.plan.robot.mechanisms[need.mechanism]
        control = spec.values.get("control") or {}
        window = float(spec.values.get("window") or control.get("window") or 0.0)
        if isinstance(need.target, Pose) and isinstance(target, Pose):
            apart = hypot(need.target.x - target.x, need.target.y - target.y)
            return apart > need.within + window
        if isinstance(need.target, float) and isinstance(target, float):
            apart = abs(need.target - target)
            if spec.coordinate == "angle":  # a turn more is the same direction
                apart = abs((apart + pi) % (2.0 * pi) - pi)
            return apart > need.within + window
        return isinstance(need.target, str) and isinstance(target, str) and need.target != target


def _wait(step: WaitStep, way: Way) -> None:
    """A wait for arrivals leaves what it times where it was sent."""
    if step.purpose is not None or step.past is not None:
        return
    if step.arrival and step.at_most_us is None:
        for name in way.waiting & set(way.state):
            way.state[name] = frozenset(Sent(one.target, one.line, True) for one in way.state[name])
    way.waiting = frozenset()

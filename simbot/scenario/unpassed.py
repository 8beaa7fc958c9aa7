"""Waits for a mechanism to pass a point, on a way on which nothing has sent it there, nor does while the wait lasts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import inf

from simbot.scenario.echo import shown
from simbot.scenario.model import (
    FirstStep,
    HandOverStep,
    MoveStep,
    Past,
    PickStep,
    PlaceStep,
    Plan,
    Pose,
    RepeatStep,
    Step,
    Target,
    TogetherStep,
    TryStep,
    WaitStep,
    WhenStep,
)
from simbot.scenario.parameters import Quantity
from simbot.scenario.plan_file import all_steps, inner_steps, sends
from simbot.scenario.unit_table import resolved
from simbot.scenario.ways import ELSEWHERE, OVERSHOOT, START, Reading, Sent, State, at_start, window_of

LEAST = 1e-9  # m, rad


def unpassed(plan: Plan) -> Iterator[tuple[int, str, str]]:
    """(line, key, text) of every wait for a point that is not passed whichever way the plan came to it."""
    if not any(isinstance(step, WaitStep) and step.past is not None for step in all_steps(plan)):
        return
    reading = _Passings(plan)
    reading.read(_at_start(plan))
    told = {line: text for line, _, text in (*reading.certain(), *reading.rounds.certain())}
    for line, text in sorted(told.items()):
        yield line, "wait", text


def _at_start(plan: Plan) -> State:
    """Where everything stands at first, a travel's lower end where the plan says nothing."""
    state = at_start(plan)
    for name, spec in plan.robot.mechanisms.items():
        if name not in state:
            travel = spec.values.get("travel")
            state[name] = frozenset((Sent(float(travel[0]) if travel else None, START, True),))
    return state


@dataclass
class _Passings(Reading):
    """Takes down how each wait for a point is never over.

    `rounds`: those of first rounds of repeats, which nothing comes after where they are never over.
    """

    rounds: Reading = field(init=False)
    sending: list[tuple[str, Sent]] = field(default_factory=list)
    races: bool = False  # another branch may end what is waited for here

    def __post_init__(self) -> None:
        self.rounds = Reading(self.plan)

    def walk(self, step: Step, state: State) -> State:
        races = self.races
        self.races = races or isinstance(step, FirstStep)
        state = super().walk(step, state)
        self.races = races
        return state

    def waits(self, step: WaitStep, state: State) -> None:
        if step.past is not None:
            name = step.past.mechanism
            sure = not self.races or all(
                name != each for one in all_steps(self.plan) for each, _ in sends(one)
            )
            self.note(step.line, name, self._not_passed(step.past, state) if sure else "")

    def sent(self, mechanism: str, target: Target | Pose, line: int, state: State) -> frozenset[Sent]:
        low, high = self._begins(mechanism, state)
        sent = Sent(target, line, due=True, low=low, high=high)
        self.sending.append((mechanism, sent))
        return frozenset((sent,))

    def _begins(self, mechanism: str, state: State) -> tuple[float, float]:
        """Between what coordinates a mechanism stands; what swings goes no further beyond its target than it came."""
        window = window_of(self.plan, mechanism)
        lows, highs = [], []
        for one in state.get(mechanism, frozenset((Sent(None, START),))):
            at = one.target
            if not isinstance(at, float) or window is None:
                return -inf, inf
            room = 0.0 if one.line == START else window
            if not one.there:
                room = max(window, abs(at - one.low), abs(one.high - at))
            lows.append(at - room)
            highs.append(at + room)
        return min(lows), max(highs)

    def beside(self, step: TogetherStep | FirstStep, number: int, own: list[set[str]], state: State) -> State:
        """What exactly one other branch sends, and nothing else does, is one of the places that it sends it to."""
        known = super().beside(step, number, own, state)
        asked = {
            inner.past.mechanism
            for inner in inner_steps(step.branches[number], self.plan, inline=True)
            if isinstance(inner, WaitStep) and inner.past is not None and inner.past.mechanism in state
        }
        for other, branch in enumerate(step.branches):
            rest = set().union(*own[:other], *own[other + 1 :])
            alone = {name for name in (own[other] - rest) & asked if _only_sent(name, branch, self.plan)}
            if other == number or not alone:
                continue
            loud, before, self.quiet, self.sending = self.quiet, self.sending, True, []
            self.walk(branch, super().beside(step, other, own, state))
            self.quiet, self.sending, found = loud, before, self.sending
            known |= {
                name: state[name] | {sent for mechanism, sent in found if mechanism == name} for name in alone
            }
        return known

    def _repeat(self, step: RepeatStep, state: State) -> State:
        if not self.quiet and step.times != 1:
            first = _FirstRound(self.plan)
            first.walk(step.steps, state)
            for (line, name), told in first.found.items():
                for text in told:
                    self.rounds.note(line, name, text)
        return super()._repeat(step, state)

    def _not_passed(self, past: Past, state: State) -> str:
        """How a point is not passed whatever way was gone; empty: it may be."""
        sent = state.get(past.mechanism)
        if sent is None or not all(self._misses(one, past) for one in sent):
            return ""
        lines = sorted({one.line for one in sent} - {START})
        if not lines or past.position is None:
            return f"nothing sends the {past.mechanism} anywhere before this wait or while it lasts: it passes nothing"
        spec = self.plan.robot.mechanisms[past.mechanism]
        where = shown(Quantity(float(past.position)), resolved("coordinate", spec.coordinate))
        who = f"line {lines[0]} sends" if len(lines) == 1 else f"lines {', '.join(map(str, lines))} send"
        return f"{who} the {past.mechanism} on a way that does not pass {where}"

    def _misses(self, one: Sent, past: Past) -> bool:
        """Whether what was sent last surely does not pass it; a point is passed downwards on a way downwards."""
        if past.position is None:
            return one.line == START
        spec = self.plan.robot.mechanisms[past.mechanism]
        window = window_of(self.plan, past.mechanism)
        if not isinstance(one.target, float):
            return False
        if one.line == START:
            rises = spec.values.get("springs") or not ELSEWHERE.isdisjoint(spec.lines)
            return one.target < past.position - LEAST and not rises
        if window is None or spec.values.get("wraps"):
            return False
        if one.high <= one.target - window:
            loop = (spec.values.get("control") or {}).get("loop")
            climbs = spec.coordinate == "length" and loop in ("position", "profile")
            beyond = (OVERSHOOT if climbs else 1.0) * (one.target - one.low)
            return past.position > one.target + max(window, beyond)
        beyond = max(window, one.high - one.target)
        return one.low >= one.target + window and past.position < one.target - beyond


class _FirstRound(_Passings):
    """Looks at what the first round of a repeat is sure to come to, and stands at for good."""

    def waits(self, step: WaitStep, state: State) -> None:
        if step.at_most_us is None:
            super().waits(step, state)

    def walk(self, step: Step, state: State) -> State:
        loud = self.quiet
        self.quiet = loud or isinstance(step, WhenStep | TryStep | FirstStep)
        state = super().walk(step, state)
        self.quiet = loud
        return state

    def _repeat(self, step: RepeatStep, state: State) -> State:
        self.walk(step.steps, state)
        loud, self.quiet = self.quiet, True
        state = super()._repeat(step, state)
        self.quiet = loud
        return state


def _only_sent(name: str, branch: Step, plan: Plan) -> bool:
    """Whether all that a branch does to a mechanism is to send it somewhere."""
    inside = list(inner_steps(branch, plan, inline=True))
    if any(isinstance(step, HandOverStep) and step.giver == name for step in inside):
        return False
    return all(
        isinstance(step, MoveStep | PickStep | PlaceStep | HandOverStep)
        for step in inside
        for mechanism, _ in sends(step)
        if mechanism == name
    )

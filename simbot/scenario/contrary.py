"""Needs that the plan itself has contradicted: what they want was sent elsewhere for good, and was waited for there."""

from __future__ import annotations

from collections.abc import Iterator
from math import hypot, pi

from simbot.scenario.model import ActStep, Need, Plan, Pose, Target
from simbot.scenario.ways import START, Reading, State, at_start, window_of


def contrary_needs(plan: Plan) -> Iterator[tuple[int, str, str]]:
    """(line, key, text) of every need that is contradicted whenever its step is come to."""
    reading = _Needs(plan)
    reading.read(at_start(plan))
    for line, mechanism, text in reading.certain():
        yield line, f"needs.{mechanism}", text


class _Needs(Reading):
    """Takes down how each need is contradicted."""

    def acts(self, step: ActStep, state: State) -> None:
        for need in step.needs:
            self.note(step.line, need.mechanism, self._contradicted(need, state))

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

    def _is_off(self, need: Need, target: Target | Pose | None) -> bool:
        """Whether a target is surely another than the one that is needed, wherever in its window it is arrived at."""
        window = window_of(self.plan, need.mechanism)
        if window is None:
            return False
        if isinstance(need.target, Pose) and isinstance(target, Pose):
            apart = hypot(need.target.x - target.x, need.target.y - target.y)
            return apart > need.within + window
        if isinstance(need.target, float) and isinstance(target, float):
            apart = abs(need.target - target)
            if (
                self.plan.robot.mechanisms[need.mechanism].coordinate == "angle"
            ):  # a turn more is the same direction
                apart = abs((apart + pi) % (2.0 * pi) - pi)
            return apart > need.within + window
        return isinstance(need.target, str) and isinstance(target, str) and need.target != target

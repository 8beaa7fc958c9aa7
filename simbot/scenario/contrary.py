"""Needs that the plan itself has contradicted: what they want was sent elsewhere for good, and was waited for there."""

from __future__ import annotations

from collections.abc import Iterator
from math import hypot, pi

from simbot.scenario.model import ActStep, Need, Plan, Pose, Target
from simbot.scenario.plan_file import all_steps, sends
from simbot.scenario.ways import OVERSHOOT, START, Reading, State, at_start, window_of


def contrary_needs(plan: Plan) -> Iterator[tuple[int, str, str]]:
    """(line, key, text) of every need that is contradicted whenever its step is come to."""
    reading = _Needs(plan)
    reading.read(at_start(plan))
    told = {(line, mechanism): text for line, mechanism, text in reading.certain()}
    for (line, mechanism), text in sorted({**_out_of_reach(plan), **told}.items()):
        yield line, f"needs.{mechanism}", text


def _out_of_reach(plan: Plan) -> dict[tuple[int, str], str]:
    """Needs far beyond all places that anything in the plan sends their mechanism to, wherever its loop may swing."""
    places: dict[str, list[Target | None]] = {}
    for name, spec in plan.robot.mechanisms.items():
        travel = spec.values.get("travel")
        places[name] = [plan.start.positions.get(name, float(travel[0]) if travel else None)]
    for step in all_steps(plan):
        for name, to in sends(step):
            places.setdefault(name, []).append(to)
    found = {}
    for step in all_steps(plan):
        for need in step.needs if isinstance(step, ActStep) else ():
            sent = [place for place in places.get(need.mechanism, []) if isinstance(place, float)]
            window = window_of(plan, need.mechanism)
            if (
                not sent
                or len(sent) < len(places[need.mechanism])
                or not isinstance(need.target, float)
                or window is None
            ):
                continue
            low, high = min(sent), max(sent)
            room = need.within + window + OVERSHOOT * (high - low)
            if not low - room <= need.target <= high + room:
                wanted = f"the {need.mechanism} is needed at {need.text}"
                found[step.line, need.mechanism] = (
                    f"{wanted}, and nothing in the plan sends it that far: never met"
                )
    return found


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

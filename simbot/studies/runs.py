"""Many runs of variants of one plan on its battery states, each kept with its trace."""

from __future__ import annotations

import pickle
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from hashlib import sha256

from simbot.analysis import cycles, findings, timers
from simbot.analysis.better_timer import waits_of
from simbot.analysis.never import stuck_moves
from simbot.analysis.results import Finding, FindingKey, MoveResult
from simbot.analysis.timers import Links, link
from simbot.physics.build import Models
from simbot.physics.plant import Plant
from simbot.routine.match import play
from simbot.routine.trace import Trace
from simbot.scenario.model import BatteryState, Plan, Robot

KEPT = 12  # runs


@dataclass(frozen=True)
class Ran:
    """One nominal run on one battery state; its numbers are worked out when they are asked for."""

    plan: Plan
    battery: BatteryState
    trace: Trace
    links: Links
    plant: Plant

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        stuck = stuck_moves(self.trace, self.plant)
        return findings.find(self.plan, self.trace, self.links, self.plant, stuck)

    @cached_property
    def _moves(self) -> dict[tuple[int, bool], MoveResult]:
        return {}

    def move(self, index: int, floor: bool) -> MoveResult:
        """One move; without its floor it takes a fraction of the time, and `short` stands for impossible, too."""
        if (index, floor) not in self._moves:
            self._moves[index, floor] = timers.move_result(
                index, self.trace.moves[index], self.links, self.plan.guard_us, floor
            )
        return self._moves[index, floor]

    @cached_property
    def points(self) -> float:
        return cycles.points_by_period(self.trace, self.plan.game)["total"] or 0.0

    @property
    def finished_us(self) -> int:
        """The instant of the last wait that was waited out, or of the last delivery where that is later."""
        ends = [wait.ended_us for wait in self.trace.waits if not wait.cut]
        return max([*ends, *(delivery.at_us for delivery in self.trace.deliveries), 0])


class Bench:
    """Runs plans that share one robot; what was run lately is not run again, be it the same plan read anew."""

    def __init__(self, plan: Plan, models: Models | None = None, keep: int = KEPT) -> None:
        self.models = models or Models(plan.robot)
        self.robot = plan.robot
        self.keep = keep
        self.kept: OrderedDict[tuple[bytes, str], Ran] = OrderedDict()
        self.ran = 0  # how many runs it took
        self._said: dict[int, tuple[Plan, bytes]] = {}

    def run(self, plan: Plan, battery: BatteryState) -> Ran:
        key = self._content(plan), battery.name
        ran = self.kept.get(key)
        if ran is None:
            trace, plant = play(plan, battery, self.models)
            ran = Ran(plan, battery, trace, link(trace, plant), plant)
            self.ran += 1
            self.kept[key] = ran
        self.kept.move_to_end(key)
        while len(self.kept) > self.keep:
            self.kept.popitem(last=False)
        return ran

    def run_all(self, plan: Plan, batteries: Sequence[BatteryState]) -> list[Ran]:
        return [self.run(plan, battery) for battery in batteries]

    def serves(self, plan: Plan) -> bool:
        """Whether a plan has the very same robot, down to its spreads."""
        return _content_of(plan.robot) == _content_of(self.robot)

    def _content(self, plan: Plan) -> bytes:
        """All that a plan says, but for the text of its lines."""
        known = self._said.get(id(plan))
        if known is None or known[0] is not plan:
            known = self._said[id(plan)] = plan, _content_of(replace(plan, text=()))
            while len(self._said) > 4 * self.keep:
                del self._said[next(iter(self._said))]
        return known[1]


def _content_of(thing: Plan | Robot) -> bytes:
    """A digest of everything in it; numbers with their spreads."""
    return sha256(pickle.dumps(thing)).digest()


def places_of(plan: Plan) -> dict[int, int]:
    """Place of each wait by the identity of its step."""
    return {id(wait): place for place, wait in enumerate(waits_of(plan))}


def broken_by(ran: Ran) -> dict[FindingKey, Finding]:
    """What a set of timers must not bring about: unmet needs, lost picks and all else that fails, and order rules.

    A pick that was closing when its routine was cut is left out: that hangs on the clock, not on a timer.
    """
    cut_off = {
        (pick.line, pick.lost_us)
        for pick in ran.links.lost.values()
        if any(pick.begins_us < cut.at_us <= (pick.lost_us or 0) for cut in ran.trace.cuts)
    }
    found: dict[FindingKey, Finding] = {}
    for one in ran.findings:
        accident = one.kind == "pick_lost" and (one.line, one.at_us) in cut_off
        if (one.fails and not accident) or one.kind == "order_broken":
            found.setdefault(one.key, one)
    return found

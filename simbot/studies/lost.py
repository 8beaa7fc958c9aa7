"""What came to nothing in a match, by its first cause, and what each of them would have earned by itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from simbot.routine.acting import MISSED_BY_CHANCE, NO_ROOM, NOTHING_LEFT
from simbot.routine.trace import Mishap, NeedRecord, PickRecord, Trace
from simbot.scenario.model import HandOverStep, PickStep, PlaceStep, Plan, SenseStep
from simbot.scenario.once import once_a_plan
from simbot.scenario.plan_file import all_steps

PENALTIES = "penalties"  # the one that is exact
LEFT_OPEN = "nothing in hand"


@dataclass
class Account:
    """Points lost by reason, with the lines of the steps that came to nothing; and by routine what its places would
    have earned by themselves, had none failed."""

    lost: dict[str, float] = field(default_factory=dict)
    lines: dict[str, set[int]] = field(default_factory=dict)
    reached: dict[str, float] = field(default_factory=dict)

    def note(self, reason: str, points: float, line: int) -> None:
        self.lost[reason] = self.lost.get(reason, 0.0) + points
        self.lines.setdefault(reason, set()).add(line)

    def come_to(self, routine: str, points: float) -> None:
        self.reached[routine] = self.reached.get(routine, 0.0) + points


def account_of(plan: Plan, trace: Trace) -> Account:
    """Points by first cause: of places that came to nothing, of picks after which none followed, and penalties.

    A pick or a look after which the plan does something else counts as the best place of the plan for it; what is
    tried again within a `try` counts nothing here.
    """
    lost = Account()
    unmet: dict[tuple[int, int], list[NeedRecord]] = {}
    for need in trace.needs:
        if not need.met and isinstance(need.acting, PlaceStep):
            unmet.setdefault((need.line, need.at_us), []).append(need)
    each: dict[tuple[int, int], float] = {}
    for place in trace.places:
        step, at_us = place.acting, place.at_us
        each[step.line, at_us] = _worth(plan, [step], at_us, place.period)
        worth = each[step.line, at_us] * max(1, place.number)
        lost.come_to(place.period, worth)
        if (step.line, at_us) in unmet:
            reason = _stalled(unmet[step.line, at_us], trace) or f"{step.otherwise}: acted too early"
            lost.note(reason, worth, step.line)
    told: set[PickKey] = set()
    for mishap in trace.mishaps:
        chain = _chain(_latest(trace, mishap.mechanism, mishap.at_us), trace)
        if mishap.kind == "nothing_held":
            told.update(map(_key, chain))
        if (mishap.line, mishap.at_us) not in unmet:
            worth = each[mishap.line, mishap.at_us] * mishap.number
            lost.note(_reason(mishap, chain, trace), worth, _line(mishap, chain))
    _picks(plan, trace, told, lost)
    _looks(plan, trace, lost)
    for award in trace.awards:
        if award.kind == "penalty":
            lost.note(PENALTIES, -award.points, award.line)
    return lost


PickKey = tuple[int, int]


def _key(pick: PickRecord) -> PickKey:
    return pick.line, pick.begins_us


def _stalled(needs: Sequence[NeedRecord], trace: Trace) -> str:
    """Of needs that were not met: the first for which something was sent that never gets there."""
    for need in needs:
        if need.cause is not None and trace.moves[need.cause].move.arrival_us() is None:
            return f"stalled: the {need.need.mechanism} never got there"
    return ""


def _picks(plan: Plan, trace: Trace, told: set[PickKey], lost: Account) -> None:
    """Picks that took nothing and that no place came after: the plan did something else."""
    for pick in sorted(trace.picks, key=lambda one: -one.begins_us):
        if pick.lost_us is None or _key(pick) in told:
            continue
        chain = _chain(pick, trace)
        told.update(map(_key, chain))
        if _tried_again(pick.begins_us, trace):
            continue
        fit = _places(plan)
        if isinstance(pick.acting, PickStep):
            fit = [step for step in fit if plan.game.places[step.place].takes == pick.acting.element]
        worth = _worth(plan, fit, pick.lost_us)
        lost.note(_of_pick(chain[-1], trace), worth, chain[-1].line)
        lost.come_to(trace.moves[pick.move].period, worth)


def _looks(plan: Plan, trace: Trace, lost: Account) -> None:
    """Looks that saw nothing, and that no pick or delivery came after before the next one."""
    looks = [wait for wait in trace.waits if wait.purpose == "sense"]
    acts = [pick.begins_us for pick in trace.picks] + [one.at_us for one in trace.deliveries]
    for place, look in enumerate(looks):
        blind = isinstance(look.given, SenseStep) and not look.seen and not look.cut
        if not blind or _tried_again(look.began_us, trace):
            continue
        until = next((one.began_us for one in looks[place + 1 :]), trace.horizon_us)
        if not any(look.ended_us <= at <= until for at in acts):
            assert isinstance(look.given, SenseStep)
            worth = _worth(plan, _places(plan), look.ended_us)
            lost.note(f"{look.given.name}: nothing seen", worth, look.line)
            lost.come_to(_routine_from(plan, look.began_us), worth)


@once_a_plan
def _places(plan: Plan) -> list[PlaceStep]:
    return [step for step in all_steps(plan) if isinstance(step, PlaceStep)]


def _routine_from(plan: Plan, at_us: int) -> str:
    """The period whose routine goes on from an instant; a look that one begins in its last instant is cut there."""
    if plan.endgame is not None and at_us >= plan.endgame.begin_us:
        return "endgame"
    return plan.game.period_at(at_us + 1)


def _worth(plan: Plan, steps: Sequence[PlaceStep], at_us: int, routine: str = "") -> float:
    """What the best of these places would earn at an instant, done by a period's routine."""
    period = plan.game.period_of(routine, at_us)
    return max((float(plan.game.places[step.place].points[period]) for step in steps), default=0.0)


def _tried_again(at_us: int, trace: Trace) -> bool:
    """Whether the try that was under way then failed and was not the last; of those at one instant the last."""
    failed = [one for one in trace.failures if one.began_us <= at_us <= one.ended_us]
    return bool(failed) and failed[-1].number < failed[-1].of and failed[-1].why != "its time ran out"


def _latest(trace: Trace, mechanism: str, at_us: int) -> PickRecord | None:
    """The latest pick or hand over before an instant with a hand."""
    mine = (one for one in trace.picks if one.acting.by.mechanism == mechanism and one.begins_us < at_us)
    return max(mine, key=lambda one: one.begins_us, default=None)


def _chain(pick: PickRecord | None, trace: Trace) -> list[PickRecord]:
    """A pick, and after it those before that left it nothing to take."""
    return list(_back(pick, trace))


def _back(pick: PickRecord | None, trace: Trace) -> Iterator[PickRecord]:
    while pick is not None:
        yield pick
        if not isinstance(pick.acting, HandOverStep) or pick.why != NOTHING_LEFT:
            return
        pick = _latest(trace, pick.acting.giver, pick.begins_us)
        if pick is not None and pick.lost_us is None:
            return


def _reason(mishap: Mishap, chain: Sequence[PickRecord], trace: Trace) -> str:
    if mishap.kind == "place_missed":
        return f"{mishap.outcome}: the place missed"
    if mishap.kind == "place_full":
        return "the place was full"
    return _of_pick(chain[-1], trace) if chain else LEFT_OPEN


def _line(mishap: Mishap, chain: Sequence[PickRecord]) -> int:
    """Of the step that it comes from: the place, or the first cause of its empty hand."""
    return chain[-1].line if mishap.kind == "nothing_held" and chain else mishap.line


def _of_pick(pick: PickRecord, trace: Trace) -> str:
    if pick.outcome == "held":
        return LEFT_OPEN
    if pick.refused:
        unmet = [need for need in trace.needs if _key(pick) == (need.line, need.at_us) and not need.met]
        return _stalled(unmet, trace) or f"{pick.outcome}: picked too early"
    if pick.why == MISSED_BY_CHANCE:
        what = "hand over" if isinstance(pick.acting, HandOverStep) else "pick"
        return f"{pick.outcome}: the {what} missed"
    if pick.why == NOTHING_LEFT:
        return f"{pick.outcome}: nothing there to take"
    if pick.why == NO_ROOM:
        return f"{pick.outcome}: the hand was full"
    return f"{pick.outcome}: left before it held"

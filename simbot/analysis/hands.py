"""What befell hands: places that earned nothing, and hands that were opened full, or given more than they may hold."""

from __future__ import annotations

from collections.abc import Iterator

from simbot.analysis.results import Finding
from simbot.analysis.timers import Links
from simbot.analysis.words import clock
from simbot.routine.acting import KEPT_IN_HAND
from simbot.routine.trace import AtHand, Award, Mishap, PickRecord, Trace


def hand_findings(trace: Trace, links: Links) -> Iterator[Finding]:
    """All of them."""
    yield from (_mishap(mishap, trace, links) for mishap in trace.mishaps)
    yield from (_too_many(award, trace) for award in trace.awards if award.name == "possession")
    yield from map(_at_hand, trace.hands)


def _mishap(mishap: Mishap, trace: Trace, links: Links) -> Finding:
    if mishap.kind == "place_full":
        kept = mishap.outcome in KEPT_IN_HAND
        had = f"for all that the {mishap.mechanism} held" if kept else f"when the {mishap.mechanism} let go"
        text = f"the {mishap.where} had no room {had}: {mishap.outcome}"
    elif mishap.kind == "place_missed":
        text = f"the {mishap.mechanism} missed the {mishap.where}, as it does now and then: {mishap.outcome}"
    else:
        text = f"the {mishap.mechanism} had nothing in hand for the {mishap.where}"
        failed = _failed_pick(mishap, trace, links)
        if failed is not None:
            text += f", because the pick of step {failed.step} at {clock(failed.begins_us)} came to nothing"
        text += f": {mishap.outcome}"
    return Finding(
        kind=mishap.kind,
        step=mishap.step,
        line=mishap.line,
        at_us=mishap.at_us,
        mechanism=mishap.mechanism,
        outcome=mishap.outcome,
        text=text,
        fails=True,
    )


def _too_many(award: Award, trace: Trace) -> Finding:
    step = next((pick.step for pick in trace.picks if pick.line == award.line), 0)
    return Finding(
        kind="too_many_held",
        step=step,
        line=award.line,
        at_us=award.at_us,
        text=f"more in hand than the game allows: {-award.points:g} points lost",
    )


TOLD = {
    "opened_full": (
        "sends the {} to where it lets go while it holds something, which a move does not release here: write `let_go` "
        "where it falls, or let the place or hand over send it"
    ),
    "piled_up": (
        "gives the {} more to what it holds, and the robot file does not say for how many it has room: with `room: 1` "
        "this would fail"
    ),
    "shut_already": (
        "takes again with the {} as it last closed, so that this takes no time: what a real one takes is a move that "
        "opens it first, and a wait for that (where it is meant to be so, `needs` can say it)"
    ),
}


def _at_hand(one: AtHand) -> Finding:
    return Finding(
        kind=one.kind,
        step=one.step,
        line=one.line,
        at_us=one.at_us,
        mechanism=one.mechanism,
        text=f"step {one.step} {TOLD[one.kind].format(one.mechanism)}",
    )


def _failed_pick(mishap: Mishap, trace: Trace, links: Links) -> PickRecord | None:
    """The latest pick before a mishap, if it failed."""
    pick = last_pick(mishap, trace)
    return pick if pick is not None and (pick.refused or pick.move in links.lost) else None


def last_pick(mishap: Mishap, trace: Trace) -> PickRecord | None:
    """The latest pick or hand over before a mishap with the hand that then had nothing; None: there was none."""
    mine = (pick for pick in trace.picks if pick.acting.by.mechanism == mishap.mechanism)
    before = [pick for pick in mine if pick.begins_us < mishap.at_us]
    return before[-1] if before else None

"""Where a match loses time: waiting, standing for what never arrives, without power; and routines that it cut."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from simbot.analysis.never import is_stuck, stood_out
from simbot.analysis.order import rests_from
from simbot.analysis.unfinished import stands_since
from simbot.physics.plant import Plant
from simbot.routine.trace import Trace, WaitRecord
from simbot.scenario.model import Plan, Robot, WaitStep

WAITED = {
    "empty": "waited for an element",
    "clearing": "waited for a place to be cleared",
    "taken": "waited for another robot",
    "changed": "waited for another robot",
    "held_up": "held up by a defender",
    "again": "tried again",
}


class Span(NamedTuple):
    """Time that went for a reason."""

    reason: str
    lasted_us: int
    line: int = 0  # of the step that it befell; 0: of none


def time_lost(plan: Plan, trace: Trace, plant: Plant) -> list[Span]:
    """Time that was lost."""
    queues = (Span(WAITED[one.why], one.to_us - one.from_us, one.line) for one in trace.queues)
    return [*queues, *_stood(trace, plant), *_without_power(plan, trace, plant)]


def seconds_of(spans: Iterable[Span]) -> dict[str, float]:
    """Seconds by reason."""
    found: dict[str, float] = {}
    for one in spans:
        found[one.reason] = found.get(one.reason, 0.0) + one.lasted_us * 1e-6
    return found


def added(trace: Trace) -> dict[str, float]:
    """By how much people lengthened the waits: their allowances, and their reactions [s]."""
    reactions = (
        wait.ended_us - wait.began_us
        for wait in trace.waits
        if wait.purpose == "driver" and isinstance(wait.given, WaitStep) and wait.given.purpose is None
    )
    return {"allowances": trace.allowed_us * 1e-6, "reactions": sum(reactions) * 1e-6}


def stood_still(trace: Trace, plant: Plant) -> Iterator[Span]:
    """Waits for an arrival that did not come: their limit ran out, or they stood to the end of their period."""
    for wait, missing in _in_vain(trace, plant):
        what = "it stood to the end of a period for {}, which never arrived"
        if not wait.cut:
            what = "a limit ran out before {} had arrived"
        for name in missing:
            yield Span(what.format(f"the {name}"), wait.ended_us - wait.began_us, wait.line)


def _in_vain(trace: Trace, plant: Plant) -> Iterator[tuple[WaitRecord, tuple[str, ...]]]:
    """Those waits, and the mechanisms whose arrival they ended without."""
    for wait in trace.waits:
        if wait.cut or wait.missing:
            missing = _missing(wait, trace, plant)
            if missing:
                yield wait, missing


def _missing(wait: WaitRecord, trace: Trace, plant: Plant) -> tuple[str, ...]:
    """Mechanisms whose arrival a wait ended, or was cut, without."""
    if not wait.cut:
        return wait.missing
    if not stood_out(wait, trace):
        return ()
    moves = [trace.moves[index].move for index in wait.moves]
    return tuple(
        move.mechanism
        for move in moves
        if move.arrival_us() is None and is_stuck(move, wait, stands_since(move, wait.ended_us, plant))
    )


def _stood(trace: Trace, plant: Plant) -> Iterator[Span]:
    """How long each of those waits stood for something that did not move any more."""
    for wait, missing in _in_vain(trace, plant):
        still = {
            name: wait.ended_us - max(wait.began_us, rests_from(plant, name, wait.ended_us))
            for name in missing
        }
        name = max(still, key=still.__getitem__)
        yield Span(f"stalled: stood for the {name}", still[name], wait.line)


def _without_power(plan: Plan, trace: Trace, plant: Plant) -> Iterator[Span]:
    """How long what resets was off; a program takes the rest of its routine along, unless a person drives."""
    people = () if plan.driver is None else plan.driver.periods
    lost = [cut for cut in trace.cuts if cut.reset and cut.period not in people]
    for reset, _, spells in plant.off_spells():
        off = [(round(off * 1e6), round(min(on * 1e6, plant.now_us))) for off, on in spells]
        if reset.stops == "program":
            mine = [cut for cut in lost if any(begin <= cut.at_us <= end for begin, end in off)]
            off += [(cut.at_us, _routine_ends_us(plan, cut.period)) for cut in mine]
            lost = [
                cut for cut in lost if cut not in mine
            ]  # it is lost once, whatever else stops the program
        if off:
            yield Span(f"browned out: the {reset.name}", _covered(off))


def _covered(spans: Sequence[tuple[int, int]]) -> int:
    """How long it was in one span at least."""
    covered = until = 0
    for begin, end in sorted(spans):
        covered += max(0, end - max(begin, until))
        until = max(until, end)
    return covered


def _routine_ends_us(plan: Plan, routine: str) -> int:
    """When a period's routine ends, at the latest."""
    end_us = 0
    for period in plan.game.periods:
        end_us += period.duration_us
        if period.name == routine:
            return end_us if plan.endgame is None else min(end_us, plan.endgame.begin_us)
    return end_us  # the endgame's


def dips(robot: Robot, plant: Plant) -> Iterator[str]:
    """Devices whose volts the bus fell below, of those that nothing is done about."""
    acting = {reset.name for reset in robot.resets}
    for device, volts in robot.brown_out.items():
        if device not in acting and plant.lowest_bus()[0] < volts:
            yield f"browned out: the {device}, not acted on"


def cut_routines(trace: Trace) -> dict[str, float]:
    """Routines that were still going at the end of their period, and when that was [s]."""
    return {cut.period: cut.at_us * 1e-6 for cut in trace.cuts if not cut.reset}

"""What went wrong in a run, each as one sentence that begins at the first cause."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace

from simbot.analysis.fused import fuse_findings
from simbot.analysis.hands import hand_findings
from simbot.analysis.loads import Place, load_findings
from simbot.analysis.meetings import meeting_findings
from simbot.analysis.never import (
    Coordinates,
    asked,
    never_arrived,
    never_passed,
    stays,
    zero_is_off,
)
from simbot.analysis.order import order_findings
from simbot.analysis.paths import path_findings
from simbot.analysis.queues import queue_findings
from simbot.analysis.released import release_findings
from simbot.analysis.results import Finding
from simbot.analysis.timed import timed_findings
from simbot.analysis.timers import Links, late_us
from simbot.analysis.words import extent, listed, ms, the, times
from simbot.analysis.zeros import zero_findings
from simbot.physics.build import DRIVES
from simbot.physics.plant import Plant
from simbot.routine.acting import NO_ROOM
from simbot.routine.trace import (
    Failure,
    MoveRecord,
    NeedRecord,
    PickRecord,
    Trace,
    WaitRecord,
)
from simbot.scenario.model import Goal, Plan, WaitStep

PAST_TENSE = {"open": "opened", "shut": "shut", "close": "closed", "closed": "closed"}


def find(plan: Plan, trace: Trace, links: Links, plant: Plant, stuck: set[int]) -> tuple[Finding, ...]:
    """All findings of a run, the first cause first; `stuck`: moves as `never.stuck_moves` finds them."""
    coordinates = {name: spec.coordinate for name, spec in plan.robot.mechanisms.items()}
    found: list[Finding] = []
    over = {cut.at_us for cut in trace.cuts}
    resets = {cut.at_us for cut in trace.cuts if cut.reset}
    for wait in trace.waits:
        if wait.cut and wait.ended_us in resets:
            continue
        past = wait.given.past if isinstance(wait.given, WaitStep) and wait.purpose == "passing" else None
        if past is not None:
            if not wait.seen and (not wait.cut or wait.ended_us in over):
                found.append(never_passed(wait, past, trace, coordinates))
        elif wait.missing and not wait.cut:
            found.append(_limit_ran_out(wait, trace))
        elif wait.missing or not wait.cut:
            found += never_arrived(wait, trace, links, plant, plan.robot)
    found += [_need_unmet(need, trace, links, coordinates) for need in trace.needs if not need.met]
    found += [_pick_lost(pick, trace, links, coordinates) for pick in links.lost.values()]
    found += hand_findings(trace, links)
    found += _tries_failed(trace)
    found += queue_findings(trace)
    if trace.partner is not None:
        assert plan.partner is not None
        found += _of_second(plan.partner.plan.path.name, queue_findings(trace.partner))
    found += release_findings(plan, trace)
    found += timed_findings(trace, links, coordinates, stuck)
    found += _lags(trace, coordinates)
    found += order_findings(plan.robot, trace, plant)
    places = [(record.move.start_us, Place(record.step, record.line)) for record in trace.moves]
    deliveries = [delivery.at_us for delivery in trace.deliveries]
    found += load_findings(plan.robot, plant, places, deliveries)
    found += fuse_findings(plan.robot, trace, plant)
    drives = frozenset(name for name, spec in plan.robot.mechanisms.items() if spec.kind in DRIVES)
    found += zero_findings(plan, trace)
    found += path_findings(plan, trace, plant, drives)
    found += meeting_findings(plan, trace, plant)
    return tuple(sorted(found, key=lambda one: one.at_us))


def _of_second(file: str, found: Iterable[Finding]) -> Iterator[Finding]:
    """What the second robot has to say: its steps and lines are those of its own plan."""
    for one in found:
        yield replace(one, file=file, text=f"the second robot ({file}, line {one.line}): {one.text}")


def _need_unmet(record: NeedRecord, trace: Trace, links: Links, coordinates: Coordinates) -> Finding:
    need, by = record.need, record.acting.by
    cause = None if record.cause is None else trace.moves[record.cause]
    late = None if record.margin_us is None else -record.margin_us
    if late is None:
        text = f"{_acted(by)} although {the(need.mechanism)} was not at {need.text} and never gets there"
    else:
        text = f"{_acted(by)} {ms(late)} before {the(need.mechanism)} was at {need.text}"
    text += f", because {_because(record, cause, links, coordinates)}: {record.acting.otherwise}"
    return Finding(
        kind="need_unmet",
        step=record.step,
        line=record.line,
        at_us=record.at_us,
        mechanism=need.mechanism,
        cause_line=None if cause is None else cause.line,
        cause_step=None if cause is None else cause.step,
        late_us=late,
        outcome=record.acting.otherwise,
        text=text,
        fails=True,
    )


def _because(record: NeedRecord, cause: MoveRecord | None, links: Links, coordinates: Coordinates) -> str:
    """Why a mechanism was not where a need wanted it."""
    mechanism = record.need.mechanism
    if cause is None or record.cause is None:
        return f"no step sent the {mechanism} there"
    move = cause.move
    arrival = move.arrival_us()
    if arrival is None:
        return f"{the(mechanism)} of step {cause.step} {stays(move, coordinates[mechanism])}"
    elsewhere = f"step {cause.step} sent the {mechanism} elsewhere ({cause.label})"
    if record.margin_us is None and asked(move) != record.target:
        return elsewhere
    took = arrival - move.start_us
    if arrival <= record.at_us:
        if record.margin_us is None and isinstance(record.position, float) and asked(move) == record.target:
            rests = extent(record.position, coordinates[mechanism])
            off = zero_is_off(move, coordinates[mechanism])
            return (
                f"the {mechanism} came to rest inside its own window at {rests}, outside what is needed{off}"
            )
        if record.margin_us is None:
            return elsewhere
        return f"the need is tighter than the {mechanism}'s own window, which it had reached after {ms(took)}"
    wait = links.timed_by.get(record.cause)
    if wait is None or wait.ended_us > record.at_us:
        since = "with no wait for it since"
        if wait is not None and wait.began_us < record.at_us:  # in a branch beside
            since = f"and step {wait.step} still waits for it"
        gone = ms(record.at_us - move.start_us)
        return f"step {cause.step} was only {gone} ago, {since}; {the(mechanism)} needs {ms(took)}"
    return _wait_against(wait, move.start_us, mechanism, took)


def _wait_against(wait: WaitRecord, start_us: int, mechanism: str, took_us: int) -> str:
    """`step 7 waits 450 ms and the lift needs 580 ms`."""
    if wait.seen:
        return (
            f"step {wait.step} saw the {mechanism} inside after {ms(wait.ended_us - start_us)}, "
            f"but it stays only from {ms(took_us)} on"
        )
    return f"step {wait.step} waits {ms(wait.ended_us - start_us)} and {the(mechanism)} needs {ms(took_us)}"


def _pick_lost(pick: PickRecord, trace: Trace, links: Links, coordinates: Coordinates) -> Finding:
    record = trace.moves[pick.move]
    move = record.move
    mechanism = move.mechanism
    arrival = move.arrival_us()
    wait = links.timed_by.get(pick.move)
    late = late_us(pick, trace)
    if pick.lost_us is None:
        at = pick.begins_us if wait is None else wait.ended_us
        text = f"{the(mechanism)} never closes: it {stays(move, coordinates[mechanism])}"
    else:
        at = pick.lost_us
        text = f"the {mechanism} was full" if pick.why == NO_ROOM else pick.why
        if late:
            text += f", {ms(late)} before the {mechanism} held"
        if wait is not None and arrival is not None and wait.ended_us < arrival:
            text += f", because {_wait_against(wait, move.start_us, mechanism, arrival - move.start_us)}"
    return Finding(
        kind="pick_lost",
        step=pick.step,
        line=pick.line,
        at_us=at,
        mechanism=mechanism,
        cause_line=pick.line,
        cause_step=pick.step,
        late_us=late,
        outcome=pick.acting.otherwise,
        text=f"{text}: {pick.acting.otherwise}",
        fails=True,
    )


def _tries_failed(trace: Trace) -> Iterator[Finding]:
    """One for every try that failed; those of a step that failed for the same reason say the same of all of them."""
    alike: dict[tuple[int, str], list[Failure]] = {}
    for failure in trace.failures:
        alike.setdefault((failure.line, failure.why), []).append(failure)
    for (line, why), failures in alike.items():
        first = failures[0]
        text = f"{_which(failures)} in step {first.step} failed{_each(failures)}: {why}"
        for failure in failures:
            yield Finding(
                kind="try_failed", step=first.step, line=line, at_us=failure.ended_us, about=why, text=text
            )


def _which(failures: list[Failure]) -> str:
    """`try 2 of 3`, `tries 1 and 2 of 3`, `tries 1 to 8 of 8`."""
    numbers = sorted({one.number for one in failures})
    said = listed([str(number) for number in numbers])
    if len(numbers) > 3 and len(numbers) == numbers[-1] - numbers[0] + 1:
        said = f"{numbers[0]} to {numbers[-1]}"
    return f"{'try' if len(numbers) == 1 else 'tries'} {said} of {failures[0].of}"


def _each(failures: list[Failure]) -> str:
    """How often each of several did: ` once each`, ` 5 times and once`."""
    counts = Counter(one.number for one in failures)
    often = [times(counts[number]) for number in sorted(counts)]
    if len(often) == 1:
        return ""
    return f" {often[0]} each" if len(set(often)) == 1 else f" {listed(often)}"


def _limit_ran_out(wait: WaitRecord, trace: Trace) -> Finding:
    names = " and ".join(f"the {name}" for name in wait.missing)
    limit = ms(wait.ended_us - wait.began_us)
    text = f"the limit of step {wait.step} ran out after {limit} before {names} had arrived"
    needs = []
    for index in wait.moves:
        move = trace.moves[index].move
        arrival = move.arrival_us()
        if move.mechanism in wait.missing and arrival is not None:
            needs.append(f"{the(move.mechanism)} needs {ms(arrival - move.start_us)}")
    if needs:
        text += f": {' and '.join(needs)}"
    return Finding(
        kind="limit_ran_out",
        step=wait.step,
        line=wait.line,
        at_us=wait.ended_us,
        mechanism=wait.missing[0] if len(wait.missing) == 1 else None,
        text=text,
        mechanisms=wait.missing,
    )


def _lags(trace: Trace, coordinates: Coordinates) -> list[Finding]:
    """Moves that fall behind their motion profile by more than their window."""
    found = []
    for record in trace.moves:
        move = record.move
        lag = move.lag()
        if lag is None or lag <= move.window:
            continue
        coordinate = coordinates[move.mechanism]
        text = (
            f"{the(move.mechanism)} falls {extent(lag, coordinate)} behind its motion profile "
            f"(its window is {extent(move.window, coordinate)}): the profile asks for more than its motors give"
        )
        found.append(
            Finding(
                kind="lags",
                step=record.step,
                line=record.line,
                at_us=move.start_us,
                mechanism=move.mechanism,
                text=text,
            )
        )
    return found


def _acted(by: Goal) -> str:
    done = PAST_TENSE.get(by.text)
    return f"the {by.mechanism} {done}" if done else f"the {by.mechanism} went to {by.text}"

"""What went wrong in a run, each as one sentence that begins at the first cause."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from simbot.analysis.hands import hand_findings
from simbot.analysis.loads import Place, load_findings
from simbot.analysis.order import order_findings
from simbot.analysis.paths import path_findings
from simbot.analysis.queues import queue_findings
from simbot.analysis.results import Finding
from simbot.analysis.timers import Links, late_us
from simbot.analysis.words import extent, ms
from simbot.analysis.zeros import zero_findings
from simbot.physics.build import DRIVES
from simbot.physics.move import DriveFor, DriveTo, GoTo, Move, Spin, SpinTo
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
from simbot.scenario.model import Goal, Past, Plan, WaitStep

Coordinates = dict[str, str]  # mechanism -> "length", "angle" or "word"

AT_REST = 1e-6  # m/s or rad/s: slower than this it is going nowhere
PAST_TENSE = {"open": "opened", "shut": "shut", "close": "closed", "closed": "closed"}


def find(plan: Plan, trace: Trace, links: Links, plant: Plant) -> tuple[Finding, ...]:
    """All findings of a run, the first cause first."""
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
                found.append(_never_passed(wait, past, trace, coordinates))
        elif wait.missing and not wait.cut:
            found.append(_limit_ran_out(wait, trace))
        elif wait.missing or not wait.cut:
            found += _never_arrived(wait, trace, links, plant, coordinates)
    found += [_need_unmet(need, trace, links, coordinates) for need in trace.needs if not need.met]
    found += [_pick_lost(pick, trace, links, coordinates) for pick in links.lost.values()]
    found += hand_findings(trace, links)
    found += [_try_failed(failure) for failure in trace.failures]
    found += queue_findings(trace)
    if trace.partner is not None:
        second = queue_findings(trace.partner)
        found += [replace(one, step=0, line=0, text=f"the second robot: {one.text}") for one in second]
    found += _lags(trace, coordinates)
    found += order_findings(plan.robot, trace, plant)
    places = [(record.move.start_us, Place(record.step, record.line)) for record in trace.moves]
    deliveries = [delivery.at_us for delivery in trace.deliveries]
    found += load_findings(plan.robot, plant, places, deliveries)
    drives = frozenset(name for name, spec in plan.robot.mechanisms.items() if spec.kind in DRIVES)
    found += zero_findings(plan, trace)
    found += path_findings(plan, trace, plant, drives)
    return tuple(sorted(found, key=lambda one: one.at_us))


def _need_unmet(record: NeedRecord, trace: Trace, links: Links, coordinates: Coordinates) -> Finding:
    need, by = record.need, record.acting.by
    cause = None if record.cause is None else trace.moves[record.cause]
    late = None if record.margin_us is None else -record.margin_us
    if late is None:
        text = f"{_acted(by)} although the {need.mechanism} was not at {need.text} and never gets there"
    else:
        text = f"{_acted(by)} {ms(late)} before the {need.mechanism} was at {need.text}"
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
        return f"the {mechanism} of step {cause.step} {_stays(move, coordinates)}"
    took = arrival - move.start_us
    if arrival <= record.at_us:
        if record.margin_us is None and isinstance(record.position, float) and _asked(move) == record.target:
            rests = extent(record.position, coordinates[mechanism])
            off = _zero_is_off(move, coordinates)
            return (
                f"the {mechanism} came to rest inside its own window at {rests}, outside what is needed{off}"
            )
        if record.margin_us is None:
            return f"step {cause.step} sent the {mechanism} elsewhere ({cause.label})"
        return f"the need is tighter than the {mechanism}'s own window, which it had reached after {ms(took)}"
    wait = links.timed_by.get(record.cause)
    if wait is None or wait.ended_us > record.at_us:
        gone = record.at_us - move.start_us
        return (
            f"step {cause.step} was only {ms(gone)} ago, with no wait since; the {mechanism} needs {ms(took)}"
        )
    return _wait_against(wait, move.start_us, mechanism, took)


def _wait_against(wait: WaitRecord, start_us: int, mechanism: str, took_us: int) -> str:
    """`step 7 waits 450 ms and the lift needs 580 ms`."""
    if wait.seen:
        return (
            f"step {wait.step} saw the {mechanism} inside after {ms(wait.ended_us - start_us)}, "
            f"but it stays only from {ms(took_us)} on"
        )
    return f"step {wait.step} waits {ms(wait.ended_us - start_us)} and the {mechanism} needs {ms(took_us)}"


def _pick_lost(pick: PickRecord, trace: Trace, links: Links, coordinates: Coordinates) -> Finding:
    record = trace.moves[pick.move]
    move = record.move
    mechanism = move.mechanism
    arrival = move.arrival_us()
    wait = links.timed_by.get(pick.move)
    late = late_us(pick, trace)
    if pick.lost_us is None:
        at = pick.begins_us if wait is None else wait.ended_us
        text = f"the {mechanism} never closes: it {_stays(move, coordinates)}"
    else:
        at = pick.lost_us
        text = f"the {mechanism} was full" if pick.why == NO_ROOM else pick.why
        if late:
            text += f" {ms(late)} before the {mechanism} held"
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


def _try_failed(failure: Failure) -> Finding:
    lasted = ms(failure.ended_us - failure.began_us)
    return Finding(
        kind="try_failed",
        step=failure.step,
        line=failure.line,
        at_us=failure.ended_us,
        text=f"try {failure.number} of {failure.of} in step {failure.step} failed after {lasted}: {failure.why}",
    )


def _limit_ran_out(wait: WaitRecord, trace: Trace) -> Finding:
    names = " and ".join(f"the {name}" for name in wait.missing)
    limit = ms(wait.ended_us - wait.began_us)
    text = f"the limit of step {wait.step} ran out after {limit} before {names} had arrived"
    needs = []
    for index in wait.moves:
        move = trace.moves[index].move
        arrival = move.arrival_us()
        if move.mechanism in wait.missing and arrival is not None:
            needs.append(f"the {move.mechanism} needs {ms(arrival - move.start_us)}")
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


def _never_arrived(
    wait: WaitRecord, trace: Trace, links: Links, plant: Plant, coordinates: Coordinates
) -> Iterator[Finding]:
    """What a wait is for and comes to rest elsewhere.

    Of a wait without a limit, which would have gone on for ever; of a timed one where no need or pick tells of it.
    What was sent elsewhere meanwhile is left out, but not a piston: where its stroke ends was settled at its beginning.
    """
    for index in wait.moves:
        record = trace.moves[index]
        move = record.move
        if move.arrival_us() is not None or (move.cut_us is not None and move.stopwatch is None):
            continue
        if wait.cut:
            if abs(plant.speed(move.mechanism, wait.ended_us)) > AT_REST:
                continue
            told = f"waited to the end of its period for the {move.mechanism}"
        else:
            missed = any(one.missed for one in links.downstream.get(index, ()))
            if wait.arrival or missed or isinstance(move.command, Spin):
                continue
            told = f"waits for the {move.mechanism}"
        yield Finding(
            kind="never_arrived",
            step=wait.step,
            line=wait.line,
            at_us=wait.ended_us if move.stopwatch is None else move.start_us,
            mechanism=move.mechanism,
            cause_line=record.line,
            cause_step=record.step,
            text=f"step {wait.step} {told}, which {_stays(move, coordinates)}",
            fails=wait.cut,
        )


def _never_passed(wait: WaitRecord, past: Past, trace: Trace, coordinates: Coordinates) -> Finding:
    """A wait for a point of a mechanism's way, up to its limit or the end of its period."""
    name = past.mechanism
    where = f"{past.share:.0%} of its way".replace("%", " %") if past.share is not None else ""
    if past.position is not None:
        where = extent(past.position, coordinates[name])
    if wait.cut:
        text = f"step {wait.step} waited to the end of its period for the {name} to pass {where}"
    else:
        limit = ms(wait.ended_us - wait.began_us)
        text = f"the limit of step {wait.step} ran out after {limit} before the {name} had passed {where}"
    sent = [one for one in trace.moves if one.move.mechanism == name and one.move.start_us <= wait.ended_us]
    text += (
        f"; step {sent[-1].step} sent it last ({sent[-1].label})"
        if sent
        else ", and no step sent it on its way"
    )
    return Finding(
        kind="never_arrived" if wait.cut else "limit_ran_out",
        step=wait.step,
        line=wait.line,
        at_us=wait.ended_us,
        mechanism=name,
        cause_line=sent[-1].line if sent else None,
        cause_step=sent[-1].step if sent else None,
        text=text,
        mechanisms=() if wait.cut else (name,),
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
            f"the {move.mechanism} falls {extent(lag, coordinate)} behind its motion profile "
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


def _asked(move: Move) -> float | str:
    """Where it was to go, as its encoder measures."""
    return move.command.target if isinstance(move.command, GoTo) and move.zero_off else move.target


def _zero_is_off(move: Move, coordinates: Coordinates) -> str:
    return f" (its zero is {extent(move.zero_off, coordinates[move.mechanism])} off)" if move.zero_off else ""


def _stays(move: Move, coordinates: Coordinates) -> str:
    """Where a move that never arrives ends: `ends at 0.2642 m, not 0.25 m (...)`."""
    if isinstance(move.command, DriveTo):
        return f"does not get there ({move.reason()})"
    coordinate = coordinates[move.mechanism]
    if isinstance(move.command, DriveFor):
        way = extent(move.command.by, "angle" if move.command.direction is None else "length")
        return f"does not come to rest {way} from where it began ({move.reason()})"
    if isinstance(move.command, SpinTo):
        ends, target = (extent(float(speed), "angular_speed") for speed in (move.ends_at(), move.target))
        return f"turns at {ends}, not {target} ({move.reason()})"
    if move.stopwatch is not None:
        return f"stops on its way to {move.target} ({move.reason()})"
    ends, target = extent(move.ends_at(), coordinate), extent(_asked(move), coordinate)
    return f"ends at {ends}, not {target} ({move.reason()}){_zero_is_off(move, coordinates)}"

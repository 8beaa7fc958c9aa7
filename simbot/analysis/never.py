"""Waits for what never comes: since when the routine stands there, what holds the mechanism, and which key it is."""

from __future__ import annotations

from collections.abc import Iterator
from math import hypot, inf, pi, remainder

from simbot.analysis.results import Finding
from simbot.analysis.timed import TIMED, off_the_mark
from simbot.analysis.timers import Links
from simbot.analysis.unfinished import LONG, LONG_US, cut_off, stands_since, unfinished_us
from simbot.analysis.words import clock, extent, ms, the
from simbot.physics.build import DRIVES
from simbot.physics.move import DriveTo, GoTo, Move, Spin, SpinTo
from simbot.physics.orders import control_of
from simbot.physics.plant import Plant
from simbot.routine.trace import Trace, WaitRecord
from simbot.scenario.model import MechanismSpec, Past, Robot

Coordinates = dict[str, str]  # mechanism -> "length", "angle" or "word"


def never_arrived(
    wait: WaitRecord, trace: Trace, links: Links, plant: Plant, robot: Robot
) -> Iterator[Finding]:
    """What a wait is for and does not come.

    Of a wait without a limit, which stands until its period ends; of a timed one where no need or pick tells of it.
    What was sent elsewhere before a timed wait was over is left out, but not a piston: where its stroke ends was
    settled at its beginning.
    """
    for index in wait.moves:
        record = trace.moves[index]
        move = record.move
        if move.arrival_us() is not None:
            continue
        spec = robot.mechanisms[move.mechanism]
        stood = stood_out(wait, trace)
        if stood:
            since = stands_since(move, wait.ended_us, plant)
            still = since is None
            if not is_stuck(move, wait, since):
                continue
            at = max(wait.began_us, since or 0)
            what = "which has not settled there" if still else f"which {stays(move, spec.coordinate)}"
            text = (
                f"step {wait.step} stands from {clock(at)} to the end of {_period(wait, trace)}, "
                f"{(wait.ended_us - at) * 1e-6:.1f} s: it waits for {the(move.mechanism)}, {what}"
            )
            text += _hint_of_moving(move) if still else hint(move, wait.ended_us, plant, spec)
        else:
            missed = links.missed(index)
            taken_over = move.cut_us is not None and move.cut_us < wait.ended_us and move.stopwatch is None
            if wait.arrival or missed or taken_over or isinstance(move.command, (Spin, *TIMED)):
                continue
            at = wait.ended_us
            text = f"step {wait.step} waits for {the(move.mechanism)}, which {stays(move, spec.coordinate)}"
        yield Finding(
            kind="never_arrived",
            step=wait.step,
            line=wait.line,
            at_us=at if move.stopwatch is None else move.start_us,
            mechanism=move.mechanism,
            cause_line=record.line,
            cause_step=record.step,
            text=text,
            fails=stood,
        )


def stood_out(wait: WaitRecord, trace: Trace) -> bool:
    """Whether it waited for an arrival until its period ended; not where another branch was first."""
    ends = (cut.at_us for cut in trace.cuts if not cut.reset)
    return wait.cut and wait.arrival and wait.ended_us in ends


def _period(wait: WaitRecord, trace: Trace) -> str:
    """The period whose end cut a wait."""
    names = [cut.period for cut in trace.cuts if cut.at_us == wait.ended_us]
    return names[0].replace("_", " ") if names else "its period"


def stuck_moves(trace: Trace, plant: Plant) -> set[int]:
    """Moves that a wait for their arrival stood for until its period ended, by index."""
    stuck = set()
    for wait in trace.waits:
        for index in wait.moves if stood_out(wait, trace) else ():
            move = trace.moves[index].move
            if move.arrival_us() is None and is_stuck(move, wait, stands_since(move, wait.ended_us, plant)):
                stuck.add(index)
    return stuck


def is_stuck(move: Move, wait: WaitRecord, stands_since_us: int | None) -> bool:
    """Whether what has not arrived at the end of a wait had time to: it stands, or is under way for very long."""
    floor = move.floor_s()
    if floor is not None and wait.ended_us - move.start_us < floor * 1e6:
        return False
    if stands_since_us is not None:
        return True
    return floor is not None and wait.ended_us - wait.began_us > max(LONG * floor * 1e6, LONG_US)


def _hint_of_moving(move: Move) -> str:
    floor = move.floor_s()
    text = "" if floor is None else f" although it could be there in {floor:.2f} s"
    left = ", comes into its window and leaves it again" if move.first_inside_us() is not None else ""
    return f"{text}{left}: its control swings about it, or is far too slow"


def hint(move: Move, at_us: int, plant: Plant, spec: MechanismSpec) -> str:
    """How far off its own control leaves it, and which key decides that; nothing where something else holds it."""
    turning = False
    if isinstance(move.command, DriveTo) and spec.kind in DRIVES:
        leg = plant.ways(move.start_us, at_us - 1)[-1][0]
        here, goal = plant.pose(at_us), leg.pose(leg.to)
        turning = leg.turning
        off = abs(remainder(goal.heading - here.heading, 2.0 * pi))
        if not turning:
            off = hypot(goal.x - here.x, goal.y - here.y)
    elif isinstance(move.command, GoTo) and isinstance(move.target, float) and move.stopwatch is None:
        ends = plant.position(move.mechanism, at_us)
        off = abs(move.target - float(ends))
    else:
        return ""
    control = control_of(spec, turning)
    window, p = float(control["window"]), float(control.get("p") or 0.0)
    if p * off >= float(control.get("effort") or inf) or not 0.0 < p * off < 1.0 or off <= window:
        return ""
    if control.get("i") or control["loop"] not in ("position", "profile"):
        return ""
    coordinate = "angle" if turning else spec.coordinate
    unit = "/m" if coordinate == "length" else "/rad"
    key, now = "control: p", f"{p:.3g} {unit} now"
    if turning:
        key = "turn: p"
        if (spec.values.get("turn") or {}).get("p") is None:
            now += ", taken from `control`, as none is stated"
    where = f" of its {'turn' if turning else 'line'}" if spec.kind in DRIVES else ""
    return (
        f", {extent(off, coordinate)} from the end{where}, outside its window of {extent(window, coordinate)}; at the "
        f"window's edge a `{key}` of {p * off / window:.3g} {unit} would push as hard as it is pushed there ({now}): "
        "it takes more than that, or less friction and load, or a wider window"
    )


def never_passed(wait: WaitRecord, past: Past, trace: Trace, coordinates: Coordinates) -> Finding:
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
        at_us=wait.began_us if wait.cut else wait.ended_us,
        mechanism=name,
        cause_line=sent[-1].line if sent else None,
        cause_step=sent[-1].step if sent else None,
        text=text,
        fails=wait.cut,
        mechanisms=() if wait.cut else (name,),
    )


def asked(move: Move) -> float | str:
    """Where it was to go, as its encoder measures."""
    return move.command.target if isinstance(move.command, GoTo) and move.zero_off else move.target


def zero_is_off(move: Move, coordinate: str) -> str:
    return f" (its zero is {extent(move.zero_off, coordinate)} off)" if move.zero_off else ""


def stays(move: Move, coordinate: str) -> str:
    """Where a move that never arrives ends: `ends at 0.2642 m, not 0.25 m (...)`."""
    had = unfinished_us(move)
    if had is not None:
        return f"is still on its way: {cut_off(had)}"
    if isinstance(move.command, DriveTo):
        return f"does not get there ({move.reason()})"
    if isinstance(move.command, TIMED):
        return off_the_mark(move, coordinate)
    if isinstance(move.command, SpinTo):
        ends, target = (extent(float(speed), "angular_speed") for speed in (move.ends_at(), move.target))
        return f"turns at {ends}, not {target} ({move.reason()})"
    if move.stopwatch is not None:
        return f"stops on its way to {move.target} ({move.reason()})"
    ends, target = extent(move.ends_at(), coordinate), extent(asked(move), coordinate)
    return f"ends at {ends}, not {target} ({move.reason()}){zero_is_off(move, coordinate)}"

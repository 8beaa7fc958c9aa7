"""What a fit prints: one sentence that answers, the unknowns, measured against predicted, what it rests on."""

from __future__ import annotations

from collections.abc import Iterator
from math import floor, log10
from textwrap import wrap
from typing import TextIO

from simbot.scenario.measured import STOPWATCH, TRIES
from simbot.studies.fit_results import Compared, FitResult, Fitted, Interval
from simbot.studies.unknowns import Unknown

WIDTH = 80
WHAT = 33  # columns of what was measured
WEAK = 5.0  # times wider for what the other unknowns leave open
BY_ITSELF = {
    "resistance": (
        "Battery by itself: resting volts, then volts under a known current of a few seconds; resistance is the "
        "difference over the current. Through a proper load tester, eye protection on, nothing loose across the "
        "terminals, an adult beside it; a battery that is hot, swollen or leaking is not tested but put aside outdoors."
    ),
    "efficiency": (
        "Losses by themselves: the force or torque at the load that just stalls it, against the motor's sheet. Under "
        "a second at a stall, at part of the voltage, behind its fuse, then let it cool; hands, hair and faces clear "
        "of cord, gears and pinch points, the load unable to fall, an adult at the switch."
    ),
    "friction": (
        "Friction by itself: with the motor off its gears, a luggage scale that pulls the mechanism slowly, up and "
        "down: half the difference. Hold the load before anything is loosened; springs and bands off first."
    ),
    "load": (
        "The load by itself: a scale under it, or a luggage scale in the cord, standing still. Never below a hoisted "
        "robot; the event's rules and a qualified adult say how it is held."
    ),
}
BY_ITSELF["moving_mass"] = BY_ITSELF["mass"] = BY_ITSELF["load"]


def print_fitted(result: FitResult, stream: TextIO) -> None:
    """Print a fit."""
    for line in _lines(result):
        stream.write(line.rstrip() + "\n")


def _lines(result: FitResult) -> Iterator[str]:
    yield from wrap(answer(result), WIDTH)
    yield ""
    yield from _unknowns(result)
    yield ""
    yield from _compared(result)
    yield ""
    for text in _remarks(result):
        yield from wrap(text, WIDTH)
    yield ""
    yield from wrap(
        "A fitted number is no permission: first runs slowly, hands and faces clear; the event's rules, its inspectors "
        "and the qualified adult beside the robot decide.",
        WIDTH,
    )


# --- the answer ---------------------------------------------------------------------------------------


def answer(result: FitResult) -> str:
    """One sentence."""
    told = [each for each in result.fitted if each.estimate is not None]
    groups = _groups(result)
    parts = []
    for group in groups:
        if len(group) == 1:
            parts.append(f"these measurements say next to nothing about {group[0]}")
        else:
            names = f"{', '.join(group[:-1])} and {group[-1]}"
            parts.append(
                f"these measurements cannot tell {names} apart: more of one and less of another give the same times"
            )
    parts += [f"{each.unknown.name} is {_told(each)}" for each in told]
    if told and result.rests_on:
        parts[-1] += f"; this if {result.rests_on[0].name} is as the file says"
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "." if groups else f"{text}."


def _groups(result: FitResult) -> list[tuple[str, ...]]:
    groups = []
    for each in result.fitted:
        if each.estimate is None:
            group = tuple(sorted((each.unknown.name, *each.not_from)))
            if group not in groups:
                groups.append(group)
    return groups


def _told(each: Fitted) -> str:
    assert each.estimate is not None and each.interval is not None
    unknown = each.unknown
    if each.limit is not None:
        return (
            f"{limit_text(each)}: beyond it a measured move never arrives, so take it for no certain value; the "
            f"file says {unknown.given.text}"
        )
    digits = decimals(each.estimate, each.interval)
    span = interval_text(each.interval, digits, unknown)
    return (
        f"{each.estimate:.{digits}f}{_unit(unknown)} ({span} with 95 % confidence), "
        f"where the file says {unknown.given.text}"
    )


def limit_text(each: Fitted) -> str:
    """An estimate at the edge of what can be simulated."""
    word = "at most" if each.limit == "most" else "at least"
    return f"at the limit of what can be simulated, {word} {each.estimate:.4g}{_unit(each.unknown)}"


def _unit(unknown: Unknown) -> str:
    return f" {unknown.given.unit}" if unknown.given.unit else ""


def _two(value: float) -> str:
    """`440`, not `4.4e+02`."""
    return f"{float(f'{value:.2g}'):g}"


def _step_unit(unknown: Unknown) -> str:
    """Of a difference: of percents it is points."""
    return " percentage points" if unknown.given.unit == "%" else _unit(unknown)


def decimals(value: float, interval: Interval) -> int:
    """Decimals that give a half-width two digits."""
    ends = [abs(end - value) for end in interval if end is not None and end != value]
    size = max(ends, default=abs(value) / 10.0)
    return min(max(1 - floor(log10(size)), 0), 9) if size > 0.0 else 3


def interval_text(interval: Interval, digits: int, unknown: Unknown) -> str:
    """An interval in words; an open end has the unknown's bound, if it is a real one."""
    low, high = interval
    if low is not None and high is not None:
        return f"{low:.{digits}f} to {high:.{digits}f}"
    if low is None and high is None:
        return "anything"
    return f"{low:.{digits}f} or more" if high is None else f"{high:.{digits}f} or less"


# --- tables -------------------------------------------------------------------------------------------


def _unknowns(result: FitResult) -> Iterator[str]:
    yield f"{'unknown':<34}{'in the file':>16}{'fitted':>10}   95 % interval"
    for each in result.fitted:
        yield from _unknown(each)


def _unknown(each: Fitted) -> Iterator[str]:
    unknown = each.unknown
    text = unknown.given.text
    if len(text) > 15:
        text = unknown.given.written(unknown.given.number)
    if each.estimate is None or each.interval is None:
        yield from _named(unknown.name, f"{text:>16}{'not told':>10}")
        if each.if_held is not None:
            value, interval = each.if_held
            digits = decimals(value, interval)
            others = f"  if {', '.join(each.not_from)} as in the file"
            span = interval_text(interval, digits, unknown)
            yield from _named(others, f"{value:>10.{digits}f}   {span}{_unit(unknown)}", 50)
        return
    if each.limit is not None:
        yield from _named(unknown.name, f"{text:>16}{each.estimate:>10.4g}   a limit, no value")
        return
    digits = decimals(each.estimate, each.interval)
    span = interval_text(each.interval, digits, unknown)
    yield from _named(unknown.name, f"{text:>16}{each.estimate:>10.{digits}f}   {span}{_unit(unknown)}")
    if each.without is not None:
        yield from _named("  without the outliers", f"{'':>16}{each.without:>10.{digits}f}")


def _named(name: str, cells: str, wide: int = 34) -> Iterator[str]:
    """A row of a table: its name, on a line of its own where it is long, and its cells, moved left where they are."""
    room = min(wide, WIDTH - len(cells))
    if len(name) >= room:
        yield from wrap(name, WIDTH, subsequent_indent="  ")
        name = ""
    yield f"{name:<{max(0, room)}}{cells}"


def _compared(result: FitResult) -> Iterator[str]:
    yield "Measured against predicted, means in s; n: trials; ratio: measured over fitted"
    yield f"{'what':<{WHAT}}{'battery':<10}{'n':>3}{'measured':>10}{'file':>8}{'fitted':>8}{'ratio':>7}"
    for row in result.compared:
        yield from _row(row)
    if any(row.off for row in result.compared):
        yield " ! off by more than its errors explain: see its lines, or what no file says"


def _row(row: Compared) -> Iterator[str]:
    def number(value: float | None) -> str:
        if value is None:
            return "never"
        return f"{100 * value:.0f} %" if row.method == TRIES else f"{value:.3f}"

    ratio = "-" if row.ratio is None else f"{row.ratio:.3f}"
    mark = "!" if row.off else ""
    cells = (
        f"{row.battery or '-':<9} {row.trials:>3}{number(row.measured):>10}{number(row.before):>8}"
        f"{number(row.predicted):>8}{ratio:>7}{mark}"
    )
    yield from _named(row.text, cells, WHAT)


# --- what it rests on ---------------------------------------------------------------------------------


def _remarks(result: FitResult) -> Iterator[str]:
    yield from (f"Doubtful: {text}." for text in result.cautions)
    yield from _outliers(result)
    for each in result.fitted:
        if each.at_bound and each.limit is None:
            yield (
                f"{each.unknown.name}: one end of its interval is open: up to the bound of what it can be these "
                "measurements do not contradict it."
            )
    for each in result.fitted:
        if each.estimate is not None and each.inflation > WEAK:
            yield (
                f"{each.unknown.name} hangs together with the other unknowns: if those were known, its interval would "
                f"be {each.inflation:.0f} times narrower."
            )
    yield from _errors(result)
    if result.chosen:
        names = ", ".join(each.unknown.name for each in result.fitted)
        left = (
            f"; left as in the file, which knows them better: {', '.join(result.left)}" if result.left else ""
        )
        yield f"Fitted, as the data tell it better than its spread in the file: {names}{left}."
    for rest in result.rests_on:
        moved = [
            f"{each.unknown.name} {_two(abs(move))}{_step_unit(each.unknown)} {'higher' if move > 0 else 'lower'}"
            for each, move in zip(result.fitted, rest.moves, strict=True)
            if move is not None
        ]
        yield f"It rests on {rest.name} being {rest.text}: at the upper end of that it finds {', '.join(moved)}."
    yield from _next(result)


def _outliers(result: FitResult) -> Iterator[str]:
    for place in result.slips:
        one = result.measured[place]
        yield (
            f"Outlier, left out of the fit: {one.value:.3f} s in line {one.line} of the measurements ({one.text}), far "
            "from all other trials of the same: a slip of the pen or of the watch? Measure it again."
        )
    for place in result.outliers:
        one = result.measured[place]
        yield (
            f"Outlier, kept in the fit: {one.value:.3f} s in line {one.line} of the measurements ({one.text}). Look at "
            "it again; take it out only for a reason."
        )


def _errors(result: FitResult) -> Iterator[str]:
    methods = {each.method for each in result.measured if each.error is None}
    if STOPWATCH in methods:
        reaction = result.asked.reaction
        text = (
            f"Stopwatch: a reaction of {reaction:g} s leaves +-{_two(0.7 * reaction)} s in a single time and shifts "
            f"all of them alike by up to +-{_two(0.5 * reaction)} s (k = 2, common practice, no source)"
        )
        if result.shift is not None and abs(result.shift) >= 5e-4:
            text += f"; here by {result.shift:+.3f} s"
        yield text + ". Film it if that is too much."
    if "frames" in methods:
        period = max(each.period for each in result.measured if each.method == "frames")
        yield f"Frames: begin and end are late by up to {1000 * period:.3g} ms each."
    if result.scatter > 0.0:
        yield f"Beyond that the times lie {_two(1000 * result.scatter)} ms (sd) about what is fitted."


def _next(result: FitResult) -> Iterator[str]:
    for one in result.next:
        unknown = next(each.unknown for each in result.fitted if each.unknown.name == one.unknown)
        now = "not told" if one.before is None else f"+-{_two(one.before)}{_unit(unknown)}"
        yield (
            f"Measure next: {one.text} on {one.battery}, five times by video: {one.unknown} goes from {now} to about "
            f"+-{_two(one.after)}{_unit(unknown)}. First slowly and short of its stops; hands, hair and faces clear, "
            "a load unable to fall, an adult at the switch."
        )
    hints = dict.fromkeys(
        BY_ITSELF[last]
        for each in result.fitted
        if each.estimate is None
        for last in [_last(each.unknown)]
        if last in BY_ITSELF
    )
    yield from hints
    if not result.next and not hints:
        yield "Measure next: more trials of the same; no other single move would narrow it much more."


def _last(unknown: Unknown) -> str:
    return next((part for part in reversed(unknown.given.key.split(".")) if not part.isdigit()), "")

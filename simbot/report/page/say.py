"""Numbers and sentences as the page says them: ms without decimals, seconds with two, a true minus."""

from __future__ import annotations

from simbot.analysis.results import MoveResult
from simbot.analysis.words import listed as listed
from simbot.analysis.words import times as times
from simbot.report.summary import breaks, seen_early, waits_for_arrival

MINUS = "\N{MINUS SIGN}"


def signed(value: float, digits: int = 0) -> str:
    text = f"{value:+.{digits}f}"
    return text[1:] if float(text) == 0.0 else text.replace("-", MINUS)


def plain(value: float | None, digits: int = 0) -> str:
    return "not known" if value is None else f"{value:.{digits}f}".replace("-", MINUS)


def ms(time_us: int | None) -> str:
    return "-" if time_us is None else f"{time_us / 1000:.0f}".replace("-", MINUS)


def ms_signed(time_us: int | None) -> str:
    """Whole ms; below one a decimal, so that a sign is never one of nothing."""
    if time_us is None:
        return "-"
    return signed(time_us / 1000, 0 if abs(time_us) >= 950 or time_us == 0 else 1)


def seconds(time_us: int) -> str:
    return f"{time_us / 1e6:.2f} s"


def verdict(move: MoveResult) -> str:
    """The verdict in a word or two."""
    if waits_for_arrival(move):
        return "waits for it"
    if move.verdict is None:
        return "never" if move.stuck else "not timed"
    return "early" if seen_early(move) else move.verdict


def consequence(move: MoveResult) -> str:
    """What a wait that is too short comes to."""
    if move.stuck:
        return "the wait for it stood until its period ended"
    if breaks(move):
        return "breaks what follows"
    if move.consequence != "harmless":
        return ""
    return (
        f"harmless, {ms(move.need_margin_us)} ms to spare at the next need"
        if move.need_margin_us is not None
        else "no stated need follows"
    )


def sentence(move: MoveResult) -> str:
    """All numbers of a move in one sentence or two."""
    parts = [f"Step {move.step}, {move.label}, line {move.line}. Starts at {seconds(move.start_at_us)}."]
    numbers = [f"floor {ms(move.floor_us)} ms" if move.floor_us is not None else "no floor, a stopwatch time"]
    if move.arrival_us is not None:
        numbers.append(f"arrival {ms(move.arrival_us)} ms")
    else:
        numbers.append("never arrives" if move.unfinished_us is None else "not there at the end of the match")
    if move.timer_us is not None:
        numbers.append(f"{'wait' if waits_for_arrival(move) else 'timer'} {ms(move.timer_us)} ms")
    text = ", ".join(numbers)
    parts.append(text[0].upper() + text[1:] + ".")
    end = verdict(move)
    if move.margin_us is not None and not waits_for_arrival(move):
        end += f", {ms_signed(move.margin_us)} ms"
    what = consequence(move)
    parts.append((end[0].upper() + end[1:]) + (f": {what}." if what else "."))
    if move.cut:
        parts.append("Taken over before it arrived.")
    if move.reason:
        parts.append(f"{move.reason[0].upper()}{move.reason[1:]}.")
    return " ".join(parts)

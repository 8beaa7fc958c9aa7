"""What `simbot tune` prints of the time budget of the first period's routine."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from simbot.studies.tune_results import Lost, Stair, StartDelay, TuneResult

WIDTH = 80


def start_lines(result: TuneResult) -> Iterator[str]:
    """The section of the report; nothing where the first period earns nothing."""
    start = result.start
    if start is None:
        return
    yield ""
    yield f"How late the routine of {start.period.replace('_', ' ')} may begin, with the suggested set"
    fits = ", ".join(f"{seconds(time)} on {name}" for name, time in start.fits_us.items())
    yield from _wrapped(f"Every point that it makes without a delay is still made up to {fits}.")
    if start.stairs:
        yield from _wrapped(f"On {start.battery}, where it makes {start.points:g} without a delay:")
    before = start.points
    for stair in start.stairs:
        text = f" from {seconds(stair.from_us):>7} on {stair.points:>4g} points"
        yield from textwrap.wrap(
            _change(stair, before), WIDTH, initial_indent=f"{text}; ", subsequent_indent=" " * 26
        )
        before = stair.points
    if start.uneven:
        yield from _wrapped(
            "A later start was seen to earn more than an earlier one: look before you use it."
        )
    yield from _wrapped(
        f"Looked at {start.looks} delays over the period; edges found to {start.tick_us / 1000:g} ms, each by a run."
    )


def _change(stair: Stair, before: float) -> str:
    if stair.lost:
        return f"falls out: {' and '.join(map(lost_text, stair.lost))}"
    return "what goes: a bonus" if stair.points < before else "more is delivered than before it"


def seconds(time_us: int) -> str:
    return f"{time_us / 1e6:.2f} s"


def lost_text(lost: Lost) -> str:
    times = f" {lost.times} times" if lost.times > 1 else ""
    return f"{lost.place}, line {lost.line}{times}"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=" ", subsequent_indent=" ", break_on_hyphens=False)


def start_document(start: StartDelay) -> dict[str, object]:
    """The same for the JSON document."""
    return {
        "period": start.period,
        "battery": start.battery,
        "points": start.points,
        "fits_s": {name: time / 1e6 for name, time in start.fits_us.items()},
        "stairs": [
            {
                "from_s": stair.from_us / 1e6,
                "points": stair.points,
                "lost": [{"line": one.line, "place": one.place, "times": one.times} for one in stair.lost],
            }
            for stair in start.stairs
        ],
        "uneven": start.uneven,
        "looks": start.looks,
        "tick_s": start.tick_us / 1e6,
    }

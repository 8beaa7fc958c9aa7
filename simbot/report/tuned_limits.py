"""What `simbot tune` prints of the controller's own parameters."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from math import degrees

from simbot.studies.lone_moves import MOST
from simbot.studies.tune_results import Limit, TuneResult

WIDTH = 80
UNITS = {"speed": ("m/s", "deg/s"), "acceleration": ("m/s^2", "deg/s^2"), "loop": ("ms", "ms")}


def unit_of(limit: Limit) -> str:
    return UNITS[limit.key][limit.turns]


def value_in_unit(limit: Limit, value: float) -> float:
    if limit.key == "loop":
        return value * 1000.0
    return degrees(value) if limit.turns else value


def limit_text(limit: Limit, value: float | None) -> str:
    """A value in its usual unit, without it; "-" for none."""
    return "-" if value is None else f"{value_in_unit(limit, value):.4g}"


def limit_lines(result: TuneResult) -> Iterator[str]:
    """The section of the report; nothing where the routine sends nothing anywhere."""
    if not result.limits:
        return
    yield ""
    yield f"The controller's own numbers; each move alone, {result.asked[-1]}"
    yield f" {'':<31} {'now':>8} {'impossible':>15} {'no gain':>14} {'better':>7}"
    for limit in result.limits:
        side = "below" if limit.key == "loop" else "above"
        impossible = "-" if limit.impossible is None else f"above {limit_text(limit, limit.impossible)}"
        none = "-" if limit.no_gain is None else f"{side} {limit_text(limit, limit.no_gain)}"
        better = limit_text(limit, limit.suggested) if limit.changed else "-"
        name = f"{limit.name} [{unit_of(limit)}]"
        yield f" {name[:31]:<31} {limit_text(limit, limit.now):>8} {impossible:>15} {none:>14} {better:>7}"
        for text in limit_remarks(limit):
            yield from textwrap.wrap(text, WIDTH, initial_indent="     ", subsequent_indent="     ")
    yield from textwrap.wrap(
        "Impossible: a move falls behind its profile by more than its window, or never arrives. No gain: a "
        "millisecond at most, of a profile in the mean arrival, of the loop in the cycle. -: not in what was tried. "
        f"Of each mechanism the first {MOST} different moves are looked at.",
        WIDTH,
        initial_indent=" ",
        subsequent_indent=" ",
    )


def limit_remarks(limit: Limit) -> Iterator[str]:
    """What the numbers of one row come to."""
    if not limit.follows:
        yield (
            "as it is now, some move never arrives"
            if limit.key == "loop"
            else ("as it is now, some move falls behind or never arrives")
        )
    if limit.impossible == 0.0:
        yield f"no value from {limit_text(limit, limit.tried[0])} to {limit_text(limit, limit.tried[1])} is followed"
    if limit.uneven:
        yield "some larger value that was tried is followed again: look at the moves one by one (simbot move)"
    if limit.held:
        yield f"another is not suggested: {limit.held}"
    if limit.gain_us is not None and limit.changed:
        yield f"the routine with it: {limit.gain_us / 1000:.0f} ms less, and nothing breaks"
    if limit.key == "loop":
        others = [(loop, saves) for loop, saves in limit.steps if loop != limit.now]
        told = [
            f"{abs(saves) / 1000:.0f} ms {'less' if saves >= 0 else 'more'} with {loop * 1000:g} ms"
            for loop, saves in others
        ]
        if told:
            yield f"the routine takes {', '.join(told)}"

"""When the other plan would win: in words, a table, and the rows of the JSON document."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from simbot.report.document import Document, rounded
from simbot.studies.break_even import BreakEven, BreakEvens
from simbot.studies.further import Further

WIDTH = 80


def break_even_lines(more: Further) -> Iterator[str]:
    """Those that turn the answer, the nearest to what is so now first; those of which it cannot be told; the others."""
    evens = more.break_evens
    if evens is None:
        return
    if evens.equal:
        yield from wrap(
            f"{evens.leader} and {evens.behind} score the same in every match: at what values one of them would "
            "win was not looked for.",
            WIDTH,
        )
        yield ""
        return
    yield from wrap(f"When {evens.behind} would win, all else as it is", WIDTH)
    turning = sorted((one for one in evens.each if one.turns), key=_far)
    for one in turning:
        yield from _entry(f"{in_words(one, evens)}{_interval(one)}")
    if not turning:
        yield " - by nothing of which so few matches can tell."
    unsure = [one for one in evens.each if not one.turns and not one.never]
    if unsure:
        yield "Where these turn it, or whether, so few matches cannot tell"
    for one in sorted(unsure, key=lambda one: (one.from_now, one.to_far)):
        yield from _entry(in_words(one, evens))
    still = [one for one in evens.each if one.never]
    if still:
        yield "No value turns it, as far as it goes, of"
    for one in still:
        yield from _entry(
            f"{_whose(one)}{one.quantity}: still {one.left:+.1f} points at {value(one, one.far)}"
        )
    if evens.missing:
        yield "You stopped it before these were looked at"
        for name in evens.missing:
            yield from _entry(name)
    yield from wrap(
        f"Found by playing {evens.runs} of the matches again with other values, same luck; the brackets are where the "
        "value lies with 95 % confidence, about. One quantity at a time.",
        WIDTH,
    )
    if evens.failed:
        yield f"{evens.failed} of these could not be played, and are left out."
    yield ""


def _entry(text: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent=" - ", subsequent_indent="   ")


def _far(one: BreakEven) -> float:
    assert one.turns_at is not None
    return abs(one.turns_at - one.now) / (abs(one.far - one.now) or 1.0)


def _whose(one: BreakEven) -> str:
    return f"{one.plan}' " if one.plan.endswith("s") else f"{one.plan}'s " if one.plan else ""


def value(one: BreakEven, number: float) -> str:
    """A value with its unit."""
    if one.unit == "%":
        return f"{100 * number:.0f} %"
    if one.unit == "s":
        return f"{number:.2f} s"
    return f"{number:.1f} V" if one.unit == "V" else f"{number:.2f} times as large"


def in_words(one: BreakEven, evens: BreakEvens) -> str:
    """One quantity in a sentence."""
    quantity = f"{_whose(one)}{one.quantity}"
    if one.turns_at is None and one.interval is not None:
        return f"{quantity}: {_unsure(one, evens)}"
    if one.turns_at is None:
        return f"no value of {quantity} up to {value(one, one.far)} makes {evens.behind} win"
    more, now = "more" if one.above else "less", value(one, one.now)
    at = value(one, one.turns_at)
    begin = f"{evens.behind} wins only if "
    if one.unit == "V":
        kind = "stronger" if one.above else "weaker"
        return f"{begin}the battery is {kind} than {at}, {one.resistance:.3f} ohm (you said {now})"
    if one.quantity.startswith("others at "):
        place = one.quantity.removeprefix("others at ")
        return f"{begin}others stand at {place} {more} than {at} of the time (the files: {now})"
    if one.quantity.endswith(" succeeds"):
        return f"{begin}{quantity} {more} than {at} (you said {now})"
    said = "it is" if one.quantity == "cycle time" else "you said"
    return f"{begin}{quantity} is {more} than {at} ({said} {now})"


def _unsure(one: BreakEven, evens: BreakEvens) -> str:
    """What can be said where the crossing cannot be told from noise."""
    assert one.interval is not None
    near, last = one.interval if one.above else one.interval[::-1]
    beyond = "above" if one.above else "below"
    now = f"as it is ({value(one, one.now)})"
    if one.from_now and one.to_far:
        return f"{evens.behind} may win already {now}, and may not win even at {value(one, last)}"
    if one.from_now:
        return f"{evens.behind} may win already {now}, and surely does {beyond} {value(one, last)}"
    return (
        f"{evens.behind} may win {beyond} {value(one, near)} (it is {value(one, one.now)}), but not surely even at "
        f"{value(one, last)}"
    )


def _interval(one: BreakEven) -> str:
    if one.interval is None:
        return ""
    low, high = (value(one, end) for end in one.interval)
    return f" [{low} to {high}]"


def break_even_rows(evens: BreakEvens) -> list[Document]:
    """The rows of the document."""
    return [
        {
            "quantity": one.quantity,
            "plan": one.plan or None,
            "unit": "1" if one.unit == "%" else one.unit,
            "now": rounded(one.now),
            "turns_at": rounded(one.turns_at),
            "turns": None if one.turns_at is None else "above" if one.above else "below",
            "interval": None if one.interval is None else [rounded(end) for end in one.interval],
            "told": one.turns or one.never,
            "resistance_ohm": rounded(one.resistance),
            "tried_to": rounded(one.far),
            "ahead_there": rounded(one.left),
            "text": in_words(one, evens),
        }
        for one in evens.each
    ]

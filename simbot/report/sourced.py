"""Where the uncertainty of a score comes from: in words, a table, and the JSON document's part."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap

from simbot.report.document import Document, rounded
from simbot.studies.sources import Source, Sources

WIDTH = 80
SHOWN = 12
LEAST = 0.01  # of the variance: below it a source is not worth a line


def source_lines(sources: Sources | None) -> Iterator[str]:
    """The answer, the table, what it rests on."""
    if sources is None:
        return
    yield ""
    yield from wrap(_answer(sources), WIDTH)
    if sources.sd > 0.0:
        yield from _table(sources)
    if sources.failed:
        yield f"{sources.failed} pairs could not be played."


def _table(sources: Sources) -> Iterator[str]:
    shown = [one for one in sources.each[:SHOWN] if one.total >= LEAST]
    if shown:
        yield f"{'not known':<52}{'alone':>6}{'in all':>8}{'points':>8}"
    for one in shown:
        text = one.unknown.text + (" (assumed)" if one.unknown.assumed else "")
        first, *others = wrap(text, 50)
        share = f"{100 * one.first:>4.0f} %{100 * one.total:>6.0f} %{one.sd:>8.1f}"
        yield f"{first:<52}{share}"
        yield from (f"  {line}" for line in others)
    left = [one for one in sources.each if one not in shown]
    if left:
        verb = "brings" if len(left) == 1 else "bring"
        yield from wrap(f"{len(left)} more that {verb} next to nothing each.", WIDTH)
    yield from wrap(
        "alone: share of the variance from what is not known that goes when this one is known (first-order index); in "
        "all: with what it does together with others (total index); points: sd of a match from it. From "
        f"{sources.runs} pairs of matches, each with another robot; shares are good to about {_wide(sources):.0f} "
        "percentage points. A success rate without a spread is taken as good to ± 10 percentage points.",
        WIDTH,
    )


def _answer(sources: Sources) -> str:
    text = (
        f"Luck from match to match spreads the points by {sources.luck_sd:.1f} (a standard deviation, sd), "
    )
    if sources.sd <= 0.0:
        return (
            f"{text}and {sources.runs} pairs of matches are too few to tell from it what is not known of the robot and "
            "its success rates (--unknowns N plays more)."
        )
    text += f"what is not known of the robot and its success rates by {sources.sd:.1f}."
    practised = _advice("Practise, and count, first", [one for one in sources.each if one.unknown.rate])
    measured = _advice("Measure first", [one for one in sources.each if not one.unknown.rate])
    if not practised and not measured:
        return (
            text
            + " Which of it matters most is not told by so few pairs of matches (--unknowns N plays more)."
        )
    return text + practised + measured


def _advice(what: str, each: Sequence[Source]) -> str:
    """What to do about the first that surely matters, and which other may matter more for all that these matches tell;
    empty: none does."""
    first = next((one for one in each if _counts(one)), None)
    if first is None:
        return ""
    told = f" {what}: {first.unknown.text} ({_share(first)})"
    rivals = [one for one in each if one is not first and one.total_interval[1] > first.total_interval[0]]
    rival = max(rivals, key=lambda one: one.total_interval[1], default=None)
    if rival is None or rival.total < LEAST:
        return f"{told}."
    return f"{told}; so few pairs of matches do not tell it from {rival.unknown.text} ({_percent(rival)})."


def _share(one: Source) -> str:
    low, high = (100 * end for end in one.total_interval)
    return f"{_percent(one)} of what is not known, {low:.0f} to {high:.0f} % with 95 % confidence"


def _percent(one: Source) -> str:
    return f"{100 * one.total:.0f} %"


def _counts(one: Source) -> bool:
    """Whether its share is surely more than nothing."""
    return one.total_interval[0] >= LEAST


def _wide(sources: Sources) -> float:
    """Widest half-width of a total index, in percentage points."""
    return 50.0 * max(one.total_interval[1] - one.total_interval[0] for one in sources.each)


def source_document(sources: Sources | None) -> Document | None:
    """The part of the document."""
    if sources is None:
        return None
    return {
        "sd": rounded(sources.sd),
        "luck_sd": rounded(sources.luck_sd),
        "runs": sources.runs,
        "failed": sources.failed,
        "sources": [
            {
                "quantity": one.unknown.text,
                "kind": "success rate" if one.unknown.rate else "value",
                "assumed": one.unknown.assumed,
                "first_order": rounded(one.first),
                "first_order_interval": [rounded(end) for end in one.first_interval],
                "total": rounded(one.total),
                "total_interval": [rounded(end) for end in one.total_interval],
                "sd_points": rounded(one.sd),
            }
            for one in sources.each
        ],
    }

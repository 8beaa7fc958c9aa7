"""Which values fulfil what a team wants, at the middle of the spreads and at their ends."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from simbot.report.swept_rows import at, told
from simbot.studies.sweep import Point, SweepResult
from simbot.studies.sweep_answer import best_wanted, missed, nearest_missing, runs_of, stops
from simbot.studies.sweep_asked import Wish
from simbot.studies.sweep_points import WholePlan
from simbot.studies.wishes import ROBOTS, WITH_CHANCE, Spread

WIDTH = 80
MOST_LISTED = 8


def wanted_answer(result: SweepResult) -> str:
    """The answer to a wish in one sentence."""
    surely = [point.fits_surely for point in result.points]
    middle = [point.fits for point in result.points]
    chosen = best_wanted(result)
    size = len(result.points)
    if chosen is None:
        return f"None of the {size} values does what you want; what stops them stands below."
    by = result.asked.by
    best = f"the best of them is {at(result.asked.axes, chosen)} ({by.title} {told(by, chosen.value(by))})"
    if not any(surely):
        return (
            f"No value does what you want at every spread; {sum(middle)} of {size} do at the middle of the spreads "
            f"only, {_ranges(result, middle)}: {best}."
        )
    text = f"{_ranges(result, surely)} does what you want at every spread, {sum(surely)} of {size} values; {best}"
    only = sum(middle) - sum(surely)
    if only:
        text += f"; {only} more do at the middle of the spreads only"
    return text + "."


def _ranges(result: SweepResult, chosen: list[bool]) -> str:
    """`from 40 mm to 52 mm` of one quantity; of two the number of cells."""
    axes = result.asked.axes
    if len(axes) > 1:
        return f"{sum(chosen)} cells"
    named = []
    for first, last in runs_of(result.points, chosen):
        low, high = (axes[0].told(result.points[each].at[0]) for each in (first, last))
        named.append(low if first == last else f"{low} to {high}")
    return f"{axes[0].name} {', '.join(named)}"


def wishes_told(result: SweepResult) -> Iterator[str]:
    """The values that fulfil the wishes, what stops the others, and what the doubtful ones hang on."""
    if not result.asked.wishes or not result.points:
        return
    yield ""
    wanted = "; ".join(wish.text for wish in result.asked.wishes)
    yield from wrap(f"Wanted: {wanted}", WIDTH, subsequent_indent="  ")
    surely = [point.fits_surely for point in result.points]
    only = [point.fits and not point.fits_surely for point in result.points]
    for title, chosen in (("at every spread", surely), ("at the middle of the spreads only", only)):
        yield from wrap(
            f"{title}: {_ranges(result, chosen) if any(chosen) else 'none'}",
            WIDTH,
            initial_indent=" ",
            subsequent_indent="   ",
        )
    if len(result.asked.axes) == 1:
        yield from _edges(result, [point.fits for point in result.points])
    nearest = None if any(surely) or any(only) else nearest_missing(result)
    if nearest is not None:
        told_of = f"nearest: {at(result.asked.axes, nearest)}: {_missed(result, nearest)}"
        yield from wrap(told_of, WIDTH, initial_indent=" ", subsequent_indent="   ")
    yield from _doubtful(result)
    yield from wrap(_how(result), WIDTH)


def _edges(result: SweepResult, chosen: list[bool]) -> Iterator[str]:
    """Which wish binds at each end of the values that fulfil them."""
    axis = result.asked.axes[0]
    for first, last in runs_of(result.points, chosen):
        for number, side in ((first - 1, "below"), (last + 1, "above")):
            if 0 <= number < len(result.points):
                inside = result.points[first if side == "below" else last]
                stopping = _missed(result, result.points[number]) or "; ".join(stops(result, number))
                yield from wrap(
                    f"What binds {side} {axis.told(inside.at[0])}: {stopping}",
                    WIDTH,
                    initial_indent=" ",
                    subsequent_indent="   ",
                )
    if not any(chosen):
        counts: dict[str, int] = {}
        for number in range(len(result.points)):
            for text in stops(result, number):
                counts[text] = counts.get(text, 0) + 1
        for text, count in sorted(counts.items(), key=lambda each: -each[1])[:4]:
            yield from wrap(
                f"{count} of {len(result.points)} values are stopped by: {text}",
                WIDTH,
                initial_indent=" ",
                subsequent_indent="   ",
            )


def _missed(result: SweepResult, point: Point) -> str:
    """Which wishes a point does not fulfil, and by how much."""
    out = []
    for wish, by in missed(result, point):
        measure = result.measures[wish.measure]
        least = 10.0**-measure.digits / measure.factor
        far = "there is none" if by is None else f"missed by {'less than ' if by < least else ''}"
        out.append(f"{wish.text}, {far}{'' if by is None else told(measure, max(by, least))}")
    return "; ".join(out)


def _doubtful(result: SweepResult) -> Iterator[str]:
    """What values hang on that do at the middle of the spreads only."""
    doubtful = [point for point in result.points if point.fits and not point.fits_surely]
    for point in doubtful[:: -(-len(doubtful) // MOST_LISTED) or 1]:
        for wish, spread in zip(result.asked.wishes, point.spreads, strict=True):
            if not spread.holds:
                yield from wrap(
                    f"{at(result.asked.axes, point)}: {_hangs(result, point, wish, spread)}",
                    WIDTH,
                    initial_indent=" ",
                    subsequent_indent="   ",
                )


def _hangs(result: SweepResult, point: Point, wish: Wish, spread: Spread) -> str:
    measure = result.measures[wish.measure]
    worst = "never" if spread.worst is None else told(measure, spread.worst)
    if wish.measure in WITH_CHANCE:
        return f"{wish.text}: known only to {worst} by so many matches"
    text = f"{wish.text}: {worst} at the worst"
    if spread.share is not None:
        text += f", holds for {100 * spread.share:.0f} % of {ROBOTS} drawn robots"
        text += f"; it breaks by {spread.blame}" if spread.blame else "; no quantity breaks it alone"
    elif spread.blame:
        text += f", most by {spread.blame}"
    if spread.guessed:
        text += " - a GUESS that nobody measured"
    return text


def _how(result: SweepResult) -> str:
    """How it is known whether a wish holds at every spread."""
    told = []
    chance = [wish.measure in WITH_CHANCE for wish in result.asked.wishes]
    if any(chance):
        told.append(
            "A wish about matches with chance, whose robots are drawn from the spreads, holds at every spread where "
            "the whole 95 % interval fulfils it."
        )
    if not all(chance):
        told.append(_of_a_plan() if isinstance(result.subject, WholePlan) else _of_a_mechanism())
    return " ".join(told)


def _of_a_plan() -> str:
    return (
        f"Every spread: {ROBOTS} robots drawn from the stated and assumed spreads, each quantity once in every "
        "twentieth of its own, each robot in a nominal match; rarer ones are not among them. What breaks a wish: "
        "each quantity at both its ends by itself."
    )


def _of_a_mechanism() -> str:
    return (
        "Every spread: each stated or assumed quantity at both its ends by itself, and all at once at those that are "
        "worse for the wish: the worst of all where each pulls one way whatever the others are."
    )

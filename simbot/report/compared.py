"""What a comparison prints: one sentence that answers, the table, the differences, what it rests on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap
from typing import TextIO

from simbot.analysis.words import counted
from simbot.report.classes import NAME, classes_of, histogram, spans
from simbot.report.ended import clock_lines, mixture_lines
from simbot.report.labels import digits_apart
from simbot.report.turned import break_even_lines
from simbot.report.unseen import fault_lines, freed_told, ignorance_told, unseen_lines
from simbot.studies.compare import CompareResult, Pair, Side
from simbot.studies.further import NOTHING_FURTHER, Further
from simbot.studies.paired import ALPHA, Difference, differing, differs_seldom
from simbot.studies.schedule import matches_in, next_look
from simbot.studies.statistics import half_width

WIDTH = 80
TITLE = 34  # columns of what a row is
ABREAST = 3  # plans beside each other


def print_compared(result: CompareResult, stream: TextIO, more: Further = NOTHING_FURTHER) -> None:
    """Print a comparison, and what was asked beyond it."""
    for line in _lines(result, more):
        stream.write(line.rstrip() + "\n")


def _lines(result: CompareResult, more: Further) -> Iterator[str]:
    yield from wrap(_answer(result), WIDTH)
    yield ""
    states = ", ".join(dict.fromkeys(result.asked.states))
    days = max(side.points.days for side in result.sides)
    each = "each" if len(result.sides) == 2 else "of the closest; hopeless plans are played less"
    if more.stopped:
        missing = f" Not looked at: {_missing(more)}." if more.missing else ""
        yield from wrap(
            f"You stopped it; what it had by then follows.{missing} The same command goes on from there.",
            WIDTH,
        )
        yield ""
    played = f"{counted(result.runs, 'match')} on {counted(days, 'day')} {each}"
    yield from wrap(f"Same luck, {played}, seed {result.asked.seed}, battery {states}", WIDTH)
    yield ""
    yield from _table(result)
    yield ""
    yield "points a match: one in ten below |, half below o, one in ten above |"
    names = _names(result.sides, NAME - 1)
    yield from spans([(name, _quantiles(side)) for name, side in zip(names, result.sides, strict=True)])
    yield ""
    for pair in result.pairs:
        yield from _pair(result, pair)
        yield ""
    yield from break_even_lines(more)
    yield from clock_lines(more.clocks or ())
    yield from mixture_lines(more.mixtures)
    yield from fault_lines(result.faults)
    yield from unseen_lines(min(side.points.days for side in result.sides))
    yield from wrap(
        "It rests on the stated and assumed spreads, chances and allowances of the files (simbot check PLAN) and on "
        "nobody getting better over the day. A simulated match is no permission: event rules and inspectors come "
        "first.",
        WIDTH,
    )


def _missing(more: Further) -> str:
    """What was not looked at; break-evens by their number, since they are named where they would stand."""
    single = sum(part.startswith("the break-even of ") for part in more.missing)
    parts = [part for part in more.missing if not part.startswith("the break-even of ")]
    if single:
        parts.insert(0, f"{single} of the values at which the other plan would win")
    return "; ".join(parts)


def _quantiles(side: Side) -> tuple[float, float, float]:
    return side.points.p10.value, side.points.p50.value, side.points.p90.value


def _answer(result: CompareResult) -> str:
    number = result.best
    best = result.sides[number]
    against = [pair for pair in result.pairs if number in (pair.first, pair.second)]
    closest = min(against, key=lambda pair: abs(pair.difference.mean.value))
    other = result.sides[closest.second if closest.first == number else closest.first]
    if closest.difference.ties == 1.0:
        return (
            f"{best.plan.name} and {other.plan.name} are equal: they score the same in each of "
            f"{closest.difference.tally[0.0]} matches."
        )
    apart = closest.difference
    chance = _wins(apart, closest.first == number)
    if apart.sure:
        text = f"{best.plan.name} scores more than {other.plan.name}: {_ahead(apart)}"
    else:
        few = result.runs < matches_in(next_look(0))  # before anything is looked at
        text = (
            f"Too {'few matches' if few else 'close'} to say: {best.plan.name} is {_ahead(apart)} ahead of "
        )
        text += other.plan.name
    interval = apart.mean.interval
    if interval is not None and (apart.sure or interval[0] <= 0.0 <= interval[1]):
        text += f" ({_ends(apart, closest.first == number)} with 95 % confidence)"
    text += f", and wins {100 * chance:.0f} % of the single matches"
    if apart.ties:
        text += f" ({100 * apart.ties:.0f} % are ties)"
    return text + "."


def _ahead(apart: Difference) -> str:
    size, digits = abs(apart.mean.value), digits_apart(apart.mean.value)
    return f"{size:.{digits}f} points a match" if size >= 0.0005 else "less than 0.001 points a match"


def _ends(apart: Difference, first: bool) -> str:
    """The interval of the best one's lead: `1.9 to 14.4`, or `0.3 behind to 0.5 ahead`."""
    assert apart.mean.interval is not None
    digits = digits_apart(apart.mean.value)
    low, high = apart.mean.interval if first else (-apart.mean.interval[1], -apart.mean.interval[0])
    if low >= 0.0:
        return f"{low:.{digits}f} to {high:.{digits}f}"
    return f"{-low:.{digits}f} behind to {high:.{digits}f} ahead"


def _wins(difference: Difference, first: bool) -> float:
    share = difference.first_wins.value
    return share if first else 1.0 - share - difference.ties


def _table(result: CompareResult) -> Iterator[str]:
    for begin in range(0, len(result.sides), ABREAST):
        if begin:
            yield ""
        yield from _rows(result.sides[begin : begin + ABREAST])
    yield from wrap(
        "A cycle goes from one delivery to the next, the first from the start of the match: what a period such as "
        "autonomous leaves idle at its end is in its time, so that it is longer than the repeated routine alone. "
        "Points a match from whole cycles are those of all deliveries, bonuses in them; points a cycle are the same "
        "over the number of cycles, points a second over their time; points a match have penalties and what counts at "
        "the end in them too.",
        WIDTH,
    )
    two = [side.plan.name for side in result.sides if side.plan.partner is not None]
    if two:
        told = (
            f"Points a match of {', '.join(two)} are those of both robots of its plan, also where plans of one robot "
            "stand beside it; cycles, and points of them, are the first robot's alone."
        )
        yield from wrap(told, WIDTH)
    apart = [pair.difference for pair in result.pairs]
    told = freed_told(any(one.freed_of_luck for one in apart), any(one.freed_of_robots for one in apart))
    yield from wrap(told, WIDTH)


def _rows(sides: Sequence[Side]) -> Iterator[str]:
    """Plans beside each other."""
    wide = min(17, (WIDTH - TITLE) // len(sides))
    names = _names(sides, wide - 1)

    def row(title: str, cells: Sequence[str]) -> str:
        return f"{title:<{TITLE}}" + "".join(f"{cell:>{wide}}" for cell in cells)

    def number(value: float | None, digits: int) -> str:
        return "-" if value is None else f"{value:.{digits}f}"

    yield row("", names)
    yield row("points a match, mean", [number(side.points.mean.value, 1) for side in sides])
    yield row("  one match in ten below", [number(side.points.p10.value, 0) for side in sides])
    yield row("  one in ten above", [number(side.points.p90.value, 0) for side in sides])
    yield row("  NOMINAL, without chance", [number(side.nominal.total, 0) for side in sides])
    yield row("cycles a match", [number(side.cycles, 1) for side in sides])
    yield row("cycle time [s]", [number(side.cycle_time_s, 2) for side in sides])
    yield row("points a match, whole cycles", [number(side.points_of_cycles, 1) for side in sides])
    yield row("points a cycle", [number(side.points_per_cycle, 2) for side in sides])
    yield row("points a second", [number(side.points_per_s, 3) for side in sides])


def _names(sides: Sequence[Side], wide: int) -> list[str]:
    """Names of plans in so many columns: their begin, or their end where they begin alike."""
    names = [side.plan.name[:wide] for side in sides]
    return names if len(set(names)) == len(names) else [side.plan.name[-wide:] for side in sides]


def _pair(result: CompareResult, pair: Pair) -> Iterator[str]:
    first, second = (result.sides[number].plan.name for number in (pair.first, pair.second))
    apart = pair.difference
    if apart.ties == 1.0:
        yield from wrap(f"{first} less {second}: 0, in every match.", WIDTH)
        return
    digits = digits_apart(apart.mean.value)
    text = f"{first} less {second}: {apart.mean.value:+.{digits}f} points a match"
    if apart.mean.interval is not None:
        text += " ({:+.{d}f} to {:+.{d}f})".format(*apart.mean.interval, d=digits)
    won, lost = 100 * apart.first_wins.value, 100 * _wins(apart, False)
    text += f"; {first} wins {won:.0f} % of the matches, {second} {lost:.0f} %"
    if apart.first_wins_day is not None:
        text += f", and about {100 * apart.first_wins_day:.0f} % of the days by their average over ten"
    yield from wrap(text + ".", WIDTH)
    yield ""
    whole = all(value == round(value) for value in apart.tally)
    notes = [(0.0, "equal"), (apart.mean.value, "mean")]
    yield from histogram(classes_of([apart.tally])[0], notes, whole, f", {first} less {second}")
    yield ""
    if differs_seldom(apart):
        yield from wrap(
            f"Only {differing(apart)} of these {sum(apart.tally.values())} matches differ at all: what is said of the "
            "difference and of its sign is a guess from so few.",
            WIDTH,
        )
    if apart.sure:
        yield from wrap(
            f"The sign is settled: a rule that looks again and again and still errs in at most {100 * ALPHA:.0f} of "
            "100 studies says so (Bonferroni's inequality over all its looks; of what befalls a few matches in a "
            "hundred it knows too little, and errs more often). The interval does not know of the looking, and is a "
            "little too narrow for it.",
            WIDTH,
        )
    elif apart.matches_needed is not None:
        yield from wrap(
            f"To settle it takes about {apart.matches_needed} matches (--runs), if it is so.", WIDTH
        )
    if apart.matches_for_a_point is not None and half_width(apart.mean) > 1.0:
        count = apart.matches_for_a_point
        more = not apart.freed_of_luck or apart.freed_of_robots
        fewer = ", or fewer, since more of them tell more of luck and robots" if more else ""
        yield from wrap(
            f"An interval of ± 1 point takes about {count} matches{fewer} (--until-halfwidth 1 --runs {count}).",
            WIDTH,
        )
    if apart.luck_sd is not None and apart.ignorance_sd is not None:
        days = min(result.sides[number].points.days for number in (pair.first, pair.second))
        ignorance = ignorance_told(
            apart.ignorance_sd, apart.ignorance_most, days, "which only measuring it shrinks"
        )
        yield from wrap(
            f"Of its spread luck has sd {apart.luck_sd:.1f}, which more matches shrink; {ignorance}.", WIDTH
        )
    if apart.mover is not None:
        low, high = apart.mover.interval
        unknown, end = apart.mover.unknown, "upper" if apart.mover.upper else "lower"
        guess = ", which nobody stated" if unknown.assumed else ""
        yield from wrap(
            f"Of what is not known one thing moves it most, so {'count' if unknown.rate else 'measure'} it first: "
            f"{unknown.text}{guess}. At the {end} end of that {first} less {second} changes by "
            f"{apart.mover.points:+.1f} points ({low:+.1f} to {high:+.1f}).",
            WIDTH,
        )

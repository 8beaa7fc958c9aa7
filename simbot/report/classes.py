"""Values counted in classes, and drawn as bars and marks of plain characters on one scale."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

MOST = 12  # classes
WIDTH, BARS = 80, 36
SCALE = 58  # columns of a scale beside a name
NAME = 20


@dataclass(frozen=True)
class Classes:
    """Counts of values in classes of one width: the k-th holds `first + k step <= value < first + (k + 1) step`."""

    first: float
    step: float
    counts: tuple[int, ...]

    @property
    def total(self) -> int:
        return sum(self.counts)

    def of(self, value: float) -> int:
        """Number of the class that a value belongs to."""
        return floor((value - self.first) / self.step)


def classes_of(tallies: Sequence[Mapping[float, int]], most: int = MOST) -> list[Classes]:
    """The same classes for every tally, of a round width and no more than `most` of them."""
    values = [value for one in tallies for value in one]
    low, high = (min(values), max(values)) if values else (0.0, 0.0)
    step = round_step((high - low) / most)
    while ceil((floor(high / step) * step - floor(low / step) * step) / step) + 1 > most:
        step = round_step(step * 1.01)
    first = floor(low / step) * step
    number = round(floor(high / step) - floor(low / step)) + 1
    made = []
    for one in tallies:
        counts = [0] * number
        for value, times in one.items():
            counts[floor(value / step) - round(first / step)] += times
        made.append(Classes(first, step, tuple(counts)))
    return made


def round_step(at_least: float) -> float:
    """The next of 1, 2, 5, 10, 20, 50 ..."""
    if at_least <= 1.0:
        return 1.0
    ten = 10.0 ** floor(log10(at_least) + 1e-12)
    return next(each * ten for each in (1.0, 2.0, 5.0, 10.0) if each * ten >= at_least * (1 - 1e-12))


def histogram(
    classes: Classes, notes: Sequence[tuple[float, str]], whole: bool, what: str = ""
) -> Iterator[str]:
    """A heading, then a line a class: its values, its count, its bar, what lies in it.

    notes: values, and what each is. whole: the values have no fractions. what: of what these are the points.
    """
    names = [
        class_name(classes.first + k * classes.step, classes.step, whole) for k in range(len(classes.counts))
    ]
    told = [", ".join(text for value, text in notes if classes.of(value) == k) for k in range(len(names))]
    tails = [f"  <- {text}" if text else "" for text in told]
    wide = max(11, *map(len, names)) + 1
    bars = min(BARS, WIDTH - wide - 8 - max(map(len, tails)))
    most = max(1, *classes.counts)
    yield f"{'points':<{wide}}matches{what}"[:WIDTH]
    for name, count, tail in zip(names, classes.counts, tails, strict=True):
        bar = "#" * (max(1, round(bars * count / most)) if count else 0)
        yield f"{name:<{wide}}{count:>7} {bar}{tail}".rstrip()


def class_name(begin: float, step: float, whole: bool) -> str:
    """`90-99`; `-10 to -1` where a minus would be taken for a dash; with fractions `90 to <100`."""
    end = begin + step
    if not whole:
        return f"{begin:.0f} to <{end:.0f}"
    last = end - 1.0
    if last == begin:
        return f"{begin:.0f}"
    return f"{begin:.0f}-{last:.0f}" if begin >= 0.0 else f"{begin:.0f} to {last:.0f}"


def spans(rows: Sequence[tuple[str, tuple[float, float, float]]]) -> Iterator[str]:
    """A scale, and for each name its three values on it: tick, dot, tick, with their numbers."""
    low = min([0.0, *(ends[0] for _, ends in rows)])
    high = max([1.0, *(ends[2] for _, ends in rows)])
    step = round_step((high - low) / 6)
    first, last = floor(low / step) * step, ceil(high / step) * step
    wide = SCALE - 14

    def column(value: float) -> int:
        return round((value - first) / (last - first) * (wide - 1))

    axis = [" "] * (wide + 8)
    for number in range(round((last - first) / step) + 1):
        text = f"{first + number * step:.0f}"
        begin = column(first + number * step)
        axis[begin : begin + len(text)] = text
    yield f"{'':<{NAME}}{''.join(axis)}".rstrip()
    for name, (below, middle, above) in rows:
        cells = [" "] * wide
        for at in range(column(below), column(above) + 1):
            cells[at] = "-"
        cells[column(below)] = cells[column(above)] = "|"
        cells[column(middle)] = "o"
        told = f"{below:.0f}, {middle:.0f}, {above:.0f}"
        yield f"{name[: NAME - 1]:<{NAME}}{''.join(cells)}  {told}".rstrip()

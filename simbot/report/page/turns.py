"""When another plan would win, and what measurements say of the model: a line for each quantity."""

from __future__ import annotations

from dataclasses import dataclass

from simbot.report.document import Document
from simbot.report.page.svg import drawing, number, percent, tag, words

BAR = 12.0
MIDDLE, HIGH = 20.0, 44.0
ROOM = 0.12  # of the span, on either side
UNITS = {"1": "", "s": " s", "times": " times", "V": " V"}


@dataclass(frozen=True)
class Drawn:
    """One quantity: its name, a drawing, and the same in words."""

    name: str
    svg: str
    note: str
    stands_out: bool = False


def turns(document: Document) -> list[Drawn]:
    """The break-evens of a comparison that turn the answer, the nearest first."""
    rows = [row for row in document.get("break_even") or () if row["turns_at"] is not None]
    return [Drawn(_name(row), _turn(row), row["text"]) for row in sorted(rows, key=_far)]


def idle(document: Document) -> list[str]:
    """What was tried and turns nothing, and how far."""
    rows = [
        row for row in document.get("break_even") or () if row["turns_at"] is None and row.get("told", True)
    ]
    return [f"{_name(row)} (up to {_told(row['tried_to'], row['unit'])})" for row in rows]


def unsure(document: Document) -> list[str]:
    """What cannot be told from noise."""
    return [row["text"] for row in document.get("break_even") or () if not row.get("told", True)]


def _name(row: Document) -> str:
    return row["quantity"] if row["plan"] is None else f"{row['plan']}: {row['quantity']}"


def _far(row: Document) -> float:
    """How far it has to go, as a share of how far was tried."""
    span = abs(row["tried_to"] - row["now"])
    return float(abs(row["turns_at"] - row["now"]) / span) if span > 0.0 else 0.0


def _told(value: float, unit: str) -> str:
    return f"{100 * value:.3g} %" if unit == "1" else f"{value:.3g}{UNITS.get(unit, '')}"


def _turn(row: Document) -> str:
    interval = [end for end in row["interval"] or () if end is not None]
    known = [row["now"], row["tried_to"], row["turns_at"], *interval]
    low, high = min(known), max(known)
    room = ROOM * (high - low) or 1.0
    whole = high - low + 2.0 * room

    def x(value: float) -> str:
        return percent(value - low + room, whole)

    out = [tag("line", x1=x(low), x2=x(high), y1=MIDDLE, y2=MIDDLE, class_="rule")]
    for end in interval:
        out.append(tag("line", x1=x(end), x2=x(end), y1=MIDDLE - 5, y2=MIDDLE + 5, class_="range ink-a"))
    if len(interval) == 2:
        out.append(
            tag("line", x1=x(interval[0]), x2=x(interval[1]), y1=MIDDLE, y2=MIDDLE, class_="range ink-a")
        )
    out.append(tag("circle", cx=x(row["now"]), cy=MIDDLE, r=4, class_="ring"))
    out.append(
        words(f"now {_told(row['now'], row['unit'])}", x(row["now"]), HIGH - 6, "halo quiet", "middle")
    )
    out.append(tag("circle", cx=x(row["turns_at"]), cy=MIDDLE, r=4, class_="fill-ink-a"))
    text = _told(row["turns_at"], row["unit"])
    out.append(words(text, x(row["turns_at"]), MIDDLE - 9, "halo strong", "middle"))
    return drawing(out, HIGH, f"{_name(row)}. {row['text']}")


@dataclass(frozen=True)
class Fitted:
    """A fit: what it says, and what was measured beside what the fitted model gives."""

    answer: str
    scale: str
    rows: list[Drawn]


def fitted(document: Document) -> Fitted:
    """Measured over predicted, one row a measurement; 1 in the middle."""
    ratios = [row["ratio"] for row in document["compared"] if row["ratio"] is not None]
    most = max((abs(ratio - 1.0) for ratio in ratios), default=0.0) or 0.01
    scale = f"the line is 1, the ends are 1 ± {120 * most:.2g} %; right of it the robot is slower"
    return Fitted(document["answer"], scale, [_row(row, 1.2 * most) for row in document["compared"]])


def _row(row: Document, most: float) -> Drawn:
    unit = {"s": " s"}.get(row["unit"], "")
    name = row["what"] if row["battery"] is None else f"{row['what']}, {row['battery']}"
    told = "it does not arrive" if row["predicted"] is None else f"fitted {number(row['predicted'], 3)}{unit}"
    note = f"{row['trials']} measured {number(row['measured'], 3)}{unit}, {told}"
    out = [tag("line", x1="50%", x2="50%", y1=0, y2=2 * BAR, class_="zero")]
    if row["ratio"] is not None:
        at = percent(row["ratio"] - 1.0 + most, 2.0 * most)
        begin = percent(min(row["ratio"] - 1.0, 0.0) + most, 2.0 * most)
        width = percent(abs(row["ratio"] - 1.0), 2.0 * most)
        out.append(tag("rect", x=begin, y=BAR - 5, width=width, height=10, class_="bar ink-a pale"))
        out.append(tag("circle", cx=at, cy=BAR, r=4, class_="fill-ink-a"))
        note += f", ratio {row['ratio']:.3f}"
    if row["off"]:
        note += "; more than its errors explain"
    return Drawn(name, drawing(out, 2 * BAR, f"{name}: {note}"), note, bool(row["off"]))

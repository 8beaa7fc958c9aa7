"""Where a cycle's time goes, and what changes are worth: bars from one zero."""

from __future__ import annotations

from dataclasses import dataclass

from simbot.report.document import Document
from simbot.report.page import say
from simbot.report.page.evidence import ink_of
from simbot.report.page.parts import PlanPart
from simbot.report.page.svg import drawing, percent, tag, words

SHARES = (
    ("driving_s", "Driving", "the drive under way"),
    ("moving_s", "Moving", "another mechanism under way"),
    ("stations_s", "Queues", "waiting at stations and places"),
    ("timers_s", "Waits", "marked waits, and the guard"),
    ("given_away_s", "Given away", "beyond the guard"),
)
ROOM = 1.2  # of an axis beyond its longest bar, for the number


@dataclass(frozen=True)
class Bars:
    """One row of a chart: a name beside it and bars from zero."""

    name: str
    note: str
    svg: str


def cycle(parts: list[PlanPart]) -> list[Bars]:
    """Parts of the mean cycle, plan under plan, on the battery state that is shown first."""
    shown = [(part.plan.name, part.ran[part.middle].state.time) for part in parts]
    known = [(number, name, time) for number, (name, time) in enumerate(shown) if time is not None]
    if not known:
        return []
    whole = ROOM * max(getattr(time, key) for _, _, time in known for key, _, _ in SHARES)
    out = []
    for key, name, note in SHARES:
        values = [(number, plan, float(getattr(time, key))) for number, plan, time in known]
        out.append(Bars(name, note, _bars(name, values, whole, "s", first=key == "driving_s")))
    return out


def _bars(about: str, values: list[tuple[int, str, float]], whole: float, unit: str, first: bool) -> str:
    out = []
    for row, (number, _, value) in enumerate(values):
        y = 3 + 18 * row
        out.append(
            tag("rect", x=0, y=y, width=percent(value, whole), height=13, class_=f"bar {ink_of(number)}")
        )
        text = f"{value:.2f} {unit}" if first else f"{value:.2f}"
        out.append(words(text, percent(value, whole), y + 11, "halo strong", dx=7))
    label = f"{about}: " + ", ".join(f"{plan} {value:.2f} {unit}" for _, plan, value in values)
    return drawing(out, 18 * len(values) + 4, label)


def idle(document: Document) -> list[str]:
    """Changes that changed the points of no match."""
    return [one["change"] for one in document["changes"] if not _moves(one)]


def _moves(one: Document) -> bool:
    return one["points"] != 0.0 or any(one["interval"] or ())


def worth(document: Document) -> list[Bars]:
    """Changes that change anything, the best first, each with its interval; open: not told from nothing."""
    rows = [*filter(_moves, document["changes"]), *([document["together"]] if document["together"] else [])]
    if not rows:
        return []
    ends = [end for one in rows for end in (one["points"], *(one["interval"] or ()))]
    low, high = min(0.0, *ends), max(0.0, *ends)
    room = 0.12 * (high - low) or 1.0
    whole = high - low + (room if low < 0 else 0.0) + room
    zero = -low + (room if low < 0 else 0.0)
    out = []
    for one in rows:
        interval = one["interval"]
        sure = interval is not None and (interval[0] > 0 or interval[1] < 0)
        y = 12.0
        begin, width = (zero, one["points"]) if one["points"] >= 0 else (zero + one["points"], -one["points"])
        body = [
            tag(
                "rect",
                x=percent(begin, whole),
                y=y - 5,
                width=percent(width, whole),
                height=10,
                class_="bar ink-a pale",
            )
        ]
        body.append(tag("line", x1=percent(zero, whole), x2=percent(zero, whole), y1=0, y2=24, class_="zero"))
        if interval is not None:
            body.append(
                tag(
                    "line",
                    x1=percent(zero + interval[0], whole),
                    x2=percent(zero + interval[1], whole),
                    y1=y,
                    y2=y,
                    class_="range ink-a",
                )
            )
            for end in interval:
                body.append(
                    tag(
                        "line",
                        x1=percent(zero + end, whole),
                        x2=percent(zero + end, whole),
                        y1=y - 5,
                        y2=y + 5,
                        class_="tick ink-a",
                    )
                )
        body.append(
            tag(
                "circle",
                cx=percent(zero + one["points"], whole),
                cy=y,
                r=4.5,
                class_="fill-ink-a" if sure else "open",
            )
        )
        note = f"{say.signed(one['points'], 1)}"
        if interval is not None:
            note += f" ({say.signed(interval[0], 1)} to {say.signed(interval[1], 1)})"
        if not sure:
            note += ", not told from nothing"
        name = one["change"] if one is not document["together"] else "all together"
        out.append(Bars(name, note, drawing(body, 24, f"{name}: {note} points a match")))
    return out

"""Where a cycle's time goes, what a match scores, and what changes are worth: bars from one zero."""

from __future__ import annotations

from dataclasses import dataclass

from simbot.report.document import Document
from simbot.report.page import say
from simbot.report.page.answers import ink_of
from simbot.report.page.parts import PlanPart, Studies
from simbot.report.page.svg import drawing, percent, tag, words

SHARES = (
    ("driving_s", "Driving", "the drive under way"),
    ("moving_s", "Moving", "another mechanism under way"),
    ("stations_s", "Queues", "waiting at stations and places"),
    ("timers_s", "Waits", "marked waits, and the guard"),
    ("given_away_s", "Given away", "beyond the guard"),
)
ROOM = 1.12  # of an axis beyond its longest bar, for the number


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
    for row, (number, plan, value) in enumerate(values):
        y = 3 + 18 * row
        out.append(tag("rect", x=0, y=y, width=percent(value, whole), height=13, class_=f"bar {ink_of(number)}"))
        text = f"{value:.2f} {unit}, {plan}" if first else f"{value:.2f}"
        out.append(words(text, percent(value, whole), y + 11, "halo strong", dx=7))
    label = f"{about}: " + ", ".join(f"{plan} {value:.2f} {unit}" for _, plan, value in values)
    return drawing(out, 18 * len(values) + 4, label)


def score(parts: list[PlanPart], studies: Studies) -> list[Document]:
    """What is known of each plan's points: its own study, else its side of the comparison."""
    sides = {side["name"]: side for side in studies.compare["plans"]} if studies.compare is not None else {}
    out = []
    for number, part in enumerate(parts):
        name = part.plan.name
        own = studies.match.get(name)
        document = own or sides.get(name)
        if document is None:
            continue
        about = own or studies.compare
        assert about is not None
        out.append(
            {
                "name": name,
                "ink": ink_of(number),
                "points": document["points"],
                "nominal": document["nominal_points"],
                "runs": about["runs"],
                "seed": about["seed"],
                "battery": say.listed(about["battery"]),
                "threshold": own["threshold"] if own else None,
                "reach": own["chance_to_reach"] if own else None,
                "lost": own["lost"] if own else [],
                "svg": "",
            }
        )
    if out:
        low, high = _axis(out)
        for one in out:
            one["svg"] = _distribution(one, low, high)
    return out


def _axis(known: list[Document]) -> tuple[float, float]:
    high = max(max(one["points"]["p90"], one["nominal"], one["threshold"] or 0.0) for one in known)
    return 0.0, ROOM * high


def _distribution(one: Document, low: float, high: float) -> str:
    points, whole, y = one["points"], high - low, 34.0
    out = []

    def at(value: float) -> str:
        return percent(value - low, whole)

    out.append(tag("line", x1=at(points["p10"]), x2=at(points["p90"]), y1=y, y2=y, class_=f"range {one['ink']}"))
    for key in ("p10", "p90"):
        out.append(tag("line", x1=at(points[key]), x2=at(points[key]), y1=y - 6, y2=y + 6, class_=f"tick {one['ink']}"))
        out.append(words(say.plain(points[key]), at(points[key]), y + 22, "halo", "middle"))
    out.append(tag("circle", cx=at(points["p50"]), cy=y, r=5, class_=f"fill-{one['ink']}"))
    out.append(words(say.plain(points["p50"]), at(points["p50"]), y - 11, "halo strong", "middle"))
    out.append(tag("line", x1=at(one["nominal"]), x2=at(one["nominal"]), y1=y - 16, y2=y + 9, class_="nominal"))
    out.append(words(f"{say.plain(one['nominal'])} nominal", at(one["nominal"]), y - 18, "halo quiet", "middle"))
    if one["threshold"] is not None:
        out.append(tag("line", x1=at(one["threshold"]), x2=at(one["threshold"]), y1=0, y2=y + 24, class_="threshold"))
        out.append(words(f"threshold {say.plain(one['threshold'])}", at(one["threshold"]), 10, "halo", dx=5))
    label = f"{one['name']}: one match in ten below {say.plain(points['p10'])}, half below {say.plain(points['p50'])}, one in ten above {say.plain(points['p90'])} points"
    return drawing(out, 62, label)


def worth(document: Document) -> list[Bars]:
    """Changes, the best first, each with its interval; open where it cannot be told from nothing."""
    rows = [*document["changes"], *([document["together"]] if document["together"] else [])]
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
        body = [tag("rect", x=percent(begin, whole), y=y - 5, width=percent(width, whole), height=10, class_="bar ink-a pale")]
        body.append(tag("line", x1=percent(zero, whole), x2=percent(zero, whole), y1=0, y2=24, class_="zero"))
        if interval is not None:
            body.append(tag("line", x1=percent(zero + interval[0], whole), x2=percent(zero + interval[1], whole), y1=y, y2=y, class_="range ink-a"))
            for end in interval:
                body.append(tag("line", x1=percent(zero + end, whole), x2=percent(zero + end, whole), y1=y - 5, y2=y + 5, class_="tick ink-a"))
        body.append(tag("circle", cx=percent(zero + one["points"], whole), cy=y, r=4.5, class_="fill-ink-a" if sure else "open"))
        note = f"{say.signed(one['points'], 1)}"
        if interval is not None:
            note += f" ({say.signed(interval[0], 1)} to {say.signed(interval[1], 1)})"
        if not sure:
            note += ", not told from nothing"
        name = one["change"] if one is not document["together"] else "all together"
        out.append(Bars(name, note, drawing(body, 24, f"{name}: {note} points a match")))
    return out

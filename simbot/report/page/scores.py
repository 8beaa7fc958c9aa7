"""What a match scores: distributions over one axis of points, with p10, p50, p90 and the threshold."""

from __future__ import annotations

from dataclasses import dataclass

from simbot.report.classes import Classes, classes_of
from simbot.report.document import Document
from simbot.report.page import say
from simbot.report.page.evidence import ink_of
from simbot.report.page.parts import PlanPart, Studies
from simbot.report.page.svg import drawing, number, percent, polyline, stretched, tag, words

HIGH = 150.0  # of the histogram
MOST_CLASSES = 24
ROOM = 1.3  # of the axis beyond the greatest number


@dataclass(frozen=True)
class Score:
    """One plan's points: of its own study, else its side of the comparison."""

    name: str
    ink: str
    points: Document
    nominal: float
    runs: int
    seed: int
    battery: str
    tally: dict[float, int]
    threshold: float | None
    reach: Document | None
    lost: list[Document]


@dataclass(frozen=True)
class Scores:
    each: tuple[Score, ...]
    histogram: str  # nothing where no study tells its matches
    step: str  # width of a class
    rows: tuple[str, ...]  # a drawing each


def scores(parts: list[PlanPart], studies: Studies) -> Scores:
    """All that is known of the plans' points."""
    sides = {side["name"]: side for side in studies.compare["plans"]} if studies.compare is not None else {}
    known = []
    for index, part in enumerate(parts):
        own = studies.match.get(part.plan.name)
        document = own or sides.get(part.plan.name)
        about = own or studies.compare
        if document is not None and about is not None:
            known.append(_score(part.plan.name, index, document, about, own))
    if not known:
        return Scores((), "", "", ())
    whole = _whole(known)
    told = [one for one in known if one.tally]
    classes = classes_of([one.tally for one in told], MOST_CLASSES) if told else []
    return Scores(
        tuple(known),
        _histogram(told, classes, whole) if told else "",
        say.plain(classes[0].step) if classes else "",
        tuple(_quantiles(one, whole) for one in known),
    )


def _score(name: str, index: int, document: Document, about: Document, own: Document | None) -> Score:
    return Score(
        name,
        ink_of(index),
        document["points"],
        document["nominal_points"],
        about["runs"],
        about["seed"],
        say.listed(about["battery"]),
        {one["points"]: one["matches"] for one in document.get("matches", ())},
        own["threshold"] if own else None,
        own["chance_to_reach"] if own else None,
        [one for one in own["lost"] if one["points"]] if own else [],
    )


def _whole(known: list[Score]) -> float:
    ends: list[float] = [
        max(one.points["p90"], one.nominal, one.threshold or 0.0, *one.tally, 1.0) for one in known
    ]
    return ROOM * max(ends)


def _histogram(known: list[Score], classes: list[Classes], whole: float) -> str:
    """Shares of matches in classes of points, plan over plan: outlines, filled in each plan's own way."""
    most = max(max(one.counts) / one.total for one in classes)
    rung = next(step for step in (0.02, 0.05, 0.1, 0.2, 0.5) if most / step <= 4.0)
    up = (HIGH - 16.0) / most
    out = []
    for index in range(int(most / rung) + 1):
        y = HIGH - index * rung * up
        out.append(tag("line", x1=0, x2="100%", y1=y, y2=y, class_="hair" if index else "rule"))
        if index:
            unit = " of the matches" if index == int(most / rung) else ""
            out.append(words(f"{number(100 * index * rung)} %{unit}", 0, y - 3, "quiet halo", dx=4))
    for one, counted in zip(known, classes, strict=True):
        points = [(counted.first, HIGH)]
        for place, count in enumerate(counted.counts):
            begin = max(counted.first + place * counted.step, 0.0)
            end = counted.first + (place + 1) * counted.step
            y = HIGH - count / counted.total * up
            points += [(begin, y), (end, y)]
            if count:
                out.append(
                    tag("rect", x=percent(begin, whole), y=y, width=percent(end - begin, whole), height=HIGH - y,
                        class_=f"area {one.ink}")
                )  # fmt: skip
        points.append((points[-1][0], HIGH))
        out.append(stretched(polyline(points, f"outline {one.ink}"), whole, HIGH, class_="part"))
    step = next(each for each in (5, 10, 20, 50, 100, 200, 500, 1000) if whole / each <= 8)
    for value in range(0, int(whole) + 1, step):
        anchor = "middle" if value else "start"
        out.append(words(str(value), percent(value, whole), HIGH + 16, "quiet", anchor, dx=0 if value else 4))
    out += _thresholds(known, whole, HIGH)
    told = ", ".join(f"{one.name} in {one.runs} matches" for one in known)
    return drawing(
        out, HIGH + 22, f"How many matches came to how many points: {told}. The quantiles stand below."
    )


def _thresholds(known: list[Score], whole: float, down: float) -> list[str]:
    out = []
    for value in sorted({one.threshold for one in known if one.threshold is not None}):
        x = percent(value, whole)
        out.append(tag("line", x1=x, x2=x, y1=-6, y2=down, class_="threshold"))
        out.append(words(f"threshold {say.plain(value)}", x, 2, "halo strong", dx=5))
    return out


def _quantiles(one: Score, whole: float) -> str:
    """p10, p50, p90 as tick, dot, tick; the nominal run dashed."""
    points, y = one.points, 24.0
    out = []

    def at(value: float) -> str:
        return percent(value, whole)

    out.append(tag("line", x1=at(points["p10"]), x2=at(points["p90"]), y1=y, y2=y, class_=f"range {one.ink}"))
    for key in ("p10", "p90"):
        out.append(
            tag("line", x1=at(points[key]), x2=at(points[key]), y1=y - 6, y2=y + 6, class_=f"tick {one.ink}")
        )
        out.append(words(say.plain(points[key]), at(points[key]), y + 20, "halo", "middle"))
    out.append(tag("circle", cx=at(points["p50"]), cy=y, r=5, class_=f"fill-{one.ink}"))
    out.append(words(say.plain(points["p50"]), at(points["p50"]), y - 10, "halo strong", "middle"))
    out.append(tag("line", x1=at(one.nominal), x2=at(one.nominal), y1=y - 9, y2=y + 9, class_="nominal"))
    out.append(words(f"{say.plain(one.nominal)} nominal", at(one.nominal), y + 4, "halo quiet", dx=6))
    if one.threshold is not None:
        out.append(
            tag("line", x1=at(one.threshold), x2=at(one.threshold), y1=0, y2=y + 24, class_="threshold")
        )
    return drawing(out, 50, _told(one))


def _told(one: Score) -> str:
    points = one.points
    return (
        f"{one.name}: one match in ten below {say.plain(points['p10'])}, half below {say.plain(points['p50'])}, "
        f"one in ten above {say.plain(points['p90'])} points"
    )

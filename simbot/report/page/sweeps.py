"""One quantity over a range: the measure asked for as a line, the flat region, where the files stand now."""

from __future__ import annotations

from dataclasses import dataclass

from simbot.report.document import Document
from simbot.report.page.svg import drawing, number, percent, polyline, stretched, tag, words

HIGH = 130.0
MEASURES = {  # name -> what it is called, its unit
    "arrival": ("arrival", "s"),
    "inside": ("first time inside the target", "s"),
    "floor": ("floor", "s"),
    "current": ("battery current, peak", "A"),
    "motor_current": ("current of one motor, peak", "A"),
    "heat": ("heat in the windings", "J"),
    "energy": ("energy from the battery", "J"),
    "volts": ("lowest bus voltage", "V"),
    "stall": ("share of the stall torque", ""),
    "points": ("points", ""),
    "rate": ("points a second", ""),
    "cycle": ("cycle", "s"),
    "failures": ("failures", ""),
}


@dataclass(frozen=True)
class Swept:
    """One sweep."""

    name: str
    note: str
    says: str
    svg: str  # nothing where two quantities were swept


def swept(document: Document) -> Swept:
    """The panel of a sweep's document."""
    title, unit = MEASURES.get(document["by"], (document["by"], ""))
    axes, best = document["quantities"], document["best"]
    state = document["battery"][0]
    who = document["mechanism"] or document["file"]
    keys = " and ".join(axis["key"].rpartition(".")[2] for axis in axes)
    note = f"{title} over {keys}, nominal on {state}"
    if best is None:
        return Swept(who, note, "No value of the range has this measure.", "")
    told = " and ".join(_with_unit(value, axis["unit"]) for value, axis in zip(best, axes, strict=True))
    at_best = next((point for point in document["points"] if point["at"] == best), None)
    value = None if at_best is None else _value(at_best, document)
    says = f"The best of the range is {told}"
    says += "." if value is None else f", with {title} {_with_unit(value, unit)}."
    flat = document["flat"]
    if flat is not None and flat["from"] != flat["to"]:
        span = f"{number(flat['from'], 4)} to {_with_unit(flat['to'], axes[0]['unit'])}"
        says += f" From {span} nothing is more than 2 % worse."
    if flat is not None and (flat["reaches_first"] or flat["reaches_last"]):
        says += " That reaches an end of the range: the best may lie beyond it."
    now = document["now"]
    if now is not None and now["worse_than_best"] is not None:
        says += f" As the files have it, it is {100 * now['worse_than_best']:.1f} % worse."
    return Swept(who, note, says, _line(document, title, unit) if len(axes) == 1 else "")


def _with_unit(value: float, unit: str) -> str:
    return f"{number(value, 4)} {unit}".strip()


def _value(point: Document, document: Document) -> float | None:
    look = point["looks"].get(document["battery"][0])
    found = None if look is None else look["values"].get(document["by"])
    return None if found is None else float(found)


def _line(document: Document, title: str, unit: str) -> str:
    """From zero both ways, so that a flat line looks flat."""
    axis = document["quantities"][0]
    known = [(point["at"][0], _value(point, document)) for point in document["points"]]
    points = [(at, value) for at, value in known if value is not None]
    wide = 1.08 * max(abs(at) for at, _ in points) or 1.0
    high = 1.1 * max(abs(value) for _, value in points) or 1.0

    def y(value: float) -> float:
        return HIGH - value / high * (HIGH - 14.0)

    out = [tag("line", x1=0, x2="100%", y1=HIGH, y2=HIGH, class_="rule")]
    flat = document["flat"]
    if flat is not None:
        width = percent(flat["to"] - flat["from"], wide)
        out.append(tag("rect", x=percent(flat["from"], wide), y=0, width=width, height=HIGH, class_="flat"))
    out.append(
        stretched(
            polyline([(at, y(value)) for at, value in points], "outline ink-a"), wide, HIGH, class_="part"
        )
    )
    out += [
        tag("circle", cx=percent(at, wide), cy=y(value), r=3, class_="fill-ink-a") for at, value in points
    ]
    if axis["now"] is not None:
        x = percent(axis["now"], wide)
        out.append(tag("line", x1=x, x2=x, y1=8, y2=HIGH, class_="nominal"))
        out.append(words("now", x, 6, "halo quiet", "middle"))
    ends = sorted({points[0], points[-1]})
    for at, value in ends:
        out.append(
            words(
                f"{number(value, 3)} {unit}".strip(), percent(at, wide), y(value) - 8, "halo strong", "middle"
            )
        )
        out.append(words(_with_unit(at, axis["unit"]), percent(at, wide), HIGH + 16, "quiet", "middle"))
    out.append(words("0", 0, HIGH + 16, "quiet", dx=4))
    told = "; ".join(f"{_with_unit(at, axis['unit'])}: {_with_unit(value, unit)}" for at, value in points)
    return drawing(out, HIGH + 22, f"{title} over {axis['key']}. {told}.")

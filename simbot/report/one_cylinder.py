"""What `simbot move` prints of a cylinder, and its JSON document. 80 columns, plain characters."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import PurePath
from typing import IO

from simbot import __version__
from simbot.analysis.one_cylinder import MOST, OneCylinder, StrokeNumbers
from simbot.report.document import FORMAT, Document, rounded
from simbot.report.one_move import WIDTH, _wrapped
from simbot.scenario.errors import SimbotError
from simbot.scenario.model import Remark
from simbot.scenario.units_told import unit_as_written

TAKES = "simbot move takes a robot, a cylinder, --set and --json"
WHY_NOT = {
    "--from": "its strokes go out and in by turns",
    "--to": "its strokes go out and in by turns",
    "--turn": "it is no drive",
    "--load": "what it moves stands in the file: moving_mass, load",
    "--until": "it is no winch and no hoist",
    "--tables": "it has no travel to table",
    "--volts": "it is moved by air, not by a motor",
    "--celsius": "it is moved by air, not by a motor",
    "--battery": "it is moved by air, not from the battery",
    "--figure": "it has two ends and no course to draw",
}
CAUTIONS = (
    "Compressed air is stored energy: it moves the piston at full force as long as there is any, with the power off "
    "too. Let it out and look at the gauge before hands go near; eye protection; tank, hoses and fittings rated for "
    "the supply.",
    "Whatever moves pinches: hands, hair and cords stay clear of rod, levers and stops; first strokes at the lowest "
    "pressure that moves it, one of you at the stop.",
    "A simulated time is never permission. The event's rules, its inspectors and the qualified adult beside the robot "
    "decide about tanks, pressures and what may run.",
)


def refuse(name: str, given: Mapping[str, object]) -> None:
    """Options that say nothing of a cylinder."""
    for option, value in given.items():
        if value not in (None, False, []):
            first = value[0] if isinstance(value, list) else value
            shown = "" if value is True else f" {first:g}" if isinstance(first, float) else f" {first}"
            raise SimbotError(f"{option}{shown}: {name} is a cylinder, {WHY_NOT[option]}; {TAKES}")


def remarks_on(one: OneCylinder, remarks: Sequence[Remark]) -> list[Remark]:
    """What is assumed of it, looks doubtful, or follows."""
    start = f"mechanisms.{one.spec.name}."
    return [each for each in remarks if f"{each.key.removeprefix('robot.')}.".startswith(start)]


def print_cylinder(one: OneCylinder, remarks: Sequence[Remark], stream: IO[str]) -> None:
    for line in cylinder_lines(one, remarks):
        print(line, file=stream)


def cylinder_lines(one: OneCylinder, remarks: Sequence[Remark]) -> Iterator[str]:
    title = f"{one.spec.name} of {one.robot.name}: cylinder, alone on its air"
    where = PurePath(one.robot.path).name
    yield f"{title}{where:>{max(WIDTH - len(title), len(where) + 2)}}"
    yield from _wrapped(
        "NOMINAL: nothing else takes air, nothing fills the tank again, every number at the middle of its spread. "
        "The battery has no part in it. From a full tank, in and at rest."
    )
    if one.owner != one.spec.name:
        yield from _wrapped(f"Its tank is that of {one.owner}, whose strokes take air too.")
    known = remarks_on(one, remarks)
    yield from _wrapped(f"Assumed or doubtful: {len(known) or 'nothing'}.")
    for remark in known:
        text = f"{remark.key.removeprefix('robot.')}: {remark.text}".replace("±", "+/-")
        yield from _wrapped(text, "  - ")
    yield ""
    yield from _wrapped(_fill(one), "")
    yield ""
    yield from _table(one)
    yield ""
    yield from _rest(one)
    yield ""
    yield "Before it moves"
    for caution in CAUTIONS:
        yield from _wrapped(caution, " - ")


def _way(stroke: StrokeNumbers) -> str:
    return "out" if stroke.outwards else "in"


def _fill(one: OneCylinder) -> str:
    last = one.strokes[-1]
    if not last.reason:
        return f"More than {MOST} strokes on one fill, out and in by turns."
    many = f"{one.done} stroke{'' if one.done == 1 else 's'} on one fill, out and in by turns"
    return f"{many}. Stroke {last.number}, {_way(last)}, does not get there: {last.reason}."


def told(one: OneCylinder) -> Iterator[tuple[StrokeNumbers, str]]:
    """The strokes of a table, each with the state of the tank: full, half used up, the last, the one that fails."""
    number = one.done
    named = {1: "full tank"}
    named.setdefault(1 + 2 * (number // 4), "half the strokes done")
    last = max(1, number - 1 if number % 2 == 0 else number)
    named.setdefault(last, "the last ones" if number % 2 == 0 else "the last one")
    shown = [each for first in named for each in (first, first + 1)]
    for stroke in one.strokes:
        if stroke.reason:
            yield stroke, "fails"
        elif stroke.number in shown:
            yield stroke, named.get(stroke.number, "")


def _table(one: OneCylinder) -> Iterator[str]:
    unit, per = unit_as_written(one.robot.mechanisms[one.owner].values["supply"].text, "pressure")
    yield f"{'stroke':<32}{'tank':>9}{'at its end':>12}{'it needs':>10}{'pushes':>9}{'time':>8}"
    yield f"{'':32}{unit:>9}{unit:>12}{unit:>10}{'N':>9}{'ms':>8}"
    for stroke, state in told(one):
        at_end = "no air" if stroke.at_end is None else f"{stroke.at_end / per:.3g}"
        needs = "-" if stroke.at_end is None else f"{stroke.needs / per:.3g}"
        time = "never" if stroke.time_s is None else f"{1000.0 * stroke.time_s:.0f}"
        yield (
            f"{stroke.number:>4} {_way(stroke):<4}{state:<23}{stroke.tank / per:>9.3g}{at_end:>12}{needs:>10}"
            f"{stroke.push:>9.3g}{time:>8}"
        )
    timed = one.spec.values["time"] is not None
    yield from _wrapped(
        "Pressures above the outer air's: in the tank before the stroke, in the cylinder at its end. It pushes with "
        "that at the end, its spring's force taken into account, load and friction not. "
        + (
            "The time is your stopwatch's, the same at every pressure that it needs."
            if timed
            else "The time counts from the command, the valve's delay in it."
        )
    )


def _rest(one: OneCylinder) -> Iterator[str]:
    """What holds it."""
    p = one.spec.values
    unit, per = unit_as_written(one.robot.mechanisms[one.owner].values["supply"].text, "pressure")
    if float(p["load"]) == 0.0 and float(p["friction"]) == 0.0 and not p["single_acting"]:
        yield from _wrapped(
            "Whether it holds: with air in it, with what it pushes; with the air let out the file cannot tell, it "
            "states neither `load` nor `friction`."
        )
    else:
        for word, least in (("out", one.holds_out_pa), ("in", one.holds_in_pa)):
            if least is None:
                text = f"Nothing holds it {word}: its spring is weaker than load and friction."
            elif least == 0.0:
                text = f"It stays {word} without air, once it is there."
            else:
                text = f"It stays {word} down to {least / per:.3g} {unit} in the cylinder."
            yield from _wrapped(text)
        goes = (
            f"goes {one.without_air} by itself" if one.without_air else "stays where it stands, by friction"
        )
        yield from _wrapped(f"With the air let out it {goes}.")
    yield from _wrapped(
        "Which way it goes when the power ends is up to its valve, which the file does not tell: one with a spring "
        "switches back, one that latches stays (common practice, no source)."
    )


def cylinder_document(one: OneCylinder, remarks: Sequence[Remark]) -> Document:
    return {
        "simbot": __version__,
        "format": FORMAT,
        "document": "strokes",
        "robot": one.robot.name,
        "mechanism": one.spec.name,
        "tank_of": one.owner,
        "assumed": [f"{remark.key}: {remark.text}" for remark in remarks_on(one, remarks)],
        "cautions": list(CAUTIONS),
        "strokes_on_one_fill": one.done if one.strokes[-1].reason else None,
        "stays_out_down_to_pa": rounded(one.holds_out_pa),
        "stays_in_down_to_pa": rounded(one.holds_in_pa),
        "without_air": one.without_air or "stays",
        "strokes": [
            {
                "number": stroke.number,
                "way": _way(stroke),
                "tank_before_pa": rounded(stroke.tank),
                "at_end_pa": rounded(stroke.at_end),
                "needs_pa": rounded(stroke.needs),
                "push_n": rounded(stroke.push),
                "time_s": rounded(stroke.time_s),
                "reason": stroke.reason or None,
            }
            for stroke in one.strokes
        ],
    }

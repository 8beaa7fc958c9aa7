"""The timeline of one run: code, a lane a mechanism, the bus, one scale of time. Places along it are per cents."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, degrees, floor, pi

import numpy as np

from simbot.analysis.course import EVERY_US
from simbot.analysis.polylines import Course, Courses
from simbot.analysis.results import FindingKey, MoveResult, StateResult
from simbot.report.page import marks, say
from simbot.report.page.code_lane import CODE, CODE_LINE, LETTER, steps
from simbot.report.page.svg import drawing, number, percent, polyline, stretched, tag, title, words
from simbot.report.summary import breaks, waits_for_arrival
from simbot.routine.trace import Trace

LANE, HEAD, TRAVEL, BAR_AT = 84.0, 16.0, 34.0, 70.0
BUS, AXIS = 96.0, 26.0
LATE = 0.25  # of the match
USUAL_SCALE = 110.0  # what the page shows at first


@dataclass(frozen=True)
class Lane:
    """Name and stops of a lane, for the column beside the drawing."""

    name: str
    top: float
    stops: tuple[tuple[float, str], ...]  # y, what


@dataclass(frozen=True)
class Timeline:
    svg: str
    lanes: tuple[Lane, ...]
    height: float
    end_us: int


def measured(value: float, measures: str) -> str:
    """A value of a course in its usual unit."""
    if measures == "angle":
        return f"{say.plain(degrees(value))}°"
    if measures == "angular_speed":
        return f"{say.plain(value * 30.0 / pi)} rpm"
    return f"{say.plain(value * 1000.0)} mm" if abs(value) < 1.0 else f"{say.plain(value, 2)} m"


class _Scale:
    def __init__(self, end_us: int) -> None:
        self.end_us = end_us

    def at(self, at_us: float) -> str:
        return percent(at_us, self.end_us)


def timeline(
    trace: Trace, state: StateResult, courses: Courses, letters: dict[FindingKey, str], label: str, ink: str
) -> Timeline:
    """Draw one run.

    Parameters
    ----------
    letters : dict
        Of the findings that make a state fail.
    label : str
        What a reader who cannot see it is told first.
    ink : str
        Class of the plan's lines.
    """
    scale = _Scale(courses.end_us)
    lanes = [(course, CODE + index * LANE) for index, course in enumerate(in_order(trace, courses))]
    bus_at = CODE + len(lanes) * LANE
    height = bus_at + BUS + AXIS
    tops = {course.mechanism: top for course, top in lanes}
    body = [
        *_seconds(scale, height),
        tag("line", x1=0, x2="100%", y1=CODE_LINE, y2=CODE_LINE, class_="code"),
    ]
    beside = [Lane("Code", CODE_LINE, ())]
    for course, top in lanes:
        body += _lane(course, top, courses.end_us, ink)
        beside.append(Lane(course.mechanism, top, _stops(course, top)))
        body += _needs(scale, trace, course, top)
    body += _bus(scale, courses, state, bus_at)
    low, high = _bus_range(courses)
    volts = [low, (low + high) / 2, high]
    beside.append(Lane("bus", bus_at, tuple((_bus_y(v, low, high, bus_at), f"{number(v)} V") for v in volts)))
    body += _moves(scale, state, tops, courses)
    body += _missed(scale, state, tops, letters)
    body += steps(trace, state, courses.end_us)
    return Timeline(drawing(body, height, label, class_="run"), tuple(beside), height, courses.end_us)


def in_order(trace: Trace, courses: Courses) -> list[Course]:
    """Lanes from the top: the last of the robot file first, but what moves only late in the match lowest."""
    begins: dict[str, int] = {}
    for record in trace.moves:
        begins.setdefault(record.move.mechanism, record.move.start_us)
    lanes = list(reversed(courses.mechanisms))
    return sorted(lanes, key=lambda one: begins[one.mechanism] > LATE * courses.end_us)


def _seconds(scale: _Scale, height: float) -> Iterator[str]:
    bottom = height - AXIS
    for second in range(int(scale.end_us / 1e6) + 1):
        x = scale.at(second * 1e6)
        yield tag("line", x1=x, x2=x, y1=CODE - 6, y2=bottom + 5, class_="hair")
        anchor = "start" if second == 0 else "middle"
        class_ = "quiet" if second % 5 == 0 else "quiet each"
        text = f"{second} s" if second % 5 == 0 else str(second)
        yield words(text, x, bottom + 19, class_, anchor, dx=3 if second == 0 else 0)


# --- lanes --------------------------------------------------------------------------------------------


def _range(course: Course) -> tuple[float, float]:
    low, high = float(course.values.min()), float(course.values.max())
    if course.measures in ("to_go", "angular_speed"):
        low = min(low, 0.0)
    if course.measures == "word":
        low, high = 0.0, float(max(len(course.words) - 1, 1))
    return low, high if high > low else low + 1.0


def _y(value: float, course: Course, top: float) -> float:
    low, high = _range(course)
    return top + HEAD + TRAVEL * (1.0 - (value - low) / (high - low))


def _stops(course: Course, top: float) -> tuple[tuple[float, str], ...]:
    if course.measures == "word":
        return tuple((_y(index, course, top), word) for index, word in enumerate(course.words))
    low, high = _range(course)
    ends = [(low, measured(low, course.measures)), (high, measured(high, course.measures))]
    if course.measures == "to_go":
        ends = [(low, "there"), (high, f"{ends[1][1]} to go")]
    return tuple((_y(value, course, top), text) for value, text in ends)


def _lane(course: Course, top: float, end_us: int, ink: str) -> Iterator[str]:
    yield tag("line", x1=0, x2="100%", y1=top, y2=top, class_="rule")
    for y, _ in _stops(course, top):
        yield tag("line", x1=0, x2="100%", y1=y, y2=y, class_="stop")
    points = list(_points(course, top))
    points.append((end_us / 1000.0, points[-1][1]))
    yield stretched(polyline(points, f"travel {ink}"), end_us / 1000.0, top + LANE, class_="part")


def _points(course: Course, top: float) -> Iterator[tuple[float, float]]:
    """Of a mechanism known by words a straight line from place to place; else the course as it is."""
    if course.measures != "word":
        yield from (
            (at / 1000.0, _y(float(v), course, top))
            for at, v in zip(course.at_us, course.values, strict=True)
        )
        return
    here = 0.0
    for at, value in zip(course.at_us, course.values, strict=True):
        yield at / 1000.0, _y(here, course, top)
        here = float(value) if value >= 0.0 else here
        yield at / 1000.0, _y(here, course, top)


def _moves(scale: _Scale, state: StateResult, tops: dict[str, float], courses: Courses) -> Iterator[str]:
    """The waits, each with its verdict beside it where there is room."""
    drawn = [
        m for m in state.moves if m.mechanism in tops and (m.arrival_us is not None or m.ends_at is not None)
    ]
    known = {course.mechanism: course for course in courses.mechanisms}
    for name, top in tops.items():
        own = sorted((move for move in drawn if move.mechanism == name), key=lambda move: move.start_at_us)
        ends = [0, *(_end_us(move) for move in own)]
        starts = [*(move.start_at_us for move in own[1:]), scale.end_us + 2_000_000]
        for move, before, after in zip(own, ends, starts, strict=False):
            yield _move(scale, move, known[name], top, before, after, state.name)


def _end_us(move: MoveResult) -> int:
    return move.start_at_us + max(move.arrival_us or 0, move.timer_us or 0, move.floor_us or 0)


def _move(
    scale: _Scale, move: MoveResult, course: Course, top: float, before_us: int, after_us: int, battery: str
) -> str:
    end = _end_us(move)
    frame = tag(
        "rect", x=scale.at(move.start_at_us), y=top + 2, width=percent(end - move.start_at_us, scale.end_us),
        height=LANE - 4, class_="frame",
    )  # fmt: skip
    body = title(f"{say.sentence(move)} Battery {battery}.") + frame
    if move.verdict in ("short", "impossible") and move.timer_us is not None:
        left = move.start_at_us + move.timer_us
        body += tag("use", href="#left", x=scale.at(left), y=_y(_value_at(course, left), course, top))
    body += marks.wait(move, scale.end_us, top + BAR_AT, move.start_at_us)
    body += _beside(scale, move, top + BAR_AT + 4, end, before_us, after_us)
    return tag("g", body, class_="mv", data_lane=move.mechanism, data_at=move.start_at_us)


def _beside(scale: _Scale, move: MoveResult, y: float, end: int, before_us: int, after_us: int) -> str:
    """Verdict and margin: right of the bar, left of it, or nowhere."""
    if move.margin_us is None or waits_for_arrival(move):
        return ""
    told = f"{move.verdict} {say.ms_signed(move.margin_us)}"
    spare = (
        f", harmless: {say.ms(move.need_margin_us)} to spare"
        if move.consequence == "harmless" and move.need_margin_us
        else ""
    )
    class_ = "halo alarm" if breaks(move) else "halo"

    def fits(text: str, room_us: int) -> bool:
        return len(text) * LETTER + 20.0 < room_us / 1e6 * USUAL_SCALE

    for text in (told + spare, told):
        if fits(text, after_us - end):
            return words(text, scale.at(end), y, class_, dx=13)
    if fits(told, move.start_at_us - before_us):
        return words(told, scale.at(move.start_at_us), y, class_, "end", dx=-7)
    return ""


# --- what needs what ----------------------------------------------------------------------------------


def _needs(scale: _Scale, trace: Trace, course: Course, top: float) -> Iterator[str]:
    """A ring on the travel line where a need was met, a cross where it was not."""
    for need in trace.needs:
        if need.need.mechanism != course.mechanism:
            continue
        y = _y(_value_at(course, need.at_us - (EVERY_US if course.measures == "to_go" else 0)), course, top)
        x = scale.at(need.at_us)
        yield tag("line", x1=x, x2=x, y1=CODE_LINE + 9, y2=y, class_="drop")
        yield tag("use", href="#met" if need.met else "#unmet", x=x, y=y)


def _value_at(course: Course, at_us: int) -> float:
    if course.measures == "word":
        before = course.values[(course.at_us <= at_us) & (course.values >= 0.0)]
        return float(before[-1]) if len(before) else 0.0
    return float(np.interp(at_us, course.at_us, course.values))


def _missed(
    scale: _Scale, state: StateResult, tops: dict[str, float], letters: dict[FindingKey, str]
) -> Iterator[str]:
    """The missed connection: from the wait that was too short up to the step that it breaks, with its letter."""
    for found in state.findings:
        letter = letters.get(found.key)
        if letter is None or found.mechanism not in tops:
            continue
        x = scale.at(found.at_us)
        foot = tops[found.mechanism] + BAR_AT - 22
        yield tag("line", x1=x, x2=x, y1=CODE_LINE + 10, y2=foot, class_="link")
        yield tag("circle", cx=x, cy=CODE + 2, r=8, class_="letter-ground")
        yield words(letter, x, CODE + 6, "letter", "middle")


# --- bus ----------------------------------------------------------------------------------------------


def _bus_range(courses: Courses) -> tuple[float, float]:
    low, high = floor(float(courses.bus.min())), ceil(float(courses.bus.max()))
    return float(low), float(high if high > low else low + 1)


def _bus_y(volts: float, low: float, high: float, top: float) -> float:
    return top + 14 + (BUS - 26) * (1.0 - (volts - low) / (high - low))


def _bus(scale: _Scale, courses: Courses, state: StateResult, top: float) -> Iterator[str]:
    low, high = _bus_range(courses)
    yield tag("line", x1=0, x2="100%", y1=top, y2=top, class_="rule")
    for volts in (low, (low + high) / 2, high):
        y = _bus_y(volts, low, high, top)
        yield tag("line", x1=0, x2="100%", y1=y, y2=y, class_="stop")
    points = [
        (at / 1000.0, _bus_y(float(volts), low, high, top))
        for at, volts in zip(courses.bus_at_us, courses.bus, strict=True)
    ]
    yield stretched(polyline(points, "bus"), courses.end_us / 1000.0, top + BUS, class_="part")
    x, y = scale.at(state.bus_min_at_us), _bus_y(state.bus_min_v, low, high, top)
    yield tag("circle", cx=x, cy=y, r=3.2, class_="dot")
    late = state.bus_min_at_us > 0.9 * courses.end_us
    yield words(
        f"{state.bus_min_v:.1f} V, the lowest",
        x,
        y + 4,
        "halo strong",
        "end" if late else "start",
        dx=-7 if late else 7,
    )

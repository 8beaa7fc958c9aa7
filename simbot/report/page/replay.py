"""The numbers that the page's script moves things by: whole numbers, each with what it is counted in."""

from __future__ import annotations

import json
from math import degrees, pi
from typing import Any

import numpy as np

from simbot.analysis.polylines import Course, Courses
from simbot.analysis.results import StateResult

# measures -> (factor from SI, unit as shown, decimals shown); kept to a tenth of the last decimal shown
UNITS = {
    "length": (1000.0, "mm", 0),
    "to_go": (1000.0, "mm to go", 0),
    "angle": (degrees(1.0), "°", 1),
    "angular_speed": (30.0 / pi, "rpm", 0),
    "word": (1.0, "", 0),
}


def replay(
    courses: Courses, lanes: list[Course], partner: Courses | None, state: StateResult
) -> dict[str, Any]:
    """One run for the script: instants in ms, positions in tenths of what is shown, mechanisms as the lanes stand."""
    return {
        "end": courses.end_us // 1000,
        "pose": _pose(courses),
        "partner": None if partner is None else _pose(partner),
        "bus": _bus(courses),
        "mechanisms": [_course(course) for course in lanes],
        "moves": [
            [
                move.start_at_us // 1000,
                _end_ms(move.start_at_us, move.arrival_us, courses.end_us),
                f"{move.step} {move.label}",
            ]
            for move in state.moves
            if move.arrival_us is not None or move.ends_at is not None
        ],
        "deliveries": [at_us // 1000 for at_us in state.deliveries_at_us],
    }


def _end_ms(start_us: int, lasts_us: int | None, end_us: int) -> int:
    return (end_us if lasts_us is None else start_us + lasts_us) // 1000


def _whole(values: np.ndarray[Any, Any], factor: float) -> list[int]:
    return [int(value) for value in np.rint(values * factor)]


def _pose(courses: Courses) -> dict[str, list[int]]:
    """x and y in mm, heading in tenths of a degree."""
    return {
        "t": [int(at) // 1000 for at in courses.pose_at_us],
        "x": _whole(courses.pose[:, 0], 1000.0),
        "y": _whole(courses.pose[:, 1], 1000.0),
        "h": _whole(courses.pose[:, 2], 10.0 * degrees(1.0)),
    }


def _bus(courses: Courses) -> dict[str, list[int]]:
    """Hundredths of a volt."""
    return {"t": [int(at) // 1000 for at in courses.bus_at_us], "v": _whole(courses.bus, 100.0)}


def _course(course: Course) -> dict[str, Any]:
    factor, unit, decimals = UNITS[course.measures]
    return {
        "name": course.mechanism,
        "unit": unit,
        "decimals": decimals,
        "words": list(course.words),
        "t": [int(at) // 1000 for at in course.at_us],
        "v": _whole(course.values, 1.0 if course.words else 10.0 * factor),
    }


def as_script_data(data: object) -> str:
    """JSON that can stand in a script element: no `<` in it."""
    text = json.dumps(data, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")

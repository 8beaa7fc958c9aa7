"""The values of a sweep that were run before it was stopped, kept until the same sweep goes on."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from types import TracebackType
from typing import Any

from simbot import __version__
from simbot.physics.compiled import cache_folder
from simbot.studies.kept import digest, written
from simbot.studies.sweep import Point, Subject, Value
from simbot.studies.sweep_asked import SweepAsked
from simbot.studies.sweep_chance import Drawn
from simbot.studies.sweep_points import Look
from simbot.studies.wishes import Spread


class Kept:
    """The points of a sweep from before, by their values.

    A sweep of other files, values, states or wishes is another one; who runs it, and which measure says what is
    best, does not matter. They are kept wherever it is left with Ctrl-C, and forgotten where it went through: while
    the answer is written there is still something to lose.
    """

    def __init__(self, subject: Subject, asked: SweepAsked) -> None:
        axes = tuple((axis.key, axis.unit) for axis in asked.axes)
        what = replace(asked, axes=(), by=None, workers=1, cluster=None)  # type: ignore[arg-type]
        name = digest((__version__, subject.known_by(), axes, what))
        self.place = cache_folder() / "studies" / f"sweep-{name}.json"
        self.points: dict[Value, Point] = _read(self.place)
        self.saved = False

    def __enter__(self) -> Kept:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is not None and issubclass(kind, KeyboardInterrupt):
            self.keep()
        elif kind is None and not self.saved:
            self.place.unlink(missing_ok=True)

    def keep(self) -> None:
        """Keep them until the same sweep goes on."""
        self.saved = written(self.place, json.dumps([asdict(point) for point in self.points.values()]))


def _read(place: Any) -> dict[Value, Point]:
    try:
        found = [_point(row) for row in json.loads(place.read_text(encoding="utf-8"))]
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return {}
    return {point.at: point for point in found}


def _point(row: dict[str, Any]) -> Point:
    return Point(
        tuple(row["at"]),
        tuple(_look(each) for each in row["looks"]),
        row["fault"],
        tuple(row["holds"]),
        tuple(Spread(**each) for each in row["spreads"]),
    )


def _look(row: dict[str, Any]) -> Look:
    drawn = row["drawn"]
    lists = ("numbers", "points", "earned", "seconds")
    return Look(
        row["state"],
        row["values"],
        row["held_by"],
        row["reason"],
        tuple((kind, text) for kind, text in row["fails"]),
        None if drawn is None else Drawn(**{**drawn, **{name: tuple(drawn[name]) for name in lists}}),
    )

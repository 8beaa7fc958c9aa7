"""The work of a fit, which is predictions: who makes them, and those of an interrupted fit, which are made once.

A search asks for predictions in an order that hangs on what it has seen. The same fit therefore asks for the same
ones again, and comes to the same bytes whoever makes them.
"""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from simbot import __version__
from simbot.physics.compiled import cache_folder
from simbot.scenario.measured import Measured
from simbot.scenario.model import Plan
from simbot.studies.fit_results import FitAsked
from simbot.studies.kept import digest, written
from simbot.studies.players import Players, PlayersLost

if TYPE_CHECKING:
    from simbot.studies.predicted import Predictor

Values = dict[
    tuple[int, tuple[float, ...]], float
]  # number of a condition, numbers of its unknowns -> prediction


class Work:
    """Who predicts, and what was predicted before.

    Parameters
    ----------
    plan, measured, named, asked
        What makes it this fit.
    workers, cluster
        See `Players`.
    """

    def __init__(
        self,
        plan: Plan,
        measured: Sequence[Measured],
        named: Sequence[str],
        asked: FitAsked,
        workers: int = 1,
        cluster: str | None = None,
    ) -> None:
        name = digest((__version__, plan, tuple(measured), tuple(named), asked))
        self.place = cache_folder() / "studies" / f"fit-{name}.json"
        self.before, self.before_s = _read(self.place)
        self.begun = time.monotonic()
        self.found = sum(len(each["values"]) for each in self.before.values())
        self.saved = False
        self.predictors: dict[str, Predictor] = {}
        self.players = Players(workers, cluster)

    def __enter__(self) -> Work:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.players.__exit__(kind, error, trace)
        if kind is not None and issubclass(kind, KeyboardInterrupt | PlayersLost):
            told = {"seconds": self.before_s + time.monotonic() - self.begun, "predictors": self._told()}
            self.saved = written(self.place, json.dumps(told))
        elif kind is None:
            self.place.unlink(missing_ok=True)

    def known(self, predictor: Predictor) -> tuple[Values, dict[str, int]]:
        """What was predicted before by one like this: its values, and until when its matches are played [us]."""
        unknowns = tuple(unknown.given.key for unknown in predictor.unknowns)
        name = digest((unknowns, predictor.conditions, predictor.seed, predictor.matches))
        self.predictors[name] = predictor
        before = self.before.get(name, {"values": [], "ends": {}})
        return {(place, tuple(numbers)): value for place, numbers, value in before["values"]}, before["ends"]

    @property
    def made(self) -> int:
        """Predictions that are known, from before and since."""
        return sum(len(each["values"]) for each in self._told().values())

    def _told(self) -> dict[str, Any]:
        own = {
            name: {
                "values": [[place, list(numbers), value] for (place, numbers), value in one.kept.items()],
                "ends": one.ends,
            }
            for name, one in self.predictors.items()
        }
        return {**self.before, **own}


def _read(place: Path) -> tuple[dict[str, Any], float]:
    """What was predicted, by predictor, and the seconds that it took."""
    try:
        found = json.loads(place.read_text(encoding="utf-8"))
        predictors = {
            name: {
                "values": [
                    (int(place), list(map(float, numbers)), float(value))
                    for place, numbers, value in own["values"]
                ],
                "ends": dict(own["ends"]),
            }
            for name, own in found["predictors"].items()
        }
        return predictors, float(found["seconds"])
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return {}, 0.0

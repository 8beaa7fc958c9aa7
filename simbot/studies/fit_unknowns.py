"""Which numbers of the files are fitted: those that are named, or those that the data tell better than the file."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from pathlib import Path

import numpy as np
import numpy.typing as npt

from simbot.scenario.axes import line_key
from simbot.scenario.errors import SimbotError
from simbot.scenario.given_numbers import GivenNumber, number_named
from simbot.scenario.load import numbers_given, trees_of
from simbot.scenario.measured import Condition, Measured
from simbot.scenario.model import Plan
from simbot.scenario.parameters import Kinds
from simbot.scenario.short_keys import keys_meant
from simbot.studies.fit_data import data_of
from simbot.studies.fit_possible import check_possible
from simbot.studies.fit_results import FitAsked
from simbot.studies.fit_work import Work
from simbot.studies.likelihood import Data, Likelihood
from simbot.studies.predicted import Predictor
from simbot.studies.unknowns import Unknown, short_name, unknown_of

Array = npt.NDArray[np.float64]
MOST = 8  # unknowns
STEP_OF_CYCLES = (
    0.25  # of an unknown's scale, for differences: a cycle goes by whole ticks and by what succeeds
)


@dataclass(frozen=True)
class Source:
    """Where the unknowns stand."""

    path: Path
    plan: Plan
    kinds: Kinds
    overrides: Mapping[str, str]

    def numbers(self) -> tuple[GivenNumber, ...]:
        return tuple(each for each in numbers_given(self.path) if each.key not in self.overrides)

    def unknown(self, given: GivenNumber, name: str) -> Unknown:
        return unknown_of(self.path, self.plan, self.kinds, given, name, self.overrides)


def named_unknowns(source: Source, named: Sequence[str]) -> list[Unknown]:
    numbers = source.numbers()
    trees = trees_of(source.path)
    found: dict[str, GivenNumber] = {}
    for name in (line_key(each.strip(), f"--unknown {each}", trees) for each in named):
        keys = [each.key for each in numbers]
        over = next(
            (key for key in keys_meant(name.strip(), [*keys, *source.overrides]) if key not in keys), None
        )
        if over is not None and not keys_meant(name.strip(), keys):
            raise SimbotError(
                f"--unknown {name}: --set {over} gives it already; leave that out, or write it into the file"
            )
        given = number_named(name, numbers, "--unknown")
        if given.key in found:
            raise SimbotError(f"--unknown {name}: {given.key} is named twice")
        found[given.key] = given
    if len(found) > MOST:
        raise SimbotError(f"--unknown: {len(found)} at once; at most {MOST}")
    return [source.unknown(given, short_name(key, _others(key, found))) for key, given in found.items()]


def _others(key: str, keys: Sequence[str] | Mapping[str, GivenNumber]) -> list[str]:
    """Short names of the other keys."""
    return [short_name(other, ()) for other in keys if other != key]


def with_spread(source: Source, conditions: Sequence[Condition]) -> list[Unknown]:
    """The numbers with a stated spread that can matter to what was measured."""
    names = {each.mechanism for each in conditions if each.kind == "move"}
    whole = any(each.kind != "move" for each in conditions)
    states = {each.battery for each in conditions}
    in_plan = any(each.kind in ("tries", "cycle") for each in conditions)
    matters: dict[str, Callable[[list[str]], bool]] = {
        "game": lambda parts: False,
        "plan": lambda parts: in_plan,
        "robot": lambda parts: {
            "mechanisms": whole or (parts[2:3] != [] and parts[2] in names),
            "battery": len(parts) > 3 and parts[3] in states,
        }.get(parts[1], True),
    }
    wanted = []
    for given in source.numbers():
        parts = given.key.split(".")
        if given.has_spread and matters[parts[0]](parts):
            wanted.append(given)
    keys = [given.key for given in wanted]
    return [source.unknown(given, short_name(given.key, _others(given.key, keys))) for given in wanted]


def chosen_unknowns(
    source: Source,
    measured: Sequence[Measured],
    conditions: Sequence[Condition],
    asked: FitAsked,
    file: Path,
    work: Work | None = None,
) -> tuple[list[Unknown], tuple[str, ...]]:
    """Of the numbers with a spread those that the data tell better than the file does, together.

    One after the other, the one first whose spread shows most in what was measured. Where there is none, times that
    no value of them explains are the reason to tell.
    """
    candidates = with_spread(source, conditions)
    if not candidates:
        raise SimbotError(
            "no number with a spread bears on what was measured: name what is to be fitted, as in "
            "--unknown lift.friction"
        )
    predictor = Predictor(source.plan, candidates, conditions, asked.seed, asked.matches, work)
    data = data_of(measured, conditions, asked.reaction, predictor)
    start = np.array([unknown.given.number for unknown in candidates])
    whole = likelihood_of(data, predictor, candidates, start)
    whole.scatter = pure_scatter(data)
    slopes = whole.slopes(start, range(len(candidates)))
    spreads = np.array([unknown.spread / unknown.scale for unknown in candidates])
    shows = np.linalg.norm(slopes * spreads, axis=0)
    chosen: list[int] = []
    for number in np.argsort(-shows, kind="stable"):
        tried = [*chosen, int(number)]
        if shows[number] <= 0.0 or len(tried) > MOST:
            continue
        part = slopes[:, tried] * spreads[tried]
        covariance = np.linalg.pinv(part.T @ part, rcond=1e-12)
        if np.linalg.matrix_rank(part) == len(tried) and np.all(2.0 * np.sqrt(np.diag(covariance)) < 1.0):
            chosen = tried
    if not chosen:
        doubts = check_possible(file, source.plan, candidates, measured, data, conditions, predictor)
        names = ", ".join(unknown.name for unknown in candidates)
        text = f"these measurements tell none of the numbers with a spread better than the files already do ({names})"
        raise SimbotError(
            "; ".join([f"{text}: measure more, or name what is to be fitted with --unknown", *doubts])
        )
    rest = tuple(candidates[n].name for n in range(len(candidates)) if n not in chosen and shows[n] > 0.0)
    return [candidates[number] for number in sorted(chosen)], rest


def pure_scatter(data: Data) -> float:
    """Sd of repeated trials about their own mean, beyond the method's error [s]."""
    over, degrees, known = 0.0, 0, 0.0
    for condition in np.unique(data.condition[data.varies]):
        of_it = data.varies & (data.condition == condition)
        values = data.value[of_it]
        over += float(np.sum((values - values.mean()) ** 2))
        known += float(np.sum(data.sd[of_it] ** 2)) * (len(values) - 1) / len(values)
        degrees += len(values) - 1
    return sqrt(max(over - known, 0.0) / degrees) if degrees else 0.0


def likelihood_of(data: Data, predictor: Predictor, unknowns: Sequence[Unknown], start: Array) -> Likelihood:
    low, high, scale = (
        np.array([getattr(unknown, name) for unknown in unknowns]) for name in ("low", "high", "scale")
    )
    whole = Likelihood(data, predictor, start, low, high, scale)
    whole.ahead = predictor.ahead
    if any(condition.kind == "cycle" for condition in predictor.conditions):
        whole.step = STEP_OF_CYCLES
    return whole

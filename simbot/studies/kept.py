"""What an interrupted study had played, kept in the user's cache folder until the same study goes on."""

from __future__ import annotations

import json
import pickle
from collections.abc import Sequence
from dataclasses import astuple
from hashlib import sha256
from pathlib import Path

from simbot import __version__
from simbot.physics.compiled import cache_folder
from simbot.scenario.model import Plan
from simbot.studies.asked import Asked
from simbot.studies.one_match import MatchRecord


def place_of(plan: Plan, asked: Asked) -> Path:
    """The file of a study: another plan, robot, seed or battery is another file."""
    what = pickle.dumps((__version__, plan, asked.seed, asked.states), protocol=5)
    return cache_folder() / "studies" / f"match-{sha256(what).hexdigest()[:24]}.json"


def keep(plan: Plan, asked: Asked, records: tuple[MatchRecord, ...]) -> bool:
    """Keep what was played; False where the folder cannot be written."""
    return written(place_of(plan, asked), json.dumps([astuple(record) for record in records]))


def kept(plan: Plan, asked: Asked) -> tuple[MatchRecord, ...]:
    """What was kept of this study, as far as it is asked for."""
    try:
        rows = json.loads(place_of(plan, asked).read_text(encoding="utf-8"))
        return tuple(MatchRecord.of_row(row) for row in rows)[: asked.runs]
    except (OSError, ValueError, TypeError):
        return ()


def forget(plan: Plan, asked: Asked) -> None:
    """The study is through."""
    place_of(plan, asked).unlink(missing_ok=True)


Rows = dict[str, dict[int, MatchRecord]]  # digest of a plan -> number of a match -> what became of it


def digest(what: object) -> str:
    """A name for anything that can be pickled."""
    return sha256(pickle.dumps(what, protocol=5)).hexdigest()[:24]


def place_of_rows(kind: str, plans: Sequence[Plan], asked: Asked) -> Path:
    """The file of a study that plays several plans."""
    name = digest((__version__, tuple(plans), asked.seed, asked.states))
    return cache_folder() / "studies" / f"{kind}-{name}.json"


def keep_rows(place: Path, rows: Rows) -> bool:
    """Keep all that was played; False where the folder cannot be written."""
    text = json.dumps({name: [astuple(one) for one in own.values()] for name, own in rows.items()})
    return written(place, text)


def kept_rows(place: Path) -> Rows:
    """What was kept of this study."""
    try:
        found = json.loads(place.read_text(encoding="utf-8"))
        records = {name: [MatchRecord.of_row(row) for row in own] for name, own in found.items()}
    except (OSError, ValueError, TypeError, AttributeError):
        return {}
    return {name: {one.number: one for one in own} for name, own in records.items()}


def written(place: Path, text: str) -> bool:
    """Write a file as a whole or not at all; False where the folder cannot be written."""
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        fresh = place.with_suffix(".new")
        fresh.write_text(text, encoding="utf-8")
        fresh.replace(place)
    except OSError:
        return False
    return True

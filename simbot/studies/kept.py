"""What an interrupted study had played, kept in the user's cache folder until the same study goes on."""

from __future__ import annotations

import json
import pickle
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
    place = place_of(plan, asked)
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        fresh = place.with_suffix(".new")
        fresh.write_text(json.dumps([astuple(record) for record in records]), encoding="utf-8")
        fresh.replace(place)
    except OSError:
        return False
    return True


def kept(plan: Plan, asked: Asked) -> tuple[MatchRecord, ...]:
    """What was kept of this study, as far as it is asked for."""
    try:
        rows = json.loads(place_of(plan, asked).read_text(encoding="utf-8"))
        return tuple(MatchRecord(*row) for row in rows)[: asked.runs]
    except (OSError, ValueError, TypeError):
        return ()


def forget(plan: Plan, asked: Asked) -> None:
    """The study is through."""
    place_of(plan, asked).unlink(missing_ok=True)

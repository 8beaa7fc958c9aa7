"""Puts the page together: drawings and numbers from Python, words and order from the template."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from importlib.resources import files
from typing import Any

from markupsafe import Markup

from simbot import __version__
from simbot.report.page import charts, grounds, say, tables
from simbot.report.page.answers import answers
from simbot.report.page.evidence import ink_of
from simbot.report.page.field import field
from simbot.report.page.hurts import hurts
from simbot.report.page.parts import PlanPart, Ran, Studies
from simbot.report.page.replay import as_script_data, replay
from simbot.report.page.scores import scores
from simbot.report.page.sweeps import swept
from simbot.report.page.timeline import Timeline, in_order, timeline
from simbot.report.page.turns import fitted, idle, turns, unsure
from simbot.report.rendered import rendered
from simbot.report.summary import fold_findings, letters
from simbot.report.worthed import TIMERS_KEPT

LIBRARIES = ("numpy", "numba", "scipy", "simpy")


@dataclass(frozen=True)
class View:
    """One plan on one battery state, drawn."""

    key: str
    number: int  # of the plan
    plan: str
    state: str
    about: str
    first: bool  # shown before anything is chosen
    paper: bool  # shown on paper
    timeline: Timeline
    field: Markup
    ratio: str
    moves: list[tables.Row]
    from_s: float  # where the timeline on paper begins
    summary: str


def page(parts: Sequence[PlanPart], studies: Studies, out: str) -> str:
    """The whole page.

    Parameters
    ----------
    parts : sequence of PlanPart
        In the order of the command line.
    studies : Studies
    out : str
        File it is written to, for the command that makes it again.

    Returns
    -------
    str
        HTML; the same bytes for the same files and studies, on any day.
    """
    own = list(parts)
    views = [view for number, part in enumerate(own) for view in _views(number, part)]
    data = {
        view.key: replay(ran.courses, in_order(ran.trace, ran.courses), ran.partner, ran.state)
        for view, ran in zip(views, (ran for part in own for ran in part.ran), strict=True)
    }
    filters: dict[str, Callable[..., Any]] = {
        "ms": say.ms,
        "signed": say.signed,
        "plain": say.plain,
        "listed": say.listed,
        "times": say.times,
        "drawn": Markup,
    }
    return rendered(
        "page/page.html",
        filters,
        title=say_title(own),
        parts=own,
        views=views,
        answers=answers(own, studies),
        waits=[tables.waits(part) for part in own],
        failures=[tables.failures(part) for part in own],
        cycle=charts.cycle(own),
        scores=scores(own, studies),
        worth=[(name, charts.worth(one), charts.idle(one)) for name, one in studies.worth.items()],
        timers_kept=TIMERS_KEPT if any(one.get("timer_lines") for one in studies.worth.values()) else "",
        studies=studies,
        turns=[] if studies.compare is None else turns(studies.compare),
        turns_nothing=[] if studies.compare is None else idle(studies.compare),
        turns_unsure=[] if studies.compare is None else unsure(studies.compare),
        fits=[(name, fitted(one)) for name, one in studies.fit.items()],
        sweeps=[swept(document) for _, document in studies.sweeps],
        grounds=grounds.grounds(own),
        hashes=grounds.hashes(own),
        commands=grounds.commands(own, studies, out),
        cautions=_cautions(own),
        ink_of=ink_of,
        version=__version__,
        versions=_versions(),
        style=Markup(_text("page.css")),
        script=Markup(_text("page.js")),
        data=Markup(as_script_data(data)),
    )


def say_title(parts: Sequence[PlanPart]) -> str:
    names = [part.plan.name for part in parts]
    text = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"
    return text[:1].upper() + text[1:]


def _text(name: str) -> str:
    return files("simbot.report.page").joinpath(name).read_text(encoding="utf-8")


def _versions() -> list[str]:
    python = ".".join(map(str, sys.version_info[:2]))
    return [f"Python {python}", *(f"{name} {version(name)}" for name in LIBRARIES)]


def _cautions(parts: Sequence[PlanPart]) -> list[str]:
    own = [caution for part in parts for caution in part.run.cautions]
    return list(dict.fromkeys([*own, *hurts([part.plan.robot for part in parts])]))


def _views(number: int, part: PlanPart) -> list[View]:
    lettered = letters(fold_findings([ran.state for ran in part.ran]))
    return [_view(number, index, part, ran, lettered) for index, ran in enumerate(part.ran)]


def _view(number: int, index: int, part: PlanPart, ran: Ran, lettered: dict[Any, str]) -> View:
    state, name, ink = ran.state, part.plan.name, ink_of(number)
    told = f"{name} on {state.name}"
    failed = [found.at_us for found in state.findings if found.fails]
    label = (
        f"Timeline of {told}: {len(state.moves)} commands in {ran.courses.end_us / 1e6:.0f} s; in rows below."
    )
    where = f"Field from above with the way of the robot, {told}. Stations and places: " + ", ".join(
        [*part.plan.game.stations, *part.plan.game.places]
    )
    game = part.plan.game
    return View(
        key=f"{number}-{index}",
        number=number,
        plan=name,
        state=state.name,
        about=f"{state.open_circuit:g} V, {state.resistance:g} ohm",
        first=number == 0 and index == part.middle,
        paper=index == part.middle,
        timeline=timeline(ran.trace, state, ran.courses, lettered, label, ink),
        field=Markup(field(part.plan, ran.courses, ran.partner, where, ink)),
        ratio=f"{game.length:g} / {game.width:g}",
        moves=tables.every_move(ran),
        from_s=max(0.0, min(failed) / 1e6 - 4.0) if failed else 0.0,
        summary=_summary(ran, failed),
    )


def _summary(ran: Ran, failed: list[int]) -> str:
    state = ran.state
    text = f"{state.cycles} whole cycles"
    if state.cycle_time_s is not None:
        text += f", {state.cycle_time_s:.2f} s each on average"
    text += f"; {say.plain(state.points['total'])} points nominal. "
    if failed:
        return text + f"It fails {say.times(len(failed))}, first at {say.seconds(min(failed))}."
    return text + "Every need stated is met."

"""The page for the engineering notebook: question, prediction, measurement, % of ideal, next step."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from hashlib import sha256
from statistics import fmean, stdev
from typing import Any

from markupsafe import Markup

from simbot import __version__
from simbot.analysis.results import MoveResult, StateResult
from simbot.analysis.words import listed
from simbot.report.figures.all import drawn, makers
from simbot.report.rendered import inlined, rendered
from simbot.report.studies_read import Study
from simbot.report.summary import (
    FoldedFinding,
    advise_timers,
    advise_waits,
    breaks,
    fold_findings,
    fold_moves,
    no_arrival,
    sure_where,
    waits_for_arrival,
)
from simbot.studies.shown import Shown

Row = dict[str, Any]
MINUS = "\u2212"
MOST_UNMEASURED = 8
CAUTION = (
    "A simulated time is never permission. First run of anything changed: slowly, the robot on blocks or the motor "
    "without load, hands, hair and faces clear of slides, linkages and springs, one of you at the stop, the battery "
    "secured. The event's rules, its inspectors and the qualified adult beside the robot decide what may run."
)


def notebook_page(shown: Shown, studies: Sequence[Study] = ()) -> str:
    """One self-contained HTML page, the same bytes for the same files."""
    folded = [fold.worst for fold in fold_moves(shown.state.moves).values()]
    own = [study for study in studies if _is_of(study, shown)]
    page = rendered(
        "templates/notebook.html",
        plan=shown.plan.name,
        robot=shown.plan.robot.name,
        game=shown.plan.game.name,
        state=shown.state.name,
        question=_question(shown),
        prediction=_prediction(shown),
        states=[_state(state) for state in shown.run.states],
        findings=[text for group in fold_findings(shown.run.states) for text in _said(group)][:6],
        figures=list(_figures(shown, own)),
        measured_lead=_measured_lead(folded),
        measured=[_measured(move) for move in folded if move.measured_s],
        unmeasured=[_unmeasured(move) for move in folded if not move.measured_s and move.floor_us][
            :MOST_UNMEASURED
        ],
        waits=[_wait(move) for move in folded],
        next_steps=list(_next_steps(shown, folded, own)),
        grounds=list(_grounds(shown, own)),
        caution=CAUTION,
    )
    return f"{page}\n"


def _said(group: FoldedFinding) -> list[str]:
    """What is to be read of a finding; where battery states say other things of it, on which."""
    if len(group.said) == 1:
        return [group.worst.text]
    return [f"{', '.join(name for name, _, _ in one.by_state)}: {one.worst.text}" for one in group.said]


def _is_of(study: Study, shown: Shown) -> bool:
    """Whether a study is of this plan; sweeps and fits that name none are taken."""
    names = [one.get("name") for one in study.document.get("plans") or () if isinstance(one, dict)]
    own = study.document.get("plan")
    return shown.plan.name in (own, *names) or (own is None and not names)


def _figures(shown: Shown, studies: Sequence[Study]) -> Iterator[Markup]:
    for number, (name, make) in enumerate(makers([shown], studies)):
        for data in drawn(make, ("svg",)).values():
            yield inlined(data, f"f{number}", name.replace("-", " "))


# --- words --------------------------------------------------------------------------------------------


def _question(shown: Shown) -> str:
    waits = len({move.wait_line for move in shown.state.moves if move.timer_written_us is not None})
    batteries = ", ".join(state.name for state in shown.run.states)
    timers = "1 timer" if waits == 1 else f"{waits} timers"
    return (
        f"Does {shown.plan.name} work on every battery ({batteries}): do its {timers} and its waits for arrival "
        "outlast the moves they wait for, and what does a cycle take?"
    )


def _prediction(shown: Shown) -> str:
    run, state = shown.run, shown.state
    if not run.failing_states:
        text = "Every need that the plan states is met on every battery state"
        text += f"{sure_where(run.states)}."
    elif run.weakest_state_that_passes is None:
        text = f"It fails already on the strongest battery, and on {listed(run.failing_states)}."
    else:
        weakest = run.weakest_state_that_passes
        passes = next(f"passes {one.passes_if}".strip() for one in run.states if one.name == weakest)
        text = f"The weakest battery with which it {passes} is {weakest}; it fails on {listed(run.failing_states)}."
    if state.cycle_time_s is not None:
        text += f" On {state.name} a cycle takes {state.cycle_time_s:.2f} s and a match brings {_points(state)} points."
    return text


def _points(state: StateResult) -> str:
    return f"{state.points.get('total') or 0:g}"


def _measured_lead(moves: Sequence[MoveResult]) -> str:
    done = sum(bool(move.measured_s) for move in moves)
    if not done:
        return (
            "Nothing is measured yet. Put stopwatch times beside a wait, a move or a drive of the plan, as measured: "
            "[0.31 s, 0.29 s]; "
            "they then stand here beside the prediction."
        )
    return (
        f"{done} of {len(moves)} steps have stopwatch times. A person's reaction of about 0.2 s is in them."
    )


# --- rows ---------------------------------------------------------------------------------------------


def _state(state: StateResult) -> Row:
    failing = [found for found in state.findings if found.fails]
    routine = f"passes {state.passes_if}".strip() if state.passes else f"misses {len(failing)}"
    if failing:
        routine += f", first at {failing[0].at_us / 1e6:.2f} s (line {failing[0].line})"
    return {
        "name": state.name,
        "cycle": _fixed(state.cycle_time_s, 2),
        "rate": _fixed(state.points_per_s, 2),
        "points": _points(state),
        "bus": _fixed(state.bus_min_v, 1),
        "routine": routine,
        "fails": not state.passes,
    }


def _fixed(value: float | None, digits: int) -> str:
    return "\u2013" if value is None else f"{value:.{digits}f}"


def _step(move: MoveResult) -> str:
    return f"{move.step} {move.label}, line {move.line}"


def _measured(move: MoveResult) -> Row:
    mean = fmean(move.measured_s)
    spread = f" ± {2 * stdev(move.measured_s):.2f}" if len(move.measured_s) > 1 else ""
    arrival = None if move.arrival_us is None else move.arrival_us / 1e6
    return {
        "step": _step(move),
        "trials": str(len(move.measured_s)),
        "measured": f"{mean:.2f}{spread}",
        "predicted": no_arrival(move) if arrival is None else f"{arrival:.2f}",
        "ratio": "\u2013" if not arrival else f"{mean / arrival:.2f}",
        "ideal": _share(move.floor_us, mean * 1e6),
    }


def _unmeasured(move: MoveResult) -> Row:
    return {
        "step": _step(move),
        "predicted": no_arrival(move) if move.arrival_us is None else f"{move.arrival_us / 1e6:.2f}",
    }


def _wait(move: MoveResult) -> Row:
    margin = move.margin_us
    waits = waits_for_arrival(move)
    verdict = "waits for it" if waits else move.verdict or "not timed"
    if move.consequence == "harmless":
        verdict += ", harmless"
    return {
        "step": _step(move),
        "floor": _ms(move.floor_us),
        "arrival": no_arrival(move) if move.arrival_us is None else _ms(move.arrival_us),
        "timer": _ms(move.timer_us),
        "margin": "\u2013" if margin is None else f"{margin / 1000:+.0f}".replace("-", MINUS),
        "verdict": verdict,
        "breaks": breaks(move),
        "move_ideal": _share(move.floor_us, move.arrival_us),
        "wait_ideal": _share(move.floor_us, move.timer_us),
    }


def _ms(time_us: int | None) -> str:
    return "\u2013" if time_us is None else f"{time_us / 1000:.0f}"


def _share(floor_us: int | None, time_us: float | None) -> str:
    return "\u2013" if not floor_us or not time_us else f"{100 * floor_us / time_us:.0f} %"


# --- what to do ---------------------------------------------------------------------------------------


def _next_steps(shown: Shown, moves: Sequence[MoveResult], studies: Sequence[Study]) -> Iterator[str]:
    for advice in advise_timers(shown.run):
        verb = "Shorten" if advice.slack else "Lengthen"
        why = f"slack, {advice.times} times a match" if advice.slack else "less than the guard to spare"
        why = "it breaks what follows" if advice.breaks else why
        now, new = advice.written_us / 1000, advice.suggested_us / 1000
        labels = ", ".join(advice.labels)
        yield f"{verb} the timer in line {advice.line} from {now:.0f} ms to {new:.0f} ms ({labels}): {why}."
    for wait in advise_waits(shown.run):
        yield f"Put a wait of {_ms(wait.wait_us)} ms before line {wait.line}: it needs the {wait.said}."
    for study in studies:
        yield from _from_study(study)
    late = [move for move in moves if not move.measured_s and breaks(move)]
    for move in late[:2] or [move for move in moves if not move.measured_s and move.floor_us][:1]:
        yield f"Measure {_step(move)}: five trials with a stopwatch or a video."


def _from_study(study: Study) -> Iterator[str]:
    document = study.document
    if study.kind == "worth" and document.get("changes"):
        best = document["changes"][0]
        interval = best.get("interval")
        if interval and interval[0] > 0:
            yield f"The change worth most: {best['change']}, {best['points']:+.1f} points a match."
    elif study.kind == "match" and document.get("lost"):
        worst = document["lost"][0]
        if worst["points"] > 0:
            yield f"Most points are lost to: {worst['reason']}, {worst['points']:.1f} a match."
    elif study.kind == "compare":
        for pair in document.get("pairs") or ():
            yield _from_pair(pair)


def _from_pair(pair: Any) -> str:
    mean = float(pair["difference"]["value"])
    ahead, behind = (pair["first"], pair["second"]) if mean >= 0 else (pair["second"], pair["first"])
    if not pair.get("settled"):
        return f"{ahead} or {behind}: too close to say ({abs(mean):.1f} points a match); more matches would tell."
    return f"{ahead} rather than {behind}: {abs(mean):.1f} points a match more under the same luck."


def _grounds(shown: Shown, studies: Sequence[Study]) -> Iterator[str]:
    plan = shown.plan
    yield f"simbot {__version__}; nominal runs are exactly repeatable; guard {plan.guard_us / 1000:.0f} ms."
    for path in dict.fromkeys(
        (plan.path, plan.game.path, plan.robot.path, *(study.path for study in studies))
    ):
        try:
            digest = sha256(path.read_bytes()).hexdigest()
        except OSError:
            continue
        yield f"{path.name}: SHA-256 {digest[:16]}"
    for study in studies:
        seed, runs = study.document.get("seed"), study.document.get("runs")
        if seed is not None and runs is not None:
            yield f"simbot {study.kind}: {runs} matches with chance, seed {seed}."
    yield f"What is assumed and what has a spread: simbot check {plan.path.name}"
    yield from shown.run.cautions

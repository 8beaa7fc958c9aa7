"""Better timers for a plan: what each has to wait for, a set that holds, what it gains, what could overlap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from simbot.analysis.missing_waits import MissingWait, missing_waits, unseen
from simbot.scenario.errors import SimbotError, nearest, quoted
from simbot.scenario.model import BatteryState, Plan
from simbot.studies.balanced import Cost, balance
from simbot.studies.chance import Chance, Chances
from simbot.studies.demand import RANK, Execution, executions
from simbot.studies.kinds import check_kind
from simbot.studies.knobs import Knob, knobs_of
from simbot.studies.limits import find_limits
from simbot.studies.other_times import with_limits_of
from simbot.studies.overlap import find_overlaps
from simbot.studies.push_times import Pushed, tune_pushes
from simbot.studies.reasons import reason_of
from simbot.studies.rule import Rule, judge_rule
from simbot.studies.runs import Bench, Ran
from simbot.studies.safe_timers import choose
from simbot.studies.seen_early import find_early
from simbot.studies.sensed import choose_sensed
from simbot.studies.shared_numbers import left_to_hands
from simbot.studies.start_delay import find_start_delay
from simbot.studies.time_limits import tune_limits
from simbot.studies.totals import saved, totals_of
from simbot.studies.tune_results import (
    NeedMargin,
    Overlaps,
    TimerState,
    Totals,
    TunedTimer,
    TuneResult,
)

USUAL = "mid-event"
NOTHING = Overlaps((), (), (), 0, 0, 0)


@dataclass(frozen=True)
class _Set:
    """A suggested set and why it is so."""

    plan: Plan
    values_us: list[int]
    kept: dict[int, str]
    gains_us: dict[int, int] = field(default_factory=dict)
    costs: dict[int, Cost] = field(default_factory=dict)


def tune(
    plan: Plan,
    kind: str = "safe",
    battery: str | None = None,
    rule: str | None = None,
    chances: Chances | None = None,
    bench: Bench | None = None,
    timers_alone: bool = False,
) -> TuneResult:
    """Better timers for a plan.

    Parameters
    ----------
    plan : Plan
        As loaded by `simbot.scenario.load.load_plan`.
    kind : str
        `safe`: the latest arrival of all battery states asked for, plus the plan's guard. `sensor`: waits for
        arrival where a motor's counts show it. `balanced`: from the safe set, those that give most points with
        chance (see `simbot.studies.balanced`); it takes `chances`.
    battery : str, optional
        The weakest battery state for which the timers are to hold, and the one whose totals are shown. Without
        it they hold on every state, and the totals are those of `mid-event`.
    rule : str, optional
        A formula of `base` [ms] and `volts` to be held against the moves.
    chances : Chances, optional
        Matches with chance that judge the set as it is and the suggested one.
    bench : Bench, optional
        Where runs of the same robot have been made before: what it kept is not run again.
    timers_alone : bool
        Leave out what could go together, the controller's numbers, the start's delay, and what is seen too early.

    Raises
    ------
    SimbotError
        Where there is no such kind or battery state, or the rule is no formula.
    """
    check_kind(kind)
    formula = None if rule is None else Rule(rule)
    asked, shown = _batteries(plan, battery)
    plan = left_to_hands(plan)
    knobs = knobs_of(plan)
    bench = bench or Bench(plan)
    before = bench.run_all(plan, plan.robot.battery)
    if kind == "sensor":
        pushed, eased = Pushed(plan, ()), plan
        chosen = _sensor(bench, plan, knobs, asked, shown)
    else:
        pushed = tune_pushes(bench, plan, asked, shown)
        eased, _ = tune_limits(bench, pushed.plan, asked, shown)  # what a limit cuts off is seen in full
        chosen = _safe(bench, eased, knobs, asked)
        if pushed.timers:  # with these waits the efforts may begin elsewhere
            pushed = tune_pushes(bench, plan, asked, shown, chosen.plan)
            eased, _ = tune_limits(bench, pushed.plan, asked, shown)
            chosen = _safe(bench, eased, knobs, asked)
        if kind == "balanced" and chances is not None:
            chosen = _balanced(bench, eased, knobs, asked, chances)
    tuned, limited = tune_limits(bench, with_limits_of(chosen.plan, plan), asked, shown)
    chosen = replace(chosen, plan=tuned)
    after = bench.run_all(chosen.plan, plan.robot.battery)
    names = [state.name for state in asked]
    chance = None
    if chances is not None:
        tuned_knobs = [] if kind == "sensor" else knobs
        chance = chances.compare(plan, chosen.plan, knobs, tuned_knobs, names)
    judged = bench.run_all(eased, plan.robot.battery)
    timers = _timers(plan, knobs, chosen, kind, before, judged, after, names, shown.name, chance)
    timers = sorted([*timers, *pushed.timers, *limited], key=_place)
    return TuneResult(
        plan=plan.name,
        plan_path=str(plan.path),
        robot=plan.robot.name,
        game=plan.game.name,
        kind=kind,
        battery=shown.name,
        asked=tuple(names),
        guard_us=plan.guard_us,
        timers=tuple(timers),
        before=_totals(before),
        after=_totals(after),
        overlaps=NOTHING if timers_alone else find_overlaps(bench, chosen.plan, asked, shown),
        rule=None if formula is None else judge_rule(bench, plan, knobs, formula, before),
        chance=chance,
        waits=_waits(plan, [ran for ran in after if ran.battery.name in names]),
        limits=() if timers_alone else find_limits(bench, chosen.plan, asked, shown),
        early=() if timers_alone else find_early(bench, chosen.plan, asked, shown),
        start=None if timers_alone else find_start_delay(bench, chosen.plan, asked, shown),
    )


def _waits(plan: Plan, runs: Sequence[Ran]) -> tuple[MissingWait, ...]:
    found = (one for ran in runs for one in unseen(ran.trace, ran.links))
    return missing_waits(found, plan.guard_us, plan.robot.loop_us)


def _batteries(plan: Plan, wanted: str | None) -> tuple[list[BatteryState], BatteryState]:
    """The states for which timers are to hold, strongest first, and the one that is shown."""
    states = list(plan.robot.battery)
    names = [state.name for state in states]
    if wanted is None:
        shown = names.index(USUAL) if USUAL in names else len(names) // 2
        return states, states[shown]
    if wanted not in names:
        guess = nearest(wanted, names)
        hint = f"; did you mean {quoted(guess)}?" if guess else ""
        raise SimbotError(
            f"--battery {wanted}: the robot has no such battery state; it has {', '.join(names)}{hint}"
        )
    return states[: names.index(wanted) + 1], states[names.index(wanted)]


def _safe(bench: Bench, plan: Plan, knobs: list[Knob], asked: list[BatteryState]) -> _Set:
    found = choose(bench, plan, knobs, asked, plan.guard_us)
    return _Set(found.plan, found.values_us, found.held)


def _balanced(
    bench: Bench, plan: Plan, knobs: list[Knob], asked: list[BatteryState], chances: Chances
) -> _Set:
    found = choose(bench, plan, knobs, asked, plan.guard_us)
    best = balance(bench, plan, knobs, found, asked, chances)
    return _Set(best.plan, best.values_us, best.kept, costs=best.costs)


def _sensor(
    bench: Bench, plan: Plan, knobs: list[Knob], asked: list[BatteryState], shown: BatteryState
) -> _Set:
    found = choose_sensed(bench, plan, knobs, asked, shown)
    base = bench.run(plan, shown)
    gains = {index: saved(base, bench.run(tried, shown)).routine_us for index, tried in found.alone.items()}
    values = [knob.now_us for knob in knobs]
    runs = executions(bench.run(found.plan, shown), knobs)
    for index in found.knobs:
        if runs[index]:
            values[index] = round(sum(one.real_us for one in runs[index]) / len(runs[index]))
    return _Set(found.plan, values, found.kept, gains)


def _timers(
    plan: Plan,
    knobs: list[Knob],
    chosen: _Set,
    kind: str,
    before: list[Ran],
    judged: list[Ran],
    after: list[Ran],
    asked: list[str],
    shown: str,
    chance: Chance | None,
) -> list[TunedTimer]:
    old = {ran.battery.name: executions(ran, knobs) for ran in before}
    base = old
    if judged[0].plan is not before[0].plan:  # with efforts and limits as suggested
        base = {ran.battery.name: executions(ran, knobs, floors=False) for ran in judged}
    new = {ran.battery.name: executions(ran, knobs) for ran in after}
    timers = []
    for index, knob in enumerate(knobs):
        runs = {name: found[index] for name, found in old.items()}
        tuned = {name: found[index] for name, found in new.items()}
        every = [one for found in runs.values() for one in found]
        labels = tuple(dict.fromkeys(move.label for one in every for move in one.moves))
        held = [one for name in asked for one in tuned[name]]
        latest = [one.arrival_us for one in held if one.moves]
        floors = [one.floor_us for one in held if one.floor_us is not None]
        timers.append(
            TunedTimer(
                step=every[0].step if every else None,
                line=knob.line,
                name=knob.source.name if knob.source else _named(knob.line, labels),
                labels=labels,
                source=knob.source,
                now_us=knob.now_us,
                suggested_us=chosen.values_us[index],
                floor_us=max(floors, default=None),
                arrival_us=None if not latest or None in latest else max(one or 0 for one in latest),
                times=len(runs[shown]),
                reason=reason_of(
                    knob,
                    chosen.values_us[index],
                    {name: base[name][index] for name in asked},
                    {name: tuned[name] for name in asked},
                    plan.guard_us,
                    kind,
                    chosen.kept.get(index, ""),
                    chosen.gains_us.get(index),
                    chosen.costs.get(index),
                ),
                gain_us=chosen.gains_us.get(index),
                states=tuple(_state(name, runs[name], tuned[name]) for name in runs if runs[name]),
                needs=tuple(need for name in runs for need in _needs(name, runs[name])),
                enough_now=None if chance is None else chance.enough_before[index],
                enough_tuned=chance.enough_after[index]
                if chance is not None and chance.enough_after
                else None,
                cost=chosen.costs.get(index),
            )
        )
    return timers


def _place(timer: TunedTimer) -> tuple[bool, int, int]:
    """In the order of first execution, what is never carried out last."""
    return timer.step is None, timer.step or 0, timer.line


def _named(line: int, labels: Sequence[str]) -> str:
    return f"line {line}" + (f", {labels[0]}" if labels else "")


def _state(name: str, found: list[Execution], tuned: list[Execution]) -> TimerState:
    worst = max(found, key=_badness)
    margins = [one.margin_us for one in tuned if one.moves and one.margin_us is not None]
    below = worst.verdict in ("short", "impossible", "never")
    return TimerState(
        state=name,
        times=len(found),
        floor_us=worst.floor_us,
        arrival_us=worst.arrival_us if worst.moves else None,
        real_us=worst.real_us,
        margin_us=worst.margin_us if worst.moves else None,
        verdict=worst.verdict,
        consequence=("breaking" if worst.breaks else "harmless") if below else None,
        tuned_margin_us=min(margins, default=None),
    )


def _badness(one: Execution) -> tuple[bool, int, int]:
    margin = one.margin_us if one.margin_us is not None else 0
    return one.breaks, RANK.get(one.verdict, -1), -margin


def _needs(name: str, found: list[Execution]) -> list[NeedMargin]:
    """The least margin of each need downstream; one that is never met comes before all."""
    groups: dict[tuple[int, str], list[tuple[int | None, bool]]] = {}
    for one in found:
        for need in one.needs:
            groups.setdefault((need.line, need.mechanism), []).append((need.margin_us, need.missed))
    rows = []
    for (line, mechanism), margins in groups.items():
        known = [margin for margin, _ in margins if margin is not None]
        least = None if len(known) < len(margins) else min(known)
        rows.append(NeedMargin(name, line, mechanism, least, any(missed for _, missed in margins)))
    return rows


def _totals(runs: list[Ran]) -> dict[str, Totals]:
    return {ran.battery.name: totals_of(ran) for ran in runs}

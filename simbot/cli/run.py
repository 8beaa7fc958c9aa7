"""One run: three times and a verdict for every wait."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from simbot.cli.options import BatteryState, JsonFile, PlanFile, Settings, Strict
from simbot.cli.shared import FINDINGS, check_folder, load, sign_of_life, simulate, write_json
from simbot.scenario.errors import SimbotError

if TYPE_CHECKING:
    from simbot.analysis.results import RunResult, StateResult
    from simbot.scenario.model import Plan


def run(
    plan: PlanFile,
    battery: BatteryState = None,
    settings: Settings = None,
    match_number: Annotated[
        int | None,
        typer.Option(
            "--match",
            metavar="K",
            help="That match of `simbot match` with the same --seed and --battery, with chance.",
            show_default=False,
        ),
    ] = None,
    seed: Annotated[
        int | None,
        typer.Option(
            "--seed", metavar="S", help="Of the luck of --match; 1 unless said.", show_default=False
        ),
    ] = None,
    json_file: JsonFile = None,
    strict: Strict = False,
) -> None:
    """One nominal run: three times and a verdict for every wait, cycle time, points, battery."""
    from simbot.report.document import run_document

    loaded, remarks = load(plan, settings)
    check_folder("--json", json_file)
    if seed is not None and match_number is None:
        raise SimbotError(f"--seed {seed}: a run has no luck; it goes with --match K")
    if match_number is not None:
        result = _one_match(loaded, match_number, 1 if seed is None else seed, battery)
        battery = None
    else:
        names = [state.name for state in loaded.robot.battery]
        if battery is not None and battery not in names:
            raise SimbotError(
                f"--battery {battery}: the robot has no such battery state; it has {', '.join(names)}"
            )
        result = simulate(loaded)
    if json_file is not None:
        write_json(run_document(result), json_file)
    if json_file != "-":
        from simbot.report.terminal import print_run

        print_run(result, _state_to_draw(result, battery), sys.stdout)
        open_values = sum(remark.kind != "follows" for remark in remarks)
        if open_values:
            count = f"{open_values} value{'s are' if open_values > 1 else ' is'}"
            typer.echo(f"{count} assumed or doubtful: simbot check {plan}", err=True)
    if strict and (result.failing_states or _breaks(result)):
        raise typer.Exit(FINDINGS)


def _breaks(result: RunResult) -> bool:
    """Whether something gives way though every state passes; said on stderr."""
    from simbot.analysis.results import BREAKS

    broken = [(state.name, one) for state in result.states for one in state.findings if one.kind in BREAKS]
    for name, one in broken[:1]:
        typer.echo(f"--strict: {name} passes, but {one.text}", err=True)
    return bool(broken)


def _one_match(plan: Plan, number: int, seed: int, battery: str | None) -> RunResult:
    from simbot.studies.match_asked import states_of

    if number < 0:
        raise SimbotError(f"--match {number}: matches are numbered from 0")
    states = states_of(plan, battery)
    state = next(each for each in plan.robot.battery if each.name == states[number % len(states)])
    with sign_of_life():
        from simbot.studies.one_match import run_of_match

        return run_of_match(plan, seed, number, state)


def _state_to_draw(result: RunResult, wanted: str | None) -> StateResult:
    by_name = {state.name: state for state in result.states}
    middle = result.states[len(result.states) // 2]
    return by_name.get(wanted or "mid-event", middle)

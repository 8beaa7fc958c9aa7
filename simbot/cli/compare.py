"""Plans under the same luck."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simbot.cli.options import BatteryStates, Cluster, CsvFile, JsonFile, Seed, Settings, Workers
from simbot.cli.shared import (
    Stopped,
    check_targets,
    compile_first,
    goes_on,
    going_on,
    load,
    progress,
    stopped_after,
    tell_stopped,
    write_csv,
    write_json,
)
from simbot.scenario.errors import SimbotError, quoted

if TYPE_CHECKING:
    from simbot.scenario.model import Plan


def compare(
    plans: Annotated[
        list[Path], typer.Argument(metavar="PLAN PLAN...", help="Two plan files or more.", show_default=False)
    ],
    runs: Annotated[
        int,
        typer.Option(
            "--runs", metavar="N", help="At most so many matches of each; fewer where it is settled."
        ),
    ] = 400,
    until_halfwidth: Annotated[
        float | None,
        typer.Option(
            "--until-halfwidth",
            metavar="POINTS",
            help="Go on, within --runs, until the difference of the best two is known so well; otherwise it stops as "
            "soon as its sign is settled.",
            show_default=False,
        ),
    ] = None,
    seed: Seed = 1,
    battery: BatteryStates = None,
    workers: Workers = None,
    cluster: Cluster = None,
    break_even: Annotated[
        bool,
        typer.Option(
            "--break-even/--no-break-even",
            help="Look for the values at which the other plan would win; it takes some times as long again.",
        ),
    ] = True,
    endgame: Annotated[
        bool, typer.Option("--endgame", help="One more cycle or the endgame: the latest start that pays.")
    ] = False,
    mix: Annotated[
        bool,
        typer.Option("--mix", help="Of two plans of one robot: so many rounds of the one, then the other."),
    ] = False,
    settings: Settings = None,
    json_file: JsonFile = None,
    csv_file: CsvFile = None,
) -> None:
    """Which plan scores more under the same luck, by how much and how surely, and when the other would win."""
    from simbot.studies.compare import told_apart
    from simbot.studies.match_asked import read_asked, states_of

    if len(plans) < 2:
        raise SimbotError("compare: two plans or more are wanted")
    loaded = told_apart([load(plan, settings)[0] for plan in plans])
    asked = read_asked(loaded[0], runs, seed, battery, None, None, until_halfwidth, workers, cluster)
    for plan in loaded[1:]:
        states_of(plan, battery)
        names = [state.name for state in plan.robot.battery]
        missing = next((state for state in asked.states if state not in names), None)
        if missing is not None:
            raise SimbotError(
                f"compare: {plan.robot.name} of {plan.path.name} has no battery state {quoted(missing)}, which the "
                f"first plan is played with; it has {', '.join(names)}: name one that all have with --battery"
            )
    _check_games(loaded)
    if endgame and all(plan.endgame is None for plan in loaded):
        raise SimbotError("--endgame: none of the plans has an endgame")
    if mix:
        _check_mix(loaded)
    check_targets(json=json_file, csv=csv_file)
    compile_first(loaded[0])
    from simbot.studies.further import Wanted, compare_further
    from simbot.studies.ledger import Ledger

    ledger = Ledger("compare", loaded, asked)
    with goes_on(lambda: stopped_after(ledger.played)), ledger:
        going_on(ledger.found)
        result, more = compare_further(ledger, loaded, asked, Wanted(break_even, endgame, mix), progress)
        from simbot.report.compare_document import compare_document

        document = compare_document(result, more)
        if json_file is not None:
            write_json(document, json_file)
        if csv_file is not None:
            write_csv("compare", document, csv_file)
        if "-" not in (json_file, csv_file):
            from simbot.report.compared import print_compared

            print_compared(result, sys.stdout, more)
    if more.stopped:
        tell_stopped("stopped; the same command goes on from there")
        raise Stopped


def _check_games(plans: list[Plan]) -> None:
    from simbot.studies.compare import other_game

    other = other_game(plans)
    if other is not None:
        one = plans[0]
        raise SimbotError(
            f"compare: {one.path} and {other.path} play different games, {one.game.path} and {other.game.path}: "
            "points of different games cannot be compared; give the plans one game file"
        )


def _check_mix(plans: list[Plan]) -> None:
    from simbot.studies.mixed import why_not

    why = why_not(*plans) if len(plans) == 2 else f"two plans are mixed, {len(plans)} were given"
    if why:
        raise SimbotError(f"--mix: {why}")

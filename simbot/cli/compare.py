"""Plans under the same luck."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from simbot.cli.options import BatteryStates, Cluster, JsonFile, Seed, Workers
from simbot.cli.shared import check_folder, compile_first, load, progress, write_json
from simbot.scenario.errors import SimbotError


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
    seed: Seed = 1,
    battery: BatteryStates = None,
    workers: Workers = None,
    cluster: Cluster = None,
    json_file: JsonFile = None,
) -> None:
    """Which plan scores more under the same luck, by how much and how surely."""
    from simbot.studies.match_asked import read_asked, states_of

    if len(plans) < 2:
        raise SimbotError("compare: two plans or more are wanted")
    loaded = [load(plan, None)[0] for plan in plans]
    asked = read_asked(loaded[0], runs, seed, battery, None, None, None, workers, cluster)
    for plan in loaded[1:]:
        states_of(plan, battery)
    check_folder("--json", json_file)
    compile_first(loaded[0])
    from simbot.studies.compare import compare as compare_plans

    result = compare_plans(loaded, asked, progress("matches"))
    if json_file is not None:
        from simbot.report.compare_document import compare_document

        write_json(compare_document(result), json_file)
    if json_file != "-":
        from simbot.report.compared import print_compared

        print_compared(result, sys.stdout)

"""Unknowns of the files from measured times."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simbot.cli.options import Cluster, JsonFile, PlanFile, Seed, Settings, Workers
from simbot.cli.shared import (
    changes_of,
    check_targets,
    compile_first,
    goes_on,
    going_on,
    load,
    progress,
    stopped_after,
    write_json,
)
from simbot.scenario.errors import SimbotError

if TYPE_CHECKING:
    from simbot.studies.fit_results import FitResult

MANY = 1000  # predictions: where each plays matches, other processes are worth their start


def fit(
    plan: PlanFile,
    measured: Annotated[
        Path,
        typer.Argument(
            metavar="MEASURED.csv",
            help="Columns what, from, to, load, value, rate, error, battery, note; README has examples.",
            show_default=False,
        ),
    ],
    unknowns: Annotated[
        list[str] | None,
        typer.Option(
            "--unknown",
            metavar="KEY",
            help="A number of the files, in full or short: lift.efficiency. May be given again; unless said, those "
            "with a spread that the measurements tell better than the file.",
            show_default=False,
        ),
    ] = None,
    battery: Annotated[
        str | None,
        typer.Option(
            "--battery",
            metavar="STATE",
            help="Of rows that name none; mid-event unless said.",
            show_default=False,
        ),
    ] = None,
    reaction: Annotated[
        str, typer.Option("--reaction", metavar="TIME", help="Of whoever held the stopwatch; 0 s for gates.")
    ] = "0.2 s",
    matches: Annotated[
        int, typer.Option("--matches", metavar="N", help="Simulated matches behind a predicted cycle.")
    ] = 8,
    seed: Seed = 1,
    patch: Annotated[
        str | None,
        typer.Option(
            "--patch",
            metavar="FILE",
            help="Write a diff of the robot file (and plan) there.",
            show_default=False,
        ),
    ] = None,
    table: Annotated[
        str | None,
        typer.Option(
            "--csv", metavar="FILE", help="Write measured against predicted there.", show_default=False
        ),
    ] = None,
    workers: Workers = None,
    cluster: Cluster = None,
    settings: Settings = None,
    json_file: JsonFile = None,
) -> None:
    """Unknowns (efficiency, friction, load, battery, allowance) from measured times, with intervals."""
    from simbot.physics.kinds import KINDS
    from simbot.scenario.given import quantity_given
    from simbot.scenario.measured_file import read_measured
    from simbot.studies.match_asked import states_of
    from simbot.studies.sweep_asked import workers_for

    check_targets(json=json_file, patch=patch, csv=table)
    if matches < 1:
        raise SimbotError(f"--matches {matches}: at least one is wanted")
    lag = float(quantity_given("--reaction", reaction, "time", 0.0, 2.0))
    loaded, _ = load(plan, settings)
    states = states_of(loaded, battery)
    if len(set(states)) > 1:
        raise SimbotError(f"--battery {battery}: one state is wanted")
    rows = read_measured(measured, loaded, states[0])
    in_matches = any(row.condition.kind in ("cycle", "line") for row in rows)
    playing = workers_for(workers, "match", MANY if in_matches else 1, cluster)
    compile_first(loaded)
    from simbot.studies.fit import fit as fit_to
    from simbot.studies.fit_results import FitAsked
    from simbot.studies.fit_unknowns import Source
    from simbot.studies.fit_work import Work

    source = Source(plan, loaded, KINDS, changes_of(settings))
    asked = FitAsked(seed, matches, lag)
    work = Work(loaded, rows, unknowns or (), asked, playing, cluster)

    def kept() -> str:
        return f"{stopped_after(work.made, 'prediction', 'made')} (a fit says nothing before it is through)"

    with goes_on(kept), work:
        going_on(work.found, "prediction", "made")
        tell = progress("parts of the fit", work.before_s)
        result = fit_to(source, measured, rows, unknowns or (), asked, tell, work)
        _write(result, json_file, patch, table)


def _write(result: FitResult, json_file: str | None, patch: str | None, table: str | None) -> None:
    from simbot.report.files import write, write_bytes
    from simbot.report.fit_document import fit_csv, fit_document
    from simbot.report.fit_patch import fit_patch
    from simbot.report.fitted import print_fitted

    if json_file is not None:
        write_json(fit_document(result), json_file)
    if patch is not None:
        made = fit_patch(result)
        write_bytes("--patch", made.data, patch)
        where = f"; apply it in {made.root} with git apply or patch -p1" if made.root else ""
        numbers = "1 number changes" if made.changed == 1 else f"{made.changed} numbers change"
        print(f"{numbers} in {patch}{where}", file=sys.stderr)
        for line in made.by_hand:
            print(f"as it is: {line}", file=sys.stderr)
    if table is not None:
        write("--csv", fit_csv(result), table)
    if "-" not in (json_file, patch, table):
        print_fitted(result, sys.stdout)

"""Many matches with chance."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from simbot.cli.options import BatteryStates, Cluster, CsvFile, JsonFile, PlanFile, Seed, Settings, Workers
from simbot.cli.shared import (
    FINDINGS,
    FINE,
    NOTHING_PLAYED,
    STOPPED,
    USERS_MISTAKE,
    Stopped,
    check_targets,
    compile_first,
    going_on,
    load,
    nothing_played,
    progress,
    tell_stopped,
    write_csv,
    write_json,
)
from simbot.scenario.errors import SimbotError


def match(
    plan: PlanFile,
    runs: Annotated[int, typer.Option("--runs", metavar="N", help="Matches to play, ten a day.")] = 500,
    seed: Seed = 1,
    battery: BatteryStates = None,
    threshold: Annotated[
        str | None,
        typer.Option(
            "--threshold",
            metavar="POINTS",
            help="The chance to reach it, as in 60 or '60 ± 15'.",
            show_default=False,
        ),
    ] = None,
    partner: Annotated[
        str | None,
        typer.Option(
            "--partner",
            metavar="POINTS",
            help="What an alliance partner adds, as in '25 ± 10'.",
            show_default=False,
        ),
    ] = None,
    until_halfwidth: Annotated[
        float | None,
        typer.Option(
            "--until-halfwidth",
            metavar="POINTS",
            help="Stop as soon as the mean is known so well.",
            show_default=False,
        ),
    ] = None,
    workers: Workers = None,
    cluster: Cluster = None,
    settings: Settings = None,
    json_file: JsonFile = None,
    csv_file: CsvFile = None,
    strict: Annotated[
        bool,
        typer.Option(
            "--strict", help="Exit with 3 where a match cannot be played, or an order rule is broken."
        ),
    ] = False,
) -> None:
    """Many matches with chance: the distribution of the points, and where points are lost."""
    from simbot.studies.match_asked import read_asked

    loaded, _ = load(plan, settings)
    asked = read_asked(loaded, runs, seed, battery, threshold, partner, until_halfwidth, workers, cluster)
    check_targets(json=json_file, csv=csv_file)
    with nothing_played():
        compile_first(loaded)
        from simbot.studies.kept import forget, keep, kept
        from simbot.studies.match import Interrupted, put_together, study

        done = kept(loaded, asked)
    going_on(len(done))
    code = FINE
    try:
        with nothing_played():
            result = study(loaded, asked, progress("matches"), done)
    except Interrupted as stopped:
        if not stopped.records:
            if stopped.why:
                raise SimbotError(stopped.why) from None
            tell_stopped(NOTHING_PLAYED)
            raise Stopped from None
        saved = keep(loaded, asked, stopped.records)
        text = f"stopped after {len(stopped.records)} of {runs} matches"
        tell_stopped(f"{text}; the same command goes on from there" if saved else text)
        result = put_together(loaded, asked, stopped.records, stopped.why or "you stopped it")
        code = USERS_MISTAKE if stopped.why else STOPPED
    from simbot.report.match_document import match_document

    try:
        document = match_document(result)
        if json_file is not None:
            write_json(document, json_file)
        if csv_file is not None:
            write_csv("match", document, csv_file)
        if "-" not in (json_file, csv_file):
            from simbot.report.matched import print_matched

            print_matched(result, sys.stdout, settings or ())
    except BaseException:
        keep(loaded, asked, result.records)  # until its answer is written
        raise
    if code == STOPPED:
        raise Stopped
    if code == FINE:
        forget(loaded, asked)
    if code == FINE and strict and (result.faults or result.order_broken):
        code = FINDINGS
    if code != FINE:
        raise typer.Exit(code)

"""Better timers, once or whenever a file changes."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simbot.cli.options import JsonFile, PlanFile, Seed, Settings, Workers
from simbot.cli.shared import check_folder, compile_first, complain, load, progress, sign_of_life
from simbot.scenario.errors import SimbotError

if TYPE_CHECKING:
    from simbot.scenario.model import Plan
    from simbot.studies.runs import Bench
    from simbot.studies.tune_results import TuneResult

LOOK_AGAIN_S = 0.1  # how often --watch looks at the files
KEPT = 30  # runs that --watch remembers: most of them are the same after an edit
MATCHES = 20  # with chance, on each battery


def tune(
    plan: PlanFile,
    kind: Annotated[
        str,
        typer.Option(
            "--kind",
            metavar="KIND",
            help="safe: the latest arrival plus the plan's guard. balanced: most points with chance. sensor: waits "
            "for arrival in their place.",
        ),
    ] = "safe",
    battery: Annotated[
        str | None,
        typer.Option(
            "--battery",
            metavar="STATE",
            help="The weakest battery for which the timers are to hold; all unless said.",
            show_default=False,
        ),
    ] = None,
    rule: Annotated[
        str | None,
        typer.Option(
            "--rule",
            metavar="FORMULA",
            help="Your own rule for weak batteries, in ms: 'base - (50*volts - 600)'.",
            show_default=False,
        ),
    ] = None,
    patch: Annotated[
        str | None,
        typer.Option(
            "--patch", metavar="FILE", help="Write a diff of the robot's source there.", show_default=False
        ),
    ] = None,
    table: Annotated[
        str | None,
        typer.Option(
            "--table", metavar="FILE", help="Write the timers there as a CSV table.", show_default=False
        ),
    ] = None,
    matches: Annotated[
        int | None,
        typer.Option(
            "--matches",
            metavar="N",
            help=f"Matches with chance on each battery; {MATCHES} unless said, with --watch none. 0: no chance.",
            show_default=False,
        ),
    ] = None,
    seed: Seed = 1,
    workers: Workers = None,
    settings: Settings = None,
    json_file: JsonFile = None,
    watch: Annotated[
        bool, typer.Option("--watch", help="Run again when a file changes, and say what changed.")
    ] = False,
) -> None:
    """Better timers, what they gain, and which steps could go together."""
    from simbot.studies.kinds import check_kind
    from simbot.studies.match_asked import read_workers

    check_kind(kind)
    for option, file in (("--json", json_file), ("--patch", patch), ("--table", table)):
        check_folder(option, file)
    if [patch, table, json_file].count("-") > 1:
        raise SimbotError("only one of --json, --patch and --table can be -")
    if patch is not None and kind == "sensor":
        raise SimbotError(
            "--patch: it changes numbers; a wait for arrival (--kind sensor) is written by hand"
        )
    if watch and "-" in (json_file, patch, table):
        raise SimbotError("--watch prints what changed to stdout: name a file in the place of -")
    if matches is None:
        matches = 0 if watch and kind != "balanced" else MATCHES
    if matches < 0:
        raise SimbotError(f"--matches {matches}: 0 or more are wanted")
    if matches == 0 and kind == "balanced":
        raise SimbotError("--matches 0: --kind balanced goes by matches with chance, at least 1 is wanted")
    wanted = _Wanted(
        kind, battery, rule, patch, table, json_file, matches, seed, read_workers(workers, 6 * matches)
    )  # two sets on three batteries
    if watch:
        _watch(plan, wanted, settings)
        return
    from simbot.report.patch import check_sources
    from simbot.report.tune_files import write_tuned

    loaded, _ = load(plan, settings)
    if patch is not None:
        check_sources(loaded)
    result = _tune(loaded, wanted)
    if not write_tuned(result, json_file, patch, table):
        from simbot.report.tuned import print_tuned

        print_tuned(result, sys.stdout)


@dataclass(frozen=True)
class _Wanted:
    """What is asked of the tuning of a plan."""

    kind: str
    battery: str | None
    rule: str | None
    patch: str | None
    table: str | None
    json_file: str | None
    matches: int
    seed: int
    workers: int

    @property
    def whole(self) -> bool:
        """Whether a file is written that tells more than what changed."""
        return self.json_file is not None or self.table is not None


def _tune(plan: Plan, wanted: _Wanted, bench: Bench | None = None, timers_alone: bool = False) -> TuneResult:
    if wanted.matches:
        compile_first(plan)
    with sign_of_life():
        from simbot.studies.chance import Chances
        from simbot.studies.tune import tune

        chances = None
        if wanted.matches:
            chances = Chances(wanted.matches, wanted.seed, wanted.workers, progress("matches"))
        return tune(plan, wanted.kind, wanted.battery, wanted.rule, chances, bench, timers_alone)


def _watch(plan: Path, wanted: _Wanted, settings: Sequence[str] | None) -> None:
    """Tune again whenever the plan or what it reads changes; ends with Ctrl-C."""
    from simbot.report.tune_changes import changes, stamps_of
    from simbot.report.tune_files import write_tuned
    from simbot.report.tuned import print_tuned
    from simbot.scenario.load import files_of
    from simbot.studies.runs import Bench

    last: TuneResult | None = None
    bench: Bench | None = None
    while True:
        stamps = stamps_of(files_of(plan))
        try:
            loaded, _ = load(plan, settings)
            if bench is None or not bench.serves(loaded):
                bench = Bench(loaded, keep=KEPT)
            result = _tune(loaded, wanted, bench, last is not None and not wanted.whole)
            quiet = write_tuned(result, wanted.json_file, wanted.patch, wanted.table)
            if last is not None:
                print("\n".join(changes(last, result)))
            elif not quiet:
                print_tuned(result, sys.stdout)
            last = result
        except SimbotError as error:
            complain(str(error))
        sys.stdout.flush()
        typer.echo("watching; Ctrl-C ends it", err=True)
        while stamps_of(files_of(plan)) == stamps:
            time.sleep(LOOK_AGAIN_S)

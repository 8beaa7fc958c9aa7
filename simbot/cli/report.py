"""The page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simbot.cli.options import Settings
from simbot.cli.shared import (
    check_folder,
    compile_first,
    load,
    progress,
    read_studies_of,
    sign_of_life,
)
from simbot.scenario.errors import SimbotError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from simbot.report.page.parts import PlanPart, Ran, Studies
    from simbot.scenario.model import BatteryState, Plan, Remark

QUICK_RUNS = 200
SEED = 1


def report(
    plans: Annotated[
        list[Path], typer.Argument(metavar="PLAN...", help="One plan file or more.", show_default=False)
    ],
    studies: Annotated[
        Path | None,
        typer.Option(
            "--studies",
            metavar="DIR",
            help="Folder with JSON documents of compare, tune, match, worth, sweep and fit; without it compare and "
            "tune run in a quick form.",
            show_default=False,
        ),
    ] = None,
    out: Annotated[
        str, typer.Option("--out", metavar="FILE", help="The page; - for stdout.")
    ] = "report.html",
    figures: Annotated[
        Path | None,
        typer.Option(
            "--figures",
            metavar="DIR",
            help="Write the figures there too, as SVG and PNG; of the quick compare too.",
            show_default=False,
        ),
    ] = None,
    settings: Settings = None,
) -> None:
    """One HTML page of runs and studies, to look at, print and hand on."""
    check_folder("--out", out)
    for number, plan in enumerate(plans):
        if plan.resolve() in [other.resolve() for other in plans[:number]]:
            raise SimbotError(f"report: {plan} is given twice")
    loaded = [load(plan, settings) for plan in plans]
    shared = [plan.name for plan, _ in loaded]
    from simbot.studies.compare import told_apart

    apart = told_apart([plan for plan, _ in loaded])
    loaded = [(plan, remarks) for plan, (_, remarks) in zip(apart, loaded, strict=True)]
    names = [plan.name for plan in apart]
    found = None
    if studies is not None:
        from simbot.report.page.studies import studies_of
        from simbot.scenario.load import files_of

        files = [file.name for path in plans for file in files_of(path)]
        found, remarks = studies_of(studies, names, files, shared)
        for remark in remarks:
            typer.echo(remark, err=True)
    compile_first(loaded[0][0])
    with sign_of_life():
        parts = [_part(path, plan, remarks) for path, (plan, remarks) in zip(plans, loaded, strict=True)]
    known = found if found is not None else _quick([plan for plan, _ in loaded])
    from simbot.report.files import write
    from simbot.report.page.build import page

    write("--out", page(parts, known, out), out)
    if out != "-":
        typer.echo(f"{out}: open it in a browser")
    if figures is not None:
        from simbot.report.figures.all import write_figures
        from simbot.report.studies_read import Study

        drawn = read_studies_of(studies)
        if studies is None and known.compare is not None:
            drawn = [Study(figures / "quick.json", "compare", known.compare)]
        written = write_figures(figures, [part.shown for part in parts], drawn)
        typer.echo(f"{figures}: {len(written)} figures", err=out == "-")


def _part(path: Path, plan: Plan, remarks: Sequence[Remark]) -> PlanPart:
    from simbot.analysis.states import run_result
    from simbot.physics.build import Models
    from simbot.report.page.parts import PlanPart
    from simbot.scenario.load import files_of

    models = Models(plan.robot)
    ran = tuple(_ran(plan, battery, models) for battery in plan.robot.battery)
    run = run_result(plan, tuple(one.state for one in ran))
    return PlanPart(path.as_posix(), plan, remarks, files_of(path), run, ran)


def _ran(plan: Plan, battery: BatteryState, models: object) -> Ran:
    from simbot.analysis.polylines import courses_of
    from simbot.analysis.states import state_result
    from simbot.report.page.parts import Ran
    from simbot.routine.match import play

    trace, plant = play(plan, battery, models)  # type: ignore[arg-type]
    partner = None
    if trace.partner is not None and trace.partner.moves:
        partner = courses_of(trace.partner.moves[0].move.plant, trace.partner)
    return Ran(state_result(plan, battery, plant, trace), trace, courses_of(plant, trace), partner)


def _quick(plans: list[Plan]) -> Studies:
    """Tune every plan, and compare them where there are several, with few matches."""
    from simbot.report.compare_document import compare_document
    from simbot.report.page.parts import Studies
    from simbot.report.tune_document import tune_document
    from simbot.studies.match_asked import read_asked
    from simbot.studies.tune import tune

    tuned = {plan.name: tune_document(tune(plan, "safe", None, None)) for plan in plans}
    if len(plans) < 2:
        return Studies(tune=tuned, quick=("tune",))
    from simbot.studies.compare import compare

    asked = read_asked(plans[0], QUICK_RUNS, SEED, None, None, None, None, None)
    compared = compare_document(compare(plans, asked, progress("matches")))
    return Studies(compare=compared, tune=tuned, quick=("compare", "tune"))

"""Figures as files."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from simbot.cli.options import BatteryState, Settings, StudiesFolder
from simbot.cli.shared import read_studies_of, show_plans


def figures(
    plans: Annotated[
        list[Path], typer.Argument(metavar="PLAN...", help="The plan files (YAML).", show_default=False)
    ],
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="Folder to write them to.", show_default=False)
    ],
    studies: StudiesFolder = None,
    battery: BatteryState = None,
    settings: Settings = None,
) -> None:
    """Timeline, field and cycle of plans, and what their studies found, each as SVG and PNG."""
    found = read_studies_of(studies)
    shown = show_plans(plans, battery, settings)
    from simbot.report.figures.all import write_figures

    for path in write_figures(out, shown, found):
        typer.echo(str(path))

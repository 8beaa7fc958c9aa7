"""A page for the engineering notebook."""

from __future__ import annotations

from typing import Annotated

import typer

from simbot.cli.options import BatteryState, PlanFile, Settings, StudiesFolder
from simbot.cli.shared import check_folder, read_studies_of, show_plans


def notebook(
    plan: PlanFile,
    out: Annotated[
        str, typer.Option("--out", metavar="FILE", help="The page (HTML); - for stdout.", show_default=False)
    ],
    studies: StudiesFolder = None,
    battery: BatteryState = None,
    settings: Settings = None,
) -> None:
    """A page to print for the engineering notebook: question, prediction, measurement, % of ideal, next step."""
    check_folder("--out", out)
    found = read_studies_of(studies)
    (shown,) = show_plans([plan], battery, settings)
    from simbot.report.files import write
    from simbot.report.notebook import notebook_page

    write("--out", notebook_page(shown, found), out)

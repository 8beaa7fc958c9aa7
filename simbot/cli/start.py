"""Put a small game, robot and plan into a folder, or a plan made from a team's code."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from simbot.scenario.errors import SimbotError


def start(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Where to put them.", show_default=False)],
    code: Annotated[
        Path | None,
        typer.Option(
            "--from",
            metavar="CODE",
            help="List the waits of this Java, Kotlin, Python, C or C++ file and write a plan that points at them.",
            show_default=False,
        ),
    ] = None,
    unit: Annotated[
        str | None,
        typer.Option(
            "--unit",
            metavar="UNIT",
            help="ms, s, us or ns: of those of its numbers whose unit the code does not say.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Put a small working game, robot and plan into DIR, to be changed."""
    if code is not None:
        _start_from(folder, code, unit)
        return
    if unit is not None:
        raise SimbotError(f"--unit {unit}: it goes with --from CODE")
    from simbot.starter import copy_to

    plan = copy_to(folder)
    typer.echo(f"Game, robot and plan are in {folder}. All numbers in them are invented: put in your own.")
    typer.echo(f"Next: simbot run {plan}")


def _start_from(folder: Path, code: Path, unit: str | None) -> None:
    from simbot.scenario.source_units import UNITS
    from simbot.starter.from_code import listing, waits_of, without_unit, write_plan

    if unit is not None and unit not in UNITS:
        raise SimbotError(f"--unit {unit}: would do: {', '.join(UNITS)}")
    waits, unread = waits_of(code, unit)
    plan = write_plan(folder, code, waits)
    for line in listing(waits, unread):
        typer.echo(line)
    typer.echo(f"\n{len(waits)} waits of {code.name} stand in {plan}, each pointing at its number.")
    open_units = without_unit(waits)
    if open_units:
        typer.echo(
            f"The code does not say the unit of {open_units} of them: put ms or s for the ? in the plan, or "
            "start again with --unit."
        )
    typer.echo(f"Next: put the moves before the waits, then simbot tune {plan}")

"""The schemas of the JSON documents."""

from __future__ import annotations

from typing import Annotated

import typer

from simbot.scenario.errors import SimbotError


def schema(
    name: Annotated[
        str,
        typer.Argument(
            metavar="NAME",
            help="Whose document: run, move (of a cylinder: strokes), tune, match, compare, worth, sweep or fit.",
            show_default=False,
        ),
    ],
) -> None:
    """Print the JSON Schema of a command's JSON document."""
    from simbot.report.document import SCHEMAS, schema_text

    if name not in SCHEMAS:
        raise SimbotError(f"schema {name}: there is none; there is {', '.join(SCHEMAS)}")
    typer.echo(schema_text(name), nl=False)

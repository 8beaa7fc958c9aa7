"""The kinds of mechanism."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from simbot.scenario.errors import SimbotError, nearest, quoted


def kinds(
    kind: Annotated[
        str | None, typer.Argument(metavar="[KIND]", help="All about this one.", show_default=False)
    ] = None,
) -> None:
    """The kinds of mechanism: with a name its geometry, its keys and their defaults."""
    from simbot.physics.kinds import KINDS
    from simbot.report.kinds import print_kind, print_kinds

    if kind is None:
        print_kinds(sys.stdout)
    elif kind in KINDS:
        print_kind(kind, sys.stdout)
    else:
        guess = nearest(kind, KINDS)
        hint = f"; did you mean {quoted(guess)}?" if guess else ""
        raise SimbotError(f"kinds {kind}: there is no such kind; there are {', '.join(KINDS)}{hint}")

"""One mechanism alone."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simbot.cli.options import BatteryState, JsonFile, Settings
from simbot.cli.shared import check_folder, load_robot, sign_of_life, write_json

if TYPE_CHECKING:
    from simbot.scenario.model import Remark, Robot


def move(
    robot: Annotated[Path, typer.Argument(metavar="ROBOT", help="The robot file.", show_default=False)],
    mechanism: Annotated[
        str, typer.Argument(metavar="MECHANISM", help="Its name there.", show_default=False)
    ],
    start: Annotated[
        str | None, typer.Option("--from", metavar="P", help="Where it starts, at rest.", show_default=False)
    ] = None,
    target: Annotated[
        str | None,
        typer.Option(
            "--to", metavar="P", help="Where it goes; of a drive a distance ahead.", show_default=False
        ),
    ] = None,
    turn: Annotated[
        str | None,
        typer.Option("--turn", metavar="ANGLE", help="A drive turns in place.", show_default=False),
    ] = None,
    loads: Annotated[
        list[str] | None,
        typer.Option(
            "--load", metavar="MASS", help="With this in hand too. May be given again.", show_default=False
        ),
    ] = None,
    until: Annotated[
        str | None,
        typer.Option(
            "--until",
            metavar="TIME",
            help="The match ends then, as in '150 s': a winch's or hoist's last start.",
            show_default=False,
        ),
    ] = None,
    tables: Annotated[
        bool, typer.Option("--tables", help="Inertia, load and ratio over the travel.")
    ] = False,
    volts: Annotated[
        str | None,
        typer.Option("--volts", metavar="V", help="Motors' voltage in the tables.", show_default=False),
    ] = None,
    celsius: Annotated[
        float | None,
        typer.Option(
            "--celsius", metavar="T", help="Motors' temperature there; else 25.", show_default=False
        ),
    ] = None,
    battery: BatteryState = None,
    settings: Settings = None,
    json_file: JsonFile = None,
    figure: Annotated[
        str | None,
        typer.Option(
            "--figure", metavar="FILE", help="Draw it there: .png, .svg or .pdf.", show_default=False
        ),
    ] = None,
) -> None:
    """One mechanism alone: its times, what holds it back, what holding takes, what falls."""
    from simbot.report.asked import read_asked

    loaded, remarks = load_robot(robot, settings)
    if mechanism in loaded.mechanisms and loaded.mechanisms[mechanism].kind == "cylinder":
        options = {
            "--from": start, "--to": target, "--turn": turn, "--load": loads, "--until": until, "--tables": tables,
            "--volts": volts, "--celsius": celsius, "--battery": battery, "--figure": figure,
        }  # fmt: skip
        _cylinder(loaded, mechanism, remarks, options, json_file)
        return
    asked = read_asked(
        loaded, mechanism, start, target, turn, loads or (), until, tables, volts, celsius, battery, figure
    )
    check_folder("--json", json_file)
    check_folder("--figure", figure)
    with sign_of_life():
        from simbot import api
        from simbot.analysis.one_move import tables_of

        rows = None
        if tables:
            rows = tables_of(loaded, mechanism, max(asked.loads, default=0.0), asked.volts, asked.celsius)
        result = api.move(loaded, mechanism, asked.start, asked.target, asked.turn, asked.loads, rows)
    if json_file is not None:
        from simbot.report.move_document import move_document

        write_json(move_document(result, remarks, asked.until), json_file)
    if figure is not None:
        from simbot.report.figures.move import draw_move

        draw_move(result, asked.battery, figure)
    if json_file != "-":
        from simbot.report.one_move import print_move

        print_move(result, remarks, asked.battery, asked.until, sys.stdout)


def _cylinder(
    robot: Robot, name: str, remarks: Sequence[Remark], options: Mapping[str, object], json_file: str | None
) -> None:
    """Its strokes on one fill of its tank."""
    from simbot.report.one_cylinder import cylinder_document, print_cylinder, refuse

    refuse(name, options)
    check_folder("--json", json_file)
    with sign_of_life():
        from simbot import api

        strokes = api.strokes(robot, name)
    if json_file is not None:
        write_json(cylinder_document(strokes, remarks), json_file)
    if json_file != "-":
        print_cylinder(strokes, remarks, sys.stdout)

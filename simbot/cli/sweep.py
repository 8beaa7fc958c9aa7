"""One or two quantities over a range."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simbot.cli.options import Cluster, JsonFile, Seed, Settings, Workers
from simbot.cli.shared import (
    Stopped,
    changes_of,
    check_targets,
    goes_on,
    going_on,
    progress,
    sign_of_life,
    stopped_after,
    tell_stopped,
    write_json,
)
from simbot.scenario.errors import ScenarioError, SimbotError

if TYPE_CHECKING:
    from simbot.scenario.model import Remark, Robot
    from simbot.scenario.sheet import Trees
    from simbot.studies.sweep import SweepResult
    from simbot.studies.sweep_asked import Ask, SweepAsked


def sweep(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A plan; with MECHANISM a robot file.", show_default=False)
    ],
    words: Annotated[
        list[str],
        typer.Argument(
            metavar="[MECHANISM] KEY=FROM:TO...",
            help="One or two quantities of the files, addressed by their path or shorter: drum_diameter=20:60mm, "
            "robot.lift.drum='20:60:2 mm' (in steps of 2 mm).",
            show_default=False,
        ),
    ],
    points: Annotated[
        int | None,
        typer.Option("--points", metavar="N", help="Values where no step is given.", show_default=False),
    ] = None,
    by: Annotated[
        str | None,
        typer.Option(
            "--by",
            metavar="MEASURE",
            help="What says which is best: arrival, current, heat ...; of a plan points, rate, cycle ...",
            show_default=False,
        ),
    ] = None,
    parts: Annotated[
        list[str] | None,
        typer.Option(
            "--parts",
            metavar="VALUES",
            help="What you can have: 3.7,5.2,7.2 or a file of them; of two quantities KEY=VALUES.",
            show_default=False,
        ),
    ] = None,
    want: Annotated[
        str | None,
        typer.Option(
            "--want",
            metavar="WISHES",
            help="Which values do it? As in 'arrival <= 0.8 s, tired; current <= 20 A'.",
            show_default=False,
        ),
    ] = None,
    start: Annotated[
        str | None, typer.Option("--from", metavar="P", help="Where MECHANISM starts.", show_default=False)
    ] = None,
    target: Annotated[
        str | None, typer.Option("--to", metavar="P", help="Where it goes.", show_default=False)
    ] = None,
    turn: Annotated[
        str | None, typer.Option("--turn", metavar="ANGLE", help="A drive turns.", show_default=False)
    ] = None,
    load: Annotated[
        str | None, typer.Option("--load", metavar="MASS", help="With this in hand.", show_default=False)
    ] = None,
    battery: Annotated[
        str | None,
        typer.Option(
            "--battery",
            metavar="STATES",
            help="One or several (tired,fresh), or all; the first decides; mid-event unless said.",
            show_default=False,
        ),
    ] = None,
    matches: Annotated[
        int | None,
        typer.Option(
            "--matches",
            metavar="N",
            help="Of a plan: so many matches with chance at each value, under the same luck.",
            show_default=False,
        ),
    ] = None,
    seed: Seed = 1,
    workers: Workers = None,
    cluster: Cluster = None,
    settings: Settings = None,
    table: Annotated[
        str | None,
        typer.Option("--csv", metavar="FILE", help="Write a table there; - for stdout.", show_default=False),
    ] = None,
    json_file: JsonFile = None,
) -> None:
    """One or two quantities over a range: the best value, how flat it is, what it takes to get what you want."""
    from simbot.studies.sweep_asked import Ask

    check_targets(json=json_file, csv=table)
    mechanism = words[0] if "=" not in words[0] else None
    given = changes_of(settings)
    trees: Trees = {}
    robot, remarks = _read(file, mechanism, given, trees)
    asked, ask = _asked(
        robot,
        mechanism,
        words,
        trees,
        Ask(start, target, turn, load),
        points,
        by,
        parts or (),
        want,
        battery,
        (workers, cluster),
        (matches, seed),
    )
    for axis in asked.axes:
        if axis.key in given:
            raise SimbotError(f"--set {axis.key}: it is swept already")
    _run(file, mechanism, given, robot, remarks, asked, ask, table, json_file)


def _read(
    file: Path, mechanism: str | None, given: dict[str, str], trees: Trees
) -> tuple[Robot, Sequence[Remark]]:
    """The robot as its files are; their trees are left in `trees`."""
    from simbot.physics.assumptions import physics_remarks
    from simbot.physics.kinds import KINDS
    from simbot.scenario.given import mechanism_given
    from simbot.scenario.load import load_plan, load_robot

    if mechanism is None:
        try:
            plan, remarks = load_plan(file, KINDS, given, trees)
        except ScenarioError as error:
            if error.problems[0].text != "this is a robot file":
                raise
            names = ", ".join(load_robot(file, KINDS, given)[0].mechanisms)
            raise SimbotError(
                f"sweep: {file} is a robot file; name one of its mechanisms behind it ({names}), or give a plan"
            ) from error
        robot = plan.robot
    else:
        robot, remarks = load_robot(file, KINDS, given, trees)
        mechanism_given(robot, mechanism)
    return robot, [*remarks, *physics_remarks(robot)]


def _asked(
    robot: Robot, mechanism: str | None, words: Sequence[str], trees: Trees, ask: Ask, points: int | None,
    by: str | None, parts: Sequence[str], want: str | None, battery: str | None, who: tuple[int | None, str | None],
    chance: tuple[int | None, int],
) -> tuple[SweepAsked, Ask]:  # fmt: skip
    from simbot.studies import sweep_asked as s

    kind, measures = ("match", s.OF_A_MATCH) if mechanism is None else ("move", s.OF_A_MOVE)
    matches = s.read_matches(chance[0], mechanism)
    pairs = words if mechanism is None else words[1:]
    axes = s.read_axes(pairs, [tree for tree, _ in trees.values()], points, parts, robot, mechanism)
    states = s.read_states(robot, battery)
    wishes: tuple[s.Wish, ...] = ()
    if want is not None:
        wishes = s.read_wishes(
            want, s.OF_MATCHES if matches else measures, [state.name for state in robot.battery], states[0]
        )
    states = tuple(dict.fromkeys((*states, *(wish.state for wish in wishes))))
    ask = s.read_ask(robot, mechanism, ask)
    runs = 1
    for axis in axes:
        runs *= len(axis.values)
    workers, cluster = who
    playing = s.workers_for(workers, kind, runs * max(1, matches), cluster)
    best_by = s.read_by(by, s.OF_MATCHES if matches else measures)
    asked = s.SweepAsked(axes, states, best_by, wishes, playing, cluster, matches, chance[1])
    return asked, ask


def _run(
    file: Path, mechanism: str | None, given: dict[str, str], robot: Robot, remarks: Sequence[Remark],
    asked: SweepAsked, ask: Ask, table: str | None, json_file: str | None,
) -> None:  # fmt: skip
    with sign_of_life():
        from simbot.studies.sweep import check_values
        from simbot.studies.sweep import sweep as sweep_over
        from simbot.studies.sweep_kept import Kept
        from simbot.studies.sweep_points import OneMechanism, WholePlan
        from simbot.studies.sweep_rests import with_hangs

        keys = tuple(axis.key for axis in asked.axes)
        subject: OneMechanism | WholePlan = WholePlan(file, given, asked.matches, asked.seed)
        if mechanism is not None:
            floor = "floor" in (asked.by.name, *(wish.measure for wish in asked.wishes))
            subject = OneMechanism(file, given, mechanism, ask, keys, floor, asked.by.name == "inside")
        check_values(subject, asked)
        first = replace(subject, matches=0) if isinstance(subject, WholePlan) else subject
        first.looks({}, asked.states[:1])  # the files as they are, and everything compiled
        kept = Kept(subject, asked)
    going_on(len(kept.points), "value", "run")
    with goes_on(lambda: stopped_after(len(kept.points), "value", "run")), kept:
        result = with_hangs(sweep_over(subject, asked, progress("values"), kept))
        _write(result, robot, remarks, table, json_file)
    if result.stopped:
        text = "stopped; the same command goes on from there" if kept.saved else "stopped"
        tell_stopped(text)
        raise Stopped


def _write(
    result: SweepResult, robot: Robot, remarks: Sequence[Remark], table: str | None, json_file: str | None
) -> None:
    if table is not None:
        from simbot.report.files import write
        from simbot.report.sweep_table import table_text

        write("--csv", table_text(result), table)
    if json_file is not None:
        from simbot.report.sweep_document import sweep_document

        write_json(sweep_document(result), json_file)
    if "-" not in (json_file, table):
        from simbot.report.swept import print_swept

        print_swept(result, robot, remarks, sys.stdout)

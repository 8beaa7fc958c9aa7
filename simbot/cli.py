"""The commands. Thin: read arguments, call the stages in their order, print, choose the exit status.

Exit status: 0 fine, 1 a fault of simbot, 2 the user's mistake, 3 findings that fail under --strict,
130 stopped with Ctrl-C. Results go to stdout, progress, remarks and errors to stderr. Everything heavy is
imported where it is used, so that help and errors come at once.
"""

from __future__ import annotations

import io
import os
import sys
import threading
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simbot import __version__
from simbot.scenario.errors import SimbotError, nearest, quoted

if TYPE_CHECKING:
    from simbot.analysis.results import RunResult, StateResult
    from simbot.report.document import Document
    from simbot.scenario.model import Plan, Remark, Robot
    from simbot.studies.tune_results import TuneResult

LOOK_AGAIN_S = 0.5  # how often --watch looks at the files
FINE, OUR_FAULT, USERS_MISTAKE, FINDINGS, STOPPED = 0, 1, 2, 3, 130

app = typer.Typer(
    name="simbot",
    help="How long a competition robot's moves really take, and what a timer that is too short breaks.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)

PlanFile = Annotated[Path, typer.Argument(metavar="PLAN", help="The plan file (YAML).", show_default=False)]
Settings = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help="Replace a value of the files, as in robot.mass='11 kg'. May be given again.",
        show_default=False,
    ),
]
JsonFile = Annotated[
    str | None,
    typer.Option(
        "--json", metavar="FILE", help="Write the JSON document there; - for stdout.", show_default=False
    ),
]
BatteryState = Annotated[
    str | None,
    typer.Option(
        "--battery",
        metavar="STATE",
        help="Battery state whose bars are drawn; mid-event unless said. The tables keep all.",
        show_default=False,
    ),
]
Seed = Annotated[
    int, typer.Option("--seed", metavar="S", help="Of the luck: the same seed, the same matches.")
]
BatteryStates = Annotated[
    str | None,
    typer.Option(
        "--battery",
        metavar="STATES",
        help="Battery of the matches, as in fresh:3,mid-event:5,tired:2; mid-event unless said.",
        show_default=False,
    ),
]
Workers = Annotated[
    int | None,
    typer.Option("--workers", metavar="N", help="Processes; one a core unless said.", show_default=False),
]
Strict = Annotated[bool, typer.Option("--strict", help="Exit with 3 where a battery state fails.")]


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"simbot {__version__}")
        raise typer.Exit


@app.callback()
def _simbot(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version.", callback=_print_version, is_eager=True)
    ] = False,
) -> None:
    pass


@app.command()
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
    waits = waits_of(code, unit)
    plan = write_plan(folder, code, waits)
    for line in listing(waits):
        typer.echo(line)
    typer.echo(f"\n{len(waits)} waits of {code.name} stand in {plan}, each pointing at its number.")
    open_units = without_unit(waits)
    if open_units:
        typer.echo(
            f"The code does not say the unit of {open_units} of them: put ms or s for the ? in the plan, or "
            "start again with --unit."
        )
    typer.echo(f"Next: put the moves before the waits, then simbot tune {plan}")


@app.command()
def check(plan: PlanFile, settings: Settings = None) -> None:
    """Is the plan well formed, what was understood, what is assumed."""
    from simbot.report.understood import print_understood

    loaded, remarks = _load(plan, settings)
    print_understood(loaded, remarks, sys.stdout)


@app.command()
def run(
    plan: PlanFile,
    battery: BatteryState = None,
    settings: Settings = None,
    match_number: Annotated[
        int | None,
        typer.Option(
            "--match",
            metavar="K",
            help="That match of `simbot match` with the same --seed and --battery, with chance.",
            show_default=False,
        ),
    ] = None,
    seed: Seed = 1,
    json_file: JsonFile = None,
    strict: Strict = False,
) -> None:
    """One nominal run: three times and a verdict for every wait, cycle time, points, battery."""
    from simbot.report.document import run_document

    loaded, remarks = _load(plan, settings)
    _check_folder("--json", json_file)
    if match_number is not None:
        result = _one_match(loaded, match_number, seed, battery)
        battery = None
    else:
        names = [state.name for state in loaded.robot.battery]
        if battery is not None and battery not in names:
            raise SimbotError(
                f"--battery {battery}: the robot has no such battery state; it has {', '.join(names)}"
            )
        result = _simulate(loaded)
    if json_file is not None:
        _write_json(run_document(result), json_file)
    if json_file != "-":
        from simbot.report.terminal import print_run

        print_run(result, _state_to_draw(result, battery), sys.stdout)
        open_values = sum(remark.kind != "follows" for remark in remarks)
        if open_values:
            count = f"{open_values} value{'s are' if open_values > 1 else ' is'}"
            typer.echo(f"{count} assumed or doubtful: simbot check {plan}", err=True)
    if strict and result.failing_states:
        raise typer.Exit(FINDINGS)


@app.command()
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
            "--until", metavar="TIME", help="A winch's match ends then, as in '150 s'.", show_default=False
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
        float, typer.Option("--celsius", metavar="T", help="Motors' temperature there.")
    ] = 20.0,
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

    loaded, remarks = _load_robot(robot, settings)
    asked = read_asked(
        loaded, mechanism, start, target, turn, loads or (), until, tables, volts, celsius, battery, figure
    )
    _check_folder("--json", json_file)
    _check_folder("--figure", figure)
    with _sign_of_life():
        from simbot import api
        from simbot.analysis.one_move import tables_of

        rows = None
        if tables:
            rows = tables_of(loaded, mechanism, max(asked.loads, default=0.0), asked.volts, celsius)
        result = api.move(loaded, mechanism, asked.start, asked.target, asked.turn, asked.loads, rows)
    if json_file is not None:
        from simbot.report.move_document import move_document

        _write_json(move_document(result, remarks, asked.until), json_file)
    if figure is not None:
        from simbot.report.figure_move import draw_move

        draw_move(result, asked.battery, figure)
    if json_file != "-":
        from simbot.report.one_move import print_move

        print_move(result, remarks, asked.battery, asked.until, sys.stdout)


@app.command()
def tune(
    plan: PlanFile,
    kind: Annotated[
        str,
        typer.Option(
            "--kind",
            metavar="KIND",
            help="safe: the latest arrival plus the plan's guard. sensor: waits for arrival in their place.",
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
    settings: Settings = None,
    json_file: JsonFile = None,
    watch: Annotated[
        bool, typer.Option("--watch", help="Run again when a file changes, and say what changed.")
    ] = False,
) -> None:
    """Better timers, what they gain, and which steps could go together."""
    from simbot.studies.kinds import check_kind

    check_kind(kind)
    for option, file in (("--json", json_file), ("--patch", patch), ("--table", table)):
        _check_folder(option, file)
    if [patch, table, json_file].count("-") > 1:
        raise SimbotError("only one of --json, --patch and --table can be -")
    if patch is not None and kind == "sensor":
        raise SimbotError(
            "--patch: it changes numbers; a wait for arrival (--kind sensor) is written by hand"
        )
    if watch and "-" in (json_file, patch, table):
        raise SimbotError("--watch prints what changed to stdout: name a file in the place of -")
    if watch:
        _watch(plan, kind, battery, rule, patch, table, settings, json_file)
        return
    from simbot.report.tune_files import write_tuned

    loaded, _ = _load(plan, settings)
    result = _tune(loaded, kind, battery, rule)
    if not write_tuned(result, json_file, patch, table):
        from simbot.report.tuned import print_tuned

        print_tuned(result, sys.stdout)


@app.command()
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
    settings: Settings = None,
    json_file: JsonFile = None,
) -> None:
    """Many matches with chance: the distribution of the points, and where points are lost."""
    from simbot.studies.match_asked import read_asked

    loaded, _ = _load(plan, settings)
    asked = read_asked(loaded, runs, seed, battery, threshold, partner, until_halfwidth, workers)
    _check_folder("--json", json_file)
    _compile(loaded)
    from simbot.studies.kept import forget, keep, kept
    from simbot.studies.match import Interrupted, NothingPlayed, put_together, study

    done = kept(loaded, asked)
    if done:
        typer.echo(f"going on after {len(done)} matches that were played before", err=True)
    code = FINE
    try:
        result = study(loaded, asked, _progress("matches"), done)
        forget(loaded, asked)
    except NothingPlayed as error:
        raise RuntimeError(f"no match could be played: {error}") from error
    except Interrupted as stopped:
        saved = keep(loaded, asked, stopped.records)
        if not stopped.records:
            raise KeyboardInterrupt from None
        text = f"stopped after {len(stopped.records)} of {runs} matches"
        typer.echo(f"{text}; the same command goes on from there" if saved else text, err=True)
        result, code = put_together(loaded, asked, stopped.records, "you stopped it"), STOPPED
    if json_file is not None:
        from simbot.report.match_document import match_document

        _write_json(match_document(result), json_file)
    if json_file != "-":
        from simbot.report.matched import print_matched

        print_matched(result, sys.stdout)
    if code != FINE:
        raise typer.Exit(code)


@app.command()
def compare(
    plans: Annotated[
        list[Path], typer.Argument(metavar="PLAN PLAN...", help="Two plan files or more.", show_default=False)
    ],
    runs: Annotated[
        int,
        typer.Option(
            "--runs", metavar="N", help="At most so many matches of each; fewer where it is settled."
        ),
    ] = 400,
    seed: Seed = 1,
    battery: BatteryStates = None,
    workers: Workers = None,
    json_file: JsonFile = None,
) -> None:
    """Which plan scores more under the same luck, by how much and how surely."""
    from simbot.studies.match_asked import read_asked, states_of

    if len(plans) < 2:
        raise SimbotError("compare: two plans or more are wanted")
    loaded = [_load(plan, None)[0] for plan in plans]
    asked = read_asked(loaded[0], runs, seed, battery, None, None, None, workers)
    for plan in loaded[1:]:
        states_of(plan, battery)
    _check_folder("--json", json_file)
    _compile(loaded[0])
    from simbot.studies.compare import compare as compare_plans

    result = compare_plans(loaded, asked, _progress("matches"))
    if json_file is not None:
        from simbot.report.compare_document import compare_document

        _write_json(compare_document(result), json_file)
    if json_file != "-":
        from simbot.report.compared import print_compared

        print_compared(result, sys.stdout)


@app.command()
def worth(
    plan: PlanFile,
    changes: Annotated[
        list[str] | None,
        typer.Option(
            "--change",
            metavar="KEY=VALUE",
            help="As of --set, or relative: robot.mass=-500g, robot.loop='-20 %'. May be given again; a usual list "
            "unless said.",
            show_default=False,
        ),
    ] = None,
    runs: Annotated[int, typer.Option("--runs", metavar="N", help="Matches with each change.")] = 100,
    seed: Seed = 1,
    battery: BatteryStates = None,
    workers: Workers = None,
    settings: Settings = None,
    json_file: JsonFile = None,
) -> None:
    """What changes are worth in points a match, under the same luck."""
    from simbot.studies.match_asked import read_asked

    loaded, _ = _load(plan, settings)
    asked = read_asked(loaded, runs, seed, battery, None, None, None, workers)
    _check_folder("--json", json_file)
    variants, together = _variants(plan, _changes(settings), _changes(changes, "--change"))
    _compile(loaded)
    from simbot.studies.usual_changes import usual_changes
    from simbot.studies.worth import worth as worth_of

    if not variants:
        variants = usual_changes(loaded, asked.states)
    result = worth_of(loaded, variants, together, asked, _progress("matches"))
    from simbot.report.worthed import print_worth, worth_document

    if json_file is not None:
        _write_json(worth_document(result), json_file)
    if json_file != "-":
        print_worth(result, sys.stdout)


@app.command()
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


@app.command()
def schema(
    name: Annotated[
        str,
        typer.Argument(
            metavar="NAME",
            help="Whose document: run, move, tune, match, compare or worth.",
            show_default=False,
        ),
    ],
) -> None:
    """Print the JSON Schema of a command's JSON document."""
    from simbot.report.document import SCHEMAS, schema_text

    if name not in SCHEMAS:
        raise SimbotError(f"schema {name}: there is none; there is {', '.join(SCHEMAS)}")
    typer.echo(schema_text(name), nl=False)


def _progress(what: str) -> Callable[[int, int], None]:
    """Tells on stderr how far a study is, on a terminal only."""
    begun = time.monotonic()

    def tell(done: int, total: int) -> None:
        if sys.stderr.isatty():
            gone = time.monotonic() - begun
            left = gone * (total - done) / max(done, 1)
            end = "\n" if done >= total else ""
            sys.stderr.write(f"\r{done} of {total} {what}, about {left:.0f} s left   {end}")
            sys.stderr.flush()

    return tell


# --- what the commands share --------------------------------------------------------------------------


def _load(path: Path, settings: Sequence[str] | None) -> tuple[Plan, Sequence[Remark]]:
    from simbot.physics.assumptions import physics_remarks
    from simbot.physics.follows import consequences
    from simbot.physics.kinds import KINDS
    from simbot.scenario.load import load_plan

    plan, remarks = load_plan(path, KINDS, _changes(settings))
    return plan, [*remarks, *physics_remarks(plan.robot), *consequences(plan.robot)]


def _load_robot(path: Path, settings: Sequence[str] | None) -> tuple[Robot, Sequence[Remark]]:
    from simbot.physics.assumptions import physics_remarks
    from simbot.physics.follows import consequences
    from simbot.physics.kinds import KINDS
    from simbot.scenario.load import load_robot

    robot, remarks = load_robot(path, KINDS, _changes(settings))
    return robot, [*remarks, *physics_remarks(robot), *consequences(robot)]


def _changes(settings: Sequence[str] | None, option: str = "--set") -> dict[str, str]:
    changes: dict[str, str] = {}
    for setting in settings or ():
        key, equals, value = setting.partition("=")
        if not (equals and key.strip() and value.strip()):
            raise SimbotError(f"{option} {setting}: KEY=VALUE is needed, as in robot.mass='11 kg'")
        changes[key.strip()] = value.strip()
    return changes


def _check_folder(option: str, file: str | None) -> None:
    if file not in (None, "-") and not Path(file).parent.is_dir():
        raise SimbotError(f"{option} {file}: there is no such folder")


def _variants(
    path: Path, given: dict[str, str], changes: dict[str, str]
) -> tuple[dict[str, Plan], Plan | None]:
    """The plan with each change, as it was written, and with all of them; None: there are not two."""
    from simbot.scenario.load import value_text
    from simbot.scenario.relative import changed_text, is_relative

    def loaded(settings: dict[str, str]) -> Plan:
        return _load(path, [f"{key}={value}" for key, value in settings.items()])[0]

    written: dict[str, str] = {}
    for key, value in changes.items():
        there = given.get(key) or value_text(path, key) if is_relative(value) else None
        if is_relative(value) and there is None:
            raise SimbotError(f"--change {key}={value}: the files say nothing there that could be changed")
        written[key] = value if there is None else changed_text(there, value, key)
    variants = {f"{key}={changes[key]}": loaded({**given, key: text}) for key, text in written.items()}
    return variants, loaded({**given, **written}) if len(variants) > 1 else None


def _one_match(plan: Plan, number: int, seed: int, battery: str | None) -> RunResult:
    from simbot.studies.match_asked import states_of

    if number < 0:
        raise SimbotError(f"--match {number}: matches are numbered from 0")
    states = states_of(plan, battery)
    state = next(each for each in plan.robot.battery if each.name == states[number % len(states)])
    with _sign_of_life():
        from simbot.studies.one_match import run_of_match

        return run_of_match(plan, seed, number, state)


def _compile(plan: Plan) -> None:
    """Compile the physics, where that is still to do, before processes start that would all do it."""
    from simbot.physics.compiled import needs_compiling

    if needs_compiling():
        _simulate(plan)


def _simulate(plan: Plan) -> RunResult:
    with _sign_of_life():
        from simbot import api

        return api.run(plan)


def _tune(plan: Plan, kind: str, battery: str | None, rule: str | None) -> TuneResult:
    with _sign_of_life():
        from simbot.studies.tune import tune

        return tune(plan, kind, battery, rule)


def _watch(
    plan: Path,
    kind: str,
    battery: str | None,
    rule: str | None,
    patch: str | None,
    table: str | None,
    settings: Sequence[str] | None,
    json_file: str | None,
) -> None:
    """Tune again whenever the plan or what it reads changes; ends with Ctrl-C."""
    from simbot.report.tune_changes import changes, stamps_of
    from simbot.report.tune_files import write_tuned
    from simbot.report.tuned import print_tuned
    from simbot.scenario.load import files_of

    last: TuneResult | None = None
    while True:
        stamps = stamps_of(files_of(plan))
        try:
            loaded, _ = _load(plan, settings)
            result = _tune(loaded, kind, battery, rule)
            quiet = write_tuned(result, json_file, patch, table)
            if last is not None:
                print("\n".join(changes(last, result)))
            elif not quiet:
                print_tuned(result, sys.stdout)
            last = result
        except SimbotError as error:
            _complain(str(error))
        sys.stdout.flush()
        typer.echo("watching; Ctrl-C ends it", err=True)
        while stamps_of(files_of(plan)) == stamps:
            time.sleep(LOOK_AGAIN_S)


def _state_to_draw(result: RunResult, wanted: str | None) -> StateResult:
    by_name = {state.name: state for state in result.states}
    middle = result.states[len(result.states) // 2]
    return by_name.get(wanted or "mid-event", middle)


def _write_json(document: Document, target: str) -> None:
    from simbot.report.document import to_text
    from simbot.report.files import write

    write("--json", to_text(document), target)


@contextmanager
def _sign_of_life() -> Iterator[None]:
    """Say on stderr that the physics is being compiled, with the seconds on a terminal."""
    from simbot.physics.compiled import mark_complete, needs_compiling

    if not needs_compiling():
        yield
        return
    begun, done = time.monotonic(), threading.Event()
    message = "compiling the physics once for this machine, half a minute or so"
    if not sys.stderr.isatty():
        typer.echo(f"{message} ...", err=True)
        yield
        mark_complete()
        return

    def tick() -> None:
        while not done.wait(0.5):
            sys.stderr.write(f"\r{message}: {time.monotonic() - begun:.0f} s ")
            sys.stderr.flush()

    ticking = threading.Thread(target=tick, daemon=True)
    ticking.start()
    try:
        yield
        mark_complete()
    finally:
        done.set()
        ticking.join()
        sys.stderr.write("\r" + " " * (len(message) + 10) + "\r")
        sys.stderr.flush()


# --- the way out --------------------------------------------------------------------------------------


def main(arguments: Sequence[str] | None = None) -> None:
    """Entry point: run a command and leave with its exit status, never with a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(encoding="utf-8", errors="replace")
    sys.exit(status(arguments))


def status(arguments: Sequence[str] | None = None) -> int:
    """Run a command and return its exit status."""
    try:
        code = app(None if arguments is None else list(arguments), prog_name="simbot", standalone_mode=False)
        sys.stdout.flush()
    except SimbotError as error:
        _complain(str(error))
        return USERS_MISTAKE
    except typer.TyperException as error:
        _complain(error.format_message())
        return error.exit_code
    except (KeyboardInterrupt, typer.Abort):
        code = STOPPED
    except (BrokenPipeError, SystemExit):  # whoever read our output has heard enough
        return _closed_pipe()
    except Exception as error:
        return _our_fault(error)
    if code == STOPPED:
        _complain("stopped")
    return code if isinstance(code, int) else FINE


def _complain(text: str) -> None:
    typer.echo("\n".join(f"simbot: {line}" for line in text.splitlines() or [""]), err=True)


def _closed_pipe() -> int:
    """Let the interpreter's last flush go nowhere, so that it says nothing either."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return FINE


def _our_fault(error: Exception) -> int:
    if os.environ.get("SIMBOT_DEBUG"):
        traceback.print_exception(error)
    what = " ".join(str(error).split())[:200]
    version = ".".join(map(str, sys.version_info[:3]))
    _complain(
        f"a fault of simbot, not yours: {type(error).__name__}: {what} "
        f"(simbot {__version__}, Python {version}, {sys.platform}). Please report "
        "this line with your files; SIMBOT_DEBUG=1 adds where it happened."
    )
    return OUR_FAULT


if __name__ == "__main__":
    main()

"""What changes are worth."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simbot.cli.options import BatteryStates, Cluster, CsvFile, JsonFile, PlanFile, Seed, Settings, Workers
from simbot.cli.shared import (
    Stopped,
    changes_of,
    check_targets,
    compile_first,
    goes_on,
    going_on,
    load,
    progress,
    stopped_after,
    tell_stopped,
    write_csv,
    write_json,
)
from simbot.scenario.errors import ScenarioError, SimbotError

if TYPE_CHECKING:
    from simbot.scenario.model import Plan
    from simbot.scenario.yaml_reader import Node


def worth(
    plan: PlanFile,
    changes: Annotated[
        list[str] | None,
        typer.Option(
            "--change",
            metavar="KEY=VALUE",
            help="KEY in full or short (lift.friction), VALUE as of --set or relative: robot.mass=-500g, "
            "robot.loop='-20 %'. May be given again; a usual list unless said.",
            show_default=False,
        ),
    ] = None,
    runs: Annotated[int, typer.Option("--runs", metavar="N", help="Matches with each change.")] = 100,
    seed: Seed = 1,
    battery: BatteryStates = None,
    workers: Workers = None,
    cluster: Cluster = None,
    settings: Settings = None,
    unknowns: Annotated[
        int,
        typer.Option(
            "--unknowns",
            metavar="N",
            help="Pairs of matches that tell where the uncertainty comes from; 0 leaves it out.",
        ),
    ] = 200,
    json_file: JsonFile = None,
    csv_file: CsvFile = None,
) -> None:
    """What changes are worth in points a match, and what to measure or practise first, under the same luck."""
    from simbot.studies.asked import LEAST_PAIRS
    from simbot.studies.match_asked import read_asked

    loaded, _ = load(plan, settings)
    asked = read_asked(loaded, runs, seed, battery, None, None, None, workers, cluster)
    if unknowns and unknowns < LEAST_PAIRS:
        raise SimbotError(
            f"--unknowns {unknowns}: at least {LEAST_PAIRS} pairs of matches tell anything; or 0"
        )
    check_targets(json=json_file, csv=csv_file)
    variants, together = _variants(plan, changes_of(settings), changes_of(changes, "--change"))
    compile_first(loaded)
    from simbot.studies.ledger import Ledger
    from simbot.studies.usual_changes import usual_changes
    from simbot.studies.worth import with_sources, worths

    if not variants:
        variants = usual_changes(loaded, asked.states)
    ledger = Ledger("worth", [loaded, *variants.values()], asked)
    with goes_on(lambda: stopped_after(ledger.played)), ledger:
        going_on(ledger.found)
        result = worths(ledger, loaded, variants, together, asked, progress("matches"))
        if unknowns:
            result = with_sources(ledger, result, unknowns, progress("matches for what is not known"))
        from simbot.report.worthed import print_worth, worth_document

        if json_file is not None:
            write_json(worth_document(result), json_file)
        if csv_file is not None:
            write_csv("worth", worth_document(result), csv_file)
        if "-" not in (json_file, csv_file):
            print_worth(result, sys.stdout)
    if result.stopped:
        tell_stopped("stopped; the same command goes on from there")
        raise Stopped


def _variants(
    path: Path, given: dict[str, str], changes: dict[str, str]
) -> tuple[dict[str, Plan], Plan | None]:
    """The plan with each change, as it was written, and with all of them; None: there are not two."""
    from simbot.scenario.load import trees_of

    def loaded(settings: dict[str, str]) -> Plan:
        return load(path, [f"{key}={value}" for key, value in settings.items()])[0]

    trees = trees_of(path, given) if changes else []
    told: dict[str, str] = {}  # key -> the change as it was given
    each: dict[str, dict[str, str]] = {}
    for short, value in changes.items():
        argument = f"{short}={value}"
        texts = _changed(short, value, trees)
        twice = next((key for key in texts if key in told), None)
        if twice is not None:
            raise SimbotError(f"--change {argument}: {twice} is changed twice, by {told[twice]} too")
        told |= dict.fromkeys(texts, argument)
        each[_label(argument, texts)] = texts
    try:
        variants = {label: loaded(given | texts) for label, texts in each.items()}
        everything = {key: text for texts in each.values() for key, text in texts.items()}
        return variants, loaded(given | everything) if len(variants) > 1 else None
    except ScenarioError as error:
        sets = {f"--set {key}={text}": key for texts in each.values() for key, text in texts.items()}
        raise ScenarioError(
            replace(one, file=f"--change {told[sets[one.file]]}" if one.file in sets else one.file)
            for one in error.problems
        ) from error


def _changed(short: str, value: str, trees: Sequence[Node]) -> dict[str, str]:
    """Full keys and their values with a change: of a relative one of a list, all of its items."""
    from simbot.scenario.axes import key_meant, keys_changed
    from simbot.scenario.relative import changed_texts, is_relative, text_of

    argument = f"--change {short}={value}"
    if not is_relative(value):
        return {key_meant(short, argument, trees, new=True): value}
    keys = keys_changed(short, argument, trees)
    there = [text_of(trees, key) for key in keys]
    return dict(zip(keys, changed_texts([text or "" for text in there], value, short), strict=True))


def _label(argument: str, texts: dict[str, str]) -> str:
    """A change as a report names it; an amount that was spread over a list says so."""
    if len(texts) == 1 or argument.endswith("%"):
        return argument
    return f"{argument} (in proportion: {', '.join(texts.values())})"

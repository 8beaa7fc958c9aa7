"""From paths to the model: `load_plan`, `load_robot`, `load_game`; all mistakes of a set of files at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from simbot.scenario import changes as laid_over
from simbot.scenario.check import plan_assumed, plan_doubts, robot_doubts
from simbot.scenario.endless import check_endless
from simbot.scenario.errors import Fault, nearest
from simbot.scenario.footprints import start_doubt
from simbot.scenario.game_file import GameDraft, read_game
from simbot.scenario.given_numbers import GivenNumber, numbers_in
from simbot.scenario.model import Game, Partner, Plan, Remark, Robot
from simbot.scenario.orientation import oriented
from simbot.scenario.parameters import Kinds
from simbot.scenario.plan_file import read_plan
from simbot.scenario.robot_file import RobotDraft, read_robot
from simbot.scenario.sheet import Desk, Sheet, Trees, open_sheet
from simbot.scenario.yaml_reader import Node

NO_CHANGES: Mapping[str, str] = {}


def load_plan(
    path: Path, kinds: Kinds, overrides: Mapping[str, str] = NO_CHANGES, trees: Trees | None = None
) -> tuple[Plan, list[Remark]]:
    """A plan with its game and robot, and what is assumed or doubtful in them.

    Parameters
    ----------
    path : Path
        The plan file; it names the other two by path relative to itself.
    kinds : mapping
        Mechanism kinds by name.
    overrides : mapping
        Dotted path (`robot.mechanisms.lift.drum_diameter`) to a value as written in a file; laid over
        the files after the plan's own `change`.
    trees : dict, optional
        Kept from call to call, it saves parsing the same files again (see `Desk`).

    Raises
    ------
    ScenarioError
        With every mistake in the three files.
    """
    desk = Desk(trees)
    plan = _read_plan(Path(path), kinds, laid_over.from_command_line(overrides, desk), desk, alone=False)
    desk.close()
    assert plan is not None, "no plan, and no mistake noted"
    return plan, [*desk.remarks, *plan_assumed(plan), *robot_doubts(plan.robot), *plan_doubts(plan)]


def _read_plan(
    path: Path, kinds: Kinds, over: list[laid_over.Change], desk: Desk, alone: bool
) -> Plan | None:
    """A plan, with what is laid over its own changes; `alone`: whatever else it says is on the field is left out."""
    sheet = open_sheet(path, "plan", desk)
    changes = over
    plan = None
    if sheet is not None:
        changes = laid_over.from_plan(sheet) + over
        laid_over.apply(changes, sheet, "plan")
        game_sheet = _sibling(sheet, "game", desk, changes)
        robot_sheet = _sibling(sheet, "robot", desk, changes, kinds)
        laid_over.check_roots(changes, desk, (robot_sheet, sheet, game_sheet))
        game: GameDraft | None = read_game(game_sheet) if game_sheet else None
        robot: RobotDraft | None = read_robot(robot_sheet, kinds) if robot_sheet else None
        plan = read_plan(sheet, robot, game)
        plan = None if plan is None else oriented(plan)
        if not alone and sheet.node(("plan", "guard")) is None:
            sheet.remark(("plan", "guard"), "assumed", "50 ms: what a timer should have to spare")
        if plan is not None and not desk.problems:
            check_endless(sheet, plan)
        if alone:
            return plan if plan is None else replace(plan, patterns=(), defenders=(), partner=None)
        game_over = [] if desk.problems else [each for each in changes if each.path.startswith("game.")]
        partner = _partner(sheet, kinds, game_over, desk)
        if plan is not None and partner is not None and not desk.problems:
            _check_game(sheet, plan, partner)
            _note_starts(sheet, plan, partner.plan)
            plan = replace(plan, partner=partner)
    return plan


def _check_game(sheet: Sheet, plan: Plan, partner: Partner) -> None:
    """Both robots play the game of their file alike."""
    game, at = partner.plan.game, ("plan", "others", partner.name)
    if replace(game, path=plan.game.path) != plan.game:
        wanted = "the same `change` of the game in both plans"
        sheet.fail(at, Fault("its plan changes the game that both play", partner.plan.path.name, wanted))


def _note_starts(sheet: Sheet, plan: Plan, partner: Plan) -> None:
    text, at = start_doubt(plan, partner), ("plan", "start", "pose")
    if text is not None:
        sheet.desk.remarks.append(Remark("doubt", str(sheet.path), sheet.line(at), "plan.start.pose", text))


def _partner(sheet: Sheet, kinds: Kinds, game_over: list[laid_over.Change], desk: Desk) -> Partner | None:
    """The second robot, where the plan names one; what is laid over the game is so for both."""
    found, game = None, _game_file(sheet)
    for name, at in sheet.entries(("plan", "others")):
        file = sheet.text((*at, "plan"))
        if file is None:
            continue
        if found is not None:
            sheet.fail(at, Fault("an alliance has two robots: one partner", name), of_key=True)
        elif not (sheet.path.parent / file).exists():
            sheet.fail((*at, "plan"), Fault("there is no such file", file, "the plan of the other robot"))
        elif (sheet.path.parent / file).resolve() == Path(sheet.path).resolve():
            sheet.fail((*at, "plan"), Fault("that is this plan itself", file, "the plan of the other robot"))
        else:
            path = sheet.path.parent / file
            theirs = _game_named(path, desk)
            if game is not None and theirs is not None and game.resolve() != theirs.resolve():
                # all that its own files could be found wrong in would follow from that
                sheet.fail(
                    at,
                    Fault(f"it plays another game, {theirs.name}", file, f"a plan that plays {game.name}"),
                )
                continue
            other = _read_plan(path, kinds, game_over, desk, alone=True)
            found = None if other is None else Partner(name, other, sheet.line(at))
    return found


def _game_named(path: Path, desk: Desk) -> Path | None:
    """The game's file that a plan names, its own `change` laid over it; None: none that is there."""
    sheet = open_sheet(path, "plan", Desk(desk.trees))  # what is wrong with it is told when it is read
    if sheet is None:
        return None
    laid_over.apply(laid_over.from_plan(sheet), sheet, "plan")
    return _game_file(sheet)


def _game_file(sheet: Sheet) -> Path | None:
    name = sheet.text(("plan", "game"))
    path = None if name is None else sheet.path.parent / name
    return path if path is not None and path.exists() else None


def files_of(path: Path) -> list[Path]:
    """The files that a plan is read from: itself, its game and robot, and source code that it points at.

    Those of the second robot's plan too. Of a plan that has mistakes, as many as can be told.
    """
    sheet = open_sheet(Path(path), "plan", Desk())
    named = (
        [] if sheet is None else [sheet.text((*at, "plan")) for _, at in sheet.entries(("plan", "others"))]
    )
    partners = [Path(path).parent / name for name in named if name]
    return list(dict.fromkeys(file for each in (Path(path), *partners) for file in _own_files(each)))


def _own_files(path: Path) -> list[Path]:
    files = [path]
    sheet = open_sheet(path, "plan", Desk())
    if sheet is not None:
        named = [sheet.text(("plan", kind)) for kind in ("game", "robot")]
        waiting = [sheet.root]
        while waiting:
            inside = waiting.pop().value
            if isinstance(inside, dict):
                source = inside.get("from")
                if (
                    source is not None
                    and ("name" in inside or "call" in inside)
                    and isinstance(source.value, str)
                ):
                    named.append(source.value)
                waiting.extend(inside.values())
            elif isinstance(inside, list):
                waiting.extend(inside)
        files += [sheet.path.parent / name for name in dict.fromkeys(named) if name]
    return files


def trees_of(path: Path, overrides: Mapping[str, str] = NO_CHANGES) -> list[Node]:
    """The trees of a plan's files, the plan's own `change` and then the overrides laid over them."""
    roots = [_laid_over(path, kind, overrides) for kind in ("robot", "plan", "game")]
    return [root for root in roots if root is not None]


def numbers_given(path: Path) -> tuple[GivenNumber, ...]:
    """Every number in the files of a plan, the plan's own `change` laid over them, with its place."""
    return tuple(each for tree in trees_of(path) for each in numbers_in(tree))


def _laid_over(path: Path, kind: str, overrides: Mapping[str, str]) -> Node | None:
    """The tree of one of the files of a plan, with what is laid over it."""
    desk = Desk()
    sheet: Sheet | None = open_sheet(Path(path), "plan", desk)
    if sheet is None:
        return None
    changes = laid_over.from_plan(sheet) + laid_over.from_command_line(overrides, desk)
    laid_over.apply(changes, sheet, "plan")
    if kind in ("game", "robot"):
        sheet = _sibling(sheet, kind, desk, changes)
    return None if sheet is None else sheet.root


def load_robot(
    path: Path, kinds: Kinds, overrides: Mapping[str, str] = NO_CHANGES, trees: Trees | None = None
) -> tuple[Robot, list[Remark]]:
    """A robot alone, and what is assumed or doubtful in it; `trees`: as of `load_plan`."""
    desk = Desk(trees)
    sheet = _open_changed(Path(path), "robot", desk, overrides, kinds)
    draft = read_robot(sheet, kinds) if sheet is not None else None
    desk.close()
    assert draft is not None and draft.robot is not None, "no robot, and no mistake noted"
    return draft.robot, [*desk.remarks, *robot_doubts(draft.robot)]


def load_game(path: Path, overrides: Mapping[str, str] = NO_CHANGES) -> Game:
    """A game alone."""
    desk = Desk()
    sheet = _open_changed(Path(path), "game", desk, overrides)
    draft = read_game(sheet) if sheet is not None else None
    desk.close()
    assert draft is not None and draft.game is not None, "no game, and no mistake noted"
    return draft.game


def _open_changed(
    path: Path, kind: str, desk: Desk, overrides: Mapping[str, str], kinds: Kinds = laid_over.NO_KINDS
) -> Sheet | None:
    sheet = open_sheet(path, kind, desk)
    changes = laid_over.from_command_line(overrides, desk)
    laid_over.check_roots(changes, desk, (sheet,))
    if sheet is not None:
        laid_over.apply(changes, sheet, kind, kinds)
    return sheet


def _sibling(
    sheet: Sheet, kind: str, desk: Desk, changes: list[laid_over.Change], kinds: Kinds = laid_over.NO_KINDS
) -> Sheet | None:
    """The game or robot file that a plan names."""
    name = sheet.text(("plan", kind))
    if name is None:
        return None
    path = sheet.path.parent / name
    if not path.exists():
        there = sorted(each.name for each in path.parent.glob("*.yaml")) if path.parent.is_dir() else []
        wanted = f"the {kind} file, named by its path from this one"
        sheet.fail(("plan", kind), Fault("there is no such file", name, wanted, nearest(name, there)))
        return None
    other = open_sheet(path, kind, desk)
    if other is not None:
        laid_over.apply(changes, other, kind, kinds)
    return other

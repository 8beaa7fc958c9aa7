"""The plan file: start, routines, periods and endgame, and what only shows when all of them are known."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from math import cos, isclose, pi, sin
from pathlib import Path

from simbot.scenario.errors import Fault, Problem
from simbot.scenario.fields import microseconds
from simbot.scenario.game_file import GameDraft
from simbot.scenario.match_keys import MatchReader
from simbot.scenario.model import (
    ActStep,
    DriveForStep,
    DriveStep,
    EffortStep,
    Endgame,
    FirstStep,
    HandOverStep,
    LeaveStep,
    MechanismSpec,
    MoveStep,
    PawlStep,
    PickStep,
    PlaceStep,
    Plan,
    Pose,
    RepeatStep,
    RunStep,
    SenseStep,
    SequenceStep,
    SpinStep,
    Start,
    Step,
    Target,
    TogetherStep,
    TryStep,
    WaitStep,
    WhenStep,
    ZeroStep,
)
from simbot.scenario.once import once_a_plan
from simbot.scenario.robot_file import RobotDraft
from simbot.scenario.schema import EndgameShape, PlanShape
from simbot.scenario.sheet import Loc, Sheet, listed, shape_keys
from simbot.scenario.steps import StepReader

PLAN: Loc = ("plan",)
MAX_STEPS = 20_000


def read_plan(sheet: Sheet, robot: RobotDraft | None, game: GameDraft | None) -> Plan | None:
    """The plan of a sheet; None where it, its robot or its game has mistakes."""
    own_keys = shape_keys(PlanShape)
    stated = [key for key in sheet.keys(PLAN) if key not in own_keys]
    names = [period.name for period in game.periods] if game and game.periods else stated
    head = sheet.read(PLAN, PlanShape, own=names)
    stated = [key for key in sheet.keys(PLAN) if key not in own_keys]
    end_us = sum(period.duration_us for period in game.periods) if game else 0
    reader = StepReader(sheet, robot, game, end_us)
    start = _start(sheet, reader, (*PLAN, "start")) if sheet.node((*PLAN, "start")) is not None else None
    for _ in sheet.entries((*PLAN, "routines")):  # tells names that are none
        pass
    reader.routines.check()
    periods = {name: reader.sequence((*PLAN, name)) for name in names if name in stated}
    endgame = _endgame(sheet, reader, (*PLAN, "endgame"))
    routines = {}
    for name in reader.routines.waiting:  # grows while it is read
        routines[name] = reader.sequence(reader.routines.forms[name])
    _check_senses(sheet, reader)
    reader.check_leaves()
    match = MatchReader(sheet, reader, names)
    looping = _routines_that_call_themselves(sheet, reader)
    if not looping:
        _check_size(sheet, [*routines.values(), *periods.values()], routines)
    match.read()
    if sheet.desk.problems or head is None or start is None or robot is None or game is None:
        return None
    if robot.robot is None or game.game is None:
        return None
    plan = Plan(
        path=Path(sheet.path),
        name=head.name,
        game=game.game,
        robot=robot.robot,
        guard_us=microseconds(head.guard),
        start=start,
        routines=routines,
        periods=periods,
        endgame=endgame,
        text=sheet.lines,
        at_end=match.at_end,
        orientations=match.orientations,
        driver=match.driver,
        patterns=tuple(match.patterns),
        defenders=tuple(match.defenders),
    )
    _check_repeats(sheet, plan)
    _check_elements(sheet, plan)
    _check_turning(sheet, plan, robot)
    return plan


def _start(sheet: Sheet, reader: StepReader, loc: Loc) -> Start | None:
    node = sheet.node(loc)
    if node is None or not isinstance(node.value, dict):
        sheet.not_a_mapping(loc, "pose, holds and mechanisms")
        return None
    pose = reader.pose((*loc, "pose")) if "pose" in node.value else None
    if "pose" not in node.value and reader.robot is not None and reader.robot.drive is not None:
        sheet.fail(
            loc, Fault("the key `pose` is missing: the robot has a drive", wanted="[1 m, 1 m, 90 deg]")
        )
    positions: dict[str, Target] = {}
    for name in node.value:
        if name not in ("pose", "holds") and reader.robot is not None:
            target = _start_position(sheet, reader.robot, (*loc, name), name)
            if target is not None:
                positions[name] = target
    return Start(pose, positions, _holds(sheet, reader, (*loc, "holds")), sheet.line(loc))


def _start_position(sheet: Sheet, robot: RobotDraft, loc: Loc, name: str) -> Target | None:
    if name not in robot.mechanisms:
        sheet.unknown(loc, "mechanism", name, [*robot.mechanisms, "pose", "holds"], of_key=True)
        return None
    role = robot.roles.get(name)
    if role in ("drive", "free"):
        says = "the drive stands where `pose` says" if role == "drive" else "it has no position"
        sheet.fail(loc, Fault(f"{name} has no start position", sheet.text(loc), says), of_key=True)
        return None
    positions = robot.positions(sheet, name)
    return positions.read(loc, sheet.text(loc)) if positions else None


def _holds(sheet: Sheet, reader: StepReader, loc: Loc) -> dict[str, tuple[str, ...]]:
    """`{gripper: lantern}` or `{hopper: [tin, tin]}`."""
    holds: dict[str, tuple[str, ...]] = {}
    for name, at in sheet.entries(loc):
        if reader.robot is not None and name not in reader.robot.mechanisms:
            sheet.unknown(at, "mechanism", name, reader.robot.mechanisms, of_key=True)
        node = sheet.node(at)
        places = sheet.items(at) if node is not None and isinstance(node.value, list) else [at]
        elements = []
        for place in places:
            element = sheet.text(place)
            if element is None or (reader.game is not None and element not in reader.game.elements):
                sheet.unknown(
                    place, "element", element or "nothing", reader.game.elements if reader.game else ()
                )
            else:
                elements.append(element)
        holds[name] = tuple(elements)
        spec = reader.robot.mechanisms.get(name) if reader.robot is not None else None
        room = None if spec is None else spec.values.get("room")
        if room is not None and len(elements) > room:
            sheet.fail(
                at, Fault(f"more than {name} has room for", f"{len(elements)} elements", room.text), True
            )
    return holds


def _endgame(sheet: Sheet, reader: StepReader, loc: Loc) -> Endgame | None:
    if sheet.node(loc) is None:
        return None
    shape = sheet.read(loc, EndgameShape)
    if shape is None:
        return None
    begin = reader.instant((*loc, "begin"), shape.begin)
    steps = reader.sequence((*loc, "steps"))
    return None if begin is None else Endgame(begin, steps, sheet.line(loc))


def _check_senses(sheet: Sheet, reader: StepReader) -> None:
    for loc, name in reader.conditions.senses:
        if name not in reader.senses:
            sheet.unknown(loc, "sense", name or "nothing", sorted(reader.senses))


def _routines_that_call_themselves(sheet: Sheet, reader: StepReader) -> bool:
    calls: dict[str, list[tuple[Loc, str]]] = {name: [] for name in reader.routines.forms}
    for loc, name in reader.runs:
        if len(loc) > 2 and loc[1] == "routines":
            calls[str(loc[2])].append((loc, name))
    found = False
    for name in calls:
        for loc, callee in calls[name]:
            if callee == name or name in _reached(callee, calls):
                through = "" if callee == name else f", through {callee}"
                sheet.fail(loc, Fault(f"the routine {name} runs itself{through}", callee))
                found = True
    return found


def _reached(name: str, calls: dict[str, list[tuple[Loc, str]]]) -> set[str]:
    seen: set[str] = set()
    waiting = [name]
    while waiting:
        for _, callee in calls[waiting.pop()]:
            if callee not in seen:
                seen.add(callee)
                waiting.append(callee)
    return seen


def inner_steps(step: Step, plan: Plan, inline: bool = False) -> Iterator[Step]:
    """The step and all steps inside it; routines that it runs too where `inline`."""
    yield step
    inside = held_steps(step)
    if isinstance(step, RunStep) and inline:
        inside = (plan.routines[step.routine],)
    for inner in inside:
        yield from inner_steps(inner, plan, inline)


def held_steps(step: Step) -> tuple[Step, ...]:
    """The steps right inside a step."""
    if isinstance(step, SequenceStep):
        return step.steps
    if isinstance(step, TogetherStep | FirstStep):
        return step.branches
    if isinstance(step, RepeatStep):
        return (step.steps,)
    if isinstance(step, TryStep | WhenStep):
        return (step.steps,) if step.otherwise is None else (step.steps, step.otherwise)
    return ()


def sends(step: Step) -> Iterator[tuple[str, Target | None]]:
    """What a step itself sends on its way, and where to; None: it says no place."""
    goals = step.goals if isinstance(step, MoveStep) else ()
    if isinstance(step, ActStep):
        release = step.release if isinstance(step, HandOverStep) else None
        goals = (step.by,) if release is None else (step.by, release)
    yield from ((goal.mechanism, goal.target) for goal in goals)
    if isinstance(step, DriveStep | DriveForStep | EffortStep | ZeroStep | SpinStep | PawlStep):
        yield step.mechanism, None


def with_held(step: Step, change: Callable[[SequenceStep], SequenceStep]) -> Step:
    """The same step with each list of steps right inside it changed; of a list itself, see its steps."""
    if isinstance(step, TogetherStep | FirstStep):
        return replace(step, branches=tuple(change(branch) for branch in step.branches))
    if isinstance(step, RepeatStep):
        return replace(step, steps=change(step.steps))
    if isinstance(step, TryStep | WhenStep):
        steps = change(step.steps)  # before what stands after it: places are counted on the way
        return replace(
            step, steps=steps, otherwise=None if step.otherwise is None else change(step.otherwise)
        )
    return step


def with_steps(plan: Plan, change: Callable[[Step], Step]) -> Plan:
    """The plan with every step changed, from the outside in and in file order; what `change` returns is entered."""

    def walked(sequence: SequenceStep) -> SequenceStep:
        changed = change(sequence)
        assert isinstance(changed, SequenceStep)
        return replace(changed, steps=tuple(one(inner) for inner in changed.steps))

    def one(step: Step) -> Step:
        if isinstance(step, SequenceStep):
            return walked(step)
        return with_held(change(step), walked)

    endgame = plan.endgame
    return replace(
        plan,
        routines={name: walked(steps) for name, steps in plan.routines.items()},
        periods={name: walked(steps) for name, steps in plan.periods.items()},
        endgame=None if endgame is None else replace(endgame, steps=walked(endgame.steps)),
    )


@once_a_plan
def all_steps(plan: Plan) -> tuple[Step, ...]:
    """Every step that stands in the file, once."""
    roots = [*plan.routines.values(), *plan.periods.values()]
    if plan.endgame is not None:
        roots.append(plan.endgame.steps)
    return tuple(step for root in roots for step in inner_steps(root, plan))


def _check_size(sheet: Sheet, roots: list[SequenceStep], routines: dict[str, SequenceStep]) -> None:
    """Routines that run routines multiply: the steps of a plan are bounded with all of them written out."""
    sizes: dict[str, int] = {}

    def size(step: Step) -> int:
        if isinstance(step, RunStep):
            if step.routine not in sizes:
                sizes[step.routine] = size(routines[step.routine])
            return sizes[step.routine]
        if isinstance(step, RepeatStep):
            return 2 * size(step.steps)
        return 1 + sum(size(inner) for inner in held_steps(step))

    written_out = sum(size(root) for root in roots)
    if written_out > MAX_STEPS:
        sheet.fail(
            PLAN,
            Fault("too many steps, routines written out", str(written_out), f"at most {MAX_STEPS}"),
            True,
        )


def fail_at_line(sheet: Sheet, step: Step, key: str, fault: Fault) -> None:
    """Note a mistake at a step that is known by its line alone."""
    text = sheet.lines[step.line - 1] if 0 < step.line <= len(sheet.lines) else ""
    column = len(text) - len(text.lstrip(" -")) + 1
    sheet.desk.problems.append(
        Problem(str(sheet.path), step.line, column, key, fault.given, fault.wanted, fault.nearest, fault.text)
    )


def _check_repeats(sheet: Sheet, plan: Plan) -> None:
    """A repetition without end has to take time."""
    for step in all_steps(plan):
        if isinstance(step, RepeatStep) and step.times is None:
            inside = list(inner_steps(step.steps, plan, inline=True))
            waits = (inner for inner in inside if isinstance(inner, WaitStep))
            ends = any(isinstance(inner, SenseStep | LeaveStep) for inner in inside)
            if not ends and not any(
                wait.arrival or wait.past or wait.until_us is not None or wait.duration_us for wait in waits
            ):
                fault = Fault(
                    "repeats without end and never waits", "until period_end", "a wait among its steps"
                )
                fail_at_line(sheet, step, "repeat", fault)


def may_hold(plan: Plan) -> dict[str, set[str]]:
    """What each hand may ever have in it."""
    held = {name: set(elements) for name, elements in plan.start.holds.items()}
    acts = [step for step in all_steps(plan) if isinstance(step, ActStep)]
    for step in acts:
        if isinstance(step, PickStep):
            held.setdefault(step.by.mechanism, set()).add(step.element)
    for _ in acts:
        for step in acts:
            if isinstance(step, HandOverStep):
                held.setdefault(step.by.mechanism, set()).update(held.get(step.giver, ()))
    return held


def _check_elements(sheet: Sheet, plan: Plan) -> None:
    """A place takes one element; what its holder may ever have in hand has to be that one."""
    held = may_hold(plan)
    for step in all_steps(plan):
        if isinstance(step, PlaceStep) and step.place in plan.game.places:
            have = held.get(step.by.mechanism, set())
            takes = plan.game.places[step.place].takes
            if have and takes not in have:
                fault = Fault(
                    f"{step.place} takes {takes}, {step.by.mechanism} only ever holds something else",
                    listed(sorted(have)),
                    f"a place that takes {listed(sorted(have))}",
                )
                fail_at_line(sheet, step, "place", fault)


def _check_turning(sheet: Sheet, plan: Plan, robot: RobotDraft) -> None:
    """A drive that has to turn needs to know its wheels' distances."""
    spec = robot.mechanisms.get(robot.drive or "")
    start = plan.start.pose
    if spec is None or start is None:
        return
    missing = [key for key in ("track", "wheelbase") if spec.values.get(key) is None]
    turning = (step for step in all_steps(plan) if _turns(start, step, spec))
    step = next(turning, None) if missing else None
    if step is not None:
        fault = Fault(
            f"the routine makes {spec.name} turn, and the robot file does not state its {missing[0]}",
            wanted=f"{missing[0]}: 360 mm in robot.mechanisms.{spec.name}",
        )
        fail_at_line(sheet, step, f"robot.mechanisms.{spec.name}.{missing[0]}", fault)


def _turns(start: Pose, step: Step, spec: MechanismSpec) -> bool:
    """Whether a robot that stands along the start heading has to turn in a step."""
    if isinstance(step, DriveForStep):
        return step.direction is None
    if not isinstance(step, DriveStep):
        return False
    turn = (step.pose.heading - start.heading) % (2 * pi)
    if not isclose(turn, 0.0, abs_tol=1e-9) and not isclose(turn, 2 * pi, abs_tol=1e-9):
        return True
    points = (*step.through, (step.pose.x, step.pose.y))
    aside = ((y - start.y) * cos(start.heading) - (x - start.x) * sin(start.heading) for x, y in points)
    return spec.keeps_to_its_heading and any(abs(each) > 1e-6 for each in aside)

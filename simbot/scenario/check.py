"""What is well formed and yet looks wrong: gearing, data sheets, waits that time nothing, no needs."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from math import pi, prod

from simbot.scenario.contrary import contrary_needs
from simbot.scenario.echo import shown
from simbot.scenario.endless import idle_rounds
from simbot.scenario.match_doubts import match_doubts
from simbot.scenario.model import (
    ActStep,
    BatteryState,
    DriveForStep,
    DriveStep,
    EffortStep,
    FirstStep,
    MechanismSpec,
    Motor,
    MoveStep,
    Plan,
    Remark,
    RepeatStep,
    Robot,
    RunStep,
    SequenceStep,
    SpinStep,
    Step,
    TogetherStep,
    TryStep,
    WaitStep,
    WhenStep,
    ZeroStep,
)
from simbot.scenario.orientation import unknown_orientations
from simbot.scenario.parameters import Quantity
from simbot.scenario.plan_file import all_steps, held_steps
from simbot.scenario.time_doubts import empty_periods, free_tries, short_limits, too_late, too_long
from simbot.scenario.unit_table import GRAVITY, resolved
from simbot.scenario.unpassed import unpassed

# common practice, no source: beyond these a number is a slip of the pen
FASTEST_SLIDE = 6.0  # m/s
FASTEST_DRIVE = 9.0  # m/s
FASTEST_ARM = 8 * pi  # rad/s
MOST_RESISTANCE = 1.0  # ohm of a battery with its leads
SLOWEST_TRAVEL = 60.0  # s over the whole travel
SHEET_TOLERANCE = 0.05
NO_ALLOWANCE = (
    "it has no effect: the allowance of a drive lengthens the `wait: arrival` that times it, that of a wait its "
    "written time"
)
# by which a torque is too large: the unit that was written, the one that was meant; the likelier first
SLIPS = (
    (100 / GRAVITY, "N*m", "kgf*cm was meant"),
    (GRAVITY, "kgf*m", "N*m was meant"),
    (GRAVITY / 100, "kgf*cm", "N*m was meant"),
    (1 / GRAVITY, "N*m", "kgf*m was meant (a forgotten g)"),
    (100.0, "N*m", "N*cm was meant"),
    (100.0, "kgf*m", "kgf*cm was meant"),
    (0.01, "kgf*cm", "kgf*m was meant"),
    (0.01, "N*cm", "N*m was meant"),
    (1 / GRAVITY, "N*cm", "kgf*cm was meant (a forgotten g)"),
)
# a sheet's torque over what its stall current makes, from poor gears to a rounded current; common practice, no source
LEAST_SHEET, MOST_SHEET = 0.5, 1.3


def robot_doubts(robot: Robot) -> list[Remark]:
    """What looks wrong in a robot that is well formed."""
    file = str(robot.path)
    remarks = [
        Remark("doubt", file, motor.line, f"robot.motors.{motor.name}", text)
        for motor in robot.motors.values()
        for text in _sheet(motor)
    ]
    remarks += [
        Remark("doubt", file, state.line, f"robot.battery.states.{state.name}.resistance", text)
        for state in robot.battery
        if (text := _battery(state))
    ]
    for spec in robot.mechanisms.values():
        for key, text in (*_gearing(spec, robot), *_range(spec)):
            line = spec.lines.get(key, spec.line)
            remarks.append(Remark("doubt", file, line, f"robot.mechanisms.{spec.name}.{key}", text))
    return remarks


def plan_doubts(plan: Plan) -> list[Remark]:
    """What looks wrong in a plan that is well formed."""
    file = str(plan.path)
    found = [
        *_unused_routines(plan),
        *_waits(plan),
        *_without_needs(plan),
        *contrary_needs(plan),
        *short_limits(plan),
        *unpassed(plan),
        *free_tries(plan),
        *unknown_orientations(plan),
        *match_doubts(plan),
        *empty_periods(plan),
        *too_long(plan),
        *too_late(plan),
        *idle_rounds(plan),
    ]
    return [Remark("doubt", file, line, key, text) for line, key, text in sorted(found)]


def plan_assumed(plan: Plan) -> list[Remark]:
    """Where what `start` says nothing of is taken to stand, and how speeds are held where nothing says how."""
    found = []
    loop = "what its own model asks for, full effort at a tenth of its free speed too slow, there within 2 %"
    for step in all_steps(plan):
        if isinstance(step, SpinStep) and step.speed is not None:
            name, spec = step.mechanism, plan.robot.mechanisms[step.mechanism]
            if spec.values.get("speed_control") is None:
                key = f"robot.mechanisms.{name}.speed_control"
                remark = Remark("assumed", str(plan.robot.path), spec.line, key, loop)
                found += [remark] if remark not in found else []
    for name, spec in plan.robot.mechanisms.items():
        travel = spec.values.get("travel")
        if name in plan.start.positions or not (travel or spec.coordinate == "word"):
            continue
        if travel:
            text = f"{_text(travel[0], resolved('coordinate', spec.coordinate))}, the lower end of its travel"
        elif "stroke" in spec.values:
            text = "in"
        else:
            text = "at none of its places: its first command takes its whole time"
        found.append(Remark("assumed", str(plan.path), plan.start.line, f"plan.start.{name}", text))
    return found


# --- robot --------------------------------------------------------------------------------------------


def sheet_ratio(motor: Motor) -> float | None:
    """Stall torque of a sheet over what its stall current makes, with the constant from its free speed."""
    if motor.stall_torque is None or motor.stall_current is None:
        return None
    free_current = motor.free_current or 0.0
    constant = motor.voltage * (1 - free_current / motor.stall_current) / motor.free_speed
    through = motor.stall_current - (free_current if motor.stall_torque_is == "after_friction" else 0.0)
    return motor.stall_torque / (constant * through)


def _sheet(motor: Motor) -> Iterator[str]:
    ratio = sheet_ratio(motor)
    if ratio is None or motor.stall_torque is None:
        return
    geared = motor.internal_ratio is not None and motor.internal_ratio > 1
    slip = _slip(ratio, _text(motor.stall_torque, "torque"))
    if slip:
        yield (
            f"the stall torque {_text(motor.stall_torque, 'torque')} is {ratio:.3g} times "
            f"what the stall current and the free speed make: {slip}?"
        )
        return
    if ratio > 1 + SHEET_TOLERANCE:
        yield (
            f"the stall torque is {100 * (ratio - 1):.0f} % more than the stall current can make; "
            "torque and speed are kept, the stall current is replaced"
        )
    elif ratio < (0.4 if geared else 1 - SHEET_TOLERANCE):
        lost = "lost in its gears" if geared else "lost inside the motor"
        yield (
            f"the stall torque is {100 * (1 - ratio):.0f} % less than the stall current makes; "
            f"that is taken as {lost}"
        )


def _battery(state: BatteryState) -> str:
    """What looks wrong in a battery state; empty: nothing."""
    if state.resistance <= MOST_RESISTANCE:
        return ""
    most = state.open_circuit / state.resistance
    return f"{_text(state.resistance, 'resistance')} lets no more than {most:.3g} A through: are milliohms meant?"


def _slip(ratio: float, written: str) -> str:
    """Which slip of units explains a torque so far off; empty where none does.

    Of those that do, the ones from the unit that was written, where there are any.
    """
    off = [slip for slip in SLIPS if LEAST_SHEET <= ratio / slip[0] <= MOST_SHEET]
    unit = _letters(written)
    chosen = [slip for slip in off if _letters(slip[1]) == unit] or off
    return ", or ".join(f"{given} where {meant}" for _, given, meant in chosen)


def _letters(text: str) -> str:
    """A torque's unit, however it is spelled: `kgfcm` of `24.3 kgf*cm`, `24.3 kg cm` and `24.3 kg-cm`."""
    unit = re.sub(r"^\s*[-+]?[\d.,]+(e[-+]?\d+)?", "", text.partition("±")[0].casefold())
    letters = "".join(re.findall("[a-z]", unit))
    return letters.replace("kgf", "kg").replace("kg", "kgf")


def _gearing(spec: MechanismSpec, robot: Robot) -> Iterator[tuple[str, str]]:
    use, stages = spec.values.get("motors"), spec.values.get("gearing")
    if use is None or use.motor not in robot.motors:
        return
    ratio = prod(stage.ratio for stage in stages or ())
    if ratio < 1:
        yield (
            "gearing",
            (
                f"{ratio:.3g}:1 makes it turn {1 / ratio:.3g} times as fast as the motor; "
                f"is {1 / ratio:.3g}:1 meant?"
            ),
        )
        return
    speed = robot.motors[use.motor].free_speed / ratio
    key = "gearing" if stages else "motors"
    drums = spec.values.get("drum_diameter")
    if isinstance(drums, tuple):
        cord = speed * max(drums) / 2
        if cord > FASTEST_SLIDE:
            text = f"without load its fastest cord runs at {shown(Quantity(cord), 'speed')}"
            yield key, f"{text}: is a stage missing, or a ratio inverted?"
    elif spec.coordinate == "angle" and "travel" in spec.values:
        yield from _speed(spec, key, speed, FASTEST_ARM, "angular_speed")
    elif "wheel_diameter" in spec.values:
        yield from _speed(spec, key, speed * spec.values["wheel_diameter"] / 2, FASTEST_DRIVE, "speed")
    elif drums is not None:
        stages_moved = spec.values.get("stages", 1) if spec.values.get("rigging") == "cascade" else 1
        tip = speed * drums / 2 * stages_moved
        yield from _speed(spec, key, tip, FASTEST_SLIDE, "speed")


def _speed(
    spec: MechanismSpec, key: str, speed: float, fastest: float, dimension: str
) -> Iterator[tuple[str, str]]:
    text = f"without load it moves at {shown(Quantity(speed), dimension)}"
    if speed > fastest:
        yield key, f"{text}: is a stage missing, or a ratio inverted?"
    travel = spec.values.get("travel")
    if travel is not None and (travel[1] - travel[0]) / speed > SLOWEST_TRAVEL:
        seconds = (travel[1] - travel[0]) / speed
        yield key, f"{text}, {seconds:.0f} s from end to end: is a ratio there twice?"


def _range(spec: MechanismSpec) -> Iterator[tuple[str, str]]:
    reach, travel = spec.values.get("range"), spec.values.get("travel")
    if (
        reach is not None
        and travel is not None
        and not (travel[0] >= -1e-9 and travel[1] <= reach * (1 + 1e-9))
    ):
        yield (
            "travel",
            (
                f"{_text(travel[0], 'angle')} to {_text(travel[1], 'angle')} lies outside the servo's range, "
                f"0 to {_text(reach, 'angle')}"
            ),
        )


def _text(value: float, dimension: str) -> str:
    written = getattr(value, "text", "")
    return written or shown(Quantity(value), dimension)


# --- plan ---------------------------------------------------------------------------------------------


def _unused_routines(plan: Plan) -> Iterator[tuple[int, str, str]]:
    run = {step.routine for step in all_steps(plan) if isinstance(step, RunStep)}
    for name, routine in plan.routines.items():
        if name not in run:
            yield routine.line, f"plan.routines.{name}", "no step runs this routine"


def _without_needs(plan: Plan) -> Iterator[tuple[int, str, str]]:
    acting = [step for step in all_steps(plan) if isinstance(step, ActStep)]
    bare = sorted({step.line for step in acting if not step.needs})
    if bare:
        lines = ", ".join(str(line) for line in bare)
        yield (
            bare[0],
            "needs",
            f"{len(bare)} of {len(acting)} acting steps state no needs (line {lines}): "
            "a wait can only be harmless to needs that are stated",
        )


@dataclass
class _Timing:
    """Which waits time something, and which commands some wait times."""

    plan: Plan
    waits: dict[int, bool] = field(default_factory=dict)  # line -> whether it ever timed a command
    commands: dict[int, bool] = field(default_factory=dict)  # line -> whether a wait ever timed it
    allowances: dict[int, bool] = field(default_factory=dict)  # line -> whether it ever lengthened anything

    def walk(self, step: Step, pending: frozenset[int]) -> frozenset[int]:
        """Lines of the commands that wait to be timed after this step."""
        if isinstance(step, SequenceStep):
            for inner in step.steps:
                pending = self.walk(inner, pending)
        elif isinstance(step, RunStep):
            pending = self.walk(self.plan.routines[step.routine], pending)
        elif isinstance(step, RepeatStep):
            for _ in range(2 if step.times != 1 else 1):
                pending = self.walk(step.steps, pending)
        elif isinstance(step, TogetherStep | FirstStep):
            left = [self.walk(branch, frozenset()) for branch in step.branches]
            pending = pending.union(*left)
        elif isinstance(step, TryStep | WhenStep):
            ways = [self.walk(inner, pending) for inner in held_steps(step)]
            may_be_left_out = isinstance(step, WhenStep) and len(ways) == 1
            pending = frozenset().union(*ways, pending if may_be_left_out else ())
        elif isinstance(step, MoveStep | DriveStep | DriveForStep | EffortStep | ZeroStep | ActStep):
            self.commands.setdefault(step.line, False)
            if isinstance(step, DriveStep) and step.allowance:
                self.allowances.setdefault(step.line, False)
            pending |= {step.line}
        elif isinstance(step, WaitStep):
            pending = self._wait(step, pending)
        else:  # a spin: it arrives nowhere, but a wait after it lets it work
            pending |= {-step.line}
        return pending

    def _wait(self, step: WaitStep, pending: frozenset[int]) -> frozenset[int]:
        if step.allowance:
            self.allowances[step.line] = step.duration_us is not None
        if step.purpose is not None or step.past is not None:
            return pending
        if step.until_us is None:
            self.waits[step.line] = self.waits.get(step.line, False) or bool(pending)
        for line in pending:
            if line > 0:
                self.commands[line] = True
            if line in self.allowances and step.arrival:
                self.allowances[line] = True
        return frozenset()


def _waits(plan: Plan) -> Iterator[tuple[int, str, str]]:
    timing = _Timing(plan)
    roots = [*plan.periods.values(), *([plan.endgame.steps] if plan.endgame else [])]
    for root in roots:
        timing.walk(root, frozenset())
    for line, useful in timing.waits.items():
        if not useful:
            yield (
                line,
                "wait",
                "it follows no command and times nothing: given away, unless it is marked `for:`",
            )
    for line, timed in timing.commands.items():
        if not timed:
            yield line, "steps", "no wait times this command: it has no timer and no verdict"
    for line, useful in timing.allowances.items():
        if not useful:
            yield line, "allowance", NO_ALLOWANCE

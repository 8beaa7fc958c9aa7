"""A team's own rule that makes a timer longer or shorter by the battery's volts, held against each move.

`base - (50*volts - 600)`: both sides in milliseconds, `base` the timer as written, `volts` what the battery
shows at rest, its open-circuit voltage.
"""

from __future__ import annotations

import ast
import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from simbot.analysis.better_timer import rounded_up, waits_of
from simbot.analysis.timers import verdict
from simbot.scenario.errors import SimbotError, nearest, quoted
from simbot.scenario.model import BatteryState, Plan
from simbot.studies.demand import Execution, executions
from simbot.studies.knobs import Knob, with_waits
from simbot.studies.runs import Bench, Ran
from simbot.studies.totals import totals_of
from simbot.studies.tune_results import RuleResult, RuleState, RuleTimer, Totals

NAMES = ("base", "volts")
LONGEST = 200  # characters of a rule
_BINARY: dict[type[ast.operator], Callable[[float, float], float]] = {
    ast.Add: lambda a, b: a + b,
    ast.Sub: lambda a, b: a - b,
    ast.Mult: lambda a, b: a * b,
    ast.Div: lambda a, b: a / b,
}
_CALLS: dict[str, Callable[..., float]] = {"min": min, "max": max}


class Rule:
    """A formula of `base` [ms] and `volts` [V], made of numbers, + - * / and brackets, min and max."""

    def __init__(self, text: str) -> None:
        self.text = text.strip()
        if len(self.text) > LONGEST:
            raise SimbotError(f"--rule: at most {LONGEST} characters, given are {len(self.text)}")
        try:
            self.tree = ast.parse(self.text, mode="eval").body
        except (SyntaxError, ValueError, RecursionError, MemoryError) as error:
            column = getattr(error, "offset", None) or 1
            raise self._wrong(f"not a formula, at its character {column}") from error
        self._check(self.tree)
        self.ms(600.0, 12.0)

    def ms(self, base: float, volts: float) -> float:
        """The timer that the rule makes of a base time [ms]."""
        try:
            value = self._value(self.tree, {"base": base, "volts": volts})
        except ZeroDivisionError as error:
            raise self._wrong(f"it divides by zero at base {base:g} ms, {volts:g} V") from error
        except OverflowError as error:
            raise self._wrong(f"it has no finite value at base {base:g} ms, {volts:g} V") from error
        if not math.isfinite(value):
            raise self._wrong(f"it has no finite value at base {base:g} ms, {volts:g} V")
        return value

    def _check(self, node: ast.AST) -> None:
        """Refuse everything that is no arithmetic; nothing of it is ever run."""
        if isinstance(node, ast.BinOp) and type(node.op) in _BINARY:
            inner: Sequence[ast.AST] = (node.left, node.right)
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.UAdd):
            inner = (node.operand,)
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in _CALLS:
            if node.keywords or len(node.args) < 2:
                raise self._wrong(f"{node.func.id} takes two values or more")
            inner = node.args
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
            inner = ()
        elif isinstance(node, ast.Name):
            if node.id not in NAMES:
                guess = nearest(node.id, NAMES)
                hint = f"; did you mean {quoted(guess)}?" if guess else ""
                raise self._wrong(f"there is no {quoted(node.id)}{hint}")
            inner = ()
        else:
            place = getattr(node, "col_offset", 0) + 1
            raise self._wrong(f"its character {place} begins something else")
        for one in inner:
            self._check(one)

    def _value(self, node: ast.AST, names: dict[str, float]) -> float:
        if isinstance(node, ast.BinOp):
            return _BINARY[type(node.op)](self._value(node.left, names), self._value(node.right, names))
        if isinstance(node, ast.UnaryOp):
            value = self._value(node.operand, names)
            return -value if isinstance(node.op, ast.USub) else value
        if isinstance(node, ast.Call):
            assert isinstance(node.func, ast.Name)
            return _CALLS[node.func.id](*(self._value(one, names) for one in node.args))
        if isinstance(node, ast.Name):
            return names[node.id]
        assert isinstance(node, ast.Constant) and isinstance(node.value, int | float)
        return float(node.value)

    def _wrong(self, text: str) -> SimbotError:
        would = "a formula of base [ms] and volts such as base * 12 / volts, with + - * / ( ) min max"
        return SimbotError(f"--rule {quoted(self.text)}: {text}; would do: {would}")


def judge_rule(bench: Bench, plan: Plan, knobs: list[Knob], rule: Rule, runs: Sequence[Ran]) -> RuleResult:
    """The rule beside what each timer has to wait for, and the whole plan run by it on every battery state."""
    batteries = plan.robot.battery
    found = [executions(ran, knobs) for ran in runs]
    timers = []
    for index, knob in enumerate(knobs):
        if any(one.moves for run in found for one in run[index]):
            timers.append(_timer(plan, knob, rule, [run[index] for run in found]))
    after: dict[str, Totals] = {}
    for battery in batteries:
        after[battery.name] = totals_of(bench.run(_by_rule(plan, knobs, rule, battery), battery))
    return RuleResult(rule.text, tuple(timers), after)


def _by_rule(plan: Plan, knobs: list[Knob], rule: Rule, battery: BatteryState) -> Plan:
    waits = waits_of(plan)
    return with_waits(
        plan,
        {
            place: replace(waits[place], duration_us=_us(rule, knob, battery))
            for knob in knobs
            for place in knob.waits
        },
    )


def _us(rule: Rule, knob: Knob, battery: BatteryState) -> int:
    return max(0, round(rule.ms(knob.now_us / 1000, float(battery.open_circuit)) * 1000))


def _timer(plan: Plan, knob: Knob, rule: Rule, found: list[list[Execution]]) -> RuleTimer:
    states = []
    for battery, run in zip(plan.robot.battery, found, strict=True):
        timed = [one for one in run if one.moves]
        if timed:
            states.append(_state(plan, battery, timed, _us(rule, knob, battery)))
    known = [(state.volts, state.arrival_us) for state in states if state.arrival_us is not None]
    return RuleTimer(
        line=knob.line,
        name=knob.source.name if knob.source else "",
        base_us=knob.now_us,
        states=tuple(states),
        rule_slope=_slope([(state.volts, state.rule_us) for state in states]),
        right_slope=_slope(known),
    )


def _state(plan: Plan, battery: BatteryState, timed: list[Execution], rule_us: int) -> RuleState:
    never = any(one.arrival_us is None for one in timed)
    arrival = None if never else max(one.arrival_us or 0 for one in timed)
    floors = [one.floor_us for one in timed if one.floor_us is not None]
    real = rounded_up(rule_us, plan.robot.loop_us, 1)
    word = verdict(real, max(floors, default=None), arrival, plan.guard_us)
    error = None if arrival is None else rule_us - arrival
    return RuleState(battery.name, float(battery.open_circuit), rule_us, arrival, error, word)


def _slope(points: list[tuple[float, int]]) -> float | None:
    """Seconds a volt, by least squares; None where the volts are all the same."""
    if not points:
        return None
    middle = math.fsum(volts for volts, _ in points) / len(points)
    spread = math.fsum((volts - middle) ** 2 for volts, _ in points)
    if spread == 0.0:
        return None
    return math.fsum((volts - middle) * us for volts, us in points) / spread * 1e-6

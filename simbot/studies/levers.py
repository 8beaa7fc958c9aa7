"""The main quantities of two plans that could turn a comparison: each with the plans as they are at another value.

What makes the leader worse is moved up to its worst, what makes the one behind better up to its best; the other
directions cannot turn the answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from simbot.scenario.model import (
    ActStep,
    BatteryState,
    DriveStep,
    Pattern,
    PickStep,
    PlaceStep,
    Plan,
    RunStep,
    SequenceStep,
    Step,
    WaitStep,
)
from simbot.scenario.parameters import Quantity
from simbot.scenario.plan_file import all_steps, inner_steps, with_steps

Two = tuple[Plan, Plan]  # the leader, and the one behind it
MOST_ALLOWANCE = 3.0  # a person that takes four times as long
MOST_TAKEN = 0.9  # share of the time that somebody else may stand at a station
EVERY_US = 10_000_000  # how often somebody comes whom no file states
SLOWEST = 3.0  # cycle times: of what they are now


@dataclass(frozen=True)
class Lever:
    """One quantity.

    Parameters
    ----------
    quantity : str
        What it is, as in "place into high_row (line 20) succeeds".
    plan : str
        Whose; empty: of both.
    unit : str
        "%" (the value is a share), "s", "times", or "battery" (0: the strongest state).
    now, far : float
        What it is, and the furthest that is tried.
    at : function
        The two plans with another value.
    cycle_of : int or None
        Side whose mean cycle time tells what a value comes to; None: the value itself does.
    """

    quantity: str
    plan: str
    unit: str
    now: float
    far: float
    at: Callable[[float], Two]
    cycle_of: int | None = None

    @property
    def grows(self) -> bool:
        return self.far > self.now


def levers_of(leader: Plan, behind: Plan, state: str | None, cycle_s: float | None) -> list[Lever]:
    """All of them.

    Parameters
    ----------
    leader, behind : Plan
    state : str or None
        Battery state of all matches; None: they have several, and none is moved.
    cycle_s : float or None
        Mean cycle time of the leader.
    """
    two = (leader, behind)
    found = [*_cycle_times(two, cycle_s)]
    for side in (0, 1):
        found += [*_successes(two, side), *_allowances(two, side)]
    if state is not None and leader.robot.battery == behind.robot.battery:
        found += _batteries(two, state)
    return [*found, *_stations(two)]


def _put(two: Two, side: int, plan: Plan) -> Two:
    return (plan, two[1]) if side == 0 else (two[0], plan)


def _cycle_times(two: Two, cycle_s: float | None) -> Iterator[Lever]:
    """The leader loses time before every delivery; the one behind gives none away."""
    leader, behind = two
    if cycle_s:
        yield Lever(
            "cycle time", leader.name, "s", 0.0, (SLOWEST - 1.0) * cycle_s,
            lambda value: (with_lost_time(leader, value), behind), 0,
        )  # fmt: skip
    if with_dead_time(behind, 0.0) != behind:
        yield Lever(
            "cycle time", behind.name, "s", 1.0, 0.0, lambda value: (leader, with_dead_time(behind, value)), 1
        )


def with_lost_time(plan: Plan, seconds: float) -> Plan:
    """The plan with so much time [s] lost right before each place outside the endgame."""
    if seconds <= 0.0:
        return plan
    lost_us = round(seconds * 1e6)

    def slower(step: Step) -> Step:
        if not isinstance(step, SequenceStep) or not any(isinstance(each, PlaceStep) for each in step.steps):
            return step
        steps: list[Step] = []
        for each in step.steps:
            if isinstance(each, PlaceStep):
                steps.append(WaitStep(each.line, duration_us=lost_us, purpose="settling"))
            steps.append(each)
        return replace(step, steps=tuple(steps))

    changed = with_steps(plan, slower)
    played = routines_in(plan, plan.periods.values())
    kept = {name: changed.routines[name] if name in played else own for name, own in plan.routines.items()}
    return replace(changed, routines=kept, endgame=plan.endgame)


def with_dead_time(plan: Plan, factor: float) -> Plan:
    """The plan with its marked waits and its allowances so many times as long."""

    def change(step: Step) -> Step:
        if isinstance(step, WaitStep) and step.purpose and step.duration_us and step.purpose != "stagger":
            return replace(step, duration_us=round(step.duration_us * factor))
        if isinstance(step, DriveStep | WaitStep) and step.allowance:
            return replace(step, allowance=step.allowance * factor)
        return step

    return plan if factor == 1.0 else with_steps(plan, change)


def routines_in(plan: Plan, roots: Iterable[SequenceStep]) -> set[str]:
    """Names of the routines that some steps run."""
    inside = (inner for root in roots for inner in inner_steps(root, plan, inline=True))
    return {inner.routine for inner in inside if isinstance(inner, RunStep)}


def acting_steps(plan: Plan) -> dict[int, ActStep]:
    """The acting steps that are run, by their line."""
    roots = [*plan.periods.values(), *(() if plan.endgame is None else (plan.endgame.steps,))]
    inside = (inner for root in roots for inner in inner_steps(root, plan, inline=True))
    return {inner.line: inner for inner in inside if isinstance(inner, ActStep)}


def act_words(step: ActStep) -> str:
    """An acting step in words."""
    if isinstance(step, PickStep):
        return f"pick of {step.element} from {step.station} (line {step.line})"
    if isinstance(step, PlaceStep):
        return f"place into {step.place} (line {step.line})"
    return f"hand over (line {step.line})"


def with_success(plan: Plan, line: int, chance: float) -> Plan:
    """The plan whose acting steps of a line succeed so often; a stated spread stays, as far as it fits in."""

    def change(step: Step) -> Step:
        if not isinstance(step, ActStep) or step.line != line:
            return step
        spread = min(getattr(step.succeeds, "spread", 0.0), chance, 1.0 - chance)
        return replace(step, succeeds=Quantity(chance, max(0.0, spread)))

    return with_steps(plan, change)


def _successes(two: Two, side: int) -> Iterator[Lever]:
    plan, far = two[side], float(side)
    for line, step in sorted(acting_steps(plan).items()):
        if float(step.succeeds) != far:

            def at(value: float, line: int = line) -> Two:
                return _put(two, side, with_success(plan, line, value))

            yield Lever(f"{act_words(step)} succeeds", plan.name, "%", float(step.succeeds), far, at)


def _allowances(two: Two, side: int) -> Iterator[Lever]:
    """One value for all driving with an allowance; where they differ, all so many times as large."""
    plan = two[side]
    stated = {step.allowance for step in all_steps(plan) if isinstance(step, DriveStep) and step.allowance}
    if not stated and (side == 1 or not any(isinstance(step, DriveStep) for step in all_steps(plan))):
        return

    def at(value: float) -> Two:
        def change(step: Step) -> Step:
            if not isinstance(step, DriveStep) or (stated and not step.allowance):
                return step
            return replace(step, allowance=step.allowance * value if len(stated) > 1 else value)

        return _put(two, side, with_steps(plan, change))

    if len(stated) > 1:
        far = 0.0 if side else (1.0 + MOST_ALLOWANCE) / (1.0 + min(stated))
        yield Lever("allowances of driving", plan.name, "times", 1.0, far, at)
    else:
        far = 0.0 if side else MOST_ALLOWANCE
        yield Lever("allowance of driving", plan.name, "%", max(stated, default=0.0), far, at)


def battery_between(states: Sequence[BatteryState], where: float, name: str) -> BatteryState:
    """A battery state between the stated ones (0: the first), under the name of one of them."""
    low = min(int(where), len(states) - 2)
    share = where - low
    first, second = states[low], states[low + 1]

    def mixed(key: str) -> float:
        one, other = getattr(first, key), getattr(second, key)
        spreads = (getattr(one, "spread", 0.0), getattr(other, "spread", 0.0))
        spread = (1 - share) * spreads[0] + share * spreads[1]
        return Quantity((1 - share) * one + share * other, spread)

    return replace(
        first,
        name=name,
        open_circuit=mixed("open_circuit"),
        resistance=mixed("resistance"),
        polarisation=mixed("polarisation"),
    )


def _batteries(two: Two, state: str) -> Iterator[Lever]:
    states = two[0].robot.battery
    now = next(number for number, each in enumerate(states) if each.name == state)

    def with_battery(plan: Plan, where: float) -> Plan:
        own = tuple(battery_between(states, where, state) if each.name == state else each for each in states)
        return replace(plan, robot=replace(plan.robot, battery=own))

    def at(value: float) -> Two:
        return two if value == now else (with_battery(two[0], value), with_battery(two[1], value))

    for far, quantity in ((0, "a stronger battery"), (len(states) - 1, "a weaker battery")):
        if far != now:
            yield Lever(quantity, "", "battery", float(now), float(far), at)


def _picks_from(plan: Plan) -> set[str]:
    inside = (inner for root in plan.periods.values() for inner in inner_steps(root, plan, inline=True))
    return {inner.station for inner in inside if isinstance(inner, PickStep)}


def _taken(plan: Plan, station: str) -> float:
    """Share of the time that others are at a station, as stated."""
    return sum(each.stays_us / each.every_us for each in plan.patterns if each.uses == station)


def with_taken(plan: Plan, station: str, share: float) -> Plan:
    """The plan with others at a station for such a share of the time; elements they take stay as stated."""
    now = _taken(plan, station)
    if now > 0.0:
        longer = [
            replace(each, stays_us=round(each.stays_us * share / now)) if each.uses == station else each
            for each in plan.patterns
        ]
        return replace(plan, patterns=tuple(longer))
    other = Pattern("another robot", station, EVERY_US, round(share * EVERY_US), 0, 0)
    return plan if share <= 0.0 else replace(plan, patterns=(*plan.patterns, other))


def _stations(two: Two) -> Iterator[Lever]:
    """Others at the leader's stations more often; at those of the one behind alone, where stated, less often."""
    leader, behind = two
    first, second = _picks_from(leader), _picks_from(behind)
    for station in sorted(first | second):
        now = _taken(leader if station in first else behind, station)
        far = MOST_TAKEN if station in first else 0.0
        if (station in first and now < far) or (station not in first and now > far):

            def at(value: float, station: str = station) -> Two:
                one = with_taken(leader, station, value) if station in first else leader
                return one, with_taken(behind, station, value) if station in second else behind

            yield Lever(f"others at {station}", "", "%", now, far, at)

"""What the controller's own parameters allow: speed and acceleration of motion profiles, and the loop's period.

Two ends are looked for, on the moves of the routine, each alone, on the weakest battery asked for:

- impossible above: beyond it a move lags by more than its window behind its profile, or arrives no more. What
  its motors, its grip and its gains can follow ends there.
- no gain above: raising it further makes the moves arrive no more than a millisecond earlier in the mean. Of the
  loop: no gain below, by the whole routine, since every wait ends on one of its ticks.

Values are tried over a wide range first, so that what lies beyond an end is known, and the bracket is then halved.
What is suggested has been run in the whole routine, on every battery asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import floor, inf, log10, sqrt

from simbot.physics.plant.running import EndlessSteps
from simbot.scenario.model import BatteryState, MechanismSpec, Plan, Robot
from simbot.scenario.parameters import Quantity
from simbot.scenario.robot_file import MOST_UNDER_WAY
from simbot.studies.lone_moves import Alone, LoneMove, lone_moves
from simbot.studies.runs import Bench, Ran, broken_by
from simbot.studies.totals import saved
from simbot.studies.tune_results import Limit

WORTH_US = 1000.0  # less is no gain
DOWN, UP = 3, 4  # octaves that are tried from the value as it is
FINE = 1.002  # ratio at which a bracket is narrow enough
BEYOND = (1.05, 1.1, 1.2, 1.4)  # of where it begins to fall behind: the best arrival may lie there
SHORTER = (0.25, 0.5)  # loops that the whole routine is run with, of the one that it has
LONGER = 5  # times that one: up to there it is seen whether the moves still arrive
FASTEST_LOOP_US = 1000


@dataclass(frozen=True)
class Tried:
    """The moves of one mechanism (of all: the loop) with one value."""

    follows: bool  # none lags by more than its window, and all arrive
    arrival_us: float  # in the mean; inf where one never arrives


@dataclass(frozen=True)
class Ends:
    impossible_above: float | None  # None: it follows whatever was tried
    no_gain_above: float | None  # None: it follows with no value that was tried
    least_us: float  # the mean arrival there
    uneven: bool  # some larger value follows again


def find_limits(
    bench: Bench, plan: Plan, asked: Sequence[BatteryState], shown: BatteryState
) -> tuple[Limit, ...]:
    """Every profile that the routine's moves follow, and the loop; of the plan with the suggested timers."""
    weakest = asked[-1]
    ran = bench.run(plan, weakest)
    moves = lone_moves(ran.trace, bench.models.robot)
    alone = Alone(bench.models, weakest)
    found = []
    for name, spec in plan.robot.mechanisms.items():
        own = [one for one in moves if one.mechanism == name and not one.timed]
        if own and (spec.values.get("control") or {}).get("loop") == "profile":
            for key in ("speed", "acceleration"):
                found.append(_of_profile(bench, plan, alone, spec, key, own, asked, shown))
    aimed = [one for one in moves if not one.timed]
    if aimed:
        found.append(_of_loop(bench, plan, alone, aimed, asked, shown))
    return tuple(found)


# --- profiles -----------------------------------------------------------------------------------------


def _of_profile(
    bench: Bench, plan: Plan, alone: Alone, spec: MechanismSpec, key: str, moves: Sequence[LoneMove],
    asked: Sequence[BatteryState], shown: BatteryState,
) -> Limit:  # fmt: skip
    now = float(spec.values["control"][key])

    def at(value: float) -> Tried:
        return _tried(alone, moves, with_control(alone.models.robot, spec.name, key, value))

    ends, first = ends_of(now, at), at(now)
    wish = _wish(now, ends)
    held, gain = "", None
    if wish is not None:
        held, gain = _verified(bench, plan, with_control(plan.robot, spec.name, key, wish), asked, shown)
    return Limit(
        name=f"{spec.name} {key}",
        mechanism=spec.name,
        key=key,
        line=spec.lines.get("control", spec.line),
        turns=spec.coordinate == "angle",
        now=now,
        impossible=ends.impossible_above,
        no_gain=ends.no_gain_above,
        uneven=ends.uneven,
        follows=first.follows,
        arrival_us=_whole(first.arrival_us),
        best_us=_whole(ends.least_us),
        suggested=now if wish is None or held else wish,
        gain_us=gain,
        held=held,
        moves=len(moves),
        tried=(now / 2**DOWN, now * 2**UP),
    )


def ends_of(now: float, at: Callable[[float], Tried]) -> Ends:
    """Where a parameter ends to be followed, and to gain, around the value that it has."""
    grid = {now * 2.0**octave: at(now * 2.0**octave) for octave in range(-DOWN, UP + 1)}
    values = sorted(grid)
    follows = [grid[value].follows for value in values]
    if True not in follows:
        return Ends(0.0, None, min(each.arrival_us for each in grid.values()), False)
    slow = follows.index(True)  # one so slow that it is not seen to arrive is none that cannot be followed
    good = follows.index(False, slow) if False in follows[slow:] else len(values)
    impossible = None
    if good < len(values):
        impossible = bracketed(lambda value: at(value).follows, values[good - 1], values[good])[0]
        grid |= {value: at(value) for value in (impossible, *(impossible * by for by in BEYOND))}
    values = sorted(grid)
    least = min(grid[value].arrival_us for value in values)

    def enough(value: float) -> bool:
        return at(value).arrival_us <= least + WORTH_US

    first = next(k for k, value in enumerate(values) if grid[value].arrival_us <= least + WORTH_US)
    no_gain = values[0]
    if first > 0:
        no_gain = bracketed(lambda value: not enough(value), values[first - 1], values[first])[1]
    return Ends(impossible, no_gain, least, any(follows[good:]))


def bracketed(holds: Callable[[float], bool], low: float, high: float) -> tuple[float, float]:
    """Narrow a bracket at whose lower end something holds, and at whose upper end it does not."""
    while high > low * FINE:
        middle = sqrt(low * high)
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low, high


def with_control(robot: Robot, name: str, key: str, value: float) -> Robot:
    """The robot with another number in the control of a mechanism."""
    spec = robot.mechanisms[name]
    control = {**spec.values["control"], key: Quantity(value)}
    changed = replace(spec, values={**spec.values, "control": control})
    return replace(robot, mechanisms={**robot.mechanisms, name: changed})


def _tried(alone: Alone, moves: Sequence[LoneMove], robot: Robot) -> Tried:
    follows, total, count = True, 0.0, 0
    for one, move in zip(moves, alone.play(moves, robot), strict=True):
        try:
            arrival, lag = move.arrival_us(), move.lag()
        except EndlessSteps:  # it shakes too fast to be followed
            arrival = lag = None
        follows = follows and arrival is not None and (lag is None or lag <= move.window)
        total += inf if arrival is None else arrival * one.times
        count += one.times
    return Tried(follows, total / count)


def _wish(now: float, ends: Ends) -> float | None:
    """The value at which both ends are kept, in three digits; None: as it is."""
    top = inf if ends.impossible_above is None else ends.impossible_above
    if ends.no_gain_above is None or top <= 0.0:
        return None
    wish = rounded_down(min(top, ends.no_gain_above * FINE**5))
    return wish if now > top or wish > now * FINE**5 else None


def rounded_down(value: float, digits: int = 3) -> float:
    unit = 10.0 ** (floor(log10(value)) + 1 - digits)
    return float(f"{floor(value / unit + 1e-9) * unit:.{digits}g}")


def _verified(
    bench: Bench, plan: Plan, robot: Robot, asked: Sequence[BatteryState], shown: BatteryState
) -> tuple[str, int | None]:
    """What the whole routine breaks with another robot, "" where nothing, and what it saves in the state shown."""
    changed = replace(plan, robot=robot)
    other = Bench(changed, bench.models.under(robot))
    gain: int | None = None
    for battery in dict.fromkeys((*asked, shown)):
        try:
            before, after = bench.run(plan, battery), other.run(changed, battery)
        except EndlessSteps as error:
            return f"in the routine, on {battery.name}: {error}", None
        for text in _new(before, after):
            return f"in the routine, on {battery.name}: {text}", None
        if battery.name == shown.name:
            gain = saved(before, after).routine_us
    return "", gain


def _new(before: Ran, after: Ran) -> Iterator[str]:
    """What a changed robot breaks, or cannot follow, that was in order."""
    known = {(one.kind, one.line) for one in before.findings if one.kind == "lags"}
    broken = broken_by(before)
    yield from (one.text for mark, one in broken_by(after).items() if mark not in broken)
    yield from (
        one.text for one in after.findings if one.kind == "lags" and (one.kind, one.line) not in known
    )


def _whole(time_us: float) -> int | None:
    return None if time_us == inf else round(time_us)


# --- the loop -----------------------------------------------------------------------------------------


def _of_loop(
    bench: Bench, plan: Plan, alone: Alone, moves: Sequence[LoneMove],
    asked: Sequence[BatteryState], shown: BatteryState,
) -> Limit:  # fmt: skip
    now = plan.robot.loop_us

    def at(loop_us: int) -> Tried:
        return _tried(alone, moves, replace(alone.models.robot, loop_us=loop_us))

    base = bench.run(plan, shown)
    saves = {}
    for loop in sorted({max(FASTEST_LOOP_US, round(now * by)) for by in SHORTER} | {now}):
        if loop < now and loop < _shortest_us(plan.robot):
            continue
        robot = replace(plan.robot, loop_us=loop)
        changed = replace(plan, robot=robot)
        try:
            other = base if loop == now else Bench(changed, bench.models.under(robot)).run(changed, shown)
        except EndlessSteps:  # it shakes too fast to be followed: nobody wants that loop
            continue
        saves[loop] = saved(base, other).routine_us
    best = longest_without_gain(saves)
    held, gain = "", None
    if best < now:
        held, gain = _verified(bench, plan, replace(plan.robot, loop_us=best), asked, shown)
    longest = longest_that_arrives(now, at)
    here = at(now)
    return Limit(
        name="loop",
        mechanism=None,
        key="loop",
        line=None,
        turns=False,
        now=now * 1e-6,
        impossible=None if longest is None else longest * 1e-6,
        no_gain=None if best == min(saves) else best * 1e-6,  # one shorter than all tried may gain yet
        uneven=False,
        follows=here.arrival_us < inf,
        arrival_us=_whole(here.arrival_us),
        best_us=_whole(at(best).arrival_us),
        suggested=(now if held else best) * 1e-6,
        gain_us=gain,
        held=held,
        moves=len(moves),
        tried=(min(saves) * 1e-6, now * LONGER * 1e-6),
        steps=tuple((loop * 1e-6, gained) for loop, gained in saves.items()),
    )


def _shortest_us(robot: Robot) -> float:
    """With a shorter loop more outputs would be under way at once than a run keeps."""
    controls = (spec.values.get("control") or {} for spec in robot.mechanisms.values())
    return max((float(one.get("latency") or 0.0) * 1e6 / MOST_UNDER_WAY for one in controls), default=0.0)


def longest_without_gain(saves: dict[int, int]) -> int:
    """The longest loop [us] that no shorter one beats by more than is worth it, by what the routine saves."""
    return max(
        loop
        for loop, own in saves.items()
        if max(gained for less, gained in saves.items() if less <= loop) <= own + WORTH_US
    )


def longest_that_arrives(now_us: int, at: Callable[[int], Tried]) -> int | None:
    """The longest loop with which every move arrives, to 1 ms; None: the longest that is tried is none too long."""
    good, bad = now_us, 0
    if at(now_us).arrival_us == inf:
        return 0
    for by in range(2, LONGER + 1):
        if at(by * now_us).arrival_us == inf:
            bad = by * now_us
            break
        good = by * now_us
    while bad - good > 1000:
        middle = (good + bad) // 2
        good, bad = (good, middle) if at(middle).arrival_us == inf else (middle, bad)
    return good if bad else None

"""What a sweep is asked for: measures, wishes, options; nothing heavy is imported here."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import inf

from simbot.physics.build import DRIVES
from simbot.physics.kinds import KINDS
from simbot.scenario.axes import Axis, read_axis, read_parts
from simbot.scenario.errors import SimbotError, nearest, quoted
from simbot.scenario.given import mechanism_given, position_given, quantity_given
from simbot.scenario.model import Robot
from simbot.scenario.yaml_reader import Node

WISH = re.compile(r"\s*([A-Za-z_ ]+?)\s*(<=|>=|<|>)\s*([^,]+?)\s*(?:,\s*(.+?))?\s*")
EXAMPLE = "as in 'arrival <= 0.8 s, tired; current <= 20 A'"
POINTS = {("move", 1): 41, ("move", 2): 15, ("match", 1): 21, ("match", 2): 7}
FEW = {"move": 600, "match": 8}  # runs that are done sooner than other processes have started
MOST_RUNS = 20_000


@dataclass(frozen=True)
class Measure:
    """One number of a point: how it is named, in which unit it is told, and which way is better."""

    name: str
    title: str
    unit: str
    dimension: str  # of a wish about it
    most: bool = False  # more is better
    factor: float = 1.0  # from SI to the unit
    digits: int = 3


OF_A_MOVE = {
    each.name: each
    for each in (
        Measure("arrival", "arrival", "s", "time"),
        Measure("inside", "first time inside the target", "s", "time"),
        Measure("floor", "floor, which no control beats", "s", "time"),
        Measure("current", "battery current, peak", "A", "current", digits=1),
        Measure("motor_current", "current of one motor, peak", "A", "current", digits=1),
        Measure("heat", "heat in the windings", "J", "energy", digits=1),
        Measure("energy", "energy from the battery", "J", "energy", digits=1),
        Measure("volts", "lowest bus voltage", "V", "voltage", True, digits=2),
        Measure("stall", "stall share", "%", "share", factor=100.0, digits=0),
    )
}
OF_A_MATCH = {
    each.name: each
    for each in (
        Measure("points", "points, nominal", "points", "number", True, digits=0),
        Measure("rate", "points a second", "points/s", "number", True),
        Measure("cycle", "cycle time", "s", "time", digits=2),
        Measure("current", "battery current, peak", "A", "current", digits=1),
        Measure("volts", "lowest bus voltage", "V", "voltage", True, digits=2),
        Measure("energy", "energy from the battery", "J", "energy", digits=0),
        Measure("failures", "findings that fail", "", "number", digits=0),
    )
}

OF_MATCHES = {
    each.name: each
    for each in (
        Measure("mean", "mean points with chance", "points", "number", True, digits=1),
        Measure("mean_rate", "points a second with chance", "points/s", "number", True),
        *OF_A_MATCH.values(),
    )
}


@dataclass(frozen=True)
class Ask:
    """Which move of a mechanism is looked at, as it was written; None where not said."""

    start: str | None = None
    target: str | None = None
    turn: str | None = None
    load: str | None = None


@dataclass(frozen=True)
class Wish:
    """One bound of one measure on one battery state; bound in SI."""

    measure: str
    most: bool  # at most, not at least
    bound: float
    state: str
    text: str

    def holds(self, value: float | None) -> bool:
        """A value that is absent (a move that never arrives) fulfils no bound but the one below."""
        if value is None:
            return False
        return value <= self.bound if self.most else value >= self.bound

    def worse(self, value: float | None) -> float:
        """How bad a value is: greater is worse."""
        if value is None:
            return inf
        return value if self.most else -value


@dataclass(frozen=True)
class SweepAsked:
    """What a sweep is to do."""

    axes: tuple[Axis, ...]  # one or two
    states: tuple[str, ...]  # battery states, the one that the answer is for first
    by: Measure  # that says which value is best
    wishes: tuple[Wish, ...] = ()
    workers: int = 1
    cluster: str | None = None  # address of a scheduler whose workers run the values
    matches: int = 0  # of a plan: drawn ones at each value
    seed: int = 1


def read_wishes(
    text: str, measures: dict[str, Measure], states: Sequence[str], main: str
) -> tuple[Wish, ...]:
    """The wishes of `--want`; a state that is not named is the main one."""
    wishes = []
    for part in (each for each in text.split(";") if each.strip()):
        match = WISH.fullmatch(part)
        if match is None:
            raise SimbotError(f"--want {quoted(part.strip())}: NAME <= VALUE is needed, {EXAMPLE}")
        name, sign, bound, of = match[1].strip().replace(" ", "_"), match[2], match[3], match[4]
        if name not in measures:
            raise SimbotError(
                f"--want {part.strip()}: nothing is called {quoted(name)}; would do: {', '.join(measures)}"
                f"{hint(name, measures)}"
            )
        value = quantity_given(f"--want {name} {sign}", bound, measures[name].dimension)
        for state in [main] if of is None else [each.strip() for each in of.split(",")]:
            if state not in states:
                raise SimbotError(
                    f"--want {part.strip()}: the robot has no battery state {quoted(state)}; it has "
                    f"{', '.join(states)}{hint(state, states)}"
                )
            told = f"{name} {sign} {bound.strip()}, {state}"
            wishes.append(Wish(name, sign[0] == "<", float(value), state, told))
    if not wishes:
        raise SimbotError(f"--want {quoted(text)}: nothing is wanted, {EXAMPLE}")
    return tuple(wishes)


def hint(word: str, words: Iterable[str]) -> str:
    guess = nearest(word, words)
    return f"; did you mean {quoted(guess)}?" if guess else ""


def read_axes(
    pairs: Sequence[str], trees: Sequence[Node], points: int | None, parts: Sequence[str], robot: Robot,
    mechanism: str | None,
) -> tuple[Axis, ...]:  # fmt: skip
    """The quantities of `KEY=FROM:TO`, with what can be had of them."""
    if not 1 <= len(pairs) <= 2:
        raise SimbotError(
            f"sweep: one quantity or two, as KEY=FROM:TO, such as drum_diameter=20:60mm; {len(pairs)} given"
        )
    kind = "match" if mechanism is None else "move"
    count = points or POINTS[kind, len(pairs)]
    if count < 2:
        raise SimbotError(f"--points {count}: two or more are wanted")
    keys = (
        () if mechanism is None else [each.key for each in KINDS[robot.mechanisms[mechanism].kind].PARAMETERS]
    )
    axes = []
    for pair in pairs:
        written, equals, text = (each.strip() for each in pair.partition("="))
        if not (written and equals):
            raise SimbotError(f"{pair}: KEY=FROM:TO is wanted, such as drum_diameter=20:60mm")
        axes.append(read_axis(written, text, trees, count, mechanism or "", keys))
    if len(axes) == 2 and axes[0].key == axes[1].key:
        raise SimbotError(f"sweep: both quantities are {axes[0].key}")
    runs = len(axes[0].values) * (len(axes[1].values) if len(axes) == 2 else 1)
    if runs > MOST_RUNS:
        raise SimbotError(
            f"sweep: {runs} values are too many; at most {MOST_RUNS}, by a longer step or fewer --points"
        )
    for option in parts:
        axes = _with_parts(axes, option)
    return tuple(axes)


def _with_parts(axes: list[Axis], option: str) -> list[Axis]:
    """The parts go to the quantity that is named before them, or to the only one."""
    written, equals, text = (each.strip() for each in option.partition("="))
    if not equals:
        if len(axes) > 1:
            raise SimbotError(
                f"--parts {option}: of which quantity? KEY=VALUES, such as {axes[0].written}={option}"
            )
        return [replace(axes[0], parts=read_parts(axes[0], option))]
    named = [axis.written for axis in axes]
    if written not in named:
        raise SimbotError(
            f"--parts {option}: {quoted(written)} is not swept; would do: {', '.join(named)}{hint(written, named)}"
        )
    return [replace(axis, parts=read_parts(axis, text)) if axis.written == written else axis for axis in axes]


def read_states(robot: Robot, text: str | None) -> tuple[str, ...]:
    """Battery states, the one that the answer is for first: `tired`, `mid-event,tired`, `all`; None: mid-event."""
    names = [state.name for state in robot.battery]
    middle = "mid-event" if "mid-event" in names else names[len(names) // 2]
    if text is None:
        return (middle,)
    if text.strip() == "all":
        return (middle, *(name for name in names if name != middle))
    chosen = [each.strip() for each in text.split(",")]
    for name in chosen:
        if name not in names:
            raise SimbotError(
                f"--battery {text}: the robot has no battery state {quoted(name)}; it has {', '.join(names)}, "
                f"or all{hint(name, names)}"
            )
    return tuple(dict.fromkeys(chosen))


def read_by(text: str | None, measures: dict[str, Measure]) -> Measure:
    """The measure that says which value is best; None: the first."""
    if text is None:
        return next(iter(measures.values()))
    if text not in measures:
        if text in OF_MATCHES and "rate" in measures:
            raise SimbotError(f"--by {text}: it takes matches with chance: --matches N beside it")
        raise SimbotError(f"--by {text}: would do: {', '.join(measures)}{hint(text, measures)}")
    return measures[text]


def read_ask(robot: Robot, mechanism: str | None, ask: Ask) -> Ask:
    """The move that is looked at, held against the robot as its file is."""
    if mechanism is None:
        for option, text in (
            ("--from", ask.start),
            ("--to", ask.target),
            ("--turn", ask.turn),
            ("--load", ask.load),
        ):
            if text is not None:
                raise SimbotError(
                    f"{option} {text}: it belongs to one mechanism alone, simbot sweep ROBOT MECHANISM KEY=..."
                )
        return ask
    spec = mechanism_given(robot, mechanism)
    drives, positioned = spec.kind in DRIVES, "travel" in spec.values
    if ask.turn is not None and (not drives or ask.target is not None):
        raise SimbotError(f"--turn {ask.turn}: an angle that a drive turns in place, without --to")
    if ask.start is not None:
        if not positioned:
            raise SimbotError(f"--from {ask.start}: {mechanism} has no travel to start from")
        position_given("--from", ask.start, spec)
    if ask.target is not None:
        if not (positioned or drives):
            raise SimbotError(f"--to {ask.target}: {mechanism} only turns; it has nowhere to go")
        if positioned:
            position_given("--to", ask.target, spec)
    return ask


def read_matches(matches: int | None, mechanism: str | None) -> int:
    """Drawn matches at each value."""
    if matches is None:
        return 0
    if mechanism is not None:
        raise SimbotError(
            f"--matches {matches}: a mechanism alone plays none; simbot sweep PLAN KEY=FROM:TO does"
        )
    if matches < 2:
        raise SimbotError(f"--matches {matches}: two or more are wanted, or none without the option")
    return matches


def workers_for(given: int | None, kind: str, runs: int, cluster: str | None = None) -> int:
    """Processes: as many as are asked for, else one for what is soon done, and one a core for more."""
    if given is not None and cluster is not None:
        raise SimbotError(
            f"--workers {given}: the workers of --cluster {cluster} work, however many; give one"
        )
    if given is not None:
        if given < 1:
            raise SimbotError(f"--workers {given}: at least one is wanted")
        return given
    return 1 if runs <= FEW[kind] else os.cpu_count() or 1

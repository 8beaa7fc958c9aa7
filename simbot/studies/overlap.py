"""Which stretches of a routine could go together: each proposal is simulated before it is made.

A stretch is one or more commands up to the wait that times them. Two that stand side by side and send
different mechanisms may become branches that begin together. Stretches with a pick, a place or a hand over
keep their place: their waits guard what is in hand.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from simbot.scenario.model import (
    BatteryState,
    DriveForStep,
    DriveStep,
    EffortStep,
    MoveStep,
    Plan,
    SequenceStep,
    Step,
    TogetherStep,
    WaitStep,
    ZeroStep,
)
from simbot.scenario.plan_file import held_steps, sends, with_steps
from simbot.studies.network import paths_of
from simbot.studies.runs import Bench, Ran, broken_by
from simbot.studies.totals import saved
from simbot.studies.tune_results import Overlap, Overlaps

MOST_TRIED = 40


@dataclass(frozen=True)
class _Stretch:
    """Steps `first` to `last` of a sequence (both included)."""

    first: int
    last: int
    mechanisms: frozenset[str]
    waits: tuple[WaitStep, ...]
    branches: tuple[SequenceStep, ...]


@dataclass(frozen=True)
class _Pair:
    """Two neighbours in one sequence that may go together."""

    sequence: SequenceStep
    one: _Stretch
    other: _Stretch

    def includes(self, pair: _Pair) -> bool:
        """Whether it brings together what another pair did, in a plan changed since."""
        mine = {id(wait) for wait in self.one.waits}, {id(wait) for wait in self.other.waits}
        theirs = {id(wait) for wait in pair.one.waits}, {id(wait) for wait in pair.other.waits}
        return all(inner <= outer for inner, outer in zip(theirs, mine, strict=True))


def find_overlaps(bench: Bench, plan: Plan, asked: Sequence[BatteryState], shown: BatteryState) -> Overlaps:
    """Every proposal that holds alone, and those of them that hold together."""
    base = {battery.name: bench.run(plan, battery) for battery in (*asked, shown)}
    plan = base[shown.name].plan  # the very steps that its trace knows
    good: list[tuple[_Pair, Overlap]] = []
    pairs = list(_pairs(plan))[:MOST_TRIED]
    for pair in pairs:
        found = _tried(bench, _joined(plan, pair), base, asked, shown)
        if found is not None:
            good.append((pair, _overlap(pair, base[shown.name], found)))
    good.sort(key=lambda entry: -entry[1].saves_us)
    held, all_save, cycle = _together(bench, plan, good, base, asked, shown)
    return Overlaps(
        paths=paths_of(base[shown.name]),
        proposals=tuple(overlap for _, overlap in good),
        together=tuple(held),
        together_saves_us=all_save,
        together_cycle_saves_us=cycle,
        rejected=len(pairs) - len(good),
    )


@dataclass(frozen=True)
class _Gain:
    saves_us: int
    least_us: int
    cycle_us: int
    points: float


def _tried(
    bench: Bench, plan: Plan, base: dict[str, Ran], asked: Sequence[BatteryState], shown: BatteryState
) -> _Gain | None:
    """What a changed plan saves; None where it breaks something, loses a point or gains nothing."""
    before, ran = base[shown.name], bench.run(plan, shown)
    gain = saved(before, ran)
    if gain.routine_us < plan.robot.loop_us or not _holds(before, ran):
        return None
    least = gain.routine_us
    for battery in asked:
        other = bench.run(plan, battery)
        least = min(least, saved(base[battery.name], other).routine_us)
        if least < 0 or not _holds(base[battery.name], other):
            return None
    return _Gain(gain.routine_us, least, gain.cycle_us, ran.points - before.points)


def _holds(before: Ran, after: Ran) -> bool:
    """Nothing breaks that held before, and no point is lost."""
    return set(broken_by(after)) <= set(broken_by(before)) and after.points >= before.points


def _together(
    bench: Bench,
    plan: Plan,
    good: list[tuple[_Pair, Overlap]],
    base: dict[str, Ran],
    asked: Sequence[BatteryState],
    shown: BatteryState,
) -> tuple[list[int], int, int]:
    """Take the proposals one after the other, the best first, as long as all taken hold together."""
    held: list[int] = []
    best = cycle = 0
    for index, (pair, _) in enumerate(good):
        now = next((one for one in _pairs(plan) if one.includes(pair)), None)
        if now is None:
            continue
        changed = _joined(plan, now)
        found = _tried(bench, changed, base, asked, shown)
        if found is not None and found.saves_us > best:
            plan, best, cycle = changed, found.saves_us, found.cycle_us
            held.append(index)
    return held, best, cycle


def _overlap(pair: _Pair, ran: Ran, gain: _Gain) -> Overlap:
    labels: dict[int, tuple[str, ...]] = {}
    for wait in ran.trace.waits:
        timed = tuple(dict.fromkeys(ran.trace.moves[index].label for index in wait.moves))
        labels.setdefault(id(wait.given), timed)

    def said(stretch: _Stretch) -> tuple[str, ...]:
        return tuple(label for wait in stretch.waits for label in labels.get(id(wait), ()))

    return Overlap(
        lines=tuple(wait.line for wait in pair.other.waits),
        beside=tuple(wait.line for wait in pair.one.waits),
        labels=said(pair.other),
        beside_labels=said(pair.one),
        saves_us=gain.saves_us,
        saves_least_us=gain.least_us,
        cycle_saves_us=gain.cycle_us,
        points=gain.points,
    )


# --- stretches ------------------------------------------------------------------------------------------


def _pairs(plan: Plan) -> Iterator[_Pair]:
    """Neighbours that send different mechanisms, in file order."""
    roots = [*plan.routines.values(), *plan.periods.values()]
    if plan.endgame is not None:
        roots.append(plan.endgame.steps)
    for root in roots:
        for sequence in _sequences(root):
            stretches = list(_stretches(sequence))
            for one, other in pairwise(stretches):
                if one.last + 1 == other.first and not one.mechanisms & other.mechanisms:
                    yield _Pair(sequence, one, other)


def _sequences(step: Step) -> Iterator[SequenceStep]:
    if isinstance(step, SequenceStep):
        yield step
    for inner in held_steps(step):
        yield from _sequences(inner)


def _stretches(sequence: SequenceStep) -> Iterator[_Stretch]:
    first: int | None = None
    for index, step in enumerate(sequence.steps):
        if isinstance(step, TogetherStep) and first is None and _only_moves(step):
            yield _Stretch(index, index, _sent(step), tuple(_waits(step)), step.branches)
        elif isinstance(step, WaitStep) and _timed(step) and first is not None:
            steps = sequence.steps[first : index + 1]
            branch = SequenceStep(steps[0].line, steps)
            yield _Stretch(first, index, _sent(branch), tuple(_waits(branch)), (branch,))
            first = None
        elif _commands(step):
            first = index if first is None else first
        elif not (isinstance(step, WaitStep) and step.purpose is not None and first is not None):
            first = None


def _timed(step: WaitStep) -> bool:
    return step.purpose is None and step.until_us is None


def _commands(step: Step) -> bool:
    return isinstance(step, MoveStep | DriveStep | EffortStep | ZeroStep | DriveForStep)


def _only_moves(step: Step) -> bool:
    if isinstance(step, SequenceStep):
        return all(_only_moves(inner) for inner in step.steps)
    if isinstance(step, TogetherStep):
        return all(_only_moves(inner) for inner in step.branches)
    return _commands(step) or (isinstance(step, WaitStep) and step.until_us is None)


def _sent(step: Step) -> frozenset[str]:
    """Mechanisms that get a command in a step."""
    own = frozenset(name for name, _ in sends(step))
    return own.union(*map(_sent, held_steps(step)))


def _waits(step: Step) -> Iterator[WaitStep]:
    if isinstance(step, WaitStep):
        yield step
    for inner in held_steps(step):
        yield from _waits(inner)


# --- the changed plan -----------------------------------------------------------------------------------


def _joined(plan: Plan, pair: _Pair) -> Plan:
    """The plan with the two stretches as branches that begin together."""
    steps = pair.sequence.steps
    line = steps[pair.one.first].line
    both = TogetherStep(line, (*pair.one.branches, *pair.other.branches))
    new = replace(pair.sequence, steps=(*steps[: pair.one.first], both, *steps[pair.other.last + 1 :]))

    return with_steps(plan, lambda step: new if step is pair.sequence else step)

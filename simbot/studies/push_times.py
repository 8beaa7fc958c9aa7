"""How long an open-loop effort has to last: `effort: {lift: 80 %, toward: 0.6 m, for: 500 ms}`.

Too short it stops before its target set, too long it goes beyond; a stop at the end of the travel forgives that.
Both ends are found by bisection, in whole loops, on the moves of the routine, each alone and from rest, on every
battery asked for. What is suggested lies in the middle of what does on all of them, or a guard after the latest
touch; the whole routine is run with it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from simbot.analysis.better_timer import rounded_up
from simbot.analysis.words import extent, ms
from simbot.physics.build import DRIVES
from simbot.physics.move import DriveFor, Move, PushFor
from simbot.scenario.model import BatteryState, Plan
from simbot.studies.lone_moves import Alone, LoneMove, lone_moves
from simbot.studies.other_times import OtherTime, efforts_of, with_times
from simbot.studies.runs import Bench, broken_by
from simbot.studies.tune_results import TimerState, TunedTimer

MOST_US = 10_000_000  # that an effort is tried for
ROUNDS = 4


@dataclass(frozen=True)
class Span:
    """Durations with which a move comes to rest in its set, in loops."""

    least: int | None  # None: none of those tried is long enough
    most: int | None  # None: as long as you like, there is a stop

    @property
    def empty(self) -> bool:
        return self.least is None or (self.most is not None and self.most < self.least)


@dataclass(frozen=True)
class Pushed:
    plan: Plan  # with the suggested durations
    timers: tuple[TunedTimer, ...]


def tune_pushes(
    bench: Bench, plan: Plan, asked: Sequence[BatteryState], shown: BatteryState, seen: Plan | None = None
) -> Pushed:
    """Better durations for the efforts of a plan: where one comes to rest is where the next begins.

    `seen`: the same plan with waits and efforts that have been tuned; the moves are taken from its runs.
    """
    times = efforts_of(plan)
    if not times:
        return Pushed(plan, ())
    first = [_Found(bench, plan, time, asked) for time in times]
    tuned, last, values = plan, first, [time.now_us for time in times]
    if seen is not None:
        own = efforts_of(seen)
        tuned, values = seen, [time.now_us for time in own]
        last = [_Found(bench, seen, time, asked) for time in own]
    for _ in range(ROUNDS):
        wishes = [one.wish_us for one in last]
        if wishes == values:
            break
        values = wishes
        tuned = with_times(tuned, dict(zip(efforts_of(tuned), values, strict=True)))
        last = [_Found(bench, tuned, time, asked) for time in efforts_of(tuned)]
    tuned = with_times(plan, dict(zip(times, values, strict=True)))
    held = next((text for battery in asked for text in _breaks(bench, plan, tuned, battery)), "")
    if held:
        tuned, last, values = plan, first, [time.now_us for time in times]
    told = [
        one.timer(value, end.common, held, shown) for one, end, value in zip(first, last, values, strict=True)
    ]
    return Pushed(tuned, tuple(told))


def _breaks(bench: Bench, plan: Plan, tuned: Plan, battery: BatteryState) -> list[str]:
    known = broken_by(bench.run(plan, battery))
    return [one.text for mark, one in broken_by(bench.run(tuned, battery)).items() if mark not in known]


class _Found:
    """One duration: with what each battery is content, and what is suggested."""

    def __init__(self, bench: Bench, plan: Plan, time: OtherTime, asked: Sequence[BatteryState]) -> None:
        self.plan, self.time, self.asked = plan, time, [one.name for one in asked]
        self.runs = {battery.name: bench.run(plan, battery) for battery in plan.robot.battery}
        self.tick_us = plan.robot.loop_us
        self.ticks = -(-time.now_us // self.tick_us)
        keys = {(step.line, getattr(step, "mechanism", "")) for step in time.steps}
        self.moves: dict[str, list[LoneMove]] = {}
        self.spans: dict[str, Span] = {}
        self.played: dict[str, list[Move]] = {}
        for battery in plan.robot.battery:
            alone = Alone(bench.models, battery)
            found = lone_moves(self.runs[battery.name].trace, bench.models.robot)
            own = [one for one in found if one.timed and (one.line, one.mechanism) in keys]
            self.moves[battery.name] = own
            self.played[battery.name] = alone.play(own, bench.models.robot)
            spans = [span_of(_reach(alone, one, self.tick_us), MOST_US // self.tick_us) for one in own]
            self.spans[battery.name] = _common(spans)
        self.common = _common([self.spans[name] for name in self.asked])
        self.wish_us = self._wish()

    def _wish(self) -> int:
        now, span = self.time.now_us, self.common
        if self.time.fixed or span.empty or span.least is None or not any(self.moves.values()):
            return now
        if span.least <= self.ticks and (span.most is None or self.ticks <= span.most):
            return now
        if span.most is None:
            return rounded_up(
                span.least * self.tick_us + self.plan.guard_us, self.tick_us, self.time.grain_us
            )
        middle = (span.least + span.most) // 2 * self.tick_us
        wish = rounded_up(middle, self.tick_us, self.time.grain_us)
        return wish if wish <= span.most * self.tick_us else now

    def timer(self, value_us: int, right: Span, held: str, shown: BatteryState) -> TunedTimer:
        records = [
            (index, record)
            for index, record in enumerate(self.runs[shown.name].trace.moves)
            if any(
                record.line == step.line and record.move.mechanism == getattr(step, "mechanism", "")
                for step in self.time.steps
            )
        ]
        labels = tuple(dict.fromkeys(record.label for _, record in records))
        floors = [move.floor_s() for name in self.asked for move in self.played[name]]
        known = [round(floor * 1e6) for floor in floors if floor is not None]
        source = self.time.source
        return TunedTimer(
            step=records[0][1].step if records else None,
            line=self.time.line,
            name=source.name if source else f"line {self.time.line}, for",
            labels=labels,
            source=source,
            now_us=self.time.now_us,
            suggested_us=value_us,
            floor_us=max(known, default=None),
            arrival_us=None,
            times=len(records),
            reason=self._reason(value_us, right, held),
            gain_us=None,
            states=tuple(self._state(name) for name in self.runs if self.moves[name]),
            needs=(),
            what="effort",
        )

    def _reason(self, value_us: int, right: Span, held: str) -> str:
        if not any(self.moves.values()):
            return "never carried out: nothing to judge it by"
        if self.common.empty or right.empty:
            each = "; ".join(f"{self._told(self.spans[name])} on {name}" for name in self.asked)
            return f"no time does on every battery asked for ({each}): a sensor or a stop would"
        does = f"{self._told(right)} does on every battery asked for"
        if value_us != self.time.now_us:
            return f"{self._off() if self._misses() else 'begins elsewhere with the others'}: {does}"
        if not self._misses():
            return f"good: {does}"
        if held:
            return f"{self._off()}; {does}, and breaks this: {held}"
        why = (
            "several numbers in the code make it, or several times read it"
            if self.time.fixed
            else "no number of its unit lies there"
        )
        return f"{self._off()}: {does}; {why}"

    def _misses(self) -> bool:
        span = self.common
        return self.ticks < (span.least or 0) or (span.most is not None and self.ticks > span.most)

    def _off(self) -> str:
        """Where it comes to rest now, on the battery that is furthest off."""
        for name in (*reversed(self.asked), *self.asked):
            for one, move in zip(self.moves[name], self.played[name], strict=True):
                if move.arrival_us() is None:
                    word = "too short" if self.ticks < (self.spans[name].least or 0) else "too long"
                    return f"{word} on {name}: {self._ends(one, move)}"
        return "not inside its window"

    def _ends(self, one: LoneMove, move: Move) -> str:
        spec = self.plan.robot.mechanisms[one.mechanism]
        if spec.kind in DRIVES:
            went, meant = move.went()
            way = "angle" if isinstance(one.command, DriveFor) and one.command.direction is None else "length"
            return f"goes {extent(went, way)}, not {extent(meant, way)}"
        return (
            f"ends at {extent(move.ends_at(), spec.coordinate)}, not {extent(move.target, spec.coordinate)}"
        )

    def _told(self, span: Span) -> str:
        if span.least is None:
            return "none long enough"
        if span.most is None:
            return f"{ms(span.least * self.tick_us)} or longer"
        if span.most < span.least:
            return f"none between too short ({ms(span.most * self.tick_us)}) and too long"
        return f"{ms(span.least * self.tick_us)} to {ms(span.most * self.tick_us)}"

    def _state(self, name: str) -> TimerState:
        moves, run = self.played[name], self.runs[name]
        arrivals = [move.arrival_us() for move in moves]
        floors = [round(floor * 1e6) for move in moves if (floor := move.floor_s()) is not None]
        real = self.ticks * self.tick_us
        never = any(arrival is None for arrival in arrivals)
        short = self.spans[name].least is None or self.ticks < (self.spans[name].least or 0)
        verdict = ("short" if short else "never") if never else "snug"
        missed = any(
            run.links.missed(index)
            for index, record in enumerate(run.trace.moves)
            if (record.line, record.move.mechanism) in {(own.line, own.mechanism) for own in self.moves[name]}
        )
        return TimerState(
            state=name,
            times=sum(one.times for one in self.moves[name]),
            floor_us=max(floors, default=None),
            arrival_us=None if never else max((arrival or 0 for arrival in arrivals), default=None),
            real_us=real,
            margin_us=None,
            verdict=verdict,
            consequence=("breaking" if missed else "harmless") if never else None,
            tuned_margin_us=None,
        )


def _reach(alone: Alone, one: LoneMove, tick_us: int) -> Callable[[int], int]:
    """-1 where an effort of so many loops stops short of its set, 1 where it goes beyond, 0 where it stays inside."""
    assert isinstance(one.command, PushFor | DriveFor)
    command = one.command

    def reach(ticks: int) -> int:
        tried = replace(one, command=replace(command, duration_us=ticks * tick_us))
        (move,) = alone.play([tried], alone.models.robot)
        if move.arrival_us() is not None:
            return 0
        went, meant = move.went()
        return -1 if (meant - went) * meant > 0.0 else 1

    return reach


def span_of(reach: Callable[[int], int], most: int) -> Span:
    """The durations that do, in loops up to `most`; a longer one never reaches less far."""
    if reach(most) < 0:
        return Span(None, None)
    least = _first(lambda ticks: reach(ticks) >= 0, most)
    if reach(most) == 0:
        return Span(least, None)
    return Span(least, _first(lambda ticks: reach(ticks) > 0, most) - 1)


def _first(holds: Callable[[int], bool], high: int) -> int:
    """The first from 0 on for which something holds that holds for `high`."""
    low = -1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def _common(spans: Sequence[Span]) -> Span:
    """What does for all of them."""
    if not spans or any(span.least is None for span in spans):
        return Span(None, None)
    ends = [span.most for span in spans if span.most is not None]
    return Span(max(span.least or 0 for span in spans), min(ends, default=None))

"""Carries a plan through the match, event by event: what waits for what, and what goes on when.

Order within one instant, which is part of what a plan means:

1. branches that begin, in file order;
2. picks whose `by` has arrived for good;
3. waits that end on this tick, in the order in which they began, those that began together in file order;
   each goes on to its next wait before the next one is woken;
4. the end of a period or the begin of the endgame: the last instant still belongs to what ends.

Predictions (when code sees an arrival, when a pick holds) are made again whenever something was commanded.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from typing import Any

import simpy

from simbot.physics.move import Move
from simbot.physics.plant import Plant
from simbot.routine.acting import Actor, Grip
from simbot.routine.trace import Cut, Log, QueueRecord, Trace, WaitRecord
from simbot.scenario.errors import Problem, ScenarioError
from simbot.scenario.model import (
    DriveForStep,
    DriveStep,
    EffortStep,
    HandOverStep,
    MoveStep,
    PickStep,
    PlaceStep,
    Plan,
    RepeatStep,
    RunStep,
    SequenceStep,
    SpinStep,
    Step,
    TogetherStep,
    WaitStep,
)

Steps = Generator[simpy.Event, None, None]

TURN, CUT = (
    2,
    3,
)  # priorities below simpy's own (0 urgent, 1 normal): first let everything else at an instant happen
BEGIN, HOLD, WAIT = 0, 1, 2  # ranks within a turn
IDLE_ROUNDS = 1000  # rounds of a repeat in which no time passes before it is called endless


@dataclass(slots=True)
class _Branch:
    """One line of steps. `key` orders branches as they stand in the file; `pending` awaits the next wait."""

    key: tuple[int, ...]
    pending: list[int] = field(default_factory=list)


@dataclass(slots=True)
class _Pause:
    """A branch that stands still until an instant; None: until a prediction says when, or for ever."""

    event: simpy.Event
    branch: _Branch
    began_us: int
    due_us: int | None
    step: Step
    limit_us: int | None = None  # of a wait for arrival
    seen: bool = False
    where: str = ""  # at this station or place
    over: bool = False


class _Instant(simpy.Event):
    """Calls back at an instant, after everything of higher priority there."""

    def __init__(
        self, env: simpy.Environment, call: Callable[[simpy.Event], None], priority: int, at_us: int
    ):
        super().__init__(env)
        self.callbacks = [call]
        self._ok = True
        self._value = None
        env.schedule(self, priority, at_us - env.now)  # type: ignore[arg-type]


def run(plan: Plan, plant: Plant) -> Trace:
    """One nominal run of a plan on a plant that stands at the start of the match."""
    return _Run(plan, plant).go()


class _Run:
    def __init__(self, plan: Plan, plant: Plant) -> None:
        self.plan = plan
        self.plant = plant
        self.env: Any = simpy.Environment()
        self.log = Log()
        self.actor = Actor(plan, plant, self.log)
        self.end_us = self.actor.world.end_us
        self.pauses: list[_Pause] = []
        self.agenda: list[tuple[int, int, int, tuple[int, ...], int, _Pause | Grip]] = []
        self.turns: set[int] = set()
        self.serial = 0
        self.process: simpy.Process | None = None
        self.over: simpy.Event = self.env.event()
        self.handlers: dict[type[Step], Callable[[Any, _Branch], Steps | None]] = {
            MoveStep: lambda step, branch: branch.pending.extend(self.actor.move(step)),
            DriveStep: lambda step, branch: branch.pending.extend(self.actor.drive(step)),
            DriveForStep: lambda step, branch: branch.pending.extend(self.actor.drive_for(step)),
            EffortStep: lambda step, branch: branch.pending.extend(self.actor.effort(step)),
            SpinStep: lambda step, branch: branch.pending.extend(self.actor.spin(step)),
            HandOverStep: lambda step, branch: branch.pending.append(self.actor.grip(step)),
            WaitStep: self._wait,
            PickStep: self._pick,
            PlaceStep: self._place,
            SequenceStep: lambda step, branch: self._sequence(step, branch),
            TogetherStep: self._together,
            RepeatStep: self._repeat,
            RunStep: lambda step, branch: self._sequence(self.plan.routines[step.routine], branch),
        }

    def go(self) -> Trace:
        at_us = 0
        endgame = self.plan.endgame
        for period in self.plan.game.periods:
            steps = self.plan.periods.get(period.name)
            if at_us == 0:
                self._begin(period.name, steps)
            elif endgame is None or at_us < endgame.begin_us:  # the endgame's routine goes on to the end
                self._boundary(at_us, period.name, steps)
            at_us += period.duration_us
        if endgame is not None:
            self._boundary(endgame.begin_us, "endgame", endgame.steps)
        _Instant(self.env, self._finish, CUT, self.end_us)
        self.env.run(until=self.over)
        return self.log.trace(self.end_us)

    # --- periods --------------------------------------------------------------------------------------

    def _begin(self, period: str, steps: SequenceStep | None) -> None:
        self.log.period = period
        self.process = None
        if steps is not None:
            self.process = self.env.process(self._sequence(steps, _Branch(())))

    def _boundary(self, at_us: int, period: str, steps: SequenceStep | None) -> None:
        """At this instant a period (or the endgame) takes over from the routine that is under way."""

        def take_over(_: simpy.Event) -> None:
            self._cut()
            self._begin(period, steps)

        _Instant(self.env, take_over, CUT, at_us)

    def _cut(self) -> None:
        """End the routine that is under way; mechanisms and closing picks carry on."""
        now = self.env.now
        self.plant.advance(now)
        if self.process is not None and self.process.is_alive:
            self.log.cuts.append(Cut(self.log.period, now))
        for pause in self.pauses:
            pause.over = True
            self._record(pause, cut=True)
        self.pauses.clear()

    def _finish(self, _: simpy.Event) -> None:
        self._cut()
        self.actor.finish()
        self.over.succeed()

    # --- turns ----------------------------------------------------------------------------------------

    def _turn_at(self, at_us: int) -> None:
        if at_us not in self.turns:
            self.turns.add(at_us)
            _Instant(self.env, self._turn, TURN, at_us)

    def _put(self, rank: int, due_us: int, what: _Pause | Grip) -> None:
        """Put something on the agenda."""
        began, key = (what.began_us, what.branch.key) if isinstance(what, _Pause) else (what.begins_us, ())
        self.serial += 1
        heapq.heappush(self.agenda, (due_us, rank, began, key, self.serial, what))
        self._turn_at(due_us)

    def _turn(self, _: simpy.Event) -> None:
        """Let the first thing that is due now happen, and come back for the next once that has settled."""
        now = self.env.now
        self.turns.discard(now)
        self.plant.advance(now)
        if self.actor.changed:
            self._predict()
        agenda = self.agenda
        while agenda and agenda[0][0] == now:
            what = heapq.heappop(agenda)[5]
            if what.over or what.due_us != now:
                continue  # it was cut, or a later prediction moved it
            if isinstance(what, Grip):
                self.actor.settle(what)
            else:
                what.over = True
                what.event.succeed()
            if self.actor.changed or (agenda and agenda[0][0] == now):
                self._turn_at(now)
            return

    def _predict(self) -> None:
        """Say again when waits for arrival end and picks hold."""
        self.actor.changed = False
        for grip in self.actor.grips:
            before = grip.due_us
            self.actor.predict(grip)
            if grip.due_us is not None and grip.due_us != before:
                self._put(HOLD, grip.due_us, grip)
        for pause in self.pauses:
            if isinstance(pause.step, WaitStep) and pause.step.arrival and not pause.over:
                self._predict_arrival(pause)

    def _predict_arrival(self, pause: _Pause) -> None:
        limit = pause.limit_us
        awaited = self._awaited(pause)
        if awaited:
            last = self.end_us if limit is None else min(limit, self.end_us)
            seen = self.plant.first_seen_us(awaited, last)
        else:
            seen = self.plant.tick_at_or_after(pause.began_us)
        pause.seen = seen is not None
        due = seen if seen is not None else limit
        if due is not None and due != pause.due_us:
            self._put(WAIT, due, pause)
        pause.due_us = due

    def _awaited(self, pause: _Pause) -> list[Move]:
        """What a wait for arrival looks at: for a move that was taken over, the one that took over."""
        moves = self.log.moves
        newest = {self.actor.latest[moves[index].move.mechanism] for index in pause.branch.pending}
        return [moves[index].move for index in sorted(newest)]

    def _stand(self, pause: _Pause) -> Steps:
        """Stand still until the pause is over."""
        self.pauses.append(pause)
        if pause.due_us is not None:
            self._put(WAIT, pause.due_us, pause)
        yield pause.event
        self.pauses.remove(pause)
        self._record(pause, cut=False)

    # --- steps ----------------------------------------------------------------------------------------

    def _sequence(self, sequence: SequenceStep, branch: _Branch) -> Steps:
        handlers = self.handlers
        for step in sequence.steps:
            going_on = handlers[type(step)](step, branch)
            if going_on is not None:
                yield from going_on
            elif self.actor.changed and (self.pauses or self.actor.grips):
                self._turn_at(self.env.now)

    def _wait(self, step: WaitStep, branch: _Branch) -> Steps:
        now = self.env.now
        tick = self.plant.tick_at_or_after
        pause = _Pause(self.env.event(), branch, now, None, step)
        self.log.number(step.line)
        if step.arrival:
            if step.at_most_us is not None:
                pause.limit_us = tick(now + step.at_most_us)
            self.actor.changed = True
            self._turn_at(now)
        elif step.until_us is not None:
            pause.due_us = tick(max(now, step.until_us))
        else:
            pause.due_us = tick(now + (step.duration_us or 0))
        return self._stand(pause)

    def _pick(self, step: PickStep, branch: _Branch) -> Steps | None:
        supply = self.actor.world.supplies[step.station]
        if supply.free_from(self.env.now) == self.env.now:
            branch.pending.append(self.actor.grip(step))
            return None
        return self._queue(step, branch, step.station, supply.free_from)

    def _place(self, step: PlaceStep, branch: _Branch) -> Steps | None:
        site = self.actor.world.sites[step.place]
        if site.free_from(self.env.now) == self.env.now:
            branch.pending.append(self.actor.place(step))
            return None
        return self._queue(step, branch, step.place, site.free_from)

    def _queue(
        self, step: PickStep | PlaceStep, branch: _Branch, where: str, free_from: Callable[[int], int | None]
    ) -> Steps:
        """Wait at the step until there is something to take, or the place has been cleared."""
        self.log.number(step.line)
        while (free := free_from(self.env.now)) != self.env.now:
            due = None if free is None else self.plant.tick_at_or_after(free)
            yield from self._stand(_Pause(self.env.event(), branch, self.env.now, due, step, where=where))
        act = self.actor.grip(step) if isinstance(step, PickStep) else self.actor.place(step)
        branch.pending.append(act)
        self._turn_at(self.env.now)

    def _together(self, step: TogetherStep, branch: _Branch) -> Steps:
        children = [_Branch((*branch.key, order)) for order in range(len(step.branches))]
        yield self.env.all_of(
            [
                self.env.process(self._branch(sequence, child))
                for sequence, child in zip(step.branches, children, strict=True)
            ]
        )
        for child in children:
            branch.pending.extend(child.pending)

    def _branch(self, sequence: SequenceStep, branch: _Branch) -> Steps:
        now = self.env.now
        start = _Pause(self.env.event(), branch, now, now, sequence)
        self._put(BEGIN, now, start)
        yield start.event
        yield from self._sequence(sequence, branch)

    def _repeat(self, step: RepeatStep, branch: _Branch) -> Steps:
        rounds = idle = 0
        while step.times is None or rounds < step.times:
            began = self.env.now
            yield from self._sequence(step.steps, branch)
            rounds += 1
            idle = idle + 1 if self.env.now == began else 0
            if step.times is None and idle == IDLE_ROUNDS:
                raise ScenarioError([_endless(self.plan, step)])

    # --- records --------------------------------------------------------------------------------------

    def _record(self, pause: _Pause, cut: bool) -> None:
        """Write a pause down, and let a wait that was waited out time what was pending."""
        now = self.env.now
        step, branch = pause.step, pause.branch
        number = self.log.number(step.line)
        if not isinstance(step, WaitStep):
            self.log.queues.append(QueueRecord(number, step.line, pause.where, pause.began_us, now))
            return
        seen = step.arrival and pause.seen and not cut
        self.log.waits.append(
            WaitRecord(
                number,
                step.line,
                pause.began_us,
                now,
                step.duration_us,
                step.purpose,
                step.arrival,
                seen,
                cut,
                tuple(branch.pending) if step.purpose is None else (),
                () if seen or not step.arrival else self._missing(pause),
                step.measured,
                step,
            )
        )
        if step.purpose is None:
            branch.pending.clear()

    def _missing(self, pause: _Pause) -> tuple[str, ...]:
        """Mechanisms that code does not see arrived now."""
        now = self.env.now
        return tuple(
            move.mechanism for move in self._awaited(pause) if self.plant.first_seen_us([move], now) is None
        )


def _endless(plan: Plan, step: RepeatStep) -> Problem:
    return Problem(
        str(plan.path),
        step.line,
        1,
        "repeat",
        "until period_end",
        "at least one wait that takes time among its steps",
        None,
        "the repeat never ends: its steps take no time",
    )

"""Who goes on when: pauses, their instants, and the order of what happens at one instant.

1. branches that begin, in file order;
2. picks whose `by` has arrived for good;
3. waits that end on this tick, in the order in which they began, those that began together in file order;
   each goes on to its next wait before the next one is woken;
4. the end of a period or the begin of the endgame: the last instant still belongs to what ends.

Predictions (when code sees an arrival or a passing, when a pick holds) are made again whenever something was
commanded.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Generator, Iterable
from dataclasses import dataclass, field
from typing import Any

import simpy

from simbot.physics.luck import Luck
from simbot.physics.move import Move
from simbot.physics.plant import Plant
from simbot.physics.told import Told
from simbot.routine.acting import Actor, Attempt, Grip
from simbot.routine.trace import Log, QueueRecord, WaitRecord
from simbot.routine.world import World
from simbot.scenario.model import Past, Plan, Step, WaitStep

Steps = Generator[simpy.Event, None, None]
Events = Iterable[simpy.Event]  # to be waited for, one after the other

# priorities below simpy's own (0 urgent, 1 normal): first let everything else at an instant happen
TURN, CUT = 2, 3
BEGIN, HOLD, WAIT = 0, 1, 2  # ranks within a turn


@dataclass(slots=True)
class Branch:
    """One line of steps. `key` orders branches as they stand in the file; `pending` awaits the next wait."""

    key: tuple[int, ...]
    pending: list[int] = field(default_factory=list)
    attempt: Attempt | None = None  # the try that its steps are part of
    leaving: bool = False  # the innermost repeat
    request: Any = None  # for a station or place that somebody else is at
    cut: bool = False  # of a try with a limit: it was ended from outside

    def child(self, order: int, attempt: Attempt | None) -> Branch:
        return Branch((*self.key, order), [], attempt)


class Pause(simpy.Event):
    """A branch that stands still until an instant; None: until a prediction says when, or for ever."""

    arrival = False  # it waits for one
    past: Past | None = None  # or for this
    limit_us: int | None = None  # of either
    seen = False
    unseen = False  # so far: it has not been looked for up to the limit
    over = False
    number = 0  # of its step
    allowed_us = 0  # by which an allowance lengthens it

    def __init__(
        self,
        env: Any,
        branch: Branch,
        due_us: int | None,
        step: Step,
        where: str = "",  # at this station or place
        why: str = "",
        purpose: str | None = None,
    ) -> None:
        self.env, self.callbacks = env, []
        self.branch, self.began_us, self.due_us, self.step = branch, env.now, due_us, step
        self.where, self.why, self.purpose = where, why, purpose

    def go_on(self) -> None:
        """Let its branch go on at once: in a turn nothing else is left to happen first."""
        self._ok, self._value = True, None
        callbacks, self.callbacks = self.callbacks, None  # type: ignore[assignment]
        for call in callbacks:
            call(self)


class Instant(simpy.Event):
    """Calls back at an instant, after everything of higher priority there."""

    def __init__(
        self, env: simpy.Environment, call: Callable[[simpy.Event], None], priority: int, at_us: int
    ):
        self.env, self.callbacks = env, [call]
        self._ok, self._value = True, None
        env.schedule(self, priority, at_us - env.now)  # type: ignore[arg-type]


class Turns:
    """One robot's branches, pauses and predictions."""

    def __init__(self, env: Any, plan: Plan, plant: Plant, world: World, luck: Luck, alone: bool) -> None:
        self.env = env
        self.plan = plan
        self.plant = plant
        self.luck = luck
        self.log = Log()
        self.actor = Actor(plan, plant, self.log, world)
        self.world = world
        self.end_us = world.end_us
        self.pauses: list[Pause] = []
        self.agenda: list[tuple[int, int, int, tuple[int, ...], int, Pause | Grip]] = []
        self.limited: list[Branch] = []  # tries under way that have a limit
        self.turns: set[int] = set()
        self.alone = alone
        self.under_way: int | None = None  # instant of its turn; nobody else's comes between as it is alone
        self.again = False  # more is to happen in it
        self.serial = 0
        self.lost = 0  # resets of the program that have been dealt with
        self.looked_to: int | None = (
            None  # instant up to which some wait has been looked ahead, and no farther
        )

    # --- turns ----------------------------------------------------------------------------------------

    def turn_at(self, at_us: int) -> None:
        if at_us == self.under_way:
            self.again = True
        elif at_us not in self.turns:
            self.turns.add(at_us)
            Instant(self.env, self._turn, TURN, at_us)

    def put(self, rank: int, due_us: int, what: Pause | Grip) -> None:
        """Put something on the agenda."""
        began, key = (what.began_us, what.branch.key) if isinstance(what, Pause) else (what.begins_us, ())
        self.serial += 1
        heapq.heappush(self.agenda, (due_us, rank, began, key, self.serial, what))
        self.turn_at(due_us)

    def _turn(self, _: simpy.Event) -> None:
        """Let what is due now happen, one thing after the other: each once the one before it has settled."""
        now = self.env.now
        self.turns.discard(now)
        self.under_way = now if self.alone else None
        self.plant.advance(now)
        self._next(now)
        while self.again and self.env.peek() > now:
            self.again = False
            self._next(now)
        self.under_way = None
        if self.again:  # something else happens first
            self.again = False
            self.turn_at(now)

    def _next(self, now: int) -> None:
        """Let the first thing that is due now happen."""
        resets = self.plant.program_resets()  # what was commanded now may have brought one
        if len(resets) > self.lost:
            self.lost = len(resets)
            self.program_lost(resets[-1][0])
        if self.actor.changed:
            self._predict()
        if not self._is_due(now):
            if self.looked_to == now:
                self._look_on()
            return
        _, rank, _, _, _, what = heapq.heappop(self.agenda)
        if isinstance(what, Grip):
            if self.actor.settle(what):
                self.held(what)
        else:
            what.over = True
            if rank == WAIT:
                self.pauses.remove(what)
                self.record(what, cut=False)
        if self.actor.changed or self.looked_to == now or self._is_due(now):
            self.turn_at(now)
        if isinstance(what, Pause):
            what.go_on()

    def _is_due(self, now: int) -> bool:
        """Whether something on the agenda is to happen now."""
        agenda = self.agenda
        while agenda and agenda[0][0] == now:
            what = agenda[0][5]
            if not what.over and what.due_us == now:
                return True
            heapq.heappop(agenda)  # it was cut, or a later prediction moved it
        return False

    def program_lost(self, at_us: int) -> None:
        """The code was reset."""

    def held(self, grip: Grip) -> None:
        """A pick or hand over holds now."""

    # --- predictions ----------------------------------------------------------------------------------

    def _predict(self) -> None:
        """Say again when waits for arrival end and picks hold."""
        self.actor.changed = False
        down = self.plant.next_program_reset_us(self.lost)
        if down is not None:
            self.turn_at(max(down, self.env.now))
        self.expect_holds()
        self.looked_to = None
        for pause in self.pauses:
            if pause.past is not None:
                self._expect(pause, self._passes(pause, pause.past))
            elif pause.arrival:
                self._expect(pause, self._arrives(pause))

    def _look_on(self) -> None:
        """Look farther ahead for what had not been seen until now."""
        self.looked_to = None
        for pause in self.pauses:
            if pause.unseen:
                self._expect(pause, self._arrives(pause))

    def _next_turn(self) -> int:
        """The next instant at which something may be commanded: what is looked ahead beyond it may be in vain."""
        now = int(self.env.now)
        if self._is_due(now):
            return now
        return min((at for at in self.turns if at > now), default=self.end_us)

    def expect_holds(self) -> None:
        """Say again when picks and hand overs that are closing will hold."""
        for grip in self.actor.grips:
            before = grip.due_us
            self.actor.predict(grip)
            if grip.due_us is not None and grip.due_us != before:
                self.put(HOLD, grip.due_us, grip)

    def _expect(self, pause: Pause, seen: int | None) -> None:
        limit = pause.limit_us
        if seen is not None and limit is not None and seen > limit:
            seen = None
        pause.seen = seen is not None
        due = seen if seen is not None else limit
        if due is not None and due != pause.due_us:
            self.put(WAIT, due, pause)
        pause.due_us = due

    def _last(self, pause: Pause) -> int:
        return self.end_us if pause.limit_us is None else min(pause.limit_us, self.end_us)

    def _arrives(self, pause: Pause) -> int | None:
        """The tick at which code sees that all has arrived; a person's allowance comes on top."""
        awaited = self.awaited(pause)
        if not awaited:
            return self.plant.tick_at_or_after(pause.began_us)
        last = self._last(pause)
        until = min(last, self._next_turn())
        seen = self.plant.first_seen_us(awaited, until)
        pause.unseen = seen is None and until < last
        if pause.unseen:
            self.looked_to = until
        if seen is None or not self.luck.drawn or not self.actor.allowances:
            return seen
        without = seen
        for index in pause.branch.pending:
            share = self.actor.allowances.get(index)
            if share:
                begin = self.log.moves[index].move.start_us
                seen = max(seen, self.plant.tick_at_or_after(round(seen + share * (seen - begin))))
        pause.allowed_us = seen - without
        return seen

    def _passes(self, pause: Pause, past: Past) -> int | None:
        """The tick at which code sees a mechanism past a point of its way."""
        index = self.actor.latest.get(past.mechanism)
        if index is None and past.position is None:
            return None
        move = None if index is None else self.log.moves[index].move
        return self.plant.first_past_us(past.mechanism, move, past.share, past.position, self._last(pause))

    def awaited(self, pause: Pause) -> list[Move]:
        """What a wait for arrival looks at: for a move that was taken over, the one that took over."""
        moves = self.log.moves
        newest = {self.actor.latest[moves[index].move.mechanism] for index in pause.branch.pending}
        return [moves[index].move for index in sorted(newest)]

    # --- pauses ---------------------------------------------------------------------------------------

    def stand(self, pause: Pause) -> Events:
        """Stand still until the pause is over."""
        pause.number = self.log.number(pause.step.line)
        self.pauses.append(pause)
        if pause.due_us is not None:
            self.put(WAIT, pause.due_us, pause)
        return (pause,)

    def stand_still(self, branch: Branch, step: Step, lasts_us: int, where: str, why: str) -> Events:
        """Stand still for a time before a step."""
        due = self.plant.tick_at_or_after(self.env.now + lasts_us)
        return self.stand(Pause(self.env, branch, due, step, where, why))

    def cut_branches(self, key: tuple[int, ...]) -> None:
        """End all branches from one on down; what their mechanisms do goes on."""
        for branch in [each for each in self.limited if each.key[: len(key)] == key]:
            branch.cut = True
            self.limited.remove(branch)
        for pause in [each for each in self.pauses if each.branch.key[: len(key)] == key]:
            pause.over = True
            self.pauses.remove(pause)
            if pause.branch.request is not None:
                pause.branch.request.cancel()
                pause.branch.request.resource.release(pause.branch.request)  # it may just have been granted
                pause.branch.request = None
            self.record(pause, cut=True)

    def record(self, pause: Pause, cut: bool) -> None:
        """Write a pause down, and let a wait that was waited out time what was pending."""
        now = self.env.now
        step, branch, number = pause.step, pause.branch, pause.number
        if pause.where:
            record = QueueRecord(number, step.line, pause.where, pause.began_us, now, pause.why)
            self.log.queues.append(record)
            return
        if pause.purpose is not None or not isinstance(step, WaitStep):
            if pause.purpose is not None:
                self.log.waits.append(
                    WaitRecord(
                        number, step.line, pause.began_us, now, None, pause.purpose, False, pause.seen, cut,
                        (), (), (), step, self.log.period,
                    )
                )  # fmt: skip
            return
        seen = pause.seen and not cut
        missing = () if seen or not step.arrival else self._missing(pause)
        if pause.allowed_us and not cut and (seen or not step.arrival):
            self.log.allowed_us += pause.allowed_us
        times = step.purpose is None and step.past is None
        limited = step.arrival or step.past is not None
        if self.log.told is Told.ALL or cut or missing:
            self.log.waits.append(
                WaitRecord(
                    number,
                    step.line,
                    pause.began_us,
                    now,
                    None if step.duration_us is None else int(step.duration_us),
                    step.purpose if step.past is None else "passing",
                    step.arrival,
                    seen,
                    cut,
                    tuple(branch.pending) if times else (),
                    missing,
                    step.measured,
                    step,
                    self.log.period,
                )
            )
        if limited and not seen and not cut and branch.attempt is not None:
            branch.attempt.fail(f"the limit of step {number} ran out")
        if times:
            branch.pending.clear()

    def _missing(self, pause: Pause) -> tuple[str, ...]:
        """Mechanisms that code does not see arrived now."""
        now = self.env.now
        return tuple(
            move.mechanism for move in self.awaited(pause) if self.plant.first_seen_us([move], now) is None
        )

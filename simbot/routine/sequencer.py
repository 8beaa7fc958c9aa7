"""Carries a plan through the match, step by step: what each step does, and which comes next.

When who goes on is the business of `turns`, what a step does at an instant that of `acting`. A second robot
and others on the field share the clock, the stations and the places; a station or place has room for one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import simpy

from simbot.physics.luck import NOMINAL, Luck
from simbot.physics.plant import Plant
from simbot.routine.acting import Attempt, Grip
from simbot.routine.keys import draw_keys
from simbot.routine.trace import Cut, Failure, Trace
from simbot.routine.turns import BEGIN, CUT, WAIT, Branch, Instant, Pause, Steps, Turns
from simbot.routine.world import World
from simbot.scenario.errors import Problem, ScenarioError
from simbot.scenario.model import (
    ActStep,
    Condition,
    DriveForStep,
    DriveStep,
    EffortStep,
    FirstStep,
    HandOverStep,
    LeaveStep,
    LetGoStep,
    MoveStep,
    Pattern,
    PawlStep,
    PickStep,
    PlaceStep,
    Plan,
    RepeatStep,
    RunStep,
    SenseStep,
    SequenceStep,
    SpinStep,
    Step,
    TogetherStep,
    TryStep,
    WaitStep,
    WhenStep,
    ZeroStep,
)

IDLE_ROUNDS = 1000  # rounds of a repeat in which no time passes before it is called endless


@dataclass
class Field:
    """What the robots share: the clock, the world, and who is where. One at a time at a station or place."""

    env: Any
    world: World
    luck: Luck
    spots: dict[str, Any]  # station or place -> a resource; empty where one robot is alone


def run(plan: Plan, plant: Plant, luck: Luck = NOMINAL, partner: tuple[Plant, Luck] | None = None) -> Trace:
    """One run of a plan on a plant that stands at the start of the match; nominal unless luck is drawn.

    Parameters
    ----------
    plan : Plan
    plant : Plant
    luck : Luck
    partner : (Plant, Luck), optional
        The second robot, where the plan has one.
    """
    env: Any = simpy.Environment()
    world = World(plan.game, luck)
    field = Field(env, world, luck, {})
    if partner is not None or plan.patterns:
        names = (*plan.game.stations, *plan.game.places)
        field.spots = {name: simpy.Resource(env) for name in names}
    mine = Run(field, plan, plant, luck)
    other = None
    if partner is not None:
        assert plan.partner is not None
        other = Run(field, plan.partner.plan, *partner)
    for pattern in plan.patterns:
        env.process(_use(field, pattern))
    over = env.event()
    mine.begin()
    if other is not None:
        other.begin()

    def finish(_: simpy.Event) -> None:
        mine.finish()
        if other is not None:
            other.finish()
        over.succeed()

    Instant(env, finish, CUT, world.end_us)
    env.run(until=over)
    trace = mine.log.trace(world.end_us)
    if other is not None:
        trace = replace(trace, partner=other.log.trace(world.end_us))
    for one in (mine, other):
        if one is not None:
            one.let_go()
    return trace


def _use(field: Field, pattern: Pattern) -> Steps:
    """Somebody else's visits to a station or place."""
    env, luck, due = field.env, field.luck, pattern.begins_us
    while True:
        yield env.timeout(max(0, due - env.now))
        with field.spots[pattern.uses].request() as request:
            yield request
            yield env.timeout(luck.span_us(pattern.stays_us, "stays", pattern.name))
            supply = field.world.supplies.get(pattern.uses)
            for _ in range(pattern.takes if supply is not None else 0):
                assert supply is not None
                supply.take(env.now)
        due += max(1, luck.span_us(pattern.every_us, "every", pattern.name))


class Run(Turns):
    """One robot's way through its plan."""

    def __init__(self, field: Field, plan: Plan, plant: Plant, luck: Luck) -> None:
        super().__init__(field.env, plan, plant, field.world, luck)
        self.field = field
        self.keys = draw_keys(plan) if luck.drawn else {}
        self.seen: dict[str, bool] = {}  # what each sense has found last
        self.left = False  # the period's routine was left
        self.process: simpy.Process | None = None
        self.spot: tuple[str, Any] | None = None  # the station or place it is at or on its way to
        actor = self.actor
        self.handlers: dict[type[Step], Callable[[Any, Branch], Steps | None]] = {
            MoveStep: lambda step, branch: branch.pending.extend(actor.move(step)),
            DriveStep: self._drive,
            DriveForStep: lambda step, branch: branch.pending.extend(actor.drive_for(step)),
            EffortStep: lambda step, branch: branch.pending.extend(actor.effort(step)),
            ZeroStep: lambda step, branch: branch.pending.extend(actor.zero(step)),
            PawlStep: lambda step, branch: self._pawl(step),
            SpinStep: lambda step, branch: branch.pending.extend(actor.spin(step)),
            LetGoStep: lambda step, branch: actor.let_go(step),
            HandOverStep: lambda step, branch: self._act(step, branch),
            WaitStep: self._wait,
            SenseStep: self._sense,
            PickStep: self._pick,
            PlaceStep: self._place,
            SequenceStep: self._sequence,
            TogetherStep: self._together,
            FirstStep: self._first,
            RepeatStep: self._repeat,
            TryStep: self._try,
            WhenStep: self._when,
            LeaveStep: self._leave,
            RunStep: lambda step, branch: self._sequence(self.plan.routines[step.routine], branch),
        }

    # --- periods --------------------------------------------------------------------------------------

    def begin(self) -> None:
        """Put the periods on the clock, and begin the first at the first tick."""
        at_us, first_us = 0, self.plant.tick_at_or_after(0)
        endgame = self.plan.endgame
        for period in self.plan.game.periods:
            steps = self.plan.periods.get(period.name)
            if at_us == first_us == 0:
                self._start(period.name, steps)
            elif at_us == 0:
                self._boundary(first_us, period.name, steps)
            elif endgame is None or at_us < endgame.begin_us:  # the endgame's routine goes on to the end
                self._boundary(at_us, period.name, steps)
            at_us += period.duration_us
        if endgame is not None:
            self._boundary(endgame.begin_us, "endgame", endgame.steps)

    def _start(self, period: str, steps: SequenceStep | None) -> None:
        self.log.period = period
        self.process, self.left = None, False
        if steps is not None:
            self.process = self.env.process(self._when_it_runs(steps))

    def _when_it_runs(self, steps: SequenceStep) -> Steps:
        """The routine; where the program is still starting again after a reset, once it runs."""
        while (resets := self.plant.program_resets()) and resets[-1][1] is None:
            yield self.env.timeout(self.plant.tick_at_or_after(self.env.now + 1) - self.env.now)
            self.plant.advance(self.env.now)
            if resets[-1][1] is not None:
                self.turn_at(self.env.now)
        yield from self._sequence(steps, Branch(()))
        if resets:
            self.turn_at(self.env.now)

    def program_lost(self, at_us: int) -> None:
        """The routine is lost with it; a person goes on where a person drives, once it runs again."""
        period = self.log.period
        self._cut()
        driver, endgame = self.plan.driver, self.plan.endgame
        if driver is not None and period in driver.periods:
            in_endgame = period == "endgame" and endgame is not None
            self._start(period, endgame.steps if in_endgame else self.plan.periods.get(period))  # type: ignore[union-attr]

    def _boundary(self, at_us: int, period: str, steps: SequenceStep | None) -> None:
        """At this instant a period (or the endgame) takes over from the routine that is under way."""

        def take_over(_: simpy.Event) -> None:
            self._cut()
            self._start(period, steps)

        Instant(self.env, take_over, CUT, at_us)

    def _cut(self) -> None:
        """End the routine that is under way; mechanisms and closing picks carry on."""
        self.plant.advance(self.env.now)
        if self.process is not None and self.process.is_alive:
            self.log.cuts.append(Cut(self.log.period, self.env.now))
        self.cut_branches(())

    def finish(self) -> None:
        """The match is over."""
        self._cut()
        self.actor.finish()

    def let_go(self) -> None:
        """Let go of everything, as nothing more is asked of it.

        Steps that are left standing and what they act on know one another; all the match's records would stay until
        Python's collector comes by.
        """
        vars(self.actor).clear()
        vars(self).clear()

    # --- commands -------------------------------------------------------------------------------------

    def _drive(self, step: DriveStep, branch: Branch) -> Steps | None:
        if not self.field.spots and not (self.luck.drawn and self.plan.defenders):
            branch.pending.extend(self.actor.drive(step))
            return None
        return self._drive_among_others(step, branch)

    def _drive_among_others(self, step: DriveStep, branch: Branch) -> Steps:
        """Wait until nobody else is where it goes, or holds it up; then drive."""
        spot = self.spot
        if spot is None or spot[0] != step.to:
            yield from self._reserve(step, branch)
        for defender in self.plan.defenders if self.luck.drawn else ():
            if self.log.period in defender.periods and self.luck.happens(
                defender.chance, "defender", defender.name
            ):
                delay = self.luck.span_us(defender.delay_us, "delay", defender.name)
                yield from self.stand_still(branch, step, delay, defender.name, "held_up")
        self.plant.advance(self.env.now)
        branch.pending.extend(self.actor.drive(step))
        self.turn_at(self.env.now)

    def _reserve(self, step: DriveStep, branch: Branch) -> Steps:
        """Leave the station or place it is at, and have the next to itself."""
        if self.spot is not None:
            resource, request = self.field.spots[self.spot[0]], self.spot[1]
            resource.release(request)
            self.spot = None
        if step.to not in self.field.spots:
            return
        resource = self.field.spots[step.to]
        request = resource.request()
        if not request.triggered:
            self.log.number(step.line)
            began = self.env.now
            pause = Pause(self.env.event(), branch, began, None, step, where=step.to, why="taken")
            branch.request = request

            def free(_: simpy.Event) -> None:
                branch.request = None
                if not pause.over:
                    pause.due_us = self.plant.tick_at_or_after(self.env.now)
                    self.put(WAIT, pause.due_us, pause)

            request.callbacks.append(free)
            yield from self.stand(pause)
        self.spot = (step.to, request)

    # --- waits ----------------------------------------------------------------------------------------

    def _wait(self, step: WaitStep, branch: Branch) -> Steps:
        now = self.env.now
        tick = self.plant.tick_at_or_after
        pause = Pause(self.env.event(), branch, now, None, step)
        self.log.number(step.line)
        if step.arrival or step.past is not None:
            if step.at_most_us is not None:
                pause.limit_us = tick(now + step.at_most_us)
            self.actor.changed = True
            self.turn_at(now)
            return self._react(pause) if self._has_driver() else self.stand(pause)
        if step.until_us is not None:
            pause.due_us = tick(max(now, step.until_us))
        elif self.luck.drawn:
            lasts = self.luck.span_us(step.duration_us or 0, *self.keys.get(id(step), ()))
            pause.due_us = tick(now + round(lasts * (1.0 + step.allowance)))
        else:
            pause.due_us = tick(now + (step.duration_us or 0))
        return self.stand(pause)

    def _has_driver(self) -> bool:
        driver = self.plan.driver
        return self.luck.drawn and driver is not None and self.log.period in driver.periods

    def _react(self, pause: Pause) -> Steps:
        """A person sees it, and goes on a reaction later."""
        yield from self.stand(pause)
        assert self.plan.driver is not None
        now = self.env.now
        due = self.plant.tick_at_or_after(now + self.luck.span_us(self.plan.driver.reaction_us, "reaction"))
        yield from self.stand(Pause(self.env.event(), pause.branch, now, due, pause.step, purpose="driver"))

    def _sense(self, step: SenseStep, branch: Branch) -> Steps:
        """Look again and again until something is seen, or for so long."""
        now = self.env.now
        looks = max(1, step.at_most_us // step.every_us)
        due = self.plant.tick_at_or_after(now + max(step.at_most_us, looks * step.every_us))
        pause = Pause(self.env.event(), branch, now, due, step, purpose="sense")
        self.log.number(step.line)
        self.env.process(self._look(step, pause, looks))
        yield from self.stand(pause)
        self.seen[step.name] = pause.seen
        if not pause.seen and branch.attempt is not None:
            branch.attempt.fail(f"{step.name} saw nothing")

    def _look(self, step: SenseStep, pause: Pause, looks: int) -> Steps:
        """Each look sees what is there at its instant; what it saw is known a latency later."""
        supply = None if step.station is None else self.world.supplies[step.station]
        key = self.keys.get(id(step), ())
        for _ in range(looks):
            yield self.env.timeout(step.every_us)
            if pause.over:
                return
            there = sees = supply is None or supply.left(self.env.now) != 0
            if self.luck.drawn:
                sees = self.luck.happens(step.sees if there else step.false_alarm, *key, there)
            if sees:
                pause.seen = True
                pause.due_us = self.plant.tick_at_or_after(self.env.now + step.latency_us)
                self.put(WAIT, pause.due_us, pause)
                return

    # --- acting ---------------------------------------------------------------------------------------

    def _pick(self, step: PickStep, branch: Branch) -> Steps | None:
        supply = self.world.supplies[step.station]
        if supply.free_from(self.env.now) == self.env.now:
            return self._act(step, branch)
        return self._queue(step, branch, step.station, "empty", supply.free_from)

    def _place(self, step: PlaceStep, branch: Branch) -> Steps | None:
        site = self.world.sites[step.place]
        if site.free_from(self.env.now) == self.env.now:
            return self._act(step, branch)
        return self._queue(step, branch, step.place, "clearing", site.free_from)

    def _queue(
        self,
        step: PickStep | PlaceStep,
        branch: Branch,
        where: str,
        why: str,
        free_from: Callable[[int], int | None],
    ) -> Steps:
        """Wait at the step until there is something to take, or the place has been cleared."""
        self.log.number(step.line)
        while (free := free_from(self.env.now)) != self.env.now:
            due = None if free is None else self.plant.tick_at_or_after(free)
            now = self.env.now
            yield from self.stand(Pause(self.env.event(), branch, now, due, step, where=where, why=why))
        acting = self._act(step, branch)
        if acting is not None:
            yield from acting
        self.turn_at(self.env.now)

    def _act(self, step: ActStep, branch: Branch) -> Steps | None:
        """Pick, place or hand over; where chance has it, after tries that fail."""
        if not self.luck.drawn:
            self._do(step, branch, fails=False)
            return None
        key = self.keys.get(id(step), ())
        sure = float(step.succeeds) == 1.0 and getattr(step.succeeds, "spread", 0.0) == 0.0
        failed = 0
        while not sure and failed < step.tries and not self.luck.happens(step.succeeds, *key):
            failed += 1
        again = min(failed, step.tries - 1)
        if again == 0 or not self.actor.ready(step):
            self._do(step, branch, fails=failed == step.tries)
            return None
        return self._again(step, branch, again, failed == step.tries)

    def _again(self, step: ActStep, branch: Branch, times: int, fails: bool) -> Steps:
        """Tries that fail take their time; then the last one."""
        key = self.keys.get(id(step), ())
        for _ in range(times):
            lasts = self.luck.span_us(step.each_us or 0, "each", *key)
            yield from self.stand_still(branch, step, lasts, step.by.mechanism, "again")
        self.plant.advance(self.env.now)
        self._do(step, branch, fails)
        self.turn_at(self.env.now)

    def _do(self, step: ActStep, branch: Branch, fails: bool) -> None:
        if isinstance(step, PlaceStep):
            branch.pending.extend(self.actor.place(step, branch.attempt, fails))
        else:
            assert isinstance(step, PickStep | HandOverStep)
            branch.pending.append(self.actor.grip(step, branch.attempt, fails))

    def held(self, grip: Grip) -> None:
        """The giver of a hand over lets go a while after the receiver holds."""
        step = grip.step
        if isinstance(step, HandOverStep) and step.release is not None:
            self.env.process(self._release(step))

    def _release(self, step: HandOverStep) -> Steps:
        now = self.env.now
        yield self.env.timeout(self.plant.tick_at_or_after(now + step.both_hold_us) - now)
        assert step.release is not None
        self.plant.advance(self.env.now)
        self.actor.send(step, step.release)
        self.turn_at(self.env.now)

    def _pawl(self, step: PawlStep) -> None:
        """The pawl of a ratchet moves by itself, and takes its time."""
        self.log.number(step.line)
        if step.after_us == 0:
            self.plant.set_pawl(step.mechanism, step.engaged)
            self.actor.changed = True
        else:
            self.env.process(self._moves_pawl(step))

    def _moves_pawl(self, step: PawlStep) -> Steps:
        yield self.env.timeout(step.after_us)
        self.plant.advance(self.env.now)
        self.plant.set_pawl(step.mechanism, step.engaged)
        self.actor.changed = True
        self.turn_at(self.env.now)

    # --- order of steps -------------------------------------------------------------------------------

    def _stops(self, branch: Branch) -> bool:
        """Whether the steps of a branch are left here."""
        return self.left or branch.leaving or (branch.attempt is not None and branch.attempt.why != "")

    def _sequence(self, sequence: SequenceStep, branch: Branch) -> Steps:
        handlers = self.handlers
        for step in sequence.steps:
            if self._stops(branch):
                return
            going_on = handlers[type(step)](step, branch)
            if going_on is not None:
                yield from going_on
            elif self.actor.changed and (self.pauses or self.actor.grips):
                self.turn_at(self.env.now)

    def _side_by_side(
        self, sequences: tuple[SequenceStep, ...], branch: Branch, attempt: Attempt | None
    ) -> tuple[list[Branch], list[Any]]:
        children = [branch.child(order, attempt) for order in range(len(sequences))]
        processes = [
            self.env.process(self._branch(sequence, child))
            for sequence, child in zip(sequences, children, strict=True)
        ]
        return children, processes

    def _together(self, step: TogetherStep, branch: Branch) -> Steps:
        children, processes = self._side_by_side(step.branches, branch, branch.attempt)
        yield self.env.all_of(processes)
        for child in children:
            branch.pending.extend(child.pending)

    def _first(self, step: FirstStep, branch: Branch) -> Steps:
        children, processes = self._side_by_side(step.branches, branch, branch.attempt)
        yield self.env.any_of(processes)
        for child, process in zip(children, processes, strict=True):
            if process.is_alive:
                self.plant.advance(self.env.now)
                self.cut_branches(child.key)
            branch.pending.extend(child.pending)

    def _branch(self, sequence: SequenceStep, branch: Branch) -> Steps:
        now = self.env.now
        start = Pause(self.env.event(), branch, now, now, sequence)
        self.put(BEGIN, now, start)
        yield start.event
        yield from self._sequence(sequence, branch)

    def _repeat(self, step: RepeatStep, branch: Branch) -> Steps:
        rounds = idle = 0
        while step.times is None or rounds < step.times:
            began = self.env.now
            yield from self._sequence(step.steps, branch)
            if branch.leaving:
                branch.leaving = False
                return
            if self._stops(branch):
                return
            rounds += 1
            idle = idle + 1 if self.env.now == began else 0
            if step.times is None and idle == IDLE_ROUNDS:
                raise ScenarioError([_endless(self.plan, step)])

    def _try(self, step: TryStep, branch: Branch) -> Steps:
        """Try until nothing in it fails, at most so often and for so long; then do the other thing."""
        began = self.env.now
        limit = None if step.at_most_us is None else self.plant.tick_at_or_after(began + step.at_most_us)
        number = self.log.number(step.line)
        why = ""
        for count in range(1, step.tries + 1):
            attempt, start = Attempt(), self.env.now
            yield from self._attempt(step, branch, attempt, limit)
            why = attempt.why
            if not why or self.left:
                return
            record = Failure(number, step.line, start, self.env.now, count, step.tries, why)
            self.log.failures.append(record)
            if limit is not None and self.env.now >= limit:
                break
        if step.otherwise is not None:
            yield from self._sequence(step.otherwise, branch)
        elif branch.attempt is not None:
            branch.attempt.fail(why)

    def _attempt(self, step: TryStep, branch: Branch, attempt: Attempt, limit_us: int | None) -> Steps:
        """One try, as a branch of its own; what still closes at its end is waited for."""
        child = branch.child(0, attempt)
        process = self.env.process(self._tried(step, child))
        if limit_us is None:
            yield process
        else:
            ran_out = self.env.event()
            Instant(self.env, lambda _: ran_out.succeed(), CUT, max(limit_us, self.env.now))
            yield self.env.any_of([process, ran_out])
            if process.is_alive:
                self.plant.advance(self.env.now)
                self.cut_branches(child.key)
                attempt.fail("its time ran out")
        branch.pending.extend(child.pending)

    def _tried(self, step: TryStep, child: Branch) -> Steps:
        yield from self._branch(step.steps, child)
        while True:
            mine = [grip for grip in self.actor.grips if grip.attempt is child.attempt and not grip.over]
            if not mine or child.attempt is None or child.attempt.why:
                return
            self.plant.advance(self.env.now)
            self.expect_holds()
            known = [grip.due_us for grip in mine if grip.due_us is not None]
            if not known:
                child.attempt.fail("what was to close never closes")
                return
            pause = Pause(self.env.event(), child, self.env.now, None, step, purpose="closing")
            pause.due_us = self.plant.tick_at_or_after(max(min(known), self.env.now + 1))
            yield from self.stand(pause)

    def _when(self, step: WhenStep, branch: Branch) -> Steps:
        self.log.number(step.line)
        if all(self._holds(condition) for condition in step.conditions):
            yield from self._sequence(step.steps, branch)
        elif step.otherwise is not None:
            yield from self._sequence(step.otherwise, branch)

    def _holds(self, condition: Condition) -> bool:
        value = self._value(condition)
        low, high = condition.least, condition.below
        so = (low is None or value >= low) and (high is None or value < high)
        return so != condition.negated

    def _value(self, condition: Condition) -> float:
        """What a condition asks for, as a number."""
        now, world, name = self.env.now, self.world, condition.name
        if condition.kind == "holds":
            return self.actor.hands.count(name, condition.element)
        if condition.kind == "clock":
            return float(now)
        if condition.kind == "points":
            return world.points
        if condition.kind == "seen":
            return float(self.seen.get(name, False))
        if condition.kind == "stock":
            left = world.supplies[name].left(now)
            return float("inf") if left is None else float(left)
        site = world.sites[name]
        if site.free_from(now) != now:
            return 0.0
        return float("inf") if site.place.room is None else float(site.place.room - site.filled)

    def _leave(self, step: LeaveStep, branch: Branch) -> None:
        if step.what == "period":
            self.left = True
        else:
            branch.leaving = True


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

"""Which step comes next: lists, branches side by side, repeats, tries and conditions."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from simbot.physics.luck import Luck
from simbot.physics.plant import Plant
from simbot.routine.acting import Attempt
from simbot.routine.acting_steps import ActingSteps
from simbot.routine.trace import Failure
from simbot.routine.turns import BEGIN, CUT, Branch, Events, Instant, Pause, Steps
from simbot.routine.waits import Field
from simbot.scenario.errors import Problem, ScenarioError
from simbot.scenario.model import (
    Condition,
    DriveForStep,
    DriveStep,
    EffortStep,
    FirstStep,
    HandOverStep,
    LeaveStep,
    LetGoStep,
    MoveStep,
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


class Flow(ActingSteps):
    """The order of one robot's steps."""

    def __init__(self, field: Field, plan: Plan, plant: Plant, luck: Luck) -> None:
        super().__init__(field, plan, plant, luck)
        self.left = False  # the period's routine was left
        actor = self.actor

        def carry_out(step: Step, branch: Branch) -> None:
            branch.pending.extend(actor.carry_out(step))

        self.handlers: dict[type[Step], Callable[[Any, Branch], Events | None]] = {
            MoveStep: carry_out,
            DriveStep: self._drive,
            DriveForStep: carry_out,
            EffortStep: carry_out,
            ZeroStep: carry_out,
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
        self.log.number(step.line)
        children, processes = self._side_by_side(step.branches, branch, branch.attempt)
        yield self.env.any_of(processes)
        through = next(n for n, process in enumerate(processes, 1) if not process.is_alive)
        self.log.choose(step, self.env.now, "first", f"branch {through} of {len(processes)}")
        for child, process in zip(children, processes, strict=True):
            if process.is_alive:
                self.plant.advance(self.env.now)
                self.cut_branches(child.key)
            branch.pending.extend(child.pending)

    def _branch(self, sequence: SequenceStep, branch: Branch) -> Steps:
        now = self.env.now
        start = Pause(self.env, branch, now, sequence)
        self.pauses.append(start)  # so that it does not begin where it is cut before
        self.put(BEGIN, now, start)
        yield start
        self.pauses.remove(start)
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
            why, this = attempt.why, f"try {count} of {step.tries}"
            leaves = branch.leaving or self.left
            if not why or leaves:
                self.log.choose(step, self.env.now, "try", f"left in {this}" if leaves else this)
                return
            record = Failure(number, step.line, start, self.env.now, count, step.tries, why)
            self.log.failures.append(record)
            if limit is not None and self.env.now >= limit:
                break
        self.log.choose(step, self.env.now, "try", "failed" if step.otherwise is None else "otherwise")
        if step.otherwise is not None:
            yield from self._sequence(step.otherwise, branch)
        elif branch.attempt is not None:
            branch.attempt.fail(why)

    def _attempt(self, step: TryStep, branch: Branch, attempt: Attempt, limit_us: int | None) -> Steps:
        """One try, which can be cut by itself; what still closes at its end is waited for."""
        child = branch.child(0, attempt)
        child.pending = branch.pending  # a wait in it times what came before it too
        process = self.env.process(self._tried(step, child))
        if limit_us is None:
            yield process
        else:
            ran_out = self.env.event()
            self.limited.append(child)

            def run_out(_: Any) -> None:
                if not child.cut:
                    ran_out.succeed()

            Instant(self.env, run_out, CUT, max(limit_us, self.env.now))
            yield self.env.any_of([process, ran_out])
            if child.cut:
                yield self.env.event()  # for ever: whoever cut it goes on
            self.limited.remove(child)
            if process.is_alive:
                self.plant.advance(self.env.now)
                self.cut_branches(child.key)
                attempt.fail("its time ran out")
        branch.leaving = child.leaving

    def _tried(self, step: TryStep, child: Branch) -> Steps:
        yield from self._branch(step.steps, child)
        while True:
            mine = [grip for grip in self.actor.grips if grip.attempt is child.attempt and not grip.over]
            if not mine or child.leaving or self.left or child.attempt is None or child.attempt.why:
                return
            self.plant.advance(self.env.now)
            self.expect_holds()
            known = [grip.due_us for grip in mine if grip.due_us is not None]
            if not known:
                child.attempt.fail("what was to close never closes")
                return
            due = self.plant.tick_at_or_after(max(min(known), self.env.now + 1))
            yield from self.stand(Pause(self.env, child, due, step, purpose="closing"))

    def _when(self, step: WhenStep, branch: Branch) -> Steps:
        self.log.number(step.line)
        so = all(self._holds(condition) for condition in step.conditions)
        steps = step.steps if so else step.otherwise
        chosen = "do" if so else "neither" if steps is None else "otherwise"
        asked = " and ".join(one.said for one in step.conditions)
        self.log.choose(step, self.env.now, "when", chosen, asked)
        if steps is not None:
            yield from self._sequence(steps, branch)

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

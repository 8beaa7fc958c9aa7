"""Carries a plan through the match, period by period.

Which step comes next is the business of `flow`, what a step does that of `waits`, `visits` and `acting_steps`, when who
goes on that of `turns`, what happens at an instant that of `acting`. A second robot and others on the field share the
clock, the stations and the places; a station or place has room for one.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import simpy

from simbot.physics.luck import NOMINAL, Luck
from simbot.physics.plant import Plant
from simbot.physics.told import Told
from simbot.routine.flow import Flow
from simbot.routine.ground import Ground
from simbot.routine.trace import Cut, Trace
from simbot.routine.turns import CUT, Branch, Instant, Steps
from simbot.routine.visits import use
from simbot.routine.waits import Field
from simbot.routine.world import World
from simbot.scenario.model import Plan, SequenceStep


def run(
    plan: Plan,
    plant: Plant,
    luck: Luck = NOMINAL,
    partner: tuple[Plant, Luck] | None = None,
    told: Told = Told.ALL,
) -> Trace:
    """One run of a plan on a plant that stands at the start of the match; nominal unless luck is drawn.

    Parameters
    ----------
    plan : Plan
    plant : Plant
    luck : Luck
    partner : (Plant, Luck), optional
        The second robot, where the plan has one.
    told : Told
        How much is written down (see `Log`).
    """
    env: Any = simpy.Environment()
    world = World(plan.game, luck)
    shared = partner is not None or plan.patterns
    field = Field(env, world, luck, Ground(env, plan.game) if shared else None, told)
    mine = Run(field, plan, plant, luck)
    other = None
    if partner is not None:
        assert plan.partner is not None
        other = Run(field, plan.partner.plan, *partner)
    for robot in field.visitors:
        robot.take_place()
    for pattern in plan.patterns:
        env.process(use(field, pattern, plan.robot))
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


class Run(Flow):
    """One robot's way through its plan."""

    def __init__(self, field: Field, plan: Plan, plant: Plant, luck: Luck) -> None:
        super().__init__(field, plan, plant, luck)
        self.process: simpy.Process | None = None

    def begin(self) -> None:
        """Put the periods on the clock; none begins before the first tick, and of those due there the last does."""
        at_us, first_us = 0, self.plant.tick_at_or_after(0)
        endgame = self.plan.endgame
        for period in self.plan.game.periods:
            steps = self.plan.periods.get(period.name)
            if at_us == first_us == 0:
                self._start(period.name, steps)
            elif endgame is None or at_us < endgame.begin_us:  # the endgame's routine goes on to the end
                self._boundary(max(at_us, first_us), period.name, steps)
            at_us += period.duration_us
        if endgame is not None:
            self._boundary(max(endgame.begin_us, first_us), "endgame", endgame.steps)

    def _start(self, period: str, steps: SequenceStep | None, reset: bool = False) -> None:
        self.log.period = period
        self.process, self.left = None, False
        if steps is not None:
            self.process = self.env.process(self._when_it_runs(steps, reset))

    def _when_it_runs(self, steps: SequenceStep, reset: bool) -> Steps:
        """The routine; where the program is still starting again after a reset, now or before, once it runs."""
        me = self.process
        while ((resets := self.plant.program_resets()) and resets[-1][1] is None) or reset:
            reset = False
            yield self.env.timeout(self.plant.tick_at_or_after(self.env.now + 1) - self.env.now)
            if self.process is not me:
                return  # its period is over
            self.plant.advance(self.env.now)
            if resets and resets[-1][1] is not None:
                self.turn_at(self.env.now)
        yield from self._sequence(steps, Branch(()))
        if resets:
            self.turn_at(self.env.now)

    def program_lost(self, at_us: int) -> None:
        """The routine is lost with it; a person goes on where a person drives, once it runs again."""
        period = self.log.period
        self._cut(reset=True)
        driver, endgame = self.plan.driver, self.plan.endgame
        if driver is not None and period in driver.periods:
            in_endgame = period == "endgame" and endgame is not None
            self._start(period, endgame.steps if in_endgame else self.plan.periods.get(period), True)  # type: ignore[union-attr]

    def _boundary(self, at_us: int, period: str, steps: SequenceStep | None) -> None:
        """At this instant a period (or the endgame) takes over from the routine that is under way.

        All robots' old routines are over before a new one begins: what that frees is not for them.
        """
        starts = self.field.boundaries.setdefault(at_us, {})

        def take_over(_: simpy.Event) -> None:
            for robot in starts:
                robot._cut()
            for robot, due in starts.items():
                robot._start(*due)

        if not starts:
            Instant(self.env, take_over, CUT, at_us)
        starts[self] = period, steps

    def _cut(self, reset: bool = False) -> None:
        """End the routine that is under way; mechanisms and closing picks carry on."""
        self.plant.advance(self.env.now)
        if self.process is not None and self.process.is_alive:
            self.log.cuts.append(Cut(self.log.period, self.env.now, reset))
        self.process = None
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
        self.field.visitors.clear()
        vars(self.actor).clear()
        vars(self).clear()

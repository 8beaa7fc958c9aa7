"""Who is where: robots and others at stations and places, one at a time."""

from __future__ import annotations

from typing import Any

import simpy

from simbot.physics.luck import Luck
from simbot.physics.plant import Plant
from simbot.routine.turns import WAIT, Branch, Pause, Steps
from simbot.routine.waits import Field, Waits
from simbot.scenario.model import DriveStep, Pattern, Plan


def use(field: Field, pattern: Pattern) -> Steps:
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


class Visits(Waits):
    """How one robot gets to where it goes."""

    def __init__(self, field: Field, plan: Plan, plant: Plant, luck: Luck) -> None:
        super().__init__(field, plan, plant, luck)
        self.spot: tuple[str, Any] | None = None  # the station or place it is at or on its way to

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

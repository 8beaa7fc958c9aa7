"""Who is where: robots and others at stations and places, one at a time."""

from __future__ import annotations

from math import hypot

import simpy

from simbot.physics.luck import Luck
from simbot.physics.plant import Plant
from simbot.routine.ground import Ground, Visit
from simbot.routine.turns import WAIT, Branch, Pause, Steps
from simbot.routine.waits import Field, Waits
from simbot.scenario.model import DriveStep, Pattern, Plan, Pose, Robot


def use(field: Field, pattern: Pattern, robot: Robot) -> Steps:
    """Somebody else's visits to a station or place, as large as a robot."""
    env, luck, due = field.env, field.luck, pattern.begins_us
    assert field.ground is not None
    while True:
        yield env.timeout(max(0, due - env.now))
        with field.ground.ask(pattern.uses, pattern, robot) as request:
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
        self.spot: Visit | None = None  # the station or place it is at or on its way to
        self.waits_for: Branch | None = None  # whose request it last had to wait for, keeping its own
        field.visitors.append(self)

    def take_place(self) -> None:
        """Where it stands at the start is its own, if nobody else stands there."""
        pose = self.plan.start.pose
        ground = self.field.ground
        name = None if pose is None or ground is None else self._at(pose)
        if name is not None and ground is not None:
            self.spot = ground.ask(name, self, self.plan.robot)
            if not self.spot.triggered:
                self.spot.cancel()
                self.spot = None

    def _at(self, pose: Pose) -> str | None:
        """The station or place on whose pose a robot at another pose stands: the nearest one."""
        game, robot = self.plan.game, self.plan.robot
        poses = {name: one.pose for name, one in game.stations.items()}
        poses |= {name: one.pose for name, one in game.places.items()}
        away = {name: hypot(each.x - pose.x, each.y - pose.y) for name, each in poses.items()}
        nearest = min(away, key=away.__getitem__, default=None)
        within = min(robot.length, robot.width) / 2
        return nearest if nearest is not None and away[nearest] <= within else None

    def _drive(self, step: DriveStep, branch: Branch) -> Steps | None:
        if self.field.ground is None and not (self.luck.drawn and self.plan.defenders):
            branch.pending.extend(self.actor.drive(step))
            return None
        return self._drive_among_others(step, branch)

    def _drive_among_others(self, step: DriveStep, branch: Branch) -> Steps:
        """Wait until nobody else is where it goes, or holds it up; then drive."""
        ground = self.field.ground
        if ground is not None:
            where = step.to if step.to in ground.poses else self._at(step.pose)
            if where is None:
                self._vacate()
            elif self.spot is None or self.spot.where != where:
                yield from self._reserve(ground, where, step, branch)
        for defender in self.plan.defenders if self.luck.drawn else ():
            who = ("defender", defender.name)
            key = (*who, *self.keys.get(id(step), ()))
            if self.log.period in defender.periods and self.luck.happens(defender.chance, *key, of=who):
                delay = self.luck.span_us(defender.delay_us, "delay", *key)
                yield from self.stand_still(branch, step, delay, defender.name, "held_up")
        self.plant.advance(self.env.now)
        branch.pending.extend(self.actor.drive(step))
        self.turn_at(self.env.now)

    def _reserve(self, ground: Ground, where: str, step: DriveStep, branch: Branch) -> Steps:
        """Have the next station or place to itself, then leave the one that it is at."""
        request = ground.ask(where, self, self.plan.robot)
        if not request.triggered:
            pause = Pause(self.env, branch, None, step, where, "taken")
            branch.request, self.waits_for = request, branch

            def free(_: simpy.Event) -> None:
                if not pause.over:
                    pause.due_us = self.plant.tick_at_or_after(self.env.now)
                    self.put(WAIT, pause.due_us, pause)

            request.callbacks.append(free)
            if self._change_places(ground, request):
                pause.why = "changed"
            yield from self.stand(pause)
            branch.request = None
        self._vacate()
        self.spot = request

    def _vacate(self) -> None:
        if self.spot is not None:
            self.spot.resource.release(self.spot)
            self.spot = None

    def _change_places(self, ground: Ground, request: Visit) -> bool:
        """Two robots that each want where the other is would wait for ever: both go at once. Whether they do."""
        mine = self.spot
        for other in self.field.visitors:
            theirs, wants = other.spot, other.waits_for and other.waits_for.request
            if mine is None or theirs is None or wants is None:
                continue
            if ground.in_the_way(theirs, request) and ground.in_the_way(mine, wants):
                ground.put_first(request)
                ground.put_first(wants)
                self._vacate()
                return True
        return False

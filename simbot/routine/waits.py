"""Steps that stand still: for a time, for an arrival or a passing, until something is seen."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from simbot.physics.luck import Luck
from simbot.physics.plant import Plant
from simbot.physics.told import Told
from simbot.routine.ground import Ground
from simbot.routine.keys import draw_keys
from simbot.routine.turns import WAIT, Branch, Events, Pause, Steps, Turns
from simbot.routine.world import World
from simbot.scenario.model import Plan, SenseStep, WaitStep


@dataclass
class Field:
    """What the robots share: the clock, the world, and who is where."""

    env: Any
    world: World
    luck: Luck
    ground: Ground | None  # None: one robot is alone
    told: Told = Told.ALL  # as of Log
    visitors: list[Any] = field(default_factory=list)  # the robots
    boundaries: dict[int, dict[Any, Any]] = field(
        default_factory=dict
    )  # instant -> what each robot begins then


class Waits(Turns):
    """What the waits of one robot do."""

    def __init__(self, field: Field, plan: Plan, plant: Plant, luck: Luck) -> None:
        super().__init__(field.env, plan, plant, field.world, luck, alone=field.ground is None)
        self.field = field
        self.log.told = field.told
        self.keys = draw_keys(plan) if luck.drawn else {}
        self.seen: dict[str, bool] = {}  # what each sense has found last

    def _wait(self, step: WaitStep, branch: Branch) -> Events:
        now = self.env.now
        tick = self.plant.tick_at_or_after
        pause = Pause(self.env, branch, None, step)
        if step.arrival or step.past is not None:
            pause.arrival, pause.past = step.arrival, step.past
            if step.at_most_us is not None:
                pause.limit_us = tick(now + step.at_most_us)
            self.actor.changed = True
            self.turn_at(now)
            return self._react(pause) if self._has_driver() else self.stand(pause)
        if step.until_us is not None:
            pause.due_us = tick(max(now, step.until_us))
        else:
            lasts = self.luck.span_us(step.duration_us or 0, *self.keys.get(id(step), ()))
            pause.due_us = due = tick(now + lasts)
            if step.allowance and self.luck.drawn:
                pause.due_us = tick(now + round(lasts * (1.0 + step.allowance)))
                pause.allowed_us = pause.due_us - due
        return self.stand(pause)

    def _has_driver(self) -> bool:
        driver = self.plan.driver
        return self.luck.drawn and driver is not None and self.log.period in driver.periods

    def _react(self, pause: Pause) -> Steps:
        """A person sees it, and goes on a reaction later."""
        yield from self.stand(pause)
        assert self.plan.driver is not None
        now = self.env.now
        key = self.keys.get(id(pause.step), ())
        due = self.plant.tick_at_or_after(
            now + self.luck.span_us(self.plan.driver.reaction_us, "reaction", *key)
        )
        yield from self.stand(Pause(self.env, pause.branch, due, pause.step, purpose="driver"))

    def _sense(self, step: SenseStep, branch: Branch) -> Steps:
        """Look again and again until something is seen, or for so long."""
        now = self.env.now
        looks = max(1, step.at_most_us // step.every_us)
        due = self.plant.tick_at_or_after(now + max(step.at_most_us, looks * step.every_us))
        pause = Pause(self.env, branch, due, step, purpose="sense")
        self.env.process(self._look(step, pause, looks))
        yield from self.stand(pause)
        self.seen[step.name] = pause.seen
        self.log.choose(step, self.env.now, "sense", "seen" if pause.seen else "not seen", step.name)
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

"""Picks, places and hand overs, with what they wait for and with chance; pawls, which move by themselves."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from simbot.routine.acting import Grip
from simbot.routine.turns import WAIT, Branch, Pause, Steps
from simbot.routine.visits import Visits
from simbot.scenario.model import ActStep, HandOverStep, PawlStep, PickStep, PlaceStep


class ActingSteps(Visits):
    """What the acting steps of one robot do."""

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
        while (free := free_from(self.env.now)) != self.env.now:
            due = None if free is None else self.plant.tick_at_or_after(free)
            pause = Pause(self.env, branch, due, step, where, why)
            if why == "empty":
                self.world.supplies[where].waiting.append(partial(self._wake, pause))
            yield from self.stand(pause)
        acting = self._act(step, branch)
        if acting is not None:
            yield from acting
        self.turn_at(self.env.now)

    def _wake(self, pause: Pause) -> None:
        """Something came back to the station at which it waits."""
        if not pause.over:
            pause.due_us = self.plant.tick_at_or_after(self.env.now)
            self.put(WAIT, pause.due_us, pause)

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
            self.env.process(self._release(step, grip.begins_us))

    def _release(self, step: HandOverStep, begins_us: int) -> Steps:
        """It carries on as the hand over does when its routine is cut, but a program that resets forgets it."""
        now = self.env.now
        yield self.env.timeout(self.plant.tick_at_or_after(now + step.both_hold_us) - now)
        self.plant.advance(self.env.now)
        resets = self.plant.program_resets()
        if resets and resets[-1][0] >= begins_us:
            return
        self.actor.release(step)
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

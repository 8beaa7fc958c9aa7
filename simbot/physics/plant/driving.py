"""Drives from leg to leg: how a command is laid out, and how each leg begins."""

from __future__ import annotations

from collections.abc import Callable

from simbot.physics import layout as L
from simbot.physics.kinds import KINDS
from simbot.physics.move import DriveFor, DriveTo, microseconds
from simbot.physics.orders import Order, give, order_for, push
from simbot.physics.plant.running import Running
from simbot.physics.route import Leg, Push, Steering, carried_speed, leg_end
from simbot.scenario.model import Pose


class Driving(Running):
    """Goes on through the legs of the drive's route."""

    __slots__ = ()

    def _run(
        self, t_end: float, watched: tuple[str, ...], before_step: Callable[[], None] | None = None
    ) -> bool:
        """Run the kernel to t_end [s]; True where it stopped because all that is watched was seen inside.

        `before_step` is called before every step, when all that acts in it is settled.
        """
        assert self._drive is None or self._route is not None
        while self._route is not None and self._route.ahead:
            assert self._drive is not None
            if isinstance(self._route.now, Steering):
                others = () if self._drive in watched else watched
                seen = self._steer(self._route.now, t_end, others, before_step)
                if seen or self.arrays.w[L.T] >= t_end:
                    return seen
                continue
            looks = bool(watched) and self._drive not in watched
            before = (self.arrays.w.copy(), self._rows) if looks else None
            ended = self._advance(t_end, (self._drive,), before_step)
            if before is not None:  # they may have been inside before the leg's end
                leg_end = float(self.arrays.w[L.T])
                self.arrays.w[:], self._rows = before
                seen = self._advance(leg_end, watched)
                if seen and not (ended and self.arrays.w[L.T] == leg_end):
                    return True
                if ended:
                    self._start_leg()
                if seen:
                    return True
            elif ended:
                self._start_leg()
            if not ended:
                return False
        return self._advance(t_end, watched, before_step)

    def _steer(
        self,
        leg: Steering,
        t_end: float,
        watched: tuple[str, ...],
        before_step: Callable[[], None] | None,
    ) -> bool:
        """As _run, while the wheels are steered; at the tick at which they stand, the next leg begins."""
        assert self._route is not None
        begin = self._route.legs[-1][0]
        ready = self.tick_at_or_after(microseconds(begin + leg.lasts)) / 1e6
        seen = self._advance(min(ready, t_end), watched, before_step)
        if self.arrays.w[L.T] >= ready:
            self._start_leg()
        return seen

    def _start_leg(self) -> Order:
        """Begin the next leg, with the speed that it keeps of the one before."""
        route, name = self._route, self._drive
        assert route is not None and name is not None
        w, m = self.arrays.w, self.arrays.at[name]
        old, here = route.now, w.item(m + L.Q)
        leg = route.ahead[0].begun_at(old.pose(here), route.holonomic)
        speed = carried_speed(old, leg, here, w.item(m + L.SPEED)) or 0.0
        speed = 0.0 if abs(speed) < 1e-12 else speed
        route = self._route = route.begun(w.item(L.T), leg)
        w[m + L.Q], w[m + L.SPEED] = leg.at, speed
        self.arrays.join(name)
        built = self._write(name)
        control = self._control(name, leg.turning)
        if leg.brakes:  # anywhere, as long as it is slow
            anywhere = 10.0 * abs(leg.to - leg.at) + control.window
            control = control._replace(slower_than=leg.slow, window=anywhere)
        elif route.ahead:
            control = control._replace(slower_than=leg_end(control.slower_than, leg.turning))
        order = order_for(self.arrays, name, control, leg.to, open_loop=leg.push is not None)
        if leg.push is None:
            give(self.arrays, name, order, built)
        else:
            push(self.arrays, name, order, built, leg.push.effort, leg.push.end, leg.push.after)
        self._keep_dark(name)
        return order

    def _plan_drive(self, command: DriveTo) -> None:
        assert self._drive is not None
        near = self._control(self._drive).window
        turned = self._control(self._drive, True).window

        def legs(pose: Pose, odometer: float) -> list[Leg]:
            assert self._route is not None
            if command.bend is not None:
                way = (command.through, command.pose, command.bend)
                return self._route.plan_bent(pose, odometer, *way, near, turned)
            return self._route.plan_through(pose, odometer, command.through, command.pose, near, turned)

        self._go(legs)

    def _plan_push(self, command: DriveFor) -> None:
        end = self.tick_at_or_after(self.now_us + command.duration_us) / 1e6
        how = Push(command.effort, end, command.after)
        self._go(lambda pose, odometer: [Leg.from_here(pose, odometer, command.by, command.direction, how)])

    def _go(self, plan: Callable[[Pose, float], list[Leg]]) -> None:
        """Make the legs from here, or from where it has braked, the ones ahead, each after its steering.

        `plan` gives them from a pose and the distance driven until there.
        """
        assert self._route is not None and self._drive is not None
        of, m = self.arrays.w.item, self.arrays.at[self._drive]
        t, here, speed = of(L.T), of(m + L.Q), of(m + L.SPEED)
        legs = self._steered(plan(self._pose_at(t), self._odometer_at(t)))
        if speed != 0.0 and carried_speed(self._route.now, legs[0], here, speed) is None:
            braking = self._braking()
            odometer = self._odometer_at(t) if braking.turning else braking.to
            legs = [braking, *self._steered(plan(braking.pose(braking.to), odometer))]
        self._route = self._route.towards(legs)

    def _steered(self, legs: list[Leg]) -> list[Leg]:
        """The same legs, each after the steering of the wheels that it takes."""
        assert self._route is not None and self._drive is not None
        t, spec = self.arrays.w.item(L.T), self.robot.mechanisms[self._drive]
        kind = KINDS[spec.kind]
        if "steering_time" not in vars(kind):  # hasattr takes long where there is none
            return legs
        return self._route.with_steering(legs, kind, spec.values, t, self._odometer_at(t))

    def _braking(self) -> Leg:
        """The leg under way, to where shorted motors will have made it slow: no current of theirs meets the battery."""
        assert self._route is not None and self._drive is not None
        twin = self._twin()()
        assert twin._route is not None
        w, m = twin.arrays.w, twin.arrays.at[self._drive]
        here, speed = float(w[m + L.Q]), float(w[m + L.SPEED])
        twin._route = twin._route.towards([self._route.now.braking(here, here + speed)])
        twin._start_leg()
        twin._advance(self.horizon_us / 1e6, (self._drive,))
        return self._route.now.braking(here, float(w[m + L.Q]))

    def _odometer_goal(self) -> float:
        """Coordinate along the straight lines at which the drive's present command ends."""
        assert self._route is not None
        straight = [leg for leg in (self._route.now, *self._route.ahead) if not leg.turning]
        return straight[-1].to if straight else self._odometer_at(float(self.arrays.w[L.T]))

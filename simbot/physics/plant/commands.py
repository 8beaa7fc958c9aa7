"""What a command does to a mechanism at its instant."""

from __future__ import annotations

import numpy as np

from simbot.physics import layout as L
from simbot.physics.air import ATMOSPHERE
from simbot.physics.kinds import cylinder
from simbot.physics.kinds.claw import window_at
from simbot.physics.kinds.flywheel import left_after_throw
from simbot.physics.move import (
    NEVER_US,
    SPEEDS,
    Command,
    DriveFor,
    DriveTo,
    GoTo,
    Move,
    PushFor,
    Spin,
    SpinTo,
    Stopwatch,
)
from simbot.physics.orders import Order, give, order_for, push, spin, spin_to
from simbot.physics.plant.totals import Totals
from simbot.physics.stroke import stroke_time
from simbot.scenario.model import MechanismSpec


class Commands(Totals):
    """Carries commands into the arrays."""

    __slots__ = ()

    def _look_at_others(self, name: str) -> None:
        """Take where the mechanisms now stand that the load of this one depends on: it stays so until its next move."""
        places = tuple(
            (other, self._raw(other, self.now_us / 1e6)[0]) for other in self._facts.leans_on[name]
        )
        if places != self._places.get(name, ()):
            self._places = {**self._places, name: places}
            self._note_built(name, self._write(name))
            self.arrays.w[L.DIRTY] = 1.0

    def _warm(self, name: str) -> None:
        """Take resistance and motor constant as its motors' heat now has them: they stay so until the next command."""
        if self._rows == 0:
            return
        w, m = self.arrays.w, self.arrays.at[name]
        column = L.LOG_MECH + L.LOG_PER_MECH * self.arrays.number[name] + L.LOG_HEATS
        warmth = self._warmth[name]
        factor, field = warmth.factors(self._log[: self._rows], column, self.now_us / 1e6)
        self.arrays.hot = {**self.arrays.hot, name: (factor, field)}
        for k, group in enumerate(self._built(name).groups):
            g = int(w[m + L.GRP]) + k * L.GROUP_SIZE
            w[g + L.G_R], w[g + L.G_K] = factor * group[L.G_R], field * group[L.G_K]

    def _order(self, move: Move, command: Command) -> None:
        name = move.mechanism
        if isinstance(command, GoTo):
            order = self._go_to(move, command)
        elif isinstance(command, DriveTo):
            self._plan_drive(command)
            order = self._start_leg()
        elif isinstance(command, (Spin, SpinTo)):
            self._spin(move, command)
            return
        elif isinstance(command, DriveFor):
            self._plan_push(command)
            order = self._start_leg()
        elif isinstance(command, PushFor):
            control = self._control(name)
            play = self._drifts(name, command.toward, control.window)[1]
            order = order_for(self.arrays, name, control, command.toward, open_loop=True)
            end = self.tick_at_or_after(self.now_us + command.duration_us) / 1e6
            push(self.arrays, name, order, self._built(name), command.effort, end, command.after)
            self._cross(move, play, abs(command.effort))
        else:
            order = self._to_zero(name, command)
            play = self._play_before(name, order.target)
            give(self.arrays, name, order, self._built(name))
            self._cross(move, play, command.effort)
        move.target = self._odometer_goal() if name == self._drive else order.target
        move.window, move.slower_than, move.touch = order.window, order.slower_than, order.touch != 0.0

    def _go_to(self, move: Move, command: GoTo) -> Order:
        """To a position under its own control."""
        name = move.mechanism
        control, spec = self._control(name), self.robot.mechanisms[name]
        target = self._nearest(name, float(command.target), float(move.start_position))
        if spec.kind == "claw":
            control = control._replace(window=window_at(spec.values, target, control.window))
        order = order_for(self.arrays, name, control, target)
        off, play = self._drifts(name, target, control.window)
        if order.touch == 0.0 and off != 0.0:
            order, move.zero_off = order._replace(target=target + off), off
        servo = spec.servo
        frame = 0.0 if servo is None else float(servo["frame"])
        if frame:
            frame *= self.luck.share("frame", name)
        give(self.arrays, name, order, self._built(name), frame, play)
        if play != 0.0:
            self._cross(move, play, self._first_effort(name, order, play))
        return order

    def _spin(self, move: Move, command: Spin | SpinTo) -> None:
        """With an effort, or at a speed under its own loop."""
        name = move.mechanism
        built, control = self._built(name), self._control(name)
        if isinstance(command, Spin):
            spin(self.arrays, name, command.effort, built, control.after)
            move.target = command.effort
            return
        loop = self.robot.mechanisms[name].values["speed_control"]
        spin_to(self.arrays, name, command.speed, built, control, loop)
        move.start_position, move.target = move.start_speed, command.speed
        move.window = float(self.arrays.w[self.arrays.at[name] + L.WINDOW])
        move.slower_than = SPEEDS

    def _slow_down(self, mechanism: str) -> None:
        """An element leaves a flywheel with some of its moment of momentum."""
        spec, group = self.robot.mechanisms[mechanism], self._built(mechanism).groups[0]
        turning = self._built(mechanism).reduced.segments[0].mass
        turning += group[L.G_RATIO] ** 2 * group[L.G_N] * group[L.G_J]
        w, m = self.arrays.w, self.arrays.at[mechanism]
        w[m + L.SPEED] *= left_after_throw(spec.values, float(turning))
        w[L.DIRTY] = 1.0

    def _start_stopwatch(self, move: Move, word: str) -> None:
        history = self._watch[move.mechanism]
        spec = self.robot.mechanisms[move.mechanism]
        last = history[-1]
        here = self.stands(move.mechanism, self.now_us)
        values, why = spec.values, ""
        seconds = values["time"] if word != "in" or values.get("time_in") is None else values["time_in"]
        if last.word == word and last.there_us > self.now_us:
            there, why = last.there_us, last.why  # already on its way there
        elif here == word:
            there = self.now_us
        else:
            if seconds is not None:
                seconds = self.luck.seconds(seconds, "time", move.mechanism)
            if spec.kind == "cylinder":
                seconds, why = self._stroke(spec, word == "out", seconds)
            there = self.now_us + round(seconds * 1e6) if not why else NEVER_US
        move.start_position, move.target = here, word
        move.stopwatch = Stopwatch(self.now_us, here, word, there, why)
        history.append(move.stopwatch)

    def _stroke(self, spec: MechanismSpec, outwards: bool, timed: float | None) -> tuple[float, str]:
        """Time of a cylinder's stroke [s], and why it does not get there; takes its air from the tank at once."""
        owner = spec.values["tank_of"] or spec.name
        tank = self.robot.mechanisms[owner].values
        room = float(tank["tank"])
        full = self._air.get(owner, float(tank["supply"]) + ATMOSPHERE)
        run = stroke_time
        if timed is None:
            from simbot.physics.stroke_compiled import stroke_time as run
        stroke = cylinder.one_stroke(spec.values, full, outwards, room, timed, run)
        self._air[owner] = stroke.left
        return stroke.seconds, stroke.why

    def set_payload(self, mechanism: str, mass: float) -> None:
        """Mass [kg] that `mechanism` carries from now on: momentum is kept when it grows, speed when it falls."""
        if mechanism in self._watch or mass == self._payload[mechanism]:
            return
        self._return_to_now()
        self._saved = None
        w, m = self.arrays.w, self.arrays.at[mechanism]
        jerks = w[m + L.SPEED] != 0.0 and mass > self._payload[mechanism]
        before = self._inertia(mechanism) if jerks else 0.0
        self._payload = {**self._payload, mechanism: mass}
        self._note_built(mechanism, self._write(mechanism))
        if jerks:
            w[m + L.SPEED] *= before / self._inertia(mechanism)
        w[L.DIRTY] = 1.0

    def _inertia(self, mechanism: str) -> float:
        """Inertia that takes part when a mass is picked up: the load's and, through the gears, the rotors'."""
        w, m = self.arrays.w, self.arrays.at[mechanism]
        total, factor = float(w[m + L.MASS_NOW]), 1.0
        if w[m + L.TAB_N] > 0.0:
            row, cells = int(w[m + L.TAB_ROW]), int(w[m + L.TAB_N])
            q = w[m + L.TAB_Q0] + np.arange(cells + 1) / w[m + L.TAB_PER]
            table = self.arrays.tab[row : row + cells + 1]
            total = float(np.interp(w[m + L.Q], q, table[:, L.TAB_M]))
            factor = float(np.interp(w[m + L.Q], q, table[:, L.TAB_G]))
        for k in range(int(w[m + L.N_GRP])):
            group = w[int(w[m + L.GRP]) + k * L.GROUP_SIZE :]
            if group[L.G_APART] != 0.0:
                continue
            total += (group[L.G_RATIO] * factor) ** 2 * group[L.G_N] * group[L.G_J] / group[L.G_FWD]
            total += group[L.G_WHEEL]
        return total

    def set_pawl(self, name: str, engaged: bool) -> None:
        """Take the pawl of a ratchet out of its teeth now, or let it in: the last tooth passed holds again."""
        self._return_to_now()
        self._saved = None
        self._pawls_out = self._pawls_out - {name} if engaged else self._pawls_out | {name}
        if name in self._current:
            self._current[name].note_pawl(engaged)
        self._write(name)
        w, m = self.arrays.w, self.arrays.at[name]
        if (
            w[m + L.TOUCH] < 0.0 and w[m + L.Q] > w[m + L.Q_LO]
        ):  # the tooth that it has touched holds it no more
            w[m + L.TOUCHED] = 0.0
        w[L.DIRTY] = 1.0

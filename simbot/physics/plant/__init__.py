"""The robot's mechanisms on one battery, carried through time by commands: what the sequencer talks to.

Instants are integer microseconds of the match clock. The plant never decides what happens next: it is told
to go to an instant (`advance`), given a command (`command`), and asked what would come if nothing more were
commanded (`first_seen_us`, `Move.arrival_us`). A crossing is rounded UP to the next microsecond.

It is laid in layers, a module each, every one on those before it: `state`, `whereabouts`, `running` (the kernel),
`driving` (from leg to leg), `time`, `target_sets`, `needs`, `zeroing`, `ahead`, `totals`, `commands`.
"""

from __future__ import annotations

from math import nan

from simbot.physics import layout as L
from simbot.physics.build import DRIVES, SPINNING, Models
from simbot.physics.encoder import Encoder, is_stated
from simbot.physics.kinds import KINDS
from simbot.physics.luck import NOMINAL, Luck
from simbot.physics.move import Command, GoTo, Move, Spin, SpinTo, Stopwatch, begun_with
from simbot.physics.orders import hold, spin
from simbot.physics.plant.commands import Commands
from simbot.physics.plant.state import keep_log
from simbot.physics.route import Route
from simbot.physics.told import Told
from simbot.scenario.model import BatteryState, Pose, Robot, Start


class Plant(Commands):
    """All mechanisms of one robot on one battery state.

    Parameters
    ----------
    robot : Robot
    battery : BatteryState
    start : Start
        Start pose, positions and what is held. A mechanism not named starts at the lower end of its travel.
    horizon_us : int
        End of the last period: "for good" means until then.
    tolerance : float
        Relative tolerance of the integrator.
    models : Models, optional
        Built mechanisms to share between plants of the same robot.
    phase_us : int
        Instant of the first control tick, less than a period.
    luck : Luck
        For what varies from time to time: a stopwatch time, where in its frame a servo hears of a command.
    told : Told
        How much anybody is going to ask of it.
    """

    __slots__ = ()

    def __init__(
        self,
        robot: Robot,
        battery: BatteryState,
        start: Start,
        horizon_us: int,
        tolerance: float = 1e-7,
        models: Models | None = None,
        phase_us: int = 0,
        luck: Luck = NOMINAL,
        told: Told = Told.ALL,
    ) -> None:
        super().__init__(robot, battery, horizon_us, tolerance, models, phase_us, luck)
        self._told = told
        if told is not Told.ALL:
            self._tell_nothing()
        self._put_at_start(start)

    def _tell_nothing(self) -> None:
        """Leave out what nobody is going to ask for and nothing hangs on: sums of it are no numbers then.

        Motors hang on what their currents heat; whether a fuse would open changes nothing of the run.
        """
        w = self.arrays.w
        w[L.TOLD] = w[L.WARMS] = float(bool(self._warmth))
        if w[L.TOLD] == w[L.SAGS] == 0.0:
            w[L.ENERGY] = w[L.CHARGE] = nan

    def _put_at_start(self, start: Start) -> None:
        for name in self.names:
            w, m = self.arrays.w, self.arrays.at[name]
            if self.robot.mechanisms[name].kind not in DRIVES:
                low = w[m + L.Q_LO]
                given = start.positions.get(name, low if low > -1e8 else 0.0)
                w[m + L.Q] = self._nearest(name, float(given), 0.0)
                self.arrays.locate(name)
        for name, spec in self.robot.mechanisms.items():
            if name in self.robot.standing:
                continue
            if spec.coordinate == "word":
                word = str(start.positions.get(name, "in" if spec.kind == "cylinder" else ""))
                self._watch[name] = [Stopwatch(0, word, word, 0)]
                continue
            w, m, servo = self.arrays.w, self.arrays.at[name], spec.servo
            if spec.kind in DRIVES:
                pose = start.pose or Pose(0.0, 0.0, 0.0)
                self._drive = name
                self._route = Route.at_rest(KINDS[spec.kind].HOLONOMIC, pose)
            elif self._facts.leans_on[name]:
                self._look_at_others(name)
            if spec.kind in SPINNING:
                spin(self.arrays, name, 0.0, self.models.get(name), self._control(name).after)
            else:
                w[m + L.BRAKE] = float(bool(spec.values.get("holding_brake")))
                hold(self.arrays, name, self._control(name), self._built(name))
                if servo is None and is_stated(spec.values):
                    self._encoders[name] = Encoder(spec.values, self.luck, name)
                    self._encoders[name].begins(*self._pressed(name, float(w[m + L.Q])))
                if servo is not None:
                    w[m + L.TARGET] = w[m + L.Q]
                    w[m + L.BAND], w[m + L.DEAD] = servo["band"], servo["dead_band"]

    def command(self, mechanism: str, command: Command) -> Move:
        """Give a command now. It starts from where the mechanism is and as fast as it is."""
        self._return_to_now()
        self._saved = None
        old = self._current.get(mechanism)
        if old is not None:
            self._take_zero(old)
            self._cut(old)
        if isinstance(command, (Spin, SpinTo)):
            for _ in range(command.throws):
                self._slow_down(mechanism)
        move = Move(self, mechanism, command)
        if mechanism in self._watch:
            assert isinstance(command, GoTo)
            self._start_stopwatch(move, str(command.target))
        else:
            if mechanism == self._drive:
                move.start_position, move.start_speed = self.position(mechanism), self.speed(mechanism)
            else:
                move.start_position, move.start_speed = self._raw(mechanism, self.now_us / 1e6)
            if mechanism in self._warmth:
                self._warm(mechanism)
            if self._facts.leans_on[mechanism]:
                self._look_at_others(mechanism)
            self._order(move, command)
            self._keep_dark(mechanism)
            move._begun = begun_with(self.arrays.w, self.arrays.at[mechanism])
            move._payload = self._payload[mechanism]
            move._places = self._places.get(mechanism, ())
            move._route = self._route
        self._moves.append(move)
        self._current[mechanism] = move
        return move

    def _cut(self, old: Move) -> None:
        old.cut_us = self.now_us
        if old._begun is not None and old._begun.control == L.PROFILED:
            old._lag = float(self.arrays.w[self.arrays.at[old.mechanism] + L.LAG_MAX])
        if self._told is not Told.POINTS and old.stopwatch is None and not isinstance(old.command, Spin):
            old._tail = self._twin()

    def forget(self) -> None:
        """Let go of what was recorded and of all moves: nothing more will be asked of the past."""
        keep_log(self._log)
        self._log, self._rows, self._saved, self._spare = self._log[:0].copy(), 0, None, None
        for move in self._moves:
            move.forget()
        self._moves, self._current = [], {}

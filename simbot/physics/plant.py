"""The robot's mechanisms on one battery, carried through time by commands: what the sequencer talks to.

Instants are integer microseconds of the match clock. The plant never decides what happens next: it is told
to go to an instant (`advance`), given a command (`command`), and asked what would come if nothing more were
commanded (`first_seen_us`, `Move.arrival_us`). A crossing is rounded UP to the next microsecond.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import partial
from itertools import pairwise
from math import copysign, inf, isinf, nan, nextafter
from typing import Any

import numpy as np
import numpy.typing as npt

from simbot.physics import layout as L
from simbot.physics.air import ATMOSPHERE
from simbot.physics.build import DRIVES, SPINNING, Arrays, Built, Models, physical
from simbot.physics.encoder import Encoder, is_stated, taken_along
from simbot.physics.heat import Warmth
from simbot.physics.kinds import KINDS, cylinder
from simbot.physics.kinds.claw import window_at
from simbot.physics.kinds.flywheel import left_after_throw
from simbot.physics.linear import nearly_steady
from simbot.physics.luck import NOMINAL, Luck
from simbot.physics.motion import Steps, look_up, rubbing
from simbot.physics.move import (
    NEVER_US,
    Command,
    DriveFor,
    DriveTo,
    GoTo,
    Move,
    PushFor,
    Rezero,
    Spin,
    SpinTo,
    Stopwatch,
    begun_with,
    microseconds,
)
from simbot.physics.orders import Order, control_of, give, hold, later, order_for, push, spin, spin_to
from simbot.physics.record import first_time, inside_since, state_at, touched_at
from simbot.physics.resets import ON, Resets
from simbot.physics.route import Leg, Push, Route, Steering, carried_speed, leg_end
from simbot.physics.stance import Places, leans_on
from simbot.physics.stepper import LOG_FULL, SEEN, advance
from simbot.scenario.model import BatteryState, MechanismSpec, Pose, Reset, Robot, Start, Target
from simbot.scenario.positions import turns_inside

Array = npt.NDArray[np.float64]


class EndlessSteps(RuntimeError):
    """The integrator makes no headway: a fault of the program, never of a file."""


FIRST_ROWS = 16384
TAIL_ROWS = 256  # of the log of what would have come after a takeover
MOST_ROWS = 2_000_000
HUNTS = 4  # times that a mechanism comes into its set before that is called hunting
MOST_ENTRIES = 10_000
SPEEDS = -1.0  # in place of a speed limit: the set is a window of speeds (see record)
FAR_AWAY = 1e3  # m or rad: half a line, as far as any mechanism gets
ON_POINT = 1e-12  # m or rad
LOOK_US = 2_000_000  # how far to look ahead at a time
CHUNK_S = 0.25


class Plant:
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
    """

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
    ) -> None:
        self.luck = luck
        self.models = models or Models(robot)
        self.robot = robot = self.models.robot
        self.battery = battery
        self.horizon_us = horizon_us
        self.now_us = 0
        self.names = physical(robot)
        self.arrays = Arrays(self.models, self.names, battery, tolerance)
        self.phase_us = phase_us
        if phase_us:
            self.arrays.w[L.PHASE_US], self.arrays.w[L.TICK] = phase_us, -1.0
        self._resets: Resets | None = None
        if robot.resets:
            self._resets = Resets(robot, self.names, len(self.arrays.w))
            self.arrays.w = np.concatenate((self.arrays.w, self._resets.state()))
        self._log: Array = np.empty((FIRST_ROWS, L.LOG_MECH + L.LOG_PER_MECH * len(self.names)))
        self._rows = 0
        self._payload = dict.fromkeys(robot.mechanisms, 0.0)
        self._leans_on = {name: leans_on(robot, name) for name in self.names}
        self._places: dict[str, Places] = {}  # where those stood when its last move began
        self._moves: list[Move] = []
        self._current: dict[str, Move] = {}
        self._watch: dict[str, list[Stopwatch]] = {}
        self._built_since: dict[str, list[tuple[float, Built]]] = {}
        self._saved: tuple[Array, int, Route | None] | None = None
        self._spare: Array | None = None  # where the array of `_saved` is kept
        self._route: Route | None = None
        self._drive: str | None = None
        self._air: dict[str, float] = {}  # absolute pressure in the tanks that have given some [Pa]
        self._controls: dict[tuple[str, bool], dict[str, Any]] = {}
        models_of_heat = {name: self.models.heat(name) for name in self.names}
        self._pawls_out: set[str] = set()
        self._encoders: dict[str, Encoder] = {}
        self._warmth = {name: Warmth(model) for name, model in models_of_heat.items() if model is not None}
        self._put_at_start(start)

    # --- starting ---------------------------------------------------------------------------------

    def _put_at_start(self, start: Start) -> None:
        for name in self.names:
            w, m = self.arrays.w, self.arrays.at[name]
            if self.robot.mechanisms[name].kind not in DRIVES:
                low = w[m + L.Q_LO]
                given = start.positions.get(name, low if low > -1e8 else 0.0)
                w[m + L.Q] = self._nearest(name, float(given), 0.0)
                self.arrays.locate(name)
        for name, spec in self.robot.mechanisms.items():
            if spec.coordinate == "word":
                word = str(start.positions.get(name, "in" if spec.kind == "cylinder" else ""))
                self._watch[name] = [Stopwatch(0, word, word, 0)]
                continue
            w, m = self.arrays.w, self.arrays.at[name]
            if spec.kind in DRIVES:
                pose = start.pose or Pose(0.0, 0.0, 0.0)
                self._drive = name
                self._route = Route.at_rest(KINDS[spec.kind].HOLONOMIC, pose)
            else:
                self._look_at_others(name)
            if spec.kind in SPINNING:
                spin(self.arrays, name, 0.0, self.models.get(name), self._control(name).get("after"))
            else:
                w[m + L.BRAKE] = float(bool(spec.values.get("holding_brake")))
                hold(self.arrays, name, self._control(name), self._built(name))
                if spec.servo is None and is_stated(spec.values):
                    self._encoders[name] = Encoder(spec.values, self.luck, name)
                    self._encoders[name].begins(*self._pressed(name, float(w[m + L.Q])))
                if spec.servo is not None:
                    w[m + L.TARGET] = w[m + L.Q]
                    w[m + L.BAND], w[m + L.DEAD] = spec.servo["band"], spec.servo["dead_band"]

    def _pressed(self, name: str, q: float) -> tuple[float, float]:
        """Load at a place, and friction at rest [N, N m]."""
        reduced, here = self._built(name).reduced, np.clip([q], *self._travel(name))
        return float(look_up(reduced, here)[2][0]), float(rubbing(reduced, here)[1][0])

    def _travel(self, name: str) -> tuple[float, float]:
        w, m = self.arrays.w, self.arrays.at[name]
        return float(w[m + L.Q_LO]), float(w[m + L.Q_HI])

    def _control(self, name: str, turning: bool = False) -> dict[str, Any]:
        key = (name, turning)
        known = self._controls.get(key)
        if known is None:
            known = self._controls[key] = control_of(self.robot.mechanisms[name], turning)
        return known

    def _built(self, name: str) -> Built:
        if name == self._drive and self._route is not None:
            leg = self._route.now
            return self.models.get(name, self._payload[name], leg.built_for)
        return self.models.get(name, self._payload[name], places=self._places.get(name, ()))

    def _look_at_others(self, name: str) -> None:
        """Take where the mechanisms now stand that the load of this one depends on: it stays so until its next move."""
        if not self._leans_on[name]:
            return
        places = tuple((other, self._raw(other, self.now_us / 1e6)[0]) for other in self._leans_on[name])
        if places != self._places.get(name, ()):
            self._places = {**self._places, name: places}
            self._note_built(name, self._write(name))
            self.arrays.w[L.DIRTY] = 1.0

    def _write(self, name: str) -> Built:
        """Put a mechanism as it now is into the kernel's array."""
        built = self._built(name)
        self.arrays.write(name, built)
        if name in self._pawls_out:
            w, m = self.arrays.w, self.arrays.at[name]
            segments = int(w[m + L.SEG]) + L.SEG_SIZE * np.arange(int(w[m + L.N_SEG]))
            w[segments + L.SEG_CATCH] = 0.0
            w[m + L.Q_LO] = built.reduced.low
        return built

    def set_pawl(self, name: str, engaged: bool) -> None:
        """Take the pawl of a ratchet out of its teeth now, or let it in: the last tooth passed holds again."""
        self._return_to_now()
        self._saved = None
        (self._pawls_out.discard if engaged else self._pawls_out.add)(name)
        self._write(name)
        self.arrays.w[L.DIRTY] = 1.0

    def _note_built(self, name: str, built: Built) -> None:
        self._built_since.setdefault(name, []).append((self.now_us / 1e6, built))

    def built_at(self, name: str, t: float) -> Built:
        """A mechanism with what it carried at an instant [s], and where others stood that its load depends on."""
        known = self._built_since.get(name, [])
        before = [built for since, built in known if since < t]
        return before[-1] if before else self.models.get(name, 0.0, places=self._places.get(name, ()))

    def motors_at(self, name: str, t: Array) -> Array:
        """How many of its motors take part in steps that begin at instants [s]: of a drive those of the leg."""
        if self._route is None or name != self._drive:
            return np.full(len(t), self._built(name).groups[:, L.G_N].sum())
        legs = self._route.legs
        many = [
            self.models.get(name, self._payload[name], leg.built_for).groups[:, L.G_N].sum()
            for _, leg in legs
        ]
        begins = np.array([begin for begin, _ in legs])
        return np.array(many)[np.maximum(np.searchsorted(begins, t, side="right") - 1, 0)]

    # --- time -------------------------------------------------------------------------------------

    def tick_at_or_after(self, at_us: int) -> int:
        """First control tick at or after an instant."""
        loop = self.robot.loop_us
        return self.phase_us - (self.phase_us - at_us) // loop * loop

    def advance(self, to_us: int) -> None:
        """Carry everything to an instant with the present commands (to_us >= now_us)."""
        if to_us != self.now_us:
            self._reach(to_us)
            self.now_us = to_us

    def steps_to(self, mechanism: str, to_us: int) -> Steps:
        """Carry everything to an instant, as `advance` does, and tell the steps of one mechanism on the way."""
        self._return_to_now()
        w, m, first = self.arrays.w, self.arrays.at[mechanism], self._rows
        notes: list[tuple[float, ...]] = []
        built: list[Built] = []

        def note() -> None:
            del notes[self._rows - first :], built[self._rows - first :]  # it may have gone back
            zone = w[m + L.ZONE] if w[m + L.CONTROL] == L.SERVO else nan
            notes.append((w[m + L.DUTY], w[m + L.OPEN], zone, w[m + L.TARGET]))
            built.append(self._built(mechanism))

        self._run(to_us / 1e6, (), note)
        self.now_us = to_us
        rows = self._log[first : self._rows].copy()
        own = rows[:, L.LOG_MECH + L.LOG_PER_MECH * self.arrays.number[mechanism] :]
        h, ohms = rows[:, L.LOG_H], w[L.R0]
        head = (own[:, L.LOG_Q0], h * own[:, L.LOG_SPEED0], 0.5 * h**2 * own[:, L.LOG_ACC0])
        path = np.column_stack((*head, own[:, L.LOG_POLY : L.LOG_PER_MECH]))
        ends = ((L.LOG_V0, L.LOG_I0), (L.LOG_V1, L.LOG_I1))
        emf = np.column_stack([rows[:, volts] + ohms * rows[:, amps] for volts, amps in ends])
        noted = np.array(notes).reshape(-1, 4)
        return Steps(
            rows[:, L.LOG_T], h, path, emf, noted[:, 0], noted[:, 1] == 1.0, noted[:, 2], noted[:, 3],
            float(w[m + L.BAND]), tuple(built),
        )  # fmt: skip

    def _covered_us(self) -> int:
        return round(self.arrays.w.item(L.T) * 1e6)

    def _reach(self, to_us: int) -> None:
        """Make the log cover an instant; what lies beyond `now` is what comes if nothing more is commanded."""
        if self.arrays.w.item(L.T) * 1e6 < to_us - 0.5:
            self._save()
            self._run(to_us / 1e6, ())

    def _save(self) -> None:
        """Remember the last state that is settled fact, before the plant runs ahead of `now`."""
        if self.arrays.w.item(L.T) * 1e6 < self.now_us + 0.5:
            if self._spare is None:
                self._spare = np.empty_like(self.arrays.w)
            self._spare[:] = self.arrays.w
            self._saved = (self._spare, self._rows, self._route)

    def _return_to_now(self) -> None:
        """Forget what was computed beyond `now`."""
        now, covered = self.now_us / 1e6, self.arrays.w.item(L.T)
        if covered > now:
            assert self._saved is not None
            w, self._rows, self._route = self._saved
            self.arrays.w[:] = w
            covered = w.item(L.T)
        if covered < now:
            self._run(now, ())

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

    def _advance(
        self, t_end: float, watched: tuple[str, ...], before_step: Callable[[], None] | None = None
    ) -> bool:
        """As _run, on the leg under way; what resets on the way does so."""
        resets = self._resets
        if resets is None:
            return self._go_on(t_end, watched, before_step)
        while True:
            begin = self._bookmark(self._rows)
            seen = self._go_on(t_end, watched, before_step)
            end, until = self._bookmark(begin[1]), float(self.arrays.w[L.T])
            volts = partial(self._volts_at, begin)
            change = resets.next_change(self.arrays.w, end[2], until, volts)
            if change is not None and change[0] < until:
                self._go_back(begin)
                seen = self._go_on(change[0], (), before_step)
                end = self._bookmark(begin[1])
            since = resets.since(end[0], end[2], volts)
            self._go_back(end)
            resets.remember(self.arrays.w, since)
            if change is not None:
                self._change_power(resets, change[1])
            if change is None or seen or self.arrays.w[L.T] >= t_end:
                return seen

    def _bookmark(self, rows: int) -> tuple[Array, int, Array]:
        """The present state: the kernel's array, the number of steps, and those of them from a number on."""
        return self.arrays.w.copy(), self._rows, self._log[rows : self._rows].copy()

    def _go_back(self, mark: tuple[Array, int, Array]) -> None:
        self.arrays.w[:], self._rows = mark[0], mark[1]
        self._log[mark[1] - len(mark[2]) : mark[1]] = mark[2]

    def _volts_at(self, begin: tuple[Array, int, Array], t: float) -> float:
        """Bus voltage at an instant [s] after a bookmark; the state is then that of the instant."""
        self._go_back(begin)
        self._go_on(t, ())
        return float(self._log[self._rows - 1, L.LOG_V1])

    def _change_power(self, resets: Resets, device: int) -> None:
        """A device resets, or comes back: what it feeds or commands loses its power, or has it again."""
        w = self.arrays.w
        off, program = resets.change(w, device), resets.devices[device].stops == "program"
        dark = resets.without_power(w)
        for name in resets.stopped[device]:
            waits = resets.waits(name)
            if off and w[waits] == ON:
                self._without_power(name, resets)
            if off and program:
                w[waits] = L.NO_CONTROL  # its command is lost
            if not off and name not in dark:
                self._with_power(name, w[waits])
                w[waits] = ON
        w[L.DIRTY] = 1.0

    def _without_power(self, name: str, resets: Resets) -> None:
        """Its motors' leads are open, a brake that holds it closes, its command waits."""
        w, m = self.arrays.w, self.arrays.at[name]
        w[resets.waits(name)] = L.NO_CONTROL if resets.program_is_down(w) else w[m + L.CONTROL]
        w[m + L.CONTROL], w[m + L.DUTY], w[m + L.OPEN] = L.NO_CONTROL, 0.0, 1.0
        w[m + L.N_PENDING], w[m + L.NEW], w[m + L.PINNED], w[m + L.LOCK] = 0.0, 0.0, 0.0, w[m + L.BRAKE]
        w[L.DIRTY] = 1.0

    def _with_power(self, name: str, control: float) -> None:
        """Its command acts again."""
        w, m = self.arrays.w, self.arrays.at[name]
        w[m + L.CONTROL] = control
        if control == L.NO_CONTROL:
            return
        w[m + L.OPEN] = w[m + L.LOCK] = 0.0
        if control == L.SERVO:
            w[m + L.T_PENDING] = w[L.T]
        elif control == L.SPIN:
            w[m + L.DUTY], w[m + L.OPEN] = w[m + L.SENT], w[m + L.SENT_OPEN]
        else:
            w[m + L.SENT] = w[m + L.SENT_OPEN] = 0.0
            w[m + L.NEW] = w[L.FRESH] = 1.0

    def _keep_dark(self, name: str) -> None:
        """A command that is given to a mechanism without power waits for it."""
        resets = self._resets
        if resets is not None and name in resets.without_power(self.arrays.w):
            self._without_power(name, resets)

    def off_spells(self) -> list[tuple[Reset, tuple[str, ...], list[tuple[float, float]]]]:
        """For each device that acts: what it stops, and from when to when it was off until now [s]; inf: not back."""
        resets = self._resets
        if resets is None:
            return []
        now, w = self.now_us / 1e6, self.arrays.w
        return [
            (reset, resets.stopped[device], resets.spells(w, device, now))
            for device, reset in enumerate(resets.devices)
        ]

    def under_way(self, names: Iterable[str], instants: Iterable[float]) -> list[str]:
        """Those of some mechanisms that had a command to carry out at one of some instants [s]."""
        at = [1e6 * instant for instant in instants]
        met = []
        for move in self._moves:
            if move.mechanism not in names or move.mechanism in met or isinstance(move.command, Spin):
                continue
            arrival = move.arrival_us()
            ends = min(inf if move.cut_us is None else move.cut_us, inf if arrival is None else arrival)
            if any(move.start_us <= instant < ends for instant in at):
                met.append(move.mechanism)
        return met

    def program_resets(self) -> list[tuple[int, int | None]]:
        """(instant, when it runs again [us], None: not yet) of every reset of the program until now."""
        if self._resets is None:
            return []
        spells = self._resets.program_resets(self.arrays.w, self.now_us / 1e6)
        return [(microseconds(off), None if isinf(on) else microseconds(on)) for off, on in spells]

    def next_program_reset_us(self, known: int) -> int | None:
        """When the program resets after so many times, if nothing more is commanded."""
        if self._resets is None or all(reset.stops != "program" for reset in self._resets.devices):
            return None
        self._reach(self.horizon_us)
        ahead = self._resets.program_resets(self.arrays.w, inf)[known:]
        return microseconds(ahead[0][0]) if ahead else None

    def _go_on(
        self, t_end: float, watched: tuple[str, ...], before_step: Callable[[], None] | None = None
    ) -> bool:
        w = self.arrays.w
        if watched:
            for name, m in self.arrays.at.items():
                w[m + L.WATCH] = 1.0 if name in watched else 0.0
            w[L.WATCHING] = 1.0
        while True:
            log = self._log
            if before_step is not None:  # no room for a step: it stops before it; then room for one
                code, _ = advance(w, self.arrays.tab, log[: self._rows], self._rows, t_end)
                if code == LOG_FULL:
                    before_step()
                    log = log[: self._rows + 1]
            code, self._rows = advance(w, self.arrays.tab, log, self._rows, t_end)
            if code != LOG_FULL:
                break
            if self._rows < len(self._log):
                continue
            if len(self._log) > MOST_ROWS:
                raise EndlessSteps(
                    f"the simulation needs more than {MOST_ROWS} steps, at {w[L.T]:.6f} s: please report this"
                )
            more = np.empty((max(TAIL_ROWS, len(self._log)), self._log.shape[1]))
            self._log = np.concatenate((self._log, more)) if self._rows else more
        if watched:
            w[L.WATCHING] = 0.0
        return bool(code == SEEN)

    # --- commands ---------------------------------------------------------------------------------

    def command(self, mechanism: str, command: Command) -> Move:
        """Give a command now. It starts from where the mechanism is and as fast as it is."""
        self._return_to_now()
        self._saved = None
        self._take_zero(mechanism)
        self._cut(mechanism)
        if isinstance(command, (Spin, SpinTo)):
            for _ in range(command.throws):
                self._slow_down(mechanism)
        move = Move(self, mechanism, command)
        if mechanism in self._watch:
            assert isinstance(command, GoTo)
            self._start_stopwatch(move, str(command.target))
        else:
            move.start_position = self.position(mechanism)
            move.start_speed = self.speed(mechanism)
            self._warm(mechanism)
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

    def _warm(self, name: str) -> None:
        """Take resistance and motor constant as its motors' heat now has them: they stay so until the next command."""
        if name not in self._warmth or self._rows == 0:
            return
        w, m = self.arrays.w, self.arrays.at[name]
        column = L.LOG_MECH + L.LOG_PER_MECH * self.arrays.number[name] + L.LOG_HEATS
        warmth = self._warmth[name]
        factor, field = warmth.factors(self._log[: self._rows], column, self.now_us / 1e6)
        self.arrays.hot = {**self.arrays.hot, name: (factor, field)}
        for k, group in enumerate(self._built(name).groups):
            g = int(w[m + L.GRP]) + k * L.GROUP_SIZE
            w[g + L.G_R], w[g + L.G_K] = factor * group[L.G_R], field * group[L.G_K]

    def _take_zero(self, name: str) -> None:
        """If its last command was to zero it, and its stop or switch has been seen by now: its encoder was set then."""
        old = self._current.get(name)
        if old is None or not isinstance(old.command, Rezero):
            return
        since = self._set_since(old, self.now_us)
        seen = None if since is None else self.tick_at_or_after(since)
        if seen is None or seen > self.now_us:
            return
        known, spec = old.command.position, self.robot.mechanisms[name]
        beyond = 0.0 if old.touch else self._raw(name, seen / 1e6)[0] - known
        encoder = self._encoders.setdefault(name, Encoder(spec.values, self.luck, name))
        encoder.is_zeroed(self._way_to_zero(name, known), beyond)

    def zero_off(self, name: str) -> float:
        """True position less measured one, as its encoder's zero now stands [m, rad]."""
        encoder = self._encoders.get(name)
        return 0.0 if encoder is None else encoder.off

    def _drifts(self, name: str, target: float, window: float) -> tuple[float, float]:
        """Of a move that begins now: by how much the true position differs from the measured one at its end, and the
        play that its motor crosses first [m, rad]."""
        encoder = self._encoders.get(name)
        if encoder is None:
            return 0.0, 0.0
        way = target + encoder.off - self._raw(name, self.now_us / 1e6)[0]
        play = 0.0
        if abs(way) > window:
            play = self._play_before(name, target + encoder.off)
            encoder.moves(way, *self._pressed(name, target))
        return encoder.off, play

    def _play_before(self, name: str, target: float) -> float:
        """The play that its motor crosses before it takes its load along towards a place, upwards positive."""
        encoder, (here, speed) = self._encoders.get(name), self._raw(name, self.now_us / 1e6)
        if encoder is None or speed != 0.0:
            return 0.0
        return encoder.crosses(target - here, *self._pressed(name, here))

    def _first_effort(self, name: str, order: Order, play: float) -> float:
        """What a control asks for at its first tick, or at most while a profile runs."""
        w, m = self.arrays.w, self.arrays.at[name]
        if play == 0.0 or order.values["loop"] != "position":
            return float(w[m + L.EFFORT])
        return min(float(w[m + L.EFFORT]), abs(float(w[m + L.KP] * (order.target - w[m + L.Q] + play))))

    def _cross(self, move: Move, play: float, effort: float) -> None:
        """Its motors cross the play first; its load begins to move with its share of their momentum."""
        name, move.play = move.mechanism, play
        w, m = self.arrays.w, self.arrays.at[name]
        if play == 0.0:
            return
        q, volts, ohms = float(w[m + L.Q]), float(w[L.V]), float(w[L.R0])
        found = taken_along(self._built(name), q, play, effort, volts, ohms)
        if found is None:
            return
        time, speed = found.time, found.speed
        if w[m + L.CONTROL] == L.PROFILED:
            time, speed = later(w, m, time, speed)
        w[m + L.PLAY_UNTIL] = w[L.T] + w[m + L.LATENCY] + time
        w[m + L.KICK] = copysign(speed * found.share, play)

    def _cut(self, mechanism: str) -> None:
        old = self._current.get(mechanism)
        if old is None:
            return
        old.cut_us = self.now_us
        if mechanism in self.arrays.at:
            old._lag = float(self.arrays.w[self.arrays.at[mechanism] + L.LAG_MAX])
        if old.stopwatch is None and not isinstance(old.command, Spin):
            old._tail = self._twin()

    def _twin(self) -> Callable[[], Plant]:
        """What makes a plant that goes on from here by itself, with a log of its own: few are ever asked to."""
        known = self.__dict__.copy()
        known.update(_rows=0, _saved=None, _spare=None)
        arrays = self.arrays.__dict__.copy()
        arrays["w"] = self.arrays.w.copy()
        if self._resets is not None:
            known["_resets"] = self._resets.copy()

        def made() -> Plant:
            twin = object.__new__(Plant)
            twin.__dict__.update(known)
            twin.arrays = object.__new__(Arrays)
            twin.arrays.__dict__.update(arrays)
            twin._log = twin._log[:0]
            return twin

        return made

    def forget(self) -> None:
        """Let go of what was recorded and of all moves: nothing more will be asked of the past."""
        self._log, self._rows, self._saved, self._spare = self._log[:0].copy(), 0, None, None
        for move in self._moves:
            move.forget()
        self._moves, self._current = [], {}

    def given(self, mechanism: str) -> Command | None:
        """The command that a mechanism has."""
        move = self._current.get(mechanism)
        return None if move is None else move.command

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
        here = last.word if last.there_us <= self.now_us else ""
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
        seconds = timed
        if seconds is None:
            from simbot.physics.stroke_compiled import stroke_time

            seconds = cylinder.seconds(spec.values, full, outwards, room, stroke_time)
        self._air[owner], at_end = cylinder.after_stroke(spec.values, full, outwards, room)
        if cylinder.arrives(spec.values, at_end, outwards) and seconds < inf:
            return seconds, ""
        if cylinder.arrives(spec.values, at_end, outwards):
            return inf, "its air does not push it all the way"
        least = cylinder.least_pressure(spec.values, outwards) / 1e5
        return inf, f"its air ends at {(at_end - ATMOSPHERE) / 1e5:.3g} bar, it needs {least:.3g} bar"

    def _order(self, move: Move, command: Command) -> None:
        name = move.mechanism
        if isinstance(command, DriveTo):
            self._plan_drive(command)
            self._start_leg()
        elif isinstance(command, Spin):
            after = self._control(name).get("after")
            spin(self.arrays, name, command.effort, self._built(name), after)
            move.target = command.effort
            return
        elif isinstance(command, SpinTo):
            loop = self.robot.mechanisms[name].values["speed_control"]
            spin_to(self.arrays, name, command.speed, self._built(name), self._control(name), loop)
            move.start_position, move.target = move.start_speed, command.speed
            move.window = float(self.arrays.w[self.arrays.at[name] + L.WINDOW])
            move.slower_than = SPEEDS
            return
        elif isinstance(command, DriveFor):
            self._plan_push(command)
            self._start_leg()
        elif isinstance(command, PushFor):
            control = self._control(name)
            play = self._drifts(name, command.toward, control["window"])[1]
            order = order_for(self.arrays, name, control, command.toward, open_loop=True)
            end = self.tick_at_or_after(self.now_us + command.duration_us) / 1e6
            push(self.arrays, name, order, self._built(name), command.effort, end, command.after)
            self._cross(move, play, abs(command.effort))
        elif isinstance(command, Rezero):
            order = self._to_zero(name, command)
            play = self._play_before(name, order.target)
            give(self.arrays, name, order, self._built(name))
            self._cross(move, play, command.effort)
        else:
            control = self._control(name)
            target = self._nearest(name, float(command.target), float(move.start_position))
            spec = self.robot.mechanisms[name]
            if spec.kind == "claw":
                control = {**control, "window": window_at(spec.values, target, control["window"])}
            order = order_for(self.arrays, name, control, target)
            off, play = self._drifts(name, target, control["window"])
            if order.touch == 0.0 and off != 0.0:
                order, move.zero_off = order._replace(target=target + off), off
            frame = 0.0 if spec.servo is None else float(spec.servo["frame"])
            if frame:
                frame *= self.luck.share("frame", name)
            give(self.arrays, name, order, self._built(name), frame, play)
            if play != 0.0:
                self._cross(move, play, self._first_effort(name, order, play))
        w, m = self.arrays.w, self.arrays.at[name]
        move.target = self._odometer_goal() if name == self._drive else w.item(m + L.TARGET_PENDING)
        move.window, move.slower_than = w.item(m + L.WINDOW), w.item(m + L.SLOW)
        move.touch = w.item(m + L.TOUCH) != 0.0

    def _way_to_zero(self, name: str, position: float) -> float:
        """-1 to the lower end, +1 to the upper one: a switch is closed from its place to the nearer end."""
        low, high = self._travel(name)
        return -1.0 if position - low <= high - position else 1.0

    def _to_zero(self, name: str, command: Rezero) -> Order:
        """Effort towards the stop, or into the part of the travel in which the switch is closed."""
        control = {
            **self._control(name),
            "loop": "full_effort",
            "effort": command.effort,
            "slower_than": None,
        }
        end = self._travel(name)[0 if self._way_to_zero(name, command.position) < 0.0 else 1]
        target, half = 0.5 * (end + command.position), 0.5 * abs(end - command.position)
        if half > 0.0:
            control["window"] = half * (1.0 + 1e-9)
        return order_for(self.arrays, name, control, target)

    def _nearest(self, name: str, target: float, near: float) -> float:
        """The target; where whole turns may be added to it: the nearest of those that its travel allows."""
        spec = self.robot.mechanisms[name]
        if not spec.values.get("wraps"):
            return target
        low, high = (float(end) for end in spec.values["travel"])
        return min(turns_inside(target, low, high), key=lambda each: abs(each - near), default=target)

    # --- drive ------------------------------------------------------------------------------------

    def _plan_drive(self, command: DriveTo) -> None:
        assert self._drive is not None
        near = float(self._control(self._drive)["window"])
        turned = float(self._control(self._drive, True)["window"])

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
        if not hasattr(kind, "steering_time"):
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

    def _start_leg(self) -> None:
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
        built = self._write(name)
        control = self._control(name, leg.turning)
        if leg.brakes:  # anywhere, as long as it is slow
            anywhere = 10.0 * abs(leg.to - leg.at) + control["window"]
            control = {**control, "slower_than": leg.slow, "window": anywhere}
        elif route.ahead:
            control = {**control, "slower_than": leg_end(control, leg.turning)}
        order = order_for(self.arrays, name, control, leg.to, open_loop=leg.push is not None)
        if leg.push is None:
            give(self.arrays, name, order, built)
        else:
            push(self.arrays, name, order, built, leg.push.effort, leg.push.end, leg.push.after)
        self._keep_dark(name)

    def _odometer_goal(self) -> float:
        """Coordinate along the straight lines at which the drive's present command ends."""
        assert self._route is not None
        straight = [leg for leg in (self._route.now, *self._route.ahead) if not leg.turning]
        return straight[-1].to if straight else self._odometer_at(float(self.arrays.w[L.T]))

    def _odometer_at(self, t: float) -> float:
        """Distance along all straight lines at an instant."""
        assert self._route is not None
        for begin, leg in reversed(self._route.legs):
            if begin <= t:
                if not leg.turning:
                    return self._raw(self._drive or "", t)[0]
                t = min(t, nextafter(begin, -inf))
        return self._route.legs[0][1].at

    def _pose_at(self, t: float) -> Pose:
        assert self._route is not None and self._drive is not None
        leg = self._route.at(t)
        return leg.pose(self._raw(self._drive, t)[0])

    def ways(self, from_us: int, to_us: int) -> list[tuple[Leg, float, float]]:
        """Lines and turns of commands since from_us, until to_us (<= now); least and greatest coordinate on each."""
        name = self._drive
        if name is None:
            return []
        column = L.LOG_MECH + L.LOG_PER_MECH * self.arrays.number[name] + L.LOG_Q0
        out = []
        for begin, end, leg in reversed([*self._legs_between(name, from_us / 1e6, to_us / 1e6)]):
            assert leg is not None
            rows = np.searchsorted(self._log[: self._rows, L.LOG_T], (begin, end), side="left")
            places = [leg.at, *self._log[rows[0] : rows[1], column]]
            if end > begin:
                places.append(self._raw(name, nextafter(end, -inf))[0])
            out.append((leg, float(min(places)), float(max(places))))
        return out

    # --- state ------------------------------------------------------------------------------------

    def _raw(self, name: str, t: float) -> tuple[float, float]:
        """Coordinate and speed of the kernel at an instant it has covered."""
        of = self.arrays.w.item
        if t >= of(L.T) or self._rows == 0:
            m = self.arrays.at[name]
            return of(m + L.Q), of(m + L.SPEED)
        return state_at(self._log, self._rows, self.arrays.number[name], t)  # type: ignore[no-any-return]

    def _position_at(self, name: str, t: float) -> float:
        return self._odometer_at(t) if name == self._drive else self._raw(name, t)[0]

    def position(self, mechanism: str, at_us: int | None = None) -> float | str:
        """Where it is (now or at an earlier instant) [m, rad or word]; of a drive: along its lines."""
        at_us = self.now_us if at_us is None else at_us
        if mechanism in self._watch:
            return self._word_at(mechanism, at_us)
        return self._position_at(mechanism, at_us / 1e6)

    def speed(self, mechanism: str, at_us: int | None = None) -> float:
        """Speed [m/s, rad/s]; of a drive: along its line, 0 in a turn."""
        at_us = self.now_us if at_us is None else at_us
        if mechanism in self._watch:
            return 0.0
        if mechanism == self._drive and self._route is not None and self._route.at(at_us / 1e6).turning:
            return 0.0
        return self._raw(mechanism, at_us / 1e6)[1]

    def pose(self, at_us: int | None = None) -> Pose:
        """The robot's centre and heading."""
        if self._route is None:
            return Pose(0.0, 0.0, 0.0)
        return self._pose_at((self.now_us if at_us is None else at_us) / 1e6)

    def _word_at(self, mechanism: str, at_us: int) -> str:
        """Place of a measured mechanism: where it was until it is there."""
        reached = self._reached(mechanism)
        return next((word for there_us, word in reversed(reached) if there_us <= at_us), reached[0][1])

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
            total += (group[L.G_RATIO] * factor) ** 2 * group[L.G_N] * group[L.G_J] / group[L.G_FWD]
            total += group[L.G_WHEEL]
        return total

    # --- what is seen, and sets of states ------------------------------------------------------------

    def first_seen_us(self, moves: Iterable[Move], limit_us: int) -> int | None:
        """First tick >= now at which code would SEE all these moves inside their sets, if nothing more is
        commanded; None if not before or at limit_us."""
        begin = self.now_us
        names = []
        for move in moves:
            if move.stopwatch is not None:
                begin = max(begin, move.stopwatch.there_us)
            elif not isinstance(move.command, Spin):
                names.append(move.mechanism)
        begin = self.tick_at_or_after(begin)
        if not names:
            return begin if begin <= limit_us else None
        if begin > limit_us:
            return None
        self._return_to_now()
        self._save()
        self._run(begin / 1e6, ())
        if self._all_inside(names):
            return begin
        return self._covered_us() if self._run(limit_us / 1e6, tuple(names)) else None

    def first_past_us(
        self, mechanism: str, move: Move | None, share: float | None, position: float | None, limit_us: int
    ) -> int | None:
        """First tick >= now at which code would see a mechanism at or beyond a point of its way, if nothing more
        is commanded; None if not before or at limit_us. The point is a share of a move's way, or a position
        [m, rad], which it passes upwards unless its move goes downwards."""
        if move is not None and move.stopwatch is not None:
            watch = move.stopwatch
            at = watch.start_us + round((share or 0.0) * (watch.there_us - watch.start_us))
            tick = self.tick_at_or_after(max(at, self.now_us))
            return tick if tick <= limit_us and not watch.why else None
        begin = end = 0.0
        if move is not None:
            begin, end = float(move.start_position), float(move.target)
        point = (
            begin + share * (end - begin)
            if position is None and share is not None
            else float(position or 0.0) + self.zero_off(mechanism)
        )
        down = end < begin
        tick = self.tick_at_or_after(self.now_us)
        while tick <= limit_us:
            self._reach(tick)
            here = float(self._position_at(mechanism, tick / 1e6))
            if here <= point + ON_POINT if down else here >= point - ON_POINT:
                return tick
            out = self._crosses(mechanism, point, down, tick, limit_us)
            if out is None:
                return None
            tick = max(self.tick_at_or_after(out), tick + 1)
            tick = self.tick_at_or_after(tick)
        return None

    def _crosses(self, mechanism: str, point: float, down: bool, from_us: int, to_us: int) -> int | None:
        """First instant at or after from_us at which a mechanism reaches a point from its near side."""
        number = self.arrays.number[mechanism]
        centre = point - FAR_AWAY if down else point + FAR_AWAY
        begin = from_us
        while begin < to_us:
            until = min(to_us, begin + LOOK_US)
            self._reach(until)
            for start, end, leg in reversed([*self._legs_between(mechanism, begin / 1e6, until / 1e6)]):
                if leg is not None and leg.turning:
                    continue
                if self._rows:
                    t = first_time(self._log, self._rows, number, centre, FAR_AWAY, inf, start, end, True)
                    if not isinf(t):
                        return microseconds(float(t))
            begin = until
        return None

    def _all_inside(self, names: list[str]) -> bool:
        if self._drive in names and self._route is not None and self._route.ahead:
            return False
        w = self.arrays.w
        for name in names:
            m = self.arrays.at[name]
            if w[m + L.CONTROL] == L.SPEED_LOOP:
                if abs(w[m + L.SPEED] - w[m + L.TARGET]) > w[m + L.WINDOW] + 1e-12:
                    return False
                continue
            if w[m + L.TOUCH] != 0.0 and w[m + L.TOUCHED] == 0.0:
                return False
            if abs(w[m + L.Q] - w[m + L.TARGET_PENDING]) > w[m + L.WINDOW] + 1e-12:
                return False
            if abs(w[m + L.SPEED]) > w[m + L.SLOW] + 1e-12:
                return False
        return True

    def _settle(self, move: Move) -> None:
        """Run ahead until the mechanism of a move is at rest and nothing else changes, or to the horizon."""
        w = self.arrays.w
        m = self.arrays.at[move.mechanism]
        self._save()
        still = 0  # chunks in a row in which nothing moved: whatever a later tick changes has had its time
        while self._covered_us() < self.horizon_us:
            quiet = self._steady() and w[L.DIRTY] == 0.0 and w[m + L.T_PENDING] == inf
            still = still + 1 if quiet and not self._route_open(move) else 0
            if still > 1 and self._covered_us() > max(move.start_us, self.now_us):
                return
            span = max(CHUNK_S, 0.5 * (w[L.T] - move.start_us / 1e6))
            self._run(min(self.horizon_us / 1e6, w[L.T] + span), ())

    def _steady(self) -> bool:
        """Whether nothing moves but what turns at a constant effort and has its speed, so that the bus stands still."""
        w = self.arrays.w
        count = int(w[L.N_LIVE])
        if count == 0:
            return True
        if w[L.STRAIGHT] != 1.0 or w[L.SAGS] != 0.0:
            return False
        live = (int(m) for m in w[L.LIVE : L.LIVE + count])
        return all(abs(w[m + L.ACC]) < nearly_steady(w, m) for m in live)

    def _route_open(self, move: Move) -> bool:
        return move.mechanism == self._drive and self._route is not None and bool(self._route.ahead)

    def _legs_between(self, name: str, start: float, end: float) -> Iterator[tuple[float, float, Leg | None]]:
        """Stretches of time with one meaning of the coordinate, latest first."""
        if name != self._drive or self._route is None:
            yield start, end, None
            return
        stop, latest = end, True
        for begin, leg in reversed(self._route.legs):
            if begin < stop or (begin == stop and latest):
                first = max(start, begin)
                yield first, stop, leg
                stop, latest = first, False
            if begin <= start:
                return

    def _set_of(self, move: Move) -> tuple[float, float, float, float, bool]:
        """(target, window, speed limit, touch, is the last leg under way) of a move in the kernel's coordinate."""
        begun = move._begun
        assert begun is not None
        if move.mechanism != self._drive:
            return begun.target, move.window, move.slower_than, begun.touch, True
        assert self._route is not None and move._route is not None
        last = (move._route.now, *move._route.ahead)[-1]
        control = self._control(move.mechanism, last.turning)
        slower = control.get("slower_than")
        reached = any(leg.carries_out(last) for _, leg in self._route.legs)
        return last.to, float(control["window"]), inf if slower is None else float(slower), 0.0, reached

    def _set_from(self, move: Move) -> float:
        """Instant from which the coordinate of a move's set has its meaning [s]."""
        if move.mechanism != self._drive or move._route is None or self._route is None:
            return move.start_us / 1e6
        last = (move._route.now, *move._route.ahead)[-1]
        return next(begin for begin, leg in self._route.legs if leg.carries_out(last))

    def _set_since(self, move: Move, at_us: int) -> int | None:
        """Instant since which a move has been inside its own target set without a break, at at_us."""
        target, window, slower, touch, reached = self._set_of(move)
        if not reached:
            return None
        number = self.arrays.number[move.mechanism]
        begin, at = self._set_from(move), at_us / 1e6
        low = 0.0
        if touch != 0.0:
            low = self._touch(move, number, touch, begin)
            if isinf(low) or low > at:
                return None
        if self._rows == 0 or at <= begin:
            inside = self._met_at(move.mechanism, begin, target, window, slower)
            return microseconds(begin) if inside else None
        since = inside_since(self._log, self._rows, number, target, window, slower, begin, at)
        return None if isinf(since) else microseconds(max(since, low))

    def _touch(self, move: Move, number: int, touch: float, begin: float) -> float:
        assert move._begun is not None
        if move._begun.touched:
            return begin
        limit = move._begun.high if touch > 0.0 else move._begun.low
        return float(touched_at(self._log, self._rows, number, limit, begin)) if self._rows else inf

    def _hunts(self, move: Move, since_us: int) -> bool:
        """Whether it came into its set at since_us for the last time only because the match ends then.

        It has come in several times before, and what is left is less than it took from one time to the next.
        """
        target, window, slower, _, reached = self._set_of(move)
        if not reached or self._rows == 0:
            return False
        number = self.arrays.number[move.mechanism]
        asked = (self._log, self._rows, number, target, window, slower)
        begin, end = max(self._set_from(move), float(self._log[0, L.LOG_T])), since_us / 1e6
        entries: list[float] = []
        while len(entries) < MOST_ENTRIES:
            entered = float(first_time(*asked, begin, end, True))
            if isinf(entered):
                break
            entries.append(entered)
            begin = float(first_time(*asked, entered, end, False))
            if isinf(begin):
                break
        if len(entries) < HUNTS:
            return False
        gap = max(later - earlier for earlier, later in pairwise(entries))
        return self.horizon_us / 1e6 - end < 1.5 * gap

    def _first_in_set(self, move: Move, from_us: int, to_us: int) -> int | None:
        target, window, slower, touch, reached = self._set_of(move)
        if not reached or self._rows == 0:
            return None
        number = self.arrays.number[move.mechanism]
        begin = max(self._set_from(move), from_us / 1e6)
        if touch != 0.0:
            begin = max(begin, self._touch(move, number, touch, self._set_from(move)))
            if begin > to_us / 1e6:
                return None
        t = first_time(self._log, self._rows, number, target, window, slower, begin, to_us / 1e6, True)
        return None if isinf(t) else microseconds(t)

    def _tolerances(
        self,
        mechanism: str,
        leg: Leg | None,
        target: Target | Pose,
        within: float,
        slower: float | None,
        heading_within: float | None,
    ) -> tuple[float, float, float] | None:
        """Target, half-width and speed limit in the kernel's coordinate; None where nothing on the leg will do."""
        limit = inf if slower is None else slower
        if self.robot.mechanisms[mechanism].kind in SPINNING:
            limit = SPEEDS
        if leg is None:
            assert not isinstance(target, Pose)
            return float(target), within, limit
        if not isinstance(target, Pose):
            return None if leg.turning else (float(target), within, limit)
        turning = self._control(mechanism, True)
        heading = float(turning["window"]) if heading_within is None else heading_within
        found = leg.coordinate_of(target, within, heading)
        if found is None:
            return None
        if leg.turning and slower is not None:
            own = turning.get("slower_than")
            limit = inf if own is None else float(own)
        return found[0], found[1], limit

    def inside_since(
        self,
        mechanism: str,
        target: Target | Pose,
        within: float,
        slower_than: float | None,
        at_us: int,
        heading_within: float | None = None,
    ) -> int | None:
        """Instant since which the position has been within the tolerance of the target, and no faster than
        `slower_than` (None: any speed), without a break up to at_us (<= now); None if it is not met at at_us.
        0 where it has been so from the start."""
        if mechanism in self._watch:
            return self._word_since(mechanism, str(target), at_us)
        self._reach(at_us)
        since = self._since(mechanism, target, within, slower_than, 0.0, at_us / 1e6, heading_within)
        return None if isinf(since) else microseconds(since)

    def _since(
        self,
        mechanism: str,
        target: Target | Pose,
        within: float,
        slower: float | None,
        start: float,
        at: float,
        heading_within: float | None,
    ) -> float:
        """As inside_since, in seconds, looking back to `start`; inf where it is not met."""
        best = inf
        number = self.arrays.number[mechanism]
        if not isinstance(target, Pose):
            target = self._nearest(mechanism, float(target), self._position_at(mechanism, at))
        for begin, end, leg in self._legs_between(mechanism, start, at):
            found = self._tolerances(mechanism, leg, target, within, slower, heading_within)
            if found is None:
                return best
            if self._rows == 0 or end <= begin:
                since = begin if self._met_at(mechanism, begin, *found) else inf
            else:
                since = float(inside_since(self._log, self._rows, number, *found, begin, end))
            if isinf(since):
                return best
            best = since
            if since > begin:
                return best
        return best

    def _met_at(self, mechanism: str, t: float, target: float, within: float, slower: float) -> bool:
        q, v = self._raw(mechanism, t)
        if slower == SPEEDS:
            return abs(v - target) <= within + 1e-12
        return abs(q - target) <= within + 1e-12 and abs(v) <= slower + 1e-12

    def _word_since(self, mechanism: str, word: str, at_us: int) -> int | None:
        since = None
        for there_us, place in self._reached(mechanism):
            if there_us > at_us:
                break
            if place != word:
                since = None
            elif since is None:
                since = there_us
        return since

    def _reached(self, mechanism: str) -> list[tuple[int, str]]:
        """Instants at which a measured mechanism came to a place; one that was called elsewhere before never did."""
        history = self._watch[mechanism]
        starts = [watch.start_us for watch in history[1:]] + [self.horizon_us + 1]
        return [
            (watch.there_us, watch.word)
            for watch, following in zip(history, starts, strict=True)
            if watch.there_us <= following
        ]

    def inside_for_good_from(
        self,
        mechanism: str,
        target: Target | Pose,
        within: float,
        slower_than: float | None,
        at_us: int,
        heading_within: float | None = None,
    ) -> int | None:
        """Instant (> at_us) from which it would be met for good with the command it has at at_us, if nothing
        more were commanded after that; None: never."""
        if mechanism in self._watch:
            last = [watch for watch in self._watch[mechanism] if watch.start_us <= at_us][-1]
            return last.there_us if last.word == str(target) and not last.why else None
        move = self._move_at(mechanism, at_us)
        at, end = at_us / 1e6, self.horizon_us / 1e6
        if move is None or move.cut_us is None:
            self._reach(self.horizon_us)
            since = self._since(mechanism, target, within, slower_than, at, end, heading_within)
        else:
            cut = move.cut_us / 1e6
            since = move._ahead()._since(mechanism, target, within, slower_than, cut, end, heading_within)
            if since <= cut:
                before = self._since(mechanism, target, within, slower_than, at, cut, heading_within)
                since = min(since, before)
        return None if isinf(since) else microseconds(since)

    def _move_at(self, mechanism: str, at_us: int) -> Move | None:
        found = None
        for move in self._moves:
            if move.mechanism == mechanism and move.start_us <= at_us:
                found = move
        return found

    def leaves_at(
        self,
        mechanism: str,
        target: Target | Pose,
        within: float,
        from_us: int,
        to_us: int,
        heading_within: float | None = None,
    ) -> int | None:
        """First instant in [from_us, to_us] (<= now) at which its position is outside the tolerance."""
        if mechanism in self._watch:
            return self._word_left(mechanism, str(target), from_us, to_us)
        number = self.arrays.number[mechanism]
        if not isinstance(target, Pose):
            target = self._nearest(mechanism, float(target), self._position_at(mechanism, from_us / 1e6))
        for begin, end, leg in reversed([*self._legs_between(mechanism, from_us / 1e6, to_us / 1e6)]):
            found = self._tolerances(mechanism, leg, target, within, None, heading_within)
            if found is None:
                return microseconds(begin)
            if self._rows == 0:
                return None
            t = float(first_time(self._log, self._rows, number, *found, begin, end, False))
            if not isinf(t):
                return microseconds(t)
        return None

    def _word_left(self, mechanism: str, word: str, from_us: int, to_us: int) -> int | None:
        if self._word_at(mechanism, from_us) != word:
            return from_us
        for there_us, place in self._reached(mechanism):
            if from_us < there_us <= to_us and place != word:
                return there_us
        return None

    def slower_than(self, mechanism: str) -> float | None:
        """The speed limit of the mechanism's own target set, None where it states none."""
        if mechanism in self._watch:
            return None
        value = self._control(mechanism).get("slower_than")
        return None if value is None else float(value)

    # --- totals -----------------------------------------------------------------------------------

    def moves(self) -> list[Move]:
        """All moves so far, in the order in which they were commanded."""
        return self._moves

    def lowest_bus(self) -> tuple[float, int]:
        """Lowest bus voltage so far [V] and its instant."""
        self._return_to_now()
        w = self.arrays.w
        return float(w[L.V_MIN]), microseconds(float(w[L.V_MIN_AT]))

    def currents(self) -> tuple[float, float]:
        """Peak and mean battery current so far [A]."""
        self._return_to_now()
        w = self.arrays.w
        return float(w[L.I_MAX]), float(w[L.CHARGE] / w[L.T]) if w[L.T] > 0.0 else 0.0

    def energy(self) -> float:
        """Energy that has left the battery's terminals so far [J]."""
        self._return_to_now()
        return float(self.arrays.w[L.ENERGY])

    def collapsed_at(self) -> float | None:
        """First instant at which the battery could not feed what hangs on it [s]; None: never."""
        self._return_to_now()
        at = float(self.arrays.w[L.COLLAPSED_AT])
        return None if at < 0.0 else at

    def _why(self, move: Move) -> str:
        """What holds a mechanism where it ends."""
        w, m = self.arrays.w, self.arrays.at[move.mechanism]
        q = float(w[m + L.Q])
        if isinstance(move.command, SpinTo):
            if abs(w[m + L.DUTY]) >= 0.999 * w[m + L.EFFORT]:
                return "its effort does not bring it to that speed"
            return "its speed loop leaves it there"
        if w[m + L.S] != 0.0:
            slow = abs(w[m + L.SPEED]) < 0.05 * self._built(move.mechanism).free_speed
            return "it sinks slowly" if slow and w[m + L.DUTY] == 0.0 else "it does not come to rest there"
        duty = w[m + L.DUTY]
        if w[m + L.DUTY] == 0.0:
            return "it rests outside its window without effort"
        if (q >= w[m + L.Q_HI] and duty > 0.0) or (q <= w[m + L.Q_LO] and duty < 0.0):
            return "blocked by the end of its travel"
        if abs(w[m + L.DUTY]) >= 0.999 * max(w[m + L.EFFORT], 1e-9) or w[m + L.CONTROL] == L.SERVO:
            return "stalled: its effort does not overcome load and friction"
        return f"its control holds it there with {abs(w[m + L.DUTY]):.0%} effort"

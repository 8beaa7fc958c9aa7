"""The floor: the least time in which any control could bring a mechanism into its target set.

In the phase plane the fastest way is the strongest effort forward followed by the strongest effort backward
(Bobrow, Dubowsky and Gibson, Int. J. Robotics Research 4(3), 1985). Both halves are integrated forward in
time by the same kernel as the run; the instant of the switch is the earliest from which braking still ends
inside the set, found by secants within a bracket. Special cases: a set without a speed limit is only touched; a start
that is too fast overshoots and comes back; a brake that is weaker than the load ends nowhere.
Taken at the favourable end of every spread, with the mechanism's own sag alone, plus what others gave back. Motors
turn with their load as it begins and where it turns to braking; a run whose cord jerks its load along may be faster,
and is its own floor then.
"""

from __future__ import annotations

from dataclasses import replace
from math import copysign, cos, inf, isinf, pi
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from simbot.physics import layout as L
from simbot.physics.build import DRIVES, Arrays, Built, Models
from simbot.physics.compiled import Array
from simbot.physics.encoder import taken_along
from simbot.physics.kinds import KINDS
from simbot.physics.orders import FIRST_STEP, scales_of
from simbot.physics.plant.running import MOST_ROWS, EndlessSteps
from simbot.physics.record import first_time, state_at
from simbot.physics.route import Leg, Steering, kept_speed
from simbot.physics.spreads import Ends, Path, battery_at_ends, robot_at_ends, spread_paths
from simbot.physics.stance import Places
from simbot.physics.stepper import LOG_FULL, advance
from simbot.physics.ways import Way
from simbot.scenario.model import BatteryState

if TYPE_CHECKING:
    from simbot.physics.move import Move
from simbot.physics.move import SPEEDS, SpinTo
from simbot.physics.plant import Plant

LONGEST = 120.0  # s: a move that takes longer has no floor
TIGHT = 1e-8  # s: accuracy of the switching instant, far below a microsecond
CLOSE = 1e-6  # s: a step of the search so short that the floor may be taken along it
FAR = 6  # steps, after which every second one halves the bracket


class Switch(NamedTuple):
    """What the search for an instant of the switch begins with, from that of a like move; 0: not known."""

    share: float = 0.9  # of the time to the target
    slope: float = 0.0  # m/s, rad/s: how fast the place where braking ends moves with the instant
    braking: float = 0.0  # s


UNKNOWN = Switch()


class Stretch:
    """One coordinate to be covered as fast as possible: from a state into a target set.

    Parameters
    ----------
    models : Models
    battery : BatteryState
        Its open-circuit voltage already raised by what others gave back.
    name : str
    payload : float
        [kg]
    direction : float, Way or None
        Of a drive's straight line from its heading [rad], or its curved way; None: a turn.
    start, speed, target, window, slower_than : float
        As of the move.
    touch : float
        -1, +1: the set is a hard stop on this side, or a tooth, if it is near enough to the target.
    tolerance : float
    places : tuple of (str, float)
        Where the mechanisms stand that its load depends on.
    switch : Switch
        Of a like move, where the search for its own begins.
    pawl_out : bool
        The teeth of its ratchet hold nothing.
    """

    def __init__(
        self,
        models: Models,
        battery: BatteryState,
        name: str,
        payload: float,
        direction: float | Way | None,
        start: float,
        speed: float,
        target: float,
        window: float,
        slower_than: float,
        touch: float,
        tolerance: float,
        places: Places = (),
        switch: Switch = UNKNOWN,
        pawl_out: bool = False,
    ) -> None:
        self.built = models.get(name, payload, direction, places)
        self.arrays, self.log = _alone(models, battery, name, self.built, tolerance)
        self.name = name
        self.m = self.arrays.at[name]
        self.pawl_out = pawl_out
        w, m = self.arrays.w, self.m
        w[m + L.Q] = start
        self.locate()
        self.start, self.speed = start, speed
        self.low, self.high = target - window, target + window
        self.slower = slower_than
        self.touch = touch
        w[m + L.Q_SCALE], w[m + L.V_SCALE] = scales_of(abs(target - start), window, slower_than, self.built)
        w[L.H] = min(w.item(L.H), FIRST_STEP * self.built.lag)
        self.base = w.copy()
        self.braking = switch.braking or float(self.base[L.H])
        self.switch = switch
        g, groups = int(self.base[self.m + L.GRP]), self.built.groups.size
        self.rotors = slice(g + L.G_ROTOR, g + groups, L.GROUP_SIZE)
        self.rolls: bool | None = None if self.base[g + L.G_ROTOR] else True

    def time(self) -> float:
        """Least time [s]; inf where no effort gets there."""
        if self.touch != 0.0:
            stop = float(self.base[self.m + (L.Q_HI if self.touch > 0.0 else L.Q_LO)])
            if not self.low - 1e-12 <= stop <= self.high + 1e-12:  # a tooth in its way
                return inf
            return 0.0 if self.start == stop else self.reach(self.touch, stop)
        inside = self.low - 1e-12 <= self.start <= self.high + 1e-12
        if inside and abs(self.speed) <= self.slower:
            return 0.0
        if inside:
            way = 1.0 if self.speed > 0.0 else -1.0
        else:
            way = 1.0 if self.start < self.low else -1.0
        best = self.one_way(way)
        if isinf(best) and way * self.speed > 0.0:
            best = self.overshoot(way)
        return best

    def locate(self) -> None:
        """Make the segment in which it stands its present one."""
        self.arrays.locate(self.name)
        if self.pawl_out:
            self.arrays.take_pawl_out(self.name, self.built.reduced.low)

    def overshoot(self, way: float) -> float:
        """Too fast to stop inside: brake to rest beyond the set, and come back from there."""
        spent, place = self.brake(way, self.start, self.speed, 0.0)
        if isinf(spent):
            return inf
        self.start, self.speed = place, 0.0
        return spent + self.time()

    def one_way(self, way: float) -> float:
        """Forward then backward with `way` the direction in which the set is entered; inf where it is missed."""
        near, far = (self.low, self.high) if way > 0.0 else (self.high, self.low)
        past = way * (self.start - near) >= 0.0 and way * self.speed > 0.0
        if isinf(self.slower):
            return self.reach(way, near)
        touch = inf
        if not past:
            touch = self.reach(way, near)
            if isinf(touch):
                return inf
            _, v = state_at(self.log, self.rows, 0, touch)
            if abs(v) <= self.slower * (1.0 + 1e-9):
                return touch
        rows = 0 if past else self.rows
        forward = self.log[: rows + 1].copy()
        best = self.switched(way, near, far, forward, rows, touch)
        stop = self.base[self.m + (L.Q_HI if way > 0.0 else L.Q_LO)]
        if self.low <= stop <= self.high:  # running into it ends at rest inside the set, too
            best = min(best, self.reach(way, float(stop)))
        return best

    def switched(
        self, way: float, near: float, far: float, forward: np.ndarray, rows: int, touch: float
    ) -> float:
        """Earliest switch after which braking has become slow enough at the near edge or beyond it."""
        spent, end = self.brake(way, self.start, self.speed, self.slower)
        if way * self.speed > self.slower and way * (end - near) >= -1e-15:
            return spent if way * (far - end) >= -1e-15 else inf
        if rows == 0 or isinf(touch):
            return inf
        low, high, best = 0.0, touch, inf
        slope = self.switch.slope
        at, last = self.switch.share * touch, (0.0, inf, 0.0)
        for count in range(100):
            q, v = state_at(forward, rows, 0, at)
            spent, end = self.brake(way, q, v, self.slower)
            over, whole = way * (end - near), at + spent
            if over < 0.0:
                low = at
            else:
                high = at
                best = whole if way * (far - end) >= 0.0 else best
            then, before, earlier = last
            step = inf
            if not isinf(over):
                if not isinf(before):
                    slope = (over - before) / (at - then)
                elif slope == 0.0:
                    gained = abs(v) - abs(state_at(forward, rows, 0, 0.99 * at)[1])
                    slope = abs(v) + 2.0 * abs(end - q) / abs(v) * gained / (0.01 * at)
                step = -over / slope if slope > 0.0 else inf
                near_by = abs(step) < CLOSE and abs(over) < 10.0 * CLOSE * abs(v)  # and not astride a jump
                if near_by and not isinf(before):
                    self.switch = Switch((at + step) / touch, slope, self.braking)
                    return whole + step * (whole - earlier) / (at - then)
                last = (at, over, whole)
            if high - low < TIGHT:
                break
            at += step
            if not low < at < high or (count > FAR and count % 2):
                at = 0.5 * (low + high)
        return best

    def run(self, q: float, v: float, optimal: float) -> None:
        """Set the state and the strongest effort in a direction; time begins at 0."""
        w, m = self.arrays.w, self.m
        w[:] = self.base
        w[m + L.Q], w[m + L.SPEED] = q, v
        w[m + L.CONTROL], w[m + L.OPTIMAL] = L.STRONGEST, optimal
        w[L.TICK] = 1e12
        w[L.DIRTY] = 1.0
        if w[m + L.N_SEG] > 1.0:
            self.locate()
        self.rows = 0

    def go(self, to: float) -> bool:
        """Integrate to an instant [s]; False where the mechanism has come to rest for good."""
        w = self.arrays.w
        while True:
            code, self.rows = advance(w, self.arrays.tab, self.log, self.rows, to)
            if code != LOG_FULL:
                return bool(w[L.N_LIVE] > 0.0)
            if self.rows > MOST_ROWS:
                raise EndlessSteps(
                    f"the floor of {self.name} needs more than {MOST_ROWS} steps, at {w[L.T]:.6f} s: please report this"
                )
            self.log = np.concatenate((self.log, np.empty_like(self.log)))

    def reach(self, way: float, edge: float) -> float:
        """Time of the strongest effort until the edge is passed; inf where it is not."""
        self.run(self.start, self.speed, way)
        w, m = self.arrays.w, self.m
        span = 4.0 * (self.base[m + L.Q_SCALE] / self.built.free_speed + 1e-3)
        at = 0.0
        while at < LONGEST:
            at += span
            alive = self.go(at)
            if way * (w[m + L.Q] - edge) >= 0.0:
                half = 0.5e9
                t = first_time(self.log, self.rows, 0, edge + way * half, half, inf, 0.0, at, True)
                return float(t)
            if not alive:
                return inf
            span *= 2.0
        return inf

    def come_to_speed(self, low: float, high: float) -> float:
        """Time of the strongest effort until the speed is in a window [rad/s]; inf where it never is."""
        if low <= self.speed <= high:
            return 0.0
        way, edge = (1.0, low) if self.speed < low else (-1.0, high)
        self.run(self.start, self.speed, way)
        at, span = 0.0, self.braking
        while at < LONGEST:
            at += span
            alive = self.go(at)
            if way * (self.arrays.w[self.m + L.SPEED] - edge) >= 0.0:
                middle, half = 0.5 * (low + high), 0.5 * (high - low)
                return float(first_time(self.log, self.rows, 0, middle, half, SPEEDS, 0.0, at, True))
            if not alive:
                return inf
            span *= 2.0
        return inf

    def brake(self, way: float, q: float, v: float, slow: float) -> tuple[float, float]:
        """Time and place at which the strongest effort against the motion (or a stop) has made it slow enough.

        Whether wheels that slide grip again before that is a matter of its speed alone: where they do not, how they
        turn meanwhile is nothing to the robot, and is left out from the second time on.
        """
        if way * v <= slow:
            return 0.0, q
        found = self.slowed(way, q, v, slow)
        if self.rolls is None:
            self.rolls = True
            t, place = self.slowed(way, q, v, slow)
            self.rolls = t == found[0] == inf or abs(t - found[0]) + abs(place - found[1]) < 1e-9
        return found

    def slowed(self, way: float, q: float, v: float, slow: float) -> tuple[float, float]:
        """As `brake`, by one run; motors turn with their load all the time where `rolls` says so."""
        self.run(q, v, -way)
        w, m = self.arrays.w, self.m
        if self.rolls:
            w[self.rotors] = 0.0
        at = 0.0
        lag = self.braking  # the last one's time is a good guess of the next one's
        while at < LONGEST:
            at += lag
            alive = self.go(at)
            if way * w[m + L.SPEED] <= slow:
                t, place = self.slow_at(slow)
                if not isinf(t):
                    self.braking = 1.02 * t + 1e-6
                    return t, place
            if not alive:
                break
            lag *= 2.0
        return inf, way * inf

    def slow_at(self, slow: float) -> tuple[float, float]:
        """First instant and place of the last run at which it was no faster than `slow`; at rest for 0."""
        if slow > 0.0:
            t = float(first_time(self.log, self.rows, 0, 0.0, 1e12, slow, 0.0, inf, True))
            return (inf, inf) if isinf(t) else (t, float(state_at(self.log, self.rows, 0, t)[0]))
        still = np.flatnonzero(self.log[1 : self.rows, L.LOG_MECH + 1] == 0.0)
        if still.size:
            row = self.log[1 + still[0]]
            return float(row[L.LOG_T]), float(row[L.LOG_MECH])
        w, m = self.arrays.w, self.m
        return (float(w[L.T]), float(w[m + L.Q])) if w[m + L.SPEED] == 0.0 else (inf, inf)


def _alone(
    models: Models, battery: BatteryState, name: str, built: Built, tolerance: float
) -> tuple[Arrays, Array]:
    """Arrays of a mechanism by itself at time 0, and a log: made once, for one stretch after the other."""
    key = (name, id(built), tolerance)
    if key not in models.alone:
        arrays = models.arrays([name], battery, tolerance)
        arrays.w[L.WARMS] = 0.0
        arrays.write(name, built)
        models.alone[key] = (arrays, arrays.w.copy(), np.empty((512, arrays.columns)), built)
    kept: tuple[Arrays, Array, Array, Built] = models.alone[key]
    arrays, blank, log, _ = kept
    w = arrays.w
    w[:] = blank
    w[L.E], w[L.R0] = battery.open_circuit, battery.resistance
    w[L.V] = w[L.V_MIN] = w[L.REST] = battery.open_circuit
    return arrays, log


def floor_of(plant: Plant, move: Move) -> float | None:
    """Floor of a move [s], at the favourable end of every spread; None where no effort gets there."""
    back = _given_back(plant, move)
    key = _alike(plant, move)
    known = plant.models.favourable
    if key in known:
        ends, switches = known[key]
        best = _time(plant, move, *_variant(plant, move.mechanism, ends), back, dict(switches))
    else:
        switches = {}
        best, ends = _favourable(plant, move, back, switches)
        known[key] = (ends, switches)
    arrival = move.arrival_us()
    if arrival is not None and _was_apart(plant, move, arrival):
        best = min(best, (arrival - move.start_us) / 1e6)
    return None if isinf(best) else best


def _was_apart(plant: Plant, move: Move, arrival: int) -> bool:
    """Whether its rotors turned by themselves at some time: a jerk as they take their load along may help it."""
    log = plant._log[: plant._rows]
    rows = slice(*np.searchsorted(log[:, L.LOG_T], (move.start_us / 1e6 - 1e-9, arrival / 1e6)))
    numbers = plant.arrays.rotors[move.mechanism]
    return any(np.any(log[rows, L.LOG_MECH + L.LOG_PER_MECH * each + L.LOG_BACK] != 0.0) for each in numbers)


def _alike(plant: Plant, move: Move) -> tuple[object, ...]:
    """What decides which end of a spread is the favourable one: moves that start and end alike share it."""
    start = move.start_position
    assert not isinstance(start, str) and not isinstance(move.target, str)
    legs = () if move._route is None else (move._route.now, *move._route.ahead)
    turns = tuple((leg.turning, round(leg.to - leg.at, 2), round(leg.direction, 2)) for leg in legs)
    rounded = (
        round(start, 2),
        round(move.start_speed, 1),
        round(move.target, 2),
        round(move.target - start, 2),
    )
    others = tuple(round(place, 2) for _, place in move._places)
    key = (move.mechanism, plant.battery.name, move._payload, others, turns, tuple(sorted(move.pawls)))
    return (*key, *rounded, move.window, move.slower_than)


def _favourable(plant: Plant, move: Move, back: float, switches: dict[int, Switch]) -> tuple[float, Ends]:
    """Floor at the end of each spread that makes the move fastest, and these ends, one spread after the other.

    An end that helps is taken, and the other one not tried; the one that helped the last move is tried first.
    """
    name = move.mechanism
    best = _time(plant, move, plant.models, plant.battery, back, switches)
    chosen: Ends = ()
    for path in _paths(plant, name):
        first = plant.models.helped.get((name, path), -1.0)
        for sign in (first, -first):
            trial = (*chosen, (path, sign))
            time = _time(plant, move, *_variant(plant, name, trial), back, switches)
            if time < best - TIGHT:
                best, chosen = time, trial
                plant.models.helped[name, path] = sign
                break
    return best, chosen


def _paths(plant: Plant, name: str) -> list[Path]:
    """Where the quantities with a spread stand, looked for once for all moves."""
    known, key = plant.models.paths, (name, plant.battery.name)
    if key not in known:
        known[key] = spread_paths(plant.robot, plant.battery, name, name == plant._drive)
    return known[key]


def _variant(plant: Plant, name: str, ends: Ends) -> tuple[Models, BatteryState]:
    """The robot with some quantities at an end of their spread, built once for all moves and battery states."""
    of_battery = tuple(end for end in ends if end[0][0] == "battery")
    of_robot = tuple(end for end in ends if end[0][0] != "battery")
    models, known = plant.models, plant.models.variants
    if of_robot:
        if (name, of_robot) not in known:
            known[name, of_robot] = Models(robot_at_ends(plant.robot, of_robot))
        models = known[name, of_robot]
    return models, battery_at_ends(plant.battery, of_battery)


def _given_back(plant: Plant, move: Move) -> float:
    """Most current that all others together gave back at one instant of the move [A]."""
    arrival = move.arrival_us()
    end = plant.horizon_us if arrival is None else arrival
    if move.cut_us is not None:
        end = min(end, move.cut_us)
    if plant._rows == 0 or end <= move.start_us:
        return 0.0
    log = plant._log[: plant._rows]
    row = int(np.searchsorted(log[:, L.LOG_T], end / 1e6, side="left")) - 1
    column = L.LOG_MECH + L.LOG_PER_MECH * plant.arrays.number[move.mechanism] + L.LOG_BACK
    return float(log[max(row, 0), column])


def _nearest_start(line: Leg, leg: Leg, window: float) -> float:
    """Where a line may begin at best, as the line before it may end anywhere in its window: on the way back, nearer."""
    way, length = copysign(1.0, leg.to - leg.at), abs(leg.to - leg.at)
    ends = line.way_at(line.to) + (0.0 if line.to >= line.at else pi)
    begins = leg.way_at(leg.at) + (0.0 if leg.to >= leg.at else pi)
    return leg.at + way * min(length, window * max(0.0, -cos(begins - ends)))


def _time(
    plant: Plant,
    move: Move,
    models: Models,
    battery: BatteryState,
    back: float,
    switches: dict[int, Switch],
) -> float:
    """Floor of a move for one choice of all quantities [s]; of a drive: the sum over its legs.

    `switches`: of the legs of a like move, by number, where the search begins; then those found.
    """
    begun = move._begun
    assert begun is not None
    used = battery.falls * begun.charge / battery.capacity if battery.capacity else 0.0
    volts = battery.open_circuit - used + back * battery.resistance
    raised = replace(battery, open_circuit=volts, polarisation=0.0, falls=0.0)
    tolerance = float(plant.arrays.w[L.TOL])
    name = move.mechanism
    q, v = begun.position, begun.speed
    if plant.robot.mechanisms[name].kind not in DRIVES:
        if isinstance(move.command, SpinTo):
            asked = float(move.target)
            none = (models, raised, name, move._payload, 0.0, q, v, q, 1.0, inf, 0.0, tolerance)
            return Stretch(*none).come_to_speed(asked - move.window, asked + move.window)
        touch = begun.touch
        if touch != 0.0 and begun.touched and abs(q - float(move.target)) <= move.window + 1e-12:
            return 0.0
        crossed = 0.0
        there = abs(q - float(move.target)) <= move.window and abs(v) <= move.slower_than and touch == 0.0
        if move.play != 0.0 and not there:
            built = models.get(name, move._payload, 0.0, move._places)
            found = taken_along(built, q, move.play, 1.0, raised.open_circuit, raised.resistance)
            if found is not None:
                crossed, v = found.time, copysign(found.speed * found.share, move.play)
        best = inf
        for engaged in sorted(move.pawls):
            stretch = Stretch(
                models,
                raised,
                name,
                move._payload,
                0.0,
                q,
                v,
                float(move.target),
                move.window,
                move.slower_than,
                touch,
                tolerance,
                move._places,
                switches.get(0, UNKNOWN),
                not engaged,
            )
            best = min(best, stretch.time())
            switches[0] = stretch.switch
        return crossed + best
    assert move._route is not None
    total = 0.0
    last: Leg | None = None
    line: Leg | None = None  # the last one that was not a turn
    spec = models.robot.mechanisms[name]
    for number, leg in enumerate((move._route.now, *move._route.ahead)):
        if isinstance(leg, Steering):
            total += KINDS[spec.kind].steering_time(spec.values, leg.before, leg.after)
            continue
        control = plant._control(name, leg.turning)
        direction = leg.built_for
        start, speed = (q, v) if number == 0 else (leg.at, kept_speed(last, leg))
        if number and line is not None and not leg.turning:
            start = _nearest_start(line, leg, plant._control(name).window)
        last, line = leg, line if leg.turning else leg
        stretch = Stretch(
            models,
            raised,
            name,
            move._payload,
            direction,
            start,
            speed,
            leg.to,
            control.window,
            control.slower_than,
            0.0,
            tolerance,
            switch=switches.get(number, UNKNOWN),
        )
        if leg.brakes:
            total += stretch.brake(copysign(1.0, speed), start, speed, leg.slow)[0]
        else:
            total += stretch.time()
            switches[number] = stretch.switch
    return total

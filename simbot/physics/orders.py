"""How a command is put into the kernel's array: control, target set, scales, profile."""

from __future__ import annotations

from collections.abc import Mapping
from math import copysign, inf, radians
from typing import Any, NamedTuple

import numpy as np

from simbot.physics import layout as L
from simbot.physics.build import DRIVES, Arrays, Built, packed
from simbot.physics.kinds import KINDS
from simbot.physics.profile import point, profile
from simbot.scenario.model import MechanismSpec, Robot

HEADING_WINDOW = radians(2.0)  # of a turn in place whose control states none
DRIVE_WINDOW = 0.02
SPEED_GAIN = 10.0  # of a speed loop that states none: full effort at an error of a tenth of the free speed
SPEED_WINDOW = 0.02  # of the speed asked for
LOOPS = {"full_effort": L.FULL, "position": L.POSITION, "profile": L.PROFILED, "servo": L.SERVO}
AFTER = {"brake": 0.0, "coast": 1.0}
SERVO_SHARE = 0.25  # of the error scales: what a servo draws swings with it in its band
CLEARED = packed(*[0.0] * (L.KICK + 1 - L.OTHERS_BACK))  # by every command to a place
FIRST_STEP = 0.2  # of the time constant: no longer a step after a command is tried first


class Control(NamedTuple):
    """A mechanism's own control, or that of a drive's turns in place, as commands take it.

    Parameters
    ----------
    loop : str
    window, slower_than : float
        Of the target set; slower_than inf: any speed.
    after : str, float or None
        What comes after an effort.
    gains : memoryview
        What the kernel's array has of it, from EFFORT to AFTER_EFFORT.
    limits : tuple
        Speed, acceleration and jerk of its motion profile (None: without that limit, or without a profile).
    """

    loop: str
    window: float
    slower_than: float
    after: str | float | None
    gains: memoryview[float]
    limits: tuple[Any, Any, Any]

    @classmethod
    def of(cls, keys: Mapping[str, Any]) -> Control:
        """Of a control's keys, as `control_of` gives them."""
        of = keys.get
        slower, after, effort = of("slower_than"), of("after"), of("effort")
        most = 1.0 if effort is None else effort
        gains = (most, of("p") or 0.0, of("i") or 0.0, of("d") or 0.0, of("latency") or 0.0)
        return cls(
            of("loop") or "",
            float(keys["window"]),
            inf if slower is None else float(slower),
            after,
            packed(*gains, *_afterwards(after)),
            (of("speed"), of("acceleration"), of("jerk")),
        )

    def with_effort(self, effort: float) -> Control:
        """At full effort, of another size, to any speed."""
        gains = packed(effort, *self.gains[1:])
        return self._replace(loop="full_effort", slower_than=inf, gains=gains)


class Order(NamedTuple):
    """A target set and how it is to be reached.

    Parameters
    ----------
    target, window, slower_than : float
        The set; slower_than inf: any speed.
    touch : float
        -1, +1: the target is that end of the travel, arrived when touched; 0: a window.
    control : Control
        In the coordinate of this mechanism (or leg).
    """

    target: float
    window: float
    slower_than: float
    touch: float
    control: Control


def control_of(spec: MechanismSpec, turning: bool = False) -> dict[str, Any]:
    """The control's keys in SI; of a turn in place: in radians, derived from the line's where not given."""
    values = spec.values
    if spec.servo is not None:
        return {"loop": "servo", "window": float(spec.servo["window"]), "slower_than": None}
    given = dict(values.get("control") or {})
    if given.get("window") is None:
        given["window"] = DRIVE_WINDOW if spec.kind in DRIVES else default_window(values)
    if not turning:
        return given
    turn = dict(values.get("turn") or {})
    lever_of = getattr(KINDS[spec.kind], "turning_lever", lambda p: p["track"] / 2.0)
    lever = lever_of({"track": values.get("track") or 0.3, "wheelbase": values.get("wheelbase") or 0.3})
    for key in ("p", "i", "d"):
        if turn.get(key) is None and given.get(key) is not None:
            turn[key] = given[key] * lever
    for key in ("slower_than", "speed", "acceleration", "jerk"):
        if turn.get(key) is None and given.get(key) is not None:
            turn[key] = given[key] / lever
    if turn.get("window") is None:
        turn["window"] = HEADING_WINDOW
    return {**given, **turn}


def default_window(values: Mapping[str, Any]) -> float:
    """2 % of the travel where a control states no window."""
    travel = values.get("travel")
    return 0.02 * abs(travel[1] - travel[0]) if travel else 0.02


def controls_of(robot: Robot) -> dict[tuple[str, bool], Control]:
    """Of all mechanisms by name, and with True those of drives' turns in place."""
    return {
        (name, turning): Control.of(control_of(spec, turning))
        for name, spec in robot.mechanisms.items()
        for turning in ((False, True) if spec.kind in DRIVES else (False,))
    }


def order_for(arrays: Arrays, name: str, control: Control, target: float, open_loop: bool = False) -> Order:
    """Target set of a command: a hard stop is reached by touching where effort is what drives it."""
    touch = 0.0
    if open_loop or control.loop == "full_effort":
        w, m = arrays.w, arrays.at[name]
        if target >= w[m + L.Q_HI]:
            touch = 1.0
        elif target <= w[m + L.Q_LO]:
            touch = -1.0
    return Order(float(target), control.window, control.slower_than, touch, control)


def set_target(w: Any, m: int, order: Order, built: Built, share: float = 1.0) -> None:
    """The set, the direction, and what errors are measured by (`share` of it), in an array's buffer."""
    target, window, slower, touch, _ = order
    q = w[m + L.Q]
    at_stop = touch != 0.0 and (q >= w[m + L.Q_HI] if touch > 0.0 else q <= w[m + L.Q_LO])
    w[m + L.TARGET_PENDING], w[m + L.WINDOW], w[m + L.SLOW], w[m + L.TOUCH] = target, window, slower, touch
    w[m + L.TOUCHED] = 1.0 if at_stop and w[m + L.SPEED] == 0.0 else 0.0
    w[m + L.DIRECTION] = touch if touch != 0.0 else copysign(1.0, target - q)
    w[m + L.T_COMMAND] = w[L.T]
    scales = scales_of(abs(target - q), window, slower, built)
    w[m + L.Q_SCALE], w[m + L.V_SCALE] = share * scales[0], share * scales[1]
    w[m + L.OTHERS_BACK : m + L.KICK + 1] = CLEARED
    w[L.H] = min(w[L.H], FIRST_STEP * built.lag)
    w[L.DIRTY] = 1.0


def scales_of(distance: float, window: float, slower: float, built: Built) -> tuple[float, float]:
    """Error scales: the way to go, and a speed that such a way lets it reach (not far below its speed limit)."""
    free, lag = built.free_speed, built.lag
    distance = max(distance, window, 1e-3 * free * lag)
    speed = free * distance / (distance + free * lag)
    if slower < inf:
        speed = min(speed, max(5.0 * slower, 0.02 * free))
    return distance, speed


def give(
    arrays: Arrays, name: str, order: Order, built: Built, frame: float = 0.0, behind: float = 0.0
) -> None:
    """Command a mechanism to a target under its own control; its first tick is now.

    `behind`: how far its motor has to go before it takes the load along [m, rad], where a profile begins.
    """
    w: Any = arrays.w.data
    m, control = arrays.at[name], order.control
    loop = w[m + L.CONTROL] = LOOPS[control.loop]
    if loop == L.SERVO:
        set_target(w, m, order, built, SERVO_SHARE)
        w[m + L.T_PENDING] = w[L.T] + frame
        return
    set_target(w, m, order, built)
    w[m + L.TARGET] = order.target
    w[m + L.EFFORT : m + L.AFTER_EFFORT + 1] = control.gains
    w[m + L.NEW] = w[L.FRESH] = 1.0
    if loop == L.PROFILED:
        pieces = profile(w[m + L.Q] - behind, w[m + L.SPEED], order.target, *control.limits)
        _store(arrays.w, m, pieces)


def later(w: Any, m: int, time: float, speed: float) -> tuple[float, float]:
    """When a profile that begins behind the load has come to it, and how fast; or as the motors alone, if later.

    `time`, `speed`: theirs at full effort [s, and of the load's coordinate].
    """
    p = int(w[m + L.PROFILE])
    pieces = w[p : p + 5 * int(w[m + L.PROFILE_N])].reshape(-1, 5)
    way = copysign(1.0, w[m + L.TARGET] - pieces[0, 1])
    low, high = 0.0, float(pieces[-1, 0])
    while high - low > 1e-9:
        t = 0.5 * (low + high)
        low, high = (t, high) if way * (point(pieces, t)[0] - w[m + L.Q]) < 0.0 else (low, t)
    return (time, speed) if high <= time else (high, abs(point(pieces, high)[1]))


def _store(w: Any, m: int, pieces: list[tuple[float, float, float, float, float]]) -> None:
    w[m + L.PROFILE_N] = len(pieces)
    p = int(w[m + L.PROFILE])
    w[p : p + 5 * len(pieces)] = np.ravel(pieces)
    w[m + L.LAG_MAX] = 0.0


def _afterwards(after: str | float | None) -> tuple[float, float]:
    """AFTER and AFTER_EFFORT."""
    if isinstance(after, str) or after is None:
        return AFTER[after or "brake"], 0.0
    return 2.0, float(after)


def push(
    arrays: Arrays,
    name: str,
    order: Order,
    built: Built,
    effort: float,
    end: float,
    after: str | float | None,
) -> None:
    """Open-loop effort towards the target until a time [s] of the match."""
    w: Any = arrays.w.data
    m = arrays.at[name]
    set_target(w, m, order, built)
    w[m + L.CONTROL], w[m + L.TARGET] = L.TIMED, order.target
    w[m + L.EFFORT : m + L.AFTER_EFFORT + 1] = order.control.gains
    if after is not None:
        w[m + L.AFTER], w[m + L.AFTER_EFFORT] = _afterwards(after)
    w[m + L.EFFORT], w[m + L.T_OFF] = effort, end
    w[m + L.NEW] = w[L.FRESH] = 1.0


def spin(arrays: Arrays, name: str, effort: float, built: Built, after: str | float | None) -> None:
    """Constant effort from now on; 0: what the control does afterwards."""
    w: Any = arrays.w.data
    m = arrays.at[name]
    w[m + L.AFTER], w[m + L.AFTER_EFFORT] = _afterwards(after)
    w[m + L.CONTROL] = L.SPIN
    w[m + L.DUTY] = w[m + L.SENT] = effort
    w[m + L.OPEN] = w[m + L.SENT_OPEN] = 1.0 if effort == 0.0 and w[m + L.AFTER] == 1.0 else 0.0
    w[m + L.T_COMMAND], w[m + L.OTHERS_BACK], w[m + L.LOCK] = w[L.T], 0.0, 0.0
    w[m + L.WINDOW], w[m + L.SLOW], w[m + L.TOUCH] = inf, inf, 0.0
    w[m + L.Q_SCALE], w[m + L.V_SCALE] = built.free_speed, built.free_speed
    w[L.DIRTY] = 1.0


def spin_to(
    arrays: Arrays, name: str, speed: float, built: Built, control: Control, loop: Mapping[str, Any]
) -> None:
    """Hold a speed [rad/s] from now on: effort = feed-forward + p x error, at every tick, never against it.

    Parameters
    ----------
    control : Control
    loop : mapping
        Keys of the mechanism's `speed_control` (p, window, feed_forward).
    """
    w: Any = arrays.w.data
    m = arrays.at[name]
    w[m + L.EFFORT : m + L.AFTER_EFFORT + 1] = control.gains
    p, window = loop["p"], loop["window"]
    w[m + L.CONTROL], w[m + L.TARGET], w[m + L.TARGET_PENDING] = L.SPEED_LOOP, speed, speed
    w[m + L.KP] = SPEED_GAIN / built.free_speed if p is None else p
    w[m + L.FEED_SHARE] = loop["feed_forward"]
    w[m + L.WINDOW] = SPEED_WINDOW * abs(speed) if window is None else window
    w[m + L.SLOW], w[m + L.TOUCH], w[m + L.DIRECTION] = inf, 0.0, copysign(1.0, speed)
    w[m + L.T_COMMAND], w[m + L.OTHERS_BACK], w[m + L.LOCK] = w[L.T], 0.0, 0.0
    w[m + L.Q_SCALE], w[m + L.V_SCALE] = built.free_speed, built.free_speed
    w[m + L.NEW] = w[L.FRESH] = w[L.DIRTY] = 1.0


def hold(arrays: Arrays, name: str, control: Control, built: Built) -> None:
    """At the start: the position it has counts as its last target."""
    w, m = arrays.w, arrays.at[name]
    if control.loop == "profile":
        speed, acceleration, jerk = control.limits
        control = control._replace(limits=(speed or 1.0, acceleration or 1.0, jerk))
    give(arrays, name, Order(w.item(m + L.Q), control.window, inf, 0.0, control), built)
    w[m + L.DIRECTION] = 1.0

"""How a command is put into the kernel's array: control, target set, scales, profile."""

from __future__ import annotations

from collections.abc import Mapping
from math import copysign, inf, radians
from typing import Any, NamedTuple

import numpy as np

from simbot.physics import layout as L
from simbot.physics.build import DRIVES, Arrays, Built
from simbot.physics.kinds import KINDS
from simbot.physics.profile import point, profile
from simbot.scenario.model import MechanismSpec

HEADING_WINDOW = radians(2.0)  # of a turn in place whose control states none
DRIVE_WINDOW = 0.02
SPEED_GAIN = 10.0  # of a speed loop that states none: full effort at an error of a tenth of the free speed
SPEED_WINDOW = 0.02  # of the speed asked for
LOOPS = {"full_effort": L.FULL, "position": L.POSITION, "profile": L.PROFILED}
AFTER = {"brake": 0.0, "coast": 1.0}
SERVO_SHARE = 0.25  # of the error scales: what a servo draws swings with it in its band
CLEARED = (L.OTHERS_BACK, L.INTEGRAL, L.PINNED, L.LOCK, L.PLAY_UNTIL, L.KICK)  # by every command


class Order(NamedTuple):
    """A target set and how it is to be reached.

    Parameters
    ----------
    target, window, slower_than : float
        The set; slower_than inf: any speed.
    touch : float
        -1, +1: the target is that end of the travel, arrived when touched; 0: a window.
    values : mapping
        The control's keys in the coordinate of this mechanism (or leg).
    """

    target: float
    window: float
    slower_than: float
    touch: float
    values: Mapping[str, Any]


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


def order_for(
    arrays: Arrays, name: str, control: Mapping[str, Any], target: float, open_loop: bool = False
) -> Order:
    """Target set of a command: a hard stop is reached by touching where effort is what drives it."""
    slower = control.get("slower_than")
    touch = 0.0
    if open_loop or control["loop"] == "full_effort":
        w, m = arrays.w, arrays.at[name]
        if target >= w[m + L.Q_HI]:
            touch = 1.0
        elif target <= w[m + L.Q_LO]:
            touch = -1.0
    return Order(target, float(control["window"]), inf if slower is None else float(slower), touch, control)


def set_target(arrays: Arrays, name: str, order: Order, built: Built) -> None:
    """The set, the direction, and what errors are measured by."""
    w, m = arrays.w, arrays.at[name]
    q, touch = w.item(m + L.Q), order.touch
    w[m + L.TARGET_PENDING] = order.target
    w[m + L.WINDOW], w[m + L.SLOW], w[m + L.TOUCH] = order.window, order.slower_than, touch
    at_stop = touch != 0.0 and (q >= w[m + L.Q_HI] if touch > 0.0 else q <= w[m + L.Q_LO])
    w[m + L.TOUCHED] = 1.0 if at_stop and w[m + L.SPEED] == 0.0 else 0.0
    w[m + L.DIRECTION] = touch if touch != 0.0 else copysign(1.0, order.target - q)
    w[m + L.T_COMMAND] = w[L.T]
    for key in CLEARED:
        w[m + key] = 0.0
    scale(arrays, name, abs(order.target - q), order, built)


def scale(arrays: Arrays, name: str, distance: float, order: Order, built: Built) -> None:
    """Error scales: the way to go, and a speed that such a way lets it reach (not far below its speed limit)."""
    w, m = arrays.w, arrays.at[name]
    free, lag = built.free_speed, built.lag
    distance = max(distance, order.window, 1e-3 * free * lag)
    speed = free * distance / (distance + free * lag)
    if order.slower_than < inf:
        speed = min(speed, max(5.0 * order.slower_than, 0.02 * free))
    share = SERVO_SHARE if order.values.get("loop") == "servo" else 1.0
    w[m + L.Q_SCALE], w[m + L.V_SCALE] = share * distance, share * speed
    w[L.H] = min(w.item(L.H), 0.2 * lag)


def give(
    arrays: Arrays, name: str, order: Order, built: Built, frame: float = 0.0, behind: float = 0.0
) -> None:
    """Command a mechanism to a target under its own control; its first tick is now.

    `behind`: how far its motor has to go before it takes the load along [m, rad], where a profile begins.
    """
    set_target(arrays, name, order, built)
    w, m = arrays.w, arrays.at[name]
    control = order.values
    loop = control["loop"]
    if loop == "servo":
        w[m + L.CONTROL] = L.SERVO
        w[m + L.T_PENDING] = w[L.T] + frame
    else:
        w[m + L.CONTROL] = LOOPS[loop]
        w[m + L.TARGET] = order.target
        w[m + L.NEW] = w[L.FRESH] = 1.0
        _gains(w, m, control)
    if loop == "profile":
        pieces = profile(
            w[m + L.Q] - behind,
            w[m + L.SPEED],
            order.target,
            control["speed"],
            control["acceleration"],
            control["jerk"],
        )
        _store(w, m, pieces)
    w[L.DIRTY] = 1.0


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


def _gains(w: Any, m: int, control: Mapping[str, Any]) -> None:
    w[m + L.EFFORT] = 1.0 if control.get("effort") is None else control["effort"]
    of = control.get
    w[m + L.KP], w[m + L.KI], w[m + L.KD] = of("p") or 0.0, of("i") or 0.0, of("d") or 0.0
    w[m + L.LATENCY] = of("latency") or 0.0
    set_after(w, m, of("after"))


def set_after(w: Any, m: int, after: str | float | None) -> None:
    if isinstance(after, str) or after is None:
        w[m + L.AFTER], w[m + L.AFTER_EFFORT] = AFTER[after or "brake"], 0.0
    else:
        w[m + L.AFTER], w[m + L.AFTER_EFFORT] = 2.0, float(after)


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
    set_target(arrays, name, order, built)
    w, m = arrays.w, arrays.at[name]
    _gains(w, m, order.values)
    if after is not None:
        set_after(w, m, after)
    w[m + L.CONTROL], w[m + L.TARGET] = L.TIMED, order.target
    w[m + L.EFFORT], w[m + L.T_OFF] = effort, end
    w[m + L.NEW] = w[L.FRESH] = w[L.DIRTY] = 1.0


def spin(arrays: Arrays, name: str, effort: float, built: Built, after: str | float | None) -> None:
    """Constant effort from now on; 0: what the control does afterwards."""
    w, m = arrays.w, arrays.at[name]
    set_after(w, m, after)
    w[m + L.CONTROL] = L.SPIN
    w[m + L.DUTY] = w[m + L.SENT] = effort
    w[m + L.OPEN] = w[m + L.SENT_OPEN] = 1.0 if effort == 0.0 and w[m + L.AFTER] == 1.0 else 0.0
    w[m + L.T_COMMAND], w[m + L.OTHERS_BACK], w[m + L.LOCK] = w[L.T], 0.0, 0.0
    w[m + L.WINDOW], w[m + L.SLOW], w[m + L.TOUCH] = inf, inf, 0.0
    w[m + L.Q_SCALE], w[m + L.V_SCALE] = built.free_speed, built.free_speed
    w[L.DIRTY] = 1.0


def spin_to(
    arrays: Arrays, name: str, speed: float, built: Built, control: Mapping[str, Any], loop: Mapping[str, Any]
) -> None:
    """Hold a speed [rad/s] from now on: effort = feed-forward + p x error, at every tick, never against it.

    Parameters
    ----------
    control, loop : mapping
        Keys of the mechanism's `control` (effort, latency, after) and `speed_control` (p, window, feed_forward).
    """
    w, m = arrays.w, arrays.at[name]
    _gains(w, m, control)
    p, window = loop["p"], loop["window"]
    w[m + L.CONTROL], w[m + L.TARGET], w[m + L.TARGET_PENDING] = L.SPEED_LOOP, speed, speed
    w[m + L.KP] = SPEED_GAIN / built.free_speed if p is None else p
    w[m + L.FEED_SHARE] = loop["feed_forward"]
    w[m + L.WINDOW] = SPEED_WINDOW * abs(speed) if window is None else window
    w[m + L.SLOW], w[m + L.TOUCH], w[m + L.DIRECTION] = inf, 0.0, copysign(1.0, speed)
    w[m + L.T_COMMAND], w[m + L.OTHERS_BACK], w[m + L.LOCK] = w[L.T], 0.0, 0.0
    w[m + L.Q_SCALE], w[m + L.V_SCALE] = built.free_speed, built.free_speed
    w[m + L.NEW] = w[L.FRESH] = w[L.DIRTY] = 1.0


def hold(arrays: Arrays, name: str, control: Mapping[str, Any], built: Built) -> None:
    """At the start: the position it has counts as its last target."""
    w, m = arrays.w, arrays.at[name]
    order = Order(float(w[m + L.Q]), float(control["window"]), inf, 0.0, control)
    if control["loop"] == "profile":
        control = {
            **control,
            "speed": control["speed"] or 1.0,
            "acceleration": control["acceleration"] or 1.0,
        }
        order = Order(order.target, order.window, inf, 0.0, control)
    give(arrays, name, order, built)
    w[m + L.DIRECTION] = 1.0

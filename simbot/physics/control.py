"""What the code does at a control tick: efforts from the state it sees, and whether it sees an arrival."""

from __future__ import annotations

from typing import Any

from simbot.physics import layout as L
from simbot.physics.compiled import Array, inner

FUZZ = 1e-12
FINEST = 1e-6  # a smaller change of effort is none: no motor controller takes one (from memory)


@inner
def set_point(w: Array, m: int, t: float) -> Any:
    """Position, speed and acceleration of a profile at a time since its start [s]."""
    n = int(w[m + L.PROFILE_N])
    p = int(w[m + L.PROFILE])
    for _ in range(1, n):
        if t < w[p + 5]:
            break
        p += 5
    x = t - w[p]
    jerk = w[p + 4]
    a = w[p + 3] + jerk * x
    v = w[p + 2] + w[p + 3] * x + 0.5 * jerk * x * x
    q = w[p + 1] + x * (w[p + 2] + x * (0.5 * w[p + 3] + x * jerk / 6.0))
    return q, v, a


@inner
def inside(w: Array, m: int, q: float, v: float) -> Any:
    """Inside the target set: near enough, slow enough if a speed is stated, touched if it is a hard stop.

    A speed loop's set is a window of speeds.
    """
    if w[m + L.CONTROL] == L.SPEED_LOOP:
        return abs(v - w[m + L.TARGET_PENDING]) <= w[m + L.WINDOW] + FUZZ
    if w[m + L.TOUCH] != 0.0 and w[m + L.TOUCHED] == 0.0:
        return False
    if abs(q - w[m + L.TARGET_PENDING]) > w[m + L.WINDOW] + FUZZ:
        return False
    return abs(v) <= w[m + L.SLOW] + FUZZ


@inner
def afterwards(w: Array, m: int) -> Any:
    """Effort and open leads once it has arrived (or its time is over)."""
    code = w[m + L.AFTER]
    if code == 1.0:
        return 0.0, 1.0
    if code == 2.0:
        return w[m + L.AFTER_EFFORT] * w[m + L.DIRECTION], 0.0
    return 0.0, 0.0


@inner
def needed_effort(
    w: Array,
    m: int,
    q: float,
    v: float,
    a: float,
    mass: float,
    dmass: float,
    load: float,
    factor: float,
    dfactor: float,
) -> Any:
    """Effort that the mechanism's own model asks for at a set point on its nominal voltage (first group)."""
    g = int(w[m + L.GRP])
    s = 1.0 if v > 0.0 else (-1.0 if v < 0.0 else 0.0)
    force = mass * a + 0.5 * dmass * v * v + load + s * w[m + L.FC] + w[m + L.DAMP] * v
    share = 0.0
    for k in range(int(w[m + L.N_GRP])):
        share += w[g + k * L.GROUP_SIZE + L.G_N]
    ratio = w[g + L.G_RATIO] * factor
    if s == 0.0:
        f = 1.0
    elif s * force >= 0.0:
        f = w[g + L.G_FWD]
    else:
        f = w[g + L.G_BACK]
    x = f * force / (share * ratio) + w[g + L.G_J] * (ratio * a + w[g + L.G_RATIO] * dfactor * v * v)
    spin = s if ratio > 0.0 else -s
    x = x / w[g + L.G_RF] if x * spin >= 0.0 else x * w[g + L.G_RB]
    i = (x + w[g + L.G_TF] * spin) / w[g + L.G_K]
    return (i * w[g + L.G_R] + w[g + L.G_K] * ratio * v) / (w[m + L.VOLTS_NOMINAL] * w[g + L.G_SHARE])


@inner
def output(w: Array, m: int, t: float, q: float, v: float, feed: float) -> Any:
    """Effort and open leads that the code decides at a tick from what it sees; feed: a profile's own share."""
    control = w[m + L.CONTROL]
    if control == L.FULL:
        error = w[m + L.TARGET] - q
        if w[m + L.TOUCH] != 0.0 and w[m + L.TOUCHED] == 0.0:
            return w[m + L.TOUCH] * w[m + L.EFFORT], 0.0
        if abs(error) <= w[m + L.WINDOW] + FUZZ:
            return afterwards(w, m)
        return (w[m + L.EFFORT] if error > 0.0 else -w[m + L.EFFORT]), 0.0
    if control == L.TIMED:
        if t >= w[m + L.T_OFF] - 1e-9:
            return afterwards(w, m)
        return w[m + L.DIRECTION] * w[m + L.EFFORT], 0.0
    if control == L.SPEED_LOOP:
        u = w[m + L.FEED] + w[m + L.KP] * (w[m + L.TARGET] - v)
        u = max(0.0, min(w[m + L.EFFORT], u)) if w[m + L.TARGET] > 0.0 else min(0.0, max(-w[m + L.EFFORT], u))
        return (u if abs(u - w[m + L.SENT]) > FINEST else w[m + L.SENT]), 0.0
    if control == L.POSITION:
        if w[m + L.BRAKE] == 1.0 and v == 0.0 and inside(w, m, q, v):
            return 0.0, 0.0
        u = w[m + L.KP] * (w[m + L.TARGET] - q) + w[m + L.KI] * w[m + L.INTEGRAL] - w[m + L.KD] * v
    elif control == L.PROFILED:
        if w[m + L.BRAKE] == 1.0 and v == 0.0 and inside(w, m, q, v):
            return 0.0, 0.0
        goal, speed, _ = set_point(w, m, t - w[m + L.T_COMMAND])
        u = feed + w[m + L.KP] * (goal - q) + w[m + L.KI] * w[m + L.INTEGRAL] + w[m + L.KD] * (speed - v)
    else:
        return w[m + L.SENT], w[m + L.SENT_OPEN]
    most = w[m + L.EFFORT]
    return min(most, max(-most, u)), 0.0

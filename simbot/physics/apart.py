"""Rotors that turn by themselves: of a cord that hangs slack, of wheels that slide on the floor.

What joins motors and load passes on forces between G_LO and G_HI: a cord pulls, the floor gives its grip. Where more
is asked they come apart. The load then gets that very force; the rotors, with their gears and wheels, are a mechanism
of their own that gets it back, and the rest of the kernel treats it as one:

    N J G a/f + wheel a = G x/f - force/g          (coordinate: motor angle over G_RATIO)

They are together again where the cord is wound in as far as the load has come, with an inelastic impact, or where the
wheels roll without slip. What is after the gears of a drum (its own inertia) stays with the load.
"""

from __future__ import annotations

import math
from typing import Any

from simbot.physics import layout as L
from simbot.physics.bus import factor_at, strongest_duty
from simbot.physics.compiled import Array, inner
from simbot.physics.forces import first_mech, look_up, passed

TOUCHES = 1e-9  # of the error scales of way and speed: together
ROLLS = 1e-11  # of that of speed, wheels on the floor: below what a drive creeps with that is not held yet at rest


@inner
def is_cord(w: Array, r: int) -> Any:
    return math.isinf(w[int(w[r + L.GRP]) + L.G_HI])


@inner
def slip(w: Array, tab: Array, r: int) -> Any:
    """Speed of rotors less that of their load at the trial state, in the rotors' coordinate."""
    m = int(w[r + L.OF])
    return w[r + L.V_NEXT] - factor_at(w, tab, m, w[m + L.Q_NEXT]) * w[m + L.V_NEXT]


@inner
def slack(w: Array, r: int) -> Any:
    """Length of cord that hangs slack at the trial state, as its load would have to go to take it up."""
    return w[int(w[r + L.OF]) + L.Q_NEXT] - w[r + L.FROM] - w[r + L.Q_NEXT] / w[r + L.FACTOR]


@inner
def meet_margin(w: Array, tab: Array, r: int) -> Any:
    """How far rotors are from coming together with their load; negative: they have."""
    if is_cord(w, r):
        return slack(w, r) + 1e-3 * TOUCHES * w[r + L.Q_SCALE]
    return w[r + L.SIDE] * slip(w, tab, r) + 1e-3 * TOUCHES * w[r + L.V_SCALE]


@inner
def meets_between(w: Array, tab: Array, r: int, h: float) -> Any:
    """Where within the step under trial rotors were with their load for a while, although at its end they are not.

    Slack is a polynomial of the share, slip the same of a speed: the least of it by Newton's method from its middle,
    as a share of the step; 0: nowhere.
    """
    m = int(w[r + L.OF])
    if w[r + L.S] == 0.0 or w[m + L.S] == 0.0:  # what is at rest has no polynomial of this step
        return 0.0
    top = int(w[L.TOP])
    cord = is_cord(w, r)
    factor = 1.0 / w[r + L.FACTOR] if cord else factor_at(w, tab, m, w[m + L.Q])
    x = 0.5
    value = 0.0
    for _ in range(8):
        value = 0.0
        slope = 0.0
        bend = 0.0
        for k in range(top, -1 if cord else 0, -1):
            bend = bend * x + 2.0 * slope
            slope = slope * x + value
            if cord:
                value = value * x + w[m + L.POLY + k] - factor * w[r + L.POLY + k]
            else:
                value = value * x + w[r + L.SIDE] * k / h * (w[r + L.POLY + k] - factor * w[m + L.POLY + k])
        if cord:
            value -= w[r + L.FROM]
        if bend <= 0.0:
            return 0.0
        if abs(slope) < 1e-6 * bend:
            break
        x -= slope / bend
        if not 0.01 < x < 0.99:
            return 0.0
    scale = w[r + L.Q_SCALE] if cord else w[r + L.V_SCALE]
    return x if value + 1e-3 * TOUCHES * scale < 0.0 else 0.0


@inner
def seen(w: Array, m: int) -> Any:
    """Position and speed that an encoder at the motor tells now; a drive is told where it is."""
    r = int(w[int(w[m + L.GRP]) + L.G_APART])
    if r == 0 or not is_cord(w, r):
        return w[m + L.Q], w[m + L.SPEED]
    return w[r + L.FROM] + w[r + L.Q] / w[r + L.FACTOR], w[r + L.SPEED] / w[r + L.FACTOR]


@inner
def pays_out(w: Array, m: int) -> Any:
    """True while the cord of a mechanism hangs slack."""
    r = int(w[int(w[m + L.GRP]) + L.G_APART])
    return r != 0 and is_cord(w, r)


@inner
def take_over(w: Array, tab: Array, m: int, r: int) -> Any:
    """Give rotors the efforts and scales of their mechanism, and the force that they have to bring."""
    w[r + L.DUTY] = w[m + L.DUTY]
    w[r + L.OPEN] = w[m + L.OPEN]
    w[r + L.LOCK] = w[m + L.LOCK]
    w[r + L.BRAKE] = w[m + L.BRAKE]
    w[r + L.OPTIMAL] = w[m + L.OPTIMAL]
    w[r + L.CONTROL] = L.STRONGEST if w[m + L.CONTROL] == L.STRONGEST else L.NO_CONTROL
    w[r + L.Q_SCALE] = w[m + L.Q_SCALE]
    w[r + L.V_SCALE] = w[m + L.V_SCALE]
    if w[m + L.CONTROL] == L.STRONGEST:
        w[r + L.DUTY] = strongest_duty(w, tab, r, w[r + L.Q], w[r + L.SPEED])
    w[r + L.LOAD_NOW] = passed(w, int(w[r + L.GRP])) / factor_at(w, tab, m, w[m + L.Q])


@inner
def part(w: Array, tab: Array, m: int, g: int, side: float) -> Any:
    """Let the rotors of a group go on by themselves with the speed that they have."""
    r = int(w[g + L.G_ROTOR])
    factor = factor_at(w, tab, m, w[m + L.Q])
    w[g + L.G_APART] = r
    w[g + L.G_CAP] = 0.0
    w[m + L.QUIET] = 0.0
    w[r + L.OF] = m
    w[r + L.GRP] = g
    w[r + L.N_GRP] = 1.0
    w[r + L.SIDE] = side
    w[r + L.FROM] = w[m + L.Q]
    w[r + L.FACTOR] = factor
    w[r + L.Q] = 0.0
    w[r + L.SPEED] = factor * w[m + L.SPEED]
    w[r + L.S] = w[m + L.S]
    w[r + L.SEG_LO] = w[r + L.Q_LO] = -math.inf
    w[r + L.SEG_HI] = w[r + L.Q_HI] = math.inf
    w[r + L.Q_NEXT] = 0.0
    w[r + L.V_NEXT] = w[r + L.SPEED]
    take_over(w, tab, m, r)
    w[L.N_BODY] = w[L.N_MECH] + w[L.N_ROTOR]


@inner
def part_where_asked(w: Array, tab: Array, m: int) -> Any:
    """Let those rotors go of which more is asked, moving or at rest, than the cord or the floor passes on."""
    g = int(w[m + L.GRP])
    for _ in range(int(w[m + L.N_GRP])):
        if w[g + L.G_ROTOR] != 0.0 and w[g + L.G_APART] == 0.0:
            free = w[g + L.G_TFREE]
            if w[m + L.S] != 0.0:
                if w[g + L.G_CAP] != 0.0:
                    part(w, tab, m, g, w[g + L.G_CAP])
            elif w[m + L.LOOSE] < 0.0 and (free > w[g + L.G_HI] or free < w[g + L.G_LO]):
                part(w, tab, m, g, 1.0 if free > w[g + L.G_HI] else -1.0)
        g += L.GROUP_SIZE


@inner
def meet(w: Array, tab: Array, r: int) -> Any:
    """Bring rotors and load together: of a cord an impact, of which the gears take their part either way.

    Rotors that run on forwards are stopped first; from there on their load drives them, unless their gears lock.
    """
    m = int(w[r + L.OF])
    g = int(w[r + L.GRP])
    mass, _, _, factor, _ = look_up(w, tab, m, w[m + L.Q])
    v = w[m + L.SPEED]
    if is_cord(w, r):
        rotors = (factor * w[g + L.G_RATIO]) ** 2 * w[g + L.G_N] * w[g + L.G_J]
        u = w[r + L.SPEED] / factor
        f = w[g + L.G_FWD] if u > 0.0 else w[g + L.G_BACK]
        own = rotors / f + w[g + L.G_WHEEL]
        both = (own * u + mass * v) / (own + mass)
        if u <= 0.0:
            both = min(both, 0.0)
        elif both < 0.0 and w[g + L.G_BACK] <= 0.0:
            both = 0.0
        elif both < 0.0:
            both *= (own + mass) / (rotors / w[g + L.G_BACK] + w[g + L.G_WHEEL] + mass)
        v = both
    w[m + L.SPEED] = v
    w[m + L.V_NEXT] = v
    if v == 0.0:
        w[m + L.S] = 0.0
    leave(w, r)


@inner
def leave(w: Array, r: int) -> Any:
    """End a rotor's own record."""
    w[int(w[r + L.GRP]) + L.G_APART] = 0.0
    w[r + L.OF] = w[r + L.N_GRP] = w[r + L.SIDE] = w[r + L.LOAD_NOW] = 0.0
    w[r + L.S] = w[r + L.SPEED] = w[r + L.ACC] = w[r + L.DUTY] = 0.0
    r = int(first_mech(w) + w[L.N_MECH] * L.MECH_SIZE)
    left = 0.0
    for _ in range(int(w[L.N_ROTOR])):
        left += w[r + L.N_GRP]
        r += L.MECH_SIZE
    if left == 0.0:
        w[L.N_BODY] = w[L.N_MECH]


@inner
def touches(w: Array, tab: Array, r: int) -> Any:
    """True where rotors that are apart have neither slip nor slack now."""
    m = int(w[r + L.OF])
    w[r + L.Q_NEXT] = w[r + L.Q]
    w[r + L.V_NEXT] = w[r + L.SPEED]
    w[m + L.Q_NEXT] = w[m + L.Q]
    w[m + L.V_NEXT] = w[m + L.SPEED]
    near = abs(slip(w, tab, r)) <= (TOUCHES if is_cord(w, r) else ROLLS) * w[r + L.V_SCALE]
    return near and (not is_cord(w, r) or slack(w, r) <= TOUCHES * w[r + L.Q_SCALE])


@inner
def join_what_touches(w: Array, tab: Array) -> Any:
    """Bring together what has no slack and no slip: what asks for more than can be passed on comes apart anew."""
    r = int(first_mech(w) + w[L.N_MECH] * L.MECH_SIZE)
    for _ in range(int(w[L.N_ROTOR])):
        if w[r + L.OF] != 0.0 and touches(w, tab, r):
            meet(w, tab, r)
        r += L.MECH_SIZE

"""One battery for all: bus voltage, rails and currents at the present speeds and efforts.

Currents that follow the voltage in a straight line, sum(A V - B), and devices that draw constant power,
sum(P)/V, meet the battery's line in  alpha V² + beta V + gamma = 0  with alpha = 1 + R0 A,
beta = -(E + R0 B), gamma = R0 P. Limited motors and regulators draw constant power, so their demand falls
as the voltage rises and several roots may exist: the operating point is the highest one.
"""

from __future__ import annotations

import math
from typing import Any

from simbot.physics import layout as L
from simbot.physics.compiled import Array, inner
from simbot.physics.forces import accelerate, group_current, supply


@inner
def factor_at(w: Array, tab: Array, m: int, q: float) -> Any:
    """Common factor of the ratios at a position (1 where the travel has no table)."""
    n = w[m + L.TAB_N]
    if n == 0.0 or w[m + L.TAB_BENDS] == 0.0:
        return 1.0
    per = w[m + L.TAB_PER]
    x = (q - w[m + L.TAB_Q0]) * per
    cell = min(max(math.floor(x), 0.0), n - 1.0)
    u = x - cell
    row = int(w[m + L.TAB_ROW] + cell)
    a = u * u * (3.0 - 2.0 * u)
    slope = tab[row, L.TAB_DG] * u * (1.0 - u) * (1.0 - u) + tab[row + 1, L.TAB_DG] * u * u * (u - 1.0)
    return tab[row, L.TAB_G] * (1.0 - a) + tab[row + 1, L.TAB_G] * a + slope / per


@inner
def servo_duty(w: Array, m: int, q: float) -> Any:
    """A servo's own loop: full effort beyond its band, none within its dead band."""
    zone = w[m + L.ZONE]
    if zone == 0.0:
        return 0.0
    if zone == 2.0:
        return 1.0
    if zone == -2.0:
        return -1.0
    return (w[m + L.TARGET] - q) / w[m + L.BAND]


@inner
def strongest_duty(w: Array, tab: Array, m: int, q: float, v: float) -> Any:
    """The effort that gives the greatest force forward (OPTIMAL = 1) or backward (-1), own sag counted.

    i(d) = (d E - k w)/(R + n R0 d²) has its extremes at d = (k w +- sqrt(k² w² + E² R/(n R0)))/E: on a weak
    battery the strongest effort is not full duty.
    """
    up = w[m + L.OPTIMAL]
    n = 0.0
    g = int(w[m + L.GRP])
    first = g
    for _ in range(int(w[m + L.N_GRP])):
        n += w[g + L.G_N] * w[g + L.G_SHARE] * w[g + L.G_SHARE]
        if abs(w[g + L.G_SHARE]) > abs(w[first + L.G_SHARE]):
            first = g
        g += L.GROUP_SIZE
    share = w[first + L.G_SHARE]
    ratio = w[first + L.G_RATIO] * factor_at(w, tab, m, q)
    sign = up if ratio * share > 0.0 else -up
    emf = w[first + L.G_K] * ratio * v / share
    r = w[first + L.G_R]
    rail = w[first + L.G_RAIL]
    if rail >= 0.0:
        offset = L.RAILS + int(rail) * L.RAIL_SIZE
        limit = w[offset + L.RAIL_LIMIT] / (w[first + L.G_N] * w[first + L.G_CURRENT])
        if math.isinf(limit):
            return sign
        volts = w[offset + L.RAIL_SET]
        best = (emf * sign + math.sqrt(emf * emf + 4.0 * volts * r * limit)) / (2.0 * volts)
        return sign * min(1.0, best)
    if w[L.R0] <= 0.0:
        return sign
    d = (emf + sign * math.sqrt(emf * emf + w[L.E] * w[L.E] * r / (n * w[L.R0]))) / w[L.E]
    return min(1.0, max(-1.0, d))


@inner
def limit_mode(w: Array, m: int, g: int, volts: float, emf: float) -> Any:
    """Which limit rules one motor of a group at this voltage (see layout: G_LIM)."""
    r = w[g + L.G_R]
    if w[m + L.OPEN] == 1.0:
        if abs(emf) > volts:
            return 2.0 if emf > 0.0 else -2.0
        return 0.0
    d = w[m + L.DUTY] * w[g + L.G_SHARE]
    i = (d * volts - emf) / r
    mode = 0.0
    most = w[g + L.G_LIMIT]
    if abs(i) > most:
        mode = 1.0 if i > 0.0 else -1.0
        i = mode * most
        duty = (i * r + emf) / volts
        if abs(duty) > 1.0:
            mode = 2.0 if duty > 0.0 else -2.0
            i = ((1.0 if duty > 0.0 else -1.0) * volts - emf) / r
    if d * i > 0.0 and not math.isinf(w[g + L.G_LIMIT_B]):
        duty = (i * r + emf) / volts
        if duty * i > w[g + L.G_LIMIT_B]:
            mode = 3.0 if i > 0.0 else -3.0
    return mode


@inner
def add_mechanism(w: Array, tab: Array, m: int, probe: float) -> Any:
    """Add what one mechanism asks of its rails, and return what it asks of the bus: (A, B, P)."""
    a = 0.0
    b = 0.0
    p = 0.0
    moving = w[m + L.S] != 0.0
    factor = 1.0
    speed = 0.0
    if moving:
        control = w[m + L.CONTROL]
        if control == L.SERVO:
            w[m + L.DUTY] = servo_duty(w, m, w[m + L.Q_NEXT])
        elif control == L.STRONGEST:
            w[m + L.DUTY] = strongest_duty(w, tab, m, w[m + L.Q_NEXT], w[m + L.V_NEXT])
        factor = factor_at(w, tab, m, w[m + L.Q_NEXT])
        speed = w[m + L.V_NEXT]
    duty = w[m + L.DUTY]
    g = int(w[m + L.GRP])
    for _ in range(int(w[m + L.N_GRP])):
        emf = w[g + L.G_K] * w[g + L.G_RATIO] * factor * speed
        r = w[g + L.G_R]
        if probe > 0.0 and w[g + L.G_RAIL] < 0.0:
            w[g + L.G_LIM] = limit_mode(w, m, g, probe, emf)
        mode = w[g + L.G_LIM]
        many = w[g + L.G_N] * w[g + L.G_CURRENT]
        d = duty * w[g + L.G_SHARE]
        if mode == 0.0:
            if w[m + L.OPEN] == 1.0:
                d = 0.0
        elif mode == 2.0 or mode == -2.0:
            d = 0.5 * mode
        if w[g + L.G_RAIL] >= 0.0:
            rail = L.RAILS + int(w[g + L.G_RAIL]) * L.RAIL_SIZE
            w[rail + L.RAIL_A] += many * d * d / r
            w[rail + L.RAIL_B] += many * d * emf / r
        elif mode == 1.0 or mode == -1.0:
            p += many * mode * w[g + L.G_LIMIT] * (mode * w[g + L.G_LIMIT] * r + emf)
        elif mode == 3.0 or mode == -3.0:
            b -= many * w[g + L.G_LIMIT_B]
        else:
            a += many * d * d / r
            b += many * d * emf / r
        g += L.GROUP_SIZE
    return a, b, p


@inner
def add_all(w: Array, tab: Array, probe: float) -> Any:
    """Sum what all mechanisms ask of bus and rails: (A, B, P), with all modes set for the voltage `probe`."""
    a = 0.0
    b = 0.0
    p = 0.0
    n_rail = int(w[L.N_RAIL])
    for k in range(n_rail):
        w[L.RAILS + k * L.RAIL_SIZE + L.RAIL_A] = 0.0
        w[L.RAILS + k * L.RAIL_SIZE + L.RAIL_B] = 0.0
    m = L.RAILS + n_rail * L.RAIL_SIZE
    for _ in range(int(w[L.N_MECH])):
        if w[m + L.S] != 0.0 or w[m + L.DUTY] != 0.0:
            more = add_mechanism(w, tab, m, probe)
            a += more[0]
            b += more[1]
            p += more[2]
        m += L.MECH_SIZE
    for k in range(n_rail):
        w[L.RAILS + k * L.RAIL_SIZE + L.RAIL_MODE] = rail_mode(w, L.RAILS + k * L.RAIL_SIZE, probe)
    return add_rails(w, a, b, p)


@inner
def add_idle(w: Array, tab: Array) -> Any:
    """Note what mechanisms at rest ask for: it stays until the next jump."""
    w[L.IDLE_A] = 0.0
    w[L.IDLE_B] = 0.0
    w[L.IDLE_P] = 0.0
    n_rail = int(w[L.N_RAIL])
    for k in range(n_rail):
        w[L.RAILS + k * L.RAIL_SIZE + L.RAIL_A] = 0.0
    m = L.RAILS + n_rail * L.RAIL_SIZE
    for _ in range(int(w[L.N_MECH])):
        if w[m + L.S] == 0.0 and w[m + L.DUTY] != 0.0:
            a, b, p = add_mechanism(w, tab, m, 0.0)
            w[L.IDLE_A] += a
            w[L.IDLE_B] += b
            w[L.IDLE_P] += p
        m += L.MECH_SIZE
    for k in range(n_rail):
        rail = L.RAILS + k * L.RAIL_SIZE
        w[rail + L.RAIL_IDLE_A] = w[rail + L.RAIL_A]


@inner
def add_moving(w: Array, tab: Array) -> Any:
    """Sum what all ask of bus and rails with their present modes: (A, B, P); those at rest as noted."""
    a = w[L.IDLE_A]
    b = w[L.IDLE_B]
    p = w[L.IDLE_P]
    n_rail = int(w[L.N_RAIL])
    for k in range(n_rail):
        rail = L.RAILS + k * L.RAIL_SIZE
        w[rail + L.RAIL_A] = w[rail + L.RAIL_IDLE_A]
        w[rail + L.RAIL_B] = 0.0
    for k in range(int(w[L.N_LIVE])):
        more = add_mechanism(w, tab, int(w[L.LIVE + k]), 0.0)
        a += more[0]
        b += more[1]
        p += more[2]
    if n_rail == 0:
        return a, b, p
    return add_rails(w, a, b, p)


@inner
def add_rails(w: Array, a: float, b: float, p: float) -> Any:
    """Add what the regulators ask of the bus in their present modes."""
    for k in range(int(w[L.N_RAIL])):
        rail = L.RAILS + k * L.RAIL_SIZE
        ra = w[rail + L.RAIL_A]
        rb = w[rail + L.RAIL_B]
        mode = w[rail + L.RAIL_MODE]
        eff = w[rail + L.RAIL_EFF]
        if mode == L.IDLE:
            continue
        if mode == L.DROPOUT:
            drop = w[rail + L.RAIL_DROP]
            if eff > 0.0:
                a += ra / eff
                b += (2.0 * drop * ra + rb) / eff
                p += (drop * drop * ra + drop * rb) / eff
            else:
                a += ra
                b += ra * drop + rb
            continue
        if mode == L.LIMITED:
            volts = (w[rail + L.RAIL_LIMIT] + rb) / ra
            current = w[rail + L.RAIL_LIMIT]
        else:
            volts = w[rail + L.RAIL_SET]
            current = ra * volts - rb
        if eff > 0.0:
            p += volts * current / eff
        else:
            b -= current
    return a, b, p


@inner
def rail_mode(w: Array, rail: int, volts: float) -> Any:
    """Which of its states a regulator is in at this bus voltage."""
    ra = w[rail + L.RAIL_A]
    rb = w[rail + L.RAIL_B]
    out = min(w[rail + L.RAIL_SET], volts - w[rail + L.RAIL_DROP])
    current = ra * out - rb
    if current <= 0.0:
        return L.IDLE
    if current > w[rail + L.RAIL_LIMIT]:
        return L.LIMITED
    if out < w[rail + L.RAIL_SET]:
        return L.DROPOUT
    return L.REGULATED


@inner
def set_rails(w: Array) -> Any:
    """Rail voltages that go with the present bus voltage and modes."""
    for k in range(int(w[L.N_RAIL])):
        rail = L.RAILS + k * L.RAIL_SIZE
        mode = w[rail + L.RAIL_MODE]
        if mode == L.LIMITED:
            w[rail + L.RAIL_V] = (w[rail + L.RAIL_LIMIT] + w[rail + L.RAIL_B]) / w[rail + L.RAIL_A]
        else:
            w[rail + L.RAIL_V] = max(0.0, min(w[rail + L.RAIL_SET], w[L.V] - w[rail + L.RAIL_DROP]))


@inner
def collapse(w: Array, alpha: float, beta: float) -> Any:
    if w[L.COLLAPSED_AT] < 0.0:
        w[L.COLLAPSED_AT] = w[L.T]
    return max(-0.5 * beta / alpha, 1e-3)


@inner
def stand_at(w: Array, a: float, b: float, p: float) -> Any:
    """Put the bus where battery and demand meet; leaves V, I and the rails behind."""
    alpha = 1.0 + w[L.R0] * a
    beta = -(w[L.E] + w[L.R0] * b)
    if p == 0.0:
        volts = -beta / alpha
    else:
        inside = beta * beta - 4.0 * alpha * w[L.R0] * p
        if inside >= 0.0:
            volts = 0.5 * (math.sqrt(inside) - beta) / alpha
        else:
            volts = collapse(w, alpha, beta)
    w[L.V] = volts
    w[L.I] = a * volts - b
    if p != 0.0:
        w[L.I] += p / volts
    if w[L.N_RAIL] > 0.0:
        set_rails(w)


@inner
def next_break(w: Array, tab: Array, below: float) -> Any:
    """Highest voltage below `below` at which some device changes its piece."""
    best = 1e-9
    n_rail = int(w[L.N_RAIL])
    for k in range(n_rail):
        rail = L.RAILS + k * L.RAIL_SIZE
        drop = w[rail + L.RAIL_DROP]
        v = w[rail + L.RAIL_SET] + drop
        if best < v < below:
            best = v
        if w[rail + L.RAIL_A] > 0.0:
            v = (w[rail + L.RAIL_LIMIT] + w[rail + L.RAIL_B]) / w[rail + L.RAIL_A] + drop
            if best < v < below:
                best = v
            v = w[rail + L.RAIL_B] / w[rail + L.RAIL_A] + drop
            if best < v < below:
                best = v
    m = L.RAILS + n_rail * L.RAIL_SIZE
    for _ in range(int(w[L.N_MECH])):
        factor = factor_at(w, tab, m, w[m + L.Q_NEXT])
        g = int(w[m + L.GRP])
        for _ in range(int(w[m + L.N_GRP])):
            emf = w[g + L.G_K] * w[g + L.G_RATIO] * factor * w[m + L.V_NEXT]
            d = w[m + L.DUTY] * w[g + L.G_SHARE]
            most = w[g + L.G_LIMIT]
            r = w[g + L.G_R]
            if w[m + L.OPEN] == 1.0:
                if best < abs(emf) < below:
                    best = abs(emf)
            elif w[g + L.G_RAIL] < 0.0:
                if not math.isinf(most):
                    for sign in (1.0, -1.0):
                        v = abs(sign * most * r + emf)
                        if best < v < below:
                            best = v
                        if d != 0.0:
                            v = (sign * most * r + emf) / d
                            if best < v < below:
                                best = v
                if not math.isinf(w[g + L.G_LIMIT_B]) and d != 0.0:
                    v = (w[g + L.G_LIMIT_B] * r / d + emf) / d
                    if best < v < below:
                        best = v
                    if not math.isinf(most):
                        v = most * (most * r + abs(emf)) / w[g + L.G_LIMIT_B]
                        if best < v < below:
                            best = v
                        v = most * (most * r - abs(emf)) / w[g + L.G_LIMIT_B]
                        if best < v < below:
                            best = v
            g += L.GROUP_SIZE
        m += L.MECH_SIZE
    return best


@inner
def has_pieces(w: Array) -> Any:
    """True where some device changes its law with the voltage (limits, regulators, open leads)."""
    if w[L.N_RAIL] > 0.0:
        return True
    m = L.RAILS
    for _ in range(int(w[L.N_MECH])):
        if w[m + L.OPEN] == 1.0 and w[m + L.S] != 0.0:
            return True
        g = int(w[m + L.GRP])
        for _ in range(int(w[m + L.N_GRP])):
            if not (math.isinf(w[g + L.G_LIMIT]) and math.isinf(w[g + L.G_LIMIT_B])):
                return True
            g += L.GROUP_SIZE
        m += L.MECH_SIZE
    return False


@inner
def solve_from_top(w: Array, tab: Array) -> Any:
    """Set all limit and rail modes so that the bus stands at its highest operating point."""
    if not has_pieces(w):
        a, b, p = add_all(w, tab, 1e6)
        stand_at(w, a, b, p)
        return
    high = 1e6
    add_all(w, tab, high)
    while high > 1e-9:
        low = next_break(w, tab, high)
        middle = min(0.5 * (low + high), low + 1.0)
        a, b, p = add_all(w, tab, middle)
        alpha = 1.0 + w[L.R0] * a
        beta = -(w[L.E] + w[L.R0] * b)
        inside = beta * beta - 4.0 * alpha * w[L.R0] * p
        if inside >= 0.0:
            root = math.sqrt(inside)
            slack = 1e-12 * (1.0 + abs(w[L.E]))
            for sign in (1.0, -1.0):
                volts = 0.5 * (sign * root - beta) / alpha
                if low - slack <= volts <= high + slack and volts > 0.0:
                    w[L.V] = volts
                    w[L.I] = a * volts - b + p / volts
                    set_rails(w)
                    return
        if low <= 1e-9:
            break
        high = low
    w[L.V] = collapse(w, 1.0, -w[L.E])
    add_all(w, tab, w[L.V])
    w[L.I] = (w[L.E] - w[L.V]) / w[L.R0] if w[L.R0] > 0.0 else 0.0
    set_rails(w)


@inner
def evaluate(w: Array, tab: Array) -> Any:
    """Accelerations of all moving mechanisms at their trial state (Q_NEXT, V_NEXT), modes unchanged."""
    a, b, p = add_moving(w, tab)
    stand_at(w, a, b, p)
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        w[m + L.A_NEXT] = accelerate(w, tab, m, w[m + L.Q_NEXT], w[m + L.V_NEXT])
    w[L.EVALS] += 1.0


@inner
def straighten(w: Array) -> Any:
    """Note the linear law that holds until a mode changes, where it is one.

    a = ACC_PER_VOLT V - ACC_PER_SPEED v - ACC_PER_WAY q - ACC_LOST. Tables, limits, the strongest effort where it
    is less than all, and a servo within its band on anything but a regulated rail bend it.
    """
    a = w[L.IDLE_A]
    b = w[L.IDLE_B]
    p = w[L.IDLE_P]
    for k in range(int(w[L.N_RAIL])):
        rail = L.RAILS + k * L.RAIL_SIZE
        w[rail + L.RAIL_A] = w[rail + L.RAIL_IDLE_A]
        w[rail + L.RAIL_B] = 0.0
    w[L.STRAIGHT] = 0.0
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        strongest = w[m + L.CONTROL] == L.STRONGEST
        if w[m + L.TAB_N] > 0.0 or (strongest and abs(w[m + L.DUTY]) < 1.0):
            return
        duty = w[m + L.DUTY]
        slope = 0.0
        if w[m + L.CONTROL] == L.SERVO and abs(w[m + L.ZONE]) == 1.0:
            duty = w[m + L.TARGET] / w[m + L.BAND]
            slope = -1.0 / w[m + L.BAND]
        s = w[m + L.S]
        mass = w[m + L.MASS_NOW]
        lost = w[m + L.LOAD_NOW] + s * w[m + L.FC]
        drag = w[m + L.DAMP]
        volt = 0.0
        per_speed = 0.0
        per_way = 0.0
        w[m + L.FED_BY] = 0.0
        g = int(w[m + L.GRP])
        for _ in range(int(w[m + L.N_GRP])):
            if w[g + L.G_LIM] != 0.0:
                return
            ratio = w[g + L.G_RATIO]
            is_open = w[m + L.OPEN] == 1.0
            d = 0.0 if is_open else duty * w[g + L.G_SHARE]
            many = w[g + L.G_N]
            r = w[g + L.G_R]
            k_emf = w[g + L.G_K]
            if w[g + L.G_CAP] != 0.0:
                lost -= w[g + L.G_HI] if w[g + L.G_CAP] > 0.0 else w[g + L.G_LO]
                pull = 0.0
            else:
                f = w[g + L.G_FWD] if w[g + L.G_GEAR] == 0.0 else w[g + L.G_BACK]
                bare = w[g + L.G_RF] if w[g + L.G_BARE] == 0.0 else 1.0 / w[g + L.G_RB]
                spin = s if ratio > 0.0 else -s
                pull = ratio * bare * many / f
                mass += ratio * ratio * many * w[g + L.G_J] / f + w[g + L.G_WHEEL]
                lost += pull * w[g + L.G_TF] * spin
                if not is_open:
                    drag += pull * k_emf * k_emf * ratio / r
            if w[g + L.G_RAIL] >= 0.0:
                rail = L.RAILS + int(w[g + L.G_RAIL]) * L.RAIL_SIZE
                mode = w[rail + L.RAIL_MODE]
                if mode == L.DROPOUT or mode == L.LIMITED or w[rail + L.RAIL_V] != w[rail + L.RAIL_SET]:
                    return
                lost -= pull * k_emf * d / r * w[rail + L.RAIL_SET]
                per_way -= pull * k_emf * slope / r * w[rail + L.RAIL_SET]
                w[m + L.FED_BY] = rail
                w[m + L.FED_DUTY] = d
                w[m + L.FED_SLOPE] = slope
                w[m + L.FED_EMF] = k_emf * ratio
                w[m + L.FED_SIEMENS] = many * w[g + L.G_CURRENT] / r
            else:
                if slope != 0.0:
                    return
                volt += pull * k_emf * d / r
                a += many * w[g + L.G_CURRENT] * d * d / r
                per_speed += many * w[g + L.G_CURRENT] * d * k_emf * ratio / r
            g += L.GROUP_SIZE
        w[m + L.BUS_PER_SPEED] = per_speed
        w[m + L.ACC_PER_VOLT] = volt / mass
        w[m + L.ACC_PER_SPEED] = drag / mass
        w[m + L.ACC_PER_WAY] = per_way / mass
        w[m + L.ACC_LOST] = lost / mass
    a, b, p = add_rails(w, a, b, p)
    w[L.STRAIGHT_A] = a
    w[L.STRAIGHT_B] = b
    w[L.STRAIGHT_P] = p
    w[L.STRAIGHT] = 1.0


@inner
def start_battery(w: Array) -> Any:
    """Open-circuit voltage less polarisation now: in E, and as a constant in its polynomial."""
    if w[L.SAGS] == 1.0:
        w[L.E] = w[L.REST] - w[L.FALL] * w[L.CHARGE] - w[L.VRC]
    for j in range(1, L.ORDER):
        w[L.EMF_POLY + j] = 0.0
    w[L.EMF_POLY] = w[L.E]
    w[L.VRC_POLY] = w[L.VRC]


@inner
def rail_series(w: Array, m: int, j: int, h: float) -> Any:
    """Coefficient j of the current that a mechanism takes from its regulated rail: d (d V - emf)/R."""
    rail = int(w[m + L.FED_BY])
    p = m + L.POLY
    total = 0.0
    for i in range(j + 1):
        first = w[m + L.FED_SLOPE] * w[p + i]
        second = w[m + L.FED_SLOPE] * w[p + j - i]
        if i == 0:
            first += w[m + L.FED_DUTY]
        if i == j:
            second += w[m + L.FED_DUTY]
        speed = (j - i + 1.0) * w[p + j - i + 1] / h
        total += first * (second * w[rail + L.RAIL_SET] - w[m + L.FED_EMF] * speed)
    return w[m + L.FED_SIEMENS] * total


@inner
def series(w: Array, h: float) -> Any:
    """Taylor series of the linear law over a step of h: positions, bus voltage, what is asked of the bus.

    Each coefficient of positions and speeds gives that of what is asked of the bus, that the one of its voltage,
    by the battery's line alpha V + beta(t) + gamma(t)/V = 0, and all of them that of the accelerations, which is
    the next but one of the positions. Coefficients belong to powers of the share of the step. Returns the last
    terms in units of TOL: the error is smaller than they are by about the order.
    """
    n = int(w[L.N_LIVE])
    for k in range(n):
        m = int(w[L.LIVE + k])
        w[m + L.POLY] = w[m + L.Q]
        w[m + L.POLY + 1] = h * w[m + L.SPEED]
    alpha = 1.0 + w[L.R0] * w[L.STRAIGHT_A]
    asked = w[L.STRAIGHT_B]
    power = w[L.STRAIGHT_P]
    beta = 0.0
    bend = alpha
    start_battery(w)
    for j in range(L.ORDER - 1):
        for k in range(n):
            m = int(w[L.LIVE + k])
            rail = int(w[m + L.FED_BY])
            if rail == 0:
                asked += w[m + L.BUS_PER_SPEED] * (j + 1.0) * w[m + L.POLY + j + 1] / h
            elif w[rail + L.RAIL_MODE] == L.REGULATED:
                current = rail_series(w, m, j, h)
                if w[rail + L.RAIL_EFF] > 0.0:
                    power += w[rail + L.RAIL_SET] * current / w[rail + L.RAIL_EFF]
                else:
                    asked -= current
        w[L.ASKED_POLY + j] = asked
        w[L.POWER_POLY + j] = power
        beta = -w[L.EMF_POLY + j] - w[L.R0] * asked
        if j == 0:
            volts = 0.5 * (math.sqrt(max(0.0, beta * beta - 4.0 * alpha * w[L.R0] * power)) - beta) / alpha
            bend = 2.0 * alpha * volts + beta
        else:
            volts = beta * w[L.VOLTS_POLY] + w[L.R0] * power
            for i in range(1, j):
                own = alpha * w[L.VOLTS_POLY + i] - w[L.R0] * w[L.ASKED_POLY + i] - w[L.EMF_POLY + i]
                volts += own * w[L.VOLTS_POLY + j - i]
            volts = -volts / bend
        w[L.VOLTS_POLY + j] = volts
        if w[L.SAGS] == 1.0:
            current = (w[L.EMF_POLY + j] - volts) / w[L.R0]
            grows = h * (w[L.R1] * current - w[L.VRC_POLY + j]) / w[L.TAU] / (j + 1.0)
            w[L.VRC_POLY + j + 1] = grows
            w[L.EMF_POLY + j + 1] = -grows - h * w[L.FALL] * current / (j + 1.0)
        for k in range(n):
            m = int(w[L.LIVE + k])
            p = m + L.POLY + j
            a = w[m + L.ACC_PER_VOLT] * volts - w[m + L.ACC_PER_SPEED] * (j + 1.0) * w[p + 1] / h
            a -= w[m + L.ACC_PER_WAY] * w[p]
            if j == 0:
                a -= w[m + L.ACC_LOST]
            w[p + 2] = h * h * a / ((j + 1.0) * (j + 2.0))
        asked = 0.0
        power = 0.0
    worst = abs(w[L.EMF_POLY + L.ORDER - 1] / w[L.REST])
    for k in range(n):
        m = int(w[L.LIVE + k])
        last = abs(w[m + L.POLY + L.ORDER])
        worst = max(worst, last / w[m + L.Q_SCALE], L.ORDER * last / (h * w[m + L.V_SCALE]))
    return worst / w[L.TOL]


@inner
def shrink_series(w: Array, share: float) -> Any:
    """The same series over a share of its step."""
    power = 1.0
    for j in range(L.ORDER + 1):
        if j < L.ORDER:
            w[L.VOLTS_POLY + j] *= power
            w[L.ASKED_POLY + j] *= power
            w[L.POWER_POLY + j] *= power
            w[L.EMF_POLY + j] *= power
            w[L.VRC_POLY + j] *= power
        for k in range(int(w[L.N_LIVE])):
            w[int(w[L.LIVE + k]) + L.POLY + j] *= power
        power *= share


@inner
def bus_in_series(w: Array, x: float) -> Any:
    """Put the bus at the share x of the step of the series."""
    volts = 0.0
    asked = 0.0
    power = 0.0
    for j in range(L.ORDER - 2, -1, -1):
        volts = volts * x + w[L.VOLTS_POLY + j]
        asked = asked * x + w[L.ASKED_POLY + j]
        power = power * x + w[L.POWER_POLY + j]
    w[L.V] = volts
    w[L.I] = w[L.STRAIGHT_A] * volts - asked
    if power != 0.0:
        w[L.I] += power / volts


@inner
def find_currents(w: Array, tab: Array) -> Any:
    """Current of every group at the trial state and the present bus, and what each mechanism takes from it."""
    m = L.RAILS + int(w[L.N_RAIL]) * L.RAIL_SIZE
    for _ in range(int(w[L.N_MECH])):
        moving = w[m + L.S] != 0.0
        if moving or w[m + L.DUTY] != 0.0:
            speed = 0.0
            if moving:
                speed = w[m + L.V_NEXT] * factor_at(w, tab, m, w[m + L.Q_NEXT])
                if w[m + L.CONTROL] == L.SERVO:
                    w[m + L.DUTY] = servo_duty(w, m, w[m + L.Q_NEXT])
            g = int(w[m + L.GRP])
            for _ in range(int(w[m + L.N_GRP])):
                w[g + L.G_I] = group_current(w, m, g, supply(w, g), speed * w[g + L.G_RATIO])
                g += L.GROUP_SIZE
        m += L.MECH_SIZE
    take_currents(w, tab)


@inner
def heat_up(w: Array, span: float) -> Any:
    """Add what the present currents heat in a span of time [s]: motors, branches, battery."""
    w[L.SQUARED] += span * w[L.I] * w[L.I]
    m = L.RAILS + int(w[L.N_RAIL]) * L.RAIL_SIZE
    for _ in range(int(w[L.N_MECH])):
        if w[m + L.S] != 0.0 or w[m + L.DUTY] != 0.0:
            w[m + L.SQUARED_OWN] += span * w[m + L.CURRENT] * w[m + L.CURRENT]
            g = int(w[m + L.GRP])
            for _ in range(int(w[m + L.N_GRP])):
                w[g + L.G_SQUARED] += span * w[g + L.G_I] * w[g + L.G_I]
                g += L.GROUP_SIZE
        m += L.MECH_SIZE


@inner
def take_currents(w: Array, tab: Array) -> Any:
    """What each mechanism takes from the battery now [A]; remembers the most that others gave back to it."""
    back = 0.0
    first = L.RAILS + int(w[L.N_RAIL]) * L.RAIL_SIZE
    m = first
    for _ in range(int(w[L.N_MECH])):
        total = 0.0
        if w[m + L.S] != 0.0 or w[m + L.DUTY] != 0.0:
            g = int(w[m + L.GRP])
            for _ in range(int(w[m + L.N_GRP])):
                i = w[g + L.G_I]
                if w[g + L.G_RAIL] < 0.0:
                    mode = w[g + L.G_LIM]
                    if mode == 3.0 or mode == -3.0:
                        total += w[g + L.G_N] * w[g + L.G_LIMIT_B]
                    elif mode == 1.0 or mode == -1.0:
                        ratio = w[g + L.G_RATIO] * factor_at(w, tab, m, w[m + L.Q_NEXT])
                        emf = w[g + L.G_K] * ratio * w[m + L.V_NEXT]
                        total += w[g + L.G_N] * i * (i * w[g + L.G_R] + emf) / w[L.V]
                    elif mode == 2.0 or mode == -2.0:
                        total += w[g + L.G_N] * 0.5 * mode * i
                    else:
                        total += w[g + L.G_N] * w[g + L.G_CURRENT] * w[m + L.DUTY] * w[g + L.G_SHARE] * i
                g += L.GROUP_SIZE
        w[m + L.CURRENT] = total
        if total < 0.0:
            back += total
        m += L.MECH_SIZE
    if back < 0.0:
        m = first
        for _ in range(int(w[L.N_MECH])):
            others = w[m + L.CURRENT] - w[L.I]
            if others > w[m + L.OTHERS_BACK]:
                w[m + L.OTHERS_BACK] = others
            m += L.MECH_SIZE

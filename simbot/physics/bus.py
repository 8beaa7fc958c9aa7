"""One battery for all: bus voltage, rails and currents at the present speeds and efforts.

Currents that follow the voltage in a straight line, sum(A V - B), and devices that draw constant power,
sum(P)/V, meet the battery's line in  alpha V² + beta V + gamma = 0  with alpha = 1 + R0 A,
beta = -(E + R0 B), gamma = R0 P. Limited motors and regulators draw constant power, so their demand falls
as the voltage rises and several roots may exist: the operating point is the highest one. None exists where motors
that are driven against their speed take more than the battery gives at no volts at all: then the diodes of their
controllers keep the bus there.
"""

from __future__ import annotations

import math
from typing import Any

from simbot.physics import layout as L
from simbot.physics.compiled import Array, inner
from simbot.physics.forces import accelerate, elsewhere, flows, follow, group_current, passed, supply, turner


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
    battery the strongest effort is not full duty. Rotors that are apart share the battery with the others of theirs.
    """
    up = w[m + L.OPTIMAL]
    n = 0.0
    whole = m if w[m + L.OF] == 0.0 else int(w[m + L.OF])
    g = int(w[whole + L.GRP])
    for _ in range(int(w[whole + L.N_GRP])):
        n += w[g + L.G_N] * w[g + L.G_SHARE] * w[g + L.G_SHARE]
        g += L.GROUP_SIZE
    g = int(w[m + L.GRP])
    first = g
    for _ in range(int(w[m + L.N_GRP])):
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
        if w[m + L.GUIDE_N] > 0.0:
            follow(w, tab, m, w[m + L.Q_NEXT], w[m + L.V_NEXT])
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
        if elsewhere(w, m, g):
            if moving:
                w[int(w[g + L.G_APART]) + L.LOAD_NOW] = passed(w, g) / factor
            g += L.GROUP_SIZE
            continue
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
    for _ in range(int(w[L.N_BODY])):
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
    for _ in range(int(w[L.N_BODY])):
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
def ask_rails(w: Array, tab: Array) -> Any:
    """Sum what those ask of their rails that move in a step of the series; their efforts follow their places."""
    for k in range(int(w[L.N_RAIL])):
        rail = L.RAILS + k * L.RAIL_SIZE
        w[rail + L.RAIL_A] = w[rail + L.RAIL_IDLE_A]
        w[rail + L.RAIL_B] = 0.0
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        if w[m + L.FED_BY] != 0.0:
            add_mechanism(w, tab, m, 0.0)


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
            volts = max(0.0, (w[rail + L.RAIL_LIMIT] + rb) / ra)
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
            volts = (w[rail + L.RAIL_LIMIT] + w[rail + L.RAIL_B]) / w[rail + L.RAIL_A]
            w[rail + L.RAIL_V] = max(
                0.0, volts
            )  # driven back against its effort a servo asks for less than none
        else:
            w[rail + L.RAIL_V] = max(0.0, min(w[rail + L.RAIL_SET], w[L.V] - w[rail + L.RAIL_DROP]))


@inner
def collapse(w: Array) -> Any:
    """Put the bus at no volts: the battery gives what it can."""
    w[L.V] = L.NO_VOLTS
    w[L.I] = (w[L.E] - L.NO_VOLTS) / w[L.R0]
    return L.NO_VOLTS


@inner
def volts_at(w: Array, a: float, b: float, p: float) -> Any:
    """Put the bus, in V and I, where battery and demand meet; its voltage."""
    alpha = 1.0 + w[L.R0] * a
    beta = -(w[L.E] + w[L.R0] * b)
    if p == 0.0:
        volts = -beta / alpha
    else:
        inside = (
            beta * beta - 4.0 * alpha * w[L.R0] * p
        )  # negative only while modes are those of another voltage
        volts = 0.5 * (math.sqrt(max(inside, 0.0)) - beta) / alpha
    if volts < L.NO_VOLTS:
        return collapse(w)
    w[L.V] = volts
    w[L.I] = a * volts - b
    if p != 0.0:
        w[L.I] += p / volts
    return volts


@inner
def stand_at(w: Array, a: float, b: float, p: float) -> Any:
    """Put the bus where battery and demand meet; leaves V, I and the rails behind."""
    volts_at(w, a, b, p)
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
    for _ in range(int(w[L.N_BODY])):
        factor = factor_at(w, tab, m, w[m + L.Q_NEXT])
        g = int(w[m + L.GRP])
        for _ in range(int(w[m + L.N_GRP])):
            if elsewhere(w, m, g):
                g += L.GROUP_SIZE
                continue
            emf = w[g + L.G_K] * w[g + L.G_RATIO] * factor * w[m + L.V_NEXT]
            d = w[m + L.DUTY] * w[g + L.G_SHARE]
            most = w[g + L.G_LIMIT]
            r = w[g + L.G_R]
            if w[m + L.OPEN] == 1.0:
                if w[g + L.G_RAIL] < 0.0 and best < abs(emf) < below:
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
def is_highest(w: Array) -> Any:
    """True where no operating point can lie above the present one.

    Beyond it the battery's voltage less what is asked falls with the voltage, V + R0 I(V) - E rises, while R0 P < V²
    for all that may come to draw constant power P there.
    """
    p = 0.0
    for k in range(int(w[L.N_RAIL])):
        rail = L.RAILS + k * L.RAIL_SIZE
        if w[rail + L.RAIL_EFF] > 0.0:
            top = w[rail + L.RAIL_SET]
            current = min(w[rail + L.RAIL_LIMIT], w[rail + L.RAIL_A] * top - w[rail + L.RAIL_B])
            p += max(0.0, top * current / w[rail + L.RAIL_EFF])
    m = L.RAILS + int(w[L.N_RAIL]) * L.RAIL_SIZE
    for _ in range(int(w[L.N_MECH])):
        if w[m + L.S] != 0.0 or w[m + L.DUTY] != 0.0:
            g = int(w[m + L.GRP])
            for _ in range(int(w[m + L.N_GRP])):
                most = w[g + L.G_LIMIT]
                if not math.isinf(most) and w[g + L.G_RAIL] < 0.0:
                    d = w[m + L.DUTY] * w[g + L.G_SHARE]
                    emf = abs(d * w[L.V] - w[g + L.G_IFREE] * w[g + L.G_R])
                    p += w[g + L.G_N] * most * (most * w[g + L.G_R] + emf)
                g += L.GROUP_SIZE
        m += L.MECH_SIZE
    return w[L.R0] * p < w[L.V] * w[L.V]


@inner
def has_pieces(w: Array) -> Any:
    """True where some device changes its law with the voltage (limits, regulators that feed something, open leads)."""
    m = L.RAILS + int(w[L.N_RAIL]) * L.RAIL_SIZE
    for _ in range(int(w[L.N_BODY])):
        if w[m + L.OPEN] == 1.0 and w[m + L.S] != 0.0:
            return True
        asks = w[m + L.S] != 0.0 or w[m + L.DUTY] != 0.0
        g = int(w[m + L.GRP])
        for _ in range(int(w[m + L.N_GRP])):
            if asks and w[g + L.G_RAIL] >= 0.0:
                return True
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
    add_all(w, tab, collapse(w))
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
def find_currents(w: Array, tab: Array) -> Any:
    """Current of every group at the trial state and the present bus, and what each mechanism takes from it."""
    m = L.RAILS + int(w[L.N_RAIL]) * L.RAIL_SIZE
    for _ in range(int(w[L.N_BODY])):
        moving = w[m + L.S] != 0.0
        if moving or w[m + L.DUTY] != 0.0:
            speed = 0.0
            if moving:
                speed = w[m + L.V_NEXT] * factor_at(w, tab, m, w[m + L.Q_NEXT])
                if w[m + L.GUIDE_N] > 0.0:
                    follow(w, tab, m, w[m + L.Q_NEXT], w[m + L.V_NEXT])
                if w[m + L.CONTROL] == L.SERVO:
                    w[m + L.DUTY] = servo_duty(w, m, w[m + L.Q_NEXT])
            g = int(w[m + L.GRP])
            for _ in range(int(w[m + L.N_GRP])):
                if not elsewhere(w, m, g):
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
        w[m + L.SQUARED_OWN] += span * w[m + L.CURRENT] * w[m + L.CURRENT]
        g = int(w[m + L.GRP])
        for _ in range(int(w[m + L.N_GRP])):
            if flows(w, m, g):
                w[g + L.G_SQUARED] += span * w[g + L.G_I] * w[g + L.G_I]
            g += L.GROUP_SIZE
        m += L.MECH_SIZE


@inner
def may_give_back(w: Array) -> Any:
    """False only where nothing gives anything back to the battery: what stands still only takes."""
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        g = int(w[m + L.GRP])
        for _ in range(int(w[m + L.N_GRP])):
            gives = w[g + L.G_LIM] != 0.0 or w[m + L.DUTY] * w[g + L.G_SHARE] * w[g + L.G_I] < 0.0
            if gives and not elsewhere(w, m, g) and w[g + L.G_RAIL] < 0.0:
                return True
            g += L.GROUP_SIZE
    return False


@inner
def take_currents(w: Array, tab: Array) -> Any:
    """What each mechanism takes from the battery now [A]; remembers the most that others gave back to it."""
    back = 0.0
    first = L.RAILS + int(w[L.N_RAIL]) * L.RAIL_SIZE
    m = first
    together = w[L.N_BODY] == w[L.N_MECH]
    for _ in range(int(w[L.N_MECH])):
        if together and w[m + L.S] == 0.0 and w[m + L.DUTY] == 0.0:
            w[m + L.CURRENT] = 0.0
            m += L.MECH_SIZE
            continue
        total = 0.0
        g = int(w[m + L.GRP])
        for _ in range(int(w[m + L.N_GRP])):
            if w[g + L.G_RAIL] < 0.0 and flows(w, m, g):
                i = w[g + L.G_I]
                mode = w[g + L.G_LIM]
                if mode == 3.0 or mode == -3.0:
                    total += w[g + L.G_N] * w[g + L.G_LIMIT_B]
                elif mode == 1.0 or mode == -1.0:
                    own = turner(w, m, g)
                    ratio = w[g + L.G_RATIO] * factor_at(w, tab, own, w[own + L.Q_NEXT])
                    emf = w[g + L.G_K] * ratio * w[own + L.V_NEXT]
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

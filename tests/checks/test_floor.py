"""The floor: least times of rest-to-rest moves, touches and windows, each by a second way.

Bang-bang control with one switch is the fastest for a torque-speed line (Bobrow, Dubowsky and Gibson 1985,
from memory). Here the switch is found in closed form, and for a weak battery by trying efforts on a grid.
"""

from __future__ import annotations

from math import cos, exp, log, pi, radians, sin

import numpy as np
import pytest
from builders import RPM, SMALL, G, Words, a_move, a_plant, a_robot, winding
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import lambertw

from simbot.physics import floor as floor_module
from simbot.physics.floor import Stretch
from simbot.physics.plant.running import EndlessSteps
from simbot.physics.spreads import spread_paths
from simbot.physics.stepper import LOG_FULL

# R 0.45 ohm, k 0.0185, 1000 rad/m, 2.5 kg and a rotor felt as 24 kg, 3 N s/m, a stiff 12 V
MOTOR = winding(0.45, 0.0185, 2.4e-5)
FORCE, SLOPE, MASS, WEIGHT = 1000 * 0.0185 * 12 / 0.45, 1e6 * 0.0185**2 / 0.45 + 3.0, 26.5, 2.5 * G
PULL = 1000 * 0.0185  # N/A


def slide(window: str, slower: str | None = None, **more: object) -> Words:
    control: Words = {"loop": "position", "p": "50 /m", "window": window}
    if slower is not None:
        control["slower_than"] = slower
    return {
        "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "100 %"}],
        "drum_diameter": "40 mm", "moving_mass": "2.5 kg", "damping": "3 N*s/m", "friction": "0 N",
        "travel": ["-1 m", "1 m"], "control": control, **more,
    }  # fmt: skip


def floor(
    mechanism: Words, motor: Words, start: float, to: float, battery: tuple[float, float] = (12.0, 0.0)
) -> float:
    plant = a_plant(
        a_robot({"it": mechanism}, {"coil": motor}, battery), seconds=3.0, tolerance=1e-9, it=start
    )
    time = a_move(plant, "it", to).floor_s()
    assert time is not None
    return time


def rest_to_rest(distance: float, back: float = -1.0) -> float:
    """Full effort, then the share `back` of it, to rest at the distance."""
    top, low, tau = (FORCE - WEIGHT) / SLOPE, (back * FORCE - WEIGHT) / SLOPE, MASS / SLOPE

    def stops(t: float) -> tuple[float, float]:
        v = top * (1 - exp(-t / tau))
        brake = tau * log((v - low) / -low)
        way = top * (t - tau * (1 - exp(-t / tau))) + low * brake + (v - low) * tau * (1 - exp(-brake / tau))
        return brake, way

    switch = brentq(lambda t: stops(t)[1] - distance, 1e-6, 10.0, xtol=1e-14)
    return switch + stops(switch)[0]


def touch(distance: float) -> float:
    top, tau = (FORCE - WEIGHT) / SLOPE, MASS / SLOPE
    z = distance / (top * tau) + 1.0
    return float(tau * (z + lambertw(-np.exp(-z)).real))


@pytest.mark.parametrize(("distance", "right"), [(0.60, 1.024298), (0.03, 0.0913375)])
def test_rest_to_rest(distance: float, right: float) -> None:
    """Plugging allowed. The window and the speed that count as rest are next to nothing."""
    assert rest_to_rest(distance) == pytest.approx(right, abs=6e-7)
    got = floor(slide("0.001 mm", "0.01 mm/s"), MOTOR, 0.0, distance)
    assert got == pytest.approx(right, abs=5e-6)


@pytest.mark.parametrize("distance", [0.60, 0.03])
def test_braking_alone_is_slower(distance: float) -> None:
    """1.086842 and 0.150292 s if the motor may only be shorted: a floor that forgets plugging is no floor."""
    alone = rest_to_rest(distance, 0.0)
    assert alone == pytest.approx({0.60: 1.086842, 0.03: 0.150292}[distance], abs=6e-7)
    assert floor(slide("0.001 mm", "0.01 mm/s"), MOTOR, 0.0, distance) < alone - 0.05


@pytest.mark.parametrize(("distance", "right"), [(0.60, 1.0119181), (0.03, 0.0801163)])
def test_touch(distance: float, right: float) -> None:
    """A hard stop stops it: only the way there counts."""
    stop = slide("1 mm", travel=["-1 m", f"{distance} m"], control={"loop": "full_effort", "window": "1 mm"})
    assert touch(distance) == pytest.approx(right, abs=6e-8)
    assert floor(stop, MOTOR, 0.0, distance) == pytest.approx(touch(distance), abs=1e-7)


def test_window_at_any_speed() -> None:
    """30 +- 10 mm is 0.0613556 s, and not the 0.0913375 s of a stop at 30 mm."""
    assert touch(0.02) == pytest.approx(0.0613556, abs=6e-8)
    assert floor(slide("10 mm"), MOTOR, 0.0, 0.03) == pytest.approx(touch(0.02), abs=1e-7)


def test_window_with_a_speed_limit() -> None:
    """Into 0.6 m +- 10 mm no faster than 0.2 m/s: braking ends at the near edge with that speed."""
    top, low, tau = (FORCE - WEIGHT) / SLOPE, (-FORCE - WEIGHT) / SLOPE, MASS / SLOPE

    def enters(t: float) -> tuple[float, float]:
        v = top * (1 - exp(-t / tau))
        brake = tau * log((v - low) / (0.2 - low))
        return brake, top * (t - tau * (1 - exp(-t / tau))) + low * brake + (v - low) * tau * (
            1 - exp(-brake / tau)
        )

    switch = brentq(lambda t: enters(t)[1] - 0.59, 0.1, 3.0, xtol=1e-13)
    assert floor(slide("10 mm", "0.2 m/s"), MOTOR, 0.0, 0.60) == pytest.approx(
        switch + enters(switch)[0], abs=1e-6
    )


def test_current_limit() -> None:
    """At most 12 A in the winding: 1.058716 s over 0.6 m. Integration with the limit on both ways."""

    def forward(v: float) -> float:
        return (min(PULL * 12.0 - 3.0 * v, FORCE - SLOPE * v) - WEIGHT) / MASS

    def backward(v: float) -> float:
        return (max(-PULL * 12.0 - 3.0 * v, -FORCE - SLOPE * v) - WEIGHT) / MASS

    go = solve_ivp(lambda _t, y: [y[1], forward(y[1])], (0, 5), [0, 0], rtol=1e-11, atol=1e-13,
                   dense_output=True, max_step=0.005)  # fmt: skip

    def still(_t: float, y: list[float]) -> float:
        return y[1]

    still.terminal, still.direction = True, -1  # type: ignore[attr-defined]

    def ends(t: float) -> tuple[float, float]:
        stop = solve_ivp(
            lambda _t, y: [y[1], backward(y[1])], (0, 5), go.sol(t), events=still, rtol=1e-11, atol=1e-13
        )
        return float(stop.t[-1]), float(stop.y[0, -1])

    switch = brentq(lambda t: ends(t)[1] - 0.6, 0.1, 3.0, xtol=1e-11)
    right = switch + ends(switch)[0]
    assert right == pytest.approx(1.058716, abs=6e-7)
    got = floor(slide("0.001 mm", "0.01 mm/s", current_limit="12 A"), MOTOR, 0.0, 0.6)
    assert got == pytest.approx(right, abs=6e-6)


def arm(slower: str | None) -> Words:
    """J 0.2 kg m², m g l 3.43233 N m, at most 2.8 N m up: too weak to hold itself level."""
    control: Words = {"loop": "position", "p": "5 /rad", "window": "0.01 deg"}
    if slower is not None:
        control["slower_than"] = slower
    return {
        "kind": "arm", "motors": "1 x coil", "gearing": [{"ratio": 1, "efficiency": "100 %"}],
        "moving_mass": "1 kg", "centre": "350 mm", "inertia": "0.0775 kg*m^2", "friction": "0 N*m",
        "travel": ["-80 deg", "120 deg"], "control": control,
    }  # fmt: skip


WEAK = winding(12.0**2 / (2.8 * 1e4), 12.0 / 1e4, 0.0)  # next to no back-EMF: 2.8 N m at any speed


def test_trap() -> None:
    """From 75 to -60 degrees it cannot be stopped there: its brake curve ends at -3.6679 degrees.

    Work of the torque on the way from q to the end makes up the fall: T (q - e) = mgl (sin q - sin e).
    """
    moment, end = G * 0.35, radians(-60.0)
    assert moment == pytest.approx(3.43233, abs=1e-5)
    edge = brentq(lambda q: 2.8 * (q - end) - moment * (sin(q) - sin(end)), -1.0, 0.2)
    assert np.degrees(edge) == pytest.approx(-3.6679, abs=5e-5)
    for start, possible in ((-3.0, False), (75.0, False), (-4.4, True)):
        plant = a_plant(a_robot({"it": arm("0.05 deg/s")}, {"coil": WEAK}), seconds=3.0, it=radians(start))
        assert (a_move(plant, "it", end).floor_s() is not None) is possible, start
    plant = a_plant(a_robot({"it": arm(None)}, {"coil": WEAK}), seconds=3.0, it=radians(75.0))
    assert a_move(plant, "it", end).floor_s() is not None  # but it can pass there


def test_arm_touch_by_energy() -> None:
    """Falling with all its torque from 75 to -60 degrees: the time integral of its energy."""
    moment, start, end = G * 0.35, radians(75.0), radians(-60.0)
    window = radians(0.01)

    def fall(_t: float, y: list[float]) -> list[float]:
        torque = -2.8 * (1.0 + y[1] / 1e4) if y[1] < 0.0 else -2.8
        return [y[1], (torque - moment * cos(y[0])) / 0.2]

    def there(_t: float, y: list[float]) -> float:
        return y[0] - (end + window)

    there.terminal = True  # type: ignore[attr-defined]
    right = solve_ivp(fall, (0, 5), [start, 0.0], events=there, rtol=1e-11, atol=1e-12).t_events[0][0]
    assert floor(arm(None), WEAK, start, end) == pytest.approx(right, abs=2e-6)


@pytest.mark.parametrize("ohms", [0.05, 0.5, 1.5])
def test_weak_battery(ohms: float) -> None:
    """On a weak battery full duty is not the strongest effort: a grid of duties finds the same time.

    i(d) = (d E - k w)/(R + R0 d²), the battery's own sag counted; touch of 0.3 m, and a stop at 0.3 m.
    """
    emf, r, k, g = 12.0, 0.45, 0.0185, 1000.0
    grid = np.linspace(-1.0, 1.0, 20001)

    def strongest(v: float, way: float) -> float:
        force = g * k * (grid * emf - k * g * v) / (r + ohms * grid**2)
        best = force.max() if way > 0 else force.min()
        return float((best - 3.0 * v - WEIGHT) / MASS)

    speeds = np.linspace(0.0, 0.7, 1401)
    up = np.array([strongest(v, 1.0) for v in speeds])
    down = np.array([strongest(v, -1.0) for v in speeds])

    def run(
        accelerations: np.ndarray, start: tuple[float, float], step: float, end: float
    ) -> tuple[float, float]:
        """Runge-Kutta in time on the tabled acceleration until a distance (end > 0) or rest (end = 0)."""
        t, x, v = 0.0, *start
        while True:
            slopes = []
            for share, last in ((0.0, 0), (0.5, 0), (0.5, 1), (1.0, 2)):
                speed = v + share * step * (slopes[last][1] if slopes else 0.0)
                slopes.append((speed, float(np.interp(speed, speeds, accelerations))))
            dx = step / 6 * (slopes[0][0] + 2 * slopes[1][0] + 2 * slopes[2][0] + slopes[3][0])
            dv = step / 6 * (slopes[0][1] + 2 * slopes[1][1] + 2 * slopes[2][1] + slopes[3][1])
            if end > 0.0 and x + dx >= end:
                return t + (end - x) / dx * step, v
            if end == 0.0 and v + dv <= 0.0:
                return t + v / -dv * step, x + dx * v / -dv / 2
            t, x, v = t + step, x + dx, v + dv

    right, _ = run(up, (0.0, 0.0), 5e-4, 0.3)
    assert floor(slide("0.001 mm"), MOTOR, 0.0, 0.300001, (emf, ohms)) == pytest.approx(right, rel=2e-5)

    def total(switch: float) -> tuple[float, float]:
        t, v = run(up, (0.0, 0.0), 5e-4, switch)
        brake, x = run(down, (switch, v), 2e-4, 0.0)
        return t + brake, x

    switch = brentq(lambda s: total(s)[1] - 0.3, 0.1, 0.2999, xtol=1e-6)
    got = floor(slide("0.001 mm", "0.01 mm/s"), MOTOR, 0.0, 0.3, (emf, ohms))
    assert got == pytest.approx(total(switch)[0], rel=2e-4)


def test_current_given_back_by_others() -> None:
    """A lift alone takes 1.685568 s; while others put 10 A back into the battery it may be 1.459 s."""
    r = 12.0 / 9.2
    k = (12.0 - 0.25 * r) / (5800 * RPM)
    g = 20.0 / 0.019
    for back, right in ((0.0, 1.685568), (10.0, 1.459)):
        force = 0.8 * g * (k * (13.2 + 0.15 * back) / (r + 0.15) - k * 0.25)
        slope = 0.8 * (g * k) ** 2 / (r + 0.15)
        top, tau = (force - 3.2 * G - 8.0) / slope, (3.2 + 0.8 * g**2 * 1e-5) / slope
        z = 0.75 / (top * tau) + 1.0
        own = float(tau * (z + lambertw(-np.exp(-z)).real))
        assert own == pytest.approx(right, abs=6e-4)
        lift = {"kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "80 %"}],
                "drum_diameter": "38 mm", "moving_mass": "3.2 kg", "friction": "8 N",
                "travel": ["0 m", "0.75 m"],
                "control": {"loop": "full_effort", "window": "1 mm"}}  # fmt: skip
        got = floor(lift, SMALL, 0.0, 0.75, (13.2 + 0.15 * back, 0.15))
        assert got == pytest.approx(own, abs=1e-6)


def test_favourable_end_of_every_spread() -> None:
    """Friction 6 N +- 2 N, mass 2.5 kg +- 0.2 kg: a floor of 4 N and 2.3 kg."""
    spread = slide("10 mm", friction="6 N ± 2 N", moving_mass="2.5 kg ± 0.2 kg")
    best = slide("10 mm", friction="4 N", moving_mass="2.3 kg")
    assert floor(spread, MOTOR, 0.0, 0.5) == pytest.approx(floor(best, MOTOR, 0.0, 0.5), abs=1e-9)


@pytest.mark.parametrize("first", [-1.0, 1.0])
def test_which_end_is_tried_first_changes_nothing(first: float) -> None:
    spread = slide("1 mm", "0.05 m/s", friction="6 N ± 2 N", moving_mass="2.5 kg ± 0.2 kg")
    best = slide("1 mm", "0.05 m/s", friction="4 N", moving_mass="2.3 kg")
    plant = a_plant(a_robot({"it": spread}, {"coil": MOTOR}), seconds=3.0, tolerance=1e-9, it=0.0)
    for path in spread_paths(plant.robot, plant.battery, "it", False):
        plant.models.helped["it", path] = first
    right = floor(best, MOTOR, 0.0, 0.5)
    assert a_move(plant, "it", 0.5).floor_s() == pytest.approx(right, abs=1e-9)
    assert set(plant.models.helped.values()) == {-1.0}


def test_a_like_move_searches_from_where_the_last_one_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same floor from fewer brakes; 1 nm further on is no other move, 10 mm are."""
    robot = a_robot({"it": slide("1 mm", "0.05 m/s")}, {"coil": MOTOR})
    plants = [a_plant(robot, seconds=3.0, tolerance=1e-9, it=0.0) for _ in range(3)]
    models, plain, brakes = plants[0].models, Stretch.brake, [0, 0, 0]
    times = []
    for number, (plant, target) in enumerate(zip(plants, (0.03, 0.03 + 1e-9, 0.04), strict=True)):

        def counted(self: Stretch, *given: float, number: int = number) -> tuple[float, float]:
            brakes[number] += 1
            return plain(self, *given)

        monkeypatch.setattr(Stretch, "brake", counted)
        plant.models = models
        times.append(a_move(plant, "it", target).floor_s())
    assert times[0] == pytest.approx(times[1], abs=3e-9)
    assert times[2] == pytest.approx(floor(slide("1 mm", "0.05 m/s"), MOTOR, 0.0, 0.04), abs=1e-9)
    assert brakes[1] < brakes[0] <= 8 and brakes[2] <= 8


def test_best_ratio_with_a_torque_speed_line() -> None:
    """90 degrees rest to rest: 43.1:1 in 0.2379 s, the inertias' match 63.2:1 in 0.2532 s."""
    r = 12.0 / 9.2
    k = (12.0 - 0.25 * r) / (5800 * RPM)
    for ratio, right in ((43.1, 0.2379), (63.2456, 0.2532)):
        turret = {
            "kind": "arm", "motors": "1 x coil", "gearing": [{"ratio": ratio, "efficiency": "100 %"}],
            "moving_mass": "1 kg", "centre": "0 m", "inertia": "0.04 kg*m^2", "friction": "0 N*m",
            "travel": ["-60 deg", "180 deg"],
            "control": {"loop": "position", "p": "50 /rad", "window": "1e-4 deg",
                        "slower_than": "1e-3 deg/s"},
        }  # fmt: skip
        got = floor(turret, winding(r, k, 1e-5), 0.0, pi / 2.0)
        assert got == pytest.approx(right, abs=6e-5)


def test_a_floor_whose_steps_have_no_end_is_a_fault_that_is_told(monkeypatch) -> None:
    """As of a run: no memory is filled for ever."""
    monkeypatch.setattr(floor_module, "MOST_ROWS", 3)
    monkeypatch.setattr(floor_module, "advance", lambda w, tab, log, rows, to: (LOG_FULL, rows + 1))
    with pytest.raises(EndlessSteps, match="floor of it needs more than 3 steps"):
        floor(slide("1 mm"), MOTOR, 0.0, 0.3)

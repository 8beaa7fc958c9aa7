"""Arms: masses summed by the parallel axis theorem, counterweights, and loads that stay level."""

from __future__ import annotations

from math import cos, pi, radians

import pytest
from builders import SMALL, G, Words, a_move, a_plant, a_robot, seconds, winding
from scipy.integrate import solve_ivp

from simbot.physics import layout as L
from simbot.physics.build import Models
from simbot.scenario.errors import ScenarioError

K, OHMS, ROTOR, RATIO = 0.0185, 0.45, 2.4e-5, 60.0


def arm(kind: str = "arm", **more: object) -> Words:
    return {
        "kind": kind, "motors": "1 x coil", "gearing": [{"ratio": RATIO, "efficiency": "100 %"}],
        "friction": "0 N*m", "travel": ["-60 deg", "75 deg"],
        "control": {"loop": "full_effort", "window": "1 deg"}, **more,
    }  # fmt: skip


def time_of(mechanism: Words) -> float:
    robot = a_robot({"it": mechanism}, {"coil": winding(OHMS, K, ROTOR)})
    move = a_move(a_plant(robot, tolerance=1e-9, it=radians(-60.0)), "it", radians(75.0))
    return seconds(move.first_inside_us())


def time_integrated(inertia: float, moment: float) -> float:
    """Inertia about the pivot [kg m²], sum of m r [kg m]; without the rotor."""

    def slope(_t: float, y: list[float]) -> list[float]:
        torque = RATIO * K * (12.0 - K * RATIO * y[1]) / OHMS
        return [y[1], (torque - G * moment * cos(y[0])) / (inertia + RATIO**2 * ROTOR)]

    def there(_t: float, y: list[float]) -> float:
        return y[0] - radians(75.0)

    there.terminal = True  # type: ignore[attr-defined]
    right = solve_ivp(slope, (0.0, 9.0), [radians(-60.0), 0.0], rtol=1e-10, atol=1e-12, events=there)
    return float(right.t_events[0][0])


def test_inertia_about_the_centre_or_the_pivot_is_one_arm() -> None:
    """1.2 kg at 350 mm, 0.01 kg m² about its centre: so 0.157 about the pivot."""
    own = {"moving_mass": "1.2 kg", "centre": "350 mm"}
    about_centre = time_of(arm(**own, inertia="0.01 kg*m^2"))
    about_pivot = time_of(arm(**own, inertia="0.157 kg*m^2", inertia_about="pivot"))
    assert about_centre == pytest.approx(time_integrated(0.157, 0.42), abs=1.2e-6)
    assert about_pivot == about_centre


def test_a_table_of_parts() -> None:
    """Tube, gripper, and a motor behind the pivot, each about its own centre."""
    parts = ((0.4, 0.20, 5.3e-3), (0.7, 0.42, 8e-4), (0.5, -0.06, 3e-4))
    table = [{"mass": f"{m} kg", "at": f"{r} m", "inertia": f"{j} kg*m^2"} for m, r, j in parts]
    right = time_integrated(sum(j + m * r * r for m, r, j in parts), sum(m * r for m, r, _ in parts))
    assert time_of(arm(parts=table)) == pytest.approx(right, abs=1.2e-6)


@pytest.mark.parametrize("kind", ["arm", "parallelogram_arm"])
def test_parts_about_their_own_centres_the_pivot_or_any_axis_are_one_arm(kind: str) -> None:
    """Parallel axis theorem: I + m d² about an axis that is d from the mass centre."""
    parts = ((0.4, 0.20, 5.3e-3), (0.7, 0.42, 8e-4), (0.5, -0.06, 3e-4))
    right = time_integrated(sum(j + m * r * r for m, r, j in parts), sum(m * r for m, r, _ in parts))
    x, y = 0.15, -0.08
    tables: tuple[list[Words], ...] = (
        [{"inertia": j} for _, _, j in parts],
        [{"inertia": j + m * r**2, "inertia_about": "pivot"} for m, r, j in parts],
        [{"inertia": j + m * ((r - x) ** 2 + y**2), "inertia_about": "axis", "axis_at": f"{x} m",
          "axis_aside": f"{y} m"} for m, r, j in parts],
    )  # fmt: skip
    more = {"length": "400 mm"} if kind != "arm" else {}
    for table in tables:
        rows = [
            {**row, "inertia": f"{row['inertia']!r} kg*m^2", "mass": f"{m} kg", "at": f"{r} m"}
            for row, (m, r, _) in zip(table, parts, strict=True)
        ]
        assert time_of(arm(kind, parts=rows, **more)) == pytest.approx(right, abs=1.2e-6)


def test_the_mass_of_an_arm_about_any_axis() -> None:
    """1.2 kg at 350 mm, 0.01 kg m² about its centre; the axis 130 mm along, 90 mm aside."""
    axis = 0.01 + 1.2 * ((0.35 - 0.13) ** 2 + 0.09**2)
    own = {
        "moving_mass": "1.2 kg",
        "centre": "350 mm",
        "inertia": f"{axis!r} kg*m^2",
        "inertia_about": "axis",
    }
    got = time_of(arm(**own, axis_at="130 mm", axis_aside="90 mm"))
    assert got == pytest.approx(time_integrated(0.157, 0.42), abs=1.2e-6)


def test_a_counterweight_takes_weight_and_adds_inertia() -> None:
    """1.5 kg at 100 mm behind the pivot against 1.2 kg at 350 mm."""
    own = {"moving_mass": "1.2 kg", "centre": "350 mm", "inertia": "0.01 kg*m^2"}
    right = time_integrated(0.157 + 1.5 * 0.01, 1.2 * 0.35 - 1.5 * 0.1)
    assert time_of(arm(**own, counterweight={"mass": "1.5 kg", "at": "100 mm"})) == pytest.approx(
        right, abs=1.2e-6
    )


def test_a_balanced_arm_stays_where_it_is_put() -> None:
    """m r on both sides: nothing moves without current at any angle, and without friction."""
    own = {"moving_mass": "1.2 kg", "centre": "350 mm", "counterweight": {"mass": "4.2 kg", "at": "100 mm"}}
    idle = {"loop": "full_effort", "window": "3 rad", "after": "coast"}
    for start in (-50.0, 0.0, 60.0):
        plant = a_plant(a_robot({"it": arm(**own, control=idle)}, {"coil": SMALL}), it=radians(start))
        plant.advance(3_000_000)
        assert plant.position("it") == pytest.approx(radians(start), abs=1e-12)


def test_a_level_load_is_a_point() -> None:
    """Links of 0.3 kg and 9e-3 kg m² about the pivot, carrier 0.8 kg at 400 mm; then 0.5 kg more to hold."""
    links = {"parts": [{"mass": "300 g", "at": "200 mm", "inertia": "9e-3 kg*m^2"}]}
    inertia, moment = 9e-3 + 0.3 * 0.04 + 0.8 * 0.16, 0.3 * 0.2 + 0.8 * 0.4
    level = arm("parallelogram_arm", **links, length="400 mm", carried_mass="800 g")
    assert time_of(level) == pytest.approx(time_integrated(inertia, moment), abs=1.2e-6)
    models = Models(a_robot({"it": level}, {"coil": SMALL}))
    held, bare = (models.get("it", payload).reduced.segments[0].knots for payload in (0.5, 0.0))
    assert held is not None and bare is not None
    assert held[:, L.TAB_M] - bare[:, L.TAB_M] == pytest.approx(0.5 * 0.4**2, rel=1e-12)
    assert held[0, L.TAB_Q] - bare[0, L.TAB_Q] == pytest.approx(0.5 * G * 0.4 * cos(pi / 3.0), rel=1e-12)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"moving_mass": "1 kg"}, ["`centre` is missing"]),
        ({"centre": "100 mm", "parts": [{"mass": "1 kg", "at": "100 mm"}]}, ["parts", "100 mm"]),
        ({"parts": [{"mass": "1 kg"}]}, ["at"]),
        ({"parts": []}, ["at least one mass"]),
        ({"moving_mass": "1 kg", "centre": "200 mm", "inertia": "0.03 kg*m^2", "inertia_about": "pivot"},
         ["0.03 kg*m^2", "at least 0.04 kg*m^2"]),
        ({"moving_mass": "5 lb", "centre": "9 in", "inertia": "60 lb*in^2", "inertia_about": "pivot"},
         ["60 lb*in^2", "at least 405 lb*in^2 (0.1186 kg*m^2), or inertia_about: centre"]),
        ({"parts": [{"mass": "1 kg", "at": "0 m"}, {"mass": "1 kg", "at": "0.2 m", "inertia": "0.03 kg*m^2",
                                                    "inertia_about": "pivot"}]},
         ["parts.1.inertia", "at least 0.04 kg*m^2, or inertia_about: centre"]),
        ({"parts": [{"mass": "1 kg", "at": "0.2 m", "inertia": "0.03 kg*m^2", "inertia_about": "axis"}]},
         ["`axis_at` is missing"]),
        ({"parts": [{"mass": "1 kg", "at": "0.2 m", "inertia": "0.03 kg*m^2", "axis_at": "1 m"}]},
         ["inertia_about: axis"]),
        ({"parts": [{"mass": "1 kg", "at": "0.2 m", "inertia_about": "pivot"}]}, ["`inertia` is missing"]),
        ({"parts": [{"mass": "1 kg", "at": "0.2 m"}], "inertia_about": "pivot"}, ["`inertia_about` in each part"]),
        ({"moving_mass": "1 kg", "centre": "200 mm", "inertia": "0.03 kg*m^2", "inertia_about": "axle"},
         ["axle", "pivot"]),
    ],
)  # fmt: skip
def test_masses_that_do_not_fit_are_one_message(more: Words, words: list[str]) -> None:
    with pytest.raises(ScenarioError) as error:
        a_robot({"it": arm(**more)}, {"coil": SMALL})
    assert len(error.value.problems) == 1, str(error.value)
    for word in words:
        assert word in str(error.value)

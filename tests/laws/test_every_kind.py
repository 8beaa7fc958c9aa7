"""Laws that hold for every kind of mechanism, whatever its numbers.

200 robots of each for the law that none is faster than its floor, a few for the others; SIMBOT_ROBOTS=200 draws as
many for all.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from itertools import pairwise
from math import inf, radians
from typing import Any

import numpy as np
import pytest
from builders import a_plant, a_robot
from drawn import BATTERIES, KINDS_DRAWN, MOTORS, Drawn, number
from energy import Mechanism, account, brushed
from energy_cases import ENERGY_CASES, energy_case, num
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from simbot.physics import layout as L
from simbot.physics.build import DRIVES
from simbot.physics.kinds import KINDS
from simbot.physics.move import DriveTo, GoTo, Move, PushFor, Spin
from simbot.physics.plant import Plant
from simbot.physics.steps import ERRS
from simbot.physics.tables import CELLS
from simbot.scenario.model import Pose

G = 9.80665  # m/s²
QUICK = settings(
    max_examples=int(os.environ.get("SIMBOT_ROBOTS", "25")),
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.explicit, Phase.generate],  # a drawn robot says enough: no minutes of shrinking
)
FEW = settings(QUICK, max_examples=int(os.environ.get("SIMBOT_ROBOTS", "15")))
MANY = settings(QUICK, max_examples=int(os.environ.get("SIMBOT_ROBOTS", "200")))
NO_MOTORS = {"measured", "cylinder"}  # a stopwatch's time, and air: the battery gives them nothing
WITH_PHYSICS = sorted(set(KINDS_DRAWN) - NO_MOTORS)
POSE = Pose(1.0, 1.0, 0.0)


def test_every_kind_is_drawn() -> None:
    assert set(KINDS_DRAWN) == set(KINDS)


def plant_of(
    drawn: Drawn, battery: tuple[float, float], lasts: float = 6.0, tolerance: float = 1e-7
) -> Plant:
    robot = a_robot({"it": drawn.mechanism}, MOTORS, battery)
    return a_plant(robot, lasts, tolerance, pose=POSE, it=drawn.start)


def send(plant: Plant, drawn: Drawn, name: str = "it") -> Move:
    kind = drawn.mechanism["kind"]
    if kind == "swerve":  # sideways: it steers first
        return plant.command(name, DriveTo(Pose(1.0, 1.0 + drawn.target, 0.0)))
    if kind in DRIVES:
        return plant.command(name, DriveTo(Pose(1.0 + drawn.target, 1.0, 0.0)))
    if kind in ("roller", "flywheel"):
        return plant.command(name, Spin(drawn.target))
    if kind in ("measured", "cylinder"):
        return plant.command(name, GoTo(drawn.word))
    return plant.command(name, GoTo(drawn.target))


def columns(plant: Plant) -> np.ndarray:
    """t, h, v0, v1 and the polynomial of the position of every step of a plant with one mechanism."""
    log = plant._log[: plant._rows]
    return np.column_stack((log[:, L.LOG_T], log[:, L.LOG_H], course(log, 0)))


def course(log: np.ndarray, number: int) -> np.ndarray:
    """v0, v1 and the polynomial of the position of a mechanism, or of what is logged as one."""
    own, h = log[:, L.LOG_MECH + number * L.LOG_PER_MECH :], log[:, L.LOG_H]
    v0, v1 = own[:, L.LOG_SPEED0], own[:, L.LOG_SPEED1]
    start = np.column_stack((own[:, L.LOG_Q0], h * v0, 0.5 * h**2 * own[:, L.LOG_ACC0]))
    return np.column_stack((v0, v1, start, own[:, L.LOG_POLY : L.LOG_PER_MECH]))


def rotors(plant: Plant) -> list[np.ndarray]:
    """For each group of motors that may turn by itself: which force its load gets meanwhile, and its own course."""
    log = plant._log[: plant._rows]
    found = []
    for which in plant.arrays.rotors["it"]:
        side = log[:, L.LOG_MECH + which * L.LOG_PER_MECH + L.LOG_BACK, None]
        found.append(np.where(side == 0.0, 0.0, np.column_stack((side, course(log, which)))))
    return found


@pytest.mark.parametrize("kind", sorted(KINDS_DRAWN))
@MANY
@given(data=st.data(), battery=BATTERIES)
def test_no_faster_than_the_floor_and_no_endless_run(
    kind: str, data: Any, battery: tuple[float, float]
) -> None:
    drawn = data.draw(KINDS_DRAWN[kind]())
    plant = plant_of(drawn, battery)
    move = send(plant, drawn)
    plant.advance(6_000_000)
    arrival, floor = move.arrival_us(), move.floor_s()
    if kind not in NO_MOTORS:
        assert np.isfinite(columns(plant)).all()
        assert plant._rows < 20_000
        w, m = plant.arrays.w, plant.arrays.at["it"]
        places = plant._log[: plant._rows, [L.LOG_MECH + L.LOG_Q0, L.LOG_MECH + L.LOG_Q1]]
        assert w[m + L.Q_LO] - 1e-12 <= w[m + L.Q] <= w[m + L.Q_HI] + 1e-12
        # the step that meets a stop ends at it but for its own error, and the next begins there
        own = ERRS * w[L.TOL] * w[m + L.Q_SCALE]
        assert w[m + L.Q_LO] - own <= places.min() and places.max() <= w[m + L.Q_HI] + own
    if arrival is not None and floor is not None and not stopped_by_an_end(plant, move):
        assert floor <= (arrival - move.start_us) * 1e-6 + 1e-6


@pytest.mark.parametrize(
    "kind", ["rack", "slide", "arm", "parallelogram_arm", "four_bar", "turret", "lead_screw"]
)
@QUICK
@given(data=st.data(), battery=BATTERIES)
def test_no_faster_than_the_floor_with_play(kind: str, data: Any, battery: tuple[float, float]) -> None:
    """There and back: what a motor gathers while it crosses its play alone is in the floor too."""
    drawn = data.draw(KINDS_DRAWN[kind]())
    length = KINDS[kind].COORDINATE == "length"
    play = data.draw(number(0.2, 5.0)) * (1e-3 if length else 1e-2)
    play_of = {**drawn.mechanism, "backlash": f"{play!r} {'m' if length else 'rad'}"}
    plant = plant_of(Drawn(play_of, drawn.start, drawn.target), battery, 12.0)
    for at_us, target in ((0, drawn.target), (6_000_000, drawn.start)):
        plant.advance(at_us)
        move = plant.command("it", GoTo(target))
        plant.advance(at_us + 6_000_000)
        arrival, floor = move.arrival_us(), move.floor_s()
        assert np.isfinite(columns(plant)).all()
        if arrival is not None and floor is not None and not stopped_by_an_end(plant, move):
            assert floor <= (arrival - move.start_us) * 1e-6 + 1e-6


def stopped_by_an_end(plant: Plant, move: Move) -> bool:
    """An end of the travel within a slow set: known to give a floor too long, its own test is among the corners."""
    if isinstance(move.target, str) or move.touch or move.slower_than == inf:
        return False
    w, m = plant.arrays.w, plant.arrays.at[move.mechanism]
    return min(abs(move.target - w[m + L.Q_LO]), abs(move.target - w[m + L.Q_HI])) <= move.window


@pytest.mark.parametrize("kind", WITH_PHYSICS)
@QUICK
@given(data=st.data(), battery=BATTERIES, cuts=st.lists(st.integers(1, 3_000_000), max_size=4))
def test_splitting_a_run_moves_nothing(
    kind: str, data: Any, battery: tuple[float, float], cuts: list[int]
) -> None:
    drawn = data.draw(KINDS_DRAWN[kind]())
    whole, split = plant_of(drawn, battery, 4.0), plant_of(drawn, battery, 4.0)
    first, second = send(whole, drawn), send(split, drawn)
    whole.advance(4_000_000)
    for at in sorted(cuts):
        split.advance(at)
    split.advance(4_000_000)
    for one, two in zip(events(first), events(second), strict=True):
        if not agree(one, two, 1) and ends_where_rounding_takes_it(drawn, battery):
            return
        assert agree(one, two, 1)


def events(move: Move) -> tuple[int | None, int | None]:
    return move.first_inside_us(), move.arrival_us()


def agree(one: int | None, two: int | None, room: int, share: float = 0.0) -> bool:
    """The same instant, or none, to so many microseconds and a share of it."""
    if one is None or two is None:
        return one is two
    return abs(one - two) <= room + share * one


def ends_where_rounding_takes_it(drawn: Drawn, battery: tuple[float, float]) -> bool:
    """A loop that swings up any difference: tighter and tighter integration tells no arrival either."""
    found = []
    for tolerance in (1e-8, 1e-9, 1e-10):
        plant = plant_of(drawn, battery, 4.0, tolerance)
        move = send(plant, drawn)
        plant.advance(4_000_000)
        found.append(move.arrival_us())
    return not all(agree(found[0], other, 2, 1e-6) for other in found)


@pytest.mark.parametrize("kind", WITH_PHYSICS)
@FEW
@given(data=st.data(), battery=BATTERIES)
def test_order_of_mechanisms_in_the_file_moves_nothing(
    kind: str, data: Any, battery: tuple[float, float]
) -> None:
    """Each kind beside a slide and a servo, all on one battery, named in either order."""
    parts = {
        name: data.draw(KINDS_DRAWN[of]())
        for name, of in (("it", kind), ("slide", "slide"), ("servo", "servo"))
    }
    found = []
    for names in (list(parts), list(reversed(parts))):
        robot = a_robot({name: parts[name].mechanism for name in names}, MOTORS, battery)
        plant = a_plant(robot, 4.0, pose=POSE, **{name: parts[name].start for name in names})
        moves = {name: send(plant, drawn, name) for name, drawn in parts.items()}
        plant.advance(4_000_000)
        found.append({name: events(move) for name, move in moves.items()})
    for name in parts:
        for one, two in zip(found[0][name], found[1][name], strict=True):
            if max(one or 0, two or 0) > 3_500_000:
                continue  # inside at the end of the run, but not for good: a limit cycle's last turn
            assert agree(one, two, 1), (name, one, two)


def to_touch(kind: str, battery: tuple[float, float], load: float) -> float:
    """Time of full effort to the far stop against a load that grows with `load` [s]; inf: never."""
    control = {"loop": "full_effort", "window": "5 mm"}
    gears = [{"ratio": "24:1", "efficiency": "80 %"}]
    if kind == "slide":
        mechanism: dict[str, Any] = {
            "kind": "slide", "motors": "1 x small", "gearing": gears, "drum_diameter": "36 mm", "friction": "4 N",
            "moving_mass": f"{1.0 + load} kg", "travel": ["0 m", "0.5 m"], "control": control,
        }  # fmt: skip
    elif kind == "winch":
        mechanism = {
            "kind": "winch", "motors": "1 x small", "gearing": gears, "drum_diameter": "30 mm", "friction": "2 N",
            "load": f"{20.0 * load} N", "load_mass": "0.5 kg", "travel": ["0 m", "0.4 m"], "control": control,
        }  # fmt: skip
    elif kind == "hoist":
        mechanism = {
            "kind": "hoist", "motors": "1 x small", "gearing": [{"ratio": "60:1", "efficiency": "80 %"}],
            "drum_diameter": "20 mm", "drum_width": "10 mm", "cord_diameter": "2 mm", "friction": "2 N",
            "load_mass": f"{2.0 + load} kg", "slack": "0.1 m", "hook": ["0.3 m", "0.4 m"],
            "mass_centre": ["0.2 m", "0.15 m"], "travel": ["0 m", "0.4 m"], "control": control,
        }  # fmt: skip
    elif kind == "axle":
        mechanism = {
            "kind": "axle", "motors": "1 x small", "gearing": gears, "drum_diameter": ["30 mm", "12 mm"],
            "moving_mass": ["0.5 kg", f"{0.5 + 2.0 * load} kg"], "friction": ["2 N", "1 N"], "cord": "pulls",
            "at_zero": ["0 m", "-50 mm"], "highest": ["0.45 m", "0.4 m"], "travel": ["0 rad", "30 rad"],
            "control": {"loop": "full_effort", "window": "0.1 rad"},
        }  # fmt: skip
    else:
        mechanism = {
            "kind": "arm", "motors": "1 x geared", "gearing": [{"ratio": "4:1", "efficiency": "80 %"}],
            "moving_mass": f"{0.5 + load} kg", "centre": "0.25 m", "inertia": "0.01 kg*m^2", "friction": "0.1 N*m",
            "travel": ["-30 deg", "60 deg"], "control": {"loop": "full_effort", "window": "2 deg"},
        }  # fmt: skip
    plant = plant_of(Drawn(mechanism, radians(-30.0) if kind == "arm" else 0.0, 0.0), battery)
    move = plant.command("it", GoTo(radians(60.0) if kind == "arm" else mechanism_end(mechanism)))
    at = move.first_inside_us()
    return inf if at is None else at * 1e-6


def mechanism_end(mechanism: dict[str, Any]) -> float:
    if mechanism["kind"] == "axle":
        return num(mechanism["highest"][0]) / (num(mechanism["drum_diameter"][0]) / 2000.0)
    return float(mechanism["travel"][1].split()[0])


@pytest.mark.parametrize("kind", ["slide", "winch", "arm", "hoist", "axle"])
@QUICK
@given(battery=BATTERIES, more=number(0.05, 2.0), load=number(0.0, 2.0), extra=number(0.01, 1.0))
def test_more_voltage_is_never_slower_and_more_load_never_faster(
    kind: str, battery: tuple[float, float], more: float, load: float, extra: float
) -> None:
    volts, ohms = battery
    time = to_touch(kind, battery, load)
    assert to_touch(kind, (volts + more, ohms), load) <= time + 2e-6
    assert to_touch(kind, battery, load + extra) >= time - 2e-6


@QUICK
@given(data=st.data(), battery=BATTERIES)
def test_a_move_without_gravity_takes_as_long_when_mirrored(data: Any, battery: tuple[float, float]) -> None:
    drawn = data.draw(KINDS_DRAWN["slide"]())
    flat = {**drawn.mechanism, "incline": "0 deg", "rigging": "cascade", "springs": [], "detents": []}
    there = Drawn(flat, drawn.start, drawn.target)
    back = Drawn(flat, round(0.8 - drawn.start, 6), round(0.8 - drawn.target, 6))
    times = []
    for each in (there, back):
        plant = plant_of(each, battery, 4.0)
        move = send(plant, each)
        plant.advance(4_000_000)
        times.append((move.arrival_us(), move.floor_s()))
    (one, floor), (two, other) = times
    assert (one is None) == (two is None)
    if one is not None and two is not None:
        assert abs(one - two) <= 1 + 1e-6 * one
    assert floor == pytest.approx(other, rel=1e-6, abs=1e-6)


def test_every_kind_has_its_energy_case() -> None:
    assert {*ENERGY_CASES, *DRIVES} == set(KINDS) - NO_MOTORS


@pytest.mark.parametrize("kind", ENERGY_CASES)
@pytest.mark.parametrize(("tolerance", "closes"), [(1e-7, 1e-6), (1e-11, 1e-9)])
@QUICK
@given(data=st.data(), battery=BATTERIES, effort=number(0.3, 1.0), toward=st.sampled_from([-1.0, 1.0]))
def test_energy_closes(
    kind: str,
    tolerance: float,
    closes: float,
    data: Any,
    battery: tuple[float, float],
    effort: float,
    toward: float,
) -> None:
    """Energy from the battery = heat in windings + friction + gear loss + work + what is stored or lost at stops."""
    drawn, it = energy_case(kind, data, battery)
    plant = plant_of(drawn, battery, 2.0, tolerance)
    assume(is_told(it, plant))
    servo = drawn.mechanism.get("servo", drawn.mechanism)
    if "band" in servo:
        plant.command("it", GoTo(drawn.target))
        band, dead = radians(num(servo["band"])), radians(num(servo["dead_band"]))

        def duty(t: np.ndarray, q: np.ndarray) -> np.ndarray:
            error = np.where(t < 0.01, drawn.start, drawn.target) - q
            moving = np.where(abs(error) <= dead, 0.0, np.clip(error / band, -1.0, 1.0))
            at_rest = np.ptp(q) == 0.0 and t[0] > 0.01
            if at_rest and (kind == "slider_crank" or abs(abs(error[0]) - dead) < 1e-5):
                return leaning(plant, it, battery, t)
            return moving
    elif kind in ("roller", "flywheel"):
        plant.command("it", Spin(effort))
        if kind == "flywheel":  # what it throws takes its energy along as it leaves: no row has it
            plant.advance(400_000)
            plant.command("it", Spin(effort, throws=2))

        def duty(t: np.ndarray, q: np.ndarray) -> np.ndarray:
            return np.full_like(q, effort)
    else:
        end = plant.arrays.w[plant.arrays.at["it"] + (L.Q_HI if toward > 0.0 else L.Q_LO)]
        plant.command("it", PushFor(effort, float(end), 600_000, "brake"))

        def duty(t: np.ndarray, q: np.ndarray) -> np.ndarray:
            return np.where(t < 0.6, toward * effort, 0.0)

    plant.advance(1_000_000)
    taken, spent, turned, least = account(columns(plant), it, *battery, duty, *rotors(plant))
    if kind == "winch":
        assert least > -1e-6
    scale = max(turned, 1e-3)
    missed = brushed(columns(plant), it)
    assert missed <= 1e-5 * scale
    room = closes * scale + missed
    if kind == "four_bar":  # here all slopes are differences
        room = max(closes, 1e-8) * scale
    if kind in (
        "arm",
        "parallelogram_arm",
    ):  # its weight comes from a table: cubics on cells h are right to h^4/384 of the moment
        places = plant._log[: plant._rows, [L.LOG_MECH + L.LOG_Q0, L.LOG_MECH + L.LOG_Q1]]
        way = float(np.abs(np.diff(places, axis=1)).sum())
        room += (radians(230.0) / CELLS) ** 4 / 384.0 * abs(float(it.load(np.zeros(1))[0])) * way
    assert plant.energy() == pytest.approx(taken, abs=closes * scale)
    assert plant.energy() == pytest.approx(spent, abs=room)


def is_told(it: Mechanism, plant: Plant) -> bool:
    """True where rotors are heavy enough, all along the travel, for gears that lock to have one answer (see forces)."""
    w, m = plant.arrays.w, plant.arrays.at["it"]
    along = np.linspace(w[m + L.Q_LO], w[m + L.Q_HI], 201) if w[m + L.Q_HI] < 1e5 else np.zeros(1)
    rotors = (it.ratio * it.gear(along)) ** 2 * it.n * it.rotor
    return bool(np.min(rotors) + it.back * np.max(it.mass(along)) > 0.0)


def leaning(plant: Plant, it: Mechanism, battery: tuple[float, float], t: np.ndarray) -> np.ndarray:
    """Effort at rest by the sag of the logged bus, V (1 + R0 d²/R) = E: a loaded servo leans on the edge of its dead
    band with the mean of going in and out of it, which no formula of its position gives."""
    log = plant._log[: plant._rows]
    volts = log[np.searchsorted(log[:, L.LOG_T], t, side="right") - 1, L.LOG_V1]
    return np.sqrt(np.maximum(battery[0] / volts - 1.0, 0.0) * it.resistance / battery[1])


def test_energy_closes_while_a_cord_is_slack() -> None:
    """Paid out faster than its light load follows: the rotor goes on alone until the load has come after it."""
    winch = {
        "kind": "winch", "motors": "1 x small", "gearing": [{"ratio": "30:1", "efficiency": "55 %"}],
        "drum_diameter": "15 mm", "load": "0 N", "load_mass": "0.25 kg", "friction": "2 N",
        "travel": ["0 m", "0.5 m"], "control": {"loop": "full_effort", "window": "15 mm"},
    }  # fmt: skip
    battery = (12.0, 0.25)
    drawn, it = energy_case("winch", Chosen(Drawn(winch, 0.25, 0.0)), battery)
    plant = plant_of(drawn, battery, 2.0)
    plant.command("it", PushFor(1.0, 0.0, 600_000, "brake"))
    plant.advance(1_000_000)
    [alone] = rotors(plant)
    taken, spent, turned, least = account(
        columns(plant), it, *battery, lambda t, q: np.where(t < 0.6, -1.0, 0.0) + 0.0 * q, alone
    )
    assert least > -1e-6
    assert float(columns(plant)[alone[:, 0] != 0.0, 1].sum()) > 0.1
    assert plant.energy() == pytest.approx(taken, abs=1e-6 * turned)
    assert taken == pytest.approx(spent, abs=1e-6 * turned)


@dataclass(frozen=True)
class Chosen:
    """In the place of hypothesis: what it draws is given."""

    drawn: Drawn

    def draw(self, _from: object) -> Drawn:
        return self.drawn


@pytest.mark.parametrize("kind", WITH_PHYSICS)
@settings(QUICK, max_examples=15)
@given(data=st.data(), battery=BATTERIES)
def test_a_thousand_times_tighter_changes_nothing(kind: str, data: Any, battery: tuple[float, float]) -> None:
    drawn = data.draw(KINDS_DRAWN[kind]())
    moves = []
    for tolerance in (1e-7, 1e-10, 1e-9):
        plant = plant_of(drawn, battery, 4.0, tolerance)
        move = send(plant, drawn)
        plant.advance(4_000_000)
        moves.append((move.first_inside_us(), move.arrival_us()))
    for which, (one, two, beside) in enumerate(zip(*moves, strict=True)):
        if (two is None) != (beside is None) or abs((two or 0) - (beside or 0)) > 2:
            continue  # a loop that swings up any difference: no integration tells where it ends
        if max(one or 0, two or 0) > 3_500_000:
            continue  # inside at the end of the run, but not for good: a limit cycle's last turn
        assert (one is None) == (two is None)
        if one is not None and two is not None:
            room = 2 + 1e-6 * two
            # a loop that swings makes much of a step's error: that of a tighter run it brings back to what it should be
            assert abs(one - two) <= room or (
                abs(one - two) <= 10 * room and agree(two, at_tighter(drawn, battery)[which], 2, 1e-6)
            )


def at_tighter(drawn: Drawn, battery: tuple[float, float]) -> tuple[int | None, int | None]:
    """First entry and arrival at a tenth of the tolerance that is shipped."""
    plant = plant_of(drawn, battery, 4.0, 1e-8)
    move = send(plant, drawn)
    plant.advance(4_000_000)
    return move.first_inside_us(), move.arrival_us()


def test_a_limit_on_current_is_kept_and_never_helps() -> None:
    times = []
    for limit in (None, 8.0, 6.0, 4.0):
        mechanism = {
            "kind": "slide", "motors": "1 x small", "gearing": [{"ratio": "24:1", "efficiency": "80 %"}],
            "drum_diameter": "36 mm", "moving_mass": "2 kg", "friction": "4 N", "travel": ["0 m", "0.5 m"],
            "control": {"loop": "full_effort", "window": "5 mm"},
        }  # fmt: skip
        if limit is not None:
            mechanism["current_limit"] = f"{limit} A"
        plant = plant_of(Drawn(mechanism, 0.0, 0.5), (13.0, 0.1))
        move = plant.command("it", GoTo(0.5))
        plant.advance(2_000_000)
        log = plant._log[: plant._rows]
        if limit is not None:
            assert log[:, [L.LOG_I0, L.LOG_I1]].max() <= limit + 1e-9
        times.append(move.first_inside_us())
    assert None not in times
    assert times == sorted(times)  # type: ignore[type-var]
    assert times[0] < times[-1]  # type: ignore[operator]


LIMITED = settings(QUICK, max_examples=20)


@pytest.mark.parametrize("side", ["current_limit", "battery_current_limit"])
@LIMITED
@given(
    data=st.data(), battery=BATTERIES, limits=st.lists(number(1.5, 9.0), min_size=2, max_size=3, unique=True)
)
def test_limits_are_kept_at_every_row_and_tightening_never_helps(
    side: str, data: Any, battery: tuple[float, float], limits: list[float]
) -> None:
    """One motor, so that the battery's current is its own times the effort; currents worked out from the log."""
    drawn = data.draw(KINDS_DRAWN["slide"]())
    fixed = {
        **drawn.mechanism, "motors": "1 x small", "rigging": "cascade",
        "control": {"loop": "full_effort", "window": "5 mm"},
    }  # fmt: skip
    times: list[float] = []
    for limit in (inf, *sorted(limits, reverse=True)):
        mechanism = fixed if limit == inf else {**fixed, side: f"{limit} A"}
        plant = plant_of(Drawn(mechanism, 0.0, 0.8), battery, 3.0)
        move = plant.command("it", GoTo(0.8))
        plant.advance(3_000_000)
        log = plant._log[: plant._rows]
        drawn_amps = log[:, [L.LOG_I0, L.LOG_I1]]
        # where the limit lets go is an event, found to some nanoseconds of currents that rise by 30 A/s and more;
        # a motor never draws less than the battery gives
        assert drawn_amps.max() <= limit + 1e-6
        if side == "current_limit" and limit < inf:
            sheet = plant.arrays.w[int(plant.arrays.w[plant.arrays.at["it"] + L.GRP]) :]
            speed = sheet[L.G_RATIO] * log[:, [L.LOG_MECH + 1, L.LOG_MECH + 4]]
            power = log[:, [L.LOG_V0, L.LOG_V1]] * drawn_amps  # = i² R + i k w, solved for i
            emf = sheet[L.G_K] * speed
            inside = np.maximum(emf**2 + 4.0 * sheet[L.G_R] * power, 0.0)
            assert ((np.sqrt(inside) - emf) / (2.0 * sheet[L.G_R])).max() <= limit + 1e-6
        at = move.first_inside_us()
        times.append(inf if at is None else at * 1e-6)
    for looser, tighter in pairwise(times):
        assert tighter >= looser - 2e-6


@st.composite
def loaded_servos(draw: Any) -> Drawn:
    """A servo under a weight that asks for up to half of its stall torque."""
    torque, reach = draw(number(0.4, 3.0)), draw(number(0.03, 0.2))
    mass = draw(number(0.02, 0.5)) * torque / (G * reach)
    start, target = draw(number(0.1, 3.0)), draw(number(0.1, 3.0))
    mechanism = {
        "kind": "servo", "speed": f"{draw(number(0.08, 0.25))} s/60deg", "at": "6 V",
        "stall_torque": f"{torque} N*m", "travel": ["0 deg", "180 deg"],
        "band": f"{draw(number(3.0, 8.0))} deg", "dead_band": f"{draw(number(0.3, 1.0))} deg",
        "friction": f"{draw(number(2.0, 10.0))} %", "rotor_time": f"{draw(number(30.0, 60.0))} ms",
        "load_mass": f"{mass!r} kg", "load_at": f"{reach} m", "load_angle": f"{draw(number(-180.0, 180.0))} deg",
    }  # fmt: skip
    return Drawn(mechanism, start, target)


@settings(QUICK, max_examples=60)
@given(drawn=loaded_servos(), ohms=number(0.0, 0.1))
def test_loaded_servos_come_to_rest_in_their_band(drawn: Drawn, ohms: float) -> None:
    """No chatter at the edge of the dead band; the error is no more than what the load asks of the band."""
    plant = plant_of(drawn, (6.0, ohms), 4.0)
    plant.command("it", GoTo(drawn.target))
    plant.advance(4_000_000)
    assert plant._rows < 3_000
    assert plant.speed("it") == 0.0
    values = {key: num(value) for key, value in drawn.mechanism.items() if key not in ("kind", "travel")}
    load = G * values["load_mass"] * values["load_at"]
    share = load / values["stall_torque"] + 0.01 * values["friction"]
    room = max(radians(values["dead_band"]), radians(values["band"]) * share * 1.25)
    assert abs(float(plant.position("it")) - drawn.target) <= min(room, radians(values["band"])) + 1e-6


@settings(QUICK, max_examples=30)
@given(
    data=st.data(),
    battery=BATTERIES,
    instants=st.lists(number(0.0, 3.0), min_size=2, max_size=4, unique=True),
    second=number(0.0, 1.0),
)
def test_no_faster_than_the_floor_together_and_taken_over(
    data: Any, battery: tuple[float, float], instants: list[float], second: float
) -> None:
    """Several on one battery, each sagging and feeding the others, and taken over while they move."""
    parts = {name: data.draw(KINDS_DRAWN[name]()) for name in ("slide", "winch", "arm", "servo")}
    robot = a_robot({name: part.mechanism for name, part in parts.items()}, MOTORS, battery)
    plant = a_plant(robot, 6.0, pose=POSE, **{name: part.start for name, part in parts.items()})
    names = sorted(parts)
    moves = []
    for number_, at in enumerate(sorted(instants)):
        plant.advance(round(1e6 * at))
        for k, name in enumerate(names):
            part = parts[name]
            back = part.start + (part.target - part.start) * second
            moves.append(plant.command(name, GoTo(part.target if (number_ + k) % 2 == 0 else back)))
    plant.advance(6_000_000)
    written = L.LOG_MECH + len(names) * L.LOG_PER_MECH  # behind: rotors, while they are apart
    assert np.isfinite(plant._log[: plant._rows, :written]).all()
    for move in moves:
        if move.start_speed != 0.0 and move.slower_than < inf:
            continue  # the floor of such a start may be wrong or fail: its own test is among the corners
        if stopped_by_an_end(plant, move):
            continue
        arrival, floor = move.arrival_us(), move.floor_s()
        if arrival is not None and floor is not None:
            assert floor <= (arrival - move.start_us) * 1e-6 + 1e-6


def test_a_loaded_servo_rests_without_chatter() -> None:
    """A weight that its friction does not hold, inside its dead band: it rests at the band's edge."""
    mechanism = {
        "kind": "servo", "speed": "0.14 s/60deg", "at": "6 V", "stall_torque": "1.2 N*m",
        "travel": ["0 deg", "180 deg"], "friction": "3 %", "load_mass": "0.1 kg",
        "load_at": "0.08 m", "load_angle": "0 deg",
    }  # fmt: skip
    plant = plant_of(Drawn(mechanism, radians(10.0), 0.0), (6.0, 0.01))
    move = plant.command("it", GoTo(radians(40.0)))
    plant.advance(3_000_000)
    assert plant._rows < 3_000
    assert move.arrival_us() is not None
    assert abs(float(plant.position("it")) - radians(40.0)) <= radians(1.0) + 1e-6

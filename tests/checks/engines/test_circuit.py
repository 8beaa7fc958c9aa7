"""Two motors on one battery: the kernel, a circuit simulator, and the exact matrix exponential."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from builders import Words, a_move, a_plant, a_robot, winding
from runner import DeckFailed, run_deck
from scipy.linalg import expm

from simbot.physics.plant import Plant

HERE = Path(__file__).parent
RIGHT = {"w1": 512.2418721520, "q1": 361.1550756178, "w2": 612.9910412925, "q2": 249.2362284001}
R, K, J = (0.45, 0.80), (0.0185, 0.0110), (2.4e-4, 0.9e-4)
DAMPING, LOAD = (1e-5, 0.6e-5), (0.060, 0.020)
EMF, OHMS = 13.2, 0.12


def deck(inductances: tuple[str, str] | None) -> str:
    """With the windings' inductances, or with next to none: a small resistor in their place."""
    text = (HERE / "two_motors.cir").read_text(encoding="utf-8")
    if inductances is not None:
        return text.replace("$L1", inductances[0]).replace("$L2", inductances[1])
    return text.replace("Lw1 r1 l1 $L1 ic=0", "Rz1 r1 l1 1e-9").replace(
        "Lw2 r2 l2 $L2 ic=0", "Rz2 r2 l2 1e-9"
    )


def exact() -> dict[str, float]:
    """Speeds and angles at 1 s: linear equations, so exponentials of their matrix."""

    def system(running: tuple[bool, bool]) -> np.ndarray:
        """d/dt (w1, w2, q1, q2, 1)."""
        a = np.zeros((5, 5))
        total = 1.0 + OHMS * sum(1 / r for r, on in zip(R, running, strict=True) if on)
        for i in range(2):
            if not running[i]:
                continue
            a[i, 4] = (K[i] / R[i] * EMF / total - LOAD[i]) / J[i]
            a[i, i] = -(K[i] ** 2 / R[i] + DAMPING[i]) / J[i]
            for j in range(2):
                if running[j]:
                    a[i, j] += K[i] / R[i] * OHMS * K[j] / R[j] / total / J[i]
        a[2, 0] = a[3, 1] = 1.0
        return a

    state = expm(system((True, True)) * 0.7) @ expm(system((True, False)) * 0.3) @ np.array([0, 0, 0, 0, 1.0])
    return dict(zip(("w1", "w2", "q1", "q2"), state, strict=False))


def robot_with_two_winches() -> tuple[Plant, float]:
    """Drums of radius 1 mm: each radian of a motor winds in a millimetre."""
    r = 1e-3

    def winch(i: int) -> Words:
        return {
            "kind": "winch", "motors": f"1 x coil{i}", "gearing": [], "drum_diameter": f"{2 * r} m",
            "friction": "0 N", "load": f"{LOAD[i] / r!r} N", "damping": f"{DAMPING[i] / r**2!r} N*s/m",
            "travel": ["0 m", "9 m"], "moving_mass": "0 kg", "control": {"loop": "full_effort", "window": "1 mm"},
        }  # fmt: skip

    motors = {f"coil{i}": winding(R[i], K[i], J[i]) for i in range(2)}
    robot = a_robot({"one": winch(0), "two": winch(1)}, motors, (EMF, OHMS))
    plant = a_plant(robot, seconds=2.0, tolerance=1e-9)
    a_move(plant, "one", 9.0)
    plant.advance(300_000)
    a_move(plant, "two", 9.0)
    plant.advance(1_000_000)
    return plant, r


def test_kernel_against_the_matrix_exponential() -> None:
    right = exact()
    assert right["w1"] == pytest.approx(RIGHT["w1"], rel=1e-11)
    assert {key: right[key] for key in RIGHT} == pytest.approx(RIGHT, rel=1e-11)
    plant, r = robot_with_two_winches()
    for name, i in (("one", 1), ("two", 2)):
        assert plant.speed(name) / r == pytest.approx(right[f"w{i}"], rel=1e-7)
        assert float(plant.position(name)) / r == pytest.approx(right[f"q{i}"], rel=1e-7)


def test_kernel_against_the_circuit(need_engine: Callable[[str], None], tmp_path: Path) -> None:
    """Without inductance the two solve the same equations: 1e-6 at every instant."""
    need_engine("ngspice")
    rows = run_deck(deck(None), tmp_path, 1.0)
    plant, r = robot_with_two_winches()
    last = rows[-1]
    got = [plant.speed("one") / r, plant.speed("two") / r]
    got += [float(plant.position(name)) / r for name in ("one", "two")]
    assert got == pytest.approx(list(last[1:5]), rel=1e-6)
    for at in (0.05, 0.2, 0.29, 0.35, 0.6):
        row = np.array([np.interp(at, rows[:, 0], rows[:, column]) for column in range(1, 5)])
        us = round(at * 1e6)
        mine = [plant.speed("one", us) / r, plant.speed("two", us) / r]
        mine += [float(plant.position(name, us)) / r for name in ("one", "two")]
        assert mine == pytest.approx(list(row), rel=2e-5, abs=1e-6)  # the circuit's rows are joined by lines


def test_inductance_matters_little(need_engine: Callable[[str], None], tmp_path: Path) -> None:
    """0.20 and 0.35 mH shift the time to 200 rad by 2.5e-4 of it, 0.668314 for 0.668147 s: left out."""
    need_engine("ngspice")
    rows = run_deck(deck(("0.20m", "0.35m")), tmp_path, 1.0)
    with_it = float(np.interp(200.0, rows[:, 3], rows[:, 0]))
    assert with_it == pytest.approx(0.668314, abs=2e-6)
    plant, r = robot_with_two_winches()
    at = 1e-6 * next(
        us for us in range(660_000, 676_000, 10) if float(plant.position("one", us)) >= 200.0 * r
    )
    assert at == pytest.approx(0.668147, abs=1.1e-5)
    assert with_it / at - 1.0 == pytest.approx(2.5e-4, abs=3e-5)


TORN = """a winding behind an ideal switch that opens in no time
V1 a 0 12
S1 a b c 0 sw
L1 b d 1m
R1 d 0 0.5
Vc c 0 PWL(0 1 0.1 1 0.1000000001 0)
.model sw sw(vt=0.5 ron=1u roff=1e12)
.options reltol=1e-9 abstol=1e-16 vntol=1e-15 itl4=2 chgtol=1e-22
.tran 1u 0.2 0 1u uic
.control
run
set wr_singlescale
set wr_vecnames
wrdata out.txt v(b)
quit
.endc
.end
"""


def test_an_aborted_run_is_noticed(need_engine: Callable[[str], None], tmp_path: Path) -> None:
    """The engine exits with 0 after it has aborted and leaves a short file: that must not pass as numbers."""
    need_engine("ngspice")
    with pytest.raises(DeckFailed):
        run_deck(TORN, tmp_path, 0.2)


def test_a_short_file_is_noticed(need_engine: Callable[[str], None], tmp_path: Path) -> None:
    need_engine("ngspice")
    with pytest.raises(DeckFailed, match=r"1\.0\d* s instead of 1\.5 s"):
        run_deck(deck(None), tmp_path, 1.5)

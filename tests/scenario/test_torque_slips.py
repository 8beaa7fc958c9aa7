"""A stall torque written in another unit than its sheet has it: which one is named, on sheets of any gears' loss."""

from __future__ import annotations

from pathlib import Path

import pytest

from simbot.physics.kinds import KINDS
from simbot.scenario.check import robot_doubts
from simbot.scenario.load import load_robot

ROBOT = """\
simbot: 1
robot:
  name: Bench
  mass: 9 kg
  size: [400 mm, 400 mm]
  loop: 20 ms
  battery: {{states: {{only: {{open_circuit: 13 V, resistance: 0.1 ohm}}}}}}
  motors:
    m: {{voltage: 12 V, free_speed: 312 rpm, stall_torque: {torque}, stall_current: 9.2 A{more}}}
  mechanisms:
    hand: {{kind: measured, time: 0.3 s}}
"""
GEARED = ", free_current: 0.25 A, internal_ratio: 19.2, rotor_inertia: 9e-6 kg*m^2"


def told(folder: Path, torque: str, more: str = "") -> list[str]:
    path = folder / "robot.yaml"
    path.write_text(ROBOT.format(torque=torque, more=more), encoding="utf-8")
    return [remark.text for remark in robot_doubts(load_robot(path, KINDS)[0])]


# 12 V, 312 rpm, 9.2 A make 3.3 to 3.4 N m without any loss: 24.3 kgf cm, 2.38 N m, are 71 to 73 % of it, 19 are 56 %
@pytest.mark.parametrize("more", ["", GEARED])
@pytest.mark.parametrize(("torque", "slip"), [
    ("24.3 N*m", "N*m where kgf*cm was meant"), ("2.43e1 N*m", "N*m where kgf*cm was meant"),
    ("24.3 N*cm", "N*cm where kgf*cm was meant (a forgotten g)"), ("24.3 Nm", "N*m where kgf*cm was meant"),
    ("19 N*m", "N*m where kgf*cm was meant"), ("34 N*m ± 5 %", "N*m where kgf*cm was meant"),
    ("2.38 kgf*m", "kgf*m where N*m was meant"), ("2.38 kg*cm", "kgf*cm where N*m was meant"),
    ("0.243 N*m", "N*m where kgf*m was meant (a forgotten g)"), ("238 N*m", "N*m where N*cm was meant"),
    ("24.3 kgf*m", "kgf*m where kgf*cm was meant"), ("0.243 kgf*cm", "kgf*cm where kgf*m was meant"),
])  # fmt: skip
def test_the_unit_that_was_meant_is_named(torque: str, slip: str, more: str, tmp_path: Path) -> None:
    (text,) = told(tmp_path, torque, more)
    assert text.endswith(f"{slip}?") and torque.partition("±")[0].strip() in text


@pytest.mark.parametrize("more", ["", GEARED])
@pytest.mark.parametrize(
    "torque", ["24.3 kgf*cm", "2.38 N*m", "19 kgf*cm", "34 kgf*cm", "38 kgf*cm", "45 kgf*cm", "8 kgf*cm"]
)
def test_what_is_no_slip_names_no_unit(torque: str, more: str, tmp_path: Path) -> None:
    assert not [text for text in told(tmp_path, torque, more) if "was meant" in text]


def test_a_torque_far_off_in_another_unit_names_what_it_may_be(tmp_path: Path) -> None:
    """215 lbf*in are 24.3 N m."""
    (text,) = told(tmp_path, "215 lbf*in")
    assert text.endswith("N*m where kgf*cm was meant, or kgf*m where N*m was meant?")

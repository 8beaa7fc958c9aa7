"""What follows from a robot's values without a run, for `simbot check`: what a claw holds, how a wheel spins up.

Needs no compiled code.
"""

from __future__ import annotations

from collections.abc import Iterator

from simbot.physics.build import completed
from simbot.physics.kinds import claw, cylinder
from simbot.physics.tables import GRAVITY
from simbot.scenario.model import MechanismSpec, Remark, Robot


def consequences(robot: Robot) -> list[Remark]:
    """Remarks of kind "follows" (and doubts, where what follows is not what is wanted), in file order."""
    filled, _ = completed(robot)
    remarks = []
    for spec in filled.mechanisms.values():
        for kind, key, text in _of(spec, filled):
            line = spec.lines.get(key, spec.line)
            remarks.append(Remark(kind, str(robot.path), line, f"robot.mechanisms.{spec.name}.{key}", text))
    return remarks


def _of(spec: MechanismSpec, robot: Robot) -> Iterator[tuple[str, str, str]]:
    if spec.kind == "claw":
        yield from _grips(spec, robot)
    elif spec.kind == "cylinder":
        yield from _fills(spec)


def _fills(spec: MechanismSpec) -> Iterator[tuple[str, str, str]]:
    """How often a cylinder moves on one fill, and how hard it pushes."""
    p = spec.values
    number = cylinder.strokes(p)
    most = min(float(p["supply"]), float(p["regulator"] or p["supply"]))
    area = cylinder.volume(p, True) / float(p["stroke"])
    text = (
        f"{number} strokes on one fill, out and in by turns; outwards it pushes {most * area:.3g} N at first and "
        f"{float(p['least_pressure']) * area:.3g} N at its least pressure; vent the air before hands come near it"
    )
    yield "follows" if number else "doubt", "tank", text


def supply(spec: MechanismSpec, robot: Robot) -> float:
    """Volts that feed it at rest: its rail's, or the weakest battery's."""
    rail = spec.values.get("rail")
    if rail is not None:
        return float(robot.rails[rail].voltage)
    return min(float(state.open_circuit) for state in robot.battery)


def _grips(spec: MechanismSpec, robot: Robot) -> Iterator[tuple[str, str, str]]:
    """For each named position that closes on the element: force, what it holds, current as long as it presses."""
    p, volts = spec.values, supply(spec, robot)
    for word, target in (p["named"] or {}).items():
        rest = claw.pressing(p, target, volts)
        if rest is None:
            continue
        carried = int(p["faces"]) * float(p["grip"]) * rest.force
        amps = int(p["count"]) * float(p["stall_current"]) * rest.effort * volts / float(p["at"])
        text = (
            f"{word} presses with at least {rest.force:.3g} N on each face, carries up to {carried / GRAVITY:.3g} kg "
            f"at rest and draws {amps:.2g} A as long as it presses"
        )
        kind = "follows"
        if p["element_mass"] is not None:
            spare = carried / float(p["element_mass"]) - GRAVITY
            if spare < 0.0:
                kind, more = "doubt", "its element slips"
            else:
                more = f"its element is held up to an acceleration of {spare:.3g} m/s^2 upwards"
            text = f"{text}; {more}"
        yield kind, "named", text

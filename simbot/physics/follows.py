"""What follows from a robot's values without a run, for `simbot check`: what a claw holds, how a wheel spins up.

Needs no compiled code.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import degrees, inf, log, pi, radians, sqrt
from typing import Any

import numpy as np

from simbot.physics import encoder
from simbot.physics import layout as L
from simbot.physics.air import ATMOSPHERE
from simbot.physics.build import DRIVES, build_driven, completed
from simbot.physics.kinds import KINDS, claw, cylinder, drive, flywheel, mecanum, roller
from simbot.physics.route import LEG_END
from simbot.physics.tables import GRAVITY, look_up
from simbot.scenario.counts import DERIVED
from simbot.scenario.echo import shown
from simbot.scenario.model import (
    ActStep,
    BatteryState,
    MechanismSpec,
    PickStep,
    PlaceStep,
    Plan,
    Remark,
    Robot,
)
from simbot.scenario.plan_file import all_steps
from simbot.scenario.unit_table import resolved

TAKES_OVER = (
    "a drive command that takes over while it moves keeps the speed along its new line; where more than "
    f"{LEG_END:g} m/s would be left across it, or it has to turn first, it brakes first with its motors shorted"
)
OVERFED = (
    1.25  # of the volts of a servo's sheet; 5 V and 6 V on one sheet are common (common practice, no source)
)
RPM = pi / 30.0  # rad/s
STRAY = 2.0  # m: a way that wheels of unlike size are told for


def consequences(robot: Robot) -> list[Remark]:
    """Remarks of kind "follows" (and doubts, where what follows is not what is wanted), in file order."""
    filled, _ = completed(robot)
    remarks = []
    for spec in filled.mechanisms.values():
        for kind, key, text in _of(spec, filled):
            line = spec.lines.get(key, spec.line)
            remarks.append(Remark(kind, str(robot.path), line, f"robot.mechanisms.{spec.name}.{key}", text))
    return remarks


def idle_jaws(plan: Plan) -> list[Remark]:
    """Doubts about picks whose claw does not come to the element, and places whose claw does not leave it."""
    remarks = []
    for step in all_steps(plan):
        if not isinstance(step, ActStep) or isinstance(step.by.target, str):
            continue
        spec = plan.robot.mechanisms[step.by.mechanism]
        if spec.kind != "claw":
            continue
        meets = claw.meets(spec.values, step.by.target)
        contact = f"meets its element at {spec.values['contact'].text}"
        if isinstance(step, PlaceStep) and meets:
            key, text = (
                "place",
                f"the {spec.name} {contact} and still presses at {step.by.text}: it lets nothing go",
            )
        elif not isinstance(step, PlaceStep) and not meets:
            key = "pick" if isinstance(step, PickStep) else "hand_over"
            text = f"the {spec.name} {contact} and does not come to it at {step.by.text}: a real one holds nothing"
        else:
            continue
        remarks.append(Remark("doubt", str(plan.path), step.line, key, text))
    return remarks


def _of(spec: MechanismSpec, robot: Robot) -> Iterator[tuple[str, str, str]]:
    if spec.values.get("counts") is not None and spec.values["counts"].text == DERIVED:
        counts = shown(spec.values["counts"], resolved("counts_scale", spec.coordinate))
        ahead = ", straight ahead" if spec.kind in DRIVES else ""
        yield "follows", "encoder", f"{counts} {DERIVED}{ahead}: what is written in counts goes by that"
    if spec.servo is not None:
        yield from _overfed(spec, robot)
    if spec.servo is not None and spec.servo["count"] == 2:
        yield "follows", "count" if "count" in spec.lines else "servo", _fight(spec.servo)
    if spec.kind == "claw":
        yield from _grips(spec, robot)
    elif spec.kind == "cylinder":
        yield from _fills(spec)
    elif spec.kind == "flywheel":
        yield from _throws(spec, robot)
    elif spec.kind in DRIVES:
        yield "follows", "control", TAKES_OVER
        yield from _axle_loads(spec, robot)
        if spec.values["wheel_mismatch"]:
            yield "follows", "wheel_mismatch", _strays(spec)
    elif spec.values.get("backlash"):
        yield from _play(spec, robot)
    elif spec.kind == "roller" and spec.values["pull_in"] is not None:
        yield from _pulls_in(spec, robot)


def _overfed(spec: MechanismSpec, robot: Robot) -> Iterator[tuple[str, str, str]]:
    """A servo on clearly more volts than its sheet is for, on the battery or on a rail."""
    servo = spec.servo
    assert servo is not None
    at, most = float(servo["at"]), max(float(state.open_circuit) for state in robot.battery)
    fed = most if spec.rail is None else min(float(robot.rails[spec.rail].voltage), most)
    if fed <= OVERFED * at:
        return
    where = (
        "it has no rail and hangs straight on the battery" if spec.rail is None else f"{spec.rail} feeds it"
    )
    mend = "name its `rail`" if spec.rail is None else "another `rail`"
    key = next((key for key in ("rail", "servo", "at") if key in spec.lines), "at")
    yield (
        "doubt",
        key,
        f"{where}: up to {fed:.3g} V, and its sheet is for {at:.3g} V, so that a run gives it {fed / at:.2g} times its "
        f"sheet's torque, speed and current; on that a real one burns: {mend}, or `at` the volts it is made for",
    )


def _fight(servo: Mapping[str, Any]) -> str:
    """Two loops on one axle, set a degree apart, rest between their targets: each pushes its half of that degree."""
    share = radians(0.5) / float(servo["band"])
    drawn = 2.0 * share * float(servo["stall_current"])
    return (
        f"two servos on one axle fight where they are not set alike: for each degree between them either pushes "
        f"against the other with {share:.0%} of its stall torque, and both together draw {drawn:.2g} A while it stands"
    )


def _strays(spec: MechanismSpec) -> str:
    """Where it ends whose counts say straight on: its larger wheels drive it round a circle.

    Heading D d/B and D² d/(2 B) aside after a way D (Lynch and Park, Modern Robotics, section 13.4, odometry, from
    memory); rollers turn it about the sum of wheelbase and track.
    """
    p = spec.values
    base = float(p["track"]) + (float(p["wheelbase"] or 0.0) if spec.kind in ("mecanum", "x_drive") else 0.0)
    turned = STRAY * float(p["wheel_mismatch"]) / base
    return (
        f"after {STRAY:g} m straight on by its counts it has turned by {degrees(turned):.3g} deg and is "
        f"{500.0 * STRAY * turned:.3g} mm aside; it goes on from there until something sets it right"
    )


def _axle_loads(spec: MechanismSpec, robot: Robot) -> Iterator[tuple[str, str, str]]:
    """What each axle carries at rest, speeding up and braking as hard as the grip allows: which wheels lose load."""
    p, module = spec.values, KINDS[spec.kind]
    if not p["wheelbase"] or (p["centre_height"] is None and not p.get("centre_ahead")):
        return
    mass = float(robot.mass)
    groups = module.straight(p, mass, p["motors"].count, 0.0).groups
    ahead = sum(float(group.most) for group in groups) / mass
    back = sum(float(group.most if group.most_back is None else group.most_back) for group in groups) / mass
    told = []
    for what, acceleration in (
        ("at rest", 0.0),
        (f"speeding up at the {ahead:.3g} m/s^2 that its grip allows", ahead),
        (f"braking at {back:.3g} m/s^2", -back),
    ):
        front = drive.on_front(p, acceleration)
        told.append(f"{what} its front wheels carry {front:.0%} and its rear wheels {1.0 - front:.0%}")
    text = f"{'; '.join(told)} of the {mass * GRAVITY:.4g} N that it weighs"
    if p.get("driven", "all") == "all" and p["centre_height"]:
        text += _first_to_slip(spec)
    yield "follows", "centre_height" if p["centre_height"] is not None else "centre_ahead", text


def _first_to_slip(spec: MechanismSpec) -> str:
    """Equal motors of its own on each axle: F/2 = mu N of the axle that loses load, N = s W - F h/L (derivation)."""
    p, rollers = spec.values, spec.kind in ("mecanum", "x_drive")
    grip = float(p["grip"]) * (sqrt(0.5) if rollers else 1.0)
    told = []
    for what, share in (("speeding up", drive.on_front(p)), ("braking", 1.0 - drive.on_front(p))):
        lever = grip * float(p["centre_height"]) / float(p["wheelbase"])
        told.append(f"{what} at {2.0 * grip * share * GRAVITY / (1.0 + 2.0 * lever):.3g} m/s^2")
    if rollers and mecanum.own_wheels(p, p["motors"].count):
        return (
            f"; the lighter wheels begin to slip {' and '.join(told)}; from there until all slip a run pushes "
            "up to 4 % too hard"
        )
    return f"; axles with motors of their own, equal ones, begin to slip {' and '.join(told)}, and no run shows that"


def _play(spec: MechanismSpec, robot: Robot) -> Iterator[tuple[str, str, str]]:
    """How long its motors alone take to cross the play at full effort."""
    built, volts = build_driven(spec, robot, 0.0), supply(spec, robot)
    row, q = built.groups[0], built.reduced.low
    _, _, _, factor, _ = look_up(built.reduced, np.array([q]))
    play = float(spec.values["backlash"])
    found = encoder.crossing_of(row, float(row[L.G_RATIO] * factor[0]), play, 1.0, volts, 0.0)
    if found is None:
        return
    text = (
        f"where its load does not press it to one side, its motors alone cross the play at every reversal, in at "
        f"least {1e3 * found.time:.3g} ms, before the load follows"
    )
    yield "follows", "backlash", text


def _fills(spec: MechanismSpec) -> Iterator[tuple[str, str, str]]:
    """How often a cylinder moves on one fill, and how hard it pushes."""
    p = spec.values
    if p["tank_of"] is not None:
        return
    number, times = cylinder.strokes(p), None
    if p["conductance"] is not None:
        full, room = float(p["supply"]) + ATMOSPHERE, float(p["tank"])
        times = [cylinder.seconds(p, full, outwards, room) for outwards in (True, False)]
        number = min([number, *(done for done, time in enumerate(times) if time == inf)])
    most = min(float(p["supply"]), float(p["regulator"] or p["supply"]))
    area, least = cylinder.volume(p, True) / float(p["stroke"]), cylinder.least_pressure(p, True)
    dead = cylinder.dead_volume(p)
    text = (
        f"{number} stroke{'s' * (number != 1)} on one fill, out and in by turns, {1e6 * dead:.3g} ml of hose and end "
        f"space filled on either side; outwards it pushes {most * area:.3g} N at first and {least * area:.3g} N at its "
        "least pressure; vent the air before hands come near it"
    )
    yield "follows" if number else "doubt", "tank", text
    if times is not None:
        yield "follows" if max(times) < inf else "doubt", "conductance", _stroke_times(*times)


def _stroke_times(out: float, back: float) -> str:
    if max(out, back) < inf:
        return (
            f"on a full tank a stroke takes {out:.3g} s outwards and {back:.3g} s inwards, its valve included"
        )
    if min(out, back) == inf:
        return "on a full tank it gets all the way neither outwards nor inwards"
    way, other = ("outwards", "inwards") if out == inf else ("inwards", "outwards")
    return (
        f"on a full tank it does not get all the way {way}; a stroke {other} takes {min(out, back):.3g} s, its valve "
        "included"
    )


def supply(spec: MechanismSpec, robot: Robot) -> float:
    """Volts that feed it at rest: its rail's, or the weakest battery's."""
    rail = spec.rail
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
        carried = int(p["pressing_faces"]) * float(p["grip"]) * rest.force
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


def spin_up(spec: MechanismSpec, robot: Robot, battery: BatteryState) -> flywheel.SpinUp:
    """Full effort on a battery that feeds nothing else, from M w' = F0 - b w; current limits are left out.

    F0 = G n r eta (k E/(R + n R_b) - friction) - friction of the wheel, b = G^2 n r eta k^2/(R + n R_b) + damping.
    """
    built = build_driven(spec, robot, 0.0)
    row, wheel = built.groups[0], built.reduced
    n, ratio, constant = row[L.G_N], row[L.G_RATIO], row[L.G_K]
    ohms = row[L.G_R] + n * float(battery.resistance)
    passed = n * ratio * row[L.G_RF] / row[L.G_FWD]
    push = passed * (constant * float(battery.open_circuit) / ohms - row[L.G_TF]) - wheel.friction
    drag = passed * ratio * constant**2 / ohms + wheel.damping
    mass = wheel.segments[0].mass + ratio**2 * n * row[L.G_J] / row[L.G_FWD]
    return flywheel.SpinUp(max(float(push / drag), 0.0), float(mass / drag))


def _limited(spec: MechanismSpec) -> str:
    limits = (spec.values["current_limit"], spec.values["battery_current_limit"])
    return "" if limits == (None, None) else " (its current limit left out)"


def _throws(spec: MechanismSpec, robot: Robot) -> Iterator[tuple[str, str, str]]:
    """Spin-up on the weakest battery, what a throw takes, and the way back to the speed asked for."""
    p = spec.values
    asked = float(p["speed"])
    up, battery = max(
        ((spin_up(spec, robot, state), state) for state in robot.battery),
        key=lambda each: (each[0].time(0.0, asked), -each[0].final),
    )
    on = f"on {battery.name}, at full effort{_limited(spec)}"
    if up.time(0.0, asked) == inf:
        yield "doubt", "speed", f"it never gets there: {on} it ends at {up.final / RPM:.4g} rpm"
        return
    built = build_driven(spec, robot, 0.0)
    row = built.groups[0]
    turning = built.reduced.segments[0].mass + row[L.G_RATIO] ** 2 * row[L.G_N] * row[L.G_J]
    left = flywheel.left_after_throw(p, float(turning))
    rim = float(p["exit_share"]) * left * asked * float(p["diameter"]) / 2.0
    yield (
        "follows",
        "speed",
        f"{on}: {up.time(0.0, asked):.3g} s from rest to {asked / RPM:.4g} rpm, {up.tau * log(20.0):.3g} s to 95 % of "
        f"the {up.final / RPM:.4g} rpm it ends at; a throw at {rim:.3g} m/s takes {1.0 - left:.2%} of its speed, "
        f"which is back {up.time(left * asked, asked):.2g} s later",
    )


def _pulls_in(spec: MechanismSpec, robot: Robot) -> Iterator[tuple[str, str, str]]:
    p = spec.values["pull_in"]
    up, battery = min(
        ((spin_up(spec, robot, state), state) for state in robot.battery), key=lambda each: each[0].final
    )
    if up.final <= 0.0:
        yield "doubt", "pull_in", f"on {battery.name} it does not turn"
        return
    rim = up.final * float(p["diameter"]) / 2.0
    seconds = roller.pull_in_time(p, up.final)
    yield (
        "follows",
        "pull_in",
        f"on {battery.name}, turning freely at full effort, its rim runs at {rim:.3g} m/s and an element is in "
        f"after {seconds:.3g} s",
    )

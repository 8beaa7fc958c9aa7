"""Effort for a time on the field, and lines that stop at points on their way."""

from __future__ import annotations

from math import atan2, cos, exp, hypot, log, pi

import pytest
from builders import SMALL, Words, a_plant, a_robot, a_run
from scipy.integrate import solve_ivp
from test_drive import FELT, FORCE, GEARMOTOR, MASS, SLOPE, WHEEL, G, distance, drive

from simbot.physics.move import DriveFor, DriveTo
from simbot.physics.plant import Plant
from simbot.scenario.errors import ScenarioError
from simbot.scenario.model import Pose

LOOP = {"loop": "position", "p": "6 /m", "d": "0.6 s/m", "window": "20 mm", "slower_than": "60 mm/s"}
STATES = [(11.5, 0.728833), (12.5, 0.797560), (13.5, 0.866286)]


def on_the_field(wheels: Words, volts: float = 12.0, heading: float = 0.0) -> Plant:
    robot = a_robot({"drive": wheels}, {"wheel": GEARMOTOR}, (volts, 0.0), mass="12 kg")
    return a_plant(robot, pose=Pose(2.0, 2.0, heading))


def braked(speed: float, drag: float) -> float:
    """Way to rest with the motors shorted: M v' = -b v - F."""
    return FELT / SLOPE * (speed - drag / SLOPE * log(1.0 + SLOPE * speed / drag))


@pytest.mark.parametrize("kind", ["tank", "mecanum", "swerve"])
@pytest.mark.parametrize(("volts", "right"), STATES)
def test_a_second_of_effort(kind: str, volts: float, right: float) -> None:
    """60 % for 1 s against 8 N, then shorted: 8 % more volts go 8.6 % further, and the rest is the braking."""
    plant = on_the_field(drive(kind, friction="8 N"), volts)
    move = plant.command("drive", DriveFor(0.6, 0.8, 0.0, 1_000_000))
    plant.advance(1_000_000)
    assert plant.pose().x - 2.0 == pytest.approx(right, abs=1e-6)
    speed = (FORCE * 0.6 * volts / 12.0 - 8.0) / SLOPE * (1.0 - exp(-SLOPE / FELT))
    assert plant.speed("drive") == pytest.approx(speed, rel=1e-6)
    plant.advance(3_000_000)
    rest = right + braked(speed, 8.0)
    assert plant.pose().x - 2.0 == pytest.approx(rest, abs=2e-6)
    assert (move.arrival_us() is not None) == (abs(rest - 0.8) <= 0.02)


def test_back_and_in_a_direction() -> None:
    """The same way whichever it goes: back along its heading, and aside on wheels that can."""
    for kind, by, direction in (("tank", -0.8, 0.0), ("mecanum", 0.8, pi / 2.0), ("swerve", -0.8, 0.0)):
        plant = on_the_field(drive(kind, friction="8 N"), 12.5, heading=0.4)
        plant.command("drive", DriveFor(0.6, by, direction, 1_000_000))
        plant.advance(1_000_000)
        pose, way = plant.pose(), 0.4 + direction + (pi if by < 0.0 else 0.0)
        assert hypot(pose.x - 2.0, pose.y - 2.0) == pytest.approx(0.797560, abs=1e-6)
        assert cos(atan2(pose.y - 2.0, pose.x - 2.0) - way) == pytest.approx(1.0)
        assert pose.heading == pytest.approx(0.4)


def test_steering_takes_of_the_time() -> None:
    """150 ms of steering and the rest of a tick: 840 of 1000 ms are left to drive, of 100 ms nothing."""
    plant = on_the_field(drive("swerve", friction="8 N"), 12.5)
    plant.command("drive", DriveFor(0.6, 0.8, pi / 2.0, 1_000_000))
    plant.advance(1_000_000)
    assert plant.pose().y - 2.0 == pytest.approx(distance(12.5, 0.6, 8.0, 0.84), abs=1e-6)
    short = on_the_field(drive("swerve", friction="8 N"), 12.5)
    short.command("drive", DriveFor(0.6, 0.8, pi / 2.0, 100_000))
    short.advance(1_000_000)
    assert short.pose() == Pose(2.0, 2.0, 0.0)


def test_a_turn_for_a_time() -> None:
    """Half effort for 0.3 s, against the scrub of a tank's wheels, clockwise too."""
    scrub = 0.5 * 3.0 * MASS * G * 0.30 / 2.0 * 0.2
    inertia = 0.32 + 4 * WHEEL / 0.048**2 * 0.18**2

    def slope(_t: float, y: list[float]) -> list[float]:
        return [y[1], (FORCE * 0.18 * 0.5 - SLOPE * 0.18**2 * y[1] - scrub) / inertia]

    right = solve_ivp(slope, (0.0, 0.3), [0.0, 0.0], rtol=1e-11, atol=1e-12).y[0, -1]
    for sign in (1.0, -1.0):
        plant = on_the_field(drive("tank", scrub="10 %"))
        plant.command("drive", DriveFor(0.5, sign * pi / 2.0, None, 300_000))
        plant.advance(300_000)
        assert plant.pose().heading == pytest.approx(sign * right, abs=5e-6)
        assert (plant.pose().x, plant.pose().y) == (2.0, 2.0)


def test_from_a_file() -> None:
    """The step as a plan writes it, timed by the wait behind it, on a battery that is too weak for it."""
    steps = [{"effort": {"drive": "60 %", "toward": "0.87 m", "for": "1 s"}}, {"wait": "1500 ms"},
             {"drive": ["2 m", "2 m", "0 deg"]}, {"wait": "arrival"}]  # fmt: skip
    wheels = drive("tank", friction="8 N", control=LOOP)
    verdicts = []
    for volts in (11.5, 12.5):
        result = a_run(steps, {"drive": wheels}, {"wheel": GEARMOTOR}, (volts, 0.0), mass="12 kg")
        verdicts.append(result.moves[0].arrival_us is not None)
    speed = (FORCE * 0.6 * 12.5 / 12.0 - 8.0) / SLOPE * (1.0 - exp(-SLOPE / FELT))
    assert abs(0.797560 + braked(speed, 8.0) - 0.87) < 0.02
    assert verdicts == [False, True]


@pytest.mark.parametrize("then", [[], [{"drive": ["2 m", "2 m", "0 deg"]}, {"wait": "arrival"}]])
def test_how_far_it_misses_is_told(then: list[Words]) -> None:
    """By the closed form, whether another command comes later or not; and of what arrives nothing."""
    steps = [{"effort": {"drive": "60 %", "toward": "-0.87 m", "for": "1 s"}}, {"wait": "1500 ms"}, *then]
    wheels = drive("tank", friction="8 N", control=LOOP)
    for volts, right in STATES:
        result = a_run(steps, {"drive": wheels}, {"wheel": GEARMOTOR}, (volts, 0.0), mass="12 kg")
        told = [one.text for one in result.findings if one.kind == "never_arrived"]
        rest = right + braked((FORCE * 0.6 * volts / 12.0 - 8.0) / SLOPE * (1.0 - exp(-SLOPE / FELT)), 8.0)
        if abs(rest - 0.87) <= 0.02:
            assert told == []
            continue
        [text] = told
        how = "short" if rest < 0.87 else "too far"
        numbers = text.split(" goes ")[1].split()
        assert text.startswith("step 1 (drive 60 % toward -0.87 m for 1000 ms) goes ") and text.endswith(
            f" m {how}"
        )
        assert float(numbers[0]) == pytest.approx(-rest, abs=1e-4)
        assert float(numbers[2]) == pytest.approx(abs(rest - 0.87), abs=1e-4)


def test_how_far_a_turn_goes() -> None:
    plant = on_the_field(drive("tank", scrub="10 %"), heading=0.4)
    move = plant.command("drive", DriveFor(0.5, -pi / 2.0, None, 300_000))
    went, meant = move.went()
    plant.advance(3_000_000)
    assert (went, meant) == (pytest.approx(plant.pose().heading - 0.4), pytest.approx(-pi / 2.0))


# --- points on the way ----------------------------------------------------------------------------


def arrival(plant: Plant, goal: Pose, *through: tuple[float, float]) -> float:
    at = plant.command("drive", DriveTo(goal, through)).arrival_us()
    assert at is not None
    return at * 1e-6


def tick(seconds: float) -> float:
    return -(-round(seconds * 1e6) // 20_000) * 0.02


@pytest.mark.parametrize(("kind", "steering"), [("mecanum", 0.0), ("x_drive", 0.0), ("swerve", 0.16)])
def test_a_corner_is_two_lines(kind: str, steering: float) -> None:
    """It stops near the point, is seen there at a tick, and goes on from where it is; steered wheels turn first."""
    wheels = drive(kind, control=LOOP)
    alone = on_the_field(wheels)
    first = arrival(alone, Pose(3.0, 2.0, 0.0))
    alone.advance(round(tick(first) * 1e6))
    left = 3.0 - alone.pose().x
    assert abs(left) < 0.02
    second = arrival(on_the_field(wheels), Pose(2.0 + left, 2.8, 0.0))  # steered from straight ahead too
    both = on_the_field(wheels)
    took = arrival(both, Pose(3.0, 2.8, 0.0), (3.0, 2.0))
    assert took == pytest.approx(
        tick(first) + second, abs=5e-5
    )  # what speed it keeps of the first line is in it
    assert (second > 0.8 + steering) or not steering


def test_a_tank_turns_at_its_points() -> None:
    """A square corner: line, turn, line; the heading at a point is that of its line."""
    wheels = drive("tank", control=LOOP, scrub="1 %")
    plant = on_the_field(wheels)
    took = arrival(plant, Pose(3.0, 3.0, pi / 2.0), (3.0, 2.0))
    parts = tick(arrival(on_the_field(wheels), Pose(3.0, 2.0, 0.0)))
    parts += tick(arrival(on_the_field(wheels), Pose(2.0, 2.0, pi / 2.0)))
    parts += arrival(on_the_field(wheels, heading=pi / 2.0), Pose(2.0, 3.0, pi / 2.0))
    assert took == pytest.approx(parts, abs=1e-5)
    plant.advance(round(took * 1e6))
    assert (plant.pose().x, plant.pose().heading) == pytest.approx((3.0, pi / 2.0), abs=0.04)


@pytest.mark.parametrize("kind", ["mecanum", "x_drive", "swerve", "tank"])
def test_it_does_not_jump_from_one_line_to_the_next(kind: str) -> None:
    """Where a leg leaves it is where the next one begins, whatever its window; and it ends where it should."""
    wheels = drive(kind, control={**LOOP, "window": "60 mm", "slower_than": "200 mm/s"}, scrub="1 %")
    if kind != "tank":
        wheels.pop("scrub")
    plant = on_the_field(wheels)
    goal = Pose(3.0, 3.0, pi / 2.0)
    took = arrival(plant, goal, (3.0, 2.0))
    plant.advance(round(took * 1e6) + 1_000_000)
    joints = [round(begin * 1e6) for begin, _ in plant._route.legs[2:]]  # type: ignore[union-attr]
    assert joints
    left = []
    for at in joints:
        before, after = plant.pose(at - 1), plant.pose(at + 1)
        assert hypot(after.x - before.x, after.y - before.y) < 1e-5
        left.append(hypot(before.x - 3.0, before.y - 2.0))
    assert left[0] > 0.003  # it had not quite come to the point
    assert hypot(plant.pose().x - goal.x, plant.pose().y - goal.y) < 0.06


def test_a_point_where_it_stands_changes_nothing() -> None:
    for kind in ("tank", "mecanum"):
        wheels = drive(kind, control=LOOP)
        plain = arrival(on_the_field(wheels), Pose(3.0, 2.0, 0.0))
        assert arrival(on_the_field(wheels), Pose(3.0, 2.0, 0.0), (2.0, 2.0)) == plain


def test_floor_of_lines_through_points() -> None:
    """The sum of its lines' floors; and below the arrival."""
    wheels = drive("mecanum", control=LOOP)
    whole = on_the_field(wheels).command("drive", DriveTo(Pose(3.0, 3.0, 0.0), ((3.0, 2.0),)))
    parts = [
        on_the_field(wheels).command("drive", DriveTo(goal)).floor_s()
        for goal in (Pose(3.0, 2.0, 0.0), Pose(2.0, 3.0, 0.0))
    ]
    floor, at = whole.floor_s(), whole.arrival_us()
    assert floor is not None and at is not None and None not in parts
    assert floor == pytest.approx(sum(each for each in parts if each is not None), abs=2e-6)
    assert floor < at * 1e-6


SLIDE = {"kind": "slide", "motors": "1 x small", "gearing": [{"ratio": 20, "efficiency": "80 %"}],
         "drum_diameter": "38 mm", "moving_mass": "1 kg", "friction": "4 N", "travel": ["0 m", "0.6 m"],
         "control": LOOP}  # fmt: skip
TIMED, GOAL = {"drive": "60 %", "for": "1 s"}, {"drive": ["3 m", "2 m", "0 deg"]}


@pytest.mark.parametrize(
    ("kind", "step", "says"),
    [
        ("tank", {"effort": {**TIMED, "toward": "0 m"}}, "nowhere to go"),
        ("tank", {"effort": {**TIMED, "toward": "1 kg"}}, "toward"),
        ("tank", {"effort": {**TIMED, "toward": "1 m", "direction": "90 deg"}}, "along its heading only"),
        ("mecanum", {"effort": {**TIMED, "toward": "90 deg", "direction": "90 deg"}}, "turns in place"),
        ("mecanum", {"effort": {"lift": "60 %", "for": "1 s", "toward": "0.3 m", "direction": "9 deg"}}, "is no drive"),
        ("mecanum", {**GOAL, "through": [["3 m", "2 m", "0 deg"]]}, "a point has two values"),
        ("mecanum", {**GOAL, "through": [["30 m", "2 m"]]}, "outside the field"),
        ("mecanum", {**GOAL, "through": "rack"}, "a list is wanted"),
        ("mecanum", {**GOAL, "through": [["3 m", "2 s"]]}, "through.0.1"),
    ],
)  # fmt: skip
def test_mistakes(kind: str, step: Words, says: str) -> None:
    with pytest.raises(ScenarioError) as told:
        a_run(
            [step, {"wait": "1 s"}],
            {"drive": drive(kind), "lift": SLIDE},
            {"wheel": GEARMOTOR, "small": SMALL},
        )
    assert says in str(told.value)
    assert "plan.yaml:" in str(told.value)


def test_a_turn_needs_the_track() -> None:
    wheels = drive("tank")
    del wheels["track"]
    step = {"effort": {"drive": "60 %", "toward": "90 deg", "for": "1 s"}}
    with pytest.raises(ScenarioError, match="track"):
        a_run([step, {"wait": "1 s"}], {"drive": wheels}, {"wheel": GEARMOTOR})
    assert a_run([{"effort": {"drive": "60 %", "toward": "1 m", "for": "1 s"}}, {"wait": "1 s"}],
                 {"drive": wheels}, {"wheel": GEARMOTOR}).moves  # fmt: skip

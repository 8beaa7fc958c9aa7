"""Small plans for tests, written as lists of steps; a step's line is given where it matters."""

from __future__ import annotations

from itertools import count
from pathlib import Path

from simbot.scenario.model import (
    BatteryState,
    DriveStep,
    Element,
    Endgame,
    Game,
    Goal,
    HandOverStep,
    MechanismSpec,
    MoveStep,
    Need,
    Period,
    PickStep,
    Place,
    PlaceStep,
    Plan,
    Pose,
    RepeatStep,
    Robot,
    RunStep,
    SequenceStep,
    Start,
    Station,
    Step,
    TogetherStep,
    WaitStep,
)

HERE = Pose(1.0, 1.0, 0.0)
LINES = count(1)


def seconds(value: float) -> int:
    return round(value * 1e6)


def sequence(*steps: Step) -> SequenceStep:
    return SequenceStep(next(LINES), steps)


def move(**goals: float | str) -> MoveStep:
    line = next(LINES)
    return MoveStep(line, tuple(Goal(name, to, str(to), line) for name, to in goals.items()))


def drive(x: float) -> DriveStep:
    return DriveStep(next(LINES), "drive", f"x {x}", Pose(x, 0.0, 0.0), 0.0)


def wait(duration: float | None = None, **more: object) -> WaitStep:
    """A wait of some seconds; without one, for arrival."""
    if duration is None and "until" not in more:
        more["arrival"] = True
    at_most, until = more.pop("at_most", None), more.pop("until", None)
    return WaitStep(
        next(LINES),
        duration_us=None if duration is None else seconds(duration),
        at_most_us=None if at_most is None else seconds(at_most),
        until_us=None if until is None else seconds(until),
        **more,  # type: ignore[arg-type]
    )


def need(mechanism: str, target: float | str | Pose, within: float = 0.0, moving: bool = False) -> Need:
    return Need(mechanism, target, f"{target}", within, None, moving, 0)


def _act(by: tuple[str, float | str], needs: tuple[Need, ...], otherwise: str) -> dict[str, object]:
    line = next(LINES)
    return {
        "line": line, "by": Goal(*by, str(by[1]), line), "needs": needs, "otherwise": otherwise,
        "succeeds": 1.0, "tries": 1, "each_us": None, "measured": (),
    }  # fmt: skip


def pick(*needs: Need, by: tuple[str, float | str] = ("hand", "shut"), station: str = "tray") -> PickStep:
    return PickStep(**_act(by, needs, "missed"), element="peg", station=station)  # type: ignore[arg-type]


def place(*needs: Need, by: tuple[str, float | str] = ("hand", "open"), into: str = "board",
          number: int | None = None, otherwise: str = "dropped") -> PlaceStep:  # fmt: skip
    return PlaceStep(**_act(by, needs, otherwise), place=into, count=number)  # type: ignore[arg-type]


def hand_over(*needs: Need, by: tuple[str, float | str], giver: str) -> HandOverStep:
    return HandOverStep(**_act(by, needs, "dropped"), giver=giver)  # type: ignore[arg-type]


def together(*branches: SequenceStep) -> TogetherStep:
    return TogetherStep(next(LINES), branches)


def repeat(*steps: Step, times: int | None = None) -> RepeatStep:
    return RepeatStep(next(LINES), times, sequence(*steps))


def run_routine(name: str) -> RunStep:
    return RunStep(next(LINES), name)


def station(stock: int | None = None, refill: tuple[int, float] = (0, 0.0), name: str = "tray") -> Station:
    return Station(name, HERE, "peg", stock, refill[0], seconds(refill[1]), 0)


def spot(room: int | None = None, points: float = 5, bonus: float = 0, clearing: float | None = None,
         name: str = "board") -> Place:  # fmt: skip
    by_period = {"autonomous": points, "driver_controlled": points / 5}
    return Place(
        name, HERE, "peg", room, by_period, bonus, None if clearing is None else seconds(clearing), 0
    )


def plan(
    *autonomous: Step,
    driver: tuple[Step, ...] | None = None,
    lasts: tuple[float, ...] = (10.0,),
    endgame: float | None = None,
    begin: tuple[float, tuple[Step, ...]] | None = None,
    stations: tuple[Station, ...] = (station(),),
    places: tuple[Place, ...] = (spot(),),
    mass: float = 0.0,
    on: dict[str, str] | None = None,
    holds: dict[str, tuple[str, ...]] | None = None,
    positions: dict[str, float | str] | None = None,
    routines: dict[str, SequenceStep] | None = None,
) -> Plan:
    """A plan of one or two periods on a robot whose mechanisms are the keys of `on` and a few more."""
    names = ("autonomous", "driver_controlled")
    periods = tuple(Period(name, seconds(length)) for name, length in zip(names, lasts, strict=False))
    game = Game(
        Path("game.yaml"), "bench", 3.0, 3.0, periods, None if endgame is None else seconds(endgame),
        {"peg": Element("peg", mass)}, {one.name: one for one in stations}, {one.name: one for one in places},
        (),
    )  # fmt: skip
    carriers = {"lift": None, "arm": None, "hand": None, "other": None, "drive": None} | (on or {})
    specs = {
        name: MechanismSpec(
            name,
            "tank" if name == "drive" else "measured",
            "word",
            {"on": carrier, "control": {"window": 0.01}},
            0,
        )
        for name, carrier in carriers.items()
    }
    robot = Robot(
        Path("robot.yaml"), "bench", 9.0, 0.4, 0.4, 20_000, (BatteryState("fresh", 13.0, 0.1, 0),), {}, {},
        specs, (),
    )  # fmt: skip
    steps = {"autonomous": sequence(*autonomous)}
    if driver is not None:
        steps["driver_controlled"] = sequence(*driver)
    return Plan(
        Path("plan.yaml"), "bench", game, robot, 50_000, Start(HERE, positions or {}, holds or {}),
        routines or {}, steps, None if begin is None else Endgame(seconds(begin[0]), sequence(*begin[1]), 0),
    )  # fmt: skip

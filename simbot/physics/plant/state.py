"""What a plant is at an instant: its arrays and log, its moves, and its mechanisms as they are built now."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from simbot.physics import layout as L
from simbot.physics.build import Built, Models, physical
from simbot.physics.encoder import Encoder
from simbot.physics.heat import Warmth
from simbot.physics.luck import NOMINAL, Luck
from simbot.physics.move import Command, Move, Stopwatch
from simbot.physics.orders import Control, controls_of
from simbot.physics.resets import Resets
from simbot.physics.route import Route
from simbot.physics.stance import Places, leans_on
from simbot.physics.told import Told
from simbot.scenario.model import BatteryState, Robot
from simbot.scenario.positions import turns_inside

Array = npt.NDArray[np.float64]
Own = TypeVar("Own", bound="State")

FIRST_ROWS = 1024  # of a log; it grows by as much as it has
_spare_logs: dict[int, list[Array]] = {}  # of plants that were forgotten, by columns: nothing in them counts
SPARE_LOGS = 2  # as many as two robots of one match have
MOST_SPARE_ROWS = 32768


def _empty_log(columns: int) -> Array:
    """Room for the rows of a log: a step fills its own, so that whatever was there before is gone."""
    spare = _spare_logs.get(columns)
    return spare.pop() if spare else np.empty((FIRST_ROWS, columns))


def keep_log(log: Array) -> None:
    """Give the room of a log to the next plant: memory that is at hand already."""
    spare = _spare_logs.setdefault(log.shape[1], [])
    if FIRST_ROWS <= len(log) <= MOST_SPARE_ROWS and len(spare) < SPARE_LOGS:
        spare.append(log)


class Facts:
    """What all plants of a robot go by, worked out once."""

    __slots__ = ("controls", "heats", "leans_on", "names", "wraps")

    def __init__(self, models: Models) -> None:
        robot = models.robot
        self.names = physical(robot)
        self.controls = controls_of(robot)
        self.leans_on = {name: leans_on(robot, name) for name in self.names}
        heats = {name: models.heat(name) for name in self.names}
        self.heats = {name: model for name, model in heats.items() if model is not None}
        self.wraps: dict[str, tuple[float, float]] = {}  # ends of the travel, where whole turns may be added
        for name, spec in robot.mechanisms.items():
            if spec.values.get("wraps"):
                low, high = spec.values["travel"]
                self.wraps[name] = (float(low), float(high))


class State:
    """Everything that a plant remembers."""

    __slots__ = (
        "_air",
        "_built_since",
        "_current",
        "_drive",
        "_encoders",
        "_facts",
        "_log",
        "_moves",
        "_pawls_out",
        "_payload",
        "_places",
        "_resets",
        "_route",
        "_rows",
        "_saved",
        "_spare",
        "_told",
        "_warmth",
        "_watch",
        "arrays",
        "battery",
        "horizon_us",
        "luck",
        "models",
        "names",
        "now_us",
        "phase_us",
        "robot",
    )

    def __init__(
        self,
        robot: Robot,
        battery: BatteryState,
        horizon_us: int,
        tolerance: float = 1e-7,
        models: Models | None = None,
        phase_us: int = 0,
        luck: Luck = NOMINAL,
    ) -> None:
        self.luck = luck
        self.models = models or Models(robot)
        self.robot = robot = self.models.robot
        self.battery = battery
        self.horizon_us = horizon_us
        self.now_us = 0
        if self.models.facts is None:
            self.models.facts = Facts(self.models)
        self._facts: Facts = self.models.facts
        self.names = self._facts.names
        self.arrays = self.models.arrays(self.names, battery, tolerance)
        self.phase_us = phase_us
        if phase_us:
            self.arrays.w[L.PHASE_US], self.arrays.w[L.TICK] = phase_us, -1.0
        self._resets: Resets | None = None
        if robot.resets:
            self._resets = Resets(robot, self.names, len(self.arrays.w))
            self.arrays.w = np.concatenate((self.arrays.w, self._resets.state()))
        self._told = Told.ALL
        self._log: Array = _empty_log(self.arrays.columns)
        self._rows = 0
        self._payload = dict.fromkeys(robot.mechanisms, 0.0)
        self._places: dict[str, Places] = {}  # where those stood when its last move began
        self._moves: list[Move] = []
        self._current: dict[str, Move] = {}
        self._watch: dict[str, list[Stopwatch]] = {}
        self._built_since: dict[str, list[tuple[float, Built]]] = {}
        self._saved: tuple[Array, int, Route | None] | None = None
        self._spare: Array | None = None  # the array that `_saved` is kept in, or will be
        self._route: Route | None = None
        self._drive: str | None = None
        self._air: dict[str, float] = {}  # absolute pressure in the tanks that have given some [Pa]
        self._pawls_out: frozenset[str] = frozenset()
        self._encoders: dict[str, Encoder] = {}
        self._warmth = {name: Warmth(model) for name, model in self._facts.heats.items()}

    def tick_at_or_after(self, at_us: int) -> int:
        """First control tick at or after an instant."""
        loop = self.robot.loop_us
        return self.phase_us - (self.phase_us - at_us) // loop * loop

    def _travel(self, name: str) -> tuple[float, float]:
        w, m = self.arrays.w, self.arrays.at[name]
        return float(w[m + L.Q_LO]), float(w[m + L.Q_HI])

    def _control(self, name: str, turning: bool = False) -> Control:
        return self._facts.controls[name, turning]

    def _built(self, name: str) -> Built:
        if name == self._drive and self._route is not None:
            leg = self._route.now
            return self.models.get(name, self._payload[name], leg.built_for)
        return self.models.get(name, self._payload[name], places=self._places.get(name, ()))

    def _write(self, name: str) -> Built:
        """Put a mechanism as it now is into the kernel's array."""
        built = self._built(name)
        self.arrays.write(name, built)
        if name in self._pawls_out:
            self.arrays.take_pawl_out(name, built.reduced.low)
        return built

    def _note_built(self, name: str, built: Built) -> None:
        self._built_since.setdefault(name, []).append((self.now_us / 1e6, built))

    def _nearest(self, name: str, target: float, near: float) -> float:
        """The target; where whole turns may be added to it: the nearest of those that its travel allows."""
        ends = self._facts.wraps.get(name)
        if ends is None:
            return target
        return min(turns_inside(target, *ends), key=lambda each: abs(each - near), default=target)

    def given(self, mechanism: str) -> Command | None:
        """The command that a mechanism has."""
        move = self._current.get(mechanism)
        return None if move is None else move.command

    def _twin(self: Own) -> Callable[[], Own]:
        """What makes a plant that goes on from here by itself, with a log of its own: few are ever asked to."""
        then = (self.now_us, self._route, self._payload, self._places, self._pawls_out)
        state = self.arrays.state()
        resets = None if self._resets is None else self._resets.copy()

        def made() -> Own:
            twin = object.__new__(type(self))
            for name in State.__slots__:
                setattr(twin, name, getattr(self, name))
            twin.now_us, twin._route, twin._payload, twin._places, twin._pawls_out = then
            twin.arrays, twin._resets = self.arrays.with_state(*state), resets
            twin._log, twin._rows, twin._saved, twin._spare = self._log[:0], 0, None, None
            return twin

        return made

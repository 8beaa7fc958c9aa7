"""A drive move as straight lines and turns in place, and where the robot stands on the field meanwhile."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import atan2, cos, hypot, pi, remainder, sin
from types import ModuleType
from typing import Any

import numpy as np

from simbot.physics.ways import Bend, Way, facing, pieces_at_stops, way_through
from simbot.scenario.model import Pose

TINY = 1e-9
LEG_END = 0.1  # m/s: no faster at the end of a line after which another line or turn follows
LEG_END_TURN = 0.5  # rad/s
Angles = tuple[
    float, float, float, float
]  # of steered wheels [rad], front left, front right, rear right, rear left


@dataclass(frozen=True)
class Push:
    """How a leg is driven open loop: effort (0..1), until an instant [s], what comes after (None: the control's)."""

    effort: float
    end: float
    after: str | float | None


# never changed, as if frozen, which takes three times as long to make
@dataclass(slots=True, unsafe_hash=True)
class Leg:
    """One straight line or one turn.

    Parameters
    ----------
    turning : bool
        True: the coordinate is the heading [rad]; False: the distance along the line [m].
    origin : Pose
        Where the robot stands when the coordinate is `at`.
    at : float
        Coordinate at the origin.
    to : float
        Coordinate of the leg's end.
    way : float
        Field angle in which a straight line's coordinate grows [rad].
    direction : float
        That angle seen from the heading [rad].
    push : Push or None
        None: under the drive's own control.
    brakes : bool
        It is what is left of a leg that was taken over.
    planned : Leg or None
        The leg as it was planned, where it began elsewhere.
    """

    turning: bool
    origin: Pose
    at: float
    to: float
    way: float = 0.0
    direction: float = 0.0
    push: Push | None = None
    brakes: bool = False
    planned: Leg | None = field(default=None, compare=False)

    def carries_out(self, planned: Leg) -> bool:
        """Whether it is a planned leg, from wherever it began."""
        return planned is self or planned is self.planned

    def braking(self, at: float, to: float) -> Leg:
        """Its end where it is taken over: motors shorted, from one coordinate to where it is slow enough."""
        return replace(self, origin=self.pose(at), at=at, to=to, push=Push(0.0, 0.0, "brake"), brakes=True)

    def begun_at(self, pose: Pose, holonomic: bool) -> Leg:
        """The same leg from where the one before has truly left it: its end keeps its coordinate.

        One that moves in any direction goes to the end as planned; another one along the line as planned, aside of it
        by what the turn before it left. A heading is that of the plan.
        """
        here = Pose(pose.x, pose.y, self.origin.heading)
        if isinstance(self, Steering):
            return replace(self, origin=here, planned=self)
        at, way, direction = self.at, self.way, self.direction
        if not self.turning and self.push is None:
            end = self.pose(self.to)
            dx, dy = end.x - here.x, end.y - here.y
            length = dx * cos(way) + dy * sin(way)
            if holonomic and abs(self.to - at) > TINY:
                length, way = hypot(dx, dy), atan2(dy, dx)
                direction = remainder(way - here.heading, 2.0 * pi)
            at = self.to - length
        return Leg(self.turning, here, at, self.to, way, direction, self.push, self.brakes, self)

    @property
    def slow(self) -> float:
        """No faster than this where it has braked [m/s, rad/s]."""
        return LEG_END_TURN if self.turning else LEG_END

    @classmethod
    def from_here(cls, pose: Pose, odometer: float, by: float, direction: float | None, push: Push) -> Leg:
        """A line of some length in a direction from the heading, or (None) a turn by an angle."""
        if direction is None:
            return cls(True, pose, pose.heading, pose.heading + by, push=push)
        way = pose.heading + direction
        return cls(False, pose, odometer, odometer + by, way, direction, push)

    def pose(self, q: float) -> Pose:
        """The robot's pose at a coordinate."""
        if self.turning:
            return Pose(self.origin.x, self.origin.y, self.origin.heading + (q - self.at))
        s = q - self.at
        return Pose(self.origin.x + s * cos(self.way), self.origin.y + s * sin(self.way), self.origin.heading)

    def coordinate_of(self, goal: Pose, within: float, heading_within: float) -> tuple[float, float] | None:
        """Coordinate and half-width in which the pose is within the tolerances of a goal; None: nowhere."""
        dx, dy = goal.x - self.origin.x, goal.y - self.origin.y
        turn = remainder(goal.heading - self.origin.heading, 2.0 * pi)
        if self.turning:
            return (self.at + turn, heading_within) if hypot(dx, dy) <= within + TINY else None
        if abs(turn) > heading_within + TINY:
            return None
        across = -dx * sin(self.way) + dy * cos(self.way)
        left = within**2 - across**2
        if left < -TINY:
            return None
        along = dx * cos(self.way) + dy * sin(self.way)
        return self.at + along, max(left, 0.0) ** 0.5 if abs(across) > TINY else within

    def way_at(self, q: float) -> float:
        """Field angle in which the coordinate grows at a place of it [rad]."""
        return self.way

    def turns_at(self, q: float) -> float:
        """Change of heading per length at a place of it [rad/m]."""
        return 0.0

    @property
    def built_for(self) -> float | Way | None:
        """What the drive's inertia and ratios on it depend on (see build.Models.get)."""
        return None if self.turning else self.direction

    @property
    def ends_in(self) -> float:
        """Direction from the heading at its end [rad]."""
        return self.direction


# never changed, as if frozen, which takes three times as long to make
@dataclass(slots=True, unsafe_hash=True)
class Curve(Leg):
    """A curved way; its coordinate is the length of it, on from `curve.begin`."""

    curve: Way | None = None

    @classmethod
    def along(cls, curve: Way) -> Curve:
        """The whole of a way."""
        x, y, way, heading, _ = curve.at(0.0)
        start = Pose(x, y, heading)
        turned = remainder(way - heading, 2.0 * pi)
        return cls(False, start, curve.begin, curve.begin + curve.length, way, turned, curve=curve)

    def begun_at(self, pose: Pose, holonomic: bool) -> Leg:
        """As planned: its way is what the code follows."""
        return self

    @property
    def _way(self) -> Way:
        assert self.curve is not None
        return self.curve

    def pose(self, q: float) -> Pose:
        x, y, _, heading, _ = self._way.at(q - self._way.begin)
        return Pose(x, y, heading)

    def way_at(self, q: float) -> float:
        return self._way.at(q - self._way.begin)[2]

    def turns_at(self, q: float) -> float:
        cell = (q - self._way.begin) / self._way.length * self._way.cells
        return float(np.interp(cell, np.arange(self._way.cells + 1), self._way.turns, 0.0, 0.0))

    @property
    def built_for(self) -> float | Way | None:
        return self._way

    @property
    def ends_in(self) -> float:
        return remainder(float(self._way.direction[-1] - self._way.heading[-1]), 2.0 * pi)

    def coordinate_of(self, goal: Pose, within: float, heading_within: float) -> tuple[float, float] | None:
        """As of a line, at the point of the way that lies nearest to the goal, as if it were straight there."""
        s = self._way.nearest(goal.x, goal.y)
        x, y, _, heading, _ = self._way.at(s)
        left = within**2 - hypot(goal.x - x, goal.y - y) ** 2
        if left < -TINY or abs(remainder(goal.heading - heading, 2.0 * pi)) > heading_within + TINY:
            return None
        return self._way.begin + s, max(left, 0.0) ** 0.5


# never changed, as if frozen, which takes three times as long to make
@dataclass(slots=True, unsafe_hash=True)
class Steering(Leg):
    """Standing still while the wheels are steered from one set of angles to another; `lasts` [s]."""

    before: Angles = (0.0,) * 4
    after: Angles = (0.0,) * 4
    lasts: float = 0.0


@dataclass
class Route:
    """Legs driven so far and still to drive; distances along all straight lines add up in one coordinate.

    Never changed once it is made, so that whoever keeps one keeps what was so then.

    Parameters
    ----------
    holonomic : bool
        Moves in any direction at a fixed heading.
    legs : list of (instant [s], Leg)
        From each instant on.
    ahead : list of Leg
        What follows once the present leg has been seen at its end.
    """

    holonomic: bool
    legs: list[tuple[float, Leg]]
    ahead: list[Leg] = field(default_factory=list)

    @classmethod
    def at_rest(cls, holonomic: bool, pose: Pose) -> Route:
        return cls(holonomic, [(0.0, Leg(False, pose, 0.0, 0.0, pose.heading))])

    def towards(self, ahead: list[Leg]) -> Route:
        """The same way so far, and other legs ahead."""
        return Route(self.holonomic, self.legs, ahead)

    def begun(self, t: float, leg: Leg) -> Route:
        """With the first leg ahead under way since an instant [s], as it truly began."""
        return Route(self.holonomic, [*self.legs, (t, leg)], self.ahead[1:])

    @property
    def now(self) -> Leg:
        return self.legs[-1][1]

    def at(self, t: float) -> Leg:
        """The leg at an instant (the later one at a joint)."""
        for begin, leg in reversed(self.legs):
            if begin <= t:
                return leg
        return self.legs[0][1]

    def plan_through(
        self,
        pose: Pose,
        odometer: float,
        points: Sequence[tuple[float, float]],
        goal: Pose,
        window: float,
        heading_window: float,
    ) -> list[Leg]:
        """Legs from a pose by way of points to a goal; at a point it does not turn to any heading of its own."""
        out: list[Leg] = []
        for x, y in points:
            legs = self.plan(pose, odometer, Pose(x, y, pose.heading), window, heading_window)
            while legs and (legs[-1].turning or abs(legs[-1].to - legs[-1].at) <= TINY):
                legs.pop()
            if legs:
                out += legs
                pose, odometer = legs[-1].pose(legs[-1].to), legs[-1].to
        return out + self.plan(pose, odometer, goal, window, heading_window)

    def plan_bent(
        self,
        pose: Pose,
        odometer: float,
        points: Sequence[tuple[float, float]],
        goal: Pose,
        bend: Bend,
        window: float,
        heading_window: float,
    ) -> list[Leg]:
        """Legs from a pose along curves by points to a goal; where the way turns back it stops between two of them."""
        if hypot(goal.x - pose.x, goal.y - pose.y) <= TINY and not points:
            return self.plan(pose, odometer, goal, window, heading_window)
        parts = pieces_at_stops([(pose.x, pose.y), *points, (goal.x, goal.y)])
        ways = [way_through(part, bend, 0.0) for part in parts if len(part) > 1]
        turn = remainder(goal.heading - pose.heading, 2.0 * pi)
        turns = self.holonomic and bend.along and abs(turn) > heading_window
        out: list[Leg] = []
        total, done = sum(way.length for way in ways), 0.0
        for way in ways:
            way = replace(way, begin=odometer)
            if self.holonomic:
                here = pose.heading + (turn * done / total if turns else 0.0)
                way = facing(way, here, turn * way.length / total if turns else 0.0)
            else:
                turned, backwards = self._to_bearing(pose, float(way.direction[0]), heading_window)
                out += turned
                off = float(way.direction[0]) + (pi if backwards else 0.0) - pose.heading
                way = facing(way, pose.heading + remainder(off, 2.0 * pi), None)
            out.append(Curve.along(way))
            odometer, done = out[-1].to, done + way.length
            pose = out[-1].pose(odometer)
        left = remainder(goal.heading - pose.heading, 2.0 * pi)
        if abs(left) > heading_window:
            out.append(Leg(True, pose, pose.heading, pose.heading + left))
        return out

    def _to_bearing(self, pose: Pose, bearing: float, heading_window: float) -> tuple[list[Leg], bool]:
        """The turn that makes it stand along a bearing, forwards or backwards, whichever is nearer."""
        off = remainder(bearing - pose.heading, 2.0 * pi)
        backwards = abs(off) > pi / 2.0
        if backwards:
            off = remainder(off + pi, 2.0 * pi)
        legs = [Leg(True, pose, pose.heading, pose.heading + off)] if abs(off) > heading_window else []
        return legs, backwards

    def plan(
        self, pose: Pose, odometer: float, goal: Pose, window: float, heading_window: float
    ) -> list[Leg]:
        """Legs from a pose to a goal: one straight line and the turns it takes."""
        dx, dy = goal.x - pose.x, goal.y - pose.y
        distance = hypot(dx, dy)
        if self.holonomic:
            return self._sideways(pose, odometer, goal, distance, atan2(dy, dx), heading_window)
        bearing = atan2(dy, dx)
        off = abs(remainder(bearing - pose.heading, pi))
        if distance <= window and off > heading_window:
            distance = 0.0  # near enough: it does not turn aside for millimetres
            goal = Pose(pose.x, pose.y, goal.heading)
        return self._ahead(pose, odometer, goal, distance, bearing, heading_window)

    def with_steering(
        self, legs: list[Leg], kind: ModuleType, values: Mapping[str, Any], t: float, odometer: float
    ) -> list[Leg]:
        """The same legs, each after the steering that it takes.

        Parameters
        ----------
        kind : module
            With `steered`, `steering_time` and `steered_for`.
        values : mapping
            Of the drive's keys.
        t, odometer : float
            The instant at which they are planned [s], and the distance driven until then.
        """
        angles = self._angles(kind, values, t)
        out: list[Leg] = []
        for leg in legs:
            wanted = kind.steered(values, None if leg.turning else leg.direction)
            if not leg.turning:
                odometer = leg.at
            lasts = kind.steering_time(values, angles, wanted) if abs(leg.to - leg.at) > TINY else 0.0
            if lasts > TINY:
                here = (leg.origin, odometer, odometer, leg.origin.heading, 0.0)
                out.append(Steering(False, *here, before=angles, after=wanted, lasts=lasts))
                angles = wanted
            out.append(leg)
            if not leg.turning:
                odometer, angles = leg.to, kind.steered(values, leg.ends_in)
        return out

    def _angles(self, kind: ModuleType, values: Mapping[str, Any], t: float) -> Angles:
        """How the wheels stand at an instant: straight ahead at the start, else as the last leg left them."""
        for begin, leg in reversed(self.legs):
            if isinstance(leg, Steering):
                angles: Angles = kind.steered_for(values, leg.before, leg.after, t - begin)
                return angles
            if abs(leg.to - leg.at) > TINY:
                angles = kind.steered(values, None if leg.turning else leg.ends_in)
                return angles
        return (0.0,) * 4

    def _sideways(
        self, pose: Pose, odometer: float, goal: Pose, distance: float, way: float, heading_window: float
    ) -> list[Leg]:
        turn = remainder(goal.heading - pose.heading, 2.0 * pi)
        legs: list[Leg] = []
        if abs(turn) <= heading_window or distance > TINY:
            if distance <= TINY:
                way = pose.heading
            legs.append(
                Leg(False, pose, odometer, odometer + distance, way, remainder(way - pose.heading, 2 * pi))
            )
        if abs(turn) > heading_window:
            there = Pose(goal.x, goal.y, pose.heading)
            legs.append(Leg(True, there, pose.heading, pose.heading + turn))
        return legs

    def _ahead(
        self, pose: Pose, odometer: float, goal: Pose, distance: float, bearing: float, heading_window: float
    ) -> list[Leg]:
        legs: list[Leg] = []
        heading = pose.heading
        turn_at_goal = remainder(goal.heading - heading, 2.0 * pi)
        if distance > TINY:
            legs, backwards = self._to_bearing(pose, bearing, heading_window)
            heading += remainder(bearing - heading + (pi if backwards else 0.0), 2.0 * pi)
            turn_at_goal = remainder(goal.heading - heading, 2.0 * pi)
            length = -distance if backwards else distance
            start = Pose(pose.x, pose.y, heading)
            legs.append(Leg(False, start, odometer, odometer + length, heading, 0.0))
        if abs(turn_at_goal) > heading_window or not legs:
            there = Pose(goal.x, goal.y, heading)
            if not legs and abs(turn_at_goal) <= heading_window:
                legs.append(Leg(False, pose, odometer, odometer, pose.heading, 0.0))
            else:
                legs.append(Leg(True, there, heading, heading + turn_at_goal))
        return legs


def carried_speed(old: Leg, leg: Leg, q: float, speed: float) -> float | None:
    """What is left of a speed at a coordinate of one leg as another takes over; None: it has to brake first.

    A line keeps the component along it. What is across it, or turns where it is to drive, has to be no faster than
    at the joint of two legs of one command.
    """
    if isinstance(leg, Steering) or old.turning != leg.turning:
        return 0.0 if abs(speed) <= (LEG_END_TURN if old.turning else LEG_END) else None
    if leg.turning:
        return speed
    between = leg.way_at(leg.at) - old.way_at(q)
    turns = speed * (old.turns_at(q) - leg.turns_at(leg.at))
    lost = abs(speed * sin(between)) > LEG_END or abs(turns) > LEG_END_TURN
    return None if lost else speed * cos(between)


def leg_end(slower_than: float, turning: bool) -> float:
    """No faster than this at the end of a line or turn after which another one follows [m/s, rad/s]."""
    return min(LEG_END_TURN if turning else LEG_END, slower_than)


def kept_speed(last: Leg | None, leg: Leg) -> float:
    """The most that a leg can begin with after another one [m/s, rad/s]."""
    if last is None or last.turning != leg.turning:
        return 0.0
    return LEG_END_TURN if leg.turning else LEG_END * max(0.0, cos(leg.way - last.way_at(last.to)))

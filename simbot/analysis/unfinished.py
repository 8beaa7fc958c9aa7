"""Whether what has not arrived stands or is on its way, and what only the end of the match keeps from arriving."""

from __future__ import annotations

from math import pi, remainder

from simbot.analysis.order import STANDS, still_since
from simbot.physics.move import DriveFor, DriveTo, Move, Spin, SpinTo
from simbot.physics.plant import Plant
from simbot.physics.plant.totals import UNDER_WAY

AT_REST = 1e-6  # m/s or rad/s: slower than this it is going nowhere
TURNS_US = 1_000  # over which it is seen whether a drive turns
STEADY, STEADY_US = (
    1e-3,
    500_000,
)  # a speed that has changed by less than this share for so long comes no nearer
LONG, LONG_US = 5, 5_000_000  # under way for so many times its floor, and so long: it does not come


def unfinished_us(move: Move) -> int | None:
    """How long a move had that never arrives because the match is over before; None of any other."""
    if move.stopwatch is not None or isinstance(move.command, Spin) or move.arrival_us() is not None:
        return None
    last = move.onward()
    had = last.horizon_us - move.start_us
    if _comes_nearer(move, last) and had <= LONG_US:
        return had
    floor = move.floor_s()
    if floor is None:
        return None
    floor_us = floor * 1e6
    return had if had < floor_us or (_comes_nearer(move, last) and had <= LONG * floor_us) else None


def _comes_nearer(move: Move, last: Plant) -> bool:
    """Whether it is on its way at the end, and has not been there before."""
    if move.first_inside_us() is not None:
        return False
    if not isinstance(move.command, SpinTo) and move.reason() != UNDER_WAY:
        return False
    return stands_since(move, last.horizon_us, last) is None


def cut_off(had_us: int) -> str:
    """Why it never arrives, as a clause."""
    return f"the match ended before it was there, {had_us * 1e-6:.2f} s after its command"


def stands_since(move: Move, at_us: int, plant: Plant) -> int | None:
    """Since when a mechanism has stood still, or turned at one speed, at an instant; None: it is on its way."""
    name = move.mechanism
    if move.stopwatch is not None:
        return move.start_us
    if isinstance(move.command, SpinTo):
        speed = plant.speed(name, at_us)
        since = plant.inside_since(name, speed, STEADY * abs(speed), None, at_us)
        return since if since is not None and at_us - since >= STEADY_US else None
    if abs(plant.speed(name, at_us)) > AT_REST:
        return None
    if isinstance(move.command, DriveTo | DriveFor):
        before = plant.pose(max(at_us - TURNS_US, move.start_us))
        if abs(remainder(plant.pose(at_us).heading - before.heading, 2.0 * pi)) > AT_REST * TURNS_US * 1e-6:
            return None  # in a turn its speed along its line is 0
        return plant.inside_since(name, plant.pose(at_us), STANDS, None, at_us, STANDS)
    return still_since(plant, name, at_us)

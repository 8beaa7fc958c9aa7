"""Where everything was in the course of a run, sampled from its log for drawings; nothing is computed anew."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simbot.physics.plant import Plant
from simbot.physics.strain import bus_course

Array = npt.NDArray[np.float64]
EVERY_US = 20_000


@dataclass(frozen=True)
class Course:
    """Of one robot in one run. The samples stand `EVERY_US` apart; the bus has both ends of every step.

    Attributes
    ----------
    t : (n,) array
        Instants [s].
    positions : dict
        Mechanism to (n,) array [m, rad]; of a drive the distance along its lines. Those that only know words are
        left out.
    poses : (n, 3) array
        The robot's centre x, y [m] and its heading [rad].
    bus_t, bus_v : (m,) array
        Voltage of the bus [V] at instants [s].
    """

    t: Array
    positions: dict[str, Array]
    poses: Array
    bus_t: Array
    bus_v: Array


def course_of(plant: Plant, until_us: int, every_us: int = EVERY_US) -> Course:
    """Sample a run from its start to an instant that it has reached."""
    at = np.arange(0, until_us + every_us, every_us, dtype=np.int64).clip(max=until_us)
    positions = {
        name: np.array([float(plant.position(name, int(each))) for each in at]) for name in plant.names
    }
    poses = [plant.pose(int(each)) for each in at]
    bus_t, bus_v = bus_course(plant)
    return Course(
        at * 1e-6,
        positions,
        np.array([(pose.x, pose.y, pose.heading) for pose in poses]),
        bus_t,
        bus_v,
    )

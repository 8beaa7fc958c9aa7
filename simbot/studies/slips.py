"""Slips among repeated trials: a time that is far from all others of the same move, as when a decimal point slips.

No robot that is the same in all trials explains it, so it is left out before anything is fitted. Grubbs' test
(NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.17.1) tells that it stands alone; that it is gross as
well, which few and even trials need, is a fifth of the others' median and four standard deviations of the method.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

import numpy as np
import numpy.typing as npt

from simbot.scenario.measured import Measured
from simbot.studies.fit_data import error_of

LEVEL = 0.01
GROSS = 0.2  # of the median of the others
SURE = 4.0  # standard deviations of the method


def slips_of(measured: Sequence[Measured], reaction: float) -> tuple[int, ...]:
    """Places of slips among the measured, at most one of a move and method."""
    groups: dict[object, list[int]] = {}
    for place, each in enumerate(measured):
        if each.condition.kind in ("move", "line"):
            groups.setdefault((each.condition, each.method), []).append(place)
    found = []
    for places in groups.values():
        values = np.array([measured[place].value for place in places])
        at = _farthest(values)
        if at is not None:
            median = float(np.median(np.delete(values, at)))
            off = abs(float(values[at]) - median)
            if off > max(GROSS * median, SURE * error_of(measured[places[at]], reaction)):
                found.append(places[at])
    return tuple(sorted(found))


def _farthest(values: npt.NDArray[np.float64]) -> int | None:
    """The value that Grubbs' test finds to stand alone; None: there is none."""
    from scipy.special import stdtrit

    count = len(values)
    if count < 3 or np.ptp(values) == 0.0:
        return None
    off = np.abs(values - values.mean()) / values.std(ddof=1)
    at = int(np.argmax(off))
    t = float(stdtrit(count - 2, 1.0 - LEVEL / (2 * count)))
    limit = (count - 1) / sqrt(count) * sqrt(t**2 / (count - 2 + t**2))
    return at if float(off[at]) > limit else None

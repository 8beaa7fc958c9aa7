"""The Runge-Kutta pair is of order 5 with an embedded one of order 4.

Coefficients of Tsitouras (2011, Computers & Mathematics with Applications 62), from memory; what holds them is the 17
order conditions of Butcher's trees (Hairer, Nørsett, Wanner, Solving Ordinary Differential Equations I, section II.2).
"""

from __future__ import annotations

import numpy as np
import pytest

from simbot.physics.steps import ERRORS, STAGES, WEIGHTS

A = np.vstack((np.zeros((1, 7)), np.column_stack((STAGES, np.zeros(6)))))
B = np.append(WEIGHTS, 0.0)
C = A.sum(axis=1)
AC = A @ C
TREES = {  # stage weights of each rooted tree, and its density
    1: [(np.ones(7), 1)],
    2: [(C, 2)],
    3: [(C**2, 3), (AC, 6)],
    4: [(C**3, 4), (C * AC, 8), (A @ C**2, 12), (A @ AC, 24)],
    5: [
        (C**4, 5), (C**2 * AC, 10), (AC**2, 20), (C * (A @ C**2), 15), (A @ C**3, 20), (C * (A @ AC), 30),
        (A @ (C * AC), 40), (A @ (A @ C**2), 60), (A @ (A @ AC), 120),
    ],
}  # fmt: skip


@pytest.mark.parametrize("order", TREES)
def test_the_step_meets_every_condition(order: int) -> None:
    for stages, density in TREES[order]:
        assert B @ stages == pytest.approx(1.0 / density, abs=2e-14)


def test_the_embedded_step_meets_those_up_to_order_4_and_none_of_order_5() -> None:
    embedded = B - ERRORS
    for order, trees in TREES.items():
        for stages, density in trees:
            off = abs(embedded @ stages - 1.0 / density)
            assert off < 2e-14 if order < 5 else off > 1e-4


def test_the_last_stage_is_the_next_step() -> None:
    assert C[-1] == pytest.approx(1.0, abs=1e-14)
    np.testing.assert_array_equal(A[-1], B)

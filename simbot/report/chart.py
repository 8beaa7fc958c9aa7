"""A course over time in plain characters."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

WIDTH, HEIGHT, LABEL = 66, 11, 9


def chart(lines: Sequence[tuple[str, np.ndarray, np.ndarray]], unit: str) -> Iterator[str]:
    """Values over time [s]; each line is a mark, its instants and its values, and ends in an `o`.

    Times from 0 to the last instant of all, values from the least to the greatest; the earlier line lies on top.
    """
    end = max(float(t[-1]) for _, t, _ in lines) or 1.0
    low = min(float(np.min(values)) for _, _, values in lines)
    high = max(float(np.max(values)) for _, _, values in lines)
    span = high - low or 1.0
    cells = [[" "] * WIDTH for _ in range(HEIGHT)]

    def row_of(value: float) -> int:
        return HEIGHT - 1 - round((value - low) / span * (HEIGHT - 1))

    for mark, t, values in reversed(lines):
        last = round(float(t[-1]) / end * (WIDTH - 1))
        columns = np.arange(last + 1)
        at = np.interp(columns * end / (WIDTH - 1), t, values)
        before = row_of(float(at[0]))
        for column, value in zip(columns, at, strict=True):
            row = row_of(float(value))
            for between in range(min(before, row) + 1, max(before, row)):
                cells[between][column] = mark
            cells[row][column] = mark
            before = row
        cells[row_of(float(values[-1]))][last] = "o"
    told = {0: _number(high, span), HEIGHT // 2: unit, HEIGHT - 1: _number(low, span)}
    for number, marks in enumerate(cells):
        yield f"{told.get(number, ''):>{LABEL}} |{''.join(marks)}".rstrip()
    yield f"{'':{LABEL}} +{'-' * WIDTH}"
    text = f"{end:.3g} s"
    yield f"{'':{LABEL}} 0{text:>{WIDTH}}"


def _number(value: float, span: float) -> str:
    """Four digits, and nothing of what is no part of the span."""
    return f"{0.0 if abs(value) < 1e-6 * span else value:.4g}"

"""One wait drawn as a bar of ASCII characters.

`#` floor (nothing is faster), `-` still moving, `o` arrival, `.` given away, `>` the timer's flag; where
the wait is too short `!` is a flag that breaks something, `)` one that does not, `/` the time missing.
`(o)` waits for the arrival itself, `?` never arrives, `~` runs out of the scale.
"""

from __future__ import annotations

from collections.abc import Iterable

from simbot.analysis.results import MoveResult
from simbot.report.summary import breaks, waits_for_arrival

SCALES_MS = (
    1,
    2,
    3,
    4,
    5,
    6,
    8,
    10,
    12,
    15,
    20,
    25,
    30,
    40,
    50,
    60,
    80,
    100,
    120,
    150,
    200,
    250,
    300,
    400,
    500,
    1000,
)
LEGEND = (
    "# floor, nothing is faster  - still moving  o arrival  > the timer's flag",
    "! flag that breaks  ) flag too early, harmless  / missing  . given away",
    "(o) waits for the arrival  ? never arrives  ~ runs out of the scale",
    "line: where the move is in the plan; its timer is a line below or so",
)


CUT_OFF = "cut off: the match ended before it arrived"


def extent_us(move: MoveResult) -> int:
    if move.unfinished_us is not None:
        return move.unfinished_us
    return max(move.floor_us or 0, move.arrival_us or 0, move.timer_us or 0)


def choose_scale(moves: Iterable[MoveResult], width: int) -> int:
    """Microseconds a column: what breaks fits whole, and three timers of four, or all if they are alike.

    Waits for the arrival, long drives mostly, have nothing to be judged and may run out of the scale.
    """
    drawn = list(moves)
    drawn = [move for move in drawn if not waits_for_arrival(move)] or drawn
    extents = sorted(extent_us(move) for move in drawn)
    if not extents:
        return SCALES_MS[0] * 1000
    most = extents[(3 * len(extents) - 1) // 4]
    if extents[-1] <= 1.5 * most:
        most = extents[-1]
    longest = max([most, *(extent_us(move) for move in drawn if breaks(move))])
    return next((ms * 1000 for ms in SCALES_MS if longest <= ms * 1000 * (width - 4)), SCALES_MS[-1] * 1000)


def draw(move: MoveResult, us_per_column: int, width: int) -> str:
    """The bar of one move against the wait that times it, at most `width` characters."""
    bar = _draw(move, us_per_column)
    return bar if len(bar) <= width else bar[: width - 1] + "~"


def _draw(move: MoveResult, us_per_column: int) -> str:
    floor = _column(move.floor_us or 0, us_per_column)
    flag = "!" if breaks(move) else ")"
    timer = None if move.timer_us is None else _column(move.timer_us, us_per_column)
    if move.unfinished_us is not None and timer is None:
        had = _column(move.unfinished_us, us_per_column)
        return "#" * min(floor, had) + "-" * (had - floor)
    if move.arrival_us is None:
        return _never(floor, timer, flag)
    arrival = max(_column(move.arrival_us, us_per_column), floor)
    travel = "#" * floor + "-" * (arrival - floor)
    if waits_for_arrival(move):
        return travel[:-1] + "(o)"
    if timer is None:
        return travel + "o"
    if move.verdict in ("impossible", "short"):
        return _too_short(move, floor, arrival, timer, flag)
    return travel + "o" + "." * (timer - arrival - 1) + ">"


def _too_short(move: MoveResult, floor: int, arrival: int, timer: int, flag: str) -> str:
    """Flag in the solid: impossible; behind at least one `-`: short; one `/` at least stays in both."""
    timer = max(timer, 1)
    if move.verdict == "impossible":
        before = "#" * min(timer, max(floor, 1))
    else:
        solid = min(floor, timer - 1)
        before = "#" * solid + "-" * (timer - solid)
    return before + flag + "/" * max(arrival - len(before) - 1, 1) + "o"


def _never(floor: int, timer: int | None, flag: str) -> str:
    if timer is None:
        return "#" * floor + "--?"
    solid = min(floor, timer)
    return "#" * solid + "-" * (timer - solid) + flag + "/?"


def _column(time_us: int, us_per_column: int) -> int:
    return (time_us + us_per_column // 2) // us_per_column

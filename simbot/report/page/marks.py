"""A wait drawn: solid up to the floor, hollow up to the arrival's dot, a post with a flag where the code goes on."""

from __future__ import annotations

from simbot.analysis.results import MoveResult
from simbot.report.page.svg import percent, tag
from simbot.report.summary import breaks, waits_for_arrival

BAR = 9.0
# the flags and rings that `use` refers to stand once in the template


def flag_of(move: MoveResult) -> str:
    """Which flag: filled where it breaks something, hatched where too early and harmless, else open."""
    if breaks(move):
        return "flag-break"
    return "flag-soft" if move.verdict in ("impossible", "short", "never") else "flag"


def wait(
    move: MoveResult, whole_us: float, y: float, start_us: int = 0, height: float = BAR, post: bool = True
) -> str:
    """The mark of one move against its wait.

    Parameters
    ----------
    move : MoveResult
    whole_us : float
        Length of the axis.
    y : float
        Middle of the bar [px].
    start_us : int
        Where it begins on the axis.
    post : bool
        False: the post is drawn by the caller, once for several bars.
    """

    def at(duration_us: float) -> str:
        return percent(start_us + duration_us, whole_us)

    def span(from_us: float, to_us: float, inset: float, class_: str) -> str:
        width = percent(max(to_us - from_us, 0.0), whole_us)
        return tag(
            "rect",
            x=at(from_us),
            y=y - height / 2 + inset,
            width=width,
            height=height - 2 * inset,
            class_=class_,
        )

    floor = move.floor_us or 0
    never = move.arrival_us is None
    arrival = max(move.timer_us or floor, floor) if move.arrival_us is None else move.arrival_us
    if move.unfinished_us is not None:
        arrival = move.unfinished_us
        floor = min(floor, arrival)
    timer = None if waits_for_arrival(move) else move.timer_us
    kind = "breaks" if breaks(move) else "soft"
    out = [span(0, floor, 0.0, "solid"), span(floor, arrival, 0.7, "hollow")]
    if timer is not None and timer < arrival:
        out.append(span(max(timer, floor), arrival, 0.7, f"missing {kind}"))
        if timer < floor:
            out.append(span(timer, floor, 0.0, f"under {kind}"))
    elif timer is not None and not never:
        dotted = "beyond slack" if move.verdict == "slack" else "beyond"
        out.append(tag("line", x1=at(arrival), x2=at(timer), y1=y, y2=y, class_=dotted))
    if never and move.unfinished_us is None:
        out.append(tag("text", "?", x=at(arrival), y=y + 4, dx=4, class_="strong"))
    elif not never:
        out.append(tag("circle", cx=at(arrival), cy=y, r=height * 0.44, class_="dot"))
        if waits_for_arrival(move):
            out.append(tag("circle", cx=at(arrival), cy=y, r=height * 0.44 + 3, class_="ring"))
    if timer is not None and post:
        out.append(tag("use", href=f"#{flag_of(move)}", x=at(timer), y=y))
    return "".join(out)

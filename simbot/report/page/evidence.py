"""The evidence beside each answer, in miniature."""

from __future__ import annotations

from typing import Any

from simbot.analysis.results import MoveResult
from simbot.report.document import Document
from simbot.report.page import marks, say
from simbot.report.page.parts import PlanPart
from simbot.report.page.svg import drawing, folded, percent, tag, words
from simbot.report.summary import no_arrival

FITS = 30  # characters of a bold text in the column beside the answers


def ink_of(number: int) -> str:
    """Class of a plan's lines: the first solid in a, the second dashed in b, further ones in ink, dotted."""
    return ("ink-a", "ink-b")[number] if number < 2 else "ink-c"


def is_breaking(timer: Document) -> bool:
    return any(state["consequence"] == "breaking" for state in timer["states"].values())


def ms_of(duration_s: float) -> str:
    return say.plain(duration_s * 1000)


def ranges(plans: list[Document]) -> str:
    """p10, p50 and p90 of each plan on one axis."""
    low = min(plan["points"]["p10"] for plan in plans)
    high = max(plan["points"]["p90"] for plan in plans)
    room = (high - low) * 0.08 or 1.0
    whole = high - low + 2 * room
    out, told, y = [], [], -12.0
    for number, plan in enumerate(plans):
        points = plan["points"]
        name = plan.get("name") or plan["plan"]
        ink = ink_of(number)
        x = {key: percent(points[key] - low + room, whole) for key in ("p10", "p50", "p90")}
        lines, end = folded(name, 0, y + 34, FITS, f"strong fill-{ink}", dx=3)
        y = end + 28
        out += lines
        out.append(tag("line", x1=x["p10"], x2=x["p90"], y1=y, y2=y, class_=f"range {ink}"))
        for key in ("p10", "p90"):
            out.append(tag("line", x1=x[key], x2=x[key], y1=y - 4, y2=y + 4, class_=f"tick {ink}"))
        out.append(tag("circle", cx=x["p50"], cy=y, r=4.5, class_=f"fill-{ink}"))
        out.append(words(say.plain(points["p50"]), x["p50"], y - 8, "strong halo", "middle"))
        told.append(
            f"{name}: {say.plain(points['p10'])}, {say.plain(points['p50'])}, {say.plain(points['p90'])}"
        )
    label = f"Points that one match in ten stays below, half of them, and one in ten goes above. {'; '.join(told)}."
    return drawing(out, y + 12, label)


def changes(timers: list[tuple[str, Document]]) -> str:
    """Timers as they are and as they would be better, against floor and latest arrival."""
    if not timers:
        return ""
    whole = 1.3 * max(max(one["now_s"], one["suggested_s"], one["arrival_s"] or 0.0) for _, one in timers)
    out, told, y = [], [], -8.0
    for name, one in timers:
        now, better = percent(one["now_s"], whole), percent(one["suggested_s"], whole)
        floor, arrival = one["floor_s"] or 0.0, one["arrival_s"] or 0.0
        alarm = is_breaking(one)
        lines, end = folded(f"{' and '.join(one['moves'])}, {name}", 0, y + 22, FITS, "quiet", dx=3)
        y = end + 40
        out += lines
        out.append(tag("rect", x=0, y=y - 4.5, width=percent(floor, whole), height=9, class_="solid"))
        out.append(
            tag(
                "rect",
                x=percent(floor, whole),
                y=y - 3.8,
                width=percent(max(arrival - floor, 0), whole),
                height=7.6,
                class_="hollow",
            )
        )
        out.append(tag("circle", cx=percent(arrival, whole), cy=y, r=4, class_="dot"))
        out.append(tag("line", x1=better, x2=better, y1=y - 22, y2=y + 9, class_="post-new"))
        out.append(tag("use", href="#flag-break" if alarm else "#flag", x=now, y=y))
        out.append(
            tag("line", x1=now, x2=better, y1=y - 12, y2=y - 12, class_="shift alarm" if alarm else "shift")
        )
        forward = one["suggested_s"] > one["now_s"]
        out.append(
            tag(
                "use",
                href="#to-right" if forward else "#to-left",
                x=better,
                y=y - 12,
                class_="bad" if alarm else None,
            )
        )
        out.append(
            words(
                ms_of(one["now_s"]),
                now,
                y - 24,
                None,
                "end" if forward else "start",
                dx=-3 if forward else 12,
            )
        )
        out.append(
            words(
                ms_of(one["suggested_s"]),
                better,
                y - 24,
                "strong",
                "start" if forward else "end",
                dx=5 if forward else -4,
            )
        )
        told.append(
            f"{' and '.join(one['moves'])} from {ms_of(one['now_s'])} to {ms_of(one['suggested_s'])} ms"
        )
    return drawing(out, y + 12, "; ".join(told))


def batteries(part: PlanPart, cause: MoveResult) -> str:
    """The same move on every battery against its one timer."""
    same = [
        (
            ran.state.name,
            next(
                (
                    m
                    for m in ran.state.moves
                    if (m.line, m.label, m.repeat) == (cause.line, cause.label, cause.repeat)
                ),
                None,
            ),
        )
        for ran in part.ran
    ]
    rows: list[tuple[str, Any]] = [(name, move) for name, move in same if move is not None]
    whole = 1.15 * max(
        max(move.arrival_us or 0, move.timer_us or 0, move.floor_us or 0, 1) for _, move in rows
    )
    out, told = [], []
    for number, (name, move) in enumerate(rows):
        y = 32 + 36 * number
        never = move.arrival_us is None
        bad = never or (move.margin_us is not None and move.margin_us < 0)
        text = f"{name} {no_arrival(move)}" if never else f"{name} {say.ms_signed(move.margin_us)} ms"
        out.append(words(text, 0, y - 10, "alarm" if bad else "strong", dx=3))
        out.append(marks.wait(move, whole, y))
        without = "never arrives" if move.unfinished_us is None else "cut off by the end of the match"
        times = f"arrival {say.ms(move.arrival_us)} ms, timer {say.ms(move.timer_us)} ms"
        told.append(f"{name}: {without if never else times}")
    return drawing(out, 36 * len(rows) + 8, f"{cause.label}, line {cause.line}. {'; '.join(told)}.")

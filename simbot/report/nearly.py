"""Needs that were met and nearly were not, and picks that held just in time: in words, the narrowest of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import pi

from simbot.analysis.needs import TIME, TOLERANCE
from simbot.analysis.results import NeedResult, Off, RunResult, StateResult
from simbot.analysis.words import listed, times

MOST = 6  # lines
UNITS = {"length": (1000.0, "mm"), "angle": (180.0 / pi, "deg"), "angular_speed": (30.0 / pi, "rpm")}

Key = tuple[int, str]  # line, and what it is about


@dataclass(frozen=True)
class Near:
    """One battery state's narrowest of what stands in one line."""

    key: Key
    state: str
    at_us: int  # of the first
    spare: float  # of the narrowest, in guards or in tenths of the tolerance
    said: str
    times: int


def nearly_lines(run: RunResult) -> Iterator[tuple[str, str]]:
    """Lead and text of each line, in the order in which they first happen; the narrowest MOST of them."""
    groups: dict[Key, list[Near]] = {}
    for state in run.states:
        for one in _of_state(state, run.guard_us):
            groups.setdefault(one.key, []).append(one)
    ranked = sorted(groups.values(), key=lambda group: min(one.spare for one in group))
    for group in sorted(ranked[:MOST], key=lambda group: min(one.at_us for one in group)):
        line, what = group[0].key
        said: dict[str, list[str]] = {}
        for one in group:
            said.setdefault(f"{one.said}, {times(one.times)}", []).append(one.state)
        parts = [f"{listed(states)} {told}" for told, states in said.items()]
        yield f" line {line:>3}  ", f"{what}: {'; '.join(parts)}"
    more = len(ranked) - MOST
    if more > 0:
        yield " ", f"and {more} more, less narrow: all of them are in the document of --json"


def _of_state(state: StateResult, guard_us: int) -> Iterator[Near]:
    found: dict[Key, list[tuple[float, int, str]]] = {}
    for need in state.needs:
        if need.narrow:
            key = (need.line, f"{need.mechanism} at {need.text}")
            found.setdefault(key, []).append((_spare(need, guard_us), need.at_us, _said(need)))
    for pick in state.picks:
        if pick.narrow and pick.spare_us is not None and pick.held_at_us is not None:
            key = (pick.line, "it held before what it needs was left")
            found.setdefault(key, []).append((pick.spare_us / guard_us, pick.held_at_us, _ms(pick.spare_us)))
    for key, rows in found.items():
        spare, _, said = min(rows)
        yield Near(key, state.name, rows[0][1], spare, said, len(rows))


def _spare(need: NeedResult, guard_us: int) -> float:
    found = []
    if TIME in need.narrow and need.margin_us is not None:
        found.append(need.margin_us / guard_us)
    if TOLERANCE in need.narrow and need.off is not None:
        found.append(10.0 * (1.0 - need.off.share))
    return min(found)


def _said(need: NeedResult) -> str:
    found = []
    if TIME in need.narrow and need.margin_us is not None:
        found.append(_ms(need.margin_us))
    if TOLERANCE in need.narrow and need.off is not None:
        found.append(_of_tolerance(need.off))
    return " and ".join(found)


def _ms(time_us: int) -> str:
    return f"{time_us / 1000:.{0 if time_us >= 9500 else 1}f} ms"


def _of_tolerance(off: Off) -> str:
    per, unit = UNITS[off.measures]
    return f"{off.off * per:.3g} of {off.within * per:.3g} {unit}"

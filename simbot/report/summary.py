"""What a report says about a run beyond its single rows: repeats folded, findings grouped, timers advised."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from simbot.analysis.better_timer import FINEST_US, Waited, better_us, rounded_up
from simbot.analysis.missing_waits import MissingWait, Unseen, missing_waits
from simbot.analysis.results import Finding, FindingKey, MoveResult, RunResult, StateResult

MoveKey = tuple[int, int, str, str]


@dataclass(frozen=True)
class FoldedMove:
    """All executions of one command line in one battery state: the worst of them and how many there were."""

    worst: MoveResult
    times: int


@dataclass(frozen=True)
class FoldedFinding:
    """One thing that went wrong, in every battery state in which it did."""

    key: FindingKey
    by_state: tuple[tuple[str, Finding, int], ...]  # state, first occurrence, how often

    @property
    def worst(self) -> Finding:
        return max((found for _, found, _ in self.by_state), key=lambda found: found.late_us or 0)

    @cached_property
    def said(self) -> tuple[FoldedFinding, ...]:
        """One for each thing that states say of it; those that tell how late it is are told by the worst of them."""
        texts: dict[str, list[tuple[str, Finding, int]]] = {}
        for one in self.by_state:
            texts.setdefault(one[1].text if one[1].late_us is None else "", []).append(one)
        return tuple(FoldedFinding(self.key, tuple(alike)) for alike in texts.values())

    def in_state(self, state: str) -> tuple[Finding, int] | None:
        return next(((found, times) for name, found, times in self.by_state if name == state), None)


@dataclass(frozen=True)
class TimerAdvice:
    """A written timer that should be longer, or could be shorter, over all battery states together.

    Where it should be longer and breaks nothing, `spare_us` is what it has: at the next need, or to the arrival itself
    where `asked` is False, as no stated need says that it may be late.
    """

    line: int
    written_us: int
    suggested_us: int
    labels: tuple[str, ...]
    breaks: bool
    times: int  # in a run on the battery state in which it is executed most often
    spare_us: int | None = None
    asked: bool = True

    @property
    def slack(self) -> bool:
        """It only gives time away."""
        return self.suggested_us < self.written_us


def sure_where(states: Iterable[StateResult]) -> str:
    """`; on tired if nothing resets`: of those that pass only so."""
    return "".join(f"; on {one.name} {one.passes_if}" for one in states if one.passes_if)


def waits_for_arrival(move: MoveResult) -> bool:
    """True where the routine went on because it saw the arrival, and the arrival was a true one."""
    return move.seen_arrival_us is not None and move.verdict in ("snug", "slack")


def seen_early(move: MoveResult) -> bool:
    """True where the routine went on because it saw the mechanism inside before it stayed there."""
    return move.seen_arrival_us is not None and move.verdict in ("short", "impossible")


def breaks(move: MoveResult) -> bool:
    return (
        move.stuck or move.consequence == "breaking" or (move.verdict == "never" and move.consequence is None)
    )


def badness(move: MoveResult) -> tuple[int, float]:
    """Sort key: the larger, the worse. What only the end of the match kept from arriving tells least."""
    if move.unfinished_us is not None:
        return (-1, 0.0)
    rank = 3 if move.stuck else {"never": 3, "impossible": 2, "short": 1}.get(move.verdict or "", 0)
    margin: float = move.margin_us if move.margin_us is not None else float("inf")
    if waits_for_arrival(move):  # no timer to judge: the longest of them
        margin = -(move.arrival_us or 0)
    return (rank + (3 if rank and breaks(move) else 0), -margin)


def has_target(move: MoveResult) -> bool:
    """False for a roller that is only told to turn: it has nowhere to arrive."""
    return move.arrival_us is not None or move.ends_at is not None


def no_arrival(move: MoveResult) -> str:
    """Instead of the time of an arrival that there is none of."""
    return "never" if move.unfinished_us is None else "cut off"


def move_key(move: MoveResult) -> MoveKey:
    return (move.step, move.line, move.mechanism, move.label)


def fold_moves(moves: Iterable[MoveResult]) -> dict[MoveKey, FoldedMove]:
    """Executions of one line folded, in the order of their steps."""
    groups: dict[MoveKey, list[MoveResult]] = {}
    for move in filter(has_target, moves):
        groups.setdefault(move_key(move), []).append(move)
    return {
        key: FoldedMove(max(group, key=badness), len(group))
        for key, group in sorted(groups.items(), key=lambda item: item[0][:2])
    }


def fold_findings(states: Iterable[StateResult]) -> list[FoldedFinding]:
    """Findings grouped by what they are and where they stand, in the order in which they first happen."""
    groups: dict[FindingKey, dict[str, list[Finding]]] = {}
    for state in states:
        for found in state.findings:
            groups.setdefault(found.key, {}).setdefault(state.name, []).append(found)
    folded = [
        FoldedFinding(
            key, tuple((name, found[0], sum(one.times for one in found)) for name, found in by_state.items())
        )
        for key, by_state in groups.items()
    ]
    return sorted(folded, key=lambda group: min(found.at_us for _, found, _ in group.by_state))


def letters(findings: Iterable[FoldedFinding]) -> dict[FindingKey, str]:
    """a, b, c ... for the findings that make a state fail; z is the last, further ones share it."""
    failing = [group.key for group in findings if group.worst.fails]
    return {key: chr(ord("a") + min(index, 25)) for index, key in enumerate(failing)}


def letter_of(move: MoveResult, lettered: dict[FindingKey, str]) -> str:
    """The letters of what this move's wait breaks, in order."""
    return "".join(
        letter
        for key, letter in lettered.items()
        if key.cause_line == move.line and key.mechanism in (None, move.mechanism)
    )


def advise_timers(run: RunResult) -> list[TimerAdvice]:
    """Timers to lengthen or to shorten, by line, by the arrivals and needs of this run.

    What is advised is what `simbot tune` begins with (see `simbot.analysis.better_timer`), which then looks for a set
    that holds together. Waits that read one number are one timer, in the line of the first. One whose move never
    arrives gets no advice: no timer helps there.
    """
    first = {line: number.lines[0] for number in run.timers for line in number.lines}
    grains = {number.lines[0]: number.grain_us for number in run.timers}
    timed: dict[int, list[tuple[str, MoveResult]]] = {}
    for state in run.states:
        for move in state.moves:
            if move.wait_line is not None and move.timer_written_us is not None and move.verdict is not None:
                line = first.get(move.wait_line, move.wait_line)
                timed.setdefault(line, []).append((state.name, move))
    advice = [
        _advise(line, group, run.guard_us, run.loop_us, grains.get(line, FINEST_US))
        for line, group in sorted(timed.items())
    ]
    return [one for one in advice if one is not None]


def advise_waits(run: RunResult) -> tuple[MissingWait, ...]:
    """Waits to put in, over all battery states together."""
    found = (
        Unseen(need.line, need.step, need.mechanism, need.text, need.missing_wait_us)
        for state in run.states
        for need in state.needs
        if need.missing_wait_us is not None
    )
    return missing_waits(found, run.guard_us, run.loop_us)


def _advise(
    line: int, group: list[tuple[str, MoveResult]], guard_us: int, loop_us: int, grain_us: int
) -> TimerAdvice | None:
    group = [each for each in group if each[1].unfinished_us is None] or group
    group = [each for each in group if not each[1].asked_too_soon] or group
    moves = [move for _, move in group]
    if any(move.verdict == "never" or move.margin_us is None for move in moves):
        return None
    late = [move for move in moves if breaks(move)]
    written = max(move.timer_written_us for move in moves if move.timer_written_us is not None)
    waited = _waited(group, written, guard_us, loop_us)
    suggested = better_us(written, waited, guard_us, loop_us, grain_us)
    if suggested == written:
        return None
    asked = not any(one.unasked for one in waited)
    margins = [move.need_margin_us if asked else move.margin_us for move in moves]
    spare = min((margin for margin in margins if margin is not None), default=None)
    ends: dict[str, set[int]] = {}
    for name, move in group:
        ends.setdefault(name, set()).add(move.start_at_us + (move.timer_us or 0))
    labels = tuple(dict.fromkeys(move.label for move in late or moves))
    times = max(map(len, ends.values()))
    return TimerAdvice(line, written, suggested, labels, bool(late), times, spare, asked)


def _waited(
    group: list[tuple[str, MoveResult]], written_us: int, guard_us: int, loop_us: int
) -> list[Waited]:
    """The executions of a timer: the moves that one end of it times, together."""
    have = rounded_up(written_us, loop_us, 1)
    asked = {
        (move.line, move.mechanism)
        for _, move in group
        if move.need_margin_us is not None or move.asked_too_soon or breaks(move)
    }
    together: dict[tuple[str, int], list[MoveResult]] = {}
    for name, move in group:
        together.setdefault((name, move.start_at_us + (move.timer_us or 0)), []).append(move)
    found = []
    for moves in together.values():
        margins = [move.margin_us for move in moves if move.margin_us is not None]
        needs = [move.need_margin_us for move in moves if move.need_margin_us is not None]
        unasked = any(
            (move.line, move.mechanism) not in asked
            and move.margin_us is not None
            and move.margin_us < guard_us
            for move in moves
        )
        found.append(Waited(have - min(margins), min(needs, default=None), any(map(breaks, moves)), unasked))
    return found

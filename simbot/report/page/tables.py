"""The same as the timeline in rows: every wait on every battery, and every command of one run."""

from __future__ import annotations

from dataclasses import dataclass

from simbot.analysis.results import MoveResult
from simbot.report.page import marks, say
from simbot.report.page.parts import PlanPart, Ran
from simbot.report.page.svg import drawing, percent, tag, words
from simbot.report.summary import (
    FoldedFinding,
    breaks,
    fold_findings,
    fold_moves,
    letter_of,
    letters,
    no_arrival,
    waits_for_arrival,
)

ROW = 21.0


@dataclass(frozen=True)
class Cell:
    """One wait on one battery state."""

    state: str
    floor: str
    arrival: str
    timer: str
    margin: str
    verdict: str
    what: str
    bad: bool


@dataclass(frozen=True)
class Wait:
    """One command line on all battery states; of repeats the worst."""

    step: int
    line: int
    label: str
    times: int
    svg: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Failure:
    """One finding on all battery states, with its wait drawn large."""

    letter: str
    fails: bool
    said: tuple[tuple[str, str], ...]  # each thing said of it, and on which states
    label: str
    svg: str


def cell(state: str, move: MoveResult, what: str) -> Cell:
    waits = waits_for_arrival(move)
    timer = say.ms(move.timer_us)
    return Cell(
        state,
        say.ms(move.floor_us),
        no_arrival(move) if move.arrival_us is None else say.ms(move.arrival_us),
        timer if move.seen_arrival_us is None else f"({timer})",
        "" if waits or move.margin_us is None else say.ms_signed(move.margin_us),
        say.verdict(move),
        what,
        breaks(move),
    )


def waits(part: PlanPart) -> list[Wait]:
    """Rows of the table over all battery states."""
    folded = {ran.state.name: fold_moves(ran.state.moves) for ran in part.ran}
    lettered = letters(fold_findings([ran.state for ran in part.ran]))
    keys = sorted({key: None for moves in folded.values() for key in moves}, key=lambda key: key[:2])
    whole = _whole_us([fold.worst for moves in folded.values() for fold in moves.values()])
    out = []
    for key in keys:
        group = [(name, moves[key]) for name, moves in folded.items() if key in moves]
        cells = []
        for name, fold in group:
            letter = letter_of(fold.worst, lettered)
            what = _what(fold.worst)
            if letter and breaks(fold.worst):
                what = f"breaks: {', '.join(letter)}"
            cells.append(cell(name, fold.worst, what))
        svg = _bars([(name, fold.worst) for name, fold in group], whole)
        out.append(Wait(key[0], key[1], key[3], max(fold.times for _, fold in group), svg, tuple(cells)))
    return out


def _what(move: MoveResult) -> str:
    if move.consequence == "harmless" and move.need_margin_us:
        return f"harmless, {say.ms(move.need_margin_us)} to spare"
    return say.consequence(move)


def _whole_us(moves: list[MoveResult]) -> float:
    """One scale for all rows: the longest wait that is judged; longer drives run out of it."""
    judged = [move for move in moves if not waits_for_arrival(move)] or moves
    return 1.06 * max(
        (max(move.floor_us or 0, move.arrival_us or 0, move.timer_us or 0) for move in judged), default=1
    )


def _bars(group: list[tuple[str, MoveResult]], whole: float) -> str:
    out = []
    one = len(group) > 1 and len({(move.timer_us, waits_for_arrival(move)) for _, move in group}) == 1
    for number, (_, move) in enumerate(group):
        y = ROW * (number + 0.5)
        longest = max(move.floor_us or 0, move.arrival_us or 0)
        out.append(
            marks.wait(move, whole, y, post=not one) if longest <= whole else _runs_out(move, whole, y)
        )
    if one:
        out.append(_post([move for _, move in group], whole))
    label = "; ".join(f"{name}: {say.sentence(move)}" for name, move in group)
    return drawing(out, ROW * len(group), label, class_="bars")


def _post(moves: list[MoveResult], whole: float) -> str:
    """One post for all batteries, since the timer does not change; its flag is that of the worst."""
    timer = moves[0].timer_us
    if timer is None or waits_for_arrival(moves[0]):
        return ""
    flags = [marks.flag_of(move) for move in moves]
    flag = next(one for one in ("flag-break", "flag-soft", "flag") if one in flags)
    x, down = percent(timer, whole), ROW * (len(moves) - 0.5) + 9
    post = f"post {'alarm' if flag == 'flag-break' else ''}".strip()
    lines = "".join(tag("line", x1=x, x2=x, y1=0, y2=down, class_=class_) for class_ in ("post-ground", post))
    return lines + tag("use", href=f"#{flag}-head", x=x, y=0)


def _runs_out(move: MoveResult, whole: float, y: float) -> str:
    """A bar longer than the scale: cut off with a torn end."""
    floor = min(float(move.floor_us or 0), whole)
    bar = tag("rect", x=0, y=y - 4.5, width=percent(floor, whole), height=9, class_="solid")
    if floor < whole:
        bar += tag(
            "rect",
            x=percent(floor, whole),
            y=y - 3.8,
            width=percent(whole - floor, whole),
            height=7.6,
            class_="hollow",
        )
    return bar + tag("use", href="#torn", x="100%", y=y)


def failures(part: PlanPart) -> list[Failure]:
    """Findings, those that make a state fail first, in the order in which they happen."""
    states = [ran.state for ran in part.ran]
    findings = fold_findings(states)
    lettered = letters(findings)
    return [
        Failure(
            lettered.get(group.key, ""), group.worst.fails, _said(part, group), _label(part, group), _strip(part, group)
        )
        for group in sorted(findings, key=lambda group: not group.worst.fails)
    ]  # fmt: skip


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _said(part: PlanPart, group: FoldedFinding) -> tuple[tuple[str, str], ...]:
    absent = [ran.state.name for ran in part.ran if group.in_state(ran.state.name) is None]
    return tuple(
        (f"{_capital(told.worst.text)}.", _where(told, absent if told is group.said[-1] else []))
        for told in group.said
    )


def _where(group: FoldedFinding, absent: list[str]) -> str:
    parts = []
    for name, found, count in group.by_state:
        late = f"{say.ms(found.late_us)} ms, " if found.late_us else ""
        parts.append(f"{name}: {late}{say.times(count)}, first at {say.seconds(found.at_us)}")
    if absent:
        parts.append(f"not on {say.listed(absent)}")
    return "; ".join(parts) + "."


def _causes(part: PlanPart, group: FoldedFinding) -> list[tuple[str, MoveResult]]:
    """The move to blame on every battery, at the worst."""
    if group.key.kind == "never_arrived":
        return []
    out = []
    for ran in part.ran:
        moves = [
            m
            for m in ran.state.moves
            if m.line == group.key.cause_line
            and group.key.mechanism in (None, m.mechanism)
            and m.margin_us is not None
        ]
        if moves:
            out.append((ran.state.name, min(moves, key=lambda move: move.margin_us or 0)))
    return out


def _label(part: PlanPart, group: FoldedFinding) -> str:
    causes = _causes(part, group)
    return causes[0][1].label if causes else (group.worst.mechanism or group.key.about or "")


def _strip(part: PlanPart, group: FoldedFinding) -> str:
    causes = _causes(part, group)
    if not causes:
        return ""
    whole = 1.08 * max(max(move.arrival_us or 0, move.timer_us or 0) for _, move in causes)
    out = []
    for number, (name, move) in enumerate(causes):
        y = 26 + 46 * number
        out.append(marks.wait(move, whole, y, height=15.0))
        told = f"{name}: arrival {say.ms(move.arrival_us)}, timer {say.ms(move.timer_us)}"
        told += f", {say.ms_signed(move.margin_us)} ms"
        out.append(words(told, 0, y + 22, "alarm" if breaks(move) else "quiet", dx=4))
        floor = move.floor_us or 0
        if floor > 0.2 * whole:
            out.append(words(f"floor {say.ms(floor)}", 0, y + 4, "on-ink", dx=6))
    label = "; ".join(f"{name}: {say.sentence(move)}" for name, move in causes)
    return drawing(out, 46 * len(causes) + 12, label)


@dataclass(frozen=True)
class Row:
    """One command of one run."""

    step: int
    line: int
    label: str
    start: str
    cell: Cell
    ends: str


def every_move(ran: Ran) -> list[Row]:
    """All commands of a run that go somewhere, in the order of time."""
    moves = [move for move in ran.state.moves if move.arrival_us is not None or move.ends_at is not None]
    return [
        Row(
            move.step,
            move.line,
            move.label,
            f"{move.start_at_us / 1e6:.2f}",
            cell(ran.state.name, move, _what(move)),
            "taken over" if move.cut else move.reason,
        )
        for move in sorted(moves, key=lambda move: (move.start_at_us, move.step))
    ]

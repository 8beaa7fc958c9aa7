"""What `simbot run` prints: 80 columns, ASCII drawings; colour on a terminal only, and never alone."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Sequence
from pathlib import PurePath
from typing import IO

from rich.console import Console
from rich.text import Text

from simbot.analysis.missing_waits import MissingWait
from simbot.analysis.results import FindingKey, MoveResult, RunResult, StateResult
from simbot.analysis.words import listed, times
from simbot.report import bars
from simbot.report.chosen import chosen_rows
from simbot.report.fallen import fallen_rows
from simbot.report.labels import cut
from simbot.report.nearly import nearly_lines
from simbot.report.summary import (
    FoldedFinding,
    FoldedMove,
    MoveKey,
    TimerAdvice,
    advise_timers,
    advise_waits,
    breaks,
    fold_findings,
    fold_moves,
    letter_of,
    letters,
    no_arrival,
    seen_early,
    waits_for_arrival,
)

WIDTH = 80
BAR_WIDTH = 31
MOST_STATES = 5  # beside one another
BAR_STYLES = {"!": "bold red", "/": "red", "?": "bold red", "o": "bold", "#": "bold", ".": "dim", "-": "dim"}
HEADING, ALARM, QUIET = "bold", "bold red", "dim"

Lines = list[Text]


def console(stream: IO[str]) -> Console:
    """A console that colours on a terminal only and never wraps or rewrites what it is given."""
    return Console(
        file=stream, width=max(WIDTH, 80), highlight=False, markup=False, emoji=False, soft_wrap=True
    )


def print_run(run: RunResult, drawn: StateResult, stream: IO[str]) -> None:
    """Print one run; `drawn` is the battery state whose bars are drawn."""
    out = console(stream)
    for line in run_lines(run, drawn):
        out.print(line)


def run_lines(run: RunResult, drawn: StateResult) -> Lines:
    """The report of one run, line by line."""
    folded = {state.name: fold_moves(state.moves) for state in run.states}
    findings = fold_findings(run.states)
    lettered = letters(findings)
    advice = advise_timers(run)
    sections = [
        _head(run),
        _bars(drawn, folded[drawn.name], findings, lettered),
        _table(run, folded, lettered),
        _findings(run, findings, lettered),
        _section(
            f"Met narrowly: for less than {_ms(run.guard_us)} ms, or in the last tenth of a tolerance",
            nearly_lines(run),
        ),
        _advice(run, advice, advise_waits(run)),
        _cycle(run),
        _section("What fell, and what cost points", fallen_rows(run)),
        _section("How the steps that choose ended", chosen_rows(run)),
        _battery(run),
        _measured(drawn, folded[drawn.name]),
        _cautions(run, drawn, advice),
    ]
    lines: Lines = []
    for section in sections:
        if section:
            lines += [*([Text("")] if lines else []), *section]
    return lines


# --- pieces -------------------------------------------------------------------------------------------


def _ms(time_us: int | None, signed: bool = False) -> str:
    if time_us is None:
        return "-"
    text = f"{time_us / 1000:+.0f}" if signed else f"{time_us / 1000:.0f}"
    return f"{time_us / 1000:+.1f}" if signed and time_us and abs(time_us) < 950 else text


def _seconds(time_us: int) -> str:
    return f"{time_us / 1e6:.2f} s"


def _wrapped(text: str, lead: str = " ", style: str = "") -> Lines:
    hanging = " " * len(lead)
    return [
        Text(line, style=style)
        for line in textwrap.wrap(text, WIDTH, initial_indent=lead, subsequent_indent=hanging)
    ]


def _heading(text: str) -> Text:
    return Text(text, style=HEADING)


# --- sections -----------------------------------------------------------------------------------------


def _but(others: Sequence[str]) -> str:
    return f" but {' and '.join(others)}" if others else ""


def _head(run: RunResult) -> Lines:
    lines = _title(f"{run.plan}: {run.robot} in {run.game}", PurePath(run.plan_path).name)
    lines += _wrapped(
        f"NOMINAL: no chance, no misses, no traffic{_but(run.others)}, no driver. The real cycles of a first plan run "
        "2 to 4 times longer until those are in it."
        if run.match is None
        else f"MATCH {run.match[0]} of seed {run.match[1]}, WITH CHANCE: one match as `simbot match` draws it; "
        "floors are the nominal robot's."
    )
    for state in run.states:
        head = f" {cut(state.name, 24):<10} {state.open_circuit:5.4g} V, {state.resistance:.3f} ohm "
        head += f"{state.points.get('total') or 0:>4g} points  "
        verdict, style = _passes(state)
        said = textwrap.wrap(verdict, WIDTH - len(head))
        lines.append(Text(head).append(said[0], style))
        lines += [Text(" " * len(head)).append(more, style) for more in said[1:]]
    return lines + (_weakest(run) if run.match is None else [])


def _title(title: str, file: str) -> Lines:
    """What is run, and at the right the file, where it still has room."""
    lines = textwrap.wrap(title, WIDTH, break_on_hyphens=False) or [""]
    if len(lines[-1]) + 2 + len(file) > WIDTH:
        lines += textwrap.wrap(file, WIDTH - 4, initial_indent="    ", subsequent_indent="    ")
    else:
        lines[-1] = f"{lines[-1]}{file:>{WIDTH - len(lines[-1])}}"
    return [_heading(line) for line in lines]


def _passes(state: StateResult) -> tuple[str, str]:
    """Whether a battery state passes, in words, and their style."""
    failing = [found for found in state.findings if found.fails]
    never = next((found for found in state.findings if found.kind == "never_arrived"), None)
    if state.passes and never is not None:
        return f"{f'passes {state.passes_if}'.strip()}; line {never.line} waits in vain", ALARM
    if not state.moves and not state.needs:
        return "nothing to judge: no move, no need", ALARM
    if state.passes and state.needs and state.passes_if:
        return f"passes {state.passes_if}", ALARM
    if state.passes and state.needs and (state.points.get("total") or 0.0) <= 0.0:
        return "passes, but scores nothing", ALARM
    if state.passes:
        return "passes" if state.needs else "passes, but states no need", ""
    first = f", first at {_seconds(failing[0].at_us)}, line {failing[0].line}" if failing else ""
    return f"MISSES {len(failing)}{first}", ALARM


def _weakest(run: RunResult) -> Lines:
    if not any(state.moves or state.needs for state in run.states):
        return []
    if run.weakest_state_that_passes is None:
        text = "The strongest battery state fails already"
    else:
        weakest = run.weakest_state_that_passes
        text = f"Weakest battery with which the routine still passes: {weakest}"
        text += "".join(f", {one.passes_if}" for one in run.states if one.name == weakest and one.passes_if)
    passing = [state.name for state in run.states if state.passes]
    if run.failing_states and passing and run.weakest_state_that_passes != passing[-1]:
        text += f"; {listed(passing)} pass{'es' if len(passing) == 1 else ''} all the same"
    if run.failing_states:
        text += f"; failing: {listed(run.failing_states)}"
    return _wrapped(text + ".")


def _bars(
    drawn: StateResult,
    folded: dict[MoveKey, FoldedMove],
    findings: list[FoldedFinding],
    lettered: dict[FindingKey, str],
) -> Lines:
    moves = [fold.worst for fold in folded.values()]
    if not moves:
        return [Text(" No command of this plan has an arrival to wait for.")]
    scale = bars.choose_scale(moves, BAR_WIDTH)
    axis = f"|1 column = {scale // 1000} ms, {cut(drawn.name, 14)}"
    lines = [_heading(f" step {'':<17} line {axis:<{BAR_WIDTH + 1}} margin")]
    lines += [_bar_line(move, scale, letter_of(move, lettered)) for move in moves]
    for group in findings:
        here = group.in_state(drawn.name)
        if here and group.key in lettered:
            lines += _link(lettered[group.key], group, drawn.name)
    lines += _spares(moves)
    legend = [
        *bars.LEGEND,
        *([bars.CUT_OFF] if any(move.unfinished_us is not None for move in moves) else []),
    ]
    return lines + [Text(f"  {line}", style=QUIET) for line in legend]


def _bar_line(move: MoveResult, scale: int, letter: str) -> Text:
    line = Text(f"  {move.step:>3} {cut(move.label, 17):<17} {move.line:>4} |")
    for char in bars.draw(move, scale, BAR_WIDTH - 1):
        alarm = char in "!/?" and not breaks(move)
        line.append(char, "" if alarm else BAR_STYLES.get(char, ""))
    line.append(" " * (29 + BAR_WIDTH - len(line)))
    if waits_for_arrival(move):
        line.append("       waits for it")
    elif move.verdict is None and not move.stuck:
        had = move.unfinished_us
        line.append("       not timed" if had is None else f" cut off at {_ms(had)} ms")
    else:
        margin = _ms(move.margin_us, signed=True) if move.margin_us is not None else "?"
        style = ALARM if breaks(move) else ""
        line.append(f"{margin:>6} {_verdict(move)}", style)
        _add_letters(line, letter if breaks(move) else "", style)
    return line


def _add_letters(line: Text, letters: str, style: str) -> None:
    """What a wait breaks, as many of it as the line has room for, and a + for the others."""
    room = WIDTH - len(line) - 1
    line.append(
        f" {letters if len(letters) <= room else letters[: room - 1] + '+'}" if letters else "", style
    )


def _spares(moves: list[MoveResult]) -> Lines:
    """Why the waits that are too short and harmless are harmless."""
    harmless = [move for move in moves if move.consequence == "harmless"]
    spares = [
        f"line {move.line} {move.mechanism}, {_ms(move.need_margin_us)} ms to spare at the next need"
        for move in harmless
        if move.need_margin_us is not None
    ]
    unasked = [f"line {move.line} {move.mechanism}" for move in harmless if move.need_margin_us is None]
    lines = _wrapped("; ".join(spares) + ".", "   ok ") if spares else []
    return lines + (_wrapped(f"{listed(unasked)}: no stated need follows.", "    ? ") if unasked else [])


def _verdict(move: MoveResult) -> str:
    if move.verdict is None:
        return "never" if move.stuck else "not timed"
    word = "early" if seen_early(move) else move.verdict
    if move.consequence != "harmless":
        return word
    return f"{word} ?" if move.need_margin_us is None else f"{word} ok"


def _link(letter: str, group: FoldedFinding, state: str) -> Lines:
    found, count = group.in_state(state) or (group.worst, 1)
    what = {
        "need_unmet": f"needs {found.mechanism}",
        "pick_lost": f"{found.mechanism} {'took nothing' if found.late_us == 0 else 'has not closed'}",
        "nothing_held": "nothing in hand",
        "place_full": "the place is full",
        "place_missed": "missed the place",
        "never_arrived": f"stands for the {found.mechanism}, which never arrives",
    }.get(found.kind, found.kind.replace("_", " "))
    late = f", {_ms(found.late_us)} ms too early" if found.late_us else ""
    outcome = f": {found.outcome}" if found.outcome else ""
    often = f", {times(count)}" if count > 1 else ""
    text = f"step {found.step}, line {found.line}: {what}{late}{outcome}{often}"
    return _wrapped(text, f"  {letter:>3} ", ALARM)


def _table(
    run: RunResult, folded: dict[str, dict[MoveKey, FoldedMove]], lettered: dict[FindingKey, str]
) -> Lines:
    keys = sorted(dict.fromkeys(key for moves in folded.values() for key in moves), key=lambda key: key[:2])
    if not keys:
        return []
    lines = [
        _heading("Every wait on every battery [ms]; of repeats the worst"),
        _heading(f" step {'':<17} line  {'battery':<9} floor arrival  timer margin verdict"),
    ]
    notes: set[str] = set()
    for key in keys:
        group = [(name, moves[key]) for name, moves in folded.items() if key in moves]
        most = max(fold.times for _, fold in group)
        for index, (name, fold) in enumerate(group):
            head = f"  {key[0]:>3} {cut(key[3], 17):<17} {key[1]:>4}" if index == 0 else ""
            if index == 1 and most > 1:
                head = f"      {times(most)}"
            lines.append(_table_line(f"{head:<28}", name, fold.worst, letter_of(fold.worst, lettered), notes))
    return lines + [Text(f" {note}", style=QUIET) for note in sorted(notes)]


def _table_line(head: str, state: str, move: MoveResult, letter: str, notes: set[str]) -> Text:
    arrival = no_arrival(move) if move.arrival_us is None else _ms(move.arrival_us)
    if move.unfinished_us is not None:
        notes.add(bars.CUT_OFF)
    timer = _ms(move.timer_us)
    if move.cut:
        arrival += "*"
        notes.add("*   taken over before it arrived: the arrival the old command would have given")
    if move.seen_arrival_us is not None:
        timer = f"({timer})"
        notes.add("( ) the wait lasts until the arrival is seen")
    margin = _ms(move.margin_us, signed=True)
    line = Text(f"{head} {state[:9]:<9} {_ms(move.floor_us):>5} {arrival:>7} {timer:>6} {margin:>6} ")
    if breaks(move):
        notes.add("a b the letter of the finding below: what the wait breaks")
    elif move.consequence == "harmless":
        if move.need_margin_us is None:
            notes.add("?   too short or never there, and no need says whether that does harm")
        else:
            notes.add("ok  too short, but nothing that states its needs suffers")
    verdict = "waits" if waits_for_arrival(move) else _verdict(move)
    if verdict.startswith("early"):
        notes.add("early: its code sees it inside before it stays there")
    style = ALARM if breaks(move) else ""
    line.append(verdict, style)
    _add_letters(line, letter if breaks(move) else "", style)
    return line


def _findings(run: RunResult, findings: list[FoldedFinding], lettered: dict[FindingKey, str]) -> Lines:
    if not findings:
        return [_heading("Findings"), Text(" None: every need stated is met on every battery state.")]
    lines = [_heading("Findings, first cause first")]
    for group in findings:
        lead = f" {lettered.get(group.key, '-')}  "
        absent = [state.name for state in run.states if group.in_state(state.name) is None]
        for told in group.said:
            lines += _wrapped(told.worst.text, lead, ALARM if told.worst.fails else "")
            lines += _wrapped(_in_states(told, absent if told is group.said[-1] else []), "    ")
    return lines


def _in_states(group: FoldedFinding, absent: list[str]) -> str:
    """The states in which it happens, those that say the same together, and those in which it does not."""
    said: dict[str, list[str]] = {}
    for state, found, count in group.by_state:
        late = f"{_ms(found.late_us)} ms, " if found.late_us else ""
        said.setdefault(f"{late}{times(count)}, first at {_seconds(found.at_us)}", []).append(state)
    parts = [f"{listed(states)}: {what}" for what, states in said.items()]
    if absent:
        parts.append(f"not on {listed(absent)}")
    return "; ".join(parts) + "."


def _advice(run: RunResult, advice: list[TimerAdvice], waits: Sequence[MissingWait]) -> Lines:
    if not advice and not waits:
        return []
    lines = [
        _heading(
            f"Timers to change, for every battery state and {_ms(run.guard_us)} ms of guard, as in this run"
        ),
        _heading(" line    now  better   change  why"),
    ]
    for wait in waits:
        text = f" {wait.line:>4} {'-':>6} {_ms(wait.wait_us):>7} {'new':>8}  "
        late = listed([mechanism for mechanism, _ in wait.needs])
        why = f"put a wait before line {wait.line}: {cut(late, 12)} comes later"
        lines.append(Text((text + why)[:WIDTH], style=ALARM))
    for one in advice:
        change = one.suggested_us - one.written_us
        labels = cut(", ".join(one.labels), 22)
        why = f"{labels}: {_why(one)}"
        text = f" {one.line:>4} {_ms(one.written_us):>6} {_ms(one.suggested_us):>7} {_ms(change, True):>8}  "
        lines.append(Text((text + why)[:WIDTH], style=ALARM if one.breaks else ""))
    text = (
        "A longer timer moves all that follows, and arrivals with it (what was dropped too early is then still "
        "carried): run the plan again after each change. `simbot tune` begins with these and looks for the set that "
        "holds together."
    )
    if waits:
        text += " What is new it does not put in: put it in first."
    gains = [(one.written_us - one.suggested_us) * one.times for one in advice if one.slack]
    means = [state.cycle_time_s for state in run.states if state.cycle_time_s is not None]
    if gains and means and max(gains) * 1e-6 < min(means):
        text += (
            f" Slack gives back time, beside a longer branch not even that; points only where one more cycle finds "
            f"room, and none of these is as long as one ({min(means):.2f} s)."
        )
    return lines + _wrapped(text)


def _why(one: TimerAdvice) -> str:
    if one.breaks:
        return "too short, breaks what follows"
    if one.slack:
        return f"slack, {times(one.times)}: {_seconds((one.written_us - one.suggested_us) * one.times)}"
    spare = one.spare_us or 0
    has = f"{_ms(spare)} ms to spare" if spare >= 0 else f"{_ms(-spare)} ms short"
    return has if one.asked else f"{has}, no need asks"


def _rows(run: RunResult, title: str, rows: Iterable[tuple[str, Callable[[StateResult], str]]]) -> Lines:
    rows = list(rows)
    lines: Lines = []
    for begin in range(0, len(run.states), MOST_STATES):
        states = run.states[begin : begin + MOST_STATES]
        wide = min(12, (WIDTH - 34) // len(states))
        names = "".join(f"{state.name[: wide - 1]:>{wide}}" for state in states)
        lines.append(_heading(f"{title:<34}{names}"))
        for label, value in rows:
            values = [value(state) for state in states]
            if any(text != "-" for text in values):
                told = "".join(f"{text:>{wide}}" for text in values)
                lines.append(Text(f" {cut(label, 33):<33}{told}"))
    return lines


def _number(value: float | None, form: str) -> str:
    return "-" if value is None else format(value, form)


def _cycle(run: RunResult) -> Lines:
    def share(name: str) -> Callable[[StateResult], str]:
        return lambda state: _number(getattr(state.time, name) if state.time else None, ".2f")

    def scored(period: str) -> Callable[[StateResult], str]:
        return lambda state: _number(state.points.get(period), "g")

    def penalties(state: StateResult) -> str:
        paid = any(each.kind == "penalty" for one in run.states for each in one.awards)
        return f"{state.penalties + 0.0:g}" if paid else "-"

    periods = list(dict.fromkeys(name for state in run.states for name in state.points if name != "total"))
    rows: list[tuple[str, Callable[[StateResult], str]]] = [
        ("whole cycles", lambda state: str(state.cycles)),
        ("cycle time, mean [s]", lambda state: _number(state.cycle_time_s, ".2f")),
        ("  driving", share("driving_s")),
        ("  moving", share("moving_s")),
        ("  waiting on timers", share("timers_s")),
        ("  waiting at stations and places", share("stations_s")),
        ("  given away", share("given_away_s")),
        ("without what periods leave idle", _without_idle),
        ("points a second, whole cycles", lambda state: _number(state.points_per_s, ".3f")),
        *((f"points, {name.replace('_', ' ')}", scored(name)) for name in periods),
        ("  penalties in these", penalties),
        ("points in all, nominal" if run.match is None else "points in all", scored("total")),
        ("points of the partner", lambda state: _number(state.partner_points, "g")),
        ("points of both robots", _of_both),
    ]
    lines = _rows(run, "The cycle", rows)
    for state in run.states:
        if state.unfinished:
            lines += _wrapped(f"{state.name}: {state.unfinished}")
    return lines


def _section(title: str, rows: Iterable[tuple[str, str]]) -> Lines:
    """Rows of lead and text beneath a title; nothing where there are none."""
    lines = [line for lead, text in rows for line in _wrapped(text, lead)]
    return [_heading(title), *lines] if lines else []


def _without_idle(state: StateResult) -> str:
    """Cycle time without what is left of periods after their routine, which is no part of what is repeated."""
    if state.cycle_time_s is None or not any(left >= 0.05 for left in state.idle_s.values()):
        return "-"
    return f"{state.cycle_time_s - sum(state.idle_s.values()) / state.cycles:.2f}"


def _of_both(state: StateResult) -> str:
    partner = state.partner_points
    return _number(None if partner is None else (state.points["total"] or 0.0) + partner, "g")


def _battery(run: RunResult) -> Lines:
    rows: list[tuple[str, Callable[[StateResult], str]]] = [
        ("lowest bus voltage [V]", lambda state: f"{state.bus_min_v:.2f}"),
        ("  at [s]", lambda state: f"{state.bus_min_at_us / 1e6:.2f}"),
        ("battery current, peak [A]", lambda state: f"{state.current_peak_a:.1f}"),
        ("battery current, mean [A]", lambda state: f"{state.current_mean_a:.1f}"),
        ("above the main fuse's rating [s]", lambda state: _number(state.over_fuse_s, ".2f")),
        ("energy from the battery [kJ]", lambda state: f"{state.energy_j / 1000:.2f}"),
    ]
    return _rows(run, "The battery", rows)


def _measured(drawn: StateResult, folded: dict[MoveKey, FoldedMove]) -> Lines:
    rows = [fold.worst for fold in folded.values() if fold.worst.measured_s]
    if not rows:
        return []
    lines = [
        _heading(f"Measured against predicted, {drawn.name}"),
        _heading(f" step {'':<17} line  predicted   measured  measured / predicted"),
    ]
    for move in rows:
        mean = sum(move.measured_s) / len(move.measured_s)
        head = f"  {move.step:>3} {cut(move.label, 17):<17} {move.line:>4}"
        if move.arrival_us is None:
            lines.append(Text(f"{head} {no_arrival(move):>10} {mean:8.3f} s"))
            continue
        ratio = f"{mean / (move.arrival_us / 1e6):.2f}" if move.arrival_us else "-"
        lines.append(
            Text(
                f"{head} {move.arrival_us / 1e6:8.3f} s {mean:8.3f} s  {ratio}, "
                f"mean of {len(move.measured_s)}"
            )
        )
        if move.floor_us is not None and mean < move.floor_us / 1e6:
            lines += _wrapped(
                f"Measured faster than the floor of {_ms(move.floor_us)} ms: the stopwatch, the battery "
                "or a number in the robot file is off.",
                "      ",
                ALARM,
            )
    return lines


def _cautions(run: RunResult, drawn: StateResult, advice: list[TimerAdvice]) -> Lines:
    lines = [_heading("Before the robot moves")]
    without, acting = drawn.acting_steps_without_needs, drawn.acting_steps
    if acting:
        steps = "1 acting step was" if acting == 1 else f"{acting} acting steps were"
        text = f"{steps} carried out (picks, places, hand-overs), {without} of them without needs"
        text += "; a timer is called harmless only to the needs stated." if without else "."
        lines += _wrapped(text, " - ")
    if advice:
        lines += _wrapped(
            "First run of a changed timer: slowly, wheels off the ground, hands and faces clear, one of you "
            "at the stop.",
            " - ",
        )
    lines += _wrapped(
        "A simulated time is never permission. The event's rules, its inspectors and the qualified adult "
        "beside the robot decide what may run.",
        " - ",
    )
    for caution in run.cautions:
        lines += _wrapped(caution, " - ")
    return lines

"""What `simbot tune` prints: 80 columns, plain characters."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator
from pathlib import PurePath
from typing import IO

from simbot.analysis.words import listed
from simbot.report.labels import cut
from simbot.report.patch import CAUTION, DEFER, written
from simbot.report.tuned_early import early_lines
from simbot.report.tuned_limits import limit_lines
from simbot.report.tuned_start import start_lines
from simbot.studies.chance import Chance, ChanceTotals
from simbot.studies.tune_results import (
    Overlap,
    Overlaps,
    PathOf,
    RuleResult,
    Totals,
    TunedTimer,
    TuneResult,
    weakest_that_passes,
)

WIDTH = 80


def print_tuned(result: TuneResult, stream: IO[str]) -> None:
    for line in tuned_lines(result):
        print(line.rstrip(), file=stream)


def tuned_lines(result: TuneResult) -> Iterator[str]:
    """The text of `simbot tune`, line by line."""
    yield from _head(result)
    yield from _suggestions(result)
    yield from _totals(result)
    yield from _states(result)
    yield from _needs(result)
    for path in result.overlaps.paths:
        yield from _path(path)
    yield from _overlaps(result.overlaps, result)
    yield from early_lines(result)
    yield from start_lines(result)
    yield from limit_lines(result)
    if result.rule is not None:
        yield from _rule(result.rule)
    yield ""
    yield "Before the robot moves"
    yield from _wrapped(CAUTION, " - ")
    yield from _wrapped(DEFER, " - ")


def _wrapped(text: str, lead: str = " ") -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead), break_on_hyphens=False
    )


def _ms(time_us: int | None, signed: bool = False) -> str:
    if time_us is None:
        return "-"
    return f"{time_us / 1000:+.0f}" if signed else f"{time_us / 1000:.0f}"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _head(result: TuneResult) -> Iterator[str]:
    title = f"{result.plan}: timers for {result.robot} in {result.game}"
    where = PurePath(result.plan_path).name
    yield f"{title}{where:>{max(WIDTH - len(title), len(where) + 2)}}"
    text = "NOMINAL: no chance, no misses, no traffic, no driver"
    rows = "" if result.chance is None else ", but for the rows with chance"
    yield from _wrapped(f"{text}{rows}.")
    if result.kind == "safe":
        text = f"Safe: the latest arrival on {listed(result.asked)}, plus {_ms(result.guard_us)} ms of guard."
    elif result.kind == "balanced":
        text = (
            f"Balanced: most points with chance on {listed(result.asked)}, from the safe set; what a failure and a "
            "second of waiting cost is simulated."
        )
    else:
        text = f"Sensor: waits for arrival where counts show it, held against {listed(result.asked)}."
    yield from _wrapped(
        f"{text} A line is where the wait stands, to change it there; floor and arrival are the "
        "largest of any time that it is waited out with the set."
    )


def _suggestions(result: TuneResult) -> Iterator[str]:
    yield ""
    yield f"{'Timers [ms]':<37} line    now better change  floor arrival"
    if not result.timers:
        yield " The plan has no timer: every wait is for an arrival, an instant, or marked."
    for timer in result.timers:
        step = "-" if timer.step is None else str(timer.step)
        change = _ms(timer.suggested_us - timer.now_us, signed=True) if timer.changed else "-"
        yield (
            f" {step:>3} {cut(_title(timer), 32):<32} {timer.line:>4} {_ms(timer.now_us):>6} "
            f"{_ms(timer.suggested_us):>6} {change:>6} {_ms(timer.floor_us):>6} {_ms(timer.arrival_us):>7}"
        )
        often = f"{timer.times} times; " if timer.times > 1 else ""
        often += _enough(timer)
        place = _source(timer)
        yield from _wrapped(f"{often}{timer.reason}{place}", "     ")
    for wait in result.waits:
        yield from _wrapped(
            f"Put a wait of {_ms(wait.wait_us)} ms before line {wait.line}, with the guard: it needs the "
            f"{wait.said}, and no wait sees to that. Then tune again."
        )


def _enough(timer: TunedTimer) -> str:
    """The chance that it is long enough."""
    if timer.enough_now is None:
        return ""
    now = _percent(timer.enough_now.value)
    if timer.enough_tuned is None or timer.enough_tuned.value == timer.enough_now.value:
        return f"long enough in {now}; "
    return f"long enough in {now}, then {_percent(timer.enough_tuned.value)}; "


def _title(timer: TunedTimer) -> str:
    moves = ", ".join(timer.labels)
    if timer.source is None:
        return moves or "no move"
    return f"{timer.name}: {moves}" if moves else timer.name


def _source(timer: TunedTimer) -> str:
    source = timer.source
    if source is None:
        return ""
    at = f"; {source.file.name}:{source.line}"
    return f"{at}: {source.text} -> {written(timer)}" if timer.changed and not source.computed else at


def _totals(result: TuneResult) -> Iterator[str]:
    yield ""
    yield f"{'Before and after':<22}" + "".join(f"{name:>19}" for name in result.before)
    rows: list[tuple[str, Callable[[Totals], str]]] = [
        ("cycle time, mean [s]", lambda one: "-" if one.cycle_time_s is None else f"{one.cycle_time_s:.2f}"),
        ("points a second", lambda one: "-" if one.points_per_s is None else f"{one.points_per_s:.3f}"),
        ("whole cycles", lambda one: str(one.cycles)),
        ("points, nominal", lambda one: f"{one.points:g}"),
        ("the routine", lambda one: "passes" if one.passes else "MISSES"),
    ]
    for name, shown in rows:
        cells = (f"{shown(result.before[one])} -> {shown(result.after[one])}" for one in result.before)
        yield f" {name:<21}" + "".join(f"{cell:>19}" for cell in cells)
    if result.chance is not None:
        yield from _by_chance(result, result.chance)
    before, after = (weakest_that_passes(one) for one in (result.before, result.after))
    yield from _wrapped(f"Weakest battery with which it passes: {before or 'none'} -> {after or 'none'}.")
    for name, totals in result.after.items():
        if totals.passes and totals.passes_if:
            yield from _wrapped(f"On {name} it passes {totals.passes_if}.")


def _by_chance(result: TuneResult, chance: Chance) -> Iterator[str]:
    rows: list[tuple[str, Callable[[ChanceTotals], str]]] = [
        ("points, with chance", lambda one: f"{one.points.value:.1f}"),
        ("all timers hold", lambda one: _percent(one.held.value)),
        ("nothing at all fails", lambda one: _percent(one.clean.value)),
    ]
    for name, shown in rows:
        cells = (
            f"{shown(chance.before[one])} -> {shown(chance.after[one])}" if one in chance.before else "-"
            for one in result.before
        )
        yield f" {name:<21}" + "".join(f"{cell:>19}" for cell in cells)
    text = f"With chance: {chance.matches} matches on each battery, seed {chance.seed}; "
    text += f"{chance.gain.value:+.1f} points a match"
    if chance.gain.interval is not None:
        low, high = chance.gain.interval
        text += f" ({low:+.1f} to {high:+.1f} with 95 % confidence)"
    shares = [one for each in chance.after.values() for one in (each.held, each.clean)]
    widest = max(((one.interval[1] - one.interval[0]) / 2 for one in shares if one.interval), default=0.0)
    yield from _wrapped(f"{text}; the shares are known to about ± {_percent(widest)}.")
    if chance.faults:
        yield from _wrapped(f"{len(chance.faults)} matches could not be played: {chance.faults[0]}")


def _states(result: TuneResult) -> Iterator[str]:
    if not result.timers:
        return
    yield ""
    yield "Every timer on every battery as it is now [ms]; of repeats the worst"
    yield f" {'':<15} line  {'battery':<9} floor arrival timer margin  tuned verdict"
    for timer in result.timers:
        for index, state in enumerate(timer.states):
            head = f"{cut(_title(timer), 15):<15} {timer.line:>4}" if index == 0 else ""
            verdict = state.verdict or "times nothing"
            asked = any(need.state == state.state for need in timer.needs)
            harmless = " ok" if asked else " ?"
            verdict += {"harmless": harmless, "breaking": " !!"}.get(state.consequence or "", "")
            yield (
                f" {head:<20}  {cut(state.state, 9):<9} {_ms(state.floor_us):>5} {_ms(state.arrival_us):>7} "
                f"{_ms(state.real_us):>5} {_ms(state.margin_us, True):>6} "
                f"{_ms(state.tuned_margin_us, True):>6} {verdict}"
            )
    yield " tuned: margin with the set; !! breaks a need; ok breaks none; ? none is stated"


def _needs(result: TuneResult) -> Iterator[str]:
    rows = [(timer, need) for timer in result.timers for need in timer.needs]
    if not rows:
        return
    yield ""
    names = list(result.before)
    yield f"{'Needs downstream, least margin [ms]':<44}" + "".join(f"{cut(name, 10):>12}" for name in names)
    for timer in result.timers:
        keys = dict.fromkeys((need.line, need.mechanism) for need in timer.needs)
        for line, mechanism in keys:
            cells = {
                need.state: "never" if need.margin_us is None else _ms(need.margin_us, True)
                for need in timer.needs
                if (need.line, need.mechanism) == (line, mechanism)
            }
            text = f" line {timer.line} -> line {line}, {mechanism}"
            yield f"{cut(text, 44):<44}" + "".join(f"{cells.get(name, '-'):>12}" for name in names)


def _path(path: PathOf) -> Iterator[str]:
    yield ""
    yield f"{cut('Critical path, ' + path.period.replace('_', ' '), 48):<48} line   wait [ms]  slack [ms]"
    for one in path.activities:
        mark = "*" if one.critical else " "
        yield f" {mark} {cut(one.label, 44):<44} {one.line:>5} {_ms(one.duration_us):>11} {_ms(one.slack_us):>11}"
    yield f" * critical; {path.length_us / 1e6:.2f} s in all; of a repeat the mean, and one without end once"


def _overlaps(overlaps: Overlaps, result: TuneResult) -> Iterator[str]:
    yield ""
    yield f"What could go together, each simulated with the suggested set, {result.battery}"
    if not overlaps.proposals:
        tried = f" {overlaps.rejected} were tried." if overlaps.rejected else ""
        yield from _wrapped(
            f"Nothing: no two stretches side by side save time without breaking a need or an order rule.{tried}"
        )
        return
    for one in overlaps.proposals:
        yield from _wrapped(_proposal(one), " - ")
    if len(overlaps.together) > 1:
        text = f"{len(overlaps.together)} of them hold together: {_ms(overlaps.together_saves_us)} ms."
        yield from _wrapped(text, " - ")
    if overlaps.rejected:
        yield from _wrapped(
            f"{overlaps.rejected} more were tried and break a need or an order rule, or save nothing.", " - "
        )


def _proposal(one: Overlap) -> str:
    moves, beside = ", ".join(one.labels), ", ".join(one.beside_labels)
    text = (
        f"{moves} (wait in line {_lines(one.lines)}) together with {beside} (line {_lines(one.beside)}): "
        f"{_ms(one.saves_us)} ms less, at least {_ms(one.saves_least_us)} on every battery asked for"
    )
    if one.cycle_saves_us < one.saves_us:
        text += f"; waiting at stations leaves {_ms(one.cycle_saves_us)} ms of it"
    if one.points > 0:
        text += f"; {one.points:g} points more"
    return text


def _lines(lines: tuple[int, ...]) -> str:
    return ", ".join(map(str, dict.fromkeys(lines)))


def _rule(rule: RuleResult) -> Iterator[str]:
    yield ""
    yield from _wrapped(f"Your rule, {rule.text}, in ms with the battery's volts at rest", "")
    yield f" {'':<26} line  {'battery':<10} volts   rule arrival  error verdict"
    for timer in rule.timers:
        for index, state in enumerate(timer.states):
            head = (
                f"{cut(timer.name or f'{_ms(timer.base_us)} ms', 26):<26} {timer.line:>4}"
                if index == 0
                else ""
            )
            yield (
                f" {head:<31}  {cut(state.state, 10):<10}{state.volts:>6.2f} {_ms(state.rule_us):>6} "
                f"{_ms(state.arrival_us):>7} {_ms(state.error_us, True):>6} {state.verdict}"
            )
        if timer.rule_slope is not None and timer.right_slope is not None:
            yield (
                f" {'':<33}the rule: {timer.rule_slope * 1000:+.0f} ms a volt; "
                f"the move: {timer.right_slope * 1000:+.0f} ms"
            )
    for name, totals in rule.after.items():
        says = f"passes {totals.passes_if}".strip() if totals.passes else "MISSES"
        yield f" by the rule, {name}: {says}, {totals.points:g} points"

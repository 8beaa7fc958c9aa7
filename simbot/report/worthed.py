"""What `simbot worth` prints, and its JSON document."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from textwrap import wrap
from typing import TextIO

from simbot import __version__
from simbot.analysis.words import counted
from simbot.report.document import FORMAT, Document, rounded
from simbot.report.labels import digits_apart
from simbot.report.match_document import figure
from simbot.report.sourced import source_document, source_lines
from simbot.report.unseen import fault_lines, freed_told, unseen_lines
from simbot.scenario.model import Plan
from simbot.studies.knobs import knobs_of
from simbot.studies.other_times import efforts_of, limits_of
from simbot.studies.paired import LEAST_DIFFERING, differs_seldom
from simbot.studies.worth import Worth, WorthResult

WIDTH = 80
BAR = 14
TIMERS_KEPT = (
    "Timers stay as the plan has them, but where a change names one: a mechanism that gets faster shows no gain where "
    "a timer waits for it. simbot tune sets timers anew."
)
SHARE = re.compile(r"=\s*([-+]\d+\.?\d*)\s*%\s*$")


def print_worth(result: WorthResult, stream: TextIO) -> None:
    """Print the changes, the best first."""
    for line in _lines(result):
        stream.write(line.rstrip() + "\n")


def _lines(result: WorthResult) -> Iterator[str]:
    yield from wrap(_answer(result), WIDTH)
    if result.stopped:
        yield from wrap(_stopped(result), WIDTH)
    yield ""
    states = ", ".join(dict.fromkeys(result.asked.states))
    yield from wrap(
        f"{result.plan.name} as it is: {result.base.value:.1f} points a match; {counted(result.runs, 'match')}, "
        f"seed {result.asked.seed}, battery {states}",
        WIDTH,
    )
    yield ""
    rows = [*result.changes, *(() if result.together is None else (result.together,))]
    moving = [each for each in rows if set(each.difference.tally) != {0.0}]
    most = max((abs(each.difference.mean.value) for each in moving), default=1.0) or 1.0
    if moving:
        yield f"{'change':<44}{'points':>8}   95 % interval"
    for each in moving:
        yield from _row(each, most)
    idle = [each.change for each in rows if each not in moving]
    if idle:
        yield from wrap(f"Not one of these matches scores otherwise with: {'; '.join(idle)}.", WIDTH)
    few = [each.change for each in rows if differs_seldom(each.difference)]
    if few:
        yield from wrap(
            f"Fewer than {LEAST_DIFFERING} of the matches differ with: {'; '.join(few)}; what is said of these is a "
            "guess from so few.",
            WIDTH,
        )
    if result.together is not None:
        alone = sum(each.difference.mean.value for each in result.changes)
        yield from wrap(
            f"One at a time they add up to {alone:+.1f}, all together they bring "
            f"{result.together.difference.mean.value:+.1f}: changes need not add.",
            WIDTH,
        )
    yield from wrap(_share_told(rows), WIDTH)
    yield from source_lines(result.sources)
    if result.sources is not None:
        yield ""
    apart = [each.difference for each in rows]
    told = freed_told(any(one.freed_of_luck for one in apart), any(one.freed_of_robots for one in apart))
    yield from wrap(told, WIDTH)
    yield from fault_lines(result.faults)
    yield from unseen_lines(result.days)
    if _timers(result.plan):
        yield from wrap(TIMERS_KEPT, WIDTH)
    yield from wrap(
        "Under the same luck, so that small differences show; an interval with 0 in it says: not sure. First run of "
        "anything changed: slowly, off the ground, hands clear.",
        WIDTH,
    )


def _answer(result: WorthResult) -> str:
    first, *_ = result.changes
    best = next((each for each in result.changes if _surely(each)), None)
    if best is None:
        return "None of the changes surely brings points."
    told = f"{best.change} is worth most: {_with_interval(best)}"
    if best is first:
        return f"{told}."
    return f"Of what surely brings points, {told}; {first.change} may be worth more: {_with_interval(first)}."


def _surely(each: Worth) -> bool:
    interval = each.difference.mean.interval
    return interval is not None and interval[0] > 0.0


def _with_interval(each: Worth) -> str:
    mean = each.difference.mean
    digits = digits_apart(mean.value)
    text = f"{mean.value:+.{digits}f} points a match"
    if mean.interval is not None:
        text += " ({:+.{d}f} to {:+.{d}f})".format(*mean.interval, d=digits)
    return text


def _stopped(result: WorthResult) -> str:
    asked = result.asked.runs
    if result.runs < asked:
        text = f"You stopped it after {result.runs} of {asked} matches with each change; what is said rests on these."
    elif result.sources is None:
        text = "You stopped it: all matches with each change are played, what is not known was not looked at."
    else:
        text = f"You stopped it after {result.sources.runs} pairs of matches that tell of what is not known."
    return f"{text} The same command goes on from there."


def _share_told(rows: Sequence[Worth]) -> str:
    """What a change of a share means, by the first that is one."""
    given = (SHARE.search(each.change) for each in rows)
    first = next((match for match in given if match is not None), None)
    if first is None:
        return ""
    made = 70.0 * (1.0 + float(first[1]) / 100.0)
    return (
        "Changes in % are shares of what the files say, no percentage points: "
        f"{first[1]} % makes {made:.4g} % of 70 %."
    )


def _row(each: Worth, most: float) -> Iterator[str]:
    mean = each.difference.mean
    text = f"{_tenths(mean.value):>8}"
    if mean.interval is not None:
        text += f"   {' to '.join(map(_tenths, mean.interval))}"
    bar = ("+" if mean.value > 0 else "-") * round(BAR * abs(mean.value) / most)
    if len(each.change) <= 43:
        yield f"{each.change:<44}{text:<28}{bar[:8]}"
    else:
        yield from wrap(each.change, WIDTH)
        yield f"{'':<44}{text:<28}{bar[:8]}"


def _timers(plan: Plan) -> list[int]:
    """Their lines in the plan: waits for a time, how long an effort lasts, how long something may take."""
    others = (*efforts_of(plan), *limits_of(plan))
    return sorted([*(knob.line for knob in knobs_of(plan)), *(time.line for time in others)])


def _tenths(points: float) -> str:
    """With its sign, which 0 has none of."""
    return f"{points:+.1f}" if round(points, 1) else "0.0"


def worth_document(result: WorthResult) -> Document:
    """The document of `simbot worth`."""

    def one(each: Worth) -> Document:
        return {
            "change": each.change,
            "points": rounded(each.difference.mean.value),
            "interval": figure(each.difference.mean)["interval"],
            "mean_points": rounded(each.points),
        }

    return {
        "simbot": __version__,
        "format": FORMAT,
        "document": "worth",
        "plan": result.plan.name,
        "seed": result.asked.seed,
        "runs": result.runs,
        "stopped": result.stopped,
        "battery": list(dict.fromkeys(result.asked.states)),
        "timer_lines": _timers(result.plan),
        "base": figure(result.base),
        "changes": [one(each) for each in result.changes],
        "together": None if result.together is None else one(result.together),
        "uncertainty": source_document(result.sources),
        "failed": [
            {"change": name, "match": record.number, "why": record.fault} for name, record in result.faults
        ],
    }

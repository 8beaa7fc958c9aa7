"""What a study of matches prints: the answer, the distribution, where points are lost; 80 columns, plain."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from shlex import quote
from textwrap import wrap
from typing import TextIO

from simbot.analysis.words import counted
from simbot.report.classes import classes_of, histogram
from simbot.report.labels import cut
from simbot.report.unseen import ignorance_told, unseen_lines
from simbot.studies.match import MatchResult
from simbot.studies.match_asked import states_of
from simbot.studies.statistics import Distribution, Figure

WIDTH = 80
REASON = WIDTH - 30  # columns of a reason, beside its numbers


def print_matched(result: MatchResult, stream: TextIO, settings: Sequence[str] = ()) -> None:
    """Print a study; `settings`: the values that were replaced for it, as they were given."""
    for line in _lines(result, settings):
        stream.write(line.rstrip() + "\n")


def _lines(result: MatchResult, settings: Sequence[str]) -> Iterator[str]:
    points, asked = result.points, result.asked
    yield from _wrapped(_answer(result))
    yield ""
    yield from _wrapped(
        f"{result.plan.name} of {result.plan.game.name}, {result.plan.robot.name}; {_mixture(result)}"
    )
    yield f"{counted(points.runs, 'match')} on {counted(points.days, 'day')} of ten, seed {asked.seed}, WITH CHANCE"
    yield ""
    points_of = "points" if result.second is None else "points of both robots"
    yield f"{points_of:<22}{'':>8}   95 % interval"
    yield _row("mean of one match", points.mean)
    yield _row("spread (sd)", points.sd)
    yield _row("one in ten below (p10)", points.p10)
    yield _row("half below (median)", points.p50)
    yield _row("one in ten above (p90)", points.p90)
    if points.day_sd is not None and points.day_p10 is not None and points.day_p90 is not None:
        yield (
            f"average of a day       {points.mean.value:>7.1f}   "
            f"most days {points.day_p10:.1f} to {points.day_p90:.1f} (sd {points.day_sd:.1f})"
        )
    if result.second is not None:
        yield _row("of the second robot", result.second)
        yield "of the first robot alone"
    for name, figure in result.periods.items():
        yield _row(f"in {name}", figure)
    yield _row("cycles", result.cycles)
    yield ""
    yield from _histogram(result)
    yield ""
    yield from _nominal_line(result)
    yield from _parts(points)
    yield from _chances(result)
    yield ""
    yield from _lost(result)
    yield ""
    yield from _states(result)
    yield from _closing(result, settings)


FEW_DAYS = 5  # an interval from fewer says next to nothing


def _answer(result: MatchResult) -> str:
    points = result.points
    both = "" if result.second is None else " of both robots together"
    text = f"Expect {points.mean.value:.0f} points a match{both}"
    if points.mean.interval is not None:
        text += f" ({points.mean.interval[0]:.1f} to {points.mean.interval[1]:.1f} with 95 % confidence)"
    text += f"; eight matches in ten end between {points.p10.value:.0f} and {points.p90.value:.0f}"
    text += f". Without chance it would be {result.nominal:.0f}."
    if points.days < FEW_DAYS:
        days = f"{counted(points.days, 'day')} of ten matches"
        text += f" Only {days}: too few to say more than that."
    text += _alike(result)
    if result.lost and result.lost[0].points > 0.0:
        most = "Most" if result.lost[0].points >= result.rest else "Most that can be told apart"
        text += f" {most} is lost to: {result.lost[0].reason}."
    return text


def _alike(result: MatchResult) -> str:
    """Why all matches earned the same, where they did."""
    runs, chance = result.points.runs, result.chance
    if result.points.sd.value != 0.0 or (runs == 1 and chance.plan):
        return ""
    text = f" All {runs} matches earn the same: " if runs > 1 else " Nothing in the plan is left to chance: "
    if chance.plan:
        return f"{text}what is left to chance ({', '.join(chance.plan)}) made no difference to their points."
    if chance.people:
        text += f"no step states a chance (`succeeds`), and {' and '.join(chance.people)} lengthen each alike"
    else:
        text += "no step states a chance (`succeeds`) or an allowance, and no `driver` is there"
    if chance.spreads and runs > 1:
        are = "what is" if chance.spreads == 1 else f"the {chance.spreads} quantities that are"
        text += f"; {are} not known exactly of the robot made no difference to their points"
    return f"{text}. Real matches are not so sure."


def _mixture(result: MatchResult) -> str:
    states = result.asked.states
    if len(set(states)) == 1:
        return f"battery {states[0]}"
    counts = (f"{name} {states.count(name)}" for name in dict.fromkeys(states))
    return f"battery {', '.join(counts)} of {len(states)}"


def _row(name: str, figure: Figure) -> str:
    text = f"{cut(name, 22):<23}{_tenths(figure.value):>7}"
    if figure.interval is not None:
        text += f"   {_tenths(figure.interval[0])} to {_tenths(figure.interval[1])}"
    return text


def _tenths(value: float) -> str:
    """One decimal, and never a minus zero."""
    return f"{round(value, 1) + 0.0:.1f}"


def _histogram(result: MatchResult) -> Iterator[str]:
    """Matches by their points, the classes of the three quantiles and the threshold marked."""
    counted = result.tally
    points = result.points
    notes = [(points.p10.value, "p10"), (points.p50.value, "median"), (points.p90.value, "p90")]
    if result.asked.threshold is not None and result.alliance is None:
        notes.append((result.asked.threshold, f"threshold {result.asked.threshold:g}"))
    whole = all(value == round(value) for value in counted)
    yield from histogram(classes_of([counted])[0], notes, whole)


def _nominal_line(result: MatchResult) -> Iterator[str]:
    text = f"NOMINAL {result.nominal:.1f} points, EXPECTED {result.points.mean.value:.1f}"
    if result.cycle_time_s is not None and result.nominal_cycle_s is not None:
        text += f"; mean cycle {result.nominal_cycle_s:.2f} s nominal, {result.cycle_time_s:.2f} s expected"
    longer = [f"{seconds:.1f} s of {who}" for who, seconds in result.added_s.items() if seconds >= 0.05]
    if longer:
        text += f"; in the waits of a match are {' and '.join(longer)}"
    text += ": misses, tries, waiting, allowances and a person's reactions are what lies between"
    yield from _wrapped(text)


def _parts(points: Distribution) -> Iterator[str]:
    if points.luck_sd is None or points.ignorance_sd is None:
        return
    shrinks = "which more matches of one day do not average out"
    unknown = ignorance_told(points.ignorance_sd, points.ignorance_most, points.days, shrinks)
    yield from _wrapped(f"Of the spread, luck from match to match has sd {points.luck_sd:.1f}; {unknown}.")


def _chances(result: MatchResult) -> Iterator[str]:
    yield f"Clean (nothing missed, dropped, too early or stuck): {_percent(result.clean)}"
    for reason, share in result.stood.items():
        yield from _wrapped(f"In {100 * share:.0f} % of the matches {reason}{_at(result, reason)}.")
    asked = result.asked
    if result.reaches is not None and asked.threshold is not None:
        spread = f" ± {asked.threshold_spread:g}" if asked.threshold_spread else ""
        who = "The alliance reaches" if result.alliance is not None else "It reaches"
        yield f"{who} {asked.threshold:g}{spread} points with a chance of {_percent(result.reaches)}"
    if result.alliance is not None:
        both = result.alliance
        yield (
            f"With the partner's {asked.partner:g} ± {asked.partner_spread:g}: mean {both.mean.value:.1f}, "
            f"p10 {both.p10.value:.0f}, p90 {both.p90.value:.0f}"
        )


def _percent(figure: Figure) -> str:
    text = f"{100 * figure.value:.0f} %"
    if figure.interval is not None:
        text += f" ({100 * figure.interval[0]:.0f} to {100 * figure.interval[1]:.0f} %)"
    return text


def _lost(result: MatchResult) -> Iterator[str]:
    yield f"{'Lost against nominal, a match':<{REASON + 3}}{'points':>8}{'time':>9}{'matches':>10}"
    for one in result.lost:
        time = f"{one.seconds:.1f} s" if one.seconds else ""
        yield f"  {_named(result, one.reason):<{REASON + 1}}{_tenths(one.points):>8}{time:>9}{100 * one.share:>8.0f} %"
    yield f"  {'all else: left out, no bonus':<{REASON + 1}}{_tenths(result.rest):>8}"
    yield from _wrapped(
        "Estimates, beyond what the nominal run loses too, and together never more than is lost: penalties come "
        "first; then what came to nothing, a place, or a pick or look that none followed, at its first cause as "
        "what it would have earned by itself; then time, at the nominal point rate; last what ran out of time: places "
        "that the end of a period cut off, for slower moves, allowances and reactions. Stalled means stopped short "
        "too. All else is what follows from these: steps left out, bonuses."
    )


def _at(result: MatchResult, reason: str) -> str:
    """`, line 31`: of the steps that it befell."""
    lines = result.lines.get(reason, ())
    return _told(lines, len(lines)) if lines else ""


def _told(lines: Sequence[int], most: int) -> str:
    """The first of some lines."""
    more = " and more" if most < len(lines) else ""
    return f", line{'s' if len(lines) > 1 else ''} {', '.join(map(str, lines[:most]))}{more}"


def _named(result: MatchResult, reason: str) -> str:
    """A reason with the lines that it befell, as many as there is room for."""
    lines = result.lines.get(reason, ())
    for most in range(len(lines), 0, -1):
        text = reason + _told(lines, most)
        if len(text) <= REASON:
            return text
    return reason[:REASON]


def _states(result: MatchResult) -> Iterator[str]:
    nominal = (f"{state.name} {state.nominal:.0f}" for state in result.states)
    yield from _wrapped(f"Battery states, nominal points: {', '.join(nominal)}")
    played = [state for state in result.states if state.mean is not None]
    if len(played) > 1:
        for state in played:
            assert state.mean is not None
            yield _row(f"  {state.name} ({state.runs})", state.mean)


def _replay(result: MatchResult, settings: Sequence[str]) -> str:
    """The command that plays one of the matches again, with all that it hangs on."""
    command = f"simbot run PLAN --match K --seed {result.asked.seed}"
    states = result.asked.states
    if states != states_of(result.plan, None):
        turns = [(name, len(list(same))) for name, same in groupby(states)]
        command += f" --battery {','.join(f'{name}:{count}' for name, count in turns)}"
    return " ".join([command, *(f"--set {quote(each)}" for each in settings)])


def _closing(result: MatchResult, settings: Sequence[str]) -> Iterator[str]:
    if result.faults:
        first = result.faults[0]
        count = len(result.faults)
        are = "1 match" if count == 1 else f"{count} matches"
        yield from _wrapped(
            f"{are} could not be played, and no number above has them in; the first is {first.number}: {first.fault}"
        )
    if result.stopped:
        yield from _wrapped(f"Stopped after {counted(result.points.runs, 'match')}: {result.stopped}.")
    yield from unseen_lines(result.points.days)
    if result.days_for_a_point is not None:
        yield f"An interval of ± 1 point takes about {10 * result.days_for_a_point} matches."
    low, high = result.replay
    yield from _wrapped(f"In full: {_replay(result, settings)}, K {low} at p10 and {high} at p90.")
    yield from _wrapped(
        "A driver's learning over the day is not in it. A simulated match is no permission: event rules, "
        "inspectors and people nearby come first."
    )


def _wrapped(text: str) -> list[str]:
    return wrap(text, WIDTH, break_on_hyphens=False)

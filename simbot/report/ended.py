"""One more cycle or the endgame, and mixtures of two plans: in words, tables, and parts of the JSON document."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from simbot.report.document import Document, rounded
from simbot.report.match_document import figure
from simbot.studies.last_start import LastStart
from simbot.studies.mixed import Mixtures

WIDTH = 80
SHOWN = 6


def _s(time_us: int) -> str:
    return f"{time_us * 1e-6:.1f}"


def clock_lines(clocks: tuple[LastStart, ...]) -> Iterator[str]:
    """The clock of each plan's endgame."""
    for one in clocks:
        yield from wrap(_clock_answer(one), WIDTH)
        yield f"{'it comes off':<18}{'latest that pays':>18}{'surely pays':>16}{'gain at the last safe start':>28}"
        for row in one.rows:
            latest, surely = _left(row.latest_us, "never"), _left(row.surely_us, "not surely")
            gain = f"{row.gain_at_safe.value:+.1f}{_ends(row.gain_at_safe.interval)}"
            yield f"{100 * row.rate:>4.0f} of 100 times{latest:>19}{surely:>16}{gain:>28}"
        yield from wrap(
            "gain: points a match against cycling on to the end, with its 95 % interval; a start surely pays where "
            f"that is above 0. Starts {_s(one.finest_us)} s apart, {one.runs} "
            f"matches each, same luck{_failed(one.failed)}. The last safe start leaves the endgame's own "
            f"{_s(one.own_us)} s and a guard of {one.guard_us * 1e-3:.0f} ms; later it pays "
            "only by what is done before its end. A hoisted robot is a "
            "hazard: what holds it, and when people may come near, is for event rules, inspectors and the adult "
            "beside it.",
            WIDTH,
        )
        yield ""


def _left(left_us: int | None, none: str) -> str:
    return none if left_us is None else f"{_s(left_us)} s left"


def _ends(interval: tuple[float, float] | None) -> str:
    return "" if interval is None else f" ({interval[0]:+.1f} to {interval[1]:+.1f})"


def _failed(count: int) -> str:
    return f" ({count} could not be played, and are left out)" if count else ""


def _clock_answer(one: LastStart) -> str:
    text = f"{one.plan}: the last safe start of the endgame is with {_s(one.safe_us)} s left"
    text += f" (the plan starts it with {_s(one.begins_us)} s left)"
    if one.needed is None:
        return text + "; it earns nothing."
    low, high = (None, None) if one.needed_interval is None else one.needed_interval
    if one.needed <= 0.0:
        unless = "" if high is None else f", surely if more than {100 * high:.0f} of 100 times"
        return text + f"; it pays however seldom it comes off{unless}."
    if one.needed > 1.0:
        unless = "" if low is None else f" (not surely: it may pay from {100 * low:.0f} of 100 times on)"
        return text + f"; even if it always comes off, one more cycle is worth more{unless}."
    text += f"; it pays if it comes off more than {100 * one.needed:.0f} of 100 times"
    if low is not None and high is not None and high > low:
        text += f" ({100 * low:.0f} to {100 * high:.0f} with 95 % confidence)"
    return text + "."


def clock_document(clocks: tuple[LastStart, ...] | None) -> list[Document] | None:
    """The part of the document."""
    if clocks is None:
        return None
    return [
        {
            "plan": one.plan,
            "begins_left_s": one.begins_us / 1e6,
            "own_s": one.own_us / 1e6,
            "guard_s": one.guard_us / 1e6,
            "last_safe_start_left_s": one.safe_us / 1e6,
            "last_safe_start_at_s": (one.ends_us - one.safe_us) / 1e6,
            "success_needed": rounded(one.needed),
            "success_needed_interval": _rounded(one.needed_interval),
            "runs": one.runs,
            "failed": one.failed,
            "starts_apart_s": one.finest_us / 1e6,
            "by_success": [
                {
                    "success": row.rate,
                    "latest_start_left_s": None if row.latest_us is None else row.latest_us / 1e6,
                    "surely_pays_start_left_s": None if row.surely_us is None else row.surely_us / 1e6,
                    "gain_at_last_safe_start": rounded(row.gain_at_safe.value),
                    "gain_at_last_safe_start_interval": _rounded(row.gain_at_safe.interval),
                    "best_start_left_s": row.best_us / 1e6,
                    "best_gain": rounded(row.best_gain.value),
                    "best_gain_interval": _rounded(row.best_gain.interval),
                }
                for row in one.rows
            ],
        }
        for one in clocks
    ]


def _rounded(interval: tuple[float, float] | None) -> list[float | None] | None:
    return None if interval is None else [rounded(end) for end in interval]


def mixture_lines(found: Mixtures | None) -> Iterator[str]:
    """Which order and split is best."""
    if found is None:
        return
    yield from wrap(_mixture_answer(found), WIDTH)
    yield f"{'mixed':<60}{'points':>10}"
    for one in found.tried[:SHOWN]:
        times = "once" if one.rounds == 1 else f"{one.rounds} times"
        yield f"{f'  {one.first} {times}, then {one.then}'[:59]:<60}{one.points:>10.1f}"
    yield f"{f'  {found.alone} alone'[:59]:<60}{found.alone_points:>10.1f}"
    yield from wrap(
        f"{len(found.tried)} mixtures, {found.runs} matches each, same luck{_failed(found.failed)}; "
        f"what is said of the best rests on {found.runs_after} others, since the best of many looks better "
        "than it is. Start, autonomous and endgame are "
        "those of the plan that comes first; places that fill and stations that run out are in it.",
        WIDTH,
    )
    yield ""


def _mixture_answer(found: Mixtures) -> str:
    if not found.tried:
        return "The plans are too slow for a round of each in one match."
    best, mean = found.tried[0], found.difference.mean
    times = "one round" if best.rounds == 1 else f"{best.rounds} rounds"
    text = f"{times} of {best.first}, then {best.then}, is the best mixture"
    ends = _ends(mean.interval)
    sure = mean.interval is not None and not mean.interval[0] <= 0.0 <= mean.interval[1]
    if not sure:
        verdict = f"it is not surely better or worse than {found.alone} alone: {mean.value:+.1f} points{ends}"
    elif mean.value > 0.0:
        verdict = f"it brings {mean.value:+.1f} points a match{ends} against {found.alone} alone"
    else:
        verdict = f"{found.alone} alone is better: the mixture brings {mean.value:+.1f} points a match{ends}"
    return f"{text[0].upper()}{text[1:]}; {verdict}."


def mixture_document(found: Mixtures | None) -> Document | None:
    """The part of the document."""
    if found is None:
        return None
    return {
        "alone": found.alone,
        "alone_points": rounded(found.alone_points),
        "best_less_alone": figure(found.difference.mean),
        "runs": found.runs,
        "runs_of_difference": found.runs_after,
        "failed": found.failed,
        "mixtures": [
            {"first": one.first, "rounds": one.rounds, "then": one.then, "points": rounded(one.points)}
            for one in found.tried
        ],
    }

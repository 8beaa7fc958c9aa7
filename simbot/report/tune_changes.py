"""What changed from one tuning to the next, for somebody who edits and watches."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from simbot.studies.tune_results import TunedTimer, TuneResult

Stamps = dict[Path, tuple[int, int] | None]


def stamps_of(files: Iterable[Path]) -> Stamps:
    """When each file was written last, and how long it is; None where it is missing."""
    return {file: _stamp(file) for file in files}


def _stamp(file: Path) -> tuple[int, int] | None:
    try:
        stat = file.stat()
    except OSError:
        return None
    return stat.st_mtime_ns, stat.st_size


def changes(old: TuneResult, new: TuneResult) -> Iterator[str]:
    """Timers, verdicts and totals that are not what they were, line by line."""
    before = {timer.name: timer for timer in old.timers}
    seen = False
    for timer in new.timers:
        for text in _timer(before.pop(timer.name, None), timer):
            seen = True
            yield f" {timer.name}: {text}"
    for name in before:
        seen = True
        yield f" {name}: gone"
    for state, after in new.before.items():
        then = old.before.get(state)
        if then is not None and then != after:
            seen = True
            words = {True: "passes", False: "MISSES"}
            yield (
                f" {state}: cycle {_seconds(then.cycle_time_s)} -> {_seconds(after.cycle_time_s)}, points "
                f"{then.points:g} -> {after.points:g}, {words[then.passes]} -> {words[after.passes]}, "
                f"ends {then.finished_us / 1e6:.2f} -> {after.finished_us / 1e6:.2f} s"
            )
    if not seen:
        yield " nothing changed in timers, verdicts and totals"


def _timer(old: TunedTimer | None, new: TunedTimer) -> Iterator[str]:
    if old is None:
        yield f"new, {new.now_us / 1000:g} ms, better {new.suggested_us / 1000:g} ms"
        return
    if old.now_us != new.now_us:
        yield f"{old.now_us / 1000:g} -> {new.now_us / 1000:g} ms"
    if old.suggested_us != new.suggested_us:
        yield f"better {old.suggested_us / 1000:g} -> {new.suggested_us / 1000:g} ms"
    verdicts = {state.state: state.verdict for state in old.states}
    for state in new.states:
        then = verdicts.get(state.state, "")
        if then != state.verdict:
            yield f"{state.state}: {then or 'not there'} -> {state.verdict or 'times nothing'}"


def _seconds(time_s: float | None) -> str:
    return "-" if time_s is None else f"{time_s:.2f} s"

"""How long something may take, `at_most`: of a wait for an arrival, and of tries.

A limit costs nothing as long as it does not run out, so one is only ever made longer: to what it has to allow on
the batteries asked for, with the allowance of a drive and every try in full, and a guard.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from simbot.analysis.better_timer import rounded_up
from simbot.analysis.words import ms
from simbot.routine.trace import WaitRecord
from simbot.scenario.model import ActStep, BatteryState, DriveStep, Plan, Step, TryStep, WaitStep
from simbot.scenario.plan_file import all_steps, inner_steps
from simbot.studies.other_times import OtherTime, limits_of, with_times
from simbot.studies.runs import Bench, Ran, broken_by
from simbot.studies.tune_results import TimerState, TunedTimer

LIFTED_US = 36_000_000_000  # of tries, to see how long one takes


@dataclass(frozen=True)
class Asks:
    """What one execution of a limited step asks of its limit [us]; None: it never ends by itself."""

    own_us: int | None  # as the nominal run has it
    full_us: int | None  # with allowances, and every try in full
    step: int
    breaks: bool = False  # whether what comes later misses what it waits for


def tune_limits(
    bench: Bench, plan: Plan, asked: Sequence[BatteryState], shown: BatteryState
) -> tuple[Plan, tuple[TunedTimer, ...]]:
    """The plan with limits that are long enough, and every limit, in file order."""
    times = limits_of(plan)
    if not times:
        return plan, ()
    lifted = with_times(plan, {time: LIFTED_US for time in times if _has_tries(time)})
    runs = {battery.name: bench.run(lifted, battery) for battery in plan.robot.battery}
    cut = {battery.name: bench.run(plan, battery) for battery in plan.robot.battery}
    names = [battery.name for battery in asked]
    found = [_timer(lifted, time, place, runs, names, shown.name) for place, time in enumerate(times)]
    tuned = with_times(
        plan,
        {
            time: one.suggested_us
            for time, one in zip(times, found, strict=True)
            if one.suggested_us != time.now_us
        },
    )
    if tuned is not plan:
        for name in names:
            battery = next(each for each in plan.robot.battery if each.name == name)
            known = broken_by(cut[name])
            for mark, finding in broken_by(bench.run(tuned, battery)).items():
                if mark not in known:
                    why = f"; a longer one is not suggested, as it breaks this on {name}: {finding.text}"
                    return plan, tuple(
                        replace(one, suggested_us=one.now_us, reason=one.reason + why) if one.changed else one
                        for one in found
                    )
    return tuned, tuple(found)


def _has_tries(time: OtherTime) -> bool:
    return any(isinstance(step, TryStep) for step in time.steps)


def _timer(
    plan: Plan,
    time: OtherTime,
    place: int,
    runs: dict[str, Ran],
    asked: list[str],
    shown: str,
) -> TunedTimer:
    """One limit, and its place among them; in the plan of `runs` no tries are cut short."""
    found = {
        name: [one for step in limits_of(ran.plan)[place].steps for one in _asks(ran.plan, step, ran)]
        for name, ran in runs.items()
    }
    every = [(name, one) for name in asked for one in found[name]]
    value, reason = _suggested(plan, time, every)
    labels = ("at most, tries",) if _has_tries(time) else ("at most",)
    latest = [one.own_us for _, one in every]
    source = time.source
    return TunedTimer(
        step=next((one.step for _, one in every), None),
        line=time.line,
        name=source.name if source else f"line {time.line}, at most",
        labels=labels,
        source=source,
        now_us=time.now_us,
        suggested_us=value,
        floor_us=None,
        arrival_us=None if not latest or None in latest else max(each or 0 for each in latest),
        times=len(found[shown]),
        reason=reason,
        gain_us=None,
        states=tuple(_state(name, found[name], time.now_us, value) for name in runs if found[name]),
        needs=(),
        what="limit",
    )


def _suggested(plan: Plan, time: OtherTime, every: list[tuple[str, Asks]]) -> tuple[int, str]:
    now = time.now_us
    if not every:
        return now, "never carried out: nothing to judge it by"
    never = next((name for name, one in every if one.full_us is None), None)
    if never is not None:
        return now, f"no limit helps: on {never} it waits for what never comes"
    name, worst = max(every, key=lambda each: each[1].full_us or 0)
    own, full = worst.own_us or 0, worst.full_us or 0
    takes = f"it takes {ms(full)} ({name})"
    if _has_tries(time):
        takes = f"every try made, {takes}"
    elif full > own:
        takes = f"with the allowance of the drive {takes}"
    if now >= full:
        return now, f"good: {takes}, {ms(now - full)} to spare"
    text = f"too short: {takes}"
    if now < max(one.own_us or 0 for _, one in every if one.own_us is not None):
        text = f"runs out before the arrival: {takes}"
    if time.fixed:
        return (
            now,
            f"{text}; several numbers in the code make it, or several times read it: change them by hand",
        )
    wish = rounded_up(full + plan.guard_us, plan.robot.loop_us, time.grain_us)
    return wish, f"{text}, {ms(plan.guard_us)} of guard"


def _state(name: str, found: list[Asks], now_us: int, tuned_us: int) -> TimerState:
    owns = [one.own_us for one in found]
    own = None if None in owns else max(each or 0 for each in owns)
    verdict = "never" if own is None else "short" if now_us < own else "slack"
    broken = any(one.breaks for one in found)
    return TimerState(
        state=name,
        times=len(found),
        floor_us=None,
        arrival_us=own,
        real_us=now_us,
        margin_us=None if own is None else now_us - own,
        verdict=verdict,
        consequence=None if verdict == "slack" else "breaking" if broken else "harmless",
        tuned_margin_us=None if own is None else tuned_us - own,
    )


def _asks(plan: Plan, step: Step, ran: Ran) -> Iterator[Asks]:
    if isinstance(step, TryStep):
        yield from _of_tries(plan, step, ran)
    elif isinstance(step, WaitStep):
        yield from _of_wait(plan, step, ran)


def _of_wait(plan: Plan, step: WaitStep, ran: Ran) -> Iterator[Asks]:
    """What it waits for: the latest arrival of what it times, from its begin; of a point passed, when it was seen."""
    allowances = {one.line: one.allowance for one in all_steps(plan) if isinstance(one, DriveStep)}
    for wait in ran.trace.waits:
        if wait.given is not step or wait.cut:
            continue
        if not step.arrival:
            took = wait.ended_us - wait.began_us
            out = took >= (step.at_most_us or 0)
            yield Asks(None if out else took, None if out else took, wait.step)
            continue
        own: list[int | None] = [0]
        full: list[int | None] = [0]
        for index in wait.moves:
            record = ran.trace.moves[index]
            arrival = record.move.arrival_us()
            own.append(None if arrival is None else arrival - wait.began_us)
            extra = (
                0.0
                if arrival is None
                else allowances.get(record.line, 0.0) * (arrival - record.move.start_us)
            )
            full.append(None if arrival is None else round(arrival - wait.began_us + extra))
        broken = any(one.missed for index in wait.moves for one in ran.links.later(index))
        yield Asks(_latest(own), _latest(full), wait.step, broken)


def _latest(times: list[int | None]) -> int | None:
    return None if None in times else max(each or 0 for each in times)


def _of_tries(plan: Plan, step: TryStep, ran: Ran) -> Iterator[Asks]:
    """All tries, each as long as the longest seen, with every pick and place in it tried as often as it may be."""
    inside = list(inner_steps(step.steps, plan, inline=True))
    waits = {id(one) for one in inside if isinstance(one, WaitStep)}
    again = sum((one.tries - 1) * (one.each_us or 0) for one in inside if isinstance(one, ActStep))
    found: list[tuple[int, int]] = []  # begin and end of each
    first: WaitRecord | None = None
    for wait in ran.trace.waits:
        if id(wait.given) not in waits or wait.cut:
            continue
        if first is None or first.given is wait.given:
            first = wait if first is None else first
            found.append((wait.began_us, wait.ended_us))
        else:
            begin, end = found[-1]
            found[-1] = (begin, max(end, wait.ended_us))
    if first is not None:
        longest = max(end - begin for begin, end in found)
        yield Asks(longest, step.tries * (longest + again), first.step)

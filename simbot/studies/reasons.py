"""Why a timer is suggested as it is, in one sentence."""

from __future__ import annotations

from collections.abc import Mapping

from simbot.analysis.better_timer import FINEST_US
from simbot.analysis.words import listed, ms
from simbot.studies.balanced import Cost
from simbot.studies.demand import Execution, asked_for, unasked
from simbot.studies.knobs import Knob

Runs = Mapping[str, list[Execution]]


def reason_of(
    knob: Knob,
    value_us: int,
    before: Runs,
    after: Runs,
    guard_us: int,
    kind: str,
    kept: str,
    gain_us: int | None,
    cost: Cost | None = None,
) -> str:
    """The reason, from the runs on the battery states asked for, as the plan is and with the suggested set."""
    old = [(name, one) for name, found in before.items() for one in found]
    if not old:
        return "never carried out: nothing to judge it by"
    if not any(one.moves for _, one in old):
        return "times no move: say what it is `for`, or take it out"
    never = next(((name, one) for name, one in old if one.moves and one.arrival_us is None), None)
    if never is not None:
        name, one = never
        move = next(move for move in one.moves if move.arrival_us is None)
        return f"no timer helps: on {name} the {move.mechanism} never arrives ({move.reason})"
    if kind == "sensor":
        return _sensor(kept, gain_us, [one for found in after.values() for one in found])
    if cost is not None:
        return _balanced(cost)
    if kind == "balanced" and kept:
        return kept
    if kept:
        return f"{'another value' if value_us == knob.now_us else 'a shorter one'} {kept}"
    text = _safe(knob, value_us, old, after, guard_us)
    if knob.fixed and value_us != knob.now_us:
        text += "; several numbers in the code make it, or several times read it: change them by hand"
    return text


def _sensor(kept: str, gain_us: int | None, seen: list[Execution]) -> str:
    if kept:
        return f"stays a timer: {kept}"
    if gain_us is None or gain_us <= 0:
        text = "wait for arrival: gains nothing by itself, and no battery is too weak for it"
    else:
        text = f"wait for arrival: {ms(gain_us)} less by itself"
    early = max((-(one.margin_us or 0) for one in seen), default=0)
    if early > 0:
        text += f"; code sees it inside up to {ms(early)} before it stays there"
    return text


def _balanced(cost: Cost) -> str:
    return (
        f"most points: a failure costs {cost.failure:.2g}, a second of waiting {cost.second:.2g}; long enough in "
        f"{100 * cost.enough:.0f} % of the executions it was chosen by"
    )


def _safe(knob: Knob, value_us: int, old: list[tuple[str, Execution]], after: Runs, guard_us: int) -> str:
    latest = max(
        (
            (one.arrival_us, name)
            for name, found in after.items()
            for one in found
            if one.arrival_us is not None
        ),
        default=(0, ""),
    )
    arrives = f"arrives after {ms(latest[0])} at the latest ({latest[1]}), {ms(guard_us)} of guard"
    never = [
        name for name, found in after.items() if any(one.moves and one.arrival_us is None for one in found)
    ]
    if never:
        arrives += f"; on {listed(never)} it does not arrive with this set"
    asked = asked_for([one for _, one in old])
    breaks = next(((name, one) for name, one in old if one.breaks), None)
    if value_us > knob.now_us:
        if breaks is not None:
            lines = ", ".join(
                str(line) for line in dict.fromkeys(need.line for need in breaks[1].needs if need.missed)
            )
            return f"too short, breaks line {lines}: {arrives}"
        if any(unasked(one, asked, guard_us) for _, one in old):
            what = (
                "too short"
                if any((one.margin_us or 0) < 0 for _, one in old)
                else "less than a guard to spare"
            )
            return f"{what}, and no stated need says that it may be: {arrives}"
        return f"less than a guard to spare at the next need: {arrives}"
    if value_us < knob.now_us:
        if latest[0] > value_us:
            spares = [
                one.need_margin_us
                for found in after.values()
                for one in found
                if one.need_margin_us is not None
            ]
            spare = f", harmless with {ms(min(spares))} to spare at the next need" if spares else ""
            return f"gives time away: arrives after {ms(latest[0])} at the latest ({latest[1]}){spare}"
        return f"gives time away: {arrives}"
    if breaks is not None:
        return f"a longer timer does not help what it breaks: {arrives}"
    near = [one for _, one in old if one.margin_us is not None and one.margin_us < guard_us]
    if near:
        return _near(near)
    if knob.grain_us > FINEST_US and value_us - knob.grain_us < latest[0] + guard_us:
        return f"good, the least that its number can be: {arrives}"
    return f"good: {arrives}"


def _near(near: list[Execution]) -> str:
    """Why a timer may stay that has less than a guard of its own."""
    spares = [one.need_margin_us for one in near if one.need_margin_us is not None]
    spare = (
        f"{ms(min(spares))} to spare at the next need"
        if spares
        else "the match ends before anything asks for it"
    )
    worst = max(-(one.margin_us or 0) for one in near)
    if worst > 0:
        return f"ends up to {ms(worst)} before the arrival, and harmless: {spare}"
    return f"good: less than a guard of its own, but {spare}"

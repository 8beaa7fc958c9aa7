"""What looks wrong in a plan's times: limits and waits that cannot be meant."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from simbot.scenario.endless import roots
from simbot.scenario.model import (
    ActStep,
    FirstStep,
    HandOverStep,
    PickStep,
    Plan,
    RepeatStep,
    RunStep,
    SequenceStep,
    Step,
    Target,
    TogetherStep,
    TryStep,
    WaitStep,
    WhenStep,
)
from simbot.scenario.plan_file import all_steps, held_steps, inner_steps, sends


def short_limits(plan: Plan) -> Iterator[tuple[int, str, str]]:
    """Tries that cannot all be made before their limit runs out."""
    for step in all_steps(plan):
        if not isinstance(step, TryStep) or step.at_most_us is None:
            continue
        each = least_us(step.steps, plan)
        again = again_us(step.steps, plan)
        if again > 0 and each + again > step.at_most_us >= each:
            yield (
                step.line,
                "at_most",
                f"with all the tries of its acting steps it takes {(each + again) / 1e6:g} s at least, and the limit "
                f"is {step.at_most_us / 1e6:g} s: the limit cuts it short",
            )
        if each > 0 and step.tries * each > step.at_most_us:
            fit, limit = step.at_most_us // each, f"and the limit is {step.at_most_us / 1e6:g} s"
            text = f"{step.tries} tries take {step.tries * each / 1e6:g} s at least, {limit}"
            none = f"one try takes {each / 1e6:g} s at least, {limit}: none can be finished"
            text = f"{text}: only {fit} of them can be finished" if fit else none
            yield step.line, "at_most", text


def again_us(step: Step, plan: Plan) -> int:
    """The longest that acting steps in a step take for tries beyond their first [us]."""
    if isinstance(step, ActStep):
        return int((step.each_us or 0) * (step.tries - 1)) if step.succeeds < 1.0 else 0
    if isinstance(step, RunStep):
        return again_us(plan.routines[step.routine], plan)
    inside = [again_us(inner, plan) for inner in held_steps(step)]
    if isinstance(step, SequenceStep):
        return sum(inside)
    return max(inside, default=0) * (step.times or 1 if isinstance(step, RepeatStep) else 1)


def free_tries(plan: Plan) -> Iterator[tuple[int, str, str]]:
    """Picks and hand overs that are tried again with a hand that nothing has opened."""
    for step in all_steps(plan):
        if not isinstance(step, TryStep) or step.tries == 1:
            continue
        inside = list(inner_steps(step.steps, plan, inline=True))
        for act in inside:
            if not isinstance(act, PickStep | HandOverStep):
                continue
            hand, target = act.by.mechanism, act.by.target
            stated = any(need.mechanism == hand for need in act.needs)  # it is meant to be so before
            if stated or _opens(hand, target, inside) or not _ever_elsewhere(hand, target, plan):
                continue
            yield (
                act.line,
                "try",
                f"tried again, the {hand} is at {act.by.text} already and takes no time to close: a move that opens it "
                "first, and a wait for that, are what a real one takes",
            )


def _opens(hand: str, target: Target, steps: Iterable[Step]) -> bool:
    return any(name == hand and to != target for step in steps for name, to in sends(step))


def _ever_elsewhere(hand: str, target: Target, plan: Plan) -> bool:
    return plan.start.positions.get(hand, target) != target or _opens(hand, target, all_steps(plan))


def empty_periods(plan: Plan) -> Iterator[tuple[int, str, str]]:
    """Periods of which the plan says nothing, beside others of which it does; the endgame is a part of the last."""
    end_us = 0
    for period in plan.game.periods:
        begin_us, end_us = end_us, end_us + period.duration_us
        last = plan.endgame is not None and period is plan.game.periods[-1]
        until_us = max(begin_us, plan.endgame.begin_us) if last and plan.endgame is not None else end_us
        idle = (until_us - begin_us) / 1e6
        if period.name not in plan.periods and plan.periods and idle > 0.0:
            yield 0, f"plan.{period.name}", f"no step of the plan is for this period: {idle:g} s of it go by"


def too_long(plan: Plan) -> Iterator[tuple[int, str, str]]:
    """Waits that swallow whatever is left of the longest period: mostly a unit that was meant otherwise."""
    longest = max(period.duration_us for period in plan.game.periods)
    for step in all_steps(plan):
        if isinstance(step, WaitStep) and (step.duration_us or 0) >= longest:
            asked = float(step.duration_us or 0) / 1e6
            text = f"{asked:g} s is no shorter than the longest period ({longest / 1e6:g} s)"
            yield step.line, "wait", f"{text}: is {asked:g} ms meant?" if asked >= 1.0 else text


def too_late(plan: Plan) -> Iterator[tuple[int, str, str]]:
    """Waits for an instant after the end of whatever they stand in."""
    ends: dict[int, set[tuple[bool, int, int]]] = {}
    for _, root, _, end_us in roots(plan):
        for step in inner_steps(root, plan, inline=True):
            if isinstance(step, WaitStep) and step.until_us is not None:
                ends.setdefault(step.line, set()).add((step.until_us > end_us, step.until_us, end_us))
    for line, found in ends.items():
        if all(late for late, _, _ in found):
            _, until_us, end_us = max(found)
            text = (
                f"{until_us / 1e6:g} s on the match clock is after the end of what it stands in ({end_us / 1e6:g} s): "
                "it is never waited out"
            )
            yield line, "wait", text


def least_us(step: Step, plan: Plan) -> int:
    """The least time that a step takes in full by its written waits [us]; arrivals may be at once."""
    if isinstance(step, WaitStep):
        return int(step.duration_us or 0)
    if isinstance(step, RunStep):
        return least_us(plan.routines[step.routine], plan)
    inside = [least_us(inner, plan) for inner in held_steps(step)]
    if isinstance(step, TogetherStep):
        return max(inside, default=0)
    if isinstance(step, FirstStep | WhenStep):
        return min(inside, default=0) if len(inside) > 1 else 0
    if isinstance(step, TryStep):
        return inside[0]
    if isinstance(step, RepeatStep):
        return inside[0] * (step.times or 1)
    return sum(inside)

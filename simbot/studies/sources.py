"""What is not known of a robot and of its success rates, and how much of the score's uncertainty comes from each.

Every match is played on a day of its own, so with a robot of its own, and once more under the same luck with
everything as stated: the difference has no more of the luck than what the other robot meets otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from simbot.physics.assumptions import DIMENSIONS
from simbot.physics.kinds import KINDS
from simbot.physics.luck import Drawn, uniform
from simbot.routine.keys import draw_keys
from simbot.scenario.echo import shown
from simbot.scenario.model import ActStep, Plan, SenseStep, Step
from simbot.scenario.parameters import Quantity
from simbot.scenario.plan_file import all_steps, with_steps
from simbot.scenario.unit_table import resolved
from simbot.studies.asked import LEAST_PAIRS, Asked
from simbot.studies.chaos import Shares, sd_of, shares_of
from simbot.studies.drawn import battery_of_match, robot_of_day
from simbot.studies.ledger import Ledger, Progress
from simbot.studies.levers import act_words, acting_steps
from simbot.studies.one_match import MATCHES_A_DAY, MatchRecord
from simbot.studies.strata import uniform_of_day
from simbot.studies.workers import Round

ASSUMED = 0.10  # spread of a success rate without one: nobody knows such a rate better than that
NORMAL = NormalDist()
Key = tuple[object, ...]


@dataclass(frozen=True)
class Unknown:
    """One input: its key among the draws, what it is, and whether its spread is an assumption of ours."""

    key: Key
    text: str
    rate: bool  # a success rate: practising moves it; all else is to be measured
    assumed: bool
    each_match: bool = False  # another one in each match


@dataclass(frozen=True)
class Source:
    """What one unknown does to the points of a match."""

    unknown: Unknown
    first: float  # share of the variance of what is not known, by itself
    first_interval: tuple[float, float]
    total: float  # with what it does together with others
    total_interval: tuple[float, float]
    sd: float  # points


@dataclass(frozen=True)
class Sources:
    each: tuple[Source, ...]  # the greatest total first
    sd: float  # points of a match, from all that is not known
    luck_sd: float  # points of a match from luck alone, with everything as stated
    runs: int
    failed: int  # pairs of matches in which one could not be played


class Noting(Drawn):
    """Luck that notes what is drawn from it."""

    def __init__(self) -> None:
        super().__init__(0, 0, 0)
        self.noted: dict[Key, tuple[Quantity, bool]] = {}

    def fixed(self, value: Quantity, low: float, high: float, *key: object) -> float:
        self.noted[key] = (value, False)
        return float(value)

    def of_match(self, value: Quantity, low: float, high: float, *key: object) -> float:
        self.noted[key] = (value, True)
        return float(value)


def wide(plan: Plan) -> Plan:
    """The plan with a spread for every success rate between never and always."""

    def change(step: Step) -> Step:
        if not isinstance(step, ActStep) or not 0.0 < float(step.succeeds) < 1.0:
            return step
        if getattr(step.succeeds, "spread", 0.0) > 0.0:
            return step
        return replace(step, succeeds=Quantity(float(step.succeeds), ASSUMED))

    return with_steps(plan, change)


def exact(plan: Plan) -> Plan:
    """The plan with all that is unknown as it is stated; what varies from time to time still does."""

    def sure(step: Step) -> Step:
        if isinstance(step, SenseStep):
            return replace(step, sees=float(step.sees), false_alarm=float(step.false_alarm))
        return replace(step, succeeds=float(step.succeeds)) if isinstance(step, ActStep) else step

    noting = Noting()
    battery = tuple(battery_of_match(state, noting) for state in plan.robot.battery)
    robot = replace(robot_of_day(plan.robot, noting), battery=battery)
    defenders = tuple(replace(each, chance=float(each.chance)) for each in plan.defenders)
    return with_steps(replace(plan, robot=robot, defenders=defenders), sure)


def unknowns_of(plan: Plan, states: Sequence[str]) -> list[Unknown]:
    """All of them, of a plan that `wide` made."""
    noting = Noting()
    robot_of_day(plan.robot, noting)
    for state in plan.robot.battery:
        if state.name in states:
            battery_of_match(state, noting)
    found = [
        Unknown(key, _words(plan, key, value), False, value.assumed, each_match)
        for key, (value, each_match) in noting.noted.items()
    ]
    return [*found, *_rates(plan)]


def differs_by_day(plan: Plan, states: Sequence[str]) -> bool:
    """Whether anything is drawn once a day, the second robot's too: else days differ by luck alone."""
    plans = [plan] if plan.partner is None else [plan, plan.partner.plan]
    return any(not each.each_match for one in plans for each in unknowns_of(one, states))


def _rates(plan: Plan) -> Iterator[Unknown]:
    """Chances that are not known; each is the same all day."""
    keys = draw_keys(plan)
    chances: list[tuple[Key, float, str]] = [
        (keys[id(step)], step.succeeds, f"{act_words(step)} succeeds") for step in acting_steps(plan).values()
    ]
    for step in all_steps(plan):
        if isinstance(step, SenseStep):
            chances.append(((*keys[id(step)], True), step.sees, f"{step.name} sees"))
            chances.append(
                ((*keys[id(step)], False), step.false_alarm, f"{step.name} sees what is not there")
            )
    chances += [(("defender", each.name), each.chance, f"{each.name} holds it up") for each in plan.defenders]
    for key, chance, words in chances:
        spread = getattr(chance, "spread", 0.0)
        if spread > 0.0:
            text = f"{words} {100 * chance:.0f} % ± {100 * spread:.0f} %"
            yield Unknown(key, text, True, not getattr(chance, "text", ""))


def _words(plan: Plan, key: Key, value: Quantity) -> str:
    names = [str(part).replace("_", " ") for part in key if part not in ("mechanisms",)]
    said = value.text
    if value.assumed or not said:
        said = shown(value, _dimension(plan, key)).partition(" (")[0]
    return f"{' '.join(names)}: {said}"


def _dimension(plan: Plan, key: Key) -> str:
    """What is measured by a number that no file writes; empty: a number by itself."""
    name = str(key[-1])
    spec = plan.robot.mechanisms.get(str(key[1])) if key[0] == "mechanisms" else None
    parameters = () if spec is None else KINDS[spec.kind].PARAMETERS
    found = next((each.dimension for each in parameters if each.key == name and len(key) == 3), None)
    if spec is None or found is None:
        return DIMENSIONS.get(name, "")
    return resolved(found, spec.coordinate)


def score_of(unknown: Unknown, seed: int, number: int) -> float:
    """What was drawn of it in a match, as a standard normal number."""
    day = number // MATCHES_A_DAY
    if unknown.each_match:
        return NORMAL.inv_cdf(uniform(f"{seed} ", day, number, "match", *unknown.key))
    return NORMAL.inv_cdf(uniform_of_day(f"{seed} ", day, *unknown.key))


def sources_of(ledger: Ledger, plan: Plan, asked: Asked, runs: int, progress: Progress) -> Sources | None:
    """Where the uncertainty of the score comes from, by so many pairs of matches; None: nothing is unknown."""
    whole = wide(plan)
    unknowns = unknowns_of(whole, asked.states)
    if not unknowns:
        return None
    ledger.begin(progress, 2 * runs)
    drawn, stated = ledger.play([whole, exact(whole)], _matches(asked, runs))
    ledger.end()
    return _told_by(asked, unknowns, drawn, stated)


def sources_found(ledger: Ledger, plan: Plan, asked: Asked, runs: int) -> Sources | None:
    """The same by those pairs that were played before it was stopped; None below `LEAST_PAIRS`."""
    whole = wide(plan)
    unknowns = unknowns_of(whole, asked.states)
    drawn, stated = ledger.found_of([whole, exact(whole)], _matches(asked, runs))
    return _told_by(asked, unknowns, drawn, stated) if unknowns and len(drawn) >= LEAST_PAIRS else None


def _matches(asked: Asked, runs: int) -> Round:
    return [(day * MATCHES_A_DAY, asked.states[day % len(asked.states)]) for day in range(runs)]


def _told_by(
    asked: Asked,
    unknowns: Sequence[Unknown],
    drawn: Sequence[MatchRecord],
    stated: Sequence[MatchRecord],
) -> Sources | None:
    good = [(a, b) for a, b in zip(drawn, stated, strict=True) if not a.fault and not b.fault]
    if len(good) < 2:
        return None
    z = np.array([[score_of(each, asked.seed, a.number) for each in unknowns] for a, _ in good])
    apart = np.array([a.total - b.total for a, b in good])
    shares = shares_of(z, apart)
    luck = np.array([b.total for _, b in good])
    return _told(unknowns, shares, float(luck.std(ddof=1)), len(good), len(drawn) - len(good))


def _told(unknowns: Sequence[Unknown], shares: Shares, luck_sd: float, runs: int, failed: int) -> Sources:
    each = [
        Source(
            unknown,
            float(shares.first[k]),
            (float(shares.first_interval[k, 0]), float(shares.first_interval[k, 1])),
            float(shares.total[k]),
            (float(shares.total_interval[k, 0]), float(shares.total_interval[k, 1])),
            sd_of(float(shares.total[k]), shares.variance),
        )
        for k, unknown in enumerate(unknowns)
    ]
    each.sort(key=lambda one: (-one.total, one.unknown.text))
    return Sources(tuple(each), sd_of(1.0, shares.variance), luck_sd, runs, failed)

"""Gear stages: ratio, efficiency when driving, efficiency when driven back, and whether they lock.

A stage that loses the share 1 - e when driving returns 2 - 1/e of the torque when driven back; a stage at or
below zero locks, and so does the whole. Backward efficiency is the product over the stages: five stages of
87 % drive back (0.445), though the formula on the whole would say that they lock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from simbot.scenario.model import GearStage
from simbot.scenario.parameters import Quantity

WHOLE_LIFT = 0.375  # of a team-built lift, arm or winch from motor to load: 25 to 50 %
WHOLE_LIFT_SPREAD = 0.125
WHOLE_REASON = (
    "a whole team-built mechanism passes on 25 to 50 %, common practice, no source; driven back as much"
)
NO_GEARING_REASON = (
    f"no gearing is stated; {WHOLE_REASON}; state it as `gearing: [{{ratio: 1:1, efficiency: 60 %}}]`, or "
    "`gearing: []` where nothing is lost after its motors"
)
STAGE = 0.90
STAGE_SPREAD = 0.06
STAGE_REASON = "one gear, chain or belt stage, common practice, no source"


@dataclass(frozen=True)
class Chain:
    """Gear stages in a row.

    Parameters
    ----------
    ratio : float
        Turns of the motor's shaft per turn of the last shaft.
    forward : float
        Efficiency when driving, 0..1.
    back : float
        Efficiency when driven back; zero or less: locks.
    locks : bool
    upstream_inertia : float
        Of shafts before the last, felt at the motor's shaft [kg m²].
    downstream_inertia : float
        Of the last shaft [kg m²].
    """

    ratio: float
    forward: float
    back: float
    locks: bool
    upstream_inertia: float
    downstream_inertia: float


def back_efficiency(forward: float) -> float:
    """Efficiency of a stage when it is driven back: the same loss torque against the smaller flow."""
    return 2.0 - 1.0 / forward


def completed_stages(
    stages: Sequence[GearStage] | None, whole: bool
) -> tuple[tuple[GearStage, ...], tuple[tuple[str, float, float, str], ...]]:
    """Fill in the efficiencies that are not stated.

    Parameters
    ----------
    stages : sequence of GearStage, or None
        None: nothing is stated. What is stated to have no stages loses nothing.
    whole : bool
        Where no stage states an efficiency: share out that of a whole team-built mechanism, rather than take
        a good one for each stage. A whole so guessed is never taken to lock: it returns as much as it passes.

    Returns
    -------
    (stages, assumed) : assumed is a tuple of (key, value, spread, reason)
    """
    reason = WHOLE_REASON
    if stages is None:
        stages, reason = (GearStage(1.0, None, None),) if whole else (), NO_GEARING_REASON
    if whole and stages and all(stage.efficiency is None for stage in stages):
        n = len(stages)
        each = WHOLE_LIFT ** (1.0 / n)
        spread = each * WHOLE_LIFT_SPREAD / WHOLE_LIFT / n
        guess = Quantity(each, spread, "assumed", True)
        filled = tuple(replace(stage, efficiency=guess, back_efficiency=guess) for stage in stages)
        return filled, (("gearing: efficiency of the whole", WHOLE_LIFT, WHOLE_LIFT_SPREAD, reason),)
    out: list[GearStage] = []
    assumed: list[tuple[str, float, float, str]] = []
    for number, stage in enumerate(stages):
        if stage.efficiency is None:
            stage = replace(stage, efficiency=Quantity(STAGE, STAGE_SPREAD, "assumed", True))
            assumed.append((f"gearing, stage {number + 1}: efficiency", STAGE, STAGE_SPREAD, STAGE_REASON))
        out.append(stage)
    return tuple(out), tuple(assumed)


def chain(stages: Sequence[GearStage]) -> Chain:
    """Combine gear stages, from the motor on; every stage has its efficiency (see completed_stages)."""
    ratio, forward, back, upstream, downstream = 1.0, 1.0, 1.0, 0.0, 0.0
    locks = False
    for number, stage in enumerate(stages):
        ratio *= stage.ratio
        if number + 1 < len(stages):
            upstream += stage.inertia / ratio**2
        else:
            downstream = float(stage.inertia)
        assert stage.efficiency is not None
        efficiency = float(stage.efficiency)
        stage_back = (
            back_efficiency(efficiency) if stage.back_efficiency is None else float(stage.back_efficiency)
        )
        forward *= efficiency
        locks = locks or stage_back <= 0.0
        back *= abs(stage_back)
    return Chain(ratio, forward, -back if locks else back, locks, upstream, downstream)

"""Where a mechanism of the robot can hurt somebody, said of the mechanisms by name, and who decides."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from simbot.physics.build import LIFTS_ROBOTS
from simbot.report.page import say
from simbot.report.patch import CAUTION, DEFER
from simbot.scenario.model import MechanismSpec, Robot

LIFTED = frozenset(
    {
        "slide",
        "arm",
        "parallelogram_arm",
        "four_bar",
        "scissor",
        "slider_crank",
        "lead_screw",
        "rack",
        "hoist",
        "axle",
    }
)  # what gravity can let fall when the power ends


def hurts(robots: Sequence[Robot]) -> list[str]:
    """Cautions for the robots' mechanisms; the same for all of them once."""
    said = list(dict.fromkeys(text for robot in robots for text in _of(robot)))
    return [
        *said,
        "Whatever moves pinches: hands, hair and cords stay clear of gears, cords, joints and stops. A stalled motor "
        "heats until it burns, and is too hot to touch long before.",
        "A battery that is short-circuited, crushed or charged wrongly burns: leads insulated, fuse in place, charged "
        "where somebody watches.",
        CAUTION,
        DEFER,
    ]


def _of(robot: Robot) -> Iterator[str]:
    mechanisms = robot.mechanisms.values()
    for kinds, text in (
        (
            frozenset(LIFTS_ROBOTS),
            "may hold a load or the robot itself: nobody reaches under what hangs, whose cord, knot or gear can let "
            "go; first tries low, over something soft",
        ),
        (
            LIFTED,
            "can fall or swing when the battery goes, the robot is disabled or a wire comes off: block it before hands "
            "go near",
        ),
        (
            frozenset({"flywheel"}),
            "stores energy while it turns: eye protection, nobody in line with it, wait until it stands",
        ),
        (
            frozenset({"cylinder"}),
            "moves at full force as long as there is air: vent it before hands go near",
        ),
    ):
        names = [spec.name for spec in mechanisms if spec.kind in kinds]
        if names:
            yield f"{say.listed(names)}: {text}."
    sprung = [spec.name for spec in mechanisms if _is_sprung(spec)]
    if sprung:
        yield f"{say.listed(sprung)}: springs move it without current: relax or block them before work on it."


def _is_sprung(spec: MechanismSpec) -> bool:
    return bool(spec.values.get("springs"))

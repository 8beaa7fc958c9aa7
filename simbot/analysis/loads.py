"""What a run asks of fuses, breakers, devices that reset, windings, cords and hard stops.

Nothing here changes the run: what opens or resets is told, and the times after it are those of a robot on which
it had held.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import inf

import numpy as np
import numpy.typing as npt

from simbot.analysis.results import Finding
from simbot.analysis.words import clock, ms, often, the
from simbot.physics import strain
from simbot.physics.heat import AIR
from simbot.physics.plant import Plant
from simbot.scenario.model import MechanismSpec, Reset, Robot

Array = npt.NDArray[np.float64]

OPENS = 1.44  # (I/In)² at which a fuse opens in the end: 1.2 times its rating, common practice, no source
STALLED = 0.5  # of the stall current
USUAL_BROWN_OUT = 6.8  # V: below it many controllers reset; common practice, no source
OF_12_VOLTS = 10.0  # V: a battery with less at rest belongs to another system
AWAKE = "nothing resets"
FADES = 0.1  # of the resistance: so much more is told


@dataclass(frozen=True)
class Place:
    """The step of the plan under way at an instant."""

    step: int
    line: int


def load_findings(
    robot: Robot, plant: Plant, places: list[tuple[int, Place]], deliveries_us: Sequence[int] = ()
) -> list[Finding]:
    """Findings about loads, each at its first instant; places: (instant µs, step) of all commands, in order."""
    found = [*_main(robot, plant, places)]
    for name, spec in robot.mechanisms.items():
        if name in plant.names:
            found += _of_one(spec, plant, places)
            found += _heat(spec, plant, places, deliveries_us)
    return found


def _main(robot: Robot, plant: Plant, places: list[tuple[int, Place]]) -> Iterator[Finding]:
    collapsed = plant.collapsed_at()
    if collapsed is not None:
        text = (
            "motors driven against their speed take more than the battery gives: the bus stands at no volts, where the "
            "diodes of their controllers hold it"
        )
        yield _finding("bus_collapse", collapsed, None, text, places)
    if robot.fuse is not None:
        opens, most = strain.fuse(plant, None, robot.fuse.rating, robot.fuse.time, OPENS)
        if opens < inf:
            text = (
                f"the main fuse of {robot.fuse.rating:.4g} A opens: its body has lagged up to (I/In)² = {OPENS}; "
                f"the times after it are those of a fuse that had held (it came to {most:.2f})"
            )
            yield replace(_finding("fuse_opens", opens, None, text, places), provided="its fuse holds")
    acting = {reset.name for reset in robot.resets}
    yield from _resets(plant, places)
    for device, volts in robot.brown_out.items():
        if device in acting:
            continue
        sag = strain.below(plant, volts)
        if sag is not None:
            long = _how_long(sag) if sag.lasts else "until what resets with it takes its load off"
            text = (
                f"the bus falls below the {volts:.4g} V at which the {device} resets, {long}, {_lowest(sag)}; "
                "the times after it are those of a robot that had stayed awake"
            )
            found = _finding("brown_out", sag.begins, None, text, places, device)
            yield replace(found, times=sag.times, provided=AWAKE)
    yield from _unstated(robot, plant, places)


def _unstated(robot: Robot, plant: Plant, places: list[tuple[int, Place]]) -> Iterator[Finding]:
    """A bus so low that controllers reset, of a robot whose file says nothing of any that does."""
    if robot.brown_out or robot.resets or max(state.open_circuit for state in robot.battery) < OF_12_VOLTS:
        return
    low = plant.lowest_bus()[0] < USUAL_BROWN_OUT
    sag = strain.below(plant, USUAL_BROWN_OUT) if low else None
    if sag is not None:
        text = (
            f"the bus falls below {USUAL_BROWN_OUT:g} V {_how_long(sag)}, {_lowest(sag)}: about there controllers "
            "reset (common practice, no source), and none does here, as the robot file states none: "
            f"`brown_out: {{controller: {USUAL_BROWN_OUT:g} V}}` tells of it, a block with `stops` makes it act"
        )
        found = _finding("bus_low", sag.begins, None, text, places)
        yield replace(found, times=sag.times, late_us=round(sag.lasts * 1e6), provided=AWAKE)


def _how_long(sag: strain.Sag) -> str:
    whole = f"for {ms(round(sag.lasts * 1e6))}"
    return whole if sag.times == 1 else f"{whole} in all, {ms(round(sag.longest * 1e6))} at a time at most"


def _lowest(sag: strain.Sag) -> str:
    return f"to {sag.lowest:.2f} V at {clock(sag.lowest_at_us)}"


def _resets(plant: Plant, places: list[tuple[int, Place]]) -> Iterator[Finding]:
    """Devices that were off: for how long, what stood still, and which commands that met on their way."""
    for reset, stopped, spells in plant.off_spells():
        if not spells:
            continue
        end = plant.now_us / 1e6
        lasts = sum(min(on, end) - off for off, on in spells)
        text = (
            f"the bus falls below {reset.below:.4g} V{often(len(spells))}: the reset of the {reset.name} "
            f"{_stops(reset)} for {ms(round(lasts * 1e6))} in all"
        )
        met = plant.under_way(stopped, [off for off, _ in spells])
        if met:
            lost = "is lost" if reset.stops == "program" else "waits for it"
            text += f"; what the {' and the '.join(met)} had to do meanwhile {lost}"
        if reset.stops == "program":
            text += "; the routine of its period is over unless a person drives"
        found = _finding("brown_out", spells[0][0], None, text, places, reset.name)
        yield replace(found, fails=reset.stops == "program")


def _stops(reset: Reset) -> str:
    if reset.stops == "program":
        return "stops the program"
    fed = "all motors" if reset.stops == "motors" else f"the rail {reset.stops}"
    return f"leaves {fed} without power"


def _of_one(spec: MechanismSpec, plant: Plant, places: list[tuple[int, Place]]) -> Iterator[Finding]:
    name, values = spec.name, spec.values
    breaker = values.get("breaker")
    if breaker and breaker.get("rating"):
        rating, lag = float(breaker["rating"]), float(breaker["time"])
        opens, most = strain.fuse(plant, name, rating, lag, OPENS)
        if opens < inf:
            text = (
                f"the breaker of {rating:.4g} A of each motor of the {name} opens; the times after it are those of "
                f"a breaker that had held (its (I/In)² came to {most:.2f}, {OPENS} opens it)"
            )
            yield replace(_finding("breaker_opens", opens, name, text, places), provided="its breakers hold")
    longest = values.get("stalls_at_most")
    if longest:
        spell = strain.longest_stall(plant, name, STALLED)
        if spell is not None and spell[1] > float(longest):
            text = (
                f"{the(name)} stands for {ms(round(spell[1] * 1e6))} with more than half of its stall current "
                f"(allowed: {ms(round(float(longest) * 1e6))})"
            )
            yield _finding("stalls_long", spell[0], name, text, places)
    cord = values.get("cord_rating")
    if cord:
        at, pull = strain.greatest_cord_pull(plant, name)
        if pull > float(cord):
            text = f"the cord of the {name} is pulled with {pull:.4g} N, more than its rating of {float(cord):.4g} N"
            yield _finding("cord_overloaded", at, name, text, places)
    hung = strain.slack_cord(plant, name)
    if hung is not None:
        text = (
            f"the cord of the {name} goes slack, for {ms(round(hung.lasts * 1e6))} in all until "
            f"{clock(round(hung.ends * 1e6))}, by {1e3 * hung.most:.3g} mm at the most: its motors let it out faster "
            "than the load follows, and it may come off its drum"
        )
        if hung.caught < inf:
            text += (
                f"; at {clock(round(hung.caught * 1e6))} it tightens with a jerk that takes {hung.lost:.3g} J, more "
                "than its pull while it is taut tells"
            )
        yield _finding("cord_slack", hung.begins, name, text, places)
    allowed = values.get("stop_rating")
    if allowed:
        hits = strain.hits(plant, name)
        if hits:
            at, speed, energy = max(hits, key=lambda hit: hit[2])
            if energy > float(allowed):
                unit = "m/s" if spec.coordinate == "length" else "rad/s"
                text = (
                    f"{the(name)} meets its hard stop with {energy:.3g} J at {speed:.3g} {unit} "
                    f"(its stop takes {float(allowed):.3g} J)"
                )
                yield _finding("hard_stop", at, name, text, places)


def _heat(
    spec: MechanismSpec, plant: Plant, places: list[tuple[int, Place]], deliveries_us: Sequence[int]
) -> Iterator[Finding]:
    """A winding that passes its limit, and a mechanism that fades: its stall torque is k V/R."""
    name, model = spec.name, plant.models.heat(spec.name)
    history = None if model is None else strain.heat_history(plant, name)
    if model is None or history is None:
        return
    times, winding, case = history
    resistance, field = model.factor(winding - AIR), model.field(case - AIR)
    faded = np.flatnonzero(resistance / field - 1.0 > FADES)
    if len(faded):
        at = float(times[faded[0]])
        cycle = 1 + sum(delivery <= at * 1e6 for delivery in deliveries_us)
        first = faded[0]
        text = (
            f"{the(name)} starts to fade in cycle {cycle}: at {winding[first]:.0f} degC its winding has "
            f"{FADES:.0%} more resistance, and as much less torque where it stalls"
        )
        if model.loss:
            text = (
                f"{the(name)} starts to fade in cycle {cycle}: with its winding at {winding[first]:.0f} degC and its "
                f"magnets at {case[first]:.0f} degC it has {1.0 - field[first] / resistance[first]:.0%} less torque "
                "where it stalls"
            )
        yield _finding("fades", at, name, text, places)
    hot = np.flatnonzero(winding > model.limit)
    if len(hot):
        most = winding.max()
        text = f"the winding of the {name} passes its limit of {model.limit:.0f} degC and comes to {most:.0f} degC"
        yield _finding("winding_hot", float(times[hot[0]]), name, text, places)


def _finding(
    kind: str,
    at: float,
    mechanism: str | None,
    text: str,
    places: list[tuple[int, Place]],
    about: str | None = None,
) -> Finding:
    at_us = round(at * 1e6)
    place = Place(0, 0)
    for since, here in places:
        if since > at_us:
            break
        place = here
    return Finding(
        kind=kind,
        step=place.step,
        line=place.line,
        at_us=at_us,
        mechanism=mechanism,
        about=about,
        text=text,
    )

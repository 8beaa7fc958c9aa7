"""What was asked of `simbot match`, read and held against the plan; nothing heavy is imported here."""

from __future__ import annotations

import os

from simbot.scenario.errors import SimbotError, nearest, quoted
from simbot.scenario.given import quantity_given
from simbot.scenario.model import Plan
from simbot.studies.asked import Asked

FEW = 40  # matches that are played sooner than other processes have started


def read_asked(
    plan: Plan,
    runs: int,
    seed: int,
    battery: str | None,
    threshold: str | None,
    partner: str | None,
    until_halfwidth: float | None,
    workers: int | None,
    cluster: str | None = None,
) -> Asked:
    """The study that the options ask for.

    Raises
    ------
    SimbotError
        With the option, what was given and what would do.
    """
    if runs < 1:
        raise SimbotError(f"--runs {runs}: at least one match is wanted")
    if until_halfwidth is not None and not until_halfwidth > 0.0:
        raise SimbotError(f"--until-halfwidth {until_halfwidth:g}: points above 0 are wanted")
    playing = read_workers(workers, runs)
    if workers is not None and cluster is not None:
        raise SimbotError(
            f"--workers {workers}: the workers of --cluster {cluster} play, however many; give one"
        )
    reach = None if threshold is None else quantity_given("--threshold", threshold, "number")
    other = None if partner is None else quantity_given("--partner", partner, "number", low=0.0)
    return Asked(
        runs=runs,
        seed=seed,
        states=states_of(plan, battery),
        until_halfwidth=until_halfwidth,
        threshold=None if reach is None else float(reach),
        threshold_spread=0.0 if reach is None else reach.spread,
        partner=0.0 if other is None else float(other),
        partner_spread=0.0 if other is None else other.spread,
        workers=playing,
        cluster=cluster,
    )


def read_workers(workers: int | None, runs: int) -> int:
    """How many processes play so many matches; one where they are few, one a core unless said."""
    if workers is not None and workers < 1:
        raise SimbotError(f"--workers {workers}: at least one is wanted")
    return workers or (1 if runs <= FEW else os.cpu_count() or 1)


def states_of(plan: Plan, mixture: str | None) -> tuple[str, ...]:
    """Battery states of matches in turn: `fresh:3,mid-event:5,tired:2`, one name, or None for mid-event."""
    names = [state.name for state in plan.robot.battery]
    if mixture is None:
        return ("mid-event",) if "mid-event" in names else (names[len(names) // 2],)
    turns: list[str] = []
    for part in mixture.split(","):
        name, colon, count = (each.strip() for each in part.partition(":"))
        if name not in names:
            guess = nearest(name, names)
            hint = f"; did you mean {quoted(guess)}?" if guess else ""
            raise SimbotError(
                f"--battery {mixture}: the robot has no battery state {quoted(name)}; it has {', '.join(names)}{hint}"
            )
        if colon and not (count.isdigit() and 0 < int(count) <= 1000):
            raise SimbotError(
                f"--battery {mixture}: a number of matches is wanted after {name}:, as in {name}:3"
            )
        turns += [name] * (int(count) if colon else 1)
    return tuple(turns)

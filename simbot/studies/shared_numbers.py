"""Numbers of the robot's code that more than one time of the plan hangs on.

`sleep(CLAW_MS)` and `sleep(CLAW_MS + 50)` read one number: whoever changes it for the first changes the second. The
same holds of a number that is a wait here and a limit there. Such times are changed by hand, and no patch does it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from simbot.scenario.model import DriveForStep, EffortStep, Plan, SourceNumber, Step, TryStep, WaitStep
from simbot.scenario.plan_file import all_steps, with_steps

Where = tuple[Path, int]


def left_to_hands(plan: Plan) -> Plan:
    """The plan with such numbers marked as computed."""
    shared = _shared(plan)

    def mark(source: SourceNumber | None) -> SourceNumber | None:
        if source is None or source.computed or _where(source) not in shared:
            return source
        return replace(source, computed=True)

    def change(step: Step) -> Step:
        if isinstance(step, WaitStep):
            return replace(step, source=mark(step.source), limit_source=mark(step.limit_source))
        if isinstance(step, TryStep):
            return replace(step, limit_source=mark(step.limit_source))
        return (
            replace(step, source=mark(step.source)) if isinstance(step, EffortStep | DriveForStep) else step
        )

    return with_steps(plan, change) if shared else plan


def _shared(plan: Plan) -> set[Where]:
    """Where the numbers start that are part of a computed time, or are read for more than one thing."""
    parts: set[Where] = set()
    uses: dict[Where, set[tuple[str, str]]] = {}
    for what, source in _read(plan):
        if source is None:
            continue
        parts |= {(source.file.resolve(), start) for start in source.made_of}
        if not source.computed:
            uses.setdefault(_where(source), set()).add((what, source.unit))
    return {where for where, found in uses.items() if where in parts or len(found) > 1}


def _read(plan: Plan) -> Iterator[tuple[str, SourceNumber | None]]:
    for step in all_steps(plan):
        if isinstance(step, WaitStep | TryStep):
            yield "limit", step.limit_source
        if isinstance(step, WaitStep):
            yield "wait" if step.purpose is None else "a wait that is not tuned", step.source
        elif isinstance(step, EffortStep | DriveForStep):
            yield "effort", step.source


def _where(source: SourceNumber) -> Where:
    return source.file.resolve(), source.start

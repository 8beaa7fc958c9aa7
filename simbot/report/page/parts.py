"""What the page is made from: each plan with its runs, and the studies' documents."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from simbot.analysis.polylines import Courses
from simbot.analysis.results import RunResult, StateResult
from simbot.report.document import Document
from simbot.routine.trace import Trace
from simbot.scenario.model import Plan, Remark
from simbot.studies.shown import Shown, battery_drawn


@dataclass(frozen=True)
class Ran:
    """One plan on one battery state."""

    state: StateResult
    trace: Trace
    courses: Courses
    partner: Courses | None = None


@dataclass(frozen=True)
class PlanPart:
    """One plan of the page."""

    given: str  # the plan's path as the command line has it
    plan: Plan
    remarks: Sequence[Remark]
    files: Sequence[Path]
    run: RunResult
    ran: tuple[Ran, ...]  # a battery state each, strongest first

    @property
    def middle(self) -> int:
        """Number of the battery state that is shown first."""
        return [one.state.name for one in self.ran].index(battery_drawn(self.plan))

    @property
    def shown(self) -> Shown:
        """The same as the figures draw it."""
        ran = self.ran[self.middle]
        return Shown(self.plan, self.run, ran.state, ran.courses.sampled)


@dataclass(frozen=True)
class Studies:
    """Documents of studies, by plan name where they are about one plan."""

    compare: Document | None = None
    tune: dict[str, Document] = field(default_factory=dict)
    match: dict[str, Document] = field(default_factory=dict)
    worth: dict[str, Document] = field(default_factory=dict)
    fit: dict[str, Document] = field(default_factory=dict)
    sweeps: tuple[tuple[str, Document], ...] = ()  # file, document
    quick: tuple[str, ...] = ()  # kinds that were computed for this page in a quick form
    folder: str | None = None

"""Is the plan well formed, what was understood, what is assumed."""

from __future__ import annotations

import sys

from simbot.cli.options import PlanFile, Settings
from simbot.cli.shared import load


def check(plan: PlanFile, settings: Settings = None) -> None:
    """Is the plan well formed, what was understood, what is assumed."""
    from simbot.report.understood import print_understood

    loaded, remarks = load(plan, settings)
    print_understood(loaded, remarks, sys.stdout)

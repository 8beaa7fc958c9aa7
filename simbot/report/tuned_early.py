"""What `simbot tune` prints of waits for arrival that go on too early."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from math import degrees

from simbot.analysis.words import ms
from simbot.report.document import Document, rounded
from simbot.studies.tune_results import Early, TuneResult

WIDTH = 80


def early_lines(result: TuneResult) -> Iterator[str]:
    """The section of the report; nothing where every wait sees what stays."""
    if not result.early:
        return
    yield ""
    yield "Waits for arrival that go on before it stays"
    for one in result.early:
        yield from textwrap.wrap(early_text(one), WIDTH, initial_indent=" - ", subsequent_indent="   ")


def early_text(one: Early) -> str:
    text = (
        f"line {one.line}, {one.label}: seen inside {ms(one.early_us)} before it stays there ({one.state}); "
    )
    if one.slower_than is None:
        return f"{text}a wait of {ms(one.settling_us)} behind it, `for: settling`, would settle it"
    limit = f"{degrees(one.slower_than):.3g} deg/s" if one.turns else f"{1000 * one.slower_than:.3g} mm/s"
    costs = one.costs_us or 0
    return (
        f"{text}`slower_than: {limit}` in the control of the {one.mechanism} settles it, and the routine takes "
        f"{ms(abs(costs))} {'more' if costs >= 0 else 'less'}"
    )


def early_document(one: Early) -> Document:
    return {
        "line": one.line,
        "moves": one.label,
        "mechanism": one.mechanism,
        "early_s": one.early_us / 1e6,
        "state": one.state,
        "settling_s": one.settling_us / 1e6,
        "slower_than": rounded(one.slower_than),
        "costs_s": None if one.costs_us is None else one.costs_us / 1e6,
    }

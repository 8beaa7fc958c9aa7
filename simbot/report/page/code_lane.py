"""The code as the top lane of the timeline: a square a step, a diamond where it states needs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from simbot.analysis.results import StateResult
from simbot.report.page import say
from simbot.report.page.svg import number, percent, tag, title, words
from simbot.routine.trace import Trace
from simbot.scenario.model import ActStep, HandOverStep, PickStep, PlaceStep

CODE_ROWS, ROW = 4, 15.0
CODE = 30.0 + CODE_ROWS * ROW  # height above the first lane
CODE_LINE = CODE - 16.0
LEAST_SCALE = 62.0  # px a second at which names must not overlap
LETTER = 6.2  # px, about


def step_name(acting: ActStep | None, labels: Sequence[str]) -> str:
    """What a step does, in few words."""
    if isinstance(acting, PickStep):
        return f"pick {acting.element}"
    if isinstance(acting, PlaceStep):
        return f"place in {acting.place}"
    return "hand over" if isinstance(acting, HandOverStep) else ", ".join(labels)


def steps(trace: Trace, state: StateResult, end_us: int) -> Iterator[str]:
    """A square a step, a diamond where it states needs; names stand in rows above so that none covers another."""
    broken = {(found.line, found.at_us) for found in state.findings if found.fails}
    needing = {(need.line, need.at_us) for need in trace.needs}
    groups: dict[tuple[int, int, int], list[str]] = {}
    acting: dict[tuple[int, int, int], ActStep | None] = {}
    for record in trace.moves:
        key = (record.move.start_us, record.step, record.line)
        groups.setdefault(key, []).append(record.label)
        acting[key] = record.by
    taken = [-1e9] * CODE_ROWS
    beside: dict[int, int] = {}
    leads, names = [], []
    for key in sorted(groups):
        at_us, step, line = key
        shift = 18.0 * beside.get(at_us, 0) + 8.0
        beside[at_us] = beside.get(at_us, 0) + 1
        bad, needs = (line, at_us) in broken, (line, at_us) in needing
        x, name = percent(at_us, end_us), step_name(acting[key], groups[key])
        mark = title(f"Step {step}, line {line}, {say.seconds(at_us)}: {name}")
        mark += tag(
            "use",
            href="#diamond" if needs or bad else "#square",
            x=x,
            y=CODE_LINE,
            class_="bad" if bad else None,
        )
        on = "bad" if bad else "on-paper" if needs else ""
        mark += words(str(step), x, CODE_LINE + 4, f"step-no {on}".strip(), "middle")
        here = at_us / 1e6 * LEAST_SCALE + shift
        row = next((index for index, until in enumerate(taken) if until < here), None)
        if row is not None:
            taken[row] = here + len(name) * LETTER + 8
            y = CODE_LINE - 15 - row * ROW
            if row:
                leads.append(
                    tag(
                        "line",
                        x1=x,
                        x2=x,
                        y1=CODE_LINE - 9,
                        y2=y - 9,
                        class_="lead",
                        transform=_moved(shift - 8),
                    )
                )
            class_ = f"name halo {'alarm' if bad else 'strong' if needs else ''}".strip()
            mark += words(name, x, y, class_, dx=-4 if row else -6)
        names.append(tag("g", mark, transform=_moved(shift)))
    yield from leads
    yield from names


def _moved(right: float) -> str | None:
    return f"translate({number(right)} 0)" if right else None

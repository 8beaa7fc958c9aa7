"""How the steps that choose ended in a run: in words, a line of the plan each."""

from __future__ import annotations

from collections.abc import Iterator

from simbot.analysis.results import RunResult
from simbot.analysis.words import listed, times
from simbot.routine.trace import Choice


def chosen_rows(run: RunResult) -> Iterator[tuple[str, str]]:
    """Lead and text of each; instants where there is one state only, as in one match with chance."""
    lines: dict[tuple[int, int, str], dict[str, list[Choice]]] = {}
    for state in run.states:
        for one in state.choices:
            by_state = lines.setdefault((one.step, one.line, f"{one.kind} {one.about}".strip()), {})
            by_state.setdefault(state.name, []).append(one)
    alone = len(run.states) == 1
    for (_, line, what), by_state in sorted(lines.items()):
        said: dict[str, list[str]] = {}
        for name, choices in by_state.items():
            said.setdefault(_ways(choices, alone), []).append(name)
        parts = [
            text if len(names) == len(run.states) else f"{listed(names)} {text}"
            for text, names in said.items()
        ]
        yield f" line {line:>3}  ", f"{what}: {'; '.join(parts)}"


def _ways(choices: list[Choice], instants: bool) -> str:
    """What was chosen, each way with how often."""
    ways: dict[str, list[Choice]] = {}
    for one in choices:
        ways.setdefault(one.chosen, []).append(one)
    return ", ".join(f"{chosen} {_often(ones, instants)}" for chosen, ones in ways.items())


def _often(ones: list[Choice], instants: bool) -> str:
    if not instants:
        return times(len(ones))
    begin = "at" if len(ones) == 1 else f"{times(len(ones))}, first at"
    return f"{begin} {ones[0].at_us * 1e-6:.2f} s"

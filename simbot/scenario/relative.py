"""Changes that are relative to what a file says: `+10 %`, `-200 g`."""

from __future__ import annotations

import re

from simbot.scenario.errors import SimbotError, ValueFault
from simbot.scenario.unit_table import DIMENSIONS
from simbot.scenario.units import SPREAD, read_quantity
from simbot.scenario.yaml_reader import Node

NUMBER = re.compile(r"^\s*([-+]?\d[\d_]*\.?\d*(?:[eE][-+]?\d+)?)")


def is_relative(text: str) -> bool:
    """Whether a value is written as a change of what is there."""
    return text.strip()[:1] in ("+", "-")


def changed_text(given: str, change: str, what: str) -> str:
    """A value as a file writes it, changed by a share or an amount.

    >>> changed_text("0.6 kg ± 3 %", "-200 g", "robot.mass")
    '0.4 kg'
    >>> changed_text("85 %", "+10 %", "succeeds")
    '93.5 %'
    """
    main = SPREAD.split(given)[0].strip()
    number = NUMBER.match(main)
    if number is None:
        raise SimbotError(
            f"--change {what}={change}: {given} is no number that could be changed by an amount"
        )
    value, unit = float(number.group(1).replace("_", "")), main[number.end() :].strip()
    if change.strip().endswith("%"):
        share = float(change.strip()[:-1]) / 100.0
        return f"{value * (1.0 + share):.10g} {unit}".strip()
    for dimension in DIMENSIONS:
        try:
            here = float(read_quantity(main, dimension))
            more = float(read_quantity(change.strip().lstrip("+"), dimension))
        except ValueFault:
            continue
        scale = here / value if value else 1.0
        return f"{(here + more) / scale:.10g} {unit}".strip()
    raise SimbotError(f"--change {what}={change}: it is no share such as +10 %, and no amount like {given}")


def text_at(root: Node, path: str) -> str | None:
    """The text at a dotted path of a file's tree; None: there is none."""
    node: Node | None = root
    for part in path.split("."):
        value = node.value if node is not None else None
        if isinstance(value, dict):
            node = value.get(part)
        elif isinstance(value, list) and part.isdigit() and int(part) < len(value):
            node = value[int(part)]
        else:
            return None
    return node.value if node is not None and isinstance(node.value, str) else None

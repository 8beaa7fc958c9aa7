"""Changes that are relative to what a file says: `+10 %`, `-200 g`; of a list of stages, such as their masses, too."""

from __future__ import annotations

import re
from collections.abc import Sequence

from simbot.scenario.errors import SimbotError, ValueFault
from simbot.scenario.unit_table import DIMENSIONS
from simbot.scenario.units import SPREAD, read_quantity
from simbot.scenario.yaml_reader import Node

SHARE = re.compile(r"([-+]\s*\d+(?:\.\d*)?)\s*%")
NUMBER = re.compile(r"^\s*([-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?)")


def is_relative(text: str) -> bool:
    """Whether a value is written as a change of what is there."""
    return text.strip()[:1] in ("+", "-")


def changed_text(given: str, change: str, what: str) -> str:
    """A value as a file writes it, changed by a share or an amount; what is not known of it stays as it is.

    >>> changed_text("0.6 kg ± 3 %", "-200 g", "robot.mass")
    '0.4 kg ± 3 %'
    >>> changed_text("85 %", "+10 %", "succeeds")
    '93.5 %'
    """
    main, *spread = (part.strip() for part in SPREAD.split(given))
    number = NUMBER.match(main)
    if number is None:
        raise SimbotError(
            f"--change {what}={change}: {given} is no number that could be changed by an amount"
        )
    value, unit = float(number.group(1)), main[number.end() :].strip()
    made = _changed(value, unit, change.strip())
    if made is None:
        bare = NUMBER.match(change)
        if unit and not unit.startswith(":") and bare is not None and bare.end() == len(change.rstrip()):
            text = f"its unit is missing, such as that of {main}; or % for a share"
            raise SimbotError(f"--change {what}={change}: {text}")
        raise SimbotError(
            f"--change {what}={change}: it is no share such as +10 %, and no amount like {main}"
        )
    return " ± ".join([f"{made:.10g} {unit}".strip(), *spread])


def changed_texts(given: Sequence[str], change: str, what: str) -> list[str]:
    """The values of a list changed together: by a share each, by an amount in proportion to what they are.

    >>> changed_texts(["0.6 kg", "0.9 kg"], "-150 g", "lift.moving_mass")
    ['0.54 kg', '0.81 kg']
    """
    if len(given) == 1 or SHARE.fullmatch(change.strip()):
        return [changed_text(each, change, what) for each in given]
    first, *others = (SPREAD.split(each)[0].strip() for each in given)
    whole = first
    for each in others:
        whole = changed_text(whole, f"+{each.lstrip('+')}", what)
    made, whole_number = NUMBER.match(changed_text(whole, change, what)), NUMBER.match(whole)
    assert made is not None and whole_number is not None
    before, after = float(whole_number[1]), float(made[1])
    if before <= 0.0 or after <= 0.0:
        raise SimbotError(
            f"--change {what}={change}: all {len(given)} values of that list together are {whole}"
        )
    share = f"{100.0 * (after / before - 1.0):+.12f} %"
    return [changed_text(each, share, what) for each in given]


def _changed(value: float, unit: str, change: str) -> float | None:
    """The number of a value by itself, in its own unit, after a change of it; None: it is none."""
    share = SHARE.fullmatch(change)
    if share is not None:
        return value * (1.0 + float(share[1].replace(" ", "")) / 100.0)
    if SPREAD.search(change):
        return None
    for dimension in DIMENSIONS:
        try:
            one = float(read_quantity(f"1 {unit}".strip(), dimension))
            more = float(read_quantity(change.lstrip("+"), dimension))
            return value + more / one
        except (ValueFault, ZeroDivisionError):
            continue
    return None


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


def text_of(trees: Sequence[Node], path: str) -> str | None:
    """The text at a dotted path of the first tree that has one there."""
    return next((text for tree in trees if (text := text_at(tree, path)) is not None), None)

"""Quantities that a study varies: `robot.mechanisms.lift.drum_diameter=20:60 mm`, read against the files' trees.

A key may be written short where that is clear: its parts in their order, the last one by its beginning
(`lift.drum`), or by its line (`plan.line31.wait`). A range is FROM:TO or FROM:TO:STEP, with the unit at its end or
behind each number.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from simbot.scenario.changes import in_full
from simbot.scenario.errors import Fault, ScenarioError, SimbotError, ValueFault, nearest
from simbot.scenario.given_numbers import numbers_in
from simbot.scenario.relative import text_of
from simbot.scenario.sheet import GEARS, KINDS_OF_FILE, listed
from simbot.scenario.short_keys import keys_meant, no_such, one_list, several
from simbot.scenario.unit_table import DIMENSIONS
from simbot.scenario.units import SPREAD, read_quantity
from simbot.scenario.yaml_reader import Node

MOST = 2001  # values of one quantity
PART = re.compile(r"\s*([-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?)(?![\d.]|,\d)\s*(.*?)\s*")
STAGES = ("moving_mass", "friction")  # lists with a number for each stage, or cord
BEGINS_WITH_NUMBER = re.compile(r"\s*[-+]?\.?\d")
EXAMPLE = "FROM:TO with their unit, such as 20:60 mm, or FROM:TO:STEP, such as 20:60:5 mm"


@dataclass(frozen=True)
class Axis:
    """One quantity and its values.

    Parameters
    ----------
    key : str
        Dotted path in full.
    written, range : str
        Both sides of the equals sign, as they were given.
    unit : str
        As it was given; empty for a bare number.
    values : tuple of float
        Rising, in that unit.
    now : float or None
        What the files say, in that unit; None: nothing, or nothing that compares.
    parts : tuple of float
        What can be had, rising, in that unit; empty where nobody said.
    beside : tuple of str
        Where the files say nothing at its key: the items of lists that stand beside it.
    """

    key: str
    written: str
    range: str
    unit: str
    values: tuple[float, ...]
    now: float | None = None
    parts: tuple[float, ...] = ()
    beside: tuple[str, ...] = ()

    def text(self, value: float) -> str:
        """A value as a file writes it."""
        return f"{value:.10g} {self.unit}".strip()

    def told(self, value: float) -> str:
        """A value for a report."""
        return f"{value:.5g} {self.unit}".strip()

    @property
    def name(self) -> str:
        """The end of the key that tells what it is."""
        parts = [part for part in self.key.split(".") if part not in (*KINDS_OF_FILE, "mechanisms")]
        return ".".join(parts)


def read_axis(
    written: str,
    text: str,
    trees: Sequence[Node],
    points: int,
    mechanism: str = "",
    keys: Collection[str] = (),
) -> Axis:
    """A quantity and its range.

    Parameters
    ----------
    written, text : str
        What stands left and right of the equals sign.
    trees : sequence of Node
        The files' trees.
    points : int
        Values where no step is given.
    mechanism : str
        Keys without a path of their own are this one's; empty: there is none.
    keys : collection of str
        All that it may have.

    Raises
    ------
    SimbotError
        With the argument, what is wrong with it and what would do.
    """
    given = f"{written}={text}"
    key = _key_of(line_key(written, given, trees), given, trees, mechanism, keys)
    there = text_of(trees, key)
    if there is not None and not BEGINS_WITH_NUMBER.match(there):
        raise _wrong(given, Fault(f"{key} is '{there}', which is no number to sweep"))
    numbers, unit = _range(given, text)
    values = _values(given, numbers, points)
    if there is not None:
        return Axis(key, written, text.strip(), unit, values, in_unit(there, unit))
    parent = key.rpartition(".")[0]
    lists = [path for path in _keys_in(trees) if path.startswith(f"{parent}.") and path[-1].isdigit()]
    return Axis(key, written, text.strip(), unit, values, beside=tuple(lists))


def read_parts(axis: Axis, text: str) -> tuple[float, ...]:
    """What can be had of a quantity: values with commas between them, or a file with one or more a line."""
    given = f"--parts {text}"
    file = Path(text.strip())
    words = [text]
    if not BEGINS_WITH_NUMBER.match(text) or file.is_file():
        try:
            lines = file.read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError):
            wanted = "values such as 3.7,5.2,7.2, or a file with one a line"
            raise _wrong(given, Fault("no values, and no such file", text, wanted)) from None
        words = [line.partition("#")[0] for line in lines]
    values = []
    for word in (each.strip() for line in words for each in re.split(r"[,;]", line)):
        if word:
            value = in_unit(word if _unit_of(word) else f"{word} {axis.unit}", axis.unit)
            if value is None:
                raise _wrong(
                    given,
                    Fault(f"no value of {axis.name}", word, f"values such as {axis.text(axis.values[0])}"),
                )
            values.append(value)
    if not values:
        raise _wrong(given, Fault("there is no value in it"))
    return tuple(sorted(dict.fromkeys(values)))


def in_unit(text: str, unit: str) -> float | None:
    """The number of a value as a file writes it, in another unit; None where they do not compare.

    >>> in_unit("2 in", "mm")
    50.8
    """
    main = SPREAD.split(text)[0].strip()
    match = PART.fullmatch(main)
    if match is not None and match[2] == unit:
        return float(match[1])
    if not unit:
        try:
            return float(read_quantity(main, "ratio"))
        except ValueFault:
            return None
    for dimension in DIMENSIONS:
        try:
            ratio = float(read_quantity(main, dimension)) / float(read_quantity(f"1 {unit}", dimension))
            return float(f"{ratio:.12g}")
        except (ValueFault, ZeroDivisionError):
            continue
    return None


def told_of(axis: Axis, error: ScenarioError) -> SimbotError:
    """The first mistake in what was laid over the files, told of the argument."""
    here = [problem for problem in error.problems if problem.file.startswith("--set ")]
    problem = (here or error.problems)[0]
    is_value = problem.given is not None and BEGINS_WITH_NUMBER.match(problem.given)
    given = axis.range if here and is_value else problem.given
    guess = f"{axis.key.rpartition('.')[0]}.{problem.nearest}"
    items = [path for path in axis.beside if path.rpartition(".")[0] == guess]
    if items:  # the nearest is a list: one of its numbers is wanted
        return _wrong(f"{axis.written}={axis.range}", Fault(problem.text, given, listed(items)))
    return _wrong(f"{axis.written}={axis.range}", Fault(problem.text, given, problem.wanted, problem.nearest))


# --- keys ---------------------------------------------------------------------------------------------


def key_meant(written: str, given: str, trees: Sequence[Node], new: bool) -> str:
    """The full key that one means, in full or short.

    Parameters
    ----------
    written, given : str
        The key, and the argument that it stands in.
    trees : sequence of Node
        The files' trees.
    new : bool
        Where the files have all but its last part it is taken as it stands; they may leave it out.

    Raises
    ------
    SimbotError
        Where none or several numbers are meant, with the nearest.
    """
    written = line_key(written, given, trees)
    parent = written.rpartition(".")[0]
    if new and written.split(".")[0] in KINDS_OF_FILE and parent and _inside(trees, parent):
        return written
    key = _key_of(written, given, trees, "", ())
    if text_of(trees, key) is not None:
        return key
    raise _wrong(given, _no_such(written, _keys_in(trees), ""))


def keys_changed(written: str, given: str, trees: Sequence[Node]) -> tuple[str, ...]:
    """The full keys of what a relative change means: one number, or all of a list whose sum means something.

    Raises
    ------
    SimbotError
        As `key_meant`.
    """
    written = line_key(written, given, trees)
    found = keys_meant(written, _keys_in(trees))
    if one_list(found) and found[0].split(".")[-2] in STAGES:
        return tuple(found)
    return (key_meant(written, given, trees, new=False),)


def line_key(written: str, given: str, trees: Sequence[Node]) -> str:
    """The full key of one that is written by its line, as `--set` takes it; of any other itself.

    Raises
    ------
    SimbotError
        Where no such key stands in that line, or several do.
    """
    parts = written.split(".")
    tree = next((each for each in trees if isinstance(each.value, dict) and parts[0] in each.value), None)
    found = parts if tree is None else in_full(parts, tree)
    if isinstance(found, Fault):
        raise _wrong(given, found)
    return ".".join(found)


def _key_of(written: str, given: str, trees: Sequence[Node], mechanism: str, keys: Collection[str]) -> str:
    own = f"robot.mechanisms.{mechanism}." if mechanism else ""
    paths = _keys_in(trees)
    for candidate in (written, own + written):
        if text_of(trees, candidate) is not None:
            return candidate
    ungeared = _ungeared(written, trees, mechanism)
    if ungeared is not None:
        raise _wrong(given, ungeared)
    for candidate in (written, own + written):
        within = [path for path in paths if path.startswith(f"{candidate}.")]
        if within and isinstance(_inside(trees, candidate), list) and not keys_meant(written, within):
            if len(within) == 1:
                return within[0]
            raise _wrong(given, several(written, within))
    close = keys_meant(written, [path for path in paths if own and path.startswith(own)])
    if written in keys and not close:
        return own + written  # a key that its mechanism may have and the files leave out
    close = close or keys_meant(written, paths)
    if len(close) > 1:
        raise _wrong(given, several(written, close))
    if close:
        return close[0]
    unlike = keys and "." not in written and written not in keys and nearest(written, keys) is None
    for candidate in (written,) if unlike else (written, own + written):
        parent = candidate.rpartition(".")[0]
        if candidate.split(".")[0] in KINDS_OF_FILE and parent and _is_mapping(trees, parent):
            if _is_mapping(trees, candidate):
                break
            return candidate  # the files say nothing there yet; whoever reads them knows whether they may
    raise _wrong(given, _no_such(written, paths, own))


def _ungeared(written: str, trees: Sequence[Node], mechanism: str) -> Fault | None:
    """What is wrong with a gear ratio of a mechanism whose motors turn it without gears of its own."""
    parts = [
        part
        for part in written.split(".")
        if part not in (*KINDS_OF_FILE, "mechanisms") and not part.isdigit()
    ]
    if not parts or parts[-1] not in GEARS:
        return None
    names = [part for part in parts if part not in GEARS] or [mechanism]
    own = f"robot.mechanisms.{names[0]}"
    motors = text_of(trees, f"{own}.motors")
    if len(names) > 1 or motors is None or _inside(trees, f"{own}.gearing") is not None:
        return None
    wanted = f"gearing: [{{ratio: 1:1}}] of {names[0]} in the robot file, to be swept then"
    inside = f"robot.motors.{motors.split()[-1]}.internal_ratio"
    if text_of(trees, inside) is not None:
        wanted += f"; or {inside}, the gears inside its motor"
    return Fault(f"{names[0]} has no gearing in the files", written, wanted)


def _keys_in(trees: Sequence[Node]) -> list[str]:
    return [each.key for tree in trees for each in numbers_in(tree)]


def _no_such(written: str, keys: Sequence[str], own: str) -> Fault:
    return no_such("there is no such number in the files", written, keys, own)


def _is_mapping(trees: Sequence[Node], path: str) -> bool:
    return isinstance(_inside(trees, path), dict)


def _inside(trees: Sequence[Node], path: str) -> dict[str, Node] | list[Node] | None:
    """What stands in a mapping or a list at a path."""
    for tree in trees:
        node: Node | None = tree
        for part in path.split("."):
            inside = node.value if node is not None else None
            if isinstance(inside, dict):
                node = inside.get(part)
            elif isinstance(inside, list) and part.isdigit() and int(part) < len(inside):
                node = inside[int(part)]
            else:
                node = None
        if node is not None and isinstance(node.value, dict | list):
            return node.value
    return None


# --- ranges -------------------------------------------------------------------------------------------


def _wrong(given: str, fault: Fault) -> SimbotError:
    return SimbotError(f"{given}: {fault}")


def _unit_of(word: str) -> str:
    match = PART.fullmatch(word)
    return match[2] if match is not None else ""


def _range(given: str, text: str) -> tuple[list[float], str]:
    """The two or three numbers of a range, and their unit."""
    pieces = text.split(":")
    matches = [PART.fullmatch(piece) for piece in pieces]
    if len(pieces) not in (2, 3) or None in matches:
        raise _wrong(given, Fault("no range of numbers", text or "nothing", EXAMPLE))
    units = [match[2] for match in matches if match is not None]
    unit = units[-1] or next((each for each in units if each), "")
    if any(each not in ("", unit) for each in units):
        raise _wrong(given, Fault("two units in one range", text, f"one for all, such as {EXAMPLE}"))
    return [float(match[1]) for match in matches if match is not None], unit


def _values(given: str, numbers: list[float], points: int) -> tuple[float, ...]:
    low, high = numbers[:2]
    if low >= high:
        text = "the range ends where it begins" if low == high else "the range runs backwards"
        wanted = "two different ends" if low == high else f"{high:g}:{low:g}"
        raise _wrong(given, Fault(text, f"{low:g}:{high:g}", wanted))
    if len(numbers) == 2:
        count = points
        values = [low + (high - low) * number / (points - 1) for number in range(points)]
    else:
        step = numbers[2]
        if not 0.0 < step <= high - low:
            raise _wrong(
                given,
                Fault("the step does not fit the range", f"{step:g}", f"more than 0, up to {high - low:g}"),
            )
        count = int((high - low) / step + 1e-9) + 1
        values = [low + step * number for number in range(min(count, MOST + 1))]
    if count > MOST:
        raise _wrong(given, Fault("too many values", str(count), f"at most {MOST}"))
    return tuple(float(f"{value:.12g}") for value in values)

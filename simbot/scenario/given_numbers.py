"""The numbers that stand in the files: their dotted keys, texts and places; and finding one by a short name."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from simbot.scenario.errors import SimbotError
from simbot.scenario.relative import NUMBER
from simbot.scenario.sheet import KINDS_OF_FILE
from simbot.scenario.short_keys import keys_meant, no_such, several
from simbot.scenario.units import SPREAD
from simbot.scenario.yaml_reader import Node


@dataclass(frozen=True)
class GivenNumber:
    """One scalar of a file that begins with a number."""

    key: str  # robot.mechanisms.lift.friction
    text: str  # 6 N ± 25 %
    file: Path
    line: int
    column: int

    @property
    def number(self) -> float:
        """The number, in its own unit."""
        match = NUMBER.match(self._main)
        assert match is not None
        return float(match[1])

    @property
    def unit(self) -> str:
        match = NUMBER.match(self._main)
        assert match is not None
        return self._main[match.end() :].strip()

    @property
    def has_spread(self) -> bool:
        return len(SPREAD.split(self.text)) == 2

    @property
    def _main(self) -> str:
        return SPREAD.split(self.text)[0].strip()

    def written(self, number: float, spread: float | None = None, digits: int = 12) -> str:
        """The value with another number, and a spread in the same unit."""
        text = f"{number:.{digits}g} {self.unit}".strip()
        return text if spread is None else f"{text} ± {spread:.{digits}g} {self.unit}".strip()


def numbers_in(tree: Node) -> Iterator[GivenNumber]:
    """Every number in the tree of a file."""
    if isinstance(tree.value, dict):
        for kind in KINDS_OF_FILE:
            if kind in tree.value:
                yield from _under(tree.value[kind], kind)


def _under(node: Node, key: str) -> Iterator[GivenNumber]:
    value = node.value
    if isinstance(value, dict):
        for name, inner in value.items():
            if (key, name) != ("plan", "change"):
                yield from _under(inner, f"{key}.{name}")
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _under(inner, f"{key}.{index}")
    elif isinstance(value, str) and NUMBER.match(SPREAD.split(value)[0]):
        yield GivenNumber(key, value, Path(node.place.file), node.place.line, node.place.column)


def number_named(name: str, numbers: Sequence[GivenNumber], option: str) -> GivenNumber:
    """The number that a key means, in full or short.

    Raises
    ------
    SimbotError
        Where none or several are meant.
    """
    written = name.strip()
    keys = [each.key for each in numbers]
    meant = keys_meant(written, keys)
    if len(meant) == 1:
        return numbers[keys.index(meant[0])]
    if meant:
        raise SimbotError(f"{option} {written}: {several(written, meant)}")
    wanted = "a number there, which has to have a first value, as in `friction: 5 N ± 50 %`"
    fault = no_such("the files give no such number", written, keys, wanted=wanted)
    raise SimbotError(f"{option} {written}: {fault}")

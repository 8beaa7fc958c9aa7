"""The numbers that stand in the files: their dotted keys, texts and places; and finding one by a short name."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from simbot.scenario.errors import SimbotError, nearest, quoted
from simbot.scenario.relative import NUMBER
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
        return float(match[1].replace("_", ""))

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


def numbers_under(node: Node, key: str) -> Iterator[GivenNumber]:
    """Every number in a tree."""
    value = node.value
    if isinstance(value, dict):
        for name, inner in value.items():
            if (key, name) != ("plan", "change"):
                yield from numbers_under(inner, f"{key}.{name}")
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from numbers_under(inner, f"{key}.{index}")
    elif isinstance(value, str) and NUMBER.match(SPREAD.split(value)[0]):
        yield GivenNumber(key, value, Path(node.place.file), node.place.line, node.place.column)


def number_named(name: str, numbers: Sequence[GivenNumber], option: str) -> GivenNumber:
    """The number that a key means, written in full or with parts of it left out.

    `lift.efficiency` means `robot.mechanisms.lift.gearing.0.efficiency` where no other key has these parts in
    this order.

    Raises
    ------
    SimbotError
        Where none or several do.
    """
    parts = name.strip().split(".")
    exact = [each for each in numbers if each.key == name.strip()]
    found = exact or [each for each in numbers if _has(each.key.split("."), parts)]
    if len(found) == 1:
        return found[0]
    if found:
        some = ", ".join(each.key for each in found[:6])
        more = f" and {len(found) - 6} more" if len(found) > 6 else ""
        raise SimbotError(f"{option} {name}: several numbers could be meant: {some}{more}")
    keys = [each.key for each in numbers]
    guess = _guess(parts, keys)
    hint = f"; did you mean {quoted(guess, 90)}?" if guess else ""
    raise SimbotError(
        f"{option} {name}: the files give no such number; give it a first value there, as in "
        f"`friction: 5 N ± 50 %`{hint}"
    )


def _guess(parts: list[str], keys: Sequence[str]) -> str | None:
    """The key most like a name that none has: with one part of it spelt as some key spells it."""
    for place, part in enumerate(parts):
        word = nearest(part, sorted({each for key in keys for each in key.split(".")}))
        mended = [*parts[:place], word or part, *parts[place + 1 :]]
        found = next((key for key in keys if _has(key.split("."), mended)), None)
        if found is not None:
            return found
    return next((key for key in keys if key.endswith("." + parts[-1])), None)


def key_has(key: str, name: str) -> bool:
    """Whether a full key is one that a name means, in full or with parts left out."""
    return _has(key.split("."), name.strip().split("."))


def _has(key: list[str], parts: list[str]) -> bool:
    """Whether the parts stand in the key in this order, the last of them last."""
    if key[-1] != parts[-1]:
        return False
    rest = iter(key)
    return all(part in rest for part in parts)

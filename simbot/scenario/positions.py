"""Positions of a mechanism: in its own units, as counts, as a share of a servo's range, or by name."""

from __future__ import annotations

from math import ceil, floor, tau
from typing import Any

from simbot.scenario.counts import counts_in
from simbot.scenario.errors import Fault, ValueFault, nearest
from simbot.scenario.model import MechanismSpec, Need, Target
from simbot.scenario.parameters import Kind, Quantity
from simbot.scenario.sheet import Loc, Sheet, listed
from simbot.scenario.unit_table import resolved
from simbot.scenario.units import Scale, read_quantity

END_TOLERANCE = 1e-9  # of the travel: the end written in another unit is the end


def read_counts_and_range(sheet: Sheet, loc: Loc, kind: Kind) -> Scale:
    """The scale of a mechanism, before anything else of it is read; its own mistakes are told elsewhere.

    Counts that it does not state are those of its encoder and gears.
    """
    found: dict[str, float | None] = {"counts": None, "range": None}
    for parameter in kind.PARAMETERS:
        text = sheet.text((*loc, parameter.key)) if parameter.key in found else None
        if text is not None:
            try:
                value = read_quantity(text, resolved(parameter.dimension, kind.COORDINATE))
                found[parameter.key] = float(value) or None
            except ValueFault:
                continue
    return Scale(found["counts"] or counts_in(sheet, loc, kind), found["range"], kind.COORDINATE)


def scale_of(spec: MechanismSpec) -> Scale:
    """The same of a mechanism that is read."""
    return Scale(_plain(spec.values.get("counts")), _plain(spec.values.get("range")), spec.coordinate)


def turns_inside(target: float, low: float, high: float) -> list[float]:
    """All target + 2 pi k inside a travel [rad], lowest first; one that is an end but for rounding is the end."""
    slack = END_TOLERANCE * (high - low)
    first, last = ceil((low - slack - target) / tau), floor((high + slack - target) / tau)
    return [min(max(target + k * tau, low), high) for k in range(first, last + 1)]


class Positions:
    """Reads positions and needs of one mechanism and holds them against its travel."""

    def __init__(self, sheet: Sheet, spec: MechanismSpec) -> None:
        self.sheet = sheet
        self.name = spec.name
        self.is_word = spec.coordinate == "word"
        self.named: dict[str, float] = spec.values.get("named") or {}
        self.travel: tuple[float, float] | None = spec.values.get("travel")
        self.dimension = resolved("coordinate", spec.coordinate)
        self.scale = scale_of(spec)
        loop = spec.servo or spec.values.get("control") or {}
        self.words = ("in", "out") if "stroke" in spec.values else ()
        self.wraps = bool(spec.values.get("wraps"))
        self.window: float | None = loop.get("window")

    @staticmethod
    def read_named(sheet: Sheet, loc: Loc, values: dict[str, Any], coordinate: str) -> dict[str, float]:
        """The words of `named` with their positions."""
        bare = MechanismSpec(str(loc[-1]), "", coordinate, {**values, "named": None}, 0)
        positions = Positions(sheet, bare)
        named = {}
        for word, at in sheet.entries((*loc, "named")):
            target = positions.read(at, sheet.text(at))
            if isinstance(target, float):
                named[word] = target
        return named

    def read(self, loc: Loc, text: str | None) -> Target | None:
        """A position inside the travel [m or rad], or a word of a measured mechanism; None: a mistake."""
        if text is None:
            self.sheet.fail(loc, Fault("a position is wanted", "nothing", self.wanted))
            return None
        if self.is_word:
            return self._word(loc, text.strip())
        if text.strip() in self.named:
            return self.named[text.strip()]
        if text.strip()[:1].isalpha():
            self._unknown_word(loc, text.strip())
            return None
        value = self.sheet.attempt(loc, read_quantity, text, self.dimension, self.scale)
        return None if value is None else self._inside(loc, value)

    def _word(self, loc: Loc, word: str) -> str | None:
        if self.words and word not in self.words:
            self.sheet.fail(loc, Fault(f"{self.name} is in or out", word, listed(self.words)))
            return None
        if word.startswith("at "):
            self.sheet.fail(
                loc, Fault("a place is a word without `at`", word, word.removeprefix("at ").strip())
            )
            return None
        return word

    @property
    def wanted(self) -> str:
        units = {"length": "0.42 m", "angle": "30 deg", "word": "open"}[
            self.dimension if not self.is_word else "word"
        ]
        return f"a position such as {units}" + (f", or {listed(self.named)}" if self.named else "")

    def _unknown_word(self, loc: Loc, word: str) -> None:
        known = listed(self.named) or f"none: {self.name} has no `named` positions"
        self.sheet.fail(loc, Fault("there is no such named position", word, known, nearest(word, self.named)))

    def _inside(self, loc: Loc, value: Quantity) -> Quantity | None:
        if self.travel is None:
            return value
        low, high = self.travel
        for end in (low, high):
            if abs(value - end) <= END_TOLERANCE * (high - low):
                return Quantity(end, value.spread, value.text)
        if not low < value < high:
            ends = " to ".join(getattr(end, "text", "") or f"{end:g}" for end in (low, high))
            if self.wraps and turns_inside(value, low, high):
                return value
            how = ", and no number of turns away from it is inside" if self.wraps else ""
            self.sheet.fail(loc, Fault(f"outside the travel of {self.name}{how}", value.text, ends))
            return None
        return value

    def need(self, loc: Loc, text: str) -> Need | None:
        """`0.42 m within 15 mm`, or a word, either with `moving`; no `within`: the mechanism's own window."""
        main, within, moving = split_need(text)
        target = self.read(loc, main)
        if target is None:
            return None
        tolerance: float | None = 0.0 if self.is_word else self.window
        if within and self.is_word:
            self.sheet.fail(loc, Fault("a measured mechanism has no tolerance", text, main))
            return None
        if within:
            tolerance = self.sheet.attempt(
                loc, read_quantity, within, self.dimension, self.scale, low=0.0, open_low=True
            )
        if tolerance is None:
            return None
        return Need(self.name, target, text, tolerance, None, moving, self.sheet.line(loc))


def split_need(text: str) -> tuple[str, str, bool]:
    """What stands before `within`, what after it, and whether `moving` is said."""
    words = text.split()
    moving = bool(words) and words[-1] == "moving"
    main, _, within = " ".join(words[:-1] if moving else words).partition(" within ")
    return main, within, moving


def _plain(value: Any) -> float | None:
    return None if value is None else float(value)

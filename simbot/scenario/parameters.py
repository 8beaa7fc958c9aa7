"""How a mechanism kind declares its parameters; the file schema is made from these declarations.

A kind says *what* it wants (dimension, bounds, meaning); how a value is written in a file, and how a wrong
one is explained, is the business of the loader alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol


class Quantity(float):
    """A number in SI units that remembers its spread and how it was written.

    Parameters
    ----------
    value : float
        Nominal value, SI.
    spread : float
        Half-width of the expanded uncertainty (k = 2), SI; 0 where none was stated.
    text : str
        As written in the file, or how a default came about.
    assumed : bool
        True where the file did not give the value and a default stands in for it.
    """

    spread: float
    text: str
    assumed: bool

    def __new__(cls, value: float, spread: float = 0.0, text: str = "", assumed: bool = False) -> Quantity:
        self = super().__new__(cls, value)
        self.spread = spread
        self.text = text
        self.assumed = assumed
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        return (Quantity, (float(self), self.spread, self.text, self.assumed))


class Span(int):
    """A duration in whole microseconds that varies from time to time.

    Parameters
    ----------
    value : int
        Nominal duration [µs].
    spread_us : int
        Half-width of the expanded uncertainty (k = 2) [µs].
    samples : tuple of int
        Observed durations [µs] it is drawn from instead, each as likely; `value` is their mean.
    """

    spread_us: int
    samples: tuple[int, ...]

    def __new__(cls, value: int, spread_us: int = 0, samples: tuple[int, ...] = ()) -> Span:
        self = super().__new__(cls, value)
        self.spread_us = spread_us
        self.samples = samples
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        return (Span, (int(self), self.spread_us, self.samples))


@dataclass(frozen=True)
class Parameter:
    """One key of a mechanism in a robot file.

    Parameters
    ----------
    key : str
        Name of the key.
    dimension : str
        One of ``units.DIMENSIONS`` (length, angle, mass, inertia, force, torque, speed, angular_speed,
        acceleration, time, current, voltage, resistance, ratio, share, number, count, counts_scale,
        servo_speed, turn_proportional_gain (1/rad), turn_derivative_gain (s/rad)), or ``coordinate``,
        ``coordinate_speed``, ``coordinate_acceleration``,
        ``coordinate_jerk``, ``proportional_gain`` (1/coordinate), ``integral_gain`` (1/(coordinate s)),
        ``derivative_gain`` (s/coordinate), ``coordinate_friction`` (N or N m),
        ``coordinate_damping`` (N s/m or N m s/rad), ``coordinate_stiffness`` (N/m or N m/rad), which follow
        the kind's own coordinate; or ``choice``, ``flag``, ``word``, ``block``, ``blocks`` (a list of blocks),
        ``variants`` (a list whose items are one key of ``block`` each), ``stages``, ``motors``, ``names``.
    meaning : str
        One line for the documentation and for messages.
    shape : str
        ``one``; ``pair`` ([low, high]); ``list``; ``one_or_list``.
    required : bool
        A missing required key is an error; a missing optional one takes ``default``.
    default : float | str | bool | None
        SI; None means absent.
    default_spread : float
        Expanded uncertainty of the default, SI. A default with a reason is listed by ``simbot check``.
    reason : str
        Why the default is what it is ("common practice", "from memory", ...). Empty: not worth listing.
    low, high : float
        Bounds, SI, both ends allowed unless ``open_low`` says that the value must be above ``low``.
    choices : tuple of str
        For ``choice``.
    block : tuple of Parameter
        Keys of a ``block`` and of ``blocks``; of ``variants``, the blocks that an item may be.
    needed : str
        Of one that is required only in some company: when, in words; its absence there is told where that shows.
    left_out : str
        What stands in for it, in words, where that hangs on other keys.
    only_for : str
        Of a variant: the coordinate of the kinds that may have it. Empty: every kind.
    """

    key: str
    dimension: str
    meaning: str
    shape: str = "one"
    required: bool = False
    default: float | str | bool | None = None
    default_spread: float = 0.0
    reason: str = ""
    low: float = -float("inf")
    high: float = float("inf")
    open_low: bool = False
    choices: tuple[str, ...] = ()
    block: tuple[Parameter, ...] = ()
    needed: str = ""
    left_out: str = ""
    only_for: str = ""


class Kind(Protocol):
    """What the loader needs to know of a mechanism kind (a module of ``simbot.physics.kinds``)."""

    NAME: str
    COORDINATE: str  # "length", "angle" or "word" (measured: any word is a place)
    SUMMARY: str
    PARAMETERS: tuple[Parameter, ...]
    EXAMPLE: str  # the keys that it needs and no others, as they would stand in a file

    # a kind may also have `impossible(values)`: pairs of a key (or a path of keys) and the Fault there, of what
    # shows only when keys are held against each other (a linkage that does not close); and `stops_within(values)`:
    # ends of its travel that it never comes to, as (0 or 1, where it is stopped before, by what); and
    # `shaft_per_travel(values)`: turns of its last shaft per unit of travel, None where that changes (without it: 1)


Kinds = Mapping[str, Kind]

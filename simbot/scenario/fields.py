"""Types of values in a file, for pydantic: each reads a text by the grammar of `units`."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, GetPydanticSchema, ValidationInfo
from pydantic_core import PydanticCustomError
from pydantic_core.core_schema import with_info_plain_validator_function

from simbot.scenario.errors import ValueFault, nearest
from simbot.scenario.parameters import Quantity, Span
from simbot.scenario.units import NO_SCALE, Scale, fail, read_quantity


class Shape(BaseModel):
    """One flat mapping of a file: unknown keys are mistakes. Made ready when a file has the first of its kind."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)


def reader(read: Callable[[Any, Scale], Any]) -> GetPydanticSchema:
    """A validator from a function that raises `ValueFault`.

    It states what pydantic's own `PlainValidator` would find out by trying, most of which is for writing values.
    """

    def validate(value: Any, info: ValidationInfo) -> Any:
        scale = info.context if isinstance(info.context, Scale) else NO_SCALE
        try:
            return read(value, scale)
        except ValueFault as error:
            raise PydanticCustomError("fault", "unreadable", {"fault": error.fault}) from None

    return GetPydanticSchema(lambda source, handler: with_info_plain_validator_function(validate))


def quantity(
    dimension: str, low: float = -math.inf, high: float = math.inf, open_low: bool = False
) -> GetPydanticSchema:
    return reader(lambda value, scale: read_quantity(value, dimension, scale, low, high, open_low))


def read_word(value: Any, scale: Scale = NO_SCALE) -> str:
    if not isinstance(value, str) or not value.strip():
        shown = "nothing" if value is None else "a list or a mapping" if not isinstance(value, str) else value
        raise fail("a word is wanted", shown)
    return value.strip()


def read_flag(value: Any, scale: Scale = NO_SCALE) -> bool:
    if value not in ("true", "false"):
        raise fail("true or false is wanted", str(value), "true, false")
    return bool(value == "true")


def read_choice(value: Any, choices: tuple[str, ...]) -> str:
    word = read_word(value)
    if word not in choices:
        raise fail("not one of the words that would do", word, ", ".join(choices), nearest(word, choices))
    return word


def choice(*choices: str) -> GetPydanticSchema:
    return reader(lambda value, scale: read_choice(value, choices))


def read_after(value: Any, scale: Scale = NO_SCALE) -> str | Quantity:
    """What acts once a mechanism has arrived: brake, coast, or an effort that presses on."""
    word = read_word(value)
    if word in ("brake", "coast"):
        return word
    if word[0].isalpha():
        raise fail(
            "not one of the words that would do",
            word,
            "brake, coast or an effort such as 15 %",
            nearest(word, ("brake", "coast")),
        )
    return read_quantity(word, "share", low=0.0, high=1.0)


def read_motors(value: Any, scale: Scale = NO_SCALE) -> tuple[int, str]:
    """`2 x wheel`: how many of which motor."""
    wanted = "how many of which motor, such as 2 x wheel"
    word = read_word(value)
    parts = re.sub(r"^(\d+)\s*(?:[×*]\s*|[xX]\s+)", r"\1 x ", word).split()
    if len(parts) != 3 or parts[1] not in ("x", "X", "*"):
        raise fail("a number, an x and a motor's name are wanted", word, wanted)
    if not parts[0].isdigit() or not 1 <= int(parts[0]) <= 12:
        raise fail("the number of motors is a whole number from 1 to 12", word, wanted)
    return int(parts[0]), parts[2]


def read_refill(value: Any, scale: Scale = NO_SCALE) -> tuple[int, Quantity]:
    """`1 per 10 s`: elements and the time between refills."""
    word = read_word(value)
    count, per, every = word.partition(" per ")
    if not per:
        raise fail("a refill is a number per time", word, "a refill such as 1 per 10 s")
    number = read_quantity(count, "count", low=1, high=1000)
    return int(number), read_quantity(every, "time", low=1e-3)


def read_points(value: Any, scale: Scale = NO_SCALE) -> Quantity | dict[str, Quantity]:
    """One number, or one for each period."""
    if isinstance(value, dict):
        return {period: read_quantity(text, "number") for period, text in value.items()}
    return read_quantity(value, "number")


def read_times(value: Any, scale: Scale = NO_SCALE) -> tuple[float, ...]:
    """Stopwatch times: a list, or a single one."""
    values = value if isinstance(value, list) else [value]
    if not values:
        raise fail("at least one time is wanted", "an empty list", "times such as [0.31 s, 0.29 s]")
    return tuple(read_quantity(text, "time", low=0.0) for text in values)


def read_wait(value: Any, scale: Scale = NO_SCALE) -> Any:
    """What stands after `wait`: words, times that were seen, or a mapping that is read on its own."""
    if isinstance(value, dict):
        return value
    return read_times(value) if isinstance(value, list) else read_word(value)


def read_exact(value: Any, low: float = 0.0, open_low: bool = False) -> Quantity:
    """A time that a run takes as it is written, so that a spread would say nothing."""
    time = read_quantity(value, "time", low=low, high=36000, open_low=open_low)
    if time.spread:
        raise fail(
            "every run takes this time as it is written: no spread stands here",
            str(value),
            "a time such as 500 ms",
        )
    return time


def read_lasting(value: Any, scale: Scale = NO_SCALE) -> Any:
    """A time above 0, or the mapping of a number in the robot's code, which is read on its own."""
    return value if isinstance(value, dict) else read_exact(value, open_low=True)


@dataclass(frozen=True)
class Instant:
    """An instant of the match clock: from its start, or before the end of a period."""

    seconds: float
    before_end: bool


def read_instant(text: str) -> Instant:
    """`12 s` from the start of the match, or `22 s before_end` of the last period."""
    main = text.strip()
    before_end = main.endswith("before_end")
    value = read_quantity(main.removesuffix("before_end"), "time", low=0.0)
    return Instant(float(value), before_end)


def microseconds(seconds: float) -> int:
    """Whole microseconds; a `Span` where the time has a spread."""
    spread = getattr(seconds, "spread", 0.0)
    whole = round(seconds * 1_000_000)
    return Span(whole, round(spread * 1_000_000)) if spread else whole


Length = Annotated[Quantity, quantity("length", low=-1000, high=1000)]
Size = Annotated[Quantity, quantity("length", low=0.0, high=1000, open_low=True)]
Angle = Annotated[Quantity, quantity("angle", low=-100, high=100)]
Time = Annotated[Quantity, quantity("time", low=0.0, high=36000)]
Duration = Annotated[Quantity, quantity("time", low=0.0, high=36000, open_low=True)]
Lasting = Annotated[Any, reader(read_lasting)]
ExactTime = Annotated[Quantity, reader(lambda value, scale: read_exact(value))]
ExactPeriod = Annotated[Quantity, reader(lambda value, scale: read_exact(value, 1e-3))]
Period = Annotated[Quantity, quantity("time", low=1e-3, high=36000)]
Share = Annotated[Quantity, quantity("share", low=0.0, high=1.0)]
Count = Annotated[Quantity, quantity("count", low=0, high=100000)]
Word = Annotated[str, reader(read_word)]
PoseShape = tuple[Length, Length, Angle]

"""The listed spellings of units, and the dimensions that values may have.

Angle and encoder count are dimensions of their own, so that `3 deg` is no ratio and `20 /m` no `20 /rad`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

Powers = tuple[int, ...]  # of m, kg, s, A, rad, count, K

NONE: Powers = (0, 0, 0, 0, 0, 0, 0)
_M: Powers = (1, 0, 0, 0, 0, 0, 0)
_KG: Powers = (0, 1, 0, 0, 0, 0, 0)
TIME: Powers = (0, 0, 1, 0, 0, 0, 0)
_A: Powers = (0, 0, 0, 1, 0, 0, 0)
_CHARGE: Powers = (0, 0, 1, 1, 0, 0, 0)
ANGLE: Powers = (0, 0, 0, 0, 1, 0, 0)
_COUNT: Powers = (0, 0, 0, 0, 0, 1, 0)
_KELVIN: Powers = (0, 0, 0, 0, 0, 0, 1)
_N: Powers = (1, 1, -2, 0, 0, 0, 0)
TORQUE: Powers = (2, 1, -2, 0, 0, 0, 0)
MASS_AT_LEVER: Powers = (1, 1, 0, 0, 0, 0, 0)
_V: Powers = (2, 1, -3, -1, 0, 0, 0)
_JOULE: Powers = (2, 1, -2, 0, 0, 0, 0)
_WATT: Powers = (2, 1, -3, 0, 0, 0, 0)
_PRESSURE: Powers = (-1, 1, -2, 0, 0, 0, 0)
_VOLUME: Powers = (3, 0, 0, 0, 0, 0, 0)
_OHM: Powers = (2, 1, -3, -2, 0, 0, 0)
_SPEED: Powers = (1, 0, -1, 0, 0, 0, 0)
ANGULAR_SPEED: Powers = (0, 0, -1, 0, 1, 0, 0)

GRAVITY = 9.80665  # m/s², standard gravity, exact (3rd CGPM, 1901)
INCH = 0.0254  # m, exact (international yard and pound agreement, 1959)
POUND = 0.45359237  # kg, exact (the same)
DEGREE = math.pi / 180


def _words() -> dict[str, tuple[float, Powers]]:
    table: dict[str, tuple[float, Powers]] = {}

    def put(spellings: str, factor: float, powers: Powers) -> None:
        for spelling in spellings.split():
            table[spelling] = (factor, powers)

    put("m metre meter metres meters", 1.0, _M)
    put("cm centimetre centimeter centimetres centimeters", 0.01, _M)
    put("mm millimetre millimeter millimetres millimeters", 0.001, _M)
    put("um", 1e-6, _M)
    put("km", 1000.0, _M)
    put("in inch inches", INCH, _M)
    put("ft foot feet", 0.3048, _M)
    put("yd yard yards", 0.9144, _M)
    put("rad radian radians", 1.0, ANGLE)
    put("mrad", 0.001, ANGLE)
    put("deg degree degrees", DEGREE, ANGLE)
    put("rev revolution revolutions turn turns", 2 * math.pi, ANGLE)
    put("kg kilogram kilograms kilo kilos", 1.0, _KG)
    put("g gram grams", 0.001, _KG)
    put("mg", 1e-6, _KG)
    put("lb lbs pound pounds", POUND, _KG)
    put("oz ounce ounces", POUND / 16, _KG)
    put("s sec secs second seconds", 1.0, TIME)
    put("ms millisecond milliseconds", 0.001, TIME)
    put("us microsecond microseconds", 1e-6, TIME)
    put("min minute minutes", 60.0, TIME)
    put("h hour hours", 3600.0, TIME)
    put("N newton newtons", 1.0, _N)
    put("mN", 0.001, _N)
    put("kN", 1000.0, _N)
    put("kgf", GRAVITY, _N)
    put("gf", GRAVITY / 1000, _N)
    put("lbf", 4.4482216152605, _N)
    put("ozf", 4.4482216152605 / 16, _N)
    put("A amp amps ampere amperes", 1.0, _A)
    put("mA", 0.001, _A)
    put("Ah", 3600.0, _CHARGE)
    put("mAh", 3.6, _CHARGE)
    put("V volt volts", 1.0, _V)
    put("mV", 0.001, _V)
    put("ohm ohms", 1.0, _OHM)
    put("mohm milliohm milliohms", 0.001, _OHM)
    put("rpm", 2 * math.pi / 60, ANGULAR_SPEED)
    put("rps", 2 * math.pi, ANGULAR_SPEED)
    put("count counts tick ticks", 1.0, _COUNT)
    put("W watt watts", 1.0, _WATT)
    put("J joule joules", 1.0, _JOULE)
    put("K degC", 1.0, _KELVIN)
    put("Pa pascal pascals", 1.0, _PRESSURE)
    put("kPa", 1000.0, _PRESSURE)
    put("bar bars", 1e5, _PRESSURE)
    put("psi", POUND * GRAVITY / INCH**2, _PRESSURE)
    put("l litre liter litres liters", 0.001, _VOLUME)
    put("ml millilitre milliliter millilitres milliliters", 1e-6, _VOLUME)
    put("% percent", 0.01, NONE)
    return table


WORDS = _words()
# spellings written without a sign between their words
JOINED = {
    "Nm": "N*m",
    "mNm": "mN*m",
    "Ncm": "N*cm",
    "kgfcm": "kgf*cm",
    "kgcm": "kg*cm",
    "gcm": "g*cm",
    "ozin": "oz*in",
    "inoz": "oz*in",
    "ozfin": "ozf*in",
    "lbin": "lb*in",
    "inlb": "lb*in",
    "inlbs": "lb*in",
    "lbfin": "lbf*in",
    "lbft": "lb*ft",
    "ftlb": "lb*ft",
    "ftlbs": "lb*ft",
    "lbfft": "lbf*ft",
    "kgm": "kg*m",
    "kgmm": "kg*mm",
    "gmm": "g*mm",
    "kgfm": "kgf*m",
    "mps": "m/s",
    "fps": "ft/s",
}
FOLDED = {
    word.lower(): word
    for word in (*WORDS, *JOINED)
    if not (word[0] == "m" and len(word) > 1 and word[1] in "NAV")  # MN is not mN
}
FOLDED["mohm"] = "mohm"
GUESSES = {
    '"': "in",
    "”": "in",
    "''": "in",
    "'": "ft",
    "′": "ft",
    "″": "in",
    "hz": "rpm",
    "rmp": "rpm",
    "c": "counts",
}

WEIGHTS = {
    **dict.fromkeys(["kg", "kilogram", "kilograms", "kilo", "kilos"], "kgf"),
    **dict.fromkeys(["g", "gram", "grams"], "gf"),
    **dict.fromkeys(["lb", "lbs", "pound", "pounds"], "lbf"),
    **dict.fromkeys(["oz", "ounce", "ounces"], "ozf"),
}  # a mass where its weight is meant


@dataclass(frozen=True)
class Dimension:
    """What a value may be measured in: its powers (alternatives), SI unit and the spellings to suggest."""

    si: str
    powers: tuple[Powers, ...]
    units: tuple[str, ...]
    name: str

    @property
    def wanted(self) -> str:
        return (
            f"{self.name} in {', '.join(self.units[:-1])} or {self.units[-1]}"
            if len(self.units) > 1
            else (f"{self.name} in {self.units[0]}")
        )


def _per(powers: Powers, *others: Powers) -> Powers:
    for other in others:
        powers = tuple(have - less for have, less in zip(powers, other, strict=True))
    return powers


def _dimension(name: str, si: str, powers: Powers | tuple[Powers, ...], units: str) -> Dimension:
    alternatives = (powers,) if isinstance(powers[0], int) else powers
    return Dimension(si, alternatives, tuple(units.split()), name)


_NMS = _per(TORQUE, _per(NONE, TIME))
DIMENSIONS: dict[str, Dimension] = {
    "length": _dimension("a length", "m", _M, "mm cm m in ft"),
    "angle": _dimension("an angle", "rad", ANGLE, "deg rad rev"),
    "mass": _dimension("a mass", "kg", _KG, "kg g lb oz"),
    "inertia": _dimension("an inertia", "kg*m^2", (2, 1, 0, 0, 0, 0, 0), "kg*m^2 g*cm^2 lb*in^2"),
    "force": _dimension("a force", "N", _N, "N kgf lbf"),
    "torque": _dimension("a torque", "N*m", TORQUE, "N*m kgf*cm ozf*in lbf*in"),
    "speed": _dimension("a speed", "m/s", _SPEED, "m/s mm/s in/s ft/s"),
    "angular_speed": _dimension("a speed of turning", "rad/s", ANGULAR_SPEED, "rpm deg/s rad/s rev/s"),
    "acceleration": _dimension("an acceleration", "m/s^2", _per(_SPEED, TIME), "m/s^2 mm/s^2 in/s^2"),
    "angular_acceleration": _dimension(
        "an acceleration of turning", "rad/s^2", _per(ANGULAR_SPEED, TIME), "rad/s^2 deg/s^2"
    ),
    "jerk": _dimension("a jerk", "m/s^3", _per(_SPEED, TIME, TIME), "m/s^3 mm/s^3"),
    "angular_jerk": _dimension(
        "a jerk of turning", "rad/s^3", _per(ANGULAR_SPEED, TIME, TIME), "rad/s^3 deg/s^3"
    ),
    "time": _dimension("a time", "s", TIME, "ms s min"),
    "current": _dimension("a current", "A", _A, "A mA"),
    "voltage": _dimension("a voltage", "V", _V, "V mV"),
    "resistance": _dimension("a resistance", "ohm", _OHM, "ohm mohm"),
    "charge": _dimension("a charge", "A*s", _CHARGE, "Ah mAh"),
    "temperature": _dimension("a temperature", "degC", _KELVIN, "degC"),
    "thermal_resistance": _dimension("a thermal resistance", "K/W", _per(_KELVIN, _WATT), "K/W"),
    "pressure": _dimension("a pressure", "Pa", _PRESSURE, "bar psi kPa"),
    "conductance": _dimension("a conductance", "m^3/(s*Pa)", _per(_VOLUME, TIME, _PRESSURE), "l/s/bar"),
    "volume": _dimension("a volume", "m^3", _VOLUME, "ml l"),
    "energy": _dimension("an energy", "J", _JOULE, "J"),
    "share": _dimension("a share", "", NONE, "%"),
    "length_counts_scale": _dimension(
        "encoder counts per length", "1/m", _per(_COUNT, _M), "counts/mm counts/in"
    ),
    "angle_counts_scale": _dimension(
        "encoder counts per angle", "1/rad", _per(_COUNT, ANGLE), "counts/deg counts/rev"
    ),
    "servo_speed": _dimension("a servo's speed", "rad/s", ANGULAR_SPEED, "s/60deg deg/s rpm"),
    "length_gain": _dimension("a gain", "1/m", _per(NONE, _M), "/m /mm /in /counts"),
    "turn_proportional_gain": _dimension("a gain", "1/rad", _per(NONE, ANGLE), "/deg /rad /counts"),
    "length_integral_gain": _dimension("a gain", "1/(m*s)", _per(NONE, _M, TIME), "/m/s /mm/s"),
    "turn_integral_gain": _dimension("a gain", "1/(rad*s)", _per(NONE, ANGLE, TIME), "/deg/s /rad/s"),
    "length_derivative_gain": _dimension("a gain", "s/m", _per(TIME, _M), "s/m s/mm"),
    "turn_derivative_gain": _dimension("a gain", "s/rad", _per(TIME, ANGLE), "s/deg s/rad"),
    "speed_gain": _dimension("a gain", "s/rad", _per(NONE, ANGULAR_SPEED), "%/rpm /rpm s/rad"),
    "damping": _dimension("a damping", "N*s/m", _per(_N, _SPEED), "N*s/m"),
    "stiffness": _dimension("a stiffness", "N/m", _per(_N, _M), "N/m N/mm lbf/in"),
    "angular_stiffness": _dimension("a stiffness", "N*m/rad", _per(TORQUE, ANGLE), "N*m/rad N*m/deg"),
    "angular_damping": _dimension("a damping", "N*m*s/rad", (_per(_NMS, ANGLE), _NMS), "N*m*s/rad N*m*s"),
}

_BY_COORDINATE = {
    "coordinate": ("length", "angle"),
    "coordinate_speed": ("speed", "angular_speed"),
    "coordinate_acceleration": ("acceleration", "angular_acceleration"),
    "coordinate_jerk": ("jerk", "angular_jerk"),
    "proportional_gain": ("length_gain", "turn_proportional_gain"),
    "integral_gain": ("length_integral_gain", "turn_integral_gain"),
    "derivative_gain": ("length_derivative_gain", "turn_derivative_gain"),
    "coordinate_friction": ("force", "torque"),
    "coordinate_damping": ("damping", "angular_damping"),
    "coordinate_stiffness": ("stiffness", "angular_stiffness"),
    "counts_scale": ("length_counts_scale", "angle_counts_scale"),
}


def resolved(dimension: str, coordinate: str) -> str:
    """The dimension a parameter has for a mechanism whose coordinate is a `length` or an `angle`."""
    pair = _BY_COORDINATE.get(dimension)
    return dimension if pair is None else pair[1 if coordinate == "angle" else 0]

"""Units: every listed spelling against pint, spreads, and what must not be taken for a unit."""

from __future__ import annotations

import math

import pint
import pytest

from simbot.scenario.errors import ValueFault
from simbot.scenario.fields import read_motors
from simbot.scenario.unit_table import ANGLE, DIMENSIONS, JOINED, WORDS
from simbot.scenario.units import Scale, parse_unit, read_as, read_quantity

REGISTRY = pint.UnitRegistry()
# spellings of ours for which pint has another name
PINT_NAMES = {
    "kgf": "kilogram_force", "gf": "gram_force", "lbf": "pound_force", "ozf": "ounce_force", "%": "percent",
    "sec": "second", "secs": "second", "kilo": "kilogram", "kilos": "kilogram", "mohm": "milliohm",
    "us": "microsecond", "um": "micrometer", "tick": "count", "ticks": "count", "rps": "revolution/second",
    "min": "minute", "rev": "revolution", "in": "inch", "amp": "ampere", "amps": "ampere", "lbs": "pound",
    "degC": "delta_degC",
}  # fmt: skip
BASES = ("meter", "kilogram", "second", "ampere", "radian", "count", "kelvin")


@pytest.mark.parametrize("word", WORDS)
def test_every_listed_word_agrees_with_pint(word):
    factor, powers = WORDS[word]
    base = REGISTRY.Quantity(1.0, REGISTRY.parse_units(PINT_NAMES.get(word, word))).to_base_units()
    assert factor == pytest.approx(base.magnitude, rel=1e-12)
    assert dict(base.unit_items()) == {
        name: power for name, power in zip(BASES, powers, strict=True) if power
    }


@pytest.mark.parametrize("word", JOINED)
def test_words_written_together_are_their_product(word):
    factor, powers = parse_unit(word)
    parts = [WORDS[part] for part in JOINED[word].replace("/", "*").split("*")]
    expected = parts[0][0] * parts[1][0] if "*" in JOINED[word] else parts[0][0] / parts[1][0]
    assert factor == pytest.approx(expected, rel=1e-15)
    assert any(powers)


@pytest.mark.parametrize("name", [name for name, dimension in DIMENSIONS.items() if name != "servo_speed"])
def test_every_unit_that_a_message_suggests_can_be_read(name):
    scale = Scale(counts=1000.0, coordinate="angle" if name.startswith("turn") else "length")
    for unit in DIMENSIONS[name].units:
        assert read_quantity(f"1 {unit}", name, scale) > 0


@pytest.mark.parametrize(
    ("spellings", "dimension", "value"),
    [
        ("kg*m^2 kgm2 kgm^2 kg.m^2 kg.m2 kg·m² kgm² kg-m2 KGM2", "inertia", 1.0),
        ("g*mm^2 g*mm2 gmm2 gmm^2 g.mm²", "inertia", 1e-9),
        ("kg*mm^2 kgmm2 kg.mm^2", "inertia", 1e-6),
        ("g*cm^2 gcm2 gcm^2 gcm² g.cm2", "inertia", 1e-7),
        ("lb*ft^2 lbft2 lb.ft2 lb-ft^2", "inertia", 4.214011e-2),  # NIST SP 811, B.8, from memory
        ("lb*in^2 lbin2 lb.in^2", "inertia", 2.926397e-4),  # the same
        ("N*m Nm N.m N·m", "torque", 1.0),
        ("m/s^2 m/s2 m/s²", "acceleration", 1.0),
    ],
)
def test_spellings_of_cad(spellings: str, dimension: str, value: float) -> None:
    read = [float(read_quantity(f"1 {each}", dimension)) for each in spellings.split()]
    assert read == pytest.approx([value] * len(read), rel=1e-6)
    assert len(set(read)) == 1
    assert float(read_quantity("2.5 kg m2", "inertia")) == 2.5


@pytest.mark.parametrize("text", ["1 kgm3", "1 kg..m2", "1 gcm22", "1 m2.5", "1 .m2"])
def test_what_is_no_inertia(text: str) -> None:
    with pytest.raises(ValueFault):
        read_quantity(text, "inertia")


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        # exact by definition: inch (1959), pound (1959), standard gravity (1901)
        ("12 in", "length", 0.3048),
        ("1ft", "length", 0.3048),
        ("34 mm", "length", 0.034),
        ("95 %", "share", 0.95),
        ("1 lbf", "force", 4.4482216152605),
        ("19 kgf*cm", "torque", 19 * 9.80665 / 100),
        ("19 kg*cm", "torque", 19 * 9.80665 / 100),
        ("19 kg·cm", "torque", 19 * 9.80665 / 100),
        ("19 kgcm", "torque", 19 * 9.80665 / 100),
        ("19 KG-CM", "torque", 19 * 9.80665 / 100),
        ("100 oz*in", "torque", 100 / 16 * 4.4482216152605 * 0.0254),
        ("100 oz-in", "torque", 100 / 16 * 4.4482216152605 * 0.0254),
        ("10 in-lb", "torque", 10 * 4.4482216152605 * 0.0254),
        ("1.2 Nm", "torque", 1.2),
        ("1.2 N m", "torque", 1.2),
        ("120 mN·m", "torque", 0.12),
        ("0.15 Ω", "resistance", 0.15),
        ("0.15 OHM", "resistance", 0.15),
        ("12 v", "voltage", 12.0),
        ("0.3 a", "current", 0.3),
        ("400 RPM", "angular_speed", 400 * math.pi / 30),
        ("400 1/min", "angular_speed", 400 * math.pi / 30),
        ("400 /min", "angular_speed", 400 * math.pi / 30),
        ("90°", "angle", math.pi / 2),
        ("−90 deg", "angle", -math.pi / 2),
        ("0.12 s/60deg", "servo_speed", math.pi / 3 / 0.12),
        ("0.12s/60°", "servo_speed", math.pi / 3 / 0.12),
        ("500 deg/s", "servo_speed", math.radians(500)),
        ("9e-6 kg*m^2", "inertia", 9e-6),
        ("9e-6 kg·m²", "inertia", 9e-6),
        ("90 g*cm^2", "inertia", 9e-6),
        ("20 /m", "length_gain", 20.0),
        ("20 1/m", "length_gain", 20.0),
        ("0.02 /deg", "turn_proportional_gain", 0.02 * 180 / math.pi),
        ("0.5 s/m", "length_derivative_gain", 0.5),
        ("2.9 counts/mm", "length_counts_scale", 2900.0),
        ("28 counts/rev", "angle_counts_scale", 28 / (2 * math.pi)),
        ("3 N*m*s/rad", "angular_damping", 3.0),
        ("3 kilonewtons", "force", 3000.0),
        ("2:1", "ratio", 2.0),
        ("3:5", "ratio", 0.6),
        ("4", "count", 4.0),
    ],
)
def test_value(text, dimension, value):
    assert read_quantity(text, dimension) == pytest.approx(value, rel=1e-15, abs=0)


@pytest.mark.parametrize(
    ("text", "dimension", "value", "spread"),
    [
        ("6 N ± 20 %", "force", 6.0, 1.2),
        ("6 N +/- 20 %", "force", 6.0, 1.2),
        ("0.35 s ± 0.05 s", "time", 0.35, 0.05),
        ("0.35 s +/- 50 ms", "time", 0.35, 0.05),
        ("92 % ± 4 %", "share", 0.92, 0.04),  # percentage points
        ("-5 N ± 20 %", "force", -5.0, 1.0),
        ("0.8 ± 10 %", "number", 0.8, 0.08),
        ("0.8 ± 0.1", "number", 0.8, 0.1),
        ("0.12 s/60deg ± 10 %", "servo_speed", math.pi / 3 / 0.12, math.pi / 3 / 1.2),
        ("0.12 s/60deg ± 0.012 s/60deg", "servo_speed", math.pi / 3 / 0.12, math.pi / 3 / 1.2),
    ],
)
def test_spread(text, dimension, value, spread):
    quantity = read_quantity(text, dimension)
    assert (float(quantity), quantity.spread) == pytest.approx((value, spread), rel=1e-12)
    assert quantity.text == text and not quantity.assumed


@pytest.mark.parametrize(
    ("text", "dimension", "words"),
    [
        ("12,5 mm", "length", ["'12,5 mm'", "point", "'12.5 mm'"]),
        ("12", "length", ["'12'", "mm, cm, m, in or ft"]),
        ("12 kg", "length", ["'12 kg'", "a mass"]),
        ('12 "', "length", ["'12 \"'", "'in'"]),
        ("3 seccond", "time", ["'3 seccond'", "'second'"]),
        ("400 rmp", "angular_speed", ["'400 rmp'", "'rpm'"]),
        ("1 MN*m", "torque", ["'1 MN*m'"]),  # mega is not milli
        ("90 as", "time", ["'90 as'"]),  # no attoseconds
        ("1e400 m", "length", ["'1e400 m'", "too large"]),
        ("1e308 km", "length", ["'1e308 km'", "too large"]),
        ("inf m", "length", ["'inf m'", "finite"]),
        ("nan m", "length", ["'nan m'", "finite"]),
        ("1.2.3 m", "length", ["'1.2.3 m'"]),
        ("m", "length", ["'m'", "number"]),
        ("", "length", ["mm"]),
        ("0.9", "share", ["'0.9'", "%"]),
        ("6 N ± 1", "force", ["'6 N ± 1'", "unit"]),
        ("6 N ± 1 kg", "force", ["'6 N ± 1 kg'", "mass"]),
        ("6 N ± 1 N ± 2 N", "force", ["more than one"]),
        ("6 N ± -1 N", "force", ["below zero"]),
        ("100 counts", "length", ["'100 counts'", "counts/mm"]),
        ("0.4 of range", "angle", ["'0.4 of range'", "300 deg"]),
        ("2:0", "ratio", ["'2:0'", "zero"]),
        ("4.5", "count", ["'4.5'", "whole"]),
        ("0 s/60deg", "servo_speed", ["'0 s/60deg'", "above zero"]),
        ("20 degC", "time", ["'20 degC'"]),
        ("20 celsius", "time", ["'20 celsius'"]),
        ("3 m^99", "length", ["'3 m^99'"]),
    ],
)
def test_what_cannot_be_read_is_explained(text, dimension, words):
    with pytest.raises(ValueFault) as caught:
        read_quantity(text, dimension)
    for word in words:
        assert word in str(caught.value)


@pytest.mark.parametrize(("text", "dimension", "guess"), [
    ("1 lb", "force", "lbf"), ("3 pounds", "force", "lbf"), ("6 kg", "force", "kgf"), ("20 oz", "force", "ozf"),
    ("8 lb/in", "stiffness", "lbf/in"), ("1 lb", "torque", None), ("1 lb", "length", None),
])  # fmt: skip
def test_a_mass_where_a_force_is_wanted_is_guessed_as_its_weight(text, dimension, guess):
    with pytest.raises(ValueFault) as told:
        read_quantity(text, dimension)
    assert told.value.fault.nearest == guess
    if guess:
        weight = read_quantity(f"{text.split()[0]} {guess}", dimension)
        assert float(weight) == pytest.approx(float(text.split()[0]) * parse_unit(guess)[0])


@pytest.mark.parametrize(("text", "dimension", "low", "high", "limit"), [
    ("0.5 in", "length", 0.02127, 1.0, "at least 0.8375 in (0.02127 m)"),  # 0.02127 / 0.0254 = 0.837402
    ("50 in", "length", 0.0, 1.0, "at most 39.37 in (1 m)"),  # 39.3701
    ("40 lb*in^2", "inertia", 0.01577, 9.0, "at least 53.89 lb*in^2 (0.01577 kg*m^2)"),  # 53.8883
    ("1 psi", "pressure", 1e5, 1e6, "at least 14.51 psi (1e+05 Pa)"),  # 14.5038
    ("2000 mm", "length", 0.0, 1.0, "at most 1000 mm (1 m)"),
    ("2 m", "length", 0.0, 1.0, "at most 1 m"),
    ("3 s/60deg", "servo_speed", 1.0, 60.0, "at least 1 rad/s"),
    ("200 %", "share", 0.0, 1.0, "at most 100 %"),
])  # fmt: skip
def test_a_limit_is_told_in_the_unit_that_was_written(text, dimension, low, high, limit):
    with pytest.raises(ValueFault) as told:
        read_quantity(text, dimension, low=low, high=high)
    assert told.value.fault.wanted == limit


@pytest.mark.parametrize("unit", ["in", "ft", "mm", "m", "yd"])
@pytest.mark.parametrize("limit", [0.02127, 0.1, 1.0, 1.0 / 3.0, 0.305])
def test_a_limit_that_is_typed_as_it_is_told_will_do(unit, limit):
    for text, bounds in ((f"1e-6 {unit}", {"low": limit}), (f"9999 {unit}", {"high": limit})):
        with pytest.raises(ValueFault) as told:
            read_quantity(text, "length", **bounds)
        typed = told.value.fault.wanted.split(" (")[0].removeprefix("at least ").removeprefix("at most ")
        got = float(read_quantity(typed, "length"))
        slack = 1e-12 * limit
        assert bounds.get("low", 0.0) - slack <= got <= bounds.get("high", math.inf) + slack
        assert got == pytest.approx(limit, rel=1e-3)


def test_counts_and_range_follow_the_mechanism():
    scale = Scale(counts=2900.0, range=math.radians(300))
    assert read_quantity("1450 counts", "length", scale) == pytest.approx(0.5, rel=1e-15)
    assert read_quantity("0.0069 /counts", "length_gain", scale) == pytest.approx(0.0069 * 2900, rel=1e-12)
    assert read_quantity("0.4 of range", "angle", scale) == pytest.approx(math.radians(120), rel=1e-15)
    assert read_quantity("40 % of range", "angle", scale) == pytest.approx(math.radians(120), rel=1e-15)


def test_a_weight_at_a_lever_is_told():
    assert "19 kg*cm" in read_as("19 kg*cm", "torque")
    assert read_as("19 kgf*cm", "torque") == ""
    assert ANGLE  # an angle is no ratio:
    with pytest.raises(ValueFault, match="an angle"):
        read_quantity("3 deg", "length")


def test_unwritable_cache_folder_is_no_obstacle(tmp_path, monkeypatch):
    from simbot.scenario import pint_words

    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    monkeypatch.setattr("platformdirs.user_cache_path", lambda name: tmp_path / "file" / name)
    pint_words.registry.cache_clear()
    try:
        assert pint_words.look_up("kilonewton") == (1000.0, (1, 1, -2, 0, 0, 0, 0))
    finally:
        pint_words.registry.cache_clear()


@pytest.mark.parametrize(
    "text", ["4 x wheel", "4x wheel", "4 X wheel", "4 × wheel", "4×wheel", "4 * wheel", "4*wheel"]
)
def test_how_many_of_which_motor(text):
    assert read_motors(text) == (4, "wheel")


@pytest.mark.parametrize(
    "text", ["wheel", "4 wheel", "4xwheel", "x wheel", "0 x wheel", "13 x wheel", "4 x wheel lift"]
)
def test_what_says_no_number_of_motors(text):
    with pytest.raises(ValueFault):
        read_motors(text)

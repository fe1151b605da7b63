"""Quantities are read exactly or refused in one line."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import RigError
from rig.units import UNITS, from_si, parse_quantity, unit_of
from tests.published import load

PUBLISHED = load("unit_conversions")["expected"]


def refusal(text: str, dimension: str) -> str:
    with pytest.raises(RigError) as caught:
        parse_quantity(text, dimension, "bench.toml:3")
    line = str(caught.value)
    assert "\n" not in line and line.startswith("bench.toml:3: ")
    return line


@pytest.mark.parametrize(
    ("text", "dimension", "key"),
    [
        ("1 ft*lbf", "energy", "ft_lbf_J"),
        ("1 ft-lb", "energy", "ft_lbf_J"),
        ("1 in*lbf", "torque", "lbf_in_Nm"),
        ("1 lbf", "force", "lbf_N"),
        ("1 kgf", "force", "kgf_N"),
        ("1 ft/s", "speed", "ft_s_to_m_s"),
    ],
)
def test_factors_are_those_of_sp811(text: str, dimension: str, key: str) -> None:
    # NIST SP 811, appendix B.8 (tests/published/unit_conversions.json)
    assert parse_quantity(text, dimension) == pytest.approx(PUBLISHED[key], rel=1e-12)


def test_fahrenheit_is_converted_as_in_sp811() -> None:
    for fahrenheit, celsius in PUBLISHED["degF_to_degC"].items():
        assert parse_quantity(f"{fahrenheit} F", "temperature") == pytest.approx(celsius, abs=6e-5)
        assert parse_quantity(f"{fahrenheit}°F", "temperature") == pytest.approx(celsius, abs=6e-5)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ('18"', "length", 0.4572),
        ("18 in", "length", 0.4572),
        ("5'", "length", 1.524),
        ("250um", "length", 250e-6),
        ("250 µm", "length", 250e-6),
        ("5 J", "energy", 5.0),
        ("+.5e1 J", "energy", 5.0),
        ("2.5 ft·lbf", "energy", 3.3895448708285),
        ("2.5 ft * lbf", "energy", 3.3895448708285),
        ("5\t J\n", "energy", 5.0),
        ("1 kgf*m", "energy", 9.80665),
        ("90 deg", "angle", math.pi / 2),
        ("90°", "angle", math.pi / 2),
        ("2 min", "time", 120.0),
        ("-40 F", "temperature", -40.0),
        ("3 lb", "mass", 1.36077711),
        ("0e99999999 m", "length", 0.0),
    ],
)
def test_what_people_write_is_read(text: str, dimension: str, value: float) -> None:
    assert parse_quantity(text, dimension) == pytest.approx(value, rel=1e-13)


def test_a_decimal_comma_is_refused_with_the_right_spelling() -> None:
    assert "write 12.5 J" in refusal("12,5 J", "energy")
    assert "leave commas out" in refusal("1,234,567 J", "energy")


def test_a_missing_unit_is_refused() -> None:
    assert "has no unit" in refusal("5", "energy")


def test_an_unknown_unit_gets_a_suggestion() -> None:
    assert "did you mean ft*lb?" in refusal("5 ft*lbs", "energy")
    assert "did you mean kg?" in refusal("5 Kg", "mass")


def test_a_wrong_dimension_is_named() -> None:
    assert "is a length, not an energy" in refusal("5 mm", "energy")
    assert "is a force, not a mass" in refusal("5 N", "mass")


@pytest.mark.parametrize("text", ["nan J", "inf J", "-Infinity J", "1e999 J", "1e999999999 J"])
def test_what_is_not_finite_is_refused(text: str) -> None:
    assert "finite" in refusal(text, "energy")


@pytest.mark.parametrize("text", ["", "J", "five J", "- 5 J", "5 5 J", "5 J J", "0x5 J", "5 J,"])
def test_anything_else_is_refused(text: str) -> None:
    refusal(text, "energy")


@given(
    st.sampled_from(sorted(UNITS)).flatmap(
        lambda d: st.tuples(st.just(d), st.sampled_from(sorted(UNITS[d])))
    ),
    st.floats(-1e6, 1e6),
)
def test_every_unit_comes_back_as_it_went_in(pair: tuple[str, str], number: float) -> None:
    dimension, unit = pair
    back = from_si(parse_quantity(f"{number!r} {unit}", dimension), unit, dimension)
    assert back == pytest.approx(number, rel=1e-12, abs=1e-9)


def test_the_unit_of_a_dimension_is_worth_one() -> None:
    for dimension in UNITS:
        assert parse_quantity(f"1 {unit_of(dimension)}", dimension) == 1.0


@given(st.text(max_size=20))
def test_no_text_ever_crashes_the_reader(text: str) -> None:
    try:
        assert math.isfinite(parse_quantity(text, "length"))
    except RigError as error:
        assert "\n" not in str(error)

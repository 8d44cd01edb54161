"""Unit factors and lengths against the definitions they rest on."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.units import QuantityFault, factor, force_mn, length_m, length_text, quantity


@pytest.mark.parametrize(
    ("unit", "kind", "exact"),
    [
        # The international pound and inch and standard gravity, as GNU units 2.22 gives them (its first source is
        # NIST SP 811); g_n also in JCGM 200:2012, 2.12, example 1.
        ("lb", "mass", "0.45359237"),
        ("oz", "mass", "0.028349523125"),
        ("in", "length", "0.0254"),
        ("ft", "length", "0.3048"),
        ("kgf", "force", "9.80665"),
        ("lbf", "force", "4.4482216152605"),
        ("daN", "force", "10"),
        ("min", "time", "60"),
    ],
)
def test_factors_are_exact(unit: str, kind: str, exact: str) -> None:
    """Each factor is the published decimal, to the last digit."""
    assert factor(unit, kind) == Fraction(exact)  # type: ignore[arg-type]  # the kinds are spelt in the table above


def test_published_forces() -> None:
    """30, 20 and 10 lbf in newtons, and 29 lbf in millinewtons, come out as computed from the definitions."""
    assert float(quantity("30 lbf", "force")) == pytest.approx(133.446648457815, abs=1e-12)
    assert float(quantity("20 lbf", "force")) == pytest.approx(88.96443230521, abs=1e-12)
    assert float(quantity("10 lbf", "force")) == pytest.approx(44.482216152605, abs=1e-12)
    assert force_mn("29 lbf") == 128_998


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("3/8 in", "3/8"),
        ("6 1/2 in", "13/2"),
        ("6-1/2 in", "13/2"),
        ('18"', "18"),
        ("2 ft 3 in", "27"),
        ("2 ft 3 1/2 in", "55/2"),
        ("+1/8 in", "1/8"),
        ("-1/8 in", "-1/8"),
        ("1e1 in", "10"),
    ],
)
def test_lengths_are_read_as_people_write_them(text: str, inches: str) -> None:
    """Fractions, mixed fractions and feet are read exactly."""
    assert quantity(text, "length") == Fraction(inches) * Fraction("0.0254")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "30",
        "1,5 lbf",
        "30 lb",
        "30 kg",
        "nan lbf",
        "inf lbf",
        "1e400 lbf",
        "9**9**9",
        "30 lbf lbf",
        "lbf",
        "1/2 lbf",
        "30 s",
        "\N{ARABIC-INDIC DIGIT THREE} lbf",
        "1_0 lbf",
        "0x10 lbf",
        "3 ft 2 in",
        "--3 lbf",
        "(3) lbf",
        "3 lbf/2",
    ],
)
def test_what_is_no_force_is_refused(text: str) -> None:
    """Bare numbers, commas, masses, other kinds and expressions are refused, and what was found is named."""
    with pytest.raises(QuantityFault, match="found"):
        force_mn(text)


@pytest.mark.parametrize(
    "text", ["1/0 in", "2 ft 13 in", "2 ft", "1/2 mm", "1.5.2 in", "6 1 in", "1/2/3 in", "2.5 ft 3 in"]
)
def test_what_is_no_length_is_refused(text: str) -> None:
    """A fraction by zero, too many inches and two numbers side by side are refused."""
    if text == "2 ft":
        assert length_m(text) == pytest.approx(0.6096)
        return
    with pytest.raises(QuantityFault, match="found"):
        length_m(text)


@given(st.integers(-4000, 4000), st.sampled_from([1, 2, 4, 8, 16]))
def test_writing_and_reading_are_inverses(parts: int, denominator: int) -> None:
    """What is written for any whole number of sixteenths reads back as the same length."""
    exact = Fraction(parts, denominator) * Fraction("0.0254")
    assert quantity(length_text(float(exact)), "length") == exact


@given(st.floats(-2, 2).filter(lambda m: m != 0))
def test_what_is_not_zero_is_never_shown_as_zero(metres: float) -> None:
    """No length but zero is written as 0, in inches or millimetres."""
    for shown in (length_text(metres), length_text(metres, "metric")):
        assert not shown.startswith(("0 ", "-0 "))
    assert length_text(0.0) == "0 in"

"""Exact factors, exact counts, and the doors through which numbers come in."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.errors import BlendplanError, QuantityError
from blendplan.text import clean_text
from blendplan.units import CM_PER_INCH, GRAMS_PER_OUNCE, METRES_PER_YARD, choice, exact, number, plain, whole
from blendplan.yardage.need import skeins_to_buy


def test_factors_are_the_exact_ones() -> None:
    """NIST SP 811 (2008), appendix B.8: the international yard, inch and avoirdupois ounce, exact by definition."""
    assert Fraction(9144, 10_000) == METRES_PER_YARD
    assert Fraction(254, 100) == CM_PER_INCH
    assert Fraction("28.349523125") == GRAMS_PER_OUNCE
    assert 36 * CM_PER_INCH == 100 * METRES_PER_YARD
    # 16 ounces are the avoirdupois pound of exactly 453.59237 g.
    assert Fraction("453.59237") == 16 * GRAMS_PER_OUNCE


@given(st.integers(1, 100_000), st.sampled_from([METRES_PER_YARD, CM_PER_INCH, GRAMS_PER_OUNCE]))
def test_there_and_back_shows_the_same_number(value: int, factor: Fraction) -> None:
    assert plain(exact(plain(value * factor, 12)) / factor) == str(value)


def test_yards_of_a_put_up() -> None:
    """200 yd are 182.88 m, to the last digit."""
    assert exact("182.88") == 200 * METRES_PER_YARD


@pytest.mark.parametrize("skein_m", [exact("45.72"), exact("91.44"), exact("182.88"), Fraction(50), exact("333.3")])
@pytest.mark.parametrize("count", range(1, 12))
def test_an_exact_number_of_skeins_needs_no_more(skein_m: Fraction, count: int) -> None:
    """The float fault this guards against: ceil(152.30 * 100 / 100) and the like come out one too many."""
    assert skeins_to_buy(count * skein_m, skein_m) == count
    assert skeins_to_buy(count * skein_m + Fraction(1, 10**9), skein_m) == count + 1


@pytest.mark.parametrize(
    ("given_value", "expected"),
    [
        (3, Fraction(3)),
        (0.1, Fraction(1, 10)),
        ("0.1", Fraction(1, 10)),
        ("0,1", Fraction(1, 10)),
        (" 2.5 ", Fraction(5, 2)),
        ("+2", Fraction(2)),
        ("-2", Fraction(-2)),
        ("−2", Fraction(-2)),
        (".5", Fraction(1, 2)),
        ("5.", Fraction(5)),
        ("1e3", Fraction(1000)),
        (Decimal("1.10"), Fraction(11, 10)),
        (Fraction(1, 3), Fraction(1, 3)),
        (np.float64(0.25), Fraction(1, 4)),
        (np.int64(7), Fraction(7)),
    ],
)
def test_numbers_that_are_read(given_value: object, expected: Fraction) -> None:
    assert exact(given_value) == expected


@pytest.mark.parametrize(
    "bad",
    [
        None,
        True,
        "",
        " ",
        "abc",
        "1,000.5",
        "1.2.3",
        "1 000",
        "nan",
        "inf",
        "-inf",
        float("nan"),
        float("inf"),
        Decimal("NaN"),
        Decimal("Infinity"),
        [],
        {},
        "0x10",
        "1/2",
        "12,",
        "1e9999",
        "--2",
        "٣٤x",
        b"2",
    ],
)
def test_what_is_no_number_is_refused_in_one_line(bad: object) -> None:
    with pytest.raises(QuantityError) as caught:
        exact(bad, "rows of a stripe")
    text = str(caught.value)
    assert text.startswith("rows of a stripe: ") and "write it like 2.5" in text and "\n" not in text


def test_number_says_what_is_allowed() -> None:
    assert number("2,5", "gauge", 0, 10) == 2.5
    with pytest.raises(QuantityError, match=r"gauge: 11 cm was given; allowed is 0 to 10 cm\."):
        number(11, "gauge", 0, 10, "cm")
    for edge in (0, 10):
        assert number(edge, "gauge", 0, 10) == edge


@given(st.floats(allow_nan=True, allow_infinity=True))
@settings(max_examples=200)
def test_number_never_lets_a_wild_float_through(value: float) -> None:
    try:
        got = number(value, "x", -5, 5)
    except QuantityError:
        assert not (math.isfinite(value) and -5 <= value <= 5)
    else:
        assert got == value


def test_whole_takes_whole_numbers_only() -> None:
    assert whole("4", "rows", 1, 10) == 4 and whole(4.0, "rows", 1, 10) == 4
    for bad in (2.5, "2.5", 0, 11, None, "nan", True):
        with pytest.raises(QuantityError, match="rows"):
            whole(bad, "rows", 1, 10)
    with pytest.raises(QuantityError, match=r"rows: 2\.5 was given; allowed is a whole number from 1 to 10"):
        whole("2,5", "rows", 1, 10)


def test_choice_names_what_there_is() -> None:
    assert choice("dc", "stitch", ("sc", "dc")) == "dc"
    for bad in ("DC", "", None, 3, ["dc"]):
        with pytest.raises(QuantityError, match="choose one of sc, dc"):
            choice(bad, "stitch", ("sc", "dc"))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("  Wet   Slate ", "Wet Slate"),
        ("a\tb\r\nc", "a b c"),
        ("a\x00b", "a b"),
        ("\u202egnp.exe", "gnp.exe"),
        ("a\u2066b\u2069", "ab"),
        ("毛糸 ñ 🧶", "毛糸 ñ 🧶"),
        ("", ""),
    ],
)
def test_clean_text(text: str, expected: str) -> None:
    assert clean_text(text, "name") == expected


@given(st.text(max_size=100))
def test_clean_text_is_steady_and_on_one_line(text: str) -> None:
    got = clean_text(text, "name")
    assert clean_text(got, "name") == got and len(got.splitlines()) <= 1


def test_clean_text_refuses_other_things_and_long_texts() -> None:
    with pytest.raises(QuantityError, match="a text is needed"):
        clean_text(7, "name")
    with pytest.raises(QuantityError, match="201 characters were given; allowed is at most 200; shorten it"):
        clean_text("x" * 201, "name")


@pytest.mark.parametrize(
    ("value", "expected"),
    [(0, "0"), (-0.0, "0"), (-1e-9, "0"), (100, "100"), (2.50, "2.5"), (Fraction(1, 3), "0.333333"), (1e6, "1000000")],
)
def test_plain(value: float, expected: str) -> None:
    assert plain(value) == expected


def test_every_kind_of_error_is_a_value_error_with_its_template_and_values() -> None:
    with pytest.raises(ValueError) as caught:
        number(11, "gauge", 0, 10)
    error = caught.value
    assert isinstance(error, BlendplanError)
    assert error.template.startswith("{field}: {given}{unit}") and error.values["field"] == "gauge"

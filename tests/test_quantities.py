"""Quantities as the maker reads them."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blendplan.quantities import Quantities

METRIC, IMPERIAL = Quantities(), Quantities("imperial")


def test_exact_factors() -> None:
    """1 yd = 0.9144 m, 1 in = 2.54 cm, 1 oz = 28.349523125 g (NIST SP 811, 2008, appendix B.8)."""
    assert IMPERIAL.yarn(914.4) == "1000 yd"
    assert IMPERIAL.size(254.0) == "100 in"
    assert IMPERIAL.mass(283.49523125) == "10 oz"
    assert METRIC.yarn(914.4) == "914 m" and METRIC.size(254.4) == "254 cm" and METRIC.mass(283.4) == "283 g"


def test_size_in_both() -> None:
    assert IMPERIAL.both_sizes(114.3, 152.4) == "45 × 60 in (114 × 152 cm)"


@given(st.decimals(0, 100_000, places=4))
def test_money_rounds_as_a_bill(amount: Decimal) -> None:
    want = amount.quantize(Decimal("0.01"), ROUND_HALF_UP)
    assert METRIC.money(Fraction(amount), "") == str(want)
    assert Quantities(lang="de").money(Fraction(amount), "€") == f"{want}\N{NO-BREAK SPACE}€".replace(".", ",")


@pytest.mark.parametrize(
    ("value", "digits", "text"), [(2.5, 2, "2.5"), (3, 2, "3"), (-0.001, 2, "0"), (100, 0, "100"), (0.125, 3, "0.125")]
)
def test_no_needless_zeros(value: float, digits: int, text: str) -> None:
    assert METRIC.number(value, digits) == text
    assert Quantities(lang="de").number(value, digits) == text.replace(".", ",")


def test_a_small_chance_is_not_none() -> None:
    assert METRIC.percent(0.001) == "under 1 %"
    assert METRIC.percent(0.0) == "0 %" and METRIC.percent(0.05) == "5 %"

"""Measured beats default: weighed rows, swatches, a pulled stitch, an own blanket; how many rows to weigh."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from yardage_cases import Gauge, Worked, estimate, stripes, yarn

from blendplan.errors import QuantityError, YarnError
from blendplan.yardage.measured import (
    Measured,
    OwnBlanket,
    PulledStitch,
    WeighedRow,
    WeighedSwatch,
    bundle_g_per_m,
    rows_to_weigh,
)
from blendplan.yardage.settings import YardageSettings

PLAN = stripes(("AA", 10), ("AB", 4), ("BB", 10))
YARNS = (yarn("A"), yarn("B", grams=100, metres=120))
DEFAULT = estimate(PLAN, Worked(), Gauge(), YARNS)
ROW_G = DEFAULT.rows_m[1] * 2 / 2.4


def measured(*items: Measured):
    return estimate(PLAN, Worked(), Gauge(), YARNS, YardageSettings(measured=items))


def test_linear_densities_add() -> None:
    # ISO 1144: 100 g / 240 m and 100 g / 120 m held together are 1.25 g a metre.
    assert bundle_g_per_m(("A", "B"), {y.name: y for y in YARNS}) == pytest.approx(1.25)


@pytest.mark.parametrize("times", [0.8, 1.0, 1.25])
def test_weighed_rows_set_the_length(times: float) -> None:
    need = measured(WeighedRow(grams=times * 10 * ROW_G, rows=10, strands=("A", "A")))
    assert need.factor == pytest.approx(times) and need.basis == "measured"
    assert need.working_m == pytest.approx(times * DEFAULT.working_m)
    assert need.rows_m[1] == pytest.approx(times * DEFAULT.rows_m[1])


def test_rows_of_a_narrower_piece_count_by_their_stitches() -> None:
    stitches = Worked().row_at(2).made
    need = measured(WeighedRow(grams=ROW_G / 4 * 20, rows=20, strands=("A", "A"), stitches=stitches // 4))
    assert need.factor == pytest.approx(1.0, rel=0.02)


def test_a_pulled_stitch() -> None:
    # 13 cm from one dc where 16.4 x 0.9 = 14.76 cm is usual.
    need = measured(PulledStitch(stitch="dc", length_cm=65, count=5))
    assert need.factor == pytest.approx(13 / 14.76)


def test_an_own_blanket_gives_yarn_for_its_area() -> None:
    usual = DEFAULT.row_model_m / (DEFAULT.area_model_m / (6300 / DEFAULT.hook_mm))  # metres in a square metre
    grams = 1.1 * usual * 1.5 * 1.8 * 2 / 2.4
    need = measured(OwnBlanket(grams=grams, width_cm=150, height_cm=180, strands=("A", "A")))
    assert need.factor == pytest.approx(1.1)


def test_a_swatch_with_its_chain_and_ends() -> None:
    # 20 stitches, 10 rows: by hand 10 x 20/129 of a row, 20 chains, four ends of 12 cm in two strands.
    made = Worked().row_at(2).made
    metres = 10 * 20 / made * DEFAULT.rows_m[1] + 20 * 0.045 + 2 * 0.12
    swatch = WeighedSwatch(grams=metres * 2 / 2.4, rows=10, stitches=20, strands=("A", "A"), tail_cm=12)
    assert measured(swatch).factor == pytest.approx(1.0)


EVERY = [
    WeighedRow(grams=ROW_G * 3, rows=3, strands=("A", "A")),
    WeighedSwatch(grams=60, rows=20, stitches=30, strands=("A", "A")),
    PulledStitch(stitch="dc", length_cm=144, count=10),
    OwnBlanket(grams=1600, width_cm=130, height_cm=170, strands=("A", "A")),
]


@pytest.mark.parametrize("item", EVERY, ids=lambda item: type(item).__name__)
def test_each_narrows_the_spread(item: Measured) -> None:
    need = measured(item)
    assert 0.05 < need.relative_spread < 0.15 and need.basis == "measured"


def test_together_they_are_surer_than_the_surest() -> None:
    assert measured(*EVERY).relative_spread < min(measured(item).relative_spread for item in EVERY)


def test_a_measurement_no_surer_than_the_default_is_pooled_with_it_and_said() -> None:
    need = measured(WeighedRow(grams=4, rows=1, strands=("A", "A"), stitches=15))
    assert need.basis == "pooled" and need.relative_spread < 0.15
    assert any("no surer than the usual figures" in n.text for n in need.notices)


def test_measurements_that_disagree_are_told() -> None:
    row = WeighedRow(grams=20 * ROW_G, rows=20, strands=("A", "A"))
    other = WeighedRow(grams=20 * ROW_G * 1.5, rows=20, strands=("A", "A"))
    assert any("do not agree" in n.text for n in measured(row, other).notices)


@pytest.mark.parametrize("rows", [1, 3, 8])
def test_the_rounding_of_the_scale_is_in_the_spread(rows: int) -> None:
    """Two readings rounded to the gram: 90 % of drawn errors lie within the part of the spread above the floor.

    For one weight of rows the error takes two values only, so the weight is drawn too, within a gram.
    """
    rng = np.random.default_rng(5)
    grams = rows * ROW_G
    start = rng.uniform(50, 100, 20_000)
    truth = grams + rng.uniform(-0.5, 0.5, 20_000)
    error = (np.round(start) - np.round(start - truth)) / truth - 1
    spread = measured(WeighedRow(grams=grams, rows=rows, strands=("A", "A"))).relative_spread
    part = math.sqrt(spread**2 - 0.05**2)
    # Stitch scatter (6 % of one stitch) is in it too, and small here.
    assert np.mean(np.abs(error) <= part) > 0.88
    assert part < 1.2 * np.quantile(np.abs(error), 0.9) + 0.01


def test_rows_to_weigh_by_hand() -> None:
    # Room left by the 5 % floor for 6 %: sqrt(0.06^2 - 0.05^2) = 3.317 %; two roundings of 1 g: 1.645 x 0.4082 =
    # 0.6715 g; 0.6715 / (0.03317 x 2) = 10.1, so 11 rows of 2 g, or 3 of 8.5 g.
    assert rows_to_weigh(2.0, 0.06) == 11
    assert rows_to_weigh(8.5, 0.06) == 3
    with pytest.raises(QuantityError, match="tension alone wanders by 5 %"):
        rows_to_weigh(2.0, 0.05)


@given(st.floats(0.5, 50), st.floats(0.051, 0.3), st.floats(0.1, 5))
def test_rows_to_weigh_reach_what_was_asked(row_g: float, wanted: float, scale: float) -> None:
    n = rows_to_weigh(row_g, wanted, scale)

    def spread(rows: int) -> float:
        return math.hypot(0.05, 1.6448536 * scale * math.sqrt(2 / 12) / (rows * row_g))

    assert spread(n) <= wanted + 1e-6 and (n == 1 or spread(n - 1) > wanted - 1e-6)


def test_bad_measurements_are_one_line() -> None:
    with pytest.raises(YarnError, match="names the yarn 'Z'; the yarns are A, B"):
        measured(WeighedRow(grams=20, rows=2, strands=("A", "Z")))
    with pytest.raises(YarnError, match="one for each strand"):
        measured(WeighedRow(grams=20, rows=2, strands=()))
    with pytest.raises(QuantityError, match=r"says \d+\.\d\d times the usual yarn"):
        measured(WeighedRow(grams=20 * ROW_G, rows=2, strands=("A", "A")))
    with pytest.raises(QuantityError, match="grams of the weighed rows: 0 g was given"):
        WeighedRow(grams=0, rows=2, strands=("A",))
    with pytest.raises(QuantityError, match="rows weighed: 0 was given"):
        WeighedRow(grams=5, rows=0, strands=("A",))
    with pytest.raises(QuantityError, match="stitch pulled out: 'puff' is not known"):
        PulledStitch(stitch="puff", length_cm=5)
    with pytest.raises(YarnError, match="B has no grams and metres"):
        estimate(
            PLAN,
            Worked(),
            Gauge(),
            (YARNS[0], yarn("B", grams=None, metres=None)),
            YardageSettings(measured=(WeighedRow(grams=20, rows=2, strands=("A", "B")),)),
        )

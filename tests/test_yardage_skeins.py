"""Skeins: exact counts, and the closed-form chance of running short against trials."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blendplan.errors import QuantityError
from blendplan.yardage.need import (
    Supply,
    chance_short,
    skeins_for_chance,
    skeins_to_buy,
)
from blendplan.yarn import PutUp

BAND = PutUp(mass_g=100, length_m=200)


def chance_with(need_m: float, need_sd_m: float, on_hand: Supply, bought: int) -> float:
    """Some or all of the skeins bought may be used, so the least chance counts."""
    return min(chance_short(need_m, need_sd_m, replace(on_hand, skeins=on_hand.skeins + n)) for n in range(bought + 1))


@pytest.mark.parametrize(
    ("need", "skein", "held", "margin", "want"),
    [
        # By hand: 0.3 / 0.1 is 3, though floats give 2.9999999999999996 or 3.0000000000000004.
        ("0.3", "0.1", 0, 0, 3),
        (0.1 + 0.2, 0.1, 0, 0, 4),  # 0.30000000000000004 as given is a little more than three
        (600, 200, 0, 0, 3),
        (601, 200, 0, 0, 4),
        (600, 200, 0, "0.1", 4),
        (1000, 110, 0, "0.1", 10),  # 1100 / 110, exactly ten
        (600, 200, 600, 0, 0),
        (600, 200, "599.999", 0, 1),
        (0, 200, 0, 0, 0),
        ("182,88", "182.88", 0, 0, 1),  # 200 yd against a skein of 200 yd
    ],
)
def test_counts_by_hand(need: object, skein: object, held: object, margin: object, want: int) -> None:
    assert skeins_to_buy(need, skein, on_hand_m=held, margin=margin) == want


@given(st.integers(1, 500), st.decimals("0.01", "500", places=2))
def test_n_needed_is_n_bought(n: int, skein: object) -> None:
    exact = Fraction(skein)  # type: ignore[arg-type]
    assert skeins_to_buy(n * exact, exact) == n
    assert skeins_to_buy(n * exact + Fraction(1, 10**9), exact) == n + 1


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1, "many", None, ""])
def test_bad_numbers_are_refused(bad: object) -> None:
    with pytest.raises(QuantityError):
        skeins_to_buy(bad, 100)
    with pytest.raises(QuantityError):
        skeins_to_buy(100, bad)


def test_zero_metres_in_a_skein_are_refused() -> None:
    with pytest.raises(QuantityError, match=r"metres per skein: 0 was given; allowed is 0\.01"):
        skeins_to_buy(100, 0)


def test_exactly_enough_without_scatter_is_no_risk() -> None:
    assert chance_short(600.0, 0.0, Supply(put_up=BAND, skeins=3)) == 0.0
    assert chance_short(600.001, 0.0, Supply(put_up=BAND, skeins=3)) == 1.0
    assert skeins_for_chance(600.0, 0.0, Supply(put_up=BAND, skeins=0), 0.05) == (3, 0.0)


def trial(rng: np.random.Generator, need: float, sd: float, supply: Supply, trials: int = 100_000) -> float:
    """Chance of running short by drawing need, every skein and every weighing; no formula shared.

    Where joined at row ends, every piece but one full skein gives whole rows of the drawn tension only.
    """
    length, per_g = float(supply.put_up.length_m), float(supply.put_up.m_per_g)
    drawn = rng.normal(need, sd, trials)
    pieces = [rng.normal(length, supply.scatter * length, trials) for _ in range(supply.skeins)]
    for grams in supply.parts_g:
        truth = float(grams) + rng.uniform(-supply.scale_g / 2, supply.scale_g / 2, trials)
        pieces.append(truth * per_g + rng.normal(0, supply.scatter * float(grams) * per_g, trials))
    got = pieces[0]
    for piece in pieces[1:]:
        usable = np.maximum(piece - supply.tails_m, 0)
        if supply.loss_m:
            row = supply.loss_m * np.maximum(drawn, 1e-3) / need
            usable = np.floor(usable / row) * row
        got = got + usable
    return float(np.mean(drawn > got))


@pytest.mark.parametrize(
    ("need", "sd", "supply"),
    [
        (1000.0, 91.0, Supply(put_up=BAND, skeins=6, scatter=0.03)),
        (1000.0, 30.0, Supply(put_up=BAND, skeins=5, scatter=0.03, parts_g=(Fraction(30),))),
        (1000.0, 30.0, Supply(put_up=BAND, skeins=5, scatter=0.05, loss_m=15.0, tails_m=0.3)),
        (400.0, 10.0, Supply(put_up=BAND, skeins=2, scatter=0.02, parts_g=(Fraction(5), Fraction(9)), loss_m=8.0)),
        (190.0, 10.0, Supply(put_up=BAND, skeins=1, scatter=0.03)),
        (3000.0, 270.0, Supply(put_up=BAND, skeins=17, scatter=0.03, loss_m=16.0, tails_m=0.3)),
    ],
)
def test_closed_form_against_trials(need: float, sd: float, supply: Supply) -> None:
    # 100 000 trials: three standard errors of a share near 0.3 are 0.004; whole rows are not quite normal.
    assert chance_short(need, sd, supply) == pytest.approx(trial(np.random.default_rng(61), need, sd, supply), abs=0.02)


@given(
    st.floats(1, 5000),
    st.floats(0, 0.3),
    st.floats(0, 0.1),
    st.floats(0, 100),
    st.integers(0, 12),
    st.lists(st.integers(1, 90), max_size=3),
)
def test_more_never_raises_the_risk(
    need: float, sd: float, scatter: float, loss: float, n: int, parts: list[int]
) -> None:
    held = Supply(put_up=BAND, skeins=1, parts_g=tuple(map(Fraction, parts)), scatter=scatter, loss_m=loss)
    assert chance_with(need, sd * need, held, n + 1) <= chance_with(need, sd * need, held, n)


@given(st.floats(1, 5000), st.floats(0, 0.2), st.floats(0, 0.1), st.floats(0.001, 0.4))
def test_the_number_is_the_least_that_meets_the_chance(need: float, sd: float, scatter: float, chance: float) -> None:
    held = Supply(put_up=BAND, skeins=0, scatter=scatter)
    n, left = skeins_for_chance(need, sd * need, held, chance)
    assert left <= chance
    assert n == 0 or chance_with(need, sd * need, held, n - 1) > chance


def test_a_smaller_chance_asks_for_more() -> None:
    held = Supply(put_up=BAND, skeins=0, scatter=0.03)
    counts = [skeins_for_chance(1900.0, 170.0, held, c)[0] for c in (0.5, 0.2, 0.05, 0.01, 0.001)]
    assert counts == sorted(counts) and counts[0] < counts[-1]


def test_row_end_loss_larger_than_the_skein_does_not_go_below_nothing() -> None:
    supply = Supply(put_up=PutUp(mass_g=10, length_m=10), skeins=4, loss_m=50.0)
    assert 0 < supply.usable()[0] <= 40


def test_absurd_numbers_end_in_one_line() -> None:
    tiny = Supply(put_up=PutUp(mass_g="0.01", length_m="0.01"), skeins=0)
    with pytest.raises(QuantityError, match="more than 10000 skeins"):
        skeins_for_chance(10_000.0, 500.0, tiny, 0.05)


def walked(rng: np.random.Generator, rows: int, row_m: float, sd: float, skeins: int, trials: int = 4000) -> float:
    """Chance of running short by working row after row off skein after skein, joined at row ends only."""
    short = 0
    for _ in range(trials):
        row = row_m * (1 + sd * rng.normal())
        left, used = 0.0, 0
        for _ in range(rows):
            if left < row:
                used += 1
                left = 120 * (1 + 0.03 * rng.normal()) - (0.3 if used > 1 else 0.0)
            left -= row
        short += used > skeins
    return short / trials


@pytest.mark.parametrize(("rows", "row_m"), [(40, 17.0), (60, 11.0), (36, 19.5), (33, 23.0), (100, 7.3), (30, 29.0)])
def test_row_ends_against_a_walk_over_rows(rows: int, row_m: float) -> None:
    """What skeins lose at row ends depends on how many rows just fit; 1500 walks have a standard error of 0.013."""
    band, need = PutUp(mass_g=50, length_m=120), rows * row_m
    for skeins in range(int(need / 120), int(need / 120) + 4):
        supply = Supply(put_up=band, skeins=skeins, scatter=0.03, loss_m=row_m, tails_m=0.3)
        told = chance_short(need, 0.0912 * need, supply)
        seen = walked(np.random.default_rng(17), rows, row_m, 0.0912, skeins, 1500)
        assert told == pytest.approx(seen, abs=0.05)

"""While working: the update against arithmetic and simulated work, and what is changed when yarn falls short."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from yardage_cases import Gauge, Worked, stripes, yarn

from blendplan.errors import QuantityError, YarnError
from blendplan.yardage.length import estimate
from blendplan.yardage.mend import mend
from blendplan.yardage.progress import update
from blendplan.yardage.settings import YardageSettings

FADE = stripes(("AA", 8), ("AB", 6), ("BB", 8), ("BC", 6), ("CC", 8))
YARNS = tuple(yarn(n) for n in "ABC")
NEED = estimate(FADE, Worked(), Gauge(), YARNS)


def start_grams(name: str) -> float:
    return 100.0 * (NEED.colour(name).buy_skeins or 0)


def used_grams(name: str, rows: int, times: float = 1.0) -> float:
    """Planned grams of a colour after so many rows: strands x rows, the foundation chain with the first."""
    at, metres = 0, 0.0
    for stripe in FADE:
        for _ in range(stripe.rows):
            if at < rows:
                metres += stripe.strands.count(name) * (NEED.rows_m[at] + (0 if at else NEED.foundation_m))
            at += 1
    return times * metres / 2.4


def test_nothing_weighed_leaves_the_plan_as_it_was() -> None:
    now = update(FADE, NEED, YARNS, rows_done=0, grams_left={})
    assert now.factor == 1.0
    for colour in now.colours:
        assert colour.need_g == pytest.approx(NEED.colour(colour.name).need_g)


@pytest.mark.parametrize("times", [0.9, 1.0, 1.12])
def test_the_factor_is_found(times: float) -> None:
    left = {"A": start_grams("A") - used_grams("A", 12, times), "B": start_grams("B") - used_grams("B", 12, times)}
    now = update(FADE, NEED, YARNS, rows_done=12, grams_left=left)
    # Prior 1 +- 9 % pulls a little towards the plan.
    assert now.factor == pytest.approx(times, abs=0.25 * abs(times - 1) + 0.01)
    assert (now.factor - 1) * (times - 1) >= 0
    assert now.relative_spread < NEED.relative_spread
    # The colour not begun yet is forecast with the tension of the others.
    assert now.colour("C").need_g == pytest.approx(now.factor * (NEED.colour("C").need_g or 0), rel=1e-6)


def test_one_colour_by_the_formula_of_two_normals() -> None:
    """z = ln(used / planned); variance of k 0.0912^2, of the colour 0.03^2, of noise (0.4082 / used)^2 + 0.01^2.

    The mean of k is z x var k / (var k + var e + noise), as in any text on normal updating.
    """
    used = 1.1 * (used_grams("A", 10) + 0.15 / 2.4)
    now = update(FADE, NEED, YARNS, rows_done=10, grams_left={"A": start_grams("A") - used})
    planned = now.colour("A").planned_used_g
    z = math.log(used / planned)
    k, e = (0.15 / 1.6448536) ** 2, 0.03**2
    noise = (1 / math.sqrt(6) / used) ** 2 + 0.01**2
    assert math.log(now.factor) == pytest.approx(z * k / (k + e + noise), rel=1e-6)
    assert math.log(now.colour("A").factor) == pytest.approx(z * (k + e) / (k + e + noise), rel=1e-6)


def test_the_forecast_covers_simulated_work_nine_times_in_ten() -> None:
    rng = np.random.default_rng(4321)
    inside = before = 0
    trials = 300
    errors = []
    for _ in range(trials):
        own, thick = math.exp(rng.normal(0, 0.09)), {n: math.exp(rng.normal(0, 0.03)) for n in "ABC"}
        drift = rng.normal(0, 0.02)
        left = {n: round(start_grams(n) * 2 - used_grams(n, 18, own * thick[n])) for n in "AB"}
        start = {n: 2 * start_grams(n) for n in "ABC"}
        now = update(FADE, NEED, YARNS, rows_done=18, grams_left=left, grams_start=start)
        truth = (used_grams("B", 36) - used_grams("B", 18)) * own * thick["B"] * (1 + drift)
        got = now.colour("B")
        inside += got.low_g <= truth <= got.high_g
        before += abs(used_grams("B", 36) - used_grams("B", 18) - truth) < 0.06 * truth
        errors.append(abs(got.need_g / truth - 1))
    assert inside / trials > 0.9
    assert np.median(errors) < 0.03
    # Without the update as good an answer is rarer.
    assert np.mean(np.array(errors) < 0.06) > before / trials


def test_finished_rows_stay_and_the_rest_is_made_to_reach() -> None:
    # The maker works 8 % looser than planned and holds only 60 % of the B she would need from here on.
    rows = 12
    start = {n: 400.0 for n in "ABC"}
    left = {"A": 400 - used_grams("A", rows, 1.08), "C": 400.0}
    left["B"] = 0.6 * (used_grams("B", 36) - used_grams("B", rows))
    start["B"] = left["B"] + used_grams("B", rows, 1.08)
    now = update(FADE, NEED, YARNS, rows_done=rows, grams_left=left, grams_start=start)
    assert now.short == ("B",)
    assert "B may run short" in now.notices[1].text
    mended = mend(FADE, NEED, YARNS, now)
    assert mended.fit is not None and mended.fit.exact
    assert mended.stripes[0] == FADE[0] and mended.stripes[1].rows >= rows - 8
    assert sum(s.rows for s in mended.stripes) == 36
    assert mended.buy == (("B", 1),) or mended.buy[0][1] >= 1
    # The changed rest needs no more B than there is, at the factor found.
    strand_rows = sum(s.strands.count("B") * s.rows for s in mended.stripes) - (rows - 8)
    assert strand_rows * NEED.rows_m[1] / 2.4 * now.colour("B").factor < left["B"]


def test_enough_yarn_changes_nothing() -> None:
    now = update(FADE, NEED, YARNS, rows_done=4, grams_left={"A": 700.0}, grams_start={n: 732.0 for n in "ABC"})
    assert now.short == () and mend(FADE, NEED, YARNS, now).stripes == FADE


def test_locked_stripes_that_cannot_be_saved_are_said() -> None:
    plan = tuple(replace(s, locked=True) for s in FADE)
    now = update(plan, NEED, YARNS, rows_done=8, grams_left={"B": 5.0}, grams_start={"B": 5.0})
    mended = mend(plan, NEED, YARNS, now)
    assert mended.fit is None and mended.stripes == plan and dict(mended.buy)["B"] >= 1
    assert "No change of rows" in mended.notices[0].text


def test_bad_weighings_are_one_line() -> None:
    with pytest.raises(QuantityError, match="A: 900 g are left, and there were 300 g at the start"):
        update(FADE, NEED, YARNS, rows_done=5, grams_left={"A": 900}, grams_start={"A": 300})
    with pytest.raises(QuantityError, match="rows done: 99 was given; allowed is a whole number from 0 to 36"):
        update(FADE, NEED, YARNS, rows_done=99, grams_left={})
    with pytest.raises(YarnError, match="'Z' was weighed and is not in the plan"):
        update(FADE, NEED, YARNS, rows_done=5, grams_left={"Z": 9})
    with pytest.raises(QuantityError, match="grams left of A"):
        update(FADE, NEED, YARNS, rows_done=5, grams_left={"A": float("nan")})
    bare = (yarn("A", put_up=None), *YARNS[1:])
    with pytest.raises(YarnError, match="A has no grams and metres"):
        update(FADE, estimate(FADE, Worked(), Gauge(), bare), bare, rows_done=5, grams_left={})


def test_a_coarse_scale_moves_the_estimate_less() -> None:
    left = {"A": start_grams("A") - used_grams("A", 3, 1.2)}
    fine = update(FADE, NEED, YARNS, rows_done=3, grams_left=left, settings=YardageSettings(scale_g=0.1))
    coarse = update(FADE, NEED, YARNS, rows_done=3, grams_left=left, settings=YardageSettings(scale_g=10))
    assert 1 < coarse.factor < fine.factor

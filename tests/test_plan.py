"""The whole plan against trade facts and against a case worked by hand."""

from __future__ import annotations

import math
import os
import subprocess
import sys
from pathlib import Path

import pytest
from blankets import blanket, blanket_of
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.errors import StripeError
from blendplan.fabric.gauge import Gauge
from blendplan.fabric.ripple import Ripple, work
from blendplan.fabric.size import measure
from blendplan.plan import make_plan


def test_the_ripple_of_eight_repeats() -> None:
    """Slope 7 dc, chain-2 peak, skip-2 valley, extra dc at both ends: common practice, no source."""
    worked = work(Ripple(slope=7, peak="chain-2", valley="skip-2", edge="half-peak", repeats=8))
    assert worked.chain == 131
    for row in (worked.first, worked.repeat):
        assert row.made == 128
        assert row.tally["tch"] == 1
        assert row.tally["dc"] == 113
        assert row.tally["ch"] == 14
    assert worked.repeat.taken == 128


def test_the_finished_width() -> None:
    """A chain of about 50 in finishes at about 45 in: common practice, no source."""
    inch = 2.54
    worked = work(Ripple(slope=7, repeats=8))
    width = 50 * inch / 131
    gauge = Gauge(stitch_width_cm=width, row_height_cm=width / 0.55, spread=0.15, basis="chain")
    assert measure(worked, gauge, 60).width_cm / inch == pytest.approx(45, rel=0.07)


def test_small_case_by_hand() -> None:
    """Two colours, A 2 rows, AB 1 row, B 2 rows.

    Stripes AA, AB, BB. Tails: start 2, one strand cut and one joined at each of two changes 2 + 2,
    finish 2: 8 tails. A is in both strands for 2 rows and in one for 1: 5 strand-rows; so is B.
    """
    plan = make_plan(blanket("Fern", "Clay", solid_rows=2, blend_rows=1))
    assert [s.stripe.strands for s in plan.stripes] == [("Fern", "Fern"), ("Fern", "Clay"), ("Clay", "Clay")]
    assert plan.rows == 5
    assert [s.first_row for s in plan.stripes] == [1, 3, 4]
    assert plan.stripes[1].change.names == (("Fern",), ("Clay",), ("Fern",))
    assert plan.yardage.tails_m == pytest.approx(8 * 0.15)
    needs = {c.name: c.need_m for c in plan.yardage.colours}
    assert sum(needs.values()) == pytest.approx(2 * plan.yardage.working_m + plan.yardage.tails_m)
    assert plan.stripes[0].step is None
    assert all(s.step is not None and s.step > 0 for s in plan.stripes[1:])


def test_unknown_yarn_in_a_stripe_is_named() -> None:
    first = blanket()
    with pytest.raises(StripeError, match="'Nobody'.*the yarns are Clay, Fern, Milk"):
        blanket_of(yarns=first.yarns, order=("Nobody",))


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 12), st.integers(1, 9), st.integers(0, 5), st.integers(2, 5))
def test_yarn_grows_with_size_and_adds_up(repeats: int, solid: int, blend: int, colours: int) -> None:
    names = ("Fern", "Clay", "Milk", "Night", "Plum")[:colours]
    plan = make_plan(blanket(*names, repeats=repeats, solid_rows=solid, blend_rows=blend))
    wider = make_plan(blanket(*names, repeats=repeats + 1, solid_rows=solid, blend_rows=blend))
    longer = make_plan(blanket(*names, repeats=repeats, solid_rows=solid + 1, blend_rows=blend))
    total = sum(c.need_m for c in plan.yardage.colours)
    assert total == pytest.approx(2 * plan.yardage.working_m + plan.yardage.tails_m)
    for bigger in (wider, longer):
        for small, large in zip(plan.yardage.colours, bigger.yardage.colours, strict=True):
            assert large.need_m > small.need_m
    assert len(plan.stripes) == (2 * colours - 1 if blend else colours)
    assert plan.rows == colours * solid + (colours - 1) * blend
    assert math.isclose(plan.size.height_cm, plan.rows * plan.size.rise_per_row_cm, rel_tol=0.2)


SAID = """
import sys
sys.path.insert(0, "tests")
from blankets import blanket
from blendplan.plan import make_plan
plan = make_plan(blanket("Fern", "Clay", "Milk", "Plum"))
print(plan.yardage, plan.stripes, plan.notices, plan.rows_text())
"""


def test_the_same_blanket_gives_the_same_plan_in_another_process() -> None:
    """Sets and dictionaries are walked in another order there: each process hashes texts its own way."""
    told = set()
    for seed in ("1", "2"):
        ran = subprocess.run(
            [sys.executable, "-c", SAID],
            cwd=Path(__file__).parent.parent,
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        )
        told.add(ran.stdout)
    assert len(told) == 1 and "Fern" in told.pop()

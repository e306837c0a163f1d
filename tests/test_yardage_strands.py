"""Strands: runs, ends, joins, winding in two, running out; dye lots."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from yardage_cases import Gauge, Worked, grams, stripes, yarn

from blendplan.errors import StripeError
from blendplan.stripes.model import Stripe
from blendplan.yardage.extras import tail_counts
from blendplan.yardage.length import estimate
from blendplan.yardage.lots import dye_lot_notices
from blendplan.yardage.runs import runs_of
from blendplan.yardage.settings import YardageSettings
from blendplan.yardage.strands import feed
from blendplan.yarn import PutUp

FADE = stripes(("AA", 4), ("AB", 2), ("BB", 4), ("BC", 2), ("CC", 4))
NAMES = st.lists(st.sampled_from(["AA", "AB", "BB", "BC", "AC", "CC"]), min_size=1, max_size=8)


def test_a_strand_that_both_stripes_hold_is_not_cut() -> None:
    assert [(r.name, r.first_row, r.last_row) for r in runs_of(FADE)] == [
        ("A", 1, 6),
        ("A", 1, 4),
        ("B", 5, 10),
        ("B", 7, 12),
        ("C", 11, 16),
        ("C", 13, 16),
    ]


@given(NAMES, st.integers(1, 5))
def test_every_row_has_its_strands_and_every_run_two_ends(pairs: list[str], rows: int) -> None:
    plan = stripes(*((p, rows) for p in pairs))
    runs = runs_of(plan)
    for number in range(1, rows * len(pairs) + 1):
        held = sorted(r.name for r in runs if r.first_row <= number <= r.last_row)
        assert held == sorted(plan[(number - 1) // rows].strands)
    assert 2 * len(runs) == sum(tail_counts(plan).values())


def case(plan: tuple[Stripe, ...], *yarns: object, **options: object):
    chosen = YardageSettings(**options)  # type: ignore[arg-type]
    needed = estimate(plan, Worked(), Gauge(), yarns, chosen)  # type: ignore[arg-type]
    return needed, chosen


def test_one_skein_for_a_solid_stripe_is_wound_in_two() -> None:
    plan = stripes(("AA", 4))
    yarns = (yarn("A", skeins_on_hand=1),)
    need, chosen = case(plan, *yarns)
    fed = feed(plan, need, yarns, chosen, buy="nothing")
    (wind,) = fed.rewinds
    # Both strands take the same length, so the skein of 100 g goes half and half but for the tail already used.
    assert wind.row == 1 and wind.off_g + wind.stays_g == pytest.approx(100 - 0.15 / 2.4)
    assert wind.off_g == pytest.approx(50, abs=0.1)
    assert not fed.shorts and fed.live_ends == 2


def test_two_skeins_need_no_winding() -> None:
    plan = stripes(("AA", 4))
    yarns = (yarn("A", skeins_on_hand=2),)
    need, chosen = case(plan, *yarns)
    assert not feed(plan, need, yarns, chosen, buy="nothing").rewinds


def test_knots_fall_at_row_ends_and_the_rest_is_less_than_a_row() -> None:
    plan = stripes(("AB", 60))
    yarns = (yarn("A"), yarn("B"))
    need, chosen = case(plan, *yarns)
    fed = feed(plan, need, yarns, chosen)
    assert fed.joins and not fed.shorts
    row = need.rows_m[1]
    # By hand: a skein of 240 m less two tails gives as many whole rows as fit.
    assert fed.joins[0].row == 1 + math.floor((240 - 0.3 - need.foundation_m - need.rows_m[0] + row) / row)
    for join in fed.joins:
        assert not join.within_row and 0 <= join.rest_m < row + 0.15


def test_joining_anywhere_wastes_nothing() -> None:
    plan = stripes(("AB", 60))
    yarns = (yarn("A"), yarn("B"))
    need, chosen = case(plan, *yarns, join_at="anywhere")
    fed = feed(plan, need, yarns, chosen)
    assert fed.joins and all(j.within_row and j.rest_m == pytest.approx(0, abs=1e-6) for j in fed.joins)


@settings(deadline=None, max_examples=60)
@given(NAMES, st.integers(1, 12), st.sampled_from(["row-end", "anywhere"]), st.integers(0, 3), st.integers(1, 90))
def test_no_yarn_appears_or_vanishes(pairs: list[str], rows: int, join_at: str, held: int, part: int) -> None:
    plan = stripes(*((p, rows) for p in pairs))
    yarns = tuple(yarn(n, skeins_on_hand=held, part_skeins_g=grams(part)) for n in "ABC")
    need, chosen = case(plan, *yarns, join_at=join_at)
    fed = feed(plan, need, yarns, chosen, buy="nothing")
    for name in {n for s in plan for n in s.strands}:
        taken = sum(b.start_m - b.left_m for b in fed.balls if b.name == name and b.kind != "wound")
        taken -= sum(b.left_m for b in fed.balls if b.name == name and b.kind == "wound")
        lacking = sum(s.lacking_m for s in fed.shorts if s.name == name)
        knots = 2 * sum(j.name == name for j in fed.joins) * 0.15
        want = need.colour(name).need_m - lacking + knots
        # Runs that never got a ball have no tails; one that ran out may have kept its last tail.
        slack = 0.15 * 2 * sum(r.name == name for r in fed.runs) if lacking else 0
        assert want - slack - 1e-6 <= taken <= want + 1e-6
        assert all(b.left_m >= -1e-6 for b in fed.balls)


@pytest.mark.parametrize("join_at", ["row-end", "anywhere"])
@pytest.mark.parametrize("rows", [3, 10, 25])
def test_what_the_plan_buys_reaches_when_all_goes_as_expected(join_at: str, rows: int) -> None:
    plan = stripes(*((p, rows) for p in ("AA", "AB", "BB", "BC", "CC")))
    yarns = tuple(yarn(n) for n in "ABC")
    need, chosen = case(plan, *yarns, join_at=join_at)
    assert not feed(plan, need, yarns, chosen).shorts


def test_running_out_is_told_by_row_and_stripe() -> None:
    plan = stripes(("AB", 4), ("BB", 30))
    yarns = (yarn("A", skeins_on_hand=1), yarn("B", skeins_on_hand=1))
    need, chosen = case(plan, *yarns)
    fed = feed(plan, need, yarns, chosen, buy="nothing")
    assert fed.shorts and {s.name for s in fed.shorts} == {"B"} and fed.shorts[0].stripe == 2
    assert any("runs out before row" in n.text for n in fed.notices)


def test_a_colour_without_band_is_left_out_and_said() -> None:
    plan = stripes(("AB", 4))
    yarns = (yarn("A"), yarn("B", put_up=None))
    need, chosen = case(plan, *yarns)
    assert "B are not followed" in " ".join(n.text for n in feed(plan, need, yarns, chosen).notices)


def test_an_estimate_of_other_stripes_is_refused() -> None:
    need, chosen = case(FADE, yarn("A"), yarn("B"), yarn("C"))
    with pytest.raises(StripeError, match="16 rows and the stripes have 4"):
        feed(stripes(("AA", 4)), need, (yarn("A"),), chosen)


def test_dye_lots_name_the_stripes() -> None:
    plan = stripes(("AA", 20), ("AB", 20), ("BB", 20))
    small = PutUp(mass_g=50, length_m=120)
    need, chosen = case(plan, yarn("A", put_up=small, skeins_on_hand=1, dye_lot="L7"), yarn("B", put_up=small))
    told = [n.text for n in dye_lot_notices(need, plan, chosen)]
    assert any(t.startswith("A: look for dye lot L7") for t in told)
    assert any(t.startswith("B: take all") for t in told)
    assert any(t == "A: if lots differ, hold one strand of each lot together in stripe 1." for t in told)
    assert any(t == "B: if lots differ, change between them every two rows in stripe 2." for t in told)

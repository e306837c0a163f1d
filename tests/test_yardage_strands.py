"""Strands: runs, ends, joins, winding in two, running out; dye lots."""

from __future__ import annotations

import math

import pytest
from blankets import lying
from hypothesis import given, settings
from hypothesis import strategies as st
from yardage_cases import Gauge, Worked, estimate, grams, row_of, stripes, yarn

from blendplan.errors import StripeError
from blendplan.fabric.finish import Border
from blendplan.stripes.model import Run, Stripe, runs_of
from blendplan.yardage.lots import lot_notices, lot_uses
from blendplan.yardage.settings import Fringe, YardageSettings, tail_counts
from blendplan.yardage.strands import Live, OpenBall, Walk, feed

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
    yarns = (yarn("A", lots=lying(1)),)
    need, chosen = case(plan, *yarns)
    fed = feed(plan, need, yarns, chosen, buy="nothing")
    (wind,) = fed.rewinds
    # Both strands take the same length, so the skein of 100 g goes half and half but for the tail already used.
    assert wind.row == 1 and wind.off_g + wind.stays_g == pytest.approx(100 - 0.15 / 2.4)
    assert wind.off_g == pytest.approx(50, abs=0.1)
    assert not fed.shorts and fed.live_ends == 2


def test_yarn_is_wound_from_the_ball_that_can_best_spare_it() -> None:
    """Three strands of one colour on two balls: the fuller one still needs nearly all that is on it."""

    def live(number: int, metres: float, rows: int) -> Live:
        ball = OpenBall("A", number, "skein", metres, metres, busy=True)
        run = Run(name="A", slot=number, first_row=1, last_row=rows, first_stripe=1, last_stripe=1)
        return Live(run=run, ball=ball, ahead_m=[1.0] * rows)

    for needing, sparing in ((0, 1), (1, 0)):
        strands = [live(1, 50, 48), live(2, 40, 5)] if sparing else [live(1, 40, 5), live(2, 50, 48)]
        shelf = {"A": [strand.ball for strand in strands if strand.ball is not None]}
        walk = Walk(
            m_per_g={"A": 2.0}, shelf=shelf, tail_m=0.15, at_row_end={"A": True}, stripe_of=[1] * 48, live=strands
        )
        wound = walk.take("A", 5.3, 1.15, 1)
        assert wound is not None and [r.skein for r in walk.rewinds] == [sparing + 1]
        assert strands[needing].ball is not None and strands[needing].ball.left_m == 50


def test_two_skeins_need_no_winding() -> None:
    plan = stripes(("AA", 4))
    yarns = (yarn("A", lots=lying(2)),)
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
    yarns = tuple(yarn(n, lots=lying(held, parts_g=grams(part))) for n in "ABC")
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
    yarns = (yarn("A", lots=lying(1)), yarn("B", lots=lying(1)))
    need, chosen = case(plan, *yarns)
    fed = feed(plan, need, yarns, chosen, buy="nothing")
    assert fed.shorts and {s.name for s in fed.shorts} == {"B"} and fed.shorts[0].stripe == 2
    assert any("runs out before row" in n.text for n in fed.notices)


def test_a_colour_without_band_is_left_out_and_said() -> None:
    plan = stripes(("AB", 4))
    yarns = (yarn("A"), yarn("B", grams=None, metres=None))
    need, chosen = case(plan, *yarns)
    assert "B are not followed" in " ".join(n.text for n in feed(plan, need, yarns, chosen).notices)


def test_an_estimate_of_other_stripes_is_refused() -> None:
    need, chosen = case(FADE, yarn("A"), yarn("B"), yarn("C"))
    with pytest.raises(StripeError, match="16 rows and the stripes have 4"):
        feed(stripes(("AA", 4)), need, (yarn("A"),), chosen)


def test_lots_meet_where_stripes_change_and_not_inside_one() -> None:
    # By hand: a row takes about 15 m of each strand, so 20 rows take 300 m; one skein of L7 has 400 m.
    plan = stripes(("AB", 20), ("AC", 20), ("AB", 20))
    yarns = (yarn("A", metres=400, lots=lying(1, "L7")), yarn("B"), yarn("C"))
    need, chosen = case(plan, *yarns)
    fed = feed(plan, need, yarns, chosen)
    assert not fed.meetings and not fed.shorts
    changed = [j for j in fed.joins if j.name == "A" and j.lots[0] != j.lots[1]]
    assert changed and all(j.row in (21, 41) for j in changed)
    told = [n.text for n in lot_notices(fed, yarns)]
    assert [t for t in told if "two dye lots" in t] == [told[0]] and "Skeins of A " in told[0]
    assert {(use.lot, use.to_buy) for use in lot_uses(fed) if use.name == "A"} == {("L7", False), ("", True)}


@settings(deadline=None, max_examples=60)
@given(NAMES, st.integers(1, 9), st.integers(0, 2), st.integers(0, 2), st.integers(0, 90))
def test_two_lots_inside_a_stripe_are_told(pairs: list[str], rows: int, one: int, two: int, part: int) -> None:
    plan = stripes(*((p, rows) for p in pairs))
    lots = (*lying(one, "L1"), *lying(two, "L2", grams(part) if part else ()))
    yarns = tuple(yarn(n, lots=lots) for n in "ABC")
    need, chosen = case(plan, *yarns)
    fed = feed(plan, need, yarns, chosen)
    lot = {(b.name, b.number): b.lot for b in fed.balls}
    firsts = {sum(s.rows for s in plan[:i]) + 1 for i in range(len(plan))}
    for join in fed.joins:
        assert join.lots == (lot[join.name, join.old], lot[join.name, join.new])
        assert join.inside == (join.lots[0] != join.lots[1] and join.row not in firsts)
    told = " ".join(n.text for n in lot_notices(fed, yarns))
    for join in fed.meetings:
        assert f"{join.name}: two dye lots meet inside stripe {join.stripe}, before row {join.row}" in told


# ---- a change of strands, said once

CHANGES = st.lists(st.sampled_from(["AA", "AB", "BB", "BC", "AC", "CC", "A", "AAB"]), min_size=2, max_size=8)


@settings(deadline=None, max_examples=60)
@given(CHANGES, st.integers(1, 12))
def test_a_change_leaves_the_strand_and_the_ball_that_are_there(pairs: list[str], rows: int) -> None:
    """Strands and balls followed by hand from the changes and joins alone come out as the stripes and runs say."""
    plan = stripes(*((p, rows) for p in pairs))
    yarns = tuple(yarn(n) for n in "ABC")
    need, chosen = case(plan, *yarns)
    fed = feed(plan, need, yarns, chosen)
    held: list[list[object]] = []  # name, joined, ball
    joins = sorted(fed.joins, key=lambda j: j.row)
    for change, stripe in zip(fed.changes, plan, strict=True):
        # A ball joined at the end of the row is joined before its strands change, one joined inside a row in it.
        for join in [j for j in joins if j.row <= change.row + (not j.within_row)]:
            (strand,) = [s for s in held if s[0] == join.name and s[2] == join.old]
            strand[1:] = join.row + join.within_row, join.new
            joins.remove(join)
            # Nobody cuts a ball off and joins it to the strand beside it in the same pull through.
            assert join.row != change.row + 1 or (join.name, join.new) not in {(e.name, e.ball) for e in change.left}
        for end in change.left:
            held.remove([end.name, end.joined, end.ball])
        assert sorted(held, key=str) == sorted(([e.name, e.joined, e.ball] for e in change.carried), key=str)
        held += [[end.name, end.joined, end.ball] for end in change.taken]
        assert sorted(str(s[0]) for s in held) == sorted(stripe.strands)
        assert change.tail_cm == 15
    assert sum(len(c.left) for c in fed.changes) + len(held) == len(fed.runs)


# ---- finishing


def test_finishing_is_fed_and_carries_on_where_its_strands_are_held() -> None:
    plan = stripes(("AA", 6), ("AB", 6))
    yarns = (yarn("A"), yarn("B"), yarn("C"))
    chosen = YardageSettings(border=Border(rounds=2, strands=("C", "C")), fringe=Fringe(length_cm=10, ends=2))
    row = row_of(8, "sc")
    need = estimate(plan, Worked(), Gauge(), yarns, chosen, levels=(row, row))
    plain = estimate(plan, Worked(), Gauge(), yarns, YardageSettings())
    fed = feed(plan, need, yarns, chosen)
    assert [piece.kind for piece in need.finishes] == ["straight-top", "straight-bottom", "border"]
    # In the need: one row for each strand of the last stripe on top, of the first at the bottom, and the fringe.
    level = need.finishes[0].lengths_m[0]
    fringe = dict(need.fringe_m)
    a, b = need.colour("A"), need.colour("B")
    assert b.need_m - plain.colour("B").need_m == pytest.approx(level + fringe["B"])
    # A is carried from the last stripe to the top; its two strands at the bottom are joined afresh, two ends each.
    assert a.need_m - plain.colour("A").need_m == pytest.approx(3 * level + fringe["A"] + 4 * 0.15)
    assert need.colour("C").need_m == pytest.approx(2 * sum(need.finishes[2].lengths_m) + 4 * 0.15)
    top, bottom, border = fed.changes[2:]
    assert not top.left and not top.taken
    assert [e.name for e in bottom.left] == ["A", "B"] and [e.name for e in bottom.taken] == ["A", "A"]
    assert [e.name for e in border.taken] == ["C", "C"]
    # Whatever was taken from the balls is what is needed, but for the rest of a fringe piece.
    for colour in need.colours:
        taken = sum(x.start_m - x.left_m for x in fed.balls if x.name == colour.name and x.kind != "wound")
        taken -= sum(x.left_m for x in fed.balls if x.name == colour.name and x.kind == "wound")
        knots = 2 * sum(j.name == colour.name for j in fed.joins) * 0.15
        assert colour.need_m + knots - 1e-6 <= taken <= colour.need_m + knots + 0.25


def test_yarn_that_lacks_for_the_finishing_is_told() -> None:
    plan = stripes(("AB", 4))
    yarns = (yarn("A", lots=lying(1)), yarn("B", lots=lying(1)))
    need, chosen = case(plan, *yarns, border=Border(rounds=8, stitch="dc"))
    fed = feed(plan, need, yarns, chosen, buy="nothing")
    assert any("in the finishing" in n.text for n in fed.notices)

"""Stripes: sequences, shares, edits, orders by chance and leftovers."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blendplan.errors import StripeError
from blendplan.stripes import edit
from blendplan.stripes.chance import random_order, share_scraps, spread_evenly
from blendplan.stripes.model import Stripe, changes, total_rows
from blendplan.stripes.sequence import ARRANGEMENTS, Sequence, path
from blendplan.stripes.shares import rows_from_shares

NAMES = "ABCDEFGHIJ"


def strands(sequence: Sequence) -> list[str]:
    return ["".join(s.strands) for s in sequence.expand()]


def test_fade_counts_of_the_trade() -> None:
    # trade facts, sections 2e and 12, read Nov 2026: S Y - (S - 1) mixes; Y 5, S 2 is 9; Y 6, S 2 is 11; Y 4, S 3 is 10
    for colours, held, mixes in ((5, 2, 9), (6, 2, 11), (4, 3, 10)):
        assert len(Sequence(order=tuple(NAMES[:colours]), strands=held).expand()) == mixes


def test_share_of_each_colour_in_an_even_fade() -> None:
    # trade facts, section 2e, derived there: end colours 3 strand-stripes, inner ones 4, in all 4 Y - 2
    three = "".join(strands(Sequence(order=("A", "B", "C"))))
    assert [three.count(n) for n in "ABC"] == [3, 4, 3]


def test_tails_of_a_five_colour_fade() -> None:
    # trade facts, section 8, derived there: 2 to start, 2 to finish, 2 at each of 8 changes: 20 tails
    stripes = Sequence(order=tuple(NAMES[:5])).expand()
    assert 4 + sum(c.tails for c in changes(stripes)) == 20


def test_both_strands_at_once_and_a_carried_colour() -> None:
    assert strands(Sequence(order=("A", "B"), change="both")) == ["AA", "BB"]
    assert strands(Sequence(order=("A", "B"), carrier="Z")) == ["ZA", "ZB"]
    assert strands(Sequence(order=("A", "B"), carrier="Z", strands=3)) == ["ZAA", "ZAB", "ZBB"]


@pytest.mark.parametrize(
    ("arrange", "times", "expected"),
    [
        ("once", 1, "ABC"),
        ("repeat", 2, "ABCABC"),
        ("mirror", 1, "ABCBA"),
        ("mirror", 2, "ABCBABCBA"),
        ("centre-out", 1, "CBABC"),
    ],
)
def test_arrangements(arrange: str, times: int, expected: str) -> None:
    assert "".join(path("ABC", arrange, times)) == expected


def test_own_rows_of_a_blend_whichever_way_round() -> None:
    sequence = Sequence(order=("A", "B", "A"), solid_rows=1, blend_rows=2, own_rows=((("B", "A"), 5),))
    assert [s.rows for s in sequence.expand()] == [1, 5, 1, 5, 1]


@given(st.lists(st.sampled_from(NAMES), min_size=1, max_size=8), st.sampled_from(ARRANGEMENTS), st.integers(1, 4))
def test_mirrored_paths_read_the_same_from_both_ends(order: list[str], arrange: str, times: int) -> None:
    got = path(order, arrange, times)
    assert set(got) == set(order)
    if arrange in ("mirror", "centre-out"):
        assert got == got[::-1]


@given(st.lists(st.integers(0, 1000), min_size=1, max_size=30), st.integers(0, 5000), st.integers(0, 3))
def test_rows_from_shares_add_up_and_stay_within_one(shares: list[int], rows: int, least: int) -> None:
    if sum(shares) == 0 or least * len(shares) > rows:
        with pytest.raises(StripeError):
            rows_from_shares(shares, rows, least=least)
        return
    got = rows_from_shares(shares, rows, least=least)
    assert sum(got) == rows
    assert min(got) >= least
    if least == 0:
        for share, n in zip(shares, got, strict=True):
            assert abs(n - Fraction(share * rows, sum(shares))) < 1


def test_largest_remainder_of_a_textbook_case() -> None:
    # the method by hand: quotas 4.7, 1.6, 1.6, 0.8, 0.8, 0.5 of 10; floors leave 4, which go to the largest remainders
    assert rows_from_shares([47000, 16000, 15800, 8200, 8000, 5000], 10) == (5, 2, 1, 1, 1, 0)


STRIPES = tuple(Stripe(strands=(n, n), rows=i + 1, locked=n == "C") for i, n in enumerate("ABCDE"))


@given(st.integers(0, 4), st.integers(0, 4))
def test_moves_keep_all_stripes_and_the_locked_place(a: int, b: int) -> None:
    if 2 in (a, b):
        with pytest.raises(StripeError, match="stripe 3 is locked"):
            edit.move(STRIPES, a, b)
        return
    moved = edit.move(STRIPES, a, b)
    assert moved[2] == STRIPES[2]
    assert moved[b] == STRIPES[a]
    assert sorted(s.rows for s in moved) == [1, 2, 3, 4, 5]
    assert edit.swap(edit.swap(STRIPES, a, b), a, b) == STRIPES


@given(st.integers(0, 2**32 - 1))
def test_shuffle_leaves_locked_stripes_and_repeats_with_its_seed(seed: int) -> None:
    once = edit.shuffle(STRIPES, seed)
    assert once == edit.shuffle(STRIPES, seed)
    assert once[2] == STRIPES[2]
    assert set(once) == set(STRIPES)


def test_split_and_join_are_opposite() -> None:
    parts = edit.split(STRIPES, 4, 2)
    assert [s.rows for s in parts] == [1, 2, 3, 4, 2, 3]
    assert edit.join(parts, 4) == STRIPES
    with pytest.raises(StripeError, match="one row"):
        edit.split(STRIPES, 0, 1)
    with pytest.raises(StripeError, match="different strands"):
        edit.join(STRIPES, 0)


def test_add_remove_reverse_rows_lock() -> None:
    more = edit.add(STRIPES, 5, Stripe(strands=("F", "A"), rows=2))
    assert total_rows(more) == total_rows(STRIPES) + 2
    assert edit.remove(more, 5) == STRIPES
    assert [s.strands[0] for s in edit.reverse(STRIPES, 0, 4)] == list("EDCBA")
    assert edit.set_rows(STRIPES, 0, 9)[0].rows == 9
    assert edit.remove(edit.lock(STRIPES, 2, False), 2) == (*STRIPES[:2], *STRIPES[3:])
    with pytest.raises(StripeError, match="last stripe"):
        edit.remove(STRIPES[:1], 0)


@given(st.lists(st.integers(1, 6), min_size=2, max_size=8), st.integers(0, 10**6))
def test_no_colour_lies_beside_itself(counts: list[int], seed: int) -> None:
    wanted = dict(zip(NAMES, counts, strict=False))
    if max(counts) > (sum(counts) + 1) // 2:
        with pytest.raises(StripeError, match="the most that works"):
            random_order(wanted, seed)
        return
    got = random_order(wanted, seed)
    assert all(a != b for a, b in pairwise(got))
    assert {n: got.count(n) for n in wanted} == wanted
    assert got == random_order(wanted, seed)


def test_lights_and_darks_kept_apart_or_mixed() -> None:
    light = {"A": 90.0, "B": 85.0, "C": 20.0, "D": 25.0, "E": 55.0}
    counts = dict.fromkeys(light, 3)
    for seed in range(20):
        apart = random_order(counts, seed, lightness=light, most_step=36)
        assert all(abs(light[a] - light[b]) <= 36 for a, b in pairwise(apart))
        mixed = random_order(counts, seed, lightness=light, least_step=25)
        assert all(abs(light[a] - light[b]) >= 25 for a, b in pairwise(mixed))
    with pytest.raises(StripeError, match="lightness of E is missing"):
        random_order(counts, 1, lightness={n: v for n, v in light.items() if n != "E"}, least_step=10)
    with pytest.raises(StripeError, match="need the lightness"):
        random_order(counts, 1, least_step=10)
    with pytest.raises(StripeError, match="lower the least step"):
        random_order(counts, 1, lightness=light, least_step=80)


@given(st.lists(st.integers(1, 9), min_size=1, max_size=8))
def test_even_spread_keeps_counts_and_avoids_neighbours_where_it_can(counts: list[int]) -> None:
    wanted = dict(zip(NAMES, counts, strict=False))
    got = spread_evenly(wanted)
    assert {n: got.count(n) for n in wanted} == wanted
    if max(counts) <= (sum(counts) + 1) // 2:
        assert all(a != b for a, b in pairwise(got))


def test_scraps_fill_the_stripes_within_what_is_there_and_balance_light() -> None:
    light = {"A": 90.0, "B": 80.0, "C": 20.0, "D": 30.0}
    slips = share_scraps({"A": 40, "B": "33,5", "C": 52, "D": 20}, 5, 20, lightness=light)
    used, left = dict(slips.used_g), dict(slips.left_g)
    assert len(slips.order) == 20
    assert sum(used.values()) == 100
    assert all(g >= 0 for g in left.values())
    assert left["B"] + used["B"] == Fraction(67, 2)
    half = [sum(light[n] for n in part) / 10 for part in (slips.order[:10], slips.order[10:])]
    assert abs(half[0] - half[1]) < 8
    with pytest.raises(StripeError, match="give 28 whole stripes and 40 are wanted"):
        share_scraps({"A": 40, "B": 33, "C": 52, "D": 20}, 5, 40)

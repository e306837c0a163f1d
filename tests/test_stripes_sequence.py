"""Stripes: sequences, shares, edits, orders by chance and leftovers."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blendplan.errors import StripeError
from blendplan.stripes import edit
from blendplan.stripes.model import ARRANGEMENTS, Stripe, StripeRule, path, rows_from_shares, runs_of, total_rows

NAMES = "ABCDEFGHIJ"


def strands(sequence: StripeRule) -> list[str]:
    return ["".join(s.strands) for s in sequence.expand()]


def test_fade_counts_of_the_trade() -> None:
    # trade facts, sections 2e and 12, read Nov 2026: S Y - (S - 1) mixes; Y 5, S 2 is 9; Y 6, S 2 is 11; Y 4, S 3 is 10
    for colours, held, mixes in ((5, 2, 9), (6, 2, 11), (4, 3, 10)):
        assert len(StripeRule(order=tuple(NAMES[:colours]), strands=held).expand()) == mixes


def test_share_of_each_colour_in_an_even_fade() -> None:
    # trade facts, section 2e, derived there: end colours 3 strand-stripes, inner ones 4, in all 4 Y - 2
    three = "".join(strands(StripeRule(order=("A", "B", "C"))))
    assert [three.count(n) for n in "ABC"] == [3, 4, 3]


def test_tails_of_a_five_colour_fade() -> None:
    # trade facts, section 8, derived there: 2 to start, 2 to finish, 2 at each of 8 changes: 20 tails
    stripes = StripeRule(order=tuple(NAMES[:5])).expand()
    assert 2 * len(runs_of(stripes)) == 20


def test_both_strands_at_once_and_a_carried_colour() -> None:
    assert strands(StripeRule(order=("A", "B"), change="both")) == ["AA", "BB"]
    assert strands(StripeRule(order=("A", "B"), carrier="Z")) == ["ZA", "ZB"]
    assert strands(StripeRule(order=("A", "B"), carrier="Z", strands=3)) == ["ZAA", "ZAB", "ZBB"]


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
    sequence = StripeRule(order=("A", "B", "A"), solid_rows=1, blend_rows=2, own_rows=((("B", "A"), 5),))
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

"""From the yarn on hand: rows, stripes, sizes, the scarce colour and scraps, against brute force."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from blankets import blanket, lying
from blankets import yarn as wool
from hypothesis import given, settings
from hypothesis import strategies as st
from yardage_cases import Gauge, Worked, estimate, grams, stripes, yarn

from blendplan.errors import StripeError, YarnError
from blendplan.fabric.finish import Border
from blendplan.lasting import size_options
from blendplan.plan import make_plan
from blendplan.yardage.need import Supply, chance_short
from blendplan.yardage.rowfit import RowProblem, fit_rows
from blendplan.yardage.scraps import even_out, share_scraps
from blendplan.yardage.settings import YardageSettings
from blendplan.yardage.stash import (
    SizeOption,
    largest_blanket,
    limits_m,
    longest_stripes,
    rows_possible,
    spare_scarce,
    usable_m,
)
from blendplan.yarn import PutUp

FADE = stripes(("AA", 4), ("AB", 2), ("BB", 4), ("BC", 2), ("CC", 4))


def planned(held: dict[str, int], plan=FADE, **options: object):
    yarns = tuple(yarn(n, lots=lying(k)) for n, k in held.items())
    chosen = YardageSettings(**options)  # type: ignore[arg-type]
    return yarns, estimate(plan, Worked(), Gauge(), yarns, chosen), chosen


def brute(problem: RowProblem, total: int | None):
    """All rows within the bounds and the yarn, one by one."""
    limits = dict(problem.limit_m)
    for rows in itertools.product(*(range(a, b + 1) for a, b in zip(problem.low, problem.high, strict=True))):
        if total is not None and sum(rows) != total:
            continue
        if all(m <= limits.get(n, math.inf) + 1e-9 for n, m in problem.used_m(rows).items()):
            yield rows


@st.composite
def small_problems(draw: st.DrawFn) -> RowProblem:
    pairs = draw(st.lists(st.sampled_from(["AA", "AB", "BB", "BC", "CC"]), min_size=1, max_size=4))
    plan = stripes(*((p, draw(st.integers(1, 4))) for p in pairs))
    names = sorted({n for s in plan for n in s.strands})
    return RowProblem(
        stripes=plan,
        low=(1,) * len(plan),
        high=tuple(draw(st.integers(1, 5)) for _ in plan),
        row_m=1.0,
        limit_m=tuple((n, float(draw(st.integers(3, 16)))) for n in names),
    )


@settings(deadline=None, max_examples=40)
@given(small_problems())
def test_longest_is_what_brute_force_finds(problem: RowProblem) -> None:
    found = list(brute(problem, None))
    if not found:
        with pytest.raises(YarnError):
            fit_rows(problem, "longest")
        return
    fit = fit_rows(problem, "longest")
    assert fit.exact and fit.rows in found
    assert fit.total == max(map(sum, found))


@settings(deadline=None, max_examples=40)
@given(small_problems(), st.integers(2, 14))
def test_nearest_is_what_brute_force_finds(problem: RowProblem, total: int) -> None:
    found = list(brute(problem, total))
    if not found:
        return
    fit = fit_rows(problem, "nearest", total=total)

    def change(rows: tuple[int, ...]) -> int:
        return sum(abs(s.rows - n) for s, n in zip(problem.stripes, rows, strict=True))

    assert fit.exact and fit.rows in found
    assert change(fit.rows) == min(map(change, found))


@settings(deadline=None, max_examples=40)
@given(small_problems(), st.integers(2, 14))
def test_least_is_what_brute_force_finds(problem: RowProblem, total: int) -> None:
    found = list(brute(problem, total))
    if not found:
        return
    fit = fit_rows(problem, "least", total=total, scarce="B")
    used = [problem.used_m(rows).get("B", 0.0) for rows in found]
    assert fit.exact and problem.used_m(fit.rows).get("B", 0.0) == pytest.approx(min(used))


def test_usable_metres_invert_the_chance() -> None:
    supply = Supply(put_up=PutUp(mass_g=100, length_m=200), skeins=4, scatter=0.03, loss_m=10)
    usable = usable_m(supply, 0.15, 0.05)
    assert chance_short(usable, usable * 0.15 / 1.6448536, supply) == pytest.approx(0.05, abs=1e-6)
    assert usable_m(supply, 0.15, None) == 800


def test_all_rows_are_possible_with_plenty_and_fewer_with_little() -> None:
    yarns, need, chosen = planned({"A": 9, "B": 9, "C": 9})
    assert rows_possible(FADE, need, yarns, chosen).sure == 16
    yarns, need, chosen = planned({"A": 9, "B": 0, "C": 9})
    stopped = rows_possible(FADE, need, yarns, chosen)
    # Without any B the four rows of AA are all there is.
    assert (stopped.expected, stopped.sure, stopped.runs_out) == (4, 4, ("B",))
    assert "4 of 16 rows" in stopped.notices[0].text


def test_rows_possible_count_the_tails() -> None:
    """Yarn for four rows of AA to the metre: without 2 x 2 ends of 15 cm beside, the fourth is out of reach."""
    need = estimate(FADE, Worked(), Gauge(), (yarn("A"), yarn("B"), yarn("C")))
    rows_g = Fraction(2 * (sum(need.rows_m[:4]) + need.foundation_m) / 2.4)
    tails_g = Fraction(4 * 15, 240)
    for more, rows in ((Fraction(1, 10**6), 3), (tails_g + Fraction(1, 10**6), 4)):
        yarns = (yarn("A", lots=lying(parts_g=(rows_g + more,))), yarn("B", lots=lying(9)), yarn("C", lots=lying(9)))
        assert rows_possible(FADE, need, yarns).expected == rows


@given(st.integers(1, 200), st.integers(1, 200))
@settings(deadline=None, max_examples=30)
def test_more_yarn_never_makes_fewer_rows(one: int, other: int) -> None:
    low, high = sorted((one, other))
    made = []
    for g in (low, high):
        yarns = (yarn("A", lots=lying(9)), yarn("B", lots=lying(parts_g=grams(g))), yarn("C", lots=lying(9)))
        need = estimate(FADE, Worked(), Gauge(), yarns)
        made.append(rows_possible(FADE, need, yarns).sure)
    assert made[0] <= made[1]


def test_longest_stripes_reach_and_one_more_row_does_not() -> None:
    yarns, need, chosen = planned({"A": 2, "B": 1, "C": 3})
    fit = longest_stripes(FADE, need, yarns, chosen)
    assert fit.fit.exact and fit.fit.binding == ("B",) and any("Held back by B" in n.text for n in fit.notices)
    # Planned alike stays alike.
    rows = [s.rows for s in fit.stripes]
    assert rows[0] == rows[2] == rows[4] and rows[1] == rows[3]
    again = estimate(fit.stripes, Worked(), Gauge(), yarns, chosen)
    assert all(c.buy_skeins == 0 for c in again.colours)
    longer = tuple(replace(s, rows=s.rows + 1) for s in fit.stripes)
    assert any(c.buy_skeins for c in estimate(longer, Worked(), Gauge(), yarns, chosen).colours)


def test_locked_stripes_keep_their_rows() -> None:
    plan = tuple(replace(s, locked=i == 0) for i, s in enumerate(FADE))
    yarns, need, chosen = planned({"A": 9, "B": 1, "C": 9}, plan)
    assert longest_stripes(plan, need, yarns, chosen, evenly=False).stripes[0].rows == 4


def test_too_little_for_one_row_each_names_the_colour() -> None:
    yarns, need, chosen = planned({"A": 2, "B": 0, "C": 2})
    with pytest.raises(YarnError, match=r"even with the fewest rows B lacks \d"):
        longest_stripes(FADE, need, yarns, chosen)


def test_without_a_band_nothing_limits() -> None:
    yarns = (yarn("A", grams=None, metres=None),)
    plan = stripes(("AA", 3))
    with pytest.raises(YarnError, match="nothing limits a stripe of A, A"):
        longest_stripes(plan, estimate(plan, Worked(), Gauge(), yarns), yarns)


def test_the_scarce_colour_is_used_least_within_the_change_allowed() -> None:
    _, need, _ = planned({"A": 0, "B": 0, "C": 0})
    spared = spare_scarce(FADE, need, "B", most_change=1)
    # By hand: BB 4 -> 3 saves two strand rows; each mixed stripe 2 -> 1 saves one; A and C stripes take the rows.
    rows = [s.rows for s in spared.stripes]
    assert rows[2] == 3 and sum(rows) == 16
    assert sum(s.strands.count("B") * s.rows for s in spared.stripes) == 9
    with pytest.raises(YarnError, match="no stripe uses 'Z'"):
        spare_scarce(FADE, need, "Z")


def test_largest_blanket_beats_every_other_width() -> None:
    """One yarn, by hand: rows that its metres give beside the chain and four ends, and the area of each width."""
    plan = stripes(("AA", 4))
    yarns, need, chosen = planned({"A": 9}, plan)
    sizes = [
        SizeOption(repeats=n, width_cm=12.8 * n, rise_cm=1.86, row_m=1.3 * n, foundation_m=0.4 * n)
        for n in range(2, 16)
    ]
    metres = limits_m(need, yarns, chosen, chosen.chance_short)["A"] - 4 * chosen.tail_cm / 100
    made = {}
    for size in sizes:
        rows = min((metres - 2 * size.foundation_m) // (2 * size.row_m), 1.5 * size.width_cm // size.rise_cm)
        if rows * size.rise_cm >= size.width_cm:
            made[size.repeats] = rows * size.rise_cm * size.width_cm
    best = largest_blanket(plan, need, yarns, sizes, chosen)
    assert len(made) > 2 and best.size.repeats == max(made, key=lambda n: made[n]) not in (2, 15)
    assert best.width_cm * best.height_cm == pytest.approx(made[best.size.repeats])
    with pytest.raises(YarnError, match="none of 1 widths"):
        largest_blanket(plan, need, yarns, sizes[-1:], chosen, proportion=(9, 10))


def test_longer_ends_make_the_largest_blanket_shorter() -> None:
    # Two strands joined and cut are four ends; at 1 m each they take the yarn of two rows of 2 x 1 m.
    plan, size = stripes(("AA", 4)), SizeOption(repeats=8, width_cm=100, rise_cm=1.0, row_m=1.0)
    heights = []
    for tail_cm in (0, 100):
        yarns, need, chosen = planned({"A": 1}, plan, tail_cm=tail_cm)
        heights.append(largest_blanket(plan, need, yarns, [size], chosen, proportion=(0.1, 10)).height_cm)
    assert heights[0] - heights[1] == pytest.approx(2)


@pytest.mark.parametrize("grams", [5, 15, 40, 90, 200])
def test_a_bag_of_scraps_gives_what_can_be_made_or_the_reason(grams: int) -> None:
    """However little there is: a size with the yarn that holds it back, or the yarns that do not even make a row."""
    names = ("Fern", "Clay", "Milk")
    lots = {name: lying(0, "", (grams,)) for name in names}
    plan = make_plan(blanket(*names, yarns=tuple(wool(name, lots=lots[name]) for name in names), border=Border()))
    stripes_, sizes = [s.stripe for s in plan.stripes], size_options(plan)
    try:
        made = largest_blanket(stripes_, plan.yardage, plan.yarns, sizes, plan.settings)
    except YarnError as error:
        assert re.search(r"not even \d+ cm with one row of each stripe can be made .*(Fern|Clay|Milk)", str(error))
        assert grams <= 40
    else:
        said = " ".join(n.text for n in made.notices)
        assert f"{made.width_cm:.0f} x {made.height_cm:.0f} cm is the largest" in said
        widest = made.size.repeats == max(size.repeats for size in sizes)
        assert widest or re.search(r"(Held back by|needs more of) .*(Fern|Clay|Milk)", said)
        assert "Border and fringe are not counted" in said
    try:
        longest = longest_stripes(stripes_, plan.yardage, plan.yarns, plan.settings)
    except YarnError as error:
        assert re.search(r"even with the fewest rows (Fern|Clay|Milk) lacks [\d.]+ m", str(error))
    else:
        assert longest.fit.binding and "Held back by" in " ".join(n.text for n in longest.notices)


# ---- scraps


def scraps(seed: int, colours: int, stripe_count: int, fill: float):
    rng = np.random.default_rng(seed)
    yarns = [
        yarn(
            f"Y{i:02d}",
            "#" + rng.integers(20, 236, 3).astype(np.uint8).tobytes().hex(),
            lots=lying(parts_g=grams(int(g))),
        )
        for i, g in enumerate(rng.integers(20, 160, colours))
    ]
    rows = [int(v) for v in rng.integers(1, 5, stripe_count)]
    metres = 2.4 * sum(float(y.part_skeins_g[0]) for y in yarns)
    return yarns, rows, (fill * metres / 2 - 0.3 * stripe_count) / sum(rows)


def brute_scraps(yarns, rows: list[int], row_m: float, tail_m: float) -> tuple[int, float]:
    """Most rows, and least greatest distance from the mean with all rows covered, over every choice of pairs."""
    metres = {y.name: float(y.part_skeins_g[0]) * 2.4 for y in yarns}
    light = {y.name: y.lab[0] for y in yarns}
    mean = sum(light[n] * m for n, m in metres.items()) / sum(metres.values())
    pairs = [None, *itertools.combinations_with_replacement(sorted(metres), 2)]
    most, best = 0, math.inf
    for choice in itertools.product(pairs, repeat=len(rows)):
        left = dict(metres)
        for pair, n in zip(choice, rows, strict=True):
            for name in pair or ():
                left[name] -= n * row_m + 2 * tail_m
        if min(left.values()) < -1e-9:
            continue
        covered = sum(n for pair, n in zip(choice, rows, strict=True) if pair)
        most = max(most, covered)
        if covered == sum(rows):
            best = min(best, max(abs((light[a] + light[b]) / 2 - mean) for a, b in choice))  # type: ignore[misc]
    return most, best


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("fill", [0.5, 0.8, 1.1])
def test_scraps_against_brute_force(seed: int, fill: float) -> None:
    yarns, rows, row_m = scraps(seed, 3, 4, fill)
    most, best = brute_scraps(yarns, rows, row_m, 0.15)
    shared = share_scraps(yarns, rows, row_m)
    assert sum(s.rows for s in shared.stripes) == most
    if most == sum(rows):
        assert shared.exact and shared.worst == pytest.approx(best, abs=1e-6) == shared.bound


@pytest.mark.parametrize("seed", [101, 102])
def test_fifteen_scraps_over_sixty_stripes(seed: int) -> None:
    yarns, rows, row_m = scraps(seed, 15, 60, 0.85)
    shared = share_scraps(yarns, rows, row_m, seconds=20)
    assert shared.exact and [s.rows for s in shared.stripes] == rows
    used = dict(shared.used_m)
    for one in yarns:
        taken = sum(s.strands.count(one.name) * (s.rows * row_m + 0.3) for s in shared.stripes)
        assert taken == pytest.approx(used.get(one.name, 0.0), abs=1e-6)
        assert taken <= 2.4 * float(one.part_skeins_g[0]) + 1e-6
    light = {y.name: y.lab[0] for y in yarns}
    far = [abs(sum(light[n] for n in s.strands) / 2 - shared.lightness) for s in shared.stripes]
    assert max(far) == pytest.approx(shared.worst) and shared.worst == pytest.approx(shared.bound)
    # Neighbours of one colour are rare: a random order of these pairs has about one in five.
    both = itertools.pairwise(shared.stripes)
    assert sum(bool(set(a.strands) & set(b.strands)) for a, b in both) <= 6


def test_scraps_are_shared_the_same_way_twice() -> None:
    yarns, rows, row_m = scraps(5, 6, 12, 0.8)
    assert share_scraps(yarns, rows, row_m) == share_scraps(yarns, rows, row_m)


def test_scraps_refuse_nothing_to_share() -> None:
    with pytest.raises(YarnError, match="no yarn on hand"):
        share_scraps((yarn("A"), yarn("B")), [2, 2], 5.0)
    with pytest.raises(YarnError, match="does not make one stripe"):
        share_scraps((yarn("A", lots=lying(parts_g=(Fraction(1),))),), [2, 2], 5.0)
    with pytest.raises(StripeError, match="no stripes to share"):
        share_scraps((yarn("A"),), [], 5.0)


@given(st.lists(st.tuples(st.sampled_from("abcde"), st.sampled_from("abcde")), min_size=1, max_size=8))
def test_evening_out_keeps_the_strands(pairs: list[tuple[str, str]]) -> None:
    light = {"a": 10.0, "b": 30.0, "c": 50.0, "d": 75.0, "e": 95.0}

    def away(got: list[tuple[str, str]]) -> list[float]:
        return [abs((light[a] + light[b]) / 2 - 50) for a, b in got]

    out = even_out(pairs, light, 50.0)
    assert sorted(itertools.chain(*out)) == sorted(itertools.chain(*pairs))
    assert sum(away(out)) <= sum(away(pairs)) + 1e-9 and max(away(out)) <= max(away(pairs)) + 1e-9

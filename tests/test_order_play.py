"""Alternatives, few moves, explanations."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import order_cases as cases
import pytest
from blankets import lying

from blendplan.blend.strands import Viewing
from blendplan.errors import BlendplanError, StripeError
from blendplan.order import (
    Constraints,
    alternatives,
    explain_step,
    few_moves,
    find_order,
    order_distance,
    short_of_yarn,
    step_matrix,
)
from blendplan.order.find import Question
from blendplan.stripes.model import StripeRule
from blendplan.yarn import Shade, Yarn


def grey(name: str, light: float, a: float = 0.0, b: float = 0.0) -> Yarn:
    return Yarn(name=name, shades=(Shade(lab=(light, a, b)),))


# --- alternatives -----------------------------------------------------------------------------------------------


def test_distance_by_hand() -> None:
    # A-B B-C C-D D-E against A-C C-B B-D D-E: only D-E and B-C stay.
    assert order_distance(tuple("ABCDE"), tuple("ACBDE")) == pytest.approx(0.5)
    assert order_distance(tuple("ABCDE"), tuple("EDCBA")) == 0
    assert order_distance(tuple("ABCDE"), tuple("ACEBD")) == 1
    # Turning a round changes nothing.
    assert order_distance(tuple("ABCDE"), tuple("CDEAB"), closed=True) == 0


@pytest.mark.parametrize("question", [{}, {"aim": "even"}, {"constraints": Constraints(closed=True)}], ids=str)
def test_the_list_of_small_palettes_is_the_best_possible(question: dict[str, object]) -> None:
    yarns = cases.palette(6, 1300)
    closed = "constraints" in question
    half = step_matrix(yarns).halves[:, :, 0]
    every = cases.every_order(6)
    value = cases.values(str(question.get("aim", "smoothest")), yarns, half, every, closed=closed)
    found = alternatives(yarns, Question(**question), count=4, least_distance=0.5, within=5)
    assert len(found) >= 2
    names = [tuple(f"c{i:02d}" for i in o) for o in every]
    taken: list[tuple[str, ...]] = []
    for one in found:
        # Each is the cheapest of all orders that are far enough from those before it.
        far = [i for i, n in enumerate(names) if all(order_distance(n, t, closed) >= 0.5 - 1e-9 for t in taken)]
        assert one.ordering.cost == pytest.approx(value[far].min(), abs=1e-6)
        taken.append(one.ordering.order)


@pytest.mark.parametrize("n", [10, 14, 22])
def test_a_handful_of_really_different_good_orders(n: int) -> None:
    yarns = cases.palette(n, 1301)
    found = alternatives(yarns, count=5)
    assert len(found) == 5
    assert found[0].ordering.order == find_order(yarns).order
    for i, one in enumerate(found):
        assert sorted(one.ordering.order) == sorted(y.name for y in yarns)
        assert one.behind <= 0.5
        assert "worst step" in one.worst.text
        for other in found[:i]:
            assert order_distance(one.ordering.order, other.ordering.order) >= 0.3 - 1e-9
            assert other.ordering.cost <= one.ordering.cost + 1e-9
    total = step_matrix(yarns).total
    rng = np.random.default_rng(1301)
    shuffled = np.array([rng.permutation(n) for _ in range(2000)])
    assert found[-1].ordering.cost < total[shuffled[:, :-1], shuffled[:, 1:]].sum(axis=1).min()


def test_alternatives_keep_to_wishes() -> None:
    yarns = cases.palette(12, 1302)
    wishes = Constraints(first="c04", wanted=(("c01", "c02"),), forbidden=(("c03", "c05"),))
    found = alternatives(yarns, Question(constraints=wishes), count=4)
    assert len(found) == 4
    for one in found:
        order = one.ordering.order
        beside = {frozenset(pair) for pair in pairwise(order)}
        assert order[0] == "c04" and {"c01", "c02"} in beside and {"c03", "c05"} not in beside


# --- her own order ----------------------------------------------------------------------------------------------


def moves_to_all(own: tuple[int, ...]) -> dict[tuple[int, ...], int]:
    """The least number of single moves to every order, found by trying them all."""
    reached, front = {own: 0}, [own]
    while front:
        new = []
        for order in front:
            for i in range(len(own)):
                for j in range(len(own)):
                    rest = order[:i] + order[i + 1 :]
                    made = (*rest[:j], order[i], *rest[j:])
                    if made not in reached:
                        reached[made] = reached[order] + 1
                        new.append(made)
        front = new
    return reached


def test_few_moves_are_the_best_of_so_many() -> None:
    yarns = cases.palette(7, 1303)
    own = tuple(y.name for y in yarns)
    half = step_matrix(yarns).halves[:, :, 0]
    every = cases.every_order(7)
    value = cases.values("smoothest", yarns, half, every)
    reached = moves_to_all(tuple(range(7)))
    needed = np.array([reached[tuple(int(i) for i in o)] for o in every])
    assert len(reached) == 5040
    found = few_moves(yarns, own, most=2)
    assert found[0].ordering.order == own
    for one in found:
        assert one.exact
        assert one.ordering.cost == pytest.approx(value[needed <= one.moves].min(), abs=1e-9)
        assert reached[tuple(own.index(name) for name in one.ordering.order)] <= one.moves
    with pytest.raises(StripeError, match="each of the 7 colours once"):
        few_moves(yarns, own[:5])


def test_short_of_yarn_by_hand() -> None:
    # 100 m a skein: one skein lies between 80 and 110 m, two are enough, a quarter skein is not even for an end.
    yarns = (
        replace(grey("one", 50), grams=50, metres=100, lots=lying(1)),
        replace(grey("two", 60), grams=50, metres=100, lots=lying(2)),
        replace(grey("bit", 70), grams=50, metres=100, lots=lying(parts_g=(Fraction(25, 2),))),
        replace(grey("most", 75), grams=50, metres=100, lots=lying(parts_g=(Fraction(85, 2),))),
        grey("unknown", 80),
    )
    assert short_of_yarn(yarns, 110, 80) == ("most", "one")


# --- explanations -----------------------------------------------------------------------------------------------


def test_why_a_step_is_long_and_what_mends_it() -> None:
    # Greys with a hole: 90, 80, then 30, 20; hers too: 55, right in the hole.
    used = (grey("snow", 90), grey("mist", 80), grey("slate", 30), grey("coal", 20))
    spare = grey("stone", 55)
    found = find_order(used)
    assert found.order == ("snow", "mist", "slate", "coal")
    report = explain_step(found, (*used, spare), 1)
    assert report.rank == 1
    said = " ".join(w.text for w in report.why)
    assert "mist to slate is step 1 of 3" in said
    assert "slate is darker by 50 in L*" in said
    assert "hue" not in said
    assert "C*" not in said
    colour = next(m for m in report.mends if m.kind == "colour")
    assert colour.order == ("snow", "mist", "stone", "slate", "coal")
    assert colour.largest < report.step.largest
    assert explain_step(found, used, 1).mends == ()  # nothing helps without another colour


def test_mends_tell_the_truth() -> None:
    helped = 0
    for seed in range(1320, 1326):
        yarns = cases.palette(9, seed)
        found = find_order(yarns[:7])
        index = max(range(6), key=lambda i, f=found: f.steps[i].largest)
        step = found.steps[index]
        table = step_matrix(yarns)
        where = {n: i for i, n in enumerate(table.names)}
        for mend in explain_step(found, yarns, index).mends:
            helped += 1
            assert mend.largest < step.largest
            if mend.kind == "blend":
                continue
            total = sum(table.total[where[a], where[b]] for a, b in pairwise(mend.order))
            assert mend.total == pytest.approx(total)
            if mend.kind == "order":
                sides = {frozenset(p) for p in pairwise(mend.order)}
                assert frozenset((step.before, step.after)) not in sides
    assert helped > 4


def test_one_more_blend_row_is_what_it_says() -> None:
    import colour
    from skimage.color import deltaE_ciede2000

    yarns = (grey("sky", 70, -10, -25), grey("rust", 40, 40, 40), grey("sand", 65, 8, 20))
    # The outside libraries mix in Oklab, which is the near end.
    near = Viewing(from_m=0.0)
    found = find_order(yarns, Question(constraints=Constraints(first="sky", last="sand"), viewing=near))
    report = explain_step(found, yarns, 0, Question(viewing=near))
    mend = next((m for m in report.mends if m.kind == "blend"), None)
    assert mend is not None
    assert mend.through == "sand"
    xy = np.array([0.95047, 1.0]) / (0.95047 + 1 + 1.08883)
    ok = {y.name: colour.XYZ_to_Oklab(colour.Lab_to_XYZ(np.array(y.lab), xy)) for y in yarns}
    way = [ok["sky"], (ok["sky"] + ok["sand"]) / 2, (ok["sand"] + ok["rust"]) / 2, ok["rust"]]
    lab = colour.XYZ_to_Lab(colour.Oklab_to_XYZ(np.array(way)), xy)
    assert mend.largest == pytest.approx(deltaE_ciede2000(lab[:-1], lab[1:]).max(), abs=0.01)


def test_explaining_refuses_what_is_not_there() -> None:
    yarns = cases.palette(4, 1330)
    found = find_order(yarns)
    with pytest.raises(BlendplanError, match="step: 3 was given"):
        explain_step(found, yarns, 3)
    with pytest.raises(StripeError, match="not among the yarns"):
        explain_step(found, yarns[:2], 0)
    assert len(StripeRule(order=found.order).expand()) == 7

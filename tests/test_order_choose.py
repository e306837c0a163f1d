"""Choosing colours and order together, and following a picture: against trying everything."""

from __future__ import annotations

from itertools import pairwise, permutations, product

import numpy as np
import order_cases as cases
import pytest

from blendplan.blend.strands import Viewing
from blendplan.colour import hex_to_lab
from blendplan.errors import BlendplanError
from blendplan.order import Constraints, find_order, follow_shades, step_matrix
from blendplan.order.find import Question, prepare
from blendplan.order.solve import solve

N, K = 8, 4
SOME = np.array(list(permutations(range(N), K)))
# The contrast of a choice is measured against the largest step of all on hand, as for the whole palette.
AIMS = ["smoothest", "even", "steady", "contrast", "high-low", "hue"]


@pytest.mark.parametrize("seed", [1100, 1101])
@pytest.mark.parametrize("aim", AIMS)
def test_four_of_eight(aim: str, seed: int) -> None:
    yarns = cases.palette(N, seed)
    half = step_matrix(yarns).halves[:, :, 0]
    value = cases.values(aim, yarns, half, SOME)
    found = find_order(yarns, Question(choose=K, aim=aim))
    assert found.exact
    assert found.cost == pytest.approx(value.min(), abs=1e-4)
    kept = find_order(yarns, Question(choose=K, aim=aim, keep=("c00", "c07")))
    both = (SOME == 0).any(axis=1) & (SOME == 7).any(axis=1)
    assert kept.cost == pytest.approx(value[both].min(), abs=1e-4)
    ends = find_order(yarns, Question(choose=K, aim=aim, constraints=Constraints(first="c01", last="c02")))
    assert ends.cost == pytest.approx(value[(SOME[:, 0] == 1) & (SOME[:, -1] == 2)].min(), abs=1e-4)


QUESTIONS = [
    {},
    {"constraints": Constraints(first="c00", last="c05")},
    {"keep": ("c03", "c09")},
    {"aim": "contrast"},
    {"aim": "hue"},
    {"aim": {"smoothest": 1, "light-to-dark": 2}},
    {"constraints": Constraints(closed=True)},
    {"constraints": Constraints(wanted=(("c01", "c12"),), forbidden=(("c01", "c02"),))},
]


@pytest.mark.parametrize("seed", [1102, 1103])
@pytest.mark.parametrize("question", QUESTIONS, ids=str)
def test_layers_prove_what_held_karp_proves(question: dict[str, object], seed: int) -> None:
    model = prepare(cases.palette(13, seed), Question(choose=6, **question)).model
    by_sets, by_layers = solve(model), solve(model, exact_items=0)
    assert by_sets.exact
    assert by_layers.exact
    assert by_layers.value == pytest.approx(by_sets.value, abs=1e-4)
    assert by_layers.faults == 0


def test_choice_out_of_thirty_is_proven_and_no_random_choice_beats_it() -> None:
    yarns = cases.palette(30, 1104)
    total = step_matrix(yarns).total
    found = find_order(yarns, Question(choose=8))
    assert found.exact
    assert found.notices  # says that the most alike were taken
    rng = np.random.default_rng(1104)
    # Greedy walks from every colour and 2000 random ones: none may be below the proven best.
    for start in range(30):
        walk, cost = [start], 0.0
        for _ in range(7):
            row = total[walk[-1]].copy()
            row[walk] = np.inf
            cost += row.min()
            walk.append(int(row.argmin()))
        assert cost >= found.cost - 1e-9
    for _ in range(2000):
        walk = rng.permutation(30)[:8]
        assert total[walk[:-1], walk[1:]].sum() >= found.cost


def test_following_a_line_is_the_best_of_all_orders_with_repeats() -> None:
    yarns = cases.palette(4, 1105)
    rng = np.random.default_rng(1105)
    shades = tuple(tuple(hex_to_lab("#{:02x}{:02x}{:02x}".format(*c)).tolist()) for c in rng.integers(0, 256, (9, 3)))
    import colour
    from skimage.color import deltaE_ciede2000

    white = np.array([0.95047, 1.0, 1.08883])
    xy = white[:2] / white.sum()
    lab = np.array([y.lab for y in yarns])
    oklab = colour.XYZ_to_Oklab(colour.Lab_to_XYZ(lab, xy))
    best = np.inf
    for order in product(range(4), repeat=5):
        if any(a == b for a, b in pairwise(order)):
            continue
        stripes = [oklab[order[0]]]
        for a, b in pairwise(order):
            stripes += [(oklab[a] + oklab[b]) / 2, oklab[b]]
        seen = colour.XYZ_to_Lab(colour.Oklab_to_XYZ(np.array(stripes)), xy)
        best = min(best, float(deltaE_ciede2000(seen, np.array(shades)).sum()))
    found = follow_shades(yarns, shades, 5, viewing=Viewing(from_m=0.0))
    assert found.cost == pytest.approx(best, abs=0.01)  # nine stripes, matrices printed to ten digits
    assert len(found.order) == 5


def test_a_line_drawn_over_her_own_colours_gives_them_back() -> None:
    yarns = cases.palette(9, 1106)
    shades = tuple(y.lab for y in yarns)
    found = follow_shades(yarns, shades, 9, blend_rows=0)
    assert found.order == tuple(y.name for y in yarns)
    assert found.cost == pytest.approx(0, abs=1e-9)
    chosen = find_order(yarns, Question(choose=9, aim="follow", follow=shades))
    assert chosen.order == found.order


@pytest.mark.parametrize("k", [1, 9, 2.5, "many"])
def test_a_choice_that_cannot_be_made(k: object) -> None:
    with pytest.raises(BlendplanError, match="colours to choose"):
        find_order(cases.palette(8, 1), Question(choose=k))

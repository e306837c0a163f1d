"""The exact search against trying every order, for every aim and every wish.

The formulas are written a second time in `order_cases`, with CIEDE2000 from scikit-image and Oklab from
colour-science. Palettes are random with seeds from 1000 on; nothing was tuned on them.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import order_cases as cases
import pytest

from blendplan.blend.strands import Viewing
from blendplan.colour import hex_to_lab
from blendplan.order import AIMS, Constraints, find_order, step_matrix
from blendplan.order.find import Question

START, END = "#204060", "#f0e8d0"
SINGLE = [a for a in AIMS if a != "follow"]
N = 7
EVERY = cases.every_order(N)


def setup(seed: int, n: int = N):
    yarns = cases.palette(n, seed)
    half = step_matrix(yarns).halves[:, :, 0]
    own = tuple(y.name for y in np.random.default_rng(seed).permutation(np.array(yarns, dtype=object)))
    return yarns, half, own


def targets(own: tuple[str, ...]) -> dict[str, object]:
    return {"own": own, "start": hex_to_lab(START), "end": hex_to_lab(END)}


@pytest.mark.parametrize("seed", [1000, 1001])
def test_steps_agree_with_two_other_libraries(seed: int) -> None:
    yarns = setup(seed)[0]
    half = step_matrix(yarns, viewing=Viewing(from_m=0.0)).halves[:, :, 0]
    reference = cases.reference_halves(yarns)
    # Both cube Oklab's roots with their own inverse matrices; the printed matrices have ten digits.
    assert np.abs(half - reference).max() < 2e-3


@pytest.mark.parametrize("seed", [1002, 1003, 1004])
@pytest.mark.parametrize("aim", SINGLE)
def test_every_aim_is_the_best_of_all_orders(aim: str, seed: int) -> None:
    yarns, half, own = setup(seed)
    least = cases.values(aim, yarns, half, EVERY, **targets(own)).min()
    found = find_order(yarns, Question(aim=aim, own=own, start=START, end=END))
    assert found.exact
    assert found.gap == 0
    assert found.cost == pytest.approx(least, abs=1e-4)
    # The order that is told has the cost that is told.
    index = np.array([[int(n[1:]) for n in found.order]])
    assert cases.values(aim, yarns, half, index, **targets(own))[0] == pytest.approx(found.cost, abs=1e-6)


@pytest.mark.parametrize("aim", ["smoothest", "steady", "even", "contrast"])
def test_eight_colours(aim: str) -> None:
    yarns, half, own = setup(1005, 8)
    least = cases.values(aim, yarns, half, cases.every_order(8), **targets(own)).min()
    assert find_order(yarns, Question(aim=aim)).cost == pytest.approx(least, abs=1e-4)


MIXES = [
    {"smoothest": 1, "high-low": 2},
    {"smoothest": 2, "even": 1},
    {"steady": 1, "light-to-dark": 1},
    {"steady": 1, "even": 2, "smoothest": 0.5},
    {"own": 1, "smoothest": 1},
    {"hue": 1, "contrast": 1, "ends": 3},
]


@pytest.mark.parametrize("mix", MIXES, ids="+".join)
@pytest.mark.parametrize("closed", [False, True])
def test_mixtures_relative_to_a_random_order(mix: dict[str, float], closed: bool) -> None:
    yarns, half, own = setup(1006)
    off = ~np.eye(N, dtype=bool)
    total = np.zeros(len(EVERY))
    for aim, weight in mix.items():
        value = cases.values(aim, yarns, half, EVERY, closed=closed, **targets(own))
        # "What a random order scores": for sums, the mean over all orders, here really all of them.
        scale = {"even": half[off].max(), "steady": half[off].var()}.get(aim, value.mean())
        total += weight * value / scale
    found = find_order(yarns, Question(aim=mix, own=own, start=START, end=END, constraints=Constraints(closed=closed)))
    assert found.exact
    assert found.cost == pytest.approx(total.min(), abs=1e-7)


def places_of(orders: np.ndarray, item: int) -> np.ndarray:
    return np.argmax(orders == item, axis=1)


def beside(orders: np.ndarray, a: int, b: int, closed: bool = False) -> np.ndarray:
    gap = np.abs(places_of(orders, a) - places_of(orders, b))
    return (gap == 1) | (closed & (gap == N - 1))


WISHES: list[tuple[Constraints, Callable[[np.ndarray], np.ndarray]]] = [
    (Constraints(first="c03"), lambda o: o[:, 0] == 3),
    (Constraints(last="c00"), lambda o: o[:, -1] == 0),
    (Constraints(first="c01", last="c05"), lambda o: (o[:, 0] == 1) & (o[:, -1] == 5)),
    (Constraints(wanted=(("c00", "c06"),)), lambda o: beside(o, 0, 6)),
    (Constraints(wanted=(("c00", "c06"), ("c06", "c02"))), lambda o: beside(o, 0, 6) & beside(o, 6, 2)),
    (Constraints(wanted=(("c01", "c04"), ("c02", "c03"))), lambda o: beside(o, 1, 4) & beside(o, 2, 3)),
    (
        Constraints(forbidden=(("c00", "c01"), ("c02", "c01"), ("c03", "c04"))),
        lambda o: ~beside(o, 0, 1) & ~beside(o, 1, 2) & ~beside(o, 3, 4),
    ),
    (Constraints(places={"c02": 4}), lambda o: o[:, 3] == 2),
    (Constraints(places=(("c02", 2), ("c05", 7)), first="c00"),
     lambda o: (o[:, 1] == 2) & (o[:, 6] == 5) & (o[:, 0] == 0)),
    (Constraints(short=("c04",)), lambda o: (o[:, 0] == 4) | (o[:, -1] == 4)),
    (Constraints(short=("c04", "c01")), lambda o: np.isin(o[:, 0], (1, 4)) & np.isin(o[:, -1], (1, 4))),
    (Constraints(first="c02", wanted=(("c02", "c05"),), forbidden=(("c05", "c06"),), short=("c00",)),
     lambda o: (o[:, 0] == 2) & beside(o, 2, 5) & ~beside(o, 5, 6) & (o[:, -1] == 0)),
]  # fmt: skip


@pytest.mark.parametrize("aim", SINGLE)
@pytest.mark.parametrize("at", range(len(WISHES)))
def test_every_wish_with_every_aim(at: int, aim: str) -> None:
    wishes, keeps = WISHES[at]
    yarns, half, own = setup(1007)
    allowed = EVERY[keeps(EVERY)]
    least = cases.values(aim, yarns, half, allowed, **targets(own)).min()
    found = find_order(yarns, Question(aim=aim, own=own, start=START, end=END, constraints=wishes))
    assert found.exact
    assert found.cost == pytest.approx(least, abs=1e-4)
    assert keeps(np.array([[int(n[1:]) for n in found.order]])).all()


@pytest.mark.parametrize("aim", SINGLE)
def test_closed_round(aim: str) -> None:
    yarns, half, own = setup(1008)
    value = cases.values(aim, yarns, half, EVERY, closed=True, **targets(own))
    found = find_order(yarns, Question(aim=aim, own=own, start=START, end=END, constraints=Constraints(closed=True)))
    assert found.cost == pytest.approx(value.min(), abs=1e-4)
    assert len(found.steps) == N
    for wishes, keeps in (
        (Constraints(closed=True, wanted=(("c00", "c05"),)), beside(EVERY, 0, 5, True)),
        (Constraints(closed=True, forbidden=(("c00", "c01"), ("c00", "c02"))),
         ~beside(EVERY, 0, 1, True) & ~beside(EVERY, 0, 2, True)),
        (Constraints(closed=True, first="c02", last="c04"), (EVERY[:, 0] == 2) & (EVERY[:, -1] == 4)),
        (Constraints(closed=True, places={"c03": 2}), EVERY[:, 1] == 3),
    ):  # fmt: skip
        found = find_order(yarns, Question(aim=aim, own=own, start=START, end=END, constraints=wishes))
        assert found.cost == pytest.approx(value[keeps].min(), abs=1e-4), wishes


@pytest.mark.parametrize("aim", ["smoothest", "even", "steady", "contrast"])
@pytest.mark.parametrize("apart", [2, 3, 4])
def test_a_colour_used_twice_stands_apart(aim: str, apart: int) -> None:
    yarns, _, _ = setup(1009)
    yarns = yarns[:6]
    six = step_matrix(yarns).halves[:, :, 0]
    twice = [*range(6), 2]
    half = six[np.ix_(twice, twice)]
    a, b = places_of(EVERY, 2), places_of(EVERY, 6)
    orders = EVERY[np.abs(a - b) >= apart]
    value = cases.values(aim, (*yarns, yarns[2]), half, orders)
    found = find_order(yarns, Question(aim=aim, constraints=Constraints(uses={"c02": 2}, apart=apart)))
    assert found.exact
    assert found.cost == pytest.approx(value.min(), abs=1e-4)
    where = [i for i, n in enumerate(found.order) if n == "c02"]
    assert where[1] - where[0] >= apart


def test_three_uses_in_a_closed_round() -> None:
    yarns = cases.palette(4, 1010)
    four = step_matrix(yarns).halves[:, :, 0]
    items = [0, 1, 2, 3, 0, 0, 1]
    half = four[np.ix_(items, items)]
    names = np.array(items)[EVERY]
    near = sum((names == np.roll(names, -g, axis=1)).sum(axis=1) for g in (1,))
    value = cases.values("smoothest", tuple(yarns[i] for i in items), half, EVERY[near == 0], closed=True)
    found = find_order(yarns, Question(constraints=Constraints(uses={"c00": 3, "c01": 2}, closed=True)))
    assert found.cost == pytest.approx(value.min(), abs=1e-9)


def test_mirror_and_carrier() -> None:
    yarns, half, _ = setup(1011)
    both = half + half.T
    found = find_order(yarns, Question(constraints=Constraints(mirrored=True)))
    path = both[EVERY[:, :-1], EVERY[:, 1:]].sum(axis=1)
    assert found.cost == pytest.approx(2 * path.min(), abs=1e-9)
    assert found.order == found.order[::-1]
    assert sum(s.delta_e for s in found.steps) == pytest.approx(found.cost, abs=1e-9)

    found = find_order(yarns, Question(constraints=Constraints(carrier="c06")))
    six = cases.every_order(6)
    cost = both[six, 6].sum(axis=1) * 2 - both[six[:, 0], 6] - both[six[:, -1], 6]
    assert found.cost == pytest.approx(cost.min(), abs=1e-4)
    assert found.order[1::2] == ("c06",) * 5
    # Among orders with equal steps: the smoothest across the carrier.
    direct = step_matrix(yarns).direct
    across = direct[six[:, :-1], six[:, 1:]].sum(axis=1)
    told = [int(n[1:]) for n in found.order[::2]]
    assert direct[told[:-1], told[1:]].sum() == pytest.approx(across[cost < cost.min() + 1e-9].min(), abs=1e-9)


def test_no_blends_counts_the_solid_stripes_alone() -> None:
    from skimage.color import deltaE_ciede2000

    yarns, _, _ = setup(1014)
    lab = np.array([y.lab for y in yarns])
    direct = deltaE_ciede2000(np.broadcast_to(lab[:, None], (N, N, 3)), np.broadcast_to(lab[None], (N, N, 3)))
    found = find_order(yarns, Question(blend_rows=0))
    assert found.cost == pytest.approx(direct[EVERY[:, :-1], EVERY[:, 1:]].sum(axis=1).min(), abs=1e-6)
    assert all(s.via == "" for s in found.steps)


def test_a_mirror_for_the_other_aims() -> None:
    yarns, half, _ = setup(1015)
    for aim in ("even", "contrast", "steady"):
        there_and_back = np.concatenate([EVERY, EVERY[:, -2::-1]], axis=1)
        value = cases.values(aim, yarns, half, there_and_back)
        found = find_order(yarns, Question(aim=aim, constraints=Constraints(mirrored=True)))
        assert found.cost == pytest.approx(value.min(), abs=1e-4), aim

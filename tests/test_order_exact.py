"""The exact search against trying every order."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from blendplan.errors import StripeError, YarnError
from blendplan.order import AIMS, Constraints, find_order, step_matrix
from blendplan.yarn import Shade, Yarn


def palette(n: int, seed: int) -> tuple[Yarn, ...]:
    rng = np.random.default_rng(seed)
    return tuple(
        Yarn(name=f"c{i:02d}", shades=(Shade.from_hex("#{:02x}{:02x}{:02x}".format(*rng.integers(0, 256, 3))),))
        for i in range(n)
    )


@pytest.mark.parametrize("seed", range(4))
def test_smoothest_is_the_best_of_all_orders(seed: int) -> None:
    yarns = palette(7, 100 + seed)
    total = step_matrix(yarns).total
    every = np.array(list(permutations(range(7))))
    least = total[every[:, :-1], every[:, 1:]].sum(axis=1).min()
    found = find_order(yarns)
    assert found.exact
    assert found.cost == pytest.approx(least, abs=1e-9)
    assert sum(s.delta_e for s in found.steps) == pytest.approx(found.cost, abs=1e-9)


def test_bad_input_is_one_clear_line() -> None:
    yarns = palette(4, 1)
    with pytest.raises(YarnError, match="palette is empty"):
        find_order(())
    with pytest.raises(StripeError, match="only one colour"):
        find_order(yarns[:1])
    with pytest.raises(StripeError, match="'Sky' is not a colour"):
        find_order(yarns, constraints=Constraints(first="Sky"))
    with pytest.raises(StripeError, match="is not an aim"):
        find_order(yarns, aim="prettiest")
    assert "smoothest" in AIMS

"""All pairs of a palette, and the blends nearest to a wanted colour."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations_with_replacement

import numpy as np
import pytest

from blendplan.blend.advice import nearest_blends
from blendplan.blend.pair import mix, mix_yarns, pair_labs
from blendplan.blend.strands import Viewing
from blendplan.colour import delta_e_2000, hex_to_lab
from blendplan.errors import ColourError, QuantityError, YarnError
from blendplan.yarn import Shade, Yarn


def colours(count: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform([15, -45, -45], [92, 45, 45], (count, 3))


def yarns(count: int, seed: int, *, weights: bool = False) -> list[Yarn]:
    rng = np.random.default_rng(seed)
    return [
        Yarn(
            name=f"Yarn {i}",
            shades=(Shade(lab=tuple(lab)),),
            grams=100,
            metres=int(rng.integers(80, 400)) if weights else None,
        )
        for i, lab in enumerate(colours(count, seed).tolist())
    ]


@pytest.mark.parametrize("from_m", [0.0, 2.0, math.inf])
def test_every_pair_of_a_table_is_the_single_blend(from_m: float) -> None:
    bench, viewing = yarns(6, 3, weights=True), Viewing(from_m=from_m)
    table = pair_labs(bench, viewing)
    np.testing.assert_array_equal(table, table.swapaxes(0, 1))
    for i in range(6):
        np.testing.assert_allclose(table[i, i], bench[i].lab, atol=1e-6)
        for j in range(i + 1, 6):
            one = mix_yarns([bench[i], bench[j]], viewing=viewing)
            np.testing.assert_allclose(table[i, j], one.lab, atol=1e-6)


@pytest.mark.parametrize("strands", [2, 3])
@pytest.mark.parametrize("known", ["none", "some", "all"])
def test_the_nearest_is_the_nearest_of_all(strands: int, known: str) -> None:
    """Against trying every combination one by one; put-ups known of no yarn, some, or all."""
    bench = yarns(7, 4, weights=known != "none")
    if known == "some":
        bench = [replace(y, grams=None, metres=None) if i % 2 else y for i, y in enumerate(bench)]
    wanted = (55.0, 12.0, -8.0)
    tried = []
    for chosen in combinations_with_replacement(bench, strands):
        blend = mix_yarns(chosen)
        tried.append((float(delta_e_2000(blend.lab, wanted)), tuple(y.name for y in chosen)))
    tried.sort()
    got = nearest_blends(wanted, bench, strands=strands, count=8)
    assert [m.strands for m in got] == [names for _, names in tried[:8]]
    np.testing.assert_allclose([m.difference for m in got], [d for d, _ in tried[:8]], atol=1e-9)


def test_a_wanted_colour_that_can_be_made_is_found() -> None:
    bench = yarns(12, 5)
    made = mix_yarns([bench[3], bench[8]])
    best = nearest_blends(made.lab, bench)[0]
    assert best.strands == ("Yarn 3", "Yarn 8") and best.difference < 1e-6
    solid = nearest_blends(bench[5].lab, bench)[0]
    assert solid.strands == ("Yarn 5", "Yarn 5") and solid.difference < 1e-6


def test_three_strands_give_unequal_shares() -> None:
    bench = [
        Yarn(name="Soot", shades=(Shade(lab=(10, 0, 0)),)),
        Yarn(name="Chalk", shades=(Shade(lab=(95, 0, 0)),)),
    ]
    wanted = mix([(10, 0, 0), (10, 0, 0), (95, 0, 0)]).lab
    best = nearest_blends(wanted, bench, strands=3)[0]
    assert best.strands == ("Soot", "Soot", "Chalk") and best.difference < 1e-6


def test_more_strands_never_do_worse_when_multiples_are_allowed() -> None:
    """From far away every two-strand blend of equal yarns is also a four-strand one (AB is AABB)."""
    far = Viewing(from_m=math.inf)
    bench = yarns(6, 6)
    for wanted in colours(5, 7).tolist():
        two, four = (nearest_blends(wanted, bench, viewing=far, strands=s, count=1)[0].difference for s in (2, 4))
        assert four <= two + 1e-9


def test_bad_wishes_are_refused() -> None:
    bench = yarns(3, 8)
    with pytest.raises(ColourError, match="three finite Lab numbers"):
        nearest_blends((1, 2), bench)
    with pytest.raises(ColourError, match="three finite Lab numbers"):
        nearest_blends((1, 2, float("nan")), bench)
    with pytest.raises(QuantityError, match="2 to 4"):
        nearest_blends((50, 0, 0), bench, strands=5)
    with pytest.raises(YarnError, match="palette is empty"):
        nearest_blends((50, 0, 0), [])
    with pytest.raises(ColourError, match="fewer yarns or strands"):
        nearest_blends((50, 0, 0), yarns(60, 9), strands=4)


def test_the_list_is_no_longer_than_the_blends_there_are() -> None:
    assert len(nearest_blends(hex_to_lab("#806040").tolist(), yarns(2, 10), count=50)) == 3

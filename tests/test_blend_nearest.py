"""The pair table and the blends nearest to a wanted colour."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations_with_replacement

import numpy as np
import pytest

from blendplan.blend.nearest import nearest_blends, pair_table
from blendplan.blend.pair import mix, mix_yarns
from blendplan.colour import delta_e_2000, hex_to_lab
from blendplan.errors import ColourError, QuantityError, YarnError
from blendplan.yarn import PutUp, Shade, Yarn


def colours(count: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform([15, -45, -45], [92, 45, 45], (count, 3))


def yarns(count: int, seed: int, *, weights: bool = False) -> list[Yarn]:
    rng = np.random.default_rng(seed)
    return [
        Yarn(
            name=f"Yarn {i}",
            shades=(Shade(lab=tuple(lab)),),
            put_up=PutUp(mass_g=100, length_m=int(rng.integers(80, 400))) if weights else None,
        )
        for i, lab in enumerate(colours(count, seed).tolist())
    ]


def test_ten_yarns_make_55_blends() -> None:
    """Trade facts 2e: all pairs and solids from n yarns are n (n + 1) / 2; ten make 55."""
    table = pair_table(colours(10, 1).tolist())
    assert table.size == 10 and table.blends == 55


def test_the_table_is_symmetric_with_solids_on_the_diagonal() -> None:
    labs = colours(9, 2)
    table = pair_table(labs.tolist(), member=1.6)
    for i in range(9):
        np.testing.assert_allclose(table.lab[i][i], labs[i], atol=1e-6)
        assert table.strand_difference[i][i] == 0
        for j in range(9):
            assert table.srgb[i][j] == table.srgb[j][i]
            assert table.lab[i][j] == table.lab[j][i]


@pytest.mark.parametrize("member", ["perceptual", "optical", 2.0])
def test_every_cell_is_the_single_blend(member: str | float) -> None:
    labs, widths = colours(6, 3).tolist(), [1.0, 2.0, 1.5, 0.7, 1.0, 3.0]
    table = pair_table(labs, widths=widths, member=member)
    for i in range(6):
        for j in range(i, 6):
            one = mix([labs[i], labs[j]], shares=(widths[i], widths[j]), member=member)
            assert table.srgb[i][j] == one.srgb
            np.testing.assert_allclose(table.lab[i][j], one.lab, atol=1e-9)
            assert table.strand_difference[i][j] == pytest.approx(one.strand_difference, abs=1e-9)


@pytest.mark.parametrize("bad", [[], [(1, 2)], [(1, 2, float("inf"))]])
def test_a_table_of_nothing_is_refused(bad: list[tuple[float, ...]]) -> None:
    with pytest.raises(ColourError, match="one colour or more"):
        pair_table(bad)
    with pytest.raises(ColourError, match="201 yarns were given for a table of pairs; allowed is at most 200"):
        pair_table(colours(201, 1).tolist())
    with pytest.raises(ColourError, match="one for each"):
        pair_table([(50, 0, 0)], widths=[1, 2])


@pytest.mark.parametrize("strands", [2, 3])
@pytest.mark.parametrize("known", ["none", "some", "all"])
def test_the_nearest_is_the_nearest_of_all(strands: int, known: str) -> None:
    """Against trying every combination one by one; put-ups known of no yarn, some, or all."""
    bench = yarns(7, 4, weights=known != "none")
    if known == "some":
        bench = [replace(y, put_up=None) if i % 2 else y for i, y in enumerate(bench)]
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
    wanted = mix([(10, 0, 0), (95, 0, 0)], shares=(2, 1)).lab
    best = nearest_blends(wanted, bench, strands=3)[0]
    assert best.strands == ("Soot", "Soot", "Chalk") and best.difference < 1e-6


def test_more_strands_never_do_worse_when_multiples_are_allowed() -> None:
    """Every two-strand blend of equal yarns is also a four-strand one (AB is AABB)."""
    bench = yarns(6, 6)
    for wanted in colours(5, 7).tolist():
        two, four = (nearest_blends(wanted, bench, strands=s, count=1)[0].difference for s in (2, 4))
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

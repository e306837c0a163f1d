"""The model of two strands: laws, its ends, and path-traced panels that it was not fitted to."""

from __future__ import annotations

import csv
import itertools
import math
import warnings
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.blend.strands import (
    LENT,
    PLACES,
    STRAND_MM,
    Viewing,
    blend_linear,
    contrast_kept,
    lit_together,
    metres_of,
    seen_parts,
)
from blendplan.colour import (
    LINEAR_TO_LMS,
    delta_e_2000,
    hex_to_linear,
    linear_to_hex,
    linear_to_lab,
    linear_to_oklab,
    linear_to_xyz,
    oklab_to_linear,
    xyz_to_lab,
)
from blendplan.errors import ColourError, QuantityError

NEAR, FAR = Viewing(from_m=0.0), Viewing(from_m=math.inf)
unit = st.floats(0, 1, allow_subnormal=False)
rgb = st.tuples(unit, unit, unit)
metres = st.one_of(st.just(0.0), st.just(math.inf), st.floats(0.1, 1000))


def random_pairs(count: int = 2000) -> np.ndarray:
    return np.random.default_rng(20260101).uniform(0, 1, (count, 2, 3))


def read_panels(name: str) -> list[dict[str, str]]:
    with (Path(__file__).parent / "reference" / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def other_panels() -> list[dict[str, str]]:
    """The same of fourteen other pairs, traced apart (the head of the file says how)."""
    return read_panels("strand_panels_dyed.csv")


def panels() -> list[dict[str, str]]:
    """Path-traced panels of two strands 4.6 mm wide (a physical renderer), through the kernels of S-CIELAB, their
    colour the mean in Oklab with the relief divided out by a panel of one yarn; `far` is the mean of light."""
    return read_panels("strand_panels.csv")


def errors(rows: list[dict[str, str]], lent: float = LENT, width_mm: float = STRAND_MM) -> dict[str, list[float]]:
    """Return CIEDE2000 between the model and panels, by distance."""
    out: dict[str, list[float]] = {}
    for row in rows:
        pair = [hex_to_linear(row["strand_a"]), hex_to_linear(row["strand_b"])]
        viewing = Viewing(from_m=metres_of(row["seen_from_m"]), lent=lent)
        made = linear_to_lab(blend_linear(pair, viewing=viewing, strand_mm=width_mm))
        truth = [float(row[c]) for c in ("L", "a", "b")]
        out.setdefault(row["seen_from_m"], []).append(float(delta_e_2000(made, truth)))
    return out


# --- Panels ------------------------------------------------------------------------------------------------------


def test_path_traced_panels_are_met_at_every_distance() -> None:
    for distance, found in errors(panels()).items():
        print(f"{distance:>4} m: mean {np.mean(found):.2f} (goal 1.5), worst {max(found):.2f} (goal 3.5)")
        assert np.mean(found) <= 1.5 and max(found) <= 3.5


def fitted(rows: list[dict[str, str]]) -> float:
    """Return the light lent that fits panels best: the one number that is fitted to them."""

    def cost(lent: float) -> float:
        return float(np.mean(np.square(list(errors(rows, lent).values()))))

    return min(np.arange(0.2, 0.5, 0.02).tolist(), key=cost)


def left_out(rows: list[dict[str, str]]) -> dict[str, list[float]]:
    """Return CIEDE2000 by distance of pairs that had no part in the fit, each in turn."""
    left: dict[str, list[float]] = {}
    for pair in dict.fromkeys(row["pair"] for row in rows):
        best = fitted([row for row in rows if row["pair"] != pair])
        for distance, found in errors([row for row in rows if row["pair"] == pair], best).items():
            left.setdefault(distance, []).extend(found)
    return left


def test_pairs_left_out_of_the_fit_are_met_as_well() -> None:
    """The one fitted number, the light lent, is chosen without a pair and judged on it, each pair in turn.

    The width is not fitted here: it was measured on path-traced double crochet (`STRAND_MM`). Chosen on four pairs as
    well it comes out at 4 to 5, and the worst left-out panel of all (teal with ochre, 0.5 m) is 3.5 off.
    """
    for pair in dict.fromkeys(row["pair"] for row in panels()):
        assert abs(fitted([row for row in panels() if row["pair"] != pair]) - LENT) <= 0.05
    for distance, found in left_out(panels()).items():
        print(f"{distance:>4} m, left out: mean {np.mean(found):.2f} (goal 1.5), worst {max(found):.2f} (goal 3.5)")
        assert np.mean(found) <= 1.5 and max(found) <= 3.5


def test_panels_of_other_hues_and_another_maker_are_met_as_well() -> None:
    """Fourteen pairs of dyed yarn, mostly strong hues, in three arrangements; nothing here was fitted to them."""
    for panel in ("wound", "twist", "loops"):
        for distance, found in errors([r for r in other_panels() if r["panel"] == panel]).items():
            print(f"{panel} {distance:>4} m: mean {np.mean(found):.2f}, worst {max(found):.2f}")
    for distance, found in errors(other_panels()).items():
        print(f"{distance:>4} m: mean {np.mean(found):.2f} (goal 1.5), worst {max(found):.2f} (goal 3.5)")
        assert np.mean(found) <= 1.5 and max(found) <= 3.5


def test_the_light_that_strands_lend_each_other_is_worth_its_number() -> None:
    """Without it the far look of the panels is the plain mean of light, 1.7 off over ten pairs (colour facts, 3d)."""
    far = [row for row in panels() if row["seen_from_m"] == "far"]
    plain, lit = (np.mean(errors(far, lent)["far"]) for lent in (0.0, LENT))
    assert plain > 1.5 and lit < 0.5 * plain


# --- The ends ----------------------------------------------------------------------------------------------------


def test_the_near_end_is_the_mean_in_oklab_of_colour_science() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        outside = pytest.importorskip("colour")
    light = random_pairs()
    mean = outside.XYZ_to_Oklab(linear_to_xyz(light)).mean(axis=1)
    expected = xyz_to_lab(outside.Oklab_to_XYZ(mean))
    assert np.max(delta_e_2000(linear_to_lab(blend_linear(light, viewing=NEAR)), expected)) < 1e-4


@pytest.mark.parametrize(("one", "two", "chip"), [("#1f3b73", "#f2d16b", "#83877d"), ("#000000", "#ffffff", "#636363")])
def test_near_chips_of_a_separate_prototype(one: str, two: str, chip: str) -> None:
    """Computed before this package was written (colour facts, 2a), to 8-bit codes."""
    assert linear_to_hex(blend_linear([hex_to_linear(one), hex_to_linear(two)], viewing=NEAR)) == chip


@given(rgb, rgb, unit)
@settings(max_examples=100, deadline=None)
def test_the_far_end_is_the_mean_of_the_light_of_the_strands_as_they_lie(
    one: tuple[float, ...], two: tuple[float, ...], share: float
) -> None:
    lit = lit_together([one, two], (share, 1 - share))
    mean = share * lit[0] + (1 - share) * lit[1]
    np.testing.assert_allclose(blend_linear([one, two], (share, 1 - share), viewing=FAR), mean, rtol=0, atol=1e-12)
    plain = blend_linear([one, two], (share, 1 - share), viewing=Viewing(from_m=math.inf, lent=0.0))
    np.testing.assert_allclose(plain, share * np.array(one) + (1 - share) * np.array(two), rtol=0, atol=1e-12)


def test_what_lies_beside_a_strand_lights_it() -> None:
    white, black, grey = ([v] * 3 for v in (0.8, 0.02, 0.3))
    (among_dark, dark), (mid, _) = lit_together([white, black]), lit_together([grey, grey])
    assert among_dark[0] < 0.8 and dark[0] > 0.02
    np.testing.assert_allclose(mid, grey, atol=1e-12)


def test_light_bounced_by_hand() -> None:
    """Grey strands, a share c of their light from around: the series of all bounces, summed term by term."""
    own, c = np.array([0.9, 0.1]), LENT
    bounced, light = (1 - c) * own, (1 - c) * own
    for _ in range(200):
        bounced = own * c * bounced.mean()
        light = light + bounced
    solid = own * (1 - c) / (1 - c * own)
    made = lit_together([[v] * 3 for v in solid])
    np.testing.assert_allclose(made[:, 0], light, atol=1e-4)


# --- Between the ends --------------------------------------------------------------------------------------------


def test_contrast_kept_is_that_of_the_kernels() -> None:
    """Narrow luminance kernels of S-CIELAB: weights .921 and .105, spreads .0283 and .133 degrees (facts 2)."""
    assert contrast_kept(0.0) == pytest.approx(1.0)
    by_hand = (
        0.921 * math.exp(-((0.0283 * math.pi * 5) ** 2)) + 0.105 * math.exp(-((0.133 * math.pi * 5) ** 2))
    ) / 1.026
    assert contrast_kept(5.0) == pytest.approx(by_hand)
    assert np.all(np.diff(contrast_kept(np.linspace(0, 60, 400))) < 0)


@given(rgb, rgb, st.floats(0.05, 0.95), st.floats(0.3, 20))
@settings(max_examples=60, deadline=None)
def test_a_picture_of_strands_filtered_outside_gives_the_same(
    one: tuple[float, ...], two: tuple[float, ...], share: float, from_m: float
) -> None:
    """Stripes on a fine grid, blurred in light by scipy's Gaussians, and the mean in Oklab of what is left."""
    from scipy.ndimage import gaussian_filter1d

    lit, n = lit_together([one, two], (share, 1 - share)), 1200
    place = (np.arange(n) + 0.5) / n
    stripes = np.where((place < share)[:, None], lit[0], lit[1])
    px_per_degree = 17.45 * from_m * n / (2 * STRAND_MM)
    seen = sum(
        weight * gaussian_filter1d(stripes, spread / math.sqrt(2) * px_per_degree, axis=0, mode="wrap", truncate=6)
        for weight, spread in ((0.921 / 1.026, 0.0283), (0.105 / 1.026, 0.133))
    )
    expected = linear_to_lab(oklab_to_linear(linear_to_oklab(seen).mean(axis=0)))
    made = linear_to_lab(blend_linear([one, two], (share, 1 - share), viewing=Viewing(from_m=from_m)))
    assert float(delta_e_2000(made, expected)) < 0.5


@given(rgb, metres, st.integers(1, 5))
@settings(max_examples=150, deadline=None)
def test_strands_of_one_colour_give_that_colour(colour: tuple[float, ...], from_m: float, k: int) -> None:
    made = blend_linear([colour] * k, viewing=Viewing(from_m=from_m))
    np.testing.assert_allclose(made, colour, rtol=0, atol=1e-9)


@given(rgb, rgb, unit, metres)
@settings(max_examples=150, deadline=None)
def test_order_of_strands_does_not_matter(
    one: tuple[float, ...], two: tuple[float, ...], share: float, from_m: float
) -> None:
    viewing = Viewing(from_m=from_m)
    there = blend_linear([one, two], (share, 1 - share), viewing=viewing)
    back = blend_linear([two, one], (1 - share, share), viewing=viewing)
    np.testing.assert_allclose(there, back, rtol=0, atol=1e-9)


@given(rgb, rgb, metres)
@settings(max_examples=100, deadline=None)
def test_the_whole_share_gives_the_strand(one: tuple[float, ...], two: tuple[float, ...], from_m: float) -> None:
    viewing = Viewing(from_m=from_m)
    np.testing.assert_allclose(blend_linear([one, two], (1, 0), viewing=viewing), one, rtol=0, atol=1e-9)
    np.testing.assert_allclose(blend_linear([one, two], (0, 5), viewing=viewing), two, rtol=0, atol=1e-9)


@given(st.lists(unit, min_size=2, max_size=4), metres)
@settings(max_examples=150, deadline=None)
def test_grey_stays_grey(greys: list[float], from_m: float) -> None:
    made = blend_linear([[g] * 3 for g in greys], viewing=Viewing(from_m=from_m))
    # Oklab's cones answer to white with 1 only to four digits.
    assert np.ptp(made) < 2e-4
    assert 0.4 * min(greys) - 1e-9 <= made.min() and made.max() <= max(greys) + 1e-9


def test_farther_is_lighter_and_wider_strands_are_nearer() -> None:
    """In every cone the mean of cube roots rises as contrast falls (concavity); width and distance count by ratio."""
    light = random_pairs(500)
    cones = [blend_linear(light, viewing=Viewing(from_m=m)) @ LINEAR_TO_LMS.T for m in (0.5, 1, 2, 4, 8, math.inf)]
    assert all(np.all(b - a > -1e-3) for a, b in itertools.pairwise(cones))
    twice = blend_linear(light, viewing=Viewing(from_m=4.0), strand_mm=2 * STRAND_MM)
    np.testing.assert_allclose(twice, blend_linear(light, viewing=Viewing(from_m=2.0)), rtol=0, atol=1e-12)


def test_many_at_once_with_widths_of_their_own_are_the_single_ones() -> None:
    rng = np.random.default_rng(3)
    light, shares, widths = random_pairs(60), rng.uniform(0.2, 1, (60, 2)), rng.uniform(2, 8, 60)
    together = blend_linear(light, shares, strand_mm=widths)
    for i in range(60):
        one = blend_linear(light[i], shares[i], strand_mm=float(widths[i]))
        np.testing.assert_allclose(together[i], one, rtol=0, atol=1e-9)


def test_three_strands_and_unequal_shares() -> None:
    a, b, c = hex_to_linear("#204060"), hex_to_linear("#c08030"), hex_to_linear("#e0e0d0")
    far = blend_linear([a, a, b], viewing=FAR)
    np.testing.assert_allclose(far, blend_linear([a, b], (2, 1), viewing=FAR), atol=1e-12)
    parts, share = seen_parts([a, b, c], viewing=Viewing(from_m=0.5))
    assert share.sum() == pytest.approx(1) and len(parts) == len(share) >= 3
    np.testing.assert_allclose(share @ parts, lit_together([a, b, c]).mean(axis=0), atol=1e-4)
    assert len(seen_parts([a, b], viewing=FAR)[0]) == 1


def test_light_outside_the_gamut_stays_finite() -> None:
    wild = np.random.default_rng(7).uniform(-0.3, 1.4, (5000, 2, 3))
    for viewing in (NEAR, Viewing(), FAR):
        assert np.isfinite(blend_linear(wild, viewing=viewing)).all()


# --- Input -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("shares", [(0, 0), (-1, 2), (float("nan"), 1), (float("inf"), 1)])
def test_bad_shares_are_refused(shares: tuple[float, float]) -> None:
    with pytest.raises(ColourError, match="positive sum"):
        blend_linear([[0, 0, 0], [1, 1, 1]], shares)


@pytest.mark.parametrize("given_distance", ["close", "", "nan", "inf", None, "0", "-2", 0.01, "1e4", "perceptual"])
def test_bad_distances_are_one_clear_line(given_distance: object) -> None:
    with pytest.raises(ColourError, match=r"metres from 0.1 to 1000"):
        metres_of(given_distance)  # type: ignore[arg-type]


def test_distances_by_name_and_number() -> None:
    """Names and metres of the page: hand .5, lap 1, sofa 2, across the room 4, far."""
    assert [metres_of(n) for n in ("near", "hand", "lap", "sofa", "room", "far")] == [0.0, 0.5, 1, 2, 4, math.inf]
    assert metres_of("2,5") == 2.5 and metres_of(3) == 3.0 and Viewing().from_m == PLACES["sofa"]
    with pytest.raises(QuantityError):
        Viewing(from_m=0.05)
    with pytest.raises(QuantityError):
        Viewing(lent=0.9)

"""The blend family: identities over random pairs, laws, and chips worked outside the package."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.blend.family import blend_linear, member_n
from blendplan.colour import (
    delta_e_2000,
    hex_to_linear,
    linear_to_hex,
    linear_to_lab,
    linear_to_oklab,
    oklab_to_linear,
)
from blendplan.errors import ColourError, QuantityError

PAIRS_SEED = 20260101
unit = st.floats(0, 1, allow_subnormal=False)
rgb = st.tuples(unit, unit, unit)
member = st.floats(1, 3)


def random_pairs(count: int = 10_000) -> np.ndarray:
    return np.random.default_rng(PAIRS_SEED).uniform(0, 1, (count, 2, 3))


def test_member_3_is_the_mean_in_oklab() -> None:
    light = random_pairs()
    expected = oklab_to_linear(linear_to_oklab(light).mean(axis=1))
    assert np.max(delta_e_2000(linear_to_lab(blend_linear(light, n=3)), linear_to_lab(expected))) < 1e-6


def test_member_3_is_the_mean_in_the_oklab_of_colour_science() -> None:
    """The same with the outside library's own conversions both ways."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        outside = pytest.importorskip("colour")
    light = random_pairs(2000)
    from blendplan.colour import linear_to_xyz, xyz_to_lab

    mean = outside.XYZ_to_Oklab(linear_to_xyz(light)).mean(axis=1)
    expected = xyz_to_lab(outside.Oklab_to_XYZ(mean))
    assert np.max(delta_e_2000(linear_to_lab(blend_linear(light, n=3)), expected)) < 1e-4


def test_member_1_is_the_mean_of_light() -> None:
    light = random_pairs()
    np.testing.assert_allclose(blend_linear(light, n=1), light.mean(axis=1), rtol=0, atol=1e-12)


@pytest.mark.parametrize("shares", [(0.3, 0.7), (1, 3)])
def test_shares_weigh_the_mean(shares: tuple[float, float]) -> None:
    light = random_pairs(2000)
    w = np.array(shares) / sum(shares)
    oklab = np.einsum("k,nkc->nc", w, linear_to_oklab(light))
    np.testing.assert_allclose(blend_linear(light, shares, n=3), oklab_to_linear(oklab), rtol=0, atol=1e-12)
    np.testing.assert_allclose(blend_linear(light, shares, n=1), np.einsum("k,nkc->nc", w, light), rtol=0, atol=1e-12)


# Chips computed by a separate prototype before this package was written (colour facts, 2a), to 8-bit codes.
CHIPS = [
    ("#1f3b73", "#f2d16b", 1.0, "#b39e6f"),
    ("#1f3b73", "#f2d16b", 3.0, "#83877d"),
    ("#000000", "#ffffff", 1.0, "#bcbcbc"),
    ("#000000", "#ffffff", 1.5, "#a0a0a0"),
    ("#000000", "#ffffff", 2.0, "#898989"),
    ("#000000", "#ffffff", 3.0, "#636363"),
]


@pytest.mark.parametrize(("one", "two", "n", "expected"), CHIPS)
def test_check_chips(one: str, two: str, n: float, expected: str) -> None:
    assert linear_to_hex(blend_linear([hex_to_linear(one), hex_to_linear(two)], n=n)) == expected


@pytest.mark.parametrize("n", [1.0, 1.5, 2.0, 3.0])
def test_black_and_white_by_hand(n: float) -> None:
    """Half of 0^(1/n) and half of 1^(1/n), raised to n, is 2^-n of the white light."""
    np.testing.assert_allclose(blend_linear([[0, 0, 0], [1, 1, 1]], n=n), [2.0**-n] * 3, rtol=0, atol=1e-9)


def test_how_far_the_ends_are_apart() -> None:
    """Mean, 95th percentile and largest CIEDE2000 of n = 1 from the Oklab mean: 6.02, 17.03, 31.87 (colour facts).

    Those are from another 10,000 pairs, uniform in sRGB codes, so the mean must agree to about 2 %.
    """
    from blendplan.colour import srgb_to_linear

    light = srgb_to_linear(random_pairs())
    apart = delta_e_2000(linear_to_lab(blend_linear(light, n=1)), linear_to_lab(blend_linear(light, n=3)))
    assert float(np.mean(apart)) == pytest.approx(6.02, rel=0.03)
    assert float(np.quantile(apart, 0.95)) == pytest.approx(17.03, rel=0.05)


@given(rgb, rgb, unit, member)
@settings(max_examples=200)
def test_order_of_strands_does_not_matter(
    one: tuple[float, ...], two: tuple[float, ...], share: float, n: float
) -> None:
    there = blend_linear([one, two], (share, 1 - share), n=n)
    np.testing.assert_allclose(there, blend_linear([two, one], (1 - share, share), n=n), rtol=0, atol=1e-12)


@given(rgb, member, st.integers(1, 5))
@settings(max_examples=200)
def test_strands_of_one_colour_give_that_colour(colour: tuple[float, ...], n: float, k: int) -> None:
    np.testing.assert_allclose(blend_linear([colour] * k, n=n), colour, rtol=0, atol=1e-9)


@given(rgb, rgb, member)
@settings(max_examples=200)
def test_the_whole_share_gives_the_strand(one: tuple[float, ...], two: tuple[float, ...], n: float) -> None:
    np.testing.assert_allclose(blend_linear([one, two], (1, 0), n=n), one, rtol=0, atol=1e-9)
    np.testing.assert_allclose(blend_linear([one, two], (0, 5), n=n), two, rtol=0, atol=1e-9)


@given(st.lists(unit, min_size=2, max_size=4), member)
@settings(max_examples=200)
def test_grey_stays_grey(greys: list[float], n: float) -> None:
    made = blend_linear([[g] * 3 for g in greys], n=n)
    assert np.ptp(made) < 1e-6
    assert min(greys) - 1e-9 <= made.min() and made.max() <= max(greys) + 1e-9


@given(rgb, rgb, unit, unit, member)
@settings(max_examples=200)
def test_every_cone_response_is_monotone_in_share(
    one: tuple[float, ...], two: tuple[float, ...], share: float, more: float, n: float
) -> None:
    from blendplan.colour import LINEAR_TO_LMS

    low, high = sorted((share, more))
    a, b = (blend_linear([one, two], (1 - s, s), n=n) @ LINEAR_TO_LMS.T for s in (low, high))
    towards = np.array(two) @ LINEAR_TO_LMS.T - np.array(one) @ LINEAR_TO_LMS.T
    assert np.all((b - a) * np.sign(towards) >= -1e-9)


@given(rgb, rgb, member, member)
@settings(max_examples=200)
def test_a_member_nearer_to_1_is_lighter_in_every_cone(
    one: tuple[float, ...], two: tuple[float, ...], n: float, m: float
) -> None:
    """The power mean grows with its exponent (a standard inequality; Hardy, Littlewood, Polya)."""
    from blendplan.colour import LINEAR_TO_LMS

    low, high = sorted((n, m))
    assert np.all((blend_linear([one, two], n=low) - blend_linear([one, two], n=high)) @ LINEAR_TO_LMS.T >= -1e-9)


def test_three_and_more_strands_equal_strands_with_shares() -> None:
    light = random_pairs(500)
    a, b = light[:, 0], light[:, 1]
    for n in (1.0, 1.7, 3.0):
        three = blend_linear(np.stack([a, a, b], axis=1), n=n)
        np.testing.assert_allclose(three, blend_linear(light, (2, 1), n=n), rtol=0, atol=1e-12)


def test_many_members_at_once() -> None:
    pair = random_pairs(1)[0]
    members = np.array([1.0, 1.5, 2.2, 3.0])
    together = blend_linear(pair, n=members)
    assert together.shape == (4, 3)
    for row, n in zip(together, members, strict=True):
        np.testing.assert_allclose(row, blend_linear(pair, n=n), rtol=0, atol=1e-14)


def test_light_outside_the_gamut_stays_finite() -> None:
    wild = np.random.default_rng(7).uniform(-0.3, 1.4, (5000, 2, 3))
    for n in (1.0, 1.3, 3.0):
        assert np.isfinite(blend_linear(wild, n=n)).all()


def test_a_colour_outside_the_gamut_blends_to_itself_and_scales_with_light() -> None:
    wild = np.random.default_rng(9).uniform(-0.4, 1.6, (2000, 3))
    other = np.random.default_rng(10).uniform(-0.4, 1.6, (2000, 3))
    for n in (1.0, 1.7, 3.0):
        np.testing.assert_allclose(blend_linear(np.stack([wild, wild], axis=1), n=n), wild, rtol=0, atol=1e-9)
        # A power mean is homogeneous: half the light, half the blend.
        full, half = (blend_linear(f * np.stack([wild, other], axis=1), n=n) for f in (1.0, 0.5))
        np.testing.assert_allclose(half, full / 2, rtol=0, atol=1e-9)


@pytest.mark.parametrize("shares", [(0, 0), (-1, 2), (float("nan"), 1), (float("inf"), 1)])
def test_bad_shares_are_refused(shares: tuple[float, float]) -> None:
    with pytest.raises(ColourError, match="positive sum"):
        blend_linear([[0, 0, 0], [1, 1, 1]], shares)


@pytest.mark.parametrize("given_member", ["near", "", "nan", "inf", None])
def test_bad_members_are_refused(given_member: object) -> None:
    with pytest.raises((ColourError, QuantityError), match="perceptual, optical or a number from 1 to 3"):
        member_n(given_member)  # type: ignore[arg-type]


@pytest.mark.parametrize("given_member", [0.99, 3.01, -2, "0"])
def test_members_out_of_range_are_refused(given_member: object) -> None:
    with pytest.raises(ColourError, match="1 to 3"):
        member_n(given_member)  # type: ignore[arg-type]


def test_members_by_name_and_number() -> None:
    assert (member_n("perceptual"), member_n("optical"), member_n(2), member_n("1,5")) == (3.0, 1.0, 2.0, 1.5)

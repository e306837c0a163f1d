"""One blend: its range, gamut rule, uncertainty, shares and words."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.blend.advice import nearest_blends
from blendplan.blend.pair import (
    COMMON_LIGHTNESS,
    P90_OF_SIGMA,
    Blend,
    blend_bound,
    blend_labs,
    draw_labs,
    draw_shades,
    mix,
    mix_yarns,
    mixed_lab,
    pair_labs,
    strand_mm,
    visible_shares,
)
from blendplan.blend.strands import READS, Viewing, read_strands
from blendplan.colour import (
    LINEAR_TO_XYZ,
    delta_e_2000,
    hex_to_lab,
    lab_to_linear,
    linear_to_lab,
    linear_to_oklab,
    oklab_to_linear,
)
from blendplan.errors import ColourError, QuantityError
from blendplan.yarn import Shade, Yarn

lab = st.tuples(st.floats(0, 100), st.floats(-60, 60), st.floats(-60, 60))
share = st.floats(0, 1)


def yarn(name: str, hex_code: str = "#806040", m_per_100g: int | None = None, u: float | None = None) -> Yarn:
    shade = Shade(lab=tuple(hex_to_lab(hex_code).tolist()), within=u)  # type: ignore[arg-type]
    return Yarn(
        name=name,
        shades=(shade,),
        grams=100,
        metres=m_per_100g,
    )


def test_both_ends_are_shown_whatever_the_distance() -> None:
    strands = [hex_to_lab("#1f3b73").tolist(), hex_to_lab("#f2d16b").tolist()]
    near, sofa, far = (mix(strands, viewing=Viewing(from_m=m)) for m in (0.0, 2.0, math.inf))
    # The near end is the Oklab mean of a separate prototype (colour facts, 2a).
    assert {b.near for b in (near, sofa, far)} == {"#83877d"} == {near.srgb}
    assert {b.far for b in (near, sofa, far)} == {far.srgb}
    assert near.lab[0] < sofa.lab[0] < far.lab[0] and sofa == mix(strands)


@given(lab, lab, share)
@settings(max_examples=150, deadline=None)
def test_order_of_strands_does_not_matter(one: tuple[float, ...], two: tuple[float, ...], s: float) -> None:
    there, back = mix([one, two], shares=(s, 1 - s)), mix([two, one], shares=(1 - s, s))
    np.testing.assert_allclose(there.lab, back.lab, atol=1e-6)
    assert there.reads_as == back.reads_as
    assert there.strand_difference == pytest.approx(back.strand_difference, abs=1e-9)


@given(lab, lab, share, st.sampled_from([0.0, 0.5, 2.0, 40.0, math.inf]))
@settings(max_examples=150, deadline=None)
def test_a_blend_is_always_whole(one: tuple[float, ...], two: tuple[float, ...], s: float, m: float) -> None:
    made = mix([one, two], shares=(s, 1 - s), viewing=Viewing(from_m=m))
    assert all(map(math.isfinite, made.lab))
    assert made.reads_as in READS
    text = json.dumps(made.to_json(), allow_nan=False)
    assert set(json.loads(text)) == {
        "srgb",
        "lab",
        "seen_from_m",
        "near",
        "far",
        "strand_difference",
        "within",
        "reads_as",
        "notices",
    }
    for code in (made.srgb, made.near, made.far):
        assert len(code) == 7


def test_a_blend_outside_the_screen_keeps_its_hue_and_says_so() -> None:
    rng = np.random.default_rng(31)
    found = 0
    for codes in rng.uniform(0, 1, (4000, 2, 3)) > 0.5:  # corners of the sRGB cube: the strongest pairs
        strands = [hex_to_lab("#" + "".join("ff" if c else "00" for c in s)).tolist() for s in codes]
        made = mix(strands, viewing=Viewing(from_m=0.0))
        if np.all(np.abs(lab_to_linear(made.lab) - 0.5) < 0.5 + 1e-6):
            assert not any("screen" in n.text for n in made.notices)
            continue
        found += 1
        assert any("hue and lightness kept" in n.text for n in made.notices)
        raw = linear_to_oklab(lab_to_linear(made.lab))
        shown = linear_to_oklab(lab_to_linear(hex_to_lab(made.srgb)))
        assert shown[0] == pytest.approx(raw[0], abs=0.01)
        if math.hypot(*shown[1:]) > 0.05:
            assert abs(np.angle(complex(raw[1], raw[2]) / complex(shown[1], shown[2]))) < 0.05
        if found == 40:
            break
    assert found, "no pair of these left the gamut, so the rule was not tried"


@pytest.mark.parametrize("bad", [[], [(1, 2)], [(1, 2, 3, 4)], "abc", None, [(1, 2, float("nan"))], [(0, 0, 0)] * 9])
def test_bad_strands_are_refused_in_one_line(bad: object) -> None:
    with pytest.raises(ColourError) as caught:
        mix(bad)  # type: ignore[arg-type]
    assert "\n" not in str(caught.value) and ";" in str(caught.value)


@pytest.mark.parametrize("shares", [(1,), (0, 0), (-1, 2), (float("nan"), 1), ("x", 1), (1, 1, 1)])
def test_bad_shares_are_refused(shares: tuple[object, ...]) -> None:
    with pytest.raises((ColourError, QuantityError)):
        mix([(0, 0, 0), (100, 0, 0)], shares=shares)  # type: ignore[arg-type]


def test_a_wide_range_is_told() -> None:
    assert any("swatch" in n.text for n in mix([(5, 0, 0), (95, 0, 0)]).notices)
    assert mix([(50, 5, 5), (58, 5, 9)]).notices == ()


# --- Shares ------------------------------------------------------------------------------------------------------


def test_visible_shares_go_with_the_root_of_tex() -> None:
    """Trade facts 2a: areas add, so thickness grows with the root; 400 and 800 m per 100 g give 1 to 0.7071."""
    thick, thin = yarn("Peat", m_per_100g=400), yarn("Fog", m_per_100g=800)
    got = visible_shares([thick, thin])
    assert got == pytest.approx((math.sqrt(2) / (1 + math.sqrt(2)), 1 / (1 + math.sqrt(2))), abs=1e-12)
    assert sum(got) == pytest.approx(1, abs=1e-15)


def test_visible_shares_are_equal_where_a_put_up_is_missing() -> None:
    assert visible_shares([yarn("Peat", m_per_100g=100), yarn("Fog")]) == (0.5, 0.5)
    assert visible_shares([]) == ()
    assert strand_mm(yarn("Fog")) is None


def test_width_comes_from_the_band_or_else_the_class() -> None:
    """Trade facts, 1: 180 m in 100 g for medium and 35 for jumbo, so a jumbo strand is 2.27 times as wide."""
    jumbo = Yarn(name="Rope", shades=(Shade(lab=(50, 0, 0)),), weight_class=7)
    medium = Yarn(name="Peat", shades=(Shade(lab=(50, 0, 0)),), weight_class=4)
    one, two = strand_mm(jumbo), strand_mm(medium)
    assert one is not None and two is not None and one / two == pytest.approx(math.sqrt(180 / 35))
    assert visible_shares([jumbo, medium])[0] == pytest.approx(one / (one + two))
    assert strand_mm(yarn("Fog", m_per_100g=180)) == pytest.approx(two)


def test_thin_strands_fuse_sooner() -> None:
    def pair(metres: int) -> list[Yarn]:
        return [yarn("Peat", "#202428", metres), yarn("Fog", "#e4ddcc", metres)]

    thick, thin = (mix_yarns(pair(m)) for m in (80, 400))
    assert thick.lab[0] < thin.lab[0] < mix_yarns(pair(400), viewing=Viewing(from_m=math.inf)).lab[0]


def test_one_answer_for_a_pair_wherever_it_is_asked() -> None:
    yarns = [yarn("Peat", "#3b2a20", 100), yarn("Fog", "#d8dcdd", 400), yarn("Moss", "#5f7048"), yarn("Ink", "#1f3b73")]
    for viewing in (None, Viewing(from_m=4.0)):
        table = pair_labs(yarns, viewing)
        for i, one in enumerate(yarns):
            for j, two in enumerate(yarns):
                made = mix_yarns([one, two], viewing=viewing).lab
                np.testing.assert_allclose(table[i, j], made, atol=1e-6)
                np.testing.assert_allclose(mixed_lab([one, two], viewing), made, atol=1e-9)


def test_mix_of_yarns_uses_shares_and_bounds() -> None:
    a, b = yarn("Peat", "#3b2a20", 100, u=3.0), yarn("Fog", "#d8dcdd", 400, u=2.0)
    made = mix_yarns([a, b])
    assert made.shares == pytest.approx((2 / 3, 1 / 3))
    assert made.lab == pytest.approx(mix([a.lab, b.lab], shares=(2, 1), width_mm=(4 * 1.8**0.5 + 2 * 1.8**0.5) / 2).lab)
    assert made.within is not None and 1.0 < made.within < 4.5
    assert mix_yarns([a, yarn("Chalk", "#f0f0f0", 400)]).within is None


def test_the_least_sure_shade_of_a_yarn_counts() -> None:
    def many(*us: float | None) -> Yarn:
        return Yarn(name="Two", shades=tuple(Shade(lab=(50.0, 0.0, 0.0), share=0.5, within=u) for u in us))

    other = yarn("Fog", "#c8ccd0", u=1.0)
    sure, less = (mix_yarns([many(*us), other]).within for us in ((1.0, 1.0), (1.0, 5.0)))
    assert sure is not None and less is not None and less > 1.5 * sure
    assert mix_yarns([many(1.0, 5.0), other]).within == mix_yarns([many(5.0, 5.0), other]).within
    assert mix_yarns([many(1.0, None), other]).within is None


def test_what_is_assumed_of_strands_of_unknown_width_is_told() -> None:
    known, bare = yarn("Peat", m_per_100g=100), yarn("Fog")
    for pair, names in (([known, bare], "Fog"), ([bare, yarn("Mist")], "Fog, Mist"), ([bare, bare], "Fog")):
        assert [n.text for n in mix_yarns(pair).notices if n.level == "assumed"] == [
            f"neither weight class nor grams and metres of {names} are known, so strands are taken to show equally and "
            "these to be as wide as medium yarn; fill them in from the band."
        ]
    # Nothing is missing, or there is one strand alone: there is nothing to tell.
    for strands in ([known, yarn("Bog", m_per_100g=300)], [bare]):
        assert not [n for n in mix_yarns(strands).notices if n.level == "assumed"]
    light = Yarn(name="Lace", shades=(Shade(lab=(50, 0, 0)),), weight_class=0)
    heavy = Yarn(name="Rope", shades=(Shade(lab=(50, 0, 0)),), weight_class=6)
    assert not mix_yarns([light, heavy]).notices


@pytest.mark.parametrize("from_m", [0.0, 0.5, 2.0, 8.0, math.inf])
def test_a_yarn_of_several_shades_is_the_mean_of_the_blends_along_it(from_m: float) -> None:
    """Runs of a colour are longer than the eye melts, so each is blended apart and the mean in Oklab taken."""
    rng = np.random.default_rng(5)
    viewing = Viewing(from_m=from_m)
    for _ in range(20):
        labs = linear_to_lab(np.clip(oklab_to_linear(rng.uniform([0.3, -0.1, -0.1], [0.9, 0.1, 0.1], (3, 3))), 0, 1))
        parts = (0.3, 0.7)
        shades = tuple(Shade(lab=tuple(x), share=part) for x, part in zip(labs[:2].tolist(), parts, strict=True))
        many, plain = Yarn(name="Rock Pool", shades=shades), Yarn(name="Fog", shades=(Shade(lab=tuple(labs[2])),))
        each = blend_labs([[x, labs[2]] for x in labs[:2]], viewing=viewing)
        oklab = linear_to_oklab(lab_to_linear(each))
        along = linear_to_lab(oklab_to_linear(parts[0] * oklab[0] + parts[1] * oklab[1]))
        made = mix_yarns([many, plain], viewing=viewing)
        assert float(delta_e_2000(made.lab, along)) < 0.01
        # The same colour in the table of pairs, in stripes, and where a colour is looked for.
        for other in (pair_labs([plain, many], viewing)[0, 1], mixed_lab([plain, many], viewing)):
            np.testing.assert_allclose(other, made.lab, atol=1e-6)
        (match,) = nearest_blends(made.lab, [many, plain], viewing=viewing, count=1)
        assert match.difference < 0.01 and set(match.strands) == {"Rock Pool", "Fog"}


def test_a_yarn_of_several_shades_wanders_and_says_between_what() -> None:
    plain = yarn("Fog", "#c8ccd0")
    ends = (Shade(lab=(30.0, 10.0, -20.0), share=0.5), Shade(lab=(70.0, -5.0, 20.0), share=0.5))
    many = Yarn(name="Rock Pool", shades=ends)
    made = mix_yarns([plain, many])
    (said,) = [n for n in made.notices if "wanders" in n.text]
    values = dict(said.values)
    assert (
        values["dark"] == mix([plain.lab, ends[0].lab]).srgb and values["light"] == mix([plain.lab, ends[1].lab]).srgb
    )
    # Two strands of it: both may be dark, or both light, at once.
    (said,) = [n for n in mix_yarns([many, many]).notices if "wanders" in n.text]
    assert dict(said.values)["dark"] == many.shades[0].srgb


# --- Uncertainty -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("colour", ["#b35c37", "#1f3b73", "#808080", "#e8e4d0", "#2f7d4f"])
def test_drawn_errors_have_the_stated_90_percent_point(colour: str) -> None:
    """Draws of a seed of its own, held against the whole formula; CIEDE2000 bends a little over such steps."""
    centre = hex_to_lab(colour)
    draws = draw_labs(centre.tolist(), 2.0, np.random.default_rng(99).standard_normal((20_000, 3)))
    assert float(np.quantile(delta_e_2000(draws, centre), 0.9)) == pytest.approx(2.0, rel=0.04)


def test_90_percent_point_of_three_normals() -> None:
    from scipy.stats import chi

    assert chi(3).ppf(0.9) == pytest.approx(P90_OF_SIGMA, abs=1e-4)


def test_one_strand_keeps_its_uncertainty() -> None:
    centre = [(55.0, 0.0, 0.0)]
    assert blend_bound(centre, [3.0]) == pytest.approx(3.0, rel=0.1)


def test_lightness_errs_in_common_and_colour_does_not() -> None:
    """Two greys: the spread of their mean is (1 + .57) / 2 of the variance along L*, 1 / 2 along the others."""
    drawn = draw_shades([(50.0, 0.0, 0.0), (54.0, 0.0, 0.0)], [3.0, 3.0], 20_000)
    one, mean = drawn[:, 0].var(axis=0), drawn.mean(axis=1).var(axis=0)
    np.testing.assert_allclose(mean / one, [(1 + COMMON_LIGHTNESS) / 2, 0.5, 0.5], rtol=0.06)
    apart = draw_shades([(50.0, 0.0, 0.0), (54.0, 0.0, 0.0)], [3.0, 3.0], 20_000, photos=["one", "two"])
    own = draw_shades([(50.0, 0.0, 0.0), (54.0, 0.0, 0.0)], [3.0, 3.0], 20_000, photos=["", ""])
    for drawn in (apart, own):
        assert np.corrcoef(drawn[:, 0, 0], drawn[:, 1, 0])[0, 1] == pytest.approx(0.0, abs=0.03)
    assert np.all(draw_shades([(50.0, 1.0, 2.0)], [None], 5) == [50.0, 1.0, 2.0])


def test_uncertainty_grows_with_that_of_the_strands_and_is_the_same_each_time() -> None:
    strands = [(30.0, 10.0, -20.0), (70.0, 5.0, 40.0)]
    low, high = (blend_bound(strands, [u, u]) for u in (1.0, 4.0))
    assert high == pytest.approx(4 * low, rel=0.15)
    assert low == blend_bound(strands, [1.0, 1.0])
    assert blend_bound(strands, [0.0, 0.0]) == pytest.approx(0, abs=1e-6)


# --- How it reads ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("one", "two", "shares", "code"),
    [
        ((50, 10, 10), (50, 10, 10), None, "solid"),
        ((50, 10, 10), (53, 11, 12), None, "tonal"),
        ((50, 10, 10), (62, 14, 22), None, "heathered"),
        ((50, 45, 20), (55, -40, 10), None, "shot"),
        ((40, 0, 0), (65, 0, 0), None, "marled"),
        ((20, 0, 0), (85, 0, 0), None, "barber-poled"),
        ((20, 0, 0), (85, 0, 0), (0.9, 0.1), "flecked"),
        ((20, 0, 0), (85, 0, 0), (1, 0), "solid"),
    ],
)
def test_words(one: tuple[int, ...], two: tuple[int, ...], shares: tuple[float, ...] | None, code: str) -> None:
    assert read_strands([one, two], shares).code == code


def test_the_strongest_pair_of_three_strands_decides() -> None:
    got = read_strands([(50, 0, 0), (52, 0, 0), (95, 0, 0)])
    assert got.code == "barber-poled" and got.lightness_gap == 45


def test_contrast_never_softens_the_word() -> None:
    order = ["solid", "tonal", "heathered", "marled", "barber-poled"]
    ranks = [order.index(read_strands([(10, 0, 0), (10 + gap, 0, 0)]).code) for gap in range(0, 90)]
    assert ranks == sorted(ranks) and set(ranks) == {0, 1, 2, 3, 4}


def s_cielab(row: np.ndarray, px_per_cm: float, distance_cm: float) -> np.ndarray:
    """Return light in a row as S-CIELAB's three channels leave it, colour blurred more than light; CIELAB.

    Zhang and Wandell 1996: opponent matrix, weights and half-height full widths (degrees) as in the authors' code,
    without the luminance channel's negative lobe.
    """
    from scipy.ndimage import gaussian_filter1d

    opponent = np.array([[0.2787, 0.7218, -0.1066], [-0.4488, 0.2898, 0.0772], [0.0860, -0.5900, 0.5011]])
    kernels = (
        ((1.00327, 0.05), (0.114416, 0.225)),
        ((0.616725, 0.0685), (0.383275, 0.826)),
        ((0.567885, 0.092), (0.432115, 0.6451)),
    )
    px_per_degree = 2 * distance_cm * np.tan(np.radians(0.5)) * px_per_cm
    into = opponent @ LINEAR_TO_XYZ
    planes = (row @ into.T).T
    for c, kernel in enumerate(kernels):
        total = sum(w for w, _ in kernel)
        planes[c] = sum(
            w / total * gaussian_filter1d(planes[c], d / 2.3548 * px_per_degree, mode="wrap") for w, d in kernel
        )
    return linear_to_lab(np.clip(planes.T @ np.linalg.inv(into).T, 0, 1))


def test_the_words_keep_their_order_through_the_filters_of_the_eye() -> None:
    """S-CIELAB (Zhang and Wandell 1996) on strands with 4 mm runs of colour, seen from 6 m and from 60 cm.

    What remains of the strands' difference must rise from tonal to barber-poled; strands of like lightness must melt
    although they differ as much as marled ones in the hand.
    """
    rng = np.random.default_rng(606)
    left: dict[float, dict[str, list[float]]] = {60.0: {}, 600.0: {}}
    for _ in range(400):
        light = oklab_to_linear(rng.uniform([0.2, -0.15, -0.15], [0.95, 0.15, 0.15], (2, 3)))
        if np.any((light < 0) | (light > 1)):
            continue
        code = read_strands(linear_to_lab(light).tolist()).code
        cloth = light[np.arange(128) // 8 % 2]
        for distance, by_code in left.items():
            row = s_cielab(cloth, 20, distance)[60:76:8]
            by_code.setdefault(code, []).append(float(delta_e_2000(row[0], row[1])))
    for by_code in left.values():
        middle = {code: float(np.median(values)) for code, values in by_code.items()}
        assert middle["heathered"] < middle["marled"] < middle["barber-poled"]
    far = {code: np.array(values) for code, values in left[600.0].items()}
    assert np.quantile(far["heathered"], 0.9) < 5 and np.quantile(far["shot"], 0.9) < 6
    assert np.median(far["shot"]) < 0.6 * np.median(far["marled"])
    assert np.quantile(far["barber-poled"], 0.1) > 8


def test_many_blends_at_once_are_the_single_ones() -> None:
    rng = np.random.default_rng(8)
    strands = rng.uniform([10, -40, -40], [90, 40, 40], (50, 2, 3))
    together = blend_labs(strands, (2, 1), viewing=Viewing(from_m=1.7))
    for row, pair in zip(together, strands, strict=True):
        np.testing.assert_allclose(row, mix(pair.tolist(), shares=(2, 1), viewing=Viewing(from_m=1.7)).lab, atol=1e-9)


def test_a_blend_is_a_value() -> None:
    a, b = (mix([(20, 0, 0), (80, 0, 0)]) for _ in range(2))
    assert a == b and hash(a) == hash(b) and isinstance(a, Blend)

"""One blend: its range, gamut rule, uncertainty, shares and words."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.blend.pair import Blend, blend_labs, mix, mix_yarns, strand_width, visible_shares
from blendplan.blend.reading import READS, read_strands
from blendplan.blend.uncertainty import P90_OF_SIGMA, blend_uncertainty, draw_labs
from blendplan.colour import delta_e_2000, hex_to_lab, lab_to_linear, linear_to_oklab
from blendplan.errors import ColourError, QuantityError
from blendplan.yarn import PutUp, Shade, Yarn

lab = st.tuples(st.floats(0, 100), st.floats(-60, 60), st.floats(-60, 60))
share = st.floats(0, 1)


def yarn(name: str, hex_code: str = "#806040", m_per_100g: int | None = None, u: float | None = None) -> Yarn:
    shade = Shade(lab=tuple(hex_to_lab(hex_code).tolist()), uncertainty=u)  # type: ignore[arg-type]
    return Yarn(
        name=name,
        shades=(shade,),
        put_up=None if m_per_100g is None else PutUp(mass_g=100, length_m=m_per_100g),
    )


def test_both_ends_are_shown_whatever_the_member() -> None:
    strands = [hex_to_lab("#1f3b73").tolist(), hex_to_lab("#f2d16b").tolist()]
    made = {m: mix(strands, member=m) for m in ("perceptual", "optical", 1.5)}
    assert {b.perceptual for b in made.values()} == {"#83877d"}
    assert {b.optical for b in made.values()} == {"#b39e6f"}
    assert made["perceptual"].srgb == "#83877d" and made["optical"].srgb == "#b39e6f"
    assert made["perceptual"].lab[0] < made[1.5].lab[0] < made["optical"].lab[0]


@given(lab, lab, share)
@settings(max_examples=150, deadline=None)
def test_order_of_strands_does_not_matter(one: tuple[float, ...], two: tuple[float, ...], s: float) -> None:
    there, back = mix([one, two], shares=(s, 1 - s)), mix([two, one], shares=(1 - s, s))
    np.testing.assert_allclose(there.lab, back.lab, atol=1e-6)
    assert there.reads_as == back.reads_as
    assert there.strand_difference == pytest.approx(back.strand_difference, abs=1e-9)


@given(lab, lab, share, st.floats(1, 3))
@settings(max_examples=150, deadline=None)
def test_a_blend_is_always_whole(one: tuple[float, ...], two: tuple[float, ...], s: float, n: float) -> None:
    made = mix([one, two], shares=(s, 1 - s), member=n)
    assert all(map(math.isfinite, made.lab))
    assert made.reads_as in READS
    text = json.dumps(made.to_json(), allow_nan=False)
    assert set(json.loads(text)) == {"srgb", "lab", "strand_difference", "range", "reads_as", "notices"}
    for code in (made.srgb, made.perceptual, made.optical):
        assert len(code) == 7


def test_a_blend_outside_the_screen_keeps_its_hue_and_says_so() -> None:
    made = mix([hex_to_lab("#ff0000").tolist(), hex_to_lab("#00ffff").tolist()], member=3.0)
    rng = np.random.default_rng(31)
    found = 0
    for codes in rng.uniform(0, 1, (4000, 2, 3)) > 0.5:  # corners of the sRGB cube: the strongest pairs
        strands = [hex_to_lab("#" + "".join("ff" if c else "00" for c in s)).tolist() for s in codes]
        made = mix(strands)
        if made.in_gamut:
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
    assert strand_width(yarn("Fog")) is None


def test_mix_of_yarns_uses_shares_and_uncertainty() -> None:
    a, b = yarn("Peat", "#3b2a20", 100, u=3.0), yarn("Fog", "#d8dcdd", 400, u=2.0)
    made = mix_yarns([a, b])
    assert made.shares == pytest.approx((2 / 3, 1 / 3))
    assert made.lab == pytest.approx(mix([a.lab, b.lab], shares=(2, 1)).lab)
    assert made.uncertainty is not None and 1.0 < made.uncertainty < 4.5
    assert mix_yarns([a, yarn("Chalk", "#f0f0f0", 400)]).uncertainty is None


def test_the_least_sure_shade_of_a_yarn_counts() -> None:
    def many(*us: float | None) -> Yarn:
        return Yarn(name="Two", shades=tuple(Shade(lab=(50.0, 0.0, 0.0), share=0.5, uncertainty=u) for u in us))

    other = yarn("Fog", "#c8ccd0", u=1.0)
    sure, less = (mix_yarns([many(*us), other]).uncertainty for us in ((1.0, 1.0), (1.0, 5.0)))
    assert sure is not None and less is not None and less > 1.5 * sure
    assert mix_yarns([many(1.0, 5.0), other]).uncertainty == mix_yarns([many(5.0, 5.0), other]).uncertainty
    assert mix_yarns([many(1.0, None), other]).uncertainty is None


def test_equal_shares_that_were_assumed_are_told() -> None:
    known, bare = yarn("Peat", m_per_100g=100), yarn("Fog")
    assert [n.text for n in mix_yarns([known, bare]).notices if n.level == "assumed"] == [
        "grams and metres of Fog are not known, so all strands are taken to show equally; fill them in from the band."
    ]
    # Nothing is known of either, or nothing is missing: there is nothing to tell.
    for pair in ([bare, yarn("Mist")], [known, yarn("Bog", m_per_100g=300)], [bare, bare]):
        assert not [n for n in mix_yarns(pair).notices if n.level == "assumed"]
    light = Yarn(name="Lace", shades=(Shade(lab=(50, 0, 0)),), weight_class=0)
    heavy = Yarn(name="Rope", shades=(Shade(lab=(50, 0, 0)),), weight_class=6)
    assert [n.level for n in mix_yarns([light, heavy]).notices] == ["assumed"]


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
    assert blend_uncertainty(centre, [3.0]) == pytest.approx(3.0, rel=0.1)


def test_independent_errors_average_out_and_shared_ones_do_not() -> None:
    """Two greys near each other: errors add as (1 + rho) / 2 of the variance, a line of algebra."""
    strands = [(50.0, 0.0, 0.0), (54.0, 0.0, 0.0)]
    for shared in (0.0, 0.5, 1.0):
        got = blend_uncertainty(strands, [3.0, 3.0], shared=shared)
        assert got == pytest.approx(3.0 * math.sqrt((1 + shared) / 2), rel=0.1)


def test_uncertainty_grows_with_that_of_the_strands_and_is_the_same_each_time() -> None:
    strands = [(30.0, 10.0, -20.0), (70.0, 5.0, 40.0)]
    low, high = (blend_uncertainty(strands, [u, u]) for u in (1.0, 4.0))
    assert high == pytest.approx(4 * low, rel=0.15)
    assert low == blend_uncertainty(strands, [1.0, 1.0])
    assert blend_uncertainty(strands, [0.0, 0.0]) == pytest.approx(0, abs=1e-6)


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


def test_the_words_keep_their_order_through_the_filters_of_the_eye() -> None:
    """S-CIELAB (Zhang and Wandell 1996) on strands with 4 mm runs of colour, seen from 6 m and from 60 cm.

    What remains of the strands' difference must rise from tonal to barber-poled; strands of like lightness must melt
    although they differ as much as marled ones in the hand.
    """
    from blendplan.colour import linear_to_lab, oklab_to_linear
    from blendplan.picture.distance import seen_from

    rng = np.random.default_rng(606)
    left: dict[float, dict[str, list[float]]] = {60.0: {}, 600.0: {}}
    for _ in range(400):
        light = oklab_to_linear(rng.uniform([0.2, -0.15, -0.15], [0.95, 0.15, 0.15], (2, 3)))
        if np.any((light < 0) | (light > 1)):
            continue
        code = read_strands(linear_to_lab(light).tolist()).code
        cloth = np.repeat(light[np.arange(128) // 8 % 2][None].astype(np.float32), 8, axis=0)
        for distance, by_code in left.items():
            row = linear_to_lab(np.clip(seen_from(cloth, px_per_cm=20, distance_cm=distance)[4, 60:76:8], 0, 1))
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
    together = blend_labs(strands, (2, 1), member=1.7)
    for row, pair in zip(together, strands, strict=True):
        np.testing.assert_allclose(row, mix(pair.tolist(), shares=(2, 1), member=1.7).lab, atol=1e-9)


def test_a_blend_is_a_value() -> None:
    a, b = (mix([(20, 0, 0), (80, 0, 0)]) for _ in range(2))
    assert a == b and hash(a) == hash(b) and isinstance(a, Blend)

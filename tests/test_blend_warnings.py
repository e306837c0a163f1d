"""Warnings about stripes: each kind fires where it should, stays silent where not, and its advice helps."""

from __future__ import annotations

import itertools
import warnings
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.blend.advice import BlendWarning, Limits, check_stripes
from blendplan.blend.pair import blend_labs, mixed_lab
from blendplan.blend.strands import DEFICIENCIES, Viewing, seen_with
from blendplan.colour import delta_e_2000, hex_to_lab, linear_to_lab
from blendplan.errors import QuantityError, StripeError
from blendplan.palette import read_palette
from blendplan.stripes.model import Stripe
from blendplan.stripes.model import StripeRule as Order
from blendplan.yarn import Shade, Yarn

PALETTES = sorted((Path(__file__).parent.parent / "palettes").glob("*.csv"))


def palette(**colours: str) -> dict[str, Yarn]:
    return {name: Yarn(name=name, shades=(Shade.from_hex(code),)) for name, code in colours.items()}


def fade(yarns: dict[str, Yarn], *names: str) -> tuple[Stripe, ...]:
    return Order(order=names or tuple(yarns)).expand()


def codes(found: list[BlendWarning]) -> list[tuple[str, tuple[int, ...]]]:
    return [(w.code, w.stripes) for w in found]


def chroma(lab: tuple[float, ...]) -> float:
    return float(np.hypot(lab[1], lab[2]))


# --- Colour-vision deficiencies ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("own", "name"), [("protan", "Protanomaly"), ("deutan", "Deuteranomaly"), ("tritan", "Tritanomaly")]
)
def test_matrices_are_those_of_machado_2009_in_colour_science(own: str, name: str) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        outside = pytest.importorskip("colour")
        matrix = outside.blindness.matrix_cvd_Machado2009(name, 1.0)
    light = np.random.default_rng(3).uniform(0, 1, (500, 3))
    expected = linear_to_lab(np.clip(light @ np.asarray(matrix).T, 0, 1))
    np.testing.assert_allclose(seen_with(linear_to_lab(light), own), expected, rtol=0, atol=1e-6)


@pytest.mark.parametrize("code", DEFICIENCIES)
@pytest.mark.parametrize("light", [0, 25, 50, 100])
def test_grey_is_grey_for_everybody(code: str, light: float) -> None:
    np.testing.assert_allclose(seen_with([light, 0, 0], code), [light, 0, 0], atol=2e-3)


def test_who_confuses_what() -> None:
    """Textbook: red-green confusions for protan and deutan, blue-green for tritan (common knowledge, no source)."""
    red_brown, green = hex_to_lab("#a05030"), hex_to_lab("#707030")
    teal, blue = hex_to_lab("#3f9a9a"), hex_to_lab("#5f90c8")

    def apart(code: str, one: np.ndarray, two: np.ndarray) -> float:
        return float(delta_e_2000(seen_with(one, code), seen_with(two, code)))

    plain = float(delta_e_2000(red_brown, green))
    assert apart("deutan", red_brown, green) < 0.5 * plain
    assert apart("tritan", red_brown, green) > 0.7 * plain
    assert apart("tritan", teal, blue) < 0.6 * float(delta_e_2000(teal, blue))


def test_an_unknown_deficiency_is_refused() -> None:
    with pytest.raises(QuantityError, match="protan, deutan, tritan"):
        seen_with([50, 0, 0], "mono")


# --- Greys out ---------------------------------------------------------------------------------------------------


def test_complements_grey_out_and_a_lively_partner_is_named() -> None:
    yarns = palette(Teal="#1f8f8f", Brick="#a0523c", Plum="#6d2f6e", Sea="#2f6fae")
    found = [w for w in check_stripes(fade(yarns, "Teal", "Brick"), yarns) if w.code == "greys-out"]
    assert [w.stripes for w in found] == [(1,)]
    assert "greys out" in found[0].problem.text and "Teal + Brick" in found[0].problem.text
    values = dict(found[0].suggestions[0].values)
    kept = [yarns[str(values[k])].lab for k in ("keep", "new")]
    assert chroma(blend_labs(kept)) >= 0.75 * min(map(chroma, kept))


def test_neighbours_on_the_wheel_do_not_grey_out() -> None:
    yarns = palette(Teal="#1f8f8f", Sea="#2f6fae", Plum="#6d2f6e")
    assert not [w for w in check_stripes(fade(yarns), yarns) if w.code == "greys-out"]


def test_a_grey_strand_is_no_surprise() -> None:
    yarns = palette(Ash="#8a8a8a", Brick="#b4503c")
    assert not [w for w in check_stripes(fade(yarns), yarns) if w.code == "greys-out"]


def test_a_blend_just_as_coloured_as_the_limit_is_not_grey() -> None:
    yarns = palette(Teal="#1f8f8f", Brick="#a0523c")
    stripes = fade(yarns)
    (blend,) = (stripe for stripe in stripes if len(set(stripe.strands)) > 1)
    least = chroma(tuple(mixed_lab([yarns[name] for name in blend.strands])))

    def greys_out(limit: float) -> bool:
        limits = Limits(grey_chroma=limit, grey_below=1.0)
        return any(w.code == "greys-out" for w in check_stripes(stripes, yarns, limits=limits))

    assert not greys_out(least) and greys_out(float(np.nextafter(least, 100)))


def test_a_strand_just_as_coloured_as_the_limit_counts_as_coloured() -> None:
    yarns = palette(Teal="#1f8f8f", Brick="#a0523c")
    duller = min(chroma(yarn.lab) for yarn in yarns.values())
    for limit, told in ((duller, True), (float(np.nextafter(duller, 100)), False)):
        found = check_stripes(fade(yarns), yarns, limits=Limits(coloured_from=limit))
        assert any(w.code == "greys-out" for w in found) is told


def test_a_carrier_really_clears_the_grey() -> None:
    yarns = palette(Teal="#1f8f8f", Brick="#a0523c", Gold="#c9a227")
    (found,) = [w for w in check_stripes(fade(yarns, "Teal", "Brick"), yarns) if w.code == "greys-out"]
    carriers = [dict(s.values) for s in found.suggestions if "carrier" in dict(s.values)]
    assert [c["carrier"] for c in carriers] == ["Gold"]
    mended = fade(yarns, "Teal", "Gold", "Brick")
    assert not [w for w in check_stripes(mended, yarns) if w.code == "greys-out"]


# --- Stands out --------------------------------------------------------------------------------------------------


def test_the_one_far_pair_stands_out_and_its_carrier_mends_it() -> None:
    yarns = palette(
        Chalk="#e8e4da", Sand="#cfc3a8", Oat="#b8a888", Bark="#5a4632", Peat="#46382c", Soot="#33302c", Clay="#8c7657"
    )
    stripes = fade(yarns, "Chalk", "Sand", "Oat", "Bark", "Peat", "Soot")
    found = [w for w in check_stripes(stripes, yarns) if w.code == "stands-out"]
    assert [w.stripes for w in found] == [(5,)] and set(stripes[5].strands) == {"Oat", "Bark"}
    assert any(dict(s.values).get("carrier") == "Clay" for s in found[0].suggestions)
    mended = fade(yarns, "Chalk", "Sand", "Oat", "Clay", "Bark", "Peat", "Soot")
    assert not [w for w in check_stripes(mended, yarns) if w.code == "stands-out"]


def greys(*lights: float) -> tuple[list[Stripe], dict[str, Yarn]]:
    yarns = {f"L {v}": Yarn(name=f"L {v}", shades=(Shade(lab=(v, 0.0, 0.0)),)) for v in lights}
    return [Stripe(strands=(name, name), rows=2) for name in yarns], yarns


def test_a_stripe_is_held_against_the_other_steps_not_against_its_own() -> None:
    # Steps of about 3, 3, 35, 35: with its own two counted the median would be 19 and hide it.
    stripes, yarns = greys(50.0, 53.0, 56.0, 92.0, 57.0)
    assert ("stands-out", (3,)) in codes(check_stripes(stripes, yarns))


def test_a_step_just_as_long_as_the_limit_stands_out() -> None:
    stripes, yarns = greys(50.0, 53.0, 56.0, 80.0, 57.0)
    shorter = min(float(delta_e_2000(yarns["L 80.0"].lab, yarns[name].lab)) for name in ("L 56.0", "L 57.0"))
    for limit, told in ((shorter, True), (float(np.nextafter(shorter, 100)), False)):
        assert (("stands-out", (3,)) in codes(check_stripes(stripes, yarns, limits=Limits(big_step=limit)))) is told


def test_a_carrier_that_hardly_helps_is_not_suggested() -> None:
    yarns = palette(
        Chalk="#e8e4da", Sand="#cfc3a8", Oat="#b8a888", Bark="#5a4632", Peat="#46382c", Soot="#33302c", Blue="#2040c0"
    )
    stripes = fade(yarns, "Chalk", "Sand", "Oat", "Bark", "Peat", "Soot")
    (found,) = [w for w in check_stripes(stripes, yarns) if w.code == "stands-out"]
    assert len(found.suggestions) == 1 and "extra row" in found.suggestions[0].text


def test_an_even_fade_has_nothing_that_stands_out() -> None:
    yarns = {f"Grey {i}": Yarn(name=f"Grey {i}", shades=(Shade(lab=(20.0 + 10 * i, 0.0, 0.0)),)) for i in range(8)}
    assert check_stripes(fade(yarns), yarns) == ()


# --- Alike and merging -------------------------------------------------------------------------------------------


def test_two_stripes_that_are_alike() -> None:
    yarns = palette(Moss="#5f7048", Fern="#617149", Rust="#9c4a2c")
    found = [w for w in check_stripes(fade(yarns, "Moss", "Fern", "Rust"), yarns) if w.code == "alike"]
    assert [w.stripes for w in found] == [(0, 1), (1, 2)]
    assert "cannot be told apart" in found[0].problem.text and "stripes 1 and 2" in found[0].problem.text


def test_two_stripes_just_as_far_apart_as_the_limit_are_not_alike() -> None:
    yarns = palette(Moss="#5f7048", Fern="#617149")
    apart = float(delta_e_2000(*(yarn.lab for yarn in yarns.values())))
    stripes = [Stripe(strands=(name, name), rows=2) for name in yarns]
    for limit, told in ((apart, False), (float(np.nextafter(apart, 100)), True)):
        assert any(w.code == "alike" for w in check_stripes(stripes, yarns, limits=Limits(alike=limit))) is told


def test_two_yarns_of_one_colour_far_apart_in_the_order() -> None:
    yarns = palette(Moss="#5f7048", Chalk="#e8e4da", Rust="#9c4a2c", Fern="#607148")
    found = [w for w in check_stripes(fade(yarns), yarns) if w.code == "alike"]
    assert [w.stripes for w in found] == [(0, 6)]
    assert "stripes 1 and 7, Moss and Fern" in found[0].problem.text
    assert "label the skeins" in found[0].suggestions[-1].text
    # Coming back to the same yarn is meant.
    again = fade(yarns, "Moss", "Chalk", "Rust", "Moss")
    assert not [w for w in check_stripes(again, yarns) if w.code == "alike"]


def test_yarns_that_no_stripe_uses_yet_are_suggested_first() -> None:
    yarns = palette(
        Chalk="#e8e4da", Sand="#cfc3a8", Oat="#b8a888", Bark="#5a4632", Peat="#46382c", Soot="#33302c", Clay="#8c7657"
    )
    twice = dict(yarns) | palette(Loam="#877152")
    order = ("Chalk", "Sand", "Oat", "Bark", "Peat", "Soot", "Clay")
    found = [w for w in check_stripes(fade(twice, *order), twice) if w.stripes == (5,) and w.code == "stands-out"]
    carriers = [dict(s.values)["carrier"] for s in found[0].suggestions if "carrier" in dict(s.values)]
    assert carriers == ["Loam"]
    # With none spare, one that is in use is better than no advice.
    found = [w for w in check_stripes(fade(yarns, *order), yarns) if w.stripes == (5,) and w.code == "stands-out"]
    assert [dict(s.values)["carrier"] for s in found[0].suggestions if "carrier" in dict(s.values)] == ["Clay"]


def test_neighbours_that_the_doubt_may_bring_together() -> None:
    def greys_within(bound: float | None, *lights: float) -> list[BlendWarning]:
        yarns = {f"L {v}": Yarn(name=f"L {v}", shades=(Shade(lab=(v, 0.0, 0.0), within=bound),)) for v in lights}
        stripes = [Stripe(strands=(name, name), rows=2) for name in yarns]
        return [w for w in check_stripes(stripes, yarns) if w.code == "may-be-alike"]

    assert not greys_within(None, 50.0, 53.0) and not greys_within(0.5, 50.0, 54.0)
    assert not greys_within(5.0, 20.0, 80.0)
    (found,) = greys_within(5.0, 50.0, 53.0)
    assert found.stripes == (0, 1) and "may read alike" in found.problem.text
    assert "photograph L 5" in found.suggestions[-1].text
    # What is alike already is not told twice.
    assert not greys_within(5.0, 50.0, 50.5)


def test_the_same_strands_twice_are_meant() -> None:
    yarns = palette(Moss="#5f7048", Rust="#9c4a2c")
    stripes = [Stripe(strands=("Moss", "Rust"), rows=2), Stripe(strands=("Rust", "Moss"), rows=2)]
    assert not [w for w in check_stripes(stripes, yarns) if w.code == "alike"]


def test_merging_is_told_only_where_others_see_a_difference() -> None:
    # A pair on a deutan line of confusion, found by hand and held against the outside matrices in the test itself.
    yarns = palette(Rust="#a05a30", Olive="#7a6c2d", Chalk="#e8e4da")
    one, two = (np.array(yarns[n].lab) for n in ("Rust", "Olive"))
    assert float(delta_e_2000(one, two)) > 5
    merged = float(delta_e_2000(seen_with(one, "deutan"), seen_with(two, "deutan")))
    stripes = [Stripe(strands=("Rust", "Rust"), rows=4), Stripe(strands=("Olive", "Olive"), rows=4)]
    found = [w for w in check_stripes(stripes, yarns, limits=Limits(alike=merged + 0.1)) if w.code == "merges"]
    assert codes(found) == [("merges", (0, 1))] and "green-blind" in found[0].problem.text
    assert not check_stripes(stripes, yarns, limits=Limits(alike=merged - 0.1))
    new = dict(found[0].suggestions[0].values)["new"]
    better = np.array(yarns[str(new)].lab)
    assert float(delta_e_2000(seen_with(one, "deutan"), seen_with(better, "deutan"))) >= 5


def test_advice_for_merging_stripes_does_not_merge_again() -> None:
    # Bait is far enough from Rust for most people, and nearer than Chalk, but merges in the same way as Olive.
    yarns = palette(Rust="#a05a30", Olive="#7a6c2d", Bait="#7c6d30", Chalk="#e8e4da")
    rust, bait = (np.array(yarns[n].lab) for n in ("Rust", "Bait"))
    merged = float(delta_e_2000(seen_with(rust, "deutan"), seen_with(bait, "deutan")))
    assert merged < 5 < float(delta_e_2000(rust, bait))
    stripes = [Stripe(strands=(n, n), rows=4) for n in ("Rust", "Olive")]
    found = [w for w in check_stripes(stripes, yarns, limits=Limits(alike=5.0)) if w.code == "merges"]
    assert dict(found[0].suggestions[0].values)["new"] == "Chalk"


def test_stripes_that_are_near_for_everybody_are_not_called_merging() -> None:
    yarns = palette(Rust="#a05a30", Brick="#a6562f")
    one, two = (np.array(y.lab) for y in yarns.values())
    assert 2 < float(delta_e_2000(one, two)) < 5
    assert float(delta_e_2000(seen_with(one, "deutan"), seen_with(two, "deutan"))) < 2
    stripes = [Stripe(strands=(n, n), rows=2) for n in yarns]
    assert check_stripes(stripes, yarns) == ()


# --- All of them -------------------------------------------------------------------------------------------------


def test_every_warning_has_advice_and_names_only_yarns_at_hand() -> None:
    told = set()
    for path, shift in itertools.product(PALETTES, range(3)):
        yarns = {y.name: y for y in read_palette(path.read_bytes(), path.name).yarns}
        names = list(yarns)
        for warning in check_stripes(fade(yarns, *names[shift:], *names[:shift]), yarns):
            told.add(warning.code)
            assert warning.suggestions
            for said in (warning.problem, *warning.suggestions):
                assert said.text[-1] == "." and "{" not in said.text and "nan" not in said.text
                for field in ("keep", "new", "carrier", "first", "last"):
                    assert dict(said.values).get(field, names[0]) in yarns
    assert len(told) > 1


@given(st.lists(st.tuples(st.floats(0, 100), st.floats(-50, 50), st.floats(-50, 50)), min_size=1, max_size=6))
@settings(max_examples=60, deadline=None)
def test_any_palette_is_judged_without_falling_over(labs: list[tuple[float, float, float]]) -> None:
    yarns = {f"Yarn {i}": Yarn(name=f"Yarn {i}", shades=(Shade(lab=lab),)) for i, lab in enumerate(labs)}
    stripes = fade(yarns)
    found = check_stripes(stripes, yarns, Viewing(from_m=1.5))
    assert [w.stripes for w in found] == sorted(w.stripes for w in found)
    assert found == check_stripes(stripes, yarns, Viewing(from_m=1.5))
    for place in itertools.chain.from_iterable(w.stripes for w in found):
        assert 0 <= place < len(stripes)


def test_an_unknown_yarn_is_refused_with_the_known_ones() -> None:
    yarns = palette(Moss="#5f7048")
    with pytest.raises(StripeError, match=r"stripe 1 uses 'Fern'.*choose one of Moss"):
        check_stripes([Stripe(strands=("Fern", "Moss"), rows=2)], yarns)
    assert check_stripes([], yarns) == ()


def test_one_strand_and_three_strands() -> None:
    """Blue, red and green light together have no hue: three strands of them grey out (additive mixing of light)."""
    yarns = palette(Blue="#2f6fd0", Brick="#c8403c", Green="#40a050")
    stripes = [
        Stripe(strands=("Blue",), rows=2),
        Stripe(strands=("Blue", "Brick", "Green"), rows=2),
        Stripe(strands=("Brick", "Brick", "Brick"), rows=2),
    ]
    (found,) = check_stripes(stripes, yarns)
    assert (found.code, found.stripes) == ("greys-out", (1,)) and found.suggestions

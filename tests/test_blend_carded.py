"""Carded blends against values worked by hand, and against colour-science where it has the same step."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.blend.carded import blend_reflectance, carded_lab, friele, stearns_noechel
from blendplan.blend.pair import mix
from blendplan.colour import delta_e_2000, hex_to_lab
from blendplan.errors import ColourError, QuantityError

reflectance = st.floats(0.002, 1)


def test_stearns_noechel_by_hand() -> None:
    """f(0.5) with M = 0.15: 0.5 / (0.15 x 0.49 + 0.01) = 0.5 / 0.0835 = 5.98802."""
    assert float(stearns_noechel(0.5, 0.15)) == pytest.approx(5.98802, abs=5e-6)
    # At R = 0.01 the denominator is 0.01 whatever M: f = 0.99 / 0.01 = 99. White gives 0.
    assert float(stearns_noechel(0.01, 0.15)) == pytest.approx(99, abs=1e-9)
    assert float(stearns_noechel(1.0, 0.3)) == 0


def test_a_stearns_noechel_blend_by_hand() -> None:
    """Half R = 0.5, half R = 1, M = 0.15.

    F = 5.98802 / 2 = 2.99401; R = (1 + 0.01 x 2.99401 x (0.15 - 1)) / (1 + 2.99401 x 0.15)
      = (1 - 0.0254491) / 1.4491018 = 0.6725207.
    """
    got = blend_reflectance([[0.5], [1.0]], model="stearns-noechel", constant=0.15)
    assert float(got[0]) == pytest.approx(0.6725207, abs=5e-7)


def test_friele_by_hand() -> None:
    """f(0.5) with s = 0.3: exp(-0.3 x 0.25 / 1) = exp(-0.075) = 0.9277435."""
    assert float(friele(0.5, 0.3)) == pytest.approx(0.9277435, abs=5e-8)
    # Half R = 0.5, half R = 1: f = (0.9277435 + 1) / 2 = 0.9638717; k = -ln(f) / 0.3 = 0.1226558;
    # R = 1 + k - sqrt(k^2 + 2 k) = 0.6124...
    k = -math.log((math.exp(-0.075) + 1) / 2) / 0.3
    by_hand = 1 + k - math.sqrt(k * k + 2 * k)
    assert k == pytest.approx(0.1226558, abs=5e-6)
    got = blend_reflectance([[0.5], [1.0]], model="friele", constant=0.3)
    assert float(got[0]) == pytest.approx(by_hand, abs=1e-12)


@given(st.lists(reflectance, min_size=1, max_size=4), st.sampled_from(["stearns-noechel", "friele"]))
@settings(max_examples=200)
def test_laws(values: list[float], model: str) -> None:
    got = float(blend_reflectance([[v] for v in values], model=model)[0])
    assert min(values) - 1e-9 <= got <= max(values) + 1e-9
    # Fibres darken: a carded blend is never lighter than the plain mean.
    if model == "stearns-noechel":
        assert got <= float(np.mean(values)) + 1e-9
    back = float(blend_reflectance([[v] for v in reversed(values)], model=model)[0])
    assert back == pytest.approx(got, rel=1e-9)


@given(reflectance, st.floats(0.01, 1), st.sampled_from(["stearns-noechel", "friele"]))
@settings(max_examples=200)
def test_one_fibre_stays_itself(value: float, constant: float, model: str) -> None:
    assert float(blend_reflectance([[value]], model=model, constant=constant)[0]) == pytest.approx(value, abs=1e-7)


@given(reflectance, reflectance, st.floats(0, 1), st.floats(0, 1), st.sampled_from(["stearns-noechel", "friele"]))
@settings(max_examples=200)
def test_monotone_in_share(one: float, two: float, a: float, b: float, model: str) -> None:
    low, high = sorted((a, b))
    made = [float(blend_reflectance([[one], [two]], (1 - s, s), model=model)[0]) for s in (low, high)]
    assert (made[1] - made[0]) * np.sign(two - one) >= -1e-9


@pytest.mark.parametrize("model", ["stearns-noechel", "friele"])
@pytest.mark.parametrize("code", ["#ffffff", "#808080", "#b35c37", "#1f3b73", "#f2d16b", "#202020"])
def test_one_colour_comes_back_through_its_recovered_reflectance(code: str, model: str) -> None:
    lab = hex_to_lab(code)
    assert float(delta_e_2000(carded_lab([lab.tolist()], model=model), lab)) < 0.1


@pytest.mark.parametrize("model", ["stearns-noechel", "friele"])
def test_black_is_finite(model: str) -> None:
    got = carded_lab([(0, 0, 0), (100, 0, 0)], model=model)
    assert all(map(math.isfinite, got)) and 0 < got[0] < 100
    assert carded_lab([(0, 0, 0)], model=model)[0] < 1.0


def test_reflectances_are_those_of_colour_science() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        outside = pytest.importorskip("colour")
        sd = outside.recovery.RGB_to_sd_Mallett2019(np.array([0.2, 0.4, 0.1]))
        xyz = outside.sd_to_XYZ(sd, illuminant=outside.SDS_ILLUMINANTS["D65"]) / 100
        lab = outside.XYZ_to_Lab(xyz, outside.XYZ_to_xy(np.array([0.95047, 1.0, 1.08883])))
    from blendplan.colour import linear_to_lab

    got = carded_lab([linear_to_lab([0.2, 0.4, 0.1]).tolist()])
    assert float(delta_e_2000(got, lab)) < 0.05


def test_carded_is_darker_than_two_strands() -> None:
    """Colour facts 2a: Stearns-Noechel with M = 0.15 lies about 5.5 L* under the Oklab mean, over 3000 pairs."""
    rng = np.random.default_rng(404)
    from blendplan.colour import linear_to_lab, oklab_to_linear

    light = oklab_to_linear(rng.uniform([0.25, -0.12, -0.12], [0.92, 0.12, 0.12], (900, 3)))
    labs = linear_to_lab(light[np.all((light > 0) & (light < 1), axis=1)])
    pairs = labs[: len(labs) // 2 * 2].reshape(-1, 2, 3)[:150]
    gaps = [carded_lab(p.tolist())[0] - mix(p.tolist()).lab[0] for p in pairs]
    assert -9 < float(np.mean(gaps)) < -2.5


def test_bad_input_is_refused() -> None:
    with pytest.raises(QuantityError, match="stearns-noechel, friele"):
        blend_reflectance([[0.5]], model="km")
    for bad in ((1,), (0, 0), (-1, 2), (float("nan"), 1)):
        with pytest.raises(ColourError, match="mass shares"):
            blend_reflectance([[0.5], [0.2]], bad)
    with pytest.raises(QuantityError, match="M of Stearns and Noechel"):
        blend_reflectance([[0.5]], constant=0.0)

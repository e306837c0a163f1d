"""The view from a distance against published constants, a reference filter, and its limits.

Constants: Zhang and Wandell 1996 (S-CIELAB), the two narrow kernels for luminance (half-height full widths .05 and .225
degrees, weights .921 and .105 in the paper).
Reference filter: scipy.ndimage.gaussian_filter with mirrored borders.
"""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from blendplan import page
from blendplan.blend.strands import EYE
from blendplan.colour import delta_e_2000, linear_to_lab, linear_to_srgb, srgb_to_linear
from blendplan.errors import QuantityError
from blendplan.picture.distance import FAR_CM, Screen, decode, encode, seen_from


def marl(seed: int, shape: tuple[int, int] = (120, 160)) -> np.ndarray:
    """Two colours of light in random runs."""
    rng = np.random.default_rng(seed)
    which = gaussian_filter(rng.normal(size=shape), 2.0) > 0
    return np.where(which[..., None], [0.014, 0.044, 0.17], [0.89, 0.64, 0.15]).astype(np.float32)


def reference(light: np.ndarray, px_per_cm: float, distance_cm: float) -> np.ndarray:
    """Gaussians of the paper, each channel of light alike; exp(-x^2 / s^2) has the standard deviation s / root 2."""
    px_per_degree = 2 * distance_cm * np.tan(np.radians(0.5)) * px_per_cm
    return sum(
        w / 1.026 * gaussian_filter(light, (s * px, s * px, 0), mode="reflect", truncate=7.0)
        for w, s in ((0.921, 0.0283), (0.105, 0.133))
        for px in [px_per_degree / math.sqrt(2)]
    )


def test_constants() -> None:
    assert EYE == ((0.921, 0.0283), (0.105, 0.133))


@pytest.mark.parametrize(("px_per_cm", "distance_cm"), [(60.0, 90.0), (10.0, 600.0)])
def test_filter_agrees_with_a_reference_filter(px_per_cm: float, distance_cm: float) -> None:
    light = marl(21).astype(np.float64)
    got = seen_from(light, px_per_cm=px_per_cm, distance_cm=distance_cm)
    # Both places have the narrowest Gaussian over a pixel wide; a narrower one the reference samples too coarsely.
    assert np.abs(got - reference(light, px_per_cm, distance_cm)).max() < 2e-3


@pytest.mark.parametrize("distance_cm", [400.0, 500.0, 1200.0])
def test_the_eye_at_the_screen_and_what_is_taken_away_make_the_distance(distance_cm: float) -> None:
    """A picture 24 cm wide of a blanket 142 cm wide, an arm's length away; the eye's part is the reference filter."""
    scale = 10.0
    already = 355.0
    light = marl(27).astype(np.float64)
    shown = seen_from(light, px_per_cm=scale, distance_cm=distance_cm, already_cm=already)
    assert (
        np.abs(reference(shown.astype(np.float64), scale, already) - reference(light, scale, distance_cm)).max() < 3e-3
    )
    sharper = seen_from(light, px_per_cm=scale, distance_cm=distance_cm)
    assert np.abs(shown - light).mean() < np.abs(sharper - light).mean()


def test_nothing_is_taken_away_that_the_screen_takes_already() -> None:
    light = marl(28)
    codes = encode(light)
    assert np.array_equal(seen_from(codes, px_per_cm=4.5, distance_cm=200, already_cm=500), codes)
    assert np.array_equal(seen_from(light, px_per_cm=4.5, distance_cm=200, already_cm=200), light)


def test_a_picture_on_a_screen_is_a_view_from_afar() -> None:
    """15 cm on the screen for a blanket of 130 cm, an arm's length (50 to 60 cm) away: 4 or 5 metres by proportion."""
    shown_px = 15 * 96 / 2.54
    for eye, metres in ((50.0, 4.33), (60.0, 5.2)):
        assert Screen(eye_cm=eye).already_cm(shown_px / 130) == pytest.approx(100 * metres, rel=0.01)
    # Her ruler says that a line drawn ten centimetres long is eight: the picture is smaller, so seen from further.
    small = Screen.of_line(10, 8)
    assert small.already_cm(5) == pytest.approx(Screen().already_cm(5) * 10 / 8)
    with pytest.raises(QuantityError, match="by the ruler"):
        Screen.of_line(10, 0)


def blanket() -> tuple[np.ndarray, np.ndarray]:
    """A round piece of marl with gaps, on a bright ground; its cover."""
    y, x = np.mgrid[:240, :240]
    away = np.hypot(y - 119.5, x - 119.5)
    cover = np.clip(100.5 - away, 0, 1)
    cover[100:140:12, 100:140:12] = 0.0
    light = cover[..., None] * marl(29, (240, 240)) + (1 - cover[..., None]) * np.array([0.9, 0.9, 0.9])
    return encode(light), np.rint(255 * cover).astype(np.uint8)


@pytest.mark.parametrize("distance_cm", [200.0, 800.0, math.inf])
def test_there_is_no_halo_round_the_blanket(distance_cm: float) -> None:
    codes, cover = blanket()
    got = seen_from(codes, px_per_cm=10, distance_cm=distance_cm, cover=cover)
    y, x = np.mgrid[:240, :240]
    away = np.hypot(y - 119.5, x - 119.5)
    assert np.array_equal(got[away > 101], codes[away > 101])
    # Just inside the edge the blanket is as light as it is within, however bright the ground.
    rim, inner = (
        linear_to_lab(srgb_to_linear(got[m] / 255).mean(axis=0)) for m in ((away > 90) & (away < 99), away < 80)
    )
    whole = [linear_to_lab(srgb_to_linear(codes[m] / 255).mean(axis=0)) for m in ((away > 90) & (away < 99), away < 80)]
    assert abs((rim - inner)[0]) <= abs((whole[0] - whole[1])[0]) + 1
    # A gap inside is part of the fabric: its brightness goes over into what lies round it.
    assert got[100, 100].astype(int).sum() < codes[100, 100].astype(int).sum() - 20


def test_far_is_looked_at_from_where_strands_have_melted() -> None:
    """Strands 4 mm wide: their contrast at 16 m is under a thousandth, by hand."""
    f = FAR_CM / 100 * 17.45 / 8
    assert 0.9 * math.exp(-((0.0283 * math.pi * f) ** 2)) < 1e-3
    light = marl(30)
    far = seen_from(light, px_per_cm=10, distance_cm=math.inf)
    assert np.array_equal(far, seen_from(light, px_per_cm=10, distance_cm=FAR_CM))


@pytest.mark.parametrize("distance_cm", [30.0, 300.0, 3000.0, 30_000.0])
def test_the_mean_of_light_stays(distance_cm: float) -> None:
    # Sides that are prime are made longer inside.
    light = marl(22, (113, 157))
    got = seen_from(light, px_per_cm=10.0, distance_cm=distance_cm)
    assert np.allclose(got.mean(axis=(0, 1), dtype=np.float64), light.mean(axis=(0, 1), dtype=np.float64), atol=2e-5)


def test_the_far_limit_is_the_mean_of_light_and_nearer_is_further_from_it() -> None:
    light = marl(23)
    mean = linear_to_lab(light.mean(axis=(0, 1), dtype=np.float64))
    apart = [
        float(np.mean(delta_e_2000(linear_to_lab(seen_from(light, px_per_cm=10.0, distance_cm=d)), mean)))
        for d in (60.0, 200.0, 400.0, 800.0, 1500.0, 100_000.0)
    ]
    assert apart == sorted(apart, reverse=True)
    assert apart[0] > 10
    assert apart[-1] < 0.05


def test_close_up_nothing_changes() -> None:
    light = marl(24)
    assert np.abs(seen_from(light, px_per_cm=0.02, distance_cm=1.0) - light).max() < 1e-3


def test_plain_stays_plain_and_bytes_go_through() -> None:
    plain = np.full((40, 50, 3), (90, 140, 60), dtype=np.uint8)
    assert np.abs(seen_from(plain, px_per_cm=10, distance_cm=300).astype(int) - plain).max() <= 1
    assert seen_from(plain, px_per_cm=10, distance_cm=300).dtype == np.uint8


def test_the_middle_of_a_broad_stripe_keeps_its_colour() -> None:
    # A dark stripe of 20 cm between light ones, seen from 4 m: the eye fuses strands, it does not repaint stripes.
    light = np.full((300, 60, 3), (0.80, 0.78, 0.72), dtype=np.float32)
    light[50:250] = (0.014, 0.044, 0.17)
    got = seen_from(light, px_per_cm=10.0, distance_cm=400.0)
    assert delta_e_2000(linear_to_lab(got[150, 30]), linear_to_lab(light[150, 30])) < 3.0


def test_dark_and_light_only_keeps_luminance() -> None:
    """The page shows greys by a filter in linear light, with the luminance that IEC 61966-2-1 prints for sRGB."""
    script = (Path(page.__file__).parent / "assets" / "picture.js").read_text(encoding="utf-8")
    row = re.search(r'const row = "([\d. ]+) 0 0 ";', script)
    assert row and '"color-interpolation-filters": "linearRGB"' in script
    weights = np.array([float(w) for w in row[1].split()])
    assert weights.tolist() == [0.2126, 0.7152, 0.0722]
    grey = np.repeat((marl(25) @ weights)[..., None], 3, axis=2)
    assert np.allclose(linear_to_lab(grey)[..., 0], linear_to_lab(marl(25))[..., 0], atol=2e-2)


def test_tables_agree_with_the_formula() -> None:
    codes = np.arange(256, dtype=np.uint8)
    assert np.allclose(decode(codes), srgb_to_linear(codes / 255), atol=1e-7)
    assert np.array_equal(encode(decode(codes)), codes)
    light = np.random.default_rng(26).random(10_000)
    exact = linear_to_srgb(light) * 255
    assert np.abs(encode(light) - exact).max() < 0.53
    assert encode([-1.0, 2.0]).tolist() == [0, 255]


def test_bad_input() -> None:
    with pytest.raises(QuantityError, match="height x width x 3"):
        seen_from(np.zeros((4, 4)), px_per_cm=1, distance_cm=1)
    with pytest.raises(QuantityError, match="not a finite number"):
        seen_from(np.full((4, 4, 3), np.nan), px_per_cm=1, distance_cm=1)
    with pytest.raises(QuantityError, match="viewing distance"):
        seen_from(np.zeros((4, 4, 3)), px_per_cm=1, distance_cm=0)

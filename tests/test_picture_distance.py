"""S-CIELAB's filters against their published constants, a reference filter, and their limits.

Constants: Zhang and Wandell 1996, as in the authors' code (half-height full widths in degrees; typed from it).
Reference filter: scipy.ndimage.gaussian_filter with mirrored borders.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from blendplan.colour import LINEAR_TO_XYZ, delta_e_2000, linear_to_lab, linear_to_srgb, srgb_to_linear
from blendplan.errors import QuantityError
from blendplan.picture.distance import KERNELS, OPPONENT, decode, encode, grey_look, seen_from, spread_deg


def marl(seed: int, shape: tuple[int, int] = (120, 160)) -> np.ndarray:
    """Two colours of light in random runs."""
    rng = np.random.default_rng(seed)
    which = gaussian_filter(rng.normal(size=shape), 2.0) > 0
    return np.where(which[..., None], [0.014, 0.044, 0.17], [0.89, 0.64, 0.15]).astype(np.float32)


def test_constants() -> None:
    assert KERNELS[0] == ((1.00327, 0.05), (0.114416, 0.225), (-0.117686, 7.0))
    assert KERNELS[1] == ((0.616725, 0.0685), (0.383275, 0.826))
    assert KERNELS[2] == ((0.567885, 0.092), (0.432115, 0.6451))
    assert OPPONENT[1, 2] == 0.0772
    for kernel in KERNELS:
        assert sum(weight for weight, _ in kernel) == pytest.approx(1.0, abs=5e-6)
    # Half height at half the full width.
    assert np.exp(-0.5 * (0.025 / spread_deg(0.05)) ** 2) == pytest.approx(0.5)


@pytest.mark.parametrize("inhibition", [True, False])
@pytest.mark.parametrize(("px_per_cm", "distance_cm"), [(60.0, 60.0), (10.0, 400.0)])
def test_filter_agrees_with_a_reference_filter(px_per_cm: float, distance_cm: float, inhibition: bool) -> None:
    light = marl(21).astype(np.float64)
    px_per_degree = 2 * distance_cm * np.tan(np.radians(0.5)) * px_per_cm
    opponent = light @ (OPPONENT @ LINEAR_TO_XYZ).T
    for c, full in enumerate(KERNELS):
        kernel = full if inhibition else [(w, d) for w, d in full if w > 0]
        total = sum(w for w, _ in kernel)
        opponent[..., c] = sum(
            w / total * gaussian_filter(opponent[..., c], d / 2.3548 * px_per_degree, mode="reflect", truncate=6.0)
            for w, d in kernel
        )
    wanted = opponent @ np.linalg.inv(OPPONENT @ LINEAR_TO_XYZ).T
    got = seen_from(light, px_per_cm=px_per_cm, distance_cm=distance_cm, inhibition=inhibition)
    # Both places have the narrowest Gaussian over a pixel wide; a narrower one the reference samples too coarsely.
    assert np.abs(got - wanted).max() < 2e-3


@pytest.mark.parametrize("distance_cm", [30.0, 300.0, 3000.0, 30_000.0])
def test_the_mean_of_light_stays(distance_cm: float) -> None:
    light = marl(22)
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


def test_grey_look_keeps_luminance_and_grey() -> None:
    light = marl(25)
    grey = grey_look(light)
    assert np.ptp(grey, axis=2).max() == 0
    assert np.allclose(linear_to_lab(grey)[..., 0], linear_to_lab(light)[..., 0], atol=1e-3)
    ramp = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    assert np.abs(grey_look(ramp).astype(int) - ramp).max() <= 1


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

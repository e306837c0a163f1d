"""The chip and the drawing are one colour: drawn fabric through the eye's filter against the model, over many pairs.

Drawn as `blendplan blend --swatch` draws it; filtered here by Gaussians in scipy's cosine transform, which is what
mirrored edges come to, and not by the package.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import pytest
from scipy.fft import dctn, idctn
from scipy.ndimage import gaussian_filter

from blendplan.blend.pair import mix
from blendplan.blend.strands import Viewing, blend_linear
from blendplan.colour import LINEAR_TO_LMS, LMS_TO_LINEAR, delta_e_2000, hex_to_lab, hex_to_linear, linear_to_lab
from blendplan.colour import srgb_to_linear as decoded
from blendplan.outputs.render import swatch_pixels

DISTANCES_M = (0.5, 1.0, 2.0, 4.0, 8.0)
# Dark to pale, dull to strong, paired so that every kind of contrast comes: of light, of hue, of both, of little.
PAIRS = (
    ("1f3b73", "f2d16b"),
    ("29292a", "dedcd6"),
    ("0c5f65", "a47333"),
    ("553c6c", "d3a5a8"),
    ("233049", "ddcaae"),
    ("707172", "892329"),
    ("913839", "385241"),
    ("2d518c", "dfc369"),
    ("89457a", "4f9256"),
    ("7eb9c8", "925e4f"),
    ("c86534", "5a7483"),
    ("2c6469", "c2899f"),
    ("3b2a20", "d8dcdd"),
    ("1f8f8f", "b4503c"),
    ("9c9ac5", "4e4b4b"),
    ("73734d", "d0b1bb"),
    ("af9467", "2d518c"),
    ("b08d57", "c9a877"),
    ("e8e4da", "c8c0b4"),
    ("40302c", "6a2f3a"),
)


@lru_cache(maxsize=1)
def waves(*codes: str) -> tuple[np.ndarray, float]:
    """Return a drawn swatch as its waves, and its pixels per centimetre."""
    light, scale = drawn(*codes)
    return dctn(light.astype(np.float32), axes=(0, 1)), scale


@lru_cache(maxsize=64)
def drawn(*codes: str) -> tuple[np.ndarray, float]:
    """Return the light of a drawn swatch, and its pixels per centimetre."""
    pixels, scale = swatch_pixels([hex_to_linear(c) for c in codes], (1 / len(codes),) * len(codes))
    return decoded(pixels / 255), scale


def filtered(waves: np.ndarray, px_per_cm: float, from_m: float) -> np.ndarray:
    """Return light as the narrow luminance kernels of S-CIELAB leave it (Zhang and Wandell 1996)."""
    px_per_degree = from_m * 1.745 * px_per_cm
    along = [np.pi * np.arange(size) / size for size in waves.shape[:2]]
    squares = along[0][:, None] ** 2 + along[1] ** 2
    kept = sum(
        w / 1.026 * np.exp(-squares * (s * px_per_degree) ** 2 / 4) for w, s in ((0.921, 0.0283), (0.105, 0.133))
    )
    return idctn(waves * kept.astype(np.float32)[:, :, None], axes=(0, 1))


def oklab_mean(light: np.ndarray) -> np.ndarray:
    """Return the mean in Oklab of a picture, as cone responses."""
    return np.cbrt(np.maximum(light @ LINEAR_TO_LMS.T, 0)).mean(axis=(0, 1)) ** 3


@lru_cache
def seen(*codes: str) -> list[np.ndarray]:
    """Return the mean of a drawn swatch in Oklab, as cone responses, from each of the distances."""
    known, scale = waves(*codes)
    return [oklab_mean(filtered(known, scale, from_m)) for from_m in DISTANCES_M]


def chip_of_picture(codes: tuple[str, str], at: int) -> np.ndarray:
    """Return CIELAB of the filtered swatch, relief divided out by solid swatches drawn the same way."""
    relief = [seen(code, code)[at] / (hex_to_linear(code) @ LINEAR_TO_LMS.T) for code in codes]
    return linear_to_lab(seen(*codes)[at] / np.mean(relief, axis=0) @ LMS_TO_LINEAR.T)


def test_the_filter_is_the_gaussian_of_a_reference() -> None:
    light, scale = drawn(*PAIRS[0])
    light = light[:160, :240]
    wide = [s * 1.745 * scale / math.sqrt(2) for s in (0.0283, 0.133)]
    wanted = sum(
        w / 1.026 * gaussian_filter(light, (s, s, 0), mode="reflect", truncate=8)
        for w, s in zip((0.921, 0.105), wide, strict=True)
    )
    assert filtered(dctn(light, axes=(0, 1)), scale, 1.0) == pytest.approx(wanted, abs=2e-4)


@pytest.mark.parametrize("from_m", DISTANCES_M)
def test_the_chip_is_the_drawn_stripe_as_filtered_for_its_distance(from_m: float) -> None:
    apart = {}
    for codes in PAIRS:
        chip = mix([hex_to_lab(c).tolist() for c in codes], viewing=Viewing(from_m=from_m)).lab
        apart[codes] = float(delta_e_2000(chip, chip_of_picture(codes, DISTANCES_M.index(from_m))))
    worst = max(apart, key=lambda pair: apart[pair])
    print(
        f"{from_m} m: worst {apart[worst]:.2f} ({'+'.join(worst)}), mean {np.mean(list(apart.values())):.2f} (goal 2)"
    )
    assert apart[worst] <= 2.0


def test_the_far_end_is_the_mean_light_of_the_drawn_stripe() -> None:
    apart = {}
    for codes in PAIRS:
        far = linear_to_lab(blend_linear([hex_to_linear(c) for c in codes], viewing=Viewing(from_m=math.inf)))
        apart[codes] = float(delta_e_2000(far, linear_to_lab(drawn(*codes)[0].mean(axis=(0, 1)))))
    worst = max(apart, key=lambda pair: apart[pair])
    print(f"far: worst {apart[worst]:.2f} ({'+'.join(worst)}), mean {np.mean(list(apart.values())):.2f} (goal 1)")
    assert apart[worst] <= 1.0


@pytest.mark.parametrize(
    ("codes", "shares"),
    [
        (("1f3b73", "d8b25f"), (0.7, 0.3)),
        (("b4503c", "dedcd6"), (0.2, 0.8)),
        (("29292a", "a47333", "c2899f"), (1 / 3, 1 / 3, 1 / 3)),
        (("553c6c", "c8c0b4", "4f9256"), (0.5, 0.3, 0.2)),
    ],
)
def test_three_strands_and_unequal_shares_are_drawn_as_they_average(
    codes: tuple[str, ...], shares: tuple[float, ...]
) -> None:
    light = [hex_to_linear(c) for c in codes]
    pixels, _ = swatch_pixels(light, shares)
    far = linear_to_lab(blend_linear(light, shares, viewing=Viewing(from_m=math.inf)))
    apart = float(delta_e_2000(far, linear_to_lab(decoded(pixels / 255).mean(axis=(0, 1)))))
    print(f"{'+'.join(codes)} {shares}: mean light {apart:.2f} from the far end (goal 1)")
    assert apart <= 1.0


def test_a_drawn_solid_is_its_shade() -> None:
    apart = {}
    for code in sorted({c for pair in PAIRS for c in pair}):
        mean = linear_to_lab(drawn(code, code)[0].mean(axis=(0, 1)))
        apart[code] = float(delta_e_2000(hex_to_lab(code), mean))
    worst = max(apart, key=lambda code: apart[code])
    print(f"solids: worst {apart[worst]:.2f} ({worst}), mean {np.mean(list(apart.values())):.2f} (goal 1)")
    assert apart[worst] <= 1.0

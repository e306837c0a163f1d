"""A crocheted swatch in a photo: the mean of its light, in the same white as the strands beside it."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from blendplan.blend.calibrate import fit_swatches
from blendplan.blend.strands import LENT, Viewing, blend_linear
from blendplan.colour import delta_e_2000, hex_to_linear, linear_to_lab, linear_to_srgb
from blendplan.errors import PhotoError
from blendplan.page.yarn import swatch_of
from blendplan.photo import load_photo, read_photo, swatch_shade
from blendplan.workspace import Find

DARK, LIGHT = "#27405e", "#e0c070"
BOXES = ((60, 60, 240, 240), (300, 60, 480, 240), (540, 60, 720, 240))


def scene(lent: float, cast: tuple[float, float, float] = (1.0, 0.9, 0.7)) -> bytes:
    """Two yarns and a swatch of both on paper under a warm lamp; its light is that of strands that lend so much."""
    one, two = hex_to_linear(DARK), hex_to_linear(LIGHT)
    far = Viewing(from_m=math.inf, lent=lent)
    light = np.full((300, 800, 3), 0.87)
    for (left, top, right, bottom), colour in zip(
        BOXES, (one, two, blend_linear([one, two], viewing=far)), strict=True
    ):
        light[top:bottom, left:right] = colour
    noise = 1 + 0.015 * np.random.default_rng(4).normal(size=light.shape[:2])[..., None]
    codes = np.rint(255 * linear_to_srgb(np.clip(light * noise * np.array(cast) * 0.9, 0, 1))).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(codes).save(out, "PNG")
    return out.getvalue()


def test_the_mean_of_light_is_read() -> None:
    """Of strands that lend each other nothing the swatch is the plain mean of light."""
    photo = load_photo(scene(0.0), "swatch.png")
    # With 1.4 times as much red as blue the paper is asked about; she says that it is.
    (asked,) = read_photo(photo, boxes=BOXES).ask
    reading = read_photo(photo, boxes=BOXES, white=asked.spot)
    assert reading.white is not None
    truth = linear_to_lab((hex_to_linear(DARK) + hex_to_linear(LIGHT)) / 2)
    assert float(delta_e_2000(swatch_shade(photo, BOXES[2], light=reading.light).lab, truth)) < 2.5


@pytest.mark.parametrize("lent", [0.2, 0.35, 0.5])
def test_a_photo_of_three_calibrates(lent: float) -> None:
    photo = load_photo(scene(lent), "swatch.png")
    reading = read_photo(photo, boxes=BOXES)
    finds = [Find(photo="x", box=y.box, shades=y.shades) for y in reading.yarns]
    swatch = swatch_of(photo, reading, finds, (0, 1, 2))
    found = fit_swatches([swatch])
    assert found.low - 0.05 <= lent <= found.high + 0.05
    # The more sure it is told to be, the farther it goes from what is usual, and towards the truth.
    sure = fit_swatches([replace(swatch, within=1.0)])
    assert abs(sure.lent - LENT) >= abs(found.lent - LENT) - 1e-9
    if lent != LENT:
        assert (sure.lent - LENT) * (lent - LENT) > 0


def test_a_box_outside_is_refused() -> None:
    with pytest.raises(PhotoError, match="does not lie in"):
        swatch_shade(load_photo(scene(0.0), "swatch.png"), (0, 0, 9000, 20))

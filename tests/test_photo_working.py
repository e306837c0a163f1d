"""A large picture taken down strip by strip is the picture taken down in one go."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from blendplan.photo import loading


def _picture(mode: str, width: int, height: int) -> Image.Image:
    rng = np.random.default_rng(8)
    waves = np.add.outer(np.sin(np.arange(height) / 9), np.cos(np.arange(width) / 13)) * 50 + 120
    rgb = np.clip(waves[..., None] + rng.normal(0, 20, (height, width, 3)) + (10, -20, 40), 0, 255).astype(np.uint8)
    if mode == "I;16":
        return Image.fromarray(rgb[..., 0].astype(np.uint16) * 257)
    return Image.fromarray(rgb).quantize(32) if mode == "P" else Image.fromarray(rgb).convert(mode)


@pytest.mark.parametrize("mode", ["L", "RGB", "CMYK", "YCbCr", "P", "1", "I;16"])
@pytest.mark.parametrize("size", [(900, 604), (611, 1403), (1500, 9)])
def test_strips_join_without_a_seam(mode: str, size: tuple[int, int], monkeypatch: pytest.MonkeyPatch) -> None:
    picture = _picture(mode, *size)
    side = 100
    # Pillow's own way with the whole picture at once is the reference.
    plain = picture.convert("L") if mode == "1" else picture.convert("RGB") if mode in ("P", "YCbCr") else picture
    if mode == "I;16":
        plain = Image.fromarray((np.asarray(picture) / 257).astype(np.uint8))
    target = [max(1, round(n * side / max(size))) for n in size]
    wanted = plain.resize((target[0], target[1]), Image.Resampling.BOX, reducing_gap=2.0)
    monkeypatch.setattr(loading, "_STRIP", 5000)
    got, opacity = loading.working_picture(picture, "x", side)
    assert opacity is None
    assert got.mode == wanted.mode
    assert np.array_equal(np.asarray(got), np.asarray(wanted))


@pytest.mark.parametrize("mode", ["RGBA", "LA", "P", "RGB", "I;16"])
@pytest.mark.parametrize("strip", [2000, 10_000_000])
def test_clear_parts_weigh_nothing(mode: str, strip: int, monkeypatch: pytest.MonkeyPatch) -> None:
    factor, width, height = 6, 360, 240
    rgba = np.asarray(_picture("RGB", width, height).convert("RGBA")).copy()
    if mode in ("P", "RGB", "I;16"):
        # One colour is the clear one, in patches.
        rgba[40:90, 30:200, :3] = 0
        picture = Image.fromarray(rgba[..., :3])
        if mode == "P":
            picture = picture.quantize(64)
            picture.info["transparency"] = np.asarray(picture)[60, 60].item()
            rgba = np.asarray(picture.convert("RGBA")).copy()
        elif mode == "RGB":
            picture.info["transparency"] = (0, 0, 0)
            rgba[..., 3] = np.where((rgba[..., :3] == 0).all(axis=2), 0, 255)
        else:
            grey = rgba[..., 0].astype(np.uint16)
            picture = Image.fromarray(grey * 257)
            picture.info["transparency"] = 0
            rgba[..., :3] = rgba[..., :1]
            rgba[..., 3] = np.where(grey == 0, 0, 255)
    else:
        rgba[..., 3] = np.clip(np.add.outer(np.arange(height), np.arange(width)) - 100, 0, 255)
        picture = Image.fromarray(rgba).convert(mode)
        rgba = np.asarray(picture.convert("RGBA")).copy()
    blocks = rgba.reshape(height // factor, factor, width // factor, factor, 4).astype(float)
    weight = blocks[..., 3].sum(axis=(1, 3))
    colour = (blocks[..., :3] * blocks[..., 3:]).sum(axis=(1, 3)) / np.maximum(weight, 1)[..., None]
    monkeypatch.setattr(loading, "_STRIP", strip)
    got, opacity = loading.working_picture(picture, "x", width // factor)
    assert opacity is not None
    alpha = weight / factor**2
    assert np.abs(np.asarray(opacity).astype(float) - alpha).max() <= 1.5
    # Each of the two steps rounds the product of colour and opacity twice and the colour once, by half a code; where
    # opacity is half, a product is worth two codes: 2 * (2 * 1 + .5).
    solid = alpha >= 128
    off = np.abs(np.asarray(got.convert("RGB")).astype(float) - colour)[solid]
    assert solid.any()
    assert off.max() <= 5
    assert off.mean() < 0.8

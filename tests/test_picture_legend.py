"""PNG bytes by the standard (ISO/IEC 15948), letters that can be drawn, and the legend."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from fontTools.ttLib import TTFont
from PIL import Image

from blendplan.picture.canvas import encode_png
from blendplan.picture.legend import drawable, font_path, missing_characters, with_legend

PICTURE = np.random.default_rng(31).integers(0, 256, (200, 300, 3), dtype=np.uint8)


def chunks(data: bytes) -> list[tuple[bytes, bytes]]:
    """Chunks of a PNG, by the layout of the standard."""
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    at, found = 8, []
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        found.append((data[at + 4 : at + 8], data[at + 8 : at + 8 + length]))
        at += 12 + length
    return found


def test_png_holds_pixels_and_nothing_else() -> None:
    data = encode_png(PICTURE)
    assert {name for name, _ in chunks(data)} == {b"IHDR", b"IDAT", b"IEND"}
    assert np.array_equal(np.asarray(Image.open(io.BytesIO(data))), PICTURE)
    assert encode_png(PICTURE) == data


def test_png_density_is_pixels_per_metre() -> None:
    found = dict(chunks(encode_png(PICTURE, dpi=300)))
    assert set(found) == {b"IHDR", b"pHYs", b"IDAT", b"IEND"}
    # 300 / 0.0254 = 11811 pixels per metre, unit 1.
    assert struct.unpack(">IIB", found[b"pHYs"]) == (11811, 11811, 1)


def test_characters_that_the_font_lacks_are_those_its_own_table_lacks() -> None:
    table = TTFont(font_path()).getBestCmap()
    text = "Añ ß Ω Ж ≤ 毛糸 ひ 한 א ع ☂ 🧶 \u0300 ﬁ €"
    wanted = tuple(dict.fromkeys(c for c in text if not c.isspace() and ord(c) not in table))
    assert missing_characters(text) == wanted
    assert "毛" in wanted
    assert drawable("毛糸 2") == "□□ 2"


def test_legend_stands_beside_the_picture_and_shows_every_colour() -> None:
    entries = [(1, "Fern", ("#4f7f6a",)), (2, "Clay, light", ("#b5523b", "#e9e2d0")), ("C", "Mañana", ("#102030",))]
    out = with_legend(PICTURE, entries, marks=[(50.0, "1"), (52.0, "1+2"), (180.0, "2")])
    assert np.array_equal(out[:200, :300], PICTURE)
    assert out.shape[1] > 400
    beside = out[:, 300:].reshape(-1, 3)
    for _, _, colours in entries:
        for colour in colours:
            rgb = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
            assert np.all(beside == rgb, axis=1).sum() > 50
    assert np.array_equal(out, with_legend(PICTURE, entries, marks=[(50.0, "1"), (52.0, "1+2"), (180.0, "2")]))


@pytest.mark.parametrize("count", [0, 1, 60])
def test_legend_of_any_length(count: int) -> None:
    out = with_legend(PICTURE, [(i, f"yarn {i}", ("#4f7f6a",)) for i in range(count)], marks=[(1.0, "x")] * count)
    assert out.shape[0] >= 200
    assert out.shape[0] >= count * 20

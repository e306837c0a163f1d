"""Damaged and hostile files: a photo and its shades, or one plain line; no other error, and no hang.

Two ways: bytes changed blindly, and parts of a file (chunks, segments, directory entries, boxes) changed and put
together again with right lengths and checksums. What hypothesis finds to fail it shrinks and prints.
"""

from __future__ import annotations

import io
import os
import struct
import time

import numpy as np
import pytest
from file_parts import KINDS, Part
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from blendplan.errors import PhotoError
from blendplan.photo import load_photo, read_photo
from blendplan.photo import loading as door

# A longer run by hand: BLENDPLAN_FUZZ=20000.
EXAMPLES = int(os.environ.get("BLENDPLAN_FUZZ", "150"))
# A file of 100 bytes may say that it has so many pixels, and the decoder then fills them: kept small for speed.
LEAST = 2_000_000
SETTINGS = settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))


def _seeds() -> list[tuple[str, bytes]]:
    """One small file of every way of storing that the door knows, each with as much beside the pixels as it takes."""
    import pillow_heif

    rng = np.random.default_rng(1)
    rgb = Image.fromarray(rng.integers(0, 255, (24, 32, 3), dtype=np.uint8))
    clear = rgb.convert("RGBA")
    clear.putalpha(Image.fromarray(rng.integers(0, 255, (24, 32), dtype=np.uint8)))
    deep = Image.fromarray(rng.integers(0, 65535, (24, 32)).astype(np.uint16))
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769)[0xA001] = 0xFFFF
    more = {"exif": exif, "icc_profile": ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()}
    wanted = [
        ("png", rgb, more),
        ("png", rgb.quantize(8), {"transparency": bytes(range(0, 240, 30))}),
        ("png", clear.convert("LA"), {}),
        ("png", rgb.convert("1"), {"bits": 1}),
        ("png", deep, {"transparency": 40}),
        ("png", rgb, {"save_all": True, "append_images": [clear.convert("RGB")]}),
        ("jpeg", rgb, more),
        ("jpeg", rgb, {"progressive": True, "quality": 30}),
        ("jpeg", rgb.convert("CMYK"), {}),
        ("mpo", rgb, {"save_all": True, "append_images": [rgb.convert("L").convert("RGB")]}),
        ("webp", rgb, more),
        ("webp", clear, {"lossless": True}),
        ("webp", rgb, {"save_all": True, "append_images": [clear]}),
        ("tiff", rgb, more),
        ("tiff", rgb, {"compression": "tiff_lzw", "save_all": True, "append_images": [rgb]}),
        ("tiff", rgb, {"compression": "jpeg"}),
        ("tiff", rgb.convert("CMYK"), {"compression": "tiff_adobe_deflate"}),
        ("tiff", deep, {}),
    ]
    out = []
    for form, picture, beside in wanted:
        buffer = io.BytesIO()
        picture.save(buffer, form, **beside)
        out.append(("jpeg" if form == "mpo" else form, buffer.getvalue()))
    for picture, beside in ((rgb, {"exif": exif.tobytes()}), (clear, {"chroma": 444})):
        buffer = io.BytesIO()
        pillow_heif.from_pillow(picture).save(buffer, quality=50, **beside)
        out.append(("heif", buffer.getvalue()))
    return out


SEEDS = _seeds()
PARTS = [(kind, KINDS[kind][0](data)) for kind, data in SEEDS]
# Numbers at the rims of what 8, 16 and 32 bits hold, and small ones.
NUMBERS = st.one_of(
    st.integers(0, 300),
    st.sampled_from([0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF]),
)
BLIND = st.lists(
    st.tuples(st.integers(0, 4000), st.sampled_from(["set", "cut", "twice", "drop"]), st.integers(0, 255)), max_size=6
)
EDIT = st.tuples(
    st.integers(0, 60),
    st.sampled_from(["number", "number", "byte", "drop", "twice", "swap", "name", "cut", "grow"]),
    st.integers(0, 4000),
    NUMBERS,
    st.sampled_from(["B", "<H", ">H", "<I", ">I"]),
)


@pytest.fixture(scope="module", autouse=True)
def few_pixels() -> object:
    with pytest.MonkeyPatch.context() as patch:
        for limit in ("MAX_PIXELS", "MAX_PIXELS_JPEG", "MAX_PIXELS_WEBP"):
            patch.setattr(door, limit, LEAST)
        yield


def changed(parts: list[Part], edits: list[tuple[int, str, int, int, str]]) -> list[Part]:
    """Return the parts after each edit: the number of a part, what is done, a place in its body, a value, its form."""
    parts = list(parts)
    for which, what, place, value, form in edits:
        if not parts:
            break
        at = which % len(parts)
        kind, body = parts[at]
        start = place % (len(body) + 1)
        if what == "drop":
            del parts[at]
        elif what == "twice":
            parts.insert(at, parts[at])
        elif what == "swap":
            other = value % len(parts)
            parts[at], parts[other] = parts[other], parts[at]
        elif what == "name":
            parts[at] = (parts[value % len(parts)][0], body)
        elif what == "cut":
            parts[at] = (kind, body[:start])
        elif what == "grow":
            parts[at] = (kind, body[:start] + bytes(value % 5000) + body[start:])
        else:
            size = 1 if what == "byte" else struct.calcsize(form)
            packed = (value % 256**size).to_bytes(size, "little" if form[0] == "<" else "big")
            parts[at] = (kind, body[:start] + packed + body[start + size :])
    return parts


def opened(data: bytes) -> bool:
    """Whether a file gave a photo; it or one plain line is all that may come of it."""
    start = time.process_time()
    try:
        photo = load_photo(data, "fuzz")
    except PhotoError as error:
        assert str(error).startswith("fuzz ")
        assert "\n" not in str(error)
        photo = None
    else:
        height, width = photo.srgb8.shape[:2]
        assert photo.srgb8.dtype == np.uint8
        assert 1 <= min(width, height) <= max(width, height) <= 1600
        assert photo.mask is None or photo.mask.any()
    # A stop for a hang, not a timed target.
    assert time.process_time() - start < 20
    if photo is not None and photo.srgb8.size < 30_000:
        for yarn in read_photo(photo).yarns:
            assert all(np.isfinite(s.lab).all() for s in yarn.shades)
    return photo is not None


@pytest.mark.parametrize("which", range(len(SEEDS)))
def test_the_parts_of_a_file_make_the_file_again(which: int) -> None:
    kind, data = SEEDS[which]
    again = KINDS[kind][1](PARTS[which][1])
    assert np.array_equal(load_photo(again, "again").srgb8, load_photo(data, "first").srgb8)
    assert KINDS[kind][0](again)[: len(PARTS[which][1]) - 1] == PARTS[which][1][:-1]


@SETTINGS
@given(which=st.integers(0, len(SEEDS) - 1), edits=BLIND)
def test_blindly_changed_files_give_a_photo_or_one_plain_line(which: int, edits: list[tuple[int, str, int]]) -> None:
    data = bytearray(SEEDS[which][1])
    for place, kind, value in edits:
        at = place % max(len(data), 1)
        if kind == "set" and data:
            data[at] = value
        elif kind == "cut":
            del data[at:]
        elif kind == "twice":
            data[at:at] = data[at : at + value]
        else:
            del data[at : at + value]
    opened(bytes(data))


@pytest.mark.parametrize("kind", list(KINDS))
def test_files_with_changed_parts_give_a_photo_or_one_plain_line(kind: str) -> None:
    seeds = [number for number, (own, _) in enumerate(PARTS) if own == kind]
    seen = {True: 0, False: 0}

    @SETTINGS
    @given(which=st.sampled_from(seeds), edits=st.lists(EDIT, min_size=1, max_size=4))
    def check(which: int, edits: list[tuple[int, str, int, int, str]]) -> None:
        seen[opened(KINDS[kind][1](changed(PARTS[which][1], edits)))] += 1

    check()
    # Both happen often, or the edits are too wild or too tame to look behind the first line of the decoder.
    assert min(seen.values()) > 0.05 * EXAMPLES, seen

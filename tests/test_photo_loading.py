"""The loading door: every odd file behaves as its manifest says, and nothing but a plain line leaves it."""

from __future__ import annotations

import csv
import io
import os
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from blendplan.errors import PhotoError, QuantityError
from blendplan.photo import crop_png, load_photo, read_photo
from blendplan.photo import loading as door

ODD = Path(os.environ.get("BLENDPLAN_SAMPLES", "")) / "oddfiles"
# What the manifest asks for, sorted into what can be checked: refused, read, or read with something said.
REFUSED = (
    "refuse",
    "refuse politely",
    "refuse (ValueError)",
    "refuse by content",
    "refuse politely whatever the exception",
    "refuse politely; never show it as an animation",
    "refuse; do not average the grey fill",
    "refuse by own limit before decoding",
    "refuse by content or accept first frame",
    "plain message: nothing to read",
)
SAID = ("fall back to untagged, warn", "treat as sRGB, warn", "open; warn")
# The manifest's "first page, say so" file holds one directory only (its chain of IFDs ends after the first), so there
# is nothing to say of it; `test_the_first_of_several_pages_is_read_and_said` writes a file that has two.


def _rows() -> list[dict[str, str]]:
    path = ODD / "MANIFEST.csv"
    if not path.is_file():
        return []
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def png(array: np.ndarray, mode: str | None = None, **save: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(array, mode).save(out, "PNG", **save)
    return out.getvalue()


def jpeg(array: np.ndarray, **save: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(array).save(out, "JPEG", **save)
    return out.getvalue()


@pytest.mark.parametrize("row", _rows(), ids=lambda r: r["file"])
def test_odd_files_behave_as_the_manifest_says(row: dict[str, str], samples: Path) -> None:
    data = (samples / "oddfiles" / row["file"]).read_bytes()
    start = time.process_time()
    wanted = row["what the tool should do"]
    if wanted in REFUSED:
        with pytest.raises(PhotoError) as caught:
            load_photo(data, row["file"])
        text = str(caught.value)
        assert "\n" not in text
        assert row["file"] in text
    else:
        photo = load_photo(data, row["file"])
        height, width = photo.srgb8.shape[:2]
        assert max(width, height) <= 1600
        assert photo.srgb8.dtype == np.uint8
        assert not photo.srgb8.flags.writeable
        assert abs(photo.full_size[0] * photo.scale - width) <= 1
        if wanted in SAID:
            assert photo.notices, "something has to be said of this file"
    # Not a timed target: a stop for files that would hang a page.
    assert time.process_time() - start < 20


@pytest.mark.parametrize("row", _rows(), ids=lambda r: r["file"])
def test_odd_files_go_all_the_way_to_shades_or_one_plain_line(row: dict[str, str], samples: Path) -> None:
    try:
        reading = read_photo(load_photo((samples / "oddfiles" / row["file"]).read_bytes(), row["file"]))
    except PhotoError as error:
        assert "\n" not in str(error)
        return
    for yarn in reading.yarns:
        assert abs(sum(s.share for s in yarn.shades) - 1) < 1e-9
        assert all(np.isfinite(s.lab).all() for s in yarn.shades)


def test_the_manifest_is_covered(samples: Path) -> None:
    assert {p.name for p in (samples / "oddfiles").iterdir()} - {"MANIFEST.csv"} == {r["file"] for r in _rows()}


def test_a_ramp_of_16_bits_keeps_its_levels(samples: Path) -> None:
    photo = load_photo((samples / "oddfiles" / "made_ramp_16bit_grey.png").read_bytes(), "ramp")
    assert len(np.unique(photo.srgb8)) == 256
    assert abs(float(photo.srgb8.mean()) - 127) < 1


def test_a_cutout_on_transparent_black_has_one_shade(samples: Path) -> None:
    photo = load_photo((samples / "oddfiles" / "made_cutout_on_transparent.png").read_bytes(), "cutout")
    assert photo.mask is not None
    assert np.unique(photo.srgb8[photo.mask], axis=0).tolist() == [[0xC8, 0x3C, 0x28]]
    left, top = np.argwhere(photo.mask).min(axis=0)[::-1]
    right, bottom = np.argwhere(photo.mask).max(axis=0)[::-1] + 1
    (yarn,) = read_photo(photo, boxes=[(left, top, right, bottom)], white="off").yarns
    assert [s.srgb for s in yarn.shades] == ["#c83c28"]


def test_an_ink_photo_is_not_a_negative(samples: Path) -> None:
    # The picture is nearly black; with the ink direction mistaken it comes out nearly white.
    photo = load_photo((samples / "oddfiles" / "19_Pillow__pil_sample_cmyk.jpg").read_bytes(), "ink")
    assert photo.srgb8.mean() < 60


def test_cielab_white_is_white(samples: Path) -> None:
    photo = load_photo((samples / "oddfiles" / "22_Pillow__lab.tif").read_bytes(), "lab")
    assert photo.srgb8[0, 0].min() >= 250


def test_eight_ways_of_lying_come_out_upright() -> None:
    # JEITA CP-3451, orientation 1 to 8: the stored picture is the upright one turned back.
    upright = np.zeros((24, 40, 3), dtype=np.uint8)
    upright[:12, :20], upright[12:, 20:], upright[:12, 20:] = (220, 30, 30), (30, 30, 220), (30, 200, 30)
    back = {
        1: lambda a: a,
        2: lambda a: a[:, ::-1],
        3: lambda a: a[::-1, ::-1],
        4: lambda a: a[::-1],
        5: lambda a: a.transpose(1, 0, 2),
        6: lambda a: np.rot90(a, 1),
        7: lambda a: a[::-1, ::-1].transpose(1, 0, 2),
        8: lambda a: np.rot90(a, -1),
    }
    for value, turn in back.items():
        exif = Image.Exif()
        exif[0x0112] = value
        for form in ("PNG", "JPEG", "WEBP", "TIFF"):
            out = io.BytesIO()
            lossless = {"WEBP": {"lossless": True}, "JPEG": {"quality": 100, "subsampling": 0}}.get(form, {})
            Image.fromarray(np.ascontiguousarray(turn(upright))).save(out, form, exif=exif, **lossless)
            photo = load_photo(out.getvalue(), f"{value}.{form}")
            assert photo.full_size == (40, 24)
            assert np.abs(photo.srgb8.astype(int) - upright).max() <= 6, (value, form)


def test_the_first_of_several_pages_is_read_and_said() -> None:
    out = io.BytesIO()
    first, second = (Image.new("RGB", (12, 9), c) for c in ((10, 200, 30), (200, 0, 0)))
    first.save(out, "TIFF", save_all=True, append_images=[second])
    photo = load_photo(out.getvalue(), "two.tif")
    assert photo.srgb8[0, 0].tolist() == [10, 200, 30]
    assert [n.text for n in photo.notices] == ["the file holds 2 pictures; the first was read"]


def test_an_orientation_out_of_range_is_upright() -> None:
    exif = Image.Exif()
    exif[0x0112] = 77
    assert load_photo(jpeg(np.zeros((10, 20, 3), np.uint8), exif=exif), "x").full_size == (20, 10)


def test_turns_by_hand_go_right() -> None:
    upright = np.zeros((10, 20, 3), dtype=np.uint8)
    upright[0, 0] = 255
    photo = load_photo(png(upright), "x", quarter_turns=1)
    assert photo.full_size == (10, 20)
    assert photo.srgb8[0, -1].tolist() == [255, 255, 255]
    assert load_photo(png(upright), "x", quarter_turns=-1).srgb8[-1, 0].tolist() == [255, 255, 255]
    with pytest.raises(QuantityError):
        load_photo(png(upright), "x", quarter_turns=9)


def test_wide_gamut_profiles_come_out_as_their_srgb_twin() -> None:
    # Display P3 written with a profile built from its primaries (SMPTE EG 432-1) by colour-science's own matrices.
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    rng = np.random.default_rng(4)
    srgb = rng.uniform(0.1, 0.9, (8, 8, 3))
    p3 = colour.RGB_to_RGB(srgb, "sRGB", "Display P3", apply_cctf_decoding=True, apply_cctf_encoding=True)
    # An nclx-tagged HEIC carries P3 without a profile; libheif leaves the primaries alone.
    import pillow_heif

    big = np.kron(p3, np.ones((8, 8, 1)))
    heif = pillow_heif.from_pillow(Image.fromarray(np.rint(big * 255).astype(np.uint8)))
    out = io.BytesIO()
    heif.save(out, quality=-1, chroma=444, color_primaries=12, transfer_characteristics=13, matrix_coefficients=0)
    photo = load_photo(out.getvalue(), "p3.heic")
    seen = photo.srgb8[4::8, 4::8].astype(float)
    assert np.abs(seen - srgb * 255).max() <= 3


def test_profiles_are_applied_and_bad_ones_reported() -> None:
    array = np.full((8, 8, 3), (200, 60, 40), np.uint8)
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    assert np.abs(load_photo(png(array, icc_profile=srgb), "x").srgb8.astype(int) - array).max() <= 1
    broken = load_photo(png(array, icc_profile=srgb[:100]), "x")
    assert [n.level for n in broken.notices] == ["warning"]
    assert (broken.srgb8 == array).all()
    grey = np.full((8, 8), 120, np.uint8)
    twisted = load_photo(png(grey, icc_profile=srgb), "x")
    assert np.abs(twisted.srgb8.astype(int) - 120).max() <= 2


def test_clear_pixels_never_count(tmp_path: Path) -> None:
    rgba = np.zeros((40, 40, 4), np.uint8)
    rgba[10:30, 10:30] = (30, 120, 200, 255)
    photo = load_photo(png(rgba), "x", max_side=16)
    assert photo.mask is not None
    inside = photo.srgb8[photo.mask]
    assert np.abs(inside.astype(int) - (30, 120, 200)).max() <= 2, "clear black bled in while shrinking"


def test_limits_are_said_before_decoding() -> None:
    too_many = Image.new("1", (12_000, 12_000))
    out = io.BytesIO()
    too_many.save(out, "PNG")
    with pytest.raises(
        PhotoError, match=r"144 megapixels \(12000 by 12000\); allowed of its kind are at most 120; save it as a JPEG"
    ):
        load_photo(out.getvalue(), "wall.png")
    web = io.BytesIO()
    Image.new("RGB", (8000, 4001)).save(web, "WEBP", method=0)
    with pytest.raises(PhotoError, match=r"32 megapixels .* at most 25; save it as a JPEG"):
        load_photo(web.getvalue(), "wall.webp")
    with pytest.raises(PhotoError, match="MB"):
        load_photo(b"\xff\xd8" + bytes(door.MAX_PHOTO), "big.jpg")


def test_a_name_cannot_carry_folders_or_lines() -> None:
    with pytest.raises(PhotoError) as caught:
        load_photo(b"no photo", "../../etc/pass\nwd\u202e.png")
    assert "\n" not in str(caught.value)
    assert ".." not in str(caught.value)
    assert "\u202e" not in str(caught.value)


def test_crops_carry_no_metadata() -> None:
    exif = Image.Exif()
    exif[0x010E] = "=cmd()"
    photo = load_photo(jpeg(np.full((300, 400, 3), 90, np.uint8), exif=exif), "x.jpg")
    crop = crop_png(photo, (10, 10, 390, 200), max_side=128)
    kinds = []
    at = 8
    while at < len(crop):
        length = int.from_bytes(crop[at : at + 4], "big")
        kinds.append(crop[at + 4 : at + 8])
        at += 12 + length
    # ISO/IEC 15948: header, data, end, and nothing else.
    assert set(kinds) == {b"IHDR", b"IDAT", b"IEND"}
    assert Image.open(io.BytesIO(crop)).size == (128, 64)

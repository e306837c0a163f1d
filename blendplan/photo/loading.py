"""The one loading door: bytes of any phone's photo to upright 8-bit sRGB pixels, or one plain line.

What is done, in this order: the kind is read from the content and held against a list; the size is held
against an own limit before anything is decoded; the first frame alone is decoded, a JPEG at the next
scale above the working size; see-through parts are set apart as a mask; the picture is shrunk, then its
colour profile is applied in its own mode; then it is turned upright.
Metadata is read apart from the pixels and a fault in it never stops a picture.
Of the metadata nothing but the exposure is kept in a `Photo`.

PNG gamma (gAMA) is ignored on purpose: phones do not write it and editors often write it wrongly.
Colours outside sRGB (Display P3, Adobe RGB) are clipped to it after conversion.
"""

from __future__ import annotations

import hashlib
import io
import math
import threading
import warnings
import zlib
from dataclasses import dataclass
from itertools import chain
from pathlib import Path, PurePath
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import (
    Image,
    ImageCms,
    JpegImagePlugin,  # noqa: F401  each plugin enters itself in Pillow's list when it is imported
    PngImagePlugin,  # noqa: F401
    TiffImagePlugin,  # noqa: F401
    UnidentifiedImageError,
    WebPImagePlugin,  # noqa: F401
)

from blendplan.budgets import MAX_PHOTO, MAX_PIXELS, MAX_PIXELS_JPEG, MAX_PIXELS_WEBP
from blendplan.colour import linear_to_srgb, srgb_to_linear, xyz_to_linear
from blendplan.errors import BlendplanError, PhotoError
from blendplan.files import read_file
from blendplan.units import whole
from blendplan.wording import Notice, note

# So many pixels are converted at a time: the whole of a large picture never stands beside its own copy.
_STRIP = 4_000_000
# Shrinking by a whole number goes before the last step as long as the picture stays so many times too large.
_GAP = 2.0


def working_picture(image: Image.Image, name: str, side: int) -> tuple[Image.Image, Image.Image | None]:
    """Return the picture in L, RGB, CMYK or LAB at no more than `side` pixels, and its opacity as L or None.

    `image`: decoded; `name`: for the message; `side`: longest side, pixels.

    Pillow weighs each pixel by its opacity when it shrinks: clear pixels hold any colour.
    """
    width, height = image.size
    longest = max(width, height)
    if longest <= side:
        return _apart(_own_mode(image, name))
    target = (max(1, round(width * side / longest)), max(1, round(height * side / longest)))
    if width * height <= _STRIP:
        return _apart(_own_mode(image, name).resize(target, Image.Resampling.BOX, reducing_gap=_GAP))
    across, down = (int(full / small / _GAP) or 1 for full, small in zip(image.size, target, strict=True))
    rows = down * max(1, _STRIP // (width * down))
    strips = (
        _own_mode(image.crop((0, top, width, min(height, top + rows))), name).reduce((across, down))
        for top in range(0, height, rows)
    )
    first = next(strips)
    few = Image.new(first.mode, (first.width, -(-height // down)))
    for number, strip in enumerate(chain((first,), strips)):
        few.paste(strip, (0, number * (rows // down)))
    return _apart(few.resize(target, Image.Resampling.BOX, (0, 0, width / across, height / down)))


def _apart(picture: Image.Image) -> tuple[Image.Image, Image.Image | None]:
    if picture.mode == "LA":
        grey, opacity = picture.split()
        return grey, opacity
    if picture.mode == "RGBA":
        return picture.convert("RGB"), picture.getchannel("A")
    return picture, None


def _own_mode(image: Image.Image, name: str) -> Image.Image:
    """Return the picture in L, RGB, CMYK or LAB, or with its opacity in LA or RGBA."""
    mode = image.mode
    clear = "transparency" in image.info
    if mode.startswith("I;16"):
        return _grey16(image)
    if mode in ("LA", "RGBA") or (mode in ("L", "RGB", "CMYK", "LAB") and not clear):
        return image
    if mode in ("1", "L"):
        return image.convert("RGBA").convert("LA") if clear else image.convert("L")
    if mode in ("P", "YCbCr") and not clear:
        return image.convert("RGB")
    if mode in ("P", "PA", "RGB", "RGBX", "RGBa"):
        return image.convert("RGBA")
    raise PhotoError(
        "{name} holds numbers of kind {mode} and not a photo; save it as JPEG or PNG.", name=name, mode=mode
    )


def _grey16(image: Image.Image) -> Image.Image:
    """16-bit grey scaled to 8 bit; `convert` would clip it to white."""
    values = np.asarray(image, dtype=np.uint16)
    grey = Image.fromarray(((values.astype(np.uint32) * 255 + 32767) // 65535).astype(np.uint8))
    clear = image.info.get("transparency")
    if not isinstance(clear, int):
        return grey
    return Image.merge("LA", (grey, Image.fromarray(np.where(values == clear, 0, 255).astype(np.uint8))))


# XYZ (D65) of linear Display P3 (SMPTE EG 432-1 primaries) and Adobe RGB (1998), from their primaries.
_PRIMARIES = {
    "p3": ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)),
    "adobe": ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)),
}
_D65_XY = (0.3127, 0.3290)
# Adobe RGB (1998) colour image encoding, section 4.3.4.2: gamma 2 + 51/256.
_ADOBE_GAMMA = 563 / 256
_RELATIVE = ImageCms.Intent.RELATIVE_COLORIMETRIC
# ITU-T H.273 code points of HEIF's colour box.
_NCLX_P3, _NCLX_2020 = 12, 9
_NCLX_HDR = (16, 18)


def apply_profile(picture: Image.Image, info: dict[Any, Any], exif_space: str) -> tuple[Image.Image, list[Notice]]:
    """Return a picture in sRGB, and what had to be assumed.

    `picture`: mode L, RGB, CMYK or LAB; `info`: what the file says beside its pixels; `exif_space`: "adobe" or "".
    """
    icc = info.get("icc_profile")
    srgb: Any = ImageCms.createProfile("sRGB")
    if picture.mode == "LAB":
        # TIFF's CIELAB is under D50, as is the profile connection space.
        lab = ImageCms.profileToProfile(picture, ImageCms.createProfile("LAB"), srgb, outputMode="RGB")
        return _image(lab), []
    notices: list[Notice] = []
    if isinstance(icc, bytes) and icc:
        try:
            profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
            done = ImageCms.profileToProfile(picture, profile, srgb, renderingIntent=_RELATIVE, outputMode="RGB")
            return _image(done), notices
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            notices.append(note("the photo's colour profile cannot be used; its colours were taken as sRGB", "warning"))
    if picture.mode == "CMYK":
        notices.append(
            note("the photo is in printing inks without a usable profile; its colours are a plain estimate", "warning")
        )
    rgb = picture.convert("RGB")
    nclx = info.get("nclx_profile")
    if isinstance(nclx, dict) and not icc:
        if nclx.get("transfer_characteristics") in _NCLX_HDR:
            notices.append(note("the photo is stored for bright screens (HDR); its shades may be off", "warning"))
        elif nclx.get("color_primaries") == _NCLX_P3:
            return _from_primaries(rgb, "p3"), notices
    if exif_space == "adobe":
        return _from_primaries(rgb, "adobe"), notices
    return rgb, notices


def _image(done: Image.Image | None) -> Image.Image:
    if done is None:
        raise ValueError("no picture came out of the colour transform")
    return done


def _from_primaries(rgb: Image.Image, space: str) -> Image.Image:
    codes = np.arange(256) / 255
    decode: NDArray[np.float64] = codes**_ADOBE_GAMMA if space == "adobe" else srgb_to_linear(codes)
    pixels = xyz_to_linear(decode[np.asarray(rgb, dtype=np.uint8)] @ _matrix(space).T)
    return Image.fromarray(np.rint(linear_to_srgb(np.clip(pixels, 0, 1)) * 255).astype(np.uint8))


def _matrix(space: str) -> NDArray[np.float64]:
    columns = np.array([(x / y, 1.0, (1 - x - y) / y) for x, y in _PRIMARIES[space]]).T
    x, y = _D65_XY
    return columns * np.linalg.solve(columns, np.array([x / y, 1.0, (1 - x - y) / y]))


# EXIF 3.0 (CIPA DC-008): tags of the picture and of its Exif and interoperability directories.
_ORIENTATION, _EXIF, _INTEROPERABILITY = 0x0112, 0x8769, 0xA005
_COLOUR_SPACE, _TIME, _F_NUMBER, _SPEED = 0xA001, 0x829A, 0x829D, 0x8827


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """Orientation 1 to 8, the colour space named ("adobe" or ""), and the exposure or None where it is not known."""

    orientation: int = 1
    space: str = ""
    exposure: float | None = None


def said_by(image: Image.Image) -> Said:
    """Return what a picture's EXIF says, as far as it can be read."""
    try:
        exif = image.getexif()
        value = exif.get(_ORIENTATION, 1)
        own = exif.get_ifd(_EXIF)
        # DCF 2.0: an "R03" interoperability index with an uncalibrated colour space is Adobe RGB.
        space = ""
        if "icc_profile" not in image.info and own.get(_COLOUR_SPACE) == 0xFFFF:
            index = exif.get_ifd(_INTEROPERABILITY).get(1, "")
            space = "adobe" if str(index).strip("\x00 ") == "R03" else ""
    except Exception:  # noqa: BLE001  damaged metadata raises many kinds and never stops a picture
        return Said()
    # HEIC is turned by its own box; the copied EXIF value must not turn it again.
    turned = image.format != "HEIF" and isinstance(value, int) and 1 <= value <= 8
    return Said(orientation=value if turned else 1, space=space, exposure=_exposure(own))


def _exposure(own: dict[int, Any]) -> float | None:
    """Return time times speed over the square of the f-number: how large the code of one light is, up to a factor."""
    try:
        speed = own[_SPEED]
        speed = speed[0] if isinstance(speed, tuple) else speed
        value = float(own[_TIME]) * float(speed) / float(own[_F_NUMBER]) ** 2
    except (ArithmeticError, IndexError, KeyError, TypeError, ValueError):
        return None
    return value if math.isfinite(value) and value > 0 else None


# A JPEG with further frames (MPO) is opened by the JPEG plugin.
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "HEIF")
# Below this opacity (of 255) a pixel takes no part; in a picture that is fainter all over, below half of
# its strongest opacity. Assumed.
_OPAQUE = 128
_DOOR = threading.Lock()

# EXIF orientation (JEITA CP-3451, tag 0x0112) to the turn that makes the picture upright.
_UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_KINDS = (
    (b"GIF8", "a GIF"),
    (b"%PDF", "a PDF"),
    (b"PK\x03\x04", "a ZIP archive or office document"),
    (b"PK\x05\x06", "an empty ZIP archive"),
    (b"BM", "a BMP"),
    (b"\x00\x00\x01\x00", "an icon file"),
    (b"8BPS", "a layered picture"),
    (b"%!PS", "a PostScript file"),
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Photo:
    """An upright photo at working size, in sRGB, with nothing of its metadata but the exposure."""

    name: str  # the file's name, without folders
    srgb8: NDArray[np.uint8]  # (h, w, 3), gamma-coded sRGB; cannot be written to
    mask: NDArray[np.bool_] | None  # (h, w), true where a pixel counts; None where all do
    full_size: tuple[int, int]  # width and height of the upright photo as it was taken
    scale: float  # working pixels per pixel of the full photo, up to 1
    notices: tuple[Notice, ...] = ()  # what was assumed on the way in
    # Exposure time times film speed over the square of the f-number, where the file says them: what a light's code goes
    # by from photo to photo.
    exposure: float | None = None

    @property
    def sign(self) -> str:
        """A short sign of what is seen, the same for the same photo."""
        return hashlib.sha256(self.srgb8.tobytes()).hexdigest()[:12]

    @property
    def counts(self) -> NDArray[np.bool_]:
        """The mask as an array, all True where there is none."""
        return np.ones(self.srgb8.shape[:2], dtype=bool) if self.mask is None else self.mask


def load_photo(data: bytes | str | Path, name: str = "", *, quarter_turns: int = 0, max_side: int = 1600) -> Photo:
    """Return a photo from its file, upright and in sRGB.

    Parameters
    ----------
    data : bytes, str or Path
        The file's bytes or its path: JPEG (also with a second frame or gain map, which is ignored), PNG, WebP,
        TIFF or HEIC.
    name : str
        Only for messages, taken from the path where there is one; the kind is read from the content.
    quarter_turns : int
        Turns to the right by hand, -3 to 3, after the photo's own turning.
    max_side : int
        Longest side of the working picture, 16 to 8000 pixels.

    Raises
    ------
    PhotoError
        For anything that cannot be read, with one plain line; no other error leaves this function
        (a `quarter_turns` or `max_side` out of range is a `QuantityError`).
    """
    turns = whole(quarter_turns, "quarter turns", -3, 3)
    side = whole(max_side, "longest working side", 16, 8000)
    if isinstance(data, (str, Path)):
        name = name or Path(data).name
        data = read_file(data)
    label = " ".join("".join(c if c.isprintable() else " " for c in PurePath(str(name)).name).split())[:120] or "photo"
    if not data:
        raise PhotoError("{name} is empty (0 bytes); copy it again from the phone or camera.", name=label)
    if len(data) > MAX_PHOTO:
        raise PhotoError(
            "{name} is {given} MB; allowed are at most {allowed} MB; save it as a JPEG.",
            name=label,
            given=round(len(data) / 1e6),
            allowed=MAX_PHOTO // 1_000_000,
        )
    # One decode at a time: two 48-megapixel pictures side by side would double the memory.
    with _DOOR, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            return _decode(bytes(data), label, turns, side)
        except BlendplanError:
            raise
        except Exception as error:  # noqa: BLE001  damaged files raise over a dozen kinds; this is the one door
            raise _unreadable(data, label, error) from None


def _decode(data: bytes, name: str, turns: int, side: int) -> Photo:
    _register_heif()
    with Image.open(io.BytesIO(data), formats=FORMATS) as image:
        _check_size(image, name)
        full = image.size
        # Counted before the pixels are loaded: afterwards a TIFF has let go of its file.
        notices = _frames(image)
        if image.format in ("JPEG", "MPO"):
            scale = side / max(full)
            image.draft(None, (max(1, round(full[0] * scale)), max(1, round(full[1] * scale))))
        image.load()
        if image.format == "HEIF":
            full = image.size
        # Metadata apart from the pixels, and after them: PNG keeps it behind them.
        said = said_by(image)
        info = dict(image.info)
        picture, alpha = working_picture(image, name, side)
        if image.format == "PNG" and "icc_profile" in info and not _profile_is_whole(data):
            notices += (note("the photo's colour profile is damaged; it was used as far as it can be read", "warning"),)
    picture, more = apply_profile(picture, info, said.space)
    turn = _UPRIGHT.get(said.orientation)
    if turn is not None:
        picture = picture.transpose(turn)
        alpha = alpha.transpose(turn) if alpha is not None else None
        if said.orientation >= 5:
            full = (full[1], full[0])
    srgb8 = np.rot90(np.asarray(picture, dtype=np.uint8), -turns)
    mask = None
    if alpha is not None:
        opacity = np.rot90(np.asarray(alpha, dtype=np.uint8), -turns)
        most = int(opacity.max())
        if most == 0:
            raise PhotoError(
                "{name} is see-through all over; there is nothing to read; choose another photo.", name=name
            )
        if most < _OPAQUE:
            more.append(note("the photo is see-through nearly everywhere; its shades may be off", "warning"))
        mask = opacity >= min(_OPAQUE, (most + 1) // 2)
        mask = None if mask.all() else np.ascontiguousarray(mask)
    if turns % 2:
        full = (full[1], full[0])
    srgb8 = np.ascontiguousarray(srgb8)
    srgb8.flags.writeable = False
    if mask is not None:
        mask.flags.writeable = False
    return Photo(
        name=name,
        srgb8=srgb8,
        mask=mask,
        full_size=full,
        scale=max(srgb8.shape[:2]) / max(full),
        notices=(*notices, *more),
        exposure=said.exposure,
    )


def _register_heif() -> None:
    import pillow_heif

    if "HEIF" not in Image.OPEN:
        pillow_heif.register_heif_opener(thumbnails=False)


def _check_size(image: Image.Image, name: str) -> None:
    width, height = image.size
    progressive = bool(image.info.get("progressive") or image.info.get("progression"))
    small_scale = image.format in ("JPEG", "MPO") and not progressive
    allowed = MAX_PIXELS_JPEG if small_scale else MAX_PIXELS_WEBP if image.format == "WEBP" else MAX_PIXELS
    if width < 1 or height < 1:
        raise PhotoError("{name} has no pixels; choose another photo.", name=name)
    if width * height <= allowed:
        return
    given, most = round(width * height / 1e6), allowed // 1_000_000
    about: dict[str, Any] = {"name": name, "given": given, "width": width, "height": height, "allowed": most}
    if image.format not in ("JPEG", "MPO") and width * height <= MAX_PIXELS_JPEG:
        raise PhotoError(
            "{name} has {given} megapixels ({width} by {height}); "
            "allowed of its kind are at most {allowed}; save it as a JPEG.",
            **about,
        )
    raise PhotoError(
        "{name} has {given} megapixels ({width} by {height}); allowed are at most {allowed}; save it smaller.",
        **about,
    )


def _frames(image: Image.Image) -> tuple[Notice, ...]:
    if image.format == "MPO":
        # A second frame of a JPEG is a gain map, a depth picture or the other eye: never yarn of its own.
        return ()
    frames = int(getattr(image, "n_frames", 1) or 1)
    if frames > 1:
        return (note("the file holds {n} pictures; the first was read", "assumed", n=frames),)
    return ()


def _profile_is_whole(data: bytes) -> bool:
    """Whether the compressed profile of a PNG comes to its proper end (ISO/IEC 15948, iCCP chunk)."""
    at = 8
    while at + 12 <= len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        kind, body = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        if kind == b"IDAT":
            return True
        if kind == b"iCCP":
            unpack = zlib.decompressobj()
            try:
                unpack.decompress(body[body.index(0) + 2 :], 10_000_000)
            except (ValueError, zlib.error):
                return False
            return unpack.eof
        at += 12 + length
    return True


def _unreadable(data: bytes, name: str, error: Exception) -> PhotoError:
    head = bytes(data[:256]).lstrip()
    kind = next((words for magic, words in _KINDS if head.startswith(magic)), "")
    low = head.lower()
    if b"<svg" in low:
        kind = "an SVG drawing"
    elif low.startswith((b"<!doctype html", b"<html")):
        kind = "a web page"
    if isinstance(error, Image.DecompressionBombError):
        return PhotoError(
            "{name} has more than {allowed} megapixels; save it smaller.", name=name, allowed=MAX_PIXELS // 1_000_000
        )
    if kind:
        return PhotoError(
            "{name} is {kind} by its content; allowed are JPEG, PNG, WebP, TIFF and HEIC photos.", name=name, kind=kind
        )
    if isinstance(error, UnidentifiedImageError):
        if head[4:8] == b"ftyp":
            return PhotoError("{name} is a newer phone format that cannot be read; save or send it as JPEG.", name=name)
        return PhotoError(
            "{name} is not a photo that can be read; allowed are JPEG, PNG, WebP, TIFF and HEIC.", name=name
        )
    return PhotoError("{name} is damaged or cut short; copy it again, or save it anew as JPEG or PNG.", name=name)

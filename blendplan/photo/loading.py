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

import io
import threading
import warnings
import zlib
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import (
    Image,
    JpegImagePlugin,  # noqa: F401  each plugin enters itself in Pillow's list when it is imported
    PngImagePlugin,  # noqa: F401
    TiffImagePlugin,  # noqa: F401
    UnidentifiedImageError,
    WebPImagePlugin,  # noqa: F401
)

from blendplan.errors import BlendplanError, PhotoError
from blendplan.photo.exif import said_by
from blendplan.photo.profiles import apply_profile
from blendplan.photo.working import working_picture
from blendplan.units import whole
from blendplan.wording import Notice, note

__all__ = ["FORMATS", "MAX_BYTES", "MAX_PIXELS", "MAX_PIXELS_JPEG", "MAX_PIXELS_WEBP", "Photo", "load_photo"]

# A JPEG with further frames (MPO) is opened by the JPEG plugin.
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "HEIF")
# 120 million holds every 50 and 100 megapixel phone; a baseline JPEG may have 170 million because it is
# decoded at a small scale and never stands in memory at full size. Assumed limits, Pillow's own stop is 179.
MAX_PIXELS = 120_000_000
MAX_PIXELS_JPEG = 170_000_000
# WebP is unpacked by its own library to 15 to 18 bytes a pixel, measured; this many stay under 500 MB.
MAX_PIXELS_WEBP = 25_000_000
MAX_BYTES = 150_000_000
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
    """An upright photo at working size, in sRGB, with nothing of its metadata but the exposure.

    Attributes
    ----------
    name : str
        The file's name, without folders.
    srgb8 : ndarray, shape (h, w, 3), uint8
        Gamma-coded sRGB; cannot be written to.
    mask : ndarray of bool, shape (h, w), or None
        True where a pixel counts; None where all do.
    full_size : (int, int)
        Width and height of the upright photo as it was taken.
    scale : float
        Working pixels per pixel of the full photo, up to 1.
    notices : tuple of Notice
        What was assumed on the way in.
    exposure : float or None
        Exposure time times film speed over the square of the f-number, where the file says them: what a light's
        code goes by from photo to photo.
    """

    name: str
    srgb8: NDArray[np.uint8]
    mask: NDArray[np.bool_] | None
    full_size: tuple[int, int]
    scale: float
    notices: tuple[Notice, ...] = ()
    exposure: float | None = None

    @property
    def counts(self) -> NDArray[np.bool_]:
        """The mask as an array, all True where there is none."""
        return np.ones(self.srgb8.shape[:2], dtype=bool) if self.mask is None else self.mask


def load_photo(data: bytes, name: str, *, quarter_turns: int = 0, max_side: int = 1600) -> Photo:
    """Return a photo from the bytes of its file, upright and in sRGB.

    Parameters
    ----------
    data : bytes
        JPEG (also with a second frame or gain map, which is ignored), PNG, WebP, TIFF or HEIC.
    name : str
        Only for messages; the kind is read from the content.
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
    label = " ".join("".join(c if c.isprintable() else " " for c in PurePath(str(name)).name).split())[:120] or "photo"
    if not data:
        raise PhotoError("{name} is empty (0 bytes); copy it again from the phone or camera.", name=label)
    if len(data) > MAX_BYTES:
        raise PhotoError(
            "{name} is {given} MB; allowed are at most {allowed} MB; save it as a JPEG.",
            name=label,
            given=round(len(data) / 1e6),
            allowed=MAX_BYTES // 1_000_000,
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

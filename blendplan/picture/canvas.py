"""A drawing as codes, and its colours.

Each pixel has a code: the stripe, the mixture of its strands and its light; the ground lies in the fabric's shadow.
A pixel on the border of two stripes, or of the blanket, has a second code and the share of it.
Colours come last: what each yarn sends back at each light, and pixels as files.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain, combinations_with_replacement
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import hex_to_linear
from blendplan.errors import QuantityError
from blendplan.picture.distance import encode

LIGHT_BITS, MIX_BITS = 7, 6
LIGHTS, MIXES = 1 << LIGHT_BITS, 1 << MIX_BITS
MOST_LIGHT = 2.2
# Steps of each strand's share: as fine as 64 mixtures allow.
_GRID = {1: 1, 2: MIXES - 1, 3: 9, 4: 5}
FULL = 0.995
# The ground under fabric: how far its shadow reaches and falls (right, down), stitch widths, and how dark it is. In
# path-traced fabric what is seen through a narrow gap has .10 of the light of open ground; wide ones let it in.
SHADOW_REACH, SHADOW_FALLS, SHADOW_DEPTH = 0.20, (0.06, 0.10), 0.92
# From and at what share of fabric round and over it ground lies in shade.
SHADE_FROM, SHADE_AT = 0.42, 0.90
# Pixels a side of the grid on which shadows are worked out; they are soft.
SHADOW_GRID = 4


@lru_cache(maxsize=4)
def mixtures(strands: int) -> NDArray[np.float64]:
    """Return the shares of the strands for each mixture number, shape (<= 64, strands); rows add up to 1."""
    steps = _GRID[strands]
    if strands == 1:
        return np.ones((1, 1))
    if strands == 2:
        first = np.arange(MIXES) / steps
        return np.stack([first, 1 - first], axis=1)
    cuts = combinations_with_replacement(range(steps + 1), strands - 1)
    return np.array([np.diff([0, *c, steps]) for c in cuts]) / steps


def light_levels() -> NDArray[np.float64]:
    """Return the light of each light number, 0 to `MOST_LIGHT`, closer together in the dark."""
    return MOST_LIGHT * (np.arange(LIGHTS) / (LIGHTS - 1)) ** 2


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Where the picture looks: whole pixels on the blanket."""

    px_per_cm: float  # the same across and up: proportions are always true
    # left, top: pixel of the upper left corner; (0, 0) is the lower left corner of the blanket, y down, so `top` is
    # negative where the blanket is.
    left: int
    top: int
    width: int  # width, height: of the picture
    height: int


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Geometry:
    """A drawing without colours."""

    # (h, w), stripe x 8192 + mixture x 128 + light; the stripe after the last is the background.
    code: NDArray[np.uint32]
    edge: NDArray[np.int64]  # (m,), flat indices of pixels that show two stripes
    edge_code: NDArray[np.uint32]  # (m,)
    edge_share: NDArray[np.float32]  # (m,), share of the second code
    strands: tuple[int, ...]  # strands of each stripe
    light_weights: NDArray[np.float64]  # (128,), how much of the cloth has each light; its mean light is 1
    view: View


class Layer:
    """Rows of one stripe while they are laid over one another."""

    def __init__(self, most: int, height: int, width: int) -> None:
        self.maps = np.zeros((1 + most, height, width), dtype=np.float32)
        self.low, self.high = height, 0

    def add(self, tile: NDArray[np.float32], left: int, top: int, view: View) -> None:
        """Lay a tile whose upper left corner is at a pixel of the blanket over what is there."""
        k, h, w = tile.shape
        left, top = left - view.left, top - view.top
        y0, y1 = max(top, 0), min(top + h, self.maps.shape[1])
        x0, x1 = max(left, 0), min(left + w, self.maps.shape[2])
        if y0 >= y1 or x0 >= x1:
            return
        part = tile[:, y0 - top : y1 - top, x0 - left : x1 - left]
        room = self.maps[: k - 1, y0:y1, x0:x1]
        room *= part[0]
        room += part[1:]
        self.low, self.high = min(self.low, y0), max(self.high, y1)

    def clear(self) -> None:
        """Take everything away."""
        self.maps[:, self.low : self.high] = 0.0
        self.low, self.high = self.maps.shape[1], 0


def _mix_number(maps: NDArray[np.float32], total: NDArray[np.float32], strands: int) -> NDArray[np.uint32]:
    if strands == 1:
        return np.zeros(total.shape, dtype=np.uint32)
    safe = np.maximum(total, 1e-6)
    if strands == 2:
        return (maps[1] * np.float32(MIXES - 1) / safe + np.float32(0.5)).astype(np.uint32)
    from scipy.spatial import cKDTree

    shares = (maps[1 : strands + 1] / safe).reshape(strands, -1).T
    _, nearest = cKDTree(mixtures(strands)).query(shares)
    return nearest.reshape(total.shape).astype(np.uint32)


class Canvas:
    """Codes of the picture while stripes are laid over one another."""

    def __init__(self, view: View, ground: int) -> None:
        one = round((LIGHTS - 1) * (1 / MOST_LIGHT) ** 0.5)
        shape = (view.height, view.width)
        self.code = np.full(shape, (ground << (LIGHT_BITS + MIX_BITS)) + one, dtype=np.uint32)
        self.second = self.code.copy()
        self.share = np.zeros(shape, dtype=np.float32)

    def lay(self, layer: Layer, stripe: int, strands: int, gain: float) -> None:
        """Lay a stripe, its light times a gain, over the stripes below."""
        rows = slice(layer.low, layer.high)
        if layer.low >= layer.high:
            return
        maps = layer.maps[: strands + 1, rows]
        cover = maps[0]
        total = maps[1:].sum(axis=0) if strands > 1 else maps[1]
        light = total * np.float32(gain / MOST_LIGHT)
        light /= np.maximum(cover, np.float32(1e-6))
        np.sqrt(np.minimum(light, np.float32(1), out=light), out=light)
        light *= np.float32(LIGHTS - 1)
        light += np.float32(0.5)
        code = light.astype(np.uint32)
        code += _mix_number(maps, total, strands) << LIGHT_BITS
        code += np.uint32(stripe << (LIGHT_BITS + MIX_BITS))
        old, second, share = self.code[rows], self.second[rows], self.share[rows]
        full = cover >= FULL
        part = cover > np.float32(1 - FULL)
        part &= ~full
        np.copyto(old, code, where=full)
        np.copyto(share, np.float32(0), where=full)
        at = np.flatnonzero(part)
        old, second, share = old.reshape(-1), second.reshape(-1), share.reshape(-1)
        over, before, laid = cover.reshape(-1)[at], old[at], code.reshape(-1)[at]
        most = over >= 0.5
        second[at] = np.where(most, before, laid)
        old[at] = np.where(most, laid, before)
        share[at] = np.where(most, 1 - over, over)

    def geometry(
        self, view: View, wide: View, strands: tuple[int, ...], weights: NDArray[np.float64], stitch_px: float
    ) -> Geometry:
        """Return the drawing of a view from that of a wider one, the ground in the blanket's shadow.

        `stitch_px`: width of a stitch in pixels; 0 leaves the ground without shadow.
        """
        right, down = view.left - wide.left, view.top - wide.top
        inside = (slice(down, down + view.height), slice(right, right + view.width))
        ground = np.uint32(len(strands) << (LIGHT_BITS + MIX_BITS))
        spots = np.flatnonzero(self.share)
        y, x = np.divmod(spots, wide.width)
        within = (y >= down) & (y < down + view.height) & (x >= right) & (x < right + view.width)
        edge = (y - down)[within] * view.width + (x - right)[within]
        code, beside = self.code[inside].copy(), self.second.reshape(-1)[spots[within]]
        if stitch_px:
            bare = self.code >= ground
            cover = (~bare).view(np.uint8) * np.uint8(255)
            first, share, second = (
                bare.reshape(-1)[spots],
                self.share.reshape(-1)[spots],
                self.second.reshape(-1)[spots],
            )
            rim = first | (second >= ground)
            cover.reshape(-1)[spots[rim]] = np.rint(255 * np.where(first, share, 1 - share)[rim])
            above, levels = _cover_above(cover, stitch_px), _ground_levels()
            open_, lies = bare[inside], beside >= ground
            code[open_] = ground + levels[above[inside][open_]]
            beside[lies] = ground + levels[above.reshape(-1)[spots[within][lies]]]
        return Geometry(
            code=code,
            edge=edge,
            edge_code=beside,
            edge_share=self.share.reshape(-1)[spots[within]],
            strands=strands,
            light_weights=weights,
            view=view,
        )


def _cover_above(cover: NDArray[np.uint8], stitch_px: float) -> NDArray[np.uint8]:
    """Return how much fabric stands around and over each place of the ground, worked out on a coarser grid."""
    from PIL import Image, ImageFilter

    height, width = cover.shape
    step = SHADOW_GRID if stitch_px > 8 * SHADOW_GRID else 2 if stitch_px > SHADOW_GRID else 1
    image = Image.fromarray(cover).reduce(step)
    for _ in range(2):
        image = image.filter(ImageFilter.BoxBlur(SHADOW_REACH * stitch_px / step))
    fall = (round(SHADOW_FALLS[0] * stitch_px), round(SHADOW_FALLS[1] * stitch_px))
    moved = Image.new("L", (width, height))
    moved.paste(image.resize((image.width * step, image.height * step), Image.Resampling.BILINEAR), fall)
    return np.asarray(moved)


@lru_cache(maxsize=1)
def _ground_levels() -> NDArray[np.uint32]:
    """Return the light number of the ground for each step of the cover above it."""
    shade = np.clip((np.arange(256) / 255 - SHADE_FROM) / (SHADE_AT - SHADE_FROM), 0, 1)
    light = 1 - SHADOW_DEPTH * shade * shade * (3 - 2 * shade)
    return np.rint(np.sqrt(light / MOST_LIGHT) * (LIGHTS - 1)).astype(np.uint32)


def shadow_room(stitch_px: float) -> int:
    """Return from how many pixels beyond a view shadows on its ground come."""
    return int(np.ceil((2 * SHADOW_REACH + max(SHADOW_FALLS)) * stitch_px)) + 2 * SHADOW_GRID


Colour = str | tuple[float, float, float]

BACKGROUND = "#e9e7e2"
# Near-white yarn has no room for highlights: they are bent below white, by a curve of this power, and the rest
# is lifted by at most this factor to keep the mean; beyond that the drawn yarn is a little darker than its shade.
ROLL_OFF, MOST_LIFT = 8.0, 1.3
# Light level of an open, level place when the mean of plain cloth is 1 (the inverse of .79 measured in path-traced
# double crochet), and how much of the light from yarn to yarn counts: it makes the ratio of two channels in hollows .84
# of that on tops for an ochre yarn, as measured there (.42 to .50).
OPEN_LIGHT, BOUNCED = 1.27, 0.60
# Power of the relief: light that goes through yarn softens it (set so that spread over mean of luminance is that of
# path-traced double crochet: .34 at 70 pixels a stitch, .30 at 15, .23 at 5).
SOFTENED = 0.80


def light_of(colour: Colour) -> NDArray[np.float64]:
    """Return the light of a colour, within the gamut."""
    rgb = hex_to_linear(colour) if isinstance(colour, str) else np.asarray(colour, dtype=np.float64)
    if rgb.shape != (3,) or not np.isfinite(rgb).all():
        raise QuantityError("a strand colour of {given} was given; three finite numbers are needed.", given=str(colour))
    return np.clip(rgb, 0.0, 1.0)


def _lights_for(rgb: NDArray[np.float64], weights: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the light that one yarn sends back at each light level, shape (lights, 3).

    Where little of the sky is seen, light comes from yarn to yarn, and what the yarn keeps of each part of it is kept
    again at every step: with the share s of the sky seen, the reflectance r and b of `BOUNCED`, of the light of an
    open place s / (1 - b r (1 - s)) comes back. So hollows are deeper in colour, and those of white yarn paler.
    Highlights are bent below white, with the mean kept as far as `MOST_LIFT` allows.
    """
    levels = light_levels()[:, None] ** SOFTENED
    seen = np.clip(levels / OPEN_LIGHT, 0, None)
    back = levels / (1 - BOUNCED * rgb * (1 - np.minimum(seen, 1)))
    back = rgb * back / (weights @ back)
    wanted = weights @ back

    def bent(lift: NDArray[np.float64]) -> NDArray[np.float64]:
        return lift * back / (1 + (lift * back) ** ROLL_OFF) ** (1 / ROLL_OFF)

    low, high = np.ones(3), np.full(3, MOST_LIFT)
    for _ in range(30):
        lift = (low + high) / 2
        short = weights @ bent(lift) < wanted
        low, high = np.where(short, lift, low), np.where(short, high, lift)
    return bent(high)


def _lights_of(
    geometry: Geometry, colours: Sequence[Sequence[Colour]], background: str
) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """Return the light of every code, shape (n, 3), and what to add to a code of each stripe to find it there.

    Stripes of the same strands share their part of the table; the ground is its last part.
    """
    bundles: dict[tuple[Colour, ...], int] = {}
    bundle_of = [bundles.setdefault(tuple(strands), len(bundles)) for strands in colours]
    table = np.zeros((len(bundles) + 1, MIXES, LIGHTS, 3), dtype=np.float32)
    known = {c: _lights_for(light_of(c), geometry.light_weights) for c in dict.fromkeys(chain(*bundles))}
    for strands, slot in bundles.items():
        shares = mixtures(len(strands))
        table[slot, : len(shares)] = np.tensordot(shares, np.stack([known[c] for c in strands]), axes=1)
    table[-1] = (light_levels()[:, None] * light_of(background)).astype(np.float32)
    move = MIXES * LIGHTS * (np.array([*bundle_of, len(bundles)]) - np.arange(len(colours) + 1))
    return table.reshape(-1, 3), move


def paint(
    geometry: Geometry, colours: Sequence[Sequence[Colour]], *, background: str = BACKGROUND
) -> NDArray[np.uint8]:
    """Return the picture of a drawing in colours, 8-bit sRGB, shape (h, w, 3).

    `geometry`: from `prepare`; reused while only colours change; `background`: `#rrggbb`.

    Light is mixed, never codes: a pixel is the sum over strands of share x light x the yarn's colour.
    The mean light of plain cloth is 1, so the mean over a stripe of one yarn is the yarn's own shade, which
    was read off yarn with its shadows; of two yarns it is the mean of their light as they were given, which is as
    `DrawnStripe.of` tells it.
    """
    if tuple(len(c) for c in colours) != geometry.strands:
        raise QuantityError(
            "colours for {given} strands in the stripes were given; the drawing was prepared for {allowed}.",
            given=[len(c) for c in colours],
            allowed=list(geometry.strands),
        )
    return np.ascontiguousarray(_pixels(geometry, colours, background)[..., :3])


def cut_out(geometry: Geometry, colours: Sequence[Sequence[Colour]]) -> NDArray[np.uint8]:
    """Return the blanket without its ground: 8-bit sRGB and cover, shape (h, w, 4); arguments as of `paint`."""
    return _pixels(geometry, colours, None)


def _pixels(geometry: Geometry, colours: Sequence[Sequence[Colour]], background: str | None) -> NDArray[np.uint8]:
    table, move = _lights_of(geometry, colours, background or BACKGROUND)

    def rows(code: NDArray[np.uint32]) -> NDArray[Any]:
        return np.take(move, code // (MIXES * LIGHTS)) + code if move.any() else code

    packed = np.full((len(table), 4), 255, dtype=np.uint8)
    packed[:, :3] = encode(table)
    if background is None:
        packed[-MIXES * LIGHTS :] = 0
    pixels = np.take(packed.view(np.uint32).reshape(-1), rows(geometry.code)).view(np.uint8)
    pixels = pixels.reshape(*geometry.code.shape, 4)
    codes = (geometry.code.reshape(-1)[geometry.edge], geometry.edge_code)
    shares = [1 - geometry.edge_share, geometry.edge_share]
    if background is None:
        ground = len(geometry.strands) << (LIGHT_BITS + MIX_BITS)
        shares = [np.where(code < ground, share, 0) for code, share in zip(codes, shares, strict=True)]
    cover = shares[0] + shares[1]
    light = sum(share[:, None] * table[rows(c)] for share, c in zip(shares, codes, strict=True))
    rim = pixels.reshape(-1, 4)
    rim[geometry.edge, :3] = encode(light / np.maximum(cover, np.float32(1e-6))[:, None])
    rim[geometry.edge, 3] = np.rint(255 * cover)
    return pixels


def encode_png(picture: NDArray[np.uint8], dpi: float | None = None) -> bytes:
    """Return a picture as PNG bytes.

    `picture` (h, w), grey, sRGB, or sRGB with alpha; `dpi`: written as the pixel density, the one thing beside the
    pixels; nothing else is written: no text, no time, no profile (a PNG without one is shown as sRGB).
    """
    from PIL import Image

    out = io.BytesIO()
    image = Image.fromarray(np.ascontiguousarray(picture))
    if dpi is None:
        image.save(out, "PNG")
    else:
        image.save(out, "PNG", dpi=(dpi, dpi))
    return out.getvalue()


def encode_jpeg(picture: NDArray[np.uint8], quality: int = 92) -> bytes:
    """Return a picture as JPEG bytes without metadata.

    `picture` (h, w, 3), sRGB; `quality`: 1 to 95, as Pillow has it.

    No chroma subsampling: stripes of few pixels keep their colour up to their edge.
    """
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(picture)).save(out, "JPEG", quality=quality, subsampling=0)
    return out.getvalue()


def encode_webp(picture: NDArray[np.uint8], quality: int | None = 86) -> bytes:
    """Return a picture of shape (h, w, 3), or (h, w, 4) with alpha, as WebP bytes without metadata.

    `quality`: 0 to 100, as Pillow has it; None loses nothing, and is four times as quick as a PNG of the same pixels.
    """
    from PIL import Image

    out = io.BytesIO()
    image = Image.fromarray(np.ascontiguousarray(picture))
    if quality is None:
        image.save(out, "WEBP", lossless=True, method=0)
    else:
        image.save(out, "WEBP", quality=quality, method=4, alpha_quality=90)
    return out.getvalue()

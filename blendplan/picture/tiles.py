"""Tiles: a run of stitches drawn once, without colour, and placed many times.

All rows of a ripple have one shape and a repeat comes again along the row, so a few seeded variants of each
run are enough for a whole blanket.
A tile is drawn in fine pixels and brought down to the picture's pixels by area mean, at each fraction of a
pixel where it is needed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from blendplan.fabric.layout import RowLayout
from blendplan.picture.stitches import body_paths, fills, foundation_paths, ridge_paths, smooth
from blendplan.picture.tubes import Strands, join, shade, sweep, twist

__all__ = ["Chunk", "TileShop", "chunks_of", "fine_factor"]

Floats = NDArray[np.float64]
Maps = NDArray[np.float32]

VARIANTS = 4
LONGEST_RUN = 8
# Radius of one strand of a bundle of 1 to 4, in stitch widths: the bundle's cross-section stays the same.
BUNDLE_RADIUS = 0.225
# Light of the cloth behind the stitches, which is seen through gaps between posts only.
BEHIND = 0.18
# Light of the yarn between posts, before its own shading.
BETWEEN = 0.72
JITTER = 0.028
_LAYERS = ("body", "ridge", "foundation")


@dataclass(frozen=True, slots=True, eq=False)
class Chunk:
    """A run of stitches relative to its left border and the height of its row.

    Attributes
    ----------
    left_cm : float
        Left border on the blanket.
    kinds : tuple of str
    base, top : ndarray, shape (n, 2)
    base_way, top_way : ndarray, shape (n, 2)
        Across the stitch, one stitch width long, along the wave at foot and head.
    key : bytes
        Equal for runs of the same shape.
    """

    left_cm: float
    kinds: tuple[str, ...]
    base: Floats
    top: Floats
    base_way: Floats
    top_way: Floats
    key: bytes


def fine_factor(stitch_px: float) -> int:
    """Return fine pixels per pixel for a stitch of so many pixels."""
    return 4 if stitch_px < 5 else 3 if stitch_px < 10 else 2


def chunks_of(layout: RowLayout) -> tuple[Chunk, ...]:
    """Return the runs of a row in order, long ones cut into pieces."""
    place = layout.outline[1, 0]

    def way(points: Floats, span: Floats) -> Floats:
        reach = 0.3 * place
        rise = (layout.wave_y(points[:, 0] + reach) - layout.wave_y(points[:, 0] - reach)) / (2 * reach)
        return np.stack([span, span * rise], axis=1)

    base_way, top_way = way(layout.base, layout.base_span), way(layout.top, layout.top_span)
    chunks = []
    for first, last in layout.runs:
        cuts = [*range(first, last, LONGEST_RUN), last]
        for a, b in pairwise(cuts):
            left = float(layout.top[a, 0] - place / 2)
            shift = np.array([left, 0.0])
            parts = (layout.base[a:b] - shift, layout.top[a:b] - shift, base_way[a:b], top_way[a:b])
            kinds = layout.kinds[a:b]
            key = repr(kinds).encode() + b"".join(p.round(5).tobytes() for p in parts)
            chunks.append(Chunk(left, kinds, *parts, key))
    return tuple(chunks)


@dataclass(slots=True, eq=False)
class _Fine:
    maps: Maps  # (1 + strands, h, w): cover, then light x cover of each strand
    right: int  # fine pixels from the tile's left edge to the anchor
    down: int


def _paths(kind: str, layer: str, side: str) -> tuple[tuple[tuple[float, float, float], ...], ...]:
    if layer == "body":
        return body_paths(kind, side)
    return ridge_paths(kind) if layer == "ridge" else foundation_paths(kind)


def _area_mean(maps: Maps, f: int, pad_x: int, pad_y: int) -> Maps:
    """Return maps brought down f times, with empty fine pixels put before them."""
    if f == 1:
        return maps
    k, h, w = maps.shape
    room_h, room_w = -(-(h + pad_y) // f) * f, -(-(w + pad_x) // f) * f
    padded = np.zeros((k, room_h, room_w), dtype=np.float32)
    padded[:, pad_y : pad_y + h, pad_x : pad_x + w] = maps
    means = padded[:, ::f, ::f].copy()
    for q in range(1, f * f):
        means += padded[:, q // f :: f, q % f :: f]
    means /= np.float32(f * f)
    return means


@dataclass(slots=True, eq=False)
class TileShop:
    """Draws tiles when they are first asked for and keeps them.

    Attributes
    ----------
    layout : RowLayout
    fine_per_cm : float
    factor : int
        Fine pixels per pixel.
    seed : int
    """

    layout: RowLayout
    fine_per_cm: float
    factor: int
    seed: int
    _fine: dict[tuple[object, ...], _Fine] = field(default_factory=dict)
    _ready: dict[tuple[object, ...], Maps] = field(default_factory=dict)

    def tile(
        self, chunk: Chunk, *, layer: str, side: str, strands: int, variant: int, roll: int, x: int, y: int
    ) -> tuple[Maps, int, int]:
        """Return a tile and the pixel of its upper left corner.

        Parameters
        ----------
        chunk, layer, side, strands, variant
            What is drawn.
        roll : int
            By how many the strands change places.
        x, y : int
            Fine pixel of the anchor: left border of the run, height of the row.

        Returns
        -------
        maps : ndarray, shape (1 + strands, h, w)
        left, top : int
        """
        side = side if layer == "body" else "front"
        name = (chunk.key, layer, side, strands, variant)
        fine = self._fine.get(name)
        if fine is None:
            fine = self._fine[name] = self._draw(chunk, layer=layer, side=side, strands=strands, variant=variant)
        f = self.factor
        left, top = x - fine.right, y - fine.down
        pad_x, pad_y = left % f, top % f
        small = self._ready.get((*name, pad_x, pad_y))
        if small is None:
            small = self._ready[(*name, pad_x, pad_y)] = _area_mean(fine.maps, f, pad_x, pad_y)
        if roll:
            rolled = self._ready.get((*name, pad_x, pad_y, roll))
            if rolled is None:
                rolled = np.concatenate([small[:1], np.roll(small[1:], roll, axis=0)])
                self._ready[(*name, pad_x, pad_y, roll)] = rolled
            small = rolled
        return small, left // f, top // f

    def _draw(self, chunk: Chunk, *, layer: str, side: str, strands: int, variant: int) -> _Fine:
        rng = np.random.default_rng([self.seed, variant, _LAYERS.index(layer), side == "back", len(chunk.kinds)])
        scale = self.fine_per_cm
        width = self.layout.stitch_width_cm * scale
        radius = BUNDLE_RADIUS / float(np.sqrt(strands)) * width
        corner, far = self.box(chunk)
        shape = (int(np.ceil((far[1] - corner[1]) * scale)), int(np.ceil((far[0] - corner[0]) * scale)))
        parts: list[Strands] = []
        kinds = np.array(chunk.kinds)
        for kind in dict.fromkeys(chunk.kinds):
            these = np.flatnonzero(kinds == kind)
            for path in _paths(kind, layer, side):
                points = np.repeat(np.array(path)[None], len(these), axis=0)
                points[..., :2] += rng.uniform(-JITTER, JITTER, (*points.shape[:2], 2))
                length = np.sqrt(np.sum(np.diff(self._place(chunk, these, points), axis=1) ** 2, axis=2)).max()
                curve = smooth(points, max(3, int(np.ceil(length * scale / max(1.8, 0.2 * radius)))))
                middle = np.empty_like(curve)
                middle[..., :2] = (self._place(chunk, these, curve) - [corner[0], far[1]]) * [scale, -scale]
                middle[..., 2] = curve[..., 2] * width
                lit = np.ones(curve.shape[:2])
                if layer == "body" and kind != "ch":
                    lit = 0.66 + 0.34 * np.clip((curve[..., 1] + 0.05) / 0.26, 0, 1)
                    lit *= np.where(curve[..., 2] < -0.3, BETWEEN, 1.0)
                phase = rng.uniform(0, 2 * np.pi, (len(these), 1))
                wander = rng.uniform(-1, 1, (len(these), 3))
                parts.append(
                    twist(middle, lit, strands=strands, radius=radius, width=width, phase=phase, wander=wander)
                )
        maps = np.zeros((1 + strands, *shape), dtype=np.float32)
        if layer == "body":
            maps[0] = self._behind(chunk, corner, far, shape)
            maps[1:] = maps[0] * np.float32(BEHIND / strands)
        if parts:
            samples = join(parts)
            swept = sweep(samples, shape)
            light, who = shade(samples, swept, width, rng.normal(size=256).astype(np.float32))
            np.maximum(maps[0], who >= 0, out=maps[0])
            for j in range(strands):
                np.copyto(maps[1 + j], np.where(who == j, light, np.float32(0)), where=who >= 0)
        return _Fine(maps, round(-corner[0] * scale), round(far[1] * scale))

    def _place(self, chunk: Chunk, these: NDArray[np.int64], points: Floats) -> Floats:
        """Return points (u, v) of some stitches, shape (p, n, 2 or more), on the cloth in centimetres."""
        u, v = points[..., :1], points[..., 1:2]
        base, top = chunk.base[these][:, None], chunk.top[these][:, None]
        across = chunk.base_way[these][:, None] * (1 - v) + chunk.top_way[these][:, None] * v
        return base * (1 - v) + top * v + u * across

    def box(self, chunk: Chunk) -> tuple[Floats, Floats]:
        """Return the lower left and upper right corner of a tile about its anchor, centimetres."""
        margin = 0.9 * self.layout.stitch_width_cm
        points = np.concatenate([chunk.base, chunk.top])
        return points.min(axis=0) - margin, points.max(axis=0) + margin

    def _behind(self, chunk: Chunk, corner: Floats, far: Floats, shape: tuple[int, int]) -> Maps:
        """Return the cover of the cloth behind the stitches."""
        from PIL import Image, ImageDraw  # noqa: PLC0415

        image = Image.new("L", (shape[1], shape[0]))
        draw = ImageDraw.Draw(image)
        for i, kind in enumerate(chunk.kinds):
            extent = fills(kind)
            if extent is None:
                continue
            low, high = extent
            edge = np.array([[[-0.4, low], [0.45, low], [0.5, high], [-0.42, high]]])
            spots = (self._place(chunk, np.array([i]), edge)[0] - [corner[0], far[1]]) * [
                self.fine_per_cm,
                -self.fine_per_cm,
            ]
            draw.polygon([(float(x), float(y)) for x, y in spots], fill=255)
        return np.asarray(image, dtype=np.float32) / np.float32(255)

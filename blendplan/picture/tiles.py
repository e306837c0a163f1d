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
from blendplan.picture.tubes import Strands, hollow_step, join, shade, sweep, twist

__all__ = ["LARGE_STITCH", "Chunk", "TileShop", "chunks_of", "fine_factor", "is_large"]

Floats = NDArray[np.float64]
Maps = NDArray[np.float32]
Box = tuple[int, int, int, int]

VARIANTS = 3
LONGEST_RUN = 8
# Radius of one strand of a bundle of 1 to 4, in stitch widths: the bundle's cross-section stays the same.
BUNDLE_RADIUS = 0.225
# Light of the cloth behind the stitches, which is seen through gaps between posts only.
BEHIND = 0.18
# Light of the yarn between posts, before its own shading.
BETWEEN = 0.72
JITTER = 0.028
# Room for yarn beyond the feet and heads of a run, stitch widths.
MARGIN = 0.9
# Stitch width in pixels from which stitches are large: tiles are drawn one by one, in the part that is seen.
LARGE_STITCH = 30.0
# Share of a large tile above which it is drawn whole, and kept.
WORTH_A_PART = 0.7
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
    corner, far : ndarray, shape (2,)
        Lower left and upper right corner of all that it may cover.
    key : bytes
        Equal for runs of the same shape.
    """

    left_cm: float
    kinds: tuple[str, ...]
    base: Floats
    top: Floats
    base_way: Floats
    top_way: Floats
    corner: Floats
    far: Floats
    key: bytes


def fine_factor(stitch_px: float) -> int:
    """Return fine pixels per pixel for a stitch of so many pixels."""
    return 4 if stitch_px < 5 else 3 if stitch_px < 10 else 2


def is_large(stitch_px: float) -> bool:
    """Return whether tiles of a stitch of so many pixels may be drawn in part; a shop of such serves one drawing."""
    return stitch_px >= LARGE_STITCH


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
            points, margin = np.concatenate(parts[:2]), MARGIN * layout.stitch_width_cm
            chunks.append(Chunk(left, kinds, *parts, points.min(axis=0) - margin, points.max(axis=0) + margin, key))
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


def _crop(maps: Maps, right: int, down: int) -> _Fine:
    """Return a tile without its empty border."""
    rows, cols = np.flatnonzero(maps[0].any(axis=1)), np.flatnonzero(maps[0].any(axis=0))
    if rows.size == 0:
        return _Fine(maps[:, :1, :1], right, down)
    y, x = rows[0], cols[0]
    return _Fine(maps[:, y : rows[-1] + 1, x : cols[-1] + 1].copy(), right - int(x), down - int(y))


def _ready(means: Maps, roll: int) -> Maps:
    """Return a tile as it is laid: what it leaves of that below, its cover, the strands in their order."""
    return np.concatenate([1 - means[:1], means[:1], np.roll(means[1:], roll, axis=0)])


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
        self,
        chunk: Chunk,
        *,
        layer: str,
        side: str,
        strands: int,
        looks: int,
        variant: int,
        roll: int,
        x: int,
        y: int,
        seen: Box,
    ) -> tuple[Maps, int, int]:
        """Return a tile and the pixel of its upper left corner.

        Parameters
        ----------
        chunk, layer, side, strands, variant
            What is drawn.
        looks : int
            How many variants of it are in use.
        roll : int
            By how many the strands change places.
        x, y : int
            Fine pixel of the anchor: left border of the run, height of the row.
        seen : tuple of 4 int
            Fine pixels (left, top, right, bottom) that are looked at; a large tile of which only a part is seen
            is drawn in that part alone.

        Returns
        -------
        maps : ndarray, shape (2 + strands, h, w)
            What it leaves of that below it, its cover, and the light of each strand.
        left, top : int
        """
        side = side if layer == "body" else "front"
        name = (chunk.key, layer, side, strands)
        f = self.factor
        if (*name, variant) not in self._fine:
            large = is_large(self.layout.stitch_width_cm * self.fine_per_cm / f)
            part = self._part(chunk, strands, x, y, seen) if large else None
            # Small stitches are drawn in all variants at once, which is quicker; large ones when needed.
            many = (variant,) if large else tuple(range(looks))
            fines = self._draw(chunk, layer=layer, side=side, strands=strands, variants=many, part=part)
            if part is not None:
                left, top = x - fines[0].right, y - fines[0].down
                return _ready(_area_mean(fines[0].maps, f, left % f, top % f), roll), left // f, top // f
            for which, drawn in zip(many, fines, strict=True):
                self._fine[*name, which] = drawn
        fine = self._fine[*name, variant]
        left, top = x - fine.right, y - fine.down
        place = (*name, variant, roll, left % f, top % f)
        if place not in self._ready:
            self._ready[place] = _ready(_area_mean(fine.maps, f, left % f, top % f), roll)
        return self._ready[place], left // f, top // f

    def _part(self, chunk: Chunk, strands: int, x: int, y: int, seen: Box) -> Box | None:
        """Return the part of a tile to be drawn, fine pixels from its corner; None for all of it.

        There is room around for whole spheres and for the neighbourhood that hollows are measured against.
        """
        scale = self.fine_per_cm
        width = self.layout.stitch_width_cm * scale
        room = int(0.35 * width + BUNDLE_RADIUS / strands**0.5 * width) + 4
        grid = hollow_step(width)
        left, top = x - round(-chunk.corner[0] * scale), y - round(chunk.far[1] * scale)
        w, h = (int(np.ceil(v * scale)) for v in chunk.far - chunk.corner)
        x0, y0 = (max(0, v - room) // grid * grid for v in (seen[0] - left, seen[1] - top))
        x1, y1 = min(w, seen[2] - left + room), min(h, seen[3] - top + room)
        if x1 <= x0 or y1 <= y0:
            return (0, 0, grid, grid)
        return None if (x1 - x0) * (y1 - y0) > WORTH_A_PART * w * h else (x0, y0, x1, y1)

    def _draw(
        self, chunk: Chunk, *, layer: str, side: str, strands: int, variants: tuple[int, ...], part: Box | None
    ) -> list[_Fine]:
        """Return some variants of a tile, drawn below one another and taken apart."""
        stream = (_LAYERS.index(layer), side == "back", len(chunk.kinds))
        rngs = [np.random.default_rng([self.seed, v, *stream]) for v in variants]
        scale = self.fine_per_cm
        width = self.layout.stitch_width_cm * scale
        radius = BUNDLE_RADIUS / float(np.sqrt(strands)) * width
        corner, far = chunk.corner, chunk.far
        height = int(np.ceil((far[1] - corner[1]) * scale))
        shape = (height * len(variants), int(np.ceil((far[0] - corner[0]) * scale)))
        origin = (0, 0)
        if part is not None:
            origin, height, shape = part[:2], part[3] - part[1], (part[3] - part[1], part[2] - part[0])
        parts: list[Strands] = []
        kinds = np.array(chunk.kinds)
        for kind in dict.fromkeys(chunk.kinds):
            one = np.flatnonzero(kinds == kind)
            these = np.tile(one, len(variants))
            shift = np.repeat(np.arange(len(variants)) * height, len(one))[:, None]

            def drawn(low: float, high: float, *size: int, n: int = len(one)) -> Floats:
                return np.concatenate([rng.uniform(low, high, (n, *size)) for rng in rngs])

            for path in _paths(kind, layer, side):
                points = np.repeat(np.array(path)[None], len(these), axis=0)
                points[..., :2] += drawn(-JITTER, JITTER, len(path), 2)
                length = np.sqrt(
                    np.sum(np.diff(self._place(chunk, one, points[: len(one)]), axis=1) ** 2, axis=2)
                ).max()
                curve = smooth(points, max(3, int(np.ceil(1.1 * length * scale / max(3.0, 0.28 * radius)))))
                middle = np.empty_like(curve)
                middle[..., :2] = (self._place(chunk, these, curve) - [corner[0], far[1]]) * [scale, -scale]
                middle[..., :2] -= origin
                middle[..., 1] += shift
                middle[..., 2] = curve[..., 2] * width
                lit = np.ones(curve.shape[:2])
                if layer == "body" and kind != "ch":
                    lit = 0.66 + 0.34 * np.clip((curve[..., 1] + 0.05) / 0.26, 0, 1)
                    lit *= np.where(curve[..., 2] < -0.3, BETWEEN, 1.0)
                turn = {"phase": drawn(0, 2 * np.pi, 1), "wander": drawn(-1, 1, 3)}
                parts.append(twist(middle, lit, strands=strands, radius=radius, width=width, **turn))
        maps = np.zeros((1 + strands, *shape), dtype=np.float32)
        if layer == "body":
            maps[0] = np.tile(self._behind(chunk, (height, shape[1]), origin), (len(variants), 1))
            maps[1:] = maps[0] * np.float32(BEHIND / strands)
        if parts:
            samples = join(parts)
            swept = sweep(samples, shape)
            grain = np.random.default_rng([self.seed, 256]).normal(size=256).astype(np.float32)
            light, who = shade(samples, swept, width, grain)
            np.maximum(maps[0], who >= 0, out=maps[0])
            for j in range(strands):
                np.copyto(maps[1 + j], np.where(who == j, light, np.float32(0)), where=who >= 0)
        right, down = round(-corner[0] * scale) - origin[0], round(far[1] * scale) - origin[1]
        return [_crop(maps[:, v * height : (v + 1) * height], right, down) for v in range(len(variants))]

    def _place(self, chunk: Chunk, these: NDArray[np.int64], points: Floats) -> Floats:
        """Return points (u, v) of some stitches, shape (p, n, 2 or more), on the cloth in centimetres."""
        u, v = points[..., :1], points[..., 1:2]
        base, top = chunk.base[these][:, None], chunk.top[these][:, None]
        across = chunk.base_way[these][:, None] * (1 - v) + chunk.top_way[these][:, None] * v
        return base * (1 - v) + top * v + u * across

    def _behind(self, chunk: Chunk, shape: tuple[int, int], origin: tuple[int, int]) -> Maps:
        """Return the cover of the cloth behind the stitches."""
        from PIL import Image, ImageDraw

        image = Image.new("L", (shape[1], shape[0]))
        draw = ImageDraw.Draw(image)
        for i, kind in enumerate(chunk.kinds):
            extent = fills(kind)
            if extent is None:
                continue
            low, high = extent
            edge = np.array([[[-0.4, low], [0.45, low], [0.5, high], [-0.42, high]]])
            spots = (self._place(chunk, np.array([i]), edge)[0] - [chunk.corner[0], chunk.far[1]]) * [
                self.fine_per_cm,
                -self.fine_per_cm,
            ]
            draw.polygon([(float(x), float(y)) for x, y in spots - origin], fill=255)
        return np.asarray(image, dtype=np.float32) / np.float32(255)

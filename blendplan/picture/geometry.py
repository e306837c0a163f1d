"""Geometry apart from colour: which stripe, which strand and how much light at each pixel.

`prepare` is the slow step and knows no colour, so its result can be kept while colours are changed.
Each pixel has a code: the stripe, the mixture of its strands and its light.
A pixel on the border of two stripes, or of the blanket, has a second code and the share of it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

from blendplan.errors import QuantityError
from blendplan.fabric.layout import RowLayout
from blendplan.picture.tiles import LARGE_STITCH, VARIANTS, Chunk, TileShop, chunks_of, fine_factor, is_large
from blendplan.units import number, whole

__all__ = ["LIGHTS", "MIXES", "Geometry", "Layouts", "View", "as_layouts", "light_levels", "mixtures", "prepare"]

Layouts = RowLayout | Sequence[RowLayout]

LIGHT_BITS, MIX_BITS = 7, 6
LIGHTS, MIXES = 1 << LIGHT_BITS, 1 << MIX_BITS
MOST_LIGHT = 2.2
# Steps of each strand's share: as fine as 64 mixtures allow.
_GRID = {1: 1, 2: MIXES - 1, 3: 9, 4: 5}
_FULL = 0.995
# Stitch width in pixels above which stitches are set on whole pixels, which spares drawing them at every
# fraction of one.
WHOLE_PIXEL_STITCH = 8.0
# Stitches across of the patch on which the light is measured.
LONGEST_PATCH = 20


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
    """Where the picture looks: whole pixels on the blanket.

    Attributes
    ----------
    px_per_cm : float
        The same across and up: proportions are always true.
    left, top : int
        Pixel of the upper left corner; (0, 0) is the lower left corner of the blanket, y down, so `top` is
        negative where the blanket is.
    width, height : int
        Of the picture.
    """

    px_per_cm: float
    left: int
    top: int
    width: int
    height: int


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Geometry:
    """A drawing without colours.

    Attributes
    ----------
    code : ndarray of uint32, shape (h, w)
        stripe x 8192 + mixture x 128 + light; the stripe after the last is the background.
    edge : ndarray of int64, shape (m,)
        Flat indices of pixels that show two stripes.
    edge_code : ndarray of uint32, shape (m,)
    edge_share : ndarray of float32, shape (m,)
        Share of the second code.
    strands : tuple of int
        Strands of each stripe.
    light_weights : ndarray, shape (128,)
        How much of the cloth has each light; its mean light is 1.
    view : View
    """

    code: NDArray[np.uint32]
    edge: NDArray[np.int64]
    edge_code: NDArray[np.uint32]
    edge_share: NDArray[np.float32]
    strands: tuple[int, ...]
    light_weights: NDArray[np.float64]
    view: View

    def stripe_at(self) -> NDArray[np.int64]:
        """Return the stripe of each pixel, shape (h, w); len(strands) where the background is."""
        return (self.code >> (LIGHT_BITS + MIX_BITS)).astype(np.int64)

    def cover(self) -> NDArray[np.uint8]:
        """Return how much of each pixel is blanket, 0 to 255, shape (h, w)."""
        ground = len(self.strands)
        alpha = np.where(self.stripe_at() < ground, 1.0, 0.0).astype(np.float32)
        second = np.where((self.edge_code >> (LIGHT_BITS + MIX_BITS)) < ground, 1.0, 0.0)
        flat = alpha.reshape(-1)
        flat[self.edge] = flat[self.edge] * (1 - self.edge_share) + second * self.edge_share
        return np.rint(alpha * 255).astype(np.uint8)


class _Layer:
    """Rows of one stripe while they are laid over one another."""

    def __init__(self, most: int, height: int, width: int) -> None:
        self.maps = np.zeros((1 + most, height, width), dtype=np.float32)
        self.low, self.high = height, 0

    def add(self, tile: NDArray[np.float32], left: int, top: int) -> None:
        k, h, w = tile.shape
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


class _Canvas:
    """Codes of the picture while stripes are laid over one another."""

    def __init__(self, view: View, ground: int) -> None:
        one = round((LIGHTS - 1) * (1 / MOST_LIGHT) ** 0.5)
        shape = (view.height, view.width)
        self.code = np.full(shape, (ground << (LIGHT_BITS + MIX_BITS)) + one, dtype=np.uint32)
        self.second = self.code.copy()
        self.share = np.zeros(shape, dtype=np.float32)

    def lay(self, layer: _Layer, stripe: int, strands: int, gain: float) -> None:
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
        full = cover >= _FULL
        y, x = np.nonzero((cover > 1 - _FULL) & ~full)
        np.copyto(old, code, where=full)
        np.copyto(share, np.float32(0), where=full)
        over, before, laid = cover[y, x], old[y, x], code[y, x]
        most = over >= 0.5
        second[y, x] = np.where(most, before, laid)
        old[y, x] = np.where(most, laid, before)
        share[y, x] = np.where(most, 1 - over, over)


@dataclass(frozen=True, slots=True)
class _Weaver:
    """Lays tiles of rows into layers."""

    shop: TileShop
    chunks: tuple[Chunk, ...]
    extents: tuple[tuple[float, ...], ...]
    looks: tuple[int, ...]
    view: View
    seed: int

    @classmethod
    def of(cls, shop: TileShop, view: View, seed: int) -> _Weaver:
        chunks = chunks_of(shop.layout)
        extents = [tuple((np.concatenate([c.corner, c.far]) * shop.fine_per_cm).tolist()) for c in chunks]
        # A run that comes once in a row, beside others that come again, is an edge: one look is enough for it.
        often = Counter(c.key for c in chunks)
        edges = max(often.values()) > 2
        looks = tuple(1 if edges and often[c.key] == 1 else VARIANTS for c in chunks)
        return cls(shop, chunks, tuple(extents), looks, view, seed)

    def row(self, layer: _Layer, n: int, what: str, strands: int) -> None:
        """Lay one row (n counts from 0; the foundation chain is drawn at the foot of row 0)."""
        shop, view = self.shop, self.view
        rng = np.random.default_rng([self.seed, 1, n, what == "ridge"])
        variants = rng.integers(0, VARIANTS, len(self.chunks))
        start = int(rng.integers(0, strands))
        side = "front" if n % 2 == 0 else "back"
        f = shop.factor
        seen = (view.left * f, view.top * f, (view.left + view.width) * f, (view.top + view.height) * f)
        grid = f if shop.layout.stitch_width_cm * view.px_per_cm > WHOLE_PIXEL_STITCH else 1
        y = -round((n + 1) * shop.layout.rise_cm * shop.fine_per_cm / grid) * grid
        for c, (chunk, (west, south, east, north)) in enumerate(zip(self.chunks, self.extents, strict=True)):
            x = round(chunk.left_cm * shop.fine_per_cm / grid) * grid
            if x + west > (view.left + view.width) * f or x + east < view.left * f:
                continue
            if y - north > (view.top + view.height) * f or y - south < view.top * f:
                continue
            looks = 1 if what == "foundation" else self.looks[c]
            tile, left, top = shop.tile(
                chunk,
                layer=what,
                side=side,
                strands=strands,
                looks=looks,
                variant=int(variants[c]) % looks,
                roll=(start + c) % strands,
                x=x,
                y=y,
                seen=seen,
            )
            layer.add(tile, left - view.left, top - view.top)


def _order(rows: int, back_loops: bool) -> list[tuple[int, str]]:
    """Return what is laid after what.

    A row worked with this side facing takes the back loops, so the front loops of the row below lie over
    its feet as a ridge; on the next row the loop left free is on the other side.
    """
    steps: list[tuple[int, str]] = []
    for n in range(rows):
        below = (n - 1, "ridge") if n else (0, "foundation")
        facing = n % 2 == 0 and back_loops
        steps += [(n, "body"), below] if facing or n == 0 else [below, (n, "body")]
    return [*steps, (rows - 1, "ridge")]


@lru_cache(maxsize=12)
def _shop(layout: RowLayout, px_per_cm: float, seed: int) -> TileShop:
    """Return a shop that is kept, so that another order of stripes finds its stitches drawn."""
    factor = fine_factor(layout.stitch_width_cm * px_per_cm)
    return TileShop(layout, px_per_cm * factor, factor, seed)


def as_layouts(layout: Layouts) -> tuple[RowLayout, ...]:
    """Return the layouts of rows that alternate, one where all rows are alike."""
    return (layout,) if isinstance(layout, RowLayout) else tuple(layout)


def _measure(weavers: tuple[_Weaver, ...], strands: int, back_loops: bool) -> tuple[float, NDArray[np.float64]]:
    """Return the gain that brings the mean light of plain cloth to 1, and the lights found after it.

    Measured on a patch of one run and four rows.
    """
    layout, scale = weavers[0].shop.layout, weavers[0].view.px_per_cm
    first, last = layout.runs[len(layout.runs) // 2]
    left, right = layout.top[first, 0], layout.top[min(last, first + LONGEST_PATCH) - 1, 0]
    rows = 5 + int(np.ceil(layout.wave_cm / layout.rise_cm))
    view = View(
        px_per_cm=scale,
        left=round(left * scale),
        top=-round((rows - 1) * layout.rise_cm * scale),
        width=max(4, round((right - left) * scale)),
        height=max(4, round(4 * layout.rise_cm * scale)),
    )
    patches = [replace(weaver, view=view) for weaver in weavers]
    layer = _Layer(strands, view.height, view.width)
    for n, what in _order(rows + 1, back_loops):
        patches[n % len(patches)].row(layer, n, what, strands)
    cover, total = layer.maps[0], layer.maps[1:].sum(axis=0)
    light = total[cover > _FULL].astype(np.float64)
    if not light.size:
        # Stitches far below a pixel leave none that is quite covered; the best covered ones stand for them.
        most = float(cover.max())
        light = total[cover >= 0.9 * most].astype(np.float64) / most if most > 0 else np.ones(1)
    gain = 1.0 / float(light.mean())
    levels = np.rint(np.sqrt(np.minimum(light * gain / MOST_LIGHT, 1)) * (LIGHTS - 1)).astype(int)
    counts = np.bincount(levels, minlength=LIGHTS)
    return gain, counts / counts.sum()


@lru_cache(maxsize=32)
def _measure_large(
    layouts: tuple[RowLayout, ...], strands: int, seed: int, back_loops: bool
) -> tuple[float, NDArray[np.float64]]:
    """Return the same for large stitches, all measured at one scale, since drawing a patch of them is slow."""
    scale = LARGE_STITCH / layouts[0].stitch_width_cm
    view = View(px_per_cm=scale, left=0, top=0, width=1, height=1)
    shops = [_shop.__wrapped__(lay, scale, seed) for lay in layouts]
    return _measure(tuple(_Weaver.of(shop, view, seed) for shop in shops), strands, back_loops)


def prepare(
    stripes: Sequence[tuple[int, int]],
    layout: Layouts,
    view: View,
    *,
    seed: int = 0,
    back_loops: bool = True,
) -> Geometry:
    """Return the drawing of a blanket without its colours.

    Parameters
    ----------
    stripes : sequence of (rows, strands)
        From the first row worked (drawn at the bottom) to the last; 1 to 4 strands.
    layout : RowLayout, or a sequence of them
        The row that all rows repeat, or the rows that alternate, from the first worked on.
    view : View
    seed : int
        Of twist and small unevenness; the same seed gives the same stitches at every zoom.
    back_loops : bool
        True where rows are worked in back loops only, which leaves ridges.

    Raises
    ------
    QuantityError
        If there is no stripe, or a number is out of range.
    """
    if not stripes:
        raise QuantityError("no stripes were given to draw; give at least one stripe with one row.")
    for rows, strands in stripes:
        whole(rows, "rows of a stripe", 1, 5000)
        whole(strands, "strands of a stripe", 1, 4)
    number(view.px_per_cm, "pixels per cm", 0.05, 5000)
    layouts = as_layouts(layout)
    large = is_large(layouts[0].stitch_width_cm * view.px_per_cm)
    open_shop = _shop.__wrapped__ if large else _shop
    weavers = tuple(_Weaver.of(open_shop(lay, float(view.px_per_cm), seed), view, seed) for lay in layouts)
    gains = {
        k: _measure_large(layouts, k, seed, back_loops) if large else _measure(weavers, k, back_loops)
        for k in sorted({k for _, k in stripes})
    }
    stripe_of = np.repeat(np.arange(len(stripes)), [r for r, _ in stripes]).tolist()
    canvas = _Canvas(view, len(stripes))
    layer = _Layer(max(k for _, k in stripes), view.height, view.width)
    current = -1
    for n, what in _order(len(stripe_of), back_loops):
        stripe = stripe_of[n]
        if stripe != current and current >= 0:
            canvas.lay(layer, current, stripes[current][1], gains[stripes[current][1]][0])
            layer.clear()
        current = stripe
        weavers[n % len(weavers)].row(layer, n, what, stripes[stripe][1])
    canvas.lay(layer, current, stripes[current][1], gains[stripes[current][1]][0])
    edge = np.flatnonzero(canvas.share > 0)
    return Geometry(
        code=canvas.code,
        edge=edge,
        edge_code=canvas.second.reshape(-1)[edge],
        edge_share=canvas.share.reshape(-1)[edge],
        strands=tuple(k for _, k in stripes),
        light_weights=gains[max(gains)][1],
        view=view,
    )

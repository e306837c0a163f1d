"""Rows laid on a picture: the slow step, which knows no colour, so its result can be kept while colours are changed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from blendplan.budgets import MAX_ROWS
from blendplan.errors import QuantityError
from blendplan.fabric.layout import RowLayout
from blendplan.picture.canvas import (
    FULL,
    LIGHTS,
    MOST_LIGHT,
    SHADOW_GRID,
    Canvas,
    Geometry,
    Layer,
    View,
    shadow_room,
)
from blendplan.picture.stitches import Chunk, chunks_of
from blendplan.picture.tiles import VARIANTS, Context, TileShop, fine_factor, is_large
from blendplan.units import choice, number, whole

Layouts = RowLayout | Sequence[RowLayout]

# Stitch width in pixels above which stitches are set on whole pixels, which spares drawing them at every
# fraction of one.
WHOLE_PIXEL_STITCH = 8.0
# Greatest stitch in pixels at which the light is measured; larger ones have the same.
MEASURED_AT = 46.0
# Stitches across of the patch on which the light is measured.
LONGEST_PATCH = 20


@dataclass(frozen=True, slots=True)
class _Weaver:
    """Lays tiles of the rows of one layout that show one side."""

    shop: TileShop
    chunks: tuple[Chunk, ...]
    extents: tuple[tuple[float, ...], ...]
    looks: tuple[int, ...]
    side: str

    @classmethod
    def of(cls, shop: TileShop, layouts: tuple[RowLayout, ...], side: str) -> _Weaver:
        chunks = chunks_of(layouts, layouts.index(shop.layout), side)
        extents = [tuple((np.concatenate([c.corner, c.far]) * shop.fine_per_cm).tolist()) for c in chunks]
        # A run that comes once in a row, beside others that come again, is an edge: one look is enough for it.
        often = Counter(c.key for c in chunks)
        edges = max(often.values()) > 2
        looks = tuple(1 if edges and often[c.key] == 1 else VARIANTS for c in chunks)
        return cls(shop, chunks, tuple(extents), looks, side)

    def row(self, layer: Layer, view: View, context: Context, row: int, stripe_at: int) -> None:
        """Lay one row of a stripe that stands on so many rows."""
        shop, f = self.shop, self.shop.factor
        rng = np.random.default_rng([shop.seed, 1, row, self.side == "back"])
        # No run looks like the one beside it.
        variants = np.cumsum(rng.integers(1, VARIANTS, len(self.chunks))) + rng.integers(0, VARIANTS)
        # Strands that are alike change places from run to run, so that none is seen more than another.
        places = len(context.widths) if len(set(context.widths)) == 1 else 1
        start = int(rng.integers(0, places))
        seen = (view.left * f, view.top * f, (view.left + view.width) * f, (view.top + view.height) * f)
        stitch_px = shop.layout.stitch_width_cm * view.px_per_cm
        grid = f if stitch_px > WHOLE_PIXEL_STITCH else 1
        rise = shop.layout.rise_cm
        y = -round(stripe_at * rise * view.px_per_cm) * f
        y -= round((row + 1) * rise * shop.fine_per_cm / grid) * grid
        order = range(len(self.chunks)) if self.side == "front" else reversed(range(len(self.chunks)))
        for c in order:
            chunk, (west, south, east, north) = self.chunks[c], self.extents[c]
            x = round(chunk.left_cm * shop.fine_per_cm / grid) * grid
            if x + west > seen[2] or x + east < seen[0] or y - north > seen[3] or y - south < seen[1]:
                continue
            variant = int(variants[c]) % (1 if context.first or context.last else self.looks[c])
            roll = (start + c) % places
            layer.add(*shop.tile(chunk, context, variant=variant, roll=roll, at=(x, y), seen=seen), view)


def as_layouts(layout: Layouts) -> tuple[RowLayout, ...]:
    """Return the layouts of rows that alternate, one where all rows are alike."""
    return (layout,) if isinstance(layout, RowLayout) else tuple(layout)


@dataclass(frozen=True, slots=True)
class _Loom:
    """All that lays the rows of a blanket at one scale: a weaver for each of two sides or more layouts, in turn."""

    layouts: tuple[RowLayout, ...]
    weavers: tuple[_Weaver, ...]  # for row 0, 1 and on; the rows after come again
    px_per_cm: float

    @classmethod
    def of(cls, layouts: tuple[RowLayout, ...], px_per_cm: float, seed: int, back_loops: bool) -> _Loom:
        factor = fine_factor(layouts[0].stitch_width_cm * px_per_cm)
        shops = [TileShop(lay, px_per_cm * factor, factor, seed, back_loops) for lay in layouts]
        weavers = []
        for n in range(2 * len(layouts) if len(layouts) % 2 else len(layouts)):
            weavers.append(_Weaver.of(shops[n % len(layouts)], layouts, "front" if n % 2 == 0 else "back"))
        return cls(layouts, tuple(weavers), px_per_cm)

    def stripe(self, layer: Layer, view: View, stripe: Shape, first_row: int, rows: int) -> None:
        """Lay the rows of one stripe that stands on some rows in a blanket of so many rows."""
        for q in range(stripe.rows):
            n = first_row + q
            weaver = self.weavers[n % len(self.weavers)]
            context = Context(side=weaver.side, widths=stripe.widths, first=n == 0, last=n == rows - 1)
            weaver.row(layer, view, context, q, first_row)


@lru_cache(maxsize=12)
def _loom_kept(layouts: tuple[RowLayout, ...], px_per_cm: float, seed: int, back_loops: bool) -> _Loom:
    return _Loom.of(layouts, px_per_cm, seed, back_loops)


def _loom(layouts: tuple[RowLayout, ...], px_per_cm: float, seed: int, back_loops: bool) -> _Loom:
    """Return a loom that is kept, so that another order of stripes finds its stitches drawn; large ones are not."""
    make = _Loom.of if is_large(layouts[0].stitch_width_cm * px_per_cm) else _loom_kept
    return make(layouts, px_per_cm, seed, back_loops)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ends:
    """What a stripe begins and ends with."""

    # {"front", "back"}, the side that its first row shows: "front" on 0, 2, 4, ... rows.
    starts: str = "front"
    first: bool = False  # whether it is the first of its blanket, on the foundation chain
    last: bool = False  # whether no row stands on it, so its loops lie open

    def __post_init__(self) -> None:
        choice(self.starts, "side that a strip starts with", ("front", "back"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """All of a stripe that the drawing without colours depends on."""

    rows: int  # 1 to 5000
    # How thick each of its strands, 1 to 4 of them, is for the stitch: 0.3 to 2; 1 is usual.
    widths: tuple[float, ...] = (1.0, 1.0)

    def __post_init__(self) -> None:
        whole(self.rows, "rows of a stripe", 1, MAX_ROWS)
        whole(self.strands, "strands of a stripe", 1, 4)
        for width in self.widths:
            number(width, "width of a strand for its stitch", 0.3, 2.0)

    @property
    def strands(self) -> int:
        """How many strands are held together."""
        return len(self.widths)


def prepare_strip(
    stripe: Shape, layout: Layouts, view: View, *, ends: Ends, seed: int = 0, back_loops: bool = True
) -> Geometry:
    """Return the drawing of one stripe without its colours and without what is above and below it.

    `view`: its height is counted from the foot of the stripe's first row; `seed`, `back_loops`: as of `prepare`.
    """
    scale = float(number(view.px_per_cm, "pixels per cm", 0.05, 5000))
    layouts = as_layouts(layout)
    loom = _loom(layouts, scale, seed, back_loops)
    gain, weights = _measured(layouts, scale, replace(stripe, rows=1), seed, back_loops)
    # A stripe on one row or two, as its first row shows its back or its front.
    under = 0 if ends.first else 2 if ends.starts == "front" else 1
    lifted = replace(view, top=view.top - round(under * layouts[0].rise_cm * scale))
    layer, canvas = Layer(stripe.strands, view.height, view.width), Canvas(view, 1)
    loom.stripe(layer, lifted, stripe, under, under + stripe.rows + (not ends.last))
    canvas.lay(layer, 0, stripe.strands, gain)
    return canvas.geometry(view, view, (stripe.strands,), weights, 0.0)


def _measure(loom: _Loom, stripe: Shape) -> tuple[float, NDArray[np.float64]]:
    """Return the gain that brings the mean light of plain cloth to 1, and the lights found after it.

    Measured on a patch of one run and four rows.
    """
    layout, scale = loom.layouts[0], loom.px_per_cm
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
    layer = Layer(stripe.strands, view.height, view.width)
    loom.stripe(layer, view, replace(stripe, rows=rows + 1), 0, rows + 3)
    cover, total = layer.maps[0], layer.maps[1:].sum(axis=0)
    light = total[cover > FULL].astype(np.float64)
    if not light.size:
        # Stitches far below a pixel leave none that is quite covered; the best covered ones stand for them.
        most = float(cover.max())
        light = total[cover >= 0.9 * most].astype(np.float64) / most if most > 0 else np.ones(1)
    gain = 1.0 / float(light.mean())
    levels = np.rint(np.sqrt(np.minimum(light * gain / MOST_LIGHT, 1)) * (LIGHTS - 1)).astype(int)
    counts = np.bincount(levels, minlength=LIGHTS)
    return gain, counts / counts.sum()


@lru_cache(maxsize=64)
def _measured(
    layouts: tuple[RowLayout, ...], px_per_cm: float, stripe: Shape, seed: int, back_loops: bool
) -> tuple[float, NDArray[np.float64]]:
    """Return the same for large stitches at one scale, since drawing a patch of them is slow, and kept."""
    scale = min(px_per_cm, MEASURED_AT / layouts[0].stitch_width_cm)
    return _measure(_loom(layouts, scale, seed, back_loops), stripe)


def prepare(
    stripes: Sequence[Shape],
    layout: Layouts,
    view: View,
    *,
    seed: int = 0,
    back_loops: bool = True,
) -> Geometry:
    """Return the drawing of a blanket without its colours.

    `stripes`: from the first row worked (drawn at the bottom) to the last; `layout`: the row that all rows repeat, or
    the rows that alternate, from the first worked on; `seed`: of twist and small unevenness; the same seed gives the
    same stitches at every zoom; `back_loops`: true where rows are worked in back loops only, which leaves ridges.
    """
    if not stripes:
        raise QuantityError("no stripes were given to draw; give at least one stripe with one row.")
    scale = float(number(view.px_per_cm, "pixels per cm", 0.05, 5000))
    layouts = as_layouts(layout)
    stitch_px = layouts[0].stitch_width_cm * scale
    loom = _loom(layouts, scale, seed, back_loops)
    kinds = [replace(stripe, rows=1) for stripe in stripes]
    gains = {kind: _measured(layouts, scale, kind, seed, back_loops) for kind in dict.fromkeys(kinds)}
    # Shadows on the ground come from beyond the view.
    room = shadow_room(stitch_px)
    left, top = (-(-(v - room) // SHADOW_GRID) * SHADOW_GRID for v in (view.left, view.top))
    wide = View(
        px_per_cm=view.px_per_cm,
        left=left,
        top=top,
        width=view.left - left + view.width + room,
        height=view.top - top + view.height + room,
    )
    canvas = Canvas(wide, len(stripes))
    layer = Layer(max(stripe.strands for stripe in stripes), wide.height, wide.width)
    done, rows = 0, sum(stripe.rows for stripe in stripes)
    for i, (stripe, kind) in enumerate(zip(stripes, kinds, strict=True)):
        loom.stripe(layer, wide, stripe, done, rows)
        canvas.lay(layer, i, stripe.strands, gains[kind][0])
        layer.clear()
        done += stripe.rows
    most = max(kinds, key=lambda kind: kind.strands)
    return canvas.geometry(view, wide, tuple(stripe.strands for stripe in stripes), gains[most][1], stitch_px)

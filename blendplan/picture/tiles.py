"""Tiles: a run of stitches of one row drawn once, without colour, and placed many times.

All rows of a ripple have one shape and a repeat comes again along the row, so a few seeded variants of each run are
enough for a whole blanket.
A tile shows its row among its neighbours: what the loops of the row below hide is left out, and under the feet of the
row above and of the stitch beside there is more of the same.
So tiles laid over one another from the bottom up, a front row from left to right and a back row from right to left,
leave no seam, and each end of a loop goes under the stitch that it is drawn through.
A tile is drawn in fine pixels and brought down to the picture's pixels by area mean, at each fraction of a pixel where
it is needed.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from blendplan.fabric.layout import RowLayout
from blendplan.picture.stitches import ASIDE, Chunk, Frames, YarnPath, open_light, path_of, turning_chain
from blendplan.picture.tubes import RADIUS, Cloth, Part, Some, Strands, shade, sweep

Floats = NDArray[np.float64]
Maps = NDArray[np.float32]
Box = tuple[int, int, int, int]

VARIANTS = 3
# Owner of fine pixels without yarn; the strands count from 0.
NOTHING = -2
# How far the foundation chain lies below the foot of the first row, stitch widths.
FOUNDATION_LOW = 0.28
# Fibres round the yarn: how far they reach, stitch widths, how much they cover at most, and their light.
HAZE_REACH, HAZE_COVER, HAZE = 0.15, 0.22, 0.65
# Single fibres that are seen: how long, cm, and how many on a square centimetre, whatever the yarn, so finer yarn has
# longer ones for its stitch; how much one covers in the open, and adds to the light of yarn that it lies over (assumed,
# after photographs).
FIBRE_CM, FIBRES_PER_CM2, FIBRE_COVER, FIBRE_SHEEN = 0.4, 200, 0.65, 0.20
# Gaps narrower than a strand are closed by fibres and by yarn deep behind: from and at what share of yarn around a
# place, and the light there. What is wider shows what lies below.
CLOSED_FROM, CLOSED_AT, DEEP = 0.37, 0.50, 0.20
# Fuzz: spread of the places that fibres show, stitch widths; the share of strays and how much further they reach; from
# how many fine pixels on it is seen (assumed, after photographs of acrylic and wool).
FUZZ, STRAYS, STRAYS_REACH, FUZZ_FROM = 0.012, 0.08, 3.0, 0.7
# In how many straight pieces a fibre is drawn.
FIBRE_STEPS = 8
# Side of the square of fuzz that comes again and again, fine pixels.
FUZZ_FIELD = 256
# Feet and loops of the rows above and below: what lies within this of where the rows meet, stitch widths.
MEETS = 0.62
# Where the turning chain stands beside the last stitch, stitch widths from its middle.
TURN_AT = 0.52
# Stitch width in pixels from which stitches are large: tiles are drawn one by one, in the part that is seen.
LARGE_STITCH = 80.0
# Fine pixels round a tile, so that stitches far below a pixel have room for their spheres.
PAD = 3
# Share of a large tile above which it is drawn whole, and kept.
WORTH_A_PART = 0.7
# The path has about eleven points a stitch width; strands of more fine pixels than this need more.
SMOOTH_RADIUS, SPARSE_RADIUS, SPARSE_FULLER = 8.0, 3.9, 1.1


def fine_factor(stitch_px: float) -> int:
    """Return fine pixels per pixel for a stitch of so many pixels."""
    return 4 if stitch_px < 5 else 3 if stitch_px < 8 else 2 if stitch_px < LARGE_STITCH else 1


def is_large(stitch_px: float) -> bool:
    """Return whether tiles of a stitch of so many pixels may be drawn in part; a shop of such serves one drawing."""
    return stitch_px >= LARGE_STITCH


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """What a tile shows: a row's side, its strands and what is above and below it."""

    side: str  # {"front", "back"}
    widths: tuple[float, ...]  # as of `Shape`
    first: bool  # first, last: whether it stands on the foundation chain; whether no row stands on it
    last: bool

    def radius(self) -> float:
        """Return the radius of the thickest strand, stitch widths."""
        return RADIUS[len(self.widths)] * max(self.widths)


@dataclass(slots=True, eq=False)
class _Fine:
    maps: Maps  # (1 + strands, h, w): cover, then light x cover of each strand
    right: int  # fine pixels from the tile's left edge to the anchor
    down: int


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


@lru_cache(maxsize=4)
def _fuzz(seed: int) -> Maps:
    """Return how far down and right lie the places that fibres show, shape (2, side, side): tufts, fibres, strays."""
    from scipy.ndimage import gaussian_filter

    rng = np.random.default_rng([seed, 257])
    shape = (2, FUZZ_FIELD, FUZZ_FIELD)
    tufts = gaussian_filter(rng.normal(size=shape), (0, 1.2, 1.2), mode="wrap")
    fibres = np.where(rng.random(shape[1:]) < STRAYS, STRAYS_REACH, 1.0) * rng.normal(size=shape)
    return (0.4 * tufts / tufts.std() + 0.8 * fibres).astype(np.float32)


@lru_cache(maxsize=4)
def _fibres(seed: int, px_per_cm: float) -> Maps:
    """Return the cover of bent fibres, shape (side, side)."""
    from PIL import Image, ImageDraw

    rng = np.random.default_rng([seed, 258])
    many = round(FIBRES_PER_CM2 * (FUZZ_FIELD / px_per_cm) ** 2)
    step = min(FIBRE_CM * px_per_cm, FUZZ_FIELD) / FIBRE_STEPS
    bend = np.cumsum(rng.normal(0, 0.35, (many, FIBRE_STEPS)), axis=1) + rng.uniform(0, 2 * np.pi, (many, 1))
    away = np.cumsum(np.stack([np.cos(bend), np.sin(bend)], axis=2) * step, axis=1)
    points = rng.uniform(0, FUZZ_FIELD, (many, 1, 2)) + FUZZ_FIELD + away
    image = Image.new("L", (3 * FUZZ_FIELD, 3 * FUZZ_FIELD))
    pen = ImageDraw.Draw(image)
    for line, dark in zip(points, rng.integers(90, 256, many).tolist(), strict=True):
        pen.line([(x, y) for x, y in line.tolist()], fill=dark)
    # What goes over a border comes in at the other.
    sides = np.asarray(image).reshape(3, FUZZ_FIELD, 3, FUZZ_FIELD)
    return sides.max(axis=(0, 2)).astype(np.float32) / np.float32(255)


@lru_cache(maxsize=64)
def _freed(path: YarnPath) -> YarnPath:
    """Return a stitch whose loops no row stands on, so they are lit as chains are."""
    if not path.height:
        return path
    share = np.clip((path.points[:, 1] - path.height + 0.5) / 0.4, 0, 1)[:, None]
    return replace(path, light=path.light * (1 - share) + open_light() * share)


@dataclass(slots=True, eq=False)
class TileShop:
    """Draws tiles when they are first asked for and keeps them."""

    layout: RowLayout
    fine_per_cm: float
    factor: int  # fine pixels per pixel
    seed: int
    back_loops: bool
    _fine: dict[tuple[object, ...], _Fine] = field(default_factory=dict)
    _ready: dict[tuple[object, ...], Maps] = field(default_factory=dict)

    def tile(
        self, chunk: Chunk, context: Context, *, variant: int, roll: int, at: tuple[int, int], seen: Box
    ) -> tuple[Maps, int, int]:
        """Return a tile and the pixel of its upper left corner.

        `chunk`, `context`, `variant`: what is drawn; `roll`: by how many the strands change places; `at`: fine pixel of
        the anchor: left border of the run, height of the row; `seen`: fine pixels (left, top, right, bottom) that are
        looked at; a large tile of which only a part is seen is drawn in that part alone; returns `maps` (2 + strands,
        h, w), what it leaves of that below it, its cover, and the light of each strand.
        """
        name = (chunk.key, context)
        f = self.factor
        if (*name, variant) not in self._fine:
            large = is_large(self.layout.stitch_width_cm * self.fine_per_cm / f)
            part = self._part(chunk, context, at, seen) if large else None
            drawn = self._draw(chunk, context, variant, part)
            if part is not None:
                left, top = at[0] - drawn.right, at[1] - drawn.down
                return _ready(_area_mean(drawn.maps, f, left % f, top % f), roll), left // f, top // f
            self._fine[*name, variant] = drawn
        fine = self._fine[*name, variant]
        left, top = at[0] - fine.right, at[1] - fine.down
        place = (*name, variant, roll, left % f, top % f)
        if place not in self._ready:
            self._ready[place] = _ready(_area_mean(fine.maps, f, left % f, top % f), roll)
        return self._ready[place], left // f, top // f

    def _part(self, chunk: Chunk, context: Context, at: tuple[int, int], seen: Box) -> Box | None:
        """Return the part of a tile to be drawn, fine pixels from its corner; none for all of it.

        There is room around for whole spheres and for the haze.
        """
        scale = self.fine_per_cm
        width = self.layout.stitch_width_cm * scale
        room = int((2 * context.radius() + 2 * HAZE_REACH) * width) + 6
        left, top = at[0] - round(-chunk.corner[0] * scale), at[1] - round(chunk.far[1] * scale)
        w, h = (int(np.ceil(v * scale)) for v in chunk.far - chunk.corner)
        x0, y0 = max(0, seen[0] - left - room), max(0, seen[1] - top - room)
        x1, y1 = min(w, seen[2] - left + room), min(h, seen[3] - top + room)
        if x1 <= x0 or y1 <= y0:
            return (0, 0, 1, 1)
        return None if (x1 - x0) * (y1 - y0) > WORTH_A_PART * w * h else (x0, y0, x1, y1)

    def _draw(self, chunk: Chunk, context: Context, variant: int, part: Box | None) -> _Fine:
        """Return one variant of a tile."""
        rng = np.random.default_rng([self.seed, variant, context.side == "back", context.first, context.last])
        scale = self.fine_per_cm
        corner, far = chunk.corner, chunk.far
        wide, high = (int(np.ceil(v * scale)) for v in far - corner)
        x0, y0, x1, y1 = part or (-PAD, -PAD, wide + PAD, high + PAD)
        shape = (y1 - y0, x1 - x0)
        origin = np.array([corner[0] + x0 / scale, far[1]])
        cloth = Cloth(scale, self.layout.stitch_width_cm, origin, float(-y0), rng)
        samples = self._yarn(chunk, context, cloth)
        owner, depth = sweep(samples, shape)
        grain = np.random.default_rng([self.seed, 256]).normal(size=256).astype(np.float32)
        light, who = shade(samples, owner, depth, grain)
        looks, fibres = [(light, who)], np.zeros((1, 1), dtype=np.float32)
        if FUZZ * cloth.width_cm * scale >= FUZZ_FROM:
            # Fixed to the tile, so that a part of it has the fuzz of the whole.
            at = (np.arange(y0, y1)[:, None] % FUZZ_FIELD, np.arange(x0, x1) % FUZZ_FIELD)
            fibres = _fibres(self.seed, scale)[at]
            light *= 1 + np.float32(FIBRE_SHEEN) * fibres
            looks.append(self._fuzzed(light, who, depth, _fuzz(self.seed)[:, at[0], at[1]]))
        maps = self._maps(looks, fibres, len(context.widths))
        return _crop(maps, round(-corner[0] * scale) - x0, round(far[1] * scale) - y0)

    def _fuzzed(self, light: Maps, who: NDArray[np.int8], depth: Maps, field: Maps) -> tuple[Maps, NDArray[np.int8]]:
        """Return light and owners with fibres that stand off: a fine pixel shows a place near it that lies higher."""
        reach = FUZZ * self.layout.stitch_width_cm * self.fine_per_cm
        height, width = light.shape
        x, y = np.arange(width), np.arange(height)[:, None]
        away = np.rint(field * np.float32(reach)).astype(np.int64)
        spots = np.clip(y + away[0], 0, height - 1) * width + np.clip(x + away[1], 0, width - 1)
        spots = np.where(np.take(depth, spots) > depth, spots, y * width + x)
        return np.take(light, spots), np.take(who, spots)

    def _maps(self, looks: list[tuple[Maps, NDArray[np.int8]]], fibres: Maps, strands: int) -> Maps:
        """Return cover and light of each strand, the mean of all looks, with a haze of fibres where the first has none.

        `fibres`: cover of single fibres, where yarn is near.
        """
        from PIL import Image, ImageFilter

        who = looks[0][1]
        yarn = Image.fromarray((who >= 0).view(np.uint8) * np.uint8(255))
        reach = max(1.0, HAZE_REACH * self.layout.stitch_width_cm * self.fine_per_cm)
        near = np.asarray(yarn.filter(ImageFilter.BoxBlur(reach)), dtype=np.float32) / np.float32(255)
        closed = np.clip((near - np.float32(CLOSED_FROM)) / np.float32(CLOSED_AT - CLOSED_FROM), 0, 1)
        haze = np.minimum(np.float32(3) * near, np.float32(1))
        haze *= np.float32(HAZE_COVER) * near + np.float32(FIBRE_COVER) * fibres
        haze += (1 - haze) * closed
        haze[who != NOTHING] = 0
        maps = np.empty((1 + strands, *who.shape), dtype=np.float32)
        share = np.float32(1 / len(looks))
        for j in range(strands):
            maps[1 + j] = sum(np.where(owner == j, share * light, np.float32(0)) for light, owner in looks)
        haze *= 1 - sum((owner >= 0) * share for _, owner in looks)
        maps[0] = sum((owner >= 0) * share for _, owner in looks) + haze
        haze *= (np.float32(HAZE) + closed * np.float32(DEEP - HAZE)) / np.float32(strands)
        maps[1:] += haze
        return maps

    def _yarn(self, chunk: Chunk, context: Context, cloth: Cloth) -> Strands:
        """Return all strands of a tile: its own row, the feet of the row above, the loops of the row below."""
        other = {"front": "back", "back": "front"}[context.side]
        row = cloth.wandered(chunk.row)
        wanted = [(row, context.side, "row")]
        if not context.last:
            wanted.append((chunk.above, other, "feet"))
        if not context.first:
            wanted.append((chunk.below, other, "loops"))
        some = []
        for frames, side, what in wanted:
            gaps = frames.beside_a_gap() if what != "loops" else [False] * len(frames.kinds)
            looks = list(zip(frames.kinds, gaps, strict=True))
            for kind, open_ in dict.fromkeys(looks):
                which = np.array([i for i, look in enumerate(looks) if look == (kind, open_)])
                part = self._part_of(kind, side, what, frames, context, whole=open_) if kind else None
                if part is not None:
                    aside = 0.0 if kind in ("ch", "tch") else ASIDE[side]
                    # The stitch on the side that was laid before shows from there.
                    laid = which == (0 if context.side == "front" else len(looks) - 1)
                    some.append(Some(frames, which, part, ~laid & (what != "loops"), aside))
        some += self._ends(chunk, row, context)
        return self._held(cloth, some, context)

    def _ends(self, chunk: Chunk, row: Frames, context: Context) -> list[Some]:
        """Return the foundation chain under a first row, and the turning chain beside the first stitch worked."""
        out = []
        if context.first:
            under = chunk.below.raised(-FOUNDATION_LOW * self.layout.stitch_width_cm)
            which = np.array([i for i, kind in enumerate(under.kinds) if kind])
            chain = Part(path_of("ch", "front", back_loops=False))
            out.append(Some(under, which, chain, which > 0, 0.0))
        if chunk.turn:
            right = context.side == "front"
            which = np.array([len(row.kinds) - 2 if right else 1])
            chains = Part(turning_chain(chunk.turn, self._full()))
            out.append(Some(row, which, chains, np.ones(1, dtype=bool), TURN_AT if right else -TURN_AT))
        return out

    def _full(self) -> float:
        return self.layout.row_height_cm / self.layout.stitch_width_cm

    def _part_of(
        self, kind: str, side: str, what: str, frames: Frames, context: Context, *, whole: bool
    ) -> Part | None:
        """Return the path of a kind of stitch and what of it is drawn, None for nothing."""
        main = next((k for k in frames.kinds if k in ("sc", "hdc", "dc", "tr")), "dc")
        path = (
            turning_chain(main, self._full())
            if kind == "tch"
            else path_of(kind, side, back_loops=self.back_loops and not (context.first and what == "row"))
        )
        y = path.points[:, 1]
        if what == "feet":
            return Part(path, (path.seen | whole) & (y < MEETS)) if path.height else None
        if what == "loops":
            return Part(path, y > path.height - MEETS)
        free = whole | (y > path.height - MEETS) if context.last else whole
        return Part(_freed(path) if context.last else path, path.seen | free)

    def _held(self, cloth: Cloth, some: list[Some], context: Context) -> Strands:
        """Return the strands of stitches in as many points as their size needs."""
        radius = context.radius() * cloth.width_cm * cloth.scale
        if radius > SMOOTH_RADIUS:
            return cloth.held([replace(these, part=these.part.finer()) for these in some], context.widths)
        if radius >= SPARSE_RADIUS:
            return cloth.held(some, context.widths)
        few = []
        for these in some:
            part = these.part
            few.append(replace(these, part=Part(part.path, part.drawn & (np.arange(len(part.path.arc)) % 2 == 0))))
        return cloth.held(few, context.widths, SPARSE_FULLER)

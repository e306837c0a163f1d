"""Yarn as tubes: strands that turn about each other, swept as spheres into depth, ownership and light.

A strand is the hull of a sphere moved along its path, so at each pixel the sphere that stands highest owns the pixel
and gives the exact surface normal there.
Everything is measured in fine pixels of one tile; no colour is known here.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from blendplan.picture.stitches import GOES_OVER, Floats, Frames, YarnPath, open_light, partner_light, table_of

Maps = NDArray[np.float32]

# Radius of a strand and its distance from the middle of the bundle, stitch widths, by the number of strands.
# Two strands as in path-traced double crochet (seen .24 wide, .20 apart), with their halo; the others keep the bundle's
# cross-section.
RADIUS = {1: 0.182, 2: 0.129, 3: 0.105, 4: 0.091}
BESIDE = {1: 0.0, 2: 0.105, 3: 0.126, 4: 0.134}
# Bundles lie flat on the fabric.
FLAT = 0.70
# How strands turn about each other along the yarn: the angle a stitch width of yarn turns them by wanders with this
# spread, radians, and holds for about so long, stitch widths. Chosen so that the same strand stays uppermost for 1.6
# stitch widths of yarn on average and nine times in ten for less than 3.6, as measured in path-traced double crochet.
TURN_SPREAD, TURN_HOLDS = 0.8, 1.2
# Plies of a strand, the strand diameters along which one comes round, how much a ply bulges, darkens at its groove, and
# single fibres vary (assumed, after photographs of hand yarns).
PLIES, PLY_DIAMETERS = 4, 1.3
BULGE, GROOVE, FIBRE = 0.32, 0.45, 0.08
# Strand radius in fine pixels from which plies begin to show, and over how many they come in.
PLIES_FROM, PLIES_OVER = 3.0, 3.5
# Radius in fine pixels that every sphere has, so that none falls between the middles of pixels.
LEAST_RADIUS = 0.5
# Parts of a fine pixel that middles of spheres are taken to, and how many places are scattered at once.
QUARTERS, AT_ONCE = 4, 1 << 20
# Light that comes through the yarn from where no sky is seen, so no hollow is quite dark (assumed).
THROUGH = 0.06
# Fibres stand off a strand all round, so its rim is lit as if it faced the eye by this share (assumed).
HALO = 0.3


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Strands:
    """Sample points of strands, one sphere each, n of them, at m places along the yarn."""

    centre: Maps  # (n, 3), x right, y down, z to the eye, fine pixels
    partner: Maps  # (n, 3), unit way to the other strands
    arc: Maps  # (n,), length along the strand, fine pixels
    strand: NDArray[np.int8]  # (n,), which strand of the bundle; -1 where it only stands in front
    radius: Maps  # (n,)
    at: NDArray[np.int64]  # (n,), at which place
    along: Maps  # (m, 3), unit tangent
    light: Maps  # (m, 4)


def smooth_noise(rng: np.random.Generator, shape: tuple[int, ...], steps: float) -> Floats:
    """Return noise of spread 1 that changes over so many steps of its last axis."""
    size = max(1, round(steps))
    noise = rng.standard_normal((*shape[:-1], shape[-1] + 2 * size), dtype=np.float32)
    for _ in range(2):
        total = np.cumsum(noise, axis=-1)
        noise = total[..., size:] - total[..., :-size]
    # Twice a sum over `size`: its spread is that of a triangle of weights.
    spread = float(np.sqrt(size * (2 * size * size + 1) / 3))
    return np.asarray(noise / spread)


def turns(rng: np.random.Generator, paths: int, samples: int, step: float, strands: int) -> Floats:
    """Return the angle of strands along some yarns, radians, shape (paths, samples), in steps of so many stitch widths.

    For every yarn there is another in which the strands have changed places, somewhere among the rest, so that no
    strand is seen more than another.
    """
    of = rng.permutation(paths)
    kinds = -(-paths // strands)
    rate = smooth_noise(rng, (kinds, samples), TURN_HOLDS / step) * TURN_SPREAD
    angle = rng.uniform(0, 2 * np.pi, (kinds, 1)) + np.cumsum(rate, axis=1) * step
    return np.asarray(angle[of // strands] + (2 * np.pi / strands * (of % strands))[:, None], dtype=np.float32)


def sweep(strands: Strands, shape: tuple[int, int]) -> tuple[NDArray[np.int32], Maps]:
    """Return the sample whose sphere stands highest at each fine pixel, -1 for none, and its height there.

    Spheres over the border are left out.

    Height and sphere share one number, so that the greatest tells both. Middles are taken to a quarter of a fine pixel,
    which makes the caps of all spheres one of sixteen.
    """
    radii = np.unique(strands.radius).tolist()
    reach = int(np.ceil(radii[-1])) + 1
    x, y = (strands.centre[:, c] * QUARTERS for c in (0, 1))
    x, y = x.astype(np.int64), y.astype(np.int64)
    border = QUARTERS * (reach + 1)
    right, low = QUARTERS * shape[1] - border, QUARTERS * shape[0] - border
    inside = np.flatnonzero((x >= border) & (y >= border) & (x < right) & (y < low))
    x, y = x[inside], y[inside]
    phase = (y % QUARTERS) * QUARTERS + x % QUARTERS
    spot = (y // QUARTERS) * shape[1] + x // QUARTERS
    steps = 4096.0 / radii[-1]
    word = ((strands.centre[inside, 2] * np.float32(steps)).astype(np.int64) + (1 << 20) << 24) + inside
    best = np.full(shape[0] * shape[1], -1, dtype=np.int64)
    grid = np.arange(-reach, reach + 1)
    for radius, q in product(radii, range(QUARTERS * QUARTERS)):
        here = np.flatnonzero((phase == q) & (strands.radius[inside] == np.float32(radius)))
        down, across = (grid + 0.5 - (part + 0.5) / QUARTERS for part in divmod(q, QUARTERS))
        room = radius**2 - down[:, None] ** 2 - across[None, :] ** 2
        row, column = np.nonzero(room > 0)
        cap = (np.sqrt(room[row, column]) * steps).astype(np.int64) << 24
        away = (row - reach) * shape[1] + column - reach
        for some in np.array_split(here, max(1, len(here) * len(cap) // AT_ONCE)):
            np.maximum.at(best, (spot[some, None] + away).reshape(-1), (word[some, None] + cap).reshape(-1))
    best = best.reshape(shape)
    owner = np.where(best >= 0, best & 0xFFFFFF, -1).astype(np.int32)
    depth = np.where(best >= 0, ((best >> 24) - (1 << 20)) / steps, -np.inf).astype(np.float32)
    return owner, depth


def shade(strands: Strands, owner: NDArray[np.int32], depth: Maps, grain: Maps) -> tuple[Maps, NDArray[np.int8]]:
    """Return the light of each fine pixel (1 is level open yarn) and the strand that owns it.

    `owner`, `depth`: as told by `sweep`; `grain` (256,), seeded numbers about 0 for single fibres; returns
    `who`: -1 where yarn that is not drawn stands in front, -2 where there is none.

    The normal of the sphere that owns a pixel, less its part along the strand, is the normal of the strand.
    """
    light = np.zeros(owner.shape, dtype=np.float32)
    who = np.full(owner.shape, -2, dtype=np.int8)
    rows, cols = np.nonzero(owner >= 0)
    i = owner[rows, cols]
    who[rows, cols] = strands.strand[i]
    drawn = strands.strand[i] >= 0
    rows, cols, i = rows[drawn], cols[drawn], i[drawn]
    radius, at = strands.radius[i], strands.at[i]
    cx, cy, cz = (strands.centre[:, c][i] for c in range(3))
    tx, ty, tz = (strands.along[:, c][at] for c in range(3))
    nx = (cols.astype(np.float32) + np.float32(0.5) - cx) / radius
    ny = (rows.astype(np.float32) + np.float32(0.5) - cy) / radius
    nz = (depth[rows, cols] - cz) / radius
    forward = nx * tx + ny * ty + nz * tz
    side = np.clip((ny * tx - nx * ty) / (np.hypot(tx, ty) + np.float32(1e-6)), -1, 1)
    show = np.clip((radius - PLIES_FROM) / PLIES_OVER, 0, 1).astype(np.float32)
    plied = bool(show.any())
    if plied:
        turned = side * (1 + np.float32(0.28) * side * side)  # near enough to the arc sine
        ply = PLIES * turned + (strands.arc[i] / radius + forward) * np.float32(np.pi / PLY_DIAMETERS)
        lean = np.float32(BULGE) * show * np.sin(ply) - forward
    else:
        lean = -forward
    nx, ny, nz = nx + lean * tx, ny + lean * ty, nz + lean * tz
    a, b, c, d = (strands.light[:, k][at] for k in range(4))
    lit = a + HALO * d + (1 - HALO) * (b * nx + c * ny + d * nz)
    np.maximum(lit, 0, out=lit)
    px, py, pz = (strands.partner[:, c][i] for c in range(3))
    facing = np.clip((nx * px + ny * py + nz * pz + 1) * 4, 0, 7).astype(np.int8)
    lit *= partner_light()[facing]
    lit += np.float32(THROUGH)
    if plied:
        lit *= 1 - np.float32(GROOVE) * show * (np.float32(0.5) - np.float32(0.5) * np.cos(ply)) ** 2
        number = strands.strand[i].astype(np.float32)
        fibre = grain[(ply * np.float32(4.3) + 29 * number).astype(np.int32) & 255]
        fibre += grain[(ply * np.float32(1.7) + turned * 9 + 57 * number + 90).astype(np.int32) & 255]
        lit *= 1 + np.float32(FIBRE) * show * fibre
    light[rows, cols] = lit
    return light, who


# How far hands waver: spread of the tops and of single places of the yarn, stitch widths (tops wander by 3 % of a
# stitch in the path-traced fabric, which looks too regular beside photographs), and over how much yarn it changes.
TOPS_WANDER, YARN_WANDERS, WANDERS_OVER = 0.060, 0.020, 0.4
# Chains over a space waver more than other tops, and hang, stitch widths: the stitches worked over them pull them down.
CHAINS_WANDER, CHAINS_HANG = 2.0, 0.06

# From where on yarn at the end of a row stands in the open, and over how much it comes there, stitch widths.
ALONE_FROM, ALONE_OVER = 0.25, 0.4
# Where there is no stitch beside, yarn that would go on there turns back: from where on, stitch widths, how much of its
# way aside is left, and how far it goes behind.
TURNS_FROM, TURNS, TURNS_BEHIND = 0.42, 0.15, 0.3
# How much of its way aside the last post of a row keeps.
AT_THE_END = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A path and which of its points are drawn."""

    path: YarnPath
    keep: NDArray[np.bool_] | None = None

    @property
    def drawn(self) -> NDArray[np.bool_]:
        """Which points are drawn."""
        return np.ones(len(self.path.points), dtype=bool) if self.keep is None else self.keep

    def finer(self) -> Part:
        """Return the same with one more point between each two."""

        def between(values: Floats) -> Floats:
            ends = np.concatenate([2 * values[:1] - values[1:2], values, 2 * values[-1:] - values[-2:-1]])
            out = np.empty((2 * len(values) - 1, *values.shape[1:]), dtype=values.dtype)
            out[::2] = values
            out[1::2] = (9 * (ends[1:-2] + ends[2:-1]) - ends[:-3] - ends[3:]) / 16
            return out

        path, keep = self.path, self.drawn
        many = {name: between(getattr(path, name)) for name in ("points", "normal", "along", "arc", "apart", "light")}
        seen = np.repeat(path.seen, 2)[:-1]
        both = np.repeat(keep, 2)[:-1]
        both[1::2] &= keep[1:]
        return Part(YarnPath(**many, seen=seen, height=path.height), both)


@dataclass(frozen=True, slots=True, eq=False)
class Some:
    """Some stitches of one kind: in which frames, which of them, what of their path, whose, and how far aside."""

    frames: Frames
    which: NDArray[np.int64]
    part: Part
    owned: NDArray[np.bool_]
    aside: float

    def table(self, width_cm: float) -> Floats:
        """Return what is known of each stitch, a line each.

        0 to 23, its frame and those to the left and right, each with foot, way to the head, way across the foot and how
        much that across the head differs; 24, 25, cosine and sine of its lean; height; how far aside; whether it is
        drawn; its number; for left and right, whether there is a stitch, an open place, the end of the row.
        """
        frames, at, post = self.frames, self.which, self.part.path.height > 0
        up = frames.top - frames.base
        ends = np.concatenate([frames.base, up, frames.base_way, frames.top_way - frames.base_way], axis=1)
        last = len(frames.kinds) - 1
        sides = (np.maximum(at - 1, 0), np.minimum(at + 1, last))
        there = np.stack([at > 0, at < last], axis=1)
        kinds = np.array(frames.kinds)
        near = np.stack([kinds[i] for i in sides], axis=1)
        lean = np.arctan2(-up[at, 0], up[at, 1]) if post else np.arctan2(*frames.top_way[at].T[::-1])
        height = np.linalg.norm(up[at], axis=1) / width_cm
        # A turning chain stands beside the end; no post stands out over it.
        gone = there & (near == "") & (abs(self.aside) < TURNS_FROM)
        aside = self.aside * (1 - (1 - AT_THE_END) * gone[:, int(self.aside > 0)])
        own = [np.cos(lean), np.sin(lean), height, aside, self.owned, np.arange(len(at))]
        parts = [ends[at], *(ends[i] for i in sides), np.stack(own, axis=1), there]
        return np.concatenate([*parts, gone | there & (near == "ch") & post, gone], axis=1).astype(np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class Cloth:
    """Takes stitches of a tile as strands: in which axes, how large, with which chance."""

    scale: float
    width_cm: float
    origin: Floats
    shift: float
    rng: np.random.Generator

    def held(self, groups: list[Some], widths: tuple[float, ...], fuller: float = 1.0) -> Strands:
        """Return the strands of some stitches of each kind; `widths`: as of `Shape`.

        Strands of unlike width lie as close as alike ones, the thick one nearer to the middle.
        """
        width, strands = self.width_cm * self.scale, len(widths)
        stitches: list[Floats] = []
        places: list[Floats] = []
        which, where, wanders, angles = [], [], [], []
        for some in groups:
            path, rows = some.part.path, np.flatnonzero(some.part.drawn)
            many, n = len(some.which), len(rows)
            step = float(path.arc[-1] / (len(path.arc) - 1))
            wanders.append(smooth_noise(self.rng, (3, many, n), WANDERS_OVER / step).reshape(3, -1))
            angles.append(turns(self.rng, many, len(path.arc), step, strands)[:, rows].reshape(-1))
            which.append(np.repeat(np.arange(many), n) + sum(len(t) for t in stitches))
            where.append(np.tile(np.arange(n), many) + sum(len(t) for t in places))
            stitches.append(some.table(self.width_cm))
            places.append(table_of(path)[rows])
        stitch, place = np.concatenate(stitches)[np.concatenate(which)], np.concatenate(places)[np.concatenate(where)]
        wander = np.concatenate(wanders, axis=1) * np.float32(YARN_WANDERS)
        own, beside = stitch[:, :8], stitch[:, 8:24]
        c, s, full, moved, owned, number = stitch[:, 24:30].T
        x = place[:, 0] + moved
        # Whether there is a stitch to that side, an open place, or the end of the row.
        left = x < 0
        beyond = np.where(left, stitch[:, 32], stitch[:, 33]) * np.maximum(np.abs(x) - np.float32(TURNS_FROM), 0)
        reach = np.abs(x)
        x = x - np.sign(x) * np.float32(1 - TURNS) * beyond
        u, v = x + wander[0], place[:, 13] + (place[:, 14] + wander[1]) / full
        left = u < 0
        low, high = GOES_OVER
        over = np.clip((np.abs(u) - low) / (high - low), 0, 1)
        over = over * over * (3 - 2 * over) * np.where(left, stitch[:, 30], stitch[:, 31])
        near = np.where(left[:, None], beside[:, :8], beside[:, 8:])
        spots = _set(own, u, v) * (1 - over)[:, None] + _set(near, np.where(left, u + 1, u - 1), v) * over[:, None]
        middle = np.empty((len(u), 3), dtype=np.float32)
        middle[:, :2] = (spots - self.origin.astype(np.float32)) * np.array([self.scale, -self.scale], np.float32)
        middle[:, 1] += self.shift
        middle[:, 2] = (place[:, 2] - np.minimum(beyond, 1) * np.float32(TURNS_BEHIND) + wander[2]) * width
        # Turned axes are mirrored, since y goes down, so the cross product changes its sign.
        normal, along, other = (_turned(place[:, k : k + 3], c, s) for k in (3, 6, 16))
        light = np.concatenate([place[:, 9:10], _turned(place[:, 10:13], c, s)], axis=1)
        # What its neighbour would hide stands open where there is none.
        if stitch[:, 34:].any():
            alone = np.where(x < 0, stitch[:, 34], stitch[:, 35]) * reach
            share = np.clip((alone - ALONE_FROM) / ALONE_OVER, 0, 1)[:, None]
            free = np.broadcast_to(open_light(), light.shape)
            light = light * (1 - share) + share * np.concatenate([free[:, :1], _turned(free[:, 1:], c, s)], axis=1)
        thick = np.array(widths, dtype=np.float32)[:, None]
        apart = BESIDE[strands] * width * (thick.sum() - thick) / max(strands - 1, 1)
        who = np.arange(strands, dtype=np.float32)[:, None]
        angle = np.concatenate(angles) + np.float32(2 * np.pi / strands) * who
        way = np.cos(angle)[..., None] * other + np.sin(angle)[..., None] * normal
        apart = apart * place[:, 19]
        radius = np.maximum(RADIUS[strands] * fuller * width * thick, np.float32(LEAST_RADIUS))
        # Each strand of each path begins elsewhere in the twist of its plies.
        arc = (place[:, 15] + np.float32(0.37) * number + np.float32(0.61) * who) * np.float32(width)
        return Strands(
            centre=(middle + apart[..., None] * way * np.array([1, 1, FLAT], dtype=np.float32)).reshape(-1, 3),
            partner=np.asarray(-way if strands > 1 else 0 * way, dtype=np.float32).reshape(-1, 3),
            arc=arc.reshape(-1),
            strand=np.where(owned > 0, who, -1).reshape(-1).astype(np.int8),
            radius=np.broadcast_to(radius, angle.shape).reshape(-1),
            at=np.tile(np.arange(len(u)), strands),
            along=along,
            light=light,
        )

    def wandered(self, frames: Frames) -> Frames:
        """Return frames whose tops stand as hands make them."""
        aside = self.rng.normal(0, TOPS_WANDER * self.width_cm, frames.top.shape) * [0.7, 0.5]
        chains = [i for i, kind in enumerate(frames.kinds) if kind == "ch"]
        aside[chains] = aside[chains] * CHAINS_WANDER - [0.0, CHAINS_HANG * self.width_cm]
        # Where the run meets its neighbours nothing moves, since they are drawn apart.
        aside[[0, -1]] = 0
        return Frames(
            kinds=frames.kinds,
            base=frames.base,
            top=frames.top + aside,
            base_way=frames.base_way,
            top_way=frames.top_way,
        )


def _set(frame: Floats, u: Floats, v: Floats) -> Floats:
    """Return points in centimetres: so far aside, stitch widths, and at such a share of the way from foot to head."""
    aside, up = u[:, None], v[:, None]
    return frame[:, :2] + aside * frame[:, 4:6] + up * (frame[:, 2:4] + aside * frame[:, 6:8])


def _turned(values: Floats, c: Floats, s: Floats) -> Floats:
    """Return vectors (n, 3) of x right, y up, z turned to the left, y down, by angles of such cosines and sines."""
    x, y, z = values.T
    return np.stack([c * x - s * y, -s * x - c * y, z], axis=1)

"""Yarn as tubes: strands twisted round each other, swept as spheres into depth, light and ownership.

A strand is the hull of a sphere moved along its path, so at each pixel the sphere that stands highest owns
the pixel and gives the exact surface normal there.
Everything is measured in fine pixels of one tile; no colour is known here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Strands", "Swept", "hollow_step", "join", "shade", "sweep", "twist"]

Floats = NDArray[np.float64]
Maps = NDArray[np.float32]
Ints = NDArray[np.int64]

# Twist and ply (assumed, after hand yarns): strands held together turn once in about this many stitch widths;
# a strand has three plies, and one ply comes round again after this many strand diameters.
TURN_WIDTHS = 1.55
TURN_WANDER = 0.9
PLIES = 3
PLY_DIAMETERS = 2.3
# Light from upper left, softly wrapped round as wool does it (assumed).
LIGHT = np.array([-0.42, 0.56, 0.71]) / np.linalg.norm([-0.42, 0.56, 0.71])
AMBIENT, WRAP = 0.36, 0.45
# How much the plies turn the surface, darken between them, single fibres vary, and hollows darken (assumed).
BULGE, GROOVE, FIBRE, HOLLOW = 0.55, 0.50, 0.09, 0.60
# Below this many fine pixels it is quicker to scatter all spheres at once.
SMALL_RADIUS = 9.0


@dataclass(frozen=True, slots=True, eq=False)
class Strands:
    """Sample points of strands: one sphere each.

    Attributes
    ----------
    centre : ndarray, shape (n, 3)
        x right, y down, z to the eye, fine pixels.
    along : ndarray, shape (n, 3)
        Unit tangent.
    arc : ndarray, shape (n,)
        Length along the strand, fine pixels.
    strand : ndarray of int8, shape (n,)
        Which strand of the bundle.
    lit : ndarray, shape (n,)
        Factor on the light (feet lie in the shadow of the loop over them).
    radius : float
        Of the spheres.
    """

    centre: Maps
    along: Maps
    arc: Maps
    strand: NDArray[np.int8]
    lit: Maps
    radius: float


@dataclass(frozen=True, slots=True, eq=False)
class Swept:
    """Owner (index of the sample, -1 where there is none) and depth of each fine pixel."""

    owner: NDArray[np.int32]
    depth: NDArray[np.float32]


def twist(
    paths: Floats, lit: Floats, *, strands: int, radius: float, width: float, phase: Floats, wander: Floats
) -> Strands:
    """Return strands twisted round paths.

    Parameters
    ----------
    paths : ndarray, shape (p, n, 3)
        Middles of p bundles, fine pixels.
    lit : ndarray, shape (p, n)
    strands : int
        1 to 4.
    radius, width : float
        Of one strand; width of a stitch, both fine pixels.
    phase : ndarray, shape (p, 1)
        Turn at the start of each path, radians.
    wander : ndarray, shape (p, 3)
        Seeded numbers from -1 to 1 that make the turn uneven.
    """
    step = np.gradient(paths, axis=1)
    arc = np.zeros(paths.shape[:2])
    np.cumsum(np.sqrt(np.sum(np.diff(paths, axis=1) ** 2, axis=2)), axis=1, out=arc[:, 1:])
    across = np.stack([-step[..., 1], step[..., 0]], axis=2)
    across /= np.hypot(step[..., 0], step[..., 1])[..., None] + 1e-9
    s = arc / width
    a, b, c = wander[:, :1], wander[:, 1:2], wander[:, 2:]
    turn = phase + 2 * np.pi * s / TURN_WIDTHS
    turn += TURN_WANDER * (a * np.sin(1.7 * s + 5 * b) + 0.6 * c * np.sin(4.1 * s + 3 * a))
    reach = 0.0 if strands == 1 else radius * (0.92 if strands == 2 else 1.12)
    angle = turn + 2 * np.pi * np.arange(strands)[:, None, None] / strands
    centre = np.repeat(paths[None], strands, axis=0)
    centre[..., :2] += (reach * np.cos(angle))[..., None] * across
    centre[..., 2] += 0.8 * reach * np.sin(angle)
    along = np.gradient(centre, axis=2)
    along /= np.sqrt(np.sum(along**2, axis=3, keepdims=True)) + 1e-9
    who = np.broadcast_to(np.arange(strands)[:, None, None], angle.shape)
    arcs = arc + 7.3 * radius * who + 11.0 * width * wander[:, :1]
    return Strands(
        centre.reshape(-1, 3).astype(np.float32),
        along.reshape(-1, 3).astype(np.float32),
        arcs.reshape(-1).astype(np.float32),
        who.reshape(-1).astype(np.int8),
        np.broadcast_to(lit, angle.shape).reshape(-1).astype(np.float32),
        radius,
    )


def join(parts: list[Strands]) -> Strands:
    """Return all samples as one."""
    return Strands(
        np.concatenate([p.centre for p in parts]),
        np.concatenate([p.along for p in parts]),
        np.concatenate([p.arc for p in parts]),
        np.concatenate([p.strand for p in parts]),
        np.concatenate([p.lit for p in parts]),
        parts[0].radius,
    )


def sweep(strands: Strands, shape: tuple[int, int]) -> Swept:
    """Return which sphere stands highest at each fine pixel."""
    reach = int(np.ceil(strands.radius)) + 1
    x, y = np.floor(strands.centre[:, 0]).astype(np.int64), np.floor(strands.centre[:, 1]).astype(np.int64)
    inside = np.flatnonzero((x > reach) & (y > reach) & (x < shape[1] - reach - 1) & (y < shape[0] - reach - 1))
    few = _sweep_small if strands.radius < SMALL_RADIUS else _sweep_large
    return few(strands, shape, inside, x, y)


def _sweep_small(strands: Strands, shape: tuple[int, int], inside: Ints, x: Ints, y: Ints) -> Swept:
    """Scatter all spheres at once, pixel by pixel of their caps; height and sphere share one number."""
    radius, reach = strands.radius, int(np.ceil(strands.radius)) + 1
    best = np.full(shape[0] * shape[1], -1, dtype=np.int64)
    spot = (y * shape[1] + x)[inside]
    fx = (strands.centre[inside, 0] - x[inside]).astype(np.float32)
    fy = (strands.centre[inside, 1] - y[inside]).astype(np.float32)
    z = strands.centre[inside, 2]
    steps = 4096.0 / radius
    number = inside.astype(np.int64)
    for dy in range(-reach, reach + 1):
        for dx in range(-reach, reach + 1):
            # The nearest that any centre in the pixel can be to this neighbour.
            if max(abs(dx) - 0.5, 0) ** 2 + max(abs(dy) - 0.5, 0) ** 2 >= radius**2:
                continue
            room = radius**2 - (dx + 0.5 - fx) ** 2 - (dy + 0.5 - fy) ** 2
            hit = np.flatnonzero(room > 0)
            height = (z[hit] + np.sqrt(room[hit])) * steps + (1 << 20)
            np.maximum.at(best, spot[hit] + (dy * shape[1] + dx), (height.astype(np.int64) << 24) + number[hit])
    best = best.reshape(shape)
    owner = np.where(best >= 0, best & 0xFFFFFF, -1).astype(np.int32)
    depth = np.where(best >= 0, ((best >> 24) - (1 << 20)) / steps, -np.inf).astype(np.float32)
    return Swept(owner, depth)


def _sweep_large(strands: Strands, shape: tuple[int, int], inside: Ints, x: Ints, y: Ints) -> Swept:
    """Lay sphere after sphere, each as one small picture."""
    radius, reach = strands.radius, int(np.ceil(strands.radius)) + 1
    depth = np.full(shape, -np.inf, dtype=np.float32)
    owner = np.full(shape, -1, dtype=np.int32)
    grid = np.arange(-reach, reach + 1)
    caps: list[NDArray[np.float32]] = []
    for fy in range(4):
        for fx in range(4):
            dy, dx = grid + 0.5 - (fy + 0.5) / 4, grid + 0.5 - (fx + 0.5) / 4
            room = radius**2 - dy[:, None] ** 2 - dx[None, :] ** 2
            caps.append(np.where(room > 0, np.sqrt(np.maximum(room, 0)), -np.inf).astype(np.float32))
    quarter = ((strands.centre[:, 1] - y) * 4).astype(int) * 4 + ((strands.centre[:, 0] - x) * 4).astype(int)
    side = 2 * reach + 1
    for i in inside.tolist():
        top, left = y[i] - reach, x[i] - reach
        here = depth[top : top + side, left : left + side]
        rise = caps[quarter[i]] + strands.centre[i, 2]
        higher = rise > here
        np.copyto(here, rise, where=higher)
        np.copyto(owner[top : top + side, left : left + side], i, where=higher)
    return Swept(owner, depth)


def _box_mean(values: Maps, size: int) -> Maps:
    """Return the mean over a square of odd size about each pixel, borders repeated."""
    half = size // 2
    for axis in (0, 1):
        pad = [(half + 1, half) if a == axis else (0, 0) for a in (0, 1)]
        total = np.cumsum(np.pad(values, pad, mode="edge"), axis=axis, dtype=np.float64)
        after, before = (total[size:], total[:-size]) if axis == 0 else (total[:, size:], total[:, :-size])
        values = ((after - before) / size).astype(np.float32)
    return values


def hollow_step(width: float) -> int:
    """Return on which grid of fine pixels neighbourhoods are averaged, for a stitch of a width."""
    return max(1, int(width / 24))


def _hollow(swept: Swept, width: float) -> Maps:
    """Return how far each fine pixel lies below its neighbourhood, in stitch widths."""
    step = hollow_step(width)
    z = np.maximum(swept.depth, np.float32(-0.45 * width))
    around = _box_mean(z[::step, ::step], max(3, int(0.5 * width / step) | 1))
    if step > 1:
        around = np.repeat(np.repeat(around, step, axis=0), step, axis=1)[: z.shape[0], : z.shape[1]]
    return (around - z) / np.float32(width)


def shade(strands: Strands, swept: Swept, width: float, grain: Maps) -> tuple[Maps, NDArray[np.int8]]:
    """Return the light of each fine pixel (1 is about the mean) and the strand that owns it (-1 for none).

    Parameters
    ----------
    strands, swept
        As made by `twist` and `sweep`.
    width : float
        Of a stitch, fine pixels.
    grain : ndarray, shape (256,)
        Seeded numbers about 0 for single fibres.

    Notes
    -----
    The normal of the sphere that owns a pixel, less its part along the strand, is the normal of the strand.
    """
    light = np.zeros(swept.owner.shape, dtype=np.float32)
    who = np.full(swept.owner.shape, -1, dtype=np.int8)
    rows, cols = np.nonzero(swept.owner >= 0)
    i = swept.owner[rows, cols]
    radius = np.float32(strands.radius)
    tx, ty, tz = (np.ascontiguousarray(strands.along[:, c]) for c in range(3))
    flat = np.hypot(tx, ty) + np.float32(1e-6)
    nx = (cols.astype(np.float32) + np.float32(0.5) - strands.centre[i, 0]) / radius
    ny = (rows.astype(np.float32) + np.float32(0.5) - strands.centre[i, 1]) / radius
    nz = (swept.depth[rows, cols] - strands.centre[i, 2]) / radius
    px, py, pz = tx[i], ty[i], tz[i]
    forward = nx * px + ny * py + nz * pz
    side = np.clip((ny * px - nx * py) / flat[i], -1, 1)
    turned = side * (1 + np.float32(0.28) * side * side)  # near enough to the arc sine
    ply = PLIES * turned + (strands.arc[i] + forward * radius) * np.float32(np.pi / (PLY_DIAMETERS * strands.radius))
    # The bulge of each ply turns the surface a little along the strand.
    lean = BULGE * np.sin(ply) - forward
    lx, ly, lz = (np.float32(v) for v in LIGHT)
    facing = (nx + lean * px) * lx - (ny + lean * py) * ly + (nz + lean * pz) * lz
    lit = AMBIENT + (1 - AMBIENT) * np.clip((facing + WRAP) / (1 + WRAP), 0, 1)
    lit *= 1 - GROOVE * (np.float32(0.5) - np.float32(0.5) * np.cos(ply)) ** 2
    number = strands.strand[i].astype(np.float32)
    fibre = grain[(ply * np.float32(4.3) + 29 * number).astype(np.int32) & 255]
    fibre += grain[(ply * np.float32(1.7) + turned * 9 + 57 * number + 90).astype(np.int32) & 255]
    lit *= 1 + np.float32(FIBRE) * fibre
    lit *= 1 - np.float32(HOLLOW) * np.clip(_hollow(swept, width)[rows, cols] / np.float32(0.30) + 0.1, 0, 1)
    light[rows, cols] = lit * strands.lit[i]
    who[rows, cols] = strands.strand[i]
    return light, who

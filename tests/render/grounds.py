"""What yarn lies on: paper, sheets, planks, cloth, a wall; and the paper band round a skein. Centimetres."""

from __future__ import annotations

from trace import Ground

import numpy as np
from scipy.ndimage import gaussian_filter, zoom
from scipy.spatial import ConvexHull
from yarn import Mesh

WIDE = 150.0  # half side of the floor


def plate(corner: np.ndarray, along: np.ndarray, up: np.ndarray, curl: float = 0.0) -> Mesh:
    """A rectangle from a corner and two sides, its rim rising by ``curl``."""
    s, t = np.meshgrid(np.linspace(0, 1, 25), np.linspace(0, 1, 25), indexing="ij")
    normal = np.cross(along, up) / np.linalg.norm(np.cross(along, up))
    rise = curl * (np.abs(2 * s - 1) ** 6 + 0.6 * np.abs(2 * t - 1) ** 6 * s)
    points = corner + s[..., None] * along + t[..., None] * up + rise[..., None] * normal
    i, j = np.meshgrid(np.arange(24), np.arange(24), indexing="ij")
    a = 25 * i + j
    faces = np.concatenate(
        [np.stack([a, a + 25, a + 26], -1).reshape(-1, 3), np.stack([a, a + 26, a + 1], -1).reshape(-1, 3)]
    )
    du, dv = np.gradient(points, axis=0), np.gradient(points, axis=1)
    normals = np.cross(du, dv).reshape(-1, 3)
    return Mesh(
        points=points.reshape(-1, 3), normals=normals / np.linalg.norm(normals, axis=1, keepdims=True), faces=faces
    )


def floor(z: float = 0.0) -> Mesh:
    """The whole floor."""
    return plate(np.array([-WIDE, -WIDE, z]), np.array([2 * WIDE, 0, 0]), np.array([0, 2 * WIDE, 0]))


def sheet(size: tuple[float, float], degrees: float, curl: float = 0.35) -> Mesh:
    """A sheet of paper, turned, lying about the origin."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    along, up = size[0] * np.array([c, s, 0]), size[1] * np.array([-s, c, 0])
    return plate(-(along + up) / 2, along, up, curl)


def paper(reflectance: float, rng: np.random.Generator) -> Ground:
    """White paper: even but for half a per cent of cloudiness."""
    cloud = gaussian_filter(rng.normal(0, 1, (256, 256)), 3, mode="wrap")
    n = reflectance * (1 + 0.005 * cloud / cloud.std())
    return Ground(table=np.stack([n, 0 * n, 0 * n], -1), size=(30, 30))


def _noise(rng, rows: int, cols: int, stretch: tuple[float, float]) -> np.ndarray:
    field = gaussian_filter(rng.normal(0, 1, (rows, cols)), stretch, mode="wrap")
    return field / field.std()


def planks(rng: np.random.Generator) -> Ground:
    """Boards along x of 9 to 13 cm: grain, growth rings as waves, seams."""
    size, span = 1536, 100.0
    y = np.arange(size)[:, None] / size * span
    grain = 0.5 * _noise(rng, size, size, (1.0, 40)) + 0.35 * _noise(rng, size, size, (0.6, 12))
    bend = zoom(_noise(rng, 96, 96, (8, 12)), 16, order=1)
    rings = np.sin(2 * np.pi * (y / 1.1 + 1.3 * bend)) ** 3
    edges = np.cumsum(rng.uniform(9, 13, 9))
    board = np.searchsorted(edges, y[:, 0])
    level = rng.normal(0, 0.10, 12)[board][:, None]
    deep = np.clip(0.42 + 0.10 * grain + 0.16 * rings + level, 0.05, 0.95)
    seam = (np.abs(y - edges).min(1) < 0.09)[:, None]
    keep = np.where(seam, 0.15, 0.98)
    return Ground(table=np.stack([0 * deep, keep * (1 - deep), keep * deep], -1), size=(span, span))


def cloth(rng: np.random.Generator, pattern: str) -> Ground:
    """Woven cloth: ``plain``, ``check`` (gingham) or ``stripe``; the other colour is off-white."""
    size, span = 1600, 64.0
    y, x = np.mgrid[0:size, 0:size] / size * span
    weave = (
        0.90
        + 0.07 * np.sin(2 * np.pi * x / 0.16) * np.sin(2 * np.pi * y / 0.16)
        + 0.03 * _noise(rng, size, size, (1, 1)).clip(-2, 2)
    )
    a, b = (x % 3.2) < 1.6, (y % 3.2) < 1.6
    share = {"plain": np.ones_like(x), "check": 0.5 * a + 0.5 * b, "stripe": ((x % 4.0) < 1.7).astype(float)}[pattern]
    return Ground(table=np.stack([0.72 * weave * (1 - share), weave * share, 0 * x], -1), size=(span, span))


def wall(rng: np.random.Generator) -> Ground:
    """A painted wall with roller texture."""
    t = 0.97 + 0.012 * _noise(rng, 512, 512, (1.5, 1.5)).clip(-2, 2)
    return Ground(table=np.stack([0 * t, t, 0 * t], -1), up=(0, 0, 1), size=(20, 20))


def band(yarn: Mesh, along: np.ndarray, width: float, rng: np.random.Generator) -> tuple[Mesh, Ground]:
    """A printed paper band drawn tight round yarn that lies along ``along`` (level unit vector)."""
    side = np.array([-along[1], along[0], 0.0])
    x = yarn.points @ along
    near = yarn.points[np.abs(x) < width / 2]
    flat = np.stack([near @ side, near[:, 2]], 1)
    hull = flat[ConvexHull(flat).vertices]
    middle = hull.mean(0)
    ring = np.concatenate([hull, hull[:1]])
    length = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))])
    at = np.linspace(0, length[-1], 161)[:-1]
    ring = np.stack([np.interp(at, length, ring[:, i]) for i in (0, 1)], 1)
    ring = gaussian_filter(ring, (1.5, 0), mode="wrap")
    out = (ring - middle) / np.linalg.norm(ring - middle, axis=1, keepdims=True)
    ring = ring + 0.07 * out
    steps = np.linspace(-width / 2, width / 2, 9)
    points = steps[:, None, None] * along + ring[None, :, :1] * side + ring[None, :, 1:] * np.array([0, 0, 1.0])
    normals = np.broadcast_to(out[None, :, :1] * side + out[None, :, 1:] * np.array([0, 0, 1.0]), points.shape)
    i, j = np.meshgrid(np.arange(8) * 160, np.arange(160), indexing="ij")
    k = (j + 1) % 160
    quads = np.stack([i + j, i + k, i + 160 + k, i + 160 + j], -1).reshape(-1, 4)
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    mesh = Mesh(points=points.reshape(-1, 3), normals=np.ascontiguousarray(normals.reshape(-1, 3)), faces=faces)
    mesh.points[:, 2] = np.maximum(mesh.points[:, 2], 0.03)
    print_ = Ground(
        table=_print(rng), along=tuple(along), up=tuple(side), origin=(-width / 2, -8.0), size=(width, 16.0)
    )
    return mesh, print_


def _print(rng: np.random.Generator) -> np.ndarray:
    """A band's print: a coloured field, bars where words would be, a mark; no letters."""
    rows, cols = 640, 240
    table = np.zeros((rows, cols, 3))
    table[..., 0] = 0.80
    table[:, :22] = [0.05, 0.9, 0]
    table[:, -22:] = [0.05, 0.9, 0]
    for top in (60, 250, 440):
        table[top : top + 70, 50:190] = [0.03, 0, 0.9]
        table[top + 22 : top + 48, 72:168] = [0.80, 0, 0]
        for line in range(5):
            y = top + 88 + 14 * line
            for start in range(46, 190, 18):
                if rng.random() < 0.75:
                    table[y : y + 6, start : start + int(rng.integers(6, 16))] = [0.08, 0, 0]
    return table

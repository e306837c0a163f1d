"""Plied yarn as triangles: strands laid on a body of revolution, plies twisted round a path, loose fibres.

Lengths are in centimetres. Only numpy and scipy; nothing of the package is used.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d, maximum_filter1d


@dataclass(frozen=True, slots=True, kw_only=True)
class Yarn:
    """A yarn's make: ``thickness`` (cm), number of ``plies``, ``twist`` angle (degrees), ``fuzz`` (hairs per cm)."""

    thickness: float = 0.34
    plies: int = 3
    twist: float = 28.0
    fuzz: float = 1.5
    unevenness: float = 0.06
    sides: int = 7

    @property
    def offset(self) -> float:
        """Distance of a ply's middle from the yarn's, for plies that just overlap (cm)."""
        return 0.0 if self.plies == 1 else self.thickness / 2 - self.ply_radius

    @property
    def ply_radius(self) -> float:
        """Radius of a ply: touching circles in a circle, plumper by a sixth so that they press (cm)."""
        ring = 1.0 if self.plies == 1 else 1 / (1 + 1 / np.sin(np.pi / self.plies))
        return min(1.17 * ring, 1.0) * self.thickness / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Mesh:
    """Triangles: ``points`` and ``normals`` (n, 3), ``faces`` (m, 3)."""

    points: np.ndarray
    normals: np.ndarray
    faces: np.ndarray

    def moved(self, turn: np.ndarray, shift: np.ndarray) -> Mesh:
        """Turned by a rotation matrix, then shifted."""
        return Mesh(points=self.points @ turn.T + shift, normals=self.normals @ turn.T, faces=self.faces)


def joined(meshes: list[Mesh]) -> Mesh:
    """One mesh of many."""
    starts = np.cumsum([0] + [len(m.points) for m in meshes[:-1]])
    return Mesh(
        points=np.concatenate([m.points for m in meshes]),
        normals=np.concatenate([m.normals for m in meshes]),
        faces=np.concatenate([m.faces + s for m, s in zip(meshes, starts, strict=True)]),
    )


def rotation(axis: str, degrees: float) -> np.ndarray:
    """Rotation matrix about one of the axes x, y, z."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    i, j = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}[axis]
    turn = np.eye(3)
    turn[i, i] = turn[j, j] = c
    turn[i, j], turn[j, i] = -s, s
    return turn


def unit(vectors: np.ndarray) -> np.ndarray:
    """Vectors of length one."""
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-12)


def even(path: np.ndarray, step: float) -> np.ndarray:
    """The path (n, d; the first three columns are x, y, z) with points every ``step``."""
    along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(path[:, :3], axis=0), axis=1))])
    at = np.linspace(0, along[-1], max(int(along[-1] / step), 4))
    return np.stack([np.interp(at, along, c) for c in path.T], 1)


def carried(path: np.ndarray) -> np.ndarray:
    """Normals carried along a path without twist, (n, 3)."""
    tangent = unit(np.gradient(path, axis=0))
    normal = np.cross(tangent[0], [0.31, 0.2, 0.93])
    out = np.empty_like(path)
    for i, t in enumerate(tangent):
        normal = normal - t * (normal @ t)
        normal = normal / np.linalg.norm(normal)
        out[i] = normal
    return out


def spun(path: np.ndarray, normal: np.ndarray, yarn: Yarn, rng: np.random.Generator, closed: bool = False) -> Mesh:
    """Plies twisted round one path; ``normal`` (n, 3) gives the frame."""
    tangent = unit(np.gradient(path, axis=0))
    normal = unit(normal - tangent * np.sum(normal * tangent, 1, keepdims=True))
    binormal = np.cross(tangent, normal)
    step = np.linalg.norm(np.diff(path, axis=0, prepend=path[:1]), axis=1)
    pitch = 2 * np.pi * max(yarn.offset, yarn.thickness / 5) / np.tan(np.radians(yarn.twist))
    wander = gaussian_filter1d(rng.normal(0, 1, len(path)), 12) * 1.6
    turn = 2 * np.pi * np.cumsum(step) / pitch + wander + rng.uniform(0, 2 * np.pi)
    meshes = [_ply(path, (normal, binormal), turn + 2 * np.pi * p / yarn.plies, yarn, rng) for p in range(yarn.plies)]
    if yarn.fuzz > 0:
        meshes.append(_hairs(path, (tangent, normal, binormal), yarn, rng))
    return joined(meshes)


def _ply(path, frame, turn, yarn: Yarn, rng) -> Mesh:
    normal, binormal = frame
    out = np.cos(turn)[:, None] * normal + np.sin(turn)[:, None] * binormal
    thick = 1 + yarn.unevenness * gaussian_filter1d(rng.normal(0, 1, len(path)), 4) * 2.6
    middle = path + yarn.offset * out
    tangent = unit(np.gradient(middle, axis=0))
    side = unit(np.cross(tangent, out))
    out = np.cross(side, tangent)
    angle = 2 * np.pi * np.arange(yarn.sides) / yarn.sides
    ring = np.cos(angle)[None, :, None] * out[:, None] + np.sin(angle)[None, :, None] * side[:, None]
    radius = yarn.ply_radius * thick[:, None, None] * (1 + 0.05 * rng.normal(0, 1, (len(path), yarn.sides, 1)))
    points = middle[:, None] + radius * ring
    # Fibres lie at angles of their own: normals scatter by a few degrees.
    normals = unit(ring + 0.10 * rng.normal(0, 1, ring.shape))
    i = np.arange(len(path) - 1)[:, None] * yarn.sides
    a, b = np.arange(yarn.sides)[None], (np.arange(yarn.sides)[None] + 1) % yarn.sides
    quads = np.stack([i + a, i + b, i + yarn.sides + b, i + yarn.sides + a], -1).reshape(-1, 4)
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    return Mesh(points=points.reshape(-1, 3), normals=normals.reshape(-1, 3), faces=faces)


def _hairs(path, frame, yarn: Yarn, rng) -> Mesh:
    """Loose fibres as thin ribbons that leave the yarn and bend along it."""
    tangent, normal, binormal = frame
    length = float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())
    count = max(int(length * yarn.fuzz), 1)
    at = rng.integers(0, len(path), count)
    around = rng.uniform(0, 2 * np.pi, count)[:, None]
    out = np.cos(around) * normal[at] + np.sin(around) * binormal[at]
    lean = rng.normal(0, 1, (count, 1)) * tangent[at] + 0.5 * rng.normal(0, 1, (count, 3))
    reach = rng.gamma(2.0, 0.11, (count, 1)) * (yarn.thickness / 0.34) ** 0.5
    curl = unit(rng.normal(0, 1, (count, 3)))
    s = np.linspace(0, 1, 6)[None, :, None]
    start = path[at][:, None] + 0.4 * yarn.thickness * out[:, None]
    spine = start + reach[:, None] * (s * unit(out + 0.9 * lean)[:, None] + 0.5 * s**2 * curl[:, None])
    across = unit(np.cross(unit(out + lean), curl))[:, None] * (0.0022 * (1.2 - s))
    points = np.stack([spine - across, spine + across], 2).reshape(count, 12, 3)
    normals = np.broadcast_to(unit(out + 0.2 * curl)[:, None], points.shape)
    j = 2 * np.arange(5)[:, None]
    strip = np.concatenate([j + np.array([0, 1, 2]), j + np.array([1, 3, 2])])
    faces = (12 * np.arange(count)[:, None, None] + strip[None]).reshape(-1, 3)
    return Mesh(points=points.reshape(-1, 3), normals=normals.reshape(-1, 3), faces=faces)


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A body of revolution about z by its profile: radius (cm) and z (cm) over a parameter in [0, 1]."""

    radius: np.ndarray
    z: np.ndarray

    def at(self, phi: np.ndarray, v: np.ndarray, height: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Points at ``height`` over the body, and the body's normals there."""
        grid = np.linspace(0, 1, len(self.radius))
        slope_r, slope_z = np.gradient(self.radius), np.gradient(self.z)
        n_r, n_z = slope_z, -slope_r
        size = np.hypot(n_r, n_z) + 1e-12
        r, z, n_r, n_z = (np.interp(v, grid, c) for c in (self.radius, self.z, n_r / size, n_z / size))
        normal = np.stack([n_r * np.cos(phi), n_r * np.sin(phi), n_z], -1)
        base = np.stack([r * np.cos(phi), r * np.sin(phi), z], -1)
        return base + height[..., None] * normal, normal

    def length(self) -> float:
        """Length of the profile (cm)."""
        return float(np.hypot(np.diff(self.radius), np.diff(self.z)).sum())


@dataclass(slots=True, kw_only=True)
class Pile:
    """How high yarn stands over a body: a map over angle and profile, filled as strands are laid."""

    body: Body
    heights: np.ndarray
    squash: float = 0.8

    @classmethod
    def bare(cls, body: Body, cell: float = 0.06) -> Pile:
        """Nothing laid yet; cells of about ``cell`` cm."""
        return cls(
            body=body,
            heights=np.zeros((int(2 * np.pi * (body.radius.max() + 1) / cell), int(body.length() / cell) + 1)),
        )

    def _cells(self, phi, v):
        rows, cols = self.heights.shape
        i = np.floor(phi / (2 * np.pi) * rows).astype(int) % rows
        return i, np.clip((v * (cols - 1)).astype(int), 0, cols - 1)

    def lay(self, phi: np.ndarray, v: np.ndarray, thickness: float, ceiling=np.inf) -> tuple[np.ndarray, np.ndarray]:
        """Lay a strand over what lies there, as a tight string would; points and normals of its middle."""
        r = np.interp(v, np.linspace(0, 1, len(self.body.radius)), self.body.radius)
        scale_v = self.body.length()
        stand = np.zeros(len(phi))
        for _ in range(2):
            reach = np.maximum(r + stand, 0.3)
            du, dv = np.gradient(phi) * reach, np.gradient(v) * scale_v
            size = np.hypot(du, dv) + 1e-9
            across = (-dv / size / reach, du / size / scale_v)
            taps = [
                self.heights[self._cells(phi + s * across[0], v + s * across[1])]
                for s in thickness * np.array([-0.2, 0, 0.2])
            ]
            window = max(int(1.5 * thickness / np.median(size)), 1)
            stand = gaussian_filter1d(maximum_filter1d(np.mean(taps, 0), window), window * 0.8)
            stand = np.minimum(stand, ceiling)
        for s in np.linspace(-0.48, 0.48, 9) * thickness:
            crown = stand + self.squash * thickness * (0.5 + np.sqrt(0.25 - (s / thickness) ** 2))
            np.maximum.at(self.heights, self._cells(phi + s * across[0], v + s * across[1]), crown)
        return self.body.at(phi, v, stand + 0.5 * self.squash * thickness)

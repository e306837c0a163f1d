"""How much light each place of a stitch gets among its neighbours, for every way its surface may face.

The fabric is built of spheres along both strands and looked at from many directions of the sky; a place is lit by a
direction when nothing stands higher along it. What is found for the normals of one place is kept as four numbers,
light = a + b nx + c ny + d nz, 1 for a level open place.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STRAND_RADIUS, BESIDE = 0.145, 0.112
PX = 26.0
DIRECTIONS = 160
NORMALS = 10
# An even sky and a wide window up on the left (assumed): the window gives about 2 in 5 of the light on level ground.
WINDOW = np.array([-0.42, 0.56, 0.71]) / np.linalg.norm([-0.42, 0.56, 0.71])
WINDOW_GAIN, WINDOW_WIDTH = 2.6, 5.0
TURNS = 3
# Fabrics looked at to find which points are seen.
LOOKS = 6
# Share of the surface round a point that must be in sight.
SEEN_FROM = 0.05
# Height above the traced surface within which a place counts as the surface itself.
BIAS = 0.05


def sky() -> tuple[Floats, Floats]:
    """Return directions evenly over the upper half, shape (n, 3), and the light from each."""
    k = np.arange(DIRECTIONS) + 0.5
    z = k / DIRECTIONS
    turn = np.pi * (1 + 5**0.5) * k
    across = np.sqrt(1 - z**2)
    ways = np.stack([across * np.cos(turn), across * np.sin(turn), z], axis=1)
    return ways, 1 + WINDOW_GAIN * np.exp(WINDOW_WIDTH * (ways @ WINDOW - 1))


def frames(points: Floats) -> tuple[Floats, Floats]:
    """Return tangents and normals that turn no more than the path does, shapes (n, 3)."""
    one = np.array([1.0, 0.0, 0.0])
    ends = np.concatenate([points[-1:] + one, points, points[:1] - one])
    tangent = ends[2:] - ends[:-2]
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    normal = np.empty_like(points)
    n = np.array([0.0, 0.0, 1.0])
    for i, t in enumerate(tangent):
        n = n - (n @ t) * t
        n /= np.linalg.norm(n)
        normal[i] = n
    return tangent, normal


def _strands(points: Floats, rng: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """Return both strands of a stitch turning by chance, the way to the partner, and tangents, shapes (2, n, 3)."""
    tangent, normal = frames(points)
    other = np.cross(tangent, normal)
    turn = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(0, 0.25, len(points)))
    way = np.cos(turn)[:, None] * normal + np.sin(turn)[:, None] * other
    way = way * [1, 1, 0.7]
    both = np.stack([points + BESIDE * way, points - BESIDE * way])
    return both, np.stack([-way, way]), np.stack([tangent, tangent])


def _heights(spheres: Floats, way: Floats) -> tuple[NDArray[np.float32], Floats, Floats]:
    """Return the map of greatest heights along a direction, the two axes across it, and the map's corner."""
    side = np.cross([0.0, 1.0, 0.0] if abs(way[1]) < 0.9 else [1.0, 0.0, 0.0], way)
    side /= np.linalg.norm(side)
    axes = np.stack([side, np.cross(way, side), way], axis=1)
    seen = spheres @ axes
    corner = seen[:, :2].min(axis=0) - 2 * STRAND_RADIUS
    at = (seen[:, :2] - corner) * PX
    shape = np.ceil(at.max(axis=0) + 4 * STRAND_RADIUS * PX).astype(int)
    heights = np.full(shape[0] * shape[1], -9.0, dtype=np.float32)
    whole = np.floor(at).astype(int)
    reach = int(np.ceil(STRAND_RADIUS * PX))
    for dx in range(-reach, reach + 1):
        for dy in range(-reach, reach + 1):
            room = (STRAND_RADIUS * PX) ** 2 - np.sum((whole + np.array([dx + 0.5, dy + 0.5]) - at) ** 2, axis=1)
            hit = np.flatnonzero(room > 0)
            spot = np.clip(whole[hit] + [dx, dy], 0, shape - 1)
            np.maximum.at(heights, spot[:, 0] * shape[1] + spot[:, 1], seen[hit, 2] + np.sqrt(room[hit]) / PX)
    return heights.reshape(shape), axes, corner


def lit(points: Floats, height: float, *, seed: int = 0) -> tuple[Floats, Floats]:
    """Return the light of a stitch in a front and in a back row, and how facing the partner darkens it.

    Returns
    -------
    coefficients : ndarray, shape (2, n, 4)
        Of the stitch seen from its front, and of the turned stitch in the axes of the viewer.
    partner : ndarray, shape (8,)
        Light over that of the fit, by the cosine between normal and way to the partner, -1 to 1.
    """
    rng = np.random.default_rng(seed)
    ways, radiance = sky()
    level = float(np.sum(radiance * ways[:, 2]))
    n = len(points)
    found: list[list[tuple[Floats, Floats, Floats]]] = [[], []]
    for _ in range(TURNS):
        spheres, ours = [], {}
        for row in range(-1, 3):
            turned = row % 2 != 0
            for column in range(-2, 4):
                strands, partner, tangent = _strands(points, rng)
                at = np.array([column + 0.5 * turned, row * height, 0.0])
                half = np.array([-1.0, 1.0, -1.0]) if turned else np.ones(3)
                spheres.append((strands * half + at).reshape(-1, 3))
                if column in (0, 1) and row in (0, 1):
                    ours[row, column] = (spheres[-1].reshape(2, n, 3), partner * half, tangent * half)
        cloth = np.concatenate(spheres)
        places = []
        for (row, _), (centre, partner, tangent) in ours.items():
            first = np.cross(tangent, np.array([0.31, 0.17, 0.93]))
            first /= np.linalg.norm(first, axis=2, keepdims=True)
            second = np.cross(tangent, first)
            for a in np.arange(NORMALS) * 2 * np.pi / NORMALS:
                normal = np.cos(a) * first + np.sin(a) * second
                towards = np.sum(normal * partner, axis=2) / (np.linalg.norm(partner, axis=2) + 1e-9)
                places.append((row % 2, centre + STRAND_RADIUS * normal, normal, towards, np.zeros(centre.shape[:2])))
        for way, light in zip(ways, radiance, strict=True):
            heights, axes, corner = _heights(cloth, way)
            for _, place, normal, _, total in places:
                seen = place @ axes
                spot = np.clip(((seen[..., :2] - corner) * PX).astype(int), 0, np.array(heights.shape) - 1)
                free = seen[..., 2] > heights[spot[..., 0], spot[..., 1]] - BIAS
                np.add(total, free * light * np.maximum(normal @ way, 0) / level, out=total)
        for turned, _, normal, towards, got in places:
            for strand in range(2):
                found[turned].append((normal[strand], towards[strand], got[strand]))
    coefficients = np.stack([_fit(side, n) for side in found])
    return coefficients, _partner(found, coefficients)


def seen(points: Floats, height: float, *, seed: int = 1) -> NDArray[np.bool_]:
    """Return which points of a stitch the eye can see in a front and in a back row, shape (2, n)."""
    rng = np.random.default_rng(seed)
    n = len(points)
    found = np.zeros((2, n))
    for _ in range(LOOKS):
        spheres, ours = [], {}
        for row in range(-1, 3):
            turned = row % 2 != 0
            for column in range(-2, 4):
                wander = points + rng.normal(0, 0.03, 3)
                strands, _, _ = _strands(wander, rng)
                half = np.array([-1.0, 1.0, -1.0]) if turned else np.ones(3)
                spheres.append((strands * half + [column + 0.5 * turned, row * height, 0.0]).reshape(-1, 3))
                if column in (0, 1) and row in (0, 1):
                    ours[row, column] = spheres[-1].reshape(2, n, 3)
        heights, axes, corner = _heights(np.concatenate(spheres), np.array([0.0, 0.0, 1.0]))
        for (row, _), centre in ours.items():
            for a in np.arange(NORMALS) * 2 * np.pi / NORMALS:
                place = centre + STRAND_RADIUS * 0.8 * np.array([np.cos(a), np.sin(a), 0.75])
                at = place @ axes
                spot = np.clip(((at[..., :2] - corner) * PX).astype(int), 0, np.array(heights.shape) - 1)
                free = at[..., 2] > heights[spot[..., 0], spot[..., 1]] - BIAS / 2
                found[row % 2] += free.mean(axis=0) / (LOOKS * 2 * NORMALS)
    # What lies beside a seen point is drawn too, so that no strand ends in the open.
    enough = found > SEEN_FROM
    return enough | np.roll(enough, 1, axis=1) | np.roll(enough, -1, axis=1)


def _fit(found: list[tuple[Floats, Floats, Floats]], n: int) -> Floats:
    """Return least squares over the normals turned to the eye, each place with the two beside it."""
    normals = np.stack([f[0] for f in found])
    light = np.stack([f[2] for f in found])
    out = np.empty((n, 4))
    for i in range(n):
        near = [(i + k) % n for k in (-1, 0, 1)]
        x, y = normals[:, near].reshape(-1, 3), light[:, near].reshape(-1)
        weight = np.sqrt(np.maximum(x[:, 2] + 0.15, 0))
        design = np.column_stack([np.ones(len(x)), x]) * weight[:, None]
        out[i] = np.linalg.solve(design.T @ design + 0.15 * np.diag([0.1, 1, 1, 1]), design.T @ (y * weight))
    return out


def _partner(found: list[list[tuple[Floats, Floats, Floats]]], coefficients: Floats) -> Floats:
    """Return the light over that of the fit in eight steps of the cosine towards the partner."""
    steps, over = [], []
    for side, fit in zip(found, coefficients, strict=True):
        for normal, towards, got in side:
            told = fit[:, 0] + np.sum(fit[:, 1:] * normal, axis=1)
            use = (normal[:, 2] > 0.1) & (told > 0.15)
            steps.append(np.clip(((towards[use] + 1) * 4).astype(int), 0, 7))
            over.append(np.stack([got[use], told[use]], axis=1))
    step, light = np.concatenate(steps), np.concatenate(over)
    return np.array([light[step == k, 0].sum() / max(light[step == k, 1].sum(), 1e-9) for k in range(8)])

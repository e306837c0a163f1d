"""Ways yarn is sold and kept: pull skein, cake, twisted hank, cone, knitted and crocheted patch. Centimetres."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d
from yarn import Body, Mesh, Pile, Yarn, carried, even, joined, rotation, spun, unit

STEP = 0.36  # of the yarn's thickness: distance of points along a strand


def revolved(body: Body, height: float, sides: int = 96) -> Mesh:
    """The body itself as a smooth mesh, ``height`` over its profile (below when negative)."""
    v, phi = np.linspace(0, 1, 60), np.linspace(0, 2 * np.pi, sides, endpoint=False)
    vv, pp = np.meshgrid(v, phi, indexing="ij")
    points, normals = body.at(pp, vv, np.full(vv.shape, height))
    i, j = np.meshgrid(np.arange(59) * sides, np.arange(sides), indexing="ij")
    k = (j + 1) % sides
    quads = np.stack([i + j, i + k, i + sides + k, i + sides + j], -1).reshape(-1, 4)
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    return Mesh(points=points.reshape(-1, 3), normals=normals.reshape(-1, 3), faces=faces)


def grounded(mesh: Mesh, sink: float = 0.1) -> Mesh:
    """The mesh shifted to rest on z = 0, its own weight pressing it flat by ``sink`` cm."""
    shift = np.array([0, 0, -np.quantile(mesh.points[:, 2], 0.0005) - sink])
    points = mesh.points + shift
    low = points[:, 2] < 0.02
    points[low, 2] = 0.02 + 0.05 * (points[low, 2] - 0.02)
    return Mesh(points=points, normals=mesh.normals, faces=mesh.faces)


def _superellipse(half_length: float, radius: float, power: float) -> Body:
    t = np.linspace(-np.pi / 2, np.pi / 2, 600)
    z = half_length * np.sign(np.sin(t)) * np.abs(np.sin(t)) ** (2 / power)
    return Body(radius=radius * np.maximum(np.cos(t), 1e-4) ** (2 / power), z=z)


def skein_body(yarn: Yarn, half_length: float = 10.5, radius: float = 3.6) -> Body:
    """What a pull skein is wound on."""
    return _superellipse(half_length, radius, 2.25)


def skein(
    yarn: Yarn, rng: np.random.Generator, half_length: float = 10.5, radius: float = 3.6, cover: float = 2.6
) -> Mesh:
    """A centre-pull skein, its axis along x: loops lengthwise, slightly slanted, a few of the outer ones loose."""
    body = skein_body(yarn, half_length, radius)
    pile, meshes = Pile.bare(body), []
    winds = int(cover * 2 * np.pi * radius / yarn.thickness / 0.95)
    turn = rng.uniform(0, 2 * np.pi)
    for wind in range(winds):
        late = wind > winds - 9
        turn += rng.uniform(0.3, 2.2) if late else yarn.thickness * 0.92 / radius * rng.normal(1, 0.12)
        if not late and rng.random() < 0.04:
            turn += rng.uniform(0.4, 3.0)
        tilt = np.radians(rng.normal(24, 1.2) + (rng.normal(0, 5) if late else 0))
        theta = np.linspace(0, 2 * np.pi, 700)
        pole = np.array([np.cos(turn), np.sin(turn), 0.0])
        up = np.array([-np.sin(turn) * np.sin(tilt), np.cos(turn) * np.sin(tilt), np.cos(tilt)])
        q = np.cos(theta)[:, None] * pole + np.sin(theta)[:, None] * up
        phi = np.unwrap(np.arctan2(q[:, 1], q[:, 0]))
        v = np.arcsin(np.clip(q[:, 2], -1, 1)) / np.pi + 0.5
        bare = body.at(phi, v, np.zeros(len(v)))[0]
        path = even(np.column_stack([bare, phi, v]), STEP * yarn.thickness)
        wobble = gaussian_filter1d(rng.normal(0, 1, len(path)), 25) * (0.5 if late else 0.18)
        # Strands crowd at the ends; there they press each other flat.
        cap = (0.25 + 0.75 * np.sin(np.pi * path[:, 4])) * (0.8 * yarn.thickness * cover * (wind + 1) / winds + 0.2)
        points, normal = pile.lay(
            path[:, 3] + wobble * 0.25 * np.sin(np.pi * path[:, 4]) ** 2, path[:, 4], yarn.thickness, cap
        )
        if late:
            middle = np.sin(np.pi * np.clip(path[:, 4], 0.05, 0.95)) ** 4
            slack = middle * np.sin(np.linspace(0, 2 * np.pi, len(path))) ** 2 * rng.uniform(0, 0.4)
            points = points + slack[:, None] * normal
        meshes.append(spun(points, normal, yarn, rng))
    whole = joined([*meshes, revolved(body, -0.6)])
    return grounded(whole.moved(rotation("y", 90), np.zeros(3)), 0.25)


def _wound(body: Body, yarn: Yarn, rng, turns: float, stroke: float) -> Mesh:
    """Wind round a body in sinusoidal strokes: ``stroke`` = strokes a turn."""
    pile, meshes = Pile.bare(body), []
    per_turn = int(2 * np.pi * body.radius.max() / (STEP * yarn.thickness))
    n = int(turns * per_turn)
    phi = 2 * np.pi * np.arange(n) / per_turn
    wave = phi * stroke + gaussian_filter1d(rng.normal(0, 1, n), per_turn / 3) * 1.1
    v = np.arcsin(0.995 * np.sin(wave)) / np.pi + 0.5
    reach = 1 - 0.025 * np.abs(gaussian_filter1d(rng.normal(0, 1, n), per_turn / 6)) * 4
    v = 0.5 + (v - 0.5) * reach
    for start in range(0, n - 8, per_turn):
        part = slice(start, min(start + per_turn + 1, n))
        ceiling = 0.2 * yarn.thickness + 0.9 * yarn.thickness**2 * turns / body.length() * start / n
        points, normal = pile.lay(phi[part], v[part], yarn.thickness, ceiling)
        meshes.append((points, normal))
    points, normal = (np.concatenate([m[i][:-1] for m in meshes]) for i in (0, 1))
    return spun(gaussian_filter1d(points, 1.5, axis=0), normal, yarn, rng)


def cone(
    yarn: Yarn, rng: np.random.Generator, low: float = 4.4, high: float = 2.0, tall: float = 12.5
) -> tuple[Mesh, Mesh]:
    """A cone, standing: thin yarn cross-wound on cardboard; the yarn, and the cardboard that shows at the top."""
    v = np.linspace(0, 1, 300)
    body = Body(radius=low + (high - low) * v, z=0.5 + tall * v)
    turns = 3.6 * body.length() / yarn.thickness
    wound = joined([_wound(body, yarn, rng, turns, 0.2347), revolved(body, 0.02)])
    inner = Body(radius=low - 0.3 + (high - low) * v * 1.08, z=(tall + 2.2) * v)
    return wound, revolved(inner, 0)


def cake(yarn: Yarn, rng: np.random.Generator, inner: float = 1.3, outer: float = 5.4, tall: float = 6.0) -> Mesh:
    """A cake from a winder, standing: every layer is there, so its top shows the turns of all of them."""
    meshes, angle = [], 0.0
    layers = int((outer - inner) / (yarn.thickness * 1.05))
    for layer in range(layers):
        r = inner + (outer - inner) * (layer + 0.5) / layers
        h = tall * (1 - 0.10 * (r / outer) ** 4 - 0.06 * (inner / r) ** 2)
        turns = 1.05 * h / yarn.thickness * (1.0 if layer < layers - 2 else 1.5)
        n = int(turns * 2 * np.pi * r / (STEP * yarn.thickness))
        phi = angle + np.linspace(0, 2 * np.pi * turns, n)
        wave = phi * 0.94 + gaussian_filter1d(rng.normal(0, 1, n), 60) * 0.8
        ends = 0.5 * h - np.abs(gaussian_filter1d(rng.normal(0, 1, n), 40)) * 1.6
        z = np.arcsin(0.97 * np.sin(wave)) / (np.pi / 2) * ends
        # Strands of one layer cross: one over the other by turns, as its two directions do.
        lift = (
            0.5 * yarn.thickness * np.cos(wave) + 0.12 * gaussian_filter1d(rng.normal(0, 1, n), 30) * 4 * yarn.thickness
        )
        radius = np.maximum(r + lift, 0.8)
        points = np.stack([radius * np.cos(phi), radius * np.sin(phi), z + tall / 2], 1)
        normal = np.stack([np.cos(phi), np.sin(phi), 0 * phi], 1)
        meshes.append(spun(points, normal, yarn, rng))
        angle = phi[-1]
    fill = Body(
        radius=np.array([inner + 0.25, outer - 0.45, outer - 0.3, outer - 0.45, inner + 0.25]),
        z=np.array([0.6, 0.6, tall / 2, tall - 0.9, tall - 0.75]),
    )
    return grounded(joined([*meshes, revolved(fill, 0)]), 0.15)


def hank(yarn: Yarn, rng: np.random.Generator, length: float = 21.0, lobe: float = 1.75, turns: float = 1.6) -> Mesh:
    """A hank twisted into itself: one ring of strands, its two sides wound round each other, along x."""
    middle, side = _lobes(length, lobe, turns)
    count = int(0.9 * (2 * lobe / yarn.thickness) ** 2)
    meshes = []
    for i in range(count):
        rho = lobe * 1.03 * np.sqrt((i + 0.5) / count)
        if rho < 0.45 * lobe:
            continue
        n = len(middle)
        slow = gaussian_filter1d(rng.normal(0, 1, 3 * n), n / 12)[n : 2 * n] * n**0.5 * 0.35
        around = i * 2.39996 + 2 * np.pi * 1.0 * np.arange(n) / n + slow * 0.35 / max(rho, 0.5)
        tangent = unit(np.gradient(middle, axis=0))
        other = np.cross(tangent, side)
        out = np.cos(around)[:, None] * side + np.sin(around)[:, None] * other
        path = middle + (rho + 0.05 * slow)[:, None] * out
        both = even(np.column_stack([path, out]), STEP * yarn.thickness)
        meshes.append(spun(both[:, :3], both[:, 3:], yarn, rng))
    return grounded(joined(meshes), 0.3)


def _lobes(length: float, lobe: float, turns: float) -> tuple[np.ndarray, np.ndarray]:
    """Middle line of the ring, and the direction across it."""
    x = np.linspace(-length / 2, length / 2, 500)
    theta = 2 * np.pi * turns * x / length
    apart = lobe * (0.93 + 0.10 * np.cos(np.pi * x / length) ** 2)
    out = np.stack([0 * x, np.cos(theta), np.sin(theta)], 1)
    there = np.stack([x, 0 * x, 0 * x], 1) + apart[:, None] * out
    back = (np.stack([x, 0 * x, 0 * x], 1) - apart[:, None] * out)[::-1]
    bend = np.linspace(0, np.pi, 60)[1:-1, None]
    right = np.array([length / 2, 0, 0]) + apart[-1] * (np.cos(bend) * out[-1] + np.sin(bend) * [1.0, 0, 0])
    left = np.array([-length / 2, 0, 0]) + apart[0] * (-np.cos(bend) * out[0] - np.sin(bend) * [1.0, 0, 0])
    path = even(np.concatenate([there, right, back, left]), 0.12)
    ring = np.concatenate([path[-40:], path, path[:40]])
    path = gaussian_filter1d(ring, 8, axis=0)[40:-40]
    return path, carried(path)


def knitted(yarn: Yarn, rng: np.random.Generator, across: int = 20, rows: int = 22) -> Mesh:
    """Stocking stitch by the curve x = t + a sin 2t, y = h cos t, z = d cos 2t (a common model of a knitted loop)."""
    unit_cm = yarn.thickness / 2.25
    meshes = []
    for row in range(rows):
        t = np.linspace(0, 2 * np.pi * across, 90 * across)
        path = np.stack([t + 1.5 * np.sin(2 * t), 3.9 * np.cos(t) + 4.55 * row, 1.0 * np.cos(2 * t)], 1)
        jitter = gaussian_filter1d(rng.normal(0, 1, path.shape), 14, axis=0) * 0.7
        path = even((path + jitter) * unit_cm, STEP * yarn.thickness)
        meshes.append(spun(path, carried(path), yarn, rng))
    return _lying(joined(meshes), rng)


def crocheted(yarn: Yarn, rng: np.random.Generator, table: Path, across: int = 12, rows: int = 7) -> Mesh:
    """Double crochet in turned rows from the measured path of one stitch (stitch width 1 in the table)."""
    with table.open() as lines:
        rows_of = [r for r in csv.DictReader(lines)]
    stitch = {
        s: np.array([[float(r[a]) for a in "xyz"] for r in rows_of if r["set"] == s]) for s in ("front", "turned")
    }
    width = yarn.thickness / 0.43
    meshes = []
    for row in range(rows):
        one = stitch["front" if row % 2 == 0 else "turned"]
        sign = -1 if row % 2 == 0 else 1
        path = np.concatenate([one[2:-2] + np.array([sign * i, 0, 0]) for i in range(across)])[14:-12]
        path = path + np.array([(0.5 if row % 2 else 0.0) - sign * across / 2, 1.77 * row, 0])
        path = path + gaussian_filter1d(rng.normal(0, 1, path.shape), 3, axis=0) * 0.04
        at = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1) + 1e-4)])
        fine = CubicSpline(at, path)(np.linspace(0, at[-1], 8 * len(path)))
        path = even(gaussian_filter1d(fine, 3, axis=0) * width, STEP * yarn.thickness)
        meshes.append(spun(path, carried(path), yarn, rng))
    return _lying(joined(meshes), rng)


def _lying(mesh: Mesh, rng) -> Mesh:
    """A patch laid down by hand: middle at the origin, gentle waves."""
    points = mesh.points - [*(mesh.points[:, :2].max(0) + mesh.points[:, :2].min(0)) / 2, 0]
    a, b = rng.uniform(0, 6, 2)
    points[:, 2] += 0.18 * np.sin(points[:, 0] / 3.1 + a) * np.cos(points[:, 1] / 3.7 + b)
    points[:, 1] += 0.25 * np.sin(points[:, 0] / 4.0 + b)
    return grounded(Mesh(points=points, normals=mesh.normals, faces=mesh.faces), 0.12)

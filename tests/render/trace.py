"""Path tracing with colours left open: light by source, by bounces on yarn and on the ground's coloured part.

A path that touched yarn k times and the ground's coloured part j times carries rho^k w^j times a number that no
colour enters. Those numbers are summed apart, so one pass holds every colour of the yarn and of the ground, with all
the light that strands throw on each other: nothing is interpolated. Scenes of several yarns carry bands instead.
Mitsuba (LLVM) finds where rays meet; scattering is written here.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import drjit as dr
import mitsuba as mi
import numpy as np
from yarn import Mesh, unit

mi.set_variant("llvm_ad_mono")
dr.set_thread_count(1)

ORDERS = [
    (k, j) for j, top in enumerate((7, 4, 3, 2)) for k in range(top)
]  # (yarn, ground colour); the last of each takes the rest
F0 = 0.04  # Fresnel reflectance of fibre, index 1.5 (wool 1.55, acrylic 1.51, cotton 1.58)
DEPTH, ROULETTE_FROM, SURVIVE = 14, 4, 0.75


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Paper, wood, cloth, print: reflectance n + t1 w + t2 w^2; ``table`` (rows, columns, 3) of n, t1, t2."""

    table: np.ndarray
    along: tuple[float, float, float] = (1, 0, 0)
    up: tuple[float, float, float] = (0, 1, 0)
    origin: tuple[float, float] = (0, 0)
    size: tuple[float, float] = (1, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A mesh, what it is made of (a yarn's number from 0, or a Ground), and its code in the mask."""

    mesh: Mesh
    made_of: int | Ground
    code: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp:
    """A rectangle (``half`` = two half sides) or, with one radius, a small disc turned to whoever looks."""

    middle: tuple[float, float, float]
    half: tuple | float


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A phone's camera: eye, target (cm), field of view across (degrees), lens radius (cm), picture size."""

    eye: tuple[float, float, float]
    target: tuple[float, float, float]
    fov: float = 32.0
    lens: float = 0.12
    width: int = 640
    height: int = 480


@dataclass(slots=True, kw_only=True)
class World:
    """What is traced: mitsuba's scene and the tables that the loop looks things up in."""

    scene: object
    material: object
    code: object
    yarns: int
    grounds: list
    texels: object
    lamps: list
    roughness: float = 0.38
    bands: np.ndarray | None = field(default=None)


def world(pieces: list[Piece], lamps: list[Lamp], roughness: float = 0.38, bands=None) -> World:
    """Build the scene. ``bands``: None for open colour, else (colourings, materials, bands) of reflectances and w."""
    parts = {"type": "scene"}
    for i, piece in enumerate(pieces):
        mesh = mi.Mesh(f"p{i}", len(piece.mesh.points), len(piece.mesh.faces), has_vertex_normals=True)
        values = mi.traverse(mesh)
        values["vertex_positions"] = np.ascontiguousarray(piece.mesh.points, np.float32).ravel()
        values["vertex_normals"] = np.ascontiguousarray(piece.mesh.normals, np.float32).ravel()
        values["faces"] = np.ascontiguousarray(piece.mesh.faces, np.uint32).ravel()
        values.update()
        parts[f"p{i}"] = mesh
    scene = mi.load_dict(parts)
    ids = np.array(dr.reinterpret_array(mi.UInt32, scene.shapes_dr()))
    order = [int(s.id()[1:]) for s in scene.shapes()]
    yarns = 1 + max((p.made_of for p in pieces if isinstance(p.made_of, int)), default=-1)
    material, code = np.zeros(ids.max() + 1, np.uint32), np.zeros(ids.max() + 1, np.uint32)
    grounds, texels, start = [], [], 0
    for shape_id, which in zip(ids, order, strict=True):
        made_of = pieces[which].made_of
        code[shape_id] = pieces[which].code
        if isinstance(made_of, int):
            material[shape_id] = made_of
            continue
        rows, cols = made_of.table.shape[:2]
        material[shape_id] = yarns + len(grounds)
        grounds.append([*made_of.along, *made_of.up, *made_of.origin, *made_of.size, start, rows, cols])
        texels.append(made_of.table.reshape(-1))
        start += made_of.table.size
    return World(
        scene=scene,
        material=mi.UInt32(material),
        code=mi.UInt32(code),
        yarns=yarns,
        lamps=[_scaled(lamp) for lamp in lamps],
        grounds=np.array(grounds, np.float32).T,
        texels=mi.Float(np.concatenate(texels).astype(np.float32)),
        roughness=roughness,
        bands=bands,
    )


def _scaled(lamp: Lamp) -> dict:
    """The lamp with the radiance that lights an open, level perfect white at (0, 0, 2) as a sky of 1 does."""
    middle, spot = np.array(lamp.middle, float), np.array([0, 0, 2.0])
    to = spot - middle
    if isinstance(lamp.half, tuple):
        a, b = (np.array(h, float) for h in lamp.half)
        normal = unit(np.cross(a, b))
        normal = normal if normal @ to > 0 else -normal
        s = np.stack(np.meshgrid(np.linspace(-0.99, 0.99, 100), np.linspace(-0.99, 0.99, 100)), -1).reshape(-1, 2)
        at = middle + s[:, :1] * a + s[:, 1:] * b
        area = 4 * np.linalg.norm(np.cross(a, b))
        d = spot - at
        r2 = (d**2).sum(1)
        flux = np.mean(np.maximum(-d[:, 2], 0) * np.maximum(d @ normal, 0) / r2**2) * area
        return {"kind": "window", "c": middle, "a": a, "b": b, "n": normal, "area": area, "radiance": np.pi / flux}
    r2 = to @ to
    area = np.pi * lamp.half**2
    return {
        "kind": "bulb",
        "c": middle,
        "r": lamp.half,
        "area": area,
        "radiance": np.pi / (area / r2 * -to[2] / np.sqrt(r2)),
    }


def _rays(view: View, sampler, pixel):
    x, y = mi.Float(pixel % view.width), mi.Float(pixel // view.width)
    eye, target = np.array(view.eye, float), np.array(view.target, float)
    forward = unit(target - eye)
    right = unit(np.cross(forward, [0, 0, 1.0]))
    down = np.cross(forward, right)
    jitter, lens = sampler.next_2d(), mi.warp.square_to_uniform_disk(sampler.next_2d()) * view.lens
    scale = 2 * np.tan(np.radians(view.fov / 2)) / view.width
    px, py = (x + jitter.x - view.width / 2) * scale, (y + jitter.y - view.height / 2) * scale
    far = float(np.linalg.norm(target - eye))
    aim = (
        mi.Vector3f(*(float(v) for v in forward))
        + px * mi.Vector3f(*map(float, right))
        + py * mi.Vector3f(*map(float, down))
    )
    start = (
        mi.Point3f(*map(float, eye))
        + lens.x * mi.Vector3f(*map(float, right))
        + lens.y * mi.Vector3f(*map(float, down))
    )
    return mi.Ray3f(start, dr.normalize(mi.Point3f(*map(float, eye)) + far * aim - start))


def _fresnel(cosine):
    return F0 + (1 - F0) * (1 - dr.clip(cosine, 0, 1)) ** 5


def _sheen(local_in, local_out, alpha: float):
    """GGX reflection times cosine; and the density of sampling it by visible normals."""
    half = dr.normalize(local_in + local_out)
    d = alpha**2 / (np.pi * ((half.z**2) * (alpha**2 - 1) + 1) ** 2)

    def g1(v):
        return 2 * v.z / (v.z + dr.sqrt(alpha**2 + (1 - alpha**2) * v.z**2))

    ok = (local_in.z > 1e-4) & (local_out.z > 1e-4)
    value = _fresnel(dr.dot(half, local_in)) * d * g1(local_in) * g1(local_out) / (4 * dr.maximum(local_in.z, 1e-4))
    return dr.select(ok, value, 0)


# The diffuse part is what Fresnel lets in and out; scaled so that a fibre of reflectance 1 sends nearly all back.
_DIFFUSE_SCALE = 1.0 / (1 - (F0 + (1 - F0) / 21))


def render(scene: World, view: View, samples: int, seed: int, chunk: int = 4) -> tuple[np.ndarray, np.ndarray]:
    """Light (sources, orders or colourings x bands, height, width) for a perfect white of 1, and votes for codes."""
    pixels = view.width * view.height
    slots = len(ORDERS) if scene.bands is None else scene.bands.shape[0] * scene.bands.shape[2]
    sources = 1 + len(scene.lamps)
    out = np.zeros(sources * slots * pixels)
    votes = np.zeros(16 * pixels)
    for part in range((samples + chunk - 1) // chunk):
        buffer, vote = dr.zeros(mi.Float, sources * slots * pixels), dr.zeros(mi.Float, 16 * pixels)
        _pass(scene, view, (chunk, seed * 1000 + part, slots), buffer, vote)
        out += np.array(buffer)
        votes += np.array(vote)
    done = (samples + chunk - 1) // chunk * chunk
    shape = (view.height, view.width)
    return (out / done).reshape(sources, slots, *shape).astype(np.float32), votes.reshape(16, *shape)


def _order(k, j):
    """Slot of (k, j): the highest of each kind takes the rest."""
    j = dr.minimum(j, 3)
    tops = mi.UInt32([6, 3, 2, 1])
    starts = mi.UInt32([0, 7, 11, 14])
    return dr.gather(mi.UInt32, starts, j) + dr.minimum(k, dr.gather(mi.UInt32, tops, j))


def _pass(scene: World, view: View, run: tuple[int, int, int], buffer, vote) -> None:
    chunk, seed, slots = run
    pixels = view.width * view.height
    sampler = mi.load_dict({"type": "independent"})
    sampler.seed(seed, pixels * chunk)
    pixel = dr.arange(mi.UInt32, pixels * chunk) // chunk
    ray = _rays(view, sampler, pixel)
    grounds = [mi.Float(row) for row in scene.grounds]
    tables = None if scene.bands is None else mi.Float(scene.bands.astype(np.float32).ravel())
    many = 1 if scene.bands is None else slots

    def deposit(source, slot_k, slot_j, beta, amount, active):
        if scene.bands is None:
            at = (source * slots + _order(slot_k, slot_j)) * pixels + pixel
            dr.scatter_add(buffer, beta[0] * amount, at, active)
        else:
            for b in range(many):
                dr.scatter_add(buffer, beta[b] * amount, (source * slots + b) * pixels + pixel, active)

    def tinted(beta, mat, is_yarn, ground):
        """Throughput after a diffuse bounce; in open colour only the counts move."""
        if scene.bands is None:
            return beta
        materials, bands = scene.bands.shape[1:]
        out = []
        for b in range(many):
            colouring, band = divmod(b, bands)
            base = colouring * materials * bands + band
            rho = dr.gather(mi.Float, tables, base + dr.minimum(mat, scene.yarns) * bands)
            out.append(beta[b] * dr.select(is_yarn, rho, ground[0] + ground[1] * rho + ground[2] * rho * rho))
        return out

    def body(active, ray, beta, k, j, depth, sampler):
        si = scene.scene.ray_intersect(ray, mi.RayFlags.All, False, active)
        hit = active & si.is_valid()
        deposit(0, k, j, beta, mi.Float(1), active & ~si.is_valid())
        shape = dr.reinterpret_array(mi.UInt32, si.shape)
        mat = dr.gather(mi.UInt32, scene.material, shape, hit)
        dr.scatter_add(vote, 1.0, dr.gather(mi.UInt32, scene.code, shape, hit) * pixels + pixel, hit & (depth == 0))
        is_yarn = mat < scene.yarns
        ground = _ground(scene, grounds, mat, si.p, hit & ~is_yarn)
        n = dr.select(dr.dot(si.sh_frame.n, ray.d) > 0, -si.sh_frame.n, si.sh_frame.n)
        frame = mi.Frame3f(n)
        inward = frame.to_local(-ray.d)
        inward.z = dr.maximum(inward.z, 1e-3)
        # Which part of the ground's colour this bounce takes (open colour only).
        pick = sampler.next_1d() * (ground[0] + ground[1] + ground[2])
        dj = dr.select(
            pick < ground[0], mi.UInt32(0), dr.select(pick < ground[0] + ground[1], mi.UInt32(1), mi.UInt32(2))
        )
        grey = dr.select(is_yarn, 1, ground[0] + ground[1] + ground[2]) if scene.bands is None else mi.Float(1)
        k2, j2 = dr.select(is_yarn, k + 1, k), dr.select(is_yarn, j, j + dj)
        beta_d = tinted(beta, mat, is_yarn, ground)
        into = dr.select(is_yarn, (1 - _fresnel(inward.z)) * _DIFFUSE_SCALE, 1)

        # Every lamp once.
        for source, lamp in enumerate(scene.lamps, start=1):
            to, emitted, there = _lamp(lamp, si.p, sampler.next_2d())
            local = frame.to_local(to)
            free = hit & (local.z > 0) & (emitted > 0)
            free &= ~scene.scene.ray_test(si.spawn_ray_to(there), free)
            passed = dr.select(is_yarn, (1 - _fresnel(local.z)), 1)
            deposit(source, k2, j2, beta_d, grey * into * passed * local.z / np.pi * emitted, free)
            gloss = _sheen(inward, local, scene.roughness)
            deposit(source, k, j, beta, gloss * emitted, free & is_yarn)

        # Onward: through the diffuse part or the sheen.
        chance = 0.1 + 0.8 * _fresnel(inward.z)
        shiny = is_yarn & (sampler.next_1d() < chance)
        weight = dr.select(is_yarn, dr.rcp(dr.select(shiny, chance, 1 - chance)), 1)
        out_d = mi.warp.square_to_cosine_hemisphere(sampler.next_2d())
        out_s, gloss_weight = _mirror(inward, sampler.next_2d(), scene.roughness)
        passed = dr.select(is_yarn, (1 - _fresnel(out_d.z)), 1)
        scale = weight * dr.select(shiny, gloss_weight, grey * into * passed)
        out = dr.select(shiny, out_s, out_d)
        direction = frame.to_world(out)
        beta = [dr.select(shiny, b, d) * scale for b, d in zip(beta, beta_d, strict=True)]
        k, j = dr.select(shiny, k, k2), dr.select(shiny, j, j2)
        stay = (depth < ROULETTE_FROM) | (sampler.next_1d() < SURVIVE)
        beta = [dr.select(depth < ROULETTE_FROM, b, b / SURVIVE) for b in beta]
        active = hit & stay & (depth + 1 < DEPTH) & (out.z > 0) & (scale > 0) & (scale < 10)
        return active, si.spawn_ray(direction), beta, k, j, depth + 1, sampler

    state = (mi.Bool(True), ray, [mi.Float(1) for _ in range(many)], mi.UInt32(0), mi.UInt32(0), mi.UInt32(0), sampler)
    state = (dr.ones(mi.Bool, pixels * chunk), *state[1:])
    dr.while_loop(state, lambda *s: s[0], body)
    dr.eval(buffer, vote)


def _ground(scene: World, grounds, mat, p, active):
    at = dr.select(mat >= scene.yarns, mat - scene.yarns, 0)
    g = [dr.gather(mi.Float, row, at, active) for row in grounds]
    s = (p.x * g[0] + p.y * g[1] + p.z * g[2] - g[6]) / g[8]
    t = (p.x * g[3] + p.y * g[4] + p.z * g[5] - g[7]) / g[9]
    col = mi.UInt32(dr.minimum((s - dr.floor(s)) * g[12], g[12] - 1))
    row = mi.UInt32(dr.minimum((t - dr.floor(t)) * g[11], g[11] - 1))
    index = 3 * (row * mi.UInt32(g[12]) + col) + mi.UInt32(g[10])
    return [dr.gather(mi.Float, scene.texels, index + c, active) for c in range(3)]


def _lamp(lamp: dict, p, u):
    """A point on the lamp: direction to it, radiance x its solid measure, the point."""
    middle = mi.Point3f(*map(float, lamp["c"]))
    if lamp["kind"] == "window":
        a, b, n = (mi.Vector3f(*map(float, lamp[key])) for key in "abn")
        there = middle + (2 * u.x - 1) * a + (2 * u.y - 1) * b
        cosine = dr.maximum(-dr.dot(dr.normalize(there - p), n), 0)
    else:
        frame = mi.Frame3f(dr.normalize(p - middle))
        disc = mi.warp.square_to_uniform_disk(u) * lamp["r"]
        there = middle + frame.s * disc.x + frame.t * disc.y
        cosine = mi.Float(1)
    d = there - p
    return dr.normalize(d), float(lamp["radiance"] * lamp["area"]) * cosine / dr.squared_norm(d), there


def _mirror(inward, u, alpha: float):
    """A direction by a visible normal (Heitz 2018) and its weight F G1."""
    v = dr.normalize(mi.Vector3f(alpha * inward.x, alpha * inward.y, inward.z))
    r, phi = dr.sqrt(u.x), 2 * np.pi * u.y
    # Cosine hemisphere around the stretched view, cut as in the paper's disc.
    t1, t2 = r * dr.cos(phi), r * dr.sin(phi)
    up = mi.Vector3f(0, 0, 1)
    x = dr.select(v.z < 0.9999, dr.normalize(dr.cross(up, v)), mi.Vector3f(1, 0, 0))
    y = dr.cross(v, x)
    s = 0.5 * (1 + v.z)
    t2 = (1 - s) * dr.safe_sqrt(1 - t1 * t1) + s * t2
    h = t1 * x + t2 * y + dr.safe_sqrt(1 - t1 * t1 - t2 * t2) * v
    h = dr.normalize(mi.Vector3f(alpha * h.x, alpha * h.y, dr.maximum(h.z, 0)))
    out = 2 * dr.dot(inward, h) * h - inward
    g1 = 2 * out.z / (out.z + dr.sqrt(alpha**2 + (1 - alpha**2) * out.z**2))
    return out, dr.select(out.z > 1e-4, _fresnel(dr.dot(inward, h)) * g1, 0)

"""Drawn photos of yarn with known shades, boxes and white: plied strands, gaps, sheen, fuzz, bands, light, camera.

A scene is made from spectra (tests/scenes_light.py) and shading alone and never calls the package, so that the
readers are measured against something they did not make. What is simple about it: no real lens, no local
tone mapping, no interreflection between skeins, fluorescence left out.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import numpy as np
import scenes_light as sl
from PIL import Image
from scipy.ndimage import gaussian_filter

HEIGHT, WIDTH = 480, 640
GROUNDS = ("paper", "card", "wood", "cloth")
LIGHTS = ("broadband", "led", "mixed")


@dataclass(frozen=True)
class Truth:
    """One skein: class, true shades with shares, and where it is.

    `labs` are the shades as a whole: the mean of the yarn's light, hollows, glints and all, against a perfect
    white lying flat in the same light, under D65. `area` is the yarn without its label band.
    """

    kind: str
    labs: np.ndarray
    shares: np.ndarray
    box: tuple[int, int, int, int]
    mask: np.ndarray
    area: np.ndarray


@dataclass(frozen=True)
class Scene:
    """The photo's bytes and all that is known of it."""

    data: bytes
    name: str
    yarns: tuple[Truth, ...]
    white_mask: np.ndarray | None
    ground: str
    light: str
    lamps: tuple[str, ...]
    tone: str
    notes: dict = field(default_factory=dict)


def make_scene(
    seed,
    *,
    ground: str = "paper",
    light: str = "broadband",
    tone: str = "linear",
    yarns: int | None = None,
    colours: int = 1,
    only: str | None = None,
    touching: bool = False,
    encoding: str = "jpeg",
    palette_seed: int | None = None,
) -> Scene:
    """Draw a photo.

    Parameters
    ----------
    seed : int or list of int
    ground : one of GROUNDS; light : one of LIGHTS; tone : "linear" or one of scenes_light.TONES
    yarns : number of skeins, 1 to 6; drawn if None
    colours : shades of each yarn; 1 for plain yarn (a share of them heather)
    only : a kind of scenes_light.KINDS for every skein
    encoding : "jpeg", "heic" or "png"
    """
    rng = np.random.default_rng(seed)
    entropy = int(np.ravel(seed)[0]) if palette_seed is None else palette_seed
    count = int(rng.integers(2, 6)) if yarns is None else yarns
    places = _places(rng, count, touching, ground)
    spectra: list[np.ndarray] = []

    def material(spectrum: np.ndarray) -> int:
        spectra.append(spectrum)
        return len(spectra) - 1

    yy, xx = np.mgrid[0:HEIGHT, 0:WIDTH].astype(float)
    first, second, blend, white_mask, factor = _ground(rng, ground, material, xx, yy, places)
    normal = np.zeros((HEIGHT, WIDTH, 3))
    normal[..., 2] = 1.0
    openness = np.ones((HEIGHT, WIDTH))
    gap = np.zeros((HEIGHT, WIDTH))
    sheen = np.zeros((HEIGHT, WIDTH))
    shadow = np.zeros((HEIGHT, WIDTH))
    library = sl.palette(entropy)
    chosen: list[tuple[str, list[np.ndarray]]] = []
    for place in places:
        chosen.append(_pick(rng, library, colours, only))
        shadow = np.maximum(shadow, _inside(place, xx - 7, yy - 9))
    factor = factor * (1 - rng.uniform(0.2, 0.5) * gaussian_filter(np.clip(shadow, 0, 1), 6))
    skeins = []
    for place, (kind, parts) in zip(places, chosen, strict=True):
        win = _window(place)
        part = _skein(rng, place, xx[win], yy[win])
        inside = part["inside"]
        indices = [material(s) for s in parts]
        mix_first, mix_second, mix = _colouring(rng, kind, indices, part)
        for target, values in (
            (first, mix_first),
            (second, mix_second),
            (blend, mix),
            (openness, part["openness"]),
            (gap, part["gap"]),
            (sheen, part["sheen"]),
            (normal, part["normal"]),
            (factor, part["fuzz"]),
        ):
            target[win][inside] = values[inside]
        whole = np.zeros((HEIGHT, WIDTH), dtype=bool)
        whole[win] = inside
        yarn_area = whole.copy()
        if rng.random() < 0.35:
            band = np.zeros((HEIGHT, WIDTH), dtype=bool)
            band[win] = part["band"] & inside
            stripe = material(sl.paper(rng) if rng.random() < 0.6 else library[int(rng.integers(len(library)))][1])
            ink = material(np.full_like(sl.NM, 0.06))
            first[band] = second[band] = stripe
            text = band.copy()
            text[win] &= (np.sin(part["along"] / 2.2) > 0.55) & (rng.random(inside.shape) < 0.75)
            first[text] = second[text] = ink
            gap[band], sheen[band], openness[band], factor[band] = 0, 0.02, 1.0, 1.0
            normal[win][band[win]] = part["smooth"][band[win]]
            yarn_area &= ~band
        skeins.append((kind, indices, whole, yarn_area))
    lamps, directions, fields = _lights(rng, light, xx, yy)
    cam = sl.camera(rng, tone)
    linear, white, sent_back = _render(
        rng, spectra, (first, second, blend), normal, openness, gap, sheen, factor, lamps, directions, fields, cam
    )
    truths = [_truth(kind, indices, first, sent_back, whole, area) for kind, indices, whole, area in skeins]
    level = np.exp(rng.uniform(np.log(0.5), np.log(1.02)))
    linear = linear * level / white
    linear = np.stack([gaussian_filter(linear[..., i], rng.uniform(0.5, 0.9)) for i in range(3)], axis=-1)
    noise = rng.uniform(0.003, 0.012)
    linear = linear + rng.normal(size=linear.shape) * noise * np.sqrt(np.maximum(linear, 0) + 0.01)
    shown = sl.tone_curve(cam.tone, np.clip(linear, 0, None))
    if cam.saturation != 1:
        grey = (shown @ [0.2126, 0.7152, 0.0722])[..., None]
        shown = np.clip(grey + cam.saturation * (shown - grey), 0, 1)
    coded = np.where(shown <= 0.0031308, 12.92 * shown, 1.055 * np.maximum(shown, 1e-9) ** (1 / 2.4) - 0.055)
    picture = Image.fromarray(np.clip(np.rint(coded * 255), 0, 255).astype(np.uint8))
    return Scene(
        data=_encode(picture, encoding, int(rng.integers(75, 96))),
        name=f"scene-{'-'.join(str(v) for v in np.ravel(seed))}.{encoding}",
        yarns=tuple(truths),
        white_mask=white_mask,
        ground=ground,
        light=light,
        lamps=tuple(lamps),
        tone=tone,
        notes={"level": float(level), "camera": cam.name},
    )


def _encode(picture: Image.Image, encoding: str, quality: int) -> bytes:
    out = io.BytesIO()
    if encoding == "heic":
        import pillow_heif

        pillow_heif.from_pillow(picture).save(out, quality=quality)
    elif encoding == "png":
        picture.save(out, "PNG")
    else:
        picture.save(out, "JPEG", quality=quality, subsampling=2)
    return out.getvalue()


def _places(rng, count, touching, ground):
    """Skeins as (x, y, half length, half width, angle, round), apart by a gap or touching in a row."""
    if touching:
        half = rng.uniform(50, 70)
        x0 = WIDTH / 2 - (count - 1) * half
        return [(x0 + 2 * half * i, HEIGHT / 2 + rng.uniform(-8, 8), half, half, 0.0, True) for i in range(count)]
    keep_out = 190 if ground == "card" else 0
    places: list[tuple] = []
    for attempt in range(4000):
        if len(places) == count:
            break
        shrink = max(0.45, 1 - attempt / 4000)
        is_ball = rng.random() < 0.5
        a = rng.uniform(55, 95) * shrink if is_ball else rng.uniform(85, 120) * shrink
        b = a * (rng.uniform(0.85, 1.0) if is_ball else rng.uniform(0.38, 0.5))
        angle = rng.uniform(0, np.pi)
        x, y = rng.uniform(a + 14, WIDTH - a - 14), rng.uniform(a + 14, HEIGHT - a - 14)
        if keep_out and x - a < keep_out and y - a < 150:
            continue
        if all(np.hypot(x - p[0], y - p[1]) > a + p[2] + 14 for p in places):
            places.append((x, y, a, b, angle, is_ball))
    return places


def _window(place):
    x, y, a = place[0], place[1], place[2] * 1.15 + 4
    return np.s_[max(0, int(y - a)) : int(y + a) + 1, max(0, int(x - a)) : int(x + a) + 1]


def _local(place, xx, yy):
    x, y, a, b, angle, _ = place
    c, s = np.cos(angle), np.sin(angle)
    return ((xx - x) * c + (yy - y) * s) / a, (-(xx - x) * s + (yy - y) * c) / b


def _inside(place, xx, yy):
    u, v = _local(place, xx, yy)
    power = 2.0 if place[5] else 3.0
    return (np.abs(u) ** power + np.abs(v) ** power < 1).astype(float)


def _skein(rng, place, xx, yy):
    _, _, a, b, angle, is_ball = place
    u, v = _local(place, xx, yy)
    power = 2.0 if is_ball else 3.0
    radius = np.abs(u) ** power + np.abs(v) ** power
    fuzz_rim = gaussian_filter(rng.normal(size=xx.shape), 1.0) * rng.uniform(0.02, 0.09)
    inside = radius + fuzz_rim < 1
    c, s = np.cos(angle), np.sin(angle)
    along, across = u * a, v * b
    turn = np.where(across + 0.3 * along > rng.uniform(-0.3, 0.3) * b, rng.uniform(-0.5, 0.5), rng.uniform(0.6, 1.6))
    turn = turn if is_ball else np.full_like(along, rng.uniform(-0.12, 0.12))
    t_along = along * np.cos(turn) + across * np.sin(turn)
    t_across = -along * np.sin(turn) + across * np.cos(turn)
    width = rng.uniform(6, 14)
    wobble = gaussian_filter(rng.normal(size=xx.shape), 6) * 12
    q = (t_across + wobble * 0.12 * width) / width
    tilt = 2 * (q - np.floor(q)) - 1
    height = np.sqrt(np.clip(1 - tilt**2, 0, 1))
    ply = np.abs(np.sin(np.pi * (t_along / (rng.uniform(1.3, 2.2) * width) + tilt * 0.6)))
    direction = angle + turn + np.pi / 2
    bulge = rng.uniform(0.45, 0.85)
    ball = np.zeros((*xx.shape, 3))
    edge = np.clip(radius, 0, 1) ** (1.0 if is_ball else 2.0)
    nu, nv = u * edge * bulge, v * edge * bulge
    ball[..., 0], ball[..., 1] = nu * c - nv * s, nu * s + nv * c
    ball[..., 2] = 1.0
    smooth = ball / np.linalg.norm(ball, axis=2, keepdims=True)
    steep = rng.uniform(0.6, 1.1)
    ball[..., 0] += steep * tilt * np.cos(direction)
    ball[..., 1] += steep * tilt * np.sin(direction)
    normal = ball / np.linalg.norm(ball, axis=2, keepdims=True)
    depth = np.clip(1 - height, 0, 1)
    ply_gap = rng.uniform(0.15, 0.5) * (1 - ply) ** 2
    gap = np.clip(depth + ply_gap, 0, 1)
    fuzz = 1 + gaussian_filter(rng.normal(size=xx.shape), 0.7) * rng.uniform(0.05, 0.22)
    return {
        "inside": inside,
        "normal": normal,
        "smooth": smooth,
        "openness": 1 - rng.uniform(0.6, 0.95) * gap,
        "gap": gap,
        "sheen": (rng.uniform(0.02, 0.1) if rng.random() < 0.4 else 0.0) * np.ones_like(xx),
        "fuzz": np.clip(fuzz, 0.6, 1.4),
        "band": np.abs(along + rng.uniform(-0.2, 0.2) * a) < rng.uniform(0.12, 0.22) * a,
        "along": along,
        "t_along": t_along,
        "strand": np.floor(q),
        "width": width,
    }


def _pick(rng, library, colours, only):
    pool = [item for item in library if only is None or item[0] == only]
    kind, spectrum = pool[int(rng.integers(len(pool)))]
    if colours == 1:
        if only is None and rng.random() < 0.15:
            other = sl.white_fibre(rng) if rng.random() < 0.5 else library[int(rng.integers(len(library)))][1]
            share = rng.uniform(0.2, 0.5)
            return "heather", [spectrum, (1 - share) * spectrum + share * other]
        return kind, [spectrum]
    parts = [spectrum]
    for _ in range(500):
        if len(parts) == colours:
            break
        candidate = library[int(rng.integers(len(library)))][1]
        if all(_far(candidate, p) for p in parts):
            parts.append(candidate)
    return "variegated", parts


def _far(one, two):
    from skimage.color import deltaE_ciede2000

    return float(deltaE_ciede2000(sl.true_lab(one), sl.true_lab(two))) > 15


def _colouring(rng, kind, indices, part):
    shape = part["inside"].shape
    base = np.full(shape, indices[0])
    if kind == "heather":
        t = gaussian_filter(rng.normal(size=shape), 1.2)
        return base, np.full(shape, indices[1]), np.clip(0.5 + t / (2.5 * t.std()), 0, 1)
    if kind == "variegated":
        # Segments along the strand; a strand goes on in the next turn.
        shares = rng.uniform(0.7, 1.3, len(indices))
        edges = np.cumsum(shares / shares.sum())
        length = rng.uniform(60, 220) * len(indices)
        phase = (part["t_along"] + part["strand"] * rng.uniform(4, 30)) / length + rng.random()
        phase = phase - np.floor(phase)
        own = np.searchsorted(edges, phase, side="right").clip(0, len(indices) - 1)
        following = (own + 1) % len(indices)
        left = edges[own] - phase
        mix = np.clip(1 - left * length / rng.uniform(6, 14), 0, 1) * 0.5
        return np.asarray(indices)[own], np.asarray(indices)[following], mix
    return base, base, np.zeros(shape)


def _truth(kind, indices, first, sent_back, inside, area):
    rows, columns = np.nonzero(inside)
    box = (int(columns.min()), int(rows.min()), int(columns.max()) + 1, int(rows.max()) + 1)
    if kind == "variegated":
        places = [(first == i) & area for i in indices]
        # What shows on less than a twelfth of the skein is not counted as a shade of it.
        places = [p for p in places if p.sum() > 0.08 * area.sum()]
    else:
        places = [area]
    labs = np.stack([sl.lab_of_xyz(sent_back[p].mean(axis=0)) for p in places])
    shares = np.array([float(p.sum()) for p in places])
    return Truth(kind, labs, shares / shares.sum(), box, inside, area)


def _ground(rng, ground, material, xx, yy, places):
    shape = xx.shape
    factor = np.ones(shape)
    white_mask = None
    if ground == "paper":
        base = material(sl.paper(rng))
        factor = 1 + rng.normal(size=shape) * 0.004
        white_mask = np.ones(shape, dtype=bool)
        for place in places:
            white_mask &= _inside(place, xx, yy) < 0.5
        return np.full(shape, base), np.full(shape, base), np.zeros(shape), white_mask, factor
    if ground in ("wood", "card"):
        base = material(sl.wood(rng))
        angle = rng.uniform(-0.2, 0.2)
        v = yy * np.cos(angle) + xx * np.sin(angle)
        grain = np.sin(v / rng.uniform(2, 6) + 2 * gaussian_filter(rng.normal(size=shape), (3, 40)) * 40)
        factor = 1 + rng.uniform(0.02, 0.14) * grain + 0.05 * gaussian_filter(rng.normal(size=shape), (1, 30)) * 20
    else:
        base = material(sl.cloth(rng))
        factor = 1 + rng.uniform(0.03, 0.1) * np.sin(xx / 1.6) * np.sin(yy / 1.6)
        factor += 0.03 * gaussian_filter(rng.normal(size=shape), 3) * 8
    first = np.full(shape, base)
    if ground == "card":
        card = (xx > rng.uniform(6, 25)) & (xx < rng.uniform(120, 175)) & (yy > rng.uniform(6, 25))
        card &= yy < rng.uniform(85, 130)
        first[card] = material(sl.paper(rng))
        factor[card] = 1.0
        white_mask = card
    return first, first.copy(), np.zeros(shape), white_mask, np.clip(factor, 0.3, 1.6)


def _lights(rng, light, xx, yy):
    x, y = xx / WIDTH - 0.5, yy / HEIGHT - 0.5
    vignette = 1 - rng.uniform(0, 0.35) * (x**2 + y**2)
    angle = rng.uniform(0, 2 * np.pi)
    slope = rng.uniform(0, 0.35)
    ramp = 1 + slope * (x * np.cos(angle) + y * np.sin(angle))

    def direction():
        turn, rise = rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(45, 80))
        return np.array([np.cos(turn) * np.cos(rise), np.sin(turn) * np.cos(rise), np.sin(rise)])

    if light == "mixed":
        lamps = [
            str(rng.choice(["5500K", "6500K", "7500K"])),
            str(rng.choice(["2700P", "2856P", "LED-B1", "LED-B2", "FL2"])),
        ]
        share = np.clip(
            rng.uniform(0.35, 0.65) + rng.uniform(0.1, 0.5) * (x * np.cos(angle) + y * np.sin(angle)), 0.05, 0.95
        )
        return lamps, [direction(), direction()], [share * vignette, (1 - share) * vignette]
    names = sl.BROADBAND if light == "broadband" else sl.LEDS
    return [str(rng.choice(names))], [direction()], [ramp * vignette]


def _render(rng, spectra, materials, normal, openness, gap, sheen, factor, lamps, directions, fields, cam):
    first, second, blend = materials
    table = np.stack(spectra)
    diffuse = rng.uniform(0.35, 0.65)
    inter = rng.uniform(0.3, 0.8)
    mean_light = sum(float(f.mean()) * sl.lamp(n) for n, f in zip(lamps, fields, strict=True))
    white_raw = mean_light @ cam.sensitivity
    day_raw = sl.lamp("D65") @ cam.sensitivity
    day_raw = day_raw / day_raw[1] * white_raw[1]
    amount = rng.uniform(0.3, 1.0)
    balance = white_raw**amount * day_raw ** (1 - amount)
    matrix = sl.colour_matrix(cam, mean_light)
    # Beside the photo: the light that is sent back, as XYZ under D65 with a flat perfect white there as 1.
    day = sl.daylight_weights()
    once_day, twice_day = table @ day, table**2 @ day
    flat = sum(fields)
    sent_back = np.zeros((HEIGHT, WIDTH, 3))
    out = np.zeros((HEIGHT, WIDTH, 3))
    for name, way, spread in zip(lamps, directions, fields, strict=True):
        power = sl.lamp(name)
        once = (table * power) @ cam.sensitivity
        twice = (table**2 * power) @ cam.sensitivity
        direct = np.clip(normal @ way, 0, None) / way[2]
        light = spread * ((1 - diffuse) * direct * openness + diffuse * (0.5 + 0.5 * normal[..., 2]) * openness)
        light = light * factor
        deep = (inter * gap)[..., None]

        def body(once, twice, deep=deep):
            alone = (1 - blend)[..., None] * once[first] + blend[..., None] * once[second]
            again = (1 - blend)[..., None] * twice[first] + blend[..., None] * twice[second]
            return alone + deep * (again - alone)

        out += light[..., None] * body(once, twice)
        sent_back += (light / flat)[..., None] * body(once_day, twice_day)
        half = way + np.array([0, 0, 1.0])
        half = half / np.linalg.norm(half)
        glint = sheen * np.clip(normal @ half, 0, 1) ** 18 * spread * openness
        out += glint[..., None] * (power @ cam.sensitivity)
        sent_back += (glint / flat)[..., None] * day.sum(axis=0)
    linear = (out / balance) @ matrix.T
    white = (white_raw / balance) @ matrix.T
    return linear, float(white @ [0.2126, 0.7152, 0.0722]), sent_back


def strands(shape, pitch=12.0, angle=0.6):
    """Light on round strands side by side: 1 on the crest, falling to .25 in the gap."""
    rows, columns = np.indices(shape)
    across = (rows * np.cos(angle) + columns * np.sin(angle)) / pitch
    tilt = 2 * (across - np.floor(across)) - 1
    return 0.25 + 0.75 * np.sqrt(1 - tilt**2)


def overlap(one: tuple[int, ...], two: tuple[int, ...]) -> float:
    """Intersection over union of two boxes."""
    wide = max(0, min(one[2], two[2]) - max(one[0], two[0]))
    high = max(0, min(one[3], two[3]) - max(one[1], two[1]))
    areas = sum((b[2] - b[0]) * (b[3] - b[1]) for b in (one, two))
    return wide * high / (areas - wide * high)

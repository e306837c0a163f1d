"""Photographs from traced light: lamps, shares, exposure, tone, colour cast, noise, JPEG. Numpy and Pillow only.

    python tests/render/camera.py renders          # writes every photograph of the plan, masks and truth.csv

or on the fly: ``scene = load(path)``, ``jpeg, mask, truth = photograph(scene, Shot(...))``.
"""

from __future__ import annotations

import csv
import io
import json
import sys
import zlib
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import spectra
from PIL import Image

ORDERS = [(k, j) for j, top in enumerate((7, 4, 3, 2)) for k in range(top)]
XYZ_TO_SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
LIGHTS = {
    "sky": {"sky": 1.0},
    "half": {"sky": 0.5, "window": 0.5},
    "fifth": {"sky": 0.2, "window": 0.8},
    "bulb": {"sky": 0.2, "bulb": 0.8},
    "windows": {"sky": 0.2, "window": 0.45, "window2": 0.35},
}
TUNE_SHAPES, TUNE_LIGHTS = ("skein", "cake", "knit", "skeins"), ("sky", "half", "fifth")
PAPER, LABEL, GROUND, CARDBOARD, SHADOW = (
    100,
    110,
    120,
    130,
    1,
)  # codes in a mask; + SHADOW for paper and ground in shadow
SOURCES = ("sky", "window", "window2", "bulb")
TABLES = np.load(spectra.TABLES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """One traced scene: ``light`` (sources, slots, h, w), a perfect white being 1; ``about`` from make.py."""

    light: np.ndarray
    codes: np.ndarray
    open_ground: np.ndarray
    about: dict


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """How a scene is photographed. ``yarns``: names in spectra.RECIPES (open colour) or the number of a colouring."""

    name: str
    yarns: tuple[str, ...] | int
    light: str | dict
    illuminants: dict = field(
        default_factory=lambda: {"sky": "D65", "window": "D65", "window2": "D65", "bulb": "3000K"}
    )
    camera: str = "cie"
    tone: str = "srgb"
    exposure: float = 0.0
    white_balance: float = 1.0
    quality: int = 90
    noise: float = 1.0
    tint: str | None = None

    @property
    def shares(self) -> dict[str, float]:
        """Share of each source in the light on an open level place."""
        return LIGHTS[self.light] if isinstance(self.light, str) else self.light


def load(path: Path) -> Scene:
    """A scene from its npz."""
    with np.load(path) as data:
        return Scene(
            light=data["light"],
            codes=data["codes"],
            open_ground=data["open_ground"],
            about=json.loads(str(data["about"])),
        )


def lamp(name: str) -> np.ndarray:
    """Power of a lamp over the wavelengths, for a white of Y = 1."""
    power = TABLES[name]
    return power / (power @ TABLES["observer"][:, 1])


def lab(xyz: np.ndarray) -> np.ndarray:
    """CIELAB of XYZ (white Y = 1) under D65."""
    white = lamp("D65") @ TABLES["observer"]
    t = xyz / white
    f = np.where(t > (6 / 29) ** 3, np.cbrt(np.maximum(t, 0)), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], -1)


def weights(rho: np.ndarray, tint: np.ndarray, about: dict) -> np.ndarray:
    """Weight of each slot at each wavelength; what lies past the last order falls by ``tail`` a bounce."""
    rows = []
    tail = about["tail"]
    for slot in about["slots"]:
        k, j = ORDERS[slot]
        last = k == 6
        rows.append(rho**k * tint**j * ((1 - tail) / (1 - tail * rho) if last else 1))
    return np.array(rows)


def hats(centres: np.ndarray) -> np.ndarray:
    """Linear interpolation between bands, (bands, wavelengths)."""
    return np.array([np.interp(spectra.WAVELENGTHS, centres, np.eye(len(centres))[b]) for b in range(len(centres))])


def linear(scene: Scene, shot: Shot) -> np.ndarray:
    """Linear sRGB (h, w, 3) as the camera sees it after its white balance; an open level perfect white has Y = 1."""
    sense = TABLES["observer"] if shot.camera == "cie" else TABLES["sensor"]
    image, white = 0, np.zeros(3)
    for source, share in shot.shares.items():
        power = lamp(shot.illuminants[source])
        white = white + share * (power @ sense)
        if "bands" in scene.about:
            bands = len(scene.about["bands"])
            part = scene.light[SOURCES.index(source), shot.yarns * bands : (shot.yarns + 1) * bands]
            table = hats(np.array(scene.about["bands"])) * power @ sense
        else:
            part = scene.light[SOURCES.index(source)]
            tint = spectra.tint(shot.tint or scene.about["tint"])
            table = weights(spectra.yarn(shot.yarns[0]), tint, scene.about) * power @ sense
        image = image + share * np.tensordot(part.astype(np.float32), table.astype(np.float32), (0, 0))
    return _balanced(image, white, shot)


def _balanced(raw: np.ndarray, white: np.ndarray, shot: Shot) -> np.ndarray:
    """Raw channels to linear sRGB, ``white_balance`` of the light's colour taken out."""
    if shot.camera == "cie":
        raw, white = raw @ XYZ_TO_SRGB.T, XYZ_TO_SRGB @ white
        day = XYZ_TO_SRGB @ (lamp("D65") @ TABLES["observer"])
        matrix = np.eye(3)
    else:
        day = lamp("D65") @ TABLES["sensor"]
        matrix = _camera_matrix()
    gain = (day / white) ** shot.white_balance
    gain = gain * (day[1] / white[1]) / gain[1]
    return raw * (gain / day) @ matrix.T


def _camera_matrix() -> np.ndarray:
    """From the camera's balanced raw to linear sRGB under D65, by least squares over half-strength dyes, white kept."""
    power = lamp("D65")
    some = np.array(
        [
            spectra.reflectance({a: s, b: t})
            for a in spectra.DYES
            for b in spectra.DYES
            for s in (0.2, 1.5)
            for t in (0.1, 1)
        ]
    )
    raw = some * power @ TABLES["sensor"] / (power @ TABLES["sensor"])
    want = some * power @ TABLES["observer"] @ XYZ_TO_SRGB.T
    rows = np.concatenate([raw, 300 * np.ones((1, 3))])
    aims = np.concatenate([want, 300 * np.ones((1, 3))])
    return np.linalg.lstsq(rows, aims, rcond=None)[0].T


def encode(x: np.ndarray) -> np.ndarray:
    """The sRGB curve."""
    x = np.clip(x, 0, 1)
    return np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)


def toned(x: np.ndarray, tone: str) -> np.ndarray:
    """Codes 0-1 of linear light: ``srgb``, ``s-curve`` (mid tones lightened) or ``dark`` (darkened)."""
    x = np.maximum(x, 0)
    if tone == "s-curve":
        shoulder = np.where(x < 0.7, x, 0.7 + 0.3 * (1 - np.exp(-(x - 0.7) / 0.3)))
        code = encode(shoulder**0.80)
        return code + 0.25 * (code * code * (3 - 2 * code) - code)
    if tone == "dark":
        return encode(np.minimum(x, 1) ** 1.15)
    return encode(x)


def develop(light: np.ndarray, shot: Shot, seed: int) -> bytes:
    """JPEG of linear light: lens falloff, sensor noise, tone, a little sharpening."""
    rng = np.random.default_rng(seed)
    h, w, _ = light.shape
    y, x = np.mgrid[0:h, 0:w]
    fall = 1 - 0.10 * (((x - w / 2) ** 2 + (y - h / 2) ** 2) / (w / 2) ** 2) / 1.56
    # At 0 stops an open level white lands at .6: paper of .86 at a code of about 190.
    sensor = light * fall[..., None] * 0.6 * 2**shot.exposure
    strength = shot.noise * 2 ** (-shot.exposure / 2)
    grain = rng.normal(0, 1, (h, w, 3)) * 0.7 + rng.normal(0, 1, (h, w, 1)) * 0.7
    sensor = sensor + grain * strength * np.sqrt(1.2e-4 * np.maximum(sensor, 0) + 2e-6)
    code = toned(_blur(sensor, 0.25), shot.tone)
    code = np.clip(code + 0.35 * (code - _blur(code, 0.5)), 0, 1)
    out = io.BytesIO()
    Image.fromarray((code * 255 + 0.5).astype(np.uint8)).save(out, "JPEG", quality=shot.quality)
    return out.getvalue()


def _blur(image: np.ndarray, side: float) -> np.ndarray:
    """Three taps each way, ``side`` of the middle's weight on either side."""
    for axis in (0, 1):
        pad = [(0, 0)] * 3
        pad[axis] = (1, 1)
        p = np.pad(image, pad, mode="edge")
        n = image.shape[axis]
        a, b, c = (np.take(p, np.arange(i, i + n), axis) for i in range(3))
        image = (b + side * (a + c)) / (1 + 2 * side)
    return image


def mask(scene: Scene, shot: Shot) -> np.ndarray:
    """Codes of the mask with the shadows of this light: less than .75 of what open ground has there."""
    codes = scene.codes.copy()
    ratio = 0
    total = 0
    for source, share in shot.shares.items():
        ratio = ratio + share * scene.open_ground[SOURCES.index(source), 0].astype(float)
        total = total + share * scene.open_ground[SOURCES.index(source), 1].astype(float)
    h, w = codes.shape
    small = Image.fromarray((ratio / np.maximum(total, 1e-3)).astype(np.float32))
    shadow = np.asarray(small.resize((w, h), Image.BILINEAR)) < 0.75
    codes[shadow & ((codes == PAPER) | (codes == GROUND))] += SHADOW
    return codes


def shade(scene: Scene, shot: Shot, index: int) -> tuple[np.ndarray, np.ndarray, str]:
    """CIELAB of yarn ``index`` (from 1) as a whole and of its fibre, and its name."""
    name = scene.about["colourings"][shot.yarns][index - 1] if "bands" in scene.about else shot.yarns[index - 1]
    rho = spectra.yarn(name)
    look = np.array(scene.about["truth"][index - 1])
    whole = look @ weights(rho, spectra.tint("none"), {"slots": range(7), "tail": scene.about["tail"]})
    power = lamp("D65")
    return lab(whole * power @ TABLES["observer"]), lab(rho * power @ TABLES["observer"]), name


def photograph(scene: Scene, shot: Shot) -> tuple[bytes, np.ndarray, list[dict]]:
    """JPEG, mask, and one record of truth for each yarn that is seen."""
    codes = mask(scene, shot)
    data = develop(linear(scene, shot), shot, zlib.crc32(shot.name.encode()))
    records = []
    about = scene.about
    for index in range(1, about["yarns"] + 1):
        rows, cols = np.nonzero(codes == index)
        if len(rows) < 200:
            continue
        whole, fibre, name = shade(scene, shot, index)
        left, right = np.quantile(cols, [0.0005, 0.9995])
        top, bottom = np.quantile(rows, [0.0005, 0.9995])
        fresh = [w for w, known in ((about["shape"], TUNE_SHAPES), (shot.light, TUNE_LIGHTS)) if w not in known]
        records.append(
            {
                "file": f"{shot.name}.jpg",
                "mask": f"{shot.name}.mask.png",
                "split": "judge" if fresh else "tune",
                "fresh": " ".join(map(str, fresh)),
                "scene": about["name"],
                "yarn": name,
                "index": index,
                "shape": about["shape"],
                "ground": about["ground"],
                "label": about["label"],
                "light": shot.light,
                "ambient": shot.shares["sky"],
                "bearing": about["bearing"],
                "illuminants": " ".join(f"{s}:{shot.illuminants[s]}" for s in shot.shares),
                "camera": shot.camera,
                "tone": shot.tone,
                "exposure": shot.exposure,
                "white_balance": shot.white_balance,
                "quality": shot.quality,
                "paper_reflectance": about["paper"] if (scene.codes == PAPER).mean() > 0.01 else "",
                "left": int(left),
                "top": int(top),
                "right": int(right) + 1,
                "bottom": int(bottom) + 1,
                **{
                    k: round(float(v), 2)
                    for k, v in zip(("L", "a", "b", "L_fibre", "a_fibre", "b_fibre"), [*whole, *fibre], strict=True)
                },
            }
        )
    return data, codes, records


def plan(scene: Scene, pool: list[str], rng: np.random.Generator) -> list[Shot]:
    """The photographs of one scene: each light with two yarns or colourings, each with a camera of its own."""
    shots = []
    names = list(rng.permutation(pool))
    colourings = len(scene.about.get("colourings", [])) or None
    for light in LIGHTS:
        for turn in range(2):
            yarns = (
                (turn % colourings)
                if colourings
                else (str(names[(2 * list(LIGHTS).index(light) + turn) % len(names)]),)
            )
            day = str(
                rng.choice(["D50", "D65", "D65", "LED4000", "3000K"] if light in ("sky", "half") else ["D50", "D65"])
            )
            bulb = str(rng.choice(["3000K", "LED4000", "LED3000"]))
            what = str(turn + 1) if colourings else yarns[0].replace(" ", "_")
            shots.append(
                Shot(
                    name=f"{scene.about['name']}-{light}-{what}",
                    yarns=yarns,
                    light=light,
                    illuminants={"sky": day, "window": day, "window2": "D65" if day == "D50" else "D50", "bulb": bulb},
                    camera=str(rng.choice(["cie", "sensor"])),
                    tone=str(rng.choice(["srgb", "s-curve", "dark"])),
                    exposure=round(float(rng.uniform(-1.2, 0.5)), 2),
                    white_balance=round(float(rng.uniform(0.3, 1.0)), 2),
                    quality=int(rng.integers(85, 93)),
                    noise=round(float(rng.uniform(0.4, 1.6)), 2),
                )
            )
    return shots


def main(folder: Path) -> None:
    """Write every photograph of the plan for the scenes in ``folder``/scenes."""
    names = sorted(spectra.RECIPES)
    records = []
    for path in sorted((folder / "scenes").glob("*.npz")):
        scene = load(path)
        seed = zlib.crc32(scene.about["name"].encode())
        # Yarns too are kept apart: every second one (by name) belongs to the shapes to tune on.
        pool = names[0::2] if scene.about["shape"] in TUNE_SHAPES else names[1::2]
        for shot in plan(scene, pool, np.random.default_rng(seed)):
            data, codes, found = photograph(scene, shot)
            (folder / f"{shot.name}.jpg").write_bytes(data)
            Image.fromarray(codes).save(folder / f"{shot.name}.mask.png", optimize=True)
            records.extend(found)
    with (folder / "truth.csv").open("w", newline="") as out:
        writer = csv.DictWriter(out, list(records[0]))
        writer.writeheader()
        writer.writerows(records)


if __name__ == "__main__":
    main(Path(sys.argv[1]))

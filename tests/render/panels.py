"""Trace panels of two strands and write their colours by distance (tests/reference/strand_panels_dyed.csv).

Needs mitsuba and LLVM, and `trace` beside it; an hour or two of one core.
DRJIT_LIBLLVM_PATH=... python tests/render/panels.py OUT.csv [samples a pixel]

Strands are plied yarn with loose fibres under an even sky, dyes those of `spectra`. Every pair is traced with both its
solids in one pass. Nothing of the package's model is used: colours come from the observer's tables, the eye's part from
the narrow luminance kernels of S-CIELAB (Zhang and Wandell 1996).
"""

from __future__ import annotations

import sys
from pathlib import Path
from trace import Ground, Piece, View, render, world

import numpy as np
import spectra
from scipy import fft
from scipy.ndimage import gaussian_filter1d
from yarn import Mesh, Yarn, carried, joined, spun

PAIRS = (
    ("scarlet", "bottle"),
    ("royal", "lemon"),
    ("fuchsia", "grass"),
    ("plum", "gold"),
    ("sky", "terracotta"),
    ("midnight", "white"),
    ("wine", "mint"),
    ("petrol", "rose"),
    ("orange", "denim"),
    ("charcoal", "lilac"),
    ("olive", "pale pink"),
    ("black", "lemon"),
    ("camel", "royal"),
    ("ivory", "brown"),
)
DISTANCES_M = (0.5, 1.0, 2.0, 4.0, 8.0)
SIDE_CM, SIDE_PX = 5.2, 260
ALONG = np.arange(-4.2, 4.2, 0.06)
# Oklab's cones from CIE XYZ (Ottosson 2020); CIELAB needs no more than XYZ.
XYZ_TO_LMS = np.array(
    [
        [0.8189330101, 0.3618667424, -0.1288597137],
        [0.0329845436, 0.9293118715, 0.0361456387],
        [0.0482003018, 0.2643662691, 0.6338517070],
    ]
)


def _wander(rng: np.random.Generator, run: float, size: float) -> np.ndarray:
    return gaussian_filter1d(rng.normal(0, 1, len(ALONG)), run) * size * np.sqrt(3.54 * run)


def _wound(rng: np.random.Generator, layer: int) -> list[tuple[np.ndarray, int]]:
    """Return strands side by side on a card, in turn."""
    rows = np.arange(-4 - 0.23 * layer, 4, 0.44)
    paths = [np.stack([ALONG, 0.38 * layer + _wander(rng, 8, 0.02), z + _wander(rng, 10, 0.02)], 1) for z in rows]
    return [(path, (i + layer) % 2) for i, path in enumerate(paths)]


def _twist(rng: np.random.Generator, layer: int) -> list[tuple[np.ndarray, int]]:
    """Return pairs that turn over each other as they please."""
    out = []
    for z in np.arange(-4 - 0.35 * layer, 4, 0.78):
        turn = rng.uniform(0, 2 * np.pi) + 2 * np.pi * 0.35 * ALONG / 1.8 * rng.choice([-1, 1]) + _wander(rng, 12, 1.1)
        for which in (0, 1):
            t = turn + np.pi * which
            depth = 0.38 * layer - 0.19 * np.sin(t) + _wander(rng, 8, 0.015)
            out.append((np.stack([ALONG, depth, z + 0.19 * np.cos(t) + _wander(rng, 8, 0.015)], 1), which))
    return out


def _loops(rng: np.random.Generator, layer: int) -> list[tuple[np.ndarray, int]]:
    """Return rows of open loops."""
    out = []
    for z in np.arange(-4 - 0.5 * layer, 4, 0.8):
        for which in (0, 1):
            phase = 2 * np.pi * ALONG / 1.1 + rng.uniform(0, 2 * np.pi)
            depth = 0.38 * layer + 0.12 * np.cos(phase) + _wander(rng, 8, 0.02)
            across = z + 0.4 * (which - 0.5) + 0.22 * np.sin(phase)
            out.append((np.stack([ALONG + 0.25 * np.sin(2 * phase), depth, across], 1), which))
    return out


def pieces_of(arrange, seed: int) -> list[Piece]:
    """Return two layers of strands of two yarns over a black ground, seen along y."""
    rng = np.random.default_rng(seed)
    made = Yarn(thickness=0.46, plies=4 if arrange is _twist else 3, twist=24, fuzz=1.0)
    strands: tuple[list[Mesh], list[Mesh]] = ([], [])
    for layer in (0, 1):
        for path, which in arrange(rng, layer):
            strands[which].append(spun(path, carried(path), made, rng))
    corners = np.array([[-9, 1.2, -9], [9, 1.2, -9], [9, 1.2, 9], [-9, 1.2, 9]], float)
    ground = Mesh(points=corners, normals=np.tile([0, -1.0, 0], (4, 1)), faces=np.array([[0, 1, 2], [0, 2, 3]]))
    return [
        Piece(mesh=joined(strands[0]), made_of=0, code=1),
        Piece(mesh=joined(strands[1]), made_of=1, code=2),
        Piece(mesh=ground, made_of=Ground(table=np.zeros((1, 1, 3))), code=0),
    ]


def traced(pieces: list[Piece], pair: tuple[str, str], samples: int, seed: int) -> np.ndarray:
    """Return XYZ of the pair and of its two solids, shape (3, side, side, 3), a perfect white being (1, 1, 1)."""
    a, b = (spectra.yarn(name) for name in pair)
    black = np.zeros_like(a)
    bands = np.array([[a, b, black], [a, a, black], [b, b, black]])
    view = View(
        eye=(0, -300, 0),
        target=(0, 0, 0),
        fov=2 * float(np.degrees(np.arctan(SIDE_CM / 600))),
        lens=0.0,
        width=SIDE_PX,
        height=SIDE_PX,
    )
    light, _ = render(world(pieces, [], bands=bands), view, samples, seed)
    tables = np.load(spectra.TABLES)
    observer = tables["observer"] * tables["D65"][:, None]
    spectrum = light[0].reshape(3, len(spectra.WAVELENGTHS), SIDE_PX, SIDE_PX)
    return np.einsum("cwij,wx->cijx", spectrum, observer / observer.sum(axis=0))


def filtered(picture: np.ndarray, from_m: float) -> np.ndarray:
    """Return a picture as the eye has it from a distance."""
    f = np.arange(SIDE_PX) / (2 * SIDE_PX) * SIDE_PX / (10 * SIDE_CM) * from_m * 17.45
    f = np.hypot(f[:, None], f[None])
    kept = (0.921 * np.exp(-((0.0283 * np.pi * f) ** 2)) + 0.105 * np.exp(-((0.133 * np.pi * f) ** 2))) / 1.026
    return fft.idctn(fft.dctn(picture, axes=(0, 1)) * kept[..., None], axes=(0, 1))


def to_lab(xyz: np.ndarray) -> np.ndarray:
    """Return CIELAB of XYZ over that of white."""
    f = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def colours(pictures: np.ndarray) -> dict[str, np.ndarray]:
    """Return CIELAB of a pair by distance, relief divided out by its solids; and of both solids."""
    white = np.array([0.95047, 1.0, 1.08883])

    def cones(xyz: np.ndarray) -> np.ndarray:
        return np.maximum(xyz * white @ XYZ_TO_LMS.T, 0)

    means = pictures.mean(axis=(1, 2))
    out = {"a": to_lab(means[1]), "b": to_lab(means[2])}
    for from_m in DISTANCES_M:
        seen = [np.cbrt(cones(filtered(p, from_m))).mean(axis=(0, 1)) ** 3 for p in pictures]
        relief = np.mean([seen[i] / cones(means[i]) for i in (1, 2)], axis=0)
        out[f"{from_m:g}"] = to_lab(np.linalg.solve(XYZ_TO_LMS, seen[0] / relief) / white)
    out["far"] = to_lab(means[0])
    return out


def main() -> None:
    """Write one line for each arrangement, pair and distance."""
    from colour import Lab_to_XYZ, XYZ_to_sRGB

    def code(lab: np.ndarray) -> str:
        rgb = np.clip(XYZ_to_sRGB(Lab_to_XYZ(lab, [0.3127, 0.329])), 0, 1)
        return "#" + "".join(f"{round(255 * v):02x}" for v in rgb)

    samples = int(sys.argv[2]) if len(sys.argv) > 2 else 128
    with Path(sys.argv[1]).open("w", encoding="utf-8") as file:
        file.write("panel,pair,strand_a,strand_b,seen_from_m,L,a,b\n")
        for arrange in (_wound, _twist, _loops):
            pieces = pieces_of(arrange, 1)
            for pair in PAIRS:
                found = colours(traced(pieces, pair, samples, 1))
                strands = f"{code(found.pop('a'))},{code(found.pop('b'))}"
                for distance, lab in found.items():
                    numbers = ",".join(f"{v:.2f}" for v in lab)
                    file.write(f"{arrange.__name__[1:]},{'+'.join(pair)},{strands},{distance},{numbers}\n")


if __name__ == "__main__":
    main()

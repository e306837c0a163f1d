"""Trace every scene into <folder>/scenes/<name>.npz. Needs mitsuba and LLVM; about two minutes of one core a scene.

DRJIT_LIBLLVM_PATH=... python tests/render/make.py <folder> <dc.csv> [name ...]
"""

from __future__ import annotations

import json
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from trace import ORDERS, Lamp, Piece, View, render, world

import camera
import grounds
import numpy as np
import shapes
import spectra
from yarn import Yarn, rotation

SAMPLES = 96
WOOL, FINE, BULKY = (
    Yarn(plies=4, twist=24),
    Yarn(thickness=0.24, plies=2, twist=26, fuzz=1.2),
    Yarn(thickness=0.5, plies=3, twist=24, fuzz=2.5),
)
THREAD = Yarn(thickness=0.17, plies=2, twist=26, fuzz=0.6, sides=5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One scene: what lies there, whether with a band, its turn about z, the window's bearing, the camera."""

    shape: str
    yarn: Yarn
    ground: str = "paper"
    tint: str = "none"
    label: bool = False
    turn: float = 0.0
    bearing: float = 150.0
    paper: float = 0.86
    eye: tuple[float, float, float] = (0, -42, 36)
    aim: float = 2.5
    fov: float = 31.0
    seed: int = 1


SETTINGS = {
    "skein-paper": Setting(shape="skein", yarn=WOOL, turn=12, bearing=195),
    "cake-paper": Setting(shape="cake", yarn=WOOL, bearing=215, eye=(3, -28, 27), fov=29),
    "hank-paper": Setting(shape="hank", yarn=FINE, turn=-18, bearing=350, eye=(0, -40, 36)),
    "knit-paper": Setting(shape="knit", yarn=WOOL, turn=8, bearing=110, eye=(2, -24, 33), aim=0, fov=32),
    "cone-paper": Setting(shape="cone", yarn=THREAD, bearing=205, eye=(2, -36, 25), aim=6.8, fov=33),
    "crochet-paper": Setting(shape="crochet", yarn=WOOL, turn=-6, bearing=20, eye=(0, -14, 22), aim=0, fov=38),
    "skein_band-paper": Setting(shape="skein", yarn=BULKY, label=True, turn=-25, bearing=340, seed=2),
    "hank_band-paper": Setting(shape="hank", yarn=WOOL, label=True, turn=20, bearing=130, seed=2),
    "skein_band-sheet_oak": Setting(
        shape="skein",
        yarn=FINE,
        label=True,
        ground="sheet on wood",
        tint="oak",
        turn=30,
        bearing=200,
        eye=(4, -40, 40),
        fov=36,
        seed=3,
    ),
    "cake-sheet_blue": Setting(
        shape="cake",
        yarn=BULKY,
        ground="sheet on cloth",
        tint="blue cloth",
        bearing=335,
        eye=(-3, -32, 34),
        fov=34,
        seed=3,
    ),
    "cake-walnut": Setting(
        shape="cake", yarn=FINE, ground="wood", tint="walnut", bearing=120, eye=(0, -27, 30), fov=28, seed=4
    ),
    "knit-check": Setting(
        shape="knit",
        yarn=BULKY,
        ground="check cloth",
        tint="red cloth",
        turn=-15,
        bearing=190,
        eye=(0, -30, 40),
        aim=0,
        fov=42,
        seed=5,
    ),
    "skein-wall": Setting(
        shape="skein",
        yarn=WOOL,
        ground="wall",
        tint="beige wall",
        turn=-8,
        bearing=215,
        eye=(4, -46, 15),
        aim=5,
        seed=6,
    ),
    "hank-sheet_walnut": Setting(
        shape="hank",
        yarn=BULKY,
        ground="sheet on wood",
        tint="walnut",
        turn=15,
        bearing=165,
        paper=0.80,
        eye=(2, -40, 40),
        fov=36,
        seed=7,
    ),
    "hank-stripe": Setting(
        shape="hank", yarn=WOOL, ground="stripe cloth", tint="green cloth", turn=-30, bearing=330, seed=8
    ),
    "cone-wall": Setting(
        shape="cone",
        yarn=THREAD,
        ground="wall",
        tint="beige wall",
        bearing=200,
        eye=(-4, -38, 14),
        aim=7,
        fov=36,
        seed=9,
    ),
    "cone-sheet_mustard": Setting(
        shape="cone",
        yarn=FINE,
        ground="sheet on cloth",
        tint="mustard cloth",
        bearing=185,
        eye=(0, -36, 30),
        aim=5,
        fov=37,
        seed=10,
    ),
    "crochet-oak": Setting(
        shape="crochet",
        yarn=BULKY,
        ground="wood",
        tint="oak",
        turn=12,
        bearing=80,
        eye=(2, -20, 30),
        aim=0,
        fov=36,
        seed=11,
    ),
}


def lamps(bearing: float) -> list[Lamp]:
    """Window, second window, bulb, as in camera.SOURCES; ``bearing`` in degrees from +x (270 = behind the camera)."""

    def at(degrees: float, far: float, z: float) -> tuple[float, float, float]:
        return (far * np.cos(np.radians(degrees)), far * np.sin(np.radians(degrees)), z)

    def across(degrees: float, half: float) -> tuple[float, float, float]:
        return (-half * np.sin(np.radians(degrees)), half * np.cos(np.radians(degrees)), 0)

    other = bearing + 115
    return [
        Lamp(middle=at(bearing, 150, 95), half=(across(bearing, 45), (0, 0, 60))),
        Lamp(middle=at(other, 190, 120), half=(across(other, 40), (0, 0, 55))),
        Lamp(middle=at(195 - bearing, 38, 52), half=3.0),
    ]


def under(setting: Setting, rng) -> list[Piece]:
    """The ground's pieces."""
    clean = grounds.paper(setting.paper, rng)
    kind = setting.ground
    if kind == "paper":
        return [Piece(mesh=grounds.floor(), made_of=clean, code=12)]
    if kind.startswith("sheet"):
        below = grounds.planks(rng) if kind.endswith("wood") else grounds.cloth(rng, "plain")
        size = (21.0, 29.7) if setting.shape in ("cone", "cake") else (42.0, 29.7)  # A4, A3
        return [
            Piece(mesh=grounds.floor(-0.06), made_of=below, code=14),
            Piece(mesh=grounds.sheet(size, rng.uniform(-12, 12)), made_of=clean, code=12),
        ]
    if kind == "wood":
        return [Piece(mesh=grounds.floor(), made_of=grounds.planks(rng), code=14)]
    if kind == "wall":
        back = grounds.plate(np.array([-150, 24.0, 0]), np.array([300.0, 0, 0]), np.array([0, 0, 200.0]))
        return [
            Piece(mesh=grounds.floor(), made_of=grounds.planks(rng), code=14),
            Piece(mesh=back, made_of=grounds.wall(rng), code=14),
        ]
    return [Piece(mesh=grounds.floor(), made_of=grounds.cloth(rng, kind.split()[0]), code=14)]


def yarn_pieces(setting: Setting, rng, table: Path) -> list[Piece]:
    """The yarn, turned, with its cardboard or its band."""
    made = {
        "skein": lambda: shapes.skein(setting.yarn, rng),
        "cake": lambda: shapes.cake(setting.yarn, rng),
        "hank": lambda: shapes.hank(setting.yarn, rng),
        "cone": lambda: shapes.cone(setting.yarn, rng),
        "knit": lambda: shapes.knitted(setting.yarn, rng),
        "crochet": lambda: shapes.crocheted(setting.yarn, rng, table),
    }[setting.shape]()
    board = None
    if isinstance(made, tuple):
        made, board = made
    turn = rotation("z", setting.turn)
    pieces = [Piece(mesh=made.moved(turn, np.zeros(3)), made_of=0, code=1)]
    if board is not None:
        card = grounds.Ground(table=np.full((1, 1, 3), [0.45, 0.0, 0.0]))
        pieces.append(Piece(mesh=board.moved(turn, np.zeros(3)), made_of=card, code=15))
    if setting.label:
        mesh, ink = grounds.band(pieces[0].mesh, turn @ [1.0, 0, 0], 6.5, rng)
        pieces.append(Piece(mesh=mesh, made_of=ink, code=13))
    return pieces


CODES = {
    0: 0,
    **{i: i for i in range(1, 12)},
    12: camera.PAPER,
    13: camera.LABEL,
    14: camera.GROUND,
    15: camera.CARDBOARD,
}


def coded(votes: np.ndarray) -> np.ndarray:
    """Mask codes by the majority of samples."""
    lut = np.array([CODES[i] for i in range(16)], np.uint8)
    return lut[votes.argmax(0)]


def quarter(image: np.ndarray) -> np.ndarray:
    """Means over 4 x 4 pixels."""
    h, w = image.shape[-2:]
    return image.reshape(*image.shape[:-2], h // 4, 4, w // 4, 4).mean((-3, -1))


def open_ground(light: np.ndarray, pieces: list[Piece], setting: Setting, view: View) -> np.ndarray:
    """Light of the ground as lit, and with nothing on it, (sources, 2, h / 4, w / 4)."""
    bare = world([p for p in pieces if p.code in (12, 14)], lamps(setting.bearing))
    empty, _ = render(bare, view, 8, 77)
    tint = spectra.tint(setting.tint).mean()
    grey = np.array([tint**j if k == 0 else 0.0 for k, j in ORDERS])
    both = [quarter(np.tensordot(x, grey, (1, 0))) for x in (light, empty)]
    return np.stack(both, 1).astype(np.float16)


def truth(pieces: list[Piece], seen: np.ndarray, view: View, paper: float, rng) -> list[float]:
    """Mean light by order over the yarn's seen pixels: this yarn alone on wide paper under an even sky of 1."""
    alone = [*pieces, Piece(mesh=grounds.floor(), made_of=grounds.paper(paper, rng), code=12)]
    light, _ = render(world(alone, []), view, 8, 99)
    return [float(v) for v in light[0, :7][:, seen].mean(1)]


def save(path: Path, light: np.ndarray, codes: np.ndarray, opened: np.ndarray, about: dict) -> None:
    """Write a scene."""
    np.savez_compressed(path, light=light.astype(np.float16), codes=codes, open_ground=opened, about=json.dumps(about))


def tail_of(light: np.ndarray) -> float:
    """Share of light that stays among strands at each bounce past the last order counted."""
    sums = light[0, :7].sum((1, 2), dtype=float)
    return float(np.clip(sums[6] / (sums[6] + sums[5]), 0.3, 0.85))


def trace_one(name: str, folder: Path, table: Path) -> None:
    """Trace a scene of one yarn and save it."""
    setting = SETTINGS[name]
    rng = np.random.default_rng(1000 + setting.seed)
    yarn, ground = yarn_pieces(setting, rng, table), under(setting, rng)
    view = View(eye=setting.eye, target=(0, 0, setting.aim), fov=setting.fov)
    light, votes = render(world([*yarn, *ground], lamps(setting.bearing)), view, SAMPLES, setting.seed)
    codes = coded(votes)
    used = [s for s in range(len(ORDERS)) if light[:, s].any()]
    about = {
        "name": name,
        "shape": setting.shape,
        "ground": setting.ground,
        "tint": setting.tint if setting.tint != "none" else "print",
        "label": setting.label,
        "bearing": setting.bearing,
        "paper": setting.paper,
        "yarns": 1,
        "slots": used,
        "tail": tail_of(light),
        "plies": setting.yarn.plies,
        "thickness_cm": setting.yarn.thickness,
        "samples": SAMPLES,
        "truth": [truth(yarn, codes == 1, view, 0.86, rng)],
    }
    save(folder / f"{name}.npz", light[:, used], codes, open_ground(light, ground, setting, view), about)


def main(folder: Path, table: Path, names: list[str]) -> None:
    """Trace the named scenes, or all that are not there yet."""
    import piles

    (folder / "scenes").mkdir(parents=True, exist_ok=True)
    for name in names or [n for n in [*SETTINGS, *piles.PILES] if not (folder / "scenes" / f"{n}.npz").exists()]:
        start = time.time()
        (piles.trace_pile if name in piles.PILES else trace_one)(name, folder / "scenes", table)
        print(name, f"{time.time() - start:.0f} s", flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3:])

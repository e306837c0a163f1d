"""Heaps of skeins, hanks and cakes that touch and colour each other's light; in bands, two colourings a pass."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from trace import Ground, Piece, View, render, world

import grounds
import make
import numpy as np
import shapes
import spectra
from scipy.ndimage import maximum_filter
from yarn import Mesh, Yarn, rotation

BANDS = np.linspace(398, 706, 12)
CELL, SPAN = 0.25, 40.0  # of the map by which a piece comes to rest (cm)
SOFT = Yarn(thickness=0.36, plies=4, twist=24, sides=6)
SLIM = Yarn(thickness=0.26, plies=2, twist=26, sides=6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pile:
    """A heap: kind, x, y and turn (degrees) of each piece, which of them wear a band, what each is dyed."""

    setting: make.Setting
    places: tuple[tuple[str, float, float, float], ...]
    banded: tuple[int, ...] = ()
    colourings: tuple[tuple[str, ...], ...] = ()


_ROW = (("skein", -0.8, -6.2, 6), ("skein", 0.6, 1.5, -4), ("skein", -0.2, 9.2, 3))
_MIXED = (
    ("hank", -1, 7.2, 5),
    ("hank", 0.5, 1.4, -4),
    ("cake", -8.6, -5.6, 0),
    ("hank", 5.9, -5.6, -4),
    ("hank", 0.8, 4.3, 12),
)
_FOUR = (("cake", -4.6, 4.2, 0), ("cake", 4.1, 4.8, 0), ("hank", -1.0, -3.0, 3), ("hank", 0, -8.8, -4))

PILES = {
    "skeins-paper": Pile(
        setting=make.Setting(shape="skeins", yarn=SOFT, bearing=200, eye=(2, -42, 38), aim=5, fov=41, seed=21),
        places=(*_ROW, ("skein", 1.0, -2.4, -3), ("skein", -1.0, 5.4, 5)),
        banded=(0, 4),
        colourings=(("white", "gold", "sky", "scarlet", "charcoal"), ("camel", "royal", "mint", "pale pink", "wine")),
    ),
    "skeins-sheet_oak": Pile(
        setting=make.Setting(
            shape="skeins",
            yarn=SLIM,
            ground="sheet on wood",
            tint="oak",
            bearing=340,
            eye=(-6, -40, 40),
            aim=3,
            fov=37,
            seed=22,
        ),
        places=(*_ROW, ("skein", 0.5, -2.2, 10)),
        banded=(1,),
        colourings=(("terracotta", "grass", "oatmeal", "midnight"), ("lilac", "black", "ivory", "orange")),
    ),
    "mixed-paper": Pile(
        setting=make.Setting(shape="mixed", yarn=SOFT, bearing=175, eye=(-2, -40, 38), fov=36, seed=23),
        places=_MIXED,
        colourings=(
            ("pale grey", "fuchsia", "lemon", "denim", "olive"),
            ("bottle", "ivory", "rose", "mid grey", "plum"),
        ),
    ),
    "mixed-sheet_walnut": Pile(
        setting=make.Setting(
            shape="mixed",
            yarn=SLIM,
            ground="sheet on wood",
            tint="walnut",
            bearing=205,
            eye=(3, -38, 42),
            fov=35,
            seed=24,
        ),
        places=_FOUR,
        colourings=(("sage", "brown", "petrol", "white"), ("lemon", "denim", "pale pink", "black")),
    ),
    "mixed-stripe": Pile(
        setting=make.Setting(
            shape="mixed",
            yarn=SOFT,
            ground="stripe cloth",
            tint="blue cloth",
            bearing=325,
            eye=(0, -40, 42),
            fov=38,
            seed=25,
        ),
        places=_MIXED,
        colourings=(("oatmeal", "scarlet", "royal", "mint", "charcoal"), ("orange", "lilac", "grass", "camel", "wine")),
    ),
}


def _cells(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    at = np.clip(((points[:, :2] + SPAN) / CELL).astype(int), 0, int(2 * SPAN / CELL) - 1)
    return at[:, 0], at[:, 1]


def rested(mesh: Mesh, tops: np.ndarray) -> Mesh:
    """The mesh lowered on what lies there (pressed in by 3 mm); ``tops`` is raised to it."""
    at = _cells(mesh.points)
    lows = np.full(tops.shape, np.inf)
    np.minimum.at(lows, at, mesh.points[:, 2])
    here = np.isfinite(lows)
    lift = max(float(np.quantile((tops - lows)[here], 0.997)) - 0.3, 0.0)
    moved = mesh.moved(np.eye(3), np.array([0, 0, lift]))
    np.maximum.at(tops, at, moved.points[:, 2])
    tops[:] = maximum_filter(tops, 2)
    return moved


def heap(pile: Pile, rng: np.random.Generator) -> list[Piece]:
    """The heap's yarns, and bands, in the order of the places."""
    tops = np.zeros((int(2 * SPAN / CELL),) * 2)
    yarns, bands = [], []
    small = replace(pile.setting.yarn, fuzz=1.0)
    for number, (kind, x, y, turn) in enumerate(pile.places):
        made = {
            "skein": lambda: shapes.skein(small, rng, half_length=8.5, radius=2.7, cover=1.6),
            "hank": lambda: shapes.hank(small, rng, length=15.0, lobe=1.35, turns=1.5),
            "cake": lambda: shapes.cake(small, rng, inner=1.1, outer=4.0, tall=4.6),
        }[kind]()
        turned = made.moved(rotation("z", turn), np.zeros(3))
        there = rested(turned.moved(np.eye(3), np.array([x, y, 0.0])), tops)
        yarns.append(Piece(mesh=there, made_of=number, code=number + 1))
        if number in pile.banded:
            along = rotation("z", turn) @ [1.0, 0, 0]
            mesh, ink = grounds.band(turned, along, 5.0, rng)
            lift = there.points[0] - turned.points[0]
            moved = mesh.moved(np.eye(3), lift)
            shift = (ink.origin[0] + lift @ np.array(ink.along), ink.origin[1] + lift @ np.array(ink.up))
            ink = Ground(table=ink.table, along=ink.along, up=ink.up, origin=tuple(map(float, shift)), size=ink.size)
            bands.append(Piece(mesh=moved, made_of=ink, code=13))
    return [*yarns, *bands]


def _reflectances(pile: Pile) -> np.ndarray:
    """(colourings, yarns + 1, bands); the last row is the ground's coloured part."""
    last = spectra.tint(pile.setting.tint if pile.setting.tint != "none" else "print")
    rows = [[*(spectra.yarn(n) for n in names), last] for names in pile.colourings]
    return np.array([[np.interp(BANDS, spectra.WAVELENGTHS, r) for r in row] for row in rows])


def trace_pile(name: str, folder: Path, table: Path) -> None:
    """Trace a heap and save it; ``table`` is not used (heaps hold no crochet)."""
    pile, setting = PILES[name], PILES[name].setting
    rng = np.random.default_rng(1000 + setting.seed)
    pieces, ground = heap(pile, rng), make.under(setting, rng)
    view = View(eye=setting.eye, target=(0, 0, setting.aim), fov=setting.fov)
    lamps = make.lamps(setting.bearing)
    light, votes = render(world([*pieces, *ground], lamps, bands=_reflectances(pile)), view, make.SAMPLES, setting.seed)
    codes = make.coded(votes)
    shadow, _ = render(world([*pieces, *ground], lamps), view, 8, 5)
    looks, tail = [], 0.6
    for piece in pieces:
        if piece.code > len(pile.places):
            continue
        alone = Piece(mesh=piece.mesh, made_of=0, code=1)
        looks.append(
            make.truth([alone], codes == piece.code, view, 0.86, rng) if (codes == piece.code).any() else [0.0] * 7
        )
    about = {
        "name": name,
        "shape": setting.shape,
        "ground": setting.ground,
        "tint": setting.tint,
        "label": bool(pile.banded),
        "bearing": setting.bearing,
        "paper": setting.paper,
        "yarns": len(pile.places),
        "bands": BANDS.tolist(),
        "colourings": pile.colourings,
        "tail": tail,
        "plies": setting.yarn.plies,
        "thickness_cm": setting.yarn.thickness,
        "samples": make.SAMPLES,
        "truth": looks,
        "kinds": [p[0] for p in pile.places],
    }
    make.save(folder / f"{name}.npz", light, codes, make.open_ground(shadow, ground, setting, view), about)

"""Real photographs of a 24-patch colour card as references: the folder `cards` of the samples.

Truth: the maker's values for cards made before November 2014, as the folder's README says of its photographs, from
colour-science and brought to D65 by its Bradford transform. Usable: white below 250 in all channels and above 90; well
exposed: usable and white from 180.
"""

from __future__ import annotations

import csv
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from blendplan.colour import delta_e_2000, linear_to_lab, linear_to_srgb, srgb_to_linear, xyz_to_linear
from blendplan.errors import PhotoError
from blendplan.photo.light import Light, Reference, fit_light, ninety

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
WHITE, GREY = 18, 21
SEED = 8800
DRAWS = 10


@dataclass(frozen=True)
class Shot:
    """One photograph of the card: mean light of the 24 patches, linear sRGB, and the code of its white."""

    name: str
    camera: str
    illuminant: str
    exposure: str
    light: np.ndarray
    code: float
    usable: bool

    @property
    def well(self) -> bool:
        return self.usable and self.code >= 180


@dataclass(frozen=True)
class Judged:
    """What one fit leaves of the colours that took no part in it: errors, and the bound that is told of each."""

    shot: Shot
    light: Light
    off: np.ndarray
    within: np.ndarray


def card_values() -> np.ndarray:
    """The 24 patches, linear sRGB under D65."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    table = colour.CCS_COLOURCHECKERS["ColorChecker24 - Before November 2014"]
    xyz = colour.xyY_to_XYZ(np.array(list(table.data.values())))
    d65 = colour.xy_to_XYZ([0.3127, 0.3290])
    return xyz_to_linear(
        colour.adaptation.chromatic_adaptation_VonKries(
            xyz, colour.xy_to_XYZ(table.illuminant), d65, transform="Bradford"
        )
    )


def shots(folder: Path) -> list[Shot]:
    """The photographs of the folder."""
    boxes: dict[str, list[tuple[int, ...]]] = {}
    for row in csv.DictReader((folder / "patches.csv").open()):
        boxes.setdefault(row["file"], []).append(tuple(int(row[k]) for k in ("left", "top", "right", "bottom")))
    out = []
    for name, places in sorted(boxes.items()):
        linear = srgb_to_linear(np.asarray(Image.open(folder / name).convert("RGB")) / 255)
        light = np.array([linear[t:b, le:r].reshape(-1, 3).mean(axis=0) for le, t, r, b in places])
        codes = 255 * linear_to_srgb([*light[WHITE], light[WHITE] @ LUMINANCE])
        usable = bool(codes[:3].max() < 250 and codes[3] > 90)
        out.append(Shot(name, *name[:-4].rsplit("-", 2), light, float(codes[3]), usable))
    return out


def reference(shot: Shot, values: np.ndarray, i: int) -> Reference:
    """A patch as she would point at it: white and grey by their reflectance, a colour by its value."""
    kind = "white" if i == WHITE else "grey" if i > WHITE else "known"
    wanted = np.full(3, values[i] @ LUMINANCE) if i >= WHITE else values[i]
    return Reference(kind=kind, linear_rgb=tuple(shot.light[i].tolist()), wanted=tuple(wanted.tolist()))


def sets() -> dict[str, list[tuple[int, ...]]]:
    """Which patches are references, by name; those with colours drawn at random several times."""
    rng = np.random.default_rng(SEED)
    drawn = [tuple(rng.permutation(18).tolist()) for _ in range(DRAWS)]
    return {
        "white": [(WHITE,)],
        "grey": [(GREY,)],
        "one": [d[:1] for d in drawn],
        "white, grey": [(WHITE, GREY)],
        "white, one": [(WHITE, *d[:1]) for d in drawn],
        "four": [d[:4] for d in drawn],
        "white, four": [(WHITE, *d[:4]) for d in drawn],
        "white, grey, four": [(WHITE, GREY, *d[:4]) for d in drawn],
        "half a card": [(WHITE, 20, 22, *d[:9]) for d in drawn],
    }


def judged(photographs: Sequence[Shot], values: np.ndarray, chosen: Sequence[tuple[int, ...]]) -> list[Judged]:
    """Each photograph by each choice of references, on the colours that are left."""
    lab = linear_to_lab(values)
    out = []
    for shot in photographs:
        for taken in chosen:
            rest = [i for i in range(18) if i not in taken]
            try:
                light = fit_light([reference(shot, values, i) for i in taken])
            except PhotoError:
                # An overexposed white: the others contradict it.
                continue
            read = np.maximum(light.correct(shot.light[rest]), 0)
            within = np.array([ninety(light.doubt(one).whole) for one in read])
            out.append(Judged(shot, light, delta_e_2000(linear_to_lab(read), lab[rest]), within))
    return out

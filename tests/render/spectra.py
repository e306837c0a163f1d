"""Reflectances of yarn, wood, cloth and wall from dyes, and the tables of lamps, observer and camera (spectra.npz).

Dyes: Kubelka-Munk, K/S = the fibre's own + sum of amount x dye, each dye one or two bell curves; R from K/S of a thick
layer. Amounts were chosen for looks; no measured yarn stands behind a name.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

WAVELENGTHS = np.arange(390.0, 731.0, 10.0)
TABLES = Path(__file__).parent / "spectra.npz"
# Peak (nm), width (nm), second peak's weight, peak, width.
DYES = {
    "yellow": (415, 42, 0.35, 390, 60),
    "orange": (470, 48, 0.3, 410, 50),
    "red": (515, 42, 0.3, 400, 60),
    "magenta": (555, 34, 0.15, 380, 40),
    "blue": (615, 50, 0.12, 400, 40),
    "cyan": (655, 52, 0.08, 390, 40),
    "black": (560, 190, 0.3, 430, 80),
}
RECIPES = {
    "white": {},
    "ivory": {"yellow": 0.07},
    "oatmeal": {"yellow": 0.25, "black": 0.07, "red": 0.05},
    "pale grey": {"black": 0.13},
    "mid grey": {"black": 0.7},
    "charcoal": {"black": 4.5, "blue": 0.3},
    "black": {"black": 26, "blue": 2},
    "lemon": {"yellow": 1.4},
    "gold": {"yellow": 3.2, "orange": 0.5, "black": 0.08},
    "orange": {"yellow": 3, "orange": 5, "red": 0.4},
    "terracotta": {"orange": 2.2, "red": 1.6, "black": 0.5},
    "scarlet": {"orange": 6, "red": 8, "magenta": 1.5},
    "wine": {"red": 8, "magenta": 7, "black": 2.5},
    "rose": {"red": 0.45, "magenta": 0.25},
    "pale pink": {"red": 0.10, "magenta": 0.05},
    "fuchsia": {"magenta": 4.5, "red": 1.5},
    "lilac": {"magenta": 0.35, "blue": 0.18},
    "plum": {"magenta": 4, "blue": 3, "black": 1},
    "sky": {"cyan": 0.4, "blue": 0.15},
    "denim": {"blue": 1.6, "black": 0.6},
    "royal": {"blue": 8, "magenta": 2.5},
    "midnight": {"blue": 12, "magenta": 4, "black": 5},
    "petrol": {"cyan": 6, "blue": 2, "yellow": 0.8, "black": 0.8},
    "mint": {"cyan": 0.35, "yellow": 0.25},
    "sage": {"cyan": 0.5, "yellow": 0.7, "black": 0.3},
    "grass": {"cyan": 3, "yellow": 3.5},
    "bottle": {"cyan": 9, "yellow": 6, "black": 2.5},
    "olive": {"yellow": 3, "orange": 0.6, "cyan": 0.8, "black": 0.8},
    "brown": {"orange": 2.5, "red": 1.2, "black": 2.2},
    "camel": {"yellow": 0.9, "orange": 0.5, "black": 0.2},
}


def dye(name: str) -> np.ndarray:
    """Absorption of one part of a dye over WAVELENGTHS."""
    a, b, share, c, d = DYES[name]
    return np.exp(-(((WAVELENGTHS - a) / b) ** 2) / 2) + share * np.exp(-(((WAVELENGTHS - c) / d) ** 2) / 2)


def reflectance(recipe: dict[str, float]) -> np.ndarray:
    """Reflectance over WAVELENGTHS of undyed fibre (about .85, less in the violet) with dyes."""
    k_s = 0.011 + 0.10 * np.exp(-(WAVELENGTHS - 390) / 28)
    for name, amount in recipe.items():
        k_s = k_s + amount * dye(name)
    return 1 + k_s - np.sqrt(k_s**2 + 2 * k_s)


def yarn(name: str) -> np.ndarray:
    """Reflectance of a named yarn."""
    return reflectance(RECIPES[name])


def tint(name: str) -> np.ndarray:
    """Reflectance of a ground's coloured part: wood, a wall, cloths, print."""
    rise = 1 / (1 + np.exp(-(WAVELENGTHS - 560) / 62))
    return {
        "none": 0 * rise + 0.5,
        "oak": 0.16 + 0.52 * rise,
        "walnut": 0.09 + 0.36 * rise,
        "beige wall": 0.42 + 0.32 * rise,
        "blue cloth": reflectance({"blue": 2.2, "black": 0.25}),
        "red cloth": reflectance({"red": 4, "orange": 2, "black": 0.3}),
        "green cloth": reflectance({"cyan": 1.6, "yellow": 1.5, "black": 0.3}),
        "mustard cloth": reflectance({"yellow": 2.2, "orange": 0.6, "black": 0.2}),
        "print": reflectance({"magenta": 2.5, "red": 2.0}),
    }[name]


def export() -> None:
    """Write spectra.npz from tables in colour-science: CIE 1931 observer, D50, D65, LED-B2 and B3, one camera."""
    import colour

    def on(sd) -> np.ndarray:
        return np.stack(
            [np.interp(WAVELENGTHS, sd.wavelengths, c, left=0, right=0) for c in np.atleast_2d(sd.values.T)], -1
        )

    lamps = {name: on(colour.SDS_ILLUMINANTS[name])[:, 0] for name in ("D50", "D65")}
    lamps["LED4000"] = on(colour.SDS_ILLUMINANTS["LED-B3"])[:, 0]
    lamps["LED3000"] = on(colour.SDS_ILLUMINANTS["LED-B2"])[:, 0]
    lamps["3000K"] = on(colour.sd_blackbody(3000, colour.SpectralShape(390, 730, 10)))[:, 0]
    observer = on(colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"])
    camera = on(colour.MSDS_CAMERA_SENSITIVITIES["Nikon 5100 (NPL)"])
    np.savez_compressed(TABLES, observer=observer, sensor=camera, **lamps)


if __name__ == "__main__":
    export()

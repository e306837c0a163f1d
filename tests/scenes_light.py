"""Spectra, lamps, cameras and tone curves for the drawn photos; shares nothing with the package's readers.

Lamps and the observer come from colour-science (CIE tables); the two measured cameras are its NPL data.
Dyes are smooth absorption bands on undyed wool mixed by Kubelka and Munk's K/S (handbook form), so the
yarns differ in spectrum and not only in colour. All draws take a generator.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import cache

import numpy as np

NM = np.arange(400, 701, 10.0)


@cache
def _colour():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


def _table(sd) -> np.ndarray:
    colour = _colour()
    return np.interp(NM, sd.wavelengths, np.asarray(sd.values, dtype=float)) if colour else None


@cache
def observer() -> np.ndarray:
    """CIE 1931 2 degree colour matching functions at NM, shape (31, 3)."""
    msds = _colour().MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    return np.stack([np.interp(NM, msds.wavelengths, msds.values[:, i]) for i in range(3)], axis=1)


@cache
def lamp(name: str) -> np.ndarray:
    """Relative power of a lamp at NM, luminance 1: a colour-science key, "4500K" daylight or "2700P" black body."""
    colour = _colour()
    if name.endswith("P"):
        kelvin = float(name[:-1])
        power = 1 / (NM**5 * (np.exp(1.438776877e7 / (NM * kelvin)) - 1))
    elif name.endswith("K"):
        xy = colour.temperature.CCT_to_xy_CIE_D(float(name[:-1]) * 1.4388 / 1.4380)
        power = _table(colour.sd_CIE_illuminant_D_series(xy))
    else:
        power = _table(colour.SDS_ILLUMINANTS[name])
    return power / (power @ observer()[:, 1])


BROADBAND = ("2700P", "2856P", "3200P", "4000K", "5000K", "5500K", "6500K", "7500K")
LEDS = ("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-V1", "LED-V2", "FL2", "FL11")


@cache
def daylight_weights() -> np.ndarray:
    """What XYZ takes of each wavelength's reflectance under D65, shape (31, 3); they add up to the white's XYZ."""
    weight = lamp("D65")[:, None] * observer()
    return weight / weight.sum(axis=0)[1]


def lab_of_xyz(xyz: np.ndarray) -> np.ndarray:
    """CIELAB under D65 (2 degree) of XYZ with white's Y as 1, by colour-science; kept apart from the package."""
    white = daylight_weights().sum(axis=0)
    return np.asarray(_colour().XYZ_to_Lab(np.asarray(xyz), white[:2] / white.sum()))


def true_lab(reflectance: np.ndarray) -> np.ndarray:
    """CIELAB under D65 of a flat thing of a reflectance, by summation over NM."""
    return lab_of_xyz(np.asarray(reflectance) @ daylight_weights())


def wool() -> np.ndarray:
    """Undyed scoured fibre: .55 at 400 nm rising to .85 at 700 nm (handbook shape, from memory)."""
    return 0.55 + 0.30 / (1 + np.exp(-(NM - 455) / 35))


def white_fibre(rng: np.random.Generator) -> np.ndarray:
    """Bleached or synthetic fibre."""
    return np.clip(0.86 + 0.05 * (NM - 550) / 150 * rng.uniform(-0.3, 1) + rng.uniform(-0.04, 0.04), 0, 0.95)


def dyed(rng: np.random.Generator, kind: str) -> np.ndarray:
    """Reflectance of a dyed yarn of a kind: black, white, pastel, saturated, muted."""
    base = white_fibre(rng) if rng.random() < 0.6 else wool()
    if kind == "white":
        base = white_fibre(rng) if rng.random() < 0.7 else 0.5 * (wool() + white_fibre(rng))
    k_over_s = (1 - base) ** 2 / (2 * base)
    strength = {
        "black": (18, 45),
        "white": (0.001, 0.03),
        "pastel": (0.06, 0.35),
        "saturated": (2, 9),
        "muted": (0.5, 3),
    }
    low, high = strength[kind]
    amount = np.exp(rng.uniform(np.log(max(low, 1e-3)), np.log(high)))
    if kind == "black":
        centres, weights = [420, 480, 540, 600, 650], rng.uniform(0.5, 1.2, 5)
    else:
        n = {"saturated": 1, "pastel": 1, "white": 1, "muted": 3}[kind] + int(rng.random() < 0.4)
        centres, weights = rng.uniform(415, 655, n), rng.uniform(0.3, 1.0, n)
    for centre, weight in zip(centres, weights, strict=True):
        width = rng.uniform(32, 60)
        k_over_s = k_over_s + amount * weight * np.exp(-0.5 * ((NM - centre) / width) ** 2)
    reflectance = 1 + k_over_s - np.sqrt(k_over_s**2 + 2 * k_over_s)
    # Surface reflection of the fibre, Fresnel at index 1.55 seen diffusely, partly.
    surface = rng.uniform(0.005, 0.02)
    return np.clip(surface + (1 - surface) * reflectance, 0.004, 0.95)


KINDS = ("black", "white", "pastel", "saturated", "muted")


@cache
def palette(seed: int, each: int = 13) -> tuple[tuple[str, np.ndarray], ...]:
    """At least 60 yarn spectra of a seed: `each` of the five kinds."""
    rng = np.random.default_rng([seed, 11])
    return tuple((kind, dyed(rng, kind)) for kind in KINDS for _ in range(each))


def paper(rng: np.random.Generator) -> np.ndarray:
    """White office paper, .83 to .91, a little bluish where brightened."""
    return rng.uniform(0.83, 0.91) * (1 + rng.uniform(-0.01, 0.025) * np.exp(-0.5 * ((NM - 440) / 25) ** 2))


def wood(rng: np.random.Generator) -> np.ndarray:
    """Wood from walnut to birch."""
    light = rng.uniform(0.12, 0.62)
    slope = rng.uniform(0.35, 0.75)
    return np.clip(light * (1 + slope * np.tanh((NM - 560) / 110)), 0.02, 0.9)


def cloth(rng: np.random.Generator) -> np.ndarray:
    """Grey cloth, dark to light."""
    return np.clip(rng.uniform(0.06, 0.5) * (1 + rng.uniform(-0.06, 0.06) * (NM - 550) / 150), 0, 1)


@dataclass(frozen=True)
class Camera:
    """Sensitivities at NM (31, 3), tone curve, and the colour matrix for a warm and a cool light."""

    name: str
    sensitivity: np.ndarray
    tone: str
    saturation: float


@cache
def _measured(name: str) -> np.ndarray:
    msds = _colour().MSDS_CAMERA_SENSITIVITIES[name]
    return np.stack([np.interp(NM, msds.wavelengths, msds.values[:, i]) for i in range(3)], axis=1)


def camera(rng: np.random.Generator, tone: str) -> Camera:
    """A camera drawn at random: a measured one or a smooth phone-like one, with a tone curve."""
    pick = rng.random()
    if pick < 0.3:
        name, s = "measured 1", _measured("Nikon 5100 (NPL)")
    elif pick < 0.4:
        name, s = "measured 2", _measured("Sigma SDMerill (NPL)")
    else:
        name = "smooth"
        peaks = np.array([600, 535, 462]) + rng.normal(0, 6, 3)
        widths = np.array([34, 40, 29]) * rng.uniform(0.88, 1.15, 3)
        s = np.exp(-0.5 * ((NM[:, None] - peaks) / widths) ** 2)
        s[:, 0] += rng.uniform(0, 0.06) * np.exp(-0.5 * ((NM - 450) / 25) ** 2)
    saturation = 1.0 if tone == "linear" else rng.uniform(1.0, 1.12)
    return Camera(name, s / s.max(axis=0), tone, float(saturation))


_TO_SRGB = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)  # IEC 61966-2-1, as printed


@cache
def _chart() -> np.ndarray:
    sds = _colour().SDS_COLOURCHECKERS["BabelColor Average"]
    return np.stack([_table(sd) for sd in sds.values()])


def colour_matrix(cam: Camera, light: np.ndarray) -> np.ndarray:
    """White-keeping 3x3 from white-balanced raw to linear sRGB, fitted on a chart between two lights, as makers do."""
    fits = []
    for name in ("A", "D65"):
        raw = (_chart() * lamp(name)) @ cam.sensitivity / (lamp(name) @ cam.sensitivity)
        wanted = _chart() * lamp("D65") @ observer()
        wanted = wanted / (lamp("D65") @ observer())[1] @ _TO_SRGB.T
        # rows sum to 1: fit with the third column replaced
        matrix = np.zeros((3, 3))
        for row in range(3):
            a = raw[:, :2] - raw[:, 2:]
            b = wanted[:, row] - raw[:, 2]
            first = np.linalg.lstsq(a, b, rcond=None)[0]
            matrix[row] = [first[0], first[1], 1 - first.sum()]
        fits.append(matrix)
    xyz = light @ observer()
    warm = np.clip((xyz[0] / xyz[2] - 0.873) / (3.09 - 0.873), 0, 1)
    return warm * fits[0] + (1 - warm) * fits[1]


TONES = ("gentle", "contrast", "bright", "flat", "luminance")


def tone_curve(name: str, linear: np.ndarray) -> np.ndarray:
    """Scene light (1 = clip) to display light, by a named curve."""
    x = np.clip(linear, 0, 1)
    if name == "linear":
        return x
    if name == "luminance":
        y = np.maximum(x @ [0.2126, 0.7152, 0.0722], 1e-6)
        gain = _s_curve(y, 1.15, 0.35) / y
        return np.clip(x * gain[..., None], 0, 1)
    strength, lift = {"gentle": (1.1, 0.2), "contrast": (1.35, 0.3), "bright": (1.15, 0.7), "flat": (0.92, 0.25)}[name]
    return _s_curve(x, strength, lift)


def _s_curve(x: np.ndarray, contrast: float, lift: float) -> np.ndarray:
    """Raise mid tones by `lift` (0 none), then contrast about mid grey in gamma-coded values, with a soft shoulder."""
    code = np.clip(x, 0, 1) ** (1 / 2.2)
    code = code ** (1 / (1 + 0.35 * lift))
    mid = 0.5
    s = np.where(code < mid, mid * (code / mid) ** contrast, 1 - (1 - mid) * ((1 - code) / (1 - mid)) ** contrast)
    return s**2.2

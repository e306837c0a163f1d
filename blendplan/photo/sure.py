"""How far a shade may be off, and why: one covariance of all that the photo leaves open, and its radius of nine in ten.

What light and camera leave open is common to all yarns of a photo, and the references tell it (`Light.doubt`); without
any, cameras as they usually are. How a yarn lies in its light is each yarn's own and moves its lightness.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import linear_to_lab
from blendplan.photo.light import Light, ninety, weighed
from blendplan.photo.white import White

Floats = NDArray[np.float64]

# Fitted by quantile on real cards (42 usable photographs, seven cameras), path-traced yarn of nine shapes and drawn
# scenes; what it holds for of each kind, with cameras, shapes and seeds left out, stands in DEVELOPERS.md.
# Standard deviations, natural log of light where nothing else is said.
# Without a reference: level, and for each step of `Small.dim`; blue, and for each step of |`Small.warmth`| above _CAST;
# green; and what else such a camera leaves, CIEDE2000 in each direction.
_LEVEL, _PER_DIM = 0.18, 1.7
_BLUE, _PER_WARMTH, _CAST, _MOST_CAST = 0.1, 0.4, 0.1, 2.6
_GREEN, _ALONE = 0.05, 2.5
# Green goes with blue along the lamps: from CIE illuminant A to D65 the gains of Bradford's cones, as `Light.numbers`
# has them, are 1.21 for blue and -.19 for green (standard).
_LAMPS = -0.156
# A white that may be none: level and blue, for all that is missing to full confidence.
_DOUBTED = 0.37
# Light that changes colour across the photo: blue (drawn scenes).
_MIXED = 0.1
# A yarn's own level: part of the spread of its own lights (standard deviation over mean), part of the gain, and so many
# times the unevenness that the light's smooth field leaves on a wide white: two low windows, with yarn that faces them,
# leave .1 to .19, all other lights under .05 (path-traced, six shapes).
_UNEVEN, _PER_GAIN, _PATCHY = 0.1, 0.7, 2.0
# What else reading leaves beside references too small to show how light goes over the photo, CIEDE2000 in each
# direction: the cards beside a white and a grey.
_READ = 1.0
# CIEDE2000, all directions together: one of several dyes, more the smaller it is (drawn variegated yarn); overexposed
# pixels, or a white with such, for all of them (cards with a full channel); fewer pixels than _PIXELS, for none
# (assumed).
_PART, _SMALL_PART = 2.0, 6.0
_CLIPPED = 10.0
_PIXELS, _FEW = 400, 3.5
# A bound wider than yarns differ says nothing: of any two of 88 path-traced yarns nine of ten lie within 49.
_NOTHING = 50.0
# Natural log of red over blue from which light is called warm; chroma that is called strong.
_WARM, _STRONG = 1.2, 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What is seen of one shade in the photo itself."""

    linear: tuple[float, float, float]  # as read, linear sRGB
    share: float  # of the yarn's place
    pixels: int  # how many it was read from
    clipped: float  # share of them that are overexposed
    uneven: float  # standard deviation of their luminance over its mean
    gain: float  # luminance of the shade over the mean of theirs
    warmth: float  # warmth, dim: `Small.warmth` and `Small.dim` of the photo
    dim: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sure:
    """How sure a shade is."""

    within: float  # the CIEDE2000 below which nine of ten errors are expected to lie
    reasons: tuple[str, ...]  # keys of `blendplan.yarn.REASONS`


def sure(seen: Evidence, light: Light, white: White | None) -> Sure:
    """Return how far a shade may be off, and reasons for doubt.

    `light`: without references the shade was read as the photo shows it; `white`: the white among them.
    """
    linear = np.asarray(seen.linear, dtype=np.float64)
    told = light.doubt(linear)
    besides = replace(light, field=(), spread=_besides(seen, light, white)).doubt(linear)
    common = np.asarray(told.common) + np.asarray(besides.common)
    left = told.own**2 + (0.0 if light.field else _READ**2) if light.seen else _ALONE**2
    whole = common + _own(seen, linear, white) + left * np.eye(3)
    within = min(ninety(whole), _NOTHING)
    return Sure(within=round(within, 1), reasons=_reasons(seen, linear, light, white))


def _besides(seen: Evidence, light: Light, white: White | None) -> tuple[tuple[float, ...], ...]:
    """Return the covariance of the light's numbers that the fit to the references does not tell."""
    add, lamp = np.zeros(len(light.numbers)), np.zeros(len(light.numbers))
    if not light.seen:
        cast = float(np.clip(abs(seen.warmth) - _CAST, 0, _MOST_CAST))
        blue = np.hypot(_BLUE, _PER_WARMTH * cast)
        add[0], add[2] = np.hypot(_LEVEL, _PER_DIM * seen.dim), _GREEN
        lamp[1], lamp[2] = blue, _LAMPS * blue
    if white is not None:
        add[0] = _DOUBTED * (1 - white.confidence)
        add[1] = np.hypot(add[0], _MIXED * white.mixed)
    return tuple(tuple(row) for row in (np.diag(add**2) + np.outer(lamp, lamp)).tolist())


def _own(seen: Evidence, linear: Floats, white: White | None) -> Floats:
    """Return the covariance that is the yarn's own: how it lies in its light, and what is not seen of it."""
    lab = linear_to_lab(np.maximum(linear, 0))
    step = weighed(lab, (linear_to_lab(np.maximum(linear * 1.001, 0)) - lab) / 0.001)
    patchy = 0.0 if white is None else _PATCHY * white.spread
    level = float(np.linalg.norm([_UNEVEN * min(seen.uneven, 1.0), _PER_GAIN * np.log(max(seen.gain, 1.0)), patchy]))
    full = max(min(1.0, 2 * seen.clipped), 0.0 if white is None else white.clipped)
    rest = [_CLIPPED * full, _FEW * max(0.0, 1 - seen.pixels / _PIXELS)]
    if seen.share < 0.999:
        rest.append(_PART + _SMALL_PART * max(0.0, 1 - 4 * seen.share))
    return np.asarray(level**2 * np.outer(step, step) + float(np.dot(rest, rest)) / 3 * np.eye(3))


def _reasons(seen: Evidence, linear: Floats, light: Light, white: White | None) -> tuple[str, ...]:
    lab = linear_to_lab(np.maximum(linear, 0))
    said = {
        "no-white": not light.seen,
        "tone-curve": len(light.seen) == 1,
        "warm-light": bool(light.seen) and light.cast > _WARM,
        "mixed-light": white is not None and white.mixed,
        "shared-light": light.lent,
        "clipped": seen.clipped > 0.05 or (white is not None and white.clipped > 0.3),
        "few-pixels": seen.pixels < _PIXELS,
        "saturated": float(np.hypot(lab[1], lab[2])) > _STRONG,
    }
    return tuple(code for code, true in said.items() if true)

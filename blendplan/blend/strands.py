"""Two strands and more, held together: one model of how far away they are, against how wide a strand is.

The eye resolves strands in part.
Their contrast keeps a share that falls with distance over strand width, the same share for all of the light, and the
colour of the pair is the mean in Oklab of what is left: close by nearly the mean in Oklab of the strands, from far
away the mean of their light, and everything between follows from the distance.
Strands that lie together also light each other: a part of the light on each comes from its neighbours, so a white
strand beside a black one is darker than in its solid.

How they read follows from how far apart the strands are in the hand, and what the distance leaves of that, lightness
more than hue, because the eye follows fine detail by lightness far longer.
Makers' pages say the same: close values blur into a new shade, strong contrast reads as flecks or stripes (trade
facts, read Nov 2026). No published thresholds were found; each below says what it rests on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike

from blendplan.colour import (
    LINEAR_TO_LMS,
    LMS_TO_LINEAR,
    Floats,
    delta_e_2000,
    into_gamut,
    lab_to_linear,
    linear_to_lab,
)
from blendplan.errors import ColourError
from blendplan.units import choice, number
from blendplan.wording import Notice, note, rounded

# Where a blanket is judged from, metres: in the hand, on the lap, from the sofa, across the room, far off.
PLACES = {"hand": 0.5, "lap": 1.0, "sofa": 2.0, "room": 4.0, "far": math.inf}
CLOSEST_M, FARTHEST_M = 0.1, 1000.0
# Share of the light on a strand that comes from the strands around it.
# Fitted to the far look of path-traced panels (5 pairs, wound and looped; each pair left out in turn gives .34 to .40);
# left-out pairs are then .7 off on average where the plain mean of light is 2.0.
LENT = 0.35
# Width that counts for a strand of medium yarn: that of the free strand. Measured: panels of wound strands 4.6 mm wide
# ask for 3.5 to 5.2; path-traced double crochet of strands seen 2.6 mm wide keeps the contrast of 3.0 (up to 2 m),
# 3.7 (4 m) and 5.4 (8 m), because a strand stays uppermost for a while and twist makes its patches longer.
STRAND_MM = 4.0
# Narrow luminance kernels of S-CIELAB (Zhang and Wandell 1996): weight and spread, degrees, of exp(-x^2 / spread^2).
EYE = ((0.921, 0.0283), (0.105, 0.133))
# Millimetres in a degree at one metre.
_MM_PER_DEGREE = 17.45
# Samples across one period of strands: whole for two, three and four equal strands (doubling them moves no blend of
# 1000 random pairs by more than .1).
_CELLS = 48
# Blends worked at once where every one has widths of its own; keeps the memory small.
_BATCH = 8192


@dataclass(frozen=True, slots=True, kw_only=True)
class Viewing:
    """How strands held together are looked at."""

    # Metres from the eye to the fabric, 0.1 to 1000; 0 is the near end, infinity the far end.
    from_m: float = PLACES["sofa"]
    lent: float = LENT  # share of the light on a strand that its neighbours lend it, 0 to 0.6; swatches can tell it
    # Pairs of yarns whose visible shares a swatch has told: both names, and the share of the first.
    shown: tuple[tuple[str, str, float], ...] = ()

    def __post_init__(self) -> None:
        if self.from_m not in (0, math.inf):
            number(self.from_m, "distance it is seen from", CLOSEST_M, FARTHEST_M, "m")
        number(self.lent, "share of light that strands lend each other", 0.0, 0.6)
        for _, _, share in self.shown:
            number(share, "share of a strand", 0.0, 1.0)


def metres_of(given: str | float) -> float:
    """Return the distance of "near" (0), "far" (infinity), a name of `PLACES` or a number of metres.

    Examples
    --------
    >>> metres_of("near"), metres_of("far"), metres_of("2.5")
    (0.0, inf, 2.5)
    """
    if given == "near":
        return 0.0
    if isinstance(given, str) and given in PLACES:
        return PLACES[given]
    try:
        return number(given, "distance it is seen from", CLOSEST_M, FARTHEST_M, "m")
    except ValueError:
        raise ColourError(
            "{given} is not a distance to see from; give metres from {low} to {high}, or near, hand, lap, sofa, room "
            "or far.",
            given=repr(given),
            low=rounded(CLOSEST_M, 1),
            high=f"{FARTHEST_M:.0f}",
        ) from None


def contrast_kept(cycles_per_degree: ArrayLike) -> Floats:
    """Return the share of contrast that the eye keeps at a spatial frequency, 1 at 0, falling to 0."""
    f = np.asarray(cycles_per_degree, dtype=np.float64)
    total = sum(weight for weight, _ in EYE)
    return np.asarray(sum(weight * np.exp(-((spread * np.pi * f) ** 2)) for weight, spread in EYE) / total)


def _weights(shares: ArrayLike | None, strands: int) -> Floats:
    weights = np.full(strands, 1.0 / strands) if shares is None else np.asarray(shares, dtype=np.float64)
    if np.any(~np.isfinite(weights)) or np.any(weights < 0) or np.any(weights.sum(axis=-1) <= 0):
        raise ColourError("shares of strands must be 0 or more with a positive sum; {given} was given.", given=shares)
    return np.asarray(weights / weights.sum(axis=-1, keepdims=True))


def _lit(lms: Floats, weights: Floats, lent: float) -> Floats:
    own = lms / (1 - lent + lent * lms)
    mean = np.sum(weights[..., None] * own, axis=-2, keepdims=True)
    return np.asarray(own * (1 - lent) * (1 + lent * mean / (1 - lent * mean)))


def lit_together(linear_rgb: ArrayLike, shares: ArrayLike | None = None, *, lent: float = LENT) -> Floats:
    """Return the light of each strand as it lies beside the others; may lie a little outside the gamut.

    `linear_rgb` (..., k, 3), light of k strands, each as it is in a solid of its own; `shares` (k,) or broadcastable to
    (..., k), visible shares; equal by default; `lent`: share of the light that comes from around; returns (..., k, 3).

    In a solid of reflectance r the strand itself sends back own x (what falls on it), and a share `lent` of that
    light was sent back by the same solid: r = own (1 - lent) / (1 - lent own). Solved for `own` and put among the
    others, whose mean light is told by the same equation. Worked cone by cone, whose bands overlap as spectra do.
    """
    rgb = np.asarray(linear_rgb, dtype=np.float64)
    return np.asarray(_lit(rgb @ LINEAR_TO_LMS.T, _weights(shares, rgb.shape[-2]), lent) @ LMS_TO_LINEAR.T)


def _profile(weights: Floats, from_m: float, period_mm: Floats) -> Floats:
    """Return the share of each strand in each sample across a period as the eye has it, shape (..., cells, k)."""
    ends = np.cumsum(weights, axis=-1)[..., None, :] * _CELLS
    starts = ends - weights[..., None, :] * _CELLS
    cells = np.arange(_CELLS)[:, None]
    cover = np.clip(np.minimum(ends, cells + 1) - np.maximum(starts, cells), 0, 1)
    cycles = np.fft.rfftfreq(_CELLS, 1 / _CELLS) * from_m * _MM_PER_DEGREE / np.asarray(period_mm)[..., None]
    kept = np.fft.irfft(np.fft.rfft(cover, axis=-2) * contrast_kept(cycles)[..., None], _CELLS, axis=-2)
    # Samples this fine leave a little ringing below zero.
    kept = np.maximum(kept, 0.0)
    return np.asarray(kept / kept.sum(axis=-1, keepdims=True))


@lru_cache(maxsize=64)
def _profile_kept(weights: tuple[float, ...], from_m: float, period_mm: float) -> tuple[Floats, Floats]:
    """Return the different samples of `_profile`, shape (n, k), and how often each comes, shape (n,)."""
    rows = _profile(np.array(weights), from_m, np.array(period_mm))
    _, first, counts = np.unique(rows.round(9), axis=0, return_index=True, return_counts=True)
    return rows[first], counts / _CELLS


def seen_parts(
    linear_rgb: ArrayLike, shares: ArrayLike | None = None, *, viewing: Viewing, strand_mm: float = STRAND_MM
) -> tuple[Floats, Floats]:
    """Return the lights that are left of a few strands at a distance, and the share of the fabric each has.

    `linear_rgb` (k, 3); `shares` (k,); `strand_mm`: mean width of the strands; returns `light` (n, 3) and `share` (n,).
    """
    rgb = np.asarray(linear_rgb, dtype=np.float64)
    weights = _weights(shares, len(rgb))
    if viewing.from_m == 0:
        return rgb, weights
    light = lit_together(rgb, weights, lent=viewing.lent)
    if math.isinf(viewing.from_m):
        return weights[None] @ light, np.ones(1)
    rows, counts = _profile_kept(tuple(weights.tolist()), viewing.from_m, len(rgb) * float(strand_mm))
    return rows @ light, counts


def blend_linear(
    linear_rgb: ArrayLike,
    shares: ArrayLike | None = None,
    *,
    viewing: Viewing | None = None,
    strand_mm: ArrayLike = STRAND_MM,
) -> Floats:
    """Return the linear sRGB of strands held together; may lie outside the gamut.

    `linear_rgb` (..., k, 3), light of k strands; `shares` (k,) or broadcastable to (..., k), visible share of each
    strand, not negative, with a positive sum; equal shares by default; `viewing`: from the sofa by default; `strand_mm`
    (...), mean width of the strands, millimetres; returns (..., 3).

    Strands lie side by side as stripes of their widths that come again and again; the stripes are filtered in light
    by `contrast_kept` at the frequencies of their period, and the mean in Oklab is taken over a period.
    The near end is the mean in Oklab of the strands' own shades, the far end the mean of the light they send back
    together.
    """
    viewing = Viewing() if viewing is None else viewing
    rgb = np.asarray(linear_rgb, dtype=np.float64)
    weights = _weights(shares, rgb.shape[-2])
    lms = rgb @ LINEAR_TO_LMS.T
    if viewing.from_m == 0:
        return np.asarray(np.sum(weights[..., None] * np.cbrt(lms), axis=-2) ** 3 @ LMS_TO_LINEAR.T)
    light = _lit(lms, weights, viewing.lent)
    if math.isinf(viewing.from_m):
        return np.asarray(np.sum(weights[..., None] * light, axis=-2) @ LMS_TO_LINEAR.T)
    return np.asarray(_left(light, weights, viewing.from_m, np.asarray(strand_mm)) @ LMS_TO_LINEAR.T)


def _left(light: Floats, weights: Floats, from_m: float, strand_mm: Floats) -> Floats:
    """Return the mean in Oklab, as cone responses, of what a distance leaves of strands; shapes as `blend_linear`."""
    strands = light.shape[-2]
    period = strands * strand_mm
    if weights.ndim == 1 and period.ndim == 0:
        rows, counts = _profile_kept(tuple(weights.tolist()), from_m, float(period))
        return np.asarray(np.tensordot(np.cbrt(rows @ light), counts, axes=(-2, 0)) ** 3)
    shape = light.shape[:-2]
    light = light.reshape(-1, strands, 3)
    weights = np.broadcast_to(weights, (*shape, strands)).reshape(-1, strands)
    period = np.broadcast_to(period, shape).reshape(-1)
    # Many pairs share their widths; each different set is worked out once.
    sets, which = np.unique(np.column_stack([weights, period]).round(9), axis=0, return_inverse=True)
    which = which.reshape(-1)
    out = np.empty((len(light), 3))
    for start in range(0, len(light), _BATCH):
        here = slice(start, start + _BATCH)
        used, local = np.unique(which[here], return_inverse=True)
        rows = _profile(sets[used, :strands], from_m, sets[used, strands])
        out[here] = np.cbrt(rows[local.reshape(-1)] @ light[here]).mean(axis=-2) ** 3
    return out.reshape(*shape, 3)


# G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-based Model for Simulation of Color Vision
# Deficiency", IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291-1298: matrices of severity 1.0, as tabulated in
# colour-science 0.4.7 (read Nov 2026; a test compares them); trust: standard practice.
# They act on linear sRGB.
_MATRICES = {
    "protan": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deutan": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritan": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}

# Code and plain words.
DEFICIENCIES = {
    "protan": "red-blind",
    "deutan": "green-blind",
    "tritan": "blue-blind",
}


def named(deficiency: str) -> Notice:
    """Return the plain name of a deficiency, which can be said in any language."""
    return note(DEFICIENCIES[deficiency])


def seen_with(lab: ArrayLike, deficiency: str) -> Floats:
    """Return CIELAB of colours as a person with a colour-vision deficiency sees them.

    `lab` (..., 3), CIELAB (D65); brought into sRGB first, where the model is defined; `deficiency`: {"protan",
    "deutan", "tritan"}; returns (..., 3).

    The authors call the tritan matrix an approximation.
    Light that the model puts outside 0 to 1 is clipped, as it is in the authors' own pictures.

    Examples
    --------
    >>> [round(abs(v)) for v in seen_with([50, 0, 0], "deutan").tolist()]
    [50, 0, 0]
    """
    matrix = _MATRICES[choice(deficiency, "colour-vision deficiency", _MATRICES)]
    light = into_gamut(lab_to_linear(lab)) @ matrix.T
    return linear_to_lab(np.clip(light, 0.0, 1.0))


# Code and what it means; the code is the word itself.
READS = {
    "solid": "the strands are one colour",
    "tonal": "the strands are so near that only the shade shows",
    "heathered": "the strands melt together into a new shade from a few steps away, lively close by",
    "shot": "two colours of like lightness: they play against each other in the hand and melt at a distance",
    "marled": "both strands stay visible, twisted round each other",
    "barber-poled": "strong contrast: the strands read as flecks and stripes, even across a room",
    "flecked": "one strand shows as flecks on the other",
}

# The word for it.
READINGS = {
    "solid": "solid",
    "tonal": "tonal",
    "heathered": "heathered",
    "shot": "shot",
    "marled": "marled",
    "barber-poled": "barber-poled",
    "flecked": "flecked",
}

# CIEDE2000 under which two strands are one colour: about one just noticeable difference (standard; the formula is
# scaled to it).
SOLID_BELOW = 1.0
# CIEDE2000 under which only the shade shows, in the hand or of what the distance leaves: no more than the fabric's own
# relief. Measured on path-traced double crochet of one yarn: standard deviation of L* 8.3 at half a metre, 5.3 at 2 m.
TONAL_BELOW = 6.0
# What the distance leaves of the lightness gap: below this strands melt, because the relief of one yarn alone leaves as
# much (measured on the same fabric: 13.0 in L* from its 10 % to its 90 % point at 2 m, which a test repeats) ...
MELTS_BELOW_LIGHTNESS = 13.0
# ... and from this on, over twice the relief, they read as stripes (assumed; what S-CIELAB leaves of such pairs is in
# the order of the words, which a test repeats).
STRIPES_FROM_LIGHTNESS = 30.0
# CIEDE2000 from which strands of like lightness are seen as two hues in the hand: two of the ten principal hues of
# Munsell apart, so that a third name lies between (measured on the renotation at value 5, chroma 6: 25.4 on average).
TWO_HUES_FROM = 25.0
# Visible share under which a strand shows only as flecks (assumed).
FLECK_BELOW_SHARE = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How strands will read, from the two that differ most."""

    code: str  # a key of `READS`
    difference: float  # CIEDE2000 of the two strands that differ most, in the hand
    lightness_gap: float  # their difference in L*, 0 or more


def _widest(labs: Sequence[Sequence[float]]) -> tuple[int, int, float, float]:
    """Return which two colours differ most, their CIEDE2000 and difference in L*; there are at least two."""
    lab = np.asarray(labs, dtype=np.float64)
    one, two = (np.array(side) for side in zip(*combinations(range(len(lab)), 2), strict=True))
    differences = delta_e_2000(lab[one], lab[two])
    worst = int(np.argmax(differences))
    i, j = int(one[worst]), int(two[worst])
    return i, j, float(differences[worst]), float(abs(lab[i, 0] - lab[j, 0]))


def read_strands(
    labs: Sequence[Sequence[float]],
    shares: Sequence[float] | None = None,
    *,
    viewing: Viewing | None = None,
    width_mm: float = STRAND_MM,
) -> Reading:
    """Return how strands held together will read.

    `labs`: CIELAB (D65) of the strands; `shares`: visible shares; equal by default; a strand with no share is not seen
    and is left out; `viewing`: from the sofa (2 m) by default; `width_mm`: mean width of the strands.

    Examples
    --------
    >>> read_strands([(20, 0, 0), (85, 0, 0)]).code, read_strands([(50, 10, 4), (55, 12, 8)]).code
    ('barber-poled', 'tonal')
    """
    viewing = Viewing() if viewing is None else viewing
    lab = np.asarray(labs, dtype=np.float64)
    weights = np.full(len(lab), 1 / len(lab)) if shares is None else np.asarray(shares, dtype=np.float64)
    lab, weights = lab[weights > 0], weights[weights > 0]
    if len(lab) < 2:
        return Reading(code="solid", difference=0.0, lightness_gap=0.0)
    i, j, difference, gap = _widest(lab.tolist())
    light, _ = seen_parts(lab_to_linear(lab), weights, viewing=viewing, strand_mm=width_mm)
    left, left_gap = _widest(linear_to_lab(light).tolist())[2:] if len(light) > 1 else (0.0, 0.0)
    lesser = float(min(weights[i], weights[j]) / (weights[i] + weights[j]))
    code = _code(difference, left, left_gap, lesser)
    return Reading(code=code, difference=difference, lightness_gap=gap)


def _code(difference: float, left: float, left_gap: float, lesser: float) -> str:
    if difference < SOLID_BELOW:
        return "solid"
    if difference < TONAL_BELOW:
        return "tonal"
    if left < TONAL_BELOW:
        return "heathered"
    if left_gap < MELTS_BELOW_LIGHTNESS:
        return "heathered" if difference < TWO_HUES_FROM else "shot"
    if lesser < FLECK_BELOW_SHARE:
        return "flecked"
    return "marled" if left_gap < STRIPES_FROM_LIGHTNESS else "barber-poled"

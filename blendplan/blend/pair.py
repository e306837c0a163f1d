"""Colours and yarns held together: one `Blend` with its colour, both its ends, its bound and how it reads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blendplan.blend.strands import STRAND_MM, Viewing, blend_linear, read_strands
from blendplan.colour import (
    Floats,
    delta_e_2000,
    lab_to_hex,
    lab_to_linear,
    linear_to_hex,
    linear_to_lab,
    linear_to_oklab,
    oklab_to_linear,
)
from blendplan.errors import ColourError
from blendplan.units import number
from blendplan.wording import Notice, note
from blendplan.yarn import M_PER_100_G, Yarn

# 90 % point of the length of a normal vector in three dimensions, in units of one axis's standard deviation:
# square root of the chi-square quantile 6.2514 with 3 degrees of freedom (standard tables).
P90_OF_SIGMA = 2.5003
# Part of the variance of lightness that the shades of one photo err by in common, because the same lamp, paper and
# camera read them: correlation .57 in lightness and -.1 in the two others on real colour cards (measured).
COMMON_LIGHTNESS = 0.57
DRAWS = 2000


def _unit_steps(lab: Floats) -> Floats:
    """Return a matrix that turns steps of one CIEDE2000 each into steps of Lab at a colour, shape (3, 3).

    The square of a small CIEDE2000 is a quadratic form of the step; the form is measured by short steps about the
    colour, and its inverse root is returned.
    """
    axes = np.eye(3) * 0.2
    one, two = axes[:, None, :], axes[None, :, :]
    along, across = (delta_e_2000(lab + v / 2, lab - v / 2) ** 2 for v in (one + two, one - two))
    values, vectors = np.linalg.eigh((along - across) / (4 * 0.2**2))
    # The form is a sum of squares; the floor only guards against rounding.
    return (vectors / np.sqrt(np.maximum(values, 1e-3))) @ vectors.T


def draw_labs(lab: Sequence[float], uncertainty: float, unit_draws: Floats) -> Floats:
    """Return colours about one whose CIEDE2000 error has the stated 90 % point.

    `uncertainty`: CIEDE2000 under which 90 % of errors lie; `unit_draws` (m, 3), standard normal numbers; returns l* is
    held within 0 to 100.
    """
    centre = np.asarray(lab, dtype=np.float64)
    out = centre + unit_draws @ _unit_steps(centre) * (uncertainty / P90_OF_SIGMA)
    out[:, 0] = np.clip(out[:, 0], 0.0, 100.0)
    return out


def draw_shades(
    labs: ArrayLike,
    bounds: Sequence[float | None],
    count: int,
    *,
    photos: Sequence[str] | None = None,
    seed: int = 1,
) -> Floats:
    """Return shades as they might be, of which those at hand are one reading.

    `labs` (k, 3); `bounds`: CIEDE2000 that holds each nine times of ten; none where a shade is taken as it stands;
    `count`: draws; `photos`: sign of the photo each was read in, empty where there is none; all of one photo by
    default; returns lightness errs partly in common in shades of one photo (`COMMON_LIGHTNESS`), all else on its own.
    """
    rng = np.random.default_rng(seed)
    lab = np.asarray(labs, dtype=np.float64)
    signs = ["one"] * len(lab) if photos is None else list(photos)
    common = {sign: rng.standard_normal(count) for sign in dict.fromkeys(signs)}
    out = np.empty((count, len(lab), 3))
    for i, (bound, sign) in enumerate(zip(bounds, signs, strict=True)):
        steps = rng.standard_normal((count, 3))
        if sign:
            steps[:, 0] = np.sqrt(COMMON_LIGHTNESS) * common[sign] + np.sqrt(1 - COMMON_LIGHTNESS) * steps[:, 0]
        out[:, i] = draw_labs(lab[i].tolist(), bound or 0.0, steps)
    return out


def blend_bound(
    labs: Sequence[Sequence[float]],
    bounds: Sequence[float],
    *,
    shares: Sequence[float] | None = None,
    viewing: Viewing | None = None,
    width_mm: float = STRAND_MM,
    photos: Sequence[str] | None = None,
) -> float:
    """Return the CIEDE2000 that is expected to hold a blend nine times of ten.

    `bounds`: the same 90 % points for the strands' shades; `viewing`, `width_mm`: as of `mix`; `photos`: as of
    `draw_shades`.

    Monte Carlo with 2000 draws of a fixed seed, which leaves about 2 % of scatter in the answer.
    It tells of the shades only, not of the model.
    """
    drawn = draw_shades(labs, bounds, DRAWS, photos=photos)
    tried, centre = (
        linear_to_lab(blend_linear(lab_to_linear(strands), shares, viewing=viewing, strand_mm=width_mm))
        for strands in (drawn, labs)
    )
    return float(np.quantile(delta_e_2000(tried, centre), 0.9))


MAX_STRANDS = 8
# CIEDE2000 between the two ends from which the reader is told (assumed).
WIDE_RANGE_FROM = 8.0
_GAMUT_TOLERANCE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Blend:
    """What strands held together look like."""

    lab: tuple[float, float, float]  # CIELAB (D65) from the distance asked for; may lie outside sRGB
    seen_from_m: float  # metres; 0 the near end, infinity the far end
    shares: tuple[float, ...]  # visible shares; they add up to 1
    # near, far: `#rrggbb` of both ends: the mean in Oklab of the strands, and the mean of the light they send back
    # together.
    near: str
    far: str
    # strand_difference, lightness_gap: cIEDE2000 and difference in L* of the two strands that differ most.
    strand_difference: float
    lightness_gap: float
    reads_as: str  # a key of `blendplan.blend.strands.READS`
    # CIEDE2000 that holds nine times of ten, from the strands' shades; none where a shade's is not known.
    within: float | None = None
    notices: tuple[Notice, ...] = ()

    @property
    def srgb(self) -> str:
        """`#rrggbb`; a colour outside sRGB keeps its Oklab lightness and hue and loses chroma."""
        return lab_to_hex(self.lab)

    def to_json(self) -> dict[str, Any]:
        """Return the object that `blendplan blend --json` prints."""
        return {
            "srgb": self.srgb,
            "lab": [round(v, 4) + 0.0 for v in self.lab],
            "seen_from_m": None if math.isinf(self.seen_from_m) else self.seen_from_m,
            "near": self.near,
            "far": self.far,
            "strand_difference": round(self.strand_difference, 4),
            "within": None if self.within is None else round(self.within, 2),
            "reads_as": self.reads_as,
            "notices": [n.text for n in self.notices],
        }


def blend_labs(
    labs: ArrayLike,
    shares: ArrayLike | None = None,
    *,
    viewing: Viewing | None = None,
    width_mm: ArrayLike = STRAND_MM,
) -> Floats:
    """Return CIELAB of many blends at once.

    `labs` (..., k, 3), CIELAB (D65) of k strands; `shares` (k,) or broadcastable to (..., k); `viewing`: from the sofa
    by default; `width_mm` (...), mean width of the strands; returns (..., 3).
    """
    return linear_to_lab(blend_linear(lab_to_linear(labs), shares, viewing=viewing, strand_mm=width_mm))


def _strands(labs: Sequence[Sequence[float]]) -> Floats:
    try:
        array = np.asarray(labs, dtype=np.float64)
    except (TypeError, ValueError):
        array = np.empty(0)
    if array.ndim != 2 or array.shape[1] != 3 or not 1 <= len(array) <= MAX_STRANDS:
        raise ColourError(
            "a blend takes 1 to {most} strands with three Lab numbers each; {given} was given.",
            most=MAX_STRANDS,
            given=f"an array of shape {array.shape}" if array.size else repr(labs)[:80],
        )
    if not np.isfinite(array).all():
        raise ColourError("a strand with a Lab number that is not finite was given; read or type its colour again.")
    return array


def _shares(shares: Sequence[float] | None, k: int) -> tuple[float, ...]:
    if shares is None:
        return (1.0 / k,) * k
    if len(shares) != k:
        raise ColourError(
            "shares given: {given}, strands: {strands}; give one share for each strand.", given=len(shares), strands=k
        )
    values = [number(s, "share of a strand", 0.0, 1e6) for s in shares]
    if sum(values) <= 0:
        raise ColourError("all shares are 0; at least one strand must be seen.")
    return tuple(v / sum(values) for v in values)


def mix(
    labs: Sequence[Sequence[float]],
    *,
    shares: Sequence[float] | None = None,
    viewing: Viewing | None = None,
    width_mm: float = STRAND_MM,
    bounds: Sequence[float | None] | None = None,
    photos: Sequence[str] | None = None,
) -> Blend:
    """Return what strands held together look like.

    Parameters
    ----------
    labs : sequence of k Lab triples
        CIELAB (D65) of the strands, 1 to 8 of them.
    shares : sequence of k floats, optional
        Visible shares, 0 or more, in any unit; equal by default.
    viewing : Viewing, optional
        How far away; from the sofa (2 m) by default.
    width_mm : float
        Mean width of the strands.
    bounds : sequence of k floats or None, optional
        CIEDE2000 that holds each shade nine times of ten.
    photos : sequence of k str, optional
        Sign of the photo each was read in, empty where there is none; all of one photo by default.

    Raises
    ------
    ColourError, QuantityError
        For strands, shares or a distance out of range.

    Examples
    --------
    >>> b = mix([(0, 0, 0), (100, 0, 0)])
    >>> b.near, b.reads_as, b.seen_from_m
    ('#636363', 'barber-poled', 2.0)
    """
    lab = _strands(labs)
    weights = _shares(shares, len(lab))
    viewing = Viewing() if viewing is None else viewing
    light = lab_to_linear(lab)
    near, far = (blend_linear(light, weights, viewing=replace(viewing, from_m=end)) for end in (0.0, math.inf))
    linear = blend_linear(light, weights, viewing=viewing, strand_mm=width_mm)
    made = linear_to_lab(linear)
    reading = read_strands(lab.tolist(), weights, viewing=viewing, width_mm=width_mm)
    inside = bool(np.all((linear >= -_GAMUT_TOLERANCE) & (linear <= 1 + _GAMUT_TOLERANCE)))
    spread = float(delta_e_2000(linear_to_lab(near), linear_to_lab(far)))
    known = [u for u in bounds or () if u is not None]
    within = None
    if len(known) == len(lab):
        within = blend_bound(lab.tolist(), known, shares=weights, viewing=viewing, width_mm=width_mm, photos=photos)
    return Blend(
        lab=(float(made[0]), float(made[1]), float(made[2])),
        seen_from_m=viewing.from_m,
        shares=weights,
        near=linear_to_hex(near),
        far=linear_to_hex(far),
        strand_difference=reading.difference,
        lightness_gap=reading.lightness_gap,
        reads_as=reading.code,
        within=within,
        notices=_notices(inside, spread),
    )


def _notices(inside: bool, spread: float) -> tuple[Notice, ...]:
    out = []
    if not inside:
        out.append(
            note(
                "this blend is a little too strong for a screen; it is shown with its hue and lightness kept "
                "and its chroma lessened."
            )
        )
    if spread >= WIDE_RANGE_FROM:
        out.append(
            note(
                "these strands differ so much that the blend changes with distance; crochet a small swatch "
                "before you decide.",
                "warning",
            )
        )
    return tuple(out)


# Meetings of shades that are blended apart; more of them differ little from their mean.
MOST_MEETINGS = 512
_MEETINGS_AT_ONCE = 100_000


def strand_mm(yarn: Yarn) -> float | None:
    """Return the width of a strand, millimetres, from its band or else its weight class; none where neither is known.

    Thickness grows with the root of linear density; medium yarn is `STRAND_MM`.

    Examples
    --------
    >>> from blendplan.yarn import Shade
    >>> strand_mm(Yarn(name="Peat", shades=(Shade(lab=(30, 0, 0)),), weight_class=4))
    4.0
    """
    if yarn.put_up is not None:
        m_per_100_g = 100_000 / yarn.put_up.tex
    elif yarn.weight_class is not None:
        m_per_100_g = M_PER_100_G[yarn.weight_class]
    else:
        return None
    return float(STRAND_MM * math.sqrt(M_PER_100_G[4] / m_per_100_g))


def widths_of(yarns: Sequence[Yarn]) -> tuple[Floats, NDArray[np.bool_]]:
    """Return the widths of strands, medium where nothing is known, and which are known."""
    found = [strand_mm(y) for y in yarns]
    return np.array([STRAND_MM if w is None else w for w in found]), np.array([w is not None for w in found])


def visible_shares(yarns: Sequence[Yarn], viewing: Viewing | None = None) -> tuple[float, ...]:
    """Return the share of the fabric's face that each strand shows: as a swatch of the pair told, else by its width.

    Where the width of any strand is not known, all show equally.

    Examples
    --------
    >>> from blendplan.yarn import Shade
    >>> thick = Yarn(name="Peat", shades=(Shade(lab=(30, 0, 0)),), grams=100, metres=100)
    >>> thin = Yarn(name="Fog", shades=(Shade(lab=(80, 0, 0)),), grams=100, metres=400)
    >>> [round(s, 4) for s in visible_shares([thick, thin])]
    [0.6667, 0.3333]
    """
    if not yarns:
        return ()
    if viewing is not None and len(yarns) == 2:
        names = (yarns[0].name, yarns[1].name)
        for one, two, share in viewing.shown:
            if names in ((one, two), (two, one)):
                return (share, 1 - share) if names[0] == one else (1 - share, share)
    widths, known = widths_of(yarns)
    if not known.all():
        return (1.0 / len(yarns),) * len(yarns)
    return tuple(float(w) for w in widths / widths.sum())


def mixed_lab(yarns: Sequence[Yarn], viewing: Viewing | None = None) -> Floats:
    """Return CIELAB of yarns held together, weighed by visible width, shape (3,).

    Runs of one colour in a yarn of several shades are longer than a distance melts: each meeting of shades is blended
    apart, and the mean in Oklab is taken along the yarn. Held double it is its own mean.
    """
    if all(y == yarns[0] for y in yarns):
        return np.array(yarns[0].lab)
    width, shares = float(widths_of(yarns)[0].mean()), visible_shares(yarns, viewing)
    if math.prod(len(y.shades) for y in yarns) > MOST_MEETINGS:
        return blend_labs([y.lab for y in yarns], shares, viewing=viewing, width_mm=width)
    meetings = list(product(*(y.shades for y in yarns)))
    each = blend_labs([[s.lab for s in met] for met in meetings], shares, viewing=viewing, width_mm=width)
    often = [math.prod(s.share for s in met) for met in meetings]
    along = np.average(linear_to_oklab(lab_to_linear(each)), axis=0, weights=often)
    return linear_to_lab(oklab_to_linear(along)) if len(meetings) > 1 else np.asarray(each[0])


def pair_labs(yarns: Sequence[Yarn], viewing: Viewing | None = None) -> Floats:
    """Return CIELAB of every pair of some yarns, solids on the diagonal, shape (n, n, 3); the same both ways."""
    size = len(yarns)
    widths, known = widths_of(yarns)
    shares = np.where(
        (known[:, None] & known)[..., None], np.stack(np.meshgrid(widths, widths, indexing="ij"), -1), 1.0
    )
    at = {yarn.name: i for i, yarn in enumerate(yarns)}
    for one, two, share in viewing.shown if viewing is not None else ():
        if one in at and two in at:
            shares[at[one], at[two]], shares[at[two], at[one]] = (share, 1 - share), (1 - share, share)
    # Every meeting of a shade with one of a later yarn, as in `mixed_lab`.
    lab = np.array([s.lab for y in yarns for s in y.shades], dtype=np.float64).reshape(-1, 3)
    often = np.array([s.share for y in yarns for s in y.shades], dtype=np.float64)
    of = np.repeat(np.arange(size), [len(y.shades) for y in yarns])
    met = np.argwhere(of[:, None] < of)
    along, total = np.zeros((size, size, 3)), np.zeros((size, size, 1))
    for start in range(0, len(met), _MEETINGS_AT_ONCE):
        some = met[start : start + _MEETINGS_AT_ONCE]
        i, j = of[some].T
        each = blend_labs(lab[some], shares[i, j], viewing=viewing, width_mm=(widths[i] + widths[j]) / 2)
        weight = often[some].prod(axis=1)[:, None]
        np.add.at(along, (i, j), weight * linear_to_oklab(lab_to_linear(each)))
        np.add.at(total, (i, j), weight)
    i, j = np.triu_indices(size, 1)
    out = np.empty((size, size, 3))
    out[i, j] = out[j, i] = linear_to_lab(oklab_to_linear(along[i, j] / total[i, j]))
    out[np.arange(size), np.arange(size)] = [y.lab for y in yarns] if size else ()
    return out


def bound_of(yarn: Yarn) -> float | None:
    """Return the CIEDE2000 that holds a yarn's shade nine times of ten, the least sure of several; none unknown."""
    known = [s.within for s in yarn.shades if s.within is not None]
    return max(known) if len(known) == len(yarn.shades) else None


def photo_of(yarn: Yarn) -> str:
    """Return the sign of the photo that all shades of a yarn were read in; empty where there is none."""
    signs = {s.photo for s in yarn.shades}
    return signs.pop() if len(signs) == 1 else ""


def mix_yarns(yarns: Sequence[Yarn], *, viewing: Viewing | None = None) -> Blend:
    """Return what yarns held together look like, weighed by visible width and with their shades' bounds.

    A yarn of several shades takes part with each of them (`mixed_lab`) and the largest of their bounds; a notice says
    between which colours the blend will wander.
    """
    shares = visible_shares(yarns, viewing)
    width = float(widths_of(yarns)[0].mean()) if yarns else STRAND_MM
    made = mix(
        [y.lab for y in yarns],
        shares=shares or None,
        viewing=viewing,
        width_mm=width,
        bounds=[bound_of(y) for y in yarns],
        photos=[photo_of(y) for y in yarns],
    )
    if any(len(y.shades) > 1 for y in yarns):
        made = _along(made, yarns, Viewing() if viewing is None else viewing)
    return replace(made, notices=(*made.notices, *width_notices(yarns), *_wandering(yarns, shares, viewing, width)))


def _along(made: Blend, yarns: Sequence[Yarn], viewing: Viewing) -> Blend:
    """Return a blend with the colours that its yarns of several shades give along their length."""
    lab, near, far = (mixed_lab(yarns, replace(viewing, from_m=m)) for m in (viewing.from_m, 0.0, math.inf))
    return replace(
        made,
        lab=(float(lab[0]), float(lab[1]), float(lab[2])),
        near=lab_to_hex(near),
        far=lab_to_hex(far),
    )


def width_notices(yarns: Sequence[Yarn]) -> list[Notice]:
    """Tell of strands whose width is not known: what is assumed of them, and what to do."""
    unknown = list(dict.fromkeys(y.name for y in yarns if strand_mm(y) is None))
    if not unknown or len(yarns) < 2:
        return []
    return [
        note(
            "neither weight class nor grams and metres of {yarns} are known, so strands are taken to show equally and "
            "these to be as wide as medium yarn; fill them in from the band.",
            "assumed",
            yarns=", ".join(unknown),
        )
    ]


def _wandering(
    yarns: Sequence[Yarn], shares: Sequence[float], viewing: Viewing | None, width_mm: float
) -> list[Notice]:
    """Tell between which colours the blend wanders along a yarn of several shades."""
    out = []
    for place, yarn in enumerate(yarns):
        if len(yarn.shades) < 2 or yarn in yarns[:place]:
            continue
        ends = sorted((s.lab for s in yarn.shades), key=lambda lab: lab[0])
        rows = [[end if other == yarn else other.lab for other in yarns] for end in (ends[0], ends[-1])]
        made = blend_labs(rows, shares, viewing=viewing, width_mm=width_mm)
        dark, light = (lab_to_hex(lab) for lab in made)
        out.append(
            note(
                "{yarn} has several shades; the blend is that of their mean and wanders between {dark} and {light}.",
                yarn=yarn.name,
                dark=dark,
                light=light,
            )
        )
    return out

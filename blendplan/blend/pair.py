"""Strands held together: one `Blend` with its colour, its range, its uncertainty and how it reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from blendplan.blend.family import blend_linear, member_n
from blendplan.blend.reading import read_strands
from blendplan.blend.uncertainty import blend_uncertainty
from blendplan.colour import Floats, delta_e_2000, lab_to_hex, lab_to_linear, linear_to_hex, linear_to_lab
from blendplan.errors import ColourError
from blendplan.units import number
from blendplan.wording import Notice, note
from blendplan.yarn import Yarn

__all__ = ["Blend", "blend_labs", "mix", "mix_yarns", "strand_width", "visible_shares"]

MAX_STRANDS = 8
# CIEDE2000 between the two ends of the family from which the reader is told (assumed).
WIDE_RANGE_FROM = 8.0
_GAMUT_TOLERANCE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Blend:
    """What strands held together look like.

    Attributes
    ----------
    lab : tuple of 3 floats
        CIELAB (D65) in the member asked for; may lie outside sRGB.
    n : float
        The member: 3 perceptual, 1 optical.
    shares : tuple of floats
        Visible shares; they add up to 1.
    perceptual, optical : str
        `#rrggbb` of both ends of the family.
    range_difference : float
        CIEDE2000 between the two ends.
    strand_difference, lightness_gap : float
        CIEDE2000 and difference in L* of the two strands that differ most.
    reads_as : str
        A key of `blendplan.blend.reading.READS`.
    in_gamut : bool
        True where sRGB can show `lab`.
    uncertainty : float or None
        CIEDE2000 under which 90 % of errors from the strands' shades lie; None where a shade's is not known.
    notices : tuple of Notice
    """

    lab: tuple[float, float, float]
    n: float
    shares: tuple[float, ...]
    perceptual: str
    optical: str
    range_difference: float
    strand_difference: float
    lightness_gap: float
    reads_as: str
    in_gamut: bool
    uncertainty: float | None = None
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
            "strand_difference": round(self.strand_difference, 4),
            "range": {"perceptual": self.perceptual, "optical": self.optical},
            "reads_as": self.reads_as,
            "notices": [n.text for n in self.notices],
        }


def blend_labs(labs: ArrayLike, shares: ArrayLike | None = None, *, member: str | float = "perceptual") -> Floats:
    """Return CIELAB of many blends at once.

    Parameters
    ----------
    labs : array_like, shape (..., k, 3)
        CIELAB (D65) of k strands.
    shares : array_like, shape (k,) or broadcastable to (..., k), optional
    member : str or float

    Returns
    -------
    ndarray, shape (..., 3)
    """
    return linear_to_lab(blend_linear(lab_to_linear(labs), shares, n=member_n(member)))


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
    member: str | float = "perceptual",
    uncertainties: Sequence[float | None] | None = None,
) -> Blend:
    """Return what strands held together look like.

    Parameters
    ----------
    labs : sequence of k Lab triples
        CIELAB (D65) of the strands, 1 to 8 of them.
    shares : sequence of k floats, optional
        Visible shares, 0 or more, in any unit; equal by default.
    member : str or float
        "perceptual" (the mean in Oklab), "optical" (the mean of light), or n from 1 to 3.
    uncertainties : sequence of k floats or None, optional
        CIEDE2000 under which 90 % of each shade's errors lie.

    Raises
    ------
    ColourError, QuantityError
        For strands, shares or a member out of range.

    Examples
    --------
    >>> b = mix([(0, 0, 0), (100, 0, 0)])
    >>> b.srgb, b.optical, b.reads_as
    ('#636363', '#bcbcbc', 'barber-poled')
    """
    lab = _strands(labs)
    weights = _shares(shares, len(lab))
    n = member_n(member)
    light = lab_to_linear(lab)
    ends = [blend_linear(light, weights, n=end) for end in (3.0, 1.0)]
    linear = blend_linear(light, weights, n=n)
    made = linear_to_lab(linear)
    reading = read_strands(lab.tolist(), weights)
    inside = bool(np.all((linear >= -_GAMUT_TOLERANCE) & (linear <= 1 + _GAMUT_TOLERANCE)))
    spread = float(delta_e_2000(linear_to_lab(ends[0]), linear_to_lab(ends[1])))
    known = [u for u in uncertainties or () if u is not None]
    return Blend(
        lab=(float(made[0]), float(made[1]), float(made[2])),
        n=n,
        shares=weights,
        perceptual=linear_to_hex(ends[0]),
        optical=linear_to_hex(ends[1]),
        range_difference=spread,
        strand_difference=reading.difference,
        lightness_gap=reading.lightness_gap,
        reads_as=reading.code,
        in_gamut=inside,
        uncertainty=blend_uncertainty(lab.tolist(), known, shares=weights, n=n) if len(known) == len(lab) else None,
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
                "these strands differ so much that the blend changes with distance: near and far are {apart} apart "
                "(CIEDE2000); crochet a small swatch before you decide.",
                "warning",
                apart=f"{spread:.0f}",
            )
        )
    return tuple(out)


def strand_width(yarn: Yarn) -> float | None:
    """Return the visible width of a strand up to a factor, the root of its tex; None without a put-up."""
    return None if yarn.put_up is None else float(yarn.put_up.tex**0.5)


def visible_shares(yarns: Sequence[Yarn]) -> tuple[float, ...]:
    """Return the share of the fabric's face that each strand shows.

    Thickness grows with the root of linear density, and a strand shows by its thickness.
    Where the put-up of any strand is not known, all show equally.

    Examples
    --------
    >>> from blendplan.yarn import PutUp, Shade
    >>> thick = Yarn(name="Peat", shades=(Shade(lab=(30, 0, 0)),), put_up=PutUp(mass_g=100, length_m=100))
    >>> thin = Yarn(name="Fog", shades=(Shade(lab=(80, 0, 0)),), put_up=PutUp(mass_g=100, length_m=400))
    >>> [round(s, 4) for s in visible_shares([thick, thin])]
    [0.6667, 0.3333]
    """
    if not yarns:
        return ()
    widths = [w for w in map(strand_width, yarns) if w is not None]
    if len(widths) < len(yarns):
        return (1.0 / len(yarns),) * len(yarns)
    return tuple(w / sum(widths) for w in widths)


def _yarn_uncertainty(yarn: Yarn) -> float | None:
    known = [s.uncertainty for s in yarn.shades if s.uncertainty is not None]
    return max(known) if len(known) == len(yarn.shades) else None


def mix_yarns(yarns: Sequence[Yarn], *, member: str | float = "perceptual") -> Blend:
    """Return what yarns held together look like, weighed by visible width and with their shades' uncertainty.

    A yarn of several shades takes part with its mean colour and the largest of its uncertainties; a notice says
    between which colours the blend will wander.
    """
    shares = visible_shares(yarns)
    made = mix(
        [y.lab for y in yarns],
        shares=shares or None,
        member=member,
        uncertainties=[_yarn_uncertainty(y) for y in yarns],
    )
    return replace(made, notices=(*made.notices, *_width_notices(yarns), *_wandering(yarns, shares, member)))


def _width_notices(yarns: Sequence[Yarn]) -> list[Notice]:
    """Tell of equal shares that were assumed although the yarns may differ in thickness."""
    unknown = list(dict.fromkeys(y.name for y in yarns if y.put_up is None))
    alike = len({y.weight_class for y in yarns}) == 1 and len(unknown) == len({y.name for y in yarns})
    if not unknown or alike:
        return []
    return [
        note(
            "grams and metres of {yarns} are not known, so all strands are taken to show equally; fill them in from "
            "the band.",
            "assumed",
            yarns=", ".join(unknown),
        )
    ]


def _wandering(yarns: Sequence[Yarn], shares: Sequence[float], member: str | float) -> list[Notice]:
    """Tell between which colours the blend wanders along a yarn of several shades."""
    out = []
    for place, yarn in enumerate(yarns):
        if len(yarn.shades) < 2 or yarn in yarns[:place]:
            continue
        ends = sorted((s.lab for s in yarn.shades), key=lambda lab: lab[0])
        rows = [[end if other == yarn else other.lab for other in yarns] for end in (ends[0], ends[-1])]
        dark, light = (lab_to_hex(lab) for lab in blend_labs(rows, shares, member=member))
        out.append(
            note(
                "{yarn} has several shades; the blend is that of their mean and wanders between {dark} and {light}.",
                yarn=yarn.name,
                dark=dark,
                light=light,
            )
        )
    return out

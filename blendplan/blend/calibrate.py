"""Fit the member of the blend family to photographed swatches of two strands.

Strands and swatch are photographed in one picture, so the lamp and the camera err alike for all of them.
A swatch tells near from far only where its strands differ in lightness: at 20 L* a little, at 40 clearly (measured
in simulation, colour facts 2a); the rules below follow from that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from blendplan.blend.family import blend_linear
from blendplan.blend.uncertainty import P90_OF_SIGMA
from blendplan.colour import Floats, delta_e_2000, lab_to_linear, linear_to_lab
from blendplan.errors import BlendplanError, ColourError
from blendplan.units import clean_text, number
from blendplan.wording import Notice, note, rounded

__all__ = ["Calibration", "Swatch", "fit_member"]

DEFAULT_N = 3.0
# Lightness gap of the strands under which a swatch cannot tell, and from which one swatch alone is enough.
LEAST_GAP = 20.0
GAP_FOR_ONE = 40.0
SWATCHES_WITHOUT_IT = 3
# Fewer are believed too where they make the default this many times less likely than the best member: 1 in 20, as is
# common for "unlikely" (assumed).
DEFAULT_UNLIKELY = 0.05
# CIEDE2000 with 90 % of shade errors under it: taken where a swatch states none, and from which it is too poor.
# Both assumed; at a mean error of 3.5 (5.5 for 90 %) one swatch gained nothing in simulation.
USUAL_UNCERTAINTY = 3.0
POOR_FROM = 6.0
# A swatch further than this many times its 90 % point from every member is of other strands or misread (assumed).
OFF_FAMILY = 2.0
# 1/n from the perceptual end to the optical end.
_POWERS: Floats = np.linspace(1 / 3, 1.0, 201)


@dataclass(frozen=True, slots=True, kw_only=True)
class Swatch:
    """A small piece crocheted with strands held together, and the strands beside it, read from one photo.

    Attributes
    ----------
    name : str
    strands : tuple of Lab triples
        Two or more.
    lab : tuple of 3 floats
        CIELAB (D65) of the swatch: the mean of its light, holes left out.
    shares : tuple of floats or None
        Visible shares of the strands; equal if None.
    uncertainty : float or None
        CIEDE2000 under which 90 % of the errors of each of these shades lie; 3 is assumed if None.
    """

    name: str
    strands: tuple[tuple[float, float, float], ...]
    lab: tuple[float, float, float]
    shares: tuple[float, ...] | None = None
    uncertainty: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", clean_text(self.name, "name of a swatch", 80))
        if not 2 <= len(self.strands) <= 4:
            raise ColourError(
                "swatch {name} has {given} strands; allowed is 2 to 4.", name=self.name, given=len(self.strands)
            )
        for lab in (*self.strands, self.lab):
            if len(lab) != 3 or not np.isfinite(lab).all():
                raise ColourError(
                    "swatch {name}: {given} is not a colour; three finite Lab numbers are needed.",
                    name=self.name,
                    given=repr(lab),
                )
        if self.shares is not None:
            if len(self.shares) != len(self.strands) or sum(self.shares) <= 0:
                raise ColourError("swatch {name}: give one share for each strand, not all 0.", name=self.name)
            for share in self.shares:
                number(share, "share of a strand", 0, 1e6)
        if self.uncertainty is not None:
            number(self.uncertainty, "uncertainty of a swatch", 0, 200)

    @property
    def lightness_gap(self) -> float:
        """Largest difference in L* between its strands."""
        light = [lab[0] for lab in self.strands]
        return float(max(light) - min(light))

    def to_json(self) -> dict[str, Any]:
        """Return what the project file keeps."""
        return {
            "name": self.name,
            "strands": [list(s) for s in self.strands],
            "lab": list(self.lab),
            "shares": None if self.shares is None else list(self.shares),
            "uncertainty": self.uncertainty,
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Swatch:
        """Return a swatch from what `to_json` made.

        Raises
        ------
        ColourError, QuantityError
            If a part is missing or does not make sense.
        """
        try:
            shares = data.get("shares")
            return cls(
                name=data["name"],
                strands=tuple((float(s[0]), float(s[1]), float(s[2])) for s in data["strands"]),
                lab=(float(data["lab"][0]), float(data["lab"][1]), float(data["lab"][2])),
                shares=None if shares is None else tuple(float(s) for s in shares),
                uncertainty=data.get("uncertainty"),
            )
        except (KeyError, IndexError, TypeError, AttributeError, ValueError) as error:
            if isinstance(error, BlendplanError):
                raise
            raise ColourError(
                "a stored swatch is not complete; it needs name, strands and lab; photograph it again."
            ) from None


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """The member of the family that the swatches speak for.

    Attributes
    ----------
    n : float
        Best member, or 3 where the swatches cannot tell.
    n_low, n_high : float
        n lies between these with 90 % probability, all members being as likely beforehand (in 1/n).
    enough : bool
        False where the default was kept.
    residual : float or None
        Mean CIEDE2000 between the used swatches and the fitted member.
    used : tuple of str
        Names of swatches.
    refused : tuple of (str, Notice)
        Names of swatches not used, and why.
    notices : tuple of Notice
    """

    n: float
    n_low: float
    n_high: float
    enough: bool
    residual: float | None
    used: tuple[str, ...]
    refused: tuple[tuple[str, Notice], ...]
    notices: tuple[Notice, ...]


def _residuals(swatch: Swatch) -> Floats:
    """Return CIEDE2000 between a swatch and each member of the grid."""
    made = blend_linear(lab_to_linear(swatch.strands), swatch.shares, n=1 / _POWERS)
    return np.asarray(delta_e_2000(linear_to_lab(made), swatch.lab), dtype=np.float64)


def _sigma(swatch: Swatch) -> float:
    """Return the standard deviation, on one axis, of the difference between a swatch and its computed blend.

    The blend is taken to be as unsure as one strand: near the optical end the lighter strand decides it alone.
    """
    u = USUAL_UNCERTAINTY if swatch.uncertainty is None else swatch.uncertainty
    return float(max(u, 0.25) / P90_OF_SIGMA * np.sqrt(2.0))


def _refusal(swatch: Swatch, residuals: Floats) -> Notice | None:
    if swatch.lightness_gap < LEAST_GAP:
        return note(
            "its strands are only {gap} L* apart; a swatch can tell from {least} on.",
            gap=f"{swatch.lightness_gap:.0f}",
            least=f"{LEAST_GAP:.0f}",
        )
    if swatch.uncertainty is not None and swatch.uncertainty > POOR_FROM:
        return note(
            "its shades are too unsure ({given} in CIEDE2000, allowed is {most}); photograph it in daylight on white "
            "paper.",
            given=rounded(swatch.uncertainty, 1),
            most=f"{POOR_FROM:.0f}",
        )
    if residuals.min() > OFF_FAMILY * P90_OF_SIGMA * _sigma(swatch):
        return note(
            "its colour is {apart} (CIEDE2000) from anything these strands can make; check that they are its strands.",
            apart=f"{residuals.min():.0f}",
        )
    return None


def _posterior(residuals: Floats, sigmas: Floats) -> Floats:
    """Return the probability of each member of the grid, shape (201,), from residuals of shape (m, 201).

    Normal errors in CIEDE2000; where the swatches scatter more than their stated errors, these are widened to fit.
    """
    chi2 = np.sum((residuals / sigmas[:, None]) ** 2, axis=0)
    freedom = 3 * len(residuals) - 1
    chi2 = chi2 / max(1.0, float(chi2.min()) / freedom)
    weight = np.exp(-0.5 * (chi2 - chi2.min()))
    return np.asarray(weight / weight.sum(), dtype=np.float64)


def fit_member(swatches: Sequence[Swatch]) -> Calibration:
    """Return the member of the blend family that fits the swatches, with its uncertainty.

    Parameters
    ----------
    swatches : sequence of Swatch

    Notes
    -----
    The posterior of 1/n on a grid from 1/3 to 1, flat beforehand; `n` is at its mean.
    One swatch with strands 40 L* apart is enough, or three with 20.
    With less the default member 3 stays unless the swatches make it unlikely (20 to 1), and the interval says how
    little is known.
    """
    used: list[Swatch] = []
    refused: list[tuple[str, Notice]] = []
    rows: list[Floats] = []
    for swatch in swatches:
        residuals = _residuals(swatch)
        reason = _refusal(swatch, residuals)
        if reason is None:
            used.append(swatch)
            rows.append(residuals)
        else:
            refused.append((swatch.name, reason))
    enough = len(used) >= SWATCHES_WITHOUT_IT or any(s.lightness_gap >= GAP_FOR_ONE for s in used)
    n, low, high, residual = DEFAULT_N, 1.0, 3.0, None
    if used:
        table = np.array(rows)
        weight = _posterior(table, np.array([_sigma(s) for s in used]))
        low, high = _interval(weight)
        enough = enough or bool(weight[0] < DEFAULT_UNLIKELY * weight.max())
        best = float(np.sum(weight * _POWERS))
        n = 1 / best if enough else DEFAULT_N
        residual = float(np.mean([np.interp(1 / n, _POWERS, row) for row in table]))
    return Calibration(
        n=n,
        n_low=low,
        n_high=high,
        enough=enough,
        residual=residual,
        used=tuple(s.name for s in used),
        refused=tuple(refused),
        notices=_notices(enough, refused),
    )


def _interval(weight: Floats) -> tuple[float, float]:
    """Return n at the 95 % and 5 % points of 1/n."""
    total = np.cumsum(weight)
    low_power, high_power = (float(np.interp(q, total, _POWERS)) for q in (0.05, 0.95))
    return 1 / high_power, 1 / low_power


def _notices(enough: bool, refused: Sequence[tuple[str, Notice]]) -> tuple[Notice, ...]:
    out = [note("swatch {name} is not used: {reason}", "warning", name=name, reason=reason) for name, reason in refused]
    if not enough:
        out.append(
            note(
                "the swatches cannot tell which member of the family fits, so the default 3 (perceptual) stays; "
                "it takes one swatch with strands 40 L* apart, or three with 20.",
                "assumed",
            )
        )
    return tuple(out)

"""What photographed swatches of two strands tell: the visible share of each strand, and the far end. Nothing else.

A photograph averages light over the swatch, so it says nothing of how the eye keeps the strands apart; how far away
the blanket is stays what it is.
Strands and swatch are photographed in one picture, so the lamp and the camera err alike for all of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blendplan.blend.pair import P90_OF_SIGMA
from blendplan.blend.strands import LENT, lit_together
from blendplan.colour import Floats, delta_e_2000, lab_to_linear, linear_to_lab
from blendplan.errors import ColourError
from blendplan.record import held, record
from blendplan.wording import Notice, note, rounded
from blendplan.yarn import Yarn

# Strands that are held together at most (assumed).
MAX_STRANDS = 4
# What is believed before a swatch is seen, as standard deviations about `LENT` and about the shares that the strands'
# widths give (assumed: path-traced panels, wound and looped, gave .32 to .38 for the first; strands turn over as they
# please, so a small swatch can show a tenth more of one).
_LENT_SPREAD, _SHARE_SPREAD = 0.08, 0.05
# CIEDE2000 that holds nine shades of ten: taken where a swatch states none, and from which it is too poor (assumed).
USUAL_BOUND = 3.0
POOR_FROM = 6.0
# A swatch further than this many times its 90 % point from all that its strands can make is of other strands or
# misread (assumed).
OFF_BY = 2.0
# Every far end and share that is tried.
_LENTS: Floats = LENT + np.linspace(-3, 3, 49) * _LENT_SPREAD
_MOVES: Floats = np.linspace(-3, 3, 49) * _SHARE_SPREAD


@record
class Swatch:
    """A small piece crocheted with strands held together, and the strands beside it, read from one photo."""

    name: str = held("name of a swatch", longest=80)
    # Two or more.
    strands: tuple[tuple[float, float, float], ...] = held("strands of a swatch", low=-200, high=200, most=MAX_STRANDS)
    # CIELAB (D65) of the swatch: the mean of its light, read as the strands beside it are.
    lab: tuple[float, float, float] = held("numbers of a shade", low=-200, high=200)
    # Visible shares of the strands; equal if None.
    shares: tuple[float, ...] | None = held("share of a strand", default=None, low=0, high=1e6, most=MAX_STRANDS)
    # CIEDE2000 that holds nine of ten of these shades; 3 is assumed if None.
    within: float | None = held("bound of a swatch", default=None, low=0, high=200)

    def __post_init__(self) -> None:
        if len(self.strands) < 2:
            raise ColourError(
                "swatch {name} has {given} strands; photograph it beside both its strands (2 to 4 are allowed).",
                name=self.name,
                given=len(self.strands),
            )
        if self.shares is not None and (len(self.shares) != len(self.strands) or sum(self.shares) <= 0):
            raise ColourError("swatch {name}: give one share for each strand, not all 0.", name=self.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """What the swatches tell."""

    # Share of the light on a strand that its neighbours lend it; what is usual where the swatches cannot tell.
    lent: float
    low: float  # low, high: it lies between these with 90 % probability
    high: float
    shares: tuple[tuple[float, ...], ...]  # visible shares of the strands of each used swatch
    residual: float | None  # mean CIEDE2000 between the used swatches and what is then expected of them
    used: tuple[str, ...]  # names of swatches
    refused: tuple[tuple[str, Notice], ...]  # names of swatches not used, and why
    notices: tuple[Notice, ...]


def _shares_tried(swatch: Swatch) -> Floats:
    """Return the shares tried for a swatch, shape (49, k): the first strand shows more or less, the rest give way."""
    k = len(swatch.strands)
    usual = np.full(k, 1.0 / k) if swatch.shares is None else np.asarray(swatch.shares) / sum(swatch.shares)
    rest = usual.copy()
    rest[0] = 0.0
    # Where one strand is all there is to see, nothing can give way.
    away = rest / rest.sum() if rest.sum() > 0 else rest
    first = np.clip(usual[0] + _MOVES, 0.0, 1.0) if rest.sum() > 0 else np.full(len(_MOVES), usual[0])
    moved = (first - usual[0])[:, None]
    return np.asarray(np.clip(usual + moved * (np.eye(k)[0] - away), 0.0, 1.0))


def _residuals(swatch: Swatch) -> Floats:
    """Return CIEDE2000 between a swatch and every far end with every share, shape (49, 49)."""
    light = lab_to_linear(swatch.strands)
    shares = _shares_tried(swatch)
    tried = np.broadcast_to(light, (len(shares), *light.shape))
    made = [np.sum(shares[..., None] * lit_together(tried, shares, lent=float(lent)), axis=-2) for lent in _LENTS]
    return np.asarray(delta_e_2000(linear_to_lab(np.array(made)), swatch.lab))


def _sigma(swatch: Swatch) -> float:
    """Return the standard deviation, on one axis, of the difference between a swatch and its computed blend.

    The blend is taken to be as unsure as one strand: near the far end the lighter strand decides it alone.
    """
    bound = USUAL_BOUND if swatch.within is None else swatch.within
    return float(max(bound, 0.25) / P90_OF_SIGMA * np.sqrt(2.0))


def _refusal(swatch: Swatch, residuals: Floats) -> Notice | None:
    if swatch.within is not None and swatch.within > POOR_FROM:
        return note(
            "its shades are too unsure ({given} in CIEDE2000, allowed is {most}); photograph it in daylight on white "
            "paper.",
            given=rounded(swatch.within, 1),
            most=f"{POOR_FROM:.0f}",
        )
    if residuals.min() > OFF_BY * P90_OF_SIGMA * _sigma(swatch):
        return note(
            "its colour is {apart} (CIEDE2000) from anything these strands can make; check that they are its strands.",
            apart=f"{residuals.min():.0f}",
        )
    return None


def fit_swatches(swatches: Sequence[Swatch]) -> Calibration:
    """Return the far end and the shares that fit the swatches, with what remains unsure.

    Bayes on a grid: the far end is one for all swatches, the share is each swatch's own; both are believed to be as
    usual until a swatch says otherwise, so swatches that cannot tell change nothing.
    Where they scatter more than their stated errors, these are widened to fit.
    """
    used: list[Swatch] = []
    refused: list[tuple[str, Notice]] = []
    tables: list[Floats] = []
    for swatch in swatches:
        residuals = _residuals(swatch)
        reason = _refusal(swatch, residuals)
        if reason is None:
            used.append(swatch)
            tables.append(residuals)
        else:
            refused.append((swatch.name, reason))
    prior = np.exp(-0.5 * ((_LENTS - LENT) / _LENT_SPREAD) ** 2)
    chi2 = [(t / _sigma(s)) ** 2 for s, t in zip(used, tables, strict=True)]
    wide = max(1.0, sum(float(c.min()) for c in chi2) / max(3 * len(chi2) - 1, 1))
    share_prior = np.exp(-0.5 * (_MOVES / _SHARE_SPREAD) ** 2)
    each = [np.exp(-0.5 * (c - c.min()) / wide) * share_prior for c in chi2]
    weight = prior * np.prod([e.sum(axis=1) for e in each], axis=0) if each else prior
    weight = weight / weight.sum()
    lent = float(weight @ _LENTS)
    total = np.cumsum(weight)
    low, high = (float(np.interp(q, total, _LENTS)) for q in (0.05, 0.95))
    at = int(np.argmin(abs(_LENTS - lent)))
    picks = [int(np.argmax(e[at])) for e in each]
    return Calibration(
        lent=lent,
        low=low,
        high=high,
        shares=tuple(tuple(_shares_tried(s)[p].tolist()) for s, p in zip(used, picks, strict=True)),
        residual=float(np.mean([t[at, p] for t, p in zip(tables, picks, strict=True)])) if used else None,
        used=tuple(s.name for s in used),
        refused=tuple(refused),
        notices=tuple(
            note("swatch {name} is not used: {reason}", "warning", name=name, reason=reason) for name, reason in refused
        ),
    )


def shares_told(
    swatches: Sequence[Swatch], found: Calibration, yarns: Sequence[Yarn]
) -> tuple[tuple[str, str, float], ...]:
    """Return the pairs of yarns whose visible shares swatches have told: both names, and the share of the first.

    `found`: from these swatches; `yarns`: a strand is the yarn whose shade is nearest to it, within the swatch's bound;
    of a pair the last swatch counts.
    """
    shares = dict(zip(found.used, found.shares, strict=True))
    out: dict[frozenset[str], tuple[str, str, float]] = {}
    labs = np.array([y.lab for y in yarns]).reshape(-1, 3)
    for swatch in swatches:
        if swatch.name not in shares or len(swatch.strands) != 2 or len(yarns) < 2:
            continue
        bound = USUAL_BOUND if swatch.within is None else swatch.within
        apart = np.array([delta_e_2000(labs, strand) for strand in swatch.strands])
        one, two = (int(i) for i in apart.argmin(axis=1))
        if one != two and apart[0, one] <= bound and apart[1, two] <= bound:
            names = yarns[one].name, yarns[two].name
            out[frozenset(names)] = (*names, shares[swatch.name][0])
    return tuple(out.values())

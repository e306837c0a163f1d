"""How strands held together will read: melted into one shade, heathered, marled or barber-poled.

The eye follows fine detail by lightness far longer than by hue, so the word hangs on the lightness gap of the
strands first and on their whole difference second.
Makers' pages say the same in words: close values blur into a new shade, strong contrast reads as flecks or
stripes (trade facts, read Nov 2026).
No published thresholds were found; every number here is *assumed*, and supported by one measurement: strands with
4 mm runs of colour, filtered by S-CIELAB as seen from 6 m, keep a median CIEDE2000 of about 2 when heathered, 3 when
shot, 7 when marled and 12 when barber-poled, and in that order at every distance from 60 cm on (a test repeats it).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from blendplan.colour import delta_e_2000

__all__ = ["READS", "Reading", "read_strands"]

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

# CIEDE2000 under which two strands are one colour: about one just noticeable difference (assumed).
SOLID_BELOW = 1.0
# CIEDE2000 under which only the shade shows (assumed).
TONAL_BELOW = 6.0
# Lightness gap under which the strands melt together (assumed).
# Support: below 15 dE the near and far ends of the blend family differ by under 1 on the whole (colour facts, 2a).
MELTS_BELOW_LIGHTNESS = 15.0
# CIEDE2000 from which strands of like lightness are seen as two hues (assumed).
TWO_HUES_FROM = 25.0
# Lightness gap from which the pair reads as stripes (assumed).
STRIPES_FROM_LIGHTNESS = 40.0
# Visible share under which a strand shows only as flecks (assumed).
FLECK_BELOW_SHARE = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How strands will read, from the two that differ most.

    Attributes
    ----------
    code : str
        A key of `READS`.
    difference : float
        CIEDE2000 of the two strands that differ most.
    lightness_gap : float
        Their difference in L*, 0 or more.
    """

    code: str
    difference: float
    lightness_gap: float


def read_strands(labs: Sequence[Sequence[float]], shares: Sequence[float] | None = None) -> Reading:
    """Return how strands held together will read.

    Parameters
    ----------
    labs : sequence of k Lab triples
        CIELAB (D65) of the strands.
    shares : sequence of k floats, optional
        Visible shares; equal by default.
        A strand with no share is not seen and is left out.

    Examples
    --------
    >>> read_strands([(20, 0, 0), (85, 0, 0)]).code, read_strands([(50, 10, 4), (55, 12, 8)]).code
    ('barber-poled', 'tonal')
    """
    lab = np.asarray(labs, dtype=np.float64)
    weights = np.full(len(lab), 1 / len(lab)) if shares is None else np.asarray(shares, dtype=np.float64)
    seen = [i for i in range(len(lab)) if weights[i] > 0]
    pairs = list(combinations(seen, 2))
    if not pairs:
        return Reading(code="solid", difference=0.0, lightness_gap=0.0)
    one, two = (np.array(side) for side in zip(*pairs, strict=True))
    differences = delta_e_2000(lab[one], lab[two])
    worst = int(np.argmax(differences))
    difference = float(differences[worst])
    i, j = pairs[worst]
    gap = float(abs(lab[i, 0] - lab[j, 0]))
    lesser = float(min(weights[i], weights[j]) / (weights[i] + weights[j]))
    return Reading(code=_code(difference, gap, lesser), difference=difference, lightness_gap=gap)


def _code(difference: float, gap: float, lesser: float) -> str:
    if difference < SOLID_BELOW:
        return "solid"
    if difference < TONAL_BELOW:
        return "tonal"
    if gap < MELTS_BELOW_LIGHTNESS:
        return "heathered" if difference < TWO_HUES_FROM else "shot"
    if lesser < FLECK_BELOW_SHARE:
        return "flecked"
    return "marled" if gap < STRIPES_FROM_LIGHTNESS else "barber-poled"

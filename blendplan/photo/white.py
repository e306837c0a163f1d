"""The white reference: paper, a card or a tapped spot, and the light that it shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import adapt_xyz, linear_to_xyz, xyz_to_linear

__all__ = ["PAPER_LEVEL", "White", "correct"]

Floats = NDArray[np.float64]

# Reflectance of plain white office paper, about .85 to .90; assumed, stated in facts as taken and not measured.
PAPER_LEVEL = 0.87


@dataclass(frozen=True, slots=True, kw_only=True)
class White:
    """What was taken as white, and how much it is to be believed.

    Attributes
    ----------
    kind : {"paper", "tap", "card", "grey-card"}
    box : tuple of 4 int
        Left, top, right, bottom in pixels of the upright photo at full size.
    linear_rgb : tuple of 3 float
        The light of a perfect white in the photo, linear sRGB.
    confidence : float
        0 to 1.
    """

    kind: str
    box: tuple[int, int, int, int]
    linear_rgb: tuple[float, float, float]
    confidence: float


def correct(linear_rgb: Floats, white: White | None) -> Floats:
    """Return linear sRGB as it would be in neutral daylight, by the Bradford transform."""
    if white is None:
        return linear_rgb
    return xyz_to_linear(adapt_xyz(linear_to_xyz(linear_rgb), linear_to_xyz(white.linear_rgb)))

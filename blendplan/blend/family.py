"""The blend family: a weighted power mean of cone responses, from far away to close by.

The basis is Oklab's LMS and the exponent is 1/n.
n = 3 is exactly the mean in Oklab and is called `perceptual`: what two strands held together look like at
the distance of a room, the planning default.
n = 1 is the mean of light and is called `optical`: the far limit, where the strands fuse on the retina.
A member in between can be calibrated from swatches.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from blendplan.colour import LINEAR_TO_LMS, LMS_TO_LINEAR, Floats
from blendplan.errors import ColourError
from blendplan.units import number

__all__ = ["MEMBERS", "blend_linear", "member_n"]

MEMBERS = {"perceptual": 3.0, "optical": 1.0}


def member_n(member: str | float) -> float:
    """Return n of a member given by name or number (1 to 3).

    Raises
    ------
    ColourError, QuantityError
        If the name is unknown or the number out of range.

    Examples
    --------
    >>> member_n("perceptual"), member_n("1.5")
    (3.0, 1.5)
    """
    if isinstance(member, str) and member in MEMBERS:
        return MEMBERS[member]
    try:
        return number(member, "member of the blend family", 1.0, 3.0)
    except ValueError:
        raise ColourError(
            "{given} is not a member of the blend family; give perceptual, optical or a number from 1 to 3.",
            given=repr(member),
        ) from None


def blend_linear(linear_rgb: ArrayLike, shares: ArrayLike | None = None, *, n: ArrayLike = 3.0) -> Floats:
    """Return the linear sRGB of strands held together; may lie outside the gamut.

    Parameters
    ----------
    linear_rgb : array_like, shape (..., k, 3)
        Light of k strands.
    shares : array_like, shape (k,) or broadcastable to (..., k), optional
        Visible share of each strand, not negative, with a positive sum; equal shares by default.
    n : float or array_like, shape (...)
        1 (mean of light) to 3 (mean in Oklab); an array is broadcast against the leading axes.

    Returns
    -------
    ndarray, shape (..., 3)

    Notes
    -----
    m = (sum_i w_i lms_i^(1/n))^n with the sign of a negative cone response kept.
    """
    rgb = np.asarray(linear_rgb, dtype=np.float64)
    k = rgb.shape[-2]
    weights = np.full(k, 1.0 / k) if shares is None else np.asarray(shares, dtype=np.float64)
    if np.any(~np.isfinite(weights)) or np.any(weights < 0) or np.any(weights.sum(axis=-1) <= 0):
        raise ColourError("shares of strands must be 0 or more with a positive sum; {given} was given.", given=shares)
    weights = weights / weights.sum(axis=-1, keepdims=True)
    lms = rgb @ LINEAR_TO_LMS.T
    power = np.asarray(n, dtype=np.float64)[..., None]
    roots = np.sign(lms) * np.abs(lms) ** (1.0 / power[..., None])
    mean = np.sum(weights[..., None] * roots, axis=-2)
    return (np.sign(mean) * np.abs(mean) ** power) @ LMS_TO_LINEAR.T

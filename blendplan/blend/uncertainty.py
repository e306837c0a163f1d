"""How sure a blend's colour is, from how sure its strands' shades are."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from blendplan.blend.family import blend_linear
from blendplan.colour import Floats, delta_e_2000, lab_to_linear, linear_to_lab

__all__ = ["P90_OF_SIGMA", "blend_uncertainty", "draw_labs"]

# 90 % point of the length of a normal vector in three dimensions, in units of one axis's standard deviation:
# square root of the chi-square quantile 6.2514 with 3 degrees of freedom (standard tables).
P90_OF_SIGMA = 2.5003
# Share of a shade's error variance that two strands of one project have in common, because the same lamp, paper
# and camera read them (assumed).
SHARED = 0.5
DRAWS = 2000


def _scales(lab: Floats) -> Floats:
    """Return the CIEDE2000 weights S_L, S_C, S_H at a colour, shape (3,); the rotation term is left out."""
    light, chroma = lab[0], float(np.hypot(lab[1], lab[2]))
    hue = np.degrees(np.arctan2(lab[2], lab[1]))
    t = (
        1
        - 0.17 * np.cos(np.radians(hue - 30))
        + 0.24 * np.cos(np.radians(2 * hue))
        + 0.32 * np.cos(np.radians(3 * hue + 6))
        - 0.20 * np.cos(np.radians(4 * hue - 63))
    )
    s_l = 1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2)
    return np.array([s_l, 1 + 0.045 * chroma, 1 + 0.015 * chroma * t])


def draw_labs(lab: Sequence[float], uncertainty: float, unit_draws: Floats) -> Floats:
    """Return colours about one whose CIEDE2000 error has the stated 90 % point.

    Parameters
    ----------
    lab : sequence of 3 floats
    uncertainty : float
        CIEDE2000 under which 90 % of errors lie.
    unit_draws : ndarray, shape (m, 3)
        Standard normal numbers: lightness, chroma, hue.

    Returns
    -------
    ndarray, shape (m, 3)
        L* is held within 0 to 100.
    """
    centre = np.asarray(lab, dtype=np.float64)
    steps = unit_draws * _scales(centre) * (uncertainty / P90_OF_SIGMA)
    hue = np.arctan2(centre[2], centre[1])
    out = np.empty_like(steps)
    out[:, 0] = np.clip(centre[0] + steps[:, 0], 0.0, 100.0)
    out[:, 1] = centre[1] + steps[:, 1] * np.cos(hue) - steps[:, 2] * np.sin(hue)
    out[:, 2] = centre[2] + steps[:, 1] * np.sin(hue) + steps[:, 2] * np.cos(hue)
    return out


def blend_uncertainty(
    labs: Sequence[Sequence[float]],
    uncertainties: Sequence[float],
    *,
    shares: Sequence[float] | None = None,
    n: float = 3.0,
    shared: float = SHARED,
    seed: int = 1,
) -> float:
    """Return the CIEDE2000 under which 90 % of a blend's errors are expected to lie.

    Parameters
    ----------
    labs : sequence of k Lab triples
    uncertainties : sequence of k floats
        The same 90 % points for the strands' shades.
    shares : sequence of k floats, optional
    n : float
        Member of the family, 1 to 3.
    shared : float
        Share of the error variance common to all strands, 0 to 1; 0.5 is assumed.
    seed : int

    Notes
    -----
    Monte Carlo with 2000 draws, which leaves about 2 % of scatter in the answer.
    It tells of the shades only: which member of the family the fabric follows is shown by the blend's range.
    """
    rng = np.random.default_rng(seed)
    common = rng.standard_normal((DRAWS, 3))
    drawn = []
    for lab, uncertainty in zip(labs, uncertainties, strict=True):
        own = rng.standard_normal((DRAWS, 3))
        drawn.append(draw_labs(lab, uncertainty, np.sqrt(shared) * common + np.sqrt(1 - shared) * own))
    tried = linear_to_lab(blend_linear(lab_to_linear(np.stack(drawn, axis=1)), shares, n=n))
    centre = linear_to_lab(blend_linear(lab_to_linear(labs), shares, n=n))
    return float(np.quantile(delta_e_2000(tried, centre), 0.9))

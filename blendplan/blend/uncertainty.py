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

    Parameters
    ----------
    lab : sequence of 3 floats
    uncertainty : float
        CIEDE2000 under which 90 % of errors lie.
    unit_draws : ndarray, shape (m, 3)
        Standard normal numbers.

    Returns
    -------
    ndarray, shape (m, 3)
        L* is held within 0 to 100.
    """
    centre = np.asarray(lab, dtype=np.float64)
    out = centre + unit_draws @ _unit_steps(centre) * (uncertainty / P90_OF_SIGMA)
    out[:, 0] = np.clip(out[:, 0], 0.0, 100.0)
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

"""For comparison: fibres blended at the mill, before spinning, by Stearns and Noechel and by Friele.

These are formulas for intimate blends, in which light meets fibres of both colours many times over.
Two strands held together are not such a blend; use `blendplan.blend.pair` for them.
A maker meets carded blends as heather yarns, and sees here why those come out darker.

References
----------
E. I. Stearns, F. Noechel, "Spectrophotometric prediction of color of wool blends", Am. Dyest. Rep. 33 (1944)
177-180; L. F. C. Friele, "The application of colour measurement in relation to fibre-blending", J. Text. Inst.
Proc. 43 (1952) 604-611 (both by way of later papers that print the formulas; the originals were not read).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from blendplan.colour import Floats, into_gamut, lab_to_linear, xyz_to_lab
from blendplan.errors import ColourError
from blendplan.units import choice, number

__all__ = ["MODELS", "blend_reflectance", "carded_lab", "friele", "stearns_noechel"]

# 0.15 is commonly quoted for wool (from memory); 0.136 fitted best for a rotor-spun cellulose yarn.
STEARNS_NOECHEL_M = 0.15
# In the range of published fits (0.3 was tried for the colour facts, 2a); assumed.
FRIELE_S = 0.3
MODELS = ("stearns-noechel", "friele")
# Least reflectance that Friele's formula is given: below it f is too small for a number of the machine.
_FLOOR = 1e-3


def stearns_noechel(reflectance: ArrayLike, m: float = STEARNS_NOECHEL_M) -> Floats:
    """Return f(R) = (1 - R) / (M (R - 0.01) + 0.01), which adds up by mass share.

    Parameters
    ----------
    reflectance : array_like
        0 to 1.
    m : float
        The fibre's constant, above 0 and up to 1.

    Examples
    --------
    >>> round(float(stearns_noechel(0.5, 0.15)), 5)
    5.98802
    """
    r = np.asarray(reflectance, dtype=np.float64)
    return (1 - r) / (m * (r - 0.01) + 0.01)


def _stearns_noechel_back(f: Floats, m: float) -> Floats:
    return (1 + 0.01 * f * (m - 1)) / (1 + f * m)


def friele(reflectance: ArrayLike, s: float = FRIELE_S) -> Floats:
    """Return f(R) = exp(-s (1 - R)^2 / (2 R)), which adds up by mass share.

    Examples
    --------
    >>> round(float(friele(0.5, 0.3)), 6)
    0.927743
    """
    r = np.asarray(reflectance, dtype=np.float64)
    return np.exp(-s * (1 - r) ** 2 / (2 * r))


def _friele_back(f: Floats, s: float) -> Floats:
    k = -np.log(f) / s
    # (1 - R)^2 / (2 R) = k solved for R, written so that nothing cancels.
    return 1 / (1 + k + np.sqrt(k * k + 2 * k))


def blend_reflectance(
    reflectances: ArrayLike,
    mass_shares: ArrayLike | None = None,
    *,
    model: str = "stearns-noechel",
    constant: float | None = None,
) -> Floats:
    """Return the reflectance of a carded blend.

    Parameters
    ----------
    reflectances : array_like, shape (k, w)
        0 to 1, of k fibres at w wavelengths.
    mass_shares : array_like, shape (k,), optional
        Equal by default.
    model : {"stearns-noechel", "friele"}
    constant : float, optional
        M of Stearns and Noechel, or s of Friele; above 0 and up to 1.

    Returns
    -------
    ndarray, shape (w,)
    """
    r = np.asarray(reflectances, dtype=np.float64)
    weights = np.full(len(r), 1 / len(r)) if mass_shares is None else np.asarray(mass_shares, dtype=np.float64)
    if weights.shape != (len(r),) or not np.isfinite(weights).all() or np.any(weights < 0) or weights.sum() <= 0:
        raise ColourError(
            "mass shares {given} do not fit {fibres} fibres; give one of 0 or more for each, not all 0.",
            given=repr(mass_shares),
            fibres=len(r),
        )
    weights = weights / weights.sum()
    if choice(model, "model of a carded blend", MODELS) == "friele":
        s = number(FRIELE_S if constant is None else constant, "s of Friele", 1e-3, 1)
        return _friele_back(weights @ friele(np.clip(r, _FLOOR, 1.0), s), s)
    m = number(STEARNS_NOECHEL_M if constant is None else constant, "M of Stearns and Noechel", 1e-3, 1)
    return _stearns_noechel_back(weights @ stearns_noechel(np.clip(r, 0.0, 1.0), m), m)


@cache
def _spectra() -> tuple[Floats, Floats]:
    """Return basis reflectances (81, 3) for linear sRGB, and weights (81, 3) from reflectance to XYZ under D65.

    Basis: I. Mallett, C. Yuksel, "Spectral primary decomposition for rendering with sRGB reflectance", EGSR 2019,
    as tabulated in colour-science; 380 to 780 nm in steps of 5.
    """
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

    basis = colour.recovery.MSDS_BASIS_FUNCTIONS_sRGB_MALLETT2019
    shape = basis.shape
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values
    weights = observer * light[:, None]
    return np.asarray(basis.values, dtype=np.float64), np.asarray(weights / weights[:, 1].sum(), dtype=np.float64)


def carded_lab(
    labs: Sequence[Sequence[float]],
    mass_shares: Sequence[float] | None = None,
    *,
    model: str = "stearns-noechel",
    constant: float | None = None,
) -> tuple[float, float, float]:
    """Return CIELAB (D65) of fibres of these colours carded together.

    Parameters
    ----------
    labs : sequence of k Lab triples
        Brought into sRGB first, where a reflectance can be recovered.
    mass_shares : sequence of k floats, optional
    model, constant
        As in `blend_reflectance`.

    Notes
    -----
    A colour does not fix its reflectance curve; the smooth one of Mallett and Yuksel is taken.
    """
    basis, weights = _spectra()
    reflectances = np.clip(into_gamut(lab_to_linear(labs)) @ basis.T, 0.0, 1.0)
    lab = xyz_to_lab(blend_reflectance(reflectances, mass_shares, model=model, constant=constant) @ weights)
    return float(lab[0]), float(lab[1]), float(lab[2])

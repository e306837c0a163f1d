"""From the patches of a chart as seen to their published values: stray light, falling-off, tone curve, matrix."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import delta_e_2000, linear_to_lab

__all__ = ["ChartFit", "fit_chart", "leave_one_out", "patch_places"]

Floats = NDArray[np.float64]

# How strongly the unknowns are drawn to a plain camera, in units of the scaled CIELAB differences: curve, matrix,
# falling-off of light over the chart, stray light. Chosen with the two real charts of the samples in view.
_PULL_CURVE, _PULL_MATRIX, _PULL_FALL, _PULL_STRAY = 4.0, 6.0, 40.0, 150.0


@dataclass(frozen=True, slots=True)
class ChartFit:
    """A fitted camera.

    Attributes
    ----------
    curve : (float, float)
        Power and bend of the tone curve: log light = power x log code + bend x (log code)^2.
    matrix : three rows of three
        From curved camera values to linear sRGB under D65.
    fall : (float, float)
        Natural log of light from the chart's middle to its right and to its lower edge.
    stray : float
        Linear light that haze and glare add everywhere.
    """

    curve: tuple[float, float]
    matrix: tuple[tuple[float, float, float], ...]
    fall: tuple[float, float] = (0.0, 0.0)
    stray: float = 0.0

    def correct(self, linear_rgb: Floats, places: Floats | None = None) -> Floats:
        """Return linear sRGB in neutral daylight from the photo's linear sRGB.

        Parameters
        ----------
        linear_rgb : ndarray, shape (..., 3)
        places : ndarray, shape (..., 2), optional
            Where on the chart, -1 to 1 across and down; the light of the chart's middle is taken without.
        """
        light = np.asarray(linear_rgb) - self.stray
        if places is not None:
            light = light * np.exp(places @ np.array(self.fall))[..., None]
        logs = np.log(np.clip(light, 1e-4, None))
        curved = np.exp(self.curve[0] * logs + self.curve[1] * logs**2)
        return np.clip(curved @ np.array(self.matrix).T, 0.0, None)


def patch_places() -> Floats:
    """Return the middles of the 24 patches on the chart, -1 to 1 across and down, shape (24, 2)."""
    row, column = np.divmod(np.arange(24), 6)
    return np.stack([(column + 0.5) / 3 - 1, (row + 0.5) / 2 - 1], axis=1)


def fit_chart(seen: Floats, wanted: Floats, lab: Floats, places: Floats) -> ChartFit:
    """Return what brings patches nearest to their values in CIELAB.

    Parameters
    ----------
    seen, wanted : ndarray, shape (n, 3)
        Linear sRGB in the photo and as published.
    lab : ndarray, shape (n, 3)
        CIELAB as published.
    places : ndarray, shape (n, 2)
        Rows of `patch_places`.

    Notes
    -----
    Fourteen unknowns: power, bend, nine of the matrix, two of falling-off, one of stray light. All are drawn
    weakly to a plain camera, so that twelve patches do for a fit. Clipped patches (code 250 and above) weigh less.
    """
    from scipy.optimize import least_squares

    weight = np.where((seen > 0.955).any(axis=1), 0.3, 1.0)
    # Weighting chroma by 1 / (1 + .045 C) brings CIELAB near to CIEDE2000.
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    scale = np.stack([np.ones_like(chroma), 1 / (1 + 0.045 * chroma), 1 / (1 + 0.03 * chroma)], axis=1)
    balance = np.median(wanted.clip(1e-3) / seen.clip(1e-3), axis=0)

    def fit_of(v: Floats) -> ChartFit:
        matrix = np.diag(balance) @ (np.eye(3) + v[2:11].reshape(3, 3))
        rows = tuple((float(r[0]), float(r[1]), float(r[2])) for r in matrix)
        return ChartFit((float(v[0]), float(v[1])), rows, (float(v[11]), float(v[12])), float(v[13]))

    def residual(v: Floats) -> Floats:
        off = (linear_to_lab(fit_of(v).correct(seen, places)) - lab) * scale * weight[:, None]
        pull = (
            _PULL_CURVE * (v[:2] - [1.0, 0.0]),
            _PULL_MATRIX * v[2:11],
            _PULL_FALL * v[11:13],
            _PULL_STRAY * v[13:],
        )
        return np.concatenate([off.ravel(), *pull])

    start = np.zeros(14)
    start[0] = 1.0
    most = np.r_[2.2, 0.25, np.full(9, 1.5), 0.5, 0.5, 0.05]
    least = np.r_[0.4, -most[1:]]
    found = least_squares(residual, start, bounds=(least, most), loss="soft_l1", f_scale=4.0, max_nfev=60)
    return fit_of(found.x)


def leave_one_out(seen: Floats, wanted: Floats, lab: Floats) -> Floats:
    """Return the CIEDE2000 of each of the 24 patches when it takes no part in the fit."""
    out, places = [], patch_places()
    for k in range(len(seen)):
        keep = np.arange(len(seen)) != k
        fit = fit_chart(seen[keep], wanted[keep], lab[keep], places[keep])
        out.append(float(delta_e_2000(linear_to_lab(fit.correct(seen[k], places[k])), lab[k])))
    return np.array(out)

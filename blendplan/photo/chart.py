"""A 24-patch colour chart in the photo: where it is, and what its patches should be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import adapt_xyz, linear_to_lab, srgb_to_linear, xyz_to_linear
from blendplan.errors import PhotoError
from blendplan.photo.chart_fit import ChartFit, fit_chart, leave_one_out, patch_places
from blendplan.photo.loading import Photo

__all__ = ["PATCHES", "Chart", "inside_quad", "patch_values", "read_chart"]

Floats = NDArray[np.float64]

# Published xyY under ICC D50 of the classic 24-patch chart made after November 2014, as in colour-science's
# table of that name, four decimals: four rows of six from dark skin to bluish green, down to white to black.
PATCHES: Floats = np.array(
    [
        (0.4375, 0.3785, 0.0983), (0.4222, 0.3725, 0.3362), (0.2761, 0.2984, 0.1786),
        (0.3733, 0.4512, 0.1347), (0.3029, 0.2863, 0.2287), (0.2864, 0.3897, 0.4144),
        (0.5281, 0.4053, 0.3126), (0.2324, 0.2112, 0.1091), (0.5044, 0.3271, 0.1890),
        (0.3335, 0.2506, 0.0628), (0.3989, 0.5041, 0.4332), (0.4936, 0.4443, 0.4293),
        (0.2052, 0.1687, 0.0560), (0.3230, 0.5104, 0.2233), (0.5629, 0.3356, 0.1278),
        (0.4678, 0.4760, 0.5993), (0.4213, 0.2669, 0.1895), (0.2091, 0.3027, 0.1806),
        (0.3489, 0.3642, 0.8807), (0.3456, 0.3599, 0.5900), (0.3442, 0.3592, 0.3649),
        (0.3458, 0.3591, 0.1906), (0.3426, 0.3576, 0.0882), (0.3438, 0.3561, 0.0315),
    ]
)  # fmt: skip
# ICC.1:2022 profile connection space white.
_D50 = np.array([0.9642, 1.0, 0.8249])
# The part of a patch that is read, about its middle.
_CORE = 0.28


def patch_values() -> tuple[Floats, Floats]:
    """Return the 24 published values as linear sRGB and as CIELAB, both under D65 by the Bradford transform."""
    x, y, luminance = PATCHES.T
    xyz = np.stack([x / y * luminance, luminance, (1 - x - y) / y * luminance], axis=1)
    linear = xyz_to_linear(adapt_xyz(xyz, _D50))
    return linear, linear_to_lab(linear)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A fitted chart.

    Attributes
    ----------
    corners : four (x, y)
        Full-size pixels, from dark skin round by bluish green, black and white.
    fit : ChartFit
        The camera as fitted.
    error : float
        Mean CIEDE2000 of the patches, each left out of the fit in turn.
    confidence : float
        0 to 1; below 1 where the chart lies in another photo.
    """

    corners: tuple[tuple[float, float], ...]
    fit: ChartFit
    error: float
    confidence: float = 1.0

    def correct(self, linear_rgb: Floats) -> Floats:
        """Return linear sRGB in neutral daylight from the photo's linear sRGB, in the light of the chart's middle."""
        return self.fit.correct(linear_rgb)


def read_chart(photo: Photo, corners: str | Sequence[tuple[float, float]]) -> Chart:
    """Return the chart at four corners of the photo (full-size pixels), or found where "auto" is given.

    Raises
    ------
    PhotoError
        If no chart is found, or the corners do not hold one.
    """
    if isinstance(corners, str):
        from blendplan.photo.chart_finding import find_chart

        corners = find_chart(photo)
    points = np.asarray(corners, dtype=np.float64)
    width, height = photo.full_size
    if points.shape != (4, 2) or not np.isfinite(points).all():
        raise PhotoError("four corners of the colour card are needed, each x,y in pixels; tap them again.")
    if (points < 0).any() or (points[:, 0] > width).any() or (points[:, 1] > height).any():
        raise PhotoError(
            "a corner of the colour card lies outside {name}; allowed is 0,0 to {width},{height}; tap it again.",
            name=photo.name,
            width=width,
            height=height,
        )
    seen = patch_light(photo, points)
    wanted, lab = patch_values()
    fit = fit_chart(seen, wanted, lab, patch_places())
    off = float(np.mean(leave_one_out(seen, wanted, lab)))
    if off > 15:
        raise PhotoError(
            "the corners given in {name} do not hold a 24-patch colour card (its patches are off by {de} CIEDE2000); "
            "tap the corners in the order dark skin, bluish green, black, white.",
            name=photo.name,
            de=round(off, 1),
        )
    return Chart(
        corners=tuple((float(x), float(y)) for x, y in points),
        fit=fit,
        error=round(off, 2),
    )


def patch_light(photo: Photo, corners: Floats) -> Floats:
    """Return the median light of the 24 patches in the photo, linear sRGB, shape (24, 3)."""
    grid = homography(corners * photo.scale)
    height, width = photo.srgb8.shape[:2]
    out = []
    steps = np.linspace(-_CORE, _CORE, 9)
    for row in range(4):
        for column in range(6):
            u, v = np.meshgrid((column + 0.5 + steps) / 6, (row + 0.5 + steps) / 4)
            place = np.stack([u.ravel(), v.ravel(), np.ones(u.size)]).T @ grid.T
            x = np.clip((place[:, 0] / place[:, 2]).astype(int), 0, width - 1)
            y = np.clip((place[:, 1] / place[:, 2]).astype(int), 0, height - 1)
            out.append(np.median(srgb_to_linear(photo.srgb8[y, x] / 255), axis=0))
    return np.array(out)


def homography(corners: Floats) -> Floats:
    """Return the 3x3 that takes the unit square (0,0 1,0 1,1 0,1) to four corners."""
    unit = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], dtype=np.float64)
    rows = []
    for (u, v), (x, y) in zip(unit, corners, strict=True):
        rows.append([u, v, 1, 0, 0, 0, -x * u, -x * v])
        rows.append([0, 0, 0, u, v, 1, -y * u, -y * v])
    try:
        solved = np.linalg.solve(np.array(rows), corners.ravel())
    except np.linalg.LinAlgError:
        raise PhotoError("the four corners of the colour card lie on one line; tap them again, going round.") from None
    return np.append(solved, 1.0).reshape(3, 3)


def inside_quad(x: NDArray[Any], y: NDArray[Any], corners: Floats, grow: float = 1.0) -> NDArray[np.bool_]:
    """Return where points lie inside a quadrilateral grown about its middle."""
    middle = corners.mean(axis=0)
    corners = middle + (corners - middle) * grow
    sides = []
    for k in range(4):
        (x0, y0), (x1, y1) = corners[k], corners[(k + 1) % 4]
        sides.append((x1 - x0) * (y - y0) - (y1 - y0) * (x - x0) >= 0)
    every = np.stack(sides)
    return np.asarray(np.all(every, axis=0) | np.all(~every, axis=0))

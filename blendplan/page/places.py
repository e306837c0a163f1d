"""Places on a photo: turned with it, found free, inside a chart. No Streamlit here."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from blendplan.photo.chart import inside_quad
from blendplan.photo.reading import Box

__all__ = ["free_box", "middle_in_quad", "turned_box", "turned_spot"]

# Cells that the longer side is looked through in, and the greatest half side of a new box as a share of the shorter.
_CELLS = 60
_HALF = 0.14


def turned_spot(spot: Sequence[int], height: int) -> tuple[int, int]:
    """Return where a pixel lies once a photo of a height in pixels is turned a quarter to the right."""
    return height - 1 - spot[1], spot[0]


def turned_box(box: Sequence[int], height: int) -> Box:
    """Return where a box (left, top, right, bottom) lies once its photo is turned a quarter to the right."""
    left, top, right, bottom = box
    return height - bottom, left, height - top, right


def middle_in_quad(box: Sequence[float], corners: Sequence[Sequence[float]]) -> bool:
    """Return whether the middle of a box lies inside four corners."""
    left, top, right, bottom = box
    x, y = np.array([(left + right) / 2]), np.array([(top + bottom) / 2])
    return bool(inside_quad(x, y, np.asarray(corners, dtype=np.float64))[0])


def free_box(full: tuple[int, int], boxes: Sequence[Sequence[float]]) -> Box:
    """Return a box in the middle of the largest place that the fewest boxes cover.

    Parameters
    ----------
    full : (int, int)
        Width and height of the photo, the boxes' pixels.
    boxes : sequence of (left, top, right, bottom)
    """
    from scipy.ndimage import distance_transform_cdt

    width, height = full
    cell = max(full) / _CELLS
    rows, columns = (max(3, round(side / cell)) for side in (height, width))
    y, x = (np.arange(rows) + 0.5) * height / rows, (np.arange(columns) + 0.5) * width / columns
    covered = np.zeros((rows, columns), dtype=int)
    for left, top, right, bottom in boxes:
        covered += ((y > top) & (y < bottom))[:, None] & ((x > left) & (x < right))[None, :]
    free = np.pad(covered == covered.min(), 1)
    away = distance_transform_cdt(free, "chessboard")[1:-1, 1:-1]
    # Of places with as much room, the one nearest to the middle.
    places = np.argwhere(away == away.max())
    middle = (np.array(away.shape) - 1) / 2
    row, column = places[int(np.abs(places - middle).max(axis=1).argmin())]
    half = min(max(0.7 * float(away.max()) * cell, 0.03 * min(full)), _HALF * min(full))
    return (
        max(0, round(x[column] - half)),
        max(0, round(y[row] - half)),
        min(width, max(1, round(x[column] + half))),
        min(height, max(1, round(y[row] + half))),
    )

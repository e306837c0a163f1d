"""Finding a 24-patch chart: flat squares of one size that lie on a lattice of six by four."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import delta_e_2000, linear_to_lab
from blendplan.errors import PhotoError
from blendplan.photo.loading import Photo

__all__ = ["find_chart"]

Floats = NDArray[np.float64]

# At least so many of the 24 patches must be seen as flat squares; assumed.
_LEAST_SEEN = 13
# A turn of the chart whose balanced patches are further off than this on average is no chart; assumed.
_MOST_OFF = 16.0


def find_chart(photo: Photo) -> list[tuple[float, float]]:
    """Return the four corners of a chart (full-size pixels), from dark skin round by bluish green, black, white.

    Raises
    ------
    PhotoError
        If none is found; the corners can always be given by hand.
    """
    squares, side = _squares(photo)
    lattice = _lattice(squares, side) if len(squares) >= _LEAST_SEEN else None
    if lattice is None:
        raise PhotoError("no 24-patch colour card was found in {name}; give its four corners.", name=photo.name)
    corners, off = _orient(photo, lattice)
    if off > _MOST_OFF:
        raise PhotoError("no 24-patch colour card was found in {name}; give its four corners.", name=photo.name)
    return [(float(x / photo.scale), float(y / photo.scale)) for x, y in corners]


def _squares(photo: Photo) -> tuple[Floats, float]:
    """Return the middles of flat squares of the commonest size, working pixels, and their side."""
    from scipy import ndimage

    coded = photo.srgb8.astype(np.float32) / 255
    spread = np.max([ndimage.gaussian_gradient_magnitude(coded[..., i], 1.0) for i in range(3)], axis=0)
    labels, count = ndimage.label(spread < 0.012)
    total = labels.size
    found = []
    for index, where in enumerate(ndimage.find_objects(labels), start=1):
        height, width = (s.stop - s.start for s in where)
        if not (0.5 < height / width < 2 and 25 < height * width < total / 20):
            continue
        blob = labels[where] == index
        area = float(blob.sum())
        if area > 0.7 * height * width:
            y, x = ndimage.center_of_mass(blob)
            found.append((x + where[1].start, y + where[0].start, area))
    if len(found) < _LEAST_SEEN or count == 0:
        return np.zeros((0, 2)), 0.0
    table = np.array(found)
    # The size that most of them share, within a factor of two each way.
    logs = np.log(table[:, 2])
    votes = [int((np.abs(logs - v) < 0.6).sum()) for v in logs]
    keep = np.abs(logs - logs[int(np.argmax(votes))]) < 0.6
    return table[keep, :2], float(np.sqrt(np.median(table[keep, 2])))


def _lattice(middles: Floats, side: float) -> Floats | None:
    """Return the four outer corners of a six-by-four lattice through the middles, or None."""
    offsets = (middles[None] - middles[:, None]).reshape(-1, 2)
    length = np.hypot(offsets[:, 0], offsets[:, 1])
    near = offsets[(length > 0.9 * side) & (length < 2.2 * side)]
    if len(near) < 12:
        return None
    # The commonest step to a neighbour and the commonest step across it.
    votes = [(np.hypot(*(near - v).T) < 0.2 * side).sum() for v in near]
    first = near[np.hypot(*(near - near[int(np.argmax(votes))]).T) < 0.2 * side].mean(axis=0)
    across = np.abs(near @ first) < 0.35 * float(first @ first)
    if across.sum() < 4:
        return None
    rest = near[across]
    votes = [(np.hypot(*(rest - v).T) < 0.2 * side).sum() for v in rest]
    second = rest[np.hypot(*(rest - rest[int(np.argmax(votes))]).T) < 0.2 * side].mean(axis=0)
    basis = np.stack([first, second], axis=1)
    best: tuple[int, NDArray[Any], NDArray[Any]] | None = None
    for start in middles:
        place = (middles - start) @ np.linalg.inv(basis).T
        whole = np.rint(place)
        fits = np.abs(place - whole).max(axis=1) < 0.3
        for long_side, short_side in ((6, 4), (4, 6)):
            for u0 in range(-long_side + 1, 1):
                for v0 in range(-short_side + 1, 1):
                    low = np.array([u0, v0])
                    inside = fits & (whole >= low).all(axis=1)
                    inside &= (whole < low + np.array([long_side, short_side])).all(axis=1)
                    if best is None or inside.sum() > best[0]:
                        cells = np.stack([whole[inside] - low, middles[inside]])
                        best = (int(inside.sum()), cells, np.array([long_side, short_side]))
    if best is None or best[0] < _LEAST_SEEN:
        return None
    _, (cells, points), size = best
    design = np.column_stack([cells + 0.5, np.ones(len(cells))])
    affine = np.linalg.lstsq(design, points, rcond=None)[0]
    unit = np.array([(0, 0), (size[0], 0), (size[0], size[1]), (0, size[1])], dtype=np.float64)
    corners: Floats = np.column_stack([unit, np.ones(4)]) @ affine
    # The long side first, so that a turn of half a circle and a mirror are all that is left open.
    return corners if size[0] == 6 else np.roll(corners, -1, axis=0)


def _orient(photo: Photo, corners: Floats) -> tuple[Floats, float]:
    """Return the corners in the order that fits the published colours, and how far off it is."""
    from blendplan.photo.chart import patch_light, patch_values

    wanted, lab = patch_values()
    best: tuple[float, Floats] | None = None
    for turned in (corners, np.roll(corners, 2, axis=0), corners[[1, 0, 3, 2]], corners[[3, 2, 1, 0]]):
        seen = patch_light(photo, turned / photo.scale)
        balanced = seen * np.median(wanted.clip(1e-3) / seen.clip(1e-3), axis=0)
        off = float(delta_e_2000(linear_to_lab(np.clip(balanced, 0, None)), lab).mean())
        if best is None or off < best[0]:
            best = (off, turned)
    if best is None:
        raise PhotoError("no 24-patch colour card was found in {name}; give its four corners.", name=photo.name)
    return best[1], best[0]

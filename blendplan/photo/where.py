"""Where the yarn is that was touched: a patch that grows from the touch until its colours stop being the yarn's.

The photo is averaged in linear light to cells about as wide as a strand, some 300 along its long side. A yarn is
one colour whose chromaticity runs along with its lightness (a glint is paler, a hollow deeper), whose light changes
slowly from place to place, and that has the texture of strands; paper, skin, a label and a cast shadow are smooth.
Superpixels, graph cuts and random walks were measured on 123 real photographs and were no better than this growth.
At the end: the pixels of a region of cells, its box and outline, and whether a touch belongs to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import linear_to_oklab, srgb_to_linear
from blendplan.errors import PhotoError
from blendplan.photo.light import Light
from blendplan.photo.loading import Photo
from blendplan.units import number

Floats = NDArray[np.float32]
Mask = NDArray[np.bool_]

# Cells along the long side, and pixels along it where the finest texture is looked for. A strand of wool in a photo
# of a skein is 2 to 6 such cells wide; half and double the number of cells measure the same on real photographs.
_CELLS, _FINE = 300, 900
# Oklab L below which chromaticity is noise of 8 bits and JPEG: keeps a/L and b/L tame. Measured: .01 to .03 alike.
_DARK = 0.02
# Codes from here are full of light; where more than this share of a touch is, there is nothing to read (assumed).
_WHITE_OUT, _TOO_BRIGHT = 250, 0.5
# Texture is pooled over so many cells, and never told finer than the noise of JPEG.
_SPREAD, _SMOOTHEST = 1.2, 0.003
# All below: chosen on one half of 123 real photographs and told on the other.
# A patch reaches so far from its touch and begins as a disc of so much, shares of the long side, of cells that differ
# from its middle by less in chromaticity and logarithm of lightness; refitted so often. The cap and the refits matter.
_REACH = 0.22
_SEED, _SEED_HUE, _SEED_LIGHT = 0.012, 0.04, 0.35
_REFITS = 3
# Chromaticity: deviations that are still the yarn's, bounds of one deviation, and noise of 8 bits where L is 1.
_HUE, _TIGHT, _NOISE = 2.25, (0.01, 0.03), 0.004
# Steepest run of chromaticity along lightness, and the variance of lightness under which none is told.
_STEEPEST, _RIDGE = 0.15, 0.01
# Lightness: deviations, bounds of one, the furthest from the patch as a whole, and cells over which light is the same.
_LIGHT, _UNEVEN, _FURTHEST, _SLOWLY = 3.5, (0.08, 0.3), 0.6, 6.0
# Smoother than the yarn by the first is free, by both it is out; holes of so many cells are hollows.
_TEXTURE_FREE, _TEXTURE = 0.5, 0.5
_HOLE = 20
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
_DECODE = srgb_to_linear(np.arange(256) / 255).astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """A photo in cells; made once by `view_of` and kept by the caller."""

    name: str
    full_size: tuple[int, int]  # width and height of the upright photo, pixels
    block: int  # working pixels along the side of a cell
    scale: float  # cells per pixel of the full photo
    linear: Floats  # (h, w, 3), mean light of each cell, linear sRGB
    colour: Floats  # (h, w, 3), Oklab a/L, b/L and the natural logarithm of L
    # (h, w), natural logarithm of the relative contrast about each cell, from a third of a cell to three cells wide.
    texture: Floats
    full: Floats  # (h, w), share of each cell's pixels that are white with overexposure
    counts: Mask  # (h, w), false where the photo is see-through


def view_of(photo: Photo) -> View:
    """Return the photo in cells."""
    from scipy.ndimage import gaussian_filter, uniform_filter

    height, width = photo.srgb8.shape[:2]
    step = max(1, round(max(height, width) / _FINE))
    side = max(1, round(max(height, width) / step / _CELLS))
    if step * side > min(height, width):
        step, side = 1, 1
    block = step * side
    rows, columns = height // block, width // block
    part = photo.srgb8[: rows * block, : columns * block]
    fine = sum(_DECODE[part[i::step, j::step]] for i in range(step) for j in range(step)) / np.float32(step**2)
    light = fine @ _LUMINANCE
    shape = (rows, side, columns, side)
    linear = fine.reshape(*shape, 3).mean(axis=(1, 3))
    lab = linear_to_oklab(linear)
    lightness = np.maximum(lab[..., 0], _DARK)
    colour = np.stack([lab[..., 1] / lightness, lab[..., 2] / lightness, np.log(lightness)], axis=-1)
    # Contrast within a cell, of light, is brought to that between cells, of Oklab L: L goes as the cube root of light.
    within = (light - uniform_filter(light, 3)).reshape(shape)
    mean = light.reshape(shape).mean(axis=(1, 3))
    contrast = (within**2).mean(axis=(1, 3)) / (3 * mean + _DARK / 4) ** 2
    contrast += (colour[..., 2] - gaussian_filter(colour[..., 2], 1.5)) ** 2
    energy = gaussian_filter(contrast, _SPREAD)
    full = (part.min(axis=2) >= _WHITE_OUT).reshape(rows, block, columns, block).mean(axis=(1, 3))
    counts = photo.counts[: rows * block, : columns * block].reshape(rows, block, columns, block).all(axis=(1, 3))
    return View(
        name=photo.name,
        full_size=photo.full_size,
        block=block,
        scale=photo.scale / block,
        linear=linear,
        colour=colour.astype(np.float32),
        texture=np.log(np.sqrt(energy) + _SMOOTHEST).astype(np.float32),
        full=full.astype(np.float32),
        counts=np.asarray(counts),
    )


def grow(view: View, touches: Sequence[tuple[float, float]], taken: Mask | None = None) -> Mask:
    """Return the yarn under one touch, or what several touches on one yarn show of it together.

    `touches`: pixels of the upright photo at full size; `taken`: shape (h, w), cells of other yarns: they stay out.

    The cell of each touch is among them unless it is taken.
    """
    held = b"" if taken is None or not taken.any() else np.packbits(taken).tobytes()
    return np.logical_or.reduce([_grown(view, cell_of(view, touch), held) for touch in touches])


@lru_cache(maxsize=2)
def _grown(view: View, cell: tuple[int, int], taken: bytes) -> Mask:
    """Return the yarn under one touch; what a touch means and what it reads ask for the same."""
    row, column = cell
    out = np.zeros(view.counts.shape, dtype=bool)
    free = view.counts
    if taken:
        free = free & ~np.unpackbits(np.frombuffer(taken, np.uint8), count=out.size).reshape(out.shape).astype(bool)
    reach = _REACH * max(out.shape)
    top, left = max(0, round(row - reach)), max(0, round(column - reach))
    window = np.s_[top : round(row + reach) + 1, left : round(column + reach) + 1]
    near = disc(out[window].shape, (row - top, column - left), reach)
    out[window] = _spread(view, window, (row - top, column - left), free[window] & near)
    return out


def _spread(view: View, window: tuple[slice, slice], cell: tuple[int, int], open_to: Mask) -> Mask:
    """Return what joins one cell of a window of the view and is of its yarn.

    `window`: (slice, slice); `cell`: (int, int), row and column in the window; `open_to`: of the window's shape: where
    the yarn may be.
    """
    colour, texture = view.colour[window], view.texture[window]
    seed = _seed(colour, cell, _SEED * max(view.counts.shape)) & open_to
    members = seed
    for turn in range(_REFITS + 1):
        if not members.any():
            return seed
        members = _joined(alike(colour, texture, members, first=turn == 0) & open_to, seed)
    if not members.any():
        return seed
    return _without_specks(members) & open_to


def cell_of(view: View, touch: tuple[float, float]) -> tuple[int, int]:
    """Return row and column of the cell under a touch."""
    x, y = (number(v, "touch", -1e6, 1e6) for v in touch)
    width, height = view.full_size
    about = {"x": round(x), "y": round(y), "name": view.name}
    if not (0 <= x < width and 0 <= y < height):
        raise PhotoError(
            "the touch {x},{y} does not lie in {name}; allowed is 0,0 to {width},{height}; touch the yarn itself.",
            **about,
            width=width - 1,
            height=height - 1,
        )
    rows, columns = view.counts.shape
    row, column = min(int(y * view.scale), rows - 1), min(int(x * view.scale), columns - 1)
    if not view.counts[row, column]:
        raise PhotoError("{name} is see-through at {x},{y}; touch the yarn itself.", **about)
    near = np.s_[max(0, row - 1) : row + 2, max(0, column - 1) : column + 2]
    if float(view.full[near].mean()) > _TOO_BRIGHT:
        raise PhotoError("the touch {x},{y} of {name} is too bright to read: photograph it darker.", **about)
    return row, column


def disc(shape: tuple[int, ...], cell: tuple[int, int], radius: float) -> Mask:
    """Return the cells within a radius of one cell."""
    rows, columns = np.ogrid[: shape[0], : shape[1]]
    inside: Mask = (rows - cell[0]) ** 2 + (columns - cell[1]) ** 2 <= radius**2
    return inside


def _seed(colour: Floats, cell: tuple[int, int], radius: float) -> Mask:
    """Return the cells about a touch that are like its middle."""
    shape = colour.shape[:2]
    middle = disc(shape, cell, 1.5)
    apart = np.abs(colour - np.median(colour[middle], axis=0))
    alike = (np.hypot(apart[..., 0], apart[..., 1]) < _SEED_HUE) & (apart[..., 2] < _SEED_LIGHT)
    seed: Mask = alike & disc(shape, cell, max(2.0, radius))
    return seed if seed.sum() >= 6 else middle


def alike(colour: Floats, texture: Floats, members: Mask, *, first: bool) -> Mask:
    """Return the cells whose colour, light and texture could be those of the members."""
    own = colour[members]
    middle = np.median(own, axis=0)
    lighter = own[:, 2] - middle[2]
    # Chromaticity along lightness: a ridge keeps a patch of one lightness from telling a slope.
    slope = (lighter[:, None] * (own[:, :2] - middle[:2])).mean(axis=0) / ((lighter**2).mean() + _RIDGE)
    slope = np.clip(slope, -_STEEPEST, _STEEPEST)
    axes, width = _ellipse(own[:, :2] - middle[:2] - lighter[:, None] * slope)
    off = colour - middle
    hue = ((off[..., :2] - off[..., 2:] * slope) @ (axes / width)) ** 2
    noise = _NOISE * np.exp(-colour[..., 2]) / np.sqrt((width**2).mean())
    doubt = hue.sum(axis=2) / (1 + noise**2) / _HUE**2
    light = off[..., 2] if first else off[..., 2] - _level(off[..., 2], members)
    usual = np.clip(1.4826 * np.median(np.abs(light[members])), *_UNEVEN)
    doubt += (light / (_LIGHT * usual)) ** 2 + 0.5 * (off[..., 2] / _FURTHEST) ** 2
    smoother = np.median(texture[members]) - texture - _TEXTURE_FREE
    doubt += (np.maximum(smoother, 0) / _TEXTURE) ** 2
    return np.asarray(doubt < 1)


def _ellipse(rest: Floats) -> tuple[Floats, Floats]:
    """Return axes and standard deviations of chromaticity, bounded, from the nearest three quarters."""
    far = (rest**2).sum(axis=1)
    near = rest[far <= np.quantile(far, 0.75)]
    # In two dimensions the nearest three quarters have .46 of the variance of all.
    variance, axes = np.linalg.eigh(near.T @ near / len(near) / 0.46)
    return axes, np.sqrt(np.clip(variance, _TIGHT[0] ** 2, _TIGHT[1] ** 2))


def _level(light: Floats, members: Mask) -> Floats:
    """Return how light the members are about each cell: a yarn's light changes slowly over it."""
    from scipy.ndimage import gaussian_filter

    weight = gaussian_filter(members.astype(np.float32), _SLOWLY)
    level: Floats = gaussian_filter(np.where(members, light, np.float32(0)), _SLOWLY) / np.maximum(weight, 1e-3)
    return level


def _joined(like: Mask, seed: Mask) -> Mask:
    """Return the piece that holds most of the seed; gaps of a strand's width do not part it."""
    from scipy.ndimage import binary_closing, label

    labels, _ = label(like | binary_closing(like))
    held = np.bincount(labels[seed])
    held[0] = 0
    return np.asarray(labels == np.argmax(held)) if held.any() else np.zeros_like(seed)


def _without_specks(members: Mask) -> Mask:
    """Return the patch with its small holes filled: hollows between strands."""
    from scipy.ndimage import label

    holes, _ = label(~members)
    size = np.bincount(holes.ravel())
    rim = np.concatenate([holes[0], holes[-1], holes[:, 0], holes[:, -1]])
    size[np.unique(rim)] = _HOLE + 1
    size[0] = _HOLE + 1
    return members | (size <= _HOLE)[holes]


Box = tuple[int, int, int, int]
# So many pixels say all that a yarn has to say; more only cost time.
_MOST_PIXELS = 12_000
# A code at or above this in any channel is overexposed.
FULL = 252


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pixels:
    """The pixels of one yarn."""

    linear: NDArray[np.float64]  # (n, 3), in neutral daylight where a light was given, linear sRGB
    full: NDArray[np.bool_]  # (n,), overexposed in a channel


def pixels_of(
    photo: Photo, view: View, region: NDArray[np.bool_], light: Light | None = None, box: Box | None = None
) -> Pixels:
    """Return the pixels of the cells of a region, evenly thinned.

    `view`: of the same photo; `region`: cells of the view; `light`: brings them to neutral daylight; without it they
    are as the photo shows them; `box`: pixels of the upright photo, what lies beyond is left out as long as a cell
    is wider.
    """
    side = view.block
    rows, columns = np.nonzero(region)
    within = np.arange(side * side)
    y = (rows[:, None] * side + within // side).ravel()
    x = (columns[:, None] * side + within % side).ravel()
    seen = photo.counts[y, x]
    if box is not None:
        left, top, right, bottom = (v * photo.scale for v in box)
        inside = seen & (x >= left - 0.5) & (x < right - 0.5) & (y >= top - 0.5) & (y < bottom - 0.5)
        seen = inside if inside.any() else seen
    y, x = y[seen], x[seen]
    # A fixed shuffle: an even step could fall into a rhythm with the strands.
    pick = np.sort(np.random.default_rng(len(y)).permutation(len(y))[:_MOST_PIXELS])
    y, x = y[pick], x[pick]
    codes = photo.srgb8[y, x]
    height, width = photo.srgb8.shape[:2]
    linear = srgb_to_linear(codes / 255)
    if light is not None:
        linear = light.correct(linear, 2 * x / max(width - 1, 1) - 1, 2 * y / max(height - 1, 1) - 1)
    return Pixels(linear=np.clip(linear, 0, None), full=np.asarray((codes >= FULL).any(axis=1)))


Polygon = tuple[tuple[int, int], ...]

# Rings round fewer cells are strands that stand out and hollows: nothing to look at. Assumed.
_SPECK = 24
# An outline keeps so close to its cells, in cells. Assumed: half a strand.
_CLOSE = 0.7
# Patches so many cells apart join: a strand's shadow lies between. Assumed.
_GAP = 2
# A patch is more of a yarn if so much of it could be that yarn by colour, light and texture. Assumed: most.
_SAME = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Touched:
    """What a touch means beside the yarns that are known."""

    yarn: int | None = None  # position of the yarn that it belongs to; None where it shows another one
    inside: bool = False  # it lies inside that yarn's outline; otherwise it shows more of that yarn


def box_of(view: View, region: Mask) -> Box:
    """Return the box round a region of at least one cell, pixels of the upright photo."""
    rows, columns = np.nonzero(region)
    width, height = view.full_size
    return (
        max(0, int(columns.min() / view.scale)),
        max(0, int(rows.min() / view.scale)),
        min(width, int(np.ceil((columns.max() + 1) / view.scale))),
        min(height, int(np.ceil((rows.max() + 1) / view.scale))),
    )


def outline(view: View, region: Mask, *, rim: int = 0) -> tuple[Polygon, ...]:
    """Return closed polygons round the pieces of a region and round its large holes, the largest first.

    `rim`: so many cells lie between the region and the yarn's edge.

    Pixels of the upright photo. A place is inside where it lies in an odd number of them.
    """
    from scipy.ndimage import binary_dilation
    from skimage.measure import find_contours

    width, height = view.full_size
    if rim:
        region = binary_dilation(region, iterations=rim)
    rings: Any = find_contours
    out: list[tuple[float, Polygon]] = []
    for ring in map(np.asarray, rings(np.pad(region, 1).astype(np.float32), 0.5)):
        area = abs(float(np.sum(ring[:-1, 0] * ring[1:, 1] - ring[1:, 0] * ring[:-1, 1]))) / 2
        corners = fewer_corners(ring, _CLOSE)[:-1] if area >= min(_SPECK, region.sum() / 2) else ring[:0]
        if len(corners) > 2:
            # Half a cell to the middle of the padded cell's place, one for the padding.
            places = np.clip(np.rint((corners[:, ::-1] - 0.5) / view.scale), 0, (width, height)).astype(int)
            out.append((area, tuple((int(x), int(y)) for x, y in places)))
    return tuple(polygon for _, polygon in sorted(out, key=lambda part: -part[0]))


def fewer_corners(line: NDArray[np.float64], close: float) -> NDArray[np.float64]:
    """Return the points of a line, shape (n, 2), that are enough for every other to lie so close to it.

    Douglas and Peucker, Cartographica 10 (1973) 112-122. scikit-image has it as `approximate_polygon`, whose import
    takes longer than to read a photo.
    """
    kept = np.zeros(len(line), dtype=bool)
    kept[[0, -1]] = True
    spans = [(0, len(line) - 1)]
    while spans:
        one, two = spans.pop()
        if two - one < 2:
            continue
        way, off = line[two] - line[one], line[one + 1 : two] - line[one]
        along = np.clip(off @ way / max(float(way @ way), 1e-12), 0, 1)
        far = np.hypot(*(off - along[:, None] * way).T)
        at = one + 1 + int(far.argmax())
        if far.max() > close:
            kept[at] = True
            spans += [(one, at), (at, two)]
    return line[kept]


def touched(view: View, regions: Sequence[Mask], touch: tuple[float, float], taken: Mask | None = None) -> Touched:
    """Return what a touch means: a yarn that is known, more of one, or another.

    `regions`: shape (h, w), cells of the yarns known so far; `touch`: (x, y), pixels of the upright photo; `taken`:
    shape (h, w), cells that a yarn shown by it does not take (see `grow`).
    """
    from scipy.ndimage import binary_closing, binary_dilation, binary_fill_holes

    cell = cell_of(view, touch)
    held = [binary_fill_holes(binary_closing(region, iterations=_GAP)) | region for region in regions]
    inside = [(int(region.sum()), at) for at, region in enumerate(held) if region[cell]]
    if inside:
        return Touched(yarn=min(inside)[1], inside=True)
    patch = grow(view, [touch], taken)
    near = binary_dilation(patch, iterations=_GAP)
    same = [
        (float(alike(view.colour, view.texture, region, first=True)[patch].mean()), -at)
        for at, region in enumerate(regions)
        if (region & near).any()
    ]
    if same and max(same)[0] >= _SAME:
        return Touched(yarn=-max(same)[1])
    return Touched()

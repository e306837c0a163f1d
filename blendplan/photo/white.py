"""White paper in a photo: taken where it surely is, asked about where it may be, believed where the maker points.

White decides more of a shade than all else, and a wall, a board or a plate looks much like paper. Paper is flat and
even, near to grey beside the photo's light, and nothing beside it sends back more; how light the camera made it says
nothing. It is surely paper where all that holds strictly and it lies under everything, out to the photo's borders,
or shows the corner of a sheet. What holds it loosely is shown and asked about, and takes no part until it is answered.

The work is done on a copy of about 480 pixels, in the logarithm of light: there a shadow or a falling-off of the lamp
is an offset and a field of light is smooth. First come flat places and how each looks, then what a white shows of the
light and how that changes over the photo, then which place is white.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import linear_to_xyz, srgb_to_linear
from blendplan.errors import PhotoError
from blendplan.photo.light import PAPER_LEVEL
from blendplan.photo.loading import Photo
from blendplan.photo.where import fewer_corners
from blendplan.wording import Notice, note

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

SMALL_SIDE = 480
# Black of an 8-bit photo is never quite black; keeps the logarithm tame. Assumed.
_FLOOR = 2e-3
# A channel in which the ground is all but black holds nothing but the noise of coding. Set on tuning scenes.
GROUND_FLOOR = 1e-2


@dataclass(frozen=True, kw_only=True, eq=False)
class Small:
    """A photo averaged down in light: linear sRGB, where it counts, and small pixels per full pixel."""

    linear: Floats
    counts: Mask
    clipped: Mask
    scale: float

    @cached_property
    def warmth(self) -> float:
        """How warm the photo as a whole is: natural log of its most red over its most blue; 0 in balanced light."""
        red, _, blue = np.quantile(self.linear[self.counts], 0.99, axis=0) + _FLOOR if self.counts.any() else (1, 1, 1)
        return float(np.log(red / blue))

    @cached_property
    def dim(self) -> float:
        """How dark the photo as a whole is: natural log of .75 over its lightest luminance, 0 to 2."""
        light = (self.linear[self.counts] if self.counts.any() else np.ones((1, 3))) @ [0.2126, 0.7152, 0.0722]
        return float(np.clip(np.log(0.75 / max(float(np.quantile(light, 0.99)), 1e-2)), 0, 2))


_DECODE = srgb_to_linear(np.arange(256) / 255)


def shrink(photo: Photo, side: int = SMALL_SIDE) -> Small:
    """Return the photo averaged in linear light by whole blocks to at most about `side` pixels."""
    height, width = photo.srgb8.shape[:2]
    block = max(1, -(-max(height, width) // side))
    rows, columns = max(1, height // block), max(1, width // block)
    if block > min(height, width):
        block, rows, columns = 1, height, width
    part = photo.srgb8[: rows * block, : columns * block]
    counts = photo.counts[: rows * block, : columns * block]
    decode = _DECODE.astype(np.float32)
    blocks = part.reshape(rows, block, columns, block, 3)
    # One row of each block after the other: a whole float copy of the photo is never made.
    total = np.zeros((rows, columns, 3))
    clipped = np.zeros((rows, columns), dtype=bool)
    for i in range(block):
        strip = blocks[:, i]
        total += decode[strip].sum(axis=2)
        clipped |= (strip >= 253).any(axis=(2, 3))
    share = counts.reshape(rows, block, columns, block).mean(axis=(1, 3))
    return Small(linear=total / block**2, counts=share > 0.99, clipped=clipped, scale=photo.scale / block)


def terms(shape: tuple[int, int], order: int = 2) -> Floats:
    """Return the polynomial terms of place, shape (h, w, n): 1, x, y, xx, xy, yy with x, y from -1 to 1."""
    y, x = np.meshgrid(np.linspace(-1, 1, shape[0]), np.linspace(-1, 1, shape[1]), indexing="ij")
    parts = [np.ones(shape), x, y, x * x, x * y, y * y]
    return np.stack(parts[: {0: 1, 1: 3, 2: 6}[order]], axis=-1)


def fit_field(values: Floats, mask: Mask, order: int = 2, rounds: int = 6) -> tuple[Floats, Floats, float]:
    """Return a smooth field through the pixels of a mask, robustly, its coefficients and how far they spread about it.

    `values`: shape (h, w, n), of which the field is a polynomial of order 0, 1 or 2 in place; coefficients (terms, n).
    """
    basis = terms(values.shape[:2], order)
    flat = np.flatnonzero(mask)
    flat = flat[:: max(1, len(flat) // 4_000)]
    known, wanted = basis.reshape(-1, basis.shape[-1])[flat], values.reshape(-1, values.shape[-1])[flat]
    keep = np.ones(len(flat), dtype=bool)
    coefficients: Floats = np.zeros((known.shape[1], wanted.shape[1]))
    sigma = 0.0
    for _ in range(rounds):
        own = known[keep]
        coefficients = np.asarray(np.linalg.pinv(own.T @ own) @ (own.T @ wanted[keep]), dtype=np.float64)
        off = np.abs(wanted - known @ coefficients).max(axis=1)
        sigma = float(1.4826 * np.median(off[keep])) + 1e-3
        inside = off < 3.0 * sigma
        if inside.sum() < max(20, 0.2 * len(flat)):
            break
        keep = inside
    return np.asarray(basis @ coefficients), coefficients, sigma


def log_light(linear: Floats, floor: float = _FLOOR) -> Floats:
    """Return the natural logarithm of light with a small floor."""
    return np.log(np.maximum(linear, 0) + floor)


def _ground_distance(small: Small) -> Floats:
    """Return how far each pixel is from the ground that the border shows, shape (h, w), in units of natural log light.

    Darkening counts .2 to .7 (it may be shadow), hue 2.5, texture 2.5.
    """
    from scipy.ndimage import gaussian_filter, uniform_filter

    logs = log_light(small.linear, GROUND_FLOOR)
    height, width = logs.shape[:2]
    rim = max(2, round(0.04 * min(height, width)))
    border = np.zeros((height, width), dtype=bool)
    border[:rim], border[-rim:], border[:, :rim], border[:, -rim:] = True, True, True, True
    border &= small.counts
    if border.sum() < 50:
        border = small.counts
    field, _, _ = fit_field(logs, border, 1)
    for _ in range(2):
        off = np.abs(logs - field)
        near = (off.max(axis=2) < max(0.15, 3 * float(np.median(off[border])))) & small.counts
        field, _, _ = fit_field(logs, near if near.sum() > 200 else border, 2)
    rest = logs - field
    smooth = gaussian_filter(rest, (1.0, 1.0, 0))
    light = smooth.mean(axis=2)
    hue = np.linalg.norm(smooth - light[..., None], axis=2)
    fine = rest.mean(axis=2)
    fine = fine - gaussian_filter(fine, 3.0)
    texture = np.sqrt(np.maximum(uniform_filter(fine**2, 7), 0))
    usual = float(np.median(texture[border]))
    excess = np.maximum(texture - 1.5 * usual, 0)
    # A shadow darkens without hue and without texture: such pixels count little, yarn shows one or the other.
    evidence = np.clip(hue / 0.12 + gaussian_filter(excess, 2.0) / 0.06, 0, 1)
    darker = np.where(light < 0, (0.2 + 0.5 * evidence) * light, light)
    distance = np.hypot(darker, 2.5 * hue) + 2.5 * np.minimum(excess, 0.15)
    return np.where(small.counts, distance, 0.0)


# Contrast of light over five pixels above which a place is no longer flat; a step of hue a pixel that parts two
# places. Noise of dark exposures stays below both, strands, weave and the rim of a sheet lie above.
_ROUGH, _HUE_STEP = 0.05, 0.035
# A place of less than this share of the photo is not looked at, and no more than so many are.
_LEAST, _MOST = 0.004, 12
# Pieces parted by yarn are one place where their hue and their light (natural logs) are so near: the two lightest
# greys of a colour card are .42 apart.
_SAME_HUE, _SAME_LIGHT = 0.07, 0.25
# A full channel tells nothing; where all three are full there is nothing to see.
_FULL = 0.97
# Light below which a place says nothing: code 25 of 255.
_DARK = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """What flat places are looked for in, worked out once a photo."""

    small: Small
    logs: Floats  # (h, w, 3), natural log of linear sRGB
    light: Floats  # (h, w), natural log of luminance
    # (h, w, 2), natural log of red over green and of blue over green; noise of a channel that is all but black is kept
    # small.
    hue: Floats
    rough: Floats  # (h, w), contrast of light over a few pixels


def seen_in(small: Small) -> Seen:
    """Return what flat places of a photo are looked for in."""
    from scipy.ndimage import gaussian_filter, uniform_filter

    logs, hues = log_light(small.linear), log_light(small.linear, GROUND_FLOOR)
    light = log_light(linear_to_xyz(small.linear)[..., 1])
    fine = light - gaussian_filter(light, 3.0)
    return Seen(
        small=small,
        logs=logs,
        light=light,
        hue=np.stack([hues[..., 0] - hues[..., 1], hues[..., 2] - hues[..., 1]], axis=-1),
        rough=np.sqrt(np.maximum(uniform_filter(fine**2, 5), 0)),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Flat:
    """A flat place, and how it looks; each figure is worked out when it is first asked for."""

    seen: Seen
    mask: Mask  # (h, w)

    @cached_property
    def core(self) -> Mask:
        """The place without its rim."""
        from scipy.ndimage import binary_erosion

        inner = np.asarray(binary_erosion(self.mask, iterations=2))
        return inner if inner.sum() > 0.3 * self.mask.sum() else self.mask

    @cached_property
    def area(self) -> float:
        """Share of the photo."""
        return float(self.mask.mean())

    @cached_property
    def grain(self) -> float:
        """Unevenness of light from pixel to pixel, natural log: noise, and the weave of cloth."""
        light = self.seen.light
        return _spread(light - _within(light, self.core, 3.0), self.core)

    @cached_property
    def cloud(self) -> float:
        """Unevenness of light over some ten pixels, natural log: grain of wood, plaster, folds."""
        return _spread(_clouds(self.seen.light, self.core), self.core[::2, ::2])

    @cached_property
    def hue_cloud(self) -> float:
        """Unevenness of hue over some ten pixels, natural log."""
        red, blue = (_clouds(self.seen.hue[..., i], self.core) for i in (0, 1))
        return _spread(np.hypot(red, blue), self.core[::2, ::2])

    @cached_property
    def hue_range(self) -> float:
        """How far its hue goes from end to end, natural log: one lamp, or two of different colour."""
        hue = self.seen.hue[self.core]
        return float(np.linalg.norm(np.quantile(hue, 0.95, axis=0) - np.quantile(hue, 0.05, axis=0)))

    @cached_property
    def rgb(self) -> Floats:
        """Natural log of its linear sRGB: the median of each channel."""
        return np.asarray(np.median(self.seen.logs[self.core], axis=0))

    @property
    def warm(self) -> float:
        """Natural log of red over blue."""
        return float(self.rgb[0] - self.rgb[2])

    @property
    def green(self) -> float:
        """Natural log of green over the mean of red and blue."""
        return float(self.rgb[1] - (self.rgb[0] + self.rgb[2]) / 2)

    @cached_property
    def beyond(self) -> Floats:
        """How much more of red, green, blue and luminance the brightest of the rest holds, natural log."""
        from scipy.ndimage import binary_dilation, uniform_filter

        linear = self.seen.small.linear
        held = np.concatenate([linear, linear_to_xyz(linear)[..., 1:2]], axis=-1)
        held = np.asarray(uniform_filter(held, (5, 5, 1)))
        away = self.seen.small.counts & ~binary_dilation(self.mask, iterations=6)
        if away.mean() < 0.01:
            return np.full(4, -np.inf)
        most, own = np.quantile(held[away], 0.98, axis=0), np.quantile(held[self.core], 0.9, axis=0)
        return np.asarray(np.log((most + 0.01) / (own + 0.01)))

    @cached_property
    def rim(self) -> float:
        """Share of the photo's border that it reaches."""
        from scipy.ndimage import binary_dilation

        wide = np.asarray(binary_dilation(self.mask, iterations=3))
        sides = (wide[:3].any(axis=0), wide[-3:].any(axis=0), wide[:, :3].any(axis=1), wide[:, -3:].any(axis=1))
        return float(np.concatenate(sides).mean())

    @cached_property
    def corners(self) -> int:
        """How many corners of a sheet it shows: two straight sides of its own that meet inside the photo."""
        return _corners(self.mask)


def flat_places(seen: Seen, leave_out: Mask | None = None) -> list[Flat]:
    """Return the flat places of a photo, the largest first; what lies apart but looks alike is one.

    `leave_out`: shape (h, w), where there is yarn.
    """
    from scipy import ndimage

    small = seen.small
    flat = (seen.rough < _ROUGH) & small.counts & (np.exp(seen.light) > _DARK) & ~(small.linear > _FULL).all(axis=2)
    smooth = ndimage.gaussian_filter(seen.hue, (1.5, 1.5, 0))
    steps = [ndimage.gaussian_gradient_magnitude(smooth[..., i], 1.0) for i in (0, 1)]
    flat &= np.hypot(*steps) < _HUE_STEP
    if leave_out is not None:
        flat &= ~ndimage.binary_dilation(leave_out, iterations=3)
    labels, _ = ndimage.label(ndimage.binary_opening(flat, iterations=2))
    size = np.bincount(labels.ravel())
    size[0] = 0
    few = [i for i in np.argsort(-size, kind="stable")[:_MOST] if size[i] >= _LEAST * labels.size]
    return [Flat(seen=seen, mask=mask) for mask in _joined(seen, [labels == i for i in few])]


def _joined(seen: Seen, pieces: list[Mask]) -> list[Mask]:
    """Return the pieces, those of one look put together; the largest leads."""
    looks = [(np.median(seen.hue[p], axis=0), float(np.median(seen.light[p]))) for p in pieces]
    out: list[Mask] = []
    left = list(range(len(pieces)))
    while left:
        hue, light = looks[left[0]]
        like = [
            i for i in left if np.hypot(*(looks[i][0] - hue)) < _SAME_HUE and abs(looks[i][1] - light) < _SAME_LIGHT
        ]
        out.append(np.logical_or.reduce([pieces[i] for i in like]))
        left = [i for i in left if i not in like]
    return sorted(out, key=lambda mask: -int(mask.sum()))


def _within(values: Floats, mask: Mask, sigma: float) -> Floats:
    """Return values smoothed within a mask alone."""
    from scipy.ndimage import gaussian_filter

    weight = gaussian_filter(mask.astype(np.float64), sigma)
    return np.asarray(gaussian_filter(np.where(mask, values, 0.0), sigma) / np.maximum(weight, 1e-6))


def _clouds(values: Floats, mask: Mask) -> Floats:
    """Return what varies over some ten pixels within a mask, at every second pixel: no noise and no slow change."""
    even, few = _within(values, mask, 1.5)[::2, ::2], mask[::2, ::2]
    return even - _within(even, few, 4.0)


def _spread(values: Floats, mask: Mask) -> float:
    return float(1.4826 * np.median(np.abs(values[mask])))


def _corners(mask: Mask) -> int:
    """Return how many corners of the convex outline lie inside the photo between two sides that the place fills."""
    from scipy.ndimage import distance_transform_edt
    from scipy.spatial import ConvexHull

    height, width = mask.shape
    rows, columns = np.nonzero(mask)
    points = np.stack([columns, rows], axis=1)
    hull = points[ConvexHull(points).vertices].astype(float)
    few = fewer_corners(np.concatenate([hull, hull[:1]]), 0.01 * max(mask.shape))[:-1]
    if len(few) < 3:
        return 0
    far = np.asarray(distance_transform_edt(~mask))
    straight = [_straight(far, few[i], few[(i + 1) % len(few)]) for i in range(len(few))]
    found = 0
    for i, at in enumerate(few):
        one, two = few[i - 1] - at, few[(i + 1) % len(few)] - at
        cosine = float(one @ two / max(np.linalg.norm(one) * np.linalg.norm(two), 1e-9))
        inside = 5 < at[0] < width - 6 and 5 < at[1] < height - 6
        found += inside and abs(cosine) < 0.77 and straight[i - 1] and straight[i]
    return found


def _straight(far: Floats, one: Floats, two: Floats) -> bool:
    """Return whether a side of an outline lies inside the photo, is long enough, and the place fills most of it."""
    long = float(np.linalg.norm(two - one))
    if long < 0.06 * max(far.shape):
        return False
    steps = one + np.linspace(0, 1, max(2, round(long)))[:, None] * (two - one)
    columns, rows = np.rint(steps).astype(int).T
    edge = min(far.shape[0] - 1 - rows.min(), rows.max(), far.shape[1] - 1 - columns.min(), columns.max())
    return edge > 4 and float((far[rows, columns] < 2.5).mean()) > 0.7


# How each kind of white is called.
WHITE_KINDS = {
    "paper": "paper found",
    "asked": "perhaps white paper",
    "tap": "the spot you chose",
    "grey-card": "the grey card you chose",
    "shared": "measured in another photo",
}
# A light whose red to blue ratio changes by more than this (natural log) over the paper is mixed; assumed.
_MIXED = 0.22
# A channel whose median lies above this is overexposed.
_CHANNEL_FULL = 0.96
# How far lamps lie to the green side of a straight line in log ratios; the median of the tuning scenes.
_LAMP_GREEN = 0.03
# Red over green of the reddest white (natural log): on tuning scenes 98 of 100 whose red is not full lie below it.
# Where a photo holds hardly any blue the line alone would lead far beyond.
_REDDEST_RED = 0.7
# White in shadow has the ratio of green to blue of the white within this (natural log); so many pixels of it
# tell a red that is full elsewhere. Set on tuning scenes.
_SHADED_HUE = 0.035
_LEAST_SHADED = 25
# Shaded pixels whose red to green differs by more than this (median, natural log) are not all white.
_SHADED_ALIKE = 0.04
# A ground that varies by less than _PLAIN about its own light, and holds this share of the photo, shows how
# the light falls off where a card is too small to show it; light that falls off by more is not believed.
_PLAIN, _PLAIN_SHARE, _MOST_FALL = 0.12, 0.3, 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class White:
    """What was taken as white, and how much it is to be believed."""

    kind: str  # {"paper", "asked", "tap", "grey-card", "shared"}
    # Left, top, right, bottom in pixels of the upright photo at full size; None where it lies in another photo.
    box: tuple[int, int, int, int] | None
    # How a perfect white looks in the middle of the white's place, linear sRGB; may lie above 1.
    linear_rgb: tuple[float, float, float]
    confidence: float  # 0 to 1
    # Coefficients of the natural log of a perfect white over the photo, for the terms 1, x, y, xx, xy, yy with x and y
    # from -1 to 1; one row where the white is too small to show a field.
    field: tuple[tuple[float, float, float], ...]
    mixed: bool = False  # true if the light's colour changes over the white
    clipped: float = 0.0  # share of the white's area that is overexposed and was left out
    # A place well inside it, pixels of the upright photo: to point at it again.
    spot: tuple[int, int] | None = None
    spread: float = 0.0  # how unevenly the white itself is lit after the field, natural log


def white_of(
    seen: Seen, mask: Mask, full_size: tuple[int, int], *, kind: str, level: float, confidence: float
) -> tuple[White, tuple[Notice, ...]]:
    """Return the white that a place of a photo shows, and notices.

    `mask`: shape (h, w), the place; overexposed pixels of it are left out; `full_size`: (width, height), of the upright
    photo, pixels; `kind`: as `White.kind`; `level`: reflectance, 0 to 1; `confidence`: before what its light takes off.
    """
    good, logs, doubt, notices = _usable(seen, mask)
    share = float(good.mean())
    order = 2 if share > 0.2 else 1 if share > 0.1 else 0
    _, coefficients, spread = fit_field(logs, good, order)
    coefficients[0] -= np.log(level)
    if order < 2:
        coefficients = _with_ground(seen.small, logs, mask, coefficients)
    field = terms(mask.shape)[..., : len(coefficients)] @ coefficients
    warm = field[good][:, 0] - field[good][:, 2]
    rows, columns = np.nonzero(mask)
    red, green, blue = (float(v) for v in np.exp(field[round(rows.mean()), round(columns.mean())]))
    scale = seen.small.scale
    box = (
        max(0, int(columns.min() / scale)),
        max(0, int(rows.min() / scale)),
        min(full_size[0], int((columns.max() + 1) / scale)),
        min(full_size[1], int((rows.max() + 1) / scale)),
    )
    white = White(
        kind=kind,
        box=box,
        linear_rgb=(red, green, blue),
        confidence=float(np.clip(confidence * doubt, 0, 1)),
        field=tuple((float(c[0]), float(c[1]), float(c[2])) for c in coefficients),
        mixed=bool(np.quantile(warm, 0.98) - np.quantile(warm, 0.02) > _MIXED),
        clipped=_clipped(seen.small, mask),
        spread=spread,
    )
    return replace(white, spot=_inside(mask, scale, full_size)), notices


def _usable(seen: Seen, mask: Mask) -> tuple[Mask, Floats, float, tuple[Notice, ...]]:
    """Return what of a place tells the light, its logs, the share of confidence left, and notices."""
    small, logs = seen.small, seen.logs
    good, clipped = mask & ~small.clipped, _clipped(small, mask)
    if good.sum() >= max(12, 0.1 * mask.sum()):
        if clipped <= 0.05:
            return good, logs, 1.0, ()
        left_out = note("{share} % of the white is overexposed and was left out", "warning", share=round(100 * clipped))
        return good, logs, 1.0, (left_out,)
    full = np.median(small.linear[mask], axis=0) > _CHANNEL_FULL
    if full.tolist() == [True, False, False]:
        logs, shaded = _red_restored(small, logs, mask)
        inferred = note("the red of the white is overexposed and was inferred; its shades may be off", "warning")
        return mask, logs, 0.9 if shaded else 0.7, (inferred,)
    return mask, logs, 0.4, ()


def _clipped(small: Small, mask: Mask) -> float:
    """Return the share of a place that is overexposed, what of it is no more than white included."""
    from scipy.ndimage import binary_dilation, binary_fill_holes

    whole = (binary_fill_holes(binary_dilation(mask, iterations=4)) & small.clipped) | mask
    return float((whole & small.clipped).sum() / whole.sum())


def _inside(mask: Mask, scale: float, full_size: tuple[int, int]) -> tuple[int, int]:
    """Return the spot farthest from a place's rim, pixels of the upright photo."""
    from scipy.ndimage import distance_transform_edt

    row, column = np.unravel_index(int(np.argmax(distance_transform_edt(np.pad(mask, 1)))), np.add(mask.shape, 2))
    x, y = (int((int(at) - 0.5) / scale) for at in (column, row))
    return min(x, full_size[0] - 1), min(y, full_size[1] - 1)


def _red_restored(small: Small, logs: Floats, region: Mask) -> tuple[Floats, bool]:
    """Return the logs with the red of a white whose red is full, as in warm light, and whether it was seen.

    White in shadow beside it, and anything else as neutral, has the same ratio of red to green and is not
    full; such pixels are told by their ratio of green to blue. They are taken by their green, lowest first,
    because taking those whose red is low would pick the noise. Without any, lamps lie on a line, so green
    and blue tell what red would be.
    """
    from scipy.ndimage import binary_dilation

    logs = logs.copy()
    cool = logs[..., 1] - logs[..., 2]
    by_line = logs[..., 1] + np.minimum(cool - 2 * _LAMP_GREEN, _REDDEST_RED)
    like = np.abs(cool - float(np.median(cool[region]))) < _SHADED_HUE
    near = binary_dilation(region, iterations=12) & small.counts & like & (logs[..., 1] > -3.0)
    order = np.flatnonzero(near.ravel())
    order = order[np.argsort(logs[..., 1].ravel()[order], kind="stable")]
    full = np.cumsum(small.clipped.ravel()[order]) / np.arange(1, len(order) + 1)
    usable = int(np.flatnonzero(full < 0.1)[-1]) + 1 if (full < 0.1).any() else 0
    if usable >= _LEAST_SHADED:
        shaded = order[:usable]
        redder = (logs[..., 0] - logs[..., 1]).ravel()[shaded]
        seen = float(np.median(redder))
        alike = float(np.median(np.abs(redder - seen))) < _SHADED_ALIKE
        red = logs[..., 1] + seen if alike else (logs[..., 1] + seen + by_line) / 2
    else:
        alike, red = False, by_line
    logs[..., 0] = np.maximum(logs[..., 0], red)
    return logs, alike


def _with_ground(small: Small, logs: Floats, region: Mask, coefficients: Floats) -> Floats:
    """Return the light of a small white carried over the photo by the falling-off that a plain ground shows."""
    plain = (_ground_distance(small) < 0.1) & small.counts & ~small.clipped
    if plain.mean() < _PLAIN_SHARE:
        return coefficients
    light = logs.mean(axis=2, keepdims=True)
    field, fall, sigma = fit_field(np.repeat(light, 3, axis=2), plain & ~region, 2)
    if sigma > _PLAIN or np.ptp(field[..., 0]) > _MOST_FALL:
        return coefficients
    # The level is the white's own, where the white lies; only the shape comes from the ground.
    basis = terms(region.shape, 2)[region]
    own = basis[:, : len(coefficients)] @ coefficients
    fall[0] += (own - basis @ fall).mean(axis=0)
    return fall


# All limits were set on one half of the drawn and path-traced photographs and on real ones; the bench tells what
# they do on the rest. Logs are natural.
# Unevenness of white paper over some ten pixels, of light and of hue, and its grain: path-traced and drawn sheets down
# to -1.2 stops lie below the first in 95 of 100 and below the second in all; wood, cloth and plaster above.
_EVEN, _EVEN_HUE, _FINE = (0.0115, 0.016), (0.016, 0.035), (0.026, 0.03)
# Red over blue of white as a camera leaves it. A beige wall by daylight has .56; beyond it the paper of a bulb that the
# camera did not balance, which is asked about.
_WARM = ((-0.15, 0.4), (-0.35, 1.9))
# A camera that goes by the grey of the whole picture takes half of the hue from a wall that fills it.
_WARM_GROUND = 0.3
# Where next to no blue is left, wide paper is not redder than a bulb: a 2700 K black body has ln 2.4 of red over green.
_REDDEST, _WIDE = 0.95, 0.3
# Green over red and blue: lamps lie a little to the green side, the more the warmer; a pink or a minty ground beyond.
_GREEN = ((-0.05, 0.055), (-0.14, 0.25))
_GREEN_WARM = 0.2
# How much more the brightest of the rest may hold: glints and yarn that is turned to the window.
_BESIDE, _BESIDE_CHANNEL, _BESIDE_SHEET, _BESIDE_ASKED = 0.15, 0.18, 0.05, 0.5
# Share of the photo's border that ground under everything reaches; that of a wall behind things ends at a table.
_UNDER = 0.85
# A sheet that shows a corner, and what is asked about, has at least this share of the photo.
_SHEET, _ASKED = 0.02, 0.006
# Ground without an edge is paper for sure only between these levels of linear light: darker it may be a grey board,
# lighter it is close to full, where a carpet has no weave.
_GROUND_DARK, _NEARLY_FULL = 0.15, 0.93
# Two lamps of different colour light what changes its hue by more.
_ONE_LAMP = 0.45
# Paper that shares no more than this with the yarn lies apart from it (assumed).
_APART = 0.02
# Two places are both asked about where they are so nearly alike as paper goes.
_AS_LIKELY = 1.0
# Something is lighter than a perfect white in the place's light where it exceeds it by this, for light is uneven;
# it is as neutral where white may have its hue, or where that is the same within this.
_UNEVEN, _AS_NEUTRAL = 0.14, 0.15
# A place that is doubted is believed so much; one that is taken unasked, and one that the maker points at.
_DOUBTED, _TAKEN, _POINTED = 0.1, 0.95, 1.0
# What reflects less than this is a grey card.
_GREY = 0.5
# Radius of a pointed place that is no flat one, share of the longer side, and how alike its pixels are.
_RADIUS, _ALIKE = 0.012, 0.2
# A flat place is seen to end so many pixels before it does, for the step beside it counts as texture.
_RIM = 8.0
# More of a pointed place than this overexposed makes it doubtful.
_CLIPPED = 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Paper:
    """What of a photo is white paper, and what the maker is asked about."""

    taken: White | None = None
    mask: Mask | None = None  # (h, w), where that is, taken or asked about, in the small photo
    ask: tuple[White, ...] = ()  # at most two; none where one is taken. To say yes, point at the `spot` of one.
    notices: tuple[Notice, ...] = ()


def find_paper(small: Small, full_size: tuple[int, int], yarn: Mask | None = None) -> Paper:
    """Return the white paper of a photo, or what may be white paper.

    `full_size`: of the upright photo, pixels; `yarn`: where there is yarn, in the small photo: no paper. What is found
    without knowing of the yarn stands where it lies apart from it, so that touches do not move the white. Where nothing
    was found, knowing of the yarn finds nothing either (50 of 50 photographs, real and drawn).
    """
    found = _searched(small, full_size)
    if yarn is None or found.mask is None or (found.mask & yarn).sum() <= _APART * found.mask.sum():
        return found
    return _found(small, full_size, yarn)


@lru_cache(maxsize=1)
def _searched(small: Small, full_size: tuple[int, int]) -> Paper:
    return _found(small, full_size, None)


def _found(small: Small, full_size: tuple[int, int], yarn: Mask | None) -> Paper:
    seen = seen_in(small)
    places = [place for place in flat_places(seen, yarn) if _maybe(place)]
    places.sort(key=_unlike)
    sure = next((place for place in places if _surely(place)), None)
    if sure is not None:
        white, notices = white_of(seen, sure.mask, full_size, kind="paper", level=PAPER_LEVEL, confidence=_TAKEN)
        return Paper(taken=white, mask=sure.mask, notices=notices)
    few = [place for place in places[:2] if _unlike(place) - _unlike(places[0]) < _AS_LIKELY]
    whites = [white_of(seen, place.mask, full_size, kind="asked", level=PAPER_LEVEL, confidence=1.0) for place in few]
    mask = np.logical_or.reduce([place.mask for place in few]) if few else None
    return Paper(ask=tuple(white for white, _ in whites), mask=mask)


def _maybe(place: Flat) -> bool:
    """Return whether a flat place may be white paper."""
    return bool(
        place.area > _ASKED
        and (_greyish(place) or _by_bulb(place))
        and place.cloud < _EVEN[1]
        and place.hue_cloud < _EVEN_HUE[1]
        and place.grain < _FINE[1]
        and place.beyond[3] < _BESIDE_ASKED
    )


def _greyish(place: Flat) -> bool:
    """Return whether a place has the hue that white may have as a camera leaves it."""
    greenest = _GREEN[1][1] + _GREEN_WARM * max(place.warm, 0.0)
    return bool(_WARM[1][0] < place.warm < _WARM[1][1] and _GREEN[1][0] < place.green < greenest)


def _by_bulb(place: Flat) -> bool:
    """Return whether a wide place is so yellow as the paper of a bulb that the camera hardly balanced, with no blue."""
    redder = float(place.rgb[0] - place.rgb[1])
    return bool(place.warm >= _WARM[1][1] and 0 < redder < _REDDEST and place.area > _WIDE)


def _surely(place: Flat) -> bool:
    """Return whether a place that may be paper surely is."""
    red, green, blue, luminance = (float(v) for v in place.beyond)
    plain = place.cloud < _EVEN[0] and place.hue_cloud < _EVEN_HUE[0] and place.grain < _FINE[0]
    grey = _WARM[0][0] < place.warm < _WARM[0][1] and _GREEN[0][0] < place.green < _GREEN[0][1]
    most = max(green, luminance) < _BESIDE and max(red, blue) < _BESIDE_CHANNEL
    if not (plain and grey and most and place.hue_range < _ONE_LAMP):
        return False
    level = np.exp(place.rgb)
    if level.max() > _NEARLY_FULL:
        return False
    if place.rim > _UNDER and level[1] > _GROUND_DARK and place.warm < _WARM_GROUND:
        return True
    return bool(place.area > _SHEET and place.beyond.max() < _BESIDE_SHEET and place.corners > 0)


def _unlike(place: Flat) -> float:
    """Return how unlike paper a place is: each measure over what is usual for paper, less for a larger place."""
    return float(
        place.cloud / 0.008
        + place.hue_cloud / 0.02
        + abs(place.warm) / 0.6
        + abs(place.green) / 0.17
        + max(float(place.beyond[3]), 0.0) / 0.1
        - 0.8 * np.log(place.area)
    )


def believe(
    photo: Photo, small: Small, spot: tuple[float, float], reflectance: float = PAPER_LEVEL
) -> tuple[White, Mask, tuple[Notice, ...]]:
    """Return the white at a spot that the maker pointed at, its mask in the small photo, and notices.

    She is believed, unless something as neutral is lighter than white could be in that light, or it is overexposed:
    then the white is used as she said, believed little, and the reason is told.

    `small`: of the same photo; `spot`: (x, y), pixels of the upright photo at full size; `reflectance`: of what lies
    there, .02 to 1.
    """
    row, column = _cell(photo, small, spot)
    seen = seen_in(small)
    places = flat_places(seen)
    mask = _about(seen, places, row, column)
    about = {"x": round(spot[0]), "y": round(spot[1]), "name": photo.name}
    if not mask.any() or float(np.exp(seen.light[mask]).mean()) < 0.01:
        raise PhotoError("the white spot {x},{y} of {name} is black or see-through; tap a lighter place.", **about)
    if (np.median(small.linear[mask], axis=0) > 0.98).all():
        raise PhotoError("the white spot {x},{y} of {name} is too bright to read: photograph it darker.", **about)
    reason = _doubt(seen, places, mask, reflectance)
    white, notices = white_of(
        seen,
        mask,
        photo.full_size,
        kind="grey-card" if reflectance < _GREY else "tap",
        level=reflectance,
        confidence=_POINTED if reason is None else _DOUBTED,
    )
    return white, mask, notices if reason is None else (*notices, reason)


def _cell(photo: Photo, small: Small, spot: tuple[float, float]) -> tuple[int, int]:
    """Return the row and column of a spot in the small photo."""
    width, height = photo.full_size
    if not (0 <= spot[0] < width and 0 <= spot[1] < height):
        raise PhotoError(
            "the white spot {x},{y} does not lie in {name}; allowed is 0,0 to {width},{height}; tap inside the photo.",
            x=round(spot[0]),
            y=round(spot[1]),
            name=photo.name,
            width=width - 1,
            height=height - 1,
        )
    rows, columns = small.counts.shape
    return min(int(spot[1] * small.scale), rows - 1), min(int(spot[0] * small.scale), columns - 1)


def _about(seen: Seen, places: list[Flat], row: int, column: int) -> Mask:
    """Return the piece of a flat place at a spot, or the pixels about the spot that are like it."""
    from scipy.ndimage import label

    rows, columns = np.ogrid[: seen.light.shape[0], : seen.light.shape[1]]
    away = np.hypot(rows - row, columns - column)
    for place in places:
        held = np.where(place.mask, away, np.inf)
        at = np.unravel_index(int(np.argmin(held)), held.shape)
        if held[at] < 1 or (held[at] < _RIM and np.abs(place.rgb - seen.logs[row, column]).max() < _ALIKE):
            pieces, _ = label(place.mask)
            return np.asarray(pieces == pieces[at])
    near = (away <= max(1.5, _RADIUS * max(seen.light.shape))) & seen.small.counts
    like = near & (np.abs(seen.logs - seen.logs[row, column]).max(axis=2) < _ALIKE)
    return np.asarray(like if like.sum() >= 4 else near)


def _doubt(seen: Seen, places: list[Flat], mask: Mask, reflectance: float) -> Notice | None:
    """Return why a pointed place may not be the white that the maker says, or None."""
    if float(seen.small.clipped[mask].mean()) > _CLIPPED and (np.median(seen.small.linear[mask], axis=0) > 0.9).any():
        return note("the white you chose is overexposed: colours come out wrong; is there a darker white?", "warning")
    hue = np.median(seen.hue[mask], axis=0)
    white = float(np.median(seen.light[mask])) - np.log(reflectance) + _UNEVEN
    for place in places:
        other = place.mask & ~mask
        if other.sum() < 0.5 * place.mask.sum():
            continue
        as_neutral = _greyish(place) or np.hypot(*(np.median(seen.hue[other], axis=0) - hue)) < _AS_NEUTRAL
        if as_neutral and float(np.median(seen.light[other])) > white:
            return note(
                "something as neutral as the white you chose is lighter than white can be in its light; is it white?",
                "warning",
            )
    return None

"""The white reference: paper, a card or a tapped spot, and the light that it shows.

White decides more than the reader does, so what was found is never hidden: a `White` says where it is and
how much it is to be believed, and the caller may tap another spot or switch it off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import WHITE_XYZ, linear_to_xyz, xyz_to_linear
from blendplan.errors import PhotoError
from blendplan.photo.chart import Chart
from blendplan.photo.ground import GROUND_FLOOR, Small, fit_field, log_light, terms
from blendplan.photo.loading import Photo
from blendplan.wording import Notice, note

__all__ = [
    "GREY_CARD_LEVEL",
    "PAPER_LEVEL",
    "WHITE_KINDS",
    "White",
    "correct",
    "find_white",
    "in_daylight",
    "light_at",
    "tapped_white",
]

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Reflectance of plain white office paper; assumed (makers state .85 to .90 without brightener).
PAPER_LEVEL = 0.87
# The common photographer's grey card; common practice.
GREY_CARD_LEVEL = 0.18
# A white below this confidence is not used unasked. Set on tuning scenes and on the real sample photos.
LEAST_CONFIDENCE = 0.45
# A tapped spot that is less like paper than that is believed so much: of taps on white of tuning scenes 9 in 100 are,
# of taps on wood, cloth and yarn 99 in 100.
_DOUBTED_TAP = 0.1
# How each kind of white is called.
WHITE_KINDS = {
    "paper": "paper found",
    "tap": "the spot you chose",
    "grey-card": "the grey card you chose",
    "shared": "measured in another photo",
}
# What reflects less than this is a grey card.
_GREY = 0.5
# Cone matrix of ICC.1:2022, annex E (Bradford); the inverse is taken, not printed.
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
# A light whose red to blue ratio changes by more than this (natural log) over the paper is mixed; assumed.
_MIXED = 0.22
# A channel whose median lies above this is overexposed.
_FULL = 0.96
# How far lamps lie to the green side of a straight line in log ratios; the median of the tuning scenes.
_LAMP_GREEN = 0.03
# Red over green of the reddest white (natural log): on tuning scenes 98 of 100 whose red is not full lie below it.
# Where a photo holds hardly any blue the line alone would lead far beyond.
_REDDEST = 0.7
# White in shadow has the ratio of green to blue of the white within this (natural log); so many pixels of it
# tell a red that is full elsewhere. Set on tuning scenes.
_SAME_HUE = 0.035
_LEAST_SHADED = 25
# Shaded pixels whose red to green differs by more than this (median, natural log) are not all white.
_ALIKE = 0.04
# A ground that varies by less than _PLAIN about its own light, and holds this share of the photo, shows how
# the light falls off where a card is too small to show it; light that falls off by more is not believed.
_PLAIN, _PLAIN_SHARE, _MOST_FALL = 0.12, 0.3, 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class White:
    """What was taken as white, and how much it is to be believed.

    Attributes
    ----------
    kind : {"paper", "tap", "grey-card", "shared"}
    box : tuple of 4 int, or None
        Left, top, right, bottom in pixels of the upright photo at full size; None where it lies in another photo.
    linear_rgb : tuple of 3 float
        How a perfect white looks in the middle of the white's place, linear sRGB; may lie above 1.
    confidence : float
        0 to 1.
    field : tuple of (float, float, float)
        Coefficients of the natural log of a perfect white over the photo, for the terms 1, x, y, xx, xy, yy
        with x and y from -1 to 1; one row where the white is too small to show a field.
    mixed : bool
        True if the light's colour changes over the white.
    clipped : float
        Share of the white's area that is overexposed and was left out.
    """

    kind: str
    box: tuple[int, int, int, int] | None
    linear_rgb: tuple[float, float, float]
    confidence: float
    field: tuple[tuple[float, float, float], ...]
    mixed: bool = False
    clipped: float = 0.0


def light_at(white: White, x: Floats, y: Floats) -> Floats:
    """Return the look of a perfect white, linear sRGB, at places given as -1 to 1 over width and height."""
    parts = [np.ones_like(x), x, y, x * x, x * y, y * y][: len(white.field)]
    return np.exp(np.stack(parts, axis=-1) @ np.asarray(white.field))


def correct(linear_rgb: Floats, light: Floats) -> Floats:
    """Return linear sRGB as in neutral daylight, by the Bradford transform, light and lightness.

    Parameters
    ----------
    linear_rgb, light : ndarray, shape (..., 3)
        A colour and the look of a perfect white beside it.
    """
    cones = linear_to_xyz(linear_rgb) @ _BRADFORD.T
    white = np.maximum(linear_to_xyz(light) @ _BRADFORD.T, 1e-6)
    return xyz_to_linear(cones / white * (_BRADFORD @ WHITE_XYZ) @ np.linalg.inv(_BRADFORD).T)


def in_daylight(linear_rgb: Floats, light: White | Chart | None, x: Floats, y: Floats) -> Floats:
    """Return linear sRGB as in neutral daylight by a photo's white or chart; as it is where there is neither.

    Parameters
    ----------
    linear_rgb : ndarray, shape (..., 3)
    light : White, Chart or None
    x, y : ndarray, shape (...)
        Places, -1 to 1 over the photo's width and height.
    """
    if light is None:
        return linear_rgb
    return light.correct(linear_rgb) if isinstance(light, Chart) else correct(linear_rgb, light_at(light, x, y))


def find_white(photo: Photo, small: Small) -> tuple[White | None, Mask | None, tuple[Notice, ...]]:
    """Return the most paper-like place of a photo, its mask in the small photo, and notices.

    Notes
    -----
    Candidates are smooth connected places. Paper is the brightest of the smooth things, has no grain, is
    not much warmer than everything else, and nothing beside it holds more of any part of the light. A clipped
    part is left out.
    """
    seen = _seen(small)
    best: tuple[float, Mask] | None = None
    for region in _smooth_regions(seen):
        score = _paper_like(region, seen)
        if best is None or score > best[0]:
            best = (score, region)
    if best is None or best[0] < LEAST_CONFIDENCE:
        return None, None, ()
    white, notices = _measure(photo, small, seen.logs, best[1], kind="paper", confidence=best[0], level=PAPER_LEVEL)
    if white.confidence < LEAST_CONFIDENCE:
        return None, None, ()
    return white, best[1], notices


def tapped_white(
    photo: Photo, small: Small, spot: tuple[float, float], level: float = PAPER_LEVEL
) -> tuple[White, Mask, tuple[Notice, ...]]:
    """Return the white at a spot that the maker tapped (full-size pixels); `level` is its reflectance.

    Raises
    ------
    PhotoError
        If the spot lies outside the photo, or is clipped or black.
    """
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
    rows, columns = small.linear.shape[:2]
    row, column = min(int(spot[1] * small.scale), rows - 1), min(int(spot[0] * small.scale), columns - 1)
    seen = _seen(small)
    region = next((smooth for smooth in _smooth_regions(seen) if smooth[row, column]), None)
    if region is None:
        yy, xx = np.ogrid[0:rows, 0:columns]
        region = np.hypot(yy - row, xx - column) <= max(1.5, 0.012 * max(rows, columns))
        region &= small.counts
    clipped = region & small.clipped
    full = (np.median(small.linear[region], axis=0) > _FULL)[1:].any() if region.any() else False
    if not region.any() or (full and clipped.sum() > 0.9 * region.sum()) or float(seen.luminance[region].mean()) < 0.01:
        raise PhotoError(
            "the white spot {x},{y} of {name} is overexposed, black or see-through; tap a spot that is evenly lit.",
            x=round(spot[0]),
            y=round(spot[1]),
            name=photo.name,
        )
    kind = "grey-card" if level < _GREY else "tap"
    # A grey card is judged as the paper that would lie in its place.
    seen.evened[region] *= PAPER_LEVEL / level
    sure = _paper_like(region, seen) >= LEAST_CONFIDENCE
    confidence = 1.0 if sure else _DOUBTED_TAP
    white, notices = _measure(photo, small, seen.logs, region, kind=kind, confidence=confidence, level=level)
    if not sure:
        notices += (
            note(
                "the spot you tapped is darker, rougher or more coloured than white would be here; is it white?",
                "warning",
            ),
        )
    return white, region, notices


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Seen:
    """What a white is looked for in: `evened` is XYZ without grain, `fine` is what of the mean log light is grain."""

    small: Small
    logs: Floats
    luminance: Floats
    evened: Floats
    mean: Floats
    fine: Floats


def _seen(small: Small) -> _Seen:
    from scipy.ndimage import gaussian_filter, uniform_filter

    xyz = linear_to_xyz(small.linear)
    mean = log_light(small.linear, GROUND_FLOOR).mean(axis=2)
    return _Seen(
        small=small,
        logs=log_light(small.linear),
        luminance=xyz[..., 1],
        evened=np.asarray(uniform_filter(xyz, (5, 5, 1))),
        mean=mean,
        fine=mean - gaussian_filter(mean, 3.0),
    )


def _grain(fine: Floats, region: Mask) -> float:
    """Return the grain of a region at a scale of a few pixels, where wood and cloth show and paper does not."""
    return float(np.sqrt(np.median(fine[region] ** 2)) * 1.4826)


def _smooth_regions(seen: _Seen) -> list[Mask]:
    """Return connected places without texture, brightest first."""
    from scipy import ndimage

    small, luminance, mean, fine = seen.small, seen.luminance, seen.mean, seen.fine
    texture = np.sqrt(np.maximum(ndimage.uniform_filter(fine**2, 7), 0))
    bright = luminance > 0.3 * float(np.quantile(luminance[small.counts], 0.98))
    smooth = (texture < 0.045) & bright & small.counts
    smooth = ndimage.binary_opening(smooth, iterations=2)
    # Two papers of different light meet at an edge; a hard step parts them.
    labels, count = ndimage.label(smooth)
    least = 0.006 * smooth.size
    regions = []
    for i in range(1, count + 1):
        region = labels == i
        if region.sum() < least:
            continue
        middle = float(np.median(mean[region]))
        region &= np.abs(mean - middle) < 0.75
        inner = ndimage.binary_erosion(region, iterations=2)
        region = inner if inner.sum() > 0.3 * region.sum() else region
        regions.append(region)
    return sorted(regions, key=lambda r: -float(np.median(luminance[r])))[:8]


def _paper_like(region: Mask, seen: _Seen) -> float:
    """How much a smooth place is like white paper, 0 to 1: a product of soft rules.

    Lamps differ along the line from blue to orange, a little greenish (fluorescent, LED) and hardly ever
    pinkish: a pale pink place is a wall, fur or a petal. White sends back the most of every part of the light,
    so beside a coloured ground something holds more of what that ground takes away. The limits were set on
    tuning scenes.
    """
    from scipy.ndimage import binary_dilation
    from scipy.special import expit

    def soft(value: float, at: float, width: float) -> float:
        return float(expit((value - at) / width))

    small, logs, evened = seen.small, seen.logs, seen.evened
    texture = _grain(seen.fine, region)
    light = float(np.median(evened[region, 1]))
    brightest = float(np.quantile(evened[..., 1][small.counts], 0.985))
    ratio = np.median(logs[region], axis=0)
    warm, green = float(ratio[0] - ratio[2]), float(ratio[1] - (ratio[0] + ratio[2]) / 2)
    rest = small.counts & ~region
    others = np.median(logs[rest], axis=0) if rest.sum() > 0.02 * rest.size else ratio
    warmer = warm - float(others[0] - others[2])
    # A place with no grain at all is hardly wood or cloth and may be warmer.
    plain = 0.6 * soft(-texture, -0.009, 0.001)
    # Paper under everything is wider than a wall or a petal is; some LEDs are a little pinkish, and one blue
    # skein is all that it can be warmer than.
    wide = soft(float(region.mean()), 0.45, 0.05)
    hue = soft(-abs(warm), -1.05 - plain, 0.12) * soft(-green, -0.30 - 0.3 * plain, 0.04)
    # A camera that hardly balances a bulb leaves paper deep yellow, with next to no blue; not redder than a bulb is.
    bulb = 0.7 * wide * soft(-texture, -0.018, 0.001) * soft(float(ratio[1] - ratio[0]), -_REDDEST - 0.25, 0.04)
    score = (
        soft(light / brightest, 0.62, 0.05)
        * soft(light, 0.22, 0.04)
        * soft(-texture, -0.020, 0.002)
        * max(hue, bulb)
        * soft(green, -0.05 - 0.03 * max(warm, 0.0) - 0.025 * wide, 0.008)
        * soft(-warmer, -0.65 - plain - 1.5 * wide, 0.12)
    )
    if score < LEAST_CONFIDENCE:
        return score
    away = small.counts & ~binary_dilation(region, iterations=8)
    if away.sum() < 0.01 * away.size:
        return score
    most, own = np.quantile(evened[away], 0.98, axis=0), np.quantile(evened[region], 0.9, axis=0)
    beyond = np.log((most + 0.01) / (own + 0.01))
    hue_beyond = float(beyond.max() - max(beyond[1], 0.0))
    # In warm light a camera's matrix takes from the paper's little blue more than from a blue yarn's.
    return score * soft(-hue_beyond, -0.15 - 0.45 * float(np.clip(warm - 1, 0, 0.6)), 0.02)


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
    by_line = logs[..., 1] + np.minimum(cool - 2 * _LAMP_GREEN, _REDDEST)
    like = np.abs(cool - float(np.median(cool[region]))) < _SAME_HUE
    near = binary_dilation(region, iterations=12) & small.counts & like & (logs[..., 1] > -3.0)
    order = np.flatnonzero(near.ravel())
    order = order[np.argsort(logs[..., 1].ravel()[order], kind="stable")]
    full = np.cumsum(small.clipped.ravel()[order]) / np.arange(1, len(order) + 1)
    usable = int(np.flatnonzero(full < 0.1)[-1]) + 1 if (full < 0.1).any() else 0
    if usable >= _LEAST_SHADED:
        shaded = order[:usable]
        redder = (logs[..., 0] - logs[..., 1]).ravel()[shaded]
        seen = float(np.median(redder))
        alike = float(np.median(np.abs(redder - seen))) < _ALIKE
        red = logs[..., 1] + seen if alike else (logs[..., 1] + seen + by_line) / 2
    else:
        alike, red = False, by_line
    logs[..., 0] = np.maximum(logs[..., 0], red)
    return logs, alike


def _with_ground(small: Small, logs: Floats, region: Mask, coefficients: Floats) -> Floats:
    """Return the light of a small white carried over the photo by the falling-off that a plain ground shows."""
    distance, _ = small.against_ground
    plain = (distance < 0.1) & small.counts & ~small.clipped
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


def _measure(
    photo: Photo, small: Small, logs: Floats, region: Mask, *, kind: str, confidence: float, level: float
) -> tuple[White, tuple[Notice, ...]]:
    good = region & ~small.clipped
    clipped = 1 - float(good.sum() / region.sum())
    notices: list[Notice] = []
    if good.sum() < max(12, 0.1 * region.sum()):
        good = region
        full = np.median(small.linear[region], axis=0) > _FULL
        if full.tolist() == [True, False, False]:
            logs, seen = _red_restored(small, logs, region)
            confidence *= 0.9 if seen else 0.7
            notices.append(
                note("the red of the white is overexposed and was inferred; its shades may be off", "warning")
            )
        else:
            confidence *= 0.4
    elif clipped > 0.05:
        notices.append(
            note("{share} % of the white is overexposed and was left out", "warning", share=round(100 * clipped))
        )
    share = float(good.mean())
    order = 2 if share > 0.2 else 1 if share > 0.1 else 0
    _, coefficients, _ = fit_field(logs, good, order)
    coefficients[0] -= np.log(level)
    if order < 2:
        coefficients = _with_ground(small, logs, region, coefficients)
    rows, columns = np.nonzero(region)
    height, width = region.shape
    y, x = 2 * rows.mean() / max(height - 1, 1) - 1, 2 * columns.mean() / max(width - 1, 1) - 1
    basis = terms(region.shape)[..., : len(coefficients)]
    field = basis[good] @ coefficients
    warm = field[:, 0] - field[:, 2]
    mixed = bool(np.quantile(warm, 0.98) - np.quantile(warm, 0.02) > _MIXED)
    middle = np.exp(np.array([1.0, x, y, x * x, x * y, y * y])[: len(coefficients)] @ coefficients)
    full_width, full_height = photo.full_size
    box = (
        max(0, int(columns.min() / small.scale)),
        max(0, int(rows.min() / small.scale)),
        min(full_width, int((columns.max() + 1) / small.scale)),
        min(full_height, int((rows.max() + 1) / small.scale)),
    )
    white = White(
        kind=kind,
        box=box,
        linear_rgb=(float(middle[0]), float(middle[1]), float(middle[2])),
        confidence=float(np.clip(confidence, 0, 1)),
        field=tuple((float(c[0]), float(c[1]), float(c[2])) for c in coefficients),
        mixed=mixed,
        clipped=clipped,
    )
    return white, tuple(notices)

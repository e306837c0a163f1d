"""What shade a yarn has: the light of the yarn as a whole, and whether it is one dye or several.

A skein in a photo has lit sides and turned ones, hollows, glints and gaps, and all of them are its colour, as a
laboratory measures yarn wound on a card through a wide opening: the mean of its light.
Light from one side leaves more of a skein in its own shadow than an even sky does. How far it did is told by the
skein's own lights: half of it lies darker than its mean then.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import linear_to_oklab
from blendplan.photo.light import LUMINANCE

Floats = NDArray[np.float64]

# The gain is the mean of the yarn's luminance over this quantile of it, to this power; a flat thing has none. Set with
# true outlines and true paper on path-traced skeins of seven shapes under an even sky, half a window, a window, a bulb
# and two windows, and on drawn scenes. Quantiles of .45 to .5 with powers of 1.2 to 1.4 are within .3 CIEDE2000 of each
# other on all of them; the median with a constant beside it, each shape left out in turn, is off by 3.6 / 6.1 (mean,
# 95 %) on the skeins of the samples where all shapes give 2.8 / 4.8. How deep the shadow beside the yarn is took that
# to between 3.3 / 5.3 and 3.8 / 7.3 by the form it took, too little for what it needs to be seen.
_SKEW_AT, _SKEW_POWER = 0.47, 1.3
# What a fibre's surface sends back of white light, by its index of about 1.5 (wool 1.55, acrylic 1.48; Fresnel): where
# the gain says how much light a skein lacks, it lacks so much of its gloss too. Beside a white, path-traced skeins of
# the samples go from 3.0 / 5.2 to 2.1 / 4.2 by it (no shape and no lamp plays a part in it); drawn yarn loses .2.
_GLOSS = 0.04
# The lighter half of one dye's pixels differs from the darker half in chromaticity (Oklab a, b over L) by no more than
# .041 on path-traced skeins of all shapes, and the light and dark flecks of a heather by .1: those are not shadow.
# Between the two the gain fades.
_SHADED, _FLECKED = 0.045, 0.1
# An even sky needs no gain (path-traced, measured: .93 to 1.02).
_LEAST_GAIN = 1.02
# Beside a white the hardest light needed 1.2 to 1.7 (path-traced). Without one a shade is what the photo itself shows,
# and the camera's exposure mattered more than a side in shadow; real boxes are not to be read beyond 1.4 times as light
# as their mean.
_MOST_GAIN, _MOST_ALONE = 1.65, 1.38
# The shade is not lighter than this quantile of the yarn's own light (assumed: something of a yarn is lit).
_LIT = 0.85
# Chromaticity (Oklab a, b over L, the part that runs along with light taken out) spreads so far between its 10 and
# 90 % over one dye. Measured on cells of strand size: 47 of 48 plain boxes on real photographs and all of 70
# path-traced skeins lie below, and of 4 variegated real ones 3 above.
_ONE_DYE = 0.11
# Oklab L below which a ratio to it is noise of coding (assumed).
_DARK = 0.15
# Weights of chromaticity and of light where dyes are told apart, the distance at which two are one, the share below
# which a dye is the blur between two others. Set on drawn variegated yarn of seed 100.
_HUE, _LIGHT, _APART, _BLUR = 70.0, 25.0, 7.0, 0.16
_MOST_DYES = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One dye of a yarn as read: linear sRGB in neutral light, and its share of the yarn's place."""

    linear: tuple[float, float, float]
    share: float


def whole_light(linear: Floats, full: NDArray[np.bool_], *, white: bool = False) -> tuple[float, float, float]:
    """Return the light of a yarn as a whole: hue and chroma of its mean, at the level of an even sky.

    `linear`: shape (n, 3), pixels of one yarn in neutral light, linear sRGB, at least one; `full`: shape (n,),
    overexposed pixels: they hold at least so much light, and do not say how light the yarn can be; `white`: the light
    was read from a white or a card in the photo.

    With m the mean of luminance and d a quantile just below its median, the gain is g = (m / d)^p, not below 1 and at
    most 1.38, or 1.65 beside a white; p falls to 0 where light and dark are flecks of two hues. Beside a white the
    light that is missing, g - 1, brings its gloss. The level is at most the light that 85 % of the yarn's pixels stay
    below, and one that would leave sRGB is lowered before its chroma is touched.
    """
    luminance = np.maximum(linear @ LUMINANCE, 0)
    mean = float(luminance.mean())
    skew = max(mean, 1e-4) / max(float(np.quantile(luminance, _SKEW_AT)), 1e-4)
    power = _SKEW_POWER * float(np.clip((_FLECKED - _flecks(linear, luminance)) / (_FLECKED - _SHADED), 0, 1))
    gain = float(np.clip(skew**power, _LEAST_GAIN, _MOST_GAIN if white else _MOST_ALONE))
    return _capped(linear, luminance, full, gain, _GLOSS * max(gain - 1, 0) if white else 0.0)


def _flecks(linear: Floats, luminance: Floats) -> float:
    """Return how far the lighter half of a yarn's pixels lies from the darker half in chromaticity."""
    points = linear_to_oklab(np.clip(linear, 1e-5, None))
    hue = points[:, 1:] / np.maximum(points[:, :1], _DARK)
    lighter = luminance > np.median(luminance)
    if lighter.all() or not lighter.any():
        return 0.0
    return float(np.linalg.norm(hue[lighter].mean(axis=0) - hue[~lighter].mean(axis=0)))


def _capped(
    linear: Floats, luminance: Floats, full: NDArray[np.bool_], gain: float, gloss: float = 0.0
) -> tuple[float, float, float]:
    """Return the mean light times a gain with gloss, no lighter than the yarn's lit part and than a screen shows."""
    mean = np.maximum(linear.mean(axis=0), 0)
    level = max(float(mean @ LUMINANCE), 1e-9)
    own = luminance if full.all() else luminance[~full]
    most = min(max(float(np.quantile(luminance, _LIT)), level), float(own.max()))
    light = mean * gain + gloss
    light = light * min(1.0, most / max(float(light @ LUMINANCE), 1e-9))
    light = light * min(1.0, max(1.0, float(mean.max())) / max(float(light.max()), 1e-9))
    red, green, blue = (float(v) for v in light)
    return (red, green, blue)


def several_dyes(cells: NDArray[np.floating[Any]]) -> bool:
    """Return whether a yarn surely has more than one dye.

    `cells`: shape (n, 3), the yarn's light averaged over cells about as wide as a strand, linear sRGB.
    """
    if len(cells) < 12:
        return False
    oklab = linear_to_oklab(np.clip(cells, 1e-5, None))
    hue = oklab[:, 1:] / np.maximum(oklab[:, :1], _DARK)
    hue = hue - hue.mean(axis=0)
    light = np.log(np.maximum(oklab[:, 0], _DARK))
    light = light - light.mean()
    hue = hue - np.outer(light, light @ hue / max(float(light @ light), 1e-9))
    axis = np.linalg.svd(hue, full_matrices=False)[2][0]
    low, high = np.quantile(hue @ axis, [0.1, 0.9])
    return bool(high - low > _ONE_DYE)


def parts_of(linear: Floats, full: NDArray[np.bool_], count: int | None = None) -> tuple[Part, ...]:
    """Return the dyes of a yarn of several, the largest first.

    `linear`: shape (n, 3), pixels of one yarn in neutral light, linear sRGB, at least one; `full`: shape (n,),
    overexposed pixels; `count`: so many dyes (fewer only where the pixels have fewer colours); without it a number is
    proposed.

    Seeds by farthest points, k-means on hue and chroma apart from light, then the two nearest are joined until all
    stand apart; a small one on the line between two larger is their blur. No random numbers.
    """
    points = _points(linear)
    sample = points[:: max(1, len(points) // 3000)]
    centres = _seeds(sample, 8)
    for _ in range(12):
        own = _nearest(sample, centres)
        centres = np.array(
            [np.median(sample[own == i], axis=0) if (own == i).any() else c for i, c in enumerate(centres)]
        )
    own = _nearest(points, _joined(sample, centres, count))
    luminance = np.maximum(linear @ LUMINANCE, 0)
    parts = []
    for i in np.unique(own):
        # How dyes lie in the light is not known, so the light of each is taken as it is.
        here = own == i
        parts.append(Part(linear=_capped(linear[here], luminance[here], full[here], 1.0), share=float(here.mean())))
    return tuple(sorted(parts, key=lambda part: -part.share))


def _points(linear: Floats) -> Floats:
    """Return places where a colour keeps its own in light and in shade, shape (n, 3)."""
    oklab = linear_to_oklab(np.clip(linear, 1e-5, None))
    light = oklab[:, :1]
    return np.concatenate([_LIGHT * light, _HUE * oklab[:, 1:] / np.maximum(light, 0.4)], axis=1)


def _seeds(points: Floats, count: int) -> Floats:
    """Farthest points, each drawn in to the mean of what lies near it, so that one odd pixel founds nothing."""
    seeds = [np.median(points, axis=0)]
    distance = np.linalg.norm(points - seeds[0], axis=1)
    for _ in range(count - 1):
        far = float(np.quantile(distance, 0.985))
        if far < 3.0:
            break
        at = points[int(np.argmin(np.abs(distance - far)))]
        near = np.linalg.norm(points - at, axis=1) < 4.0
        seeds.append(points[near].mean(axis=0))
        distance = np.minimum(distance, np.linalg.norm(points - seeds[-1], axis=1))
    return np.array(seeds)


def _nearest(points: Floats, centres: Floats) -> NDArray[np.intp]:
    square = (points**2).sum(axis=1)[:, None] - 2 * points @ centres.T + (centres**2).sum(axis=1)
    return np.argmin(square, axis=1)


def _joined(points: Floats, centres: Floats, count: int | None) -> Floats:
    """Join the nearest centres until all stand apart and are neither small nor blurs, or until there are `count`."""
    sizes = np.bincount(_nearest(points, centres), minlength=len(centres)).astype(float)
    centres, sizes = centres[sizes > 0], sizes[sizes > 0]
    while len(centres) > (count or 1):
        gaps = np.linalg.norm(centres[:, None] - centres[None], axis=2) + np.diag([np.inf] * len(centres))
        one, two = divmod(int(np.argmin(gaps)), gaps.shape[1])
        blur = _blur(centres, sizes)
        if count is None and gaps[one, two] > _APART:
            small = int(np.argmin(sizes))
            if blur is not None:
                one, two = blur
            elif len(centres) > _MOST_DYES or sizes[small] < 0.05 * sizes.sum():
                one, two = small, int(np.argmin(gaps[small]))
            else:
                break
        big, little = (one, two) if sizes[one] >= sizes[two] else (two, one)
        # A small neighbour moves the centre in proportion, a blur not at all.
        if blur is None or little != blur[0]:
            centres[big] = np.average(centres[[big, little]], axis=0, weights=sizes[[big, little]])
        sizes[big] += sizes[little]
        centres, sizes = np.delete(centres, little, axis=0), np.delete(sizes, little)
    return centres


def _blur(centres: Floats, sizes: Floats) -> tuple[int, int] | None:
    """Return a small centre on the line between two larger ones, and the nearer of them."""
    for k in np.argsort(sizes):
        if sizes[k] > _BLUR * sizes.sum():
            break
        larger = [i for i in range(len(centres)) if i != k and sizes[i] > sizes[k]]
        for a, b in ((a, b) for i, a in enumerate(larger) for b in larger[i + 1 :]):
            line = centres[b] - centres[a]
            along = float((centres[k] - centres[a]) @ line / max(float(line @ line), 1e-9))
            off = float(np.linalg.norm(centres[k] - centres[a] - along * line))
            if 0.15 < along < 0.85 and off < 0.2 * float(np.linalg.norm(line)):
                return int(k), a if along < 0.5 else b
    return None

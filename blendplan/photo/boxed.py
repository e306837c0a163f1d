"""Where yarn is without a touch: yarns that lie apart on plain ground, and the yarn in a box drawn round it or found.

Ground is what is smooth and keeps its hue, however dark: so a cast shadow is ground, and yarn of the ground's own hue
is told from it by its texture alone. What a box holds and its surroundings do not is its yarn. Round it lies a ring of
cells: where that is plain ground the yarn's outline is what stands out from it; where it is not, the yarn is the
largest colour of the box that the ring has less of; and where the ring is as the box is, all of the box is yarn.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.photo.where import View, alike, disc
from blendplan.photo.white import fit_field
from blendplan.wording import Notice, note

Floats = NDArray[np.float64]
Cells = NDArray[np.float32]
Mask = NDArray[np.bool_]

# Measured below: path-traced skeins with their outlines (four shapes in three lights to set, five other shapes and two
# other lights to judge) and drawn scenes of seed 100; judged on scenes of seed 900.
# Share of the short side that is taken for ground all round (assumed).
_RIM = 0.04
# Ground spreads in chromaticity, relative contrast and logarithm of lightness between these, and reaches so many times
# its own median. Measured.
_HUE, _TEXTURE, _LIGHTER, _TIMES = (0.02, 0.06), (0.02, 0.1), (0.08, 0.3), 3.0
# So much of the rim must be ground. Measured: paper and drawn wood and cloth .9 and more, stripes, checks and shelves
# under .8.
_PLAIN = 0.85
# A sheet of fewer cells is no ground (assumed).
_SHEET = 200
# A shadow may take so much chromaticity for its depth, and be so deep, in log lightness. Measured: .3 holds the light
# of a second window in 95 % of shadows.
_SHADOW_HUE, _DARKEST = 0.3, 0.9
# Beside a yarn, what is less than this share as unlike the ground as the yarn is its penumbra; the yarn's own is looked
# at so many cells in, smoothed over so many. Measured.
_SHARE, _DEEP, _WIDE = 0.4, 4, 6.0
# A yarn covers so much of the photo, and so much of it is unlike the ground (assumed).
_LEAST, _OWN = 0.004, 0.5
# Relative contrast of strands at the photo's edge, and cells from a yarn's middle to its edge. Measured: yarn .033 and
# 7 or more; light on walls, knots and gaps of planks that stand out with it, less in one of the two in 35 of 42.
_STRANDS, _THICK = 0.03, 5
# Two skeins that touch have a waist so much narrower than the narrower one; what is so much thinner than the widest is
# none (assumed).
_WAIST, _SHALLOW = 0.72, 0.35
# Two ends of a skein are one where their colours and log lightness are so near, they and what is between fill so much
# of their convex hull, and the gap, no larger than that, so much of its own. Bands across drawn skeins: .98 and .69 to
# .94; two balls of one yarn leave a waist of .3 (geometry).
_LIKE_HUE, _LIKE_LIGHT, _WHOLE, _STRAIGHT, _WIDEST = 0.015, 0.1, 0.9, 0.6, 1.6
# Cells over which the step at a rim is told, and what a step in chromaticity weighs. Measured.
_EDGE, _HUE_EDGE = 0.7, 2.5


def apart(view: View, leave_out: Mask | None = None) -> tuple[tuple[Mask, ...], tuple[Notice, ...]]:
    """Return the yarns that lie on plain ground with gaps between, or none and what to do.

    `leave_out`: shape (h, w), cells of a sheet or a card that yarn lies on or beside.

    `regions`: shape (h, w), cells of each yarn, its label with it; none where the ground is not plain.
    """
    from scipy.ndimage import label

    unlike = _unlike_rim(view, leave_out)
    if unlike is None:
        return (), (_TOUCH,)
    regions, count = label(outlined(view.colour, unlike))
    pieces: list[Mask] = []
    for index in range(1, count + 1):
        blob = regions == index
        if blob.sum() >= _LEAST * blob.size:
            pieces += [piece for piece in _parted(blob) if _is_yarn(view, piece, unlike)]
    return tuple(_banded(view, pieces)), () if pieces else (_TOUCH,)


def _banded(view: View, pieces: list[Mask]) -> list[Mask]:
    """Return the pieces, two ends of one skein put together that a band as pale as the ground lies between."""
    out = list(pieces)
    for one, two in combinations(pieces, 2):
        if not any(one is p for p in out) or not any(two is p for p in out):
            continue
        apart_by = np.abs(np.median(view.colour[one], axis=0) - np.median(view.colour[two], axis=0))
        if np.hypot(*apart_by[:2]) < _LIKE_HUE and apart_by[2] < _LIKE_LIGHT and _faces(one, two, out):
            out = [one | two if p is one else p for p in out if p is not two]
    return out


def _faces(one: Mask, two: Mask, pieces: list[Mask]) -> bool:
    """Return whether two pieces are cut straight from one convex thing, with nothing but their gap between."""
    from scipy.ndimage import label
    from skimage.morphology import convex_hull_image

    hull: Any = convex_hull_image
    whole: Mask = hull(one | two)
    if any((p & whole).any() for p in pieces if p is not one and p is not two):
        return False
    gaps, count = label(whole & ~one & ~two)
    if not count:
        return False
    gap = gaps == 1 + int(np.argmax(np.bincount(gaps.ravel())[1:]))
    full = (one | two | gap).sum() / whole.sum()
    straight = gap.sum() / hull(gap).sum()
    return bool(full > _WHOLE and straight > _STRAIGHT and gap.sum() < _WIDEST * min(one.sum(), two.sum()))


def _is_yarn(view: View, piece: Mask, unlike: Floats) -> bool:
    """Return whether a piece is large, thick and unlike the ground enough, and not smooth at the photo's edge."""
    from scipy.ndimage import distance_transform_edt

    at_edge = piece[:2].any() or piece[-2:].any() or piece[:, :2].any() or piece[:, -2:].any()
    return bool(
        piece.sum() >= _LEAST * piece.size
        and (unlike[piece] > 1).mean() > _OWN
        and (not at_edge or np.median(view.texture[piece]) > np.log(_STRANDS))
        and distance_transform_edt(np.pad(piece, 1)).max() >= _THICK
    )


_TOUCH = note("no yarn stands out from plain ground; touch each yarn, or draw a box round it", "warning")


def _unlike_rim(view: View, leave_out: Mask | None) -> Floats | None:
    """Return how unlike the ground at the photo's rim, or on a sheet that of the sheet, each cell is.

    None where neither is plain.
    """
    from scipy.ndimage import binary_dilation, binary_erosion

    rim = max(2, round(_RIM * min(view.counts.shape)))
    border = view.counts.copy()
    border[rim:-rim, rim:-rim] = False
    sheet = np.zeros_like(border)
    unlike = np.zeros(view.counts.shape)
    counts = view.counts
    if leave_out is not None and leave_out.sum() > _SHEET:
        sheet = _hulls(leave_out)
        on_sheet = binary_erosion(leave_out & view.counts, iterations=2)
        unlike = np.where(sheet, unlike_ground(view.colour, view.texture, on_sheet)[0], 0.0)
        counts = counts & ~(binary_dilation(sheet, iterations=4) & ~binary_erosion(sheet, iterations=4))
    bare, plain = border & ~sheet, 0.0
    if bare.sum() > 0.2 * border.sum():
        beside, plain = unlike_ground(view.colour, view.texture, bare)
        if plain > _PLAIN:
            unlike = np.where(sheet, unlike, beside)
    if plain <= _PLAIN and not sheet.any():
        return None
    return np.where(counts, unlike, 0.0)


def unlike_ground(colour: Cells, texture: Cells, sample: Mask) -> tuple[Floats, float]:
    """Return how unlike the ground of a sample each cell is, 1 at its edge, and the share of the sample within.

    `colour`, `texture`: shape (h, w, 3) and (h, w), of a `View` or of a window of one; `sample`: shape (h, w), cells of
    which most are ground.
    """
    from scipy.ndimage import gaussian_filter

    hue, light = colour[..., :2].astype(np.float64), colour[..., 2].astype(np.float64)
    texture = np.exp(texture.astype(np.float64))
    near = sample
    for order in (1, 2, 2):
        off = np.linalg.norm(gaussian_filter(hue - fit_field(hue, near, order)[0], (0.6, 0.6, 0)), axis=2)
        near = (off < max(_HUE[0], _TIMES * float(np.median(off[sample])))) & (
            texture < max(_TEXTURE[0], _TIMES * float(np.median(texture[sample])))
        )
        if (near & sample).sum() < 0.5 * sample.sum():
            near = sample
    lighter = light - fit_field(light[..., None], near & sample, 1)[0][..., 0]
    even = near & (np.abs(lighter) < 0.25)
    lighter = light - fit_field(light[..., None], even if even.any() else near & sample, 2)[0][..., 0]
    # A shadow takes the hue of the other lamp, and the noise of the camera, the same in code values, weighs more in it.
    darker = np.maximum(-lighter, 0)
    off = np.maximum(off - _SHADOW_HUE * darker, 0)
    unlike = (np.maximum(darker - _DARKEST, 0) / _LIGHTER[1]) ** 2
    for part, (least, most), noise in ((off, _HUE, 1.0), (texture, _TEXTURE, np.exp(darker)), (lighter, _LIGHTER, 1.0)):
        usual = _TIMES * float(np.median(np.abs(part[sample])))
        unlike = unlike + (np.maximum(part, 0) / np.clip(usual * noise, least, most)) ** 2
    unlike = np.sqrt(unlike)
    return unlike, float((unlike[sample] < 1).mean())


def outlined(colour: Cells, unlike: Floats) -> Mask:
    """Return what stands out from the ground, its rim where the step is steepest.

    `colour`: shape (h, w, 3), of a `View` or of a window of one; `unlike`: shape (h, w), as of `unlike_ground`.
    """
    from scipy.ndimage import binary_dilation, binary_erosion, gaussian_filter, gaussian_gradient_magnitude
    from skimage.segmentation import watershed

    rough = _settled(unlike > 1)
    core = binary_erosion(rough, iterations=_DEEP)
    core |= rough & ~binary_dilation(core, iterations=_DEEP + 2)
    weight = gaussian_filter(core.astype(np.float64), _WIDE)
    level = gaussian_filter(np.where(core, np.minimum(unlike, 30), 0.0), _WIDE) / np.maximum(weight, 1e-6)
    body = _settled(rough & (unlike > np.maximum(1, _SHARE * level)))
    steps = [
        w * gaussian_gradient_magnitude(colour[..., i], _EDGE) for i, w in ((0, _HUE_EDGE), (1, _HUE_EDGE), (2, 1))
    ]
    markers = binary_erosion(body, iterations=2) + 2 * ~binary_dilation(body)
    flood: Any = watershed
    outlined: Mask = flood(np.sqrt(sum(s**2 for s in steps)), markers) == 1
    return outlined


def _settled(mask: Mask) -> Mask:
    """Return a mask without gaps, holes and specks."""
    from scipy.ndimage import binary_closing, binary_fill_holes, binary_opening

    closed = binary_closing(np.pad(mask, 6), iterations=2)[6:-6, 6:-6]
    out: Mask = binary_opening(binary_fill_holes(closed), iterations=2)
    return out


def _parted(blob: Mask) -> list[Mask]:
    """Cut a blob at its waists."""
    from scipy.ndimage import distance_transform_edt, gaussian_filter, label
    from skimage.segmentation import watershed

    depth = gaussian_filter(distance_transform_edt(np.pad(blob, 1))[1:-1, 1:-1], 2.0)
    markers = np.zeros(blob.shape, dtype=np.int32)
    left, top = np.where(blob, depth, 0.0), float(depth.max())
    places: list[Any] = []
    while True:
        at = np.unravel_index(int(np.argmax(left)), left.shape)
        if left[at] < max(_SHALLOW * top, 1.0):
            break
        basin, _ = label(depth * blob > _WAIST * left[at])
        own = basin == basin[at]
        if not any(own[p] for p in places):
            places.append(at)
            markers[at] = len(places)
        left = np.where(own, 0.0, left)
    if len(places) < 2:
        return [blob]
    flood: Any = watershed
    cut = flood(-depth, markers, mask=blob)
    return [cut == i for i in range(1, len(places) + 1)]


def _hulls(mask: Mask) -> Mask:
    """Return the convex hull of each piece of a sheet: the yarn on it is inside."""
    from scipy.ndimage import label
    from skimage.morphology import convex_hull_image

    pieces, count = label(mask)
    out = np.zeros_like(mask)
    for index in range(1, count + 1):
        piece = pieces == index
        if piece.sum() > 50:
            fill: Any = convex_hull_image
            out |= fill(piece)
    return out


# Set on path-traced yarns of four shapes, drawn scenes of seed 100 and boxes on half of the real photographs; judged on
# five other shapes, two other lights, seed 900 and the other half.
# Cells of the ring: at least four, or that share of the box's short side; fewer than 30 tell nothing. Assumed.
_RING, _FEW = (4, 0.12), 30
# Ground is plain where so much of the ring is alike; a pile or a shelf is not (assumed).
_PLAIN_RING = 0.7
# What stands out from plain ground is the yarn's outline where it is so much of the box (assumed); it lies alone where
# so little of it goes on beyond the box, otherwise it is a pile. Measured: alone under .01.
_SOME, _ALL, _BEYOND = 0.25, 0.97, 0.02
# An outline so thin that this share is left without its rim is taken with its rim (assumed).
_THIN = 0.4
# Most of a box is one yarn: with a label across it .55 to .6 of it still is; .5 splits yarn of two shades (measured).
_MOSTLY = 0.55
# What is alike is looked for again until it settles: on drawn scenes by the fifth time.
_REFITS = 8
# What is left of a patch off its ground is at least so much; otherwise the ground was yarn (assumed).
_KEPT = 0.6
# Cells of an outline's own rim that are not read: yarn and ground share them.
RIM = 1
# Cells about which the larger part says what a place is, half the width of a piece that is no hollow, and cells of rim
# where ground may shine in. Measured: 2 to 3, 2 to 3 and 1 to 3 alike.
_ABOUT, _PIECE, _SHINE = 3.0, 2, 2
# Where the ring holds more than this of what the box does, both are of the same (measured, .5 to .7 alike).
_AS_MUCH = 0.5
# A paper band on yarn of its own hue: lighter in log lightness, level (90 % quantile over median), nearly without
# chroma, so large, and parting the yarn in two. Measured: bands on drawn and path-traced yarn rise by .26 to .62, are
# .01 to .13 uneven and part .2 to .4 of the yarn; the lit sides of path-traced yarn without one part under .02 of it,
# those of thin loose hanks .15 with .14 to .25. None is found on plain real yarn.
_BAND, _LEVEL, _GREY, _BAND_LEAST, _PARTED = 0.2, 0.14, 0.12, 0.05, 0.16
# A yarn is looked for from so many places each way, each of so many cells; it is so much of the box. Assumed.
_SEEDS, _SEED, _LEAST_OF_BOX = 4, 3, 0.3


def inside_box(view: View, box: Sequence[float]) -> Mask:
    """Return the yarn in a box drawn round it, or in one that lies within it.

    `box`: (left, top, right, bottom), pixels of the upright photo; it lies in the photo.

    At least one cell.
    """
    window, wide, ring = _ringed(view, box)
    out = np.zeros(view.counts.shape, dtype=bool)
    colour, texture, counts = view.colour[wide], view.texture[wide], view.counts[wide]
    within, around = counts & ~ring, counts & ring
    if not within.any():
        out[window] = True
        return out
    if around.sum() < _FEW:
        out[wide] = within
        return out
    unlike, plain = unlike_ground(colour, texture, around)
    if plain > _PLAIN_RING:
        stands = outlined(colour, np.where(counts, unlike, 0.0))
        if _SOME < (stands & within).sum() / within.sum() < _ALL:
            alone = (stands & ring).sum() < _BEYOND * (stands & within).sum()
            out[wide] = _of_one_yarn(colour, texture, stands & within, None if alone else around)
            return out
    out[wide] = _unlike_ring(colour, texture, within, around)
    return out


def off_the_ground(view: View, region: Mask) -> Mask:
    """Return a patch without the halo of ground that is as pale as its yarn, where the ground round it is plain."""
    from scipy.ndimage import binary_erosion

    rows, columns = np.nonzero(region)
    if not len(rows):
        return region
    cells = (columns.min(), rows.min(), columns.max() + 1, rows.max() + 1)
    _, wide, ring = _ringed(view, [float(cell) / view.scale for cell in cells])
    colour, texture, counts = view.colour[wide], view.texture[wide], view.counts[wide]
    if (counts & ring).sum() < _FEW:
        return region
    unlike, plain = unlike_ground(colour, texture, counts & ring)
    if plain <= _PLAIN_RING:
        return region
    out = region.copy()
    out[wide] &= binary_erosion(outlined(colour, np.where(counts, unlike, 0.0)), iterations=RIM)
    return out if out.sum() > _KEPT * region.sum() else region


def without_band(view: View, region: Mask) -> Mask:
    """Return a region without the pale paper band of a yarn that is as grey as paper, or a gap that shows paper."""
    from scipy.ndimage import binary_closing, binary_dilation, binary_erosion, binary_opening, label, median_filter

    rows, columns = np.nonzero(region)
    if len(rows) < _FEW:
        return region
    window = np.s_[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]
    colour, inner = view.colour[window], region[window]
    light = median_filter(colour[..., 2], 3)
    lighter = inner & (light > np.median(light[inner]) + _BAND)
    # The print on a band is dark.
    lighter = binary_opening(binary_closing(lighter, iterations=_PIECE) & inner)
    band = binary_dilation(lighter, iterations=_PIECE) & inner
    core, rest = binary_erosion(lighter), inner & ~band
    if lighter.sum() < _BAND_LEAST * inner.sum() or not core.any() or not rest.any():
        return region
    middle, top = np.quantile(colour[..., 2][core], [0.5, 0.9])
    level = top - middle < _LEVEL and np.hypot(*np.median(colour[..., :2][core], axis=0)) < _GREY
    rise = middle - np.median(colour[..., 2][rest])
    sides = np.sort(np.bincount(label(binary_opening(rest))[0].ravel())[1:])
    parted = len(sides) > 1 and sides[-2] > _PARTED * inner.sum()
    if not (level and parted and rise > _BAND):
        return region
    out = region.copy()
    out[window] &= ~band
    return out


def _ringed(view: View, box: Sequence[float]) -> tuple[tuple[slice, slice], tuple[slice, slice], Mask]:
    """Return the window of a box, the window with a ring round it, and the ring in the latter."""
    left, top, right, bottom = (v * view.scale for v in box)
    rows, columns = view.counts.shape
    y0, x0 = min(int(top), rows - 1), min(int(left), columns - 1)
    y1, x1 = min(max(y0 + 1, round(bottom)), rows), min(max(x0 + 1, round(right)), columns)
    width = max(_RING[0], round(_RING[1] * min(y1 - y0, x1 - x0)))
    wide = np.s_[max(0, y0 - width) : y1 + width, max(0, x0 - width) : x1 + width]
    ring = np.ones((rows, columns), dtype=bool)
    ring[y0:y1, x0:x1] = False
    return np.s_[y0:y1, x0:x1], wide, ring[wide]


def _of_one_yarn(colour: Cells, texture: Cells, region: Mask, around: Mask | None) -> Mask:
    """Return the yarn that most of an outline holds; where no yarn is most of it, the one its surroundings lack.

    Without surroundings, what no yarn is most of is one yarn of several shades.
    """
    from scipy.ndimage import binary_erosion

    inner = binary_erosion(region, iterations=RIM)
    if inner.sum() < _THIN * region.sum():
        inner = region
    # First beside one level of light: what has its own, as a label has, would vouch for itself.
    core = inner & alike(colour, texture, inner, first=True)
    like = _refitted(colour, texture, core if core.any() else inner, inner)
    deep = binary_erosion(inner, iterations=_SHINE)
    members = _with_hollows(like, inner) & (deep | like)
    if members.sum() >= _MOSTLY * inner.sum():
        return members
    if around is None:
        return deep if deep.any() else inner
    return _with_hollows(_lacking(colour, texture, inner, around), inner)


def _unlike_ring(colour: Cells, texture: Cells, within: Mask, around: Mask) -> Mask:
    """Return the yarn of a box on ground that is not plain; all of the box where the ring is of the same."""
    like = _refitted(colour, texture, within, within | around)
    here, beside = (like & within).sum() / within.sum(), (like & around).sum() / around.sum()
    if here < _MOSTLY:
        return _with_hollows(_lacking(colour, texture, within, around), within)
    return within if beside > _AS_MUCH * here else _with_hollows(like & within, within)


def _refitted(colour: Cells, texture: Cells, members: Mask, open_to: Mask) -> Mask:
    for _ in range(_REFITS):
        members = open_to & alike(colour, texture, members, first=False)
        if not members.any():
            break
    return members


def _with_hollows(like: Mask, inner: Mask) -> Mask:
    """Return the places of which most are alike: with hollows, glints and flecks, without the print of a label."""
    from scipy.ndimage import binary_opening, gaussian_filter

    share = gaussian_filter(like.astype(np.float32), _ABOUT)
    other = share <= 0.5 * gaussian_filter(inner.astype(np.float32), _ABOUT)
    return (
        inner & ~binary_opening(np.pad(other, _PIECE, mode="edge"), iterations=_PIECE)[_PIECE:-_PIECE, _PIECE:-_PIECE]
    )


def _lacking(colour: Cells, texture: Cells, inner: Mask, around: Mask) -> Mask:
    """Return the largest yarn of a region that there is less of round it, or all of the region."""
    rows, columns = np.nonzero(inner)
    density = inner.sum() / around.sum()
    best, most = inner, _LEAST_OF_BOX * inner.sum()
    place = (np.arange(_SEEDS) + 0.5) / _SEEDS
    for y in rows.min() + place * np.ptp(rows):
        for x in columns.min() + place * np.ptp(columns):
            seed = inner & disc(inner.shape, (round(y), round(x)), _SEED)
            if seed.sum() < _SEED**2:
                continue
            like = _refitted(colour, texture, seed, inner | around)
            more = (like & inner).sum() - density * (like & around).sum()
            if more > most:
                best, most = like & inner, float(more)
    return best

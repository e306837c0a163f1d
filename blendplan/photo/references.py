"""What in a photo has a known colour, and the light that all of it tells together.

White paper found or pointed at, a 24-patch card (flat squares of one size on a lattice of six by four), a grey, a yarn
whose shade is known: each becomes a reference, what the photo shows there and what it should; one fit of all of them is
the photo's light.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import (
    adapt_xyz,
    delta_e_2000,
    hex_to_linear,
    lab_to_linear,
    linear_to_lab,
    srgb_to_linear,
    xyz_to_linear,
)
from blendplan.errors import PhotoError
from blendplan.photo.light import GREY_CARD_LEVEL, PAPER_LEVEL, Light, Reference, fit_light
from blendplan.photo.loading import Photo
from blendplan.photo.shade import several_dyes, whole_light
from blendplan.photo.where import FULL, View, grow, pixels_of
from blendplan.photo.white import Paper, Small, White, believe, find_paper
from blendplan.units import number
from blendplan.wording import Notice, note, rounded
from blendplan.yarn import Shade

Floats = NDArray[np.float64]

# The part of a patch that is read, about its middle.
_CORE = 0.28
# At least so many of the 24 patches must be seen as flat squares; assumed.
_LEAST_SEEN = 13
# Corners whose balanced patches are further off than this on average (CIEDE2000) hold no card; assumed.
_MOST_OFF = 16.0


@cache
def patch_values() -> tuple[Floats, Floats]:
    """Return the 24 published values as linear sRGB and as CIELAB, both under D65 by the Bradford transform.

    The maker's values for cards made after November 2014, as in colour-science; row by row from dark skin to black.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    table = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    x, y, luminance = np.array(list(table.data.values())).T
    xyz = np.stack([x / y * luminance, luminance, (1 - x - y) / y * luminance], axis=1)
    linear = xyz_to_linear(adapt_xyz(xyz, colour.xy_to_XYZ(table.illuminant)))
    return linear, linear_to_lab(linear)


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A colour card in a photo."""

    corners: tuple[tuple[float, float], ...]  # full-size pixels, from dark skin round by bluish green, black and white
    patches: tuple[tuple[float, float, float], ...]  # what the photo shows of each, linear sRGB
    places: tuple[tuple[float, float], ...]  # the middle of each, -1 to 1 over the photo


def read_card(photo: Photo, corners: str | Sequence[tuple[float, float]]) -> Card:
    """Return the card at four corners of the photo (full-size pixels), or found where "auto" is given."""
    points = np.asarray(find_card(photo) if isinstance(corners, str) else corners, dtype=np.float64)
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
    seen, places = _patches(photo, points * photo.scale)
    off = _off(seen)
    if off > _MOST_OFF:
        raise PhotoError(
            "the corners given in {name} do not hold a 24-patch colour card (its patches are off by {de} CIEDE2000); "
            "tap the corners in the order dark skin, bluish green, black, white.",
            name=photo.name,
            de=round(off, 1),
        )
    return Card(
        corners=tuple((float(x), float(y)) for x, y in points),
        patches=tuple((float(r), float(g), float(b)) for r, g, b in seen),
        places=tuple((float(x), float(y)) for x, y in places),
    )


def find_card(photo: Photo) -> list[tuple[float, float]]:
    """Return the four corners of a card (full-size pixels), from dark skin round by bluish green, black, white."""
    squares, side = _squares(photo)
    lattice = _lattice(squares, side) if len(squares) >= _LEAST_SEEN else None
    if lattice is not None:
        turns = (lattice, np.roll(lattice, 2, axis=0), lattice[[1, 0, 3, 2]], lattice[[3, 2, 1, 0]])
        off = [_off(_patches(photo, corners)[0]) for corners in turns]
        if min(off) <= _MOST_OFF:
            return [(float(x / photo.scale), float(y / photo.scale)) for x, y in turns[int(np.argmin(off))]]
    raise PhotoError("no 24-patch colour card was found in {name}; give its four corners.", name=photo.name)


def _off(seen: Floats) -> float:
    """Return how far balanced patches lie from their published values on average, CIEDE2000."""
    wanted, lab = patch_values()
    balanced = seen * np.median(wanted.clip(1e-3) / seen.clip(1e-3), axis=0)
    return float(delta_e_2000(linear_to_lab(np.clip(balanced, 0, None)), lab).mean())


def _patches(photo: Photo, corners: Floats) -> tuple[Floats, Floats]:
    """Return the median light of the 24 patches, linear sRGB, and their places, -1 to 1; corners in working pixels."""
    grid = _homography(corners)
    height, width = photo.srgb8.shape[:2]
    light, places = [], []
    steps = np.linspace(-_CORE, _CORE, 9)
    for row in range(4):
        for column in range(6):
            u, v = np.meshgrid((column + 0.5 + steps) / 6, (row + 0.5 + steps) / 4)
            place = np.stack([u.ravel(), v.ravel(), np.ones(u.size)]).T @ grid.T
            x, y = place[:, 0] / place[:, 2], place[:, 1] / place[:, 2]
            column_at, row_at = (np.clip(v.astype(int), 0, n - 1) for v, n in ((x, width), (y, height)))
            light.append(np.median(srgb_to_linear(photo.srgb8[row_at, column_at] / 255), axis=0))
            places.append((2 * x.mean() / max(width - 1, 1) - 1, 2 * y.mean() / max(height - 1, 1) - 1))
    return np.array(light), np.array(places)


def _homography(corners: Floats) -> Floats:
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


Mask = NDArray[np.bool_]
Triple = tuple[float, float, float]

# A place is plain where nine of ten pixels lie within so many codes of its median. Cards and paper: 99 of 100 within 7;
# yarn: 95 of 100 beyond 10.
_PLAIN_CODES = 10.0
# Radius of the place that is read, of the longer side.
_RADIUS = 0.012
# How far a yarn's light as a whole is off from one photo to the next, CIEDE2000: a tight ball of a yarn reads 3 to 5
# L* lighter than a hank of it (path-traced).
WOUND = 4.0
# Stands for a bound that is not known; assumed, about that of a shade read without white.
UNKNOWN = 15.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pointed:
    """A thing in the photo whose colour the maker knows, and where it is.

    Attributes
    ----------
    kind : {"white", "grey", "known"}
    spot : (x, y)
        Pixels of the upright photo at full size.
    reflectance : float or None
        Of a white (.86, paper, unless told) or a grey (.18, the usual grey card, unless told), .02 to 1.
    srgb : str or None
        `#rrggbb` by daylight of a known thing: a yarn, or anything of one colour.
    """

    kind: Literal["white", "grey", "known"]
    spot: tuple[int, int]
    reflectance: float | None = None
    srgb: str | None = None

    def __post_init__(self) -> None:
        put = object.__setattr__
        x, y = self.spot
        put(self, "spot", (round(number(x, "reference", -1e6, 1e6)), round(number(y, "reference", -1e6, 1e6))))
        if self.reflectance is not None:
            number(self.reflectance, "reflectance of the reference", 0.02, 1.0)
        if (self.kind == "known") != (self.srgb is not None):
            raise PhotoError("a known thing needs its colour, such as #b35c37; white and grey need none.")
        if self.srgb is not None:
            hex_to_linear(self.srgb)

    @property
    def level(self) -> float:
        """The reflectance told, or that of white paper or of the usual grey card."""
        usual = GREY_CARD_LEVEL if self.kind == "grey" else PAPER_LEVEL
        return usual if self.reflectance is None else self.reflectance


def reference_at(photo: Photo, view: View, pointed: Pointed) -> Reference:
    """Return the reference at a spot of the photo: a small plain place, or the yarn there where its shade is known.

    `view`: of the same photo.
    """
    width, height = photo.full_size
    x, y = pointed.spot
    about = {"x": x, "y": y, "name": photo.name}
    if not (0 <= x < width and 0 <= y < height):
        raise PhotoError(
            "the reference {x},{y} does not lie in {name}; allowed is 0,0 to {width},{height}; choose a place inside.",
            **about,
            width=width - 1,
            height=height - 1,
        )
    codes = _disc(photo, (x, y))
    middle = np.median(codes, axis=0) if len(codes) else np.zeros(3)
    if float(middle.max()) >= FULL:
        raise PhotoError(
            "the reference {x},{y} of {name} is overexposed, too bright to read; photograph it darker.", **about
        )
    if float(middle.max()) < 8:
        raise PhotoError("the reference {x},{y} of {name} is black or see-through; choose a lighter place.", **about)
    if float(np.quantile(np.abs(codes - middle).max(axis=1), 0.9)) <= _PLAIN_CODES:
        shown, doubt = srgb_to_linear(codes / 255).mean(axis=0), 0.0
    else:
        region = grow(view, [(x, y)]) if pointed.kind == "known" else np.zeros(view.counts.shape, dtype=bool)
        if not region.any() or several_dyes(view.linear[region]):
            raise PhotoError(
                "a reference on no plain place: what lies at {x},{y} of {name} is not of one colour; choose the middle "
                "of a smooth, evenly lit place.",
                **about,
            )
        shown, doubt = _as_a_whole(photo, view, region), WOUND
    wanted = np.full(3, pointed.level) if pointed.srgb is None else hex_to_linear(pointed.srgb)
    return Reference(
        kind=pointed.kind,
        linear_rgb=_triple(shown),
        wanted=_triple(wanted),
        x=2 * x / max(width - 1, 1) - 1,
        y=2 * y / max(height - 1, 1) - 1,
        doubt_light=doubt,
    )


def of_white(photo: Photo, white: White, level: float) -> Reference:
    """Return a white that was found or pointed at, of a reflectance, as a reference."""
    width, height = photo.full_size
    left, top, right, bottom = white.box or (0, 0, width, height)
    return Reference(
        kind="white" if level >= 0.5 else "grey",
        linear_rgb=_triple(level * np.asarray(white.linear_rgb)),
        wanted=(level, level, level),
        x=(left + right) / max(width, 1) - 1,
        y=(top + bottom) / max(height, 1) - 1,
        field=white.field if len(white.field) > 1 else (),
    )


def of_card(card: Card) -> tuple[Reference, ...]:
    """Return the patches of a colour card as references; those with a full channel stay out, and black ones."""
    wanted, _ = patch_values()
    full = float(srgb_to_linear(FULL / 255))
    dark = float(srgb_to_linear(6 / 255))
    return tuple(
        Reference(kind="card", linear_rgb=shown, wanted=_triple(want), x=x, y=y)
        for shown, want, (x, y) in zip(card.patches, wanted, card.places, strict=True)
        if max(shown) < full and max(shown) > dark
    )


def of_yarn(photo: Photo, view: View, region: Mask, shade: Shade) -> Reference:
    """Return a yarn whose shade was read in another photo as a reference for this one.

    `view`: of the same photo; `region`: cells of the view that show the yarn; `shade`: as read in the other photo.
    """
    rows, columns = np.nonzero(region)
    height, width = region.shape
    # A bound is what nine of ten errors of three directions stay below: 2.5 standard deviations.
    doubt = (UNKNOWN if shade.within is None else shade.within) / 2.5
    return Reference(
        kind="known",
        linear_rgb=_triple(_as_a_whole(photo, view, region)),
        wanted=_triple(lab_to_linear(shade.lab)),
        x=2 * (float(columns.mean()) + 0.5) / width - 1,
        y=2 * (float(rows.mean()) + 0.5) / height - 1,
        doubt=doubt,
        doubt_light=WOUND,
    )


def _as_a_whole(photo: Photo, view: View, region: Mask) -> Triple:
    pixels = pixels_of(photo, view, region)
    return whole_light(pixels.linear, pixels.full, white=True)


def _triple(values: Any) -> Triple:
    red, green, blue = (float(v) for v in values)
    return (red, green, blue)


def _disc(photo: Photo, spot: tuple[float, float]) -> Floats:
    """Return the codes of the pixels of a small disc, shape (n, 3)."""
    height, width = photo.srgb8.shape[:2]
    x, y = (min(int(v * photo.scale), n - 1) for v, n in zip(spot, (width, height), strict=True))
    radius = max(3.0, _RADIUS * max(height, width))
    reach = int(radius) + 1
    window = np.s_[max(0, y - reach) : y + reach + 1, max(0, x - reach) : x + reach + 1]
    part, counts = photo.srgb8[window], photo.counts[window]
    rows, columns = np.indices(counts.shape)
    inside = np.hypot(rows - min(y, reach), columns - min(x, reach)) <= radius
    return np.asarray(part[inside & counts], dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What a photo's light is to be read from; see `blendplan.photo.read_photo`."""

    white: str = "auto"
    pointed: tuple[Pointed, ...] = ()
    card: str | Sequence[tuple[float, float]] | None = None
    light: Light | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lit:
    """A photo's light and where it was read."""

    light: Light  # fitted to all references; with none in `seen` where there are none
    white: White | None = None  # the first white
    card: Card | None = None
    ask: tuple[White, ...] = ()  # what may be white paper and took no part
    mask: Mask | None = None  # pixels of the small photo that hold white or card
    notices: tuple[Notice, ...] = ()


def lit_by(photo: Photo, small: Small, view: View, given: Given, yarn: Mask | None = None) -> Lit:
    """Return the light that all references of a photo tell together.

    `view`: both of the same photo; `yarn`: where there is yarn, in the small photo: no paper.
    """
    if given.light is not None:
        cards = any(one.kind == "card" for one in given.light.seen)
        told = (note("the colour card of another photo was used", "assumed"),) if cards else ()
        return Lit(light=given.light, notices=told)
    card, mask = (None, None) if given.card is None else _card(photo, small, given.card)
    references = [] if card is None else list(of_card(card))
    notices: list[Notice] = []
    white: White | None = None
    ask: tuple[White, ...] = ()
    for at in _whites(given):
        level = PAPER_LEVEL if at is None else at.level
        paper = find_paper(small, photo.full_size, yarn) if at is None else _believed(photo, small, at)
        notices += paper.notices
        found, here, ask = paper.taken, paper.mask, paper.ask
        if found is None or here is None:
            continue
        if found.mixed:
            notices.append(note("the light changes colour across the photo; use one lamp or a window alone", "warning"))
        white, mask = white or found, here if mask is None else mask | here
        references.append(of_white(photo, found, level))
    references += [reference_at(photo, view, p) for p in given.pointed if p.kind != "white"]
    light = fit_light(references)
    return Lit(light=light, white=white, card=card, ask=ask, mask=mask, notices=(*notices, *_told(light, ask)))


def _whites(given: Given) -> list[Pointed | None]:
    """Return the whites pointed at; None stands for one that is to be looked for."""
    whites: list[Pointed | None] = [p for p in given.pointed if p.kind == "white"]
    neutral = whites or given.card is not None or any(p.kind == "grey" for p in given.pointed)
    return whites if neutral or given.white == "off" else [None]


def _believed(photo: Photo, small: Small, at: Pointed) -> Paper:
    white, mask, notices = believe(photo, small, at.spot, at.level)
    return Paper(taken=white, mask=mask, notices=notices)


def _card(photo: Photo, small: Small, corners: str | Sequence[tuple[float, float]]) -> tuple[Card, Mask]:
    card = read_card(photo, corners)
    rows, columns = np.mgrid[0 : small.linear.shape[0], 0 : small.linear.shape[1]]
    return card, inside_quad(columns, rows, np.asarray(card.corners) * small.scale, 1.12)


def _told(light: Light, ask: tuple[White, ...]) -> tuple[Notice, ...]:
    """Return what is to be said of the references."""
    if not light.seen and ask:
        return (
            note(
                "there may be white paper in this photo; until you say so, the shades are only as true as the photo's "
                "own colours",
                "warning",
            ),
        )
    if not light.seen:
        return (
            note(
                "no white paper was found; the shades are only as true as the photo's own colours; "
                "tap something white, or put white paper under the yarn",
                "warning",
            ),
        )
    off = rounded(float(np.mean(light.residuals)), 1)
    if any(one.kind == "card" for one in light.seen):
        return (note("the colour card was used; its patches are off by {de} CIEDE2000 after the fit", de=off),)
    if len(light.seen) > 1:
        return (
            note(
                "{n} references were used together; they are off by {de} CIEDE2000 after the fit",
                n=len(light.seen),
                de=off,
            ),
        )
    return ()

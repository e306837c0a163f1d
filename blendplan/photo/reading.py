"""From a photo to the shades of its yarns: the light, where each yarn is, its shade, and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import into_gamut, linear_to_hex, linear_to_lab
from blendplan.errors import PhotoError
from blendplan.photo.boxed import RIM, apart, inside_box, off_the_ground, without_band
from blendplan.photo.light import AS_SHOWN, LUMINANCE, Light
from blendplan.photo.loading import Photo, load_photo
from blendplan.photo.references import Card, Given, Lit, Pointed, lit_by
from blendplan.photo.shade import Part, parts_of, several_dyes, whole_light
from blendplan.photo.sure import Evidence, sure
from blendplan.photo.where import (
    Box,
    Pixels,
    Polygon,
    Touched,
    View,
    box_of,
    grow,
    outline,
    pixels_of,
    touched,
    view_of,
)
from blendplan.photo.white import Paper, Small, White, find_paper, log_light, shrink, terms
from blendplan.units import choice, number, whole
from blendplan.wording import Notice, note
from blendplan.yarn import Shade, Yarn, even_shares


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where one yarn is shown: by a box round it, or by one touch on it or more. Pixels of the upright photo.

    Attributes
    ----------
    box : (left, top, right, bottom) or None
    touches : tuple of (x, y)
    dyes : int or None
        How many shades the maker says it has, 1 to 8; 0 for several, whose number is proposed; None where she did
        not say: then it has one unless it surely has more.
    """

    box: Box | None = None
    touches: tuple[tuple[int, int], ...] = ()
    dyes: int | None = None

    def __post_init__(self) -> None:
        put = object.__setattr__
        if (self.box is None) == (not self.touches):
            raise PhotoError("a yarn is shown by a box or by touches on it; give one of the two.")
        if self.box is not None:
            if len(self.box) != 4:
                raise PhotoError(
                    "a box needs four numbers, {given} were given; write left,top,right,bottom.", given=len(self.box)
                )
            put(self, "box", tuple(round(number(v, "box", -1e6, 1e6)) for v in self.box))
        touches = tuple(
            (round(number(x, "touch", -1e6, 1e6)), round(number(y, "touch", -1e6, 1e6))) for x, y in self.touches
        )
        put(self, "touches", touches)
        if self.dyes is not None:
            whole(self.dyes, "number of shades", 0, 8)


@dataclass(frozen=True, slots=True, kw_only=True)
class YarnReading:
    """One yarn of a photo."""

    place: Place  # as it was shown, or the box that was found
    box: Box  # (left, top, right, bottom), as it was given, or round what was read; pixels of the upright photo
    shades: tuple[Shade, ...]
    outline: tuple[Polygon, ...] = ()  # round what was read
    # Share of the yarn's pixels that are overexposed in a channel, with those left out because all are.
    clipped: float = 0.0
    notices: tuple[Notice, ...] = ()

    def __repr__(self) -> str:
        """Return box and shades in one line."""
        return f"<YarnReading {self.box}: {', '.join(shade.srgb for shade in self.shades)}>"

    def yarn(self, name: str, **fields: Any) -> Yarn:
        """Return the yarn that was read, under a name; what its band says by further fields of `Yarn`."""
        return Yarn(name=name, shades=self.shades, **fields)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoReading:
    """What was read from one photo: its light, and its yarns, which it lists like a sequence."""

    name: str
    white: White | None = None  # the white that was found or pointed at
    yarns: tuple[YarnReading, ...] = ()
    notices: tuple[Notice, ...] = ()
    card: Card | None = None  # the 24-patch colour card
    # What the shades were brought to daylight by: fitted to the white, the card and all else that was pointed at.
    light: Light = AS_SHOWN
    # Places that may be white paper and took no part: the maker is asked; to say yes, point at the `spot` of one.
    ask: tuple[White, ...] = ()

    def __repr__(self) -> str:
        """Return the photo's name and its yarns in one line."""
        return f"<PhotoReading {self.name}: {list(self.yarns)}>"

    def __len__(self) -> int:
        return len(self.yarns)

    def __getitem__(self, position: int) -> YarnReading:
        return self.yarns[position]

    def yarn(self, name: str, **fields: Any) -> Yarn:
        """Return the one yarn of the photo, as `YarnReading.yarn`."""
        if len(self.yarns) != 1:
            raise PhotoError(
                "{n} yarns were read from {photo}; take one by its number, such as reading[0].yarn({name}).",
                n=len(self.yarns),
                photo=self.name,
                name=repr(name),
            )
        return self.yarns[0].yarn(name, **fields)

    @property
    def chart_error(self) -> float | None:
        """Mean CIEDE2000 of the card's patches after the fit; None without a card."""
        left = [off for one, off in zip(self.light.seen, self.light.residuals, strict=True) if one.kind == "card"]
        return round(float(np.mean(left)), 2) if left else None

    def to_json(self) -> dict[str, Any]:
        """Return the reading as plain values, in the shape of the command line's contract."""
        white = None
        if self.white is not None:
            white = {
                "kind": self.white.kind,
                "box": None if self.white.box is None else list(self.white.box),
                "srgb": linear_to_hex(self.white.linear_rgb),
                "confidence": round(self.white.confidence, 2),
            }
        elif self.light.lent:
            white = {
                "kind": "shared",
                "box": None,
                "srgb": linear_to_hex(self.light.white),
                "confidence": 0.85 if self.light.level_known else 0.6,
            }
        return {
            "photo": self.name,
            "white": white,
            "ask": [
                {"box": list(one.box or ()), "at": list(one.spot or ()), "srgb": linear_to_hex(one.linear_rgb)}
                for one in self.ask
            ],
            "chart_error": self.chart_error,
            "references": [
                {"kind": one.kind, "srgb": linear_to_hex(one.wanted), "off": off}
                for one, off in zip(self.light.seen, self.light.residuals, strict=True)
            ],
            "notices": [n.text for n in self.notices],
            "yarns": [
                {
                    "box": list(yarn.box),
                    "shades": [shade_to_json(s) for s in yarn.shades],
                    "notices": [n.text for n in yarn.notices],
                }
                for yarn in self.yarns
            ],
        }


def shade_to_json(shade: Shade) -> dict[str, Any]:
    """Return a shade as plain values, in the shape of the command line's contract."""
    return {
        "srgb": shade.srgb,
        "lab": [round(v, 2) for v in shade.lab],
        "share": shade.share,
        "spread": round(shade.spread, 2),
        "within": shade.within,
        "kind": shade.kind,
        "reasons": list(shade.reasons),
    }


Mask = NDArray[np.bool_]

# Holds for nearly every photo on white paper.
WHITE_ON_WHITE = note("white yarn on white paper is easily missed; check that each yarn is marked")
# Where more than this share of a yarn is overexposed in every channel there is nothing to read; assumed.
_TOO_BRIGHT = 0.5
# Nothing but paper: more of a box than this is paper (assumed), and there, or so many pixels of the small photo about a
# touch, its log light keeps so near to the paper's. Measured on 25 photographs: 9 of 10 places on bare paper do, of
# touches on white yarn far out of focus 4 of 10, of boxes round it or in the middle of it none (over .087).
_ALL_PAPER, _NEAR, _LEVEL = 0.97, 8, 0.03


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Opened:
    """A photo and what readings of it share; kept by who reads it again and again, as after each touch."""

    photo: Photo
    view: View
    small: Small
    sign: str  # the photo's
    # Cells of each yarn that was read; what is touched goes by all that was touched before it too.
    regions: dict[tuple[Place, ...], Mask]
    # What was read of them, by their regions and the light.
    yarns: dict[tuple[Place, Light, White | None], tuple[Mask, YarnReading]]


def opened(photo: Photo) -> Opened:
    """Return a photo made ready to be read more than once."""
    return Opened(photo=photo, view=view_of(photo), small=shrink(photo), sign=photo.sign, regions={}, yarns={})


def read_photo(
    photo: Photo | Opened | str | Path,
    places: Sequence[Place] | None = None,
    *,
    at: tuple[float, float] | Sequence[tuple[float, float]] | None = None,
    boxes: Sequence[Sequence[float]] | None = None,
    white: str | tuple[float, float] = "auto",
    pointed: Sequence[Pointed] = (),
    card: str | Sequence[tuple[float, float]] | None = None,
    light: Light | None = None,
) -> PhotoReading:
    """Return the shades of the yarns in a photo.

    Parameters
    ----------
    photo : Photo, Opened, str or Path
        A photo, or the path of one.
    places : sequence of Place, optional
        Where the yarns are; without places, touches and boxes they are found, where the ground is plain.
    at : (x, y) or sequence of (x, y), optional
        More places, each a touch on one yarn.
    boxes : sequence of (left, top, right, bottom), optional
        More places, each a box round one yarn.
    white : "auto", "off" or (x, y)
        Find the paper where no white, grey or card is pointed at, use none that is not pointed at, or take the spot
        (full-size pixels) as white paper: short for one `Pointed` of kind "white".
    pointed : sequence of Pointed
        Whites, greys, and yarns or other things whose colour is known, any of them together.
    card : None, "auto" or four corners
        A 24-patch colour card: find it, or its corners (full-size pixels) going round from the outer corner of the
        dark skin patch by those of the bluish green, black and white patches.
    light : Light, optional
        Read in this light, such as that of a photo taken together, and look for no reference.

    Raises
    ------
    PhotoError
        If a box, a touch, a spot or a corner lies outside the photo, what it shows is too bright to read, or two
        references contradict each other.
    """
    seen = photo if isinstance(photo, Opened) else opened(photo if isinstance(photo, Photo) else load_photo(photo))
    photo, view = seen.photo, seen.view
    if at is not None or boxes is not None:
        touches = () if at is None else (at,) if isinstance(at[0], (int, float)) else at
        places = [*(places or ()), *(Place(touches=(touch,)) for touch in touches)]  # type: ignore[arg-type]
        places += [Place(box=tuple(box)) for box in boxes or ()]  # type: ignore[arg-type]
    if not isinstance(white, str):
        pointed, white = [Pointed(kind="white", spot=white), *pointed], "off"  # type: ignore[arg-type]
    choice(white, "white", ("auto", "off"))
    given = Given(white=white, pointed=tuple(pointed), card=card, light=light)
    marked = [] if places is None else shown(seen, places)
    if given.white == "auto" and light is None and not any(one.kind == "white" for one in pointed):
        _check_off_paper(seen, [place for place, _ in marked])
    lit = lit_by(photo, seen.small, view, given, _seen_by(marked, seen.small))
    notices = [*photo.notices, *lit.notices]
    if places is None:
        regions, said = apart(view, _in_cells(lit.mask, view))
        notices += said
        if regions and lit.white is not None:
            notices.append(WHITE_ON_WHITE)
        # Read as a box is, so that reading again with the boxes as they stand gives the same shades.
        marked = shown(seen, [Place(box=box_of(view, region)) for region in regions])
    yarns = tuple(_yarn(seen, lit, place, region) for place, region in marked)
    return PhotoReading(
        name=photo.name,
        white=lit.white,
        card=lit.card,
        light=lit.light,
        ask=lit.ask,
        yarns=_signed(yarns, seen.sign),
        notices=tuple(notices),
    )


def _in_cells(mask: Mask | None, view: View) -> Mask | None:
    """Return a mask of the small photo in the cells of the view."""
    return None if mask is None else _scaled(mask, view.counts.shape)


def _signed(yarns: tuple[YarnReading, ...], sign: str) -> tuple[YarnReading, ...]:
    """Return readings whose shades say in which photo they were read."""
    return tuple(replace(y, shades=tuple(replace(s, photo=sign) for s in y.shades)) for y in yarns)


def _seen_by(marked: Sequence[tuple[Place, Mask]], small: Small) -> Mask | None:
    """Return in the small photo what is yarn of the cells of the view."""
    if not marked:
        return None
    return _scaled(np.logical_or.reduce([region for _, region in marked]), small.counts.shape)


def _scaled(mask: Mask, shape: tuple[int, ...]) -> Mask:
    rows, columns = (
        np.minimum((np.arange(n) + 0.5) * m / n, m - 1).astype(int) for n, m in zip(shape, mask.shape, strict=True)
    )
    return mask[rows][:, columns]


def yarn_touched(photo: Photo | Opened, places: Sequence[Place], touch: tuple[int, int]) -> Touched:
    """Return what a further touch means beside the yarns shown so far: one of them, more of one, or another.

    `places`: the yarns shown so far; `touch`: (x, y), pixels of the upright photo.
    """
    seen = photo if isinstance(photo, Opened) else opened(photo)
    known = shown(seen, places)
    return touched(seen.view, [region for _, region in known], touch, _taken(seen, known))


def _taken(seen: Opened, known: Sequence[tuple[Place, Mask]]) -> Mask:
    """Return the cells of the yarns that were shown by touches; a further one does not take them."""
    held = [region for place, region in known if place.touches]
    return np.logical_or.reduce([np.zeros(seen.view.counts.shape, dtype=bool), *held])


def shown(seen: Opened, places: Sequence[Place]) -> list[tuple[Place, Mask]]:
    """Return each place with the cells of its yarn; what one yarn has by touch the next does not take."""
    view = seen.view
    before: tuple[Place, ...] = ()
    out: list[tuple[Place, Mask]] = []
    for place in places:
        bare = replace(place, dyes=None)
        if place.box is not None:
            _check_box(seen.photo, place.box)
            if (bare,) not in seen.regions:
                seen.regions[(bare,)] = without_band(view, inside_box(view, place.box))
            out.append((place, seen.regions[(bare,)]))
            continue
        before = (*before, bare)
        if before not in seen.regions:
            region = grow(view, place.touches, _taken(seen, out))
            if not region.any():
                raise PhotoError(
                    "the touch {x},{y} of {name} lies on a yarn that was touched before; leave it out, or touch "
                    "another yarn.",
                    x=place.touches[0][0],
                    y=place.touches[0][1],
                    name=view.name,
                )
            seen.regions[before] = without_band(view, off_the_ground(view, region))
        out.append((place, seen.regions[before]))
    return out


def _check_box(photo: Photo, box: Box) -> None:
    left, top, right, bottom = box
    width, height = photo.full_size
    if not (0 <= left < right <= width and 0 <= top < bottom <= height):
        raise PhotoError(
            "the box {box} does not lie in {name}; allowed is 0,0 to {width},{height} with left before right.",
            box=f"{left},{top},{right},{bottom}",
            name=photo.name,
            width=width,
            height=height,
        )


def _check_off_paper(seen: Opened, places: Sequence[Place]) -> None:
    """Refuse a place on what surely is bare white paper: it would be read as a yarn, and be no white any more."""
    paper = find_paper(seen.small, seen.photo.full_size) if places else Paper()
    if paper.taken is None or paper.mask is None:
        return
    rows, columns = paper.mask.shape
    field = np.asarray(paper.taken.field)
    # How the light lies about that of the paper: smooth white yarn is round, and so it is not the paper's.
    off = (log_light(seen.small.linear) - terms(paper.mask.shape)[..., : len(field)] @ field).mean(axis=2)
    for place in places:
        spots = [(f"{x},{y}", (x, y, x + 1, y + 1), _NEAR) for x, y in place.touches]
        spots += [] if place.box is None else [(",".join(str(v) for v in place.box), place.box, 0)]
        for named, box, near in spots:
            left, top, right, bottom = (v * seen.small.scale for v in box)
            x, y = min(int(left), columns - 1), min(int(top), rows - 1)
            below, beyond = max(y + 1, round(bottom)), max(x + 1, round(right))
            if paper.mask[y:below, x:beyond].mean() <= _ALL_PAPER:
                continue
            window = np.s_[max(0, y - near) : below + near, max(0, x - near) : beyond + near]
            if float(off[window][paper.mask[window]].std()) < _LEVEL:
                raise PhotoError(
                    "{place} of {name} lies on the white paper; show the yarn itself, with a box round it if it is as "
                    "white, or say --white off if there is no paper.",
                    place=named,
                    name=seen.photo.name,
                )


def swatch_shade(
    photo: Photo,
    box: Sequence[float],
    *,
    white: str | tuple[float, float] = "auto",
    light: Light | None = None,
) -> Shade:
    """Return the one colour of a crocheted swatch of several strands: its light as a whole.

    `box`: (left, top, right, bottom), pixels of the upright photo at full size, inside the swatch; `white`, `light`: as
    `read_photo`; strands beside the swatch must be read in the same light.
    """
    left, top, right, bottom = box
    place = Place(box=(round(left), round(top), round(right), round(bottom)), dyes=1)
    return read_photo(photo, [place], white=white, light=light).yarns[0].shades[0]


def _yarn(seen: Opened, lit: Lit, place: Place, region: Mask) -> YarnReading:
    """Return what is read of a yarn, or was read of the same region in the same light."""
    key = (place, lit.light, lit.white)
    kept, reading = seen.yarns.get(key, (None, None))
    if reading is None or kept is not region:
        reading = _read_yarn(seen, lit, place, region)
        seen.yarns[key] = region, reading
    return reading


def _read_yarn(seen: Opened, lit: Lit, place: Place, region: Mask) -> YarnReading:
    photo, view = seen.photo, seen.view
    box = place.box or box_of(view, region)
    about = {"box": ",".join(str(v) for v in box), "name": photo.name}
    if not (region & view.counts).any():
        raise PhotoError("the box {box} of {name} holds only see-through pixels; move it onto the yarn.", **about)
    if float(view.full[region].mean()) > _TOO_BRIGHT:
        raise PhotoError("the yarn at {box} of {name} is too bright to read: photograph it darker.", **about)
    pixels = pixels_of(photo, view, region, lit.light, place.box)
    several = place.dyes is not None and place.dyes != 1
    notices = []
    if place.dyes is None and several_dyes(view.linear[region]):
        several = True
        notices.append(
            note("this yarn seems to have several shades; join, split or drop them as you see it", "assumed")
        )
    parts: tuple[Part, ...]
    if several:
        parts = parts_of(pixels.linear, pixels.full, place.dyes or None)
    else:
        level = whole_light(pixels.linear, pixels.full, white=bool(lit.light.seen))
        parts = (Part(linear=level, share=1.0),)
    burnt = _burnt(view, region, box)
    clipped = burnt + (1 - burnt) * float(pixels.full.mean())
    read = tuple(_shade(part, lit, pixels, clipped, seen.small) for part in parts)
    return YarnReading(
        place=place,
        box=box,
        shades=even_shares(read),
        outline=outline(view, region, rim=0 if place.touches else RIM),
        clipped=clipped,
        notices=tuple(notices),
    )


def _burnt(view: View, region: Mask, box: Box) -> float:
    """Return the share of a yarn that is white with overexposure and so was left out of it.

    What is so and lies wholly in the yarn's box is taken for yarn; overexposed ground goes on beyond it.
    """
    from scipy.ndimage import label

    left, top, right, bottom = (v * view.scale for v in box)
    rows, columns = np.ogrid[: region.shape[0], : region.shape[1]]
    inside = (rows >= top - 1) & (rows < bottom + 1) & (columns >= left - 1) & (columns < right + 1)
    full = (view.full > _TOO_BRIGHT) & ~region
    if not (full & inside).any():
        return 0.0
    pieces, _ = label(full)
    lost = full & inside & ~np.isin(pieces, np.unique(pieces[full & ~inside]))
    return float(lost.sum() / (lost.sum() + region.sum()))


def _shade(part: Part, lit: Lit, pixels: Pixels, clipped: float, small: Small) -> Shade:
    lab = linear_to_lab(into_gamut(np.clip(part.linear, 0.0, None)))
    own = np.maximum(pixels.linear @ LUMINANCE, 0)
    mean = max(float(own.mean()), 1e-6)
    seen = Evidence(
        linear=part.linear,
        share=part.share,
        pixels=round(part.share * len(own)),
        clipped=clipped,
        uneven=float(own.std()) / mean,
        gain=float(np.dot(part.linear, LUMINANCE)) / mean,
        warmth=small.warmth,
        dim=small.dim,
    )
    told = sure(seen, lit.light, lit.white)
    return Shade(
        lab=(float(np.clip(round(lab[0], 2), 0, 100)), float(round(lab[1], 2)), float(round(lab[2], 2))),
        share=round(part.share, 4),
        within=told.within,
        reasons=told.reasons,
        kind="whole",
    )

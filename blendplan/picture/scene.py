"""The blanket drawn: stripes in their strands' colours over rows of stitches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import hex_to_linear
from blendplan.errors import QuantityError
from blendplan.picture.distance import encode
from blendplan.picture.geometry import (
    LIGHTS,
    MIXES,
    Geometry,
    Layouts,
    View,
    as_layouts,
    light_levels,
    mixtures,
    prepare,
)
from blendplan.units import number, whole

__all__ = [
    "BACKGROUND",
    "DrawnStripe",
    "blanket_size_cm",
    "draw_blanket",
    "paint",
    "shape_of",
    "stripe_heights_px",
    "view_of",
    "window_of_repeat",
    "window_of_stripe",
]

Window = tuple[float, float, float, float]
Colour = str | tuple[float, float, float]

BACKGROUND = "#e9e7e2"
# Near-white yarn has no room for highlights: they are bent below white, by a curve of this power, and the rest
# is lifted by at most this factor to keep the mean; beyond that the drawn yarn is a little darker than its shade.
ROLL_OFF, MOST_LIFT = 8.0, 1.3
BAND_PX = 4_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnStripe:
    """One stripe as the picture needs it.

    Attributes
    ----------
    strand_colours : tuple of str or of (r, g, b)
        `#rrggbb` or linear sRGB of each strand, 1 to 4 of them.
    rows : int
    label : str
    """

    strand_colours: tuple[Colour, ...]
    rows: int
    label: str = ""

    def __post_init__(self) -> None:
        whole(len(self.strand_colours), "strands of a drawn stripe", 1, 4)
        whole(self.rows, "rows of a drawn stripe", 1, 5000)
        for colour in self.strand_colours:
            _light(colour)


def _light(colour: Colour) -> NDArray[np.float64]:
    rgb = hex_to_linear(colour) if isinstance(colour, str) else np.asarray(colour, dtype=np.float64)
    if rgb.shape != (3,) or not np.isfinite(rgb).all():
        raise QuantityError("a strand colour of {given} was given; three finite numbers are needed.", given=str(colour))
    return np.clip(rgb, 0.0, 1.0)


def shape_of(stripes: Sequence[DrawnStripe]) -> tuple[tuple[int, int], ...]:
    """Return (rows, strands) of each stripe: all that the geometry depends on, and a key to keep it under."""
    return tuple((s.rows, len(s.strand_colours)) for s in stripes)


def blanket_size_cm(stripes: Sequence[DrawnStripe], layout: Layouts) -> tuple[float, float]:
    """Return width and height of the drawn blanket, wave at both edges included, centimetres."""
    rows = as_layouts(layout)
    return rows[0].width_cm, sum(s.rows for s in stripes) * rows[0].rise_cm + max(row.wave_cm for row in rows)


def window_of_stripe(
    stripes: Sequence[DrawnStripe], layout: Layouts, stripe: int, *, width_cm: float | None = None
) -> Window:
    """Return a window (left, bottom, right, top) with one stripe in the middle, a row of its neighbours with it.

    Parameters
    ----------
    stripes, layout
        As drawn.
    stripe : int
        Counted from 0.
    width_cm : float, optional
        The whole width by default; else so much about the middle.
    """
    layout = as_layouts(layout)[0]
    which = whole(stripe, "stripe", 0, len(stripes) - 1)
    below = sum(s.rows for s in stripes[:which]) * layout.rise_cm
    above = below + stripes[which].rows * layout.rise_cm + layout.wave_cm
    half = (layout.width_cm if width_cm is None else min(width_cm, layout.width_cm)) / 2
    middle, room = layout.width_cm / 2, layout.rise_cm
    return (middle - half, below - room, middle + half, above + room)


def window_of_repeat(stripes: Sequence[DrawnStripe], layout: Layouts, *, row: int = 0) -> Window:
    """Return a window about one repeat in the middle of the blanket, from a row (counted from 0) on.

    The window is a little wider than the run of stitches that comes again, and three quarters as high.
    """
    layout = as_layouts(layout)[0]
    first, last = layout.runs[len(layout.runs) // 2]
    left = float(layout.top[first:last, 0].min()) - layout.stitch_width_cm
    right = float(layout.top[first:last, 0].max()) + layout.stitch_width_cm
    bottom = row * layout.rise_cm - 0.5
    return (left, bottom, right, bottom + 0.75 * (right - left))


def view_of(
    stripes: Sequence[DrawnStripe],
    layout: Layouts,
    *,
    size_px: tuple[int, int] | None = None,
    px_per_cm: float | None = None,
    window: Window | None = None,
) -> View:
    """Return the view of a window in true proportion.

    Parameters
    ----------
    stripes, layout
        As drawn.
    size_px : (width, height), optional
        The window is fitted into it, the rest is background; (1600, 1200) where no scale is given either.
    px_per_cm : float, optional
        Scale, instead of a size.
    window : (left, bottom, right, top), optional
        Centimetres from the blanket's lower left corner; the whole blanket with a margin by default.

    Raises
    ------
    QuantityError
        If the window is empty or the picture would be larger than 400 million pixels.
    """
    width, height = blanket_size_cm(stripes, layout)
    margin = 0.02 * max(width, height) + 0.5 * as_layouts(layout)[0].stitch_width_cm
    left, bottom, right, top = window or (-margin, -margin, width + margin, height + margin)
    number(right - left, "width of the window", 1e-3, 1e5, "cm")
    number(top - bottom, "height of the window", 1e-3, 1e5, "cm")
    if px_per_cm is None:
        w, h = size_px or (1600, 1200)
        whole(w, "width of the picture", 1, 100_000)
        whole(h, "height of the picture", 1, 100_000)
        px_per_cm = min(w / (right - left), h / (top - bottom))
    else:
        number(px_per_cm, "pixels per cm", 0.05, 5000)
        w, h = size_px or (
            max(1, round((right - left) * px_per_cm)),
            max(1, round((top - bottom) * px_per_cm)),
        )
    if w * h > 400_000_000:
        raise QuantityError(
            "a picture of {width} x {height} pixels was asked for; at most 400 million pixels are drawn; "
            "take a smaller window or scale.",
            width=w,
            height=h,
        )
    return View(
        px_per_cm=float(px_per_cm),
        left=round((left + right) / 2 * px_per_cm - w / 2),
        top=-round((bottom + top) / 2 * px_per_cm + h / 2),
        width=w,
        height=h,
    )


def stripe_heights_px(stripes: Sequence[DrawnStripe], layout: Layouts, view: View) -> tuple[float, ...]:
    """Return the height in the picture, pixels from its top, of each stripe's middle at the right edge."""
    layout = as_layouts(layout)[-1]
    ends = np.cumsum([0, *(s.rows for s in stripes)]) * layout.rise_cm
    edge = float(layout.outline[-1, 1])
    return tuple(float(-((a + b) / 2 + edge) * view.px_per_cm - view.top) for a, b in pairwise(ends))


def _lights_for(rgb: NDArray[np.float64], weights: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the light levels for one yarn, bent below white with the mean kept as far as `MOST_LIFT` allows."""
    levels = light_levels()
    room = 1.0 / max(float(rgb.max()), 1e-6)

    def bent(lift: float) -> NDArray[np.float64]:
        return lift * levels / (1 + (lift * levels / room) ** ROLL_OFF) ** (1 / ROLL_OFF)

    low, high = 1.0, MOST_LIFT
    for _ in range(30):
        lift = (low + high) / 2
        low, high = (lift, high) if weights @ bent(lift) < weights @ levels else (low, lift)
    return bent(high)


def _table(geometry: Geometry, bundles: Sequence[Sequence[Colour]], background: str) -> NDArray[np.float32]:
    """Return the light of every code of some bundles of strands, shape (bundles + 1, mixtures, lights, 3), flat."""
    table = np.zeros((len(bundles) + 1, MIXES, LIGHTS, 3), dtype=np.float32)
    known: dict[Colour, NDArray[np.float64]] = {}
    for slot, strands in enumerate(bundles):
        parts = []
        for colour in strands:
            if colour not in known:
                rgb = _light(colour)
                known[colour] = _lights_for(rgb, geometry.light_weights)[:, None] * rgb
            parts.append(known[colour])
        shares = mixtures(len(strands))
        table[slot, : len(shares)] = np.tensordot(shares, np.stack(parts), axes=1)
    table[-1] = (light_levels()[:, None] * _light(background)).astype(np.float32)
    return table.reshape(-1, 3)


def paint(
    geometry: Geometry, colours: Sequence[Sequence[Colour]], *, background: str = BACKGROUND
) -> NDArray[np.uint8]:
    """Return the picture of a drawing in colours, 8-bit sRGB, shape (h, w, 3).

    Parameters
    ----------
    geometry : Geometry
        From `prepare`; reused while only colours change.
    colours : sequence of strand colours, one a stripe
    background : str
        `#rrggbb`.

    Raises
    ------
    QuantityError
        If the stripes or their strands are not as many as were prepared.

    Notes
    -----
    Light is mixed, never codes: a pixel is the sum over strands of share x light x the yarn's colour.
    The mean light of plain cloth is 1, so the mean over a stripe of one yarn is the yarn's own shade, which
    was read off yarn with its shadows; of two yarns it is the mean of their light.
    """
    if tuple(len(c) for c in colours) != geometry.strands:
        raise QuantityError(
            "colours for {given} strands in the stripes were given; the drawing was prepared for {allowed}.",
            given=[len(c) for c in colours],
            allowed=list(geometry.strands),
        )
    # Stripes of the same strands share their part of the table, whose rows are counted by bundle, not by stripe.
    bundles: dict[tuple[Colour, ...], int] = {}
    bundle_of = [bundles.setdefault(tuple(strands), len(bundles)) for strands in colours]
    light = _table(geometry, tuple(bundles), background)
    each = MIXES * LIGHTS
    move = each * (np.array([*bundle_of, len(bundles)]) - np.arange(len(colours) + 1))

    def rows(code: NDArray[np.uint32]) -> NDArray[np.int64]:
        found = np.take(move, code // each)
        found += code
        return found

    packed = np.zeros((len(light), 4), dtype=np.uint8)
    packed[:, :3] = encode(light)
    pixels = np.take(packed.view(np.uint32).reshape(-1), rows(geometry.code))
    picture = np.ascontiguousarray(pixels.view(np.uint8).reshape(*geometry.code.shape, 4)[..., :3])
    share = geometry.edge_share[:, None]
    first = light[rows(geometry.code.reshape(-1)[geometry.edge])]
    second = light[rows(geometry.edge_code)]
    picture.reshape(-1, 3)[geometry.edge] = encode(first + share * (second - first))
    return picture


def draw_blanket(
    stripes: Sequence[DrawnStripe],
    layout: Layouts,
    *,
    size_px: tuple[int, int] | None = None,
    px_per_cm: float | None = None,
    window: Window | None = None,
    seed: int = 0,
    back_loops: bool = True,
    background: str = BACKGROUND,
) -> NDArray[np.uint8]:
    """Return the blanket, or a window of it, as 8-bit sRGB, shape (h, w, 3).

    Parameters are those of `view_of`, `prepare` and `paint`.
    A large picture is drawn in bands; that changes no byte while a stitch is under 30 pixels wide, and at most
    a stray 8-bit code by one where stitches are larger.

    Examples
    --------
    >>> from blendplan.fabric.layout import lay_row
    >>> from blendplan.fabric.rows import Part, Row, Step
    >>> row = Row(name="plain", parts=(Part(steps=(Step(kind="each", stitch="dc", count=6),)),))
    >>> layout = lay_row(row, stitch_width_cm=1.1, row_height_cm=2.0)
    >>> stripes = [DrawnStripe(strand_colours=("#8a4b3c", "#d9c7a0"), rows=3)]
    >>> draw_blanket(stripes, layout, size_px=(80, 60)).shape
    (60, 80, 3)
    """
    view = view_of(stripes, layout, size_px=size_px, px_per_cm=px_per_cm, window=window)
    shape, colours = shape_of(stripes), [s.strand_colours for s in stripes]
    band = max(64, BAND_PX // view.width)
    if view.height <= band:
        return paint(prepare(shape, layout, view, seed=seed, back_loops=back_loops), colours, background=background)
    picture = np.empty((view.height, view.width, 3), dtype=np.uint8)
    for y in range(0, view.height, band):
        part = View(
            px_per_cm=view.px_per_cm,
            left=view.left,
            top=view.top + y,
            width=view.width,
            height=min(band, view.height - y),
        )
        geometry = prepare(shape, layout, part, seed=seed, back_loops=back_loops)
        picture[y : y + band] = paint(geometry, colours, background=background)
    return picture

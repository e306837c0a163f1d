"""The blanket drawn: stripes in their strands' colours over rows of stitches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendplan.blend.strands import LENT, lit_together
from blendplan.budgets import MAX_ROWS
from blendplan.colour import hex_to_linear
from blendplan.errors import QuantityError
from blendplan.picture.canvas import BACKGROUND, Colour, View, cut_out, light_of, paint
from blendplan.picture.geometry import Ends, Layouts, Shape, as_layouts, prepare, prepare_strip
from blendplan.units import number, whole

Window = tuple[float, float, float, float]

# Room round a strip for what stands over its borders, and how high the feet of the next row stand on it, stitch widths.
ROOM_AROUND, FEET = 1.4, 0.65
BAND_PX = 4_000_000
# A thick strand hides a thin one beyond its width: shares of light in the drawing go with this power of the widths, by
# how many are held (drawn double crochet, widths 1 to 3 times each other: 1.58 to 1.68, 1.27 to 1.44; assumed for
# four).
HIDES = {1: 1.0, 2: 1.58, 3: 1.36, 4: 1.2}
# Steps of widths, so that stitches drawn once serve many pairs, and the thinnest that is drawn beside a thick one.
STEPS, THINNEST = 20, 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnStripe:
    """One stripe as the picture needs it."""

    strand_colours: tuple[Colour, ...]  # `#rrggbb` or linear sRGB of each strand, 1 to 4 of them
    rows: int
    # How thick each strand is for the stitch, 0.3 to 2, 1 is usual; all usual where none is given.
    widths: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        whole(len(self.strand_colours), "strands of a drawn stripe", 1, 4)
        whole(self.rows, "rows of a drawn stripe", 1, MAX_ROWS)
        if not self.widths:
            object.__setattr__(self, "widths", (1.0,) * len(self.strand_colours))
        if len(self.widths) != len(self.strand_colours):
            raise QuantityError(
                "{given} widths were given for {allowed} strands; give one for each.",
                given=len(self.widths),
                allowed=len(self.strand_colours),
            )
        for colour in self.strand_colours:
            light_of(colour)

    @classmethod
    def of(
        cls,
        colours: Sequence[Colour | NDArray[np.float64]],
        rows: int,
        *,
        shares: Sequence[float] | None = None,
        fullness: float = 1.0,
        lent: float = LENT,
    ) -> DrawnStripe:
        """Return a stripe of strands as they lie together: lit by each other, as thick as the shares that they show.

        `colours`: `#rrggbb` or linear sRGB of each strand in a solid of its own; `shares`: visible shares; equal by
        default; `fullness`: how thick the strands are for the stitch, taken together, 0.7 to 1.2; 1 is usual; `lent`:
        as of `blendplan.blend.strands.lit_together`.
        """
        many = len(colours)
        shown = np.full(many, 1 / many) if shares is None else np.asarray(shares, dtype=np.float64) / sum(shares)
        own = [hex_to_linear(c) if isinstance(c, str) else np.asarray(c, dtype=np.float64) for c in colours]
        light = lit_together(own, shown, lent=lent)
        power = HIDES[many]
        widths = shown ** (1 / power)
        widths = np.clip(np.round(STEPS * widths * many / widths.sum()) / STEPS, THINNEST, 2 - THINNEST)
        # What such strands show, and the light that brings its mean to that of the shares.
        drawn = widths**power / np.sum(widths**power)
        surplus = np.maximum(shown - drawn, 0)
        if surplus.sum() > 1e-9:
            kept = np.minimum(shown / drawn, 1)[:, None]
            light = kept * light + (1 - kept) * (surplus @ light / surplus.sum())
        return cls(
            strand_colours=tuple((float(r), float(g), float(b)) for r, g, b in light),
            rows=rows,
            widths=tuple(round(fullness * w, 4) for w in widths.tolist()),
        )


def shape_of(stripes: Sequence[DrawnStripe]) -> tuple[Shape, ...]:
    """Return the shape of each stripe: all that the geometry depends on, and a key to keep it under."""
    return tuple(Shape(rows=s.rows, widths=s.widths) for s in stripes)


def blanket_size_cm(stripes: Sequence[DrawnStripe], layout: Layouts) -> tuple[float, float]:
    """Return width and height of the drawn blanket, wave at both edges included, centimetres."""
    rows = as_layouts(layout)
    return rows[0].width_cm, sum(s.rows for s in stripes) * rows[0].rise_cm + max(row.wave_cm for row in rows)


def view_of(
    stripes: Sequence[DrawnStripe],
    layout: Layouts,
    *,
    size_px: tuple[int, int] | None = None,
    px_per_cm: float | None = None,
    window: Window | None = None,
) -> View:
    """Return the view of a window in true proportion.

    `stripes`, `layout`: as drawn; `size_px`: the window is fitted into it, the rest is background; (1600, 1200) where
    no scale is given either; `px_per_cm`: scale, instead of a size; `window`: centimetres from the blanket's lower left
    corner; the whole blanket with a margin by default.
    """
    width, height = blanket_size_cm(stripes, layout)
    margin = 0.02 * max(width, height) + 0.7 * as_layouts(layout)[0].stitch_width_cm
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


@dataclass(frozen=True, slots=True, kw_only=True)
class StripFrame:
    """Where a strip lies on the blanket and where it is cut, centimetres; the foot line of its first row is y = 0."""

    width_cm: float  # of the blanket
    # From a row to the next. The foot line of a stripe on n rows lies n times as high as that of the first.
    rise_cm: float
    room_cm: float  # yarn may stand over the left and right edge by so much
    low_cm: float  # how far the strip reaches below its foot line: teeth, and the depth of the wave
    wave_cm: float
    stitch_cm: float
    # The wave: corners (x from the blanket's left edge, y up) of a line just above the feet of a row that stands on the
    # foot line. A strip drawn with rows to spare is cut to r rows by what lies under this line r rows higher up.
    edge: tuple[tuple[float, float], ...]

    @classmethod
    def of(cls, layout: Layouts) -> StripFrame:
        """Return the frame of all strips of a layout."""
        rows = as_layouts(layout)
        row, wave = rows[0], max(r.wave_cm for r in rows)
        room = ROOM_AROUND * row.stitch_width_cm
        lowest = min(float(r.base[:, 1].min()) + r.rise_cm for r in rows)
        x = np.array([-room, *row.outline[:, 0], row.width_cm + room])
        up = row.wave_y(x) + FEET * row.stitch_width_cm
        return cls(
            width_cm=row.width_cm,
            rise_cm=row.rise_cm,
            room_cm=room,
            low_cm=room + wave - lowest,
            wave_cm=wave,
            stitch_cm=row.stitch_width_cm,
            edge=tuple(zip(x.tolist(), up.tolist(), strict=True)),
        )

    def high_cm(self, rows: int) -> float:
        """Return how far a strip of so many rows reaches above its foot line."""
        return rows * self.rise_cm + self.wave_cm + self.room_cm

    def view(self, rows: int, px_per_cm: float) -> View:
        """Return the pixels of a strip."""
        left, top, low = -round(self.room_cm * px_per_cm), -round(self.high_cm(rows) * px_per_cm), self.low_cm
        width = round((self.width_cm + 2 * self.room_cm) * px_per_cm)
        return View(px_per_cm=px_per_cm, left=left, top=top, width=width, height=round(low * px_per_cm) - top)


def draw_strip(
    stripe: DrawnStripe,
    layout: Layouts,
    ends: Ends | None = None,
    *,
    px_per_cm: float,
    seed: int = 0,
    back_loops: bool = True,
) -> NDArray[np.uint8]:
    """Return one stripe drawn alone, see-through where it ends: sRGB and cover, shape (h, w, 4).

    Strips laid over one another from the first worked to the last, each where `StripFrame` tells, are the picture of
    the blanket. At the foot hang the teeth of the first row, see-through between them, which lie over the stripe below;
    over the top stand the feet of one more row in the same colours, which the next stripe covers.
    The seed begins anew at each stripe, so a strip depends on these arguments alone, not on where it goes: it can be
    drawn ahead, kept under them, and moved. A stripe that comes to stand on an odd number of rows instead of an even
    one changes from its front strip to its back strip.

    `stripe`: a few rows more than needed leave something to pull up; `ends`: what it begins and ends with; `px_per_cm`:
    scale; pixels a stitch are this times `layout.stitch_width_cm`; `seed`, `back_loops`: as of `draw_blanket`.

    Examples
    --------
    >>> from blendplan.fabric.layout import lay_row
    >>> from blendplan.fabric.rows import Part, Row, Step
    >>> row = Row(name="plain", parts=(Part(steps=(Step(kind="each", stitch="dc", count=6),)),))
    >>> layout = lay_row(row, stitch_width_cm=1.1, row_height_cm=2.0)
    >>> stripe = DrawnStripe.of(["#8a4b3c", "#d9c7a0"], 6)
    >>> draw_strip(stripe, layout, Ends(starts="back"), px_per_cm=14.0).shape
    (212, 136, 4)
    """
    view = StripFrame.of(layout).view(stripe.rows, float(number(px_per_cm, "pixels per cm", 0.05, 5000)))
    drawn = prepare_strip(shape_of([stripe])[0], layout, view, ends=ends or Ends(), seed=seed, back_loops=back_loops)
    return cut_out(drawn, [stripe.strand_colours])


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

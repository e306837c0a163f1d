"""Gauge: how wide a stitch and how high a row is, what that rests on, and how far it may be off.

Newer knowledge replaces older: a yarn class gives the first guess, a measured chain or first row the width, a
swatch everything.
"""

from __future__ import annotations

import math
from bisect import bisect
from collections.abc import Sequence
from dataclasses import replace

from blendplan.errors import FabricError
from blendplan.fabric.ripple import STITCHES, Worked
from blendplan.record import held, record
from blendplan.units import choice, number, whole
from blendplan.wording import Level, Notice, Rounded, note, rounded
from blendplan.yarn import M_PER_100_G

# Stitch width over row height (trade facts, section 3, read Nov 2026: measured sets; sc and dc agree in several,
# hdc in two, tr is derived). Single crochet through the back loops only is about square.
WIDTH_OVER_HEIGHT = {"sc": 1.10, "hdc": 0.73, "dc": 0.55, "tr": 0.38}
BACK_LOOP_SC = 1.0

# Double crochets in 4 in of one strand, by weight class (trade facts, section 3: the weight system's single crochet
# range at its middle, DK raised to the two measured sets; assumed for 0, 1, 6 and 7), and half the range as a share.
DC_PER_4_IN = {0: 37.0, 1: 26.5, 2: 18.0, 3: 16.5, 4: 12.5, 5: 9.5, 6: 7.5, 7: 4.5}
CLASS_SPREAD = {0: 0.14, 1: 0.21, 2: 0.11, 3: 0.17, 4: 0.12, 5: 0.16, 6: 0.20, 7: 0.25}
# Two strands: published factors run from 0.667 to 0.72 about the root's 0.707 (trade facts, section 2a).
ROOT_SPREAD = 0.04
# Middle of the hook range of a class, mm (weight system as reprinted; 7 assumed); strands held together add as squares,
# 1.41 for two alike (trade facts, section 2c: no agreed rule, 1.3 to 1.9 seen).
HOOK_MM = {0: 2.25, 1: 3.0, 2: 4.0, 3: 5.0, 4: 6.0, 5: 7.75, 6: 12.0, 7: 16.0}
# Hooks that are sold, mm (trade facts, section 1: a shop's chart to 10 mm, the larger ones from memory), and from where
# on a hook is told of as hard to find and hard to hold.
HOOKS_MM = (2.25, 2.75, 3.25, 3.5, 3.75, 4, 4.5, 5, 5.5, 6, 6.5, 7, 8, 9, 10, 12, 15, 16, 19, 20, 25)
LARGE_HOOK_MM = 20.0
# A bigger hook widens the stitch by less than its own factor: one pair of counts, 138 on 6 mm and 108 on 9 to 10 mm
# for about the same width, gives an exponent of 0.48 to 0.61 (trade facts, section 6b; assumed).
HOOK_EXPONENT = 0.5

# What a width or a height can rest on, oldest knowledge first, each with the spread it leaves (assumed but for
# "class", which is worked out from the table).
BASES = {"class": 0.15, "tex": 0.15, "chain": 0.07, "first-row": 0.04, "swatch": 0.05, "ripple-swatch": 0.03}
_WIDTH_RESTS = {
    "class": "Stitch width is taken from the weight class; it may be off by {spread} %.",
    "tex": "Stitch width is taken from the thickness of the yarn; it may be off by {spread} %.",
    "chain": "Stitch width was measured on the foundation chain; it may be off by {spread} %.",
    "first-row": "Stitch width was measured on the first row; it may be off by {spread} %.",
    "swatch": "Stitch width was measured on a swatch; it may be off by {spread} %.",
    "ripple-swatch": "Stitch width was measured on a swatch of the ripple; it may be off by {spread} %.",
}
_HEIGHT_RESTS = {
    "class": "Row height follows from the usual shape of the stitch.",
    "tex": "Row height follows from the usual shape of the stitch.",
    "chain": "Row height follows from the measured width and the usual shape of the stitch.",
    "first-row": "Row height follows from the measured width and the usual shape of the stitch.",
    "swatch": "Row height was measured on a swatch.",
    "ripple-swatch": "Row height was measured on a swatch of the ripple.",
}


@record
class Gauge:
    """Width of a stitch and height of a row in flat, unsheared fabric."""

    stitch_width_cm: float = held("width of a stitch", low=0.05, high=20, unit="cm")
    row_height_cm: float = held("height of a row", low=0.05, high=40, unit="cm")
    # Relative half width of the range in which the truth is likely to lie.
    spread: float = held("spread of the gauge", default=0.15, low=0, high=1)
    # What the width and the height rest on.
    basis: str = held("basis of the gauge", default="class", allowed=tuple(BASES))
    height_basis: str = held("basis of the gauge", default="class", allowed=tuple(BASES))
    # The stitch it holds for.
    stitch: str = held("stitch", default="dc", allowed=STITCHES)
    # Finished width over flat width, where a ripple was measured; it replaces the cosine.
    ripple_factor: float | None = held("finished width over flat width", default=None, low=0.1, high=2)
    # Rise of a row in the ripple, where it was measured.
    rise_cm: float | None = held("rise of a row", default=None, low=0.05, high=60, unit="cm")
    # All strands together, where a swatch was weighed.
    grams_per_stitch: float | None = held("grams of a stitch", default=None, low=0, high=1000, unit="g")
    # The hook it was worked with, or that a default is for.
    hook_mm: float | None = held("hook of the gauge", default=None, low=1, high=40, unit="mm")
    notices: tuple[Notice, ...] = ()

    @property
    def theta(self) -> float:
        """Angle of a slope, radians: tan(theta) = stitch width / row height."""
        return math.atan2(self.stitch_width_cm, self.row_height_cm)

    @property
    def stitches_per_10cm(self) -> float:
        """Stitches in 10 cm of flat fabric."""
        return 10 / self.stitch_width_cm

    @property
    def rows_per_10cm(self) -> float:
        """Rows in 10 cm of flat fabric."""
        return 10 / self.row_height_cm

    @property
    def rests_on(self) -> tuple[Notice, ...]:
        """Sentences that say what width and height rest on, and how far they may be off."""
        level: Level = "assumed" if self.basis in ("class", "tex") else "note"
        return (
            note(_WIDTH_RESTS[self.basis], level, spread=round(100 * self.spread)),
            note(_HEIGHT_RESTS[self.height_basis], level),
        )


def _usual_shape(stitch: str, loops: str = "both") -> float:
    """Return the usual width of a stitch over the height of its row."""
    choice(stitch, "stitch", STITCHES)
    return BACK_LOOP_SC if stitch == "sc" and loops == "back" else WIDTH_OVER_HEIGHT[stitch]


def _ideal_hook_mm(classes: Sequence[int]) -> float:
    return math.sqrt(sum(HOOK_MM[c] ** 2 for c in classes))


def hook_for(classes: Sequence[int]) -> float:
    """Return the usual hook, mm, for strands of these weight classes held together: the nearest that is sold.

    Of two as near as each other (within a hundredth) it is the smaller: makers name 8 mm for two strands of medium
    (trade facts, section 2c), and a smaller one keeps the gaps of a ripple small.

    >>> hook_for([4]), hook_for([4, 4]), hook_for([3, 3])
    (6, 8, 7)
    """
    ideal = _ideal_hook_mm(classes)
    return min(HOOKS_MM, key=lambda h: (round(abs(math.log(h / ideal)), 2), h))


def _class_of_tex(tex: float) -> int:
    """Return the weight class whose usual thickness is nearest, by ratio."""
    return min(M_PER_100_G, key=lambda c: abs(math.log(tex / (100_000 / M_PER_100_G[c]))))


def _width_of_tex(tex: float) -> float:
    """Return dc width of one strand, cm, between the classes on a log scale; the end classes are drawn out."""
    points = sorted((math.log(100_000 / M_PER_100_G[c]), math.log(4 * 2.54 / n)) for c, n in DC_PER_4_IN.items())
    x = math.log(tex)
    right = min(max(1, bisect(points, (x,))), len(points) - 1)
    (x0, y0), (x1, y1) = points[right - 1], points[right]
    return math.exp(y0 + (y1 - y0) * (x - x0) / (x1 - x0))


def default_gauge(
    weight_class: int | Sequence[int] | None = None,
    *,
    tex: float | Sequence[float] | None = None,
    strands: int = 2,
    hook_mm: float | None = None,
    stitch: str = "dc",
    loops: str = "both",
) -> Gauge:
    """Return the gauge to expect before anything was measured.

    Of one weight class, 0 (lace) to 7 (jumbo), or thickness (tex, grams in 1000 m) for all strands, or of one for
    each; without a hook it is for the usual one.
    Root rule: widths of single strands add as squares, so two equal strands are 1.414 times as wide.
    """
    strands = whole(strands, "strands", 1, 4)
    given = weight_class if tex is None else tex
    if given is None:
        raise FabricError("no yarn was given for the gauge; give a weight class from 0 to 7 or the thickness in tex.")
    each = list(given) if isinstance(given, Sequence) and not isinstance(given, str) else [given] * strands
    if tex is None:
        classes = [whole(c, "weight class", 0, 7) for c in each]
        widths = [4 * 2.54 / DC_PER_4_IN[c] for c in classes]
        basis = "class"
    else:
        thick = [number(t, "thickness of a strand", 5, 20_000, "tex") for t in each]
        widths, classes, basis = [_width_of_tex(t) for t in thick], [_class_of_tex(t) for t in thick], "tex"
    if not 1 <= len(widths) <= 4:
        raise FabricError("a gauge for {given} strands was asked for; allowed is 1 to 4.", given=len(widths))
    width = math.sqrt(sum(w * w for w in widths))
    spread = max(CLASS_SPREAD[c] for c in classes)
    if len(widths) > 1:
        spread = math.hypot(spread, ROOT_SPREAD)
    # The usual gauge of a class is told for a range of hooks, so it holds for the one of them that is sold.
    usual, ideal = hook_for(classes), _ideal_hook_mm(classes)
    hook = usual if hook_mm is None else number(hook_mm, "hook", 1, 50, "mm")
    factor = (hook / usual) ** HOOK_EXPONENT
    width *= factor
    return Gauge(
        stitch_width_cm=width,
        # dc is about as wide as any other stitch of the yarn; the shape of the stitch gives the height
        row_height_cm=width / _usual_shape(stitch, loops),
        spread=round(math.hypot(spread, abs(math.log(factor)) / 3), 3),
        basis=basis,
        height_basis=basis,
        stitch=stitch,
        hook_mm=hook,
        notices=_hook_doubts(hook, usual, ideal, len(classes)),
    )


def _hook_doubts(hook: float, usual: float, ideal: float, strands: int) -> tuple[Notice, ...]:
    """Return warnings of a hook far from the usual one, and of yarns too thick to be held together."""
    out = []
    if not 1 / 1.4 <= hook / usual <= 1.4:
        out.append(
            note(
                "A hook of {hook} mm is far from the usual {usual} mm for this yarn; work a swatch first.",
                "warning",
                hook=Rounded(f"{hook:g}"),
                usual=Rounded(f"{usual:g}"),
            )
        )
    if ideal > LARGE_HOOK_MM and strands > 1:
        out.append(
            note(
                "{strands} strands of so thick a yarn ask for a hook of about {hook} mm, which is hard to find and to "
                "hold; hold fewer strands, or take thinner yarns.",
                "warning",
                strands=strands,
                hook=round(ideal),
            )
        )
    return tuple(out)


def from_swatch(
    *,
    stitches: float,
    width_cm: float,
    rows: float,
    height_cm: float,
    stitch: str = "dc",
    grams: float | None = None,
) -> Gauge:
    """Return the gauge of a flat swatch: so many stitches in a width and rows in a height; grams if weighed.

    >>> from_swatch(stitches=11, width_cm=10.16, rows=6, height_cm=10.16).rows_per_10cm
    5.90...
    """
    n = number(stitches, "stitches of the swatch", 1, 1000)
    m = number(rows, "rows of the swatch", 1, 1000)
    width = number(width_cm, "width of the swatch", 0.5, 500, "cm")
    height = number(height_cm, "height of the swatch", 0.5, 500, "cm")
    weight = None if grams is None else number(grams, "grams of the swatch", 0.1, 5000, "g") / (n * m)
    gauge = Gauge(
        stitch_width_cm=width / n,
        row_height_cm=height / m,
        spread=BASES["swatch"],
        basis="swatch",
        height_basis="swatch",
        stitch=stitch,
        grams_per_stitch=weight,
    )
    return replace(gauge, notices=_shape_doubt(gauge))


def _shape_doubt(gauge: Gauge) -> tuple[Notice, ...]:
    """Return a warning where width over height is far from what the stitch usually has."""
    shape, usual = gauge.stitch_width_cm / gauge.row_height_cm, WIDTH_OVER_HEIGHT[gauge.stitch]
    if abs(math.log(shape / usual)) < math.log(1.35):
        return ()
    return (
        note(
            "This swatch makes a {stitch} {shape} times as wide as high; usual is {usual}. Count its rows again.",
            "warning",
            stitch=gauge.stitch,
            shape=rounded(shape, 2),
            usual=rounded(usual, 2),
        ),
    )


def from_ripple_swatch(
    worked: Worked, *, repeats: int, width_cm: float, rows: int, height_cm: float, grams: float | None = None
) -> Gauge:
    """Return the gauge of a swatch in the ripple itself: width of n repeats and height of n rows, point to point.

    With a = width per stitch and b = rise per row, flat width w and height h solve w h = a b and w^2 + h^2 = b^2.
    Where no flat fabric does (2 a > b), width and rise are kept as measured and a notice says so.
    """
    repeats = whole(repeats, "repeats of the swatch", 1, 100)
    rows = whole(rows, "rows of the swatch", 1, 1000)
    # Stitches of one repeat of a row.
    per_repeat = next((p.made // p.times for p in worked.repeat.parts if p.times > 1), worked.multiple)
    a = number(width_cm, "width of the swatch", 0.5, 1000, "cm") / (repeats * per_repeat)
    b = number(height_cm, "height of the swatch", 0.5, 1000, "cm") / rows
    notices: tuple[Notice, ...] = ()
    if b >= 2 * a:
        total, differ = math.sqrt(b * b + 2 * a * b), math.sqrt(b * b - 2 * a * b)
        wide, narrow = (total + differ) / 2, (total - differ) / 2
        tall = WIDTH_OVER_HEIGHT[worked.ripple.stitch] < 1
        width, height = (narrow, wide) if tall else (wide, narrow)
    else:
        width = height = b / math.sqrt(2)
        notices = (
            note(
                "No flat fabric has this width and rise at once: gaps or stretch take part. Both are used as measured.",
                "warning",
            ),
        )
    return Gauge(
        stitch_width_cm=width,
        row_height_cm=height,
        spread=BASES["ripple-swatch"],
        basis="ripple-swatch",
        height_basis="ripple-swatch",
        stitch=worked.ripple.stitch,
        ripple_factor=a / width,
        rise_cm=b,
        grams_per_stitch=None
        if grams is None
        else number(grams, "grams of the swatch", 0.1, 5000, "g") / (repeats * per_repeat * rows),
        notices=notices,
    )


def from_chain(chains: int, length_cm: float, older: Gauge | None = None, *, stitch: str = "dc") -> Gauge:
    """Return the gauge after measuring the flat foundation chain; a chain is taken to be as wide as a stitch."""
    chains = whole(chains, "chains", 1, 20_000)
    width = number(length_cm, "length of the chain", 0.5, 20_000, "cm") / chains
    return _wider(older, width, "chain", stitch)


def from_first_row(worked: Worked, width_cm: float, older: Gauge | None = None) -> Gauge:
    """Return the gauge after the first row lies on the table in its wave: its width replaces what was assumed."""
    lying = number(width_cm, "width of the first row", 0.5, 2000, "cm")
    stitch = worked.ripple.stitch
    shape = _usual_shape(stitch, worked.ripple.loops)
    if older is not None:
        shape = older.stitch_width_cm / older.row_height_cm
    factor = older.ripple_factor if older and older.ripple_factor else math.cos(math.atan(shape))
    return _wider(older, lying / worked.row_places / factor, "first-row", stitch)


def _wider(older: Gauge | None, width: float, basis: str, stitch: str) -> Gauge:
    if older is None:
        return Gauge(
            stitch_width_cm=width,
            row_height_cm=width / WIDTH_OVER_HEIGHT[stitch],
            spread=BASES[basis],
            basis=basis,
            height_basis=basis,
            stitch=stitch,
        )
    grown = width / older.stitch_width_cm
    return replace(
        older,
        stitch_width_cm=width,
        row_height_cm=older.row_height_cm * grown,
        rise_cm=None if older.rise_cm is None else older.rise_cm * grown,
        spread=BASES[basis],
        basis=basis,
        height_basis=basis if older.height_basis in ("class", "tex") else older.height_basis,
    )

"""The estimate: from stripes, rows and gauge to a length per colour, with its spread, and skeins to buy."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from blendplan.errors import StripeError
from blendplan.fabric.gauge import Gauge
from blendplan.fabric.ripple import Worked
from blendplan.fabric.rows import Row
from blendplan.stripes.model import Stripe, total_rows
from blendplan.units import Amount
from blendplan.wording import Notice, Rounded, note
from blendplan.yardage.measured import (
    DEFAULT_SPREAD,
    Calibration,
    FabricDefaults,
    area_working_m,
    calibrate,
    hook_from_stitch_width,
    row_cm,
    rows_to_weigh,
    stitch_cm,
    turning_chains,
)
from blendplan.yardage.need import ColourNeed, Demand, chance_any_short, colour_need
from blendplan.yardage.settings import Finish, YardageSettings, all_work, check_names, finishing, fringe_m, tail_counts
from blendplan.yarn import Yarn


@dataclass(frozen=True, slots=True, kw_only=True)
class Fabric:
    """What is worked, and what is known of it when it is done."""

    worked: Worked
    gauge: Gauge
    width_cm: float | None = None  # finished size; taken from the gauge where not told
    height_cm: float | None = None
    hook_mm: float | None = None  # for the area model; taken from the stitch width where not told
    levels: Sequence[Row] = ()  # rows that straighten top and bottom


@dataclass(frozen=True, slots=True, kw_only=True)
class Yardage:
    """Yarn of the whole blanket."""

    colours: tuple[ColourNeed, ...]  # those that the blanket uses, in the order of the yarns
    # Metres of the strands held together, counted once however many they are, without tails; border and fringe are
    # counted as so many strands as the stripe beside them has. Where two are held throughout, the colours add up to
    # twice it and `tails_m`; where three are, to three times.
    working_m: float
    tails_m: float
    rows_m: tuple[float, ...]  # each row, metres of each strand, foundation chain not included
    foundation_m: float  # the foundation chain, metres of each strand
    finishes: tuple[Finish, ...]  # rows that straighten the ends and the border, in the order of work
    fringe_m: tuple[tuple[str, float], ...]  # metres that each colour gives to the fringe
    relative_spread: float  # half-width of the central 90 % range of the working length as a share of it
    factor: float  # what measurements put on the default length per stitch; 1 without any
    basis: str  # what the length per stitch rests on
    # The fabric alone by the default row model and by the area model, metres of the strands counted once.
    row_model_m: float
    area_model_m: float
    hook_mm: float  # the hook of the area model, told or taken from the stitch width
    # Chance that at least one colour runs short with what is on hand and bought; None where no band was given.
    chance_any_short: float | None
    total_price: Fraction | None  # of all skeins to buy that have a price; None where none has
    notices: tuple[Notice, ...]

    def colour(self, name: str) -> ColourNeed:
        """Return the need of one colour (KeyError if the blanket does not use it)."""
        return {c.name: c for c in self.colours}[name]

    def to_json(self) -> dict[str, object]:
        """Return plain values for JSON; lengths in metres to the millimetre."""
        return {
            "colours": [c.to_json() for c in self.colours],
            "tails_m": round(self.tails_m, 3),
            "working_m": round(self.working_m, 3),
            "relative_spread": round(self.relative_spread, 4),
            "basis": self.basis,
            "factor": round(self.factor, 4),
            "models": {
                "row_m": round(self.row_model_m, 3),
                "area_m": round(self.area_model_m, 3),
                "difference": round(self.row_model_m / self.area_model_m - 1, 4),
                "hook_mm": round(self.hook_mm, 2),
            },
            "chance_any_short": None if self.chance_any_short is None else round(self.chance_any_short, 4),
            "total_price": None if self.total_price is None else float(self.total_price),
            "notices": [n.text for n in self.notices],
        }


def row_lengths_m(worked: Worked, rows: int, stitch_width_cm: float) -> tuple[float, ...]:
    """Return the default yarn of each row, metres of each strand.

    The first row's turning chain is part of the foundation chain.
    """
    # Rows of one kind are one object, so identity is enough to reckon each kind once.
    seen: dict[tuple[int, bool], float] = {}
    kept: list[Row] = []
    out = []
    for i in range(rows):
        row = worked.row_at(i + 1)
        key = (id(row), i > 0)
        if key not in seen:
            kept.append(row)  # holds the object, so that its identity is not given away again
            seen[key] = row_cm(row.tally, stitch_width_cm, turning=turning_chains(row) if i else 0) / 100
        out.append(seen[key])
    return tuple(out)


@dataclass(frozen=True, slots=True)
class _Lengths:
    """Default lengths of the fabric and its sizes."""

    rows_m: tuple[float, ...]
    foundation_m: float
    straight_width_cm: float
    height_cm: float
    defaults: FabricDefaults


def _lengths(of: Fabric, rows: int) -> _Lengths:
    w, h = float(of.gauge.stitch_width_cm), float(of.gauge.row_height_cm)
    rows_m = row_lengths_m(of.worked, rows, w)
    foundation_m = of.worked.chain * stitch_cm("ch", w) / 100
    last = of.worked.row_at(2)
    straight = last.made * w
    # A tilted ripple is narrower and taller by the same factor, so its area is that of the flat rows.
    told = None if of.width_cm is None or of.height_cm is None else of.width_cm * of.height_cm
    defaults = FabricDefaults(
        row_cm=row_cm(last.tally, w, turning=turning_chains(last)),
        row_stitches=last.made,
        stitch_width_cm=w,
        working_m=math.fsum(rows_m) + foundation_m,
        area_m2=(straight * rows * h if told is None else told) / 1e4,
    )
    return _Lengths(rows_m, foundation_m, straight, of.height_cm or rows * h, defaults)


def _per_colour(
    stripes: Sequence[Stripe], fabric: _Lengths, finishes: Sequence[Finish], factor: float, settings: YardageSettings
) -> tuple[dict[str, float], float]:
    """Return metres per colour that scale with tension, and those of all strands counted once."""
    stitched: defaultdict[str, float] = defaultdict(float)
    once = [settings.swatch_m]
    at = 0
    for i, stripe in enumerate(stripes):
        length = math.fsum(fabric.rows_m[at : at + stripe.rows]) + (0.0 if i else fabric.foundation_m)
        at += stripe.rows
        once.append(length * factor)
        for name in stripe.strands:
            stitched[name] += length * factor
    for name in stripes[0].strands:
        stitched[name] += settings.swatch_m
    for piece in finishes:
        length = math.fsum(piece.lengths_m) * factor
        for name in piece.strands:
            stitched[name] += length
        once.append(length * len(piece.strands) / len(stripes[-1].strands))
    return stitched, math.fsum(once)


def estimate(
    stripes: tuple[Stripe, ...], of: Fabric, yarns: tuple[Yarn, ...], settings: YardageSettings | None = None
) -> Yardage:
    """Return the yarn of a blanket: per colour the length, its spread, and the skeins to buy.

    Row model (`models.row_cm`) times the measured factor, plus foundation chain, swatch, finishing and tails.
    The area model stands beside it; where the two differ by more than their spread a notice says so.
    """
    settings = settings or YardageSettings()
    known = {yarn.name: yarn for yarn in yarns}
    if not stripes:
        raise StripeError("there are no stripes to reckon yarn for; add at least one stripe.")
    for stripe in stripes:
        check_names(stripe.strands, tuple(known), "stripe")
    border_strands = settings.border.strands if settings.border else ()
    check_names(border_strands, tuple(known), "border")
    check_names(settings.fringe.strands if settings.fringe else (), tuple(known), "fringe")

    fabric = _lengths(of, total_rows(stripes))
    calibration = calibrate(settings.measured, known, fabric.defaults)
    sizes = (fabric.straight_width_cm, fabric.height_cm, fabric.defaults.stitch_width_cm)
    finishes = finishing(stripes, settings, of.levels, sizes)
    stitched, working_m = _per_colour(stripes, fabric, finishes, calibration.factor, settings)
    plain = fringe_m(settings.fringe, stripes, fabric.straight_width_cm)
    tails = tail_counts(*all_work(stripes, finishes))
    tail_m = settings.tail_cm / 100
    row_m = fabric.defaults.row_cm * calibration.factor / 100
    used = [yarn for yarn in yarns if stitched[yarn.name] or plain.get(yarn.name) or tails[yarn.name]]
    demands = [
        Demand(
            stitched_m=stitched[yarn.name],
            fixed_m=plain.get(yarn.name, 0.0) + tails[yarn.name] * tail_m,
            tails_m=tails[yarn.name] * tail_m,
            spread=calibration.spread,
            row_m=row_m,
        )
        for yarn in used
    ]
    colours = tuple(colour_need(yarn, demand, settings) for yarn, demand in zip(used, demands, strict=True))
    prices = [c.price for c in colours if c.price is not None]
    hook = of.hook_mm if of.hook_mm is not None else hook_from_stitch_width(of.gauge.stitch_width_cm)
    area_m = area_working_m(fabric.defaults.area_m2, hook)
    return Yardage(
        colours=colours,
        working_m=working_m + math.fsum(plain.values()) / len(stripes[-1].strands),
        tails_m=math.fsum(d.tails_m for d in demands),
        rows_m=tuple(m * calibration.factor for m in fabric.rows_m),
        foundation_m=fabric.foundation_m * calibration.factor,
        finishes=tuple(replace(p, lengths_m=tuple(m * calibration.factor for m in p.lengths_m)) for p in finishes),
        fringe_m=tuple(plain.items()),
        relative_spread=calibration.spread,
        factor=calibration.factor,
        basis=calibration.basis,
        row_model_m=fabric.defaults.working_m,
        area_model_m=area_m,
        hook_mm=hook,
        chance_any_short=chance_any_short(used, demands, colours, settings),
        total_price=sum(prices, Fraction(0)) if prices else None,
        notices=_notices(
            stripes=stripes,
            known=known,
            fabric=fabric,
            calibration=calibration,
            area_m=area_m,
            hook_mm=of.hook_mm,
            colours=colours,
        ),
    )


def _notices(
    *,
    stripes: Sequence[Stripe],
    known: dict[str, Yarn],
    fabric: _Lengths,
    calibration: Calibration,
    area_m: float,
    hook_mm: float | None,
    colours: Sequence[ColourNeed],
) -> tuple[Notice, ...]:
    out: list[Notice] = list(calibration.notices)
    if calibration.basis == "default":
        out.append(
            note(
                "Yarn per stitch is the usual figure, right within {spread} %; a weighed row or swatch is surer.",
                "assumed",
                spread=f"{100 * DEFAULT_SPREAD:.0f}",
            )
        )
        bands = [known[name].put_up for name in stripes[0].strands]
        grams = sum(fabric.defaults.row_cm / 100 / float(b.m_per_g) for b in bands if b is not None)
        if all(b is not None for b in bands) and grams >= 0.01:
            rows = rows_to_weigh(min(grams, 10_000.0), 0.06)
            mass, step = Amount(rows * grams, "g"), Amount(1, "g")
            out.append(
                note(
                    "Weigh one row on a scale of {step} (about {mass}) to know the need within 6 %.",
                    step=step,
                    mass=mass,
                )
                if rows == 1
                else note(
                    "Weigh {rows} rows at once on a scale of {step} (about {mass}) to know the need within 6 %.",
                    rows=rows,
                    step=step,
                    mass=mass,
                )
            )
    difference = fabric.defaults.working_m / area_m - 1
    # Without a hook the area model rests on the stitch width too and says nothing new.
    if hook_mm is not None and abs(difference) > DEFAULT_SPREAD:
        out.append(
            note(
                "Reckoned by stitches the fabric takes {row} of the strands counted once, by its area and a "
                "{hook} mm hook {area}; that is {difference} % apart, so weigh a row before buying.",
                "warning",
                row=Amount(fabric.defaults.working_m, "m"),
                area=Amount(area_m, "m"),
                hook=Rounded(f"{hook_mm:g}"),
                difference=f"{100 * difference:+.0f}",
            )
        )
    unused = [name for name in known if name not in {c.name for c in colours}]
    if unused:
        out.append(note("No stripe uses {names}.", names=", ".join(unused)))
    bare = [c.name for c in colours if c.buy_skeins is None]
    if bare:
        out.append(
            note(
                "Skeins of {names} cannot be counted without grams and metres; take them from the label.",
                "warning",
                names=", ".join(bare),
            )
        )
    within = [c.name for c in colours if c.within_rows]
    if within:
        out.append(
            note(
                "A row takes {row} of each strand, more than a quarter of a skein of {names}; its skeins are joined "
                "within rows, not only at their ends.",
                "assumed",
                row=Amount(fabric.defaults.row_cm * calibration.factor / 100, "m", 1),
                names=", ".join(within),
            )
        )
    return tuple(out)

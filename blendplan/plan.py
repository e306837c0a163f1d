"""`Brief` holds everything a maker puts in, `make_plan` joins the stages, `Plan` holds everything that comes out."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, Literal

from blendplan.blend.calibrate import Swatch
from blendplan.blend.pair import Blend, mix_yarns
from blendplan.blend.warnings import BlendWarning, check_stripes
from blendplan.colour import delta_e_2000
from blendplan.errors import FabricError, StripeError
from blendplan.fabric.cautions import cautions
from blendplan.fabric.gauge import Gauge, default_gauge
from blendplan.fabric.ripple import Ripple, Worked, work
from blendplan.fabric.size import Size, WidthChoice, measure, widths_near
from blendplan.fabric.written import WrittenRows, write_rows
from blendplan.stripes.model import MAX_ROWS, Change, Stripe, changes, total_rows
from blendplan.stripes.sequence import Sequence
from blendplan.units import clean_text, number
from blendplan.wording import Notice, Rounded, note, rounded
from blendplan.yardage.care import care_notices
from blendplan.yardage.length import Yardage, estimate
from blendplan.yardage.lots import dye_lot_notices
from blendplan.yardage.settings import YardageSettings
from blendplan.yardage.strands import Strands, feed
from blendplan.yarn import Yarn, check_yarns

# Widths that can be planned, from a doll's blanket to one that no room holds.
LEAST_CM, MOST_CM = 1.0, 2000.0

__all__ = ["Brief", "Plan", "PlannedStripe", "make_plan"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Brief:
    """All inputs of one blanket.

    Attributes
    ----------
    title : str
    yarns : tuple of Yarn
        At least one, names unique.
    sequence : Sequence
        The rule that makes the stripes.
    stripes : tuple of Stripe or None
        Stripes set by hand; they replace the rule where given.
    ripple : Ripple
    gauge : Gauge or None
        None takes the default of the yarn's weight class and the hook, with its stated spread.
    hook_mm : float or None
        None takes the usual hook for two strands.
    wanted_width_cm : float or None
        The width the maker would like; the table of widths is made around it.
    yardage : YardageSettings
    member : float
        n of the blend family for planning colours, 1 to 3.
    swatches : tuple of Swatch
        Photographed swatches that `member` may have been fitted to; kept with the project.
    terms : {"US", "UK"}
        Names of stitches in written rows.
    units : {"metric", "imperial"}
        What outputs show first; stored values stay metric.
    currency : str
        Written behind prices as it stands.
    size_name : str
        One of the usual sizes where chosen (a baby size brings cautions), or empty.
    straighten : bool
        Whether rows that make both ends straight are written.
    """

    title: str = "Ripple blanket"
    yarns: tuple[Yarn, ...]
    sequence: Sequence
    stripes: tuple[Stripe, ...] | None = None
    ripple: Ripple = field(default_factory=Ripple)
    gauge: Gauge | None = None
    hook_mm: float | None = None
    wanted_width_cm: float | None = None
    yardage: YardageSettings = field(default_factory=YardageSettings)
    member: float = 3.0
    swatches: tuple[Swatch, ...] = ()
    terms: Literal["US", "UK"] = "US"
    units: Literal["metric", "imperial"] = "metric"
    currency: str = ""
    size_name: str = ""
    straighten: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "title", clean_text(self.title, "title", 120) or "Ripple blanket")
        object.__setattr__(self, "currency", clean_text(self.currency, "currency", 12))
        check_yarns(self.yarns)
        number(self.member, "member of the blend family", 1, 3)
        if self.hook_mm is not None:
            number(self.hook_mm, "hook", 1, 40, "mm")
        if self.wanted_width_cm is not None:
            number(self.wanted_width_cm, "wanted width", 5, 1000, "cm")
        if not self.all_stripes():
            raise StripeError("no stripes were given; set at least one, or let the order of colours make them.")
        known = {yarn.name for yarn in self.yarns}
        for stripe in self.all_stripes():
            for name in stripe.strands:
                if name not in known:
                    raise StripeError(
                        "a stripe uses {given}, which is none of the yarns; the yarns are {allowed}.",
                        given=repr(name),
                        allowed=", ".join(sorted(known)),
                    )
        rows = total_rows(self.all_stripes())
        if rows > MAX_ROWS:
            raise StripeError(
                "the stripes add up to {given} rows; allowed is at most {allowed}; use fewer rows or repeats.",
                given=rows,
                allowed=MAX_ROWS,
            )

    def all_stripes(self) -> tuple[Stripe, ...]:
        """Return the stripes: those set by hand, or those the rule makes."""
        return self.stripes if self.stripes is not None else self.sequence.expand()

    def yarn(self, name: str) -> Yarn:
        """Return the yarn of a name (KeyError if there is none)."""
        return {yarn.name: yarn for yarn in self.yarns}[name]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedStripe:
    """One stripe of the finished plan.

    Attributes
    ----------
    number : int
        From 1, first worked.
    stripe : Stripe
    first_row, last_row : int
        Row numbers from 1.
    blend : Blend
        What its strands look like together.
    change : Change or None
        What is cut and joined to begin this stripe; None for the first.
    step : float or None
        CIEDE2000 from the stripe before.
    bottom_cm : float
        Height of its lower edge above the foundation, along the fabric.
    height_cm : float
    """

    number: int
    stripe: Stripe
    first_row: int
    last_row: int
    blend: Blend
    change: Change | None
    step: float | None
    bottom_cm: float
    height_cm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """All results of one brief; outputs read it and never recompute."""

    brief: Brief
    stripes: tuple[PlannedStripe, ...]
    worked: Worked
    gauge: Gauge
    size: Size
    widths: tuple[WidthChoice, ...]
    yardage: Yardage
    strands: Strands
    lots: tuple[Notice, ...]
    warnings: tuple[BlendWarning, ...]
    cautions: tuple[Notice, ...]
    notices: tuple[Notice, ...]

    @property
    def rows(self) -> int:
        """Rows of the whole blanket."""
        return self.stripes[-1].last_row

    @property
    def mass_g(self) -> float | None:
        """Grams of yarn in the blanket, or None where a band is not known."""
        grams = [colour.need_g for colour in self.yardage.colours]
        return None if None in grams else sum(g for g in grams if g is not None)

    def written(self, lang: str = "en") -> WrittenRows:
        """Return the rows in words of a language, all counts taken from `worked`."""
        border = self.brief.yardage.border
        return write_rows(
            self.brief.ripple,
            self.worked,
            [planned.stripe for planned in self.stripes],
            terms=self.brief.terms,
            lang=lang,
            gauge=self.gauge,
            border=border and replace(border, strands=border.strands or self.stripes[-1].stripe.strands),
            straighten=self.brief.straighten,
        )


@lru_cache(maxsize=4096)
def _mixed(yarns: tuple[Yarn, ...], member: float) -> Blend:
    """Return one blend; kept, because most changes of a brief leave most blends as they were."""
    return mix_yarns(yarns, member=member)


def _blends(brief: Brief, stripes: tuple[Stripe, ...]) -> dict[tuple[str, ...], Blend]:
    """Return one blend per different set of strands."""
    yarns = {yarn.name: yarn for yarn in brief.yarns}
    found: dict[tuple[str, ...], Blend] = {}
    for stripe in stripes:
        if stripe.strands not in found:
            found[stripe.strands] = _mixed(tuple(yarns[name] for name in stripe.strands), brief.member)
    return found


def _planned(brief: Brief, stripes: tuple[Stripe, ...], rise_cm: float) -> tuple[PlannedStripe, ...]:
    blends = _blends(brief, stripes)
    out: list[PlannedStripe] = []
    row = 0
    for number_, (stripe, change) in enumerate(zip(stripes, (None, *changes(stripes)), strict=True), start=1):
        blend = blends[stripe.strands]
        step = float(delta_e_2000(out[-1].blend.lab, blend.lab)) if out else None
        out.append(
            PlannedStripe(
                number=number_,
                stripe=stripe,
                first_row=row + 1,
                last_row=row + stripe.rows,
                blend=blend,
                change=change,
                step=step,
                bottom_cm=row * rise_cm,
                height_cm=stripe.rows * rise_cm,
            )
        )
        row += stripe.rows
    return tuple(out)


def gauge_of(brief: Brief) -> tuple[Gauge, tuple[Notice, ...]]:
    """Return the gauge the plan stands on: the maker's own, or the default of her yarn and hook."""
    if brief.gauge is not None:
        return brief.gauge, ()
    used = {name for stripe in brief.all_stripes() for name in stripe.strands}
    yarns = [y for y in brief.yarns if y.name in used]
    rest: dict[str, Any] = {
        "strands": len(brief.all_stripes()[0].strands),
        "hook_mm": brief.hook_mm,
        "stitch": brief.ripple.stitch,
        "loops": brief.ripple.loops,
    }
    classes = sorted(y.weight_class for y in yarns if y.weight_class is not None)
    if classes:
        middle = classes[len(classes) // 2]
        said = note(
            "The yarns are of different weight classes; the gauge was taken for class {middle}; measure a swatch.",
            "assumed",
            middle=middle,
        )
        return default_gauge(middle, **rest), (said,) if len(set(classes)) > 1 else ()
    weights = sorted(y.put_up.tex for y in yarns if y.put_up is not None)
    if weights:
        return default_gauge(tex=weights[len(weights) // 2], **rest), (
            note("No yarn has a weight class, so the gauge was taken from grams and metres on the band.", "assumed"),
        )
    return default_gauge(4, **rest), (
        note(
            "No yarn has a weight class, so medium (4) was assumed for the gauge; "
            "measure a swatch or fill in the class on the band.",
            "assumed",
        ),
    )


def make_plan(brief: Brief) -> Plan:
    """Return the whole plan of a brief.

    Raises
    ------
    BlendplanError
        If the ripple does not close or a stage cannot use its input.
    """
    stripes = brief.all_stripes()
    worked = work(brief.ripple)
    gauge, gauge_notices = gauge_of(brief)
    rows = total_rows(stripes)
    size = measure(worked, gauge, rows)
    if not LEAST_CM <= size.width_cm <= MOST_CM:
        raise FabricError(
            "this blanket would be {given} cm wide; allowed is {low} to {high} cm; change the repeats, the slope or "
            "the gauge.",
            given=rounded(size.width_cm, 1),
            low=Rounded(f"{LEAST_CM:g}"),
            high=Rounded(f"{MOST_CM:g}"),
        )
    wanted = brief.wanted_width_cm if brief.wanted_width_cm is not None else size.width_cm
    planned = _planned(brief, stripes, size.rise_per_row_cm)
    used = {name for stripe in stripes for name in stripe.strands} | brief.yardage.names
    yarns = tuple(yarn for yarn in brief.yarns if yarn.name in used)
    yardage = estimate(
        stripes,
        worked,
        gauge,
        yarns,
        brief.yardage,
        width_cm=size.width_cm,
        height_cm=size.height_cm,
        hook_mm=brief.hook_mm,
    )
    plan = Plan(
        brief=brief,
        stripes=planned,
        worked=worked,
        gauge=gauge,
        size=size,
        widths=widths_near(brief.ripple, gauge, wanted),
        yardage=yardage,
        strands=feed(stripes, yardage, yarns, brief.yardage),
        lots=dye_lot_notices(yardage, stripes, brief.yardage),
        warnings=check_stripes(stripes, {y.name: y for y in brief.yarns}, brief.member),
        cautions=(),
        notices=(*gauge_notices, *gauge.rests_on, *gauge.notices, *worked.notices),
    )
    if gauge.grams_per_stitch is not None and not brief.yardage.measured:
        told = note(
            "The grams of the gauge swatch do not change the yarn needed; enter the swatch as a weighed one too.",
            "assumed",
        )
        plan = replace(plan, notices=(*plan.notices, told))
    mass_g = plan.mass_g
    said = cautions(
        brief.ripple,
        size_name=brief.size_name,
        width_cm=size.width_cm,
        length_cm=size.height_cm,
        gauge=gauge,
        mass_kg=None if mass_g is None else mass_g / 1000,
        fringe=brief.yardage.fringe is not None,
        hook_mm=brief.hook_mm,
    )
    return replace(plan, cautions=(*said, *care_notices(yarns, stripes)))

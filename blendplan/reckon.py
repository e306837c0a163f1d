"""What the stages up to yarn give for a blanket: stripes fitted to the wishes, gauge, ripple, size, yarn.

Inside the stages yarns go by name; keys end here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from blendplan.blanket import Blanket, Design, in_names
from blendplan.blend.pair import width_notices
from blendplan.budgets import PLAN_ROWS, PLAN_STITCHES, PLAN_STRIPES, PLAN_YARNS
from blendplan.errors import FabricError, StripeError
from blendplan.fabric.finish import Level, level_row
from blendplan.fabric.gauge import Gauge, default_gauge, hook_for
from blendplan.fabric.ripple import Worked, work
from blendplan.fabric.size import Size, WidthChoice, measure, widths_near
from blendplan.stripes.model import Stripe, rows_from_shares, total_rows
from blendplan.units import Amount
from blendplan.wording import Notice, note
from blendplan.yardage.length import Fabric, Yardage, estimate
from blendplan.yardage.settings import YardageSettings
from blendplan.yarn import Yarn

# Widths that can be planned, from a doll's blanket to one that no room holds.
LEAST_CM, MOST_CM = 1.0, 2000.0
# Names that a sentence still bears (assumed).
MOST_NAMED = 6
# From here on two stripes of unlike yarns are told of where they meet: a twelfth of the width, more than a weight
# class leaves open by itself (assumed).
UNLIKE = 1.08
WISHED = {
    "width": "A width of {wanted} was wished for; {made} is what these repeats make.",
    "length": "A length of {wanted} was wished for; {made} is what these rows make.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reckoned:
    """What a design comes to with what there is, as `blendplan.plan.Plan` has it; stripes by name."""

    yarns: tuple[Yarn, ...]
    settings: YardageSettings
    stripes: tuple[Stripe, ...]  # their rows fitted to the wanted length
    levels: tuple[Level, ...]
    worked: Worked
    gauge: Gauge
    size: Size
    widths: tuple[WidthChoice, ...]
    yardage: Yardage
    notices: tuple[Notice, ...]


def worked_stays(before: Blanket, after: Blanket) -> Blanket:
    """Return a blanket after a change of its stripes (StripeError if rows already worked would be of other strands)."""
    done = before.making.rows_done
    if done and before.design != after.design and _strands_by_row(before)[:done] != _strands_by_row(after)[:done]:
        raise StripeError(
            "{given} rows are worked already, and these stripes would change them; count the rows back first, or put "
            "the stripes into a copy of the blanket that is not begun.",
            given=done,
        )
    return after


def _strands_by_row(blanket: Blanket) -> list[list[str]]:
    return [sorted(stripe.strands) for stripe in reckon(blanket).stripes for _ in range(stripe.rows)]


def _gauge(blanket: Blanket, known: dict[str, Yarn], stripes: Sequence[Stripe]) -> tuple[Gauge, tuple[Notice, ...]]:
    """Return the gauge the plan stands on: the maker's own, or the default of the yarns in use and the hook."""
    design = blanket.design
    if blanket.materials.gauge is not None:
        return blanket.materials.gauge, ()
    rest: dict[str, Any] = {"hook_mm": design.hook_mm, "stitch": design.ripple.stitch, "loops": design.ripple.loops}
    striped = [known[name] for name in dict.fromkeys(name for stripe in stripes for name in stripe.strands)]
    if all(yarn.weight_class is not None for yarn in striped):
        return _gauge_of_classes(known, stripes, rest)
    classes = sorted(y.weight_class for y in striped if y.weight_class is not None)
    strands = len(stripes[0].strands)
    if classes:
        middle = classes[len(classes) // 2]
        return default_gauge(middle, strands=strands, **rest), (
            note(
                "{yarn} has no weight class, so the gauge was taken from the class of the others, {number}; "
                "fill in the class on the label.",
                "assumed",
                yarn=next(y.name for y in striped if y.weight_class is None),
                number=middle,
            ),
        )
    weights = sorted(y.put_up.tex for y in striped if y.put_up is not None)
    if weights:
        return default_gauge(tex=weights[len(weights) // 2], strands=strands, **rest), (
            note("No yarn has a weight class, so the gauge was taken from grams and metres on the label.", "assumed"),
        )
    return default_gauge(4, strands=strands, **rest), (
        note(
            "No yarn has a weight class, so medium (4) was assumed for the gauge; "
            "measure a swatch or fill in the class on the label.",
            "assumed",
        ),
    )


def _gauge_of_classes(
    known: dict[str, Yarn], stripes: Sequence[Stripe], rest: dict[str, Any]
) -> tuple[Gauge, tuple[Notice, ...]]:
    """Return the gauge of stripes whose yarns all have a class: the mean over rows where they differ."""
    of = [tuple(sorted(known[name].weight_class or 0 for name in stripe.strands)) for stripe in stripes]
    rows = Counter(classes for classes, stripe in zip(of, stripes, strict=True) for _ in range(stripe.rows))
    if rest["hook_mm"] is None and len(rows) > 1:
        # One hook for all: that of the strands with the most rows.
        rest = {**rest, "hook_mm": hook_for(rows.most_common(1)[0][0])}
    gauges = {classes: default_gauge(classes, **rest) for classes in rows}
    if len(gauges) == 1:
        return next(iter(gauges.values())), ()
    total = sum(rows.values())
    mean = replace(
        gauges[rows.most_common(1)[0][0]],
        stitch_width_cm=sum(n * gauges[c].stitch_width_cm for c, n in rows.items()) / total,
        row_height_cm=sum(n * gauges[c].row_height_cm for c, n in rows.items()) / total,
        spread=max(gauge.spread for gauge in gauges.values()),
    )
    meet = [
        (at, gauges[two].stitch_width_cm / gauges[one].stitch_width_cm) for at, (one, two) in enumerate(pairwise(of), 1)
    ]
    said = [
        note(
            "Stripe {one} meets stripe {other} in yarns of other thickness, which lie {percent} % wider or narrower "
            "on one hook; work a swatch of both, and change the hook there if they pull.",
            "warning",
            one=at,
            other=at + 1,
            percent=round(100 * (max(ratio, 1 / ratio) - 1)),
        )
        for at, ratio in meet
        if max(ratio, 1 / ratio) >= UNLIKE
    ]
    if len(said) > 3:
        said = [
            note(
                "Yarns of different weight classes meet at {n} changes, first between stripes {one} and {other}; work "
                "a swatch of both, and change the hook there if they pull.",
                "warning",
                n=len(said),
                one=dict(said[0].values)["one"],
                other=dict(said[0].values)["other"],
            )
        ]
    told = note("The yarns are of different weight classes; size is counted with their mean over all rows.", "assumed")
    return mean, (told, *said)


def _widths(design: Design, gauge: Gauge) -> tuple[Worked, tuple[WidthChoice, ...]]:
    """Return the ripple worked with the repeats set by hand or chosen by the wanted width, and the widths about it."""
    ripple = design.with_repeats()
    widths: tuple[WidthChoice, ...] = ()
    if design.width_cm is not None:
        widths = widths_near(ripple, gauge, design.width_cm)
        if design.repeats is None:
            ripple = replace(ripple, repeats=next(w.repeats for w in widths if w.nearest))
    worked = work(ripple)
    width = measure(worked, gauge, 0).width_cm
    if not LEAST_CM <= width <= MOST_CM:
        raise FabricError(
            "this blanket would be {given} wide; allowed is {low} to {high}; change the repeats, the slope or "
            "the gauge.",
            given=Amount(width, "cm", 1),
            low=Amount(LEAST_CM, "cm", bare=True),
            high=Amount(MOST_CM, "cm"),
        )
    return worked, widths or widths_near(ripple, gauge, width)


def _fitted(design: Design, stripes: tuple[Stripe, ...], rise_cm: float) -> tuple[Stripe, ...]:
    """Return the stripes with the rows that are free to move scaled to the wanted length, each at least one."""
    if design.length_cm is None or design.stripes is not None:
        return stripes
    rows = min(PLAN_ROWS, max(len(stripes), round(design.length_cm / rise_cm)))
    shares = rows_from_shares([stripe.rows for stripe in stripes], rows, least=1)
    return tuple(replace(s, rows=n) if s.rows != n else s for s, n in zip(stripes, shares, strict=True))


def _beside_wishes(design: Design, size: Size) -> tuple[Notice, ...]:
    """Return what comes out, told beside each wish that it does not meet within half a centimetre."""
    wishes = (("width", design.width_cm, size.width_cm), ("length", design.length_cm, size.height_cm))
    return tuple(
        note(WISHED[name], wanted=Amount(wanted, "cm", 1), made=Amount(made, "cm", 1))
        for name, wanted, made in wishes
        if wanted is not None and abs(made - wanted) >= 0.5
    )


def _levels(design: Design, worked: Worked, gauge: Gauge, rows: int) -> tuple[tuple[Level, ...], tuple[Notice, ...]]:
    """Return the rows that straighten the ends, where that was asked for and the ends are wavy."""
    if not design.straighten or rows < worked.lead:
        # After a set-up row alone there is no wave yet.
        return (), ()
    if worked.ripple.kind == "heights":
        return (), (note("Rows of mixed heights have straight ends, so nothing is straightened."),)
    return (level_row(worked, gauge, "top"), level_row(worked, gauge, "bottom")), ()


def _labelled(yarns: Sequence[Yarn]) -> tuple[tuple[Yarn, ...], tuple[Notice, ...]]:
    """Return yarns as they are counted: with the usual label where hers is not known, which is told."""
    usual = [yarn for yarn in yarns if yarn.label_is_usual]
    if not usual:
        return tuple(yarns), ()
    counted = tuple(replace(y, grams=y.label.mass_g, metres=y.label.length_m) if y.label_is_usual else y for y in yarns)
    names = ", ".join(yarn.name for yarn in usual[:MOST_NAMED]) + (", …" if len(usual) > MOST_NAMED else "")
    told = note(
        "The label of {names} is not known: skeins are counted with what is usual for the weight, {usual}.",
        "assumed",
        names=names,
        usual=tuple(
            note("{mass} = {length}", mass=Amount(label.mass_g, "g"), length=Amount(label.length_m, "m"))
            for label in dict.fromkeys(y.label for y in usual)
        ),
    )
    return counted, (told,)


def _in_budget(given: int, allowed: int, said: Notice) -> None:
    """Refuse before the work begins what would take longer than anybody waits."""
    if given > allowed:
        raise StripeError(
            "this blanket has {given}; up to {allowed} can be planned; it stays in the file as it is: take fewer.",
            given=said,
            allowed=allowed,
        )


def reckon(blanket: Blanket) -> Reckoned:
    """Return what a blanket comes to: stripes, gauge, ripple, size and yarn."""
    design = blanket.design
    keyed, asked = design.all_stripes(), blanket.yardage
    used = {key for stripe in keyed for key in stripe.strands} | asked.names
    # Only yarns in use are looked at: a shelf may hold thousands.
    yarns = tuple(yarn for yarn in blanket.yarns if yarn.key in used)
    rows = total_rows(keyed)
    _in_budget(rows, PLAN_ROWS, note("{n} rows", n=rows))
    _in_budget(len(keyed), PLAN_STRIPES, note("{n} stripes", n=len(keyed)))
    _in_budget(len(yarns), PLAN_YARNS, note("{n} yarns in use", n=len(yarns)))
    names, known = {yarn.key: yarn.name for yarn in yarns}, {yarn.name: yarn for yarn in yarns}
    stripes = tuple(in_names(stripe, names) for stripe in keyed)
    settings = replace(
        asked,
        measured=tuple(in_names(piece, names) for piece in asked.measured),
        border=in_names(asked.border, names),
        fringe=in_names(asked.fringe, names),
        skeins=tuple((names[key], n) for key, n in asked.skeins if key in names),
        purchases=tuple(replace(p, yarn=names[p.yarn]) for p in asked.purchases if p.yarn in names),
    )
    gauge, gauge_notices = _gauge(blanket, known, stripes)
    blended = dict.fromkeys(name for stripe in stripes if not stripe.solid for name in stripe.strands)
    worked, widths = _widths(design, gauge)
    rise = measure(worked, gauge, 0).rise_per_row_cm
    stripes = _fitted(design, stripes, rise)
    stitches = total_rows(stripes) * worked.row_stitches
    _in_budget(stitches, PLAN_STITCHES, note("{n} stitches", n=stitches))
    size = measure(worked, gauge, total_rows(stripes))
    yarns, label_notices = _labelled(yarns)
    levels, level_notices = _levels(design, worked, gauge, total_rows(stripes))
    yardage = estimate(
        stripes,
        Fabric(
            worked=worked,
            gauge=gauge,
            width_cm=size.width_cm,
            height_cm=size.height_cm,
            hook_mm=design.hook_mm,
            levels=[level.row for level in levels],
        ),
        yarns,
        settings,
    )
    notices = [
        *label_notices,
        *gauge_notices,
        *gauge.rests_on,
        *gauge.notices,
        *worked.notices,
        *_beside_wishes(design, size),
    ]
    notices += width_notices([known[name] for name in blended])
    if gauge.grams_per_stitch is not None and not settings.measured:
        notices.append(
            note(
                "The grams of the gauge swatch do not change the yarn needed; enter the swatch as a weighed one too.",
                "assumed",
            )
        )
    return Reckoned(
        yarns=yarns,
        settings=settings,
        stripes=stripes,
        levels=levels,
        worked=worked,
        gauge=gauge,
        size=size,
        widths=widths,
        yardage=yardage,
        notices=(*notices, *level_notices),
    )

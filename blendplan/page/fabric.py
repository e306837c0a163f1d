"""Hook, ripple, gauge and all that the fabric rests on, behind the sum line's last words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any

import streamlit as st

from blendplan.blanket import Blanket
from blendplan.fabric.finish import Border
from blendplan.fabric.gauge import from_chain, from_first_row, from_ripple_swatch, from_swatch
from blendplan.fabric.ripple import EDGES, PEAKS, STITCHES, VALLEYS, work
from blendplan.fabric.size import SIZES, size_cm
from blendplan.page.edits import change_design, change_materials, stretch
from blendplan.page.fields import (
    bullet_list,
    choice_field,
    field_of,
    folded,
    line_html,
    number_field,
    of_blanket,
    put_design,
    refused,
    several_field,
    switch_field,
    told_html,
    try_,
    units_now,
)
from blendplan.page.library import hands_offer
from blendplan.page.state import blanket, change, lang, plan, say, session, spoken, typed
from blendplan.picture.distance import CSS_PX_PER_CM, Screen
from blendplan.plan import Plan
from blendplan.quantities import Quantities, figure, unit_sign
from blendplan.units import CM_PER_INCH, Amount, exact
from blendplan.yardage.settings import Fringe

STITCH_WORDS = {
    "sc": "single crochet (UK: double crochet)",
    "hdc": "half double crochet (UK: half treble)",
    "dc": "double crochet (UK: treble)",
    "tr": "treble crochet (UK: double treble)",
}
PART_WORDS = {
    "chain-1": "one chain over the point",
    "chain-2": "two chains over the point",
    "three-in-one": "three stitches in one",
    "two-in-one": "two stitches in one",
    "skip-2": "skip two stitches",
    "three-together": "three stitches together",
    "skip-1-each-side": "skip one on each side",
    "skip-1": "skip one stitch",
    "two-together": "two stitches together",
    "half-peak": "half a point",
    "half-valley": "half a hollow",
    "plain": "plain",
}
KIND_WORDS = {"point": "points and hollows", "wave": "a soft wave", "heights": "straight rows, wave by stitch heights"}


def fabric_place() -> None:
    """Draw the size, and what the fabric rests on; what is usual is marked as such."""
    current, made = blanket(), plan()
    if current is None:
        of_blanket(_told)()
        return
    _size(current)
    if made is not None:
        _told(current, made)
        hands_offer(current, made)
    for label, key, draw in (
        (say("Hook, stitch and ripple"), "ripple-fold", _choices),
        (say("Measure your own gauge"), "gauge-fold", _gauge),
        (say("Border, fringe and straight ends"), "edge-fold", _edges),
        (say("How large is this screen?"), "screen-fold", _ruler),
    ):
        folded(label, key, draw, current)
    if made is not None:
        st.html(bullet_list(dict.fromkeys(n.say(*spoken()) for n in made.notices)))


def _size(current: Blanket) -> None:
    """Draw the usual sizes, the two wishes, and whether it is for a baby; what can be made is told beside them."""
    design, show = current.design, Quantities(current.ways.units, lang())
    wished = (design.width_cm, design.length_cm)
    usual = {name: (round(size_cm(name)[0], 1), round(size_cm(name)[1], 1)) for name in SIZES}
    name = next((name for name, size in usual.items() if size == wished), "")

    def take(chosen: str) -> None:
        if chosen:
            width, length = usual[chosen]
            change(lambda b: change_design(stretch(b, length), width_cm=width, repeats=None))
        else:
            put_design(width_cm=None, length_cm=None)

    choice_field(
        say("A usual size"),
        "size-name",
        name,
        {"": say("my own"), **{n: f"{say(n)} ({show.both_sizes(*size_cm(n))})" for n in SIZES}},
        take,
    )
    columns = st.columns(2, vertical_alignment="bottom")
    with columns[0]:
        number_field(say("Wanted width"), "wanted-width", design.width_cm, _wish_width, kind="cm")
    with columns[1]:
        number_field(say("Wanted length"), "wanted-length", design.length_cm, _wish_length, kind="cm")
    caution = say("Brings the cautions for small children, as a small size does.")
    field_of(say("For a baby"), "for-baby", design, "for_baby", put_design, more=caution)


def _wish_width(width_cm: Fraction | None) -> None:
    """Take a wish for the width; it chooses the repeats again."""
    put_design(width_cm=None if width_cm is None else float(width_cm), repeats=None)


def _wish_length(length_cm: Fraction | None) -> None:
    """Take a wish for the length; stripes set by hand answer it too."""
    if length_cm is None:
        put_design(length_cm=None)
    else:
        change(lambda b: stretch(b, float(length_cm)))


def _told(current: Blanket, made: Plan) -> None:
    """Draw what comes out, the numbers of repeats near it, and the cautions."""
    show, ripple = Quantities(current.ways.units, lang()), made.worked.ripple
    widths = {str(one.repeats): f"**{one.repeats}** {show.size(one.width_cm)}" for one in made.widths}
    widths.setdefault(str(ripple.repeats), f"**{ripple.repeats}** {show.size(made.size.width_cm)}")
    choice_field(
        say("Repeats across, and how wide they are"),
        "repeats",
        str(ripple.repeats),
        dict(sorted(widths.items(), key=lambda one: int(one[0]))),
        lambda n: put_design(repeats=int(n)),
        buttons=True,
    )
    lines = (
        say(
            "{n} whole repeats come to {width}, whole rows to {height}.",
            n=ripple.repeats,
            width=show.size(made.size.width_cm),
            height=show.size(made.size.height_cm),
        ),
        say(
            "Foundation chain: {n}. {stitches} stitches in a row.", n=made.worked.chain, stitches=made.worked.row_places
        ),
        say(
            "Laid straight the chain measures about {chain}; the ripple takes it in. The wave is {wave} high.",
            chain=show.size(made.size.chain_flat_cm),
            wave=show.size(made.size.wave_cm, 1),
        ),
    )
    st.html("".join(line_html("p", line, "bp-fact") for line in lines))
    for caution in made.cautions:
        st.html(told_html(caution.say(*spoken()), "!"))


def _ripple(**changes: Any) -> None:
    change(lambda b: change_design(b, ripple=replace(b.design.ripple, **changes)))


def _choices(current: Blanket) -> None:
    ripple = current.design.ripple
    one, two = st.columns(2)
    with one:
        _pick(say("Kind"), "kind", ripple.kind, tuple(KIND_WORDS), KIND_WORDS)
        _pick(say("Stitch (US names)"), "stitch", ripple.stitch, STITCHES, STITCH_WORDS)
        _pick(say("Loops"), "loops", ripple.loops, ("both", "back"), {"both": "both loops", "back": "back loops only"})
    with two:
        if ripple.kind == "point":
            _pick(say("Over the points"), "peak", ripple.peak, PEAKS, PART_WORDS)
            _pick(say("In the hollows"), "valley", ripple.valley, VALLEYS, PART_WORDS)
            _pick(say("At the edges"), "edge", ripple.edge, EDGES, PART_WORDS)
        if ripple.kind == "wave":
            field_of(say("Stitches between the increases"), "crest", ripple, "crest", _ripple)
    made = plan()
    worked = made.worked.ripple if made is not None else ripple
    field_of(say("Stitches on a slope"), "slope", worked, "slope", _ripple)
    field_of(say("Hook (mm)"), "hook", current.design, "hook_mm", put_design)
    st.caption(say("Empty takes the usual hook for two strands of this yarn."))


def _pick(label: str, field: str, value: str, allowed: tuple[str, ...], words: dict[str, str]) -> None:
    choice_field(
        label, f"ripple-{field}", value, {v: say(words.get(v, v)) for v in allowed}, lambda v: _ripple(**{field: v})
    )


def _typed(key: str, label: str, kind: str = "") -> Fraction:
    """Return a number typed in a plain field, in metric."""
    value = exact(typed(key), label)
    return value * CM_PER_INCH if kind == "cm" and units_now() == "imperial" else value


def _gauge(current: Blanket) -> None:
    """Draw the ways to measure: the newest measure counts."""
    ways = {
        "swatch": say("a flat swatch"),
        "ripple": say("a swatch of the ripple"),
        "chain": say("the foundation chain"),
        "row": say("the first row"),
    }
    way = st.selectbox(say("What you have measured"), list(ways), format_func=lambda w: ways[w], key="gauge-way")
    sign = unit_sign("cm", current.ways.units)
    wide, tall = say("Width ({unit})", unit=sign), say("Height ({unit})", unit=sign)
    fields: dict[str, tuple[tuple[str, str], ...]] = {
        "swatch": (("n", say("Stitches")), ("w", wide), ("r", say("Rows")), ("h", tall)),
        "ripple": (("n", say("Repeats")), ("w", wide), ("r", say("Rows")), ("h", tall)),
        "chain": (("n", say("Chains")), ("w", say("Length ({unit})", unit=sign))),
        "row": (("w", wide),),
    }
    for column, (key, label) in zip(st.columns(4), fields[way], strict=False):
        with column:
            st.text_input(label, key=f"gauge-{way}-{key}")

    def get(key: str, kind: str = "") -> float:
        label = dict(fields[way])[key]
        return float(_typed(f"gauge-{way}-{key}", label, kind))

    def take() -> None:
        made = plan()
        worked = made.worked if made is not None else work(current.design.with_repeats())
        older = made.gauge if made is not None else None
        stitch = current.design.ripple.stitch
        if way == "swatch":
            new = from_swatch(
                stitches=get("n"), width_cm=get("w", "cm"), rows=get("r"), height_cm=get("h", "cm"), stitch=stitch
            )
        elif way == "ripple":
            new = from_ripple_swatch(
                worked, repeats=int(get("n")), width_cm=get("w", "cm"), rows=int(get("r")), height_cm=get("h", "cm")
            )
        elif way == "chain":
            new = from_chain(int(get("n")), get("w", "cm"), older, stitch=stitch)
        else:
            new = from_first_row(worked, get("w", "cm"), older)
        change(lambda b: change_materials(b, gauge=replace(new, hook_mm=b.design.hook_mm)))

    with st.container(horizontal=True, gap="small"):
        st.button(say("Use this measure"), key="gauge-take", type="primary", on_click=try_, args=("gauge", take))
        if current.materials.gauge is not None:
            drop: Callable[[], None] = lambda: change(lambda b: change_materials(b, gauge=None))  # noqa: E731
            st.button(say("Go back to the default gauge"), key="gauge-drop", on_click=try_, args=("gauge", drop))
    refused("gauge")
    made = plan()
    if made is not None:
        g, side = made.gauge, 10 if current.ways.units == "metric" else 4 * float(CM_PER_INCH)
        st.caption(
            say(
                "In use: {s} stitches and {r} rows in {side}, flat.",
                s=figure(g.stitches_per_10cm * side / 10, 1, lang()),
                r=figure(g.rows_per_10cm * side / 10, 1, lang()),
                side=Amount(side, "cm"),
            )
        )


def _edges(current: Blanket) -> None:
    """Draw border, fringe, and rows that make the ends straight."""
    design, names = current.design, current.names
    field_of(say("Rows that make both ends straight"), "straighten", design, "straighten", put_design)
    switch_field(
        say("A border"), "border-on", design.border is not None, lambda v: put_design(border=Border() if v else None)
    )
    border = design.border
    if border is not None:
        field_of(say("Rounds of the border"), "border-rounds", border, "rounds", _border)
        several_field(
            say("Yarns of the border; none takes those of the last stripe"),
            "border-strands",
            border.strands,
            names,
            lambda got: _border(strands=got),
            hint=say("none"),
        )
    switch_field(
        say("A fringe"), "fringe-on", design.fringe is not None, lambda v: put_design(fringe=Fringe() if v else None)
    )
    fringe = design.fringe
    if fringe is None:
        return
    columns = st.columns(2)
    with columns[0]:
        field_of(say("Length of the fringe"), "fringe-length", fringe, "length_cm", _fringe)
        field_of(say("Pieces in a knot"), "fringe-pieces", fringe, "pieces", _fringe)
    with columns[1]:
        field_of(say("From knot to knot"), "fringe-every", fringe, "every_cm", _fringe)
        choice_field(
            say("Where"),
            "fringe-ends",
            str(fringe.ends),
            {"1": say("one end"), "2": say("both ends")},
            lambda v: _fringe(ends=int(v)),
            buttons=True,
        )
    several_field(
        say("Yarns of the fringe; none takes those of the stripe at each end"),
        "fringe-strands",
        fringe.strands,
        names,
        lambda got: _fringe(strands=got),
        hint=say("none"),
    )


def _border(**changes: Any) -> None:
    change(lambda b: change_design(b, border=replace(b.design.border or Border(), **changes)))


def _fringe(**changes: Any) -> None:
    change(lambda b: change_design(b, fringe=replace(b.design.fringe or Fringe(), **changes)))


# Length of the line that is held against a ruler, CSS centimetres.
RULED_CM = 5


def _ruler(current: Blanket) -> None:
    """Draw how large a centimetre is on this screen, and how far away the eye is."""
    now = session().look.screen

    def put(screen: Screen) -> None:
        session().look = replace(session().look, screen=screen)

    st.html(f'<div class="bp-ruler" style="width:{RULED_CM}cm" aria-hidden="true"></div>')
    number_field(
        say("This line, measured with a ruler, in cm"),
        "screen-line",
        RULED_CM * CSS_PX_PER_CM / now.px_per_cm,
        lambda v: put(Screen.of_line(RULED_CM, RULED_CM if v is None else float(v), now.eye_cm)),
    )
    number_field(
        say("From your eyes to the screen, in cm"),
        "screen-eye",
        now.eye_cm,
        lambda v: put(replace(now, eye_cm=Screen().eye_cm if v is None else float(v))),
    )
    st.caption(
        say(
            "The picture on the screen is a view from some metres off already; only what a greater distance adds is "
            "taken away."
        )
    )

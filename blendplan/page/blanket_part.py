"""Part 3: the ripple, its gauge and its size."""

from __future__ import annotations

import html
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any

import streamlit as st

from blendplan.fabric.gauge import from_chain, from_first_row, from_ripple_swatch, from_swatch
from blendplan.fabric.ripple import EDGES, PEAKS, STITCHES, VALLEYS, work
from blendplan.fabric.sizes import SIZES, fit_rows, size_cm
from blendplan.outputs.show import Show
from blendplan.page.fields import choice_field, fold, nothing_yet, number_field, refused, try_, units_now, whole_field
from blendplan.page.show import bullet_list, figure, table_html, told_html, unit_sign
from blendplan.page.state import brief, change, lang, plan, say, tell
from blendplan.plan import Brief, Plan
from blendplan.units import CM_PER_INCH, exact

__all__ = ["blanket_part"]

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


def _ripple(**changes: Any) -> None:
    change(lambda b: replace(b, ripple=replace(b.ripple, **changes)))


def blanket_part() -> None:
    """Draw the part."""
    current = brief()
    if current is None:
        nothing_yet()
        return
    made = plan()
    _size(current, made)
    _width(current, made)
    choices = fold(say("Choose the ripple"), "ripple-fold")
    if choices.open:
        with choices:
            _choices(current)
    gauge = fold(say("Measure your own gauge"), "gauge-fold")
    if gauge.open:
        with gauge:
            _gauge(current)
    if made is not None:
        lines = [n.say(lang()) for n in made.notices]
        st.html(bullet_list(dict.fromkeys(lines)))
        for caution in made.cautions:
            st.html(told_html(caution.say(lang()), "!"))


def _size(current: Brief, made: Plan | None) -> None:
    """Draw the usual sizes and the length: width and length are taken over together."""
    columns = st.columns([2, 1, 1.3], vertical_alignment="bottom")

    def take(name: str) -> None:
        if not name:
            change(lambda b: replace(b, size_name=""))
            return
        width, _ = size_cm(name)
        change(lambda b: replace(b, size_name=name, wanted_width_cm=round(width, 1)))

    show = Show(current.units, lang())
    with columns[0]:
        choice_field(
            say("A usual size"),
            "size-name",
            current.size_name if current.size_name in SIZES else "",
            {"": say("my own"), **{n: f"{say(n)} ({show.both_sizes(*size_cm(n))})" for n in SIZES}},
            take,
        )
    with columns[1]:
        st.text_input(
            say("Wanted length ({unit})", unit=unit_sign("cm", current.units)),
            key="wanted-length",
            placeholder=show.number(size_cm(current.size_name)[1]) if current.size_name in SIZES else "",
        )
    with columns[2]:
        st.button(
            say("Fit the rows to it"),
            key="fit-length",
            wrap=True,
            on_click=try_,
            args=("fit", lambda: _fit(current, made)),
        )
    refused("fit")


def _fit(current: Brief, made: Plan | None) -> None:
    typed = st.session_state.get("wanted-length", "").strip()
    if typed:
        length = float(_typed("wanted-length", say("wanted length"), "cm"))
    else:
        length = (
            size_cm(current.size_name)[1] if current.size_name in SIZES else float(exact(None, say("wanted length")))
        )
    if made is not None:
        fitted = fit_rows(current.all_stripes(), length, made.size.rise_per_row_cm, fit="spread")
        change(lambda b: replace(b, stripes=fitted.stripes))
        for notice in fitted.notices:
            tell(notice)


def _width(current: Brief, made: Plan | None) -> None:
    """Draw the wanted width and the numbers of repeats that come near it."""
    ripple = current.ripple
    columns = st.columns(3, vertical_alignment="bottom")
    with columns[0]:
        number_field(
            say("Wanted width"),
            "wanted-width",
            current.wanted_width_cm,
            lambda v: change(lambda b: replace(b, wanted_width_cm=None if v is None else float(v))),
            kind="cm",
            digits=1,
        )
    with columns[1]:
        whole_field(say("Repeats across"), "repeats", ripple.repeats, (1, 500), lambda n: _ripple(repeats=n))
    with columns[2]:
        whole_field(say("Stitches on a slope"), "slope", ripple.slope, (1, 60), lambda n: _ripple(slope=n))
    if made is None:
        return
    show = Show(current.units, lang())
    heads = (say("Repeats"), say("Foundation chain"), say("Stitches in a row"), say("Width"), say("From the wish"))
    lines = []
    chosen = None
    for at, one in enumerate(made.widths):
        if one.repeats == ripple.repeats:
            chosen = at
        said = say("yours") if chosen == at else say("nearest") if one.nearest else ""
        sign = "+" if one.deviation_cm > 0 else "−" if one.deviation_cm < 0 else ""
        width, away = show.size(one.width_cm, 1), sign + show.size(abs(one.deviation_cm), 1)
        lines.append((f"{one.repeats} {html.escape(said)}", str(one.chain), str(one.row_stitches), width, away))
    st.html(table_html(say("Numbers of repeats and their widths"), heads, lines, chosen=chosen))
    nearest = next((w for w in made.widths if w.nearest), None)
    if nearest is not None and nearest.repeats != ripple.repeats:
        st.button(
            say("Take {n} repeats, {width} wide", n=nearest.repeats, width=show.size(nearest.width_cm)),
            key="take-nearest",
            on_click=try_,
            args=("repeats", lambda: _ripple(repeats=nearest.repeats)),
        )
    st.caption(
        say(
            "The foundation chain laid straight measures about {chain}; the ripple takes it in to {width}. "
            "The wave is {wave} high.",
            chain=show.size(made.size.chain_flat_cm),
            width=show.size(made.size.width_cm),
            wave=show.size(made.size.wave_cm, 1),
        )
    )


def _choices(current: Brief) -> None:
    ripple = current.ripple
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
            whole_field(
                say("Stitches between the increases"), "crest", ripple.crest, (0, 12), lambda n: _ripple(crest=n)
            )
    number_field(
        say("Hook (mm)"),
        "hook",
        current.hook_mm,
        lambda v: change(lambda b: replace(b, hook_mm=None if v is None else float(v))),
        digits=2,
        help=say("Empty takes the usual hook for two strands of this yarn."),
    )


def _pick(label: str, field: str, value: str, allowed: tuple[str, ...], words: dict[str, str]) -> None:
    choice_field(
        label, f"ripple-{field}", value, {v: say(words.get(v, v)) for v in allowed}, lambda v: _ripple(**{field: v})
    )


def _typed(key: str, label: str, kind: str = "") -> Fraction:
    """Return a number typed in a plain field, in metric."""
    value = exact(st.session_state.get(key) or None, label)
    return value * CM_PER_INCH if kind == "cm" and units_now() == "imperial" else value


def _gauge(current: Brief) -> None:
    """Draw the ways to measure: the newest measure counts."""
    ways = {
        "swatch": say("a flat swatch"),
        "ripple": say("a swatch of the ripple"),
        "chain": say("the foundation chain"),
        "row": say("the first row"),
    }
    way = st.selectbox(say("What you have measured"), list(ways), format_func=lambda w: ways[w], key="gauge-way")
    sign = unit_sign("cm", current.units)
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
        worked = work(current.ripple)
        older = made.gauge if made is not None else None
        stitch = current.ripple.stitch
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
        change(lambda b: replace(b, gauge=new))

    with st.container(horizontal=True, gap="small"):
        st.button(say("Use this measure"), key="gauge-take", type="primary", on_click=try_, args=("gauge", take))
        if current.gauge is not None:
            drop: Callable[[], None] = lambda: change(lambda b: replace(b, gauge=None))  # noqa: E731
            st.button(say("Go back to the default gauge"), key="gauge-drop", on_click=try_, args=("gauge", drop))
    refused("gauge")
    made = plan()
    if made is not None:
        g = made.gauge
        st.caption(
            say(
                "In use: {s} stitches and {r} rows in 10 cm, flat.",
                s=figure(g.stitches_per_10cm, 1, lang()),
                r=figure(g.rows_per_10cm, 1, lang()),
            )
        )

"""Part 1: the yarns, from photos, a palette or a typed colour; their shades, names and bands."""

from __future__ import annotations

import html
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import streamlit as st

from blendplan.errors import YarnError
from blendplan.page.edits import add_yarn, change_yarn, drop_yarn, rename_yarn, set_shade, signs_of
from blendplan.page.fields import choice_field, fold, number_field, refused, text_field, try_, whole_field
from blendplan.page.finds import free_name
from blendplan.page.photo_part import photos_fold
from blendplan.page.shade_words import doubt, shade_label
from blendplan.page.show import beside, patch
from blendplan.page.state import brief, change, commit, lang, say, work
from blendplan.page.workspace import Crop, Extras, Workspace
from blendplan.photo import drop_part, merge_parts, nudge, reorder_parts, set_by_eye, split_part
from blendplan.plan import Brief
from blendplan.stripes.sequence import Sequence as Rule
from blendplan.units import exact
from blendplan.yarn import WEIGHT_CLASSES, PutUp, Shade, Yarn

__all__ = ["yarn_part"]


def yarn_part() -> None:
    """Draw the part."""
    current = brief()
    if current is not None:
        _patches(current)
    add = fold(say("Add yarn from photos"), "add-photos")
    if add.open or work().extras.finds or st.session_state.get("photos"):
        with add:
            photos_fold()
    typed = fold(say("Add yarn by typing, or from a palette file"), "add-typed")
    if typed.open:
        with typed:
            _typed(current)
    if current is not None:
        _one_yarn(current)
        table = fold(say("All bands in one table"), "bands")
        if table.open:
            with table:
                from blendplan.page.band_table import band_table

                band_table(current)


def _patches(current: Brief) -> None:
    sign = signs_of(current)
    items = "".join(f"<li>{patch(y.srgb, y.name, sign[y.name], work().crop_of(y.name))}</li>" for y in current.yarns)
    st.html(f'<ul class="bp-patches" aria-label="{html.escape(say("Your yarns"))}">{items}</ul>')


def _typed(current: Brief | None) -> None:
    columns = st.columns(3, vertical_alignment="bottom")
    with columns[0]:
        st.text_input(say("Name"), key="typed-name", placeholder=say("as on its band"))
    with columns[1]:
        st.text_input(say("Colour"), key="typed-colour", placeholder="#b35c37")
    with columns[2]:
        st.button(say("Add this yarn"), key="typed-add", on_click=try_, args=("typed", _add_typed))
    refused("typed")
    st.file_uploader(
        say("Palette file (CSV with name and srgb)"),
        type=["csv"],
        key="palette-file",
        on_change=_take_palette,
        max_upload_size=2,
    )
    refused("palette-file")


def _add_typed() -> None:
    name = st.session_state.get("typed-name", "")
    colour = st.session_state.get("typed-colour", "").strip()
    shade = Shade.from_hex(colour if colour.startswith("#") else f"#{colour}")
    current = brief()
    yarn = Yarn(
        name=name.strip() or free_name("", {y.name for y in current.yarns} if current else set()), shades=(shade,)
    )
    _take_yarns((yarn,))
    st.session_state["typed-name"] = st.session_state["typed-colour"] = ""


def _take_yarns(yarns: tuple[Yarn, ...]) -> None:
    if work().brief is None:
        new = Brief(title=say("My blanket"), yarns=yarns, sequence=Rule(order=tuple(y.name for y in yarns)))
        commit(Workspace(brief=new, extras=Extras()))
        return

    def all_of(b: Brief) -> Brief:
        for yarn in yarns:
            b = add_yarn(b, yarn)
        return b

    change(all_of)


def _take_palette() -> None:
    from blendplan.palette import read_palette

    got = st.session_state.get("palette-file")
    if got is not None:
        try_("palette-file", lambda: _take_yarns(read_palette(got.getvalue(), got.name).yarns))


def _one_yarn(current: Brief) -> None:
    """Draw one yarn at a time: its shade mended by eye, its band, what is on hand."""
    names = [y.name for y in current.yarns]
    sign = signs_of(current)
    chosen = st.session_state.get("yarn-chosen")
    if chosen not in names:
        chosen = names[0]
    with st.container(border=True, key="yarn-card"):
        choice_field(
            say("Yarn to look at"),
            "yarn-field",
            chosen,
            {n: f"{sign[n]}  {n}" for n in names},
            lambda v: st.session_state.__setitem__("yarn-chosen", v),
        )
        yarn = current.yarn(chosen)
        place = names.index(chosen)
        left, right = st.columns([9, 11])
        with left:
            _shades(yarn, place)
        with right:
            text_field(say("Name"), f"y{place}-name", yarn.name, lambda t: _rename(yarn.name, t))
            _band(yarn, place)
        with st.container(horizontal=True):
            st.button(
                say("Take this yarn away"),
                key=f"y{place}-drop",
                on_click=try_,
                args=(f"y{place}-drop", lambda: change(lambda b: drop_yarn(b, yarn.name))),
            )
        refused(f"y{place}-drop")


def _rename(old: str, new: str) -> None:
    now = work()
    if now.brief is None:
        return
    made = rename_yarn(now.brief, old, new)
    name = (
        next(y.name for y in made.yarns if y.name not in {b.name for b in now.brief.yarns})
        if made != now.brief
        else old
    )
    crops = tuple(Crop(yarn=name, picture=c.picture) if c.yarn == old else c for c in now.extras.crops)
    left = tuple((name if n == old else n, g) for n, g in now.extras.grams_left)
    commit(Workspace(brief=made, extras=replace(now.extras, crops=crops, grams_left=left)))
    if st.session_state.get("yarn-chosen") == old:
        st.session_state["yarn-chosen"] = name


STEPS: tuple[tuple[str, str, dict[str, int]], ...] = (
    ("lighter", "lighter", {"lighter": 1}),
    ("darker", "darker", {"lighter": -1}),
    ("warmer", "warmer", {"warmer": 1}),
    ("cooler", "cooler", {"warmer": -1}),
    ("brighter", "brighter", {"brighter": 1}),
    ("greyer", "greyer", {"brighter": -1}),
)


def _shades(yarn: Yarn, place: int) -> None:
    crop = work().crop_of(yarn.name)
    for at, shade in enumerate(yarn.shades):
        with st.container(key=f"eye-{place}-{at}"):
            st.html(beside(shade.srgb, shade_label(shade, yarn.shades), crop))
            with st.container(horizontal=True, gap="small", key=f"nudge-{place}-{at}"):
                for key, word, step in STEPS:
                    st.button(
                        say(word),
                        key=f"y{place}-{at}-{key}",
                        on_click=try_,
                        args=(f"y{place}-{at}-hex", _nudger(yarn.name, at, shade, step)),
                    )
        if why := doubt((shade,)):
            st.caption(why)
        text_field(say("Colour code"), f"y{place}-{at}-hex", shade.srgb, _typer(yarn.name, at, shade))
        with st.container(horizontal=True, gap="small"):
            key = f"y{place}-{at}"
            split = _parts_to(yarn.name, lambda p, i=at: split_part(p, i))  # type: ignore[misc]
            st.button(say("Split in two shades"), key=f"{key}-split", on_click=try_, args=(f"{key}-hex", split))
            if len(yarn.shades) > 1:
                drop = _parts_to(yarn.name, lambda p, i=at: drop_part(p, i))  # type: ignore[misc]
                st.button(say("Drop this shade"), key=f"{key}-drop", on_click=try_, args=(f"{key}-hex", drop))
            if at:
                above = (*range(at - 1), at, at - 1, *range(at + 1, len(yarn.shades)))
                up = _parts_to(yarn.name, lambda p, order=above: reorder_parts(p, order))  # type: ignore[misc]
                st.button(say("Move up"), key=f"{key}-up", on_click=try_, args=(f"{key}-hex", up))
                merge = _parts_to(yarn.name, lambda p, i=at: merge_parts(p, i - 1, i))  # type: ignore[misc]
                st.button(
                    say("Merge with the one above"), key=f"{key}-merge", on_click=try_, args=(f"{key}-hex", merge)
                )


def _nudger(name: str, at: int, shade: Shade, step: dict[str, int]) -> Callable[[], None]:
    return lambda: change(lambda b: set_shade(b, name, at, nudge(shade, **step)))


def _typer(name: str, at: int, shade: Shade) -> Callable[[str], None]:
    def take(text: str) -> None:
        typed = Shade.from_hex(text if text.strip().startswith("#") else f"#{text.strip()}")
        change(lambda b: set_shade(b, name, at, set_by_eye(shade, typed.lab)))

    return take


def _parts_to(name: str, parts: Callable[[tuple[Shade, ...]], tuple[Shade, ...]]) -> Callable[[], None]:
    return lambda: change(lambda b: change_yarn(b, name, shades=parts(b.yarn(name).shades)))


def _band(yarn: Yarn, place: int) -> None:
    """Draw the fields of the band; grams and metres only count together."""
    name, put_up = yarn.name, yarn.put_up
    half = st.session_state.get(f"half-{name}", {})
    one, two = st.columns(2)

    def put(field: str, value: Fraction | None) -> None:
        got = {"mass_g": put_up.mass_g, "length_m": put_up.length_m} if put_up else dict(half)
        if value is None:
            got.pop(field, None)
        else:
            got[field] = value
        made = PutUp(**got) if len(got) == 2 else None
        if made is None and value is not None:
            # One of the two alone: kept here until the other is typed.
            PutUp(mass_g=got.get("mass_g", Fraction(1)), length_m=got.get("length_m", Fraction(1)))
        st.session_state[f"half-{name}"] = {} if made else got
        change(lambda b: change_yarn(b, name, put_up=made))

    with one:
        number_field(
            say("One skein weighs"),
            f"y{place}-g",
            put_up.mass_g if put_up else half.get("mass_g"),
            lambda v: put("mass_g", v),
            kind="g",
        )
        whole_field(
            say("Whole skeins on hand"),
            f"y{place}-skeins",
            yarn.skeins_on_hand,
            (0, 1000),
            lambda n: change(lambda b: change_yarn(b, name, skeins_on_hand=n)),
        )
        text_field(
            say("Dye lot"), f"y{place}-lot", yarn.dye_lot, lambda t: change(lambda b: change_yarn(b, name, dye_lot=t))
        )
    with two:
        number_field(
            say("One skein measures"),
            f"y{place}-m",
            put_up.length_m if put_up else half.get("length_m"),
            lambda v: put("length_m", v),
            kind="m",
        )
        text_field(
            say("Weighed rests (g), like 34 + 12,5"),
            f"y{place}-parts",
            " + ".join(_plain(g) for g in yarn.part_skeins_g),
            lambda t: change(lambda b: change_yarn(b, name, part_skeins_g=_parts(t))),
        )
        number_field(
            say("Price of a skein"),
            f"y{place}-price",
            yarn.price,
            lambda v: change(lambda b: change_yarn(b, name, price=v)),
        )
    if half and put_up is None:
        st.caption(say("Weight and length of a skein count together: give the other one too."))
    choice_field(
        say("Weight class"),
        f"y{place}-class",
        "" if yarn.weight_class is None else str(yarn.weight_class),
        {"": say("not known"), **{str(k): f"{k} {say(v)}" for k, v in WEIGHT_CLASSES.items()}},
        lambda v: change(lambda b: change_yarn(b, name, weight_class=int(v) if v else None)),
    )
    text_field(say("Fibre"), f"y{place}-fibre", yarn.fibre, lambda t: change(lambda b: change_yarn(b, name, fibre=t)))


def _plain(value: Fraction) -> str:
    from blendplan.page.show import figure

    return figure(value, 2, lang())


def _parts(text: str) -> tuple[Fraction, ...]:
    """Return weighed rests typed with plus signs, semicolons or blanks between; a comma is a decimal sign."""
    parts = text.replace("+", " ").replace(";", " ").split()
    if len(parts) > 40:
        raise YarnError("{given} weighed rests were given; allowed are 40; add the small ones up.", given=len(parts))
    return tuple(exact(p, say("weighed rest")) for p in parts)

"""What the places are drawn with: input fields, pieces of HTML, and our own components.

Fields are views of the work in hand: they show its value and hand back what was typed.
A field never holds the truth.
What it shows is written into it before it is drawn, so undo, opening a file and a switch of units need
nothing more; what cannot be taken stays in the field with the reason under it.

Our components are the picture, the shelf, a photograph and its door, a line on a picture, a list put in order.
All use the component mount that ships with the page library, with a script of our own from this package:
no further dependency, nothing loaded from outside, and all work by keyboard and by touch.
The library's chart selection would hold one box at a time and cannot be worked by keys.
"""

from __future__ import annotations

import base64
import html
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from fractions import Fraction
from functools import partial
from typing import Any, get_args

import streamlit as st

from blendplan.blanket import Blanket
from blendplan.errors import BlendplanError
from blendplan.page import edits
from blendplan.page.routes import MEDIA, address
from blendplan.page.state import (
    blanket,
    change,
    lang,
    mount,
    plan,
    put_typed,
    reach,
    say,
    say_error,
    session,
    spoken,
    typed,
)
from blendplan.plan import Plan
from blendplan.quantities import figure, into_units, out_of_units, unit_sign
from blendplan.record import ruled
from blendplan.text import download_name
from blendplan.units import FACTORS, exact, whole


def refused(key: str) -> None:
    """Show, below a field that was drawn, why its last entry was not taken."""
    session().unseen.discard(key)
    error = session().bad.get(key)
    if error is not None:
        st.html(refused_html(say_error(error)))


def try_(key: str, act: Callable[[], object]) -> None:
    """Do something in a callback; a refusal is kept to be shown under the field of this key."""
    session().bad.pop(key, None)
    try:
        act()
    except BlendplanError as error:
        session().bad[key] = error


def press(label: str, key: str, act: Callable[[], object], *, told: str = "", **look: Any) -> None:
    """Draw a button that does something; a refusal is kept under its key, or under that of a field beside it."""
    st.button(label, key=key, on_click=try_, args=(told or key, act), **look)


def fill(key: str, shown: object) -> None:
    """Make a widget show a value, unless its last entry was refused and still stands there."""
    state = session()
    if key not in state.bad and (key in state.unseen or reach(lambda: st.session_state.get(key)) != shown):
        put_typed(key, shown)


def _take(key: str, apply: Callable[[Any], object]) -> None:
    try_(key, lambda: apply(reach(lambda: st.session_state[key])))


def text_field(label: str, key: str, value: str, apply: Callable[[str], object], *, hint: str = "") -> None:
    """Draw a field for a text."""
    fill(key, value)
    st.text_input(label, key=key, on_change=_take, args=(key, apply), placeholder=hint)
    refused(key)


def number_field(
    label: str,
    key: str,
    value: Fraction | float | None,
    apply: Callable[[Fraction | None], object],
    *,
    kind: str = "",
    hint: str = "",
    optional: bool = True,
) -> None:
    """Draw a field for a number, with a comma or a point; with `kind` it is shown in the units chosen.

    An empty field gives None where that is allowed. The range is that of the record that takes the number.
    """
    units, digits = units_now(), 1 if kind == "cm" else 2
    shown = "" if value is None else figure(into_units(value, kind, units) if kind else value, digits, lang())

    def apply_text(text: str) -> None:
        if not text.strip():
            if not optional:
                exact(None, label)
            apply(None)
            return
        number = exact(text, label)
        apply(out_of_units(number, kind, units) if kind else number)

    fill(key, shown)
    title = f"{label} ({unit_sign(kind, units)})" if kind else label
    st.text_input(title, key=key, on_change=_take, args=(key, apply_text), placeholder=hint)
    refused(key)


def field_of(
    label: str, key: str, of: Any, name: str, put: Callable[..., object], *, hint: str = "", more: str = ""
) -> None:
    """Draw a field of a record by what the record says of it: a switch, a whole number, a number, or a text.

    `put` gets what was typed by the name of the field.
    """
    value, (kind, rule) = getattr(of, name), ruled(type(of), name)
    inner = get_args(kind) or (kind,)

    def take(got: Any) -> None:
        put(**{name: float(got) if float in inner and got is not None else got})

    if kind is bool:
        switch_field(label, key, value, take, more=more)
    elif kind is int:
        whole_field(label, key, value, (rule.low, rule.high), take)
    elif kind is str:
        text_field(label, key, value, take, hint=hint)
    else:
        unit = rule.unit if rule.unit in FACTORS else ""
        number_field(label, key, value, take, kind=unit, hint=hint, optional=type(None) in inner)


def whole_field(label: str, key: str, value: int, between: tuple[float, float], apply: Callable[[int], object]) -> None:
    """Draw a field for a whole number between two, with steps by button or arrow key."""
    low, high = (int(end) for end in between)
    shown = min(max(value, low), high)
    fill(key, shown)

    def apply_number(got: int | None) -> None:
        apply(whole(got, label, low, high))

    st.number_input(label, min_value=low, max_value=high, step=1, key=key, on_change=_take, args=(key, apply_number))
    refused(key)


def choice_field(
    label: str,
    key: str,
    value: str,
    options: Mapping[str, str],
    apply: Callable[[str], object],
    *,
    buttons: bool = False,
) -> None:
    """Draw a choice between few options given as value to shown text."""

    def apply_known(got: str) -> None:
        # A browser names an option by its shown text; one whose text has changed since is nobody's choice.
        if got in options:
            apply(got)

    fill(key, value)
    draw: Callable[..., Any] = partial(st.segmented_control, required=True) if buttons else st.selectbox
    draw(
        label,
        list(options),
        format_func=lambda v: options.get(v, v),
        key=key,
        on_change=_take,
        args=(key, apply_known),
    )
    refused(key)


def put_design(**changes: Any) -> None:
    """Take what a field changes of the design."""
    change(lambda b: edits.change_design(b, **changes))


def put_yarn(key: str) -> Callable[..., None]:
    """Return what takes what a field changes of a yarn of the blanket, by its key."""
    return lambda **changes: change(lambda b: edits.change_yarn(b, key, **changes))


def several_field(
    label: str,
    key: str,
    values: tuple[str, ...],
    options: Mapping[str, str],
    apply: Callable[[tuple[str, ...]], object],
    *,
    hint: str,
) -> None:
    """Draw a choice of any number of options given as value to shown text."""
    fill(key, list(values))
    st.multiselect(
        label,
        list(options),
        format_func=lambda v: options.get(v, v),
        key=key,
        on_change=_take,
        args=(key, lambda got: apply(tuple(v for v in got if v in options))),
        placeholder=hint,
    )
    refused(key)


def switch_field(label: str, key: str, value: bool, apply: Callable[[bool], object], *, more: str = "") -> None:
    """Draw a switch, and below it what more is to be said of it."""
    fill(key, value)
    st.toggle(label, key=key, on_change=_take, args=(key, apply))
    if more:
        st.caption(more)
    refused(key)


def file_field(label: str, key: str, ending: str, most_mb: int, take: Callable[[bytes, str], object]) -> None:
    """Draw a field for a file with an ending; `take` gets its bytes and its name."""

    def taken() -> None:
        got = typed(key)
        if got is not None:
            try_(key, lambda: take(got.getvalue(), str(got.name)))

    st.file_uploader(label, type=[ending], key=key, on_change=taken, max_upload_size=most_mb)
    refused(key)


def save_button(label: str, key: str, title: str, ending: str, data: bytes | Callable[[], bytes]) -> None:
    """Draw a button that saves a file named after a title; data that are called are made when it is pressed."""
    name = download_name(title, ending)
    st.download_button(label, data, file_name=name, mime=MEDIA[ending], key=key, on_click="ignore")


def fold(label: str, key: str) -> Any:
    """Return a folded part of the page; its `.open` says whether its content need be drawn at all."""
    return st.expander(label, key=key, on_change="rerun")


def folded(label: str, key: str, draw: Callable[..., object], *args: object) -> bool:
    """Draw a folded part of the page with what draws its content once it is open; return whether it is.

    Where the content cannot be worked out a line says why, behind what was drawn of it.
    """
    part = fold(label, key)
    if part.open:
        with part:
            try:
                draw(*args)
            except BlendplanError as error:
                st.html(refused_html(say_error(error)))
    return bool(part.open)


def units_now() -> str:
    """Return the units shown: those of her ways, metric before the first yarn."""
    return spoken()[1]


def of_blanket(draw: Callable[[Blanket, Plan], None]) -> Callable[[], None]:
    """Return a place that needs a blanket that can be worked; without one it says what it waits for."""

    def place() -> None:
        current, made = blanket(), plan()
        if current is None or made is None:
            st.caption(
                say("This part waits for your first yarn. Add one under Yarn, from a photograph or by its colour code.")
            )
        else:
            draw(current, made)

    return place


_MARKDOWN = re.compile(r"([\\`*_{}\[\]()#+\-.!|<>~$:&@=^\"'/])")


def inert(text: str) -> str:
    r"""Return a maker's text so that Markdown shows it as it stands: no links, pictures, colours or formulas.

    Examples
    --------
    >>> inert("![x](http://y)")
    '\\!\\[x\\]\\(http\\:\\/\\/y\\)'
    """
    return _MARKDOWN.sub(r"\\\1", text)


def text_on(srgb: str) -> str:
    """Return black or white, whichever contrasts more with a colour (WCAG 2.2 relative luminance)."""
    channels = [int(srgb[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    luminance = sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
    return "#000000" if (luminance + 0.05) / 0.05 >= 1.05 / (luminance + 0.05) else "#ffffff"


def patch(srgb: str, label: str, number: int | str = "", picture: str = "") -> str:
    """Return HTML of a colour patch on neutral grey: number in it, name beside it, never colour alone.

    Parameters
    ----------
    srgb : str
    label : str
        The maker's text; escaped here.
    number : int or str
    picture : str
        Base64 of a small crop to stand beside the flat patch, or empty.
    """
    crop = ""
    if picture:
        crop = f'<img class="bp-crop" alt="" src="{crop_address(picture)}">'
    return (
        f'<span class="bp-patch"><span class="bp-ground">{crop}<span class="bp-flat" '
        f'style="background:{srgb};color:{text_on(srgb)}" aria-hidden="true">{html.escape(str(number))}</span></span>'
        f'<span class="bp-name">{html.escape(label)}</span></span>'
    )


def crop_address(picture: str) -> str:
    """Return where the browser finds the crop of a yarn, a small PNG, JPEG or WebP in base64."""
    kind = "png" if picture.startswith("iVBOR") else "webp" if picture.startswith("UklGR") else "jpeg"
    return address(base64.b64decode(picture), kind)


def beside(srgb: str, label: str, picture: str) -> str:
    """Return HTML of a crop and a flat patch, large and touching, to be compared by eye; the patch alone without crop.

    The crop is shown a little enlarged: in its middle there is yarn up to the edge that they share. The values are
    those of `patch`.
    """
    crop = f'<span><img alt="" src="{crop_address(picture)}"></span>' if picture else ""
    return (
        f'<div class="bp-eye">{crop}<span style="background:{srgb}"></span></div>'
        f'<span class="bp-name">{html.escape(label)}</span>'
    )


def bullet_list(items: Iterable[str]) -> str:
    """Return an HTML list of plain texts, escaped."""
    return "<ul class='bp-list'>" + "".join(line_html("li", i) for i in items) + "</ul>"


def key_mark(srgb: str, text: int | str, label: str = "") -> str:
    """Return a small patch with its number or letters in it, for tables; `label` is read aloud instead."""
    aria = (
        f' role="img" aria-label="{html.escape(label, quote=True)}" title="{html.escape(label, quote=True)}"'
        if label
        else ""
    )
    return f'<span class="bp-key" style="background:{srgb};color:{text_on(srgb)}"{aria}>{html.escape(str(text))}</span>'


def strands_mark(colours: Sequence[str]) -> str:
    """Return a small patch of strands side by side, as they lie close by, for tables."""
    stops = ", ".join(f"{colour} {5 * i}px {5 * i + 5}px" for i, colour in enumerate(colours))
    return f'<span class="bp-key" style="background:repeating-linear-gradient(115deg, {stops})"></span>'


def table_html(
    label: str,
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    caption: str = "",
    left: Sequence[int] = (0,),
) -> str:
    """Return an HTML table that scrolls in its own box and can be reached by keys.

    Parameters
    ----------
    label : str
        What the table is, for those who hear it.
    heads : sequence of str
        Plain texts, escaped here.
    rows : iterable of sequence of str
        Cells as HTML; whoever makes them escapes names. The first cell heads its row.
    caption : str
    left : sequence of int
        Columns set to the left.
    """
    side = ["left" if i in left else "right" for i in range(len(heads))]
    head = "".join(f'<th scope="col" class="bp-{s}">{html.escape(h)}</th>' for h, s in zip(heads, side, strict=True))
    lines = []
    for row in rows:
        cells = "".join(
            f'<td class="bp-{s}" data-head="{html.escape(h, quote=True)}">{c}</td>'
            for c, s, h in zip(row[1:], side[1:], heads[1:], strict=False)
        )
        lines.append(f'<tr><th scope="row" class="bp-{side[0]}">{row[0]}</th>{cells}</tr>')
    told = f"<caption>{html.escape(caption)}</caption>" if caption else ""
    return (
        f'<div class="bp-table" tabindex="0" role="region" aria-label="{html.escape(label, quote=True)}"><table>{told}'
        f"<thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody></table></div>"
    )


def line_html(tag: str, text: str, kind: str = "") -> str:
    """Return a text as HTML; it is escaped here."""
    named = f' class="{kind}"' if kind else ""
    return f"<{tag}{named}>{html.escape(text)}</{tag}>"


def facts_html(facts: Iterable[tuple[str, str]], kind: str = "") -> str:
    """Return names and what is known of each, as HTML; escaped."""
    rows = "".join(line_html("dt", name) + line_html("dd", value) for name, value in facts)
    return f'<dl class="bp-dl {kind}">{rows}</dl>'


def told_html(text: str, sign: str = "i") -> str:
    """Return a line to be told, with its sign; escaped."""
    return f'<p class="bp-told"><b aria-hidden="true">{sign}</b>{html.escape(text)}</p>'


def status_html(text: str) -> str:
    """Return a line that is read aloud when it comes; escaped."""
    return f'<p role="status">{html.escape(text)}</p>'


def refused_html(text: str) -> str:
    """Return a line that says why something was not taken; escaped, and read aloud at once."""
    return f'<p class="bp-refused" role="alert"><b aria-hidden="true">✗</b> {html.escape(text)}</p>'


# ---- our components

# A list longer than this scrolls in its own box, so that what is below it stays near.
MANY = 12
PHOTOS = '<div class="ph"></div>'


def heard(key: str, field: str, act: Callable[[Any], object]) -> Callable[[], None]:
    """Return the callback of a component that hands on what it was sent under a name."""

    def take() -> None:
        got = typed(key, {}).get(field)
        if got is not None:
            act(got)

    return take


def photo_stage(
    key: str,
    shown: Mapping[str, object],
    alt: str,
    *,
    on_boxes: Callable[[list[tuple[list[int], int | None]]], object],
    on_touch: Callable[[tuple[int, int]], object],
    on_taps: Callable[[list[list[int]]], object],
) -> None:
    """Draw a photograph with its yarns; all places are pixels of it upright and at its full size.

    `shown` holds `image`, `full`, `boxes` (each `box`, `label`, `tag`, `srgb`, `outline` as polygons, and `touched`: it
    has no box of its own), `white` (each `box`, `label`, `asked`), `card` (corners of the colour card in use), `free`
    (a place for a new box), `taps` (what is to be tapped, one sentence a tap), and `cards`, which begins the keys of
    the yarns' own cards, their number behind it: a press on a yarn brings its card into view.
    Called before the next run: `on_boxes` with all boxes, each with its place before (None for a new one), `on_touch`
    with the spot touched, `on_taps` with the spots tapped.
    """
    mount(
        "photos",
        key,
        {
            **shown,
            "words": {
                "photo": alt,
                "card": say("colour card"),
                "keys": say("Arrow keys move, Shift and arrow keys size, Delete takes out."),
                "tabs": say("By keys: Tab goes to each yarn, Enter to its card."),
                "add": say("Add a yarn"),
                "added": say("A new box stands where there is most room: move it onto your yarn; Enter reads it."),
                "draw": say("Draw with the finger"),
                "remove": say("Not a yarn"),
                "removed": say("Taken out."),
                "cross": say("Arrow keys move the cross, with Alt in small steps; Enter takes the spot."),
                "back": say("Take the last corner back"),
            },
        },
        PHOTOS,
        on_boxes_change=heard(key, "boxes", on_boxes),
        on_touch_change=heard(key, "touch", lambda spot: on_touch((int(spot[0]), int(spot[1])))),
        on_taps_change=heard(key, "taps", on_taps),
    )


def order_list(
    key: str, items: Sequence[tuple[str, str]], *, label: str, on_order: Callable[[list[int]], object]
) -> None:
    """Draw a list of names and their colours, put in order by dragging, by buttons, or by Alt and arrow keys.

    The first stands at the bottom. `on_order` gets the old places in their new order; a missing place was removed.
    """
    mount(
        "order",
        key,
        {
            "items": [{"name": name, "srgb": srgb, "ink": text_on(srgb)} for name, srgb in items],
            "long": len(items) > MANY,
            "words": {
                "list": label,
                "up": say("Move {name} up, now number {n}", name="{name}", n="{n}"),
                "down": say("Move {name} down, now number {n}", name="{name}", n="{n}"),
                "remove": say("Take {name} out of the order, now number {n}", name="{name}", n="{n}"),
                "moved": say("{name} is now number {place} of {all}", name="{name}", place="{place}", all="{all}"),
                "removed": say("{name} was taken out of the order", name="{name}"),
            },
        },
        '<ol></ol><p class="live" role="status"></p>',
        "marks",
        on_order_change=heard(key, "order", on_order),
    )


def photo_line(
    key: str,
    image: str,
    full: tuple[int, int],
    line: Sequence[int],
    *,
    alt: str,
    on_line: Callable[[list[int]], object],
) -> None:
    """Draw a picture with a line on it, drawn anew by a pointer, its ends moved by pointer or keys.

    Parameters
    ----------
    key : str
    image : str
        A data address.
    full : (int, int)
        Width and height of the upright photo at full size, the line's pixels.
    line : four int
        Start and end: x, y, x, y.
    alt : str
    on_line : callable
        Gets the line.
    """
    mount(
        "line",
        key,
        {
            "image": image,
            "full": list(full),
            "line": list(line),
            "words": {
                "photo": alt,
                "start": say("Start of the line, {x} from the left, {y} from the top.", x="{x}", y="{y}"),
                "end": say("End of the line, {x} from the left, {y} from the top.", x="{x}", y="{y}"),
                "startSign": "1",
                "endSign": "2",
                "keys": say("Arrow keys move it, with Alt in small steps."),
            },
        },
        '<div class="ln"></div>',
        on_line_change=heard(key, "line", on_line),
    )

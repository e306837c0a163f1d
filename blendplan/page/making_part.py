"""Part 5: a row counter with what comes next, the written rows, yarn left while working, and the paper."""

from __future__ import annotations

import base64
import html

import streamlit as st

from blendplan.outputs.content import begin_words
from blendplan.outputs.names import download_name
from blendplan.outputs.rows import plan_diagram
from blendplan.page.derive import paper_bytes
from blendplan.page.edits import signs_of
from blendplan.page.fields import fold, nothing_yet, whole_field
from blendplan.page.show import key_mark
from blendplan.page.state import brief, commit, lang, plan, say, work
from blendplan.plan import Plan, PlannedStripe

__all__ = ["making_part"]


def making_part() -> None:
    """Draw the part."""
    current, made = brief(), plan()
    if current is None or made is None:
        nothing_yet()
        return
    _counter(made)
    rows = fold(say("Written rows"), "rows-fold")
    if rows.open:
        with rows:
            _written(made)
    left = fold(say("Will it last? Weigh what is left"), "left-fold")
    if left.open:
        with left:
            from blendplan.page.left_fold import left_fold

            left_fold(made)
    _paper(made)


def _at(made: Plan, row: int) -> PlannedStripe:
    return next(s for s in made.stripes if s.first_row <= row <= s.last_row)


def next_words(made: Plan, done: int) -> tuple[str, str]:
    """Return what comes next after a number of rows: the row to work, and the change of strands if there is one."""
    if done >= made.rows:
        return say("All {n} rows are done.", n=made.rows), say("Weave in the ends and finish the edges.")
    row = done + 1
    stripe = _at(made, row)
    sign = signs_of(made.brief)
    strands = " + ".join(f"{sign[n]} {n}" for n in dict.fromkeys(stripe.stripe.strands))
    if stripe.stripe.solid:
        strands = say("all strands {yarn}", yarn=strands)
    first = say(
        "Row {row} of {all}: stripe {n}, row {at} of {rows} in it: {strands}.",
        row=row,
        all=made.rows,
        n=stripe.number,
        at=row - stripe.first_row + 1,
        rows=stripe.stripe.rows,
        strands=strands,
    )
    if row == stripe.first_row:
        return first, begin_words(stripe, sign, lang())
    later = stripe.last_row + 1
    if later > made.rows:
        return first, say("No more change of strands.")
    return first, say("Next change after row {row}.", row=stripe.last_row)


def _set_done(n: int) -> None:
    commit(work().with_extras(rows_done=n))


def _counter(made: Plan) -> None:
    done = min(work().extras.rows_done, made.rows)
    first, then = next_words(made, done)
    stripe = _at(made, min(done + 1, made.rows))
    st.html(
        f'<div class="bp-next" role="status">{key_mark(stripe.blend.srgb, stripe.number)}'
        f"<b>{html.escape(first)}</b><br>{html.escape(then)}</div>"
    )
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
        st.button(
            say("Row done"),
            key="row-done",
            type="primary",
            disabled=done >= made.rows,
            on_click=_set_done,
            args=(done + 1,),
        )
        st.button(say("One row back"), key="row-back", disabled=done == 0, on_click=_set_done, args=(done - 1,))
        whole_field(say("Rows done"), "rows-done", done, (0, made.rows), _set_done)
    st.progress(done / made.rows, text=say("{done} of {all} rows", done=done, all=made.rows))


def _written(made: Plan) -> None:
    words = made.written(lang())
    for section in words.sections:
        lines = "".join(f"<p>{html.escape(line)}</p>" for line in section.lines)
        st.html(f'<div class="bp-rows"><h3>{html.escape(section.title)}</h3>{lines}</div>')
    svg = base64.b64encode(plan_diagram(made, lang()).encode("utf-8")).decode("ascii")
    alt = say("Stitch diagram of one repeat; the written rows above say the same.")
    picture = f'<img alt="{html.escape(alt, quote=True)}" src="data:image/svg+xml;base64,{svg}">'
    st.html(f'<div class="bp-diagram">{picture}</div>')


KINDS: tuple[tuple[str, str, str], ...] = (
    ("pdf", "PDF to pin up", "application/pdf"),
    ("png", "Picture (PNG)", "image/png"),
    ("html", "Sheet to send (HTML)", "text/html"),
    ("txt", "Rows (text)", "text/plain"),
    ("shopping", "Shopping list (CSV)", "text/csv"),
    ("stripes", "Stripes (CSV)", "text/csv"),
)


def _paper(made: Plan) -> None:
    st.html(f"<h3>{html.escape(say('Paper and files'))}</h3>")
    columns = st.columns(2)
    with columns[0]:
        paper = st.segmented_control(say("Paper size"), ["A4", "Letter"], default="A4", required=True, key="paper")
    with columns[1]:
        dialect = st.selectbox(
            say("Spreadsheet"),
            ["comma", "semicolon"],
            format_func=lambda d: say("comma, decimal point") if d == "comma" else say("semicolon, decimal comma"),
            key="dialect",
        )
    title = made.brief.title
    language, the_brief = lang(), made.brief
    with st.container(horizontal=True, gap="small", key="downloads"):
        for kind, label, mime in KINDS:
            ending = kind if kind in ("pdf", "png", "html", "txt") else "csv"
            extra = {"shopping": say("shopping"), "stripes": say("stripes")}.get(kind, "")
            st.download_button(
                say(label),
                # Made when pressed, so that no change of the blanket waits for a PDF.
                lambda k=kind: paper_bytes(the_brief, k, str(paper or "A4"), language, str(dialect)),  # type: ignore[misc]
                file_name=download_name(f"{title} {extra}".strip(), ending),
                mime=mime,
                key=f"get-{kind}",
                on_click="ignore",
            )

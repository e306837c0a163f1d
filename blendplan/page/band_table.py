"""All bands in one table, for those who type many.

The table starts from a snapshot and keeps its own edits; it is never fed what it gave out itself.
A change from elsewhere (undo, a file, a field) starts a new one.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from blendplan.errors import YarnError
from blendplan.page.edits import add_yarn, drop_yarn, rename_yarn
from blendplan.page.fields import refused, try_
from blendplan.page.show import figure
from blendplan.page.state import brief, change, lang, say
from blendplan.plan import Brief
from blendplan.units import exact, whole
from blendplan.yarn import PutUp, Shade, Yarn

__all__ = ["apply_table", "band_table", "table_rows"]

COLUMNS = ("name", "colour", "grams", "metres", "skeins", "lot", "price")


def table_rows(current: Brief, language: str) -> list[dict[str, str]]:
    """Return the bands as rows of texts, with the decimal sign of the language."""

    def cell(value: Any) -> str:
        return "" if value is None else figure(value, 4, language)

    return [
        {
            "name": y.name,
            "colour": y.srgb,
            "grams": cell(y.put_up.mass_g if y.put_up else None),
            "metres": cell(y.put_up.length_m if y.put_up else None),
            "skeins": str(y.skeins_on_hand),
            "lot": y.dye_lot,
            "price": cell(y.price),
        }
        for y in current.yarns
    ]


def _yarn(row: dict[str, str], old: Yarn | None, was: dict[str, str]) -> Yarn:
    """Return the yarn of a row; cells that were not touched keep their exact old values."""

    def get(column: str) -> str:
        return str(row.get(column) or "").strip()

    colour = get("colour") or "#8c8c8c"
    shades: tuple[Shade, ...] = (Shade.from_hex(colour if colour.startswith("#") else f"#{colour}"),)
    if old is not None and colour == was.get("colour"):
        shades = old.shades
    put_up = old.put_up if old is not None else None
    if old is None or get("grams") != was["grams"] or get("metres") != was["metres"]:
        given = [get("grams"), get("metres")]
        if any(given) and not all(given):
            raise YarnError("{name} has only one of grams and metres; a skein needs both.", name=get("name") or "?")
        put_up = (
            PutUp(mass_g=exact(given[0], say("grams")), length_m=exact(given[1], say("metres"))) if all(given) else None
        )
    price = (
        old.price
        if old is not None and get("price") == was["price"]
        else exact(get("price"), say("price"))
        if get("price")
        else None
    )
    base = old or Yarn(name=get("name"), shades=shades)
    return replace(
        base,
        shades=shades,
        put_up=put_up,
        skeins_on_hand=whole(get("skeins") or 0, say("skeins"), 0, 1000),
        dye_lot=get("lot"),
        price=price,
    )


def apply_table(
    base: Brief,
    before: list[dict[str, str]],
    edited: dict[int, dict[str, str]],
    added: list[dict[str, str]],
    deleted: list[int],
) -> Brief:
    """Return a brief with the edits of the table made to it.

    Parameters
    ----------
    base : Brief
        The brief that the table was made from.
    before : list of dict
        `table_rows` of it.
    edited, added, deleted
        What the table reports: changed cells by row, new rows, places of rows taken away.

    Raises
    ------
    BlendplanError
        If a cell cannot be used.
    """
    out = base
    for at, cells in edited.items():
        if at in deleted:
            continue
        old = base.yarns[at]
        made = _yarn({**before[at], **cells}, old, before[at])
        out = replace(out, yarns=tuple(made if y.name == old.name else y for y in out.yarns))
    renames = [
        (base.yarns[at].name, str(c["name"] or "")) for at, c in edited.items() if "name" in c and at not in deleted
    ]
    for old_name, new_name in renames:
        out = rename_yarn(out, old_name, new_name)
    for row in added:
        if str(row.get("name") or "").strip():
            out = add_yarn(out, _yarn(row, None, dict.fromkeys(COLUMNS, "")))
    for at in deleted:
        out = drop_yarn(out, base.yarns[at].name)
    return out


def band_table(current: Brief) -> None:
    """Draw the table."""
    state = st.session_state
    if state.get("bands-shown") != current.yarns or "bands-base" not in state:
        state["bands-round"] = state.get("bands-round", 0) + 1
        state["bands-base"], state["bands-shown"] = current, current.yarns
    base: Brief = state["bands-base"]
    before = table_rows(base, lang())
    key = f"band-table-{state['bands-round']}"
    heads = {
        "name": say("Name"),
        "colour": say("Colour"),
        "grams": say("Grams a skein"),
        "metres": say("Metres a skein"),
        "skeins": say("Skeins on hand"),
        "lot": say("Dye lot"),
        "price": say("Price"),
    }

    def take() -> None:
        got = state[key]

        def all_edits(now: Brief) -> Brief:
            made = apply_table(base, before, got["edited_rows"], got["added_rows"], got["deleted_rows"])
            return replace(now, yarns=made.yarns, sequence=made.sequence, stripes=made.stripes, yardage=made.yardage)

        def act() -> None:
            change(all_edits)
            latest = brief()
            # What came from the table itself does not start a new one.
            state["bands-shown"] = latest.yarns if latest is not None else ()

        try_("bands", act)

    st.data_editor(
        before,
        key=key,
        num_rows="dynamic",
        hide_index=True,
        width="stretch",
        column_config={c: st.column_config.TextColumn(heads[c], required=c == "name") for c in COLUMNS},
        on_change=take,
        alt=say("Your yarns with name, colour, grams, metres, skeins, dye lot and price"),
    )
    st.caption(
        say(
            "Grams and metres as the band says; a comma or a point, both are read. "
            "The same fields stand above, one yarn at a time."
        )
    )
    refused("bands")

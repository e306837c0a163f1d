"""Yarns found in photos: their crops and shades shown, named, and taken over into a blanket."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from blendplan.page.fields import text_field
from blendplan.page.show import patch
from blendplan.page.state import commit, say, tell, work
from blendplan.page.workspace import Crop, Extras, Find, Workspace
from blendplan.plan import Brief
from blendplan.stripes.sequence import Sequence as Rule
from blendplan.wording import note
from blendplan.yarn import Yarn

__all__ = ["find_fields", "free_name", "take_finds"]


def _rename(find: Find, name: str) -> None:
    new = replace(find, name=name)
    commit(work().with_extras(finds=tuple(new if f is find or f == find else f for f in work().extras.finds)))


def find_fields(finds: Sequence[Find]) -> None:
    """Show what was found: crop and flat patch side by side on grey, and a field for the name."""
    if not finds:
        st.caption(say("No yarn is marked in this photo. Draw a box on it, or press “Add a box”."))
        return
    columns = st.columns(min(4, max(2, len(finds))))
    for i, find in enumerate(finds):
        with columns[i % len(columns)]:
            shades = find.shades
            doubt = max((s.uncertainty for s in shades if s.uncertainty is not None), default=None)
            label = shades[0].srgb if len(shades) == 1 else say("{n} shades", n=len(shades))
            if doubt is not None:
                label += " " + say("± {d}", d=round(doubt))
            st.html(patch(shades[0].srgb, label, i + 1, find.picture))
            text_field(
                say("Name of yarn {n}", n=i + 1),
                f"find-{find.photo}-{i}",
                find.name,
                lambda t, f=find: _rename(f, t),  # type: ignore[misc]
                placeholder=say("as on its band"),
            )


def free_name(wanted: str, taken: set[str]) -> str:
    """Return a name that is not in use, made from a wish or counted up."""
    if wanted and wanted not in taken:
        return wanted
    n = 2 if wanted else 1
    while True:
        name = f"{wanted} {n}" if wanted else say("Yarn {n}", n=n)
        if name not in taken:
            return name
        n += 1


def take_finds(fresh: bool) -> None:
    """Take all finds over as yarns: into the blanket in hand, or as a new one."""
    now = work()
    finds = now.extras.finds
    base = None if fresh else now.brief
    taken = {y.name for y in base.yarns} if base else set()
    yarns: list[Yarn] = []
    crops = () if fresh else now.extras.crops
    for find in finds:
        name = free_name(find.name, taken)
        taken.add(name)
        yarns.append(Yarn(name=name, shades=find.shades))
        if find.picture:
            crops = (*crops, Crop(yarn=name, picture=find.picture))
    names = tuple(y.name for y in yarns)
    if base is None:
        units = now.brief.units if now.brief else "metric"
        new = Brief(title=say("My blanket"), yarns=tuple(yarns), sequence=Rule(order=names), units=units)
        extras = Extras(crops=crops)
    else:
        rule = replace(base.sequence, order=(*base.sequence.order, *names))
        new = replace(base, yarns=(*base.yarns, *yarns), sequence=rule)
        extras = replace(now.extras, crops=crops, finds=())
    commit(Workspace(brief=new, extras=extras))
    st.session_state.photos = {}
    if base is not None and base.stripes is not None:
        tell(note("The new yarns wait beside your hand-set stripes: give them a stripe below."))

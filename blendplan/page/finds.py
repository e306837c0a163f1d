"""Yarns found in photos: their crops and shades shown, named, and taken over into a blanket."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import streamlit as st

from blendplan.page.fields import choice_field, text_field
from blendplan.page.shade_words import bound, doubt, shade_label
from blendplan.page.show import inert, patch
from blendplan.page.state import commit, say, tell, work
from blendplan.page.workspace import Crop, Extras, Find, Workspace
from blendplan.photo import merge_yarn_shades
from blendplan.plan import Brief
from blendplan.stripes.sequence import Sequence as Rule
from blendplan.wording import Notice, note, rounded
from blendplan.yarn import Shade, Yarn

__all__ = ["ask_same_names", "find_fields", "free_name", "take_finds"]


def _rename(find: Find, name: str) -> None:
    new = replace(find, name=name)
    commit(work().with_extras(finds=tuple(new if f is find or f == find else f for f in work().extras.finds)))


def find_fields(finds: Sequence[Find]) -> None:
    """Show what was found: a crop and a flat patch of each shade on grey, how sure they are, a field for the name."""
    if not finds:
        st.caption(say("No yarn is marked in this photo. Draw a box on it, or press “Add a box”."))
        return
    columns = st.columns(2)
    for i, find in enumerate(finds):
        with columns[i % 2], st.container(key=f"find-box-{find.photo}-{i}"):
            picture, patches = find.picture, ""
            for shade in find.shades:
                patches += f"<li>{patch(shade.srgb, shade_label(shade, find.shades), i + 1, picture)}</li>"
                # The crop shows the whole yarn, so it stands beside the first of its shades only.
                picture = ""
            st.html(f'<ul class="bp-patches">{patches}</ul>')
            if why := doubt(find.shades):
                st.caption(why)
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Group:
    """Finds that go by one name, and the yarn of the blanket in hand that goes by it."""

    name: str
    finds: tuple[Find, ...]
    own: Yarn | None = None

    @property
    def readings(self) -> tuple[tuple[Shade, ...], ...]:
        """The shades of the yarn in hand, if any, then those of each find."""
        return (*((self.own.shades,) if self.own else ()), *(f.shades for f in self.finds))

    @property
    def pictures(self) -> tuple[str, ...]:
        """The crops, one for each reading; empty where there is none."""
        return (*((work().crop_of(self.own.name),) if self.own else ()), *(f.picture for f in self.finds))


def _called(name: str) -> str:
    """Return a name without case and spare blanks."""
    return " ".join(name.split()).casefold()


def _groups(finds: Sequence[Find], base: Brief | None) -> list[_Group]:
    """Return the finds by name, in the order of their first; a find without a name stands alone."""
    own = {_called(y.name): y for y in base.yarns} if base else {}
    named: dict[object, list[Find]] = {}
    for i, find in enumerate(finds):
        named.setdefault(_called(find.name) or i, []).append(find)
    groups = []
    for key, same in named.items():
        yarn = own.get(key) if isinstance(key, str) else None
        groups.append(_Group(name=yarn.name if yarn else same[0].name, finds=tuple(same), own=yarn))
    return groups


def _kept_apart() -> set[str]:
    """Return the names under which the maker keeps finds apart, as `_called` gives them."""
    return st.session_state.setdefault("kept-apart", set())


# What becomes of readings of one yarn, by `SameYarn.outcome`.
OUTCOMES = {
    "mean": "As one yarn they are averaged, the surer counting more.",
    "apart": "That is too far to be averaged: as one yarn the surest is kept, and doubted. They may be two yarns.",
    "unlike": "They show different numbers of shades, which cannot be averaged: as one yarn the surest is kept.",
    "by-eye": "As one yarn, what you set by eye is kept.",
}


def ask_same_names() -> int:
    """Ask about each name that comes more than once, and return how many yarns the finds will be."""
    now = work()
    groups = _groups(now.extras.finds, None if now.extras.demo else now.brief)
    count = 0
    for group in groups:
        key = _called(group.name)
        count += len(group.finds) if key in _kept_apart() else 1
        if len(group.readings) > 1:
            _ask(group, key)
    return count


def _ask(group: _Group, key: str) -> None:
    n, name = len(group.readings), inert(group.name)
    if group.own is not None:
        question = say("{name} is in the blanket already: the same yarn seen again, or another one?", name=name)
        options = {"one": say("The same yarn"), "apart": say("Another yarn")}
    elif n == 2:
        question = say("Two are called {name}: one yarn seen twice, or two yarns?", name=name)
        options = {"one": say("One yarn"), "apart": say("Two yarns")}
    else:
        question = say("{n} are called {name}: one yarn seen {n} times, or {n} yarns?", n=n, name=name)
        options = {"one": say("One yarn"), "apart": say("{n} yarns", n=n)}
    kept = _kept_apart()
    same = merge_yarn_shades(group.name, group.readings)
    seen = [
        patch(Yarn(name=group.name, shades=shades).srgb, _sure(shades), i, picture)
        for i, (shades, picture) in enumerate(zip(group.readings, group.pictures, strict=True), 1)
    ]
    with st.container(border=True, key=f"same-{len(group.finds)}-{group.finds[0].photo}-{group.finds[0].box[0]}"):
        choice_field(
            question,
            f"same-{key}",
            "apart" if key in kept else "one",
            options,
            lambda v: kept.add(key) if v == "apart" else kept.discard(key),
            buttons=True,
        )
        if key not in kept:
            made = Yarn(name=group.name, shades=same.shades)
            seen.append(patch(made.srgb, say("as one yarn") + ": " + _sure(made.shades), "="))
        st.html('<ul class="bp-patches">' + "".join(f"<li>{p}</li>" for p in seen) + "</ul>")
        gap = say("They lie {de} apart (CIEDE2000; about 2 can just be seen).", de=rounded(same.apart, 1))
        st.caption(gap + " " + say(OUTCOMES[same.outcome]))


def _sure(shades: Sequence[Shade]) -> str:
    """Return the colours of a reading and how sure they are."""
    d = bound(shades)
    text = shades[0].srgb if len(shades) == 1 else say("{n} shades", n=len(shades))
    return text + " " + say("± {d}", d=d) if d is not None else text


def take_finds(fresh: bool) -> None:
    """Take all finds over as yarns: into the blanket in hand, or as a new one.

    Finds of one name are one yarn, and shades the yarn in hand that has the name, unless they are kept apart.
    """
    now = work()
    base = None if fresh else now.brief
    taken = {y.name for y in base.yarns} if base else set()
    yarns: list[Yarn] = []
    again: dict[str, tuple[Shade, ...]] = {}
    crops = {} if fresh else {c.yarn: c.picture for c in now.extras.crops}
    told: list[Notice] = []
    for group in _groups(now.extras.finds, None if now.extras.demo else base):
        one_yarn = len(group.readings) > 1 and _called(group.name) not in _kept_apart()
        if one_yarn:
            same = merge_yarn_shades(group.name, group.readings)
            told.append(same.notice)
            made = [(same.shades, group.pictures[same.surest] or next(filter(None, group.pictures), ""))]
        else:
            made = [(f.shades, f.picture) for f in group.finds]
        for shades, picture in made:
            if one_yarn and group.own is not None:
                name = group.own.name
                again[name] = shades
            else:
                name = free_name(group.name, taken)
                yarns.append(Yarn(name=name, shades=shades))
            taken.add(name)
            if picture:
                crops[name] = picture
    names = tuple(y.name for y in yarns)
    kept = tuple(Crop(yarn=name, picture=picture) for name, picture in crops.items())
    if base is None:
        units = now.brief.units if now.brief else "metric"
        new = Brief(title=say("My blanket"), yarns=tuple(yarns), sequence=Rule(order=names), units=units)
        extras = Extras(crops=kept)
    else:
        rule = replace(base.sequence, order=(*base.sequence.order, *names))
        old = tuple(replace(y, shades=again.get(y.name, y.shades)) for y in base.yarns)
        new = replace(base, yarns=(*old, *yarns), sequence=rule)
        extras = replace(now.extras, crops=kept, finds=(), photos=())
    commit(Workspace(brief=new, extras=extras))
    st.session_state.photos = {}
    st.session_state["kept-apart"] = set()
    if yarns and base is not None and base.stripes is not None:
        told.append(note("The new yarns wait beside your hand-set stripes: give them a stripe below."))
    for notice in told:
        tell(notice)

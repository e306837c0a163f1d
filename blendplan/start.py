"""A first blanket to begin from: from photos, from a palette, or from three yarns to be replaced."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import PurePath

from blendplan.blanket import Blanket, Design, Materials
from blendplan.budgets import START_COLOURS
from blendplan.errors import YarnError
from blendplan.files import read_file
from blendplan.palette import read_palette
from blendplan.photo import PhotoReading, SameYarn
from blendplan.wording import Notice, note
from blendplan.yarn import Shade, Yarn

_FIRST = (("First yarn", "#35566b"), ("Second yarn", "#c8a75a"), ("Third yarn", "#9c4a3c"))


def yarns_read(readings: Sequence[PhotoReading], one: SameYarn | None = None) -> tuple[Yarn, ...]:
    """Return what was read in photos as yarns named after the files; `one` is what several photos of one yarn give."""
    yarns: dict[str, Yarn] = {}
    for reading in readings[:1] if one else readings:
        stem = PurePath(reading.name.replace("\\", "/")).stem.strip()[:60] or "photo"
        found = (one.shades,) if one else tuple(yarn.shades for yarn in reading.yarns)
        for i, shades in enumerate(found, start=1):
            label = stem if len(found) == 1 else f"{stem} {i}"
            while label in yarns:
                label += "'"
            yarns[label] = Yarn(name=label, shades=shades)
    return tuple(yarns.values())


def starting_blanket(
    *, palette: str | None = None, photographed: Sequence[Yarn] | None = None
) -> tuple[Blanket, tuple[Notice, ...]]:
    """Return a blanket to begin from, of the yarns of a palette CSV, given by its path, and of those in photos."""
    yarns: tuple[Yarn, ...] = ()
    notices: tuple[Notice, ...] = ()
    if palette is not None:
        read = read_palette(read_file(palette), PurePath(palette).name)
        yarns, notices = read.yarns, read.notices
    taken = {yarn.name for yarn in yarns}
    for yarn in photographed or ():
        name = yarn.name
        while name in taken:
            name += "'"
        taken.add(name)
        yarns += (replace(yarn, name=name),)
    if not yarns and photographed is not None:
        raise YarnError(
            "no yarn stands out from plain ground in the photos; point at each with --at X,Y, or give a box with "
            "--box; or type the colours."
        )
    if not yarns:
        yarns = tuple(
            Yarn(
                name=name,
                shades=(Shade.from_hex(srgb),),
                grams=Fraction(100),
                metres=Fraction(180),
                weight_class=4,
            )
            for name, srgb in _FIRST
        )
        notices = (note("Three yarns stand in the file to begin with; put your own in their place.", "assumed"),)
    if any(yarn.put_up is None for yarn in yarns):
        notices = (
            *notices,
            note(
                "The label of some yarns is not known; until you fill in grams and metres of one skein, skeins are "
                "counted with what is usual.",
                "assumed",
            ),
        )
    order = tuple(yarn.key for yarn in yarns[:START_COLOURS])
    return Blanket(materials=Materials(yarns=yarns), design=Design(order=order)), notices

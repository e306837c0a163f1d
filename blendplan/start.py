"""A first blanket to begin from: from photos, from a palette, or from three yarns to be replaced."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from itertools import zip_longest
from pathlib import PurePath

from blendplan.blanket import Blanket, Design, Materials, free_key
from blendplan.budgets import START_COLOURS
from blendplan.errors import YarnError
from blendplan.files import read_file
from blendplan.outputs.content import letters
from blendplan.palette import read_palette
from blendplan.photo import PhotoReading, SameYarn
from blendplan.wording import Notice, note, tr
from blendplan.yarn import Shade, Yarn

# A file that its maker gave a name in words; what cameras and programs call files has figures.
_WORDS = re.compile(r"[^\W\d_]+(?:[ -][^\W\d_]+){0,4}")
_FIRST = (("First yarn", "#35566b"), ("Second yarn", "#c8a75a"), ("Third yarn", "#9c4a3c"))


def yarns_read(
    readings: Sequence[PhotoReading], one: SameYarn | None = None, names: Sequence[str] = (), lang: str = "en"
) -> tuple[tuple[Yarn, ...], tuple[Notice, ...]]:
    """Return what was read in photos as yarns, in the order found, and what is to be said of their names.

    They are called as told, else as the file of a photo of one yarn where that has a name in words, else by a letter;
    `one` is what several photos of one yarn give.
    """
    found = [(r.name if len(r.yarns) == 1 else "", yarn.shades) for r in readings for yarn in r.yarns]
    found = [(readings[0].name, one.shades)] if one else found
    if len(names) > len(found):
        raise YarnError(
            "{given} names were given for {allowed} yarns; give one for each, in the order they are found.",
            given=len(names),
            allowed=len(found),
        )
    yarns: dict[str, Yarn] = {}
    lettered: list[str] = []
    for letter, told, (file, shades) in zip_longest(letters(map(str, range(len(found)))).values(), names, found):
        stem = PurePath(file.replace("\\", "/")).stem
        name = told or (stem if _WORDS.fullmatch(stem) and stem not in {*names, *yarns} else "")
        if not name:
            name = free_key(tr("Yarn {n}", lang, n=letter), yarns)
            lettered.append(name)
        if name in yarns:
            raise YarnError("{name} was given to two yarns; give each a name of its own.", name=repr(name))
        yarns[name] = Yarn(name=name, shades=shades)
    called = note(
        "Called by letters in the order they were found: {names}; --name NAME, once for each yarn, gives other names.",
        names=", ".join(lettered),
    )
    return tuple(yarns.values()), (called,) if lettered else ()


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
        name = free_key(yarn.name, taken)
        taken.add(name)
        yarns += (Yarn(name=name, shades=yarn.shades),)
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

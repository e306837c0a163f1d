"""A first blanket to begin from: from photos, from a palette, or from three yarns to be replaced."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from pathlib import PurePath

from blendplan.blanket import Blanket, Design, Materials
from blendplan.budgets import START_COLOURS
from blendplan.errors import YarnError
from blendplan.files import read_file
from blendplan.palette import read_palette
from blendplan.photo import read_photo
from blendplan.wording import Notice, note
from blendplan.yarn import Shade, Yarn

_FIRST = (("First yarn", "#35566b"), ("Second yarn", "#c8a75a"), ("Third yarn", "#9c4a3c"))


def _photographed(path: str, taken: Iterable[str]) -> tuple[tuple[Yarn, ...], tuple[Notice, ...]]:
    """Return the yarns found in one photo, named after its file but not by names taken, and what is to be said."""
    reading = read_photo(path)
    stem = PurePath(path.replace("\\", "/")).stem.strip()[:60] or "photo"
    used, yarns = set(taken), []
    for i, found in enumerate(reading.yarns, start=1):
        label = stem if len(reading.yarns) == 1 else f"{stem} {i}"
        while label in used:
            label += "'"
        used.add(label)
        yarns.append(Yarn(name=label, shades=found.shades))
    return tuple(yarns), reading.notices


def starting_blanket(*, palette: str | None = None, photos: Sequence[str] = ()) -> tuple[Blanket, tuple[Notice, ...]]:
    """Return a blanket to begin from, of the yarns of a palette CSV and of photos, given by their paths."""
    yarns: tuple[Yarn, ...] = ()
    notices: tuple[Notice, ...] = ()
    if palette is not None:
        read = read_palette(read_file(palette), PurePath(palette).name)
        yarns, notices = read.yarns, read.notices
    for path in photos:
        found, said = _photographed(path, (y.name for y in yarns))
        yarns, notices = yarns + found, notices + said
    if not yarns and photos:
        raise YarnError(
            "no yarn stands out from plain ground in the photos; point at each with 'blendplan shades --at X,Y', or "
            "give a box with --box; or type the colours."
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

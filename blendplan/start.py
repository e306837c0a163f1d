"""A first brief to begin from: from photos, from a palette, or from three yarns to be replaced."""

from __future__ import annotations

from collections.abc import Sequence as Seq
from pathlib import PurePath

from blendplan.errors import YarnError
from blendplan.palette import read_palette
from blendplan.photo import load_photo, read_photo
from blendplan.plan import Brief
from blendplan.project import read_file
from blendplan.stripes.sequence import Sequence
from blendplan.wording import Notice, note
from blendplan.yarn import PutUp, Shade, Yarn

__all__ = ["starting_brief", "yarns_from_photo"]

MAX_ORDER = 40
_FIRST = (("First yarn", "#35566b"), ("Second yarn", "#c8a75a"), ("Third yarn", "#9c4a3c"))


def yarns_from_photo(
    data: bytes, name: str, taken: Seq[str] = (), *, put_up: PutUp | None = None
) -> tuple[tuple[Yarn, ...], tuple[Notice, ...]]:
    """Return the yarns found in one photo, named after the file, and what is to be said.

    Parameters
    ----------
    data : bytes
        The file as it is.
    name : str
        Its name; only its stem is used, and only for naming.
    taken : sequence of str
        Names that are in use already.
    put_up : PutUp, optional
        The band of all of them, where it is the same.

    Raises
    ------
    PhotoError
        If the file cannot be read or no yarn is in it.
    """
    reading = read_photo(load_photo(data, name))
    stem = PurePath(name.replace("\\", "/")).stem.strip()[:60] or "photo"
    used = set(taken)
    yarns = []
    for i, found in enumerate(reading.yarns, start=1):
        label = stem if len(reading.yarns) == 1 else f"{stem} {i}"
        while label in used:
            label += "'"
        used.add(label)
        yarns.append(Yarn(name=label, shades=found.shades, put_up=put_up))
    return tuple(yarns), reading.notices


def starting_brief(*, palette: str | None = None, photos: Seq[str] = ()) -> tuple[Brief, tuple[Notice, ...]]:
    """Return a brief to begin from.

    Parameters
    ----------
    palette : str, optional
        Path of a palette CSV whose yarns to take.
    photos : sequence of str
        Paths of photos whose yarns to take.

    Raises
    ------
    BlendplanError
        If a file cannot be read or holds no yarn.
    """
    yarns: tuple[Yarn, ...] = ()
    notices: tuple[Notice, ...] = ()
    if palette is not None:
        read = read_palette(read_file(palette), PurePath(palette).name)
        yarns, notices = read.yarns, read.notices
    for path in photos:
        found, said = yarns_from_photo(read_file(path), PurePath(path).name, [y.name for y in yarns])
        yarns, notices = yarns + found, notices + said
    if not yarns and photos:
        raise YarnError("no yarn was found in the photos; give a box with 'blendplan shades --box', or type colours.")
    if not yarns:
        yarns = tuple(
            Yarn(
                name=name,
                shades=(Shade.from_hex(srgb),),
                put_up=PutUp(mass_g="100", length_m="180"),  # type: ignore[arg-type]
                weight_class=4,
            )
            for name, srgb in _FIRST
        )
        notices = (note("Three yarns stand in the file to begin with; put your own in their place.", "assumed"),)
    if any(yarn.put_up is None for yarn in yarns):
        notices = (
            *notices,
            note(
                "The band of some yarns is not known; fill in put_up with mass_g and length_m per skein "
                "so that skeins can be counted.",
                "assumed",
            ),
        )
    return Brief(yarns=yarns, sequence=Sequence(order=tuple(y.name for y in yarns[:MAX_ORDER]))), notices

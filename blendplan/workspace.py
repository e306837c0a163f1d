"""Everything that one session works on, as one frozen value."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from typing import Any, Literal

from blendplan.blanket import Blanket, Design
from blendplan.budgets import MAX_CROP, MAX_FINDS, MAX_YARNS
from blendplan.errors import ProjectError
from blendplan.outputs.content import letters
from blendplan.photo import Light, Place, Pointed
from blendplan.plan import Plan, make_plan
from blendplan.project import PAGE_ENTRY, entries_json, read_entries
from blendplan.record import held, read, record, same, to_plain
from blendplan.wording import Notice, note
from blendplan.yarn import Shade, Yarn

__all__ = [
    "Crop",
    "Extras",
    "Find",
    "FirstWishes",
    "HowRead",
    "Workspace",
    "changed",
    "entries_of",
    "read_workspace",
    "work_of",
    "workspace_to_json",
]


def _picture(text: str, field: str) -> str:
    """Return base64 of a small PNG, JPEG or WebP, or refuse it."""
    try:
        head = base64.b64decode(text, validate=True)[:12]
    except (binascii.Error, ValueError):
        head = b""
    known = head.startswith((b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff")) or (head[:4], head[8:]) == (b"RIFF", b"WEBP")
    if len(text) > MAX_CROP or not known:
        raise ProjectError("{field} is not a small PNG, JPEG or WebP picture; remove that entry.", field=field)
    return text


@record
class Crop:
    """A small picture of one yarn, without metadata.

    Attributes
    ----------
    yarn : str
        Its key.
    picture : str
        A small JPEG or PNG in base64.
    read : tuple of Shade
        Its shades as its photo gave them; empty in older files.
    """

    yarn: str = held("yarn of a crop", longest=80)
    picture: str = held("the crop of a photo", longest=1_000_000)
    read: tuple[Shade, ...] = ()

    def __post_init__(self) -> None:
        _picture(self.picture, "the crop of a photo")


@record
class Find:
    """A yarn found in a photo and not yet taken into the project.

    Attributes
    ----------
    photo : str
        Digest of the photo's bytes.
    box : tuple of 4 int
        Left, top, right, bottom in pixels of the upright photo.
    name : str
        As typed so far.
    shades : tuple of Shade
    read : tuple of Shade
        As its photo gives them; `shades` may be mended by eye.
    picture : str
        A small crop in base64, or empty.
    by_hand : bool
        True once the maker has drawn, moved or sized the box herself, or touched the yarn.
    touches : tuple of (x, y)
        Where she touched the yarn; the box is then what was read round them.
    dyes : int or None
        What she says of its shades, as `blendplan.photo.Place`.
    letter : str
        Dealt when it was added, and to no other after it.
    grams, metres, weight_class
        Of its own label, as `blendplan.yarn.Yarn`, where labels are not all alike.
    """

    photo: str = held("digest of a photo", longest=80)
    box: tuple[int, int, int, int] = held("box of a find")
    name: str = held("name of a yarn", default="", longest=80)
    shades: tuple[Shade, ...] = ()
    read: tuple[Shade, ...] = ()
    picture: str = held("the crop of a photo", default="", longest=1_000_000)
    by_hand: bool = False
    touches: tuple[tuple[int, int], ...] = ()
    dyes: int | None = None
    letter: str = held("letter of a yarn", default="", longest=80)
    grams: Fraction | None = same(Yarn, "grams")
    metres: Fraction | None = same(Yarn, "metres")
    weight_class: int | None = same(Yarn, "weight_class")

    @property
    def place(self) -> Place:
        """Where the yarn is shown in its photo."""
        return Place(box=None if self.touches else self.box, touches=self.touches, dyes=self.dyes)

    def __post_init__(self) -> None:
        if self.picture:
            _picture(self.picture, "the crop of a photo")


Spot = tuple[int, int]


@record
class HowRead:
    """How a photo is read; it stands beside the finds, so that undo and an open file bring back both.

    Attributes
    ----------
    photo : str
        Digest of the photo's bytes.
    quarters : int
        Quarter turns to the right, 0 to 3; spots, corners and boxes are pixels of the photo as it is turned.
    white : "auto", "off" or (x, y)
        As `blendplan.photo.read_photo`.
    grey_card : bool
        True where the spot tapped is a grey card, not white paper.
    card : None, "auto" or four (x, y)
        The colour card, as `blendplan.photo.read_photo`.
    known : tuple of Pointed
        Yarns whose shade she knows.
    light : Light or None
        Lent by another photo; then nothing else is looked for.
    """

    photo: str = held("digest of a photo", longest=80)
    quarters: int = held("quarter turns", default=0, low=0, high=3)
    white: Literal["auto", "off"] | Spot = "auto"
    grey_card: bool = False
    card: Literal["auto"] | tuple[Spot, Spot, Spot, Spot] | None = None
    known: tuple[Pointed, ...] = held("yarns whose shade is known", default=(), most=MAX_FINDS)
    light: Light | None = None

    @property
    def pointed(self) -> tuple[Pointed, ...]:
        """All that was pointed at in the photo."""
        if isinstance(self.white, str):
            return self.known
        return (Pointed(kind="grey" if self.grey_card else "white", spot=self.white), *self.known)

    @property
    def has_card(self) -> bool:
        """Whether a colour card is in use, the photo's own or another's."""
        lent = self.light is not None and any(one.kind == "card" for one in self.light.seen)
        return self.card is not None or lent


@record
class FirstWishes:
    """What is chosen of the first blanket before it is drawn: one label for all yarns, and how large.

    Attributes
    ----------
    alike : bool
        One label for all; otherwise each find has its own.
    grams, metres, weight_class
        Of that label, as `blendplan.yarn.Yarn`.
    size : str
        A key of `blendplan.fabric.size.SIZES`, "own" for a size in numbers, or empty.
    width_cm, length_cm, for_baby
        As `blendplan.blanket.Design`.
    """

    alike: bool = True
    grams: Fraction | None = same(Yarn, "grams")
    metres: Fraction | None = same(Yarn, "metres")
    weight_class: int | None = same(Yarn, "weight_class")
    size: str = held("size", default="", longest=40)
    width_cm: float | None = same(Design, "width_cm")
    length_cm: float | None = same(Design, "length_cm")
    for_baby: bool = same(Design, "for_baby")


@record
class Extras:
    """What the page keeps beside the blanket.

    Attributes
    ----------
    demo : bool
        True while the demo's blanket is in hand.
    crops : tuple of Crop
    finds : tuple of Find
    photos : tuple of HowRead
        One for each photo that the finds are of.
    dealt : int
        Letters dealt to finds so far.
    first : FirstWishes
    """

    demo: bool = held("demo", default=False)
    crops: tuple[Crop, ...] = held("crops", default=(), most=MAX_YARNS)
    finds: tuple[Find, ...] = held("finds", default=(), most=MAX_FINDS)
    photos: tuple[HowRead, ...] = held("photos", default=(), most=MAX_FINDS)
    dealt: int = held("letters dealt", default=0, low=0, high=10_000)
    first: FirstWishes = held("wishes for the first blanket", factory=FirstWishes)

    def __post_init__(self) -> None:
        # Each find gets the next letter when it comes, and no other ever gets it again.
        bare = [find for find in self.finds if not find.letter]
        if bare:
            every = list(letters(map(str, range(self.dealt + len(bare)))).values())
            fresh = iter(every[self.dealt :])
            finds = tuple(find if find.letter else replace(find, letter=next(fresh)) for find in self.finds)
            object.__setattr__(self, "finds", finds)
            object.__setattr__(self, "dealt", self.dealt + len(bare))


@record
class Workspace:
    """The blanket in hand (None before the first yarn) and what the page keeps beside it."""

    blanket: Blanket | None = None
    extras: Extras = held("extras", factory=Extras)

    def with_extras(self, **changes: object) -> Workspace:
        """Return the same with some extras changed."""
        return replace(self, extras=replace(self.extras, **changes))  # type: ignore[arg-type]

    def crop_of(self, key: str) -> Crop | None:
        """Return the crop of a yarn, if there is one."""
        return next((c for c in self.extras.crops if c.yarn == key), None)


def entries_of(work: Workspace) -> dict[str, Any]:
    """Return a project file's entries with the page's extras under `page`; the same for the same work."""
    return {**(to_plain(work.blanket) if work.blanket else {}), PAGE_ENTRY: to_plain(work.extras)}


def workspace_to_json(work: Workspace) -> str:
    """Return the project file with the page's extras."""
    return entries_json(entries_of(work))


def work_of(entries: dict[str, Any], notices: list[Notice] | None = None) -> Workspace:
    """Return the work that a project file's entries hold, with or without the page's extras.

    Raises
    ------
    BlendplanError
        As `blendplan.project.read_project`; extras that cannot be used are refused likewise.
    """
    notices = [] if notices is None else notices
    own = {name: value for name, value in entries.items() if name != PAGE_ENTRY}
    page = entries.get(PAGE_ENTRY)
    extras = Extras() if page is None else read(Extras, _older(page, notices), PAGE_ENTRY, notices)
    blanket = None if page is not None and not own else read(Blanket, own, "project", notices)
    return Workspace(blanket=blanket, extras=extras)


def read_workspace(data: bytes) -> tuple[Workspace, tuple[Notice, ...]]:
    """Return the work in a project file, and what is to be said about it.

    Raises
    ------
    BlendplanError
        As `work_of`, or where the file cannot be read at all.
    """
    entries, said = read_entries(data)
    notices = list(said)
    return work_of(entries, notices), tuple(notices)


def _older(page: object, told: list[Notice]) -> object:
    """Return the extras of a file from before light was fitted: a light that was lent then cannot be read any more."""
    photos = page.get("photos") if isinstance(page, dict) else None
    for how in photos if isinstance(photos, list) else ():
        if isinstance(how, dict) and (isinstance(how.get("white"), dict) or isinstance(how.get("card"), dict)):
            kept = {key: entry for key, entry in how.items() if not isinstance(entry, dict)}
            how.clear()
            how.update(kept)
            told.append(
                note(
                    "a photo read in the light of another was kept the old way; its shades stay; press “These photos "
                    "were taken in the same light” to share light again",
                    "warning",
                )
            )
    return page


def changed(work: Workspace, change: Callable[[Blanket], Blanket]) -> Workspace:
    """Return the work with its blanket changed.

    Raises
    ------
    BlendplanError
        If there is no blanket yet, or the change does not make sense.
    """
    if work.blanket is None:
        raise ProjectError("there is no yarn yet; add one from a photo or with a typed colour first.")
    return replace(work, blanket=change(work.blanket))


@lru_cache(maxsize=64)
def plan_of(blanket: Blanket) -> Plan:
    """Return the plan of a blanket; kept, a frozen blanket is its own exact key."""
    return make_plan(blanket)

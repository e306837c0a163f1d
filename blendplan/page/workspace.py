"""Everything that one session works on, as one frozen value, and the undo history over it."""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

import numpy as np

from blendplan.errors import ProjectError
from blendplan.photo import Chart, White
from blendplan.plan import Brief
from blendplan.project import brief_to_json, from_plain, read_project, to_plain
from blendplan.units import clean_text, whole
from blendplan.wording import Notice
from blendplan.yarn import Shade

__all__ = [
    "MAX_CROP",
    "Crop",
    "Extras",
    "Find",
    "History",
    "HowRead",
    "Variant",
    "Workspace",
    "changed_brief",
    "read_workspace",
    "workspace_to_json",
]

MAX_CROP = 60_000
MAX_FINDS = 60
MAX_VARIANTS = 12
MAX_HISTORY = 200


def _picture(text: str, field: str) -> str:
    """Return base64 of a small PNG or JPEG, or refuse it."""
    try:
        head = base64.b64decode(text, validate=True)[:8]
    except (binascii.Error, ValueError):
        head = b""
    if len(text) > MAX_CROP or not (head.startswith(b"\x89PNG\r\n\x1a\n") or head.startswith(b"\xff\xd8\xff")):
        raise ProjectError("{field} is not a small PNG or JPEG picture; remove that entry.", field=field)
    return text


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """A small picture of one yarn, without metadata.

    Attributes
    ----------
    yarn : str
        Its name.
    picture : str
        A small JPEG or PNG in base64.
    """

    yarn: str
    picture: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "yarn", clean_text(self.yarn, "name of a yarn", 80))
        _picture(self.picture, "the crop of a photo")


@dataclass(frozen=True, slots=True, kw_only=True)
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
    picture : str
        A small crop in base64, or empty.
    by_hand : bool
        True once the maker has drawn, moved or sized the box herself.
    """

    photo: str
    box: tuple[int, int, int, int]
    name: str = ""
    shades: tuple[Shade, ...] = ()
    picture: str = ""
    by_hand: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", clean_text(self.name, "name of a yarn", 80))
        object.__setattr__(self, "photo", clean_text(self.photo, "digest of a photo", 80))
        if self.picture:
            _picture(self.picture, "the crop of a photo")


Spot = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class HowRead:
    """How a photo is read; it stands beside the finds, so that undo and an open file bring back both.

    Attributes
    ----------
    photo : str
        Digest of the photo's bytes.
    quarters : int
        Quarter turns to the right, 0 to 3; spots, corners and boxes are pixels of the photo as it is turned.
    white : "auto", "off", (x, y) or White
        As `blendplan.photo.read_photo`; a White is one lent by another photo.
    grey_card : bool
        True where the spot tapped is a grey card, not white paper.
    card : None, "auto", four (x, y) or Chart
        The colour card, as `blendplan.photo.read_photo`; a Chart is one lent by another photo.
    """

    photo: str
    quarters: int = 0
    white: Literal["auto", "off"] | Spot | White = "auto"
    grey_card: bool = False
    card: Literal["auto"] | tuple[Spot, Spot, Spot, Spot] | Chart | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "photo", clean_text(self.photo, "digest of a photo", 80))
        whole(self.quarters, "quarter turns", 0, 3)
        if isinstance(self.white, White):
            light = np.array(self.white.linear_rgb)
            flat = len(self.white.field) == 1 and np.abs(self.white.field).max() < 10
            if not (flat and (light > 1e-4).all() and (light < 1e4).all() and 0 <= self.white.confidence <= 1):
                raise ProjectError("the white kept for a photo cannot be one; remove that entry.")
        if isinstance(self.card, Chart):
            fit = self.card.fit
            square = (
                len(fit.matrix) == 3 and np.abs([*fit.curve, *fit.fall, fit.stray, *sum(fit.matrix, ())]).max() < 100
            )
            if not (square and 0 <= self.card.confidence <= 1 and 0 <= self.card.error < 100):
                raise ProjectError("the colour card kept for a photo cannot be one; remove that entry.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """One named order kept beside the one in hand."""

    name: str
    brief: Brief

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", clean_text(self.name, "name of a variant", 60) or "?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Extras:
    """What the page keeps beside the brief.

    Attributes
    ----------
    demo : bool
        True while the demo's blanket is in hand.
    rows_done : int
    grams_left : tuple of (str, Fraction)
        Weighed yarn of each colour while working.
    crops : tuple of Crop
    finds : tuple of Find
    photos : tuple of HowRead
        One for each photo that the finds are of.
    variants : tuple of Variant
    """

    demo: bool = False
    rows_done: int = 0
    grams_left: tuple[tuple[str, Fraction], ...] = ()
    crops: tuple[Crop, ...] = ()
    finds: tuple[Find, ...] = ()
    photos: tuple[HowRead, ...] = ()
    variants: tuple[Variant, ...] = ()

    def __post_init__(self) -> None:
        whole(self.rows_done, "rows done", 0, 5000)
        for field, given, most in (
            ("finds", self.finds, MAX_FINDS),
            ("photos", self.photos, MAX_FINDS),
            ("variants", self.variants, MAX_VARIANTS),
        ):
            if len(given) > most:
                raise ProjectError(
                    "{given} {field} were given; allowed is at most {allowed}; remove some.",
                    field=field,
                    given=len(given),
                    allowed=most,
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class Workspace:
    """The brief in hand (None before the first yarn) and what the page keeps beside it."""

    brief: Brief | None = None
    extras: Extras = Extras()

    def with_extras(self, **changes: object) -> Workspace:
        """Return the same with some extras changed."""
        return replace(self, extras=replace(self.extras, **changes))  # type: ignore[arg-type]

    def crop_of(self, name: str) -> str:
        """Return the base64 crop of a yarn, or an empty text."""
        return next((c.picture for c in self.extras.crops if c.yarn == name), "")


def workspace_to_json(work: Workspace) -> str:
    """Return the project file with the page's extras under `page`; the same for the same work."""
    body = json.loads(brief_to_json(work.brief)) if work.brief else {"format": "blendplan-project", "version": 1}
    body["page"] = to_plain(work.extras)
    return json.dumps(body, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def read_workspace(data: bytes) -> tuple[Workspace, tuple[Notice, ...]]:
    """Return the work in a project file, with or without the page's extras.

    Raises
    ------
    BlendplanError
        As `blendplan.project.read_project`; extras that cannot be used are refused likewise.
    """
    extras = Extras()
    notices: tuple[Notice, ...] = ()
    try:
        body = json.loads(data.decode("utf-8-sig")) if len(data) <= 20_000_000 else None
    except (ValueError, RecursionError):
        body = None
    if isinstance(body, dict) and "page" in body:
        told: list[Notice] = []
        page = body.pop("page")
        extras = from_plain(Extras, page, where="page", notices=told)
        notices = tuple(told)
        if set(body) == {"format", "version"} and body["format"] == "blendplan-project":
            return Workspace(brief=None, extras=extras), notices
        data = json.dumps(body).encode("utf-8")
    brief, more = read_project(data)
    return Workspace(brief=brief, extras=extras), (*notices, *more)


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """The work in hand with what came before and what was undone.

    Attributes
    ----------
    now : Workspace
    past, future : tuple of Workspace
        Nearest last; at most `MAX_HISTORY` steps are kept.
    """

    now: Workspace
    past: tuple[Workspace, ...] = ()
    future: tuple[Workspace, ...] = ()

    def step(self, work: Workspace) -> History:
        """Return the history with one more step; the same history where nothing changed."""
        if work == self.now:
            return self
        return History(now=work, past=(*self.past, self.now)[-MAX_HISTORY:])

    def undo(self) -> History:
        """Return the history one step back, or the same at its start."""
        if not self.past:
            return self
        return History(now=self.past[-1], past=self.past[:-1], future=(*self.future, self.now))

    def redo(self) -> History:
        """Return the history one step forward, or the same at its end."""
        if not self.future:
            return self
        return History(now=self.future[-1], past=(*self.past, self.now), future=self.future[:-1])


def changed_brief(work: Workspace, change: Callable[[Brief], Brief]) -> Workspace:
    """Return the work with its brief changed.

    Raises
    ------
    BlendplanError
        If there is no brief yet, or the change does not make sense.
    """
    if work.brief is None:
        raise ProjectError("there is no yarn yet; add one from a photo or with a typed colour first.")
    return replace(work, brief=change(work.brief))

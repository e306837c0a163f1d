"""What has happened since row 1: skeins bought and opened, weighings, notes; and the same with yarns by name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from blendplan.budgets import MAX_EVENTS, MAX_NOTES, MAX_ROWS, MAX_WEIGHED, MAX_WEIGHED_ALL
from blendplan.errors import QuantityError
from blendplan.record import held, record

# "YYYY-MM-DD", and with the time of day behind it "YYYY-MM-DD HH:MM:SS".
LONGEST_DATE = 19


@record
class Purchase:
    """Skeins bought after the shelf was looked through."""

    yarn: str = held("yarn bought", longest=80)  # its key
    skeins: int = held("skeins bought", low=1, high=1000)
    lot: str = held("dye lot", default="", longest=60)
    # As YYYY-MM-DD, or with the time behind it; may be empty.
    date: str = held("date", default="", longest=LONGEST_DATE)
    row: int = held("row of a purchase", default=0, low=0, high=MAX_ROWS)  # rows done when they were bought


@record
class Opened:
    """Skeins of a yarn that were opened by a row."""

    yarn: str = held("yarn opened", longest=80)
    skeins: int = held("skeins opened", default=1, low=1, high=1000)
    row: int = held("row", default=0, low=0, high=MAX_ROWS)
    date: str = held("date", default="", longest=LONGEST_DATE)


@record
class Weighed:
    """What was left of one yarn."""

    yarn: str = held("yarn weighed", longest=80)  # its key
    # Of the balls in work; of everything there is where neither `unopened` nor an `Opened` tells them apart.
    grams: Fraction = held("grams left", low=0, high=100_000, unit="g")
    # Unopened skeins beside the balls in work; None takes those owned less those said to be opened, where any were.
    unopened: int | None = held("unopened skeins", default=None, low=0, high=1000)
    # What she said when it was doubted: it is so, it was mended to this, or it was taken back and counts for nothing.
    answer: Literal["", "kept", "mended", "back"] = held("answer to a doubt", default="")


@record
class Weighing:
    """What was left after a row, of each yarn that was weighed."""

    row: int = held("row of a weighing", low=0, high=MAX_ROWS)  # rows done, 0 to all
    left: tuple[Weighed, ...] = held("yarns weighed", most=MAX_WEIGHED)
    # As of a purchase; of two things at one row it tells which came first.
    date: str = held("date", default="", longest=LONGEST_DATE)
    # How far into the next row, 0 to 1, where the maker told.
    share: float | None = held("share of the row", default=None, low=0, high=1)


@record
class RowNote:
    """A note to a row."""

    row: int = held("row of a note", low=0, high=MAX_ROWS)
    text: str = held("note to a row", longest=500)


@record
class Making:
    """What has happened since row 1, in order of time.

    Attributes
    ----------
    rows_done : int
    purchases : tuple of Purchase
    opened : tuple of Opened
    weighings : tuple of Weighing
    notes : tuple of RowNote
    """

    rows_done: int = held("rows done", default=0, low=0, high=MAX_ROWS)
    purchases: tuple[Purchase, ...] = held("purchases", default=(), most=MAX_EVENTS)
    opened: tuple[Opened, ...] = held("skeins opened", default=(), most=MAX_EVENTS)
    weighings: tuple[Weighing, ...] = held("weighings", default=(), most=MAX_EVENTS)
    notes: tuple[RowNote, ...] = held("notes to rows", default=(), most=MAX_NOTES)

    def __post_init__(self) -> None:
        weighed = sum(len(weighing.left) for weighing in self.weighings)
        if weighed > MAX_WEIGHED_ALL:
            raise QuantityError(
                "all weighings together hold {given} yarns; allowed is at most {allowed}; take old ones out.",
                given=weighed,
                allowed=MAX_WEIGHED_ALL,
            )


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Moment:
    """A moment of the work: rows done, how far into the next, and when."""

    row: int
    date: str = ""  # orders what happened at one row
    share: float = 0.0

    @property
    def at(self) -> float:
        """Rows done and the share of the next one."""
        return self.row + self.share


def by_name(making: Making, names: Mapping[str, str]) -> Making:
    """Return what has happened with yarns by name instead of key; what concerns other yarns is left out."""
    return replace(
        making,
        purchases=tuple(replace(p, yarn=names[p.yarn]) for p in making.purchases if p.yarn in names),
        opened=tuple(replace(o, yarn=names[o.yarn]) for o in making.opened if o.yarn in names),
        weighings=tuple(
            replace(w, left=tuple(replace(one, yarn=names[one.yarn]) for one in w.left if one.yarn in names))
            for w in making.weighings
        ),
    )

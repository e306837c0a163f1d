"""A row worked stitch by stitch into the places that the row below left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from blendplan.errors import FabricError
from blendplan.fabric.rows import Row, Step

__all__ = ["Place", "foundation", "turned", "work_row"]


@dataclass(frozen=True, slots=True)
class Place:
    """One place that a row leaves for the row above.

    Attributes
    ----------
    kind : str
        One of `rows.STITCH_KINDS`, or `base` for a chain of the foundation.
    role : (int, int)
        Size of the group worked in one place that this stitch belongs to, and its index there; (1, 0) if none.
    """

    kind: str
    role: tuple[int, int] = (1, 0)


def foundation(chains: int) -> tuple[Place, ...]:
    """Return the places of a foundation chain."""
    return (Place("base"),) * chains


def turned(places: Sequence[Place]) -> tuple[Place, ...]:
    """Return places as the next row meets them, after the work is turned."""
    return tuple(reversed(places))


def work_row(row: Row, below: Sequence[Place]) -> tuple[Place, ...]:
    """Return the places that a row leaves, in the order it makes them.

    Parameters
    ----------
    row : Row
    below : sequence of Place
        In the order the row meets them (see `turned`).

    Raises
    ------
    FabricError
        If the row runs past the end, leaves stitches over, works a chain space as if it were stitches, or works
        a peak beside the peak below.
    """
    above: list[Place] = []
    at = 0
    # over a plain row or the foundation there is no point below yet
    pointed = any(place.role[0] == 3 for place in below)
    for step in row.walk():
        met = below[at : at + max(step.taken, 1)]
        if step.taken > len(below) - at:
            raise FabricError(
                "the {row} row asks for {asked} stitches and {there} are there; shorten it, or lengthen the row below.",
                row=row.name,
                asked=row.taken,
                there=len(below),
            )
        _check(row, step, met, at, pointed=pointed)
        at += step.taken
        above += _leaves(step)
    if at != len(below):
        raise FabricError(
            "the {row} row uses {asked} stitches and {there} are there, so {left} are left over; add repeats or "
            "shorten the row below.",
            row=row.name,
            asked=at,
            there=len(below),
            left=len(below) - at,
        )
    return tuple(above)


def _leaves(step: Step) -> list[Place]:
    if step.kind == "each":
        return [Place(step.stitch)] * step.count
    if step.kind == "chain":
        return [Place("ch")] * step.count
    if step.kind == "group":
        return [Place(kind, (len(step.stitches), i)) for i, kind in enumerate(step.stitches)]
    if step.kind == "together":
        return [Place(step.stitch)]
    return [Place("tch")] if step.kind == "turn" and step.stands else []


def _check(row: Row, step: Step, met: Sequence[Place], at: int, *, pointed: bool) -> None:
    """Refuse a step that misses the chain space or the point below it."""
    chains = [place.kind == "ch" for place in met]
    wrong = not all(chains) if step.into_space else any(chains) and step.taken > 0
    if pointed and step.kind == "group" and len(step.stitches) == 3 and "ch" not in step.stitches:
        # three in one go into the middle one of the three below
        wrong = wrong or met[0].role != (3, 1)
    if wrong:
        raise FabricError(
            "in the {row} row, stitch {place} of the row below is not where the point is, so the points would drift; "
            "make both slopes of a point equally long.",
            row=row.name,
            place=at + 1,
        )

"""Where the stitches of a row lie: bases, tops and the wave outline, in centimetres.

A row is read step by step.
Place `i` of the row stands over place `b` of the row below; the drift `b - i` of a stitch says how far the
row below has been pushed aside there, and that sets the slope: tan(theta) = drift * stitch width / row height.
A drift of one stitch, the common point ripple, is a plain fabric tilted by theta, its posts square to the wave.

x runs to the right from the left edge; y runs up from the lowest top of the row.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan, cos, tan

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blendplan.errors import FabricError
from blendplan.fabric.rows import Row, Step
from blendplan.units import number

__all__ = ["RowLayout", "Spot", "lay_row"]

Floats = NDArray[np.float64]

# How much of a place the foot of a stitch takes where several share one place, and how far the neighbours of
# a skipped place lean and spread into the gap (assumed, from looking at finished ripples; no source).
SHARED_FOOT = 0.8
LEAN_INTO_GAP = 0.75
SPREAD_INTO_GAP = 0.3
LEAN_FADES = 2.5


@dataclass(frozen=True, slots=True)
class Spot:
    """One stitch before it has a place in space.

    Attributes
    ----------
    kind : str
        One of `STITCH_KINDS`.
    foot : float
        Where it is worked, in places of the row below (0 is the left edge).
    place : int
        Which place of this row it makes; stitches worked together share one.
    drift : float
        Places that the row below is pushed aside here; positive where the wave rises to the right.
    foot_span : float
        Width of its foot in places.
    """

    kind: str
    foot: float
    place: int
    drift: float
    foot_span: float = 1.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class RowLayout:
    """A row laid out; all rows of a plain ripple have this shape, each `rise_cm` above the one below.

    Attributes
    ----------
    kinds : tuple of str, length n
        One of `STITCH_KINDS` for each stitch, left to right.
    base, top : ndarray, shape (n, 2)
        Foot and head of each stitch, centimetres; y = 0 is the lowest top of this row.
    base_span, top_span : ndarray, shape (n,)
        Widths of foot and head along x, centimetres.
    outline : ndarray, shape (m + 1, 2)
        Left edge, borders between the m places of the row, right edge.
    rise_cm : float
        From a row to the next, row height / cos(theta).
    slope : float
        tan(theta) of the steepest part; 0 for a straight row.
    stitch_width_cm, row_height_cm : float
        As given.
    runs : tuple of (int, int)
        First stitch and stitch after the last of each run of each part, so that equal runs can be drawn once.
    """

    kinds: tuple[str, ...]
    base: Floats
    top: Floats
    base_span: Floats
    top_span: Floats
    outline: Floats
    rise_cm: float
    slope: float
    stitch_width_cm: float
    row_height_cm: float
    runs: tuple[tuple[int, int], ...]

    @property
    def width_cm(self) -> float:
        """Width of the row: places x stitch width x cos(theta)."""
        return float(self.outline[-1, 0])

    @property
    def wave_cm(self) -> float:
        """Height from the deepest valley to the highest peak of the tops."""
        return float(np.ptp(self.outline[:, 1]))

    def wave_y(self, x: ArrayLike) -> Floats:
        """Return the height of the top outline at x, centimetres; flat beyond the edges."""
        return np.interp(np.asarray(x, dtype=np.float64), self.outline[:, 0], self.outline[:, 1])


def _spots_of(step: Step, foot: float, place: int) -> list[Spot]:
    """Return the stitches of one step that starts at `foot` of the row below and `place` of this one."""
    if step.kind == "each":
        return [Spot(step.stitch, foot + q + 0.5, place + q, foot - place) for q in range(step.count)]
    if step.kind == "chain":
        return [Spot("ch", foot, place + q, 0.0) for q in range(step.count)]
    if step.kind == "together":
        middle = foot + step.count / 2
        return [Spot(step.stitch, foot + q + 0.5, place, middle - place - 0.5) for q in range(step.count)]
    if step.kind == "turn":
        # A turning chain that stands for no stitch leaves no place and is not laid.
        return [Spot("tch", foot + 0.5, place, 0.0)] * step.made
    if step.kind == "group":
        many = len(step.stitches)
        middle = foot + max(step.takes, 1) / 2
        spots = []
        for m, kind in enumerate(step.stitches):
            side = m / (many - 1) - 0.5 if many > 1 else 0.0
            drift = middle + side * max(step.takes - 1, 0) - (place + m + 0.5)
            spread = SHARED_FOOT * side
            spots.append(Spot(kind, middle + spread, place + m, 0.0 if kind == "ch" else drift, SHARED_FOOT))
        return spots
    return []


def _walk(row: Row) -> tuple[list[Spot], list[tuple[int, int]]]:
    """Return the stitches of a row left to right, and the extent of each run of its parts."""
    shift = (row.made - row.taken) / 2
    foot, place = shift, 0
    spots: list[Spot] = []
    runs: list[tuple[int, int]] = []
    gaps: list[tuple[float, int]] = []
    for part in row.parts:
        for _ in range(part.times):
            start = len(spots)
            for step in part.steps:
                if step.kind == "skip":
                    gaps.append((foot + step.count / 2, step.count))
                spots += _spots_of(step, foot, place)
                foot, place = foot + step.taken, place + step.made
            if len(spots) > start:
                runs.append((start, len(spots)))
    return _close_gaps(spots, gaps), runs


def _close_gaps(spots: list[Spot], gaps: list[tuple[float, int]]) -> list[Spot]:
    """Return stitches whose feet lean into skipped places, the nearest most, as the yarn pulls them together."""
    feet = np.array([s.foot for s in spots])
    shift, spread = np.zeros(len(spots)), np.zeros(len(spots))
    for middle, count in gaps:
        away = feet - middle
        beyond = np.abs(away) - count / 2 - 0.5
        pull = min(count, 2) / 2 * np.clip(1 - np.maximum(beyond, 0) / LEAN_FADES, 0, 1)
        shift -= LEAN_INTO_GAP * pull * np.sign(away)
        spread += SPREAD_INTO_GAP * pull
    return [
        s if s.kind in ("ch", "tch") else Spot(s.kind, s.foot + d, s.place, s.drift, s.foot_span + w)
        for s, d, w in zip(spots, shift.tolist(), spread.tolist(), strict=True)
    ]


def lay_row(row: Row, *, stitch_width_cm: float, row_height_cm: float) -> RowLayout:
    """Return where each stitch of a row lies when rows of its shape stand on one another.

    Parameters
    ----------
    row : Row
        A row that leaves about as many places as it takes; where it does not (a first row into a chain with
        a turning chain), the row below is centred under it.
    stitch_width_cm, row_height_cm : float
        Flat gauge: width of a stitch along the row and height of a row square to it; 0.05 to 20.

    Returns
    -------
    RowLayout

    Raises
    ------
    FabricError
        If the row makes no stitch.
    QuantityError
        If a size is missing or out of range.

    Notes
    -----
    tan(theta) = drift x width / height, width of a place = width x cos(theta), rise = height / cos(theta),
    peak to valley = s x width x sin(theta) for s stitches a slope.
    Chains over a peak and a stitch that closes a valley lie level.

    Examples
    --------
    >>> from blendplan.fabric.rows import Part
    >>> row = Row(name="plain", parts=(Part(steps=(Step(kind="each", stitch="sc", count=4),)),))
    >>> flat = lay_row(row, stitch_width_cm=1.0, row_height_cm=0.9)
    >>> flat.width_cm, flat.rise_cm, flat.top[:, 0].tolist()
    (4.0, 0.9, [0.5, 1.5, 2.5, 3.5])
    """
    width = number(stitch_width_cm, "stitch width", 0.05, 20, "cm")
    height = number(row_height_cm, "row height", 0.05, 20, "cm")
    spots, runs = _walk(row)
    if not spots:
        raise FabricError("row {name} makes no stitch, so there is nothing to draw; give it a step.", name=row.name)
    places = spots[-1].place + 1
    drift = np.zeros(places)
    for spot in spots:
        drift[spot.place] = spot.drift
    # A turning chain stands in the slope that it begins or ends.
    for spot in spots:
        if spot.kind == "tch" and places > 1:
            drift[spot.place] = drift[spot.place + 1] if spot.place == 0 else drift[spot.place - 1]
    steepest = float(np.abs(drift).max())
    theta = atan(steepest * width / height)
    dx = width * cos(theta)
    rise = height / cos(theta)
    y = np.concatenate([[0.0], np.cumsum(dx * drift * width / height)])
    outline = np.stack([np.arange(places + 1) * dx, y - y.min()], axis=1)

    def at(index: Floats) -> Floats:
        grid = np.arange(places + 1, dtype=np.float64)
        inside = np.clip(index, 0.0, float(places))
        return np.stack([index * dx, np.interp(inside, grid, outline[:, 1])], axis=1)

    top = at(np.array([s.place + 0.5 for s in spots]))
    base = at(np.array([s.foot for s in spots])) - [0.0, rise]
    layout = RowLayout(
        kinds=tuple(s.kind for s in spots),
        base=base,
        top=top,
        base_span=np.array([s.foot_span for s in spots]) * dx,
        top_span=np.full(len(spots), dx),
        outline=outline,
        rise_cm=rise,
        slope=tan(theta),
        stitch_width_cm=width,
        row_height_cm=height,
        runs=tuple(runs),
    )
    for array in (layout.base, layout.top, layout.base_span, layout.top_span, layout.outline):
        array.flags.writeable = False
    return layout

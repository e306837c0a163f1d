"""Where the stitches of a row lie: bases, tops and the wave outline, in centimetres.

A row is read step by step.
Place `i` of the row stands over place `b` of the row below; the drift `b - i` of a stitch says how far the
row below has been pushed aside there, and that sets the slope: tan(theta) = drift * stitch width / row height.
A drift of one stitch, the common point ripple, is a plain fabric tilted by theta, its posts square to the wave.

x runs to the right from the left edge; y runs up from the lowest top of the row.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import atan, cos, tan

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blendplan.errors import FabricError
from blendplan.fabric.rows import Row, Step
from blendplan.units import number

Floats = NDArray[np.float64]

# How much of a place the foot of a stitch takes where several share one place, and how far the neighbours of
# a skipped place lean and spread into the gap (assumed, from looking at finished ripples; no source).
SHARED_FOOT = 0.8
LEAN_INTO_GAP = 0.75
SPREAD_INTO_GAP = 0.3
LEAN_FADES = 2.5


@dataclass(frozen=True, slots=True)
class _Spot:
    """One stitch before it has a place in space."""

    kind: str
    foot: float  # where it is worked, in places of the row below (0 is the left edge)
    place: int  # which place of this row it makes; stitches worked together share one
    drift: float  # places that the row below is pushed aside here; positive where the wave rises to the right
    foot_span: float = 1.0  # width of its foot in places


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class RowLayout:
    """A row laid out, n stitches in m places; all rows of a plain ripple have this shape, `rise_cm` above each other.

    Centimetres; y = 0 is the lowest top of this row.
    """

    kinds: tuple[str, ...]  # of `STITCH_KINDS`, for each stitch from left to right
    base: Floats  # foot of each stitch, (n, 2)
    top: Floats  # head of each stitch, (n, 2)
    base_span: Floats  # width of each foot along x, (n,)
    top_span: Floats
    outline: Floats  # left edge, borders between the places of the row, right edge, (m + 1, 2)
    rise_cm: float  # from a row to the next: row height / cos(theta)
    slope: float  # tan(theta) of the steepest part; 0 for a straight row
    stitch_width_cm: float
    row_height_cm: float
    # First stitch and stitch after the last of each run of each part, so that equal runs can be drawn once.
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


def _spots_of(step: Step, foot: float, place: int) -> list[_Spot]:
    """Return the stitches of one step that starts at `foot` of the row below and `place` of this one."""
    if step.kind == "each":
        return [_Spot(step.stitch, foot + q + 0.5, place + q, foot - place) for q in range(step.count)]
    if step.kind == "chain":
        return [_Spot("ch", foot, place + q, 0.0) for q in range(step.count)]
    if step.kind == "together":
        middle = foot + step.count / 2
        return [_Spot(step.stitch, foot + q + 0.5, place, middle - place - 0.5) for q in range(step.count)]
    if step.kind == "turn":
        # A turning chain that stands for no stitch leaves no place and is not laid.
        return [_Spot("tch", foot + 0.5, place, 0.0)] * step.made
    if step.kind == "group":
        many = len(step.stitches)
        middle = foot + max(step.takes, 1) / 2
        spots = []
        for m, kind in enumerate(step.stitches):
            side = m / (many - 1) - 0.5 if many > 1 else 0.0
            drift = middle + side * max(step.takes - 1, 0) - (place + m + 0.5)
            spread = SHARED_FOOT * side
            spots.append(_Spot(kind, middle + spread, place + m, 0.0 if kind == "ch" else drift, SHARED_FOOT))
        return spots
    return []


def _walk(row: Row) -> tuple[list[_Spot], list[tuple[int, int]]]:
    """Return the stitches of a row left to right, and the extent of each run of its parts."""
    shift = (row.made - row.taken) / 2
    foot, place = shift, 0
    spots: list[_Spot] = []
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


def _close_gaps(spots: list[_Spot], gaps: list[tuple[float, int]]) -> list[_Spot]:
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
        s if s.kind in ("ch", "tch") else _Spot(s.kind, s.foot + d, s.place, s.drift, s.foot_span + w)
        for s, d, w in zip(spots, shift.tolist(), spread.tolist(), strict=True)
    ]


def lay_row(row: Row, *, stitch_width_cm: float, row_height_cm: float) -> RowLayout:
    """Return where each stitch of a row lies when rows of its shape stand on one another.

    Where a row leaves more or fewer places than it takes (a first row into a chain with a turning chain), the row
    below is centred under it. Width and height are the flat gauge, along the row and square to it.
    tan(theta) = drift x width / height, width of a place = width x cos(theta), rise = height / cos(theta),
    peak to valley = s x width x sin(theta) for s stitches a slope.
    Chains over a peak and a stitch that closes a valley lie level.

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
    y = np.concatenate([[0.0], np.cumsum(dx * drift * width / height)])
    outline = np.stack([np.arange(places + 1) * dx, y - y.min()], axis=1)
    rise = height / cos(theta)
    return _lay(spots, runs, outline=outline, under=outline, rise=rise, slope=tan(theta), width=width, height=height)


def _lay(
    spots: list[_Spot],
    runs: list[tuple[int, int]],
    *,
    outline: Floats,
    under: Floats,
    rise: float,
    slope: float,
    width: float,
    height: float,
) -> RowLayout:
    """Return the layout of stitches between the outline of a row and that of the row under it."""
    dx, places = float(outline[1, 0]), len(outline) - 1

    def at(index: Floats, line: Floats) -> Floats:
        grid = np.arange(places + 1, dtype=np.float64)
        return np.stack([index * dx, np.interp(np.clip(index, 0.0, float(places)), grid, line[:, 1])], axis=1)

    layout = RowLayout(
        kinds=tuple(s.kind for s in spots),
        base=at(np.array([s.foot for s in spots]), under) - [0.0, rise],
        top=at(np.array([s.place + 0.5 for s in spots]), outline),
        base_span=np.array([s.foot_span for s in spots]) * dx,
        top_span=np.full(len(spots), dx),
        outline=outline,
        rise_cm=rise,
        slope=slope,
        stitch_width_cm=width,
        row_height_cm=height,
        runs=tuple(runs),
    )
    for array in (layout.base, layout.top, layout.base_span, layout.top_span, layout.outline):
        array.flags.writeable = False
    return layout


def lay_heights(
    rows: tuple[Row, Row], *, stitch_width_cm: float, heights_cm: Mapping[str, float]
) -> tuple[RowLayout, RowLayout]:
    """Return two straight rows, as they alternate, whose wave comes from stitch heights: the second fills the first.

    The rise of a row is the mean height of the first row.
    The second row is level on top: its stitches are as high as the room that the first leaves, which is within
    a tenth of their own heights for a ladder of sc, hdc, dc, tr against its mirror.
    """
    width = number(stitch_width_cm, "stitch width", 0.05, 20, "cm")
    walked = [_walk(row) for row in rows]
    counts = [spots[-1].place + 1 if spots else 0 for spots, _ in walked]
    if counts[0] != counts[1] or not counts[0]:
        raise FabricError("rows of {given} stitches alternate; both need the same number, at least one.", given=counts)
    places = counts[0]
    kinds = [spot.kind for spot in walked[0][0]]
    inner = kinds[1 if kinds[0] == "tch" and places > 1 else 0]
    kinds = [inner if kind == "tch" else kind for kind in kinds]
    tall = np.array([number(heights_cm[kind], "height of a stitch", 0.05, 20, "cm") for kind in kinds])
    rise = float(tall.mean())
    x = np.arange(places + 1) * width
    borders = np.concatenate([tall[:1], (tall[1:] + tall[:-1]) / 2, tall[-1:]]) - rise
    waved, level = np.stack([x, borders], axis=1), np.stack([x, np.zeros(places + 1)], axis=1)
    (one, one_runs), (two, two_runs) = walked
    first = _lay(one, one_runs, outline=waved, under=level, rise=rise, slope=0.0, width=width, height=rise)
    second = _lay(two, two_runs, outline=level, under=waved, rise=rise, slope=0.0, width=width, height=rise)
    return first, second

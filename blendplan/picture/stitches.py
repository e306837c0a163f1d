"""The path of the yarn through each kind of stitch, and the light it gets among its neighbours.

Both were worked out once (`tests/bake`) and are kept beside this file, a few hundred points a stitch.
Lengths are stitch widths: x to the right, y up the post from the place it is worked in, z to the eye.
A stitch of a row that shows its back is turned half about the upright.

Runs of stitches in their frames: where every point of a stitch comes to lie on the blanket.

A stitch is set between its foot and its top, so posts fan out where tops are wider than feet and lean together where
they are closer; what reaches over to the stitch beside follows that stitch.
Rows that show their front stand a quarter of a stitch to the left and rows that show their back as much to the right,
because a stitch is worked under the loops that lie half a stitch beside the post they belong to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.fabric.layout import RowLayout

# Paths are worked in half the usual precision, a millionth of a stitch, which is twice as fast.
Floats = NDArray[np.floating[Any]]

# Chains that stand for the height of a stitch at the turn (trade facts, section 3).
TURNING_CHAINS = {"sl st": 1, "sc": 1, "hdc": 2, "dc": 3, "tr": 4}
_ORDER = ("sc", "hdc", "dc", "tr")
# Rows bulge: how much darker they are where they meet, and within what of there, stitch widths (assumed, after
# photographs). Loops that stand in front catch the light: those that back-loop rows leave, half of it those of back
# rows.
CREASE, CREASE_WIDTH = 0.42, 0.24
# How far apart the strands of the free loops of back-loop rows lie, of the usual distance.
RIDGE = 0.3
# How far before the row turning chains stand, stitch widths.
CHAIN_UP = 0.1


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class YarnPath:
    """The middle of the yarn in the order it takes; it goes on in the stitch beside."""

    points: Floats  # (n, 3), as seen by the eye
    normal: Floats  # (n, 3), across the yarn, turning no more than the yarn does
    along: Floats  # (n, 3), unit tangent
    arc: Floats  # (n,), length of yarn from the start
    apart: Floats  # (n,), how far its strands lie from one another, of the usual distance
    # (n, 4), a, b, c, d of light = a + b nx + c ny + d nz for a surface with the normal (nx, ny, nz); a level open
    # place has 1.
    light: Floats
    seen: NDArray[np.bool_]  # (n,), what is not hidden by yarn before it, in the middle of a fabric
    height: float  # from the place it is worked in to its top; 0 for a chain, which lies along the top


@lru_cache(maxsize=256)
def table_of(path: YarnPath) -> Floats:
    """Return what is known of each point of a path, a line each.

    0 to 12, place, normal, tangent and light; 13, 14, share of the height it lies at, and how far beyond that, stitch
    widths; 15, length from the start; 16 to 18, across both normal and tangent; 19, how far strands lie apart.
    """
    y = path.points[:, 1]
    high = [y / path.height, 0 * y] if path.height else [0 * y + 1, y]
    across = np.cross(path.normal, path.along)
    rest = np.stack([*high, path.arc, *across.T, path.apart], axis=1)
    return np.concatenate([path.points, path.normal, path.along, path.light, rest], axis=1, dtype=np.float32)


@cache
def _stored() -> dict[str, NDArray[np.float32]]:
    with np.load(Path(__file__).parent / "stitches.npz") as file:
        return {name: file[name] for name in file.files}


def partner_light() -> NDArray[np.float32]:
    """Return how much of its light a strand keeps, in eight steps of the cosine of facing the strand beside it."""
    return _stored()["partner"]


def _unit(values: Floats) -> Floats:
    return np.asarray(values / np.linalg.norm(values, axis=-1, keepdims=True))


@cache
def path_of(kind: str, side: str, *, back_loops: bool) -> YarnPath:
    """Return the path through a stitch.

    `kind`: one of `STITCH_KINDS` but "tch"; `side`: {"front", "back"}; `back_loops`: whether it is worked in the back
    loop only, and so is the row above.
    """
    chain = kind in ("ch", "sl st")
    name = "ch both" if chain else f"{kind} {'back' if back_loops else 'both'}"
    stored, turned = _stored(), side == "back"
    both = stored[f"{name} points"].astype(np.float32)
    half = np.array([-1, 1, -1] if turned else [1, 1, 1], dtype=np.float32)
    points = both[:, :3] * half
    # A path goes on where that of the stitch one width further began.
    on = half * np.array([1, 0, 0], dtype=np.float32)
    ends = np.concatenate([points[-1:] + on, points, points[:1] - on])
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    height = 0.0 if chain else float(stored["heights"][_ORDER.index(kind)])
    light = stored[f"{name} light"][int(turned)].astype(np.float32)
    apart = np.ones(len(points), dtype=np.float32)
    if back_loops and not chain:
        # The loop that the row above leaves free is stretched, its strands one behind the other: a thin line.
        free = np.clip((points[:, 1] - height + 0.35) / 0.15, 0, 1) * np.clip(-both[:, 2] / 0.1, 0, 1)
        free[len(free) // 3 :] = 0
        apart -= (1 - RIDGE) * free
    if not chain:
        away = np.stack([points[:, 1], points[:, 1] - height]) / CREASE_WIDTH
        dark = np.exp(-away * away) * np.array([[1.0], [0.0 if back_loops else 0.5 if turned else 1.0]])
        light *= (1 - CREASE * dark.max(axis=0))[:, None]
    return YarnPath(
        points=points,
        normal=both[:, 3:] * half,
        along=_unit(ends[2:] - ends[:-2]),
        arc=np.concatenate([[0], np.cumsum(step)]).astype(np.float32),
        apart=apart,
        seen=stored[f"{name} seen"][int(turned)],
        light=light,
        height=height,
    )


@cache
def open_light() -> Floats:
    """Return the light of yarn that nothing stands over, that of chains on the whole; as of `YarnPath`, one row."""
    return np.asarray(path_of("ch", "front", back_loops=False).light.mean(axis=0))


@lru_cache(maxsize=64)
def turning_chain(kind: str, height: float) -> YarnPath:
    """Return the chains that stand at the start of a row of stitches, one on the other, seen from the front."""
    one = path_of("ch", "front", back_loops=False)
    count = TURNING_CHAINS[kind]
    step = height / count

    def upright(values: Floats) -> Floats:
        return np.stack([values[:, 1], -values[:, 0], values[:, 2]], axis=1)

    # Chains pulled up are as narrow as they are short.
    points = upright(one.points) * [step, step, 1.0]
    light = np.column_stack([one.light[:, :1], upright(one.light[:, 1:])])
    return YarnPath(
        points=np.concatenate([points + np.array([0.0, (k + 0.9) * step, CHAIN_UP]) for k in range(count)]),
        normal=np.tile(upright(one.normal), (count, 1)),
        along=np.tile(_unit(upright(one.along) * [step, step, 1.0]), (count, 1)),
        arc=np.concatenate([one.arc + k * (one.arc[-1] + one.arc[1]) for k in range(count)]),
        apart=np.tile(one.apart, count),
        seen=np.tile(one.seen, count),
        light=np.tile(light, (count, 1)),
        height=height,
    )


LONGEST_RUN = 16
ASIDE = {"front": -0.25, "back": 0.25}
# Between which distances from its own middle, in stitch widths, a point goes over to the frame of the stitch beside.
GOES_OVER = (0.35, 0.75)
# How far posts beside a chain space stand into it at foot and top, stitch widths: they share its one hole and lean on
# the chains (assumed).
FOOT_TO_SPACE, TOP_TO_SPACE = 0.18, 0.20
FOOT_AT_THE_EDGE = 0.36
# How far apart stitches stand beside a gap, by their usual distance.
WIDE = 1.12
# Room for yarn beyond the feet and heads of a run, stitch widths.
MARGIN = 1.3


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Frames:
    """Stitches of a run with one neighbour at each end; centimetres from the run's left border and its row's height."""

    kinds: tuple[str, ...]  # length n + 2, "" where there is no neighbour
    base: Floats  # base, top, base_way, top_way: (n + 2, 2), foot and head, and across them, one stitch width long
    top: Floats
    base_way: Floats
    top_way: Floats

    def beside_a_gap(self) -> list[bool]:
        """Return for each stitch whether it stands in the open to one side, so that more of it is seen."""
        whole = [kind not in ("", "ch") for kind in self.kinds]
        near = [a and b for a, b in pairwise([True, *whole, True])]
        for ends, way in ((self.base, self.base_way), (self.top, self.top_way)):
            apart = np.linalg.norm(np.diff(ends, axis=0), axis=1)
            usual = np.linalg.norm(way[1:] + way[:-1], axis=1) / 2
            near[1:-1] = [n and a < WIDE * u for n, a, u in zip(near[1:-1], apart, usual, strict=True)]
        return [not (a and b) for a, b in pairwise(near)]

    def raised(self, by_cm: float) -> Frames:
        """Return the frames so much higher up."""
        up = np.array([0.0, by_cm])
        return Frames(
            kinds=self.kinds,
            base=self.base + up,
            top=self.top + up,
            base_way=self.base_way,
            top_way=self.top_way,
        )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Chunk:
    """A run of stitches of a row, with those of the rows below and above it."""

    left_cm: float  # left border on the blanket
    row: Frames
    below: Frames
    above: Frames
    turn: str  # the kind of stitch beside whose first one the turning chain stands, "" for none here
    corner: Floats  # corner, far: (2,), lower left and upper right corner of all that it may cover
    far: Floats
    key: bytes  # equal for runs of the same shape


def _row_frames(layout: RowLayout, side: str) -> Frames:
    """Return the frames of a whole row with one more at each end."""
    place = layout.outline[1, 0]
    reach = 0.3 * place

    def way(points: Floats, span: Floats) -> Floats:
        rise = (layout.wave_y(points[:, 0] + reach) - layout.wave_y(points[:, 0] - reach)) / (2 * reach)
        return np.stack([span, span * rise], axis=1)

    def ends(values: Floats, step: Floats | None = None) -> Floats:
        first, last = values[:1], values[-1:]
        return np.concatenate([first, values, last] if step is None else [first - step[:1], values, last + step[-1:]])

    base_way, top_way = way(layout.base, layout.base_span), way(layout.top, layout.top_span)
    kinds = list(layout.kinds)
    if kinds[0] == "tch" and len(kinds) > 1 and side == "front":
        # Rows that show their front begin at the right.
        kinds = [kinds[1], *kinds[1:-1], "tch"]
    pull = np.zeros((len(kinds), 1))
    for i, kind in enumerate(kinds):
        if kind not in ("ch", "tch"):
            pull[i] = (kinds[i + 1 : i + 2] == ["ch"]) - (kinds[max(i - 1, 0) : i] == ["ch"])
    # The foot of the outermost of stitches that share a place would hang over the edge.
    feet = FOOT_TO_SPACE * pull
    for i, way_in in ((0, 1), (-1, -1)):
        if layout.base_span[i] < 0.9 * place:
            feet[i] += way_in * FOOT_AT_THE_EDGE
    return Frames(
        kinds=("", *kinds, ""),
        base=ends(layout.base + feet * base_way, base_way),
        top=ends(layout.top + TOP_TO_SPACE * pull * top_way, top_way),
        base_way=ends(base_way),
        top_way=ends(top_way),
    )


def _cut(frames: Frames, first: int, last: int, shift: Floats) -> Frames:
    """Return the frames of stitches first to last (not with it) and their neighbours; counted from 0 in the row."""
    part = slice(first, last + 2)
    return Frames(
        kinds=frames.kinds[part],
        base=frames.base[part] - shift,
        top=frames.top[part] - shift,
        base_way=frames.base_way[part],
        top_way=frames.top_way[part],
    )


def chunks_of(layouts: Sequence[RowLayout], which: int, side: str) -> tuple[Chunk, ...]:
    """Return the runs of a row in order, long ones cut into pieces.

    `layouts`: the rows that alternate; `which`: the row's own among them; `side`: {"front", "back"}, which side of the
    row is seen.
    """
    layout = layouts[which]
    other = {"front": "back", "back": "front"}[side]
    under, over = layouts[(which - 1) % len(layouts)], layouts[(which + 1) % len(layouts)]
    row, below, above = _row_frames(layout, side), _row_frames(under, other), _row_frames(over, other)
    place, n = layout.outline[1, 0], len(layout.kinds)
    standing = "tch" in layout.kinds
    chunks = []
    for first, last in layout.runs:
        for a, b in pairwise([*range(first, last, LONGEST_RUN), last]):
            left = float(layout.top[a, 0] - place / 2)
            shift = np.array([left, 0.0])
            # The other rows are cut where this one is; their stitches need not be as many.
            wide = range(min(a, len(under.kinds), len(over.kinds)), b)
            parts = [_cut(row, a, b, shift)]
            for frames, lift in ((below, -layout.rise_cm), (above, layout.rise_cm)):
                parts.append(_cut(frames, wide.start, min(b, len(frames.kinds) - 2), shift).raised(lift))
            starts = a == 0 if side == "back" else b == n
            turn = "" if standing or not starts else next((k for k in layout.kinds if k not in ("ch", "tch")), "")
            points, margin = np.concatenate([parts[0].base, parts[0].top]), MARGIN * layout.stitch_width_cm
            key = repr([(p.kinds, turn) for p in parts]).encode() + b"".join(
                values.round(5).tobytes() for p in parts for values in (p.base, p.top, p.base_way, p.top_way)
            )
            chunks.append(
                Chunk(
                    left_cm=left,
                    row=parts[0],
                    below=parts[1],
                    above=parts[2],
                    turn=turn,
                    corner=points.min(axis=0) - margin,
                    far=points.max(axis=0) + margin,
                    key=key,
                )
            )
    return tuple(chunks)

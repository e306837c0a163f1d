"""The path of the yarn through each stitch: passages laid down by hand, then drawn tight until nothing gives.

Everything is in stitch widths: x to the right, y up the post, z to the viewer; (0, 0, 0) is where the hook goes in, the
middle of the V of the row below. The yarn goes from right to left, so a path ends where that of the stitch to its left
begins. A stitch of the next row stands half a stitch aside and is turned about the upright: (-x, y, -z).

The passages of double crochet were worked out from the movements of the hook (yarn over, insert, pull up, yarn over,
through two, yarn over, through two) and checked against photographs of crochet; the other stitches are put together
from the same passages. What the eye sees was checked, lengths were not: yarn used is reckoned elsewhere.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HERE = Path(__file__).parent
# Row heights in stitch widths, the inverse of what the gauge takes as usual.
HEIGHTS = {"sc": 0.91, "hdc": 1.37, "dc": 1.80, "tr": 2.60}
POINTS_PER_WIDTH = 11
# Bundles of two strands keep this distance, between flat on flat (one strand, .24) and edge to edge (.44); the loops of
# the lowest and the highest stitch lie closest.
APART = {"sc": 0.26, "hdc": 0.31, "dc": 0.31, "tr": 0.26}
# Points nearer than this along the yarn do not push each other.
SAME_BEND = 0.62
STEPS = 400
# Where a second wrap passes behind the post.
BEHIND_POST = np.array([0.0, 0.0, 0.2])


def drawn(name: str) -> list[tuple[str, Floats]]:
    """Return the passages of a drawn path in the order the yarn takes."""
    out: list[tuple[str, list[list[float]]]] = []
    with (HERE / "passages.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(line for line in file if not line.startswith("#")):
            if row["set"] != name:
                continue
            if not out or out[-1][0] != row["passage"]:
                out.append((row["passage"], []))
            out[-1][1].append([float(row[c]) for c in "xyz"])
    return [(passage, np.array(points)) for passage, points in out]


def _raised(points: Floats, by: float) -> Floats:
    return points + np.array([0.0, by, 0.0])


def control(kind: str, *, back_loop: bool) -> Floats:
    """Return the control points of a stitch before it is drawn tight."""
    parts = dict(drawn("dc"))
    low = dict(drawn("dc-back-loop")) if back_loop else parts
    tops = ("top-foot1", "top-back", "top-head", "top-front", "top-foot2")
    lift = HEIGHTS[kind] - HEIGHTS["dc"]
    chain = [_raised(parts[p], lift) for p in tops]
    if back_loop:
        # The V stands open, and the strand that the next row leaves free hangs on its worker's side, lower down.
        one = dict(drawn("sc"))
        chain = [_raised(one[p], HEIGHTS[kind] - 0.95) for p in tops]
        chain[1] = chain[1] + [0.0, -0.10, -0.20]
        chain[2][0] += [0.0, -0.04, -0.08]
        chain[0][-1] += [0.0, -0.06, -0.14]
    foot = [low[p] for p in ("down", "pull", "up")]
    if kind == "dc":
        chain += [parts["yo"], *foot, parts["mid"], parts["rise"]]
    elif kind == "tr":
        # A second yarn over winds once more round the post, and one more loop stands on the first.
        # Wraps are steep and close to the post, and its loops reach past one another, so that it is one tall post.
        steep = np.array([0.8, 1.45, 1.0])
        yo = parts["yo"] * steep - np.array([0.0, 0.42, 0.0])
        yo[:4] = parts["yo"][:4]
        chain += [_raised(yo, lift), _raised(yo[4:5], 0.20) - BEHIND_POST, yo[5:]]
        tall = np.array([0.75, 1.15, 1.0])
        middle = parts["mid"] * tall
        chain += [*foot, middle, _raised(middle, lift - 0.2), _raised(parts["rise"], lift)]
    elif kind == "hdc":
        # All three loops are taken off at once: the pulled-up loop and the yarn over reach up to the V.
        stretch = np.array([1.0, 1.30, 1.0])
        pull = low["pull"] * stretch
        down = np.concatenate([_raised(low["down"][:1], 0.12), low["down"][1:]])
        chain += [_raised(parts["yo"], -0.02), down, pull, low["up"][:2]]
        chain += [np.array([[-0.06, 0.45, -0.36], [-0.02, 0.75, -0.40], [0.04, 0.95, -0.42]])]
    else:
        one = dict(drawn("sc"))
        pull, down = one["pull"], one["down"]
        if back_loop:
            pull = pull.copy()
            pull[[0, -1]] = [[0.13, -0.03, 0.0], [-0.13, -0.03, 0.0]]
            pull[[1, -2], 2] = 0.2
        chain += [down, pull, one["rise"]]
    return np.concatenate(chain)


def chain() -> Floats:
    """Return the path through a chain that lies along x, its V to the viewer."""
    half = [(0.80, 0.07, 0.0), (0.58, 0.2, 0.12), (0.28, 0.29, 0.15), (-0.02, 0.28, 0.1), (-0.28, 0.14, -0.06)]
    back = [(x, -y, z) for x, y, z in reversed(half)]
    return spaced(
        np.array([(0.92, 0.0, -0.17), *half, (-0.34, 0.0, -0.12), *back, (0.6, -0.02, -0.18), (0.25, 0.0, -0.2)])
    )


def spaced(points: Floats) -> Floats:
    """Return points evenly along a smooth closed curve; the end meets the start of the stitch to the left."""
    from scipy.interpolate import CubicSpline

    one = np.array([1.0, 0.0, 0.0])
    ends = np.concatenate([points[-3:] + one, points, points[:3] - one])
    arc = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(ends, axis=0), axis=1) ** 0.5)])
    curve = CubicSpline(arc, ends)
    fine = curve(np.linspace(arc[3], arc[-3], 2000))
    length = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(fine, axis=0), axis=1))])
    n = round(POINTS_PER_WIDTH * length[-1])
    at = np.arange(n) / n * length[-1]
    return np.stack([np.interp(at, length, fine[:, c]) for c in range(3)], axis=1)


def images(height: float) -> list[tuple[bool, Floats]]:
    """Return the neighbours of a stitch in a fabric of turned rows: whether turned, and where."""
    near = [(False, np.array([float(k), 0.0, 0.0])) for k in (-2, -1, 1, 2)]
    for up in (height, -height):
        near += [(True, np.array([k + 0.5, up, 0.0])) for k in (-2, -1, 0, 1)]
    return near


def placed(points: Floats, turned: bool, at: Floats) -> Floats:
    """Return a path where a neighbour lies."""
    return points * ([-1.0, 1.0, -1.0] if turned else [1.0, 1.0, 1.0]) + at


def tight(points: Floats, height: float, apart: float, *, pull: float = 0.12, memory: float = 0.06) -> Floats:
    """Return a path drawn tight among its neighbours, which move with it and keep so far apart."""
    start = p = spaced(points)
    n = len(p)
    for step in range(STEPS):
        before, after = np.roll(p, 1, axis=0), np.roll(p, -1, axis=0)
        before[0] += [1, 0, 0]
        after[-1] -= [1, 0, 0]
        move = pull * ((before + after) / 2 - p) + memory * (start - p)
        others = np.concatenate([p, *(placed(p, t, at) for t, at in images(height))])
        gap = p[:, None] - others[None]
        d = np.sqrt(np.sum(gap**2, axis=2))
        i, j = np.arange(n)[:, None], np.arange(len(others))[None]
        along = np.abs(i - j).astype(float)
        along[:, n:] = 99.0
        for q, (turned, at) in enumerate(images(height)):
            if not turned and abs(at[0]) == 1:
                here = (j >= n * (q + 1)) & (j < n * (q + 2))
                along = np.where(here, np.abs(i - (j - n * (q + 1)) + n * at[0]), along)
        reach = apart * min(1.0, 0.6 + 0.4 * step / (0.6 * STEPS))
        push = np.where((along / POINTS_PER_WIDTH > SAME_BEND) & (d < reach), (reach - d) / (d + 1e-6), 0.0)
        move += 0.22 * np.sum(gap * push[..., None], axis=1) / (1 + 0.5 * np.sum(push > 0, axis=1))[:, None]
        size = np.linalg.norm(move, axis=1, keepdims=True)
        p = p + move * np.minimum(1.0, 0.05 / (size + 1e-9))
    return spaced(p)


def path_of(kind: str, *, back_loop: bool) -> Floats:
    """Return the finished path of a stitch, shape (n, 3)."""
    return tight(control(kind, back_loop=back_loop), HEIGHTS[kind], APART[kind])

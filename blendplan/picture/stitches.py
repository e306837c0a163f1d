"""The path of the yarn through each kind of stitch, as seen from the side that is looked at.

A path is a list of points (u, v, z): u across the stitch in stitch widths (0 is its middle), v up its post
in row heights (0 is the place it is worked in, 1 its top), z towards the eye in stitch widths.
A smooth curve is laid through the points.
The paths were drawn by hand after finished crochet; they have no source and claim no lengths
(yarn used is reckoned elsewhere).
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

__all__ = ["Side", "body_paths", "fills", "foundation_paths", "ridge_paths", "smooth"]

Floats = NDArray[np.float64]
Path = tuple[tuple[float, float, float], ...]
Side = str  # "front" or "back" of the stitch

# Down the left leg of a post, through the place it is worked in, up the right leg.
_POST: Path = (
    (-0.20, 1.02, -0.08),
    (-0.20, 0.76, 0.10),
    (-0.26, 0.42, 0.14),
    (-0.17, 0.08, 0.10),
    (0.00, -0.13, 0.02),
    (0.17, 0.10, 0.08),
    (0.26, 0.46, 0.12),
    (0.21, 0.78, 0.10),
    (0.17, 1.02, -0.08),
)
_SHORT_POST: Path = (
    (-0.30, 1.02, -0.06),
    (-0.27, 0.55, 0.14),
    (-0.15, 0.12, 0.10),
    (0.00, -0.20, 0.02),
    (0.16, 0.14, 0.10),
    (0.27, 0.55, 0.12),
    (0.28, 1.02, -0.08),
)
# Yarn of the other side, seen in the gap to the next stitch.
_BETWEEN: Path = ((0.46, -0.10, -0.46), (0.53, 0.30, -0.40), (0.48, 0.65, -0.40), (0.52, 1.04, -0.46))
_BACK_LOOP: Path = ((-0.62, 1.03, -0.12), (-0.25, 1.09, 0.0), (0.25, 1.09, 0.0), (0.62, 1.03, -0.12))
_FRONT_LOOP: Path = (
    (-0.66, 0.96, -0.10),
    (-0.38, 0.90, 0.16),
    (0.0, 0.94, 0.26),
    (0.40, 1.02, 0.20),
    (0.70, 1.06, -0.10),
)
_CHAIN: tuple[Path, ...] = (
    ((-0.62, 1.02, -0.02), (-0.30, 0.91, 0.10), (0.10, 0.89, 0.16), (0.52, 1.00, 0.10), (0.66, 1.05, -0.06)),
    ((-0.62, 1.03, -0.04), (-0.30, 1.13, 0.08), (0.10, 1.14, 0.12), (0.52, 1.06, 0.06), (0.66, 1.02, -0.06)),
)


def _wrap(middle: float, lift: float, turn: float = 1.0, depth: float = 0.30) -> Path:
    """Return a yarn over lying round the post, climbing by `lift` from one side to the other."""
    low, high = middle - lift / 2, middle + lift / 2
    return (
        (-0.42 * turn, low - 0.03, -0.16),
        (-0.27 * turn, low + 0.01, 0.16),
        (0.0, middle, depth),
        (0.27 * turn, high - 0.01, 0.16),
        (0.42 * turn, high + 0.03, -0.16),
    )


def _bar(v: float, depth: float = 0.22) -> Path:
    """Return a short level bar, the hump at the back of a stitch."""
    return (
        (-0.44, v - 0.04, -0.14),
        (-0.22, v, 0.12),
        (0.0, v + 0.02, depth),
        (0.22, v, 0.12),
        (0.44, v - 0.04, -0.14),
    )


def _stacked_chains(count: int) -> tuple[Path, ...]:
    """Return chains standing on one another, as a turning chain does."""
    left: list[tuple[float, float, float]] = []
    right: list[tuple[float, float, float]] = []
    for i in range(count):
        low, step = i / count, 1.0 / count
        left += [(-0.02, low, -0.04), (-0.20, low + 0.45 * step, 0.14)]
        right += [(0.06, low, -0.02), (0.22, low + 0.45 * step, 0.12)]
    return (*(tuple([*side, (0.0, 1.02, 0.0)]) for side in (left, right)),)


@cache
def body_paths(kind: str, side: Side) -> tuple[Path, ...]:
    """Return the paths of a stitch without the loop left free in front of the next row.

    Parameters
    ----------
    kind : str
        One of `STITCH_KINDS`.
    side : {"front", "back"}
        Which side of the stitch is seen; rows worked to and fro show one after the other.
    """
    front = side == "front"
    if kind == "ch":
        return _CHAIN
    if kind == "tch":
        return _stacked_chains(3)
    if kind == "sl st":
        return (_BACK_LOOP,)
    if kind in ("sc", "hdc"):
        extra: tuple[Path, ...] = ()
        if kind == "hdc":
            extra = (_wrap(0.62, 0.20),) if front else (_bar(0.42), _bar(0.80, 0.26))
        elif not front:
            extra = (_bar(0.55),)
        return (_BETWEEN, _SHORT_POST, *extra, _BACK_LOOP)
    wraps = (0.36, 0.66) if kind == "tr" else (0.54,)
    if front:
        return (_BETWEEN, _POST, *(_wrap(m, 0.16) for m in wraps), _BACK_LOOP)
    return (_BETWEEN, _POST, *(_wrap(m - 0.06, 0.10, -1.0) for m in wraps), _bar(0.84), _BACK_LOOP)


@cache
def ridge_paths(kind: str) -> tuple[Path, ...]:
    """Return the front loop of a stitch, which lies free where the next row takes the back loop."""
    return () if kind in ("ch", "tch") else (_FRONT_LOOP,)


@cache
def foundation_paths(kind: str) -> tuple[Path, ...]:
    """Return the chain that a stitch of the first row is worked into: at its foot."""
    return () if kind == "ch" else tuple(tuple((u, v - 1.04, z) for u, v, z in path) for path in _CHAIN)


@cache
def fills(kind: str) -> tuple[float, float] | None:
    """Return from which to which v the cloth behind a stitch is closed, None where it is open (chains)."""
    return None if kind in ("ch", "sl st", "tch") else (-0.12, 1.04)


def smooth(points: Floats, per_piece: int) -> Floats:
    """Return curves through points, by Catmull and Rom's cubic, ends kept.

    Parameters
    ----------
    points : ndarray, shape (p, n, d)
        p paths of n points.
    per_piece : int
        Samples between two points.

    Returns
    -------
    ndarray, shape (p, (n - 1) * per_piece + 1, d)
    """
    first, last = 2 * points[:, :1] - points[:, 1:2], 2 * points[:, -1:] - points[:, -2:-1]
    padded = np.concatenate([first, points, last], axis=1)[:, :, None, :]
    t = (np.arange(per_piece) / per_piece)[:, None]
    p0, p1, p2, p3 = padded[:, :-3], padded[:, 1:-2], padded[:, 2:-1], padded[:, 3:]
    curve = p1 + 0.5 * t * (p2 - p0 + t * (2 * p0 - 5 * p1 + 4 * p2 - p3 + t * (3 * (p1 - p2) + p3 - p0)))
    return np.concatenate([curve.reshape(len(points), -1, points.shape[2]), points[:, -1:]], axis=1)

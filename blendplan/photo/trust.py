"""How far a shade may be off, and why.

The figures were set on tuning scenes so that nine of ten errors lie under the stated one, all lamps and tone
curves together; the bench prints the share on scenes that took no part, and on the real charts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from blendplan.photo.chart import Chart
from blendplan.photo.reader import Cluster
from blendplan.photo.sampling import Sample
from blendplan.photo.white import White

__all__ = ["trust"]

# All in CIEDE2000, added as squares; measured on tuning scenes.
_BASE_PAPER = 5.2
_BASE_SMALL = 6.2
# Without white: in a cool photo, and for each step of `Small.warmth` above _COOL, up to so many steps.
_NO_WHITE, _NO_WHITE_WARM, _COOL, _WARMEST = 16.0, 9.0, 0.35, 1.8
_DOUBTED = 28.0
_MIXED = 1.0
# For each step that the white is warmer (natural log of red over blue) than _BULB, up to so many steps.
_PER_WARM, _BULB, _MOST_WARM = 8.5, 0.6, 1.5
_CLIPPED = 6.0
_FEW = 5.0
_PER_CHROMA = 0.045
_PART = 3.0
_SMALL_PART = 9.0
_PER_SPREAD = 0.35
# A fitted chart: its own left-out error stands for the mean; nine of ten lie under about twice the mean.
_CHART = 2.0


def trust(
    cluster: Cluster,
    lab: NDArray[np.float64],
    white: White | None,
    chart: Chart | None,
    sample: Sample,
    *,
    warmth: float,
) -> tuple[float, tuple[str, ...]]:
    """Return the CIEDE2000 under which nine of ten errors are expected to lie, and reasons for doubt.

    Parameters
    ----------
    cluster : Cluster
        The shade as read.
    lab : ndarray, shape (3,)
    white : White or None
    chart : Chart or None
        A fitted chart, whose mean left-out error then stands for the white.
    sample : Sample
        The pixels it was read from.
    warmth : float
        `Small.warmth` of the photo.
    """
    reasons: list[str] = []
    parts: list[float] = []
    if chart is not None:
        parts.append(max(_CHART * chart.error, 3.0))
        parts.append(_DOUBTED * (1 - chart.confidence))
    elif white is None:
        parts.append(_NO_WHITE + _NO_WHITE_WARM * float(np.clip(warmth - _COOL, 0, _WARMEST)))
        reasons.append("no-white")
    else:
        # Middle tones suffer most from shape and tone curve; near-black and near-white least.
        tone = 0.72 + 0.42 * float(np.exp(-(((lab[0] - 58) / 30) ** 4)))
        parts.append(tone * (_BASE_PAPER if len(white.field) > 1 else _BASE_SMALL))
        parts.append(_DOUBTED * (1 - white.confidence))
        reasons.append("tone-curve")
        red, _, blue = np.log(np.maximum(white.linear_rgb, 1e-3))
        parts.append(_PER_WARM * float(np.clip(red - blue - _BULB, 0, _MOST_WARM)))
        if red - blue > 2 * _BULB:
            reasons.append("warm-light")
        if white.mixed:
            parts.append(_MIXED)
            reasons.append("mixed-light")
    if (chart is not None and chart.confidence < 1) or (white is not None and white.kind == "shared"):
        reasons.append("shared-light")
    white_clipped = white.clipped if white is not None else 0.0
    if sample.clipped > 0.05 or white_clipped > 0.3:
        parts.append(_CLIPPED * max(min(1.0, 2 * sample.clipped), 0.5 * white_clipped))
        reasons.append("clipped")
    if cluster.pixels < 400:
        parts.append(_FEW * (1 - cluster.pixels / 400))
        reasons.append("few-pixels")
    chroma = float(np.hypot(lab[1], lab[2]))
    parts.append(_PER_CHROMA * chroma)
    if chroma > 60:
        reasons.append("saturated")
    if cluster.share < 0.999:
        parts.append(_PART + _SMALL_PART * max(0.0, 1 - 4 * cluster.share))
    parts.append(_PER_SPREAD * cluster.spread)
    return round(float(np.sqrt(sum(p * p for p in parts))), 1), tuple(reasons)

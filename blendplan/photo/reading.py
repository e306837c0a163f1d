"""From a photo to the shades of its yarns: white, boxes, shades, and what to doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import into_gamut, linear_to_hex, linear_to_lab, srgb_to_linear
from blendplan.errors import PhotoError
from blendplan.photo.adjust import even_shares
from blendplan.photo.chart import Chart, inside_quad, read_chart
from blendplan.photo.ground import Small, shrink
from blendplan.photo.loading import Photo
from blendplan.photo.reader import Cluster, split_pixels
from blendplan.photo.sampling import Sample, sample_yarn
from blendplan.photo.skeins import find_skeins, hull
from blendplan.photo.trust import trust
from blendplan.photo.white import PAPER_LEVEL, White, find_white, in_daylight, tapped_white
from blendplan.units import choice, number, whole
from blendplan.wording import Notice, note
from blendplan.yarn import Shade

__all__ = ["WHITE_ON_WHITE", "Box", "PhotoReading", "YarnReading", "read_photo", "shade_to_json", "swatch_shade"]

Box = tuple[int, int, int, int]
Mask = NDArray[np.bool_]
Floats = NDArray[np.float64]


# Holds for nearly every photo on white paper.
WHITE_ON_WHITE = note("white yarn on white paper is easily missed; check that each yarn has its box")
# A skein of which this share lies in a box is meant by the box; of a neighbour only a corner does.
_MOSTLY = 0.6
# Less than this share of a photo without paper is no skein (assumed: a ball a tenth of the photo wide covers 1 %).
_LEAST_FOUND = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class YarnReading:
    """One yarn of a photo: its box at full size, its shades and notices."""

    box: Box
    shades: tuple[Shade, ...]
    notices: tuple[Notice, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoReading:
    """What was read from one photo."""

    name: str
    white: White | None
    yarns: tuple[YarnReading, ...]
    notices: tuple[Notice, ...] = ()
    chart: Chart | None = None

    @property
    def chart_error(self) -> float | None:
        """Mean CIEDE2000 of the chart's patches, each left out of the fit in turn; None without a chart."""
        return None if self.chart is None else self.chart.error

    def to_json(self) -> dict[str, Any]:
        """Return the reading as plain values, in the shape of the command line's contract."""
        white = None
        if self.white is not None:
            white = {
                "kind": self.white.kind,
                "box": None if self.white.box is None else list(self.white.box),
                "srgb": linear_to_hex(self.white.linear_rgb),
                "confidence": round(self.white.confidence, 2),
            }
        return {
            "photo": self.name,
            "white": white,
            "chart_error": self.chart_error,
            "notices": [n.text for n in self.notices],
            "yarns": [
                {
                    "box": list(yarn.box),
                    "shades": [shade_to_json(s) for s in yarn.shades],
                    "notices": [n.text for n in yarn.notices],
                }
                for yarn in self.yarns
            ],
        }


def shade_to_json(shade: Shade) -> dict[str, Any]:
    """Return a shade as plain values, in the shape of the command line's contract."""
    return {
        "srgb": shade.srgb,
        "lab": [round(v, 2) for v in shade.lab],
        "share": shade.share,
        "spread": round(shade.spread, 2),
        "uncertainty": shade.uncertainty,
        "reasons": list(shade.reasons),
    }


def read_photo(
    photo: Photo,
    *,
    boxes: Sequence[Sequence[float]] | None = None,
    white: str | White | tuple[float, float] = "auto",
    white_level: float = PAPER_LEVEL,
    card: str | Sequence[tuple[float, float]] | Chart | None = None,
    shades: int | None = None,
) -> PhotoReading:
    """Return the shades of the yarns in a photo.

    Parameters
    ----------
    photo : Photo
    boxes : sequence of (left, top, right, bottom), optional
        Pixels of the upright photo at full size; without them the yarns are found.
    white : "auto", "off", (x, y) or White
        Find the paper, use none, take the spot tapped (full-size pixels), or take a white as it is, such as
        one shared by photos taken together.
    white_level : float
        Reflectance of what was tapped: .87 paper, .18 a grey card.
    card : None, "auto", four corners or Chart
        A 24-patch chart: find it, take one as it is, such as that of a photo taken together, or its corners
        (full-size pixels) going round from the outer corner of the dark skin patch by those of the bluish green,
        black and white patches. The chart stands before any white.
    shades : int, optional
        How many shades each yarn has; without it a number is proposed.

    Raises
    ------
    PhotoError
        If a box, a spot or a corner lies outside the photo.
    """
    if shades is not None:
        shades = whole(shades, "number of shades", 1, 8)
    number(white_level, "reflectance of the white", 0.02, 1.0)
    small = shrink(photo)
    notices = list(photo.notices)
    chart, chart_mask = _chart(photo, small, card, notices)
    if chart is not None and white not in ("auto", "off"):
        notices.append(note("the colour card was used and not the white spot", "assumed"))
    found, mask = _white(photo, small, white, white_level, notices) if chart is None else (None, None)
    if found is None and chart is None:
        notices.append(
            note(
                "no white paper was found; the shades are only as true as the photo's own colours; "
                "tap something white, or put white paper under the yarn",
                "warning",
            )
        )
    leave_out = _small_things(mask, chart_mask)
    skeins = find_skeins(small, leave_out)
    # A close-up has no ground round the yarn: nothing, or next to nothing, stands out in it.
    if boxes is None and found is None and chart is None and (skeins.labels > 0).mean() < _LEAST_FOUND:
        boxes = _middle(photo)
        if boxes is not None:
            notices.append(
                note(
                    "no skein stands out from the ground, so the middle of the photo was read as one yarn; "
                    "draw a box where that is wrong",
                    "assumed",
                )
            )
    if boxes is None:
        notices += skeins.notices
        if mask is not None and leave_out is None:
            notices.append(WHITE_ON_WHITE)
        regions = [(_box_of(photo, small, skeins.labels == i), skeins.labels == i) for i in range(1, skeins.count + 1)]
    else:
        regions = [_region_of(photo, small, box, skeins.labels) for box in boxes]
    yarns = tuple(_yarn(photo, small, (found, chart), place, shades) for place in regions)
    return PhotoReading(
        name=photo.name,
        white=found,
        chart=chart,
        yarns=yarns,
        notices=tuple(notices),
    )


def _white(
    photo: Photo,
    small: Small,
    white: str | White | tuple[float, float],
    level: float,
    notices: list[Notice],
) -> tuple[White | None, Mask | None]:
    if isinstance(white, White):
        return white, None
    if isinstance(white, str):
        if choice(white, "white", ("auto", "off")) == "off":
            return None, None
        found, mask, more = find_white(photo, small)
    else:
        found, mask, more = tapped_white(photo, small, (float(white[0]), float(white[1])), level)
    notices += more
    if found is not None and found.mixed:
        notices.append(note("the light changes colour across the photo; use one lamp or a window alone", "warning"))
    return found, mask


def _chart(
    photo: Photo, small: Small, card: str | Sequence[tuple[float, float]] | Chart | None, notices: list[Notice]
) -> tuple[Chart | None, Mask | None]:
    if card is None:
        return None, None
    if isinstance(card, Chart):
        notices.append(note("the colour card of another photo was used", "assumed"))
        return card, None
    chart = read_chart(photo, card)
    notices.append(
        note("the colour card was used; left out one by one, its patches are off by {de} CIEDE2000", de=chart.error)
    )
    rows, columns = np.mgrid[0 : small.linear.shape[0], 0 : small.linear.shape[1]]
    corners = np.asarray(chart.corners) * small.scale
    return chart, inside_quad(columns, rows, corners, 1.12)


def _small_things(mask: Mask | None, chart: Mask | None) -> Mask | None:
    """Return a card or a chart that lies on the ground, widened; paper that is the ground itself is not a thing."""
    from scipy.ndimage import binary_dilation

    out = chart
    if mask is not None:
        border = np.concatenate([mask[3], mask[-4], mask[:, 3], mask[:, -4]])
        if border.mean() < 0.35 and mask.mean() < 0.3:
            wide: Mask = binary_dilation(mask, iterations=2)
            out = wide if out is None else out | wide
    return out


def _middle(photo: Photo) -> list[Box] | None:
    """Return a box of the middle of a photo, or None where that is see-through."""
    rows, columns = photo.counts.shape
    if not photo.counts[rows // 10 : rows - rows // 10, columns // 10 : columns - columns // 10].any():
        return None
    width, height = photo.full_size
    return [(width // 10, height // 10, width - width // 10, height - height // 10)]


def _box_of(photo: Photo, small: Small, region: Mask) -> Box:
    rows, columns = np.nonzero(region)
    width, height = photo.full_size
    return (
        max(0, int(columns.min() / small.scale)),
        max(0, int(rows.min() / small.scale)),
        min(width, int(np.ceil((columns.max() + 1) / small.scale))),
        min(height, int(np.ceil((rows.max() + 1) / small.scale))),
    )


def _region_of(photo: Photo, small: Small, box: Sequence[float], labels: NDArray[np.int32]) -> tuple[Box, Mask]:
    """Return a given box as whole pixels, and the yarn in it; all of the box where no skein stands out."""
    if len(box) != 4:
        raise PhotoError("a box needs four numbers, {given} were given; write left,top,right,bottom.", given=len(box))
    left, top, right, bottom = (round(number(v, "box", -1e6, 1e6)) for v in box)
    width, height = photo.full_size
    if not (0 <= left < right <= width and 0 <= top < bottom <= height):
        raise PhotoError(
            "the box {box} does not lie in {name}; allowed is 0,0 to {width},{height} with left before right.",
            box=f"{left},{top},{right},{bottom}",
            name=photo.name,
            width=width,
            height=height,
        )
    rows, columns = labels.shape
    y0, x0 = min(int(top * small.scale), rows - 1), min(int(left * small.scale), columns - 1)
    y1, x1 = max(y0 + 1, round(bottom * small.scale)), max(x0 + 1, round(right * small.scale))
    region = np.zeros(labels.shape, dtype=bool)
    region[y0:y1, x0:x1] = _skein_in(labels, (y0, x0, y1, x1))
    return (left, top, right, bottom), region


def _skein_in(labels: NDArray[np.int32], box: tuple[int, int, int, int]) -> Mask:
    """Return the one skein of a small box: the hull of what stands out in it, or all where little does.

    A skein is one convex thing; a pale stretch of it on pale ground stands out as little as the ground.
    """
    y0, x0, y1, x1 = box
    inside = labels[y0:y1, x0:x1]
    here, everywhere = np.bincount(inside.ravel()), np.bincount(labels.ravel())
    own = [i for i in range(1, len(here)) if here[i] > _MOSTLY * everywhere[i]]
    found: Mask = np.isin(inside, own) if own else inside > 0
    if (inside > 0).mean() <= 0.3:
        return np.ones(inside.shape, dtype=bool)
    return hull(found)


def swatch_shade(photo: Photo, box: Sequence[float], *, white: str | White | tuple[float, float] = "auto") -> Shade:
    """Return the one colour of a crocheted swatch of several strands: the mean light of the tops of its yarn.

    Parameters
    ----------
    photo : Photo
    box : (left, top, right, bottom)
        Pixels of the upright photo at full size, inside the swatch.
    white : "auto", "off", (x, y) or White
        As `read_photo`; strands beside the swatch must be read with the same white.

    Raises
    ------
    PhotoError
        If the box lies outside the photo or holds only see-through pixels.

    Notes
    -----
    The tops are read, as for single yarns, so that shadow in the fabric does not pass for a darker blend.
    The mean is of light, because the member of the blend family is fitted to light.
    """
    small = shrink(photo)
    found, _ = _white(photo, small, white, PAPER_LEVEL, [])
    place = _region_of(photo, small, box, np.ones(small.counts.shape, dtype=np.int32))
    sample, neutral = _neutral(photo, small, (found, None), place)
    tops = neutral[sample.top] if sample.top.any() else neutral
    red, green, blue = tops.mean(axis=0)
    cluster = Cluster(linear=(float(red), float(green), float(blue)), share=1.0, spread=0.0, pixels=len(tops))
    return _shade(cluster, found, None, sample, small.warmth)


def _neutral(
    photo: Photo, small: Small, light: tuple[White | None, Chart | None], place: tuple[Box, Mask]
) -> tuple[Sample, Floats]:
    """Return the pixels of a place and their light as in neutral daylight."""
    (white, chart), (box, region) = light, place
    sample = sample_yarn(photo, small, region, box)
    if len(sample.srgb8) == 0:
        raise PhotoError(
            "the box {box} of {name} holds only see-through pixels; move it onto the yarn.",
            box=",".join(str(v) for v in box),
            name=photo.name,
        )
    return sample, in_daylight(srgb_to_linear(sample.srgb8 / 255), chart or white, sample.x, sample.y)


def _yarn(
    photo: Photo, small: Small, light: tuple[White | None, Chart | None], place: tuple[Box, Mask], shades: int | None
) -> YarnReading:
    (white, chart), (box, _) = light, place
    sample, neutral = _neutral(photo, small, light, place)
    # Where nearly all is overexposed the clipped pixels were read as well.
    missing = sample.clipped if sample.clipped < 0.9 else 0.0
    height, width = photo.srgb8.shape[:2]
    places = np.stack([sample.x * width, sample.y * height], axis=1)
    clusters = split_pixels(neutral, sample.top, places, most=6, exactly=shades, clipped=missing)
    read = tuple(_shade(c, white, chart, sample, small.warmth) for c in clusters)
    notices = []
    if len(read) > 1 and shades is None:
        notices.append(
            note(
                "{n} shades are proposed for this yarn; join, split or drop them as you see it", "assumed", n=len(read)
            )
        )
    return YarnReading(box=box, shades=even_shares(read), notices=tuple(notices))


def _shade(cluster: Cluster, white: White | None, chart: Chart | None, sample: Sample, warmth: float) -> Shade:
    lab = linear_to_lab(into_gamut(np.clip(cluster.linear, 0.0, None)))
    uncertainty, reasons = trust(cluster, lab, white, chart, sample, warmth=warmth)
    return Shade(
        lab=(float(np.clip(round(lab[0], 2), 0, 100)), float(round(lab[1], 2)), float(round(lab[2], 2))),
        share=round(cluster.share, 4),
        spread=round(cluster.spread, 2),
        uncertainty=uncertainty,
        reasons=reasons,
    )

"""From a photo to the shades of its yarns: white, boxes, shades, and what to doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from blendplan.colour import linear_to_hex, linear_to_lab, srgb_to_linear
from blendplan.errors import PhotoError
from blendplan.photo.loading import Photo
from blendplan.photo.white import PAPER_LEVEL, White, correct
from blendplan.wording import Notice, note
from blendplan.yarn import Shade

__all__ = ["Box", "PhotoReading", "YarnReading", "read_photo"]

Box = tuple[int, int, int, int]


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

    def to_json(self) -> dict[str, Any]:
        """Return the reading as plain values, in the shape of the command line's contract."""
        white = None
        if self.white is not None:
            white = {
                "kind": self.white.kind,
                "box": list(self.white.box),
                "srgb": linear_to_hex(self.white.linear_rgb),
                "confidence": round(self.white.confidence, 2),
            }
        return {
            "photo": self.name,
            "white": white,
            "notices": [n.text for n in self.notices],
            "yarns": [
                {
                    "box": list(yarn.box),
                    "shades": [
                        {
                            "srgb": s.srgb,
                            "lab": [round(v, 2) for v in s.lab],
                            "share": s.share,
                            "spread": round(s.spread, 2),
                            "uncertainty": s.uncertainty,
                            "reasons": list(s.reasons),
                        }
                        for s in yarn.shades
                    ],
                    "notices": [n.text for n in yarn.notices],
                }
                for yarn in self.yarns
            ],
        }


def read_photo(
    photo: Photo,
    *,
    boxes: Sequence[Sequence[float]] | None = None,
    white: str | tuple[float, float] = "auto",
    card: str | Sequence[tuple[float, float]] | None = None,
) -> PhotoReading:
    """Return the shades of the yarns in a photo.

    Parameters
    ----------
    photo : Photo
    boxes : sequence of (left, top, right, bottom), optional
        Pixels of the upright photo at full size; without them the yarns are found.
    white : "auto", "off" or (x, y)
        Find the paper, use none, or take the spot tapped (full-size pixels).
    card : None, "auto" or four corners

    Raises
    ------
    PhotoError
        If a box or a spot lies outside the photo.
    """
    linear = srgb_to_linear(photo.srgb8 / 255)
    counts = photo.counts
    found = None
    notices = list(photo.notices)
    if white == "auto":
        level = linear.min(axis=2)
        bright = counts & (level > np.quantile(level[counts], 0.9)) & (level < 0.95)
        chroma = linear.max(axis=2) / np.maximum(level, 1e-4)
        bright &= chroma < 1.6
        if bright.mean() > 0.02:
            rows, columns = np.nonzero(bright)
            light = np.median(linear[bright], axis=0) / PAPER_LEVEL
            found = White(
                kind="paper",
                box=_full(photo, (columns.min(), rows.min(), columns.max() + 1, rows.max() + 1)),
                linear_rgb=(float(light[0]), float(light[1]), float(light[2])),
                confidence=0.5,
            )
    if found is None:
        notices.append(
            note("no white paper was found; the shades are only as true as the photo's own colours", "warning")
        )
    if boxes is None:
        w, h = photo.full_size
        boxes = [(w // 4, h // 4, max(w // 4 + 1, w * 3 // 4), max(h // 4 + 1, h * 3 // 4))]
    yarns = tuple(_yarn(photo, linear, found, box) for box in boxes)
    return PhotoReading(name=photo.name, white=found, yarns=yarns, notices=tuple(notices))


def _full(photo: Photo, box: Sequence[float]) -> Box:
    left, top, right, bottom = (round(v / photo.scale) for v in box)
    w, h = photo.full_size
    return (max(0, left), max(0, top), min(w, right), min(h, bottom))


def _yarn(photo: Photo, linear: Any, white: White | None, box: Sequence[float]) -> YarnReading:
    left, top, right, bottom = (int(v) for v in box)
    w, h = photo.full_size
    if not (0 <= left < right <= w and 0 <= top < bottom <= h):
        raise PhotoError(
            "the box {box} does not lie in {name}; allowed is 0,0 to {width},{height} with left before right.",
            box=",".join(str(v) for v in (left, top, right, bottom)),
            name=photo.name,
            width=w,
            height=h,
        )
    y0, x0 = min(int(top * photo.scale), linear.shape[0] - 1), min(int(left * photo.scale), linear.shape[1] - 1)
    part = np.s_[y0 : max(y0 + 1, round(bottom * photo.scale)), x0 : max(x0 + 1, round(right * photo.scale))]
    pixels = linear[part][photo.counts[part]]
    if len(pixels) == 0:
        raise PhotoError("the box {box} holds only see-through pixels; move it onto the yarn.", box=str(tuple(box)))
    luminance = pixels @ np.array([0.2126, 0.7152, 0.0722])
    low, high = np.quantile(luminance, [0.5, 0.95])
    band = pixels[(luminance >= low) & (luminance <= high)]
    lab = linear_to_lab(np.clip(correct(band.mean(axis=0), white), 0, 1.0))
    shade = Shade(
        lab=(float(np.clip(round(lab[0], 2), 0, 100)), float(round(lab[1], 2)), float(round(lab[2], 2))),
        uncertainty=6.0 if white else 15.0,
        reasons=() if white else ("no-white",),
    )
    return YarnReading(box=(left, top, right, bottom), shades=(shade,))

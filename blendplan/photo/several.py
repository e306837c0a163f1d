"""Several photos: one light for those taken together, one yarn read from more than one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from blendplan.colour import delta_e_2000, lab_to_linear, linear_to_lab, linear_to_oklab, oklab_to_linear
from blendplan.errors import PhotoError
from blendplan.photo.chart import Chart
from blendplan.photo.loading import Photo
from blendplan.photo.reading import PhotoReading, read_photo
from blendplan.photo.white import White
from blendplan.wording import Notice, note
from blendplan.yarn import Shade

__all__ = ["DISAGREE", "UNKNOWN", "merge_shades", "share_light"]

# Two readings of one yarn further apart than this (CIEDE2000) are flagged and not averaged; assumed, about
# twice what one good reading is off.
DISAGREE = 6.0
# Stands for an uncertainty that is not known; assumed, about that of a shade read without white.
UNKNOWN = 15.0
# Photos whose whites differ by more than this (natural log of light, hue only) were not taken in one light.
_OTHER_LIGHT = 0.12
# A photo keeps its own white above this confidence.
_SURE = 0.8
# A light taken from another photo is believed so much, where both exposures are known and where they are not. On
# tuning scenes, exposed up to .7 EV (assumed) more or less, 92 and 90 % of the errors lie under the stated ones.
_LENT, _LENT_BLIND = 0.85, 0.6


def share_light(photos: Sequence[Photo], readings: Sequence[PhotoReading]) -> tuple[tuple[PhotoReading, ...], Notice]:
    """Return the readings of photos taken together, all in the light of the surest reference.

    Parameters
    ----------
    photos : sequence of Photo
        Taken one after the other under the same lamp.
    readings : sequence of PhotoReading
        One for each photo, from `read_photo`.

    Returns
    -------
    readings : tuple of PhotoReading
        Those that had no chart and no sure white of their own take the light of a chart, or else of the surest
        white. Boxes stay; a reading whose own white is another light stays as it was.
    notice : Notice

    Raises
    ------
    PhotoError
        If the counts differ, or none of the photos shows a white or a chart.

    Notes
    -----
    Cameras choose an exposure for each photo. Where both files say theirs, the light is scaled by the ratio;
    where not, hue is shared all the same and the shades are less sure.
    """
    if len(photos) != len(readings) or not photos:
        raise PhotoError(
            "{photos} photos and {readings} readings were given; one reading for each photo is needed.",
            photos=len(photos),
            readings=len(readings),
        )
    lender = max(range(len(photos)), key=lambda i: _surety(readings[i]))
    surest, exposure = readings[lender], photos[lender].exposure
    if surest.chart is None and surest.white is None:
        raise PhotoError("none of these photos shows a white or a colour card; take one with white paper in it.")
    out: list[PhotoReading] = []
    taken = unknown = 0
    for photo, reading in zip(photos, readings, strict=True):
        if reading is surest or not _borrows(reading, surest):
            out.append(reading)
            continue
        taken += 1
        boxes = [y.box for y in reading.yarns] or None
        if photo.exposure is not None and exposure is not None:
            more, confidence = photo.exposure / exposure, _LENT
        else:
            more, confidence, unknown = 1.0, _LENT_BLIND, unknown + 1
        if surest.chart is not None:
            out.append(read_photo(photo, boxes=boxes, card=_chart_lent(surest.chart, more, confidence)))
        elif surest.white is not None:
            out.append(read_photo(photo, boxes=boxes, white=_white_lent(surest.white, more, confidence)))
    if unknown:
        told = note(
            "{n} of {m} photos took their light from another photo; how long each was exposed is not known, so they "
            "may be lighter or darker than they look",
            "warning",
            n=taken,
            m=len(photos),
        )
    else:
        told = note("{n} of {m} photos took their light from another photo", "assumed", n=taken, m=len(photos))
    return tuple(out), told


def _surety(reading: PhotoReading) -> float:
    """Return how good a reference a photo has: its own chart, else its own white, else none."""
    if reading.chart is not None:
        return 1.0 + reading.chart.confidence
    return -1.0 if reading.white is None or reading.white.kind == "shared" else reading.white.confidence


def _borrows(reading: PhotoReading, surest: PhotoReading) -> bool:
    """Whether a photo takes the light of the surest: it has no sure light of its own, and no other light."""
    if reading.chart is not None and reading.chart.confidence == 1.0:
        return False
    own = reading.white
    if own is None or own.kind == "shared":
        return True
    if surest.white is not None and _hue_apart(own, surest.white) > _OTHER_LIGHT:
        return False
    return own.confidence <= _SURE


def _white_lent(white: White, more: float, confidence: float) -> White:
    """Return a white for a photo exposed `more` times as much, without its place and its field of light."""
    # The middle of the white stands for the whole photo: a field of light belongs to one view only.
    red, green, blue = (float(v) * more for v in white.linear_rgb)
    return replace(
        white,
        kind="shared",
        box=None,
        linear_rgb=(red, green, blue),
        field=((float(np.log(red)), float(np.log(green)), float(np.log(blue))),),
        confidence=confidence * white.confidence,
        mixed=False,
    )


def _chart_lent(chart: Chart, more: float, confidence: float) -> Chart:
    """Return a chart's fit for a photo exposed `more` times as much."""
    matrix = tuple((a / more, b / more, c / more) for a, b, c in chart.fit.matrix)
    return replace(chart, fit=replace(chart.fit, matrix=matrix), confidence=confidence * chart.confidence)


def _hue_apart(one: White, two: White) -> float:
    apart = np.log(np.maximum(one.linear_rgb, 1e-4)) - np.log(np.maximum(two.linear_rgb, 1e-4))
    return float(np.abs(apart - apart.mean()).max())


def merge_shades(readings: Sequence[Shade]) -> tuple[Shade, float, Notice | None]:
    """Return one shade from several readings of the same yarn, how far they lie apart, and a warning if too far.

    Parameters
    ----------
    readings : sequence of Shade
        The main shade of each photo. One set by eye wins over all others.

    Notes
    -----
    Within `DISAGREE` the mean in Oklab is taken, weighed by 1 / uncertainty squared. Beyond it the surest is
    kept, marked "photos-disagree", with an uncertainty of at least half of the disagreement.

    Raises
    ------
    PhotoError
        If no shade is given.
    """
    if not readings:
        raise PhotoError("no shade was given; read at least one photo of the yarn.")
    apart = max((float(delta_e_2000(a.lab, b.lab)) for a in readings for b in readings), default=0.0)
    by_eye = [s for s in readings if s.by_eye]
    if by_eye:
        return by_eye[-1], apart, None
    doubt = np.array([max(UNKNOWN if s.uncertainty is None else s.uncertainty, 0.5) for s in readings])
    surest = readings[int(np.argmin(doubt))]
    reasons = tuple(dict.fromkeys(code for s in readings for code in s.reasons))
    if apart > DISAGREE:
        flagged = (*surest.reasons, "photos-disagree") if "photos-disagree" not in surest.reasons else surest.reasons
        kept = replace(surest, uncertainty=round(max(float(doubt.min()), apart / 2), 1), reasons=flagged)
        return (
            kept,
            apart,
            note(
                "the photos of this yarn differ by {de} CIEDE2000; the surest is kept; take them again in one light",
                "warning",
                de=round(apart, 1),
            ),
        )
    oklab = linear_to_oklab(lab_to_linear([s.lab for s in readings]))
    lab = linear_to_lab(oklab_to_linear(np.average(oklab, axis=0, weights=1 / doubt**2)))
    merged = replace(
        surest,
        lab=(float(np.clip(lab[0], 0, 100)), float(lab[1]), float(lab[2])),
        reasons=reasons,
        # Errors of one light go together, so the mean is at best as sure as the surest.
        uncertainty=round(float(doubt.min()), 1),
    )
    return merged, apart, None

"""Several photos: one light for those taken together, one yarn read from more than one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from blendplan.colour import delta_e_2000, lab_to_linear, linear_to_lab, linear_to_oklab, oklab_to_linear
from blendplan.errors import PhotoError
from blendplan.photo.loading import Photo
from blendplan.photo.reading import PhotoReading, read_photo
from blendplan.photo.white import White
from blendplan.wording import Notice, note
from blendplan.yarn import Shade

__all__ = ["DISAGREE", "merge_shades", "share_light"]

# Two readings of one yarn further apart than this (CIEDE2000) are flagged and not averaged; assumed, about
# twice what one good reading is off.
DISAGREE = 6.0
# Photos whose whites differ by more than this (natural log of light, hue only) were not taken in one light.
_OTHER_LIGHT = 0.12


def share_light(photos: Sequence[Photo], readings: Sequence[PhotoReading]) -> tuple[tuple[PhotoReading, ...], Notice]:
    """Return the readings of photos taken together, all in the light of the surest white.

    Parameters
    ----------
    photos : sequence of Photo
        Taken one after the other, same lamp, same settings.
    readings : sequence of PhotoReading
        One for each photo, from `read_photo`.

    Returns
    -------
    readings : tuple of PhotoReading
        Those that had a white of like hue take the mean; those that had none take that of the surest.
        Boxes stay; a reading whose own white is another light stays as it was.
    notice : Notice

    Raises
    ------
    PhotoError
        If the counts differ, or none of the photos shows a white.
    """
    if len(photos) != len(readings) or not photos:
        raise PhotoError(
            "{photos} photos and {readings} readings were given; one reading for each photo is needed.",
            photos=len(photos),
            readings=len(readings),
        )
    whites = [r.white for r in readings if r.white is not None]
    if not whites:
        raise PhotoError("none of these photos shows a white; take one of them with white paper in it.")
    surest = max(whites, key=lambda w: w.confidence)
    shared: White = replace(surest, kind="shared", field=surest.field[:1], mixed=False)
    out = []
    taken = 0
    for photo, reading in zip(photos, readings, strict=True):
        own = reading.white
        if own is not None and (own is surest or _hue_apart(own, surest) > _OTHER_LIGHT or own.confidence > 0.8):
            out.append(reading)
            continue
        taken += 1
        # The middle of the sharing white stands for its whole photo: a field of light belongs to one view only.
        middle = tuple(float(v) for v in np.log(shared.linear_rgb))
        flat = replace(shared, field=((middle[0], middle[1], middle[2]),))
        out.append(read_photo(photo, boxes=[y.box for y in reading.yarns] or None, white=flat))
    return tuple(out), note("{n} of {m} photos took their white from another photo", "assumed", n=taken, m=len(photos))


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
    doubt = np.array([max(s.uncertainty if s.uncertainty is not None else 15.0, 0.5) for s in readings])
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

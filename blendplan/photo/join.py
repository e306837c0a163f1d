"""Several photos: one light for those taken together, one yarn read from more than one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from blendplan.colour import delta_e_2000, lab_to_linear, linear_to_lab, linear_to_oklab, oklab_to_linear
from blendplan.errors import PhotoError
from blendplan.photo.light import Reference, fit_light
from blendplan.photo.loading import Photo
from blendplan.photo.reading import Opened, PhotoReading, opened, read_photo, shown
from blendplan.photo.references import UNKNOWN, WOUND, of_yarn
from blendplan.wording import Notice, note, rounded
from blendplan.yarn import Shade, Yarn, even_shares

# Photos whose lights differ by more than this in hue (natural log) were not taken in one light; assumed.
_OTHER_LIGHT = 0.12
# A photo keeps its own white above this confidence; assumed.
_SURE = 0.8


def share_light(
    photos: Sequence[Photo | Opened],
    readings: Sequence[PhotoReading],
    same: Sequence[Sequence[tuple[int, int]]] = (),
) -> tuple[tuple[PhotoReading, ...], Notice]:
    """Return the readings of photos taken together, all in the light of the surest references, and what was done.

    `photos`: taken one after the other under the same lamp; `readings`: one for each, from `read_photo`; `same`: yarns
    that several of the photos show, each by where: positions from 0 of the reading and of its yarn.

    Those that had no white, card or other reference of their own take the light of the one that has the most, and what
    a yarn that is in both tells of it. A reading whose own white is doubted takes it too, unless that white is of
    another light. The yarns' places stay.

    Cameras choose an exposure for each photo. Where both files say theirs, the light is scaled by the ratio; where not,
    hue is shared all the same and the shades are less sure, unless a yarn in both tells the level.
    """
    if len(photos) != len(readings) or not photos:
        raise PhotoError(
            "{photos} photos and {readings} readings were given; one reading for each photo is needed.",
            photos=len(photos),
            readings=len(readings),
        )
    for of_one in same:
        _check_same(readings, of_one)
    lender = max(range(len(photos)), key=lambda i: _surety(readings[i]))
    if _surety(readings[lender]) < 0:
        raise PhotoError("none of these photos shows a white or a colour card; take one with white paper in it.")
    out: list[PhotoReading] = []
    taken = unknown = 0
    for position, (photo, reading) in enumerate(zip(photos, readings, strict=True)):
        if position == lender or not _borrows(reading, readings[lender]):
            out.append(reading)
            continue
        seen = photo if isinstance(photo, Opened) else opened(photo)
        one, two = seen.photo.exposure, _photo(photos[lender]).exposure
        more = one / two if one is not None and two is not None else None
        light = readings[lender].light.for_exposure(1.0 if more is None else more, known=more is not None)
        both = [
            (dict(of_one)[lender], dict(of_one)[position])
            for of_one in same
            if {lender, position} <= dict(of_one).keys()
        ]
        light = fit_light(_seen_in_both(seen, reading, readings[lender], both), like=light)
        taken, unknown = taken + 1, unknown + (more is None and not both)
        out.append(read_photo(seen, [yarn.place for yarn in reading.yarns] or None, light=light))
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


def _photo(photo: Photo | Opened) -> Photo:
    return photo.photo if isinstance(photo, Opened) else photo


def _check_same(readings: Sequence[PhotoReading], of_one: Sequence[tuple[int, int]]) -> None:
    """Refuse a yarn said to be in both of two photos that one of them does not show."""
    for photo, yarn in of_one:
        if not 0 <= photo < len(readings):
            raise PhotoError(
                "photo {given} was named; there are {count}, counted from 1 in the order given.",
                given=photo + 1,
                count=len(readings),
            )
        if not 0 <= yarn < len(readings[photo].yarns):
            raise PhotoError(
                "yarn {given} of {name} was named; it shows {count}, counted from 1 in the order read.",
                given=yarn + 1,
                name=readings[photo].name,
                count=len(readings[photo].yarns),
            )


def _surety(reading: PhotoReading) -> float:
    """Return how good the references of a photo are: their number, or how sure its white is; below 0 without any."""
    own = [one for one in reading.light.seen if one.kind != "white"]
    if reading.light.lent or not reading.light.seen:
        return -1.0
    return len(own) + (0.0 if reading.white is None else reading.white.confidence)


def _borrows(reading: PhotoReading, lender: PhotoReading) -> bool:
    """Whether a photo takes the light of another: it has no sure light of its own, and no other light."""
    if _surety(reading) < 0:
        return True
    if _surety(reading) > _SURE or reading.white is None:
        return False
    apart = np.log(np.maximum(reading.light.white, 1e-4)) - np.log(np.maximum(lender.light.white, 1e-4))
    return float(np.abs(apart - apart.mean()).max()) <= _OTHER_LIGHT


def _seen_in_both(
    seen: Opened, reading: PhotoReading, lender: PhotoReading, both: Sequence[tuple[int, int]]
) -> list[Reference]:
    """Return the yarns that this photo and the lender show, as references; those of several shades tell nothing."""
    regions = [region for _, region in shown(seen, [yarn.place for yarn in reading.yarns])] if both else []
    return [
        of_yarn(seen.photo, seen.view, regions[ours], lender.yarns[theirs].shades[0])
        for theirs, ours in both
        if len(lender.yarns[theirs].shades) == len(reading.yarns[ours].shades) == 1
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class SameYarn:
    """What several readings of one yarn come to."""

    shades: tuple[Shade, ...]  # shares add up to 1
    # CIEDE2000 between the readings: the largest of any two shades that were matched, or of the readings' mean colours
    # where the numbers of shades differ.
    apart: float
    surest: int  # position of the reading that the shades come from or that counts most; its crop stands for the yarn
    # Averaged; or the surest kept, because the readings disagree or have unlike
    # numbers of shades; or what was set by eye kept.
    outcome: Literal["mean", "apart", "unlike", "by-eye"]
    notice: Notice  # what was done


def merge_yarn_shades(name: str, readings: Sequence[Sequence[Shade]]) -> SameYarn:
    """Return the shades of a yarn from several readings of it.

    `name`: the yarn's, for the notice; `readings`: all shades of each reading, at least two readings.

    A reading with a shade set by eye is kept whole, the last of them where there are several. Readings of as many
    shades are matched so that the sum of CIEDE2000 to the surest reading is least (the assignment problem), and the
    mean of each set in Oklab is taken, weighed by 1 / bound squared; shares are averaged. Two readings disagree where
    they lie further apart than their bounds and how yarn may be wound explain; then the surest reading is kept whole
    and its shades in such sets are doubted by half of the gap. Readings of unlike numbers are not matched: which shade
    of one is which two of another cannot be told.
    """
    if len(readings) < 2 or not all(readings):
        raise PhotoError(
            "{given} readings of {name} were given; joining needs two or more, each with at least one shade.",
            given=sum(1 for r in readings if r),
            name=name,
        )
    groups = [tuple(r) for r in readings]
    eye = [i for i, shades in enumerate(groups) if any(s.kind == "eye" for s in shades)]
    surest = eye[-1] if eye else min(range(len(groups)), key=lambda i: max(_bound(s) for s in groups[i]))
    alike = len({len(shades) for shades in groups}) == 1
    if alike:
        sets = list(zip(*(_matched(groups[surest], shades) for shades in groups), strict=True))
    else:
        means = [Yarn(name=name, shades=even_shares(shades)).lab for shades in groups]
        sets = [tuple(replace(g[0], lab=m, within=max(map(_bound, g))) for m, g in zip(means, groups, strict=True))]
    gaps = [_gap(of_one) for of_one in sets]
    apart = max(gap for gap, _ in gaps)
    kept = groups[surest]

    def made(
        shades: tuple[Shade, ...], outcome: Literal["mean", "apart", "unlike", "by-eye"], told: Notice
    ) -> SameYarn:
        return SameYarn(shades=shades, apart=apart, surest=surest, outcome=outcome, notice=told)

    if eye:
        told = note("{name} was set by eye, and that is kept; the photos do not change it.", name=name)
        return made(kept, "by-eye", told)
    if not alike:
        told = note(
            "{name} was read with different numbers of shades ({numbers}), which cannot be averaged; the surest "
            "reading is kept, with {kept}.",
            "warning",
            name=name,
            numbers=", ".join(str(len(shades)) for shades in groups),
            kept=len(kept),
        )
        return made(tuple(_doubted(s, *gaps[0]) for s in kept), "unlike", told)
    if any(disagree for _, disagree in gaps):
        told = note(
            "the readings of {name} differ by {de} CIEDE2000, too much to be averaged; the surest is kept; take the "
            "photos again in one light.",
            "warning",
            name=name,
            de=rounded(apart, 1),
        )
        return made(tuple(_doubted(s, *gap) for s, gap in zip(kept, gaps, strict=True)), "apart", told)
    told = note(
        "{n} readings of {name}, {de} CIEDE2000 apart, were averaged; the surer count more.",
        n=len(groups),
        name=name,
        de=rounded(apart, 1),
    )
    return made(even_shares(tuple(_mean(s, of_one) for s, of_one in zip(kept, sets, strict=True))), "mean", told)


def _bound(shade: Shade) -> float:
    return max(UNKNOWN if shade.within is None else shade.within, 0.5)


def _gap(shades: Sequence[Shade]) -> tuple[float, bool]:
    """Return how far readings of one shade lie apart at most, and whether their bounds leave that unexplained."""
    pairs = [(a, b) for i, a in enumerate(shades) for b in shades[i + 1 :]]
    gaps = [float(delta_e_2000(a.lab, b.lab)) for a, b in pairs]
    beyond = any(g > np.hypot(np.hypot(_bound(a), _bound(b)), WOUND) for g, (a, b) in zip(gaps, pairs, strict=True))
    return max(gaps), beyond


def _matched(own: Sequence[Shade], other: Sequence[Shade]) -> tuple[Shade, ...]:
    """Return the other shades in the order of the own ones that they match best."""
    from scipy.optimize import linear_sum_assignment

    apart = [[float(delta_e_2000(a.lab, b.lab)) for b in other] for a in own]
    return tuple(other[i] for i in linear_sum_assignment(apart)[1])


def _mean(surest: Shade, readings: Sequence[Shade]) -> Shade:
    weights = np.array([1 / _bound(s) ** 2 for s in readings])
    oklab = linear_to_oklab(lab_to_linear([s.lab for s in readings]))
    lab = linear_to_lab(oklab_to_linear(np.average(oklab, axis=0, weights=weights)))
    return replace(
        surest,
        lab=(float(np.clip(lab[0], 0, 100)), float(lab[1]), float(lab[2])),
        share=float(np.mean([s.share for s in readings])),
        reasons=tuple(dict.fromkeys(code for s in readings for code in s.reasons)),
        # Errors of one light go together, so the mean is at best as sure as the surest.
        within=round(min(map(_bound, readings)), 1),
    )


def _doubted(shade: Shade, apart: float, disagree: bool) -> Shade:
    """Return a shade marked as one on which the photos disagree, if they do."""
    if not disagree:
        return shade
    reasons = tuple(dict.fromkeys((*shade.reasons, "photos-disagree")))
    return replace(shade, within=round(max(_bound(shade), apart / 2), 1), reasons=reasons)

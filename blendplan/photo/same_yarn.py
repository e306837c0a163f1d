"""One yarn read more than once: its shades matched, averaged where they agree, and what was done said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from blendplan.colour import delta_e_2000
from blendplan.errors import PhotoError
from blendplan.photo.adjust import even_shares
from blendplan.photo.several import DISAGREE, UNKNOWN, merge_shades
from blendplan.wording import Notice, note, rounded
from blendplan.yarn import Shade, Yarn

__all__ = ["SameYarn", "merge_yarn_shades"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SameYarn:
    """What several readings of one yarn come to.

    Attributes
    ----------
    shades : tuple of Shade
        Shares add up to 1.
    apart : float
        CIEDE2000 between the readings: the largest of any two shades that were matched, or of the readings' mean
        colours where the numbers of shades differ.
    surest : int
        Position of the reading that the shades come from or that counts most; its crop stands for the yarn.
    outcome : {"mean", "apart", "unlike", "by-eye"}
        Averaged; or the surest kept, because the readings disagree or have unlike numbers of shades; or what was
        set by eye kept.
    notice : Notice
        What was done.
    """

    shades: tuple[Shade, ...]
    apart: float
    surest: int
    outcome: Literal["mean", "apart", "unlike", "by-eye"]
    notice: Notice


def merge_yarn_shades(name: str, readings: Sequence[Sequence[Shade]]) -> SameYarn:
    """Return the shades of a yarn from several readings of it.

    Parameters
    ----------
    name : str
        The yarn's, for the notice.
    readings : sequence of sequence of Shade
        All shades of each reading, at least two readings.

    Returns
    -------
    SameYarn

    Raises
    ------
    PhotoError
        If there are fewer than two readings, or one of them is empty.

    Notes
    -----
    A reading with a shade set by eye is kept whole, the last of them where there are several.
    Readings of as many shades are matched so that the sum of CIEDE2000 to the surest reading is least (the
    assignment problem), and each matched set goes through `merge_shades`; shares are averaged.
    Where any set disagrees, the surest reading is kept whole and its shades in such sets are doubted.
    Readings of unlike numbers are not matched: which shade of one is which two of another cannot be told, so
    the surest is kept, and doubted where its mean colour disagrees with another's.
    """
    if len(readings) < 2 or not all(readings):
        raise PhotoError(
            "{given} readings of {name} were given; joining needs two or more, each with at least one shade.",
            given=sum(1 for r in readings if r),
            name=name,
        )
    groups = [tuple(r) for r in readings]
    eye = [i for i, shades in enumerate(groups) if any(s.by_eye for s in shades)]
    surest = eye[-1] if eye else min(range(len(groups)), key=lambda i: _doubt(groups[i]))
    counts = {len(shades) for shades in groups}
    if len(counts) == 1:
        matched = [_matched(groups[surest], shades) for shades in groups]
        made = [merge_shades(of_one) for of_one in zip(*matched, strict=True)]
        apart = max(gap for _, gap, _ in made)
    else:
        means = [Yarn(name=name, shades=even_shares(shades)).lab for shades in groups]
        apart = max(float(delta_e_2000(a, b)) for a in means for b in means)
    de = rounded(apart, 1)
    if eye:
        told = note("{name} was set by eye, and that is kept; the photos do not change it.", name=name)
        return SameYarn(shades=groups[surest], apart=apart, surest=surest, outcome="by-eye", notice=told)
    if len(counts) > 1:
        kept = tuple(_doubted(s, apart) for s in groups[surest])
        told = note(
            "{name} was read with different numbers of shades ({numbers}), which cannot be averaged; the surest "
            "reading is kept, with {kept}.",
            "warning",
            name=name,
            numbers=", ".join(str(len(shades)) for shades in groups),
            kept=len(kept),
        )
        return SameYarn(shades=kept, apart=apart, surest=surest, outcome="unlike", notice=told)
    if apart > DISAGREE:
        shades = tuple(_doubted(s, gap) for s, (_, gap, _) in zip(groups[surest], made, strict=True))
        told = note(
            "the readings of {name} differ by {de} CIEDE2000, too much to be averaged; the surest is kept; take the "
            "photos again in one light.",
            "warning",
            name=name,
            de=de,
        )
        return SameYarn(shades=shades, apart=apart, surest=surest, outcome="apart", notice=told)
    shares = np.mean([[s.share for s in shades] for shades in matched], axis=0)
    shades = even_shares(tuple(replace(m, share=float(part)) for (m, _, _), part in zip(made, shares, strict=True)))
    told = note(
        "{n} readings of {name}, {de} CIEDE2000 apart, were averaged; the surer count more.",
        name=name,
        n=len(groups),
        de=de,
    )
    return SameYarn(shades=shades, apart=apart, surest=surest, outcome="mean", notice=told)


def _doubt(shades: Sequence[Shade]) -> float:
    """Return how unsure a reading is: its least sure shade."""
    return max(UNKNOWN if s.uncertainty is None else s.uncertainty for s in shades)


def _matched(own: Sequence[Shade], other: Sequence[Shade]) -> tuple[Shade, ...]:
    """Return the other shades in the order of the own ones that they match best."""
    from scipy.optimize import linear_sum_assignment

    apart = [[float(delta_e_2000(a.lab, b.lab)) for b in other] for a in own]
    return tuple(other[i] for i in linear_sum_assignment(apart)[1])


def _doubted(shade: Shade, apart: float) -> Shade:
    """Return a shade marked as one on which the photos disagree, if they do."""
    if apart <= DISAGREE:
        return shade
    known = None if shade.uncertainty is None else round(max(shade.uncertainty, apart / 2), 1)
    return replace(shade, uncertainty=known, reasons=tuple(dict.fromkeys((*shade.reasons, "photos-disagree"))))

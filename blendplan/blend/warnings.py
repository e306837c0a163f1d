"""Warnings about a sequence of stripes that a maker would rather have before the first row.

Four are given: a blend that greys out, a stripe that stands out of its sequence, neighbours that cannot be told
apart, and neighbours that only a person with a colour-vision deficiency cannot tell apart.
Each comes with at least one thing to do about it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from blendplan.blend.deficiency import DEFICIENCIES, named, seen_with
from blendplan.blend.pair import blend_labs, visible_shares
from blendplan.blend.suggest import Bench
from blendplan.colour import Floats, delta_e_2000
from blendplan.errors import StripeError
from blendplan.wording import Notice, note, rounded
from blendplan.yarn import Yarn

__all__ = ["BlendWarning", "Limits", "StripeLike", "check_stripes"]


class StripeLike(Protocol):
    """Anything with strands by name and rows; `blendplan.stripes.model.Stripe` is one."""

    @property
    def strands(self) -> tuple[str, ...]:
        """Names of yarns."""

    @property
    def rows(self) -> int:
        """Rows worked with them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """When to warn; all *assumed*, no published figures were found.

    Attributes
    ----------
    grey_below : float
        A blend greys out when its chroma is under this part of its duller strand's.
    coloured_from : float
        CIELAB chroma from which a strand counts as coloured at all.
    stands_out : float
        A stripe stands out when both its steps are this many times the median of the other steps.
    big_step : float
        CIEDE2000 under which a step is never called long.
    alike : float
        CIEDE2000 under which two stripes cannot be told apart in a fabric.
    told_apart : float
        CIEDE2000 from which two stripes are easily told apart.
    """

    grey_below: float = 0.5
    coloured_from: float = 15.0
    stands_out: float = 2.0
    big_step: float = 10.0
    alike: float = 2.0
    told_apart: float = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendWarning:
    """One warning and what can be done.

    Attributes
    ----------
    code : {"greys-out", "stands-out", "alike", "merges"}
    stripes : tuple of int
        Places in the sequence, counted from 0.
    problem : Notice
    suggestions : tuple of Notice
        At least one.
    """

    code: str
    stripes: tuple[int, ...]
    problem: Notice
    suggestions: tuple[Notice, ...]


def _label(stripe: StripeLike) -> str:
    return " + ".join(dict.fromkeys(stripe.strands))


def _is_blend(stripe: StripeLike) -> bool:
    return len(set(stripe.strands)) > 1


def _stripe_labs(stripes: Sequence[StripeLike], yarns: Mapping[str, Yarn], member: str | float) -> Floats:
    for place, stripe in enumerate(stripes, start=1):
        for name in stripe.strands:
            if name not in yarns:
                raise StripeError(
                    "stripe {place} uses {name}, which is not in the palette; add that yarn or choose one of {known}.",
                    place=place,
                    name=repr(name),
                    known=", ".join(list(yarns)[:12]),
                )
    rows = [[yarns[name] for name in stripe.strands] for stripe in stripes]
    return np.array([blend_labs([y.lab for y in row], visible_shares(row), member=member) for row in rows])


def check_stripes(
    stripes: Sequence[StripeLike],
    yarns_by_name: Mapping[str, Yarn],
    member: str | float = "perceptual",
    *,
    limits: Limits | None = None,
) -> tuple[BlendWarning, ...]:
    """Return the warnings for a sequence of stripes, in the order of the stripes.

    Parameters
    ----------
    stripes : sequence of Stripe
    yarns_by_name : mapping from name to Yarn
        The palette; suggestions are taken from all of it.
    member : str or float
        Member of the blend family.
    limits : Limits, optional

    Raises
    ------
    StripeError
        If a stripe names a yarn that is not in the palette.
    """
    limits = limits or Limits()
    if not stripes:
        return ()
    labs = _stripe_labs(stripes, yarns_by_name, member)
    bench = Bench.of(yarns_by_name, member, {name for stripe in stripes for name in stripe.strands})
    found = [
        *_greys_out(stripes, labs, bench, limits),
        *_stands_out(stripes, labs, bench, limits),
        *_alike(stripes, labs, bench, limits),
        *_merges(stripes, labs, bench, limits),
    ]
    return tuple(sorted(found, key=lambda w: w.stripes))


def _greys_out(stripes: Sequence[StripeLike], labs: Floats, bench: Bench, limits: Limits) -> list[BlendWarning]:
    out, seen = [], set()
    for i, stripe in enumerate(stripes):
        key = frozenset(stripe.strands)
        if not _is_blend(stripe) or key in seen:
            continue
        chroma = float(np.hypot(labs[i, 1], labs[i, 2]))
        least = min(bench.chroma(name) for name in key)
        if least < limits.coloured_from or chroma >= limits.grey_below * least:
            continue
        seen.add(key)
        problem = note(
            "stripe {place}, {strands}: the blend greys out; its chroma is {chroma}, its strands have {least} or more.",
            "warning",
            place=i + 1,
            strands=_label(stripe),
            chroma=f"{chroma:.0f}",
            least=f"{least:.0f}",
        )
        tips = [
            bench.livelier_partner(stripe.strands, chroma / least),
            bench.clear_carrier(stripe.strands, limits.grey_below),
        ]
        last = note(
            "leave this blend out and set the two colours side by side as solid stripes, or accept it as a quiet row."
        )
        out.append(_warning("greys-out", (i,), problem, tips, last))
    return out


def _stands_out(stripes: Sequence[StripeLike], labs: Floats, bench: Bench, limits: Limits) -> list[BlendWarning]:
    if len(stripes) < 5:
        return []
    steps = delta_e_2000(labs[:-1], labs[1:])
    out = []
    for i in range(1, len(stripes) - 1):
        usual = float(np.median(np.delete(steps, [i - 1, i])))
        least, most = sorted((float(steps[i - 1]), float(steps[i])))
        if least < max(limits.stands_out * usual, limits.big_step):
            continue
        problem = note(
            "stripe {place}, {strands}: it stands out; its steps to both neighbours are {least} and {most}, the usual "
            "step here is {usual} (CIEDE2000).",
            "warning",
            place=i + 1,
            strands=_label(stripes[i]),
            least=f"{least:.0f}",
            most=f"{most:.0f}",
            usual=f"{usual:.0f}",
        )
        tips = [bench.calmer(stripes[i].strands, labs[i - 1], labs[i + 1], most)]
        if _is_blend(stripes[i]):
            tips.append(bench.smooth_carrier(stripes[i].strands, most))
        last = note(
            "give each neighbour an extra row and this stripe a row less, so that it reads as an accent you meant."
        )
        out.append(_warning("stands-out", (i,), problem, tips, last))
    return out


def _alike(stripes: Sequence[StripeLike], labs: Floats, bench: Bench, limits: Limits) -> list[BlendWarning]:
    """Warn of neighbours, and of solid stripes of two yarns anywhere, that look the same."""
    pairs = [(i, i + 1) for i in range(len(stripes) - 1)]
    solids = list({s.strands[0]: i for i, s in reversed(list(enumerate(stripes))) if not _is_blend(s)}.values())
    pairs += [(i, j) for i in sorted(solids) for j in sorted(solids) if j > i + 2]
    out = []
    for i, j in pairs:
        if sorted(set(stripes[i].strands)) == sorted(set(stripes[j].strands)):
            continue
        difference = float(delta_e_2000(labs[i], labs[j]))
        if difference >= limits.alike:
            continue
        problem = note(
            "stripes {place} and {next}, {strands} and {others}: they cannot be told apart; CIEDE2000 is {difference}.",
            "warning",
            place=i + 1,
            next=j + 1,
            strands=_label(stripes[i]),
            others=_label(stripes[j]),
            difference=rounded(difference, 1),
        )
        tips = [bench.clearer(stripes[j].strands, labs[i], limits.told_apart)]
        if j == i + 1:
            last = note("count the two as one stripe, or put an extra row of a third colour between them.")
        else:
            last = note("count the two yarns as one colour, and label the skeins so that they are not mixed up.")
        out.append(_warning("alike", (i, j), problem, tips, last))
    return out


def _merges(stripes: Sequence[StripeLike], labs: Floats, bench: Bench, limits: Limits) -> list[BlendWarning]:
    plain = delta_e_2000(labs[:-1], labs[1:])
    seen = {code: seen_with(labs, code) for code in DEFICIENCIES}
    changed = {code: delta_e_2000(lab[:-1], lab[1:]) for code, lab in seen.items()}
    out = []
    for i in range(len(stripes) - 1):
        codes = [c for c in DEFICIENCIES if changed[c][i] < limits.alike]
        if not codes or plain[i] < limits.told_apart:
            continue
        problem = note(
            "stripes {place} and {next}, {strands} and {others}: they merge for a person who is {deficiencies}.",
            "warning",
            place=i + 1,
            next=i + 2,
            strands=_label(stripes[i]),
            others=_label(stripes[i + 1]),
            deficiencies=tuple(named(c) for c in codes),
        )
        tips = [bench.clearer(stripes[i + 1].strands, labs[i], limits.told_apart, codes)]
        last = note("make one of the two clearly lighter, or put an extra row of a light or dark colour between them.")
        out.append(_warning("merges", (i, i + 1), problem, tips, last))
    return out


def _warning(
    code: str, places: tuple[int, ...], problem: Notice, tips: Sequence[Notice | None], last: Notice
) -> BlendWarning:
    suggestions = tuple(t for t in tips if t is not None)
    return BlendWarning(code=code, stripes=places, problem=problem, suggestions=(*suggestions, last))

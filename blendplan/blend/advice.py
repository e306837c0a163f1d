"""What a palette could do: the blends nearest to a wanted colour, and warnings about a sequence of stripes.

Five warnings are given before the first row: a blend that greys out, a stripe that stands out of its sequence,
neighbours that cannot be told apart, neighbours that the shades' doubt may bring together, and neighbours that only a
person with a colour-vision deficiency cannot tell apart.
Each comes with at least one thing to do about it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement, pairwise
from math import comb
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from blendplan.blend.pair import (
    Blend,
    blend_labs,
    bound_of,
    draw_shades,
    mix_yarns,
    mixed_lab,
    pair_labs,
    photo_of,
    strand_mm,
    visible_shares,
    widths_of,
)
from blendplan.blend.strands import DEFICIENCIES, STRAND_MM, Viewing, named, seen_with
from blendplan.budgets import MAX_COMBINATIONS
from blendplan.colour import Floats, delta_e_2000
from blendplan.errors import ColourError, StripeError
from blendplan.units import whole
from blendplan.wording import Notice, note
from blendplan.yarn import Yarn, check_yarns

# Blends that are looked at more closely, for each one wanted, where some are only nearly what is looked for.
MORE_OF_SEVERAL = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """A blend of yarns on hand, and how far it is from a wanted colour."""

    # Names of yarns, one per strand; the same name twice is a solid, or a heavier share among three.
    strands: tuple[str, ...]
    blend: Blend  # its shares follow the strands' visible widths
    difference: float  # CIEDE2000 from the wanted colour


def _best(
    wanted: Floats, yarns: Sequence[Yarn], strands: int, viewing: Viewing | None, keep: int
) -> list[tuple[float, tuple[int, ...]]]:
    """Return the nearest combinations of a number of strands as (difference, yarns)."""
    lab = np.array([y.lab for y in yarns])
    widths = np.array([strand_mm(y) or np.nan for y in yarns])
    sets = np.array(list(combinations_with_replacement(range(len(yarns)), strands)))
    shares = widths[sets]
    width_mm = np.where(np.isnan(shares), STRAND_MM, shares).mean(axis=1)
    shares[np.isnan(shares).any(axis=1)] = 1.0
    differences = delta_e_2000(blend_labs(lab[sets], shares, viewing=viewing, width_mm=width_mm), wanted)
    best = np.argsort(differences, kind="stable")[:keep]
    return [(float(differences[i]), tuple(sets[i].tolist())) for i in best]


def nearest_blends(
    wanted_lab: Sequence[float],
    yarns: Sequence[Yarn],
    *,
    viewing: Viewing | None = None,
    count: int = 10,
    strands: int = 2,
) -> tuple[Match, ...]:
    """Return the blends nearest to a wanted colour, best first, solids included.

    `wanted_lab`: CIELAB (D65) of a cushion, a patch, a curtain; `viewing`: from the sofa (2 m) by default; `count`: how
    many to return, 1 to 100; `strands`: strands held together, 2 to 4; from three on, unequal shares come by holding
    two strands of one yarn with one of another; yarns of unequal thickness give unequal shares at two already.

    Examples
    --------
    >>> from blendplan.yarn import Shade
    >>> pair = [Yarn(name=n, shades=(Shade(lab=(v, 0, 0)),)) for n, v in (("Soot", 0), ("Chalk", 100))]
    >>> nearest_blends((42, 0, 0), pair, count=1)[0].strands
    ('Soot', 'Chalk')
    """
    wanted = np.asarray(wanted_lab, dtype=np.float64)
    if wanted.shape != (3,) or not np.isfinite(wanted).all():
        raise ColourError(
            "the wanted colour needs three finite Lab numbers, {given} was given.", given=repr(wanted_lab)
        )
    yarns = check_yarns(tuple(yarns))
    count = whole(count, "number of blends to list", 1, 100)
    strands = whole(strands, "strands held together", 2, 4)
    tries = comb(len(yarns) + strands - 1, strands)
    if tries > MAX_COMBINATIONS:
        raise ColourError(
            "{yarns} yarns give {given} blends of {strands} strands; allowed is {most}; take fewer yarns or strands.",
            yarns=len(yarns),
            given=tries,
            strands=strands,
            most=MAX_COMBINATIONS,
        )
    # Yarns of several shades are looked for by their mean, pairs whose shares a swatch told by their widths, and both
    # are held against the wanted colour as they are.
    several = any(len(y.shades) > 1 for y in yarns) or (viewing is not None and bool(viewing.shown))
    found = []
    for difference, chosen in _best(wanted, yarns, strands, viewing, MORE_OF_SEVERAL * count if several else count):
        blend = mix_yarns([yarns[i] for i in chosen], viewing=viewing)
        apart = float(delta_e_2000(blend.lab, wanted)) if several else difference
        found.append(Match(strands=tuple(yarns[i].name for i in chosen), blend=blend, difference=apart))
    return tuple(sorted(found, key=lambda match: match.difference)[:count])


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """The yarns at hand with all their pairs blended once."""

    names: tuple[str, ...]
    labs: Floats  # (n, 3)
    pairs: Floats  # (n, n, 3), CIELAB of each pair, solids on the diagonal
    unused: NDArray[np.bool_]  # (n,), true for yarns in no stripe yet; they are suggested first

    @classmethod
    def of(cls, yarns: Mapping[str, Yarn], viewing: Viewing | None, used: Collection[str] = ()) -> Bench:
        """Return the bench of a palette, with the names that stripes already use."""
        labs = np.array([y.lab for y in yarns.values()])
        unused = np.array([name not in used for name in yarns])
        return cls(tuple(yarns), labs, pair_labs(tuple(yarns.values()), viewing), unused)

    def _at(self, names: Sequence[str]) -> list[int]:
        return [self.names.index(n) for n in dict.fromkeys(names)]

    def _pick(self, cost: Floats, yarns: Sequence[int]) -> int | None:
        """Return the place of the least finite cost, unused yarns first; none if there is none."""
        first = np.where(self.unused[list(yarns)], cost, np.inf)
        chosen = first if np.isfinite(first).any() else cost
        best = int(np.argmin(chosen))
        return best if np.isfinite(chosen[best]) else None

    def chroma(self, name: str) -> float:
        """CIELAB chroma of one yarn."""
        lab = self.labs[self.names.index(name)]
        return float(np.hypot(lab[1], lab[2]))

    def _retained(self) -> Floats:
        """Return the chroma of each pair over that of its duller strand, shape (n, n)."""
        single = np.hypot(self.labs[:, 1], self.labs[:, 2])
        both = np.hypot(self.pairs[..., 1], self.pairs[..., 2])
        return both / np.maximum(np.minimum(single[:, None], single[None, :]), 1.0)

    def livelier_partner(self, strands: Sequence[str], now: float) -> Notice | None:
        """Return a partner that greys the blend less, nearest in colour to the one it replaces."""
        kept = self._retained()
        best: tuple[float, int, int] | None = None
        for keep in self._at(strands):
            lost = [i for i in self._at(strands) if i != keep]
            for new in range(len(self.names)):
                if new in (keep, *lost) or kept[keep, new] < max(0.75, now):
                    continue
                if np.hypot(*self.labs[new, 1:]) < 0.5 * min(np.hypot(*self.labs[i, 1:]) for i in lost):
                    continue
                far = float(delta_e_2000(self.labs[new], self.labs[lost]).min())
                best = min(best, (far, keep, new)) if best else (far, keep, new)
        if best is None:
            return None
        _, keep, new = best
        return note(
            "hold {keep} with {new} instead of {old}: that blend keeps its colour.",
            keep=self.names[keep],
            new=self.names[new],
            old=self._others(strands, keep),
        )

    def _through(self, a: int, b: int) -> Floats:
        """Return the longest step of A, AC, C, CB, B for each carrier C, shape (n,)."""
        path = [
            np.broadcast_to(self.labs[a], self.labs.shape),
            self.pairs[a],
            self.labs,
            self.pairs[:, b],
            np.broadcast_to(self.labs[b], self.labs.shape),
        ]
        steps = np.max([delta_e_2000(path[k], path[k + 1]) for k in range(4)], axis=0)
        steps[[a, b]] = np.inf
        return steps

    def _carrier(self, a: int, carrier: int, b: int) -> Notice:
        return note(
            "put {carrier} between {first} and {last} as a carrier: {first}, {first} + {carrier}, {carrier}, "
            "{carrier} + {last}, {last}.",
            carrier=self.names[carrier],
            first=self.names[a],
            last=self.names[b],
        )

    def clear_carrier(self, strands: Sequence[str], grey_below: float) -> Notice | None:
        """Return a carrier whose blends with both colours do not grey out, with the shortest steps."""
        places = self._at(strands)
        if len(places) != 2:
            return None
        a, b = places
        kept = self._retained()
        cost = np.where(np.minimum(kept[a], kept[b]) >= grey_below, self._through(a, b), np.inf)
        best = self._pick(cost, range(len(self.names)))
        return None if best is None else self._carrier(a, best, b)

    def smooth_carrier(self, strands: Sequence[str], now: float) -> Notice | None:
        """Return a carrier that makes the longest step at least a quarter shorter."""
        places = self._at(strands)
        if len(places) != 2:
            return None
        a, b = places
        cost = self._through(a, b)
        best = self._pick(np.where(cost <= 0.75 * now, cost, np.inf), range(len(self.names)))
        return None if best is None else self._carrier(a, best, b)

    def _replacements(self, strands: Sequence[str]) -> list[tuple[int, int]]:
        """Return pairs that keep one strand of a blend, or other solids for a solid."""
        places = self._at(strands)
        others = [i for i in range(len(self.names)) if i not in places]
        if len(places) == 1:
            return [(i, i) for i in others]
        return [(keep, new) for keep in places for new in others]

    def _others(self, strands: Sequence[str], keep: int) -> str:
        """Return the strands that give way where one is kept."""
        return " + ".join(dict.fromkeys(name for name in strands if name != self.names[keep]))

    def _instead(self, strands: Sequence[str], keep: int, new: int) -> Notice:
        old = self._others(strands, keep)
        if keep == new:
            return note("use {new} instead of {old}.", new=self.names[new], old=old)
        return note("hold {keep} with {new} instead of {old}.", keep=self.names[keep], new=self.names[new], old=old)

    def calmer(self, strands: Sequence[str], before: Floats, after: Floats, now: float) -> Notice | None:
        """Return a replacement whose longer step to the neighbours is at least a quarter shorter."""
        tries = self._replacements(strands)
        if not tries:
            return None
        labs = np.array([self.pairs[t] for t in tries])
        cost = np.maximum(delta_e_2000(labs, before), delta_e_2000(labs, after))
        best = self._pick(np.where(cost <= 0.75 * now, cost, np.inf), [new for _, new in tries])
        return None if best is None else self._instead(strands, *tries[best])

    def clearer(
        self, strands: Sequence[str], neighbour: Floats, apart: float, deficiencies: Sequence[str] = ()
    ) -> Notice | None:
        """Return the replacement that just stands clear of a neighbour, also with the deficiencies named."""
        tries = self._replacements(strands)
        if not tries:
            return None
        labs = np.array([self.pairs[t] for t in tries])
        cost = delta_e_2000(labs, neighbour)
        for code in deficiencies:
            cost = np.minimum(cost, delta_e_2000(seen_with(labs, code), seen_with(neighbour, code)))
        best = self._pick(np.where(cost >= apart, cost, np.inf), [new for _, new in tries])
        return None if best is None else self._instead(strands, *tries[best])


# Palettes drawn from the shades' bounds: a share of one in ten is then told to two in a hundred.
_DRAWN = 200


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
    """When to warn, of colours as they are from the distance of the design."""

    grey_below: float = 0.5  # a blend greys out when its chroma is under this part of its duller strand's (assumed)
    # ... and under this CIELAB chroma: tinged greys of the ISCC-NBS names end at Munsell chroma 1.5 (standard, from
    # memory), which is 7.8 in the renotation (measured: 10.3 for chroma 2, values 3 to 8, which a test repeats). Of 55
    # warnings by the first rule alone 28 had a chroma of 10 or more left, which nobody calls grey.
    grey_chroma: float = 8.0
    coloured_from: float = 15.0  # CIELAB chroma from which a strand counts as coloured at all (assumed)
    # A stripe stands out when both its steps are this many times the median of the other steps (assumed).
    stands_out: float = 2.0
    big_step: float = 10.0  # CIEDE2000 under which a step is never called long (assumed)
    # CIEDE2000 under which two stripes cannot be told apart in a fabric: plain patches side by side need about 1,
    # thread wound on a card almost twice that (measured by others: Montag and Berns, Color Res. Appl. 25 (2000) 241).
    alike: float = 2.0
    told_apart: float = 5.0  # CIEDE2000 from which two stripes are easily told apart (assumed)
    # Share of palettes drawn from the shades' bounds in which neighbours are alike, from which it is told (assumed).
    may_from: float = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendWarning:
    """One warning and what can be done."""

    code: str  # {"greys-out", "stands-out", "alike", "may-be-alike", "merges"}
    stripes: tuple[int, ...]  # places in the sequence, counted from 0
    problem: Notice
    suggestions: tuple[Notice, ...]  # at least one


def _label(stripe: StripeLike) -> str:
    return " + ".join(dict.fromkeys(stripe.strands))


def _is_blend(stripe: StripeLike) -> bool:
    return len(set(stripe.strands)) > 1


def _stripe_labs(stripes: Sequence[StripeLike], yarns: Mapping[str, Yarn], viewing: Viewing | None) -> Floats:
    for place, stripe in enumerate(stripes, start=1):
        for name in stripe.strands:
            if name not in yarns:
                raise StripeError(
                    "stripe {place} uses {name}, which is not in the palette; add that yarn or choose one of {known}.",
                    place=place,
                    name=repr(name),
                    known=", ".join(list(yarns)[:12]),
                )
    known = {strands: mixed_lab([yarns[n] for n in strands], viewing) for strands in {s.strands for s in stripes}}
    return np.array([known[stripe.strands] for stripe in stripes])


def check_stripes(
    stripes: Sequence[StripeLike],
    yarns_by_name: Mapping[str, Yarn],
    viewing: Viewing | None = None,
    *,
    limits: Limits | None = None,
) -> tuple[BlendWarning, ...]:
    """Return the warnings for a sequence of stripes, in the order of the stripes.

    `yarns_by_name`: the palette; suggestions are taken from all of it; `viewing`: how far away stripes are judged from;
    the sofa (2 m) by default.
    """
    limits = limits or Limits()
    if not stripes:
        return ()
    labs = _stripe_labs(stripes, yarns_by_name, viewing)
    bench = Bench.of(yarns_by_name, viewing, {name for stripe in stripes for name in stripe.strands})
    found = [
        *_greys_out(stripes, labs, bench, limits),
        *_stands_out(stripes, labs, bench, limits),
        *_alike(stripes, labs, bench, limits),
        *_may_be_alike(stripes, yarns_by_name, viewing, limits),
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
        if least < limits.coloured_from or chroma >= min(limits.grey_below * least, limits.grey_chroma):
            continue
        seen.add(key)
        problem = note(
            "stripe {place}, {strands}: the blend greys out, though each of its strands has a colour.",
            "warning",
            place=i + 1,
            strands=_label(stripe),
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
            "stripe {place}, {strands}: it stands out; its neighbours are at least {times} times as unlike it as "
            "neighbours here usually are.",
            "warning",
            place=i + 1,
            strands=_label(stripes[i]),
            times=int(least / max(usual, 1.0)),
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
            "stripes {place} and {next}, {strands} and {others}: they cannot be told apart.",
            "warning",
            place=i + 1,
            next=j + 1,
            strands=_label(stripes[i]),
            others=_label(stripes[j]),
        )
        tips = [bench.clearer(stripes[j].strands, labs[i], limits.told_apart)]
        if j == i + 1:
            last = note("count the two as one stripe, or put an extra row of a third colour between them.")
        else:
            last = note("count the two yarns as one colour, and label the skeins so that they are not mixed up.")
        out.append(_warning("alike", (i, j), problem, tips, last))
    return out


def _may_be_alike(
    stripes: Sequence[StripeLike], yarns: Mapping[str, Yarn], viewing: Viewing | None, limits: Limits
) -> list[BlendWarning]:
    """Warn of neighbours that are told apart by their shades as read, but not in all palettes that these allow."""
    names = list(dict.fromkeys(name for stripe in stripes for name in stripe.strands))
    bounds = [bound_of(yarns[name]) for name in names]
    photos = [photo_of(yarns[name]) for name in names]
    if not any(bounds):
        return []
    # The last draw is the shades as they were read.
    read = np.array([yarns[name].lab for name in names])
    drawn = np.concatenate([draw_shades(read, bounds, _DRAWN, photos=photos), read[None]])
    at = {name: i for i, name in enumerate(names)}
    known: dict[tuple[str, ...], Floats] = {}
    for stripe in stripes:
        if stripe.strands not in known:
            row = [yarns[name] for name in stripe.strands]
            strands = drawn[:, [at[name] for name in stripe.strands]]
            width_mm = float(widths_of(row)[0].mean())
            known[stripe.strands] = blend_labs(
                strands, visible_shares(row, viewing), viewing=viewing, width_mm=width_mm
            )
    out = []
    for i, (one, two) in enumerate(pairwise(stripes)):
        if sorted(set(one.strands)) == sorted(set(two.strands)):
            continue
        apart = float(delta_e_2000(known[one.strands][-1], known[two.strands][-1]))
        # Only errors along what sets the two apart can take it away.
        ways = known[one.strands] - known[two.strands]
        along = ways[:-1] @ ways[-1] / max(float(ways[-1] @ ways[-1]), 1e-12)
        often = float(np.mean(np.abs(apart * along) < limits.alike))
        if apart < limits.alike or often < limits.may_from:
            continue
        worst = max({*one.strands, *two.strands}, key=lambda name: (bounds[at[name]] or 0.0, name))
        problem = note(
            "stripes {place} and {next}, {strands} and {others}: they may read alike: as far as their shades are "
            "known, they can be told apart {times} times of 100.",
            "warning",
            place=i + 1,
            next=i + 2,
            strands=_label(one),
            others=_label(two),
            times=round(100 * (1 - often)),
        )
        tip = note(
            "photograph {name} again, by daylight on white paper with a mid grey beside it: of these, its shade is "
            "the least sure.",
            name=worst,
        )
        out.append(_warning("may-be-alike", (i, i + 1), problem, [], tip))
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

"""Share weighed scraps out over stripes, light and dark balanced.

Two steps.
How many stripes each pair of colours gets is a mixed-integer program over pairs and kinds of stripe, so stripes that
are alike are not told apart.
It makes the stripe that is furthest from the mean lightness as near as can be: pairs are let in by their distance,
nearest first, until the yarn can be shared; below that the program has no answer, and that is the proof.
Strands are then exchanged between stripes as long as that brings the others nearer too, and the pairs are put in
order, neighbours unlike and the running lightness even, by a greedy pass and swaps; that step is good, not proven.
"""

from __future__ import annotations

import itertools
import math
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.errors import StripeError, YarnError
from blendplan.stripes.model import Stripe
from blendplan.units import number, whole
from blendplan.wording import Notice, note
from blendplan.yardage.arrange import Pair, arrange, even_out
from blendplan.yarn import Yarn

__all__ = ["ScrapShare", "share_scraps"]

_INFEASIBLE = 2
# Where the yarn does not reach, up to one row in a hundred is given up for evenness.
_NEARLY = 0.99
# Branches of the search for each level of evenness.
_NODES = 5000


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrapShare:
    """Scraps shared out.

    Attributes
    ----------
    stripes : tuple of Stripe
        In order; fewer than asked where the yarn does not reach.
    used_m : tuple of (str, float)
    left_m : tuple of (str, float)
    lightness : float
        Mean CIE lightness that every stripe aims at: that of all the yarn there is.
    worst : float
        How far the lightness of the stripe that stands out most is from that mean.
    bound : float
        No sharing over these rows has a smaller `worst`.
    exact : bool
        True where that is proven: `worst` equals `bound`, and no more rows can be covered.
    gap : float
        `worst` less `bound` as a share of `worst`, or the rows that may be missed as a share of those covered,
        whichever is more; 0 where exact. The 1 % of rows given up for evenness is not counted.
    unevenness : float
        Mean over rows of how far a stripe is from the mean lightness.
    binding : tuple of str
        Colours used up to less than one more row.
    notices : tuple of Notice
    """

    stripes: tuple[Stripe, ...]
    used_m: tuple[tuple[str, float], ...]
    left_m: tuple[tuple[str, float], ...]
    lightness: float
    worst: float
    bound: float
    exact: bool
    gap: float
    unevenness: float
    binding: tuple[str, ...]
    notices: tuple[Notice, ...]


@dataclass(slots=True)
class _Sharing:
    """Columns: one for each pair and kind of stripe."""

    names: list[str]
    light: list[float]
    metres: NDArray[np.float64]
    pairs: list[Pair]
    kinds: list[int]
    counts: list[int]
    take: NDArray[np.float64]
    miss: NDArray[np.float64]
    rows: NDArray[np.float64]


def _sharing(
    light: Mapping[str, float], metres: Mapping[str, float], rows: Sequence[int], row_m: float, tail_m: float
) -> _Sharing:
    names = sorted(n for n, m in metres.items() if m > 0)
    amount = np.array([metres[n] for n in names])
    mean = float(np.average([light[n] for n in names], weights=amount))
    pairs = list(itertools.combinations_with_replacement(names, 2))
    kinds, counts = zip(*sorted(Counter(rows).items()), strict=True)
    columns = [(pair, kind) for pair in pairs for kind in kinds]
    take = np.zeros((len(names), len(columns)))
    index = {n: i for i, n in enumerate(names)}
    for j, (pair, kind) in enumerate(columns):
        for name in pair:
            take[index[name], j] += kind * row_m + 2 * tail_m
    miss = np.array([kind * abs((light[a] + light[b]) / 2 - mean) for (a, b), kind in columns])
    return _Sharing(
        names=names,
        light=[light[n] for n in names],
        metres=amount,
        pairs=pairs,
        kinds=list(kinds),
        counts=list(counts),
        take=take,
        miss=miss,
        rows=np.array([kind for _, kind in columns], float),
    )


@dataclass(slots=True)
class _Task:
    """A sharing to be solved against the clock."""

    share: _Sharing
    same: int | None
    until: float

    def _options(self, most_s: float, gap: float) -> dict[str, float]:
        left = max(0.05, min(most_s, self.until - time.monotonic()))
        # Nodes are counted, so that the answer seldom hangs on the speed of the machine.
        return {"time_limit": left, "node_limit": _NODES, "mip_rel_gap": gap}

    def most_rows(self, most_s: float) -> tuple[NDArray[np.int_], float]:
        """Return a count of every column that covers the most rows, and the rows that no sharing exceeds.

        Strands of a kind may be paired in any way, so it is enough to count strands of each colour and kind; they
        are then paired light with dark.
        """
        from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415 - heavy

        share = self.share
        n, k = len(share.names), len(share.kinds)
        # A pair column of one colour holds two strands: half of it is what one strand takes.
        pair_of = {pair: i for i, pair in enumerate(share.pairs)}
        take = np.zeros((n, n * k + k))
        match = np.zeros((k, n * k + k))
        for c, name in enumerate(share.names):
            solid = pair_of[(name, name)]
            take[c, c * k : c * k + k] = share.take[c, solid * k : solid * k + k] / 2
            match[:, c * k : c * k + k] = np.eye(k)
        match[:, n * k :] = -2 * np.eye(k)
        result = milp(
            np.r_[np.zeros(n * k), -np.array(share.kinds, float)],
            integrality=np.ones(n * k + k),
            bounds=Bounds(0, np.r_[np.full(n * k, np.inf), np.array(share.counts, float)]),
            constraints=[LinearConstraint(take, -np.inf, share.metres * (1 + 1e-9)), LinearConstraint(match, 0, 0)],
            options=self._options(most_s, 0.0),
        )
        columns = np.zeros(len(share.miss), int)
        if result.x is None:
            return columns, 0.0
        for kind in range(k):
            held = np.round(result.x[kind : n * k : k]).astype(int)
            strands = sorted((share.light[c], name) for c, name in enumerate(share.names) for _ in range(held[c]))
            half = len(strands) // 2
            for (_, dark), (_, light) in zip(strands[:half], reversed(strands[half:]), strict=True):
                columns[pair_of[(min(dark, light), max(dark, light))] * k + kind] += 1
        return columns, float(np.floor(-result.mip_dual_bound + 1e-6))

    def evenest(self, target: float) -> tuple[NDArray[np.int_] | None, float]:
        """Return the answer of at least `target` rows with the least greatest distance found, and its lower bound."""
        levels = np.unique(self.share.miss / self.share.rows)
        proven, at = True, self._relaxed_level(levels, target)
        bound = float(levels[at])
        left = self.until - time.monotonic()
        while at < len(levels):
            counts, impossible = self._at_level(levels[at], target, left / 2)
            if counts is not None:
                return counts, bound
            proven = proven and impossible
            at += 1 if impossible else max(1, len(levels) // 12)
            bound = float(levels[min(at, len(levels) - 1)]) if proven else bound
        return None, bound

    def _at_level(self, level: float, target: float, most_s: float) -> tuple[NDArray[np.int_] | None, bool]:
        """Return an answer with pairs up to a distance, and whether it is proven that there is none.

        The rows covered are made the most: a program that is never without an answer is searched far quicker than one
        with as many rows as asked or none.
        """
        from scipy.optimize import Bounds, milp  # noqa: PLC0415 - heavy

        share = self.share
        result = milp(
            -share.rows,
            integrality=np.ones(len(share.rows)),
            bounds=Bounds(0, np.where(share.miss / share.rows <= level + 1e-9, np.inf, 0.0)),
            constraints=self._limits(),
            options=self._options(most_s, 0.5 / target),
        )
        if result.x is None:
            return None, result.status == _INFEASIBLE
        counts = np.round(result.x).astype(int)
        if share.rows @ counts >= target - 1e-9:
            return counts, False
        return None, bool(-result.mip_dual_bound < target - 1e-6)

    def _limits(self) -> list[Any]:
        from scipy.optimize import LinearConstraint  # noqa: PLC0415 - heavy

        share = self.share
        width, k = len(share.miss), len(share.kinds)
        kind, pair = np.arange(width) % k, np.arange(width) // k
        limits = [
            LinearConstraint(share.take, -np.inf, share.metres * (1 + 1e-9)),
            LinearConstraint((kind[None, :] == np.arange(k)[:, None]).astype(float), 0, share.counts),
        ]
        if self.same is not None:
            per_pair = (pair[None, :] == np.arange(len(share.pairs))[:, None]).astype(float)
            limits.append(LinearConstraint(per_pair, 0, self.same))
        return limits

    def _relaxed_level(self, levels: NDArray[np.float64], target: float) -> int:
        """Return the first level at which the linear relaxation covers the target: none below it can be whole."""
        from scipy.optimize import Bounds, milp  # noqa: PLC0415 - heavy

        share = self.share
        low, high = 0, len(levels) - 1
        while low < high:
            middle = (low + high) // 2
            allowed = share.miss / share.rows <= levels[middle] + 1e-9
            result = milp(-share.rows, bounds=Bounds(0, np.where(allowed, np.inf, 0.0)), constraints=self._limits())
            if result.x is not None and -result.fun >= target - 1e-6:
                high = middle
            else:
                low = middle + 1
        return low


def share_scraps(
    yarns: Sequence[Yarn],
    rows: Sequence[int],
    row_m: float,
    *,
    available_m: Mapping[str, float] | None = None,
    tail_cm: float = 15.0,
    same_pair: int | None = None,
    seconds: float = 4.0,
) -> ScrapShare:
    """Return two strands for every stripe from weighed scraps, each stripe as near to the mean lightness as can be.

    Parameters
    ----------
    yarns : sequence of Yarn
        At least two with yarn on hand.
    rows : sequence of int
        Rows of each stripe, in order.
    row_m : float
        One row of one strand, metres.
    available_m : mapping of str to float, optional
        Metres that may be used; by default skeins and weighed part skeins by their bands.
    tail_cm : float
        Each strand of each stripe has two ends: no strand is counted on to carry over.
    same_pair : int, optional
        Most stripes with the same two colours; None lets the yarn decide.
    seconds : float
        Time limit; where the yarn does not reach it counts twice at most.

    Raises
    ------
    YarnError
        If there is no yarn for even one stripe.
    StripeError
        If there are no stripes.

    Notes
    -----
    Where the yarn does not reach for all stripes, first as many rows as possible are covered (stripes are left out
    whole, and up to 1 % of the rows for evenness), then the sharing is made even.
    """
    if not rows:
        raise StripeError("there are no stripes to share the yarn over; give rows for at least one.")
    for n in rows:
        whole(n, "rows of a stripe", 1, 5000)
    number(row_m, "metres of a row", 0.001, 10_000, "m")
    if same_pair is not None:
        whole(same_pair, "stripes with the same pair", 1, 5000)
    metres = dict(available_m) if available_m is not None else _on_hand(yarns)
    light = {y.name: y.lab[0] for y in yarns}
    metres = {n: m for n, m in metres.items() if n in light and m > 0}
    if not metres:
        raise YarnError("there is no yarn on hand to share; give skeins or weighed part skeins, with grams and metres.")
    share = _sharing(light, metres, rows, row_m, tail_cm / 100)
    task = _Task(share=share, same=same_pair, until=time.monotonic() + seconds)
    most, best = task.most_rows(seconds / 4)
    covered = float(share.rows @ most)
    if not covered:
        raise YarnError("the yarn on hand does not make one stripe of these rows; make rows or stripes shorter.")
    target = covered if covered == sum(rows) else math.ceil(_NEARLY * covered)
    counts, bound = task.evenest(target)
    if counts is None and same_pair is None:
        counts = most  # the pairing of the cover is an answer too, if not an even one
    if counts is None:
        raise YarnError(
            "no way to share the yarn was found in {seconds} s; allow more stripes of the same pair.",
            seconds=f"{seconds:g}",
        )
    return _result(share, counts, rows, light, bound=bound, most=covered, best=best, exchange=same_pair is None)


def _on_hand(yarns: Sequence[Yarn]) -> dict[str, float]:
    out = {}
    for yarn in yarns:
        if yarn.put_up is not None:
            grams = yarn.skeins_on_hand * yarn.put_up.mass_g + sum(yarn.part_skeins_g)
            out[yarn.name] = float(grams * yarn.put_up.m_per_g)
    return out


def _result(
    share: _Sharing,
    counts: NDArray[np.int_],
    rows: Sequence[int],
    light: Mapping[str, float],
    *,
    bound: float,
    most: float,
    best: float,
    exchange: bool,
) -> ScrapShare:
    pools: dict[int, list[Pair]] = {kind: [] for kind in share.kinds}
    for j, n in enumerate(counts):
        pools[share.kinds[j % len(share.kinds)]] += [share.pairs[j // len(share.kinds)]] * int(n)
    mean = float(np.average([light[n] for n in share.names], weights=share.metres))
    if exchange:
        pools = {kind: even_out(pairs, light, mean) for kind, pairs in pools.items()}
    used = share.take @ counts
    covered = float(share.rows @ counts)
    distances = [(kind, abs((light[a] + light[b]) / 2 - mean)) for kind, pairs in pools.items() for a, b in pairs]
    worst = max(distance for _, distance in distances)
    gap = max((worst - bound) / worst if worst > bound + 1e-9 else 0.0, (best - most) / best)
    notices = []
    if covered < sum(rows):
        notices.append(
            note(
                "The yarn on hand covers {covered} of {rows} rows; the other stripes are left out.",
                "warning",
                covered=int(covered),
                rows=sum(rows),
            )
        )
    if gap:
        notices.append(
            note(
                "The time ran out before this was proven best; a better answer may differ by {gap} %.",
                "assumed",
                gap=f"{100 * gap:.1f}",
            )
        )
    smallest = float(share.take[share.take > 0].min())
    return ScrapShare(
        stripes=arrange(rows, pools, light, mean),
        used_m=tuple(zip(share.names, used.tolist(), strict=True)),
        left_m=tuple(zip(share.names, (share.metres - used).tolist(), strict=True)),
        lightness=mean,
        worst=worst,
        bound=min(bound, worst),
        exact=gap == 0,
        gap=gap,
        unevenness=math.fsum(kind * distance for kind, distance in distances) / covered,
        binding=tuple(n for n, left in zip(share.names, share.metres - used, strict=True) if left < smallest),
        notices=tuple(notices),
    )

"""Share weighed scraps out over stripes, light and dark balanced.

How many strands of each colour go into stripes of each number of rows is a small mixed-integer program.
It makes the stripe that is furthest from the mean lightness as near as can be.
Which strands are held together need not be in it: of all ways to pair strands, lightest with darkest makes the
greatest sum least and the least sum greatest, so stripes stay within a distance of the mean exactly where, for every
lightness beyond it, no more strands are that far out than there are partners to bring them back.
Distances are let in nearest first until the yarn can be shared; below that the program has no answer, and that is
the proof.
Strands are then exchanged between stripes as long as that brings the others nearer too, and the stripes are put in
order, neighbours unlike and the running lightness even; that step is good, not proven.
"""

from __future__ import annotations

import math
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendplan.budgets import MAX_ROWS
from blendplan.errors import StripeError, YarnError
from blendplan.stripes.model import Stripe
from blendplan.units import number, whole
from blendplan.wording import Notice, note
from blendplan.yardage.rowfit import unproven
from blendplan.yarn import Yarn

Pair = tuple[str, str]


def even_out(pairs: Sequence[Pair], light: Mapping[str, float], mean: float) -> list[Pair]:
    """Return the same strands in other pairs, nearer to a mean lightness in sum and no further at worst.

    Two pairs exchange a strand where that lowers the sum of their distances and does not raise the greater one;
    repeated until none does. The strands used stay the same.

    Examples
    --------
    >>> even_out([("a", "b"), ("c", "d")], {"a": 20, "b": 50, "c": 80, "d": 50}, 50)
    [('b', 'd'), ('a', 'c')]
    """
    out = [(a, b) for a, b in pairs]

    def away(pair: Pair) -> float:
        return abs((light[pair[0]] + light[pair[1]]) / 2 - mean)

    changed = True
    while changed:
        changed = False
        for i in range(len(out)):
            for j in range(i + 1, len(out)):
                (a, b), (c, d) = out[i], out[j]
                now = (away(out[i]), away(out[j]))
                for one, other in (((d, b), (c, a)), ((c, b), (a, d))):
                    new = (away(one), away(other))
                    if sum(new) < sum(now) - 1e-9 and max(new) <= max(now) + 1e-9:
                        out[i], out[j] = (min(one), max(one)), (min(other), max(other))
                        changed = True
                        break
    return out


def arrange(
    rows: Sequence[int], pools: Mapping[int, Sequence[Pair]], light: Mapping[str, float], mean: float
) -> tuple[Stripe, ...]:
    """Return stripes in order: for each place the pair that differs most from its neighbour and evens the lightness.

    Greedy, then swaps of two places of as many rows as long as they lower the cost: shared colours of neighbours
    (40 each) and the step of the running sum of lightness (1 each). Same input, same order.
    """
    left = {kind: sorted(pairs) for kind, pairs in pools.items()}
    places: list[tuple[int, Pair]] = []
    drift = 0.0
    for kind in rows:
        if not left.get(kind):
            continue
        before = places[-1][1] if places else ("", "")

        def cost(pair: Pair, kind: int = kind, before: Pair = before, drift: float = drift) -> tuple[float, Pair]:
            step = kind * ((light[pair[0]] + light[pair[1]]) / 2 - mean)
            return 40.0 * len(set(pair) & set(before)) + abs(drift + step), pair

        # What is most plentiful goes first among equals, so that no run of one pair is left for the end.
        stock = Counter(left[kind])
        best = min(stock, key=lambda pair: (cost(pair)[0] - 10.0 * stock[pair] / len(left[kind]), pair))
        left[kind].remove(best)
        drift += kind * ((light[best[0]] + light[best[1]]) / 2 - mean)
        places.append((kind, best))
    return tuple(Stripe(strands=pair, rows=kind) for kind, pair in _swapped(places))


def _swapped(places: list[tuple[int, Pair]]) -> list[tuple[int, Pair]]:
    """Swap places of like rows while fewer neighbours share a colour."""

    def clashes(i: int) -> int:
        total = 0
        for a, b in ((i - 1, i), (i, i + 1)):
            if a >= 0 and b < len(places):
                total += len(set(places[a][1]) & set(places[b][1]))
        return total

    for _ in range(4):
        changed = False
        for i in range(len(places)):
            if not clashes(i):
                continue
            for j in range(len(places)):
                if abs(i - j) < 2 or places[i][0] != places[j][0] or places[i][1] == places[j][1]:
                    continue
                before = clashes(i) + clashes(j)
                places[i], places[j] = places[j], places[i]
                if clashes(i) + clashes(j) < before:
                    changed = True
                    break
                places[i], places[j] = places[j], places[i]
        if not changed:
            break
    return places


# Where the yarn does not reach, up to three rows in a hundred are given up for evenness.
_NEARLY = 0.97
# Branches of one search.
_NODES = 4000


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrapShare:
    """Scraps shared out."""

    stripes: tuple[Stripe, ...]  # in order; fewer than asked where the yarn does not reach
    used_m: tuple[tuple[str, float], ...]
    left_m: tuple[tuple[str, float], ...]
    lightness: float  # mean CIE lightness that every stripe aims at: that of all the yarn there is
    worst: float  # how far the lightness of the stripe that stands out most is from that mean
    bound: float  # no sharing over these rows has a smaller `worst`
    exact: bool  # true where that is proven: `worst` equals `bound`, and no more rows can be covered
    # `worst` less `bound` as a share of `worst`, or the rows that may be missed as a share of those covered, whichever
    # is more; 0 where exact. The 3 % of rows given up for evenness is not counted.
    gap: float
    unevenness: float  # mean over rows of how far a stripe is from the mean lightness
    binding: tuple[str, ...]  # colours used up to less than one more row
    notices: tuple[Notice, ...]


@dataclass(slots=True)
class _Task:
    """The program: strands of each colour and kind of stripe, then stripes of each kind."""

    names: list[str]
    light: NDArray[np.float64]
    metres: NDArray[np.float64]
    kinds: list[int]
    counts: list[int]
    take_m: NDArray[np.float64]
    until: float

    @property
    def mean(self) -> float:
        """Mean lightness of all the yarn."""
        return float(np.average(self.light, weights=self.metres))

    def levels(self) -> NDArray[np.float64]:
        """Return every distance from the mean that a pair can have, nearest first."""
        both = (self.light[:, None] + self.light[None, :]) / 2
        return np.unique(np.round(np.abs(both - self.mean), 9))

    def _held_to(self, level: float) -> NDArray[np.float64]:
        """Return rows that keep every pair within a distance of the mean (each row at most 0)."""
        n, k = len(self.names), len(self.kinds)
        # A hair of room, so that a pair at the level itself is in.
        low, high = 2 * (self.mean - level) - 1e-6, 2 * (self.mean + level) + 1e-6
        rows = []
        for value in self.light:
            if value > high / 2:
                far, partner = self.light >= value, self.light <= high - value
            elif value < low / 2:
                far, partner = self.light <= value, self.light >= low - value
            else:
                continue
            weight = far.astype(float) - partner.astype(float)
            for kind in range(k):
                row = np.zeros(n * k + k)
                row[kind : n * k : k] = weight
                rows.append(row)
        return np.array(rows).reshape(-1, n * k + k)

    def most_rows(
        self, level: float, *, relaxed: bool = False, most_s: float = 1e9
    ) -> tuple[float, float, NDArray[np.int_]]:
        """Return the most rows found with pairs up to a distance, their upper bound, and strands by colour and kind."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        n, k = len(self.names), len(self.kinds)
        width = n * k + k
        take, match = np.zeros((n, width)), np.zeros((k, width))
        for c in range(n):
            take[c, c * k : c * k + k] = self.take_m
            match[:, c * k : c * k + k] = np.eye(k)
        match[:, n * k :] = -2 * np.eye(k)
        limits = [LinearConstraint(take, -np.inf, self.metres * (1 + 1e-9)), LinearConstraint(match, 0, 0)]
        held = self._held_to(level)
        if len(held):
            limits.append(LinearConstraint(held, -np.inf, 0))
        result = milp(
            np.r_[np.zeros(n * k), -np.array(self.kinds, float)],
            integrality=np.zeros(width) if relaxed else np.ones(width),
            bounds=Bounds(0, np.r_[np.full(n * k, np.inf), np.array(self.counts, float)]),
            constraints=limits,
            # Nodes are counted, so that the answer seldom hangs on the speed of the machine.
            options={
                "time_limit": max(0.05, min(most_s, self.until - time.monotonic())),
                "node_limit": _NODES,
                # Rows are whole: within nine tenths of one the answer is proven.
                "mip_rel_gap": 0.9 / float(np.dot(self.kinds, self.counts)),
            },
        )
        if result.x is None:
            return 0.0, float(np.dot(self.kinds, self.counts)), np.zeros((n, k), int)
        strands = np.round(result.x[: n * k]).astype(int).reshape(n, k)
        bound = -result.fun if relaxed else -result.mip_dual_bound
        return float(-result.fun), float(bound), strands

    def evenest(self, target: float) -> tuple[NDArray[np.int_] | None, float]:
        """Return strands of at least `target` rows with the least greatest distance found, and its lower bound."""
        levels = self.levels()
        low, high = 0, len(levels) - 1
        while low < high:
            middle = (low + high) // 2
            if self.most_rows(levels[middle], relaxed=True)[0] >= target - 1e-6:
                high = middle
            else:
                low = middle + 1
        bound, proven, failed, step = float(levels[low]), True, low - 1, 1
        at, found = low, None
        while found is None or (at - failed > 1 and time.monotonic() < self.until):
            rows, most, strands = self.most_rows(levels[at], most_s=(self.until - time.monotonic()) / 4)
            if rows >= target - 1e-6:
                found, reached = strands, at
            else:
                failed = at
                proven = proven and most < target - 1e-6
                step = 1 if proven else 2 * step
                if proven:
                    bound = float(levels[min(at + 1, len(levels) - 1)])
                if found is None and at == len(levels) - 1:
                    break
            # Outward in growing steps until an answer is found, then back between it and the last failure.
            at = min(at + step, len(levels) - 1) if found is None else (failed + reached) // 2
            if found is not None and at == failed:
                break
        if found is not None and levels[reached] > bound:
            # What time is left goes into the nearest level that was neither reached nor shown to be out of reach.
            rows, most, strands = self.most_rows(bound)
            if rows >= target - 1e-6:
                found = strands
            elif most < target - 1e-6:
                bound = float(levels[np.searchsorted(levels, bound) + 1])
        return found, bound

    def paired(self, strands: NDArray[np.int_]) -> dict[int, list[Pair]]:
        """Return pairs for each kind of stripe, lightest with darkest."""
        out: dict[int, list[Pair]] = {}
        for j, kind in enumerate(self.kinds):
            line = [name for c, name in enumerate(self.names) for _ in range(strands[c, j])]
            half = len(line) // 2
            ends = zip(line[:half], reversed(line[half:]), strict=True)
            out[kind] = [(min(a, b), max(a, b)) for a, b in ends]
        return out


def share_scraps(
    yarns: Sequence[Yarn],
    rows: Sequence[int],
    row_m: float,
    *,
    available_m: Mapping[str, float] | None = None,
    tail_cm: float = 15.0,
    seconds: float = 4.0,
) -> ScrapShare:
    """Return two strands for every stripe from weighed scraps, each stripe as near to the mean lightness as can be.

    Where the yarn does not reach for all stripes, first as many rows as possible are covered (stripes are left out
    whole, and up to 3 % of the rows for evenness), then the sharing is made even.
    """
    if not rows:
        raise StripeError("there are no stripes to share the yarn over; give rows for at least one.")
    for n in rows:
        whole(n, "rows of a stripe", 1, MAX_ROWS)
    number(row_m, "metres of a row", 0.001, 10_000, "m")
    metres = dict(available_m) if available_m is not None else _on_hand(yarns)
    light = {y.name: y.lab[0] for y in yarns}
    metres = {n: m for n, m in metres.items() if n in light and m > 0}
    if not metres:
        raise YarnError("there is no yarn on hand to share; give skeins or weighed part skeins, with grams and metres.")
    names = sorted(metres, key=lambda n: (light[n], n))
    kinds, counts = zip(*sorted(Counter(rows).items()), strict=True)
    task = _Task(
        names=names,
        light=np.array([light[n] for n in names]),
        metres=np.array([metres[n] for n in names]),
        kinds=list(kinds),
        counts=list(counts),
        take_m=np.array([kind * row_m + 2 * tail_cm / 100 for kind in kinds]),
        until=time.monotonic() + seconds,
    )
    task.until -= seconds / 2
    most, best, cover = task.most_rows(np.inf)
    task.until += seconds / 2
    if not most:
        raise YarnError("the yarn on hand does not make one stripe of these rows; make rows or stripes shorter.")
    target = most if most == sum(rows) else math.ceil(_NEARLY * most - 1e-9)
    strands, bound = task.evenest(target)
    # The cover is an answer too, if not an even one.
    return _result(
        task, cover if strands is None else strands, rows, bound=bound, missed=1 - most / math.floor(best + 1e-6)
    )


def _on_hand(yarns: Sequence[Yarn]) -> dict[str, float]:
    out = {}
    for yarn in yarns:
        if yarn.put_up is not None:
            grams = yarn.skeins_on_hand * yarn.put_up.mass_g + sum(yarn.part_skeins_g)
            out[yarn.name] = float(grams * yarn.put_up.m_per_g)
    return out


def _result(task: _Task, strands: NDArray[np.int_], rows: Sequence[int], *, bound: float, missed: float) -> ScrapShare:
    light, mean = dict(zip(task.names, task.light.tolist(), strict=True)), task.mean
    pools = {kind: even_out(pairs, light, mean) for kind, pairs in task.paired(strands).items()}
    distances = [(kind, abs((light[a] + light[b]) / 2 - mean)) for kind, pairs in pools.items() for a, b in pairs]
    worst = max(distance for _, distance in distances)
    covered = sum(kind for kind, _ in distances)
    used = strands @ task.take_m
    left = task.metres - used
    gap = max((worst - bound) / worst if worst > bound + 1e-6 else 0.0, missed)
    notices = []
    if covered < sum(rows):
        notices.append(
            note(
                "The yarn on hand covers {covered} of {rows} rows; the other stripes are left out.",
                "warning",
                covered=covered,
                rows=sum(rows),
            )
        )
    if gap:
        notices.append(unproven(gap))
    return ScrapShare(
        stripes=arrange(rows, pools, light, mean),
        used_m=tuple(zip(task.names, used.tolist(), strict=True)),
        left_m=tuple(zip(task.names, left.tolist(), strict=True)),
        lightness=mean,
        worst=worst,
        bound=min(bound, worst),
        exact=gap == 0,
        gap=gap,
        unevenness=math.fsum(kind * distance for kind, distance in distances) / covered,
        binding=tuple(n for n, m in zip(task.names, left, strict=True) if m < task.take_m.min()),
        notices=tuple(notices),
    )

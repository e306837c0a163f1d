"""Put pairs of strands in order: neighbours unlike, and the running lightness even."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from blendplan.stripes.model import Stripe

__all__ = ["Pair", "arrange", "even_out"]

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

    Parameters
    ----------
    rows : sequence of int
        Of each place; places for which no pair is left are dropped.
    pools : mapping of int to sequence of pairs
        Pairs for stripes of each number of rows.
    light : mapping of str to float
        CIE lightness by name.
    mean : float

    Notes
    -----
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

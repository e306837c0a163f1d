"""Local search from every start, many tours at a time, for more colours than the exact search can hold.

Two neighbourhoods are looked at in full in each step: turning a stretch round (2-opt; G. A. Croes, Operations
Research 6 (1958) 791-812) and moving a stretch of one to three colours elsewhere, either way round (I. Or, thesis,
Northwestern University, 1976).
Local optima are shaken by exchanging two neighbouring stretches (double bridge; O. Martin, S. W. Otto, E. W. Felten,
Complex Systems 5 (1991) 299-326) and searched again.
The amount of work is fixed by the size, not by the clock, so a seed always gives the same order.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import Floats
from blendplan.order.problem import Control, Problem, Stopped

Ints = NDArray[np.intp]
_TINY = 1e-9


def tour_matrix(problem: Problem) -> tuple[Floats, float]:
    """Return the symmetric matrix of a round that stands for the order, and what to add to its length.

    An open order becomes a round with two more nodes, its start and its end, joined by an edge so cheap that
    every good round uses it; costs of the first and last place are the edges of these two.
    """
    if problem.closed:
        return problem.edges, 0.0
    m = problem.m
    join = 4.0 * (problem.big + float(np.ptp(problem.edges)) + float(np.ptp(problem.places))) + 1.0
    out = np.zeros((m + 2, m + 2))
    out[:m, :m] = problem.edges
    out[m, :m] = out[:m, m] = problem.places[0]
    out[m + 1, :m] = out[:m, m + 1] = problem.places[-1]
    out[m, m + 1] = out[m + 1, m] = -join
    return out, join


def tour_order(tour: Ints, problem: Problem) -> Ints:
    """Return the order that a round of `tour_matrix` stands for."""
    if problem.closed:
        return tour
    m = problem.m
    tour = np.roll(tour, -int(np.flatnonzero(tour == m)[0]))
    if tour[1] == m + 1:
        tour = np.roll(tour[::-1], 1)
    return tour[1:-1] if tour[-1] == m + 1 else tour[tour < m]


@lru_cache(maxsize=8)
def _masks(n: int) -> tuple[NDArray[np.bool_], dict[int, NDArray[np.bool_]]]:
    i, j = np.indices((n, n))
    two = j <= i
    shifts = {}
    for length in (1, 2, 3):
        away = (j - (i - 1)) % n
        shifts[length] = away <= length
    return two, shifts


def _best_moves(matrix: Floats, tours: Ints) -> tuple[Floats, list[tuple[int, bool, int, int]]]:
    """Gain and description (length, turned, i, j) of the best move of each tour; length 0 is a turned stretch."""
    b, n = tours.shape
    rows = np.arange(b)
    ext = tours[:, np.arange(n + 4) % n]
    near = matrix[ext[:, :, None], ext[:, None, :]]
    d = near[:, np.arange(n + 3), np.arange(1, n + 4)]
    two_bad, shift_bad = _masks(n)
    values: list[Floats] = []
    kinds: list[tuple[int, bool, Ints]] = []

    def look(delta: Floats, bad: NDArray[np.bool_], length: int, turned: bool) -> None:
        delta[:, bad] = np.inf
        flat = delta.reshape(b, -1)
        at = flat.argmin(axis=1)
        values.append(flat[rows, at])
        kinds.append((length, turned, at))

    delta = near[:, :n, :n] + near[:, 1 : n + 1, 1 : n + 1]
    delta -= d[:, :n, None]
    delta -= d[:, None, :n]
    look(delta, two_bad, 0, True)
    before = (np.arange(n) - 1) % n
    for length in (1, 2, 3):
        if n < length + 3:
            continue
        # Stretch at positions s .. s + length - 1, put between j and j + 1.
        s_first, s_last = slice(0, n), slice(length - 1, n + length - 1)
        freed = d[:, before] + d[:, s_last] - near[:, before, (np.arange(n) + length) % n]
        for turned in (False, True) if length > 1 else (False,):
            one, two = (s_last, s_first) if turned else (s_first, s_last)
            delta = near[:, one, :n] + near[:, two, 1 : n + 1]
            delta -= d[:, None, :n]
            delta -= freed[:, :, None]
            look(delta, shift_bad[length], length, turned)
    table = np.stack(values)
    best = table.argmin(axis=0)
    moves = [(kinds[q][0], kinds[q][1], *divmod(int(kinds[q][2][row]), n)) for row, q in enumerate(best)]
    return table[best, rows], moves


def _apply(tour: Ints, move: tuple[int, bool, int, int]) -> Ints:
    length, turned, i, j = move
    if length == 0:
        out = tour.copy()
        out[i + 1 : j + 1] = tour[i + 1 : j + 1][::-1]
        return out
    rolled = np.roll(tour, -i)
    piece, rest = rolled[:length], rolled[length:]
    cut = (j - i) % len(tour) - length + 1
    return np.concatenate([rest[:cut], piece[::-1] if turned else piece, rest[cut:]])


def improve(matrix: Floats, tours: Ints, control: Control | None = None) -> tuple[Ints, Floats]:
    """Return tours of shape (B, N) brought to a local optimum each, and their lengths."""
    tours = tours.copy()
    active = np.arange(len(tours))
    while len(active):
        if control is not None:
            control.tick()
        gains, moves = _best_moves(matrix, tours[active])
        still = gains < -_TINY
        for row in np.flatnonzero(still):
            tours[active[row]] = _apply(tours[active[row]], moves[row])
        active = active[still]
    return tours, matrix[tours, np.roll(tours, -1, axis=1)].sum(axis=1)


def nearest_starts(matrix: Floats, starts: Ints) -> Ints:
    """Return nearest-neighbour tours from the given nodes, all at once."""
    b, n = len(starts), len(matrix)
    tours = np.empty((b, n), dtype=np.intp)
    tours[:, 0] = starts
    seen = np.zeros((b, n), dtype=bool)
    rows = np.arange(b)
    seen[rows, starts] = True
    for p in range(1, n):
        tours[:, p] = np.where(seen, np.inf, matrix[tours[:, p - 1]]).argmin(axis=1)
        seen[rows, tours[:, p]] = True
    return tours


def _kick(tour: Ints, rng: np.random.Generator) -> Ints:
    n = len(tour)
    if n < 8:
        return rng.permutation(tour)
    reach = min(n - 1, 30)
    cuts = np.sort(rng.choice(np.arange(1, reach), size=3, replace=False))
    tour = np.roll(tour, -int(rng.integers(n)))
    a, b, c = cuts
    return np.concatenate([tour[:a], tour[b:c], tour[a:b], tour[c:]])


def _search_tours(matrix: Floats, seed: int, effort: float, control: Control) -> list[tuple[float, Ints]]:
    n = len(matrix)
    rng = np.random.default_rng(seed)
    room = max(4, 80_000 // (n * n))
    starts = np.arange(n) if n <= 64 else np.linspace(0, n - 1, 64).astype(np.intp)
    tours = nearest_starts(matrix, starts)
    pool: list[tuple[float, Ints]] = [(float(matrix[t, np.roll(t, -1)].sum()), t) for t in tours[np.arange(len(tours))]]
    rounds = max(2, round(14 * effort))
    try:
        done, lengths = [], []
        for i in range(0, len(tours), room):
            got, cost = improve(matrix, tours[i : i + room], control)
            done.append(got)
            lengths.append(cost)
            control.tick(0.3 * (i + room) / len(tours))
        tours, costs = np.concatenate(done), np.concatenate(lengths)
        pool = [(float(c), t) for c, t in zip(costs, tours, strict=True)]
        chains = min(room, len(tours), 24)
        # Every chain goes on from a different start, the best ones first.
        keep = np.argsort(costs, kind="stable")[:chains]
        tours, costs = tours[keep], costs[keep]
        for r in range(rounds):
            tried, cost = improve(matrix, np.stack([_kick(t, rng) for t in tours]), control)
            better = cost < costs - _TINY
            tours[better], costs[better] = tried[better], cost[better]
            # The worst chain starts again from the best one.
            tours[int(costs.argmax())], costs[int(costs.argmax())] = tours[int(costs.argmin())], costs.min()
            control.tick(0.3 + 0.6 * (r + 1) / rounds)
        pool += [(float(c), t) for c, t in zip(costs, tours, strict=True)]
    except Stopped:
        pass
    return pool


@lru_cache(maxsize=8)
def all_shifts(m: int) -> Ints:
    """Return index tables of all orders with one item moved, and of the order as it is."""
    base = np.arange(m)
    out: dict[tuple[int, ...], None] = {tuple(base.tolist()): None}
    for i in range(m):
        for j in range(m):
            out[tuple(np.insert(np.delete(base, i), j, i).tolist())] = None
    return np.array(list(out), dtype=np.intp)


@lru_cache(maxsize=8)
def all_moves(m: int, k: int) -> Ints:
    """Return index tables of all shifts of one to three, exchanges (also with unused items) and turned stretches."""
    base = np.arange(m)
    out: dict[tuple[int, ...], None] = {}
    for length in (1, 2, 3):
        for i in range(k - length + 1):
            piece, rest = base[i : i + length], np.delete(base, slice(i, i + length))
            for j in range(k - length + 1):
                if i != j:
                    out[tuple(np.concatenate([rest[:j], piece, rest[j:]]).tolist())] = None
    for i in range(k):
        for j in range(i + 1, m):
            swapped = base.copy()
            swapped[[i, j]] = j, i
            out[tuple(swapped.tolist())] = None
    for i in range(k):
        for j in range(i + 2, k):
            turned = base.copy()
            turned[i : j + 1] = turned[i : j + 1][::-1]
            out[tuple(turned.tolist())] = None
    return np.array(list(out), dtype=np.intp).reshape(-1, m)


def _climb(problem: Problem, order: Ints, moves: Ints, control: Control) -> tuple[float, Ints]:
    k = problem.k
    value = float(problem.cost(order[None, :k])[0])
    while len(moves):
        control.tick()
        tried = order[moves]
        costs = problem.cost(tried[:, :k])
        at = int(costs.argmin())
        if costs[at] >= value - _TINY:
            break
        value, order = float(costs[at]), tried[at]
    return value, order


def _search_general(problem: Problem, seed: int, effort: float, control: Control) -> tuple[list[int], float]:
    from scipy.optimize import linear_sum_assignment

    rng = np.random.default_rng(seed)
    m, k = problem.m, problem.k
    moves = all_moves(m, k)
    _, assigned = linear_sum_assignment(problem.places)
    starts = [np.concatenate([assigned, np.setdiff1d(np.arange(m), assigned)])]
    both = (problem.edges + problem.edges.T) / 2
    starts += list(nearest_starts(both, np.linspace(0, m - 1, 4).astype(np.intp)))
    best_value, best = min(
        ((float(problem.cost(s[None, :k])[0]), s) for s in starts), key=lambda pair: (pair[0], tuple(pair[1]))
    )
    kicks = max(4, round(effort * 24 * max(1.0, 20 / k)))
    try:
        for i, start in enumerate(starts):
            value, order = _climb(problem, start, moves, control)
            if value < best_value - _TINY:
                best_value, best = value, order
            control.tick(0.5 * (i + 1) / len(starts))
        for r in range(kicks):
            kicked = np.concatenate([_kick(best[:k], rng), best[k:]])
            if k < m:
                out, into = rng.integers(k), rng.integers(k, m)
                kicked[[out, into]] = kicked[[into, out]]
            value, order = _climb(problem, kicked, moves, control)
            if value < best_value - _TINY:
                best_value, best = value, order
            control.tick(0.5 + 0.4 * (r + 1) / kicks)
    except Stopped:
        pass
    return best[:k].tolist(), best_value


def search(
    problem: Problem,
    *,
    seed: int = 0,
    effort: float = 1.0,
    control: Control | None = None,
) -> tuple[list[int], float]:
    """Return a good order of item numbers and its cost, penalties included.

    `effort`: multiplies the number of shakes; `control`: when it stops the search, the best order so far is returned.
    """
    control = control or Control()
    m = problem.m
    if m <= 5:
        every = np.array(list(permutations(range(m), problem.k)), dtype=np.intp)
        costs = problem.cost(every)
        return every[int(costs.argmin())].tolist(), float(costs.min())
    fast = problem.symmetric and not problem.spaced and problem.k == m
    if fast and problem.closed and problem.places.any():
        fast = False
    if not fast:
        return _search_general(problem, seed, effort, control)
    pool = _search_tours(tour_matrix(problem)[0], seed, effort, control)
    found = min(pool, key=lambda pair: pair[0])[1]
    order = tour_order(found, problem)
    return order.tolist(), float(problem.cost(order[None])[0])

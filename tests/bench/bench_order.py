"""Orders: time and memory of the exact search, gaps of the search beyond it, and the choice of colours.

Times are processor seconds of one thread, so that a busy machine does not matter, and multiples of a plain pass over
an array of the same size in the same run. Run it by `python tests/bench/run.py order`.
Palettes are random sRGB colours; seeds below 1000 were used while the code was written, those here were not.
"""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable

import numpy as np
from order_cases import palette
from test_order_bounds import milp_round, with_dummy

from blendplan.order import alternatives, find_order, step_matrix
from blendplan.order.exact import held_karp, solve_exact
from blendplan.order.find import Question, prepare
from blendplan.order.problem import Problem
from blendplan.order.solve import solve

TUNED, TESTED = "1 to 5", range(5000, 5012)


def _best_of(call: Callable[[], object], times: int = 3) -> float:
    """Seconds of the quickest of a few runs."""
    taken = []
    for _ in range(times):
        begin = time.process_time()
        call()
        taken.append(time.process_time() - begin)
    return min(taken)


def _problem(n: int, seed: int) -> Problem:
    model = prepare(palette(n, seed)).model
    return model.problem(model.goal.edges)


def _pass(n: int) -> float:
    """Seconds to add a row to, and take the least of, a table of 2**n rows of n: the least any such search does."""
    table, row = np.ones((1 << n, n)), np.ones(n)
    return _best_of(lambda: (table + row).min(axis=1), 2)


def _exact() -> list[str]:
    out = []
    for n, target_s, target_mb in ((16, 0.1, 10.0), (18, 0.4, None)):
        problem = _problem(n, 5000)
        seconds = _best_of(lambda p=problem: solve_exact(p))
        whole = _best_of(lambda p=problem: held_karp(p), 2)
        tracemalloc.start()
        solve_exact(problem)
        peak = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
        told = f", target {target_mb:.0f} MB" if target_mb else ""
        out.append(
            f"exact, {n} colours: {seconds:.3f} s (target {target_s} s) = {seconds / _pass(n):.1f} plain passes; the "
            f"whole table (a first or last colour asked for): {whole:.3f} s; "
            f"peak memory {peak:.1f} MB{told}"
        )
    return out


def _greedy(total: np.ndarray) -> float:
    walk = [0]
    cost = 0.0
    while len(walk) < len(total):
        row = total[walk[-1]].copy()
        row[walk] = np.inf
        cost += row.min()
        walk.append(int(row.argmin()))
    return cost


def _known_optimum() -> list[str]:
    """Stated against true gaps where the optimum is known."""
    true, stated, greedy, wrong = [], [], [], 0
    for n in (16, 17, 18):
        for seed in list(TESTED)[:3]:
            model = prepare(palette(n, seed)).model
            best, found = solve(model), solve(model, exact_items=0)
            true.append(found.value / best.value - 1)
            stated.append(found.value / found.bound - 1)
            wrong += found.bound > best.value + 1e-6
            greedy.append(_greedy(model.goal.edges) / best.value - 1)
    return [
        f"16 to 18 colours, search instead of proof, {len(true)} palettes: true gap mean {100 * np.mean(true):.3f} %, "
        f"max {100 * max(true):.3f} %; stated gap mean {100 * np.mean(stated):.3f} %, max {100 * max(stated):.3f} %; "
        f"bounds above the optimum: {wrong}; one greedy walk: mean {100 * np.mean(greedy):.1f} %"
    ]


def _beyond() -> list[str]:
    out = []
    for n, seeds in ((30, 3), (40, 3)):
        seconds, gaps, stated, proven = [], [], [], 0
        for seed in list(TESTED)[:seeds]:
            yarns = palette(n, seed)
            begin = time.process_time()
            found = find_order(yarns)
            seconds.append(time.process_time() - begin)
            proven += found.exact
            stated.append(found.gap)
            if found.exact:
                gaps.append(0.0)
                continue
            gaps.append(found.cost / milp_round(with_dummy(step_matrix(yarns).total)) - 1)
        out.append(
            f"{n} colours: {np.median(seconds):.2f} s median, {max(seconds):.2f} s max (target 0.5 s at 40); true gap, "
            f"against the optimum by another solver, mean {100 * np.mean(gaps):.3f} %, max {100 * max(gaps):.3f} % "
            f"(target below 0.5 %); stated gap max {100 * max(stated):.2f} %; proven {proven} of {seeds}"
        )
    return out


def _choice() -> list[str]:
    seconds, proven = [], 0
    for seed in list(TESTED)[:4]:
        begin = time.process_time()
        found = find_order(palette(30, seed), Question(choose=8))
        seconds.append(time.process_time() - begin)
        proven += found.exact
    return [f"8 of 30: {np.median(seconds):.2f} s median, {max(seconds):.2f} s max (target 2 s); proven {proven} of 4"]


def _blends() -> list[str]:
    changed, dearer = 0, []
    for seed in range(6000, 6060):
        yarns = palette(8, seed)
        with_blends, plain = find_order(yarns), find_order(yarns, Question(blend_rows=0))
        total = step_matrix(yarns).total
        at = [int(n[1:]) for n in plain.order]
        cost = float(total[at[:-1], at[1:]].sum())
        changed += cost > with_blends.cost + 1e-9
        dearer.append(cost / with_blends.cost - 1)
    return [
        f"counting the blends changes the best order in {changed} of 60 palettes of 8; the order without them costs "
        f"{100 * np.mean(dearer):.2f} % more on average, {100 * max(dearer):.1f} % at most (prototype, other palettes: "
        "20 of 60, 0.37 %, 2.6 %)"
    ]


def _list() -> list[str]:
    yarns = palette(12, 5000)
    found = alternatives(yarns)
    told = ", ".join(f"{100 * a.behind:.1f} %" for a in found[1:])
    return [f"five different orders of 12: {_best_of(lambda: alternatives(yarns), 2):.2f} s; dearer by {told}"]


def report() -> list[str]:
    """Return the lines of the report."""
    lines = [f"seeds: written with {TUNED}, measured on {TESTED.start} and up"]
    for part in (_exact, _known_optimum, _beyond, _choice, _blends, _list):
        lines += part()
    return lines


if __name__ == "__main__":
    print("\n".join(report()))

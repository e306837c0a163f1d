"""Rows per stripe by mixed-integer programming: the fit that all questions about yarn on hand come down to.

Each stripe has a whole number of rows between bounds; each colour has a limit in metres; the goal is one of three.
Solved by HiGHS through `scipy.optimize.milp`, with a time limit and the gap that remains.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from blendplan.errors import QuantityError, YarnError
from blendplan.stripes.model import Stripe
from blendplan.units import Amount, choice
from blendplan.wording import Notice, note, rounded

Goal = Literal["nearest", "longest", "least"]
_INFEASIBLE = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class RowProblem:
    """Stripes whose rows may change, and the yarn there is."""

    stripes: tuple[Stripe, ...]  # with the rows they are planned with
    low: tuple[int, ...]  # bounds of the rows of each stripe; equal where the stripe is fixed
    high: tuple[int, ...]
    row_m: float  # one row of one strand, metres
    # Metres of a colour that do not depend on rows: foundation chain, tails, border, fringe.
    fixed_m: tuple[tuple[str, float], ...] = ()
    # Metres of a colour that may be used in all; a colour that is not named has no limit.
    limit_m: tuple[tuple[str, float], ...] = ()

    def __post_init__(self) -> None:
        if not len(self.stripes) == len(self.low) == len(self.high) > 0:
            raise QuantityError(
                "bounds for {given} stripes were given and there are {allowed}; give one pair for each.",
                given=len(self.low),
                allowed=len(self.stripes),
            )
        for low, high in zip(self.low, self.high, strict=True):
            if not 0 <= low <= high:
                raise QuantityError(
                    "rows from {low} to {high} were given; the first must be 0 or more and not above the second.",
                    low=low,
                    high=high,
                )

    def used_m(self, rows: Sequence[int]) -> dict[str, float]:
        """Return metres of each colour for rows of each stripe."""
        total = dict(self.fixed_m)
        for stripe, n in zip(self.stripes, rows, strict=True):
            for name in stripe.strands:
                total[name] = total.get(name, 0.0) + n * self.row_m
        return total


@dataclass(frozen=True, slots=True, kw_only=True)
class RowFit:
    """Rows found."""

    rows: tuple[int, ...]  # of each stripe
    used_m: tuple[tuple[str, float], ...]  # of each colour
    # Colours whose limit holds the result back, the tightest first: those with a price in the linear relaxation.
    binding: tuple[str, ...]
    exact: bool  # true where no better answer exists (proven)
    gap: float  # how far from the best possible it may still be, as a share; 0 where exact

    @property
    def total(self) -> int:
        """All rows."""
        return sum(self.rows)


@dataclass(slots=True)
class _Model:
    """Columns: rows of each stripe, deviation of each stripe, one scale; rows of the matrix by their entries."""

    problem: RowProblem
    cost: NDArray[np.float64]
    matrix: list[dict[int, float]]
    low: list[float]
    high: list[float]
    colours: list[str]

    @property
    def size(self) -> int:
        return len(self.problem.stripes)

    def add(self, row: dict[int, float], low: float, high: float) -> None:
        self.matrix.append(row)
        self.low.append(low)
        self.high.append(high)

    def sparse(self) -> Any:
        from scipy.sparse import csr_array

        values = [value for row in self.matrix for value in row.values()]
        rows = [i for i, row in enumerate(self.matrix) for _ in row]
        columns = [column for row in self.matrix for column in row]
        return csr_array((values, (rows, columns)), shape=(len(self.matrix), 2 * self.size + 1))


def _model(problem: RowProblem, total: tuple[int, int] | None, evenly: bool) -> _Model:
    n = len(problem.stripes)
    model = _Model(problem, np.zeros(2 * n + 1), [], [], [], [])
    fixed = dict(problem.fixed_m)
    for name, limit in problem.limit_m:
        held = [(s, stripe.strands.count(name)) for s, stripe in enumerate(problem.stripes)]
        row = {s: n * problem.row_m for s, n in held if n}
        # One part in a million keeps a limit that is met exactly from failing on floating point.
        model.add(row, -math.inf, limit - fixed.get(name, 0.0) + 1e-6 * max(1.0, limit))
        model.colours.append(name)
    if total is not None:
        model.add(dict.fromkeys(range(n), 1.0), *total)
    for s, stripe in enumerate(problem.stripes):
        model.add({s: 1.0, n + s: -1.0}, -math.inf, stripe.rows)
        model.add({s: -1.0, n + s: -1.0}, -math.inf, -stripe.rows)
    if evenly:
        _keep_even(model)
    return model


def _keep_even(model: _Model) -> None:
    """Keep stripes in proportion: the planned rows times one common scale, rounded, all of one kind alike."""
    n = model.size
    kinds: dict[tuple[int, bool], int] = {}
    for s, stripe in enumerate(model.problem.stripes):
        if model.problem.low[s] == model.problem.high[s]:
            continue
        first = kinds.setdefault((stripe.rows, stripe.solid), s)
        if first != s:
            model.add({s: 1.0, first: -1.0}, 0, 0)
        else:
            model.add({s: 1.0, 2 * n: -float(stripe.rows)}, -0.5, 0.5)


def _solve(model: _Model, seconds: float) -> Any:
    from scipy.optimize import Bounds, LinearConstraint, milp

    n = model.size
    low = np.r_[np.array(model.problem.low, float), np.zeros(n + 1)]
    high = np.r_[np.array(model.problem.high, float), np.full(n + 1, np.inf)]
    whole = np.r_[np.ones(n), np.zeros(n + 1)]
    return milp(
        model.cost,
        integrality=whole,
        bounds=Bounds(low, high),
        constraints=LinearConstraint(model.sparse(), np.array(model.low), np.array(model.high)),
        options={"time_limit": seconds, "mip_rel_gap": 0.0},
    )


def _binding(model: _Model) -> tuple[str, ...]:
    """Return the colours with a price in the linear relaxation."""
    from scipy.optimize import linprog
    from scipy.sparse import vstack

    matrix, low, high = model.sparse(), np.array(model.low), np.array(model.high)
    equal = low == high
    upper = ~equal & np.isfinite(high)
    lower = ~equal & np.isfinite(low)
    n = model.size
    result = linprog(
        model.cost,
        A_ub=vstack([matrix[upper], -matrix[lower]]),
        b_ub=np.r_[high[upper], -low[lower]],
        A_eq=matrix[equal] if equal.any() else None,
        b_eq=high[equal] if equal.any() else None,
        bounds=[*zip(model.problem.low, model.problem.high, strict=True), *[(0, None)] * (n + 1)],
        method="highs",
    )
    if result.status != 0:
        return ()
    price = result.ineqlin.marginals[: len(model.colours)]
    ranked = sorted((p, name) for p, name in zip(price, model.colours, strict=True) if p < -1e-9)
    return tuple(name for _, name in ranked)


def unproven(gap: float) -> Notice:
    """Return that an answer was not proven best, and how much better another may be, as a share."""
    return note(
        "The time ran out before this was proven best; a better answer may differ by {gap} %.",
        "assumed",
        gap=rounded(100 * gap, 1),
    )


def fit_rows(
    problem: RowProblem,
    goal: Goal,
    *,
    total: int | None = None,
    scarce: str = "",
    evenly: bool = False,
    seconds: float = 3.0,
) -> RowFit:
    """Return rows for every stripe within the yarn there is."""
    choice(goal, "goal", ("nearest", "longest", "least"))
    _must_reach(problem)
    n = len(problem.stripes)
    rows_cost = np.r_[np.ones(n), np.zeros(n + 1)]
    change_cost = np.r_[np.zeros(n), np.ones(n), 0.0]
    wanted = None if total is None else (total, total)
    if goal == "longest":
        model = _model(problem, None if total is None else (0, total), evenly)
        model.cost = -rows_cost
        best = _checked(_solve(model, seconds))
        reached = round(float(rows_cost @ best.x))
        binding = _binding(model)
        # Among all answers with as many rows, the one nearest to the plan.
        model = _model(problem, (reached, reached), evenly)
        model.cost = change_cost
        final = _solve(model, seconds)
        return _fit(problem, final if final.x is not None else best, binding, best)
    model = _model(problem, wanted, evenly)
    if goal == "least":
        model.cost = np.array([s.strands.count(scarce) * problem.row_m for s in problem.stripes] + [0.0] * (n + 1))
        best = _checked(_solve(model, seconds))
        cap = {i: float(c) for i, c in enumerate(model.cost) if c}
        model.add(cap, -math.inf, float(model.cost @ best.x) + 1e-6)
        model.cost = change_cost
        final = _solve(model, seconds)
        return _fit(problem, final if final.x is not None else best, _binding(model), best)
    model.cost = change_cost
    best = _solve(model, seconds)
    if best.x is None and total is not None:
        return fit_rows(problem, "longest", total=total, evenly=evenly, seconds=seconds)
    best = _checked(best)
    return _fit(problem, best, _binding(model), best)


def _must_reach(problem: RowProblem) -> None:
    used = problem.used_m(problem.low)
    lacking = [(used.get(n, 0.0) - limit, n) for n, limit in problem.limit_m if used.get(n, 0.0) > limit * (1 + 1e-6)]
    if lacking:
        metres, name = max(lacking)
        raise YarnError(
            "even with the fewest rows {name} lacks {metres}; use fewer stripes of it, narrower rows or one "
            "more skein.",
            name=name,
            metres=Amount(metres, "m", 1),
        )


def _checked(result: Any) -> Any:
    if result.x is None:
        if result.status == _INFEASIBLE:
            raise YarnError(
                "no number of rows fits the yarn and the bounds; allow fewer rows in a stripe or another total."
            )
        raise YarnError("no answer was found within the time limit; allow more seconds or fewer stripes.")
    return result


def _fit(problem: RowProblem, final: Any, binding: tuple[str, ...], first: Any) -> RowFit:
    rows = tuple(round(float(v)) for v in final.x[: len(problem.stripes)])
    gaps = [float(r.mip_gap or 0.0) for r in (first, final)]
    return RowFit(
        rows=rows,
        used_m=tuple(sorted(problem.used_m(rows).items())),
        binding=binding,
        exact=first.status == 0 and final.status == 0,
        gap=max(0.0, *gaps),
    )

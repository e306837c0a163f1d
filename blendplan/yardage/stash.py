"""From the yarn on hand: how many rows, how long the stripes, how large the blanket, how to spare the scarce colour."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from blendplan.errors import YarnError
from blendplan.stripes.model import MAX_ROWS, Stripe, changes
from blendplan.units import number, whole
from blendplan.wording import Notice, note, rounded
from blendplan.yardage.length import Yardage
from blendplan.yardage.models import Z90
from blendplan.yardage.need import Demand, supply_of
from blendplan.yardage.rowfit import RowFit, RowProblem, fit_rows
from blendplan.yardage.settings import YardageSettings
from blendplan.yardage.skeins import Supply, chance_short
from blendplan.yarn import Yarn

__all__ = [
    "RowsPossible",
    "StashFit",
    "limits_m",
    "longest_stripes",
    "rows_possible",
    "spare_scarce",
    "usable_m",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class RowsPossible:
    """How far the yarn on hand goes in the planned order.

    Attributes
    ----------
    expected : int
        Rows that the mean length allows.
    sure : int
        Rows that are reached but for the accepted chance.
    planned : int
    runs_out : tuple of str
        Colours that stop the sure rows; empty where all planned rows are reached.
    notices : tuple of Notice
    """

    expected: int
    sure: int
    planned: int
    runs_out: tuple[str, ...]
    notices: tuple[Notice, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StashFit:
    """Stripes that the yarn on hand allows.

    Attributes
    ----------
    stripes : tuple of Stripe
    fit : RowFit
    notices : tuple of Notice
        Which colour binds, and the gap where the answer is not proven.
    """

    stripes: tuple[Stripe, ...]
    fit: RowFit
    notices: tuple[Notice, ...]


def usable_m(supply: Supply, spread: float, chance: float | None) -> float:
    """Return the largest need that a supply covers but for a chance; with None the metres themselves.

    Parameters
    ----------
    supply : Supply
    spread : float
        Half-width of the central 90 % range of the need as a share of it.
    chance : float or None
        0.0001 to 0.5.

    Notes
    -----
    Bisection on the closed form of `skeins.chance_short`, which grows with the need.
    """
    if chance is None:
        return float(supply.nominal_m)
    number(chance, "chance of running short", 0.0001, 0.5)
    low, high = 0.0, float(supply.nominal_m)
    if chance_short(high, high * spread / Z90, supply) <= chance:
        return high
    for _ in range(60):
        middle = (low + high) / 2
        if chance_short(middle, middle * spread / Z90, supply) <= chance:
            low = middle
        else:
            high = middle
    return low


def limits_m(
    yardage: Yardage, yarns: Sequence[Yarn], settings: YardageSettings, chance: float | None
) -> dict[str, float]:
    """Return the metres on hand of each colour that may be planned with; colours without a band are left out."""
    row = max(yardage.rows_m)
    out = {}
    for yarn in yarns:
        if yarn.put_up is not None:
            demand = Demand(stitched_m=0, fixed_m=0, tails_m=0, spread=yardage.relative_spread, row_m=row)
            supply = supply_of(yarn, yarn.put_up, demand, settings)
            out[yarn.name] = usable_m(supply, yardage.relative_spread, chance)
    return out


def rows_possible(
    stripes: Sequence[Stripe], yardage: Yardage, yarns: Sequence[Yarn], settings: YardageSettings | None = None
) -> RowsPossible:
    """Return how many of the planned rows the yarn on hand makes, worked in order.

    Notes
    -----
    Row by row the need of each colour is summed, its tails as they fall; the first row that a colour cannot cover
    ends the count. Border, fringe and swatch are not counted.
    """
    settings = settings or YardageSettings()
    planned = len(yardage.rows_m)
    expected, _ = _rows_until(stripes, yardage, limits_m(yardage, yarns, settings, None), settings)
    sure, names = _rows_until(stripes, yardage, limits_m(yardage, yarns, settings, settings.chance_short), settings)
    notices = []
    if sure < planned:
        notices.append(
            note(
                "The yarn on hand makes {sure} of {planned} rows for sure and {expected} as expected; "
                "{names} ends first.",
                sure=sure,
                planned=planned,
                expected=expected,
                names=", ".join(names),
            )
        )
    return RowsPossible(expected=expected, sure=sure, planned=planned, runs_out=names, notices=tuple(notices))


def _rows_until(
    stripes: Sequence[Stripe], yardage: Yardage, limits: dict[str, float], settings: YardageSettings
) -> tuple[int, tuple[str, ...]]:
    tail = settings.tail_cm / 100
    used: defaultdict[str, float] = defaultdict(float)
    row = 0
    cut: Counter[str] = Counter(stripes[0].strands)
    for i, stripe in enumerate(stripes):
        if i:
            change = changes(stripes[i - 1 : i + 1])[0]
            cut.update((*change.cut, *change.join))
        tails = cut + Counter(stripe.strands)  # as if the work stopped after this stripe
        for _ in range(stripe.rows):
            need: defaultdict[str, float] = defaultdict(float)
            for name in stripe.strands:
                need[name] += yardage.rows_m[row] + (0.0 if row else yardage.foundation_m)
            short = [
                n for n in need if n in limits and used[n] + need[n] + tails[n] * tail > limits[n] * (1 + 1e-9) + 1e-9
            ]
            if short:
                return row, tuple(sorted(short))
            for name, metres in need.items():
                used[name] += metres
            row += 1
    return row, ()


def problem_of(
    stripes: Sequence[Stripe],
    yardage: Yardage,
    limits: dict[str, float],
    *,
    low: Sequence[int] | None = None,
    high: Sequence[int] | None = None,
) -> RowProblem:
    """Return the stripes as a problem of rows: locked ones fixed, others from 1 row on."""
    row = max(yardage.rows_m)
    planned: defaultdict[str, float] = defaultdict(float)
    for stripe in stripes:
        for name in stripe.strands:
            planned[name] += stripe.rows * row
    fixed = tuple((c.name, max(0.0, c.need_m - planned[c.name])) for c in yardage.colours)
    names = {name for stripe in stripes for name in stripe.strands}
    return RowProblem(
        stripes=tuple(stripes),
        low=tuple(low) if low is not None else tuple(s.rows if s.locked else 1 for s in stripes),
        high=tuple(high) if high is not None else tuple(s.rows if s.locked else MAX_ROWS for s in stripes),
        row_m=row,
        fixed_m=fixed,
        limit_m=tuple((n, m) for n, m in limits.items() if n in names),
    )


def with_rows(stripes: Sequence[Stripe], rows: Sequence[int]) -> tuple[Stripe, ...]:
    """Return the stripes with other rows; those with none are left out."""
    return tuple(replace(s, rows=n) for s, n in zip(stripes, rows, strict=True) if n)


def explain(fit: RowFit) -> tuple[Notice, ...]:
    """Return the sentences that go with a fit: which colour binds, and the gap where nothing is proven."""
    out = []
    if fit.binding:
        out.append(note("Held back by {names}: more of it would allow more.", names=", ".join(fit.binding)))
    if not fit.exact:
        out.append(
            note(
                "The time ran out before this was proven best; a better answer may differ by {gap} %.",
                "assumed",
                gap=rounded(100 * fit.gap, 1),
            )
        )
    return tuple(out)


def longest_stripes(
    stripes: Sequence[Stripe],
    yardage: Yardage,
    yarns: Sequence[Yarn],
    settings: YardageSettings | None = None,
    *,
    evenly: bool = True,
    seconds: float = 3.0,
) -> StashFit:
    """Return the longest stripes that the yarn on hand allows, at the accepted chance of running short.

    Parameters
    ----------
    stripes, yardage, yarns, settings
        As planned; locked stripes keep their rows.
    evenly : bool
        True keeps stripes planned alike alike and all in proportion; False lets plentiful colours grow.
    seconds : float
        Time limit of a solve.

    Raises
    ------
    YarnError
        If one row of every stripe is already too much, or a colour without a band is the only limit.
    """
    settings = settings or YardageSettings()
    limits = limits_m(yardage, yarns, settings, settings.chance_short)
    must_limit(stripes, limits)
    problem = problem_of(stripes, yardage, limits)
    fit = fit_rows(problem, "longest", total=MAX_ROWS, evenly=evenly, seconds=seconds)
    return StashFit(stripes=with_rows(stripes, fit.rows), fit=fit, notices=explain(fit))


def must_limit(stripes: Sequence[Stripe], limits: dict[str, float]) -> None:
    """Refuse a stripe that no yarn on hand limits, because none of its yarns has a band."""
    for stripe in stripes:
        if not stripe.locked and not any(name in limits for name in stripe.strands):
            raise YarnError(
                "nothing limits a stripe of {names}: give grams and metres of its yarn from the band.",
                names=", ".join(stripe.strands),
            )


def spare_scarce(
    stripes: Sequence[Stripe],
    yardage: Yardage,
    scarce: str,
    yarns: Sequence[Yarn] = (),
    settings: YardageSettings | None = None,
    *,
    most_change: int = 2,
    seconds: float = 3.0,
) -> StashFit:
    """Return stripes with as many rows in all as planned that use the scarce colour least.

    Parameters
    ----------
    stripes, yardage
        As planned; locked stripes keep their rows.
    scarce : str
    yarns : sequence of Yarn
        Their yarn on hand limits the other colours where given; by default those may be bought.
    settings : YardageSettings, optional
    most_change : int
        Rows by which one stripe may grow or shrink, 1 to 100; every stripe keeps at least one.
    seconds : float

    Raises
    ------
    YarnError
        If the colour is not used or nothing can be changed within the yarn.
    """
    settings = settings or YardageSettings()
    whole(most_change, "rows that a stripe may change by", 1, 100)
    if not any(scarce in s.strands for s in stripes):
        raise YarnError(
            "no stripe uses {given}; the stripes use {allowed}.",
            given=repr(scarce),
            allowed=", ".join(sorted({n for s in stripes for n in s.strands})),
        )
    limits = limits_m(yardage, yarns, settings, settings.chance_short) if yarns else {}
    limits.pop(scarce, None)
    problem = problem_of(
        stripes,
        yardage,
        limits,
        low=[s.rows if s.locked else max(1, s.rows - most_change) for s in stripes],
        high=[s.rows if s.locked else s.rows + most_change for s in stripes],
    )
    total = sum(s.rows for s in stripes)
    fit = fit_rows(problem, "least", total=total, scarce=scarce, seconds=seconds)
    before = problem.used_m([s.rows for s in stripes])[scarce]
    after = dict(fit.used_m)[scarce]
    told = note(
        "{name} is used over {after} m instead of {before} m, with {rows} rows as planned.",
        name=scarce,
        after=rounded(after, 1),
        before=rounded(before, 1),
        rows=total,
    )
    return StashFit(stripes=with_rows(stripes, fit.rows), fit=fit, notices=(told, *explain(fit)))

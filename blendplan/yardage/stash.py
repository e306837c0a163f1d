"""From the yarn on hand: how many rows, how long the stripes, how large the blanket, how to spare the scarce colour."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from blendplan.budgets import MAX_ROWS
from blendplan.errors import YarnError
from blendplan.stripes.model import Stripe, runs_of, total_rows
from blendplan.units import Amount, number, whole
from blendplan.wording import Notice, Rounded, note
from blendplan.yardage.length import Yardage
from blendplan.yardage.measured import Z90
from blendplan.yardage.need import Demand, Supply, chance_short, supply_of
from blendplan.yardage.rowfit import RowFit, RowProblem, fit_rows, unproven
from blendplan.yardage.settings import YardageSettings, tail_counts
from blendplan.yarn import Yarn


@dataclass(frozen=True, slots=True, kw_only=True)
class RowsPossible:
    """How far the yarn on hand goes in the planned order."""

    expected: int  # rows that the mean length allows
    sure: int  # rows that are reached but for the accepted chance
    planned: int
    runs_out: tuple[str, ...]  # colours that stop the sure rows; empty where all planned rows are reached
    notices: tuple[Notice, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StashFit:
    """Stripes that the yarn on hand allows."""

    stripes: tuple[Stripe, ...]
    fit: RowFit
    notices: tuple[Notice, ...]  # which colour binds, and the gap where the answer is not proven


def usable_m(supply: Supply, spread: float, chance: float | None) -> float:
    """Return the largest need that a supply covers but for a chance; with None the metres themselves.

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
    begun: defaultdict[int, list[str]] = defaultdict(list)
    for run in runs_of(stripes):
        begun[run.first_stripe].append(run.name)
    tails: Counter[str] = Counter()  # as if the work stopped after this stripe: both ends of all that was joined
    for i, stripe in enumerate(stripes, 1):
        tails.update(begun[i] * 2)
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
        out.append(unproven(fit.gap))
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
    """Return the longest stripes that the yarn on hand allows, at the accepted chance of running short."""
    settings = settings or YardageSettings()
    limits = limits_m(yardage, yarns, settings, settings.chance_short)
    must_limit(stripes, limits)
    problem = problem_of(stripes, yardage, limits)
    fit = fit_rows(problem, "longest", total=MAX_ROWS, evenly=evenly, seconds=seconds)
    planned = total_rows(stripes)
    told = note("The yarn on hand makes {rows} rows where {planned} are planned.", rows=fit.total, planned=planned)
    said = (told, *explain(fit)) if fit.total != planned else explain(fit)
    return StashFit(stripes=with_rows(stripes, fit.rows), fit=fit, notices=said)


def must_limit(stripes: Sequence[Stripe], limits: dict[str, float]) -> None:
    """Refuse a stripe that no yarn on hand limits, because none of its yarns has a band."""
    for stripe in stripes:
        if not stripe.locked and not any(name in limits for name in stripe.strands):
            raise YarnError(
                "nothing limits a stripe of {names}: give grams and metres of its yarn from the label.",
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
    """Return stripes with as many rows in all as planned that use the scarce colour least."""
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
        "{name} is used over {after} instead of {before}, with {rows} rows as planned.",
        name=scarce,
        after=Amount(after, "m", 1),
        before=Amount(before, "m", 1),
        rows=total,
    )
    return StashFit(stripes=with_rows(stripes, fit.rows), fit=fit, notices=(told, *explain(fit)))


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeOption:
    """One width that could be worked."""

    repeats: int
    width_cm: float  # finished width and rise of one row
    rise_cm: float
    row_m: float  # one row and the chain, metres of each strand
    foundation_m: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LargestBlanket:
    """The largest blanket within the yarn and the wanted proportions."""

    size: SizeOption
    stripes: tuple[Stripe, ...]
    width_cm: float
    height_cm: float
    fit: RowFit
    notices: tuple[Notice, ...]


def largest_blanket(
    stripes: Sequence[Stripe],
    yardage: Yardage,
    yarns: Sequence[Yarn],
    sizes: Sequence[SizeOption],
    settings: YardageSettings | None = None,
    *,
    proportion: tuple[float, float] = (1.0, 1.5),
    seconds: float = 1.0,
) -> LargestBlanket:
    """Return the largest blanket that the yarn on hand makes in one of several widths."""
    settings = settings or YardageSettings()
    least, most = (number(p, "height over width", 0.1, 10) for p in proportion)
    limits = limits_m(yardage, yarns, settings, settings.chance_short)
    must_limit(stripes, limits)
    best = _best(stripes, limits, sizes, settings, (least, most, seconds))
    if best is None:
        smallest = min(sizes, key=lambda size: size.row_m)
        problem = _problem(stripes, limits, smallest, settings)
        used = problem.used_m(problem.low)
        short = [name for name, metres in limits.items() if used.get(name, 0.0) > metres]
        if short:
            raise YarnError(
                "not even {width} with one row of each stripe can be made from the yarn on hand, for want of {names}; "
                "buy some, or leave it out of the stripes.",
                width=Amount(smallest.width_cm, "cm"),
                names=", ".join(short),
            )
        raise YarnError(
            "none of {given} widths can be made from the yarn on hand with a height of {low} to {high} times the "
            "width; try narrower ones or other proportions.",
            given=len(sizes),
            low=Rounded(f"{least:g}"),
            high=Rounded(f"{most:g}"),
        )
    said = [
        note(
            "{width} x {height} is the largest that the yarn on hand makes.",
            width=Amount(best.width_cm, "cm", bare=True),
            height=Amount(best.height_cm, "cm"),
        ),
        *explain(best.fit),
        *([] if best.fit.binding else _wider(stripes, limits, sizes, settings, (best.width_cm, most, seconds))),
    ]
    if settings.border is not None or settings.fringe is not None:
        said.append(note("Border and fringe are not counted in it.", "warning"))
    others = [s for s in stripes if not set(s.strands) & set(best.fit.binding)]
    freed = _best(others, limits, sizes, settings, (least, most, seconds)) if others and best.fit.binding else None
    if freed is not None and freed.width_cm * freed.height_cm > best.width_cm * best.height_cm:
        said.append(
            note(
                "Without the stripes of {names} it would be {width} x {height}.",
                names=", ".join(best.fit.binding),
                width=Amount(freed.width_cm, "cm", bare=True),
                height=Amount(freed.height_cm, "cm"),
            )
        )
    return replace(best, notices=tuple(said))


def _wider(
    stripes: Sequence[Stripe],
    limits: Mapping[str, float],
    sizes: Sequence[SizeOption],
    settings: YardageSettings,
    than: tuple[float, float, float],
) -> list[Notice]:
    """Return which yarn holds the width after one back, within the greatest height over width and seconds."""
    width, most, seconds = than
    wider = min((s for s in sizes if s.width_cm > width), key=lambda s: s.width_cm, default=None)
    if wider is None:
        return []
    problem = _problem(stripes, limits, wider, settings)
    rows = min(MAX_ROWS, int(most * wider.width_cm / wider.rise_cm + 1e-9))
    try:
        names = fit_rows(problem, "longest", total=rows, evenly=True, seconds=seconds).binding
    except YarnError:
        used = problem.used_m(problem.low)
        names = tuple(name for name, metres in limits.items() if used.get(name, 0.0) > metres)
    asked = {"width": Amount(wider.width_cm, "cm"), "names": ", ".join(names)}
    return [note("The next width, {width}, needs more of {names}.", **asked)] if names else []


def _problem(
    stripes: Sequence[Stripe], limits: Mapping[str, float], size: SizeOption, settings: YardageSettings
) -> RowProblem:
    """Return the rows of a width as a problem: locked stripes keep theirs, tails and foundation do not depend on it."""
    tails = tail_counts(stripes)
    fixed = {name: n * settings.tail_cm / 100 for name, n in tails.items()}
    for name in stripes[0].strands:
        fixed[name] += size.foundation_m
    return RowProblem(
        stripes=tuple(stripes),
        low=tuple(s.rows if s.locked else 1 for s in stripes),
        high=tuple(s.rows if s.locked else MAX_ROWS for s in stripes),
        row_m=size.row_m,
        fixed_m=tuple(fixed.items()),
        limit_m=tuple((n, m) for n, m in limits.items() if n in tails),
    )


def _best(
    stripes: Sequence[Stripe],
    limits: Mapping[str, float],
    sizes: Sequence[SizeOption],
    settings: YardageSettings,
    within: tuple[float, float, float],
) -> LargestBlanket | None:
    """Return the largest of all widths, within height over width and seconds; None where none can be made."""
    least, most, seconds = within
    best: LargestBlanket | None = None
    for size in sizes:
        cap = min(MAX_ROWS, int(most * size.width_cm / size.rise_cm + 1e-9))
        try:
            problem = _problem(stripes, limits, size, settings)
            fit = fit_rows(problem, "longest", total=cap, evenly=True, seconds=seconds)
        except YarnError:
            continue
        height = fit.total * size.rise_cm
        if height < least * size.width_cm:
            continue
        if best is None or height * size.width_cm > best.height_cm * best.width_cm:
            best = LargestBlanket(
                size=size,
                stripes=with_rows(stripes, fit.rows),
                width_cm=size.width_cm,
                height_cm=height,
                fit=fit,
                notices=(),
            )
    return best

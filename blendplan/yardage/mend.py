"""If the yarn falls short: what to change with what is not yet worked, finished rows kept."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from blendplan.errors import YarnError
from blendplan.stripes.model import Stripe, total_rows
from blendplan.wording import Notice, note
from blendplan.yardage.length import Yardage
from blendplan.yardage.models import Z90
from blendplan.yardage.progress import ColourForecast, Progress, bands_of, starts_of
from blendplan.yardage.rowfit import RowFit, RowProblem, fit_rows
from blendplan.yardage.settings import YardageSettings
from blendplan.yardage.skeins import metres_exact, normal_cdf, skeins_to_buy
from blendplan.yardage.stash import explain
from blendplan.yarn import PutUp, Yarn

__all__ = ["Mended", "mend"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mended:
    """What is not yet worked, changed so that the yarn reaches.

    Attributes
    ----------
    stripes : tuple of Stripe
        All stripes, rows done kept.
    changed : tuple of (int, int, int)
        Stripe from 1, rows before, rows after.
    fit : RowFit or None
        None where no change of rows can save it.
    buy : tuple of (str, int)
        Skeins to buy instead, for each colour that is short.
    notices : tuple of Notice
    """

    stripes: tuple[Stripe, ...]
    changed: tuple[tuple[int, int, int], ...]
    fit: RowFit | None
    buy: tuple[tuple[str, int], ...]
    notices: tuple[Notice, ...]


def _quantile(chance: float) -> float:
    """Return the standard normal quantile of 1 - chance, by bisection."""
    low, high = 0.0, 8.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if 1 - normal_cdf(middle) > chance else (low, middle)
    return high


def mend(
    stripes: Sequence[Stripe],
    yardage: Yardage,
    yarns: Sequence[Yarn],
    progress: Progress,
    settings: YardageSettings | None = None,
    *,
    seconds: float = 3.0,
) -> Mended:
    """Return the unworked stripes changed so that every colour reaches, finished rows kept.

    Parameters
    ----------
    stripes, yardage, yarns, settings
        As planned.
    progress : Progress
        From `update`.
    seconds : float
        Time limit of a solve.

    Notes
    -----
    As many rows in all as planned where the yarn allows, else as many as it allows; among these the rows that differ
    least from the plan. Stripes not begun keep at least one row; a locked one keeps its rows.
    """
    settings = settings or YardageSettings()
    bands = bands_of(yardage, yarns)
    row_m = max(yardage.rows_m)
    z = _quantile(settings.chance_short)
    ahead: list[Stripe] = []
    where: list[int] = []
    kept: list[int] = []
    for i, (stripe, first) in enumerate(zip(stripes, starts_of(stripes), strict=True)):
        done = min(stripe.rows, max(0, progress.rows_done - first))
        kept.append(done)
        if done < stripe.rows:
            ahead.append(replace(stripe, rows=stripe.rows - done))
            where.append(i)
    buy = tuple((c.name, _lacking_skeins(c, bands[c.name])) for c in progress.colours if c.name in progress.short)
    if not progress.short or not ahead:
        return Mended(stripes=tuple(stripes), changed=(), fit=None, buy=buy, notices=())
    limits, fixed = {}, {}
    planned: defaultdict[str, float] = defaultdict(float)
    for stripe in ahead:
        for name in stripe.strands:
            planned[name] += stripe.rows * row_m
    for colour in progress.colours:
        per_m = colour.factor / float(bands[colour.name].m_per_g)
        sd = (colour.high_g - colour.need_g) / Z90 / colour.need_g if colour.need_g else 0.0
        limits[colour.name] = colour.left_g / (1 + z * sd) / per_m
        fixed[colour.name] = max(0.0, colour.need_g / per_m - planned[colour.name])
    begun = [kept[i] > 0 for i in where]
    problem = RowProblem(
        stripes=tuple(ahead),
        low=tuple(s.rows if s.locked else int(not b) for s, b in zip(ahead, begun, strict=True)),
        high=tuple(s.rows if s.locked else 3 * s.rows + 2 for s in ahead),
        row_m=row_m,
        fixed_m=tuple(fixed.items()),
        limit_m=tuple(limits.items()),
    )
    try:
        fit = fit_rows(problem, "nearest", total=total_rows(ahead), seconds=seconds)
    except YarnError:
        told = note("No change of rows makes the yarn reach; buy what is lacking, or use another colour.", "warning")
        return Mended(stripes=tuple(stripes), changed=(), fit=None, buy=buy, notices=(told,))
    rows = list(kept)
    for i, n in zip(where, fit.rows, strict=True):
        rows[i] += n
    changed = tuple((i + 1, s.rows, n) for i, (s, n) in enumerate(zip(stripes, rows, strict=True)) if s.rows != n)
    notices = [
        note("Stripe {stripe}: {after} rows instead of {before}.", stripe=i, before=before, after=after)
        for i, before, after in changed
    ]
    if fit.total < total_rows(ahead):
        notices.append(
            note("The blanket becomes {fewer} rows shorter.", "warning", fewer=total_rows(ahead) - fit.total)
        )
    new = tuple(replace(s, rows=n) for s, n in zip(stripes, rows, strict=True) if n)
    return Mended(stripes=new, changed=changed, fit=fit, buy=buy, notices=(*notices, *explain(fit)))


def _lacking_skeins(colour: ColourForecast, band: PutUp) -> int:
    """Return whole skeins that bring a colour up to the upper end of its range."""
    return skeins_to_buy(metres_exact(max(0.0, colour.high_g - colour.left_g)), band.mass_g)

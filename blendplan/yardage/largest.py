"""The largest blanket that the yarn on hand makes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from blendplan.errors import YarnError
from blendplan.stripes.model import MAX_ROWS, Stripe
from blendplan.units import number
from blendplan.wording import Notice, Rounded
from blendplan.yardage.extras import tail_counts
from blendplan.yardage.length import Yardage
from blendplan.yardage.rowfit import RowFit, RowProblem, fit_rows
from blendplan.yardage.settings import YardageSettings
from blendplan.yardage.stash import explain, limits_m, must_limit, with_rows
from blendplan.yarn import Yarn

__all__ = ["LargestBlanket", "SizeOption", "largest_blanket"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeOption:
    """One width that could be worked.

    Attributes
    ----------
    repeats : int
    width_cm, rise_cm : float
        Finished width and rise of one row.
    row_m, foundation_m : float
        One row and the chain, metres of each strand.
    """

    repeats: int
    width_cm: float
    rise_cm: float
    row_m: float
    foundation_m: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LargestBlanket:
    """The largest blanket within the yarn and the wanted proportions.

    Attributes
    ----------
    size : SizeOption
    stripes : tuple of Stripe
    width_cm, height_cm : float
    fit : RowFit
    notices : tuple of Notice
    """

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
    """Return the largest blanket that the yarn on hand makes in one of several widths.

    Parameters
    ----------
    stripes, yardage, yarns, settings
        As planned; stripes keep their proportions.
    sizes : sequence of SizeOption
        Widths to try.
    proportion : tuple of 2 floats
        Least and greatest height over width.
    seconds : float
        Time limit for each width.

    Raises
    ------
    YarnError
        If no width can be made within the proportions.
    """
    settings = settings or YardageSettings()
    least, most = (number(p, "height over width", 0.1, 10) for p in proportion)
    limits = limits_m(yardage, yarns, settings, settings.chance_short)
    must_limit(stripes, limits)
    tails = tail_counts(stripes)
    best: LargestBlanket | None = None
    for size in sizes:
        cap = min(MAX_ROWS, int(most * size.width_cm / size.rise_cm + 1e-9))
        fixed = {name: n * settings.tail_cm / 100 for name, n in tails.items()}
        for name in stripes[0].strands:
            fixed[name] += size.foundation_m
        problem = RowProblem(
            stripes=tuple(stripes),
            low=tuple(s.rows if s.locked else 1 for s in stripes),
            high=tuple(s.rows if s.locked else MAX_ROWS for s in stripes),
            row_m=size.row_m,
            fixed_m=tuple(fixed.items()),
            limit_m=tuple((n, m) for n, m in limits.items() if n in tails),
        )
        try:
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
                notices=explain(fit),
            )
    if best is None:
        raise YarnError(
            "none of {given} widths can be made from the yarn on hand with a height of {low} to {high} times the "
            "width; try narrower ones or other proportions.",
            given=len(sizes),
            low=Rounded(f"{least:g}"),
            high=Rounded(f"{most:g}"),
        )
    return best

"""Whole rows from shares: largest remainder, the sum exact."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from blendplan.errors import StripeError
from blendplan.stripes.model import MAX_ROWS
from blendplan.units import exact, whole

__all__ = ["rows_from_shares"]


def rows_from_shares(shares: Sequence[object], rows: int, *, least: int = 0) -> tuple[int, ...]:
    """Return whole rows that follow shares and add up to `rows` exactly.

    Parameters
    ----------
    shares : sequence of number
        Not negative, one above zero; they need not add up to 1.
    rows : int
    least : int
        Rows that every part gets at least.

    Notes
    -----
    Method of the largest remainder (Hare quota) in exact fractions; of equal remainders the earlier part gets the row.
    With `least`, parts whose share gives fewer get `least` and the others share the rest.

    Examples
    --------
    >>> rows_from_shares([1, 1, 1], 100), rows_from_shares(["0.5", "0.3", "0.2"], 7)
    ((34, 33, 33), (4, 2, 1))
    """
    total_rows = whole(rows, "rows", 0, MAX_ROWS)
    least = whole(least, "least rows of a part", 0, MAX_ROWS)
    parts = [exact(share, "share") for share in shares]
    if not parts or min(parts) < 0 or sum(parts) <= 0:
        raise StripeError(
            "shares must be 0 or more and not all 0; {given} was given.",
            given=", ".join(str(s) for s in shares) or "none",
        )
    if least * len(parts) > total_rows:
        raise StripeError(
            "{rows} rows cannot give each of {parts} parts {least}; the least that works is {needed} rows.",
            rows=total_rows,
            parts=len(parts),
            least=least,
            needed=least * len(parts),
        )
    held: set[int] = set()
    while True:
        free = [i for i in range(len(parts)) if i not in held]
        weight = sum((parts[i] for i in free), Fraction(0))
        left = total_rows - least * len(held)
        if weight == 0:
            # only parts without a share are left; they take what remains in turn
            quota = {i: Fraction(left, len(free)) for i in free}
        else:
            quota = {i: parts[i] * left / weight for i in free}
        short = {i for i in free if quota[i] < least}
        if not short:
            break
        held |= short
    out = [least] * len(parts)
    for i in free:
        out[i] = int(quota[i])
    order = sorted(free, key=lambda i: (-(quota[i] - int(quota[i])), i))
    for i in order[: total_rows - sum(out)]:
        out[i] += 1
    return tuple(out)

"""Usual sizes of blankets and mattress tops, and how many rows a length takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from blendplan.errors import FabricError, StripeError
from blendplan.stripes.model import Stripe, total_rows
from blendplan.stripes.shares import rows_from_shares
from blendplan.units import CM_PER_INCH, choice, number
from blendplan.wording import Notice, note

__all__ = ["BABY_SIZES", "FITS", "MATTRESSES", "SIZES", "Fitted", "blanket_over", "fit_rows", "size_cm"]

# Width and length in inches. There is no one standard; each is the middle of lists by several makers' pages and one
# charity, read Nov 2026 via the trade facts, section 5. Crib and king differ most from list to list.
SIZES = {
    "preemie": (20, 20),
    "lovey": (12, 12),
    "security": (16, 16),
    "cradle": (14, 30),
    "stroller": (30, 36),
    "receiving": (36, 36),
    "baby": (30, 36),
    "crib": (36, 54),
    "child": (42, 52),
    "lap": (36, 48),
    "teen": (45, 65),
    "throw": (50, 60),
    "adult": (50, 70),
    "twin": (66, 90),
    "full": (80, 90),
    "queen": (90, 100),
    "king": (108, 100),
    "california king": (104, 108),
}
BABY_SIZES = frozenset({"preemie", "lovey", "security", "cradle", "stroller", "receiving", "baby", "crib"})

# Mattress tops, inches, US, without depth (one maker's page, read Nov 2026 via the trade facts, section 5; the trade
# body's own figures run up to an inch less). The European ones are from memory, not verified, in centimetres.
_TOPS_IN = {
    "crib": (28, 52),
    "twin": (39, 75),
    "twin xl": (39, 80),
    "full": (54, 75),
    "queen": (60, 80),
    "king": (76, 80),
    "california king": (72, 84),
}
_TOPS_CM = {
    "90 x 200 cm": (90, 200),
    "140 x 200 cm": (140, 200),
    "160 x 200 cm": (160, 200),
    "180 x 200 cm": (180, 200),
}
MATTRESSES: dict[str, tuple[float, float]] = {
    **{name: (float(w * CM_PER_INCH), float(h * CM_PER_INCH)) for name, (w, h) in _TOPS_IN.items()},
    **{name: (float(w), float(h)) for name, (w, h) in _TOPS_CM.items()},
}

FITS = ("whole", "trim", "spread")


def size_cm(name: str) -> tuple[float, float]:
    """Return width and length of a usual size, cm.

    Examples
    --------
    >>> size_cm("throw")
    (127.0, 152.4)
    """
    width, length = SIZES[choice(name, "size", SIZES)]
    return float(width * CM_PER_INCH), float(length * CM_PER_INCH)


def blanket_over(mattress: str, overhang_cm: float, *, head_cm: float = 0.0) -> tuple[float, float]:
    """Return width and length of a blanket that hangs over both sides and the foot of a mattress.

    Parameters
    ----------
    mattress : str
        A key of `MATTRESSES`.
    overhang_cm : float
        0 to 100; as deep as the mattress covers its side.
    head_cm : float
        Further length at the head, for pillows; may be negative where it ends below them.

    Examples
    --------
    >>> blanket_over("90 x 200 cm", 30)
    (150.0, 230.0)
    """
    width, length = MATTRESSES[choice(mattress, "mattress", MATTRESSES)]
    hang = number(overhang_cm, "overhang", 0, 100, "cm")
    return width + 2 * hang, length + hang + number(head_cm, "length at the head", -100, 100, "cm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """Stripes fitted to a length: rows, the length they give, how far that is off, and what was done."""

    stripes: tuple[Stripe, ...]
    rows: int
    length_cm: float
    deviation_cm: float
    notices: tuple[Notice, ...] = ()


def fit_rows(
    stripes: Sequence[Stripe], wanted_cm: float, rise_per_row_cm: float, *, fit: str = "whole", again: bool = False
) -> Fitted:
    """Return the stripes that come nearest to a length.

    Parameters
    ----------
    stripes : sequence of Stripe
    wanted_cm : float
        1 to 2000.
    rise_per_row_cm : float
        From `size.measure`.
    fit : {"whole", "trim", "spread"}
        Keep every stripe whole and end where it is nearest; cut the last stripe to the row; or give every stripe
        that is not locked its share of the rows.
    again : bool
        Begin the stripes again where they are too few (not with `spread`).
    """
    choice(fit, "fit", FITS)
    wanted = number(wanted_cm, "length", 1, 2000, "cm")
    rise = number(rise_per_row_cm, "rise of a row", 0.01, 60, "cm")
    if not stripes:
        raise StripeError("there are no stripes to fit; put at least one colour into the order.")
    rows = max(1, round(wanted / rise))
    if fit == "spread":
        out = _spread(stripes, rows)
    else:
        pool = list(stripes)
        while again and total_rows(pool) < rows:
            pool += stripes
        out = _trimmed(pool, rows) if fit == "trim" else _whole(pool, rows)
    got = total_rows(out)
    notices = []
    if fit != "spread" and not again and total_rows(stripes) < rows:
        notices.append(
            note(
                "All stripes together are {rows} rows and the length needs {wanted}; it will be {short} cm short.",
                "warning",
                rows=total_rows(stripes),
                wanted=rows,
                short=f"{wanted - got * rise:.0f}",
            )
        )
    elif fit == "trim" and out[-1].rows != list(stripes)[(len(out) - 1) % len(stripes)].rows:
        notices.append(note("The last stripe is trimmed to {rows} rows.", rows=out[-1].rows))
    return Fitted(
        stripes=tuple(out), rows=got, length_cm=got * rise, deviation_cm=got * rise - wanted, notices=tuple(notices)
    )


def _whole(pool: Sequence[Stripe], rows: int) -> list[Stripe]:
    best, done, at = 1, 0, 0
    for i, stripe in enumerate(pool):
        done += stripe.rows
        if i == 0 or abs(done - rows) < abs(at - rows):
            best, at = i + 1, done
    return list(pool[:best])


def _trimmed(pool: Sequence[Stripe], rows: int) -> list[Stripe]:
    out: list[Stripe] = []
    left = rows
    for stripe in pool:
        if left <= 0:
            break
        out.append(stripe if stripe.rows <= left else replace(stripe, rows=left))
        left -= stripe.rows
    return out


def _spread(stripes: Sequence[Stripe], rows: int) -> list[Stripe]:
    fixed = sum(s.rows for s in stripes if s.locked)
    free = [s for s in stripes if not s.locked]
    if rows - fixed < len(free):
        raise FabricError(
            "{rows} rows are too few for {free} stripes and {fixed} locked rows; the least that works is {least}.",
            rows=rows,
            free=len(free),
            fixed=fixed,
            least=fixed + len(free),
        )
    if not free:
        return list(stripes)
    new = iter(rows_from_shares([s.rows for s in free], rows - fixed, least=1))
    return [s if s.locked else replace(s, rows=next(new)) for s in stripes]

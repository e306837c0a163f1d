"""Exact unit factors and the doors through which numbers enter.

Inside the package lengths are metres or centimetres and masses are grams; yards, ounces and inches
exist only here and at the edges.
Factors are exact by definition (international yard and pound agreement of 1959; NIST SP 811, 2008,
appendix B.8): 1 yd = 0.9144 m, 1 in = 2.54 cm, 1 oz (avoirdupois) = 28.349523125 g.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import SupportsFloat

from blendplan.errors import QuantityError
from blendplan.wording import Quantity, Rounded

METRES_PER_YARD = Fraction(9144, 10000)
CM_PER_INCH = Fraction(254, 100)
GRAMS_PER_OUNCE = Fraction(28349523125, 10**9)
# Kind of quantity: its sign in metric and in imperial units, and metric units in one imperial unit.
FACTORS: dict[str, tuple[str, str, Fraction]] = {
    "cm": ("cm", "in", CM_PER_INCH),
    "m": ("m", "yd", METRES_PER_YARD),
    "g": ("g", "oz", GRAMS_PER_OUNCE),
    "kg": ("kg", "lb", GRAMS_PER_OUNCE * 16 / 1000),
}

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*|,\d+)?|[.,]\d+)(e[+-]?\d{1,3})?", re.IGNORECASE)
# Past this a fraction has no float; no length, mass or price comes near.
_TOO_LARGE = Fraction(10**300)


def _fraction(value: object) -> Fraction | None:
    if isinstance(value, Fraction):
        return value
    if isinstance(value, int):
        return Fraction(value)
    if isinstance(value, Decimal):
        # The exponent is looked at first: a Decimal of 1E+999999999 is short to write and too long to expand.
        return Fraction(value) if value.is_finite() and abs(value.adjusted()) < 400 else None
    if isinstance(value, str):
        text = value.strip().replace("\u2212", "-")
        return Fraction(text.replace(",", ".")) if len(text) <= 400 and _NUMBER.fullmatch(text) else None
    if isinstance(value, float | SupportsFloat) and math.isfinite(float(value)):
        return Fraction(repr(float(value)))
    return None


def exact(value: object, field: str = "number") -> Fraction:
    """Return a number as the exact fraction that its decimal writing says; `field` is what it is, for the message.

    A text may use a point or a comma as the decimal sign, and no thousands sign.

    >>> exact("182,88"), exact(0.1) * 3 == exact(0.3)
    (Fraction(4572, 25), True)
    """
    if isinstance(value, bool) or value is None:
        raise QuantityError(
            "{field}: a number is needed, {given} was given; write it like 2.5.",
            field=field,
            given="nothing" if value is None else value,
        )
    got = _fraction(value)
    if got is not None and abs(got) < _TOO_LARGE:
        return got
    raise QuantityError(
        "{field}: {given} is not a number that can be used; write it like 2.5.", field=field, given=repr(value)
    )


def number(value: object, field: str, low: float, high: float, unit: str = "") -> float:
    """Return a finite float within a closed range, or refuse in one line."""
    # Most values are finite floats already; the exact route is for texts and fractions.
    got = value if type(value) is float and math.isfinite(value) else float(exact(value, field))
    if not low <= got <= high and unit in FACTORS:
        raise QuantityError(
            "{field}: {given} was given; allowed is {low} to {high}.",
            field=field,
            given=Amount(got, unit, 6),
            low=Amount(low, unit, 6, bare=True),
            high=Amount(high, unit, 6),
        )
    if not low <= got <= high:
        raise QuantityError(
            "{field}: {given}{unit} was given; allowed is {low} to {high}{unit}.",
            field=field,
            given=Rounded(f"{got:g}"),
            low=Rounded(f"{low:g}"),
            high=Rounded(f"{high:g}"),
            unit=f" {unit}" if unit else "",
        )
    return got


def whole(value: object, field: str, low: int, high: int) -> int:
    """Return a whole number within a closed range, or refuse in one line."""
    got = exact(value, field)
    if got.denominator != 1 or not low <= got <= high:
        raise QuantityError(
            "{field}: {given} was given; allowed is a whole number from {low} to {high}.",
            field=field,
            given=plain(got),
            low=low,
            high=high,
        )
    return int(got)


def choice(value: object, field: str, allowed: Iterable[str]) -> str:
    """Return a text that is one of those allowed, or refuse in one line naming them."""
    options = tuple(allowed)
    if not isinstance(value, str) or value not in options:
        raise QuantityError(
            "{field}: {given} is not known; choose one of {allowed}.",
            field=field,
            given=repr(value),
            allowed=", ".join(options),
        )
    return value


def plain(value: Fraction | float, digits: int = 6) -> Rounded:
    """Return a number in plain decimal writing without trailing zeros.

    >>> plain(Fraction(5, 2)), plain(12.0), plain(100, 0)
    ('2.5', '12', '100')
    """
    text = f"{float(value):.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return Rounded("0" if text in ("-0", "") else text)


@dataclass(frozen=True, slots=True)
class Amount(Quantity):
    """A metric quantity in a sentence: its value, its kind of `FACTORS`, and how many decimals matter.

    >>> Amount(114.3, "cm").say(), Amount(114.3, "cm").say("en", "imperial"), Amount(2.25, "m", 1).say("de")
    ('114 cm', '45 in', '2,2 m')
    """

    value: float | Fraction
    kind: str
    digits: int = 0
    bare: bool = False  # without its unit, where another one follows with it

    def say(self, lang: str = "en", units: str = "metric") -> str:
        """Return the quantity with its unit."""
        metric, imperial, factor = FACTORS[self.kind]
        if units == "metric":
            number, sign = plain(self.value, self.digits), metric
        else:
            value = float(self.value) / float(factor)
            digits = min(2, max(self.digits, self.kind in ("g", "kg")))
            number, sign = plain(value, digits + (0 < abs(value) < 0.1)), imperial
        return number.say(lang) if self.bare else f"{number.say(lang)} {sign}"

    __str__ = Quantity.__str__

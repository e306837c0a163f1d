"""Numbers and quantities as the maker reads them: her units, her decimal sign, no false precision."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from blendplan.units import CM_PER_INCH, GRAMS_PER_OUNCE, METRES_PER_YARD
from blendplan.wording import tr

__all__ = ["DECIMAL", "Show"]

# Decimal sign by language.
DECIMAL = {"en": ".", "de": ","}


@dataclass(frozen=True, slots=True)
class Show:
    """How to write quantities.

    Attributes
    ----------
    units : {"metric", "imperial"}
    lang : str
        A key of `wording.LANGUAGES`.
    """

    units: str = "metric"
    lang: str = "en"

    def number(self, value: float | Fraction, digits: int = 0) -> str:
        """Return a number with at most `digits` decimals, trailing zeros left out.

        Examples
        --------
        >>> Show(lang="de").number(2.50, 2), Show().number(3, 2)
        ('2,5', '3')
        """
        text = f"{float(value):.{digits}f}"
        if "." in text:
            text = text.rstrip("0").rstrip(".")
        text = "0" if text == "-0" else text
        return text.replace(".", DECIMAL.get(self.lang, "."))

    def size(self, cm: float, digits: int = 0) -> str:
        """Return a length of fabric.

        Examples
        --------
        >>> Show().size(114.3), Show("imperial").size(114.3)
        ('114 cm', '45 in')
        """
        if self.units == "imperial":
            return tr("{n} in", self.lang, n=self.number(cm / float(CM_PER_INCH), digits))
        return tr("{n} cm", self.lang, n=self.number(cm, digits))

    def both_sizes(self, width_cm: float, height_cm: float) -> str:
        """Return width by height in the maker's units, the other units behind.

        Examples
        --------
        >>> Show().both_sizes(114.3, 152.4)
        '114 × 152 cm (45 × 60 in)'
        """
        cm = tr("{w} × {h} cm", self.lang, w=self.number(width_cm), h=self.number(height_cm))
        per = float(CM_PER_INCH)
        inch = tr("{w} × {h} in", self.lang, w=self.number(width_cm / per), h=self.number(height_cm / per))
        first, second = (inch, cm) if self.units == "imperial" else (cm, inch)
        return f"{first} ({second})"

    def yarn(self, metres: float, digits: int = 0) -> str:
        """Return a length of yarn.

        Examples
        --------
        >>> Show().yarn(91.44), Show("imperial").yarn(91.44)
        ('91 m', '100 yd')
        """
        if self.units == "imperial":
            return tr("{n} yd", self.lang, n=self.number(metres / float(METRES_PER_YARD), digits))
        return tr("{n} m", self.lang, n=self.number(metres, digits))

    def yarn_range(self, low_m: float, high_m: float) -> str:
        """Return two lengths of yarn as a range with one unit."""
        imperial = self.units == "imperial"
        per = float(METRES_PER_YARD) if imperial else 1.0
        low, high = self.number(low_m / per), self.number(high_m / per)
        if imperial:
            return tr("{low} to {high} yd", self.lang, low=low, high=high)
        return tr("{low} to {high} m", self.lang, low=low, high=high)

    def mass(self, grams: float) -> str:
        """Return a mass.

        Examples
        --------
        >>> Show().mass(100), Show("imperial").mass(100)
        ('100 g', '3.5 oz')
        """
        if self.units == "imperial":
            return tr("{n} oz", self.lang, n=self.number(grams / float(GRAMS_PER_OUNCE), 1))
        return tr("{n} g", self.lang, n=self.number(grams))

    def money(self, amount: Fraction, currency: str) -> str:
        """Return an amount with two decimals and the currency behind it, exact halves rounded up.

        Examples
        --------
        >>> Show(lang="de").money(Fraction(64, 10), "kr")
        '6,40 kr'
        """
        cents = (amount * 200 + 1) // 2
        text = f"{cents // 100}{DECIMAL.get(self.lang, '.')}{cents % 100:02d}"
        return f"{text} {currency}".strip()

    def percent(self, share: float, digits: int = 0) -> str:
        """Return a share as a percentage, 'under 1 %' where it would round to nothing."""
        if 0 < share < 0.5 * 10 ** (-2 - digits):
            return tr("under {n} %", self.lang, n=self.number(10**-digits, digits))
        return tr("{n} %", self.lang, n=self.number(100 * share, digits))

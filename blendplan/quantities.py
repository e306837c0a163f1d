"""Numbers and quantities as a maker reads them: her units, the decimal sign of her language, no false precision."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from blendplan.units import FACTORS, plain
from blendplan.wording import Notice, note, rounded, tr


def figure(value: Fraction | float, digits: int = 1, lang: str = "en") -> str:
    """Return a number with at most some decimals and the decimal sign of the language, no thousands sign.

    >>> figure(2.5), figure(2.5, lang="de"), figure(Fraction(1, 3), 2)
    ('2.5', '2,5', '0.33')
    """
    return plain(value, digits).say(lang)


def skeins_note(count: int) -> Notice:
    """Return a number of skeins in words."""
    return note("1 skein") if count == 1 else note("{n} skeins", n=count)


def unit_sign(kind: str, units: str) -> str:
    """Return the sign of a kind of quantity (`cm`, `m`, `g`) in metric or imperial units."""
    metric, imperial, _ = FACTORS[kind]
    return metric if units == "metric" else imperial


def into_units(value: Fraction | float, kind: str, units: str) -> Fraction | float:
    """Return a metric value in the units shown."""
    if units == "metric":
        return value
    factor = FACTORS[kind][2]
    return value / factor if isinstance(value, Fraction) else value / float(factor)


def out_of_units(value: Fraction, kind: str, units: str) -> Fraction:
    """Return the metric value of a number typed in the units shown; exact."""
    return value if units == "metric" else value * FACTORS[kind][2]


@dataclass(frozen=True, slots=True)
class Quantities:
    """How quantities are written."""

    units: str = "metric"  # or "imperial"
    lang: str = "en"  # a key of `wording.LANGUAGES`

    def number(self, value: float | Fraction, digits: int = 0) -> str:
        """Return a number, as `figure`."""
        return figure(value, digits, self.lang)

    def _of(self, value: float, kind: str, digits: int) -> str:
        return f"{self.number(into_units(value, kind, self.units), digits)} {unit_sign(kind, self.units)}"

    def size(self, cm: float, digits: int = 0) -> str:
        """Return a length of fabric.

        >>> Quantities().size(114.3), Quantities("imperial").size(114.3)
        ('114 cm', '45 in')
        """
        return self._of(cm, "cm", digits)

    def both(self, cm: float, digits: int = 0) -> str:
        """Return a length of fabric in the maker's units, the other units behind.

        >>> Quantities().both(114.3), Quantities("imperial").both(114.3)
        ('114 cm (45 in)', '45 in (114 cm)')
        """
        return f"{self.size(cm, digits)} ({self._other.size(cm, digits)})"

    @property
    def _other(self) -> Quantities:
        return replace(self, units="metric" if self.units == "imperial" else "imperial")

    def both_sizes(self, width_cm: float, height_cm: float) -> str:
        """Return width by height in the maker's units, the other units behind.

        >>> Quantities().both_sizes(114.3, 152.4)
        '114 × 152 cm (45 × 60 in)'
        """
        first, second = (
            f"{ways.number(into_units(width_cm, 'cm', ways.units))} × {ways.size(height_cm)}"
            for ways in (self, self._other)
        )
        return f"{first} ({second})"

    def yarn(self, metres: float, digits: int = 0) -> str:
        """Return a length of yarn.

        >>> Quantities().yarn(91.44), Quantities("imperial").yarn(91.44)
        ('91 m', '100 yd')
        """
        return self._of(metres, "m", digits)

    def yarn_range(self, low_m: float, high_m: float) -> str:
        """Return two lengths of yarn as a range with one unit."""
        low, high = (self.number(into_units(metres, "m", self.units)) for metres in (low_m, high_m))
        return tr("{low} to {high}", self.lang, low=low, high=f"{high} {unit_sign('m', self.units)}")

    def mass(self, grams: float) -> str:
        """Return a mass.

        >>> Quantities().mass(100), Quantities("imperial").mass(100)
        ('100 g', '3.5 oz')
        """
        return self._of(grams, "g", 0 if self.units == "metric" else 1)

    def mass_range(self, low_g: float, high_g: float) -> str:
        """Return two masses as a range with one unit."""
        high = self.mass(high_g)
        return tr("{low} to {high}", self.lang, low=self.mass(low_g).rsplit(" ", 1)[0], high=high)

    def money(self, amount: Fraction, currency: str) -> str:
        r"""Return an amount with two decimals and the currency behind it on its line, exact halves rounded up.

        >>> Quantities(lang="de").money(Fraction(64, 10), "kr")
        '6,40\xa0kr'
        """
        said = rounded(Fraction((amount * 200 + 1) // 2, 100), 2).say(self.lang)
        return f"{said}\N{NO-BREAK SPACE}{currency}".strip()

    def percent(self, share: float, digits: int = 0) -> str:
        """Return a share as a percentage, 'under 1 %' where it would round to nothing."""
        if 0 < share < 0.5 * 10 ** (-2 - digits):
            return tr("under {n} %", self.lang, n=self.number(10**-digits, digits))
        return tr("{n} %", self.lang, n=self.number(100 * share, digits))

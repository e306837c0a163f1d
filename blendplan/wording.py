"""Notices and translation: every sentence a person reads is a template with named fields."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from blendplan.errors import BlendplanError

if TYPE_CHECKING:
    from fractions import Fraction

LANGUAGES = {"en": "English", "de": "Deutsch"}
Level = Literal["note", "assumed", "warning", "caution"]


class Rounded(str):
    """A number made ready to be read, so that a sentence can give it the decimal sign of its language."""

    __slots__ = ()

    def say(self, lang: str = "en") -> str:
        """Return the number with the decimal sign of a language (Unicode CLDR)."""
        if lang == "en" or lang not in LANGUAGES:
            return str(self)
        from babel.numbers import get_decimal_symbol

        return self.replace(".", get_decimal_symbol(lang))


class Quantity:
    """A length or a mass in a sentence, which is said in the units chosen; see `blendplan.units.Amount`."""

    def say(self, lang: str = "en", units: str = "metric") -> str:
        """Return the quantity with its unit."""
        raise NotImplementedError

    def __str__(self) -> str:
        return self.say()


def rounded(value: float | Fraction, digits: int, *, sign: bool = False) -> Rounded:
    """Return a number with so many decimals, to stand in a sentence.

    >>> tr("{n} rows", "de", n=rounded(2.449, 2))
    '2,45 Reihen'
    >>> rounded(3, 1, sign=True)
    '+3.0'
    """
    return Rounded(f"{float(value):{'+' if sign else ''}.{digits}f}")


def capital(text: str) -> str:
    """Return a text with its first letter large, where a notice begins a line."""
    return text[:1].upper() + text[1:]


@cache
def _catalogue(lang: str) -> dict[str, str]:
    if lang == "en":
        return {}
    path = Path(__file__).parent / "locale" / f"{lang}.json"
    table: dict[str, str] = json.loads(path.read_text(encoding="utf-8"))
    return table


def tr(template: str, lang: str = "en", units: str = "metric", /, **values: object) -> str:
    """Return a literal English sentence translated (`locale/<lang>.json`) and filled with the values of its fields.

    A sentence without a translation stays English. A `Notice`, a tuple of them, an error or a quantity is said in the
    same language and units; so is the value of `field`, which names what a number or a text is. A float and a
    `Rounded` number get the decimal sign of the language; a name like "2.5" stays.

    >>> tr("{rows} rows", rows=4)
    '4 rows'
    """
    table = _catalogue(lang) if lang in LANGUAGES else {}
    text = table.get(template, template)
    if not values:
        return text
    return text.format(**{key: _value(key, value, (lang, units), table) for key, value in values.items()})


def _value(key: str, value: object, ways: tuple[str, str], table: dict[str, str]) -> object:
    lang = ways[0]
    if isinstance(value, Notice | Quantity):
        return value.say(*ways)
    if isinstance(value, Rounded | float):
        return Rounded(value).say(lang)
    if isinstance(value, BlendplanError):
        return " ".join(tr(value.template, *ways, **value.values).split())
    if isinstance(value, tuple) and value and all(isinstance(part, Notice) for part in value):
        return ", ".join(part.say(*ways) for part in value)
    if key != "field" or not isinstance(value, str):
        return value
    if value in table:
        return table[value]
    # "weight class of Fern" is found as "weight class of {name}".
    at = value.find(" of ")
    while at > 0:
        form = table.get(value[:at] + " of {name}")
        if form is not None:
            return form.format(name=value[at + 4 :])
        at = value.find(" of ", at + 1)
    return value


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """Something the program wants to say beside a result: a sentence with named fields, and their values."""

    template: str
    values: tuple[tuple[str, object], ...] = ()  # hashable, so a notice can be part of a cache key
    level: Level = "note"  # `assumed` tells of a default taken, `warning` of a result to doubt, `caution` of harm

    @property
    def text(self) -> str:
        """The filled English sentence."""
        return self.say("en")

    def __str__(self) -> str:
        return self.text

    def say(self, lang: str = "en", units: str = "metric") -> str:
        """Return the filled sentence in a language and in her units."""
        return tr(self.template, lang, units, **dict(self.values))


def note(template: str, level: Level = "note", /, **values: object) -> Notice:
    """Return a notice from a literal template and its values.

    >>> note("{n} of {m} rows left", "warning", n=2, m=9).text
    '2 of 9 rows left'
    """
    return Notice(template=template, values=tuple(values.items()), level=level)

"""Notices and translation: every sentence a person reads is a template with named fields."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

from blendplan.errors import BlendplanError

__all__ = ["LANGUAGES", "Notice", "note", "tr"]

LANGUAGES = {"en": "English", "de": "Deutsch"}
_MEASURED = re.compile(r"\{(\w+)\}(?=(?: (?:bis|x|×) \{\w+\})? (?:cm|mm|m|g|kg|yd|oz|Zoll|%)(?!\w))")
_DECIMAL = re.compile(r"[+-]?\d+\.\d+")
Level = Literal["note", "assumed", "warning", "caution"]


@cache
def _catalogue(lang: str) -> dict[str, str]:
    if lang == "en":
        return {}
    path = Path(__file__).parent / "locale" / f"{lang}.json"
    table: dict[str, str] = json.loads(path.read_text(encoding="utf-8"))
    return table


def tr(template: str, lang: str = "en", /, **values: object) -> str:
    """Return a template translated and filled.

    Parameters
    ----------
    template : str
        A literal English sentence; its own key in `locale/<lang>.json`.
    lang : str
        A key of `LANGUAGES`. A sentence that has no translation stays English.
    **values
        The values of the named fields. A `Notice`, a tuple of them or an error is said in the same language; so
        is the value of `field`, which names what a number or a text is.

    Examples
    --------
    >>> tr("{rows} rows", rows=4)
    '4 rows'
    """
    table = _catalogue(lang) if lang in LANGUAGES else {}
    text = table.get(template, template)
    if not values:
        return text
    filled = {key: _value(key, value, lang, table) for key, value in values.items()}
    if table:
        filled |= {key: _with_comma(filled[key]) for key in _measured(text) if key in filled}
    return text.format(**filled)


@cache
def _measured(text: str) -> tuple[str, ...]:
    """Return the fields of a sentence that a unit stands behind, so that they hold numbers and no names."""
    return tuple(_MEASURED.findall(text))


def _with_comma(value: object) -> object:
    """Return a number with the decimal comma of every language here but English."""
    return value.replace(".", ",") if isinstance(value, str) and _DECIMAL.fullmatch(value) else value


def _value(key: str, value: object, lang: str, table: dict[str, str]) -> object:
    if isinstance(value, Notice):
        return value.say(lang)
    if isinstance(value, BlendplanError):
        return " ".join(tr(value.template, lang, **value.values).split())
    if isinstance(value, tuple) and value and all(isinstance(part, Notice) for part in value):
        return ", ".join(part.say(lang) for part in value)
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
    """Something the program wants to say beside a result.

    Attributes
    ----------
    template : str
        The sentence with named fields.
    values : tuple of (str, object)
        The fields' values; hashable, so a notice can be part of a cache key.
    level : {"note", "assumed", "warning", "caution"}
        `assumed` tells of a default taken, `warning` of a result to doubt, `caution` of harm.
    """

    template: str
    values: tuple[tuple[str, object], ...] = ()
    level: Level = "note"

    @property
    def text(self) -> str:
        """The filled English sentence."""
        return self.say("en")

    def __str__(self) -> str:
        return self.text

    def say(self, lang: str = "en") -> str:
        """Return the filled sentence in a language."""
        return tr(self.template, lang, **dict(self.values))


def note(template: str, level: Level = "note", /, **values: object) -> Notice:
    """Return a notice from a literal template and its values.

    Examples
    --------
    >>> note("{n} of {m} rows left", "warning", n=2, m=9).text
    '2 of 9 rows left'
    """
    return Notice(template=template, values=tuple(values.items()), level=level)

"""The one door for names and texts from outside, and how they leave again: inert in tables, on paper and on a page.

Names for files offered to the maker: readable in any script, never a path, never a command.
"""

from __future__ import annotations

import re
import unicodedata
from html import escape

from blendplan.errors import QuantityError

# Letters without a shape (Unicode 15, Default_Ignorable_Code_Point and the empty Braille pattern).
_SHAPELESS = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0")
# Parts of emoji and of words in Persian and Indian scripts, where they stand between two letters of these.
_JOINERS = frozenset("\u200c\u200d")
# Marks over one letter that a script needs (Unicode Technical Report 36 advises a limit of 4).
_MOST_MARKS = 4
# What makes a spreadsheet take a cell for a formula: = + - @ and their full-width forms, also behind blanks, quotes
# or invisible characters (OWASP, "CSV Injection"); an apostrophe before it keeps it a text.
_FORMULA = re.compile(r"[\s\ufeff\u200b-\u200f\u2060\u00ad\"']*[=+\-@\uff1d\uff0b\uff0d\uff20\u2212|\t\r\n]")
# What viewers of paper and pages make a link of by themselves: a scheme, "www." and an address for letters.
_LINK = re.compile(
    r"(?i)\b([a-z][a-z0-9+.-]{1,20}:)(?=//)|\b(www)(?=\.)|\b(mailto|tel|javascript|data)(?=:)|(?<=\w)(?=@\w)"
)


def cleaned(text: str) -> str:
    r"""Return a text in composed letters (NFC) without what nobody sees or types; blanks become one blank.

    Left out are controls, lone surrogates, direction marks, characters without width or shape, and piles of marks.

    Examples
    --------
    >>> cleaned("  Sea\u202e\u200b \n green\ud800 "), cleaned("می‌خواهم")
    ('Sea green', 'می‌خواهم')
    """
    if text.isascii() and text.isprintable():
        return " ".join(text.split())
    # Composing drops nothing that is looked for here, and what it makes needs no second look.
    whole = unicodedata.normalize("NFC", text.encode("utf-16", "surrogatepass").decode("utf-16", "ignore"))
    out: list[str] = []
    marks = 0
    for at, char in enumerate(whole):
        kind = unicodedata.category(char)
        marks = marks + 1 if kind in ("Mn", "Me") else 0
        if char in _JOINERS:
            around = whole[max(at - 1, 0) : at] + whole[at + 1 : at + 2]
            if len(around) == 2 and not any(c.isascii() or c.isspace() or c in _JOINERS for c in around):
                out.append(char)
        elif kind in ("Cc", "Zl", "Zp", "Zs") or char in _SHAPELESS:
            out.append(" ")
        elif kind not in ("Cf", "Cs") and marks <= _MOST_MARKS:
            out.append(char)
    return " ".join("".join(out).split())


def clean_text(value: object, field: str, longest: int = 200) -> str:
    """Return a text as `cleaned`, or refuse in one line what is no text, or longer than so many characters."""
    if not isinstance(value, str):
        said = {None: "nothing", True: "yes", False: "no"}.get(value) if isinstance(value, bool | None) else None
        raise QuantityError("{field}: a text is needed, {given} was given.", field=field, given=said or repr(value))
    # Long before it is cleaned, a text that is far too long is refused.
    text = cleaned(value) if len(value) <= 100 * longest else value
    if len(text) > longest:
        raise QuantityError(
            "{field}: {given} characters were given; allowed is at most {allowed}; shorten it.",
            field=field,
            given=len(text),
            allowed=longest,
        )
    return text


def in_cell(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula; an apostrophe is set before it where it could be.

    Examples
    --------
    >>> in_cell("=1+1"), in_cell("  @home"), in_cell("Fern - dark"), in_cell("Ñandú")
    ("'=1+1", "'  @home", 'Fern - dark', 'Ñandú')
    """
    return f"'{text}" if _FORMULA.match(text) else text


def from_cell(cell: str) -> str:
    """Return a cell's text, cleaned, without the apostrophe that `in_cell` set before it."""
    cell = cleaned(cell)
    return cell[1:] if cell.startswith("'") and _FORMULA.match(cell[1:]) else cell


def unlinked(text: str) -> str:
    """Return a text that no viewer makes a link of: a blank stands inside each address.

    Examples
    --------
    >>> unlinked("https://example.org"), unlinked("me@example.org"), unlinked("12 m @ 4 mm: soft")
    ('https: //example.org', 'me @example.org', '12 m @ 4 mm: soft')
    """
    return _LINK.sub(lambda found: f"{found[0]} ", text)


def in_html(text: str) -> str:
    """Return a text that stands in a page as it is: no markup, no link."""
    return escape(unlinked(text))


# Not allowed in a file name by Windows, macOS or POSIX, or read by a shell or browser as something else.
_UNSAFE = re.compile(r"""[<>:"/\\|?*%~`$&;'#{}\[\]=+@!^]""")
# Device names that Windows will not take as a file name (Microsoft, "Naming Files, Paths, and Namespaces").
_DEVICES = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|com[0-9¹²³]|lpt[0-9¹²³])(\..*)?", re.IGNORECASE)
_LONGEST_BYTES = 120


def _readable(char: str) -> str:
    # Controls, direction marks, unassigned and private characters go; a joiner stays inside emoji and scripts.
    if unicodedata.category(char) in ("Cc", "Cs", "Co", "Cn", "Zl", "Zp"):
        return " "
    if unicodedata.category(char) == "Cf":
        return char if char in "\u200c\u200d" else ""
    return char


def download_name(title: str, ending: str, fallback: str = "blanket") -> str:
    """Return a safe file name made from a title.

    Examples
    --------
    >>> download_name("毛糸 №1/é", "pdf"), download_name("../../etc/passwd", "csv")
    ('毛糸 №1 é.pdf', 'etc passwd.csv')
    >>> download_name("=1+1", "json"), download_name("...", "txt"), download_name("NUL", "txt")
    ('1 1.json', 'blanket.txt', 'NUL blanket.txt')
    """
    text = unicodedata.normalize("NFC", title)
    text = "".join(_readable(c) for c in text)
    text = " ".join(_UNSAFE.sub(" ", text).split()).strip(" .-_\u200c\u200d,")
    while len(text.encode("utf-8")) > _LONGEST_BYTES:
        text = text[:-1].rstrip(" .-_\u200c\u200d,")
    if not any(c.isalnum() or unicodedata.category(c) in ("So", "Sk") for c in text):
        text = fallback
    if _DEVICES.fullmatch(text):
        text = f"{text} {fallback}"
    return f"{text}.{ending}"

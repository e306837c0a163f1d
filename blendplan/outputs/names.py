"""Names for files offered to the maker: readable in any script, never a path, never a command."""

from __future__ import annotations

import re
import unicodedata

__all__ = ["download_name"]

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

    Parameters
    ----------
    title : str
        Any text a person typed.
    ending : str
        Such as `"pdf"`, without the dot.
    fallback : str
        Used where nothing of the title can stay.

    Returns
    -------
    str
        No separators, control or direction-changing characters, no leading dot or dash, no trailing dot or
        blank, no device name; letters of every script are kept; at most 120 bytes of UTF-8 before the ending.

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

"""What the embedded font can draw, and what is put where it cannot."""

from __future__ import annotations

import unicodedata

from blendplan.picture.fonts import STAND_IN, missing_characters

__all__ = ["Drawable"]

# Scripts whose letters change with their neighbours: Arabic and Syriac, the scripts of India and Tibet, Burmese,
# Khmer, Mongolian. The PDF library sets letter by letter, which would be wrong, so they count as not drawable.
_SHAPED = ((0x0600, 0x08FF), (0x0900, 0x0DFF), (0x0F00, 0x109F), (0x1780, 0x18AF), (0xFB50, 0xFDFF), (0xFE70, 0xFEFC))


class Drawable:
    """Turns texts into what the font can draw, and remembers what it could not.

    Examples
    --------
    >>> draw = Drawable()
    >>> draw("Ñandú 毛"), draw.missing
    ('Ñandú □', ('U+6BDB',))
    """

    def __init__(self) -> None:
        self._missing: dict[str, None] = {}

    def __call__(self, text: str) -> str:
        """Return the text composed (NFC), with a white square for each character that cannot be drawn."""
        return "".join(self._one(char) for char in unicodedata.normalize("NFC", text))

    def _one(self, char: str) -> str:
        code = ord(char)
        if char in "\n\u00a0":
            return char
        if char.isspace():
            return " "
        # Joiners, variation selectors and controls have no picture of their own.
        if unicodedata.category(char) in ("Cf", "Cc") or 0xFE00 <= code <= 0xFE0F or 0xE0100 <= code <= 0xE01EF:
            return ""
        if any(low <= code <= high for low, high in _SHAPED) or missing_characters(char):
            self._missing[char] = None
            return STAND_IN
        return char

    @property
    def missing(self) -> tuple[str, ...]:
        """The characters that became squares, in the order met, written as `U+6BDB`."""
        return tuple(f"U+{ord(char):04X}" for char in self._missing)

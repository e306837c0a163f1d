"""A shade in the words of the page: its code and share, how sure it is, and why it may be off."""

from __future__ import annotations

from collections.abc import Sequence

from blendplan.page.state import say
from blendplan.yarn import REASONS, Shade

__all__ = ["bound", "doubt", "shade_label"]


def shade_label(shade: Shade, shades: Sequence[Shade]) -> str:
    """Return the code of a shade of a yarn, with its share where there are several."""
    return shade.srgb if len(shades) == 1 else f"{shade.srgb}, {round(100 * shade.share)} %"


def bound(shades: Sequence[Shade]) -> int | None:
    """Return the CIEDE2000 within which shades are sure, the least sure counting; None where it is not known."""
    known = [s.uncertainty for s in shades if s.uncertainty is not None]
    return round(max(known)) if known else None


def doubt(shades: Sequence[Shade]) -> str:
    """Return how sure shades are, and every reason once; empty where nothing is known."""
    why = [say(REASONS[r]) for r in dict.fromkeys(r for s in shades for r in s.reasons)]
    if (d := bound(shades)) is not None:
        why.insert(0, say("sure to within {d} (CIEDE2000; about 2 can just be seen)", d=d))
    return "; ".join(why)

"""How sure a shade is and why, in the words of the page."""

from __future__ import annotations

from collections.abc import Sequence

from blendplan.page.state import say
from blendplan.yarn import REASONS, Shade

__all__ = ["doubt"]


def doubt(shades: Sequence[Shade]) -> str:
    """Return how sure shades are, the least sure first of all, and every reason once; empty where nothing is known."""
    known = [s.uncertainty for s in shades if s.uncertainty is not None]
    why = [say(REASONS[r]) for r in dict.fromkeys(r for s in shades for r in s.reasons)]
    if known:
        why.insert(0, say("sure to within {d} (CIEDE2000; about 2 can just be seen)", d=round(max(known))))
    return "; ".join(why)

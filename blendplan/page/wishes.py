"""What a maker asks of an order, as one frozen value, and the orders that answer it. No Streamlit here.

The questions are the library's own calls, the same that the command line makes, so both give the same numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from blendplan.order import Alternative, Constraints, alternatives, choose_order
from blendplan.plan import Brief
from blendplan.yarn import Yarn

__all__ = ["MIXED", "OFFERED", "Wishes", "answers", "asked_of"]

# Aims that need nothing more than the yarns.
OFFERED = ("smoothest", "even", "steady", "contrast", "light-to-dark", "dark-to-light", "hue", "high-low")
# Aims that can be weighed in beside another; the order in hand is known to the page.
MIXED = (*OFFERED, "own")
SHOWN = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What an order should do.

    Attributes
    ----------
    aim : str
        The main aim, one of `OFFERED`.
    weight : int
        Its weight where others are weighed in.
    others : tuple of (str, int)
        Other aims and their weights.
    first, last : str
        Names of the colours at the ends, empty where they are free.
    closed : bool
        The last colour stands beside the first.
    choose : int
        How many of all yarns to use; 0 keeps to those in the order in hand.
    keep : tuple of str
        Colours that have to be among those chosen.
    """

    aim: str = "smoothest"
    weight: int = 1
    others: tuple[tuple[str, int], ...] = ()
    first: str = ""
    last: str = ""
    closed: bool = False
    choose: int = 0
    keep: tuple[str, ...] = ()

    @property
    def weights(self) -> dict[str, float]:
        """Aims and weights as the library takes them."""
        if not self.others:
            return {self.aim: 1.0}
        return {self.aim: float(self.weight), **{name: float(w) for name, w in self.others if name != self.aim}}

    @property
    def constraints(self) -> Constraints:
        """What must hold."""
        return Constraints(first=self.first or None, last=self.last or None, closed=self.closed)

    @property
    def more(self) -> bool:
        """True where something beyond one aim and the ends is asked for."""
        return bool(self.others or self.closed or self.choose)

    def mixed(self, names: tuple[str, ...]) -> Wishes:
        """Return the wishes with these other aims weighed in; those that were there keep their weights."""
        old = dict(self.others)
        return replace(self, others=tuple((n, old.get(n, 1)) for n in MIXED if n in names and n != self.aim))

    def weighed(self, name: str, weight: int) -> Wishes:
        """Return the wishes with one aim weighed otherwise."""
        if name == self.aim:
            return replace(self, weight=weight)
        return replace(self, others=tuple((n, weight if n == name else w) for n, w in self.others))

    def fitted(self, brief: Brief) -> Wishes:
        """Return the wishes without names that are no longer there, and with a number that can be chosen."""
        names = asked_of(brief, self)
        most = len(brief.yarns)
        return replace(
            self,
            others=tuple((n, w) for n, w in self.others if n != self.aim),
            first=self.first if self.first in names else "",
            last=self.last if self.last in names else "",
            choose=min(self.choose, most) if most > 2 else 0,
            keep=tuple(n for n in self.keep if n in names),
        )


def asked_of(brief: Brief, wishes: Wishes) -> tuple[str, ...]:
    """Return the names that may stand in the order: all yarns where a choice is asked for, else those in hand."""
    if wishes.choose:
        return tuple(y.name for y in brief.yarns)
    return tuple(dict.fromkeys(brief.sequence.order))


def answers(brief: Brief, wishes: Wishes) -> tuple[Alternative, ...]:
    """Return a handful of really different good orders, the best first.

    Raises
    ------
    BlendplanError
        If the wishes contradict each other.
    """
    names = asked_of(brief, wishes)
    rule = brief.sequence
    own = tuple(n for n in rule.order if n in names)
    yarns = tuple(y for y in brief.yarns if y.name in names)
    return _answers(yarns, wishes, (rule.solid_rows, rule.blend_rows), brief.member, own)


@lru_cache(maxsize=16)
def _answers(
    yarns: tuple[Yarn, ...], wishes: Wishes, rows: tuple[int, int], member: float, own: tuple[str, ...]
) -> tuple[Alternative, ...]:
    question: dict[str, Any] = {
        "aim": wishes.weights,
        "constraints": wishes.constraints,
        "n_member": member,
        "solid_rows": rows[0],
        "blend_rows": rows[1],
        "own": own,
    }
    if not wishes.choose:
        return alternatives(yarns, count=SHOWN, **question)
    best = choose_order(yarns, wishes.choose, keep=wishes.keep, **question)
    # The same question again, for other choices; what is said of the best one is the choice's own word.
    found = alternatives(yarns, count=SHOWN, k=wishes.choose, keep=wishes.keep, **question)
    return (replace(found[0], ordering=best), *found[1:])

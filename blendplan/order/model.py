"""An order that was found: its steps, its cost, and what is known of the best possible."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from blendplan.wording import Notice

__all__ = ["Ordering", "Step"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """The way from one solid stripe to the next.

    Attributes
    ----------
    before, after : str
        Names of the two colours.
    via : str
        `#rrggbb` of the blend stripe between; empty where there is none.
    halves : tuple of float
        CIEDE2000 of each single step on the way (two with a blend, one without).
    direct : float
        CIEDE2000 between the two solid stripes themselves.
    """

    before: str
    after: str
    via: str
    halves: tuple[float, ...]
    direct: float

    @property
    def delta_e(self) -> float:
        """Sum of the single steps."""
        return sum(self.halves)

    @property
    def largest(self) -> float:
        """The larger of the single steps."""
        return max(self.halves)

    def to_json(self) -> dict[str, Any]:
        """Return the step for a JSON file."""
        return {
            "from": self.before,
            "to": self.after,
            "via": self.via or None,
            "delta_e": round(self.delta_e, 6),
            "parts": [round(x, 6) for x in self.halves],
            "direct": round(self.direct, 6),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Ordering:
    """An order of colours and what is known about it.

    Attributes
    ----------
    order : tuple of str
        Names in the order they are crocheted; with a mirror, a carrier or several uses a name comes more
        than once. `Sequence(order=...)` makes the stripes.
    cost : float
        Value of the aim, less is better. For one aim alone in the unit of its formula (`AIMS`), for a mix the
        weighed sum of values relative to a random order.
    exact : bool
        True where no order with these constraints can be better (by more than 1e-7 of its total step, the weight
        of what decides between equal orders).
    bound : float
        No order can cost less than this.
    gap : float
        (cost - bound) / bound, 0 when proven; infinite where no bound above 0 is known.
    steps : tuple of Step
    verdict : Notice
        The gap in words.
    notices : tuple of Notice
        What was assumed or is to be doubted.
    aim : tuple of (str, float)
        Aims and weights.
    closed : bool
        True where the last step leads back to the first colour.
    """

    order: tuple[str, ...]
    cost: float
    exact: bool
    bound: float
    gap: float
    steps: tuple[Step, ...]
    verdict: Notice
    notices: tuple[Notice, ...] = ()
    aim: tuple[tuple[str, float], ...] = (("smoothest", 1.0),)
    closed: bool = False

    @property
    def total_delta_e(self) -> float:
        """Sum of all single steps, whatever the aim was."""
        return sum(s.delta_e for s in self.steps)

    @property
    def worst(self) -> Step | None:
        """The step with the largest sum; None for a single stripe."""
        return max(self.steps, key=lambda s: s.delta_e, default=None)

    def to_json(self) -> dict[str, Any]:
        """Return the keys of the contract and more: order, cost, exact, bound, gap, aim, steps, words."""
        return {
            "order": list(self.order),
            "cost": round(self.cost, 6),
            "exact": self.exact,
            "bound": round(self.bound, 6),
            "gap": round(self.gap, 6) if self.gap != float("inf") else None,
            "aim": dict(self.aim),
            "closed": self.closed,
            "verdict": self.verdict.text,
            "steps": [s.to_json() for s in self.steps],
            "notices": [n.text for n in self.notices],
        }

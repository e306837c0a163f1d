"""Orders of colours: documented aims, constraints, an exact search where it can be done and a proven bound beyond."""

from __future__ import annotations

from blendplan.order.aims import AIMS, StepTable, step_matrix
from blendplan.order.alternatives import (
    Alternative,
    FewMoves,
    alternatives,
    few_moves,
    follow_shades,
    order_distance,
    short_of_yarn,
    wanted_along,
)
from blendplan.order.constraints import Constraints
from blendplan.order.explain import Doubt, Mend, StepReport, Unsure, doubt_order, explain_step
from blendplan.order.find import Ordering, Question, Search, Step, find_order

__all__ = [
    "AIMS",
    "Alternative",
    "Constraints",
    "Doubt",
    "FewMoves",
    "Mend",
    "Ordering",
    "Question",
    "Search",
    "Step",
    "StepReport",
    "StepTable",
    "Unsure",
    "alternatives",
    "doubt_order",
    "explain_step",
    "few_moves",
    "find_order",
    "follow_shades",
    "order_distance",
    "short_of_yarn",
    "step_matrix",
    "wanted_along",
]

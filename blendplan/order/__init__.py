"""Orders of colours: documented aims, constraints, an exact search where it can be done and a proven bound beyond."""

from __future__ import annotations

from blendplan.order.aims import AIMS
from blendplan.order.alternatives import Alternative, alternatives, order_distance
from blendplan.order.choose import choose_order, follow_shades, wanted_along
from blendplan.order.constraints import Constraints
from blendplan.order.explain import Mend, StepReport, explain_step
from blendplan.order.find import find_order
from blendplan.order.history import Arrangement, Comparison, Session, compare, moves_needed
from blendplan.order.model import Ordering, Step
from blendplan.order.own import FewMoves, few_moves, short_of_yarn
from blendplan.order.steps import StepTable, step_matrix

__all__ = [
    "AIMS",
    "Alternative",
    "Arrangement",
    "Comparison",
    "Constraints",
    "FewMoves",
    "Mend",
    "Ordering",
    "Session",
    "Step",
    "StepReport",
    "StepTable",
    "alternatives",
    "choose_order",
    "compare",
    "explain_step",
    "few_moves",
    "find_order",
    "follow_shades",
    "moves_needed",
    "order_distance",
    "short_of_yarn",
    "step_matrix",
    "wanted_along",
]

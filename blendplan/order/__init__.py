"""Orders of colours: documented aims, constraints, an exact search where it can be done and a proven bound beyond."""

from __future__ import annotations

from blendplan.order.aims import AIMS
from blendplan.order.choose import choose_order, follow_shades
from blendplan.order.constraints import Constraints
from blendplan.order.find import find_order
from blendplan.order.model import Ordering, Step
from blendplan.order.steps import StepTable, step_matrix

__all__ = [
    "AIMS",
    "Constraints",
    "Ordering",
    "Step",
    "StepTable",
    "choose_order",
    "find_order",
    "follow_shades",
    "step_matrix",
]

"""blendplan: from photographs of yarn to a planned two-strand striped ripple blanket.

The public names below are imported when first used, so `import blendplan` is quick.
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

_HOME = {
    "BlendplanError": "blendplan.errors",
    "Blanket": "blendplan.blanket",
    "Design": "blendplan.blanket",
    "Gauge": "blendplan.fabric.gauge",
    "Lot": "blendplan.yarn",
    "Making": "blendplan.yardage.making",
    "Materials": "blendplan.blanket",
    "Plan": "blendplan.plan",
    "Ripple": "blendplan.fabric.ripple",
    "Shade": "blendplan.yarn",
    "Place": "blendplan.photo",
    "Stripe": "blendplan.stripes.model",
    "Ways": "blendplan.blanket",
    "Yarn": "blendplan.yarn",
    "delta_e_2000": "blendplan.colour",
    "find_order": "blendplan.order",
    "load_photo": "blendplan.photo",
    "load_project": "blendplan.project",
    "make_plan": "blendplan.plan",
    "mix": "blendplan.blend.pair",
    "read_palette": "blendplan.palette",
    "read_photo": "blendplan.photo",
    "save_project": "blendplan.project",
    "work": "blendplan.fabric.ripple",
}
__all__ = ["__version__", *sorted(_HOME)]


def __getattr__(name: str) -> Any:
    """Import a public name from its home on first use (PEP 562)."""
    if name in _HOME:
        return getattr(importlib.import_module(_HOME[name]), name)
    raise AttributeError(f"module 'blendplan' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)

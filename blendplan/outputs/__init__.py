"""Everything that leaves: picture, PDF, sheet, CSV, JSON, text.

A plan hands itself on to these when it is asked to, so they are named here and imported on first use.
"""

from __future__ import annotations

import importlib
from typing import Any

_HOME = {
    "How": "blendplan.outputs.write",
    "plan_picture": "blendplan.outputs.render",
    "rows_txt": "blendplan.outputs.tables",
    "write_outputs": "blendplan.outputs.write",
}


def __getattr__(name: str) -> Any:
    """Import a name from its home on first use (PEP 562)."""
    if name in _HOME:
        return getattr(importlib.import_module(_HOME[name]), name)
    raise AttributeError(f"module 'blendplan.outputs' has no attribute {name!r}")

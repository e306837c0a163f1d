"""blendplan: from photographs of yarn to a planned two-strand striped ripple blanket."""

from __future__ import annotations

__version__ = "0.1.0"

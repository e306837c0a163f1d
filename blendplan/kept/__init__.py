"""What is kept on the maker's own machine: one library file with her blankets, their history, and her yarn shelf."""

from __future__ import annotations

from blendplan.kept.library import Library, Past, Settled, Shelved, home_folder, library_at_home, open_library
from blendplan.kept.shelf import OnShelf, Promise, Shelf, Yours
from blendplan.kept.shelter import Unsaved
from blendplan.kept.told import told_by

__all__ = [
    "Library",
    "OnShelf",
    "Past",
    "Promise",
    "Settled",
    "Shelf",
    "Shelved",
    "Unsaved",
    "Yours",
    "home_folder",
    "library_at_home",
    "open_library",
    "told_by",
]

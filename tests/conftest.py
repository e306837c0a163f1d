"""Fixtures shared by all tests."""

from __future__ import annotations

import os
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def samples() -> Path:
    """Folder with `photos` and `oddfiles`, named by BLENDPLAN_SAMPLES."""
    folder = os.environ.get("BLENDPLAN_SAMPLES", "")
    if not folder or not (Path(folder) / "photos").is_dir():
        pytest.skip("skipped: no samples")
    return Path(folder)

"""Fixtures shared by all tests."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

# A slow machine must not turn into a failing law: examples have no time limit.
settings.register_profile("blendplan", deadline=None)
settings.load_profile("blendplan")


@pytest.fixture(scope="session")
def samples() -> Path:
    """Folder with `photos` and `oddfiles`, named by BLENDPLAN_SAMPLES."""
    folder = os.environ.get("BLENDPLAN_SAMPLES", "")
    if not folder or not (Path(folder) / "photos").is_dir():
        pytest.skip("skipped: no samples")
    return Path(folder)

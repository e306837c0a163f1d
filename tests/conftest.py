"""Fixtures shared by all tests."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_page import chromium, chromium_path, page_server
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


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    """Chromium for a module's tests."""
    with chromium() as started:
        yield started


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A page served to others: every session begins with the demo and nothing is kept."""
    chromium_path()
    with page_server(tmp_path_factory.mktemp("served") / "home", BLENDPLAN_SERVED="1") as address:
        yield address

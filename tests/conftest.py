"""Fixtures shared by all tests."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_page import chromium, chromium_path, page_server
from hypothesis import settings

# A slow machine must not turn into a failing law: examples have no time limit. Each run tries the same ones, a third of
# what a test names; BLENDPLAN_LONG=1 tries all, drawn anew.
LONG = bool(os.environ.get("BLENDPLAN_LONG"))
settings.register_profile("blendplan", deadline=None, derandomize=not LONG)
settings.load_profile("blendplan")


# The dearest files, dearest first: a long one that is begun last would leave the other workers idle.
DEAREST = (
    *("browser_page", "browser_looks", "browser_first", "browser_photo", "browser_order_wishes", "app"),
    *("browser_served", "browser_work", "browser_shades", "photo_reading", "page_photos", "photo_light_fit"),
    *("photo_shade", "picture_fabric", "blend_drawn", "browser_phone", "kept_sets", "picture_scene", "page_law"),
)


LEAST_EXAMPLES = 30


def pytest_configure(config: pytest.Config) -> None:
    """Let workers take files in the order of the collection, and not those with many tests first."""
    config.option.loadscopereorder = False


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the dearest files first, and try fewer examples of a law where no long run was asked for."""
    rank = {f"test_{name}": at for at, name in enumerate(DEAREST)}
    items.sort(key=lambda item: rank.get(item.path.stem, len(rank)))
    # Damaged photographs have a number of their own.
    laws = {
        item.obj
        for item in items
        if hasattr(getattr(item, "obj", None), "_hypothesis_internal_use_settings") and "fuzz" not in item.path.stem
    }
    for law in () if LONG else laws:
        own = law._hypothesis_internal_use_settings
        few = min(own.max_examples, max(LEAST_EXAMPLES, own.max_examples // 3))
        law._hypothesis_internal_use_settings = settings(own, max_examples=few)


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


@pytest.fixture(scope="session")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A page served to others: every session begins with the demo and nothing is kept."""
    chromium_path()
    with page_server(tmp_path_factory.mktemp("served") / "home", BLENDPLAN_SERVED="1") as address:
        yield address

"""Run every bench of this folder and print its report; nothing here passes or fails.

Usage: python tests/bench/run.py [TOPIC ...]
"""

from __future__ import annotations

import importlib.util
import os
import platform
import sys
import time
from pathlib import Path

HERE = Path(__file__).parent
# These start commands, servers and browsers by the dozen: where time runs out, they are what is cut off.
LAST = ("outputs", "page", "budgets")
sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parent.parent)]


def machine() -> str:
    """Describe the machine without naming it."""
    import numpy as np

    return f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}"


def main(topics: list[str]) -> None:
    """Print the reports."""
    print(f"machine: {machine()}")
    found = {path.stem.removeprefix("bench_"): path for path in sorted(HERE.glob("bench_*.py"))}
    for topic, path in sorted(found.items(), key=lambda one: LAST.index(one[0]) if one[0] in LAST else -1):
        if topics and topic not in topics:
            continue
        spec = importlib.util.spec_from_file_location(path.stem, path)
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[path.stem] = module
        start = time.perf_counter()
        try:
            spec.loader.exec_module(module)
            lines = module.report()
        except Exception as error:  # noqa: BLE001 - a report goes on
            lines = [f"did not finish: {type(error).__name__}: {error}"]
        print(f"\n## {topic} ({time.perf_counter() - start:.0f} s)")
        print("\n".join(lines), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])

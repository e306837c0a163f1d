"""The command's first lines: from here on a Ctrl-C ends in silence, and a closed output is no error."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

__all__ = ["run"]


def _leave(number: int, frame: object) -> None:
    os._exit(128 + number)


# Nothing is in hand before a command runs and after it has ended; this module is the first that a command imports.
for _name in ("SIGINT", "SIGTERM", "SIGHUP"):
    if hasattr(signal, _name):
        signal.signal(getattr(signal, _name), _leave)


def run() -> int:
    """Run the command line; return its exit status."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            # The next file opened would take its number, and what is meant for the terminal would go into it.
            os.open(os.devnull, os.O_RDWR)
    nowhere = Path(os.devnull)
    sys.stdout = sys.stdout or nowhere.open("w", encoding="utf-8")
    sys.stderr = sys.stderr or nowhere.open("w", encoding="utf-8")
    from blendplan.cli import main

    return main()


if __name__ == "__main__":
    raise SystemExit(run())

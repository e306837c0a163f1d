"""Start the page with a given command, ask it for its health, and stop it (used by the build check)."""

from __future__ import annotations

import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request


def main(command: str) -> int:
    """Return 0 if the page answers within 30 s."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    process = subprocess.Popen([command, "page", "--port", str(port), "--no-browser"])
    try:
        for _ in range(60):
            time.sleep(0.5)
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=2) as answer:
                    print(f"the page answers {answer.status}")
                    return 0 if answer.status == 200 else 1
            except (urllib.error.URLError, OSError):
                if process.poll() is not None:
                    break
        print("the page did not start", file=sys.stderr)
        return 1
    finally:
        process.terminate()
        process.wait(timeout=10)


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1]))

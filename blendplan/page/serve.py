"""Starting the page: safe settings as flags, so that no settings file elsewhere can open the port."""

from __future__ import annotations

import os
import socket
import sys
import threading
from pathlib import Path
from typing import Any

from blendplan.errors import ProjectError
from blendplan.units import whole

__all__ = ["SAFE", "page_script", "serve"]

# Flags win over environment and every settings file; the same values stand in .streamlit/config.toml for those
# who start the page with the library's own command.
SAFE: dict[str, Any] = {
    "server.address": "127.0.0.1",
    "server.allowedHosts": ["localhost", "127.0.0.1"],
    "server.enableCORS": True,
    "server.enableXsrfProtection": True,
    "server.xsrfCookieSameSite": "strict",
    "server.enableStaticServing": False,
    "server.fileWatcherType": "none",
    "server.showEmailPrompt": False,
    "server.maxUploadSize": 40,
    "server.maxMessageSize": 100,
    "server.disconnectedSessionTTL": 180,
    "browser.gatherUsageStats": False,
    "browser.serverAddress": "localhost",
    "client.showErrorDetails": "none",
    "client.showErrorLinks": False,
    "client.toolbarMode": "viewer",
    "runner.magicEnabled": False,
}


def page_script() -> Path:
    """Return the page's script: the one in the checkout, or the one that an installed package carries.

    Raises
    ------
    ProjectError
        If neither is there.
    """
    package = Path(__file__).resolve().parent.parent
    for path in (package / "_page" / "app.py", package.parent / "app.py"):
        if path.is_file():
            return path
    raise ProjectError("the page's script is missing from this installation; install blendplan again.")


def _check_port(port: int) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as error:
            raise ProjectError(
                "port {port} cannot be used ({reason}); stop what is running there or give another with --port.",
                port=port,
                reason=error.strerror or "no reason given",
            ) from None


def _as_flags(options: dict[str, Any]) -> list[str]:
    """Return settings as arguments; a list becomes its flag more than once."""
    out = []
    for name, value in options.items():
        for one in value if isinstance(value, list) else [value]:
            out += [f"--{name}", str(one).lower() if isinstance(one, bool) else str(one)]
    return out


def _warm() -> None:
    """Load what the first visitor will need."""
    from blendplan.page.main import warm

    warm()


def serve(port: int, *, open_browser: bool = True) -> int:
    """Serve the page on 127.0.0.1 until it is stopped.

    Parameters
    ----------
    port : int
        1024 to 65535.
    open_browser : bool
        True opens the maker's browser where there is a screen.

    Raises
    ------
    BlendplanError
        If the port is out of range or in use.
    """
    port = whole(port, "port", 1024, 65535)
    _check_port(port)
    script = page_script()
    screen = sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
    flags = {**SAFE, "server.port": port, "server.headless": not (open_browser and screen)}
    print(f"blendplan: http://localhost:{port}  (Ctrl+C stops it)", file=sys.stderr, flush=True)

    from streamlit.web import cli

    # The page's own modules are loaded and the first picture is drawn while the browser is still fetching its scripts.
    threading.Thread(target=_warm, daemon=True).start()
    # The library's own command, so that it finds the settings beside the script (the look) as well.
    cli.main(["run", str(script), *_as_flags(flags)], prog_name="streamlit", standalone_mode=False)
    return 0

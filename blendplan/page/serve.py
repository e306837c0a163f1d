"""Starting the page: safe settings as flags, so that no settings file elsewhere can open the port."""

from __future__ import annotations

import os
import re
import socket
import sys
import threading
from pathlib import Path
from typing import Any

from blendplan.errors import ProjectError
from blendplan.units import whole
from blendplan.wording import tr

__all__ = ["SAFE", "page_script", "public_place", "serve", "stay_home"]

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

_HOST = re.compile(r"(?=.{1,253}$)[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*")
_PATH = re.compile(r"[A-Za-z0-9_-]{1,60}(/[A-Za-z0-9_-]{1,60}){0,3}")


def stay_home() -> None:
    """Close two doors that the page library has no setting for.

    Asked for a socket by a page of another name, it looks up this machine's address on the internet before it
    says no; and it puts an upload of more than 1 MB on the disk for a moment.
    Here it looks nothing up, and uploads stay in memory up to the limit of their size.
    """
    from starlette.formparsers import MultiPartParser
    from streamlit import net_util

    net_util.get_external_ip = lambda: None
    net_util.get_internal_ip = lambda: "127.0.0.1"
    MultiPartParser.spool_max_size = (int(SAFE["server.maxUploadSize"]) + 1) * 1024 * 1024


def public_place(text: str) -> tuple[str, str]:
    """Return the host name and the path (without slashes at its ends) under which a proxy shows the page.

    Raises
    ------
    ProjectError
        If it is not a host name, or a host name with a path.

    Examples
    --------
    >>> public_place("Yarn.Example.org/blankets/")
    ('yarn.example.org', 'blankets')
    """
    host, _, path = text.strip().partition("/")
    host, path = host.lower(), path.strip("/")
    if not _HOST.fullmatch(host) or (path and not _PATH.fullmatch(path)):
        raise ProjectError(
            "{given} is not a public name; allowed is a host name without port, with a path if need be; "
            "like example.org or example.org/blankets.",
            given=repr(text[:100]),
        )
    return host, path


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


def serve(port: int, *, open_browser: bool = True, served_as: str = "", lang: str = "en") -> int:
    """Serve the page on 127.0.0.1 until it is stopped.

    Parameters
    ----------
    port : int
        1024 to 65535.
    open_browser : bool
        True opens the maker's browser where there is a screen.
    served_as : str
        The public host name, with a path if need be, at which a reverse proxy on this machine shows the page to
        others. Then nothing is kept on the disk, and only sockets asked for under this name are given.
    lang : str
        Language of the line that gives the address.

    Raises
    ------
    BlendplanError
        If the port is out of range or in use, or the public name cannot be one.
    """
    port = whole(port, "port", 1024, 65535)
    public: dict[str, Any] = {}
    if served_as:
        host, path = public_place(served_as)
        public = {"server.allowedHosts": [host], "browser.serverAddress": host, "server.baseUrlPath": path}
        os.environ["BLENDPLAN_SERVED"] = "1"
        open_browser = False
    _check_port(port)
    script = page_script()
    screen = sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
    flags = {**SAFE, **public, "server.port": port, "server.headless": not (open_browser and screen)}
    under = "/" + public.get("server.baseUrlPath", "") if public else ""
    address = f"http://localhost:{port}{under}"
    print(tr("blendplan: {address}  (Ctrl+C stops it)", lang, address=address), file=sys.stderr, flush=True)

    from streamlit.web import cli

    stay_home()
    # The page's own modules are loaded and the first picture is drawn while the browser is still fetching its scripts.
    threading.Thread(target=_warm, daemon=True).start()
    # The library's own command, so that it finds the settings beside the script (the look) as well.
    cli.main(["run", str(script), *_as_flags(flags)], prog_name="streamlit", standalone_mode=False)
    return 0

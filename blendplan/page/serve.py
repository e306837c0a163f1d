"""Starting the page: where it listens, with settings that no settings file elsewhere can loosen, and who is let in."""

from __future__ import annotations

import contextlib
import html
import io
import ipaddress
import os
import re
import socket
import sys
import threading
import webbrowser
from collections.abc import AsyncIterator, Callable, Iterable
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

from starlette.requests import HTTPConnection
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from blendplan.errors import ProjectError
from blendplan.page.routes import ASSETS, LENGTH, SERVED, STILL, Served, WayIn, asked_language, routes
from blendplan.units import whole
from blendplan.wording import tr

# These win over environment and every settings file; the same values stand in .streamlit/config.toml for those
# who start the page with the library's own command.
SAFE: dict[str, Any] = {
    "server.address": "127.0.0.1",
    "server.headless": True,
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
    # A newer press waits for the one being answered, instead of a second run of the page beside it.
    "runner.fastReruns": False,
    # Python frees what is unused by itself; a whole round after each run would hold up every answer.
    "runner.postScriptGC": False,
}

_HOST = re.compile(r"(?=.{1,253}$)[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*")
_PATH = re.compile(r"[A-Za-z0-9_-]{1,60}(/[A-Za-z0-9_-]{1,60}){0,3}")


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


def home_address(given: str = "") -> str:
    """Return this machine's address in the home network: the one given, else the one it would reach others from.

    Raises
    ------
    ProjectError
        If there is none, or if others than a home network could reach it.
    """
    found = given
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        # Nothing is sent: the system only says which of its addresses it would send from.
        probe.connect(("192.0.2.1", 9))
        found = given or probe.getsockname()[0]
    try:
        address = ipaddress.IPv4Address(found)
    except ValueError:
        address = None
    if not found:
        raise ProjectError("this machine is in no network; join one, or start without --at-home.")
    if address is None or not address.is_private or address.is_loopback or address.is_unspecified:
        raise ProjectError(
            "{given} is no address of a home network; allowed is this machine's own address there, "
            "like 192.168.1.17 or 10.0.0.5; look it up in the network settings and give it after --at-home.",
            given=repr(found[:60]),
        )
    return str(address)


def _listen(address: str, port: int) -> socket.socket:
    """Return a socket that listens at an address of this machine.

    Raises
    ------
    ProjectError
        If the port cannot be used there.
    """
    line = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":
            line.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        line.bind((address, port))
        line.listen(128)
        line.set_inheritable(True)
    except OSError as error:
        line.close()
        raise ProjectError(
            "port {port} cannot be used ({reason}); stop what is running there or give another with --port.",
            port=port,
            reason=error.strerror or "no reason given",
        ) from None
    return line


def _warm() -> None:
    """Load what the first visitor will need, while her browser still fetches its scripts."""
    from blendplan.page import stripes, yarn  # noqa: F401


def application(settings: dict[str, Any], served: Served, *, then: Callable[[], None] = _warm) -> Any:
    """Return the whole page as one ASGI application: the gate, our own routes, and the page library behind them.

    Parameters
    ----------
    settings : dict
        Of the page library; they win over every settings file.
    served : Served
    then : callable
        Done beside it as soon as it answers.
    """
    import streamlit as st
    from starlette.formparsers import MultiPartParser
    from starlette.middleware import Middleware
    from streamlit import config

    @contextlib.asynccontextmanager
    async def lifespan(_: Any) -> AsyncIterator[None]:
        threading.Thread(target=then, daemon=True).start()
        yield

    # Uploads stay in memory up to the limit of their size, and are never put on the disk for a moment.
    MultiPartParser.spool_max_size = (int(SAFE["server.maxUploadSize"]) + 1) * 2**20
    app = st.App(
        page_script(),
        routes=routes(served.base or ""),
        middleware=[Middleware(Gate, served=served)],
        lifespan=lifespan,
    )
    # After the application, which tells where the settings beside the script (the look) are.
    config.get_config_options(force_reparse=True, options_from_flags=settings)
    return app


def serve(
    port: int, *, open_browser: bool = True, served_as: str = "", at_home: str | None = None, lang: str = "en"
) -> int:
    """Serve the page on 127.0.0.1 until it is stopped.

    Parameters
    ----------
    port : int
        1024 to 65535.
    open_browser : bool
        True opens the maker's browser where there is a screen.
    served_as : str
        The public host name, with a path if need be, at which a reverse proxy on this machine shows the page to
        others. Then nothing is kept on the disk, and nothing is answered under another name.
    at_home : str or None
        This machine's address in the home network, empty where it is to be found: the page listens there too, for
        who has the code.
    lang : str
        Language of the lines that give the address.

    Raises
    ------
    BlendplanError
        If the port is out of range or in use, or the public name or the address cannot be one.
    """
    port = whole(port, "port", 1024, 65535)
    settings, hosts, base = {**SAFE, "server.port": port}, list(SAFE["server.allowedHosts"]), ""
    if served_as and at_home is not None:
        raise ProjectError("--served-as and --at-home were both given; give one of them.")
    if served_as:
        host, path = public_place(served_as)
        hosts, base = [host], f"/{path}" if path else ""
        settings |= {"browser.serverAddress": host, "server.baseUrlPath": path}
        os.environ["BLENDPLAN_SERVED"] = "1"
        open_browser = False
    lines = [_listen("127.0.0.1", port)]
    if at_home is not None:
        home = home_address(at_home)
        lines.append(_listen(home, port))
        hosts.append(home)
        settings["browser.serverAddress"] = home
        SERVED.way = WayIn(f"{home}:{port}")
    settings["server.allowedHosts"] = hosts
    SERVED.base, SERVED.hosts = base, frozenset(hosts)
    shown = f"http://localhost:{port}{base}"
    print(tr("blendplan: {address}  (Ctrl+C stops it)", lang, address=shown), file=sys.stderr, flush=True)
    if SERVED.way is not None:
        _tell_way(SERVED.way, lang)
    screen = sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))

    def then() -> None:
        if open_browser and screen:
            webbrowser.open(shown)
        _warm()

    import uvicorn

    app = application(settings, SERVED, then=then)
    server = uvicorn.Server(
        uvicorn.Config(
            app,
            log_level="warning",
            access_log=False,
            # Who asks is who holds the line, whatever a header says.
            proxy_headers=False,
            server_header=False,
            ws_max_size=int(SAFE["server.maxMessageSize"]) * 2**20,
            ws_ping_interval=30,
            ws_ping_timeout=30,
            timeout_graceful_shutdown=2,
        )
    )
    server.run(sockets=lines)
    return 0


def _tell_way(way: WayIn, lang: str) -> None:
    """Show the phone's way in, and what it asks of the network."""
    said = [
        *(square_in_terminal(way.link) if sys.stderr.isatty() else ()),
        tr("On the phone: {address}, and there this code: {code}", lang, address=f"http://{way.place}", code=way.said),
        tr(
            "Only on a home network you trust: what goes between this computer and the phone is not locked. "
            "Someone on the same network who knows how could look on, or use the code.",
            lang,
        ),
    ]
    print("\n".join(said), file=sys.stderr, flush=True)


# ---- who is let in

COOKIE = "blendplan_in"
DESK = frozenset({"localhost", "127.0.0.1"})


class Gate:
    """Stands before the whole page: refuses foreign names and pages, and from beyond the desk all without the code."""

    def __init__(self, app: ASGIApp, served: Served) -> None:
        self.app, self.served = app, served

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand on what may come in."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        asked, way = HTTPConnection(scope), self.served.way
        if not _named(asked, self.served.hosts):
            await _refuse(Response(status_code=403), scope, receive, send)
        elif way is None or _at_desk(asked) or way.knows(asked.cookies.get(COOKIE, "")):
            await self.app(scope, receive, send)
        else:
            await _refuse(await _door(scope, receive, asked, way), scope, receive, send)


def _named(asked: HTTPConnection, hosts: frozenset[str]) -> bool:
    """Return whether it was asked under one of the page's names, by nobody or by a page under the same name."""
    named, origins = asked.headers.getlist("host"), asked.headers.getlist("origin")
    if len(named) != 1 or _host(named[0]) not in hosts:
        return False
    return all(urlsplit(origin).netloc == named[0] for origin in origins)


def _host(named: str) -> str:
    return re.sub(r":\d{1,5}$", "", named).lower()


def _at_desk(asked: HTTPConnection) -> bool:
    """Return whether it is this machine's own browser, under the machine's own name."""
    return asked.client is not None and asked.client.host == "127.0.0.1" and _host(asked.headers["host"]) in DESK


async def _refuse(answer: Response, scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    answer.headers["Connection"] = "close"
    await answer(scope, receive, send)


# What a typed code may take, spaces and all.
_MOST_TYPED = 200


async def _door(scope: Scope, receive: Receive, asked: HTTPConnection, way: WayIn) -> Response:
    """Return the answer to who has no code: a field for it, or the way in where it was given."""
    path, who = scope["path"], asked.client.host if asked.client else ""
    method = scope.get("method", "")
    typed = path.removeprefix("/in/") if method == "GET" and path.startswith("/in/") else ""
    back = "/"
    if method == "POST" and path == "/in":
        fields = parse_qs(await _short_body(receive))
        typed, back = fields.get("code", [""])[0], _own_path(fields.get("to", ["/"])[0])
    if typed:
        wait = way.try_code(who, typed)
        if not wait:
            let_in = RedirectResponse(back, status_code=303, headers={"Cache-Control": "no-store"})
            let_in.set_cookie(COOKIE, way.token, httponly=True, samesite="lax", max_age=90 * 86400)
            return let_in
        return _code_page(asked, back, wait, typed)
    if method == "GET" and "text/html" in asked.headers.get("accept", ""):
        return _code_page(asked, _own_path(path))
    return Response(status_code=401, headers={"Cache-Control": "no-store"})


def _own_path(path: str) -> str:
    """Return a path of this server that may be gone back to."""
    return path if re.fullmatch(r"/work/[A-Za-z0-9_-]{1,60}", path) else "/"


async def _short_body(receive: Receive) -> str:
    body = b""
    while len(body) <= _MOST_TYPED:
        message = await receive()
        body += message.get("body", b"")
        if not message.get("more_body"):
            return body.decode("utf-8", "replace")
    return ""


def _code_page(asked: HTTPConnection, back: str, wait: float = 0, typed: str = "") -> Response:
    lang = asked_language(asked.headers.get("accept-language", ""))

    def say(template: str, **values: object) -> str:
        return html.escape(tr(template, lang, **values))

    fields = {
        "lang": lang,
        "title": say("Type the code that stands on the desk’s page."),
        "lead": say("Or point this phone’s camera at the square beside it."),
        "label": say("Code, {n} letters and figures", n=LENGTH),
        "wrong": say(
            "The code does not match yet. Look at the last letters; nothing is lost. You can try again in {n} seconds.",
            n=round(wait + 0.49),
        )
        if wait
        else "",
        "invalid": "true" if wait else "false",
        "open": say("Open the blanket"),
        "trust": say("Only on a home network you trust."),
        "unlocked": say("What goes between phone and computer is not locked."),
        "back": html.escape(back, quote=True),
        "typed": html.escape(typed[:60], quote=True),
    }
    page = (ASSETS / "code.html").read_text(encoding="utf-8")
    for name, value in fields.items():
        page = page.replace("{{" + name + "}}", value)
    headers = {
        **STILL,
        # With no referrer at all a browser would call the form's own page a foreign one (Origin: null).
        "Referrer-Policy": "same-origin",
        "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'",
        "Cache-Control": "no-store",
    }
    if wait:
        headers["Retry-After"] = str(round(wait + 0.49))
    return HTMLResponse(page, status_code=429 if wait else 401, headers=headers)


def square(link: str) -> str:
    """Return the square of a link as the address of a picture."""
    import segno

    return str(segno.make(link, error="m").svg_data_uri(scale=6, border=3, dark="#1d161f", light="#ffffff"))


def square_in_terminal(link: str) -> Iterable[str]:
    """Return the square of a link as lines of half blocks."""
    import segno

    out = io.StringIO()
    segno.make(link, error="l").terminal(out=out, compact=True, border=2)
    return out.getvalue().rstrip("\n").split("\n")

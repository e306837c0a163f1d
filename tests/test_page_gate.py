"""Who is let in: without the code nothing from beyond the desk, foreign names and pages never, pictures by address.

A code of at least 128 bits is what RFC 6819 (5.1.4.2.2) asks of secrets that people do not choose.
"""

from __future__ import annotations

import asyncio
import math
import subprocess
import sys
from typing import Any

import pytest

pytest.importorskip("streamlit", reason="skipped: Streamlit is not installed")

from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.errors import BlendplanError
from blendplan.page.routes import LENGTH, LETTERS, Handed, Served, WayIn, address
from blendplan.page.serve import COOKIE, Gate, home_address

HOME = "192.168.1.17:8501"
PHONE, DESK = ("192.168.1.40", 50000), ("127.0.0.1", 50000)
SECRET = b"a whole blanket"


class Clock:
    now = 100.0

    def __call__(self) -> float:
        return self.now


class Inside:
    """The page behind the gate: it counts who came in."""

    def __init__(self) -> None:
        self.came: list[str] = []

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        self.came.append(scope["path"])
        if scope["type"] == "websocket":
            await send({"type": "websocket.accept"})
            return
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": SECRET})


def ask(
    app: Any,
    path: str,
    *,
    method: str = "GET",
    kind: str = "http",
    client: tuple[str, int] = DESK,
    body: bytes = b"",
    query: str = "",
    headers: dict[str, str] | list[tuple[str, str]] | None = None,
) -> tuple[int, dict[str, str], bytes]:
    """Return status (101 for a socket given, 403 for one refused), headers and body."""
    given = list(headers.items()) if isinstance(headers, dict) else list(headers or [])
    if not any(name.lower() == "host" for name, _ in given):
        given.append(("host", HOME))
    scope = {
        "type": kind,
        "path": path,
        "method": method,
        "query_string": query.encode(),
        "client": client,
        "scheme": "http",
        "headers": [(n.lower().encode("latin-1"), v.encode("latin-1", "replace")) for n, v in given],
    }
    sent: list[dict[str, Any]] = []
    pieces = [body[at : at + 8192] for at in range(0, len(body), 8192)] or [b""]

    async def receive() -> dict[str, Any]:
        piece = pieces.pop(0) if pieces else b""
        return {"type": "http.request", "body": piece, "more_body": bool(pieces)}

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    asyncio.run(app(scope, receive, send))
    if kind == "websocket":
        return (101 if sent[0]["type"] == "websocket.accept" else 403), {}, b""
    told = {n.decode().lower(): v.decode() for n, v in sent[0]["headers"]}
    return sent[0]["status"], told, b"".join(m.get("body", b"") for m in sent[1:])


class House:
    """A gate with its way in, asked as a server would ask it."""

    def __init__(self, way: bool = True) -> None:
        self.clock = Clock()
        self.way = WayIn(HOME, self.clock) if way else None
        hosts = frozenset({"localhost", "127.0.0.1", "192.168.1.17"} if way else {"localhost", "127.0.0.1"})
        self.inside = Inside()
        self.gate = Gate(self.inside, Served(base="", way=self.way, hosts=hosts))

    def ask(self, path: str = "/", *, client: tuple[str, int] = PHONE, **how: Any) -> tuple[int, dict[str, str], bytes]:
        return ask(self.gate, path, client=client, **how)

    def come_in(self) -> str:
        """Give the right code and return the cookie."""
        assert self.way is not None
        status, told, _ = self.ask("/in", method="POST", body=f"code={self.way.code}".encode())
        assert status == 303 and told["location"] == "/"
        return told["set-cookie"].split(";")[0]


PATHS = st.one_of(
    st.sampled_from(
        [
            "/",
            "/in",
            "/in/",
            "/work/1",
            "/picture/00.png",
            "/_stcore/stream",
            "/_stcore/health",
            "/_stcore/upload_file/a/b",
            "/media/a.png",
            "/static/js/index.js",
            "//in",
            "/in/../",
            "/%69n",
            "/IN/x",
        ]
    ),
    st.text(max_size=40).map(lambda text: "/" + text),
)


@settings(max_examples=150, deadline=None)
@given(
    path=PATHS,
    method=st.sampled_from(["GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS", "PATCH", "CONNECT", "BREW"]),
    kind=st.sampled_from(["http", "websocket"]),
    cookie=st.one_of(st.just(""), st.text(st.characters(codec="latin-1"), max_size=60)),
    body=st.binary(max_size=400),
    accept=st.sampled_from(["", "text/html", "*/*"]),
    host=st.sampled_from([HOME, "192.168.1.17", "localhost", "127.0.0.1:8501", "localhost.", "evil.invalid", ""]),
)
def test_without_the_code_nothing_is_given(path, method, kind, cookie, body, accept, host) -> None:
    house = House()
    headers = [("cookie", f"{COOKIE}={cookie}"), ("accept", accept), ("host", host), ("x-forwarded-for", "127.0.0.1")]
    status, told, answer = house.ask(path, method=method, kind=kind, body=body, headers=headers)
    assert status in (401, 403, 429) and not house.inside.came
    assert SECRET not in answer and house.way.code.encode() not in answer and "set-cookie" not in told


def test_the_code_is_of_128_bits_and_lets_in_until_it_is_made_anew() -> None:
    assert LENGTH * math.log2(len(set(LETTERS))) >= 128
    house = House()
    cookie = {"cookie": house.come_in()}
    assert house.way.code not in cookie["cookie"]
    for kind, path, method in (("http", "/", "GET"), ("http", "/_stcore/upload_file/a/b", "PUT")):
        assert house.ask(path, kind=kind, method=method, headers=cookie)[0] == 200
    assert house.ask("/_stcore/stream", kind="websocket", headers=cookie)[0] == 101
    old = house.way.code
    house.way.renew()
    assert house.way.code != old and house.ask(headers=cookie)[0] == 401
    assert house.ask("/in", method="POST", body=f"code={old}".encode())[0] == 429
    house.clock.now += 3
    cookie = {"cookie": house.come_in()}
    house.way.stop()
    assert house.ask(headers=cookie)[0] == 401 and house.ask("/in/", headers=cookie)[0] == 401


def test_the_link_of_the_square_lets_in_and_leaves_no_code_in_the_address() -> None:
    house = House()
    path = house.way.link.removeprefix(f"http://{HOME}")
    status, told, _ = house.ask(path)
    assert status == 303 and told["location"] == "/" and "HttpOnly" in told["set-cookie"]
    spoken = house.way.said.upper().replace(" ", "+")
    assert house.ask("/in", method="POST", body=f"code={spoken}&to=/work/3".encode())[1]["location"] == "/work/3"
    elsewhere = f"code={house.way.code}&to=//evil.invalid".encode()
    assert house.ask("/in", method="POST", body=elsewhere)[1]["location"] == "/"


def test_wrong_codes_are_slowed_two_four_eight_seconds_for_the_machine_that_gave_them() -> None:
    house = House()
    for wait in (2, 4, 8, 8):
        status, told, page = house.ask("/in", method="POST", body=b"code=rv6k3tma")
        assert status == 429 and told["retry-after"] == str(wait) and f"again in {wait} seconds".encode() in page
        # The right one does not help while it waits, and asking does not make it longer.
        house.clock.now += wait - 0.5
        assert house.ask("/in", method="POST", body=f"code={house.way.code}".encode())[0] == 429
        house.clock.now += 0.6
    assert house.ask("/in", method="POST", body=b"code=x", client=("192.168.1.41", 1))[1]["retry-after"] == "2"
    house.come_in()


def test_a_browser_tells_the_field_of_the_code_where_it_comes_from() -> None:
    # Under "no-referrer" a form's post bears Origin: null (Fetch standard, "append a request Origin header").
    status, told, page = House().ask(headers={"accept": "text/html"})
    assert status == 401 and told["referrer-policy"] == "same-origin" and b"<form" in page


def test_this_desk_needs_no_code_and_nobody_else_is_this_desk() -> None:
    house = House()
    for host in ("localhost:8501", "127.0.0.1:8501"):
        assert house.ask(client=DESK, headers={"host": host})[0] == 200
        assert house.ask(client=PHONE, headers={"host": host})[0] == 401
    # The desk's own browser under the home address is asked like any other.
    assert house.ask(client=DESK, headers={"host": HOME})[0] == 401


@pytest.mark.parametrize("way", [True, False])
def test_foreign_names_and_foreign_pages_are_refused_whatever_they_carry(way: bool) -> None:
    house = House(way)
    cookie = [("cookie", house.come_in())] if way else []
    own = HOME if way else "localhost:8501"
    for kind in ("http", "websocket"):
        for headers in (
            [("host", "evil.invalid")],
            [("host", "192.168.1.17.evil.invalid:8501")],
            [("host", own), ("host", "evil.invalid")],
            [("host", own), ("origin", "http://evil.invalid")],
            [("host", own), ("origin", "null")],
            [("host", own), ("origin", f"http://{own}1")],
        ):
            assert house.ask(kind=kind, client=DESK, headers=[*headers, *cookie])[0] == 403, headers
    before = len(house.inside.came)
    own_page = [("host", own), ("origin", f"http://{own}"), *cookie]
    assert house.ask(kind="websocket", client=DESK, headers=own_page)[0] == 101 and len(house.inside.came) == before + 1


def test_only_addresses_of_a_home_network_are_listened_to() -> None:
    assert home_address("192.168.1.17") == "192.168.1.17"
    for wrong in ("8.8.8.8", "0.0.0.0", "127.0.0.1", "home.example.org", "192.168.1.17:80"):
        with pytest.raises(BlendplanError, match="no address of a home network"):
            home_address(wrong)
    told = subprocess.run(
        [sys.executable, "-m", "blendplan", "page", "--at-home", "8.8.8.8", "--no-browser"],
        capture_output=True,
        text=True,
        timeout=180,
    )
    assert told.returncode == 2 and told.stderr.startswith("error: '8.8.8.8' is no address of a home network")


# ---- pictures by address


def test_pictures_are_kept_by_content_within_a_budget_and_only_what_was_handed_out_is_given() -> None:
    handed = Handed(budget=1000)
    first = handed.put(b"a" * 400)
    assert handed.put(b"a" * 400) == first and handed.held == 400 and len(first) == 32
    second = handed.put(b"b" * 400)
    assert handed.get(first) == b"a" * 400
    # The one used longest ago makes room.
    handed.put(b"c" * 400)
    assert handed.get(second) is None and handed.get(first) and handed.held == 800
    assert handed.get("0" * 32) is None


def test_without_our_own_server_the_data_stands_in_the_address() -> None:
    assert address(b"\x89PNG", "png") == "data:image/png;base64,iVBORw=="

"""Nothing leaves the machine: the served page runs under a blocker of every connection beyond it."""

from __future__ import annotations

import asyncio
import os
import re
import socket
import subprocess
import sys
from pathlib import Path

import pytest

pytest.importorskip("streamlit", reason="skipped: Streamlit is not installed")

from browser_page import ROOT, page_server

BLOCKER = Path(__file__).parent / "page_blocker"


def blocked_env(log: Path) -> dict[str, str]:
    log.write_text("")
    return {"BLOCKED_LOG": str(log), "PYTHONPATH": os.pathsep.join((str(BLOCKER), str(ROOT)))}


def test_the_blocker_blocks(tmp_path: Path) -> None:
    log = tmp_path / "log"
    env = {**os.environ, **blocked_env(log)}
    code = "import urllib.request; urllib.request.urlopen('http://192.0.2.1/', timeout=1)"
    assert subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, check=False).returncode
    code = "import socket; socket.getaddrinfo('example.org', 80)"
    assert subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, check=False).returncode
    assert log.read_text().count("\n") == 2


def test_a_whole_session_makes_no_connection_beyond_the_machine(tmp_path: Path) -> None:
    sys.path.insert(0, str(Path(__file__).parent / "bench"))
    from load_page import play

    log = tmp_path / "log"
    with page_server(tmp_path / "home", **blocked_env(log)) as address:
        crew = asyncio.run(play(address, [[(1, 20), (2, 21)]], pause_s=0.2))
    assert crew[0].to_picture and not crew[0].lost
    assert log.read_text() == ""


def test_only_this_machine_is_listened_to_and_other_hosts_are_refused(tmp_path: Path) -> None:
    import psutil

    pid: list[int] = []
    log = tmp_path / "log"
    with page_server(tmp_path / "home", pid=pid, **blocked_env(log)) as address:
        listening = [c.laddr.ip for c in psutil.Process(pid[0]).net_connections("tcp") if c.status == "LISTEN"]
        assert listening == ["127.0.0.1"]

        def answer(host: str, origin: str) -> str:
            port = int(address.rsplit(":", 1)[1])
            with socket.create_connection(("127.0.0.1", port), timeout=60) as line:
                line.sendall(
                    f"GET /_stcore/stream HTTP/1.1\r\nHost: {host}:{port}\r\nOrigin: {origin}:{port}\r\n"
                    "Connection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"
                    "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n".encode()
                )
                return line.recv(200).decode("latin-1").split("\r\n")[0]

        assert " 101 " in answer("127.0.0.1", "http://127.0.0.1")
        # A foreign page in her browser, and a foreign name that points here (DNS rebinding).
        assert " 403 " in answer("127.0.0.1", "http://evil.invalid")
        assert " 403 " in answer("evil.invalid", "http://evil.invalid")
    # Saying no takes no look at the internet either.
    assert log.read_text() == ""


def test_the_settings_beside_the_script_say_the_same_as_the_flags() -> None:
    import tomllib

    from blendplan.page.serve import SAFE

    stored = tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
    for name, value in SAFE.items():
        section, key = name.split(".")
        assert stored[section][key] == value, name
    assert SAFE["server.address"] == "127.0.0.1" and SAFE["browser.gatherUsageStats"] is False


def test_the_command_tells_a_port_that_is_taken_or_out_of_range(tmp_path: Path) -> None:
    def run(port: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "blendplan", "page", "--port", port, "--no-browser"],
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=180,
            check=False,
        )

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        told = run(str(taken.getsockname()[1]))
    assert told.returncode == 2 and "give another with --port" in told.stderr and told.stderr.count("\n") == 1
    told = run("80")
    assert told.returncode == 2 and "1024 to 65535" in told.stderr


def test_what_the_page_shows_loads_nothing_from_outside() -> None:
    for path in (ROOT / "blendplan" / "page").rglob("*"):
        if path.suffix in (".py", ".js", ".css"):
            text = path.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "").replace("http://y", "")
            text = re.sub(r"f\"http://(localhost|\{)", "", text)
            assert "http://" not in text and "https://" not in text, path.name


def test_a_public_name_is_checked() -> None:
    from blendplan.errors import BlendplanError
    from blendplan.page.serve import public_place

    assert public_place("Yarn.example.org") == ("yarn.example.org", "")
    assert public_place("yarn.example.org/guild/blankets/") == ("yarn.example.org", "guild/blankets")
    for wrong in (
        "",
        "*",
        "*.example.org",
        "https://example.org",
        "example.org:443",
        "a b",
        "-a.org",
        "a/../b",
        "a/<b>",
    ):
        with pytest.raises(BlendplanError, match="is not a public name"):
            public_place(wrong)

"""The page served to a guild: real Chromium through a real nginx, with the configuration that DEVELOPERS.md gives.

Two processes behind the proxy, a path, a certificate, sticky sessions; nothing on the disk, nothing beyond the
machine, and nothing lost by a refresh or when a process ends.
"""

from __future__ import annotations

import http.client
import io
import os
import re
import shutil
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from browser_page import ROOT, chromium, chromium_path, free_port, open_page, open_place, settle, shot, unfold
from test_page_offline import blocked_env

pytestmark = pytest.mark.browser


@dataclass
class Guild:
    """The proxy and the processes behind it."""

    port: int
    folder: Path
    backends: dict[int, subprocess.Popen[bytes]] = field(default_factory=dict)
    connects: Path = Path()

    @property
    def address(self) -> str:
        return f"https://example.org:{self.port}/blankets/"

    def asked(self) -> list[tuple[str, str]]:
        """Sticky key and process of each request so far."""
        lines = [line.split(" ") for line in (self.folder / "proxy.log").read_text().splitlines()]
        # Where one did not answer, the process that did stands last.
        return [(parts[0], parts[-1]) for parts in lines if parts[-1] != "-"]

    def get(self, host: str, path: str = "/blankets/", method: str = "GET", **headers: str) -> int:
        """Ask the proxy under a name and return the status."""
        trust = ssl.create_default_context(cafile=str(self.folder / "own.crt"))
        trust.check_hostname = False
        line = http.client.HTTPSConnection("127.0.0.1", self.port, context=trust, timeout=20)
        try:
            line.putrequest(method, path, skip_host=True)
            for name, value in {"Host": host, **headers}.items():
                line.putheader(name, value)
            line.endheaders()
            return line.getresponse().status
        finally:
            line.close()


def nginx_path() -> str:
    found = shutil.which("nginx") or shutil.which("nginx", path="/usr/sbin")
    if not found or not shutil.which("openssl"):
        pytest.skip("skipped: nginx or openssl is not installed")
    return found


def written_configuration(guild: Guild) -> str:
    """The block of DEVELOPERS.md with ports and certificate of this test, and nothing else changed."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    block = re.search(r"```nginx\n(.*?)```", text, re.DOTALL)
    assert block
    config = block[1]
    for at, port in zip((8601, 8602), guild.backends, strict=True):
        assert config.count(f"127.0.0.1:{at};") == 1
        config = config.replace(f"127.0.0.1:{at};", f"127.0.0.1:{port};")
    config = config.replace("listen 443 ssl", f"listen 127.0.0.1:{guild.port} ssl")
    config = config.replace("/etc/nginx/blankets.", f"{guild.folder}/own.")
    temporary = "".join(
        f"{kind}_temp_path {guild.folder}/temporary;\n" for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    return (
        f"daemon off;\nworker_processes 1;\npid {guild.folder}/pid;\nerror_log {guild.folder}/error.log warn;\n"
        "events { worker_connections 256; }\nhttp {\n"
        f"{temporary}log_format where '$sticky $upstream_addr';\naccess_log {guild.folder}/proxy.log where;\n"
        f"{config}}}\n"
    )


@pytest.fixture(scope="module")
def guild(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Guild]:
    chromium_path()
    nginx = nginx_path()
    folder = tmp_path_factory.mktemp("guild")
    own = Guild(port=free_port(), folder=folder, connects=folder / "connects.log")
    for name in ("home", "tmp", "temporary"):
        (folder / name).mkdir()
    made = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 -subj /CN=example.org"
    files = ["-keyout", str(folder / "own.key"), "-out", str(folder / "own.crt")]
    subprocess.run(
        [*made.split(), "-addext", "subjectAltName=DNS:example.org", *files], check=True, capture_output=True
    )
    env = {
        **os.environ,
        **blocked_env(own.connects),
        "WRITTEN_LOG": str(folder / "written.log"),
        "PYTHONDONTWRITEBYTECODE": "1",
        "HOME": str(folder / "home"),
        "TMPDIR": str(folder / "tmp"),
    }
    env.pop("BLENDPLAN_HOME", None)
    env.pop("BLENDPLAN_SERVED", None)
    with (folder / "backends.log").open("wb") as log:
        for _ in range(2):
            port = free_port()
            own.backends[port] = subprocess.Popen(
                [sys.executable, "-m", "blendplan", "page", "--port", str(port), "--served-as", "example.org/blankets"],
                cwd=folder,
                env=env,
                stdout=log,
                stderr=log,
            )
        (folder / "nginx.conf").write_text(written_configuration(own))
        proxy = subprocess.Popen([nginx, "-p", str(folder), "-c", str(folder / "nginx.conf")], stdout=log, stderr=log)
        try:
            for port, process in own.backends.items():
                for _ in range(1200):
                    with socket.socket() as line:
                        if not line.connect_ex(("127.0.0.1", port)):
                            break
                    assert process.poll() is None, (folder / "backends.log").read_text()
                    time.sleep(0.1)
            yield own
        finally:
            for process in (proxy, *own.backends.values()):
                process.terminate()
                process.wait(60)


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    with chromium("--host-resolver-rules=MAP example.org 127.0.0.1, MAP * ~NOTFOUND") as started:
        yield started


def test_only_the_public_name_is_answered(guild: Guild) -> None:
    assert guild.get(f"example.org:{guild.port}") == 200
    assert guild.get("evil.invalid") == 421
    assert guild.get(f"127.0.0.1:{guild.port}") == 421
    # Past the proxy the page itself gives a socket under its public name only.
    port = next(iter(guild.backends))

    def asked_for_a_socket(host: str) -> int:
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
        line.request(
            "GET",
            "/blankets/_stcore/stream",
            headers={
                "Host": host,
                "Origin": f"http://{host}",
                "Connection": "Upgrade",
                "Upgrade": "websocket",
                "Sec-WebSocket-Version": "13",
                "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",
            },
        )
        status = line.getresponse().status
        line.close()
        return status

    assert asked_for_a_socket("example.org") == 101
    assert asked_for_a_socket("localhost") == 403
    assert asked_for_a_socket("evil.invalid") == 403


def test_an_upload_over_the_limit_is_refused_by_the_proxy(guild: Guild) -> None:
    path = "/blankets/_stcore/upload_file/a/b"
    host = f"example.org:{guild.port}"
    assert guild.get(host, path, "PUT", **{"Content-Length": str(43 * 2**20)}) == 413


def test_a_browser_stays_with_one_process_and_both_are_used(guild: Guild) -> None:
    host = f"example.org:{guild.port}"
    for n in range(12):
        for _ in range(3):
            assert guild.get(host, Cookie=f"blendplan_at=browser{n}") == 200
    homes: dict[str, set[str]] = {}
    for key, where in guild.asked():
        homes.setdefault(key, set()).add(where)
    assert all(len(homes[f"browser{n}"]) == 1 for n in range(12))
    assert len({where for each in homes.values() for where in each}) == 2


def test_the_whole_job_through_the_proxy(browser, guild: Guild, tmp_path: Path) -> None:
    import numpy as np
    from PIL import Image
    from pypdf import PdfReader

    rng = np.random.default_rng(5)
    picture = np.full((1500, 2000, 3), 236.0)
    picture[300:1200, 200:850] = (150, 60, 45)
    picture[300:1200, 1150:1800] = (60, 95, 110)
    # Strands: a smooth thing that keeps the ground's hue would be a shadow.
    picture[300:1200, 200:1800] *= np.where(
        (np.arange(900) % 30 < 12)[:, None, None] & (picture[300:1200, 200:1800, :1] < 200), 0.85, 1.0
    )
    picture = np.clip(picture + rng.normal(0, 4, picture.shape), 0, 255).astype(np.uint8)
    Image.fromarray(picture).save(tmp_path / "two skeins.jpg", quality=99)
    assert (tmp_path / "two skeins.jpg").stat().st_size > 1_200_000, "larger than what is put on a disk for a moment"

    page = open_page(browser, guild.address.rstrip("/"), ignore_https_errors=True)
    assert page.url.startswith(guild.address)
    asked: list[str] = []
    page.on("request", lambda r: asked.append(r.url))
    page.on("websocket", lambda w: asked.append(w.url))
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Start with photographs of my yarn").click()
    chooser.value.set_files(str(tmp_path / "two skeins.jpg"))
    page.get_by_label("Name of yarn B").wait_for()
    settle(page)
    page.get_by_text("Save the project file before you do.").first.wait_for()
    for n, name in (("A", "Old rust"), ("B", "Pond green")):
        page.get_by_label(f"Name of yarn {n}").fill(name)
        page.keyboard.press("Enter")
        settle(page)

    # A refresh in the middle.
    page.reload()
    page.get_by_label("Name of yarn B").wait_for()
    settle(page)
    assert page.get_by_label("Name of yarn A").input_value() == "Old rust"
    page.get_by_role("button", name="Draw my blanket").click()
    settle(page)
    page.get_by_text("was wished for").first.wait_for()

    # The process that she is on ends; the other gets her work from her tab.
    _, where = guild.asked()[-1]
    guild.backends[int(where.rsplit(":", 1)[1])].terminate()
    guild.backends[int(where.rsplit(":", 1)[1])].wait(60)
    # Refreshed, so that nothing of the old process is still on the screen when it is looked at.
    page.reload()
    page.get_by_text("Pond green").first.wait_for()
    settle(page)
    # Beside the work: one page under a name that nobody can guess, for this window's blanket alone.
    page.get_by_role("button", name="Crochet").first.click()
    settle(page)
    where = page.get_by_role("link", name="Row 1, large, beside the hook").get_attribute("href")
    assert re.fullmatch(r"/blankets/work/[0-9a-f]{32}-\d+", where)
    page.get_by_role("button", name="Row done").click()
    page.get_by_text(re.compile(r"^1 of \d+ rows$")).wait_for()
    open_place(page, "buying")
    unfold(page, "papers-fold")
    with page.expect_download() as got:
        page.get_by_role("button", name="PDF to pin up").click()
    text = "".join(p.extract_text() for p in PdfReader(io.BytesIO(Path(got.value.path()).read_bytes())).pages)
    assert "Old rust" in text and "Pond green" in text
    shot(page, "served")

    # A new tab is a new visitor, also in the same browser; nobody meets another's work.
    other = page.context.new_page()
    other.goto(guild.address)
    settle(other)
    assert "Pond green" not in other.locator("body").inner_text()
    page.context.close()

    # Nothing went elsewhere, and nothing lies or lay on the disk.
    allowed = (guild.address, guild.address.replace("https", "wss"), "data:", f"blob:{guild.address[:20]}")
    assert not [url for url in asked if not url.startswith(allowed)]
    assert guild.connects.read_text() == ""
    assert (guild.folder / "written.log").read_text() == ""
    assert not [p for name in ("home", "tmp", "temporary") for p in (guild.folder / name).rglob("*") if p.is_file()]
    assert "temporary file" not in (guild.folder / "error.log").read_text()

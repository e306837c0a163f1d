"""The page: a press to its new picture against a bare run, cold start, beside the work, photographs in memory."""

from __future__ import annotations

import asyncio
import os
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
sys.path[:0] = [str(HERE), str(HERE.parent), str(ROOT)]

PRESSES = 16


def _spread(times: list[float]) -> str:
    """Return the median with the middle half of times in seconds, as milliseconds."""
    low, _, high = (1000 * t for t in statistics.quantiles(times, n=4))
    return f"{1000 * statistics.median(times):.0f} ms (median of {len(times)}; middle half {low:.0f} to {high:.0f})"


def press_to_picture() -> list[str]:
    """By the browser's own protocol: a bare run, and a pull of a stripe with all strips that it needs fetched."""
    from browser_page import page_server
    from load_page import STRIPES, Client

    async def play(address: str) -> tuple[list[float], list[float]]:
        import websockets

        uri = address.replace("http", "ws") + "/_stcore/stream"
        async with websockets.connect(uri, subprotocols=["streamlit"], max_size=None, origin=address) as socket:
            client, bare = Client(number=0, address=address, socket=socket), []
            await client.run()
            await client.change(1, 20, measured=False)
            for n in range(PRESSES):
                bare.append((await client.run())[1])
                await client.change((n + 2) % STRIPES, 5 + n % 9)
            return bare, client.to_end

    with tempfile.TemporaryDirectory() as home, page_server(Path(home) / "home", BLENDPLAN_SERVED="1") as address:
        bare, picture = asyncio.run(play(address))
    more = 1000 * (statistics.median(picture) - statistics.median(bare))
    return [
        f"bare run of the whole page: {_spread(bare)}",
        f"stripe pulled to its new picture, whole run: {_spread(picture)}, {more:.0f} ms more (goal 100)",
    ]


# The picture answers a press itself; what is waited for is the server's answer with the chosen stripe's strip drawn.
_WATCH = """
(what) => {
  const all = (node, found = []) => {
    for (const e of node.querySelectorAll("*")) {
      if (e.picture) found.push(e.picture);
      if (e.shadowRoot) all(e.shadowRoot, found);
    }
    return found;
  };
  const picture = () => all(document)[0], tag = () => document.querySelector(".st-key-tag-head")?.innerText;
  const before = what === "tag" ? tag() : picture().data, drawn = () => {
    const p = picture(), stripe = p.stripes[p.chosen ?? 0];
    return p.data !== before && p.images.get(p.url(stripe.own, p.scale))?.ready;
  };
  window.bpTook = new Promise((done) => {
    document.addEventListener("click", (e) => {
      const look = () => (what === "tag" ? tag() && tag() !== before : drawn())
        ? done(performance.now() - e.timeStamp) : requestAnimationFrame(look);
      look();
    }, { capture: true, once: true });
  });
}
"""


def in_the_browser() -> list[str]:
    """In Chromium: from a press on a stripe to its tag, and from another yarn for a strand to the new picture."""
    from browser_page import chromium, open_page, page_server, settle

    tag: list[float] = []
    picture: list[float] = []
    with (
        tempfile.TemporaryDirectory() as home,
        page_server(Path(home) / "home", BLENDPLAN_SERVED="1") as address,
        chromium() as started,
    ):
        page = open_page(started, address)

        def timed(press: Any, what: str, times: list[float]) -> None:
            page.evaluate(_WATCH, what)
            press.click()
            times.append(float(page.evaluate("window.bpTook")) / 1000)
            settle(page)

        for n in range(PRESSES + 1):
            timed(page.get_by_role("option").nth((3 * n + 1) % 11), "tag", tag)
            chips = page.locator(".st-key-strand-1 button[aria-checked=false]")
            timed(chips.nth(n % chips.count()), "picture", picture)
    # The first of each opens what is drawn once only.
    tag, picture = tag[1:], picture[1:]
    more = 1000 * (statistics.median(picture) - statistics.median(tag))
    return [
        f"in Chromium, press on a stripe to its tag: {_spread(tag)}",
        f"in Chromium, another yarn for a strand to its new strip drawn: {_spread(picture)}, {more:.0f} ms more",
    ]


@contextmanager
def _plain(folder: Path) -> Iterator[str]:
    """Serve a page of one word with the page library's own command."""
    from browser_page import free_port

    script, port = folder / "plain.py", free_port()
    script.write_text("import streamlit as st\nst.write('x')\n")
    flags = [f"--server.port={port}", "--server.headless=true", "--browser.gatherUsageStats=false"]
    with subprocess.Popen(
        [sys.executable, "-m", "streamlit", "run", str(script), *flags],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as process:
        try:
            for _ in range(600):
                try:
                    urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=1).close()
                    break
                except OSError:
                    time.sleep(0.05)
            yield f"http://127.0.0.1:{port}"
        finally:
            process.terminate()


def cold_start() -> list[str]:
    """Time from the command to the end of the first run: our page with its strips, and a page of one word."""
    from browser_page import page_server
    from load_page import Client

    async def first(address: str) -> float:
        import websockets

        uri = address.replace("http", "ws") + "/_stcore/stream"
        async with websockets.connect(uri, subprotocols=["streamlit"], max_size=None, origin=address) as socket:
            picture, end = await Client(number=0, address=address, socket=socket).run()
            return picture or end

    took: dict[str, list[float]] = {"ours": [], "plain": []}
    for _ in range(3):
        for name, times in took.items():
            with tempfile.TemporaryDirectory() as folder:
                begin = time.perf_counter()
                with page_server(Path(folder) / "home") if name == "ours" else _plain(Path(folder)) as address:
                    answered = time.perf_counter() - begin
                    times.append(answered + asyncio.run(first(address)))
    ours, plain = (statistics.median(times) for times in took.values())
    return [
        f"cold start: {ours:.2f} s to the first picture, a page of one word takes {plain:.2f} s, "
        f"{ours - plain:.2f} s more (goal 1)"
    ]


def beside_the_work() -> list[str]:
    """Load the page beside the work, and count on it while the desk looks on."""
    from browser_page import chromium, open_page, open_place, page_server

    loads: list[float] = []
    follows: list[float] = []
    with (
        tempfile.TemporaryDirectory() as home,
        page_server(Path(home) / "home") as address,
        chromium() as started,
    ):
        desk = open_page(started, address)
        open_place(desk, "work")
        where = address + desk.locator("a.bp-press").get_attribute("href")
        phone = started.new_context(viewport={"width": 390, "height": 844}, is_mobile=True, has_touch=True).new_page()
        for _ in range(5):
            phone.goto(where)
            loads.append(phone.evaluate("performance.getEntriesByType('navigation')[0].loadEventEnd") / 1000)
        size = phone.evaluate("performance.getEntriesByType('navigation')[0].decodedBodySize")
        for row in range(1, 9):
            begin = time.perf_counter()
            phone.locator("#done").click()
            desk.get_by_text(f"{row} of 68 rows").wait_for()
            follows.append(time.perf_counter() - begin)
    return [
        f"page beside the work, {size / 1000:.0f} kB: loaded in {loads[0]:.2f} s at first, then "
        f"{statistics.median(loads[1:]):.2f} s (goal 1)",
        f"a row counted on the phone stands on the desk after {_spread(follows)} (goal 2 s)",
    ]


def command_help() -> list[str]:
    """Time `--help` against an empty Python."""
    times: dict[str, list[float]] = {"pass": [], "help": []}
    for _ in range(7):
        for name, arguments in (("pass", ["-c", "pass"]), ("help", ["-m", "blendplan", "--help"])):
            begin = time.perf_counter()
            subprocess.run([sys.executable, *arguments], cwd=ROOT, check=True, capture_output=True)
            times[name].append(time.perf_counter() - begin)
    more = min(times["help"]) - min(times["pass"])
    return [f"--help takes {more:.3f} s more than an empty Python (target 0.15 s)"]


PHOTOS = """
import io, os, psutil
import numpy as np
from PIL import Image
from streamlit.testing.v1 import AppTest
rng = np.random.default_rng(3)
app = AppTest.from_file("app.py", default_timeout=120).run()
app.session_state["session"].place = "yarn"
app.run()
me = psutil.Process()
tile = rng.integers(0, 40, (300, 400, 3), dtype=np.uint8)
for i in range(21):
    picture = np.tile(tile, (10, 10, 1)) + np.uint8(180)
    picture[600:2400, 800:3200] = (i * 9 % 200, 90, 200 - i * 9 % 200)
    picture[:, :, 0] += np.uint8(i % 5)
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=85)
    del picture
    turn = app.session_state["session"].uploads
    app.file_uploader(key=f"photos-{turn}").set_value((f"{i}.jpg", out.getvalue(), "image/jpeg"))
    app.run()
    while app.session_state["session"].waiting:
        app.run()
    assert not app.exception
    if i == 0:
        # The first photo brings the libraries into memory; from here on only photos count.
        base = me.memory_info().rss
print((me.memory_info().rss - base) / 1e6, len(app.session_state["session"].photos))
"""


def photos_in_memory() -> list[str]:
    """Resident memory after 20 photos more of 12 megapixels, all still open, above the memory after the first."""
    with tempfile.TemporaryDirectory() as home:
        env = {**os.environ, "BLENDPLAN_HOME": home, "PYTHONPATH": str(ROOT)}
        done = subprocess.run(
            [sys.executable, "-c", PHOTOS], cwd=ROOT, env=env, check=False, capture_output=True, text=True
        )
    if done.returncode:
        return [f"photos in memory: could not be measured: {done.stderr.strip().splitlines()[-1][:200]}"]
    grown, count = done.stdout.split()
    return [f"memory with {count} photos of 12 megapixels: {float(grown):.0f} MB above one (target 150 MB)"]


def many_at_once() -> list[str]:
    """Let sixteen people press at once: strangers on a served page, and sixteen windows on one library."""
    from load_page import report as load

    return [*load(16, 4), *load(16, 4, tabs=True)]


def report() -> list[str]:
    """Return the lines of the report."""
    parts = (
        press_to_picture,
        in_the_browser,
        cold_start,
        beside_the_work,
        many_at_once,
        command_help,
        photos_in_memory,
    )
    return [line for part in parts for line in part()]


if __name__ == "__main__":
    print("\n".join(line for name in sys.argv[1:] for line in globals()[name]()) or "\n".join(report()))

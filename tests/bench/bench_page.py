"""The page: a change to its new picture against a bare rerun, cold start, the command's start, photos in memory."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
sys.path[:0] = [str(HERE.parent), str(ROOT)]


def _median(times: list[float]) -> float:
    return statistics.median(times)


def change_to_picture() -> list[str]:
    """Compare reruns with a change (rows, order, a shade) with reruns of the same page without one."""
    from streamlit.testing.v1 import AppTest

    os.environ["BLENDPLAN_SERVED"] = "1"
    app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()
    bare: list[float] = []
    kinds: dict[str, list[float]] = {"rows": [], "order": [], "shade": []}
    for i in range(8):
        begin = time.perf_counter()
        app.run()
        bare.append(time.perf_counter() - begin)
        for kind, times in kinds.items():
            if kind == "rows":
                field = app.number_input(key="solid-rows").set_value(9 + i)
            elif kind == "order":
                field = app.selectbox(key="again").set_value(app.selectbox(key="again").options[i % 6])
                field.run()
                field = app.button(key="again-add").click() if i % 2 else app.button(key="turn-round").click()
            else:
                field = app.button(key=f"y0-0-{('lighter', 'darker', 'warmer', 'cooler')[i % 4]}").click()
            begin = time.perf_counter()
            field.run()
            times.append(time.perf_counter() - begin)
    base = _median(bare)
    lines = [f"bare rerun: {1000 * base:.0f} ms (test driver, median of {len(bare)})"]
    for kind, times in kinds.items():
        took = _median(times)
        lines.append(
            f"change of {kind} to its picture: {1000 * took:.0f} ms, {took / base:.2f} times, "
            f"{1000 * (took - base):.0f} ms more (target 150 ms more)"
        )
    return lines


_WATCH = """
(what) => new Promise((done) => {
  const figure = () => document.querySelector(".bp-figure img");
  const shown = () => what === "picture" ? figure().src : document.querySelector(".st-key-redo button").disabled;
  const before = shown();
  window.bpBegin = undefined;
  const begun = (e) => { window.bpBegin = e.timeStamp; };
  document.addEventListener("click", begun, { capture: true, once: true });
  const look = new MutationObserver(async () => {
    if (shown() === before) return;
    look.disconnect();
    if (what === "picture") await figure().decode();
    done(performance.now() - window.bpBegin);
  });
  look.observe(document.body, { subtree: true, childList: true, attributes: true, characterData: true });
})
"""
# Colours 1, 3, 5, 2, 4 moved down in turn: the order is back where it began after 30 presses, none comes twice before.
PRESSES = 29


def browser_change() -> list[str]:
    """In Chromium: from a press to the new picture decoded, and from one that leaves the picture as it is.

    The bare press takes back a row worked. Its mark, the Redo button coming alive, is drawn right before the picture,
    so both presses wait for about the same part of the run.
    """
    import pytest
    from browser_page import chromium, chromium_path, open_page, page_server, settle

    try:
        chromium_path()
    except pytest.skip.Exception as missing:
        return [f"in the browser: {missing}"]
    bare: list[float] = []
    picture: list[float] = []
    with (
        tempfile.TemporaryDirectory() as home,
        page_server(Path(home) / "home", BLENDPLAN_SERVED="1") as address,
        chromium() as started,
    ):
        page = open_page(started, address)
        for i in range(PRESSES):
            page.get_by_role("button", name="Row done", exact=True).click()
            settle(page)
            back = page.get_by_role("button", name="Undo", exact=True)
            down = page.locator("ol").first.locator("li").nth(2 * i % 5).locator('button[data-what="down"]')
            for button, what, times in ((back, "redo", bare), (down, "picture", picture)):
                button.scroll_into_view_if_needed()
                page.evaluate(f"() => {{ window.bpTook = ({_WATCH})({what!r}); }}")
                button.click()
                times.append(float(page.evaluate("window.bpTook")))
                settle(page)
    # The first of each opens what is drawn once only.
    bare, picture = bare[1:], picture[1:]
    return [
        f"in Chromium, press to the mark of a run that leaves the picture as it is: {_spread(bare)}",
        f"in Chromium, press to new picture decoded: {_spread(picture)}, "
        f"{_median(picture) - _median(bare):.0f} ms more (target 150 ms more)",
    ]


def _spread(times: list[float]) -> str:
    """Return the median with the middle half and the ends of times in milliseconds."""
    low, _, high = statistics.quantiles(times, n=4)
    return (
        f"{_median(times):.0f} ms (median of {len(times)}; middle half {low:.0f} to {high:.0f}, "
        f"all {min(times):.0f} to {max(times):.0f})"
    )


def cold_start() -> list[str]:
    """Time from the command to the first answer, and to the first drawn page, in a fresh process."""
    import asyncio

    from browser_page import page_server
    from load_page import Client

    async def first(address: str) -> float:
        import websockets

        uri = address.replace("http", "ws") + "/_stcore/stream"
        async with websockets.connect(uri, subprotocols=["streamlit"], max_size=None, origin=address) as socket:
            client = Client(number=0, socket=socket)
            picture, _ = await client.run()
            return picture

    plain: list[float] = []
    for _ in range(3):
        begin = time.perf_counter()
        subprocess.run([sys.executable, "-c", "import streamlit.web.bootstrap"], check=True, capture_output=True)
        plain.append(time.perf_counter() - begin)
    answers, pictures = [], []
    for _ in range(3):
        with tempfile.TemporaryDirectory() as folder:
            begin = time.perf_counter()
            with page_server(Path(folder) / "home") as address:
                answers.append(time.perf_counter() - begin)
                picture = asyncio.run(first(address))
                pictures.append(answers[-1] + picture)
    return [
        f"cold start: {_median(pictures):.2f} s to the first picture, {_median(answers):.2f} s to the first answer "
        f"(target 3 s; importing the page library alone takes {_median(plain):.2f} s, "
        f"{_median(pictures) / _median(plain):.1f} times)"
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
import io, sys, resource, psutil, os
os.environ["BLENDPLAN_SERVED"] = ""
import numpy as np
from PIL import Image
from streamlit.testing.v1 import AppTest
rng = np.random.default_rng(3)
app = AppTest.from_file("app.py", default_timeout=120).run()
app.session_state["add-photos"] = True
app.run()
me = psutil.Process()
base = None
tile = rng.integers(0, 40, (300, 400, 3), dtype=np.uint8)
for i in range(21):
    picture = np.tile(tile, (10, 10, 1)) + np.uint8(180)
    picture[600:2400, 800:3200] = (i * 9 % 200, 90, 200 - i * 9 % 200)
    picture[:, :, 0] += np.uint8(i % 5)
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=85)
    del picture
    turn = app.session_state["upload_round"] if "upload_round" in app.session_state else 0
    app.file_uploader(key=f"photos-{turn}").set_value((f"{i}.jpg", out.getvalue(), "image/jpeg")).run()
    assert not app.exception
    if i == 0:
        # The first photo brings the libraries into memory; from here on only photos count.
        base = me.memory_info().rss
        app.button(key="close-" + next(iter(app.session_state["photos"]))).click().run()
print((me.memory_info().rss - base) / 1e6, len(app.session_state["photos"]))
"""


def photos_in_memory() -> list[str]:
    """Resident memory after 20 photos of 12 megapixels, all still open, above the memory after the first."""
    env = {**os.environ, "BLENDPLAN_HOME": tempfile.mkdtemp(), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", PHOTOS], cwd=ROOT, env=env, check=False, capture_output=True, text=True
    )
    if done.returncode:
        return [f"photos in memory: could not be measured: {done.stderr.strip().splitlines()[-1][:200]}"]
    grown, count = done.stdout.split()
    return [f"memory after {count} photos of 12 megapixels: {float(grown):.0f} MB above idle (target 150 MB)"]


def report() -> list[str]:
    """Return the lines of the report."""
    return [*change_to_picture(), *browser_change(), *cold_start(), *command_help(), *photos_in_memory()]


if __name__ == "__main__":
    for line in report():
        print(line)

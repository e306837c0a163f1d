"""What the browser tests share: a page server of their own, Chromium, and a few moves on the page."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parent.parent
ARTIFACTS = ROOT / "artifacts"
ARGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def chromium_path() -> str:
    """Return Chromium's path, or skip with the reason."""
    pytest.importorskip("playwright.sync_api", reason="skipped: Playwright is not installed")
    path = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    if not path:
        pytest.skip("skipped: Chromium is not installed")
    return path


PATIENCE_S = 180
# What the page says and hears on its line to the server, so that a test can know when a press was answered.
_WATCH = """(() => {
  const line = window.line = { begun: false, open: false, last: 0 };
  const note = (open) => { line.open = open; line.begun = true; line.last = Date.now(); };
  window.WebSocket = class extends window.WebSocket {
    constructor(...how) { super(...how); this.addEventListener("message", () => note(false)); }
    send(data) { note(true); super.send(data); }
  };
})()"""
# Quiet: connected, no run under way or asked for, nothing said that is not answered, nothing of an older run left.
_QUIET = """([quiet, since]) => {
  const line = window.line, app = document.querySelector("[data-testid=stApp]");
  if (!line || !line.begun || line.open || !app || app.dataset.testScriptState !== "notRunning"
    || app.dataset.testConnectionState !== "CONNECTED" || document.querySelector('[data-stale="true"]')
    || document.fonts.status !== "loaded") { if (line) line.last = Date.now(); return false; }
  return Date.now() - Math.max(line.last, since) >= quiet;
}"""
# Where elements are, and whether a picture is on its way there or a motion that has an end goes on.
_PLACES = """elements => {
  const roots = [document, ...new Set(elements.map(e => e.getRootNode()))];
  const images = roots.flatMap(r => [...r.querySelectorAll("img")]);
  const moving = images.some(i => !i.complete && i.loading !== "lazy") || document.getAnimations().some(
    a => a.playState === "running" && a.effect.getComputedTiming().endTime < 1e9);
  return moving || !elements.length ? "" : JSON.stringify(elements.map(e => e.getBoundingClientRect()));
}"""


@contextmanager
def chromium(*more: str) -> Iterator[Any]:
    """Start Chromium, with more arguments where a test needs them, and close it."""
    path = chromium_path()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=path, args=[*ARGS, *more])
        make = started.new_context

        def new_context(**how: Any) -> Any:
            context = make(**how)
            context.add_init_script(_WATCH)
            # Only what fails waits so long; a machine may be busy with other work.
            context.set_default_timeout(PATIENCE_S * 1000)
            return context

        started.new_context = new_context
        yield started
        started.close()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def page_server(home: Path, *, pid: list[int] | None = None, **env: str) -> Iterator[str]:
    """Start the page by its own command, give its address, and stop it."""
    port = free_port()
    log = (home.parent / f"page-{port}.log").open("wb")
    process = subprocess.Popen(
        [sys.executable, "-m", "blendplan", "page", "--port", str(port), "--no-browser"],
        cwd=ROOT,
        env={**os.environ, "BLENDPLAN_HOME": str(home), "PYTHONPATH": str(ROOT), **env},
        stdout=log,
        stderr=log,
    )
    if pid is not None:
        pid.append(process.pid)
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(10 * PATIENCE_S):
            try:
                with urllib.request.urlopen(f"{address}/_stcore/health", timeout=1):
                    break
            except OSError:
                if process.poll() is not None:
                    raise RuntimeError((home.parent / f"page-{port}.log").read_text()) from None
                time.sleep(0.1)
        yield address
    finally:
        process.terminate()
        process.wait(PATIENCE_S)
        log.close()


def settle(page, quiet: int = 200) -> None:
    """Wait until every press is answered, drawn and loaded, and for a moment nothing more has come."""
    page.wait_for_selector(".st-key-bar")
    page.wait_for_function(_QUIET, arg=[quiet, time.time() * 1000])


def still(page, selector: str) -> None:
    """Wait until nothing moves elements any more: no run, no picture that loads, no motion; the same six times."""
    settle(page)
    seen: list[str] = []

    def stands() -> bool:
        seen.append(page.locator(selector).evaluate_all(_PLACES))
        return seen[-1] != "" and seen[-6:] == [seen[-1]] * 6

    until(page, stands)


def until(page, read: Callable[[], Any], holds: Callable[[Any], bool] = bool) -> Any:
    """Read until what is read is as it should be, and return it; else fail with what was read last."""
    end = time.monotonic() + PATIENCE_S
    while not holds(found := read()):
        assert time.monotonic() < end, found
        page.wait_for_timeout(30)
    return found


def open_page(browser, address: str, *, width: int = 1280, height: int = 900, dark: bool = False, **more):
    """Open the page in a context of its own and wait until it is drawn."""
    context = browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme="dark" if dark else "light",
        accept_downloads=True,
        **more,
    )
    page = context.new_page()
    page.goto(address)
    settle(page)
    return page


def open_place(page, name: str) -> None:
    """Open a place beside the picture by its key, from the bar of a desk, its own way in, or the list of a phone."""
    page.locator(".st-key-phone-buying button").wait_for(state="attached")
    own = {"library": ".st-key-title-bar button", "fabric": "button[data-k=fabric]"}
    here = page.locator(own.get(name, f".st-key-go-{name} button"))
    here.or_(page.locator(".st-key-phone-places button")).filter(visible=True).first.wait_for()
    if not here.is_visible():
        page.locator(".st-key-phone-places button").click()
        settle(page)
        here = page.locator(f".st-key-list-{name} button")
    here.click()
    settle(page)


def unfold(page, key: str) -> None:
    """Open a folded part by its key."""
    page.locator(f".st-key-{key} summary").first.click()
    settle(page)


# Touch: a target of 44 by 44 CSS pixels, WCAG 2.2, 2.5.5. A field is pressed anywhere within its frame.
_SMALL = """() => {
  const what = "button, a[href], input:not([type=file]), textarea, select, summary, [role=slider]", all = [];
  const look = (root) => {
    all.push(...root.querySelectorAll(what));
    root.querySelectorAll("*").forEach((e) => e.shadowRoot && look(e.shadowRoot));
  };
  look(document);
  // What is made larger for a finger by a rim of its own is pressed on its rim too.
  const rim = (e) => {
    const made = getComputedStyle(e, "::after");
    return made.content !== "none" && made.position === "absolute" ? -2 * Math.min(0, parseFloat(made.top)) : 0;
  };
  return all.filter((e) => {
  const fields = ["stTextInputRootElement", "stNumberInputContainer"].map((name) => `[data-testid=${name}]`);
  const frame = e.closest(["label", "[role=group]", ...fields].join());
  const own = e.getBoundingClientRect(), hidden = getComputedStyle(e).visibility === "hidden";
  if (!own.width || own.right < 0 || hidden || e.closest("[inert], [aria-hidden=true], header")) return false;
  const box = e.matches("input, [aria-haspopup=listbox]") && frame ? frame.getBoundingClientRect() : own;
  const more = rim(e);
  return own.width > 2 && (box.height + more < 43.5 || box.width + more < 43.5);
}).map((e) => e.outerHTML.slice(0, 200));
}"""


def small_controls(page) -> list[str]:
    """Return the controls of a page that are smaller than a finger."""
    return list(page.evaluate(_SMALL))


def shot(page, name: str, full: bool = False) -> None:
    """Keep a picture of the page as an artefact, where BLENDPLAN_SHOTS asks for them: they are dear."""
    if not os.environ.get("BLENDPLAN_SHOTS"):
        return
    ARTIFACTS.mkdir(exist_ok=True)
    if full:
        size = page.viewport_size
        tall = page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
        page.set_viewport_size({"width": size["width"], "height": min(tall + 20, 6000)})
        page.wait_for_timeout(300)
        page.screenshot(path=str(ARTIFACTS / f"{name}.png"))
        page.set_viewport_size(size)
    else:
        page.screenshot(path=str(ARTIFACTS / f"{name}.png"))


WCAG = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
# What axe-core has on colours within these levels.
COLOURS = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}


def axe_faults(page, rules: dict[str, object] = WCAG) -> list[str]:
    """Return axe-core's violations of WCAG 2.2 A and AA, each with the places."""
    import axe_core_python

    source = (Path(axe_core_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")

    def look() -> list[str]:
        if page.evaluate("typeof axe === 'undefined'"):
            page.evaluate(source)
        found = page.evaluate(
            "async runOnly => (await axe.run(document, {runOnly, resultTypes: ['violations']})).violations", rules
        )
        return [
            f"{v['id']} ({v['impact']}): {n['target']} {n['html'][:160]} {n['failureSummary'][:200]}"
            for v in found
            for n in v["nodes"]
        ]

    # Colours in a fade are nobody's, and what is drawn anew comes up slowly: a fault is what a later look finds too.
    faults = look()
    for _ in range(2 if faults else 0):
        page.wait_for_timeout(500)
        page.wait_for_function(
            "() => !document.getAnimations().some("
            "a => a.playState === 'running' && a.effect.getComputedTiming().endTime < 1e9)"
        )
        again = look()
        faults = [fault for fault in faults if fault in again]
    return faults


def open_rule(page) -> None:
    """Go past the start of the example, to the fields that hold for all stripes."""
    open_place(page, "order")
    page.get_by_role("button", name="Use this order").first.click()
    settle(page)
    open_rule_again(page)


def open_rule_again(page) -> None:
    """Open the fields that hold for all stripes after a reload."""
    open_place(page, "stripes")
    unfold(page, "rule-fold")

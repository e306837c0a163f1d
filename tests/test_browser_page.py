"""The page in a real Chromium: the whole job, by mouse and by keys, with refreshes, tabs, themes and axe-core."""

from __future__ import annotations

import io
import json
import re
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_page import (
    chromium_path,
    open_page,
    open_place,
    open_rule,
    open_rule_again,
    page_server,
    settle,
    shot,
    still,
    unfold,
    until,
)
from pypdf import PdfReader
from test_page_offline import blocked_env

from blendplan.colour import delta_e_2000, hex_to_lab

pytestmark = pytest.mark.browser


@pytest.fixture
def home(tmp_path: Path) -> Iterator[tuple[str, Path]]:
    """A page of one's own, with its autosave folder; it can connect to nothing beyond the machine."""
    chromium_path()
    with page_server(tmp_path / "home", **blocked_env(tmp_path / "blocked.log")) as address:
        yield address, tmp_path / "home"


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[tuple[float, float, float, float]]]:
    """Two skeins on white paper, drawn here, and the places of their boxes as shares of the picture."""
    import numpy as np
    from PIL import Image

    rng = np.random.default_rng(5)
    picture = np.full((900, 1200, 3), 236.0)
    boxes = [(0.10, 0.15, 0.42, 0.80), (0.56, 0.20, 0.90, 0.85)]
    for (left, top, right, bottom), colour in zip(boxes, ((150, 60, 45), (60, 95, 110)), strict=True):
        y0, y1, x0, x1 = int(top * 900), int(bottom * 900), int(left * 1200), int(right * 1200)
        picture[y0:y1, x0:x1] = colour
        picture[y0:y1, x0:x1] *= (1 - 0.12 * (np.arange(y1 - y0) % 12 < 3))[:, None, None]
    picture += rng.normal(0, 2.5, picture.shape)
    path = tmp_path_factory.mktemp("photo") / "two skeins.jpg"
    Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8)).save(path, quality=90)
    return path, boxes


def has_value(page, label: str, value: str) -> None:
    """Check a field, giving the browser time to fill it."""
    from playwright.sync_api import expect

    expect(page.get_by_label(label)).to_have_value(value, timeout=120_000)


def test_the_whole_job(browser, home, photo) -> None:
    address, folder = home
    picture, boxes = photo
    page = open_page(browser, address)
    asked: list[str] = []
    page.context.on("request", lambda r: asked.append(r.url))
    page.on("websocket", lambda w: asked.append(w.url))
    page.reload()
    settle(page)
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Start with photographs of my yarn").click()
    chooser.value.set_files(str(picture))
    page.wait_for_selector("[class*='st-key-stage-']")
    settle(page)

    # What was found goes by key, then two are drawn by hand.
    left = page.locator(".box").count()
    while left:
        page.locator(".box").first.focus()
        page.keyboard.press("Delete")
        left = until(page, page.locator(".box").count, lambda n, left=left: n < left)
        settle(page)
    page.get_by_text("No yarn is marked yet.").wait_for()
    for n, (left, top, right, bottom) in enumerate(boxes, 1):
        stage = page.locator(".stage")
        still(page, ".stage")
        stage.scroll_into_view_if_needed()
        place = stage.bounding_box()
        inset = 0.03
        page.mouse.move(place["x"] + (left + inset) * place["width"], place["y"] + (top + inset) * place["height"])
        page.mouse.down()
        page.mouse.move(place["x"] + 0.5 * (left + right) * place["width"], place["y"] + 0.5 * place["height"])
        page.mouse.move(place["x"] + (right - inset) * place["width"], place["y"] + (bottom - inset) * place["height"])
        page.mouse.up()
        page.wait_for_function("n => document.querySelectorAll('.st-key-yarn-cards .yp-cmp').length === n", arg=n)
        settle(page)
    shot(page, "photo-boxes", full=True)
    fields = page.locator(".st-key-yarn-cards input")
    for n, name in enumerate(("Rust, the old one", "毛糸 Slate")):
        fields.nth(n).fill(name)
        page.keyboard.press("Enter")
        settle(page)
    page.get_by_role("button", name="Draw my blanket").click()
    settle(page)
    page.locator(".lab").filter(has_text="毛糸 Slate").first.wait_for()
    until(
        page,
        page.locator(".lab").all_inner_texts,
        lambda labels: len(labels) > 1 and "Rust, the old one" in labels[0] and "毛糸 Slate" in labels[1],
    )

    # The shade that was read is the one held, within what a photo with paper can give (stated target: p95 of 5).
    # The paper is drawn at 236 and read as white paper (about 86 % reflectance), so the yarn is a little lighter.
    def saved() -> dict:
        with sqlite3.connect(folder / "library.sqlite3") as db:
            (body,) = db.execute("SELECT body FROM blanket ORDER BY changed DESC").fetchone()
        return json.loads(body)

    rust = saved()["materials"]["yarns"][0]
    assert float(delta_e_2000(rust["shades"][0]["lab"], hex_to_lab("#963c2d"))) < 9, rust

    # The label, with a comma; skeins appear.
    open_place(page, "yarn")
    page.get_by_label("One skein weighs (g)").fill("100")
    page.keyboard.press("Tab")
    settle(page)
    page.get_by_label("One skein measures (m)").fill("182,5")
    page.keyboard.press("Tab")
    settle(page)
    open_place(page, "buying")
    page.get_by_text(re.compile(r"\d+ skeins? to buy")).filter(visible=True).first.wait_for()
    # The picture never leaves, however far the place beside it is scrolled.
    page.locator(".st-key-papers-fold").scroll_into_view_if_needed()
    page.wait_for_function("document.querySelector('.st-key-wool').getBoundingClientRect().top > 0")

    # The order, by keys alone.
    open_place(page, "stripes")
    unfold(page, "rule-fold")
    handle = page.get_by_role("button", name="Move Rust, the old one up, now number 1")
    handle.focus()
    page.keyboard.press("Enter")
    # The first worked is at the bottom.
    until(page, page.locator(".st-key-order-list ol li").first.inner_text, lambda text: "Rust" in text)

    # A refresh in the middle brings everything back.
    page.reload()
    settle(page)
    open_rule_again(page)
    until(page, page.locator(".st-key-order-list ol li").last.inner_text, lambda text: "毛糸 Slate" in text)
    open_place(page, "yarn")
    page.get_by_role("combobox", name="Yarn to look at").wait_for()
    has_value(page, "One skein measures (m)", "182.5")

    # A row worked, undone, and the paper.
    open_place(page, "work")
    page.get_by_role("button", name="Row done", exact=True).click()
    settle(page)
    has_value(page, "Rows done", "1")
    page.get_by_role("button", name="One row back").click()
    settle(page)
    has_value(page, "Rows done", "0")
    open_place(page, "buying")
    unfold(page, "papers-fold")
    with page.expect_download() as got:
        page.get_by_role("button", name="PDF to pin up").click()
    pdf = PdfReader(io.BytesIO(Path(got.value.path()).read_bytes()))
    assert len(pdf.pages) >= 1 and "Rust, the old one" in "".join(p.extract_text() for p in pdf.pages)
    shot(page, "own-blanket", full=True)

    # Nothing was asked of any other machine, and no photo lies in the folder.
    own = (address, address.replace("http", "ws"), "data:", f"blob:{address}")
    assert asked and not [url for url in asked if not url.startswith(own)]
    assert (folder.parent / "blocked.log").read_text() == ""
    assert all(p.name.startswith("library") for p in folder.rglob("*") if p.is_file())
    assert len(saved()["page"]["crops"]) == 2
    page.context.close()


def test_two_tabs_do_not_overwrite_each_other(browser, home) -> None:
    address, _ = home
    one = open_page(browser, address)
    two = open_page(browser, address)
    open_rule(one)
    open_rule(two)

    def set_rows(page, n: int) -> None:
        field = page.get_by_label("Rows of a solid stripe")
        field.fill(str(n))
        field.press("Enter")
        settle(page)

    set_rows(one, 5)
    set_rows(two, 9)
    # The first looks at the blanket again and takes up what the second did; undo reaches over both and a reload.
    one.reload()
    settle(one)
    open_rule_again(one)
    has_value(one, "Rows of a solid stripe", "9")
    one.get_by_role("button", name="Undo", exact=True).click()
    has_value(one, "Rows of a solid stripe", "5")
    one.reload()
    settle(one)
    open_rule_again(one)
    has_value(one, "Rows of a solid stripe", "5")
    shot(one, "two-tabs")
    one.context.close()
    two.context.close()


def test_thirty_quick_changes_keep_the_picture(browser, served) -> None:
    page = open_page(browser, served)
    open_rule(page)
    gone: list[str] = []
    page.on("response", lambda r: gone.append(r.url) if r.status >= 400 else None)
    plus = page.locator(".st-key-solid-rows").get_by_test_id("stNumberInputStepUp")
    for _ in range(30):
        plus.click()
    has_value(page, "Rows of a solid stripe", "38")
    settle(page, 600)
    has_value(page, "Rows of a solid stripe", "38")
    assert page.locator("canvas").first.is_visible()
    assert not gone
    page.context.close()


def test_served_to_others_the_tab_keeps_the_work(browser, served) -> None:
    page = open_page(browser, served)

    def set_rows(n: int) -> None:
        field = page.get_by_label("Rows of a solid stripe")
        field.fill(str(n))
        field.press("Enter")
        settle(page)

    kept = "sessionStorage.getItem('blendplan-work')"
    assert page.evaluate(kept) is None, "an untouched demo is not kept"
    open_rule(page)
    set_rows(5)
    page.reload()
    settle(page)
    open_rule_again(page)
    has_value(page, "Rows of a solid stripe", "5")
    # One more step after a refresh, and back, is kept too.
    set_rows(7)
    page.get_by_role("button", name="Undo", exact=True).click()
    settle(page)
    page.reload()
    settle(page)
    open_rule_again(page)
    has_value(page, "Rows of a solid stripe", "5")
    assert json.loads(page.evaluate(kept))["format"] == "blendplan-project"
    # What a tab hands over is from outside: damaged work is told once and passed over.
    for wrong in ('{"format": "blendplan-project", "version": 1, "yarns": 3}', "[" * 9000, "\ud800", "0" * 3_000_000):
        page.evaluate("text => sessionStorage.setItem('blendplan-work', text)", wrong)
        page.reload()
        page.get_by_text("had kept of your work is damaged").wait_for()
        settle(page)
        open_rule(page)
        has_value(page, "Rows of a solid stripe", "8")
    page.context.close()


def test_a_browser_that_keeps_nothing_is_told(browser, served) -> None:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    context.add_init_script("Storage.prototype.setItem = () => { throw new DOMException('full') }")
    page = context.new_page()
    page.goto(served)
    settle(page)
    open_rule(page)
    field = page.get_by_label("Rows of a solid stripe")
    field.fill("5")
    field.press("Enter")
    settle(page)
    page.get_by_role("button", name="More", exact=True).first.click()
    page.get_by_role("button", name="Start my own").click()
    page.get_by_text("does not let this page keep your work in its tab").first.wait_for()
    settle(page)
    page.reload()
    settle(page)
    open_rule(page)
    has_value(page, "Rows of a solid stripe", "8")
    context.close()

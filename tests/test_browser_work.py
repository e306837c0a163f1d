"""Beside the work and at home: a phone of its own comes in with the code, counts without the desk, and gives back."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from urllib.parse import quote

import pytest
from browser_page import ROOT, chromium_path, free_port, settle, shot, until

from blendplan.errors import BlendplanError
from blendplan.kept import open_library
from blendplan.lasting import account_skeins, bought_as_planned
from blendplan.outputs.beside import beside, left_words
from blendplan.page.routes import rows_along
from blendplan.page.state import demo_workspace
from blendplan.plan import ledger_of, make_plan
from blendplan.quantities import Quantities
from blendplan.workspace import entries_of

pytestmark = pytest.mark.browser

PHONE = {
    "viewport": {"width": 390, "height": 844},
    "user_agent": "Mozilla/5.0 (Linux; Android 14; a phone) Mobile Mobi",
    "has_touch": True,
    "is_mobile": True,
}


@dataclass(frozen=True)
class House:
    desk: str
    home: str
    code: str
    library: Path


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    from blendplan.page.serve import home_address

    chromium_path()
    try:
        home_address()
    except BlendplanError as error:
        pytest.skip(f"skipped: {error}")
    folder, port = tmp_path_factory.mktemp("house"), free_port()
    log = (folder / "log").open("wb")
    process = subprocess.Popen(
        [sys.executable, "-m", "blendplan", "page", "--port", str(port), "--no-browser", "--at-home"],
        cwd=ROOT,
        env={**os.environ, "BLENDPLAN_HOME": str(folder / "home"), "PYTHONPATH": str(ROOT)},
        stdout=log,
        stderr=log,
    )
    try:
        for _ in range(1200):
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=1):
                    break
            except OSError:
                assert process.poll() is None, (folder / "log").read_text()
                time.sleep(0.1)
        told = (folder / "log").read_text()
        home = re.search(r"On the phone: (\S+), and there this code: (.+)", told)
        assert home and "not locked" in told
        yield House(f"http://localhost:{port}", home[1], home[2], folder / "home")
    finally:
        process.terminate()
        process.wait(60)
        log.close()


def come_in(browser, house: House):
    phone = browser.new_context(**PHONE)
    page = phone.new_page()
    page.goto(house.home)
    page.get_by_label("Code, 26 letters and figures").fill(house.code.upper())
    page.get_by_role("button", name="Open the blanket").click()
    page.get_by_role("button", name="More").first.wait_for()
    return page


def test_a_phone_comes_in_counts_alone_and_is_heard(browser, house: House) -> None:
    desk = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
    desk.goto(house.desk)
    desk.get_by_role("button", name="Crochet").first.click()
    desk.get_by_text("0 of 68 rows").wait_for()
    phone = come_in(browser, house)
    # The desk's page leads to the light page, which is the same one on the phone.
    where = desk.get_by_role("link", name="Row 1, large, beside the hook").get_attribute("href")
    phone.goto(house.home + where)
    phone.get_by_role("button", name="Row 1 done").wait_for()
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390
    phone.get_by_role("button", name="0 of 7 times worked").click()
    phone.get_by_role("button", name="1 of 7 times worked").wait_for()
    phone.get_by_role("button", name="Row 1 done").click()
    phone.get_by_role("button", name="Row 2 done").wait_for()
    desk.get_by_text("1 of 68 rows").wait_for()
    # The desk is away: she goes on, and hands over later; what the desk counted meanwhile is heard as well.
    phone.context.set_offline(True)
    for row in (2, 3):
        phone.get_by_role("button", name=f"Row {row} done").click()
    phone.get_by_text("2 rows wait.").wait_for()
    desk.get_by_role("button", name="Row done").click()
    desk.get_by_text("2 of 68 rows").wait_for()
    shot(phone, "work-away")
    phone.context.set_offline(False)
    desk.get_by_text("3 of 68 rows").wait_for()
    phone.get_by_role("button", name="Row 4 done").wait_for()
    # A note, and a refresh that loses nothing.
    phone.get_by_role("button", name="Note to this row").last.click()
    phone.get_by_label("Note to this row").fill("looser here")
    phone.get_by_role("button", name="Keep the note").click()
    phone.reload()
    phone.get_by_text("looser here").wait_for()
    # Back where the rows were opened, and not at the stripes.
    phone.get_by_role("link", name="Blanket").click()
    phone.get_by_text("3 of 68 rows").wait_for(timeout=60_000)
    phone.context.close()
    desk.context.close()


def test_every_control_beside_the_work_is_large_and_axe_finds_nothing(browser, house: House) -> None:
    axe = pytest.importorskip("axe_core_python.sync_playwright", reason="skipped: axe is not installed").Axe()
    phone = come_in(browser, house)
    link = phone.context.new_page()
    for width, dark in ((360, False), (390, True), (1280, False)):
        link.set_viewport_size({"width": width, "height": 780})
        link.emulate_media(color_scheme="dark" if dark else "light")
        link.goto(f"{house.home}/work/own-{number_of(house)}")
        link.get_by_role("button", name=re.compile("Row \\d+ done")).wait_for()
        small = link.evaluate(
            "[...document.querySelectorAll('button, a, input')].filter(e => e.offsetParent && "
            "(e.offsetHeight < 44 || e.offsetWidth < 44)).map(e => e.outerHTML)"
        )
        assert small == []
        assert link.evaluate("document.documentElement.scrollWidth") <= width
        found = axe.run(link)["violations"]
        assert not found, [v["id"] for v in found]
        # What is weighed is filled in where nothing lies over it and nothing has to be scrolled to.
        link.get_by_role("button", name=re.compile("^Weigh")).filter(visible=True).first.click()
        until(
            link,
            lambda: link.evaluate(
                "[...document.querySelectorAll('#panel input, #panel button')].filter(e => {"
                "const b = e.getBoundingClientRect();"
                "return document.elementFromPoint(b.x + b.width / 2, b.y + b.height / 2) !== e; })"
                ".map(e => e.outerHTML)"
            ),
            lambda under: under == [],
        )
        link.get_by_role("button", name="Leave it").click()
    phone.context.close()


def number_of(house: House) -> int:
    library = open_library(house.library)[0]
    try:
        return library.blankets()[0].id
    finally:
        library.close()


def test_rows_to_take_along_count_by_themselves_and_give_back(browser, house: House, tmp_path: Path) -> None:
    desk = browser.new_context(viewport={"width": 1280, "height": 800}, accept_downloads=True).new_page()
    desk.goto(house.desk)
    desk.get_by_role("button", name="Crochet").first.click()
    settle(desk)
    done = int(re.search(r"(\d+) of 68 rows", desk.locator(".bp-count").inner_text())[1])
    with desk.expect_download() as got:
        desk.get_by_role("button", name="Save the rows to take along").click()
    along = tmp_path / "rows.html"
    shutil.move(got.value.path(), along)
    phone = browser.new_context(**PHONE, accept_downloads=True, offline=True).new_page()
    phone.goto(along.as_uri())
    for row in (done + 1, done + 2):
        phone.get_by_role("button", name=f"Row {row} done").click()
    with phone.expect_download() as counted:
        phone.get_by_role("button", name="Save it as a file").click()
    given = tmp_path / "counted.json"
    shutil.move(counted.value.path(), given)
    for _ in range(2):
        desk.locator(".st-key-counted-file input[type=file]").set_input_files(str(given))
        desk.get_by_text(f"{done + 2} of 68 rows").wait_for()
    # At the next meeting a link hands the same over, and it is counted once.
    assert phone.evaluate("JSON.parse(document.getElementById('data').textContent).desk").startswith(house.home)
    phone.context.set_offline(False)
    phone.goto(f"{house.home}/in/{house.code.replace(' ', '')}")
    phone.goto(along.as_uri())
    phone.get_by_role("button", name="Give back what was counted").click()
    phone.wait_for_url("**/work/own-*")
    phone.get_by_role("button", name=f"Row {done + 3} done").wait_for()
    desk.get_by_text(f"{done + 2} of 68 rows").wait_for()
    phone.context.close()
    desk.context.close()


def test_the_page_counts_as_the_desk_does_row_by_row_to_the_skein(browser, tmp_path: Path) -> None:
    """The file that was taken along, counted to the end by itself, against the ledger of a desk after each row."""
    blanket = demo_workspace().blanket
    short = make_plan(blanket).yardage.colours[1].name
    # Of one colour she means to buy too little, and does, so that the page has a skein to ask for.
    blanket = replace(blanket, design=replace(blanket.design, skeins=((blanket.keys[short], 1),)))
    plan = make_plan(blanket)
    blanket = bought_as_planned(blanket, account_skeins(plan))
    library = open_library(None)[0]
    number = library.add(entries_of(replace(demo_workspace(), blanket=blanket)), "Hers")
    along = tmp_path / "rows.html"
    along.write_bytes(rows_along(library, number))
    page = browser.new_context(**PHONE, offline=True).new_page()
    page.goto(along.as_uri())
    plan, show, asked = make_plan(blanket), Quantities("metric", "en"), 0
    changes = {change["row"]: change for change in beside(plan)["changes"]}
    for done in range(plan.rows):
        row = done + 1
        ledger = ledger_of(replace(plan, blanket=replace(blanket, making=replace(blanket.making, rows_done=done))))
        shown = page.locator("#skeins2 li").evaluate_all(
            "items => items.map(i => [i.querySelector('b').innerText, i.querySelector('small').innerText, "
            "(i.querySelector('p') || {innerText: ''}).innerText])"
        )
        stripe = next(s for s in plan.stripes if s.first_row <= row <= s.last_row)
        assert {name for name, _, _ in shown} >= set(stripe.stripe.strands), row
        for name, said, warned in shown:
            left = left_words(ledger.colour(name), show)
            assert [said, warned] == [left[0], left[2]], (row, name)
            asked += bool(warned)
        told = changes.get(row) or changes.get(row + 1)
        assert page.locator("#change").is_visible() == bool(told), row
        if told:
            words = page.locator("#change p").inner_text()
            assert words.startswith("This row" if row in changes else "Next row"), row
            assert page.locator("#change .whole").text_content().strip() == told["said"]
        page.locator("#done").click()
    assert asked, "the case would tell nothing of skeins"
    page.get_by_text(f"Done. {plan.rows} rows.").wait_for()
    page.context.close()


def test_the_screen_is_said_to_stay_awake_only_while_it_does(browser, house: House) -> None:
    desk = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
    desk.add_init_script(
        "Object.defineProperty(navigator, 'wakeLock', "
        "{value: {request: async () => (window.lock = new EventTarget())}})"
    )
    desk.goto(f"{house.desk}/work/own-{number_of(house)}")
    desk.get_by_text("The screen stays awake").wait_for()
    desk.evaluate("lock.dispatchEvent(new Event('release'))")
    desk.get_by_text("The screen stays awake").wait_for(state="hidden")
    desk.context.close()


def test_rows_of_another_blanket_are_not_counted_here_and_a_damaged_file_says_so(browser, house: House) -> None:
    desk = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
    place = f"{house.desk}/work/own-{number_of(house)}"
    done = '{"seq":1,"kind":"done","row":60,"at":"2026-11-26T20:14:00.000Z"}'
    for brought, said in (
        (f'{{"blanket":"5","title":"Cot blanket","hand":"phone-3fa2","presses":[{done}]}}', "belong to Cot blanket"),
        ("{", "What was counted cannot be read"),
    ):
        desk.goto("about:blank")
        desk.goto(f"{place}#counted={quote(brought)}")
        desk.get_by_text(said).wait_for()
        assert desk.get_by_role("button", name="Row 61 done").count() == 0
    desk.context.close()

"""Orders in a real Chromium: by dragging and by keys, past locked stripes, along a picture, all wishes on a phone."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from browser_page import axe_faults, open_page, open_place, settle, shot, still, unfold, until

pytestmark = pytest.mark.browser


def rows(page) -> list[str]:
    """Return the stripes as the picture's list tells them, the first worked first."""
    return page.locator(".picture .tab").evaluate_all("tabs => tabs.map(t => t.getAttribute('aria-label'))")


def wait_rows(page, change) -> list[str]:
    """Wait until the stripes answer a question."""
    found = until(page, lambda: rows(page), change)
    settle(page)
    return found


def spot(page, at: float) -> tuple[float, float]:
    """Return a place in the picture, a share of the blanket's height from its foot, once it stands."""
    still(page, ".picture canvas.cloth")
    box = page.locator(".picture canvas.cloth").bounding_box()
    return box["x"] + box["width"] * 0.4, box["y"] + box["height"] * (1 - at)


def shape(label: str) -> str:
    """Return a stripe's yarns and rows without its number."""
    return label.split(": ", 1)[1]


def test_a_stripe_is_pressed_pulled_dragged_and_taken_back(browser, served) -> None:
    page = open_page(browser, served)
    page.locator(".picture .tab").first.wait_for()
    before = rows(page)
    page.mouse.click(*spot(page, 0.42))
    page.locator(".st-key-tag").wait_for()
    settle(page)
    at = page.locator(".picture .tab").evaluate_all("t => t.findIndex(e => e.ariaSelected === 'true')")
    assert at >= 0
    # Pulled by its pill: rows count along, one change when let go.
    still(page, ".picture .pill")
    pill = page.locator(".picture .pill").bounding_box()
    x, y = pill["x"] + pill["width"] / 2, pill["y"] + pill["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, y - 36, steps=6)
    page.mouse.up()
    pulled = wait_rows(page, lambda found: found != before)
    assert [shape(r) for i, r in enumerate(pulled) if i != at] == [shape(r) for i, r in enumerate(before) if i != at]
    page.get_by_role("button", name="Undo", exact=True).first.click()
    wait_rows(page, lambda found: found == before)
    # Dragged to another place; Esc first puts it back.
    start, end = spot(page, 0.95), spot(page, 0.5)
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(*end, steps=6)
    page.keyboard.press("Escape")
    page.mouse.up()
    assert rows(page) == before
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(*end, steps=6)
    page.mouse.up()
    moved = wait_rows(page, lambda found: found != before)
    assert sorted(map(shape, moved)) == sorted(map(shape, before)) and shape(moved[-1]) != shape(before[-1])
    page.context.close()


def test_stripes_by_keys_alone_and_held_ones_stay(browser, served) -> None:
    page = open_page(browser, served)
    stripes = page.locator(".picture .tab-list")
    stripes.wait_for()
    before = rows(page)
    stripes.focus()
    page.keyboard.press("Home")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("h")
    held = wait_rows(page, lambda found: found != before)
    assert shape(held[1]) == shape(before[1]) + ", held"
    page.keyboard.press("Home")
    page.keyboard.press("Alt+ArrowUp")
    moved = wait_rows(page, lambda found: found != held)
    assert moved[1] == held[1], "what is held keeps its place"
    assert (shape(moved[0]), shape(moved[2])) == (shape(before[2]), shape(before[0]))
    page.keyboard.press("+")
    longer = wait_rows(page, lambda found: found != moved)
    assert shape(longer[2]) != shape(moved[2])
    page.keyboard.press("Delete")
    page.get_by_text(re.compile("is out")).wait_for()
    page.get_by_role("button", name="Put it back").click()
    wait_rows(page, lambda found: found == longer)
    page.context.close()


def test_what_the_list_of_keys_says_is_so(browser, served) -> None:
    page = open_page(browser, served)
    stripes = page.locator(".picture .tab-list")
    stripes.wait_for()
    page.keyboard.press("?")
    listed = page.get_by_role("dialog")
    listed.get_by_text("split it in two").wait_for()
    assert not axe_faults(page)
    shot(page, "keys")
    page.keyboard.press("Escape")
    listed.wait_for(state="detached")
    # What had the focus before the list gets it back.
    settle(page)
    before = rows(page)

    def after(key: str, change=lambda found, old: found != old) -> list[str]:
        old = rows(page)
        page.keyboard.press(key)
        return wait_rows(page, lambda found: change(found, old))

    stripes.focus()
    page.keyboard.press("Home")
    longer = after("+")
    assert after("-") == before and [shape(r) for r in longer[1:]] == [shape(r) for r in before[1:]]
    held = after("h")
    assert held[0] == before[0] + ", held" and after("h") == before
    assert len(after("s")) == len(before) + 1
    assert after("Control+z") == before and len(after("Control+Shift+Z")) == len(before) + 1
    assert after("Control+z") == before
    stripes.focus()
    page.keyboard.press("Enter")
    page.locator(".st-key-tag").wait_for()
    settle(page)
    page.keyboard.press("Escape")
    page.locator(".st-key-tag").wait_for(state="detached")
    for tape, key in (("across", "ArrowRight"), ("up", "ArrowUp")):
        end = page.locator(f".tape.{tape} .end")
        told = end.get_attribute("aria-valuenow")
        end.focus()
        page.keyboard.press(key)
        until(page, lambda end=end: int(end.get_attribute("aria-valuenow")), lambda now, told=told: now > int(told))
        settle(page)
    skein = page.locator(".shelf .yarn")
    skein.first.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Space")
    page.locator(".shelf .yarn.on").wait_for()
    until(page, lambda: skein.nth(1).get_attribute("aria-pressed") == "true")
    page.context.close()


def test_a_stripe_on_a_phone_is_dragged_after_a_hold_and_the_picture_folds(browser, served) -> None:
    page = open_page(browser, served, width=390, height=844, has_touch=True)
    page.locator(".picture canvas.cloth").wait_for()
    page.touchscreen.tap(*spot(page, 0.42))
    page.locator(".st-key-tag").wait_for()
    settle(page)
    page.locator(".picture .pill").wait_for()
    page.get_by_role("button", name="Close").click()
    settle(page)
    page.get_by_role("button", name="Fold", exact=True).click()
    frame = page.locator(".picture .frame")
    until(page, lambda: frame.bounding_box()["height"], lambda high: high < 140)
    page.get_by_role("button", name="Unfold the picture").click()
    until(page, lambda: frame.bounding_box()["height"], lambda high: high > 200)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.context.close()


def test_a_line_is_drawn_on_a_picture_and_its_order_taken(browser, served, tmp_path: Path) -> None:
    import numpy as np
    from PIL import Image
    from playwright.sync_api import expect

    down = np.linspace(0, 1, 300)[:, None, None]
    colours = (1 - down) * np.array([45, 75, 110]) + down * np.array([215, 175, 90])
    Image.fromarray((colours * np.ones((1, 400, 1))).astype(np.uint8)).save(tmp_path / "dusk.png")
    page = open_page(browser, served)
    open_place(page, "order")
    unfold(page, "follow-picture-fold")
    page.locator(".st-key-follow-picture-fold input[type=file]").set_input_files(str(tmp_path / "dusk.png"))
    page.wait_for_selector(".end")
    settle(page)
    fold = page.locator(".st-key-follow-picture-fold")

    def has(label: str, wanted: int, near: int = 3) -> None:
        field = fold.get_by_label(label)
        until(page, lambda: int(field.input_value()), lambda found: abs(found - wanted) <= near)

    has("End, from the top", 300, 0)
    stage = fold.locator(".stage")
    still(page, ".st-key-follow-picture-fold .stage")
    stage.scroll_into_view_if_needed()
    place = stage.bounding_box()

    def point(x: float, y: float) -> tuple[float, float]:
        return place["x"] + x * place["width"], place["y"] + y * place["height"]

    # A new line drawn on the picture, from its bottom to its top.
    page.mouse.move(*point(0.25, 0.9))
    page.mouse.down()
    page.mouse.move(*point(0.5, 0.5), steps=3)
    page.mouse.move(*point(0.75, 0.1), steps=3)
    page.mouse.up()
    settle(page)
    for label, wanted in (("Start, from the left", 100), ("Start, from the top", 270), ("End, from the left", 300)):
        has(label, wanted)
    has("End, from the top", 30)
    # An end by keys: one step is a hundredth of the longer side.
    start = fold.locator(".end").first
    start.focus()
    held = int(fold.get_by_label("Start, from the left").input_value())
    page.keyboard.press("ArrowRight")
    has("Start, from the left", held + 4, 0)
    settle(page)
    expect(start).to_be_focused()
    # An end by a number.
    fold.get_by_label("End, from the top").fill("12")
    page.keyboard.press("Enter")
    settle(page)
    expect(fold.locator(".end").nth(1)).to_have_attribute(
        "aria-label",
        f"End of the line, {fold.get_by_label('End, from the left').input_value()} from the left, 12 "
        "from the top. Arrow keys move it, with Alt in small steps.",
    )
    assert not axe_faults(page)
    shot(page, "follow-picture")
    seen = rows(page)
    page.get_by_role("button", name="Take this order").click()
    wait_rows(page, lambda found: found != seen)
    page.get_by_role("button", name="Undo", exact=True).first.click()
    wait_rows(page, lambda found: found == seen)
    page.context.close()


def test_all_order_wishes_on_a_dark_phone(browser, served) -> None:
    page = open_page(browser, served, width=390, height=844, dark=True, has_touch=True)
    open_place(page, "order")
    unfold(page, "order-wishes")
    page.locator(".st-key-order-closed label").first.click()
    settle(page)
    page.locator(".st-key-order-choose label").first.click()
    page.get_by_label("How many of your 6 yarns").wait_for()
    settle(page)
    unfold(page, "follow-picture-fold")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    wide = page.evaluate(
        """() => ["order-wishes", "hung", "follow-picture-fold"]
        .flatMap(k => [...document.querySelectorAll(`.st-key-${k} *`)])
        .filter(e => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest('.bp-table')).length"""
    )
    assert not wide
    assert not axe_faults(page)
    shot(page, "phone-orders", full=True)
    page.context.close()

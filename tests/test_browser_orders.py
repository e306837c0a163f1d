"""Orders by dragging, in a real Chromium: the list of colours and the list of single stripes; the picture follows."""

from __future__ import annotations

import pytest
from browser_page import open_page, settle, shot

pytestmark = pytest.mark.browser


def names(listed) -> list[str]:
    listed.locator("li .name").first.wait_for()
    return listed.locator("li .name").all_inner_texts()


def drag(page, listed, start: int, end: int) -> None:
    """Take the dots of a row and let them go in the middle of another."""
    listed.locator("li").nth(min(start, end)).scroll_into_view_if_needed()
    one = listed.locator("li").nth(start).locator(".grip").bounding_box()
    two = listed.locator("li").nth(end).bounding_box()
    assert one and two
    page.mouse.move(one["x"] + one["width"] / 2, one["y"] + one["height"] / 2)
    page.mouse.down()
    beyond = 0.25 if end > start else -0.25
    page.mouse.move(one["x"] + 4, two["y"] + two["height"] * (0.5 + beyond), steps=6)
    page.mouse.up()
    settle(page)


def moved(before: list[str], start: int, end: int) -> list[str]:
    after = list(before)
    after.insert(end, after.pop(start))
    return after


def test_colours_and_single_stripes_are_dragged_into_order(browser, served: str) -> None:
    page = open_page(browser, served, height=1400)
    picture = page.locator(".bp-figure img").first
    colours = page.locator("ol").first
    before, drawn = names(colours), picture.get_attribute("src")
    assert len(before) >= 3
    drag(page, colours, 0, 2)
    assert names(colours) == moved(before, 0, 2)
    assert picture.get_attribute("src") != drawn
    page.get_by_role("button", name="Undo", exact=True).click()
    settle(page)
    assert names(colours) == before
    assert picture.get_attribute("src") == drawn
    drag(page, colours, 2, 0)
    assert names(colours) == moved(before, 2, 0)

    page.get_by_role("button", name="Change single stripes by hand").click()
    settle(page)
    stripes = page.locator("ol").first
    before, drawn = names(stripes), picture.get_attribute("src")
    assert len(before) > 3
    drag(page, stripes, 0, 3)
    assert names(stripes) == moved(before, 0, 3)
    assert picture.get_attribute("src") != drawn
    shot(page, "stripes-dragged")
    page.context.close()

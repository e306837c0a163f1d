"""Orders in a real Chromium: by dragging and by keys, past locked stripes, along a picture, all wishes on a phone."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser_page import open_page, settle, shot, unfold
from test_browser_page import axe_faults

pytestmark = pytest.mark.browser


def names(page, key: str) -> list[str]:
    """Return the names in a list; its script comes after the page."""
    page.locator(f".st-key-{key} ol .name").first.wait_for(timeout=20_000)
    return page.locator(f".st-key-{key} ol .name").all_inner_texts()


def wait_names(page, key: str, wanted: list[str]) -> None:
    from playwright.sync_api import expect

    expect(page.locator(f".st-key-{key} ol .name")).to_have_text(wanted, timeout=15_000)
    settle(page)


def picture(page) -> str:
    return page.locator(".st-key-sight img").get_attribute("src")


def grip_and_goal(page, key: str, source: int, target: int) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the middle of one line's dots, and the place above or below it in the half of another line to let go."""
    lines = page.locator(f".st-key-{key} ol li")
    lines.nth(max(source, target)).scroll_into_view_if_needed()
    lines.nth(min(source, target)).scroll_into_view_if_needed()
    grip = lines.nth(source).locator(".grip").bounding_box()
    goal = lines.nth(target).bounding_box()
    x = grip["x"] + grip["width"] / 2
    return (x, grip["y"] + grip["height"] / 2), (x, goal["y"] + goal["height"] * (0.8 if target > source else 0.2))


def drag(page, key: str, source: int, target: int) -> None:
    """Drag the dots of one line into the upper or lower half of another."""
    (x, y), (_, to) = grip_and_goal(page, key, source, target)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, (y + to) / 2, steps=4)
    page.mouse.move(x, to, steps=4)
    page.mouse.up()


def moved(before: list[str], source: int, target: int) -> list[str]:
    out = list(before)
    out.insert(target, out.pop(source))
    return out


def test_colours_and_single_stripes_are_dragged_into_order(browser, served) -> None:
    page = open_page(browser, served, height=1400)
    before, drawn = names(page, "order-list"), picture(page)
    assert len(before) >= 3
    drag(page, "order-list", 0, 2)
    wait_names(page, "order-list", moved(before, 0, 2))
    assert picture(page) != drawn
    page.get_by_role("button", name="Undo", exact=True).click()
    wait_names(page, "order-list", before)
    assert picture(page) == drawn
    drag(page, "order-list", 2, 0)
    wait_names(page, "order-list", moved(before, 2, 0))

    page.get_by_role("button", name="Change single stripes by hand").click()
    settle(page)
    before, drawn = names(page, "hand-order"), picture(page)
    assert len(before) > 3
    drag(page, "hand-order", 0, 3)
    wait_names(page, "hand-order", moved(before, 0, 3))
    assert picture(page) != drawn
    shot(page, "stripes-dragged")
    page.context.close()


def test_single_stripes_are_dragged_and_locked_ones_stay(browser, served) -> None:
    page = open_page(browser, served)
    page.get_by_role("button", name="Change single stripes by hand").click()
    page.wait_for_selector(".st-key-hand-order ol li")
    settle(page)
    before, seen = names(page, "hand-order"), picture(page)
    assert len(before) == 11
    drag(page, "hand-order", 0, 4)
    wait_names(page, "hand-order", after := moved(before, 0, 4))
    second = picture(page)
    assert second != seen
    # By keys: one line down and the focus goes with it.
    page.locator(".st-key-hand-order ol li").nth(2).locator("button[data-what=down]").focus()
    page.keyboard.press("Alt+ArrowDown")
    wait_names(page, "hand-order", after := moved(after, 2, 3))
    assert picture(page) != second
    # A name pressed is the stripe in hand; locked, it keeps its place when another is dragged past it.
    page.locator(".st-key-hand-order ol .name").nth(5).click()
    settle(page)
    page.locator(".st-key-hand-lock label").first.click()
    locked = [*after[:5], after[5][: after[5].rindex(")") + 1] + ", locked", *after[6:]]
    wait_names(page, "hand-order", locked)
    assert page.locator(".st-key-hand-order ol li").nth(5).locator("button[data-what=up]").is_disabled()
    drag(page, "hand-order", 3, 7)
    free = [n for i, n in enumerate(locked) if i != 5]
    free.insert(6, free.pop(3))
    wait_names(page, "hand-order", [*free[:5], locked[5], *free[5:]])
    page.get_by_role("button", name="Undo", exact=True).click()
    wait_names(page, "hand-order", locked)
    # Taken away by its button.
    page.locator(".st-key-hand-order ol li").nth(0).locator("button[data-what=remove]").click()
    wait_names(page, "hand-order", locked[1:])
    assert page.locator(".st-key-hand-order ol .name[aria-current]").inner_text() == locked[5], "it stays in hand"
    assert not axe_faults(page)
    shot(page, "stripes-by-hand")
    page.context.close()


def test_a_locked_stripe_dragged_by_its_grip_stays(browser, served) -> None:
    page = open_page(browser, served, height=1400)
    page.get_by_role("button", name="Change single stripes by hand").click()
    first = names(page, "hand-order")[0]
    page.locator(".st-key-hand-lock label").first.click()
    before = [first + ", locked", *names(page, "hand-order")[1:]]
    wait_names(page, "hand-order", before)
    seen = picture(page)
    told = page.locator(".st-key-hand-order [role=status]")
    marked = page.locator(".st-key-hand-order :is(.held, .before, .after)")
    grip, goal = grip_and_goal(page, "hand-order", 0, 4)
    page.mouse.move(*grip)
    page.mouse.down()
    page.mouse.move(*goal, steps=6)
    assert not marked.count(), "nothing looks as if it were on its way"
    page.mouse.up()
    settle(page, 500)
    assert names(page, "hand-order") == before and picture(page) == seen
    assert not told.inner_text(), "no move is told that was not made"
    # The lock is still the last step: nothing was added to the history.
    page.get_by_role("button", name="Undo", exact=True).click()
    wait_names(page, "hand-order", [first, *before[1:]])
    # The same way with the mouse moves a stripe that is free.
    drag(page, "hand-order", 0, 4)
    wait_names(page, "hand-order", moved([first, *before[1:]], 0, 4))
    assert told.inner_text() == f"{first} is now number 5 of 11"
    page.context.close()


@pytest.mark.parametrize("lines", [2, 3])
def test_long_names_stay_in_their_rows_on_a_phone(browser, served, lines) -> None:
    page = open_page(browser, served, width=390, height=844, has_touch=True)
    if lines == 3:
        field = page.locator(".st-key-yarn-card").get_by_label("Name", exact=True)
        field.fill("Harbour blue from the winter sale")
        field.press("Enter")
        settle(page)
    page.get_by_role("button", name="Change single stripes by hand").click()
    names(page, "hand-order")
    settle(page)
    rows = page.locator(".st-key-hand-order ol li").evaluate_all(
        """rows => rows.map(row => {
          const name = row.querySelector(".name"), range = document.createRange();
          range.selectNodeContents(name);
          const text = range.getBoundingClientRect(), box = row.getBoundingClientRect();
          return {
            lines: new Set([...range.getClientRects()].map(r => Math.round(r.top))).size,
            over: Math.max(name.scrollHeight - name.clientHeight, row.scrollHeight - row.clientHeight,
              box.top - text.top, text.bottom - box.bottom),
            high: name.getBoundingClientRect().height,
          };
        })"""
    )
    assert max(row["lines"] for row in rows) >= lines, "the case would tell nothing"
    assert max(row["over"] for row in rows) <= 0
    assert min(row["high"] for row in rows) >= 40, "each can be pressed with a finger"
    page.locator(".st-key-hand-order ol li").nth(1).evaluate("e => e.scrollIntoView({block: 'center'})")
    shot(page, f"phone-stripes-{lines}-lines")
    page.context.close()


def test_a_line_is_drawn_on_a_picture_and_its_order_taken(browser, served, tmp_path: Path) -> None:
    import numpy as np
    from PIL import Image
    from playwright.sync_api import expect

    rows = np.linspace(0, 1, 300)[:, None, None]
    colours = (1 - rows) * np.array([45, 75, 110]) + rows * np.array([215, 175, 90])
    Image.fromarray((colours * np.ones((1, 400, 1))).astype(np.uint8)).save(tmp_path / "dusk.png")
    page = open_page(browser, served)
    unfold(page, "follow-picture-fold")
    page.locator(".st-key-follow-picture-fold input[type=file]").set_input_files(str(tmp_path / "dusk.png"))
    page.wait_for_selector(".end", timeout=20_000)
    settle(page)
    fold = page.locator(".st-key-follow-picture-fold")

    def has(label: str, wanted: int, near: int = 3) -> None:
        field = fold.get_by_label(label)
        for _ in range(50):
            if abs(int(field.input_value()) - wanted) <= near:
                return
            page.wait_for_timeout(100)
        raise AssertionError(f"{label}: {field.input_value()}, not {wanted}")

    has("End, from the top", 300, 0)
    stage = fold.locator(".stage")
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
    page.wait_for_timeout(900)
    settle(page)
    has("Start, from the left", held + 4, 0)
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
    seen = picture(page)
    told = fold.locator(".bp-strip").nth(1).get_attribute("aria-label")
    page.get_by_role("button", name="Take this order").click()
    settle(page)
    assert ", ".join(names(page, "order-list")) == told.removeprefix("Your yarn: ")
    assert picture(page) != seen
    page.get_by_role("button", name="Undo", exact=True).click()
    settle(page)
    assert picture(page) == seen
    page.context.close()


@pytest.mark.parametrize("dark", [False, True])
def test_all_order_wishes_on_a_phone(browser, served, dark) -> None:
    page = open_page(browser, served, width=390, height=844, dark=dark, has_touch=True)
    unfold(page, "find-order")
    unfold(page, "order-wishes")
    page.locator(".st-key-order-closed label").first.click()
    settle(page)
    page.locator(".st-key-order-choose label").first.click()
    page.get_by_label("How many of your 6 yarns").wait_for()
    settle(page)
    page.get_by_role("button", name="Change single stripes by hand").click()
    page.wait_for_selector(".st-key-hand-order ol li")
    unfold(page, "follow-picture-fold")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    wide = page.evaluate(
        """() => ["hand-order", "find-order", "follow-picture-fold"]
        .flatMap(k => [...document.querySelectorAll(`.st-key-${k} *`)])
        .filter(e => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest('.bp-table')).length"""
    )
    assert not wide
    assert not axe_faults(page)
    shot(page, f"phone-orders-{'dark' if dark else 'light'}", full=True)
    page.context.close()

"""How the page looks in a real Chromium: axe-core in every place and look, no sideways scroll, long and wild names."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from browser_page import (
    COLOURS,
    axe_faults,
    open_page,
    open_place,
    open_rule,
    settle,
    shot,
    small_controls,
    still,
)

pytestmark = pytest.mark.browser

PLACES = ("order", "yarn", "buying", "work", "fabric", "library", "stripes")


def every_place(page, names: tuple[str, ...] = PLACES) -> Iterator[str]:
    """Go to each place and unfold what is folded there."""
    for name in names:
        open_place(page, name)
        for fold in page.locator("[data-testid=stExpander] summary").all():
            if fold.is_visible():
                fold.click()
                settle(page, 100)
        yield name


def test_axe_can_fail(browser) -> None:
    page = browser.new_page()
    page.set_content('<html lang="en"><title>t</title><main><img src="x"><p style="color:#aaa">pale</p></main></html>')
    assert {f.split(" ")[0] for f in axe_faults(page)} == {"image-alt", "color-contrast"}
    assert {f.split(" ")[0] for f in axe_faults(page, COLOURS)} == {"color-contrast"}
    page.close()


@pytest.mark.parametrize("lines", [2, 3])
def test_long_names_stay_in_their_rows_on_a_phone(browser, served, lines) -> None:
    page = open_page(browser, served, width=390, height=844, has_touch=True)
    open_place(page, "yarn")
    field = page.locator(".st-key-yarn-card").get_by_label("Name", exact=True)
    field.fill(
        "A roof slate from the sale" if lines == 2 else "A roof slate blue from the winter sale at the mill shop"
    )
    field.press("Enter")
    settle(page)
    open_rule(page)
    still(page, ".st-key-order-list ol li")
    rows = page.locator(".st-key-order-list ol li").evaluate_all(
        """rows => rows.map(row => {
          const name = row.querySelector(".name"), range = document.createRange();
          range.selectNodeContents(name);
          const text = range.getBoundingClientRect(), box = row.getBoundingClientRect();
          return {
            lines: new Set([...range.getClientRects()].map(r => Math.round(r.top))).size,
            over: Math.max(name.scrollHeight - name.clientHeight, row.scrollHeight - row.clientHeight,
              box.top - text.top, text.bottom - box.bottom),
            high: row.getBoundingClientRect().height,
          };
        })"""
    )
    assert max(row["lines"] for row in rows) >= lines, "the case would tell nothing"
    assert max(row["over"] for row in rows) <= 0
    assert min(row["high"] for row in rows) >= 40, "each can be pressed with a finger"
    shot(page, f"phone-stripes-{lines}-lines")
    page.context.close()


def test_axe_finds_nothing_by_day_by_night_and_in_colours_of_the_system(browser, served) -> None:
    page = open_page(browser, served)
    grounds = set()
    faults = axe_faults(page)
    for place in every_place(page):
        shot(page, f"page-{place}", full=True)
        faults += axe_faults(page)
        # Another look changes colours alone: it is tried where most of them are.
        for look in ("dark", "forced") if place in ("order", "yarn", "buying", "library") else ():
            page.emulate_media(
                color_scheme="dark" if look == "dark" else "light", forced_colors="active" if look == "forced" else None
            )
            still(page, ".stApp")
            grounds.add(page.locator(".stApp").evaluate("e => getComputedStyle(e).backgroundColor"))
            shot(page, f"page-{look}-{place}", full=True)
            faults += [f"{look}: {fault}" for fault in axe_faults(page, COLOURS)]
        page.emulate_media(color_scheme="light", forced_colors="none")
        grounds.add(page.locator(".stApp").evaluate("e => getComputedStyle(e).backgroundColor"))
    assert len(grounds) == 3, "each look was really on"
    assert not sorted(set(faults))
    page.context.close()


def test_a_phone_needs_no_sideways_scroll(browser, served) -> None:
    page = open_page(browser, served, width=390, height=844, has_touch=True)
    main = page.locator("[data-testid=stMain]")
    for place in every_place(page):
        for width, scheme in ((390, "light"), (360, "dark")):
            page.set_viewport_size({"width": width, "height": 844})
            page.emulate_media(color_scheme=scheme)
            still(page, ".st-key-side")
            assert page.evaluate("document.documentElement.scrollWidth") <= width, place
            assert main.evaluate("e => e.scrollWidth") <= width, place
            assert small_controls(page) == [], place
            shot(page, f"phone-{width}-{place}")
    page.context.close()


def test_a_large_desk_shows_the_whole_blanket_and_takes_the_stripe_that_is_pressed(browser, served) -> None:
    page = open_page(browser, served, width=1920, height=1080)
    still(page, ".st-key-side button")
    tab = page.get_by_role("option").nth(3).bounding_box()
    page.mouse.click(tab["x"] + 8, tab["y"] + tab["height"] / 2)
    still(page, ".st-key-tag")
    assert "Stripe 4" in page.locator(".st-key-tag-head").inner_text()
    cloth, tag = (page.locator(one).bounding_box() for one in ("canvas.cloth", ".st-key-tag"))
    thread = page.locator("svg.thread path").first.bounding_box()
    assert cloth["y"] + cloth["height"] <= 1080 - 50, "with what stands below it"
    assert tag["x"] <= thread["x"] + thread["width"] <= tag["x"] + 60, "the thread ends in the tag's eye"
    shot(page, "desk-1920-tag")
    page.context.close()


def test_names_are_inert(browser, served) -> None:
    page = open_page(browser, served)
    asked: list[str] = []
    page.on("request", lambda r: asked.append(r.url))
    name = "<img src=x onerror=window.hit=1> ![a](http://a.invalid/x.png) :red[b] $c$ *d*"
    open_place(page, "yarn")
    field = page.locator(".st-key-yarn-card").get_by_label("Name", exact=True)
    field.fill(name)
    field.press("Enter")
    settle(page)
    labels = 0
    for place in every_place(page, ("order", "yarn", "buying", "stripes")):
        still(page, ".st-key-side")
        assert page.evaluate("window.hit") is None, place
        assert not page.locator("img[src='x']").count(), place
        assert not [url for url in asked if "invalid" in url], place
        page.locator(".lab, .yp-buy").filter(has_text=name).first.wait_for()
        labels += page.get_by_label(re.compile(r"img src=x onerror.*\*d\*")).count()
    assert labels, "also as a label it stands as typed"
    page.context.close()

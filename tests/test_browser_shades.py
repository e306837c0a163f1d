"""By-eye steps in a real Chromium: crop and patch large, touching and in sight with the steps; nothing jumps."""

from __future__ import annotations

import pytest
from browser_page import open_page, open_place, settle, shot, still, until

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def skeins(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """The same skein by two cameras."""
    from blendplan.demo.photos import DrawnSkein, draw_photo

    folder = tmp_path_factory.mktemp("photos")
    for i in range(2):
        data = draw_photo((DrawnSkein(srgb="#8a4f44", centre=(0.5, 0.45)),), seed=71 + i, balance=0.5 + 0.2 * i)
        (folder / f"{i}.jpg").write_bytes(data)
    return sorted(str(p) for p in folder.iterdir())


def boxes(page, selector: str) -> list[dict[str, float]]:
    return page.evaluate(
        "s => [...document.querySelectorAll(s)].map(e => e.getBoundingClientRect()).map("
        "({left, top, right, bottom, width, height}) => ({left, top, right, bottom, width, height}))",
        selector,
    )


def scroll_to(page, selector: str, top: float) -> None:
    """Scroll until an element's top stands at a height of the window, and stays there."""
    for _ in range(5):
        still(page, selector)
        off = boxes(page, selector)[0]["top"] - top
        if abs(off) < 3:
            return
        page.evaluate("y => document.querySelector('[data-testid=stMain]').scrollBy(0, y)", off)
    raise AssertionError(f"{selector} stands {off} px from {top}")


def on_top(page, selector: str) -> bool:
    """True if every place of an element, a grid of them, is in the window and nothing lies over it."""
    return page.evaluate(
        """s => [...document.querySelectorAll(s)].every(e => {
            const r = e.getBoundingClientRect();
            return [.1, .5, .9].every(u => [.1, .5, .9].every(v => {
                const hit = document.elementFromPoint(r.left + u * r.width, r.top + v * r.height);
                return hit && (e.contains(hit) || hit.contains(e) && hit.closest('[data-testid=stElementContainer]')
                    === e.closest('[data-testid=stElementContainer]'));
            }));
        })""",
        selector,
    )


@pytest.mark.parametrize(("width", "height", "least"), [(1024, 768, 120), (390, 844, 140)])
def test_crop_patch_and_steps_are_in_sight_together(browser, served, skeins, width, height, least) -> None:
    more = {"has_touch": True, "is_mobile": True} if width < 600 else {}
    page = open_page(browser, served, width=width, height=height, **more)
    page.locator("[class*='st-key-photos-'] input[type=file]").first.set_input_files(skeins)
    page.wait_for_function("document.querySelectorAll('.yp-cmp').length >= 2")
    settle(page)
    for i in range(2):
        page.locator(".st-key-yarn-cards input").nth(i).fill("Rose")
        page.keyboard.press("Enter")
        settle(page)
    page.get_by_text("one yarn seen twice, or two yarns?").scroll_into_view_if_needed()
    shot(page, f"same-name-{width}")
    page.locator(".st-key-take-fresh button").click()
    settle(page)
    page.locator(".bp-told", has_text="readings of Rose").first.wait_for()
    told = page.locator(".bp-told", has_text="readings of Rose").count()
    open_place(page, "yarn")
    page.wait_for_selector(".st-key-yarn-card .bp-eye img")
    still(page, ".st-key-eye-y0-0 .bp-eye > span")
    assert told == 1

    crop, patch = boxes(page, ".st-key-eye-y0-0 .bp-eye > span")
    for part in (crop, patch):
        assert part["width"] >= least and part["height"] >= least, (crop, patch)
    assert abs(crop["right"] - patch["left"]) < 0.6 and crop["top"] == patch["top"], "they touch along one edge"

    # The first step takes the notice away; neither that nor any step moves what is looked at.
    for step in ("lighter", "greyer", "warmer"):
        button = page.locator(f".st-key-y0-0-{step} button")
        button.scroll_into_view_if_needed()
        button.click()
        still(page, ".st-key-nudge-y0-0")
        for part in (".st-key-eye-y0-0 .bp-eye > span", ".st-key-nudge-y0-0 button"):
            assert on_top(page, part), (step, part, boxes(page, part))
    shot(page, f"by-eye-{width}")
    page.context.close()


def test_a_step_is_in_sight_with_its_crop_wherever_the_page_stands(browser, served) -> None:
    page = open_page(browser, served, width=390, height=844, has_touch=True, is_mobile=True)
    open_place(page, "yarn")
    nudge = ".st-key-nudge-y0-0"
    for place in (380, 450, 520):
        scroll_to(page, nudge, place)
        assert on_top(page, ".st-key-eye-y0-0 .bp-eye > span"), place
        assert on_top(page, f"{nudge} button"), place
    # By keys backwards from the code: a step that has the focus is not under what is compared.
    scroll_to(page, nudge, 100)
    page.locator(".st-key-y0-0-hex input").focus()
    for _ in range(6):
        page.keyboard.press("Shift+Tab")
    until(page, lambda: page.evaluate("document.activeElement.closest('[class*=st-key-y0-0-lighter]') !== null"))
    still(page, nudge)
    assert on_top(page, ".st-key-y0-0-lighter button") and on_top(page, ".st-key-eye-y0-0 .bp-eye > span")
    page.context.close()

"""A photo in a real Chromium: its boxes chosen, moved, sized and removed, spots tapped on it, and its shape kept."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
import scenes
from browser_page import axe_faults, open_page, settle, still, until
from PIL import Image
from test_page_photos import CORNERS, SEED, chart_picture

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("files")
    wide = Image.open(io.BytesIO(scenes.make_scene([SEED, 6], ground="paper", yarns=3, only="saturated").data))
    card = Image.open(io.BytesIO(scenes.make_scene([SEED, 21], ground="card", yarns=2).data))
    wide.save(folder / "wide.png")
    wide.transpose(Image.Transpose.ROTATE_90).save(folder / "tall.png")
    card.save(folder / "card.png")
    Image.fromarray(chart_picture()).save(folder / "chart.png")
    return {p.stem: p for p in folder.iterdir()}


def begin(browser, served: str, file: Path, **more):
    page = open_page(browser, served, **more)
    page.locator("[class*='st-key-photos-'] input[type=file]").first.set_input_files(str(file))
    page.wait_for_selector(".stage .box")
    settle(page)
    page.get_by_text("More about").first.click()
    still(page, ".stage")
    return page


def press(page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()
    settle(page)


def where(page, x: float, y: float, size: tuple[int, int]) -> tuple[float, float]:
    """Return where a pixel of a photo stands on the screen, once it stands."""
    stage = page.locator(".stage")
    still(page, ".stage")
    stage.scroll_into_view_if_needed()
    place = stage.bounding_box()
    return place["x"] + place["width"] * (x + 0.5) / size[0], place["y"] + place["height"] * (y + 0.5) / size[1]


def numbers(page) -> list[list[int]]:
    """The boxes as the page holds them, by its typed fields."""
    if not page.get_by_label("Colour card: x,y", exact=False).count():
        page.locator("[class*='st-key-typed-'] summary").first.click()
        settle(page)
    fields = page.get_by_label(re.compile("^Box .: left, top"))
    return [[int(v) for v in value.split(",")] for value in fields.evaluate_all("fields => fields.map(f => f.value)")]


@pytest.mark.parametrize(("width", "shape"), [(1280, "wide"), (390, "tall")])
def test_a_photo_keeps_its_shape_and_its_boxes_lie_right(browser, served, files, width: int, shape: str) -> None:
    page = begin(browser, served, files[shape], width=width, height=800)
    size = Image.open(files[shape]).size
    drawn = page.locator(".stage img").bounding_box()
    assert drawn["width"] / drawn["height"] == pytest.approx(size[0] / size[1], rel=0.01)
    assert drawn["height"] <= 0.7 * 800 + 1
    scale = drawn["width"] / size[0]
    for box, el in zip(numbers(page), page.locator(".stage .box").all(), strict=True):
        place = el.bounding_box()
        drawn = page.locator(".stage img").bounding_box()
        shown = [place["x"] - drawn["x"], place["y"] - drawn["y"]]
        shown += [shown[0] + place["width"], shown[1] + place["height"]]
        assert shown == pytest.approx([v * scale for v in box], abs=1.5)
    page.context.close()


def test_a_box_is_moved_and_sized_by_pointer(browser, served, files) -> None:
    page = begin(browser, served, files["wide"])
    before = numbers(page)
    size = (scenes.WIDTH, scenes.HEIGHT)

    def drag(start: tuple[float, float], end: tuple[float, float]) -> None:
        page.mouse.move(*where(page, *start, size))
        page.mouse.down()
        page.mouse.move(*where(page, (start[0] + end[0]) / 2, (start[1] + end[1]) / 2, size))
        page.mouse.move(*where(page, *end, size))
        page.mouse.up()
        settle(page)

    left, top, right, bottom = before[1]
    dx = 24 if right + 24 <= size[0] else -24
    dy = 15 if bottom + 15 <= size[1] else -15
    middle = ((left + right) / 2, (top + bottom) / 2)
    drag(middle, (middle[0] + dx, middle[1] + dy))
    moved = wait_numbers(page, [before[0], [left + dx, top + dy, right + dx, bottom + dy], before[2]], 2)
    assert [moved[0], moved[2]] == [before[0], before[2]]
    # Its lower right corner sizes it, and the upper left one stays.
    left, top, right, bottom = moved[1]
    drag((right - 4, bottom - 4), (right - 34, bottom - 29))
    wait_numbers(page, [moved[0], [left, top, right - 30, bottom - 25], moved[2]], 2)
    press(page, "Undo")
    wait_numbers(page, moved)
    page.context.close()


def test_a_chosen_box_is_removed_by_a_button(browser, served, files) -> None:
    page = begin(browser, served, files["wide"], width=390, height=844, has_touch=True, is_mobile=True)
    before = numbers(page)
    gone = page.get_by_role("button", name="Not a yarn")
    assert not gone.count(), "nothing is chosen yet"
    box = page.locator(".stage .box").nth(1)
    box.scroll_into_view_if_needed()
    box.tap()
    until(page, lambda: "chosen" in box.get_attribute("class") and gone.is_enabled())
    assert gone.bounding_box()["height"] >= 44
    gone.tap()
    settle(page)
    wait_numbers(page, [before[0], before[2]])
    gone.wait_for(state="detached")
    page.context.close()


def test_boxes_go_by_keys_and_the_keys_stay_on_their_box(browser, served, files) -> None:
    page = begin(browser, served, files["wide"])
    before = numbers(page)
    page.locator(".stage .box").nth(2).focus()
    for step in (6.4, 12.8):
        # It is sent once the keys have rested for a while.
        page.locator(".stage .box").nth(2).focus()
        page.keyboard.press("ArrowLeft")
        left, top, right, bottom = before[2]
        wait_numbers(page, [*before[:2], [left - step, top, right - step, bottom]], 1)
        settle(page)
    # The page was drawn anew after the move, and the same box still has the keys.
    page.keyboard.press("Tab")
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Delete")
    settle(page)
    wait_numbers(page, before[:2])
    # A new box has the keys at once, and does not lie on another.
    press(page, "Add a yarn")
    assert "most room" in page.locator(".live").first.inner_text()
    assert numbers(page) == before[:2], "it is read when it lies where she wants it"
    page.keyboard.press("Enter")
    page.get_by_label(re.compile("^Box 3: left, top")).wait_for()
    settle(page)
    new = numbers(page)
    assert not any(overlap(new[2], other) for other in new[:2])
    # Nor does the next lie on it; taken out before it was read, it leaves nothing behind.
    press(page, "Add a yarn")
    still(page, ".stage .box")
    put, others = (page.locator(f".stage .box{which}") for which in (".chosen", ":not(.chosen)"))
    places = [
        (p["x"], p["y"], p["x"] + p["width"], p["y"] + p["height"])
        for p in (put.bounding_box(), *(one.bounding_box() for one in others.all()))
    ]
    assert not any(overlap(places[0], other) for other in places[1:])
    page.keyboard.press("Delete")
    until(page, page.locator(".stage .box").count, lambda n: n == 3)
    settle(page)
    wait_numbers(page, new)
    page.locator(".stage .box").nth(2).focus()
    page.keyboard.press("Backspace")
    settle(page)
    wait_numbers(page, before[:2])
    # Then the keys are on the button beside the photo, and not at the top of the page.
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    page.get_by_label(re.compile("^Box 3: left, top")).wait_for()
    settle(page)
    assert len(numbers(page)) == 3
    page.context.close()


def wait_numbers(page, wanted, near: float = 0) -> list[list[int]]:
    """Wait until the boxes are as wanted, each number as near as told, and return them."""

    def same(found: list[list[int]]) -> bool:
        return len(found) == len(wanted) and all(
            abs(a - b) <= near for one, due in zip(found, wanted, strict=True) for a, b in zip(one, due, strict=True)
        )

    return until(page, lambda: numbers(page), same)


def overlap(one, two) -> float:
    return max(0.0, min(one[2], two[2]) - max(one[0], two[0])) * max(0.0, min(one[3], two[3]) - max(one[1], two[1]))


def test_a_white_is_tapped_where_it_is_tapped_and_drawn(browser, served, files) -> None:
    page = begin(browser, served, files["card"])
    size = (scenes.WIDTH, scenes.HEIGHT)
    # The card of these scenes lies in the upper left corner, far from where x and y would be the other way round.
    scene = scenes.make_scene([SEED, 21], ground="card", yarns=2)
    rows, columns = scene.white_mask.nonzero()
    spot = (float(columns.max() - 12), float(rows.min() + 12))
    assert not scene.white_mask[int(min(spot[0], size[1] - 1)), int(min(spot[1], size[0] - 1))]
    press(page, "Use no white")
    assert not page.locator(".stage .white").count()
    press(page, "Tap the white paper")
    assert "white paper" in page.locator(".live").first.inner_text()
    still(page, ".stage")
    hint, photo = page.locator(".live").first.bounding_box(), page.locator(".stage").bounding_box()
    assert hint["y"] + hint["height"] <= photo["y"]
    page.mouse.click(*where(page, *spot, size))
    page.get_by_text("White: the spot you chose").wait_for()
    still(page, ".stage .white")
    white, photo = page.locator(".stage .white").bounding_box(), page.locator(".stage").bounding_box()
    x, y = where(page, *spot, size)
    assert white["x"] <= x <= white["x"] + white["width"] and white["y"] <= y <= white["y"] + white["height"]
    assert white["width"] < 0.6 * photo["width"]

    # Told of a grey card before it is tapped, the page asks for one, and reads nothing yet.
    press(page, "Use no white")
    shades = page.locator(".yp-cmp b").first.get_attribute("style")
    press(page, "Tap the white paper")
    page.get_by_text("It is a grey card").click()
    settle(page)
    assert "grey card" in page.locator(".live").first.inner_text()
    assert page.locator(".yp-cmp b").first.get_attribute("style") == shades
    press(page, "Cancel tapping")

    # The same by keys, and told to be a grey card: all shades get lighter.
    press(page, "Tap the white paper")
    page.locator(".cross").focus()
    for key, count in (("ArrowLeft", (size[0] / 2 - spot[0]) / 6.4), ("ArrowUp", (size[1] / 2 - spot[1]) / 6.4)):
        for _ in range(round(count)):
            page.keyboard.press(key)
    page.keyboard.press("Enter")
    page.get_by_text("White: the spot you chose").wait_for()
    # Where the photo stands in the window may be another place now.
    still(page, ".stage .white")
    x, y = where(page, 0, 0, size)
    white = {**white, "x": white["x"] - photo["x"] + x, "y": white["y"] - photo["y"] + y}
    assert page.locator(".stage .white").bounding_box() == pytest.approx(white, abs=2)
    paper = page.locator(".yp-cmp b").first.get_attribute("style")
    page.get_by_text("It is a grey card").click()
    settle(page)

    def light(style: str) -> int:
        return sum(int(re.search("#([0-9a-f]{6})", style)[1][i : i + 2], 16) for i in (0, 2, 4))

    # Grey of 18 % taken for paper of 87 % makes everything about five times too bright, so the other way darker.
    until(
        page,
        lambda: light(page.locator(".yp-cmp b").first.get_attribute("style")),
        lambda grey: grey < light(paper) - 60,
    )
    page.context.close()


def test_four_corners_are_tapped_and_the_card_is_drawn(browser, served, files) -> None:
    page = begin(browser, served, files["chart"])
    size = Image.open(files["chart"]).size
    press(page, "Tap the colour card's corners")
    assert axe_faults(page) == []
    for n, corner in enumerate(CORNERS, 1):
        page.get_by_text(f"Corner {n} of 4").first.wait_for()
        page.mouse.click(*where(page, *corner, size))
        if n == 2:
            page.get_by_role("button", name="Take the last corner back").click()
            page.get_by_text("Corner 2 of 4").first.wait_for()
            page.mouse.click(*where(page, *corner, size))
    page.get_by_text("colour card was used").wait_for()
    settle(page)
    assert axe_faults(page) == []
    still(page, ".stage .card .over")
    drawn = page.locator(".stage .card .over").bounding_box()
    (left, top), (right, bottom) = where(page, *CORNERS[0], size), where(page, *CORNERS[2], size)
    assert [drawn["x"], drawn["y"]] == pytest.approx([left, top], abs=6)
    assert [drawn["x"] + drawn["width"], drawn["y"] + drawn["height"]] == pytest.approx([right, bottom], abs=6)
    page.context.close()


def test_a_press_on_a_yarn_brings_its_card_into_view_and_frames_it(browser, served, files) -> None:
    page = begin(browser, served, files["wide"], width=390, height=700)
    name = page.evaluate(
        "[...document.querySelectorAll('*')].flatMap(e => [...e.classList]).find(c => /^st-key-find-box-.*-2$/.test(c))"
    )
    card = page.locator(f".{name}")
    left, top, right, bottom = numbers(page)[2]
    spot = where(page, (left + right) / 2, (top + bottom) / 2, (scenes.WIDTH, scenes.HEIGHT))
    assert card.bounding_box()["y"] > 700
    # The frame fades by itself, so it is written down as it comes.
    page.evaluate(
        """() => {
          const own = Element.prototype.animate;
          window.framed = [];
          Element.prototype.animate = function (...how) {
            framed.push(`${this.className}`);
            return own.apply(this, how);
          };
        }"""
    )
    page.mouse.click(*spot)
    until(page, lambda: page.evaluate("framed"), lambda framed: any(name in one for one in framed))
    still(page, f".{name}")
    assert card.bounding_box()["y"] < 700
    page.context.close()

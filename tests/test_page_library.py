"""My blankets and yarn on the page: opened, copied, renamed, thrown away and back; the shelf; the place of the work."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from blankets import blanket
from test_page_law import Page, home_with

from blendplan.kept import Library, Shelf

pytest.importorskip("streamlit.testing.v1", reason="skipped: Streamlit is not installed")


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Page:
    monkeypatch.setenv("BLENDPLAN_HOME", "")
    page = Page(home_with(blanket("Fern", "Clay", "Milk", solid_rows=3), tmp_path / "home"))
    page.app.session_state["session"].place = "library"
    page.app.run()
    page.sound()
    return page


def library(page: Page) -> Library:
    return page.app.session_state["session"].kept.library


def in_hand(page: Page) -> int:
    return page.app.session_state["session"].kept.number


def press(page: Page, key: str) -> None:
    page.app.button(key=key).click().run()
    page.sound()


def test_a_blanket_is_copied_renamed_opened_put_away_and_thrown_away_and_comes_back(page: Page) -> None:
    first = in_hand(page)
    press(page, f"lib-copy-{first}")
    copy = next(one.id for one in library(page).blankets() if one.id != first)
    press(page, f"lib-open-{copy}")
    assert in_hand(page) == copy and page.app.session_state["session"].place == "stripes"
    page.app.session_state["session"].place = "library"
    page.app.run()
    shelved = next(one for one in library(page).blankets() if one.id == copy)
    page.app.text_input(key=f"lib-name-{copy}-{shelved.revision}").set_value("Another").run()
    assert page.blanket.title == "Another"
    press(page, "undo")
    assert page.blanket.title.endswith(", copy")
    press(page, f"lib-put-{copy}")
    assert next(one for one in library(page).blankets() if one.id == copy).put_away
    press(page, f"lib-throw-{first}")
    assert [one.id for one in library(page).thrown()] == [first]
    page.app.session_state["lib-thrown"] = True
    page.app.run()
    press(page, f"lib-back-{first}")
    assert not library(page).thrown()


def test_a_new_blanket_and_the_example_stand_beside_the_one_in_hand(page: Page) -> None:
    first = in_hand(page)
    press(page, "lib-example")
    assert in_hand(page) != first and len(library(page).blankets()) == 2
    page.app.session_state["session"].place = "library"
    page.app.run()
    press(page, "lib-new")
    assert len(library(page).blankets()) == 3 and page.app.session_state["session"].place == "yarn"
    assert library(page).revision(first)


def test_yarn_goes_on_the_shelf_is_set_aside_and_not_offered_twice(page: Page) -> None:
    shelf = Shelf(library(page))
    press(page, "lib-shelve")
    lying = shelf.yarns()
    assert [one.yarn.name for one in lying] == ["Fern", "Clay", "Milk"] and not any(one.free for one in lying)
    press(page, "lib-example")
    page.app.session_state["session"].place = "library"
    page.app.run()
    page.app.number_input(key=f"lib-lot-{lying[0].key}-0").set_value(5).run()
    page.sound()
    assert sum(lot.skeins for lot in shelf.yarns()[0].yarn.lots) == 5
    press(page, f"lib-take-{lying[0].key}")
    assert page.blanket.yarns[-1].name == "Fern" and not shelf.yarns()[0].free
    # Undo takes it out of the blanket, and so it is free again by itself.
    press(page, "undo")
    assert shelf.yarns()[0].free


def test_done_asks_for_weight_and_size_together_and_books_the_rest_back(page: Page) -> None:
    number = in_hand(page)
    press(page, "lib-shelve")
    page.app.text_input(key=f"done-{number}-grams").set_value("900").run()
    press(page, f"lib-done-{number}")
    assert library(page).blankets()[0].state == "planned", "a weight without a size is asked about"
    for name, value in (("width_cm", "90"), ("height_cm", "120")):
        page.app.text_input(key=f"done-{number}-{name}").set_value(value).run()
    press(page, f"lib-done-{number}")
    assert library(page).blankets()[0].state == "done"
    assert not any(one.promised and one.promised[0].lots for one in Shelf(library(page)).yarns())
    press(page, f"lib-undone-{number}")
    assert library(page).blankets()[0].state == "in work"


def test_what_was_learned_of_her_hands_is_offered_to_the_next_blanket(page: Page) -> None:
    number = in_hand(page)
    for name, value in (("grams", "900"), ("width_cm", "90"), ("height_cm", "120")):
        page.app.text_input(key=f"done-{number}-{name}").set_value(value).run()
    press(page, f"lib-done-{number}")
    press(page, f"lib-copy-{number}")
    copy = next(one.id for one in library(page).blankets() if one.id != number)
    press(page, f"lib-open-{copy}")
    page.app.session_state["session"].place = "fabric"
    page.app.run()
    assert not page.blanket.materials.measured
    press(page, "hands-use")
    (learned,) = page.blanket.materials.measured
    assert float(learned.grams) == 900
    assert page.widget("hands-use", "button") is None


def test_rows_counted_elsewhere_are_given_back_once(page: Page) -> None:
    from blendplan.page.routes import hear, read_presses

    at = "2026-11-26T20:14:00.000Z"
    counted: dict[str, Any] = {
        "format": "blendplan-counted",
        "hand": "phone-3fa2",
        "presses": [{"seq": n, "kind": "done", "row": n, "at": at} for n in (1, 2, 3)],
    }
    for _ in range(2):
        hear(library(page), in_hand(page), *read_presses(json.dumps(counted).encode())[:2])
    page.app.session_state["session"].place = "work"
    page.app.run()
    page.sound()
    assert page.blanket.making.rows_done == 3
    press(page, "row-done")
    assert page.blanket.making.rows_done == 4

"""The law of edits on the page: whatever is pressed, opened, folded or taken back, only what was named changes.

What was lost before stands first: half a band, a title under an open popover, the language, a choice not in sight.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from blankets import blanket, changed, held
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from page_hand import at

from blendplan.blanket import Blanket, Variant
from blendplan.kept import open_library
from blendplan.workspace import Workspace, entries_of

testing = pytest.importorskip("streamlit.testing.v1", reason="skipped: Streamlit is not installed")

APP = str(Path(__file__).parent.parent / "app.py")
NAMES = ("Fern", "Clay", "Milk")
FOLDS = ("bands", "add-typed", "order-wishes", "ripple-fold", "gauge-fold", "yardage-fold")


@dataclass(frozen=True, kw_only=True)
class Field:
    """A field of the page: its widget and place, what can be typed, what that names, and what is then held there."""

    key: str
    widget: str
    place: str = ""
    typed: st.SearchStrategy[Any]
    named: tuple[str, ...]
    held: Callable[[Blanket], Any]


def first(b: Blanket) -> Any:
    return b.materials.yarns[0]


def as_number(value: Any) -> str:
    return "" if value is None else f"{float(value):g}"


SOMETIMES = st.sampled_from(["", "40", "51,5", "63.25"])
FIELDS = (
    Field(
        key="title",
        widget="text_input",
        typed=st.sampled_from(["Hers", "«Ö», №5", "Throw"]),
        named=(".title",),
        held=lambda b: b.title,
    ),
    Field(
        key="y0-g",
        widget="text_input",
        place="yarn",
        typed=SOMETIMES,
        named=(".materials.yarns[Fern].grams",),
        held=lambda b: as_number(first(b).grams),
    ),
    Field(
        key="y0-m",
        widget="text_input",
        place="yarn",
        typed=SOMETIMES,
        named=(".materials.yarns[Fern].metres",),
        held=lambda b: as_number(first(b).metres),
    ),
    Field(
        key="y0-name",
        widget="text_input",
        place="yarn",
        typed=st.sampled_from(["Moss", "Fern", "Pine"]),
        named=(".materials.yarns[Fern].name",),
        held=lambda b: first(b).name,
    ),
    Field(
        key="y0-skeins",
        widget="number_input",
        place="yarn",
        typed=st.integers(0, 9),
        named=(".materials.yarns[Fern].lots",),
        held=lambda b: first(b).skeins_on_hand,
    ),
    Field(
        key="solid-rows",
        widget="number_input",
        place="stripes",
        typed=st.integers(1, 12),
        named=(".design.solid_rows", ".design.stripes"),
        held=lambda b: b.design.solid_rows,
    ),
    Field(
        key="wanted-width",
        widget="text_input",
        place="fabric",
        typed=st.sampled_from(["90", "120", "", "133.5"]),
        named=(".design.width_cm", ".design.repeats"),
        held=lambda b: as_number(b.design.width_cm),
    ),
    Field(
        key="wanted-length",
        widget="text_input",
        place="fabric",
        typed=st.sampled_from(["90", "120", ""]),
        named=(".design.length_cm",),
        held=lambda b: as_number(b.design.length_cm),
    ),
    Field(
        key="for-baby",
        widget="toggle",
        place="fabric",
        typed=st.booleans(),
        named=(".design.for_baby",),
        held=lambda b: b.design.for_baby,
    ),
    Field(
        key="rows-done",
        widget="number_input",
        place="work",
        typed=st.integers(0, 12),
        named=(".making.rows_done",),
        held=lambda b: b.making.rows_done,
    ),
    Field(
        key="way-terms",
        widget="segmented_control",
        typed=st.sampled_from(["US", "UK"]),
        named=(".ways.terms",),
        held=lambda b: b.ways.terms,
    ),
    Field(
        key="way-lang",
        widget="segmented_control",
        typed=st.sampled_from(["en", "de"]),
        named=(".ways.language",),
        held=lambda b: b.ways.language or "en",
    ),
    Field(
        key="way-currency",
        widget="text_input",
        typed=st.sampled_from(["kr", "", "EUR"]),
        named=(".ways.currency",),
        held=lambda b: b.ways.currency,
    ),
)


class Page:
    """One page in a session of its own, on a home folder."""

    def __init__(self, home: Path) -> None:
        os.environ["BLENDPLAN_HOME"] = str(home)
        os.environ.pop("BLENDPLAN_SERVED", None)
        self.app = at(testing.AppTest.from_file(APP, default_timeout=180).run(), "stripes")
        self.sound()

    def sound(self) -> None:
        assert not self.app.exception, [e.value for e in self.app.exception]

    @property
    def blanket(self) -> Blanket:
        found = self.app.session_state["session"].kept.now.blanket
        assert found is not None
        return found

    def widget(self, key: str, kind: str) -> Any:
        return next((w for w in getattr(self.app, kind) if w.key == key), None)

    def go(self, place: str) -> None:
        if place and self.app.session_state["session"].place != place:
            at(self.app, place)
            self.sound()

    def type(self, field: Field, value: Any) -> None:
        self.go(field.place)
        self.widget(field.key, field.widget).set_value(value).run()
        self.sound()

    def press(self, key: str) -> None:
        self.app.button(key=key).click().run()
        self.sound()

    def fold(self, key: str, is_open: bool) -> None:
        self.app.session_state[key] = is_open
        self.app.run()
        self.sound()


def home_with(now: Blanket, folder: Path) -> Path:
    library, _ = open_library(folder)
    library.add(entries_of(Workspace(blanket=now)), now.title)
    return folder


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Page:
    monkeypatch.setenv("BLENDPLAN_HOME", "")
    return Page(home_with(blanket(*NAMES, solid_rows=3), tmp_path / "home"))


BY_KEY = {field.key: field for field in FIELDS}


# ---- what was lost before


def test_half_a_band_outlives_folds_other_fields_and_a_refresh(page: Page, tmp_path: Path) -> None:
    page.type(BY_KEY["y0-m"], "")
    page.fold("ripple-fold", True)
    page.type(BY_KEY["solid-rows"], 5)
    again = Page(tmp_path / "home")
    again.go("yarn")
    assert (first(again.blanket).grams, first(again.blanket).metres) == (100, None)
    assert again.widget("y0-g", "text_input").value == "100" and again.widget("y0-m", "text_input").value == ""


def test_the_title_is_kept_whatever_is_opened_after_it(page: Page) -> None:
    page.type(BY_KEY["title"], "Hers")
    for key in FOLDS:
        page.fold(key, True)
    page.type(BY_KEY["way-terms"], "UK")
    assert page.blanket.title == "Hers" and page.widget("title", "text_input").value == "Hers"


def test_a_variant_taken_back_brings_its_design_and_nothing_else(tmp_path: Path) -> None:
    start = blanket(*NAMES, solid_rows=3)
    kept = replace(start, variants=(Variant(name="as it was", design=start.design),))
    page = Page(home_with(kept, tmp_path / "home"))
    for key, value in (("solid-rows", 9), ("y0-skeins", 4), ("title", "Hers"), ("rows-done", 2)):
        page.type(BY_KEY[key], value)
    page.go("order")
    before = page.blanket
    look = next(b.key for b in page.app.button if b.label == "Look at as it was")
    page.press(look)
    assert page.blanket == before, "looking changes nothing"
    page.press(look.replace("look", "use"))
    assert changed(before, page.blanket) == {".design.solid_rows"} and page.blanket.design == start.design


def test_the_language_chosen_is_one_of_her_ways_and_stays(page: Page, tmp_path: Path) -> None:
    page.type(BY_KEY["way-lang"], "de")
    assert page.blanket.ways.language == "de"
    assert Page(tmp_path / "home").widget("way-lang", "segmented_control").value == "de"


def test_the_wishes_for_an_order_are_kept_while_their_fold_is_shut(page: Page, tmp_path: Path) -> None:
    page.go("order")
    page.app.selectbox(key="order-first").set_value("Milk").run()
    page.type(BY_KEY["solid-rows"], 4)
    page.press("undo")
    assert Page(tmp_path / "home").blanket.design.wishes.first == "Milk"


# ---- the law


class LawOfThePage(RuleBasedStateMachine):
    """A list of all that was held after each press is the model; the page shows what it says, whatever is unfolded."""

    @initialize()
    def begin(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        self.page = Page(home_with(blanket(*NAMES, solid_rows=3), Path(self.folder.name)))
        self.model, self.at = [held(self.page.blanket)], 0

    def teardown(self) -> None:
        if hasattr(self, "folder"):
            self.folder.cleanup()

    def pressed(self, before: Blanket, *named: str) -> None:
        """Take a press into the model: every place that changed must be one that it named."""
        for place in changed(before, self.page.blanket):
            assert any(place.startswith(name) for name in named), f"{place} was not named"
        if held(self.page.blanket) != self.model[self.at]:
            self.model = [*self.model[: self.at + 1], held(self.page.blanket)]
            self.at += 1

    @rule(data=st.data(), field=st.sampled_from(FIELDS))
    def type(self, data: st.DataObject, field: Field) -> None:
        before, value = self.page.blanket, data.draw(field.typed)
        self.page.type(field, value)
        self.pressed(before, *field.named)
        got = field.held(self.page.blanket)
        assert got == (value.replace(",", ".") if field.typed is SOMETIMES else value)

    @rule(key=st.sampled_from(FOLDS), is_open=st.booleans())
    def fold(self, key: str, is_open: bool) -> None:
        self.page.fold(key, is_open)

    @rule(place=st.sampled_from(["stripes", "order", "yarn", "buying", "work", "library", "fabric"]))
    def go(self, place: str) -> None:
        self.page.go(place)

    @rule(key=st.sampled_from(["to-hand", "turn-round", "row-done", "y0-0-lighter"]))
    def press(self, key: str) -> None:
        named = {"to-hand": ".design.stripes", "turn-round": ".design.order", "row-done": ".making.rows_done"}
        before = self.page.blanket
        if self.page.widget(key, "button") is not None:
            self.page.press(key)
            self.pressed(before, named.get(key, ".materials.yarns[Fern].shades"))

    @precondition(lambda self: self.at)
    @rule()
    def undo(self) -> None:
        self.page.press("undo")
        self.at -= 1

    @precondition(lambda self: self.at < len(self.model) - 1)
    @rule()
    def redo(self) -> None:
        self.page.press("redo")
        self.at += 1

    @rule()
    def refresh(self) -> None:
        # What can be taken back outlives it.
        self.page = Page(Path(self.folder.name))

    @invariant()
    def what_is_shown_is_what_is_held(self) -> None:
        if not hasattr(self, "page"):
            return
        assert held(self.page.blanket) == self.model[self.at]
        for field in FIELDS:
            widget = self.page.widget(field.key, field.widget)
            if widget is not None:
                assert widget.value == field.held(self.page.blanket), field.key


TestLawOfThePage = LawOfThePage.TestCase
TestLawOfThePage.settings = settings(
    max_examples=4, stateful_step_count=14, deadline=None, suppress_health_check=list(HealthCheck)
)

"""The law of edits: an edit changes what it names and nothing else, and undo takes back that and nothing else."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from blankets import blanket, changed, held, yarn
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from blendplan import lasting
from blendplan.blanket import Blanket, Variant
from blendplan.edits import edit_between, make
from blendplan.errors import BlendplanError
from blendplan.fabric.finish import Border
from blendplan.fabric.size import size_cm
from blendplan.kept import open_library
from blendplan.page import edits
from blendplan.plan import make_plan
from blendplan.project import project_json, read_project
from blendplan.record import read, to_plain
from blendplan.stripes import edit as stripe_edit
from blendplan.yardage.measured import WeighedRow
from blendplan.yardage.settings import Fringe
from blendplan.yarn import Lot, Shade

NAMES = ("Fern", "Clay", "Milk")


# ---- what was lost before


def test_a_variant_taken_back_leaves_weights_gauge_stock_and_mended_shades() -> None:
    first = blanket(*NAMES)
    kept = replace(first, variants=(Variant(name="as it was", design=first.design),))
    later = lasting.weigh(edits.change_making(kept, rows_done=3), "Clay", Fraction(80))
    later = edits.change_yarn(later, "Clay", lots=(Lot(skeins=7),), shades=(Shade(lab=(50, 1, 2), kind="eye"),))
    later = edits.change_design(replace(later, title="Hers"), solid_rows=9)
    taken = replace(later, design=later.variants[0].design)
    assert changed(later, taken) == {".design.solid_rows"}
    assert taken.design == first.design


def test_one_label_for_all_writes_its_own_field_and_no_other() -> None:
    first = blanket(*NAMES)
    later = edits.change_design(edits.reorder(first, [2, 0, 1]), solid_rows=11)
    made = edits.label_all(later, price=Fraction(9, 2))
    assert changed(later, made) == {f".materials.yarns[{name}].price" for name in NAMES}
    assert {yarn.price for yarn in made.yarns} == {Fraction(9, 2)}


def test_a_baby_caution_follows_choice_and_size_and_no_label() -> None:
    big = blanket(*NAMES, repeats=9, solid_rows=20)
    assert not any("baby" in n.text for n in make_plan(big).cautions if "sleeping" in n.text)
    chosen = edits.change_design(big, for_baby=True)
    assert any("sleeping baby" in n.text for n in make_plan(chosen).cautions)
    # A usual size only fills the wishes; the blanket made small afterwards is cautioned by its size.
    width, length = size_cm("throw")
    throw = edits.change_design(big, width_cm=width, length_cm=length, repeats=None)
    small = edits.change_design(throw, width_cm=70, length_cm=70)
    assert any("sleeping baby" in n.text for n in make_plan(small).cautions)


def test_half_a_band_is_kept() -> None:
    half = edits.change_yarn(blanket(*NAMES), "Clay", grams=Fraction(50), metres=None)
    again = read_project(project_json(half).encode())[0]
    assert again == half and again.yarn("Clay").grams == 50 and again.yarn("Clay").put_up is None


@pytest.mark.parametrize(("field", "bad"), [("units", "imp"), ("terms", "AU"), ("language", "xx"), ("paper", "A5")])
def test_what_a_file_could_not_open_cannot_be_made(field: str, bad: str) -> None:
    with pytest.raises(BlendplanError, match="choose one of"):
        edits.change_ways(blanket(*NAMES), **{field: bad})


# ---- the law

COLOURS = st.integers(0, 0xFFFFFF).map(lambda n: Shade.from_hex(f"#{n:06x}"))


def opened(entries: dict[str, Any]) -> Blanket:
    """Return the blanket that entries of the library hold."""
    return read(Blanket, entries, "blanket", [])


class LawOfEdits(RuleBasedStateMachine):
    """A dictionary of values is the model: an edit sets the places it names, undo puts them back."""

    def __init__(self) -> None:
        super().__init__()
        self.now = blanket(*NAMES)
        self.library, _ = open_library(None)
        self.number = self.library.add(to_plain(self.now), self.now.title)
        self.model = [held(self.now)]
        self.at = 0
        self.fresh = 0

    def edited(self, new: Blanket, *named: str) -> None:
        """Take an edit: every place that changed must be one that was named."""
        for place in changed(self.now, new):
            assert any(place.startswith(name) for name in named), f"{place} was not named"
        if new == self.now:
            return
        edit = edit_between(to_plain(self.now), to_plain(new))
        self.now = self.library.edit(self.number, edit, "desk", opened).now
        assert self.now == new
        self.model = [*self.model[: self.at + 1], held(new)]
        self.at += 1

    def key(self, data: st.DataObject) -> str:
        return data.draw(st.sampled_from([y.key for y in self.now.yarns]))

    @rule(data=st.data(), grams=st.none() | st.fractions(1, 500), metres=st.none() | st.fractions(1, 900))
    def band(self, data: st.DataObject, grams: Fraction | None, metres: Fraction | None) -> None:
        key = self.key(data)
        place = f".materials.yarns[{key}]."
        self.edited(edits.change_yarn(self.now, key, grams=grams), place + "grams")
        self.edited(edits.change_yarn(self.now, key, metres=metres), place + "metres")

    @rule(data=st.data(), n=st.integers(0, 20), name=st.sampled_from(["", "A 1", "B 2"]))
    def stock(self, data: st.DataObject, n: int, name: str) -> None:
        key = self.key(data)
        lots = (Lot(name=name, skeins=n), *self.now.yarn(key).lots[1:])
        self.edited(edits.change_yarn(self.now, key, lots=lots), f".materials.yarns[{key}].lots")

    @rule(data=st.data(), shade=COLOURS)
    def mend(self, data: st.DataObject, shade: Shade) -> None:
        key = self.key(data)
        shades = (shade, *self.now.yarn(key).shades[1:])
        self.edited(edits.change_yarn(self.now, key, shades=shades), f".materials.yarns[{key}].shades")

    @rule(data=st.data())
    def rename(self, data: st.DataObject) -> None:
        key = self.key(data)
        self.fresh += 1
        self.edited(edits.change_yarn(self.now, key, name=f"Name {self.fresh}"), f".materials.yarns[{key}].name")

    @rule(shade=COLOURS)
    def add(self, shade: Shade) -> None:
        self.fresh += 1
        new = replace(yarn("Fern"), name=f"New {self.fresh}", key="", shades=(shade,))
        self.edited(edits.add_yarn(self.now, new), f".materials.yarns[New {self.fresh}]", ".design.order")

    @precondition(lambda self: len(self.now.yarns) > 1)
    @rule(data=st.data())
    def drop(self, data: st.DataObject) -> None:
        key = self.key(data)
        try:
            new = edits.drop_yarn(self.now, key)
        except BlendplanError:
            return
        allowed = (f".materials.yarns[{key}]", ".design.order", ".design.stripes", ".design.carrier")
        self.edited(new, *allowed)

    @rule(solid=st.integers(1, 30), blend=st.integers(0, 9))
    def rows(self, solid: int, blend: int) -> None:
        new = edits.change_rule(self.now, solid_rows=solid, blend_rows=blend)
        self.edited(new, ".design.solid_rows", ".design.blend_rows", ".design.stripes")

    @rule(data=st.data())
    def order(self, data: st.DataObject) -> None:
        places = data.draw(st.permutations(range(len(self.now.design.order))))
        self.edited(edits.reorder(self.now, places), ".design.order", ".design.stripes")

    @rule(data=st.data(), rows=st.integers(1, 40))
    def by_hand(self, data: st.DataObject, rows: int) -> None:
        at = data.draw(st.integers(0, len(self.now.design.all_stripes()) - 1))
        self.edited(edits.change_stripes(self.now, lambda s: stripe_edit.set_rows(s, at, rows)), ".design.stripes")

    @rule(width=st.none() | st.floats(40, 300), length=st.none() | st.floats(40, 300), baby=st.booleans())
    def wishes(self, width: float | None, length: float | None, baby: bool) -> None:
        new = edits.change_design(self.now, width_cm=width, length_cm=length, for_baby=baby)
        self.edited(new, ".design.width_cm", ".design.length_cm", ".design.for_baby")

    @rule(data=st.data(), rows=st.integers(0, 60), grams=st.fractions(0, 900))
    def weigh(self, data: st.DataObject, rows: int, grams: Fraction) -> None:
        self.edited(edits.change_making(self.now, rows_done=rows), ".making.rows_done")
        self.edited(lasting.weigh(self.now, self.key(data), grams), ".making.weighings")

    @rule(units=st.sampled_from(["metric", "imperial"]), terms=st.sampled_from(["US", "UK"]))
    def ways(self, units: str, terms: str) -> None:
        self.edited(edits.change_ways(self.now, units=units, terms=terms), ".ways.units", ".ways.terms")

    @rule(name=st.sampled_from(["one", "two", "three"]))
    def keep_variant(self, name: str) -> None:
        others = tuple(v for v in self.now.variants if v.name != name)
        kept = (*others, Variant(name=name, design=self.now.design))
        self.edited(replace(self.now, variants=kept), ".variants")

    @precondition(lambda self: self.now.variants)
    @rule(data=st.data())
    def take_variant(self, data: st.DataObject) -> None:
        taken = data.draw(st.sampled_from(self.now.variants))
        self.edited(replace(self.now, design=taken.design), ".design")

    @rule()
    def undo(self) -> None:
        self.now, self.at = self.library.undo(self.number, opened).now, max(0, self.at - 1)

    @rule()
    def redo(self) -> None:
        self.now = self.library.redo(self.number, opened).now
        self.at = min(len(self.model) - 1, self.at + 1)

    @rule()
    def save_and_open(self) -> None:
        again, told = read_project(project_json(self.now).encode())
        assert again == self.now and not told

    @invariant()
    def it_holds_what_the_model_holds(self) -> None:
        assert held(self.now) == self.model[self.at]


TestLawOfEdits = LawOfEdits.TestCase
TestLawOfEdits.settings = settings(max_examples=25, stateful_step_count=20, deadline=None)


@given(st.integers(1, 40), st.fractions(1, 500), st.booleans())
@settings(max_examples=30, deadline=None)
def test_two_hands_on_different_things_merge_in_either_order(rows: int, grams: Fraction, back: bool) -> None:
    first = blanket(*NAMES)
    one = edit_between(first, edits.change_rule(first, solid_rows=rows))
    two = edit_between(first, edits.change_yarn(first, "Clay", grams=grams))
    both = make(make(first, one), two)
    assert both == make(make(first, two), one)
    assert both.design.solid_rows == rows and both.yarn("Clay").grams == grams
    # What one hand takes back leaves what the other did.
    assert make(both, one, back=True) == make(first, two) and make(both, two, back=True) == make(first, one)


def test_of_the_same_thing_the_later_press_stands_and_the_other_is_in_the_edit() -> None:
    first = blanket(*NAMES)
    one = edit_between(first, edits.change_design(first, hook_mm=8))
    two = edit_between(first, edits.change_design(first, hook_mm=9))
    assert make(make(first, one), two).design.hook_mm == 9
    assert [(step.place, step.before, step.after) for step in one] == [(("design", "hook_mm"), None, 8.0)]


def test_a_yarn_taken_away_goes_from_border_fringe_and_measures_too() -> None:
    first = blanket(
        *NAMES,
        border=Border(strands=("Clay", "Milk")),
        fringe=Fringe(strands=("Clay",)),
        measured=(
            WeighedRow(grams=30, rows=2, strands=("Clay", "Clay")),
            WeighedRow(grams=9, rows=1, strands=("Fern",)),
        ),
        skeins=(("Clay", 4), ("Fern", 2)),
    )
    made = edits.drop_yarn(first, "Clay")
    assert made.design.border == Border(strands=("Milk",)) and made.design.fringe == Fringe(strands=())
    assert [m.strands for m in made.materials.measured] == [("Fern",)] and made.design.skeins == (("Fern", 2),)
    assert "Clay" not in project_json(made)

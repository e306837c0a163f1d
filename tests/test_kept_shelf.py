"""The yarn shelf and the maker's hands: what is there is counted once, wherever it was promised or went.

The laws are the requirement: what blankets have set aside is not offered twice, what is done books its rest back,
and every press can be taken back.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from blendplan import Blanket, Design, Gauge, Lot, Materials, Yarn
from blendplan.edits import edit_between
from blendplan.errors import BlendplanError, YarnError
from blendplan.kept import Library, Shelf, open_library
from blendplan.record import to_plain
from blendplan.yardage.measured import OwnBlanket, WeighedRow

SLATE = Yarn.from_hex(
    "Slate",
    "#3f5a6b",
    grams=100,
    metres=170,
    weight_class=4,
    lots=(Lot(name="7", skeins=5), Lot(skeins=2, parts_g=(40,))),
)


def body(*yarns: Yarn, title: str = "A") -> dict[str, Any]:
    own = Yarn.from_hex("Own", "#aa8833", key="own")
    return to_plain(Blanket(materials=Materials(yarns=(own, *yarns)), design=Design(order=("own",)), title=title))


def with_yarn(library: Library, number: int, yarn: Yarn) -> None:
    now = library.read(number, dict).now
    after = {**now, "materials": {**now["materials"], "yarns": [*now["materials"]["yarns"], to_plain(yarn)]}}
    library.edit(number, edit_between(now, after), "desk", dict)


def begun() -> tuple[Library, Shelf, str, int]:
    library, _ = open_library(None)
    shelf = Shelf(library)
    return library, shelf, shelf.add(SLATE), library.add(body(), "A")


def test_what_one_blanket_has_set_aside_is_not_offered_to_another() -> None:
    library, shelf, key, number = begun()
    taken = shelf.take(key, number, ("own",), skeins=3)
    assert taken.key == "Slate" and taken.lots == (Lot(name="7", skeins=3),)
    # Nothing is promised before it is in the blanket.
    assert shelf.yarns()[0].free == SLATE.lots
    with_yarn(library, number, taken)
    (one,) = shelf.yarns()
    assert one.free == (Lot(name="7", skeins=2), Lot(skeins=2, parts_g=(40,)))
    assert [(p.blanket, p.title, p.yarn, p.lots) for p in one.promised] == [(number, "A", "Slate", taken.lots)]
    other = library.add(body(title="B"), "B")
    with pytest.raises(YarnError, match="free on the shelf are 4"):
        shelf.take(key, other, skeins=5)
    assert shelf.take(key, other).lots == one.free
    # Undo in the blanket gives it back by itself.
    library.undo(number, dict)
    assert shelf.yarns()[0].free == SLATE.lots
    library.redo(number, dict)
    assert shelf.yarns()[0].free == one.free
    # A copy of the blanket promises nothing.
    library.copy(number, "A 2")
    assert shelf.yarns()[0].free == one.free
    library.throw_away(number)
    assert shelf.yarns()[0].free == SLATE.lots


def test_done_books_the_rest_back_and_can_be_taken_back() -> None:
    library, shelf, key, number = begun()
    with_yarn(library, number, shelf.take(key, number, skeins=5))
    shelf.done(number, {"Slate": (Lot(name="7", skeins=1, parts_g=(31,)),)})
    (one,) = shelf.yarns()
    assert one.yarn.lots == one.free == (Lot(skeins=2, parts_g=(40,)), Lot(name="7", skeins=1, parts_g=(31,)))
    assert library.blankets()[0].state == "done" and not one.promised
    shelf.reopen(number)
    (one,) = shelf.yarns()
    assert {lot.name: (lot.skeins, lot.parts_g) for lot in one.yarn.lots} == {"": (2, (40,)), "7": (5, ())}
    assert one.free == (Lot(skeins=2, parts_g=(40,)),)


def test_a_yarn_that_is_promised_stays_and_one_thrown_away_can_be_brought_back() -> None:
    library, shelf, key, number = begun()
    with_yarn(library, number, shelf.take(key, number))
    with pytest.raises(YarnError, match="set aside for A"):
        shelf.throw_away(key)
    shelf.put_back(number, "Slate")
    shelf.throw_away(key)
    assert shelf.yarns() == () and [one.key for one in shelf.thrown()] == [key]
    shelf.bring_back(key)
    assert shelf.yarns()[0].yarn.shades == SLATE.shades


def test_which_yarn_is_the_same_is_asked_by_name_and_shade() -> None:
    _, shelf, key, number = begun()
    near = shelf.add(Yarn.from_hex("Blue grey", "#40586a"))
    shelf.add(Yarn.from_hex("Ochre", "#c08a3a"))
    assert next(one.key for one in shelf.like(Yarn.from_hex("slate", "#c08a3b"))) == key
    assert [one.key for one in shelf.like(Yarn.from_hex("?", "#40586a"))] == [near, key]
    shelf.same_as(number, "own", near)
    assert shelf.of(number)["own"].key == near
    with pytest.raises(BlendplanError):
        shelf.same_as(number + 1, "own", near)
    with pytest.raises(YarnError, match="not on the shelf"):
        shelf.same_as(number, "own", "x")


def test_her_hands_are_offered_for_the_same_strands_hook_and_stitch() -> None:
    _, shelf, _, _ = begun()
    one, two = Yarn.from_hex("A", "#334455", weight_class=4), Yarn.from_hex("B", "#998877", weight_class=3)
    made = Blanket(
        materials=Materials(
            yarns=(one, two),
            gauge=Gauge(stitch_width_cm=0.8, row_height_cm=1.4, basis="swatch"),
            measured=(WeighedRow(grams=60, rows=4, strands=("A", "B")),),
        ),
        design=Design(order=("A", "B"), blend_rows=6, solid_rows=1),
        title="First",
    )
    learned = shelf.learn(made, 8.0, grams=900, width_cm=120, height_cm=150)
    assert learned is not None and learned.classes == (3, 4)
    found = shelf.yours([4, 3], 8.0, "dc")
    assert found == learned and found.gauge == made.materials.gauge
    assert shelf.yours([4, 4], 8.0, "dc") is None and shelf.yours([3, 4], 9.0, "dc") is None
    assert shelf.yours([3, 4], 8.0, "sc") is None
    # The class stands for the yarn: the next blanket's own yarns take the places of those it was learned with.
    assert found.measured_for(["thin", "thick"]) == (
        WeighedRow(grams=60, rows=4, strands=("thick", "thin")),
        OwnBlanket(grams=900, width_cm=120, height_cm=150, strands=("thin", "thick")),
    )
    assert shelf.learn(Blanket(materials=Materials(yarns=(one,)), design=Design(order=("A",))), 8.0) is None


class Counted(RuleBasedStateMachine):
    """Skeins of one yarn: those on the shelf and those used up add up to those put there, whatever is pressed."""

    def __init__(self) -> None:
        super().__init__()
        self.library, _ = open_library(None)
        self.shelf = Shelf(self.library)
        self.key = self.shelf.add(Yarn.from_hex("Slate", "#3f5a6b", lots=(Lot(name="7", skeins=30),)))
        self.blankets = [self.library.add(body(title=str(n)), str(n)) for n in range(3)]
        self.used = dict.fromkeys(self.blankets, 0)
        self.has = dict.fromkeys(self.blankets, 0)
        self.gone = set[int]()

    @rule(n=st.integers(0, 2), skeins=st.integers(1, 12))
    def take(self, n: int, skeins: int) -> None:
        number = self.blankets[n]
        if self.has[number] or number in self.gone or self.used[number]:
            return
        free = 30 - sum(self.used.values()) - sum(h for b, h in self.has.items() if b not in self.gone)
        try:
            with_yarn(self.library, number, self.shelf.take(self.key, number, skeins=skeins))
        except YarnError:
            assert skeins > free
            return
        assert skeins <= free
        self.has[number] = skeins

    @rule(n=st.integers(0, 2))
    def undo(self, n: int) -> None:
        number = self.blankets[n]
        if self.has[number] and not self.used[number]:
            self.library.undo(number, dict)
            self.has[number] = 0

    @rule(n=st.integers(0, 2), left=st.integers(0, 12))
    def done(self, n: int, left: int) -> None:
        number = self.blankets[n]
        if self.has[number] and number not in self.gone and not self.used[number]:
            left = min(left, self.has[number] - 1)
            self.shelf.done(number, {"Slate": (Lot(name="7", skeins=left),)})
            self.used[number] = self.has[number] - left
            self.reopens = {**getattr(self, "reopens", {}), number: self.has[number]}
            self.has[number] = 0

    @rule(n=st.integers(0, 2))
    def reopen(self, n: int) -> None:
        number = self.blankets[n]
        if self.used[number] and number not in self.gone:
            self.shelf.reopen(number)
            self.has[number], self.used[number] = self.reopens[number], 0

    @invariant()
    def every_skein_is_somewhere(self) -> None:
        (one,) = self.shelf.yarns()
        assert one.yarn.skeins_on_hand == 30 - sum(self.used.values())
        # What came back, was promised to others and is wanted again after all is short by itself, and none is free.
        assert sum(lot.skeins for lot in one.free) == max(one.yarn.skeins_on_hand - sum(self.has.values()), 0)


TestCounted = Counted.TestCase
TestCounted.settings = settings(max_examples=30, stateful_step_count=20, deadline=None)

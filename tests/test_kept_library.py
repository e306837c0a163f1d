"""The library keeps every press, whatever happens between two; two hands merge; each released version opens for ever.

The laws are the requirement; SQLite itself is read back with Python's own sqlite3, as any other reader would.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from copy import deepcopy
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from blendplan.edits import Step, edit_between
from blendplan.errors import ProjectError
from blendplan.kept import Library, Shelf, library_at_home, open_library, told_by
from blendplan.kept.file import _STEPS, COPIES, NAME, VERSION, connect, keep_copy
from blendplan.kept.library import _library_of
from blendplan.yarn import Yarn


@pytest.fixture(autouse=True)
def _one_library_a_test() -> Iterator[None]:
    _library_of.cache_clear()
    yield
    _library_of.cache_clear()


FIRST = {
    "title": "Reading-room blanket",
    "materials": {
        "yarns": [{"key": "k1", "name": "Slate", "price": None}, {"key": "k2", "name": "Ochre", "price": None}]
    },
    "design": {
        "stripes": [{"strands": ["k1"], "rows": 4}, {"strands": ["k2"], "rows": 6}, {"strands": ["k1"], "rows": 2}]
    },
    "page": {"crops": [{"yarn": "k1", "picture": "iVBORw0KGgo="}]},
}


def same(entries: dict[str, Any]) -> dict[str, Any]:
    return entries


class Hand:
    """A window with its own view of the blanket."""

    def __init__(self, library: Any, blanket: int, name: str) -> None:
        self.library, self.blanket, self.name = library, blanket, name
        self.view = library.read(blanket, same).now

    def does(self, change: Any) -> Any:
        after = deepcopy(self.view)
        change(after)
        settled = self.library.edit(self.blanket, edit_between(self.view, after), self.name, same)
        self.view = settled.now
        return settled


def two_hands() -> tuple[Hand, Hand]:
    library, _ = open_library(None)
    number = library.add(FIRST, FIRST["title"])
    return Hand(library, number, "desk"), Hand(library, number, "phone")


def test_different_things_merge_in_silence() -> None:
    desk, phone = two_hands()
    desk.does(lambda e: e.update(title="For the bench"))
    desk.does(lambda e: e["design"]["stripes"][0].update(rows=8))
    settled = phone.does(lambda e: e["design"]["stripes"][2].update(rows=3))
    phone.does(lambda e: e["materials"]["yarns"][1].update(price="4.5"))
    assert settled.overruled == ()
    assert phone.view["title"] == "For the bench"
    assert [stripe["rows"] for stripe in phone.view["design"]["stripes"]] == [8, 6, 3]
    assert phone.view["materials"]["yarns"][1]["price"] == "4.5"


def test_stripes_put_in_and_taken_out_by_two_hands_both_stand() -> None:
    desk, phone = two_hands()
    desk.does(lambda e: e["design"]["stripes"].insert(0, {"strands": ["k2"], "rows": 1}))
    settled = phone.does(lambda e: e["design"]["stripes"].pop(2))
    assert settled.overruled == ()
    assert [stripe["rows"] for stripe in phone.view["design"]["stripes"]] == [1, 4, 6]


def test_of_the_same_thing_the_later_press_stands_and_undo_brings_back_the_other_value() -> None:
    desk, phone = two_hands()
    desk.does(lambda e: e.update(title="Desk"))
    settled = phone.does(lambda e: e.update(title="Phone"))
    assert settled.now["title"] == "Phone"
    assert [(past.by, past.edit) for past in settled.overruled] == [
        ("desk", (Step(place=("title",), before=FIRST["title"], after="Desk"),))
    ]
    undone = phone.library.undo(phone.blanket, same)
    assert undone.now["title"] == "Desk"
    assert phone.library.undo(phone.blanket, same).now["title"] == FIRST["title"]
    assert phone.library.redo(phone.blanket, same).now["title"] == "Desk"


def test_an_edit_that_is_refused_changes_nothing() -> None:
    desk, _ = two_hands()

    def refuse(entries: dict[str, Any]) -> dict[str, Any]:
        raise ProjectError("no.")

    after = {**desk.view, "title": "x"}
    with pytest.raises(ProjectError):
        desk.library.edit(desk.blanket, edit_between(desk.view, after), "desk", refuse)
    left = desk.library.read(desk.blanket, same)
    assert left.now == FIRST
    assert not left.can_undo


def test_undo_outlives_the_program(tmp_path: Path) -> None:
    library, _ = open_library(tmp_path)
    desk = Hand(library, library.add(FIRST, "a"), "desk")
    desk.does(lambda e: e.update(title="Second"))
    library.db.close()
    again, said = open_library(tmp_path)
    assert said == ()
    assert again.blankets()[0].title == "Second"
    assert again.undo(desk.blanket, same).now == FIRST
    assert again.redo(desk.blanket, same).now["title"] == "Second"


def test_anybody_with_sqlite3_can_read_it(tmp_path: Path) -> None:
    library, _ = open_library(tmp_path)
    Hand(library, library.add(FIRST, "a"), "desk").does(lambda e: e.update(title="Second"))
    with sqlite3.connect(tmp_path / NAME) as reader:
        assert reader.execute("PRAGMA user_version").fetchone() == (VERSION,)
        assert json.loads(reader.execute("SELECT body FROM blanket").fetchone()[0])["title"] == "Second"
        assert json.loads(reader.execute("SELECT steps FROM edit").fetchone()[0]) == [
            [["title"], FIRST["title"], "Second"]
        ]
        # A crop stands once, however often the blanket is written.
        assert reader.execute("SELECT picture FROM crop").fetchall() == [("iVBORw0KGgo=",)]


# ---- faults


def test_a_newer_library_is_refused_in_one_line_and_left_alone(tmp_path: Path) -> None:
    db = connect(tmp_path / NAME)
    db.execute(f"PRAGMA user_version = {VERSION + 1}")
    db.close()
    before = (tmp_path / NAME).read_bytes()
    with pytest.raises(ProjectError, match="newer"):
        open_library(tmp_path)
    assert (tmp_path / NAME).read_bytes() == before


@pytest.mark.parametrize("harm", ["head", "middle", "cut", "text"])
def test_a_damaged_library_is_laid_aside_and_the_newest_whole_copy_taken(harm: str, tmp_path: Path) -> None:
    library, _ = open_library(tmp_path)
    for n in range(60):
        library.add({**FIRST, "title": f"{n}", "much": "x" * 500}, f"{n}")
    library.db.close()
    for day in range(1, 9):
        with closing(connect(tmp_path / NAME)) as db:
            keep_copy(db, tmp_path, date(2026, 1, day))
    assert len(list(tmp_path.glob("library-2026-*"))) == COPIES
    path = tmp_path / NAME
    data = bytearray(path.read_bytes())
    if harm == "head":
        data[:100] = bytes(100)
    elif harm == "middle":
        data[4096 : len(data) // 2] = os.urandom(len(data) // 2 - 4096)
    elif harm == "cut":
        del data[len(data) // 3 :]
    else:
        data = bytearray(b"this is no library")
    path.write_bytes(data)
    again, said = open_library(tmp_path)
    assert len(again.blankets()) == 60
    assert "laid aside" in str(said[0])
    assert (tmp_path / "library-damaged.sqlite3").read_bytes() == bytes(data)


def test_a_folder_that_cannot_be_written_is_told_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(ProjectError, match="not saved until it can be"):
        open_library(tmp_path / "file")


def test_a_locked_file_is_told_and_nothing_is_changed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("blendplan.kept.file.BUSY_S", 0.05)
    library, _ = open_library(tmp_path)
    number = library.add(FIRST, "a")
    other = sqlite3.connect(tmp_path / NAME, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(ProjectError, match="still here on the page"):
        Hand(library, number, "desk").does(lambda e: e.update(title="x"))
    other.execute("ROLLBACK")
    assert library.read(number, same).now == FIRST


# ---- the list


def test_a_blanket_thrown_away_can_be_brought_back_for_thirty_days(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    library, _ = open_library(tmp_path)
    kept, thrown = library.add(FIRST, "kept"), library.add({**FIRST, "page": {"picture": "b25seSBoZXJl"}}, "thrown")
    library.throw_away(thrown)
    assert [one.id for one in library.blankets()] == [kept] and [one.id for one in library.thrown()] == [thrown]
    assert library.revision(thrown) == 0
    library.close()
    days = {"n": 29}

    class Later(date):
        @classmethod
        def today(cls) -> date:
            return date.fromordinal(date.toordinal(date.fromtimestamp(time.time())) + days["n"])

    monkeypatch.setattr("blendplan.kept.shelter.date", Later)
    library, _ = open_library(tmp_path)
    library.bring_back(thrown)
    assert {one.id for one in library.blankets()} == {kept, thrown}
    library.throw_away(thrown)
    library.close()
    days["n"] = 32
    library, _ = open_library(tmp_path)
    assert library.thrown() == () and [one.id for one in library.blankets()] == [kept]
    # Its crop goes with it, those that others name stay.
    assert library.db.execute("SELECT picture FROM crop").fetchall() == [("iVBORw0KGgo=",)]


def test_copy_rename_state_and_picture() -> None:
    library, _ = open_library(None)
    number = library.add(FIRST, FIRST["title"])
    library.set_picture(number, b"small", 1, 120.5, 150.0)
    twin = library.copy(number, "Second one")
    shown = {one.id: one for one in library.blankets()}
    assert (shown[twin].title, shown[twin].width_cm, shown[twin].pictured) == ("Second one", 120.5, 1)
    assert library.picture(twin) == b"small" and library.picture(twin + 1) is None
    assert library.read(twin, same).now == {**FIRST, "title": "Second one"}
    assert not library.read(twin, same).can_undo
    library.rename(number, "  New\u202e name ", "desk")
    now = {one.id: one for one in library.blankets()}[number]
    assert now.title == "New name" and now.revision == 2 != now.pictured
    assert library.undo(number, same).now == FIRST
    assert library.blankets()[0].state == "planned"
    Hand(library, number, "phone").does(lambda e: e.update(making={"rows_done": 1}))
    assert library.blankets()[0].state == "in work"
    library.mark(number, state="done", put_away=True)
    assert (library.blankets()[0].state, library.blankets()[0].put_away) == ("done", True)
    with pytest.raises(ProjectError, match="no longer in your library"):
        library.mark(number + 1, state="done")
    with pytest.raises(ProjectError, match="at most 400000"):
        library.set_picture(number, bytes(400_001), 1)


def test_work_of_the_old_page_is_taken_over_once(tmp_path: Path) -> None:
    (tmp_path / "autosave").mkdir()
    for n, text in enumerate(['{"title": "old"}', '{"title": "newest"}', "cut sho"], 1):
        (tmp_path / "autosave" / f"r{n:08d}.json").write_text(text, encoding="utf-8")

    def reads(data: bytes) -> dict[str, Any]:
        try:
            return dict(json.loads(data))
        except ValueError:
            raise ProjectError("no.") from None

    for _ in range(2):
        library, _ = open_library(tmp_path)
        library.take_over(reads)
        assert [one.title for one in library.blankets()] == ["newest"]
        library.close()
    assert len(list((tmp_path / "autosave").iterdir())) == 3


# ---- the history


def test_rows_counted_are_one_entry_and_undo_leaves_them_alone() -> None:
    desk, phone = two_hands()
    desk.does(lambda e: e.update(making={"rows_done": 0}))
    desk.does(lambda e: e.update(title="Desk"))
    for n in range(1, 5):
        before = phone.library.read(phone.blanket, same).now
        after = {**before, "making": {"rows_done": n}}
        phone.library.edit(phone.blanket, edit_between(before, after), "phone", same, counted=True)
    past = phone.library.history(phone.blanket)
    assert [(one.hand, len(one.edit)) for one in past] == [("phone", 1), ("desk", 1), ("desk", 1)]
    undone = phone.library.undo(phone.blanket, same, "desk").now
    assert (undone["title"], undone["making"]) == (FIRST["title"], {"rows_done": 4})
    # Counting on leaves open what can be made again.
    after = {**undone, "making": {"rows_done": 5}}
    assert phone.library.edit(phone.blanket, edit_between(undone, after), "phone", same, counted=True).can_redo
    assert phone.library.redo(phone.blanket, same).now["title"] == "Desk"


def test_the_history_has_its_bounds_and_its_newest_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("blendplan.kept.library.MAX_EDITS", 5)
    desk, _ = two_hands()
    for n in range(9):
        desk.does(lambda e, n=n: e.update(title=f"{n}"))
    assert [one.edit[0].after for one in desk.library.history(desk.blanket)] == ["8", "7", "6", "5", "4"]
    monkeypatch.setattr("blendplan.kept.library.MAX_HISTORY", 3000)
    desk.does(lambda e: e.update(note="x" * 2900))
    desk.does(lambda e: e.update(note="y" * 4000))
    assert len(desk.library.history(desk.blanket)) == 1
    assert desk.library.undo(desk.blanket, same).now["note"] == "x" * 2900


def test_what_the_other_hand_did_is_told_and_that_alone_can_be_taken_back() -> None:
    desk, phone = two_hands()
    seen = desk.library.read(desk.blanket, same).revision
    phone.does(lambda e: e["design"]["stripes"][1].update(rows=5))
    desk.does(lambda e: e.update(title="Desk"))
    (past,) = desk.library.meanwhile(desk.blanket, seen, "desk")
    assert told_by(past).text == "The phone made stripe 2 5 rows."
    now = desk.library.undo(desk.blanket, same, "desk", past=past.id).now
    assert now == {**FIRST, "title": "Desk"}
    (back,) = desk.library.meanwhile(desk.blanket, seen, "phone")[-1:]
    assert told_by(back).text == "The desk took a change back."
    assert desk.library.redo(desk.blanket, same, "desk").now["design"]["stripes"][1]["rows"] == 5


@pytest.mark.parametrize(
    ("change", "english", "german"),
    [
        (lambda e: e["design"]["stripes"][1].update(rows=1), "The phone made stripe 2 one row.",
         "Das Handy hat Streifen 2 auf eine Reihe gesetzt."),
        (lambda e: e["design"]["stripes"][0].update(locked=True), "The phone held stripe 1 as it is.",
         "Das Handy hat Streifen 1 festgehalten."),
        (lambda e: e["design"]["stripes"][0].update(strands=["k2"]), "The phone changed stripe 1.",
         "Das Handy hat Streifen 1 geändert."),
        (lambda e: e["design"]["stripes"].pop(), "The phone took stripes out: 2 now.",
         "Das Handy hat Streifen herausgenommen: jetzt 2."),
        (lambda e: e["design"]["stripes"].reverse(), "The phone changed 2 stripes.",
         "Das Handy hat 2 Streifen geändert."),
        (lambda e: e.update(title="Sea"), "The phone set title: Sea.", "Das Handy hat gesetzt: Titel: Sea."),
        (lambda e: e["design"].update(hook_mm=9.0), "The phone set hook: 9.0.",
         "Das Handy hat gesetzt: Häkelnadel: 9.0."),
        (lambda e: e["materials"]["yarns"][0].update(price="4"), "The phone changed price of a skein of k1.",
         "Das Handy hat geändert: Preis eines Knäuels von k1."),
        (lambda e: e["page"].update(crops=[]), "The phone changed the photographs.",
         "Das Handy hat die Fotos geändert."),
        (lambda e: e.update(title="a", making={"rows_done": 2}), "The phone changed 2 things.",
         "Das Handy hat 2 Dinge geändert."),
    ],
)  # fmt: skip
def test_two_hands_are_told_in_a_makers_words(change: Any, english: str, german: str) -> None:
    desk, phone = two_hands()
    phone.does(change)
    (past,) = desk.library.meanwhile(desk.blanket, 1, "desk")
    assert (told_by(past).text, told_by(past).say("de")) == (english, german)


# ---- windows follow each other


def test_a_change_by_another_process_is_seen_at_once(tmp_path: Path) -> None:
    here, _ = open_library(tmp_path)
    number = here.add(FIRST, "a")
    there, _ = open_library(tmp_path)
    before = here.version()
    assert there.version() == before
    Hand(there, number, "phone").does(lambda e: e.update(title="Phone"))
    assert here.version() > before and here.revision(number) == 2
    seen = here.version()
    here.read(number, same)
    here.edit(number, (), "desk", same)
    assert here.version() == seen, "looking changes nothing"


# ---- the disk fails: work goes on in memory, and comes back to the disk


def fill(library: Library, folder: Path) -> Callable[[], None]:
    (pages,) = library.db.execute("PRAGMA page_count").fetchone()
    library.db.execute(f"PRAGMA max_page_count = {pages}")
    library.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return lambda: None


def lock(library: Library, folder: Path) -> Callable[[], None]:
    library.db.execute("PRAGMA busy_timeout = 50")
    other = sqlite3.connect(folder / NAME, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    return lambda: (other.execute("ROLLBACK"), other.close())[0] and None


def forbid(library: Library, folder: Path) -> Callable[[], None]:
    library.db.execute("PRAGMA query_only = 1")
    return lambda: None


def take_away(library: Library, folder: Path) -> Callable[[], None]:
    for path in [*folder.iterdir()]:
        path.unlink()
    return lambda: None


def damage(library: Library, folder: Path) -> Callable[[], None]:
    library.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    library.db.execute("PRAGMA cache_size = 0")
    data = bytearray((folder / NAME).read_bytes())
    data[4096:] = os.urandom(len(data) - 4096)
    (folder / NAME).write_bytes(data)
    return lambda: None


@pytest.mark.parametrize("fault", [fill, lock, forbid, take_away, damage])
def test_work_goes_on_in_memory_and_is_brought_in_when_the_disk_is_back(
    fault: Callable[[Library, Path], Callable[[], None]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BLENDPLAN_HOME", str(tmp_path))
    monkeypatch.setattr("blendplan.kept.shelter.RETRY_S", 0.0)
    library = library_at_home()
    assert library_at_home() is library
    desk = Hand(library, library.add(FIRST, FIRST["title"]), "desk")
    desk.does(lambda e: e.update(title="Before"))
    mended = fault(library, tmp_path)
    monkeypatch.setattr("blendplan.kept.shelter.RETRY_S", 1e9)
    desk.does(lambda e: e.update(title="After", much="x" * 20_000))
    assert library.unsaved is not None
    assert str(library.unsaved.said).startswith("Not saved since ")
    # A phone of the same process sees it, and both go on.
    phone = Hand(library, desk.blanket, "phone")
    assert phone.view["title"] == "After"
    phone.does(lambda e: e["design"]["stripes"][0].update(rows=7))
    new = library.add({**FIRST, "title": "New"}, "New")
    Shelf(library).add(Yarn.from_hex("Slate", "#3f5a6b"))
    phone.does(lambda e: e["design"]["stripes"][1].update(rows=9))
    library.undo(desk.blanket, same, "phone")
    stands = library.read(desk.blanket, same).now
    seen = library.version()
    mended()
    monkeypatch.setattr("blendplan.kept.shelter.RETRY_S", 0.0)
    library._next_try = 0.0
    assert library.version() > seen
    assert library.unsaved is None
    told = [str(news) for news in library.take_news()]
    assert [("laid aside" in one or "was gone" in one) for one in told] == ([True] if fault in (damage,) else [])
    library.close()
    again, _ = open_library(tmp_path)
    assert again.read(desk.blanket, same).now == stands
    assert {one.title for one in again.blankets()} == {"After", "New"}
    assert again.read(new, same).now["title"] == "New"
    assert [one.yarn.name for one in Shelf(again).yarns()] == ["Slate"]
    if fault not in (take_away, damage):
        assert again.redo(desk.blanket, same).now["design"]["stripes"][1]["rows"] == 9
        again.undo(desk.blanket, same)
        again.undo(desk.blanket, same)
        again.undo(desk.blanket, same)
        assert again.undo(desk.blanket, same).now == FIRST


def test_a_newer_or_unusable_library_leaves_the_page_working(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BLENDPLAN_HOME", str(tmp_path))
    db = connect(tmp_path / NAME)
    db.execute(f"PRAGMA user_version = {VERSION + 1}")
    db.close()
    library = library_at_home()
    assert library.unsaved is not None and "newer" in str(library.unsaved.why)
    number = library.add(FIRST, "a")
    assert library.read(number, same).now == FIRST
    _library_of.cache_clear()
    (tmp_path / "file").write_text("x", encoding="utf-8")
    monkeypatch.setenv("BLENDPLAN_HOME", str(tmp_path / "file"))
    assert "cannot be used" in str(library_at_home().unsaved)


def test_a_library_that_cannot_be_written_is_shown_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    library, _ = open_library(tmp_path)
    library.add(FIRST, "a")
    library.close()
    monkeypatch.setenv("BLENDPLAN_HOME", str(tmp_path))
    real = sqlite3.connect

    def forbidden(path: Any, **how: Any) -> Any:
        if how.get("uri") or path == ":memory:":
            return real(path, **how)
        raise sqlite3.OperationalError("attempt to write a readonly database")

    monkeypatch.setattr("sqlite3.connect", forbidden)
    library = library_at_home()
    assert library.unsaved is not None and [one.title for one in library.blankets()] == ["a"]


@pytest.mark.parametrize("version", range(1, VERSION))
def test_every_released_version_opens_with_all_it_held(version: int, tmp_path: Path) -> None:
    """The files of each version are written by its own statements, which never change once released."""
    db = sqlite3.connect(tmp_path / NAME, isolation_level=None)
    for step in range(version):
        for statement in _STEPS[step].split(";"):
            db.execute(statement)
    db.execute(f"PRAGMA user_version = {version}")
    db.execute("INSERT INTO blanket (title, changed, body) VALUES ('a', '2026-01-01', ?)", (json.dumps(FIRST),))
    step = json.dumps([[["title"], "before", FIRST["title"]]])
    gone = json.dumps([[["title"], FIRST["title"], "after"]])
    db.execute("INSERT INTO edit (blanket, made, hand, steps) VALUES (1, '2026', 'x', ?)", (step,))
    db.execute("INSERT INTO edit (blanket, made, hand, steps, state) VALUES (1, '2026', 'x', ?, 'undone')", (gone,))
    db.execute("INSERT INTO edit (blanket, made, hand, steps, state) VALUES (1, '2026', 'x', '[]', 'undone')")
    db.close()
    library, said = open_library(tmp_path)
    assert said == () and [one.title for one in library.blankets()] == ["a"]
    assert library.redo(1, same).now["title"] == "after"
    library.undo(1, same)
    assert library.undo(1, same).now == {**FIRST, "page": {"crops": [{"yarn": "k1", "picture": ""}]}, "title": "before"}
    with closing(sqlite3.connect(tmp_path / f"library-of-version-{version}.sqlite3")) as copy:
        assert copy.execute("PRAGMA user_version").fetchone() == (version,)


# ---- the law, played: two windows, a crash, undo and redo


class TwoWindows(RuleBasedStateMachine):
    """Two hands change what they like; a model in plain Python says what must stand."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.library, _ = open_library(self.folder)
        self.number = self.library.add(FIRST, FIRST["title"])
        self.hands = [Hand(self.library, self.number, name) for name in ("desk", "phone")]
        self.stands = deepcopy(FIRST)
        self.past: list[Any] = []
        self.future: list[Any] = []

    def press(self, who: int, place: tuple[Any, ...], value: Any) -> None:
        hand = self.hands[who]

        def change(entries: Any) -> None:
            for name in place[:-1]:
                entries = entries[name]
            entries[place[-1]] = value

        seen = deepcopy(hand.view)
        change(seen)
        differs = seen != hand.view
        hand.does(change)
        before = deepcopy(self.stands)
        if differs:
            change(self.stands)
        if self.stands != before:
            self.past.append(before)
            self.future = []

    @rule(who=st.integers(0, 1), title=st.sampled_from("abc"))
    def title(self, who: int, title: str) -> None:
        self.press(who, ("title",), title)

    @rule(who=st.integers(0, 1), stripe=st.integers(0, 2), rows=st.integers(1, 9))
    def rows(self, who: int, stripe: int, rows: int) -> None:
        self.press(who, ("design", "stripes", stripe, "rows"), rows)

    @rule(who=st.integers(0, 1), yarn=st.integers(0, 1), name=st.text(max_size=3))
    def name(self, who: int, yarn: int, name: str) -> None:
        self.press(who, ("materials", "yarns", yarn, "name"), name)

    @rule()
    def undo(self) -> None:
        now = self.library.undo(self.number, same).now
        if self.past:
            self.future.append(deepcopy(self.stands))
            self.stands = self.past.pop()
        assert now == self.stands

    @rule()
    def redo(self) -> None:
        now = self.library.redo(self.number, same).now
        if self.future:
            self.past.append(deepcopy(self.stands))
            self.stands = self.future.pop()
        assert now == self.stands

    @rule(who=st.integers(0, 1))
    def look(self, who: int) -> None:
        self.hands[who].view = self.library.read(self.number, same).now

    @rule()
    def crash(self) -> None:
        """What a killed process leaves is the files as they lie; another opens them."""
        left = Path(shutil.copytree(self.folder, tempfile.mkdtemp(), dirs_exist_ok=True))
        self.teardown()
        self.folder = left
        self.library, news = open_library(left)
        assert news == ()
        for hand in self.hands:
            hand.library = self.library

    def teardown(self) -> None:
        self.library.close()
        shutil.rmtree(self.folder)

    @invariant()
    def nothing_is_lost(self) -> None:
        assert self.library.read(self.number, same).now == self.stands


TestTwoWindows = TwoWindows.TestCase
# Each press goes to the disk, which is slow beside other work and no fault.
TestTwoWindows.settings = settings(
    max_examples=20, stateful_step_count=25, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)

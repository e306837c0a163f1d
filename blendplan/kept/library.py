"""Blankets and their edits in the library file: each edit one short transaction, undone and redone out of it.

The file holds what a project file holds, as plain entries, so this module knows little of what a blanket is; who
edits hands in how entries are checked. Two hands on one blanket: an edit is made to what is there now.
"""

from __future__ import annotations

import functools
import hashlib
import json
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Generic, Literal, TypeVar

from blendplan.budgets import MAX_EDITS, MAX_HISTORY, MAX_PICTURE
from blendplan.edits import Edit, Step, make, overruled, value_at
from blendplan.errors import BlendplanError, ProjectError
from blendplan.kept.file import connect, read_aside
from blendplan.kept.shelter import NoBlanketError, Presses, kept, opened, seen
from blendplan.text import clean_text
from blendplan.wording import Notice

T = TypeVar("T")
State = Literal["planned", "in work", "done"]
Check = Callable[[dict[str, Any]], T]


def home_folder() -> Path:
    """Return the folder of the library: `BLENDPLAN_HOME`, or the platform's folder for program data."""
    import os

    import platformdirs

    return Path(os.environ.get("BLENDPLAN_HOME") or platformdirs.user_data_path("blendplan", appauthor=False))


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelved:
    """A blanket as the library lists it; `pictured` is the revision that its small picture shows, 0 for none."""

    id: int
    title: str
    state: State
    put_away: bool
    changed: str  # ISO 8601 in UTC
    revision: int
    pictured: int
    width_cm: float | None
    length_cm: float | None
    thrown: str | None  # when it was thrown away, ISO 8601 in UTC


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """An edit of the history: when and by whose hand it was made, and by whose it was last made or taken back."""

    id: int
    made: str  # ISO 8601 in UTC
    hand: str
    by: str
    state: Literal["done", "undone", "left"]
    revision: int
    edit: Edit


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled(Generic[T]):
    """What stands after an edit: the entries as they were checked, and how often the blanket was changed.

    `overruled` are edits of other hands whose values this edit changed; they stay in the history.
    """

    now: T
    revision: int
    overruled: tuple[Past, ...] = ()
    can_undo: bool = False
    can_redo: bool = False


class Library(Presses):
    """An open library, one for all windows of a process."""

    # ---- blankets

    @seen
    def blankets(self) -> tuple[Shelved, ...]:
        """Return all blankets but those thrown away, the one last changed first."""
        return self._listed("thrown IS NULL")

    @seen
    def thrown(self) -> tuple[Shelved, ...]:
        """Return the blankets that can still be brought back."""
        return self._listed("thrown IS NOT NULL")

    def _listed(self, which: str) -> tuple[Shelved, ...]:
        names = "id, title, state, put_away, changed, revision, pictured, width_cm, length_cm, thrown"
        rows = self.db.execute(
            f"SELECT {names} FROM blanket WHERE {which} ORDER BY changed DESC, id DESC"  # noqa: S608 - our own words
        )
        listed = (Shelved(**dict(zip(names.split(", "), row, strict=True))) for row in rows)
        return tuple(replace(one, put_away=bool(one.put_away)) for one in listed)

    def add(self, entries: dict[str, Any], title: str) -> int:
        """Keep a blanket, given as a project file's entries; return its number."""
        number = _fresh()
        self._insert(number, entries, title)
        return number

    @kept
    def begin(self, entries: dict[str, Any], title: str) -> None:
        """Keep a first blanket where there is none; of several windows that begin at once, one does."""
        if not self.db.execute("SELECT 1 FROM blanket WHERE thrown IS NULL LIMIT 1").fetchone():
            self._insert(_fresh(), entries, title)

    @kept
    def _insert(self, number: int, entries: dict[str, Any], title: str) -> None:
        body = _text(self._without_pictures(entries))
        self.db.execute(
            "INSERT INTO blanket (id, title, changed, body, state) VALUES (?, ?, ?, ?, ?)",
            (number, clean_text(title, "title"), self.now(), body, "in work" if _begun(entries) else "planned"),
        )
        self.last[number] = body

    def copy(self, blanket: int, title: str) -> int:
        """Keep a blanket once more under another title, with its picture, without its history and promises."""
        number = _fresh()
        self._copy(number, blanket, title)
        return number

    @kept
    def _copy(self, number: int, blanket: int, title: str) -> None:
        entries, _ = self._entries(blanket)
        self._insert(number, {**entries, "title": clean_text(title, "title")}, title)
        self.db.execute(
            "UPDATE blanket SET (picture, pictured, width_cm, length_cm) = (SELECT picture, CASE WHEN pictured = "
            "revision THEN 1 ELSE 0 END, width_cm, length_cm FROM blanket WHERE id = ?) WHERE id = ?",
            (blanket, number),
        )

    def rename(self, blanket: int, title: str, hand: str) -> None:
        """Give a blanket another title, as an edit like any other."""
        step = Step(place=("title",), before=None, after=clean_text(title, "title", 120))
        self.edit(blanket, (step,), hand, dict)

    @kept
    def mark(self, blanket: int, *, state: State | None = None, put_away: bool | None = None) -> None:
        """Say where a blanket stands, or put it away."""
        self.body_of(blanket)
        if state is not None:
            self.db.execute("UPDATE blanket SET state = ? WHERE id = ?", (state, blanket))
        if put_away is not None:
            self.db.execute("UPDATE blanket SET put_away = ? WHERE id = ?", (put_away, blanket))

    @kept
    def throw_away(self, blanket: int) -> None:
        """Take a blanket off the list; it can be brought back for `file.THROWN_DAYS` days."""
        self.body_of(blanket)
        self.db.execute("UPDATE blanket SET thrown = ? WHERE id = ? AND thrown IS NULL", (self.now(), blanket))

    @kept
    def bring_back(self, blanket: int) -> None:
        """Bring back a blanket that was thrown away."""
        self.body_of(blanket)
        self.db.execute("UPDATE blanket SET thrown = NULL WHERE id = ?", (blanket,))

    @kept
    def set_picture(
        self,
        blanket: int,
        picture: bytes,
        revision: int,
        width_cm: float | None = None,
        length_cm: float | None = None,
    ) -> None:
        """Keep a small picture of a blanket as it stood at a revision, and how large it comes out."""
        if len(picture) > MAX_PICTURE:
            raise ProjectError(
                "a picture of {given} bytes was given; allowed is at most {allowed}; draw it smaller.",
                given=len(picture),
                allowed=MAX_PICTURE,
            )
        self.db.execute(
            "UPDATE blanket SET picture = ?, pictured = ?, width_cm = ?, length_cm = ? WHERE id = ?",
            (picture, revision, width_cm, length_cm, blanket),
        )

    @seen
    def picture(self, blanket: int) -> bytes | None:
        """Return the small picture of a blanket."""
        found = self.db.execute("SELECT picture FROM blanket WHERE id = ?", (blanket,)).fetchone()
        return found[0] if found else None

    @seen
    def read(self, blanket: int, check: Check[T]) -> Settled[T]:
        """Return a blanket as it stands.

        Raises
        ------
        ProjectError
            If there is none, or as `check` refuses.
        """
        entries, revision = self._entries(blanket)
        return self._settled(blanket, check(entries), revision)

    @seen
    def revision(self, blanket: int) -> int:
        """Return how often a blanket was changed; 0 where it is not in the library."""
        found = self.db.execute("SELECT revision FROM blanket WHERE id = ? AND thrown IS NULL", (blanket,)).fetchone()
        return int(found[0]) if found else 0

    # ---- edits

    @kept
    def edit(self, blanket: int, edit: Edit, hand: str, check: Check[T], *, counted: bool = False) -> Settled[T]:
        """Make an edit to a blanket as it stands now, whoever changed it meanwhile.

        Parameters
        ----------
        blanket : int
        edit : Edit
            As `blendplan.edits.edit_between` reads it off two states of the entries.
        hand : str
            Whose edit it is: one name for each window or phone, such as "phone-3fa2".
        check : callable
            Makes of a project file's entries what is handed back, or refuses; then nothing is changed.
        counted : bool
            True for rows counted beside the work, which undo leaves alone.
        """
        entries, revision = self._entries(blanket)
        made = make(entries, edit)
        now = check(made)
        if made == entries:
            return self._settled(blanket, now, revision)
        others = self._others(blanket, overruled(entries, edit), hand)
        # What really stood there and stands now, so that undo brings back another hand's value too.
        real = tuple(
            replace(step, before=value_at(entries, step.place), after=value_at(made, step.place)) for step in edit
        )
        if not counted:
            self.db.execute("UPDATE edit SET state = 'left' WHERE blanket = ? AND state = 'undone'", (blanket,))
        self._note(blanket, real, hand, revision + 1, counted)
        self._put(blanket, made, revision)
        return self._settled(blanket, now, revision + 1, others)

    def undo(self, blanket: int, check: Check[T], hand: str = "", past: int | None = None) -> Settled[T]:
        """Take the last edit back, or one of the history; without effect where there is none."""
        return self._step(blanket, check, hand, past, back=True)

    def redo(self, blanket: int, check: Check[T], hand: str = "") -> Settled[T]:
        """Make the edit again that was taken back last; without effect where there is none."""
        return self._step(blanket, check, hand, None, back=False)

    @kept
    def _step(self, blanket: int, check: Check[T], hand: str, past: int | None, *, back: bool) -> Settled[T]:
        found = self.db.execute(
            "SELECT id, steps FROM edit WHERE blanket = ?1 AND state = ?2 AND (id = ?3 OR ?3 IS NULL AND counted = 0) "
            "ORDER BY CASE WHEN state = 'done' THEN id ELSE revision END DESC, id LIMIT 1",
            (blanket, "done" if back else "undone", past),
        ).fetchone()
        entries, revision = self._entries(blanket)
        if found is None:
            return self._settled(blanket, check(entries), revision)
        made = make(entries, self._steps(found[1]), back=back)
        now = check(made)
        self.db.execute(
            "UPDATE edit SET state = ?, by = ?, revision = ? WHERE id = ?",
            ("undone" if back else "done", hand, revision + 1, found[0]),
        )
        self._put(blanket, made, revision)
        return self._settled(blanket, now, revision + 1)

    @seen
    def history(self, blanket: int, most: int = 50) -> tuple[Past, ...]:
        """Return the edits of a blanket, the newest first."""
        return self._pasts("blanket = ? ORDER BY id DESC LIMIT ?", (blanket, most))

    @seen
    def meanwhile(self, blanket: int, revision: int, hand: str) -> tuple[Past, ...]:
        """Return what other hands did since a revision, the oldest first; at most fifty."""
        return self._pasts(
            "blanket = ? AND revision > ? AND by != ? ORDER BY revision LIMIT 50", (blanket, revision, hand)
        )

    def _pasts(self, which: str, values: tuple[Any, ...]) -> tuple[Past, ...]:
        rows = self.db.execute(
            f"SELECT id, made, hand, by, state, revision, steps FROM edit WHERE {which}",  # noqa: S608 - our own words
            values,
        ).fetchall()
        return tuple(
            Past(id=i, made=m, hand=h, by=b, state=s, revision=r, edit=self._steps(steps))
            for i, m, h, b, s, r, steps in rows
        )

    def _others(self, blanket: int, lost: Edit, hand: str) -> tuple[Past, ...]:
        """Return the edits by which other hands set the values that are lost, each with these values alone."""
        if not lost:
            return ()
        recent = self._pasts("blanket = ? AND by != ? AND state = 'done' ORDER BY id DESC LIMIT 50", (blanket, hand))
        found = []
        for past in recent:
            mine = [step for step in lost if any(_within(step.place, theirs.place) for theirs in past.edit)]
            lost = tuple(step for step in lost if step not in mine)
            found += (
                [replace(past, edit=tuple(s for s in past.edit if any(_within(m.place, s.place) for m in mine)))]
                if mine
                else []
            )
        return tuple(found)

    def _note(self, blanket: int, edit: Edit, hand: str, revision: int, counted: bool) -> None:
        """Write an edit into the history; rows counted one after the other are one entry."""
        steps = _text([[s.place, s.before, s.after] for s in self._thin(edit)])
        if counted:
            last = self.db.execute(
                "SELECT id, steps, counted, by FROM edit WHERE blanket = ? ORDER BY id DESC LIMIT 1", (blanket,)
            ).fetchone()
            if last and last[2] and last[3] == hand:
                then = {step.place: step for step in self._steps(last[1])}
                if [step.place for step in edit] == list(then):
                    joined = tuple(replace(step, before=then[step.place].before) for step in edit)
                    steps = _text([[s.place, s.before, s.after] for s in self._thin(joined)])
                    self.db.execute("DELETE FROM edit WHERE id = ?", (last[0],))
        self.db.execute(
            "INSERT INTO edit (blanket, made, hand, by, steps, bytes, revision, counted) VALUES (?,?,?,?,?,?,?,?)",
            (blanket, self.now(), hand, hand, steps, len(steps), revision, counted),
        )
        self.db.execute(
            "DELETE FROM edit WHERE blanket = ?1 AND id <= (SELECT id FROM (SELECT id, row_number() OVER last AS n, "
            "sum(bytes) OVER last AS total FROM edit WHERE blanket = ?1 WINDOW last AS (ORDER BY id DESC)) "
            "WHERE n > ?2 OR (total > ?3 AND n > 1) ORDER BY id DESC LIMIT 1)",
            (blanket, MAX_EDITS, MAX_HISTORY),
        )

    def _steps(self, text: str) -> Edit:
        return tuple(
            Step(place=tuple(place), before=self._full(before), after=self._full(after))
            for place, before, after in json.loads(text)
        )

    def _put(self, blanket: int, entries: dict[str, Any], revision: int) -> None:
        body = _text(self._without_pictures(entries))
        self.db.execute(
            "UPDATE blanket SET body = ?, title = ?, changed = ?, revision = ?, "
            "state = CASE WHEN state = 'planned' AND ? THEN 'in work' ELSE state END WHERE id = ?",
            (body, clean_text(entries.get("title", ""), "title"), self.now(), revision + 1, _begun(entries), blanket),
        )
        self.last[blanket] = body

    def _settled(self, blanket: int, now: T, revision: int, others: tuple[Past, ...] = ()) -> Settled[T]:
        rows = self.db.execute(
            "SELECT state, count(*) FROM edit WHERE blanket = ? AND counted = 0 GROUP BY state", (blanket,)
        )
        states = dict(rows.fetchall())
        return Settled(
            now=now,
            revision=revision,
            overruled=others,
            can_undo=bool(states.get("done")),
            can_redo=bool(states.get("undone")),
        )

    def body_of(self, blanket: int) -> tuple[str, int]:
        """Return a blanket's entries as they stand in the file, crops by digest, and its revision."""
        found = self.db.execute("SELECT body, revision FROM blanket WHERE id = ?", (blanket,)).fetchone()
        if found is None:
            raise NoBlanketError("this blanket is no longer in your library; open another, or save this one as a file.")
        return str(found[0]), int(found[1])

    def _entries(self, blanket: int) -> tuple[dict[str, Any], int]:
        body, revision = self.body_of(blanket)
        self.last[blanket] = body
        entries: dict[str, Any] = self._full(json.loads(body))
        return entries, revision

    # ---- crops: each stands once, under the digest of its text

    def _without_pictures(self, value: Any) -> Any:
        """Return entries with each crop named by its digest; what it names is kept."""
        if isinstance(value, dict):
            return {
                name: self._kept_picture(inner)
                if name == "picture" and isinstance(inner, str)
                else self._without_pictures(inner)
                for name, inner in value.items()
            }
        return [self._without_pictures(inner) for inner in value] if isinstance(value, (list, tuple)) else value

    def _kept_picture(self, text: str) -> str:
        if not text:
            return text
        name = hashlib.sha256(text.encode()).hexdigest()
        self.db.execute("INSERT OR IGNORE INTO crop (name, picture) VALUES (?, ?)", (name, text))
        return name

    def _full(self, value: Any) -> Any:
        if isinstance(value, dict):
            return {
                name: self._crop(inner) if name == "picture" and isinstance(inner, str) else self._full(inner)
                for name, inner in value.items()
            }
        return [self._full(inner) for inner in value] if isinstance(value, list) else value

    def _crop(self, name: str) -> str:
        found = self.db.execute("SELECT picture FROM crop WHERE name = ?", (name,)).fetchone()
        return str(found[0]) if found else ""

    def _thin(self, edit: Edit) -> Edit:
        return tuple(
            replace(step, before=self._without_pictures(step.before), after=self._without_pictures(step.after))
            for step in edit
        )

    # ---- what is remembered beside the blankets

    @seen
    def said(self, name: str) -> str | None:
        """Return what was remembered under a name."""
        found = self.db.execute("SELECT value FROM said WHERE name = ?", (name,)).fetchone()
        return str(found[0]) if found else None

    @kept
    def say(self, name: str, value: str) -> None:
        """Remember a text under a name."""
        self.db.execute("INSERT OR REPLACE INTO said (name, value) VALUES (?, ?)", (name, value))

    def take_over(self, reads: Callable[[bytes], dict[str, Any]]) -> None:
        """Keep once, as a blanket, the newest work that can be read of what pages of before saved by themselves.

        They wrote version by version (`autosave/r00000001.json`) into the library's folder, which is left as it is.
        """
        if self.folder is None or self.said("autosave") is not None:
            return
        for path in sorted(self.folder.glob("autosave/r" + "[0-9]" * 8 + ".json"), reverse=True):
            try:
                entries = reads(path.read_bytes())
            except (BlendplanError, OSError):
                continue
            self._take(entries)
            return
        self._take(None)

    @kept
    def _take(self, entries: dict[str, Any] | None) -> None:
        if self.said("autosave") is None:
            if entries is not None:
                self.add(entries, str(entries.get("title", "")))
            self.say("autosave", "taken over")


def _within(place: tuple[str, ...], other: tuple[str, ...]) -> bool:
    """Return whether one of two places stands inside the other, or both are one."""
    n = min(len(place), len(other))
    return place[:n] == other[:n]


def _begun(entries: dict[str, Any]) -> bool:
    making = entries.get("making")
    return isinstance(making, dict) and bool(making.get("rows_done"))


def _fresh() -> int:
    # Drawn, not counted: two libraries that part for a while give no number twice.
    return secrets.randbits(40) + 1


def _text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=True, separators=(",", ":"), allow_nan=False)


def open_library(folder: Path | None) -> tuple[Library, tuple[Notice, ...]]:
    """Open the library of a folder, or one in memory alone where there is none.

    Raises
    ------
    ProjectError
        If it cannot be used, in one line.
    """
    if folder is None:
        return Library(connect(":memory:"), None), ()
    db, news = opened(folder)
    return Library(db, folder, goes_on=False), news


@functools.cache
def _library_of(folder: Path) -> Library:
    try:
        db, news = opened(folder)
    except BlendplanError as error:
        library = Library(read_aside(folder), folder)
        library.shelter(error)
        return library
    return Library(db, folder, news=news)


def library_at_home() -> Library:
    """Return the library of this process; where its file cannot be used, it goes on in memory and says so."""
    with _OPENING:
        return _library_of(home_folder())


_OPENING = threading.Lock()

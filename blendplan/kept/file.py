"""The library file: SQLite as Python ships it, opened, brought up to date, checked, and copied once a day.

Anybody with `sqlite3` can read it: the tables are blankets, edits (each with what it names, the value before and the
value after), crops of photographs, the yarn shelf with what blankets took from it, and what was learned of the maker's
hands; values are JSON as in a project file.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from datetime import date, timedelta
from pathlib import Path

from blendplan.errors import ProjectError
from blendplan.files import alive
from blendplan.wording import Notice, note

NAME = "library.sqlite3"
COPIES = 5
# What was thrown away can be brought back for so long.
THROWN_DAYS = 30
# A press waits this long for another window's press before it is told that the file is locked (assumed).
BUSY_S = 4.0

# One text a released version: what it adds to the one before. Never changed once released.
_STEPS = (
    """
    CREATE TABLE blanket (
        id INTEGER PRIMARY KEY, title TEXT NOT NULL, state TEXT NOT NULL DEFAULT 'planned'
            CHECK (state IN ('planned', 'in work', 'done')),
        put_away INTEGER NOT NULL DEFAULT 0, changed TEXT NOT NULL, revision INTEGER NOT NULL DEFAULT 1,
        body TEXT NOT NULL, picture BLOB);
    CREATE TABLE edit (
        id INTEGER PRIMARY KEY AUTOINCREMENT, blanket INTEGER NOT NULL REFERENCES blanket ON DELETE CASCADE,
        made TEXT NOT NULL, hand TEXT NOT NULL, state TEXT NOT NULL DEFAULT 'done'
            CHECK (state IN ('done', 'undone', 'left')),
        steps TEXT NOT NULL);
    CREATE INDEX edit_of ON edit (blanket, state, id);
    CREATE TABLE crop (name TEXT PRIMARY KEY, picture TEXT NOT NULL) WITHOUT ROWID;
    CREATE TABLE yarn (key TEXT PRIMARY KEY, place INTEGER NOT NULL, body TEXT NOT NULL);
    CREATE TABLE said (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
    """,
    # `revision` and `by`: where the blanket stood after the edit was made or taken back, and whose hand did that;
    # `counted`: rows counted beside the work; `aside`: whether the blanket's lots are promised; `booked`: its rest.
    """
    ALTER TABLE blanket ADD COLUMN thrown TEXT;
    ALTER TABLE blanket ADD COLUMN pictured INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE blanket ADD COLUMN width_cm REAL;
    ALTER TABLE blanket ADD COLUMN length_cm REAL;
    ALTER TABLE edit ADD COLUMN counted INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE edit ADD COLUMN revision INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE edit ADD COLUMN by TEXT NOT NULL DEFAULT '';
    ALTER TABLE edit ADD COLUMN bytes INTEGER NOT NULL DEFAULT 0;
    UPDATE edit SET by = hand, bytes = length(steps);
    CREATE INDEX edit_size ON edit (blanket, id, bytes);
    ALTER TABLE yarn ADD COLUMN thrown TEXT;
    CREATE TABLE tie (
        blanket INTEGER NOT NULL REFERENCES blanket ON DELETE CASCADE, yarn TEXT NOT NULL,
        shelf TEXT NOT NULL REFERENCES yarn ON DELETE CASCADE, aside INTEGER NOT NULL DEFAULT 1, booked TEXT,
        PRIMARY KEY (blanket, yarn)) WITHOUT ROWID;
    CREATE TABLE hand (id INTEGER PRIMARY KEY, learned TEXT NOT NULL, body TEXT NOT NULL);
    INSERT OR REPLACE INTO said (name, value) VALUES ('version', '1');
    """,
)
VERSION = len(_STEPS)


def _version(db: sqlite3.Connection) -> int:
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def _refuse_newer(db: sqlite3.Connection) -> None:
    version = _version(db)
    if version > VERSION:
        raise ProjectError(
            "your library is of version {given}; this program knows up to {allowed}; install a newer blendplan.",
            given=version,
            allowed=VERSION,
        )


def connect(path: Path | str, busy_s: float | None = None) -> sqlite3.Connection:
    """Return a connection to a file, or to memory alone (`":memory:"`), brought up to date.

    Raises
    ------
    ProjectError
        If the file is of a newer version.
    sqlite3.Error
        If it cannot be opened, read or written.
    """
    wait_s = BUSY_S if busy_s is None else busy_s
    db = sqlite3.connect(path, timeout=wait_s, isolation_level=None, check_same_thread=False)
    try:
        _refuse_newer(db)
        db.execute("PRAGMA journal_mode = WAL")
        # A press that was told of outlives a fall of the power too; it costs a press some milliseconds.
        db.execute("PRAGMA synchronous = FULL")
        db.execute("PRAGMA foreign_keys = ON")
        while _version(db) != VERSION:
            _bring_up(db, path)
    except BaseException:
        db.close()
        raise
    return db


def _bring_up(db: sqlite3.Connection, path: Path | str) -> None:
    """Bring a file one version up, in one transaction; another process may do the same meanwhile."""
    _refuse_newer(db)
    version = _version(db)
    if version and isinstance(path, Path):
        _copied(db, path.with_name(f"library-of-version-{version}.sqlite3"), anew=False)
    db.execute("BEGIN IMMEDIATE")
    try:
        if _version(db) == version:
            for statement in _STEPS[version].split(";"):
                db.execute(statement)
            db.execute(f"PRAGMA user_version = {version + 1}")
        db.execute("COMMIT")
    except BaseException:
        with contextlib.suppress(sqlite3.Error):
            db.execute("ROLLBACK")
        raise


def whole(db: sqlite3.Connection) -> bool:
    """Return whether a file's pages and rows fit together."""
    try:
        return bool(db.execute("PRAGMA quick_check(1)").fetchone()[0] == "ok")
    except sqlite3.DatabaseError:
        return False


def copies(folder: Path) -> list[Path]:
    """Return the daily copies of the library, the newest first."""
    return sorted(folder.glob("library-[0-9]*.sqlite3"), reverse=True)


def open_file(folder: Path, busy_s: float | None = None) -> tuple[sqlite3.Connection, tuple[Notice, ...]]:
    """Open the library of a folder, made where missing; a damaged one is laid aside and the newest copy taken.

    Raises
    ------
    ProjectError
        If the file is of a newer version.
    OSError, sqlite3.Error
        If the folder or the file cannot be used.
    """
    folder.mkdir(parents=True, exist_ok=True)
    _clear(folder)
    path, said = folder / NAME, list[Notice]()
    db = None
    if path.exists() or not copies(folder):
        try:
            db = connect(path, busy_s)
        except sqlite3.OperationalError:
            # Locked, forbidden, no space: the file itself may be well.
            raise
        except sqlite3.DatabaseError:
            pass
        if db is not None and not whole(db):
            db.close()
            db = None
    if db is None:
        said.append(_mended(folder))
        db = connect(path, busy_s)
    return db, tuple(said)


def _clear(folder: Path) -> None:
    """Take away what a killed run left behind."""
    for left in folder.glob("library-*.part*"):
        if not alive(left.name.partition(".part")[0].rpartition(".")[2]):
            left.unlink(missing_ok=True)


def _mended(folder: Path) -> Notice:
    """Lay a damaged library aside and put the newest copy that is whole into its place; return what is to be said.

    The copy is made ready beside; where this is cut short the next opening finds the damaged file, or none and does
    the same again.
    """
    taken = None
    for copy in copies(folder):
        with contextlib.suppress(sqlite3.DatabaseError), contextlib.closing(sqlite3.connect(copy)) as source:
            if whole(source):
                taken = _copied(source, folder / NAME.replace(".", "-mended.", 1), anew=True)
                break
    aside, n = folder / "library-damaged.sqlite3", 2
    while aside.exists():
        aside, n = folder / f"library-damaged-{n}.sqlite3", n + 1
    for ending in ("", "-wal", "-shm"):
        with contextlib.suppress(FileNotFoundError):
            (folder / f"{NAME}{ending}").replace(aside.with_name(aside.name + ending))
    if taken is None:
        return note(
            "your library was damaged and is laid aside as {file}; a new one was begun.", "warning", file=aside.name
        )
    taken.replace(folder / NAME)
    day = copy.stem.removeprefix("library-")
    if not aside.exists():
        return note("your library file was gone; the copy of {day} was opened.", "warning", day=day)
    return note(
        "your library was damaged and is laid aside as {file}; the copy of {day} was opened.",
        "warning",
        file=aside.name,
        day=day,
    )


def _copied(db: sqlite3.Connection, target: Path, *, anew: bool) -> Path:
    """Copy a library into a file, whole or not at all."""
    if target.exists() and not anew:
        return target
    part = target.with_name(f"{target.stem}.{os.getpid()}.part")
    try:
        part.unlink(missing_ok=True)
        db.execute("VACUUM INTO ?", (str(part),))
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
    return target


def keep_copy(db: sqlite3.Connection, folder: Path, today: date) -> None:
    """Keep one copy a day, as it was when it was last opened on that day; a few in all, none of an empty library."""
    if not db.execute("SELECT 1 FROM blanket UNION SELECT 1 FROM yarn LIMIT 1").fetchone():
        return
    _copied(db, folder / f"library-{today.isoformat()}.sqlite3", anew=True)
    for old in copies(folder)[COPIES:]:
        old.unlink(missing_ok=True)


def forget_thrown(db: sqlite3.Connection, today: date) -> None:
    """Forget what was thrown away long ago, and the crops that nothing names any more."""
    since = ((today - timedelta(days=THROWN_DAYS)).isoformat(),)
    gone = db.execute("DELETE FROM blanket WHERE thrown < ?", since).rowcount
    gone += db.execute("DELETE FROM yarn WHERE thrown < ?", since).rowcount
    if gone:
        db.execute(
            "DELETE FROM crop WHERE NOT EXISTS (SELECT 1 FROM blanket WHERE instr(body, crop.name)) "
            "AND NOT EXISTS (SELECT 1 FROM edit WHERE instr(steps, crop.name)) "
            "AND NOT EXISTS (SELECT 1 FROM yarn WHERE instr(body, crop.name))"
        )


def read_aside(folder: Path) -> sqlite3.Connection:
    """Return what can be read of a library that cannot be written, in memory; empty where nothing can."""
    memory = connect(":memory:")
    for how in ("mode=ro", "immutable=1"):
        with (
            contextlib.suppress(sqlite3.Error, OSError),
            contextlib.closing(
                sqlite3.connect(f"{(folder.resolve() / NAME).as_uri()}?{how}", uri=True, timeout=0.2)
            ) as db,
        ):
            if _version(db) <= VERSION and whole(db):
                db.backup(memory)
                while _version(memory) != VERSION:
                    _bring_up(memory, ":memory:")
                memory.execute("PRAGMA foreign_keys = ON")
                break
    return memory

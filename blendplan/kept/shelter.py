"""Every press is one transaction; where the disk cannot take it, work goes on in memory until the disk is back.

What is done meanwhile waits as calls and is done again, in its order, to what stands on the disk then.
"""

from __future__ import annotations

import contextlib
import functools
import sqlite3
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, TypeVar

from blendplan.errors import BlendplanError, NotKeptError, ProjectError
from blendplan.kept.file import NAME, connect, forget_thrown, keep_copy, open_file, whole
from blendplan.wording import Notice, note

R = TypeVar("R")
F = TypeVar("F", bound=Callable[..., Any])
# The disk is tried again so often, and waited for so long then, so that nobody's press is held up (assumed).
RETRY_S, RETRY_BUSY_S = 3.0, 0.1


class NoBlanketError(ProjectError):
    """A blanket that is not in the library."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unsaved:
    """Since when (local time) and why the disk does not take what is done."""

    since: datetime
    why: BlendplanError

    @property
    def said(self) -> Notice:
        """The line that stands in the bar."""
        since = f"{self.since:%H:%M}"
        return note("Not saved since {time}, trying: {problem}", "warning", time=since, problem=self.why)


def kept(act: F) -> F:
    """Make a method one press: all of it is kept, or nothing; inside another press it is part of that one."""

    @functools.wraps(act)
    def press(self: Presses, *args: Any, **kwargs: Any) -> Any:
        return self.pressed(functools.partial(act, self, *args, **kwargs))

    return press  # type: ignore[return-value]


def seen(act: F) -> F:
    """Make a method one look: what it reads all stood there at one moment."""

    @functools.wraps(act)
    def look(self: Presses, *args: Any, **kwargs: Any) -> Any:
        return self.looked(functools.partial(act, self, *args, **kwargs))

    return look  # type: ignore[return-value]


class Presses:
    """A library file, or memory, and what is waiting for the disk.

    Parameters
    ----------
    db : sqlite3.Connection
        One connection serves all windows of a process, one after the other.
    folder : Path or None
        None where it stands in memory alone, for good.
    goes_on : bool
        Whether work goes on in memory where the disk fails; else `NotKeptError` is raised.
    """

    def __init__(
        self, db: sqlite3.Connection, folder: Path | None, *, news: tuple[Notice, ...] = (), goes_on: bool = True
    ) -> None:
        self.db, self.folder, self.goes_on = db, folder, goes_on
        self.lock = threading.RLock()
        self.unsaved: Unsaved | None = None
        # The body of each blanket in hand as it was last seen: all there is of it where a file is damaged under way.
        self.last: dict[int, str] = {}
        self._waiting: list[tuple[str, Callable[[], Any]]] = []
        self._news = list(news)
        self._at = ""
        self._next_try = 0.0
        self._day: date | None = None

    @property
    def path(self) -> Path | None:
        """The file, None where it stands in memory alone."""
        return None if self.folder is None else self.folder / NAME

    def there(self) -> bool:
        """Return whether the file is where it was opened; what is written to one taken away is lost."""
        return self.folder is None or self.unsaved is not None or (self.folder / NAME).exists()

    def now(self) -> str:
        """Return the time of the press under way, ISO 8601 in UTC."""
        return self._at or datetime.now(UTC).isoformat(timespec="milliseconds")

    def version(self) -> int:
        """Return a number that grows with every change by anybody, also by another process."""
        with self.lock:
            self._try_again()
            return self.looked(self._version)

    def _version(self) -> int:
        return int(self.db.execute("SELECT value FROM said WHERE name = 'version'").fetchone()[0])

    def take_news(self) -> tuple[Notice, ...]:
        """Return what is to be told once."""
        with self.lock:
            told, self._news = tuple(self._news), []
        return told

    def close(self) -> None:
        """Close the file."""
        with self.lock:
            self.db.close()

    def pressed(self, act: Callable[[], R]) -> R:
        """Do something in one transaction."""
        with self.lock:
            if self.db.in_transaction:
                return act()
            self._try_again()
            try:
                return self._done(act)
            except sqlite3.Error as error:
                self._go_on(error)
            return self._done(act)

    def looked(self, act: Callable[[], R]) -> R:
        """Read something as it stood at one moment."""
        with self.lock:
            if self.db.in_transaction:
                return act()
            try:
                return self._transaction("BEGIN", act)
            except sqlite3.Error as error:
                self._go_on(error)
            return self._transaction("BEGIN", act)

    def _done(self, act: Callable[[], R]) -> R:
        def whole() -> R:
            before = self.db.total_changes
            result = act()
            if self.db.total_changes != before:
                self.db.execute("UPDATE said SET value = value + 1 WHERE name = 'version'")
            return result

        self._keep_copy()
        result = self._transaction("BEGIN IMMEDIATE", whole)
        if self.unsaved:
            self._waiting.append((self.now(), act))
        return result

    def _transaction(self, begin: str, act: Callable[[], R]) -> R:
        if not self.there():
            raise sqlite3.OperationalError("the file is gone")
        self.db.execute(begin)
        try:
            result = act()
            self.db.execute("COMMIT")
        except BaseException:
            with contextlib.suppress(sqlite3.Error):
                self.db.execute("ROLLBACK")
            raise
        return result

    def _keep_copy(self) -> None:
        """Keep today's copy before the first press of a day."""
        if self.folder is None or self.unsaved or self._day == date.today():
            return
        self._day = date.today()
        with contextlib.suppress(OSError, sqlite3.Error):
            keep_copy(self.db, self.folder, self._day)

    # ---- while the disk fails

    def _go_on(self, error: sqlite3.Error) -> None:
        """Take what can be read of the file into memory and go on there, or refuse."""
        if self.folder is None or self.unsaved or not self.goes_on:
            raise NotKeptError(
                "your work could not be kept in the library ({reason}); it is still here on the page: "
                "download the project file, then free some space.",
                reason=str(error),
            ) from None
        memory = _salvaged(self.db)
        with contextlib.suppress(sqlite3.Error):
            self.db.close()
        self.db = memory
        for number, body in self.last.items():
            memory.execute(
                "INSERT OR IGNORE INTO blanket (id, title, changed, body) VALUES (?, '', ?, ?)",
                (number, self.now(), body),
            )
        self._mark(unusable(self.folder, error))

    def shelter(self, why: BlendplanError) -> None:
        """Begin in memory, with what can be read of a file that cannot be used."""
        self._mark(why)

    def _mark(self, why: BlendplanError) -> None:
        self.unsaved = Unsaved(since=datetime.now().astimezone(), why=why)
        self._next_try = time.monotonic() + RETRY_S

    def _try_again(self) -> None:
        """Go back to the disk where it can be used again."""
        if self.folder is None or self.unsaved is None or time.monotonic() < self._next_try:
            return
        self._next_try = time.monotonic() + RETRY_S
        try:
            db, news = open_file(self.folder, RETRY_BUSY_S)
        except (OSError, sqlite3.Error, BlendplanError) as error:
            self.unsaved = replace(self.unsaved, why=unusable(self.folder, error))
            return
        memory, self.db = self.db, db
        told = len(self._news)
        try:
            self._transaction("BEGIN IMMEDIATE", lambda: self._bring_in(memory, anew=bool(news)))
        except sqlite3.Error as error:
            self.db = memory
            del self._news[told:]
            self.unsaved = replace(self.unsaved, why=unusable(self.folder, error))
            with contextlib.suppress(sqlite3.Error):
                db.close()
            return
        self.unsaved, self._waiting = None, []
        self._news += news
        memory.close()

    def _bring_in(self, memory: sqlite3.Connection, *, anew: bool) -> None:
        """Do again on the disk what was done in memory; of a file that was mended, take what memory knows better."""
        for at, act in () if anew else self._waiting:
            self._at = at
            self.db.execute("SAVEPOINT press")
            try:
                act()
            except NoBlanketError:
                # It comes back from memory as it stands there.
                self.db.execute("ROLLBACK TO press")
            except BlendplanError as error:
                self.db.execute("ROLLBACK TO press")
                self._news.append(
                    note("something you did while nothing was saved fits no more: {problem}", "warning", problem=error)
                )
            finally:
                self._at = ""
            self.db.execute("RELEASE press")
        _take_rows(memory, self.db, anew=anew)
        (value,) = memory.execute("SELECT value FROM said WHERE name = 'version'").fetchone()
        self.db.execute("UPDATE said SET value = max(value + 1, ? + 1) WHERE name = 'version'", (int(value),))


def _salvaged(db: sqlite3.Connection) -> sqlite3.Connection:
    """Return in memory what can be read of a file."""
    memory = connect(":memory:")
    with contextlib.suppress(sqlite3.Error):
        db.backup(memory)
    if not whole(memory):
        damaged, memory = memory, connect(":memory:")
        with contextlib.suppress(sqlite3.Error):
            _take_rows(damaged, memory, anew=True)
        damaged.close()
    memory.execute("PRAGMA foreign_keys = ON")
    return memory


def _take_rows(memory: sqlite3.Connection, db: sqlite3.Connection, *, anew: bool) -> None:
    """Take over blankets, shelf and hands that only memory has, and where anew, blankets as memory has them."""
    later = {"blanket": ("title", "body", "changed", "state", "thrown"), "edit": ("state", "by", "revision")}
    for table in ("crop", "yarn", "blanket", *(("edit",) if anew else ()), "tie", "hand"):
        cursor = memory.execute(f"SELECT * FROM {table}")  # noqa: S608 - our own words
        names = [column[0] for column in cursor.description]
        marks = ", ".join("?" * len(names))
        end = "ON CONFLICT DO NOTHING"
        if anew and table in later:
            end = "ON CONFLICT (id) DO UPDATE SET " + ", ".join(f"{n} = excluded.{n}" for n in later[table])
            end += ", revision = max(revision, excluded.revision) + 1" if table == "blanket" else ""
        into = f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks}) {end}"  # noqa: S608 - our own words
        db.executemany(into, cursor)


def unusable(folder: Path, error: BaseException) -> BlendplanError:
    """Return why the library of a folder cannot be used, in one line."""
    if isinstance(error, BlendplanError):
        return error
    return ProjectError(
        "your library in {folder} cannot be used ({reason}); what you do now is not saved until it can be.",
        folder=str(folder),
        reason=getattr(error, "strerror", None) or str(error),
    )


def opened(folder: Path, busy_s: float | None = None) -> tuple[sqlite3.Connection, tuple[Notice, ...]]:
    """Open the library of a folder and forget what was thrown away long ago.

    Raises
    ------
    ProjectError
        If it cannot be used, in one line.
    """
    try:
        db, news = open_file(folder, busy_s)
    except (OSError, sqlite3.Error) as error:
        raise unusable(folder, error) from None
    with contextlib.suppress(OSError, sqlite3.Error):
        keep_copy(db, folder, date.today())
        forget_thrown(db, date.today())
    return db, news

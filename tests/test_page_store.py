"""Autosave: whole versions, the last ten, two writers, a folder that cannot be written to."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest

from blendplan.errors import ProjectError
from blendplan.page.store import KEEP, Conflict, Store, home_folder, served


def test_a_version_comes_back_byte_for_byte(tmp_path: Path) -> None:
    store = Store(tmp_path / "deep" / "autosave")
    assert store.latest() == 0 and store.versions() == ()
    assert store.save(b"one", 0) == 1
    assert store.save("zwei ñ 毛糸".encode(), 1) == 2
    assert store.read(1) == b"one"
    assert store.read(2).decode() == "zwei ñ 毛糸"


def test_the_last_ten_are_kept(tmp_path: Path) -> None:
    store = Store(tmp_path)
    for n in range(25):
        assert store.save(str(n).encode(), n) == n + 1
    found = store.versions()
    assert [v.revision for v in found] == list(range(25, 25 - KEEP, -1))
    assert store.read(25) == b"24"
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(f"r{n:08d}.json" for n in range(16, 26))


def test_a_second_tab_does_not_overwrite(tmp_path: Path) -> None:
    one, two = Store(tmp_path), Store(tmp_path)
    base = one.save(b"shared", 0)
    assert one.save(b"from one", base) == 2
    with pytest.raises(Conflict):
        two.save(b"from two", base)
    assert one.read(2) == b"from one"
    # Told to keep hers, the second goes on from the newest; the first's stays among the versions.
    assert two.save(b"from two", two.latest()) == 3
    assert one.read(2) == b"from one"


def test_of_many_writers_at_once_exactly_one_wins_each_revision(tmp_path: Path) -> None:
    store = Store(tmp_path)
    base = store.save(b"start", 0)
    won: list[int] = []
    lost: list[int] = []
    start = threading.Barrier(8)

    def write(n: int) -> None:
        start.wait()
        try:
            Store(tmp_path).save(f"writer {n}".encode(), base)
            won.append(n)
        except Conflict:
            lost.append(n)

    threads = [threading.Thread(target=write, args=(n,)) for n in range(8)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert len(won) == 1 and len(lost) == 7
    assert store.read(base + 1) == f"writer {won[0]}".encode()
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".part")]


@pytest.mark.skipif(os.name == "nt", reason="a file where a folder should be is told differently there")
def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "wall").write_bytes(b"a file, not a folder")
    store = Store(tmp_path / "wall" / "autosave")
    with pytest.raises(ProjectError, match="could not be saved .* still here on the page: download"):
        store.save(b"x", 0)
    assert store.versions() == ()


def test_a_full_disk_is_told_and_the_old_version_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = Store(tmp_path)
    store.save(b"old", 0)

    def full(_fd: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(ProjectError, match="No space left on device"):
        store.save(b"new", 1)
    assert store.read(1) == b"old" and store.latest() == 1
    assert [p.name for p in tmp_path.iterdir()] == ["r00000001.json"]


def test_a_file_system_without_hard_links_works_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_args: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", none)
    store = Store(tmp_path)
    assert store.save(b"a", 0) == 1
    assert store.save(b"b", 1) == 2
    assert store.read(2) == b"b"
    with pytest.raises(Conflict):
        store.save(b"c", 1)


def test_where_work_is_kept(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("BLENDPLAN_HOME", str(tmp_path))
    assert home_folder() == tmp_path
    for value, want in (("", False), ("0", False), ("1", True)):
        monkeypatch.setenv("BLENDPLAN_SERVED", value)
        assert served() is want

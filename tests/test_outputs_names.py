"""Names of files are made, not taken: readable in any script, never a path."""

from __future__ import annotations

import unicodedata
from pathlib import Path, PurePosixPath, PureWindowsPath

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.text import download_name

# Characters that Windows forbids in a name (Microsoft, "Naming Files, Paths, and Namespaces").
FORBIDDEN = set('<>:"/\\|?*')


@given(st.text())
@settings(max_examples=400, deadline=None)
def test_a_name_is_one_safe_part_of_a_path(title: str) -> None:
    name = download_name(title, "pdf")
    assert PurePosixPath(name).name == name and PureWindowsPath(name).name == name
    assert not PureWindowsPath(name).is_reserved()
    assert not set(name) & FORBIDDEN
    assert name.endswith(".pdf") and not name.startswith((".", "-", " ", "="))
    assert not name[:-4].endswith((" ", "."))
    assert not any(unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") for c in name)
    assert len(name.encode("utf-8")) <= 124
    assert download_name(name[:-4], "pdf") == name


@given(st.text())
@settings(max_examples=50, deadline=None)
def test_a_name_can_be_written(tmp_path_factory: pytest.TempPathFactory, title: str) -> None:
    folder = tmp_path_factory.mktemp("names")
    path = folder / download_name(title, "txt")
    path.write_bytes(b"x")
    assert [p.name for p in folder.iterdir()] == [path.name] and Path(path).parent == folder


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("毛糸 №1/é", "毛糸 №1 é.csv"),
        ("Ñandú", "Ñandú.csv"),
        ("Одеяло Κουβέρτα", "Одеяло Κουβέρτα.csv"),
        ("../../etc/x", "etc x.csv"),
        ("C:\\temp\\x", "C temp x.csv"),
        ("a\u202egpj.exe", "agpj.exe.csv"),
        ("\x00\n", "blanket.csv"),
        ("", "blanket.csv"),
        ("-rf", "rf.csv"),
        ("com1.tar", "com1.tar blanket.csv"),
        ("🧶", "🧶.csv"),
    ],
)
def test_names_stay_readable(title: str, name: str) -> None:
    assert download_name(title, "csv") == name

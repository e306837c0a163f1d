"""The folder of outputs: fixed names, all or nothing, the same bytes."""

from __future__ import annotations

from pathlib import Path

import pytest
from odd_plans import short_plan

from blendplan.errors import BlendplanError
from blendplan.outputs.write import How, write_outputs

NAMES = [
    "plan.json",
    "picture.png",
    "stripes.csv",
    "shopping.csv",
    "rows.txt",
    "plan.pdf",
    "sheet.html",
    "shop.html",
]


def test_names_are_fixed_and_bytes_are_the_same(tmp_path: Path) -> None:
    one = write_outputs(short_plan(), tmp_path / "one")
    two = write_outputs(short_plan(), tmp_path / "a" / "two")
    assert [p.name for p in one] == NAMES
    assert sorted(p.name for p in (tmp_path / "one").iterdir()) == sorted(NAMES)
    for a, b in zip(one, two, strict=True):
        assert a.read_bytes() == b.read_bytes(), a.name


def test_nothing_is_written_where_making_fails(tmp_path: Path) -> None:
    with pytest.raises(BlendplanError, match="A4, Letter"):
        write_outputs(short_plan(), tmp_path / "x", How(paper="A0"))
    assert list(tmp_path.iterdir()) == []


def test_what_was_there_stays_where_one_file_cannot_be_written(tmp_path: Path) -> None:
    old = {name: f"earlier {name}".encode() for name in NAMES if name != "rows.txt"}
    for name, data in old.items():
        (tmp_path / name).write_bytes(data)
    (tmp_path / "rows.txt").mkdir()
    (tmp_path / "rows.txt" / "mine").write_text("kept", encoding="utf-8")
    with pytest.raises(BlendplanError, match="cannot be written"):
        write_outputs(short_plan(), tmp_path, How(lang="de"))
    assert {name: (tmp_path / name).read_bytes() for name in old} == old
    assert (tmp_path / "rows.txt" / "mine").read_text(encoding="utf-8") == "kept"
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(NAMES)

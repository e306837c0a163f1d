"""The ripple command: its JSON, its text read back, its refusals."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from row_reader import work_pattern

from blendplan.cli import main


def test_json_is_the_contract(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ripple", "--slope", "7", "--repeats", "8", "--json"]) == 0
    got = json.loads(capsys.readouterr().out)
    notices = got.pop("notices")
    assert got == {"chain": 131, "row_stitches": 114, "row_spaces": 7, "multiple": 16, "plus": 3, "closes": True}
    assert all(isinstance(text, str) for text in notices)


@pytest.mark.parametrize(
    ("options", "chain"),
    [
        # trade facts, section 12, read Nov 2026, with the options that the command has
        (["--stitch", "sc", "--slope", "6", "--peak", "three-in-one", "--repeats", "10"], 152),
        (["--stitch", "sc", "--slope", "7", "--peak", "three-in-one", "--edge", "half-valley", "--repeats", "10"], 173),
        (["--slope", "6", "--peak", "three-in-one", "--repeats", "9"], 138),
        (["--slope", "4", "--peak", "chain-1", "--repeats", "24"], 220),
        (["--kind", "wave", "--slope", "4", "--repeats", "2"], 31),
    ],
)
def test_text_reads_back_with_the_published_chain(
    options: list[str], chain: int, capsys: pytest.CaptureFixture[str]
) -> None:
    for terms in ("US", "UK"):
        assert main(["ripple", *options, "--terms", terms]) == 0
        read = work_pattern(capsys.readouterr().out)
        assert (read.chain, read.terms) == (chain, terms)
        assert len(set(read.counts.values())) == 1


def test_width_table_and_diagram(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    target = tmp_path / "one.svg"
    assert main(["ripple", "--weight-class", "4", "--width", "127", "--diagram", str(target)]) == 0
    out = capsys.readouterr().out
    assert "* 8 repeats: 131 chains" in out
    assert "may be off by 13 %" in out
    assert target.read_text(encoding="utf-8").startswith("<svg")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--slope", "7", "--peak", "three-in-one", "--stated", "14+3"], "each repeat of this row uses 17"),
        (["--stated", "often"], "write it like 14+3"),
        (["--chain", "181"], "179 (11 repeats) and 195 (12 repeats)"),
        (["--chain", "131", "--repeats", "8"], "give one of them"),
        (["--width", "127"], "--weight-class"),
        (["--valley", "skip-1"], "chain-2 with skip-2"),
        (["--repeats", ""], "repeats"),
        (["--terms", "AU"], "US, UK"),
        (["--diagram", "/dev/null/all.svg"], "cannot be written"),
    ],
)
def test_refusals_are_one_line(options: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ripple", *options]) == 2
    got = capsys.readouterr()
    assert got.out == ""
    assert got.err.startswith("error: ")
    assert got.err.count("\n") == 1
    assert says in got.err

"""The command line in the second language: each line that is told, and each decimal sign."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from test_cli import BAD

from blendplan.cli import main
from blendplan.wording import Rounded, note, rounded, tr

PALETTE = "name,srgb,grams,metres,fancy\n2.5 Fern,#3a6b4c,100,182.5,x\nClay,#b0563f,100,182.5,y\nStraw,#d8bf76,,,z\n"


def told(capsys: pytest.CaptureFixture[str], *args: object) -> tuple[list[str], str]:
    """The lines of both outputs, and the name of the command's status."""
    try:
        status = main([str(a) for a in args])
    except SystemExit as left:
        status = int(left.code or 0)
    got = capsys.readouterr()
    return (got.out + got.err).splitlines(), str(status)


def speaks(line: str) -> bool:
    """True where a line has words of its own, beyond marks, codes, paths and the maker's names."""
    own = re.sub(
        r"(?:2\.5 Fern|Clay|Straw|->|#[0-9a-f]{6}|\S*/\S*|\S+\.(?:json|jpg)|\d\S*|error:|CIEDE2000|L\*|a\*|b\*)",
        "",
        line,
    )
    return bool(re.search(r"[A-Za-z]{3}", own))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "p.csv").write_text(PALETTE, encoding="utf-8")
    assert main(["new", "p.json", "--palette", "p.csv"]) == 0
    project = json.loads((tmp_path / "p.json").read_text(encoding="utf-8"))
    project["unknown"] = 1
    (tmp_path / "p.json").write_text(json.dumps(project), encoding="utf-8")
    return tmp_path


GOOD = [
    ["blend", "#aa1100", "#00aa11"],
    ["order", "p.csv", "--others", "1"],
    ["order", "p.csv", "--choose", "2"],
    ["ripple", "--slope", "7", "--weight-class", "4", "--hook", "6.5", "--width", "130.5", "--back-loop"],
    ["skeins", "p.json"],
    ["ledger", "p.json"],
    ["plan", "p.json", "--out", "out"],
    ["new", "again.json", "--palette", "p.csv", "--force"],
]


@pytest.mark.parametrize("args", [*GOOD, *BAD], ids=lambda a: " ".join(a) or "nothing")
def test_every_line_is_said_in_the_language(capsys: pytest.CaptureFixture[str], folder: Path, args: list[str]) -> None:
    capsys.readouterr()
    english, status = told(capsys, *args)
    german, again = told(capsys, *args, "--lang", "de")
    assert status == again and len(english) == len(german)
    # What the library for arguments says of a wrong choice, and what the machine says of a file, stays as it is.
    if args in (["knit"], []):
        assert "siehe" in german[-1] or "--lang" in german[-1]
        return
    for before, after in zip(english, german, strict=True):
        assert not speaks(before) or before != after, before
        # A decimal point stands in names of yarns and files only.
        left = re.sub(r"2\.5 Fern|\S+\.(?:csv|json|jpg|txt|html|png|pdf)|14\.3", "", after)
        assert not re.search(r"\d\.\d", left), after


def test_photos_are_told_in_the_language(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    from blendplan.demo.scenario import demo_photos

    photo = demo_photos()[0]
    (folder / photo.name).write_bytes(photo.data)
    capsys.readouterr()
    english, _ = told(capsys, "shades", photo.name)
    german, _ = told(capsys, "shades", photo.name, "--lang", "de")
    assert len(english) == len(german) > 3
    assert not [a for a, b in zip(english, german, strict=True) if a == b and speaks(a)]
    assert any("Papier" in line for line in german)


def test_json_is_the_same_in_every_language(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    for args in (["blend", "#aa1100", "#00aa11"], ["ripple", "--slope", "7"], ["skeins", "p.json"]):
        capsys.readouterr()
        main([*args, "--json"])
        english = capsys.readouterr().out
        main([*args, "--json", "--lang", "de"])
        assert capsys.readouterr().out == english


def test_numbers_get_the_decimal_sign_and_names_do_not() -> None:
    said = note("{names}: {d} away", names="2.5", d=rounded(2.449, 2))
    assert said.text == "2.5: 2.45 away" and said.say("de").startswith("2.5: ") and "2,45" in said.say("de")
    assert tr("{n} rows", "de", n=0.5).startswith("0,5") and tr("{n} rows", "de", n="0.5").startswith("0.5")
    assert rounded(-1.25, 1, sign=True) == "-1.2" and Rounded("1.5").say("xx") == "1.5"
    assert hash(note("{n} rows", n=rounded(1.5, 1))) == hash(note("{n} rows", n=rounded(1.5, 1)))

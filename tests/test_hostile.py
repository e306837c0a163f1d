"""A hostile or careless user: whatever is typed gives a result or one plain line."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from blendplan.cli import main
from blendplan.errors import BlendplanError, StripeError
from blendplan.fabric.gauge import from_swatch
from blendplan.fabric.ripple import Ripple
from blendplan.plan import make_plan
from blendplan.project import project_json, read_project
from blendplan.start import starting_blanket
from blendplan.units import exact, number, whole
from blendplan.wording import note, rounded

HUGE = ["1e999", "9" * 500, 10**400, Decimal("1e999999"), Decimal("1e-999999")]


@pytest.mark.parametrize("value", HUGE)
def test_a_number_past_all_floats_is_refused(value: object) -> None:
    for door in (exact, lambda v: number(v, "width", 0, 10), lambda v: whole(v, "rows", 0, 10)):
        with pytest.raises(BlendplanError) as told:
            door(value)
        assert len(str(told.value)) < 400


@pytest.mark.parametrize(
    "words",
    [
        ["ripple", "--slope", "1e999"],
        ["ripple", "--weight-class", "4", "--width", "1e400"],
        ["blend", "ff0000", "00ff00", "--share", "1e999"],
        ["blend", "ff0000", "00ff00", "--seen-from", "1e309"],
    ],
)
def test_a_huge_number_on_the_command_line_is_one_line(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("error: ")
    assert said.err.count("\n") == 1


def project(change: dict[tuple[str | int, ...], object]) -> bytes:
    body = json.loads(project_json(starting_blanket()[0]))
    for path, value in change.items():
        place = body
        for key in path[:-1]:
            place = place[key]
        place[path[-1]] = value
    return json.dumps(body).encode()


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("materials", "yarns", 0, "grams"), 10**400),
        (("materials", "yarns", 0, "grams"), "\u00b2/1"),
        (("materials", "yarns", 0, "grams"), "--5/1"),
        (("materials", "yarns", 0, "grams"), "9" * 5000 + "/1"),
        (("materials", "yarns", 0, "shades", 0, "lab", 0), 10**400),
        (("materials", "yarns", 0, "shades", 0, "reasons"), ["x" * 5000]),
        (("design", "ripple", "stitch"), "x" * 5000),
        (("version",), 10**400),
        (("version",), "x" * 5000),
        (("design", "stripes"), []),
        (("design", "stripes"), [{"strands": ["x" * 5000], "rows": 1}]),
    ],
)
def test_a_field_that_cannot_be_used_is_one_short_line(path: tuple[str | int, ...], value: object) -> None:
    with pytest.raises(BlendplanError) as told:
        read_project(project({path: value}))
    assert "\n" not in str(told.value)
    assert len(str(told.value)) < 500


def test_thousands_of_digits_in_a_file_are_one_line() -> None:
    with pytest.raises(BlendplanError, match="digits"):
        read_project(b'{"format": "blendplan-project", "version": ' + b"1" * 5000 + b"}")


def test_a_measured_piece_is_refused_for_its_own_fault() -> None:
    piece = {"kind": "swatch", "grams": "much", "rows": 10, "stitches": 20, "strands": ["First yarn"]}
    with pytest.raises(BlendplanError, match=r"project\.materials\.measured\[0\]\.grams: grams of the swatch: 'much'"):
        read_project(project({("materials", "measured"): [piece]}))


def test_no_stripes_by_hand_are_refused() -> None:
    with pytest.raises(StripeError, match="at least one"):
        replace(starting_blanket()[0].design, stripes=())


def run(words: list[str], *, out: int, **environment: str) -> subprocess.CompletedProcess[bytes]:
    env = {**os.environ, **environment}
    return subprocess.run([sys.executable, "-m", "blendplan", *words], stdout=out, stderr=subprocess.PIPE, env=env)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_behind_stdout_is_one_line() -> None:
    with Path("/dev/full").open("wb") as full:
        got = run(["blend", "ff0000", "00ff00"], out=full.fileno())
    assert got.returncode == 2
    assert got.stderr.startswith(b"error: ")
    assert got.stderr.count(b"\n") == 1


def test_a_name_that_the_terminal_cannot_spell_is_printed_escaped(tmp_path: Path) -> None:
    path = tmp_path / "\u6bdb\u7cf8.json"
    got = run(["new", str(path)], out=subprocess.PIPE, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert got.returncode == 0
    assert b"\\u6bdb" in got.stdout
    assert path.exists()


def test_an_error_is_the_only_line_on_stderr(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # an entry that is not known brings a note, and a gauge from a table some more; none comes before an error
    path = tmp_path / "p.json"
    path.write_bytes(project({("colour",): "red"}))
    (tmp_path / "file").write_text("in the way")
    assert main(["plan", str(path), "--out", str(tmp_path / "file")]) == 2
    said = capsys.readouterr().err
    assert said.startswith("error: ")
    assert said.count("\n") == 1


def test_one_is_not_plural() -> None:
    brief = starting_blanket()[0]
    plan = make_plan(replace(brief, design=replace(brief.design, repeats=1)))
    text = "\n".join((plan.rows_text(), *(n.text for n in (*plan.lots, *plan.yardage.notices))))
    for wrong in ("1 repeats", "in stripes 1.", "in stripes 2."):
        assert wrong not in text
    wide = make_plan(brief)
    assert any("Weigh one row on a scale" in n.text for n in wide.yardage.notices)


@pytest.mark.parametrize(("value", "shown"), [(None, "nothing"), (True, "yes")])
def test_what_a_file_holds_is_not_said_in_the_words_of_a_programming_language(value: object, shown: str) -> None:
    with pytest.raises(BlendplanError, match=f"^project.title: title: a text is needed, {shown} was given"):
        read_project(project({("title",): value}))


def test_a_gauge_from_grams_that_changes_nothing_says_so() -> None:
    brief = starting_blanket()[0]
    gauge = from_swatch(stitches=20, width_cm=24, rows=10, height_cm=20, grams=40)
    said = [n.text for n in make_plan(replace(brief, materials=replace(brief.materials, gauge=gauge))).notices]
    assert any("grams of the gauge swatch" in text for text in said)


def test_a_blanket_wider_than_any_room_is_refused_by_its_own_width() -> None:
    brief = starting_blanket()[0]
    with pytest.raises(BlendplanError, match="this blanket would be .* cm wide"):
        make_plan(replace(brief, design=replace(brief.design, repeats=500)))


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no file without an end")
@pytest.mark.parametrize("words", [["shades", "/dev/zero"], ["skeins", "/dev/zero"], ["order", "/dev/zero"]])
def test_a_file_without_an_end_is_refused(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words) == 2
    assert "too large" in capsys.readouterr().err


def test_bad_input_of_a_ripple_leaves_nothing_half_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ripple", "--terms", "Welsh"]) == 2
    assert capsys.readouterr().out == ""


def test_shares_that_are_not_the_whole_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["blend", "000", "fff", "--share", ".5", "--share", ".7"]) == 2
    assert "add up to 1.2" in capsys.readouterr().err
    assert main(["blend", "000", "888", "fff", "--share", ".33", "--share", ".33", "--share", ".33"]) == 0


def test_too_many_strands_are_counted_in_the_message(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["blend", *["ff0000"] * 300]) == 2
    assert capsys.readouterr().err.startswith("error: 300 colours were given; allowed is 2 to 8")


def test_one_turning_chain_in_words() -> None:
    brief = starting_blanket()[0]
    plan = make_plan(replace(brief, design=replace(brief.design, ripple=Ripple(stitch="sc"))))
    assert "in 2nd ch from hook (skipped chain does not count)" in plan.rows_text()
    assert "1 Lm (z\u00e4hlt nicht als Masche)" in plan.rows_text("de")


def test_german_numbers_before_a_unit_have_a_comma_and_names_keep_their_point() -> None:
    told = note("{name} runs out in the finishing; {lacking} m are lacking.", name="1.5", lacking=rounded(0.3, 1))
    assert told.say("de").startswith("1.5 ")
    assert "0,3 m" in told.say("de")
    assert "0.3 m" in told.text


@pytest.mark.parametrize("name", ["--x", "-5", "--x=3", "=", "a=b", "--", "-", "--json", "--lang"])
def test_a_yarn_may_be_called_like_an_option(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    palette, path = tmp_path / "p.csv", tmp_path / "p.json"
    palette.write_text(f"name,srgb,grams,metres\n{name},#7fb2d6,100,170\nClay,#b5651d,100,170\n", encoding="utf-8")
    assert main(["order", str(palette), f"--last={name}", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["order"][-1] == name
    if name not in ("--json", "--lang"):
        # The name of an option of the command has to stand behind a sign that it is meant as a value.
        assert main(["order", str(palette), "--first", name, "--together", "Clay", name, "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["order"][0] == name
    assert main(["new", str(path), "--palette", str(palette)]) == 0
    assert main(["ledger", str(path), f"--bought={name}=2", f"--opened={name}", "--save", "--json"]) == 0
    assert main(["ledger", str(path), f"--opened={name}=1", "--json"]) == 0
    told = [f"--bought={name}=2"] if name == "--lang" else ["--bought", f"{name}=2", "--weighed", f"{name}=30+1"]
    assert main(["ledger", str(path), *told, "--json"]) == 0
    capsys.readouterr()
    # What is neither an option nor asked for is told in one line still.
    with pytest.raises(SystemExit):
        main(["order", str(palette), "--nothing-like-it"])
    said = capsys.readouterr().err
    assert "--nothing-like-it" in said and said.count("\n") == 1


@pytest.mark.parametrize(
    "args",
    [("order", "PALETTE", "--into", "FILE"), ("order", "FILE"), ("skeins", "FILE"), ("plan", "FILE", "--out", "o")],
)
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{nothing", "the project file is not valid JSON (line 1, column 2)"),
        ("[1]", "this file is not a blendplan project"),
        ('{"format": "blendplan-project", "version": 2, "design": {"solid_rows": -3}}', "project.design.solid_rows: "),
    ],
)
def test_a_file_that_is_no_project_is_named_in_the_line(
    args: tuple[str, ...], text: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    palette, path = tmp_path / "p.csv", tmp_path / "mine.json"
    palette.write_text("name,srgb\nFern,#4f6b3a\nClay,#b5643c\n", encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    assert main([{"PALETTE": str(palette), "FILE": str(path)}.get(arg, arg) for arg in args]) == 2
    assert capsys.readouterr().err.startswith(f"error: {path}: {said}") and path.read_text(encoding="utf-8") == text

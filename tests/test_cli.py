"""The command line's contracts: shapes of JSON, exit status, one plain line for bad input."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from briefs import brief

from blendplan.cli import COMMANDS, main
from blendplan.project import save_project

Out = pytest.CaptureFixture[str]


def run(capsys: Out, *args: object) -> tuple[int, str, str]:
    try:
        status = main([str(a) for a in args])
    except SystemExit as stop:
        status = int(stop.code or 0)
    out = capsys.readouterr()
    return status, out.out, out.err


@pytest.fixture
def project(tmp_path: Path) -> Path:
    path = tmp_path / "p.json"
    save_project(brief("Fern", "Clay", "Milk"), path)
    return path


def test_blend_json(capsys: Out) -> None:
    status, out, _ = run(capsys, "blend", "#1f3b73", "#f2d16b", "--json")
    body = json.loads(out)
    assert status == 0
    assert {"srgb", "lab", "strand_difference", "range", "reads_as", "notices"} <= set(body)
    assert set(body["range"]) == {"perceptual", "optical"}
    assert body["srgb"] == body["range"]["perceptual"]


def test_ripple_json_defaults(capsys: Out) -> None:
    status, out, _ = run(capsys, "ripple", "--slope", 7, "--repeats", 8, "--json")
    body = json.loads(out)
    assert status == 0
    assert (body["chain"], body["row_stitches"], body["multiple"], body["plus"]) == (131, 128, 16, 3)
    assert body["closes"] is True
    assert isinstance(body["notices"], list)


def test_skeins_json(capsys: Out, project: Path) -> None:
    status, out, _ = run(capsys, "skeins", project, "--json")
    body = json.loads(out)
    assert status == 0
    assert {"colours", "tails_m", "working_m"} <= set(body)
    keys = {"name", "need_m", "low_m", "high_m", "on_hand_m", "buy_skeins", "chance_short"}
    for colour in body["colours"]:
        assert keys <= set(colour)
        assert colour["low_m"] < colour["need_m"] < colour["high_m"]
    assert sum(c["need_m"] for c in body["colours"]) == pytest.approx(
        2 * body["working_m"] + body["tails_m"], abs=0.005
    )  # printed to the millimetre


def test_order_json(capsys: Out, tmp_path: Path, project: Path) -> None:
    palette = tmp_path / "p.csv"
    palette.write_text("name,srgb\nA,#102030\nB,#f0e0d0\nC,#806040\n", encoding="utf-8-sig")
    for source in (palette, project):
        status, out, _ = run(capsys, "order", source, "--json")
        body = json.loads(out)
        assert status == 0
        assert {"order", "cost", "exact", "steps"} <= set(body)
        assert body["exact"] is True
        assert len(body["order"]) == 3
    status, out, _ = run(capsys, "order", palette, "--first", "C", "--json")
    assert json.loads(out)["order"][0] == "C"


def test_plan_writes_six_files_and_the_same_bytes(capsys: Out, project: Path, tmp_path: Path) -> None:
    names = ["plan.json", "picture.png", "stripes.csv", "shopping.csv", "rows.txt", "plan.pdf"]
    for folder in ("one", "two"):
        assert run(capsys, "plan", project, "--out", tmp_path / folder)[0] == 0
    for name in names:
        data = (tmp_path / "one" / name).read_bytes()
        assert data
        assert data == (tmp_path / "two" / name).read_bytes(), name
    body = json.loads((tmp_path / "one" / "plan.json").read_text(encoding="utf-8"))
    _, out, _ = run(capsys, "skeins", project, "--json")
    assert body["yardage"] == json.loads(out)


def test_new_then_plan(capsys: Out, tmp_path: Path) -> None:
    path = tmp_path / "start.json"
    assert run(capsys, "new", path)[0] == 0
    body = json.loads(path.read_text(encoding="utf-8"))
    assert body["format"] == "blendplan-project"
    assert isinstance(body["version"], int)
    status, _, err = run(capsys, "new", path)
    assert status == 2
    assert "exists already" in err
    assert run(capsys, "plan", path, "--out", tmp_path / "out")[0] == 0


def test_help_of_every_command(capsys: Out) -> None:
    for name in COMMANDS:
        status, out, _ = run(capsys, name, "--help")
        assert status == 0
        assert "usage" in out


BAD = [
    ["blend", "#12345", "#ffffff"],
    ["blend", "#123456", "#ffffff", "--share", "nan"],
    ["blend", "#123456", "#ffffff", "--share", "-1"],
    ["blend", "#123456", "#ffffff", "--member", "9"],
    ["ripple", "--slope", "0", "--repeats", "8"],
    ["ripple", "--slope", "7", "--repeats", "-3"],
    ["ripple", "--slope", "7", "--repeats", "nan"],
    ["ripple", "--slope", "7", "--repeats", "8", "--peak", "moon"],
    ["ripple", "--slope", "7", "--repeats", "99999999999"],
    ["order", "missing.csv"],
    ["skeins", "missing.json"],
    ["plan", "missing.json", "--out", "nowhere"],
    ["shades", "missing.jpg"],
    ["new", "/dev/null/file.json"],
    ["demo", "--out", "x", "--date", "tomorrow"],
    ["knit"],
    [],
]


@pytest.mark.parametrize("args", BAD, ids=[" ".join(a) or "nothing" for a in BAD])
def test_bad_input_is_one_line_and_status_2(
    capsys: Out, args: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    status, out, err = run(capsys, *args)
    assert status == 2
    assert out == ""
    assert err.startswith("error: ")
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_empty_palette(capsys: Out, tmp_path: Path) -> None:
    palette = tmp_path / "p.csv"
    for text in ("", "name,srgb\n", "name\nA\n", "name,srgb\nA,blue\n"):
        palette.write_text(text, encoding="utf-8")
        status, _, err = run(capsys, "order", palette)
        assert status == 2
        assert err.startswith("error: ")
        assert err.count("\n") == 1


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys\nfrom blendplan.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'scipy', 'skimage', 'colour', 'streamlit', 'fpdf', 'PIL'} & set(sys.modules)\n"
        "sys.exit(','.join(sorted(heavy)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, encoding="utf-8")
    assert done.returncode == 0, done.stderr


def test_module_runs_and_reports_version() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "blendplan", "--version"], capture_output=True, text=True, encoding="utf-8"
    )
    assert done.returncode == 0
    assert done.stdout.startswith("blendplan ")


def test_no_file_is_read_or_written_in_the_machine_s_own_encoding(project: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-X", "warn_default_encoding", "-m", "blendplan"]
    out = tmp_path / "out"
    done = subprocess.run([*command, "plan", project, "--out", out], capture_output=True, text=True, encoding="utf-8")
    assert done.returncode == 0
    ours = [line for line in done.stderr.splitlines() if "EncodingWarning" in line and "/site-packages/" not in line]
    assert ours == []

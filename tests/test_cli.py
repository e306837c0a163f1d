"""The command line's contracts: shapes of JSON, exit status, one plain line for bad input."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from blankets import blanket

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
    save_project(blanket("Fern", "Clay", "Milk"), path)
    return path


def test_blend_json(capsys: Out) -> None:
    status, out, _ = run(capsys, "blend", "#1f3b73", "#f2d16b", "--json")
    body = json.loads(out)
    assert status == 0
    assert {"srgb", "lab", "strand_difference", "near", "far", "reads_as", "notices"} <= set(body)
    assert body["seen_from_m"] == 2.0 and body["near"] == "#83877d"


def test_ripple_json_defaults(capsys: Out) -> None:
    status, out, _ = run(capsys, "ripple", "--slope", 7, "--repeats", 8, "--json")
    body = json.loads(out)
    assert status == 0
    assert (body["chain"], body["row_stitches"], body["row_spaces"]) == (131, 114, 7)
    assert (body["multiple"], body["plus"]) == (16, 3)
    assert body["closes"] is True
    assert isinstance(body["notices"], list)


def test_skeins_json(capsys: Out, project: Path) -> None:
    status, out, _ = run(capsys, "skeins", project, "--json")
    body = json.loads(out)
    assert status == 0
    assert {"colours", "tails_m", "working_m"} <= set(body)
    keys = {"name", "need_m", "low_m", "high_m", "on_hand_m", "buy_skeins", "chance_short"}
    assert len(body["colours"]) == 3
    for colour in body["colours"]:
        assert keys <= set(colour)
        assert colour["low_m"] < colour["need_m"] < colour["high_m"]
    assert sum(c["need_m"] for c in body["colours"]) == pytest.approx(
        2 * body["working_m"] + body["tails_m"], abs=0.005
    )  # printed to the millimetre


def test_ledger_json_and_lines(capsys: Out, project: Path) -> None:
    body = json.loads(project.read_text(encoding="utf-8"))
    key = body["materials"]["yarns"][0]["key"]
    told = [{"yarn": key, "grams": 900}]
    body["making"] = {"rows_done": 3, "weighings": [{"row": 3, "left": told}]}
    project.write_text(json.dumps(body), encoding="utf-8")
    status, out, _ = run(capsys, "ledger", project, "--json")
    ledger = json.loads(out)
    assert status == 0 and ledger["rows_done"] == 3 and len(ledger["colours"]) == 3
    assert [d["row"] for d in ledger["doubts"]] == [3] and ledger["ways"] == []
    # It waits for an answer: what is left is not taken from it.
    assert ledger["colours"][0]["weighed_at"] is None and ledger["colours"][0]["left_g"] < 900
    status, out, _ = run(capsys, "ledger", project)
    assert status == 0 and out.splitlines()[0].endswith("?")


def test_yarn_told_with_its_first_rows_is_what_was_bought_for_them(capsys: Out, project: Path) -> None:
    """Rows, purchase, opened skeins and weight in one line: what was weighed is what is left."""
    name = json.loads(project.read_bytes())["materials"]["yarns"][0]["name"]
    told = ("--row", 4, "--bought", f"{name}=2@A1", "--opened", f"{name}=2")
    used = json.loads(run(capsys, "ledger", project, *told, "--json")[1])["colours"][0]["used_g"]
    weighed = round(200 - used, 1)
    status, out, _ = run(capsys, "ledger", project, *told, "--weighed", f"{name}={weighed}", "--json")
    first = json.loads(out)["colours"][0]
    assert status == 0 and first["left_g"] == pytest.approx(weighed) and first["weighed_at"] == 4


def test_what_happened_is_told_on_the_command_line(capsys: Out, project: Path) -> None:
    """Bought, opened, weighed in the middle of a row, doubted, answered: kept only where that is asked for."""
    before = project.read_bytes()
    name = json.loads(before)["materials"]["yarns"][0]["name"]
    bought = ("--bought", f"{name}=6@L 7", "--date", "2026-03-01")
    status, out, err = run(capsys, "ledger", project, *bought, "--json")
    first = json.loads(out)["colours"][0]
    assert status == 0 and first["left_g"] == 600 and "add --save" in err and project.read_bytes() == before
    # The list for the shop counts what was bought, and no lot is asked for twice.
    assert run(capsys, "ledger", project, *bought, "--save")[0] == 0
    body = json.loads(run(capsys, "skeins", project, "--json")[1])["colours"][0]
    assert body["skeins_on_hand"] == body["bought_skeins"] == 6 and body["buy_skeins"] == 0
    # Half of row 3 is done, two skeins are opened: what the plan takes by then is weighed, and nothing is doubted.
    used = json.loads(run(capsys, "ledger", project, "--row", 2, "--json")[1])["colours"][0]["used_g"]
    more = json.loads(run(capsys, "ledger", project, "--row", 3, "--json")[1])["colours"][0]["used_g"]
    ball = 200 - (used + more) / 2
    weighed = ("--row", "2.5", "--opened", f"{name}=2", "--weighed", f"{name}={ball:.1f}", "--date", "2026-03-02")
    status, out, _ = run(capsys, "ledger", project, *weighed, "--json")
    now = json.loads(out)
    assert status == 0 and not now["doubts"] and now["factor"] == pytest.approx(1, abs=0.01)
    assert now["colours"][0]["weighed_at"] == 2.5
    # Not opened, by what was told, and so not counted: it is asked about, and yes mends it.
    odd = ("--row", "2.5", "--weighed", f"{name}={ball:.1f}", "--date", "2026-03-02")
    asked = json.loads(run(capsys, "ledger", project, *odd, "--json")[1])
    assert asked["doubts"][0]["question"] == f"Are 4 unopened skeins of {name} not counted?"
    for said, left in (("yes", 400 + ball), ("no", ball)):
        answered = json.loads(run(capsys, "ledger", project, *odd, "--answer", f"{name}={said}", "--json")[1])
        assert not answered["doubts"] and answered["colours"][0]["left_g"] == pytest.approx(left, abs=0.11)
    back = json.loads(run(capsys, "ledger", project, *odd, "--answer", f"{name}=back", "--json")[1])
    assert back["colours"][0]["weighed_at"] is None
    # A way out is taken by its kind.
    need = json.loads(run(capsys, "ledger", project, "--row", 2, "--json")[1])["colours"][0]["need_g"]
    short = ("--row", "2", "--weighed", f"{name}={0.7 * need:.0f}", "--answer", f"{name}=no")
    ways = json.loads(run(capsys, "ledger", project, *short, "--json")[1])["ways"]
    kinds = [way["kind"] for way in ways if way["kind"] != "buy"]
    assert kinds and run(capsys, "ledger", project, *short, "--take", kinds[0], "--save")[0] == 0
    assert json.loads(run(capsys, "ledger", project, "--json")[1])["ways"] == []


@pytest.mark.parametrize(
    ("told", "problem"),
    [
        (("--weighed", "NAME=-3"), "grams left: -3 g was given; allowed is 0 to 100000 g."),
        (("--weighed", "NAME=1e12"), "grams left: 1000000000000 g was given; allowed is 0 to 100000 g."),
        (("--weighed", "NAME=3 4"), "grams left: '3 4' is not a number"),
        (("--weighed", "NAME=nan"), "grams left: 'nan' is not a number"),
        (("--weighed", "NAME="), "'NAME=' was given; write it like --weighed YARN=GRAMS."),
        (("--weighed", "NAME=5+-1"), "skeins: -1 was given; allowed is a whole number from 0 to 1000."),
        (("--row", "9999"), "rows done: 9999 was given; allowed is 0 to"),
        (("--row", "-1"), "rows done: -1 was given; allowed is 0 to"),
        (("--row", "two"), "rows done: 'two' is not a number"),
        (("--bought", "NAME=0"), "skeins bought: 0 was given; allowed is a whole number from 1 to 1000."),
        (("--bought", "NAME=1.5"), "skeins: 1.5 was given; allowed is a whole number from 0 to 1000."),
        (("--bought", "Unicorn=2"), "'Unicorn' is none of the yarns; the yarns are"),
        (("--bought", "Spare=2"), "'Spare' was bought and is not in the design; the design uses"),
        (("--opened", "NAME=0"), "skeins opened: 0 was given"),
        (("--answer", "NAME=yes"), "there is no open question about 'NAME'"),
        (("--take", "rows"), "the way out 'rows' is not there"),
        (("--date", "yesterday"), "'yesterday' is not a date; write it like 2026-03-31."),
    ],
)
def test_what_cannot_be_is_one_line_and_nothing_is_lost(
    capsys: Out, project: Path, told: tuple[str, str], problem: str
) -> None:
    body = json.loads(project.read_text(encoding="utf-8"))
    name = body["materials"]["yarns"][0]["name"]
    body["materials"]["yarns"].append({**body["materials"]["yarns"][0], "name": "Spare", "key": "Spare"})
    project.write_text(json.dumps(body), encoding="utf-8")
    before = project.read_bytes()
    status, out, err = run(capsys, "ledger", project, *(part.replace("NAME", name) for part in told), "--save")
    assert (status, out) == (2, "") and err.count("\n") == 1 and project.read_bytes() == before
    assert err.startswith("error: ") and problem.replace("NAME", name) in err


def test_a_skein_of_no_weight_is_one_line(capsys: Out, project: Path) -> None:
    body = json.loads(project.read_text(encoding="utf-8"))
    body["materials"]["yarns"][0]["grams"] = 0
    project.write_text(json.dumps(body), encoding="utf-8")
    status, out, err = run(capsys, "ledger", project)
    assert (status, out) == (2, "") and err.count("\n") == 1 and "grams" in err


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
    ["blend", "#123456", "#ffffff", "--seen-from", "0"],
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

"""What is too much is refused in one line before the work begins, and every file of old opens.

That a thing is refused early is seen by what is never called, not by a clock; how long what is allowed takes is a
report (`tests/bench/bench_budgets.py`).
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from blendplan import budgets, reckon
from blendplan.cli import main
from blendplan.errors import BlendplanError
from blendplan.plan import make_plan
from blendplan.project import read_project
from blendplan.stripes.model import StripeRule

PACKAGE = Path(__file__).parent.parent / "blendplan"


def project(stripes: list[int], used: int = 2, **more: Any) -> bytes:
    names = [f"Y{n}" for n in range(used)]
    yarns = [{"name": name, "key": name, "shades": [{"lab": [50, 0, 0], "share": 1}]} for name in names]
    worked = [
        {"strands": [names[n % used], names[(n + 1) // 2 % used]], "rows": rows} for n, rows in enumerate(stripes)
    ]
    body = {"format": "blendplan-project", "version": 2, "materials": {"yarns": yarns}, **more}
    return json.dumps({**body, "design": {"order": names[:1], "stripes": worked, **more.get("design", {})}}).encode()


def old_project(colours: int, rows: int) -> bytes:
    """Return a file as version 1 wrote it: yarns in an order, a rule, repeats."""
    yarns = [{"name": f"Y{n}", "shades": [{"lab": [50, 0, 0], "share": 1}]} for n in range(colours)]
    rule = {"order": [yarn["name"] for yarn in yarns], "solid_rows": rows, "blend_rows": 0}
    return json.dumps({"format": "blendplan-project", "version": 1, "yarns": yarns, "sequence": rule}).encode()


CASES = {
    "rows": (project([1001, 1000]), "2001 rows; up to 2000"),
    "stripes": (project([1] * 451), "451 stripes; up to 450"),
    "yarns": (project([1] * 81, used=81), "81 yarns in use; up to 80"),
    "rows of old": (old_project(3, 700), "2100 rows; up to 2000"),
    "stripes of old": (old_project(460, 1), "460 stripes; up to 450"),
}


@pytest.mark.parametrize("case", CASES)
def test_what_cannot_be_planned_opens_and_is_refused_before_anything_is_reckoned(
    case: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    data, said = CASES[case]
    blanket, _ = read_project(data)
    begun: list[str] = []
    for name in ("_gauge", "_widths", "estimate", "measure"):
        monkeypatch.setattr(reckon, name, lambda *a, name=name, **k: begun.append(name))
    with pytest.raises(BlendplanError, match=said):
        make_plan(blanket)
    (tmp_path / "p.json").write_bytes(data)
    for words in (["skeins"], ["plan", "--out", str(tmp_path / "out")], ["ledger"]):
        assert main([words[0], str(tmp_path / "p.json"), *words[1:]]) == 2
        told = capsys.readouterr().err
        assert said in told and told.count("\n") == 1
    assert begun == [] and not (tmp_path / "out").exists()


def test_stitches_are_counted_before_the_yarn_is(monkeypatch: pytest.MonkeyPatch) -> None:
    body = json.loads(project([1000, 1000], design={"ripple": {"slope": 60, "repeats": 60}}))
    body["materials"]["gauge"] = {"stitch_width_cm": 0.1, "row_height_cm": 0.3}
    blanket, _ = read_project(json.dumps(body).encode())
    monkeypatch.setattr(reckon, "estimate", lambda *a, **k: pytest.fail("the yarn was counted"))
    with pytest.raises(BlendplanError, match="stitches; up to 2000000 can be planned"):
        make_plan(blanket)


def test_an_order_worked_often_is_refused_before_its_stripes_are_made(monkeypatch: pytest.MonkeyPatch) -> None:
    rule = StripeRule(order=tuple(f"Y{n}" for n in range(1000)), times=200)
    monkeypatch.setattr("blendplan.stripes.model.path", lambda *a: pytest.fail("the path was made"))
    with pytest.raises(BlendplanError, match="200000 stripes or more; allowed are 5000 rows"):
        rule.expand()


def test_a_file_of_too_many_entries_is_refused_before_any_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    body = {"format": "blendplan-project", "version": 2, "making": {"weighings": [[]] * (budgets.MAX_GROUPS + 1)}}
    monkeypatch.setattr("blendplan.project.read", lambda *a: pytest.fail("it was read"))
    with pytest.raises(BlendplanError, match="more entries than the 300000"):
        read_project(json.dumps(body).encode())


@pytest.mark.parametrize(
    ("place", "entry", "most"),
    [
        (("making", "purchases"), {"yarn": "Y0", "skeins": 1}, budgets.MAX_EVENTS),
        (("making", "notes"), {"row": 1, "text": "x"}, budgets.MAX_NOTES),
        (("making", "weighings"), {"row": 1, "left": []}, budgets.MAX_EVENTS),
        (("variants",), {"name": "a", "design": {"order": ["Y0"]}}, budgets.MAX_VARIANTS),
        (("materials", "measured"), {"kind": "stitch", "stitch": "dc", "length_cm": 5}, budgets.MAX_MEASURED),
        (("materials", "yarns", 0, "lots"), {"name": "a"}, budgets.MAX_LOTS),
        (("materials", "yarns", 0, "shades"), {"lab": [50, 0, 0], "share": 0.01}, budgets.MAX_SHADES),
        (("design", "own_rows"), [["Y0", "Y1"], 2], budgets.MAX_LIST),
    ],
)
def test_a_list_that_is_too_long_is_refused_before_its_entries_are_read(
    place: tuple[Any, ...], entry: Any, most: int
) -> None:
    body = json.loads(project([1, 1]))
    here = body
    for name in place[:-1]:
        here = here.setdefault(name, {}) if isinstance(name, str) else here[name]
    # An entry that nobody could read: the number of them is looked at first.
    here[place[-1]] = [{"unreadable": True}] * (most + 1)
    with pytest.raises(BlendplanError, match=f"{most + 1} .* were given; allowed is at most {most}"):
        read_project(json.dumps(body).encode())
    here[place[-1]] = [entry] * (2 if place[-1] != "shades" else 100)
    if place[-1] not in ("shades",):
        read_project(json.dumps(body).encode())


def test_all_weighings_together_have_a_budget() -> None:
    left = [{"yarn": "Y0", "grams": 1}] * 500
    with pytest.raises(BlendplanError, match="hold 20500 yarns; allowed is at most 20000"):
        read_project(project([1, 1], making={"weighings": [{"row": 1, "left": left}] * 41}))


def test_every_count_from_outside_stands_in_the_one_table() -> None:
    """No module keeps a limit of its own beside the table, whose every line has a reason."""
    table = (PACKAGE / "budgets.py").read_text(encoding="utf-8")
    lines = [line for line in table.splitlines() if re.match(r"[A-Z_]+ =", line)]
    assert len(lines) > 30 and all(re.fullmatch(r"[A-Z_]+ = [\d_]+  # .+", line) for line in lines)
    names = {line.split(" ")[0] for line in lines}
    for path in PACKAGE.rglob("*.py"):
        if path.name == "budgets.py":
            continue
        text = path.read_text(encoding="utf-8")
        for name in names:
            assert not re.search(rf"^{name}\b.* =", text, re.M), f"{path.name} states {name} again"
        # How many strands its model knows is no budget.
        assert not re.search(r"^MAX_(?!STRANDS)\w+.* =", text, re.M), f"{path.name} keeps a limit of its own"

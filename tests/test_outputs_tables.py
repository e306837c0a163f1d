"""CSV, text and JSON of a plan, read back by the standard library."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import pytest
from briefs import brief, yarn
from odd_plans import ODD_NAMES, odd_plan

from blendplan.outputs.tables import plan_json, rows_txt, shopping_lines, stripes_csv
from blendplan.plan import Brief, make_plan
from blendplan.stripes.sequence import Sequence


def read(data: bytes, delimiter: str = ",") -> list[dict[str, str]]:
    assert data.startswith(b"\xef\xbb\xbf")
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline=""), delimiter=delimiter))


def as_shown(name: str) -> str:
    return "'" + name if (name.startswith(("=", '"')) and "script" not in name) or name.startswith("=") else name


@pytest.mark.parametrize(("semicolon", "delimiter", "decimal"), [(False, ",", "."), (True, ";", ",")])
def test_stripes_in_both_dialects(semicolon: bool, delimiter: str, decimal: str) -> None:
    plan = odd_plan()
    rows = read(stripes_csv(plan, semicolon=semicolon), delimiter)
    assert len(rows) == len(plan.stripes) == 19
    for row, planned in zip(rows, plan.stripes, strict=True):
        names = [row["strand 1"], row["strand 2"]]
        assert [n.removeprefix("'") for n in names] == list(planned.stripe.strands)
        assert not any(n.startswith("=") for n in names)
        assert int(row["rows"]) == planned.stripe.rows
        assert int(row["last row"]) - int(row["first row"]) + 1 == planned.stripe.rows
        assert float(row["height cm"].replace(decimal, ".")) == pytest.approx(planned.height_cm, abs=0.005)
        assert float(row["L*"].replace(decimal, ".")) == pytest.approx(planned.blend.lab[0], abs=0.005)
    assert {n for row in rows for n in (row["strand 1"].removeprefix("'"),)} == set(ODD_NAMES)


def test_what_is_cut_and_joined() -> None:
    """Fern, Clay: AA, AB, BB; one strand is cut and one joined at each change (facts of the trade, tails table)."""
    rows = read(stripes_csv(make_plan(brief("Fern", "Clay"))))
    assert [row["to begin it"] for row in rows] == [
        "Begin with two ends of A Fern.",
        "Cut A Fern. Join B Clay. Keep A Fern.",
        "Cut A Fern. Join B Clay. Keep B Clay.",
    ]


def test_json_holds_everything_and_the_yardage_contract() -> None:
    plan = odd_plan()
    body: dict[str, Any] = json.loads(plan_json(plan))
    assert body["yardage"] == json.loads(json.dumps(plan.yardage.to_json()))
    keys = {"name", "need_m", "low_m", "high_m", "on_hand_m", "buy_skeins", "chance_short"}
    assert all(keys <= set(colour) for colour in body["yardage"]["colours"])
    assert [c["name"] for c in body["yardage"]["colours"]] == list(ODD_NAMES)
    assert body["brief"]["title"] == plan.brief.title
    assert body["fabric"]["chain"] == plan.worked.chain
    assert [s["strands"] for s in body["stripes"]] == [list(s.stripe.strands) for s in plan.stripes]
    assert plan_json(plan) == plan_json(plan)
    assert b"\\u" not in plan_json(plan)


def test_rows_as_text() -> None:
    text = rows_txt(odd_plan()).decode("utf-8")
    assert "US" in text
    for name in ODD_NAMES:
        assert name in text
    assert text.endswith("\n")


def test_shopping_as_lines() -> None:
    lines = shopping_lines(odd_plan())
    assert len(lines) == len(ODD_NAMES) + 1
    for line, name in zip(lines, ODD_NAMES, strict=False):
        assert line.startswith(f"{name}: needs ")


def test_half_a_character_in_a_name_does_not_stop_the_outputs() -> None:
    """A lone surrogate can stand in JSON ("\\ud800") but not in UTF-8."""
    only = yarn("half \ud800 character", "#4f6b3a")
    plan = make_plan(Brief(title="x\udcff", yarns=(only,), sequence=Sequence(order=(only.name,))))
    assert only.name == "half character" and plan.brief.title == "x"
    assert b"half character" in stripes_csv(plan) and b"half character" in plan_json(plan)

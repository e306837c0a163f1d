"""CSV, text and JSON of a plan, read back by the standard library."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from typing import Any

import pytest
from blankets import blanket, blanket_of, yarn
from odd_plans import ODD_NAMES, odd_plan

from blendplan.outputs.tables import plan_json, rows_txt, shopping_lines, stripes_csv, yardage_json
from blendplan.plan import make_plan
from blendplan.yarn import Yarn


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
    rows = read(stripes_csv(make_plan(blanket("Fern", "Clay"))))
    said = [row["to begin it"] for row in rows]
    assert said[0] == "Begin with two strands of Fern (balls 1 and 2)."
    assert said[1].startswith(
        "Stop before the last pull through of row 4. Leave one strand of Fern (ball 2), take up Clay (ball 1), pull "
        "through. Then cut that Fern, leaving 15 cm. Carry on with the other Fern (ball 1)."
    )
    assert said[2].startswith(
        "Stop before the last pull through of row 6. Leave Fern (ball 1), take up a second strand of Clay (ball 2), "
        "pull through. Then cut that Fern, leaving 15 cm. Carry on with Clay (ball 1)."
    )


def test_json_holds_everything_and_the_yardage_contract() -> None:
    plan = odd_plan()
    body: dict[str, Any] = json.loads(plan_json(plan))
    assert body["yardage"] == json.loads(json.dumps(yardage_json(plan)))
    assert isinstance(body["yardage"]["savings"], list)
    keys = {"name", "need_m", "low_m", "high_m", "on_hand_m", "buy_skeins", "chance_short"}
    assert all(keys <= set(colour) for colour in body["yardage"]["colours"])
    assert [c["name"] for c in body["yardage"]["colours"]] == list(ODD_NAMES)
    assert body["blanket"]["title"] == plan.blanket.title
    # What lies on the shelf besides is nobody's business who gets the plan.
    more = Yarn.from_hex("Elsewhere", "#808080")
    materials = replace(plan.blanket.materials, yarns=(*plan.blanket.yarns, more))
    held = json.loads(plan_json(make_plan(replace(plan.blanket, materials=materials))))["blanket"]["materials"]["yarns"]
    assert [yarn["name"] for yarn in held] == [yarn.name for yarn in plan.yarns] != []
    assert body["fabric"]["chain"] == plan.worked.chain
    assert [s["strands"] for s in body["stripes"]] == [list(s.stripe.strands) for s in plan.stripes]
    assert b"\\u" not in plan_json(plan)


def test_rows_as_text() -> None:
    text = rows_txt(odd_plan()).decode("utf-8")
    assert "US" in text
    for name in ODD_NAMES:
        assert name in text
    assert text.endswith("\n")


def test_shopping_as_lines() -> None:
    lines = shopping_lines(odd_plan())
    heads = [line for line in lines if not line.startswith("   ")]
    assert len(heads) > len(ODD_NAMES)
    for line, name in zip(heads, ODD_NAMES, strict=False):
        assert line.startswith(f"{name}: needs ")
    assert any(line.startswith("Price of all: ") for line in heads)


def test_half_a_character_in_a_name_does_not_stop_the_outputs() -> None:
    """A lone surrogate can stand in JSON ("\\ud800") but not in UTF-8."""
    only = yarn("half \ud800 character", "#4f6b3a")
    plan = make_plan(blanket_of(title="x\udcff", yarns=(only,), order=(only.name,)))
    assert only.name == "half character" and plan.blanket.title == "x"
    assert b"half character" in stripes_csv(plan) and b"half character" in plan_json(plan)

"""Files of version 1 and states that the page of then kept: all open, with every value that was in them.

The files were written by the program of version 1 and are never written anew.
"""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from blendplan.errors import BlendplanError
from blendplan.plan import make_plan
from blendplan.project import project_json, read_project
from blendplan.workspace import read_workspace, workspace_to_json

FIXTURES = Path(__file__).parent / "fixtures"
PROJECTS = sorted((FIXTURES / "version-1").glob("*.json"))
STATES = sorted((FIXTURES / "page-1").glob("*.json"))


def test_there_are_files() -> None:
    assert len(PROJECTS) >= 8 and len(STATES) >= 5


def raw(path: Path) -> Any:
    return json.loads(path.read_text(encoding="utf-8-sig"))


@pytest.mark.parametrize("path", PROJECTS, ids=lambda p: p.name)
def test_a_project_opens_and_its_round_trip_is_equal(path: Path) -> None:
    found, _ = read_project(path.read_bytes())
    again, told = read_project(project_json(found).encode())
    assert again == found and not told
    assert project_json(again) == project_json(found)


@pytest.mark.parametrize("path", STATES, ids=lambda p: p.name)
def test_a_kept_state_opens_and_its_round_trip_is_equal(path: Path) -> None:
    found, told = read_workspace(path.read_bytes())
    assert ["1.75" in n.text for n in told] == ([True] if path.name == "making.json" else [])
    again, told = read_workspace(workspace_to_json(found).encode())
    assert again == found and not told


def leaves(value: Any) -> list[Any]:
    """All values of a file that are not groups or lists."""
    if isinstance(value, dict):
        return [leaf for inner in value.values() for leaf in leaves(inner)]
    if isinstance(value, list):
        return [leaf for inner in value for leaf in leaves(inner)]
    return [value]


# Not carried as they stand: whose place has another form now, each checked on its own below.
RENAMED = {"blendplan-project", True, False, None, "imp", "throw", "crib", "baby"}


# What the variants of that state said of materials and ways, which were copies.
COPIES = ("Old title", "Ripple blanket", "US", "metric", 9, 0.03)


@pytest.mark.parametrize("path", [*PROJECTS, *STATES], ids=lambda p: f"{p.parent.name}/{p.name}")
def test_every_value_is_still_in_the_file(path: Path) -> None:
    body = raw(path)
    # How a pair was mixed follows from the distance now; where it was set by hand the maker is told.
    for one in (body, *(variant["brief"] for variant in body.get("page", {}).get("variants", ()))):
        one.pop("member", None)
    if path.name == "unknown-entries.json":
        body = {key: value for key, value in body.items() if key != "shop"}
        for one in body["yarns"]:
            del one["origin"]
    kept = leaves(json.loads(workspace_to_json(read_workspace(path.read_bytes())[0])))
    missing = [leaf for leaf in leaves(body) if leaf not in RENAMED and leaf not in kept]
    # A variant of today names its materials once, in the blanket; what it said of them then is theirs.
    assert [leaf for leaf in missing if path.name != "making.json" or leaf not in COPIES] == []


def test_the_odd_file_value_by_value() -> None:
    found, told = read_project((FIXTURES / "version-1" / "odd.json").read_bytes())
    fern, clay, milk, spare = found.yarns
    assert fern.key == fern.name == "Fern «grün», 7" and (fern.grams, fern.metres) == (50, Fraction("182.88"))
    assert [(lot.name, lot.skeins, lot.parts_g) for lot in fern.lots] == [
        ("A 17", 2, (Fraction("12.5"), Fraction("33.3")))
    ]
    assert fern.price == Fraction(13, 3) and clay.price == Fraction("6.4") and milk.grams == Fraction(2, 3)
    assert [(s.kind, s.within) for s in fern.shades] == [("old", 4.5), ("eye", 9.0)]
    assert clay.shades[0].kind == "typed" and spare.skeins_on_hand == 3
    design, materials = found.design, found.materials
    assert (design.change, design.carrier, design.arrange, design.times) == ("both", "=Milk", "mirror", 3)
    assert design.stripes is not None and [s.locked for s in design.stripes] == [True, False, False, True]
    assert (design.width_cm, design.length_cm, design.repeats, design.ripple.repeats) == (121.5, None, 6, 6)
    assert design.for_baby and design.straighten and design.margin == Fraction("0.15")
    assert design.border is not None and design.border.rounds == 3
    assert design.fringe is not None and design.fringe.strands == (fern.key,)
    assert materials.gauge is not None and materials.gauge.grams_per_stitch == 0.41
    assert len(materials.measured) == 4 and len(materials.swatches) == 1 and materials.scale_g == 0.5
    assert (found.ways.units, found.ways.terms, found.ways.currency) == ("imperial", "UK", "kr")
    # The n of the blends of then is told, for it stands for nothing now; the swatch it was fitted to stays.
    assert ["1.75" in n.text for n in told] == [True]


def test_what_was_weighed_and_kept_is_where_it_belongs() -> None:
    found, _ = read_workspace((FIXTURES / "page-1" / "making.json").read_bytes())
    assert found.blanket is not None
    making = found.blanket.making
    assert making.rows_done == 4 and [w.row for w in making.weighings] == [4]
    assert {w.yarn: w.grams for w in making.weighings[0].left} == {"Clay": Fraction(341, 2), "Fern «grün», 7": 40}
    one, two = found.blanket.variants
    assert one.name == "as it was" and one.design.stripes is None and two.design.order == ("Fern «grün», 7", "Clay")
    # The materials in hand stand, not those of the variant: it was a copy.
    assert found.blanket.yarn("Clay").skeins_on_hand == 5 and found.blanket.title == "Gift for «Ö», №5"


def test_units_that_could_be_written_and_not_read_are_read_and_told() -> None:
    found, told = read_project((FIXTURES / "version-1" / "units-imp.json").read_bytes())
    assert found.ways.units == "imperial" and ["imp" in n.text for n in told] == [True]


@pytest.mark.parametrize("name", ["plain.json", "demo.json", "hand-and-own-gauge.json", "one-yarn.json", "sparse.json"])
def test_the_blanket_that_comes_out_is_the_same(name: str) -> None:
    """Rows, repeats and stripes of a file of then do not change by being opened."""
    body = raw(FIXTURES / "version-1" / name)
    plan = make_plan(read_project((FIXTURES / "version-1" / name).read_bytes())[0])
    assert plan.worked.ripple.repeats == body.get("ripple", {}).get("repeats", 8)
    hand = body.get("stripes")
    if hand is not None:
        assert [s.stripe.rows for s in plan.stripes] == [s["rows"] for s in hand]
    else:
        assert plan.stripes[0].stripe.rows == body["sequence"].get("solid_rows", 4)


def test_a_wrong_value_is_refused_in_the_words_of_the_constructor() -> None:
    body = raw(FIXTURES / "version-1" / "plain.json")
    body["ripple"]["slope"] = 90
    with pytest.raises(BlendplanError, match=r"^project\.design\.ripple\.slope: slope: 90 was given; allowed is"):
        read_project(json.dumps(body).encode())

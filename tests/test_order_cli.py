"""The order command: contract keys, wishes, and one clear line for what cannot be done."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from blendplan.cli import order as command
from blendplan.errors import BlendplanError

CSV = "name,srgb\nFern,#3f7d3a\nClay,#b35c37\nSky,#7fb2d6\nMilk,#f2efe6\nInk,#22304f\n"


@pytest.fixture
def palette(tmp_path: Path) -> str:
    path = tmp_path / "palette.csv"
    path.write_text(CSV, encoding="utf-8-sig")
    return str(path)


def call(*args: str) -> int:
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    return command.run(parser.parse_args(args))


def test_json_has_the_contract_keys_and_cost_is_the_sum(palette: str, capsys: pytest.CaptureFixture[str]) -> None:
    import colour

    # The outside libraries mix in Oklab, which is the near end.
    assert call(palette, "--seen-from", "near", "--json") == 0
    data = json.loads(capsys.readouterr().out)
    assert {"order", "cost", "exact", "steps"} <= set(data)
    assert data["exact"] is True
    assert data["gap"] == 0
    hexes = dict(line.split(",") for line in CSV.splitlines()[1:])
    xyz = {n: colour.sRGB_to_XYZ(np.array([int(h[i : i + 2], 16) for i in (1, 3, 5)]) / 255) for n, h in hexes.items()}
    ok = {n: colour.XYZ_to_Oklab(x) for n, x in xyz.items()}
    stripes = [ok[data["order"][0]]]
    for a, b in zip(data["order"][:-1], data["order"][1:], strict=True):
        stripes += [(ok[a] + ok[b]) / 2, ok[b]]
    lab = colour.XYZ_to_Lab(colour.Oklab_to_XYZ(np.array(stripes)), np.array([0.3127, 0.3290]))
    assert data["cost"] == pytest.approx(deltaE_ciede2000(lab[:-1], lab[1:]).sum(), abs=0.05)
    assert data["cost"] == pytest.approx(sum(s["delta_e"] for s in data["steps"]), abs=1e-5)
    assert [s["from"] for s in data["steps"]] == data["order"][:-1]


def test_a_project_gives_the_same_order_as_its_yarns(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from blendplan.order import find_order
    from blendplan.project import load_project, save_project
    from blendplan.start import starting_blanket

    brief, _ = starting_blanket()
    path = tmp_path / "blanket.json"
    save_project(brief, path)
    assert call(str(path), "--json") == 0
    data = json.loads(capsys.readouterr().out)
    assert tuple(data["order"]) == find_order(load_project(path).yarns).order
    assert call(str(path), "--aim", "own", "--json") == 0
    assert json.loads(capsys.readouterr().out)["cost"] == 0


def test_wishes_and_text(palette: str, capsys: pytest.CaptureFixture[str]) -> None:
    call(palette, "--first", "Sky", "--last", "Ink", "--never", "Sky", "Milk", "--place", "Fern", "3", "--json")
    order = json.loads(capsys.readouterr().out)["order"]
    assert (order[0], order[2], order[-1]) == ("Sky", "Fern", "Ink")
    assert order[1] != "Milk"
    call(palette, "--choose", "3", "--keep", "Clay", "--json")
    order = json.loads(capsys.readouterr().out)["order"]
    assert len(order) == 3
    assert "Clay" in order
    call(palette, "--aim", "smoothest=2,even=1", "--others", "2")
    text = capsys.readouterr().out
    assert text.startswith("Order: ")
    assert "proven best" in text
    assert text.count("Another, ") == 2
    call(palette, "--closed", "--json", "--others", "1")
    data = json.loads(capsys.readouterr().out)
    assert len(data["steps"]) == 5
    assert len(data["others"]) == 1


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("--first", "Rose"), "'Rose' is not a colour of this palette"),
        (("--first", "Sky", "--last", "Sky"), "'Sky' is to stand in 2 places"),
        (("--aim", "best"), "'best' is not an aim"),
        (("--aim", "even=-1"), "weight of even"),
        (("--aim", "ends"), "needs a wanted start or end colour"),
        (("--member", "far"), "--seen-from METRES"),
        (("--seen-from", "close"), "metres from 0.1 to 1000"),
        (("--place", "Sky", "9"), "there are 5 places"),
        (("--together", "Sky", "Ink", "--never", "Ink", "Sky"), "both wanted and forbidden"),
        (("--short", "Sky", "--closed"), "has no ends"),
        (("--closed", "--mirrored"), "choose mirrored or closed"),
        (("--choose", "9"), "colours to choose"),
        (("--keep", "Sky"), "without --choose"),
        (("--carrier", "Sky", "--first", "Sky"), "is the carrier"),
        (("--twice", "Sky", "--apart", "9"), "keeps to all wishes"),
    ],
)
def test_one_clear_line(palette: str, args: tuple[str, ...], says: str) -> None:
    with pytest.raises(BlendplanError, match=says) as caught:
        call(palette, *args)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "says"), [("name,srgb\n", "empty"), ("name,srgb\nSky,#7fb2d6\n", "only one colour"), ("", "is empty")]
)
def test_palettes_without_an_order(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "few.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BlendplanError, match=says):
        call(str(path))
    with pytest.raises(BlendplanError, match="cannot be read"):
        call(str(tmp_path / "nothing.csv"))


def test_few_moves_from_the_order_as_it_stands(palette: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(palette, "--moves", "2", "--json") == 0
    data = json.loads(capsys.readouterr().out)
    told = data["few_moves"]
    assert told[0]["moves"] == 0 and told[0]["order"] == [line.split(",")[0] for line in CSV.splitlines()[1:]]
    costs = [one["cost"] for one in told]
    assert len(told) > 1 and costs == sorted(costs, reverse=True) and costs[-1] >= data["cost"] - 1e-9
    assert told[1]["saved"] == pytest.approx(1 - costs[1] / costs[0], abs=1e-3)
    call(palette, "--moves", "1")
    assert "One move makes it" in capsys.readouterr().out
    with pytest.raises(BlendplanError, match="moves: 0 was given"):
        call(palette, "--moves", "0")
    with pytest.raises(BlendplanError, match="--moves was given with --follow or --choose"):
        call(palette, "--moves", "1", "--choose", "3")


def test_an_order_goes_into_a_project_and_nowhere_else(
    palette: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from dataclasses import replace

    from blendplan.project import load_project, save_project
    from blendplan.start import starting_blanket

    path = tmp_path / "blanket.json"
    save_project(starting_blanket(palette=palette)[0], path)
    before = load_project(path)
    assert call(palette, "--last", "Sky", "--into", str(path), "--json") == 0
    order = json.loads(capsys.readouterr().out)["order"]
    after = load_project(path)
    assert [after.names[key] for key in after.design.order] == order and order[-1] == "Sky"
    assert replace(after, design=before.design) == before
    # The project's own order is the palette's too, and goes there the same way.
    assert call(str(path), "--first", "Sky", "--into", str(path)) == 0
    assert load_project(path).design.order[0] == after.keys["Sky"]
    # What is worked stays, and so does a project of other colours.
    save_project(replace(before, making=replace(before.making, rows_done=3)), path)
    held = path.read_bytes()
    with pytest.raises(BlendplanError, match="3 rows are worked already"):
        call(palette, "--first", order[1], "--last", order[0], "--into", str(path))
    assert path.read_bytes() == held
    save_project(starting_blanket()[0], path)
    with pytest.raises(BlendplanError, match="has no yarn"):
        call(palette, "--into", str(path))


def test_others_of_chosen_colours(tmp_path: Path, palette: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(palette, "--choose", "3", "--others", "1", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    (other,) = told["others"]
    assert sorted(other["order"]) == sorted(told["order"]) and other["order"] != told["order"]

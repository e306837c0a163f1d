"""The `shades` command: its JSON contract, its plain text, and one line for bad input."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import pytest
import scenes

from blendplan.cli import shades
from blendplan.errors import BlendplanError, PhotoError, ProjectError


@pytest.fixture(scope="module")
def photo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("photos") / "yarn, ñ 毛糸.jpg"
    path.write_bytes(scenes.make_scene([7100, 1], yarns=2).data)
    return path


def run(*arguments: str) -> int:
    parser = argparse.ArgumentParser()
    shades.add_arguments(parser)
    return shades.run(parser.parse_args(list(arguments)))


def test_json_has_the_shape_of_the_contract(photo_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(str(photo_file), "--box", "10,10,200,200", "--box", "300,100,400,300", "--json") == 0
    got = json.loads(capsys.readouterr().out)
    (photo,) = got["photos"]
    assert photo["photo"] == "yarn, ñ 毛糸.jpg"
    assert photo["white"] is None or len(photo["white"]["box"]) == 4
    assert [y["box"] for y in photo["yarns"]] == [[10, 10, 200, 200], [300, 100, 400, 300]]
    for yarn in photo["yarns"]:
        assert abs(sum(s["share"] for s in yarn["shades"]) - 1) < 1e-9
        for shade in yarn["shades"]:
            assert {"srgb", "lab", "share"} <= set(shade)


def test_plain_text_names_each_yarn(photo_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(str(photo_file), "--white", "off") == 0
    text = capsys.readouterr().out
    assert "white: none" in text
    assert "yarn 1 at " in text
    assert "CIEDE2000" in text


@pytest.mark.parametrize(
    "arguments",
    [
        ("--box", "1,2,3"),
        ("--box", "a,b,c,d"),
        ("--box", "0,0,nan,5"),
        ("--box", "0,0,99999,5"),
        ("--white", "sideways"),
        ("--white", "1,99999"),
        ("--card", "1,2,3,4"),
        ("--turn", "7"),
    ],
)
def test_bad_options_give_one_line(photo_file: Path, arguments: tuple[str, ...]) -> None:
    with pytest.raises(BlendplanError) as caught:
        run(str(photo_file), *arguments)
    assert "\n" not in str(caught.value)


def test_missing_and_broken_files_give_one_line(tmp_path: Path) -> None:
    with pytest.raises(ProjectError, match="check the name"):
        run(str(tmp_path / "none.jpg"))
    with pytest.raises(ProjectError, match="check the name"):
        run(str(tmp_path))
    broken = tmp_path / "broken.tif"
    broken.write_bytes(b"II*\x00" + b"\x08\x00\x00\x00" * 20)
    with pytest.raises(PhotoError):
        run(str(broken))


def test_two_photos_keep_their_order(photo_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(str(photo_file), str(photo_file), "--box", "0,0,99,99", "--json") == 0
    assert len(json.loads(capsys.readouterr().out)["photos"]) == 2

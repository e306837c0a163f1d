"""`blendplan blend`: its contract, its plain text, and one line for bad input."""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from blendplan.cli import blend as command
from blendplan.colour import delta_e_2000, hex_to_lab, linear_to_lab, srgb_to_linear
from blendplan.errors import BlendplanError


def call(*words: str) -> int:
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    return command.run(parser.parse_args(list(words)))


def test_json_is_the_contract(capsys: pytest.CaptureFixture[str]) -> None:
    assert call("#1f3b73", "#f2d16b", "--json") == 0
    got = json.loads(capsys.readouterr().out)
    assert list(got) == [
        "srgb",
        "lab",
        "seen_from_m",
        "near",
        "far",
        "strand_difference",
        "within",
        "reads_as",
        "notices",
    ]
    assert got["near"] == "#83877d" and got["seen_from_m"] == 2.0 and got["within"] is None
    assert got["reads_as"] == "barber-poled" and len(got["lab"]) == 3
    assert all(isinstance(n, str) for n in got["notices"])
    assert got["strand_difference"] == pytest.approx(74.5, abs=0.1)


def told(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, object]:
    assert call(*words, "--json") == 0
    got = json.loads(capsys.readouterr().out)
    assert isinstance(got, dict)
    return got


def test_distances(capsys: pytest.CaptureFixture[str]) -> None:
    """Black with white; the near chip is that of a separate prototype (colour facts, 2a)."""
    near, far = (told(capsys, "000000", "ffffff", "--seen-from", d) for d in ("near", "far"))
    assert near["srgb"] == near["near"] == "#636363" and near["seen_from_m"] == 0
    assert far["srgb"] == far["far"] and far["seen_from_m"] is None
    sofa, two, away = (told(capsys, "000000", "ffffff", *w) for w in ((), ("--seen-from", "2"), ("--seen-from", "9")))
    assert sofa == two and away["seen_from_m"] == 9.0
    assert near["lab"] < sofa["lab"] < away["lab"] < far["lab"]  # type: ignore[operator]


def test_a_swatch_is_drawn_whole_or_not_at_all(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from PIL import Image

    path = tmp_path / "swatch.png"
    got = told(capsys, "1f3b73", "f2d16b", "--seen-from", "far", "--swatch", str(path))
    with Image.open(path) as image:
        light = srgb_to_linear(np.asarray(image.convert("RGB")) / 255).mean(axis=(0, 1))
    apart = float(delta_e_2000(linear_to_lab(light), hex_to_lab(str(got["far"]))))
    print(f"mean light of the swatch is {apart:.2f} from the far end (goal 1)")
    assert apart < 1.0
    with pytest.raises(BlendplanError, match="does not end in .png"):
        call("000", "fff", "--swatch", str(tmp_path / "swatch.jpg"))
    with pytest.raises(BlendplanError, match="allowed is up to 4"):
        call(*["123456"] * 5, "--swatch", str(path))


def test_share_is_that_of_the_first_strand(capsys: pytest.CaptureFixture[str]) -> None:
    call("000", "fff", "--share", "1", "--json")
    assert json.loads(capsys.readouterr().out)["srgb"] == "#000000"
    call("000", "fff", "--share", "0,25", "--json")
    lighter = json.loads(capsys.readouterr().out)["lab"][0]
    call("000", "fff", "--json")
    assert lighter > json.loads(capsys.readouterr().out)["lab"][0]


def test_three_strands(capsys: pytest.CaptureFixture[str]) -> None:
    call("1f3b73", "f2d16b", "b52b33", "--share", ".5", "--share", ".3", "--share", ".2", "--json")
    assert json.loads(capsys.readouterr().out)["srgb"].startswith("#")


def test_plain_text_names_both_ends_and_how_it_reads(capsys: pytest.CaptureFixture[str]) -> None:
    call("1f3b73", "f2d16b")
    text = capsys.readouterr().out
    for part in ("#83877d", "#a49674", "74.5", "barber-poled", "swatch"):
        assert part in text


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["red", "#ffffff"], "six hexadecimal digits"),
        (["#ffffff"], "two colours or more"),
        (["000", "fff", "--share", "2"], "--share: 2 was given; allowed is 0 to 1"),
        (["000", "fff", "--share", "nan"], "'nan' is not a number"),
        (["000", "fff", "--share", ".1", "--share", ".2", "--share", ".3"], "shares given: 3, strands: 2"),
        (["000", "fff", "abc", "--share", ".1"], "shares given: 1, strands: 3"),
        (["000", "fff", "--member", "optical"], "--seen-from METRES"),
        (["000", "fff", "--seen-from", "close"], "metres from 0.1 to 1000"),
        (["000", "fff", "--seen-from", "5000"], "metres from 0.1 to 1000"),
        (["000"] * 9, "allowed is 2 to 8"),
    ],
)
def test_bad_input_is_one_line(words: list[str], says: str) -> None:
    with pytest.raises(BlendplanError) as caught:
        call(*words)
    assert says in str(caught.value) and "\n" not in str(caught.value)


def test_its_arguments_import_nothing_heavy() -> None:
    code = "import sys, blendplan.cli.blend; print([m for m in ('numpy', 'colour', 'scipy') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"

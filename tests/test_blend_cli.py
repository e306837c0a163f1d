"""`blendplan blend`: its contract, its plain text, and one line for bad input."""

from __future__ import annotations

import argparse
import json
import subprocess
import sys

import pytest

from blendplan.cli import blend as command
from blendplan.errors import BlendplanError


def call(*words: str) -> int:
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    return command.run(parser.parse_args(list(words)))


def test_json_is_the_contract(capsys: pytest.CaptureFixture[str]) -> None:
    assert call("#1f3b73", "#f2d16b", "--json") == 0
    got = json.loads(capsys.readouterr().out)
    assert list(got) == ["srgb", "lab", "strand_difference", "range", "reads_as", "notices"]
    assert got["srgb"] == "#83877d" and got["range"] == {"perceptual": "#83877d", "optical": "#b39e6f"}
    assert got["reads_as"] == "barber-poled" and len(got["lab"]) == 3
    assert all(isinstance(n, str) for n in got["notices"])
    assert got["strand_difference"] == pytest.approx(74.5, abs=0.1)


@pytest.mark.parametrize(("member", "srgb"), [("perceptual", "#636363"), ("optical", "#bcbcbc"), ("1.5", "#a0a0a0")])
def test_members(member: str, srgb: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Black with white: chips of a separate prototype (colour facts, 2a)."""
    call("000000", "ffffff", "--member", member, "--json")
    assert json.loads(capsys.readouterr().out)["srgb"] == srgb


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
    for part in ("#83877d", "#b39e6f", "74.5", "barber-poled", "swatch"):
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
        (["000", "fff", "--member", "near"], "perceptual, optical or a number from 1 to 3"),
        (["000", "fff", "--member", "4"], "1 to 3"),
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

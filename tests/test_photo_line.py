"""Shades along a line of a picture, and the order that follows them."""

from __future__ import annotations

import io
import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from blendplan.cli import main
from blendplan.colour import delta_e_2000, hex_to_lab
from blendplan.errors import PhotoError
from blendplan.photo import load_photo, shades_along

BANDS = ("#203050", "#8090b0", "#e8d8c0", "#c06030")


def picture() -> bytes:
    """Four level bands of colour, top to bottom."""
    rows = [np.full((60, 300, 3), [int(c[i : i + 2], 16) for i in (1, 3, 5)], dtype=np.uint8) for c in BANDS]
    out = io.BytesIO()
    Image.fromarray(np.concatenate(rows)).save(out, "PNG")
    return out.getvalue()


def test_bands_are_read_in_their_order_and_backwards() -> None:
    photo = load_photo(picture(), "bands.png")
    down = shades_along(photo, (150, 0), (150, 240), count=41)
    for i, colour in zip((4, 15, 25, 36), BANDS, strict=True):
        assert float(delta_e_2000(down[i], hex_to_lab(colour))) < 0.5
    up = shades_along(photo, (150, 240), (150, 0), count=41)
    assert np.allclose(up[4], down[36], atol=1e-6)
    level = shades_along(photo, (10, 30), (290, 30), count=5)
    assert max(float(delta_e_2000(lab, hex_to_lab(BANDS[0]))) for lab in level) < 0.5


@pytest.mark.parametrize(
    "line", [((0, 0), (0, 0)), ((-5, 0), (10, 10)), ((0, 0), (float("nan"), 3)), ((0, 0), (9e5, 3))]
)
def test_bad_lines_are_refused(line: tuple[tuple[float, float], tuple[float, float]]) -> None:
    with pytest.raises((PhotoError, ValueError)) as caught:
        shades_along(load_photo(picture(), "bands.png"), *line)
    assert "\n" not in str(caught.value)


def test_the_command_follows_a_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "bands.png").write_bytes(picture())
    names = ("Rust", "Milk", "Mist", "Night")
    lines = [f"{n},{c}" for n, c in zip(names, reversed(BANDS), strict=True)]
    (tmp_path / "p.csv").write_text("name,srgb\n" + "\n".join([*lines, "Green,#208040"]) + "\n", encoding="utf-8")
    command = ["order", str(tmp_path / "p.csv"), "--follow", str(tmp_path / "bands.png"), "--places", "4", "--json"]
    assert main(command) == 0
    assert json.loads(capsys.readouterr().out)["order"] == ["Night", "Mist", "Milk", "Rust"]
    assert main([*command, "--line", "150,240,150,0"]) == 0
    assert json.loads(capsys.readouterr().out)["order"] == ["Rust", "Milk", "Mist", "Night"]
    assert main(["order", str(tmp_path / "p.csv"), "--line", "1,2,3,4"]) == 2

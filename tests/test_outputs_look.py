"""Signs without colour: letters, hatchings, words for lightness."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blendplan.colour import lab_to_linear
from blendplan.outputs.content import HATCHINGS, LIGHTNESS, hatch, letters, lightness, on_colour


@given(st.lists(st.text(max_size=3), max_size=120))
def test_letters_are_one_to_one(names: list[str]) -> None:
    signs = letters(names)
    assert set(signs) == set(names)
    assert len(set(signs.values())) == len(signs)
    # Letters already given stay when more yarns come.
    assert list(letters([*names, "more"]).items())[: len(signs)] == list(signs.items())


@given(
    st.sampled_from(HATCHINGS),
    st.floats(0.5, 60),
    st.floats(0.5, 60),
    st.floats(0.4, 5),
)
def test_hatching_stays_in_its_box(kind: str, w: float, h: float, step: float) -> None:
    for x0, y0, x1, y1 in hatch(kind, w, h, step):  # type: ignore[arg-type]
        assert min(x0, x1) >= -1e-9 and max(x0, x1) <= w + 1e-9
        assert min(y0, y1) >= -1e-9 and max(y0, y1) <= h + 1e-9


def test_hatchings_differ() -> None:
    drawn = [tuple(hatch(kind, 8.0, 5.0, 1.5)) for kind in HATCHINGS]
    assert len(set(drawn)) == len(HATCHINGS)


@given(st.floats(0, 100))
def test_black_or_white_by_contrast(light: float) -> None:
    """Contrast ratio of WCAG 2.2: (lighter + 0.05) / (darker + 0.05)."""
    y = float(np.asarray(lab_to_linear([light, 0.0, 0.0])) @ [0.2126, 0.7152, 0.0722])
    black, white = (y + 0.05) / 0.05, 1.05 / (y + 0.05)
    if abs(black - white) > 0.02:
        assert on_colour((light, 0.0, 0.0)) == (0 if black > white else 255)


def test_every_colour_has_a_word() -> None:
    words = [LIGHTNESS[lightness((v / 10, 0.0, 0.0))] for v in range(1001)]
    assert list(dict.fromkeys(words)) == ["very dark", "dark", "middle", "pale", "very pale"]


@pytest.mark.parametrize("count", [1, 26, 27, 53])
def test_letters_past_the_alphabet(count: int) -> None:
    signs = list(letters(str(i) for i in range(count)).values())
    assert signs[0] == "A" and len(signs) == count
    assert count < 27 or signs[26] == "A2"

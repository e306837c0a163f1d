"""One yarn read from several photos: what is averaged, what is kept, and what is said of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blendplan.colour import delta_e_2000, lab_to_linear, linear_to_oklab
from blendplan.errors import PhotoError
from blendplan.photo import merge_yarn_shades
from blendplan.yarn import Shade

ROSE = Shade(lab=(57.0, 55.0, 2.0), within=5.0, reasons=("tone-curve",))


def moved(shade: Shade, step: float, **changes: object) -> Shade:
    """The shade with its lightness moved."""
    return replace(shade, lab=(shade.lab[0] + step, *shade.lab[1:]), **changes)


def test_two_readings_that_agree_are_averaged_by_how_sure_they_are() -> None:
    other = moved(ROSE, 4.0, within=10.0, reasons=("no-white",))
    same = merge_yarn_shades("Rose", [(other,), (ROSE,)])
    # The textbook weighted mean: weights 1 / u squared, here 4 to 1, of Oklab.
    one, two = (linear_to_oklab(lab_to_linear(s.lab)) for s in (ROSE, other))
    made = linear_to_oklab(lab_to_linear(same.shades[0].lab))
    assert np.allclose(made, (4 * one + two) / 5, atol=1e-6)
    assert same.surest == 1 and same.apart == pytest.approx(float(delta_e_2000(ROSE.lab, other.lab)))
    assert set(same.shades[0].reasons) == {"tone-curve", "no-white"}
    assert same.notice.level == "note" and "averaged" in same.notice.text and "Rose" in same.notice.text


def test_two_readings_that_disagree_keep_the_surest_and_are_flagged() -> None:
    other = moved(ROSE, 25.0, within=4.0)
    same = merge_yarn_shades("Rose", [(ROSE,), (other,)])
    (kept,) = same.shades
    assert same.apart > 10 and same.surest == 1 and kept.lab == other.lab
    # Two readings so far apart cannot both be right: one of them is off by half of it at least.
    assert kept.within is not None and kept.within >= same.apart / 2 - 0.05
    assert "photos-disagree" in kept.reasons and same.notice.level == "warning" and "surest" in same.notice.text


def test_several_shades_are_matched_by_colour_and_not_by_place() -> None:
    dark, light = replace(ROSE, lab=(30.0, 10.0, -20.0), share=0.3), replace(ROSE, lab=(80.0, 0.0, 30.0), share=0.7)
    again = (moved(light, 2.0, share=0.6), moved(dark, 2.0, share=0.4))
    same = merge_yarn_shades("Two", [(dark, light), again])
    assert [s.share for s in same.shades] == [0.35, 0.65]
    assert 30 < same.shades[0].lab[0] < 32 and 80 < same.shades[1].lab[0] < 82
    assert same.apart < 3


def test_one_shade_of_several_that_disagrees_keeps_the_surest_reading_whole() -> None:
    dark, light = replace(ROSE, lab=(30.0, 10.0, -20.0), share=0.5), replace(ROSE, lab=(80.0, 0.0, 30.0), share=0.5)
    again = (moved(dark, 1.0, within=9.0), moved(light, -30.0, within=9.0))
    same = merge_yarn_shades("Two", [(dark, light), again])
    assert [s.lab for s in same.shades] == [dark.lab, light.lab]
    assert ["photos-disagree" in s.reasons for s in same.shades] == [False, True]


def test_unlike_numbers_of_shades_are_not_averaged() -> None:
    parts = (replace(ROSE, share=0.5, within=9.0), moved(ROSE, 20.0, share=0.5, within=9.0))
    same = merge_yarn_shades("Rose", [parts, (ROSE,)])
    assert same.surest == 1 and same.shades[0].lab == ROSE.lab
    assert same.notice.level == "warning" and "2, 1" in same.notice.text
    assert same.apart == pytest.approx(9, abs=1), "the mean of the two"
    doubted = merge_yarn_shades("Rose", [(parts[0], replace(parts[1], lab=(99.0, 0.0, 0.0))), (ROSE,)])
    assert "photos-disagree" in doubted.shades[0].reasons


def test_what_was_set_by_eye_is_kept_whole_even_by_surer_photos() -> None:
    eye = moved(ROSE, 3.0, kind="eye", within=None)
    for readings in ([(eye,), (ROSE,)], [(ROSE,), (eye,)], [(ROSE, ROSE), (eye,)]):
        same = merge_yarn_shades("Rose", readings)
        assert same.shades == (eye,) and "by eye" in same.notice.text


@pytest.mark.parametrize("readings", [[], [(ROSE,)], [(ROSE,), ()]])
def test_joining_needs_two_readings(readings: list[tuple[Shade, ...]]) -> None:
    with pytest.raises(PhotoError, match="two or more"):
        merge_yarn_shades("Rose", readings)

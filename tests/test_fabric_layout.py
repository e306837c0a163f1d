"""Positions of stitches against the geometry of a tilted fabric (trade facts, derived: no page states it)."""

from __future__ import annotations

from math import atan, cos, sin, tan

import numpy as np
import pytest

from blendplan.errors import FabricError
from blendplan.fabric.layout import lay_heights, lay_row
from blendplan.fabric.rows import Part, Row, Step


def point_ripple(repeats: int = 8, slope: int = 7) -> Row:
    """The row of the common two-strand ripple: half-peak edges, chain-2 peaks, skip-2 valleys."""
    side = Step(kind="each", stitch="dc", count=slope - 1)
    down = (side, Step(kind="skip", count=2), side)
    peak = Step(kind="group", stitches=("dc", "ch", "ch", "dc"), takes=2, into_space=True)
    return Row(
        name="repeat",
        parts=(
            Part(steps=(Step(kind="turn", takes=0), Step(kind="each", stitch="dc", count=1))),
            Part(steps=(*down, peak), times=repeats - 1),
            Part(steps=(*down, Step(kind="group", stitches=("dc", "dc"), takes=1))),
        ),
    )


def test_point_ripple_has_the_angle_width_rise_and_depth_of_a_tilted_fabric() -> None:
    row = point_ripple()
    assert (row.taken, row.made) == (128, 128)
    lay = lay_row(row, stitch_width_cm=1.0, row_height_cm=1.8)
    theta = atan(1.0 / 1.8)
    assert lay.slope == pytest.approx(tan(theta))
    assert lay.width_cm == pytest.approx(128 * cos(theta))
    assert lay.rise_cm == pytest.approx(1.8 / cos(theta))
    x = (np.arange(128) + 0.5) * cos(theta)
    assert np.allclose(lay.top[np.argsort(lay.top[:, 0]), 0], x)
    # One slope of 7 climbs 7 widths x sin(theta); the two chains lie level.
    heights = lay.wave_y(lay.outline[:, 0])
    assert np.ptp(heights[8:16]) == pytest.approx(7 * sin(theta))
    assert lay.wave_cm == pytest.approx(7 * sin(theta), rel=0.15)


def test_a_slope_stitch_stands_square_to_the_wave_and_is_as_high_as_the_row() -> None:
    lay = lay_row(point_ripple(), stitch_width_cm=1.0, row_height_cm=1.8)
    middle = [i for i, k in enumerate(lay.kinds) if k == "dc"][3]
    post = lay.top[middle] - lay.base[middle]
    assert np.hypot(*post) == pytest.approx(1.8)
    along = lay.outline[4] - lay.outline[3]
    assert float(post @ along) == pytest.approx(0.0, abs=1e-9)


def test_a_straight_row_is_level() -> None:
    row = Row(name="plain", parts=(Part(steps=(Step(kind="each", stitch="sc", count=3),), times=2),))
    lay = lay_row(row, stitch_width_cm=1.2, row_height_cm=1.0)
    assert lay.wave_cm == 0.0
    assert lay.rise_cm == 1.0
    assert lay.runs == ((0, 3), (3, 6))
    assert np.allclose(lay.top - lay.base, [0.0, 1.0])


def test_a_row_of_nothing_is_refused() -> None:
    with pytest.raises(FabricError, match="makes no stitch"):
        lay_row(Row(name="empty", parts=()), stitch_width_cm=1, row_height_cm=1)


def ladder(*names: str) -> Row:
    return Row(name="ladder", parts=(Part(steps=tuple(Step(kind="each", stitch=n, count=1) for n in names), times=3),))


def test_a_wave_of_stitch_heights_is_filled_again_by_the_next_row() -> None:
    tall = {"sc": 0.9, "hdc": 1.4, "dc": 1.8, "tr": 2.6}
    rows = (ladder("sc", "dc", "tr", "dc"), ladder("tr", "hdc", "sc", "hdc"))
    first, second = lay_heights(rows, stitch_width_cm=1.0, heights_cm=tall)
    heights = first.top[:, 1] - first.base[:, 1]
    # A stitch reaches the line through the borders beside it, which round the corners off.
    assert first.rise_cm == pytest.approx((0.9 + 1.8 + 2.6 + 1.8) / 4)
    assert np.argmax(heights[:4]) == 2
    assert heights.mean() == pytest.approx(first.rise_cm, abs=0.05)
    assert np.allclose(first.base[:, 1], -first.rise_cm)
    assert np.allclose(second.top[:, 1], 0.0)
    assert np.allclose(second.base[:, 1] + second.rise_cm, first.wave_y(second.base[:, 0]))
    with pytest.raises(FabricError, match="same number"):
        lay_heights((rows[0], ladder("sc")), stitch_width_cm=1.0, heights_cm=tall)


def test_a_turning_chain_that_stands_for_no_stitch_leaves_no_place() -> None:
    turn = Step(kind="turn", count=1, stands=False)
    row = Row(name="sc", parts=(Part(steps=(turn, Step(kind="each", stitch="sc", count=5))),))
    assert lay_row(row, stitch_width_cm=1.0, row_height_cm=0.9).kinds == ("sc",) * 5

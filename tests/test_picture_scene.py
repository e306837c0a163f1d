"""The drawn blanket: proportions, area means, both strands in every stitch, colours apart from geometry.

What the colours are held against: the linear-light mean is the definition of two fields fused by the eye
(area-weighted mean of light, as in halftone theory, Murray 1936, Davies 1936); CIEDE2000 as in CIE 142-2001.
Seeds: shading, twist and yarn paths were tuned by eye on seed 0; every check here uses seeds 11 to 14.
"""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import center_of_mass, label

from blendplan.colour import delta_e_2000, hex_to_linear, linear_to_lab
from blendplan.errors import QuantityError
from blendplan.fabric.layout import RowLayout, lay_heights, lay_row
from blendplan.fabric.rows import Part, Row, Step
from blendplan.picture import geometry, scene
from blendplan.picture.canvas import Geometry, View, cut_out, mixtures, paint
from blendplan.picture.distance import decode
from blendplan.picture.geometry import prepare
from blendplan.picture.scene import (
    DrawnStripe,
    blanket_size_cm,
    draw_blanket,
    shape_of,
    view_of,
)

SEEDS = (11, 12, 13, 14)
MID = ("#1f3b73", "#b5523b", "#4f7f6a", "#7a5c8e", "#8a7f70")


def point_ripple(repeats: int = 3, slope: int = 4) -> RowLayout:
    side = Step(kind="each", stitch="dc", count=slope - 1)
    down = (side, Step(kind="skip", count=2), side)
    peak = Step(kind="group", stitches=("dc", "ch", "ch", "dc"), takes=2, into_space=True)
    row = Row(
        name="repeat",
        parts=(
            Part(steps=(Step(kind="turn", takes=0), Step(kind="each", stitch="dc", count=1))),
            Part(steps=(*down, peak), times=repeats - 1),
            Part(steps=(*down, Step(kind="group", stitches=("dc", "dc"), takes=1))),
        ),
    )
    return lay_row(row, stitch_width_cm=1.0, row_height_cm=1.8)


def plain(stitch: str = "dc", count: int = 16, height: float = 1.8) -> RowLayout:
    row = Row(name="plain", parts=(Part(steps=(Step(kind="each", stitch=stitch, count=count),)),))
    return lay_row(row, stitch_width_cm=1.0, row_height_cm=height)


def cover_of(drawing: Geometry) -> NDArray[np.uint8]:
    """How much of each pixel is blanket, 0 to 255."""
    return cut_out(drawing, [("#888888",) * many for many in drawing.strands])[..., 3]


def middle_mean(colours: tuple[str, ...], *, px_per_cm: float, seed: int, layout: RowLayout | None = None) -> NDArray:
    """Mean light of the middle of a plain cloth, which has no holes."""
    layout = layout or plain()
    rise = layout.rise_cm
    picture = draw_blanket(
        [DrawnStripe(strand_colours=colours, rows=8)],
        layout,
        px_per_cm=px_per_cm,
        window=(2.0, 2 * rise, 14.0, 6 * rise),
        seed=seed,
    )
    return decode(picture).mean(axis=(0, 1), dtype=np.float64)


@pytest.mark.parametrize("px_per_cm", [7.0, 13.0, 26.0])
@pytest.mark.parametrize("seed", SEEDS[:2])
def test_the_mean_of_a_solid_stripe_is_the_yarns_own_shade(px_per_cm: float, seed: int) -> None:
    for colour in MID:
        mean = middle_mean((colour, colour), px_per_cm=px_per_cm, seed=seed)
        assert delta_e_2000(linear_to_lab(mean), linear_to_lab(hex_to_linear(colour))) < 1.0


def test_near_white_yarn_keeps_its_stitches_and_loses_at_most_two_steps_of_lightness() -> None:
    mean = middle_mean(("#f4efe4", "#f4efe4"), px_per_cm=13.0, seed=SEEDS[0])
    wanted = linear_to_lab(hex_to_linear("#f4efe4"))
    got = linear_to_lab(mean)
    assert -2.0 < got[0] - wanted[0] <= 0.5
    assert np.hypot(*(got - wanted)[1:]) < 1.5


@pytest.mark.parametrize("pair", [("#1f3b73", "#f2d16b"), ("#b5523b", "#4f7f6a"), ("#7a5c8e", "#d8cdb8")])
def test_the_mean_of_a_marl_is_the_mean_of_light(pair: tuple[str, str]) -> None:
    wanted = linear_to_lab(np.mean([hex_to_linear(c) for c in pair], axis=0))
    found = [middle_mean(pair, px_per_cm=13.0, seed=seed) for seed in SEEDS]
    assert delta_e_2000(linear_to_lab(np.mean(found, axis=0)), wanted) < 1.5
    assert max(float(delta_e_2000(linear_to_lab(mean), wanted)) for mean in found) < 3.0


@pytest.mark.parametrize("count", [1, 3, 4])
def test_other_numbers_of_strands(count: int) -> None:
    colours = ("#1f3b73", "#b5523b", "#4f7f6a", "#d8cdb8")[:count]
    wanted = linear_to_lab(np.mean([hex_to_linear(c) for c in colours], axis=0))
    assert delta_e_2000(linear_to_lab(middle_mean(colours, px_per_cm=13.0, seed=SEEDS[0])), wanted) < 3.0


def test_both_strands_show_in_every_stitch() -> None:
    layout = plain()
    stripes = [DrawnStripe(strand_colours=("#000000", "#ffffff"), rows=8)]
    view = view_of(stripes, layout, px_per_cm=24.0)
    geometry = prepare(shape_of(stripes), layout, view, seed=SEEDS[0])
    first = mixtures(2)[(geometry.code >> 7) & 63, 0]
    shares, turns = [], []
    for row in range(1, 7):
        for stitch in range(1, 15):
            x0 = round(stitch * 24.0) - view.left
            y0 = round(-(row + 1) * layout.rise_cm * 24.0) - view.top
            box = first[y0 : y0 + round(layout.rise_cm * 24.0), x0 : x0 + 24]
            shares.append(box.mean())
            turns.append(np.abs(np.diff((box[:, 8:16].mean(axis=1) > 0.5).astype(int))).sum())
    assert np.mean((np.array(shares) > 0.15) & (np.array(shares) < 0.85)) > 0.97
    # Along a post the colour in front changes, as it does where two strands lie twisted.
    assert np.median(turns) >= 2


def test_a_solid_stripe_is_not_flat() -> None:
    picture = draw_blanket(
        [DrawnStripe(strand_colours=("#8a7f70", "#8a7f70"), rows=6)],
        plain(),
        px_per_cm=20.0,
        window=(3.0, 4.0, 9.0, 8.0),
        seed=SEEDS[0],
    )
    light = decode(picture)[..., 1]
    assert 0.10 < light.std() / light.mean() < 0.8


def test_proportions_are_true_and_the_wave_is_at_both_edges() -> None:
    layout = point_ripple()
    stripes = [DrawnStripe(strand_colours=("#1f3b73", "#f2d16b"), rows=4)]
    for scale in (8.0, 21.0):
        view = view_of(stripes, layout, px_per_cm=scale)
        cover = cover_of(prepare(shape_of(stripes), layout, view, seed=SEEDS[0])) > 127
        wide, tall = (np.flatnonzero(cover.any(axis=a)) for a in (0, 1))
        width, height = blanket_size_cm(stripes, layout)
        # The yarn at the borders stands over the places by at most the width of a bundle, 0.6 cm, on each side.
        assert 0 <= (wide[-1] - wide[0] + 1) / scale - width < 1.2
        assert -0.6 < (tall[-1] - tall[0] + 1) / scale - height < 1.2
        # Where the first peak stands out, the top is higher than in the valley, and the bottom edge too.
        outline = layout.outline
        peak_x, valley_x = outline[np.argmax(outline[:, 1]), 0], outline[np.argmin(outline[:, 1]), 0]
        if peak_x < 0.5:
            peak_x = outline[np.argmax(outline[3:-3, 1]) + 3, 0]
        tops, bottoms = [], []
        for x in (peak_x, valley_x):
            rows = np.flatnonzero(cover[:, round(x * scale) - view.left])
            tops.append(rows[0])
            bottoms.append(rows[-1])
        wave = layout.wave_cm * scale
        assert tops[1] - tops[0] == pytest.approx(wave, abs=1.2 * scale)
        assert bottoms[1] - bottoms[0] == pytest.approx(wave, abs=1.2 * scale)


def test_holes_lie_a_repeat_and_a_row_apart() -> None:
    layout = point_ripple(repeats=4)
    stripes = [DrawnStripe(strand_colours=("#1f3b73", "#1f3b73"), rows=6)]
    view = view_of(stripes, layout, px_per_cm=16.0, window=(0, 0, layout.width_cm, 6 * layout.rise_cm))
    open_ = cover_of(prepare(shape_of(stripes), layout, view, seed=SEEDS[1])) < 128
    found, _ = label(open_)
    sizes = np.bincount(found.reshape(-1))
    edges = set(np.unique(np.concatenate([found[0], found[-1], found[:, 0], found[:, -1]])).tolist())
    # Eyelets are over a third of a stitch square; between posts that lean apart there are smaller gaps.
    whole = [i for i in range(1, len(sizes)) if i not in edges and sizes[i] > 0.36 * 16.0**2]
    y, x = np.array(center_of_mass(open_, found, whole)).T
    # No two holes are alike, so their middles are taken line by line.
    order = np.sort(x)
    peaks = np.array([line.mean() for line in np.split(order, np.flatnonzero(np.diff(order) > 40) + 1)])
    # A repeat of slope 4 is 10 places: 4 up, 2 chains, 4 down.
    assert np.diff(peaks) == pytest.approx(10 * layout.outline[1, 0] * 16.0, abs=2.5)
    first = np.sort(y[np.abs(x - peaks[0]) < 20])
    assert np.diff(first) == pytest.approx(layout.rise_cm * 16.0, abs=3.0)


def test_the_chain_space_is_a_hole_and_the_posts_are_not() -> None:
    layout = point_ripple()
    stripes = [DrawnStripe(strand_colours=("#1f3b73", "#1f3b73"), rows=5)]
    view = view_of(stripes, layout, px_per_cm=20.0)
    cover = cover_of(prepare(shape_of(stripes), layout, view, seed=SEEDS[0]))

    def pixel(point: NDArray, row: int) -> int:
        x, y = point[0], point[1] + (row + 1) * layout.rise_cm
        return int(cover[round(-y * 20.0) - view.top, round(x * 20.0) - view.left])

    chains = [i for i, kind in enumerate(layout.kinds) if kind == "ch"]
    for a, b in zip(chains[::2], chains[1::2], strict=True):
        under = (layout.top[a] + layout.top[b]) / 2 - [0.0, 0.45 * layout.rise_cm]
        assert all(pixel(under, row) < 128 for row in (1, 2, 3))
    posts = [i for i, kind in enumerate(layout.kinds) if kind == "dc"]
    for i in posts[1:-1]:
        # A post stands a quarter of a stitch aside, to the right in rows that show their back.
        middle, aside = (layout.top[i] + layout.base[i]) / 2, np.array([0.25, 0.0])
        assert all(pixel(middle + (aside if row % 2 else -aside), row) > 200 for row in (1, 2, 3))


def test_a_window_is_a_part_of_the_whole_and_bands_change_no_byte(monkeypatch: pytest.MonkeyPatch) -> None:
    layout = point_ripple()
    stripes = [
        DrawnStripe(strand_colours=("#1f3b73", "#f2d16b"), rows=3),
        DrawnStripe(strand_colours=("#b5523b", "#b5523b"), rows=3),
    ]
    whole = draw_blanket(stripes, layout, px_per_cm=10.0, window=(-1, -1, 25, 17), seed=SEEDS[0])
    part = draw_blanket(stripes, layout, px_per_cm=10.0, window=(4, 3, 14, 11), seed=SEEDS[0])
    assert np.array_equal(part, whole[60:140, 50:150])
    monkeypatch.setattr(scene, "BAND_PX", 70 * whole.shape[1])
    assert np.array_equal(draw_blanket(stripes, layout, px_per_cm=10.0, window=(-1, -1, 25, 17), seed=SEEDS[0]), whole)


def test_same_seed_same_bytes_other_seed_other_twist() -> None:
    stripes = [DrawnStripe(strand_colours=("#1f3b73", "#f2d16b"), rows=2)]
    one, same, other = (draw_blanket(stripes, plain(), size_px=(200, 60), seed=s) for s in (11, 11, 12))
    assert np.array_equal(one, same)
    assert not np.array_equal(one, other)


@pytest.mark.parametrize("px_per_cm", [29.0, 30.0, 31.0])
def test_what_was_drawn_before_changes_no_byte(px_per_cm: float) -> None:
    # A stitch is 1 cm wide, so a tile may be drawn in part from 30 on.
    layout = point_ripple()
    stripes = [DrawnStripe(strand_colours=c, rows=2) for c in (("#1f3b73", "#f2d16b"), ("#b5523b", "#b5523b"))]

    def drawn(scale: float = px_per_cm, **other: object) -> NDArray:
        return draw_blanket(stripes, layout, px_per_cm=scale, seed=SEEDS[0], **other)

    def forget() -> None:
        geometry._loom_kept.cache_clear()
        geometry._measured.cache_clear()

    forget()
    fresh = drawn()
    assert np.array_equal(drawn(), fresh)
    before = ({"scale": 30.0}, {"back_loops": False}, {"window": (2.3, 1.1, 9.7, 5.2)})
    for other in before:
        forget()
        drawn(**other)
        assert np.array_equal(drawn(), fresh), other


def test_a_changed_yarn_repaints_its_own_stripes_only() -> None:
    layout = plain()
    colours = [("#1f3b73", "#1f3b73"), ("#1f3b73", "#f2d16b"), ("#f2d16b", "#f2d16b"), ("#4f7f6a", "#4f7f6a")]
    stripes = [DrawnStripe(strand_colours=c, rows=2) for c in colours]
    geometry = prepare(shape_of(stripes), layout, view_of(stripes, layout, size_px=(240, 200)), seed=SEEDS[0])
    before = paint(geometry, colours)
    after = paint(geometry, [tuple("#b5523b" if c == "#1f3b73" else c for c in pair) for pair in colours])
    changed = np.any(before != after, axis=2)
    stripe = geometry.code >> 13
    inside = np.ones(stripe.shape, dtype=bool)
    inside.reshape(-1)[geometry.edge] = False
    assert not changed[inside & (stripe >= 2)].any()
    assert changed[inside & (stripe == 0)].mean() > 0.99
    assert changed[inside & (stripe == 1)].mean() > 0.5


def test_stripes_of_the_same_strands_are_painted_from_one_table() -> None:
    layout = plain()
    pairs = [("#1f3b73", "#f2d16b"), ("#f2d16b", "#1f3b73"), ("#b5523b", "#b5523b")]
    colours = [pairs[i % 3] for i in range(600)]
    stripes = [DrawnStripe(strand_colours=c, rows=1) for c in colours]
    view = view_of(stripes, layout, px_per_cm=9.0, window=(2.0, 20.0, 12.0, 40.0))
    geometry = prepare(shape_of(stripes), layout, view, seed=SEEDS[0])
    tracemalloc.start()
    together = paint(geometry, colours)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    # A table a stripe would be 600 times 64 mixtures x 128 lights x 3 numbers of 4 bytes, 59 MB.
    assert peak < 10e6
    # The same light written as numbers is a colour of its own, so each of these stripes has a table to itself.
    alone = [tuple(tuple(hex_to_linear(c) * (1 + i * 1e-15)) for c in pair) for i, pair in enumerate(colours)]
    assert len(set(alone)) > 500
    assert np.array_equal(paint(geometry, alone), together)


@pytest.mark.parametrize(("stitch", "height"), [("sc", 0.9), ("hdc", 1.37), ("tr", 2.6), ("sl st", 0.5)])
def test_other_stitches_close_the_cloth(stitch: str, height: float) -> None:
    layout = plain(stitch, height=height)
    stripes = [DrawnStripe(strand_colours=("#1f3b73", "#f2d16b"), rows=6)]
    for loops in (True, False):
        view = view_of(stripes, layout, px_per_cm=12.0, window=(2, 2 * height, 14, 4 * height))
        cover = cover_of(prepare(shape_of(stripes), layout, view, seed=SEEDS[0], back_loops=loops))
        assert (cover > 200).mean() > (0.6 if stitch == "sl st" else 0.97)


def test_rows_of_stitch_heights_alternate_and_close_the_cloth() -> None:
    def ladder(*names: str) -> Row:
        steps = tuple(Step(kind="each", stitch=n, count=2) for n in names)
        return Row(name="ladder", parts=(Part(steps=steps, times=2),))

    tall = {"sc": 0.9, "dc": 1.8}
    layouts = lay_heights((ladder("sc", "dc"), ladder("dc", "sc")), stitch_width_cm=1.0, heights_cm=tall)
    stripes = [
        DrawnStripe(strand_colours=("#1f3b73", "#f2d16b"), rows=1),
        DrawnStripe(strand_colours=("#fff",), rows=1),
    ]
    view = view_of(stripes, layouts, px_per_cm=16.0, window=(0.5, 0.3, 7.5, 2.4))
    geometry = prepare(shape_of(stripes), layouts, view, seed=SEEDS[0])
    assert (cover_of(geometry) > 200).mean() > 0.97
    # The border of the two rows is the wave: higher over the tall stitches than over the short ones.
    border = np.argmax(geometry.code >> 13 == 0, axis=0)
    assert border[16 : 16 + 16].mean() > border[16 * 2 + 8 : 16 * 3].mean() + 0.4 * 16


def test_bad_input_is_one_line() -> None:
    stripes = [DrawnStripe(strand_colours=("#1f3b73",), rows=2)]
    with pytest.raises(QuantityError, match="400 million"):
        draw_blanket(stripes, plain(), size_px=(30_000, 30_000))
    with pytest.raises(QuantityError, match="width of the window"):
        draw_blanket(stripes, plain(), window=(5, 0, 5, 4))
    with pytest.raises(QuantityError, match="no stripes"):
        prepare([], plain(), View(px_per_cm=10.0, left=0, top=0, width=9, height=9))
    with pytest.raises(QuantityError, match="three finite numbers"):
        DrawnStripe(strand_colours=((0.1, float("nan"), 0.2),), rows=2)
    with pytest.raises(QuantityError, match="strands of a drawn stripe"):
        DrawnStripe(strand_colours=(), rows=2)
    geometry = prepare(shape_of(stripes), plain(), view_of(stripes, plain(), size_px=(60, 30)))
    with pytest.raises(QuantityError, match="was prepared for"):
        paint(geometry, [("#1f3b73", "#f2d16b")])

"""The picture of a plan: nothing but pixels, in true proportion, stripe numbers where the stripes are."""

from __future__ import annotations

import io
import struct
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from blankets import blanket
from hypothesis import given
from hypothesis import strategies as st
from odd_plans import long_plan, odd_plan, short_plan
from PIL import Image

from blendplan.colour import delta_e_2000, hex_to_lab, linear_to_lab, srgb_to_linear
from blendplan.fabric.gauge import Gauge, default_gauge
from blendplan.fabric.ripple import Ripple
from blendplan.outputs.render import Mark, fullness_of, plan_layout, plan_picture, plan_pixels, thin_marks
from blendplan.plan import make_plan
from blendplan.yarn import Shade, Yarn


def chunks(png: bytes) -> list[str]:
    at, found = 8, []
    while at < len(png):
        size = struct.unpack(">I", png[at : at + 4])[0]
        found.append(png[at + 4 : at + 8].decode())
        at += 12 + size
    return found


@pytest.mark.parametrize("legend", [True, False, "numbers"])
def test_png_holds_pixels_only(legend: object) -> None:
    png = plan_picture(odd_plan(), size_px=(300, 240), legend=legend)  # type: ignore[arg-type]
    assert set(chunks(png)) == {"IHDR", "IDAT", "IEND"}
    image = Image.open(io.BytesIO(png))
    assert image.info == {} and not image.getexif()
    assert png == plan_picture(odd_plan(), size_px=(300, 240), legend=legend)  # type: ignore[arg-type]


@pytest.mark.parametrize("plan", [odd_plan, long_plan, short_plan], ids=["odd", "long", "short"])
def test_true_proportion_and_fits(plan: object) -> None:
    made = plan()  # type: ignore[operator]
    pixels, marks = plan_pixels(made, (300, 250))
    tall, wide = pixels.shape[:2]
    assert wide <= 301 and tall <= 251 and (wide >= 299 or tall >= 249)
    assert len(marks) == len(made.stripes)
    places = [mark.place for mark in marks]
    assert places == sorted(places, reverse=True) and places[-1] > 0 and places[0] < 1


def test_numbers_stand_at_their_stripes() -> None:
    """The mean colour just inside the right edge at each mark is that stripe's, not a neighbour's."""
    plan = make_plan(blanket("Fern", "Milk", "Night", repeats=6, solid_rows=8, blend_rows=0))
    pixels, marks = plan_pixels(plan, (900, 900))
    tall, wide = pixels.shape[:2]
    scale = wide / (plan_layout(plan).width_cm + 3)
    right = wide - round(1.5 * scale) - round(0.4 * scale)
    for mark, planned in zip(marks, plan.stripes, strict=True):
        y = round(mark.place * tall)
        patch = pixels[y - 6 : y + 6, right - 12 : right].reshape(-1, 3) / 255
        seen = linear_to_lab(np.mean(srgb_to_linear(patch), axis=0))
        steps = {other.number: float(delta_e_2000(seen, hex_to_lab(other.blend.srgb))) for other in plan.stripes}
        assert min(steps, key=lambda n: steps[n]) == planned.number


@given(st.lists(st.floats(0, 1), max_size=80, unique=True), st.floats(0.001, 0.3))
def test_thinned_marks_keep_their_distance(places: list[float], least: float) -> None:
    marks = tuple(Mark(str(i), p) for i, p in enumerate(sorted(places, reverse=True)))
    kept = thin_marks(marks, least)
    assert set(kept) <= set(marks)
    if marks:
        assert kept[0] == marks[0] and kept[-1] == marks[-1]
    if len(kept) > 2:
        assert all(a.place - b.place >= least - 1e-12 for a, b in pairwise(kept))


def test_straight_rows_and_a_measured_ripple_are_drawn_as_they_are() -> None:
    """Width and height of the drawing follow the plan's size, whatever the gauge rests on."""
    straight = make_plan(blanket("Fern", "Clay", ripple=Ripple(kind="heights", repeats=3)))
    first, second = plan_layout(straight)
    assert first.width_cm == pytest.approx(straight.size.width_cm, rel=0.05)
    assert second.rise_cm == pytest.approx(straight.size.rise_per_row_cm, rel=0.05)
    assert plan_pixels(straight, (300, 300))[0].shape[2] == 3

    gauge = Gauge(stitch_width_cm=1.0, row_height_cm=1.8, ripple_factor=0.8, rise_cm=2.1)
    measured = make_plan(blanket("Fern", "Clay", repeats=3, gauge=gauge))
    layout = plan_layout(measured)
    assert layout.width_cm == pytest.approx(measured.size.width_cm, rel=0.01)
    assert layout.rise_cm == pytest.approx(2.1, rel=0.01)


def test_a_blanket_far_smaller_than_its_stitches_is_still_drawn() -> None:
    plan = make_plan(blanket("Fern", "Milk", repeats=60, solid_rows=300, blend_rows=0))
    pixels, marks = plan_pixels(plan, (60, 90))
    tall, wide = pixels.shape[:2]
    for mark, hue in zip(marks, ("#4f6b3a", "#e9e2d0"), strict=True):
        y = round(mark.place * tall)
        seen = linear_to_lab(np.mean(srgb_to_linear(pixels[y - 3 : y + 3, wide // 3 : -wide // 3] / 255), axis=(0, 1)))
        assert float(delta_e_2000(seen, hex_to_lab(hue))) < 12


def test_strands_are_as_thick_as_the_stitch_makes_them() -> None:
    def yarn(weight_class: int | None) -> Yarn:
        return Yarn(name=f"class {weight_class}", shades=(Shade(lab=(50, 0, 0)),), weight_class=weight_class)

    width = default_gauge(4).stitch_width_cm
    assert fullness_of([yarn(4), yarn(4)], width) == 1.0
    # The usual stitch of another class is about as full: widths of stitch and strand both follow the root of tex.
    for weight_class in (2, 3, 5):
        usual = default_gauge(weight_class).stitch_width_cm
        assert fullness_of([yarn(weight_class)] * 2, usual) == pytest.approx(1.0, abs=0.2)
    assert fullness_of([yarn(3), yarn(3)], width) < 1.0 < fullness_of([yarn(5), yarn(5)], width)
    assert fullness_of([yarn(4), yarn(4)], 1.3 * width) < 0.85
    assert fullness_of([yarn(4), yarn(None)], 1.3 * width) == 1.0


def test_the_legend_has_the_letters_of_the_paper() -> None:
    """Letters that were dealt stay; the picture that names the second yarn A is that of the yarns named so."""
    first = blanket("Fern", "Clay", repeats=2, solid_rows=2, blend_rows=1)
    dealt = [replace(first, letters=(("Fern", fern), ("Clay", clay))) for fern, clay in ("AB", "BA")]
    plain, same, other = (plan_picture(make_plan(made), size_px=(200, 200)) for made in (first, *dealt))
    assert plain == same != other
    assert len({plan_picture(make_plan(made), size_px=(200, 200), legend="numbers") for made in (first, *dealt)}) == 1

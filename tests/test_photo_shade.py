"""A shade is the light of the yarn as a whole: its laws, on light made for each, on scenes and on the samples.

The truth of drawn scenes is the mean light that they were made of (tests/scenes.py), that of the path-traced skeins
stands in the samples' truth.csv; neither was made with the package.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scenes
from hypothesis import given
from hypothesis import strategies as st

from blendplan.colour import delta_e_2000, hex_to_linear, lab_to_linear, linear_to_lab, srgb_to_linear
from blendplan.photo import Place, load_photo, read_photo
from blendplan.photo.light import AS_SHOWN, Reference, fit_light
from blendplan.photo.shade import parts_of, several_dyes, whole_light
from blendplan.photo.sure import Evidence, sure
from blendplan.photo.white import White

SEED = 7100
BLUE, OCHRE = hex_to_linear("#3f6e9a"), hex_to_linear("#c9953f")
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1, as printed


def clear(n: int) -> np.ndarray:
    return np.zeros(n, dtype=bool)


def off(one, two) -> float:
    return float(delta_e_2000(linear_to_lab(np.asarray(one)), linear_to_lab(np.asarray(two))))


def test_a_flat_colour_reads_as_it_is_and_strands_as_their_mean_and_not_their_crest() -> None:
    rng = np.random.default_rng(SEED)
    flat = BLUE * (1 + 0.01 * rng.normal(size=(4000, 1)))
    assert off(whole_light(flat, clear(4000)), BLUE) < 0.5
    lit = (scenes.strands((80, 80))[..., None] * BLUE).reshape(-1, 3)
    read = whole_light(lit, clear(len(lit)))
    assert 2 * off(read, lit.mean(axis=0)) < off(read, BLUE)


@given(
    st.lists(st.floats(0.01, 1.0), min_size=20, max_size=60),
    st.tuples(st.floats(0.02, 1.0), st.floats(0.02, 1.0), st.floats(0.02, 1.0)),
    st.booleans(),
)
def test_no_shade_is_darker_than_its_mean_or_lighter_than_its_brightest_pixel_or_of_another_hue(
    lights, colour, white
) -> None:
    pixels = np.outer(lights, colour)
    read = np.array(whole_light(pixels, clear(len(pixels)), white=white))
    level, own = read @ LUMINANCE, pixels @ LUMINANCE
    assert own.mean() * (1 - 1e-9) <= level <= max(own.max(), own.mean()) * (1 + 1e-9)
    assert white or level <= 1.4 * own.mean() * (1 + 1e-9)
    # The gloss of light that is missing is white, and a fibre of index 1.5 sends back .04 of it (Fresnel).
    gloss = read - read.max() * pixels.mean(axis=0) / pixels.mean(axis=0).max()
    assert gloss.min() >= -1e-9 and gloss.max() <= (0.04 * 0.65 if white else 0) + 1e-9


def test_light_is_capped_before_chroma_so_that_no_strong_yellow_is_washed_out() -> None:
    # A yellow whose level times the gain would leave the screen: the least lit third lies in deep shade.
    yellow = np.concatenate([np.tile([1.0, 0.78, 0.03], (60, 1)), np.tile([0.2, 0.156, 0.006], (60, 1))])
    read = np.array(whole_light(yellow, clear(120)))
    assert read.max() <= 1.0
    assert read[2] / read[0] == pytest.approx(0.03, rel=1e-6)


def test_one_dye_in_any_light_is_one_and_two_dyes_are_two() -> None:
    rng = np.random.default_rng(SEED)
    light = rng.uniform(0.2, 1.0, (400, 1))
    assert not several_dyes(light * BLUE)
    both = np.where(rng.random((400, 1)) < 0.5, light * BLUE, light * OCHRE)
    assert several_dyes(both)
    parts = parts_of(both, clear(400), 2)
    assert sorted(round(p.share, 1) for p in parts) == [0.5, 0.5]
    for part, true in zip(sorted(parts, key=lambda p: p.linear[2] < p.linear[0]), (BLUE, OCHRE), strict=True):
        assert off(part.linear, 0.6 * true) < 2


PLAIN = Evidence(linear=tuple(BLUE), share=1.0, pixels=9000, clipped=0.0, uneven=0.3, gain=1.05, warmth=0.0, dim=0.0)
PAPER = fit_light([Reference(kind="white", linear_rgb=(0.6, 0.6, 0.6), wanted=(0.86, 0.86, 0.86))])


@pytest.mark.parametrize(
    "doubt",
    [{"clipped": 0.3}, {"pixels": 40}, {"share": 0.1}, {"uneven": 0.9}, {"gain": 1.5}],
    ids=lambda d: next(iter(d)),
)
def test_what_is_seen_in_the_photo_widens_the_bound(doubt) -> None:
    for light in (AS_SHOWN, PAPER):
        assert sure(replace(PLAIN, **doubt), light, None).within > sure(PLAIN, light, None).within
    even = White(kind="paper", box=None, linear_rgb=(0.7, 0.7, 0.7), confidence=1.0, field=())
    assert sure(PLAIN, PAPER, replace(even, spread=0.15)).within > sure(PLAIN, PAPER, even).within


def test_without_white_a_dark_or_coloured_photo_is_less_sure_and_a_white_tells_of_both() -> None:
    plain = sure(PLAIN, AS_SHOWN, None)
    assert sure(replace(PLAIN, dim=0.7), AS_SHOWN, None).within > 1.5 * plain.within
    for warmth in (-0.8, 0.8):
        assert sure(replace(PLAIN, warmth=warmth), AS_SHOWN, None).within > 1.2 * plain.within
    lit = sure(replace(PLAIN, dim=0.7, warmth=0.8), PAPER, None)
    assert lit.within < plain.within * 1.5 and lit.within == sure(PLAIN, PAPER, None).within
    assert "no-white" in plain.reasons and "no-white" not in lit.reasons
    # Of two yarns nine of ten lie closer than 50, so a wider bound would say nothing.
    assert sure(replace(PLAIN, dim=2.0, warmth=-2.7), AS_SHOWN, None).within <= 50


def test_drawn_scenes_read_as_the_mean_light_they_were_made_of() -> None:
    gaps = []
    for i in range(6):
        scene = scenes.make_scene([SEED, i], palette_seed=SEED, ground="paper")
        photo = load_photo(scene.data, scene.name)
        for truth, yarn in zip(scene.yarns, read_photo(photo, boxes=[y.box for y in scene.yarns]).yarns, strict=True):
            gaps.append(float(delta_e_2000(yarn.shades[0].lab, truth.labs[0])))
            assert yarn.shades[0].kind == "whole"
    # The bench has the accuracy over many scenes; here a reader gone wrong is caught.
    assert np.median(gaps) < 4


def test_path_traced_skeins_read_as_a_whole(samples: Path) -> None:
    gaps, single, held = [], [], []
    for row in csv.DictReader((samples / "hanks" / "truth.csv").open()):
        photo = load_photo((samples / "hanks" / row["file"]).read_bytes(), row["file"])
        box = tuple(int(row[k]) for k in ("left", "top", "right", "bottom"))
        shades = read_photo(photo, boxes=[box]).yarns[0].shades
        gaps.append(float(delta_e_2000(shades[0].lab, [float(row[k]) for k in "Lab"])))
        single.append(len(shades) == 1)
        held.append(gaps[-1] <= (shades[0].within or 0))
    assert np.mean(gaps) < 4 and np.mean(single) >= 0.95 and np.mean(held) > 0.8


def test_real_yarn_keeps_the_hue_and_light_that_the_photo_shows(samples: Path) -> None:
    good, too_light, single = [], [], []
    for row in csv.DictReader((samples / "yarns" / "boxes.csv").open()):
        if row["plain"] != "yes":
            continue
        photo = load_photo((samples / "yarns" / row["file"]).read_bytes(), row["file"])
        left, top, right, bottom = (int(row[k]) for k in ("left", "top", "right", "bottom"))
        shades = read_photo(photo, [Place(box=(left, top, right, bottom))], white="off").yarns[0].shades
        s = photo.scale
        window = photo.srgb8[round(top * s) : round(bottom * s), round(left * s) : round(right * s)]
        own = srgb_to_linear(window.reshape(-1, 3) / 255)
        read, mean = lab_to_linear(shades[0].lab), own.mean(axis=0)
        ratio = float(read @ LUMINANCE / (mean @ LUMINANCE))
        good.append(off(np.clip(read / ratio, 0, None), mean) < 3 and 0.97 < ratio < 1.4)
        too_light.append((own @ LUMINANCE < read @ LUMINANCE).mean() > 0.88)
        single.append(len(shades) == 1)
    assert np.mean(good) >= 0.93 and np.mean(too_light) <= 0.02 and np.mean(single) >= 0.95

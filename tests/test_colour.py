"""Colour spaces against published values and against colour-science."""

from __future__ import annotations

import csv
import warnings
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan import colour as own
from blendplan.errors import ColourError

REFERENCE = Path(__file__).parent / "reference"
unit = st.floats(0, 1, allow_subnormal=False)
rgb = st.tuples(unit, unit, unit)
lab = st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120))


@pytest.fixture(scope="module")
def outside() -> ModuleType:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pytest.importorskip("colour")


def pairs() -> np.ndarray:
    lines = (REFERENCE / "ciede2000_pairs.csv").read_text(encoding="utf-8").splitlines()
    table = csv.reader(line for line in lines if not line.startswith(("#", "pair")))
    return np.array([[float(v) for v in row] for row in table])


def test_ciede2000_published_pairs() -> None:
    """Sharma, Wu, Dalal 2005, table 1: 34 pairs printed to 4 decimals."""
    table = pairs()
    assert len(table) == 34
    got = own.delta_e_2000(table[:, 1:4], table[:, 4:7])
    np.testing.assert_allclose(got, table[:, 7], rtol=0, atol=5e-5)


def test_ciede2000_pairs_as_colour_science_has_them(outside: ModuleType) -> None:
    table = pairs()
    np.testing.assert_allclose(
        outside.delta_E(table[:, 1:4], table[:, 4:7], method="CIE 2000"), table[:, 7], rtol=0, atol=5e-5
    )


def test_ciede2000_equals_colour_science_on_random_pairs(outside: ModuleType) -> None:
    rng = np.random.default_rng(20261)
    one, two = (rng.uniform([0, -110, -110], [100, 110, 110], (5000, 3)) for _ in range(2))
    np.testing.assert_allclose(
        own.delta_e_2000(one, two), outside.delta_E(one, two, method="CIE 2000"), rtol=0, atol=1e-9
    )


@given(lab, lab)
@settings(max_examples=200)
def test_ciede2000_laws(one: tuple[float, ...], two: tuple[float, ...]) -> None:
    there, back = float(own.delta_e_2000(one, two)), float(own.delta_e_2000(two, one))
    assert there == pytest.approx(back, abs=1e-9)
    assert np.isfinite(there) and there >= 0
    assert float(own.delta_e_2000(one, one)) == 0


def test_ciede2000_black_to_white_is_100() -> None:
    assert float(own.delta_e_2000([0, 0, 0], [100, 0, 0])) == pytest.approx(100, abs=1e-9)


# Ottosson, "A perceptual color space for image processing", 2020: the table of test values, 3 decimals.
OTTOSSON = [
    ((0.950, 1.000, 1.089), (1.000, 0.000, 0.000)),
    ((1.000, 0.000, 0.000), (0.450, 1.236, -0.019)),
    ((0.000, 1.000, 0.000), (0.922, -0.671, 0.263)),
    ((0.000, 0.000, 1.000), (0.153, -1.415, -0.449)),
]


@pytest.mark.parametrize(("xyz", "oklab"), OTTOSSON)
def test_oklab_published_table(xyz: tuple[float, ...], oklab: tuple[float, ...]) -> None:
    np.testing.assert_allclose(own.xyz_to_oklab(xyz), oklab, rtol=0, atol=5e-4)


def test_oklab_equals_colour_science(outside: ModuleType) -> None:
    xyz = np.random.default_rng(20262).uniform(0, 1, (2000, 3))
    np.testing.assert_allclose(own.xyz_to_oklab(xyz), outside.XYZ_to_Oklab(xyz), rtol=0, atol=1e-9)


def test_srgb_curve() -> None:
    """IEC 61966-2-1: both branches, and values worked by hand to 6 decimals."""
    assert float(own.srgb_to_linear(0.5)) == pytest.approx(0.214041, abs=5e-7)
    assert float(own.linear_to_srgb(0.18)) == pytest.approx(0.461356, abs=5e-7)
    assert float(own.srgb_to_linear(0.04)) == pytest.approx(0.04 / 12.92, rel=1e-12)
    assert float(own.linear_to_srgb(0.003)) == pytest.approx(0.003 * 12.92, rel=1e-12)
    # The branches meet: the published break points are rounded, so to 1e-6 only.
    assert float(own.srgb_to_linear(0.04045 + 1e-12) - own.srgb_to_linear(0.04045)) == pytest.approx(0, abs=1e-6)
    assert float(own.linear_to_srgb(0.0031308 + 1e-12) - own.linear_to_srgb(0.0031308)) == pytest.approx(0, abs=1e-6)


def test_srgb_matrix_for_the_white_of_astm_e308() -> None:
    """The matrix for this white to 7 decimals, as widely printed (from memory)."""
    printed = [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
    np.testing.assert_allclose(own.LINEAR_TO_XYZ, printed, rtol=0, atol=6e-8)
    np.testing.assert_allclose(own.LINEAR_TO_XYZ.sum(axis=1), own.WHITE_XYZ, rtol=0, atol=1e-12)


def test_the_choice_of_white_cannot_be_seen(outside: ModuleType) -> None:
    """IEC 61966-2-1 rounds its white to x = 0.3127, y = 0.3290; ours is the ASTM one.

    Through colour-science, which follows the standard's rounding, the same codes land within 0.03.
    """
    codes = np.random.default_rng(20264).uniform(0, 1, (3000, 3))
    other = outside.XYZ_to_Lab(outside.sRGB_to_XYZ(codes), np.array([0.3127, 0.3290]))
    assert float(np.max(own.delta_e_2000(own.linear_to_lab(own.srgb_to_linear(codes)), other))) < 0.03


# CIELAB of the sRGB primaries under D65, 3 decimals, as widely printed (colour facts; agreed with colour-science
# when they were gathered).
PRIMARIES = [
    ("#ff0000", (53.241, 80.092, 67.203)),
    ("#00ff00", (87.735, -86.183, 83.179)),
    ("#0000ff", (32.297, 79.188, -107.860)),
    ("#ffffff", (100.0, 0.0, 0.0)),
    ("#000000", (0.0, 0.0, 0.0)),
]


@pytest.mark.parametrize(("text", "expected"), PRIMARIES)
def test_cielab_of_the_primaries(text: str, expected: tuple[float, ...]) -> None:
    np.testing.assert_allclose(own.hex_to_lab(text), expected, rtol=0, atol=1.5e-3)


def test_cielab_equals_colour_science(outside: ModuleType) -> None:
    xyz = np.random.default_rng(20263).uniform(0, 1, (2000, 3))
    white = outside.XYZ_to_xy(own.WHITE_XYZ)
    np.testing.assert_allclose(own.xyz_to_lab(xyz), outside.XYZ_to_Lab(xyz, white), rtol=0, atol=1e-9)


def xyz_of(x: float, y: float) -> list[float]:
    return [x / y, 1.0, (1 - x - y) / y]


def test_bradford_d65_to_d50() -> None:
    """The matrix in both printed forms: 4 decimals for whites by x and y, 7 for those of ASTM E308 (from memory)."""
    by_xy = [[1.0479, 0.0229, -0.0502], [0.0296, 0.9904, -0.0171], [-0.0092, 0.0151, 0.7519]]
    got = own.adapt_xyz(np.eye(3), xyz_of(0.3127, 0.3290), xyz_of(0.3457, 0.3585)).T
    np.testing.assert_allclose(got, by_xy, rtol=0, atol=5e-5)
    astm = [
        [1.0478112, 0.0228866, -0.0501270],
        [0.0295424, 0.9904844, -0.0170491],
        [-0.0092345, 0.0150436, 0.7521316],
    ]
    d50 = [0.96422, 1.0, 0.82521]
    np.testing.assert_allclose(own.adapt_xyz(np.eye(3), own.WHITE_XYZ, d50).T, astm, rtol=0, atol=6e-8)
    np.testing.assert_allclose(own.adapt_xyz(own.WHITE_XYZ, own.WHITE_XYZ, d50), d50, rtol=0, atol=1e-12)


def test_bradford_equals_colour_science(outside: ModuleType) -> None:
    a, d65 = xyz_of(0.44757, 0.40745), xyz_of(0.3127, 0.3290)
    matrix = outside.adaptation.matrix_chromatic_adaptation_VonKries(a, d65, transform="Bradford")
    np.testing.assert_allclose(own.adapt_xyz(np.eye(3), a, d65).T, matrix, rtol=0, atol=1e-9)


@given(rgb)
@settings(max_examples=300)
def test_round_trips(colour: tuple[float, ...]) -> None:
    linear = own.srgb_to_linear(colour)
    np.testing.assert_allclose(own.linear_to_srgb(linear), colour, rtol=0, atol=1e-6)
    np.testing.assert_allclose(own.lab_to_linear(own.linear_to_lab(linear)), linear, rtol=0, atol=1e-9)
    np.testing.assert_allclose(own.oklab_to_linear(own.linear_to_oklab(linear)), linear, rtol=0, atol=1e-9)
    np.testing.assert_allclose(own.xyz_to_linear(own.linear_to_xyz(linear)), linear, rtol=0, atol=1e-12)


@given(st.integers(0, 0xFFFFFF))
@settings(max_examples=300)
def test_every_hex_survives(value: int) -> None:
    text = f"#{value:06x}"
    assert own.linear_to_hex(own.hex_to_linear(text)) == text
    assert own.lab_to_hex(own.hex_to_lab(text)) == text


@given(lab)
@settings(max_examples=300)
def test_any_lab_gives_a_colour_of_a_screen(colour: tuple[float, ...]) -> None:
    text = own.lab_to_hex(colour)
    assert len(text) == 7 and text[0] == "#"
    int(text[1:], 16)


@given(lab)
@settings(max_examples=200)
def test_into_gamut_keeps_hue_and_lightness(colour: tuple[float, ...]) -> None:
    before = own.lab_to_linear(colour)
    after = own.into_gamut(before)
    assert np.all((after >= 0) & (after <= 1))
    was, now = own.linear_to_oklab(before), own.linear_to_oklab(after)
    # Near black the cube root stretches a thirtieth of an 8-bit step; there the light itself is compared.
    assert now[0] ** 3 == pytest.approx(np.clip(was[0], 0, 1) ** 3, abs=2e-5, rel=1e-2)
    if now[0] > 0.1:
        assert now[0] == pytest.approx(np.clip(was[0], 0, 1), abs=2e-3)
    if np.hypot(*now[1:]) > 0.02 and now[0] > 0.1:
        turned = np.angle(complex(was[1], was[2]) / complex(now[1], now[2]))
        assert abs(turned) < 0.02
    np.testing.assert_allclose(own.into_gamut(after), after, rtol=0, atol=1e-9)


@pytest.mark.parametrize("bad", ["", "red", "#12345", "#1234567", "#gggggg", "#12 34 5", None, 12, "rgb(1,2,3)"])
def test_bad_hex_is_refused_in_one_line(bad: object) -> None:
    with pytest.raises(ColourError, match="write six hexadecimal digits") as caught:
        own.hex_to_linear(bad)  # type: ignore[arg-type]
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("text", ["#b35c37", "B35C37", " #B35c37 "])
def test_hex_is_read_in_any_writing(text: str) -> None:
    assert own.linear_to_hex(own.hex_to_linear(text)) == "#b35c37"
    assert own.linear_to_hex(own.hex_to_linear("#abc")) == "#aabbcc"


def test_a_colour_that_is_not_finite_never_becomes_a_hex() -> None:
    with pytest.raises(ColourError, match="finite"):
        own.linear_to_hex([0.1, float("nan"), 0.3])


def test_shapes_are_kept() -> None:
    field = np.random.default_rng(5).uniform(0, 1, (2, 3, 4, 3))
    for step in (own.linear_to_lab, own.linear_to_oklab, own.into_gamut, own.linear_to_srgb):
        assert step(field).shape == field.shape
    assert own.delta_e_2000(own.linear_to_lab(field), [50, 0, 0]).shape == (2, 3, 4)

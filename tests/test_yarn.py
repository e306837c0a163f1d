"""Shades, put-ups and yarns."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from blankets import lying
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.colour import delta_e_2000, hex_to_lab, linear_to_oklab
from blendplan.colour import lab_to_linear as light
from blendplan.errors import ColourError, QuantityError, YarnError
from blendplan.record import named
from blendplan.yarn import REASONS, WEIGHT_CLASSES, Lot, PutUp, Shade, Yarn, check_yarns

MOSS = Shade.from_hex("#5f7048")


# Trade facts 1 and 12: 100 000 / (m per 100 g); 250 m are 400 tex, 200 m are 500 tex (ISO 1144 definition).
@pytest.mark.parametrize(
    ("mass_g", "length_m", "tex"), [(100, 250, 400), (100, 200, 500), (50, 125, 400), (50, 105, 476.1904762)]
)
def test_tex(mass_g: int, length_m: int, tex: float) -> None:
    assert PutUp(mass_g=mass_g, length_m=length_m).tex == pytest.approx(tex, abs=1e-6)  # type: ignore[arg-type]


def test_two_strands_add_their_linear_densities() -> None:
    """Trade facts 2a: 400 with 800 m per 100 g make 266.7; 250 with 200 make 111.1."""
    for one, two, together in ((400, 800, 266.7), (250, 200, 111.1)):
        tex = sum(PutUp(mass_g=100, length_m=m).tex for m in (one, two))  # type: ignore[arg-type]
        assert 100_000 / tex == pytest.approx(together, abs=0.05)


def test_a_put_up_is_exact() -> None:
    got = PutUp(mass_g="100", length_m="182.88")  # type: ignore[arg-type]
    assert got.length_m == Fraction(18288, 100) and got.m_per_g == Fraction(18288, 10_000)
    assert PutUp(mass_g=0.1, length_m=0.3).m_per_g == 3  # type: ignore[arg-type]


@pytest.mark.parametrize("bad", [0, -1, "nan", None, "x", float("inf"), 1e9])
def test_bad_put_ups_are_refused(bad: object) -> None:
    with pytest.raises(QuantityError, match="grams per skein"):
        PutUp(mass_g=bad, length_m=100)  # type: ignore[arg-type]
    with pytest.raises(QuantityError, match="metres per skein"):
        PutUp(mass_g=100, length_m=bad)  # type: ignore[arg-type]


@given(st.integers(0, 0xFFFFFF))
@settings(max_examples=300)
def test_a_typed_colour_comes_back(value: int) -> None:
    text = f"#{value:06x}"
    shade = Shade.from_hex(text)
    assert shade.srgb == text and shade.kind == "typed"
    assert Yarn(name="x", shades=(shade,)).srgb == text


@pytest.mark.parametrize("dark", ["#000005", "#050000", "#000500", "#010000", "#000001", "#ff0000", "#00ffff"])
def test_colours_on_the_border_of_srgb_keep_their_chroma(dark: str) -> None:
    assert Shade.from_hex(dark).srgb == dark


@pytest.mark.parametrize(
    "more",
    [
        {"lab": (50, 0)},
        {"lab": (50, 0, float("nan"))},
        {"lab": (-1, 0, 0)},
        {"lab": (101, 0, 0)},
        {"lab": (50, 500, 0)},
        {"share": 0},
        {"share": 1.5},
        {"share": float("nan")},
        {"spread": -1},
        {"within": -1},
        {"within": float("inf")},
        {"reasons": ("moonlight",)},
        {"kind": "guessed"},
    ],
)
def test_bad_shades_are_refused(more: dict[str, object]) -> None:
    with pytest.raises((ColourError, QuantityError)) as caught:
        Shade(**({"lab": (50.0, 0.0, 0.0)} | more))  # type: ignore[arg-type]
    assert "\n" not in str(caught.value)


def test_reasons_and_classes() -> None:
    assert all(code and said for code, said in REASONS.items())
    # Craft Yarn Council, Standard Yarn Weight System: 0 to 7.
    assert list(WEIGHT_CLASSES) == list(range(8))
    assert (WEIGHT_CLASSES[0], WEIGHT_CLASSES[4], WEIGHT_CLASSES[7]) == ("lace", "medium", "jumbo")


def test_a_yarn_of_several_shades_has_their_oklab_mean() -> None:
    shades = (Shade(lab=(30.0, 20.0, -30.0), share=0.7), Shade(lab=(80.0, -5.0, 40.0), share=0.3))
    got = Yarn(name="Two", shades=shades)
    mean = np.average(linear_to_oklab(light([s.lab for s in shades])), axis=0, weights=[0.7, 0.3])
    np.testing.assert_allclose(linear_to_oklab(light(got.lab)), mean, atol=1e-9)


def test_shares_must_add_up() -> None:
    with pytest.raises(YarnError, match=r"shares of Two add up to 0\.8; they must add up to 1"):
        Yarn(name="Two", shades=(Shade(lab=(50, 0, 0), share=0.5), Shade(lab=(60, 0, 0), share=0.3)))


def test_a_yarn_needs_a_name_and_a_shade() -> None:
    for name in ("", "  ", "\n"):
        with pytest.raises(YarnError, match="without a name"):
            Yarn(name=name, shades=(MOSS,))
    with pytest.raises(YarnError, match="has no shade"):
        Yarn(name="Moss", shades=())


@pytest.mark.parametrize(
    ("field", "bad"),
    [
        ("weight_class", 8),
        ("weight_class", -1),
        ("weight_class", 2.5),
        ("grams", 0),
        ("metres", "long"),
        ("price", -1),
        ("price", "cheap"),
        ("lots", 7),
        ("fibre", None),
        ("name", None),
    ],
)
def test_a_bad_field_is_named(field: str, bad: object) -> None:
    with pytest.raises(QuantityError) as caught:
        Yarn(**({"name": "Moss", "shades": (MOSS,)} | {field: bad}))  # type: ignore[arg-type]
    assert str(caught.value).startswith(named(Yarn, field) + ": ")


@pytest.mark.parametrize(
    ("field", "bad"),
    [("skeins", -1), ("skeins", 1.5), ("skeins", None), ("parts_g", (-1,)), ("parts_g", ("x",)), ("name", 7)],
)
def test_a_bad_lot_is_named(field: str, bad: object) -> None:
    with pytest.raises(QuantityError) as caught:
        Lot(**{field: bad})  # type: ignore[arg-type]
    assert str(caught.value).startswith(named(Lot, field) + ": ")


def test_numbers_are_kept_exactly() -> None:
    got = Yarn(name="Moss", shades=(MOSS,), price=4.6, lots=lying(parts_g=("12,5", 3)))  # type: ignore[arg-type]
    assert got.price == Fraction(46, 10) and got.part_skeins_g == (Fraction(25, 2), Fraction(3))


def test_names_are_cleaned_and_kept_in_any_script() -> None:
    assert Yarn(name="  Wet\t Slate\u202e ", shades=(MOSS,)).name == "Wet Slate"
    for name in ("Slate, wet", "=1+1", "Ñandú", "毛糸", "🧶"):
        assert Yarn(name=name, shades=(MOSS,)).name == name


def test_a_yarn_is_a_value() -> None:
    one, two = (Yarn(name="Moss", shades=(MOSS,)) for _ in range(2))
    assert one == two and len({one, two}) == 1


def test_check_yarns() -> None:
    moss, fern = Yarn(name="Moss", shades=(MOSS,)), Yarn(name="Fern", shades=(MOSS,))
    assert check_yarns((moss, fern)) == (moss, fern)
    with pytest.raises(YarnError, match="palette is empty"):
        check_yarns(())
    with pytest.raises(YarnError, match="two yarns are called 'Moss'; give each its own name"):
        check_yarns((moss, fern, moss))


def test_typed_shade_is_near_the_exact_lab() -> None:
    for code in ("#1f3b73", "#f2d16b", "#ffffff", "#000000"):
        assert float(delta_e_2000(Shade.from_hex(code).lab, hex_to_lab(code))) < 1e-3

"""Palettes as CSV: what goes in comes out, and every odd file gives one clear line."""

from __future__ import annotations

import csv
import io
from fractions import Fraction
from pathlib import Path

import pytest
from blankets import lying
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.colour import delta_e_2000
from blendplan.errors import BlendplanError, YarnError
from blendplan.palette import COLUMNS, Palette, read_palette, write_palette
from blendplan.yarn import PutUp, Shade, Yarn

PALETTES = sorted((Path(__file__).parent.parent / "palettes").glob("*.csv"))
HEADER = "name,srgb,grams,metres,skeins_on_hand,weight_class,dye_lot,price\n"


def yarn(name: str, code: str = "#4b5660", **more: object) -> Yarn:
    return Yarn(name=name, shades=(Shade.from_hex(code),), **more)  # type: ignore[arg-type]


def test_a_full_line() -> None:
    (got,) = read_palette(HEADER + "Wet Slate,#4B5660,100,182.88,3,4,Lot 7,4.60\n").yarns
    assert got.name == "Wet Slate" and got.srgb == "#4b5660"
    assert got.put_up == PutUp(mass_g=100, length_m="182.88")  # type: ignore[arg-type]
    assert got.put_up is not None and got.put_up.length_m == Fraction(18288, 100)
    assert (got.skeins_on_hand, got.weight_class, got.dye_lot, got.price) == (3, 4, "Lot 7", Fraction(46, 10))
    assert got.shades[0].kind == "typed" and got.shades[0].within is None


@pytest.mark.parametrize(
    "name",
    [
        "Slate, wet",
        "Ñandú",
        "毛糸",
        "🧶 ball",
        '12" of "best" wool',
        "=1+1",
        "+49",
        "-soft",
        "@home",
        "'=quoted",
        "''=twice",
        "'tis",
        "＝wide",
        '"=x',
        "−5",
        "a;b",
        "Ａ | b",
        "|pipe",
        "e\u0301 combined",
        "0012",
        "1e5",
    ],
)
def test_names_survive_the_round_trip(name: str) -> None:
    before = (yarn(name, lots=lying(name=name), grams=50, metres=105, price="3.25"), yarn("Other"))
    data = write_palette(before)
    assert data.startswith(b"\xef\xbb\xbf")
    assert read_palette(data).yarns == before
    assert write_palette(read_palette(data).yarns) == data


plain_text = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=20)


@given(
    st.lists(
        st.tuples(plain_text, st.integers(0, 0xFFFFFF), st.integers(1, 900), plain_text),
        min_size=1,
        max_size=6,
        unique_by=lambda t: " ".join(t[0].split()),
    )
)
@settings(max_examples=100, deadline=None)
def test_any_palette_survives(rows: list[tuple[str, int, int, str]]) -> None:
    try:
        before = tuple(
            yarn(name, f"#{code:06x}", grams=Fraction(m, 4), metres=m, lots=lying(m, lot))
            for name, code, m, lot in rows
        )
    except BlendplanError:
        return  # a name of blanks or invisible characters only
    if len({y.name for y in before}) == len(before):
        assert read_palette(write_palette(before)).yarns == before


@given(plain_text)
@settings(max_examples=150)
def test_no_text_cell_is_a_formula(name: str) -> None:
    """OWASP, "CSV Injection": no cell may begin with = + - @ tab or CR."""
    try:
        data = write_palette([yarn("x" + name), yarn(name)])
    except BlendplanError:
        return
    rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))
    assert len(rows) == 3
    for row in rows[1:]:
        assert not row[0].lstrip().startswith(("=", "+", "-", "@", "\t", "\r"))


def test_numbers_stay_numbers() -> None:
    data = write_palette([yarn("A", price="0", grams="28.349523125", metres="91.44")])  # type: ignore[arg-type]
    row = data.decode("utf-8-sig").splitlines()[1].split(",")
    assert row[2:4] == ["28.349523125", "91.44"] and row[7] == "0"


def test_unknown_columns_are_kept_and_told() -> None:
    text = "Name,Colour code,SRGB,=shelf\nMoss,17,#5f7048,=A1\nFern,18,#617149,top\n"
    got = read_palette(text, "shelf.csv")
    assert got.unknown == (("Colour code", ("17", "18")), ("=shelf", ("=A1", "top")))
    assert any("Colour code, =shelf" in n.text and "shelf.csv" in n.text for n in got.notices)
    again = read_palette(write_palette(got.yarns, got.unknown))
    assert again.unknown == got.unknown and again.yarns == got.yarns
    assert b"\n'=shelf" not in write_palette(got.yarns, got.unknown) and b"'=A1" in write_palette(
        got.yarns, got.unknown
    )


@pytest.mark.parametrize(
    "encode",
    [
        lambda t: t,
        lambda t: t.encode(),
        lambda t: b"\xef\xbb\xbf" + t.encode(),
        lambda t: t.encode("utf-16"),
        lambda t: "\ufeff" + t,
        lambda t: t.replace("\n", "\r\n"),
        lambda t: t.replace("\n", "\r"),
        lambda t: t.replace(",", ";"),
        lambda t: t.replace(",", "\t"),
        lambda t: "\n\n" + t + "\n\n,,\n",
    ],
)
def test_the_usual_writings_are_read(encode: object) -> None:
    text = "name,srgb,grams,metres\n毛糸,#4b5660,100,210\nÑandú,#b52b33,50,105\n"
    got = read_palette(encode(text))  # type: ignore[operator]
    assert [y.name for y in got.yarns] == ["毛糸", "Ñandú"]
    assert [y.put_up.tex for y in got.yarns if y.put_up] == pytest.approx([100_000 / 210] * 2)


def test_a_decimal_comma_is_read_where_semicolons_part_the_cells() -> None:
    (got,) = read_palette("name;srgb;grams;metres;price\nMoss;#5f7048;100;182,88;4,60\n").yarns
    assert got.price == Fraction(46, 10) and got.put_up is not None and got.put_up.length_m == Fraction(18288, 100)


def test_half_a_put_up_is_told() -> None:
    got = read_palette("name,srgb,grams,metres\nMoss,#5f7048,100,\nFern,#617149,,\n")
    assert [y.put_up for y in got.yarns] == [None, None]
    assert [n.level for n in got.notices] == ["assumed"] and "Moss has grams but no metres" in got.notices[0].text


def test_weight_classes_by_number_and_word() -> None:
    got = read_palette("name,srgb,weight_class\nA,#111111,4\nB,#222222,Super Bulky\nC,#333333,\n")
    assert [y.weight_class for y in got.yarns] == [4, 6, None]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is empty"),
        (b"\xef\xbb\xbf", "is empty"),
        (b"\n \n", "is empty"),
        (HEADER, "palette is empty; add at least one yarn"),
        ("colour,grams\nx,1\n", "has no column name and srgb"),
        ("name,grams\nx,1\n", "has no column srgb"),
        ("name,srgb,Name\nx,#111111,y\n", "column name twice"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "not UTF-8 text"),
        (b"name,srgb\n\x00,#111111\n", "not a text file"),
        ("name,srgb\nÑandú,#111111\n".encode("latin-1"), "save it from your spreadsheet as CSV UTF-8"),
        (b"x" * 2_000_001, "larger than a palette can be"),
        ("name,srgb\nMoss,#5f70\n", "line 2: '#5f70' is not a colour"),
        ("name,srgb\nMoss,#5f7048\nFern,\n", "line 3: '' is not a colour"),
        ("name,srgb\n,#5f7048\n", "line 2: a yarn without a name"),
        ("name,srgb\nMoss,#5f7048\nMoss,#5f7049\n", "two yarns are called 'Moss'"),
        ("name,srgb\nMoss, green,#5f7048\n", "line 2: 3 cells stand under 2 columns"),
        ('name,srgb\n"Moss,#5f7048\n', "quotation mark left open"),
        ("name,srgb,grams,metres\nMoss,#5f7048,0,100\n", "line 2: grams per skein: 0 g was given"),
        ("name,srgb,grams,metres\nMoss,#5f7048,-5,100\n", "grams per skein: -5"),
        ("name,srgb,grams,metres\nMoss,#5f7048,nan,100\n", "line 2: grams: 'nan' is not a number"),
        ("name,srgb,grams,metres\nMoss,#5f7048,inf,100\n", "'inf' is not a number"),
        ("name,srgb,grams,metres\nMoss,#5f7048,50 g,100\n", "'50 g' is not a number"),
        ("name,srgb,skeins_on_hand\nMoss,#5f7048,2.5\n", "allowed is a whole number from 0 to 1000"),
        ("name,srgb,weight_class\nMoss,#5f7048,9\n", "allowed is a whole number from 0 to 7"),
        ("name,srgb,price\nMoss,#5f7048,-1\n", "price of a skein: -1"),
        ("name,srgb\n" + "x" * 81 + ",#5f7048\n", "81 characters"),
    ],
)
def test_a_bad_file_is_one_clear_line(data: str | bytes, says: str) -> None:
    with pytest.raises(BlendplanError) as caught:
        read_palette(data, "my.csv")
    assert says in str(caught.value) and "\n" not in str(caught.value)


def test_the_line_number_counts_lines_of_the_file() -> None:
    with pytest.raises(YarnError, match=r"my\.csv, line 6:"):
        read_palette('name,srgb\n"Moss\non two lines",#5f7048\n\nFern,#617149\nRust,red\n', "my.csv")


def test_too_many_yarns() -> None:
    rows = "".join(f"Yarn {i},#5f7048\n" for i in range(1001))
    with pytest.raises(YarnError, match="1001 yarns; allowed is at most 1000"):
        read_palette("name,srgb\n" + rows)


@given(st.binary(max_size=300))
@settings(max_examples=150)
def test_any_bytes_give_a_palette_or_one_line(data: bytes) -> None:
    try:
        assert isinstance(read_palette(data), Palette)
    except BlendplanError as error:
        assert "\n" not in str(error)


@given(st.text(max_size=200))
@settings(max_examples=150)
def test_any_text_under_a_good_header_gives_a_palette_or_one_line(text: str) -> None:
    try:
        assert isinstance(read_palette("name,srgb,grams\n" + text), Palette)
    except BlendplanError as error:
        assert "\n" not in str(error)


# --- The palettes that come with the package ---------------------------------------------------------------------


def test_there_are_three_or_more() -> None:
    assert len(PALETTES) >= 3


@pytest.mark.parametrize("path", PALETTES, ids=lambda p: p.stem)
def test_a_palette_of_the_package_is_whole(path: Path) -> None:
    got = read_palette(path.read_bytes(), path.name)
    assert got.notices == () and got.unknown == () and len(got.yarns) >= 6
    for one in got.yarns:
        assert one.put_up is not None and one.weight_class is not None and one.dye_lot and one.price
        assert one.skeins_on_hand > 0
    for i, one in enumerate(got.yarns):
        for other in got.yarns[:i]:
            assert float(delta_e_2000(one.lab, other.lab)) > 5, (one.name, other.name)
    assert read_palette(write_palette(got.yarns)).yarns == got.yarns


@pytest.mark.parametrize("path", PALETTES, ids=lambda p: p.stem)
def test_its_put_up_suits_its_weight_class(path: Path) -> None:
    """Metres per 100 g by class, both published charts taken together (trade facts 1)."""
    ranges = {1: (350, 600), 2: (242, 400), 3: (182, 250), 4: (120, 210), 5: (81, 200)}
    for one in read_palette(path.read_bytes()).yarns:
        assert one.put_up is not None and one.weight_class is not None
        low, high = ranges[one.weight_class]
        assert low <= 100 * one.put_up.m_per_g <= high


def test_columns_are_those_of_the_contract() -> None:
    assert COLUMNS == ("name", "srgb", "grams", "metres", "skeins_on_hand", "weight_class", "dye_lot", "price")

"""The shopping list: read back by a CSV reader as a spreadsheet would, in both dialects."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from fractions import Fraction

import pytest
from blankets import blanket, lying
from yardage_cases import Gauge, Worked, estimate, grams, stripes, yarn

from blendplan.outputs.content import read_plan
from blendplan.outputs.sheet import shop_html
from blendplan.outputs.tables import shopping_csv
from blendplan.plan import make_plan
from blendplan.stripes.model import Stripe
from blendplan.yardage.settings import YardageSettings

PLAN = stripes(("AA", 40), ("AB", 4), ("BB", 8))
YARNS = (
    yarn("A", price="4.95", lots=lying(1, "L 12", grams("37.5"))),
    yarn("B", price="3.10"),
)
NEED = estimate(PLAN, Worked(), Gauge(), YARNS)


def read(data: bytes, delimiter: str = ",") -> list[dict[str, str]]:
    assert data.startswith(b"\xef\xbb\xbf")
    text = data.decode("utf-8-sig")
    assert text.endswith("\r\n") and "\n" not in text.replace("\r\n", "")
    return list(csv.DictReader(io.StringIO(text), delimiter=delimiter))


def test_cells_say_what_the_estimate_says() -> None:
    a, b, total = read(shopping_csv(NEED, currency="EUR", shades={"A": "#aa0000"}))
    need = NEED.colour("A")
    assert a["colour"] == "A" and a["shade"] == "#aa0000" and int(a["skeins to buy"]) == need.buy_skeins
    assert float(a["needed m"]) == pytest.approx(need.need_m, abs=0.05)
    # Yards and ounces by the factors of the 1959 agreement.
    assert float(a["needed yd"]) == pytest.approx(need.need_m / 0.9144, abs=0.05)
    assert float(a["skein oz"]) == pytest.approx(100 / 28.349523125, abs=0.005)
    assert (a["skeins on hand"], a["part skeins g"], a["dye lot on hand"]) == ("1", "37.5", "L 12")
    assert a["dye lot bought"] == ""
    assert Fraction(a["price"]) == need.price and a["currency"] == "EUR"
    assert Fraction(total["price"]) == Fraction(a["price"]) + Fraction(b["price"]) == NEED.total_price


def test_semicolons_and_decimal_commas() -> None:
    plain, europe = read(shopping_csv(NEED)), read(shopping_csv(NEED, semicolon=True), ";")
    for one, other in zip(plain, europe, strict=True):
        assert {k: v.replace(".", ",") for k, v in one.items()} == other


def test_odd_names_come_back_whole() -> None:
    names = ["Fern, dark", 'say "moss"', "ñandú", "毛糸", "🧶 red", "=cmd|' /C calc'!A0"]
    plan = tuple(Stripe(strands=(n, n), rows=2) for n in names)
    need = estimate(plan, Worked(), Gauge(), tuple(yarn(n) for n in names))
    for delimiter, semicolon in ((",", False), (";", True)):
        cells = [row["colour"] for row in read(shopping_csv(need, semicolon=semicolon), delimiter)]
        assert [c.removeprefix("'") for c in cells] == names
        assert cells[-1].startswith("'=")


def test_a_colour_without_band_has_empty_cells() -> None:
    need = estimate(PLAN, Worked(), Gauge(), (YARNS[0], yarn("B", grams=None, metres=None)))
    row = read(shopping_csv(need))[1]
    assert row["skeins to buy"] == row["skein m"] == row["chance short %"] == "" and float(row["needed m"]) > 0


def test_a_margin_that_leaves_little_never_prints_minus_nothing() -> None:
    need = estimate(PLAN, Worked(), Gauge(), YARNS, YardageSettings(margin=Fraction(0)))
    assert all(not row["spare m"].startswith("-") for row in read(shopping_csv(need)))


def test_a_label_that_nobody_told_is_marked_on_every_list() -> None:
    """Grams and metres that are only usual are not given as a fact."""
    start = blanket("Fern", "Clay")
    bare = replace(start.yarns[0], grams=None, metres=None)
    made = make_plan(replace(start, materials=replace(start.materials, yarns=(bare, *start.yarns[1:]))))
    assert [item.band.endswith("its label is not known") for item in read_plan(made).shopping] == [True, False]
    assert shop_html(made).count("its label is not known") == 1

"""CSV cells are inert and numbers are numbers, read back by the csv module of the standard library."""

from __future__ import annotations

import csv
import io
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blendplan.outputs.tables import csv_bytes
from blendplan.text import in_cell

# What begins a formula in spreadsheets (OWASP, "CSV Injection", read Nov 2026).
STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def read(data: bytes, delimiter: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""), delimiter=delimiter))


@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize("before", ["", " ", "   ", "\u00a0", '"', "\u200b"])
def test_no_text_begins_a_formula(start: str, before: str) -> None:
    cell = read(csv_bytes(["a"], [[before + start + "1+1"]]), ",")[1][0]
    assert cell == "'" + before + start + "1+1"


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1), st.floats(-1e6, 1e6))
def test_texts_and_numbers_come_back(text: str, value: float) -> None:
    for semicolon, delimiter, decimal in ((False, ",", "."), (True, ";", ",")):
        rows = read(csv_bytes(["t", "n"], [[text, value]], semicolon=semicolon), delimiter)
        assert rows[0] == ["t", "n"] and rows[1][0] in (text, "'" + text) and len(rows) == 2
        assert abs(float(rows[1][1].replace(decimal, ".")) - value) <= 5e-7


def test_a_negative_number_is_no_formula() -> None:
    assert (
        csv_bytes(["n"], [[-2.5], [Fraction(-1, 4)], [None], [0]]) == b'\xef\xbb\xbf"n"\r\n-2.5\r\n-0.25\r\n\r\n0\r\n'
    )
    assert csv_bytes(["n"], [[-2.5]], semicolon=True) == b'\xef\xbb\xbf"n"\r\n-2,5\r\n'


def test_plain_names_are_left_alone() -> None:
    for name in ("Ñandú", "毛糸", "🧶 wool", "a, b; c", 'the "red"', "Fern - dark", "2.5"):
        assert in_cell(name) == name

"""The sheet of paper: margins kept, no row split, nothing read as markup, the same bytes every time."""

from __future__ import annotations

import io
from datetime import date
from functools import cache

import pypdf
import pytest

from blendplan.errors import QuantityError
from blendplan.outputs.paper import MARGIN_MM, PAPERS, Block, Column, Paper

NAMES = (
    "=1+1",
    "<b>x</b>",
    "**x**",
    "__x__",
    "{nb}",
    "a & b",
    "Ñandú",
    "Ελληνικά",
    "Кириллица",
    "[x](http://y.example)",
)
PT = 72 / 25.4


@cache
def write(paper: str, rows: int = 60, day: date | None = None) -> bytes:
    page = Paper(paper, day=day)
    page.heading("Stripes", Block(()))
    words = "many words that fill more than one line of a cell "
    cells = [[page.tick(), f"first{i} {words * (1 + i % 5)} last{i}", NAMES[i % len(NAMES)]] for i in range(rows)]
    page.put(page.table([Column("", 8), Column("Strands", 100), Column("Name", 60)], cells))
    page.text("tall words " * 900, 14)
    return page.finish(lambda n, m: ("a title " * 40, f"page {n} of {m}"))


def spots(data: bytes) -> list[list[tuple[float, float, str]]]:
    """x, y (points from the lower left) and text of each piece on each page."""
    pages = []
    for page in pypdf.PdfReader(io.BytesIO(data)).pages:
        found: list[tuple[float, float, str]] = []

        def visit(text: str, cm: list[float], tm: list[float], *_: object, keep: list = found) -> None:
            if text.strip():
                keep.append((cm[4] + tm[4], cm[5] + tm[5], text))

        page.extract_text(visitor_text=visit)
        pages.append(found)
    return pages


@pytest.mark.parametrize("paper", PAPERS)
def test_rows_are_whole_and_margins_are_kept(paper: str) -> None:
    data = write(paper)
    width, height = PAPERS[paper]
    pages = spots(data)
    assert len(pages) > 5
    where: dict[str, int] = {}
    for number, page in enumerate(pages):
        for x, y, text in page:
            assert MARGIN_MM * PT - 1 <= x <= (width - MARGIN_MM) * PT
            assert 8 * PT <= y <= (height - MARGIN_MM) * PT
            for word in text.split():
                if word.startswith(("first", "last")):
                    where[word] = number
    assert len(where) >= 120
    for i in range(60):
        assert where[f"first{i}"] == where[f"last{i}"], f"row {i} is split"


def test_the_head_comes_again_and_pages_are_numbered() -> None:
    pages = pypdf.PdfReader(io.BytesIO(write("A4"))).pages
    heads = sum("Strands" in p.extract_text() for p in pages)
    assert heads > 2
    for number, page in enumerate(pages, 1):
        assert f"page {number} of {len(pages)}" in page.extract_text()


def test_names_stay_as_they_are() -> None:
    pages = pypdf.PdfReader(io.BytesIO(write("A4"))).pages
    text = "".join(p.extract_text() for p in pages)
    *plain, address = NAMES
    for name in plain:
        assert name in text
    # Only an address has a blank put in, since viewers make a link of what looks like one.
    assert address not in text and address.replace("http:", "http: ") in text
    assert not any("/Annots" in page for page in pages)


def test_a_number_and_its_unit_stay_on_one_line() -> None:
    page = Paper()
    text = "leaving 15 cm of 100 g and of 180 m beside 3 in each corner " * 3
    for width in range(20, 90, 7):
        lines = page.wrap(text, width, 9)
        assert " ".join(lines).split() == text.split()
        assert not any(line.split(" ")[-1].isdigit() for line in lines)


def test_the_same_bytes_and_no_metadata() -> None:
    data = write("A4", 5)
    assert data == write.__wrapped__("A4", 5)
    reader = pypdf.PdfReader(io.BytesIO(data))
    assert dict(reader.metadata or {}) == {"/CreationDate": "D:20000101000000Z"}
    assert reader.xmp_metadata is None
    assert b"fpdf" not in data.lower()
    dated = pypdf.PdfReader(io.BytesIO(write("A4", 5, date(2026, 3, 31))))
    assert dict(dated.metadata or {}) == {"/CreationDate": "D:20260331000000Z"}


def test_characters_the_font_lacks_are_shown_and_told() -> None:
    page = Paper()
    page.text("毛糸 🧶 Ñ e\u0301 \u200bx سلام")
    assert page.drawable.missing[:3] == ("U+6BDB", "U+7CF8", "U+1F9F6")
    text = pypdf.PdfReader(io.BytesIO(page.finish(lambda n, m: ("", "")))).pages[0].extract_text()
    assert "□□ □ Ñ é x □□□□" in text


def test_unknown_paper_is_refused() -> None:
    with pytest.raises(QuantityError, match="A4, Letter"):
        Paper("A5")


def test_lines_found_once_are_those_of_the_same_text_width_size_and_weight() -> None:
    text = "many words that fill more than one line of a cell, in thin and in bold"
    asked = [
        (text, 40, 9, False),
        (text, 55, 9, False),
        (text, 40, 12, False),
        (text, 40, 9, True),
        ("毛 x", 40, 9, False),
    ]
    one = Paper()
    first, again = ([one.wrap(t, w, s, bold=b) for t, w, s, b in asked] for _ in range(2))
    assert again == first
    assert first == [Paper().wrap(t, w, s, bold=b) for t, w, s, b in asked]
    assert len(set(first)) == len(asked)
    assert one.drawable.missing == ("U+6BDB",)

"""The paper: everything on it, whole rows, readable in grey, inert, the same bytes, no metadata."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import date
from functools import cache
from itertools import pairwise

import pypdf
import pytest
from blankets import COLOURS, blanket
from hypothesis import given
from hypothesis import strategies as st
from odd_plans import ODD_NAMES, long_plan, odd_plan, short_plan

from blendplan.outputs.paper import MARGIN_MM, PAPERS, Drawable
from blendplan.outputs.pattern import CODES, pattern
from blendplan.outputs.pdf import _apart, plan_pdf
from blendplan.plan import Plan, make_plan

PT = 72 / 25.4
PLANS = {"odd": odd_plan, "long": long_plan, "short": short_plan}
# Each plan on one of the two papers, and the short one on both; the picture is small, it is looked at elsewhere.
CASES = [("odd", "A4"), ("long", "Letter"), ("short", "A4"), ("short", "Letter")]


@cache
def made(name: str, paper: str = "A4") -> bytes:
    return plan_pdf(PLANS[name](), paper=paper, dpi=40)


@cache
def read(name: str, paper: str = "A4") -> tuple[list[str], list[list[tuple[float, float]]]]:
    """Text of each page, and where its pieces stand (points from the lower left)."""
    texts, places = [], []
    for page in pypdf.PdfReader(io.BytesIO(made(name, paper))).pages:
        at: list[tuple[float, float]] = []

        def visit(text: str, cm: list[float], tm: list[float], *_: object, keep: list = at) -> None:
            if text.strip():
                keep.append((tm[4] * cm[0] + tm[5] * cm[2] + cm[4], tm[4] * cm[1] + tm[5] * cm[3] + cm[5]))

        texts.append(page.extract_text(visitor_text=visit))
        places.append(at)
    return texts, places


def words(name: str, paper: str = "A4") -> str:
    return " ".join(" ".join(read(name, paper)[0]).split())


@pytest.mark.parametrize(("name", "paper"), CASES)
def test_paper_and_margins(name: str, paper: str) -> None:
    width, height = PAPERS[paper]
    assert all(read(name, paper)[1])
    for page in pypdf.PdfReader(io.BytesIO(made(name, paper))).pages:
        size = (float(page.mediabox.width), float(page.mediabox.height))
        assert size == pytest.approx((width * PT, height * PT), abs=0.01)
    for page_places in read(name, paper)[1]:
        for x, y in page_places:
            assert MARGIN_MM * PT - 1 <= x <= (width - MARGIN_MM) * PT + 1
            assert 8 * PT <= y <= (height - MARGIN_MM) * PT + 1


def test_paper_is_that_of_her_ways_where_none_is_named() -> None:
    blanket = short_plan().blanket
    letter = make_plan(replace(blanket, ways=replace(blanket.ways, paper="Letter")))
    assert plan_pdf(letter, dpi=40) == plan_pdf(letter, paper="Letter", dpi=40) != plan_pdf(letter, paper="A4", dpi=40)


@pytest.mark.parametrize(("name", "paper"), CASES)
def test_every_part_is_there(name: str, paper: str) -> None:
    plan: Plan = PLANS[name]()
    every, text = read(name, paper)[0], words(name, paper)
    # The chapters of the paper in its order, and every line of the rows to work among them.
    made = pattern(plan)
    places = [text.index(chapter.title) for chapter in made.chapters]
    assert places == sorted(places) and [c.code for c in made.chapters] == list(CODES)
    for number, page in enumerate(every, 1):
        assert f"page {number} of {len(every)}" in page
    for row in range(1, plan.rows + 1):
        assert f" {row} " in f" {text} "
    for code in ("hook", "abbreviations", "rows", "finishing", "care"):
        for line in made.chapter(code).lines:  # type: ignore[union-attr]
            assert drawn(line.text) in text, line.text


@cache
def stripy_plan() -> Plan:
    """Six yarns in tall stripes, of which few fit on a page."""
    return make_plan(blanket(*COLOURS, solid_rows=12, blend_rows=6))


PLANS["stripy"] = stripy_plan


@pytest.mark.parametrize(("name", "paper"), [*CASES, ("stripy", "A4"), ("stripy", "Letter")])
def test_what_belongs_together_stands_on_one_page(name: str, paper: str) -> None:
    """A stripe's height stands below its last row, and no small heading is the last of a page."""
    heights = set()
    for page in read(name, paper)[0]:
        text = " ".join(page.split())
        for number in re.findall(r"high after stripe (\d+)\.", text):
            heights.add(int(number))
            last = PLANS[name]().stripes[int(number) - 1].last_row
            assert re.search(rf"Rows? (\d+ to )?{last}: ", text), number
        assert not re.search(r"Stripe \d+, rows? [^:]*: [^:]*page \d+ of", text.split(" high after ")[-1])
    assert heights == {stripe.number for stripe in PLANS[name]().stripes}


@pytest.mark.parametrize("paper", PAPERS)
def test_no_page_stands_half_empty_but_beside_the_shopping_list_and_at_the_end(paper: str) -> None:
    texts, places = read("stripy", paper)
    shop = next(i for i, text in enumerate(texts) if "Shopping list" in text)
    for number, page in enumerate(places[: shop - 1]):
        # The foot of a page stands below all else.
        lowest = sorted({round(y, 1) for _, y in page})[1]
        assert lowest < PAPERS[paper][1] * PT * 0.4, number + 1
    assert "Lot bought" not in texts[shop - 1] + texts[shop + 1] and "Row counter" not in texts[shop]


def drawn(text: str) -> str:
    """A text as the font draws it, one blank between words."""
    return " ".join(Drawable()(text).split())


def test_names_stand_as_they_are_or_are_told() -> None:
    text = words("odd")
    for name in ODD_NAMES:
        if name not in ("毛糸", "🧶 wool"):
            assert name in text, name
    assert "U+6BDB, U+7CF8, U+1F9F6" in text
    assert "□□" in text and "□ wool" in text
    assert "Odd <i>names</i> — Ñandú {nb}" in text


def test_readable_in_grey() -> None:
    """Every yarn has its own letter and every stripe says its letters and how light it is."""
    text = words("odd")
    for sign in "ABCDEFGHIJ":
        assert f"{sign} + {sign}" in text
    for word in ("very dark", "dark", "middle", "pale", "very pale"):
        assert word in text


def test_letters_dye_lots_and_boxes() -> None:
    text = words("odd")
    assert "dye lot L1" in text and "dye lot ____" in text and "Lot bought:" in text
    assert "Price of all" in text and "kr" in text


def test_a_date_only_where_given() -> None:
    reader = pypdf.PdfReader(io.BytesIO(made("short")))
    assert dict(reader.metadata or {}) == {"/CreationDate": "D:20000101000000Z"}
    assert reader.xmp_metadata is None
    assert "2026" not in words("short")
    dated = pypdf.PdfReader(io.BytesIO(plan_pdf(short_plan(), date=date(2026, 3, 31), dpi=40)))
    assert all("2026-03-31" in page.extract_text() for page in dated.pages)


def test_the_same_bytes() -> None:
    assert made("short") == plan_pdf(short_plan(), dpi=40)


def test_no_script_no_link_no_attachment() -> None:
    data = made("odd")
    reader = pypdf.PdfReader(io.BytesIO(data))
    assert reader.pages and not reader.attachments
    for page in reader.pages:
        assert "/Annots" not in page
    for word in (b"/JavaScript", b"/URI", b"/Launch", b"/EmbeddedFile"):
        assert word not in data


@given(st.lists(st.floats(0, 200), max_size=60), st.floats(0.5, 3))
def test_labels_do_not_touch(wanted: list[float], step: float) -> None:
    places = _apart(sorted(wanted), step, 0, 200)
    assert all(b - a >= step - 1e-9 for a, b in pairwise(places))
    if wanted and step * (len(wanted) + 1) < 200:
        assert places[-1] <= 200 and places[0] >= -step


def test_german() -> None:
    german = pypdf.PdfReader(io.BytesIO(plan_pdf(short_plan(), lang="de", dpi=40)))
    text = " ".join(page.extract_text() for page in german.pages)
    assert "Luftmaschenkette" in text and "Einkaufsliste" in text
    assert "Shopping list" not in text

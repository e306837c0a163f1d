"""The paper: everything on it, whole rows, readable in grey, inert, the same bytes, no metadata."""

from __future__ import annotations

import io
from datetime import date
from itertools import pairwise

import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st
from odd_plans import ODD_NAMES, long_plan, odd_plan, short_plan

from blendplan.outputs.paper import MARGIN_MM, PAPERS
from blendplan.outputs.pdf import _apart, plan_pdf
from blendplan.plan import Plan

PT = 72 / 25.4
PLANS = {"odd": odd_plan, "long": long_plan, "short": short_plan}
FOUND: dict[tuple[str, str], bytes] = {}


def made(name: str, paper: str = "A4") -> bytes:
    if (name, paper) not in FOUND:
        FOUND[name, paper] = plan_pdf(PLANS[name](), paper=paper)
    return FOUND[name, paper]


def pages(data: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", PLANS)
def test_paper_and_margins(name: str, paper: str) -> None:
    width, height = PAPERS[paper]
    for page in pypdf.PdfReader(io.BytesIO(made(name, paper))).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(
            (width * PT, height * PT), abs=0.01
        )
        at: list[tuple[float, float]] = []

        def visit(text: str, cm: list[float], tm: list[float], *_: object, keep: list = at) -> None:
            if text.strip():
                keep.append((cm[4] + tm[4], cm[5] + tm[5]))

        page.extract_text(visitor_text=visit)
        for x, y in at:
            assert MARGIN_MM * PT - 1 <= x <= (width - MARGIN_MM) * PT + 1
            assert 8 * PT <= y <= (height - MARGIN_MM) * PT + 1


@pytest.mark.parametrize("name", PLANS)
def test_every_part_is_there(name: str) -> None:
    plan: Plan = PLANS[name]()
    every = pages(made(name))
    text = " ".join(" ".join(every).split())
    parts = ["Yarns", "Stripes, in the order worked", "Shopping list", "Rows to work", "Row counter"]
    places = [text.index(part) for part in parts]
    assert places == sorted(places)
    for number, page in enumerate(every, 1):
        assert f"page {number} of {len(every)}" in page
    for row in range(1, plan.rows + 1):
        assert f" {row} " in f" {text} "
    assert str(plan.worked.chain) in text


def test_names_stand_as_they_are_or_are_told() -> None:
    text = " ".join(" ".join(pages(made("odd"))).split())
    for name in ODD_NAMES:
        if name not in ("毛糸", "🧶 wool"):
            assert name in text, name
    assert "U+6BDB, U+7CF8, U+1F9F6" in text
    assert "□□" in text and "□ wool" in text
    assert "Odd <i>names</i> — Ñandú {nb}" in text


def test_readable_in_grey() -> None:
    """Every yarn has its own letter and every stripe says its letters and how light it is."""
    text = " ".join(pages(made("odd")))
    for sign in "ABCDEFGHIJ":
        assert f"{sign} + {sign} · solid" in " ".join(text.split())
    for word in ("very dark", "dark", "middle", "light", "very light"):
        assert word in text


def test_letters_dye_lots_and_boxes() -> None:
    text = " ".join(" ".join(pages(made("odd"))).split())
    assert "Lot: L1" in text and "Lot:" in text
    assert "Price of all" in text and "kr" in text


def test_a_date_only_where_given() -> None:
    reader = pypdf.PdfReader(io.BytesIO(made("short")))
    assert dict(reader.metadata or {}) == {"/CreationDate": "D:20000101000000Z"}
    assert reader.xmp_metadata is None
    assert "20" + "26" not in " ".join(pages(made("short")))
    dated = plan_pdf(short_plan(), date=date(2026, 3, 31))
    assert all("2026-03-31" in page for page in pages(dated))


def test_the_same_bytes() -> None:
    assert made("odd") == plan_pdf(odd_plan())


def test_no_script_no_link_no_attachment() -> None:
    data = made("odd")
    reader = pypdf.PdfReader(io.BytesIO(data))
    assert not reader.attachments
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
    text = " ".join(pages(plan_pdf(short_plan(), lang="de")))
    assert "Luftmaschenkette" in text and "Einkaufsliste" in text
    assert "Shopping list" not in text

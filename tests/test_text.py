"""Names of any kind come through each door once, cleaned, and leave as nothing but text.

The rules stand outside the project: Unicode's general categories (unicodedata), formulas of spreadsheets (OWASP, "CSV
Injection"), HTML as the standard library's parser reads it.
"""

from __future__ import annotations

import csv
import io
import json
import unicodedata
from html.parser import HTMLParser

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.blanket import Blanket
from blendplan.errors import BlendplanError
from blendplan.outputs.paper import Drawable, Paper
from blendplan.outputs.tables import csv_bytes
from blendplan.palette import read_palette, write_palette
from blendplan.picture.legend import STAND_IN
from blendplan.project import project_json, read_project
from blendplan.text import clean_text, cleaned, in_html, unlinked
from blendplan.yarn import Yarn

ODD = "=+-@|\t\r\n\"'<>&;,\\`*_[](){}#:/. \u200b\u200d\u202e\u2066\u00ad\ufeff\ud800\udfff\u0301\u3164\uff1d毛🧶ñşم"
NAMES = st.text(st.one_of(st.sampled_from(ODD), st.characters()), max_size=30)
PAPER = Paper()


def project(name: str, reference: str) -> bytes:
    yarns = [{"name": name, "key": name, "shades": [{"lab": [50, 0, 0], "share": 1}]}]
    body = {
        "format": "blendplan-project",
        "version": 2,
        "materials": {"yarns": yarns},
        "design": {"order": [reference]},
    }
    return json.dumps(body).encode()


@settings(max_examples=300, deadline=None)
@given(NAMES)
def test_what_is_cleaned_holds_nothing_hidden_and_stays_as_it_is(text: str) -> None:
    clean = cleaned(text)
    assert cleaned(clean) == clean and clean.encode("utf-8") is not None
    assert clean == clean.strip() and "  " not in clean
    for char in clean:
        assert unicodedata.category(char) not in ("Cc", "Cs", "Zl", "Zp") and (
            unicodedata.category(char) != "Cf" or char in "\u200c\u200d"
        )


@settings(max_examples=200, deadline=None)
@given(NAMES)
def test_a_name_and_what_refers_to_it_are_cleaned_alike_through_a_file(name: str) -> None:
    if not cleaned(name):
        return
    found, _ = read_project(project(name, name))
    assert found.yarns[0].name == cleaned(name) and found.design_keys() == (cleaned(name),)
    # Cleaned elsewhere or not: it refers to the same yarn.
    assert read_project(project(name, cleaned(name)))[0].design_keys() == found.design_keys()
    again: Blanket = read_project(project_json(found).encode("utf-8"))[0]
    assert again == found


@settings(max_examples=200, deadline=None)
@given(NAMES)
def test_a_name_goes_through_a_palette_and_no_cell_is_a_formula(name: str) -> None:
    if not cleaned(name):
        return
    yarn = Yarn.from_hex(name, "#445566")
    data = write_palette([yarn])
    for row in csv.reader(io.StringIO(data.decode("utf-8-sig"))):
        for cell in row[:1] + row[6:7]:
            assert not cell or unicodedata.normalize("NFKC", cell.lstrip(" '\"") if cell[0] != "'" else "'")[
                :1
            ] not in (*"=+-@|",)
    back = read_palette(data).yarns[0].name
    # An apostrophe before a formula is the sign of the file; one of hers there is taken for it.
    assert back in (yarn.name, yarn.name.removeprefix("'").strip())


class Seen(HTMLParser):
    """Collects what a browser would show, and every tag."""

    def __init__(self) -> None:
        super().__init__()
        self.text, self.tags = "", list[str]()

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.text += data


@settings(max_examples=200, deadline=None)
@given(NAMES)
def test_a_name_in_a_page_is_text(name: str) -> None:
    seen = Seen()
    seen.feed(f"<p>{in_html(cleaned(name))}</p>")
    seen.close()
    assert seen.tags == ["p"] and seen.text.replace(" ", "") == cleaned(name).replace(" ", "")


@settings(max_examples=200, deadline=None)
@given(NAMES)
def test_a_cell_is_one_cell(name: str) -> None:
    ((cell,),) = csv.reader(io.StringIO(csv_bytes([cleaned(name) or "x"], []).decode("utf-8-sig"), newline=""))
    assert cell.removeprefix("'") in (cleaned(name) or "x", (cleaned(name) or "x").removeprefix("'"))


@settings(max_examples=150, deadline=None)
@given(st.lists(NAMES, max_size=6), st.floats(5, 120), st.sampled_from([6.0, 9.5, 15.0]), st.booleans())
def test_on_paper_every_letter_is_drawn_or_told_and_lines_keep_their_width(
    names: list[str], width: float, size: float, bold: bool
) -> None:
    """How wide a line is, the PDF library says."""
    draw, text = Drawable(), " ".join(cleaned(name) for name in names)
    drawn = draw(text)
    assert drawn.count(STAND_IN) == sum(f"U+{ord(char):04X}" in draw.missing for char in text) + text.count(STAND_IN)
    lines = PAPER.wrap(text, width, size, bold=bold)
    assert "".join("".join(lines).split()) == "".join(drawn.split())
    for line in lines:
        assert len(line) <= 1 or PAPER.pdf.get_string_width(line) <= width + 1e-4


ADDRESSES = ("http://a.example", "HTTPS://A.example/x", "www.a.example", "mailto:a@b.example", "tel:123", "ftp://x",
             "javascript:alert(1)", "a@b.example", "data:text/html,x")  # fmt: skip


@pytest.mark.parametrize("text", ADDRESSES)
def test_an_address_is_no_link(text: str) -> None:
    broken = unlinked(text)
    for sign in ("://", "www.", "@b", "mailto:a", "tel:1", "script:a", "data:t"):
        assert sign not in broken.lower() or (sign == "@b" and " @b" in broken)


@pytest.mark.parametrize("text", ["Fern - dark", "2.5 mm: soft", "毛糸", "👩‍🌾 yarn", "می‌خواهم", "a/b", "12 @ 4"])
def test_plain_names_are_left_alone(text: str) -> None:
    assert unlinked(cleaned(text)) == text


def test_a_long_text_is_refused_in_one_line_before_it_is_cleaned(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(BlendplanError, match="81 characters were given; allowed is at most 80; shorten it"):
        clean_text("x" * 81, "name", 80)
    monkeypatch.setattr("blendplan.text.cleaned", lambda text: pytest.fail("it was cleaned"))
    with pytest.raises(BlendplanError, match="10000000 characters"):
        clean_text("ñ" * 10_000_000, "name", 80)

"""The HTML sheet stands alone, runs nothing, and shows names as text."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable
from datetime import date
from functools import cache
from html.parser import HTMLParser

import pytest
from odd_plans import ODD_NAMES, long_plan, odd_plan, short_plan

from blendplan.outputs.sheet import plan_html
from blendplan.plan import Plan

ALLOWED = {
    *("html", "head", "meta", "title", "style", "body", "main", "h1", "h2", "h3", "p", "bdi", "dl", "div", "dt", "dd"),
    *("figure", "img", "figcaption", "table", "thead", "tbody", "tr", "th", "td", "small", "strong", "br", "input"),
    *("ul", "ol", "li", "footer", "time", "svg", "g", "defs", "desc", "rect", "path", "text", "line", "circle"),
    *("ellipse", "polyline", "polygon", "section", "span"),
}
VOID = {"meta", "img", "br", "input"}


@cache
def made(plan: Callable[[], Plan]) -> str:
    return plan_html(plan())


class Reader(HTMLParser):
    """Reads tags, attributes and text, and holds that every tag is closed where it should be."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.style = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {k: v or "" for k, v in attrs}))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {k: v or "" for k, v in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] == "style":
            self.style += data
        elif data.strip():
            self.words.append(data)


@pytest.mark.parametrize("plan", [odd_plan, long_plan, short_plan], ids=["odd", "long", "short"])
def test_nothing_comes_from_outside_and_nothing_runs(plan: Callable[[], Plan]) -> None:
    page = Reader(made(plan))
    assert page.open == [] and page.tags
    for tag, attributes in page.tags:
        assert tag in ALLOWED, tag
        for name, value in attributes.items():
            assert not name.startswith("on") and name not in ("href", "srcset", "action", "style", "xlink:href")
            if name == "src":
                assert value.startswith("data:image/png;base64,")
    assert "url(" not in page.style and "@import" not in page.style


def test_the_policy_allows_only_its_own_style() -> None:
    page = Reader(made(odd_plan))
    policy = next(a["content"] for t, a in page.tags if a.get("http-equiv") == "Content-Security-Policy")
    digest = base64.b64encode(hashlib.sha256(page.style.encode()).digest()).decode()
    assert policy.startswith("default-src 'none'; img-src data:;")
    assert f"style-src 'sha256-{digest}'" in policy
    assert "unsafe" not in policy and "script" not in policy


def test_names_are_text() -> None:
    html = made(odd_plan)
    text = "\n".join(Reader(html).words)
    for name in ODD_NAMES:
        assert name in text
    assert "<script" not in html and "<b>" not in html and "<i>" not in html
    assert odd_plan().blanket.title in text


def test_the_picture_is_inside_and_has_a_text() -> None:
    page = Reader(made(odd_plan))
    (image,) = [a for t, a in page.tags if t == "img"]
    assert base64.b64decode(image["src"].split(",")[1]).startswith(b"\x89PNG")
    assert "19 stripes" in image["alt"]
    labelled = [a for t, a in page.tags if t == "input" or (t == "svg" and a.get("class") == "patch")]
    assert labelled and all(attributes["aria-label"] for attributes in labelled)


def test_a_date_only_where_given_and_the_same_every_time() -> None:
    plain = made(short_plan)
    assert plain == plan_html(short_plan())
    assert not re.search(r"\b20\d\d-\d\d-\d\d\b", re.sub(r"base64,[^\"]+", "", plain))
    assert "2026-03-31" in plan_html(short_plan(), date=date(2026, 3, 31))


def test_language_is_said() -> None:
    assert Reader(plan_html(short_plan(), lang="de")).tags[0] == ("html", {"lang": "de"})

"""Every sentence of the page is a literal with its German beside it, and the German page shows no English one."""

from __future__ import annotations

import ast
import json
from pathlib import Path

import pytest
from page_hand import at

PAGE = Path(__file__).parent.parent / "blendplan" / "page"
CATALOGUE = PAGE.parent / "locale" / "de.json"

# Tables of the page that hold no words.
NO_WORDS = ("SIGNS", "SAFE", "FACTORS", "MEDIA", "STILL", "_OWN", "PIECES")


def literals(tree: ast.Module) -> set[str]:
    """Return the texts handed to `say`, and the texts of the tables of words at the top of a module."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "say" and node.args:
            if isinstance(node.args[0], ast.Constant):
                found.add(node.args[0].value)
            elif isinstance(node.args[0], ast.JoinedStr):
                raise AssertionError(f"line {node.lineno}: a sentence put together cannot be translated")
    for node in tree.body:
        target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
        if not isinstance(target, ast.Name):
            continue
        value = getattr(node, "value", None)
        if isinstance(value, ast.Dict) and target.id.isupper() and target.id not in NO_WORDS:
            found |= {v.value for v in value.values if isinstance(v, ast.Constant)}
        if target.id in ("KINDS", "STEPS"):
            found |= {row.elts[1].value for row in value.elts}
    return {t for t in found if isinstance(t, str)}


def everything() -> dict[str, set[str]]:
    return {p.name: literals(ast.parse(p.read_text(encoding="utf-8"))) for p in sorted(PAGE.glob("*.py"))}


def test_the_page_is_whole_in_german() -> None:
    table = json.loads(CATALOGUE.read_text(encoding="utf-8"))
    missing = {name: sorted(texts - set(table)) for name, texts in everything().items() if texts - set(table)}
    assert not missing


def test_the_collector_finds_sentences_and_would_miss_none() -> None:
    assert sum(len(t) for t in everything().values()) > 250
    assert literals(ast.parse('say("a {b}", b=1)')) == {"a {b}"}
    with pytest.raises(AssertionError, match="cannot be translated"):
        literals(ast.parse('say(f"a {b}")'))


def test_the_german_page_shows_no_english_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    testing = pytest.importorskip("streamlit.testing.v1")
    monkeypatch.setenv("BLENDPLAN_HOME", str(tmp_path))
    app = testing.AppTest.from_file(str(PAGE.parent.parent / "app.py"), default_timeout=180)
    app.query_params["lang"] = "de"
    for key in (
        "add-typed",
        "stripe-list",
        "pairs",
        "find-order",
        "variants",
        "ripple-fold",
        "gauge-fold",
        "rows-fold",
    ):
        app.session_state[key] = True
    app.run()
    shown = ""
    for place in ("yarn", "buying", "work", "library", "fabric", "stripes", "order"):
        at(app, place)
        assert not app.exception
        shown += "\n".join(
            [e.proto.body for e in app.get("html")]
            + [e.value for e in app.caption]
            + [e.label for e in (*app.button, *app.text_input, *app.selectbox, *app.number_input, *app.expander)]
        )
    table = json.loads(CATALOGUE.read_text(encoding="utf-8"))
    english = [t for texts in everything().values() for t in texts if len(t) > 14 and "{" not in t and table[t] != t]
    assert "Decke" in shown and "Reihe fertig" in shown
    assert not [t for t in english if t in shown]

"""Notices, translation, and the rule that every sentence is a literal template with named fields."""

from __future__ import annotations

import ast
import json
import string
from pathlib import Path

import pytest

from blendplan import errors
from blendplan.wording import LANGUAGES, Notice, note, tr

PACKAGE = Path(__file__).parent.parent / "blendplan"
FILES = sorted(p for p in PACKAGE.rglob("*.py") if "_page" not in p.parts)
KINDS = set(errors.__all__)


def test_a_notice_is_a_template_and_its_values() -> None:
    got = note("{n} of {m} rows left", "warning", n=2, m=9)
    assert got == Notice(template="{n} of {m} rows left", values=(("n", 2), ("m", 9)), level="warning")
    assert got.text == "2 of 9 rows left" and got.say("de") == got.say("de")
    assert hash(got) == hash(note("{n} of {m} rows left", "warning", n=2, m=9))


def test_tr_falls_back_to_english() -> None:
    sentence = "a sentence that no catalogue holds: {n}"
    for lang in (*LANGUAGES, "xx", ""):
        assert tr(sentence, lang, n=3) == "a sentence that no catalogue holds: 3"
    assert tr("braces { stay } without values") == "braces { stay } without values"


def test_sentences_within_a_sentence_are_said_in_the_same_language(monkeypatch: pytest.MonkeyPatch) -> None:
    from blendplan import wording

    table = {"{name}: {why}": "{name} -- {why}", "too {what}": "zu {what}", "pale": "blass", "wet": "nass"}
    monkeypatch.setattr(wording, "_catalogue", lambda lang: table if lang == "de" else {})
    why = note("too {what}", what=(note("pale"), note("wet")))
    outer = note("{name}: {why}", name="Fern", why=why)
    assert outer.text == "Fern: too pale, wet" and outer.say("de") == "Fern -- zu blass, nass"
    error = errors.YarnError("{name}: {why}", name="Fern", why=errors.ColourError("too {what}", what="wet"))
    assert str(error) == "Fern: too wet" and tr(error.template, "de", **error.values) == "Fern -- zu wet"
    assert hash(outer) == hash(note("{name}: {why}", name="Fern", why=why))


def test_values_are_never_taken_for_templates() -> None:
    assert note("{name} is short", name="{n} <b>").text == "{n} <b> is short"
    assert str(errors.YarnError("{name} is short", name="{n}")) == "{n} is short"


def test_an_error_is_one_line_whatever_its_values() -> None:
    assert str(errors.YarnError("{name} is short;\n  do this", name="a\nb")) == "a b is short; do this"


@pytest.mark.parametrize("lang", [code for code in LANGUAGES if code != "en"])
def test_a_catalogue_keeps_the_fields_of_each_sentence(lang: str) -> None:
    table = json.loads((PACKAGE / "locale" / f"{lang}.json").read_text(encoding="utf-8"))
    assert isinstance(table, dict)
    for english, other in table.items():
        assert fields(english) == fields(other), english


def fields(template: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(template) if name is not None}


def tables(tree: ast.Module) -> dict[str, list[str]]:
    """Return the tables of literal sentences at the top of a module."""
    out = {}
    for node in tree.body:
        target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
        value = getattr(node, "value", None)
        if isinstance(target, ast.Name) and isinstance(value, ast.Dict):
            texts = [v.value for v in value.values if isinstance(v, ast.Constant) and isinstance(v.value, str)]
            if len(texts) == len(value.values):
                out[target.id] = texts
    return out


def faults(path: Path) -> list[str]:
    """Return what is wrong with the sentences of one module.

    A sentence is a literal, or comes from a table of literals at the top of the same module.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    known, out = tables(tree), []
    for node in ast.walk(tree):
        name = node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else ""
        if not isinstance(node, ast.Call) or not node.args or not (name == "note" or name in KINDS):
            continue
        first, where = node.args[0], f"{path.name}:{node.lineno}"
        given = {k.arg for k in node.keywords if k.arg}
        if isinstance(first, ast.Constant) and isinstance(first.value, str):
            if not any(k.arg is None for k in node.keywords) and fields(first.value) != given:
                out.append(f"{where}: fields {fields(first.value)} but values {given}")
        elif isinstance(first, ast.Subscript) and isinstance(first.value, ast.Name) and first.value.id in known:
            out += [f"{where}: {t!r} lacks a value" for t in known[first.value.id] if not fields(t) <= given]
        else:
            out.append(f"{where}: not a literal sentence")
    return out


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_every_sentence_is_a_literal_with_all_its_fields(path: Path) -> None:
    assert faults(path) == []


def test_the_rule_can_fail(tmp_path: Path) -> None:
    bad = tmp_path / "x.py"
    bad.write_text(
        "T = {'a': 'good {n}', 'b': 'bad {m}'}\n"
        "note(f'{x} rows')\nYarnError('{a} and {b}', a=1)\nnote('fine {a}', a=1)\nnote(T['a'], n=1)\nnote(U['a'])\n"
    )
    assert [f.split(": ")[0] for f in faults(bad)] == ["x.py:2", "x.py:3", "x.py:5", "x.py:6"]


def test_every_kind_is_a_blendplan_error() -> None:
    for name in errors.__all__:
        assert issubclass(getattr(errors, name), errors.BlendplanError)
        assert issubclass(getattr(errors, name), ValueError)
    assert len(KINDS) <= 9  # the base and at most eight kinds

"""Every sentence is a literal in the code, and the second language has each of them, with the same fields."""

from __future__ import annotations

import ast
import json
import re
import string
from functools import cache
from pathlib import Path

import pytest

from blendplan import errors, wording

PACKAGE = Path(__file__).parent.parent / "blendplan"
KINDS = {*errors.__all__, "NoBlanketError"}
FUNCTIONS = {"note", "tr"}
DOORS = {"number", "whole", "exact", "choice", "clean_text"}
SECOND = [lang for lang in wording.LANGUAGES if lang != "en"]
# Where the functions themselves are defined, and hand on what they were given.
DEFINED_IN = {"wording.py", "errors.py"}


def called(node: ast.Call) -> str:
    return node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")


def speaks(node: ast.Call) -> bool:
    """True for an error kind, `note`, `tr`, and the page's own `say`; `Notice.say` takes no sentence."""
    name = called(node)
    return bool(node.args) and (name in KINDS | FUNCTIONS or (name == "say" and isinstance(node.func, ast.Name)))


def handed_on(node: ast.AST) -> bool:
    """True where a template that was written elsewhere is only handed on."""
    return getattr(node, "id", getattr(node, "attr", "")) == "template"


def entries(node: ast.AST) -> list[ast.expr]:
    return list(node.values if isinstance(node, ast.Dict) else getattr(node, "elts", []))


def texts(node: ast.AST, at: int | None = None) -> list[str]:
    """The texts that a table holds: all of them, or those at one place of each entry."""
    if at is not None and isinstance(node, ast.Dict):
        inner = [key for key in node.keys if key is not None] if at == 0 else list(node.values)
    elif at is not None:
        inner = [row.elts[at] for row in entries(node) if isinstance(row, ast.Tuple | ast.List) and at < len(row.elts)]
    else:
        inner = entries(node)
    found = []
    for entry in inner:
        if isinstance(entry, ast.Constant) and isinstance(entry.value, str):
            found.append(entry.value)
        elif isinstance(entry, ast.Dict | ast.Tuple | ast.List):
            found += texts(entry)
    return found


def tables(trees: dict[str, ast.Module]) -> dict[str, list[ast.AST]]:
    """Each table of literals named in capitals at the top of a module, by name."""
    found: dict[str, list[ast.AST]] = {}
    for tree in trees.values():
        for node in tree.body:
            target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
            if isinstance(node, ast.Assign | ast.AnnAssign) and isinstance(target, ast.Name) and target.id.isupper():
                found.setdefault(target.id, []).extend([node.value] if node.value else [])
    return found


def table_name(node: ast.AST) -> str | None:
    """The name of the table in `TABLE[key]`, `module.TABLE[key]`, `TABLE[key][0]` or `TABLE.get(key, key)`."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "get":
        node = ast.Subscript(value=node.func.value)
    while isinstance(node, ast.Subscript):
        node = node.value
        name = node.id if isinstance(node, ast.Name) else getattr(node, "attr", "")
        if name.isupper():
            return name
    return None


def loops(tree: ast.Module, known: dict[str, list[ast.AST]]) -> dict[str, list[str]]:
    """Texts that the variables of `for word in TABLE`, `for key, word in TABLE.items()` and the like run through."""
    found: dict[str, list[str]] = {}
    for node in ast.walk(tree):
        if not isinstance(node, ast.For | ast.comprehension):
            continue
        over = node.iter
        if (
            isinstance(over, ast.Call)
            and isinstance(over.func, ast.Attribute)
            and over.func.attr in ("items", "values")
        ):
            over = over.func.value
        name = over.id if isinstance(over, ast.Name) else getattr(over, "attr", "")
        targets = node.target.elts if isinstance(node.target, ast.Tuple) else [node.target]
        for at, target in enumerate(targets):
            if isinstance(target, ast.Name):
                for table in known.get(name, []):
                    # A dict run through as it is gives its keys.
                    place = at if len(targets) > 1 else 0 if isinstance(table, ast.Dict) and over is node.iter else None
                    found.setdefault(target.id, []).extend(texts(table, place))
    return found


def handed_tables(tree: ast.Module, known: dict[str, list[ast.AST]]) -> list[str]:
    """Texts of the tables handed to the functions of a module that take `words`."""
    takers = {
        f.name: [a.arg for a in f.args.args].index("words")
        for f in ast.walk(tree)
        if isinstance(f, ast.FunctionDef) and "words" in [a.arg for a in f.args.args]
    }
    found: list[str] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and called(node) in takers and takers[called(node)] < len(node.args):
            given = node.args[takers[called(node)]]
            for table in known.get(getattr(given, "id", ""), [given]):
                found += texts(table)
    return found


def field_names(node: ast.Call) -> list[str]:
    """What a number or text is called at the doors of `units`: a literal, or `price of {name}` of an f-string."""
    if called(node) == "held" and node.args and isinstance(node.args[0], ast.Constant):
        return [str(node.args[0].value)]
    if called(node) not in DOORS or len(node.args) < 2:
        return []
    field = node.args[1]
    if isinstance(field, ast.Constant) and isinstance(field.value, str):
        return [field.value]
    if isinstance(field, ast.JoinedStr) and len(field.values) == 2 and isinstance(field.values[0], ast.Constant):
        start = field.values[0].value
        return [start + "{name}"] if isinstance(start, str) and start.endswith(" of ") else []
    return []


def sentences(sources: dict[str, str]) -> list[tuple[str, str | None]]:
    """(place, template) of each error kind, `note` and `tr`; None where it is neither a literal nor from a table."""
    trees = {name: ast.parse(source) for name, source in sources.items()}
    known = tables(trees)
    found: list[tuple[str, str | None]] = []
    for name, tree in trees.items():
        runs = loops(tree, known)
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call):
                continue
            place = f"{name}:{node.lineno}"
            found += [(place, field) for field in field_names(node)]
            if speaks(node) and not handed_on(node.args[0]):
                said = templates(node.args[0], known, runs, tree)
                found += [(place, text) for text in said] or [(place, None)]
    return found


def templates(
    first: ast.expr, known: dict[str, list[ast.AST]], runs: dict[str, list[str]], tree: ast.Module
) -> list[str]:
    """The templates that the first argument of a call can be; none where that cannot be read off the code."""
    if isinstance(first, ast.Constant) and isinstance(first.value, str):
        return [first.value]
    table = table_name(first)
    if table is not None:
        return [text for node in known.get(table, []) for text in texts(node)]
    if isinstance(first, ast.Name):
        return runs.get(first.id, [])
    if isinstance(first, ast.Call) and isinstance(first.func, ast.Attribute):
        return handed_tables(tree, known) if getattr(first.func.value, "id", "") == "words" else []
    return []


@cache
def all_sentences() -> list[tuple[str, str | None]]:
    paths = [p for p in sorted(PACKAGE.rglob("*.py")) if p.name not in DEFINED_IN]
    return sentences({str(p.relative_to(PACKAGE)): p.read_text(encoding="utf-8") for p in paths})


def fields(template: str) -> set[str]:
    return {f"{name}:{spec}" for _, name, spec, _ in string.Formatter().parse(template) if name is not None}


def catalogue(lang: str) -> dict[str, str]:
    text = (PACKAGE / "locale" / f"{lang}.json").read_text(encoding="utf-8")
    return dict(json.loads(text))


def test_every_sentence_is_a_literal() -> None:
    assert [place for place, template in all_sentences() if template is None] == []


def unsaid_decimals(source: str) -> list[int]:
    """Lines where a number with decimals goes into a sentence as plain text, with the decimal sign of English."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and (called(node) in KINDS | FUNCTIONS or called(node) == "say"):
            for value in (k.value for k in node.keywords):
                for part in value.values if isinstance(value, ast.JoinedStr) else ():
                    spec = getattr(getattr(part, "format_spec", None), "values", [])
                    if spec and re.search(r"\.[1-9]f|g$", str(getattr(spec[0], "value", ""))):
                        found.append(node.lineno)
    return found


def test_numbers_in_sentences_can_get_a_comma() -> None:
    assert unsaid_decimals('note("{n}", n=f"{x:.1f}")\nnote("{n}", n=f"{x:.0f}")\ntr("{n}", n=f"{x:g}")') == [1, 3]
    # Pixels of a picture.
    whole = {"photo/crop.py"}
    faults = {
        str(path.relative_to(PACKAGE)): lines
        for path in sorted(PACKAGE.rglob("*.py"))
        if (lines := unsaid_decimals(path.read_text(encoding="utf-8")))
    }
    assert set(faults) <= whole, faults


def test_fields_are_named() -> None:
    for place, template in all_sentences():
        for field in fields(template or ""):
            assert field.split(":")[0].isidentifier(), f"{place}: {template}"


@pytest.mark.parametrize("lang", SECOND)
def test_the_second_language_is_complete(lang: str) -> None:
    have = catalogue(lang)
    missing = sorted({f"{place}: {t}" for place, t in all_sentences() if t is not None and t not in have})
    assert missing == []


# Where no blanket says which units: a ripple worked out by itself, and how far away the blanket is seen from.
METRIC_ONLY = {"{mark} {repeats} repeats: {chain} chains, {width} cm ({deviation} cm)", "from {n} m"}


def test_no_sentence_has_a_unit_of_its_own() -> None:
    """Lengths and masses are `units.Amount` or made by `Quantities`, so each sentence follows the units chosen."""
    unit = re.compile(r"(\}|\d)[ -]?(cm|m|g|kg|oz|yd|lb)\b")
    told = {template for _, template in all_sentences() if template is not None}
    assert {template for template in told if unit.search(template)} == METRIC_ONLY
    assert {words for words in catalogue("de").values() if unit.search(words)} == {
        catalogue("de")[template] for template in METRIC_ONLY
    }


@pytest.mark.parametrize("lang", SECOND)
def test_translations_have_the_same_fields(lang: str) -> None:
    for english, other in catalogue(lang).items():
        assert fields(english) == fields(other), english
        assert other.strip(), english


@pytest.mark.parametrize("lang", SECOND)
def test_no_translation_is_left_over(lang: str) -> None:
    used = {template for _, template in all_sentences()}
    assert sorted(set(catalogue(lang)) - used) == []


SOURCE = """
WORDS = {"a": "one", "b": ("two", "three")}
PAIRS = (("k", "four"),)
note("a {x}", x=1)
raise YarnError("b " "c", n=2)
say("d")
w.tr("e")
tr(WORDS[code])
tr(other.WORDS[code][0])
tr(WORDS.get(code, code))
whole(x, "rows of a stripe", 1, 9)
exact(x, f"price of {yarn.name}")
number(x, field, 1, 2)
tr(error.template)
n.say(lang)
[tr(word) for key, word in PAIRS]
def pick(words): tr(words.get(1))
pick({1: "five"})
"""
UNREADABLE = """
tr(words)
note(f"e {x}")
tr(NOWHERE[code])
tr(s.code)
"""


def test_the_reader_sees_what_it_should() -> None:
    found = {text for _, text in sentences({"x.py": SOURCE})}
    assert found == {
        "a {x}",
        "b c",
        *"de",
        "one",
        "two",
        "three",
        "four",
        "five",
        "rows of a stripe",
        "price of {name}",
    }


def test_the_reader_objects_to_what_it_cannot_read() -> None:
    assert [text for _, text in sentences({"x.py": UNREADABLE})] == [None] * 4


def test_a_missing_translation_stays_english() -> None:
    assert wording.tr("no such sentence with {n}", "de", n=2) == "no such sentence with 2"


def test_what_is_named_is_said_in_the_language_too() -> None:
    error = errors.QuantityError(
        "{field}: {given} is not known; choose one of {allowed}.", field="peak", given=1, allowed=2
    )
    assert "Spitze" in wording.tr(error.template, "de", **error.values)
    said = wording.tr("{field}: a text is needed, {given} was given.", "de", field="weight of Wool of Fern", given=1)
    assert said.startswith("Gewicht von Wool of Fern:")


def test_a_notice_inside_a_sentence_is_said_in_the_language_too() -> None:
    inner = wording.note("No stripe uses {names}.", names="x")
    outer = wording.note("{level}: {sentence}", level="a", sentence=inner)
    assert outer.text == "a: No stripe uses x."
    assert outer.say("de") == "a: Kein Streifen verwendet x."

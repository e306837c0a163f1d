"""The flow goes one way: every import is read and held against the order of stages."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "blendplan"
ORDER = [
    {"errors", "budgets", "text", "wording", "units", "quantities", "record", "files", "__init__"},
    {"colour"},
    {"yarn"},
    {"photo"},
    {"palette"},
    {"blend"},
    {"stripes"},
    {"order"},
    {"fabric"},
    {"yardage"},
    {"blanket"},
    {"edits"},
    {"version1"},
    {"project"},
    {"reckon", "saving"},
    {"kept"},
    {"plan"},
    {"lasting", "wishes"},
    {"picture"},
    {"outputs"},
    {"workspace"},
    {"start"},
    {"demo"},
    {"cli", "page", "__main__"},
]
STAGE = {name: i for i, names in enumerate(ORDER) for name in names}
# Who may import which library; the heavy ones are also never imported before they are needed.
OWNERS = {
    "streamlit": {"page"},
    "starlette": {"page"},
    "uvicorn": {"page"},
    "segno": {"page"},
    "PIL": {"photo", "picture", "demo"},
    "pillow_heif": {"photo"},
    "fpdf": {"outputs"},
    "babel": {"wording"},
    "scipy": {"photo", "order", "yardage", "picture", "page"},
    "skimage": {"photo"},
    "colour": {"photo"},
}
LATE = {"scipy", "skimage", "colour", "fpdf", "babel", "pillow_heif"}
FILES = sorted(p for p in PACKAGE.rglob("*.py") if "_page" not in p.parts)


def stage_of(path: Path) -> str:
    parts = path.relative_to(PACKAGE).parts
    return parts[0] if len(parts) > 1 else path.stem


def imports(path: Path) -> list[str]:
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found.append(node.module or "")
            if node.module == "blendplan":
                found += [f"blendplan.{alias.name}" for alias in node.names]
    return found


def top_imports(path: Path) -> set[str]:
    """Modules imported as soon as a file is, outside of any function."""
    body = ast.parse(path.read_text(encoding="utf-8")).body
    found = {node.module or "" for node in body if isinstance(node, ast.ImportFrom)}
    return found | {alias.name for node in body if isinstance(node, ast.Import) for alias in node.names}


def module_of(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def circles(graph: dict[str, set[str]]) -> list[set[str]]:
    """Files that import each other, near or far, also inside functions."""

    def reach(start: str) -> set[str]:
        seen, front = set[str](), [start]
        while front:
            for name in graph.get(front.pop(), set()) - seen:
                seen.add(name)
                front.append(name)
        return seen

    reached = {name: reach(name) for name in graph}
    return [
        {name} | {other for other in reached[name] if name in reached[other]} for name in graph if name in reached[name]
    ]


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_one_way(path: Path) -> None:
    own = stage_of(path)
    assert own in STAGE, f"{own} is not placed in the flow"
    for name in imports(path):
        top, *rest = name.split(".")
        if top in OWNERS:
            assert own in OWNERS[top], f"{path.name} imports {top}"
        if own == "plan" and name.startswith("blendplan.outputs"):
            # A plan shows and writes itself: it hands on to the outputs by name, when asked and not before.
            assert name not in top_imports(path)
            continue
        if top == "blendplan" and rest and rest[0] in STAGE:
            assert STAGE[rest[0]] <= STAGE[own], f"{path.name} of stage {own} imports {name}"


def test_no_file_imports_itself_in_a_circle() -> None:
    modules = {module_of(path): path for path in FILES}
    graph = {name: {n for n in imports(path) if n in modules and n != name} for name, path in modules.items()}
    assert circles(graph) == []
    assert circles({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == [{"a", "b", "c"}] * 3


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_heavy_libraries_are_imported_when_they_are_needed(path: Path) -> None:
    assert not {name.split(".")[0] for name in top_imports(path)} & LATE


def test_the_rule_can_fail(tmp_path: Path) -> None:
    bad = tmp_path / "x.py"
    bad.write_text("from blendplan.plan import Plan\n")
    assert any(STAGE[n.split(".")[1]] > STAGE["colour"] for n in imports(bad) if n.count("."))

"""The flow goes one way: every import is read and held against the order of stages."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "blendplan"
ORDER = [
    {"errors", "wording", "units", "__init__"},
    {"colour"},
    {"yarn"},
    {"photo"},
    {"palette"},
    {"blend"},
    {"stripes"},
    {"order"},
    {"fabric"},
    {"yardage"},
    {"plan"},
    {"project"},
    {"picture"},
    {"outputs"},
    {"start"},
    {"demo"},
    {"cli", "page", "__main__"},
]
STAGE = {name: i for i, names in enumerate(ORDER) for name in names}
OWNERS = {
    "streamlit": {"page"},
    "PIL": {"photo", "picture", "outputs", "demo"},
    "pillow_heif": {"photo"},
    "fpdf": {"outputs"},
}
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


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_one_way(path: Path) -> None:
    own = stage_of(path)
    assert own in STAGE, f"{own} is not placed in the flow"
    for name in imports(path):
        top, *rest = name.split(".")
        if top in OWNERS:
            assert own in OWNERS[top], f"{path.name} imports {top}"
        if top == "blendplan" and rest and rest[0] in STAGE:
            assert STAGE[rest[0]] <= STAGE[own], f"{path.name} of stage {own} imports {name}"


def test_the_rule_can_fail(tmp_path: Path) -> None:
    bad = tmp_path / "x.py"
    bad.write_text("from blendplan.plan import Brief\n")
    assert any(STAGE[n.split(".")[1]] > STAGE["colour"] for n in imports(bad) if n.count("."))

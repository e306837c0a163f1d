"""What README.md shows is true: its Python runs, its commands parse, its files exist."""

from __future__ import annotations

import ast
import re
import shlex
from fnmatch import fnmatch
from pathlib import Path

import pytest

from blendplan.cli import _parser
from blendplan.demo.scenario import demo_photos
from blendplan.files import write_whole

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")


def test_it_opens_with_the_job_in_one_paragraph() -> None:
    title, job, *_ = TEXT.split("\n\n")
    assert title == "# blendplan"
    assert not job.startswith(("#", "!", "-", "`"))
    assert len(job) > 300


def test_its_pictures_exist_and_are_small() -> None:
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", TEXT)
    assert pictures
    for name in pictures:
        assert (ROOT / name).stat().st_size < 600_000


def test_its_python_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    blocks = re.findall(r"```python\n(.*?)```", TEXT, re.DOTALL)
    assert blocks
    monkeypatch.chdir(tmp_path)
    # The photographs that `blendplan demo --out demo-out` writes.
    for photo in demo_photos():
        write_whole(tmp_path / "demo-out" / photo.name, photo.data)
    for block in blocks:
        exec(compile(block, "README.md", "exec"), {})


def test_its_commands_parse() -> None:
    lines = [
        line.strip().removeprefix(".venv/bin/")
        for block in re.findall(r"```sh\n(.*?)```", TEXT, re.DOTALL)
        for line in block.splitlines()
    ]
    commands = [shlex.split(line, comments=True)[1:] for line in lines if line.startswith("blendplan ")]
    assert len(commands) >= 6
    for args in commands:
        _parser().parse_args(args)


def test_only_the_fixed_names_at_top_level() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "blendplan", "app.py", "palettes", "tests"}
    made = {"build", "dist", "artifacts", "demo-out", "blendplan.egg-info"}
    found = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")}
    assert found - made == allowed


# --- DEVELOPERS.md names only what exists -------------------------------------------------------------------------

OWN = Path(__file__).relative_to(ROOT)
NOTES = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
FILES = [
    p.relative_to(ROOT).as_posix()
    for top in ("blendplan", "tests", ".ci", "palettes")
    for p in [ROOT / top, *(ROOT / top).rglob("*")]
    if "__pycache__" not in p.parts
] + [p.name for p in ROOT.iterdir() if p.is_file()]
# Signs, words of nginx and of Streamlit's own command line: nothing of this project.
OUTSIDE = {"#rrggbb", "_cm", "_m", "_g", "https", "location /", "upstream", "frozen=True, slots=True, kw_only=True"}
THEIRS = ("--server.", "--browser.")


def defined(tree: ast.AST) -> set[str]:
    """Names that a file defines: modules aside, everything that is bound anywhere in it, and its keys."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            found.add(node.name)
        elif isinstance(node, ast.Name | ast.Attribute) and isinstance(node.ctx, ast.Store):
            found.add(node.id if isinstance(node, ast.Name) else node.attr)
        elif isinstance(node, ast.arg):
            found.add(node.arg)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and " " not in node.value:
            found.add(node.value)
        elif isinstance(node, ast.ImportFrom):
            found |= {alias.name for alias in node.names}
    return found


def missing(said: str, names: dict[str, set[str]]) -> list[str]:
    """What of a piece in backticks does not exist; `names` holds what each Python file defines."""
    if said in OUTSIDE or said.startswith(THEIRS):
        return []
    first, *rest = said.split()
    if first in ("python", "bash", "streamlit", "blendplan") or (first.startswith("--") and rest):
        return [part for word in said.split() if "/" in word or word.startswith("-") for part in missing(word, names)]
    if "/" in first or (re.search(r"\.\w{2,4}$", first) and not re.match(r"\w+\.[A-Za-z_]+$", first)):
        whole = first.startswith(".") or re.search(r"\.(py|csv|json|npz|md)$", first)
        file, _, inner = (first, "", "") if whole else first.partition(".")
        wanted = re.sub("<[^>]+>", "*", file).rstrip("/")
        hits = [p for p in FILES if fnmatch(p, wanted) or fnmatch(p, f"*/{wanted}") or fnmatch(p, f"*/{wanted}.py")]
        return [] if hits and (not inner or any(inner in names.get(p, ()) for p in hits)) else [said]
    if match := re.fullmatch(r"(\w+)\.(\w+)(\(.*\))?", said):
        home, name = match[1], match[2]
        hits = [found for p, found in names.items() if Path(p).stem == home or home in found]
        return [] if f"{home}.{name}" in {Path(p).name for p in FILES} or any(name in f for f in hits) else [said]
    stems = {Path(p).stem for p in FILES}
    words = re.findall(r"--[\w-]+|\w+", re.sub(r"\(.*\)|=.*", "", said))
    return [w for w in words if w not in stems and w.lower() not in stems and not any(w in f for f in names.values())]


def test_developers_names_only_what_exists() -> None:
    names = {
        p: defined(ast.parse((ROOT / p).read_text(encoding="utf-8")))
        for p in FILES
        if p.endswith(".py") and Path(p) != OWN
    }
    said = set(re.findall(r"`([^`\n]+)`", re.sub(r"```.*?```", "", NOTES, flags=re.DOTALL)))
    assert len(said) > 80
    assert {one: gone for one in sorted(said) if (gone := missing(one, names))} == {}
    # The rule can fail.
    for wrong in ("photo/nowhere.py", "tests/test_nothing_*.py", "units.quux", "bench_quux", "Quux", "--quux"):
        assert missing(wrong, names), wrong


def test_developers_places_every_stage() -> None:
    table = "\n".join(line for line in NOTES.splitlines() if re.match(r"\| \d+ \|", line))
    named = {name.strip("/") for name in re.findall(r"`([^`]+)`", table.replace("blendplan/", ""))}
    stages = {p.stem for p in (ROOT / "blendplan").iterdir() if p.suffix == ".py" or (p / "__init__.py").exists()}
    assert stages - {"__init__", "__main__"} - named == set()

"""What README.md shows is true: its Python runs, its commands parse, its files exist."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from blendplan.cli import _parser

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

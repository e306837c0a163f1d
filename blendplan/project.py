"""The project file: a `Blanket` as versioned JSON, checked on the way in, written whole or not at all."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from blendplan.blanket import Blanket
from blendplan.budgets import MAX_DEPTH, MAX_GROUPS, MAX_PROJECT
from blendplan.errors import BlendplanError, ProjectError
from blendplan.files import read_file, write_whole
from blendplan.record import read, to_plain
from blendplan.version1 import brought_over
from blendplan.wording import Notice

__all__ = [
    "FORMAT",
    "VERSION",
    "load_project",
    "open_project",
    "project_json",
    "read_entries",
    "read_project",
    "save_project",
]

FORMAT = "blendplan-project"
VERSION = 2
# What the page keeps beside the blanket; other readers leave it alone.
PAGE_ENTRY = "page"


def _no_constant(text: str) -> Any:
    raise ProjectError("the project file holds {given}, which is not a number; write a finite number.", given=text)


def _check_depth(body: Any) -> None:
    level, groups = [body], 1
    for _ in range(MAX_DEPTH):
        inner = (entry for group in level for entry in (group.values() if isinstance(group, dict) else group))
        level = [entry for entry in inner if isinstance(entry, (dict, list))]
        groups += len(level)
        if groups > MAX_GROUPS:
            raise ProjectError(
                "the project file holds more entries than the {allowed} that are allowed; take yarns or weighings out.",
                allowed=MAX_GROUPS,
            )
        if not level:
            return
    raise ProjectError("the project file is nested more than {allowed} deep; it is not one of ours.", allowed=MAX_DEPTH)


def project_json(blanket: Blanket) -> str:
    """Return the project file's text: UTF-8 JSON with `format` and `version`, the same for the same blanket."""
    return entries_json(to_plain(blanket))


def entries_json(entries: dict[str, Any]) -> str:
    """Return a project file's text of entries that are plain already."""
    body = {"format": FORMAT, "version": VERSION, **entries}
    return json.dumps(body, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def read_entries(data: bytes) -> tuple[dict[str, Any], tuple[Notice, ...]]:
    """Return the entries of a project file as those of today's version, and what was said of bringing them over.

    Raises
    ------
    BlendplanError
        If the file is too large, not UTF-8 JSON, not of this format, newer than this program, or holds
        a value that cannot be used.
    """
    if len(data) > MAX_PROJECT:
        raise ProjectError(
            "the project file has {given} bytes; allowed is at most {allowed}.", given=len(data), allowed=MAX_PROJECT
        )
    try:
        text = data.decode("utf-8-sig")
        body = json.loads(text, parse_constant=_no_constant)
    except UnicodeDecodeError:
        raise ProjectError("the project file is not UTF-8 text; open the file that 'blendplan new' wrote.") from None
    except json.JSONDecodeError as error:
        raise ProjectError(
            "the project file is not valid JSON (line {line}, column {column}); mend it there or save it anew.",
            line=error.lineno,
            column=error.colno,
        ) from None
    except ValueError:
        # Python reads whole numbers of up to 4300 digits.
        raise ProjectError(
            "the project file holds {given}, which is not a number; write a finite number.",
            given="a number of thousands of digits",
        ) from None
    except RecursionError:
        raise ProjectError(
            "the project file is nested more than {allowed} deep; it is not one of ours.", allowed=MAX_DEPTH
        ) from None
    if isinstance(body, (dict, list)):
        _check_depth(body)
    if not isinstance(body, dict) or body.get("format") != FORMAT:
        raise ProjectError('this file is not a blendplan project; its "format" must be {allowed}.', allowed=FORMAT)
    version = body.get("version")
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise ProjectError(
            'the project file\'s "version" is {given}; it must be a whole number from 1.', given=repr(version)
        )
    if version > VERSION:
        raise ProjectError(
            "the project file is of version {given}; this program knows up to {allowed}; install a newer blendplan.",
            given=version,
            allowed=VERSION,
        )
    entries = {k: v for k, v in body.items() if k not in ("format", "version")}
    return brought_over(entries) if version == 1 else (entries, ())


def read_project(data: bytes) -> tuple[Blanket, tuple[Notice, ...]]:
    """Return the blanket in a project file and what is to be said about it.

    Raises
    ------
    BlendplanError
        As `read_entries`, or where a value cannot be used.
    """
    entries, said = read_entries(data)
    notices = list(said)
    entries.pop(PAGE_ENTRY, None)
    return read(Blanket, entries, "project", notices), tuple(notices)


def open_project(path: str | Path) -> tuple[Blanket, tuple[Notice, ...]]:
    """Return the blanket in a project file on disk and what is to be said about it.

    Raises
    ------
    BlendplanError
        If the file cannot be read, or as `read_project`, with the name of the file before it.
    """
    data = read_file(path)
    try:
        return read_project(data)
    except BlendplanError as error:
        raise type(error)("{file}: {problem}", file=str(path), problem=error) from None


def load_project(path: str | Path) -> Blanket:
    """Return the blanket in a project file on disk; notices are dropped.

    Raises
    ------
    BlendplanError
        As `open_project`.
    """
    return open_project(path)[0]


def save_project(blanket: Blanket, path: str | Path) -> None:
    """Write the project file whole or not at all."""
    write_whole(path, project_json(blanket).encode("utf-8"))

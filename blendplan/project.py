"""The project file: a `Brief` as versioned JSON, checked on the way in, written whole or not at all."""

from __future__ import annotations

import contextlib
import dataclasses
import errno
import json
import os
import sys
import tempfile
import types
import typing
from collections.abc import Mapping
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any, Literal, TypeVar, get_args, get_origin

from blendplan.errors import BlendplanError, ProjectError
from blendplan.plan import Brief
from blendplan.units import exact
from blendplan.wording import Notice, note

__all__ = [
    "FORMAT",
    "VERSION",
    "brief_from_json",
    "brief_to_json",
    "from_plain",
    "load_project",
    "read_project",
    "save_project",
    "to_plain",
    "write_all",
    "write_whole",
]

FORMAT = "blendplan-project"
VERSION = 1
# What the page keeps beside the brief; other readers leave it alone.
PAGE_ENTRY = "page"
MAX_BYTES = 20_000_000
MAX_DEPTH = 24

T = TypeVar("T")


@cache
def _hints(cls: type) -> dict[str, Any]:
    return typing.get_type_hints(cls)


def _float(hint: Any, value: Any) -> Any:
    """Return a whole number in a place for a float as that float: 1 and 1.0 are written alike."""
    if isinstance(value, int) and not isinstance(value, bool):
        options = {hint, *get_args(hint)}
        return float(value) if float in options and int not in options else value
    if isinstance(value, tuple) and get_origin(hint) is tuple:
        args = get_args(hint)
        each = [args[0]] * len(value) if args[-1] is Ellipsis else list(args)
        return tuple(_float(h, v) for h, v in zip(each, value, strict=True)) if len(each) == len(value) else value
    return value


def to_plain(value: Any) -> Any:
    """Return dataclasses, tuples and fractions as what JSON can hold.

    A fraction becomes a number where its decimal writing is exact, and a text like "1/3" elsewhere.
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        hints = _hints(type(value))
        return {f.name: to_plain(_float(hints[f.name], getattr(value, f.name))) for f in dataclasses.fields(value)}
    if isinstance(value, Fraction):
        if value.denominator == 1:
            return int(value)
        return float(value) if Fraction(repr(float(value))) == value else f"{value.numerator}/{value.denominator}"
    if isinstance(value, (list, tuple)):
        return [to_plain(v) for v in value]
    if isinstance(value, dict):
        return {str(k): to_plain(v) for k, v in value.items()}
    return value


def _bad(where: str, given: object, allowed: str) -> ProjectError:
    # As the file spells it, not as Python does.
    shown = {None: "null", True: "true", False: "false"}[given] if isinstance(given, bool | None) else repr(given)
    return ProjectError(
        "the project file has {given} at {where}; allowed is {allowed}; mend or remove that entry.",
        given=shown if len(shown) <= 60 else shown[:57] + "...",
        where=where,
        allowed=allowed,
    )


def _fraction(value: Any, where: str) -> Fraction:
    if isinstance(value, str) and value.count("/") == 1:
        top, bottom = value.split("/")
        if len(value) <= 80 and top.removeprefix("-").isdecimal() and bottom.isdecimal() and int(bottom):
            return Fraction(int(top), int(bottom))
    return exact(value, where)


def _scalar(hint: Any, value: Any, where: str) -> Any:
    if hint is Fraction:
        return _fraction(value, where)
    if hint is bool:
        if isinstance(value, bool):
            return value
        raise _bad(where, value, "true or false")
    if hint is int:
        if isinstance(value, int) and not isinstance(value, bool):
            return value
        raise _bad(where, value, "a whole number")
    if hint is float:
        if isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < sys.float_info.max:
            return float(value)
        raise _bad(where, value, "a number")
    if hint is str:
        if isinstance(value, str):
            return value
        raise _bad(where, value, "a text")
    return value


def _fits(option: Any, value: Any) -> bool:
    """Tell whether a record holds no entry that the class does not know."""
    known = dataclasses.is_dataclass(option) and {f.name for f in dataclasses.fields(option)}
    return bool(known) and isinstance(value, dict) and set(value) <= known  # type: ignore[operator]


def _same_kind(option: Any, value: Any) -> bool:
    """Tell whether a record says of itself that it is of this class."""
    if not dataclasses.is_dataclass(option) or not isinstance(value, dict):
        return False
    kinds = get_args(typing.get_type_hints(option).get("kind"))
    return bool(kinds) and value.get("kind") in kinds


def _union(hint: Any, value: Any, where: str, notices: list[Notice]) -> Any:
    options = [option for option in get_args(hint) if option is not types.NoneType]
    if value is None and len(options) < len(get_args(hint)):
        return None
    # Of several records, the one of the same kind, then one whose names fit, is tried first; its problem is told.
    problems: list[BlendplanError] = []
    for option in sorted(options, key=lambda o: (not _same_kind(o, value), not _fits(o, value))):
        said: list[Notice] = []
        try:
            got = from_plain(option, value, where=where, notices=said)
        except BlendplanError as error:
            problems.append(error)
        else:
            notices.extend(said)
            return got
    raise problems[0]


def _sequence(hint: Any, value: Any, where: str, notices: list[Notice]) -> tuple[Any, ...]:
    if not isinstance(value, list):
        raise _bad(where, value, "a list")
    args = get_args(hint)
    if len(args) == 2 and args[1] is Ellipsis:
        return tuple(from_plain(args[0], v, where=f"{where}[{i}]", notices=notices) for i, v in enumerate(value))
    if len(value) != len(args):
        raise _bad(where, value, f"a list of {len(args)}")
    return tuple(
        from_plain(a, v, where=f"{where}[{i}]", notices=notices)
        for i, (a, v) in enumerate(zip(args, value, strict=True))
    )


def from_plain(hint: Any, value: Any, *, where: str = "project", notices: list[Notice] | None = None) -> Any:
    """Return a value of the hinted type from what JSON held.

    Parameters
    ----------
    hint : type or typing form
        A dataclass, `tuple[X, ...]`, `X | None`, `Literal[...]`, `Fraction`, or a plain type.
    value : object
        What `json.loads` gave.
    where : str
        The path shown in messages.
    notices : list of Notice, optional
        Unknown entries are reported here and left out.

    Raises
    ------
    BlendplanError
        In one line, with the path of the entry.
    """
    found = notices if notices is not None else []
    origin = get_origin(hint)
    if origin in (typing.Union, types.UnionType):
        return _union(hint, value, where, found)
    if origin is Literal:
        if value in get_args(hint):
            return value
        raise _bad(where, value, "one of " + ", ".join(str(a) for a in get_args(hint)))
    if origin is tuple:
        return _sequence(hint, value, where, found)
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return _record(hint, value, where, found)
    return _scalar(hint, value, where)


def _record(cls: type[T], value: Any, where: str, notices: list[Notice]) -> T:
    if not isinstance(value, dict):
        raise _bad(where, value, "a group of named entries")
    hints = typing.get_type_hints(cls)
    fields = {f.name: f for f in dataclasses.fields(cls) if f.init}  # type: ignore[arg-type]
    got: dict[str, Any] = {}
    for key, entry in value.items():
        if key in fields:
            got[key] = from_plain(hints[key], entry, where=f"{where}.{key}", notices=notices)
        else:
            notices.append(note("{where} has an entry {key} that is not known; it was left out.", where=where, key=key))
    for name, f in fields.items():
        if name not in got and f.default is dataclasses.MISSING and f.default_factory is dataclasses.MISSING:
            raise ProjectError("the project file has no {name} in {where}; add it.", name=name, where=where)
    return cls(**got)


def _no_constant(text: str) -> Any:
    raise ProjectError("the project file holds {given}, which is not a number; write a finite number.", given=text)


def _check_depth(value: Any, left: int = MAX_DEPTH) -> None:
    if left < 0:
        raise ProjectError(
            "the project file is nested more than {allowed} deep; it is not one of ours.", allowed=MAX_DEPTH
        )
    for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        _check_depth(inner, left - 1)


def brief_to_json(brief: Brief) -> str:
    """Return the project file's text: UTF-8 JSON with `format` and `version`, the same for the same brief."""
    body = {"format": FORMAT, "version": VERSION, **to_plain(brief)}
    return json.dumps(body, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def read_project(data: bytes) -> tuple[Brief, tuple[Notice, ...]]:
    """Return the brief in a project file and what is to be said about it.

    Raises
    ------
    BlendplanError
        If the file is too large, not UTF-8 JSON, not of this format, newer than this program, or holds
        a value that cannot be used.
    """
    if len(data) > MAX_BYTES:
        raise ProjectError(
            "the project file has {given} bytes; allowed is at most {allowed}.", given=len(data), allowed=MAX_BYTES
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
    notices: list[Notice] = []
    entries = {k: v for k, v in body.items() if k not in ("format", "version", PAGE_ENTRY)}
    brief: Brief = from_plain(Brief, entries, notices=notices)
    return brief, tuple(notices)


def brief_from_json(text: str) -> Brief:
    """Return the brief in a project file's text; notices are dropped."""
    return read_project(text.encode("utf-8"))[0]


def load_project(path: str | Path) -> Brief:
    """Return the brief in a project file on disk.

    Raises
    ------
    ProjectError
        If the file cannot be read, or as `read_project`.
    """
    return read_project(read_file(path))[0]


def read_file(path: str | Path) -> bytes:
    """Return a file's bytes, or refuse in one line."""
    most = 10 * MAX_BYTES
    try:
        with Path(path).open("rb") as file:
            # Some files tell no size and never end.
            data = file.read(most + 1)
    except (OSError, ValueError) as error:
        raise ProjectError(
            "{path} cannot be read ({reason}); check the name and try again.",
            path=repr(str(path)) if not str(path).strip() else str(path),
            reason=getattr(error, "strerror", None) or "not a file name",
        ) from None
    if len(data) > most:
        raise ProjectError("{path} is too large to be read; allowed is 200 MB.", path=str(path))
    return data


def _beside(target: Path, data: bytes) -> Path:
    """Write data into a new file beside its place and return that file's path; nothing is left where it fails."""
    target.parent.mkdir(parents=True, exist_ok=True)
    if target.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    handle, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", suffix=".part", dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        # mkstemp makes a private file; a finished output gets the usual rights of a new file.
        umask = os.umask(0)
        os.umask(umask)
        Path(name).chmod(0o666 & ~umask)
    except OSError:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise
    return Path(name)


def write_all(files: Mapping[Path, bytes]) -> None:
    """Write several files: each beside its place first, and only when all are complete do they take their places.

    Raises
    ------
    ProjectError
        If a folder cannot be written to or the disk is full; every old file is untouched.
    """
    waiting: dict[Path, Path] = {}
    target = Path()
    try:
        for target, data in files.items():
            waiting[target] = _beside(target, data)
        for target, beside in list(waiting.items()):
            beside.replace(target)
            del waiting[target]
    except OSError as error:
        for beside in waiting.values():
            with contextlib.suppress(OSError):
                beside.unlink()
        raise ProjectError(
            "{path} cannot be written ({reason}); nothing was changed; choose another folder or free some space.",
            path=str(target),
            reason=error.strerror or "no reason given",
        ) from None


def write_whole(path: str | Path, data: bytes) -> None:
    """Write a file beside its place, then rename it: the old content stays until the new is complete.

    Raises
    ------
    ProjectError
        If the folder cannot be written to or the disk is full; the old file is untouched.
    """
    write_all({Path(path): data})


def save_project(brief: Brief, path: str | Path) -> None:
    """Write the project file whole or not at all."""
    write_whole(path, brief_to_json(brief).encode("utf-8"))

"""All outputs of a plan into one folder under fixed names, or a sheet for each student of a class from one list."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from blendplan.blanket import Blanket, free_key
from blendplan.budgets import MAX_STUDENTS
from blendplan.errors import BlendplanError, YarnError
from blendplan.files import write_set
from blendplan.outputs.content import dealt_letters
from blendplan.outputs.pdf import plan_pdf
from blendplan.outputs.render import plan_picture
from blendplan.outputs.sheet import plan_html, shop_html
from blendplan.outputs.tables import plan_json, rows_txt, shopping_csv, stripes_csv
from blendplan.palette import read_table
from blendplan.plan import Plan, make_plan, to_buy
from blendplan.text import clean_text, download_name
from blendplan.units import choice
from blendplan.yardage.making import Making
from blendplan.yarn import Shade, Yarn


@dataclass(frozen=True, slots=True, kw_only=True)
class How:
    """How outputs are written: the day and the paper as `blendplan.outputs.pdf.plan_pdf` has them."""

    date: date | None = None
    paper: str = ""
    lang: str = "en"
    semicolon: bool = False


PLAIN = How()


def _shopping(plan: Plan, how: How) -> bytes:
    shades = {yarn.name: yarn.srgb for yarn in plan.yarns}
    currency = plan.blanket.ways.currency
    return shopping_csv(to_buy(plan), currency=currency, shades=shades, semicolon=how.semicolon, lang=how.lang)


# Every output of a plan by its name, which is always the same one.
OUTPUTS: dict[str, Callable[[Plan, How], bytes]] = {
    "plan.json": lambda plan, how: plan_json(plan),
    "picture.png": lambda plan, how: plan_picture(plan),
    "stripes.csv": lambda plan, how: stripes_csv(plan, semicolon=how.semicolon, lang=how.lang),
    "shopping.csv": _shopping,
    "rows.txt": lambda plan, how: rows_txt(plan, lang=how.lang),
    "plan.pdf": lambda plan, how: plan_pdf(plan, paper=how.paper, lang=how.lang, date=how.date),
    "sheet.html": lambda plan, how: plan_html(plan, lang=how.lang, date=how.date).encode("utf-8"),
    "shop.html": lambda plan, how: shop_html(plan, lang=how.lang).encode("utf-8"),
}


def make_outputs(plan: Plan, how: How = PLAIN) -> dict[str, bytes]:
    """Return every output of a plan by its name."""
    return {name: make(plan, how) for name, make in OUTPUTS.items()}


def write_outputs(
    plan: Plan, folder: str | Path, how: How = PLAIN, *, others: Mapping[str, bytes] | None = None
) -> tuple[Path, ...]:
    """Write every output of a plan into a folder, others with them as one set, and return the paths."""
    return write_set(folder, {**(others or {}), **make_outputs(plan, how)})


COLUMNS = ("name", "yarns", "terms", "units")
# What a teacher may write for metric and imperial.
UNITS = {"cm": "metric", "in": "imperial", "inch": "imperial", "inches": "imperial"}
_TYPED = re.compile(r"(?P<name>.*?)\s*(?P<srgb>#[0-9a-fA-F]{6})")


@dataclass(frozen=True, slots=True, kw_only=True)
class Student:
    """One line of a class list."""

    name: str
    # In place of the pattern's A, B, C ...: names of yarns in the project, or `Name #rrggbb`; an empty one keeps the
    # pattern's, and so does a list that is shorter.
    yarns: tuple[str, ...] = ()
    terms: str = ""  # empty keeps the pattern's
    units: str = ""


def read_students(data: str | bytes, name: str) -> tuple[Student, ...]:
    """Return the students of a class list, a CSV with the columns name, yarns, terms and units."""
    lines = read_table(data, name)
    if not lines or "name" not in lines[0][1]:
        raise YarnError(
            "{file} is no class list; its first line must name the columns: name, and if you like {optional}.",
            file=name,
            optional=", ".join(COLUMNS[1:]),
        )
    if len(lines) > MAX_STUDENTS:
        raise YarnError(
            "{file} lists {given} students; allowed is at most {allowed}.",
            file=name,
            given=len(lines),
            allowed=MAX_STUDENTS,
        )
    return tuple(_student(number, cells, name) for number, cells in lines)


def _student(number: int, cells: dict[str, str], file: str) -> Student:
    terms, units = cells.get("terms", "").upper(), cells.get("units", "").lower()
    try:
        return Student(
            name=clean_text(cells["name"], "name", 80) or str(number),
            yarns=tuple(part.strip() for part in cells.get("yarns", "").split(";")),
            terms=choice(terms, "terms", ("US", "UK")) if terms else "",
            units=choice(UNITS.get(units, units), "units", ("metric", "imperial")) if units else "",
        )
    except BlendplanError as error:
        raise YarnError("{file}, line {line}: {problem}", file=file, line=number, problem=error) from None


def _own(blanket: Blanket, student: Student) -> Blanket:
    """Return the blanket with a student's yarns, terms, units and name, without the teacher's stock and work."""
    letters = dealt_letters(blanket.design_keys(), dict(blanket.letters))
    order = tuple(sorted(letters, key=lambda key: (len(letters[key]), letters[key])))
    wanted = [text for text in student.yarns if text]
    if len(student.yarns) > len(order):
        raise YarnError(
            "{name} has {given} yarns and the pattern {allowed}; leave the others out.",
            name=student.name,
            given=len(wanted),
            allowed=len(order),
        )
    yarns = {yarn.key: replace(yarn, lots=()) for yarn in blanket.yarns}
    known = {yarn.name: yarn for yarn in yarns.values()}
    for key, text in zip(order, student.yarns, strict=False):
        if text and text != yarns[key].name:
            yarns[key] = _taken(yarns[key], text, known, student)
    asked: dict[str, Any] = {"terms": student.terms, "units": student.units}
    ways = replace(blanket.ways, **{key: value for key, value in asked.items() if value})
    return replace(
        blanket,
        title=f"{blanket.title}: {student.name}"[:120],
        ways=ways,
        materials=replace(blanket.materials, yarns=_told_apart(tuple(yarns.values()), order)),
        design=replace(blanket.design, skeins=()),
        making=Making(),
        variants=(),
    )


def _taken(old: Yarn, text: str, known: dict[str, Yarn], student: Student) -> Yarn:
    """Return the yarn that stands in an old one's place, under its key."""
    if text in known:
        return replace(known[text], key=old.key)
    typed = _TYPED.fullmatch(text)
    if typed is None:
        raise YarnError(
            "{name}: {given} is none of the yarns of the project; write its name, or a name and a colour like "
            "Moss #4f6b3a.",
            name=student.name,
            given=repr(text),
        )
    return replace(old, name=typed["name"] or typed["srgb"], shades=(Shade.from_hex(typed["srgb"]),))


def _told_apart(yarns: Sequence[Yarn], used: Sequence[str]) -> tuple[Yarn, ...]:
    """Return the yarns with names that are each there once; those in use keep theirs."""
    names: set[str] = set()
    out = {}
    for yarn in sorted(yarns, key=lambda y: y.key not in used):
        name = free_key(yarn.name, names)
        names.add(name)
        out[yarn.key] = yarn if name == yarn.name else replace(yarn, name=name)
    return tuple(out[yarn.key] for yarn in yarns)


def class_sheets(
    blanket: Blanket, students: Sequence[Student], *, lang: str = "en", date: date | None = None
) -> tuple[tuple[str, bytes], ...]:
    """Return name and bytes of one sheet for each student."""
    out: dict[str, bytes] = {}
    for student in students:
        name = download_name(f"sheet {student.name}", "html")
        n = 2
        while name in out:
            name, n = download_name(f"sheet {student.name} {n}", "html"), n + 1
        out[name] = plan_html(make_plan(_own(blanket, student)), lang=lang, date=date).encode("utf-8")
    return tuple(out.items())

"""Palettes as CSV: yarns in a table that any spreadsheet opens.

Columns `name` and `srgb` are needed; `grams`, `metres` (per skein), `skeins_on_hand`, `weight_class`, `dye_lot`
and `price` are optional.
Other columns are kept, reported, and written back.
What a palette does not hold: how sure a shade is, several shades of one yarn, fibre, part skeins.
Those live in the project file.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from blendplan.errors import BlendplanError, YarnError
from blendplan.units import clean_text, exact, plain, whole
from blendplan.wording import Notice, note
from blendplan.yarn import WEIGHT_CLASSES, PutUp, Shade, Yarn, check_yarns

__all__ = ["COLUMNS", "Palette", "read_palette", "write_palette"]

COLUMNS = ("name", "srgb", "grams", "metres", "skeins_on_hand", "weight_class", "dye_lot", "price")
MAX_BYTES = 2_000_000
MAX_YARNS = 1000
# What makes a spreadsheet take a cell for a formula: = + - @ and their full-width forms, also behind blanks, quotes
# or invisible characters (OWASP, "CSV Injection"); an apostrophe before it keeps it a text.
FORMULA = re.compile(r"[\s\ufeff\u200b-\u200f\u2060\u00ad\"']*[=+\-@\uff1d\uff0b\uff0d\uff20\u2212|\t\r\n]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Palette:
    """The yarns of one palette file.

    Attributes
    ----------
    yarns : tuple of Yarn
    unknown : tuple of (str, tuple of str)
        Columns that mean nothing here, with one cell for each yarn.
    notices : tuple of Notice
    """

    yarns: tuple[Yarn, ...]
    unknown: tuple[tuple[str, tuple[str, ...]], ...] = ()
    notices: tuple[Notice, ...] = ()


@dataclass(frozen=True, slots=True)
class _Row:
    """One line of the file: its number and its cells by column."""

    line: int
    file: str
    cells: dict[str, str]

    def get(self, column: str) -> str:
        return self.cells.get(column, "").strip()

    def quantity(self, column: str) -> Fraction | None:
        text = self.get(column)
        return exact(text, column) if text else None


def _decode(data: str | bytes, name: str) -> str:
    if isinstance(data, bytes):
        if len(data) > MAX_BYTES:
            raise YarnError(
                "{file} is larger than a palette can be (2 MB); give a CSV file with one line for each yarn.", file=name
            )
        wide = data.startswith((b"\xff\xfe", b"\xfe\xff"))
        try:
            data = data.decode("utf-16" if wide else "utf-8-sig")
        except UnicodeDecodeError:
            raise YarnError(
                "{file} is not UTF-8 text; save it from your spreadsheet as CSV UTF-8 and open it again.", file=name
            ) from None
    if "\x00" in data:
        raise YarnError("{file} is not a text file; give a CSV file with the columns name and srgb.", file=name)
    return data.removeprefix("\ufeff")


def _separator(text: str) -> str:
    header = next((line for line in text.splitlines() if line.strip()), "")
    return max(",;\t", key=header.count) if header else ","


def _lines(text: str, separator: str, name: str) -> list[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    out, line = [], 1
    try:
        for cells in reader:
            if any(c.strip() for c in cells):
                out.append((line, cells))
            line = reader.line_num + 1
    except csv.Error as error:
        raise YarnError(
            "{file}, line {line}: the line cannot be read as CSV ({reason}); look for a quotation mark left open.",
            file=name,
            line=line,
            reason=str(error),
        ) from None
    return out


def _header(cells: list[str], name: str) -> list[str]:
    columns = [_text(c.strip()) for c in cells]
    known = [c.lower() if c.lower() in COLUMNS else c for c in columns]
    missing = [c for c in ("name", "srgb") if c not in known]
    if missing:
        raise YarnError(
            "{file} has no column {missing}; its first line must name the columns: name and srgb are needed, "
            "{optional} are optional.",
            file=name,
            missing=" and ".join(missing),
            optional=", ".join(COLUMNS[2:]),
        )
    for column in known:
        if column and known.count(column) > 1:
            raise YarnError("{file} has the column {column} twice; take one away.", file=name, column=column)
    return known


def _text(cell: str) -> str:
    return cell[1:] if cell.startswith("'") and FORMULA.match(cell[1:]) else cell


def _weight_class(row: _Row) -> int | None:
    text = row.get("weight_class").lower()
    names = {v: k for k, v in WEIGHT_CLASSES.items()}
    if not text:
        return None
    return names[text] if text in names else whole(text, "weight_class", 0, 7)


def _put_up(row: _Row, yarn_name: str) -> tuple[PutUp | None, Notice | None]:
    grams, metres = row.quantity("grams"), row.quantity("metres")
    if grams is not None and metres is not None:
        return PutUp(mass_g=grams, length_m=metres), None
    if grams is None and metres is None:
        return None, None
    return None, note(
        "{yarn} has {given} but no {missing} for one skein, so its skeins cannot be counted; both stand on its band.",
        "assumed",
        yarn=yarn_name,
        given="grams" if metres is None else "metres",
        missing="metres" if metres is None else "grams",
    )


def _yarn(row: _Row) -> tuple[Yarn, Notice | None]:
    try:
        name = clean_text(_text(row.get("name")), "name", 80)
        put_up, notice = _put_up(row, name)
        yarn = Yarn(
            name=name,
            shades=(Shade.from_hex(_text(row.get("srgb"))),),
            put_up=put_up,
            weight_class=_weight_class(row),
            skeins_on_hand=whole(row.get("skeins_on_hand") or 0, "skeins_on_hand", 0, 1000),
            dye_lot=_text(row.get("dye_lot")),
            price=row.quantity("price"),
        )
    except BlendplanError as error:
        raise YarnError("{file}, line {line}: {problem}", file=row.file, line=row.line, problem=error) from None
    return yarn, notice


def read_palette(data: str | bytes, name: str = "the palette") -> Palette:
    r"""Return the yarns of a palette CSV.

    Parameters
    ----------
    data : str or bytes
        The file; bytes are UTF-8 with or without a byte-order mark (UTF-16 with its mark is taken too).
        Columns are parted by commas, semicolons or tabs, whichever the header uses most.
    name : str
        What to call the file in messages.

    Raises
    ------
    YarnError
        If the file is no such table, is empty, or a line of it does not make sense; the line is named.

    Examples
    --------
    >>> palette = read_palette("name,srgb,grams,metres\nWet Slate,#4b5660,100,200\n")
    >>> palette.yarns[0].name, palette.yarns[0].put_up.tex
    ('Wet Slate', 500.0)
    """
    name = clean_text(name, "name of the palette file", 200)
    text = _decode(data, name)
    separator = _separator(text)
    lines = _lines(text, separator, name)
    if not lines:
        raise YarnError("{file} is empty; a palette needs a header line and at least one yarn.", file=name)
    columns = _header(lines[0][1], name)
    if len(lines) - 1 > MAX_YARNS:
        raise YarnError(
            "{file} holds {given} yarns; allowed is at most {most}.", file=name, given=len(lines) - 1, most=MAX_YARNS
        )
    yarns, notices = [], []
    others = [c for c in columns if c and c not in COLUMNS]
    kept: dict[str, list[str]] = {c: [] for c in others}
    for line, cells in lines[1:]:
        if any(c.strip() for c in cells[len(columns) :]):
            raise YarnError(
                "{file}, line {line}: {given} cells stand under {columns} columns; put a name with a comma in "
                "quotation marks.",
                file=name,
                line=line,
                given=len(cells),
                columns=len(columns),
            )
        row = _Row(line, name, dict(zip(columns, cells, strict=False)))
        yarn, notice = _yarn(row)
        yarns.append(yarn)
        notices += [notice] if notice else []
        for column in others:
            kept[column].append(_text(row.get(column)))
    if others:
        notices.append(
            note(
                "{file}: the columns {columns} mean nothing here; they are kept and written back.",
                file=name,
                columns=", ".join(others),
            )
        )
    unknown = tuple((c, tuple(kept[c])) for c in others)
    return Palette(yarns=check_yarns(tuple(yarns)), unknown=unknown, notices=tuple(notices))


def _safe(text: str) -> str:
    return f"'{text}" if FORMULA.match(text) else text


def _decimal(value: Fraction | None) -> str:
    return "" if value is None else plain(value, 12)


def write_palette(yarns: Sequence[Yarn], unknown: Sequence[tuple[str, Sequence[str]]] = ()) -> bytes:
    """Return a palette CSV: UTF-8 with a byte-order mark, lines ending in CR LF, text cells safe in a spreadsheet.

    Parameters
    ----------
    yarns : sequence of Yarn
    unknown : sequence of (str, sequence of str)
        Further columns with one cell for each yarn, as `Palette.unknown` keeps them.

    Notes
    -----
    A text that a spreadsheet would run as a formula gets an apostrophe in front, which `read_palette` takes off.
    A colour is written as `#rrggbb`, so a measured shade is rounded to the nearest of those.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([*COLUMNS, *(_safe(column) for column, _ in unknown)])
    for i, yarn in enumerate(yarns):
        writer.writerow(
            [
                _safe(yarn.name),
                yarn.srgb,
                _decimal(yarn.put_up.mass_g if yarn.put_up else None),
                _decimal(yarn.put_up.length_m if yarn.put_up else None),
                yarn.skeins_on_hand,
                "" if yarn.weight_class is None else yarn.weight_class,
                _safe(yarn.dye_lot),
                _decimal(yarn.price),
                *(_safe(cells[i]) for _, cells in unknown),
            ]
        )
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8")

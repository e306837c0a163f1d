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
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from blendplan.budgets import MAX_PALETTE, MAX_PALETTE_YARNS
from blendplan.errors import BlendplanError, YarnError
from blendplan.text import clean_text, from_cell, in_cell
from blendplan.units import exact, plain, whole
from blendplan.wording import Notice, note
from blendplan.yarn import WEIGHT_CLASSES, Lot, Shade, Yarn, check_yarns

__all__ = ["COLUMNS", "Palette", "read_palette", "read_table", "write_palette"]

COLUMNS = ("name", "srgb", "grams", "metres", "skeins_on_hand", "weight_class", "dye_lot", "price")


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
        if len(data) > MAX_PALETTE:
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


def read_table(data: str | bytes, name: str) -> list[tuple[int, dict[str, str]]]:
    """Return the lines of a CSV below its header: number and cells by column, names of columns in small letters.

    Raises
    ------
    YarnError
        If it is no text in UTF-8 or no CSV.
    """
    name = clean_text(name, "name of the file", 200)
    text = _decode(data, name)
    lines = _lines(text, _separator(text), name)
    if not lines:
        return []
    columns = [from_cell(c).lower() for c in lines[0][1]]
    return [
        (number, {column: from_cell(cell) for column, cell in zip(columns, cells, strict=False)})
        for number, cells in lines[1:]
    ]


def _header(cells: list[str], name: str) -> list[str]:
    columns = [from_cell(c) for c in cells]
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


def _weight_class(row: _Row) -> int | None:
    text = row.get("weight_class").lower()
    names = {v: k for k, v in WEIGHT_CLASSES.items()}
    if not text:
        return None
    return names[text] if text in names else whole(text, "weight_class", 0, 7)


def _lots(skeins: int, name: str) -> tuple[Lot, ...]:
    return (Lot(name=name, skeins=skeins),) if skeins or name else ()


def _half(row: _Row, yarn_name: str) -> Notice | None:
    """Return what is to be said of a band that gives only one of grams and metres."""
    grams, metres = row.quantity("grams"), row.quantity("metres")
    if (grams is None) == (metres is None):
        return None
    return note(
        "{yarn} has {given} but no {missing} for one skein, so its skeins cannot be counted; both stand on its band.",
        "assumed",
        yarn=yarn_name,
        given="grams" if metres is None else "metres",
        missing="metres" if metres is None else "grams",
    )


def _yarn(row: _Row) -> tuple[Yarn, Notice | None]:
    try:
        name = clean_text(from_cell(row.get("name")), "name", 80)
        notice = _half(row, name)
        yarn = Yarn(
            name=name,
            shades=(Shade.from_hex(from_cell(row.get("srgb"))),),
            grams=row.quantity("grams"),
            metres=row.quantity("metres"),
            weight_class=_weight_class(row),
            lots=_lots(whole(row.get("skeins_on_hand") or 0, "skeins_on_hand", 0, 1000), from_cell(row.get("dye_lot"))),
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
    if len(lines) - 1 > MAX_PALETTE_YARNS:
        raise YarnError(
            "{file} holds {given} yarns; allowed is at most {most}.",
            file=name,
            given=len(lines) - 1,
            most=MAX_PALETTE_YARNS,
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
            kept[column].append(from_cell(row.get(column)))
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
    writer.writerow([*COLUMNS, *(in_cell(column) for column, _ in unknown)])
    for i, yarn in enumerate(yarns):
        writer.writerow(
            [
                in_cell(yarn.name),
                yarn.srgb,
                _decimal(yarn.grams),
                _decimal(yarn.metres),
                yarn.skeins_on_hand,
                "" if yarn.weight_class is None else yarn.weight_class,
                in_cell(yarn.dye_lot),
                _decimal(yarn.price),
                *(in_cell(cells[i]) for _, cells in unknown),
            ]
        )
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8")

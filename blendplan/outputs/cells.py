"""CSV that opens right in any spreadsheet: BOM, quoted and inert text, numbers in the reader's writing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from blendplan.palette import FORMULA
from blendplan.units import plain

__all__ = ["Cell", "csv_bytes", "inert"]

Cell = str | int | float | Fraction | None

# What makes a spreadsheet take a cell for a formula: = + - @, also behind blanks, quotes or invisible characters,
# and their full-width forms (OWASP, "CSV Injection").


def inert(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula; an apostrophe is set before it where it could be.

    Examples
    --------
    >>> inert("=1+1"), inert("  @home"), inert("Fern - dark"), inert("Ñandú")
    ("'=1+1", "'  @home", 'Fern - dark', 'Ñandú')
    """
    return "'" + text if FORMULA.match(text) else text


def _cell(value: Cell, decimal: str) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return '"' + inert(value).replace('"', '""') + '"' if value else ""
    return plain(value).replace(".", decimal)


def csv_bytes(header: Sequence[str], rows: Iterable[Sequence[Cell]], *, semicolon: bool = False) -> bytes:
    r"""Return a table as CSV (RFC 4180): UTF-8 with BOM, lines ended by CR LF.

    Parameters
    ----------
    header : sequence of str
        Names of the columns.
    rows : iterable of sequences
        A text is quoted and made inert; a number stays a number, negative ones too; None is an empty cell.
    semicolon : bool
        True separates by semicolons and writes decimal commas, as spreadsheets of much of Europe read it.

    Examples
    --------
    >>> csv_bytes(["name", "m"], [["=A1", -2.5]], semicolon=True).decode("utf-8-sig")
    '"name";"m"\r\n"\'=A1";-2,5\r\n'
    """
    separator, decimal = (";", ",") if semicolon else (",", ".")
    lines = [separator.join(_cell(value, decimal) for value in row) for row in [list(header), *rows]]
    return ("\r\n".join(lines) + "\r\n").encode("utf-8-sig")

"""A sheet of paper with a cursor: headings, paragraphs and tables that never split a row across pages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from io import BytesIO
from typing import TYPE_CHECKING, Any

from blendplan.outputs.glyphs import Drawable
from blendplan.picture.fonts import font_path
from blendplan.units import choice

if TYPE_CHECKING:
    from fpdf import FPDF

__all__ = ["PAPERS", "Cell", "Column", "Drawn", "Paper"]

# Width and height, mm: ISO 216 A4; ANSI/ASME Y14.1 A, called Letter.
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGIN_MM = 15.0
FOOT_MM = 18.0
MM_PER_PT = 25.4 / 72
INK = 25
GREY = 110
RULE = 190
# Written into every document in place of the time it was made, so that the same plan gives the same bytes.
_NO_DAY = datetime(2000, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Drawn:
    """A cell that is drawn: `paint(x, y, width, height)` in mm, and the least height it needs."""

    paint: Callable[[float, float, float, float], None]
    height: float


Cell = str | Drawn


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: its heading, its width in mm, `L`, `C` or `R`."""

    heading: str
    width: float
    align: str = "L"


class Paper:
    """A PDF document being written from top to bottom.

    Parameters
    ----------
    paper : {"A4", "Letter"}
    lang : str
        Written into the document for screen readers.
    day : date or None
        Where given, the document's date; otherwise a fixed one, so that bytes do not change from day to day.

    Raises
    ------
    QuantityError
        If the paper is unknown.

    Notes
    -----
    All texts go through `Drawable`; none is read as markup.
    """

    def __init__(self, paper: str = "A4", *, lang: str = "en", day: date | None = None) -> None:
        from fpdf import FPDF

        self.width, self.height = PAPERS[choice(paper, "paper", PAPERS)]
        self.pdf: FPDF = FPDF(unit="mm", format=(self.width, self.height))
        self.pdf.set_creation_date(datetime.combine(day, time(), tzinfo=UTC) if day else _NO_DAY)
        self.pdf.set_producer(None)  # type: ignore[arg-type]
        self.pdf.set_lang(lang)
        # A name must never be taken for the sign that stands for the number of pages.
        self.pdf.alias_nb_pages(None)  # type: ignore[arg-type]
        self.pdf.set_auto_page_break(False)
        self.pdf.set_margins(MARGIN_MM, MARGIN_MM, MARGIN_MM)
        self.pdf.c_margin = 0
        self.pdf.add_font("DejaVu", "", font_path())
        self.pdf.add_font("DejaVu", "B", font_path(bold=True))
        self.drawable = Drawable()
        # The same few texts come again in every stripe of a table, and finding their lines is slow.
        self._wrapped: dict[tuple[str, float, float, bool], tuple[str, ...]] = {}
        self.y = MARGIN_MM
        self.new_page()

    @property
    def left(self) -> float:
        """Left edge of the printed area, mm."""
        return MARGIN_MM

    @property
    def inner_width(self) -> float:
        """Width of the printed area, mm."""
        return self.width - 2 * MARGIN_MM

    @property
    def bottom(self) -> float:
        """Lower edge of the printed area, mm from the top."""
        return self.height - FOOT_MM

    @property
    def room(self) -> float:
        """Height left on this page, mm."""
        return self.bottom - self.y

    def new_page(self) -> None:
        """Begin a page."""
        self.pdf.add_page()
        self.y = MARGIN_MM

    def need(self, height: float) -> bool:
        """Begin a page unless a height is left on this one; return True where one was begun."""
        if self.room >= height - 1e-6:
            return False
        self.new_page()
        return True

    def font(self, size: float, *, bold: bool = False, grey: int = INK) -> None:
        """Choose size in points, weight and grey level (0 black to 255 white)."""
        self.pdf.set_font("DejaVu", "B" if bold else "", size)
        self.pdf.set_text_color(grey)

    def wrap(self, text: str, width: float, size: float, *, bold: bool = False) -> tuple[str, ...]:
        """Return the lines of a text in a width."""
        self.font(size, bold=bold)
        asked = (text, width, size, bold)
        if asked not in self._wrapped:
            lines: list[str] = self.pdf.multi_cell(
                width,
                text=self.drawable(text),
                align="L",
                dry_run=True,
                output="LINES",  # type: ignore[assignment]
            )
            self._wrapped[asked] = tuple(line.rstrip() for line in lines) or ("",)
        return self._wrapped[asked]

    def lines(
        self,
        x: float,
        y: float,
        width: float,
        lines: Sequence[str],
        size: float,
        *,
        align: str = "L",
        leading: float = 1.32,
    ) -> None:
        """Write lines at a place with the font chosen."""
        step = size * MM_PER_PT * leading
        for i, line in enumerate(lines):
            self.pdf.set_xy(x, y + i * step)
            self.pdf.cell(width, step, line, align=align)

    def text(
        self, text: str, size: float = 10, *, bold: bool = False, grey: int = INK, gap: float = 1.5, indent: float = 0
    ) -> None:
        """Write a paragraph; a paragraph goes to the next page as a whole where it fits there."""
        step = size * MM_PER_PT * 1.32
        width = self.inner_width - indent
        lines = self.wrap(text, width, size, bold=bold)
        if len(lines) * step <= self.bottom - MARGIN_MM:
            self.need(len(lines) * step)
        while lines:
            self.need(step)
            take = lines[: max(1, int(self.room / step + 1e-6))]
            self.font(size, bold=bold, grey=grey)
            self.lines(self.left + indent, self.y, width, take, size)
            self.y += len(take) * step
            lines = lines[len(take) :]
        self.y += gap

    def bullet(self, text: str, size: float = 10) -> None:
        """Write a paragraph behind a dot; kept whole where it fits on a page."""
        step = size * MM_PER_PT * 1.32
        tall = len(self.wrap(text, self.inner_width - 5, size)) * step
        if tall <= self.bottom - MARGIN_MM:
            self.need(tall)
        self.pdf.set_fill_color(INK)
        self.pdf.circle(self.left + 1.4, self.y + step / 2, 0.6, style="F")
        self.text(text, size, indent=5)

    def heading(self, text: str, *, keep: float = 25.0) -> None:
        """Write a heading, kept with at least `keep` mm of what follows, and put it into the outline."""
        size = 15.0
        lines = self.wrap(text, self.inner_width, size, bold=True)
        tall = len(lines) * size * MM_PER_PT * 1.32
        if not self.need(tall + keep + 5) and self.y > MARGIN_MM + 1:
            self.y += 5
        self.pdf.set_y(self.y)
        self.font(size, bold=True)
        self.pdf.start_section(self.drawable(text))
        self.font(size, bold=True)
        self.lines(self.left, self.y, self.inner_width, lines, size)
        self.y += tall + 0.8
        self.rule(grey=INK, weight=0.4)
        self.y += 2.5

    def subheading(self, text: str, size: float = 11.5) -> None:
        """Write a small heading, kept with what follows."""
        self.need(32)
        self.y += 1.5
        self.text(text, size, bold=True, gap=0.8)

    def rule(self, *, grey: int = RULE, weight: float = 0.15) -> None:
        """Draw a line across the printed area at the cursor."""
        self.pdf.set_draw_color(grey)
        self.pdf.set_line_width(weight)
        self.pdf.line(self.left, self.y, self.left + self.inner_width, self.y)

    def box(self, x: float, y: float, side: float) -> None:
        """Draw an empty box to tick."""
        self.pdf.set_draw_color(INK)
        self.pdf.set_line_width(0.25)
        self.pdf.rect(x, y, side, side)

    def tick(self, size: float = 10.0) -> Drawn:
        """Return a cell with a box to tick, in line with the first line of text of a size."""
        side = size * MM_PER_PT * 0.95
        return Drawn(lambda x, y, w, h: self.box(x, y + 0.12 * side, side), side * 1.25)

    def table(
        self, columns: Sequence[Column], rows: Sequence[Sequence[Cell]], *, size: float = 9.5, pad: float = 1.1
    ) -> None:
        """Write a table; its head comes again on every page and no row is split."""
        if not rows:
            return
        step = size * MM_PER_PT * 1.32
        inner = [c.width - 2 for c in columns]
        head = [self.wrap(c.heading, w, size - 1, bold=True) for c, w in zip(columns, inner, strict=True)]
        prepared = []
        for row in rows:
            cells = [
                cell if isinstance(cell, Drawn) else self.wrap(cell, w, size)
                for cell, w in zip(row, inner, strict=True)
            ]
            tall = max(c.height if isinstance(c, Drawn) else len(c) * step for c in cells) + 2 * pad
            prepared.append((cells, tall))
        named = any(c.heading for c in columns)
        head_tall = max(map(len, head)) * (size - 1) * MM_PER_PT * 1.32 + 2 if named else 0.0
        self.need(head_tall + prepared[0][1])
        self._head(columns, head, size - 1, head_tall)
        for cells, tall in prepared:
            if self.need(tall):
                self._head(columns, head, size - 1, head_tall)
            x = self.left
            for cell, column in zip(cells, columns, strict=True):
                if isinstance(cell, Drawn):
                    cell.paint(x, self.y + pad, column.width - 2, tall - 2 * pad)
                else:
                    self.font(size)
                    self.lines(x, self.y + pad, column.width - 2, cell, size, align=column.align)
                x += column.width
            self.y += tall
            self.rule()
        self.y += 2

    def _head(self, columns: Sequence[Column], head: Sequence[Sequence[str]], size: float, tall: float) -> None:
        if not tall:
            return
        x = self.left
        for column, lines in zip(columns, head, strict=True):
            self.font(size, bold=True, grey=GREY)
            self.lines(x, self.y + 0.5, column.width - 2, lines, size, align=column.align)
            x += column.width
        self.y += tall
        self.rule(grey=INK, weight=0.25)

    def image(self, png: bytes, place: tuple[float, float, float, float], alt: str) -> None:
        """Place a picture in (x, y, width, height), with a text for those who cannot see it."""
        x, y, w, h = place
        self.pdf.image(BytesIO(png), x=x, y=y, w=w, h=h, alt_text=self.drawable(alt))

    def svg(self, svg: str, place: tuple[float, float, float, float]) -> None:
        """Place a drawing given as SVG in (x, y, width, height)."""
        x, y, w, h = place
        self.pdf.image(BytesIO(svg.encode("utf-8")), x=x, y=y, w=w, h=h)

    def finish(self, foot: Callable[[int, int], tuple[str, str]]) -> bytes:
        """Write the foot of every page, left and right text by page number and number of pages; return the bytes."""
        pdf: Any = self.pdf
        last = pdf.page
        for number in range(1, last + 1):
            pdf.page = number
            # A font equal to the last one set is not written again, but this page may have ended with another.
            pdf.set_font("DejaVu", "B", 1)
            left, right = foot(number, last)
            self.font(8, grey=GREY)
            y = self.height - FOOT_MM + 6
            tail = pdf.get_string_width(self.drawable(right)) + 4
            line = self.wrap(left, self.inner_width - tail, 8)[0]
            self.font(8, grey=GREY)
            self.lines(self.left, y, self.inner_width - tail, [line], 8)
            self.lines(self.left, y, self.inner_width, [self.drawable(right)], 8, align="R")
        return bytes(self.pdf.output())

"""A sheet of paper with a cursor: blocks of parts that stay whole, over two pages only where one would stay empty."""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from io import BytesIO
from itertools import accumulate
from typing import TYPE_CHECKING, Any

from blendplan.picture.legend import STAND_IN, font_path, missing_characters
from blendplan.text import unlinked
from blendplan.units import choice

if TYPE_CHECKING:
    from fpdf import FPDF

# Scripts whose letters change with their neighbours: Arabic and Syriac, the scripts of India and Tibet, Burmese,
# Khmer, Mongolian. The PDF library sets letter by letter, which would be wrong, so they count as not drawable.
_SHAPED = ((0x0600, 0x08FF), (0x0900, 0x0DFF), (0x0F00, 0x109F), (0x1780, 0x18AF), (0xFB50, 0xFDFF), (0xFE70, 0xFEFC))


# A number and its unit stay on one line.
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:mm|cm|m|in|yd|g|oz)\b)")


class Drawable:
    """Turns texts into what the font can draw, and remembers what it could not.

    Examples
    --------
    >>> draw = Drawable()
    >>> draw("Ñandú 毛"), draw.missing
    ('Ñandú □', ('U+6BDB',))
    """

    def __init__(self) -> None:
        self._missing: dict[str, None] = {}
        self._known: dict[int, str] = {}

    def __call__(self, text: str) -> str:
        """Return the text composed (NFC), no address whole, a white square for what cannot be drawn."""
        whole = unicodedata.normalize("NFC", unlinked(text))
        for char in dict.fromkeys(whole):
            if ord(char) not in self._known:
                self._known[ord(char)] = self._one(char)
        return whole.translate(self._known)

    def _one(self, char: str) -> str:
        code = ord(char)
        if char in "\n\u00a0":
            return char
        if char.isspace():
            return " "
        # Joiners, variation selectors and controls have no picture of their own.
        if unicodedata.category(char) in ("Cf", "Cc") or 0xFE00 <= code <= 0xFE0F or 0xE0100 <= code <= 0xE01EF:
            return ""
        if any(low <= code <= high for low, high in _SHAPED) or missing_characters(char):
            self._missing[char] = None
            return STAND_IN
        return char

    @property
    def missing(self) -> tuple[str, ...]:
        """The characters that became squares, in the order met, written as `U+6BDB`."""
        return tuple(f"U+{ord(char):04X}" for char in self._missing)


# Width and height, mm: ISO 216 A4; ANSI/ASME Y14.1 A, called Letter.
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGIN_MM = 15.0
FOOT_MM = 18.0
MM_PER_PT = 25.4 / 72
LEADING = 1.32
GAP = 1.5
# Share of a page that may stay empty before what could stand whole on the next one is divided (chosen).
EMPTY = 0.22
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


@dataclass(frozen=True, slots=True)
class Part:
    """Something that stays whole: its height in mm, and what writes it at the cursor."""

    height: float
    write: Callable[[], None]


@dataclass(frozen=True, slots=True)
class Block:
    """Parts one below the other under a head, which comes again (`begin(True)`) on every page they go on to."""

    parts: Sequence[Part]
    head: float = 0.0  # height of what `begin` writes, mm
    begin: Callable[[bool], None] = lambda again: None
    after: float = 0.0  # room below the last part, mm


def together(parts: Sequence[Part]) -> Part:
    """Return parts as one."""

    def write() -> None:
        for part in parts:
            part.write()

    return Part(sum(part.height for part in parts), write)


class Paper:
    """A PDF document being written from top to bottom.

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
        self.y = self._top = MARGIN_MM
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

    @property
    def page(self) -> float:
        """Height of the printed area, mm."""
        return self.bottom - MARGIN_MM

    def new_page(self) -> None:
        """Begin a page."""
        self.pdf.add_page()
        self.y = self._top = MARGIN_MM

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
            paragraphs = self.drawable(_BEFORE_UNIT.sub("\u00a0", text)).rstrip().split("\n")
            self._wrapped[asked] = tuple(line for one in paragraphs for line in self._lines_of(one, width, size))
        return self._wrapped[asked]

    def _lines_of(self, paragraph: str, width: float, size: float) -> Iterator[str]:
        """Yield the lines of a paragraph in the font chosen; a word wider than a line is cut where the line ends."""
        font: Any = self.pdf.current_font
        # The font tells thousandths of its size.
        most = width * self.pdf.k * 1000 / size + 1e-6
        start, used, blank = 0, 0.0, -1
        for at, char in enumerate(paragraph):
            blank = at if char == " " else blank
            used += font.cw[ord(char)]
            while used > most and at > start:
                end = blank if blank >= start else at
                yield paragraph[start:end].rstrip().replace("\u00a0", " ")
                start = end + (end == blank)
                used = sum(font.cw[ord(c)] for c in paragraph[start : at + 1])
        yield paragraph[start:].rstrip().replace("\u00a0", " ")

    def lines(
        self,
        x: float,
        y: float,
        width: float,
        lines: Sequence[str],
        size: float,
        *,
        align: str = "L",
        leading: float = LEADING,
    ) -> None:
        """Write lines at a place with the font chosen."""
        step = size * MM_PER_PT * leading
        for i, line in enumerate(lines):
            room = 0.0 if align == "L" else width - self.pdf.get_string_width(line)
            at = x + (room / 2 if align == "C" else room)
            self.pdf.text(at, y + (i + 0.5) * step + 0.3 * size * MM_PER_PT, line)

    def text(
        self, text: str, size: float = 10, *, bold: bool = False, grey: int = INK, gap: float = GAP, indent: float = 0
    ) -> None:
        """Write a paragraph; a paragraph goes to the next page as a whole where it fits there."""
        step = size * MM_PER_PT * LEADING
        width = self.inner_width - indent
        lines = self.wrap(text, width, size, bold=bold)
        if len(lines) * step <= self.page:
            self.need(len(lines) * step)
        while lines:
            self.need(step)
            take = lines[: max(1, int(self.room / step + 1e-6))]
            self.font(size, bold=bold, grey=grey)
            self.lines(self.left + indent, self.y, width, take, size)
            self.y += len(take) * step
            lines = lines[len(take) :]
        self.y += gap

    def part(
        self, text: str, size: float = 10, *, sign: str = "", indent: float = 0, above: float = 0, **how: Any
    ) -> Part:
        """Return a paragraph as `text` writes it, behind a `dot` or a `box` to tick where one is asked for."""
        line = size * MM_PER_PT * LEADING

        def write() -> None:
            self.y += above
            if sign == "box":
                self.box(self.left, self.y + 0.03 * line, 0.72 * line)
            elif sign == "dot":
                self.pdf.set_fill_color(INK)
                self.pdf.circle(self.left + 1.4, self.y + line / 2, 0.6, style="F")
            self.text(text, size, indent=indent, **how)

        lines = self.wrap(text, self.inner_width - indent, size, bold=how.get("bold", False))
        return Part(above + len(lines) * line + how.get("gap", GAP), write)

    def fitting(self, block: Block, beside: float = 0.0) -> int:
        """Return how many parts of a block stand on this page, below so many mm of something else.

        All where they fit; else none, if that leaves little of the page empty; else as many as fit, at least two on
        either page.
        """
        fit = bisect_right(list(accumulate(p.height for p in block.parts)), self.room - beside - block.head + 1e-6)
        if fit == len(block.parts):
            return fit
        fit = min(fit, len(block.parts) - 2)
        if self.y <= self._top:
            return max(1, fit)
        return fit if fit > 1 and self.room >= EMPTY * self.page else 0

    def put(self, block: Block) -> None:
        """Write a block."""
        parts, again = block.parts, False
        while parts:
            fit = self.fitting(Block(parts, block.head))
            if fit:
                block.begin(again)
            for part in parts[:fit]:
                part.write()
            parts, again = parts[fit:], again or fit > 0
            if parts:
                self.new_page()
        self.y += block.after

    def heading(self, text: str, block: Block) -> None:
        """Write a heading, kept with what follows, and put it into the outline."""
        size = 15.0
        lines = self.wrap(text, self.inner_width, size, bold=True)
        tall = len(lines) * size * MM_PER_PT * LEADING
        if self.y > MARGIN_MM:
            if self.fitting(block, tall + 8.3):
                self.y += 5
            else:
                self.new_page()
        self.pdf.set_y(self.y)
        self.font(size, bold=True)
        self.pdf.start_section(self.drawable(text))
        self.font(size, bold=True)
        self.lines(self.left, self.y, self.inner_width, lines, size)
        self.y += tall + 0.8
        self.rule(grey=INK, weight=0.4)
        self.y += 2.5
        self._top = self.y

    def titled(self, title: str, again: str, parts: Sequence[Part]) -> Block:
        """Return parts below a small heading, which says `again` on the pages they go on to."""
        size = 11.5

        def begin(more: bool) -> None:
            self.y += 1.5
            self.text(again if more else title, size, bold=True, gap=0.8)

        tall = max(len(self.wrap(t, self.inner_width, size, bold=True)) for t in (title, again))
        return Block(parts, tall * size * MM_PER_PT * LEADING + 2.3, begin)

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
    ) -> Block:
        """Return a table; its head comes again on every page and no row is split."""
        head = [self.wrap(c.heading, c.width - 2, size - 1, bold=True) for c in columns]
        named = any(c.heading for c in columns)
        tall = max(map(len, head)) * (size - 1) * MM_PER_PT * LEADING + 2 if named else 0.0

        def begin(again: bool) -> None:
            self._head(columns, head, size - 1, tall)

        return Block([self._row(columns, row, size, pad) for row in rows], tall, begin, 2.0)

    def _row(self, columns: Sequence[Column], row: Sequence[Cell], size: float, pad: float) -> Part:
        """Return a row of a table, texts as lines."""
        cells = [
            cell if isinstance(cell, Drawn) else self.wrap(cell, column.width - 2, size)
            for cell, column in zip(row, columns, strict=True)
        ]
        step = size * MM_PER_PT * LEADING
        tall = max(c.height if isinstance(c, Drawn) else len(c) * step for c in cells) + 2 * pad

        def write() -> None:
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

        return Part(tall, write)

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

"""The plan on paper, to pin up beside the hook."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from itertools import chain, zip_longest

from blendplan.outputs.content import HATCHINGS, ShoppingWords, Words, YarnWords, hatch, on_colour
from blendplan.outputs.paper import (
    GREY,
    INK,
    LEADING,
    MARGIN_MM,
    MM_PER_PT,
    Block,
    Cell,
    Column,
    Drawn,
    Paper,
    Part,
    together,
)
from blendplan.outputs.pattern import Chapter, Pattern, pattern, plan_diagram
from blendplan.outputs.render import Mark, plan_pixels, thin_marks
from blendplan.picture.canvas import encode_png
from blendplan.plan import Plan
from blendplan.units import whole
from blendplan.wording import capital, tr

_LABEL_PT = 7.5
# Chapters one works from, in larger type.
_LARGE = ("rows", "finishing")


def plan_pdf(plan: Plan, *, paper: str = "", lang: str = "en", date: date | None = None, dpi: int = 200) -> bytes:
    """Return the plan as a PDF document, on the paper of her ways where none is named.

    Everything can be read in grey: yarns have letters, hatchings and a word for how light they are.
    Names are set as they are, never read as markup; characters that the font lacks become squares and are told.
    """
    dots = whole(dpi, "pixels per inch", 30, 600) / 25.4
    sheet = Paper(paper or plan.blanket.ways.paper, lang=lang, day=date)
    made = pattern(plan, lang)
    words = made.words
    patches = Patches(sheet, words.yarns)
    tables: dict[str, Callable[[], Iterable[Block]]] = {
        "materials": lambda: [_materials(sheet, made, patches, lang)],
        "stripes": lambda: _chart(sheet, plan, words, patches, lang),
        "shopping": lambda: [_shopping(sheet, words, patches, lang)],
        "counter": lambda: [_counter(sheet, plan, words, patches, lang)],
    }
    _front(sheet, plan, words, (lang, dots))
    before = ""
    for chapter in made.chapters:
        if "shopping" in (chapter.code, before) and sheet.y > MARGIN_MM:
            sheet.new_page()  # one page that is taken along to the shop
        before = chapter.code
        blocks = iter(tables[chapter.code]() if chapter.code in tables else _lines(sheet, chapter, lang))
        first = next(blocks)
        sheet.heading(chapter.title, first)
        for block in chain([first], blocks):
            sheet.put(block)
    _missing(sheet, lang)

    def foot(page: int, pages: int) -> tuple[str, str]:
        left = words.title if date is None else f"{words.title} · {date.isoformat()}"
        return left, tr("page {page} of {pages}", lang, page=page, pages=pages)

    return sheet.finish(foot)


def _front(sheet: Paper, plan: Plan, words: Words, how: tuple[str, float]) -> None:
    lang, dots = how
    sheet.text(words.title, 20, bold=True, gap=2)
    side = 21.0
    # Room is kept for the size below the picture.
    box_w, box_h = sheet.inner_width - side, sheet.room - 58
    pixels, marks = plan_pixels(plan, (round(box_w * dots), round(box_h * dots)))
    tall, wide = pixels.shape[0] / dots, pixels.shape[1] / dots
    thin = thin_marks(marks, _LABEL_PT * MM_PER_PT * 0.65 / tall)
    x, y = sheet.left + (box_w - wide) / 2, sheet.y
    alt = tr("The blanket: {stripes} stripes, the first worked at the bottom.", lang, stripes=len(plan.stripes))
    sheet.image(encode_png(pixels), (x, y, wide, tall), alt)
    signs = {str(stripe.number): stripe.letters.replace(" + ", "") for stripe in words.stripes}
    _labels(sheet, [(mark, f"{mark.text} {signs[mark.text]}") for mark in thin], (x + wide, y, tall))
    sheet.y += tall + 1
    sheet.text(tr("Numbers are stripes, letters their yarns; the first worked is at the bottom.", lang), 8, grey=GREY)


def _labels(sheet: Paper, marks: Sequence[tuple[Mark, str]], place: tuple[float, float, float]) -> None:
    """Write stripe numbers beside the picture, moved apart where they would touch, with a line to their stripe."""
    x, top, tall = place
    step = _LABEL_PT * MM_PER_PT * 1.05
    marks = list(reversed(marks))
    wanted = [top + mark.place * tall for mark, _ in marks]
    pdf = sheet.pdf
    sheet.font(_LABEL_PT)
    for (_, text), at, want in zip(marks, _apart(wanted, step, top, top + tall), wanted, strict=True):
        pdf.set_draw_color(GREY)
        pdf.set_line_width(0.15)
        pdf.line(x - 1, want, x + 4, at)
        pdf.set_xy(x + 4.6, at - step / 2)
        pdf.cell(16, step, text)


def _apart(wanted: list[float], step: float, low: float, high: float) -> list[float]:
    """Return places at least a step apart near those wanted (rising), within low and high where they fit."""
    places = list(wanted)
    for i in range(1, len(places)):
        places[i] = max(places[i], places[i - 1] + step)
    over = places[-1] - (high - step / 2) if places else 0
    if over > 0:
        places[-1] -= over
        for i in range(len(places) - 2, -1, -1):
            places[i] = min(places[i], places[i + 1] - step)
    return places


def _lines(sheet: Paper, chapter: Chapter, lang: str) -> list[Block]:
    """Return the lines of a chapter; what is done has a box to tick, and what is said of it stays with it."""
    large = chapter.code in _LARGE
    size = 11.5 if large else 10.0
    blocks: list[tuple[str, list[Part]]] = [("", [])]
    for line, after in zip_longest(chapter.lines, chapter.lines[1:]):
        parts, gap = blocks[-1][1], 0.8 if after is not None and after.kind == "say" else 2.4
        if line.kind == "heading":
            blocks.append((line.text, []))
        elif line.kind == "do":
            parts.append(sheet.part(line.text, size, sign="box", gap=gap, indent=8))
        elif large:
            said = sheet.part(line.text, 9.5, gap=gap, indent=8, grey=GREY)
            parts[-1:] = [together([*parts[-1:], said])]
        elif chapter.code in ("size", "hook", "abbreviations"):
            parts.append(sheet.part(line.text, size, gap=0.6))
        else:
            parts.append(sheet.part(line.text, size, sign="dot", indent=5))
    return [
        sheet.titled(title, tr("{title} (continued)", lang, title=title), parts) if title else Block(parts)
        for title, parts in blocks
        if parts
    ]


def _materials(sheet: Paper, made: Pattern, patches: Patches, lang: str) -> Block:
    width = sheet.inner_width - 35
    columns = [
        Column("", 18),
        Column(tr("Letter", lang), 17, "C"),
        Column(tr("Name", lang), 0.48 * width),
        Column(tr("Skeins", lang), 0.52 * width),
    ]
    rows: list[list[Cell]] = [
        [patches.cell((y.name,)), y.letter, f"{y.name}\n{y.about}\n{y.light}, {y.srgb}", "\n".join((y.skeins, *y.lots))]
        for y in made.words.yarns
    ]
    table, chapter = sheet.table(columns, rows), made.chapter("materials")
    also = [sheet.part(chapter.lines[-1].text, 9.5, grey=GREY, above=1.5)] if chapter else []
    return replace(table, parts=[*table.parts, *also])


def _stripes(sheet: Paper, words: Words, patches: Patches, lang: str) -> Block:
    width = sheet.inner_width
    return sheet.table(
        [
            Column("", 7),
            Column(tr("No.", lang), 11, "R"),
            Column("", 19),
            Column(tr("Strands", lang), 0.5 * (width - 76)),
            Column(tr("Rows", lang), 16, "R"),
            Column(tr("Row no.", lang), 20, "R"),
            Column("", 3),
            Column(tr("How it reads", lang), 0.27 * (width - 76)),
            Column(tr("High after it", lang), 0.23 * (width - 76), "R"),
        ],
        [
            [
                sheet.tick(9.5),
                str(s.number),
                patches.cell(s.strands),
                " + ".join(dict.fromkeys(s.strands)) + f"\n{s.letters}",
                str(s.rows),
                s.span,
                "",
                f"{s.reads}, {s.light}",
                s.high,
            ]
            for s in words.stripes
        ],
    )


def _shopping(sheet: Paper, words: Words, patches: Patches, lang: str) -> Block:
    priced = any(item.price for item in words.shopping)
    yarn_w = sheet.inner_width - 80 - (19 if priced else 0)
    columns = [
        Column("", 7),
        Column("", 12),
        Column(tr("Yarn and dye lot", lang), yarn_w),
        Column(tr("Buy", lang), 34),
        Column(tr("Need (range)", lang), 27),
    ]
    if priced:
        columns.append(Column(tr("Price", lang), 19, "R"))
    told = [sheet.part(words.total, 9.5, bold=True, above=1.5)] if words.total else []
    told += [sheet.part(words.advice, 8.5, grey=GREY, above=1.5)] if words.advice else []
    room = sheet.page - 20 - together(told).height
    # One page to take along: smaller type where there are many yarns, and two pages only where that is not enough.
    sizes = ((9.5, 7.5), (8.5, 6.5), (7.5, 6.0))
    cells = [[_lot_cell(sheet, item, yarn_w - 2, lang, size) for item in words.shopping] for size in sizes]
    at = next((i for i, made in enumerate(cells) if sum(c.height + 2.2 for c in made) <= room), len(sizes) - 1)
    rows: list[list[Cell]] = []
    for item, cell in zip(words.shopping, cells[at], strict=True):
        row: list[Cell] = [
            sheet.tick(9.5),
            patches.cell((item.name,)),
            cell,
            f"{item.buy}\n{item.band}",
            f"{item.need}\n{item.span}",
        ]
        rows.append([*row, item.price] if priced else row)
    table = sheet.table(columns, rows, size=sizes[at][0] - 0.5)
    return replace(table, parts=[*table.parts, *told])


def _lot_cell(sheet: Paper, item: ShoppingWords, width: float, lang: str, sizes: tuple[float, float]) -> Drawn:
    """Return a cell with the yarn's name, a line to write the bought lot on, the chances, and the second choices."""
    large, little = sizes
    name = sheet.wrap(f"{item.letter} {item.name}", width, large, bold=True)
    have = tr("On hand: {have}", lang, have=", ".join(part for part in (item.on_hand, item.lot) if part))
    first = [capital(item.now) or have, *([item.ask] if item.ask else [])]
    others = [tr("Or {choice}", lang, choice=choice) for choice in item.second]
    small = ["; ".join(first), item.chances, "; ".join(others)]
    told = [line for part in small if part for line in sheet.wrap(part, width, little)]
    lot = sheet.wrap(tr("Lot bought:", lang), width, little) if item.band else ()
    high, low = large * MM_PER_PT * LEADING, little * MM_PER_PT * LEADING

    def paint(x: float, y: float, w: float, h: float) -> None:
        sheet.font(large, bold=True)
        sheet.lines(x, y, w, name, large)
        y += len(name) * high
        sheet.font(little, grey=GREY)
        sheet.lines(x, y, w, [*told, *lot], little)
        if lot:
            at = y + (len(told) + len(lot)) * low - 0.4
            start = x + sheet.pdf.get_string_width(lot[-1]) + 2
            sheet.pdf.set_draw_color(INK)
            sheet.pdf.set_line_width(0.2)
            sheet.pdf.line(start, at, x + w - 2, at)

    return Drawn(paint, len(name) * high + (len(told) + len(lot)) * low + 0.6)


def _chart(sheet: Paper, plan: Plan, words: Words, patches: Patches, lang: str) -> Iterator[Block]:
    """Yield the table of stripes, which the chapter is named for, and once it is written the stitch diagram."""
    yield _stripes(sheet, words, patches, lang)
    yield _diagram(sheet, plan, lang)


def _diagram(sheet: Paper, plan: Plan, lang: str) -> Block:
    svg, title = plan_diagram(plan, lang), tr("Stitch diagram", lang)
    said = sheet.part(tr("Rows 1 and 2 with two repeats; the part that repeats is dark.", lang), 9, grey=GREY)
    head = sheet.titled(title, title, [said])
    wide, tall = (float(n) for n in re.findall(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)"', svg)[0])
    scale, here = min(sheet.inner_width / wide, 110 / tall), (sheet.room - head.head - said.height - 2.1) / tall
    # Smaller where it then stands on the page of its table, down to half (chosen: signs stay apart at that).
    scale = here if 0.5 * scale < here < scale else scale

    def draw() -> None:
        sheet.svg(svg, (sheet.left, sheet.y, wide * scale, tall * scale))
        sheet.y += tall * scale + 2

    return replace(head, parts=[together([said, Part(tall * scale + 2, draw)])])


def _counter(sheet: Paper, plan: Plan, words: Words, patches: Patches, lang: str) -> Block:
    """Return a box for every row, stripe by stripe."""
    size, side = 9.0, 4.2
    cell_w = 12.5
    columns = [
        Column(tr("No.", lang), 11, "R"),
        Column("", 19),
        Column(tr("Rows to tick off", lang), sheet.inner_width - 30),
    ]
    per_line = int((columns[2].width - 2) // cell_w)
    rows: list[list[Cell]] = []
    for planned, stripe in zip(plan.stripes, words.stripes, strict=True):
        numbers = list(range(planned.first_row, planned.last_row + 1))
        # A tall stripe is broken into several rows of the table, so that none is taller than a page.
        for start in range(0, len(numbers), per_line * 12):
            part = numbers[start : start + per_line * 12]
            rows.append(
                [str(stripe.number), patches.cell(stripe.strands), _boxes(sheet, part, per_line, (size, side, cell_w))]
            )
    return sheet.table(columns, rows, size=size)


def _boxes(sheet: Paper, numbers: list[int], per_line: int, sizes: tuple[float, float, float]) -> Drawn:
    size, side, cell_w = sizes
    line = side + 1.6
    lines = -(-len(numbers) // per_line)

    def paint(x: float, y: float, w: float, h: float) -> None:
        sheet.font(size - 1)
        for i, number in enumerate(numbers):
            at_x, at_y = x + (i % per_line) * cell_w, y + (i // per_line) * line
            sheet.box(at_x, at_y, side)
            sheet.pdf.set_xy(at_x + side + 0.6, at_y)
            sheet.pdf.cell(cell_w - side - 0.6, side, str(number))

    return Drawn(paint, lines * line)


def _missing(sheet: Paper, lang: str) -> None:
    """Tell which characters became squares, if any did."""
    if sheet.drawable.missing:
        told = tr(
            "The font of this paper cannot draw {characters}; a square stands in each place. "
            "The names are whole in plan.json, in the CSV files and in sheet.html.",
            lang,
            characters=", ".join(sheet.drawable.missing),
        )
        sheet.put(Block([sheet.part(told, 9.5, sign="dot", indent=5)]))


_STEP_MM = 1.5


class Patches:
    """Draws patches of yarns; each yarn keeps its hatching through the whole document."""

    def __init__(self, paper: Paper, yarns: Sequence[YarnWords]) -> None:
        self._paper = paper
        self._yarns = {yarn.name: yarn for yarn in yarns}
        self._hatching = {yarn.name: HATCHINGS[i % len(HATCHINGS)] for i, yarn in enumerate(yarns)}

    def paint(self, names: Sequence[str], place: tuple[float, float, float, float], *, signs: bool = True) -> None:
        """Fill (x, y, width, height) with the strands side by side, each with its hatching and letter."""
        x, y, w, h = place
        pdf = self._paper.pdf
        part = w / len(names)
        for i, name in enumerate(names):
            self._one(name, (x + i * part, y, part, h), signs=signs)
        pdf.set_draw_color(INK)
        pdf.set_line_width(0.2)
        pdf.rect(x, y, w, h)
        for i in range(1, len(names)):
            pdf.line(x + i * part, y, x + i * part, y + h)

    def _one(self, name: str, place: tuple[float, float, float, float], *, signs: bool) -> None:
        x, y, w, h = place
        pdf, yarn = self._paper.pdf, self._yarns[name]
        pdf.set_fill_color(*_rgb(yarn.srgb))
        pdf.rect(x, y, w, h, style="F")
        ink = on_colour(yarn.lab)
        pdf.set_draw_color(ink)
        pdf.set_line_width(0.18)
        dots = self._hatching[name] == "dots"
        for x0, y0, x1, y1 in hatch(self._hatching[name], w, h, _STEP_MM):
            if dots:
                pdf.set_fill_color(ink)
                pdf.circle(x + x0, y + y0, 0.25, style="F")
            else:
                pdf.line(x + x0, y + y0, x + x1, y + y1)
        if signs and h >= 3.5 and w >= 3.5:
            size = min(9.0, h * 2.2)
            self._paper.font(size, bold=True)
            wide = pdf.get_string_width(yarn.letter) + 1.2
            tall = size * 0.40
            pdf.set_fill_color(255)
            pdf.rect(x + (w - wide) / 2, y + (h - tall) / 2, wide, tall, style="F")
            pdf.set_xy(x, y)
            pdf.cell(w, h, yarn.letter, align="C")

    def cell(self, names: Sequence[str], height: float = 5.0) -> Drawn:
        """Return a cell of a table with the patch of some strands."""
        return Drawn(lambda x, y, w, h: self.paint(names, (x, y, w, height)), height)


def _rgb(srgb: str) -> tuple[int, int, int]:
    return int(srgb[1:3], 16), int(srgb[3:5], 16), int(srgb[5:7], 16)

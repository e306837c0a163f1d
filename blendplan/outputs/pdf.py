"""The plan on paper, to pin up beside the hook."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from blendplan.outputs.content import Words, change_words, read_plan
from blendplan.outputs.marks import Patches
from blendplan.outputs.paper import GREY, INK, MM_PER_PT, Cell, Column, Drawn, Paper
from blendplan.outputs.render import Mark, plan_pixels, thin_marks
from blendplan.outputs.rows import plan_diagram, written
from blendplan.picture.png import encode_png
from blendplan.plan import Plan
from blendplan.units import whole
from blendplan.wording import tr

__all__ = ["plan_pdf"]

_LABEL_PT = 7.5


def plan_pdf(plan: Plan, *, paper: str = "A4", lang: str = "en", date: date | None = None, dpi: int = 200) -> bytes:
    """Return the plan as a PDF document.

    Parameters
    ----------
    plan : Plan
    paper : {"A4", "Letter"}
    lang : str
        A key of `wording.LANGUAGES`.
    date : datetime.date, optional
        Printed at the foot of every page; without it no date stands anywhere.
    dpi : int
        Pixels per inch of the picture, 30 to 600.

    Returns
    -------
    bytes
        The same for the same arguments; without metadata but a fixed date.

    Raises
    ------
    QuantityError
        If the paper is unknown or `dpi` out of range.

    Notes
    -----
    Everything can be read in grey: yarns have letters, hatchings and a word for how light they are.
    Names are set as they are, never read as markup; characters that the font lacks become squares and are told.
    """
    dots = whole(dpi, "pixels per inch", 30, 600) / 25.4
    sheet = Paper(paper, lang=lang, day=date)
    words = read_plan(plan, lang)
    patches = Patches(sheet, words.yarns)
    _front(sheet, plan, words, (lang, dots))
    _legend(sheet, words, patches, lang)
    told = _missing(sheet, (), lang)
    _cautions(sheet, words, lang)
    _stripes(sheet, words, patches, lang)
    _shopping(sheet, words, patches, lang)
    _rows(sheet, plan, lang)
    _diagram(sheet, plan, lang)
    _counter(sheet, plan, words, patches, lang)
    _notes(sheet, words, lang)
    _missing(sheet, told, lang)

    def foot(page: int, pages: int) -> tuple[str, str]:
        left = words.title if date is None else f"{words.title} · {date.isoformat()}"
        return left, tr("page {page} of {pages}", lang, page=page, pages=pages)

    return sheet.finish(foot)


def _front(sheet: Paper, plan: Plan, words: Words, how: tuple[str, float]) -> None:
    lang, dots = how
    sheet.text(words.title, 20, bold=True, gap=1)
    facts = [f"{what}: {value}".replace(" ", "\u00a0") for what, value in words.facts]
    sheet.text("  ·  ".join(facts), 9, grey=GREY, gap=3)
    side = 21.0
    # Room is kept for the first lines of the legend where the blanket is not tall.
    box_w, box_h = sheet.inner_width - side, sheet.room - 8
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


def _legend(sheet: Paper, words: Words, patches: Patches, lang: str) -> None:
    sheet.heading(tr("Yarns", lang))
    width = sheet.inner_width
    sheet.table(
        [
            Column("", 18),
            Column(tr("Letter", lang), 21, "C"),
            Column(tr("Name", lang), width - 89),
            Column(tr("How light", lang), 28),
            Column(tr("Colour", lang), 22),
        ],
        [[patches.cell((y.name,)), y.letter, y.name, y.light, y.srgb] for y in words.yarns],
        size=10.5,
    )


def _cautions(sheet: Paper, words: Words, lang: str) -> None:
    if not words.cautions:
        return
    sheet.heading(tr("Take care", lang))
    for text in words.cautions:
        sheet.bullet(text, 10.5)


def _stripes(sheet: Paper, words: Words, patches: Patches, lang: str) -> None:
    sheet.heading(tr("Stripes, in the order worked", lang))
    sheet.text(change_words(lang), 9, grey=GREY)
    width = sheet.inner_width
    sheet.table(
        [
            Column("", 7),
            Column(tr("No.", lang), 11, "R"),
            Column("", 19),
            Column(tr("Strands", lang), 0.43 * (width - 73)),
            Column(tr("Rows", lang), 16, "R"),
            Column(tr("Row no.", lang), 20, "R"),
            Column(tr("To begin it", lang), 0.57 * (width - 73)),
        ],
        [
            [
                sheet.tick(9.5),
                str(s.number),
                patches.cell(s.strands),
                " + ".join(dict.fromkeys(s.strands)) + f"\n{s.letters} · {s.reads}, {s.light}",
                str(s.rows),
                s.span,
                s.begin,
            ]
            for s in words.stripes
        ],
    )


def _shopping(sheet: Paper, words: Words, patches: Patches, lang: str) -> None:
    sheet.heading(tr("Shopping list", lang), keep=40)
    priced = any(item.price for item in words.shopping)
    yarn_w = sheet.inner_width - 107 - (20 if priced else 0)
    columns = [
        Column("", 7),
        Column("", 14),
        Column(tr("Yarn and dye lot", lang), yarn_w),
        Column(tr("Need (range)", lang), 29),
        Column(tr("On hand", lang), 22),
        Column(tr("Buy", lang), 35),
    ]
    if priced:
        columns.append(Column(tr("Price", lang), 20, "R"))
    rows: list[list[Cell]] = []
    for item in words.shopping:
        name = _lot_cell(sheet, item.name, tr("Lot: {lot}", lang, lot=item.lot), yarn_w - 2)
        need = f"{item.need}\n{item.span}"
        row: list[Cell] = [
            sheet.tick(9.5),
            patches.cell((item.name,)),
            name,
            need,
            item.on_hand,
            f"{item.buy}\n{item.band}",
        ]
        rows.append([*row, item.price] if priced else row)
    sheet.table(columns, rows)
    if words.total:
        sheet.text(tr("Price of all: {total}", lang, total=words.total), 10.5, bold=True)
    sheet.text(
        tr("Buy all skeins of a colour from one dye lot, write its number down, and keep the bands.", lang),
        9,
        grey=GREY,
    )


def _lot_cell(sheet: Paper, name: str, lot: str, width: float) -> Drawn:
    """Return a cell with the yarn's name, the lot on hand, and a line to write the bought lot on."""
    step = 9.5 * MM_PER_PT * 1.32
    lines = [*sheet.wrap(name, width, 9.5), *sheet.wrap(lot, width - 22, 8.5)]
    told = max(sheet.pdf.get_string_width(line) for line in lines[-1:]) + 2

    def paint(x: float, y: float, w: float, h: float) -> None:
        sheet.font(9.5)
        sheet.lines(x, y, w, lines, 9.5)
        at = y + len(lines) * step + 0.6
        sheet.pdf.set_draw_color(INK)
        sheet.pdf.set_line_width(0.2)
        sheet.pdf.line(x + told, at, x + w - 2, at)

    return Drawn(paint, len(lines) * step + 2)


def _rows(sheet: Paper, plan: Plan, lang: str) -> None:
    """Write the rows in large type, each with a box to tick."""
    sheet.heading(tr("Rows to work", lang), keep=40)
    size = 13.0
    table: list[list[Cell]] = []
    columns = [Column("", 9), Column("", sheet.inner_width - 9)]
    for line in written(plan, lang):
        if line.kind == "row":
            table.append([sheet.tick(size), line.text])
            continue
        sheet.table(columns, table, size=size, pad=1.6)
        table = []
        if line.kind == "heading":
            sheet.subheading(line.text)
        else:
            sheet.text(line.text, 10.5, gap=0.8)
    sheet.table(columns, table, size=size, pad=1.6)


def _diagram(sheet: Paper, plan: Plan, lang: str) -> None:
    svg = plan_diagram(plan, lang)
    box = re.search(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)"', svg)
    if box is None:
        return
    wide, tall = float(box[1]), float(box[2])
    scale = min(sheet.inner_width / wide, 110 / tall)
    sheet.heading(tr("Stitch diagram", lang), keep=tall * scale + 12)
    sheet.text(tr("Rows 1 and 2 with two repeats; the part that repeats is dark.", lang), 9, grey=GREY)
    sheet.svg(svg, (sheet.left, sheet.y, wide * scale, tall * scale))
    sheet.y += tall * scale + 2


def _counter(sheet: Paper, plan: Plan, words: Words, patches: Patches, lang: str) -> None:
    """Write a box for every row, stripe by stripe."""
    sheet.heading(tr("Row counter", lang))
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
    sheet.table(columns, rows, size=size)


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


def _notes(sheet: Paper, words: Words, lang: str) -> None:
    if words.warnings:
        sheet.heading(tr("Worth a second look", lang))
        for text in words.warnings:
            sheet.bullet(text, 10)
    if words.notes:
        sheet.heading(tr("Good to know", lang))
        for text in words.notes:
            sheet.bullet(text, 10)


def _missing(sheet: Paper, told: tuple[str, ...], lang: str) -> tuple[str, ...]:
    """Tell which characters became squares, if there are any that were not told yet; return those told."""
    missing = sheet.drawable.missing
    if set(missing) - set(told):
        sheet.bullet(
            tr(
                "The font of this paper cannot draw {characters}; a square stands in each place. "
                "The names are whole in plan.json, in the CSV files and in sheet.html.",
                lang,
                characters=", ".join(missing),
            ),
            9.5,
        )
    return missing

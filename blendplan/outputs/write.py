"""All outputs of a plan into one folder, under names that are fixed."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from blendplan.outputs.pdf import plan_pdf
from blendplan.outputs.render import plan_picture
from blendplan.outputs.sheet import plan_html
from blendplan.outputs.shopping import shopping_csv
from blendplan.outputs.tables import plan_json, rows_txt, stripes_csv
from blendplan.plan import Plan
from blendplan.project import write_all

__all__ = ["make_outputs", "write_outputs"]


def make_outputs(
    plan: Plan, *, date: date | None = None, paper: str = "A4", lang: str = "en", semicolon: bool = False
) -> tuple[tuple[str, bytes], ...]:
    """Return name and bytes of every output of a plan; the names are always the same ones."""
    return (
        ("plan.json", plan_json(plan)),
        ("picture.png", plan_picture(plan)),
        ("stripes.csv", stripes_csv(plan, semicolon=semicolon, lang=lang)),
        ("shopping.csv", _shopping(plan, lang, semicolon)),
        ("rows.txt", rows_txt(plan, lang=lang)),
        ("plan.pdf", plan_pdf(plan, paper=paper, lang=lang, date=date)),
        ("sheet.html", plan_html(plan, lang=lang, date=date).encode("utf-8")),
    )


def _shopping(plan: Plan, lang: str, semicolon: bool) -> bytes:
    shades = {yarn.name: yarn.srgb for yarn in plan.brief.yarns}
    return shopping_csv(plan.yardage, currency=plan.brief.currency, shades=shades, semicolon=semicolon, lang=lang)


def write_outputs(
    plan: Plan,
    folder: str | Path,
    *,
    date: date | None = None,
    paper: str = "A4",
    lang: str = "en",
    semicolon: bool = False,
) -> tuple[Path, ...]:
    """Write every output of a plan into a folder and return the paths.

    Parameters
    ----------
    plan : Plan
    folder : str or Path
        Made where missing.
    date : datetime.date, optional
        Printed on paper and sheet; without it no date stands anywhere and the bytes are the same on any day.
    paper : {"A4", "Letter"}
    lang : str
        A key of `wording.LANGUAGES`.
    semicolon : bool
        CSV with `;` between cells and a decimal comma, as some spreadsheets expect.

    Raises
    ------
    ProjectError
        If the folder cannot be written to; what was there before stays as it was.
    QuantityError
        If the paper is unknown.
    """
    made = make_outputs(plan, date=date, paper=paper, lang=lang, semicolon=semicolon)
    target = Path(folder)
    write_all({target / name: data for name, data in made})
    return tuple(target / name for name, _ in made)

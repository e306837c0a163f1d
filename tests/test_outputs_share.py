"""A project file opened on another machine gives the same bytes; what is shared tells nothing of its maker."""

from __future__ import annotations

import re
from pathlib import Path

from blankets import blanket
from odd_plans import odd_plan, short_plan

from blendplan.outputs.pdf import plan_pdf
from blendplan.outputs.sheet import plan_html
from blendplan.outputs.tables import plan_json, rows_txt, shopping_csv, stripes_csv
from blendplan.outputs.write import make_outputs
from blendplan.plan import make_plan
from blendplan.project import project_json, read_project


def test_a_project_file_gives_the_same_outputs() -> None:
    mine = blanket("Fern", "Clay", repeats=2, solid_rows=2, blend_rows=1, title="Ñandú 毛糸", currency="kr")
    opened, notices = read_project(project_json(mine).encode("utf-8"))
    assert opened == mine and notices == ()
    one, two = make_plan(opened), make_plan(mine)
    for make in (plan_json, stripes_csv, rows_txt, plan_html):
        assert make(one) == make(two)
    assert plan_pdf(one, dpi=40) == plan_pdf(two, dpi=40)


def test_outputs_tell_nothing_of_machine_or_moment() -> None:
    plan = short_plan()
    places = [f"{place}/".encode() for place in (Path.home(), Path.cwd())]
    for name, data in make_outputs(plan).items():
        # Long words only: short ones can turn up by chance in compressed pixels.
        for word in (*(place for place in places if len(place) > 5), b"py-pdf", b"Pillow", b"Python"):
            assert word not in data, (name, word)
        if name.endswith((".json", ".csv", ".txt", ".html")):
            text = re.sub(rb"base64,[^\"]+", b"", data)
            assert not re.search(rb"20\d\d-\d\d-\d\dT|\b\d\d:\d\d:\d\d\b", text), name


def test_names_that_spreadsheets_would_run_are_inert_in_every_csv() -> None:
    plan = odd_plan()
    for data in (stripes_csv(plan), shopping_csv(plan.yardage), shopping_csv(plan.yardage, semicolon=True)):
        text = data.decode("utf-8-sig")
        assert not re.search(r'(^|[,;\n])"?[=+@]', text)
        assert "'=1+1" in text

"""The demo starts where a maker starts: at photographs, through the same door and the same reader."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from blendplan import page
from blendplan.colour import delta_e_2000, hex_to_lab
from blendplan.demo import scenario
from blendplan.demo.photos import DrawnSkein, draw_photo
from blendplan.plan import make_plan
from blendplan.project import read_project


def test_photos_are_jpegs_without_metadata_and_the_same_each_time() -> None:
    drawn = (DrawnSkein(srgb="#336699", centre=(0.5, 0.5)),)
    data = draw_photo(drawn, size_px=(320, 240), seed=3)
    assert data == draw_photo(drawn, size_px=(320, 240), seed=3)
    assert data != draw_photo(drawn, size_px=(320, 240), seed=4)
    assert data[:2] == b"\xff\xd8"
    assert b"Exif" not in data


def test_shades_are_read_from_the_photos_not_known() -> None:
    brief = scenario.demo_blanket()
    drawn = {s.name: s.srgb for s, _, _ in (*scenario._TOP, *scenario._BOTTOM)}
    assert [y.name for y in brief.yarns] == list(drawn)
    errors = {y.name: float(delta_e_2000(y.lab, hex_to_lab(drawn[y.name]))) for y in brief.yarns}
    # Read, so never exact; a warm lamp on paper is the easy case of the photo bench.
    assert all(e > 0.05 for e in errors.values()), errors
    assert max(errors.values()) < 6, errors


def test_the_demo_plans() -> None:
    plan = make_plan(scenario.demo_blanket())
    assert len(plan.stripes) == 2 * 6 - 1
    assert plan.worked.chain == 131
    assert all(c.buy_skeins is not None for c in plan.yardage.colours)


def test_the_page_opens_with_what_the_demo_reads() -> None:
    """The stored blanket lets the page open at once; it must stay what the photographs give."""
    stored, notices = read_project((Path(page.__file__).parent / "assets" / "demo.json").read_bytes())
    fresh = scenario.demo_blanket()
    assert notices == ()
    for ours, theirs in zip(stored.yarns, fresh.yarns, strict=True):
        assert float(delta_e_2000(ours.lab, theirs.lab)) < 0.2
        assert replace(ours, shades=theirs.shades) == theirs
    assert replace(stored, materials=replace(stored.materials, yarns=fresh.yarns)) == fresh

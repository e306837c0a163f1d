"""The door for Python: what README names is there, a plan shows and writes itself, records show themselves shortly."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from PIL import Image

import blendplan as bp
from blendplan.errors import BlendplanError

README = Path(__file__).parent.parent / "README.md"
YARNS = (
    bp.Yarn.from_hex("Slate", "#3f5a6b", grams=100, metres=170),
    bp.Yarn.from_hex("Ochre", "#c9a24a", grams=100, metres=170),
)


def test_every_public_name_is_there_and_readme_needs_no_other() -> None:
    for name in bp.__all__:
        assert getattr(bp, name) is not None
    code = "\n".join(re.findall(r"```python\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL))
    assert set(re.findall(r"\bbp\.(\w+)", code)) <= set(bp.__all__)
    assert re.findall(r"^(?:from|import) .*$", code, re.MULTILINE) == ["import blendplan as bp"]


def test_ten_lines_make_a_whole_blanket(tmp_path: Path) -> None:
    design = bp.Design(order=("Slate", "Ochre"), solid_rows=8, blend_rows=4, width_cm=130, length_cm=160)
    plan = bp.make_plan(YARNS, design)
    # Half a repeat and half a row to either side is the nearest that can be made.
    assert abs(plan.size.width_cm - 130) <= plan.size.width_cm / plan.worked.ripple.repeats / 2 + 0.1
    assert abs(plan.size.height_cm - 160) <= plan.size.rise_per_row_cm / 2 + 0.1
    # Rows made by rule keep their proportion: 8 to 4 to 8.
    one, both, two = (s.stripe.rows for s in plan.stripes)
    assert abs(one - two) <= 1 and abs(one - 2 * both) <= 1
    assert [name for name, _ in plan.shopping] == ["Slate", "Ochre"] and all(n for _, n in plan.shopping)
    assert plan.picture().startswith(b"\x89PNG") and plan._repr_png_() == plan.picture()
    assert str(plan.worked.chain) in plan.rows_text() and f"Rows: {plan.rows}" in plan.rows_text()
    assert {p.name for p in plan.write(tmp_path / "out")} >= {"plan.json", "picture.png", "rows.txt", "plan.pdf"}


def test_stripes_set_by_hand_keep_their_rows_whatever_length_is_wished() -> None:
    hand = (bp.Stripe(strands=("Slate", "Ochre"), rows=9), bp.Stripe(strands=("Ochre", "Ochre"), rows=3))
    plan = bp.make_plan(YARNS, bp.Design(order=("Slate", "Ochre"), stripes=hand, length_cm=160))
    assert [s.stripe.rows for s in plan.stripes] == [9, 3]
    assert any("A length of 160 cm was wished for" in n.text for n in plan.notices)


def test_lists_are_tuples_behind_the_door_and_records_are_short() -> None:
    design = bp.Design(order=["Slate"], stripes=[bp.Stripe(strands=["Slate"], rows=2)])
    assert design.order == ("Slate",) and design.stripes[0].strands == ("Slate",) and hash(design)
    assert repr(bp.Stripe(strands=("A", "B"), rows=2)) == "Stripe(strands=('A', 'B'), rows=2)"
    assert len(repr(bp.make_plan(YARNS))) < 90


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (lambda: bp.Design(order="Slate"), "order of the colours: a list is needed"),
        (lambda: bp.Design(order=("Slate",), width_cm=2), "wanted width: 2 cm was given; allowed is 5 to 1000 cm"),
        (lambda: bp.Design(order=("Slate",), border=3), "border: 3 was given; allowed is a Border"),
        (lambda: bp.make_plan(YARNS, bp.Design(order=("Sand",))), "'Sand'.*none of the yarns; the yarns are"),
        (lambda: bp.Yarn.from_hex("Slate", "#3f5a6b", grams=0), "grams per skein: 0 g was given"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(made, words: str) -> None:
    with pytest.raises(BlendplanError, match=words) as caught:
        made()
    assert "\n" not in str(caught.value)


def test_of_a_shelf_of_ten_thousand_only_the_yarns_in_use_are_planned() -> None:
    shelf = tuple(
        bp.Yarn.from_hex(f"Yarn {i}", f"#{i * 7919 % 0xFFFFFF:06x}", grams=100, metres=170) for i in range(10_000)
    )
    design = bp.Design(order=("Yarn 0", "Yarn 9999"), solid_rows=8)
    plan = bp.make_plan(bp.Blanket(materials=bp.Materials(yarns=shelf), design=design))
    assert [y.name for y in plan.yarns] == ["Yarn 0", "Yarn 9999"]
    alone = bp.make_plan(bp.Blanket(materials=bp.Materials(yarns=(shelf[0], shelf[-1])), design=design))
    assert plan.picture() == alone.picture() and plan.shopping == alone.shopping


def test_a_photo_by_its_path_becomes_yarn(tmp_path: Path) -> None:
    """A flat grey sheet with one square of a known colour, written by Pillow: the square is the yarn touched."""
    sheet = Image.new("RGB", (400, 300), (200, 200, 200))
    sheet.paste((0x3F, 0x5A, 0x6B), (100, 80, 300, 220))
    path = tmp_path / "slate.png"
    sheet.save(path)
    touched = bp.read_photo(path, at=(200, 150), white="off")
    for reading in (touched, bp.read_photo(str(path), boxes=[(120, 100, 280, 200)], white="off")):
        yarn = reading.yarn("Slate", grams=100, metres=170)
        assert (yarn.name, yarn.grams, yarn.metres) == ("Slate", 100, 170)
        assert len(reading) == 1 and reading[0].yarn("Slate").shades == yarn.shades and len(repr(reading)) < 120
        assert float(bp.delta_e_2000(yarn.lab, bp.Shade.from_hex("#3f5a6b").lab)) < 3
    both = bp.read_photo(path, at=[(200, 150), (30, 30)], white="off")
    with pytest.raises(BlendplanError, match="2 yarns were read from slate.png; take one by its number"):
        both.yarn("Slate")
    assert bp.make_plan([both[0].yarn("Slate"), both[1].yarn("Pale")]).rows > 0

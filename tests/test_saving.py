"""What would save skeins; second choices; a class of students: each against what planning it anew gives."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from blankets import blanket, lying, yarn

from blendplan.blanket import Blanket
from blendplan.cli import main
from blendplan.errors import YarnError
from blendplan.outputs.content import chances_words, enough_words
from blendplan.outputs.sheet import plan_html
from blendplan.outputs.write import class_sheets, read_students
from blendplan.plan import make_plan
from blendplan.project import project_json
from blendplan.saving import MOST_SAVINGS, savings
from blendplan.stripes.model import Stripe
from blendplan.yardage.lots import second_choices
from blendplan.yardage.making import Making, Purchase, RowNote
from blendplan.yardage.measured import WeighedRow
from blendplan.yarn import Lot


def wide(metres: int) -> Blanket:
    yarns = tuple(yarn(n, price="6.40", metres=metres) for n in ("Fern", "Clay", "Milk"))
    return blanket("Fern", "Clay", "Milk", solid_rows=9, blend_rows=4, yarns=yarns)


WIDE = wide(195)


def bought(made: object) -> dict[str, int]:
    return {c.name: c.buy_skeins or 0 for c in make_plan(made).yardage.colours}  # type: ignore[arg-type]


@pytest.mark.parametrize("metres", [150, 195])
def test_every_saving_is_a_design_that_saves_what_it_says(metres: int) -> None:
    made = wide(metres)
    now, found, plan = bought(made), savings(made), make_plan(made)
    assert {saving.kind for saving in found} == {"rows", "repeat", "colour", "weigh", "join"}
    assert len(found) == MOST_SAVINGS
    assert [s.skeins for s in found] == sorted((s.skeins for s in found), reverse=True)
    for saving in found:
        assert str(saving.skeins) in saving.say()
        assert sum(n for _, n in saving.by) == saving.skeins
        then = make_plan(replace(made, design=saving.design))
        if saving.kind == "weigh":
            assert saving.design == made.design
            continue
        saved = {n: now[n] - (dict(then.shopping).get(n) or 0) for n in now}
        assert {n: fewer for n, fewer in saved.items() if fewer} == dict(saving.by)
        assert saving.price == saving.skeins * plan.yarn("Fern").price  # type: ignore[operator]
        # Only what its kind names is another.
        rows = [s.stripe.rows for s in then.stripes], [s.stripe.rows for s in plan.stripes]
        strands = [s.stripe.strands for s in then.stripes], [s.stripe.strands for s in plan.stripes]
        repeats = then.worked.ripple.repeats, plan.worked.ripple.repeats
        assert (rows[0] != rows[1]) == (saving.kind == "rows")
        assert sum(a != b for a, b in zip(*strands, strict=True)) == (saving.kind == "colour")
        assert repeats[1] - repeats[0] == (saving.kind == "repeat")
        assert (then.settings.join_at == "anywhere") == (saving.kind == "join")


@pytest.mark.parametrize("metres", [160, 170, 180, 195, 230])
def test_a_weighed_row_that_bears_the_usual_out_saves_what_was_told(metres: int) -> None:
    """Weighed at the usual use to the gram, the rest of the path unchanged."""
    made = wide(metres)
    told = {name: n for saving in savings(made) if saving.kind == "weigh" for name, n in saving.by}
    plan = make_plan(made)
    rows = 4
    grams = 2 * 100 / metres * sum(plan.yardage.rows_m[10 : 10 + rows])
    row = WeighedRow(grams=grams, rows=rows, strands=(made.keys["Fern"], made.keys["Fern"]))
    weighed = replace(made, materials=replace(made.materials, measured=(row,)))
    then = bought(weighed)
    assert {n: k - then[n] for n, k in bought(made).items() if k != then[n]} == told


def test_a_saving_has_a_price_where_those_of_all_its_yarns_are_known() -> None:
    yarns = tuple(yarn(n, metres=195, price=None if n == "Milk" else "6.40") for n in ("Fern", "Clay", "Milk"))
    found = savings(replace(WIDE, materials=replace(WIDE.materials, yarns=yarns)))
    assert any("Milk" in dict(saving.by) for saving in found)
    for saving in (*found, *savings(WIDE)):
        assert (saving.price is None) == (saving in found and "Milk" in dict(saving.by))


def test_two_rows_less_that_would_do_are_told() -> None:
    """Six yarns whose fourth skein is needed for little: 24 skeins, and 18 for a blanket 2 rows shorter a stripe."""
    metres = {"Fern": 208, "Clay": 216, "Milk": 216, "Night": 216, "Plum": 216, "Sand": 200}
    yarns = tuple(yarn(n, metres=m) for n, m in metres.items())
    made = blanket(*metres, solid_rows=12, blend_rows=4, yarns=yarns)
    assert sum(bought(made).values()) == 24
    (rows,) = (saving for saving in savings(made) if saving.kind == "rows")
    long = make_plan(replace(made, design=rows.design)).size.height_cm
    assert rows.skeins == 6
    assert " ".join(rows.say().split()).startswith(
        f"2 rows fewer in each of 11 stripes, {long:.0f} cm long: 6 skeins fewer"
    )
    assert sum(bought(replace(made, design=rows.design)).values()) == 18
    before, after = made.design.all_stripes(), rows.design.all_stripes()
    assert [a.rows - b.rows for a, b in zip(before, after, strict=True)] == [2] * 11
    # By hand: eleven stripes two rows shorter.
    by_hand = bought(blanket(*metres, solid_rows=10, blend_rows=2, yarns=yarns))
    assert sum(by_hand.values()) == 18


def test_a_held_stripe_keeps_its_rows_where_another_of_its_yarns_loses_some() -> None:
    first = WIDE.design.all_stripes()
    held = tuple(replace(s, locked=i == 0) for i, s in enumerate((*first, first[0])))
    made = replace(WIDE, design=replace(WIDE.design, stripes=held))
    (rows,) = [saving for saving in savings(made) if saving.kind == "rows"]
    after = rows.design.all_stripes()
    assert after[0].rows == first[0].rows and after[-1].rows < first[0].rows


def test_held_stripes_keep_their_rows_in_every_saving() -> None:
    stripes = tuple(
        Stripe(strands=s.strands, rows=s.rows, locked=i != 2) for i, s in enumerate(WIDE.design.all_stripes())
    )
    held = replace(WIDE, design=replace(WIDE.design, stripes=stripes))
    found = savings(held)
    assert {saving.kind for saving in found} - {"weigh"}
    for saving in found:
        for before, after in zip(stripes, saving.design.all_stripes(), strict=True):
            assert not before.locked or before == after


def test_nothing_to_buy_saves_nothing() -> None:
    yarns = tuple(yarn(n, lots=lying(40)) for n in ("Fern", "Clay"))
    assert savings(blanket("Fern", "Clay", yarns=yarns)) == ()


def test_numbers_beside_the_advice_have_their_chance() -> None:
    for colour in make_plan(WIDE).yardage.colours:
        chances = dict(colour.chances)
        assert chances[colour.buy_skeins] == colour.chance_short  # type: ignore[index]
        assert list(chances) == sorted(chances) and list(chances.values()) == sorted(chances.values(), reverse=True)
        assert chances[colour.buy_skeins] <= 0.05 < chances[colour.buy_skeins - 1]  # type: ignore[operator,index]
        assert colour.to_json()["chances"].keys() == {str(n) for n in chances}  # type: ignore[attr-defined]


def test_skeins_chosen_against_the_advice_are_what_is_bought() -> None:
    chosen = replace(WIDE, design=replace(WIDE.design, skeins=(("Fern", 2),)))
    need = make_plan(chosen).yardage.colour("Fern")
    assert need.buy_skeins == 2 and need.chance_short == dict(need.chances)[2] > 0.05


@pytest.mark.parametrize(
    ("short", "said"),
    [(0.6, "enough 4 in 10"), (0.05, "enough 95 in 100"), (0.01, "enough 99 in 100"), (1e-9, "enough over 99 in 100")],
)
def test_one_scale_of_chance(short: float, said: str) -> None:
    assert enough_words(short) == said
    assert enough_words(0.0) == "always enough"


@pytest.mark.parametrize(
    ("chances", "buy", "said"),
    [
        # What is too few, and a skein more where 99 in 100 do, help nobody to choose.
        ({2: 0.999, 3: 0.8, 4: 0.01, 5: 0.0001}, 4, "3: enough 2 in 10, 4: enough 99 in 100"),
        ({0: 1.0, 1: 0.2, 2: 0.001}, 2, "1: enough 8 in 10, 2: enough over 99 in 100"),
        # One more is worth a word where the advised number now and then does not do.
        ({3: 0.6, 4: 0.05, 5: 0.001}, 4, "3: enough 4 in 10, 4: enough 95 in 100, 5: enough over 99 in 100"),
        # A number that she chose is always told, and one alone only where it leaves a doubt.
        ({1: 0.99, 2: 0.3, 3: 0.0}, 1, "1: too few, 2: enough 7 in 10, 3: always enough"),
        ({0: 0.0001}, 0, ""),
        ({0: 0.04, 1: 0.96}, 0, "0: enough 96 in 100"),
    ],
)
def test_numbers_of_skeins_are_told_where_they_help_to_choose(chances: dict[int, float], buy: int, said: str) -> None:
    need = replace(make_plan(WIDE).yardage.colour("Fern"), chances=tuple(chances.items()), buy_skeins=buy)
    assert chances_words(need) == said


def test_second_choices_have_their_own_numbers() -> None:
    shelf = (*(yarn(n) for n in ("Fern", "Clay")), yarn("Moss", "#4f6b3c"), yarn("Night", "#4f6b3a", weight_class=1))
    plan = make_plan(blanket("Fern", "Clay", yarns=shelf))
    found = second_choices(plan.yardage, plan.strands, plan.blanket.yarns, plan.settings)
    half = {c.name: c for c in found if c.kind == "put-up"}
    for need in plan.yardage.colours:
        # Skeins of half the weight: at least twice as many less one, and enough for the need.
        assert half[need.name].put_up is not None and half[need.name].put_up.mass_g == 50
        assert half[need.name].skeins * 90 >= need.need_m and half[need.name].skeins <= 2 * (need.buy_skeins or 0) + 1
    near = {c.name: c.other for c in found if c.kind == "yarn"}
    assert near == {"Fern": "Moss", "Clay": "Moss"}  # Night has Fern's very shade and is of another thickness


@pytest.mark.parametrize(("rows", "there"), [(8, 1), (8, 2), (16, 2), (20, 2)])
def test_one_skein_more_of_another_lot_keeps_lots_from_meeting_inside_a_stripe(rows: int, there: int) -> None:
    yarns = (yarn("Fern", lots=lying(there, "L 1")), yarn("Clay"))
    made = blanket("Fern", "Clay", solid_rows=rows, blend_rows=2, yarns=yarns)
    plan = make_plan(made)
    assert {join.name for join in plan.strands.meetings} == {"Fern"}
    found = second_choices(plan.yardage, plan.strands, plan.blanket.yarns, plan.settings)
    (lot,) = [choice for choice in found if choice.kind == "lot"]
    assert lot.name == "Fern" and lot.skeins == (dict(plan.shopping)["Fern"] or 0) + 1
    more = make_plan(replace(made, design=replace(made.design, skeins=(("Fern", lot.skeins),))))
    assert not more.strands.meetings


# ---- a class

LIST = "name,yarns,terms,units\nAda,Moss #4f6b3a; ;Night,UK,imperial\nBen,,,\nAda,Clay\n"


def test_a_sheet_for_each_student_from_one_list() -> None:
    made = blanket("Fern", "Clay", "Milk", yarns=tuple(yarn(n) for n in ("Fern", "Clay", "Milk", "Night")))
    sheets = dict(class_sheets(made, read_students(LIST, "class.csv")))
    assert list(sheets) == ["sheet Ada.html", "sheet Ben.html", "sheet Ada 2.html"]
    ada, ben, other = (re.sub(r"base64,[^\"]+", "", data.decode("utf-8")) for data in sheets.values())
    assert "Moss" in ada and "Night" in ada and "Fern" not in ada and "tr in 4th ch" in ada and "yd a skein" in ada
    assert "Fern" in ben and "dc in 4th ch" in ben and "m a skein" in ben
    # A yarn that stands for two is told apart.
    assert "Clay 2" in other


def test_a_students_yarns_go_by_the_letters_and_inches_are_imperial() -> None:
    """The list names what takes the place of A, B, C, whichever is worked first."""
    made = blanket("Fern", "Clay", "Milk")
    made = replace(made, letters=(("Milk", "A"), ("Fern", "B"), ("Clay", "C")))
    text = "name,yarns,units\nAda,Moss #4f6b3a,inches\nBen,Moss #4f6b3a,cm\n"
    ada, ben = (data.decode("utf-8") for _, data in class_sheets(made, read_students(text, "class.csv")))
    assert "Moss" in ada and "Milk" not in ada and "Fern" in ada and "Clay" in ada
    assert "yd a skein" in ada and "m a skein" in ben


def test_a_student_has_none_of_the_teachers_skeins_and_rows() -> None:
    lots = (Lot(name="T 9", skeins=2, parts_g=(Fraction(40),)),)
    making = Making(
        rows_done=5, purchases=(Purchase(yarn="Fern", skeins=3, lot="T 7"),), notes=(RowNote(row=2, text="X"),)
    )
    made = blanket(
        "Fern", "Clay", yarns=(yarn("Fern", lots=lots), yarn("Clay")), making=making, skeins=(("Fern", 0), ("Clay", 0))
    )
    (sheet,) = (data.decode("utf-8") for _, data in class_sheets(made, read_students("name\nAda\n", "c.csv")))
    bare = blanket("Fern", "Clay", yarns=(yarn("Fern"), yarn("Clay")), title=f"{made.title}: Ada")
    assert sheet == plan_html(make_plan(bare))
    assert not re.search("on hand|T 9|T 7", re.sub('On hand|base64,[^"]+', "", sheet))


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("colour\nred\n", "is no class list"),
        ("name,terms\nAda,XX\n", "class.csv, line 2: terms: 'XX'"),
        ("name,units\nAda,miles\n", "line 2: units: 'miles'"),
    ],
)
def test_a_class_list_that_cannot_be_read_is_refused(text: str, why: str) -> None:
    with pytest.raises(YarnError, match=why):
        read_students(text, "class.csv")


def test_a_yarn_nobody_has_is_refused_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "p.json").write_text(project_json(blanket("Fern", "Clay")), encoding="utf-8")
    (tmp_path / "c.csv").write_text("name,yarns\nAda,Nope\n", encoding="utf-8")
    args = ["plan", str(tmp_path / "p.json"), "--class", str(tmp_path / "c.csv"), "--out", str(tmp_path / "out")]
    assert main(args) == 2
    assert capsys.readouterr().err.startswith("error: Ada: 'Nope' is none of the yarns")
    assert not (tmp_path / "out").exists()
    (tmp_path / "c.csv").write_text(LIST.replace(";Night", ""), encoding="utf-8")
    assert main(args) == 0 and len(list((tmp_path / "out").iterdir())) == 3

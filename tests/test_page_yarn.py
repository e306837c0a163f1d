"""The places of yarn and buying under the library's own test driver: what is pressed there changes that and no more."""

from __future__ import annotations

from fractions import Fraction

import pytest
from blankets import changed
from page_hand import at
from test_app import APP, brief, home, page, sound, texts  # noqa: F401 - the fixtures are used by name

from blendplan.page import edits, reads
from blendplan.page.buying import choose_skeins
from blendplan.plan import make_plan
from blendplan.yarn import M_PER_100_G, Shade, Yarn


def group(app, key: str):
    return next(x for x in app.get("button_group") if x.key == key)


def extras(app):
    return app.session_state["session"].kept.now.extras


def test_shades_by_eye_become_a_blanket_that_ends_in_numbers(page) -> None:  # noqa: F811
    page.button(key="by-eye").click().run()
    sound(page)
    assert len(page.color_picker) == 6, "empty cards stand ready"
    for colour in ("#35566b", "#c8a75a", "#9c4a3c"):
        page.color_picker(key="wheel-0").set_value(colour).run()
        sound(page)
    assert [f.shades[0].srgb for f in extras(page).finds] == ["#35566b", "#c8a75a", "#9c4a3c"]
    assert all(f.shades[0].kind == "eye" for f in extras(page).finds) and len(page.color_picker) == 3
    assert [f.letter for f in extras(page).finds] == ["A", "B", "C"]
    page.button(key="take-fresh").click().run()
    sound(page)
    made = make_plan(brief(page))
    assert all(n for _, n in made.shopping), "skeins to buy, though no label was given"
    assert sorted(dict(brief(page).letters).values()) == ["A", "B", "C"]
    # What is told of the size is what comes out.
    told = texts(page)
    assert f"{made.size.width_cm:.0f} cm" in told and f"{made.size.height_cm:.0f} cm" in told


def test_a_letter_that_was_dealt_goes_to_no_other(page) -> None:  # noqa: F811
    page.button(key="by-eye").click().run()
    for colour in ("#35566b", "#c8a75a"):
        page.color_picker(key="wheel-0").set_value(colour).run()
    page.session_state["session"].open.add("why--1")
    page.run()
    page.button(key="out--1").click().run()
    page.color_picker(key="wheel-0").set_value("#9c4a3c").run()
    sound(page)
    assert [f.letter for f in extras(page).finds] == ["A", "C"]
    page.button(key="take-fresh").click().run()
    letters = edits.signs_of(brief(page))
    assert sorted(letters.values()) == ["A", "C"]
    more = edits.add_yarn(brief(page), Yarn(name="New", shades=(Shade(lab=(50, 0, 0)),)))
    assert edits.signs_of(more) == {**letters, "New": "D"}
    # Its letter is not dealt again after it has gone.
    last = edits.add_yarn(edits.drop_yarn(more, "New"), Yarn(name="Last", shades=(Shade(lab=(50, 0, 0)),)))
    assert edits.signs_of(last)["Last"] == "E"


@pytest.mark.parametrize("weight", [2, 4, 5])
def test_a_weight_alone_gives_the_usual_label_and_holds_nothing(page, weight: int) -> None:  # noqa: F811
    page.button(key="by-eye").click().run()
    for colour in ("#35566b", "#c8a75a"):
        page.color_picker(key="wheel-0").set_value(colour).run()
    group(page, "label-weight").set_value(str(weight)).run()
    sound(page)
    assert f"= {M_PER_100_G[weight]} m" in next(b.label for b in page.button if b.key == "label-own")
    page.button(key="take-fresh").click().run()
    for yarn in brief(page).yarns:
        assert (yarn.weight_class, yarn.grams, yarn.metres) == (weight, None, None), "no default is copied"
        assert yarn.label_is_usual and yarn.label.length_m == M_PER_100_G[weight]
    assert all(need.skein_m == M_PER_100_G[weight] for need in make_plan(brief(page)).yardage.colours)
    at(page, "buying")
    assert "usual label" in texts(page)


def test_labels_that_are_not_all_alike_stand_on_their_cards(page) -> None:  # noqa: F811
    page.button(key="by-eye").click().run()
    for colour in ("#35566b", "#c8a75a"):
        page.color_picker(key="wheel-0").set_value(colour).run()
    group(page, "label-weight").set_value("each").run()
    page.text_input(key="find--0-g").set_value("50").run()
    page.text_input(key="find--0-m").set_value("105,5").run()
    page.selectbox(key="find--1-class").set_value("5").run()
    sound(page)
    page.button(key="take-fresh").click().run()
    first, second = (brief(page).called(f"Yarn {letter}") for letter in "AB")
    assert (first.grams, first.metres) == (50, Fraction(211, 2)) and second.weight_class == 5


def test_a_number_of_skeins_is_chosen_against_the_advice_and_back(page) -> None:  # noqa: F811
    before = brief(page)
    need = make_plan(before).yardage.colours[0]
    key = before.keys[need.name]
    other = next(n for n, _ in need.chances if n != need.buy_skeins)
    made = choose_skeins(before, key, other)
    assert all(place.startswith(".design.skeins") for place in changed(before, made))
    assert dict(made.design.skeins) == {key: other}
    assert make_plan(made).yardage.colour(need.name).buy_skeins == other
    assert choose_skeins(made, key, need.buy_skeins) == before, "the advice is no choice"
    at(page, "buying")
    index = [y.key for y in before.yarns].index(key)
    group(page, f"ladder-{index}").set_value(other).run()
    sound(page)
    assert dict(brief(page).design.skeins) == {key: other}


def test_a_saving_is_made_by_a_press_and_taken_back(page) -> None:  # noqa: F811
    at(page, "buying")
    before = brief(page)
    n = sum(count or 0 for _, count in make_plan(before).shopping)
    key = next(b.key for b in page.button if (b.key or "").startswith("save-"))

    def shown() -> int:
        return sum('<img class="bp-hung"' in one.proto.body for one in page.get("html"))

    assert not shown()
    page.toggle(key=key.replace("save-", "look-saving-")).set_value(True).run()
    sound(page)
    assert (shown(), brief(page)) == (1, before), "shown, not taken"
    page.button(key=key).click().run()
    sound(page)
    assert sum(count or 0 for _, count in make_plan(brief(page)).shopping) < n
    assert all(place.startswith(".design") for place in changed(before, brief(page)))
    page.button(key="undo").click().run()
    assert brief(page) == before


def test_what_is_ticked_in_the_shop_is_written_down_as_bought(page) -> None:  # noqa: F811
    at(page, "buying")
    page.button(key="shop-open").click().run()
    need = next(c for c in make_plan(brief(page)).yardage.colours if c.buy_skeins)
    box = next(c for c in page.checkbox if need.name in c.label.replace("\\", ""))
    box.set_value(True).run()
    page.text_input(key=box.key.replace("bag-", "bag-lot-")).set_value("R7").run()
    # The phone was locked on the way: another window on the same library still knows it.
    again = page.from_file(APP, default_timeout=180).run()
    at(again, "buying").button(key="shop-open").click().run()
    assert again.checkbox(key=box.key).value
    assert again.text_input(key=box.key.replace("bag-", "bag-lot-")).value == "R7"
    assert sum(c.value for c in again.checkbox) == 1 and not brief(again).making.purchases
    page.button(key="shop-bought").click().run()
    sound(page)
    page.button(key="shop-open").click().run()
    assert not any(c.value for c in page.checkbox), "what was written down is ticked no longer"
    page.button(key="shop-close").click().run()
    (bought,) = brief(page).making.purchases
    assert (bought.yarn, bought.skeins, bought.lot) == (brief(page).keys[need.name], need.buy_skeins, "R7")
    assert "List for the shop" not in texts(page).split("<h2>")[1][:40]


def test_two_yarns_are_put_where_they_differ_least_and_rows_stay(page) -> None:  # noqa: F811
    before = make_plan(brief(page))
    at(page, "yarn")
    group(page, "yarn-view").set_value("pair").run()
    sound(page)
    label = page.button(key="pair-put").label
    assert "Put between stripes" in label
    page.button(key="pair-put").click().run()
    sound(page)
    after = make_plan(brief(page))
    rows = [s.stripe.rows for s in before.stripes]
    now = [s.stripe.rows for s in after.stripes]
    at_place = int(label.split()[3])
    assert now[:at_place] + now[at_place + 1 :] == rows
    assert set(after.stripes[at_place].stripe.strands) == {y.name for y in brief(page).yarns[:2]}


def test_how_far_a_doubt_goes_is_as_far_as_it_says() -> None:
    from blendplan.colour import delta_e_2000, hex_to_lab

    shade = Shade(lab=(52.0, 30.0, 12.0), within=6.0)
    darker, lighter = reads.doubt_ends(shade)
    for code in (darker, lighter):
        assert float(delta_e_2000(shade.lab, hex_to_lab(code))) == pytest.approx(6.0, abs=0.4)
    assert hex_to_lab(darker)[0] < 52 < hex_to_lab(lighter)[0]


def test_a_class_gets_a_sheet_each_and_a_wrong_list_says_so_at_its_field(page) -> None:  # noqa: F811
    at(page, "buying")
    page.session_state["papers-fold"] = True
    page.run()
    page.file_uploader(key="students").set_value(("class.csv", b"name\nIda\nOlaf\n", "text/csv")).run()
    sound(page)
    assert any(b.key == "get-students" for b in page.get("download_button"))
    page.file_uploader(key="students").set_value(("class.csv", b"who\nIda\n", "text/csv")).run()
    sound(page)
    assert "is no class list" in texts(page)

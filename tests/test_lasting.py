"""Ways out where the yarn will not last: each is a design that does, by arithmetic done here."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from statistics import NormalDist

import pytest
from blankets import blanket, blanket_of, lying, yarn

from blendplan import lasting
from blendplan.blanket import Blanket, Ways
from blendplan.cli import main
from blendplan.errors import BlendplanError
from blendplan.fabric.finish import Border
from blendplan.lasting import WayOut, account_skeins, ways_out
from blendplan.outputs.beside import beside
from blendplan.outputs.tables import plan_json
from blendplan.page import edits
from blendplan.plan import Plan, ledger_of, make_plan
from blendplan.project import project_json, read_project
from blendplan.saving import savings
from blendplan.yardage.ledger import Ledger
from blendplan.yardage.making import Making, Purchase, Weighed, Weighing

NAMES = ("Fern", "Clay", "Milk")
DONE = 8
# One strand row in grams, by the plan.
Z95 = NormalDist().inv_cdf(0.95)


def worked(share: float, *, locked: bool = False, **design: object) -> tuple[Plan, Ledger]:
    """Eight rows done as planned, and of Clay so much of what is still planned; the others have plenty."""
    first = blanket(*NAMES, solid_rows=6, blend_rows=4, **design)
    plan = make_plan(first)
    if locked:
        stripes = tuple(replace(s, locked=True) for s in first.design.all_stripes())
        first = edits.change_design(first, stripes=stripes)
    used = clay_rows(plan, DONE) * row_g(plan)
    need = plan.yardage.colour("Clay").need_g or 0
    left = share * (need - used)
    making = Making(
        rows_done=DONE,
        purchases=(Purchase(yarn="Fern", skeins=12), Purchase(yarn="Milk", skeins=12), Purchase(yarn="Clay", skeins=9)),
        # Kept: some of it went another way before.
        weighings=(Weighing(row=DONE, left=(Weighed(yarn="Clay", grams=Fraction(round(left)), answer="kept"),)),),
    )
    made = make_plan(replace(first, making=making))
    return made, ledger_of(made)


def row_g(plan: Plan) -> float:
    return max(plan.yardage.rows_m) / 1.8


def clay_rows(plan: Plan, until: int | None = None, since: int = 0) -> int:
    """Strand rows of Clay among some rows."""
    rows = [s.stripe.strands.count("Clay") for s in plan.stripes for _ in range(s.stripe.rows)]
    return sum(rows[since : until if until is not None else len(rows)])


def way(ways: tuple[WayOut, ...], kind: str) -> WayOut:
    return next(w for w in ways if w.kind == kind)


@pytest.mark.parametrize("share", [0.55, 0.65, 0.75, 0.85])
def test_changed_rows_reach_at_the_upper_end_and_rows_done_stay(share: float) -> None:
    plan, ledger = worked(share)
    assert "Clay" in ledger.short
    account = ledger.colour("Clay")
    found = way(ways_out(plan, ledger), "rows")
    after = found.plan(plan.blanket)
    ahead = clay_rows(after, since=DONE)
    # Rows done are those of the plan.
    done = [s.stripe.strands for s in plan.stripes for _ in range(s.stripe.rows)][:DONE]
    assert [s.stripe.strands for s in after.stripes for _ in range(s.stripe.rows)][:DONE] == done
    # One time in twenty it may not reach: at the upper end of the range it does, two strand rows more would not.
    grams = row_g(plan) * account.factor * (1 + Z95 * account.relative_sd)
    assert ahead * grams <= account.left_g
    assert (ahead + 2) * grams + 3 * 0.15 * 4 / 1.8 > account.left_g
    assert not found.buy and found.said


def test_a_border_still_to_come_is_kept_back() -> None:
    """With a border in Clay ahead fewer rows of it are left than without, by what the border takes."""
    ahead = {}
    for rounds in (0, 2):
        border = Border(rounds=rounds, strands=("Clay", "Clay")) if rounds else None
        plan, _ = worked(0.7)
        clay_left = 0.7 * ((plan.yardage.colour("Clay").need_g or 0) - clay_rows(plan, DONE) * row_g(plan))
        border_g = 0.0
        if border is not None:
            bare, plan = plan, make_plan(edits.change_design(plan.blanket, border=border))
            border_g = (plan.yardage.colour("Clay").need_g or 0) - (bare.yardage.colour("Clay").need_g or 0)
            assert border_g > 10
        # The same grams of Clay for rows, and the border's on top.
        weighed = Weighed(yarn="Clay", grams=Fraction(round(clay_left + border_g)), answer="kept")
        making = replace(plan.blanket.making, weighings=(Weighing(row=DONE, left=(weighed,)),))
        plan = make_plan(replace(plan.blanket, making=making))
        ledger = ledger_of(plan)
        found = way(ways_out(plan, ledger), "rows")
        ahead[rounds] = clay_rows(found.plan(plan.blanket), since=DONE)
        account = ledger.colour("Clay")
        upper = 1 + Z95 * account.relative_sd
        assert (ahead[rounds] * row_g(plan) + border_g) * account.factor * upper <= account.left_g
    assert 0 < ahead[2] <= ahead[0]


def test_another_colour_a_narrower_border_and_buying() -> None:
    plan, ledger = worked(0.6, border=Border(rounds=3, strands=("Clay", "Milk")))
    ways = ways_out(plan, ledger)
    other = way(ways, "colour").plan(plan.blanket)
    assert clay_rows(other) < clay_rows(plan)
    begun = sum(s.first_row <= DONE for s in plan.stripes)
    assert [s.stripe for s in other.stripes][:begun] == [s.stripe for s in plan.stripes][:begun]
    # Every blend stays one, and no stripe becomes one with the next.
    kinds = [tuple(sorted(s.stripe.strands)) for s in other.stripes]
    assert [len(set(kind)) for kind in kinds] == [len(set(s.stripe.strands)) for s in plan.stripes]
    assert all(one != after for one, after in pairwise(kinds))
    assert ledger_of(make_plan(lasting.take_way(plan.blanket, way(ways, "colour"), ()))).short == ()
    buy = way(ways, "buy")
    account = ledger.colour("Clay")
    ((name, skeins),) = buy.buy
    assert name == "Clay"
    lacking = account.need_g * (1 + Z95 * account.relative_sd) - account.left_g
    # A skein that another follows loses, on the average, half a row of one strand.
    assert skeins == math.ceil(lacking / (100 - row_g(plan) / 2))
    # Bought, it lasts; with one skein fewer it does not.
    for n, short in ((skeins, ()), (skeins - 1, ("Clay",))):
        bought = lasting.purchase(plan.blanket, "Clay", n, date="2026-03-02") if n else plan.blanket
        assert ledger_of(make_plan(bought)).short == short
    assert "begin it with stripe" in buy.said[1].text
    # A little too little, and a narrower border is enough.
    nearly, near = worked(0.9, border=Border(rounds=3, strands=("Clay", "Clay")))
    assert near.short == ("Clay",)
    narrower = way(ways_out(nearly, near), "border")
    assert narrower.design.border is not None and narrower.design.border.rounds < 3
    assert ledger_of(narrower.plan(nearly.blanket)).short == ()
    # One round more would not last.
    wider = replace(narrower.design.border, rounds=narrower.design.border.rounds + 1)
    assert ledger_of(make_plan(edits.change_design(nearly.blanket, border=wider))).short == ("Clay",)


def test_every_way_has_its_picture() -> None:
    plan, ledger = worked(0.7)
    drawn = {w.kind: w.plan(plan.blanket).picture() for w in ways_out(plan, ledger) if w.kind != "buy"}
    assert set(drawn) >= {"rows", "colour"}
    assert all(png.startswith(b"\x89PNG") for png in drawn.values()) and len(set(drawn.values())) == len(drawn)


@pytest.mark.parametrize("share", [0.02, 0.2])
def test_no_way_out_gives_a_begun_stripe_another_colour(share: float) -> None:
    """Of stripe 2, in work, two rows are done: its Clay stays whatever else will do."""
    plan, ledger = worked(share)
    for out in ways_out(plan, ledger):
        after = out.plan(plan.blanket)
        assert [s.stripe.strands for s in after.stripes[:2]] == [s.stripe.strands for s in plan.stripes[:2]]


@pytest.mark.parametrize(("done", "begins"), [(6, 2), (7, 3), (8, 3), (11, 4)])
def test_another_lot_begins_with_a_stripe_of_which_no_row_is_done(done: int, begins: int) -> None:
    """Clay is in stripes 2 (rows 7 to 10), 3 (11 to 16) and 4 (17 to 20)."""
    first = blanket(*NAMES, solid_rows=6, blend_rows=4)
    making = Making(
        rows_done=done,
        purchases=tuple(Purchase(yarn=name, skeins=9) for name in NAMES),
        weighings=(Weighing(row=done, left=(Weighed(yarn="Clay", grams=1, answer="kept"),)),),
    )
    plan = make_plan(replace(first, making=making))
    row = {2: 7, 3: 11, 4: 17}[begins]
    said = [notice.text for notice in way(ways_out(plan, ledger_of(plan)), "buy").said]
    assert f"Where its dye lot is another one, begin it with stripe {begins} (row {row})." in said


def test_locked_stripes_are_not_changed() -> None:
    plan, ledger = worked(0.5, locked=True)
    (buy,) = ways_out(plan, ledger)
    assert buy.kind == "buy" and dict(buy.buy)["Clay"] >= 1
    assert "No change of rows" in buy.said[0].text


def test_enough_yarn_needs_no_way_out() -> None:
    plan, ledger = worked(1.6)
    assert ledger.short == () and ways_out(plan, ledger) == ()


def test_the_verdict_is_one_line_with_the_first_way_out() -> None:
    """It stands beside the work, from the row of the weighing on."""
    plan, ledger = worked(0.7)
    account, way_out = ledger.colour("Clay"), ways_out(plan, ledger)[0]
    said = lasting.verdict(plan)
    assert said is not None and said.level == "warning"
    told = f"By the weighing of row 8 Clay may not last: {account.left_g:.0f} g left, {account.need_g:.0f} g still to"
    assert said.text.startswith(told) and f"A way out: {way_out.said[0].text}" in said.text
    assert beside(plan)["verdict"] == [8, said.text]
    # The row that is counted does not change it, so no page is made anew by counting.
    later = replace(plan.blanket, making=replace(plan.blanket.making, rows_done=0))
    assert beside(make_plan(later))["verdict"] == [8, said.text]
    lasts, _ = worked(1.6)
    assert "the yarn will last" in getattr(lasting.verdict(lasts), "text", "")
    assert lasting.verdict(make_plan(blanket(*NAMES))) is None


def test_the_verdict_tells_the_stripe_of_the_colour_that_will_not_last() -> None:
    """Milk will not last, and the first stripe that changes takes its rows over in Clay."""
    first = blanket(*NAMES, solid_rows=6, blend_rows=4)
    milk_g = make_plan(first).yardage.colour("Milk").need_g or 0
    making = Making(
        rows_done=DONE,
        purchases=tuple(Purchase(yarn=name, skeins=12) for name in NAMES),
        weighings=(Weighing(row=DONE, left=(Weighed(yarn="Milk", grams=Fraction(round(milk_g / 2)), answer="kept"),)),),
    )
    plan = make_plan(replace(first, making=making))
    ledger = ledger_of(plan)
    said = ways_out(plan, ledger)[0].said
    assert ledger.short == ("Milk",) and said[0].text.startswith(("Stripe 2", "Stripe 3"))
    told = lasting.verdict(plan)
    assert told is not None
    stripe, after, before = re.findall(r"A way out: Stripe (\d+): (\d+) rows? instead of (\d+)", told.text)[0]
    assert "Milk" in plan.stripes[int(stripe) - 1].stripe.strands and int(after) < int(before)


def test_what_was_taken_as_bought_is_written_down_with_a_way_out() -> None:
    """Another design would buy other skeins: what she owns must not change with it."""
    plan = make_plan(replace(blanket(*NAMES, solid_rows=6, blend_rows=4), making=Making(rows_done=8)))
    buys = {c.name: c.buy_skeins for c in plan.yardage.colours if c.buy_skeins}
    assert {p.yarn: p.skeins for p in account_skeins(plan)} == buys
    # Of what is not begun nothing is bought yet: another design buys what it needs.
    taken = account_skeins(plan, begun=True)
    begun = {s.stripe.strands for s in plan.stripes if s.first_row <= 8}
    assert {p.yarn: p.skeins for p in taken} == {n: buys[n] for strands in begun for n in strands} != buys
    longer = WayOut(kind="rows", design=replace(plan.blanket.design, solid_rows=20), said=(), buy=())
    made = lasting.take_way(plan.blanket, longer, taken)
    before, after = ledger_of(plan), ledger_of(make_plan(made))
    assert {c.name: c.owned_g for c in before.colours} == {c.name: c.owned_g for c in after.colours}


# ---- presses


def maker() -> Blanket:
    yarns = tuple(yarn(n, lots=lying(4)) for n in NAMES)
    return blanket_of(yarns=yarns, order=NAMES[:2], solid_rows=6, blend_rows=4, rows_done=4)


def test_a_purchase_of_a_yarn_not_in_the_design_is_one_clear_line() -> None:
    with pytest.raises(BlendplanError, match="'Milk' was bought and is not in the design; the design uses Fern, Clay"):
        lasting.purchase(maker(), "Milk", 2)
    with pytest.raises(BlendplanError, match="skeins bought: 0 was given"):
        lasting.purchase(maker(), "Fern", 0)
    made = lasting.purchase(maker(), "Fern", 2, "L 7", "2026-03-02")
    assert made.making.purchases == (Purchase(yarn="Fern", skeins=2, lot="L 7", date="2026-03-02", row=4),)


def test_more_opened_than_there_are_is_one_clear_line() -> None:
    made = replace(blanket(*NAMES), making=Making(purchases=(Purchase(yarn="Fern", skeins=3),)))
    one = lasting.open_skeins(made, "Fern", 2)
    assert lasting.unopened_now(make_plan(one), "Fern") == 1
    with pytest.raises(BlendplanError, match="4 skeins of Fern would be opened and there are 3; say first what was"):
        lasting.open_skeins(one, "Fern", 2)
    assert lasting.open_skeins(one, "Fern").making.opened[-1].skeins == 1


def test_a_weighing_is_typed_mended_and_taken_back_and_a_file_holds_it() -> None:
    first = maker()
    one = lasting.weigh(first, "Fern", Fraction(60), 3, "2026-03-02")
    assert lasting.weighed_now(one, "Fern") == Weighed(yarn="Fern", grams=Fraction(60), unopened=3)
    two = lasting.weigh(one, "Fern", Fraction(61), 3)
    assert len(two.making.weighings) == 1
    assert lasting.weighed_now(two, "Fern") == Weighed(yarn="Fern", grams=Fraction(61), unopened=3)
    assert lasting.weigh(two, "Fern", None).making == first.making
    assert read_project(project_json(two).encode())[0] == two


@pytest.mark.parametrize("said", ["kept", "mended", "back"])
def test_a_doubt_is_answered_in_the_making(said: str) -> None:
    odd = lasting.weigh(maker(), "Fern", Fraction(5), 0)
    odd = lasting.weigh(odd, "Clay", Fraction(400), None)
    plan = make_plan(odd)
    ledger = ledger_of(plan)
    doubt = ledger.doubts[0]
    assert doubt.name == "Fern" and "unopened" in doubt.question.text
    made = lasting.answer(odd, doubt, said)  # type: ignore[arg-type]
    now = ledger_of(make_plan(made))
    assert not now.doubts
    told = {one.yarn: one for one in made.making.weighings[0].left}
    assert told["Fern"].answer == said and told["Clay"] == Weighed(yarn="Clay", grams=Fraction(400))
    assert {"kept": 5, "mended": 5 + 100 * (told["Fern"].unopened or 0)}.get(said, now.colour("Fern").left_g) == (
        now.colour("Fern").left_g
    )
    assert read_project(project_json(made).encode())[0] == made


def test_yes_to_more_skeins_bought_writes_a_purchase() -> None:
    odd = lasting.weigh(maker(), "Clay", Fraction(600))
    doubt = ledger_of(make_plan(odd)).doubts[0]
    assert doubt.question.text == "Were 2 more skeins of Clay bought?"
    made = lasting.answer(odd, doubt, "mended")
    assert made.making.purchases == (Purchase(yarn="Clay", skeins=2, row=4),)
    assert not ledger_of(make_plan(made)).doubts


@pytest.mark.parametrize(
    ("rows", "bought", "said"),
    [
        (0, 0, "Fern: 0 of the {n} skeins of the plan bought, {n} to go; what is bought beyond the plan adds."),
        (0, 1, "Fern: 1 of the {n} skeins of the plan bought, {less} to go; what is bought beyond the plan adds."),
        (0, 9, "Fern: 9 skeins bought, {n} in the plan; what is bought now adds."),
        (
            5,
            0,
            "Fern: begun without a word of what was bought, so the {n} skeins of the plan count as bought; what is ",
        ),
    ],
)
def test_a_purchase_counts_towards_the_plan_and_beyond_it_adds(rows: int, bought: int, said: str) -> None:
    """The plan says what to have in all; the same in the list, in the accounts and in the line where it is typed."""
    first = replace(blanket(*NAMES, solid_rows=10, blend_rows=4), making=Making(rows_done=rows))
    n = dict(make_plan(first).shopping)["Fern"] or 0
    plan = make_plan(lasting.purchase(first, "Fern", bought)) if bought else make_plan(first)
    account = ledger_of(plan).colour("Fern")
    assert lasting.counted_as_bought(plan, "Fern").text.startswith(said.format(n=n, less=n - 1))
    assert account.coming_skeins == (0 if rows else max(0, n - bought))
    if not rows:
        assert account.owned_g == 100 * bought and dict(plan.shopping)["Fern"] == max(0, n - bought)
    # With what is still on the list it lasts, so nothing is wrong yet.
    assert "Fern" not in ledger_of(plan).short
    more = make_plan(lasting.purchase(plan.blanket, "Fern", 2))
    assert ledger_of(more).colour("Fern").owned_g == account.owned_g + 200
    # Beyond what is wanted nothing is on the list any more, also of a colour that was begun without a word.
    assert dict(more.shopping)["Fern"] == (0 if rows else max(0, n - bought - 2))


def test_a_weighing_reaches_the_list_on_page_paper_and_in_files() -> None:
    """One call says what is still to buy: what the ledger weighs is what the list, the paper and the files say."""
    first = replace(blanket(*NAMES, solid_rows=10, blend_rows=4), making=Making(rows_done=8))
    plan = make_plan(first)
    buys = dict(plan.shopping)
    # One skein fewer was bought than planned, and a fifth more than planned is gone.
    bought = [replace(p, skeins=p.skeins - (p.yarn == "Fern")) for p in account_skeins(plan)]
    first = lasting.bought_as_planned(first, bought)
    used = plan.yardage.colour("Fern").need_g or 0
    done = ledger_of(plan).colour("Fern").used_g
    left = 100 * ((buys["Fern"] or 0) - 1) - 1.2 * done
    now = make_plan(lasting.weigh(first, "Fern", Fraction(round(left))))
    account = ledger_of(now).colour("Fern")
    assert account.weighed_at == ledger_of(now).after == 8 and account.factor > 1.08
    ahead = account.factor * (used - done)
    assert account.need_g == pytest.approx(ahead, rel=0.02)
    assert account.buy_skeins >= math.ceil((ahead - left) / 100) > 0
    assert dict(now.shopping)["Fern"] == account.buy_skeins
    body = json.loads(plan_json(now))["yardage"]["colours"][0]
    assert body["buy_skeins"] == account.buy_skeins and body["rest"]["after"] == 8
    assert body["rest"]["need_g"] == round(account.need_g, 1) and body["need_g"] == round(used, 1)
    # The pattern keeps the need of the whole blanket, and says beside it what is still to work and to buy.
    text = now.rows_text()
    skeins = "1 skein" if account.buy_skeins == 1 else f"{account.buy_skeins} skeins"
    whole = now.yardage.colour("Fern").need_m
    assert f"Fern: needs {whole:.0f} m in all" in text and f"; buy {skeins}" in text
    assert f"after the weighing of row 8: {left:.0f} g left, {account.need_g:.0f} g still to work" in text
    # A colour that was not weighed is told as a guess.
    assert "after the weighing of row 8, itself not weighed: about" in text
    # What is bought is not asked for again.
    enough = make_plan(lasting.purchase(now.blanket, "Fern", account.buy_skeins))
    assert dict(enough.shopping)["Fern"] == 0 and "Fern" not in ledger_of(enough).short
    # Nothing that was worked already is offered as a saving.
    assert savings(now.blanket) == ()


def test_every_line_follows_the_units_chosen(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Ounces, yards and inches in the accounts, the doubt, the list, what is told beside wishes, and refusals."""
    first = blanket(*NAMES, solid_rows=10, blend_rows=4, width_cm=131.0, length_cm=150.0, rows_done=8)
    first = replace(first, ways=Ways(units="imperial"), making=Making(rows_done=8))
    odd = lasting.weigh(lasting.weigh(first, "Fern", Fraction(5)), "Clay", Fraction(300))
    path = tmp_path / "p.json"
    path.write_text(project_json(odd), encoding="utf-8")
    metric = re.compile(r"\d (cm|m|g|kg)\b")
    for command in ("ledger", "skeins"):
        assert main([command, str(path)]) == 0
        out = capsys.readouterr()
        assert not metric.search(out.out + out.err) and re.search(r"\d (oz|yd)", out.out)
    plan = make_plan(odd)
    # In the pattern the other units stand in brackets behind, and nowhere else.
    text = re.sub(r"\([^()]*\)", "", plan.rows_text())
    assert not metric.search(text) and re.search(r"\d in  high after", text)
    wished = [n.say("en", "imperial") for n in plan.notices if "was wished for" in n.text]
    assert wished[0].startswith("A width of 51.6 in was wished for; ")
    assert next(n.text for n in plan.notices if "was wished for" in n.text).startswith("A width of 131 cm was wished")
    path.write_text(project_json(odd).replace('"width_cm": 131', '"width_cm": 1310'), encoding="utf-8")
    assert main(["skeins", str(path)]) == 2
    assert "given; allowed is" in capsys.readouterr().err


def test_what_was_bought_lies_there_and_is_not_bought_again() -> None:
    """The list counts skeins bought as on hand, in their lots; beyond the plan nothing is left to buy."""
    first = blanket(*NAMES, solid_rows=10, blend_rows=4)
    planned = dict(make_plan(first).shopping)
    buy = planned["Fern"]
    assert buy is not None and buy >= 2
    for n in (1, buy, buy + 3):
        plan = make_plan(lasting.purchase(first, "Fern", n, "L 7"))
        need = plan.yardage.colour("Fern")
        assert need.buy_skeins == max(0, buy - n) and need.skeins_on_hand == need.bought_skeins == n
        assert dict(plan.shopping) == planned | {"Fern": max(0, buy - n)}
        text = plan.rows_text()
        assert ("ask for dye lot L 7, which you have" in text) == (n < buy)
        assert ("on hand, dye lot L 7" in text) and f"on hand {n} skein" in text
        # More than is needed runs short less often, and never more.
        assert (need.chance_short or 0) <= (make_plan(first).yardage.colour("Fern").chance_short or 0) + 1e-12
    # Of a lot that nobody told the numbers of the balls stay as they were planned.
    unnamed = make_plan(lasting.purchase(first, "Fern", buy))
    assert [j for j in unnamed.strands.joins if j.name == "Fern"] == [
        j for j in make_plan(first).strands.joins if j.name == "Fern"
    ]
    # A number chosen against the advice is what is bought in all.
    chosen = edits.change_design(first, skeins=(("Fern", buy + 2),))
    assert dict(make_plan(lasting.purchase(chosen, "Fern", buy)).shopping)["Fern"] == 2
    # The ledger owns each skein once: bought before row 1 it is what was bought, bought later it comes on top.
    assert ledger_of(make_plan(lasting.purchase(first, "Fern", buy))).colour("Fern").owned_g == 100 * buy
    later = replace(first, making=Making(rows_done=5))
    assert ledger_of(make_plan(lasting.purchase(later, "Fern", 3))).colour("Fern").owned_g == 100 * (buy + 3)

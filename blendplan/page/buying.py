"""What is to be bought and how sure that is, what would save a skein, bought and weighed, and papers to take along."""

from __future__ import annotations

import datetime
import html
import io
import json
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache, partial
from typing import Any, Literal

import streamlit as st

from blendplan.blanket import Blanket
from blendplan.budgets import MAX_ROWS
from blendplan.lasting import (
    WayOut,
    account_skeins,
    answer,
    bought_as_planned,
    counted_as_bought,
    open_skeins,
    purchase,
    size_options,
    take_way,
    unopened_now,
    ways_out,
    weigh,
    weighed_now,
)
from blendplan.outputs.content import ShoppingWords, enough_words, read_plan
from blendplan.outputs.write import OUTPUTS, How, class_sheets, read_students
from blendplan.page.edits import change_design, change_materials, change_ways, change_yarn, with_stripes
from blendplan.page.fields import (
    bullet_list,
    choice_field,
    facts_html,
    field_of,
    fill,
    folded,
    inert,
    line_html,
    number_field,
    of_blanket,
    press,
    put_design,
    put_yarn,
    refused,
    save_button,
    told_html,
    try_,
    whole_field,
)
from blendplan.page.sight import figure_html, pair_address, sums
from blendplan.page.state import (
    change,
    lang,
    reach,
    say,
    session,
    spoken,
    tell,
    turn,
    typed,
)
from blendplan.page.yarn import chip_html
from blendplan.plan import Plan, ledger_of, to_buy
from blendplan.quantities import Quantities
from blendplan.saving import Saving, savings
from blendplan.stripes.model import Stripe
from blendplan.units import Amount, exact, whole
from blendplan.wording import Notice, capital
from blendplan.workspace import plan_of
from blendplan.yardage.doubt import Doubt
from blendplan.yardage.ledger import Account, Ledger
from blendplan.yardage.length import Yardage
from blendplan.yardage.measured import WeighedRow
from blendplan.yardage.need import ColourNeed
from blendplan.yardage.scraps import share_scraps
from blendplan.yardage.stash import largest_blanket, longest_stripes, rows_possible, spare_scarce
from blendplan.yarn import Yarn

# Numbers of skeins beside each other (chosen).
LADDER = 3


@of_blanket
def buying_place(current: Blanket, made: Plan) -> None:
    """Draw the place."""
    words, now = read_plan(made, lang()), to_buy(made)
    if "shop" in session().open:
        _shop_list(made, now, words.shopping)
        return
    with st.container(key="buy-head", horizontal=True, vertical_alignment="center"):
        st.html(line_html("h2", buy_words(made)))
        if any(need.buy_skeins for need in now.colours):
            st.button(say("List for the shop"), key="shop-open", type="primary", on_click=turn, args=("shop",))
    st.caption(_together(now))
    with st.container(key="buy-rows"):
        for item in words.shopping:
            _row(current, made, now.colour(item.name), item)
    if words.advice:
        st.caption(inert(words.advice))
    _savings(current)
    _folds(current, made, words.shopping)


def buy_words(made: Plan) -> str:
    """Return what is to be bought in one line, with its price where it is known."""
    total = sums(made.blanket, lang())
    return capital(", ".join(part for part in (total["skeins"], total["price"]) if part))


def _together(now: Yardage) -> str:
    text = say("How many, and how often that many are enough.")
    if now.chance_any_short is not None:
        text += " " + say("All together: {enough}.", enough=enough_words(now.chance_any_short, lang()))
    if now.total_price is None:
        text += " " + say("For a price, put in what one skein costs.")
    return text


# ---- how many


def _row(current: Blanket, made: Plan, need: ColourNeed, item: ShoppingWords) -> None:
    """Draw one colour: its fabric, what to ask for, numbers of skeins with their chance, and its price."""
    yarn, key = made.yarn(need.name), made.blanket.keys[need.name]
    at = [y.key for y in current.yarns].index(key)
    with st.container(key=f"buy-{at}"):
        picture = pair_address((yarn.lab,), (1.0,), 0.0, "small")
        usual = current.called(need.name).label_is_usual
        lines = [
            item.now or (say("you have {have}", have=item.on_hand) if need.on_hand_m else ""),
            item.ask,
            say("usual label: {mass} = {length}", **_label_of(yarn, current)) if usual else "",
            say("needs {need} in all", need=item.need) if item.now else say("needs {need}", need=item.need),
        ]
        about = "<br>".join(
            f'<span class="yp-assumed">{html.escape(line)}</span>' if usual and i == 2 else html.escape(line)
            for i, line in enumerate(lines)
            if line
        )
        st.html(
            f'<div class="yp-buy"><img alt="" src="{picture}" style="background:{yarn.srgb}">'
            f"<p>{chip_html(item.letter, yarn.srgb)} "
            f"<b>{html.escape(need.name)}</b><br><small>{about}</small></p>"
            f'<span class="yp-price">{html.escape(item.price)}</span></div>'
        )
        _ladder(need, key, at)


def _label_of(yarn: Yarn, current: Blanket) -> dict[str, str]:
    show = Quantities(current.ways.units, lang())
    return {"mass": show.mass(float(yarn.label.mass_g)), "length": show.yarn(float(yarn.label.length_m))}


def _ladder(need: ColourNeed, key: str, at: int) -> None:
    """Draw the numbers of skeins beside the one that is chosen, each with its chance in words."""
    chances = dict(need.chances)
    numbers = sorted(chances)
    if need.buy_skeins is None or need.buy_skeins not in chances:
        return
    here = numbers.index(need.buy_skeins)
    low = max(0, min(here - 1, len(numbers) - LADDER))
    shown = {n: f"**{n}** {enough_words(chances[n], lang())}" for n in numbers[low : low + LADDER]}
    if need.rest is not None:
        # What is weighed says how many; a number chosen for the whole blanket would be of no use now.
        st.caption("; ".join(shown.values()))
        return
    widget = f"ladder-{at}"
    fill(widget, need.buy_skeins)
    st.segmented_control(
        say("Skeins of {name} to buy", name=inert(need.name)),
        list(shown),
        format_func=lambda n: shown.get(n, str(n)),
        key=widget,
        required=True,
        on_change=lambda: try_(
            widget, lambda: change(partial(choose_skeins, key=key, n=reach(lambda: st.session_state[widget])))
        ),
        label_visibility="collapsed",
    )
    refused(widget)


def choose_skeins(blanket: Blanket, key: str, n: int) -> Blanket:
    """Return the blanket with a number of skeins chosen; the advised number is held as no choice at all."""
    others = tuple((k, m) for k, m in blanket.design.skeins if k != key)
    advised = change_design(blanket, skeins=others)
    if plan_of(advised).yardage.colour(blanket.names[key]).buy_skeins == n:
        return advised
    return change_design(blanket, skeins=(*others, (key, n)))


# ---- what would save a skein


_savings_of = lru_cache(maxsize=16)(savings)

DO = {
    "rows": "Shorten these stripes",
    "repeat": "Make it narrower",
    "colour": "Use that yarn there",
    "join": "Join within rows",
}


def _savings(current: Blanket) -> None:
    found = _savings_of(current)
    if not found:
        return
    st.html(line_html("h3", say("What would save a skein")))
    for saving in found:
        with st.container(key=f"saving-{saving.kind}", horizontal=True, vertical_alignment="center", gap="small"):
            st.html(line_html("p", _saving_words(saving, current)))
            if saving.kind in DO:
                press(
                    say(DO[saving.kind]),
                    f"save-{saving.kind}",
                    partial(change, partial(replace, design=saving.design)),
                    told="saving",
                )
        if saving.kind in DO and st.toggle(say("Show its picture"), key=f"look-saving-{saving.kind}"):
            _shown(replace(current, design=saving.design), saving.say(*spoken()))
    refused("saving")


def _shown(trial: Blanket, what: str) -> None:
    st.html(figure_html(trial, say("The blanket then: {what}", what=what)))


def _saving_words(saving: Saving, current: Blanket) -> str:
    text = saving.say(*spoken())
    if not saving.price:
        return text
    price = Quantities(lang=lang()).money(saving.price, current.ways.currency)
    return say("{change}, saves {price}", change=text, price=price)


# ---- the list for the shop


def _shop_list(made: Plan, now: Yardage, items: Sequence[ShoppingWords]) -> None:
    """Draw the list: a box to tick, fabric, name, number and lot; what is ticked can be written down as bought."""
    st.html(line_html("h2", say("List for the shop")) + line_html("p", buy_words(made)))
    ticked, bag = [], _bag()
    with st.container(key="shop-rows"):
        for at, item in enumerate(items):
            need, yarn = now.colour(item.name), made.yarn(item.name)
            if not need.buy_skeins:
                continue
            with st.container(key=f"shop-{at}"):
                picture = pair_address((yarn.lab,), (1.0,), 0.0, "small")
                second = "".join(f"<br><small>{html.escape(line)}</small>" for line in (item.ask, *item.second) if line)
                st.html(
                    f'<div class="yp-buy"><img alt="" src="{picture}" style="background:{yarn.srgb}">'
                    f"<p>{chip_html(item.letter, yarn.srgb)} "
                    f"<b>{html.escape(f'{item.name}: {item.buy}')}</b> <small>{html.escape(item.band)}</small>"
                    f"{second}</p></div>"
                )
                with st.container(horizontal=True, gap="small", vertical_alignment="center"):
                    key, box, lot = made.blanket.keys[item.name], f"bag-{at}", f"bag-lot-{at}"
                    pack = partial(_pack, key, need.buy_skeins, box, lot)
                    # What was ticked for another number of skeins is no longer all of it.
                    held = bag.get(key, [0, ""])
                    fill(box, held[0] == need.buy_skeins)
                    if st.checkbox(say("{name} is in the bag", name=inert(item.name)), key=box, on_change=pack):
                        ticked.append((need, lot))
                        fill(lot, held[1])
                        st.text_input(say("Dye lot on its label"), key=lot, on_change=pack)

    def take() -> None:
        def bought(b: Blanket) -> Blanket:
            for need, field in ticked:
                b = purchase(b, b.keys[need.name], need.buy_skeins or 0, str(typed(field, "")), _now())
            return b

        change(bought)
        session().kept.library.say(_bag_name(), "{}")
        session().open -= {"shop"}

    with st.container(key="shop-acts", horizontal=True, gap="small"):
        st.button(say("Back to buying"), key="shop-close", on_click=turn, args=("shop",))
        press(say("Write down as bought"), "shop-bought", take, told="shop", disabled=not ticked)
    refused("shop")


def _bag_name() -> str:
    return f"bag {session().kept.number}"


def _bag() -> dict[str, list[Any]]:
    """Return what is ticked on the list of this blanket, by key: how many skeins, and of which dye lot."""
    found: dict[str, list[Any]] = json.loads(session().kept.library.said(_bag_name()) or "{}")
    return found


def _pack(key: str, skeins: int, box: str, lot: str) -> None:
    """Remember a tick in the library, so that it is still there when the phone was locked on the way."""
    bag = _bag()
    if typed(box):
        bag[key] = [skeins, str(typed(lot, ""))]
    else:
        bag.pop(key, None)
    session().kept.library.say(_bag_name(), json.dumps(bag))


# ---- behind folds


def _folds(current: Blanket, made: Plan, items: Sequence[ShoppingWords]) -> None:
    """Draw what is needed now and then: prices, second choices, care, yarn on hand, bought and weighed, papers."""
    folded(say("Prices"), "prices-fold", _prices, current, made)
    second = [f"{item.name}: {line}" for item in items for line in item.second]
    if second:
        folded(say("If the shop does not have it"), "second-fold", lambda: st.html(bullet_list(second)))
    folded(say("How carefully to count"), "yardage-fold", _settings, current)
    folded(say("From the yarn on hand"), "stash-fold", _stash, current, made)
    folded(say("Bought and weighed"), "left-fold", _left, made)
    folded(say("Papers to take along"), "papers-fold", _papers, made)
    said = dict.fromkeys(n.say(*spoken()) for n in made.yardage.notices)
    if said:
        st.html(bullet_list(capital(t) for t in said))


def _prices(current: Blanket, made: Plan) -> None:
    used = [current.called(need.name) for need in made.yardage.colours]
    prices = {yarn.price for yarn in used}

    def put_all(price: Fraction | None) -> None:
        def all_of(b: Blanket) -> Blanket:
            for yarn in used:
                b = change_yarn(b, yarn.key, price=price)
            return b

        change(all_of)

    number_field(say("One price for all"), "price-all", prices.pop() if len(prices) == 1 else None, put_all)
    for yarn in used:
        at = [y.key for y in current.yarns].index(yarn.key)
        field_of(
            say("Price of a skein of {name}", name=inert(yarn.name)), f"price-{at}", yarn, "price", put_yarn(yarn.key)
        )


def _settings(current: Blanket) -> None:
    design = current.design
    number_field(
        say("Accepted chance of running short (%)"),
        "chance",
        100 * design.chance_short,
        lambda v: put_design(chance_short=float(v or 0) / 100),
        optional=False,
    )
    number_field(
        say("Or extra by hand (%), empty for none"),
        "margin",
        None if design.margin is None else 100 * design.margin,
        lambda v: put_design(margin=None if v is None else v / 100),
    )
    field_of(say("Length of a tail"), "tail", design, "tail_cm", put_design)
    spare = say("One skein more of every colour, in case its dye lot is gone later")
    field_of(spare, "spare-skein", design, "spare_skein", put_design)
    _weighed_rows(current)


def _weighed_rows(current: Blanket) -> None:
    """Draw the fields for weighed rows, and what has been weighed so far."""
    st.html(line_html("h3", say("Weighed rows")))
    st.caption(say("Weigh the work, crochet some rows, weigh again: the difference is the truest measure there is."))
    names = current.names
    with st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
        st.text_input(say("Grams of these rows"), key="weighed-grams")
        st.text_input(say("Number of rows"), key="weighed-rows")
        for key, label in (("weighed-one", say("One strand")), ("weighed-two", say("The other strand"))):
            st.selectbox(label, list(names), key=key, format_func=lambda k: names[k])

    def put(measured: tuple[object, ...]) -> None:
        change(lambda b: change_materials(b, measured=measured))

    def take() -> None:
        row = WeighedRow(
            grams=float(exact(typed("weighed-grams"), say("Grams of these rows"))),
            rows=whole(typed("weighed-rows"), say("Number of rows"), 1, MAX_ROWS),
            strands=(typed("weighed-one"), typed("weighed-two")),
            scale_g=current.materials.scale_g,
        )
        put((*current.materials.measured, row))

    press(say("Use these rows"), "weighed-take", take, told="weighed")
    refused("weighed")
    for i, one in enumerate(current.materials.measured):
        left = tuple(m for k, m in enumerate(current.materials.measured) if k != i)
        told = type(one).__name__
        if isinstance(one, WeighedRow):
            told = say("{rows} rows, {mass}", rows=one.rows, mass=Amount(one.grams, "g", 2))
        with st.container(horizontal=True, vertical_alignment="center"):
            st.text(told)
            press(say("Forget measure {n}", n=i + 1), f"weighed-{i}-drop", partial(put, left), told="weighed")


# ---- from the yarn on hand


def _done(edit: Callable[[Blanket], Blanket], notices: Sequence[Notice]) -> None:
    change(edit)
    for notice in notices:
        tell(notice)


def _act(label: str, key: str, act: Callable[[], None]) -> None:
    press(label, f"stash-{key}", act)
    refused(f"stash-{key}")


def _stash(current: Blanket, made: Plan) -> None:
    """Draw how far the yarn on hand goes, and offer changes that fit it."""
    stripes: list[Stripe] = [s.stripe for s in made.stripes]
    reach = rows_possible(stripes, made.yardage, made.yarns, made.settings)
    if reach.sure >= reach.planned:
        st.html(told_html(say("The yarn on hand makes all {n} rows.", n=reach.planned)))
    for notice in reach.notices:
        st.html(told_html(notice.say(*spoken())))

    def longest() -> None:
        fit = longest_stripes(stripes, made.yardage, made.yarns, made.settings)
        _done(lambda b: with_stripes(b, fit.stripes), fit.notices)

    def largest() -> None:
        fit = largest_blanket(stripes, made.yardage, made.yarns, size_options(made), made.settings)
        _done(lambda b: change_design(with_stripes(b, fit.stripes), repeats=fit.size.repeats), fit.notices)

    def spare() -> None:
        fit = spare_scarce(stripes, made.yardage, typed("scarce-name"), made.yarns, made.settings)
        _done(lambda b: with_stripes(b, fit.stripes), fit.notices)

    def share() -> None:
        count = whole(typed("scrap-stripes", 20), say("Number of stripes"), 1, 200)
        rows = whole(typed("scrap-rows", 2), say("Rows of each"), 1, 100)
        shared = share_scraps(made.yarns, [rows] * count, max(made.yardage.rows_m), tail_cm=made.settings.tail_cm)
        _done(lambda b: with_stripes(b, shared.stripes), shared.notices)

    _act(say("Make the stripes as long as the yarn on hand allows"), "take", longest)
    _act(say("Make the largest blanket of the yarn on hand"), "largest", largest)
    st.selectbox(say("A colour that is scarce"), [c.name for c in made.yardage.colours], key="scarce-name")
    _act(say("Use it as little as the stripes allow"), "scarce", spare)
    with st.container(horizontal=True, gap="small"):
        st.text_input(say("Number of stripes"), key="scrap-stripes", placeholder="20")
        st.text_input(say("Rows of each"), key="scrap-rows", placeholder="2")
    _act(say("Share the weighed scraps over these stripes"), "scraps", share)


# ---- bought and weighed


def _now() -> str:
    return datetime.datetime.now().isoformat(" ", "seconds")


def _left(made: Plan) -> None:
    """Draw what was bought, the fields to weigh, the doubt that stands first, and the accounts."""
    ledger = ledger_of(made)
    _bought(made, ledger)
    _weighing(made, ledger)
    question(ledger)
    show = Quantities(made.blanket.ways.units, lang())
    cards = "".join(_account(made, account, show, ledger.rows_done) for account in ledger.colours)
    st.html(f'<div class="yp-accounts">{cards}</div>')
    for notice in ledger.notices:
        st.html(told_html(notice.say(*spoken()), "!" if notice.level == "warning" else "i"))
    for way in ways_out(made, ledger):
        _way(made, way)


def _bought(made: Plan, ledger: Ledger) -> None:
    if any(account.assumed_skeins for account in ledger.colours):
        press(
            say("Bought as planned"),
            "bought-planned",
            lambda: change(lambda b: bought_as_planned(b, account_skeins(made))),
        )
    names = [account.name for account in ledger.colours]
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
        name = st.selectbox(say("Yarn bought or opened"), names, key="bought-yarn")
        skeins = st.number_input(say("Skeins"), min_value=1, max_value=1000, step=1, key="bought-skeins")
        key = made.blanket.keys[str(name)]
        press(say("Bought"), "bought", lambda: change(lambda b: purchase(b, key, int(skeins), date=_now())))
        press(say("Opened"), "opened", lambda: change(lambda b: open_skeins(b, key, int(skeins), _now())))
    refused("opened")
    refused("bought")
    st.caption(inert(counted_as_bought(made, str(name)).say(*spoken())))


def _weighing(made: Plan, ledger: Ledger) -> None:
    done = ledger.rows_done
    st.caption(
        say("After {done} rows: weigh what is left of each colour, not counting what is in the blanket.", done=done)
    )
    if not done:
        st.caption(say("Tick off the rows you have worked first: the forecast begins there."))

    def weigher(key: str, unopened: int | None) -> Callable[[Fraction | None], None]:
        return lambda grams: change(lambda b: weigh(b, key, grams, unopened, _now()))

    def counter(key: str, grams: Fraction) -> Callable[[int], None]:
        return lambda unopened: change(lambda b: weigh(b, key, grams, unopened, _now()))

    for i, account in enumerate(ledger.colours):
        key = made.blanket.keys[account.name]
        told = weighed_now(made.blanket, key)
        grams, unopened = (told.grams, told.unopened) if told is not None else (None, None)
        with st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
            label = say("{name}: balls in work", name=inert(account.name))
            number_field(label, f"left-{i}", grams, weigher(key, unopened), kind="g")
            if grams is not None:
                label = say("{name}: unopened skeins", name=inert(account.name))
                counted = unopened_now(made, account.name) if unopened is None else unopened
                whole_field(label, f"unopened-{i}", counted or 0, (0, 1000), counter(key, grams))


def _answer(doubt: Doubt, said: Literal["mended", "kept", "back"]) -> None:
    change(lambda b: answer(b, doubt, said))


def question(ledger: Ledger) -> None:
    """Draw the question that stands first, and its answers; nothing where none is open."""
    if not ledger.doubts:
        return
    doubt = ledger.doubts[0]
    st.html(told_html(doubt.question.say(*spoken()), "?"))
    answers: list[tuple[Literal["mended", "kept", "back"], str]] = []
    if doubt.left or doubt.bought:
        answers.append(("mended", say("Yes, mend it")))
    answers += [("kept", say("No, keep it as weighed")), ("back", say("Take the weighing back"))]
    with st.container(horizontal=True, gap="small"):
        for said, label in answers:
            press(label, f"doubt-{said}", partial(_answer, doubt, said), told="doubt")
    refused("doubt")


def _account(made: Plan, account: Account, show: Quantities, done: int) -> str:
    """Return the account of one colour as a card."""
    at = account.weighed_at
    known = say("a guess") if at is None else say("now") if at >= done else say("after row {row}", row=int(at))
    facts = [(say("Used"), show.mass(account.used_g)), (say("Left"), show.mass(account.left_g))]
    if account.finished:
        facts.append((say("Still needs"), say("finished")))
    else:
        facts += [
            (say("Still needs"), show.mass(account.need_g)),
            (say("Likely range"), f"{show.mass(account.low_g)} – {show.mass(account.high_g)}"),
            (say("That is"), enough_words(account.chance_short, lang())),
        ]
    facts.append((say("Weighed"), known))
    return f"<section>{line_html('h4', account.name)}{facts_html(facts)}</section>"


def _way(made: Plan, way: WayOut) -> None:
    """Draw a way out: what it says, the skeins still lacking, and the picture of the design it would be."""
    for notice in way.said:
        st.html(told_html(notice.say(*spoken())))
    if way.kind == "buy":
        return
    if way.buy:
        lacking = ", ".join(f"{name} {n}" for name, n in way.buy)
        st.html(told_html(say("Skeins still lacking then: {names}.", names=lacking)))
    if st.toggle(say("Show its picture"), key=f"way-look-{way.kind}"):
        _shown(way.plan(made.blanket).blanket, way.said[0].say(*spoken()))
    press(
        say("Change the rows not yet worked so") if way.kind == "rows" else say("Change it so"),
        f"way-{way.kind}",
        lambda: change(lambda b: take_way(b, way, account_skeins(made, begun=True))),
    )
    refused(f"way-{way.kind}")


# ---- papers to take along


KINDS: tuple[tuple[str, str], ...] = (
    ("plan.pdf", "PDF to pin up"),
    ("picture.png", "Picture (PNG)"),
    ("sheet.html", "Sheet to send (HTML)"),
    ("rows.txt", "Rows (text)"),
    ("shopping.csv", "Shopping list (CSV)"),
    ("stripes.csv", "Stripes (CSV)"),
)


def _papers(made: Plan) -> None:
    """Draw the pattern on paper and in files, and a sheet for each student of a class."""
    with st.container(horizontal=True, gap="small", vertical_alignment="bottom"):
        choice_field(
            say("Paper size"),
            "paper",
            made.blanket.ways.paper,
            {"A4": "A4", "Letter": "Letter"},
            lambda size: change(partial(change_ways, paper=size)),
            buttons=True,
        )
        dialect = st.selectbox(
            say("Spreadsheet"),
            ["comma", "semicolon"],
            format_func=lambda d: say("comma, decimal point") if d == "comma" else say("semicolon, decimal comma"),
            key="dialect",
        )
    title, language, the_blanket = made.blanket.title, lang(), made.blanket
    with st.container(horizontal=True, gap="small", key="downloads"):
        for name, label in KINDS:
            stem, ending = name.split(".")
            extra = {"shopping": say("shopping"), "stripes": say("stripes")}.get(stem, "")
            make = partial(paper_bytes, the_blanket, name, language, str(dialect))
            save_button(say(label), f"get-{stem}", f"{title} {extra}".strip(), ending, make)
    _students(the_blanket)


def _students(the_blanket: Blanket) -> None:
    got = st.file_uploader(
        say("A sheet for each student: class list (CSV with name, and yarns, terms, units if you like)"),
        type=["csv"],
        key="students",
        max_upload_size=1,
    )
    session().bad.pop("students", None)
    if got is not None:
        try_("students", lambda: _sheets(the_blanket, got.getvalue(), str(got.name)))
    refused("students")


def _sheets(the_blanket: Blanket, data: bytes, name: str) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for sheet, content in class_sheets(the_blanket, read_students(data, name), lang=lang()):
            packed.writestr(zipfile.ZipInfo(sheet), content)
    title = f"{the_blanket.title} {say('class')}"
    save_button(say("Save the sheets of the class"), "get-students", title, "zip", out.getvalue())


@lru_cache(maxsize=12)
def paper_bytes(blanket: Blanket, name: str, lang: str, dialect: str) -> bytes:
    """Return one of the files that the page offers, made when it is asked for."""
    return OUTPUTS[name](plan_of(blanket), How(lang=lang, semicolon=dialect == "semicolon"))

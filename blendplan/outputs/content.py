"""What paper, sheet and files say of yarns, stripes and shopping, as words: one reading of a plan.

Signs that need no colour: a letter for every yarn, a hatching, and a word for how light it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from blendplan.blanket import Blanket
from blendplan.blend.strands import READINGS, READS
from blendplan.outputs.changes import change_words, listed
from blendplan.plan import Plan, PlannedStripe, to_buy
from blendplan.quantities import Quantities, skeins_note
from blendplan.wording import Notice, capital, note, tr
from blendplan.yardage.length import Yardage
from blendplan.yardage.lots import LotUse, SecondChoice, lot_uses, second_choices
from blendplan.yardage.need import ColourNeed
from blendplan.yarn import WEIGHT_CLASSES, Yarn

Hatching = Literal["plain", "rows", "columns", "rising", "falling", "grid", "lattice", "dots"]
HATCHINGS: tuple[Hatching, ...] = ("plain", "rows", "columns", "rising", "falling", "grid", "lattice", "dots")
# CIE L* below which each word holds; equal steps of L*, which are about equal steps to the eye.
LIGHTNESS = {20: "very dark", 40: "dark", 60: "middle", 80: "pale", 101: "very pale"}
Stroke = tuple[float, float, float, float]


def letters(names: Iterable[str]) -> dict[str, str]:
    """Return a letter for each different name in the order met: A to Z, then A2 to Z2, ...

    Examples
    --------
    >>> letters(["Fern", "Fern", "Clay"])
    {'Fern': 'A', 'Clay': 'B'}
    """
    found: dict[str, str] = {}
    for name in names:
        if name not in found:
            turn, place = divmod(len(found), 26)
            found[name] = chr(ord("A") + place) + (str(turn + 1) if turn else "")
    return found


def dealt_letters(names: Iterable[str], dealt: Mapping[str, str]) -> dict[str, str]:
    """Return a letter for each name: the one that was dealt, else the next that nobody has.

    Examples
    --------
    >>> dealt_letters(["Fern", "Clay", "Milk"], {"Clay": "A", "Milk": "C"})
    {'Fern': 'B', 'Clay': 'A', 'Milk': 'C'}
    """
    wanted = list(dict.fromkeys(names))
    free = iter(x for x in letters(map(str, range(len(wanted) + len(dealt)))).values() if x not in dealt.values())
    return {name: dealt.get(name) or next(free) for name in wanted}


def lightness(lab: tuple[float, float, float]) -> int:
    """Return the key of `LIGHTNESS` that a colour falls under.

    Examples
    --------
    >>> LIGHTNESS[lightness((12.0, 0, 0))], LIGHTNESS[lightness((100.0, 0, 0))]
    ('very dark', 'very pale')
    """
    return next(top for top in LIGHTNESS if lab[0] < top or top == 101)


def on_colour(lab: tuple[float, float, float]) -> int:
    """Return 0 (black) or 255 (white), whichever stands out more on a colour.

    L* 49.4 is relative luminance 0.179, where both have the same contrast by WCAG 2.2
    ((Y + 0.05)^2 = 1.05 x 0.05).
    """
    return 255 if lab[0] < 49.4 else 0


def hatch(kind: Hatching, w: float, h: float, step: float) -> list[Stroke]:
    """Return the lines of a hatching, clipped to a box from (0, 0) to (w, h).

    A dot is a line of no length.

    Examples
    --------
    >>> hatch("rows", 4.0, 2.0, 1.0)
    [(0.0, 0.5, 4.0, 0.5), (0.0, 1.5, 4.0, 1.5)]
    """
    rows: list[Stroke] = [(0.0, y, w, y) for y in _steps(h, step)]
    columns: list[Stroke] = [(x, 0.0, x, h) for x in _steps(w, step)]
    # Slanted lines are a step apart square to themselves.
    rising: list[Stroke] = [
        (max(0.0, c - h), min(c, h), min(c, w), max(0.0, c - w)) for c in _steps(w + h, step * 2**0.5)
    ]
    falling: list[Stroke] = [(w - x0, y0, w - x1, y1) for x0, y0, x1, y1 in rising]
    kinds: dict[Hatching, list[Stroke]] = {
        "plain": [],
        "rows": rows,
        "columns": columns,
        "rising": rising,
        "falling": falling,
        "grid": rows + columns,
        "lattice": rising + falling,
        "dots": [(x, y, x, y) for y in _steps(h, step) for x in _steps(w, step)],
    }
    return kinds[kind]


def _steps(length: float, step: float) -> list[float]:
    return [step * (i + 0.5) for i in range(int(length / step + 0.5)) if step * (i + 0.5) < length]


Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Line:
    """One line: a small heading, something to know, or something to do and tick off."""

    kind: Literal["heading", "say", "do"]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class YarnWords:
    """One yarn of the materials."""

    letter: str
    name: str
    srgb: str
    lab: Lab
    light: str  # how light it is
    about: str  # weight class, fibre and put-up, as far as they are known
    skeins: str  # how many the blanket opens
    lots: tuple[str, ...]  # which skein numbers are of which lot; a lot not yet known is left open


@dataclass(frozen=True, slots=True, kw_only=True)
class StripeWords:
    """One stripe of the table."""

    number: int
    letters: str  # `A + B`
    strands: tuple[str, ...]  # names
    srgb: str  # of the blend
    light: str  # how light, and how the strands read
    reads: str
    rows: int
    span: str  # first to last row
    begin: str  # the change of strands that begins it
    high: str  # height of the work after it


@dataclass(frozen=True, slots=True, kw_only=True)
class ShoppingWords:
    """One yarn of the shopping list."""

    letter: str
    name: str
    need: str
    span: str
    now: str  # what is left and still to be worked, where something was weighed; the need is that of the whole blanket
    on_hand: str
    buy: str
    band: str
    price: str
    chance: str  # of running short with the number to buy
    chances: str  # the numbers of skeins that may do and how often each is enough
    lot: str  # the lots on hand
    ask: str  # which lot to ask for
    second: tuple[str, ...]  # what to do where the lot or the yarn is not to be had


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """All of it."""

    title: str
    yarns: tuple[YarnWords, ...]
    stripes: tuple[StripeWords, ...]
    shopping: tuple[ShoppingWords, ...]
    total: str  # price of all, with what it does not know; or empty
    advice: str  # what holds for all skeins that are bought; or empty
    # What may do harm; what to doubt, each with what to do; what was assumed or is good to know.
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]


def letters_of(plan: Plan) -> dict[str, str]:
    """Return the letter of each yarn by name, in the order of the stripes, a border's or fringe's own yarns last.

    Letters that were dealt stay; others go by the stripes.
    """
    striped = [name for stripe in plan.stripes for name in stripe.stripe.strands]
    names = dict.fromkeys([*striped, *(need.name for need in plan.yardage.colours)])
    called = plan.blanket.names
    return dealt_letters(names, {called[key]: letter for key, letter in plan.blanket.letters if key in called})


def enough_words(short: float, lang: str = "en") -> str:
    """Return how often a number of skeins is enough, on the one scale that page and paper use.

    Examples
    --------
    >>> [enough_words(p) for p in (0.6, 0.055, 0.006, 0.0001, 0.0, 0.999)]
    ['enough 4 in 10', 'enough 94 in 100', 'enough 99 in 100', 'enough over 99 in 100', 'always enough', 'too few']
    """
    enough = 1 - short
    if short == 0:
        return tr("always enough", lang)
    if enough < 0.05:
        return tr("too few", lang)
    if enough < 0.895:
        return tr("enough {n} in 10", lang, n=max(1, round(10 * enough)))
    if enough < 0.995:
        return tr("enough {n} in 100", lang, n=round(100 * enough))
    return tr("enough over 99 in 100", lang)


# From so small a chance of running short on, a further skein is not worth a word: 99 in 100, as it is said.
SURE_ENOUGH = 0.015


def chances_words(need: ColourNeed, lang: str = "en") -> str:
    """Return the numbers of skeins that may do, and how often each is enough; nothing where only one is worth a word.

    Left out are numbers that are too few, and those beyond one that is all but always enough.
    """
    worth = [
        (n, short)
        for i, (n, short) in enumerate(need.chances)
        if n == need.buy_skeins or (short <= 0.95 and (not i or need.chances[i - 1][1] >= SURE_ENOUGH))
    ]
    if len(worth) == 1 and worth[0][1] < SURE_ENOUGH:
        return ""
    return ", ".join(f"{n}: {enough_words(short, lang)}" for n, short in worth)


def _span(first: int, last: int) -> str:
    return str(first) if first == last else f"{first}\u2013{last}"


def _stripe(stripe: PlannedStripe, plan: Plan, letter: dict[str, str], show: Quantities) -> StripeWords:
    return StripeWords(
        number=stripe.number,
        letters=" + ".join(letter[name] for name in stripe.stripe.strands),
        strands=stripe.stripe.strands,
        srgb=stripe.blend.srgb,
        light=tr(LIGHTNESS[lightness(stripe.blend.lab)], show.lang),
        reads=tr(READINGS[stripe.blend.reads_as], show.lang),
        rows=stripe.stripe.rows,
        span=_span(stripe.first_row, stripe.last_row),
        begin=change_words(stripe.change, plan.strands, show),
        high=show.size(stripe.bottom_cm + stripe.height_cm),
    )


def _about(yarn: Yarn, show: Quantities) -> str:
    """Return weight class, fibre and put-up of a yarn, as far as they are known."""
    lang, parts = show.lang, []
    if yarn.weight_class is not None:
        parts.append(f"{tr(WEIGHT_CLASSES[yarn.weight_class], lang)} ({yarn.weight_class})")
    if yarn.fibre:
        parts.append(yarn.fibre)
    said = {"mass": show.mass(float(yarn.label.mass_g)), "length": show.yarn(float(yarn.label.length_m))}
    parts.append(
        tr("label not known, usual: {mass} = {length} a skein", lang, **said)
        if yarn.label_is_usual
        else tr("{mass} = {length} a skein", lang, **said)
    )
    return ", ".join(parts)


def _numbers(balls: Sequence[int]) -> str:
    """Return numbers as runs: `1-2`, `3`."""
    runs: list[list[int]] = []
    for n in balls:
        if runs and runs[-1][-1] == n - 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    return ", ".join(_span(run[0], run[-1]) for run in runs)


def _lot_line(use: LotUse, yarn: Yarn, stripes: int, show: Quantities) -> str:
    """Return skeins of one lot with the stripes that they go into."""
    lang, into = show.lang, [n for n in use.stripes if n <= stripes]
    where = [(note("stripe {n}", n=into[0]) if len(into) == 1 else note("stripes {n}", n=_numbers(into))).say(lang)]
    where = where * bool(into) + [tr("the finishing", lang)] * (len(into) < len(use.stripes))
    said = _lot_said(use, yarn, show)
    if not where:
        return tr("{skeins}, stays unopened", lang, skeins=said)
    return tr("{skeins}, for {where}", lang, skeins=said, where=listed(where, lang))


def _lot_said(use: LotUse, yarn: Yarn, show: Quantities) -> str:
    lang = show.lang
    numbers = _numbers(use.balls)
    said = note("ball {n}", n=numbers) if len(use.balls) == 1 else note("balls {n}", n=numbers)
    lot = use.lot or "________"
    if use.to_buy:
        return tr("{balls}: to buy, dye lot {lot}", lang, balls=said, lot="________")
    if use.opened_m and yarn.put_up is not None:
        grams = listed([show.mass(m / float(yarn.put_up.m_per_g)) for m in use.opened_m], lang)
        return tr("{balls}: on hand, opened, {mass}, dye lot {lot}", lang, balls=said, mass=grams, lot=lot)
    return tr("{balls}: on hand, dye lot {lot}", lang, balls=said, lot=lot)


def _yarn(
    yarn: Yarn, need: ColourNeed, lots: tuple[str, ...], show: Quantities, *, letter: str, about: str
) -> YarnWords:
    lang = show.lang
    opened = need.skeins_on_hand + (need.buy_skeins or 0)
    skeins = tr("skeins not known", lang) if need.buy_skeins is None else skeins_note(opened).say(lang)
    if need.parts_g:
        skeins = tr("{skeins} and {mass} opened", lang, skeins=skeins, mass=show.mass(sum(need.parts_g)))
    return YarnWords(
        letter=letter,
        name=yarn.name,
        srgb=yarn.srgb,
        lab=yarn.lab,
        light=tr(LIGHTNESS[lightness(yarn.lab)], lang),
        about=about,
        skeins=skeins,
        lots=lots,
    )


def _shopping(
    need: ColourNeed, blanket: Blanket, letter: str, second: Sequence[SecondChoice], show: Quantities
) -> ShoppingWords:
    lang = show.lang
    have = [skeins_note(need.skeins_on_hand).say(lang)] if need.skeins_on_hand else []
    if need.parts_g:
        have.append(show.mass(sum(need.parts_g)))
    buy, band = tr("not known", lang), ""
    if need.buy_skeins is not None:
        buy = skeins_note(need.buy_skeins).say(lang) if need.buy_skeins else tr("nothing", lang)
        if need.buy_skeins and need.skein_g is not None and need.skein_m is not None:
            put_up = {"mass": show.mass(need.skein_g), "length": show.yarn(need.skein_m)}
            band = (
                tr("of {mass} / {length}, as is usual: its label is not known", lang, **put_up)
                if blanket.called(need.name).label_is_usual
                else tr("of {mass} / {length}", lang, **put_up)
            )
    return ShoppingWords(
        letter=letter,
        name=need.name,
        need=show.yarn(need.need_m),
        span=show.yarn_range(need.low_m, need.high_m),
        now=_now(need, show),
        on_hand=", ".join(have) or tr("none", lang),
        buy=buy,
        band=band,
        price="" if not need.price else show.money(need.price, blanket.ways.currency),
        chance="" if need.chance_short is None else show.percent(need.chance_short),
        chances=chances_words(need, lang),
        lot=need.dye_lot,
        ask=_ask(need, lang),
        second=tuple(_second(choice, show) for choice in second),
    )


def _now(need: ColourNeed, show: Quantities) -> str:
    """Return what is left of a colour and what is still to be worked of it, where something was weighed."""
    rest, lang = need.rest, show.lang
    if rest is None or rest.after is None:
        return ""
    values = {"row": int(rest.after), "left": show.mass(rest.left_g), "need": show.mass(rest.need_g)}
    if not rest.need_g:
        return tr("after the weighing of row {row}: done with, {left} left", lang, **values)
    span = show.mass_range(rest.low_g, rest.high_g)
    return (
        tr("after the weighing of row {row}: {left} left, {need} still to work ({span})", lang, **values, span=span)
        if rest.weighed
        else tr(
            "after the weighing of row {row}, itself not weighed: about {left} left, {need} still to work ({span})",
            lang,
            **values,
            span=span,
        )
    )


def _second(choice: SecondChoice, show: Quantities) -> str:
    """Return a second choice in words."""
    lang, skeins = show.lang, skeins_note(choice.skeins).say(show.lang)
    if choice.kind == "lot":
        return tr("another dye lot: {skeins}, all of one lot", lang, skeins=skeins)
    if choice.put_up is not None:
        mass = show.mass(float(choice.put_up.mass_g))
        return tr("another size of ball: {skeins} of {mass}", lang, skeins=skeins, mass=mass)
    if not choice.skeins:
        return tr("your {yarn} instead, the nearest: nothing to buy", lang, yarn=choice.other)
    return tr("your {yarn} instead, the nearest: {skeins} of it", lang, yarn=choice.other, skeins=skeins)


def _ask(need: ColourNeed, lang: str) -> str:
    """Return which dye lot to ask for, where some of the yarn lies there."""
    if not need.buy_skeins:
        return ""
    if need.dye_lot:
        return tr("ask for dye lot {lot}, which you have", lang, lot=need.dye_lot)
    return tr("ask for the dye lot of those you have", lang) if need.on_hand_m else ""


def _advice(plan: Plan, lang: str) -> str:
    """Return what holds for all skeins that are bought, said once."""
    if not any((n or 0) > 1 for _, n in plan.shopping):
        return ""
    bands = note("ball bands") if plan.blanket.ways.terms == "UK" else note("labels")
    return tr(
        "Buy the skeins of a colour from one dye lot and keep the {bands}. Where the lot you have is not to be had, "
        "do as the list says, or buy as many of one other and use the balls by their numbers: the lots then meet only "
        "where stripes change.",
        lang,
        bands=bands,
    )


def _said(notices: Sequence[Notice], show: Quantities) -> tuple[str, ...]:
    """Return each sentence once, with a capital."""
    texts = [notice.say(show.lang, show.units).strip() for notice in notices]
    return tuple(dict.fromkeys(capital(text) for text in texts if text))


def _warnings(plan: Plan, show: Quantities) -> tuple[str, ...]:
    out = [" ".join(_said((warning.problem, *warning.suggestions), show)) for warning in plan.warnings]
    return tuple(dict.fromkeys(out))


def _reads(plan: Plan, lang: str) -> tuple[str, ...]:
    """Return what the words mean by which the blends of the table are told."""
    used = dict.fromkeys(stripe.blend.reads_as for stripe in plan.stripes if not stripe.stripe.solid)
    return tuple(capital(f"{tr(READINGS[code], lang)}: {tr(READS[code], lang)}.") for code in used)


def _total(plan: Plan, buying: Yardage, show: Quantities) -> str:
    """Return the price of all skeins to buy, with the yarns whose price is not known."""
    price = buying.total_price
    if price is None or not any(c.buy_skeins for c in buying.colours):
        return ""
    paid = show.money(price, plan.blanket.ways.currency)
    unknown = [c.name for c in buying.colours if c.price is None and c.buy_skeins != 0]
    if not unknown:
        return tr("Price of all: {total}", show.lang, total=paid)
    if len(unknown) == 1:
        return tr(
            "Price of the others: {total}, without {name}, whose price is not known",
            show.lang,
            total=paid,
            name=unknown[0],
        )
    names = listed(unknown, show.lang)
    return tr(
        "Price of the others: {total}, without {names}, whose prices are not known", show.lang, total=paid, names=names
    )


def read_plan(plan: Plan, lang: str = "en") -> Words:
    """Return what is to be said of a plan in a language."""
    ways = plan.blanket.ways
    show, letter = Quantities(ways.units, lang), letters_of(plan)
    needs = {need.name: need for need in plan.yardage.colours}
    buying = to_buy(plan)
    uses = lot_uses(plan.strands)
    second = second_choices(buying, plan.strands, plan.blanket.yarns, plan.settings)
    told = [n for n in plan.notices if n.level != "note" or n not in plan.worked.notices]
    every = (*plan.cautions, *plan.yardage.notices, *plan.strands.notices, *plan.lots, *told)
    return Words(
        title=plan.blanket.title,
        yarns=tuple(
            _yarn(
                plan.yarn(name),
                needs[name],
                tuple(_lot_line(u, plan.yarn(name), len(plan.stripes), show) for u in uses if u.name == name),
                show,
                letter=sign,
                about=_about(plan.blanket.called(name), show),
            )
            for name, sign in letter.items()
        ),
        stripes=tuple(_stripe(stripe, plan, letter, show) for stripe in plan.stripes),
        shopping=tuple(
            _shopping(buying.colour(name), plan.blanket, sign, [c for c in second if c.name == name], show)
            for name, sign in letter.items()
        ),
        total=_total(plan, buying, show),
        advice=_advice(plan, lang),
        cautions=_said([n for n in every if n.level == "caution"], show),
        warnings=(*_warnings(plan, show), *_said([n for n in every if n.level == "warning"], show)),
        notes=(*_reads(plan, lang), *_said([n for n in every if n.level in ("assumed", "note")], show)),
    )

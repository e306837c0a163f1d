"""What the paper and the sheet say, as words: one reading of a plan, laid out by several writers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from blendplan.blend.reading import READINGS
from blendplan.outputs.look import LIGHTNESS, letters, lightness
from blendplan.outputs.show import Show
from blendplan.plan import Plan, PlannedStripe
from blendplan.wording import Notice, capital, tr
from blendplan.yardage.need import ColourNeed

__all__ = ["READINGS", "ShoppingWords", "StripeWords", "Words", "YarnWords", "begin_words", "change_words", "read_plan"]

Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class YarnWords:
    """One yarn of the legend: its letter, name, colour, and how light it is in words."""

    letter: str
    name: str
    srgb: str
    lab: Lab
    light: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StripeWords:
    """One stripe of the table.

    Attributes
    ----------
    number : int
    letters : str
        `A + B`.
    strands : tuple of str
        Names.
    srgb : str
        Of the blend.
    light, reads : str
        How light, and how the strands read.
    rows : int
    span : str
        First to last row.
    begin : str
        What is cut, joined and kept to begin it.
    """

    number: int
    letters: str
    strands: tuple[str, ...]
    srgb: str
    light: str
    reads: str
    rows: int
    span: str
    begin: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShoppingWords:
    """One yarn of the shopping list."""

    letter: str
    name: str
    need: str
    span: str
    on_hand: str
    buy: str
    band: str
    chance: str
    lot: str
    price: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """All of it.

    Attributes
    ----------
    title : str
    facts : tuple of (str, str)
        What and how much: size, rows, stitches, chain.
    yarns : tuple of YarnWords
    stripes : tuple of StripeWords
    shopping : tuple of ShoppingWords
    total : str
        Price of all, or empty.
    cautions, warnings, notes : tuple of str
        What may do harm; what to doubt, each with what to do; what was assumed or is good to know.
    """

    title: str
    facts: tuple[tuple[str, str], ...]
    yarns: tuple[YarnWords, ...]
    stripes: tuple[StripeWords, ...]
    shopping: tuple[ShoppingWords, ...]
    total: str
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]

    def colours(self) -> dict[str, YarnWords]:
        """Return the yarns by name."""
        return {yarn.name: yarn for yarn in self.yarns}


def _ends(names: Sequence[str], letter: dict[str, str], lang: str) -> str:
    """Return 'both ends of A Fern', 'B Clay and C Milk'."""
    parts = []
    for name, count in Counter(names).items():
        called = f"{letter[name]} {name}"
        if count == 1:
            parts.append(called)
        elif count == 2:
            parts.append(tr("two ends of {yarn}", lang, yarn=called))
        else:
            parts.append(tr("{count} ends of {yarn}", lang, count=count, yarn=called))
    if len(parts) < 2:
        return "".join(parts)
    return tr("{some} and {last}", lang, some=", ".join(parts[:-1]), last=parts[-1])


def begin_words(stripe: PlannedStripe, letter: dict[str, str], lang: str = "en") -> str:
    """Return what is cut, joined and kept to begin a stripe."""
    change = stripe.change
    if change is None:
        return tr("Begin with {strands}.", lang, strands=_ends(stripe.stripe.strands, letter, lang))
    if not change.cut and not change.join:
        return tr("No change of yarn.", lang)
    said = []
    if change.cut:
        said.append(tr("Cut {strands}.", lang, strands=_ends(change.cut, letter, lang)))
    if change.join:
        said.append(tr("Join {strands}.", lang, strands=_ends(change.join, letter, lang)))
    if change.kept:
        said.append(tr("Keep {strands}.", lang, strands=_ends(change.kept, letter, lang)))
    return " ".join(said)


def change_words(lang: str = "en") -> str:
    """Return how strands are changed."""
    return tr(
        "Change strands in the last stitch of the row before: work it up to its last pull through, let go of the "
        "strand that is cut, and pull the new one through.",
        lang,
    )


def _span(first: int, last: int) -> str:
    return str(first) if first == last else f"{first}\u2013{last}"


def _stripe(stripe: PlannedStripe, letter: dict[str, str], lang: str) -> StripeWords:
    return StripeWords(
        number=stripe.number,
        letters=" + ".join(letter[name] for name in stripe.stripe.strands),
        strands=stripe.stripe.strands,
        srgb=stripe.blend.srgb,
        light=tr(LIGHTNESS[lightness(stripe.blend.lab)], lang),
        reads=tr(READINGS[stripe.blend.reads_as], lang),
        rows=stripe.stripe.rows,
        span=_span(stripe.first_row, stripe.last_row),
        begin=begin_words(stripe, letter, lang),
    )


def _skeins(count: int, lang: str) -> str:
    return tr("1 skein", lang) if count == 1 else tr("{n} skeins", lang, n=count)


def _shopping(need: ColourNeed, letter: dict[str, str], show: Show, currency: str) -> ShoppingWords:
    lang = show.lang
    have = [_skeins(need.skeins_on_hand, lang)] if need.skeins_on_hand else []
    if need.parts_g:
        have.append(show.mass(sum(need.parts_g)))
    buy, band = tr("not known: no band", lang), ""
    if need.buy_skeins is not None:
        buy = _skeins(need.buy_skeins, lang) if need.buy_skeins else tr("nothing", lang)
        if need.buy_skeins and need.skein_g is not None and need.skein_m is not None:
            band = tr("of {mass} / {length}", lang, mass=show.mass(need.skein_g), length=show.yarn(need.skein_m))
    return ShoppingWords(
        letter=letter.get(need.name, ""),
        name=need.name,
        need=show.yarn(need.need_m),
        span=show.yarn_range(need.low_m, need.high_m),
        on_hand=", ".join(have) or tr("none", lang),
        buy=buy,
        band=band,
        chance="" if need.chance_short is None else show.percent(need.chance_short),
        lot=need.dye_lot,
        price="" if not need.price else show.money(need.price, currency),
    )


def _said(notices: Sequence[Notice], lang: str) -> tuple[str, ...]:
    """Return each sentence once, with a capital."""
    texts = [notice.say(lang).strip() for notice in notices]
    return tuple(dict.fromkeys(capital(text) for text in texts if text))


def _warnings(plan: Plan, lang: str) -> tuple[str, ...]:
    out = []
    for warning in plan.warnings:
        out.append(" ".join(_said((warning.problem, *warning.suggestions), lang)))
    return tuple(dict.fromkeys(out))


def read_plan(plan: Plan, lang: str = "en") -> Words:
    """Return what is to be said of a plan in a language."""
    brief = plan.brief
    show = Show(brief.units, lang)
    letter = letters(name for stripe in plan.stripes for name in stripe.stripe.strands)
    for need in plan.yardage.colours:
        # A border or fringe may bring in a yarn that no stripe uses.
        letter = letters([*letter, need.name])
    every = (*plan.cautions, *plan.yardage.notices, *plan.notices)
    price = plan.yardage.total_price
    return Words(
        title=brief.title,
        facts=_facts(plan, show),
        yarns=tuple(
            YarnWords(
                letter=sign,
                name=name,
                srgb=brief.yarn(name).srgb,
                lab=brief.yarn(name).lab,
                light=tr(LIGHTNESS[lightness(brief.yarn(name).lab)], lang),
            )
            for name, sign in letter.items()
        ),
        stripes=tuple(_stripe(stripe, letter, lang) for stripe in plan.stripes),
        shopping=tuple(
            _shopping(need, letter, show, brief.currency)
            for need in sorted(plan.yardage.colours, key=lambda need: list(letter).index(need.name))
        ),
        total="" if price is None else show.money(price, brief.currency),
        cautions=_said([n for n in every if n.level == "caution"], lang),
        warnings=(*_warnings(plan, lang), *_said([n for n in every if n.level == "warning"], lang)),
        notes=_said([n for n in every if n.level in ("assumed", "note")], lang),
    )


def _facts(plan: Plan, show: Show) -> tuple[tuple[str, str], ...]:
    lang = show.lang
    worked, size = plan.worked, plan.size
    return (
        (tr("Finished size", lang), show.both_sizes(size.width_cm, size.height_cm)),
        (tr("Foundation chain", lang), str(worked.chain)),
        (tr("Stitches in every row", lang), str(worked.row_stitches)),
        (tr("Repeats across", lang), str(worked.ripple.repeats)),
        (tr("Rows", lang), str(plan.rows)),
    )

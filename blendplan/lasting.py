"""While working: the ledger of a plan and what is entered in it, ways out where yarn will not last, widths to try."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Literal

from blendplan.blanket import Blanket, Design
from blendplan.colour import delta_e_2000
from blendplan.errors import BlendplanError, YarnError
from blendplan.fabric.ripple import work
from blendplan.fabric.size import measure
from blendplan.plan import Plan, ledger_of, make_plan, making_of, stripes_of
from blendplan.quantities import skeins_note
from blendplan.reckon import reckon
from blendplan.stripes.model import Stripe, total_rows
from blendplan.units import Amount
from blendplan.wording import Notice, note
from blendplan.yardage.doubt import Doubt
from blendplan.yardage.ledger import Account, Ledger, Stock, bands_of, keep_ledger, planned_use, stock_of
from blendplan.yardage.length import row_lengths_m
from blendplan.yardage.making import Moment, Opened, Purchase, Weighed, Weighing
from blendplan.yardage.measured import stitch_cm
from blendplan.yardage.need import NORMAL
from blendplan.yardage.rowfit import RowProblem, fit_rows
from blendplan.yardage.stash import SizeOption
from blendplan.yarn import Yarn

# Other colours that are tried where one will not last, the nearest shades first (chosen: each try is an estimate).
MOST_OTHERS = 4
# Widths that are tried for the largest blanket (chosen).
MOST_OPTIONS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class WayOut:
    """Something to do where the yarn will not last."""

    kind: Literal["rows", "colour", "border", "buy"]
    design: Design  # the whole design with the change; for `buy` the one in hand
    said: tuple[Notice, ...]  # what changes; for `buy` also where another dye lot may begin
    buy: tuple[tuple[str, int], ...]  # skeins that are lacking all the same, of each yarn by name

    def plan(self, blanket: Blanket) -> Plan:
        """Return the plan, and with it the picture, of the blanket with the change."""
        return make_plan(replace(blanket, design=self.design))


def _stocks(plan: Plan) -> dict[str, Stock]:
    bands = bands_of(plan.yardage, plan.yarns)
    uses = planned_use(stripes_of(plan), plan.yardage, bands, plan.settings)
    return stock_of(plan.yardage, bands, uses, making_of(plan, plan.blanket.making))


def account_skeins(plan: Plan, *, begun: bool = False) -> tuple[Purchase, ...]:
    """Return the skeins that the plan buys of what nobody said was bought, as purchases before row 1, yarns by key.

    Those of colours begun are written down with the first change that rests on them, since another design would buy
    others.
    """
    keys, ledger = plan.blanket.keys, ledger_of(plan)
    return tuple(
        Purchase(yarn=keys[name], skeins=s.assumed)
        for name, s in _stocks(plan).items()
        if s.assumed and (not begun or ledger.colour(name).assumed_skeins)
    )


def counted_as_bought(plan: Plan, name: str) -> Notice:
    """Return what counts as bought of a colour, and what a purchase written down now does."""
    stock, account = _stocks(plan)[name], ledger_of(plan).colour(name)
    said, planned = sum(n for _, n in stock.bought), stock.planned
    if stock.assumed and not account.coming_skeins:
        return note(
            "{name}: begun without a word of what was bought, so the {skeins} of the plan count as bought; what is "
            "written down now adds to them.",
            name=name,
            skeins=skeins_note(planned),
        )
    if account.coming_skeins:
        return note(
            "{name}: {said} of the {planned} of the plan bought, {rest} to go; what is bought beyond the plan adds.",
            name=name,
            said=said,
            planned=skeins_note(planned),
            rest=max(0, planned - said),
        )
    return note(
        "{name}: {said} bought, {planned} in the plan; what is bought now adds.",
        name=name,
        said=skeins_note(said),
        planned=planned,
    )


def ways_out(plan: Plan, ledger: Ledger, *, seconds: float = 3.0) -> tuple[WayOut, ...]:
    """Return what may be done for the colours that will not last; nothing where all do or a question comes first.

    Rows done stay. With the rows of stripes to come: as many rows in all as planned where the yarn allows, else as
    many as it allows; among these the rows that differ least; stripes not begun keep at least one row, a locked one
    its own. With another colour: the nearest shade that lasts, in as few of the last stripes as will do. With a
    narrower border, or none. Or skeins are bought, of whatever lot there is.
    """
    if not ledger.short or ledger.asks_first:
        return ()
    found = [*_rows(plan, ledger, seconds), *_other_colour(plan, ledger), *_border(plan, ledger)]
    buy = _lacking(ledger)
    said = tuple(notice for name, n in buy for notice in _buying(plan, ledger, name, n))
    if not any(way.kind == "rows" for way in found):
        none = note("No change of rows makes the yarn reach; buy what is lacking, or use another colour.", "warning")
        said = (none, *said)
    return (*found, WayOut(kind="buy", design=plan.blanket.design, said=said, buy=buy))


@lru_cache(maxsize=4)
def verdict(plan: Plan) -> Notice | None:
    """Return in one line whether the yarn will last, with the first way out where it will not.

    None where nothing weighed counts yet.
    """
    ledger = ledger_of(plan)
    if ledger.asks_first:
        names = ", ".join(dict.fromkeys(doubt.name for doubt in ledger.doubts))
        return note("Whether the yarn will last is told once the question about {names} is answered.", names=names)
    if ledger.after is None:
        return None
    row = int(ledger.after)
    if not ledger.short:
        buys = tuple(note("{name} {n}", name=c.name, n=c.buy_skeins) for c in ledger.colours if c.buy_skeins)
        return (
            note(
                "By the weighing of row {row} the yarn will last, with what is still to buy: {skeins}.",
                row=row,
                skeins=buys,
            )
            if buys
            else note("By the weighing of row {row} the yarn will last.", row=row)
        )
    account = ledger.colour(ledger.short[0])
    own = {s.number: s.stripe.rows for s in plan.stripes if account.name in s.stripe.strands}
    # Of several stripes that change the one told is of the colour that is told, and takes less of it.
    said = sorted(ways_out(plan, ledger)[0].said, key=lambda one: not _takes_less(dict(one.values), own))
    way = said[0] if len(said) == 1 else note("{way} There is more to it under Buying.", way=said[0])
    return note(
        "By the weighing of row {row} {name} may not last: {left} left, {need} still to work. A way out: {way}",
        "warning",
        row=row,
        name=account.name,
        left=Amount(account.left_g, "g"),
        need=Amount(account.need_g, "g"),
        way=way,
    )


def _takes_less(changed: dict[str, Any], rows: dict[int, int]) -> bool:
    """Tell whether a change of a stripe's rows is of one of these stripes and leaves it fewer."""
    stripe = changed.get("stripe")
    return stripe in rows and changed.get("after", 1) < rows[stripe]


def _after(plan: Plan, design: Design) -> Ledger | None:
    """Return the ledger of the same work with another design, or None where it cannot be made."""
    try:
        made = reckon(replace(plan.blanket, design=design))
        stocks = _stocks(plan)
        bands = bands_of(made.yardage, made.yarns)
        fresh = [name for name in bands if name not in stocks]
        if fresh:
            making = making_of(made, plan.blanket.making)
            uses = planned_use(made.stripes, made.yardage, bands, made.settings)
            more = stock_of(made.yardage, bands, uses, making)
            # Of a yarn that was not in the plan there is what lies on the shelf or was bought.
            for name in fresh:
                stocks[name] = replace(more[name], skeins=more[name].skeins - more[name].assumed, assumed=0, planned=0)
        making = making_of(made, plan.blanket.making)
        return keep_ledger(made.stripes, made.yardage, made.yarns, making, made.settings, stocks=stocks)
    except BlendplanError:
        return None


def _lacking(ledger: Ledger) -> tuple[tuple[str, int], ...]:
    return tuple((name, ledger.colour(name).buy_skeins) for name in ledger.short)


def _worked(plan: Plan, done: int) -> list[int]:
    """Return the rows done of each stripe."""
    return [min(s.stripe.rows, max(0, done - s.first_row + 1)) for s in plan.stripes]


def _limits(plan: Plan, accounts: Sequence[Account], ahead: Sequence[Stripe]) -> tuple[dict[str, float], ...]:
    """Return the metres of each colour that may be worked, and those that no change of rows saves."""
    bands, row_m = bands_of(plan.yardage, plan.yarns), max(plan.yardage.rows_m)
    planned: defaultdict[str, float] = defaultdict(float)
    for stripe in ahead:
        for name in stripe.strands:
            planned[name] += stripe.rows * row_m
    limits, fixed = {}, {}
    z = NORMAL.inv_cdf(1 - plan.settings.chance_short)
    for account in accounts:
        if account.finished:
            continue
        per_m = account.factor / float(bands[account.name].m_per_g)
        there = account.left_g + account.coming_skeins * account.skein_g
        limits[account.name] = there / (1 + z * account.relative_sd) / per_m
        fixed[account.name] = max(0.0, account.need_g / per_m - planned[account.name])
    return limits, fixed


def _rows(plan: Plan, ledger: Ledger, seconds: float) -> Iterator[WayOut]:
    stripes, kept = stripes_of(plan), _worked(plan, ledger.rows_done)
    where = [i for i, (s, done) in enumerate(zip(stripes, kept, strict=True)) if done < s.rows]
    ahead = [replace(stripes[i], rows=stripes[i].rows - kept[i]) for i in where]
    if not ahead:
        return
    limits, fixed = _limits(plan, ledger.colours, ahead)
    problem = RowProblem(
        stripes=tuple(ahead),
        low=tuple(s.rows if s.locked else int(not kept[i]) for i, s in zip(where, ahead, strict=True)),
        high=tuple(s.rows if s.locked else 3 * s.rows + 2 for s in ahead),
        row_m=max(plan.yardage.rows_m),
        fixed_m=tuple(fixed.items()),
        limit_m=tuple(limits.items()),
    )
    try:
        fit = fit_rows(problem, "nearest", total=total_rows(ahead), seconds=seconds)
    except YarnError:
        return
    rows = list(kept)
    for i, n in zip(where, fit.rows, strict=True):
        rows[i] += n
    said = [
        note("Stripe {stripe}: 1 row instead of {before}.", stripe=i, before=s.rows)
        if n == 1
        else note("Stripe {stripe}: {after} rows instead of {before}.", stripe=i, before=s.rows, after=n)
        for i, (s, n) in enumerate(zip(stripes, rows, strict=True), 1)
        if s.rows != n
    ]
    if fit.total < total_rows(ahead):
        fewer = total_rows(ahead) - fit.total
        said.append(
            note("The blanket becomes 1 row shorter.", "warning")
            if fewer == 1
            else note("The blanket becomes {fewer} rows shorter.", "warning", fewer=fewer)
        )
    design = plan.blanket.by_hand([replace(s, rows=n) for s, n in zip(stripes, rows, strict=True) if n])
    after = _after(plan, design)
    if said and after is not None:
        yield WayOut(kind="rows", design=design, said=tuple(said), buy=_lacking(after))


def _other_colour(plan: Plan, ledger: Ledger) -> Iterator[WayOut]:
    """Return the stripes not begun, from the last, in another colour instead of the one that is worst off.

    No stripe loses its blend by it, and none becomes one with its neighbour.
    """
    worst = ledger.short[0]
    kept = _worked(plan, ledger.rows_done)
    stripes = list(stripes_of(plan))
    free = [i for i, s in enumerate(stripes) if worst in s.strands and not kept[i] and not s.locked]
    for other in _nearest(plan, worst):
        changed = list(stripes)
        for i in reversed(free):
            strands = tuple(other.name if name == worst else name for name in stripes[i].strands)
            beside = [sorted(s.strands) for s in (*changed[max(i - 1, 0) : i], *changed[i + 1 : i + 2])]
            if len(set(strands)) < len(set(stripes[i].strands)) or sorted(strands) in beside:
                continue
            changed[i] = replace(stripes[i], strands=strands)
            design = plan.blanket.by_hand(changed)
            after = _after(plan, design)
            if after is None or other.name in after.short:
                break
            if worst not in after.short:
                numbers = [str(j + 1) for j, s in enumerate(changed) if s != stripes[j]]
                said = (
                    note(
                        "{other} instead of {name} in stripe {stripe}.",
                        other=other.name,
                        name=worst,
                        stripe=numbers[0],
                    )
                    if len(numbers) == 1
                    else note(
                        "{other} instead of {name} in stripes {stripes}.",
                        other=other.name,
                        name=worst,
                        stripes=", ".join(numbers),
                    )
                )
                yield WayOut(kind="colour", design=design, said=(said,), buy=_lacking(after))
                return


def _nearest(plan: Plan, name: str) -> list[Yarn]:
    """Return the other yarns with a band, the nearest in shade first."""
    here = plan.yarn(name)
    others = [y for y in plan.blanket.yarns if y.key != here.key and y.put_up is not None]
    return sorted(others, key=lambda y: float(delta_e_2000(here.lab, y.lab)))[:MOST_OTHERS]


def _border(plan: Plan, ledger: Ledger) -> Iterator[WayOut]:
    """Return the widest border that lets every colour of it last."""
    border = plan.blanket.design.border
    keys = plan.blanket.keys
    used = border.strands or [keys[name] for name in plan.stripes[-1].stripe.strands] if border else ()
    if border is None or not {keys[name] for name in ledger.short} & set(used):
        return
    for rounds in range(border.rounds - 1, -1, -1):
        design = replace(plan.blanket.design, border=replace(border, rounds=rounds) if rounds else None)
        after = _after(plan, design)
        if after is not None and not {keys[name] for name in after.short} & set(used):
            said = (
                note("A border of {n} rounds instead of {before}.", n=rounds, before=border.rounds)
                if rounds
                else note("No border.")
            )
            yield WayOut(kind="border", design=design, said=(said,), buy=_lacking(after))
            return


def _buying(plan: Plan, ledger: Ledger, name: str, skeins: int) -> Iterator[Notice]:
    yield (
        note("Buy one more skein of {name}.", name=name)
        if skeins == 1
        else note("Buy {n} more skeins of {name}.", n=skeins, name=name)
    )
    begins = [s for s in plan.stripes if s.first_row > ledger.rows_done and name in s.stripe.strands]
    if begins:
        yield note(
            "Where its dye lot is another one, begin it with stripe {stripe} (row {row}).",
            stripe=begins[0].number,
            row=begins[0].first_row,
        )
    else:
        yield note("Where its dye lot is another one, keep it for the finishing.")


def _used(blanket: Blanket, key: str, done: Notice) -> str:
    """Return the key of a yarn of the design; `done` is the word for what was done with it."""
    names = blanket.names
    used = [*dict.fromkeys((*blanket.design_keys(), *sorted(blanket.yardage.names)))]
    if key not in used:
        raise YarnError(
            "{given} was {done} and is not in the design; the design uses {allowed}.",
            given=repr(names.get(key, key)),
            done=done,
            allowed=", ".join(names[k] for k in used if k in names),
        )
    return key


def _made(blanket: Blanket, **changes: Any) -> Blanket:
    return replace(blanket, making=replace(blanket.making, **changes))


def purchase(blanket: Blanket, key: str, skeins: int, lot: str = "", date: str = "") -> Blanket:
    """Return the blanket with skeins of a yarn of the design bought."""
    bought = Purchase(
        yarn=_used(blanket, key, note("bought")), skeins=skeins, lot=lot, date=date, row=blanket.making.rows_done
    )
    return _made(blanket, purchases=(*blanket.making.purchases, bought))


def bought_as_planned(blanket: Blanket, taken: Sequence[Purchase]) -> Blanket:
    """Return the blanket with the skeins written down that were taken as bought."""
    return _made(blanket, purchases=(*taken, *blanket.making.purchases))


def open_skeins(blanket: Blanket, key: str, skeins: int = 1, date: str = "") -> Blanket:
    """Return the blanket with skeins of a yarn of the design opened; a weighing then need not ask for the others."""
    name = blanket.names[_used(blanket, key, note("opened"))]
    opened = Opened(yarn=key, skeins=skeins, row=blanket.making.rows_done, date=date)
    there = _stocks(make_plan(blanket))[name].skeins_by(None)
    given = skeins + sum(one.skeins for one in blanket.making.opened if one.yarn == key)
    if given > there:
        raise YarnError(
            "{given} skeins of {name} would be opened and there are {there}; say first what was bought.",
            given=given,
            name=name,
            there=there,
        )
    return _made(blanket, opened=(*blanket.making.opened, opened))


def weigh(
    blanket: Blanket, key: str, grams: Any, unopened: int | None = None, date: str = "", *, share: float | None = None
) -> Blanket:
    """Return the blanket with a yarn weighed after the rows done, or a share of the next row further.

    No grams take back what was typed there.
    """
    making = blanket.making
    earlier, last = making.weighings, tuple[Weighed, ...]()
    if earlier and (earlier[-1].row, earlier[-1].share) == (making.rows_done, share):
        earlier, last = earlier[:-1], tuple(one for one in earlier[-1].left if one.yarn != key)
    if grams is not None:
        last = (*last, Weighed(yarn=_used(blanket, key, note("weighed")), grams=grams, unopened=unopened))
    now = (Weighing(row=making.rows_done, left=last, date=date, share=share),) if last else ()
    return _made(blanket, weighings=(*earlier, *now))


def unopened_now(plan: Plan, name: str) -> int | None:
    """Return the skeins of a yarn not opened by the rows done; None where nobody said which were opened."""
    return _stocks(plan)[name].unopened_by(Moment(row=plan.blanket.making.rows_done, date="~"))


def weighed_now(blanket: Blanket, key: str) -> Weighed | None:
    """Return what was typed of a yarn after the rows done."""
    making = blanket.making
    last = [weighing for weighing in making.weighings[-1:] if weighing.row == making.rows_done]
    return next((one for weighing in last for one in weighing.left if one.yarn == key), None)


def answer(blanket: Blanket, doubt: Doubt, said: Literal["kept", "mended", "back"]) -> Blanket:
    """Return the blanket with a doubt answered: the weighing is kept, mended as was asked, or taken back."""
    keys, making = blanket.keys, blanket.making
    weighings, purchases = list(making.weighings), making.purchases
    weighing = weighings[doubt.weighing]
    mended = {keys[one.yarn]: replace(one, yarn=keys[one.yarn]) for one in doubt.left} if said == "mended" else {}
    left = tuple(
        mended.get(one.yarn, replace(one, answer=said) if said != "mended" and one.yarn == keys[doubt.name] else one)
        for one in weighing.left
    )
    weighings[doubt.weighing] = replace(weighing, left=left)
    if said == "mended" and doubt.bought:
        bought = Purchase(yarn=keys[doubt.name], skeins=doubt.bought, row=doubt.row, date=weighing.date)
        purchases = (*purchases, bought)
    return _made(blanket, weighings=tuple(weighings), purchases=purchases)


def take_way(blanket: Blanket, way: WayOut, taken: Sequence[Purchase]) -> Blanket:
    """Return the blanket with a way out taken; what was taken as bought of colours begun is written down with it."""
    return replace(bought_as_planned(blanket, taken), design=way.design)


def size_options(plan: Plan) -> tuple[SizeOption, ...]:
    """Return the widths to try for the largest blanket: repeats from one to one and a half times the plan's."""
    now, wide = plan.worked.ripple.repeats, plan.gauge.stitch_width_cm
    most = now + max(2, now // 2)
    options = []
    for repeats in range(1, most + 1, max(1, (most - 1) // MOST_OPTIONS)):
        worked = work(replace(plan.worked.ripple, repeats=repeats))
        size = measure(worked, plan.gauge, plan.rows)
        options.append(
            SizeOption(
                repeats=repeats,
                width_cm=size.width_cm,
                rise_cm=size.rise_per_row_cm,
                row_m=plan.yardage.factor * max(row_lengths_m(worked, worked.lead + 2, wide)),
                foundation_m=plan.yardage.factor * worked.chain * stitch_cm("ch", wide) / 100,
            )
        )
    return tuple(options)

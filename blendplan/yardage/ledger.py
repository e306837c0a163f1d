"""The ledger: from what was bought, opened and weighed to what is used, left and ahead of each colour.

What cannot be true of a weighing is asked about; the colours asked about wait until it is kept, mended or taken back.

What each colour takes by every row as planned, and what she owns of it at every moment.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from blendplan.budgets import MAX_SKEINS
from blendplan.errors import YarnError
from blendplan.stripes.model import Stripe, runs_of, total_rows
from blendplan.units import Amount, whole
from blendplan.wording import Notice, note, rounded
from blendplan.yardage.doubt import WANDER_SD, Belief, Doubt, Reading, doubted, learn, prior
from blendplan.yardage.length import Yardage
from blendplan.yardage.making import Making, Moment, Weighed, Weighing
from blendplan.yardage.measured import WEIGHED_SPREAD, Z90
from blendplan.yardage.need import NORMAL, ColourNeed, Rest, joins_at_row_end
from blendplan.yardage.settings import YardageSettings, all_work
from blendplan.yarn import PutUp, Yarn

# What is left over of a colour's work below this is dust of floating point: a centimetre.
DUST_M = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedUse:
    """One colour as planned."""

    # Grams used when so many rows are done: stitches, the foundation chain, the swatch and tails.
    by_row_g: NDArray[np.float64]
    total_g: float  # with the finishing
    first_row: int  # rows done before its first one; all rows where only the finishing uses it

    def until_g(self, at: float) -> float:
        """Return the grams used by a row, its share included."""
        return float(np.interp(at, np.arange(len(self.by_row_g)), self.by_row_g))

    def row_g(self, at: float) -> float:
        """Return the grams of the row last worked."""
        return self.until_g(at) - self.until_g(max(0.0, at - 1))


def planned_use(
    stripes: Sequence[Stripe], yardage: Yardage, bands: Mapping[str, PutUp], settings: YardageSettings
) -> dict[str, PlannedUse]:
    """Return what each colour takes by every row.

    A run's first tail is laid down with its first row; its last one is cut with its last row, so the ends at the hook
    still belong to the skeins.
    """
    rows = total_rows(stripes)
    metres = {name: np.zeros(rows + 1) for name in bands}
    lengths = np.array(yardage.rows_m)
    lengths[0] += yardage.foundation_m
    row = 0
    for stripe in stripes:
        for name in stripe.strands:
            metres[name][row + 1 : row + stripe.rows + 1] += lengths[row : row + stripe.rows]
        row += stripe.rows
    for name in stripes[0].strands:
        metres[name][1] += settings.swatch_m
    tail = settings.tail_cm / 100
    for run in runs_of(*all_work(stripes, yardage.finishes)):
        for end in (run.first_row, run.last_row):
            if end <= rows:
                metres[run.name][end] += tail
    out = {}
    for name, band in bands.items():
        by_row = np.cumsum(metres[name])
        need = yardage.colour(name).need_m
        rest = need - float(by_row[-1])
        used = np.flatnonzero(metres[name])
        out[name] = PlannedUse(
            by_row_g=by_row / float(band.m_per_g),
            total_g=(float(by_row[-1]) + (rest if rest > DUST_M else 0.0)) / float(band.m_per_g),
            first_row=int(used[0]) - 1 if len(used) else rows,
        )
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """What she owns of one colour."""

    skein_g: float  # of one skein, as its band says
    skeins: int  # whole skeins at the start
    parts_g: float  # opened skeins at the start, together
    bought: tuple[tuple[Moment, int], ...]
    opened: tuple[tuple[Moment, int], ...]
    assumed: int  # skeins among those at the start that nobody said were bought: the plan buys them
    planned: int  # skeins that the plan buys in all

    def skeins_by(self, when: Moment | None) -> int:
        """Return whole skeins owned by a moment, opened ones among them; by now where none is given."""
        return self.skeins + _until(self.bought, when)

    def unopened_by(self, when: Moment) -> int | None:
        """Return whole skeins not yet opened by a moment; None where nobody said which were."""
        opened = _until(self.opened, when)
        return max(0, self.skeins_by(when) - opened) if opened else None

    def owned_g(self, when: Moment | None) -> float:
        """Return grams owned by a moment, by the band."""
        return self.skeins_by(when) * self.skein_g + self.parts_g


def _until(events: Sequence[tuple[Moment, int]], when: Moment | None) -> int:
    """Return the skeins of all that happened by a moment."""
    return sum(n for at, n in events if when is None or (at.row, at.date) <= (when.row, when.date))


def stock_of(
    yardage: Yardage, bands: Mapping[str, PutUp], uses: Mapping[str, PlannedUse], making: Making
) -> dict[str, Stock]:
    """Return what she owns of each colour.

    The plan says how many skeins to buy in all; what was said to be bought counts towards them, and beyond them adds.
    A colour that was begun without a word is taken to have the skeins the plan buys, so what is bought later adds.
    """
    out = {}
    for colour in yardage.colours:
        name = colour.name
        bought = tuple((Moment(row=p.row, date=p.date), p.skeins) for p in making.purchases if p.yarn == name)
        told = any(at.row <= uses[name].first_row for at, _ in bought)
        assumed = 0 if told else colour.planned_skeins or 0
        out[name] = Stock(
            skein_g=float(bands[name].mass_g),
            skeins=colour.skeins_on_hand - colour.bought_skeins + assumed,
            parts_g=sum(colour.parts_g),
            bought=bought,
            opened=tuple((Moment(row=o.row, date=o.date), o.skeins) for o in making.opened if o.yarn == name),
            assumed=assumed,
            planned=colour.planned_skeins or 0,
        )
    return out


def bands_of(yardage: Yardage, yarns: Sequence[Yarn]) -> dict[str, PutUp]:
    """Return the band of every colour that the blanket uses."""
    known = {y.name: y.put_up for y in yarns}
    out = {}
    for colour in yardage.colours:
        band = known.get(colour.name)
        if band is None:
            raise YarnError(
                "{name} has no grams and metres; take them from its label to follow it by weight.", name=colour.name
            )
        out[colour.name] = band
    return out


# Standard deviation, in rows, of where a maker stands who says "after row 20" (*assumed*: a weighing in mid-row now
# and then).
ROW_SD = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """One colour, so far and to the end."""

    name: str
    owned_g: float  # at the start and bought since, by the band
    # Weighed where it was weighed after the last row done, else reckoned from the last weighing or the start.
    used_g: float
    left_g: float
    # Rows done when it was last weighed; None where it never was, and then used and left are guesses.
    weighed_at: float | None
    assumed_skeins: int  # skeins owned that nobody said were bought: the plan buys them
    coming_skeins: int  # skeins that the plan buys and that are not there yet
    skein_g: float
    factor: float  # grams used over planned, tension and thickness together
    need_g: float  # grams for what is not yet worked, and the ends of the central 90 % range
    low_g: float
    high_g: float
    relative_sd: float  # standard deviation of the need as a share of it
    chance_short: float  # with the skeins that are still coming
    chances: tuple[tuple[int, float], ...]  # numbers of skeins to buy from now on, and the chance that each runs short
    buy_skeins: int  # skeins to buy from now on until the chance of running short is the accepted one
    lacking_skeins: int  # those of them that the plan did not foresee
    finished: bool  # nothing ahead uses it


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """The accounts of all colours."""

    rows_done: int
    rows_planned: int
    after: float | None  # rows done at the last weighing that counts; None where none does
    factor: float  # the maker's tension over the plan's
    # Half-width of the central 90 % range of what remains, as a share of it, thickness of colours left out.
    relative_spread: float
    colours: tuple[Account, ...]
    short: tuple[str, ...]  # colours whose chance of running short is above the accepted one, worst first
    # Open ones, oldest weighing first, the worst of each first; those of finished colours stand last.
    doubts: tuple[Doubt, ...]
    notices: tuple[Notice, ...]

    @property
    def asks_first(self) -> bool:
        """Whether a question about a colour that is still needed is open, so that no way out can be told."""
        return any(not self.colour(doubt.name).finished for doubt in self.doubts)

    def colour(self, name: str) -> Account:
        """Return the account of one colour (KeyError if there is none)."""
        return {c.name: c for c in self.colours}[name]


@dataclass(frozen=True, slots=True)
class _Known:
    """What was known of a colour at a moment: grams left, and how many skeins' own weights stand in it."""

    at: float
    left_g: float
    owned_g: float
    real_skeins: int


@dataclass(slots=True)
class _Colour:
    """One colour while the weighings are gone through.

    `base` is what its use is counted from, `last` what it was weighed at last, `learned` the stretch from base to last.
    """

    name: str
    place: int
    band: PutUp
    use: PlannedUse
    stock: Stock
    base: _Known
    last: _Known
    weighed: bool = False
    learned: Reading | None = None


@dataclass(slots=True)
class _Book:
    """All colours, and what does not change while the weighings are gone through."""

    colours: dict[str, _Colour]
    before: Belief
    settings: YardageSettings
    doubts: list[Doubt] = field(default_factory=list)

    def belief(self) -> Belief:
        """Return what the accepted weighings tell."""
        belief = self.before
        told = [c.learned for c in self.colours.values() if c.learned is not None and c.learned.tells(belief)]
        # The noise of a stretch is a share of its expected use, so the use expected is found first.
        for _ in range(2):
            belief = learn(self.before, [reading.seen(belief) for reading in told])
        return belief

    def counted(self, one: Weighed, when: Moment) -> Weighed:
        """Return a reading with the unopened skeins that follow from those opened, where it does not tell them."""
        if one.unopened is not None:
            return one
        return replace(one, unopened=self.colours[one.yarn].stock.unopened_by(when))

    def known(self, one: Weighed, when: Moment) -> _Known:
        """Return what a reading says there was."""
        stock = self.colours[one.yarn].stock
        skeins = stock.skeins_by(when)
        left = float(one.grams) + (one.unopened or 0) * stock.skein_g
        real = skeins if one.unopened is None else max(0, skeins - one.unopened)
        return _Known(when.at, left, stock.owned_g(when), real)

    def reading(self, one: Weighed, since: _Known, when: Moment) -> Reading:
        """Return a weighing of a colour beside what was known of it at an earlier moment."""
        colour, now = self.colours[one.yarn], self.known(one, when)
        skeins = math.sqrt(abs(now.real_skeins - since.real_skeins)) * self.settings.skein_scatter
        scale, row = self.settings.scale_g / math.sqrt(6), ROW_SD * colour.use.row_g(now.at)
        bought = now.owned_g - since.owned_g
        return Reading(
            colour=colour.place,
            weighed=one,
            left_g=now.left_g,
            before_g=since.left_g + bought,
            planned_g=max(1e-6, colour.use.until_g(now.at) - colour.use.until_g(since.at)),
            noise_g=math.hypot(scale, skeins * colour.stock.skein_g, row if now.at > since.at else 0.0),
            skein_g=colour.stock.skein_g,
            skeins=colour.stock.skeins_by(when),
            last_g=since.left_g if colour.weighed and bought == 0 else None,
        )

    def enter(self, number: int, weighing: Weighing) -> None:
        """Enter a weighing, or the doubt it raises."""
        when = Moment(row=weighing.row, date=weighing.date, share=weighing.share or 0.0)
        there = [one for one in weighing.left if one.yarn in self.colours and one.answer != "back"]
        told = [self.counted(one, when) for one in there]
        readings = [self.reading(one, self.colours[one.yarn].last, when) for one in told]
        found = doubted(readings, self.belief(), number, when)
        kept = {one.yarn for one in told if one.answer == "kept"}
        waiting = set[str]()
        for doubt in found:
            # One question is enough for two weights that are swapped.
            if doubt.name not in kept | waiting:
                self.doubts.append(doubt)
                waiting |= {doubt.name, *(one.yarn for one in doubt.left)} - kept
        for one in told:
            if one.yarn in waiting:
                continue
            colour = self.colours[one.yarn]
            colour.last, colour.weighed = self.known(one, when), True
            if any(doubt.name == one.yarn and doubt.far for doubt in found):
                # She says it is so: what is there is believed, and no tension is read from how it came to be.
                colour.base, colour.learned = colour.last, None
            else:
                colour.learned = self.reading(one, colour.base, when)


def keep_ledger(
    stripes: Sequence[Stripe],
    yardage: Yardage,
    yarns: Sequence[Yarn],
    making: Making,
    settings: YardageSettings | None = None,
    *,
    stocks: Mapping[str, Stock] | None = None,
) -> Ledger:
    """Return used, left and ahead of each colour, by all that was bought and weighed.

    State (k, e_1 .. e_n) of logarithms, prior N(0, diag(s_k^2, s_e^2 ..)) with s_k the plan's spread over 1.645 and
    s_e 3 %. A colour c that was to use u_c grams and used g_c gives ln(g_c / u_c) = k + e_c + noise, of variance
    (noise_c / u_c)^2 + 0.03^2; the noise is that of the scale, of skeins that are not as heavy as their band says,
    and of where in the row she stood. The update is the usual one for normals.
    What remains is the planned remainder times exp(k + e_c), with the variance of k + e_c and of how tension wanders.
    Skeins bought after a weighing add to what is left and to nothing else.
    A weighing of a row that is not done (any more) waits.
    """
    settings = settings or YardageSettings()
    planned = total_rows(stripes)
    done = whole(making.rows_done, "rows done", 0, planned)
    bands = bands_of(yardage, yarns)
    uses = planned_use(stripes, yardage, bands, settings)
    stocks = stock_of(yardage, bands, uses, making) if stocks is None else stocks
    book = _Book({}, prior(len(bands), yardage.relative_spread), settings)
    for place, name in enumerate(bands):
        start = _Known(0.0, stocks[name].owned_g(Moment(row=-1)), stocks[name].owned_g(Moment(row=-1)), 0)
        book.colours[name] = _Colour(name, place, bands[name], uses[name], stocks[name], start, start)
    waiting = 0
    for number, weighing in enumerate(making.weighings):
        if weighing.row > done:
            waiting += 1
        else:
            book.enter(number, weighing)
    belief = book.belief()
    accounts = tuple(_account(colour, belief, done, settings, max(yardage.rows_m)) for colour in book.colours.values())
    if not any(colour.weighed for colour in book.colours.values()):
        accounts = tuple(_as_planned(one, yardage, stocks[one.name], settings) for one in accounts)
    finished = {c.name for c in accounts if c.finished}
    at_risk = sorted((-c.chance_short, c.name) for c in accounts if c.chance_short > settings.chance_short)
    factor = math.exp(belief.mean[0])
    spread = Z90 * math.hypot(math.sqrt(belief.covariance[0, 0]), WANDER_SD)
    ledger = Ledger(
        rows_done=done,
        rows_planned=planned,
        after=max((c.weighed_at for c in accounts if c.weighed_at is not None), default=None),
        factor=factor,
        relative_spread=min(spread, max(yardage.relative_spread, WEIGHED_SPREAD)),
        colours=accounts,
        short=tuple(name for _, name in at_risk),
        doubts=tuple(sorted(book.doubts, key=lambda doubt: doubt.name in finished)),
        notices=(),
    )
    return replace(ledger, notices=_told(ledger, waiting))


def _account(colour: _Colour, belief: Belief, done: int, settings: YardageSettings, row_m: float) -> Account:
    """Return the account of one colour: what was last known of it, brought up to the rows done."""
    factor, use, stock = belief.factor(colour.place), colour.use, colour.stock
    # Nobody has what the plan buys of a colour not begun, unless she said so.
    fresh = done <= use.first_row and not colour.weighed
    waits = stock.assumed if fresh else 0
    coming = waits if stock.assumed else max(0, stock.planned - sum(n for _, n in stock.bought))
    owned = stock.owned_g(None) - waits * stock.skein_g
    # The swatch and all else before the first row count from the first row on.
    last = colour.last.left_g + owned - colour.last.owned_g
    since = factor * max(0.0, use.until_g(done) - use.until_g(colour.last.at))
    ahead = use.total_g - use.until_g(max(done, colour.last.at))
    need = factor * ahead if ahead > 1e-6 else 0.0
    ratio_sd = math.hypot(math.sqrt(belief.variance(colour.place)), WANDER_SD)
    scale = settings.scale_g / math.sqrt(12)
    sd = math.hypot(need * ratio_sd, scale) if need else 0.0
    left = max(0.0, last - since)
    here = _Here(
        left_g=last,
        unopened=max(0, stock.skeins_by(None) - colour.last.real_skeins - waits),
        need_g=since + need,
        need_sd_g=math.hypot((since + need) * ratio_sd, scale),
        skein_g=stock.skein_g,
        skein_sd_g=settings.skein_scatter * stock.skein_g,
        row_g=factor * row_m / float(colour.band.m_per_g) if joins_at_row_end(colour.band, row_m, settings) else 0.0,
    )
    enough = here.enough(settings.chance_short) if need else 0
    if fresh and coming:
        # She goes to the shop for it in any case: what is known by then is on her list.
        coming = max(coming, enough)
    buy = enough if settings.margin is None or not need else here.by_margin(float(settings.margin))
    buy += settings.spare_skein and buy > 0
    numbers = range(max(0, buy - 2), buy + 2) if need else ()
    return Account(
        name=colour.name,
        owned_g=owned,
        used_g=max(0.0, owned - left),
        left_g=left,
        weighed_at=colour.last.at if colour.weighed else None,
        assumed_skeins=stock.assumed - waits,
        coming_skeins=coming,
        skein_g=stock.skein_g,
        factor=factor,
        need_g=need,
        low_g=max(0.0, need - Z90 * sd),
        high_g=need + Z90 * sd,
        relative_sd=sd / need if need else 0.0,
        chance_short=here.chance_short(coming) if need else 0.0,
        chances=tuple((n, here.chance_short(n)) for n in numbers) or ((0, 0.0),),
        buy_skeins=buy,
        lacking_skeins=max(0, enough - coming),
        finished=not need,
    )


def _as_planned(account: Account, yardage: Yardage, stock: Stock, settings: YardageSettings) -> Account:
    """Return an account as long as nothing was weighed: the plan's own chances, and what it still buys.

    Not where fewer skeins were chosen than reach as often as she asks, or what was bought adds to the plan's.
    """
    need = yardage.colour(account.name)
    adds = (stock.assumed and need.bought_skeins) or sum(n for _, n in stock.bought) != need.bought_skeins
    if account.finished or adds or need.buy_skeins is None or (need.chance_short or 0.0) > settings.chance_short:
        return account
    return replace(
        account,
        chance_short=need.chance_short or 0.0,
        chances=need.chances,
        buy_skeins=0 if account.assumed_skeins else need.buy_skeins,
        lacking_skeins=0,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Here:
    """What lies there of a colour since it was last known, against all that it takes from then on."""

    left_g: float
    unopened: int
    need_g: float
    need_sd_g: float
    skein_g: float
    skein_sd_g: float
    row_g: float  # a row of one strand where skeins are joined at row ends, else 0

    def chance_short(self, bought: int) -> float:
        """Return the chance of running short with so many skeins bought.

        A ball that another follows loses, on the average of where rows end, half a row.
        """
        skeins = self.unopened + bought
        lost, lost_sd = skeins * self.row_g / 2, math.sqrt(skeins / 12) * self.row_g
        sd = math.hypot(self.need_sd_g, self.skein_sd_g * math.sqrt(skeins), lost_sd)
        return NORMAL.cdf((self.need_g + lost - self.left_g - bought * self.skein_g) / sd)

    def enough(self, chance: float) -> int:
        """Return the least number of skeins to buy for an accepted chance."""
        for bought in range(self.by_margin(0.0), MAX_SKEINS):
            if self.chance_short(bought) <= chance:
                return bought
        return MAX_SKEINS

    def by_margin(self, margin: float) -> int:
        """Return the least number of skeins to buy that covers the need and a margin."""
        return max(0, math.ceil((self.need_g * (1 + margin) - self.left_g) / self.skein_g))


def still_to_buy(yardage: Yardage, yarns: Sequence[Yarn], ledger: Ledger) -> Yardage:
    """Return the yarn of the whole blanket with what is to be bought from now on.

    As planned until something was weighed; then by the ledger, which alone knows what lies there. What a colour begun
    without a word needs no more of is known by it too, as soon as some of it was bought.
    """
    known = {yarn.name: yarn for yarn in yarns}
    colours = tuple(_still(need, known[need.name], ledger) for need in yardage.colours)
    if colours == yardage.colours:
        return yardage
    prices = [c.price for c in colours if c.price is not None]
    # The chances of all together are those of the plan: what is left was not weighed together.
    return replace(
        yardage, colours=colours, chance_any_short=None, total_price=sum(prices, Fraction(0)) if prices else None
    )


def _still(need: ColourNeed, yarn: Yarn, ledger: Ledger) -> ColourNeed:
    account = ledger.colour(need.name)
    if ledger.after is None and not (account.assumed_skeins and need.bought_skeins):
        return need
    rest_g = account.left_g + account.buy_skeins * account.skein_g - account.need_g
    return replace(
        need,
        buy_skeins=account.buy_skeins,
        chance_short=dict(account.chances)[account.buy_skeins],
        chances=account.chances,
        price=None if yarn.price is None else account.buy_skeins * yarn.price,
        spare_m=rest_g * float(yarn.label.m_per_g),
        rest=Rest(
            after=ledger.after,
            weighed=account.weighed_at is not None,
            left_g=account.left_g,
            need_g=account.need_g,
            low_g=account.low_g,
            high_g=account.high_g,
        ),
    )


def _told(ledger: Ledger, waiting: int) -> tuple[Notice, ...]:
    out = []
    if any(c.weighed_at is not None for c in ledger.colours):
        told = note(
            "After {done} of {planned} rows the work takes {factor} times the planned yarn.",
            done=ledger.rows_done,
            planned=ledger.rows_planned,
            factor=rounded(ledger.factor, 2),
        )
        out.append(told)
    waits = {name for doubt in ledger.doubts for name in (doubt.name, *(one.yarn for one in doubt.left))}
    out += [
        note(
            "{name} may run short: {left} are left and {need} are needed ({low} to {high}); the chance is {chance} %.",
            "warning",
            name=c.name,
            left=Amount(c.left_g, "g"),
            need=Amount(c.need_g, "g"),
            low=Amount(c.low_g, "g", bare=True),
            high=Amount(c.high_g, "g"),
            chance=f"{100 * c.chance_short:.0f}",
        )
        for c in map(ledger.colour, ledger.short)
        if c.name not in waits
    ]
    guessed = [c.name for c in ledger.colours if c.weighed_at is None and not c.finished]
    if guessed and ledger.rows_done:
        out.append(note("Not weighed, so what is left is a guess: {names}.", "assumed", names=", ".join(guessed)))
    assumed = [c.name for c in ledger.colours if c.assumed_skeins]
    if assumed:
        out.append(
            note(
                "Begun without a word of what was bought, so the skeins of the plan count as bought: {names}.",
                "assumed",
                names=", ".join(assumed),
            )
        )
    if waiting:
        out.append(note("Weighings at rows that are not done wait: {n}.", "assumed", n=waiting))
    return tuple(out)

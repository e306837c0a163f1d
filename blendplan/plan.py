"""`make_plan` joins the stages for a `Blanket`; `Plan` holds everything that comes out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING

from blendplan.blanket import Blanket, Design, Materials
from blendplan.blend.advice import BlendWarning, check_stripes
from blendplan.blend.pair import Blend, mix_yarns
from blendplan.blend.strands import Viewing
from blendplan.colour import delta_e_2000
from blendplan.fabric.finish import Level
from blendplan.fabric.gauge import Gauge
from blendplan.fabric.ripple import Worked
from blendplan.fabric.size import Size, WidthChoice, cautions
from blendplan.reckon import Reckoned, reckon
from blendplan.stripes.model import Stripe, total_rows
from blendplan.wording import Notice
from blendplan.yardage.care import care_notices
from blendplan.yardage.ledger import Ledger, keep_ledger, still_to_buy
from blendplan.yardage.length import Yardage
from blendplan.yardage.lots import lot_notices
from blendplan.yardage.making import Making, by_name
from blendplan.yardage.settings import YardageSettings
from blendplan.yardage.strands import StrandChange, Strands, feed
from blendplan.yarn import Yarn

if TYPE_CHECKING:
    import datetime
    from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedStripe:
    """One stripe of the finished plan."""

    number: int  # from 1, first worked
    stripe: Stripe
    first_row: int  # from 1
    last_row: int
    blend: Blend  # what its strands look like together
    change: StrandChange  # which strands are left, carried on and taken up to begin this stripe
    step: float | None  # CIEDE2000 from the stripe before
    bottom_cm: float  # height of its lower edge above the foundation, along the fabric
    height_cm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """All results of one blanket; outputs read it and never recompute."""

    blanket: Blanket  # what it was made from
    yarns: tuple[Yarn, ...]  # those in use, in the order of the maker's shelf
    settings: YardageSettings  # what the estimate stands on, yarns by name
    stripes: tuple[PlannedStripe, ...]
    levels: tuple[Level, ...]  # rows that straighten top and bottom, where the ends are straightened
    worked: Worked
    gauge: Gauge
    size: Size
    widths: tuple[WidthChoice, ...]
    yardage: Yardage
    strands: Strands
    lots: tuple[Notice, ...]
    warnings: tuple[BlendWarning, ...]
    cautions: tuple[Notice, ...]
    notices: tuple[Notice, ...]

    def __repr__(self) -> str:
        """Return title, rows, size and yarns in one line."""
        wide, tall = self.size.width_cm, self.size.height_cm
        return f"<Plan {self.blanket.title!r}: {self.rows} rows, {wide:.0f} x {tall:.0f} cm, {len(self.yarns)} yarns>"

    def _repr_png_(self) -> bytes:
        """Return the picture, for where a plan shows itself as one."""
        return self.picture()

    @property
    def rows(self) -> int:
        """Rows of the whole blanket."""
        return self.stripes[-1].last_row

    @property
    def mass_g(self) -> float | None:
        """Grams of yarn in the blanket, or None where a band is not known."""
        grams = [colour.need_g for colour in self.yardage.colours]
        return None if None in grams else sum(g for g in grams if g is not None)

    @property
    def shopping(self) -> tuple[tuple[str, int | None], ...]:
        """Skeins to buy of each yarn by name, as `to_buy` has them; None where its band is not known."""
        return tuple((colour.name, colour.buy_skeins) for colour in to_buy(self).colours)

    def yarn(self, name: str) -> Yarn:
        """Return a yarn in use by its name (KeyError if there is none)."""
        return {yarn.name: yarn for yarn in self.yarns}[name]

    def rows_text(self, lang: str = "en") -> str:
        """Return the rows as they stand in `rows.txt`."""
        from blendplan.outputs import rows_txt

        return rows_txt(self, lang=lang).decode("utf-8-sig")

    def picture(self) -> bytes:
        """Return the picture as PNG."""
        from blendplan.outputs import plan_picture

        return plan_picture(self)

    def write(
        self, folder: str | Path, *, date: datetime.date | None = None, paper: str = "", lang: str = "en"
    ) -> tuple[Path, ...]:
        """Write every output into a folder and return the paths; see `blendplan.outputs.write.write_outputs`."""
        from blendplan.outputs import How, write_outputs

        return write_outputs(self, folder, How(date=date, paper=paper, lang=lang))


@lru_cache(maxsize=4096)
def _mixed(yarns: tuple[Yarn, ...], viewing: Viewing) -> Blend:
    """Return one blend; kept, because most changes of a design leave most blends as they were."""
    return mix_yarns(yarns, viewing=viewing)


def _planned(
    stripes: tuple[Stripe, ...],
    known: dict[str, Yarn],
    viewing: Viewing,
    rise_cm: float,
    begins: Sequence[StrandChange],
) -> tuple[PlannedStripe, ...]:
    blends = {s.strands: _mixed(tuple(known[name] for name in s.strands), viewing) for s in stripes}
    done = list(accumulate((stripe.rows for stripe in stripes), initial=0))
    steps = [None] + [float(delta_e_2000(blends[a.strands].lab, blends[b.strands].lab)) for a, b in pairwise(stripes)]
    return tuple(
        PlannedStripe(
            number=n,
            stripe=stripe,
            first_row=below + 1,
            last_row=below + stripe.rows,
            blend=blends[stripe.strands],
            change=change,
            step=step,
            bottom_cm=below * rise_cm,
            height_cm=stripe.rows * rise_cm,
        )
        for n, (stripe, change, step, below) in enumerate(zip(stripes, begins, steps, done, strict=False), start=1)
    )


@lru_cache(maxsize=64)
def _warned(
    strands: tuple[tuple[str, ...], ...], yarns: tuple[Yarn, ...], viewing: Viewing
) -> tuple[BlendWarning, ...]:
    """Return the warnings of stripes; kept, because their numbers of rows change nothing of them."""
    return check_stripes([Stripe(strands=one, rows=1) for one in strands], {y.name: y for y in yarns}, viewing)


def stripes_of(made: Plan | Reckoned) -> tuple[Stripe, ...]:
    """Return the stripes, strands by name."""
    return tuple(s if isinstance(s, Stripe) else s.stripe for s in made.stripes)


def making_of(made: Plan | Reckoned, making: Making) -> Making:
    """Return what has happened as it concerns a plan: yarns by name, rows as far as there are any."""
    named = by_name(making, {yarn.key: yarn.name for yarn in made.yarns})
    return replace(named, rows_done=min(named.rows_done, total_rows(stripes_of(made))))


def ledger_of(made: Plan | Reckoned, making: Making | None = None) -> Ledger:
    """Return the ledger of a plan's blanket, or of another making; see `blendplan.yardage.ledger.keep_ledger`."""
    making = made.blanket.making if making is None and isinstance(made, Plan) else making or Making()
    return keep_ledger(stripes_of(made), made.yardage, made.yarns, making_of(made, making), made.settings)


def to_buy(made: Plan | Reckoned, making: Making | None = None) -> Yardage:
    """Return the yarn of a plan with what is to be bought from now on: as planned, or by what was weighed."""
    if any(colour.buy_skeins is None for colour in made.yardage.colours):
        return made.yardage
    return still_to_buy(made.yardage, made.yarns, ledger_of(made, making))


def make_plan(of: Blanket | Sequence[Yarn], design: Design | None = None) -> Plan:
    """Return the whole plan of a blanket, or of yarns and a design.

    Parameters
    ----------
    of : Blanket or sequence of Yarn
    design : Design, optional
        Where yarns are given; without it the yarns stand in the order given.

    Returns
    -------
    Plan

    Raises
    ------
    BlendplanError
        If the ripple does not close or a stage cannot use its input.
    """
    if isinstance(of, Blanket):
        blanket = of
    else:
        yarns = tuple(of)
        design = design or Design(order=tuple(yarn.key for yarn in yarns))
        blanket = Blanket(materials=Materials(yarns=yarns), design=design)
    made = reckon(blanket)
    known = {yarn.name: yarn for yarn in made.yarns}
    strands = feed(made.stripes, made.yardage, made.yarns, made.settings)
    plan = Plan(
        blanket=blanket,
        yarns=made.yarns,
        settings=made.settings,
        stripes=_planned(made.stripes, known, blanket.viewing, made.size.rise_per_row_cm, strands.changes),
        levels=made.levels,
        worked=made.worked,
        gauge=made.gauge,
        size=made.size,
        widths=made.widths,
        yardage=made.yardage,
        strands=strands,
        lots=lot_notices(strands, made.yarns),
        warnings=_warned(tuple(s.strands for s in made.stripes), made.yarns, blanket.viewing),
        cautions=(),
        notices=made.notices,
    )
    return replace(plan, cautions=_cautions(plan))


def _cautions(plan: Plan) -> tuple[Notice, ...]:
    design, mass_g = plan.blanket.design, plan.mass_g
    said = cautions(
        plan.worked.ripple,
        for_baby=design.for_baby,
        size_cm=(plan.size.width_cm, plan.size.height_cm),
        gauge=plan.gauge,
        mass_kg=None if mass_g is None else mass_g / 1000,
        fringe=design.fringe is not None,
    )
    return (*said, *care_notices(plan.yarns, [planned.stripe for planned in plan.stripes]))

"""The five records of a blanket: what a maker owns, what she invents, what has happened, how she reads it, and all.

They change for different reasons, so none holds a copy of what another says.
Yarns are named by key everywhere: a new name changes the yarn and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, replace
from fractions import Fraction
from functools import lru_cache
from typing import Any, Literal, TypeVar

from blendplan.blend.calibrate import Swatch, fit_swatches, shares_told
from blendplan.blend.strands import CLOSEST_M, FARTHEST_M, PLACES, Viewing
from blendplan.budgets import MAX_ORDER, MAX_REPEATS, MAX_ROWS, MAX_SWATCHES, MAX_VARIANTS, MAX_YARNS
from blendplan.errors import StripeError, YarnError
from blendplan.fabric.finish import Border
from blendplan.fabric.gauge import Gauge
from blendplan.fabric.shapes import Ripple
from blendplan.record import held, record, same
from blendplan.stripes.model import Stripe, StripeRule, total_rows
from blendplan.wording import LANGUAGES
from blendplan.yardage.making import Making
from blendplan.yardage.measured import Measured
from blendplan.yardage.settings import Fringe, YardageSettings
from blendplan.yarn import Yarn, check_yarns

T = TypeVar("T")


@record
class Wishes:
    """What an order of colours should do."""

    # The main aim, and its weight where others are weighed in with theirs.
    aim: str = held("aim", default="smoothest", longest=40)
    weight: int = held("weight of an aim", default=1, low=1, high=10)
    others: tuple[tuple[str, int], ...] = held("other aims", default=(), low=1, high=10, longest=40, most=12)
    # Keys of the yarns to begin and to end with, empty where they are free.
    first: str = held("first colour", default="", longest=80)
    last: str = held("last colour", default="", longest=80)
    closed: bool = held("the last colour meets the first", default=False)
    # Colours with yarn enough for an end of the order but not for a place inside it stand at its ends.
    short_outside: bool = held("colours short of yarn at the ends", default=False)
    # How many of all yarns to use, these keys among them; 0 keeps to those in the order in hand.
    choose: int = held("yarns to choose", default=0, low=0, high=MAX_YARNS)
    keep: tuple[str, ...] = held("yarns to keep", default=(), longest=80, most=MAX_ORDER)


@record
class Materials:
    """What a maker owns: her yarns, and what was measured by her hands."""

    # At least one, names and keys unique.
    yarns: tuple[Yarn, ...] = held("yarns", most=MAX_YARNS)
    # As she measured it; None takes what the weight class and the hook lead one to expect.
    gauge: Gauge | None = held("gauge", default=None)
    # Weighed rows and swatches, pulled stitches, own blankets.
    measured: tuple[Measured, ...] = same(YardageSettings, "measured")
    # Photographed, of two strands.
    swatches: tuple[Swatch, ...] = held("swatches", default=(), most=MAX_SWATCHES)
    scale_g: float = same(YardageSettings, "scale_g")
    skein_scatter: float = same(YardageSettings, "skein_scatter")

    def __post_init__(self) -> None:
        check_yarns(self.yarns)


@record
class Design:
    """What a maker invents."""

    # The rule that makes the stripes, as `StripeRule` has it.
    order: tuple[str, ...] = same(StripeRule, "order")
    solid_rows: int = same(StripeRule, "solid_rows")
    blend_rows: int = same(StripeRule, "blend_rows")
    change: Literal["one", "both"] = same(StripeRule, "change")
    carrier: str | None = same(StripeRule, "carrier")
    arrange: Literal["once", "repeat", "mirror", "centre-out"] = same(StripeRule, "arrange")
    times: int = same(StripeRule, "times")
    strands: int = same(StripeRule, "strands")
    own_rows: tuple[tuple[tuple[str, ...], int], ...] = same(StripeRule, "own_rows")
    # Set by hand; they replace the rule where given. A locked one is held.
    stripes: tuple[Stripe, ...] | None = held("stripes", default=None, most=MAX_ROWS)
    wishes: Wishes = held("wishes for the order", factory=Wishes)
    ripple: Ripple = held("ripple", factory=Ripple)
    # Set by hand; None lets the wanted width choose, or takes those of the ripple.
    repeats: int | None = held("repeats", default=None, low=1, high=MAX_REPEATS)
    # Wishes. The width chooses the repeats, the length scales the rows of stripes made by rule.
    width_cm: float | None = held("wanted width", default=None, low=5, high=1000, unit="cm")
    length_cm: float | None = held("wanted length", default=None, low=5, high=2000, unit="cm")
    # None takes the usual one for the strands held together.
    hook_mm: float | None = held("hook", default=None, low=1, high=40, unit="mm")
    border: Border | None = same(YardageSettings, "border")
    fringe: Fringe | None = same(YardageSettings, "fringe")
    # Whether rows that make both ends straight are written.
    straighten: bool = held("straightened ends", default=False)
    # Her choice; it brings the cautions for a small child's blanket, as a small size does.
    for_baby: bool = held("for a baby", default=False)
    seen_from_m: float = held(
        "distance it is seen from", default=PLACES["sofa"], low=CLOSEST_M, high=FARTHEST_M, unit="m"
    )
    # Numbers chosen against the advice, by the key of the yarn.
    skeins: tuple[tuple[str, int], ...] = same(YardageSettings, "skeins")
    # How carefully yarn is counted.
    tail_cm: float = same(YardageSettings, "tail_cm")
    chance_short: float = same(YardageSettings, "chance_short")
    margin: Fraction | None = same(YardageSettings, "margin")
    swatch_m: float = same(YardageSettings, "swatch_m")
    join_at: Literal["row-end", "anywhere"] = same(YardageSettings, "join_at")
    spare_skein: bool = same(YardageSettings, "spare_skein")

    def __post_init__(self) -> None:
        if not self.all_stripes():
            raise StripeError("no stripes were given; set at least one, or let the order of colours make them.")
        rows = total_rows(self.all_stripes())
        if rows > MAX_ROWS:
            raise StripeError(
                "the stripes add up to {given} rows; allowed is at most {allowed}; use fewer rows or repeats.",
                given=rows,
                allowed=MAX_ROWS,
            )

    @property
    def rule(self) -> StripeRule:
        """The rule that makes the stripes."""
        return StripeRule(**{f.name: getattr(self, f.name) for f in fields(StripeRule)})

    def all_stripes(self) -> tuple[Stripe, ...]:
        """Return the stripes: those set by hand, or those the rule makes."""
        return self.stripes if self.stripes is not None else self.rule.expand()

    def with_repeats(self) -> Ripple:
        """Return the ripple with the repeats set by hand, where they were."""
        return self.ripple if self.repeats is None else replace(self.ripple, repeats=self.repeats)


@record
class Ways:
    """How a maker reads her pattern."""

    # What is shown first; stored values stay metric.
    units: Literal["metric", "imperial"] = held("units", default="metric")
    terms: Literal["US", "UK"] = held("stitch terms", default="US")
    # Written behind prices as it stands.
    currency: str = held("currency", default="", longest=12)
    # Empty where it was not chosen.
    language: str = held("language", default="", allowed=("", *LANGUAGES))
    paper: Literal["A4", "Letter"] = held("paper", default="A4")


@record
class Variant:
    """A design kept under a name; it is made of the same materials as the one in hand."""

    name: str = held("name of a variant", longest=60)
    design: Design = held("design of a variant")

    def __post_init__(self) -> None:
        if not self.name:
            object.__setattr__(self, "name", "?")


@record
class Blanket:
    """One blanket: the four records, its title and its kept variants."""

    materials: Materials
    design: Design
    making: Making = held("making", factory=Making)
    ways: Ways = held("ways", factory=Ways)
    title: str = held("title", default="Ripple blanket", longest=120)
    # The letter of each yarn, by key; dealt once and kept.
    letters: tuple[tuple[str, str], ...] = held("letters of the yarns", default=(), longest=80, most=MAX_YARNS)
    variants: tuple[Variant, ...] = held("variants", default=(), most=MAX_VARIANTS)

    def __post_init__(self) -> None:
        if not self.title:
            object.__setattr__(self, "title", "Ripple blanket")
        known = {yarn.key for yarn in self.materials.yarns}
        for key in self.design_keys():
            if key not in known:
                raise StripeError(
                    "a stripe uses {given}, which is none of the yarns; the yarns are {allowed}.",
                    given=repr(key),
                    allowed=", ".join(sorted(known)[:40]),
                )

    def design_keys(self) -> tuple[str, ...]:
        """Return the keys of the yarns in the stripes, each once, in the order of their first row."""
        return tuple(dict.fromkeys(key for stripe in self.design.all_stripes() for key in stripe.strands))

    @property
    def yarns(self) -> tuple[Yarn, ...]:
        """All yarns she owns."""
        return self.materials.yarns

    def yarn(self, key: str) -> Yarn:
        """Return the yarn of a key (YarnError if there is none)."""
        return _found(key, (yarn for yarn in self.yarns if yarn.key == key))

    def called(self, name: str) -> Yarn:
        """Return the yarn of a name (YarnError if there is none)."""
        return _found(name, (yarn for yarn in self.yarns if yarn.name == name))

    @property
    def names(self) -> dict[str, str]:
        """The name of each yarn, by key."""
        return {yarn.key: yarn.name for yarn in self.yarns}

    @property
    def keys(self) -> dict[str, str]:
        """The key of each yarn, by name."""
        return {yarn.name: yarn.key for yarn in self.yarns}

    def by_hand(self, stripes: Iterable[Stripe]) -> Design:
        """Return the design with stripes set by hand, which name their yarns as a plan does."""
        keys = self.keys
        return replace(self.design, stripes=tuple(in_names(stripe, keys) for stripe in stripes))

    @property
    def viewing(self) -> Viewing:
        """How blends are looked at: the distance, and what the swatches tell of the far end and of shares."""
        swatches = self.materials.swatches
        return _viewing(self.design.seen_from_m, swatches, self.yarns if swatches else ())

    @property
    def yardage(self) -> YardageSettings:
        """What the estimate of yarn asks of materials, design and what was bought, yarns by key."""
        parts: Any = {}
        for f in fields(YardageSettings):
            holder = next(r for r in (self.materials, self.design, self.making) if hasattr(r, f.name))
            parts[f.name] = getattr(holder, f.name)
        return YardageSettings(**parts)


def _found(asked: str, yarns: Iterator[Yarn]) -> Yarn:
    for yarn in yarns:
        return yarn
    raise YarnError("{given} is none of the yarns.", given=repr(asked))


@lru_cache(maxsize=64)
def _viewing(seen_from_m: float, swatches: tuple[Swatch, ...], yarns: tuple[Yarn, ...]) -> Viewing:
    if not swatches:
        return Viewing(from_m=seen_from_m)
    found = fit_swatches(swatches)
    return Viewing(from_m=seen_from_m, lent=found.lent, shown=shares_told(swatches, found, yarns))


def in_names(part: T, names: Mapping[str, str]) -> T:
    """Return a stripe, border, fringe or measured piece with its strands called by name instead of key."""
    strands = getattr(part, "strands", None)
    if not isinstance(strands, tuple):
        return part
    named = tuple(names.get(key, key) for key in strands)
    return part if named == strands else replace(part, strands=named)  # type: ignore[type-var]


def free_key(wanted: str, taken: Iterable[str]) -> str:
    """Return a key that no yarn has: the name wished for, counted up where it is taken."""
    keys = set(taken)
    key, n = wanted, 2
    while key in keys:
        key, n = f"{wanted[:70]} {n}", n + 1
    return key

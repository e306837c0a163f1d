"""Measured beats default: what a weighed row, swatch, pulled stitch or own blanket says about yarn used.

Each measurement gives one factor on the default lengths and its own uncertainty.
Several are pooled with weights of one over variance.
On top comes `WEIGHED_SPREAD`, which covers how tension wanders over a whole blanket and which no weighing removes.

Yarn in a stitch: the row model and the area model, both free of any one yarn.

Row model: a stitch takes `YARN_PER_WIDTH[kind]` times the stitch width, so a row takes that many times its straight
width.
Area model: a square metre takes 6300 m of the strands counted once, divided by the hook in mm.
Both hold for any number of strands as long as hook and yarn suit each other, since thicker strands make wider
stitches in the same measure.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

from blendplan.budgets import MAX_ROWS
from blendplan.errors import QuantityError, YarnError
from blendplan.fabric.rows import Row
from blendplan.record import held, record
from blendplan.units import number
from blendplan.wording import Notice, Rounded, note, rounded
from blendplan.yarn import Yarn

# Yarn of one stitch over its width. Trade facts read November 2026, *measured* by makers on single items for ch, sc
# and dc: chains 4.8 to 5.1; sc 7.9 from areas, 8.2 and 9.2 from two ripples; dc the middle one of five, 14.7, 15.3,
# 16.4, 16.8 and 17.2. hdc is what the one page that measures both in equal squares leaves it (802 for 790 inches at
# the usual shapes); tr is derived; `sl st` is *assumed* to take what a chain takes.
YARN_PER_WIDTH: Mapping[str, float] = {"ch": 5.0, "sl st": 5.0, "sc": 8.2, "hdc": 12.5, "dc": 16.4, "tr": 23.0}

# Chains to turn with, US terms. Common practice (makers' pages quoting guild lessons, read November 2026).
TURNING_CHAINS: Mapping[str, int] = {"sl st": 0, "sc": 1, "hdc": 2, "dc": 3, "tr": 4}

# Height of a stitch over its width: inverse of the measured width : height (sc 1.10, hdc 0.73, dc 0.55, tr 0.38).
HEIGHT_PER_WIDTH: Mapping[str, float] = {"sc": 1 / 1.10, "hdc": 1 / 0.73, "dc": 1 / 0.55, "tr": 1 / 0.38}

# Metres of the strands counted once in a square metre, times the hook in mm. Fitted to plain-fabric examples (trade
# facts, read November 2026), *measured*, within 15 %.
AREA_CENTRAL = 6300.0

# Stitch width in mm over the hook in mm. A dc of 13 cm on a 5.2 mm hook at 16 times its width is 8.1 mm wide;
# measured gauges give 1.44 to 1.68. *Assumed* where the hook is not told.
STITCH_WIDTH_PER_HOOK = 1.56

# Half-width of the central 90 % range, as a share of the length: stitches not measured, and a row weighed.
DEFAULT_SPREAD = 0.15
WEIGHED_SPREAD = 0.05

# 95th percentile of the standard normal distribution: half-width of a central 90 % range in standard deviations.
Z90 = NormalDist().inv_cdf(0.95)


def stitch_cm(kind: str, stitch_width_cm: float) -> float:
    """Return the default yarn of one stitch of a kind, cm of each strand.

    Examples
    --------
    >>> stitch_cm("dc", 0.8125)
    13.325
    """
    if kind not in YARN_PER_WIDTH:
        raise QuantityError(
            "no yarn per stitch is known for {given}; known are {allowed}.",
            given=repr(kind),
            allowed=", ".join(YARN_PER_WIDTH),
        )
    return YARN_PER_WIDTH[kind] * number(stitch_width_cm, "width of a stitch", 0.05, 20, "cm")


def main_stitch(tally: Mapping[str, int]) -> str:
    """Return the stitch that most of a row is made of; it decides the turning chain.

    Of two that stand in the row equally often the taller counts; a row of chains only counts as `sc`.

    Examples
    --------
    >>> main_stitch({"ch": 40, "dc": 12, "sc": 12})
    'dc'
    """
    best = max(("sc", "hdc", "dc", "tr"), key=lambda kind: (tally.get(kind, 0), TURNING_CHAINS[kind]))
    return best if tally.get(best, 0) else "sc"


def row_cm(tally: Mapping[str, int], stitch_width_cm: float, *, turning: int | None = None) -> float:
    """Return the default yarn of one row, cm of each strand.

    sum over kinds of count x k x width, and once per row the turning chain, whether it counts as a stitch or not.

    Examples
    --------
    >>> round(row_cm({"dc": 99, "tch": 1}, 0.8), 1)
    1310.9
    """
    counts = Counter(tally)
    counts.pop("tch", None)
    chains = TURNING_CHAINS[main_stitch(tally)] if turning is None else turning
    counts["ch"] += chains
    return sum(n * stitch_cm(kind, stitch_width_cm) for kind, n in sorted(counts.items()) if n)


def turning_chains(row: Row) -> int:
    """Return the chains a row is turned with: its own where it says so, else those of its main stitch."""
    own = sum(step.count for part in row.parts for step in part.steps if step.kind == "turn")
    return own or TURNING_CHAINS[main_stitch(row.tally)]


def hook_from_stitch_width(stitch_width_cm: float) -> float:
    """Return the hook in mm that usually makes stitches of a width, for when the hook was not told.

    Examples
    --------
    >>> round(hook_from_stitch_width(0.9), 2)
    5.77
    """
    return 10.0 * number(stitch_width_cm, "width of a stitch", 0.05, 20, "cm") / STITCH_WIDTH_PER_HOOK


def area_working_m(area_m2: float, hook_mm: float, *, constant: float = AREA_CENTRAL) -> float:
    """Return the length in a plain fabric by the area model, metres of the strands counted once.

    Examples
    --------
    >>> area_working_m(1.0, 5.0)
    1260.0
    """
    number(area_m2, "area", 0, 1000, "m2")
    return constant * area_m2 / number(hook_mm, "hook", 1, 40, "mm")


# Standard deviation of one stitch among its neighbours as a share of its yarn. *Assumed*.
STITCH_SCATTER = 0.06
# How well another blanket stands for this one (same hook and stitch), as a standard deviation. *Assumed*.
OWN_BLANKET_SD = 0.04
# Standard deviations of laying a ruler along a pulled-out strand and along a blanket, cm. *Assumed*.
RULER_STRAND_CM = 0.3
RULER_BLANKET_CM = 1.0


@record
class WeighedRow:
    """Rows weighed by the difference of two readings, before and after."""

    # Of all those rows and all strands together.
    grams: float = held("grams of the weighed rows", low=0.1, high=100_000, unit="g")
    rows: int = held("rows weighed", low=1, high=MAX_ROWS)
    # Yarns held together in them; their bands give grams per metre.
    strands: tuple[str, ...] = held("strands weighed", longest=80, most=8)
    # Stitches in each of those rows, chains counted; None where they are rows of the planned blanket.
    stitches: int | None = held("stitches in a weighed row", default=None, low=1, high=10_000)
    # Step of the scale; each reading is off by up to half of it.
    scale_g: float = held("step of the scale", default=1.0, low=0.01, high=50, unit="g")
    kind: Literal["rows"] = "rows"  # tells one sort of measurement from another in a file


@record
class WeighedSwatch:
    """A swatch weighed once, with its foundation chain and its ends."""

    grams: float = held("grams of the swatch", low=0.1, high=100_000, unit="g")
    rows: int = held("rows of the swatch", low=1, high=1000)
    stitches: int = held("stitches of the swatch", low=1, high=1000)  # in each row, chains counted
    strands: tuple[str, ...] = held("strands weighed", longest=80, most=8)
    # Length of the end of each strand at the start and at the finish; 0 where cut off before weighing.
    tail_cm: float = held("ends of the swatch", default=0.0, low=0, high=100, unit="cm")
    scale_g: float = held("step of the scale", default=1.0, low=0.01, high=50, unit="g")
    kind: Literal["swatch"] = "swatch"  # tells one sort of measurement from another in a file


@record
class PulledStitch:
    """Stitches worked, pulled out again, and the strand laid along a ruler."""

    stitch: str = held("stitch pulled out", allowed=tuple(YARN_PER_WIDTH))  # US name: ch, sl st, sc, hdc, dc or tr
    # Of one strand over all `count` stitches.
    length_cm: float = held("length of the pulled-out strand", low=0.1, high=100_000, unit="cm")
    count: int = held("stitches pulled out", default=1, low=1, high=10_000)
    kind: Literal["stitch"] = "stitch"  # tells one sort of measurement from another in a file


@record
class OwnBlanket:
    """A finished blanket of the maker's own, with the same stitch and hook."""

    # Without border and fringe as far as possible.
    grams: float = held("grams of the finished blanket", low=1, high=100_000, unit="g")
    width_cm: float = held("width of the finished blanket", low=5, high=1000, unit="cm")
    height_cm: float = held("height of the finished blanket", low=5, high=2000, unit="cm")
    # Yarns of the plan that stand for those it was made of, one per strand held together.
    strands: tuple[str, ...] = held("strands weighed", longest=80, most=8)
    scale_g: float = held("step of the scale", default=1.0, low=0.01, high=50, unit="g")
    kind: Literal["blanket"] = "blanket"  # tells one sort of measurement from another in a file


Measured = WeighedRow | WeighedSwatch | PulledStitch | OwnBlanket


@dataclass(frozen=True, slots=True, kw_only=True)
class FabricDefaults:
    """What the default model says of the plan, to hold measurements against."""

    row_cm: float  # yarn of one repeat row, cm of each strand
    row_stitches: int
    stitch_width_cm: float
    working_m: float  # whole fabric, metres of the strands counted once
    area_m2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """Factor on the default lengths, and how sure it is."""

    factor: float = 1.0  # measured over default; 1 without measurements
    spread: float = DEFAULT_SPREAD  # half-width of the central 90 % range as a share of the length
    # `pooled`: the measurements were no surer than the default, so both count.
    basis: Literal["default", "measured", "pooled"] = "default"
    notices: tuple[Notice, ...] = ()


def bundle_g_per_m(strands: Sequence[str], yarns: Mapping[str, Yarn]) -> float:
    """Return grams in one metre of strands held together; linear densities add (ISO 1144)."""
    if not strands:
        raise YarnError("a weighed piece needs the names of its yarns; give one for each strand held together.")
    total = 0.0
    for name in strands:
        if name not in yarns:
            raise YarnError(
                "a measured piece names the yarn {given}; the yarns are {allowed}.",
                given=repr(name),
                allowed=", ".join(yarns),
            )
        band = yarns[name].put_up
        if band is None:
            raise YarnError(
                "{name} has no grams and metres; take them from its label to use a weighed piece.", name=name
            )
        total += 1 / float(band.m_per_g)
    return total


def _factor(item: Measured, yarns: Mapping[str, Yarn], plan: FabricDefaults) -> tuple[float, float]:
    """Return factor and its relative standard deviation (of the measuring alone)."""
    if isinstance(item, PulledStitch):
        expected = item.count * stitch_cm(item.stitch, plan.stitch_width_cm)
        return item.length_cm / expected, math.hypot(
            RULER_STRAND_CM / item.length_cm, STITCH_SCATTER / math.sqrt(item.count)
        )
    g_per_m = bundle_g_per_m(item.strands, yarns)
    measured_m = item.grams / g_per_m
    if isinstance(item, OwnBlanket):
        area = item.width_cm * item.height_cm / 1e4
        sd = math.hypot(OWN_BLANKET_SD, RULER_BLANKET_CM / item.width_cm, RULER_BLANKET_CM / item.height_cm)
        return (measured_m / area) / (plan.working_m / plan.area_m2), math.hypot(sd, _rounding(item, readings=1))
    share = 1.0 if item.stitches is None else item.stitches / plan.row_stitches
    expected_m = item.rows * share * plan.row_cm / 100
    stitches = item.rows * share * plan.row_stitches
    if isinstance(item, WeighedSwatch):
        expected_m += item.stitches * stitch_cm("ch", plan.stitch_width_cm) / 100
        measured_m = max(measured_m - 2 * item.tail_cm / 100, 0.01 * measured_m)
        sd = _rounding(item, readings=1)
    else:
        sd = _rounding(item, readings=2)
    return measured_m / expected_m, math.hypot(sd, STITCH_SCATTER / math.sqrt(max(stitches, 1.0)))


def _rounding(item: WeighedRow | WeighedSwatch | OwnBlanket, *, readings: int) -> float:
    """Return the relative standard deviation of readings rounded to the scale's step (uniform: step / sqrt 12)."""
    return item.scale_g * math.sqrt(readings / 12) / item.grams


def calibrate(items: Sequence[Measured], yarns: Mapping[str, Yarn], plan: FabricDefaults) -> Calibration:
    """Return the factor that measurements put on the default lengths.

    The factor is the mean of the single factors weighed by one over variance.
    The spread is the root of `WEIGHED_SPREAD` squared and 1.645 standard deviations of that mean squared.
    Where that is not below `DEFAULT_SPREAD` the default itself is pooled in as one more measurement.
    """
    if not items:
        return Calibration()
    weights, factors = [], []
    for item in items:
        factor, sd = _factor(item, yarns, plan)
        if not 1 / 3 <= factor <= 3:
            raise QuantityError(
                "a measured piece says {given} times the usual yarn for this stitch width; allowed is a third to three "
                "times; check its grams, rows and stitches, and the metres on the labels.",
                given=rounded(factor, 2),
            )
        factors.append(factor)
        weights.append(1 / max(sd, 1e-4) ** 2)
    basis: Literal["measured", "pooled"] = "measured"
    spread = math.hypot(WEIGHED_SPREAD, Z90 / math.sqrt(sum(weights)))
    notices: list[Notice] = []
    if spread >= DEFAULT_SPREAD:
        basis = "pooled"
        factors.append(1.0)
        weights.append((Z90 / math.sqrt(DEFAULT_SPREAD**2 - WEIGHED_SPREAD**2)) ** 2)
        spread = math.hypot(WEIGHED_SPREAD, Z90 / math.sqrt(sum(weights)))
        notices.append(
            note(
                "What was measured is no surer than the usual figures, so both count; weigh more rows at once.",
                "warning",
            )
        )
    mean = sum(w * f for w, f in zip(weights, factors, strict=True)) / sum(weights)
    for factor, weight in zip(factors[: len(items)], weights, strict=False):
        if abs(factor - mean) > 3 * math.hypot(1 / math.sqrt(weight), WEIGHED_SPREAD / Z90):
            notices.append(
                note(
                    "The measured pieces do not agree: one says {one} times the usual yarn, all together {mean} times; "
                    "check that one.",
                    "warning",
                    one=rounded(factor, 2),
                    mean=rounded(mean, 2),
                )
            )
    return Calibration(factor=mean, spread=spread, basis=basis, notices=tuple(notices))


def rows_to_weigh(row_g: float, wanted: float, scale_g: float = 1.0) -> int:
    """Return how many rows to weigh at once so that the need is known within a wanted share.

    Examples
    --------
    >>> rows_to_weigh(8.5, 0.06), rows_to_weigh(8.5, 0.10), rows_to_weigh(2.0, 0.06)
    (3, 1, 11)
    """
    number(row_g, "grams of a row", 0.01, 10_000, "g")
    number(scale_g, "step of the scale", 0.01, 50, "g")
    number(wanted, "wanted precision", 0.001, 1)
    if wanted <= WEIGHED_SPREAD:
        raise QuantityError(
            "a precision of {given} % was asked; tension alone wanders by {allowed} % over a blanket; "
            "ask for more than that.",
            given=Rounded(f"{100 * wanted:g}"),
            allowed=Rounded(f"{100 * WEIGHED_SPREAD:g}"),
        )
    room = math.sqrt(wanted**2 - WEIGHED_SPREAD**2)
    return max(1, math.ceil(Z90 * scale_g * math.sqrt(2 / 12) / (row_g * room) - 1e-9))

"""Measured beats default: what a weighed row, swatch, pulled stitch or own blanket says about yarn used.

Each measurement gives one factor on the default lengths and its own uncertainty.
Several are pooled with weights of one over variance.
On top comes `WEIGHED_SPREAD`, which covers how tension wanders over a whole blanket and which no weighing removes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from blendplan.errors import QuantityError, YarnError
from blendplan.units import choice, number, whole
from blendplan.wording import Notice, Rounded, note, rounded
from blendplan.yardage.models import DEFAULT_SPREAD, WEIGHED_SPREAD, YARN_PER_WIDTH, Z90, stitch_cm
from blendplan.yarn import Yarn

__all__ = [
    "Calibration",
    "FabricDefaults",
    "Measured",
    "OwnBlanket",
    "PulledStitch",
    "WeighedRow",
    "WeighedSwatch",
    "bundle_g_per_m",
    "calibrate",
    "rows_to_weigh",
]

# Standard deviation of one stitch among its neighbours as a share of its yarn. *Assumed*.
STITCH_SCATTER = 0.06
# How well another blanket stands for this one (same hook and stitch), as a standard deviation. *Assumed*.
OWN_BLANKET_SD = 0.04
# Standard deviations of laying a ruler along a pulled-out strand and along a blanket, cm. *Assumed*.
RULER_STRAND_CM = 0.3
RULER_BLANKET_CM = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighedRow:
    """Rows weighed by the difference of two readings, before and after.

    Attributes
    ----------
    grams : float
        Of all those rows and all strands together.
    rows : int
    strands : tuple of str
        Yarns held together in them; their bands give grams per metre.
    stitches : int or None
        Stitches in each of those rows, chains counted; None where they are rows of the planned blanket.
    scale_g : float
        Step of the scale; each reading is off by up to half of it.
    kind : {"rows"}
        Tells one sort of measurement from another in a file.
    """

    grams: float
    rows: int
    strands: tuple[str, ...]
    stitches: int | None = None
    scale_g: float = 1.0
    kind: Literal["rows"] = "rows"

    def __post_init__(self) -> None:
        number(self.grams, "grams of the weighed rows", 0.1, 100_000, "g")
        whole(self.rows, "rows weighed", 1, 5000)
        number(self.scale_g, "step of the scale", 0.01, 50, "g")
        if self.stitches is not None:
            whole(self.stitches, "stitches in a weighed row", 1, 10_000)


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighedSwatch:
    """A swatch weighed once, with its foundation chain and its ends.

    Attributes
    ----------
    grams : float
    rows : int
    stitches : int
        In each row, chains counted.
    strands : tuple of str
    tail_cm : float
        Length of the end of each strand at the start and at the finish; 0 where cut off before weighing.
    scale_g : float
    kind : {"swatch"}
        Tells one sort of measurement from another in a file.
    """

    grams: float
    rows: int
    stitches: int
    strands: tuple[str, ...]
    tail_cm: float = 0.0
    scale_g: float = 1.0
    kind: Literal["swatch"] = "swatch"

    def __post_init__(self) -> None:
        number(self.grams, "grams of the swatch", 0.1, 100_000, "g")
        whole(self.rows, "rows of the swatch", 1, 1000)
        whole(self.stitches, "stitches of the swatch", 1, 1000)
        number(self.tail_cm, "ends of the swatch", 0, 100, "cm")
        number(self.scale_g, "step of the scale", 0.01, 50, "g")


@dataclass(frozen=True, slots=True, kw_only=True)
class PulledStitch:
    """Stitches worked, pulled out again, and the strand laid along a ruler.

    Attributes
    ----------
    stitch : str
        US name: ch, sl st, sc, hdc, dc or tr.
    length_cm : float
        Of one strand over all `count` stitches.
    count : int
    kind : {"stitch"}
        Tells one sort of measurement from another in a file.
    """

    stitch: str
    length_cm: float
    count: int = 1
    kind: Literal["stitch"] = "stitch"

    def __post_init__(self) -> None:
        choice(self.stitch, "stitch pulled out", YARN_PER_WIDTH)
        number(self.length_cm, "length of the pulled-out strand", 0.1, 100_000, "cm")
        whole(self.count, "stitches pulled out", 1, 10_000)


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnBlanket:
    """A finished blanket of the maker's own, with the same stitch and hook.

    Attributes
    ----------
    grams : float
        Without border and fringe as far as possible.
    width_cm, height_cm : float
    strands : tuple of str
        Yarns of the plan that stand for those it was made of, one per strand held together.
    scale_g : float
    kind : {"blanket"}
        Tells one sort of measurement from another in a file.
    """

    grams: float
    width_cm: float
    height_cm: float
    strands: tuple[str, ...]
    scale_g: float = 1.0
    kind: Literal["blanket"] = "blanket"

    def __post_init__(self) -> None:
        number(self.grams, "grams of the finished blanket", 1, 100_000, "g")
        number(self.width_cm, "width of the finished blanket", 5, 1000, "cm")
        number(self.height_cm, "height of the finished blanket", 5, 2000, "cm")
        number(self.scale_g, "step of the scale", 0.01, 50, "g")


Measured = WeighedRow | WeighedSwatch | PulledStitch | OwnBlanket


@dataclass(frozen=True, slots=True, kw_only=True)
class FabricDefaults:
    """What the default model says of the plan, to hold measurements against.

    Attributes
    ----------
    row_cm : float
        Yarn of one repeat row, cm of each strand.
    row_stitches : int
    stitch_width_cm : float
    working_m : float
        Whole fabric, metres of the strands counted once.
    area_m2 : float
    """

    row_cm: float
    row_stitches: int
    stitch_width_cm: float
    working_m: float
    area_m2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """Factor on the default lengths, and how sure it is.

    Attributes
    ----------
    factor : float
        Measured over default; 1 without measurements.
    spread : float
        Half-width of the central 90 % range as a share of the length.
    basis : {"default", "measured", "pooled"}
        `pooled`: the measurements were no surer than the default, so both count.
    notices : tuple of Notice
    """

    factor: float = 1.0
    spread: float = DEFAULT_SPREAD
    basis: Literal["default", "measured", "pooled"] = "default"
    notices: tuple[Notice, ...] = ()


def bundle_g_per_m(strands: Sequence[str], yarns: Mapping[str, Yarn]) -> float:
    """Return grams in one metre of strands held together; linear densities add (ISO 1144).

    Raises
    ------
    YarnError
        If a yarn is not known or its band was not given.
    """
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
                "{name} has no grams and metres; take them from its band to use a weighed piece.", name=name
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

    Notes
    -----
    The factor is the mean of the single factors weighed by one over variance.
    The spread is the root of `WEIGHED_SPREAD` squared and 1.645 standard deviations of that mean squared.
    Where that is not below `DEFAULT_SPREAD` the default itself is pooled in as one more measurement.

    Raises
    ------
    QuantityError
        If a measurement is less than a third or more than three times the default: most likely a wrong entry.
    YarnError
        If grams cannot be turned into metres.
    """
    if not items:
        return Calibration()
    weights, factors = [], []
    for item in items:
        factor, sd = _factor(item, yarns, plan)
        if not 1 / 3 <= factor <= 3:
            raise QuantityError(
                "a measured piece says {given} times the usual yarn for this stitch width; allowed is a third to three "
                "times; check its grams, rows and stitches, and the metres on the bands.",
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

    Parameters
    ----------
    row_g : float
        Grams of one row as far as known, 0.01 to 10 000.
    wanted : float
        Half-width of the central 90 % range as a share of the length, above `WEIGHED_SPREAD` and up to 1.
    scale_g : float
        Step of the scale.

    Raises
    ------
    QuantityError
        If the wanted precision is not above what tension itself wanders, which no number of rows reaches.

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

"""Yarn in a stitch: the row model and the area model, both free of any one yarn.

Row model: a stitch takes `YARN_PER_WIDTH[kind]` times the stitch width, so a row takes that many times its straight
width.
Area model: a square metre takes 6300 m of the strands counted once, divided by the hook in mm.
Both hold for any number of strands as long as hook and yarn suit each other, since thicker strands make wider
stitches in the same measure.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Protocol

from blendplan.errors import QuantityError
from blendplan.fabric.rows import Row
from blendplan.units import number

__all__ = [
    "AREA_BUYING",
    "AREA_CENTRAL",
    "DEFAULT_SPREAD",
    "HEIGHT_PER_WIDTH",
    "STITCH_WIDTH_PER_HOOK",
    "TURNING_CHAINS",
    "WEIGHED_SPREAD",
    "YARN_PER_WIDTH",
    "Z90",
    "StitchGauge",
    "WorkedRows",
    "area_working_m",
    "hook_from_stitch_width",
    "main_stitch",
    "row_cm",
    "stitch_cm",
    "turning_chains",
]

# Yarn of one stitch over its width. Trade facts read November 2026, *measured* by makers on single items for ch, sc
# and dc (chains 4.8-5.1; sc from areas 7.9 and a ripple 8.2; dc 14.7-17.2), derived for hdc and tr; `sl st` is
# *assumed* to take what a chain takes.
YARN_PER_WIDTH: Mapping[str, float] = {"ch": 5.0, "sl st": 5.0, "sc": 8.0, "hdc": 12.0, "dc": 16.0, "tr": 23.0}

# Chains to turn with, US terms. Common practice (makers' pages quoting guild lessons, read November 2026).
TURNING_CHAINS: Mapping[str, int] = {"sl st": 0, "sc": 1, "hdc": 2, "dc": 3, "tr": 4}

# Height of a stitch over its width: inverse of the measured width : height (sc 1.10, hdc 0.73, dc 0.55, tr 0.38).
HEIGHT_PER_WIDTH: Mapping[str, float] = {"sc": 1 / 1.10, "hdc": 1 / 0.73, "dc": 1 / 0.55, "tr": 1 / 0.38}

# Metres of the strands counted once in a square metre, times the hook in mm. Fitted to plain-fabric examples (trade
# facts, read November 2026), *measured*, within 15 %; the second is the same with 5 % for buying.
AREA_CENTRAL = 6300.0
AREA_BUYING = 6600.0

# Stitch width in mm over the hook in mm. A dc of 13 cm on a 5.2 mm hook at 16 times its width is 8.1 mm wide;
# measured gauges give 1.44 to 1.68. *Assumed* where the hook is not told.
STITCH_WIDTH_PER_HOOK = 1.56

# Half-width of the central 90 % range, as a share of the length: stitches not measured, and a row weighed.
DEFAULT_SPREAD = 0.15
WEIGHED_SPREAD = 0.05

# 95th percentile of the standard normal distribution: half-width of a central 90 % range in standard deviations.
Z90 = 1.6448536269514722


class WorkedRows(Protocol):
    """What the estimate needs of a worked ripple: its foundation chain and its rows."""

    @property
    def chain(self) -> int:
        """Chains of the foundation, those to turn with included."""
        ...

    def row_at(self, number: int, /) -> Row:
        """Return the row of a number, counted from 1."""
        ...


class StitchGauge(Protocol):
    """What the estimate needs of a gauge: the flat size of one stitch."""

    @property
    def stitch_width_cm(self) -> float:
        """Width of one stitch."""
        ...

    @property
    def row_height_cm(self) -> float:
        """Height of one row."""
        ...


def stitch_cm(kind: str, stitch_width_cm: float) -> float:
    """Return the default yarn of one stitch of a kind, cm of each strand.

    Parameters
    ----------
    kind : str
        A key of `YARN_PER_WIDTH` (US terms).
    stitch_width_cm : float
        Flat width of one stitch of the fabric, 0.05 to 20 cm.

    Raises
    ------
    QuantityError
        If the kind is not known or the width out of range.

    Examples
    --------
    >>> stitch_cm("dc", 0.8125)
    13.0
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

    Parameters
    ----------
    tally : mapping of str to int
        How many of each kind of stitch; `tch` (the turning chain) may be among them and is left out.
    stitch_width_cm : float
        Flat width of one stitch, cm.
    turning : int, optional
        Chains of the turning chain; None takes those of the row's main stitch, 0 leaves it out.

    Notes
    -----
    sum over kinds of count x k x width, and once per row the turning chain, whether it counts as a stitch or not.

    Examples
    --------
    >>> round(row_cm({"dc": 99, "tch": 1}, 0.8), 1)
    1279.2
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

    Parameters
    ----------
    area_m2 : float
        0 to 1000 square metres.
    hook_mm : float
        1 to 40 mm.
    constant : float
        `AREA_CENTRAL`, or `AREA_BUYING` for 5 % more.

    Examples
    --------
    >>> area_working_m(1.0, 5.0)
    1260.0
    """
    number(area_m2, "area", 0, 1000, "m2")
    return constant * area_m2 / number(hook_mm, "hook", 1, 40, "mm")

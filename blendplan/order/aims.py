"""What makes an order good: each aim a formula, and their mixture.

Let s(a, b) be the sum of the single CIEDE2000 steps from colour a to colour b (through the blend where there is
one), h one single step, L* and C* CIELAB lightness and chroma, p a place counted from 0.

=============== ============================================================== ====================
aim             cost of an order, least is best                                unit
=============== ============================================================== ====================
smoothest       sum of s(a, b) over neighbours                                 CIEDE2000
even            largest single step h; of equal ones the least sum of s        CIEDE2000
steady          variance of the single steps h                                 CIEDE2000 squared
contrast        sum over neighbours of (largest s in the palette - s(a, b))    CIEDE2000
light-to-dark   sum over places of abs(L* - L* of place p)                     L*
dark-to-light   the same with the places turned round                          L*
hue             sum over neighbours of the forward turn of hue angle           degrees
high-low        sum over neighbours of (largest L* gap - abs(gap of L*))       L*
ends            CIEDE2000 from the first colour to a wanted start,             CIEDE2000
                and from the last to a wanted end
own             sum over colours of how many places it stands from its place   places
                in her own order
follow          sum over places of CIEDE2000 to the shade wanted there         CIEDE2000
=============== ============================================================== ====================

"L* of place p" comes from the palette sorted by lightness, read off evenly at the k places, so a sorted order of
the whole palette costs 0.
An aim alone that leaves orders equal (most do) prefers the one with the least sum of s among them.
In `hue` the turn is counted one way round (red, yellow, green, blue, red); a colour of C* below `GREY_CHROMA` has
no hue to speak of, and a step between it and a coloured one counts as half a turn, two greys 0.

A mixture is the weighed sum of the aims, each divided by its value for a random order (the exact mean over all
orders for sums; the largest step of the palette for `even`; the variance of all its steps for `steady`).
So 0.5 means "half of what shuffling gives", whatever the unit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from blendplan.colour import Floats, delta_e_2000
from blendplan.errors import StripeError
from blendplan.order.steps import StepTable
from blendplan.units import number
from blendplan.wording import Notice, note

__all__ = ["AIMS", "GREY_CHROMA", "Objective", "Targets", "check_aim", "objective"]

AIMS = {
    "smoothest": "the least total step from stripe to stripe",
    "even": "the smallest largest step",
    "steady": "steps as alike as can be",
    "contrast": "the greatest total step",
    "light-to-dark": "from the lightest colour to the darkest",
    "dark-to-light": "from the darkest colour to the lightest",
    "hue": "round the hue circle",
    "high-low": "light and dark by turns",
    "ends": "near a wanted start and end",
    "own": "near her own order",
    "follow": "along the shades of a picture",
}

# Below this CIELAB chroma a hue angle says little. Assumed (our own choice; about the chroma of undyed wool).
GREY_CHROMA = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Targets:
    """What some aims are measured against.

    Attributes
    ----------
    start, end : tuple of 3 floats or None
        CIELAB of the wanted first and last colour, for `ends`.
    own : tuple of str
        Her own order, for `own`.
    follow : tuple of tuple of 3 floats
        CIELAB of the shades along a line, first to last, for `follow`.
    """

    start: tuple[float, float, float] | None = None
    end: tuple[float, float, float] | None = None
    own: tuple[str, ...] = ()
    follow: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Objective:
    """An aim as numbers for the search.

    Attributes
    ----------
    edges : ndarray, shape (m, m)
    places : ndarray, shape (k, m)
        The additive part.
    halves : ndarray, shape (m, m, h)
        Single steps, for the two parts that do not add up.
    w_max, w_var : float
        Weights of the largest single step and of the variance of the single steps.
    tie : ndarray, shape (m, m)
        Decides between orders of equal cost: the sum of steps for an aim alone that leaves ties, else zeros.
    """

    edges: Floats
    places: Floats
    halves: Floats
    w_max: float
    w_var: float
    tie: Floats


def check_aim(aim: str | Mapping[str, float]) -> tuple[tuple[str, float], ...]:
    """Return aims and weights, weights above 0, in the order of `AIMS`.

    Raises
    ------
    StripeError
        If an aim is unknown or no weight is above 0.
    QuantityError
        If a weight is not a number from 0 to 1000.

    Examples
    --------
    >>> check_aim("hue"), check_aim({"smoothest": 2, "high-low": 0})
    ((('hue', 1.0),), (('smoothest', 2.0),))
    """
    given = {aim: 1.0} if isinstance(aim, str) else dict(aim)
    for name in given:
        if name not in AIMS:
            raise StripeError("{given} is not an aim; choose one of {aims}.", given=repr(name), aims=", ".join(AIMS))
    weights = {name: number(w, f"weight of {name}", 0, 1000) for name, w in given.items()}
    kept = tuple((name, weights[name]) for name in AIMS if weights.get(name, 0.0) > 0)
    if not kept:
        raise StripeError("no aim has a weight above 0; give one of {aims} a weight.", aims=", ".join(AIMS))
    return kept


def _ramp(values: Floats, k: int) -> Floats:
    """Read sorted values off evenly at k places, largest first."""
    ranked = np.sort(values)[::-1]
    return np.asarray(np.interp(np.linspace(0, len(ranked) - 1, k), np.arange(len(ranked)), ranked))


def _hue_turns(lab: Floats) -> Floats:
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360
    grey = np.hypot(lab[:, 1], lab[:, 2]) < GREY_CHROMA
    turns = (hue[None, :] - hue[:, None]) % 360
    turns[grey[:, None] ^ grey[None, :]] = 180.0
    turns[grey[:, None] & grey[None, :]] = 0.0
    np.fill_diagonal(turns, 0.0)
    return np.asarray(turns)


def _need(value: object, aim: str, what: Notice) -> None:
    if not value:
        raise StripeError("the aim {aim} needs {what}; give it or choose another aim.", aim=repr(aim), what=what)


def _edges(name: str, table: StepTable, total: Floats) -> Floats:
    """Cost of neighbours of one aim."""
    light = table.lab[:, 0]
    if name == "smoothest":
        return total
    if name == "contrast":
        return np.asarray(total.max(initial=0.0) - total)
    if name == "high-low":
        gap = np.abs(light[:, None] - light[None, :])
        return np.asarray(gap.max(initial=0.0) - gap)
    return _hue_turns(table.lab) if name == "hue" else np.zeros_like(total)


def _places(name: str, table: StepTable, k: int, targets: Targets) -> Floats:
    """Cost of places of one aim."""
    places = np.zeros((k, len(table.lab)))
    if name in ("light-to-dark", "dark-to-light"):
        light = table.lab[:, 0]
        wanted = _ramp(light, k)
        return np.abs(light[None, :] - (wanted if name == "light-to-dark" else wanted[::-1])[:, None])
    if name == "ends":
        _need(targets.start or targets.end, name, note("a wanted start or end colour"))
        if targets.start:
            places[0] += delta_e_2000(table.lab, targets.start)
        if targets.end:
            places[-1] += delta_e_2000(table.lab, targets.end)
    elif name == "own":
        _need(targets.own, name, note("her own order"))
        spots: dict[str, list[int]] = {}
        for p, colour in enumerate(targets.own):
            spots.setdefault(colour, []).append(p)
        for i, colour in enumerate(table.names):
            if colour in spots:
                away = np.abs(np.arange(k)[:, None] - np.array(spots[colour])[None, :])
                places[:, i] = away.min(axis=1)
    elif name == "follow":
        _need(targets.follow, name, note("the shades to follow"))
        along = np.array(targets.follow)
        at = np.linspace(0, len(along) - 1, k)
        low = np.floor(at).astype(int)
        high = np.minimum(low + 1, len(along) - 1)
        shades = along[low] + (at - low)[:, None] * (along[high] - along[low])
        places = np.asarray(delta_e_2000(shades[:, None], table.lab[None, :]))
    return places


def objective(
    aim: tuple[tuple[str, float], ...], table: StepTable, k: int, targets: Targets, closed: bool = False
) -> Objective:
    """Return the numbers of a mixture of aims over the items of a step table.

    Parameters
    ----------
    aim : tuple of (str, float)
        As `check_aim` returns it.
    table : StepTable
        One row for each item.
    k : int
        Number of places.
    """
    m = len(table.lab)
    total, halves = table.total, table.halves
    off = ~np.eye(m, dtype=bool)
    edges, places, w_max, w_var = np.zeros((m, m)), np.zeros((k, m)), 0.0, 0.0
    alone = len(aim) == 1
    borders = k if closed and k > 1 else k - 1
    for name, weight in aim:
        if name == "even":
            w_max = 1.0 if alone else weight / max(float(halves.max(initial=0.0)), 1e-9)
            continue
        if name == "steady":
            spread = float(halves[off].var()) if m > 1 else 0.0
            w_var = 1.0 if alone else weight / max(spread, 1e-9)
            continue
        e, p = _edges(name, table, total), _places(name, table, k, targets)
        mean = (e[off].mean() if m > 1 else 0.0) * borders + p.mean(axis=1).sum()
        scale = 1.0 if alone else weight / max(float(mean), 1e-9)
        edges, places = edges + scale * e, places + scale * p
    tie = total if alone and aim[0][0] not in ("smoothest", "steady") else np.zeros((m, m))
    return Objective(edges=edges, places=places, halves=halves, w_max=w_max, w_var=w_var, tie=tie)

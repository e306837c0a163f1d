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

from blendplan.blend.pair import pair_labs
from blendplan.blend.strands import Viewing
from blendplan.colour import Floats, delta_e_2000, lab_to_hex
from blendplan.errors import StripeError
from blendplan.units import number
from blendplan.wording import Notice, note
from blendplan.yarn import Yarn


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class StepTable:
    """All steps from one colour to the next, for every pair."""

    names: tuple[str, ...]  # length n
    lab: Floats  # (n, 3), CIELAB (D65) of each yarn
    direct: Floats  # (n, n), CIEDE2000 between the two solid stripes, as if no blend stood between
    # (n, n, h), the single steps in the order they are crocheted: h = 2 with a blend, (A to AB, AB to B); h = 1
    # without. With weights by height each is already multiplied by its weight.
    halves: Floats
    mixed: Floats  # (n, n, 3), CIELAB of the blend of each pair, solids on the diagonal

    @property
    def total(self) -> Floats:
        """Sum of the single steps of each pair, shape (n, n)."""
        return np.asarray(self.halves.sum(axis=2))

    @property
    def largest(self) -> Floats:
        """The larger single step of each pair, shape (n, n)."""
        return np.asarray(self.halves.max(axis=2))

    @property
    def blended(self) -> bool:
        """True where a blend stripe stands between two colours."""
        return bool(self.halves.shape[2] == 2)

    def via(self, i: int, j: int) -> str:
        """Return `#rrggbb` of the blend of colours `i` and `j`, or an empty text where no blend is made."""
        if not self.blended or i == j:
            return ""
        return lab_to_hex(self.mixed[i, j])


def step_matrix(
    yarns: tuple[Yarn, ...],
    *,
    viewing: Viewing | None = None,
    blend_rows: int = 2,
) -> StepTable:
    """Return the steps between every two yarns.

    `viewing`: how far away blends are judged from; the sofa (2 m) by default; `blend_rows`: 0 leaves the blends out.

    A blend that leaves sRGB is taken as it is, so that the step does not depend on the screen.
    CIEDE2000 is not a metric: the way through a blend can be shorter or longer than the direct step.
    """
    lab = np.array([y.lab for y in yarns], dtype=np.float64).reshape(-1, 3)
    direct = np.asarray(delta_e_2000(lab[:, None], lab[None, :]))
    mixed = pair_labs(yarns, viewing)
    if blend_rows:
        first = np.asarray(delta_e_2000(lab[:, None], mixed))
        np.fill_diagonal(first, 0.0)
        halves = np.stack([first, first.T], axis=-1)
    else:
        halves = direct[:, :, None].copy()
    return StepTable(names=tuple(y.name for y in yarns), lab=lab, direct=direct, halves=halves, mixed=mixed)


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
    """What some aims are measured against."""

    # start, end: cIELAB of the wanted first and last colour, for `ends`.
    start: tuple[float, float, float] | None = None
    end: tuple[float, float, float] | None = None
    own: tuple[str, ...] = ()  # her own order, for `own`
    # CIELAB of the shades along a line, first to last, for `follow`.
    follow: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Objective:
    """An aim as numbers for the search."""

    edges: Floats  # (m, m)
    places: Floats  # (k, m), the additive part
    halves: Floats  # (m, m, h), single steps, for the two parts that do not add up
    w_max: float  # w_max, w_var: weights of the largest single step and of the variance of the single steps
    w_var: float
    # (m, m), decides between orders of equal cost: the sum of steps for an aim alone that leaves ties, else zeros.
    tie: Floats


def check_aim(aim: str | Mapping[str, float]) -> tuple[tuple[str, float], ...]:
    """Return aims and weights, weights above 0, in the order of `AIMS`.

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

    `aim`: as `check_aim` returns it; `table`: one row for each item; `k`: number of places.
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

"""While working: rows done and grams left bring the estimate up to date, and what remains is forecast.

The estimator is the normal (Kalman) update of two things on a logarithmic scale: one factor for the maker's tension,
common to all colours, with the plan's spread as prior; and one factor for each colour's thickness.
What a colour has used so far over what was planned is their sum, seen through the rounding of the scale.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from blendplan.errors import QuantityError, YarnError
from blendplan.stripes.model import Stripe, total_rows
from blendplan.units import number, whole
from blendplan.wording import Notice, Rounded, note, rounded
from blendplan.yardage.extras import tail_counts
from blendplan.yardage.length import Yardage
from blendplan.yardage.models import WEIGHED_SPREAD, Z90
from blendplan.yardage.settings import YardageSettings
from blendplan.yardage.skeins import normal_cdf
from blendplan.yarn import PutUp, Yarn

__all__ = ["ColourForecast", "Progress", "bands_of", "starts_of", "update"]

# Standard deviation of the grams that one colour takes beside another of the same yarn. *Assumed*: makers tell of
# colours that seem thicker, nobody gives a figure.
COLOUR_SD = 0.03
# Standard deviation of a stretch of work about the maker's own mean, beside the rounding of the scale. *Assumed*.
WORK_SD = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourForecast:
    """One colour, so far and to the end.

    Attributes
    ----------
    name : str
    used_g, planned_used_g : float
        Grams used so far, weighed (as expected where it was not weighed) and as planned.
    weighed : bool
    left_g : float
        Grams there are now, skeins not opened yet among them.
    factor : float
        Grams used over planned, tension and thickness together, after the update.
    need_g, low_g, high_g : float
        Grams for what is not yet worked, and the ends of the central 90 % range.
    chance_short : float
    """

    name: str
    used_g: float
    planned_used_g: float
    weighed: bool
    left_g: float
    factor: float
    need_g: float
    low_g: float
    high_g: float
    chance_short: float

    @property
    def spare_g(self) -> float:
        """Grams left over as expected; below zero where they do not reach."""
        return self.left_g - self.need_g


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """The estimate brought up to date.

    Attributes
    ----------
    rows_done, rows_planned : int
    factor : float
        The maker's tension over the plan's.
    relative_spread : float
        Half-width of the central 90 % range of what remains, as a share of it, thickness of colours left out.
    colours : tuple of ColourForecast
    short : tuple of str
        Colours whose chance of running short is above the accepted one, worst first.
    notices : tuple of Notice
    """

    rows_done: int
    rows_planned: int
    factor: float
    relative_spread: float
    colours: tuple[ColourForecast, ...]
    short: tuple[str, ...]
    notices: tuple[Notice, ...]

    def colour(self, name: str) -> ColourForecast:
        """Return the forecast of one colour (KeyError if there is none)."""
        return {c.name: c for c in self.colours}[name]


def _split_m(
    stripes: Sequence[Stripe], yardage: Yardage, rows_done: int, settings: YardageSettings
) -> tuple[dict[str, float], dict[str, float]]:
    """Return planned metres of each colour used so far, and still to be used."""
    done: defaultdict[str, float] = defaultdict(float)
    row = 0
    for stripe in stripes:
        for _ in range(stripe.rows):
            if row < rows_done:
                for name in stripe.strands:
                    done[name] += yardage.rows_m[row] + (0.0 if row else yardage.foundation_m)
            row += 1
    begun = [s for s, first in zip(stripes, starts_of(stripes), strict=True) if first < rows_done]
    if begun:
        # Ends at the hook are not cut yet: those of the strands now held still belong to the skeins.
        tails = tail_counts(begun)
        tails.subtract(begun[-1].strands)
        for name, n in tails.items():
            done[name] += n * settings.tail_cm / 100
    ahead = {c.name: max(0.0, c.need_m - done[c.name]) for c in yardage.colours}
    return dict(done), ahead


def starts_of(stripes: Sequence[Stripe]) -> list[int]:
    """Return the rows before each stripe."""
    starts, row = [], 0
    for stripe in stripes:
        starts.append(row)
        row += stripe.rows
    return starts


def bands_of(yardage: Yardage, yarns: Sequence[Yarn]) -> dict[str, PutUp]:
    """Return the band of every colour that the blanket uses; refuse where one is not known."""
    known = {y.name: y.put_up for y in yarns}
    out = {}
    for colour in yardage.colours:
        band = known.get(colour.name)
        if band is None:
            raise YarnError(
                "{name} has no grams and metres; take them from its band to follow it by weight.", name=colour.name
            )
        out[colour.name] = band
    return out


def update(
    stripes: Sequence[Stripe],
    yardage: Yardage,
    yarns: Sequence[Yarn],
    *,
    rows_done: int,
    grams_left: Mapping[str, float],
    grams_start: Mapping[str, float] | None = None,
    settings: YardageSettings | None = None,
) -> Progress:
    """Return the estimate brought up to date with what has been weighed.

    Parameters
    ----------
    stripes, yardage, yarns, settings
        As planned.
    rows_done : int
        0 to all rows.
    grams_left : mapping of str to float
        Weighed now, per colour, all its skeins and balls together. Colours may be missing: the others tell of the
        tension.
    grams_start : mapping of str to float, optional
        What there was at the start; by default the yarn on hand and the skeins the plan buys, by their bands.

    Raises
    ------
    QuantityError
        If rows or grams are out of range, or more is left than there was.
    YarnError
        If a colour is not in the plan or has no band.

    Notes
    -----
    State x = (k, e_1 .. e_n), prior N(0, diag(s_k^2, s_e^2 ..)) with s_k the plan's spread over 1.645 and s_e 3 %.
    A colour c that was to use u_c grams and used g_c gives z_c = ln(g_c / u_c) = k + e_c + noise, of variance
    (scale / sqrt 6 / g_c)^2 + 0.01^2; the update is the usual one for normals.
    What remains is the planned remainder times exp(k + e_c); its variance is that of k + e_c and of how tension
    wanders (`WEIGHED_SPREAD`). A colour less than 3 scale steps into its skeins is not weighed yet.
    """
    settings = settings or YardageSettings()
    planned = total_rows(stripes)
    whole(rows_done, "rows done", 0, planned)
    bands = bands_of(yardage, yarns)
    start = _start_grams(yardage, bands, grams_start)
    for name in grams_left:
        if name not in bands:
            raise YarnError(
                "{given} was weighed and is not in the plan; the colours are {allowed}.",
                given=repr(name),
                allowed=", ".join(bands),
            )
    done_m, ahead_m = _split_m(stripes, yardage, rows_done, settings)
    names = list(bands)
    planned_used = {n: done_m.get(n, 0.0) / float(bands[n].m_per_g) for n in names}
    mean, cov, weighed = _posterior(
        names=names,
        planned=planned_used,
        start=start,
        left=grams_left,
        spread=yardage.relative_spread,
        scale_g=settings.scale_g,
    )
    wander = (WEIGHED_SPREAD / Z90) ** 2
    colours = []
    for i, name in enumerate(names):
        factor = math.exp(mean[0] + mean[1 + i])
        variance = cov[0, 0] + cov[1 + i, 1 + i] + 2 * cov[0, 1 + i] + wander
        need = ahead_m[name] / float(bands[name].m_per_g) * factor
        used = start[name] - grams_left[name] if name in grams_left else planned_used[name] * factor
        left = grams_left[name] if name in grams_left else max(0.0, start[name] - used)
        sd = math.hypot(need * math.sqrt(variance), settings.scale_g / math.sqrt(12))
        colours.append(
            ColourForecast(
                name=name,
                used_g=used,
                planned_used_g=planned_used[name],
                weighed=name in weighed,
                left_g=left,
                factor=factor,
                need_g=need,
                low_g=max(0.0, need - Z90 * sd),
                high_g=need + Z90 * sd,
                chance_short=normal_cdf((need - left) / sd) if need else 0.0,
            )
        )
    at_risk = sorted((-c.chance_short, c.name) for c in colours if c.chance_short > settings.chance_short)
    short = tuple(name for _, name in at_risk)
    factor = math.exp(mean[0])
    spread = Z90 * math.sqrt(cov[0, 0] + wander)
    return Progress(
        rows_done=rows_done,
        rows_planned=planned,
        factor=factor,
        relative_spread=min(spread, max(yardage.relative_spread, WEIGHED_SPREAD)),
        colours=tuple(colours),
        short=short,
        notices=_told(rows_done, planned, factor, [c for c in colours if c.name in short]),
    )


def _start_grams(yardage: Yardage, bands: Mapping[str, PutUp], given: Mapping[str, float] | None) -> dict[str, float]:
    out = {}
    for colour in yardage.colours:
        skeins = colour.skeins_on_hand + (colour.buy_skeins or 0)
        grams = skeins * float(bands[colour.name].mass_g) + sum(colour.parts_g)
        if given is not None and colour.name in given:
            grams = number(given[colour.name], f"grams of {colour.name} at the start", 0, 1e6, "g")
        out[colour.name] = grams
    return out


def _posterior(
    *,
    names: Sequence[str],
    planned: Mapping[str, float],
    start: Mapping[str, float],
    left: Mapping[str, float],
    spread: float,
    scale_g: float,
) -> tuple[np.ndarray, np.ndarray, set[str]]:
    """Return mean and covariance of (k, e_1 ..) and the colours that told something."""
    n = len(names)
    prior = np.diag([(spread / Z90) ** 2] + [COLOUR_SD**2] * n)
    rows, seen, noise, weighed = [], [], [], set()
    for i, name in enumerate(names):
        if name not in left:
            continue
        grams = number(left[name], f"grams left of {name}", 0, 1e6, "g")
        used = start[name] - grams
        if used < -scale_g:
            raise QuantityError(
                "{name}: {given} g are left, and there were {allowed} g at the start; weigh again or mend the start.",
                name=name,
                given=Rounded(f"{grams:g}"),
                allowed=Rounded(f"{start[name]:g}"),
            )
        if planned[name] < 3 * scale_g or used < scale_g:
            continue
        row = np.zeros(n + 1)
        row[0] = row[1 + i] = 1
        rows.append(row)
        seen.append(math.log(used / planned[name]))
        noise.append((scale_g / math.sqrt(6) / used) ** 2 + WORK_SD**2)
        weighed.add(name)
    if not rows:
        return np.zeros(n + 1), prior, weighed
    h = np.array(rows)
    gain = prior @ h.T @ np.linalg.inv(h @ prior @ h.T + np.diag(noise))
    return gain @ np.array(seen), (np.eye(n + 1) - gain @ h) @ prior, weighed


def _told(done: int, planned: int, factor: float, short: Sequence[ColourForecast]) -> tuple[Notice, ...]:
    out = [
        note(
            "After {done} of {planned} rows the work takes {factor} times the planned yarn.",
            done=done,
            planned=planned,
            factor=rounded(factor, 2),
        )
    ]
    out += [
        note(
            "{name} may run short: {left} g are left and {need} g are needed ({low} to {high}); the chance is "
            "{chance} %.",
            "warning",
            name=c.name,
            left=f"{c.left_g:.0f}",
            need=f"{c.need_g:.0f}",
            low=f"{c.low_g:.0f}",
            high=f"{c.high_g:.0f}",
            chance=f"{100 * c.chance_short:.0f}",
        )
        for c in short
    ]
    return tuple(out)

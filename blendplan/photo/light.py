"""From what a photo shows of things whose colour is known to a small camera, and by it to neutral daylight.

White paper, a grey card, a yarn whose shade is known, the patches of a colour card: whatever references a photo
shows take part in one fit. The camera has a gain for each of the eye's three kinds of cone (Bradford), one tone curve
of a power and a shoulder for all channels, and a mixing of the channels that keeps greys grey. Each number is drawn
to what cameras usually do, so one reference is enough, and more say more. What the references leave open is kept, and
says how far a colour may be off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blendplan.colour import delta_e_2000, linear_to_hex, linear_to_lab, linear_to_srgb, linear_to_xyz, srgb_to_linear
from blendplan.errors import PhotoError
from blendplan.wording import Notice, note, rounded

Floats = NDArray[np.float64]
Triple = tuple[float, float, float]
Kind = Literal["white", "grey", "known", "card"]

# Reflectance of plain white paper (assumed: makers state .85 to .90 without brightener) and of the photographer's grey
# card (common practice).
PAPER_LEVEL, GREY_CARD_LEVEL = 0.86, 0.18

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
# Linear sRGB to the cones of the Bradford transform (ICC.1:2022, annex E).
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
_CONES = _BRADFORD @ linear_to_xyz(np.eye(3)).T
_FROM_CONES = np.linalg.inv(_CONES)

# Light that coding and haze put on black, linear; cards gain .1 by it, .001 to .008 do alike.
_BLACK = 0.002
# What the camera below leaves of a colour, one standard deviation in each direction of CIEDE2000: half a card, judged
# on the other half.
NOISE = 2.6
# More where the light is not neutral, for each step of natural log of red over blue beyond _CAST up to so many, and
# where white is a dark grey, for each code below _DIM: 19,000 patches of the cards under nine sets of references.
_PER_CAST, _CAST, _MOST_CAST, _PER_DIM, _DIM = 3.6, 0.3, 1.5, 0.06, 110.0
# Paper wide enough to show how light goes over the photo leaves so much of the common doubt, and so much of its own:
# path-traced skeins and drawn yarn, whose cameras are plainer than those of the cards.
_WIDE, _WIDE_NOISE = 0.2, 0.8
# How far the level of a light lent to another photo is off, natural log, where both exposures are known and where they
# are not: cameras choose them by what they see. Assumed, from .7 EV between photos more or less.
_LENT_LEVEL, _LENT_BLIND = 0.1, 0.3
_PLAIN_CAMERA = (0.0, 0.0, 0.0, 1.0, *(0.0,) * 7)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """A thing in the photo whose colour is known."""

    kind: Kind
    linear_rgb: Triple  # what the photo shows of it, linear sRGB: the mean of its light
    # Its colour in linear sRGB under D65 against a perfect white; luminance .002 to 1.
    wanted: Triple
    x: float = 0.0  # x, y: its place, -1 to 1 over the photo's width and height
    y: float = 0.0
    # How the light of a thing like it goes over the photo, where it is large enough to show that: coefficients of
    # natural log light for the terms 1, x, y, xx, xy, yy. Only its differences count.
    field: tuple[Triple, ...] = ()
    # How far its own colour may be off in each direction, and its lightness besides; CIEDE2000, one
    # standard deviation.
    doubt: float = 0.0
    doubt_light: float = 0.0

    def __post_init__(self) -> None:
        shown, wanted = np.asarray(self.linear_rgb, dtype=float), np.asarray(self.wanted, dtype=float)
        if (
            shown.shape != (3,)
            or wanted.shape != (3,)
            or not np.isfinite([*shown, *wanted, self.doubt, self.doubt_light]).all()
        ):
            raise PhotoError("a reference needs three channels of what is shown and of its colour; choose it again.")
        if not 0.002 <= float(wanted @ LUMINANCE) <= 1.0 + 1e-9 or wanted.min() < -0.2 or wanted.max() > 1.2:
            raise PhotoError(
                "a reference of reflectance {given} was given; allowed is 0.002 to 1, a perfect white.",
                given=rounded(float(wanted @ LUMINANCE), 3),
            )
        if float(shown @ LUMINANCE) < 1e-4:
            raise PhotoError("{which} shows as black in the photo; choose a lighter place.", which=self.called)

    @property
    def called(self) -> Notice:
        """What a sentence calls it."""
        if self.kind == "white":
            return note("the white")
        if self.kind == "grey":
            return note("the grey of reflectance {level}", level=rounded(float(np.dot(self.wanted, LUMINANCE)), 2))
        if self.kind == "known":
            return note("the known colour {hex}", hex=linear_to_hex(self.wanted))
        return note("the card's patch {hex}", hex=linear_to_hex(self.wanted))


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """How far a colour may be off, CIEDE2000, as covariances of CIELAB weighed as CIEDE2000 weighs it."""

    common: tuple[Triple, ...]  # what all colours of the photo share, each in its measure: light and camera
    own: float  # standard deviation in each direction of what no fit of a small camera reaches

    @property
    def whole(self) -> Floats:
        """Both together, shape (3, 3)."""
        return np.asarray(self.common) + self.own**2 * np.eye(3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """The light and the camera of a photo, as its references tell them; without any, the photo stays as it is."""

    seen: tuple[Reference, ...] = ()  # what it was fitted to
    residuals: tuple[float, ...] = ()  # how far each of them still lies from its colour, CIEDE2000
    # Natural log of level, blue and green of the gains; power and shoulder of the tone curve, log light = power x log
    # shown + shoulder x shown^2; and the six of the mixing that are not on its diagonal.
    numbers: tuple[float, ...] = _PLAIN_CAMERA
    spread: tuple[tuple[float, ...], ...] = ()  # covariance of the numbers
    # Natural log of what the photo shows of one reference over the photo; see `Reference.field`.
    field: tuple[Triple, ...] = ()
    place: tuple[float, float] = (0.0, 0.0)  # where that reference lies
    white_code: float = 0.0  # about the code (0 to 255) of a white of .9 in the photo; 0 without references
    lent: bool = False  # true if the references lie in another photo
    level_known: bool = True  # false if it was lent without knowing how long the two photos were exposed

    def __post_init__(self) -> None:
        n = 11
        rows = [*self.spread, *self.field]
        whole = len(self.numbers) == n and len(self.field) in (0, 1, 3, 6) and all(len(row) == n for row in self.spread)
        sizes = np.abs([*self.numbers, *self.place, *(v for row in rows for v in row), self.white_code / 25])
        if not whole or len(self.spread) not in (0, n) or not (sizes < 60).all() or self.numbers[3] < 0.1:
            raise PhotoError("the light kept for a photo cannot be one; remove that entry.")

    @property
    def white(self) -> Triple:
        """What the photo shows of a perfect white at the references' place, linear sRGB."""
        red, green, blue = (float(v) for v in self.shown(np.ones(3)))
        return (red, green, blue)

    @property
    def cast(self) -> float:
        """Natural log of red over blue of the light as the camera shows it; 0 where it is neutral."""
        red, _, blue = np.maximum(self.white, 1e-4)
        return float(np.log(red / blue))

    def correct(self, linear_rgb: ArrayLike, x: ArrayLike = 0.0, y: ArrayLike = 0.0) -> Floats:
        """Return linear sRGB as in neutral daylight, a perfect white as 1.

        `linear_rgb`: shape (..., 3), as the photo shows it; `x`, `y`: shape (...), places, -1 to 1 over the photo's
        width and height.
        """
        shown = np.asarray(linear_rgb, dtype=np.float64)
        if not self.seen:
            return shown
        light = bent(shown, *self.numbers[3:5])
        if self.field:
            here, there = (np.minimum(np.exp(along(self.field, px, py)), 1.5) for px, py in ((x, y), self.place))
            light = light * bent(there, *self.numbers[3:5]) / bent(here, *self.numbers[3:5])
        return balanced(light, self.numbers)

    def shown(self, neutral: ArrayLike) -> Floats:
        """Return what the photo shows of a colour at the references' place: the inverse of `correct` there."""
        light = np.asarray(neutral, dtype=np.float64) @ np.linalg.inv(_mixing(self.numbers)).T
        light = light @ _CONES.T / _gains(self.numbers) @ _FROM_CONES.T
        # The curve is bent without a closed inverse; it rises all the way.
        codes = np.linspace(0, 1.6, 801) ** 2.2
        curve = np.maximum.accumulate(bent(codes, *self.numbers[3:5]))
        return np.asarray(np.interp(light, curve, codes))

    def doubt(self, neutral: ArrayLike) -> Doubt:
        """Return how far a corrected colour may be off by what the references leave open.

        `neutral`: shape (3,), linear sRGB, as `correct` returns it.
        """
        shown = self.shown(neutral)
        lab = linear_to_lab(np.maximum(neutral, 0))
        common = np.zeros((3, 3))
        variances, ways = np.linalg.eigh(np.asarray(self.spread)) if self.spread else (np.zeros(0), np.zeros((11, 0)))
        for way in (np.sqrt(np.maximum(variances, 0)) * ways).T:
            # One deviation each way, and the farther counts: CIEDE2000 bends, and goes by both colours.
            sides = []
            for moved in (np.array(self.numbers) + way, np.array(self.numbers) - way):
                there = linear_to_lab(np.maximum(balanced(bent(shown, *moved[3:5]), moved), 0))
                sides.append(weighed((lab + there) / 2, there - lab))
            step = max(sides, key=lambda side: float(side @ side))
            common += np.outer(step, step)
        if self.field:
            common = _WIDE**2 * common
        cast = _PER_CAST * float(np.clip(abs(self.cast) - _CAST, 0, _MOST_CAST))
        dim = _PER_DIM * max(0.0, _DIM - self.white_code)
        own = float(np.linalg.norm([_WIDE_NOISE if self.field else NOISE, cast, dim]))
        rows = tuple((float(r), float(g), float(b)) for r, g, b in common)
        return Doubt(common=rows, own=own)

    def for_exposure(self, more: float, *, known: bool = True) -> Light:
        """Return the light for another photo of the same camera and lamp.

        `more`: exposure of the other photo over that of this one, above 0; `known`: false if nobody knows it, and
        `more` is a guess.
        """
        white = np.asarray(self.white) * more
        scale = float(bent(white, *self.numbers[3:5]) @ LUMINANCE)
        scale /= float(bent(np.asarray(self.white), *self.numbers[3:5]) @ LUMINANCE)
        level, *rest = self.numbers
        spread = np.asarray(self.spread)
        spread[0, 0] += (_LENT_LEVEL if known else _LENT_BLIND) ** 2
        code = 255 * float(linear_to_srgb(min(more * float(srgb_to_linear(self.white_code / 255)), 1.0)))
        told = known and self.level_known
        numbers = (level - float(np.log(scale)), *rest)
        rows = tuple(tuple(row) for row in spread.tolist())
        return replace(self, numbers=numbers, spread=rows, field=(), white_code=code, lent=True, level_known=told)


# The photo's own colours.
AS_SHOWN = Light()


def ninety(covariance: ArrayLike) -> float:
    """Return the radius that holds nine of ten draws of a normal error of three directions.

    The squared radius as a scaled chi square of the same mean and variance (Satterthwaite), its quantile by Wilson and
    Hilferty.
    """
    square = np.asarray(covariance, dtype=np.float64)
    mean = float(np.trace(square))
    if mean <= 0:
        return 0.0
    freedom = mean**2 / max(float(np.sum(square * square.T)), 1e-12)
    part = 2 / (9 * freedom)
    return float(np.sqrt(mean * (1 - part + 1.2816 * np.sqrt(part)) ** 3))


def weighed(lab: Floats, differences: Floats) -> Floats:
    """Return small differences in CIELAB as CIEDE2000 weighs them there: lightness, along the hue and across it."""
    light, chroma = lab[..., 0], np.hypot(lab[..., 1], lab[..., 2])
    hue = np.arctan2(lab[..., 2], lab[..., 1])
    cos, sin = np.cos(hue), np.sin(hue)
    off = (light - 50) ** 2
    one, a, b = np.moveaxis(differences, -1, 0)
    parts = (
        one / (1 + 0.015 * off / np.sqrt(20 + off)),
        (a * cos + b * sin) / (1 + 0.045 * chroma),
        (b * cos - a * sin) / (1 + 0.015 * chroma),
    )
    return np.stack(parts, axis=-1)


def bent(shown: Floats, power: float, shoulder: float) -> Floats:
    """Return light from what a camera of a tone curve shows; black stays black."""
    shown = np.maximum(shown, 0)
    bend = np.exp(shoulder * np.minimum(shown, 1) ** 2)
    return np.asarray(((shown + _BLACK) ** power - _BLACK**power) * bend)


def _gains(numbers: Sequence[float] | Floats) -> Floats:
    level, blue, green = numbers[:3]
    return np.exp(np.array([level + green, level - green, level + blue]))


def _mixing(numbers: Sequence[float] | Floats) -> Floats:
    mixing = np.eye(3)
    mixing[~np.eye(3, dtype=bool)] = numbers[5:]
    mixing[np.diag_indices(3)] = 2 - mixing.sum(axis=1)
    return mixing


def balanced(light: Floats, numbers: Sequence[float] | Floats) -> Floats:
    """Return light after the gains and the mixing, linear sRGB."""
    return np.asarray(light @ _CONES.T * _gains(numbers) @ _FROM_CONES.T @ _mixing(numbers).T)


def along(field: tuple[Triple, ...], x: ArrayLike, y: ArrayLike) -> Floats:
    """Return a field of natural log light (see `Reference.field`) at places."""
    x, y = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
    parts = [np.ones_like(x), x, y, x * x, x * y, y * y][: len(field)]
    return np.asarray(np.stack(parts, axis=-1) @ np.asarray(field))


# All that follows was measured on 56 photographs of a 24-patch card by seven cameras, cameras left out in turn, and
# held against path-traced and drawn yarn under white paper alone.
# A camera's tone curve at full strength: log light = (1 - .27) x log shown + .87 x shown^2. Greys of the cards over
# four exposures follow it within .07 (natural log), and .14 without the shoulder.
_FLATTER, _SHOULDER = 0.27, 0.87
# How much of it there is before a second reference tells. Cards ask for .8 where white is a mid grey, and for .6 where
# it is light; path-traced and drawn yarn, whose cameras are plainer, for .2 there. Codes of white between which it goes
# from the one to the other.
_STRENGTH_DARK, _STRENGTH_LIGHT, _DARK_CODE, _LIGHT_CODE = 0.8, 0.1, 90.0, 150.0
# How far power and shoulder lie from that, one standard deviation.
_POWER_SPREAD, _SHOULDER_SPREAD = 0.2, 0.33
# No camera lies outside: cards ask for powers of .5 to 1.2 beside a shoulder.
_POWERS, _SHOULDERS = (0.45, 2.5), (-0.5, 3.0)
# Part of a channel that is another's, one standard deviation.
_MIXED = 0.045
# Gains where no white or grey tells them: level, blue and green, natural log.
_LEVEL_SPREAD, _BLUE_SPREAD, _GREEN_SPREAD = 1.3, 0.33, 0.065
# Mixing is fitted where so many colours pull on it: stronger than _COLOUR (CIELAB chroma), so far apart (CIEDE2000).
_COLOURS, _COLOUR, _UNLIKE = 3, 10.0, 10.0
# References whose root mean square misfit is beyond so many times the noise contradict each other. No true set of the
# usable cards comes to more than 3.7 times; of white and a known colour that is another, 20 or more away, 88 in 100 do.
_CONTRADICTION = 3.8


def fit_light(references: Sequence[Reference], like: Light | None = None) -> Light:
    """Return the light that brings references nearest to their colours, with a camera like others.

    `references`: in any order. The same yarn in two photos joins them: its shade as read in the one is a "known"
    reference in the other; `like`: what light and camera are before these references tell, with its spread: the light
    of a photo taken together.

    The most probable camera: squares of the differences in CIELAB, weighted as CIEDE2000 weighs them and taken over
    `NOISE`, and of the camera's own numbers about what cameras do, over their spread.
    """
    if not references:
        return Light() if like is None else like

    def lightest_first(one: Reference) -> tuple[object, ...]:
        return (-float(np.dot(one.wanted, LUMINANCE)), one.kind, one.linear_rgb, one.wanted, one.x, one.y, one.field)

    given = tuple(sorted(references, key=lightest_first))
    light, misfit = _fitted(given, like)
    if like is not None:
        light = replace(light, seen=(*like.seen, *given), residuals=(*like.residuals, *light.residuals), lent=True)
    if len(given) > 1 and misfit > _CONTRADICTION:
        raise _contradiction(given)
    return light


@lru_cache(maxsize=4)  # a photo held open is read again with what it was fitted to
def _fitted(given: tuple[Reference, ...], like: Light | None = None) -> tuple[Light, float]:
    """Return the light, and the root mean square misfit of references and tone curve in units of the noise."""
    from scipy.optimize import least_squares

    shown, wanted = np.array([r.linear_rgb for r in given]), np.array([r.wanted for r in given])
    lab = linear_to_lab(wanted)
    usual, spread, code = _usual(given)
    if like is not None:
        usual, spread = np.array(like.numbers), np.linalg.cholesky(np.asarray(like.spread))
    noise = np.hypot(NOISE, [[np.hypot(r.doubt, r.doubt_light), r.doubt, r.doubt] for r in given])

    def rest(v: Floats) -> Floats:
        # Near black a gradient is kept, so that no start is stuck there.
        after = np.maximum(balanced(bent(shown, v[3], v[4]), v), 1e-5)
        parts = weighed(lab, linear_to_lab(after) - lab) / noise
        return np.concatenate([np.linalg.solve(spread, v - usual), parts.ravel()])

    low, high = np.full(len(usual), -20.0), np.full(len(usual), 20.0)
    low[3:5], high[3:5] = zip(_POWERS, _SHOULDERS, strict=True)
    if not _mixing_told(lab):
        # Held where it usually is; that it may be other stays in the spread.
        low[5:], high[5:] = usual[5:] - 1e-9, usual[5:] + 1e-9
    start = usual.copy()
    if np.ptp(wanted[0]) == 0:
        # A white under a lamp far from daylight is begun with the gains that it alone would have.
        seen, white = np.maximum(bent(shown[0], *usual[3:5]) @ _CONES.T, 1e-5), wanted[0] @ _CONES.T
        red, green, blue = np.log(white / seen)
        start[:3] = (red + green) / 2, blue - (red + green) / 2, (red - green) / 2
    found = least_squares(rest, start, bounds=(low, high), x_scale="jac", max_nfev=100)
    misfit = np.sqrt((found.fun[3:5] ** 2).sum() + (found.fun[len(usual) :] ** 2).sum()) / np.sqrt(len(given))
    after = linear_to_lab(np.maximum(balanced(bent(shown, *found.x[3:5]), found.x), 0))
    widest = max(given, key=lambda r: len(r.field))
    light = Light(
        seen=given,
        residuals=tuple(round(float(e), 2) for e in delta_e_2000(after, lab)),
        numbers=tuple(float(n) for n in found.x),
        spread=tuple(tuple(row) for row in np.linalg.inv(found.jac.T @ found.jac).tolist()),
        field=_through(widest),
        place=(widest.x, widest.y),
        white_code=code,
    )
    return light, float(misfit)


def _usual(given: tuple[Reference, ...]) -> tuple[Floats, Floats, float]:
    """Return a camera's usual numbers, the root of their covariance, and the code of a white of .9."""
    lightest = given[0]
    shown, wanted = (float(np.dot(v, LUMINANCE)) for v in (lightest.linear_rgb, lightest.wanted))
    code = 255 * float(linear_to_srgb(min(0.9 * shown / wanted, 1.0)))
    dark = float(np.clip((_LIGHT_CODE - code) / (_LIGHT_CODE - _DARK_CODE), 0, 1))
    strength = _STRENGTH_LIGHT + (_STRENGTH_DARK - _STRENGTH_LIGHT) * dark
    power, shoulder = 1 - _FLATTER * strength, _SHOULDER * strength
    level = np.log(wanted / float(bent(np.asarray(lightest.linear_rgb), power, shoulder) @ LUMINANCE))
    usual = np.array([level, 0.0, 0.0, power, shoulder, *[0.0] * 6])
    # A white or grey tells the light's colour itself, and nothing else should.
    lab = linear_to_lab(np.array([r.wanted for r in given]))
    neutral = (np.hypot(lab[:, 1], lab[:, 2]) <= _COLOUR).any()
    cast = (_LEVEL_SPREAD, _LEVEL_SPREAD) if neutral else (_BLUE_SPREAD, _GREEN_SPREAD)
    spread = np.diag([_LEVEL_SPREAD, *cast, _POWER_SPREAD, _SHOULDER_SPREAD, *[_MIXED] * 6])
    return usual, spread, code


def _mixing_told(lab: Floats) -> bool:
    """Return whether so many colours that are unlike pull on the mixing of the channels."""
    colours: list[Floats] = []
    for one in lab:
        if np.hypot(one[1], one[2]) > _COLOUR and all(delta_e_2000(one, other) > _UNLIKE for other in colours):
            colours.append(one)
    return len(colours) >= _COLOURS


def _through(reference: Reference) -> tuple[Triple, ...]:
    """Return a reference's field, brought through what the photo shows of it at its own place."""
    if not reference.field:
        return ()
    middle = np.log(np.maximum(reference.linear_rgb, 1e-4)) - along(reference.field, reference.x, reference.y)
    red, green, blue = (float(n) for n in np.asarray(reference.field[0]) + middle)
    return ((red, green, blue), *reference.field[1:])


def _contradiction(given: tuple[Reference, ...]) -> PhotoError:
    """Return the error that names the reference without which the others agree best, and how far off they read it."""
    rest = [given[:i] + given[i + 1 :] for i in range(len(given))]
    fits = [_fitted(others) for others in rest]
    odd = min(range(len(given)), key=lambda i: (round(fits[i][1], 6), -i))
    lab = linear_to_lab(np.asarray(given[odd].wanted))
    seen = fits[odd][0].correct(given[odd].linear_rgb, given[odd].x, given[odd].y)
    off = rounded(float(delta_e_2000(linear_to_lab(np.maximum(seen, 0)), lab)), 0)
    if len(given) == 2:
        return PhotoError(
            "{one} and {other} contradict each other: by the light of the first, the second is {de} CIEDE2000 from "
            "its colour, more than any camera does; look again at both places and colours.",
            one=rest[odd][0].called,
            other=given[odd].called,
            de=off,
        )
    return PhotoError(
        "{one} contradicts the other {n} references: by their light it is {de} CIEDE2000 from its colour, more than "
        "any camera does; look again at its place and its colour.",
        one=given[odd].called,
        n=len(given) - 1,
        de=off,
    )

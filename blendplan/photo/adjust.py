"""Shades set by eye: small even steps in Oklab, and the parts of a yarn joined, split, dropped and moved.

One rule for all that is set by eye: the camera's bound and its reasons no longer apply, and no other bound takes
their place, because how well an eye matches yarn to a screen depends on the eye, the screen and the light of the
room, which nobody has measured here.
With None a blend states no bound of its own, a swatch's fit takes its usual uncertainty, and readings of
photos are never averaged into the shade.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from blendplan.colour import into_gamut, lab_to_linear, linear_to_lab, linear_to_oklab, oklab_to_linear
from blendplan.errors import ColourError
from blendplan.units import whole
from blendplan.yarn import Shade, even_shares

# One step is about 1 CIEDE2000: assumed, small enough to be just seen side by side.
# Chroma is judged more coarsely the stronger it is (CIEDE2000: S_C = 1 + .045 C), so its step grows with it.
_LIGHT_STEP = 0.01
_WARM_STEP = 0.003
_CHROMA_STEP = 0.0027
_CHROMA_GROWTH = 13.0
# Warm is taken towards orange, hue angle 60 degrees in Oklab; assumed.
_WARM_HUE = np.radians(60.0)


def set_by_eye(shade: Shade, lab: tuple[float, float, float]) -> Shade:
    """Return a shade with the colour that the maker gave it: its bound is None and it has no reasons."""
    return replace(shade, lab=lab, within=None, reasons=(), kind="eye")


def nudge(shade: Shade, lighter: int = 0, warmer: int = 0, brighter: int = 0) -> Shade:
    """Return a shade moved by whole steps and marked as set by eye.

    `lighter`, `warmer`, `brighter`: steps, -50 to 50; below zero is darker, cooler, greyer. A step is about 1
    CIEDE2000.
    """
    lighter = whole(lighter, "steps lighter", -50, 50)
    warmer = whole(warmer, "steps warmer", -50, 50)
    brighter = whole(brighter, "steps brighter", -50, 50)
    ok = linear_to_oklab(lab_to_linear(shade.lab))
    ok[0] = np.clip(ok[0] + _LIGHT_STEP * lighter, 0, 1)
    ok[1:] += _WARM_STEP * warmer * np.array([np.cos(_WARM_HUE), np.sin(_WARM_HUE)])
    chroma = float(np.hypot(ok[1], ok[2]))
    if brighter and chroma > 0:
        # The closed form of a step that grows with chroma, so that as many steps back lead home.
        grown = (1 + _CHROMA_GROWTH * chroma) * np.exp(_CHROMA_STEP * _CHROMA_GROWTH * brighter)
        ok[1:] *= max(0.0, (grown - 1) / _CHROMA_GROWTH) / chroma
    lab = linear_to_lab(into_gamut(oklab_to_linear(ok)))
    # No step at all keeps the colour to the last digit.
    new = shade.lab if not (lighter or warmer or brighter) else tuple(float(round(v, 4)) for v in lab)
    return set_by_eye(shade, (min(max(new[0], 0.0), 100.0), new[1], new[2]))


def merge_parts(shades: tuple[Shade, ...], first: int, second: int) -> tuple[Shade, ...]:
    """Return the shades with two of them joined into one: the mean in Oklab by share, in the place of `first`.

    `first`, `second`: positions from 0.

    The joined shade is as unsure as the less sure of the two, and unknown where one of them is; with a part set by eye
    it is set by eye.
    """
    _position(shades, first)
    _position(shades, second)
    if first == second:
        raise ColourError("a shade cannot be joined with itself; choose two different shades.")
    one, two = shades[first], shades[second]
    weights = [one.share, two.share]
    oklab = np.average(linear_to_oklab(lab_to_linear([one.lab, two.lab])), axis=0, weights=weights)
    lab = linear_to_lab(oklab_to_linear(oklab))
    known = [u for u in (one.within, two.within) if u is not None]
    joined = replace(
        one,
        lab=(float(np.clip(lab[0], 0, 100)), float(lab[1]), float(lab[2])),
        share=one.share + two.share,
        spread=max(one.spread, two.spread),
        within=max(known) if len(known) == 2 else None,
        reasons=tuple(dict.fromkeys((*one.reasons, *two.reasons))),
    )
    if "eye" in (one.kind, two.kind):
        joined = set_by_eye(joined, joined.lab)
    out = [joined if i == first else s for i, s in enumerate(shades) if i != second]
    return even_shares(tuple(out))


def split_part(shades: tuple[Shade, ...], position: int) -> tuple[Shade, ...]:
    """Return the shades with one of them doubled, half the share each, to be set apart by eye."""
    _position(shades, position)
    half = replace(shades[position], share=max(shades[position].share / 2, 1e-6))
    return even_shares((*shades[:position], half, half, *shades[position + 1 :]))


def drop_part(shades: tuple[Shade, ...], position: int) -> tuple[Shade, ...]:
    """Return the shades without one of them; the others take up its share in proportion."""
    _position(shades, position)
    if len(shades) == 1:
        raise ColourError("the last shade of a yarn cannot be dropped; change it by eye or read it again.")
    return even_shares(tuple(s for i, s in enumerate(shades) if i != position))


def reorder_parts(shades: tuple[Shade, ...], order: tuple[int, ...]) -> tuple[Shade, ...]:
    """Return the shades in another order, given as positions from 0, each once."""
    if sorted(order) != list(range(len(shades))):
        raise ColourError(
            "{given} is not an order of {n} shades; name each position from 0 to {last} once.",
            given=order,
            n=len(shades),
            last=len(shades) - 1,
        )
    return tuple(shades[i] for i in order)


def _position(shades: tuple[Shade, ...], position: int) -> None:
    whole(position, "position of a shade", 0, len(shades) - 1)

"""Shades set by eye: small even steps in Oklab."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from blendplan.colour import into_gamut, lab_to_linear, linear_to_lab, linear_to_oklab, oklab_to_linear
from blendplan.units import whole
from blendplan.yarn import Shade

__all__ = ["nudge"]

# One step is about 1 CIEDE2000 for a mid grey: assumed, small enough to be just seen side by side.
_LIGHT_STEP = 0.01
_WARM_STEP = 0.006
_CHROMA_STEP = 0.006
# Warm is taken towards orange, hue angle 60 degrees in Oklab; assumed.
_WARM_HUE = np.radians(60.0)


def nudge(shade: Shade, lighter: int = 0, warmer: int = 0, brighter: int = 0) -> Shade:
    """Return a shade moved by whole steps and marked as set by eye.

    Parameters
    ----------
    shade : Shade
    lighter, warmer, brighter : int
        Steps, -50 to 50; below zero is darker, cooler, greyer. A step is about 1 CIEDE2000.
    """
    lighter = whole(lighter, "steps lighter", -50, 50)
    warmer = whole(warmer, "steps warmer", -50, 50)
    brighter = whole(brighter, "steps brighter", -50, 50)
    ok = linear_to_oklab(lab_to_linear(shade.lab))
    ok[0] = np.clip(ok[0] + _LIGHT_STEP * lighter, 0, 1)
    ok[1:] += _WARM_STEP * warmer * np.array([np.cos(_WARM_HUE), np.sin(_WARM_HUE)])
    chroma = float(np.hypot(ok[1], ok[2]))
    if brighter and chroma > 0:
        ok[1:] *= max(0.0, chroma + _CHROMA_STEP * brighter) / chroma
    lab = linear_to_lab(into_gamut(oklab_to_linear(ok)))
    # No step at all keeps the colour to the last digit.
    new = shade.lab if not (lighter or warmer or brighter) else tuple(float(round(v, 4)) for v in lab)
    reasons = shade.reasons if "by-eye" in shade.reasons else (*shade.reasons, "by-eye")
    return replace(shade, lab=(min(max(new[0], 0.0), 100.0), new[1], new[2]), by_eye=True, reasons=reasons)

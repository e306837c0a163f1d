"""Colours as seen with the three common colour-vision deficiencies, at full severity."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from blendplan.colour import Floats, into_gamut, lab_to_linear, linear_to_lab
from blendplan.units import choice
from blendplan.wording import Notice, note

__all__ = ["DEFICIENCIES", "named", "seen_with"]

# G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-based Model for Simulation of Color Vision
# Deficiency", IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291-1298: matrices of severity 1.0, as tabulated in
# colour-science 0.4.7 (read Nov 2026; a test compares them); trust: standard practice.
# They act on linear sRGB.
_MATRICES = {
    "protan": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deutan": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritan": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}

# Code and plain words.
DEFICIENCIES = {
    "protan": "red-blind (protan)",
    "deutan": "green-blind (deutan)",
    "tritan": "blue-blind (tritan)",
}


def named(deficiency: str) -> Notice:
    """Return the plain name of a deficiency, which can be said in any language."""
    return note(DEFICIENCIES[deficiency])


def seen_with(lab: ArrayLike, deficiency: str) -> Floats:
    """Return CIELAB of colours as a person with a colour-vision deficiency sees them.

    Parameters
    ----------
    lab : array_like, shape (..., 3)
        CIELAB (D65); brought into sRGB first, where the model is defined.
    deficiency : {"protan", "deutan", "tritan"}

    Returns
    -------
    ndarray, shape (..., 3)

    Notes
    -----
    The authors call the tritan matrix an approximation.
    Light that the model puts outside 0 to 1 is clipped, as it is in the authors' own pictures.

    Examples
    --------
    >>> [round(abs(v)) for v in seen_with([50, 0, 0], "deutan").tolist()]
    [50, 0, 0]
    """
    matrix = _MATRICES[choice(deficiency, "colour-vision deficiency", _MATRICES)]
    light = into_gamut(lab_to_linear(lab)) @ matrix.T
    return linear_to_lab(np.clip(light, 0.0, 1.0))

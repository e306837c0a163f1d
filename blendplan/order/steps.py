"""How far apart two colours are when they stand one after the other, with or without the blend between."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from blendplan.blend.family import blend_linear
from blendplan.colour import Floats, delta_e_2000, lab_to_linear, linear_to_hex, linear_to_lab
from blendplan.yarn import Yarn

__all__ = ["StepTable", "row_weight", "step_matrix"]


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class StepTable:
    """All steps from one colour to the next, for every pair.

    Attributes
    ----------
    names : tuple of str, length n
    lab : ndarray, shape (n, 3)
        CIELAB (D65) of each yarn.
    direct : ndarray, shape (n, n)
        CIEDE2000 between the two solid stripes, as if no blend stood between.
    halves : ndarray, shape (n, n, h)
        The single steps in the order they are crocheted: h = 2 with a blend, (A to AB, AB to B); h = 1 without.
        With weights by height each is already multiplied by its weight.
    n_member : float
        Member of the blend family, 1 to 3.
    """

    names: tuple[str, ...]
    lab: Floats
    direct: Floats
    halves: Floats
    n_member: float

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
        return linear_to_hex(blend_linear(lab_to_linear(self.lab[[i, j]]), n=self.n_member))


def row_weight(rows_1: Floats | float, rows_2: Floats | float, reference: float) -> Any:
    """Return what a step between two stripes counts by their heights.

    Notes
    -----
    The harmonic mean of the two heights over that of two stripes of `reference` rows: a border between two
    broad bands is plain across the room, one beside a thin band is half lost. Our own choice, no source.

    Examples
    --------
    >>> row_weight(4, 4, 4), row_weight(4, 2, 4)
    (1.0, 0.6666666666666666)
    """
    return 2.0 * rows_1 * rows_2 / (rows_1 + rows_2) / reference


def step_matrix(
    yarns: tuple[Yarn, ...],
    *,
    n_member: float = 3.0,
    solid_rows: int = 4,
    blend_rows: int = 2,
    by_height: bool = False,
    rows: Mapping[str, int] | None = None,
) -> StepTable:
    """Return the steps between every two yarns.

    Parameters
    ----------
    yarns : tuple of Yarn
    n_member : float
        Member of the blend family, 1 (optical) to 3 (perceptual).
    solid_rows, blend_rows : int
        Heights of the stripes; `blend_rows` 0 leaves the blends out.
    by_height : bool
        Multiply each single step by `row_weight` of its two stripes.
    rows : mapping of str to int, optional
        Solid rows of colours that differ from `solid_rows`; they matter with `by_height` only.

    Notes
    -----
    A blend that leaves sRGB is taken as it is, so that the step does not depend on the screen.
    CIEDE2000 is not a metric: the way through a blend can be shorter or longer than the direct step.
    """
    lab = np.array([y.lab for y in yarns], dtype=np.float64).reshape(-1, 3)
    direct = np.asarray(delta_e_2000(lab[:, None], lab[None, :]))
    if blend_rows:
        linear = lab_to_linear(lab)
        pairs = np.stack(np.broadcast_arrays(linear[:, None], linear[None, :]), axis=-2)
        mixed = linear_to_lab(blend_linear(pairs, n=n_member))
        # A pair is the same pair whichever way round: take one half of the table for both, to the last bit.
        i, j = np.tril_indices(len(lab), -1)
        mixed[i, j] = mixed[j, i]
        first = np.asarray(delta_e_2000(lab[:, None], mixed))
        np.fill_diagonal(first, 0.0)
        halves = np.stack([first, first.T], axis=-1)
    else:
        halves = direct[:, :, None].copy()
    if by_height:
        tall = np.array([float((rows or {}).get(y.name, solid_rows)) for y in yarns])
        if blend_rows:
            weight = row_weight(tall, float(blend_rows), float(solid_rows))
            halves *= np.stack(np.broadcast_arrays(weight[:, None], weight[None, :]), axis=-1)
        else:
            halves *= row_weight(tall[:, None], tall[None, :], float(solid_rows))[:, :, None]
    return StepTable(names=tuple(y.name for y in yarns), lab=lab, direct=direct, halves=halves, n_member=n_member)

"""All pairs of a palette at a glance, and the blends nearest to a wanted colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement
from math import comb

import numpy as np

from blendplan.blend.family import blend_linear, member_n
from blendplan.blend.pair import Blend, mix_yarns, strand_width
from blendplan.colour import Floats, delta_e_2000, into_gamut, lab_to_linear, linear_to_lab, linear_to_srgb
from blendplan.errors import ColourError
from blendplan.units import whole
from blendplan.yarn import Yarn, check_yarns

__all__ = ["Match", "PairTable", "nearest_blends", "pair_table"]

MAX_COMBINATIONS = 200_000
# Above this the table is longer than anybody can look through, and slow to make.
MAX_TABLE = 200
Rows = tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PairTable:
    """Every pair of a palette, solids on the diagonal; symmetric, so n(n + 1)/2 different cells.

    Attributes
    ----------
    n : float
        The member of the blend family.
    srgb : tuple of tuples of str
        `srgb[i][j]` is the blend of yarns i and j.
    lab : tuple of tuples of Lab triples
    strand_difference : tuple of tuples of float
        CIEDE2000 between the two strands.
    """

    n: float
    srgb: Rows
    lab: tuple[tuple[tuple[float, float, float], ...], ...]
    strand_difference: tuple[tuple[float, ...], ...]

    @property
    def size(self) -> int:
        """Yarns in the table."""
        return len(self.srgb)

    @property
    def blends(self) -> int:
        """Different cells, solids included.

        Examples
        --------
        >>> pair_table([(50, i, 0) for i in range(10)]).blends
        55
        """
        return self.size * (self.size + 1) // 2


def _hexes(linear_rgb: Floats) -> list[str]:
    codes = np.rint(linear_to_srgb(into_gamut(linear_rgb)) * 255).astype(np.int64).reshape(-1, 3)
    return [f"#{value:06x}" for value in (codes @ np.array([65536, 256, 1])).tolist()]


def pair_table(
    labs: Sequence[Sequence[float]], *, widths: Sequence[float] | None = None, member: str | float = "perceptual"
) -> PairTable:
    """Return the blends of all pairs.

    Parameters
    ----------
    labs : sequence of n Lab triples
    widths : sequence of n floats, optional
        Visible widths of the strands in any one unit (`strand_width`); equal by default.
    member : str or float

    Raises
    ------
    ColourError
        If there is no colour, more than 200, or the widths do not fit.
    """
    lab = np.asarray(labs, dtype=np.float64)
    if lab.ndim != 2 or lab.shape[1] != 3 or not np.isfinite(lab).all():
        raise ColourError(
            "a table of pairs needs one colour or more, as three finite Lab numbers each; {given} was given.",
            given=repr(labs)[:80],
        )
    size = len(lab)
    if size > MAX_TABLE:
        raise ColourError(
            "{given} yarns were given for a table of pairs; allowed is at most {most}; choose some of them.",
            given=size,
            most=MAX_TABLE,
        )
    if widths is not None and len(widths) != size:
        raise ColourError(
            "{given} widths were given for {strands} yarns; give one for each.", given=len(widths), strands=size
        )
    wide = np.ones(size) if widths is None else np.asarray(widths, dtype=np.float64)
    n = member_n(member)
    rows, columns = np.triu_indices(size)
    light = lab_to_linear(lab)
    pairs = np.stack([light[rows], light[columns]], axis=1)
    made = blend_linear(pairs, np.stack([wide[rows], wide[columns]], axis=1), n=n)
    at = np.empty((size, size), dtype=np.int64)
    at[rows, columns] = at[columns, rows] = np.arange(len(rows))
    texts, blends = _hexes(made), linear_to_lab(made).tolist()
    differences = delta_e_2000(lab[rows], lab[columns]).tolist()
    cells = at.tolist()
    return PairTable(
        n=n,
        srgb=tuple(tuple(texts[k] for k in row) for row in cells),
        lab=tuple(tuple((blends[k][0], blends[k][1], blends[k][2]) for k in row) for row in cells),
        strand_difference=tuple(tuple(differences[k] for k in row) for row in cells),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """A blend of yarns on hand, and how far it is from a wanted colour.

    Attributes
    ----------
    strands : tuple of str
        Names of yarns, one per strand; the same name twice is a solid, or a heavier share among three.
    blend : Blend
        Its shares follow the strands' visible widths.
    difference : float
        CIEDE2000 from the wanted colour.
    """

    strands: tuple[str, ...]
    blend: Blend
    difference: float


def _best(
    wanted: Floats, yarns: Sequence[Yarn], strands: int, n: float, keep: int
) -> list[tuple[float, tuple[int, ...]]]:
    """Return the nearest combinations of a number of strands as (difference, yarns)."""
    light = lab_to_linear([y.lab for y in yarns])
    widths = np.array([strand_width(y) or np.nan for y in yarns])
    sets = np.array(list(combinations_with_replacement(range(len(yarns)), strands)))
    shares = widths[sets]
    shares[np.isnan(shares).any(axis=1)] = 1.0
    differences = delta_e_2000(linear_to_lab(blend_linear(light[sets], shares, n=n)), wanted)
    best = np.argsort(differences, kind="stable")[:keep]
    return [(float(differences[i]), tuple(sets[i].tolist())) for i in best]


def nearest_blends(
    wanted_lab: Sequence[float],
    yarns: Sequence[Yarn],
    *,
    member: str | float = "perceptual",
    count: int = 10,
    strands: int = 2,
) -> tuple[Match, ...]:
    """Return the blends nearest to a wanted colour, best first, solids included.

    Parameters
    ----------
    wanted_lab : sequence of 3 floats
        CIELAB (D65) of a cushion, a patch, a curtain.
    yarns : sequence of Yarn
    member : str or float
    count : int
        How many to return, 1 to 100.
    strands : int
        Strands held together, 2 to 4.
        From three on, unequal shares come by holding two strands of one yarn with one of another; yarns of unequal
        thickness give unequal shares at two already.

    Raises
    ------
    ColourError, QuantityError, YarnError

    Examples
    --------
    >>> from blendplan.yarn import Shade
    >>> pair = [Yarn(name=n, shades=(Shade(lab=(v, 0, 0)),)) for n, v in (("Soot", 0), ("Chalk", 100))]
    >>> nearest_blends((42, 0, 0), pair, count=1)[0].strands
    ('Soot', 'Chalk')
    """
    wanted = np.asarray(wanted_lab, dtype=np.float64)
    if wanted.shape != (3,) or not np.isfinite(wanted).all():
        raise ColourError(
            "the wanted colour needs three finite Lab numbers, {given} was given.", given=repr(wanted_lab)
        )
    yarns = check_yarns(tuple(yarns))
    count = whole(count, "number of blends to list", 1, 100)
    strands = whole(strands, "strands held together", 2, 4)
    tries = comb(len(yarns) + strands - 1, strands)
    if tries > MAX_COMBINATIONS:
        raise ColourError(
            "{yarns} yarns give {given} blends of {strands} strands; allowed is {most}; take fewer yarns or strands.",
            yarns=len(yarns),
            given=tries,
            strands=strands,
            most=MAX_COMBINATIONS,
        )
    best = _best(wanted, yarns, strands, member_n(member), count)
    return tuple(
        Match(
            strands=tuple(yarns[i].name for i in chosen),
            blend=mix_yarns([yarns[i] for i in chosen], member=member),
            difference=difference,
        )
        for difference, chosen in best
    )

"""What to do about a blend that disappoints: another partner, or a carrier between two colours.

A carrier is a third colour held with each of the two in turn: A, A + C, C, C + B, B in place of A, A + B, B.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendplan.blend.deficiency import seen_with
from blendplan.blend.family import blend_linear, member_n
from blendplan.blend.pair import strand_width
from blendplan.colour import Floats, delta_e_2000, lab_to_linear, linear_to_lab
from blendplan.wording import Notice, note
from blendplan.yarn import Yarn

__all__ = ["Bench"]


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """The yarns at hand with all their pairs blended once.

    Attributes
    ----------
    names : tuple of str
    labs : ndarray, shape (n, 3)
    pairs : ndarray, shape (n, n, 3)
        CIELAB of each pair, solids on the diagonal.
    unused : ndarray of bool, shape (n,)
        True for yarns in no stripe yet; they are suggested first.
    """

    names: tuple[str, ...]
    labs: Floats
    pairs: Floats
    unused: NDArray[np.bool_]

    @classmethod
    def of(cls, yarns: Mapping[str, Yarn], member: str | float, used: Collection[str] = ()) -> Bench:
        """Return the bench of a palette, with the names that stripes already use."""
        labs = np.array([y.lab for y in yarns.values()])
        widths = np.array([strand_width(y) or np.nan for y in yarns.values()])
        one, two = np.broadcast_arrays(widths[:, None], widths[None, :])
        shares = np.stack([one, two], axis=-1)
        shares = np.where(np.isnan(shares).any(axis=-1, keepdims=True), 1.0, shares)
        light = np.stack(np.broadcast_arrays(*(lab_to_linear(labs)[s] for s in (np.s_[:, None], np.s_[None]))), axis=-2)
        unused = np.array([name not in used for name in yarns])
        return cls(tuple(yarns), labs, linear_to_lab(blend_linear(light, shares, n=member_n(member))), unused)

    def _at(self, names: Sequence[str]) -> list[int]:
        return [self.names.index(n) for n in dict.fromkeys(names)]

    def _pick(self, cost: Floats, yarns: Sequence[int]) -> int | None:
        """Return the place of the least finite cost, unused yarns first; None if there is none."""
        first = np.where(self.unused[list(yarns)], cost, np.inf)
        chosen = first if np.isfinite(first).any() else cost
        best = int(np.argmin(chosen))
        return best if np.isfinite(chosen[best]) else None

    def chroma(self, name: str) -> float:
        """CIELAB chroma of one yarn."""
        lab = self.labs[self.names.index(name)]
        return float(np.hypot(lab[1], lab[2]))

    def _retained(self) -> Floats:
        """Return the chroma of each pair over that of its duller strand, shape (n, n)."""
        single = np.hypot(self.labs[:, 1], self.labs[:, 2])
        both = np.hypot(self.pairs[..., 1], self.pairs[..., 2])
        return both / np.maximum(np.minimum(single[:, None], single[None, :]), 1.0)

    def livelier_partner(self, strands: Sequence[str], now: float) -> Notice | None:
        """Return a partner that greys the blend less, nearest in colour to the one it replaces."""
        kept = self._retained()
        best: tuple[float, int, int] | None = None
        for keep in self._at(strands):
            lost = [i for i in self._at(strands) if i != keep]
            for new in range(len(self.names)):
                if new in (keep, *lost) or kept[keep, new] < max(0.75, now):
                    continue
                if np.hypot(*self.labs[new, 1:]) < 0.5 * min(np.hypot(*self.labs[i, 1:]) for i in lost):
                    continue
                far = float(delta_e_2000(self.labs[new], self.labs[lost]).min())
                best = min(best, (far, keep, new)) if best else (far, keep, new)
        if best is None:
            return None
        _, keep, new = best
        return note(
            "hold {keep} with {new} instead: that blend keeps its colour.", keep=self.names[keep], new=self.names[new]
        )

    def _through(self, a: int, b: int) -> Floats:
        """Return the longest step of A, AC, C, CB, B for each carrier C, shape (n,)."""
        path = [
            np.broadcast_to(self.labs[a], self.labs.shape),
            self.pairs[a],
            self.labs,
            self.pairs[:, b],
            np.broadcast_to(self.labs[b], self.labs.shape),
        ]
        steps = np.max([delta_e_2000(path[k], path[k + 1]) for k in range(4)], axis=0)
        steps[[a, b]] = np.inf
        return steps

    def _carrier(self, a: int, carrier: int, b: int) -> Notice:
        return note(
            "put {carrier} between {first} and {last} as a carrier: {first}, {first} + {carrier}, {carrier}, "
            "{carrier} + {last}, {last}.",
            carrier=self.names[carrier],
            first=self.names[a],
            last=self.names[b],
        )

    def clear_carrier(self, strands: Sequence[str], grey_below: float) -> Notice | None:
        """Return a carrier whose blends with both colours do not grey out, with the shortest steps."""
        places = self._at(strands)
        if len(places) != 2:
            return None
        a, b = places
        kept = self._retained()
        cost = np.where(np.minimum(kept[a], kept[b]) >= grey_below, self._through(a, b), np.inf)
        best = self._pick(cost, range(len(self.names)))
        return None if best is None else self._carrier(a, best, b)

    def smooth_carrier(self, strands: Sequence[str], now: float) -> Notice | None:
        """Return a carrier that makes the longest step at least a quarter shorter."""
        places = self._at(strands)
        if len(places) != 2:
            return None
        a, b = places
        cost = self._through(a, b)
        best = self._pick(np.where(cost <= 0.75 * now, cost, np.inf), range(len(self.names)))
        return None if best is None else self._carrier(a, best, b)

    def _replacements(self, strands: Sequence[str]) -> list[tuple[int, int]]:
        """Return pairs that keep one strand of a blend, or other solids for a solid."""
        places = self._at(strands)
        others = [i for i in range(len(self.names)) if i not in places]
        if len(places) == 1:
            return [(i, i) for i in others]
        return [(keep, new) for keep in places for new in others]

    def _instead(self, keep: int, new: int) -> Notice:
        if keep == new:
            return note("use {new} instead.", new=self.names[new])
        return note("hold {keep} with {new} instead.", keep=self.names[keep], new=self.names[new])

    def calmer(self, strands: Sequence[str], before: Floats, after: Floats, now: float) -> Notice | None:
        """Return a replacement whose longer step to the neighbours is at least a quarter shorter."""
        tries = self._replacements(strands)
        if not tries:
            return None
        labs = np.array([self.pairs[t] for t in tries])
        cost = np.maximum(delta_e_2000(labs, before), delta_e_2000(labs, after))
        best = self._pick(np.where(cost <= 0.75 * now, cost, np.inf), [new for _, new in tries])
        return None if best is None else self._instead(*tries[best])

    def clearer(
        self, strands: Sequence[str], neighbour: Floats, apart: float, deficiencies: Sequence[str] = ()
    ) -> Notice | None:
        """Return the replacement that just stands clear of a neighbour, also with the deficiencies named."""
        tries = self._replacements(strands)
        if not tries:
            return None
        labs = np.array([self.pairs[t] for t in tries])
        cost = delta_e_2000(labs, neighbour)
        for code in deficiencies:
            cost = np.minimum(cost, delta_e_2000(seen_with(labs, code), seen_with(neighbour, code)))
        best = self._pick(np.where(cost >= apart, cost, np.inf), [new for _, new in tries])
        return None if best is None else self._instead(*tries[best])

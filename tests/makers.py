"""Simulated makers who weigh their yarn, honest ones and ones who err; the truth is drawn here, not by the package.

Each has a tension of her own, colours of unlike thickness, a tension that wanders from stretch to stretch, and skeins
that are not as heavy as their band says; she works ball after ball and reads a scale that rounds.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import accumulate

import numpy as np
from yardage_cases import Gauge, Worked, estimate, stripes, yarn

from blendplan.stripes.model import Stripe
from blendplan.yardage.ledger import Ledger, keep_ledger
from blendplan.yardage.length import Yardage
from blendplan.yardage.making import Making, Purchase, Weighed, Weighing
from blendplan.yarn import Yarn

SKEIN_G, PER_M = 100.0, 1 / 2.4
KINDS = ("unopened left out", "wrong colour", "unit", "extra skein", "swapped", "just gross")


@dataclass(frozen=True)
class Job:
    """A blanket as planned."""

    stripes: tuple[Stripe, ...]
    yarns: tuple[Yarn, ...]
    need: Yardage

    @property
    def rows(self) -> int:
        return sum(s.rows for s in self.stripes)

    @cached_property
    def by_row_g(self) -> dict[str, list[float]]:
        """Grams of each colour by every row: strands x rows, the foundation chain with the first."""
        row_g = {y.name: [0.0] for y in self.yarns}
        at = 0
        for stripe in self.stripes:
            for _ in range(stripe.rows):
                one = PER_M * (self.need.rows_m[at] + (0 if at else self.need.foundation_m))
                for name, grams in row_g.items():
                    grams.append(one * stripe.strands.count(name))
                at += 1
        return {name: list(accumulate(grams)) for name, grams in row_g.items()}

    def planned_g(self, rows: int) -> dict[str, float]:
        """Grams of each colour over the first rows."""
        return {name: grams[rows] for name, grams in self.by_row_g.items()}


def job(colours: int, solid: int, blend: int, repeats: int = 8, rounds: int = 1) -> Job:
    names = [chr(65 + i) for i in range(colours)]
    spec: list[tuple[str, int]] = []
    for turn in range(rounds):
        for i, name in enumerate(names):
            spec.append((name * 2, solid))
            if i + 1 < colours or turn + 1 < rounds:
                spec.append((name + names[(i + 1) % colours], blend))
    plan, yarns = stripes(*spec), tuple(yarn(n) for n in names)
    return Job(plan, yarns, estimate(plan, Worked(repeats=repeats), Gauge(), yarns))


JOBS = (job(3, 8, 6), job(5, 10, 6), job(4, 6, 4, 12, 2), job(2, 30, 12), job(6, 4, 4, 6, 3))


class Maker:
    """One maker at one blanket."""

    def __init__(self, rng: np.random.Generator, work: Job, spread: float = 0.09) -> None:
        self.rng, self.work = rng, work
        self.tension = math.exp(rng.normal(0, spread))
        self.thick = {y.name: math.exp(rng.normal(0, 0.03)) for y in work.yarns}
        # One drift for the first and one for the second half of the work.
        self.drift = rng.normal(0, 0.02, 2)
        self.scale = float(rng.choice([1, 1, 2, 5]))
        self.apart = bool(rng.random() < 0.6)
        self.bought = {c.name: (c.buy_skeins or 0) + int(rng.integers(0, 3)) for c in work.need.colours}
        self.skeins = {n: rng.normal(SKEIN_G, 0.03 * SKEIN_G, k + 20) for n, k in self.bought.items()}
        for name, skeins in self.skeins.items():
            # Whoever would run out has bought more, and said so.
            while skeins[: self.bought[name]].sum() < self.used_g(name, work.rows):
                self.bought[name] += 1

    def used_g(self, name: str, rows: int) -> float:
        half = self.work.rows // 2
        first = self.work.planned_g(min(rows, half))[name]
        second = self.work.planned_g(rows)[name] - first
        worked = first * (1 + self.drift[0]) + second * (1 + self.drift[1])
        return float(worked * self.tension * self.thick[name])

    def reads(self, name: str, rows: int) -> Weighed:
        """What she reads off her scale, and counts."""
        used, opened = self.used_g(name, rows), 0
        while opened < len(self.skeins[name]) and self.skeins[name][:opened].sum() < used:
            opened += 1
        unopened = max(0, self.bought[name] - opened)
        ball = max(0.0, float(self.skeins[name][:opened].sum() - used))
        if self.apart:
            return Weighed(yarn=name, grams=self.rounded(ball), unopened=unopened)
        rest = float(self.skeins[name][opened : opened + unopened].sum())
        return Weighed(yarn=name, grams=self.rounded(ball + rest))

    def rounded(self, grams: float) -> Fraction:
        return Fraction(round(grams / self.scale) * self.scale)

    def weighs(self, rows: int, names: Iterable[str]) -> Weighing:
        return Weighing(row=rows, left=tuple(self.reads(n, rows) for n in names))

    def begun(self, rows: int) -> list[str]:
        return [n for n, g in self.work.planned_g(rows).items() if g > 0]

    def purchases(self) -> tuple[Purchase, ...]:
        return tuple(Purchase(yarn=n, skeins=k) for n, k in self.bought.items() if k)

    def ledger(self, weighings: Iterable[Weighing], rows: int) -> Ledger:
        making = Making(rows_done=rows, purchases=self.purchases(), weighings=tuple(weighings))
        return keep_ledger(self.work.stripes, self.work.need, self.work.yarns, making)


def whole_g(one: Weighed) -> float:
    return float(one.grams) + SKEIN_G * (one.unopened or 0)


def history(maker: Maker, *, most: int = 5, all_colours: bool = True) -> list[Weighing]:
    """Honest weighings at rows drawn, the last of them as good as any."""
    rng = maker.rng
    count = int(rng.integers(1, most + 1))
    rows = sorted(int(r) for r in rng.choice(np.arange(3, maker.work.rows + 1), count, replace=False))
    out = []
    for row in rows:
        names = maker.begun(row)
        if not all_colours:
            names = [n for n in names if rng.random() < 0.5] or [names[-1]]
        out.append(maker.weighs(row, names))
    return out


def wrong(maker: Maker, honest: Weighing, kind: str) -> Weighing | None:
    """The weighing with one gross error of a kind, or None where none of that kind can be made of it.

    Gross is half a skein or a third of the use so far, whichever is more; swapped colours count by the greater.
    """
    rng, left = maker.rng, list(honest.left)
    at = int(rng.integers(len(left)))
    one = left[at]
    name = one.yarn
    least = {w.yarn: max(SKEIN_G / 2, maker.used_g(w.yarn, honest.row) / 3) for w in left}
    if kind == "unopened left out":
        unopened = one.unopened
        if unopened is None:
            opened = math.ceil(maker.used_g(name, honest.row) / SKEIN_G)
            unopened = max(0, maker.bought[name] - opened)
        made = Weighed(yarn=name, grams=max(Fraction(0), Fraction(round(whole_g(one) - SKEIN_G * unopened))))
    elif kind == "extra skein":
        made = Weighed(yarn=name, grams=one.grams, unopened=(one.unopened or 0) + 1)
    elif kind == "just gross":
        # The least that counts, up or down, typed as one weight of everything.
        sign = 1 if rng.random() < 0.5 or whole_g(one) < least[name] else -1
        made = Weighed(yarn=name, grams=Fraction(round(whole_g(one) + sign * least[name] + 0.5 * sign)))
    elif kind == "unit":
        times = Fraction("28.349523125")
        grams = one.grams / times if rng.random() < 0.7 else min(one.grams * times, Fraction(100_000))
        made = Weighed(yarn=name, grams=grams, unopened=one.unopened)
    else:
        if len(left) < 2:
            return None
        other = left[(at + 1 + int(rng.integers(len(left) - 1))) % len(left)]
        made = Weighed(yarn=name, grams=other.grams, unopened=other.unopened)
        if kind == "swapped":
            there = left.index(other)
            left[there] = Weighed(yarn=other.yarn, grams=one.grams, unopened=one.unopened)
            if abs(whole_g(one) - whole_g(other)) < least[other.yarn]:
                return None
    if abs(whole_g(made) - whole_g(one)) < least[name]:
        return None
    left[at] = made
    return Weighing(row=honest.row, left=tuple(left))


@dataclass
class Tally:
    """What came of many makers."""

    honest: int = 0
    false: int = 0
    gross: int = 0
    caught: int = 0
    forecasts: int = 0
    inside: int = 0


def trial(
    seed: int,
    makers: int,
    *,
    all_colours: bool = True,
    kinds: tuple[str, ...] = KINDS,
    most: int = 5,
    spread: float = 0.09,
) -> Tally:
    """Tally makers: honest weighings doubted, gross errors caught, needs inside their spread."""
    rng, tally = np.random.default_rng(seed), Tally()
    for number in range(makers):
        maker = Maker(rng, JOBS[number % len(JOBS)], spread)
        told = history(maker, all_colours=all_colours, most=most)
        last = told[-1].row
        ledger = maker.ledger(told, last)
        tally.honest += len(told)
        tally.false += len({d.weighing for d in ledger.doubts})
        for account in ledger.colours:
            truth = maker.used_g(account.name, maker.work.rows) - maker.used_g(account.name, last)
            if truth > 0:
                tally.forecasts += 1
                tally.inside += account.low_g <= truth <= account.high_g
        at = int(rng.integers(len(told)))
        made = wrong(maker, told[at], kinds[number % len(kinds)])
        if made is not None:
            erring = maker.ledger([*told[:at], made], told[at].row)
            tally.gross += 1
            tally.caught += any(d.weighing == at for d in erring.doubts)
    return tally

"""What is known of her hands, and what cannot be true of a weighing: which reading is doubted, and what may mend it.

Her tension is common to all colours, a thickness is each one's own; both are normal on a logarithmic scale.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from blendplan.units import GRAMS_PER_OUNCE, Amount
from blendplan.wording import Notice, note
from blendplan.yardage.making import Moment, Weighed
from blendplan.yardage.measured import WEIGHED_SPREAD, Z90
from blendplan.yardage.need import NORMAL

# Standard deviation of the grams that one colour takes beside another of the same yarn. *Assumed*: makers tell of
# colours that seem thicker, nobody gives a figure.
COLOUR_SD = 0.03
# Standard deviation by which the tension of a stretch of work wanders about the maker's own.
WANDER_SD = WEIGHED_SPREAD / Z90


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One stretch of one colour, as weighed."""

    colour: int  # its place among the colours
    log_ratio: float  # natural logarithm of grams used over grams planned
    variance: float  # of the logarithm: scale, skeins, rows and wandering tension


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """A normal distribution of (tension, thickness of each colour), logarithms over the plan's."""

    mean: NDArray[np.float64]
    covariance: NDArray[np.float64]

    def expected(self, colour: int) -> float:
        """Return the mean logarithm of a colour's use over the plan's."""
        return float(self.mean[0] + self.mean[1 + colour])

    def variance(self, colour: int) -> float:
        """Return its variance."""
        c, i = self.covariance, 1 + colour
        return float(c[0, 0] + c[i, i] + 2 * c[0, i])

    def factor(self, colour: int) -> float:
        """Return grams used over grams planned."""
        return math.exp(self.expected(colour))

    def innovations(self, seen: Sequence[Seen]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return how far what was seen lies from what is expected, and the covariance of that."""
        h = self.rows_of(seen)
        away = np.array([s.log_ratio for s in seen]) - h @ self.mean
        return away, h @ self.covariance @ h.T + np.diag([s.variance for s in seen])

    def rows_of(self, seen: Sequence[Seen]) -> NDArray[np.float64]:
        """Return the matrix that leads from the state to what is seen."""
        h = np.zeros((len(seen), len(self.mean)))
        h[:, 0] = 1
        h[np.arange(len(seen)), [1 + s.colour for s in seen]] = 1
        return h


def prior(colours: int, relative_spread: float) -> Belief:
    """Return what is believed before anything is weighed: the plan, with its spread as that of her tension."""
    variances = [(relative_spread / Z90) ** 2] + [COLOUR_SD**2] * colours
    return Belief(mean=np.zeros(1 + colours), covariance=np.diag(variances))


def learn(belief: Belief, seen: Sequence[Seen]) -> Belief:
    """Return the belief after what was seen: the usual (Kalman) update of normals."""
    if not seen:
        return belief
    away, spread = belief.innovations(seen)
    gain = np.linalg.solve(spread, belief.rows_of(seen) @ belief.covariance).T
    mean = belief.mean + gain @ away
    return Belief(mean=mean, covariance=belief.covariance - gain @ spread @ gain.T)


# Share of honest weighings that the model would ask about; `LEAST_ASKED` halves it (*chosen*: three in a hundred at
# most).
FALSE_ALARM = 0.03
# Share of a skein that nobody is asked about: a scale in steps of 5 g, a damp day, a weight read in haste (chosen; the
# least error that misleads a purchase is half a skein).
LEAST_ASKED = 0.1
# Below so many standard deviations of its own noise a stretch is told in grams rather than as a ratio (chosen).
LEAST_RATIO = 4.0
# How much heavier than its band a skein may be (chosen: twice the usual scatter).
HEAVY = 0.06
# Times the limit from where a kept reading tells nothing of her tension (chosen: twice what is asked about).
FAR = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One colour of one weighing, beside what was known of it before."""

    colour: int  # its place among the colours
    weighed: Weighed  # by name
    left_g: float  # all there is, by what was typed
    before_g: float  # what there would be had nothing been used since it was last known
    planned_g: float  # what the rows since then take as planned
    noise_g: float  # standard deviation of the difference: scale, skeins, rows
    skein_g: float
    skeins: int  # owned by then, opened ones among them
    last_g: float | None  # as last weighed, where it was and nothing was bought since

    @property
    def used_g(self) -> float:
        """Grams used since it was last known, by what was typed."""
        return self.before_g - self.left_g

    def seen(self, belief: Belief) -> Seen:
        """Return the reading as a ratio; what would be less than nothing stands for a twentieth."""
        ratio = max(self.used_g, 0.05 * self.planned_g * belief.factor(self.colour)) / self.planned_g
        noise = self.noise_g / (self.planned_g * belief.factor(self.colour))
        return Seen(colour=self.colour, log_ratio=math.log(ratio), variance=WANDER_SD**2 + noise**2)

    def tells(self, belief: Belief) -> bool:
        """Tell whether the rows since then are enough to learn from."""
        return self.planned_g * belief.factor(self.colour) > LEAST_RATIO * self.noise_g


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """A reading that cannot be true as it stands."""

    weighing: int  # place of the weighing among all
    name: str
    question: Notice
    # What the weighing would say if the answer is yes, yarns by name; empty where no mend is known.
    left: tuple[Weighed, ...] = ()
    bought: int = 0  # skeins that would have been bought if the answer is yes
    row: int = 0
    far: bool = False  # no tension explains it: kept all the same it tells what is there, and not how she works


@dataclass(frozen=True, slots=True)
class _Range:
    """Grams used that can be true of a reading."""

    low_g: float
    high_g: float

    def holds(self, used_g: float) -> bool:
        return self.low_g <= used_g <= self.high_g


def doubted(readings: Sequence[Reading], belief: Belief, weighing: int, when: Moment) -> tuple[Doubt, ...]:
    """Return the readings of one weighing that cannot be true, the worst first.

    Each reading is held against what all that was known before and the others of the same weighing lead to expect
    (left-one-out residuals of the joint normal: inverse covariance times innovation over its diagonal). The worst is
    set aside and the rest is held against each other again, so that one wrong reading does not cast doubt on all;
    what a doubted one may have been is told by those that stand.
    Allowed is what `FALSE_ALARM` leaves, shared between the readings, and `LEAST_ASKED` of a skein always.
    """
    limit = NORMAL.inv_cdf(1 - FALSE_ALARM / (2 * max(1, len(readings))))
    standing, doubtful, out = list(readings), [], []
    while standing:
        ranges, away = _expected(standing, belief, limit)
        odd = [i for i, may in enumerate(ranges) if not may.holds(standing[i].used_g)]
        if not odd:
            break
        worst = max(odd, key=lambda i: away[i])
        doubtful.append((standing.pop(worst), away[worst]))
    for one, apart in doubtful:
        may = _expected([*standing, one], belief, limit)[0][-1]
        doubt = Doubt(
            weighing=weighing,
            name=one.weighed.yarn,
            question=_plain_question(one, may, when),
            row=when.row,
            far=apart > FAR * limit,
        )
        out.append(_asked(one, may, [r for r in readings if r is not one], belief, doubt))
    return tuple(out)


def _expected(readings: Sequence[Reading], belief: Belief, limit: float) -> tuple[list[_Range], list[float]]:
    """Return what each reading may have used, and how many standard deviations it is away from the middle of that."""
    telling = [i for i, r in enumerate(readings) if r.tells(belief)]
    seen = [readings[i].seen(belief) for i in telling]
    left_out: dict[int, tuple[float, float]] = {}
    if seen:
        away, spread = belief.innovations(seen)
        inverse = np.linalg.inv(spread)
        residual = inverse @ away
        for at, i in enumerate(telling):
            left_out[i] = float(residual[at] / inverse[at, at]), float(1 / math.sqrt(inverse[at, at]))
    ranges, apart = [], []
    for i, r in enumerate(readings):
        if i in left_out:
            miss, sd = left_out[i]
            middle = r.seen(belief).log_ratio - miss
            low, mid, high = (r.planned_g * math.exp(middle + z * sd) for z in (-limit, 0.0, limit))
            apart.append(abs(miss) / sd)
        else:
            mid = r.planned_g * belief.factor(r.colour)
            sd = math.hypot(r.noise_g, mid * math.sqrt(belief.variance(r.colour) + WANDER_SD**2))
            low, high = mid - limit * sd, mid + limit * sd
            apart.append(abs(r.used_g - mid) / sd)
        least = LEAST_ASKED * r.skein_g
        ranges.append(_Range(min(low, mid - least), max(high, mid + least)))
    return ranges, apart


def _asked(one: Reading, may: _Range, others: Sequence[Reading], belief: Belief, doubt: Doubt) -> Doubt:
    """Return the doubt with the first question whose yes would make the reading true."""
    name = one.weighed.yarn
    for other in others:
        if may.holds(one.before_g - other.left_g) and _better_swapped(one, other, belief):
            swapped = (
                replace(other.weighed, yarn=name, answer="mended"),
                replace(one.weighed, yarn=other.weighed.yarn, answer="mended"),
            )
            asked = note("Are the weights of {name} and {other} swapped?", name=name, other=other.weighed.yarn)
            return replace(doubt, question=asked, left=swapped)
    for question, weighed in (*_units(one), *_skeins(one)):
        unopened_g = (weighed.unopened or 0) * one.skein_g
        # What was weighed must have come from what is not unopened.
        there = float(weighed.grams) <= (1 + HEAVY) * (one.before_g - unopened_g)
        if there and may.holds(one.before_g - float(weighed.grams) - unopened_g):
            return replace(doubt, question=question, left=(replace(weighed, answer="mended"),))
    for n in range(1, 1 + max(0, math.ceil((may.high_g - one.used_g) / one.skein_g))):
        if may.holds(one.used_g + n * one.skein_g):
            asked = (
                note("Was one more skein of {name} bought?", name=name)
                if n == 1
                else note("Were {n} more skeins of {name} bought?", n=n, name=name)
            )
            return replace(doubt, question=asked, bought=n)
    return doubt


def _better_swapped(one: Reading, other: Reading, belief: Belief) -> bool:
    """Tell whether the other colour can have the weight of this one, and not its own."""
    (theirs,), _ = _expected([other], belief, NORMAL.inv_cdf(1 - FALSE_ALARM / 2))
    return theirs.holds(other.before_g - one.left_g) and not theirs.holds(other.used_g)


def _plain_question(one: Reading, may: _Range, when: Moment) -> Notice:
    left, name = Amount(one.left_g, "g"), one.weighed.yarn
    if one.last_g is not None and one.left_g > one.last_g + 3 * one.noise_g:
        return note(
            "{name} weighed {before} before and now {left}, and none was bought in between: is it weighed right?",
            "warning",
            name=name,
            before=Amount(one.last_g, "g"),
            left=left,
        )
    low, high = max(0.0, one.before_g - may.high_g), max(0.0, one.before_g - may.low_g)
    return note(
        "{left} of {name} were typed after row {row}; {low} to {high} is what can be left: is it weighed right?",
        "warning",
        name=name,
        left=left,
        row=when.row,
        low=Amount(low, "g", bare=True),
        high=Amount(min(high, one.before_g), "g"),
    )


def _units(one: Reading) -> Iterator[tuple[Notice, Weighed]]:
    """Return the weight as it would be in another unit."""
    grams, name = one.weighed.grams, one.weighed.yarn
    yield (
        note("Was the weight of {name} read in ounces and taken as grams?", name=name),
        replace(one.weighed, grams=min(grams * GRAMS_PER_OUNCE, Fraction(100_000))),
    )
    yield (
        note("Was the weight of {name} read in grams and taken as ounces?", name=name),
        replace(one.weighed, grams=grams / GRAMS_PER_OUNCE),
    )
    yield (
        note("Was the weight of {name} read in kilograms and taken as grams?", name=name),
        replace(one.weighed, grams=min(grams * 1000, Fraction(100_000))),
    )


def _skeins(one: Reading) -> Iterator[tuple[Notice, Weighed]]:
    """Return the reading with skeins that were not counted, and with skeins counted too many."""
    told, name = one.weighed.unopened or 0, one.weighed.yarn
    for n in range(1, one.skeins - told + 1):
        yield (
            note("Is one unopened skein of {name} not counted?", name=name)
            if n == 1
            else note("Are {n} unopened skeins of {name} not counted?", n=n, name=name),
            replace(one.weighed, unopened=told + n),
        )
    for n in range(1, told + 1):
        yield (
            note("Is one skein of {name} counted as unopened that is not there or was weighed as well?", name=name)
            if n == 1
            else note(
                "Are {n} skeins of {name} counted as unopened that are not there or were weighed as well?",
                n=n,
                name=name,
            ),
            replace(one.weighed, unopened=told - n),
        )

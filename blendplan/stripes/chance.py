"""Orders by chance with rules, and leftovers shared over numbered stripes."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from blendplan.errors import StripeError
from blendplan.stripes.model import MAX_ROWS
from blendplan.stripes.shares import rows_from_shares
from blendplan.units import exact, number, whole
from blendplan.wording import Notice, Rounded, note

__all__ = ["Slips", "random_order", "share_scraps", "spread_evenly"]

# Tries before a rule is called impossible; an order of 200 stripes takes a few hundred where it exists at all.
MAX_STEPS = 20_000


def random_order(
    counts: Mapping[str, int],
    seed: int,
    *,
    lightness: Mapping[str, float] | None = None,
    least_step: float = 0.0,
    most_step: float = 200.0,
    no_same: bool = True,
) -> tuple[str, ...]:
    """Return colours in an order by chance that keeps the rules.

    Parameters
    ----------
    counts : mapping of str to int
        How often each colour comes.
    seed : int
        The same seed gives the same order.
    lightness : mapping of str to float, optional
        CIELAB L* of each colour; needed for the two steps.
    least_step, most_step : float
        L* between neighbours: a least step keeps lights from lying together and darks together, a most step keeps
        lights and darks apart.
    no_same : bool
        No colour beside itself.

    Raises
    ------
    StripeError
        If no order keeps the rules, with the rule to loosen.

    Examples
    --------
    >>> "".join(random_order({"A": 3, "B": 2}, seed=1))
    'ABABA'
    """
    left = {name: whole(n, "stripes of " + name, 0, MAX_ROWS) for name, n in counts.items()}
    total = sum(left.values())
    if not 1 <= total <= MAX_ROWS:
        raise StripeError("{given} stripes were asked for; allowed is 1 to {most}.", given=total, most=MAX_ROWS)
    most, name = max((n, name) for name, n in left.items())
    if no_same and most > total - most + 1:
        raise StripeError(
            "{name} comes {given} times in {total} stripes and would lie beside itself; the most that works is "
            "{allowed}.",
            name=name,
            given=most,
            total=total,
            allowed=(total + 1) // 2,
        )
    light = _lightness(left, lightness)
    stepped = lightness is not None
    if not stepped and (least_step > 0 or most_step < 100):
        raise StripeError("steps of lightness need the lightness of every colour; give it, or leave the steps out.")

    def fits(a: str, b: str) -> bool:
        step = abs(light[a] - light[b])
        return not (no_same and a == b) and (a == b or not stepped or least_step <= step <= most_step)

    order = _search(left, total, random.Random(whole(seed, "seed", 0, 2**32 - 1)), fits)
    if order is None:
        raise StripeError(
            "no order was found with lightness steps from {low} to {high}; lower the least step or raise the most.",
            low=Rounded(f"{least_step:g}"),
            high=Rounded(f"{most_step:g}"),
        )
    return order


def _lightness(names: Mapping[str, object], lightness: Mapping[str, float] | None) -> dict[str, float]:
    """Return L* of every colour, all alike where none is given."""
    if lightness is None:
        return dict.fromkeys(names, 50.0)
    missing = [name for name in names if name not in lightness]
    if missing:
        raise StripeError("the lightness of {names} is missing; give L* from 0 to 100.", names=", ".join(missing))
    return {name: number(lightness[name], "lightness of " + name, 0, 100) for name in names}


def _search(
    left: dict[str, int], total: int, chance: random.Random, fits: Callable[[str, str], bool]
) -> tuple[str, ...] | None:
    """Return an order found depth first; of the colours that fit, the scarce ones wait."""
    order: list[str] = []

    def choices() -> list[str]:
        names = [n for n, k in left.items() if k and (not order or fits(order[-1], n))]
        # weighed by what is left, so that a colour that comes often is not all kept for the end
        keyed = sorted(names, key=lambda n: (chance.random() ** (1 / left[n]), n))
        rest = total - len(order)
        return sorted(keyed, key=lambda n: 2 * left[n] > rest)

    stack = [choices()]
    for _ in range(MAX_STEPS):
        if len(order) == total:
            return tuple(order)
        if stack[-1]:
            name = stack[-1].pop()
            left[name] -= 1
            order.append(name)
            stack.append(choices())
            continue
        stack.pop()
        if not order:
            return None
        left[order.pop()] += 1
    return None


def spread_evenly(counts: Mapping[str, int], lightness: Mapping[str, float] | None = None) -> tuple[str, ...]:
    """Return colours each spread as evenly as it goes over all stripes.

    The i-th of k stripes of a colour is due at (i + 1/2) / k of the way; a colour whose turn has come longest goes
    first, and with lightness given the one that brings the mean so far nearest to the mean of all.

    Examples
    --------
    >>> "".join(spread_evenly({"A": 3, "B": 2}))
    'ABABA'
    """
    total = sum(counts.values())
    done = dict.fromkeys(counts, 0)
    light = _lightness(counts, lightness)
    mean = sum(light[n] * k for n, k in counts.items()) / total if total else 0.0
    drift, out = 0.0, list[str]()
    for at in range(total):
        open_ = [n for n, k in counts.items() if done[n] < k]
        apart = [n for n in open_ if not out or n != out[-1]] or open_
        # a colour that must not wait: as many left of it as every second place there is
        pressed = [n for n in apart if 2 * (counts[n] - done[n]) > total - at]

        def due(n: str) -> Fraction:
            return Fraction(2 * done[n] + 1, 2 * counts[n])

        first = min(due(n) for n in apart)
        ready = pressed or [n for n in apart if due(n) <= first + Fraction(1, total)]
        pick = min(ready, key=lambda n: (abs(drift + light[n] - mean), due(n), n))
        done[pick] += 1
        drift += light[pick] - mean
        out.append(pick)
    return tuple(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slips:
    """Leftovers on numbered stripes.

    Attributes
    ----------
    order : tuple of str
        The colour of stripe 1, 2, ...
    used_g, left_g : tuple of (str, Fraction)
        Grams of each colour.
    notices : tuple of Notice
    """

    order: tuple[str, ...]
    used_g: tuple[tuple[str, Fraction], ...]
    left_g: tuple[tuple[str, Fraction], ...]
    notices: tuple[Notice, ...] = ()


def share_scraps(
    grams: Mapping[str, object],
    grams_per_stripe: object,
    stripes: int,
    *,
    lightness: Mapping[str, float] | None = None,
) -> Slips:
    """Return weighed leftovers shared over numbered stripes, each colour spread out, light and dark balanced.

    Parameters
    ----------
    grams : mapping of str to number
        What is left of each colour.
    grams_per_stripe : number
        What one stripe takes, tails included.
    stripes : int
        Stripes to fill.

    Raises
    ------
    StripeError
        If the leftovers give fewer stripes, with how many they give.
    """
    each = exact(grams_per_stripe, "grams of a stripe")
    number(each, "grams of a stripe", 0.1, 10_000, "g")
    wanted = whole(stripes, "stripes", 1, MAX_ROWS)
    have = {name: exact(g, "grams of " + name) for name, g in grams.items()}
    for name, g in have.items():
        number(g, "grams of " + name, 0, 100_000, "g")
    most = {name: int(g / each) for name, g in have.items()}
    if sum(most.values()) < wanted:
        raise StripeError(
            "the leftovers give {there} whole stripes and {wanted} are wanted; narrow the stripes or take fewer.",
            there=sum(most.values()),
            wanted=wanted,
        )
    counts = _capped(most, wanted)
    used = tuple((name, counts[name] * each) for name in have)
    order = spread_evenly({n: k for n, k in counts.items() if k}, lightness)
    beside = sum(a == b for a, b in pairwise(order))
    notices: tuple[Notice, ...] = ()
    if beside:
        notices = (
            note("{count} stripes lie beside one of their own colour; there is too much of it.", "note", count=beside),
        )
    return Slips(
        order=order,
        used_g=used,
        left_g=tuple((name, have[name] - counts[name] * each) for name in have),
        notices=notices,
    )


def _capped(most: Mapping[str, int], wanted: int) -> Counter[str]:
    """Return stripes per colour in proportion to what each could give, never more than that."""
    names = [n for n, k in most.items() if k]
    rows = rows_from_shares([most[n] for n in names], wanted)
    return Counter(dict(zip(names, rows, strict=True)))

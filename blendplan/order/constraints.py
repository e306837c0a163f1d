"""What an order must keep to, checked in one line each, and turned into penalties for the search."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from blendplan.errors import StripeError
from blendplan.units import whole

Pair = tuple[str, str]


def _pairs(given: Iterable[Iterable[str]], field: str) -> tuple[Pair, ...]:
    out = []
    for pair in given:
        names = (pair,) if isinstance(pair, str) else tuple(pair)
        if len(names) != 2 or names[0] == names[1]:
            raise StripeError(
                "{field}: {given} was given; give pairs of two different colours.",
                field=field,
                given=", ".join(map(str, names)),
            )
        out.append((names[0], names[1]))
    return tuple(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class Constraints:
    """Wishes that must hold."""

    # first, last: colours at the ends. In a closed round `first` only says where the written order begins, and `last`
    # the colour beside it across the seam.
    first: str | None = None
    last: str | None = None
    wanted: tuple[Pair, ...] = ()  # pairs that must stand side by side, either way round
    forbidden: tuple[Pair, ...] = ()  # pairs that must not stand side by side
    places: tuple[tuple[str, int], ...] = ()  # colours with a fixed place, counted from 1 (a mapping is taken too)
    # Colours with little yarn: they get end places, which use 3 strand-stripes where inner ones use 4 (trade facts,
    # common fade of equal stripes, derived).
    short: tuple[str, ...] = ()
    closed: bool = False  # the order is repeated, so the last colour stands beside the first
    mirrored: bool = False  # the order runs to its last colour and back again; the last colour comes once
    carrier: str | None = None  # a colour that comes back between every two others
    # Colours that are used more than once, and how often (a mapping is taken too).
    uses: tuple[tuple[str, int], ...] = ()
    apart: int = 2  # least distance in places between two uses of one colour; 2 is "not side by side"

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "wanted", _pairs(self.wanted, "neighbours wanted"))
        put(self, "forbidden", _pairs(self.forbidden, "neighbours forbidden"))
        for name, low, high in (("places", 1, 1000), ("uses", 1, 50)):
            given: Any = getattr(self, name)
            items = given.items() if isinstance(given, Mapping) else given
            put(self, name, tuple((str(n), whole(v, f"{name} of {n}", low, high)) for n, v in items))
        put(self, "short", tuple(self.short))
        put(self, "apart", whole(self.apart, "places between two uses of a colour", 2, 50))
        if self.closed and self.mirrored:
            raise StripeError("a mirrored order already closes into a round; choose mirrored or closed, not both.")

    def items(self, names: tuple[str, ...]) -> tuple[str, ...]:
        """Return the names to be put in order: without the carrier, and repeated by `uses`."""
        often = dict(self.uses)
        return tuple(n for n in names if n != self.carrier for _ in range(often.get(n, 1)))

    def check(self, names: tuple[str, ...], k: int) -> None:
        """Refuse wishes about unknown colours and wishes that contradict each other.

        `names`: colours of the palette; `k`: number of places to fill.
        """
        self._check_names(names)
        fixed: dict[int, str] = {}
        wishes = [(self.first, 1)] + [(self.last, k)] + [(n, p) for n, p in self.places]
        for name, place in wishes:
            if name is None:
                continue
            if place > k:
                raise StripeError(
                    "{name} is to stand in place {place}, but there are {k} places; give 1 to {k}.",
                    name=repr(name),
                    place=place,
                    k=k,
                )
            if fixed.setdefault(place, name) != name:
                raise StripeError(
                    "{one} and {other} are both to stand in place {place}; free one of them.",
                    one=repr(fixed[place]),
                    other=repr(name),
                    place=place,
                )
        often = Counter(dict(self.uses))
        for name, count in Counter(fixed.values()).items():
            if count > max(often[name], 1):
                raise StripeError(
                    "{name} is to stand in {count} places, but its uses are {uses}; free a place or use it more.",
                    name=repr(name),
                    count=count,
                    uses=max(often[name], 1),
                )
        self._check_pairs(k)
        self._check_short(fixed, k)

    def _check_names(self, names: tuple[str, ...]) -> None:
        told = [self.first, self.last, self.carrier, *self.short]
        told += [n for pair in (*self.wanted, *self.forbidden) for n in pair]
        told += [n for n, _ in (*self.places, *self.uses)]
        for name in told:
            if name is not None and name not in names:
                shown = ", ".join(names[:12]) + (" ..." if len(names) > 12 else "")
                raise StripeError(
                    "{name} is not a colour of this palette; choose one of {names}.", name=repr(name), names=shown
                )
        wishes = [self.first, self.last, *self.short, *(n for pair in self.wanted for n in pair)]
        wishes += [n for n, _ in (*self.places, *self.uses)]
        if self.carrier is not None and self.carrier in wishes:
            raise StripeError(
                "{name} is the carrier between all others, so it has no place of its own; "
                "choose another carrier or drop the wish.",
                name=repr(self.carrier),
            )

    def _check_pairs(self, k: int) -> None:
        unlike = {frozenset(p) for p in self.forbidden}
        beside: Counter[str] = Counter()
        often = dict(self.uses)
        for one, other in {tuple(sorted(p)) for p in self.wanted}:
            if frozenset((one, other)) in unlike:
                raise StripeError(
                    "{one} and {other} are both wanted and forbidden side by side; drop one of the two wishes.",
                    one=repr(one),
                    other=repr(other),
                )
            beside.update((one, other))
        for name, count in beside.items():
            if count > 2 * often.get(name, 1):
                raise StripeError(
                    "{name} is wanted beside {count} colours, but a stripe has two sides; drop one of them.",
                    name=repr(name),
                    count=count,
                )

    def _check_short(self, fixed: dict[int, str], k: int) -> None:
        ends = {1, k} if not self.mirrored else {1}
        if not self.short:
            return
        if self.closed:
            raise StripeError("a closed round has no ends for colours with little yarn; open it or free them.")
        others = {fixed[p] for p in ends if p in fixed} - set(self.short)
        if len(set(self.short)) + len(others) > len(ends):
            raise StripeError(
                "{count} colours are to stand at the ends, and there is room for {room}; free some of them.",
                count=len(set(self.short)) + len(others),
                room=len(ends),
            )

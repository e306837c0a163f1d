"""A question put as one record, and the one call that answers it: an order with its steps and its proof."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendplan.blend.strands import Viewing
from blendplan.budgets import MAX_COLOURS, MAX_ROWS
from blendplan.colour import hex_to_lab
from blendplan.errors import StripeError
from blendplan.order.aims import StepTable, Targets, check_aim, step_matrix
from blendplan.order.constraints import Constraints
from blendplan.order.problem import Control, Model, build
from blendplan.order.solve import Found, solve
from blendplan.units import whole
from blendplan.wording import Notice, Rounded, note
from blendplan.yarn import Yarn, check_yarns

Pairs = tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What an order is asked to do."""

    # A key of `AIMS`, or weights of several (their formulas: `blendplan.order.aims`); a mapping is taken too.
    aim: str | Pairs | Mapping[str, float] = "smoothest"
    constraints: Constraints = field(default_factory=Constraints)
    # Use only so many of the colours, the best choice together with the best order; none uses all.
    choose: int | None = None
    keep: tuple[str, ...] = ()  # colours that have to be among those chosen
    viewing: Viewing = field(default_factory=Viewing)  # how far away blends are judged from
    blend_rows: int = 2  # 0 leaves the blends out
    start: str | None = None  # start, end: `#rrggbb` for the aim `ends`
    end: str | None = None
    own: tuple[str, ...] = ()  # her own order, for the aim `own`
    follow: tuple[tuple[float, float, float], ...] = ()  # shades along a line, for the aim `follow`

    def __post_init__(self) -> None:
        # As a tuple, so that a question can be the key of what is kept.
        if isinstance(self.aim, Mapping):
            object.__setattr__(self, "aim", tuple(self.aim.items()))


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """How an answer is looked for."""

    seed: int = 0  # seed, effort: for the search beyond 18 colours
    effort: float = 1.0
    # Stops the search; the order is then the best so far, and may differ from machine to machine.
    time_limit_s: float | None = None
    progress: Callable[[float], None] | None = None  # called with 0 to 1
    cancel: Callable[[], bool] | None = None  # asked often; true stops the search

    def control(self) -> Control:
        """Return what a search asks while it runs; its time begins now."""
        limit = None if self.time_limit_s is None else time.monotonic() + self.time_limit_s
        return Control(progress=self.progress, cancel=self.cancel, deadline=limit)

    def told(self, share: float) -> None:
        """Tell how far the search is, where somebody asked."""
        if self.progress is not None:
            self.progress(share)


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Task:
    """A checked question: the palette's steps, the aims, the wishes and the model made of them."""

    table: StepTable
    aims: tuple[tuple[str, float], ...]
    wishes: Constraints
    model: Model


def prepare(yarns: tuple[Yarn, ...], question: Question | None = None) -> Task:
    """Return the checked question."""
    asked = question or Question()
    yarns = tuple(sorted(check_yarns(tuple(yarns)), key=lambda y: y.name))
    wishes, aims = asked.constraints, check_aim(asked.aim if isinstance(asked.aim, str) else dict(asked.aim))
    names = tuple(y.name for y in yarns)
    if len(names) < 2:
        raise StripeError(
            "only one colour, {name}, was given, and an order needs two or more; add another yarn.",
            name=repr(names[0]),
        )
    items = len(wishes.items(names))
    if items > MAX_COLOURS:
        raise StripeError(
            "{given} places are to be filled; allowed is up to {allowed}; put fewer colours in order at once.",
            given=items,
            allowed=MAX_COLOURS,
        )
    k = asked.choose if asked.choose is None else whole(asked.choose, "colours to choose", 2, max(items, 2))
    if k is not None and len(set(asked.keep)) > k:
        raise StripeError(
            "{given} colours are to be kept, but only {k} are to be used; keep fewer.", given=len(set(asked.keep)), k=k
        )
    wishes.check(names, items if k is None else k)
    for name in (*asked.own, *asked.keep):
        if name not in names:
            raise StripeError("{name} is not in the palette; drop it from her order or wishes.", name=repr(name))
    table = step_matrix(
        yarns,
        viewing=asked.viewing,
        blend_rows=whole(asked.blend_rows, "rows of a blend stripe", 0, MAX_ROWS),
    )
    targets = Targets(start=_lab(asked.start), end=_lab(asked.end), own=asked.own, follow=asked.follow)
    keep = tuple(n for n in asked.keep if n != wishes.carrier)
    return Task(table=table, aims=aims, wishes=wishes, model=build(table, aims, wishes, targets, k=k, keep=keep))


def _lab(text: str | None) -> tuple[float, float, float] | None:
    if text is None:
        return None
    lab = hex_to_lab(text)
    return (float(lab[0]), float(lab[1]), float(lab[2]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """The way from one solid stripe to the next."""

    before: str  # before, after: names of the two colours
    after: str
    via: str  # `#rrggbb` of the blend stripe between; empty where there is none
    halves: tuple[float, ...]  # CIEDE2000 of each single step on the way (two with a blend, one without)
    direct: float  # CIEDE2000 between the two solid stripes themselves

    @property
    def delta_e(self) -> float:
        """Sum of the single steps."""
        return sum(self.halves)

    @property
    def largest(self) -> float:
        """The larger of the single steps."""
        return max(self.halves)

    def to_json(self) -> dict[str, Any]:
        """Return the step for a JSON file."""
        return {
            "from": self.before,
            "to": self.after,
            "via": self.via or None,
            "delta_e": round(self.delta_e, 6),
            "parts": [round(x, 6) for x in self.halves],
            "direct": round(self.direct, 6),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Ordering:
    """An order of colours and what is known about it."""

    # Names in the order they are crocheted; with a mirror, a carrier or several uses a name comes more than once.
    # `Sequence(order=...)` makes the stripes.
    order: tuple[str, ...]
    # Value of the aim, less is better. For one aim alone in the unit of its formula (`AIMS`), for a mix the weighed sum
    # of values relative to a random order.
    cost: float
    # True where no order with these constraints can be better (by more than 1e-7 of its total step, the weight of what
    # decides between equal orders).
    exact: bool
    bound: float  # no order can cost less than this
    gap: float  # (cost - bound) / bound, 0 when proven; infinite where no bound above 0 is known
    steps: tuple[Step, ...]
    verdict: Notice  # the gap in words
    notices: tuple[Notice, ...] = ()  # what was assumed or is to be doubted
    aim: tuple[tuple[str, float], ...] = (("smoothest", 1.0),)  # aims and weights
    closed: bool = False  # true where the last step leads back to the first colour

    @property
    def total_delta_e(self) -> float:
        """Sum of all single steps, whatever the aim was."""
        return sum(s.delta_e for s in self.steps)

    @property
    def worst(self) -> Step | None:
        """The step with the largest sum; none for a single stripe."""
        return max(self.steps, key=lambda s: s.delta_e, default=None)

    def to_json(self) -> dict[str, Any]:
        """Return the keys of the contract and more: order, cost, exact, bound, gap, aim, steps, words."""
        return {
            "order": list(self.order),
            "cost": round(self.cost, 6),
            "exact": self.exact,
            "bound": round(self.bound, 6),
            "gap": round(self.gap, 6) if self.gap != float("inf") else None,
            "aim": dict(self.aim),
            "closed": self.closed,
            "verdict": self.verdict.text,
            "steps": [s.to_json() for s in self.steps],
            "notices": [n.text for n in self.notices],
        }


def written_order(items: tuple[str, ...], wishes: Constraints) -> tuple[str, ...]:
    """Return the colours as they are crocheted: the carrier put between, the mirror unfolded.

    Examples
    --------
    >>> written_order(("A", "B", "C"), Constraints(mirrored=True))
    ('A', 'B', 'C', 'B', 'A')
    >>> written_order(("A", "B"), Constraints(carrier="W"))
    ('A', 'W', 'B')
    """
    out = list(items)
    if wishes.carrier is not None:
        out = [n for item in items for n in (item, wishes.carrier)]
        out = out if wishes.closed else out[:-1]
    if wishes.mirrored:
        out += out[-2::-1]
    return tuple(out)


def describe_order(order: tuple[str, ...], table: StepTable, closed: bool = False) -> tuple[Step, ...]:
    """Return the steps of any order of the colours of a table."""
    where = {n: i for i, n in enumerate(table.names)}
    pairs = list(pairwise(order))
    if closed and len(order) > 1:
        pairs.append((order[-1], order[0]))
    return tuple(
        Step(
            before=a,
            after=b,
            via=table.via(where[a], where[b]),
            halves=tuple(float(x) for x in table.halves[where[a], where[b]]),
            direct=float(table.direct[where[a], where[b]]),
        )
        for a, b in pairs
    )


def _standing(model: Model, order: tuple[int, ...], wishes: Constraints, light: dict[str, float]) -> tuple[int, ...]:
    """Return the order read from its lighter end, or a round turned to its first colour, where nothing is lost."""
    base = np.array(order, dtype=np.intp)
    ways: list[NDArray[np.intp]] = [base, base[::-1]]
    if model.closed and model.k == model.m:
        ways = [np.roll(way, -i) for way in ways for i in range(len(base))]
    stacked = np.stack(ways)
    values, faults = model.value(stacked), model.faults(stacked)
    names = np.array(model.names, dtype=object)
    keep = []
    for way, value, fault in zip(stacked, values, faults, strict=True):
        told = names[way]
        if fault > faults[0] or value > values[0] + 1e-9 * max(1.0, abs(values[0])):
            continue
        if (wishes.first and told[0] != wishes.first) or (wishes.last and told[-1] != wishes.last):
            continue
        keep.append((tuple((-light[n], n) for n in told), tuple(int(i) for i in way)))
    return min(keep)[1] if keep else order


def _verdict(found: Found, n: int) -> tuple[float, Notice]:
    if found.exact:
        return 0.0, note("proven best of the shades as they are: no other order of these {n} colours is better.", n=n)
    if found.bound > 1e-9:
        gap = max(found.value - found.bound, 0.0) / found.bound
        return gap, note("within {percent} % of the best possible.", percent=Rounded(f"{100 * gap:.2g}"))
    return float("inf"), note("the best found; how much better another order could be is not known for this aim.")


def find_order(yarns: tuple[Yarn, ...], question: Question | None = None, *, search: Search | None = None) -> Ordering:
    """Return the best order for a question, or the best found with a bound; and which colours, where it has to choose.

    Parameters
    ----------
    yarns : tuple of Yarn
        2 to 200.
    question : Question, optional
        The smoothest order of all of them by default.
    search : Search, optional

    Returns
    -------
    Ordering
        Of orders that are equally good, the one read from its lighter end. The order in which the yarns are
        given does not matter.

    Raises
    ------
    YarnError, StripeError
        If there are too few or too many colours, a wish names none of them, or the wishes contradict each other.

    Notes
    -----
    A choice among up to 18 colours is exact. Beyond that a search finds one and `bounds.choose_proven` tries to
    prove it; `Ordering.exact` tells whether it could.

    Examples
    --------
    >>> from blendplan.yarn import Shade, Yarn
    >>> grey = tuple(Yarn(name=n, shades=(Shade(lab=(L, 0, 0)),)) for n, L in (("b", 50), ("c", 20), ("a", 80)))
    >>> found = find_order(grey)
    >>> found.order, found.exact
    (('a', 'b', 'c'), True)
    """
    asked, search = question or Question(), search or Search()
    task, control = prepare(yarns, asked), search.control()
    found = solve(task.model, seed=search.seed, effort=search.effort, control=control)
    search.told(1.0)
    ordering = finish(found, task, stopped=control.stopped)
    return ordering if asked.choose is None else _of_a_choice(ordering, asked, task, len(yarns))


def _of_a_choice(ordering: Ordering, asked: Question, task: Task, on_hand: int) -> Ordering:
    """Return an order of chosen colours with what is to be said of the choice."""
    k, wishes = task.model.k, task.wishes
    free = on_hand - int(wishes.carrier is not None)
    if ordering.exact and k < free:
        proven = note("proven best: no other {k} of these {n} colours, in any order, are better.", k=k, n=free)
        ordering = replace(ordering, verdict=proven)
    pulls = wishes.first or wishes.last or wishes.places or asked.keep
    if [name for name, _ in task.aims] in (["smoothest"], ["even"], ["steady"]) and not pulls:
        told = note(
            "with nothing else asked for, the {k} colours most alike are chosen; keep some, or name a first and a last "
            "one.",
            "assumed",
            k=k,
        )
        ordering = replace(ordering, notices=(*ordering.notices, told))
    return ordering


def finish(found: Found, task: Task, *, stopped: bool, as_is: bool = False) -> Ordering:
    """Return what was found as an `Ordering`, or refuse if no order keeps to the wishes.

    `as_is` leaves the direction of reading as it was found.
    """
    model, table, wishes = task.model, task.table, task.wishes
    if found.faults:
        if found.exact:
            raise StripeError(
                "no order of these {n} colours keeps to all wishes together; drop one of them.", n=model.k
            )
        raise StripeError(
            "no order of these {n} colours was found that keeps to all wishes; drop one, or allow more time.",
            n=model.k,
        )
    light = {n: round(float(lab[0]), 6) for n, lab in zip(table.names, table.lab, strict=True)}
    items = found.order if as_is else _standing(model, found.order, wishes, light)
    order = written_order(tuple(model.names[i] for i in items), wishes)
    gap, verdict = _verdict(found, len(set(order)))
    notices = []
    if stopped:
        notices.append(note("the search was stopped before it was done; a better order may exist.", "warning"))
    if wishes.carrier is not None:
        notices.append(note("orders that are equal with {name} between are told apart across it.", name=wishes.carrier))
    return Ordering(
        order=order,
        cost=found.value,
        exact=found.exact,
        bound=found.bound,
        gap=gap,
        steps=describe_order(order, table, wishes.closed),
        verdict=verdict,
        notices=tuple(notices),
        aim=task.aims,
        closed=wishes.closed,
    )

"""The one call: yarns, an aim and wishes in, an order with its proof out."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from blendplan.blend.family import member_n
from blendplan.colour import hex_to_lab
from blendplan.errors import StripeError
from blendplan.order.aims import Targets, check_aim
from blendplan.order.build import Model, build
from blendplan.order.constraints import Constraints
from blendplan.order.model import Ordering, Step
from blendplan.order.problem import Control
from blendplan.order.solve import Found, solve
from blendplan.order.steps import StepTable, step_matrix
from blendplan.units import whole
from blendplan.wording import Notice, Rounded, note
from blendplan.yarn import Yarn, check_yarns

__all__ = ["MAX_COLOURS", "Task", "describe_order", "find_order", "finish", "prepare", "written_order"]

# One local search of 200 colours takes seconds; beyond that nobody waits.
MAX_COLOURS = 200


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
        return 0.0, note("proven best: no other order of these {n} colours is better.", n=n)
    if found.bound > 1e-9:
        gap = max(found.value - found.bound, 0.0) / found.bound
        return gap, note("within {percent} % of the best possible.", percent=Rounded(f"{100 * gap:.2g}"))
    return float("inf"), note("the best found; how much better another order could be is not known for this aim.")


def find_order(
    yarns: tuple[Yarn, ...],
    *,
    aim: str | Mapping[str, float] = "smoothest",
    constraints: Constraints | None = None,
    n_member: str | float = 3.0,
    solid_rows: int = 4,
    blend_rows: int = 2,
    by_height: bool = False,
    rows: Mapping[str, int] | None = None,
    start: str | None = None,
    end: str | None = None,
    own: tuple[str, ...] = (),
    seed: int = 0,
    effort: float = 1.0,
    time_limit_s: float | None = None,
    progress: Callable[[float], None] | None = None,
    cancel: Callable[[], bool] | None = None,
) -> Ordering:
    """Return the best order of all the yarns for an aim, or the best found with a bound.

    Parameters
    ----------
    yarns : tuple of Yarn
        2 to 200.
    aim : str or mapping of str to float
        A key of `AIMS`, or weights of several (their formulas: `blendplan.order.aims`).
    constraints : Constraints, optional
    n_member : str or float
        Member of the blend family: perceptual, optical or 1 to 3.
    solid_rows, blend_rows : int
        Heights of the stripes; `blend_rows` 0 leaves the blends out.
    by_height : bool
        Weigh each single step by the heights of its stripes (`steps.row_weight`).
    rows : mapping of str to int, optional
        Solid rows of colours that differ from `solid_rows`; they matter with `by_height` only.
    start, end : str, optional
        `#rrggbb` for the aim `ends`.
    own : tuple of str
        Her own order, for the aim `own`.
    seed, effort
        For the search beyond 18 colours.
    time_limit_s : float, optional
        Stops the search; the order is then the best so far, and may differ from machine to machine.
    progress : callable, optional
        Called with 0 to 1.
    cancel : callable, optional
        Asked often; True stops the search.

    Returns
    -------
    Ordering
        Of orders that are equally good, the one read from its lighter end. The order in which the yarns are
        given does not matter.

    Raises
    ------
    YarnError, StripeError
        If there are too few or too many colours, a wish names none of them, or the wishes contradict each other.

    Examples
    --------
    >>> from blendplan.yarn import Shade, Yarn
    >>> grey = tuple(Yarn(name=n, shades=(Shade(lab=(L, 0, 0)),)) for n, L in (("b", 50), ("c", 20), ("a", 80)))
    >>> found = find_order(grey)
    >>> found.order, found.exact
    (('a', 'b', 'c'), True)
    """
    task = prepare(
        yarns,
        aim=aim,
        constraints=constraints,
        n_member=n_member,
        solid_rows=solid_rows,
        blend_rows=blend_rows,
        by_height=by_height,
        rows=rows,
        start=start,
        end=end,
        own=own,
    )
    control = make_control(time_limit_s, progress, cancel)
    found = solve(task.model, seed=seed, effort=effort, control=control)
    if progress is not None:
        progress(1.0)
    return finish(found, task, stopped=control.stopped)


def make_control(
    time_limit_s: float | None, progress: Callable[[float], None] | None, cancel: Callable[[], bool] | None
) -> Control:
    """Return what a search asks while it runs."""
    limit = None if time_limit_s is None else time.monotonic() + time_limit_s
    return Control(progress=progress, cancel=cancel, deadline=limit)


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Task:
    """A checked question: the palette's steps, the aims, the wishes and the model made of them."""

    table: StepTable
    aims: tuple[tuple[str, float], ...]
    wishes: Constraints
    model: Model


def prepare(
    yarns: tuple[Yarn, ...],
    *,
    aim: str | Mapping[str, float] = "smoothest",
    constraints: Constraints | None = None,
    n_member: str | float = 3.0,
    solid_rows: int = 4,
    blend_rows: int = 2,
    by_height: bool = False,
    rows: Mapping[str, int] | None = None,
    start: str | None = None,
    end: str | None = None,
    own: tuple[str, ...] = (),
    follow: tuple[tuple[float, float, float], ...] = (),
    k: int | None = None,
    keep: tuple[str, ...] = (),
) -> Task:
    """Return the checked question; parameters and errors as of `find_order`."""
    yarns = tuple(sorted(check_yarns(tuple(yarns)), key=lambda y: y.name))
    wishes = constraints or Constraints()
    aims = check_aim(aim)
    solid_rows = whole(solid_rows, "rows of a solid stripe", 1, 5000)
    blend_rows = whole(blend_rows, "rows of a blend stripe", 0, 5000)
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
    wishes.check(names, items if k is None else k)
    tall = {n: whole(r, f"rows of {n}", 1, 5000) for n, r in (rows or {}).items()}
    for name in (*own, *keep, *tall):
        if name not in names:
            raise StripeError("{name} is not in the palette; drop it from her order or wishes.", name=repr(name))
    table = step_matrix(
        yarns, n_member=member_n(n_member), solid_rows=solid_rows, blend_rows=blend_rows, by_height=by_height, rows=tall
    )
    targets = Targets(start=_lab(start), end=_lab(end), own=own, follow=follow)
    model = build(table, aims, wishes, targets, k=k, keep=keep)
    return Task(table=table, aims=aims, wishes=wishes, model=model)


def _lab(text: str | None) -> tuple[float, float, float] | None:
    if text is None:
        return None
    lab = hex_to_lab(text)
    return (float(lab[0]), float(lab[1]), float(lab[2]))


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

"""Which colours as well as their order: k of all on hand, or an order that follows a picture."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from blendplan.blend.family import blend_linear, member_n
from blendplan.colour import Floats, delta_e_2000, lab_to_linear, linear_to_lab
from blendplan.errors import StripeError
from blendplan.order.constraints import Constraints
from blendplan.order.find import describe_order, finish, make_control, prepare
from blendplan.order.model import Ordering
from blendplan.order.solve import solve
from blendplan.order.steps import step_matrix
from blendplan.units import whole
from blendplan.wording import note
from blendplan.yarn import Yarn, check_yarns

__all__ = ["choose_order", "follow_shades", "wanted_along"]

Lab = tuple[float, float, float]


def choose_order(
    yarns: tuple[Yarn, ...],
    k: int,
    *,
    aim: str | Mapping[str, float] = "smoothest",
    constraints: Constraints | None = None,
    keep: tuple[str, ...] = (),
    n_member: str | float = 3.0,
    solid_rows: int = 4,
    blend_rows: int = 2,
    by_height: bool = False,
    rows: Mapping[str, int] | None = None,
    start: str | None = None,
    end: str | None = None,
    own: tuple[str, ...] = (),
    follow: tuple[Lab, ...] = (),
    seed: int = 0,
    effort: float = 1.0,
    time_limit_s: float | None = None,
    progress: Callable[[float], None] | None = None,
    cancel: Callable[[], bool] | None = None,
) -> Ordering:
    """Return the best choice of k colours together with their best order.

    Parameters
    ----------
    yarns : tuple of Yarn
        All on hand.
    k : int
        Colours to use, 2 to the number on hand.
    keep : tuple of str
        Colours that have to be among them.
    follow : tuple of Lab triples
        Shades along a line, for the aim `follow`.
    aim, constraints, n_member, solid_rows, blend_rows, by_height, rows, start, end, own, seed, effort,
    time_limit_s, progress, cancel
        As of `find_order`.

    Raises
    ------
    StripeError, QuantityError
        As of `find_order`, or if k does not fit.

    Notes
    -----
    Up to 18 on hand the choice is exact. Beyond that a search finds a choice and `layers.choose_proven` tries to
    prove it; `Ordering.exact` tells whether it could.
    """
    on_hand = tuple(check_yarns(tuple(yarns)))
    wishes = constraints or Constraints()
    free = len(wishes.items(tuple(y.name for y in on_hand)))
    k = whole(k, "colours to choose", 2, max(free, 2))
    if len(set(keep)) > k:
        raise StripeError(
            "{given} colours are to be kept, but only {k} are to be used; keep fewer.", given=len(keep), k=k
        )
    task = prepare(
        on_hand,
        aim=aim,
        constraints=wishes,
        n_member=n_member,
        solid_rows=solid_rows,
        blend_rows=blend_rows,
        by_height=by_height,
        rows=rows,
        start=start,
        end=end,
        own=own,
        follow=follow,
        k=k,
        keep=tuple(n for n in keep if n != wishes.carrier),
    )
    control = make_control(time_limit_s, progress, cancel)
    found = solve(task.model, seed=seed, effort=effort, control=control)
    if progress is not None:
        progress(1.0)
    result = finish(found, task, stopped=control.stopped)
    if result.exact and k < free:
        proven = note("proven best: no other {k} of these {n} colours, in any order, are better.", k=k, n=free)
        result = replace(result, verdict=proven)
    alone = [name for name, _ in task.aims]
    pulls = wishes.first or wishes.last or wishes.least_step or wishes.places or keep
    if alone in (["smoothest"], ["even"], ["steady"]) and not pulls:
        told = note(
            "with nothing else asked for, the {k} colours most alike are chosen; keep some, name a first and a last "
            "one, or ask for a least step.",
            "assumed",
            k=k,
        )
        result = replace(result, notices=(*result.notices, told))
    return result


def follow_shades(
    yarns: tuple[Yarn, ...],
    shades: tuple[Lab, ...],
    places: int,
    *,
    n_member: str | float = 3.0,
    blend_rows: int = 2,
) -> Ordering:
    """Return the order, colours repeated where the picture repeats them, that follows shades along a line.

    Parameters
    ----------
    yarns : tuple of Yarn
    shades : tuple of Lab triples
        Read along the line, first to last, evenly spaced.
    places : int
        Solid stripes, 1 to 200; with blends there are places - 1 more stripes between them.
    n_member : str or float
    blend_rows : int
        0 leaves the blends out.

    Returns
    -------
    Ordering
        `cost` is the sum of CIEDE2000 between each stripe, blends too, and the shade of its place on the line;
        always exact.

    Notes
    -----
    Dynamic programming along the line (R. Bellman, 1957): colours may come back, but not beside themselves, so the
    cheapest way to each colour at each place is all that has to be known. k * n**2 steps.
    """
    on_hand = tuple(sorted(check_yarns(tuple(yarns)), key=lambda y: y.name))
    k = whole(places, "stripes along the line", 1, 200)
    if not shades or not np.isfinite(shades).all():
        raise StripeError("no shades were read along the line; draw it across the picture.")
    if len(on_hand) < 2 <= k:
        raise StripeError("one colour cannot follow a picture; add another yarn or ask for one stripe.")
    n = member_n(n_member)
    lab = np.array([y.lab for y in on_hand])
    wanted = np.array(wanted_along(shades, 2 * k - 1))
    solid = np.asarray(delta_e_2000(wanted[::2, None], lab[None]))
    between = np.zeros((max(k - 1, 0), len(lab), len(lab)))
    if blend_rows and k > 1:
        linear = lab_to_linear(lab)
        pairs = np.stack(np.broadcast_arrays(linear[:, None], linear[None]), axis=-2)
        between = np.asarray(delta_e_2000(wanted[1::2, None, None], linear_to_lab(blend_linear(pairs, n=n))[None]))
    order, cost = _along(solid, between)
    table = step_matrix(on_hand, n_member=n, blend_rows=blend_rows)
    names = tuple(on_hand[i].name for i in order)
    return Ordering(
        order=names,
        cost=cost,
        exact=True,
        bound=cost,
        gap=0.0,
        steps=describe_order(names, table),
        verdict=note("proven best: no other {k} stripes of these colours follow the line more closely.", k=k),
        aim=(("follow", 1.0),),
    )


def wanted_along(shades: tuple[Lab, ...], count: int) -> tuple[Lab, ...]:
    """Return the shades wanted at evenly spaced places, read between those met along a line.

    Parameters
    ----------
    shades : tuple of Lab triples
        First to last, at least one.
    count : int
        Places, 1 or more; one place is the start of the line. `follow_shades` asks for 2 * places - 1, solid stripes
        and the blends between them in turn.

    Examples
    --------
    >>> wanted_along(((0.0, 0.0, 0.0), (50.0, 0.0, 20.0)), 3)[1]
    (25.0, 0.0, 10.0)
    """
    along = np.array(shades, dtype=np.float64).reshape(-1, 3)
    at = np.linspace(0, len(along) - 1, count)
    columns = [np.interp(at, np.arange(len(along)), along[:, c]) for c in range(3)]
    return tuple((float(a), float(b), float(c)) for a, b, c in zip(*columns, strict=True))


def _along(solid: Floats, between: Floats) -> tuple[list[int], float]:
    k, n = solid.shape
    same = np.where(np.eye(n, dtype=bool), np.inf, 0.0)
    cost = solid[0]
    came = []
    for p in range(1, k):
        reach = cost[:, None] + between[p - 1] + same
        came.append(reach.argmin(axis=0))
        cost = reach.min(axis=0) + solid[p]
    order = [int(cost.argmin())]
    for step in reversed(came):
        order.append(int(step[order[-1]]))
    return order[::-1], float(cost.min())

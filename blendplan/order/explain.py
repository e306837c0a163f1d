"""Why one step of an order is long, and what would mend it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from blendplan.blend.family import blend_linear, member_n
from blendplan.colour import delta_e_2000, lab_to_linear, linear_to_lab
from blendplan.errors import BlendplanError, StripeError
from blendplan.order.constraints import Constraints
from blendplan.order.find import find_order
from blendplan.order.model import Ordering, Step
from blendplan.order.steps import StepTable, step_matrix
from blendplan.units import whole
from blendplan.wording import Notice, note, rounded
from blendplan.yarn import Yarn

__all__ = ["Mend", "StepReport", "explain_step"]

# A difference in lightness or chroma below 2 and in hue below 2 (CIELAB units) is not worth a sentence. Assumed.
_SMALL = 2.0
# One half of a step this much longer than the other is called uneven. The facts' mean ratio of long to short
# is 1.41 for the mean in Oklab, measured on random pairs.
_UNEVEN = 1.41


@dataclass(frozen=True, slots=True, kw_only=True)
class Mend:
    """One thing that would make a step shorter.

    Attributes
    ----------
    kind : {"order", "blend", "colour"}
        Another order of the same colours, one more blend stripe, or one more colour of hers.
    order : tuple of str
        The order to try; for `blend` the order stays and `through` tells the strand.
    through : str
        Name of the yarn that comes in; empty for `order`.
    largest : float
        The largest single step (CIEDE2000) on the way from the one colour to the other afterwards; for `order`
        the largest single step of the whole order.
    total : float
        Sum of the single steps of the whole order afterwards.
    words : Notice
    """

    kind: Literal["order", "blend", "colour"]
    order: tuple[str, ...]
    through: str
    largest: float
    total: float
    words: Notice


@dataclass(frozen=True, slots=True, kw_only=True)
class StepReport:
    """What is known about one step.

    Attributes
    ----------
    step : Step
    rank : int
        1 for the longest step of the order.
    why : tuple of Notice
    mends : tuple of Mend
        Those that help, the best of each kind, shortest largest step first.
    """

    step: Step
    rank: int
    why: tuple[Notice, ...]
    mends: tuple[Mend, ...]

    def to_json(self) -> dict[str, Any]:
        """Return the report for a JSON file."""
        return {
            "step": self.step.to_json(),
            "rank": self.rank,
            "why": [w.text for w in self.why],
            "mends": [
                {
                    "kind": m.kind,
                    "order": list(m.order),
                    "through": m.through or None,
                    "largest": round(m.largest, 6),
                    "total": round(m.total, 6),
                    "words": m.words.text,
                }
                for m in self.mends
            ],
        }


def _parts(table: StepTable, i: int, j: int) -> list[Notice]:
    """Say what the difference is made of: lightness, chroma and hue in CIELAB (CIE 15:2018)."""
    one, two = table.lab[i], table.lab[j]
    chroma = np.hypot(table.lab[[i, j], 1], table.lab[[i, j], 2])
    light, strong = float(two[0] - one[0]), float(chroma[1] - chroma[0])
    hue = float(np.sqrt(max(float(((two - one)[1:] ** 2).sum()) - strong**2, 0.0)))
    name = table.names[j]
    said: list[tuple[float, Notice]] = []
    if abs(light) >= _SMALL:
        by = f"{abs(light):.0f}"
        lighter = note("{name} is lighter by {by} in L*.", name=name, by=by)
        said.append((abs(light), lighter if light > 0 else note("{name} is darker by {by} in L*.", name=name, by=by)))
    if abs(strong) >= _SMALL:
        by = f"{abs(strong):.0f}"
        stronger = note("{name} is stronger in colour by {by} in C*.", name=name, by=by)
        paler = note("{name} is greyer by {by} in C*.", name=name, by=by)
        said.append((abs(strong), stronger if strong > 0 else paler))
    if hue >= _SMALL:
        said.append((hue, note("the two differ in hue by {by} in H*.", by=f"{hue:.0f}")))
    return [n for _, n in sorted(said, key=lambda pair: -pair[0])]


def _why(ordering: Ordering, table: StepTable, step: Step, rank: int) -> tuple[Notice, ...]:
    where = {n: i for i, n in enumerate(table.names)}
    i, j = where[step.before], where[step.after]
    out = [
        note(
            "{one} to {other} is step {rank} of {count} by length: {delta_e} in CIEDE2000.",
            one=step.before,
            other=step.after,
            rank=rank,
            count=len(ordering.steps),
            delta_e=rounded(step.delta_e, 1),
        ),
        *_parts(table, i, j),
    ]
    if len(step.halves) == 2 and min(step.halves) > 0 and max(step.halves) / min(step.halves) > _UNEVEN:
        nearer = step.before if step.halves[0] < step.halves[1] else step.after
        out.append(note("the blend lies nearer to {name}, so one half of the step is long.", name=nearer))
    used = [where[n] for n in dict.fromkeys(ordering.order)]
    for a, b in ((i, j), (j, i)):
        nearest = min((x for x in used if x != a), key=lambda x: (table.total[a, x], x), default=None)
        if nearest is not None and nearest != b:
            out.append(
                note(
                    "the nearest colour to {name} is {near} ({delta_e}).",
                    name=table.names[a],
                    near=table.names[nearest],
                    delta_e=rounded(table.total[a, nearest], 1),
                )
            )
        else:
            out.append(note("{name} has no nearer neighbour in this order.", name=table.names[a]))
    return tuple(out)


def _other_order(ordering: Ordering, yarns: tuple[Yarn, ...], wishes: Constraints, how: dict[str, Any]) -> Mend | None:
    step_pair = ordering.steps[how["index"]]
    apart = replace(wishes, forbidden=(*wishes.forbidden, (step_pair.before, step_pair.after)))
    try:
        found = find_order(
            tuple(y for y in yarns if y.name in ordering.order),
            aim=dict(ordering.aim) if how["plain"] else "smoothest",
            constraints=apart,
            n_member=how["n"],
            blend_rows=how["blend_rows"],
        )
    except BlendplanError:
        return None
    largest = max(s.largest for s in found.steps)
    if largest >= step_pair.largest:
        return None
    words = note(
        "another order keeps them apart; its largest single step is {largest}, its total {total} instead of {before}.",
        largest=rounded(largest, 1),
        total=rounded(found.total_delta_e, 1),
        before=rounded(ordering.total_delta_e, 1),
    )
    return Mend(kind="order", order=found.order, through="", largest=largest, total=found.total_delta_e, words=words)


def _more_blend(ordering: Ordering, table: StepTable, step: Step) -> Mend | None:
    """Find the strand that, blended with each, makes the best way: A, AC, CB, B in place of A, AB, B."""
    where = {n: i for i, n in enumerate(table.names)}
    i, j = where[step.before], where[step.after]
    linear = lab_to_linear(table.lab)
    to = linear_to_lab(blend_linear(np.stack(np.broadcast_arrays(linear[i], linear), axis=-2), n=table.n_member))
    back = linear_to_lab(blend_linear(np.stack(np.broadcast_arrays(linear[j], linear), axis=-2), n=table.n_member))
    ways = np.stack([delta_e_2000(table.lab[i], to), delta_e_2000(to, back), delta_e_2000(back, table.lab[j])], axis=1)
    largest = ways.max(axis=1)
    largest[[i, j]] = np.inf
    c = int(largest.argmin())
    if not largest[c] < step.largest:
        return None
    words = note(
        "blend each with {name}: {one}, {one} with {name}, {name} with {other}, {other}; the largest single step "
        "falls from {before} to {largest}.",
        name=table.names[c],
        one=step.before,
        other=step.after,
        before=rounded(step.largest, 1),
        largest=rounded(largest[c], 1),
    )
    total = ordering.total_delta_e - step.delta_e + float(ways[c].sum())
    return Mend(
        kind="blend",
        order=ordering.order,
        through=table.names[c],
        largest=float(largest[c]),
        total=total,
        words=words,
    )


def _more_colour(ordering: Ordering, table: StepTable, index: int) -> Mend | None:
    """Find the colour of hers, not in the order yet, that stands best between the two."""
    step = ordering.steps[index]
    where = {n: i for i, n in enumerate(table.names)}
    i, j = where[step.before], where[step.after]
    spare = [x for n, x in where.items() if n not in ordering.order]
    if not spare:
        return None
    largest = {x: float(max(table.halves[i, x].max(), table.halves[x, j].max())) for x in spare}
    c = min(spare, key=lambda x: (largest[x], x))
    if not largest[c] < step.largest:
        return None
    words = note(
        "put {name} of your yarns between them; the largest single step falls from {before} to {largest}.",
        name=table.names[c],
        before=rounded(step.largest, 1),
        largest=rounded(largest[c], 1),
    )
    order = (*ordering.order[: index + 1], table.names[c], *ordering.order[index + 1 :])
    total = ordering.total_delta_e - step.delta_e + float(table.total[i, c] + table.total[c, j])
    return Mend(kind="colour", order=order, through=table.names[c], largest=largest[c], total=total, words=words)


def explain_step(
    ordering: Ordering,
    yarns: tuple[Yarn, ...],
    index: int,
    *,
    constraints: Constraints | None = None,
    n_member: str | float = 3.0,
    blend_rows: int = 2,
) -> StepReport:
    """Return why a step is as long as it is, and what would make it shorter.

    Parameters
    ----------
    ordering : Ordering
    yarns : tuple of Yarn
        All she has, those that are not in the order too.
    index : int
        Step, counted from 0.
    constraints : Constraints, optional
        Wishes that another order has to keep to.
    n_member, blend_rows
        As of `find_order`.

    Raises
    ------
    QuantityError
        If there is no such step.
    StripeError
        If the order names a colour that is not among the yarns.
    """
    index = whole(index, "step", 0, len(ordering.steps) - 1)
    names = {y.name for y in yarns}
    for name in ordering.order:
        if name not in names:
            raise StripeError("the order names {name}, which is not among the yarns; add it.", name=repr(name))
    wishes = constraints or Constraints(closed=ordering.closed)
    table = step_matrix(tuple(sorted(yarns, key=lambda y: y.name)), n_member=member_n(n_member), blend_rows=blend_rows)
    step = ordering.steps[index]
    rank = 1 + sum(s.delta_e > step.delta_e for s in ordering.steps)
    plain = not {name for name, _ in ordering.aim} & {"own", "ends", "follow"}
    how = {"index": index, "n": n_member, "blend_rows": blend_rows, "plain": plain}
    found = [
        _other_order(ordering, yarns, wishes, how),
        _more_blend(ordering, table, step) if blend_rows else None,
        _more_colour(ordering, table, index),
    ]
    mends = sorted((m for m in found if m is not None), key=lambda m: m.largest)
    return StepReport(step=step, rank=rank, why=_why(ordering, table, step, rank), mends=tuple(mends))

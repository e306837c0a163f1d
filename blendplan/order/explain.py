"""Why one step of an order is long and what would mend it, and what the shades' doubt does to the whole order.

"Proven best" is said of the search: of shades as they were read no other order is better.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from blendplan.blend.pair import bound_of, draw_shades, photo_of
from blendplan.colour import Floats, delta_e_2000
from blendplan.errors import BlendplanError, StripeError
from blendplan.order.aims import StepTable, step_matrix
from blendplan.order.constraints import Constraints
from blendplan.order.find import Ordering, Question, Step, find_order, prepare
from blendplan.order.problem import Control
from blendplan.order.solve import solve
from blendplan.units import whole
from blendplan.wording import Notice, note, rounded
from blendplan.yarn import Yarn

# A difference in lightness or chroma below 2 and in hue below 2 (CIELAB units) is not worth a sentence. Assumed.
_SMALL = 2.0
# One half of a step this much longer than the other is called uneven. The facts' mean ratio of long to short
# is 1.41 for the mean in Oklab, measured on random pairs.
_UNEVEN = 1.41


@dataclass(frozen=True, slots=True, kw_only=True)
class Mend:
    """One thing that would make a step shorter."""

    # {"order", "blend", "colour"}, another order of the same colours, one more blend stripe, or one more colour of
    # hers.
    kind: Literal["order", "blend", "colour"]
    order: tuple[str, ...]  # the order to try; for `blend` the order stays and `through` tells the strand
    through: str  # name of the yarn that comes in; empty for `order`
    # The largest single step (CIEDE2000) on the way from the one colour to the other afterwards; for `order` the
    # largest single step of the whole order.
    largest: float
    total: float  # sum of the single steps of the whole order afterwards
    words: Notice


@dataclass(frozen=True, slots=True, kw_only=True)
class StepReport:
    """What is known about one step."""

    step: Step
    rank: int  # 1 for the longest step of the order
    why: tuple[Notice, ...]
    mends: tuple[Mend, ...]  # those that help, the best of each kind, shortest largest step first


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


def _other_order(ordering: Ordering, yarns: tuple[Yarn, ...], asked: Question, step_pair: Step) -> Mend | None:
    wishes = asked.constraints
    apart = replace(wishes, forbidden=(*wishes.forbidden, (step_pair.before, step_pair.after)))
    plain = not {name for name, _ in ordering.aim} & {"own", "ends", "follow"}
    try:
        found = find_order(
            tuple(y for y in yarns if y.name in ordering.order),
            Question(
                aim=dict(ordering.aim) if plain else "smoothest",
                constraints=apart,
                viewing=asked.viewing,
                blend_rows=asked.blend_rows,
            ),
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
    to, back = table.mixed[i], table.mixed[j]
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
    ordering: Ordering, yarns: tuple[Yarn, ...], index: int, question: Question | None = None
) -> StepReport:
    """Return why a step is as long as it is, and what would make it shorter.

    `yarns`: all she has, those that are not in the order too; `index`: step, counted from 0; `question`: what was asked
    for: another order keeps to its wishes, and blends are looked at in its way.
    """
    index = whole(index, "step", 0, len(ordering.steps) - 1)
    names = {y.name for y in yarns}
    for name in ordering.order:
        if name not in names:
            raise StripeError("the order names {name}, which is not among the yarns; add it.", name=repr(name))
    asked = question or Question(constraints=Constraints(closed=ordering.closed))
    by_name = tuple(sorted(yarns, key=lambda y: y.name))
    table = step_matrix(by_name, viewing=asked.viewing, blend_rows=asked.blend_rows)
    step = ordering.steps[index]
    rank = 1 + sum(s.delta_e > step.delta_e for s in ordering.steps)
    found = [
        _other_order(ordering, yarns, asked, step),
        _more_blend(ordering, table, step) if asked.blend_rows else None,
        _more_colour(ordering, table, index),
    ]
    mends = sorted((m for m in found if m is not None), key=lambda m: m.largest)
    return StepReport(step=step, rank=rank, why=_why(ordering, table, step, rank), mends=tuple(mends))


# Palettes drawn from the shades' doubt: a share is then told to about one part in ten.
WORLDS = 100
# Colours up to which each drawn palette is put in order anew; a hundred of them take about a second. With more only
# neighbours are tried.
MOST_COLOURS = 12
# Neighbours that change places in fewer of the drawn palettes are not named (assumed).
NAMED_FROM = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Unsure:
    """Two neighbours of an order that the shades' doubt could swap."""

    pair: tuple[str, str]  # as they stand
    chance: float  # share of the drawn palettes in which the order with the two swapped is the better one, 0 to 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """What the shades' doubt does to an order."""

    # Share of the drawn palettes in which no other order is better; none where no shade's doubt is known, or there are
    # too many colours to try.
    stays_best: float | None = None
    unsure: tuple[Unsure, ...] = ()  # the likeliest first
    settles: str = ""  # the yarn to photograph again, which would settle most; empty where nothing is unsure
    notices: tuple[Notice, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the keys that stand beside an order's own."""
        return {
            "stays_best": self.stays_best,
            "unsure": [{"pair": list(u.pair), "chance": round(u.chance, 2)} for u in self.unsure],
            "settles": self.settles or None,
        }


def _as_drawn(yarn: Yarn, lab: Floats) -> Yarn:
    """Return a yarn as if its one shade were another; bands and names stay."""
    shade = replace(yarn.shades[0], lab=(float(lab[0]), float(lab[1]), float(lab[2])), share=1.0)
    return replace(yarn, shades=(shade,))


def _held_against(
    found: Ordering, world: tuple[Yarn, ...], question: Question, anew: bool
) -> tuple[bool, NDArray[np.bool_]]:
    """Return whether an order is still best of drawn shades, and which neighbours would better be swapped.

    Where drawn shades are not put in order anew the first is False.
    """
    model = prepare(world, question).model
    where = {name: i for i, name in enumerate(model.names)}
    order = np.array([where[name] for name in found.order], dtype=np.intp)
    tries = np.repeat(order[None], len(order), axis=0)
    for i in range(len(order) - 1):
        tries[i + 1, [i, i + 1]] = order[[i + 1, i]]
    values, faults = model.value(tries), model.faults(tries)
    small = 1e-6 * max(1.0, abs(float(values[0])))
    best = anew and float(values[0]) <= solve(model, seed=0, effort=1.0, control=Control()).value + small
    return best, (values[1:] < values[0] - small) & (faults[1:] <= faults[0])


def doubt_order(found: Ordering, yarns: tuple[Yarn, ...], question: Question) -> Doubt:
    """Return what the shades' doubt does to an order.

    `found`: the answer to `question`; only an order in which every colour stands once is looked at; `yarns`: those that
    were to be put in order.

    Palettes are drawn from the shades' bounds, lightness erring partly in common, and put in order anew; a swap is
    held against the order as it stands with the same drawn shades. A robust order is not looked for: measured, it
    gains nothing.
    """
    bounds = [bound_of(y) for y in yarns]
    once = sorted(found.order) == sorted(y.name for y in yarns)
    if not any(bounds) or len(yarns) < 3 or not once:
        return Doubt()
    anew = len(yarns) <= MOST_COLOURS
    stays, swaps = 0, np.zeros(len(yarns) - 1)
    photos = [photo_of(y) for y in yarns]
    for labs in draw_shades([y.lab for y in yarns], bounds, WORLDS, photos=photos):
        world = tuple(_as_drawn(y, lab) for y, lab in zip(yarns, labs, strict=True))
        best, swapped = _held_against(found, world, question, anew)
        stays += best
        swaps += swapped
    chances = swaps / WORLDS
    unsure = tuple(
        Unsure(pair=(found.order[i], found.order[i + 1]), chance=float(chances[i]))
        for i in np.argsort(-chances, kind="stable").tolist()
        if chances[i] >= NAMED_FROM
    )
    settles = _settles(unsure, dict(zip((y.name for y in yarns), bounds, strict=True)))
    best_of = stays / WORLDS if anew else None
    return Doubt(stays_best=best_of, unsure=unsure, settles=settles, notices=_notices(best_of, unsure, settles))


def _settles(unsure: tuple[Unsure, ...], bounds: dict[str, float | None]) -> str:
    """Return the yarn whose own doubt has most to do with the pairs that could change places."""
    weight: dict[str, float] = {}
    for one in unsure:
        for name in one.pair:
            weight[name] = weight.get(name, 0.0) + one.chance * (bounds[name] or 0.0) ** 2
    return max(weight, key=lambda name: weight[name], default="")


def _notices(stays: float | None, unsure: tuple[Unsure, ...], settles: str) -> tuple[Notice, ...]:
    if stays is None:
        out = [
            note(
                "how often this order stays best with the shades' doubt is tried for up to {most} colours; here only "
                "its neighbours are.",
                most=MOST_COLOURS,
            )
        ]
    else:
        out = [
            note(
                "the shades are not quite sure: as they might be, this order is best {times} times of 100.",
                times=round(100 * stays),
            )
        ]
    out += [
        note(
            "too close to call: {one} and {other} would better change places {times} times of 100.",
            one=u.pair[0],
            other=u.pair[1],
            times=round(100 * u.chance),
        )
        for u in unsure
    ]
    if settles:
        out.append(
            note(
                "it would settle most to photograph {name} again, by daylight on white paper with a mid grey beside "
                "it.",
                name=settles,
            )
        )
    return tuple(out)

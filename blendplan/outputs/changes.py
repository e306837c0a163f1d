"""The one sentence that tells a change of strands, from the one value that holds it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from functools import partial

from blendplan.plan import Plan
from blendplan.quantities import Quantities
from blendplan.wording import Notice, capital, note, tr
from blendplan.yardage.strands import Join, Rewind, StrandChange, StrandEnd, Strands

# How many strands, in words; nobody holds more than four.
COUNTS = {2: "two strands of {name}", 3: "three strands of {name}", 4: "four strands of {name}"}
# Grams from where a rest is worth a word (chosen: a few metres).
LEAST_REST_G = 2.0


def listed(parts: Sequence[str], lang: str = "en") -> str:
    """Return texts as one list: `A, B and C`."""
    if len(parts) < 2:
        return "".join(parts)
    return tr("{some} and {last}", lang, some=", ".join(parts[:-1]), last=parts[-1])


def held_words(strands: Sequence[str], lang: str = "en") -> str:
    """Return strands held together: `Bean Row held double`, `Bean Row and Slate held together`."""
    names = list(dict.fromkeys(strands))
    if len(strands) == 1:
        return strands[0]
    if len(names) == 1:
        said = {2: note("{name} held double", name=names[0]), 3: note("{name} held triple", name=names[0])}
        return said.get(len(strands), note("four strands of {name} held together", name=names[0])).say(lang)
    parts = [_several(name, strands.count(name), lang) for name in names]
    return tr("{names} held together", lang, names=listed(parts, lang))


def _several(name: str, count: int, lang: str) -> str:
    return name if count == 1 else tr(COUNTS[count], lang, name=name)


def _balls(ends: Sequence[StrandEnd], several: frozenset[str], lang: str) -> str:
    """Return ` (ball 3)` for strands of a yarn that has several balls; nothing for others."""
    numbers = [str(end.ball) for end in ends if end.ball is not None and end.name in several]
    if not numbers:
        return ""
    said = note("ball {n}", n=numbers[0]) if len(numbers) == 1 else note("balls {n}", n=listed(numbers, lang))
    return f" ({said.say(lang)})"


def _named(
    ends: Sequence[StrandEnd],
    words: Callable[[str, list[StrandEnd]], Notice],
    several: frozenset[str],
    lang: str,
    more: Sequence[str] = (),
) -> str:
    """Return strands by yarn, each as `words` puts it, with its balls, and more that is said in the same list."""
    by_name = {end.name: [other for other in ends if other.name == end.name] for end in ends}
    said = [words(name, own).say(lang) + _balls(own, several, lang) for name, own in by_name.items()]
    return listed([*said, *more], lang)


def _all_of(name: str, own: Sequence[StrandEnd]) -> Notice:
    if len(own) == 1:
        return note("{name}", name=name)
    return note("both strands of {name}", name=name) if len(own) == 2 else note("all strands of {name}", name=name)


def _left(change: StrandChange, name: str, own: list[StrandEnd]) -> Notice:
    stay, n = [end.joined for end in change.carried if end.name == name], len(own)
    gone = [end.joined for end in own]
    if not stay:
        return _all_of(name, own)
    if n == len(stay) == 1 and gone != stay:
        earlier = gone < stay
        return note("the {name} joined earlier", name=name) if earlier else note("the {name} joined later", name=name)
    if max(gone) < min(stay):
        first = note("the {n} strands of {name} joined first", n=n, name=name)
        return note("the {name} joined first", name=name) if n == 1 else first
    return note("one strand of {name}", name=name) if n == 1 else note("{n} strands of {name}", n=n, name=name)


def _carried(change: StrandChange, name: str, own: list[StrandEnd]) -> Notice:
    if not any(end.name == name for end in change.left):
        return _all_of(name, own)
    others = note("the other {n} strands of {name}", n=len(own), name=name)
    return note("the other {name}", name=name) if len(own) == 1 else others


def _taken(change: StrandChange, name: str, own: list[StrandEnd]) -> Notice:
    beside = sum(end.name == name for end in change.carried)
    if not beside:
        return _all_of(name, own) if len(own) == 1 else Notice(template=COUNTS[len(own)], values=(("name", name),))
    if len(own) > 1:
        return note("{n} more strands of {name}", n=len(own), name=name)
    nth = {1: note("a second strand of {name}", name=name), 2: note("a third strand of {name}", name=name)}
    return nth.get(beside, note("a fourth strand of {name}", name=name))


def change_words(change: StrandChange, strands: Strands, show: Quantities) -> str:
    """Return a change of strands as one sentence after another: stop, leave, take up, pull through, cut.

    A ball that follows another in the same pull through is taken up with the rest.
    """
    lang, several = show.lang, strands.several
    if not change.row:
        begun = _named(change.taken, partial(_taken, change), several, lang)
        return tr("Begin with {strands}.", lang, strands=begun)
    if not change.left and not change.taken:
        return tr("No change of strands.", lang)
    joins = [join for join in strands.joins if _in_change(join, change)]
    left = _named(change.left, partial(_left, change), several, lang)
    taken = _named(change.taken, partial(_taken, change), several, lang, [_follows(join, show) for join in joins])
    said = [tr("Stop before the last pull through of row {row}.", lang, row=change.row)]
    if left and taken:
        said.append(tr("Leave {left}, take up {taken}, pull through.", lang, left=left, taken=taken))
    elif left:
        said.append(tr("Leave {left}, pull through with the rest.", lang, left=left))
    else:
        said.append(tr("Take up {taken} beside what you hold, pull through.", lang, taken=taken))
    tail = show.size(change.tail_cm)
    cut = [end.name for end in change.left] + [join.name for join in joins]
    if len(cut) == 1:
        said.append(tr("Then cut that {name}, leaving {tail}.", lang, name=cut[0], tail=tail))
    elif cut:
        said.append(tr("Then cut those strands, leaving {tail} of each.", lang, tail=tail))
    if change.carried and change.left:
        carried = _named(change.carried, partial(_carried, change), several, lang)
        said.append(tr("Carry on with {carried}.", lang, carried=carried))
    stay = [end for end in change.left if end.left_g is not None and end.left_g >= 1]
    if stay:
        grams = [
            note("about {mass} on ball {n} of {name}", mass=show.mass(end.left_g or 0), n=end.ball, name=end.name)
            if end.name in several
            else note("about {mass} of {name}", mass=show.mass(end.left_g or 0), name=end.name)
            for end in stay
        ]
        said.append(tr("Left over: {balls}.", lang, balls=listed([n.say(lang) for n in grams], lang)))
    return " ".join(capital(text) for text in said)


def _in_change(join: Join, change: StrandChange) -> bool:
    """Return whether a ball follows another in the very pull through in which strands change."""
    told = bool(change.row and (change.left or change.taken))
    return told and not join.within_row and join.row == change.row + 1


def balls_told(plan: Plan, show: Quantities) -> dict[int, tuple[list[str], list[str], list[str]]]:
    """Return what is told of balls by row: what is wound before it (row 0: before all), joined in it and at its end.

    Where a change of stripes tells that a ball follows another, nothing is told twice.
    """
    told: defaultdict[int, tuple[list[str], list[str], list[str]]] = defaultdict(lambda: ([], [], []))
    for rewind in plan.strands.rewinds:
        told[rewind.row - 1][0].append(rewind_words(rewind, show))
    changes = [stripe.change for stripe in plan.stripes]
    joined: defaultdict[tuple[int, bool], list[Join]] = defaultdict(list)
    for join in plan.strands.joins:
        if not any(_in_change(join, change) for change in changes):
            joined[join.at_row, join.within_row].append(join)
    for (row, within), joins in joined.items():
        told[row][1 if within else 2].extend(join_words(joins, show))
    return dict(told)


def join_words(joins: Sequence[Join], show: Quantities) -> list[str]:
    """Return how new balls of the same colours are joined: at the end of a row, and within one."""
    lang = show.lang
    at_end = [_follows(join, show) for join in joins if not join.within_row]
    said = [
        tr(
            "Where ball {old} of {name} ends within row {row}, go on from ball {new}, joined in the last pull through "
            "of a stitch.",
            lang,
            row=join.row,
            old=join.old,
            name=join.name,
            new=join.new,
        )
        for join in joins
        if join.within_row
    ]
    if at_end:
        row, balls = max(1, joins[0].at_row), listed(at_end, lang)
        said.append(tr("In the last pull through of row {row} go on from {balls}.", lang, row=row, balls=balls))
    return said


def _follows(join: Join, show: Quantities) -> str:
    """Return which ball follows which; what is hardly a rest is not told."""
    said = {"new": join.new, "name": join.name, "old": join.old, "rest": show.mass(join.rest_g)}
    if join.rest_g < LEAST_REST_G:
        return tr("ball {new} of {name} in place of ball {old}", show.lang, **said)
    return tr("ball {new} of {name} in place of ball {old} ({rest} left over)", show.lang, **said)


def rewind_words(rewind: Rewind, show: Quantities) -> str:
    """Return how a ball is wound in two, a row ahead of where it is taken up."""
    values = {
        "off": show.mass(rewind.off_g),
        "name": rewind.name,
        "ball": rewind.skein,
        "new": rewind.new,
        "stays": show.mass(rewind.stays_g),
    }
    if rewind.row == 1:
        return tr(
            "First wind {off} of {name} off ball {ball} into ball {new}, leaving {stays}: two strands of it are held "
            "together.",
            show.lang,
            **values,
        )
    return tr(
        "Before row {row} ends, wind {off} of {name} off ball {ball} into ball {new}, leaving {stays}: two strands of "
        "it are held together.",
        show.lang,
        row=rewind.row - 1,
        **values,
    )

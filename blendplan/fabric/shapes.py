"""The rows of a ripple as steps: turning points, slopes between them, and the two edges."""

from __future__ import annotations

from collections.abc import Iterable

from blendplan.errors import FabricError
from blendplan.fabric.rows import Part, Row, Step

__all__ = ["LADDER", "each", "group", "height_rows", "merge", "peak_steps", "ripple_row", "setup_row", "valley_steps"]

# Stitches from the lowest to the highest, for rows whose wave comes from stitch heights.
LADDER = ("sc", "hdc", "dc", "tr")


def each(stitch: str, count: int) -> tuple[Step, ...]:
    """Return one stitch in each of `count` stitches; nothing for 0."""
    return (Step(kind="each", stitch=stitch, count=count),) if count > 0 else ()


def group(*stitches: str, takes: int = 1, into_space: bool = False) -> tuple[Step, ...]:
    """Return stitches worked in one place."""
    return (Step(kind="group", stitches=stitches, takes=takes, into_space=into_space),)


def skip(count: int) -> tuple[Step, ...]:
    """Return stitches left out."""
    return (Step(kind="skip", count=count),)


def together(stitch: str, count: int) -> tuple[Step, ...]:
    """Return `count` stitches worked as one."""
    return (Step(kind="together", stitch=stitch, count=count),)


def merge(steps: Iterable[Step]) -> tuple[Step, ...]:
    """Return the steps with neighbouring runs of the same stitch joined, a stitch sharing its place left alone."""
    out: list[Step] = []
    for step in steps:
        last = out[-1] if out else None
        shares = len(out) > 1 and out[-2].kind == "turn" and out[-2].stands and out[-2].takes == 0
        if last and step.kind == last.kind == "each" and step.stitch == last.stitch and not shares:
            out[-1] = Step(kind="each", stitch=step.stitch, count=last.count + step.count)
        else:
            out.append(step)
    return tuple(out)


def peak_steps(peak: str, stitch: str, crest: int, *, first: bool) -> tuple[Step, ...]:
    """Return the steps over a point; in the first row they go into the foundation chain.

    A chain-k space counts as k places of the row below, so on the foundation the two stitches of a chain-2 point
    have a chain each and those of a chain-1 point share one.
    """
    if peak == "pair":
        two = group(stitch, stitch)
        return (*two, *each(stitch, crest), *two)
    if peak.startswith("chain-"):
        k = int(peak[-1])
        if first and k == 2:
            return (*each(stitch, 1), Step(kind="chain", count=k), *each(stitch, 1))
        return group(stitch, *("ch",) * k, stitch, takes=k, into_space=not first)
    return group(*(stitch,) * {"three-in-one": 3, "two-in-one": 2}[peak])


def valley_steps(valley: str, stitch: str, crest: int) -> tuple[Step, ...]:
    """Return the steps in a hollow."""
    if valley == "pair":
        two = together(stitch, 2)
        return (*two, *each(stitch, crest), *two)
    if valley == "skip-1-each-side":
        return (*skip(1), *each(stitch, 1), *skip(1))
    if valley.endswith("-together"):
        return together(stitch, {"three-together": 3, "two-together": 2}[valley])
    return skip(int(valley[-1]))


def _edge(stitch: str, plain: int, change: tuple[Step, ...], turn: tuple[int, bool]) -> tuple[Step, ...]:
    """Return the start of a row: turning chain, `plain` edge stitches, then the half turning point."""
    chains, counts = turn
    if counts:
        return (Step(kind="turn", count=chains, takes=1), *each(stitch, plain - 1), *change)
    return (Step(kind="turn", count=chains, stands=False), *each(stitch, plain), *change)


def _half_peak(
    stitch: str, crest: int, turn: tuple[int, bool], *, own: bool
) -> tuple[tuple[Step, ...], tuple[Step, ...]]:
    """Return start and end: one extra stitch in the first and in the last stitch."""
    chains, counts = turn
    two = group(stitch, stitch)
    plain = (crest + 1) // 2
    if plain:
        return _edge(stitch, plain, two, turn), (*two, *each(stitch, plain))
    if counts and not own:
        return (Step(kind="turn", count=chains), *each(stitch, 1)), two
    return _edge(stitch, int(counts), two, turn), two


def _half_valley(
    stitch: str, valley: str, plain: int, turn: tuple[int, bool], *, worked: bool
) -> tuple[tuple[Step, ...], tuple[Step, ...]]:
    """Return start and end: one stitch fewer beside each edge (none fewer where `worked` is False)."""
    chains, counts = turn
    if valley.endswith("together") or valley == "pair":
        if worked and counts and plain == 0:
            # the turning chain and the stitch after it are the two legs of one
            start = (Step(kind="turn", count=chains, takes=1, stands=False), *each(stitch, 1))
            return start, together(stitch, 2)
        less = together(stitch, 2) if worked else each(stitch, 1)
        if not worked and counts and plain == 0:
            return _edge(stitch, 1, (), turn), less
        return _edge(stitch, plain, less, turn), (*less, *each(stitch, plain))
    less = skip(1) if worked else ()
    return _edge(stitch, plain, less, turn), (*less, *each(stitch, plain))


def ripple_row(
    *,
    name: str,
    stitch: str,
    run: int,
    peak: str,
    valley: str,
    edge: str,
    repeats: int,
    turn: tuple[int, bool],
    crest: int = 0,
    plain: int = 0,
    own: bool = False,
    first: bool = False,
    edges_worked: bool = True,
) -> Row:
    """Return one row of a ripple.

    Parameters
    ----------
    run : int
        Plain stitches between a turning point and the next.
    peak, valley : str
        As in `ripple.PEAKS` and `ripple.VALLEYS`, or `pair` for the soft wave.
    turn : (int, bool)
        Turning chains, and whether they stand for the first stitch.
    plain : int
        Plain stitches kept outside a half valley.
    own : bool
        First row: True where the turning chain stands on a chain of its own, beside the first increase.
    first : bool
        Worked into the foundation chain.
    edges_worked : bool
        False leaves out the half valleys of this row.
    """
    top, low = peak_steps(peak, stitch, crest, first=first), valley_steps(valley, stitch, crest)
    slope = each(stitch, run)
    if edge == "half-peak":
        start, end = _half_peak(stitch, crest, turn, own=own)
        outer, inner = low, top
    elif edge == "half-valley":
        start, end = _half_valley(stitch, valley, plain, turn, worked=edges_worked)
        outer, inner = top, low
    else:
        start, end = _edge(stitch, 0, (), turn), ()
        outer, inner = low, top
    # where the turning chain, or the second half of a group, already is a stitch of the slope, the slope is shorter
    over = sum(s.made for s in start) - _edge_stitches(edge, crest, plain, valley)
    if run < over:
        raise FabricError(
            "the slope is too short for this edge and turning chain; the nearest that works is {more} longer.",
            more=over - run,
        )
    parts = (
        Part(steps=merge((*start, *each(stitch, run - over)))),
        Part(steps=merge((*outer, *slope, *inner, *slope)), times=repeats - 1),
        Part(steps=merge((*outer, *slope, *end))),
    )
    return Row(name=name, parts=tuple(part for part in parts if part.times and part.steps))


def _edge_stitches(edge: str, crest: int, plain: int, valley: str) -> int:
    """Return how many stitches the edge itself leaves before the slope begins."""
    if edge == "half-peak":
        return 2 + (crest + 1) // 2
    if edge == "half-valley":
        return plain + (1 if valley.endswith("together") or valley == "pair" else 0)
    return 0


def height_rows(slope: int, repeats: int) -> tuple[Row, Row, Row]:
    """Return first, second and third row of a wave made by stitch heights in straight rows.

    A slope climbs from single to treble crochet in `slope` stitches; the next row has the heights the other way.
    """
    levels = [round(min(j, 2 * slope - j) * (len(LADDER) - 1) / slope) for j in range(2 * slope + 1)]
    low = [LADDER[level] for level in levels]
    high = [LADDER[len(LADDER) - 1 - level] for level in levels]

    def row(name: str, kinds: list[str], turn: tuple[int, bool]) -> Row:
        start = _edge(kinds[0], 1, (), turn)
        steps = merge(step for kind in kinds[1:] for step in each(kind, 1))
        return Row(name=name, parts=(Part(steps=start), Part(steps=steps, times=repeats)))

    return row("first", low, (1, False)), row("repeat", high, (4, True)), row("counter", low, (1, False))


def setup_row(stitches: int) -> Row:
    """Return a plain row of single crochet into the foundation chain."""
    steps = (Step(kind="turn", count=1, stands=False), *each("sc", stitches))
    return Row(name="setup", parts=(Part(steps=steps),))

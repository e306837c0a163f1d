"""What makes a ripple, choice by choice, and its rows as steps: turning points, slopes between them, two edges.

`ripple.work` says whether the choices close together.
"""

from __future__ import annotations

from collections.abc import Iterable

from blendplan.budgets import MAX_REPEATS, MAX_SLOPE
from blendplan.errors import FabricError
from blendplan.fabric.rows import Part, Row, Step
from blendplan.record import held, record

# Turning chains of a stitch and whether they count as one (facts: two public teaching pages and a guild's lessons,
# read Nov 2026, agree on the chains; that sc does not count and dc and tr do is the rule they give, hdc varies).
TURNING = {"sc": (1, False), "hdc": (2, True), "dc": (3, True), "tr": (4, True)}
STITCHES = tuple(TURNING)
KINDS = ("point", "wave", "heights")
PEAKS = ("chain-1", "chain-2", "three-in-one", "two-in-one")
VALLEYS = ("skip-2", "three-together", "skip-1-each-side", "skip-1", "two-together")
EDGES = ("half-peak", "half-valley", "plain")
FEET = ("auto", "shared", "own")


@record
class Ripple:
    """The choices that make a ripple."""

    # Points and hollows; pairs of increases and decreases; straight rows whose wave comes from stitch heights.
    kind: str = held("kind of ripple", default="point", allowed=KINDS)
    # US names; not used by `heights`.
    stitch: str = held("stitch", default="dc", allowed=STITCHES)
    # Stitches from a hollow to a point. With a chain space at the point the stitch worked into the space is one of
    # them; the three worked in one stitch, and the pairs of a wave, are not.
    slope: int = held("slope", default=7, low=1, high=MAX_SLOPE)
    # Peak and valley only for `point`.
    peak: str = held("peak", default="chain-2", allowed=PEAKS)
    valley: str = held("valley", default="skip-2", allowed=VALLEYS)
    edge: str = held("edge", default="half-peak", allowed=EDGES)
    repeats: int = held("repeats", default=8, low=1, high=MAX_REPEATS)
    # Whether the turning chain counts as a stitch, and how many chains it has; None takes the custom of the stitch.
    turning_counts: bool | None = held("turning chain counts", default=None)
    turning_chains: int | None = held("turning chains", default=None, low=1, high=6)
    # Which loops the stitches go into; it changes gauge and words, not counts.
    loops: str = held("loops", default="both", allowed=("both", "back"))
    # Plain stitches kept outside a half valley; None is 1 beside a skipped stitch and 0 beside a decrease.
    selvedge: int | None = held("edge stitches", default=None, low=0, high=6)
    # For `wave`: plain stitches between the two increases, and between the two decreases.
    crest: int = held("stitches between the increases", default=0, low=0, high=12)
    # Where a turning chain that counts stands on the foundation of a half-peak ripple: on the chain that takes the
    # second stitch too (`shared`), or on one of its `own` with both increases beside it; `auto` is `own` for three in
    # one stitch, else `shared`.
    foot: str = held("foot of the turning chain", default="auto", allowed=FEET)
    # False leaves out the half valleys of the first row, so that the chain is shorter.
    first_edges: bool = held("first edges", default=True)
    # A plain row of single crochet into the foundation before the first ripple row.
    setup: bool = held("set-up row", default=False)

    @property
    def turn_counts(self) -> bool:
        """Whether the turning chain counts as a stitch."""
        return TURNING[self.stitch][1] if self.turning_counts is None else self.turning_counts

    @property
    def turn(self) -> int:
        """Turning chains of a row.

        As the first leg of two stitches worked together the chain is one shorter (common practice, no source).
        """
        if self.turning_chains is not None:
            return self.turning_chains
        leg = self.edge == "half-valley" and self.turn_counts and not self.edge_stitches and self._together
        return max(1, TURNING[self.stitch][0] - int(leg))

    @property
    def _together(self) -> bool:
        return self.kind == "wave" or self.valley.endswith("together")

    @property
    def edge_stitches(self) -> int:
        """Plain stitches outside a half valley."""
        if self.kind == "wave":
            return (self.crest + 1) // 2 + (self.selvedge or 0)
        return int(not self._together) if self.selvedge is None else self.selvedge

    @property
    def run(self) -> int:
        """Plain stitches between one turning point and the next."""
        return self.slope - 1 if self.kind == "point" and self.peak.startswith("chain-") else self.slope


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
        return (Step(kind="turn", stitch=stitch, count=chains, takes=1), *each(stitch, plain - 1), *change)
    return (Step(kind="turn", count=chains, stands=False), *each(stitch, plain), *change)


def _half_peak(
    stitch: str, crest: int, turn: tuple[int, bool], *, own: bool
) -> tuple[tuple[Step, ...], tuple[Step, ...]]:
    """Return start and end: one extra stitch in the first and in the last stitch."""
    counts = turn[1]
    two = group(stitch, stitch)
    plain = (crest + 1) // 2
    if plain:
        return _edge(stitch, plain, two, turn), (*two, *each(stitch, plain))
    if counts and not own:
        return (Step(kind="turn", stitch=stitch, count=turn[0]), *each(stitch, 1)), two
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


def ripple_row(ripple: Ripple, name: str, *, own: bool = False) -> Row:
    """Return the `first` row of a ripple of points or of the soft wave, or the one that follows it (`repeat`).

    The first is worked into the foundation chain or the set-up row; with `own` its turning chain stands on a chain
    of its own, beside the first increase.
    """
    wave, first = ripple.kind == "wave", name == "first"
    stitch, run, edge, plain = ripple.stitch, ripple.run, ripple.edge, ripple.edge_stitches
    # The soft wave has pairs of increases and decreases in place of points and hollows.
    peak, valley, crest = ("pair", "pair", ripple.crest) if wave else (ripple.peak, ripple.valley, 0)
    turn = (ripple.turn, ripple.turn_counts)
    top, low = peak_steps(peak, stitch, crest, first=first), valley_steps(valley, stitch, crest)
    slope = each(stitch, run)
    if edge == "half-peak":
        start, end = _half_peak(stitch, crest, turn, own=own)
        outer, inner = low, top
    elif edge == "half-valley":
        start, end = _half_valley(stitch, valley, plain, turn, worked=ripple.first_edges or not first)
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
        Part(steps=merge((*outer, *slope, *inner, *slope)), times=ripple.repeats - 1),
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

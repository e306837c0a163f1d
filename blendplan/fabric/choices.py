"""The choices that make a ripple, checked one by one; `ripple.work` says whether they close together."""

from __future__ import annotations

from dataclasses import dataclass

from blendplan.errors import FabricError
from blendplan.units import choice, whole

__all__ = ["EDGES", "FEET", "KINDS", "MAX_REPEATS", "MAX_SLOPE", "PEAKS", "STITCHES", "TURNING", "VALLEYS", "Ripple"]

# Turning chains of a stitch and whether they count as one (facts: two public teaching pages and a guild's lessons,
# read Nov 2026, agree on the chains; that sc does not count and dc and tr do is the rule they give, hdc varies).
TURNING = {"sc": (1, False), "hdc": (2, True), "dc": (3, True), "tr": (4, True)}
STITCHES = tuple(TURNING)
KINDS = ("point", "wave", "heights")
PEAKS = ("chain-1", "chain-2", "three-in-one", "two-in-one")
VALLEYS = ("skip-2", "three-together", "skip-1-each-side", "skip-1", "two-together")
EDGES = ("half-peak", "half-valley", "plain")
FEET = ("auto", "shared", "own")
MAX_SLOPE, MAX_REPEATS = 60, 500


def _yes_or_no(given: object, name: str) -> None:
    if not isinstance(given, bool):
        raise FabricError(
            "{name}: {given} was given; allowed is yes or no (True or False).", name=name, given=repr(given)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Ripple:
    """The choices that make a ripple.

    Attributes
    ----------
    kind : {"point", "wave", "heights"}
        Points and hollows; pairs of increases and decreases; straight rows whose wave comes from stitch heights.
    stitch : {"sc", "hdc", "dc", "tr"}
        US names. Not used by `heights`.
    slope : int
        Stitches from a hollow to a point, 1 to 60.
        With a chain space at the point the stitch worked into the space is one of them; the three worked in one
        stitch, and the pairs of a wave, are not.
    peak, valley, edge : str
        Members of `PEAKS`, `VALLEYS`, `EDGES`; `peak` and `valley` only for `point`.
    repeats : int
        1 to 500.
    turning_counts : bool or None
        Whether the turning chain counts as a stitch; None takes the custom of the stitch.
    turning_chains : int or None
        1 to 6; None takes the custom of the stitch.
    loops : {"both", "back"}
        Which loops the stitches go into; it changes gauge and words, not counts.
    selvedge : int or None
        Plain stitches kept outside a half valley; None is 1 beside a skipped stitch and 0 beside a decrease.
    crest : int
        For `wave`: plain stitches between the two increases, and between the two decreases.
    foot : {"auto", "shared", "own"}
        Where a turning chain that counts stands on the foundation of a half-peak ripple: on the chain that takes
        the second stitch too, or on one of its own with both increases beside it. `auto` is `own` for three in
        one stitch, else `shared`.
    first_edges : bool
        False leaves out the half valleys of the first row, so that the chain is shorter.
    setup : bool
        True for a plain row of single crochet into the foundation before the first ripple row.
    """

    kind: str = "point"
    stitch: str = "dc"
    slope: int = 7
    peak: str = "chain-2"
    valley: str = "skip-2"
    edge: str = "half-peak"
    repeats: int = 8
    turning_counts: bool | None = None
    turning_chains: int | None = None
    loops: str = "both"
    selvedge: int | None = None
    crest: int = 0
    foot: str = "auto"
    first_edges: bool = True
    setup: bool = False

    def __post_init__(self) -> None:
        put = object.__setattr__
        choice(self.kind, "kind of ripple", KINDS)
        choice(self.stitch, "stitch", STITCHES)
        choice(self.peak, "peak", PEAKS)
        choice(self.valley, "valley", VALLEYS)
        choice(self.edge, "edge", EDGES)
        choice(self.loops, "loops", ("both", "back"))
        choice(self.foot, "foot of the turning chain", FEET)
        put(self, "slope", whole(self.slope, "slope", 1, MAX_SLOPE))
        put(self, "repeats", whole(self.repeats, "repeats", 1, MAX_REPEATS))
        put(self, "crest", whole(self.crest, "stitches between the increases", 0, 12))
        for name, given in (("first edges", self.first_edges), ("set-up row", self.setup)):
            _yes_or_no(given, name)
        if self.turning_counts is not None:
            _yes_or_no(self.turning_counts, "turning chain counts")
        if self.selvedge is not None:
            put(self, "selvedge", whole(self.selvedge, "edge stitches", 0, 6))
        if self.turning_chains is not None:
            put(self, "turning_chains", whole(self.turning_chains, "turning chains", 1, 6))

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

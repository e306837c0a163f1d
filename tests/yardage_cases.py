"""A plain fabric for the tests of the yardage stage: rows of stitches without a ripple around them."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from blendplan.fabric.rows import Part, Row, Step
from blendplan.stripes.model import Stripe
from blendplan.yardage import length
from blendplan.yardage.length import Yardage
from blendplan.yardage.settings import YardageSettings
from blendplan.yarn import Shade, Yarn


@dataclass(frozen=True)
class Worked:
    """Rows of `repeats` times 14 stitches and 2 chains, double crochet by default."""

    repeats: int = 8
    stitch: str = "dc"
    chain: int = 131

    def row_at(self, number: int) -> Row:
        return row_of(self.repeats, self.stitch)


@lru_cache
def row_of(repeats: int, stitch: str) -> Row:
    steps = (Step(kind="each", stitch=stitch, count=14), Step(kind="chain", count=2))
    return Row(name="repeat", parts=(Part(steps=(Step(kind="turn"),)), Part(steps=steps, times=repeats)))


@dataclass(frozen=True)
class Gauge:
    stitch_width_cm: float = 0.9
    row_height_cm: float = 0.9 / 0.55


def yarn(name: str, colour: str = "#808080", **more: object) -> Yarn:
    settings: dict[str, object] = {"grams": 100, "metres": 240} | more
    return Yarn(name=name, shades=(Shade.from_hex(colour),), **settings)  # type: ignore[arg-type]


def stripes(*spec: tuple[str, int]) -> tuple[Stripe, ...]:
    """`("AB", 2)` is a stripe of A and B held together over two rows."""
    return tuple(Stripe(strands=tuple(names), rows=rows) for names, rows in spec)


def grams(*values: object) -> tuple[Fraction, ...]:
    return tuple(Fraction(str(v)) for v in values)


def estimate(
    plan: tuple[Stripe, ...],
    worked: object,
    gauge: object,
    yarns: tuple[Yarn, ...],
    settings: YardageSettings | None = None,
    **rest: object,
) -> Yardage:
    """The yarn of a plain fabric."""
    return length.estimate(plan, length.Fabric(worked=worked, gauge=gauge, **rest), yarns, settings)  # type: ignore[arg-type]

"""Plans with names that could go wrong, shared by the tests of outputs."""

from __future__ import annotations

from functools import cache
from typing import Any

from blankets import blanket_of, lying, yarn

from blendplan.fabric.ripple import Ripple
from blendplan.plan import Plan, make_plan

ODD_NAMES = (
    "=1+1",
    "<b>x</b>",
    "Ñandú",
    "毛糸",
    "🧶 wool",
    "Ελληνικά",
    "Кириллица",
    "**bold** {nb} & co",
    '"><script>alert(1)</script>',
    "../../etc/x, y; z",
)
HUES = ("#4f6b3a", "#b5643c", "#e9e2d0", "#1d2a44", "#6b2f4d", "#35566b", "#c8a75a", "#9c4a3c", "#777777", "#0b0b0b")


@cache
def odd_plan(**more: Any) -> Plan:
    fields: dict[str, Any] = {"title": "Odd <i>names</i> — Ñandú {nb}", "currency": "kr", **more}
    yarns = tuple(
        yarn(name, hue, lots=lying(i % 3, f"L{i}" if i % 2 else ""), price="6.40")
        for i, (name, hue) in enumerate(zip(ODD_NAMES, HUES, strict=True))
    )
    return make_plan(blanket_of(yarns=yarns, order=ODD_NAMES, ripple=Ripple(repeats=4), **fields))


@cache
def long_plan() -> Plan:
    """Many stripes: 28 yarns, each a solid stripe of 6 rows with blends of 1 row between."""
    names = tuple(f"Yarn {i:02d} of a long list" for i in range(28))
    yarns = tuple(
        yarn(name, f"#{(37 * i) % 256:02x}{(91 * i) % 256:02x}{(53 * i) % 256:02x}") for i, name in enumerate(names)
    )
    return make_plan(blanket_of(yarns=yarns, order=names, solid_rows=6, blend_rows=1, ripple=Ripple(repeats=10)))


@cache
def short_plan() -> Plan:
    """One yarn, one row, one repeat."""
    only = yarn("Fern")
    return make_plan(blanket_of(yarns=(only,), order=("Fern",), solid_rows=1, ripple=Ripple(repeats=1)))

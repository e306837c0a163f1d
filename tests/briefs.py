"""Small briefs that several tests start from."""

from __future__ import annotations

from fractions import Fraction

from blendplan.fabric.ripple import Ripple
from blendplan.plan import Brief
from blendplan.stripes.sequence import Sequence
from blendplan.yarn import PutUp, Shade, Yarn

COLOURS = {"Fern": "#4f6b3a", "Clay": "#b5643c", "Milk": "#e9e2d0", "Night": "#1d2a44", "Plum": "#6b2f4d"}


def yarn(name: str, srgb: str | None = None, **more: object) -> Yarn:
    fields: dict[str, object] = {
        "put_up": PutUp(mass_g=Fraction(100), length_m=Fraction(180)),
        "weight_class": 4,
        **more,
    }
    return Yarn(name=name, shades=(Shade.from_hex(srgb or COLOURS[name]),), **fields)  # type: ignore[arg-type]


def brief(*names: str, repeats: int = 8, solid_rows: int = 4, blend_rows: int = 2, **more: object) -> Brief:
    order = names or ("Fern", "Clay", "Milk")
    fields: dict[str, object] = {"ripple": Ripple(repeats=repeats), **more}
    return Brief(
        yarns=tuple(yarn(n) for n in order),
        sequence=Sequence(order=order, solid_rows=solid_rows, blend_rows=blend_rows),
        **fields,  # type: ignore[arg-type]
    )

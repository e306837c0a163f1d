"""Small blankets that several tests start from."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from blendplan.blanket import Blanket, Design, Materials, Ways
from blendplan.fabric.ripple import Ripple
from blendplan.record import to_plain
from blendplan.yardage.making import Making
from blendplan.yarn import Lot, Shade, Yarn

COLOURS = {
    "Fern": "#4f6b3a",
    "Clay": "#b5643c",
    "Milk": "#e9e2d0",
    "Night": "#1d2a44",
    "Plum": "#6b2f4d",
    "Sand": "#c8a75a",
}


def lying(skeins: int = 0, name: str = "", parts_g: tuple[object, ...] = ()) -> tuple[Lot, ...]:
    """One lot on the shelf, or none where nothing lies there."""
    lot = Lot(name=name, skeins=skeins, parts_g=parts_g)  # type: ignore[arg-type]
    return () if lot == Lot() else (lot,)


def yarn(name: str, srgb: str | None = None, **more: Any) -> Yarn:
    said: dict[str, Any] = {"grams": 100, "metres": 180, "weight_class": 4, **more}
    return Yarn(name=name, shades=(Shade.from_hex(srgb or COLOURS[name]),), **said)


def blanket_of(**parts: Any) -> Blanket:
    """A blanket of the fields of its records, each put where it belongs."""
    own: dict[str, Any] = {}
    for name, record in (("materials", Materials), ("design", Design), ("making", Making), ("ways", Ways)):
        known = {f.name for f in fields(record)}
        given = {key: parts.pop(key) for key in list(parts) if key in known}
        if name in parts:
            own[name] = parts.pop(name)
        elif given or name in ("materials", "design"):
            own[name] = record(**given)
    return Blanket(**own, **parts)


def blanket(*names: str, repeats: int = 8, solid_rows: int = 4, blend_rows: int = 2, **more: Any) -> Blanket:
    order = names or ("Fern", "Clay", "Milk")
    said: dict[str, Any] = {"ripple": Ripple(repeats=repeats), "yarns": tuple(yarn(n) for n in order), **more}
    return blanket_of(order=order, solid_rows=solid_rows, blend_rows=blend_rows, **said)


def leaves(value: Any, place: str = "") -> dict[str, Any]:
    """Every value of a blanket by its place, read off what its file holds and so not by the code under test."""
    if isinstance(value, dict):
        return {k: v for name, inner in value.items() for k, v in leaves(inner, f"{place}.{name}").items()}
    if isinstance(value, list):
        keyed = all(isinstance(inner, dict) and "key" in inner for inner in value)
        named = {(inner["key"] if keyed else i): inner for i, inner in enumerate(value)}
        return {k: v for name, inner in named.items() for k, v in leaves(inner, f"{place}[{name}]").items()} or {
            place: []
        }
    return {place: value}


def held(of: Blanket) -> dict[str, Any]:
    return leaves(to_plain(of))


def changed(before: Blanket, after: Blanket) -> set[str]:
    old, new = held(before), held(after)
    return {place for place in old.keys() | new.keys() if old.get(place, "none") != new.get(place, "none")}

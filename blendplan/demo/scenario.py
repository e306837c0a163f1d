"""The built-in scenario: a blanket for a reading room, of six yarns named after a house and its garden.

Two photographs of six skeins are drawn, loaded through the same door as any photo, and read; the names,
bands and amounts on hand are what a maker would type beside them.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from blendplan.blanket import Blanket, Design, Materials, Ways
from blendplan.demo.photos import SIZE_PX, DrawnSkein, draw_photo
from blendplan.errors import PhotoError
from blendplan.photo import Place, load_photo, read_photo
from blendplan.yarn import Lot, Yarn

__all__ = ["DemoPhoto", "demo_blanket", "demo_photos"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Skein:
    name: str
    srgb: str
    on_hand: int
    lot: str


# What 100 g of worsted wool and acrylic cost, in kroner; common practice, no source.
_PRICE = Fraction(64)
# The drawn colours are known to the drawing only; the blanket is made from what the reader finds.
_TOP = (
    (_Skein(name="Roof Slate", srgb="#3f5a6b", on_hand=2, lot="R118"), (0.28, 0.20), -6.0),
    (_Skein(name="Lamp Ochre", srgb="#c9a24a", on_hand=0, lot=""), (0.71, 0.44), 7.0),
    (_Skein(name="Hinge Rust", srgb="#a5482f", on_hand=1, lot="R090"), (0.29, 0.60), 3.0),
)
_BOTTOM = (
    (_Skein(name="Bean Row", srgb="#5d6b3a", on_hand=0, lot=""), (0.28, 0.20), 4.0),
    (_Skein(name="Pewter Spoon", srgb="#b9bcb8", on_hand=1, lot="R204"), (0.71, 0.42), -7.0),
    (_Skein(name="Plaster Rose", srgb="#b87a84", on_hand=0, lot=""), (0.29, 0.61), -3.0),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoPhoto:
    """One drawn photograph and the names of its skeins from top to bottom."""

    name: str
    data: bytes
    yarn_names: tuple[str, ...]


@cache
def demo_photos() -> tuple[DemoPhoto, ...]:
    """Return the two photographs of the scenario, drawn by the program."""
    photos = []
    for name, rows, seed in (("table-1.jpg", _TOP, 11), ("table-2.jpg", _BOTTOM, 12)):
        drawn = tuple(DrawnSkein(srgb=s.srgb, centre=centre, turn_deg=turn) for s, centre, turn in rows)
        photos.append(
            DemoPhoto(name=name, data=draw_photo(drawn, seed=seed), yarn_names=tuple(s.name for s, _, _ in rows))
        )
    return tuple(photos)


def _boxes(rows: tuple[tuple[_Skein, tuple[float, float], float], ...]) -> list[tuple[int, int, int, int]]:
    """Return the boxes a maker would draw by hand, beside the label band."""
    w, h = SIZE_PX
    return [
        (int(w * (x + 0.05)), int(h * (y - 0.06)), int(w * (x + 0.15)), int(h * (y + 0.06))) for _, (x, y), _ in rows
    ]


@cache
def demo_blanket() -> Blanket:
    """Return the scenario's blanket, its shades read from the drawn photographs."""
    yarns: list[Yarn] = []
    for photo, rows in zip(demo_photos(), (_TOP, _BOTTOM), strict=True):
        loaded = load_photo(photo.data, photo.name)
        reading = read_photo(loaded)
        if len(reading.yarns) != len(rows):
            # The finder missed one; the maker would draw the boxes.
            reading = read_photo(loaded, [Place(box=box) for box in _boxes(rows)])
        if len(reading.yarns) != len(rows):
            raise PhotoError("the demo photo {name} could not be read; please report it.", name=photo.name)
        by_height = sorted(reading.yarns, key=lambda y: y.box[1] + y.box[3])
        for (skein, _, _), found in zip(rows, by_height, strict=True):
            yarns.append(
                Yarn(
                    name=skein.name,
                    shades=found.shades,
                    grams=Fraction(100),
                    metres=Fraction(170),
                    weight_class=4,
                    lots=(Lot(name=skein.lot, skeins=skein.on_hand),) if skein.on_hand else (),
                    fibre="wool and acrylic",
                    price=_PRICE,
                )
            )
    return Blanket(
        title="Reading-room blanket",
        materials=Materials(yarns=tuple(yarns)),
        design=Design(
            order=("Roof Slate", "Bean Row", "Lamp Ochre", "Hinge Rust", "Plaster Rose", "Pewter Spoon"),
            solid_rows=8,
            blend_rows=4,
            repeats=8,
            width_cm=127.0,
        ),
        ways=Ways(currency="kr"),
    )

"""Shades and yarns: what a photo or a palette says of one yarn, and what its band says."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from typing import Any, Literal

import numpy as np

from blendplan.budgets import MAX_LOTS, MAX_PARTS, MAX_SHADES
from blendplan.colour import hex_to_lab, lab_to_hex, lab_to_linear, linear_to_lab, linear_to_oklab, oklab_to_linear
from blendplan.errors import YarnError
from blendplan.record import held, record
from blendplan.units import number

# Craft Yarn Council, Standard Yarn Weight System: number and name.
WEIGHT_CLASSES = {
    0: "lace",
    1: "super fine",
    2: "fine",
    3: "light",
    4: "medium",
    5: "bulky",
    6: "super bulky",
    7: "jumbo",
}

# Taken where nothing is told: the commonest yarn of such blankets (common practice, no source).
USUAL_CLASS = 4
# Metres in 100 g by class (trade facts, 1: middles of three charts that disagree a lot).
M_PER_100_G = {0: 800, 1: 400, 2: 300, 3: 240, 4: 180, 5: 110, 6: 65, 7: 35}

# Why a shade may be off: the codes that a `Shade` carries and the sentence for each.
REASONS = {
    "no-white": "no white paper or card was found",
    "mixed-light": "the light differs across the photo",
    "warm-light": "the light is so warm that it holds little blue",
    "shared-light": "the light was measured in another photo",
    "few-pixels": "only few pixels of yarn could be read",
    "tone-curve": "the camera's own tone curve is not known",
    "clipped": "part of the yarn or paper is overexposed",
    "saturated": "very strong colours are hard for a camera",
    "photos-disagree": "two photos of this yarn do not agree",
}

# What a shade is, where that is not a photo's reading as a whole, and the sentence for each.
SHADE_KINDS = {
    "old": "read the old way, from the lit strand alone; photograph the yarn again",
    "eye": "set by eye",
    "typed": "the colour was typed in, not measured",
}


@record
class Shade:
    """One colour of a yarn, as it would look in neutral daylight (D65)."""

    # CIELAB under D65.
    lab: tuple[float, float, float] = held("numbers of a shade", low=-200, high=200)
    # Of the yarn's visible area.
    share: float = held("share of a shade", default=1.0, low=1e-6, high=1 + 1e-9)
    # Root mean square CIEDE2000 of the pixels about it, light and shadow left out; 0 for a plain colour.
    spread: float = held("spread of a shade", default=0.0, low=0, high=200)
    # CIEDE2000 that holds nine times of ten; None where nothing is known.
    within: float | None = held("bound of a shade", default=None, low=0, high=200)
    reasons: tuple[str, ...] = held("reasons of a shade", default=(), allowed=tuple(REASONS), most=len(REASONS))
    # Read from a photo as the yarn's light as a whole; read the old way, from its lit strand; set by the maker's eye,
    # which no photo overwrites; or typed in, also from a palette.
    kind: Literal["whole", "old", "eye", "typed"] = held("kind of a shade", default="typed")
    # Sign of the photo it was read in; shades of one photo err partly in common. Empty where there is none.
    photo: str = held("sign of a shade's photo", default="", longest=80)

    def __post_init__(self) -> None:
        number(self.lab[0], "lightness of a shade", 0, 100)

    @classmethod
    def from_hex(cls, text: str) -> Shade:
        """Return the shade of a typed `#rrggbb`."""
        lab = np.round(hex_to_lab(text), 4)
        return cls(lab=(float(np.clip(lab[0], 0, 100)), float(lab[1]), float(lab[2])))

    @property
    def srgb(self) -> str:
        """`#rrggbb`, brought into the sRGB gamut with hue and lightness kept."""
        return lab_to_hex(self.lab)


def even_shares(shades: tuple[Shade, ...]) -> tuple[Shade, ...]:
    """Return the shades with shares that add up to exactly 1 (four decimals, the rest on the largest)."""
    total = sum(s.share for s in shades)
    parts = [max(round(s.share / total, 4), 1e-4) for s in shades]
    largest = max(range(len(parts)), key=parts.__getitem__)
    parts[largest] = round(1 - sum(p for i, p in enumerate(parts) if i != largest), 4)
    return tuple(replace(s, share=p) for s, p in zip(shades, parts, strict=True))


@record
class PutUp:
    """What a full band says of one skein: grams and metres, kept exactly; any number or decimal text is taken."""

    mass_g: Fraction = held("grams per skein", low=0.01, high=10_000, unit="g")
    length_m: Fraction = held("metres per skein", low=0.01, high=50_000, unit="m")

    @property
    def m_per_g(self) -> Fraction:
        """Metres in one gram."""
        return self.length_m / self.mass_g

    @property
    def tex(self) -> float:
        """Linear density, grams per 1000 m (ISO 1144).

        >>> PutUp(mass_g=100, length_m=250).tex
        400.0
        """
        return float(1000 * self.mass_g / self.length_m)


@record
class Lot:
    """What lay on the shelf of one dye lot before row 1."""

    # As printed on the band; may be empty.
    name: str = held("dye lot", default="", longest=60)
    # Whole ones.
    skeins: int = held("skeins on hand", default=0, low=0, high=1000)
    # Opened skeins, as weighed.
    parts_g: tuple[Fraction, ...] = held(
        "grams of a part skein", default=(), low=0, high=10_000, most=MAX_PARTS, unit="g"
    )


@lru_cache(maxsize=4096)
def _band(grams: Fraction, metres: Fraction) -> PutUp:
    return PutUp(mass_g=grams, length_m=metres)


@record
class Yarn:
    """One yarn: its name, colour and band, and what lay there of it before row 1."""

    # Unique within a blanket.
    name: str = held("name of a yarn", longest=80)
    # At least one; shares add up to 1.
    shades: tuple[Shade, ...] = held("shades of a yarn", most=MAX_SHADES)
    # What stripes, weighings and variants refer to; a new name leaves it. Empty takes the name at birth.
    key: str = held("key of a yarn", default="", longest=80)
    # Of one skein, as its band says; either may be missing.
    grams: Fraction | None = held("grams per skein", default=None, low=0.01, high=10_000, unit="g")
    metres: Fraction | None = held("metres per skein", default=None, low=0.01, high=50_000, unit="m")
    # 0 (lace) to 7 (jumbo), Craft Yarn Council.
    weight_class: int | None = held("weight class", default=None, low=0, high=7)
    lots: tuple[Lot, ...] = held("dye lots", default=(), most=MAX_LOTS)
    # As printed on the band; may be empty.
    fibre: str = held("fibre", default="", longest=80)
    # Of one skein, in the currency of the maker's ways.
    price: Fraction | None = held("price of a skein", default=None, low=0, high=1e9)

    def __post_init__(self) -> None:
        if not self.name:
            raise YarnError("a yarn without a name was given; every yarn needs one, such as the name on its band.")
        if not self.key:
            object.__setattr__(self, "key", self.name)
        if not self.shades:
            raise YarnError("{name} has no shade; read a photo of it or type a colour like #b35c37.", name=self.name)
        total = sum(s.share for s in self.shades)
        if abs(total - 1) > 1e-3:
            raise YarnError(
                "the shares of {name} add up to {given}; they must add up to 1.", name=self.name, given=round(total, 4)
            )

    @classmethod
    def from_hex(cls, name: str, srgb: str, **fields: Any) -> Yarn:
        """Return a yarn of a typed colour; further fields by name.

        >>> Yarn.from_hex("Slate", "#3f5a6b", grams=100, metres=170).put_up.m_per_g
        Fraction(17, 10)
        """
        return cls(name=name, shades=(Shade.from_hex(srgb),), **fields)

    @property
    def put_up(self) -> PutUp | None:
        """The band where it says both grams and metres."""
        return None if self.grams is None or self.metres is None else _band(self.grams, self.metres)

    @property
    def label_is_usual(self) -> bool:
        """Whether skeins are counted with what is usual, because her label says too little."""
        return self.put_up is None

    @property
    def label(self) -> PutUp:
        """The label; what is missing of it is as usual for the weight class, 100 g where neither is told."""
        per_g = Fraction(M_PER_100_G[self.usual_class], 100)
        if self.grams is None:
            return _band(Fraction(100) if self.metres is None else self.metres / per_g, self.metres or 100 * per_g)
        return _band(self.grams, self.grams * per_g if self.metres is None else self.metres)

    @property
    def usual_class(self) -> int:
        """The weight class, medium where none is told."""
        return USUAL_CLASS if self.weight_class is None else self.weight_class

    @property
    def skeins_on_hand(self) -> int:
        """Whole skeins of all lots that lay there before row 1."""
        return sum(lot.skeins for lot in self.lots)

    @property
    def part_skeins_g(self) -> tuple[Fraction, ...]:
        """Weighed opened skeins of all lots, grams each."""
        return tuple(grams for lot in self.lots for grams in lot.parts_g)

    @property
    def dye_lot(self) -> str:
        """The names of the lots in one text."""
        return ", ".join(lot.name for lot in self.lots if lot.name)

    @property
    def lab(self) -> tuple[float, float, float]:
        """CIELAB of the whole yarn: its one shade, or the share-weighed Oklab mean of several."""
        if len(self.shades) == 1:
            return self.shades[0].lab
        oklab = linear_to_oklab(lab_to_linear([s.lab for s in self.shades]))
        mean = linear_to_lab(oklab_to_linear(np.average(oklab, axis=0, weights=[s.share for s in self.shades])))
        return (float(mean[0]), float(mean[1]), float(mean[2]))

    @property
    def srgb(self) -> str:
        """`#rrggbb` of the whole yarn."""
        return lab_to_hex(self.lab)


def check_yarns(yarns: tuple[Yarn, ...]) -> tuple[Yarn, ...]:
    """Return the yarns if there is at least one and neither a name nor a key comes twice."""
    if not yarns:
        raise YarnError("the palette is empty; add at least one yarn, from a photo or with a typed colour.")
    names, keys = Counter(yarn.name for yarn in yarns), Counter(yarn.key for yarn in yarns)
    if len(names) < len(yarns):
        raise YarnError("two yarns are called {name}; give each its own name.", name=repr(names.most_common(1)[0][0]))
    if len(keys) < len(yarns):
        raise YarnError("two yarns have the key {key}; give each its own.", key=repr(keys.most_common(1)[0][0]))
    return yarns

"""Shades and yarns: what a photo or a palette says of one yarn, and what its band says."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from blendplan.colour import hex_to_lab, lab_to_hex, lab_to_linear, linear_to_lab, linear_to_oklab, oklab_to_linear
from blendplan.errors import ColourError, YarnError
from blendplan.units import clean_text, exact, number, whole

__all__ = ["REASONS", "WEIGHT_CLASSES", "PutUp", "Shade", "Yarn", "check_yarns"]

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
    "typed": "the colour was typed in, not measured",
    "by-eye": "set by eye",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shade:
    """One colour of a yarn, as it would look in neutral daylight (D65).

    Attributes
    ----------
    lab : tuple of 3 floats
        CIELAB under D65.
    share : float
        Share of the yarn's visible area, above 0 and up to 1.
    spread : float
        Root mean square CIEDE2000 of the pixels about the shade, light and shadow left out; 0 for a plain colour.
    uncertainty : float or None
        CIEDE2000 under which 90 % of errors are expected to lie; None where nothing is known.
    reasons : tuple of str
        Keys of `REASONS`.
    by_eye : bool
        True once the maker has set it herself; never overwritten by a photo.
    """

    lab: tuple[float, float, float]
    share: float = 1.0
    spread: float = 0.0
    uncertainty: float | None = None
    reasons: tuple[str, ...] = ()
    by_eye: bool = False

    def __post_init__(self) -> None:
        if len(self.lab) != 3 or not all(np.isfinite(self.lab)):
            raise ColourError("a shade needs three finite Lab numbers, {given} was given.", given=self.lab)
        number(self.lab[0], "lightness of a shade", 0, 100)
        number(max(abs(self.lab[1]), abs(self.lab[2])), "a* and b* of a shade", 0, 200)
        number(self.share, "share of a shade", 1e-6, 1 + 1e-9)
        number(self.spread, "spread of a shade", 0, 200)
        if self.uncertainty is not None:
            number(self.uncertainty, "uncertainty of a shade", 0, 200)
        for code in self.reasons:
            if code not in REASONS:
                raise ColourError("{given} is not a reason that a shade can carry.", given=repr(code))

    @classmethod
    def from_hex(cls, text: str) -> Shade:
        """Return the shade of a typed `#rrggbb`."""
        lab = np.round(hex_to_lab(text), 4)
        return cls(lab=(float(np.clip(lab[0], 0, 100)), float(lab[1]), float(lab[2])), reasons=("typed",))

    @property
    def srgb(self) -> str:
        """`#rrggbb`, brought into the sRGB gamut with hue and lightness kept."""
        return lab_to_hex(self.lab)


@dataclass(frozen=True, slots=True, kw_only=True)
class PutUp:
    """What the band says of one skein: grams and metres, kept exactly.

    Attributes
    ----------
    mass_g, length_m : Fraction
        Any number or decimal text is taken; both above zero.
    """

    mass_g: Fraction
    length_m: Fraction

    def __post_init__(self) -> None:
        mass, length = exact(self.mass_g, "grams per skein"), exact(self.length_m, "metres per skein")
        number(mass, "grams per skein", 0.01, 10_000)
        number(length, "metres per skein", 0.01, 50_000)
        object.__setattr__(self, "mass_g", mass)
        object.__setattr__(self, "length_m", length)

    @property
    def m_per_g(self) -> Fraction:
        """Metres in one gram."""
        return self.length_m / self.mass_g

    @property
    def tex(self) -> float:
        """Linear density, grams per 1000 m (ISO 1144).

        Examples
        --------
        >>> PutUp(mass_g=100, length_m=250).tex
        400.0
        """
        return float(1000 * self.mass_g / self.length_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class Yarn:
    """One yarn of the project: its name, colour, band and what is on hand.

    Attributes
    ----------
    name : str
        Unique within a project; stripes refer to it.
    shades : tuple of Shade
        At least one; shares add up to 1.
    put_up : PutUp or None
        None where the band was not given; skeins cannot be counted then.
    weight_class : int or None
        0 (lace) to 7 (jumbo), Craft Yarn Council.
    skeins_on_hand : int
        Whole skeins.
    part_skeins_g : tuple of Fraction
        Weighed part skeins, grams each.
    dye_lot, fibre : str
        As printed on the band; may be empty.
    price : Fraction or None
        Of one skein, in the project's currency.
    """

    name: str
    shades: tuple[Shade, ...]
    put_up: PutUp | None = None
    weight_class: int | None = None
    skeins_on_hand: int = 0
    part_skeins_g: tuple[Fraction, ...] = ()
    dye_lot: str = ""
    fibre: str = ""
    price: Fraction | None = None

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "name", clean_text(self.name, "name of a yarn", 80))
        if not self.name:
            raise YarnError("a yarn without a name was given; every yarn needs one, such as the name on its band.")
        if not self.shades:
            raise YarnError("{name} has no shade; read a photo of it or type a colour like #b35c37.", name=self.name)
        total = sum(s.share for s in self.shades)
        if abs(total - 1) > 1e-3:
            raise YarnError(
                "the shares of {name} add up to {given}; they must add up to 1.", name=self.name, given=round(total, 4)
            )
        if self.weight_class is not None:
            put(self, "weight_class", whole(self.weight_class, f"weight class of {self.name}", 0, 7))
        put(self, "skeins_on_hand", whole(self.skeins_on_hand, f"skeins on hand of {self.name}", 0, 1000))
        parts = tuple(exact(g, f"grams of a part skein of {self.name}") for g in self.part_skeins_g)
        for grams in parts:
            number(grams, f"grams of a part skein of {self.name}", 0, 10_000)
        put(self, "part_skeins_g", parts)
        put(self, "dye_lot", clean_text(self.dye_lot, f"dye lot of {self.name}", 60))
        put(self, "fibre", clean_text(self.fibre, f"fibre of {self.name}", 80))
        if self.price is not None:
            put(self, "price", exact(self.price, f"price of {self.name}"))
            number(self.price, f"price of {self.name}", 0, 1e9)

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
    """Return the yarns if there is at least one and no name comes twice.

    Raises
    ------
    YarnError
        If the palette is empty or a name stands twice.
    """
    if not yarns:
        raise YarnError("the palette is empty; add at least one yarn, from a photo or with a typed colour.")
    seen: set[str] = set()
    for yarn in yarns:
        if yarn.name in seen:
            raise YarnError("two yarns are called {name}; give each its own name.", name=repr(yarn.name))
        seen.add(yarn.name)
    return yarns

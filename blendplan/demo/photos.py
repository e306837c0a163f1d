"""Photographs drawn by the program: wound skeins on paper under a warm lamp.

Everything is drawn in linear light: paper, a soft shadow, strands with two plies and deep gaps, a label
band, a lamp whose light falls off across the table, a camera that takes out only part of the lamp's cast,
sensor noise, and a JPEG at the end.
The demo therefore starts where a maker starts, and the shades it plans with are read, not known.
"""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO

import numpy as np
from PIL import Image, ImageFilter

from blendplan.colour import Floats, hex_to_linear, linear_to_srgb, linear_to_xyz, xyz_to_linear

__all__ = ["SIZE_PX", "DrawnSkein", "draw_photo"]

SIZE_PX = (1120, 840)
PAPER = np.array([0.84, 0.84, 0.82])
BAND = np.array([0.62, 0.60, 0.55])


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnSkein:
    """A skein lying in the picture.

    Attributes
    ----------
    srgb : str
        The yarn's shade: the colour of its light as a whole in daylight.
    centre : tuple of 2 floats
        In shares of the picture's width and height.
    size : tuple of 2 floats
        Length and thickness in shares of the width.
    turn_deg : float
        Turned from lying level.
    """

    srgb: str
    centre: tuple[float, float]
    size: tuple[float, float] = (0.40, 0.17)
    turn_deg: float = 0.0


def _smooth(edge: Floats, width: float) -> Floats:
    """Return 0 to 1 across an edge `width` pixels wide."""
    t = np.clip(edge / width + 0.5, 0, 1)
    return t * t * (3 - 2 * t)


def _blur(plane: Floats, radius: float) -> Floats:
    picture = Image.fromarray(np.rint(np.clip(plane, 0, 1) * 255).astype(np.uint8))
    return np.asarray(picture.filter(ImageFilter.GaussianBlur(radius)), dtype=np.float64) / 255


def _skein(skein: DrawnSkein, width: int, height: int, rng: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """Return coverage (h, w), shading (h, w) and albedo (h, w, 3) of one skein."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    x, y = x - skein.centre[0] * width, y - skein.centre[1] * height
    angle = np.radians(skein.turn_deg)
    along = x * np.cos(angle) + y * np.sin(angle)
    across = -x * np.sin(angle) + y * np.cos(angle)
    half_l, half_t = skein.size[0] * width / 2, skein.size[1] * width / 2
    # Rounded ends: a stadium whose edge wavers a little, as loose loops do.
    waver = 2.5 * np.sin(along / 17.0 + rng.uniform(0, 6)) + 1.5 * np.sin(along / 7.3 + rng.uniform(0, 6))
    end = np.maximum(np.abs(along) - (half_l - half_t), 0)
    edge = half_t - np.hypot(end, across + waver * 0.35)
    cover = _smooth(edge, 3.0)
    # Strands run along the skein, a little aslant, in loops that cross in two layers.
    strand = half_t / 6.5
    slant = 0.16 * along + 4 * np.sin(along / half_l * 2.2 + rng.uniform(0, 6))
    phase = (across + slant) / strand
    tube = np.sqrt(np.clip(1 - (2 * (phase - np.floor(phase)) - 1) ** 2, 0, 1))
    tone = rng.uniform(0.90, 1.0, 400)[np.floor(phase).astype(int) % 400]
    # Two plies twist round each other along a strand.
    ply = np.abs(np.sin(np.pi * (along / (1.9 * strand) + 0.75 * phase)))
    shade = (0.30 + 0.70 * tube) * (0.72 + 0.28 * ply**0.7) * tone
    roundness = np.sqrt(np.clip(1 - (across / (half_t * 1.08)) ** 2, 0, 1))
    shade *= 0.55 + 0.45 * roundness
    # Light goes from strand to strand, the more the paler the yarn, and fills its hollows.
    shade **= 1 - 0.6 * float(linear_to_xyz(hex_to_linear(skein.srgb))[1])
    shade /= float(np.average(shade, weights=cover))
    fuzz = rng.normal(0, 0.035, shade.shape)
    albedo = np.broadcast_to(hex_to_linear(skein.srgb), (*shade.shape, 3)).copy()
    band = _smooth(half_l * 0.16 - np.abs(along + half_l * 0.05), 2.0) * cover
    albedo = albedo * (1 - band[..., None]) + BAND * band[..., None]
    shade = (shade + fuzz) * (1 - band) + (0.62 + 0.38 * roundness) * band
    return cover, np.clip(shade, 0.02, 2.5), albedo


def draw_photo(
    skeins: tuple[DrawnSkein, ...],
    *,
    size_px: tuple[int, int] = SIZE_PX,
    lamp_xy: tuple[float, float] = (0.4254, 0.4044),
    balance: float = 0.85,
    exposure: float = 0.9,
    seed: int = 0,
) -> bytes:
    """Return the JPEG of skeins on paper under a lamp.

    Parameters
    ----------
    skeins : tuple of DrawnSkein
    size_px : tuple of int
        Width and height.
    lamp_xy : tuple of float
        Chromaticity of the lamp, CIE 1931; the default lies near a 3100 K bulb.
    balance : float
        Share of the lamp's cast that the camera takes out, 0 to 1.
    exposure : float
        Linear value that white under the lamp's centre reaches.
    seed : int

    Returns
    -------
    bytes
        The same for the same arguments; no metadata.
    """
    rng = np.random.default_rng(seed)
    width, height = size_px
    shadow = np.zeros((height, width))
    layers = []
    for skein in skeins:
        cover, shade, albedo = _skein(skein, width, height, rng)
        layers.append((cover, shade, albedo))
        shadow = np.maximum(shadow, np.roll(cover, (int(0.012 * width), int(0.010 * width)), (0, 1)))
    grain = 1 + 0.008 * rng.normal(size=(height, width))
    light = PAPER * (grain * (1 - 0.45 * _blur(shadow, 0.012 * width)))[..., None]
    for cover, shade, albedo in layers:
        light = light * (1 - cover[..., None]) + albedo * shade[..., None] * cover[..., None]
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    falloff = 1 - 0.22 * np.hypot(x / width - 0.35, (y / height - 0.30) * height / width) ** 2 / 0.5
    cast = xyz_to_linear([lamp_xy[0] / lamp_xy[1], 1.0, (1 - lamp_xy[0] - lamp_xy[1]) / lamp_xy[1]])
    cast = np.maximum(cast, 0.05) ** (1 - balance)
    cast /= float(linear_to_xyz(cast)[1])
    seen = light * falloff[..., None] * cast * exposure
    seen += rng.normal(0, 1, seen.shape) * (0.002 + 0.006 * np.sqrt(np.clip(seen, 0, 1)))
    codes = np.rint(linear_to_srgb(np.clip(seen, 0, 1)) * 255).astype(np.uint8)
    out = BytesIO()
    Image.fromarray(codes).save(out, "JPEG", quality=90, subsampling=2)
    return out.getvalue()

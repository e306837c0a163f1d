"""A sheet to look at: photographs of crochet, path-traced fabric and drawn fabric at the same scales.

Usage: BLENDPLAN_SAMPLES=FOLDER python tests/bench/sheet_picture.py OUT.png
Photographs and path-traced pictures are in `yarns` and `fabric` of that folder; what is missing is left blank.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np
from bench_picture import flat, ripple
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from blendplan.fabric.layout import RowLayout
from blendplan.picture.scene import DrawnStripe, draw_blanket

OCHRE, SLATE = "#b6802c", "#466690"
GROUND = "#d9d7d6"
GAP = 12
# Path-traced file, its pixels a stitch, what it shows.
TRACED = (("flat-stripe.jpg", 70.0, "flat"), ("ripple-stripe.jpg", 46.0, "ripple"))
# Photograph, box (left, top, right, bottom), pixels a stitch there (counted by hand in the file), rows of what.
PHOTOS = (("12-fabric.jpg", (160, 40, 1000, 420), 51.0), ("08-fabric.jpg", (470, 180, 1010, 700), 50.0))
SCALES = (70.0, 46.0, 15.0, 5.0)
# Stitches and their heights in stitch widths, drawn in both loops and in the back loop at one scale.
STITCHES, STITCH_PX = {"sc": 0.91, "hdc": 1.37, "dc": 1.8, "tr": 2.6}, 30.0


def stripes(rows: tuple[int, int, int] = (2, 2, 2)) -> list[DrawnStripe]:
    """Slate, slate and ochre together, ochre, as in the path-traced pictures."""
    pairs = ((SLATE, SLATE), (SLATE, OCHRE), (OCHRE, OCHRE))
    return [DrawnStripe.of(p, r) for p, r in zip(pairs, rows, strict=True)]


def drawn(layout: RowLayout, stitch_px: float, *, back_loops: bool = False) -> NDArray[np.uint8]:
    """Return the drawn fabric at so many pixels a stitch."""
    scale = stitch_px / layout.stitch_width_cm
    return draw_blanket(stripes(), layout, px_per_cm=scale, back_loops=back_loops, background=GROUND)


def shrunk(path: Path, factor: float, box: tuple[int, int, int, int] | None = None) -> Image.Image | None:
    """Return a picture brought down in light; None where there is none."""
    if not path.is_file():
        return None
    from blendplan.picture.distance import decode, encode

    image = Image.open(path).convert("RGB").crop(box) if box else Image.open(path).convert("RGB")
    if factor >= 1:
        return image
    light = decode(np.asarray(image))
    size = (max(1, round(image.width * factor)), max(1, round(image.height * factor)))
    planes = [np.asarray(Image.fromarray(light[..., c]).resize(size, Image.Resampling.BOX)) for c in range(3)]
    return Image.fromarray(encode(np.stack(planes, axis=2)))


def sheet(samples: Path) -> Image.Image:
    """Return the sheet: a line for each scale with photographs, path-traced, drawn; and one of all stitches."""
    layouts = {"flat": flat(), "ripple": ripple(2)}
    lines, titles = [], []
    for scale in SCALES:
        titles.append(f"{scale:g} px a stitch: photographs, path-traced and drawn")
        line = [shrunk(samples / "yarns" / name, scale / px, box) for name, box, px in PHOTOS]
        for name, px, kind in TRACED:
            line += [shrunk(samples / "fabric" / name, scale / px), Image.fromarray(drawn(layouts[kind], scale))]
        lines.append([image for image in line if image is not None])
    titles.append(f"{STITCH_PX:g} px a stitch: " + ", ".join(f"{s} in both loops, in the back loop" for s in STITCHES))
    small = [flat(stitch, height=high) for stitch, high in STITCHES.items()]
    lines.append([Image.fromarray(drawn(s, STITCH_PX, back_loops=loops)) for s in small for loops in (False, True)])
    width = max(sum(i.width + GAP for i in line) for line in lines)
    out = Image.new("RGB", (width, sum(max(i.height for i in line) + 3 * GAP for line in lines)), "white")
    y = 0
    for title, line in zip(titles, lines, strict=True):
        ImageDraw.Draw(out).text((2, y + 2), title, fill="black")
        x = 0
        for image in line:
            out.paste(image, (x, y + 2 * GAP))
            x += image.width + GAP
        y += max(i.height for i in line) + 3 * GAP
    return out


if __name__ == "__main__":
    sheet(Path(os.environ.get("BLENDPLAN_SAMPLES", "samples"))).save(sys.argv[1])

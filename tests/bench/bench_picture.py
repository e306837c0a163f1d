"""Speed and memory of the picture, as ratios to Pillow's PNG encoding of the same picture in the same run.

Each number is the least of a few runs, since other work on the machine only ever adds time; of the clock, and of the
processor, which tells more on a busy machine.
Seeds: 0 was looked at while tuning; colours are measured on seeds 11 to 14.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from blendplan.colour import delta_e_2000, hex_to_linear, linear_to_lab
from blendplan.fabric.layout import RowLayout, lay_row
from blendplan.fabric.rows import Part, Row, Step
from blendplan.picture import geometry
from blendplan.picture.canvas import encode_png, paint
from blendplan.picture.distance import decode, seen_from
from blendplan.picture.geometry import prepare
from blendplan.picture.scene import DrawnStripe, draw_blanket, draw_strip, shape_of, view_of

PALETTE = ("#1f3b73", "#f2d16b", "#b5523b", "#e9e2d0", "#4f7f6a", "#7a5c8e")
# An A2 sheet at 300 dpi, 16.5 x 23.4 in, drawn in a process of its own.
A2 = (4961, 7016)
A2_CODE = "import bench_picture as b; b.draw_blanket(b.stripes(), b.ripple(), size_px=b.A2)"


def ripple(repeats: int = 8) -> RowLayout:
    """Point ripple of the trade facts: slope 7, chain-2 peaks, skip-2 valleys, half-peak edges."""
    side = Step(kind="each", stitch="dc", count=6)
    down = (side, Step(kind="skip", count=2), side)
    peak = Step(kind="group", stitches=("dc", "ch", "ch", "dc"), takes=2, into_space=True)
    row = Row(
        name="repeat",
        parts=(
            Part(steps=(Step(kind="turn", takes=0), Step(kind="each", stitch="dc", count=1))),
            Part(steps=(*down, peak), times=repeats - 1),
            Part(steps=(*down, Step(kind="group", stitches=("dc", "dc"), takes=1))),
        ),
    )
    return lay_row(row, stitch_width_cm=1.0, row_height_cm=1.82)


def flat(stitch: str = "dc", count: int = 12, height: float = 1.8) -> RowLayout:
    """Return a straight row."""
    row = Row(name="plain", parts=(Part(steps=(Step(kind="each", stitch=stitch, count=count),)),))
    return lay_row(row, stitch_width_cm=1.0, row_height_cm=height)


def stripes() -> list[DrawnStripe]:
    """56 rows: six solid stripes with a marl between each two."""
    out: list[DrawnStripe] = []
    for i, colour in enumerate(PALETTE):
        if i:
            out.append(DrawnStripe(strand_colours=(PALETTE[i - 1], colour), rows=4))
        out.append(DrawnStripe(strand_colours=(colour, colour), rows=6))
    return out


def least(work: Callable[[], object], runs: int = 5) -> NDArray[np.float64]:
    """Return the least seconds of a few runs: by the clock, and of the processor."""
    best = []
    for _ in range(runs):
        clock, processor = time.perf_counter(), time.process_time()
        work()
        best.append((time.perf_counter() - clock, time.process_time() - processor))
    return np.min(best, axis=0)


def both(ratio: NDArray[np.float64], digits: int = 2) -> str:
    """Return a ratio by the clock and of the processor."""
    return f"{ratio[0]:.{digits}f} ({ratio[1]:.{digits}f} of the processor)"


def _forget() -> None:
    geometry._loom_kept.cache_clear()
    geometry._measured.cache_clear()


def report() -> list[str]:
    """Return the lines of the report."""
    layout, blanket = ripple(), stripes()
    shape, colours = shape_of(blanket), [s.strand_colours for s in blanket]
    view = view_of(blanket, layout, size_px=(1600, 1200))
    picture = draw_blanket(blanket, layout, size_px=(1600, 1200))
    scale = view.px_per_cm

    def first() -> None:
        _forget()
        paint(prepare(shape, layout, view), colours)

    png = least(lambda: encode_png(picture))
    cold = least(first)
    warm = least(lambda: paint(prepare(shape, layout, view), colours))
    kept = prepare(shape, layout, view)
    changed = [tuple("#336699" if c == PALETTE[2] else c for c in pair) for pair in colours]
    again = least(lambda: paint(kept, changed))
    far = least(lambda: seen_from(picture, px_per_cm=scale, distance_cm=300.0))
    near = least(lambda: seen_from(picture, px_per_cm=scale, distance_cm=60.0))
    rows = sum(s.rows for s in blanket)
    lines = [
        f"1600x1200, {rows} rows of {len(layout.kinds)} stitches; PNG encoding {png[0]:.3f} s = 1",
        f"whole blanket, nothing kept:       {both(cold / png)} x PNG, target 2",
        f"whole blanket, stitches kept:      {both(warm / png)} x PNG, target 2",
        f"one yarn's colour changed:         {both(again / cold, 3)} of a draw, target 0.25",
        f"across the room, 3 m / 60 cm:      {far[0]:.3f} s / {near[0]:.3f} s, target 0.15 s",
    ]
    strip = least(lambda: draw_strip(blanket[1], layout, px_per_cm=scale))
    part = blanket[1].rows / rows
    lines.append(
        f"a stripe of {blanket[1].rows} rows drawn alone:      {both(strip / warm, 3)} of a draw, target {part:.3f}"
    )
    first, last = layout.runs[len(layout.runs) // 2]
    left, right = (float(x) for x in layout.top[[first, last - 1], 0])
    bottom = 4 * layout.rise_cm
    zoom = view_of(blanket, layout, size_px=(1600, 1200), window=(left, bottom, right, bottom + 0.75 * (right - left)))
    start = time.perf_counter()
    prepare(shape, layout, zoom)
    lines.append(f"one repeat at 1600x1200, once:     {(time.perf_counter() - start) / png[0]:.1f} x PNG (no target)")
    lines += _colours()
    lines.append(_sheet())
    return lines


def _colours() -> list[str]:
    """Return how far area means are from the yarn's shade and from the mean of light."""
    plain = flat(count=16, height=1.82)

    def apart(pair: tuple[str, str], seed: int) -> float:
        cloth = [DrawnStripe(strand_colours=pair, rows=8)]
        window = (2.0, 2 * plain.rise_cm, 14.0, 6 * plain.rise_cm)
        light = decode(draw_blanket(cloth, plain, px_per_cm=13.0, window=window, seed=seed))
        wanted = np.mean([hex_to_linear(c) for c in pair], axis=0)
        return float(delta_e_2000(linear_to_lab(light.mean(axis=(0, 1), dtype=np.float64)), linear_to_lab(wanted)))

    out = []
    for name, seeds in (("tuning seed 0", (0,)), ("test seeds 11-14", (11, 12, 13, 14))):
        solid = [apart((c, c), s) for c in PALETTE for s in seeds]
        marl = [apart((a, b), s) for a, b in pairwise(PALETTE) for s in seeds]
        out.append(
            f"area mean against shade / mean of light, CIEDE2000, {name}: "
            f"solid mean {np.mean(solid):.2f} max {max(solid):.2f}; marl mean {np.mean(marl):.2f} max {max(marl):.2f}"
        )
    return out


def _sheet() -> str:
    """Return the peak memory of a process that draws an A2 sheet."""
    start = time.perf_counter()
    here = Path(__file__).resolve().parent
    paths = os.pathsep.join([str(here), str(here.parent.parent)])
    # The child's own peak: what getrusage says of children is the largest that the whole report has started.
    code = A2_CODE + "\nprint(open('/proc/self/status').read().split('VmHWM:')[1].split()[0])\n"
    env = {**os.environ, "PYTHONPATH": paths}
    said = subprocess.run([sys.executable, "-c", code], check=True, env=env, capture_output=True, text=True).stdout
    peak = int(said.split()[-1]) / 1024
    return f"A2 at 300 dpi ({A2[0]}x{A2[1]}): peak {peak:.0f} MB, {time.perf_counter() - start:.0f} s, target 1000 MB"


if __name__ == "__main__":
    print("\n".join(report()))

"""Blends: speed of the pair table and its neighbours, accuracy of calibration and of stated uncertainty."""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import combinations_with_replacement

import numpy as np
from test_blend_calibrate import TESTED_ON, TUNED_ON, simulate

from blendplan.blend.nearest import nearest_blends, pair_table
from blendplan.blend.pair import blend_labs, mix
from blendplan.blend.uncertainty import blend_uncertainty, draw_labs
from blendplan.blend.warnings import check_stripes
from blendplan.colour import delta_e_2000
from blendplan.stripes.sequence import Sequence
from blendplan.yarn import Shade, Yarn

SEED = 40


def median_ms(work: Callable[[], object], repeats: int = 9) -> float:
    """Return the median time of some work, milliseconds, after one run to warm up."""
    work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return 1000 * float(np.median(times))


def labs(count: int) -> list[list[float]]:
    """Return random colours of a palette."""
    return np.random.default_rng(SEED).uniform([15, -45, -45], [92, 45, 45], (count, 3)).tolist()


def speed() -> list[str]:
    """Report times, as ratios to the same blends made one by one in the same run."""
    palette = labs(40)
    yarns = [Yarn(name=f"Yarn {i}", shades=(Shade(lab=tuple(lab)),)) for i, lab in enumerate(palette)]
    by_name = {y.name: y for y in yarns}
    pairs = list(combinations_with_replacement(palette, 2))
    base = median_ms(lambda: [mix(p) for p in pairs], 3)
    table = median_ms(lambda: pair_table(palette))
    stripes = Sequence(order=tuple(by_name)[:20]).expand()
    lines = [
        f"baseline: {len(pairs)} blends one by one {base:.0f} ms",
        f"pair table of 40 yarns {table:.1f} ms (target 50), {table / base:.4f} of the baseline",
    ]
    for strands in (2, 3):
        took = median_ms(lambda k=strands: nearest_blends((55, 10, 20), yarns, strands=k), 5)
        lines.append(f"nearest 10 of 40 yarns, {strands} strands: {took:.1f} ms, {took / base:.3f} of the baseline")
    took = median_ms(lambda: check_stripes(stripes, by_name), 5)
    lines.append(f"warnings for {len(stripes)} stripes, 40 yarns: {took:.1f} ms, {took / base:.3f} of the baseline")
    took = median_ms(lambda: mix(palette[:2], uncertainties=(3, 3)))
    lines.append(f"one blend with its uncertainty: {took:.1f} ms, {took / base:.4f} of the baseline")
    return lines


def coverage() -> list[str]:
    """Report how often the stated 90 % holds for fresh draws with independent errors (seed apart from the code's)."""
    rng = np.random.default_rng(777)
    held = []
    for _ in range(60):
        strands = rng.uniform([20, -40, -40], [90, 40, 40], (2, 3)).tolist()
        stated = blend_uncertainty(strands, (3.0, 3.0), shared=0.0)
        drawn = [draw_labs(s, 3.0, rng.standard_normal((500, 3))) for s in strands]
        errors = delta_e_2000(blend_labs(np.stack(drawn, axis=1)), blend_labs(strands))
        held.append(float(np.mean(errors <= stated)))
    return [f"stated 90 % uncertainty of a blend holds for {np.mean(held):.1%} of fresh draws (60 pairs, seed 777)"]


def calibration() -> list[str]:
    """Report the error on new pairs with the member calibrated and left at its default."""
    lines = [f"calibration, 40 trials a line, true n uniform 1 to 3, test seed {TESTED_ON}, tuned on seed {TUNED_ON}:"]
    for error in (1, 2, 3.5):
        for count, gap in ((1, 20), (1, 40), (3, 20), (6, 20)):
            done, default, held = simulate(error, count, gap, 40, TESTED_ON)
            lines.append(
                f"  shade error {error}, {count} swatch(es) over {gap} L*: {done:.2f}, default {default:.2f}, "
                f"ratio {done / default:.2f}, 90 % interval held {held:.0%}"
            )
    return lines


def report() -> list[str]:
    """Return the lines of this report."""
    return [*speed(), *coverage(), *calibration()]


if __name__ == "__main__":
    print("\n".join(report()))

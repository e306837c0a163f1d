"""Blends: speed of the pair table and its neighbours, accuracy against path-traced panels and of stated uncertainty."""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import combinations_with_replacement

import numpy as np
from test_blend_strands import errors, left_out
from test_blend_strands import other_panels as others
from test_blend_strands import panels as reference

from blendplan.blend.advice import check_stripes, nearest_blends
from blendplan.blend.pair import blend_bound, blend_labs, draw_labs, mix, pair_labs
from blendplan.colour import LINEAR_TO_LMS, LMS_TO_LINEAR, delta_e_2000, hex_to_linear, linear_to_lab
from blendplan.stripes.model import StripeRule
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
    table = median_ms(lambda: pair_labs(yarns))
    stripes = StripeRule(order=tuple(by_name)[:20]).expand()
    lines = [
        f"baseline: {len(pairs)} blends one by one {base:.0f} ms",
        f"pair table of 40 yarns {table:.1f} ms (target 50), {table / base:.4f} of the baseline",
    ]
    for strands in (2, 3):
        took = median_ms(lambda k=strands: nearest_blends((55, 10, 20), yarns, strands=k), 5)
        lines.append(f"nearest 10 of 40 yarns, {strands} strands: {took:.1f} ms, {took / base:.3f} of the baseline")
    took = median_ms(lambda: check_stripes(stripes, by_name), 5)
    lines.append(f"warnings for {len(stripes)} stripes, 40 yarns: {took:.1f} ms, {took / base:.3f} of the baseline")
    took = median_ms(lambda: mix(palette[:2], bounds=(3, 3)))
    lines.append(f"one blend with its uncertainty: {took:.1f} ms, {took / base:.4f} of the baseline")
    return lines


def coverage() -> list[str]:
    """Report how often the stated 90 % holds for fresh draws with errors of their own (seed apart from the code's)."""
    rng = np.random.default_rng(777)
    held = []
    for _ in range(60):
        strands = rng.uniform([20, -40, -40], [90, 40, 40], (2, 3)).tolist()
        stated = blend_bound(strands, (3.0, 3.0), photos=("", ""))
        drawn = [draw_labs(s, 3.0, rng.standard_normal((500, 3))) for s in strands]
        apart = delta_e_2000(blend_labs(np.stack(drawn, axis=1)), blend_labs(strands))
        held.append(float(np.mean(apart <= stated)))
    return [f"stated 90 % uncertainty of a blend holds for {np.mean(held):.1%} of fresh draws (60 pairs, seed 777)"]


def plain_members(rows: list[dict[str, str]], n: float) -> dict[str, list[float]]:
    """Return CIEDE2000 of a power mean in Oklab's cone responses, the same from everywhere: what stood before."""
    out: dict[str, list[float]] = {}
    for row in rows:
        cones = np.array([hex_to_linear(row["strand_a"]), hex_to_linear(row["strand_b"])]) @ LINEAR_TO_LMS.T
        made = linear_to_lab(np.mean(cones ** (1 / n), axis=0) ** n @ LMS_TO_LINEAR.T)
        truth = [float(row[c]) for c in ("L", "a", "b")]
        out.setdefault(row["seen_from_m"], []).append(float(delta_e_2000(made, truth)))
    return out


def panels() -> list[str]:
    """Report the model against path-traced panels, a pair left out of every fit in turn, beside what stood before."""
    lines = []
    for name, rows in (
        ("five pairs, each left out of the fit in turn", reference()),
        ("fourteen other pairs", others()),
    ):
        kinds = [("the model", left_out(rows) if "left out" in name else errors(rows))]
        kinds += [("baseline: no light lent", errors(rows, 0.0))]
        kinds += [
            (f"baseline: power mean of n = {n}, as far away as it may be", plain_members(rows, n)) for n in (3, 1)
        ]
        lines.append(f"path-traced panels, {name} (goal: mean 1.5, worst 3.5 at each distance):")
        for kind, found in kinds:
            told = (f"{d} m {np.mean(e):.2f} / {max(e):.2f}" for d, e in found.items())
            lines.append(f"  {kind}: {', '.join(told)}")
    return lines


def report() -> list[str]:
    """Return the lines of this report."""
    return [*speed(), *coverage(), *panels()]


if __name__ == "__main__":
    print("\n".join(report()))

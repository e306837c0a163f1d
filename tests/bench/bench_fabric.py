"""Fabric: a plan of 200 rows by about 300 stitches, work per kind of row against the walk over every stitch."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

from blendplan.fabric import ripple as ripples
from blendplan.fabric.diagram import diagram_svg
from blendplan.fabric.gauge import default_gauge
from blendplan.fabric.reading import read_rows
from blendplan.fabric.ripple import Ripple, work
from blendplan.fabric.simulate import foundation, turned, work_row
from blendplan.fabric.size import measure, widths_near
from blendplan.fabric.sizes import fit_rows
from blendplan.fabric.written import write_rows
from blendplan.stripes.chance import random_order, spread_evenly
from blendplan.stripes.sequence import Sequence

ROWS = 200
RIPPLE = Ripple(repeats=19)  # 304 stitches
NAMES = tuple("ABCDEFGHIJ")


def median_ms(job: Callable[[], object], repeats: int = 15) -> float:
    """Return the median time of a job, milliseconds, after one run to warm up."""
    job()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        job()
        times.append(time.perf_counter() - start)
    return 1000 * statistics.median(times)


def forget() -> None:
    """Empty the caches, so that a first plan is timed."""
    ripples.work.cache_clear()
    ripples._rule.cache_clear()
    ripples._net.cache_clear()


def fabric() -> object:
    """Work the ripple, count all rows, size it and fit the stripes."""
    worked = work(RIPPLE)
    gauge = default_gauge(4)
    stripes = Sequence(order=NAMES, solid_rows=12, blend_rows=8).expand()
    total = worked.tally(ROWS)
    size = measure(worked, gauge, ROWS)
    fit_rows(stripes, size.height_cm, size.rise_per_row_cm, fit="trim", again=True)
    widths_near(RIPPLE, gauge, size.width_cm)
    return total


def first_fabric() -> object:
    """The same with nothing remembered."""
    forget()
    return fabric()


def words() -> object:
    """Write all rows with their counter."""
    stripes = Sequence(order=NAMES, solid_rows=12, blend_rows=8).expand()
    return write_rows(RIPPLE, work(RIPPLE), stripes, gauge=default_gauge(4), straighten=True)


def walk() -> object:
    """Work every stitch of every row, which is the slow way and the check."""
    worked = work(RIPPLE)
    places = foundation(worked.first.taken)
    for number in range(1, ROWS + 1):
        places = work_row(worked.row_at(number), turned(places))
    return places


def report() -> list[str]:
    """Return lines on speed, as ratios to the walk stitch by stitch in the same run."""
    base = median_ms(walk, 5)
    jobs = (
        ("first plan of the fabric, caches empty", first_fabric),
        ("plan again", fabric),
        ("written rows, level rows and counter", words),
        ("rows read back and recounted", lambda: read_rows(write_rows(RIPPLE, work(RIPPLE), ()).text()).recount()),
        ("stitch diagram", lambda: diagram_svg(work(RIPPLE), default_gauge(4))),
    )
    lines = [f"{ROWS} rows of {work(RIPPLE).row_stitches} stitches; walk stitch by stitch: {base:.1f} ms (baseline)"]
    for name, job in jobs:
        spent = median_ms(job)
        lines.append(f"{name}: {spent:.2f} ms, {spent / base:.3f} of the walk (target for a plan: 10 ms)")
    for repeats in (10, 100, 500):
        spent = median_ms(lambda n=repeats: (forget(), work(Ripple(repeats=n))))  # type: ignore[misc]
        lines.append(f"ripple of {repeats} repeats, caches empty: {spent:.2f} ms")
    light = {name: 8.0 + 9.0 * i for i, name in enumerate(NAMES)}
    counts = dict.fromkeys(NAMES, 20)
    spent = median_ms(lambda: random_order(counts, 7, lightness=light, least_step=20))
    lines.append(f"order by chance, 200 stripes with a least step of lightness: {spent:.1f} ms")
    lines.append(f"leftovers of 10 colours over 200 stripes: {median_ms(lambda: spread_evenly(counts, light)):.1f} ms")
    return lines


if __name__ == "__main__":
    print("\n".join(report()))

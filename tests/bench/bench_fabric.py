"""Fabric: a plan of 200 rows by about 300 stitches, work per kind of row against the walk over every stitch."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

from blendplan.fabric import ripple as ripples
from blendplan.fabric.diagram import diagram_svg
from blendplan.fabric.gauge import default_gauge
from blendplan.fabric.ripple import Ripple, work
from blendplan.fabric.rows import foundation, turned, work_row
from blendplan.fabric.size import measure, widths_near
from blendplan.fabric.written import write_rows
from blendplan.stripes.model import StripeRule, rows_from_shares

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
    stripes = StripeRule(order=NAMES, solid_rows=12, blend_rows=8).expand()
    total = worked.tally(ROWS)
    size = measure(worked, gauge, ROWS)
    rows_from_shares([stripe.rows for stripe in stripes], ROWS, least=1)
    widths_near(RIPPLE, gauge, size.width_cm)
    return total


def first_fabric() -> object:
    """The same with nothing remembered."""
    forget()
    return fabric()


def words() -> object:
    """Write all rows."""
    return write_rows(work(RIPPLE))


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
        ("written rows", words),
        ("stitch diagram", lambda: diagram_svg(work(RIPPLE), default_gauge(4))),
    )
    lines = [f"{ROWS} rows of {work(RIPPLE).row_stitches} stitches; walk stitch by stitch: {base:.1f} ms (baseline)"]
    for name, job in jobs:
        spent = median_ms(job)
        lines.append(f"{name}: {spent:.2f} ms, {spent / base:.3f} of the walk (target for a plan: 10 ms)")
    for repeats in (10, 100, 500):
        spent = median_ms(lambda n=repeats: (forget(), work(Ripple(repeats=n))))  # type: ignore[misc]
        lines.append(f"ripple of {repeats} repeats, caches empty: {spent:.2f} ms")
    return lines


if __name__ == "__main__":
    print("\n".join(report()))

"""Yarn used: speed of estimate and ledger, proof of scrap sharing, accuracy on told examples and simulated makers."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from fractions import Fraction

import numpy as np
from makers import KINDS
from makers import trial as trial_of_makers
from test_yardage_examples import (
    ITEMS,
    TEST_SEED,
    TUNING_SEED,
    USABLE,
    inside,
    maker_error,
    predicted,
    told,
)
from test_yardage_skeins import trial
from test_yardage_stash import scraps
from yardage_cases import Gauge, estimate, yarn

from blendplan.fabric.ripple import Ripple, work
from blendplan.stripes.model import StripeRule
from blendplan.yardage.ledger import keep_ledger
from blendplan.yardage.making import Making, Purchase, Weighed, Weighing
from blendplan.yardage.measured import AREA_CENTRAL
from blendplan.yardage.need import Supply, chance_short
from blendplan.yardage.scraps import share_scraps
from blendplan.yardage.strands import feed
from blendplan.yarn import PutUp

LEDGER_TUNING, LEDGER_TEST = 20, 7301
SCRAP_TUNING, SCRAP_TEST = (0, 1, 2, 3), (901, 902, 903, 904)


def median_ms(work: Callable[[], object], repeats: int = 9) -> float:
    """Return the median time of some work, milliseconds, after one run to warm up."""
    work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return 1000 * float(np.median(times))


def speed() -> list[str]:
    """Report times for 12 colours over 23 stripes of 140 rows, beside a plain sum over the same rows and strands."""
    names = [f"Y{i}" for i in range(12)]
    plan = StripeRule(order=tuple(names), solid_rows=8, blend_rows=4).expand()
    yarns = tuple(yarn(n, price="4.95") for n in names)
    worked, gauge = work(Ripple(repeats=12)), Gauge()
    need = estimate(plan, worked, gauge, yarns)

    def plain_sum() -> dict[str, float]:
        used: dict[str, float] = {}
        row = 0
        for stripe in plan:
            for _ in range(stripe.rows):
                for name in stripe.strands:
                    used[name] = used.get(name, 0.0) + need.rows_m[row]
                row += 1
        return used

    base = median_ms(plain_sum)
    told = Weighing(row=30, left=tuple(Weighed(yarn=n, grams=Fraction(160), answer="kept") for n in names[:3]))
    bought = tuple(Purchase(yarn=n, skeins=3) for n in names)
    making = Making(rows_done=30, purchases=bought, weighings=(told,))
    lines = [f"plain sum over rows and strands: {base:.3f} ms (baseline)"]
    for what, job in (
        ("estimate", lambda: estimate(plan, worked, gauge, yarns)),
        ("ledger while working", lambda: keep_ledger(plan, need, yarns, making)),
        ("skeins followed row by row", lambda: feed(plan, need, yarns)),
    ):
        ms = median_ms(job)
        lines.append(f"{what}: {ms:.2f} ms, {ms / base:.0f} x baseline (target for a plan update: 10 ms)")
    return lines


def sharing() -> list[str]:
    """Report proof and time of sharing 15 colours over 60 stripes, with yarn to spare and without."""
    lines = []
    for label, seeds in (("tuning", SCRAP_TUNING), ("test", SCRAP_TEST)):
        for fill in (0.9, 1.05):
            proven, gaps, seconds = 0, [], []
            for seed in seeds:
                yarns, rows, row_m = scraps(seed, 15, 60, fill)
                start = time.perf_counter()
                shared = share_scraps(yarns, rows, row_m)
                seconds.append(time.perf_counter() - start)
                proven += shared.exact
                gaps.append(shared.gap)
            lines.append(
                f"scraps, {label} seeds {seeds}, {fill:.0%} of the yarn asked for: proven {proven} of {len(seeds)}, "
                f"worst gap {100 * max(gaps):.1f} %, slowest {max(seconds):.1f} s (target: proven or 1 % in 5 s)"
            )
    return lines


def examples() -> list[str]:
    """Report the told examples: with the default constants, and each by the constant fitted without it."""
    errors, hits = [], 0
    for key in USABLE:
        value, _ = predicted(ITEMS[key])
        errors.append(abs(value / told(ITEMS[key]) - 1))
        hits += inside(ITEMS[key], value)
    by_area = [k for k in USABLE if predicted(ITEMS[k])[1] == "area"]
    constant = {k: AREA_CENTRAL * told(ITEMS[k]) / predicted(ITEMS[k])[0] for k in by_area}
    left_out, kept = [], 0
    for key in by_area:
        others = statistics.median(constant[k] for k in by_area if k.rstrip("abc") != key.rstrip("abc"))
        value, _ = predicted(ITEMS[key], others)
        left_out.append(abs(value / told(ITEMS[key]) - 1))
        kept += inside(ITEMS[key], value)
    return [
        f"told examples: {len(USABLE)} measurements usable of {len(ITEMS)} lines (25 items); {hits} inside 15 %, "
        f"median error {100 * statistics.median(errors):.1f} %, worst {100 * max(errors):.1f} % (targets: 90 %, 10 %)",
        f"left one out, area model: {kept} of {len(by_area)} inside 15 %, median error "
        f"{100 * statistics.median(left_out):.1f} %, worst {100 * max(left_out):.1f} %",
    ]


def makers() -> list[str]:
    """Report simulated makers with their own tension, with defaults and with rows weighed on a scale of 1 g."""
    lines = []
    for label, seed in (("tuning", TUNING_SEED), ("test", TEST_SEED)):
        for rows in (1, 3, 8):
            rng = np.random.default_rng(seed)
            got = np.array([maker_error(rng, rows) for _ in range(200)])
            default, weighed = np.abs(got[:, 0]), np.abs(got[:, 1])
            lines.append(
                f"makers, {label} seed {seed}, {rows} rows weighed: median error {100 * np.median(default):.1f} % by "
                f"default, {100 * np.median(weighed):.1f} % weighed; inside the range said: "
                f"{100 * np.mean(default < 0.15):.0f} %, {100 * np.mean(weighed < got[:, 2]):.0f} % (aims 10, 4 %)"
            )
    return lines


def weighers() -> list[str]:
    """Report simulated makers who weigh as they work: gross errors asked about, honest weighings asked about, needs."""
    lines = []
    for label, seed in (("tuning", LEDGER_TUNING), ("test", LEDGER_TEST)):
        for said, every in (("all colours begun", True), ("some colours only", False)):
            tallies = {
                kind: trial_of_makers(seed + i, 200, kinds=(kind,), all_colours=every) for i, kind in enumerate(KINDS)
            }
            caught = sorted((100 * t.caught / max(1, t.gross), kind, t.gross) for kind, t in tallies.items())
            share = 100 * sum(t.caught for t in tallies.values()) / sum(t.gross for t in tallies.values())
            false = 100 * sum(t.false for t in tallies.values()) / sum(t.honest for t in tallies.values())
            inside = 100 * sum(t.inside for t in tallies.values()) / sum(t.forecasts for t in tallies.values())
            worst = "; ".join(f"{kind} {got:.0f} % of {n}" for got, kind, n in caught)
            lines.append(
                f"weighers, {label} seed {seed}, {said}: {share:.1f} % of gross errors asked about (goal 95; {worst}), "
                f"{false:.1f} % of honest weighings (at most 3), need inside its spread {inside:.1f} % (goal 90)"
            )
    return lines


def risk() -> list[str]:
    """Report the closed-form chance of running short beside 200 000 trials."""
    band = PutUp(mass_g=100, length_m=200)
    worst = 0.0
    rng = np.random.default_rng(77)
    for skeins in (1, 2, 5, 17):
        for loss in (0.0, 16.0):
            for held in ((), (Fraction(30),)):
                supply = Supply(put_up=band, skeins=skeins, scatter=0.03, loss_m=loss, tails_m=0.3, parts_g=held)
                for factor in (0.85, 0.95):
                    need = factor * float(supply.nominal_m)
                    sd = 0.09 * need
                    worst = max(worst, abs(chance_short(need, sd, supply) - trial(rng, need, sd, supply)))
    return [f"chance of running short, closed form against trials: greatest difference {worst:.4f} over 32 cases"]


def report() -> list[str]:
    """Return the lines of the report."""
    return [*speed(), *examples(), *makers(), *weighers(), *risk(), *sharing()]


if __name__ == "__main__":
    print("\n".join(report()))

"""Time and size of the outputs of one plan, as ratios to drawing its picture in the same run."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from itertools import permutations
from pathlib import Path

from blankets import COLOURS, blanket

from blendplan.outputs.pdf import plan_pdf
from blendplan.outputs.render import plan_picture, plan_pixels
from blendplan.outputs.sheet import plan_html
from blendplan.outputs.tables import plan_json, rows_txt, stripes_csv
from blendplan.outputs.write import make_outputs
from blendplan.plan import make_plan
from blendplan.stripes.model import Stripe

ROUNDS = 3


def tall_use(rows: int = 5000) -> tuple[float, float]:
    """Plan and write as many one-row stripes as a blanket may have; return the process's seconds and peak in MB."""
    pairs = tuple(permutations(COLOURS, 2))
    stripes = tuple(Stripe(strands=pairs[i % len(pairs)], rows=1) for i in range(rows))
    make_outputs(make_plan(replace(blanket(*COLOURS), stripes=stripes)))
    # Not from getrusage, which counts the process this one was started from.
    status = Path("/proc/self/status").read_text()
    return time.process_time(), int(status.split("VmHWM:")[1].split()[0]) / 1024


def _best(work: Callable[[], object]) -> float:
    times = []
    for _ in range(ROUNDS):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def report() -> list[str]:
    """Return one line for each output."""
    plan = make_plan(blanket("Fern", "Clay", "Milk", "Night", "Plum", solid_rows=10, blend_rows=5))
    base = _best(lambda: plan_pixels(plan))
    lines = [f"baseline: the blanket drawn to fit 1600 x 1200 pixels, {base * 1000:.0f} ms of processor time"]
    outputs: dict[str, Callable[[], bytes]] = {
        "picture.png, legend and encoding": lambda: plan_picture(plan),
        "plan.pdf, A4, picture at 200 dpi": lambda: plan_pdf(plan),
        "plan.pdf without its picture (30 dpi)": lambda: plan_pdf(plan, dpi=30),
        "sheet.html": lambda: plan_html(plan).encode(),
        "plan.json, rows.txt, stripes.csv": lambda: plan_json(plan) + rows_txt(plan) + stripes_csv(plan),
    }
    for name, make in outputs.items():
        lines.append(f"{name}: {_best(make) / base:.2f} x baseline, {len(make()) / 1000:.0f} kB")
    done = subprocess.run(
        [sys.executable, "-c", "import bench_outputs as b; print(*b.tall_use())"],
        check=True,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    seconds, peak_mb = map(float, done.stdout.split())
    lines.append(f"5,000 one-row stripes, plan and all outputs: {seconds:.1f} s of processor time, {peak_mb:.0f} MB")
    return lines


if __name__ == "__main__":
    print("\n".join(report()))

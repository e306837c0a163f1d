"""Time and size of the outputs of one plan, as ratios to drawing its picture in the same run."""

from __future__ import annotations

import time
from collections.abc import Callable

from briefs import brief

from blendplan.outputs.pdf import plan_pdf
from blendplan.outputs.render import plan_picture, plan_pixels
from blendplan.outputs.sheet import plan_html
from blendplan.outputs.tables import plan_json, rows_txt, stripes_csv
from blendplan.plan import make_plan

ROUNDS = 3


def _best(work: Callable[[], object]) -> float:
    times = []
    for _ in range(ROUNDS):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def report() -> list[str]:
    """Return one line for each output."""
    plan = make_plan(brief("Fern", "Clay", "Milk", "Night", "Plum", solid_rows=10, blend_rows=5))
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
    return lines


if __name__ == "__main__":
    print("\n".join(report()))

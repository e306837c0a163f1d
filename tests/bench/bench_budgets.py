"""Nothing a project holds may make a command take over 10 s or 600 MB: projects at each budget and beyond it.

Each project is generated at the limit of one count, then at all of them together, then twice as large; every command
that reads a project runs on it in a process of its own.
"""

from __future__ import annotations

import json
import os
import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from blendplan import budgets

GOAL_S, GOAL_MB = 10.0, 600.0
COMMANDS = ("skeins", "plan", "order", "ledger")


def yarns(n: int, shades: int = 1, lots: int = 1, named: str = "Yarn") -> list[dict[str, Any]]:
    """Return yarns as a project file holds them."""
    dice = random.Random(n)

    def shade() -> dict[str, Any]:
        lab = [round(dice.uniform(15, 95), 2), round(dice.uniform(-40, 40), 2), round(dice.uniform(-40, 40), 2)]
        return {"lab": lab, "share": 1 / shades, "within": 3.0, "kind": "whole", "photo": "x"}

    return [
        {
            "name": f"{named} {i}", "key": f"{named} {i}", "shades": [shade() for _ in range(shades)],
            "grams": 100, "metres": 170 + i % 7, "weight_class": 4, "price": 4.5,
            "lots": [{"name": f"L{k}", "skeins": 1, "parts_g": [20] * 2} for k in range(lots)],
        }
        for i in range(n)
    ]  # fmt: skip


def project(stripes: int = 40, rows: int = 200, used: int = 12, shelf: int = 0, **more: Any) -> dict[str, Any]:
    """Return a project of so many stripes, rows and yarns; further entries by record."""
    own = yarns(used, more.pop("shades", 1), more.pop("lots", 1))
    keys = [yarn["key"] for yarn in own]
    share, rest = divmod(rows, stripes)
    worked = []
    for n in range(stripes):
        one, two = keys[(n + 1) // 2 % used], keys[n // 2 % used]
        worked.append({"strands": [one, two], "rows": share + (n < rest)})
    return {
        "format": "blendplan-project", "version": 2, "title": "Budget",
        "materials": {"yarns": own + yarns(shelf, named="Shelf"), **more.pop("materials", {})},
        "design": {
            "order": keys, "stripes": worked, "ripple": {"repeats": more.pop("repeats", 8)}, **more.pop("design", {})
        },
        **more,
    }  # fmt: skip


def making(used: int, rows: int, events: int) -> dict[str, Any]:
    """Return what happened, so many purchases, skeins opened, weighings and notes."""
    at = [rows * k // events for k in range(events)]
    return {
        "rows_done": rows // 2,
        "purchases": [{"yarn": f"Yarn {k % used}", "skeins": 1, "row": at[k] // 2} for k in range(events)],
        "opened": [{"yarn": f"Yarn {k % used}", "row": at[k] // 2} for k in range(events)],
        "weighings": [
            {"row": at[k] // 2, "left": [{"yarn": f"Yarn {k % used}", "grams": 400, "unopened": 3}]}
            for k in range(events)
        ],
        "notes": [{"row": at[k], "text": "x" * 500} for k in range(events)],
    }


def cases() -> Iterator[tuple[str, Callable[[], dict[str, Any]]]]:
    """Yield a project at each budget and one beyond it."""
    b = budgets
    for said, times in (("at", 1), ("beyond", 2)):
        rows, stripes, used = b.PLAN_ROWS * times, b.PLAN_STRIPES * times, b.PLAN_YARNS * times
        yield f"rows {said}", lambda r=rows: project(rows=r)
        yield f"stripes {said}", lambda s=stripes, r=rows: project(stripes=s, rows=r)
        yield f"yarns in use {said}", lambda u=used, s=stripes, r=rows: project(stripes=s, rows=r, used=u)
        yield f"shelf {said}", lambda t=times: project(used=12, shelf=b.MAX_YARNS * t - 12)
        yield (
            f"shades and lots {said}",
            lambda t=times: project(used=40, shades=b.MAX_SHADES, lots=b.MAX_LOTS * t, stripes=100),
        )
        yield f"events {said}", lambda t=times: project(making=making(12, 200, b.MAX_EVENTS * t))
        yield f"stitches {said}", lambda r=rows, t=times: project(
            rows=r, stripes=100, repeats=max(1, b.PLAN_STITCHES * t // (r * 15)),
            materials={"gauge": {"stitch_width_cm": 0.1, "row_height_cm": 0.3}},
        )  # fmt: skip
        yield (
            f"measured {said}",
            lambda t=times: project(
                materials={
                    "measured": [
                        {"kind": "rows", "grams": 50, "rows": 1, "strands": ["Yarn 0", "Yarn 1"]}
                        for _ in range(b.MAX_MEASURED * t)
                    ]
                }
            ),
        )
        yield f"all together {said}", lambda r=rows, s=stripes, u=used, t=times: project(
            rows=r, stripes=s, used=u, shelf=b.MAX_YARNS // 10 * t, shades=3, lots=4,
            making=making(u, r, b.MAX_EVENTS * t),
        )  # fmt: skip


def run(command: str, path: Path, folder: Path) -> tuple[float, float, int, str]:
    """Run a command; return seconds of processor time, MB at its height, its status and its last line of error."""
    args = [sys.executable, "-m", "blendplan", command, str(path)]
    args += ["--out", str(folder / "out")] if command == "plan" else ["--json"]
    told = folder / "told"
    start = time.perf_counter()
    with told.open("wb") as err, (folder / "printed").open("wb") as out:
        to = [(os.POSIX_SPAWN_DUP2, file.fileno(), number) for number, file in ((1, out), (2, err))]
        child = os.posix_spawn(sys.executable, args, os.environ, file_actions=to)
        _, status, used = os.wait4(child, 0)
    last = (told.read_text(encoding="utf-8", errors="replace").strip().splitlines() or [""])[-1]
    seconds = min(used.ru_utime + used.ru_stime, time.perf_counter() - start)
    return seconds, used.ru_maxrss / 1024, os.waitstatus_to_exitcode(status), last


def wide_shelf() -> str:
    """Return what a plan of two yarns costs on a shelf of ten thousand, against the two alone."""
    import tracemalloc

    import blendplan as bp

    shelf = tuple(
        bp.Yarn.from_hex(f"Yarn {i}", f"#{i * 7919 % 0xFFFFFF:06x}", grams=100, metres=170) for i in range(10_000)
    )
    bp.make_plan(shelf[5000:5002])
    took, peaks = [], []
    for n, among in ((0, False), (1, True)):
        first, last = shelf[n], shelf[-1 - n]
        design = bp.Design(order=(first.name, last.name), solid_rows=8)
        blanket = bp.Blanket(materials=bp.Materials(yarns=shelf if among else (first, last)), design=design)
        tracemalloc.start()
        begin = time.process_time()
        bp.make_plan(blanket)
        took.append(time.process_time() - begin)
        peaks.append(tracemalloc.get_traced_memory()[1] / 1e6)
        tracemalloc.stop()
    return (
        f"two yarns of a shelf of 10,000: {took[1] / took[0]:.1f} times the plan of the two alone "
        f"({took[1]:.2f} s, goal 0.3), {peaks[1]:.0f} MB (goal 30)"
    )


def report(only: str = "") -> list[str]:
    """Return the lines of the report, the worst of all last."""
    out = ["| project | command | s | MB | status | said |", "|---|---|---|---|---|---|"]
    worst_s = worst_mb = 0.0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for case, build in cases():
            if only not in case:
                continue
            path = folder / "p.json"
            path.write_text(json.dumps(build()), encoding="utf-8")
            for command in COMMANDS:
                seconds, mb, status, last = run(command, path, folder)
                worst_s, worst_mb = max(worst_s, seconds), max(worst_mb, mb)
                said = last[:150] if status else ""
                if status and case.endswith(" at"):
                    said = f"refused at its limit, so this measures nothing: {said}"
                out.append(f"| {case} | {command} | {seconds:.1f} | {mb:.0f} | {status} | {said} |")
                print(out[-1], file=sys.stderr, flush=True)
    out.append(f"worst: {worst_s:.1f} s (goal {GOAL_S:g}), {worst_mb:.0f} MB (goal {GOAL_MB:g})")
    out.append(wide_shelf())
    return out


if __name__ == "__main__":
    print("\n".join(report(" ".join(sys.argv[1:]))))

"""Touches, boxes and outlines: on real photographs, path-traced skeins and drawn scenes that nothing was set on.

Run as a script or through `report()`. The goals stand beside the figures; nothing here passes or fails.
Real yarn has no measured truth: a touch is held against the reader's own shade of the whole box drawn by hand.
Files of odd number served to choose, those of even number to judge.
"""

from __future__ import annotations

import csv
import os
import sys
import time
from collections import defaultdict
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT)]

import scenes  # noqa: E402

from blendplan.colour import delta_e_2000, lab_to_linear, linear_to_lab, srgb_to_linear  # noqa: E402
from blendplan.errors import PhotoError  # noqa: E402
from blendplan.photo import Place, load_photo, opened, read_photo, yarn_touched  # noqa: E402
from blendplan.photo.boxed import (  # noqa: E402
    apart,
    inside_box,
    off_the_ground,
)
from blendplan.photo.where import (  # noqa: E402
    box_of,
    grow,
    view_of,
)

SAMPLES = Path(os.environ.get("BLENDPLAN_SAMPLES", "/nonexistent"))
TOUCHES = max(2, round(5 * float(os.environ.get("BLENDPLAN_BENCH_SCALE", "1"))))
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


def _matched(one: np.ndarray, two: np.ndarray) -> float:
    """CIEDE2000 of two shades, CIELAB, once the first has the luminance of the second."""
    light, wanted = (np.clip(lab_to_linear(np.asarray(lab)), 1e-6, None) for lab in (one, two))
    return float(delta_e_2000(linear_to_lab(light * (wanted @ LUMINANCE) / (light @ LUMINANCE)), np.asarray(two)))


def _other_colour(linear: np.ndarray, box: np.ndarray) -> float:
    """Share of a patch's cells whose colour, at one lightness, is none of the box's."""
    mean = box.mean(axis=0)

    def off(cells: np.ndarray) -> np.ndarray:
        light = np.maximum(cells @ LUMINANCE, 1e-6)[:, None]
        return delta_e_2000(linear_to_lab(cells * (mean @ LUMINANCE) / light), linear_to_lab(mean))

    bright = linear @ LUMINANCE > 0.1 * mean @ LUMINANCE
    return float(((off(linear) > max(8.0, 1.25 * float(np.quantile(off(box), 0.99)))) & bright).mean())


def _real() -> list[str]:
    boxes = defaultdict(list)
    for row in csv.DictReader((SAMPLES / "yarns" / "boxes.csv").open()):
        if row["plain"] == "yes":
            boxes[row["file"]].append(tuple(int(row[k]) for k in ("left", "top", "right", "bottom")))
    rows = []
    for name, ones in boxes.items():
        photo = load_photo((SAMPLES / "yarns" / name).read_bytes(), name)
        view = view_of(photo)
        for at, box in enumerate(ones):
            whole = read_photo(photo, [Place(box=box, dyes=1)], white="off").yarns[0].shades[0].lab
            left, top, right, bottom = (round(v * view.scale) for v in box)
            cells = view.linear[top:bottom, left:right].reshape(-1, 3).astype(float)
            rng = np.random.default_rng([7, int(name[:2]), at])
            for _ in range(TOUCHES):
                spot = (int(rng.uniform(box[0], box[2])), int(rng.uniform(box[1], box[3])))
                start = time.perf_counter()
                try:
                    patch = off_the_ground(view, grow(view, [spot]))
                except PhotoError:
                    rows.append((int(name[:2]) % 2, 99.0, 99.0, 0.0, 0.0))
                    continue
                spent = time.perf_counter() - start
                lab = read_photo(photo, [Place(touches=(spot,), dyes=1)], white="off").yarns[0].shades[0].lab
                leak = _other_colour(view.linear[patch].astype(float), cells)
                rows.append(
                    (int(name[:2]) % 2, float(delta_e_2000(lab, whole)), _matched(lab, whole), leak, 1000 * spent)
                )
    lines = []
    for part, pick in (("judge", (0,)), ("chosen on", (1,)), ("all", (0, 1))):
        a = np.array([r[1:] for r in rows if r[0] in pick])
        lines.append(
            f"  {part:10s} {len(a)} touches: within 3 {np.mean(a[:, 0] < 3):.1%} (goal 75), "
            f"within 5 {np.mean(a[:, 0] < 5):.1%} (90), lightness matched {np.mean(a[:, 1] < 3):.1%} (97); "
            f"other colour {a[:, 2].mean():.2%} (.5), a tenth or more in {np.mean(a[:, 2] >= 0.1):.1%} (1); "
            f"{np.median(a[:, 3]):.0f} ms"
        )
    return lines


def _drawn(seed: int) -> list[str]:
    off, precise, held = [], [], []
    for index in range(8):
        scene = scenes.make_scene([seed, index], palette_seed=seed)
        photo = load_photo(scene.data, scene.name)
        view = view_of(photo)
        linear = srgb_to_linear(photo.srgb8 / 255)
        for truth in scene.yarns:
            cells = inside_box(view, truth.box)
            read = np.kron(cells, np.ones((view.block, view.block), dtype=bool))
            read = np.pad(read, [(0, n - m) for n, m in zip(truth.mask.shape, read.shape, strict=True)])
            precise.append(float(truth.area[read].mean()))
            held.append(float(read[truth.area].mean()))
            means = (linear_to_lab(linear[mask].mean(axis=0)) for mask in (read, truth.area))
            off.append(float(delta_e_2000(*means)))
    return [
        f"  seed {seed}: precision {np.mean(precise):.3f} (worst {min(precise):.2f}), recall {np.mean(held):.3f}; "
        f"mean light from that of the true area: mean {np.mean(off):.2f}, 95 % {np.quantile(off, 0.95):.2f}, "
        f"worst {max(off):.1f}"
    ]


def _path_traced() -> list[str]:
    overlaps = defaultdict(list)
    for row in csv.DictReader((SAMPLES / "hanks" / "truth.csv").open()):
        view = view_of(load_photo((SAMPLES / "hanks" / row["file"]).read_bytes(), row["file"]))
        regions, _ = apart(view)
        wanted = tuple(int(row[k]) for k in ("left", "top", "right", "bottom"))
        found = [scenes.overlap(wanted, box_of(view, region)) for region in regions]
        overlaps[row["shape"]].append((max(found, default=0.0), len(regions) == 1))
    worst_first = sorted(overlaps.items(), key=lambda item: min(v for v, _ in item[1]))
    return [
        f"  {shape:10s} box IoU mean {np.mean([v for v, _ in values]):.3f}, worst {min(v for v, _ in values):.2f} "
        f"(goal .85); one yarn in {np.mean([one for _, one in values]):.0%}"
        for shape, values in worst_first
    ]


def _answers() -> list[str]:
    """One touch after the other on the middle of each box of a real photograph that is held open."""
    boxes = defaultdict(list)
    for row in csv.DictReader((SAMPLES / "yarns" / "boxes.csv").open()):
        boxes[row["file"]].append(tuple(int(row[k]) for k in ("left", "top", "right", "bottom")))
    spent = []
    for name, ones in boxes.items():
        seen = opened(load_photo((SAMPLES / "yarns" / name).read_bytes(), name))
        read_photo(seen, [])
        places: list[Place] = []
        for left, top, right, bottom in ones:
            spot = ((left + right) // 2, (top + bottom) // 2)
            start = time.process_time()
            try:
                told = yarn_touched(seen, places, spot)
                if told.yarn is None:
                    read_photo(seen, [*places, Place(touches=(spot,))])
                    places.append(Place(touches=(spot,)))
            except PhotoError:
                continue
            spent.append(1000 * (time.process_time() - start))
    return [
        f"  a touch on a photo held open to the shade: median {np.median(spent):.0f} ms, 95 % "
        f"{np.quantile(spent, 0.95):.0f}, of {len(spent)} (goal 100 above idle, processor time)"
    ]


def report() -> list[str]:
    """Return the report, line by line."""
    lines = ["drawn skeins in their boxes:", *_drawn(100), *_drawn(907)]
    if SAMPLES.is_dir():
        lines += [
            "path-traced skeins found without a touch:",
            *_path_traced(),
            "touches on real yarn:",
            *_answers(),
            *_real(),
        ]
    return lines


if __name__ == "__main__":
    print("\n".join(report()))

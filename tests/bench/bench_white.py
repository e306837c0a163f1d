"""The white finder on scenes of its own: paper found and missed, what is taken for paper, and what is stated.

Three sets for each seed: all kinds of light and ground; bulbs, LED and fluorescent lamps alone; plain sheets of
a yarn's colour in the place of the paper. A scale of 5 or more draws all of them, less a thirteenth.
"""

from __future__ import annotations

import os
import sys
from contextlib import ExitStack
from pathlib import Path
from unittest.mock import patch

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT)]

import scenes  # noqa: E402
import scenes_light  # noqa: E402

from blendplan.colour import delta_e_2000  # noqa: E402
from blendplan.photo import load_photo, read_photo  # noqa: E402

SEEDS = {"tuning": 31000, "test": 32000}
SCALE = float(os.environ.get("BLENDPLAN_BENCH_SCALE", "1"))
LIGHTS = scenes.LIGHTS
TONES = scenes_light.TONES
WARM = (
    ("2700P",),
    ("2856P",),
    ("LED-B1", "LED-B2", "LED-V1", "LED-V2", "FL2", "FL11"),
    None,
    scenes_light.BROADBAND[:3],
)


def _all_kinds() -> list[dict]:
    """Arguments of scenes 0 to 259; the last 60 have no white."""
    plan: list[dict] = [{"ground": "paper", "encoding": ("jpeg", "png", "heic")[i % 3]} for i in range(45)]
    plan += [{"ground": "paper", "light": "led"}] * 35 + [{"ground": "paper", "light": "mixed"}] * 30
    plan += [{"ground": "card"}] * 15 + [{"ground": "card", "light": "led"}] * 8
    plan += [{"ground": "card", "light": "mixed"}] * 7
    plan += [{"ground": "paper", "tone": TONES[i % 5], "light": LIGHTS[i // 10]} for i in range(30)]
    plan += [{"ground": "paper", "only": "white", "yarns": 3, "light": LIGHTS[i // 5]} for i in range(15)]
    plan += [{"ground": "paper", "colours": 2 + i % 2, "yarns": 2} for i in range(15)]
    plan += [{"ground": ground, "light": LIGHTS[i % 3]} for ground in ("wood", "cloth") for i in range(18)]
    for ground, count in (("wood", 16), ("cloth", 8)):
        plan += [{"ground": ground, "only": ("white", "pastel")[i % 2], "light": LIGHTS[i % 3]} for i in range(count)]
    return plan


def _warm(k: int) -> tuple[dict, dict[str, object]]:
    """Arguments of scene k from 300 on, and the lamps it draws from."""
    light = ("broadband", "broadband", "led", "mixed", "broadband")[k % 5]
    lamps: dict[str, object] = {} if light == "mixed" else {"LEDS" if light == "led" else "BROADBAND": WARM[k % 5]}
    tone = (*("linear",) * 3, *TONES)[k % 8]
    ground = "card" if k % 11 == 0 else "paper"
    return {"ground": ground, "light": light, "tone": tone, "colours": 1 + (k % 6 == 0) + (k % 12 == 0)}, lamps


def _sheet(seed: int, k: int) -> tuple[dict, dict[str, object]]:
    """Arguments of scene k from 700 on, and the sheet that stands for its paper."""
    rng = np.random.default_rng([seed, k, 77])
    while True:
        spectrum = scenes_light.dyed(rng, ("pastel", "saturated", "muted")[k % 3])
        light, a, b = scenes_light.true_lab(spectrum)
        if np.hypot(a, b) > 12 and light > 35 and (k % 6 < 2 or b > 0.8 * abs(a)):
            break
    tone = (*("linear",) * 3, *TONES)[k % 8]
    return {"ground": "paper", "light": LIGHTS[k // 3 % 3], "tone": tone}, {"paper": lambda _: spectrum}


def _line(name: str, seed: int, jobs: list[tuple[int, dict, dict[str, object]]], sheet: bool = False) -> str:
    white = {"found": 0, "wanted": 0, "false": 0, "without": 0}
    read: list[tuple[float, bool]] = []
    blind: list[bool] = []
    for k, arguments, swapped in jobs:
        with ExitStack() as stack:
            for what, value in swapped.items():
                stack.enter_context(patch.object(scenes_light, what, value))
            scene = scenes.make_scene([seed, k], palette_seed=seed, **arguments)
        reading = read_photo(load_photo(scene.data, scene.name), boxes=[y.box for y in scene.yarns])
        has = scene.white_mask is not None and not sheet
        white["wanted" if has else "without"] += 1
        white["found" if has else "false"] += reading.white is not None
        for truth, yarn in zip(scene.yarns, reading.yarns, strict=True):
            apart = delta_e_2000(np.array([s.lab for s in yarn.shades])[:, None], truth.labs[None])
            for i, j in enumerate(apart.argmin(axis=0)):
                held = float(apart[j, i]) <= (yarn.shades[j].uncertainty or 0)
                if has or sheet:
                    read.append((float(apart[j, i]), held))
                if reading.white is None:
                    blind.append(held)
    return (
        f"  {name}: found {white['found']} of {white['wanted']}, false {white['false']} of {white['without']};"
        f" off by {np.mean([e for e, _ in read]):.2f}, p95 {np.quantile([e for e, _ in read], 0.95):.1f};"
        f" stated holds for {np.mean([h for _, h in read]):.1%} of {len(read)},"
        f" read without white for {np.mean(blind or [True]):.1%} of {len(blind)}"
    )


def report() -> list[str]:
    """Return the printed lines."""
    # 13 shares no factor with the turns of lamps, tones and kinds.
    step = 1 if SCALE >= 5 else 13
    lines = ["White paper: found, and taken for it (CIEDE2000; shades without paper count in the last figure only)."]
    for name, seed in SEEDS.items():
        warm, sheets = (range(300, 660), range(700, 850)) if name == "tuning" else (range(300, 480), range(700, 790))
        lines.append(f"{name} seed {seed}:")
        lines.append(_line("all kinds", seed, [(k, a, {}) for k, a in enumerate(_all_kinds())][::step]))
        lines.append(_line("warm lamps", seed, [(k, *_warm(k)) for k in warm[::step]]))
        lines.append(_line("coloured sheets", seed, [(k, *_sheet(seed, k)) for k in sheets[::step]], sheet=True))
    return lines


if __name__ == "__main__":
    print("\n".join(report()))

"""The white finder: sheets taken or asked about, what is taken that is no paper, and taps on true white believed.

Drawn scenes of seeds that took no part beside those of tuning, as they are and 1.2 stops darker, coloured sheets in the
place of paper, path-traced photographs (`BLENDPLAN_RENDERS`, a folder made by tests/render) and real ones
(`BLENDPLAN_SAMPLES`). The parts that took no part in tuning stand beside the others; in each line the worst part is
named first. A scale of 5 or more draws all scenes, less a thirteenth.
"""

from __future__ import annotations

import csv
import io
import os
import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from unittest.mock import patch

import numpy as np
from PIL import Image
from scipy.ndimage import binary_erosion

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT)]

import scenes  # noqa: E402
import scenes_light  # noqa: E402

from blendplan.colour import linear_to_srgb, srgb_to_linear  # noqa: E402
from blendplan.errors import PhotoError  # noqa: E402
from blendplan.photo import load_photo  # noqa: E402
from blendplan.photo.white import (  # noqa: E402
    believe,
    find_paper,
    shrink,
)

SEEDS = {"tuning": 71000, "unseen": 73000}
SCALE = float(os.environ.get("BLENDPLAN_BENCH_SCALE", "1"))
SAMPLES = Path(os.environ.get("BLENDPLAN_SAMPLES", "-"))
RENDERS = Path(os.environ.get("BLENDPLAN_RENDERS", "-"))
TONES = ("linear", "linear", *scenes_light.TONES)
# Looked at one by one: white grounds under the yarn of two photographs, a white table under a card, white patches of a
# card, a printed page, and a lit white wall.
REAL_WHITE = {
    "18-one-skein.jpg": (800, 100),
    "19-one-skein.jpg": (200, 200),
    "plantcv__colorchecker-classic-mini.jpg": (15, 200),
    "plantcv__classic.png": (55, 58),
    "plantcv__source_img_plant.jpg": (140, 120),
}
# In the last two the white is no sheet: a patch and a wall.
REAL_SHEETS = tuple(REAL_WHITE)[:3]
GREY_PATCH = 20
WHITE_PATCH = 19


@dataclass(slots=True)
class Tally:
    """What became of the sheets and of the photographs without one, by part."""

    sheets: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    others: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    taps: dict[str, list[bool]] = field(default_factory=lambda: defaultdict(list))

    def take(self, part: str, data: bytes, sheet: np.ndarray | None, lit: np.ndarray | None = None) -> None:
        """Look for paper in one photograph whose sheet is known, and point at two places of the sheet where it is lit.

        Nobody points at the very rim: the outer ten pixels are left out.
        """
        photo = load_photo(data, part)
        small = shrink(photo)
        paper = find_paper(small, photo.full_size)
        if sheet is None or not sheet.any():
            self.others[part].append("taken" if paper.taken else "asked" if paper.ask else "nothing")
            return
        right = [w for w in (paper.taken, *paper.ask) if w is not None and w.spot is not None and sheet[w.spot[::-1]]]
        self.sheets[part].append(
            ("taken" if paper.taken else "asked") if right else "wrong" if paper.taken else "missed"
        )
        spots = np.argwhere(binary_erosion(sheet if lit is None else lit, iterations=10))
        for row, column in spots[[len(spots) // 5, 3 * len(spots) // 4]] if len(spots) else ():
            if photo.srgb8[row, column].max() < 250:
                try:
                    white, _, _ = believe(photo, small, (float(column), float(row)))
                except PhotoError:
                    continue
                self.taps[part].append(white.confidence > 0.5)

    def lines(self, name: str) -> list[str]:
        """Return a line for what was tallied, the worst part first."""
        out = []
        if self.sheets:
            parts = {p: np.mean([v in ("taken", "asked") for v in vs]) for p, vs in self.sheets.items()}
            every = [v for vs in self.sheets.values() for v in vs]
            out.append(
                f"  {name}: taken or asked {np.mean([v in ('taken', 'asked') for v in every]):.1%} of {len(every)}"
                f" (taken {every.count('taken')}, missed {every.count('missed')}, wrong place {every.count('wrong')});"
                f" worst {_worst(parts)}"
            )
        if self.others:
            parts = {p: 1 - vs.count("taken") / len(vs) for p, vs in self.others.items()}
            every = [v for vs in self.others.values() for v in vs]
            out.append(
                f"  {name}, no white: taken {every.count('taken')} of {len(every)}, asked {every.count('asked')};"
                f" worst {_worst(parts)}"
            )
        if self.taps:
            parts = {p: np.mean(vs) for p, vs in self.taps.items()}
            every = [v for vs in self.taps.values() for v in vs]
            told = f"{name}, true white pointed at: believed {np.mean(every):.1%} of {len(every)}"
            out.append(f"  {told}; worst {_worst(parts)}")
        return out


def _worst(parts: dict[str, float]) -> str:
    few = sorted(parts.items(), key=lambda item: item[1])[:3]
    return ", ".join(f"{part} {share:.0%}" for part, share in few)


def _scenes(seed: int) -> Iterator[tuple[str, bytes, np.ndarray | None]]:
    """Drawn scenes: paper all over, a card, wood and cloth, each by three kinds of light and all tone curves."""
    for k in range(0, 240, 1 if SCALE >= 5 else 13):
        ground = ("paper", "card", "paper", "wood", "paper", "cloth")[k % 6]
        light = scenes.LIGHTS[k // 6 % 3]
        only = (None, "white", "pastel")[k // 18 % 3] if ground in ("wood", "cloth") else None
        scene = scenes.make_scene(
            [seed, k], palette_seed=seed, ground=ground, light=light, tone=TONES[k % 7], only=only
        )
        yield f"{ground} by {light}", scene.data, scene.white_mask


def _sheets(seed: int) -> Iterator[tuple[str, bytes, None]]:
    """A plain sheet of a yarn's colour under everything."""
    for k in range(0, 150, 1 if SCALE >= 5 else 13):
        rng = np.random.default_rng([seed, k, 77])
        kind = ("pastel", "saturated", "muted")[k % 3]
        while True:
            spectrum = scenes_light.dyed(rng, kind)
            lightness, a, b = scenes_light.true_lab(spectrum)
            if np.hypot(a, b) > 12 and lightness > 35 and (k % 6 < 2 or b > 0.8 * abs(a)):
                break
        with patch.object(scenes_light, "paper", lambda _, own=spectrum: own):
            light = scenes.LIGHTS[k // 3 % 3]
            scene = scenes.make_scene([seed, k], palette_seed=seed, ground="paper", light=light, tone=TONES[k % 7])
        yield kind, scene.data, None


def _darker(data: bytes, stops: float) -> bytes:
    linear = srgb_to_linear(np.asarray(Image.open(io.BytesIO(data)).convert("RGB")) / 255) * 2**stops
    out = io.BytesIO()
    Image.fromarray(np.rint(255 * linear_to_srgb(linear)).astype(np.uint8)).save(out, "JPEG", quality=90)
    return out.getvalue()


def _drawn() -> Iterator[str]:
    for name, seed in SEEDS.items():
        plain, dark, tinted = Tally(), Tally(), Tally()
        for part, data, sheet in _scenes(seed):
            plain.take(part, data, sheet)
            dark.take(part, _darker(data, -1.2), sheet)
        for part, data, _ in _sheets(seed):
            tinted.take(part, data, None)
        yield f"drawn, {name} seed {seed}:"
        yield from plain.lines("as drawn")
        yield from dark.lines("1.2 stops darker")
        yield from tinted.lines("coloured sheets")


def _traced() -> Iterator[str]:
    """Path-traced photographs; the split of their list leaves out shapes and lights."""
    by_split: dict[str, Tally] = {"tune": Tally(), "judge": Tally()}
    files = {}
    with (RENDERS / "truth.csv").open() as file:
        for row in csv.DictReader(file):
            files[row["file"]] = row
    for row in list(files.values())[:: 1 if SCALE >= 5 else 7]:
        mask = np.asarray(Image.open(RENDERS / row["mask"]))
        tally, data = by_split[row["split"]], (RENDERS / row["file"]).read_bytes()
        # 100 is paper, 101 paper in shadow; a sheet is pointed at where it is lit.
        tally.take(f"{row['ground']} by {row['light']}", data, (mask == 100) | (mask == 101), mask == 100)
    for split, tally in by_split.items():
        yield f"path-traced, {'tuning' if split == 'tune' else 'shapes and lights left out'}:"
        yield from tally.lines("path-traced")


def _hanks() -> Iterator[str]:
    found: dict[str, list[str]] = defaultdict(list)
    for path in sorted((SAMPLES / "hanks").glob("*.jpg"))[:: 1 if SCALE >= 5 else 7]:
        photo = load_photo(path.read_bytes(), path.name)
        paper = find_paper(shrink(photo), photo.full_size)
        found[path.stem.split("-")[1]].append("taken" if paper.taken else "asked" if paper.ask else "missed")
    every = [v for vs in found.values() for v in vs]
    parts = {p: np.mean([v != "missed" for v in vs]) for p, vs in found.items()}
    some = f"taken {every.count('taken')}, asked {every.count('asked')} of {len(every)}"
    yield f"  path-traced on paper all over: {some}; worst {_worst(parts)}"


def _real() -> Iterator[str]:
    taken, asked, found, believed = [], [], [], []
    files = sorted([*(SAMPLES / "yarns").glob("*.jpg"), *(SAMPLES / "photos").glob("*.[jp]*g")])
    for path in files:
        photo = load_photo(path.read_bytes(), path.name)
        small = shrink(photo)
        paper = find_paper(small, photo.full_size)
        if paper.taken is not None and path.name not in REAL_WHITE:
            taken.append(path.name)
        if paper.ask and path.name not in REAL_WHITE:
            asked.append(path.name)
        if path.name in REAL_SHEETS:
            found.append(paper.taken is not None or bool(paper.ask))
        if path.name in REAL_WHITE:
            believed.append(believe(photo, small, REAL_WHITE[path.name])[0].confidence > 0.5)
    yield f"  real, {len(files)} photographs: not white taken {len(taken)} {taken}, asked about {len(asked)} {asked};"
    yield f"    sheets taken or asked {sum(found)} of {len(found)}"
    yield f"    white pointed at believed {sum(believed)} of {len(believed)}"


def _cards() -> Iterator[str]:
    """The white patch of real cards pointed at, and the next grey as if it were white; by camera."""
    judged: dict[int, dict[str, list[bool]]] = {WHITE_PATCH: defaultdict(list), GREY_PATCH: defaultdict(list)}
    with (SAMPLES / "cards" / "patches.csv").open() as file:
        places = {
            (r["file"], int(r["patch"])): [int(r[k]) for k in ("left", "top", "right", "bottom")]
            for r in csv.DictReader(file)
        }
    for path in sorted((SAMPLES / "cards").glob("*.png")):
        photo = load_photo(path.read_bytes(), path.name)
        small = shrink(photo)
        left, top, right, bottom = places[path.name, WHITE_PATCH]
        if photo.srgb8[top:bottom, left:right].max() >= 250:
            continue
        for patch_number, by_camera in judged.items():
            left, top, right, bottom = places[path.name, patch_number]
            white, _, _ = believe(photo, small, ((left + right) / 2, (top + bottom) / 2))
            by_camera[path.name.split("-i")[0]].append(white.confidence > 0.5)
    for patch_number, name in ((WHITE_PATCH, "white patch believed"), (GREY_PATCH, "next grey doubted")):
        right = {p: [v == (patch_number == WHITE_PATCH) for v in vs] for p, vs in judged[patch_number].items()}
        every = [v for vs in right.values() for v in vs]
        worst = _worst({p: float(np.mean(vs)) for p, vs in right.items()})
        yield f"  real cards, {name}: {np.mean(every):.0%} of {len(every)}; worst {worst}"


def report() -> list[str]:
    """Return the printed lines."""
    lines = ["White paper: sheets taken or asked about, what is taken that is none, and taps on true white."]
    if SAMPLES.is_dir():
        lines += ["real (limits were set looking at these):", *_real(), *_cards(), *_hanks()]
    if RENDERS.is_dir():
        lines += _traced()
    return [*lines, *_drawn()]


if __name__ == "__main__":
    print("\n".join(report()))

"""Make `blendplan/picture/stitches.npz`: paths of the yarn, their frames, and the light of every place.

Usage: python tests/bake/run.py [OUT.npz]
The same numbers come out each time; it takes a few minutes.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

import light
import paths

# Chains stand free of rows above and below.
CHAINS_APART = 2.5
OUT = Path(__file__).parent.parent.parent / "blendplan" / "picture" / "stitches.npz"


def main(out: Path) -> None:
    """Write the file."""
    arrays = {}
    for kind, height in paths.HEIGHTS.items():
        for loops in ("both", "back"):
            points = paths.path_of(kind, back_loop=loops == "back")
            coefficients, beside = light.lit(points, height)
            name = f"{kind} {loops}"
            if name == "dc both":
                arrays["partner"] = beside.astype(np.float32)
            arrays[f"{name} points"] = np.column_stack([points, light.frames(points)[1]]).astype(np.float32)
            arrays[f"{name} light"] = coefficients.astype(np.float16)
            arrays[f"{name} seen"] = light.seen(points, height)
            print(name, len(points), coefficients.mean(axis=(0, 1)).round(3), beside.round(2), flush=True)
    points = paths.chain()
    arrays["ch both points"] = np.column_stack([points, light.frames(points)[1]]).astype(np.float32)
    arrays["ch both light"] = light.lit(points, CHAINS_APART)[0].astype(np.float16)
    arrays["ch both seen"] = np.ones((2, len(points)), dtype=bool)
    arrays["heights"] = np.array([paths.HEIGHTS[k] for k in ("sc", "hdc", "dc", "tr")], dtype=np.float32)
    np.savez_compressed(out, **arrays)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else OUT)

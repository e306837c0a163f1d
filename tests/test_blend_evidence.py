"""What the model and its thresholds rest on, worked out again: path-traced fabric, Munsell's renotation.

Path-traced double crochet (a physical renderer; twelve stitches by six rows, 70 px a stitch of 11 mm): one yarn, and
two rows each of one yarn, of both held together, of the other. The renotation: colour-science.
"""

from __future__ import annotations

import math
import warnings
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import gaussian_filter
from test_blend_strands import other_panels

from blendplan.blend.advice import Limits
from blendplan.blend.calibrate import Swatch, fit_swatches
from blendplan.blend.strands import LENT, MELTS_BELOW_LIGHTNESS, TONAL_BELOW, TWO_HUES_FROM, Viewing, blend_linear
from blendplan.colour import delta_e_2000, hex_to_lab, hex_to_linear, linear_to_lab, srgb_to_linear

PX_PER_CM = 70 / 1.1


def fabric(samples: Path, name: str) -> np.ndarray:
    path = samples / "fabric" / name
    if not path.is_file():
        pytest.skip("skipped: no path-traced fabric")
    with Image.open(path) as image:
        return srgb_to_linear(np.asarray(image.convert("RGB")) / 255)


def test_strands_melt_where_less_is_left_of_them_than_of_the_relief_of_one_yarn(samples: Path) -> None:
    light = fabric(samples, "flat-one.jpg")[170:700, 120:870]
    left = {}
    for from_m in (0.5, 2.0):
        px = from_m * 1.745 * PX_PER_CM / math.sqrt(2)
        seen = 0.921 / 1.026 * gaussian_filter(light, (0.0283 * px, 0.0283 * px, 0))
        seen += 0.105 / 1.026 * gaussian_filter(light, (0.133 * px, 0.133 * px, 0))
        left[from_m] = linear_to_lab(seen)[..., 0]
    low, high = np.percentile(left[2.0], [10, 90])
    print(f"relief of one yarn at 2 m: {high - low:.1f} in L* from 10 to 90 %, deviation {left[2.0].std():.1f}")
    assert high - low == pytest.approx(MELTS_BELOW_LIGHTNESS, abs=1)
    assert left[2.0].std() < TONAL_BELOW < left[0.5].std()


def test_hues_and_greys_of_the_renotation() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        colour = pytest.importorskip("colour")
        colours = {tuple(name): xyY for name, xyY in colour.MUNSELL_COLOURS["Munsell Colours Real"]}
        white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["C"]

        def lab(hue: str, value: float, chroma: float) -> np.ndarray:
            at = np.array(colours[(hue, value, chroma)]) * [1, 1, 0.01]
            return np.asarray(colour.XYZ_to_Lab(colour.xyY_to_XYZ(at), white))

        names = ("R", "YR", "Y", "GY", "G", "BG", "B", "PB", "P", "RP")
        apart = [
            float(delta_e_2000(lab(f"5{a}", 5.0, 6.0), lab(f"5{b}", 5.0, 6.0)))
            for a, b in zip(names, names[2:] + names[:2], strict=True)
        ]
        tinged = [
            float(np.hypot(*lab(f"{step}{name}", value, 2.0)[1:]))
            for name, step, value in product(names, ("2.5", "5", "7.5", "10"), (3.0, 4.0, 5.0, 6.0, 7.0, 8.0))
        ]
    assert np.mean(apart) == pytest.approx(TWO_HUES_FROM, abs=1)
    assert 1.5 / 2 * np.mean(tinged) == pytest.approx(Limits().grey_chroma, abs=0.5)


def test_a_path_traced_swatch_tells_the_far_end_and_the_share(samples: Path) -> None:
    """Its strands are the rows of each alone, its own rows both held together: read as a photograph reads, by light."""
    rows = fabric(samples, "flat-stripe.jpg")[:, 150:850]
    ochre, both, slate = (rows[a:b].mean(axis=(0, 1)) for a, b in ((72, 288), (336, 504), (576, 792)))
    strands = tuple(tuple(float(v) for v in linear_to_lab(light)) for light in (ochre, slate))
    lab = tuple(float(v) for v in linear_to_lab(both))
    got = fit_swatches([Swatch(name="traced", strands=strands, lab=lab, within=1.0)])  # type: ignore[arg-type]
    print(f"lent {got.lent:.3f} ({got.low:.2f} to {got.high:.2f}), shares {got.shares[0]}, residual {got.residual:.2f}")
    assert not got.refused and got.low <= LENT <= got.high and abs(got.shares[0][0] - 0.5) < 0.08
    before, after = (
        linear_to_lab(blend_linear([ochre, slate], viewing=Viewing(from_m=2.0, lent=lent))) for lent in (LENT, got.lent)
    )
    assert float(delta_e_2000(before, after)) < 1.0
    far = linear_to_lab(blend_linear([ochre, slate], got.shares[0], viewing=Viewing(from_m=math.inf, lent=got.lent)))
    assert float(delta_e_2000(far, lab)) < 1.0


def test_path_traced_panels_of_other_pairs_calibrate_each_other() -> None:
    """Far looks of fourteen pairs: what the others tell brings a left-out pair nearer than what is usual."""
    swatches: dict[str, list[Swatch]] = {}
    for row in other_panels():
        if row["seen_from_m"] == "far" and row["panel"] == "loops":
            strands = (tuple(hex_to_lab(row["strand_a"])), tuple(hex_to_lab(row["strand_b"])))
            lab = (float(row["L"]), float(row["a"]), float(row["b"]))
            made = Swatch(name=row["pair"], strands=strands, lab=lab, within=1.0)  # type: ignore[arg-type]
            swatches.setdefault(row["pair"], []).append(made)
    told, usual = [], []
    for pair, own in swatches.items():
        got = fit_swatches([s for other, many in swatches.items() if other != pair for s in many])
        assert not got.refused and 0.0 < got.lent <= 0.45
        for swatch in own:
            light = [hex_to_linear(row) for row in _codes(pair)]
            for lent, out in ((got.lent, told), (LENT, usual)):
                far = linear_to_lab(blend_linear(light, viewing=Viewing(from_m=math.inf, lent=lent)))
                out.append(float(delta_e_2000(far, swatch.lab)))
    for name, off in (("told by the others", told), ("as usual", usual)):
        print(f"left-out pairs, far end {name}: mean {np.mean(off):.2f}, worst {max(off):.2f}")
    assert np.mean(told) <= np.mean(usual) and max(told) <= 3.5


def _codes(pair: str) -> tuple[str, str]:
    row = next(r for r in other_panels() if r["pair"] == pair and r["panel"] == "loops")
    return row["strand_a"], row["strand_b"]

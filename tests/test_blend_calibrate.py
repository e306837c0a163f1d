"""Calibration: a swatch tells the visible share and the far end, and nothing else."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest
from blankets import blanket_of

from blendplan.blend.advice import nearest_blends
from blendplan.blend.calibrate import Swatch, fit_swatches, shares_told
from blendplan.blend.pair import blend_labs, draw_labs, mix_yarns, pair_labs
from blendplan.blend.strands import LENT, Viewing
from blendplan.colour import delta_e_2000, hex_to_lab, linear_to_lab, oklab_to_linear, srgb_to_linear
from blendplan.errors import BlendplanError, ColourError
from blendplan.outputs.render import swatch_pixels
from blendplan.record import read, to_plain
from blendplan.yarn import Shade, Yarn

DARK_LIGHT = ((25.0, 10.0, -30.0), (85.0, 2.0, 50.0))


def far(strands: object, shares: object = None, lent: float = LENT) -> tuple[float, ...]:
    return tuple(blend_labs(strands, shares, viewing=Viewing(from_m=math.inf, lent=lent)).tolist())  # type: ignore[arg-type]


def swatch(
    strands: tuple[tuple[float, float, float], ...] = DARK_LIGHT,
    name: str = "s",
    lent: float = LENT,
    seen: tuple[float, float] | None = None,
    **more: object,
) -> Swatch:
    """Return the swatch that strands make which lend so much light and show in such shares."""
    lab = far(strands, seen or more.get("shares"), lent)
    return Swatch(name=name, strands=strands, lab=lab, **more)  # type: ignore[arg-type]


def test_a_perfect_swatch_changes_nothing() -> None:
    for strands in (DARK_LIGHT, ((40.0, 20.0, 5.0), (62.0, -20.0, 15.0)), ((10.0, 0.0, 0.0), (92.0, 0.0, 0.0))):
        got = fit_swatches([swatch(strands, within=0.3)])
        assert got.lent == pytest.approx(LENT, abs=0.01) and got.shares[0] == pytest.approx((0.5, 0.5), abs=0.01)
        assert got.low <= LENT <= got.high and got.residual is not None and got.residual < 0.1


@pytest.mark.parametrize(
    "pair", [("1f3b73", "f2d16b"), ("3b2a20", "d8dcdd"), ("1f8f8f", "b4503c"), ("29292a", "dedcd6")]
)
def test_a_drawn_swatch_changes_nothing(pair: tuple[str, str]) -> None:
    """Its mean light, as a photograph has it, relief and all."""
    strands = [hex_to_lab(code) for code in pair]
    pixels, _ = swatch_pixels(
        [srgb_to_linear([int(c[i : i + 2], 16) / 255 for i in (0, 2, 4)]) for c in pair], (0.5, 0.5)
    )
    lab = linear_to_lab(srgb_to_linear(pixels / 255).mean(axis=(0, 1)))
    both = (tuple(strands[0]), tuple(strands[1]))
    drawn = Swatch(name="drawn", strands=both, lab=tuple(lab), within=1.0)  # type: ignore[arg-type]
    got = fit_swatches([drawn])
    print(f"{pair}: lent {got.lent:.3f}, shares {got.shares[0]}, residual {got.residual:.2f}")
    assert got.lent == pytest.approx(LENT, abs=0.03) and got.shares[0][0] == pytest.approx(0.5, abs=0.03)
    viewing, before = Viewing(lent=got.lent), blend_labs(strands)
    assert float(delta_e_2000(blend_labs(strands, viewing=viewing), before)) < 0.5


def test_path_traced_panels_give_the_far_end() -> None:
    """Far looks of panels (a physical renderer): pairs left out in turn are met by what the others tell."""
    path = Path(__file__).parent / "reference" / "strand_panels.csv"
    with path.open(encoding="utf-8") as file:
        rows = [r for r in csv.DictReader(x for x in file if not x.startswith("#")) if r["seen_from_m"] == "far"]
    made = [
        Swatch(
            name=row["pair"],
            strands=(tuple(hex_to_lab(row["strand_a"])), tuple(hex_to_lab(row["strand_b"]))),  # type: ignore[arg-type]
            lab=(float(row["L"]), float(row["a"]), float(row["b"])),
            within=1.0,
        )
        for row in rows
    ]
    errors = []
    for name in dict.fromkeys(s.name for s in made):
        got = fit_swatches([s for s in made if s.name != name])
        assert 0.28 <= got.lent <= 0.42 and not got.refused
        errors += [float(delta_e_2000(far(s.strands, None, got.lent), s.lab)) for s in made if s.name == name]
    print(f"left-out panels from the far end told by the others: mean {np.mean(errors):.2f}, worst {max(errors):.2f}")
    assert np.mean(errors) < 1.0 and max(errors) < 2.0


@pytest.mark.parametrize("lent", [0.2, 0.45])
def test_sure_swatches_find_another_far_end(lent: float) -> None:
    got = fit_swatches([swatch(name=str(i), lent=lent, within=0.3) for i in range(6)])
    assert got.lent == pytest.approx(lent, abs=0.03) and got.low - 0.01 <= lent <= got.high + 0.01


@pytest.mark.parametrize("share", [0.42, 0.57])
def test_the_visible_share_is_told_and_moves_nothing_else(share: float) -> None:
    got = fit_swatches([swatch(seen=(share, 1 - share), within=0.3)])
    assert got.shares[0][0] == pytest.approx(share, abs=0.02) and got.lent == pytest.approx(LENT, abs=0.05)


def test_a_told_share_is_that_of_its_pair_wherever_it_is_blended() -> None:
    """Chip, table of pairs and nearest blend go by it, whichever strand is named first; other pairs do not change."""
    shade = [Shade(lab=lab) for lab in (*DARK_LIGHT, (55.0, 30.0, 10.0))]
    dark, light, other = (Yarn(name=n, shades=(s,)) for n, s in zip(("Dark", "Light", "Other"), shade, strict=True))
    told = swatch(seen=(0.57, 0.43), within=0.3)
    seen = blanket_of(yarns=(dark, light, other), order=("Dark", "Light", "Other"), swatches=(told,))
    ((one, two, share),) = seen.viewing.shown
    assert (one, two) == ("Dark", "Light") and share == pytest.approx(0.57, abs=0.02)
    wanted = blend_labs(DARK_LIGHT, (share, 1 - share), viewing=seen.viewing)
    for pair in ((dark, light), (light, dark)):
        assert float(delta_e_2000(mix_yarns(pair, viewing=seen.viewing).lab, wanted)) < 1e-6
    table = pair_labs((light, other, dark), seen.viewing)
    assert float(delta_e_2000(table[0, 2], wanted)) < 1e-6 and float(delta_e_2000(table[2, 0], wanted)) < 1e-6
    plain = blend_labs([light.lab, other.lab], viewing=seen.viewing)
    assert float(delta_e_2000(table[0, 1], plain)) < 1e-6
    (match,) = nearest_blends(tuple(wanted.tolist()), (dark, light, other), viewing=seen.viewing, count=1)
    assert match.difference < 1e-6 and set(match.strands) == {"Dark", "Light"}
    # A yarn photographed since, of another shade, is not that strand.
    new = Yarn(name="Dark", shades=(Shade(lab=(35.0, 10.0, -30.0)),))
    assert fit_swatches([told]).used and shares_told([told], fit_swatches([told]), (new, light, other)) == ()


def test_shares_known_from_the_band_are_where_it_begins() -> None:
    got = fit_swatches([swatch(shares=(2.0, 1.0), within=0.3)])
    assert got.shares[0] == pytest.approx((2 / 3, 1 / 3), abs=0.01) and got.lent == pytest.approx(LENT, abs=0.01)


def test_the_interval_holds_what_it_says() -> None:
    """Far ends drawn as they are believed to lie, strands of random colours, read with the error that is told."""
    rng = np.random.default_rng(20260711)
    held, near, usual = [], [], []
    for _ in range(60):
        lent = float(np.clip(rng.normal(LENT, 0.08), 0.12, 0.58))
        light = oklab_to_linear(rng.uniform([0.2, -0.15, -0.15], [0.95, 0.15, 0.15], (60, 3)))
        labs = linear_to_lab(light[np.all((light > 0) & (light < 1), axis=1)])
        pairs = [p for p in labs[: len(labs) // 2 * 2].reshape(-1, 2, 3) if abs(p[0, 0] - p[1, 0]) > 30][:3]
        swatches = []
        for i, pair in enumerate(pairs):
            s = float(np.clip(rng.normal(0.5, 0.05), 0.3, 0.7))
            read = [draw_labs(x, 1.0, rng.standard_normal((1, 3)))[0] for x in (*pair, far(pair, (s, 1 - s), lent))]
            swatches.append(
                Swatch(name=str(i), strands=(tuple(read[0]), tuple(read[1])), lab=tuple(read[2]), within=1.0)  # type: ignore[arg-type]
            )
        got = fit_swatches(swatches)
        held.append(got.low <= lent <= got.high)
        near.append(abs(got.lent - lent))
        usual.append(abs(LENT - lent))
    print(f"90 % held {np.mean(held):.0%}; off by {np.mean(near):.3f}, uncalibrated {np.mean(usual):.3f}")
    assert np.mean(held) > 0.8 and np.mean(near) < np.mean(usual)


def test_swatches_that_cannot_be_used_are_named() -> None:
    poor = swatch(name="in lamp light", within=9.0)
    other = Swatch(name="another pair", strands=DARK_LIGHT, lab=(40.0, -50.0, 40.0))
    got = fit_swatches([poor, other])
    assert got.used == () and got.lent == pytest.approx(LENT) and got.residual is None
    reasons = {name: said.text for name, said in got.refused}
    assert "too unsure" in reasons["in lamp light"] and "anything these strands can make" in reasons["another pair"]
    assert sum("is not used" in said.text for said in got.notices) == 2


def test_no_swatches_at_all() -> None:
    got = fit_swatches([])
    assert got.lent == pytest.approx(LENT) and got.used == () and got.shares == () and got.residual is None


def test_a_swatch_without_both_its_strands_is_one_clear_line() -> None:
    with pytest.raises(ColourError, match="photograph it beside both its strands"):
        Swatch(name="alone", strands=((50.0, 0.0, 0.0),), lab=(50.0, 0.0, 0.0))


def test_a_swatch_is_kept_as_json() -> None:
    one = swatch(name="\u6bdb\u7cf8, \u00f1", shares=(0.4, 0.6), within=2.0)
    for kept in (one, swatch()):
        again = read(Swatch, json.loads(json.dumps(to_plain(kept), allow_nan=False)), "swatch", [])
        assert again == kept and fit_swatches([again]) == fit_swatches([kept])


@pytest.mark.parametrize(
    "broken",
    [
        {},
        {"name": "a"},
        {"name": "a", "strands": [[1, 2, 3]], "lab": [1, 2, 3]},
        {"name": "a", "strands": [[1, 2, 3], [1, 2]], "lab": [1, 2, 3]},
        {"name": "a", "strands": [[1, 2, 3], [1, 2, float("nan")]], "lab": [1, 2, 3]},
        {"name": "a", "strands": [["x", 2, 3], [1, 2, 3]], "lab": [1, 2, 3]},
        {"name": "a", "strands": [[1, 2, 3], [1, 2, 3]], "lab": [1, 2, 3], "shares": [1]},
        {"name": "a", "strands": [[1, 2, 3], [1, 2, 3]], "lab": [1, 2, 3], "within": -1},
        {"name": 7, "strands": [[1, 2, 3], [1, 2, 3]], "lab": [1, 2, 3]},
        "text",
        None,
    ],
)
def test_a_broken_stored_swatch_is_one_clear_line(broken: object) -> None:
    with pytest.raises(BlendplanError) as caught:
        read(Swatch, broken, "swatch", [])
    assert "\n" not in str(caught.value)

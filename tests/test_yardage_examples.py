"""Predicted against told: 25 worked examples of yarn used, and simulated makers who weigh rows.

The rule that lets an example in is stated in `usable` and looks at what is told, never at how it comes out.
Twenty-five items are told, eleven measurements of nine pieces can be used.
The constants of both models were once fitted to some of the same pieces, so the table alone shows that the program
does what the facts say; `test_left_one_out` fits the area constant without the piece it then predicts.
"""

from __future__ import annotations

import csv
import statistics
from pathlib import Path

import numpy as np
import pytest
from blankets import blanket_of
from blankets import yarn as wool
from yardage_cases import Gauge, Worked, estimate, stripes, yarn

from blendplan.fabric.gauge import M_PER_100_G
from blendplan.fabric.ripple import Ripple
from blendplan.plan import make_plan
from blendplan.stripes.model import Stripe
from blendplan.units import GRAMS_PER_OUNCE, METRES_PER_YARD
from blendplan.yardage.measured import (
    AREA_CENTRAL,
    DEFAULT_SPREAD,
    WEIGHED_SPREAD,
    YARN_PER_WIDTH,
    WeighedRow,
    area_working_m,
)
from blendplan.yardage.settings import YardageSettings

TABLE = Path(__file__).parent / "reference" / "yarn_used.csv"
LINES = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
ITEMS = {row["item"]: row for row in csv.DictReader(LINES)}


def usable(item: dict[str, str]) -> str:
    """Empty where the example can be tested, else what is missing. The rule, in this order:

    plain crochet (sc, hdc, dc or a ripple of them); graded A or B; the amount is of the piece, not of packs bought;
    yarn class told unless the amount is a length; and a way to predict: size and hook, or rows and their straight
    width.
    """
    if item["kind"] != "plain":
        return "not plain crochet"
    if item["grade"] == "C":
        return "graded C"
    if item["told_as"] == "bought":
        return "packs bought, not yarn used"
    if item["told_unit"] == "g" and not item["class"]:
        return "yarn class not told"
    by_area = item["width_cm"] and item["height_cm"] and item["hook_mm"]
    if not by_area and not (item["rows"] and item["row_cm"]):
        return "neither size and hook nor rows and width told"
    return ""


def working_m(item: dict[str, str], constant: float = AREA_CENTRAL) -> tuple[float, str]:
    """Metres of the strands counted once, by the area where size and hook are told, else by rows."""
    if item["width_cm"] and item["height_cm"] and item["hook_mm"]:
        area = float(item["width_cm"]) * float(item["height_cm"]) / 1e4
        return area_working_m(area, float(item["hook_mm"]), constant=constant), "area"
    return int(item["rows"]) * float(item["row_cm"]) / 100 * YARN_PER_WIDTH[item["stitch"]], "rows"


def predicted(item: dict[str, str], constant: float = AREA_CENTRAL) -> tuple[float, str]:
    metres, model = working_m(item, constant)
    if item["told_unit"] == "m":
        return metres, model
    return metres * int(item["strands"]) / M_PER_100_G[int(item["class"])] * 100, model


def told(item: dict[str, str]) -> float:
    return (float(item["told_low"]) + float(item["told_high"])) / 2


USABLE = [key for key, item in ITEMS.items() if not usable(item)]


def test_the_table_holds_all_25_items() -> None:
    assert {key.rstrip("abc") for key in ITEMS} == {str(n) for n in range(1, 26)}


def test_what_is_left_out_and_why() -> None:
    left_out = {key: usable(item) for key, item in ITEMS.items() if usable(item)}
    assert left_out == {
        "3": "not plain crochet",
        "10": "not plain crochet",
        "11": "not plain crochet",
        "12": "not plain crochet",
        "13": "not plain crochet",
        "15": "not plain crochet",
        "16": "not plain crochet",
        "17": "not plain crochet",
        "18": "not plain crochet",
        "19": "graded C",
        "20": "packs bought, not yarn used",
        "21": "not plain crochet",
        "22": "not plain crochet",
        "23": "not plain crochet",
        "24": "neither size and hook nor rows and width told",
        "25": "graded C",
    }


def inside(item: dict[str, str], value: float, spread: float = DEFAULT_SPREAD) -> bool:
    """The told amount, or some of its told range, lies within the spread of the prediction."""
    low, high = value * (1 - spread), value * (1 + spread)
    return low <= float(item["told_high"]) and float(item["told_low"]) <= high


def test_nine_in_ten_inside_the_spread_and_half_within_a_tenth() -> None:
    hits, errors = 0, []
    for key in USABLE:
        value, _ = predicted(ITEMS[key])
        hits += inside(ITEMS[key], value)
        errors.append(abs(value / told(ITEMS[key]) - 1))
    assert hits >= 0.9 * len(USABLE)
    assert statistics.median(errors) < 0.10


def test_left_one_out() -> None:
    """The area constant fitted to the other usable pieces (median) predicts each piece left out."""
    by_area = [k for k in USABLE if predicted(ITEMS[k])[1] == "area"]
    constant = {k: AREA_CENTRAL * told(ITEMS[k]) / predicted(ITEMS[k])[0] for k in by_area}
    hits, errors = 0, []
    for key in by_area:
        # The three squares are one maker's: all of them are left out together.
        others = [constant[k] for k in by_area if k.rstrip("abc") != key.rstrip("abc")]
        value, _ = predicted(ITEMS[key], statistics.median(others))
        hits += inside(ITEMS[key], value)
        errors.append(abs(value / told(ITEMS[key]) - 1))
    assert hits >= 0.9 * len(by_area)
    assert statistics.median(errors) < 0.10


def worked_whole(item: dict[str, str], *, hook: bool = True) -> float:
    """The amount by the whole path: gauge of class, hook and stitch, ripple, foundation and rows, to the told area."""
    wide, tall, weight = float(item["width_cm"]), float(item["height_cm"]), int(item["class"])
    strands, said = int(item["strands"]), {"order": ("Fern",), "width_cm": wide}
    if hook and item["hook_mm"]:
        said["hook_mm"] = float(item["hook_mm"])
    ripple = Ripple(stitch=item["stitch"], loops="back" if item["item"] == "6" else "both")
    of = (wool("Fern", grams=100, metres=M_PER_100_G[weight], weight_class=weight),)
    rows = 10
    for _ in range(2):
        worked = (Stripe(strands=("Fern",) * strands, rows=rows),)
        plan = make_plan(blanket_of(yarns=of, stripes=worked, ripple=ripple, **said))
        rows = max(1, round(tall / plan.size.rise_per_row_cm))
    colour = plan.yardage.colour("Fern")
    metres = (colour.need_m - colour.tails_m) * wide * tall / (plan.size.width_cm * plan.size.height_cm)
    return metres / strands if item["told_unit"] == "m" else metres / M_PER_100_G[weight] * 100


def test_the_whole_path_comes_within_the_spread_of_pieces_of_one_strand() -> None:
    """As a ripple on the hook that was told: nine in ten inside the spread, half within 4 %, and no lean either way.

    The one piece of two strands is told apart: its maker's own estimate of odd balls, and a shape that no flat double
    crochet has (trade facts, section 13); the plan takes a fifth more.
    """
    sized = [key for key in USABLE if ITEMS[key]["width_cm"] and ITEMS[key]["height_cm"]]
    errors = {key: worked_whole(ITEMS[key]) / told(ITEMS[key]) - 1 for key in sized}
    print({key: f"{error:+.1%}" for key, error in errors.items()})
    one = {key: error for key, error in errors.items() if ITEMS[key]["strands"] == "1"}
    assert set(errors) - set(one) == {"2"} and 0 < errors["2"] < 0.25
    assert sum(abs(error) <= DEFAULT_SPREAD for error in one.values()) >= 0.9 * len(one)
    assert statistics.median(abs(error) for error in one.values()) < 0.04
    assert abs(statistics.mean(one.values())) < 0.04
    # Single crochet through the back loops is the lowest.
    assert min(one, key=lambda key: one[key]) == "6"
    # Without the hook the usual one of the class is larger than those that most of these makers took, so it is less.
    assert all(worked_whole(ITEMS[key], hook=False) < worked_whole(ITEMS[key]) for key in one if ITEMS[key]["hook_mm"])


# Published totals for a size, yards of one strand (trade facts, section 4f, loose and graded C).
TOTALS = [(30, 40, 900, 1200), (36, 48, 1000, 1500), (50, 60, 1000, 3300), (90, 100, 2000, 8000)]


@pytest.mark.parametrize(("wide", "tall", "low", "high"), TOTALS)
def test_published_totals_of_medium_hold_on_their_hook(wide: int, tall: int, low: int, high: int) -> None:
    inch = 2.54
    item = {"width_cm": wide * inch, "height_cm": tall * inch, "class": 4, "strands": 1, "hook_mm": 5.5}
    metres = worked_whole({**item, "stitch": "dc", "told_unit": "m", "item": ""})  # type: ignore[dict-item]
    assert low <= metres / float(METRES_PER_YARD) <= high


@pytest.mark.parametrize("key", ["4"])
def test_row_and_area_model_on_the_piece_that_tells_both(key: str) -> None:
    item = ITEMS[key]
    by_area, _ = working_m(item)
    by_rows = int(item["rows"]) * float(item["row_cm"]) / 100 * YARN_PER_WIDTH["dc"]
    assert by_rows / by_area == pytest.approx(1, abs=DEFAULT_SPREAD)


def test_two_rows_of_165_from_fifty_yards() -> None:
    # Item 8 also tells 50 yd for two rows of 165 dc at 3 dc an inch: 13.9 cm a stitch; the model says 13.9.
    told_cm = 50 * float(METRES_PER_YARD) * 100 / (2 * 165)
    assert YARN_PER_WIDTH["dc"] * 2.54 / 3 == pytest.approx(told_cm, rel=DEFAULT_SPREAD)


def test_a_repeat_of_22_from_a_yard_and_a_quarter() -> None:
    # Item 9: 1.25 yd for 22 sc at 4 an inch: 5.2 cm a stitch; the model says 5.2.
    told_cm = 1.25 * float(METRES_PER_YARD) * 100 / 22
    assert YARN_PER_WIDTH["sc"] * 2.54 / 4 == pytest.approx(told_cm, rel=0.03)


def test_samplers_of_one_density_are_linear_in_area() -> None:
    # Items 10 and 11: one maker, one fabric, two sizes; both are 763 g a square metre, so yarn goes with the area.
    density = []
    for key in ("10", "11"):
        area = float(ITEMS[key]["width_cm"]) * float(ITEMS[key]["height_cm"]) / 1e4
        density.append(told(ITEMS[key]) / area)
        assert told(ITEMS[key]) == pytest.approx({"10": 30, "11": 50}[key] * float(GRAMS_PER_OUNCE), abs=0.05)
    assert density[0] == pytest.approx(density[1], rel=1e-3) and density[0] == pytest.approx(763, abs=0.5)


# ---- simulated makers: their own tension, chain and scatter, a scale of 1 g

TUNING_SEED, TEST_SEED = 20, 7301
PLAN = stripes(("AA", 6), ("AB", 4), ("BB", 6))


def maker_error(rng: np.random.Generator, weighed_rows: int) -> tuple[float, float, float]:
    """Relative errors of the estimate with defaults and once rows are weighed, and the spread claimed."""
    density = float(rng.uniform(1.5, 2.6))
    yarns = tuple(yarn(n, grams=100, metres=round(100 * density)) for n in "AB")
    gauge, worked = Gauge(stitch_width_cm=float(rng.uniform(0.7, 1.1))), Worked(repeats=int(rng.integers(5, 13)))
    default = estimate(PLAN, worked, gauge, yarns)
    # Truth: a maker uses her own multiple of the usual yarn (log-normal, 9 % as the default's spread says); tension
    # wanders from row to row (3 %) and slowly over the blanket (a drift of up to 4 % from start to end).
    own = float(np.exp(rng.normal(0, 0.09)))
    rows = np.array(default.rows_m) * own * np.exp(rng.normal(0, 0.03, len(default.rows_m)))
    rows *= 1 + float(rng.normal(0, 0.02)) * np.linspace(0, 2, len(rows))
    truth = 2 * (rows.sum() + default.foundation_m * own)
    g_per_m = 2 * 100 / round(100 * density)
    # The ball is read before and after, each time rounded to the gram.
    before = float(rng.uniform(80, 100))
    grams = round(before) - round(before - rows[1 : 1 + weighed_rows].sum() * g_per_m)
    weighed = WeighedRow(grams=max(grams, 1), rows=weighed_rows, strands=("A", "A"))
    better = estimate(PLAN, worked, gauge, yarns, YardageSettings(measured=(weighed,)))
    return 2 * default.working_m / truth - 1, 2 * better.working_m / truth - 1, better.relative_spread


@pytest.mark.parametrize("seed", [TEST_SEED, TEST_SEED + 1])
def test_makers_who_weigh_rows(seed: int) -> None:
    rng = np.random.default_rng(seed)
    results = np.array([maker_error(rng, weighed_rows=3) for _ in range(300)])
    default, weighed, spread = np.abs(results[:, 0]), np.abs(results[:, 1]), results[:, 2]
    assert np.median(default) < 0.10
    assert np.median(weighed) < 0.04
    assert np.mean(default < DEFAULT_SPREAD) > 0.85
    # The range claimed is a 90 % range: it holds at least that often, and is not so wide as to say nothing.
    assert np.mean(weighed < spread) > 0.88
    assert np.median(spread) < 0.08 and np.all(spread > WEIGHED_SPREAD)

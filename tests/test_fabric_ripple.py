"""Ripples: chain and stitches come from rows worked stitch by stitch."""

from __future__ import annotations

import csv
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.errors import BlendplanError, FabricError
from blendplan.fabric.ripple import (
    EDGES,
    PEAKS,
    STITCHES,
    VALLEYS,
    Ripple,
    check_stated,
    repeats_of_chain,
    work,
)
from blendplan.fabric.rows import Part, Row, Step, foundation, turned, work_row
from blendplan.fabric.shapes import KINDS

COUNTS = Path(__file__).parent / "reference" / "ripple_counts.csv"


def published() -> list[dict[str, str]]:
    lines = [line for line in COUNTS.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def chosen(row: dict[str, str]) -> Ripple:
    return Ripple(
        kind=row["kind"],
        stitch=row["stitch"],
        slope=row["slope"],
        peak=row["peak"],
        valley=row["valley"],
        edge=row["edge"],
        repeats=row["repeats"],
        selvedge=row["selvedge"] or None,
        first_edges=row["first_edges"] == "yes",
        turning_chains=row["turning_chains"] or None,
        crest=row["crest"],
    )


def walk(ripple: Ripple, rows: int) -> list[int]:
    """Return the stitches of each row, worked stitch by stitch from the foundation."""
    worked = work(ripple)
    places = foundation(worked.rows[0].taken)
    counts = []
    for number in range(1, rows + 1):
        places = work_row(worked.row_at(number), turned(places))
        counts.append(len(places))
    return counts


def test_default_is_the_common_slope_of_seven() -> None:
    # common practice, no source: 131 chains give 8 repeats; turning chain 1, double crochets 113, chains 14
    worked = work(Ripple())
    assert (worked.chain, worked.row_places, worked.multiple, worked.plus) == (131, 128, 16, 3)
    assert worked.repeat.tally == worked.first.tally == {"tch": 1, "dc": 113, "ch": 14}
    assert worked.closes
    assert walk(Ripple(), 30) == [128] * 30


@pytest.mark.parametrize("row", published(), ids=lambda row: f"{row['printed_rule']}:{row['printed_n']}")
def test_published_chains_come_out_of_the_simulation(row: dict[str, str]) -> None:
    ripple = chosen(row)
    worked = work(ripple)
    assert (worked.multiple, worked.plus) == (int(row["multiple"]), int(row["plus"]))
    if row["printed_chain"]:
        assert worked.chain == int(row["printed_chain"])
    assert walk(ripple, 6) == [worked.row_places] * 6


def test_all_eleven_published_rules_are_there() -> None:
    assert len({row["printed_rule"] for row in published()}) == 11


def test_multiples_of_a_published_list() -> None:
    # trade facts, section 6a, read Nov 2026: multiples 11, 13, ... 23 for slopes 4 to 10
    got = [work(Ripple(stitch="sc", peak="three-in-one", edge="half-valley", slope=s)).multiple for s in range(4, 11)]
    assert got == [11, 13, 15, 17, 19, 21, 23]


def test_the_trap_of_fourteen_plus_three() -> None:
    # trade facts, sections 6a and 12, read Nov 2026: a page states 14 + 3, its printed row uses 7 + 1 + 7 + 2 = 17
    worked = work(Ripple(slope=7, peak="three-in-one"))
    with pytest.raises(FabricError, match=r"a multiple of 14 is stated, but each repeat of this row uses 17"):
        check_stated(worked, 14, 3)
    check_stated(worked, 17, worked.plus)
    with pytest.raises(FabricError, match=r"\+4 is stated beside the multiple of 17"):
        check_stated(worked, 17, 4)


shapes = st.builds(
    Ripple,
    kind=st.sampled_from(KINDS),
    stitch=st.sampled_from(STITCHES),
    slope=st.integers(1, 20),
    peak=st.sampled_from(PEAKS),
    valley=st.sampled_from(VALLEYS),
    edge=st.sampled_from(EDGES),
    repeats=st.integers(1, 30),
    turning_counts=st.none() | st.booleans(),
    turning_chains=st.none() | st.integers(1, 6),
    selvedge=st.none() | st.integers(0, 4),
    crest=st.integers(0, 4),
    foot=st.sampled_from(("auto", "shared", "own")),
    first_edges=st.booleans(),
    setup=st.booleans(),
)


@settings(max_examples=300)
@given(shapes, st.integers(1, 9))
def test_every_accepted_ripple_closes_and_every_refusal_says_what_works(ripple: Ripple, rows: int) -> None:
    try:
        worked = work(ripple)
    except FabricError as error:
        assert "nearest that works" in str(error) or "use half-peak" in str(error)
        return
    assert worked.closes
    counts = walk(ripple, rows)
    if ripple.setup:
        assert counts.pop(0) == worked.first.taken
    assert counts == [worked.row_places] * len(counts)
    # the rule says what a chain of this many repeats is, and the chain gives the repeats back
    assert worked.chain == worked.multiple * ripple.repeats + worked.plus
    assert repeats_of_chain(ripple, worked.chain) == ripple.repeats


@given(shapes)
def test_the_advice_of_a_refusal_works(ripple: Ripple) -> None:
    for _ in range(3):
        try:
            assert work(ripple).closes
            return
        except FabricError as error:
            text = str(error)
        if "use half-peak" in text:
            ripple = replace(ripple, edge="half-peak")
        else:
            advice = text.split("the nearest that works is ", 1)[1].rstrip(".").split(" ")
            if advice[1] == "longer":
                ripple = replace(ripple, slope=ripple.slope + int(advice[0]))
            else:
                ripple = replace(ripple, peak=advice[0], valley=advice[2])
    assert work(ripple).closes


def test_parts_and_stitch_by_stitch_agree() -> None:
    for row in published():
        for kind in work(chosen(row)).rows:
            steps = list(kind.walk())
            assert sum(s.taken for s in steps) == kind.taken
            assert sum(s.made for s in steps) == kind.made


@given(shapes, st.integers(0, 12))
def test_a_tally_of_rows_is_the_sum_of_their_stitches(ripple: Ripple, rows: int) -> None:
    try:
        worked = work(ripple)
    except FabricError:
        return
    total = sum((worked.row_at(n).tally for n in range(1, rows + 1)), Counter[str]())
    assert +worked.tally(rows) == total


def test_a_chain_that_does_not_fit_names_its_neighbours() -> None:
    assert repeats_of_chain(Ripple(), 131) == 8
    with pytest.raises(FabricError, match=r"181 chains .* 179 \(11 repeats\) and 195 \(12 repeats\)"):
        repeats_of_chain(Ripple(), 181)
    with pytest.raises(FabricError, match=r"nearest that work are 19 \(1 repeats\)"):
        repeats_of_chain(Ripple(), 2)


@pytest.mark.parametrize(
    ("change", "advice"),
    [
        ({"valley": "skip-1"}, "nearest that works is chain-2 with skip-2"),
        ({"valley": "two-together", "peak": "three-in-one"}, "nearest that works is three-in-one with three-together"),
        ({"peak": "two-in-one", "valley": "skip-2"}, "nearest that works is three-in-one with skip-2"),
        ({"edge": "plain"}, r"change every row by -2, because 8 hollows meet only 7 points; use half-peak"),
        ({"slope": 1, "foot": "own"}, "nearest that works is 1 longer"),
    ],
)
def test_impossible_choices_are_explained(change: dict[str, str], advice: str) -> None:
    with pytest.raises(FabricError, match=advice):
        work(Ripple(**change))


@pytest.mark.parametrize(
    "bad",
    [
        {"slope": 0},
        {"slope": "nan"},
        {"slope": None},
        {"slope": 2.5},
        {"repeats": -3},
        {"repeats": 10**9},
        {"peak": "moon"},
        {"stitch": "xx"},
        {"turning_chains": 0},
        {"crest": -1},
        {"turning_counts": "yes"},
        {"setup": 1},
    ],
)
def test_bad_numbers_and_names_are_one_clear_line(bad: dict[str, object]) -> None:
    with pytest.raises(BlendplanError) as caught:
        work(Ripple(**bad))
    assert "\n" not in str(caught.value)
    assert "allowed" in str(caught.value) or "choose one" in str(caught.value) or "write it" in str(caught.value)


def row_of(*steps: Step) -> Row:
    return Row(name="repeat", parts=(Part(steps=steps),))


def test_the_walk_refuses_stitches_over_a_space_and_a_space_that_is_not_there() -> None:
    peak = Step(kind="group", stitches=("dc", "ch", "ch", "dc"), takes=2, into_space=True)
    with pytest.raises(FabricError, match="not where the point is"):
        work_row(row_of(peak), foundation(2))
    below = work_row(row_of(Step(kind="chain", count=2)), ())
    with pytest.raises(FabricError, match="not where the point is"):
        work_row(row_of(Step(kind="each", stitch="dc", count=2)), below)
    assert len(work_row(row_of(peak), below)) == 4
    with pytest.raises(FabricError, match="1 are left over"):
        work_row(row_of(Step(kind="each", stitch="dc", count=2)), foundation(3))
    with pytest.raises(FabricError, match="asks for 4 stitches and 3 are there"):
        work_row(row_of(Step(kind="each", stitch="dc", count=4)), foundation(3))


def test_a_point_beside_the_point_below_drifts_and_is_refused() -> None:
    three = Step(kind="group", stitches=("dc",) * 3, takes=1)
    below = work_row(row_of(Step(kind="each", stitch="dc", count=2), three), foundation(3))
    with pytest.raises(FabricError, match="the points would drift"):
        work_row(row_of(Step(kind="skip", count=2), three, Step(kind="each", stitch="dc", count=2)), below)
    assert work_row(row_of(Step(kind="skip", count=3), three, Step(kind="each", stitch="dc", count=1)), below)


def test_turning_chains_as_the_trade_has_them() -> None:
    # trade facts, section 3, read Nov 2026: 1, 2, 3, 4 for sc, hdc, dc, tr; sc does not count, dc and tr do
    rows = [work(Ripple(stitch=s)).repeat for s in ("sc", "hdc", "dc", "tr")]
    assert [r.turning_chains for r in rows] == [1, 2, 3, 4]
    assert [r.parts[0].steps[0].stands for r in rows] == [False, True, True, True]


def test_rows_of_heights_alternate() -> None:
    worked = work(Ripple(kind="heights", slope=4, repeats=3))
    low, high = worked.row_at(3), worked.row_at(2)
    assert worked.row_at(1).tally["sc"] == low.tally["sc"] == high.tally["tr"] + high.tally["tch"]
    assert low.turning_chains == 1
    assert high.turning_chains == 4
    assert walk(worked.ripple, 5) == [25] * 5


def test_a_setup_row_of_single_crochet() -> None:
    worked = work(Ripple(setup=True))
    # 128 single crochets and one chain to turn; the ripple rows are the same as without it
    assert (worked.chain, worked.multiple, worked.plus) == (129, 16, 1)
    assert worked.row_at(1).tally == {"tch": 1, "sc": 128}
    assert worked.row_at(2).made == worked.row_at(3).made == worked.row_places == 128
    assert worked.repeat == work(Ripple()).repeat
    assert [worked.row_at(n) for n in range(1, 6)] == [worked.rows[i] for i in (0, 1, 2, 2, 2)]

"""Written rows: what is printed is read back and counted; diagram, finishing and cautions."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blendplan.errors import FabricError
from blendplan.fabric.cautions import cautions
from blendplan.fabric.diagram import diagram_svg
from blendplan.fabric.finish import Border, border_rounds, level_row
from blendplan.fabric.gauge import default_gauge
from blendplan.fabric.reading import check_rule, read_row, read_rows
from blendplan.fabric.ripple import Ripple, Worked, work
from blendplan.fabric.simulate import foundation, turned, work_row
from blendplan.fabric.terms import UK, abbreviation
from blendplan.fabric.written import change_words, write_rows
from blendplan.stripes.model import Stripe, changes
from blendplan.stripes.sequence import Sequence

GAUGE = default_gauge(4)
ripples = st.builds(
    Ripple,
    kind=st.sampled_from(("point", "wave", "heights")),
    stitch=st.sampled_from(("sc", "hdc", "dc", "tr")),
    slope=st.integers(3, 14),
    peak=st.sampled_from(("chain-1", "chain-2", "three-in-one")),
    valley=st.sampled_from(("skip-2", "three-together", "skip-1-each-side")),
    edge=st.sampled_from(("half-peak", "half-valley")),
    repeats=st.integers(1, 12),
    turning_counts=st.none() | st.booleans(),
    selvedge=st.none() | st.integers(0, 3),
    crest=st.integers(0, 3),
    foot=st.sampled_from(("auto", "shared", "own")),
    first_edges=st.booleans(),
    loops=st.sampled_from(("both", "back")),
    setup=st.booleans(),
)


@given(ripples, st.sampled_from(("US", "UK")))
def test_the_printed_rows_read_back_are_the_worked_rows(ripple: Ripple, terms: str) -> None:
    worked = work(ripple)
    read = read_rows(write_rows(ripple, worked, (), terms=terms).text())
    assert read.terms == terms
    assert read.chain == worked.chain
    assert read.recount() == tuple(row.made for row in worked.rows)
    for (_, got), row in zip(read.rows, worked.rows, strict=True):
        assert got.tally == row.tally
        assert got.turning_chains == row.turning_chains


@given(ripples)
def test_us_and_uk_name_the_same_stitches(ripple: Ripple) -> None:
    worked = work(ripple)
    us, uk = (read_rows(write_rows(ripple, worked, (), terms=terms).text()) for terms in ("US", "UK"))
    assert us.rows == uk.rows


def test_terms_of_the_trade() -> None:
    # trade facts, section 7, read Nov 2026
    assert [abbreviation(s, "UK") for s in ("ch", "sl st", "sc", "hdc", "dc", "tr")] == [
        "ch",
        "ss",
        "dc",
        "htr",
        "tr",
        "dtr",
    ]
    assert len(set(UK.values())) == len(UK)


def test_a_wrong_count_or_stitch_in_the_text_is_found() -> None:
    text = write_rows(Ripple(), work(Ripple()), ()).text()
    with pytest.raises(FabricError, match="row 2 says 129 stitches and has 128"):
        read_rows(text.replace("2 dc in last st, turn. \u2014 128", "2 dc in last st, turn. \u2014 129")).recount()
    with pytest.raises(FabricError, match="not where the point is"):
        read_rows(text.replace("dc in next 6 sts, (dc", "dc in next 5 sts, (dc")).recount()
    with pytest.raises(FabricError, match="left over"):
        read_rows(text.replace("Foundation: ch 131", "Foundation: ch 132")).recount()
    with pytest.raises(FabricError, match="not a phrase"):
        read_row("dance in next st")
    with pytest.raises(FabricError, match="does not say its terms"):
        read_rows("Row 1: nothing")


def test_the_printed_trap_row_uses_seventeen() -> None:
    # trade facts, section 6a: "14 + 3" is stated, the first row printed with it uses 7 + 1 + 7 + 2
    row = read_row("*dc in next 7 ch, 3 dc in next ch, dc in next 7 ch, skip next 2 ch; rep from * 7 more times")
    with pytest.raises(FabricError, match="stated multiple is 14, and the row itself uses 17"):
        check_rule(row, 14)
    check_rule(row, 17)


def test_every_row_of_the_blanket_is_on_the_counter_with_its_changes() -> None:
    stripes = Sequence(order=("Fern", "Clay", "Straw"), solid_rows=3, blend_rows=1).expand()
    written = write_rows(Ripple(), work(Ripple()), stripes)
    assert [row.number for row in written.counter] == list(range(1, 12))
    assert [row.stripe for row in written.counter] == [1, 1, 1, 2, 3, 3, 3, 4, 5, 5, 5]
    ends = [row for row in written.counter if row.change is not None]
    assert [row.number for row in ends] == [3, 4, 7, 8]
    assert (
        ends[0].say() == "Row 3: stripe 1, Fern + Fern, as row 2, 128 sts; in its last stitch "
        "cut one strand of Fern, keep the other, join Clay"
    )
    text = written.text()
    assert "Stripe 2 (row 4): Fern, Clay." in text
    assert (
        "In the last stitch of row 4, before its last pull through: cut Fern, keep Clay, join a second strand of Clay."
        in text
    )
    both = write_rows(Ripple(), work(Ripple()), Sequence(order=("Fern", "Clay"), change="both").expand()).text()
    assert "cut 2 x Fern, join 2 x Clay." in both
    assert "Rows 3 to 11: as row 2." in text


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        # By hand, from which ends hang at the hook: 2, 3 and 4 strands.
        ("AA", "AB", "cut one strand of A, keep the other, join B"),
        ("AB", "BB", "cut A, keep B, join a second strand of B"),
        ("AB", "CD", "cut A, B, join C, D"),
        ("AAA", "AAB", "cut one strand of A, keep 2 x A, join B"),
        ("AAB", "ABB", "cut one strand of A, keep A, B, join a second strand of B"),
        ("ABB", "BBB", "cut A, keep 2 x B, join a third strand of B"),
        ("AAA", "ABC", "cut 2 strands of A, keep A, join B, C"),
        ("ABC", "BBB", "cut A, C, keep B, join 2 more strands of B"),
        ("AAAA", "AABB", "cut 2 strands of A, keep 2 x A, join 2 x B"),
        ("AABB", "ABBB", "cut one strand of A, keep A, 2 x B, join a third strand of B"),
        ("ABBB", "BBBB", "cut A, keep 3 x B, join a fourth strand of B"),
        ("AABC", "ABBC", "cut one strand of A, keep A, B, C, join a second strand of B"),
        ("AA", "AAA", "keep 2 x A, join a third strand of A"),
        ("AAB", "AA", "cut B, keep 2 x A"),
        ("AA", "A", "cut one strand of A, keep the other"),
    ],
)
def test_a_change_says_which_strand_of_a_colour_it_is(before: str, after: str, said: str) -> None:
    stripes = [Stripe(strands=tuple(before), rows=2), Stripe(strands=tuple(after), rows=2)]
    assert change_words(changes(stripes)[0]) == said
    assert f"In the last stitch of row 2, before its last pull through: {said}." in (
        write_rows(Ripple(), work(Ripple()), stripes).text()
    )


def test_the_text_says_terms_key_left_hand_and_back_loops() -> None:
    ripple = Ripple(loops="back", stitch="hdc", valley="three-together", edge="half-valley", peak="three-in-one")
    text = write_rows(ripple, work(ripple), (), terms="UK").text()
    assert text.splitlines()[1] == "Terms: UK names of stitches throughout."
    for needed in ("htr = half treble", "htr3tog = 3 htr worked together", "back loop only", "Left-handed"):
        assert needed in text
    rows = [line for line in text.splitlines() if line.startswith("Row ")]
    assert not any(re.search(r"\bhdc|\bsc\b|skip", line) for line in rows)


def test_the_chain_is_told_flat_and_finished() -> None:
    text = write_rows(Ripple(), work(Ripple()), (), gauge=GAUGE).text()
    assert re.search(r"laid straight is about \d+ cm \(\d+ in\); worked, it draws in to about \d+ cm", text)


def below(worked: Worked) -> tuple:  # type: ignore[type-arg]
    places = foundation(worked.rows[0].taken)
    for row in worked.rows[: worked.lead + 1]:
        places = work_row(row, turned(places))
    return turned(places)


@given(ripples.filter(lambda r: r.kind != "heights"), st.integers(2, 5))
def test_level_rows_fit_both_ends(ripple: Ripple, weight: int) -> None:
    worked, gauge = work(ripple), default_gauge(weight, stitch=ripple.stitch)
    top, bottom = level_row(worked, gauge), level_row(worked, gauge, "bottom")
    assert len(work_row(top.row, below(worked))) == top.row.made
    assert bottom.row.taken == worked.first.taken
    assert top.row.made <= worked.row_stitches
    for row in (top.row, bottom.row):
        assert len(set(row.tally) - {"tch"}) >= 2
    assert read_row(_words(top, ripple)).tally == top.row.tally


def _words(level, ripple: Ripple) -> str:  # type: ignore[no-untyped-def]
    from blendplan.fabric.phrases import row_words

    return row_words(level.row, first=False, stitch=ripple.stitch, terms="US")


def test_level_row_of_the_default_lies_as_wide_as_the_blanket() -> None:
    # two stitches fewer in each of 16: 0.875, against cos(theta) of 0.876 for dc
    level = level_row(work(Ripple(repeats=30)), GAUGE)
    assert level.stitches_per_width == pytest.approx(1.0, abs=0.01)


def test_border_grows_by_eight_and_counts_the_sides() -> None:
    worked = work(Ripple())
    rounds = border_rounds(worked, GAUGE, 100, Border(rounds=3))
    assert [b - a for a, b in pairwise(rounds)] == [8, 8]
    assert rounds[0] > 2 * worked.row_stitches
    text = write_rows(Ripple(), worked, (), gauge=GAUGE, border=Border(rounds=2, strands=("Fern", "Fern"))).text()
    assert "Border: sc all around with 2 x Fern" in text


@pytest.mark.parametrize(
    "ripple",
    [
        Ripple(),
        Ripple(stitch="sc", peak="three-in-one"),
        Ripple(kind="wave", slope=4),
        Ripple(kind="heights", slope=6),
        Ripple(stitch="tr", peak="three-in-one", valley="three-together", edge="half-valley"),
    ],
)
def test_the_diagram_shows_every_stitch_of_two_rows(ripple: Ripple) -> None:
    worked = work(ripple)
    svg = diagram_svg(worked, default_gauge(4, stitch=ripple.stitch))
    assert svg == diagram_svg(worked, default_gauge(4, stitch=ripple.stitch))
    root = ET.fromstring(svg)
    small = work(Ripple(**{**{f: getattr(ripple, f) for f in ripple.__slots__}, "repeats": 2}))
    tally = small.rows[0].tally + small.rows[1].tally
    posts = len(root.findall(".//{*}path"))
    assert posts == sum(n for kind, n in tally.items() if kind in ("sc", "hdc", "dc", "tr"))
    assert "NaN" not in svg
    assert "nan" not in svg
    assert [t.text for t in root.findall(".//{*}text")] == ["1", "2"]


def test_baby_sizes_bring_safe_sleep_and_no_fringe() -> None:
    said = " ".join(n.text for n in cautions(Ripple(), size_name="baby", gauge=GAUGE, fringe=True, mass_kg=1.4))
    for needed in ("first year", "health service", "no fringe", "leave it off", "gaps of about", "1.4 kg", "hands"):
        assert needed in said
    assert all(n.level == "caution" for n in cautions(Ripple(), size_name="baby"))
    grown = cautions(Ripple(), size_name="throw", gauge=GAUGE)
    assert len(grown) == 1
    # a size without a name is judged by its measures
    assert len(cautions(Ripple(), width_cm=76, length_cm=91)) > 1
    assert len(cautions(Ripple(), width_cm=127, length_cm=152)) == 1


def test_closed_points_and_hollows_have_no_gap() -> None:
    closed = Ripple(peak="three-in-one", valley="three-together")
    assert not any("gaps" in n.text for n in cautions(closed, size_name="baby", gauge=GAUGE))

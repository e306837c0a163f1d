"""Written rows: a reader works what is printed and counts; diagram, finishing and cautions."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from row_reader import Place, Stuck, between_valleys, counted, split, work_pattern
from row_reader import work as work_words

from blendplan.fabric.diagram import diagram_svg
from blendplan.fabric.finish import Border, border_rounds, level_row
from blendplan.fabric.gauge import default_gauge
from blendplan.fabric.phrases import UK, abbreviation, count_words, row_words
from blendplan.fabric.ripple import Ripple, Worked, work
from blendplan.fabric.rows import foundation, turned, work_row
from blendplan.fabric.size import cautions, measure
from blendplan.fabric.written import WrittenRows, abbreviations, write_rows

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
    turning_chains=st.none() | st.integers(1, 5),
    selvedge=st.none() | st.integers(0, 3),
    crest=st.integers(0, 3),
    foot=st.sampled_from(("auto", "shared", "own")),
    first_edges=st.booleans(),
    loops=st.sampled_from(("both", "back")),
    setup=st.booleans(),
)
TERMS = st.sampled_from(("US", "UK"))


def text_of(written: WrittenRows, later: int = 4) -> str:
    """Terms, foundation, the rows written out and some that are told as one of them."""
    done = len(written.rows)
    again = written.again(done + 1, done + later).say()
    return "\n".join((written.terms, *written.notes, written.foundation, *written.rows, again))


@given(ripples, TERMS)
def test_a_reader_works_every_row_and_counts_what_is_told(ripple: Ripple, terms: str) -> None:
    worked = work(ripple)
    written = write_rows(worked, terms=terms)
    read = work_pattern(text_of(written))
    assert read.chain == worked.chain
    for number, hands in read.rows.items():
        # A chain space is one place to her; the package counts its chains one each.
        assert sum(p.chains if p.kind == "space" else 1 for p in hands.made) == worked.row_at(number).made


@given(ripples)
def test_us_and_uk_name_the_same_stitches(ripple: Ripple) -> None:
    us, uk = (work_pattern(text_of(write_rows(work(ripple), terms=terms))) for terms in ("US", "UK"))
    assert {n: hands.made for n, hands in us.rows.items()} == {n: hands.made for n, hands in uk.rows.items()}


@given(ripples, TERMS)
def test_the_check_says_what_lies_between_valleys(ripple: Ripple, terms: str) -> None:
    written = write_rows(work(ripple), terms=terms)
    if not written.check:
        assert ripple.kind == "heights" or ripple.repeats < 3
        return
    told = re.fullmatch(r"Check each row: (.*) between valleys(?:, (\d+) \w+ at each edge)?\.", written.check)
    assert told
    names = {uk: us for us, uk in UK.items()} if terms == "UK" else {us: us for us in UK}
    want: list[str] = []
    for part in split(told[1]):
        if found := re.fullmatch(r"ch (\d)", part):
            want.append(f"space{found[1]}")
        else:
            count, name = re.fullmatch(r"(\d+) (\w+(?: st)?)(?: in one)?", part).groups()  # type: ignore[union-attr]
            want += [names[name]] * int(count)
    read = work_pattern(text_of(written))
    hands = read.rows[written.lead + 1]
    segments = between_valleys(hands)
    found_all = [[f"space{p.chains}" if p.kind == "space" else p.kind for p in part] for part in segments[1:-1]]
    inner = [part for part in found_all if len(part) > max(1, ripple.crest)]
    # Where an edge is a valley of its own, what lies beside it may be short of the stitch that its chain stands for.
    whole = inner[1:-1] if ripple.edge == "half-valley" else inner
    assert inner and all(part == want for part in whole)
    if told[2]:
        for edge in (segments[0], segments[-1]):
            assert sum(p.kind != "space" for p in edge) == int(told[2])


@given(ripples, TERMS)
def test_abbreviations_are_those_that_are_used(ripple: Ripple, terms: str) -> None:
    written = write_rows(work(ripple), terms=terms)
    text = " ".join((*written.rows, *written.notes, written.foundation))
    words = set(re.findall(r"[A-Za-z]+\d?(?:tog)?", re.sub(r"(sl) st", r"\1_st", text)))
    short = {"st", "sts", "sp", "sps", "rep", "BLO", "ch", "sc", "hdc", "dc", "tr", "htr", "dtr", "ss"}
    used = {w for w in words if w in short or re.fullmatch(r"[a-z]+\dtog", w)}
    signs = abbreviations(written.kinds, (*written.rows, *written.notes), terms)
    explained: set[str] = set()
    for line in signs:
        if " = " in line and not line.startswith(("(", "[", "*")):
            explained |= set(split(line.split(" = ")[0]))
    assert used <= explained
    assert explained <= used | {"st", "sts", "sp", "sps"}
    assert ("*" in text) == any(line.startswith("*") for line in signs)
    assert ("[" in text) == any(line.startswith("[") for line in signs)
    groups = any(
        step.kind == "group" and "ch" in step.stitches
        for row in work(ripple).rows
        for p in row.parts
        for step in p.steps
    )
    assert groups == any(line.startswith("(") for line in signs)


@given(ripples)
def test_notes_say_what_the_rows_do(ripple: Ripple) -> None:
    written = write_rows(work(ripple))
    notes, rows = " ".join(written.notes), " ".join(written.rows)
    assert ("BLO" in notes) == (ripple.loops == "back")
    assert ("chain spaces" in notes) == (ripple.loops == "back" and "space," in rows)
    rule = re.search(r"a multiple of (\d+) chains, (plus|less) (\d+); here (\d+) repeat", written.width_rule)
    assert rule
    sign = 1 if rule[2] == "plus" else -1
    assert f"ch {int(rule[1]) * int(rule[4]) + sign * int(rule[3])}." in written.foundation


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


# The words of the trade for turning chains, first stitches and edges (trade facts, sections 3 and 7, and common
# practice): each against the choice that makes it.
@pytest.mark.parametrize(
    ("ripple", "said"),
    [
        (Ripple(), "Row 1: dc in 4th ch from hook (skipped chains count as dc), dc in next 6 ch"),
        (Ripple(), "Row 2: ch 3 (counts as dc), dc in same st, dc in next 6 sts"),
        (Ripple(), "(dc, ch 2, dc) in the ch-2 space"),
        (Ripple(), "2 dc in the top of the chain 3, turn. \u2014 114 dc, 7 ch-2 sps"),
        (Ripple(stitch="sc"), "Row 1: 2 sc in 2nd ch from hook (skipped chain does not count)"),
        (Ripple(stitch="sc"), "Row 2: ch 1 (does not count as a stitch), 2 sc in first st"),
        (
            Ripple(peak="three-in-one", valley="three-together", edge="half-valley"),
            "Row 2: ch 2, skip first st, dc in next st (counts as dc2tog)",
        ),
        (Ripple(edge="half-valley"), "Row 2: ch 3 (counts as dc), skip first 2 sts"),
        (Ripple(stitch="tr"), "Row 1: tr in 5th ch from hook (skipped chains count as tr)"),
        (Ripple(kind="heights", slope=4), "sc in the top of the chain 4, turn."),
        (Ripple(kind="wave", slope=4), "2 dc in each of next 2 sts"),
    ],
)
def test_turning_chains_and_edges_in_words_of_the_trade(ripple: Ripple, said: str) -> None:
    assert said in "\n".join(write_rows(work(ripple)).rows)


def test_a_set_up_row_is_not_followed_by_one_row_told_twice() -> None:
    rows = write_rows(work(Ripple(stitch="sc", peak="three-in-one", setup=True))).rows
    assert [row.split(":")[0] for row in rows] == ["Row 1", "Row 2"]


def test_a_wrong_count_or_stitch_in_the_text_stops_the_reader() -> None:
    text = text_of(write_rows(work(Ripple())))
    work_pattern(text)
    for wrong, instead, why in (
        ("\u2014 114 dc", "\u2014 115 dc", "says 115"),
        ("dc in next 6 sts, (dc", "dc in next 5 sts, (dc", "ch-2 space is asked for"),
        ("Foundation: ch 131", "Foundation: ch 132", "left over|not the last"),
        ("the top of the chain 3", "last st", "do not say so"),
        ("the top of the chain 3", "the top of the chain 2", "top of a chain 2"),
        ("4th ch", "3rd ch", "left over|not the last"),
        ("dc in same st", "dance in same st", "no stitch"),
        ("the ch-2 space", "the ch-1 space", "ch-1 space is asked for"),
    ):
        assert wrong in text
        with pytest.raises(Stuck, match=why):
            work_pattern(text.replace(wrong, instead))
    with pytest.raises(Stuck, match="what only its last time does"):
        work_words("*dc in next st, dc in last st; rep from * once more", [Place("dc")] * 4, "US")


def test_the_printed_trap_row_uses_seventeen() -> None:
    # trade facts, section 6a: "14 + 3" is stated, the first row printed with it uses 7 + 1 + 7 + 2
    row = "*dc in next 7 ch, 3 dc in next ch, dc in next 7 ch, skip next 2 ch; rep from * 7 more times"
    assert len(work_words(row, [Place("base")] * 8 * 17, "US", first=True).made) == 8 * 17
    with pytest.raises(Stuck):
        work_words(row, [Place("base")] * 8 * 14, "US", first=True)


def test_row_spaces_are_counted_apart_from_stitches() -> None:
    # By hand: 8 repeats of slope 7 have 8 x 14 stitches and one more at each edge, and 7 spaces between 8 valleys.
    worked = work(Ripple())
    assert (worked.row_stitches, worked.row_spaces, worked.row_places) == (114, 7, 128)
    assert count_words(worked.repeat, "UK") == "114 tr, 7 ch-2 sps"


def below(worked: Worked) -> tuple:  # type: ignore[type-arg]
    places = foundation(worked.rows[0].taken)
    for row in worked.rows[: worked.lead + 1]:
        places = work_row(row, turned(places))
    return turned(places)


@given(ripples.filter(lambda r: r.kind != "heights"), st.integers(2, 5), TERMS)
def test_level_rows_fit_both_ends_and_read_as_they_are(ripple: Ripple, weight: int, terms: str) -> None:
    worked, gauge = work(ripple), default_gauge(weight, stitch=ripple.stitch)
    top, bottom = level_row(worked, gauge), level_row(worked, gauge, "bottom")
    assert len(work_row(top.row, below(worked))) == top.row.made
    assert bottom.row.taken == worked.first.taken
    assert top.row.made <= worked.row_places
    for row in (top.row, bottom.row):
        assert len(set(row.tally) - {"tch"}) >= 2
    words = row_words(bottom.row, into="ch", terms=terms)
    hands = work_words(words, [Place("base")] * worked.first.taken, terms, first=True)
    assert counted(hands.made, terms) == count_words(bottom.row, terms)


def test_level_row_of_the_default_lies_as_wide_as_the_blanket() -> None:
    # two stitches fewer in each of 16: 0.875, against cos(theta) of 0.876 for dc
    worked = work(Ripple(repeats=30))
    fit = measure(worked, GAUGE, 1).width_cm / GAUGE.stitch_width_cm
    assert level_row(worked, GAUGE).row.made == pytest.approx(fit, rel=0.01)


def test_border_grows_by_eight_and_counts_ends_and_sides() -> None:
    worked = work(Ripple())
    rounds = border_rounds(worked, GAUGE, 100, Border(rounds=3))
    assert [b.stitches - a.stitches for a, b in pairwise(rounds)] == [8, 8]
    # By hand: 114 stitches, 2 left out in each of 8 valleys, 3 in each of 7 spaces; 3 in each corner.
    assert rounds[0].end == 114 - 16 + 21
    assert rounds[0].stitches == 2 * (119 + rounds[0].side) + 12


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
    said = " ".join(n.text for n in cautions(Ripple(), for_baby=True, gauge=GAUGE, fringe=True, mass_kg=1.4))
    for needed in ("first year", "health service", "no fringe", "leave it off", "gaps of about", "1.4 kg", "hands"):
        assert needed in said
    assert all(n.level == "caution" for n in cautions(Ripple(), for_baby=True))
    # a size without a name is judged by its measures: a throw of 50 x 60 in is for the grown, 30 x 36 in for a baby
    throw, baby = ((w * 2.54, h * 2.54) for w, h in ((50, 60), (30, 36)))
    assert len(cautions(Ripple(), size_cm=throw, gauge=GAUGE)) == len(cautions(Ripple(), size_cm=throw)) == 1
    assert any("first year" in n.text for n in cautions(Ripple(), size_cm=baby))


def test_closed_points_and_hollows_have_no_gap() -> None:
    closed = Ripple(peak="three-in-one", valley="three-together")
    assert not any("gaps" in n.text for n in cautions(closed, for_baby=True, gauge=GAUGE))

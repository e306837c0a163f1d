"""The whole pattern read by a maker who knows nothing of the package: rows, changes, heights, finishing, legend."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest
from blankets import blanket, blanket_of, lying, yarn
from hypothesis import given, settings
from hypothesis import strategies as st
from row_reader import Place, counted, work, work_pattern

from blendplan.blanket import Blanket
from blendplan.fabric.finish import Border
from blendplan.fabric.gauge import Gauge
from blendplan.fabric.ripple import Ripple
from blendplan.outputs.pattern import CODES, pattern
from blendplan.outputs.tables import rows_txt
from blendplan.plan import make_plan
from blendplan.stripes.model import Stripe
from blendplan.yardage.settings import Fringe

NAMES = ("Fern", "Clay", "Milk", "Night")


def text_of(made: Blanket, lang: str = "en") -> str:
    return rows_txt(make_plan(made), lang=lang).decode("utf-8")


PAIRS = st.lists(st.lists(st.sampled_from(NAMES), min_size=2, max_size=2), min_size=1, max_size=6)
ROWS = st.integers(1, 9)
RIPPLES = st.builds(
    Ripple,
    kind=st.sampled_from(("point", "wave", "heights")),
    stitch=st.sampled_from(("sc", "hdc", "dc", "tr")),
    slope=st.integers(3, 8),
    peak=st.sampled_from(("chain-1", "chain-2", "three-in-one")),
    valley=st.sampled_from(("skip-2", "three-together", "skip-1-each-side")),
    edge=st.sampled_from(("half-peak", "half-valley")),
    repeats=st.integers(1, 5),
    loops=st.sampled_from(("both", "back")),
    setup=st.booleans(),
)


@st.composite
def makers(draw: st.DrawFn) -> Blanket:
    """Blankets of all kinds of stripes, fabric, finishing, terms and units."""
    stripes = tuple(Stripe(strands=tuple(pair), rows=draw(ROWS)) for pair in draw(PAIRS))
    said: dict[str, Any] = {
        "stripes": stripes,
        "order": NAMES,
        "ripple": draw(RIPPLES),
        "yarns": tuple(yarn(n, lots=lying(draw(st.integers(0, 2)), "L1")) for n in NAMES),
        "terms": draw(st.sampled_from(("US", "UK"))),
        "units": draw(st.sampled_from(("metric", "imperial"))),
        "straighten": draw(st.booleans()),
        "tail_cm": draw(st.sampled_from((10.0, 15.0))),
        "join_at": draw(st.sampled_from(("row-end", "anywhere"))),
    }
    if draw(st.booleans()):
        said["border"] = Border(rounds=draw(st.integers(1, 3)), strands=tuple(draw(st.sampled_from(PAIR_CHOICES))))
    if draw(st.booleans()):
        said["fringe"] = Fringe(ends=draw(st.integers(1, 2)))
    return blanket_of(**said)


JOINED = re.compile(
    r"In the last pull through of row (?P<row>\d+) go on from "
    r"(?P<balls>(?:ball \d+ of \w+ in place of ball \d+ \([^)]*\)(?:, | and )?)+)\."
)
BALL = re.compile(r"ball (\d+) of (\w+) in place of ball (\d+)")
FOLLOWS = re.compile(r"(?:^|, | and )ball (\d+) of (\w+) in place of ball (\d+)(?: \([^)]*\))?")
WITHIN = re.compile(
    r"Where ball (?P<old>\d+) of (?P<name>\w+) ends within row (?P<row>\d+), go on from ball (?P<new>\d+)"
)
WIND = re.compile(
    r"(?:First wind|Before row \d+ ends, wind) \S+ \S+ of (?P<name>\w+) off ball (?P<old>\d+) into ball (?P<new>\d+)"
)
ROWS_LINE = re.compile(r"Rows? (\d+)(?: to (\d+))?: ")
HIGH = re.compile(r"([\d.]+) (cm|in) .* high after stripe (\d+)\.")
ROUND = r"Round (\d+): about (\d+) along each end, (\d+) along each side, (\d+)"
PAIR_CHOICES = ((), ("Night", "Night"), ("Fern", "Milk"))
HEAD = re.compile(r"^Stripe (\d+), rows? (\d+)(?: to (\d+))?: (.*)$")
LEAVE = r"Leave (?P<left>.*?)(?:, take up (?P<taken>.*?))?, pull through(?: with the rest)?\."
TAKE = r"Take up (?P<more>.*?) beside what you hold, pull through\."
CUT = r"Then cut (?:that (?P<that>\w+), leaving|those strands, leaving) (?P<tail>[^.]*?)(?: of each)?\."
CHANGE = re.compile(
    rf"Stop before the last pull through of row (?P<row>\d+)\. (?:{LEAVE}|{TAKE})(?: {CUT})?"
    r"(?: Carry on with (?P<carried>.*?)\.)?(?: Left over: (?P<over>.*)\.)?$"
)


def strands_said(text: str) -> list[tuple[str, str, list[int]]]:
    """Name, which of them, and balls, of each strand that words tell: `the Fern joined earlier (ball 2)`."""
    out = []
    for part in re.split(r", (?![^()]*\))| and (?![^()]*\))", text):
        found = re.fullmatch(r"(.*?)(?: \(balls? ([\d, and]+)\))?", part)
        assert found
        words, balls = found[1], [int(n) for n in re.findall(r"\d+", found[2] or "")]
        (name,) = [n for n in NAMES if re.search(rf"\b{n}\b", words)]
        which = words.replace(name, "").strip()
        count = 2 if which.startswith(("both", "two", "2 more", "all")) else 1
        out += [(name, which, balls[i : i + 1] or balls[:1]) for i in range(count)]
    return out


class Strands:
    """What hangs from the hook: name, the row it was joined for, and the number of its ball.

    `unwound` are the balls that are there only once they have been wound off another.
    """

    def __init__(self) -> None:
        self.held: list[list[Any]] = []
        self.unwound: set[tuple[str, int]] = set()
        self.worked: set[tuple[str, int, int]] = set()  # yarn, ball and stripe

    def work(self, stripe: int) -> None:
        self.worked |= {(name, ball, stripe) for name, _, ball in self.held}

    def follow(self, name: str, old: int, new: int, row: int) -> tuple[str, int, int, int]:
        """Go on from another ball."""
        (strand,) = [s for s in self.held if s[0] == name and s[2] == old]
        assert (name, new) not in self.unwound
        strand[1:] = row, new
        return name, old, new, row

    def begin(self, text: str, row: int) -> None:
        for name, _, balls in strands_said(text):
            assert not balls or (name, balls[0]) not in self.unwound
            self.held.append([name, row, balls[0] if balls else 1])

    def change(self, found: re.Match[str]) -> None:
        row = int(found["row"])
        for name, which, balls in strands_said(found["left"]) if found["left"] else []:
            of = [s for s in self.held if s[0] == name]
            assert of, f"{name} is left and not held"
            gone = max(of, key=lambda s: s[1] if "later" in which else -s[1])
            if balls:
                (gone,) = [s for s in of if s[2] == balls[0]]
            if "joined earlier" in which:
                assert len(of) == 2 and gone[1] == min(s[1] for s in of) < max(s[1] for s in of)
            elif "joined later" in which:
                assert len(of) == 2 and gone[1] == max(s[1] for s in of) > min(s[1] for s in of)
            elif not which:
                assert len(of) == 1
            self.held.remove(gone)
            if found["that"]:
                assert found["that"] == name
        if found["left"] and found["carried"]:
            said = sorted(name for name, _, _ in strands_said(found["carried"]))
            assert said == sorted(s[0] for s in self.held)
        else:
            assert not found["left"] or not self.held
        self.begin_if(FOLLOWS.sub("", found["taken"] or found["more"] or ""), row + 1)

    def begin_if(self, text: str | None, row: int) -> None:
        if text:
            self.begin(text, row)


@settings(deadline=None, max_examples=60)
@given(makers())
def test_a_maker_works_the_whole_text(made: Blanket) -> None:
    plan = make_plan(made)
    text = rows_txt(plan).decode("utf-8")
    rows = text[text.index("\nRows to work") : text.index("\nFinishing")]
    worked = work_pattern(re.search(r"^Terms: .*$", text, re.M)[0] + rows)  # type: ignore[index]
    assert worked.terms == made.ways.terms
    strands, stripes = Strands(), list(made.design.all_stripes())
    strands.unwound = {(ball.name, ball.number) for ball in plan.strands.balls if ball.kind == "wound"}
    number = done = at = 0
    joins = {(j.name, j.old, j.new, j.row) for j in plan.strands.joins}
    for raw in rows.splitlines():
        line = raw.removeprefix("[ ] ")
        if head := HEAD.match(line):
            number += 1
            first, last = int(head[2]), int(head[3] or head[2])
            stripe = stripes[number - 1]
            assert (int(head[1]), first, last) == (number, done + 1, done + stripe.rows)
            done = last
            names = list(dict.fromkeys(stripe.strands))
            assert head[4] == (f"{names[0]} held double" if len(names) == 1 else " and ".join(names) + " held together")
            if strands.held:
                assert sorted(s[0] for s in strands.held) == sorted(stripe.strands)
        elif begin := re.match(r"Begin with (.*?)\. Foundation", line):
            strands.begin(begin[1], 1)
            assert sorted(s[0] for s in strands.held) == sorted(stripes[0].strands)
        elif high := HIGH.match(line):
            whole = re.search(r"Finished size: [\d.]+ × ([\d.]+) (cm|in)", text)
            assert whole and int(high[3]) == number
            assert high[2] == whole[2] == ("in" if made.ways.units == "imperial" else "cm")
            assert float(high[1]) == pytest.approx(float(whole[1]) * done / plan.rows, abs=1.1)
        if wind := WIND.match(line):
            strands.unwound.discard((wind["name"], int(wind["new"])))
        # Winding and new balls are told in the line of the row they happen in, so nobody reads of them too late.
        at = int(found[2] or found[1]) if (found := ROWS_LINE.match(line)) else at
        if found:
            strands.work(number)
        for join in WITHIN.finditer(line):
            joins.remove((*strands.follow(join["name"], int(join["old"]), int(join["new"]), at + 1)[:3], at))
            assert int(join["row"]) == at
            strands.work(number)
        for join in JOINED.finditer(line):
            for new, name, old in BALL.findall(join["balls"]):
                joins.remove(strands.follow(name, int(old), int(new), at + 1))
            assert int(join["row"]) == at
        if (found := CHANGE.search(line)) is not None:
            assert int(found["row"]) == done == at  # told at its own row, not one late
            assert not JOINED.search(line)  # one pull through, one order
            for new, name, old in FOLLOWS.findall(found["taken"] or found["more"] or ""):
                joins.remove(strands.follow(name, int(old), int(new), at + 1))
            strands.change(found)
            if found["tail"]:
                assert found["tail"] == ("4 in" if made.design.tail_cm == 10 else "6 in") or found["tail"].endswith(
                    "cm"
                )
    assert number == len(stripes)
    _lots(text, strands.worked, number)
    # The check stands behind the last row that is written out, where it can still be used.
    lines = rows.splitlines()
    checks = [i for i, line in enumerate(lines) if line.startswith("Check each row")]
    if checks:
        written = max(i for i, line in enumerate(lines) if re.match(r"\[ \] Row \d+: .*, turn\. ", line))
        assert len(checks) == 1 and written < checks[0]
        assert not any(" as row " in line for line in lines[written : checks[0]])
    ends = "\n".join(_chapter(text, "Finishing", "Stripes, in the order worked"))
    later = re.findall(r"Where ball (\d+) of (\w+) ends, go on from ball (\d+)", ends)
    assert {(name, int(old), int(new)) for old, name, new in later} == {join[:3] for join in joins}
    _finishing(made, text, worked.rows[max(worked.rows)].made if plan.rows in worked.rows else None, plan)


LOT = re.compile(r"^   balls? ([\d, \u2013]+): .*?(?:, for (.*)|, stays unopened)$", re.M)


def _numbers(text: str) -> set[int]:
    """Numbers told as runs: `1-2, 5`."""
    runs = [part.split("\u2013") for part in text.split(", ")]
    return {n for run in runs for n in range(int(run[0]), int(run[-1]) + 1)}


def _lots(text: str, worked: set[tuple[str, int, int]], stripes: int) -> None:
    """The skeins of a lot go into the stripes that the materials tell, those wound off them among these."""
    wound = {(w["name"], int(w["new"])): int(w["old"]) for w in WIND.finditer(text)}
    for told in re.split(r"\n(?=[A-Z] \w+: )", text[text.index("\nMaterials\n") : text.index("\nAlso: ")])[1:]:
        name = told.split()[1].rstrip(":")
        for balls, where in LOT.findall(told):
            own = _numbers(balls)
            for _ in wound:
                own |= {new for (of, new), old in wound.items() if of == name and old in own}
            into = re.search(r"stripes? ([\d, \u2013]+)", where)
            said = _numbers(into[1].strip(", ")) if into else set()
            assert said == {n for of, ball, n in worked if of == name and ball in own and n <= stripes}, told


def _finishing(made: Blanket, text: str, last: list[Place] | None, plan: Any) -> None:
    """Finishing in the order of work, its counts held against what its own words come to."""
    lines = [line.removeprefix("[ ] ") for line in _chapter(text, "Finishing", "Stripes, in the order worked")]
    joined = "\n".join(lines)
    # A set-up row alone has no wave yet.
    flat = made.design.ripple.kind == "heights" or (made.design.ripple.setup and plan.rows == 1)
    straight = made.design.straighten and not flat
    order = [
        joined.find(word)
        for word, there in (
            ("Straight top", straight),
            ("Straight bottom", straight),
            ("Border: ", made.design.border is not None),
            (" ends. Thread", True),
            ("Block: ", True),
            ("Fringe for the top", made.design.fringe is not None),
        )
        if there
    ]
    assert -1 not in order and order == sorted(order)
    assert ("Straight" in joined) == straight and ("Border" in joined) == (made.design.border is not None)
    assert int(re.search(r"There are (\d+) ends", joined)[1]) == plan.strands.ends_to_weave  # type: ignore[index]
    if straight and last is not None:
        top = re.search(r"^Straight top.*?(?:: |, then )(ch .*)\. \u2014 (.*)$", joined, re.M)
        assert top
        hands = work(top[1], list(reversed(last)), made.ways.terms)
        assert counted(hands.made, made.ways.terms) == top[2]
    for number, one in enumerate(re.findall(ROUND, joined), 1):
        assert int(one[0]) == number and int(one[3]) == 2 * (int(one[1]) + int(one[2])) + 12


def _chapter(text: str, title: str, after: str) -> list[str]:
    return text[text.index(f"\n{title}\n") + len(title) + 2 : text.index(f"\n{after}\n")].strip().splitlines()


@settings(deadline=None, max_examples=40)
@given(makers())
def test_the_legend_explains_every_stitch_of_the_whole_text_and_no_other(made: Blanket) -> None:
    text = text_of(made)
    legend = _chapter(text, "Abbreviations", "Notes")
    explained = {line.split(" = ")[0] for line in legend if " = " in line}
    rest = text[text.index("\nNotes\n") : text.index("\nStripes, in the order worked\n")]
    short = {"US": ("sl st", "sc", "hdc", "dc", "tr"), "UK": ("ss", "dc", "htr", "tr", "dtr")}[made.ways.terms]
    used = {word for word in short if re.search(rf"(?<![\w-]){word}(?![\w-])", rest)}
    used |= set(re.findall(r"\b[a-z]+\dtog\b", rest)) | {"ch"}
    assert {word for word in explained if "," not in word and word not in ("rep", "BLO")} == used
    assert ("rep" in explained) == bool(re.search(r"\brep\b", rest)) and ("BLO" in explained) == ("BLO" in rest)


def test_a_blanket_that_ends_before_its_repeat_row_explains_what_it_prints() -> None:
    """One set-up row of single crochet has no stitches worked together, whatever the rows after it would hold."""
    ripple = Ripple(stitch="sc", slope=3, valley="three-together", repeats=1, setup=True)
    made = blanket_of(
        yarns=(yarn("Fern"),), order=("Fern",), stripes=(Stripe(strands=("Fern", "Fern"), rows=1),), ripple=ripple
    )
    legend = "\n".join(_chapter(text_of(made), "Abbreviations", "Notes"))
    assert "sc = " in legend and "3tog" not in legend


def test_chapters_stand_in_the_order_of_the_paper() -> None:
    made = pattern(make_plan(blanket("Fern", "Clay")))
    assert [chapter.code for chapter in made.chapters] == list(CODES)
    text = text_of(blanket("Fern", "Clay"))
    at = [text.index(f"\n{chapter.title}\n") for chapter in made.chapters]
    assert at == sorted(at)
    for chapter in made.chapters:
        for line in chapter.lines:
            assert line.text in text


def test_hook_gauge_and_swatch_are_told() -> None:
    """Two repeats of slope 7 take 35 chains (16 x 2 + 3); sizes by hand from a gauge of 1 cm by 2 cm."""
    gauge = Gauge(stitch_width_cm=1.0, row_height_cm=2.0, hook_mm=8.0, basis="swatch", height_basis="swatch")
    text = text_of(blanket("Fern", "Clay", gauge=gauge))
    assert "Hook: 8 mm (L-11)" in text and "Fern held double: chain 35 for two repeats" in text
    # tan(theta) = 1/2: a repeat of 16 places is 16 x cos(theta) = 14.3 cm wide, a row rises sqrt(5) = 2.24 cm.
    assert "One repeat is 14.3 cm (5.6 in) wide, and 10 rows are 22.4 cm (8.8 in) high." in text
    assert re.search(r"work 6 rows as written", text) and "28.6 cm (11.3 in) wide and 13.4 cm (5.3 in) high" in text
    imperial = text_of(blanket("Fern", "Clay", gauge=gauge, units="imperial", terms="UK"))
    assert "One repeat is 5.6 in (14.3 cm) wide" in imperial and "Hook and tension" in imperial


def test_materials_tell_class_fibre_put_up_skeins_and_lots() -> None:
    """All that one needs at the shop and before the first row; a label that nobody read is told as usual."""
    lots = (*lying(2, "L 7"), *lying(0, "L 8", (30,)))
    yarns = (yarn("Fern", fibre="80 % wool", lots=lots), yarn("Clay", weight_class=3, grams=None, metres=None))
    made = blanket("Fern", "Clay", solid_rows=2, blend_rows=1, yarns=yarns)
    lines = _chapter(text_of(made), "Materials", "Hook and gauge")
    assert lines[:5] == [
        "A Fern: medium (4), 80 % wool, 100 g = 180 m a skein; 2 skeins and 30 g opened",
        "   ball 1: on hand, opened, 30 g, dye lot L 8, for stripe 1",
        "   balls 2\u20133: on hand, dye lot L 7, for stripes 1\u20132",
        "B Clay: light (3), label not known, usual: 100 g = 240 m a skein; 1 skein",
        "   ball 1: to buy, dye lot ________, for stripes 2\u20133",
    ]


@pytest.mark.parametrize(
    ("lots", "asked"),
    [
        (lying(1, "L 7"), "; ask for dye lot L 7, which you have"),
        (lying(1), "; ask for the dye lot of those you have"),
        ((), ""),
    ],
)
def test_the_shop_is_asked_for_the_lot_that_lies_there(lots: Any, asked: str) -> None:
    made = blanket("Fern", "Clay", solid_rows=14, yarns=(yarn("Fern", lots=lots), yarn("Clay")))
    fern = next(line for line in text_of(made).splitlines() if line.startswith("[ ] Fern: needs"))
    need = make_plan(made).yardage.colour("Fern")
    assert need.buy_skeins and fern.endswith(f"; buy {need.buy_skeins} skeins{asked}")
    opened = need.buy_skeins + need.skeins_on_hand
    assert f"\nA Fern: medium (4), 100 g = 180 m a skein; {opened} skeins\n" in text_of(made)


def test_the_fringe_is_cut_from_yarn_that_is_counted() -> None:
    """By hand: 128 places of 1 cm are 26 knots 5 cm apart; 2 pieces each of 2 x 10 + 5 = 25 cm are 52 pieces, 13 m."""
    gauge = Gauge(stitch_width_cm=1.0, row_height_cm=2.0, hook_mm=8.0, basis="swatch", height_basis="swatch")
    fringe = Fringe(length_cm=10, every_cm=5, pieces=2, knot_cm=5)
    for ends, strands, gives in (
        (1, (), {"Clay": 13.0}),
        (2, (), {"Fern": 13.0, "Clay": 13.0}),
        (2, ("Fern", "Clay"), {"Fern": 13.0, "Clay": 13.0}),
        (2, ("Milk",), {"Milk": 26.0}),
    ):
        said = {"gauge": gauge, "yarns": (yarn("Fern"), yarn("Clay"), yarn("Milk"))}
        bare = make_plan(blanket("Fern", "Clay", **said))
        plan = make_plan(blanket("Fern", "Clay", fringe=replace(fringe, ends=ends, strands=strands), **said))
        before = {c.name: c for c in bare.yardage.colours}
        for colour in plan.yardage.colours:
            more = colour.need_m - (before[colour.name].need_m if colour.name in before else 0.0)
            assert more == pytest.approx(gives.get(colour.name, 0.0))
            # What was left over on the balls is what the fringe is cut from.
            left = sum(b.left_m for b in plan.strands.balls if b.name == colour.name)
            owned = sum(b.start_m for b in plan.strands.balls if b.name == colour.name and b.kind != "wound")
            assert owned - left == pytest.approx(colour.need_m, abs=0.31 * len(plan.strands.joins) + 0.01)
        told = re.findall(r"Fringe for the (top|bottom): cut (\d+) pieces of 25 cm from (.*)\.", text_of(plan.blanket))
        names = (
            [", ".join((" and ".join(strands), *["in turn"] * (len(strands) > 1)))] * 2 if strands else ["Clay", "Fern"]
        )
        assert told == [(end, "52", name) for end, name in zip(("top", "bottom")[:ends], names, strict=False)]
        assert "Fold 2 pieces at a time" in text_of(plan.blanket) and "every 5 cm; trim to 10 cm" in text_of(
            plan.blanket
        )


def test_a_fringe_that_lacks_yarn_is_told() -> None:
    scarce = yarn("Milk", lots=lying(0, "L1", (20,)))
    made = blanket("Fern", "Clay", yarns=(yarn("Fern"), yarn("Clay"), scarce), fringe=Fringe(strands=("Milk",)))
    made = replace(made, design=replace(made.design, skeins=(("Milk", 0),)))
    assert "Milk runs out in the finishing" in text_of(made)


def test_us_and_uk_words_of_the_trade() -> None:
    us, uk = (
        text_of(blanket("Fern", "Clay", terms=terms, yarns=(yarn("Fern"), yarn("Clay")))) for terms in ("US", "UK")
    )
    assert "keep the labels" in us and "ball band" not in us and "Hook and gauge" in us
    assert "keep the ball bands" in uk and "label" not in uk and "tr in 4th ch from hook" in uk
    assert "held double" in us and "dye lot" in us


def test_the_paper_always_says_how_to_wash_and_lay_flat() -> None:
    for fibre in ("", "acrylic", "merino", "unicorn"):
        text = text_of(blanket("Fern", yarns=(yarn("Fern", fibre=fibre),)))
        care = text[text.index("\nTake care\n") :]
        assert "Wash it by" in care and "Wet it through" in care and "Lay it flat" in care
    assert "by hand" in text_of(blanket("Fern", yarns=(yarn("Fern", fibre="merino"),)))
    assert "by machine, warm" in text_of(blanket("Fern", yarns=(yarn("Fern", fibre="acrylic"),)))


def test_a_total_says_what_it_does_not_know() -> None:
    yarns = (yarn("Fern", price="6.40"), yarn("Clay"), yarn("Milk"))
    assert "without Clay and Milk, whose prices are not known" in text_of(blanket("Fern", "Clay", "Milk", yarns=yarns))
    whole = tuple(yarn(n, price="6.40") for n in ("Fern", "Clay", "Milk"))
    assert "whose price" not in text_of(blanket("Fern", "Clay", "Milk", yarns=whole))


def test_nothing_is_said_twice_of_several_yarns() -> None:
    lines = [line for line in text_of(blanket(*NAMES)).splitlines() if len(line) > 40]
    for name in NAMES:
        lines = [line.replace(name, "X") for line in lines]
    advice = [line for line in lines if "dye lot" in line and not line.strip().startswith(("ball", "[ ]"))]
    assert len(advice) == len(set(advice))


def test_german_is_complete_in_the_whole_pattern() -> None:
    made = blanket("Fern", "Clay", straighten=True, border=Border(rounds=2), fringe=Fringe())
    english, german = (text_of(made, lang) for lang in ("en", "de"))
    for before, after in zip(english.splitlines(), german.splitlines(), strict=True):
        words = re.sub(r"Fern|Clay|Ripple blanket|\[ \]|[A-Z] \+ [A-Z]|[\W\d_]", "", before)
        assert len(words) < 3 or before != after, before
    assert "dezimal" not in german and not re.search(r"\d\.\d", german)

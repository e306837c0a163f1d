"""Beside the work: rows in words, what is left after each, and presses that are heard once, whoever hands them over."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("streamlit", reason="skipped: Streamlit is not installed")

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.applications import Starlette
from test_page_gate import ask

from blendplan.errors import BlendplanError
from blendplan.kept import Library, open_library
from blendplan.outputs.beside import beside
from blendplan.outputs.pattern import pattern
from blendplan.page import routes as ours
from blendplan.page.state import demo_workspace
from blendplan.plan import ledger_of, make_plan
from blendplan.quantities import Quantities
from blendplan.workspace import entries_of, work_of

HAND = "phone-3fa2"


def done(seq: int, row: int, kind: str = "done") -> dict[str, Any]:
    return {"seq": seq, "kind": kind, "row": row, "at": "2026-11-26T20:14:00.000Z"}


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> Iterator[Library]:
    monkeypatch.setattr(ours, "SERVED", replace(ours.SERVED, base=""))
    made = open_library(None)[0]
    made.add(entries_of(demo_workspace()), "Hers")
    yield made


def number(library: Library) -> int:
    return library.blankets()[0].id


def rows_done(library: Library) -> int:
    return library.read(number(library), work_of).now.blanket.making.rows_done


# ---- what is shown


@pytest.mark.parametrize("lang", ["en", "de"])
def test_the_page_says_what_the_pattern_and_the_ledger_say(lang: str) -> None:
    blanket = demo_workspace().blanket
    plan = make_plan(blanket)
    shown = beside(plan, lang)
    paper = " ".join(line.text for chapter in pattern(plan, lang).chapters for line in chapter.lines)
    for change in shown["changes"]:
        assert change["said"] in paper
    assert [c["row"] for c in shown["changes"]] == [s.first_row - 1 for s in plan.stripes[1:]]
    for before, after in shown["told"].values():
        assert all(line in paper for line in (*before, *after))
    show = Quantities(blanket.ways.units, lang)
    # What is left, after every row, is the ledger's own, to the gram it tells and to the skein it asks for.
    for n in (0, 1, 7, 8, 9, 40, plan.rows):
        ledger = ledger_of(replace(plan, blanket=replace(blanket, making=replace(blanket.making, rows_done=n))))
        for colour in shown["colours"]:
            at, said, _, warned = [told for told in colour["left"] if told[0] <= n][-1]
            account = ledger.colour(colour["name"])
            assert show.mass(account.left_g) in said or (account.coming_skeins and not account.used_g)
            assert at <= n
            assert account.finished or account.used_g <= 0 or show.mass(account.need_g) in said
            assert bool(warned) == bool(account.lacking_skeins)


def test_counting_changes_one_value_and_nothing_else_that_is_shown() -> None:
    blanket = demo_workspace().blanket
    start = beside(make_plan(blanket))
    after = beside(make_plan(replace(blanket, making=replace(blanket.making, rows_done=20))))
    assert {**start, "rows_done": 20} == after


# ---- what is heard


def test_the_same_row_counts_once_and_two_that_count_are_both_heard(library: Library) -> None:
    blanket = number(library)
    ours.hear(library, blanket, HAND, [done(1, 1), done(2, 2), done(3, 3)])
    ours.hear(library, blanket, "desk-77aa", [done(1, 3)])
    assert rows_done(library) == 3
    ours.hear(library, blanket, "desk-77aa", [done(2, 4)])
    ours.hear(library, blanket, HAND, [done(4, 4), done(5, 5)])
    assert rows_done(library) == 5


def test_what_is_handed_over_twice_is_heard_once_also_after_another_went_back(library: Library) -> None:
    blanket, first = number(library), [done(1, 1), done(2, 2)]
    ours.hear(library, blanket, HAND, first)
    ours.hear(library, blanket, "desk-77aa", [done(1, 2, "back")])
    # The answer was lost on the way, so the phone says all of it again.
    ours.hear(library, blanket, HAND, first)
    assert rows_done(library) == 1
    # The row that is not the last any more is not taken back.
    ours.hear(library, blanket, HAND, [done(3, 2), done(4, 3), done(5, 2, "back")])
    assert rows_done(library) == 3
    ours.hear(library, blanket, HAND, [done(6, 999)])
    assert rows_done(library) == make_plan(demo_workspace().blanket).rows


def test_what_was_heard_once_is_known_after_the_server_began_anew(tmp_path: Path) -> None:
    """Rows taken along are given back again days later: neither a note nor a step back comes twice."""
    blanket, said = 0, [done(1, 1), {**done(2, 1, "note"), "text": "loose"}, done(3, 2), done(4, 2, "back")]
    for _ in range(2):
        kept = open_library(tmp_path)[0]
        blanket = blanket or kept.add(entries_of(demo_workspace()), "Hers")
        ours.hear(kept, blanket, HAND, said)
        ours.hear(kept, blanket, "desk-77aa", [done(1, 2)])
        making = kept.read(blanket, work_of).now.blanket.making
        assert (making.rows_done, [note.text for note in making.notes]) == (2, ["loose"])
        kept.close()


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_lost_answers_and_two_hands_never_lose_a_row(library: Library, data: st.DataObject) -> None:
    blanket = library.add(entries_of(demo_workspace()), "Another")
    hands = {name: [] for name in ("phone-aaaa", "desk-bbbb")}
    counted = 0
    for _ in range(data.draw(st.integers(1, 8))):
        hand = data.draw(st.sampled_from(sorted(hands)))
        # Each goes on from what it last saw or counted itself; what it says may be lost, or come twice.
        counted = min(60, counted + 1)
        hands[hand].append(done(len(hands[hand]) + 1, counted))
        for _ in range(data.draw(st.integers(0, 2))):
            ours.hear(library, blanket, hand, hands[hand])
    for hand, presses in hands.items():
        ours.hear(library, blanket, hand, presses)
    assert library.read(blanket, work_of).now.blanket.making.rows_done == counted


def test_rows_counted_are_not_on_the_undo_list_and_notes_and_weights_are(library: Library) -> None:
    blanket = number(library)
    ours.hear(library, blanket, HAND, [done(1, 1), done(2, 2)])
    assert not library.read(blanket, work_of).can_undo
    yarn = demo_workspace().blanket.yarns[0].key
    weigh = {**done(4, 0, "weigh"), "key": yarn, "grams": "12,5", "unopened": 3}
    note = {**done(3, 2, "note"), "text": "Tight here; <b>7 mm</b>"}
    assert ours.hear(library, blanket, HAND, [note, weigh]) == []
    making = library.read(blanket, work_of).now.blanket.making
    assert making.notes[0].text == note["text"] and making.notes[0].row == 2
    assert (float(making.weighings[-1].left[0].grams), making.weighings[-1].row) == (12.5, 2)
    library.undo(blanket, work_of)
    assert not library.read(blanket, work_of).now.blanket.making.weighings and rows_done(library) == 2
    # What makes no sense is told, and the rest is taken.
    (told,) = ours.hear(library, blanket, HAND, [{**weigh, "seq": 5, "grams": "much"}, done(6, 3)])
    assert "grams left" in str(told) and rows_done(library) == 3


def test_an_unlikely_weight_is_asked_about_and_the_answer_is_taken(library: Library) -> None:
    blanket, yarn = number(library), demo_workspace().blanket.yarns[0]
    ours.hear(library, blanket, HAND, [done(n, n) for n in range(1, 9)])
    weigh = {**done(9, 0, "weigh"), "key": yarn.key, "grams": "1", "unopened": 0}
    ours.hear(library, blanket, HAND, [weigh])
    doubt = ours.beside_now(library, blanket)["doubt"]
    assert doubt["name"] == yarn.name
    ours.hear(library, blanket, HAND, [{**done(10, 0, "answer"), **doubt, "said": "kept"}])
    assert ours.beside_now(library, blanket)["doubt"] is None


JSON = st.recursive(
    st.none() | st.integers() | st.text(),
    lambda s: st.lists(s) | st.dictionaries(st.sampled_from(["hand", "presses", "seq", "kind"]), s),
).map(lambda value: json.dumps(value).encode())


@given(body=st.binary(max_size=200) | JSON)
@settings(max_examples=80, deadline=None)
def test_what_cannot_be_read_is_refused_in_one_line(body: bytes) -> None:
    try:
        hand, presses, _ = ours.read_presses(body)
    except BlendplanError as error:
        assert "cannot be read" in str(error)
    else:
        assert hand.startswith(("phone-", "desk-")) and isinstance(presses, list)


# ---- its routes


def test_the_routes_show_hear_and_follow_a_blanket_and_know_no_other(library: Library) -> None:
    app = Starlette(routes=ours.routes(""))
    where = ours.work_address(library, number(library))
    assert where == ours.work_address(library, number(library))
    status, told, page = ask(app, where)
    assert (
        status == 200
        and b"Reading-room" in page
        and "script-src" in page.decode()
        and told["cache-control"] == "no-store"
    )
    data = json.loads(ask(app, where + "/now")[2])
    assert data["rows_done"] == 0 and data["data"]["rows"] == 68
    same = json.loads(ask(app, where + "/now", query=f"of={data['data']['of']}")[2])
    assert same == {"rows_done": 0}
    before = json.loads(ask(app, where + "/follow")[2])
    said = {"hand": HAND, "of": data["data"]["of"], "presses": [done(1, 1)]}
    heard = json.loads(ask(app, where + "/presses", method="POST", body=json.dumps(said).encode())[2])
    assert heard == {"rows_done": 1, "heard": 1, "wrong": ""}
    assert json.loads(ask(app, where + "/follow")[2])["revision"] > before["revision"]
    picture = ask(app, where + "/picture")
    assert picture[0] == 200 and picture[2][:4] == b"RIFF" and "immutable" in picture[1]["cache-control"]
    assert ask(app, where + "/presses", method="POST", body=b"{}")[0] == 400
    assert ask(app, where + "/presses", method="POST", body=b"x" * 400_000)[0] == 413
    for elsewhere in ("own-1", "0" * 32 + "-1", where.removeprefix("/work/") + "9", "x"):
        assert ask(app, f"/work/{elsewhere}/now")[0] == 404, elsewhere
    assert ask(app, "/work/own-1")[1]["location"] == "/"


def test_a_title_never_ends_the_script_it_stands_in(library: Library) -> None:
    library.rename(number(library), "</script><script>alert(1)</script>", HAND)
    page = ours.work_page({**ours.beside_now(library, number(library)), "place": None})
    assert page.count("<script") == 2 and "alert(1)</script>" not in page


def test_rows_to_take_along_are_one_file_with_all_in_it(library: Library, tmp_path: Path) -> None:
    page = ours.rows_along(library, number(library)).decode("utf-8")
    assert '"place":null' in page and "data:image/webp;base64," in page
    assert "http://" not in page.replace("http://www.w3.org", "") and "src=" not in page

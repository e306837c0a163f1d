"""The picture on the page: strips stacked, one distance for all, hands heard once, and counts made ahead."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from blankets import blanket
from page_hand import at, held
from PIL import Image

pytest.importorskip("streamlit.testing.v1", reason="skipped: Streamlit is not installed")

from blendplan.blanket import Blanket
from blendplan.outputs.render import drawn_stripes, plan_layout
from blendplan.page import edits, sight
from blendplan.picture.distance import Screen
from blendplan.picture.geometry import Ends
from blendplan.plan import make_plan
from blendplan.stripes import edit

APP = str(Path(__file__).parent.parent / "app.py")


def pixels(data: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(data)) as image:
        return np.asarray(image).astype(int)


def strip_of(of: Blanket, from_m: float, screen: Screen | None = None) -> sight._Drawn:
    plan = make_plan(of)
    return sight._Drawn(
        stripe=drawn_stripes(plan)[1],
        layout=plan_layout(plan),
        ends=Ends(),
        back_loops=True,
        from_m=from_m,
        screen=screen or Screen(),
    )


def test_a_greater_distance_takes_contrast_away() -> None:
    near, room = (pixels(strip_of(blanket(), m).pixels("12,1"))[..., :3] for m in (0.5, 4.0))
    # A stripe in large is no view from 4 m yet: contrast of its stitches goes, from one pixel to the next above all.
    assert np.abs(np.diff(room, axis=1)).mean() < 0.7 * np.abs(np.diff(near, axis=1)).mean()


def test_a_whole_blanket_on_the_screen_is_seen_from_afar_already() -> None:
    hand, sofa = (strip_of(blanket(), m).pixels("4,1") for m in (0.5, 2.0))
    assert hand == sofa
    # On a wall as large as the blanket it is not.
    wall = Screen(px_per_cm=5, eye_cm=10)
    assert strip_of(blanket(), 4.0, wall).pixels("4,1") != hand


@pytest.mark.parametrize("how", ["0.1,1", "90,1", "4.4", "4.4,9", "nan,1", "x,y"])
def test_a_scale_that_cannot_be_is_refused(how: str) -> None:
    with pytest.raises(ValueError):
        strip_of(blanket(), 2.0).pixels(how)


# ---- counted ahead, to the skein as the server counts it: the reference is a plan made anew


def test_rows_are_counted_as_a_plan_counts_them() -> None:
    of = blanket("Fern", "Clay", "Milk", solid_rows=6, blend_rows=3)
    counted = sight.count_rows(of, 2, "en")
    assert set(counted) >= {1, 6, 20}
    for rows, found in counted.items():
        made = make_plan(edits.change_stripes(of, lambda t, n=rows: edit.set_rows(t, 2, n)))
        by_name = {c.name: c for c in made.yardage.colours}
        shelf = [by_name[y.name] for y in sight.on_shelf(of)]
        assert [y["buy"] for y in found["yarns"]] == [c.buy_skeins for c in shelf]
        assert [y["used"] for y in found["yarns"]] == pytest.approx([c.need_m / c.skein_m for c in shelf], abs=1e-3)
        assert found["size"] == sight.size_words(of, made.size.width_cm, made.size.height_cm, "en")


def test_moves_and_sizes_are_counted_as_a_plan_counts_them() -> None:
    of = blanket("Fern", "Clay", "Milk", solid_rows=6, blend_rows=3)
    for to, found in sight.count_moves(of, 1, "en").items():
        made = make_plan(edits.change_stripes(of, lambda t, to=to: edit.move(t, 1, to)))
        assert sum(y["buy"] for y in found["yarns"]) == sum(c.buy_skeins or 0 for c in made.yardage.colours)
    for side in ("width", "length"):
        sizes = sight.count_size(of, side, "en")
        assert len(sizes) > 8 and [s["cm"] for s in sizes] == sorted(s["cm"] for s in sizes)
        for one in sizes:
            made = make_plan(sight._sized(of, side, one["cm"]))
            got = made.size.width_cm if side == "width" else made.size.height_cm
            assert got == pytest.approx(one["cm"], abs=0.1), "what the tape says is what comes out"
    assert json.loads(json.dumps(sight.count_size(of, "width", "de")))


def test_a_wanted_length_is_answered_by_stripes_set_by_hand_too_and_held_ones_keep_theirs() -> None:
    of = edits.by_hand(blanket("Fern", "Clay", "Milk", solid_rows=6, blend_rows=3))
    of = edits.change_stripes(of, lambda t: edit.lock(t, 0))
    rise = make_plan(of).size.rise_per_row_cm
    longer = edits.stretch(of, 60 * rise)
    assert sum(s.rows for s in longer.design.stripes) == 60 and longer.design.stripes[0] == of.design.stripes[0]
    assert min(s.rows for s in edits.stretch(of, 5.0).design.stripes) == 1


def test_a_stripe_changed_by_hand_leaves_the_others_as_they_were_drawn() -> None:
    of = blanket("Fern", "Clay", "Milk", solid_rows=6, blend_rows=3, length_cm=160.0)
    drawn = [s.stripe.rows for s in make_plan(of).stripes]
    assert drawn != [s.rows for s in of.design.all_stripes()], "the case would tell nothing"
    pulled = edits.change_stripes(of, lambda t: edit.set_rows(t, 0, drawn[0] + 2))
    assert [s.stripe.rows for s in make_plan(pulled).stripes] == [drawn[0] + 2, *drawn[1:]]


# ---- hands on the picture


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    from streamlit.testing.v1 import AppTest

    monkeypatch.setenv("BLENDPLAN_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("BLENDPLAN_SERVED", raising=False)
    app = AppTest.from_file(APP, default_timeout=180)
    app.session_state["screen-fold"] = True
    app.run()
    assert not app.exception, [e.value for e in app.exception]
    return app


def test_the_ruler_tells_the_screen(page: Any) -> None:
    page.session_state["screen-fold"] = True
    at(page, "fabric")
    page.text_input(key="screen-line").set_value("4").run()
    assert not page.exception and page.session_state["session"].look.screen == Screen.of_line(5, 4.0)
    page.text_input(key="screen-line").set_value("0").run()
    assert not page.exception and "screen-line" in page.session_state["session"].bad


HANDS = """
import streamlit as st
from blendplan.page.main import main
from blendplan.page.sight import hear
from blendplan.page.state import begun
if begun():
    for hand in st.session_state.pop("hands", []):
        hear(hand)
main()
"""


@pytest.fixture
def hands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A page, and a function that lets hands on its picture be heard."""
    from streamlit.testing.v1 import AppTest

    monkeypatch.setenv("BLENDPLAN_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("BLENDPLAN_SERVED", raising=False)
    app = AppTest.from_string(HANDS, default_timeout=180).run()

    def send(*hands: dict[str, Any]) -> Blanket:
        seen = sight.seen_stripes(held(app).blanket)
        app.session_state["hands"] = [{"mount": "a", "seen": seen, **hand} for hand in hands]
        app.run()
        assert not app.exception, [e.value for e in app.exception]
        return held(app).blanket

    return app, send


def test_a_hand_is_heard_once_and_an_older_one_never_after_a_newer(hands: Any) -> None:
    app, send = hands
    start = [s.rows for s in held(app).blanket.design.all_stripes()]
    made = send({"do": "rows", "id": 3, "rows": 6, "n": 2}, {"do": "rows", "id": 3, "rows": 9, "n": 1})
    assert [s.rows for s in made.design.stripes] == [*start[:3], 6, *start[4:]]
    assert send({"do": "rows", "id": 3, "rows": 7, "n": 2}) == made
    assert app.session_state["session"].heard == {"a": 2}


def test_press_move_split_hold_remove_and_size(hands: Any) -> None:
    app, send = hands
    first = held(app).blanket.design.all_stripes()
    send({"do": "press", "id": 3, "n": 1})
    assert app.session_state["session"].chosen == 3
    made = send({"do": "move", "id": 3, "to": 8, "n": 2})
    assert made.design.stripes[8] == first[3] and app.session_state["session"].chosen == 8
    made = send({"do": "split", "id": 8, "n": 3})
    assert [s.rows for s in made.design.stripes[8:10]] == [2, 2]
    assert send({"do": "hold", "id": 8, "n": 4}).design.stripes[8].locked
    made = send({"do": "remove", "id": 9, "n": 5})
    assert len(made.design.stripes) == len(first) and app.session_state["session"].chosen is None
    assert "Stripe 10 is out" in app.session_state["session"].taken_out
    made = send({"do": "size", "side": "width", "cm": 96.0, "n": 6})
    assert make_plan(made).size.width_cm == pytest.approx(96.0, abs=9)
    made = send({"do": "look", "from": "room", "n": 7})
    assert made.design.seen_from_m == 4.0
    send({"do": "look", "grey": True, "n": 8})
    assert app.session_state["session"].look.grey


@pytest.mark.parametrize(
    "hand",
    [
        {"do": "rows", "id": 99, "rows": 3},
        {"do": "rows", "id": 1, "rows": 0},
        {"do": "rows", "id": 1, "rows": "many"},
        {"do": "fly"},
        {"do": "size", "side": "depth", "cm": 3},
        {"do": "move", "id": 1, "to": 4000},
    ],
)
def test_what_makes_no_sense_changes_nothing_and_is_told(hands: Any, hand: dict[str, Any]) -> None:
    app, send = hands
    before = held(app).blanket
    assert send({**hand, "n": 1}) == before and "picture" in app.session_state["session"].bad


def test_a_hand_on_stripes_that_others_changed_meanwhile_changes_nothing(hands: Any) -> None:
    app, send = hands
    before = held(app).blanket
    assert send({"do": "remove", "id": 2, "n": 1, "seen": "older"}) == before
    assert any("changed elsewhere" in n.text for n in app.session_state["session"].told)

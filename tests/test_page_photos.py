"""Photos on the page under the library's own test driver: what the maker did to them stays, and undo takes it back."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scenes
from hypothesis import given
from hypothesis import strategies as st
from page_hand import at, held, put
from PIL import Image

from blendplan.page.reads import free_box, middle_in_quad, turned_box, turned_spot
from blendplan.photo import Pointed
from blendplan.workspace import Find, HowRead, read_workspace, workspace_to_json
from blendplan.yarn import Shade

pytest.importorskip("streamlit.testing.v1", reason="skipped: Streamlit is not installed")

APP = str(Path(__file__).parent.parent / "app.py")
SEED = 55000


def open_app():
    from streamlit.testing.v1 import AppTest

    app = AppTest.from_file(APP, default_timeout=180).run()
    return at(app, "yarn")


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[object]:
    monkeypatch.setenv("BLENDPLAN_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("BLENDPLAN_SERVED", raising=False)
    app = open_app()
    app.button(key="start-own").click().run()
    return app


@pytest.fixture(scope="module")
def photo() -> bytes:
    """Three skeins on white paper."""
    return scenes.make_scene([SEED, 6], ground="paper", yarns=3, only="saturated").data


def add(app, data: bytes, name: str = "skeins.jpg") -> str:
    """Drop a photo on the page, and return what it goes by."""
    turn = app.session_state["session"].uploads
    app.file_uploader(key=f"photos-{turn}").set_value((name, data, "image/jpeg")).run()
    assert not app.exception, [e.value for e in app.exception]
    digest = list(app.session_state["session"].photos)[-1]
    # All that can be done to a photo and its yarns is unfolded.
    app.session_state[f"more-{digest}"] = True
    for i in range(6):
        app.session_state["session"].open.add(f"why-{digest}-{i}")
    app.run()
    return digest


def finds(app):
    return app.session_state["session"].kept.now.extras.finds


def boxes(app) -> list[tuple[int, ...]]:
    return [f.box for f in finds(app)]


def texts(app) -> str:
    return "\n".join(e.proto.body for e in app.get("html"))


def list_shown(app) -> str:
    return "\n".join(e.proto.body for e in app.get("html") if "class='bp-list'" in e.proto.body)


def refusals(app) -> str:
    return "\n".join(e.proto.body for e in app.get("html") if 'class="bp-refused"' in e.proto.body)


def typed(app, digest: str) -> None:
    app.session_state[f"typed-{digest}"] = True
    app.run()


def test_an_emptied_field_takes_its_box_away_and_leaves_the_others_their_names(page, photo) -> None:
    digest = add(page, photo)
    before = boxes(page)
    assert len(before) == 3
    for i, name in enumerate(("one", "two", "three")):
        page.text_input(key=f"find-{digest}-{i}").set_value(name).run()
    typed(page, digest)
    page.text_input(key=f"typed-{digest}-1").set_value(" ").run()
    assert boxes(page) == [before[0], before[2]]
    assert [f.name for f in finds(page)] == ["one", "three"]
    # A box moved by number keeps its name and counts as the maker's.
    moved = tuple(v + 6 for v in before[0])
    page.text_input(key=f"typed-{digest}-0").set_value(",".join(map(str, moved))).run()
    assert [(f.box, f.name, f.by_hand) for f in finds(page)] == [
        (moved, "one", True),
        (before[2], "three", False),
    ]
    page.text_input(key=f"typed-{digest}-0").set_value("10,20,9000,80").run()
    assert "does not lie in" in refusals(page) and boxes(page)[0] == moved


def test_the_last_box_taken_away_leaves_none(page, photo) -> None:
    digest = add(page, photo)
    typed(page, digest)
    for _ in range(3):
        page.text_input(key=f"typed-{digest}-0").set_value("").run()
        assert not page.exception
    assert boxes(page) == [] and list(page.session_state["session"].photos) == [digest]


def test_a_photo_added_again_is_as_the_maker_left_it(page, photo) -> None:
    digest = add(page, photo)
    typed(page, digest)
    page.text_input(key=f"typed-{digest}-1").set_value("").run()
    page.text_input(key=f"find-{digest}-0").set_value("Rust").run()
    page.button(key=f"turn-{digest}").click().run()
    left = finds(page)

    again = open_app()
    assert finds(again) == left and not again.session_state["session"].photos
    assert add(again, photo) == digest
    assert finds(again) == left
    assert again.session_state["session"].photos[digest].photo.full_size == (scenes.HEIGHT, scenes.WIDTH)


def test_a_shade_set_by_eye_is_never_read_over(page, photo) -> None:
    digest = add(page, photo)
    own = replace(finds(page)[0].shades[0], lab=(50.0, 1.0, 2.0), kind="eye", reasons=(), within=None)
    mine = (replace(finds(page)[0], shades=(own,)), *finds(page)[1:])
    put(page, held(page).with_extras(finds=mine))
    page.run()
    page.button(key=f"white-off-{digest}").click().run()
    assert finds(page)[0].shades == (own,)
    assert finds(page)[1].shades != mine[1].shades


def test_a_mended_shade_goes_back_to_what_was_read_also_once_it_is_a_yarn_of_the_blanket(page, photo) -> None:
    digest = add(page, photo)
    read = finds(page)[0].shades
    page.button(key=f"find-{digest}-0-0-lighter").click().run()
    mended = finds(page)[0].shades
    page.button(key="take-fresh").click().run()
    at(page, "yarn")
    assert held(page).blanket.yarns[0].shades == mended != read
    page.button(key="y0-read").click().run()
    assert held(page).blanket.yarns[0].shades == read
    assert not [b for b in page.button if b.key == "y0-read"], "nothing to go back to"


def test_undo_takes_back_how_a_photo_is_read_and_turned(page, photo) -> None:
    digest = add(page, photo)
    held, found, shown = page.session_state["session"].photos[digest], finds(page), list_shown(page)
    assert "White: paper found" in shown
    page.button(key=f"white-off-{digest}").click().run()
    assert finds(page)[0].shades != found[0].shades and "White: paper found" not in list_shown(page)
    page.button(key="undo").click().run()
    assert finds(page) == found and list_shown(page) == shown
    assert f"white-off-{digest}" in {b.key for b in page.button}

    page.button(key=f"turn-{digest}").click().run()
    assert held.photo.full_size == (scenes.HEIGHT, scenes.WIDTH)
    page.button(key="undo").click().run()
    assert held.photo.full_size == (scenes.WIDTH, scenes.HEIGHT) and finds(page) == found
    page.button(key="redo").click().run()
    assert held.photo.full_size == (scenes.HEIGHT, scenes.WIDTH)
    assert boxes(page) == [turned_box(f.box, scenes.HEIGHT) for f in found]


def test_a_quarter_turn_goes_to_the_right_with_the_boxes_and_four_bring_all_back(page, photo) -> None:
    digest = add(page, photo)
    held, found = page.session_state["session"].photos[digest], finds(page)
    before = held.photo.srgb8
    page.button(key=f"turn-{digest}").click().run()
    # The upper left corner goes to the upper right, the lower left one to the upper left.
    assert (held.photo.srgb8[0, -1] == before[0, 0]).all() and (held.photo.srgb8[0, 0] == before[-1, 0]).all()
    assert (held.photo.srgb8 == np.array(Image.fromarray(before).transpose(Image.Transpose.ROTATE_270))).all()
    for old, new in zip(found, finds(page), strict=True):
        left, top, right, bottom = old.box
        inside = before[top:bottom, left:right]
        left, top, right, bottom = new.box
        assert (held.photo.srgb8[top:bottom, left:right] == np.rot90(inside, -1)).all()
        assert new.shades == old.shades and new.picture != old.picture
    for _ in range(3):
        page.button(key=f"turn-{digest}").click().run()
    assert (held.photo.srgb8 == before).all() and finds(page) == found


def chart_picture() -> np.ndarray:
    """A 24-patch chart on dark ground with grey gaps of no width but its own, and a red and a green square beside."""
    from blendplan.photo.references import patch_values

    wanted, _ = patch_values()
    coded = np.where(wanted <= 0.0031308, 12.92 * wanted, 1.055 * np.abs(wanted) ** (1 / 2.4) - 0.055)
    coded = np.rint(255 * np.clip(coded, 0, 1))
    picture = np.full((420, 760, 3), 60, np.uint8)
    for k in range(24):
        row, column = divmod(k, 6)
        picture[40 + row * 60 : 90 + row * 60, 60 + column * 60 : 110 + column * 60] = coded[k]
    picture[60:200, 500:640], picture[240:380, 500:640] = (150, 60, 45), (60, 110, 70)
    return picture


# The patches' outer corners: half a gap outside of the patches themselves.
CORNERS = ((55, 35), (415, 35), (415, 275), (55, 275))


def png(picture: np.ndarray) -> bytes:
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "PNG")
    return out.getvalue()


def test_the_colour_card_button_finds_the_card_and_lets_it_go(page) -> None:
    digest = add(page, png(chart_picture()), "card.png")
    whites = {f"pick-{digest}", f"white-off-{digest}"}
    assert whites <= {b.key for b in page.button}
    page.button(key=f"card-{digest}").click().run()
    assert "colour card was used" in list_shown(page)
    assert not whites & {b.key for b in page.button}, "they would change nothing"
    page.button(key=f"card-{digest}").click().run()
    assert "colour card was used" not in list_shown(page)
    assert whites <= {b.key for b in page.button}


def test_a_card_that_is_not_found_is_given_by_its_corners(page) -> None:
    picture = chart_picture()
    # A hand over half of it: too few patches are left to find it by.
    digest = add(page, png(picture), "card.png")
    typed(page, digest)
    field = f"corners-{digest}-typed"
    page.text_input(key=field).set_value("; ".join(f"{x},{y}" for x, y in CORNERS)).run()
    assert not refusals(page) and "colour card was used" in list_shown(page)
    assert page.text_input(key=field).value == "55,35, 415,35, 415,275, 55,275"
    # Turned with the photo, the corners still hold the card.
    page.button(key=f"turn-{digest}").click().run()
    assert not refusals(page) and "colour card was used" in list_shown(page)
    page.button(key="undo").click().run()
    # The other way round they do not, and nothing is changed by the refusal.
    page.text_input(key=field).set_value("; ".join(f"{x},{y}" for x, y in CORNERS[::-1])).run()
    assert "do not hold a 24-patch colour card" in refusals(page) and "colour card was used" in list_shown(page)
    page.text_input(key=field).set_value("1,2,3").run()
    assert "eight whole numbers" in refusals(page)
    page.text_input(key=field).set_value("").run()
    assert not refusals(page) and "colour card was used" not in list_shown(page)


def test_boxes_on_the_card_go_when_it_comes_into_use_but_not_those_drawn_by_hand(page) -> None:
    digest = add(page, png(chart_picture()), "card.png")
    card = np.array([CORNERS[0], CORNERS[1], CORNERS[2], CORNERS[3]], float)

    def on_card() -> list[tuple[int, ...]]:
        return [b for b in boxes(page) if middle_in_quad(b, card)]

    # Put on the card by the finder, as far as the page knows, beside a square that is yarn.
    shade = finds(page)[0].shades
    drawn = [Find(photo=digest, box=b, shades=shade) for b in ((60, 40, 230, 150), (300, 100, 400, 260))]
    yarn = [f for f in finds(page) if not middle_in_quad(f.box, card)]
    assert yarn
    put(page, held(page).with_extras(finds=(*drawn, *yarn)))
    page.run()
    typed(page, digest)
    page.text_input(key=f"typed-{digest}-1").set_value("310,100,400,260").run()
    assert len(on_card()) == 2
    page.button(key=f"card-{digest}").click().run()
    assert "colour card was used" in list_shown(page)
    assert on_card() == [(310, 100, 400, 260)] and boxes(page)[1:] == [f.box for f in yarn]
    page.button(key="undo").click().run()
    assert len(on_card()) == 2


def test_each_find_shows_all_its_shades_and_why_they_may_be_off(page) -> None:
    from blendplan.yarn import REASONS

    data = scenes.make_scene([SEED, 32], ground="wood", yarns=2, colours=4).data
    digest = add(page, data)
    assert all(len(f.shades) > 1 for f in finds(page)), "the scene shows two yarns of three shades each"
    # She says that the other is one, and takes it back.
    page.button(key=f"dyes-{digest}-1").click().run()
    assert [len(f.shades) > 1 for f in finds(page)] == [True, False]
    page.button(key=f"dyes-{digest}-1").click().run()
    assert all(len(f.shades) > 1 for f in finds(page))
    shown, captions = texts(page), [c.value for c in page.caption]
    for find in finds(page):
        for shade in find.shades:
            share = f", {round(100 * shade.share)} %" if len(find.shades) > 1 else ""
            assert f">{shade.srgb}{share}</span>" in shown
            assert all(any(REASONS[r] in c for c in captions) for r in shade.reasons)
        surest = max(s.within for s in find.shades)
        assert any(f"ay be off by up to {round(surest)} " in c for c in captions)
    assert "no-white" in finds(page)[0].shades[0].reasons


def test_a_light_lent_by_another_photo_stays_when_a_box_is_moved_and_goes_by_undo(page, photo) -> None:
    bare = scenes.make_scene([SEED, 31], ground="wood", yarns=2).data
    first, second = add(page, photo), add(page, bare, "wood.jpg")
    alone = finds(page)
    page.button(key="same-light").click().run()
    how = {h.photo: h for h in page.session_state["session"].kept.now.extras.photos}
    assert how[first].light is None and how[second].light.lent
    shared = [f for f in finds(page) if f.photo == second]
    assert [f.shades for f in shared] != [f.shades for f in alone if f.photo == second]
    # What is kept in the project file brings the light back.
    assert read_workspace(workspace_to_json(page.session_state["session"].kept.now).encode())[0].extras.photos == tuple(
        page.session_state["session"].kept.now.extras.photos
    )
    typed(page, second)
    left, top, right, bottom = shared[0].box
    page.text_input(key=f"typed-{second}-0").set_value(f"{left + 1},{top},{right},{bottom}").run()
    moved = [f for f in finds(page) if f.photo == second]
    assert "shared-light" in moved[0].shades[0].reasons and "no-white" not in moved[1].shades[0].reasons
    page.button(key="undo").click().run()
    page.button(key="undo").click().run()
    assert finds(page) == alone


def test_a_card_lent_by_another_photo_stays_when_a_box_is_moved(page) -> None:
    with_card = add(page, png(chart_picture()), "card.png")
    page.button(key=f"card-{with_card}").click().run()
    without = chart_picture()
    without[:, :480] = 60
    second = add(page, png(without), "without.png")
    page.button(key="same-light").click().run()
    assert "card of another photo was used" in list_shown(page)
    now = page.session_state["session"].kept.now
    assert read_workspace(workspace_to_json(now).encode())[0].extras.photos == now.extras.photos
    typed(page, second)
    page.text_input(key=f"typed-{second}-0").set_value("510,70,630,190").run()
    assert "card of another photo was used" in list_shown(page) and not refusals(page)
    page.button(key=f"card-{second}").click().run()
    assert "card of another photo was used" not in list_shown(page)


def test_standing_advice_is_said_once_beside_yarn_that_is_nearly_white_and_not_of_each_photo(page, photo) -> None:
    from blendplan.photo import load_photo, read_photo

    assert any("easily missed" in n.text for n in read_photo(load_photo(photo, "s.jpg")).notices)
    add(page, photo)
    assert "easily missed" not in list_shown(page)
    assert not any("easily missed" in c.value for c in page.caption), "none of these is nearly white"
    work = held(page)
    white = tuple(replace(find, shades=(Shade.from_hex("#f2efe9"),)) for find in work.extras.finds)
    put(page, work.with_extras(finds=white))
    page.run()
    assert "easily missed" not in list_shown(page)
    assert sum("easily missed" in c.value for c in page.caption) == 1


def test_how_a_photo_is_read_is_kept_in_the_project_file() -> None:
    def read(**changes: object) -> HowRead:
        body = {"format": "blendplan-project", "version": 1, "page": {"photos": [{"photo": "abc", **changes}]}}
        return read_workspace(json.dumps(body).encode())[0].extras.photos[0]

    assert read(white=[3, 4], grey_card=True, quarters=3) == HowRead(
        photo="abc", white=(3, 4), grey_card=True, quarters=3
    )
    assert read(card=[[0, 0], [6, 0], [6, 4], [0, 4]]).card == ((0, 0), (6, 0), (6, 4), (0, 4))
    assert read(card="auto", white="off") == HowRead(photo="abc", card="auto", white="off")
    known = [{"kind": "known", "spot": [3, 4], "srgb": "#b35c37"}]
    assert read(known=known).pointed == (Pointed(kind="known", spot=(3, 4), srgb="#b35c37"),)
    assert read(white=[3, 4], grey_card=True).pointed == (Pointed(kind="grey", spot=(3, 4)),)
    numbers = [0.1, 0.0, 0.0, 1.0, *[0.0] * 7]
    good = {"numbers": numbers, "white_code": 200, "lent": True}
    assert read(light=good).light.numbers == tuple(numbers)
    from blendplan.errors import BlendplanError

    for wrong in (
        {"white": "paper"},
        {"quarters": 4},
        {"card": [[0, 0]]},
        {"known": [{"kind": "known", "spot": [3, 4]}]},
        {"known": [{"kind": "white", "spot": [3, 4], "reflectance": 2}]},
        {"light": {"numbers": [0.1]}},
        {"light": {**good, "numbers": [0.1, 0.0, 0.0, 0.0, *[0.0] * 7]}},
        {"light": {**good, "field": [[900.0, 0.0, 0.0]]}},
        {"light": {**good, "spread": [[1.0]]}},
    ):
        with pytest.raises(BlendplanError):
            read(**wrong)


def test_a_light_that_was_lent_the_old_way_is_told_and_the_rest_of_the_file_opens() -> None:
    for old in ({"white": {"kind": "shared", "linear_rgb": [0.9, 0.8, 0.7]}}, {"card": {"error": 1.0}, "white": "off"}):
        body = {
            "format": "blendplan-project",
            "version": 1,
            "page": {"photos": [{"photo": "abc", "quarters": 1, **old}]},
        }
        work, told = read_workspace(json.dumps(body).encode())
        assert work.extras.photos == (HowRead(photo="abc", quarters=1, white="off" if "card" in old else "auto"),)
        assert any("share light again" in n.text for n in told)


@given(st.integers(1, 900), st.integers(1, 900), st.data())
def test_a_spot_and_a_box_turn_like_the_pixels(width: int, height: int, data: st.DataObject) -> None:
    x, y = data.draw(st.integers(0, width - 1)), data.draw(st.integers(0, height - 1))
    picture = np.zeros((height, width), bool)
    picture[y, x] = True
    row, column = np.argwhere(np.rot90(picture, -1))[0]
    assert turned_spot((x, y), height) == (column, row)
    assert turned_box((x, y, x + 1, y + 1), height) == (column, row, column + 1, row + 1)


def test_a_new_box_is_put_where_there_is_most_room() -> None:
    full = (1200, 900)
    assert middle_in_quad(free_box(full, []), [(540, 400), (660, 400), (660, 500), (540, 500)])
    taken = [(0, 0, 700, 900), (700, 0, 1200, 300)]
    left, top, right, bottom = free_box(full, taken)
    assert 700 <= left < right <= 1200 and 300 <= top < bottom <= 900
    # A photo covered all over still gets a box, where the fewest lie.
    twice = [(0, 0, 1200, 900), (0, 0, 600, 900)]
    left, top, right, bottom = free_box(full, twice)
    assert 600 <= left < right <= 1200 and bottom - top >= 8


@given(
    st.tuples(st.integers(9, 4000), st.integers(9, 4000)),
    st.lists(st.tuples(*[st.floats(0, 1) for _ in range(4)]), max_size=6),
)
def test_a_new_box_lies_in_the_photo(full: tuple[int, int], shares: list[tuple[float, ...]]) -> None:
    taken = []
    for a, b, c, d in shares:
        (left, right), (top, bottom) = sorted((a * full[0], c * full[0])), sorted((b * full[1], d * full[1]))
        taken.append((left, top, right, bottom))
    left, top, right, bottom = free_box(full, taken)
    assert 0 <= left < right <= full[0] and 0 <= top < bottom <= full[1]


def test_yarns_taken_over_leave_no_way_of_reading_behind(page, photo) -> None:
    add(page, photo)
    page.button(key="take-fresh").click().run()
    at(page, "yarn")
    digest = add(page, photo)
    page.button(key=f"white-off-{digest}").click().run()
    assert page.session_state["session"].kept.now.extras.photos
    page.button(key="take-more").click().run()
    extras = page.session_state["session"].kept.now.extras
    assert extras.finds == () == extras.photos
    page.button(key="undo").click().run()
    assert page.session_state["session"].kept.now.extras.photos

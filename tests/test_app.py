"""The page under the library's own test driver: every state, every field, every odd file, nothing unexplained."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from page_hand import at

pytest.importorskip("streamlit.testing.v1", reason="skipped: Streamlit is not installed")

APP = str(Path(__file__).parent.parent / "app.py")
FOLDS = (
    "add-typed",
    "label-all-fold",
    "stripe-list",
    "pairs",
    "find-order",
    "variants",
    "ripple-fold",
    "gauge-fold",
    "yardage-fold",
    "stash-fold",
    "rows-fold",
    "left-fold",
)


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("BLENDPLAN_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("BLENDPLAN_SERVED", raising=False)
    return tmp_path / "home"


@pytest.fixture
def page(home: Path) -> Iterator[object]:
    from streamlit.testing.v1 import AppTest

    app = AppTest.from_file(APP, default_timeout=180)
    app.session_state["more"] = app.session_state["tag-more"] = True
    sound(app.run())
    return app


def sound(app) -> None:
    """No exception reached the page."""
    assert not app.exception, [e.value for e in app.exception]


def texts(app) -> str:
    """All texts shown outside the fields."""
    html = "\n".join(e.proto.body for e in app.get("html"))
    return html + "\n".join(e.value for e in (*app.caption, *app.markdown))


def brief(app):
    return app.session_state["session"].kept.now.blanket


def test_it_opens_with_a_blanket_drawn_and_all_parts_open(page) -> None:
    assert page.get("bidi_component"), "the picture and the shelf"
    for key in FOLDS:
        page.session_state[key] = True
    for place in ("yarn", "buying", "work", "library", "fabric", "stripes", "order"):
        sound(at(page, place))
    look = next(b for b in page.button if b.label == "Look at Softest fade")
    before = brief(page)
    sound(look.click().run())
    assert "Compared:" in texts(page) and brief(page) == before, "looking changes nothing"


def test_start_my_own_is_empty_and_says_what_to_do_next(page) -> None:
    page.button(key="start-own").click().run()
    sound(page)
    assert brief(page) is None
    assert "Your blanket appears here." in texts(page) and "Begin with a photo" in texts(page)
    page.session_state["add-typed"] = True
    page.run()
    page.text_input(key="typed-name").set_value("Fern").run()
    page.text_input(key="typed-colour").set_value("3a6b45").run()
    page.button(key="typed-add").click().run()
    sound(page)
    assert [y.name for y in brief(page).yarns] == ["Fern"] and brief(page).yarns[0].srgb == "#3a6b45"
    page.button(key="undo").click().run()
    page.button(key="undo").click().run()
    assert brief(page).title == "Reading-room blanket", "the demo comes back by undo"
    page.button(key="redo").click().run()
    page.button(key="redo").click().run()
    assert [y.name for y in brief(page).yarns] == ["Fern"]


def test_numbers_take_comma_and_point_and_a_wrong_one_stays_with_its_reason(page) -> None:
    at(page, "yarn")
    page.text_input(key="y0-m").set_value("182,88").run()
    assert float(brief(page).yarns[0].put_up.length_m) == 182.88
    page.text_input(key="y0-m").set_value("182.5").run()
    assert float(brief(page).yarns[0].put_up.length_m) == 182.5
    page.text_input(key="y0-m").set_value("1,000.5").run()
    sound(page)
    assert float(brief(page).yarns[0].put_up.length_m) == 182.5, "nothing is guessed"
    assert page.text_input(key="y0-m").value == "1,000.5" and "write it like 2.5" in texts(page)
    page.text_input(key="y0-m").set_value("-3").run()
    assert "allowed is 0.01 to 50000" in texts(page)
    page.button(key="undo").click().run()
    assert page.text_input(key="y0-m").value == "182.88"


def test_inches_ounces_and_yards_are_exact_both_ways(page) -> None:
    at(page, "yarn")
    page.segmented_control(key="way-units").set_value("imperial").run()
    sound(page)
    page.text_input(key="y0-m").set_value("200").run()
    page.text_input(key="y0-g").set_value("3.5").run()
    from fractions import Fraction

    put_up = brief(page).yarns[0].put_up
    # 1 yd = 0.9144 m and 1 oz = 28.349523125 g, exactly (NIST SP 811, appendix B.8).
    assert put_up.length_m == 200 * Fraction(9144, 10000)
    assert put_up.mass_g == Fraction(7, 2) * Fraction(28349523125, 10**9)
    assert page.text_input(key="y0-m").value == "200" and page.text_input(key="y0-g").value == "3.5"
    at(page, "buying")
    assert " yd" in texts(page) and " in" in texts(page)


def test_an_impossible_ripple_is_refused_with_what_works_and_the_picture_stays(page) -> None:
    at(page, "fabric")
    page.session_state["ripple-fold"] = True
    page.run()
    before = brief(page)
    page.selectbox(key="ripple-valley").set_value("skip-1").run()
    sound(page)
    assert brief(page) == before
    assert 'role="alert"' in texts(page)


def test_stripes_by_hand(page) -> None:
    at(page, "stripes")
    n = len(brief(page).design.all_stripes())
    page.session_state["session"].chosen = 3
    page.run()
    sound(page)
    page.button(key="hand-double").click().run()
    assert len(brief(page).design.stripes) == n + 1 and page.session_state["session"].chosen == 4
    page.button(key="hand-split").click().run()
    assert len(brief(page).design.stripes) == n + 2
    page.button(key="hand-drop").click().run()
    assert page.session_state["session"].chosen is None and "Stripe 5 is out." in texts(page)
    page.button(key="put-back").click().run()
    assert len(brief(page).design.stripes) == n + 2 and "is out" not in texts(page)
    page.session_state["session"].chosen = 4
    page.run()
    page.button(key="hand-lock").click().run()
    sound(page)
    assert brief(page).design.stripes[4].locked
    page.number_input(key="stripe-rows").set_value(3).run()
    assert "is locked" in texts(page)
    page.button(key="tag-close").click().run()
    page.button(key="to-rule").click().run()
    assert brief(page).design.stripes is None and len(brief(page).design.all_stripes()) == n


def test_a_strand_by_its_chip_and_two_stripes_swapped(page) -> None:
    at(page, "stripes")
    page.session_state["session"].chosen = 3
    page.run()
    before = brief(page).design.all_stripes()
    key = brief(page).yarns[5].key
    page.segmented_control(key="strand-1").set_value(key).run()
    sound(page)
    assert brief(page).design.stripes[3].strands == (before[3].strands[0], key)
    page.button(key="hand-swap").click().run()
    assert "Press the other stripe." in texts(page)
    page.button(key="swap-leave").click().run()
    assert "Press the other stripe." not in texts(page)
    page.button(key="hand-up").click().run()
    assert brief(page).design.stripes[4].strands == (before[3].strands[0], key)
    assert page.session_state["session"].chosen == 4, "the tag goes with its stripe"


def test_renaming_reaches_everything(page) -> None:
    at(page, "yarn")
    old = brief(page).yarns[0].name
    page.text_input(key="y0-name").set_value("Moss, 毛糸 =1+1").run()
    sound(page)
    at(page, "stripes")
    assert (
        "Moss, 毛糸 =1+1" in page.selectbox(key="carrier").options and old not in page.selectbox(key="carrier").options
    )
    assert brief(page).design.order[0] == old, "what names the yarn keeps its key"
    at(page, "yarn")
    page.text_input(key="y0-name").set_value(brief(page).yarns[1].name).run()
    assert "give each its own name" in texts(page)


def test_by_eye_steps_are_undone_one_by_one(page) -> None:
    at(page, "yarn")
    shade = brief(page).yarns[0].shades[0]
    page.button(key="y0-0-lighter").click().run()
    page.button(key="y0-0-warmer").click().run()
    moved = brief(page).yarns[0].shades[0]
    assert moved.kind == "eye" and moved.lab[0] > shade.lab[0]
    page.button(key="undo").click().run()
    page.button(key="undo").click().run()
    assert brief(page).yarns[0].shades[0] == shade


def test_the_row_counter_tells_what_comes_next(page) -> None:
    at(page, "work")
    first = brief(page).design.all_stripes()[0]
    for _ in range(2):
        page.button(key="row-done").click().run()
    all_rows = sum(s.rows for s in brief(page).design.all_stripes())
    assert f"Row 3 of {all_rows}: Roof Slate held double." in texts(page)
    # The change is told in the row before its own and in its own.
    for done, said in ((first.rows - 2, "Next row ends in a change."), (first.rows - 1, "This row ends in a change.")):
        page.number_input(key="rows-done").set_value(done).run()
        assert f"{said} Stop before the last pull through of row {first.rows}. Leave " in texts(page)
    page.number_input(key="rows-done").set_value(all_rows).run()
    sound(page)
    assert f"Done. {all_rows} rows." in texts(page)


def test_work_and_undo_come_back_after_a_crash_and_a_damaged_blanket_is_passed_over(page, home: Path) -> None:
    from streamlit.testing.v1 import AppTest

    at(page, "stripes")
    page.number_input(key="solid-rows").set_value(5).run()
    page.number_input(key="solid-rows").set_value(6).run()
    again = AppTest.from_file(APP, default_timeout=180).run()
    assert brief(again) == brief(page)
    again.button(key="undo").click().run()
    assert brief(again).design.solid_rows == 5
    with sqlite3.connect(home / "library.sqlite3") as db:
        db.execute("UPDATE blanket SET body = '{\"design\": 1}'")
    third = AppTest.from_file(APP, default_timeout=180).run()
    sound(third)
    assert "passed over" in texts(third)
    at(third, "stripes").number_input(key="solid-rows").set_value(7).run()
    with sqlite3.connect(home / "library.sqlite3") as db:
        assert len(db.execute("SELECT 1 FROM blanket").fetchall()) == 2, "the damaged blanket is not written over"


def test_what_a_page_of_before_saved_is_taken_over_once_and_left_where_it_is(home: Path) -> None:
    from streamlit.testing.v1 import AppTest

    folder = home / "autosave"
    folder.mkdir(parents=True)
    work = next(iter(sorted(Path(__file__).parent.joinpath("fixtures", "page-1").glob("*.json"))))
    (folder / "r00000007.json").write_bytes(work.read_bytes())
    (folder / "r00000008.json").write_bytes(b"damaged")
    app = AppTest.from_file(APP, default_timeout=180).run()
    sound(app)
    assert brief(app).title == json.loads(work.read_bytes())["title"]
    again = AppTest.from_file(APP, default_timeout=180).run()
    assert brief(again) == brief(app)
    with sqlite3.connect(home / "library.sqlite3") as db:
        assert len(db.execute("SELECT 1 FROM blanket").fetchall()) == 1
    assert len(list(folder.iterdir())) == 2


def test_two_windows_merge_and_the_later_press_on_one_thing_is_told(page) -> None:
    from streamlit.testing.v1 import AppTest

    at(page, "stripes")
    page.number_input(key="solid-rows").set_value(5).run()
    other = at(AppTest.from_file(APP, default_timeout=180).run(), "stripes")
    other.number_input(key="blend-rows").set_value(3).run()
    page.number_input(key="solid-rows").set_value(6).run()
    assert (brief(page).design.solid_rows, brief(page).design.blend_rows) == (6, 3)
    assert "Another window" not in texts(page)


def test_a_folder_that_cannot_be_written_is_told_and_nothing_is_lost(home: Path, monkeypatch) -> None:
    from streamlit.testing.v1 import AppTest

    monkeypatch.setattr("blendplan.kept.shelter.RETRY_S", 0.0)
    home.write_text("a file where the folder should be", encoding="utf-8")
    page = at(AppTest.from_file(APP, default_timeout=180).run(), "stripes")
    page.number_input(key="solid-rows").set_value(5).run()
    sound(page)
    assert "Not saved since" in texts(page) and brief(page).design.solid_rows == 5
    home.unlink()
    page.number_input(key="solid-rows").set_value(6).run()
    assert "Not saved since" not in texts(page)
    assert brief(AppTest.from_file(APP, default_timeout=180).run()).design.solid_rows == 6


def test_a_library_taken_away_is_told_and_begun_anew(page, home: Path, monkeypatch) -> None:
    at(page, "stripes")
    monkeypatch.setattr("blendplan.kept.shelter.RETRY_S", 0.0)
    page.number_input(key="solid-rows").set_value(5).run()
    for file in home.iterdir():
        file.unlink()
    page.number_input(key="solid-rows").set_value(6).run()
    sound(page)
    assert brief(page).design.solid_rows == 6
    page.number_input(key="solid-rows").set_value(7).run()
    assert "Not saved since" not in texts(page)
    assert (home / "library.sqlite3").exists()


def test_served_to_others_nothing_is_written(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from streamlit.testing.v1 import AppTest

    monkeypatch.setenv("BLENDPLAN_SERVED", "1")
    app = at(AppTest.from_file(APP, default_timeout=180).run(), "stripes")
    app.number_input(key="solid-rows").set_value(5).run()
    sound(app)
    assert not home.exists()
    other = AppTest.from_file(APP, default_timeout=180).run()
    assert brief(other).design.solid_rows != 5, "sessions are apart"


def test_skeins_are_bought_and_yarn_is_weighed_by_a_press(page) -> None:
    at(page, "work")
    page.number_input(key="rows-done").set_value(12).run()
    page.session_state["left-fold"] = True
    at(page, "buying")
    page.button(key="bought-planned").click().run()
    sound(page)
    planned = brief(page).making.purchases
    assert planned and all(p.row == 0 for p in planned)
    page.button(key="bought").click().run()
    assert brief(page).making.purchases[-1].row == 12 and brief(page).making.purchases[-1].skeins == 1
    page.button(key="undo").click().run()
    assert brief(page).making.purchases == planned
    # Opened by a press; the skeins not opened are then counted beside the ball that is weighed.
    page.button(key="opened").click().run()
    sound(page)
    (opened,) = brief(page).making.opened
    called = brief(page).called(brief(page).names[opened.yarn])
    owned = sum(lot.skeins for lot in called.lots) + sum(p.skeins for p in planned if p.yarn == opened.yarn)
    assert (opened.row, opened.skeins) == (12, 1)
    page.text_input(key="left-0").set_value("40").run()
    assert page.number_input(key="unopened-0").value == owned - 1
    page.button(key="undo").click().run()
    # Nothing left of any of it cannot be: one question, and three answers in the making.
    page.text_input(key="left-0").set_value("1,5").run()
    sound(page)
    (weighed,) = brief(page).making.weighings[-1].left
    assert float(weighed.grams) == 1.5 and weighed.answer == ""
    # It is asked where she works, too.
    at(page, "work")
    page.button(key="doubt-kept").click().run()
    sound(page)
    assert brief(page).making.weighings[-1].left[0].answer == "kept"
    at(page, "buying")
    assert not [b for b in page.button if b.key == "doubt-kept"]
    # Half typed, it stays with its reason and nothing is lost.
    page.text_input(key="left-0").set_value("12 or").run()
    sound(page)
    assert (
        float(brief(page).making.weighings[-1].left[0].grams) == 1.5 and page.text_input(key="left-0").value == "12 or"
    )
    page.text_input(key="left-0").set_value("-3").run()
    assert "allowed is 0 to 100000 g" in texts(page)


def test_project_files(page) -> None:
    at(page, "stripes")
    saved = page.get("download_button")
    assert saved
    from blendplan.workspace import read_workspace, workspace_to_json

    page.number_input(key="solid-rows").set_value(5).run()
    at(page, "work").button(key="row-done").click().run()
    data = workspace_to_json(page.session_state["session"].kept.now).encode()
    page.button(key="start-own").click().run()
    page.file_uploader(key="open-file").set_value(("../../ñ 毛糸.json", data, "application/json")).run()
    sound(page)
    assert brief(page).design.solid_rows == 5
    assert page.session_state["session"].kept.now.blanket.making.rows_done == 1
    assert workspace_to_json(read_workspace(data)[0]).encode() == data, "the same bytes again"


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "not valid JSON"),
        (b"\xff\xfe", "not UTF-8"),
        (b"{}", "not a blendplan project"),
        (b"[" * 100_000, "nested"),
        (b'{"format": "blendplan-project", "version": 99}', "newer"),
        (b'{"format": "blendplan-project", "version": 1, "yarns": NaN}', "not a number"),
        (
            b'{"format": "blendplan-project", "version": 1, "page": {"crops": [{"yarn": "a", "picture": "PHN2Zz4="}]}}',
            "picture",
        ),
        (
            b'{"format": "blendplan-project", "version": 1, "page": {"rows_done": -4}}',
            "allowed is a whole number from 0",
        ),
    ],
)
def test_a_project_file_that_cannot_be_used_is_told_and_the_work_stays(page, data: bytes, told: str) -> None:
    before = brief(page)
    page.file_uploader(key="open-file").set_value(("x.json", data, "application/json")).run()
    sound(page)
    assert brief(page) == before and told in texts(page)


def test_a_palette_file(page) -> None:
    page.button(key="start-own").click().run()
    page.session_state["add-typed"] = True
    page.run()
    text = "name,srgb,grams,metres\nFern,#3a6b45,100,200\n=1+1,#aa5522,50,\n"
    page.file_uploader(key="palette-file").set_value(("p.csv", text.encode(), "text/csv")).run()
    sound(page)
    if brief(page) is None:
        assert "metres" in texts(page)
        good = "name,srgb,grams,metres\nFern,#3a6b45,100,200\nClay,#aa5522,50,90\n"
        page.file_uploader(key="palette-file").set_value(("p.csv", good.encode("utf-8-sig"), "text/csv")).run()
    assert "Fern" in [y.name for y in brief(page).yarns]


def test_downloads_are_the_same_bytes_twice(page) -> None:
    from blendplan.page.buying import paper_bytes

    made = brief(page)
    for kind, head in (
        ("plan.pdf", b"%PDF"),
        ("picture.png", b"\x89PNG"),
        ("sheet.html", b"<!"),
        ("rows.txt", b""),
        ("stripes.csv", b"\xef\xbb\xbf"),
    ):
        one = paper_bytes(made, kind, "en", "comma")
        paper_bytes.cache_clear()
        assert one == paper_bytes(made, kind, "en", "comma") and one.startswith(head), kind
    text = paper_bytes(made, "shopping.csv", "de", "semicolon").decode("utf-8-sig")
    head, *colours, total = csv.reader(io.StringIO(text), delimiter=";")
    assert (head[0], total[0]) == ("Farbe", "zusammen") and sorted(c[0] for c in colours) == sorted(made.names.values())


def seen_rounds(app) -> int:
    return app.session_state["session"].uploads


def photos_of(app) -> dict:
    return app.session_state["session"].photos


@pytest.fixture(scope="module")
def odd_files(samples: Path) -> list[Path]:
    return sorted(
        p for p in (samples / "oddfiles").rglob("*") if p.is_file() and not p.name.lower().endswith((".csv", ".md"))
    )


@pytest.mark.slow
def test_every_odd_file_is_read_or_refused_in_one_line(odd_files: list[Path], home: Path, monkeypatch) -> None:
    from streamlit.testing.v1 import AppTest

    monkeypatch.setenv("BLENDPLAN_SERVED", "")
    app = AppTest.from_file(APP, default_timeout=180).run()
    at(app, "yarn")
    seen = 0
    for path in odd_files:
        if path.stat().st_size > 40_000_000:
            continue
        turn = seen_rounds(app)
        app.file_uploader(key=f"photos-{turn}").set_value((path.name + ".jpg", path.read_bytes(), "image/jpeg")).run()
        sound(app)
        held = photos_of(app)
        assert held or 'class="bp-refused"' in texts(app), path.name
        seen += bool(held)
        app.session_state["session"].photos = {}
    assert seen > 20, "a fair part of them can be read"


def test_a_photo_becomes_yarns(page) -> None:
    at(page, "yarn")
    from blendplan.demo.photos import DrawnSkein, draw_photo

    data = draw_photo((DrawnSkein(srgb="#a5482f", centre=(0.5, 0.4)),), seed=71)
    page.file_uploader(key="photos-0").set_value(("skein.jpg", data, "image/jpeg")).run()
    sound(page)
    finds = page.session_state["session"].kept.now.extras.finds
    assert len(finds) >= 1 and finds[0].shades
    page.button(key="take-fresh").click().run()
    sound(page)
    assert len(brief(page).yarns) == len(finds) and brief(page).yarns[0].name == "Yarn A"
    body = json.dumps([c.yarn for c in page.session_state["session"].kept.now.extras.crops])
    assert "Yarn A" in body


def test_two_photos_share_one_light_and_yarns_join_the_blanket_in_hand(page) -> None:
    at(page, "yarn")
    from blendplan.demo.photos import DrawnSkein, draw_photo

    for i, srgb in enumerate(("#a5482f", "#3f5a6b")):
        data = draw_photo((DrawnSkein(srgb=srgb, centre=(0.5, 0.4)),), seed=80 + i)
        page.file_uploader(key=f"photos-{i}").set_value((f"{i}.jpg", data, "image/jpeg")).run()
    page.button(key="same-light").click().run()
    sound(page)
    finds = page.session_state["session"].kept.now.extras.finds
    before = len(brief(page).yarns)
    assert len({f.photo for f in finds}) == 2
    page.button(key="take-more").click().run()
    sound(page)
    assert len(brief(page).yarns) == before + len(finds)
    assert brief(page).design.order[-1] == brief(page).yarns[-1].name


def test_a_photo_turned_closed_and_read_without_white(page) -> None:
    at(page, "yarn")
    from blendplan.demo.photos import DrawnSkein, draw_photo

    data = draw_photo((DrawnSkein(srgb="#5d6b3a", centre=(0.5, 0.4)),), seed=90)
    page.file_uploader(key="photos-0").set_value(("s.jpg", data, "image/jpeg")).run()
    digest = next(iter(page.session_state["session"].photos))
    page.session_state[f"more-{digest}"] = True
    page.run()
    size = page.session_state["session"].photos[digest].photo.full_size
    page.button(key=f"turn-{digest}").click().run()
    assert page.session_state["session"].photos[digest].photo.full_size == size[::-1]
    for _ in range(3):
        page.button(key=f"turn-{digest}").click().run()
    assert page.session_state["session"].photos[digest].photo.full_size == size
    assert "White: paper found" in texts(page)
    page.button(key=f"white-off-{digest}").click().run()
    sound(page)
    assert "White: paper found" not in texts(page)
    page.button(key=f"card-{digest}").click().run()
    sound(page)
    page.button(key=f"close-{digest}").click().run()
    sound(page)
    assert not page.session_state["session"].photos and not page.session_state["session"].kept.now.extras.finds


def test_the_yarn_on_hand_shapes_the_blanket(page) -> None:
    at(page, "yarn")
    for i in range(6):
        page.number_input(key=f"y{i}-skeins").set_value(3).run() if f"y{i}-skeins" in keys(page) else None
    page.session_state["stash-fold"] = True
    at(page, "buying")
    sound(page)
    planned = brief(page)
    for key in ("stash-take", "stash-largest", "stash-scarce", "stash-scraps"):
        page.button(key=key).click().run()
        sound(page)
        refused = {"stash", key} & set(page.session_state["session"].bad)
        assert (brief(page) != planned) != bool(refused), f"{key} neither changed the stripes nor said why"
        if brief(page) != planned:
            page.button(key="undo").click().run()
            assert brief(page) == planned


def keys(app) -> set[str]:
    return {w.key for w in (*app.number_input, *app.text_input)}

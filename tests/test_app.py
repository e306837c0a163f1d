"""The page under the library's own test driver: every state, every field, every odd file, nothing unexplained."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("streamlit.testing.v1", reason="skipped: Streamlit is not installed")

APP = str(Path(__file__).parent.parent / "app.py")
FOLDS = (
    "add-photos",
    "add-typed",
    "bands",
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

    app = AppTest.from_file(APP, default_timeout=60).run()
    sound(app)
    return app


def sound(app) -> None:
    """No exception reached the page."""
    assert not app.exception, [e.value for e in app.exception]


def texts(app) -> str:
    """All texts shown outside the fields."""
    html = "\n".join(e.proto.body for e in app.get("html"))
    return html + "\n".join(e.value for e in (*app.caption, *app.markdown))


def brief(app):
    return app.session_state["history"].now.brief


def test_it_opens_with_a_blanket_drawn_and_all_parts_open(page) -> None:
    assert "data:image/jpeg;base64," in texts(page)
    for title in ("Yarn", "Stripes", "Blanket", "Buying", "Making"):
        assert f"<h2>{title}</h2>" in texts(page)
    for key in FOLDS:
        page.session_state[key] = True
    page.run()
    sound(page)
    assert "proven best" in texts(page).lower()


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
    assert brief(page).title == "Reading-room blanket, Vellasund", "the demo comes back by undo"
    page.button(key="redo").click().run()
    page.button(key="redo").click().run()
    assert [y.name for y in brief(page).yarns] == ["Fern"]


def test_numbers_take_comma_and_point_and_a_wrong_one_stays_with_its_reason(page) -> None:
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
    assert " yd" in texts(page) and " in" in texts(page)


def test_an_impossible_ripple_is_refused_with_what_works_and_the_picture_stays(page) -> None:
    page.session_state["ripple-fold"] = True
    page.run()
    before = brief(page)
    page.selectbox(key="ripple-valley").set_value("skip-1").run()
    sound(page)
    assert brief(page) == before
    assert 'role="alert"' in texts(page) and "data:image/jpeg;base64," in texts(page)


def test_stripes_by_hand(page) -> None:
    page.button(key="to-hand").click().run()
    n = len(brief(page).stripes)
    page.button(key="hand-double").click().run()
    assert len(brief(page).stripes) == n + 1
    page.button(key="hand-split").click().run()
    page.button(key="hand-drop").click().run()
    page.toggle(key="hand-lock").set_value(True).run()
    sound(page)
    at = page.session_state["stripe-at"]
    assert brief(page).stripes[at].locked
    page.number_input(key="stripe-rows").set_value(3).run()
    assert "is locked" in texts(page)
    page.button(key="to-rule").click().run()
    assert brief(page).stripes is None and len(brief(page).all_stripes()) == n


def test_renaming_reaches_everything(page) -> None:
    old = brief(page).yarns[0].name
    page.text_input(key="y0-name").set_value("Moss, 毛糸 =1+1").run()
    sound(page)
    assert "Moss, 毛糸 =1+1" in brief(page).sequence.order and old not in brief(page).sequence.order
    page.text_input(key="y0-name").set_value(brief(page).yarns[1].name).run()
    assert "give each its own name" in texts(page)


def test_by_eye_steps_are_undone_one_by_one(page) -> None:
    shade = brief(page).yarns[0].shades[0]
    page.button(key="y0-0-lighter").click().run()
    page.button(key="y0-0-warmer").click().run()
    moved = brief(page).yarns[0].shades[0]
    assert moved.by_eye and moved.lab[0] > shade.lab[0]
    page.button(key="undo").click().run()
    page.button(key="undo").click().run()
    assert brief(page).yarns[0].shades[0] == shade


def test_the_row_counter_tells_what_comes_next(page) -> None:
    first = brief(page).all_stripes()[0]
    for _ in range(2):
        page.button(key="row-done").click().run()
    assert f"Row 3 of {sum(s.rows for s in brief(page).all_stripes())}: stripe 1" in texts(page)
    page.number_input(key="rows-done").set_value(first.rows).run()
    assert "stripe 2, row 1" in texts(page) and "Cut " in texts(page) and "Join " in texts(page)
    page.number_input(key="rows-done").set_value(sum(s.rows for s in brief(page).all_stripes())).run()
    sound(page)
    assert "rows are done" in texts(page)


def test_work_comes_back_after_a_crash_and_a_damaged_version_is_passed_over(page, home: Path) -> None:
    from streamlit.testing.v1 import AppTest

    page.number_input(key="solid-rows").set_value(5).run()
    page.number_input(key="solid-rows").set_value(6).run()
    again = AppTest.from_file(APP, default_timeout=60).run()
    assert brief(again) == brief(page)
    newest = max((home / "autosave").glob("r*.json"))
    newest.write_bytes(newest.read_bytes()[:200])
    third = AppTest.from_file(APP, default_timeout=60).run()
    sound(third)
    assert brief(third).sequence.solid_rows == 5 and "damaged and was passed over" in texts(third)
    third.number_input(key="solid-rows").set_value(7).run()
    assert len(list((home / "autosave").glob("r*.json"))) == 3, "the damaged file is not written over"


def test_a_folder_that_cannot_be_written_is_told_and_nothing_is_lost(page, home: Path) -> None:
    home.parent.mkdir(exist_ok=True)
    home.write_text("a file where the folder should be", encoding="utf-8")
    page.number_input(key="solid-rows").set_value(5).run()
    sound(page)
    assert "could not be saved" in texts(page) and brief(page).sequence.solid_rows == 5
    home.unlink()
    page.number_input(key="solid-rows").set_value(6).run()
    assert "could not be saved" not in texts(page) and list((home / "autosave").glob("r*.json"))


def test_served_to_others_nothing_is_written(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from streamlit.testing.v1 import AppTest

    monkeypatch.setenv("BLENDPLAN_SERVED", "1")
    app = AppTest.from_file(APP, default_timeout=60).run()
    app.number_input(key="solid-rows").set_value(5).run()
    sound(app)
    assert not home.exists()
    other = AppTest.from_file(APP, default_timeout=60).run()
    assert brief(other).sequence.solid_rows != 5, "sessions are apart"


def test_project_files(page) -> None:
    saved = page.get("download_button")
    assert saved
    from blendplan.page.workspace import read_workspace, workspace_to_json

    page.number_input(key="solid-rows").set_value(5).run()
    page.button(key="row-done").click().run()
    data = workspace_to_json(page.session_state["history"].now).encode()
    page.button(key="start-own").click().run()
    page.file_uploader(key="open-file").set_value(("../../ñ 毛糸.json", data, "application/json")).run()
    sound(page)
    assert brief(page).sequence.solid_rows == 5
    assert page.session_state["history"].now.extras.rows_done == 1
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
    from blendplan.page.derive import paper_bytes

    made = brief(page)
    for kind, head in (
        ("pdf", b"%PDF"),
        ("png", b"\x89PNG"),
        ("html", b"<!"),
        ("txt", b""),
        ("stripes", b"\xef\xbb\xbf"),
    ):
        one = paper_bytes(made, kind, "A4", "en", "comma")
        paper_bytes.cache_clear()
        assert one == paper_bytes(made, kind, "A4", "en", "comma") and one.startswith(head), kind
    text = paper_bytes(made, "shopping", "A4", "de", "semicolon").decode("utf-8-sig")
    assert len(list(csv.reader(io.StringIO(text), delimiter=";"))) == len(made.yarns) + 1 or "Skerry" in text


def seen_rounds(app) -> int:
    return app.session_state["upload_round"] if "upload_round" in app.session_state else 0  # noqa: SIM401


def photos_of(app) -> dict:
    return app.session_state["photos"] if "photos" in app.session_state else {}  # noqa: SIM401


@pytest.fixture(scope="module")
def odd_files(samples: Path) -> list[Path]:
    return sorted(
        p for p in (samples / "oddfiles").rglob("*") if p.is_file() and not p.name.lower().endswith((".csv", ".md"))
    )


@pytest.mark.slow
def test_every_odd_file_is_read_or_refused_in_one_line(odd_files: list[Path], home: Path, monkeypatch) -> None:
    from streamlit.testing.v1 import AppTest

    monkeypatch.setenv("BLENDPLAN_SERVED", "")
    app = AppTest.from_file(APP, default_timeout=120).run()
    app.session_state["add-photos"] = True
    app.run()
    seen = 0
    for path in odd_files:
        if path.stat().st_size > 40_000_000:
            continue
        turn = seen_rounds(app)
        app.file_uploader(key=f"photos-{turn}").set_value((path.name + ".jpg", path.read_bytes(), "image/jpeg")).run()
        sound(app)
        held = photos_of(app)
        assert held or 'class="bp-told"' in texts(app), path.name
        seen += bool(held)
        app.session_state["photos"] = {}
    assert seen > 20, "a fair part of them can be read"


def test_a_photo_becomes_yarns(page) -> None:
    from blendplan.demo.photos import DrawnSkein, draw_photo

    data = draw_photo((DrawnSkein(srgb="#a5482f", centre=(0.5, 0.4)),), seed=71)
    page.session_state["add-photos"] = True
    page.run()
    page.file_uploader(key="photos-0").set_value(("skein.jpg", data, "image/jpeg")).run()
    sound(page)
    finds = page.session_state["history"].now.extras.finds
    assert len(finds) >= 1 and finds[0].shades
    page.button(key="take-fresh").click().run()
    sound(page)
    assert len(brief(page).yarns) == len(finds) and brief(page).yarns[0].name == "Yarn 1"
    body = json.dumps([c.yarn for c in page.session_state["history"].now.extras.crops])
    assert "Yarn 1" in body


def test_two_photos_share_one_light_and_yarns_join_the_blanket_in_hand(page) -> None:
    from blendplan.demo.photos import DrawnSkein, draw_photo

    page.session_state["add-photos"] = True
    page.run()
    for i, srgb in enumerate(("#a5482f", "#3f5a6b")):
        data = draw_photo((DrawnSkein(srgb=srgb, centre=(0.5, 0.4)),), seed=80 + i)
        page.file_uploader(key=f"photos-{i}").set_value((f"{i}.jpg", data, "image/jpeg")).run()
    page.button(key="same-light").click().run()
    sound(page)
    finds = page.session_state["history"].now.extras.finds
    before = len(brief(page).yarns)
    assert len({f.photo for f in finds}) == 2
    page.button(key="take-more").click().run()
    sound(page)
    assert len(brief(page).yarns) == before + len(finds)
    assert brief(page).sequence.order[-1] == brief(page).yarns[-1].name


def test_a_photo_turned_closed_and_read_without_white(page) -> None:
    from blendplan.demo.photos import DrawnSkein, draw_photo

    page.session_state["add-photos"] = True
    page.run()
    data = draw_photo((DrawnSkein(srgb="#5d6b3a", centre=(0.5, 0.4)),), seed=90)
    page.file_uploader(key="photos-0").set_value(("s.jpg", data, "image/jpeg")).run()
    digest = next(iter(page.session_state["photos"]))
    size = page.session_state["photos"][digest].photo.full_size
    page.button(key=f"turn-{digest}").click().run()
    assert page.session_state["photos"][digest].photo.full_size == size[::-1]
    for _ in range(3):
        page.button(key=f"turn-{digest}").click().run()
    assert page.session_state["photos"][digest].photo.full_size == size
    assert "White: paper found" in texts(page)
    page.button(key=f"white-off-{digest}").click().run()
    sound(page)
    assert "White: paper found" not in texts(page)
    page.button(key=f"card-{digest}").click().run()
    sound(page)
    page.button(key=f"close-{digest}").click().run()
    sound(page)
    assert not page.session_state["photos"] and not page.session_state["history"].now.extras.finds


def test_the_yarn_on_hand_shapes_the_blanket(page) -> None:
    for i in range(6):
        page.number_input(key=f"y{i}-skeins").set_value(3).run() if f"y{i}-skeins" in keys(page) else None
    page.session_state["stash-fold"] = True
    page.run()
    sound(page)
    planned = brief(page)
    for key in ("stash-take", "stash-largest", "stash-scarce", "stash-scraps"):
        page.button(key=key).click().run()
        sound(page)
        told = brief(page) != planned or "bp-bad" in texts(page) or page.session_state["bad"]
        assert told, f"{key} neither changed the stripes nor said why"
        if brief(page) != planned:
            page.button(key="undo").click().run()
            assert brief(page) == planned


def keys(app) -> set[str]:
    return {w.key for w in (*app.number_input, *app.text_input)}

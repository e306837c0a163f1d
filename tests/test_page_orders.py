"""Orders asked for on the page: against trying every order with other libraries, and against the command line."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from itertools import pairwise, permutations, product
from pathlib import Path

import numpy as np
import order_cases as cases
import pytest
from blankets import blanket, blanket_of, lying
from page_hand import at, held, put

from blendplan.blanket import Blanket, Wishes
from blendplan.page import edits
from blendplan.plan import make_plan
from blendplan.wishes import answers, asked_of, fitted, weights
from blendplan.workspace import Workspace, read_workspace, workspace_to_json
from blendplan.yarn import Shade, Yarn

APP = str(Path(__file__).parent.parent / "app.py")


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    testing = pytest.importorskip("streamlit.testing.v1", reason="skipped: Streamlit is not installed")
    monkeypatch.setenv("BLENDPLAN_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("BLENDPLAN_SERVED", raising=False)
    app = testing.AppTest.from_file(APP, default_timeout=180)
    app.session_state["order-wishes"] = True
    app.run()
    sound(at(app, "order"))
    return app


def sound(app) -> None:
    assert not app.exception, [e.value for e in app.exception]


def brief(app) -> Blanket:
    return app.session_state["session"].kept.now.blanket


def texts(app) -> str:
    return "\n".join(e.proto.body for e in app.get("html")) + "\n".join(e.value for e in app.caption)


def plain(yarns: tuple[Yarn, ...]) -> tuple[Yarn, ...]:
    """Return each yarn with its mean as its one shade, as the formulas of the cases read it."""
    return tuple(Yarn(name=y.name, shades=(Shade(lab=y.lab),)) for y in yarns)


def by_index(yarns: tuple[Yarn, ...], order: tuple[str, ...]) -> np.ndarray:
    names = [y.name for y in yarns]
    return np.array([[names.index(n) for n in order]])


def mixture(
    weights: dict[str, float], yarns: tuple[Yarn, ...], orders: np.ndarray, own: tuple[str, ...], closed: bool = False
) -> np.ndarray:
    """Value of a mix: each aim divided by its mean over all orders, or by the largest step for `even`."""
    half = cases.reference_halves(yarns)
    every = cases.every_order(len(yarns))
    total = np.zeros(len(orders))
    for aim, weight in weights.items():
        value = cases.values(aim, yarns, half, orders, closed=closed, own=own)
        if aim == "even":
            scale = half[~np.eye(len(yarns), dtype=bool)].max()
        else:
            scale = cases.values(aim, yarns, half, every, closed=closed, own=own).mean()
        total += weight * value / scale
    return total


def command(app, tmp_path: Path, capsys: pytest.CaptureFixture[str], *args: str) -> dict[str, object]:
    """Return what the command line says of the same project."""
    from blendplan.cli import main

    path = tmp_path / "work.json"
    path.write_text(workspace_to_json(app.session_state["session"].kept.now), encoding="utf-8")
    assert main(["order", str(path), *args, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_weights_of_several_aims(page, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = brief(page)
    page.multiselect(key="aim-others").set_value(["high-low", "even", "own"]).run()
    page.number_input(key="aim-weight-smoothest").set_value(5).run()
    page.number_input(key="aim-weight-high-low").set_value(7).run()
    page.number_input(key="aim-weight-own").set_value(2).run()
    sound(page)
    made = brief(page)
    assert replace(made, design=replace(made.design, wishes=before.design.wishes)) == before, "only the wishes change"
    wanted = {"smoothest": 5.0, "high-low": 7.0, "even": 1.0, "own": 2.0}
    assert weights(brief(page).design.wishes) == wanted
    start = brief(page)
    yarns = plain(start.yarns)
    value = mixture(wanted, yarns, cases.every_order(len(yarns)), start.design.order)
    # The outside libraries mix in Oklab, which is the near end; the sofa asks for the same order here.
    near = ("--seen-from", "near")
    said = command(page, tmp_path, capsys, "--aim", "smoothest=5,high-low=7,even=1,own=2", *near)
    page.button(key="take-order-0").click().run()
    sound(page)
    taken = brief(page).design.order
    assert taken != start.design.order, "the case would tell nothing"
    assert mixture(wanted, yarns, by_index(yarns, taken), start.design.order)[0] == pytest.approx(value.min(), abs=1e-4)
    assert list(taken) == said["order"] and said["cost"] == pytest.approx(value.min(), abs=1e-4)
    # Another weight gives another best order, so the weights are not ignored.
    other = answers(start, Wishes(others=(("own", 1),)))[0].ordering.order
    assert other != taken
    page.button(key="undo").click().run()
    assert brief(page) == start
    page.button(key="redo").click().run()
    assert brief(page).design.order == taken
    assert read_workspace(workspace_to_json(page.session_state["session"].kept.now).encode())[0].blanket == brief(page)


def test_a_closed_round(page, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # The demo's best open order happens to be its best round too; this palette's is not (test seed).
    yarns = cases.palette(7, 1201)
    made = blanket_of(yarns=yarns, order=tuple(y.name for y in yarns))
    put(page, Workspace(blanket=made))
    page.run()
    half = cases.reference_halves(yarns)
    every = cases.every_order(len(yarns))
    open_best = every[cases.values("smoothest", yarns, half, every).argmin()]
    value = cases.values("smoothest", yarns, half, every, closed=True)
    page.toggle(key="order-closed").set_value(True).run()
    said = command(page, tmp_path, capsys, "--closed")
    page.button(key="take-order-0").click().run()
    sound(page)
    got = by_index(yarns, brief(page).design.order)
    assert cases.values("smoothest", yarns, half, got, closed=True)[0] == pytest.approx(value.min(), abs=1e-4)
    assert list(brief(page).design.order) == said["order"] and said["closed"] is True
    assert cases.values("smoothest", yarns, half, open_best[None], closed=True)[0] > value.min() + 0.1
    # Folded away, the wish still holds and is told.
    page.session_state["order-wishes"] = False
    page.run()
    assert "the last colour meets the first" in texts(page)


def test_four_of_the_yarns(page, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page.toggle(key="order-choose").set_value(True).run()
    page.number_input(key="order-choose-k").set_value(4).run()
    assert "colours most alike are chosen" in texts(page), "what is assumed is told"
    yarns = plain(brief(page).yarns)
    half = cases.reference_halves(yarns)
    some = np.array(list(permutations(range(len(yarns)), 4)))
    value = cases.values("smoothest", yarns, half, some)
    free = set(answers(brief(page), brief(page).design.wishes)[0].ordering.order)
    keep = sorted({y.name for y in yarns} - free)[:1]
    at = [y.name for y in yarns].index(keep[0])
    page.multiselect(key="order-keep").set_value(keep).run()
    said = command(page, tmp_path, capsys, "--choose", "4", "--keep", keep[0])
    left_out = {y.name for y in yarns} - set(said["order"])
    assert f"Left out: {', '.join(y.name for y in yarns if y.name in left_out)}" in texts(page)
    page.button(key="take-order-0").click().run()
    sound(page)
    taken = brief(page).design.order
    assert len(taken) == 4 and keep[0] in taken and list(taken) == said["order"]
    best = value[(some == at).any(axis=1)].min()
    assert cases.values("smoothest", yarns, half, by_index(yarns, taken))[0] == pytest.approx(best, abs=1e-4)
    assert best > value.min() + 0.1, "to keep that yarn costs something"
    # The yarns left out stay on hand and are asked again.
    assert len(brief(page).yarns) == len(yarns) == len(asked_of(brief(page), brief(page).design.wishes))
    page.multiselect(key="order-keep").set_value([y.name for y in yarns[:5]]).run()
    sound(page)
    assert "5 colours are to be kept, but only 4 are to be used" in texts(page)


def test_wishes_forget_what_is_no_longer_there(page) -> None:
    page.toggle(key="order-choose").set_value(True).run()
    page.multiselect(key="order-keep").set_value(["Bean Row"]).run()
    page.selectbox(key="order-first").set_value("Bean Row").run()
    gone = edits.drop_yarn(brief(page), "Bean Row")
    left = fitted(gone)
    assert left.keep == () and left.first == "" and left.choose <= len(gone.yarns)
    two = edits.drop_yarn(
        edits.drop_yarn(edits.drop_yarn(edits.drop_yarn(gone, "Hinge Rust"), "Pewter Spoon"), "Lamp Ochre"),
        "Plaster Rose",
    )
    assert fitted(two).choose == 0


def landscape() -> tuple[bytes, np.ndarray]:
    """A picture whose rows have one colour each, and those colours."""
    from PIL import Image

    rows = np.interp(np.linspace(0, 1, 160), [0, 0.5, 1], [0, 1, 2])
    stops = np.array([[40, 70, 110], [225, 180, 90], [120, 60, 40]], dtype=float)
    colours = np.stack([np.interp(rows, [0, 1, 2], stops[:, c]) for c in range(3)], axis=1).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(np.repeat(colours[:, None], 120, axis=1)).save(out, "PNG")
    return out.getvalue(), colours


def test_an_order_follows_a_picture(page, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from skimage.color import deltaE_ciede2000, rgb2lab

    data, colours = landscape()
    # Begun from an order worked there and back twice with a colour carried through: taking one has to end all three.
    made = brief(page)
    made = edits.change_rule(made, arrange="mirror", times=2, carrier=made.yarns[0].name)
    put(page, Workspace(blanket=made))
    page.session_state["follow-picture-fold"] = True
    page.run()
    assert "draw a line across its colours" in texts(page)
    page.file_uploader(key="scene-0").set_value(("dusk.png", data, "image/png")).run()
    sound(page)
    digest = page.session_state["session"].scene.digest
    page.number_input(key=f"follow-1-{digest}").set_value(150).run()
    page.number_input(key=f"follow-3-{digest}").set_value(20).run()
    page.number_input(key="follow-places-field").set_value(3).run()
    sound(page)
    start = brief(page)
    # Every three stripes of the yarns, no colour beside itself, each stripe and blend against the row of its place.
    yarns = plain(start.yarns)
    lab = np.array([y.lab for y in yarns])
    import colour

    white = np.array([0.95047, 1.0, 1.08883])
    xy = white[:2] / white.sum()
    oklab = colour.XYZ_to_Oklab(colour.Lab_to_XYZ(lab, xy))
    blend = colour.XYZ_to_Lab(colour.Oklab_to_XYZ((oklab[:, None] + oklab[None]) / 2), xy)
    places = np.linspace(150, 20, 64).astype(int)
    met = rgb2lab(colours[places][None] / 255.0)[0]
    at = np.linspace(0, 63, 5)
    wanted = np.stack([np.interp(at, np.arange(64), met[:, c]) for c in range(3)], axis=1)
    costs = {}
    for order in product(range(len(yarns)), repeat=3):
        if any(a == b for a, b in pairwise(order)):
            continue
        stripes = [lab[order[0]], blend[order[0], order[1]], lab[order[1]], blend[order[1], order[2]], lab[order[2]]]
        costs[order] = float(deltaE_ciede2000(np.array(stripes), wanted).sum())
    best = min(costs, key=lambda o: costs[o])
    names = tuple(yarns[i].name for i in best)
    page.button(key="follow-take").click().run()
    sound(page)
    assert brief(page).design.order == names
    taken = brief(page).design
    assert (taken.arrange, taken.times, taken.carrier) == ("once", 1, None)
    (tmp_path / "dusk.png").write_bytes(data)
    line = ["--line", "60,150,60,20", "--places", "3", "--seen-from", "near"]
    said = command(page, tmp_path, capsys, "--follow", str(tmp_path / "dusk.png"), *line)
    assert tuple(said["order"]) == names and said["cost"] == pytest.approx(costs[best], abs=0.01)
    page.button(key="undo").click().run()
    assert brief(page) == start
    # The line turned round reads the picture the other way; a line without length is refused with what to do.
    page.button(key="follow-turn").click().run()
    page.button(key="follow-take").click().run()
    assert brief(page).design.order == names[::-1]
    page.number_input(key=f"follow-1-{digest}").set_value(150).run()
    sound(page)
    assert "the line has no length" in texts(page).lower() and not [b for b in page.button if b.key == "follow-take"]


def test_a_file_that_is_no_picture_is_refused_and_the_page_goes_on(page) -> None:
    page.session_state["follow-picture-fold"] = True
    page.run()
    page.file_uploader(key="scene-0").set_value(("dusk.png", b"not a picture", "image/png")).run()
    sound(page)
    assert "bp-refused" in texts(page) and page.session_state["session"].scene is None


def test_a_move_or_a_few_are_offered_and_taken(page, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    start = brief(page)
    places = [3, 0, 4, 1, 5, 2]
    put(page, replace(held(page), blanket=edits.reorder(start, places)))
    page.run()
    said = command(page, tmp_path, capsys, "--moves", "3")["few_moves"]
    offered = {b.key for b in page.button if b.key and b.key.startswith("few-")}
    assert offered == {f"few-{one['moves']}" for one in said if one["moves"]} and offered
    page.button(key="few-1").click().run()
    sound(page)
    assert list(brief(page).design.order) == next(one["order"] for one in said if one["moves"] == 1)


def test_a_colour_short_of_yarn_stands_at_an_end_where_that_is_wished() -> None:
    start = blanket("Fern", "Clay", "Milk", "Night", "Plum", solid_rows=4, blend_rows=4)
    row = max(make_plan(start).yardage.rows_m)
    # Two strands of four solid rows and one of each blend beside it: 16 rows of a strand inside, 12 at an end.
    first = answers(start, Wishes())[0].ordering.order
    short = first[len(first) // 2]
    grams = round(14 * row / 1.8)
    poor = edits.change_yarn(start, short, lots=lying(parts_g=(grams,)))
    rich = edits.change_yarn(start, short, lots=lying(parts_g=(2 * grams,)))
    wish = Wishes(short_outside=True)
    assert short in {(order := answers(poor, wish)[0].ordering.order)[0], order[-1]}
    assert answers(rich, wish)[0].ordering.order == first == answers(poor, Wishes())[0].ordering.order


def test_two_that_could_change_places_are_shown_the_other_way_round_and_may_be_taken(page) -> None:
    before = brief(page)
    page.button(key="order-look-2").click().run()
    sound(page)
    shown = page.session_state["session"].looking.order
    asked = page.button(key="order-turned-0")
    names = {before.names[key]: key for key in shown}
    one, other = (names[name] for name in names if name in asked.label.replace("\\", ""))
    assert abs(shown.index(one) - shown.index(other)) == 1, "neighbours"
    asked.click().run()
    sound(page)
    assert brief(page) == before, "looking changes nothing"
    use = next(b for b in reversed(page.button) if (b.key or "").startswith("order-use-"))
    use.click().run()
    sound(page)
    swap = {one: other, other: one}
    assert brief(page).design.order == tuple(swap.get(key, key) for key in shown)
    assert replace(brief(page), design=before.design) == before


def test_an_order_taken_leaves_worked_rows_as_they_are(page) -> None:
    begun = edits.change_making(brief(page), rows_done=9)
    put(page, replace(held(page), blanket=begun))
    page.run()
    first = make_plan(begun).stripes[0].stripe.strands
    refused = 0
    for key in [b.key for b in page.button if (b.key or "").startswith("order-use-")]:
        page.button(key=key).click().run()
        sound(page)
        assert make_plan(brief(page)).stripes[0].stripe.strands == first
        if brief(page) == begun:
            refused += "9 rows are worked already" in texts(page)
        put(page, replace(held(page), blanket=begun))
        page.run()
    assert refused, "an order that begins otherwise is among those offered"


def test_an_order_from_dark_to_pale_is_doubted_by_what_it_was_looked_for(page) -> None:
    """Shades drawn about those that were read seldom beat the order that is best of these."""
    page.button(key="order-look-1").click().run()
    sound(page)
    said = texts(page)
    assert "proven best" in said
    swaps = [int(n) for n in re.findall(r"would better change places (\d+) times of 100", said)]
    assert all(n <= 60 for n in swaps), swaps

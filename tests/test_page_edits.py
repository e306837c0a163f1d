"""The page's plain functions: edits of a blanket, project files with the page's extras, inert texts."""

from __future__ import annotations

from dataclasses import replace

import pytest
from blankets import blanket_of
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.blanket import Blanket, Variant
from blendplan.errors import BlendplanError, ProjectError
from blendplan.page import edits, state
from blendplan.page.fields import inert, key_mark, patch, table_html, text_on
from blendplan.plan import make_plan
from blendplan.quantities import figure
from blendplan.workspace import Crop, Extras, Workspace, read_workspace, workspace_to_json
from blendplan.yarn import Shade, Yarn

DOT = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAQAAAC1HAwCAAAAC0lEQVR42mNk+A8AAQUBAScY42YAAAAASUVORK5CYII="


def a_blanket(names: tuple[str, ...] = ("Fern", "Clay", "Milk")) -> Blanket:
    colours = ("#3a6b45", "#a5482f", "#e8e2d4", "#334455")
    yarns = tuple(Yarn(name=n, shades=(Shade.from_hex(c),)) for n, c in zip(names, colours, strict=False))
    return blanket_of(yarns=yarns, order=names, carrier=names[0])


def test_a_new_name_changes_the_yarn_and_nothing_else() -> None:
    first = edits.by_hand(a_blanket())
    made = edits.change_yarn(first, "Fern", name="Moss")
    assert made.yarn("Fern").name == "Moss" and made.design == first.design
    assert [s.stripe.strands[0] for s in make_plan(made).stripes] == ["Moss"] * 3
    assert edits.change_yarn(made, "Fern", name="Fern") == first
    with pytest.raises(BlendplanError, match="give each its own name"):
        edits.change_yarn(first, "Fern", name="Clay")


def test_a_yarn_taken_away_leaves_no_stripe_of_it() -> None:
    made = edits.drop_yarn(a_blanket(), "Clay")
    assert "Clay" not in {n for s in made.design.all_stripes() for n in s.strands}
    one = edits.drop_yarn(made, "Fern")
    assert one.design.carrier is None and [y.name for y in one.yarns] == ["Milk"]
    with pytest.raises(BlendplanError, match="only yarn"):
        edits.drop_yarn(one, "Milk")


@pytest.mark.parametrize("places", [[0, 0, 1], [0, 5], [-1], ["x"], [1.5]])
def test_an_order_that_a_browser_could_not_have_sent_is_refused(places: list[object]) -> None:
    with pytest.raises(BlendplanError):
        edits.reorder(a_blanket(), places)  # type: ignore[arg-type]


def test_letters_follow_the_stripes_and_every_yarn_has_one() -> None:
    brief = edits.reorder(a_blanket(), [2, 0])
    brief = edits.change_design(brief, carrier=None)
    assert edits.signs_of(brief) == {"Milk": "A", "Fern": "B", "Clay": "C"}


def test_a_project_keeps_the_pages_extras_byte_for_byte() -> None:
    first = a_blanket()
    kept = Variant(name="reds in the middle", design=edits.by_hand(first).design)
    extras = Extras(crops=(Crop(yarn="Fern", picture=DOT),))
    work = Workspace(blanket=replace(edits.change_making(first, rows_done=7), variants=(kept,)), extras=extras)
    data = workspace_to_json(work).encode()
    found, notices = read_workspace(data)
    assert found == work and not notices and workspace_to_json(found).encode() == data
    assert read_workspace(workspace_to_json(Workspace(extras=extras)).encode())[0].blanket is None


def test_a_crop_must_be_a_small_picture() -> None:
    for bad in ("", "PHN2ZyBvbmxvYWQ9YWxlcnQoMSk+", "not base64!", DOT + "A" * 70_000):
        with pytest.raises(ProjectError, match="small PNG, JPEG or WebP"):
            Crop(yarn="Fern", picture=bad)


@given(st.text(alphabet=st.characters(codec="utf-8", exclude_categories=("Cs",)), max_size=60))
@settings(max_examples=80, deadline=None)
def test_texts_are_escaped_in_every_piece_of_html(text: str) -> None:
    for made in (
        patch("#336699", text),
        key_mark("#336699", text, text),
        table_html(text, (text,), [("x",)], caption=text),
    ):
        bare = made.replace("<", "\0<").split("\0")
        assert all(
            piece[1:].split(">")[0].split(" ")[0].strip("/") in ALLOWED for piece in bare if piece.startswith("<")
        )


ALLOWED = {"span", "img", "div", "table", "caption", "thead", "tr", "th", "td", "tbody"}


def test_markdown_is_inert() -> None:
    assert inert("[a](http://b) :red[c] $d$ <e>") == r"\[a\]\(http\:\/\/b\) \:red\[c\] \$d\$ \<e\>"


def test_the_ink_on_a_patch_reaches_the_contrast_of_wcag() -> None:
    # WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1; black or white always reaches it on any colour.
    for r in range(0, 256, 15):
        for g in range(0, 256, 15):
            for b in (0, 90, 180, 255):
                parts = [c / 255 for c in (r, g, b)]
                linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
                light = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
                ink = 0.0 if text_on(f"#{r:02x}{g:02x}{b:02x}") == "#000000" else 1.0
                low, high = sorted((light, ink))
                assert (high + 0.05) / (low + 0.05) >= 4.5


def test_figures() -> None:
    assert figure(1 / 3, 2, "de") == "0,33" and figure(1000000, 0) == "1000000"


class Newer(BaseException):
    """What the page library raises in whatever reaches into its state once a newer press has come."""

    rerun_data = "its own"


def test_a_press_is_answered_to_its_end_though_a_newer_one_has_come(monkeypatch: pytest.MonkeyPatch) -> None:
    waiting: list[Newer] = []

    class State(dict):
        def __getitem__(self, key: str) -> object:
            if waiting:
                raise waiting.pop(0)
            return super().__getitem__(key)

        def get(self, key: str, _: object = None) -> object:
            return self[key]

    held = state.Session(kept=None)  # type: ignore[arg-type]
    monkeypatch.setattr(state.st, "session_state", State({state.KEY: held, "rows": 7}))
    waiting += [Newer(), Newer()]
    assert state.typed("rows") == 7, "a callback goes on"
    assert len(held.newer) == 2
    for left in (1, 0):
        with state.drawing(), pytest.raises(Newer):
            state.take_newer()
        assert len(held.newer) == left, "each is answered once, in the order they came"
    state.take_newer()
    waiting.append(Newer())
    with state.drawing(), pytest.raises(Newer):
        state.session()
    assert not held.newer, "drawing gives way at once"
    with state.drawing(), state.drawing(False):
        waiting.append(Newer())
        assert state.session() is held and len(held.newer) == 1

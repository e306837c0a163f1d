"""The page's plain functions: edits of a brief, history, project files with the page's extras, inert texts."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendplan.errors import BlendplanError, ProjectError
from blendplan.page import edits
from blendplan.page.show import figure, inert, key_mark, patch, table_html, text_on, wave
from blendplan.page.workspace import Crop, Extras, History, Variant, Workspace, read_workspace, workspace_to_json
from blendplan.plan import Brief
from blendplan.stripes.sequence import Sequence
from blendplan.yarn import Shade, Yarn

DOT = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAQAAAC1HAwCAAAAC0lEQVR42mNk+A8AAQUBAScY42YAAAAASUVORK5CYII="


def a_brief(names: tuple[str, ...] = ("Fern", "Clay", "Milk")) -> Brief:
    colours = ("#3a6b45", "#a5482f", "#e8e2d4", "#334455")
    yarns = tuple(Yarn(name=n, shades=(Shade.from_hex(c),)) for n, c in zip(names, colours, strict=False))
    return Brief(yarns=yarns, sequence=Sequence(order=names, carrier=names[0]))


def test_a_name_is_changed_wherever_it_stands() -> None:
    brief = edits.by_hand(a_brief())
    made = edits.rename_yarn(brief, "Fern", "Moss")
    assert "Fern" not in json.dumps(
        [
            made.sequence.order,
            made.sequence.carrier,
            [s.strands for s in made.all_stripes()],
            [y.name for y in made.yarns],
        ]
    )
    assert edits.rename_yarn(made, "Moss", "Fern") == brief
    with pytest.raises(BlendplanError, match="give each its own name"):
        edits.rename_yarn(brief, "Fern", "Clay")


def test_a_yarn_taken_away_leaves_no_stripe_of_it() -> None:
    made = edits.drop_yarn(a_brief(), "Clay")
    assert "Clay" not in {n for s in made.all_stripes() for n in s.strands}
    one = edits.drop_yarn(made, "Fern")
    assert one.sequence.carrier is None and [y.name for y in one.yarns] == ["Milk"]
    with pytest.raises(BlendplanError, match="only yarn"):
        edits.drop_yarn(one, "Milk")


@pytest.mark.parametrize("places", [[0, 0, 1], [0, 5], [-1], ["x"], [1.5]])
def test_an_order_that_a_browser_could_not_have_sent_is_refused(places: list[object]) -> None:
    with pytest.raises(BlendplanError):
        edits.reorder(a_brief(), places)  # type: ignore[arg-type]


def test_letters_follow_the_stripes_and_every_yarn_has_one() -> None:
    brief = edits.reorder(a_brief(), [2, 0])
    brief = replace(brief, sequence=replace(brief.sequence, carrier=None))
    assert edits.signs_of(brief) == {"Milk": "A", "Fern": "B", "Clay": "C"}


@given(st.lists(st.integers(0, 3), max_size=30))
@settings(max_examples=60, deadline=None)
def test_undo_and_redo_are_inverse(moves: list[int]) -> None:
    history = History(now=Workspace())
    shadow, at = [Workspace()], 0
    for n, move in enumerate(moves):
        if move < 2:
            new = Workspace(extras=Extras(rows_done=n + 1))
            history, shadow = history.step(new), [*shadow[: at + 1], new]
            at += 1
        elif move == 2:
            history, at = history.undo(), max(0, at - 1)
        else:
            history, at = history.redo(), min(len(shadow) - 1, at + 1)
        assert history.now == shadow[at]
        assert (len(history.past), len(history.future)) == (at, len(shadow) - 1 - at)


def test_a_project_keeps_the_pages_extras_byte_for_byte() -> None:
    brief = a_brief()
    extras = Extras(
        rows_done=7,
        crops=(Crop(yarn="Fern", picture=DOT),),
        variants=(Variant(name="reds in the middle", brief=edits.by_hand(brief)),),
    )
    work = Workspace(brief=brief, extras=extras)
    data = workspace_to_json(work).encode()
    found, notices = read_workspace(data)
    assert found == work and not notices and workspace_to_json(found).encode() == data
    assert read_workspace(workspace_to_json(Workspace(extras=extras)).encode())[0].brief is None


def test_a_crop_must_be_a_small_picture() -> None:
    for bad in ("", "PHN2ZyBvbmxvYWQ9YWxlcnQoMSk+", "not base64!", DOT + "A" * 70_000):
        with pytest.raises(ProjectError, match="small PNG or JPEG"):
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


def test_figures_and_the_ornament() -> None:
    assert figure(1 / 3, 2, "de") == "0,33" and figure(1000000, 0) == "1000000"
    assert wave([]) == "" and 'alt=""' in wave(["#336699"]) and "data:image/svg+xml" in wave(["#336699"])

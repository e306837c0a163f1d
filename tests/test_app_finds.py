"""Yarns found in photos that go by one name: asked about, and taken over as one yarn or as two."""

from __future__ import annotations

import base64
import io
from dataclasses import replace

import pytest
from page_hand import at, put
from PIL import Image
from test_app import brief, home, page, sound, texts  # noqa: F401 - the fixtures are used by name

from blendplan.colour import delta_e_2000
from blendplan.photo import nudge
from blendplan.workspace import Find
from blendplan.yarn import Shade

ROSE = Shade(lab=(57.0, 55.0, 2.0), within=6.0, reasons=("tone-curve",))
NEAR = replace(ROSE, lab=(60.0, 53.0, 3.0), within=3.0, reasons=("few-pixels",))
FAR = replace(ROSE, lab=(80.0, 30.0, 20.0), within=9.0)


def crop_of(srgb: str) -> str:
    out = io.BytesIO()
    Image.new("RGB", (24, 24), srgb).save(out, "PNG")
    return base64.b64encode(out.getvalue()).decode("ascii")


def found(*named: tuple[str, tuple[Shade, ...]]) -> tuple[Find, ...]:
    return tuple(
        Find(photo=f"{i:024d}", box=(0, 0, 9, 9), name=name, shades=shades, picture=crop_of(shades[0].srgb))
        for i, (name, shades) in enumerate(named)
    )


def with_finds(page, *named: tuple[str, tuple[Shade, ...]], demo: bool = True):  # noqa: F811
    now = page.session_state["session"].kept.now
    extras = replace(now.extras, finds=found(*named), demo=demo)
    put(page, replace(now, extras=extras))
    sound(at(page, "yarn"))
    return page


def test_two_finds_of_one_name_become_one_yarn_with_the_mean_shade(page) -> None:  # noqa: F811
    with_finds(page, ("Rose", (ROSE,)), ("  rose ", (NEAR,)), ("Pale", (FAR,)))
    ask = page.segmented_control(key="same-rose")
    assert "one yarn seen twice, or two yarns" in ask.label and ask.value == "one"
    gap = float(delta_e_2000(ROSE.lab, NEAR.lab))
    assert f"They lie {gap:.1f} apart" in texts(page) and "averaged" in texts(page)
    assert "<h2>2 yarns." in texts(page)
    page.button(key="take-fresh").click().run()
    sound(page)
    assert [y.name for y in brief(page).yarns] == ["Rose", "Pale"]
    (shade,) = brief(page).yarns[0].shades
    assert ROSE.lab[0] < shade.lab[0] < NEAR.lab[0]
    # The surer, with a fourth of the variance, draws the mean to itself.
    assert delta_e_2000(shade.lab, NEAR.lab) < delta_e_2000(shade.lab, ROSE.lab) / 2
    assert set(shade.reasons) == {"tone-curve", "few-pixels"}
    crops = {c.yarn: c.picture for c in page.session_state["session"].kept.now.extras.crops}
    assert crops["Rose"] == crop_of(NEAR.srgb), "the crop of the surest"
    assert f"2 readings of Rose, {gap:.1f} CIEDE2000 apart, were averaged" in texts(page)


def test_two_finds_of_one_name_are_kept_apart_if_the_maker_says_so(page) -> None:  # noqa: F811
    with_finds(page, ("Rose", (ROSE,)), ("Rose", (NEAR,)))
    page.segmented_control(key="same-rose").set_value("apart").run()
    assert "<h2>2 yarns." in texts(page)
    page.button(key="take-fresh").click().run()
    assert [(y.name, y.shades) for y in brief(page).yarns] == [("Rose", (ROSE,)), ("Rose 2", (NEAR,))]
    assert "averaged" not in texts(page)
    with_finds(page, ("Rose", (ROSE,)), ("Rose", (NEAR,)))
    assert page.segmented_control(key="same-rose").value == "one", "an answer is for its own finds only"


def test_finds_of_one_name_that_disagree_keep_the_surest_with_its_doubt(page) -> None:  # noqa: F811
    with_finds(page, ("Rose", (FAR,)), ("Rose", (ROSE,)))
    assert "too far to be averaged" in texts(page) and "may be two yarns" in texts(page)
    page.button(key="take-fresh").click().run()
    (shade,) = brief(page).yarns[0].shades
    assert len(brief(page).yarns) == 1 and shade.lab == ROSE.lab and "photos-disagree" in shade.reasons
    assert "too much to be averaged" in texts(page)


def test_finds_without_a_name_are_not_asked_about(page) -> None:  # noqa: F811
    with_finds(page, ("", (ROSE,)), (" ", (NEAR,)))
    assert "one yarn seen twice" not in " ".join(c.label for c in page.segmented_control)
    page.button(key="take-fresh").click().run()
    assert [y.name for y in brief(page).yarns] == ["Yarn A", "Yarn B"]


@pytest.mark.parametrize("eye", [False, True])
def test_a_yarn_in_the_blanket_that_is_seen_again_takes_the_mean_unless_set_by_eye(page, eye: bool) -> None:  # noqa: F811
    with_finds(page, ("Rose", (ROSE,)))
    page.button(key="take-fresh").click().run()
    if eye:
        at(page, "yarn")
        page.button(key="y0-0-darker").click().run()
    before = brief(page).yarns[0].shades[0]
    with_finds(page, ("ROSE", (NEAR,)), ("Pale", (FAR,)), demo=False)
    assert "in the blanket already" in page.segmented_control(key="same-rose").label
    page.button(key="take-more").click().run()
    sound(page)
    assert [y.name for y in brief(page).yarns] == ["Rose", "Pale"]
    assert brief(page).design.order == ("Rose", "Pale")
    (shade,) = brief(page).yarns[0].shades
    if eye:
        assert shade == before == nudge(ROSE, lighter=-1) and "by eye, and that is kept" in texts(page)
    else:
        assert ROSE.lab[0] < shade.lab[0] < NEAR.lab[0]
    page.button(key="undo").click().run()
    assert len(page.session_state["session"].kept.now.extras.finds) == 2 and len(brief(page).yarns) == 1

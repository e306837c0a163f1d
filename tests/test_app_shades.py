"""The shades of a yarn on the page: steps by eye, the typed code, and parts split, joined, dropped and moved."""

from __future__ import annotations

import base64
import io
from dataclasses import replace

import numpy as np
import pytest
from page_hand import at, put
from PIL import Image
from test_app import brief, home, page, sound, texts  # noqa: F401 - the fixtures are used by name

from blendplan.colour import delta_e_2000, linear_to_lab, srgb_to_linear
from blendplan.page import edits
from blendplan.yarn import Shade

READ = Shade(lab=(52.0, 30.0, 12.0), within=6.0, reasons=("tone-curve",))
PARTS = (
    replace(READ, lab=(30.0, 10.0, -20.0), share=0.5),
    replace(READ, lab=(80.0, 0.0, 30.0), share=0.3),
    replace(READ, lab=(55.0, 40.0, 20.0), share=0.2),
)


def with_shades(page, *shades: Shade):  # noqa: F811
    """The page with the first yarn read as these shades."""
    now = page.session_state["session"].kept.now
    yarns = (replace(now.blanket.yarns[0], shades=shades), *now.blanket.yarns[1:])
    put(page, replace(now, blanket=edits.change_materials(now.blanket, yarns=yarns)))
    sound(at(page, "yarn"))
    return page


def shades(page) -> tuple[Shade, ...]:  # noqa: F811
    return brief(page).yarns[0].shades


def largest(page):  # noqa: F811
    """The find with the largest box."""
    return max(
        page.session_state["session"].kept.now.extras.finds,
        key=lambda f: (f.box[2] - f.box[0]) * (f.box[3] - f.box[1]),
    )


def chroma(shade: Shade) -> float:
    return float(np.hypot(*shade.lab[1:]))


# Lightness L*, warmth towards orange as the sum of a* (red) and b* (yellow), chroma: CIE 15 gives the axes' meaning.
@pytest.mark.parametrize(
    ("step", "back", "of"),
    [
        ("lighter", "darker", lambda s: s.lab[0]),
        ("warmer", "cooler", lambda s: s.lab[1] + s.lab[2]),
        ("brighter", "greyer", chroma),
    ],
)
@pytest.mark.parametrize("lab", [(52.0, 30.0, 12.0), (52.0, -8.0, -18.0)])
def test_each_step_moves_its_own_way(page, step: str, back: str, of, lab) -> None:  # noqa: F811
    with_shades(page, replace(READ, lab=lab))
    page.button(key=f"y0-0-{step}").click().run()
    up = shades(page)[0]
    assert of(up) > of(replace(READ, lab=lab))
    page.button(key=f"y0-0-{back}").click().run()
    page.button(key=f"y0-0-{back}").click().run()
    sound(page)
    assert of(shades(page)[0]) < of(replace(READ, lab=lab)) < of(up)


def test_a_step_and_a_typed_code_leave_the_same_doubt(page) -> None:  # noqa: F811
    with_shades(page, READ)
    page.session_state["why-y0"] = True
    page.run()
    assert "It may be off by up to 6" in texts(page) and "close: between these" in texts(page)
    page.button(key="y0-0-lighter").click().run()
    stepped = shades(page)[0]
    assert "ay be off by up to" not in texts(page) and "tone curve" not in texts(page) and "set by eye" in texts(page)
    page.button(key="undo").click().run()
    page.text_input(key="y0-0-hex").set_value(stepped.srgb).run()
    typed = shades(page)[0]
    assert (typed.within, typed.reasons, typed.kind) == (stepped.within, stepped.reasons, stepped.kind)
    assert typed.within is None and "ay be off by up to" not in texts(page)


def test_a_shade_is_split_in_two_halves(page) -> None:  # noqa: F811
    with_shades(page, READ)
    page.button(key="y0-0-split").click().run()
    assert [s.share for s in shades(page)] == [0.5, 0.5] and {s.lab for s in shades(page)} == {READ.lab}
    page.button(key="y0-1-darker").click().run()
    assert shades(page)[0] == replace(READ, share=0.5) and shades(page)[1].lab[0] < READ.lab[0]


def test_a_shade_is_merged_with_the_one_above_it_and_no_other(page) -> None:  # noqa: F811
    with_shades(page, *PARTS)
    assert "y0-0-merge" not in {b.key for b in page.button}
    page.button(key="y0-2-merge").click().run()
    sound(page)
    first, joined = shades(page)
    assert first == PARTS[0] and joined.share == 0.5
    # Three parts of the second and two of the third lie between them, nearer the second.
    assert 55 < joined.lab[0] < 80 and delta_e_2000(joined.lab, PARTS[1].lab) < delta_e_2000(joined.lab, PARTS[0].lab)


def test_a_shade_is_dropped_and_the_others_take_its_share(page) -> None:  # noqa: F811
    with_shades(page, *PARTS)
    page.button(key="y0-0-drop").click().run()
    assert [(s.lab, s.share) for s in shades(page)] == [(PARTS[1].lab, 0.6), (PARTS[2].lab, 0.4)]
    page.button(key="y0-1-drop").click().run()
    assert "y0-0-drop" not in {b.key for b in page.button}, "the last shade stays"


def test_a_shade_is_moved_up(page) -> None:  # noqa: F811
    with_shades(page, *PARTS)
    assert "y0-0-up" not in {b.key for b in page.button}
    page.button(key="y0-2-up").click().run()
    assert shades(page) == (PARTS[0], PARTS[2], PARTS[1])
    page.button(key="y0-1-up").click().run()
    sound(page)
    assert shades(page) == (PARTS[2], PARTS[0], PARTS[1])
    page.button(key="undo").click().run()
    assert shades(page) == (PARTS[0], PARTS[2], PARTS[1])


def test_the_crop_beside_a_shade_is_in_the_shades_own_light(page) -> None:  # noqa: F811
    from blendplan.demo.photos import DrawnSkein, draw_photo

    at(page, "yarn")
    # The drawn lamp is a bulb whose cast the camera hardly takes out.
    data = draw_photo((DrawnSkein(srgb="#8a8f94", centre=(0.5, 0.4)),), seed=71, balance=0.2)
    page.file_uploader(key="photos-0").set_value(("skein.jpg", data, "image/jpeg")).run()
    sound(page)
    find = largest(page)
    # So warm a ground may be a cream cloth: the page asks, and yes reads the photo anew.
    assert "no-white" in find.shades[0].reasons
    page.button(key=f"ask-1-{find.photo}").click().run()
    sound(page)
    assert f"ask-1-{find.photo}" not in {b.key for b in page.button}
    find = largest(page)
    assert "no-white" not in find.shades[0].reasons
    (held,) = page.session_state["session"].photos.values()

    def grey_cast(picture: Image.Image) -> float:
        """Yellow of the middle, b*, where there is yarn."""
        w, h = picture.size
        part = np.asarray(picture.convert("RGB").crop((w // 3, h // 3, 2 * w // 3, 2 * h // 3))) / 255
        return float(linear_to_lab(srgb_to_linear(part).mean(axis=(0, 1)))[2])

    crop = Image.open(io.BytesIO(base64.b64decode(find.picture)))
    scale = held.photo.scale
    seen = Image.fromarray(held.photo.srgb8.copy()).crop(tuple(round(v * scale) for v in find.box))
    assert grey_cast(seen) > 12, "the lamp is to be seen in the photo"
    # Grooves and fluff hold some of the lamp's warmth, so the whole is a little yellower than the tops that are read.
    shade = find.shades[0].lab[2]
    assert abs(grey_cast(crop) - shade) < 0.3 * abs(grey_cast(seen) - shade)
    page.session_state[f"more-{find.photo}"] = True
    page.run()
    page.button(key=f"white-off-{find.photo}").click().run()
    find = largest(page)
    assert grey_cast(Image.open(io.BytesIO(base64.b64decode(find.picture)))) > 12, "without white nothing is corrected"

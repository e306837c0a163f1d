"""A phone in the hand: its camera to a shade, and boxes drawn with a finger, in a real Chromium."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
from browser_page import open_page, settle, shot, still, until
from PIL import Image

pytestmark = pytest.mark.browser

# What the camera sees, drawn here: one yarn on white paper.
WIDE, HIGH = 640, 480
YARN = (60, 95, 110)


def picture() -> bytes:
    """Return what the camera takes: a yarn on white paper, as JPEG."""
    rng = np.random.default_rng(11)
    rgb = np.full((HIGH, WIDE, 3), 228.0)
    rgb[110:370, 170:470] = YARN
    # Strands whose mean is the yarn; a smooth thing that keeps the ground's hue would be a shadow.
    rgb[110:370, 170:470] *= np.where(np.arange(260) % 10 < 4, 0.85, 1.1)[:, None, None]
    out = io.BytesIO()
    Image.fromarray(np.clip(rgb + rng.normal(0, 2, rgb.shape), 0, 255).astype(np.uint8)).save(out, "JPEG", quality=92)
    return out.getvalue()


@pytest.fixture(scope="module")
def phone(browser, served: str):
    return open_page(browser, served, width=390, height=844, device_scale_factor=2, is_mobile=True, has_touch=True)


def swipe(page, start: tuple[float, float], end: tuple[float, float]) -> None:
    """Draw one finger over the screen, as the browser gets it from a touch screen."""
    line = page.context.new_cdp_session(page)
    line.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": start[0], "y": start[1]}]})
    for k in range(1, 9):
        x, y = (a + (b - a) * k / 8 for a, b in zip(start, end, strict=True))
        line.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [{"x": x, "y": y}]})
        page.evaluate("() => new Promise(requestAnimationFrame)")
    line.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    line.detach()


def test_a_camera_shot_becomes_a_shade(phone) -> None:
    from blendplan.colour import delta_e_2000, hex_to_lab

    with phone.expect_file_chooser() as chooser:
        phone.get_by_role("button", name="Photograph my yarn").tap()
    # What asks the phone for its camera and not for its files (W3C, HTML Media Capture).
    field = chooser.value.element
    assert field.get_attribute("capture") == "environment" and "image/*" in field.get_attribute("accept")
    chooser.value.set_files({"name": "shot.jpg", "mimeType": "image/jpeg", "buffer": picture()})
    phone.wait_for_selector(".yp-cmp b")
    settle(phone)
    assert phone.locator(".yp-cmp").count() == 1
    shown = phone.evaluate("getComputedStyle(document.querySelector('.yp-cmp b')).backgroundColor")
    srgb = "#" + "".join(f"{int(v):02x}" for v in re.findall(r"\d+", shown)[:3])
    shot(phone, "phone-camera")
    # The same bound as for a photo file in the whole job: the paper is drawn grey and read as white paper.
    assert float(delta_e_2000(hex_to_lab(srgb), hex_to_lab("#{:02x}{:02x}{:02x}".format(*YARN)))) < 9, srgb


def test_a_finger_draws_a_box_only_when_asked_to(phone) -> None:
    stage = phone.locator(".stage")
    stage.scroll_into_view_if_needed()
    before = phone.locator(".box").count()
    main = phone.locator("[data-testid=stMain]")

    def spots() -> tuple[tuple[float, float], tuple[float, float]]:
        # From the lower left corner of the photo, which is bare paper, to its middle.
        place = stage.bounding_box()
        return (
            (place["x"] + 0.04 * place["width"], place["y"] + 0.95 * place["height"]),
            (place["x"] + 0.60 * place["width"], place["y"] + 0.40 * place["height"]),
        )

    # Without a press on the button the finger draws nothing: it scrolls.
    still(phone, ".stage")
    swipe(phone, *spots())
    settle(phone, 600)
    assert phone.locator(".box").count() == before

    phone.get_by_role("button", name="Draw with the finger").tap()
    still(phone, ".stage")
    stage.scroll_into_view_if_needed()
    still(phone, ".stage")
    top = main.evaluate("e => e.scrollTop")
    start, end = spots()
    swipe(phone, start, end)
    until(phone, phone.locator(".yp-cmp").count, lambda n: n == before + 1)
    still(phone, ".stage")
    assert abs(main.evaluate("e => e.scrollTop") - top) < 20, "the page stays under a drawing finger"
    # Drawn over the box that was there, from corner to corner of the finger's way.
    drawn = phone.locator(".box").last.bounding_box()
    stage_now, wide = stage.bounding_box(), abs(end[0] - start[0])
    assert drawn["width"] == pytest.approx(wide, abs=6)
    assert drawn["x"] - stage_now["x"] == pytest.approx(0.04 * stage_now["width"], abs=6)
    shot(phone, "phone-drawn")

"""A phone in the hand: its camera to a shade, and boxes drawn with a finger, in a real Chromium."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from browser_page import chromium, chromium_path, page_server, settle, shot, unfold

pytestmark = pytest.mark.browser

# What the camera sees, drawn here: one yarn on white paper. BT.601 in video range, as the file format has it.
WIDE, HIGH = 640, 480
YARN = (60, 95, 110)


def film(path: Path) -> None:
    """Write a film of one still picture as uncompressed YUV4MPEG2 (4:2:0)."""
    rng = np.random.default_rng(11)
    rgb = np.full((HIGH, WIDE, 3), 228.0)
    rgb[110:370, 170:470] = YARN
    rgb[110:370, 170:470] *= (1 - 0.1 * (np.arange(260) % 10 < 3))[:, None, None]
    r, g, b = np.moveaxis(np.clip(rgb + rng.normal(0, 2, rgb.shape), 0, 255), 2, 0)
    y = 16 + (65.738 * r + 129.057 * g + 25.064 * b) / 256
    u = 128 + (-37.945 * r - 74.494 * g + 112.439 * b) / 256
    v = 128 + (112.439 * r - 94.154 * g - 18.285 * b) / 256
    half = [p.reshape(HIGH // 2, 2, WIDE // 2, 2).mean(axis=(1, 3)) for p in (u, v)]
    frame = b"FRAME\n" + b"".join(np.rint(p).astype(np.uint8).tobytes() for p in (y, *half))
    path.write_bytes(f"YUV4MPEG2 W{WIDE} H{HIGH} F10:1 Ip A1:1 C420jpeg\n".encode() + frame * 3)


@pytest.fixture(scope="module")
def phone(tmp_path_factory: pytest.TempPathFactory) -> Iterator[object]:
    chromium_path()
    folder = tmp_path_factory.mktemp("phone")
    film(folder / "camera.y4m")
    camera = [
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={folder / 'camera.y4m'}",
    ]
    with page_server(folder / "home", BLENDPLAN_SERVED="1") as address, chromium(*camera) as started:
        context = started.new_context(
            viewport={"width": 390, "height": 844},
            device_scale_factor=2,
            is_mobile=True,
            has_touch=True,
            permissions=["camera"],
        )
        page = context.new_page()
        page.goto(address)
        settle(page)
        page.get_by_role("button", name="Start my own").tap()
        settle(page)
        yield page


def swipe(page, start: tuple[float, float], end: tuple[float, float]) -> None:
    """Draw one finger over the screen, as the browser gets it from a touch screen."""
    line = page.context.new_cdp_session(page)
    line.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": start[0], "y": start[1]}]})
    for k in range(1, 9):
        x, y = (a + (b - a) * k / 8 for a, b in zip(start, end, strict=True))
        line.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [{"x": x, "y": y}]})
        page.wait_for_timeout(25)
    line.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    line.detach()


def test_a_camera_shot_becomes_a_shade(phone) -> None:
    from blendplan.colour import delta_e_2000, hex_to_lab

    unfold(phone, "camera-fold")
    # A browser plays only what is in sight; pressed before the film plays, the shot is black.
    phone.locator("video").first.scroll_into_view_if_needed()
    phone.wait_for_function(
        "[...document.querySelectorAll('video')].some(v => v.videoWidth > 0 && !v.paused && v.currentTime > 0)",
        timeout=20_000,
    )
    # On a busy machine the picture may stand before the button takes a press: then it is pressed again.
    taken = phone.locator("[class*='st-key-photo-']").first
    for _ in range(4):
        phone.get_by_test_id("stCameraInputButton").first.tap()
        try:
            taken.wait_for(timeout=15_000)
            break
        except Exception:  # noqa: BLE001 - Playwright's own timeout, whose import would need Playwright at the top
            continue
    taken.wait_for(timeout=5_000)
    settle(phone)
    assert phone.locator(".st-key-add-photos .bp-patch").count() == 1
    shown = phone.evaluate("getComputedStyle(document.querySelector('.st-key-add-photos .bp-flat')).backgroundColor")
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

    # Without a press on the button the finger draws nothing.
    swipe(phone, *spots())
    phone.wait_for_timeout(600)
    assert phone.locator(".box").count() == before

    phone.get_by_role("button", name="Draw with the finger").tap()
    stage.scroll_into_view_if_needed()
    top = main.evaluate("e => e.scrollTop")
    start, end = spots()
    swipe(phone, start, end)
    phone.wait_for_function(f"document.querySelectorAll('.st-key-add-photos .bp-patch').length === {before + 1}")
    settle(phone)
    assert abs(main.evaluate("e => e.scrollTop") - top) < 20, "the page stays under a drawing finger"
    # Drawn over the box that was there, from corner to corner of the finger's way.
    drawn = phone.locator(".box").last.bounding_box()
    stage_now, wide = stage.bounding_box(), abs(end[0] - start[0])
    assert drawn["width"] == pytest.approx(wide, abs=6)
    assert drawn["x"] - stage_now["x"] == pytest.approx(0.04 * stage_now["width"], abs=6)
    shot(phone, "phone-drawn")

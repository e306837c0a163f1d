"""What white and the colour card rest on, each on a drawing made for it.

The truths are the numbers that the drawings were made of; seed 7100, no part in tuning.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pytest
import scenes
from PIL import Image

from blendplan.colour import delta_e_2000, hex_to_linear, lab_to_linear, linear_to_lab, linear_to_srgb
from blendplan.errors import PhotoError
from blendplan.photo import Photo, Place, load_photo, read_photo
from blendplan.photo.light import PAPER_LEVEL
from blendplan.photo.white import Paper, White, believe, find_paper, shrink

SEED = 7100
BLUE, OCHRE, GREY = (hex_to_linear(c) for c in ("#3f6e9a", "#c9953f", "#8f8f8d"))


def photo_of(linear: np.ndarray):
    rng = np.random.default_rng(SEED)
    noisy = linear * (1 + 0.01 * rng.normal(size=linear.shape[:2])[..., None])
    out = io.BytesIO()
    Image.fromarray(np.rint(255 * linear_to_srgb(np.clip(noisy, 0, 1))).astype(np.uint8)).save(out, "PNG")
    return load_photo(out.getvalue(), "drawn.png")


def ball(picture: np.ndarray, middle: tuple[int, int], light: np.ndarray, radius: int = 70) -> None:
    rows, columns = np.indices(picture.shape[:2])
    inside = (rows - middle[0]) ** 2 + (columns - middle[1]) ** 2 < radius**2
    picture[inside] = (scenes.strands(picture.shape[:2])[..., None] * light)[inside]


def paper_of(photo: Photo) -> Paper:
    return find_paper(shrink(photo), photo.full_size)


def read_again(photo: Photo, white: White) -> White:
    assert white.spot is not None
    return believe(photo, shrink(photo), white.spot)[0]


def test_a_red_that_is_full_is_read_in_the_shade_of_the_paper() -> None:
    rows, columns = np.indices((300, 400))
    shade = 1 - 0.45 * np.exp(-(((rows - 150) / 40) ** 2 + ((columns - 300) / 40) ** 2) / 2)
    lamp = np.array([1.42, 0.86, 0.52])
    picture = 0.87 * shade[..., None] * lamp
    ball(picture, (150, 130), BLUE * lamp)
    photo = photo_of(np.clip(picture, 0, 1))
    (asked,) = paper_of(photo).ask
    white = read_again(photo, asked)
    assert white.clipped > 0.5 and white.linear_rgb == pytest.approx(asked.linear_rgb)
    seen = np.log(np.array(white.linear_rgb) / white.linear_rgb[1])
    assert np.abs(seen - np.log(lamp / lamp[1])).max() < 0.03


def test_paper_under_a_bulb_that_holds_no_blue_is_asked_about_and_its_red_stays_a_bulbs() -> None:
    # A 2700 K black body has red over green of 2.4 in linear sRGB (Planck, CIE 1931, IEC 61966-2-1); this camera
    # balanced a little of that and left no blue.
    lamp = np.array([1.5, 0.8, 0.1])
    picture = np.broadcast_to(0.87 * lamp, (300, 400, 3)).copy()
    ball(picture, (150, 130), OCHRE * lamp)
    photo = photo_of(np.clip(picture, 0, 1))
    paper = paper_of(photo)
    assert paper.taken is None
    for seen in (*paper.ask, believe(photo, shrink(photo), (350.0, 40.0))[0]):
        assert abs(np.log(seen.linear_rgb[0] / seen.linear_rgb[1]) - np.log(1.5 / 0.8)) < 0.3


@pytest.mark.parametrize("stops", [0.0, -1.2])
def test_paper_is_known_by_what_lies_beside_it_and_not_by_its_code(stops: float) -> None:
    picture = np.full((300, 400, 3), 0.7)
    ball(picture, (150, 130), BLUE)
    paper = paper_of(photo_of(2**stops * picture))
    assert paper.taken is not None and not paper.ask
    # 0.7 is light of .86 paper, so a perfect white has .7 / .86.
    assert paper.taken.linear_rgb == pytest.approx([2**stops * 0.7 / PAPER_LEVEL] * 3, rel=0.02)


def test_white_yarn_without_a_strand_to_be_seen_is_read_on_white_paper_and_bare_paper_is_none() -> None:
    """A ball out of focus, as light as its paper where it faces the light (Lambert's cosine law)."""
    rows, columns = np.indices((300, 400))
    height = np.sqrt(np.clip(1 - ((rows - 150) ** 2 + (columns - 200) ** 2) / 80**2, 0, 1))
    picture = (0.7 * np.where(height > 0, 0.45 + 0.55 * height, 1.0))[..., None] * np.ones(3)
    photo = photo_of(picture)
    for place in (Place(box=(118, 68, 282, 232)), Place(touches=((250, 180),))):
        reading = read_photo(photo, [place])
        assert reading.white is not None and reading.white.kind == "paper"
        # The mean over a disc of .45 + .55 cos is .45 + .55 x 2 / 3; a shade may have a gain.
        level = float(lab_to_linear(reading.yarns[0].shades[0].lab)[1])
        assert 0.93 < level / (PAPER_LEVEL * (0.45 + 0.55 * 2 / 3)) < 1.15
    for place in (Place(box=(5, 5, 100, 60)), Place(touches=((30, 270),))):
        with pytest.raises(PhotoError, match="lies on the white paper"):
            read_photo(photo, [place])


def test_a_sheet_that_shows_its_corners_on_wood_is_paper_and_without_an_edge_or_a_rim_it_is_asked_about() -> None:
    grain = 0.2 * (1 + 0.4 * np.sin(np.indices((300, 400))[0] / 2.0))[..., None] * np.array([1.0, 0.62, 0.35])
    picture = grain.copy()
    picture[60:240, 120:340] = 0.6
    ball(picture, (150, 220), BLUE * 0.7, 50)
    paper = paper_of(photo_of(picture))
    assert paper.taken is not None and paper.taken.box is not None
    assert np.abs(np.array(paper.taken.box) - (120, 60, 340, 240)).max() <= 8
    # Like a wall behind the yarn: no corner, and the wood below it.
    picture = grain.copy()
    picture[:190] = 0.6
    ball(picture, (180, 200), BLUE * 0.7)
    paper = paper_of(photo_of(picture))
    assert paper.taken is None and len(paper.ask) == 1


def test_a_coloured_sheet_is_never_taken_unasked() -> None:
    """A ground with more red than blue by 1.5 may be paper by a lamp, or a cream sheet by daylight: nobody can tell."""
    for code in ("#f0dca8", "#cfe3f7", "#f3d3d8", "#cde8cf"):
        picture = np.broadcast_to(0.8 * hex_to_linear(code), (300, 400, 3)).copy()
        ball(picture, (150, 110), BLUE)
        ball(picture, (150, 280), GREY)
        assert paper_of(photo_of(picture)).taken is None, code


def test_cloth_and_grained_wood_are_not_even_asked_about() -> None:
    rng = np.random.default_rng(SEED)
    weave = 1 + 0.12 * np.sin(np.indices((300, 400)).sum(axis=0) / 1.3) + 0.05 * rng.normal(size=(300, 400))
    picture = (0.6 * weave)[..., None] * np.ones(3)
    ball(picture, (150, 200), BLUE)
    paper = paper_of(photo_of(np.clip(picture, 0, 1)))
    assert paper.taken is None and not paper.ask


def test_a_place_pointed_at_is_believed_unless_something_there_is_lighter_than_white_can_be() -> None:
    picture = np.full((300, 400, 3), 0.62)
    picture[:, :200] = 0.3
    ball(picture, (150, 200), BLUE, 60)
    photo = photo_of(picture)
    white, _, notices = believe(photo, shrink(photo), (350.0, 40.0))
    assert white.confidence == 1.0 and not notices
    doubted, _, notices = believe(photo, shrink(photo), (40.0, 40.0))
    assert doubted.confidence < 0.5 and "lighter than white can be" in notices[0].text
    # She chose it, so it is used: .3 of light is white.
    assert doubted.linear_rgb == pytest.approx([0.3 / PAPER_LEVEL] * 3, rel=0.02)
    # The same place as what it is: a grey that reflects .86 x .3 / .62.
    grey, _, notices = believe(photo, shrink(photo), (40.0, 40.0), PAPER_LEVEL * 0.3 / 0.62)
    assert grey.confidence == 1.0 and not notices
    assert grey.linear_rgb == pytest.approx(white.linear_rgb, rel=0.02)


def test_a_white_that_is_overexposed_is_doubted_or_refused() -> None:
    picture = np.full((300, 400, 3), 0.9) * np.array([1.2, 1.0, 0.6])
    ball(picture, (150, 200), BLUE, 60)
    photo = photo_of(np.clip(picture, 0, 1))
    white, _, notices = believe(photo, shrink(photo), (350.0, 40.0))
    assert white.confidence < 0.5 and any("overexposed" in n.text for n in notices)
    full = photo_of(np.ones((300, 400, 3)) + 0.2)
    with pytest.raises(PhotoError, match="photograph it darker"):
        believe(full, shrink(full), (350.0, 40.0))
    dark = photo_of(np.full((300, 400, 3), 0.002))
    with pytest.raises(PhotoError, match="black or see-through"):
        believe(dark, shrink(dark), (350.0, 40.0))
    with pytest.raises(PhotoError, match="allowed is 0,0 to 399,299"):
        believe(full, shrink(full), (400.0, 40.0))


@pytest.mark.slow
def test_on_real_photographs_nothing_but_white_is_taken_unasked(samples: Path) -> None:
    """Looked at one by one: white grounds lie under the yarn in two photographs and under the card in one."""
    white = {"18-one-skein.jpg", "19-one-skein.jpg", "plantcv__colorchecker-classic-mini.jpg"}
    for path in sorted([*(samples / "yarns").glob("*.jpg"), *(samples / "photos").glob("*.[jp]*g")]):
        photo = load_photo(path.read_bytes(), path.name)
        paper = paper_of(photo)
        assert paper.taken is None or path.name in white, path.name
        assert len(paper.ask) <= 2
        if path.name in white:
            assert paper.taken is not None or paper.ask, path.name


@pytest.mark.slow
def test_a_white_patch_pointed_at_on_real_cards_is_believed_and_the_next_grey_is_not(samples: Path) -> None:
    """Patches 19 and 20 of the card: white 9.5 and neutral 8, published reflectance .913 and about .59."""
    with (samples / "cards" / "patches.csv").open() as file:
        middle = {
            int(r["patch"]): ((int(r["left"]) + int(r["right"])) / 2, (int(r["top"]) + int(r["bottom"])) / 2)
            for r in csv.DictReader(file)
        }
    judged: dict[int, list[bool]] = {19: [], 20: []}
    for path in sorted((samples / "cards").glob("*.png")):
        photo = load_photo(path.read_bytes(), path.name)
        for patch, believed in judged.items():
            x, y = middle[patch]
            codes = photo.srgb8[round(y) - 15 : round(y) + 15, round(x) - 15 : round(x) + 15]
            lightest = photo.srgb8[round(middle[19][1]), round(middle[19][0])]
            if np.median(codes) < 60 or lightest.max() > 250:
                continue
            believed.append(believe(photo, shrink(photo), (x, y))[0].confidence == 1.0)
    assert len(judged[19]) > 30 and all(judged[19])
    # Cameras press light tones together: some greys look too near to white.
    assert np.mean(judged[20]) < 0.3


def test_plain_ground_shows_how_light_falls_off_from_a_small_card() -> None:
    rows, columns = np.indices((360, 480))
    fall = np.exp(-0.45 * columns / 480)
    grain = 1 + 0.03 * np.sin(rows / 3.0 + 0.02 * columns)
    picture = (fall * grain)[..., None] * hex_to_linear("#8a6a4c")
    picture[20:90, 20:110] = (0.87 * fall[20:90, 20:110])[..., None]
    ball = (rows - 220) ** 2 + (columns - 390) ** 2 < 70**2
    strands = scenes.strands((360, 480))
    picture[ball] = ((strands * fall)[..., None] * BLUE)[ball]
    reading = read_photo(photo_of(picture), boxes=[(320, 150, 460, 290)])
    assert reading.white is not None and reading.white.box[2] < 130
    # Without the falling-off the ball would be a third too dark: 8 L*.
    truth = linear_to_lab(BLUE * strands[ball].mean())
    assert float(delta_e_2000(reading.yarns[0].shades[0].lab, truth)) < 3.0


@pytest.mark.slow
def test_a_heic_photo_reads_as_the_scene_stored_without_loss() -> None:
    """HEIC and JPEG both change a photo a little; HEIC must change its shades no more than JPEG does."""
    off: dict[str, list[float]] = {"heic": [], "jpeg": []}
    for i in range(3):
        kind = {"palette_seed": SEED, "ground": ("paper", "card")[i % 2], "yarns": 3}
        drawn = scenes.make_scene([SEED, 60 + i], encoding="png", **kind)
        boxes = [y.box for y in drawn.yarns]
        plain = read_photo(load_photo(drawn.data, drawn.name), boxes=boxes)
        for encoding, apart in off.items():
            twin = scenes.make_scene([SEED, 60 + i], encoding=encoding, **kind)
            reading = read_photo(load_photo(twin.data, twin.name), boxes=boxes)
            assert (reading.white is None) == (plain.white is None)
            pairs = zip(reading.yarns, plain.yarns, strict=True)
            apart += [float(delta_e_2000(one.shades[0].lab, two.shades[0].lab)) for one, two in pairs]
    assert np.mean(off["heic"]) < np.mean(off["jpeg"])
    assert max(off["heic"]) < 2.0

"""The yarn under a touch, in a box and on plain ground: laws of it, on drawn scenes whose outlines are known."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pytest
import scenes
from PIL import Image, ImageDraw

from blendplan.colour import delta_e_2000
from blendplan.errors import BlendplanError, PhotoError
from blendplan.photo import Photo, Place, crop_png, crop_webp, load_photo, read_photo, yarn_touched
from blendplan.photo.boxed import apart, inside_box, off_the_ground
from blendplan.photo.where import View, box_of, fewer_corners, grow, outline, touched, view_of

SEED = 7301


@pytest.fixture(scope="module")
def drawn() -> tuple[scenes.Scene, Photo, View]:
    scene = scenes.make_scene([SEED, 1], yarns=3)
    photo = load_photo(scene.data, scene.name)
    return scene, photo, view_of(photo)


def middle(mask: np.ndarray) -> tuple[int, int]:
    """The place of a mask that is furthest from its edge, (x, y)."""
    from scipy.ndimage import distance_transform_edt

    row, column = np.unravel_index(int(np.argmax(distance_transform_edt(mask))), mask.shape)
    return int(column), int(row)


def in_pixels(cells: np.ndarray, view: View, shape: tuple[int, int]) -> np.ndarray:
    out = np.zeros(shape, dtype=bool)
    pixels = np.kron(cells, np.ones((view.block, view.block), dtype=bool))
    out[: pixels.shape[0], : pixels.shape[1]] = pixels
    return out


def filled(polygons, shape: tuple[int, int]) -> np.ndarray:
    """Places in an odd number of polygons, by another library's filling."""
    out = np.zeros(shape, dtype=bool)
    for polygon in polygons:
        piece = Image.new("1", (shape[1], shape[0]))
        ImageDraw.Draw(piece).polygon([(x - 0.5, y - 0.5) for x, y in polygon], fill=1)
        out ^= np.asarray(piece)
    return out


def overlap(one: np.ndarray, two: np.ndarray) -> float:
    return float((one & two).sum() / (one | two).sum())


def test_a_touch_reads_as_a_box_round_the_same_plain_skein(drawn) -> None:
    scene, photo, _ = drawn
    for truth in scene.yarns:
        boxed, touched_ = (
            read_photo(photo, [place]).yarns[0].shades[0].lab
            for place in (Place(box=truth.box, dyes=1), Place(touches=(middle(truth.area),), dyes=1))
        )
        assert float(delta_e_2000(boxed, touched_)) < 3


def test_a_patch_holds_its_touch_and_stays_on_its_skein(drawn) -> None:
    scene, _, view = drawn
    for truth in scene.yarns:
        x, y = middle(truth.area)
        patch = grow(view, [(x, y)])
        assert patch[int(y * view.scale), int(x * view.scale)]
        patch = off_the_ground(view, patch)
        assert patch[int(y * view.scale), int(x * view.scale)]
        assert truth.mask[in_pixels(patch, view, truth.mask.shape)].mean() > 0.97


def test_the_order_of_touches_does_not_matter_and_more_touches_hold_what_fewer_do(drawn) -> None:
    scene, _, view = drawn
    rows, columns = np.nonzero(scene.yarns[0].area)
    pick = np.linspace(0, len(rows) - 1, 6).astype(int)[1:-1]
    spots = [(float(columns[i]), float(rows[i])) for i in pick]
    both = grow(view, spots)
    assert (grow(view, spots[::-1]) == both).all()
    assert both[grow(view, spots[:1])].all()


def test_what_another_yarn_has_stays_out(drawn) -> None:
    scene, _, view = drawn
    spot = middle(scene.yarns[0].area)
    first = grow(view, [spot])
    taken = first.copy()
    taken[:, int(spot[0] * view.scale) + 1 :] = False
    assert not (grow(view, [(spot[0] + 6, spot[1])], taken) & taken).any()


def test_a_touch_is_inside_a_yarn_or_more_of_it_or_another(drawn) -> None:
    scene, photo, view = drawn
    one, two = (middle(t.area) for t in scene.yarns[:2])
    region = grow(view, [one])
    assert (touched(view, [region], one).yarn, touched(view, [region], one).inside) == (0, True)
    assert touched(view, [region], two).yarn is None
    assert touched(view, [], one).yarn is None
    # Half of the patch is known: a touch on the other half shows more of the same yarn.
    half = region.copy()
    half[:, int(one[0] * view.scale) - 3 :] = False
    more = touched(view, [grow(view, [two]), half], (one[0] + 4, one[1]))
    assert (more.yarn, more.inside) == (1, False)
    places = [Place(touches=(two,)), Place(box=scene.yarns[0].box)]
    assert yarn_touched(photo, places, one).yarn == 1


def test_the_yarn_in_a_box_is_its_outline_without_paper_and_shadow(drawn) -> None:
    scene, _, view = drawn
    for truth in scene.yarns:
        read = in_pixels(inside_box(view, truth.box), view, truth.mask.shape)
        assert truth.mask[read].mean() > 0.97
        assert read[truth.area].mean() > 0.7
        # A pale label on pale yarn may be taken for yarn, so the better of the two outlines counts.
        shown = filled(outline(view, inside_box(view, truth.box), rim=1), truth.mask.shape)
        assert max(overlap(shown, truth.area), overlap(shown, truth.mask)) > 0.85


@pytest.mark.parametrize("ground", ["paper", "cloth"])
def test_yarns_on_plain_ground_are_found_without_their_shadow(ground: str) -> None:
    scene = scenes.make_scene([SEED, 2], ground=ground, yarns=3)
    view = view_of(load_photo(scene.data, scene.name))
    regions, _ = apart(view)
    assert len(regions) == 3
    for truth in scene.yarns:
        assert max(overlap(in_pixels(r, view, truth.mask.shape), truth.mask) for r in regions) > 0.85


def test_on_ground_that_is_not_plain_no_yarn_is_taken_and_a_touch_is_asked_for() -> None:
    scene = scenes.make_scene([SEED, 3], yarns=2)
    picture = np.asarray(Image.open(io.BytesIO(scene.data)).convert("RGB")).copy()
    bare = ~np.logical_or.reduce([t.mask for t in scene.yarns])
    check = (np.indices(bare.shape) // 24).sum(axis=0) % 2 == 0
    picture[bare & check] = (150, 60, 50)
    photo = Photo(name="check", srgb8=picture, mask=None, full_size=picture.shape[1::-1], scale=1.0)
    reading = read_photo(photo, white="off")
    assert not reading.yarns
    assert any("touch each yarn" in n.text for n in reading.notices)


def test_path_traced_skeins_in_hard_light_are_outlined_without_their_shadow(samples: Path) -> None:
    """The boxes are of the renderer (hanks/truth.csv); with its cast shadow a ball's box is half as large again."""
    for row in csv.DictReader((samples / "hanks" / "truth.csv").open()):
        if row["shape"] != "ball" or row["yarn"] not in ("navy", "cream", "mustard"):
            continue
        view = view_of(load_photo((samples / "hanks" / row["file"]).read_bytes(), row["file"]))
        (region,), _ = apart(view)
        wanted = tuple(int(row[k]) for k in ("left", "top", "right", "bottom"))
        assert scenes.overlap(wanted, box_of(view, region)) > 0.85, row["file"]


def test_encodings_of_one_scene_give_the_same_yarn() -> None:
    shades = []
    for encoding in ("png", "heic", "jpeg"):
        scene = scenes.make_scene([SEED, 5], yarns=2, encoding=encoding)
        photo = load_photo(scene.data, scene.name)
        shades.append(
            [y.shades[0].lab for y in read_photo(photo, [Place(box=t.box, dyes=1) for t in scene.yarns]).yarns]
        )
    for other in shades[1:]:
        assert float(np.max(delta_e_2000(np.array(shades[0]), np.array(other)))) < 2


def test_a_touch_outside_or_on_clipped_light_is_one_plain_line(drawn) -> None:
    _, photo, view = drawn
    width, height = photo.full_size
    for spot in ((-1, 5), (width, 5), (5, height)):
        with pytest.raises(PhotoError, match="does not lie in"):
            grow(view, [spot])
    with pytest.raises(BlendplanError, match="not a number"):
        grow(view, [(float("nan"), 5)])
    glare = Photo(name="glare", srgb8=np.full((80, 90, 3), 255, np.uint8), mask=None, full_size=(90, 80), scale=1.0)
    with pytest.raises(PhotoError, match="too bright to read"):
        read_photo(glare, [Place(touches=((40, 40),))])
    with pytest.raises(PhotoError, match="too bright to read"):
        read_photo(glare, boxes=[(10, 10, 60, 60)])
    with pytest.raises(PhotoError, match="does not lie in"):
        read_photo(glare, boxes=[(10, 10, 95, 60)])
    scene, photo, _ = drawn
    x, y = middle(scene.yarns[0].area)
    with pytest.raises(PhotoError, match="lies on a yarn that was touched before"):
        read_photo(photo, at=[(x, y), (x + 3, y)])


def test_nothing_lies_outside_the_picture(drawn) -> None:
    scene, photo, view = drawn
    width, height = photo.full_size
    for box in ((0, 0, 1, 1), (width - 1, height - 1, width, height), (0, 0, width, height), scene.yarns[0].box):
        region = inside_box(view, box)
        assert region.any() and region.shape == view.counts.shape
        left, top, right, bottom = box_of(view, region)
        assert 0 <= left < right <= width and 0 <= top < bottom <= height
        for polygon in outline(view, region, rim=1):
            assert all(0 <= x <= width and 0 <= y <= height for x, y in polygon)


@pytest.mark.parametrize("seed", range(12))
def test_an_outline_keeps_the_corners_that_scikit_image_keeps(seed: int) -> None:
    random = np.random.default_rng([SEED, seed])
    turn = np.linspace(0, 2 * np.pi, 40 + 60 * seed)
    radius = 30 + random.normal(0, 2, len(turn))
    line = np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1)
    if seed % 2:
        line[-1] = line[0]
    from skimage.measure import approximate_polygon

    for close in (0.4, 2.0, 9.0):
        assert np.array_equal(fewer_corners(line, close), approximate_polygon(line, close))


def test_the_crop_shows_the_yarn_that_was_read_and_nothing_else(drawn) -> None:
    scene, photo, _ = drawn
    truth = scene.yarns[0]
    (yarn,) = read_photo(photo, [Place(touches=(middle(truth.area),), dyes=1)]).yarns
    for crop in (crop_png, crop_webp):
        shown = np.asarray(Image.open(io.BytesIO(crop(photo, yarn.box, outline=yarn.outline))).convert("RGBA"))
        left, top, right, bottom = yarn.box
        there = np.asarray(Image.fromarray(truth.mask[top:bottom, left:right]).resize(shown.shape[1::-1]))
        assert (shown[..., 3] == 255).mean() > 0.4
        assert there[shown[..., 3] > 0].mean() > 0.95
    assert not np.asarray(Image.open(io.BytesIO(crop_png(photo, yarn.box, outline=yarn.outline))))[
        shown[..., 3] == 0
    ].any(), "what is not shown is not there either"

"""References of a photo: taps, a grey, known colours, photos taken together, a card, and the reasons for doubt.

The truths are the numbers that the drawings were made of; seed 7100, no part in tuning.
"""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
import scenes
from PIL import Image
from scipy.ndimage import binary_erosion

from blendplan.cli import main
from blendplan.colour import delta_e_2000, hex_to_linear, linear_to_lab, linear_to_srgb
from blendplan.errors import BlendplanError, PhotoError
from blendplan.photo import GREY_CARD_LEVEL, Photo, PhotoReading, Place, Pointed, load_photo, read_photo, share_light
from blendplan.photo.references import patch_values

SEED = 7100
YARN = "#3f6e9a"
LAMP = np.array([1.0, 0.82, 0.58])
DOUBT = "is it white?"


def strands(shape: tuple[int, int]) -> np.ndarray:
    """Light on round strands: 1 on the crest."""
    rows, columns = np.indices(shape)
    return (0.55 + 0.45 * np.abs(np.sin((rows + 0.6 * columns) / 4.0)))[..., None]


def drawn(exposure: float = 0.8, *, white: bool = True, said: bool = True, name: str = "a.png") -> Photo:
    """A yarn on black cloth under a lamp, beside it white paper and a grey card; EXIF says the exposure or nothing."""
    linear = np.full((300, 400, 3), 0.02)
    rng = np.random.default_rng(SEED)
    linear += 0.008 * rng.random((300, 400, 1))
    linear[60:240, 40:200] = hex_to_linear(YARN) * strands((180, 160))
    if white:
        linear[20:140, 260:380] = 0.87
        linear[170:280, 260:380] = GREY_CARD_LEVEL
    seen = linear * LAMP * exposure * (1 + 0.01 * rng.normal(size=(300, 400, 1)))
    out = io.BytesIO()
    exif = Image.Exif()
    if said:
        own = exif.get_ifd(0x8769)
        own[0x829A], own[0x829D], own[0x8827] = exposure / 100, 2.0, 200
    Image.fromarray(np.rint(255 * linear_to_srgb(np.clip(seen, 0, 1))).astype(np.uint8)).save(
        out, "PNG", exif=exif.tobytes()
    )
    return load_photo(out.getvalue(), name)


BOX = (40, 60, 200, 240)
# On the paper, to point at: the lamp is so warm that it is asked about.
WHITE = (320.0, 80.0)
# The yarn as a whole: the mean of the light that is drawn.
SHADE = linear_to_lab(hex_to_linear(YARN) * strands((180, 160)).mean())


def off(reading: PhotoReading) -> float:
    return float(delta_e_2000(reading.yarns[0].shades[0].lab, SHADE))


def lines(reading: PhotoReading) -> str:
    return " | ".join(n.text for n in reading.notices)


@pytest.mark.slow
def test_a_tap_on_white_is_believed_and_a_tap_on_yarn_beside_white_is_asked_about() -> None:
    """Nothing sends back more than a perfect white in one light: paper beside a yarn speaks against the yarn."""
    rng = np.random.default_rng(SEED)
    asked: dict[str, list[bool]] = {"white": [], "else": []}
    for k in range(12):
        ground = ("paper", "card")[k % 2]
        scene = scenes.make_scene([SEED, 300 + k], palette_seed=SEED, ground=ground)
        photo = load_photo(scene.data, scene.name)
        # Paper has L* 94; against a yarn of up to 75 even light that is a fifth off leaves no doubt.
        darker = [y.mask for y in scene.yarns if y.labs[:, 0].max() < 75]
        for kind, mask in (("white", scene.white_mask), *(("else", mask) for mask in darker[:1])):
            row, column = rng.choice(np.argwhere(binary_erosion(mask, iterations=8)))
            try:
                reading = read_photo(photo, boxes=[y.box for y in scene.yarns], white=(float(column), float(row)))
            except PhotoError as error:
                assert "too bright" in str(error) or "black" in str(error)
                continue
            asked[kind].append(DOUBT in lines(reading))
            if kind == "else":
                assert reading.white is not None and reading.white.confidence < 0.5
    assert not any(asked["white"]), asked
    assert len(asked["else"]) >= 9 and all(asked["else"]), asked


def test_a_grey_card_stands_for_white() -> None:
    """18 %: common practice, no source."""
    photo = drawn(said=False)
    reading = read_photo(photo, boxes=[BOX], pointed=[Pointed(kind="grey", spot=(320, 220))])
    assert reading.white is None and reading.light.seen[0].kind == "grey"
    # A camera without a tone curve drew it; what cameras usually do bends the white that is not seen.
    assert np.allclose(np.log(reading.light.white), np.log(0.8 * LAMP), atol=0.2)
    assert off(reading) < 4
    # The same spot taken for paper is five times too dark, and is asked about.
    assert DOUBT in lines(read_photo(photo, boxes=[BOX], white=(320, 220)))


def test_references_of_all_kinds_are_used_together_and_told() -> None:
    photo = drawn(said=False)
    pointed = [Pointed(kind="white", spot=(320, 80), reflectance=0.87), Pointed(kind="grey", spot=(320, 220))]
    for order in (pointed, pointed[::-1]):
        reading = read_photo(photo, boxes=[BOX], pointed=order)
        assert off(reading) < 3 and "2 references were used together" in lines(reading)
    kinds = [one["kind"] for one in reading.to_json()["references"]]
    assert kinds == ["white", "grey"]


def test_a_yarn_whose_shade_is_known_tells_the_light() -> None:
    """The law: by a known yarn alone, that yarn reads as itself, and a grey beside it comes out grey."""
    photo = drawn(said=False)
    whole = linear_to_srgb(hex_to_linear(YARN) * strands((180, 160)).mean())
    srgb = "#" + "".join(f"{round(255 * v):02x}" for v in whole)
    known = [Pointed(kind="known", spot=(120, 150), srgb=srgb)]
    reading = read_photo(photo, [Place(box=BOX), Place(box=(270, 180, 370, 270), dyes=1)], white="off", pointed=known)
    assert off(reading) < 4
    grey = reading.yarns[1].shades[0]
    bare = read_photo(photo, boxes=[(270, 180, 370, 270)], white="off").yarns[0].shades[0]
    assert np.hypot(*grey.lab[1:]) < 0.6 * np.hypot(*bare.lab[1:])
    assert grey.within < bare.within


@pytest.mark.parametrize(
    ("pointed", "said"),
    [
        ({"kind": "grey", "spot": (1000, 10)}, "does not lie in"),
        ({"kind": "grey", "spot": (120, 150)}, "no plain place"),
        ({"kind": "grey", "spot": (320, 220), "reflectance": 1.4}, "reflectance"),
        ({"kind": "white", "spot": (320, 80), "reflectance": 0.0}, "reflectance"),
        ({"kind": "known", "spot": (320, 80), "srgb": "#12345"}, "#12345"),
        ({"kind": "known", "spot": (320, 80), "srgb": ""}, "colour"),
        ({"kind": "known", "spot": (320, 80)}, "needs its colour"),
    ],
)
def test_a_reference_that_is_none_gets_one_line(pointed: dict, said: str) -> None:
    with pytest.raises(BlendplanError, match=said) as error:
        read_photo(drawn(said=False), boxes=[BOX], pointed=[Pointed(**pointed)])
    assert "\n" not in str(error.value)


def test_two_references_that_contradict_each_other_are_named_with_how_far() -> None:
    photo = drawn(said=False)
    white = Pointed(kind="white", spot=(320, 80))
    with pytest.raises(
        PhotoError, match=r"the white and the grey of reflectance 0\.18 contradict each other.* CIEDE2000"
    ):
        read_photo(photo, boxes=[BOX], pointed=[white, Pointed(kind="grey", spot=(300, 50))])
    grey = Pointed(kind="grey", spot=(320, 220))
    with pytest.raises(PhotoError, match=r"the known colour #d01030 contradicts the other 2 references"):
        read_photo(photo, boxes=[BOX], pointed=[white, grey, Pointed(kind="known", spot=(350, 250), srgb="#d01030")])


@pytest.mark.parametrize("more", [0.55, 1.4])
def test_photos_taken_together_share_light_over_their_exposures(more: float) -> None:
    lender = drawn(0.7)
    first = read_photo(lender, boxes=[BOX], white=WHITE)
    assert off(first) < 4
    second = drawn(0.7 * more, white=False, name="b.png")
    assert second.exposure == pytest.approx(more * lender.exposure, rel=1e-3)
    alone = read_photo(second, boxes=[BOX])
    (kept, lent), told = share_light([lender, second], [first, alone])
    assert kept is first
    assert told.level == "assumed"
    assert off(lent) < 4 < off(alone)
    assert lent.light.lent and lent.to_json()["white"]["kind"] == "shared"
    shade = lent.yarns[0].shades[0]
    assert "shared-light" in shade.reasons
    assert shade.within > first.yarns[0].shades[0].within
    # Without exposures the lightness is off, this is told, and the stated figure covers it.
    blind = [drawn(0.7, said=False), drawn(0.7 * more, white=False, said=False, name="b.png")]
    (_, unsure), told = share_light(
        blind, [read_photo(blind[0], boxes=[BOX], white=WHITE), read_photo(blind[1], boxes=[BOX])]
    )
    assert told.level == "warning" and "exposed" in told.text
    assert off(lent) + 3 < off(unsure) <= unsure.yarns[0].shades[0].within


def test_a_photo_in_another_light_keeps_its_own_white() -> None:
    one, two = drawn(), drawn(name="b.png")
    swapped = Photo(
        name="b.png", srgb8=np.ascontiguousarray(two.srgb8[..., ::-1]), mask=None, full_size=two.full_size, scale=1.0
    )
    readings = [read_photo(one, boxes=[BOX], white=WHITE), read_photo(swapped, boxes=[BOX], white=(320, 80))]
    assert readings[1].white is not None
    assert share_light([one, swapped], readings)[0][1] is readings[1]


def test_a_yarn_in_both_photos_tells_the_exposure_that_the_files_do_not() -> None:
    """The drawing knows: both photos show one yarn, the second 1.6 times as much light and no white."""
    one, two = drawn(0.5, said=False), drawn(0.8, white=False, said=False, name="b.png")
    readings = [read_photo(one, boxes=[BOX], white=WHITE), read_photo(two, boxes=[BOX, (60, 80, 180, 220)])]
    (_, blind), told = share_light([one, two], readings)
    assert told.level == "warning"
    (_, joined), told = share_light([one, two], readings, same=[[(0, 0), (1, 0)]])
    assert told.level == "assumed"
    for reading in (blind, joined):
        assert off(reading) <= reading.yarns[1].shades[0].within
    assert off(joined) < off(blind) - 2
    assert joined.yarns[1].shades[0].within < blind.yarns[1].shades[0].within


def chart_photo(more: float = 1.0) -> Photo:
    """A chart of the published patches on grey, 360 x 240 at (40, 30), under a lamp."""
    wanted, _ = patch_values()
    linear = np.full((300, 440, 3), 0.1)
    for k in range(24):
        row, column = divmod(k, 6)
        linear[33 + row * 60 : 87 + row * 60, 43 + column * 60 : 97 + column * 60] = np.clip(wanted[k], 0, None)
    codes = np.rint(255 * linear_to_srgb(np.clip(linear * LAMP * 0.7 * more, 0, 1))).astype(np.uint8)
    return Photo(name="chart.png", srgb8=codes, mask=None, full_size=(440, 300), scale=1.0, exposure=more)


CORNERS = [(40, 30), (400, 30), (400, 270), (40, 270)]


def test_a_chart_is_lent_to_the_photos_taken_with_it_and_stays_where_it_was_read() -> None:
    chart = read_photo(chart_photo(), boxes=[(0, 0, 30, 300)], card=CORNERS)
    other = drawn(0.7 * 0.6, white=False)
    other = Photo(name="b.png", srgb8=other.srgb8, mask=None, full_size=other.full_size, scale=1.0, exposure=0.6)
    alone = read_photo(other, boxes=[BOX], white="off")
    (kept, lent), told = share_light([chart_photo(), other], [chart, alone])
    assert kept is chart
    assert "1 of 2" in told.text
    assert lent.card is None and lent.light.lent and lent.chart_error is not None
    assert off(lent) < 4 < off(alone)
    shade = lent.yarns[0].shades[0]
    assert "shared-light" in shade.reasons
    assert off(lent) <= shade.within
    # Asked again, nothing changes: a light that was lent is no reference of its own.
    again = share_light([chart_photo(), other], [kept, lent])[0]
    assert again[0] is kept and again[1].yarns == lent.yarns


def test_the_command_line_takes_corners_as_x_and_y(
    tmp_path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    Image.fromarray(chart_photo().srgb8).save(tmp_path / "chart.png")
    corners = ",".join(f"{x},{y}" for x, y in CORNERS)
    box = "103,93,157,147"
    assert main(["shades", str(tmp_path / "chart.png"), "--card", corners, "--box", box, "--json"]) == 0
    (photo,) = json.loads(capsys.readouterr().out)["photos"]
    # Row two, column two: purplish blue.
    assert float(delta_e_2000(photo["yarns"][0]["shades"][0]["lab"], patch_values()[1][7])) < 4
    assert main(["shades", str(tmp_path / "chart.png"), "--card", corners, "--box", box]) == 0
    assert "white: none" not in capsys.readouterr().out


def test_the_command_line_asks_shares_light_and_takes_a_grey_card(
    tmp_path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    # Under a lamp this much less warm the paper is taken; under LAMP it is asked about.
    Image.fromarray(drawn(said=False).srgb8).save(tmp_path / "warm.png")
    monkeypatch.setitem(globals(), "LAMP", np.array([1.0, 0.9, 0.78]))
    for name, white in (("a.png", True), ("b.png", False)):
        Image.fromarray(drawn(white=white, said=False).srgb8).save(tmp_path / name)
    paths = [str(tmp_path / n) for n in ("a.png", "b.png")]
    box = ",".join(str(v) for v in BOX)
    warm = str(tmp_path / "warm.png")
    assert main(["shades", warm, "--box", box, "--json"]) == 0
    (asked,) = json.loads(capsys.readouterr().out)["photos"][0]["ask"]
    left, top, right, bottom = asked["box"]
    x, y = asked["at"]
    assert left < x < right and top < y < bottom and left >= 250 and bottom <= 150
    assert main(["shades", warm, "--box", box]) == 0
    assert (
        f"is this white paper, at {left},{top},{right},{bottom}? if it is, say --white {x},{y}"
        in capsys.readouterr().out
    )
    assert main(["shades", warm, "--box", box, "--white", f"{x},{y}=0.87", "--json"]) == 0
    (photo,) = json.loads(capsys.readouterr().out)["photos"]
    assert photo["white"]["kind"] == "tap" and photo["ask"] == []
    assert float(delta_e_2000(photo["yarns"][0]["shades"][0]["lab"], SHADE)) < 4
    assert main(["shades", warm, "--white", f"{x},{y}=86"]) == 2
    assert "reflectance of the reference" in capsys.readouterr().err
    assert main(["shades", *paths, "--box", box, "--same-light", "--json"]) == 0
    got = capsys.readouterr()
    first, second = json.loads(got.out)["photos"]
    assert "1 of 2 photos took their light" in got.err
    assert second["white"]["kind"] == "shared" and second["white"]["box"] is None
    # The paper of the first shows how its light falls off over it, and the second is read without that.
    both = [photo["yarns"][0]["shades"][0]["lab"] for photo in (first, second)]
    assert float(delta_e_2000(*both)) < 0.5
    assert main(["shades", *paths, "--box", box, "--same-light"]) == 0
    assert "measured in another photo" in capsys.readouterr().out
    for given in (
        ["--grey", "320,220"],
        ["--grey", "320,220=.18", "--white", "320,80=.87", "--known", "350,250=#767676"],
    ):
        assert main(["shades", paths[0], "--box", box, *given, "--json"]) == 0
        (photo,) = json.loads(capsys.readouterr().out)["photos"]
        assert [r["kind"] for r in photo["references"]] == (["grey"] if len(given) == 2 else ["white", "known", "grey"])
        assert float(delta_e_2000(photo["yarns"][0]["shades"][0]["lab"], SHADE)) < 4
    assert main(["shades", paths[0], "--grey-card"]) == 2
    assert "with --grey X,Y" in capsys.readouterr().err


def test_the_command_line_reads_one_yarn_from_several_photos(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    for name, exposure in (("a.png", 0.8), ("b.png", 0.5)):
        Image.fromarray(drawn(exposure, said=False).srgb8).save(tmp_path / name)
    paths = [str(tmp_path / n) for n in ("a.png", "b.png")]
    box = ",".join(str(v) for v in BOX)
    white = ",".join(f"{v:.0f}" for v in WHITE)
    assert main(["shades", *paths, "--box", box, "--white", white, "--one-yarn", "--json"]) == 0
    got = json.loads(capsys.readouterr().out)
    labs = [p["yarns"][0]["shades"][0]["lab"] for p in got["photos"]]
    assert got["yarn"]["outcome"] == "mean"
    assert got["yarn"]["apart"] == pytest.approx(float(delta_e_2000(*map(np.array, labs))), abs=0.02)
    (shade,) = got["yarn"]["shades"]
    low, high = np.min(labs, axis=0) - 0.05, np.max(labs, axis=0) + 0.05
    assert (low <= shade["lab"]).all() and (shade["lab"] <= high).all()
    assert main(["shades", *paths, "--box", box, "--white", white, "--one-yarn"]) == 0
    text = capsys.readouterr().out
    assert "were averaged" in text
    assert "the camera's own tone curve is not known" in text, "reasons stand beside each shade"
    assert main(["shades", *paths, "--box", box, "--box", "60,80,160,200", "--one-yarn"]) == 2
    assert "shows 2 yarns; with --one-yarn each photo has one" in capsys.readouterr().err


def test_each_reason_for_doubt_is_named_where_it_holds() -> None:
    plain = read_photo(drawn(said=False), boxes=[BOX], white=WHITE).yarns[0].shades[0]
    assert not {"clipped", "few-pixels", "mixed-light", "saturated", "no-white"} & set(plain.reasons)
    few = read_photo(drawn(said=False), boxes=[(100, 120, 112, 132)], white=WHITE).yarns[0].shades[0]
    assert "few-pixels" in few.reasons and few.within > plain.within
    assert "no-white" in read_photo(drawn(white=False), boxes=[BOX], white="off").yarns[0].shades[0].reasons
    over = drawn(said=False)
    bright = over.srgb8.copy()
    bright[60:140, 40:200, :] = 255
    burnt = Photo(name="x", srgb8=bright, mask=None, full_size=over.full_size, scale=1.0)
    assert "clipped" in read_photo(burnt, boxes=[BOX]).yarns[0].shades[0].reasons
    strong = np.tile(np.array([250, 20, 20], np.uint8), (300, 400, 1))
    red = Photo(name="x", srgb8=strong, mask=None, full_size=(400, 300), scale=1.0)
    assert "saturated" in read_photo(red, boxes=[BOX], white="off").yarns[0].shades[0].reasons


@pytest.mark.slow
def test_light_that_changes_colour_over_the_paper_is_said() -> None:
    columns = np.linspace(0, 1, 400)[None, :, None]
    light = (1 - columns) * np.array([0.8, 0.8, 0.8]) + columns * np.array([0.8, 0.62, 0.4])
    linear = np.broadcast_to(0.87 * light, (300, 400, 3)).copy()
    linear[60:240, 120:280] = (hex_to_linear(YARN) * strands((180, 160))) * np.broadcast_to(light, (300, 400, 3))[
        60:240, 120:280
    ]
    codes = np.rint(255 * linear_to_srgb(linear)).astype(np.uint8)
    photo = Photo(name="x", srgb8=codes, mask=None, full_size=(400, 300), scale=1.0)
    reading = read_photo(photo, boxes=[(120, 60, 280, 240)], white=(60, 150))
    assert reading.white is not None and reading.white.mixed
    assert "mixed-light" in reading.yarns[0].shades[0].reasons
    assert off(reading) < 4

"""The laws of the fit of light: what must hold whatever the references are, and what it reaches on real colour cards.

The cameras of the laws are made up here; the cards are photographs that nobody here took (`tests/cards.py`).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import cards
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from blendplan.colour import delta_e_2000, linear_to_lab
from blendplan.errors import PhotoError
from blendplan.photo.light import AS_SHOWN, Light, Reference, fit_light, ninety

LAMP = np.array([0.95, 0.8, 0.55])
COLOURS = np.array([[0.4, 0.12, 0.08], [0.08, 0.2, 0.4], [0.1, 0.35, 0.12], [0.5, 0.4, 0.1], [0.3, 0.3, 0.3]])


def shown(colour: np.ndarray, power: float = 1.0) -> tuple[float, ...]:
    """What a made-up camera shows of a colour under a lamp."""
    return tuple((np.asarray(colour) * LAMP) ** (1 / power))


def known(colour: np.ndarray, power: float = 1.0, kind: str = "known") -> Reference:
    return Reference(kind=kind, linear_rgb=shown(colour, power), wanted=tuple(float(v) for v in colour))


WHITE, GREY = known(np.full(3, 0.86), kind="white"), known(np.full(3, 0.18), kind="grey")


def bound(light: Light, colour: np.ndarray) -> float:
    return ninety(light.doubt(colour).whole)


@settings(max_examples=15)
@given(st.permutations([WHITE, GREY, *(known(c) for c in COLOURS)]), st.integers(1, 7))
def test_the_order_of_references_does_not_matter(order: list[Reference], count: int) -> None:
    one, two = fit_light(order[:count]), fit_light(order[:count][::-1])
    assert one == two


@settings(max_examples=25)
@given(st.tuples(*[st.floats(0.05, 1.0)] * 3), st.floats(0.2, 1.0))
@example((0.0625, 0.0625, 1.0), 1.0)
def test_a_white_reads_as_itself_whatever_the_lamp(seen: tuple[float, float, float], level: float) -> None:
    light = fit_light([Reference(kind="white", linear_rgb=seen, wanted=(level,) * 3)])
    assert float(delta_e_2000(linear_to_lab(light.correct(seen)), linear_to_lab(np.full(3, level)))) < 0.3
    # Greys cannot tell how a camera mixes its channels: no saturation is fitted.
    assert np.abs(light.numbers[5:]).max() < 1e-6


def test_without_references_the_photo_stays_as_it_is() -> None:
    assert fit_light([]) == AS_SHOWN
    assert (AS_SHOWN.correct(COLOURS) == COLOURS).all()


def test_three_greys_bend_the_curve_and_leave_the_saturation_alone() -> None:
    """A camera of power 1.4: the greys give it back, and colours come out nearer than by white alone."""
    greys = [known(np.full(3, v), 1.4, "grey") for v in (0.6, 0.36, 0.18, 0.09)]
    white = known(np.full(3, 0.86), 1.4, "white")
    seen = np.array([shown(c, 1.4) for c in COLOURS])
    off = []
    for light in (fit_light([white]), fit_light([white, *greys])):
        assert np.abs(light.numbers[5:]).max() < 1e-6
        off.append(
            float(delta_e_2000(linear_to_lab(np.maximum(light.correct(seen), 0)), linear_to_lab(COLOURS)).mean())
        )
    assert off[1] < 0.5 * off[0]


def test_what_is_shown_of_a_colour_is_the_inverse_of_the_correction() -> None:
    light = fit_light([known(np.full(3, 0.86), 1.3, "white"), *(known(c, 1.3) for c in COLOURS)])
    assert light.correct(light.shown(COLOURS)) == pytest.approx(COLOURS, abs=2e-3)


@settings(max_examples=15)
@given(st.permutations([GREY, *(known(c) for c in COLOURS)]))
def test_a_reference_more_never_widens_the_bound(order: list[Reference]) -> None:
    """More that is true is never less sure, for the doubt that the references leave open."""
    before = [np.trace(fit_light([WHITE]).doubt(c).common) for c in COLOURS]
    for count in (1, 3, 6):
        now = [np.trace(fit_light([WHITE, *order[:count]]).doubt(c).common) for c in COLOURS]
        # The slopes are taken at another place of the curve each time: a twentieth is left for that.
        assert (np.array(now) < 1.05 * np.array(before) + 0.3).all()
        before = now


def test_what_all_colours_of_a_photo_share_is_nearly_all_lightness() -> None:
    common = np.array(fit_light([WHITE]).doubt(COLOURS[0]).common)
    assert common[0, 0] > 4 * max(common[1, 1], common[2, 2])


def test_an_exposure_more_is_a_light_more() -> None:
    light = fit_light([WHITE, GREY])
    lent = light.for_exposure(0.5)
    assert lent.lent and lent.level_known and not light.for_exposure(0.5, known=False).level_known
    assert lent.correct(0.5 * np.array(light.white)) == pytest.approx(np.ones(3), abs=0.03)
    blind = light.for_exposure(1.0, known=False)
    assert bound(light, COLOURS[1]) < bound(lent, COLOURS[1]) < bound(blind, COLOURS[1])
    # A colour that both photos show tells the level again.
    joined = fit_light(
        [Reference(kind="known", linear_rgb=tuple(0.7 * np.array(shown(COLOURS[2]))), wanted=tuple(COLOURS[2]))],
        like=blind,
    )
    assert joined.lent and bound(joined, COLOURS[1]) < bound(blind, COLOURS[1])
    assert joined.correct(0.7 * np.array(shown(COLOURS[1]))).sum() == pytest.approx(COLOURS[1].sum(), rel=0.15)


@pytest.mark.parametrize(
    "wrong", [{"wanted": (0.0, 0.0, 0.0)}, {"wanted": (1.3, 1.2, 1.2)}, {"linear_rgb": (0.0, 0.0, 0.0)}]
)
def test_a_reference_of_no_colour_is_refused(wrong: dict) -> None:
    with pytest.raises(PhotoError):
        Reference(**{"kind": "known", "linear_rgb": (0.1, 0.1, 0.1), "wanted": (0.2, 0.2, 0.2), **wrong})


@pytest.fixture(scope="module")
def judged(samples: Path) -> Callable[[str], list[cards.Judged]]:
    """Every usable photograph judged by a set of references, once for both tests."""
    if not (samples / "cards" / "patches.csv").is_file():
        pytest.skip("skipped: no photographs of cards")
    shots, values = [s for s in cards.shots(samples / "cards") if s.usable], cards.card_values()

    @cache
    def judge(name: str) -> list[cards.Judged]:
        # Half a card is the dearest set, and only its well exposed photographs are asked for.
        asked = [s for s in shots if s.well] if name == "half a card" else shots
        # The bench takes all draws of references for each photograph; here they take turns, three a photograph.
        drawn = cards.sets()[name]
        turns = [{(3 * i + k) % len(drawn) for k in range(3)} for i in range(len(asked))]
        return [
            found
            for shot, turn in zip(asked, turns, strict=True)
            for found in cards.judged([shot], values, [drawn[k] for k in sorted(turn)])
        ]

    return judge


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "mean", "most"),
    [("white", 7.9, 15.0), ("white, grey", 6.1, 12.0), ("white, four", 5.5, np.inf), ("half a card", 4.3, np.inf)],
)
def test_real_cards_read_as_near_as_a_plain_fit_gives(judged, name: str, mean: float, most: float) -> None:
    """Means and 95 % of white, and white and grey: a plain fit on 14 cameras; the others on well exposed photos."""
    few = name in ("white, four", "half a card")
    off = np.concatenate([j.off for j in judged(name) if j.shot.well or not few])
    assert off.mean() < mean and np.quantile(off, 0.95) < most, (off.mean(), np.quantile(off, 0.95))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["white", "grey", "white, grey", "white, four"])
def test_bounds_hold_on_real_cards_and_on_no_exposure_or_light_too_seldom(judged, name: str) -> None:
    found = judged(name)
    shots = {j.shot.name: j.shot for j in found}.values()
    held = {j.shot.name: [] for j in found}
    for j in found:
        held[j.shot.name] += (j.off <= j.within).tolist()
    assert 0.87 < np.mean(np.concatenate(list(held.values()))) < 0.97
    for part in ("exposure", "illuminant", "camera"):
        for group in {getattr(s, part) for s in shots}:
            mine = [held[s.name] for s in shots if getattr(s, part) == group and s.name in held]
            if len(mine) >= 10:
                assert np.mean(np.concatenate(mine)) > 0.8, (part, group)

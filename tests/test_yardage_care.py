"""Care: the gentler band, and dark beside light (common practice, no source)."""

from __future__ import annotations

import pytest
from yardage_cases import stripes, yarn

from blendplan.yardage.care import bleed_pairs, care_notices, gentleness


@pytest.mark.parametrize(
    ("fibre", "level"),
    [
        ("100 % acrylic", 0),
        ("Cotton", 0),
        ("80% Baumwolle 20% Leinen", 1),
        ("superwash merino", 1),
        ("wool/nylon", 2),
        ("Schurwolle", 2),
        ("70% superwash wool 30% silk", 2),
        ("", None),
        ("mystery", None),
    ],
)
def test_gentleness(fibre: str, level: int | None) -> None:
    assert gentleness(fibre) == level


def test_mixed_fibres_follow_the_gentlest() -> None:
    yarns = (yarn("A", fibre="acrylic"), yarn("B", fibre="wool"), yarn("C", fibre="silk"))
    told = care_notices(yarns, stripes(("AB", 2)))
    assert [n.level for n in told] == ["caution"] and "gentlest asks, B" in told[0].text


def test_one_fibre_and_no_contrast_says_nothing() -> None:
    yarns = (yarn("A", fibre="acrylic"), yarn("B", "#909090", fibre="acrylic"))
    assert care_notices(yarns, stripes(("AB", 2))) == ()


def test_unlike_fibres_washed_alike_still_send_to_the_bands() -> None:
    yarns = (yarn("A", fibre="acrylic"), yarn("B", fibre="cotton"))
    assert "follow the gentlest" in care_notices(yarns, stripes(("AB", 2)))[0].text


def test_unknown_fibre_is_said() -> None:
    assert "not known here" in care_notices((yarn("A", fibre="mystery"),), stripes(("AA", 2)))[0].text


def test_dark_beside_light_within_a_stripe_and_from_stripe_to_stripe() -> None:
    yarns = (yarn("A", "#101040"), yarn("B", "#f4f0e0"), yarn("C", "#909090"))
    assert bleed_pairs(yarns, stripes(("AB", 2))) == (("A", "B"),)
    assert bleed_pairs(yarns, stripes(("AA", 2), ("BB", 2))) == (("A", "B"),)
    assert ("A", "B") not in bleed_pairs(yarns, stripes(("AA", 2), ("CC", 2), ("BB", 2)))
    assert "look for bleeding" in care_notices(yarns, stripes(("AB", 2)))[0].text


def test_red_and_navy_are_watched_from_a_smaller_step() -> None:
    # Both pairs are about 35 apart in lightness: dark red beside mid grey counts, dark grey beside it does not.
    red, grey, mid = yarn("A", "#7a1020"), yarn("B", "#404040"), yarn("C", "#929292")
    assert bleed_pairs((red, mid), stripes(("AC", 2))) == (("A", "C"),)
    assert bleed_pairs((grey, mid), stripes(("BC", 2))) == ()

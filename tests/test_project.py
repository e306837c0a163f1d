"""The project file: exact round trip, checked entries, written whole or not at all."""

from __future__ import annotations

import errno
import json
import os
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from briefs import brief, yarn
from hypothesis import given
from hypothesis import strategies as st

from blendplan.errors import BlendplanError, ProjectError
from blendplan.plan import Brief
from blendplan.project import (
    FORMAT,
    VERSION,
    brief_from_json,
    brief_to_json,
    from_plain,
    load_project,
    read_project,
    save_project,
    to_plain,
    write_whole,
)
from blendplan.stripes.sequence import Sequence
from blendplan.yarn import PutUp, Shade, Yarn

ODD_NAMES = ["Rust, dark", "=1+1", "ñandú", "毛糸", "🧶 ball", "<b>x</b>", '"quoted"', "a\\b", "\u202eabc"]


@pytest.mark.parametrize("name", ODD_NAMES)
def test_odd_names_come_back_as_they_were(name: str) -> None:
    one = yarn(name, "#336699")
    first = Brief(yarns=(one,), sequence=Sequence(order=(one.name,)))
    assert brief_from_json(brief_to_json(first)) == first


@given(
    grams=st.fractions(min_value=1, max_value=1000, max_denominator=1000),
    metres=st.decimals(min_value=1, max_value=2000, places=3).map(Fraction),
    lab=st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100)),
    rows=st.integers(1, 60),
    parts=st.lists(st.fractions(min_value=0, max_value=100, max_denominator=30), max_size=3),
)
def test_round_trip_is_exact(
    grams: Fraction, metres: Fraction, lab: tuple[float, float, float], rows: int, parts: list[Fraction]
) -> None:
    one = Yarn(
        name="One",
        shades=(Shade(lab=lab, uncertainty=2.25, reasons=("no-white",)),),
        put_up=PutUp(mass_g=grams, length_m=metres),
        part_skeins_g=tuple(parts),
        price=Fraction(1, 3),
    )
    first = Brief(yarns=(one,), sequence=Sequence(order=("One",), solid_rows=rows))
    text = brief_to_json(first)
    assert brief_from_json(text) == first
    assert brief_to_json(brief_from_json(text)) == text


def test_hand_set_stripes_survive() -> None:
    first = brief()
    by_hand = Brief(yarns=first.yarns, sequence=first.sequence, stripes=first.sequence.expand()[:3])
    assert brief_from_json(brief_to_json(by_hand)) == by_hand


def _edited(**changes: object) -> bytes:
    body = json.loads(brief_to_json(brief()))
    body.update(changes)
    return json.dumps(body).encode()


def test_shades_are_stored_not_derived() -> None:
    body = json.loads(brief_to_json(brief()))
    body["yarns"][0]["shades"][0]["lab"] = [12.5, 1.25, -3.5]
    assert read_project(json.dumps(body).encode())[0].yarns[0].shades[0].lab == (12.5, 1.25, -3.5)


def test_newer_version_is_refused_with_what_to_do() -> None:
    with pytest.raises(ProjectError, match=rf"version {VERSION + 1}.*up to {VERSION}.*newer blendplan"):
        read_project(_edited(version=VERSION + 1))


def test_whole_numbers_in_places_for_floats_are_written_alike() -> None:
    """A brief made in a notebook and the same brief read back give the same bytes."""
    whole = replace(brief(), hook_mm=9, wanted_width_cm=120, yarns=(yarn("Fern"), yarn("Clay"), yarn("Milk")))
    first = replace(whole, yarns=tuple(replace(y, shades=(Shade(lab=(50, 0, 1), share=1),)) for y in whole.yarns))
    text = brief_to_json(first)
    assert brief_to_json(brief_from_json(text)) == text
    assert '"share": 1.0' in text


def test_unknown_entries_are_reported() -> None:
    _, notices = read_project(_edited(colour_of_the_cat="grey"))
    assert any("colour_of_the_cat" in n.text for n in notices)


BAD = {
    "not json": b"{",
    "not utf-8": b"\xff\xfe{}",
    "a list": b"[]",
    "other format": b'{"format": "other", "version": 1}',
    "no version": json.dumps({"format": FORMAT}).encode(),
    "version true": json.dumps({"format": FORMAT, "version": True}).encode(),
    "nan": _edited(member=float("nan")),
    "infinite": _edited(hook_mm=float("inf")),
    "text for number": _edited(hook_mm="big"),
    "list for group": _edited(sequence=[1]),
    "no yarns": _edited(yarns=[]),
    "empty order": _edited(sequence={"order": []}),
    "unknown yarn": _edited(sequence={"order": ["Nobody"]}),
    "zero rows": _edited(sequence={"order": ["Fern"], "solid_rows": 0}),
    "bad terms": _edited(terms="AU"),
    "deep": b'{"format": "blendplan-project", "version": 1, "title": ' + b"[" * 5000 + b"]" * 5000 + b"}",
    "too many rows": _edited(sequence={"order": ["Fern"], "solid_rows": 6000}),
    "empty": b"",
}


@pytest.mark.parametrize("data", BAD.values(), ids=BAD.keys())
def test_bad_files_give_one_line(data: bytes) -> None:
    with pytest.raises(BlendplanError) as caught:
        read_project(data)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 400


@given(st.binary(max_size=200))
def test_any_bytes_give_one_line_or_a_brief(data: bytes) -> None:
    try:
        read_project(data)
    except BlendplanError as error:
        assert "\n" not in str(error)


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=8,
)


@given(st.sampled_from(sorted(json.loads(brief_to_json(brief())))), JSON_VALUES)
def test_any_value_at_any_entry_gives_one_line_or_a_brief(key: str, value: object) -> None:
    body = {**json.loads(brief_to_json(brief())), key: value}
    try:
        read_project(json.dumps(body).encode())
    except BlendplanError as error:
        assert "\n" not in str(error)


def test_save_replaces_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "p.json"
    save_project(brief(), target)
    before = target.read_bytes()

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(ProjectError, match="No space left"):
        save_project(brief("Night", "Plum"), target)
    assert target.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["p.json"]


def test_saved_file_opens_equal(tmp_path: Path) -> None:
    save_project(brief(), tmp_path / "p.json")
    assert load_project(tmp_path / "p.json") == brief()


def test_missing_file_and_unwritable_folder_say_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(ProjectError, match="cannot be read"):
        load_project(tmp_path / "none.json")
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(ProjectError, match="cannot be written"):
        write_whole(tmp_path / "file" / "p.json", b"{}")


def test_plain_fraction_is_a_number_where_decimal() -> None:
    assert to_plain(Fraction(5, 2)) == 2.5
    assert to_plain(Fraction(3)) == 3
    assert from_plain(Fraction, to_plain(Fraction(1, 3))) == Fraction(1, 3)

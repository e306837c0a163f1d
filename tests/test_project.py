"""The project file: exact round trip, checked entries, written whole or not at all."""

from __future__ import annotations

import errno
import json
import os
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from blankets import blanket, blanket_of, lying, yarn
from hypothesis import given
from hypothesis import strategies as st

from blendplan.blanket import Blanket
from blendplan.errors import BlendplanError, ProjectError
from blendplan.files import write_whole
from blendplan.project import (
    FORMAT,
    VERSION,
    load_project,
    project_json,
    read_project,
    save_project,
)
from blendplan.record import read, to_plain
from blendplan.yarn import Shade, Yarn

ODD_NAMES = ["Rust, dark", "=1+1", "ñandú", "毛糸", "🧶 ball", "<b>x</b>", '"quoted"', "a\\b", "\u202eabc"]


def opened(text: str) -> Blanket:
    return read_project(text.encode("utf-8"))[0]


@pytest.mark.parametrize("name", ODD_NAMES)
def test_odd_names_come_back_as_they_were(name: str) -> None:
    one = yarn(name, "#336699")
    first = blanket_of(yarns=(one,), order=(one.name,))
    assert opened(project_json(first)) == first


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
        shades=(Shade(lab=lab, within=2.25, reasons=("no-white",)),),
        grams=grams,
        metres=metres,
        lots=lying(parts_g=tuple(parts)),
        price=Fraction(1, 3),
    )
    first = blanket_of(yarns=(one,), order=("One",), solid_rows=rows)
    text = project_json(first)
    assert opened(text) == first
    assert project_json(opened(text)) == text


def test_hand_set_stripes_survive() -> None:
    first = blanket()
    by_hand = replace(first, design=replace(first.design, stripes=first.design.all_stripes()[:3]))
    assert opened(project_json(by_hand)) == by_hand


def _edited(**changes: object) -> bytes:
    body = json.loads(project_json(blanket()))
    for place, value in changes.items():
        record, _, name = place.partition("__")
        if name:
            body[record][name] = value
        else:
            body[record] = value
    return json.dumps(body).encode()


def test_shades_are_stored_not_derived() -> None:
    body = json.loads(project_json(blanket()))
    body["materials"]["yarns"][0]["shades"][0]["lab"] = [12.5, 1.25, -3.5]
    assert read_project(json.dumps(body).encode())[0].yarns[0].shades[0].lab == (12.5, 1.25, -3.5)


def test_newer_version_is_refused_with_what_to_do() -> None:
    with pytest.raises(ProjectError, match=rf"version {VERSION + 1}.*up to {VERSION}.*newer blendplan"):
        read_project(_edited(version=VERSION + 1))


def test_whole_numbers_in_places_for_floats_are_written_alike() -> None:
    """A brief made in a notebook and the same brief read back give the same bytes."""
    yarns = tuple(replace(yarn(name), shades=(Shade(lab=(50, 0, 1), share=1),)) for name in ("Fern", "Clay", "Milk"))
    first = blanket(hook_mm=9, width_cm=120, yarns=yarns)
    text = project_json(first)
    assert project_json(opened(text)) == text
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
    "nan": _edited(design__seen_from_m=float("nan")),
    "infinite": _edited(design__hook_mm=float("inf")),
    "text for number": _edited(design__hook_mm="big"),
    "list for group": _edited(design=[1]),
    "no yarns": _edited(materials__yarns=[]),
    "empty order": _edited(design={"order": []}),
    "unknown yarn": _edited(design={"order": ["Nobody"]}),
    "zero rows": _edited(design={"order": ["Fern"], "solid_rows": 0}),
    "bad terms": _edited(ways__terms="AU"),
    "deep": b'{"format": "blendplan-project", "version": 1, "title": ' + b"[" * 5000 + b"]" * 5000 + b"}",
    "too many rows": _edited(design={"order": ["Fern"], "solid_rows": 6000}),
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


@given(st.sampled_from(sorted(json.loads(project_json(blanket())))), JSON_VALUES)
def test_any_value_at_any_entry_gives_one_line_or_a_brief(key: str, value: object) -> None:
    body = {**json.loads(project_json(blanket())), key: value}
    try:
        read_project(json.dumps(body).encode())
    except BlendplanError as error:
        assert "\n" not in str(error)


def test_save_replaces_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "p.json"
    save_project(blanket(), target)
    before = target.read_bytes()

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(ProjectError, match="No space left"):
        save_project(blanket("Night", "Plum"), target)
    assert target.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["p.json"]


def test_saved_file_opens_equal(tmp_path: Path) -> None:
    save_project(blanket(), tmp_path / "p.json")
    assert load_project(tmp_path / "p.json") == blanket()


def test_missing_file_and_unwritable_folder_say_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(ProjectError, match="cannot be read"):
        load_project(tmp_path / "none.json")
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(ProjectError, match="cannot be written"):
        write_whole(tmp_path / "file" / "p.json", b"{}")


def test_plain_fraction_is_a_number_where_decimal() -> None:
    assert to_plain(Fraction(5, 2)) == 2.5
    assert to_plain(Fraction(3)) == 3
    thirds = read(Yarn, to_plain(yarn("Fern", price=Fraction(1, 3))), "yarn", [])
    assert thirds.price == Fraction(1, 3)

"""Input fields that are views of the work in hand: they show its value and hand back what was typed.

A field never holds the truth.
What it shows is written into it before it is drawn, so undo, opening a file and a switch of units need
nothing more; what cannot be taken stays in the field with the reason under it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any

import streamlit as st

from blendplan.errors import BlendplanError
from blendplan.page.show import figure, into_units, out_of_units, refused_html, unit_sign
from blendplan.page.state import lang, say, say_error, work
from blendplan.units import exact, whole

__all__ = [
    "choice_field",
    "fold",
    "number_field",
    "refused",
    "several_field",
    "slide_field",
    "switch_field",
    "text_field",
    "try_",
    "whole_field",
]


def refused(key: str) -> None:
    """Show why the last entry in a field was not taken."""
    error = st.session_state.bad.get(key)
    if error is not None:
        st.html(refused_html(say_error(error)))


def try_(key: str, act: Callable[[], object]) -> None:
    """Do something in a callback; a refusal is kept to be shown under the field of this key."""
    st.session_state.bad.pop(key, None)
    try:
        act()
    except BlendplanError as error:
        st.session_state.bad[key] = error


def _view(key: str, shown: object) -> None:
    """Make a widget show a value, unless its last entry was refused and still stands there."""
    if key not in st.session_state.bad and st.session_state.get(key) != shown:
        st.session_state[key] = shown


def _take(key: str, apply: Callable[[Any], object]) -> None:
    try_(key, lambda: apply(st.session_state[key]))


def text_field(
    label: str, key: str, value: str, apply: Callable[[str], object], *, help: str | None = None, placeholder: str = ""
) -> None:
    """Draw a field for a text."""
    _view(key, value)
    st.text_input(label, key=key, on_change=_take, args=(key, apply), help=help, placeholder=placeholder)
    refused(key)


def number_field(
    label: str,
    key: str,
    value: Fraction | float | None,
    apply: Callable[[Fraction | None], object],
    *,
    kind: str = "",
    digits: int = 2,
    help: str | None = None,
    placeholder: str = "",
    optional: bool = True,
) -> None:
    """Draw a field for a number, with a comma or a point; with `kind` it is shown in the units chosen.

    An empty field gives None where that is allowed.
    """
    units = units_now()
    shown = "" if value is None else figure(into_units(value, kind, units) if kind else value, digits, lang())

    def apply_text(text: str) -> None:
        if not text.strip():
            if not optional:
                exact(None, label)
            apply(None)
            return
        typed = exact(text, label)
        apply(out_of_units(typed, kind, units) if kind else typed)

    _view(key, shown)
    title = f"{label} ({unit_sign(kind, units)})" if kind else label
    st.text_input(title, key=key, on_change=_take, args=(key, apply_text), help=help, placeholder=placeholder)
    refused(key)


def whole_field(
    label: str,
    key: str,
    value: int,
    bounds: tuple[int, int],
    apply: Callable[[int], object],
    *,
    help: str | None = None,
) -> None:
    """Draw a field for a whole number, with steps by button or arrow key."""
    low, high = bounds
    shown = min(max(value, low), high)
    _view(key, shown)

    def apply_number(got: int | None) -> None:
        apply(whole(got, label, low, high))

    st.number_input(
        label, min_value=low, max_value=high, step=1, key=key, on_change=_take, args=(key, apply_number), help=help
    )
    refused(key)


def choice_field(
    label: str,
    key: str,
    value: str,
    options: Mapping[str, str],
    apply: Callable[[str], object],
    *,
    help: str | None = None,
    buttons: bool = False,
) -> None:
    """Draw a choice between few options given as value to shown text."""

    def apply_known(got: str) -> None:
        # A browser names an option by its shown text; one whose text has changed since is nobody's choice.
        if got in options:
            apply(got)

    _view(key, value)
    if buttons:
        st.segmented_control(
            label,
            list(options),
            format_func=lambda v: options.get(v, v),
            key=key,
            required=True,
            on_change=_take,
            args=(key, apply_known),
            help=help,
        )
    else:
        st.selectbox(
            label,
            list(options),
            format_func=lambda v: options.get(v, v),
            key=key,
            on_change=_take,
            args=(key, apply_known),
            help=help,
        )
    refused(key)


def slide_field(label: str, key: str, value: str, options: Mapping[str, str], apply: Callable[[str], object]) -> None:
    """Draw a slider over few named stops, by pointer or arrow keys."""
    _view(key, value)
    st.select_slider(
        label,
        list(options),
        format_func=lambda v: options.get(v, v),
        key=key,
        on_change=_take,
        args=(key, apply),
    )
    refused(key)


def several_field(
    label: str,
    key: str,
    values: tuple[str, ...],
    options: Mapping[str, str],
    apply: Callable[[tuple[str, ...]], object],
    *,
    help: str | None = None,
    placeholder: str = "",
) -> None:
    """Draw a choice of any number of options given as value to shown text."""
    _view(key, list(values))
    st.multiselect(
        label,
        list(options),
        format_func=lambda v: options.get(v, v),
        key=key,
        on_change=_take,
        args=(key, lambda got: apply(tuple(v for v in got if v in options))),
        help=help,
        placeholder=placeholder,
    )
    refused(key)


def switch_field(
    label: str, key: str, value: bool, apply: Callable[[bool], object], *, help: str | None = None
) -> None:
    """Draw a switch."""
    _view(key, value)
    st.toggle(label, key=key, on_change=_take, args=(key, apply), help=help)
    refused(key)


def fold(label: str, key: str) -> Any:
    """Return a folded part of the page; its `.open` says whether its content need be drawn at all."""
    return st.expander(label, key=key, on_change="rerun")


def units_now() -> str:
    """Return the units shown: those of the brief, metric before the first yarn."""
    current = work().brief
    return current.units if current is not None else "metric"


def nothing_yet() -> None:
    """Say that this part waits for the first yarn."""
    st.caption(say("This part waits for your first yarn. Add one above, from a photo or with a typed colour."))

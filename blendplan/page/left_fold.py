"""Yarn left while working: grams typed per colour, and whether the rest of the rows can be made."""

from __future__ import annotations

from fractions import Fraction

import streamlit as st

from blendplan.page.fields import number_field
from blendplan.page.show import inert
from blendplan.page.state import commit, say, work
from blendplan.plan import Plan
from blendplan.units import number

__all__ = ["left_fold"]


def left_fold(made: Plan) -> None:
    """Draw the fields for grams left, and the forecast."""
    done = min(work().extras.rows_done, made.rows)
    st.caption(
        say("After {done} rows: weigh what is left of each colour, not counting what is in the blanket.", done=done)
    )
    kept = dict(work().extras.grams_left)
    names = [c.name for c in made.yardage.colours]
    columns = st.columns(min(3, len(names)))
    for i, name in enumerate(names):
        with columns[i % len(columns)]:
            number_field(inert(name), f"left-{i}", kept.get(name), lambda v, n=name: _put(n, v), kind="g")  # type: ignore[misc]


def _put(name: str, grams: Fraction | None) -> None:
    others = tuple((n, g) for n, g in work().extras.grams_left if n != name)
    if grams is not None:
        number(grams, f"grams left of {name}", 0, 100_000, "g")
        others = (*others, (name, grams))
    commit(work().with_extras(grams_left=others))

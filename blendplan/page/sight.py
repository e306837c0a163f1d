"""The picture that stays in sight while choices change."""

from __future__ import annotations

import html

import streamlit as st

from blendplan.errors import BlendplanError
from blendplan.outputs.show import Show
from blendplan.page.derive import plan_of, view_png
from blendplan.page.fields import choice_field
from blendplan.page.state import brief, lang, say, say_error
from blendplan.plan import Plan

__all__ = ["sight"]

# Metres from the eye; 0 is the picture as it is drawn.
DISTANCES = {"0": "in the hand", "1": "1 m", "3": "3 m", "6": "across the room"}


def describe(plan: Plan) -> str:
    """Return the picture in words, for those who do not see it."""
    stripes = "; ".join(
        say(
            "{n}: {strands}, {rows} rows, rows {first} to {last}",
            n=s.number,
            strands=" + ".join(dict.fromkeys(s.stripe.strands)),
            rows=s.stripe.rows,
            first=s.first_row,
            last=s.last_row,
        )
        for s in plan.stripes[:60]
    )
    return say("The blanket, from the bottom up. {stripes}.", stripes=stripes)


def sight() -> None:
    """Draw the picture, or say why there is none and what to do."""
    current = brief()
    with st.container(key="sight"):
        if current is None:
            st.html(
                f'<div style="background:var(--bp-ground);color:#000;padding:3rem 1.5rem;text-align:center">'
                f"<p><b>{html.escape(say('Your blanket appears here.'))}</b></p>"
                f"<p>{html.escape(say('Begin with a photo of your yarn, or type its colour.'))}</p></div>"
            )
            return
        try:
            plan = plan_of(current)
        except BlendplanError as error:
            st.html(
                f'<div class="bp-refused" role="alert"><b>✗</b> {html.escape(say("This cannot be worked yet."))} '
                f"{html.escape(say_error(error))}</div>"
            )
            return
        state = st.session_state
        look, distance = state.get("look", "colour"), state.get("distance", "0")
        zoom = state.get("zoom", "whole")
        st.image(
            view_png(current, (900, 1000), zoom, float(distance), look == "grey"),
            width="stretch",
            alt=describe(plan),
        )
        show = Show(current.units, lang())
        st.html(
            "<ul class='bp-facts'>"
            f"<li><b>{html.escape(show.both_sizes(plan.size.width_cm, plan.size.height_cm))}</b></li>"
            f"<li>{html.escape(say('{n} stripes', n=len(plan.stripes)))}</li>"
            f"<li>{html.escape(say('{n} rows', n=plan.rows))}</li>"
            f"<li>{html.escape(say('chain {n}', n=plan.worked.chain))}</li></ul>"
        )
        with st.container(key="sight-more", horizontal=True, vertical_alignment="bottom", gap="small"):
            choice_field(
                say("Show"),
                "zoom-field",
                zoom,
                {"whole": say("whole"), "part": say("some stripes"), "repeat": say("one repeat")},
                lambda v: state.__setitem__("zoom", v),
            )
            choice_field(
                say("Seen from"),
                "distance-field",
                distance,
                {k: say(v) for k, v in DISTANCES.items()},
                lambda v: state.__setitem__("distance", v),
            )
            choice_field(
                say("Look"),
                "look-field",
                look,
                {"colour": say("in colour"), "grey": say("light and dark only")},
                lambda v: state.__setitem__("look", v),
            )

"""The picture that stays in sight while choices change."""

from __future__ import annotations

import base64
import html

import streamlit as st

from blendplan.errors import BlendplanError
from blendplan.outputs.show import Show
from blendplan.page.derive import Look, Seen, plan_of, seen
from blendplan.page.fields import choice_field, slide_field, whole_field
from blendplan.page.show import refused_html
from blendplan.page.state import brief, lang, say, say_error
from blendplan.plan import Plan

__all__ = ["figure_html", "sight"]

# Greatest size of the picture; the page shows it a little smaller on most screens.
VIEW_PX = (640, 720)
# Metres from the eye; 0 is the picture as it is drawn.
DISTANCES = {
    "0": "in the hand",
    "0.5": "half a metre",
    "1": "1 m",
    "2": "2 m",
    "3": "3 m",
    "4": "4 m",
    "6": "across the room",
}


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
                '<div class="bp-empty">'
                f"<p><b>{html.escape(say('Your blanket appears here.'))}</b></p>"
                f"<p>{html.escape(say('Begin with a photo of your yarn, or type its colour.'))}</p></div>"
            )
            return
        try:
            plan = plan_of(current)
        except BlendplanError as error:
            st.html(refused_html(say("This cannot be worked yet.") + " " + say_error(error)))
            return
        state = st.session_state
        look = Look(
            zoom=state.get("zoom", "whole"),
            stripe=int(state.get("look-stripe", 1)),
            metres=float(state.get("distance", "0")),
            grey=state.get("look", "colour") == "grey",
        )
        st.html(figure_html(seen(current, VIEW_PX, look), describe(plan)))
        show = Show(current.units, lang())
        st.html(
            "<ul class='bp-facts'>"
            f"<li><b>{html.escape(show.both_sizes(plan.size.width_cm, plan.size.height_cm))}</b></li>"
            f"<li>{html.escape(say('{n} stripes', n=len(plan.stripes)))}</li>"
            f"<li>{html.escape(say('{n} rows', n=plan.rows))}</li>"
            f"<li>{html.escape(say('chain {n}', n=plan.worked.chain))}</li></ul>"
        )
        slide_field(
            say("Seen from"),
            "distance-field",
            state.get("distance", "0"),
            {k: say(v) for k, v in DISTANCES.items()},
            lambda v: state.__setitem__("distance", v),
        )
        with st.container(key="sight-more", horizontal=True, vertical_alignment="bottom", gap="small"):
            choice_field(
                say("Show"),
                "zoom-field",
                look.zoom,
                {"whole": say("the whole"), "stripe": say("one stripe"), "repeat": say("stitches")},
                lambda v: state.__setitem__("zoom", v),
            )
            if look.zoom != "whole":
                last = len(plan.stripes)
                whole_field(
                    say("Stripe"),
                    "look-stripe-field",
                    min(look.stripe, last),
                    (1, last),
                    lambda n: state.__setitem__("look-stripe", n),
                )
            choice_field(
                say("Look"),
                "look-field",
                state.get("look", "colour"),
                {"colour": say("in colour"), "grey": say("light and dark only")},
                lambda v: state.__setitem__("look", v),
            )


def figure_html(picture: Seen, alt: str, css: str = "") -> str:
    """Return the picture with its stripe numbers beside it; all of it stands in the address, nothing is fetched."""
    code = base64.b64encode(picture.jpeg).decode("ascii")
    numbers = "".join(f'<span style="top:{100 * place:.2f}%">{text}</span>' for text, place in picture.marks)
    return (
        f'<div class="bp-figure {css}" style="--bp-ratio:{picture.width / picture.height:.4f}"><div class="bp-canvas">'
        f'<img alt="{html.escape(alt, quote=True)}" src="data:image/jpeg;base64,{code}">'
        f'<div class="bp-numbers" aria-hidden="true">{numbers}</div></div></div>'
    )

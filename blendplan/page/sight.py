"""The picture and the shelf: what they are given, and what they send back, taken as edits."""

from __future__ import annotations

import hashlib
import html
import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import Any

import numpy as np
import streamlit as st

from blendplan.blanket import Blanket
from blendplan.blend.strands import FARTHEST_M, PLACES
from blendplan.budgets import MAX_ROWS
from blendplan.colour import lab_to_linear
from blendplan.errors import BlendplanError, StripeError
from blendplan.fabric.phrases import abbreviation
from blendplan.outputs.content import enough_words
from blendplan.outputs.render import drawn_stripes, plan_layout, swatch_pixels
from blendplan.page import edits
from blendplan.page.fields import heard, refused_html, text_on
from blendplan.page.routes import address, address_later
from blendplan.page.state import blanket, change, lang, mount, say, say_error, session, tell, turn, work
from blendplan.picture.canvas import View, cut_out, encode_jpeg, encode_webp
from blendplan.picture.distance import Screen, seen_from
from blendplan.picture.geometry import Ends, Layouts, prepare
from blendplan.picture.scene import DrawnStripe, StripFrame, blanket_size_cm, draw_strip, shape_of, view_of
from blendplan.plan import Plan, to_buy
from blendplan.quantities import Quantities, figure, into_units, skeins_note
from blendplan.reckon import Reckoned, reckon
from blendplan.stripes import edit
from blendplan.units import CM_PER_INCH, whole
from blendplan.wording import note, tr
from blendplan.workspace import plan_of
from blendplan.yardage.length import Yardage
from blendplan.yarn import Yarn

# Greatest size of small pictures in pixels.
SMALL_PX = (300, 340)
# Rows that a strip is drawn with beyond its own, to be pulled out at once.
SPARE = 4
# Pixels a centimetre where there is no server of ours to draw strips as large as they are shown.
PLAIN_SCALE = 2.0
LEAST_SCALE, MOST_SCALE = 0.5, 24.0
# Where the blanket is judged from, a key of `PLACES`: for the picture, the blends, the warnings and the orders alike.
DISTANCES = ("hand", "lap", "sofa", "room", "far")
# How fabric looks from there, under a picture of it.
SEEN_WORDS = {
    "hand": "in the hand",
    "lap": "on the lap",
    "sofa": "from the sofa",
    "room": "across the room",
    "far": "from far away",
}
# Stripes and rows on either side that are counted ahead for a hand that may pull there.
COUNTED_ROWS, COUNTED_REPEATS, COUNTED_PAIRS = 16, 5, 14
MOST_MOVES = 60
# Names of what a picture may send, each with what it does.
HEARD_FROM = 8


# ---- strips


@dataclass(frozen=True, slots=True, kw_only=True)
class _Drawn:
    """A strip to be drawn: what it is of, the side its first row shows, its ends, and from where it is seen."""

    stripe: DrawnStripe
    layout: Any
    ends: Ends
    back_loops: bool
    from_m: float
    screen: Screen

    def pixels(self, how: str) -> bytes:
        """Return the strip at a scale and a number of its pixels to one of the page, as "4.4,1"."""
        scale, _, ratio = how.partition(",")
        px_per_cm, of_page = float(scale), float(ratio)
        if not (LEAST_SCALE <= px_per_cm <= MOST_SCALE and 1 <= of_page <= 4):
            raise ValueError(how)
        pixels = draw_strip(self.stripe, self.layout, self.ends, px_per_cm=px_per_cm, back_loops=self.back_loops)
        already = self.screen.already_cm(px_per_cm / of_page)
        if 100 * self.from_m > already:
            pixels[..., :3] = seen_from(
                pixels[..., :3],
                px_per_cm=px_per_cm,
                distance_cm=100 * self.from_m,
                already_cm=already,
                cover=pixels[..., 3],
            )
        return encode_webp(pixels, None)


@lru_cache(maxsize=64)
def _plain_strip(drawn: _Drawn) -> bytes:
    """Return a strip as it is sent where there is no server of ours."""
    return drawn.pixels(f"{PLAIN_SCALE},1")


class _Strips:
    """The strips of a plan by short keys, each with its address, its rows and its height over the foot line."""

    def __init__(self, plan: Plan, screen: Screen) -> None:
        self.found: dict[str, dict[str, Any]] = {}
        self._layout = plan_layout(plan)
        self._frame = StripFrame.of(self._layout)
        self._loops = plan.worked.ripple.loops == "back"
        size = plan.size
        self._made_from = (plan.worked.ripple, plan.gauge, size.width_cm, size.rise_per_row_cm, size.wave_cm)
        self._from_m, self._screen = plan.blanket.design.seen_from_m, screen

    def key(self, stripe: DrawnStripe, ends: Ends) -> str:
        """Return the key of a strip; the same strip has one key."""
        made_from = (self._made_from, stripe, ends, self._loops, self._from_m, self._screen)
        short = hashlib.blake2b(repr(made_from).encode(), digest_size=6).hexdigest()
        if short not in self.found:
            drawn = _Drawn(
                stripe=stripe,
                layout=self._layout,
                ends=ends,
                back_loops=self._loops,
                from_m=self._from_m,
                screen=self._screen,
            )
            at = address_later(made_from, drawn.pixels, "webp") or address(_plain_strip(drawn), "webp")
            self.found[short] = {
                "at": at,
                "rows": stripe.rows,
                "top": self._frame.high_cm(stripe.rows),
                "last": ends.last,
            }
        return short

    def fabric(self) -> dict[str, Any]:
        """Return the measures that strips are placed and cut by, centimetres."""
        frame = self._frame
        return {
            "width": frame.width_cm,
            "rise": frame.rise_cm,
            "room": frame.room_cm,
            "low": frame.low_cm,
            "wave_cm": frame.wave_cm,
            "stitch": frame.stitch_cm,
            "wave": [[round(x, 4), round(y, 4)] for x, y in frame.edge],
        }


# ---- counting


def hook_words(plan: Plan) -> str:
    """Return what the fabric rests on, in the sum line's last words."""
    hook = figure(plan.gauge.hook_mm or plan.yardage.hook_mm, 2, lang())
    gauge = say("usual gauge") if plan.blanket.materials.gauge is None else say("your gauge")
    stitch = abbreviation(plan.worked.ripple.stitch, plan.blanket.ways.terms, lang())
    return say("{hook} mm hook, {stitch}, {gauge}", hook=hook, stitch=stitch, gauge=gauge)


def _total(yardage: Yardage) -> int | None:
    buy = [c.buy_skeins for c in yardage.colours]
    return None if None in buy else sum(n or 0 for n in buy)


def size_words(current: Blanket, width_cm: float, height_cm: float, language: str) -> str:
    """Return width by height in the maker's units alone."""
    show = Quantities(current.ways.units, language)
    wide, tall = (show.number(into_units(cm, "cm", current.ways.units)) for cm in (width_cm, height_cm))
    return f"{wide} × {tall} {'in' if current.ways.units == 'imperial' else 'cm'}"


def on_shelf(current: Blanket) -> list[Yarn]:
    """Return the yarns in the order of their letters."""
    sign = edits.signs_of(current)
    return sorted(current.yarns, key=lambda yarn: (len(sign.get(yarn.name, "")), sign.get(yarn.name, "")))


def sum_of(current: Blanket, made: Plan | Reckoned, language: str, before: int | None = None) -> dict[str, Any]:
    """Return what a blanket comes to, in words and as it fills the shelf; `before` is what stood there until now."""
    yardage = to_buy(made, current.making)
    total = _total(yardage)
    if total is None:
        skeins = short = tr("skeins not known", language)
    elif total == before:
        skeins, short = tr("still {n} skeins", language, n=total), tr("still {n}", language, n=total)
    elif total == 0:
        skeins = short = tr("nothing to buy", language)
    else:
        skeins = tr("1 skein to buy", language) if total == 1 else tr("{n} skeins to buy", language, n=total)
        short = skeins_note(total).say(language)
    price = ""
    if yardage.total_price:
        price = Quantities(lang=language).money(yardage.total_price, current.ways.currency)
        price = price.replace(".00", "").replace(",00", "")
    chance = "" if yardage.chance_any_short is None else enough_words(yardage.chance_any_short, language)
    need = {c.name: c for c in yardage.colours}
    yarns = []
    for yarn in on_shelf(current):
        colour = need.get(yarn.name)
        have: float = yarn.skeins_on_hand if colour is None else colour.skeins_on_hand
        parts = 0.0 if yarn.put_up is None else sum(float(g / yarn.put_up.mass_g) for g in yarn.part_skeins_g)
        buy = 0 if colour is None else colour.buy_skeins
        used = 0.0 if colour is None or not colour.skein_m else colour.need_m / colour.skein_m
        words = [tr("have {n}", language, n=have)] if have else []
        if colour is not None and colour.rest is not None and colour.skein_g:
            # While it is worked: what is left against what is ahead.
            have, parts = divmod(colour.rest.left_g / colour.skein_g, 1)
            used = colour.rest.need_g / colour.skein_g
            words = [tr("{left} left", language, left=Quantities(current.ways.units).mass(colour.rest.left_g))]
        if buy:
            words.append(tr("buy {n}", language, n=buy))
        yarns.append(
            {
                "used": round(used, 3),
                "have": int(have),
                "part": round(parts, 3),
                "buy": buy or 0,
                "words": ", ".join(words) or tr("enough here", language if used else "not used"),
            }
        )
    return {
        "size": size_words(current, made.size.width_cm, made.size.height_cm, language),
        "skeins": skeins,
        "short": short,
        "price": price,
        "chance": chance,
        "yarns": yarns,
    }


@lru_cache(maxsize=64)
def sums(current: Blanket, language: str) -> dict[str, Any]:
    """Return what a blanket that can be worked comes to, as `sum_of`."""
    return sum_of(current, plan_of(current), language)


@lru_cache(maxsize=8)
def digest_of_blanket(current: Blanket) -> str:
    """Return a digest of all that a blanket is."""
    return hashlib.blake2b(repr(current).encode(), digest_size=12).hexdigest()


def _counted(change_of: Callable[[], Blanket], language: str, before: int | None) -> dict[str, Any] | None:
    try:
        after = change_of()
        return sum_of(after, reckon(after), language, before)
    except BlendplanError:
        return None


def _json(found: object) -> bytes:
    return json.dumps(found, ensure_ascii=False, separators=(",", ":")).encode()


def count_rows(current: Blanket, at: int, language: str) -> dict[int, dict[str, Any]]:
    """Return what the blanket comes to with other numbers of rows of one stripe, by the number."""
    plan, show = plan_of(current), Quantities(current.ways.units, language)
    now, before = plan.stripes[at].stripe.rows, _total(to_buy(plan))
    out = {}
    for n in range(max(1, now - COUNTED_ROWS), min(MAX_ROWS, now + COUNTED_ROWS) + 1):
        found = _counted(
            lambda n=n: edits.change_stripes(current, lambda t: edit.set_rows(t, at, n)),  # type: ignore[misc]
            language,
            before if n != now else None,
        )
        if found is not None:
            out[n] = {**found, "height": show.size(n * plan.size.rise_per_row_cm, 1)}
    return out


def count_moves(current: Blanket, at: int, language: str) -> dict[int, dict[str, Any]]:
    """Return what the blanket comes to with one stripe at another place, by the place."""
    plan = plan_of(current)
    before, changes = _total(to_buy(plan)), plan.strands.changes
    out = {}
    for to in range(len(plan.stripes)):
        try:
            moved = edits.change_stripes(current, lambda t, to=to: edit.move(t, at, to))  # type: ignore[misc]
            made = plan_of(moved)
        except BlendplanError:
            continue
        ends = sum(len(c.left) for c in made.strands.changes) - sum(len(c.left) for c in changes)
        found = sum_of(moved, made, language, before if to != at else None)
        words = found["skeins"]
        if ends > 0:
            words = tr("{n} more ends to weave in, {skeins}.", language, n=2 * ends, skeins=words)
        elif ends < 0:
            words = tr("{n} fewer ends to weave in, {skeins}.", language, n=-2 * ends, skeins=words)
        out[to] = {**found, "move": words}
    return out


def count_size(current: Blanket, side: str, language: str) -> list[dict[str, Any]]:
    """Return the sizes that a tape can be pulled to about the one that stands, each with what it comes to."""
    plan, show = plan_of(current), Quantities(current.ways.units, language)
    before, out = _total(to_buy(plan)), []
    for cm in _steps(plan, side):
        try:
            after = _sized(current, side, cm)
            made = reckon(after)
        except BlendplanError:
            continue
        got = made.size.width_cm if side == "width" else made.size.height_cm
        out.append({**sum_of(after, made, language, before), "cm": got, "text": show.size(got)})
    return out


def _steps(plan: Plan, side: str) -> list[float]:
    """Return widths by one repeat, or lengths by two rows, about the one that stands, centimetres."""
    if side == "width":
        now = plan.worked.ripple.repeats
        each = plan.size.width_cm / now
        return [n * each for n in range(max(1, now - COUNTED_REPEATS), now + COUNTED_REPEATS + 1)]
    rows = range(max(2, plan.rows - 2 * COUNTED_PAIRS), plan.rows + 2 * COUNTED_PAIRS + 1, 2)
    return [n * plan.size.rise_per_row_cm for n in rows]


def _sized(current: Blanket, side: str, cm: float) -> Blanket:
    if side == "width":
        return edits.change_design(current, width_cm=round(cm, 1), repeats=None)
    return edits.stretch(current, round(cm, 1))


# ---- the picture


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


def shown() -> Blanket | None:
    """Return the blanket that the picture shows: the one in hand, or what is only looked at."""
    current, looking = blanket(), session().looking
    return current if current is None or looking is None else replace(current, design=looking)


def sight() -> None:
    """Draw the picture, or say why there is none and what to do."""
    current = shown()
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
        data, body = picture_data(current, plan), '<div class="picture"></div>'
        mount("picture", "picture", data, body, "marks", on_hand_change=heard("picture", "hand", hear))


def stripe_name(strands: tuple[str, ...]) -> str:
    """Return what a stripe is called: its yarn, or its yarns held together."""
    names = tuple(dict.fromkeys(strands))
    return names[0] if len(names) == 1 else say("{a} with {b}", a=names[0], b=names[1] if len(names) < 3 else "…")


def picture_data(current: Blanket, plan: Plan) -> dict[str, Any]:
    """Return all that the picture is given."""
    state = session()
    looking = state.looking is not None
    chosen = state.chosen if state.chosen is not None and state.chosen < len(plan.stripes) else None
    if state.place != "stripes" or looking:
        chosen = None
    strips, layout_rows = _Strips(plan, state.look.screen), 0
    drawn, stripes, last = drawn_stripes(plan), [], len(plan.stripes) - 1
    colour = {yarn.name: yarn.srgb for yarn in plan.yarns}
    plain = not address_later("", lambda how: b"")
    for i, (planned, one) in enumerate(zip(plan.stripes, drawn, strict=True)):
        more = replace(one, rows=one.rows + SPARE)
        starts = "back" if layout_rows % 2 else "front"
        own = strips.key(one if i == last else more, Ends(starts=starts, first=i == 0, last=i == last))
        stripes.append(
            {
                "rows": planned.stripe.rows,
                "own": own,
                "front": None if plain else strips.key(more, Ends()),
                "back": None if plain else strips.key(more, Ends(starts="back")),
                "dots": [colour[name] for name in dict.fromkeys(planned.stripe.strands)],
                "srgb": planned.blend.srgb,
                "name": stripe_name(planned.stripe.strands),
                "held": planned.stripe.locked,
            }
        )
        layout_rows += planned.stripe.rows
    show = Quantities(current.ways.units, lang())
    inches = current.ways.units == "imperial"
    from_m = current.design.seen_from_m
    froms = [[key, say(key)] for key in DISTANCES]
    at = place_of(from_m)
    if not at:
        at = "own"
        froms.append(["own", say("from {n} m", n=figure(from_m, 1, lang()))])
    gapping = state.place == "yarn" and (state.yarn_view == "pair" or len(state.pair) == 2)
    return {
        "session": state.kept.hand,
        "heard": dict(state.heard),
        "said": state.said,
        "seen": seen_stripes(current),
        "fabric": strips.fabric(),
        "strips": strips.found,
        "fixed": PLAIN_SCALE if plain else 0,
        "stripes": stripes,
        "chosen": chosen,
        "gap": state.gap if gapping else None,
        "gapping": gapping,
        "swapping": state.swapping,
        "looking": looking,
        "folded": state.place != "stripes",
        "worked": 0 if looking else current.making.rows_done,
        "hint": _hint(),
        "first": bool(work().extras.demo) and not state.touched,
        "from": at,
        "froms": froms,
        "grey": state.look.grey,
        "true_px": state.look.screen.px_per_cm,
        # The first piece of fabric costs most: it is drawn before a tag asks for it.
        "warm": "" if plain else _piece(plan),
        "tape": {
            "unit_cm": float(CM_PER_INCH) if inches else 1,
            "step": 5 if inches else 10,
            "width": show.size(plan.size.width_cm),
            "length": show.size(plan.size.height_cm),
        },
        "counts": {} if looking or plain else _counts(current, plan, chosen),
        "sum": sums(current, lang()),
        "words": _words(plan),
    }


def _piece(plan: Plan) -> str:
    first = plan.stripes[0]
    return pair_address(tuple(plan.yarn(n).lab for n in first.stripe.strands), first.blend.shares, 0.0, "fabric")


def seen_stripes(current: Blanket) -> str:
    """Return a digest of the stripes as they stand, which a hand says it has seen."""
    return hashlib.blake2b(repr(edits.standing(current)).encode(), digest_size=8).hexdigest()


def _hint() -> str:
    state = session()
    if not work().extras.demo or state.touched or state.looking is not None or state.place != "stripes":
        return ""
    return say("A blanket to try. Press any stripe.")


def _counts(current: Blanket, plan: Plan, chosen: int | None) -> dict[str, Any]:
    """Return the addresses under which hands that may come are counted ahead."""
    language = lang()
    made_from = (digest_of_blanket(current), language)

    def later(kind: str, at: int, count: Callable[[], object]) -> str:
        return address_later(("count", kind, at, *made_from), lambda how: _json(count()), "json")

    return {
        "rows": {}
        if chosen is None
        else {str(chosen): later("rows", chosen, lambda: count_rows(current, chosen, language))},
        "move": {str(i): later("move", i, partial(count_moves, current, i, language)) for i in range(len(plan.stripes))}
        if len(plan.stripes) <= MOST_MOVES
        else {},
        "width": later("width", 0, lambda: count_size(current, "width", language)),
        "length": later("length", 0, lambda: count_size(current, "length", language)),
    }


def _words(plan: Plan) -> dict[str, str]:
    """Return the picture's own words."""
    field = {name: f"{{{name}}}" for name in ("n", "name", "rows", "cm", "a", "b", "place")}
    return {
        "picture": describe(plan),
        "stripes": say("Stripes, the first worked at the bottom"),
        "stripe": say("Stripe {n}: {name}, {rows}", n=field["n"], name=field["name"], rows=field["rows"]),
        "heldStripe": say("Stripe {n}: {name}, {rows}, held", n=field["n"], name=field["name"], rows=field["rows"]),
        "rows": say("{n} rows", n=field["n"]),
        "oneRow": say("1 row"),
        "rowsAnd": say("{rows}, {cm}", rows=field["rows"], cm=field["cm"]),
        "pull": say("Rows of stripe {n}; pull up or down", n=field["n"]),
        "inHere": say("in here"),
        "length": say("Length; pull, or use the arrow keys"),
        "width": say("Width; pull, or use the arrow keys"),
        "pullTape": say("pull"),
        "smaller": say("Smaller"),
        "larger": say("Larger"),
        "trueSize": say("True size"),
        "seenFrom": say("as seen from"),
        "phoneSeen": say("Seen from: {place}", place=field["place"]),
        "tones": say("dark and light only"),
        "fold": say("Fold"),
        "unfold": say("Unfold the picture"),
        "between": say("Between stripes {a} and {b}.", a=field["a"], b=field["b"]),
        "below": say("Below all others."),
        "above": say("Above all others."),
        "sameplace": say("Where it was."),
        "esc": say("Let go, or Esc puts it back."),
        "back": say("Back where it was."),
    }


# ---- what it sends


def hear(hand: dict[str, Any]) -> None:
    """Take what a hand did to the picture; each hand counts once, and an older one never after a newer."""
    state = session()
    mount, n = str(hand.get("mount", ""))[:20], hand.get("n")
    if not isinstance(n, int) or n <= state.heard.get(mount, 0):
        return
    state.heard = {**dict(list(state.heard.items())[-HEARD_FROM:]), mount: n}
    state.bad.pop("picture", None)
    try:
        _heard(hand)
    except BlendplanError as error:
        state.bad["picture"] = error


def _heard(hand: dict[str, Any]) -> None:
    state, current = session(), blanket()
    if current is None:
        return
    act = ACTS.get(str(hand.get("do")))
    if act is None:
        raise StripeError("that press cannot be read; reload the page.")
    count = len(edits.standing(current))
    state.touched = state.touched or hand.get("do") != "keys"
    if "id" in hand:
        whole(hand["id"], "number of a stripe", 0, count - 1)
    if hand.get("do") in CHANGES and hand.get("seen") != seen_stripes(current):
        tell(note("The stripes were changed elsewhere meanwhile; look at them, and do it again.", "warning"))
        return
    act(hand)


def press(at: int) -> None:
    """Open the tag of a stripe, close it, or swap it with the one whose tag is open."""
    state = session()
    if state.looking is not None:
        return
    if state.swapping and state.chosen is not None:
        state.swapping = False
        if at != state.chosen:
            one = state.chosen
            do(lambda t: edit.swap(t, one, at), then=at)
        return
    state.chosen = None if state.chosen == at and state.place == "stripes" else at
    state.place = "stripes"


def do(act: Callable[[Any], Any], *, then: int | None) -> None:
    """Change the stripes; the tag goes with the stripe."""
    change(lambda b: edits.change_stripes(b, act))
    state = session()
    if state.chosen is not None:
        state.chosen = then
    state.said = _said(then)


def _said(at: int | None) -> str:
    """Return what the last change came to: the stripe, and the skeins."""
    current = blanket()
    if current is None:
        return ""
    plan, total = plan_of(current), sums(current, lang())["skeins"]
    if at is None or at >= len(plan.stripes):
        return f"{total}."
    return say("Stripe {n}: {rows} rows. {skeins}.", n=at + 1, rows=plan.stripes[at].stripe.rows, skeins=total)


def remove(at: int) -> None:
    """Take a stripe out; a line says so and offers to put it back."""
    do(lambda t: edit.remove(t, at), then=None)
    current = blanket()
    if current is not None:
        session().chosen = None
        skeins = sums(current, lang())["skeins"]
        session().taken_out = say("Stripe {n} is out. {skeins}.", n=at + 1, skeins=skeins)


def hold(at: int) -> None:
    """Hold a stripe as it is, or let it go."""
    do(lambda t: edit.lock(t, at, not t[at].locked), then=at)


def split(at: int) -> None:
    """Cut a stripe in two."""
    do(lambda t: edit.split(t, at, t[at].rows - t[at].rows // 2), then=at)


def move(at: int, to: int) -> None:
    """Put a stripe at another place."""
    do(lambda t: edit.move(t, at, to), then=to)


def _moved(hand: dict[str, Any]) -> None:
    at, to = hand["id"], whole(hand.get("to"), "place of a stripe", 0, MAX_ROWS)
    if session().chosen is not None:
        session().chosen = at
    move(at, to)


def _rows(hand: dict[str, Any]) -> None:
    n = whole(hand.get("rows"), "rows of a stripe", 1, MAX_ROWS)
    do(lambda t: edit.set_rows(t, hand["id"], n), then=hand["id"])


def _size(hand: dict[str, Any]) -> None:
    side, cm = hand.get("side"), hand.get("cm")
    if side not in ("width", "length") or not isinstance(cm, int | float):
        raise StripeError("that press cannot be read; reload the page.")
    change(lambda b: _sized(b, side, min(max(float(cm), 5.0), 1000.0 if side == "width" else 2000.0)))
    session().said = _said(None)


def _step(hand: dict[str, Any]) -> None:
    current, side = blanket(), hand.get("side")
    if current is None or side not in ("width", "length"):
        return
    plan, by = plan_of(current), 1 if hand.get("by") == 1 else -1
    if side == "width":
        repeats = max(1, plan.worked.ripple.repeats + by)
        cm = plan.size.width_cm / plan.worked.ripple.repeats * repeats
    else:
        cm = max(1, plan.rows + 2 * by) * plan.size.rise_per_row_cm
    _size({"side": side, "cm": cm})


def _look(hand: dict[str, Any]) -> None:
    state = session()
    if isinstance(hand.get("grey"), bool):
        state.look = replace(state.look, grey=hand["grey"])
    elif hand.get("from") in DISTANCES:
        metres = min(PLACES[hand["from"]], FARTHEST_M)
        change(lambda b: edits.change_design(b, seen_from_m=metres))


def _gap(hand: dict[str, Any]) -> None:
    current = blanket()
    if current is not None:
        session().gap = whole(hand.get("after"), "gap between stripes", 0, len(edits.standing(current)))


ACTS: dict[str, Callable[[dict[str, Any]], None]] = {
    "press": lambda hand: press(hand["id"]),
    "rows": _rows,
    "move": _moved,
    "split": lambda hand: split(hand["id"]),
    "hold": lambda hand: hold(hand["id"]),
    "remove": lambda hand: remove(hand["id"]),
    "size": _size,
    "step": _step,
    "look": _look,
    "gap": _gap,
    "keys": lambda hand: turn("keys"),
}
# What names a stripe by its place and would hit another one if others had changed them meanwhile.
CHANGES = frozenset({"press", "rows", "move", "split", "hold", "remove", "gap"})


# ---- the sum and the shelf


def sum_words(plan: Plan | None) -> str:
    """Return skeins and size in a few words, for the phone's bar."""
    if plan is None:
        return say("nothing yet")
    total = sums(plan.blanket, lang())
    return f"{total['short']}  \n{total['size']}"


def shelf(go: Callable[[str], None], press_yarn: Callable[[str], None]) -> None:
    """Draw the sum line and the shelf of yarns; a press goes to a place, or takes a yarn."""
    current = shown()
    if current is None:
        return
    try:
        plan = plan_of(current)
    except BlendplanError:
        return
    sign = edits.signs_of(current)
    pair = session().pair
    yarns = [
        {
            "key": yarn.key,
            "letter": sign.get(yarn.name, ""),
            "name": yarn.name,
            "srgb": yarn.srgb,
            "ink": text_on(yarn.srgb),
            "chosen": yarn.key in pair,
        }
        for yarn in on_shelf(current)
    ]

    def take(what: dict[str, Any]) -> None:
        if what.get("go") in ("buying", "fabric", "size", "yarn"):
            go("fabric" if what["go"] == "size" else what["go"])
        elif what.get("yarn") in {yarn.key for yarn in current.yarns}:
            press_yarn(what["yarn"])

    mount(
        "shelf",
        "shelf",
        {
            "sum": sums(current, lang()),
            "yarns": yarns,
            "fabric": hook_words(plan),
            "assumed": current.materials.gauge is None or current.design.hook_mm is None,
            "bare": session().place == "buying",
            "words": {
                "shelf": say("The yarns, and how the blanket fills their skeins"),
                "add": say("Add yarn"),
                "of": say("{used} of {all}", used="{used}", all="{all}"),
                "sum": say("What it comes to"),
            },
        },
        '<div class="shelf"></div>',
        "marks",
        on_press_change=heard("shelf", "press", take),
    )


@lru_cache(maxsize=48)
def _small(blanket: Blanket) -> tuple[Sequence[DrawnStripe], Layouts, View]:
    """Return what a blanket in small is drawn of, and its view."""
    plan = plan_of(blanket)
    layout, stripes = plan_layout(plan), drawn_stripes(plan)
    width, height = blanket_size_cm(stripes, layout)
    scale = _step_down(min(SMALL_PX[0] / width, SMALL_PX[1] / height))
    window = (-0.5, -0.5, width + 0.5, height + 0.5)
    return stripes, layout, view_of(stripes, layout, px_per_cm=scale, window=window)


@lru_cache(maxsize=48)
def seen_small(blanket: Blanket) -> bytes:
    """Return the picture in small, for comparing: a WebP, see-through beside the blanket."""
    stripes, layout, view = _small(blanket)
    geometry = prepare(shape_of(stripes), layout, view, back_loops=blanket.design.ripple.loops == "back")
    return encode_webp(cut_out(geometry, [s.strand_colours for s in stripes]))


def place_of(from_m: float) -> str:
    """Return the one of `DISTANCES` that lies some metres away; empty where none does."""
    return next((key for key in DISTANCES if min(PLACES[key], FARTHEST_M) == min(from_m, FARTHEST_M)), "")


def _step_down(scale: float) -> float:
    """Return the scale on a ladder of steps of a fifth, so that stitches drawn once serve blankets of many rows."""
    return max(LEAST_SCALE, float(1.2 ** math.floor(math.log(scale, 1.2))))


# How large a piece of a pair is shown, cm wide and high.
PIECES = {"fabric": (12.0, 9.5), "round": (9.0, 9.0), "small": (7.5, 3.5)}


@lru_cache(maxsize=256)
def pair_seen(
    strands: tuple[tuple[float, float, float], ...], shares: tuple[float, ...], from_m: float, piece: str
) -> bytes:
    """Return a piece of worked fabric of strands, given in CIELAB, as it looks from some metres: a JPEG."""
    pixels, scale = swatch_pixels([lab_to_linear(lab) for lab in strands], shares)
    wide, high = (round(cm * scale) for cm in PIECES[piece])
    pixels = np.ascontiguousarray(pixels[:high, :wide])
    if from_m > PLACES["hand"]:
        pixels = seen_from(pixels, px_per_cm=scale, distance_cm=100 * from_m)
    return encode_jpeg(pixels)


def pair_address(
    labs: tuple[tuple[float, float, float], ...], shares: tuple[float, ...], from_m: float, piece: str
) -> str:
    """Return the address of a piece of fabric as `pair_seen` draws it, drawn once it is asked for."""
    made_from = ("pair", labs, shares, from_m, piece)
    at = address_later(made_from, lambda _: pair_seen(labs, shares, from_m, piece), "jpeg")
    return f"{at}/p" if at else address(pair_seen(labs, shares, from_m, piece), "jpeg")


def figure_html(current: Blanket, alt: str) -> str:
    """Return a small picture of a blanket; its room is kept until it has come."""
    view = _small(current)[2]
    how = address_later(("small", digest_of_blanket(current)), lambda _: seen_small(current), "webp")
    source = f"{how}/s" if how else address(seen_small(current), "webp")
    size = f"--wide:{view.width};--tall:{view.height}"
    return f'<img class="bp-hung" style="{size}" alt="{html.escape(alt, quote=True)}" src="{source}">'

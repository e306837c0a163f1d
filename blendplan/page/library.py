"""My blankets and yarn: what the library holds, the yarn shelf, and the phone's way in; and the place of the work."""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import partial
from pathlib import Path
from typing import Any

import streamlit as st

from blendplan.blanket import Blanket
from blendplan.errors import BlendplanError, ProjectError
from blendplan.kept import Library, OnShelf, Shelf, Shelved
from blendplan.lasting import verdict
from blendplan.outputs.pattern import pattern, plan_diagram
from blendplan.page.buying import question
from blendplan.page.edits import add_yarn, change_making, change_materials
from blendplan.page.fields import (
    file_field,
    folded,
    inert,
    line_html,
    number_field,
    of_blanket,
    press,
    refused,
    save_button,
    told_html,
    try_,
    whole_field,
)
from blendplan.page.routes import (
    SERVED,
    WayIn,
    address,
    beside_now,
    blanket_of,
    hear,
    read_presses,
    rows_along,
    served,
    work_address,
)
from blendplan.page.serve import square
from blendplan.page.state import (
    blanket,
    change,
    demo_workspace,
    lang,
    new_blanket,
    open_blanket,
    say,
    say_error,
    session,
    spoken,
    tell,
    typed,
)
from blendplan.plan import Plan, ledger_of
from blendplan.quantities import Quantities, skeins_note
from blendplan.wording import Notice
from blendplan.workspace import plan_of, read_workspace, work_of, workspace_to_json
from blendplan.yarn import Lot, Yarn

__all__ = ["library_place", "phone_panel", "work_place"]

LOOK = Path(__file__).parent / "assets" / "library.css"
# Pictures drawn anew at most in one run, so that the list is there at once.
DRAWN_AT_ONCE = 4
PICTURE_PX = (360, 420)


def _library() -> Library:
    return session().kept.library


def _shelf() -> Shelf:
    return Shelf(_library())


def library_place() -> None:
    """Draw her blankets, her yarn, and the way in for her phone."""
    st.html(LOOK)
    with st.container(key="lib-acts", horizontal=True, gap="small"):
        press(say("New blanket"), "lib-new", _new, type="primary")
        press(say("The example blanket"), "lib-example", lambda: new_blanket(demo_workspace()))
        with st.popover(say("Open from a file")):
            file_field(say("A project file"), "lib-file", "json", 20, _take_file)
    _ask_same()
    _blankets()
    _yarn_shelf()
    if not served():
        phone_panel()


def _new() -> None:
    new_blanket()
    session().place = "yarn"


def _take_file(data: bytes, name: str) -> None:
    found, notices = read_workspace(data)
    new_blanket(replace(found, extras=replace(found.extras, demo=False)))
    session().told += notices
    yarns = found.blanket.yarns if found.blanket else ()
    session().same = tuple((yarn.key, like[0].key) for yarn in yarns if (like := _shelf().like(yarn)))


# ---- blankets


def _blankets() -> None:
    every = _library().blankets()
    out = [one for one in every if not one.put_away]
    if not out:
        st.html(line_html("p", say("No blanket of yours yet."), "bp-none"))
    _draw_missing(every)
    _rail("lib-rail", out)
    away = [one for one in every if one.put_away]
    if away:
        folded(say("Put away: {n}", n=len(away)), "lib-away", _rail, "lib-rail-away", away)
    gone = _library().thrown()
    if gone:
        folded(say("Thrown away, kept for 30 days: {n}", n=len(gone)), "lib-thrown", _thrown, gone)


def _rail(key: str, hung: Sequence[Shelved]) -> None:
    with st.container(key=key, horizontal=True, gap="medium"):
        for one in hung:
            _hung(one)


def _thrown(gone: Sequence[Shelved]) -> None:
    for one in gone:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.html(html.escape(one.title))
            press(say("Bring it back"), f"lib-back-{one.id}", partial(_library().bring_back, one.id))


def _draw_missing(every: Sequence[Shelved]) -> None:
    from blendplan.outputs.render import plan_cutout
    from blendplan.picture.canvas import encode_webp

    for one in [one for one in every if one.pictured != one.revision][:DRAWN_AT_ONCE]:
        try:
            current = blanket_of(_library(), one.id, one.revision)
            if current is not None:
                made = plan_of(current)
                size = (made.size.width_cm, made.size.height_cm)
                _library().set_picture(one.id, encode_webp(plan_cutout(made, PICTURE_PX)), one.revision, *size)
        except BlendplanError:
            continue


def _stands(one: Shelved) -> str:
    """Return where a blanket stands, in a line."""
    try:
        current = blanket_of(_library(), one.id, one.revision)
        made = None if current is None else plan_of(current)
    except BlendplanError as error:
        return say_error(error)
    if made is None:
        return say("Planned: no yarn yet")
    if one.state == "done":
        return say("Done")
    if made.blanket.making.rows_done:
        return say("In work: {done} of {rows} rows", done=made.blanket.making.rows_done, rows=made.rows)
    skeins = sum(n for _, n in made.shopping if n)
    if not skeins:
        return say("Planned: all yarn on hand")
    return say("Planned: 1 skein to buy") if skeins == 1 else say("Planned: {n} skeins to buy", n=skeins)


def _hung(one: Shelved) -> None:
    """Draw one blanket as it hangs, in scale with the others, and what can be done with it."""
    picture, title = _library().picture(one.id), html.escape(one.title or say("A new blanket"))
    shown = f"width:calc({one.width_cm or 100:.0f} * var(--bp-cm))"
    here = " bp-in-hand" if one.id == session().kept.number else ""
    with st.container(key=f"lib-one-{one.id}", width="content", gap=None):
        if picture:
            image = f'<img alt="" src="{address(picture, "webp")}" style="{shown}">'
        else:
            image = f'<span class="bp-bare" style="{shown};height:calc(100 * var(--bp-cm))"></span>'
        st.html(
            f'<div class="bp-hung{here}">{image}</div><h3>{title}</h3>'
            f'<p class="bp-state">{html.escape(_stands(one))}</p>'
        )
        with st.container(horizontal=True, gap="small"):
            press(say("Open"), f"lib-open-{one.id}", lambda: _open(one.id), type="tertiary")
            with st.popover(say("More"), key=f"lib-more-{one.id}", type="tertiary"):
                _more(one)


def _open(number: int) -> None:
    open_blanket(number)
    session().place = "stripes"


def _more(one: Shelved) -> None:
    number, kept = one.id, session().kept
    st.text_input(
        say("Name"),
        value=one.title,
        key=f"lib-name-{number}-{one.revision}",
        on_change=lambda: try_(f"lib-name-{number}", lambda: _rename(one)),
    )
    refused(f"lib-name-{number}")
    press(say("Copy"), f"lib-copy-{number}", lambda: _copy(one))
    if one.put_away:
        press(say("Take out again"), f"lib-out-{number}", lambda: _library().mark(number, put_away=False))
    else:
        press(say("Put away"), f"lib-put-{number}", lambda: _library().mark(number, put_away=True))
    save_button(
        say("Save as a file"),
        f"lib-save-{number}",
        one.title,
        "json",
        lambda: workspace_to_json(kept.library.read(number, work_of).now).encode("utf-8"),
    )
    current = blanket_of(kept.library, number, one.revision)
    if current is not None:
        shared = partial(_share, current, lang())
        save_button(say("Picture to share"), f"lib-share-{number}", one.title, "png", shared)
        if one.state == "done":
            press(say("It is not done"), f"lib-undone-{number}", lambda: _shelf().reopen(number))
        else:
            _done_form(one, current)
    press(say("Throw away"), f"lib-throw-{number}", lambda: _throw(number), icon=":material/content_cut:")
    st.caption(say("Kept for 30 days; until then it can be brought back."))


def _rename(one: Shelved) -> None:
    title = str(typed(f"lib-name-{one.id}-{one.revision}", "")).strip()
    if not title:
        raise ProjectError("a blanket needs a name; write one, or leave the old one.")
    _library().rename(one.id, title, session().kept.hand)


def _copy(one: Shelved) -> None:
    _library().copy(one.id, say("{title}, copy", title=one.title))


def _share(current: Blanket, language: str) -> bytes:
    from blendplan.outputs.render import share_picture

    return share_picture(plan_of(current), language)


def _throw(number: int) -> None:
    _library().throw_away(number)
    if number == session().kept.number:
        others = [one for one in _library().blankets() if not one.put_away] or [*_library().blankets()]
        if others:
            open_blanket(others[0].id)
        else:
            new_blanket()


def _done_form(one: Shelved, current: Blanket) -> None:
    """Ask what a finished blanket weighs and measures, if she likes, and book back what is left."""
    with st.expander(say("It is done")):
        st.caption(say("What it weighs and measures helps the next one; leave it empty if you like."))
        held = session().done.setdefault(one.id, {})
        for name, label, kind in (
            ("grams", say("Weight of the blanket"), "g"),
            ("width_cm", say("Width"), "cm"),
            ("height_cm", say("Length"), "cm"),
        ):
            number_field(label, f"done-{one.id}-{name}", held.get(name), partial(held.__setitem__, name), kind=kind)
        left = _left_of(current)
        for key, grams in left.items():
            label = say("{name} left", name=inert(current.yarn(key).name))
            number_field(
                label,
                f"done-{one.id}-left-{key}",
                held.get(f"left {key}", grams),
                partial(held.__setitem__, f"left {key}"),
                kind="g",
            )
        press(say("Done: put the rest on the shelf"), f"lib-done-{one.id}", lambda: _done(one, current), type="primary")


def _left_of(current: Blanket) -> dict[str, Fraction]:
    """Return the grams that should be left of each yarn after the last row, by key."""
    try:
        made = plan_of(change_making(current, rows_done=plan_of(current).rows))
        return {current.keys[a.name]: Fraction(round(a.left_g)) for a in ledger_of(made).colours}
    except BlendplanError:
        return {}


def _done(one: Shelved, current: Blanket) -> None:
    held = session().done.get(one.id, {})
    told = {name: float(held[name]) for name in ("grams", "width_cm", "height_cm") if held.get(name)}
    if told and len(told) < 3:
        raise ProjectError("weight, width and length belong together; give all three, or none.")
    made = plan_of(current)
    left: dict[str, tuple[Lot, ...]] = {}
    for key, grams in _left_of(current).items():
        left[key] = _lots_left(current.yarn(key), Fraction(held.get(f"left {key}", grams) or 0))
    shelf = _shelf()
    if made.gauge.hook_mm:
        shelf.learn(current, made.gauge.hook_mm, **told)
    shelf.done(one.id, left)
    session().done.pop(one.id, None)


def _lots_left(yarn: Yarn, grams: Fraction) -> tuple[Lot, ...]:
    """Return what is left of a yarn as whole skeins and a part, of the lot that it had most of."""
    if grams <= 0:
        return ()
    name = max(yarn.lots, key=lambda lot: lot.skeins, default=Lot()).name
    skein = yarn.grams
    whole = int(grams // skein) if skein else 0
    part = grams - whole * (skein or 0)
    return (Lot(name=name, skeins=whole, parts_g=(part,) if part > 0 else ()),)


# ---- the yarn shelf


def _ask_same() -> None:
    """Ask which yarn of a file that was opened is one on the shelf."""
    current = blanket()
    if current is None or not session().same:
        return
    shelf = {one.key: one for one in _shelf().yarns()}
    for key, on_shelf in session().same[:1]:
        if on_shelf not in shelf or key not in {yarn.key for yarn in current.yarns}:
            _answered()
            continue
        with st.container(key="lib-same", horizontal=True, vertical_alignment="center"):
            names = {"name": current.yarn(key).name, "other": shelf[on_shelf].yarn.name}
            st.html(told_html(say("Is {name} of this file the {other} on your shelf?", **names), "?"))
            press(say("Yes, the same"), "lib-same-yes", partial(_same, key, on_shelf))
            press(say("No, another"), "lib-same-no", _answered)


def _same(key: str, on_shelf: str) -> None:
    _shelf().same_as(session().kept.number, key, on_shelf)
    _answered()


def _answered() -> None:
    session().same = session().same[1:]


def _yarn_shelf() -> None:
    st.html(
        line_html("h2", say("Yarn shelf"))
        + line_html("p", say("What a blanket has set aside is not offered twice."), "bp-state")
    )
    shelf, current = _shelf(), blanket()
    lying = shelf.yarns()
    if not lying:
        st.html(line_html("p", say("Nothing on the shelf."), "bp-none"))
    with st.container(key="lib-shelf", horizontal=True, gap="small"):
        for one in lying:
            _lies(one, current)
    if current is not None:
        tied = shelf.of(session().kept.number)
        loose = [yarn for yarn in current.yarns if yarn.key not in tied]
        if loose:
            press(
                say("Put the yarn of this blanket on the shelf"),
                "lib-shelve",
                lambda: _put_on_shelf(loose),
                told="lib-shelf-told",
            )
    refused("lib-shelf-told")
    _yarn_thrown(shelf.thrown())


def _put_on_shelf(loose: Sequence[Yarn]) -> None:
    shelf = _shelf()
    for yarn in loose:
        shelf.same_as(session().kept.number, yarn.key, shelf.add(yarn))


def _yarn_thrown(gone: Sequence[OnShelf]) -> None:
    for one in gone:
        with st.container(horizontal=True, vertical_alignment="center", key=f"lib-gone-{one.key}"):
            st.html(html.escape(say("{name} is off the shelf.", name=one.yarn.name)))
            press(say("Bring it back"), f"lib-yarn-back-{one.key}", partial(_shelf().bring_back, one.key))


def lots_words(lots: Sequence[Lot], show: Quantities) -> str:
    """Return how much yarn lots are: whole skeins, and what is opened."""
    skeins, parts = sum(lot.skeins for lot in lots), [part for lot in lots for part in lot.parts_g]
    said = [skeins_note(skeins).say(lang())] if skeins or not parts else []
    said += [show.mass(float(sum(parts)))] if parts else []
    return say("{some} and {last}", some=said[0], last=said[1]) if len(said) == 2 else said[0]


def _lies(one: OnShelf, current: Blanket | None) -> None:
    """Draw one yarn as it lies on the shelf, and what can be done with it."""
    show = Quantities(current.ways.units if current else "metric", lang())
    yarn = one.yarn
    aside = [
        say("{lots} set aside for {title}", lots=lots_words(promise.lots, show), title=promise.title)
        for promise in one.promised
        if promise.lots
    ]
    free = say("{lots} free", lots=lots_words(one.free, show)) if one.free else say("none left") if not aside else ""
    dye = ", ".join(say("dye lot {name}", name=lot.name) for lot in yarn.lots if lot.name)
    lines = "".join(f"<small>{html.escape(line)}</small>" for line in (free, *aside, dye) if line)
    with st.container(key=f"lib-yarn-{one.key}", width="content", gap=None):
        st.html(
            f'<div class="bp-lies">{skeins_html(yarn)}</div><i class="bp-board"></i>'
            f"<b>{html.escape(yarn.name)}</b>{lines}"
        )
        with st.popover(say("More"), key=f"lib-yarn-more-{one.key}", type="tertiary"):
            if current is not None and one.free:
                press(say("Take it for this blanket"), f"lib-take-{one.key}", lambda: _take(one))
            for promise in one.promised:
                press(
                    say("Put back what {title} has set aside", title=inert(promise.title)),
                    f"lib-free-{promise.blanket}-{promise.yarn}",
                    partial(_shelf().put_back, promise.blanket, promise.yarn),
                )
            _lots_fields(one)
            press(
                say("Take off the shelf"),
                f"lib-yarn-throw-{one.key}",
                lambda: _shelf().throw_away(one.key),
                icon=":material/content_cut:",
            )


def skeins_html(yarn: Yarn) -> str:
    """Return the skeins of a yarn, six at most, the opened ones in part."""
    parts = [Fraction(1)] * sum(lot.skeins for lot in yarn.lots)
    if yarn.grams:
        parts += [min(Fraction(1), part / yarn.grams) for lot in yarn.lots for part in lot.parts_g]
    drawn = "".join(
        f'<span style="--bp-full:{100 * float(part):.0f}%"></span>' for part in (parts or [Fraction(0)])[:6]
    )
    more = f"<em>+{len(parts) - 6}</em>" if len(parts) > 6 else ""
    return f'<span class="bp-skeins" style="--bp-yarn:{yarn.srgb}" aria-hidden="true">{drawn}{more}</span>'


def _lots_fields(one: OnShelf) -> None:
    for at, lot in enumerate(one.yarn.lots or (Lot(),)):
        label = say("Whole skeins, dye lot {name}", name=inert(lot.name)) if lot.name else say("Whole skeins")
        whole_field(label, f"lib-lot-{one.key}-{at}", lot.skeins, (0, 1000), _put_lot(one, at, "skeins"))
        number_field(
            say("Opened"),
            f"lib-part-{one.key}-{at}",
            sum(lot.parts_g) if lot.parts_g else None,
            _put_lot(one, at, "parts_g"),
            kind="g",
        )


def _put_lot(one: OnShelf, at: int, what: str) -> Callable[[Any], None]:
    def put(value: Any) -> None:
        lots = list(one.yarn.lots or (Lot(),))
        if what == "skeins":
            lots[at] = replace(lots[at], skeins=value)
        else:
            lots[at] = replace(lots[at], parts_g=(Fraction(value),) if value else ())
        _shelf().change(one.key, replace(one.yarn, lots=tuple(lots)))

    return put


def _take(one: OnShelf) -> None:
    current = blanket()
    if current is None:
        raise ProjectError("there is no blanket in hand; open one first.")
    yarn = _shelf().take(one.key, session().kept.number, [y.key for y in current.yarns])
    change(lambda b: add_yarn(b, yarn))


# ---- her hands


def hands_offer(current: Blanket, made: Plan) -> None:
    """Offer what was learned of her hands with such yarn on this hook, where this blanket was not measured."""
    hook = made.gauge.hook_mm
    most = max(made.stripes, key=lambda stripe: stripe.stripe.rows).stripe.strands
    keys = sorted((current.keys[name] for name in most), key=lambda key: current.yarn(key).weight_class or 0)
    classes = [n for key in keys if (n := current.yarn(key).weight_class) is not None]
    if current.materials.gauge is not None or current.materials.measured or not hook or len(classes) < len(keys):
        return
    yours = _shelf().yours(classes, hook, current.design.ripple.stitch)
    if yours is None:
        return

    def take(b: Blanket) -> Blanket:
        return change_materials(b, gauge=yours.gauge, measured=yours.measured_for(keys))

    with st.container(key="hands", horizontal=True, vertical_alignment="center"):
        said = say("Your own hands are known with such yarn and this hook, from {title}.", title=yours.title)
        st.html(told_html(said))
        press(say("Use yours"), "hands-use", lambda: change(take))


# ---- the phone at home


def phone_panel() -> None:
    """Draw the phone's way in: the square, the address and the code, or how to open it."""
    way = SERVED.way
    with st.container(key="lib-phone"):
        st.html(line_html("h2", say("The phone beside your hook")))
        if way is None:
            how = say("Your phone can show this blanket and count its rows. Close this program and start it again with")
            st.html(f"{line_html('p', how)}<code>blendplan page --at-home</code>")
            _trust()
        elif not way.code:
            st.html(line_html("p", say("No phone is let in.")))
            press(say("Let my phone in"), "phone-open", way.renew, type="primary")
            _trust()
        else:
            _way_in(way)


def _way_in(way: WayIn) -> None:
    lead = say("Hold the phone’s camera over this square. The blanket opens there, and the two follow each other.")
    alt = html.escape(say("A square with the address and the code"), quote=True)
    st.html(
        f'{line_html("p", lead)}<div class="bp-way"><img class="bp-square" alt="{alt}" src="{square(way.link)}">'
        f"<div>{line_html('small', say('or type into the phone’s browser'))}"
        f"{line_html('p', way.place)}{line_html('small', say('and there this code'))}"
        f"{line_html('p', way.said)}</div></div>"
    )
    press(say("Make a new code"), "phone-anew", way.renew)
    st.caption(say("With a new code, phones must come again."))
    _trust()
    st.caption(
        say("A phone is with you since {time}. The code ends when the program ends.", time=way.came_at)
        if way.came_at
        else say("No phone has come yet. The code ends when the program ends.")
    )
    press(say("Stop the phone’s way in"), "phone-stop", way.stop, icon=":material/content_cut:")


def _trust() -> None:
    warned = say(
        "What goes between this computer and the phone is not locked. Someone on the same network who knows how "
        "could look on, or use the code. In a café, a library or a class, leave this off."
    )
    head = line_html("h3", say("Only on a home network you trust."))
    st.html(f'<div class="bp-trust">{head}{line_html("p", warned)}</div>')


# ---- the place of the work


@of_blanket
def work_place(current: Blanket, made: Plan) -> None:
    """Draw the way to the page beside the work, the rows to take along, and a plain counter."""
    kept = session().kept
    done = min(current.making.rows_done, made.rows)
    where = work_address(kept.library, kept.number)
    st.html(LOOK)
    st.html(line_html("p", say("{done} of {all} rows", done=done, all=made.rows), "bp-count"))
    st.html("".join(line_html("p", line) for line in _coming(kept.library, kept.number, done)))
    lasts = verdict(made)
    if lasts is not None:
        st.html(told_html(lasts.say(*spoken()), "!" if lasts.level == "warning" else "i"))
    question(ledger_of(made))
    if where:
        name = say("Row {row}, large, beside the hook", row=min(done + 1, made.rows))
        st.html(f'<a class="bp-press" href="{where}" target="_self">{html.escape(name)}</a>')
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
        press(say("Row done"), "row-done", lambda: _count(done + 1), disabled=done >= made.rows)
        press(say("One row back"), "row-back", lambda: _count(done - 1), disabled=done == 0)
        whole_field(say("Rows done"), "rows-done", done, (0, made.rows), _count)
    folded(say("Written rows"), "rows-fold", _written, made)
    along = say("One file for the phone: it shows and counts by itself, and gives back what was counted.")
    st.html(line_html("h3", say("Rows to take along")) + line_html("p", along))
    made_along = partial(rows_along, kept.library, kept.number, lang())
    title = f"{current.title} {say('rows')}"
    save_button(say("Save the rows to take along"), "rows-along", title, "html", made_along)
    file_field(say("Counted elsewhere: give the file back"), "counted-file", "json", 2, _counted)


def _coming(library: Library, number: int, done: int) -> list[str]:
    """Return what is held in the row to work, and the change of strands in it or in the next."""
    shown = beside_now(library, number, lang())
    if shown is None or done >= shown["rows"]:
        return [say("Done. {rows} rows.", rows=done)]
    row = done + 1
    held = next(s["held"] for s in shown["stripes"] if s["first"] <= row <= s["last"])
    said = [f"{say('Row {row} of {rows}', row=row, rows=shown['rows'])}: {held}."]
    for one in shown["changes"]:
        if one["row"] in (row, row + 1):
            told = say("This row ends in a change.") if one["row"] == row else say("Next row ends in a change.")
            said.append(f"{told} {one['said']}")
            break
    return said


def _written(made: Plan) -> None:
    for chapter in pattern(made, lang()).chapters:
        if chapter.code not in ("stripes", "shopping", "counter"):
            lines = "".join(line_html("p", line.text) for line in chapter.lines)
            st.html(f'<div class="bp-rows">{line_html("h3", chapter.title)}{lines}</div>')
    alt = html.escape(say("Stitch diagram of one repeat; the written rows above say the same."), quote=True)
    drawn = address(plan_diagram(made, lang()).encode("utf-8"), "svg")
    st.html(f'<div class="bp-diagram"><img alt="{alt}" src="{drawn}"></div>')


def _count(n: int) -> None:
    change(lambda b: change_making(b, rows_done=n))


def _counted(data: bytes, name: str) -> None:
    kept = session().kept
    hand, presses, named = read_presses(data)
    other = next((one.title for one in kept.library.blankets() if str(one.id) == named != str(kept.number)), None)
    if other is not None:
        raise ProjectError("these rows belong to {title}; open that blanket and give the file there.", title=other)
    for wrong in hear(kept.library, kept.number, hand, presses):
        tell(Notice(template=wrong.template, values=tuple(wrong.values.items()), level="warning"))

"""What another hand did, in a maker's words, such as: the phone made stripe 7 six rows."""

from __future__ import annotations

import dataclasses
import typing
from typing import Any

from blendplan.blanket import Blanket
from blendplan.edits import GONE, Step
from blendplan.kept.library import Past
from blendplan.record import named
from blendplan.wording import Notice, note

_SHOWN = 60


def told_by(past: Past) -> Notice:
    """Return one line for what another hand did."""
    who = _who(past.by)
    if past.state != "done":
        return note("{who} took a change back.", who=who)
    if len(past.edit) != 1:
        return note("{who} changed {n} things.", who=who, n=len(past.edit))
    step = past.edit[0]
    return _stripe(step, who) or _value(step, who)


def _who(hand: str) -> Notice:
    return {"phone": note("The phone"), "desk": note("The desk")}.get(hand.partition("-")[0], note("Another window"))


def _stripe(step: Step, who: Notice) -> Notice | None:
    """Return the line for a change of stripes, None where the step is of something else."""
    if step.place[-1] != "stripes" or not isinstance(step.after, list) or not isinstance(step.before, list):
        return None
    if len(step.after) > len(step.before):
        return note("{who} put stripes in: {n} now.", who=who, n=len(step.after))
    if len(step.after) < len(step.before):
        return note("{who} took stripes out: {n} now.", who=who, n=len(step.after))
    changed = [(n, a) for n, (b, a) in enumerate(zip(step.before, step.after, strict=True), 1) if a != b]
    if len(changed) != 1:
        return note("{who} changed {n} stripes.", who=who, n=len(changed))
    n, after = changed[0]
    before = step.before[n - 1]
    if not isinstance(before, dict) or not isinstance(after, dict):
        return note("{who} changed stripe {n}.", who=who, n=n)
    names = {name for name in {**before, **after} if before.get(name) != after.get(name)}
    if names == {"rows"}:
        if after.get("rows") == 1:
            return note("{who} made stripe {n} one row.", who=who, n=n)
        return note("{who} made stripe {n} {rows} rows.", who=who, n=n, rows=after.get("rows"))
    if names == {"locked"}:
        if after.get("locked"):
            return note("{who} held stripe {n} as it is.", who=who, n=n)
        return note("{who} let stripe {n} go free.", who=who, n=n)
    return note("{who} changed stripe {n}.", who=who, n=n)


def _value(step: Step, who: Notice) -> Notice:
    owner, name = _field(step.place)
    if step.place[0] == "page":
        return note("{who} changed the photographs.", who=who)
    if owner:
        return note("{who} changed {field} of {owner}.", who=who, field=name, owner=owner)
    if isinstance(step.after, (dict, list, bool)) or step.after in (None, GONE, ""):
        return note("{who} changed {field}.", who=who, field=name)
    return note("{who} set {field}: {value}.", who=who, field=name, value=str(step.after)[:_SHOWN])


def _field(place: tuple[str, ...]) -> tuple[str, str]:
    """Return the yarn (or other keyed entry) that a place lies in, and what its last field is called."""
    cls: Any = Blanket
    owner, called = "", place[-1].replace("_", " ")
    for name in place:
        kinds = _kinds(cls)
        if name not in kinds:
            # The key of an entry of a list; it was its name at birth.
            owner = name
            continue
        called, inner = named(cls, name), kinds[name]
        cls = inner if inner is not None else cls
    return owner, called


def _kinds(cls: Any) -> dict[str, Any]:
    """Return the fields of a record, each with the record it holds, or a list of; None where it holds neither."""
    hints = typing.get_type_hints(cls)
    return {f.name: next(_records(hints[f.name]), None) for f in dataclasses.fields(cls)}


def _records(hint: Any) -> typing.Iterator[Any]:
    if dataclasses.is_dataclass(hint):
        yield hint
    for inner in typing.get_args(hint):
        yield from _records(inner)

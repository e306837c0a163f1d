"""An edit is data: what it names, the value before, the value after.

An edit is read off two states of a record, field by field, and can be made to another state: it changes what it names
there and nothing else. Undo makes the same edit the other way round.
Yarns are told apart by key, so a yarn added elsewhere does not move the edit of another.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, replace
from typing import Any, TypeVar

T = TypeVar("T")

# Stands for a record of a list that is not there, before it was added or after it was taken away.
GONE = "(none)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One value of an edit."""

    # Field names from the outermost record inwards; an entry of a list of keyed records stands as its key.
    place: tuple[str, ...]
    before: Any
    after: Any


Edit = tuple[Step, ...]


def _key_of(entry: Any) -> Any:
    return entry.get("key") if isinstance(entry, dict) else getattr(entry, "key", None)


def _keyed(value: Any) -> dict[str, Any] | None:
    """Return the entries of a list by key, where each is a record (or what a file holds of one) with a key."""
    if not isinstance(value, (tuple, list)) or not value or not all(_key_of(entry) for entry in value):
        return None
    found = {_key_of(entry): entry for entry in value}
    return found if len(found) == len(value) else None


def edit_between(before: Any, after: Any, place: tuple[str, ...] = ()) -> Edit:
    """Return the edit that leads from one state of a record to another: only what differs is named.

    >>> from blendplan.stripes.model import Stripe
    >>> edit_between(Stripe(strands=("A",), rows=3), Stripe(strands=("A",), rows=5))
    (Step(place=('rows',), before=3, after=5),)
    """
    if before is after or before == after:
        return ()
    if dataclasses.is_dataclass(before) and type(before) is type(after):
        steps: Edit = ()
        for f in dataclasses.fields(before):
            steps += edit_between(getattr(before, f.name), getattr(after, f.name), (*place, f.name))
        return steps
    if isinstance(before, dict) and isinstance(after, dict):
        steps = ()
        for name in {**before, **after}:
            steps += edit_between(before.get(name, GONE), after.get(name, GONE), (*place, name))
        return steps
    old, new = _keyed(before), _keyed(after)
    # Entries come and go at the end by name; one taken from the middle names the whole list, so that undo puts it back.
    if old and new and list(zip(old, new, strict=False)) == [(key, key) for key in list(old)[: len(new)]]:
        steps = ()
        for key in {**old, **new}:
            steps += edit_between(old.get(key, GONE), new.get(key, GONE), (*place, key))
        return steps
    return (Step(place=place, before=before, after=after),)


def make(state: T, edit: Edit, *, back: bool = False) -> T:
    """Return a state with an edit made to it, or taken back; what the edit does not name stays as it is.

    The state (a record, or what a file holds of one) need not be the one that the edit was read off: where another
    hand has changed a list meanwhile, entries that both changed differently are those of this edit, and all others
    those of either; a value inside something that is there no more is left out (`overruled` tells both).
    """
    if any(not step.place for step in edit):
        step = edit[0]
        before, after = (step.after, step.before) if back else (step.before, step.after)
        return _merged(before, after, state)
    inner: dict[str, list[Step]] = {}
    for step in edit:
        inner.setdefault(step.place[0], []).append(replace(step, place=step.place[1:]))
    if isinstance(state, (tuple, list)):
        return _made_in_list(state, inner, back)
    if isinstance(state, dict):
        made = {**state, **{n: make(state.get(n, GONE), tuple(steps), back=back) for n, steps in inner.items()}}
        return {name: value for name, value in made.items() if value != GONE}  # type: ignore[return-value]
    if not dataclasses.is_dataclass(state):
        return state
    changed = {name: make(getattr(state, name), tuple(steps), back=back) for name, steps in inner.items()}
    return replace(state, **changed)  # type: ignore[type-var]


def _made_in_list(entries: Any, inner: dict[str, list[Step]], back: bool) -> Any:
    known = {_key_of(entry): entry for entry in entries}
    for key, steps in inner.items():
        whole = next((step for step in steps if not step.place), None)
        if whole is not None:
            value = whole.before if back else whole.after
            if value == GONE:
                known.pop(key, None)
            else:
                known[key] = value
        elif key in known:
            known[key] = make(known[key], tuple(steps), back=back)
    return type(entries)(known.values())


def _merged(before: Any, after: Any, now: Any) -> Any:
    """Return a value that one hand changed from before to after, where another may have changed it meanwhile.

    Lists are merged entry by entry and entries value by value; of one value the change at hand stands.
    """
    if now == before:
        return after
    if all(isinstance(value, dict) for value in (before, after, now)):
        names = {**now, **after}
        merged = {n: _merged(*(value.get(n, GONE) for value in (before, after, now))) for n in names}
        return {name: value for name, value in merged.items() if value != GONE}
    if not all(isinstance(value, (tuple, list)) for value in (before, after, now)):
        return now if after == before else after
    ours, theirs = _changes(before, after), _changes(before, now)
    taken = [change for change in theirs if not any(_meet(change, own) for own in ours)]
    made = [_beside(change, theirs, before) for change in ours]
    out: list[Any] = list(before)
    # From the end, so that places before stay; where both insert, theirs came first.
    for start, end, entries in sorted([*taken, *made], key=lambda c: c[:2], reverse=True):
        out[start:end] = entries
    return type(now)(out)


_Change = tuple[int, int, list[Any]]


def _changes(before: Any, after: Any) -> list[_Change]:
    """Return the places of a list that differ: from, to, and what stands there now."""
    if len(before) == len(after):
        return [(n, n + 1, [new]) for n, (old, new) in enumerate(zip(before, after, strict=True)) if old != new]
    short = min(len(before), len(after))
    head = next((n for n in range(short) if before[n] != after[n]), short)
    tail = next((n for n in range(short - head) if before[-1 - n] != after[-1 - n]), short - head)
    return [(head, len(before) - tail, list(after[head : len(after) - tail]))]


def _beside(change: _Change, theirs: list[_Change], before: Any) -> _Change:
    """Return a change of one entry merged with another hand's change of the same entry."""
    start, end, entries = change
    other = next((c for c in theirs if c[:2] == (start, end) and len(c[2]) == len(entries) == 1 == end - start), None)
    return change if other is None else (start, end, [_merged(before[start], entries[0], other[2][0])])


def _meet(one: _Change, other: _Change) -> bool:
    if one[:2] == other[:2] and one[0] == one[1]:
        # Both insert at one place: both stay, unless they say the same.
        return one[2] == other[2]
    return one[0] < other[1] and other[0] < one[1]


def overruled(state: Any, edit: Edit) -> Edit:
    """Return the steps of an edit that change what another hand has changed since it was read off.

    Each with the other hand's value as what stood before; where that is `GONE`, the value's place is there no more.
    """
    seen = [(step, value_at(state, step.place)) for step in edit]
    return tuple(replace(step, before=now) for step, now in seen if _clash(step.before, step.after, now))


def _clash(before: Any, after: Any, now: Any) -> bool:
    """Return whether two hands changed one value differently."""
    if before in (after, now) or after == now:
        return False
    if all(isinstance(value, dict) for value in (before, after, now)):
        return any(_clash(*(v.get(n, GONE) for v in (before, after, now))) for n in {**before, **after, **now})
    if not all(isinstance(value, (tuple, list)) for value in (before, after, now)):
        return True
    ours, theirs = _changes(before, after), _changes(before, now)
    for one in ours:
        for other in theirs:
            alone = len(one[2]) == len(other[2]) == 1 == one[1] - one[0]
            if one[2] == other[2] or not _meet(one, other):
                continue
            if not (one[:2] == other[:2] and alone) or _clash(before[one[0]], one[2][0], other[2][0]):
                return True
    return False


def value_at(state: Any, place: tuple[str, ...]) -> Any:
    """Return the value at a place of a record, or of what a file holds of one; `GONE` where there is none."""
    for name in place:
        if isinstance(state, (tuple, list)):
            state = next((entry for entry in state if _key_of(entry) == name), GONE)
        elif isinstance(state, dict):
            state = state.get(name, GONE)
        else:
            state = getattr(state, name, GONE)
    return state

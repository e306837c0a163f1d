"""The one rule for records: a field's type, range, default, unit and name stand beside it and serve every door.

`record` makes a frozen class whose constructor checks each field by its type and by what `held` says of it.
`read` makes the same record from what JSON held, by the same rule: what a constructor takes, a file opens, and
what it refuses, a file refuses in the same words behind the place in the file.
`named` and `ruled` hand the rule to whoever draws a field for it.
The rule is read off the type hints, so a type is written once; standard dataclasses carry it and cost no import.
"""

from __future__ import annotations

import dataclasses
import re
import types
import typing
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache, lru_cache
from typing import Any, Literal, TypeVar, dataclass_transform, get_args, get_origin

from blendplan.budgets import MAX_LIST
from blendplan.errors import BlendplanError, ProjectError, QuantityError
from blendplan.text import clean_text
from blendplan.units import choice, exact, number, whole
from blendplan.wording import Notice, note

T = TypeVar("T")
_MISSING: Any = dataclasses.MISSING


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What is said of a field beside its type."""

    name: str = ""  # what the value is, as refusals and the page call it; empty takes the field's own name
    low: float = -1e9  # the closed range of a number (of each number where the field is a list)
    high: float = 1e9
    unit: str = ""  # shown behind the range, such as "cm"
    longest: int = 200  # characters of a text
    most: int = MAX_LIST  # entries of a list
    allowed: tuple[str, ...] = ()  # the only texts that are taken; none where any text is


def held(
    name: str = "",
    *,
    default: Any = _MISSING,
    factory: Callable[[], Any] | None = None,
    rule: Held | None = None,
    **said: Any,
) -> Any:
    """Return a field of a record with what is said of it, as the fields of `Held`.

    A factory makes the default where that is another record; a rule may be stated elsewhere, for two fields that
    hold the same thing.
    """
    rule = rule or Held(name=name, **said)
    if factory is not None:
        return field(default_factory=factory, metadata={"held": rule})
    return field(default=default, metadata={"held": rule})


def same(cls: type, name: str, **said: Any) -> Any:
    """Return a field that holds what a field of another record holds: its default and its rule, stated there."""
    theirs = next(f for f in dataclasses.fields(cls) if f.name == name)
    return held(rule=ruled(cls, name)[1], **{"default": theirs.default, **said})


@dataclass_transform(frozen_default=True, kw_only_default=True, field_specifiers=(held, field))
def record(cls: type[T]) -> type[T]:
    """Return the class as a frozen record that checks its fields when it is made.

    A `__post_init__` of the class comes after that, for what two fields say together.
    A record shows what differs from its defaults.
    """
    own = cls.__dict__.get("__post_init__")

    def settle(self: Any) -> None:
        cls: Any = type(self)
        for name, take in _takers(cls).items():
            value = getattr(self, name)
            taken = take(value, None)
            if taken is not value:
                object.__setattr__(self, name, taken)
        if own is not None:
            own(self)

    cls.__post_init__ = settle  # type: ignore[attr-defined]
    # What two fields say together, for records read from a file, whose fields were taken one by one.
    cls._own_check = own  # type: ignore[attr-defined]
    if "__repr__" not in cls.__dict__:
        cls.__repr__ = _shown  # type: ignore[method-assign]
    return dataclass(frozen=True, slots=True, kw_only=True, repr=False)(cls)


def _shown(self: Any) -> str:
    cls: Any = type(self)
    values = [(name, getattr(self, name), _default(made)) for name, made in _usual(cls).items()]
    parts = [f"{name}={value!r}" for name, value, usual in values if value != usual]
    return f"{type(self).__name__}({', '.join(parts)})"


@cache
def _parts(cls: Any) -> tuple[tuple[str, Any, Held], ...]:
    """Return name, type and rule of every field that is checked."""
    hints = typing.get_type_hints(cls)
    out = []
    for f in dataclasses.fields(cls):
        rule = f.metadata.get("held") or Held()
        spaced = re.sub("_(cm|g|m|mm)$", "", f.name).replace("_", " ")
        out.append((f.name, hints[f.name], rule if rule.name else dataclasses.replace(rule, name=spaced)))
    return tuple(out)


def named(cls: type, name: str) -> str:
    """Return what a field is called in refusals and on the page."""
    return ruled(cls, name)[1].name


def ruled(cls: type, name: str) -> tuple[Any, Held]:
    """Return the type of a field and what is said beside it."""
    return next((hint, rule) for n, hint, rule in _parts(cls) if n == name)


class _Placed(ProjectError):  # noqa: N818 - a refusal with its place
    """A refusal that names its place in the file already."""


@dataclass(slots=True)
class _File:
    """Where in a file the reading is, step by step, and what is to be said about it."""

    root: str
    notices: list[Notice]
    steps: list[str | int] = field(default_factory=list)

    @property
    def where(self) -> str:
        return self.root + "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in self.steps)

    def placed(self, error: BlendplanError) -> BlendplanError:
        if isinstance(error, _Placed):
            return error
        return _Placed("{where}: {problem}", where=self.where, problem=error)


# Takes a value, and the file where it comes from one; returns it as a field holds it, or refuses.
_Taker = Callable[[Any, "_File | None"], Any]


def _taker(hint: Any, rule: Held) -> _Taker:
    """Return what takes the values of a field; worked out once for a field, since files hold thousands of records."""
    origin = get_origin(hint)
    if origin in (typing.Union, types.UnionType):
        return _one_of(hint, rule)
    if origin is tuple:
        return _several(hint, rule)
    if origin is Literal:
        return lambda value, file: choice(value, rule.name, get_args(hint))
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return _inner(hint, rule)
    return _plain(hint, rule)


def _plain(hint: Any, rule: Held) -> _Taker:
    name, low, high = rule.name, rule.low, rule.high

    def as_float(value: Any, file: _File | None) -> float:
        if type(value) is float and low <= value <= high:
            return value
        return number(value, name, low, high, rule.unit)

    def as_int(value: Any, file: _File | None) -> int:
        if type(value) is int and low <= value <= high:
            return value
        return whole(value, name, int(low), int(high))

    def as_text(value: Any, file: _File | None) -> str:
        if rule.allowed:
            return choice(value, name, rule.allowed)
        # Most texts are short and plain; the whole of the cleaning is for the others.
        plain = type(value) is str and len(value) <= rule.longest and value.isascii() and value.isprintable()
        if plain and "  " not in value and value == value.strip():
            return value
        return clean_text(value, name, rule.longest)

    def as_bool(value: Any, file: _File | None) -> bool:
        if isinstance(value, bool):
            return value
        raise QuantityError(
            "{field}: {given} was given; allowed is yes or no (True or False).", field=name, given=repr(value)
        )

    def as_fraction(value: Any, file: _File | None) -> Fraction:
        if type(value) in (int, float) and low <= value <= high:
            return _of_number(value)
        taken = value if type(value) is Fraction else _fraction(value, name)
        if not low <= taken <= high:
            number(taken, name, low, high, rule.unit)
        return taken

    takers: dict[Any, _Taker] = {float: as_float, int: as_int, str: as_text, bool: as_bool, Fraction: as_fraction}
    return takers.get(hint, lambda value, file: value)


# Most bands say one of few numbers of grams and metres.
_of_number = lru_cache(maxsize=4096)(exact)


def _fraction(value: Any, name: str) -> Fraction:
    if isinstance(value, str) and value.count("/") == 1:
        top, bottom = value.split("/")
        if len(value) <= 80 and top.removeprefix("-").isdecimal() and bottom.isdecimal() and int(bottom):
            return Fraction(int(top), int(bottom))
    return exact(value, name)


def _inner(cls: type, rule: Held) -> _Taker:
    def take(value: Any, file: _File | None) -> Any:
        if isinstance(value, cls):
            return value
        if file is not None and isinstance(value, dict):
            return _from_entries(cls, value, file)
        raise QuantityError(
            "{field}: {given} was given; allowed is {allowed}.",
            field=rule.name,
            given=repr(value),
            allowed=f"a {cls.__name__}" if file is None else "a group of named entries",
        )

    return take


def _several(hint: Any, rule: Held) -> _Taker:
    inner = get_args(hint)
    any_number = bool(inner) and inner[-1] is Ellipsis
    takers = [_taker(inner[0], rule)] if any_number else [_taker(kind, rule) for kind in inner]

    def take(value: Any, file: _File | None) -> tuple[Any, ...]:
        if not isinstance(value, (list, tuple)):
            raise QuantityError("{field}: a list is needed, {given} was given.", field=rule.name, given=repr(value))
        if any_number and len(value) > rule.most:
            raise QuantityError(
                "{given} {field} were given; allowed is at most {allowed}; remove some.",
                field=rule.name,
                given=len(value),
                allowed=rule.most,
            )
        if not any_number and len(value) != len(takers):
            raise QuantityError(
                "{field}: {given} entries were given; allowed is {allowed}.",
                field=rule.name,
                given=len(value),
                allowed=len(takers),
            )
        taken, steps = [], [] if file is None else file.steps
        for i, entry in enumerate(value):
            steps.append(i)
            taken.append(takers[0 if any_number else i](entry, file))
            steps.pop()
        # The same tuple where nothing changed, so that equal parts of records stay one object.
        if isinstance(value, tuple) and all(a is b for a, b in zip(taken, value, strict=True)):
            return value
        return tuple(taken)

    return take


def _one_of(hint: Any, rule: Held) -> _Taker:
    options = [option for option in get_args(hint) if option is not types.NoneType]
    takers = {id(option): _taker(option, rule) for option in options}
    empty = len(options) < len(get_args(hint))

    def take(value: Any, file: _File | None) -> Any:
        if value is None and empty:
            return None
        if len(options) == 1:
            return takers[id(options[0])](value, file)
        problems: list[BlendplanError] = []
        depth = len(file.steps) if file is not None else 0
        for option in sorted(options, key=lambda option: _unlikely(option, value)):
            try:
                return takers[id(option)](value, file)
            except BlendplanError as error:
                problems.append(error if file is None else file.placed(error))
                if file is not None:
                    del file.steps[depth:]
        raise problems[0]

    return take


def _unlikely(option: Any, value: Any) -> int:
    """Return how unlikely a value is meant for a type: the likeliest of several is tried first and its words told."""
    if isinstance(option, type) and dataclasses.is_dataclass(option):
        if isinstance(value, option):
            return 0
        if not isinstance(value, dict):
            return 3
        kinds = [get_args(hint) for name, hint, _ in _parts(option) if name == "kind"]
        if kinds and value.get("kind") in kinds[0]:
            return 0
        return 1 if set(value) <= {name for name, _, _ in _parts(option)} else 2
    if get_origin(option) is tuple:
        return 0 if isinstance(value, (list, tuple)) else 3
    if get_origin(option) is Literal:
        return 0 if isinstance(value, str) and value in get_args(option) else 1
    return 2


@cache
def _takers(cls: Any) -> dict[str, _Taker]:
    """Return what takes the value of each field."""
    return {name: _taker(hint, rule) for name, hint, rule in _parts(cls)}


@cache
def _usual(cls: Any) -> dict[str, Any]:
    """Return the default of each field, or what makes it, or `MISSING` where the field is needed."""
    return {
        f.name: f.default if f.default_factory is dataclasses.MISSING else f.default_factory
        for f in dataclasses.fields(cls)
    }


@cache
def _needed(cls: Any) -> tuple[str, ...]:
    return tuple(name for name, usual in _usual(cls).items() if usual is _MISSING)


def _default(usual: Any) -> Any:
    return usual() if callable(usual) else usual


def _from_entries(cls: type, entries: dict[str, Any], file: _File) -> Any:
    takers, got, steps = _takers(cls), dict[str, Any](), file.steps
    for key, entry in entries.items():
        take = takers.get(key)
        if take is None:
            file.notices.append(
                note("{where} has an entry {key} that is not known; it was left out.", where=file.where, key=key)
            )
            continue
        # The step is left where the value is refused, so that the refusal knows its place.
        steps.append(key)
        got[key] = take(entry, file)
        steps.pop()
    for name in _needed(cls):
        if name not in got:
            missing = ProjectError("the project file has no {name} in {where}; add it.", name=name, where=file.where)
            raise _Placed("{problem}", problem=missing)
    return _made(cls, got)


def _made(cls: Any, got: dict[str, Any]) -> Any:
    """Return a record of values that were taken one by one already; what two fields say together is still checked."""
    if not hasattr(cls, "_own_check"):
        return cls(**got)
    made, put = cls.__new__(cls), object.__setattr__
    for name, usual in _usual(cls).items():
        put(made, name, got[name] if name in got else _default(usual))
    if cls._own_check is not None:
        cls._own_check(made)
    return made


def read(cls: type[T], entries: object, where: str, notices: list[Notice]) -> T:
    """Return a record from what `json.loads` gave at a place of a file.

    Entries that mean nothing here are left out and told in `notices`. What is refused is refused in the words of the
    constructor, behind the place in the file.
    """
    file = _File(where, notices)
    try:
        return _inner(cls, Held(name=where))(entries, file)
    except BlendplanError as error:
        raise file.placed(error) from None


def to_plain(value: Any) -> Any:
    """Return records, tuples and fractions as what JSON can hold.

    A fraction becomes a number where its decimal writing is exact, and a text like "1/3" elsewhere.
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Fraction):
        if value.denominator == 1:
            return int(value)
        return float(value) if Fraction(repr(float(value))) == value else f"{value.numerator}/{value.denominator}"
    if isinstance(value, (list, tuple)):
        return [to_plain(v) for v in value]
    if isinstance(value, dict):
        return {str(k): to_plain(v) for k, v in value.items()}
    return value

"""The yarn shelf, which outlives a blanket, and what was learned of the maker's hands.

What a blanket has set aside is what its own record says lies there of the yarn (its lots), so nothing holds it twice:
undo in the blanket gives it back by itself. A tie says which yarn of a blanket is which on the shelf.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from blendplan.blanket import Blanket, free_key, in_names
from blendplan.budgets import MAX_MEASURED, MAX_SHELF
from blendplan.colour import delta_e_2000
from blendplan.errors import YarnError
from blendplan.fabric.gauge import Gauge
from blendplan.kept.library import Library
from blendplan.record import held, read, record, to_plain
from blendplan.yardage.measured import Measured, OwnBlanket
from blendplan.yarn import Lot, Yarn

# Shades nearer than this may be the same yarn, CIEDE2000 (two readings of one yarn, each sure within 4).
ALIKE = 8.0
# Hooks of one size differ by less than this between makers, mm (assumed).
SAME_HOOK_MM = 0.26

Lots = tuple[Lot, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Promise:
    """What a blanket has set aside: its number and title, the key of the yarn in it, and the lots."""

    blanket: int
    title: str
    yarn: str
    lots: Lots


@dataclass(frozen=True, slots=True, kw_only=True)
class OnShelf:
    """A yarn on the shelf: with all lots there are, and those of them that nobody has set aside."""

    key: str
    yarn: Yarn
    free: Lots
    promised: tuple[Promise, ...]
    thrown: str | None = None


@record
class Yours:
    """What was learned of the maker's hands: gauge and weighings with so many strands of these classes on a hook.

    In `measured` the strands are called "1", "2", ... in the order of `classes`.
    """

    classes: tuple[int, ...] = held("weight class", low=0, high=7, most=4)
    hook_mm: float = held("hook", low=1, high=40, unit="mm")
    stitch: str = held("stitch", longest=10)
    gauge: Gauge | None = held("gauge", default=None)
    measured: tuple[Measured, ...] = held("measured pieces", default=(), most=MAX_MEASURED)
    title: str = held("title", default="", longest=120)
    learned: str = held("date", default="", longest=40)

    def measured_for(self, yarns: Sequence[str]) -> tuple[Measured, ...]:
        """Return the measured pieces for the yarns of a blanket, one key for each strand in the order of classes."""
        called = {str(n): key for n, key in enumerate(yarns, 1)}
        return tuple(
            in_names(one, called)
            for one in self.measured
            if all(name in called for name in getattr(one, "strands", ()))
        )


def more(lots: Lots, given: Lots) -> Lots:
    """Return lots with others put to them, by name."""
    out = {lot.name: lot for lot in lots}
    for lot in given:
        here = out.get(lot.name, Lot(name=lot.name))
        out[lot.name] = replace(here, skeins=min(here.skeins + lot.skeins, 1000), parts_g=(*here.parts_g, *lot.parts_g))
    return tuple(lot for lot in out.values() if lot.skeins or lot.parts_g)


def less(lots: Lots, taken: Lots) -> Lots:
    """Return lots with others taken from them, as far as they go."""
    gone = {lot.name: lot for lot in taken}
    left = []
    for lot in lots:
        away = gone.get(lot.name, Lot())
        parts = list(lot.parts_g)
        for part in away.parts_g:
            if part in parts:
                parts.remove(part)
        left.append(replace(lot, skeins=max(lot.skeins - away.skeins, 0), parts_g=tuple(parts)))
    return tuple(lot for lot in left if lot.skeins or lot.parts_g)


@dataclass(frozen=True, slots=True)
class Shelf:
    """The yarn shelf of a library."""

    library: Library

    # ---- what lies there

    def yarns(self) -> tuple[OnShelf, ...]:
        """Return all yarns on the shelf, in the order they were put there."""
        return self.library.looked(lambda: self._listed("thrown IS NULL"))

    def thrown(self) -> tuple[OnShelf, ...]:
        """Return the yarns that can still be brought back."""
        return self.library.looked(lambda: self._listed("thrown IS NOT NULL"))

    def of(self, blanket: int) -> dict[str, OnShelf]:
        """Return the yarns of a blanket that are on the shelf, by their keys in the blanket."""

        def look() -> dict[str, OnShelf]:
            known = {one.key: one for one in self._listed("1")}
            rows = self.library.db.execute("SELECT yarn, shelf FROM tie WHERE blanket = ?", (blanket,))
            return {yarn: known[key] for yarn, key in rows}

        return self.library.looked(look)

    def like(self, yarn: Yarn) -> tuple[OnShelf, ...]:
        """Return which yarns on the shelf it may be: those of its name, then like shades, the nearest first."""

        def far(one: OnShelf) -> float:
            return (
                -1.0
                if one.yarn.name.casefold() == yarn.name.casefold()
                else float(delta_e_2000(one.yarn.lab, yarn.lab))
            )

        return tuple(sorted((one for one in self.yarns() if far(one) < ALIKE), key=far))

    def _listed(self, which: str) -> tuple[OnShelf, ...]:
        promises = self._promises()
        rows = self.library.db.execute(
            f"SELECT key, body, thrown FROM yarn WHERE {which} ORDER BY place"  # noqa: S608 - our own words
        ).fetchall()
        out = []
        for key, body, thrown in rows:
            yarn = read(Yarn, json.loads(body), "shelf", [])
            theirs = promises.get(key, ())
            free = yarn.lots
            for promise in theirs:
                free = less(free, promise.lots)
            out.append(OnShelf(key=key, yarn=yarn, free=free, promised=tuple(theirs), thrown=thrown))
        return tuple(out)

    def _promises(self) -> dict[str, list[Promise]]:
        rows = self.library.db.execute(
            "SELECT blanket.id, title, body, tie.yarn, shelf FROM tie JOIN blanket ON blanket.id = tie.blanket "
            "WHERE aside = 1 AND state != 'done' AND thrown IS NULL ORDER BY blanket.id"
        ).fetchall()
        bodies = {number: _lots_of(body) for number, body in {row[0]: row[2] for row in rows}.items()}
        out: dict[str, list[Promise]] = {}
        for number, title, _, yarn, shelf in rows:
            lots = bodies[number].get(yarn, ())
            if lots:
                out.setdefault(shelf, []).append(Promise(blanket=number, title=title, yarn=yarn, lots=lots))
        return out

    # ---- putting there and taking away

    def add(self, yarn: Yarn) -> str:
        """Put a yarn on the shelf; return its key there."""
        key = f"{yarn.name[:60]} {secrets.token_hex(4)}"
        self.library.pressed(lambda: self._add(key, yarn))
        return key

    def _add(self, key: str, yarn: Yarn) -> None:
        db = self.library.db
        count, last = db.execute("SELECT count(*), coalesce(max(place), 0) FROM yarn").fetchone()
        if count >= MAX_SHELF:
            raise YarnError(
                "the shelf holds {given} yarns; allowed is at most {allowed}; throw some away.",
                given=count,
                allowed=MAX_SHELF,
            )
        db.execute(
            "INSERT INTO yarn (key, place, body) VALUES (?, ?, ?)", (key, last + 1, _text(replace(yarn, key=key)))
        )

    def change(self, key: str, yarn: Yarn) -> None:
        """Say anew what a yarn on the shelf is, and what lies there of it, all that is set aside included."""
        self.library.pressed(lambda: self._write(key, yarn))

    def _write(self, key: str, yarn: Yarn) -> None:
        self._yarn(key)
        self.library.db.execute("UPDATE yarn SET body = ? WHERE key = ?", (_text(replace(yarn, key=key)), key))

    def throw_away(self, key: str) -> None:
        """Take a yarn off the shelf; refused while a blanket has set some aside."""

        def act() -> None:
            yarn, theirs = self._yarn(key), self._promises().get(key)
            if theirs:
                raise YarnError(
                    "{name} is set aside for {title}; put it back from there first.",
                    name=yarn.name,
                    title=theirs[0].title,
                )
            self.library.db.execute("UPDATE yarn SET thrown = ? WHERE key = ?", (self.library.now(), key))

        self.library.pressed(act)

    def bring_back(self, key: str) -> None:
        """Put a yarn that was thrown away back on the shelf."""
        self.library.pressed(lambda: self.library.db.execute("UPDATE yarn SET thrown = NULL WHERE key = ?", (key,)))

    def _yarn(self, key: str) -> Yarn:
        found = self.library.db.execute("SELECT body FROM yarn WHERE key = ?", (key,)).fetchone()
        if found is None:
            raise YarnError("{given} is not on the shelf.", given=repr(key))
        return read(Yarn, json.loads(found[0]), "shelf", [])

    # ---- for blankets

    def take(self, key: str, blanket: int, taken: Sequence[str] = (), skeins: int | None = None) -> Yarn:
        """Set a yarn aside for a blanket; return it as it goes into the blanket, which an ordinary edit does.

        Parameters
        ----------
        key : str
            On the shelf.
        blanket : int
        taken : sequence of str
            Keys that yarns of the blanket have.
        skeins : int, optional
            So many whole skeins of what is free, of as few lots as will do; by default all that is free.
        """
        fresh = free_key(self.library.looked(lambda: self._yarn(key)).name, taken)

        def act() -> Yarn:
            one = next((one for one in self._listed("thrown IS NULL") if one.key == key), None)
            if one is None:
                raise YarnError("{given} is not on the shelf.", given=repr(key))
            self._tie(blanket, fresh, key)
            return replace(one.yarn, key=fresh, lots=one.free if skeins is None else _some(one, skeins))

        return self.library.pressed(act)

    def same_as(self, blanket: int, yarn: str, key: str) -> None:
        """Say which yarn on the shelf a yarn of a blanket is; what the blanket has of it counts as set aside."""
        self.library.pressed(lambda: self._tie(blanket, yarn, key))

    def _tie(self, blanket: int, yarn: str, key: str) -> None:
        self.library.body_of(blanket)
        self._yarn(key)
        self.library.db.execute(
            "INSERT OR REPLACE INTO tie (blanket, yarn, shelf) VALUES (?, ?, ?)", (blanket, yarn, key)
        )

    def put_back(self, blanket: int, yarn: str) -> None:
        """Give back what a blanket had set aside of a yarn; the blanket itself is left as it is."""
        self.library.pressed(
            lambda: self.library.db.execute("DELETE FROM tie WHERE blanket = ? AND yarn = ?", (blanket, yarn))
        )

    def done(self, blanket: int, left: Mapping[str, Lots]) -> None:
        """Book back what is left of each yarn, by its key in the blanket; the blanket is done and promises nothing."""

        def act() -> None:
            db = self.library.db
            lots = _lots_of(self.library.body_of(blanket)[0])
            rows = db.execute("SELECT yarn, shelf FROM tie WHERE blanket = ? AND aside = 1", (blanket,)).fetchall()
            for name, key in rows:
                used, rest = lots.get(name, ()), left.get(name, ())
                yarn = self._yarn(key)
                self._write(key, replace(yarn, lots=more(less(yarn.lots, used), rest)))
                booked = json.dumps({"used": to_plain(used), "left": to_plain(rest)})
                db.execute(
                    "UPDATE tie SET aside = 0, booked = ? WHERE blanket = ? AND yarn = ?", (booked, blanket, name)
                )
            self.library.mark(blanket, state="done")

        self.library.pressed(act)

    def reopen(self, blanket: int) -> None:
        """Take "done" back: the blanket is in work and has set aside what it had."""

        def act() -> None:
            db = self.library.db
            rows = db.execute(
                "SELECT yarn, shelf, booked FROM tie WHERE blanket = ? AND booked IS NOT NULL", (blanket,)
            )
            for name, key, text in rows.fetchall():
                booked = {when: _lots(lots) for when, lots in json.loads(text).items()}
                yarn = self._yarn(key)
                self._write(key, replace(yarn, lots=more(less(yarn.lots, booked["left"]), booked["used"])))
                db.execute("UPDATE tie SET aside = 1, booked = NULL WHERE blanket = ? AND yarn = ?", (blanket, name))
            self.library.mark(blanket, state="in work")

        self.library.pressed(act)

    # ---- her hands

    def learn(
        self,
        blanket: Blanket,
        hook_mm: float,
        *,
        grams: float | None = None,
        width_cm: float | None = None,
        height_cm: float | None = None,
    ) -> Yours | None:
        """Keep what a blanket says of the maker's hands, for blankets to come; None where it says nothing.

        Parameters
        ----------
        blanket : Blanket
        hook_mm : float
            That it is worked with.
        grams, width_cm, height_cm : float, optional
            Of the finished blanket, all three or none.
        """
        strands = _usual_strands(blanket)
        called = {key: str(n) for n, key in reversed(list(enumerate(strands, 1)))}
        classes = tuple(blanket.yarn(key).weight_class for key in strands)
        pieces = list(blanket.materials.measured)
        if grams is not None and width_cm is not None and height_cm is not None:
            pieces.append(OwnBlanket(grams=grams, width_cm=width_cm, height_cm=height_cm, strands=strands))
        if None in classes or not (pieces or blanket.materials.gauge):
            return None
        measured = tuple(
            in_names(one, called) for one in pieces if all(key in called for key in getattr(one, "strands", ()))
        )
        yours = Yours(
            classes=tuple(c for c in classes if c is not None),
            hook_mm=hook_mm,
            stitch=blanket.design.ripple.stitch,
            gauge=blanket.materials.gauge,
            measured=measured,
            title=blanket.title,
            learned=self.library.now(),
        )
        self.library.pressed(
            lambda: self.library.db.execute(
                "INSERT INTO hand (learned, body) VALUES (?, ?)", (yours.learned, _text(yours))
            )
        )
        return yours

    def yours(self, classes: Sequence[int], hook_mm: float, stitch: str) -> Yours | None:
        """Return what was learned last with strands of these classes, on this hook and in this stitch."""
        rows = self.library.looked(
            lambda: self.library.db.execute("SELECT body FROM hand ORDER BY id DESC LIMIT 500").fetchall()
        )
        for (body,) in rows:
            one = read(Yours, json.loads(body), "hand", [])
            if (
                sorted(one.classes) == sorted(classes)
                and abs(one.hook_mm - hook_mm) < SAME_HOOK_MM
                and one.stitch == stitch
            ):
                return one
        return None


def _usual_strands(blanket: Blanket) -> tuple[str, ...]:
    """Return the strands that most rows are worked with, by key, the thinnest class first."""
    rows: dict[tuple[str, ...], int] = {}
    for stripe in blanket.design.all_stripes():
        rows[stripe.strands] = rows.get(stripe.strands, 0) + stripe.rows
    most = max(rows, key=rows.__getitem__)
    return tuple(sorted(most, key=lambda key: (blanket.yarn(key).weight_class is None, blanket.yarn(key).weight_class)))


def _some(one: OnShelf, skeins: int) -> Lots:
    """Return so many whole skeins of what is free, of as few lots as will do."""
    lots, wanted = [], skeins
    for lot in sorted(one.free, key=lambda lot: -lot.skeins):
        got = min(wanted, lot.skeins)
        if got:
            lots.append(Lot(name=lot.name, skeins=got))
            wanted -= got
    if wanted:
        raise YarnError(
            "{name}: {given} skeins were asked for; free on the shelf are {allowed}; take those or fewer.",
            name=one.yarn.name,
            given=skeins,
            allowed=skeins - wanted,
        )
    return tuple(lots)


def _lots_of(body: str) -> dict[str, Lots]:
    """Return the lots of each yarn of a blanket, by key."""
    yarns = json.loads(body).get("materials", {}).get("yarns", ())
    return {yarn.get("key") or yarn["name"]: _lots(yarn.get("lots", ())) for yarn in yarns}


def _lots(entries: Any) -> Lots:
    return tuple(read(Lot, lot, "lots", []) for lot in entries)


def _text(value: Any) -> str:
    return json.dumps(to_plain(value), ensure_ascii=True, separators=(",", ":"), allow_nan=False)

"""Written rows: terms, abbreviations, foundation, the rows that are worked, and what to check them by.

Every number comes from the worked rows; a reader in the tests works the text and counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from blendplan.fabric.phrases import OWN, TERMS, abbreviation, count_words, key, row_parts, row_words, stitch_words
from blendplan.fabric.ripple import Worked, in_turn
from blendplan.fabric.rows import Part, Row, Step, tops
from blendplan.fabric.shapes import merge, valley_steps
from blendplan.units import choice
from blendplan.wording import Notice, note


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenRows:
    """The rows of a ripple in words."""

    terms: str  # which names of stitches are used
    kinds: tuple[Row, ...]  # the rows written out, as steps
    notes: tuple[str, ...]  # what holds for every row
    foundation: str
    width_rule: str  # how many chains another width takes
    rows: tuple[str, ...]  # those written out, from row 1
    parts: tuple[tuple[tuple[str, int], ...], ...]  # the same rows part by part, each with how often it is worked
    check: str  # what lies between two valleys and at the edges; empty where nothing repeats
    lead: int  # rows worked once; those written after them are worked in turn

    def like(self, number: int) -> int:
        """Return the written row that a row is worked as, both from 1."""
        return in_turn(number, self.lead, len(self.rows))

    def again(self, first: int, last: int) -> Notice:
        """Return the words for a run of rows after those written out."""
        as_row = self.like(first)
        if first == last:
            return note("Row {n}: as row {again}.", n=first, again=as_row)
        if len(self.rows) - self.lead == 1:
            return note("Rows {first} to {last}: as row {again}.", first=first, last=last, again=as_row)
        return note(
            "Rows {first} to {last}: rows {again} and {other} in turn.",
            first=first,
            last=last,
            again=as_row,
            other=self.like(first + 1),
        )


def top_of(below: Row) -> int:
    """Return the chains of a turning chain whose top is the last place of the row above; 0 where a stitch is."""
    first = below.parts[0].steps[0]
    return first.count if first.kind == "turn" and first.stands else 0


def write_rows(worked: Worked, *, terms: str = "US", lang: str = "en") -> WrittenRows:
    """Return the rows in words: US or UK terms, or those of a language that has its own."""
    choice(terms, "terms", TERMS)
    rows, texts, lead = _written(worked, terms, lang)
    bodies = [
        note("Row {number}: {body}, turn. \u2014 {count}", number=i + 1, body=text, count=count_words(row, terms, lang))
        for i, (row, text) in enumerate(zip(rows, texts, strict=True))
    ]
    lines = [body.say(lang) for body in bodies]
    notes, check = _notes(worked, lang), _check(worked, terms, lang)
    return WrittenRows(
        terms=_terms(terms, lang),
        kinds=rows,
        notes=notes,
        foundation=note("Foundation: ch {chain}.", chain=worked.chain).say(lang),
        width_rule=_width_rule(worked, lang),
        rows=tuple(lines),
        parts=tuple(_parts_of(rows, terms, lang)),
        check=check,
        lead=lead,
    )


def abbreviations(rows: Sequence[Row], texts: Sequence[str], terms: str = "US", lang: str = "en") -> tuple[str, ...]:
    """Return what each abbreviation and sign of rows and other texts means, and of no other."""
    return tuple(n.say(lang) for n in key(_steps(rows), " ".join(texts), terms, lang))


def _steps(rows: Sequence[Row]) -> list[Step]:
    return [step for row in rows for part in row.parts for step in part.steps]


def _written(worked: Worked, terms: str, lang: str) -> tuple[tuple[Row, ...], list[str], int]:
    """Return the rows to write out, their words, and how many of them are worked once."""
    rows, lead = worked.rows, worked.lead
    if top_of(rows[lead - 1]) != top_of(rows[-1]) and len(rows) - lead == 1:
        # The last stitch goes elsewhere over the first row than over the later ones, so the row is told for both.
        rows, lead = (*rows, rows[-1]), lead + 1
    texts = [row_words(rows[0], into="ch", hook=True, terms=terms, lang=lang)]
    texts += [row_words(row, top=top_of(below), terms=terms, lang=lang) for below, row in pairwise(rows)]
    if lead > 1 and len(rows) - lead == 1 and texts[-1] == texts[-2]:
        return rows[:-1], texts[:-1], lead - 1
    return rows, texts, lead


def _parts_of(rows: Sequence[Row], terms: str, lang: str) -> list[tuple[tuple[str, int], ...]]:
    first = row_parts(rows[0], into="ch", hook=True, terms=terms, lang=lang)
    return [first, *(row_parts(row, top=top_of(below), terms=terms, lang=lang) for below, row in pairwise(rows))]


def _terms(terms: str, lang: str) -> str:
    if lang in OWN:
        return note("Terms: the names of stitches of this language throughout.").say(lang)
    return note("Terms: {terms} names of stitches throughout.", terms=terms).say(lang)


def _notes(worked: Worked, lang: str) -> tuple[str, ...]:
    ripple = worked.ripple
    out = []
    if ripple.loops == "back":
        spaces = any(step.into_space for step in _steps(worked.rows))
        out.append(
            note("Work every stitch through the back loop only (BLO); chain spaces are worked as usual.")
            if spaces
            else note("Work every stitch through the back loop only (BLO).")
        )
    out.append(note("Left-handed: words and counts stay the same, rows run the other way; read diagrams in a mirror."))
    return tuple(n.say(lang) for n in out)


def _width_rule(worked: Worked, lang: str) -> str:
    plus = note("plus {n}", n=worked.plus) if worked.plus >= 0 else note("less {n}", n=-worked.plus)
    rule = {"multiple": worked.multiple, "plus": plus}
    if worked.ripple.repeats == 1:
        said = note("For another width: a multiple of {multiple} chains, {plus}; here 1 repeat.", **rule)
    else:
        said = note(
            "For another width: a multiple of {multiple} chains, {plus}; here {repeats} repeats.",
            **rule,
            repeats=worked.ripple.repeats,
        )
    return said.say(lang)


def _valley(worked: Worked) -> tuple[Step, ...]:
    """Return the steps of a valley as they stand in a row."""
    ripple = worked.ripple
    wave = ripple.kind == "wave"
    return merge(valley_steps("pair" if wave else ripple.valley, ripple.stitch, ripple.crest if wave else 0))


def _segments(parts: Sequence[Part], valley: Sequence[Step]) -> list[tuple[Step, ...]]:
    """Return the steps between valleys, those at the two edges first and last; at most three repeats are looked at."""
    steps = [step for part in parts for _ in range(min(part.times, 3)) for step in part.steps]
    out: list[list[Step]] = [[]]
    while steps:
        if tuple(steps[: len(valley)]) == tuple(valley):
            del steps[: len(valley)]
            out.append([])
        else:
            out[-1].append(steps.pop(0))
    return [tuple(part) for part in out]


def _check(worked: Worked, terms: str, lang: str) -> str:
    """Return what every row is checked by; straight rows have no valleys to count between."""
    if worked.ripple.kind == "heights":
        return ""
    segments = _segments(worked.repeat.parts, _valley(worked))
    between = {stitch_words(part, terms, lang) for part in segments[1:-1]}
    if len(between) != 1:
        return ""
    edges = [sum(n for kind, n in tops(part) if not kind.startswith("ch")) for part in (segments[0], segments[-1])]
    if worked.ripple.edge == "half-valley" or edges[0] != edges[1]:
        # The edge is a valley of its own there, so only what lies between two whole ones is told.
        return note("Check each row: {between} between valleys.", between=between.pop()).say(lang)
    return note(
        "Check each row: {between} between valleys, {edge} {stitch} at each edge.",
        between=between.pop(),
        edge=edges[0],
        stitch=abbreviation(worked.ripple.stitch, terms, lang),
    ).say(lang)

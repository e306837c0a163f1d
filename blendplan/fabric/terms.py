"""US and UK names of the same stitches. Inside the package names are US; UK names are for reading."""

from __future__ import annotations

from blendplan.fabric.rows import Step
from blendplan.units import choice
from blendplan.wording import Notice, note

__all__ = ["TERMS", "UK", "abbreviation", "key", "skip_word", "us_name"]

TERMS = ("US", "UK")
# US to UK (trade facts, section 7, read Nov 2026: two public pages and a booklet's glossary agree).
UK = {"ch": "ch", "sl st": "ss", "sc": "dc", "hdc": "htr", "dc": "tr", "tr": "dtr"}


def abbreviation(stitch: str, terms: str) -> str:
    """Return the abbreviation of a stitch (US name) in a system of terms.

    Examples
    --------
    >>> abbreviation("dc", "UK"), abbreviation("sc", "UK"), abbreviation("dc", "US")
    ('tr', 'dc', 'dc')
    """
    return UK[stitch] if choice(terms, "terms", TERMS) == "UK" else stitch


def us_name(name: str, terms: str) -> str:
    """Return the US name of an abbreviation read in a system of terms (KeyError if it is none)."""
    return {uk: us for us, uk in UK.items()}[name] if terms == "UK" else {us: us for us in UK}[name]


def skip_word(terms: str) -> str:
    """Return `skip` or `miss`."""
    return "miss" if terms == "UK" else "skip"


_NAMES_US = {
    "ch": note("{short} = chain", short="ch"),
    "sl st": note("{short} = slip stitch", short="sl st"),
    "sc": note("{short} = single crochet", short="sc"),
    "hdc": note("{short} = half double crochet", short="hdc"),
    "dc": note("{short} = double crochet", short="dc"),
    "tr": note("{short} = treble crochet", short="tr"),
}
_NAMES_UK = {
    "ch": note("{short} = chain", short="ch"),
    "sl st": note("{short} = slip stitch", short="ss"),
    "sc": note("{short} = double crochet", short="dc"),
    "hdc": note("{short} = half treble", short="htr"),
    "dc": note("{short} = treble", short="tr"),
    "tr": note("{short} = double treble", short="dtr"),
}


def key(steps: list[Step], terms: str) -> tuple[Notice, ...]:
    """Return one sentence for each abbreviation that steps use, and for the signs of the rows."""
    names = _NAMES_UK if choice(terms, "terms", TERMS) == "UK" else _NAMES_US
    used = {kind for step in steps for kind in step.tally if kind != "tch"} | {"ch"}
    out = [names[kind] for kind in UK if kind in used]
    for step in steps:
        if step.kind == "together":
            word = abbreviation(step.stitch, terms)
            said = note(
                "{short} = {count} {stitch} worked together as one",
                short=f"{word}{step.count}tog",
                count=step.count,
                stitch=word,
            )
            if said not in out:
                out.append(said)
    out.append(note("st, sts = stitch, stitches; sp = space; rep = repeat; BLO = back loop only"))
    out.append(note("( ) in one place: all of it goes into that stitch or space"))
    out.append(note("[ ] with a number behind: work it that many times"))
    out.append(note("* marks where a repeat begins; the number behind a dash is the stitches of the row"))
    return tuple(out)

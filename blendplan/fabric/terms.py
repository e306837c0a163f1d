"""US and UK names of the same stitches. Inside the package names are US; UK names are for reading."""

from __future__ import annotations

from blendplan.fabric.rows import Step
from blendplan.units import choice
from blendplan.wording import Notice, note

__all__ = ["TERMS", "UK", "abbreviation", "key", "skip_word", "us_name"]

TERMS = ("US", "UK")
# US to UK (trade facts, section 7, read Nov 2026: two public pages and a booklet's glossary agree).
UK = {"ch": "ch", "sl st": "ss", "sc": "dc", "hdc": "htr", "dc": "tr", "tr": "dtr"}
# Languages with names of their own, in which US and UK make no difference (common practice, no source: German).
OWN = {"de": {"ch": "Lm", "sl st": "Km", "sc": "fM", "hdc": "hStb", "dc": "Stb", "tr": "DStb"}}


def abbreviation(stitch: str, terms: str, lang: str = "en") -> str:
    """Return the abbreviation of a stitch (US name) in a system of terms, or in a language with its own.

    Examples
    --------
    >>> abbreviation("dc", "UK"), abbreviation("sc", "UK"), abbreviation("dc", "US")
    ('tr', 'dc', 'dc')
    """
    if lang in OWN:
        return OWN[lang][stitch]
    return UK[stitch] if choice(terms, "terms", TERMS) == "UK" else stitch


def us_name(name: str, terms: str) -> str:
    """Return the US name of an abbreviation read in a system of terms (KeyError if it is none)."""
    return {uk: us for us, uk in UK.items()}[name] if terms == "UK" else {us: us for us in UK}[name]


def skip_word(terms: str, lang: str = "en") -> str:
    """Return `skip` or `miss`, or the word of a language with terms of its own."""
    return (note("miss") if terms == "UK" else note("skip")).say(lang)


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


def key(steps: list[Step], terms: str, lang: str = "en") -> tuple[Notice, ...]:
    """Return one sentence for each abbreviation that steps use, and for the signs of the rows."""
    names = _NAMES_UK if choice(terms, "terms", TERMS) == "UK" else _NAMES_US
    if lang in OWN:
        names = {us: Notice(template=n.template, values=(("short", OWN[lang][us]),)) for us, n in _NAMES_US.items()}
    used = {kind for step in steps for kind in step.tally if kind != "tch"} | {"ch"}
    out = [names[kind] for kind in UK if kind in used]
    for step in steps:
        if step.kind == "together":
            word = abbreviation(step.stitch, terms, lang)
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

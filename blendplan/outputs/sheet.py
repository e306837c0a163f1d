"""The plan as one HTML file to send to a student: nothing is loaded from anywhere, and names are only text."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Sequence
from datetime import date

from blendplan.outputs.content import HATCHINGS, Line, Words, YarnWords, hatch, on_colour, read_plan
from blendplan.outputs.pattern import pattern, plan_diagram
from blendplan.outputs.render import plan_picture
from blendplan.plan import Plan
from blendplan.text import in_html as escape
from blendplan.wording import capital, tr

STYLE = """
:root { color-scheme: light dark; --ink: #1c1b19; --quiet: #5c5a55; --ground: #faf9f7; --rule: #c9c6bf; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #eceae5; --quiet: #b3afa6; --ground: #1d1d1c; --rule: #4d4b47; }
}
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 60rem; padding: 1.25rem 1rem 3rem; color: var(--ink); background: var(--ground);
  font: 1rem/1.5 "DejaVu Sans", Verdana, system-ui, sans-serif; overflow-wrap: break-word; }
h1 { font-size: 1.7rem; line-height: 1.25; margin: 0 0 .5rem; }
h2 { font-size: 1.2rem; margin: 2.2rem 0 .6rem; padding-bottom: .25rem; border-bottom: 2px solid currentColor; }
figure { margin: 1rem 0; padding: 1rem; background: #fff; border: 1px solid var(--rule); }
figure img { display: block; width: auto; max-width: 100%; height: auto; max-height: 52rem; margin: 0 auto; }
figcaption { color: #5c5a55; font-size: .875rem; margin-top: .5rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-size: .9375rem; }
th, td { text-align: start; vertical-align: top; padding: .4rem .9rem .4rem 0; border-bottom: 1px solid var(--rule); }
thead th { color: var(--quiet); font-size: .8125rem; border-bottom: 2px solid var(--rule); }
td.n, th.n { text-align: end; white-space: nowrap; font-variant-numeric: tabular-nums; }
th.k, td.k { white-space: nowrap; }
small { color: var(--quiet); font-size: .875rem; }
svg.patch { display: block; width: 3.25rem; height: 1.5rem; forced-color-adjust: none; }
ol.rows { list-style: none; margin: 0; padding: 0; font-size: 1.125rem; }
ol.rows li { display: flex; gap: .75rem; padding: .45rem 0; border-bottom: 1px solid var(--rule); }
ol.rows p { margin: 0; }
h3 { font-size: 1rem; margin: 1.2rem 0 .3rem; }
.told { margin: .2rem 0; }
input { width: 1.15rem; height: 1.15rem; margin: .25rem 0 0; flex: none; }
#care { border-inline-start: .3rem solid currentColor; padding-inline-start: .9rem; }
span.row { display: inline-flex; align-items: center; gap: .25rem; min-width: 3.6rem; }
.drawing { background: #fff; color: #1c1b19; padding: .75rem; border: 1px solid var(--rule); overflow-x: auto; }
.drawing svg { max-width: 100%; height: auto; }
footer { margin-top: 2.5rem; color: var(--quiet); font-size: .875rem; }
@media screen and (max-width: 44rem) {
  thead { display: none; }
  tr { display: flex; flex-wrap: wrap; gap: .1rem .9rem; padding: .5rem 0; border-bottom: 1px solid var(--rule); }
  td { border: 0; padding: 0; }
  td:empty { display: none; }
  td.s { flex: 1 1 60%; }
  td.l { flex: 1 0 100%; }
  td[data-h]::before { content: attr(data-h) ": "; color: var(--quiet); font-size: .8125rem; }
}
@media print {
  :root { --ink: #000; --quiet: #444; --ground: #fff; --rule: #999; }
  @page { margin: 15mm; }
  body { max-width: none; padding: 0; font-size: 10.5pt; }
  tr, li, figure, .whole { break-inside: avoid; }
  h2 { break-after: avoid; }
  thead { display: table-header-group; }
  .wide { overflow: visible; }
  figure img { max-height: 215mm; }
}
"""


def plan_html(plan: Plan, *, lang: str = "en", date: date | None = None) -> str:
    """Return the plan as one self-contained HTML page."""
    made = pattern(plan, lang)
    words, title = made.words, escape(made.title)
    patches = _Patches(words.yarns)
    tables = {
        "materials": lambda: _yarns(words, patches, lang),
        "stripes": lambda: _stripes(words, patches, lang) + _diagram(plan, lang),
        "shopping": lambda: _shopping(words, patches, lang),
        "counter": lambda: _counter(plan, words, patches, lang),
    }
    parts = [f"<h1><bdi>{title}</bdi></h1>", _picture(plan, lang)]
    for chapter in made.chapters:
        heading = f"<h2>{escape(chapter.title)}</h2>\n"
        inner = tables[chapter.code]() if chapter.code in tables else _lines(chapter.lines, lang)
        parts.append(f'<section id="{chapter.code}">{heading}{inner}</section>')
    if date is not None:
        parts.append(f'<footer><time datetime="{date.isoformat()}">{date.isoformat()}</time></footer>')
    return _document("\n".join(parts), title, lang)


def shop_html(plan: Plan, *, lang: str = "en") -> str:
    """Return the list for the shop alone: as wide as a phone, one page on paper."""
    words, title = read_plan(plan, lang), escape(plan.blanket.title)
    body = f"<h1><bdi>{title}</bdi></h1>\n<h2>{escape(tr('Shopping list', lang))}</h2>\n"
    return _document(body + _shopping(words, _Patches(words.yarns), lang), title, lang)


def _document(body: str, title: str, lang: str) -> str:
    return (
        f'<!doctype html>\n<html lang="{escape(lang)}">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="format-detection" content="telephone=no, date=no, address=no, email=no">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_policy()}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="referrer" content="no-referrer">\n'
        f"<title>{title}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


def _policy() -> str:
    digest = base64.b64encode(hashlib.sha256(STYLE.encode("utf-8")).digest()).decode("ascii")
    return f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"


class _Patches:
    """Patches as inline drawings; presentation attributes only, so the policy needs no exception."""

    def __init__(self, yarns: Sequence[YarnWords]) -> None:
        self._yarns = {yarn.name: (yarn, HATCHINGS[i % len(HATCHINGS)]) for i, yarn in enumerate(yarns)}

    def __call__(self, names: Sequence[str]) -> str:
        part = 52 / len(names)
        inner = "".join(self._one(name, i * part, part) for i, name in enumerate(names))
        label = escape(" + ".join(self._yarns[name][0].letter for name in names))
        return (
            f'<svg class="patch" viewBox="-1 -1 54 26" role="img" aria-label="{label}">{inner}'
            '<rect width="52" height="24" fill="none" stroke="#777" stroke-width="1.5"/></svg>'
        )

    def _one(self, name: str, x: float, w: float) -> str:
        yarn, kind = self._yarns[name]
        ink = "#fff" if on_colour(yarn.lab) else "#000"
        lines = "".join(f"M{x + x0:.2f} {y0:.2f}L{x + x1:.2f} {y1:.2f}" for x0, y0, x1, y1 in hatch(kind, w, 24, 6))
        wide = 9 * len(yarn.letter) + 4
        return (
            f'<rect x="{x:.2f}" width="{w:.2f}" height="24" fill="{escape(yarn.srgb)}"/>'
            + (f'<path d="{lines}" stroke="{ink}" stroke-width="1.2" stroke-linecap="round"/>' if lines else "")
            + f'<rect x="{x + (w - wide) / 2:.2f}" y="4.5" width="{wide}" height="15" fill="#fff"/>'
            f'<text x="{x + w / 2:.2f}" y="16.8" font-size="13" font-weight="700" text-anchor="middle" fill="#000">'
            f"{escape(yarn.letter)}</text>"
        )


def _name(text: str) -> str:
    # Isolated, so that a name written from right to left does not turn the words around it.
    return f"<bdi>{escape(text)}</bdi>"


def _table(head: Sequence[tuple[str, str]], rows: Iterable[Sequence[str]]) -> str:
    """Return a table; head holds (class, text), rows hold markup."""
    kinds = [f' class="{kind}"' if kind else "" for kind, _ in head]
    top = "".join(
        f'<th scope="col"{kind}>{escape(text)}</th>' if text else f"<td{kind}></td>"
        for kind, (_, text) in zip(kinds, head, strict=True)
    )
    # On a narrow screen the head is not shown; short cells then say themselves what they are.
    said = [f' data-h="{escape(text)}"' if kind in ("n", "k") and text else "" for kind, text in head]
    cells = [f"<td{kind}{own}>" for kind, own in zip(kinds, said, strict=True)]
    body = "\n".join(
        "<tr>" + "".join(f"{start}{cell}</td>" for start, cell in zip(cells, row, strict=True)) + "</tr>"
        for row in rows
    )
    return f'<div class="wide"><table>\n<thead><tr>{top}</tr></thead>\n<tbody>\n{body}\n</tbody>\n</table></div>'


def _tick(label: str) -> str:
    return f'<input type="checkbox" aria-label="{escape(label)}">'


def _picture(plan: Plan, lang: str) -> str:
    png = base64.b64encode(plan_picture(plan, size_px=(1000, 1200), legend="numbers")).decode("ascii")
    alt = tr("The blanket: {stripes} stripes, the first worked at the bottom.", lang, stripes=len(plan.stripes))
    caption = tr("Numbers are stripes; the first worked is at the bottom.", lang)
    return (
        f'<figure><img src="data:image/png;base64,{png}" alt="{escape(alt)}">'
        f"<figcaption>{escape(caption)}</figcaption></figure>"
    )


def _yarns(words: Words, patches: _Patches, lang: str) -> str:
    head = [("", ""), ("", tr("Letter", lang)), ("s", tr("Name", lang)), ("l", tr("Skeins", lang))]
    rows = [
        [
            patches((y.name,)),
            y.letter,
            f"{_name(y.name)}<br><small>{_name(y.about)} \u00b7 {escape(y.light)}, {y.srgb}</small>",
            "<br>".join(escape(line) for line in (y.skeins, *y.lots)),
        ]
        for y in words.yarns
    ]
    return _table(head, rows)


def _stripes(words: Words, patches: _Patches, lang: str) -> str:
    head = [("n", tr("No.", lang)), ("", ""), ("s", tr("Strands", lang)), ("n", tr("Rows", lang))]
    head += [("n", tr("Row no.", lang)), ("k", tr("How it reads", lang)), ("n", tr("High after it", lang))]
    rows = []
    for s in words.stripes:
        names = " + ".join(_name(name) for name in dict.fromkeys(s.strands))
        said = f"{names}<br><small>{s.letters}</small>"
        look = escape(f"{s.reads}, {s.light}")
        rows.append([str(s.number), patches(s.strands), said, str(s.rows), s.span, look, escape(s.high)])
    return _table(head, rows)


def _shopping(words: Words, patches: _Patches, lang: str) -> str:
    priced = any(item.price for item in words.shopping)
    head = [("", ""), ("", ""), ("s", tr("Yarn", lang)), ("k", tr("Buy", lang))]
    head += [("k", tr("Need (range)", lang)), ("k", tr("On hand", lang))]
    head += [("n", tr("Price", lang))] if priced else []
    head.append(("l", tr("How often it is enough, and what else will do", lang)))
    rows = []
    for item in words.shopping:
        told = [capital(part) for part in (item.ask, item.chances) if part]
        told += [tr("Or {choice}", lang, choice=choice) for choice in item.second]
        small = "<br>".join(f"<small>{_name(part)}</small>" for part in told)
        row = [
            _tick(item.name),
            patches((item.name,)),
            f"<strong>{item.letter} {_name(item.name)}</strong>",
            f"<strong>{escape(item.buy)}</strong><br><small>{escape(item.band)}</small>",
            f"{escape(item.need)}<br><small>{escape(item.span)}</small>",
            _name(capital(item.now) or ", ".join(part for part in (item.on_hand, item.lot) if part)),
        ]
        rows.append([*row, *([escape(item.price)] if priced else []), small])
    total = f"<p><strong>{_name(words.total)}</strong></p>" if words.total else ""
    total += f"<p><small>{escape(words.advice)}</small></p>" if words.advice else ""
    return _table(head, rows) + total


def _lines(lines: Sequence[Line], lang: str) -> str:
    """Return lines of a chapter: what is done with a box to tick, the rest as paragraphs."""
    parts: list[str] = []
    rows: list[str] = []
    for line in [*lines, None]:
        if line is not None and line.kind == "do":
            rows.append(f"<li>{_tick(tr('done', lang))}<p>{_name(line.text)}</p></li>")
            continue
        if rows:
            parts.append('<ol class="rows">' + "".join(rows) + "</ol>")
            rows = []
        if line is not None:
            tag = "h3" if line.kind == "heading" else 'p class="told"'
            parts.append(f"<{tag}>{_name(line.text)}</{tag[:2].strip()}>")
    return "\n".join(parts)


def _counter(plan: Plan, words: Words, patches: _Patches, lang: str) -> str:
    rows = []
    for planned, stripe in zip(plan.stripes, words.stripes, strict=True):
        numbers = range(planned.first_row, planned.last_row + 1)
        boxes = " ".join(f'<span class="row">{_tick(str(n))}{n}</span>' for n in numbers)
        rows.append([str(stripe.number), patches(stripe.strands), boxes])
    return _table([("n", tr("No.", lang)), ("", ""), ("l", tr("Rows to tick off", lang))], rows)


def _diagram(plan: Plan, lang: str) -> str:
    heading, said = (
        tr("Stitch diagram", lang),
        tr("Rows 1 and 2 with two repeats; the part that repeats is dark.", lang),
    )
    return (
        f'<div class="whole"><h3>{escape(heading)}</h3>\n<p>{escape(said)}</p>\n'
        f'<div class="drawing">{plan_diagram(plan, lang)}</div></div>\n'
    )

"""How values look on the page: numbers, units, inert names, colour patches. No Streamlit here."""

from __future__ import annotations

import base64
import html
import re
from collections.abc import Iterable, Sequence
from fractions import Fraction

from blendplan.units import CM_PER_INCH, GRAMS_PER_OUNCE, METRES_PER_YARD, plain

__all__ = [
    "FACTORS",
    "beside",
    "bullet_list",
    "figure",
    "inert",
    "into_units",
    "key_mark",
    "out_of_units",
    "patch",
    "text_on",
    "unit_sign",
    "wave",
]

# Unit kinds: metric sign, imperial sign, metric units in one imperial unit.
FACTORS: dict[str, tuple[str, str, Fraction]] = {
    "cm": ("cm", "in", CM_PER_INCH),
    "m": ("m", "yd", METRES_PER_YARD),
    "g": ("g", "oz", GRAMS_PER_OUNCE),
}
_MARKDOWN = re.compile(r"([\\`*_{}\[\]()#+\-.!|<>~$:&@=^\"'/])")


def inert(text: str) -> str:
    r"""Return a maker's text so that Markdown shows it as it stands: no links, pictures, colours or formulas.

    Examples
    --------
    >>> inert("![x](http://y)")
    '\\!\\[x\\]\\(http\\:\\/\\/y\\)'
    """
    return _MARKDOWN.sub(r"\\\1", text)


def figure(value: Fraction | float, digits: int = 1, lang: str = "en") -> str:
    """Return a number with at most some decimals and the decimal sign of the language, no thousands sign.

    Examples
    --------
    >>> figure(2.5), figure(2.5, lang="de"), figure(Fraction(1, 3), 2)
    ('2.5', '2,5', '0.33')
    """
    text: str = plain(round(float(value), digits), digits)
    return text.replace(".", ",") if lang == "de" else text


def unit_sign(kind: str, units: str) -> str:
    """Return the sign of a kind of unit (`cm`, `m`, `g`) in metric or imperial."""
    metric, imperial, _ = FACTORS[kind]
    return metric if units == "metric" else imperial


def into_units(value: Fraction | float, kind: str, units: str) -> Fraction | float:
    """Return a metric value in the units shown."""
    if units == "metric":
        return value
    factor = FACTORS[kind][2]
    return value / factor if isinstance(value, Fraction) else value / float(factor)


def out_of_units(value: Fraction, kind: str, units: str) -> Fraction:
    """Return the metric value of a number typed in the units shown; exact."""
    return value if units == "metric" else value * FACTORS[kind][2]


def text_on(srgb: str) -> str:
    """Return black or white, whichever contrasts more with a colour (WCAG 2.2 relative luminance)."""
    channels = [int(srgb[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    luminance = sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
    return "#000000" if (luminance + 0.05) / 0.05 >= 1.05 / (luminance + 0.05) else "#ffffff"


def patch(srgb: str, label: str, number: int | str = "", picture: str = "") -> str:
    """Return HTML of a colour patch on neutral grey: number in it, name beside it, never colour alone.

    Parameters
    ----------
    srgb : str
    label : str
        The maker's text; escaped here.
    number : int or str
    picture : str
        Base64 of a small crop to stand beside the flat patch, or empty.
    """
    crop = ""
    if picture:
        crop = f'<img class="bp-crop" alt="" src="{_address(picture)}">'
    return (
        f'<span class="bp-patch"><span class="bp-ground">{crop}<span class="bp-flat" '
        f'style="background:{srgb};color:{text_on(srgb)}" aria-hidden="true">{html.escape(str(number))}</span></span>'
        f'<span class="bp-name">{html.escape(label)}</span></span>'
    )


def _address(picture: str) -> str:
    """Return the data address of a small PNG or JPEG in base64."""
    kind = "png" if picture.startswith("iVBOR") else "jpeg"
    return f"data:image/{kind};base64,{picture}"


def beside(srgb: str, label: str, picture: str) -> str:
    """Return HTML of a crop and a flat patch, large and touching, to be compared by eye; the patch alone without crop.

    The crop is shown a little enlarged: in its middle there is yarn up to the edge that they share. The values are
    those of `patch`.
    """
    crop = f'<span><img alt="" src="{_address(picture)}"></span>' if picture else ""
    return (
        f'<div class="bp-eye">{crop}<span style="background:{srgb}"></span></div>'
        f'<span class="bp-name">{html.escape(label)}</span>'
    )


def wave(colours: Sequence[str], repeats: int = 24) -> str:
    """Return a small ripple in the given colours, as an ornament for the eye only."""
    if not colours:
        return ""
    step, rise, thick = 26, 6, 4
    height = rise + thick * len(colours)
    points = [(i * step / 2, 0 if i % 2 else rise) for i in range(2 * repeats + 1)]
    bands = []
    for row, colour in enumerate(colours):
        top = " ".join(f"{x:g},{y + row * thick:g}" for x, y in points)
        low = " ".join(f"{x:g},{y + (row + 1) * thick + 0.4:g}" for x, y in reversed(points))
        bands.append(f'<polygon points="{top} {low}" fill="{colour}"/>')
    width = repeats * step
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}">'
        f"{''.join(bands)}</svg>"
    )
    # As a picture with its content in the address: it is decoration, has no name, and is loaded from nowhere.
    code = base64.b64encode(svg.encode("ascii")).decode("ascii")
    return f'<img class="bp-wave" alt="" style="height:{height}px" src="data:image/svg+xml;base64,{code}">'


def bullet_list(items: Iterable[str]) -> str:
    """Return an HTML list of plain texts, escaped."""
    return "<ul class='bp-list'>" + "".join(f"<li>{html.escape(i)}</li>" for i in items) + "</ul>"


def key_mark(srgb: str, text: int | str, label: str = "") -> str:
    """Return a small patch with its number or letters in it, for tables; `label` is read aloud instead."""
    aria = (
        f' role="img" aria-label="{html.escape(label, quote=True)}" title="{html.escape(label, quote=True)}"'
        if label
        else ""
    )
    return f'<span class="bp-key" style="background:{srgb};color:{text_on(srgb)}"{aria}>{html.escape(str(text))}</span>'


def table_html(
    label: str,
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    caption: str = "",
    chosen: int | None = None,
    left: Sequence[int] = (0,),
) -> str:
    """Return an HTML table that scrolls in its own box and can be reached by keys.

    Parameters
    ----------
    label : str
        What the table is, for those who hear it.
    heads : sequence of str
        Plain texts, escaped here.
    rows : iterable of sequence of str
        Cells as HTML; whoever makes them escapes names. The first cell heads its row.
    caption : str
    chosen : int, optional
        A row that is marked, by weight and ground and not by colour.
    left : sequence of int
        Columns set to the left.
    """
    side = ["left" if i in left else "right" for i in range(len(heads))]
    head = "".join(f'<th scope="col" class="bp-{s}">{html.escape(h)}</th>' for h, s in zip(heads, side, strict=True))
    lines = []
    for n, row in enumerate(rows):
        cells = "".join(f'<td class="bp-{s}">{c}</td>' for c, s in zip(row[1:], side[1:], strict=False))
        mark = ' class="bp-chosen"' if n == chosen else ""
        lines.append(f'<tr{mark}><th scope="row" class="bp-{side[0]}">{row[0]}</th>{cells}</tr>')
    told = f"<caption>{html.escape(caption)}</caption>" if caption else ""
    return (
        f'<div class="bp-table" tabindex="0" role="region" aria-label="{html.escape(label, quote=True)}"><table>{told}'
        f"<thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody></table></div>"
    )


def told_html(text: str, sign: str = "i") -> str:
    """Return a line to be told, with its sign; escaped."""
    return f'<p class="bp-told"><b aria-hidden="true">{sign}</b>{html.escape(text)}</p>'


def refused_html(text: str) -> str:
    """Return a line that says why something was not taken; escaped, and read aloud at once."""
    return f'<p class="bp-refused" role="alert"><b aria-hidden="true">✗</b> {html.escape(text)}</p>'

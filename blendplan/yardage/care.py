"""Care of a blanket of mixed yarns: the gentler band counts, and dark beside light is tested for bleeding."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from itertools import pairwise

from blendplan.stripes.model import Stripe
from blendplan.wording import Notice, note
from blendplan.yarn import Yarn

# Words on bands and how gently the fibre is washed as a rule: 0 machine warm, 1 machine gentle, 2 by hand, cool.
# Common practice, no source; the band itself always counts for more.
_WASHED = (
    "acrylic polyacryl polyacrylic polyester nylon polyamide polyamid cotton baumwolle",
    "linen leinen flax hemp hanf bamboo bambus viscose viskose rayon lyocell modal superwash",
    "wool wolle schurwolle merino alpaca alpaka mohair cashmere kaschmir silk seide angora yak",
)
FIBRES = {word: level for level, words in enumerate(_WASHED) for word in words.split()}

# CIE lightness difference from which two yarns count as dark beside light, and the lightness below which a yarn
# counts as dark. *Assumed*.
BLEED_STEP = 40.0
BLEED_DARK = 45.0


def gentleness(fibre: str) -> int | None:
    """Return how gently a fibre text asks to be washed: 0 machine, 1 gentle machine, 2 by hand; None if not known.

    The gentlest fibre of a mix counts; `superwash` lifts the wool that is named with it to the gentle machine.

    Examples
    --------
    >>> gentleness("70 % acrylic, 30 % wool"), gentleness("Superwash merino"), gentleness("unicorn")
    (2, 1, None)
    """
    words = set(re.findall(r"[^\W\d_]+", fibre.lower()))
    known = [FIBRES[w] for w in words if w in FIBRES]
    if "superwash" in words:
        known = [
            min(level, 1) if word in {"wool", "wolle", "schurwolle", "merino", "superwash"} else level
            for word in words
            if (level := FIBRES.get(word)) is not None
        ]
    return max(known) if known else None


def washing(yarns: Sequence[Yarn]) -> tuple[Notice, ...]:
    """Return how a blanket of these yarns is washed, wetted and dried, as the gentlest of them asks."""
    levels = [gentleness(yarn.fibre) if yarn.fibre else None for yarn in yarns]
    gentlest = max(2 if level is None else level for level in levels)
    ways = (
        note("Wash it by machine, warm, in a gentle programme with nothing rough, unless a care sign forbids it."),
        note("Wash it by machine, cool, in the programme for wool or fine things, unless a care sign forbids it."),
        note("Wash it by hand, cool, with a wool detergent, unless the care signs of all its yarns allow the machine."),
    )
    return (
        ways[gentlest],
        note("Wet it through without rubbing, press the water out in a towel, and do not wring or hang it."),
        note("Lay it flat, pull it to its size, let the peaks lie in one line, and dry it away from heat."),
    )


def bleed_pairs(yarns: Sequence[Yarn], stripes: Sequence[Stripe]) -> tuple[tuple[str, str], ...]:
    """Return pairs (dark, light) that lie in one stripe or in stripes next to each other, widest step first.

    A pair counts from a step of 40 in CIE lightness with the darker one below 45; a dark red or navy one, which are
    said to bleed worst, from 25.
    """
    lab = {yarn.name: yarn.lab for yarn in yarns}
    touching: set[tuple[str, str]] = set()
    groups = [stripe.strands for stripe in stripes] + [a.strands + b.strands for a, b in pairwise(stripes)]
    for names in groups:
        for one in names:
            for other in names:
                if one in lab and other in lab and lab[one][0] < lab[other][0]:
                    touching.add((one, other))
    found = []
    for dark, light in touching:
        step = lab[light][0] - lab[dark][0]
        if lab[dark][0] < BLEED_DARK and step >= (25.0 if _bleeds_worst(lab[dark]) else BLEED_STEP):
            found.append((-step, dark, light))
    return tuple((dark, light) for _, dark, light in sorted(found))


def _bleeds_worst(lab: tuple[float, float, float]) -> bool:
    """Tell whether it is a red or a navy: hue 0-50 or 250-310 degrees with some chroma."""
    chroma, hue = math.hypot(lab[1], lab[2]), math.degrees(math.atan2(lab[2], lab[1])) % 360
    return chroma >= 15 and (hue <= 50 or 250 <= hue <= 310)


def care_notices(yarns: Sequence[Yarn], stripes: Sequence[Stripe]) -> tuple[Notice, ...]:
    """Return what to heed in washing a blanket of these yarns."""
    used = {name for stripe in stripes for name in stripe.strands}
    worn = [yarn for yarn in yarns if yarn.name in used]
    out: list[Notice] = []
    levels = {yarn.name: gentleness(yarn.fibre) for yarn in worn if yarn.fibre}
    known = {name: level for name, level in levels.items() if level is not None}
    if len(set(known.values())) > 1:
        gentlest = max(known.values())
        names = [name for name, level in known.items() if level == gentlest]
        out.append(
            note(
                "The yarns are of different fibres: wash and dry the whole blanket as the gentlest asks, {names}.",
                "caution",
                names=", ".join(names),
            )
        )
    elif len({yarn.fibre.lower() for yarn in worn if yarn.fibre}) > 1:
        out.append(
            note("The yarns are of different fibres: compare their care signs and follow the gentlest.", "caution")
        )
    unknown = [name for name, level in levels.items() if level is None]
    if unknown:
        out.append(
            note(
                "How the fibre of {names} is washed is not known here; follow its care signs.",
                "note",
                names=", ".join(unknown),
            )
        )
    pairs = bleed_pairs(worn, stripes)
    if pairs:
        dark, light = pairs[0]
        out.append(
            note(
                "Dark {dark} lies beside light {light}: before mixing, wash a two-colour swatch, or lay a wet strand "
                "of the dark yarn on white cloth, and look for bleeding; reds and navies are the worst.",
                "caution",
                dark=dark,
                light=light,
            )
        )
    return tuple(out)

"""Short cautions where the work can hurt someone, shown in place; local guidance comes first."""

from __future__ import annotations

from blendplan.fabric.gauge import Gauge
from blendplan.fabric.ripple import Ripple
from blendplan.fabric.sizes import BABY_SIZES
from blendplan.wording import Notice, note, rounded

__all__ = ["HEAVY_KG", "HOLE_CM", "cautions"]

# From here on a blanket is called heavy, kg, and a gap large, cm (assumed; a two-strand throw is 1.1 to 1.9 kg,
# trade facts, section 4e, read Nov 2026).
HEAVY_KG = 1.1
HOLE_CM = 1.0


def cautions(
    ripple: Ripple,
    *,
    size_name: str = "",
    width_cm: float = 0.0,
    length_cm: float = 0.0,
    gauge: Gauge | None = None,
    mass_kg: float | None = None,
    fringe: bool = False,
    hook_mm: float | None = None,
) -> tuple[Notice, ...]:
    """Return the cautions that a blanket calls for.

    Parameters
    ----------
    ripple : Ripple
    size_name : str
        A key of `sizes.SIZES`, or empty; baby sizes are those in `sizes.BABY_SIZES`.
    width_cm, length_cm : float
        Where no name is known: anything up to 95 x 140 cm is taken for a small child's.
    gauge : Gauge, optional
        For the size of the gaps at points and hollows.
    mass_kg : float, optional
        Of the finished blanket.
    fringe : bool
        True where one is planned.
    hook_mm : float, optional

    Notes
    -----
    Infant sleep: the American Academy of Pediatrics' 2022 recommendations as summarised by public health bodies
    (trade facts, section 9): no blankets or loose bedding in the first year.
    Fringe, holes and weight: guidelines of two charities (same place).
    """
    small = 0 < width_cm <= 95 and 0 < length_cm <= 140
    baby = size_name in BABY_SIZES or (not size_name and small)
    out = []
    if baby:
        out.append(
            note(
                "No blanket or other loose bedding in a sleeping baby's bed in the first year; a blanket is for when "
                "someone watches. Follow the advice of your own health service.",
                "caution",
            )
        )
        out.append(
            note(
                "For small children: no fringe, buttons, beads or ribbons; weave every end in well.",
                "caution",
            )
        )
    if fringe and baby:
        out.append(note("A fringe was chosen for a child's size; leave it off.", "caution"))
    gap = _gap_cm(ripple, gauge)
    if baby and gap >= HOLE_CM:
        out.append(
            note(
                "Hollows and points leave gaps of about {gap} cm, which can catch small fingers and toes; three in one "
                "and three together close them, and so does a smaller hook.",
                "caution",
                gap=rounded(gap, 1),
            )
        )
    if mass_kg is not None and mass_kg >= HEAVY_KG:
        out.append(
            note(
                "About {mass} kg is heavy: not for babies, small children or frail sleepers.",
                "caution",
                mass=rounded(mass_kg, 1),
            )
        )
    big = hook_mm is not None and hook_mm >= 8
    out.append(
        note(
            "Two strands on a big hook load the hands: hold it loosely, take breaks, and stop at tingling or numbness.",
            "caution",
        )
        if big
        else note("Rest your hands often, hold the hook loosely, and stop at tingling or numbness.", "caution")
    )
    return tuple(out)


def _gap_cm(ripple: Ripple, gauge: Gauge | None) -> float:
    """Return the width of the largest gap: skipped stitches, or the chains over a point."""
    if gauge is None or ripple.kind != "point":
        return 0.0
    chains = int(ripple.peak[-1]) if ripple.peak.startswith("chain-") else 0
    skipped = 2 if ripple.valley == "skip-2" else 0
    return max(chains, skipped) * gauge.stitch_width_cm

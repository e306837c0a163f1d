"""Files of version 1, in which one record held everything: their entries at the places of today.

Nothing is dropped: what has no place of its own here keeps its old name and is told as unknown by the reader.
"""

from __future__ import annotations

from typing import Any

from blendplan.fabric.size import BABY_SIZES
from blendplan.wording import Notice, note

__all__ = ["brought_over"]

_RULE = ("order", "solid_rows", "blend_rows", "change", "carrier", "arrange", "times", "strands", "own_rows")
_COUNTING = ("tail_cm", "chance_short", "margin", "swatch_m", "join_at", "spare_skein", "border", "fringe")
# Where each entry stood, and where it stands now.
_MOVED = (
    ("title", "title"),
    ("yarns", "materials.yarns"),
    ("gauge", "materials.gauge"),
    ("swatches", "materials.swatches"),
    *((f"yardage.{name}", f"materials.{name}") for name in ("measured", "scale_g", "skein_scatter")),
    *((f"sequence.{name}", f"design.{name}") for name in _RULE),
    *((f"yardage.{name}", f"design.{name}") for name in _COUNTING),
    *((name, f"design.{name}") for name in ("stripes", "ripple", "hook_mm", "seen_from_m", "straighten")),
    ("wanted_width_cm", "design.width_cm"),
    *((name, f"ways.{name}") for name in ("units", "terms", "currency")),
)
_PAGE = ("demo", "crops", "finds", "photos")


def _taken(entries: dict[str, Any], path: str) -> tuple[bool, Any]:
    """Return whether an entry stands at a path, and what it is; it is taken away from there."""
    *steps, last = path.split(".")
    here: Any = entries
    for step in steps:
        here = here.get(step) if isinstance(here, dict) else None
    if not isinstance(here, dict) or last not in here:
        return False, None
    return True, here.pop(last)


def _put(entries: dict[str, Any], path: str, value: Any) -> None:
    *steps, last = path.split(".")
    for step in steps:
        entries = entries.setdefault(step, {})
    entries[last] = value


def _each(value: Any, change: Any) -> Any:
    return (
        [change(entry) if isinstance(entry, dict) else entry for entry in value] if isinstance(value, list) else value
    )


def shade(old: dict[str, Any]) -> dict[str, Any]:
    """Return a shade of version 1 as it is written now: it was read the old way unless it says otherwise."""
    if "kind" in old:
        return old
    new = {("within" if key == "uncertainty" else key): entry for key, entry in old.items() if key != "by_eye"}
    given = new.get("reasons")
    reasons = given if isinstance(given, list) else []
    new["kind"] = "eye" if old.get("by_eye") is True else "typed" if "typed" in reasons else "old"
    if reasons:
        new["reasons"] = [reason for reason in reasons if reason not in ("typed", "by-eye")]
    return new


def _yarn(old: dict[str, Any]) -> dict[str, Any]:
    new = dict(old)
    if "shades" in new:
        new["shades"] = _each(new["shades"], shade)
    band = new.pop("put_up", None)
    if isinstance(band, dict):
        new.update({now: band[was] for was, now in (("mass_g", "grams"), ("length_m", "metres")) if was in band})
    lot = {
        now: new.pop(was)
        for was, now in (("dye_lot", "name"), ("skeins_on_hand", "skeins"), ("part_skeins_g", "parts_g"))
        if was in new
    }
    if any(lot.values()):
        new["lots"] = [lot]
    return new


def _swatch(old: dict[str, Any]) -> dict[str, Any]:
    return {("within" if key == "uncertainty" else key): entry for key, entry in old.items()}


def _brief(old: dict[str, Any], notices: list[Notice]) -> dict[str, Any]:
    """Return the entries of one record of version 1 at their places of today."""
    rest = {key: dict(value) if isinstance(value, dict) else value for key, value in old.items()}
    new: dict[str, Any] = {}
    for was, now in _MOVED:
        found, value = _taken(rest, was)
        if found:
            _put(new, now, value)
    for name in ("sequence", "yardage"):
        left = rest.pop(name, None)
        if isinstance(left, dict):
            new.update({f"{name}.{key}": value for key, value in left.items()})
        elif left is not None:
            new[name] = left
    size = rest.pop("size_name", "")
    if isinstance(size, str) and size in BABY_SIZES:
        _put(new, "design.for_baby", True)
    elif size:
        notices.append(
            note("The usual size {size} is no longer kept by its name; its width stands as your wish.", size=repr(size))
        )
    materials, design, ways = (new.get(name, {}) for name in ("materials", "design", "ways"))
    if "yarns" in materials:
        materials["yarns"] = _each(materials["yarns"], _yarn)
    if "swatches" in materials:
        materials["swatches"] = _each(materials["swatches"], _swatch)
    member = rest.pop("member", 3.0)
    if member != 3.0:
        # What it was fitted to, the swatches, is kept, and tells the visible shares.
        notices.append(
            note(
                "Blends now follow from how far away the blanket is; the n of {given} that they were made with is no "
                "longer used, and kept swatches tell how much of each strand shows.",
                given=repr(member),
            )
        )
    ripple = design.get("ripple")
    if design.get("width_cm") is not None:
        # The width was a wish that chose nothing: the repeats stay as they were set.
        design["repeats"] = ripple.get("repeats", 8) if isinstance(ripple, dict) else 8
    if isinstance(ways.get("units"), str) and ways["units"].startswith("imp") and ways["units"] != "imperial":
        notices.append(note("units {given} were read as imperial.", "assumed", given=repr(ways["units"])))
        ways["units"] = "imperial"
    return {**new, **rest}


def brought_over(old: dict[str, Any]) -> tuple[dict[str, Any], tuple[Notice, ...]]:
    """Return the entries of a file of version 1 at the places of today, and what is to be told once.

    Parameters
    ----------
    old : dict
        Without `format` and `version`; with `page` where the page wrote it.
    """
    notices: list[Notice] = []
    page = old.get("page")
    new = _brief({key: value for key, value in old.items() if key != "page"}, notices)
    if page is None:
        return new, tuple(notices)
    if not isinstance(page, dict):
        return {**new, "page": page}, tuple(notices)
    extras = {key: page[key] for key in page if key not in ("rows_done", "grams_left", "variants")}
    if "finds" in extras:
        extras["finds"] = _each(
            extras["finds"], lambda find: {**find, "shades": _each(find["shades"], shade)} if "shades" in find else find
        )
    # A page without a yarn has nothing to count; what it counts all the same is refused by the reader.
    if "materials" in new or any(page.get(name) for name in ("rows_done", "grams_left", "variants")):
        _making(page, new)
        _variants(page, new)
    return {**new, "page": extras}, tuple(notices)


def _making(page: dict[str, Any], new: dict[str, Any]) -> None:
    rows = page.get("rows_done", 0)
    making: dict[str, Any] = {"rows_done": rows}
    left = page.get("grams_left")
    if isinstance(left, list) and left:
        pairs = [pair if isinstance(pair, list) and len(pair) == 2 else [pair, None] for pair in left]
        making["weighings"] = [{"row": rows, "left": [{"yarn": name, "grams": grams} for name, grams in pairs]}]
    elif left:
        making["weighings"] = left
    new["making"] = making


def _variants(page: dict[str, Any], new: dict[str, Any]) -> None:
    """Put kept variants at their place: each is a design; yarns that only a variant had come to the shelf."""
    kept = page.get("variants")
    if not isinstance(kept, list):
        if kept is not None:
            new["variants"] = kept
        return
    variants = []
    for entry in kept:
        if not isinstance(entry, dict) or not isinstance(entry.get("brief"), dict):
            variants.append(entry)
        else:
            inner = _brief(entry["brief"], [])
            yarns, more = new.get("materials", {}).get("yarns"), inner.get("materials", {}).get("yarns")
            if isinstance(yarns, list) and isinstance(more, list):
                known = {yarn.get("name") for yarn in yarns if isinstance(yarn, dict)}
                yarns += [yarn for yarn in more if isinstance(yarn, dict) and yarn.get("name") not in known]
            rest = {k: v for k, v in entry.items() if k != "brief"}
            variants.append({**rest, "design": inner.get("design", {})})
    new["variants"] = variants

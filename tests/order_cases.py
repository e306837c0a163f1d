"""Palettes and plain formulas for the checks of orders, written apart from the package."""

from __future__ import annotations

from itertools import permutations

import numpy as np

from blendplan.yarn import Shade, Yarn


def palette(n: int, seed: int) -> tuple[Yarn, ...]:
    """Yarns of random sRGB colours; tuning used seeds below 1000, tests use 1000 and above."""
    rng = np.random.default_rng(seed)
    return tuple(
        Yarn(name=f"c{i:02d}", shades=(Shade.from_hex("#{:02x}{:02x}{:02x}".format(*rng.integers(0, 256, 3))),))
        for i in range(n)
    )


def every_order(n: int) -> np.ndarray:
    return np.array(list(permutations(range(n))))


def reference_halves(yarns: tuple[Yarn, ...]) -> np.ndarray:
    """Single steps A to AB by scikit-image's CIEDE2000 and colour-science's Oklab; blends clipped nowhere."""
    import colour
    from skimage.color import deltaE_ciede2000

    white = np.array([0.95047, 1.0, 1.08883])
    xy = white[:2] / white.sum()
    lab = np.array([y.shades[0].lab for y in yarns])
    oklab = colour.XYZ_to_Oklab(colour.Lab_to_XYZ(lab, xy))
    mixed = colour.XYZ_to_Lab(colour.Oklab_to_XYZ((oklab[:, None] + oklab[None]) / 2), xy)
    return deltaE_ciede2000(np.broadcast_to(lab[:, None], mixed.shape), mixed)


def values(
    aim: str, yarns: tuple[Yarn, ...], half: np.ndarray, orders: np.ndarray, *, closed: bool = False, **targets: object
) -> np.ndarray:
    """Value of an aim for each order, straight from its formula; `half[a, b]` is the step from a to blend ab."""
    lab = np.array([y.lab for y in yarns])
    a, b = orders[:, :-1], orders[:, 1:]
    if closed:
        a, b = orders, np.roll(orders, -1, axis=1)
    steps = np.concatenate([half[a, b], half[b, a]], axis=1)
    both = half + half.T
    off = ~np.eye(len(lab), dtype=bool)
    light, k = lab[:, 0], orders.shape[1]
    if aim == "smoothest":
        return steps.sum(axis=1)
    if aim == "even":
        return steps.max(axis=1)
    if aim == "steady":
        return steps.var(axis=1)
    if aim == "contrast":
        return (both[off].max() - both[a, b]).sum(axis=1)
    if aim == "high-low":
        gap = np.abs(light[a] - light[b])
        return (np.ptp(light) - gap).sum(axis=1)
    if aim in ("light-to-dark", "dark-to-light"):
        wanted = np.sort(light)[:: -1 if aim == "light-to-dark" else 1]
        return np.abs(light[orders] - wanted).sum(axis=1)
    if aim == "own":
        mine = np.array([targets["own"].index(y.name) for y in yarns])
        return np.abs(mine[orders] - np.arange(k)).sum(axis=1).astype(float)
    if aim == "ends":
        from skimage.color import deltaE_ciede2000

        start, end = (deltaE_ciede2000(lab, np.tile(targets[x], (len(lab), 1))) for x in ("start", "end"))
        return start[orders[:, 0]] + end[orders[:, -1]]
    assert aim == "hue"
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))
    grey = np.hypot(lab[:, 1], lab[:, 2]) < 8
    total = np.zeros(len(orders))
    for x, y in zip(a.T, b.T, strict=True):
        turn = (hue[y] - hue[x]) % 360
        total += np.where(grey[x] & grey[y], 0, np.where(grey[x] != grey[y], 180, turn))
    return total

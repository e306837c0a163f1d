"""Ripples: chain and stitches come from rows worked stitch by stitch."""

from __future__ import annotations

import pytest

from blendplan.errors import FabricError
from blendplan.fabric.ripple import Ripple, work


def test_default_is_the_common_slope_of_seven() -> None:
    # common practice, no source: 131 chains give 8 repeats; turning chain 1, double crochets 113, chains 14
    worked = work(Ripple())
    assert (worked.chain, worked.row_stitches, worked.multiple, worked.plus) == (131, 128, 16, 3)
    assert worked.repeat.tally == {"tch": 1, "dc": 113, "ch": 14}
    assert worked.closes


def test_a_choice_that_loses_stitches_is_refused_with_the_nearest() -> None:
    with pytest.raises(FabricError, match="nearest that works is chain-2 with skip-2"):
        work(Ripple(valley="skip-1"))
    with pytest.raises(FabricError, match=r"plain edges change every row by -2.*half-peak"):
        work(Ripple(edge="plain"))

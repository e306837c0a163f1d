"""Runs: each strand from where it is joined to where it is cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from blendplan.stripes.model import Stripe

__all__ = ["Run", "runs_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One strand of one colour, unbroken over neighbouring stripes.

    Attributes
    ----------
    name : str
        The yarn.
    slot : int
        Which of the strands held together, from 0.
    first_row, last_row : int
        From 1.
    first_stripe, last_stripe : int
        From 1.
    """

    name: str
    slot: int
    first_row: int
    last_row: int
    first_stripe: int
    last_stripe: int

    @property
    def rows(self) -> int:
        """Rows from the first to the last."""
        return self.last_row - self.first_row + 1


def runs_of(stripes: Sequence[Stripe]) -> tuple[Run, ...]:
    """Return the runs of all strands, in the order they begin.

    A strand that the next stripe also holds is carried on, never cut: the number of runs is the number of strands
    joined, and each run has two ends to weave in.

    Examples
    --------
    >>> a, b = Stripe(strands=("Fern", "Fern"), rows=4), Stripe(strands=("Fern", "Clay"), rows=2)
    >>> [(r.name, r.first_row, r.last_row) for r in runs_of([a, b])]
    [('Fern', 1, 6), ('Fern', 1, 4), ('Clay', 5, 6)]
    """
    open_runs: list[tuple[str, int, int] | None] = []
    done: list[Run] = []
    row = 1

    def close(slot: int, last_row: int, last_stripe: int) -> None:
        run = open_runs[slot]
        if run is not None:
            name, first_row, first_stripe = run
            done.append(
                Run(
                    name=name,
                    slot=slot,
                    first_row=first_row,
                    last_row=last_row,
                    first_stripe=first_stripe,
                    last_stripe=last_stripe,
                )
            )
            open_runs[slot] = None

    for number, stripe in enumerate(stripes, 1):
        waiting = list(stripe.strands)
        # Of two strands of one colour the one joined later stays on, so that both are of like length.
        youngest_first = sorted(range(len(open_runs)), key=lambda slot: -(open_runs[slot] or ("", 0, 0))[1])
        for slot in youngest_first:
            run = open_runs[slot]
            if run is not None and run[0] in waiting:
                waiting.remove(run[0])
            else:
                close(slot, row - 1, number - 1)
        for name in waiting:
            free = next((slot for slot, run in enumerate(open_runs) if run is None), len(open_runs))
            if free == len(open_runs):
                open_runs.append(None)
            open_runs[free] = (name, row, number)
        row += stripe.rows
    for slot in range(len(open_runs)):
        close(slot, row - 1, len(stripes))
    return tuple(sorted(done, key=lambda run: (run.first_row, run.slot)))

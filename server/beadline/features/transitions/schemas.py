"""What was found of a planned transition, and what was computed from it."""

from __future__ import annotations

from dataclasses import dataclass

from beadline.reading import PlannedTransition
from beadline.science.transition import TransitionResult

NOT_FOUND = "not found"


@dataclass(frozen=True, slots=True)
class Analysed:
    """One planned transition of a run.

    Attributes
    ----------
    plan : PlannedTransition
        What was looked for.
    how_found : str
        How the switch was found, or why it was not.
    mend : str
        What to do when it was not found; empty otherwise.
    switch_volume_m3 : float or None
        Where the switch is, from the trace's start [m3].
    result : TransitionResult or None
        What was computed; None when the transition was not found.
    """

    plan: PlannedTransition
    how_found: str
    mend: str
    switch_volume_m3: float | None
    result: TransitionResult | None

    @property
    def usable(self) -> bool:
        """Whether the numbers may be charted."""
        return self.result is not None and self.result.usable

"""Which charts spoke in a cycle, and why each does, in plain words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from beadline.science.drift import directions
from beadline.science.drift.judgement import Judgement
from beadline.science.drift.reading import label_of, metric_of, transition_of
from beadline.science.drift.settings import Settings

Chart = Literal["procedure", "individuals", "ewma", "change", "start"]
ORDER: tuple[Chart, ...] = ("procedure", "start", "change", "individuals", "ewma")
NAMES: dict[Chart, str] = {
    "procedure": "Limit by procedure",
    "start": "First runs against the pulse test",
    "individuals": "Chart of single values",
    "ewma": "Moving average (EWMA)",
    "change": "Chart of lasting changes",
}
WHY: dict[Chart, str] = {
    "procedure": "this cycle's value is beyond what the site's procedure allows.",
    "start": "this run is not what the bed's pulse test promised, by how those of sister beds have agreed.",
    "individuals": "this cycle alone lies further out than cycles of an unchanged bed do.",
    "ewma": "the recent cycles together lie to one side of the baseline, even if none does alone.",
    "change": "a lasting step or slope from some earlier cycle on fits the values far better than no change.",
}
WHOLE_CURVE = {
    "curve_scores": "whole curve, T²",
    "curve_residual": "whole curve, residual",
    "another shape of curve": "whole curve, T² and residual of all transitions",
}
WHY_CURVE = "the curve's shape differs from the baseline's more than those differ among themselves."


@dataclass(frozen=True)
class Spoke:
    """A chart past one of its limits.

    Attributes
    ----------
    chart : {"procedure", "individuals", "ewma", "change", "start"}
        Which chart.
    key : str
        Key of the metric, or name of a joined direction.
    level : {"alert", "action"}
        Which limit.

    Examples
    --------
    >>> Spoke("ewma", "wash/hetp_moments", "alert").of
    'HETP from moments (wash)'
    >>> Spoke("change", "step_height", "alert").is_of_bed
    False
    """

    chart: Chart
    key: str
    level: Literal["alert", "action"]

    @property
    def of(self) -> str:
        """What the chart is of, inside a sentence."""
        name = metric_of(self.key).name
        if name in WHOLE_CURVE:
            transition = transition_of(self.key)
            return f"{WHOLE_CURVE[name]} ({transition})" if transition else WHOLE_CURVE[name]
        if self.key in directions.DIRECTIONS:
            return f"{self.key} (several metrics joined)"
        return label_of(self.key)

    @property
    def is_of_bed(self) -> bool:
        """Whether the verdict on the run counts it; charts of probe, buffer, pump and timing explain."""
        joined = self.key in directions.DIRECTIONS
        return self.chart == "procedure" or joined or directions.role_of(self.key, Settings()) == "metric"

    @property
    def name(self) -> str:
        """What the chart is called."""
        return NAMES[self.chart]

    @property
    def why(self) -> str:
        """Why it speaks, in one plain sentence."""
        of_curve = metric_of(self.key).name in WHOLE_CURVE and self.chart != "procedure"
        why = WHY_CURVE if of_curve else WHY[self.chart]
        return f"Past its {self.level} limit: {why}"


@dataclass(frozen=True)
class Voice:
    """One kind of chart past one of its limits, for all that it is of.

    Attributes
    ----------
    name, why : str
        What the chart is called, and why it speaks.
    level : {"alert", "action"}
        Which limit.
    is_of_bed : bool
        Whether the verdict on the run counts it.
    of : tuple of str
        What the charts are of.
    """

    name: str
    why: str
    level: Literal["alert", "action"]
    is_of_bed: bool
    of: tuple[str, ...]


def voices(spoken: Sequence[Spoke]) -> tuple[Voice, ...]:
    """Put together the charts that say the same, in the order in which each first speaks.

    Examples
    --------
    >>> both = [Spoke("ewma", key, "alert") for key in ("wash/mean_cv", "flow_m3_s")]
    >>> [voice.of for voice in voices(both)]
    [('mean breakthrough (wash)', 'flow')]
    """
    found: dict[tuple[str, str, Literal["alert", "action"], bool], list[str]] = {}
    for one in spoken:
        found.setdefault((one.name, one.why, one.level, one.is_of_bed), []).append(one.of)
    return tuple(Voice(*head, tuple(of)) for head, of in found.items())


def spoke(judgement: Judgement) -> tuple[Spoke, ...]:
    """Return every chart past a limit in a cycle: those of the bed first, then the higher level.

    Parameters
    ----------
    judgement : Judgement
        Of the cycle.

    Examples
    --------
    >>> spoke(Judgement(4, "past alert limit", "in control", 0.0, procedure={"asymmetry": "alert"}))[0].name
    'Limit by procedure'
    """
    found = [Spoke("procedure", key, level) for key, level in judgement.procedure.items()]
    found += [Spoke(r.chart, r.key, r.level) for r in judgement.charts if r.level]
    return tuple(
        sorted(found, key=lambda one: (not one.is_of_bed, one.level == "alert", ORDER.index(one.chart)))
    )

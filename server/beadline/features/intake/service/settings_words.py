"""The settings of a baseline in the words and units of the screen."""

from __future__ import annotations

import math

from beadline.features.drift.schemas import SharedPromise, SharedSpread
from beadline.kit import words
from beadline.science.drift import FixedLimits, Settings
from beadline.science.drift.reading import label_of, metric_of

# Ends of the middle 80 % of Student's t for 1, 2, ... degrees of freedom (tables of any handbook).
STUDENT_80 = (3.078, 1.886, 1.638, 1.533, 1.476, 1.440, 1.415, 1.397, 1.383, 1.372)
SIDES = {
    "alert_low": "alert, at least",
    "alert_high": "alert, at most",
    "action_low": "action, at least",
    "action_high": "action, at most",
}


def changes(before: Settings, after: Settings) -> tuple[tuple[str, str, str], ...]:
    """Return what differs: label, before and after.

    Examples
    --------
    >>> changes(Settings(), Settings(baseline_cycles=20))
    (('Cycles in the baseline', '15', '20'),)
    """
    old, new = _lines(before), _lines(after)
    labels = [*old, *(label for label in new if label not in old)]
    told = ((label, old.get(label, "none"), new.get(label, "none")) for label in labels)
    return tuple(line for line in told if line[1] != line[2])


def spread(shared: SharedSpread) -> tuple[str, str, str, str]:
    """Return a key's label, the spread of sister beds, its weight, and the spread that is used.

    Examples
    --------
    >>> spread(SharedSpread("wash/hetp_moments", log=True, sisters=0.021, weight=0.6, used=None))
    ('HETP from moments (wash)', '2.1 %', '60 %', 'being learnt')
    """
    label = label_of(shared.key)
    used = "being learnt" if shared.used is None else _in_unit(shared.used, shared.key, log=shared.log)
    theirs = _in_unit(shared.sisters, shared.key, log=shared.log)
    return label[:1].upper() + label[1:], theirs, f"{shared.weight:.0%}".replace("%", " %"), used


def promise(shared: SharedPromise) -> tuple[str, str, str, str, str]:
    """Return a key's label, its pulse test, what that promises of runs, what it is worth, and the runs.

    Examples
    --------
    >>> from beadline.science.drift import Promise
    >>> said = Promise(2e-4, -8.294, 0.05, dof=4, beds=6, weight=0.9)
    >>> promise(SharedPromise("wash/hetp_moments", said, worth_cycles=0.7, runs=None))[1:]
    ('0.02 cm', '0.0232 to 0.027 cm', '0.7 runs', 'being learnt')
    """
    label, metric, said = label_of(shared.key), metric_of(shared.key), shared.promise
    reach = STUDENT_80[min(said.dof, len(STUDENT_80)) - 1] * said.u
    low, high = (f"{metric.shown(math.exp(said.centre + way * reach)):.3g}" for way in (-1, 1))
    runs = "being learnt" if shared.runs is None else f"{metric.shown(shared.runs):.3g} {metric.unit}"
    return (
        label[:1].upper() + label[1:],
        f"{metric.shown(said.pulse):.3g} {metric.unit}".strip(),
        f"{low} to {high} {metric.unit}".strip(),
        f"{shared.worth_cycles:.1f} runs",
        runs.strip(),
    )


def _in_unit(sd: float, key: str, *, log: bool) -> str:
    metric = metric_of(key)
    return f"{100 * sd:.2g} %" if log else f"{metric.shown_difference(sd):.2g} {metric.unit}".strip()


def _lines(settings: Settings) -> dict[str, str]:
    fixed = f"cycles {words.runs(settings.fixed_cycles)}" if settings.fixed_cycles else "not fixed"
    lines = {
        "Cycles in the baseline": str(settings.baseline_cycles),
        "First cycle of the baseline": str(settings.baseline_start),
        "Fixed": fixed,
        "Alert limit, cycles per false alarm": f"{settings.one_false_alarm_in:g}",
        "Action limit, cycles per false alarm": f"{settings.action_one_in:g}",
        "Experience of sister beds used": "yes" if settings.use_fleet else "no",
    }
    for key, limits in settings.fixed_limits.items():
        lines |= _limits(key, limits)
    return lines


def _limits(key: str, limits: FixedLimits) -> dict[str, str]:
    metric, label = metric_of(key), label_of(key)
    label = label[:1].upper() + label[1:]
    return {
        f"{label}, by procedure, {side_words}": f"{metric.shown(value):.6g} {metric.unit}".strip()
        for side, side_words in SIDES.items()
        if (value := getattr(limits, side)) is not None
    }

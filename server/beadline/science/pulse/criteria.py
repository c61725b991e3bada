"""Judge a pulse test against a site's criteria."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, Literal

from beadline.science.estimates import Estimate
from beadline.science.pulse.result import PulseResult

COMMON_PRACTICE = "common practice, no source"
INVALIDATING = ("below_theoretical_floor", "few_points")
NAMES = {
    "reduced_plate_height": "Reduced plate height",
    "plates_per_metre": "Plates per metre",
    "asymmetry": "Asymmetry",
    "tailing_factor": "Tailing factor",
    "porosity": "Implied porosity",
}

Limits = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class Criteria:
    """Acceptance limits; None leaves a side open.

    Attributes
    ----------
    reduced_plate_height, plates_per_metre, asymmetry, tailing_factor, porosity : tuple
        Lowest and highest value that passes; plates per metre in 1/m, the others plain numbers.
    corrected : bool
        Judge the values of the bed alone, where injection or system were taken off.
    source : str
        Where the limits come from, for instance the number of a procedure.

    Examples
    --------
    >>> Criteria.from_dict(DEFAULT_CRITERIA.to_dict()) == DEFAULT_CRITERIA
    True
    """

    reduced_plate_height: Limits = (None, 10.0)
    plates_per_metre: Limits = (None, None)
    asymmetry: Limits = (0.8, 1.8)
    tailing_factor: Limits = (None, None)
    porosity: Limits = (None, None)
    corrected: bool = False
    source: str = COMMON_PRACTICE

    def __post_init__(self) -> None:
        """Refuse limits that nothing can meet."""
        for name in NAMES:
            low, high = getattr(self, name)
            if (low is not None and not low >= 0) or (high is not None and not high > 0):
                raise ValueError(f"limits of {name} must be positive, got {(low, high)}")
            if low is not None and high is not None and not low < high:
                raise ValueError(f"limits of {name} must rise, got {(low, high)}")

    def to_dict(self) -> dict[str, Any]:
        """Plain values for storage as JSON."""
        return asdict(self)

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Criteria:
        """Read back what `to_dict` gave.

        Raises
        ------
        ValueError
            If a criterion is unknown or nothing can meet it.
        """
        unknown = set(stored) - {field.name for field in fields(cls)}
        if unknown:
            raise ValueError(f"unknown criteria: {', '.join(sorted(unknown))}")
        chosen: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in stored.items()}
        return cls(**chosen)


DEFAULT_CRITERIA = Criteria()
"""Common practice, no source: h of 5 to 10 is ordinary, below 5 wanted for demanding separations, 2 to 3 the
theoretical floor, above 10 a reason to think of repacking; asymmetry 0.8 to 1.8. A site sets its own."""


@dataclass(frozen=True, slots=True)
class Check:
    """One criterion applied.

    Attributes
    ----------
    name : str
        Stored metric name.
    value : Estimate or None
        What was found; None when it couldn't be read.
    limits : tuple
        Lowest and highest value that passes.
    ok : bool
        Whether it passes.
    near : bool
        Whether a limit lies within two standard uncertainties, so that chance may have decided.
    sentence, source : str
        The same in words; where the limits come from.
    """

    name: str
    value: Estimate | None
    limits: Limits
    ok: bool
    near: bool
    sentence: str
    source: str


@dataclass(frozen=True, slots=True)
class PulseVerdict:
    """The outcome: "pass", "fail", or "not valid" when the test itself can't be trusted."""

    verdict: Literal["pass", "fail", "not valid"]
    checks: tuple[Check, ...]
    sentences: tuple[str, ...]


def judge(result: PulseResult, criteria: Criteria = DEFAULT_CRITERIA) -> PulseVerdict:
    """Compare a pulse test with criteria.

    Parameters
    ----------
    result : PulseResult
        What `analyse` gave.
    criteria : Criteria
        The site's limits; the shipped ones are common practice.

    Returns
    -------
    PulseVerdict
        A criterion whose value couldn't be read doesn't pass. A double peak fails the bed even when
        no criterion was set for it.

    Notes
    -----
    Decision support: whether a bed is released is for a qualified person under the site's procedure.

    Examples
    --------
    >>> import numpy as np
    >>> from beadline.science.pulse import analyse
    >>> v = np.linspace(0, 2e-3, 1001)
    >>> read = analyse(v, np.exp(-0.5 * ((v - 0.9e-3) / 30e-6) ** 2), bed_volume_m3=1e-3,
    ...                bed_height_m=0.2, bead_diameter_m=90e-6)
    >>> judge(read).verdict
    'pass'
    """
    invalid = [doubt.sentence for doubt in result.doubts if doubt.code in INVALIDATING]
    if not result.usable:
        reasons = invalid or [doubt.sentence for doubt in result.doubts][-1:] or ["The test has no values."]
        return PulseVerdict("not valid", (), tuple(reasons))
    values = {**result.estimates, **(result.corrected if criteria.corrected else {})}
    checks = tuple(
        _check(
            name, values.get(name), getattr(criteria, name), result.withheld.get(name, ""), criteria.source
        )
        for name in NAMES
        if getattr(criteria, name) != (None, None)
    )
    broken = [doubt.sentence for doubt in result.doubts if doubt.code == "multiple_peaks"]
    said = (*invalid, *broken, *_advice(values))
    if invalid:
        return PulseVerdict("not valid", checks, said)
    passed = all(check.ok for check in checks) and not broken
    return PulseVerdict("pass" if passed else "fail", checks, said)


def _check(name: str, value: Estimate | None, limits: Limits, why: str, source: str) -> Check:
    label = NAMES[name]
    if value is None:
        return Check(name, None, limits, False, False, f"{label} couldn't be read: {why}.", source)
    low, high = limits
    ok = (low is None or value.value >= low) and (high is None or value.value <= high)
    near = any(limit is not None and abs(value.value - limit) < 2 * value.u for limit in limits)
    sentence = f"{label} {value.value:.4g} is {'within' if ok else 'outside'} {_span(limits)}."
    if near:
        sentence += " A limit lies within its uncertainty: repeat the test before deciding."
    return Check(name, value, limits, ok, near, sentence, source)


def _span(limits: Limits) -> str:
    low, high = limits
    if low is None:
        return f"the limit of at most {high:g}"
    if high is None:
        return f"the limit of at least {low:g}"
    return f"{low:g} to {high:g}"


def _advice(values: Mapping[str, Estimate]) -> list[str]:
    """What common practice says of the values, whatever the criteria."""
    said = []
    h, skew = values.get("reduced_plate_height"), values.get("asymmetry")
    if h and h.value > 10:
        said.append("h is above 10 bead diameters: consider repacking (common practice).")
    elif h and h.value > 5:
        said.append("h of 5 to 10 is ordinary; demanding separations want less than 5 (common practice).")
    if skew and skew.value >= 1.7:
        said.append("With an asymmetry near 1.8 and above the product pool grows (common practice).")
    return said

"""Which faults of a bed move the features that were seen to move, and how to tell them apart.

A table of evidence, open to reading: each candidate has the features it moves, and the match with what moved
is their weighted agreement. It proposes; people decide.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

COMMON = "common practice, no source"
FEATURE_WORDS: Mapping[str, str] = {
    "width": "width of the front",
    "front": "early foot",
    "tail": "late tail",
    "asymmetry": "asymmetry",
    "position": "retention",
    "pressure": "pressure drop",
    "step": "step height",
    "before": "first plateau",
    "after": "last plateau",
    "noise": "noise",
    "flow": "flow",
    "temperature": "temperature",
    "one_transition": "only some transitions moved",
}


@dataclass(frozen=True)
class Candidate:
    """One possible cause.

    Attributes
    ----------
    code : str
        Stored name; never renamed.
    name : str
        What it is called.
    match : float
        Agreement of what moved with what this cause moves, from 0 (none) to 1.
    because : tuple of str
        Features that speak for it, the weightiest first.
    against : tuple of str
        Features that speak against it.
    check : str
        What tells it from the others.
    cure : str
        What is usually done.
    source : str
        Where this is from.
    """

    code: str
    name: str
    match: float
    because: tuple[str, ...]
    against: tuple[str, ...]
    check: str
    cure: str
    source: str


@dataclass(frozen=True)
class _Cause:
    name: str
    moves: Mapping[str, float]
    check: str
    cure: str
    source: str = COMMON


# Features in baseline standard deviations, up positive: "width" of the front, "front" (early foot), "tail"
# (late tail), "asymmetry", "position" (retention in column volumes), "pressure" (corrected pressure drop),
# "step" (step height), "before" and "after" (plateaus), "noise", "flow", "temperature",
# "one_transition" (only some traces moved).
CAUSES: Mapping[str, _Cause] = MappingProxyType(
    {
        "channel": _Cause(
            "channel or crack in the bed",
            {"front": 1.0, "width": 0.6, "asymmetry": -0.5, "position": -0.3, "pressure": -0.2},
            "Repeat a pulse test with a small tracer: fronting or a second peak confirms it. Look "
            "through the tube.",
            "Unpack and repack; a short bed may be reslurried at the top. Do not process product "
            "until it is decided.",
        ),
        "wall_void": _Cause(
            "void at the wall or a stagnant zone",
            {"tail": 1.0, "width": 0.6, "asymmetry": 0.6},
            "Repeat the pulse test at a lower flow: a tail that stays in volume is in the bed, not "
            "in the beads.",
            "Reverse flow or recompress within the resin's limits; otherwise repack.",
        ),
        "gap": _Cause(
            "gap between the bed and the top adapter",
            {"width": 1.0, "asymmetry": 0.6, "tail": 0.4, "front": 0.2},
            "Look for liquid above the bed; lower the adapter to the bed and see whether the width recovers.",
            "Lower the adapter or recompress; check that the operating pressure is below the packing "
            "pressure.",
        ),
        "compression": _Cause(
            "bed compressed",
            {"pressure": 1.0, "position": -0.8, "front": 0.2, "asymmetry": -0.3},
            "Measure the bed height; compare pressure over flow with the packing record.",
            "Lower flow and pressure; recheck the compression of the packing. Over-compression shows "
            "as fronting.",
        ),
        "fouling": _Cause(
            "fouling or a clogging frit",
            {"pressure": 1.0, "width": 0.5, "tail": 0.3, "noise": 0.1},
            "Compare pressure with the column bypassed and in line; run the cleaning procedure and repeat.",
            "Clean in place by the validated procedure, take care with caustic; replace the frit or "
            "filter the feed.",
        ),
        "resin_loss": _Cause(
            "loss of resin or a settling bed",
            {"position": -1.0, "pressure": -0.6, "width": 0.3},
            "Look for beads in the outlet; measure the bed height.",
            "Check the bottom frit and seals; repack.",
        ),
        "fines": _Cause(
            "fines or broken beads",
            {"pressure": 0.8, "width": 0.7, "asymmetry": 0.2},
            "Look at a resin sample under the microscope.",
            "Define the resin and repack.",
        ),
        "equilibration": _Cause(
            "bed not equilibrated or sample buffer unlike the running buffer",
            {"width": 0.6, "tail": 0.4, "before": 0.8, "one_transition": 0.6},
            "See whether only this transition moved and whether its first plateau is flat.",
            "Equilibrate longer; match the buffers.",
        ),
        "tubing": _Cause(
            "tubing, valve or detector outside the bed",
            {"width": 0.7, "tail": 0.3, "position": 0.7},
            "Repeat with the column bypassed.",
            "Shorten the tubing between bed and detector; check valves for dead volume.",
        ),
        "ion_exclusion": _Cause(
            "ion exclusion or interaction of the tracer with the resin",
            {"asymmetry": -1.0, "front": 0.6, "position": -0.4, "one_transition": 0.4},
            "Repeat with more salt in the buffer: fronting that goes was not the bed.",
            "Add salt to the test buffer or choose another tracer.",
        ),
        "probe": _Cause(
            "probe: gain, offset or fouling",
            {"step": 0.8, "before": 0.6, "after": 0.6, "noise": 0.5},
            "Check the probe against a standard; see whether every step changed by the same factor.",
            "Clean and calibrate the probe.",
        ),
        "buffer": _Cause(
            "buffer strength",
            {"step": 1.0, "after": 0.7, "one_transition": 0.6},
            "Measure the buffer's conductivity; see whether only steps with this buffer changed.",
            "Correct the buffer; check its release.",
        ),
        "flow_meter": _Cause(
            "flow rate or flow meter",
            {"flow": 1.0, "position": 0.5, "pressure": 0.4},
            "Collect and weigh the outlet over a timed interval.",
            "Calibrate the flow meter; check the pump.",
        ),
    }
)

_FEATURES: Mapping[str, tuple[str, float]] = {
    "hetp_moments": ("width", 1.0),
    "hetp_width": ("width", 1.0),
    "variance_cv2": ("width", 1.0),
    "width_10_90_cv": ("width", 1.0),
    "steepest_slope_per_cv": ("width", -1.0),
    "early_foot": ("front", 1.0),
    "late_tail": ("tail", 1.0),
    "asymmetry": ("asymmetry", 1.0),
    "skewness": ("asymmetry", 0.7),
    "mean_cv": ("position", 1.0),
    "v50_cv": ("position", 1.0),
    "pressure_drop_pa": ("pressure", 1.0),
    "step_height": ("step", 1.0),
    "plateau_before": ("before", 1.0),
    "plateau_after": ("after", 1.0),
    "noise": ("noise", 1.0),
    "flow_m3_s": ("flow", 1.0),
    "temperature_k": ("temperature", 1.0),
}
_SATURATION_SD = 4.0
_EITHER_WAY = {"step", "before", "after", "flow"}
_FAINT = 0.15


def rank(evidence: Mapping[str, float]) -> tuple[Candidate, ...]:
    """Rank the causes by how well they agree with what moved.

    Parameters
    ----------
    evidence : mapping of str to float
        Shift of each metric [baseline standard deviations], by key (``"transition/metric"`` or ``"metric"``).

    Returns
    -------
    tuple of Candidate
        Those with a match above 0.1, best first.

    Notes
    -----
    Shifts are gathered into features (their mean over metrics and transitions), passed through a saturating
    curve so that 4 standard deviations count nearly as much as 40, and compared with each row of the table
    by the cosine of the angle between them. The weights are judgement, not measurement.

    Examples
    --------
    >>> rank({"wash/early_foot": 6.0, "wash/hetp_moments": 3.0, "wash/asymmetry": -2.0})[0].code
    'channel'
    """
    seen = features(evidence)
    size = float(np.sqrt(sum(v * v for v in seen.values())))
    found = [_candidate(code, cause, seen, size) for code, cause in CAUSES.items()] if size > 0.05 else []
    return tuple(sorted((c for c in found if c.match > 0.1), key=lambda c: -c.match))


def features(evidence: Mapping[str, float]) -> dict[str, float]:
    """Gather shifts of metrics into features between -1 and 1.

    Examples
    --------
    >>> features({"wash/hetp_moments": 0.0, "strip/hetp_moments": 0.0})["width"]
    0.0
    """
    gathered: dict[str, list[float]] = {}
    by_transition: dict[str, list[float]] = {}
    for key, shift in evidence.items():
        transition, _, metric = key.rpartition("/")
        if metric in _FEATURES and np.isfinite(shift):
            name, sign = _FEATURES[metric]
            gathered.setdefault(name, []).append(sign * float(np.tanh(shift / _SATURATION_SD)))
            by_transition.setdefault(transition, []).append(abs(float(np.tanh(shift / _SATURATION_SD))))
    seen = {name: float(np.mean(values)) for name, values in gathered.items()}
    moved = [float(np.mean(values)) for name, values in by_transition.items() if name]
    if len(moved) > 1:
        seen["one_transition"] = max(0.0, max(moved) - 2 * sorted(moved)[-2])
    return seen


def _candidate(code: str, cause: _Cause, seen: Mapping[str, float], size: float) -> Candidate:
    known = {name: weight for name, weight in cause.moves.items() if name in seen}
    agreement = {
        name: weight * (abs(seen[name]) if name in _EITHER_WAY else seen[name])
        for name, weight in known.items()
    }
    norm = float(np.sqrt(sum(w * w for w in cause.moves.values())))
    ordered = sorted(agreement, key=lambda name: -abs(agreement[name]))
    strange = [name for name, value in seen.items() if abs(value) > 2 * _FAINT and name not in cause.moves]
    return Candidate(
        code=code,
        name=cause.name,
        match=round(max(0.0, sum(agreement.values()) / (norm * size)), 3),
        because=tuple(name for name in ordered if agreement[name] > _FAINT * abs(known[name])),
        against=tuple([name for name in ordered if agreement[name] < -_FAINT * abs(known[name])] + strange),
        check=cause.check,
        cure=cause.cure,
        source=cause.source,
    )

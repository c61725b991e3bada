"""What is not the bed: probe, buffer, flow, temperature, timing, one odd cycle, gaps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from beadline.science.drift.finding import Finding
from beadline.science.drift.reading import metric_of, transition_of
from beadline.science.estimates import Doubt

_PLATEAU_METRICS = ("step_height", "plateau_before", "plateau_after")
_HYDRAULIC = frozenset({"pressure_drop_pa", "harder to flow through"})
_LOCAL_SHAPE = frozenset({"early_foot", "late_tail", "asymmetry", *_HYDRAULIC})
_VISCOSITY_PER_K = 0.025
_USUAL_GAP_SHARE = 0.05


@dataclass(frozen=True)
class NotTheBed:
    """Doubts of one cycle, and whether they explain all that the bed's charts show."""

    doubts: tuple[Doubt, ...] = ()
    explains_bed: bool = False


def gaps(recent_usable: Sequence[bool]) -> tuple[Doubt, ...]:
    """Say so when more of the last cycles than usual could not be used.

    Notes
    -----
    Usual is 5 %; what is said would be said of fewer than one steady bed in 400 at each look.

    Examples
    --------
    >>> gaps([True] * 10 + [False] * 6)[0].code
    'traces_not_usable'
    """
    missing, total = sum(not usable for usable in recent_usable), len(recent_usable)
    if missing < 3 or scipy.special.bdtrc(missing - 1, total, _USUAL_GAP_SHARE) > 1 / 400:
        return ()
    sentence = f"{missing} of the last {total} cycles could not be used; check probe, logging and step marks."
    return (Doubt("traces_not_usable", sentence),)


def judge(finding: Finding) -> NotTheBed:
    """Tell what the instruments explain."""
    bed_level = finding.bed_level
    doubts = () if bed_level else _odd_cycle(finding)
    moved = _moved(finding)
    if not moved:
        return NotTheBed(doubts)
    last = len(finding.z) - 1
    first = min(finding.onset(i).first if finding.excess[i] > 0 else last for i in moved)
    names = [finding.series[i].name for i in moved]
    shifts = finding.shifts(first, ramp=False)
    spread = dict(zip(finding.baseline.keys, finding.baseline.sd.tolist(), strict=True))
    raw = {key: size * spread[key] for key, size in shifts.items()}
    since = finding.cycles[first]
    explains = bed_level > 0 and (
        _speed_explains(finding, names, raw)
        or _trace_explains(finding, names, shifts)
        or _volume_scale_explains(finding, names, raw, first)
    )
    doubts += _plateaus(finding, names, raw, since) + _conditions(names, raw, since)
    if not bed_level or explains:
        doubts += _position(finding, names, raw, first)
    return NotTheBed(doubts, explains)


def _moved(finding: Finding) -> list[int]:
    """Series of instruments and of the front's position that are past a limit, now or since a while."""
    panel, newest = finding.panel, finding.z[-1]
    moved = (finding.excess[panel.others] > 0) | (np.abs(newest[panel.other_keys]) > panel.odd_sd)
    found: list[int] = panel.others[moved].tolist()
    return found


def _odd_cycle(finding: Finding) -> tuple[Doubt, ...]:
    """One cycle far out with none before it is an outlier to check, not a trend."""
    limit, bed = finding.panel.odd_sd, finding.panel.bed_keys
    odd = np.abs(finding.z[-2:, bed]) > limit
    if not (odd[1] & ~odd[0]).any():
        return ()
    sentence = f"Cycle {finding.cycle} is far from the baseline and stands alone; check its trace."
    return (Doubt("odd_cycle", sentence),)


def _plateaus(finding: Finding, moved: Sequence[str], raw: dict[str, float], since: int) -> tuple[Doubt, ...]:
    """Tell gain, offset and buffer strength apart by how the plateaus moved."""
    touched = sorted({transition_of(k) for k in moved if metric_of(k).name in _PLATEAU_METRICS})
    found = []
    relative: dict[str, float] = {}
    everywhere = {transition_of(k) for k in finding.baseline.keys if metric_of(k).name == "step_height"}
    for name in everywhere:
        step = _centre(finding, f"{name}/step_height")
        relative[name] = raw.get(f"{name}/step_height", 0.0) / step if step else 0.0
    same_factor = len(everywhere) > 1 and np.ptp(list(relative.values())) < 0.3 * max(
        abs(v) for v in relative.values()
    )
    for name in touched:
        code = _plateau_code(
            finding, name, raw, same_factor=bool(same_factor), relative=relative.get(name, 0.0)
        )
        found.append(Doubt(code, _PLATEAU_SENTENCES[code].format(name=name, since=since)))
    return tuple(found)


_PLATEAU_SENTENCES = {
    "probe_offset": "Both plateaus of {name} moved by the same amount since about cycle {since}: "
    "the probe's offset, not the bed. Check the probe against a standard.",
    "probe_gain": "Step and plateaus of {name} changed by the same factor since about cycle {since}: "
    "the probe's gain, not the bed. Check the probe against a standard.",
    "buffer_strength": "One plateau of {name} changed since about cycle {since}: "
    "the strength of that buffer, not the bed. Measure the buffer.",
}


def _plateau_code(
    finding: Finding, name: str, raw: dict[str, float], *, same_factor: bool, relative: float
) -> str:
    before, after = (raw.get(f"{name}/plateau_{side}", 0.0) for side in ("before", "after"))
    low, high = (_centre(finding, f"{name}/plateau_{side}") for side in ("before", "after"))
    size = max(abs(before), abs(after))
    if size > 0 and abs(after - before) < 0.3 * size:
        return "probe_offset"
    ratio = before / low if low else 0.0
    smaller, larger = sorted((abs(low), abs(high)))
    gain_seen = smaller > 0.05 * larger and abs(ratio - (after / high if high else 0.0)) < 0.3 * abs(relative)
    if same_factor or gain_seen:
        return "probe_gain"
    return "buffer_strength"


def _centre(finding: Finding, key: str) -> float:
    keys = finding.baseline.keys
    return float(finding.baseline.centre[keys.index(key)]) if key in keys else 0.0


def _conditions(moved: Sequence[str], raw: dict[str, float], since: int) -> tuple[Doubt, ...]:
    """Flow, temperature and noise."""
    found = []
    for key in moved:
        name = metric_of(key).name
        if name == "flow_m3_s":
            found.append(
                Doubt(
                    "flow_rate", f"The flow changed by {np.expm1(raw[key]):+.0%} since about cycle {since}."
                )
            )
        elif name == "temperature_k":
            found.append(
                Doubt(
                    "temperature", f"The temperature changed by {raw[key]:+.1f} K since about cycle {since}."
                )
            )
        elif name == "noise":
            signal = transition_of(key)
            sentence = (
                f"The signal of {signal} is noisier since about cycle {since}; check probe and logging."
            )
            found.append(Doubt("signal_noise", sentence))
    return tuple(found)


def _position(finding: Finding, moved: Sequence[str], raw: dict[str, float], first: int) -> tuple[Doubt, ...]:
    """The front moved along the volume axis and kept its shape."""
    since = finding.cycles[first]
    keys = [key for key in moved if metric_of(key).name in ("mean_cv", "v50_cv")]
    if not keys:
        return ()
    shift = max((raw[key] for key in keys), key=abs)
    if _stretched(finding, raw, first):
        sentence = (
            f"Fronts are stretched along the volume axis since about cycle {since}: check the flow meter."
        )
        return (Doubt("volume_scale", sentence),)
    sentence = (
        f"Fronts stand {abs(shift):.3f} CV {'later' if shift > 0 else 'earlier'} since about cycle {since} "
        "with their shape unchanged: a late or early start mark, or a changed volume between mark and bed. "
        "Measure the bed height as well."
    )
    return (Doubt("start_mark", sentence),)


def _speed_explains(finding: Finding, moved: Sequence[str], raw: dict[str, float]) -> bool:
    """Whether flow and temperature account for how much wider the front is.

    Notes
    -----
    HETP grows with the reduced velocity (flow over diffusivity, the latter about 2.5 % a kelvin), by no more
    than in proportion; common practice, no source.
    """
    if not any(metric_of(key).name in ("flow_m3_s", "temperature_k") for key in moved):
        return False
    faster = raw.get("flow_m3_s", 0.0) - _VISCOSITY_PER_K * raw.get("temperature_k", 0.0)
    if _spoken(finding) & {"early_foot", "curve_early", *_HYDRAULIC}:
        return False
    widths = [raw[k] for k in raw if metric_of(k).name in ("hetp_moments", "hetp_width", "variance_cv2")]
    wider = float(np.median(widths)) if widths else 0.0
    return bool(abs(wider) <= 1.1 * abs(faster) and wider * faster >= 0)


def _volume_scale_explains(finding: Finding, moved: Sequence[str], raw: dict[str, float], first: int) -> bool:
    """Whether widths grew as positions did: a stretched volume axis, which leaves HETP alone."""
    if not any(metric_of(key).name == "mean_cv" for key in moved):
        return False
    return not (_spoken(finding) & _LOCAL_SHAPE) and _stretched(finding, raw, first)


def _stretched(finding: Finding, raw: dict[str, float], first: int) -> bool:
    """Whether the variance grew twice as much as the mean, and HETP hardly, as a volume scale does it.

    Notes
    -----
    By a third of the growth, or by three standard errors of a median while few cycles tell it.
    """
    by_name: dict[str, list[float]] = {"variance_cv2": [], "hetp_moments": [], "mean_cv": []}
    for key, shift in raw.items():
        name = metric_of(key).name
        if name in by_name:
            by_name[name].append(shift / _centre(finding, key) if name == "mean_cv" else shift)
    wider, plates, further = (float(np.median(v)) if v else 0.0 for v in by_name.values())
    widths = [i for i, key in enumerate(finding.baseline.keys) if metric_of(key).name == "variance_cv2"]
    spread = float(np.median(finding.baseline.sd[widths])) if widths else 0.0
    slack = max(0.35 * abs(wider), 3.75 * spread / np.sqrt(max(len(widths), 1) * (len(finding.z) - first)))
    return bool(abs(wider - 2 * further) < slack and abs(plates) < slack)


def _spoken(finding: Finding) -> set[str]:
    """Names of the directions and metrics past their limit."""
    return {finding.series[i].name.rsplit("/", 1)[-1] for i in finding.spoken()}


def _trace_explains(finding: Finding, moved: Sequence[str], shifts: dict[str, float]) -> bool:
    """Whether only transitions whose own signal changed have moved, and others stand still."""
    own = {transition_of(k) for k in moved if metric_of(k).name in (*_PLATEAU_METRICS, "noise")}
    sizes: dict[str, float] = {}
    for series in finding.series:
        if series.role == "metric" and series.name in shifts:
            name = transition_of(series.name)
            sizes[name] = max(sizes.get(name, 0.0), abs(shifts[series.name]))
    inside = [v for k, v in sizes.items() if k in own]
    outside = [v for k, v in sizes.items() if k and k not in own]
    return bool(inside and outside and max(outside) < 0.4 * max(inside))

"""How one stored result came about: the trace again, and what was drawn on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from beadline import reading
from beadline.features.cycles.schemas import is_typed, source_of
from beadline.features.overview.schemas import WorkingLine, WorkingView
from beadline.features.overview.service.story import Story
from beadline.features.packings import service as packings
from beadline.features.reading_profiles import service as reading_profiles
from beadline.features.traces import service as traces
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.features.transitions.schemas import SIGNAL_UNITS, number_line
from beadline.kit import words
from beadline.kit.errors import NotFound, Refusal
from beadline.reading import steps
from beadline.science import metrics
from beadline.science.transition import formulas
from beadline.store.tables import Cycle, Trace, Transition

Floats = NDArray[np.float64]
MOST_POINTS = 1500  # of the raw signal in the chart
LEVELS = {"v05_cv": 0.05, "v10_cv": 0.10, "v50_cv": 0.50, "v90_cv": 0.90, "v95_cv": 0.95}
VALUES_OF_WORKING: dict[str, tuple[str, str]] = {
    "points": ("Points in the window, after cleaning", ""),
    "spike_cv": ("Points taken out as spikes", "CV"),
    "line_about_cv": ("Middle of the front, where the plateaus are read", "CV"),
    "line_before": ("Plateau line before", "signal"),
    "line_after": ("Plateau line after", "signal"),
    "line_slope_per_cv": ("Common slope of the plateaus", "signal per CV"),
    "apex_cv": ("Apex of the slope", "CV"),
    "apex_slope_per_cv": ("Slope at the apex", "1/CV"),
    "front_a_cv": ("Front a at 10 % of the apex", "CV"),
    "back_b_cv": ("Back b at 10 % of the apex", "CV"),
    "part_weights": ("Shares of core, late and early part of the fitted front", ""),
    "core_mean_cv": ("Mean of the core", "CV"),
    "core_sd_cv": ("Standard deviation of the core", "CV"),
    "core_skewness": ("Skewness of the core, before it is bounded", ""),
    "late_tau_cv": ("Decay of the late part", "CV"),
    "early_mean_cv": ("Mean of the early part", "CV"),
    "early_sd_cv": ("Standard deviation of the early part", "CV"),
    "left_over_size": ("Size of what the fit leaves over", "of the step"),
    "effective_noise": ("Noise as neighbours see it", "of the step"),
    "variance_beyond_record": ("Share of the variance beyond the record's end", ""),
    "integral_mean_cv": ("Mean by the integral form, without the fit", "CV"),
    "integral_variance_cv2": ("Variance by the integral form, without the fit", "CV²"),
    "derivative_mean_cv": ("Mean by sums over the derivative, without the fit", "CV"),
    "derivative_variance_cv2": ("Variance by sums over the derivative, without the fit", "CV²"),
}


def working_view(session: Session, story: Story, number: int, name: str) -> WorkingView:
    """Return how the numbers of one transition of one cycle came about.

    Raises
    ------
    NotFound
        If the bed has no such cycle, or the cycle no such transition.
    """
    cycle = next((one for one in story.cycles if one.number == number), None)
    rows = transition_queries.of_cycle(session, cycle.id) if cycle else ()
    row = next((one for one in rows if one.name == name), None)
    if cycle is None or row is None:
        said = f"Cycle {number} has no transition {name!r}." if cycle else f"This bed has no cycle {number}."
        raise NotFound(said, where="transition", mend="Open it from the cycle on the page Column.")
    if is_typed(cycle):
        how = "were typed by hand" if source_of(cycle) is None else "are earlier results from a sheet"
        said = f"The values of cycle {number} {how}, so nothing here shows how they came about."
        raise NotFound(
            said, where="transition", mend="Ask who computed them; the cycle's note may name them."
        )
    bed = packings.bed_of(story.packing)
    quantity = str(row.plan["quantity"])
    trace, signal, harm = _signal(session, cycle, row, bed.bed_volume_m3)
    return WorkingView(
        bed_name=story.packing.column.name,
        bed_href=f"/columns/{story.packing.column.asset_tag}?packing={story.packing.id}&cycle={number}",
        number=number,
        name=name,
        names=tuple(one.name for one in rows),
        usable=row.usable,
        how_found=row.how_found,
        harm=harm,
        lines=tuple(_line(row, metric, quantity) for metric in metrics.TRANSITION),
        inputs=_inputs(row, bed.bed_volume_m3, bed.bed_height_m),
        settings=_settings(row),
        working=_written(row.working),
        doubts=tuple(str(doubt["sentence"]) for doubt in row.doubts),
        method=row.method,
        version=row.method_version,
        revision=row.revision,
        analysed_at=row.analysed_at,
        trace_id=trace.id if trace else cycle.trace_id,
        filename=trace.filename if trace else "",
        sha256=trace.sha256 if trace else "",
        read_by=_read_by(session, cycle),
        chart=_chart(row, signal, SIGNAL_UNITS.get(quantity, "")) if row.fraction is not None else None,
    )


def _signal(
    session: Session, cycle: Cycle, row: Transition, bed_volume_m3: float
) -> tuple[Trace | None, tuple[Floats, Floats] | None, str]:
    """Return the trace, and its signal around the switch; or in words why it can't be shown."""
    try:
        trace = traces.content_of(session, cycle.trace_id)
        profile = reading.Profile.from_dict(cycle.profile)
        read = reading.read(trace.content, filename=trace.filename, profile=profile)
    except Refusal as refusal:
        return None, None, f"{refusal.message} {refusal.mend}"
    except reading.UnreadableFile as error:
        return trace, None, str(error)
    signal = steps.signal_of(read, row.plan["quantity"])
    if signal is None or row.switch_volume_m3 is None:
        return trace, None, ""
    volume = (signal.volume_m3 - row.switch_volume_m3 - row.settings.get("hold_up_m3", 0.0)) / bed_volume_m3
    inside = (volume >= row.plan["start_cv"]) & (volume <= row.plan["end_cv"]) & np.isfinite(signal.values)
    return trace, (volume[inside], signal.values[inside]), ""


def _read_by(session: Session, cycle: Cycle) -> tuple[int, str] | None:
    """Return the reading profile's version that read the file: its id, and words for it."""
    if cycle.reading_profile_id is None:
        return None
    version = reading_profiles.get(session, cycle.reading_profile_id)
    return version.id, f"{version.name}, version {version.version}"


def _line(row: Transition, metric: metrics.Metric, quantity: str) -> WorkingLine:
    pair = row.estimates.get(metric.name)
    shown = number_line(metric, pair, limits=(None, None), level="", quantity=quantity)
    how = formulas.FORMULAS[metric.name]
    why = "" if pair else str(row.withheld.get(metric.name, "This record gives none."))
    return WorkingLine(shown.label, shown.unit, shown.value, shown.u, why, how.formula, how.source)


def _inputs(row: Transition, volume_m3: float, height_m: float) -> tuple[tuple[str, str], ...]:
    switch = row.switch_volume_m3
    settings = row.settings
    return (
        ("Volume of the packed bed", f"{words.number(volume_m3 * 1e3, 5)} L"),
        ("Height of the packed bed", f"{words.number(height_m * 100, 4)} cm"),
        ("Hold-up outside the bed", f"{words.number(settings.get('hold_up_m3', 0.0) * 1e6, 4)} mL"),
        (
            "Switch",
            f"{words.number(switch * 1e3, 5)} L from the start of the file" if switch is not None else "none",
        ),
        ("Window", f"{row.plan['start_cv']:g} to {row.plan['end_cv']:g} CV after the switch"),
    )


def _settings(row: Transition) -> tuple[tuple[str, str], ...]:
    written = ((name.replace("_", " "), _setting(value)) for name, value in sorted(row.settings.items()))
    return tuple(pair for pair in written if pair[0] != "hold up m3")


def _setting(value: Any) -> str:
    if isinstance(value, (list, tuple)):
        return ", ".join(_setting(one) for one in value) or "none"
    return words.number(value, 4) if isinstance(value, float) else str(value)


def _written(working: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    lines = []
    for name, (label, unit) in VALUES_OF_WORKING.items():
        if name not in working:
            continue
        value = working[name]
        listed = value if isinstance(value, list) else [value]
        text = ", ".join(words.number(float(one), 5) for one in listed) or "none"
        lines.append((label, f"{text} {unit}".strip() if listed else text))
    return tuple(lines)


def _chart(row: Transition, signal: tuple[Floats, Floats] | None, unit: str) -> dict[str, Any]:
    working, values = row.working, {name: pair[0] for name, pair in row.estimates.items()}
    assert row.fraction is not None and row.density_per_cv is not None  # noqa: S101  (the caller looked)
    volume, height = signal if signal is not None else (np.array([]), np.array([]))
    every = max(1, -(-volume.size // MOST_POINTS))
    window = (float(volume[0]), float(volume[-1])) if volume.size else None
    return {
        "unit": unit,
        "volume": words.short(volume[::every].tolist()),
        "signal": words.short(height[::every].tolist()),
        "plateaus": _plateaus(working, window),
        "spikes": list(working.get("spike_cv", [])),
        "grid": words.short(transitions.grid_of(row).tolist()),
        "fraction": words.short(row.fraction.tolist()),
        "density": words.short(row.density_per_cv.tolist()),
        "levels": [[values[name], level] for name, level in LEVELS.items() if name in values],
        "mean": values.get("mean_cv"),
        "apex": [working["apex_cv"], working["apex_slope_per_cv"]] if "apex_cv" in working else None,
        "rulers": _rulers(working, row.settings.get("asymmetry_level", 0.1)),
    }


def _plateaus(working: Mapping[str, Any], window: tuple[float, float] | None) -> list[list[float]]:
    """Both plateau lines as [from volume, signal, to volume, signal]."""
    if window is None or "line_before" not in working:
        return []
    about, slope = working["line_about_cv"], working["line_slope_per_cv"]
    (first, last), lines = window, []
    for level in (working["line_before"], working["line_after"]):
        lines.append([first, level + slope * (first - about), last, level + slope * (last - about)])
    return lines


def _rulers(working: Mapping[str, Any], level: float) -> Sequence[dict[str, Any]]:
    if not {"apex_cv", "front_a_cv", "back_b_cv"} <= set(working):
        return []
    apex, height = working["apex_cv"], level * working["apex_slope_per_cv"]
    return [
        {"name": "a", "line": [working["front_a_cv"], height, apex, height]},
        {"name": "b", "line": [apex, height, working["back_b_cv"], height]},
    ]

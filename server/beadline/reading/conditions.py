"""Flow, pressure drop and temperature while the transitions passed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from beadline.reading.steps import FoundTransition, signal_of
from beadline.reading.trace import Floats, Signal, Trace
from beadline.science.estimates import Estimate

Window = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Conditions:
    """Medians within the windows; None where the trace does not tell.

    Attributes
    ----------
    flow_m3_s, pressure_drop_pa, temperature_k : Estimate or None
        [m^3/s], [Pa], [K].
    notes : tuple of str
        Where each is from.
    inlet_pressure_pa : Estimate or None
        Pressure before the column where it was highest, over the whole run [Pa].
    """

    flow_m3_s: Estimate | None
    pressure_drop_pa: Estimate | None
    temperature_k: Estimate | None
    notes: tuple[str, ...] = ()
    inlet_pressure_pa: Estimate | None = None


def cycle_conditions(trace: Trace, windows: Sequence[FoundTransition | Window]) -> Conditions:
    """Return the conditions of a cycle within the windows of its transitions.

    Parameters
    ----------
    trace : Trace
    windows : sequence of FoundTransition or (float, float)
        Found transitions, or first and last volume of a window [m^3].

    Notes
    -----
    The uncertainty of a median is 1.253 s / sqrt(n), with the robust spread s and n lowered for the
    correlation between neighbouring values (AR(1)).
    """
    spans = [_span(window) for window in windows]
    notes: list[str] = []
    flow = _median(signal_of(trace, "flow"), spans) or _flow_of_clock(trace, spans, notes)
    drop, temperature = _drop(trace, spans, notes), _median(signal_of(trace, "temperature"), spans)
    return Conditions(flow, drop, temperature, tuple(notes), _highest_inlet(trace))


def _span(window: FoundTransition | Window) -> Window:
    if isinstance(window, FoundTransition):
        switch = window.switch_volume_m3
        return switch + float(window.volume_m3[0]), switch + float(window.volume_m3[-1])
    return window


def _inside(volume: Floats, spans: Sequence[Window]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    inside = np.zeros(len(volume), dtype=bool)
    for first, last in spans:
        inside |= (volume >= first) & (volume <= last)
    return inside


def _median(signal: Signal | None, spans: Sequence[Window]) -> Estimate | None:
    return _estimate(signal.values[_inside(signal.volume_m3, spans)]) if signal is not None else None


def _estimate(values: Floats) -> Estimate | None:
    known = values[np.isfinite(values)]
    if not len(known):
        return None
    middle = float(np.median(known))
    spread = 1.4826 * float(np.median(np.abs(known - middle)))
    free = known - known.mean()
    power = float(free @ free)
    tie = float(np.clip(free[1:] @ free[:-1] / power, 0.0, 0.99)) if power > 0 else 0.0
    return Estimate(middle, 1.253 * spread / float(np.sqrt(max(1.0, len(known) * (1 - tie) / (1 + tie)))))


def _highest_inlet(trace: Trace) -> Estimate | None:
    """Return the median of the highest twentieth of the pressure before the column, past a lone spike."""
    pressures = (signal for signal in trace.signals if signal.quantity == "pressure")
    values = next((signal.values for signal in pressures if signal.role == "pre"), None)
    if values is None or not np.isfinite(values).any():
        return None
    known = np.sort(values[np.isfinite(values)])
    return _estimate(known[-max(len(known) // 20, 1) :])


def _flow_of_clock(trace: Trace, spans: Sequence[Window], notes: list[str]) -> Estimate | None:
    """Return the flow that the trace's own volume and time give."""
    if trace.time_s is None or trace.volume_m3 is None:
        return None
    inside = _inside(trace.volume_m3, spans)
    steps = np.diff(trace.time_s) > 0
    rate = np.diff(trace.volume_m3)[steps] / np.diff(trace.time_s)[steps]
    found = _estimate(rate[(inside[1:] & inside[:-1])[steps]])
    if found is not None:
        notes.append("Flow is volume over time, as there is no flow signal.")
    return found


def _drop(trace: Trace, spans: Sequence[Window], notes: list[str]) -> Estimate | None:
    """Return the pressure drop: as recorded, as a difference, or the one pressure there is."""
    by_role = {signal.role: signal for signal in reversed(trace.signals) if signal.quantity == "pressure"}
    if "delta" in by_role:
        return _median(by_role["delta"], spans)
    before = by_role.get("pre")
    behind = by_role.get("post")
    if before is not None and behind is not None:
        known = np.isfinite(behind.values)
        if known.any():
            after = np.interp(before.volume_m3, behind.volume_m3[known], behind.values[known])
            notes.append("The pressure drop is the pressure before the column minus the one behind it.")
            return _estimate((before.values - after)[_inside(before.volume_m3, spans)])
    single = before or by_role.get("")
    if single is not None:
        notes.append(
            f"“{single.name}” is taken as the pressure drop; it holds the drop of pipes and valves as well."
        )
    return _median(single, spans)

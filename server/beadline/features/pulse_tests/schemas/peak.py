"""The peak of a pulse test with its constructions, for the chart."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadline.science.pulse import PulseResult

MOST_POINTS = 500
RULERS = {"half_line": "width at half height", "asymmetry_line": "a and b for asymmetry"}


def chart(result: PulseResult, unit: str) -> dict[str, Any] | None:
    """Return the peak with its constructions, in column volumes."""
    if not result.curve_volume_m3.size:
        return None
    volume = float(result.working["bed_volume_m3"])  # type: ignore[arg-type]
    step = max(1, -(-result.curve_volume_m3.size // MOST_POINTS))
    apex = result.working.get("apex_m3")
    height = result.working.get("height")
    lines = {name: _in_cv(result.working[name], volume) for name in RULERS if name in result.working}
    sides = [f"tangent_{side}" for side in ("front", "back")]
    window = result.working.get("integration_window_m3")
    return {
        "volume": np.round(result.curve_volume_m3[::step] / volume, 5).tolist(),
        "signal": result.curve_signal[::step].tolist(),
        "fit": result.curve_fit[::step].tolist(),
        "unit": unit,
        "apex": [apex / volume, height] if isinstance(apex, float) and isinstance(height, float) else None,
        "rulers": [{"name": RULERS[name], "line": line} for name, line in lines.items()],
        "tangents": [_in_cv(result.working[side], volume) for side in sides if side in result.working],
        "window": [each / volume for each in window] if isinstance(window, list) else None,
    }


def _in_cv(line: Any, volume_m3: float) -> list[float]:
    x0, y0, x1, y1 = line
    return [x0 / volume_m3, y0, x1 / volume_m3, y1]

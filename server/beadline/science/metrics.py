"""The metrics that are stored, charted and shown: one entry a metric, never renamed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Side = Literal["up", "both"]
Scale = Literal["log", "linear"]
_STORED = {"°C": "K", "cm": "m", "bar": "Pa", "L/h": "m3/s", "% of step": "1", "": "1", "CV²": "CV2"}


@dataclass(frozen=True, slots=True)
class Metric:
    """How one stored number is named, shown and charted.

    Attributes
    ----------
    name : str
        Stored name; values are in SI units or in column volumes.
    label : str
        Name on screen.
    unit : str
        Unit on screen; empty for a plain number.
    factor : float
        Multiply a stored value by this, and add `offset`, to get the value on screen.
    digits : int
        Significant digits on screen.
    side : {"up", "both"}
        Direction in which a bed gets worse.
    scale : {"log", "linear"}
        Scale on which the metric's cycle-to-cycle spread is even.
    offset : float
        Where the screen's zero lies elsewhere; it is for values, never for differences or uncertainties.
    """

    name: str
    label: str
    unit: str = ""
    factor: float = 1.0
    digits: int = 3
    side: Side = "both"
    scale: Scale = "linear"
    offset: float = 0.0

    @property
    def stored_unit(self) -> str:
        """Unit of stored values: SI or column volumes; 1 for a plain number.

        Examples
        --------
        >>> by_name(TRANSITION)["hetp_moments"].stored_unit, by_name(CYCLE)["temperature_k"].stored_unit
        ('m', 'K')
        """
        return _STORED.get(self.unit, self.unit)

    def shown(self, value: float) -> float:
        """Return a stored value in the unit of the screen.

        Examples
        --------
        >>> metric = by_name(CYCLE)["temperature_k"]
        >>> metric.shown(293.15), metric.shown_difference(0.5), metric.stored(20.0)
        (20.0, 0.5, 293.15)
        """
        return value * self.factor + self.offset

    def shown_difference(self, size: float) -> float:
        """Return a stored difference or standard uncertainty in the unit of the screen."""
        return size * self.factor

    def stored(self, shown: float) -> float:
        """Return a value in the unit of the screen as it is stored."""
        return (shown - self.offset) / self.factor


TRANSITION: tuple[Metric, ...] = (
    Metric("hetp_moments", "HETP from moments", "cm", 100.0, side="up", scale="log"),
    Metric("hetp_width", "HETP from width", "cm", 100.0, side="up", scale="log"),
    Metric("asymmetry", "Asymmetry at 10 %", scale="log"),
    Metric("mean_cv", "Mean breakthrough", "CV", digits=4),
    Metric("variance_cv2", "Variance", "CV²", side="up", scale="log"),
    Metric("skewness", "Skewness"),
    Metric("excess_kurtosis", "Excess kurtosis"),
    Metric("v05_cv", "5 % breakthrough", "CV"),
    Metric("v10_cv", "10 % breakthrough", "CV"),
    Metric("v50_cv", "50 % breakthrough", "CV", digits=4),
    Metric("v90_cv", "90 % breakthrough", "CV"),
    Metric("v95_cv", "95 % breakthrough", "CV"),
    Metric("width_10_90_cv", "Transition width, 10 to 90 %", "CV", side="up", scale="log"),
    Metric("steepest_slope_per_cv", "Greatest slope", "1/CV", scale="log"),
    Metric("early_foot", "Early foot", side="up"),
    Metric("late_tail", "Late tail", side="up"),
    Metric("difference_from_reference", "Difference from reference curve", "CV", side="up"),
    Metric("step_height", "Step height", "signal"),
    Metric("plateau_before", "Plateau before", "signal"),
    Metric("plateau_after", "Plateau after", "signal"),
    Metric("noise", "Noise", "% of step", 100.0, side="up", scale="log"),
)

CYCLE: tuple[Metric, ...] = (
    Metric("pressure_drop_pa", "Pressure drop, corrected", "bar", 1e-5, side="both", scale="log"),
    Metric("flow_m3_s", "Flow", "L/h", 3.6e6, scale="log"),
    Metric("temperature_k", "Temperature", "°C", digits=3, offset=-273.15),
)

PULSE: tuple[Metric, ...] = (
    Metric("plates_half_height", "Plates, half height", digits=4),
    Metric("plates_tangent", "Plates, tangents", digits=4),
    Metric("plates_moments", "Plates, moments", digits=4),
    Metric("plates_foley_dorsey", "Plates, 10 % width and asymmetry", digits=4),
    Metric("plates_emg", "Plates, fitted peak", digits=4),
    Metric("hetp_half_height", "HETP, half height", "cm", 100.0),
    Metric("hetp_moments", "HETP, moments", "cm", 100.0),
    Metric("plates_per_metre", "Plates per metre", "1/m", digits=4),
    Metric("reduced_plate_height", "Reduced plate height"),
    Metric("asymmetry", "Asymmetry at 10 %"),
    Metric("tailing_factor", "Tailing factor at 5 %"),
    Metric("retention_cv", "Retention", "CV"),
    Metric("porosity", "Implied porosity"),
)


def by_name(family: tuple[Metric, ...]) -> dict[str, Metric]:
    """Index a family of metrics by stored name.

    Examples
    --------
    >>> by_name(CYCLE)["pressure_drop_pa"].unit
    'bar'
    """
    return {metric.name: metric for metric in family}

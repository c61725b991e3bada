"""What a person may choose about the reading of a pulse test."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, Literal

METHOD = "pulse direct reading"
VERSION = "1"


@dataclass(frozen=True, slots=True)
class Settings:
    """Choices stored with every result; the defaults are the shipped ones.

    Attributes
    ----------
    baseline : {"linear", "constant"}
        Line under the peak, fitted robustly to the quiet parts before and after it.
    polarity : {"either", "up", "down"}
        Which way the tracer moves the signal; "either" takes the larger excursion.
    half_height_constant : float
        5.54 as the pharmacopoeias write it; 8 ln 2 = 5.5452 is the exact value for a Gaussian.
    asymmetry_level, tailing_level : float
        Share of the peak height at which b/a and the tailing factor are read.
    particle_porosity : float or None
        Share of a bead that the tracer can enter, as the tracer sees it; with it the interstitial
        porosity is worked out from the retention.
    origin_u_m3 : float
        Standard uncertainty of the volume at which the injection began [m3].
    injection_share_cv : tuple of float
        Sample volumes [CV] outside this range raise a doubt. About 1 % is common practice, no source.
    velocity_range_m_s : tuple of float
        Superficial velocities [m/s] outside this range raise a doubt. 10 to 150 cm/h is common practice.
    least_points : int
        Fewer samples above half height raise a doubt.
    least_signal_to_noise : float
        A peak of fewer noise standard deviations isn't read.
    baseline_drift : float
        Change of the baseline under the peak, as a share of its height, that raises a doubt.

    Examples
    --------
    >>> Settings.from_dict(Settings(asymmetry_level=0.05).to_dict()).asymmetry_level
    0.05
    """

    baseline: Literal["linear", "constant"] = "linear"
    polarity: Literal["either", "up", "down"] = "either"
    half_height_constant: float = 5.54
    asymmetry_level: float = 0.10
    tailing_level: float = 0.05
    particle_porosity: float | None = None
    origin_u_m3: float = 0.0
    injection_share_cv: tuple[float, float] = (0.0025, 0.025)
    velocity_range_m_s: tuple[float, float] = (10e-2 / 3600, 150e-2 / 3600)
    least_points: int = 10
    least_signal_to_noise: float = 10.0
    baseline_drift: float = 0.02

    def __post_init__(self) -> None:
        """Refuse choices that can't be meant."""
        if self.baseline not in ("linear", "constant"):
            raise ValueError(f"baseline must be linear or constant, got {self.baseline!r}")
        if self.polarity not in ("either", "up", "down"):
            raise ValueError(f"polarity must be either, up or down, got {self.polarity!r}")
        for name in ("asymmetry_level", "tailing_level"):
            if not 0.01 <= getattr(self, name) <= 0.9:
                raise ValueError(f"{name} must lie between 0.01 and 0.9, got {getattr(self, name)}")
        if not 5 < self.half_height_constant < 6:
            raise ValueError(f"half_height_constant must be near 5.54, got {self.half_height_constant}")
        if self.particle_porosity is not None and not 0 <= self.particle_porosity < 1:
            raise ValueError(f"particle_porosity must lie between 0 and 1, got {self.particle_porosity}")
        if not self.origin_u_m3 >= 0:
            raise ValueError(f"origin_u_m3 must not be negative, got {self.origin_u_m3}")
        for name in ("injection_share_cv", "velocity_range_m_s"):
            low, high = getattr(self, name)
            if not 0 <= low < high:
                raise ValueError(f"{name} must rise from 0 or more, got {(low, high)}")

    def to_dict(self) -> dict[str, Any]:
        """Plain values for storage as JSON."""
        return asdict(self)

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Settings:
        """Read back what `to_dict` gave.

        Raises
        ------
        ValueError
            If a choice is unknown or can't be meant.
        """
        unknown = set(stored) - {field.name for field in fields(cls)}
        if unknown:
            raise ValueError(f"unknown pulse settings: {', '.join(sorted(unknown))}")
        chosen: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in stored.items()}
        return cls(**chosen)

"""What a person may choose about the reading of a transition."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Literal

Direction = Literal["up", "down", "either"]


@dataclass(frozen=True, slots=True)
class Settings:
    """Choices stored with every result; the defaults are the shipped ones.

    Attributes
    ----------
    window_cv : tuple of float
        Part of the record that is read [CV], before the hold-up is taken off.
    direction : {"up", "down", "either"}
        The direction the step plan expects; another one raises a doubt.
    grid_end_cv, grid_points : float, int
        The stored curve runs from 0 to ``grid_end_cv`` [CV] in ``grid_points`` points.
    hold_up_m3 : float
        Volume between switch and detector outside the bed [m3]; taken off every volume.
    system_variance_m6 : float
        Variance that tubing, traps and detector add [m6]; taken off the variance.
    response_signal, response_concentration : tuple of float
        Points of a rising curve signal -> concentration, for a signal that isn't linear in
        concentration. Empty: the signal is taken as linear.
    width_levels : tuple of float
        The two fractions whose distance gives ``hetp_width``.
    asymmetry_level : float
        Share of the height of the derivative peak at which the asymmetry is read.
    least_step_to_noise : float
        A step of fewer noise standard deviations is too small to read.
    noise_high : float
        Noise as a fraction of the step above which the result is doubted.
    plateau_reached : float
        Fraction of the step that the record must have reached at its end (and left at its start).
    retained_above_cv : float
        A mean later than this [CV] isn't a residence time of the bed.
    early_below_cv : float
        A mean earlier than this [CV] can't be the bed's liquid: late mark or wrong bed volume.
    least_hetp_m : float
        A front with a smaller plate height [m] is sharper than hydrodynamics allow.
    """

    window_cv: tuple[float, float] = (-1.0, 4.0)
    direction: Direction = "either"
    grid_end_cv: float = 2.0
    grid_points: int = 161
    hold_up_m3: float = 0.0
    system_variance_m6: float = 0.0
    response_signal: tuple[float, ...] = ()
    response_concentration: tuple[float, ...] = ()
    width_levels: tuple[float, float] = (0.158655253931457, 0.841344746068543)
    asymmetry_level: float = 0.10
    least_step_to_noise: float = 10.0
    noise_high: float = 0.015
    plateau_reached: float = 0.985
    retained_above_cv: float = 1.3
    early_below_cv: float = 0.25
    least_hetp_m: float = 4e-5

    def __post_init__(self) -> None:
        """Refuse choices that can't be meant."""
        if not self.window_cv[0] < self.window_cv[1]:
            raise ValueError(f"window_cv must rise, got {self.window_cv}")
        if self.direction not in ("up", "down", "either"):
            raise ValueError(f"direction must be up, down or either, got {self.direction!r}")
        if self.grid_points < 2 or not self.grid_end_cv > 0:
            raise ValueError(f"the grid needs 2 points, got {self.grid_points} to {self.grid_end_cv} CV")
        if not 0 < self.width_levels[0] < self.width_levels[1] < 1:
            raise ValueError(f"width_levels must rise between 0 and 1, got {self.width_levels}")
        if not 0 < self.asymmetry_level < 1:
            raise ValueError(f"asymmetry_level must lie between 0 and 1, got {self.asymmetry_level}")
        if self.system_variance_m6 < 0:
            raise ValueError(f"system_variance_m6 must not be negative, got {self.system_variance_m6}")
        self._check_response()

    def _check_response(self) -> None:
        signal, concentration = self.response_signal, self.response_concentration
        if len(signal) != len(concentration) or len(signal) == 1:
            raise ValueError("a response curve needs as many signals as concentrations, two or more")
        for name, points in (("response_signal", signal), ("response_concentration", concentration)):
            if any(not low < high for low, high in itertools.pairwise(points)):
                raise ValueError(f"{name} must rise from point to point, got {points}")

    def to_dict(self) -> dict[str, Any]:
        """Plain values, as they are stored with a result.

        Examples
        --------
        >>> Settings.from_dict(Settings(direction="up").to_dict()).direction
        'up'
        """
        plain = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return {name: list(value) if isinstance(value, tuple) else value for name, value in plain.items()}

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Settings:
        """Settings from stored values; what isn't stored keeps its default.

        Raises
        ------
        ValueError
            If a name isn't a setting.
        """
        known = {field.name for field in fields(cls)}
        if unknown := set(stored) - known:
            raise ValueError(f"not settings of a transition: {', '.join(sorted(unknown))}")
        values: dict[str, Any] = {
            k: tuple(v) if isinstance(v, list | tuple) else v for k, v in stored.items()
        }
        return cls(**values)

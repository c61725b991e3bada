"""The choices behind a bed's charts, stored with every verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

METHOD = "joined change evidence"
VERSION = "2"

INSTRUMENT_METRICS = (
    "step_height",
    "plateau_before",
    "plateau_after",
    "noise",
    "flow_m3_s",
    "temperature_k",
)


@dataclass(frozen=True)
class FixedLimits:
    """Limits set by procedure for one key, in the metric's own unit; None where there is none.

    Examples
    --------
    >>> FixedLimits(alert_high=1.6, action_high=1.8).level(1.7)
    'alert'
    """

    alert_low: float | None = None
    alert_high: float | None = None
    action_low: float | None = None
    action_high: float | None = None

    def level(self, value: float) -> str:
        """Say which of the limits a value is strictly beyond: "", "alert" or "action"."""
        for name, low, high in (
            ("action", self.action_low, self.action_high),
            ("alert", self.alert_low, self.alert_high),
        ):
            if (low is not None and value < low) or (high is not None and value > high):
                return name
        return ""


@dataclass(frozen=True)
class Settings:
    """How a bed is watched.

    Attributes
    ----------
    baseline_cycles : int
        Usable cycles that define normal; at least 8.
    baseline_start : int
        First cycle that may belong to the baseline, for instance the one after a requalification.
    fixed_cycles : tuple of int
        The very cycles that define normal, where somebody has fixed them; else the first usable ones do.
    one_false_alarm_in : float
        Cycles per false bed alarm at the alert limit, for the whole bed.
    action_one_in : float
        The same at the action limit.
    phi : float
        Correlation of neighbouring cycles, pooled over beds of the process; 0 to 0.6.
    fixed_limits : mapping
        Limits by procedure, by key.
    ignored : tuple of str
        Keys (or bare metric names) that are not charted.
    instruments : tuple of str
        Metrics that speak of the probe, the buffer or the pump rather than of the bed.
    use_fleet : bool
        Whether a prior from sister beds is used when one is given.

    Examples
    --------
    >>> Settings.from_dict(Settings(baseline_cycles=20).to_dict()).baseline_cycles
    20
    """

    baseline_cycles: int = 15
    baseline_start: int = 1
    fixed_cycles: tuple[int, ...] = ()
    one_false_alarm_in: float = 450.0
    action_one_in: float = 4500.0
    phi: float = 0.3
    fixed_limits: Mapping[str, FixedLimits] = field(default_factory=dict)
    ignored: tuple[str, ...] = ()
    instruments: tuple[str, ...] = INSTRUMENT_METRICS
    use_fleet: bool = True
    method: str = METHOD
    version: str = VERSION

    def __post_init__(self) -> None:
        if self.baseline_cycles < 8:
            raise ValueError(f"baseline_cycles must be at least 8, not {self.baseline_cycles}.")
        if self.fixed_cycles and (
            len(self.fixed_cycles) < 8 or list(self.fixed_cycles) != sorted(set(self.fixed_cycles))
        ):
            raise ValueError(f"fixed_cycles must be at least 8 rising numbers, not {self.fixed_cycles}.")
        if not 20 <= self.one_false_alarm_in <= self.action_one_in:
            raise ValueError(
                "one_false_alarm_in must be at least 20 and no more than action_one_in, "
                f"not {self.one_false_alarm_in} and {self.action_one_in}."
            )
        if not 0 <= self.phi <= 0.6:
            raise ValueError(f"phi must lie between 0 and 0.6, not {self.phi}.")

    def may_define(self, cycle: int) -> bool:
        """Whether a cycle may belong to the baseline."""
        return cycle in self.fixed_cycles if self.fixed_cycles else cycle >= self.baseline_start

    def suffices(self, learnt: int, *, at_cycle: int) -> bool:
        """Whether so many usable cycles make the baseline complete.

        Notes
        -----
        Of fixed cycles, at least 8 of those that still count must be there when the last of them has passed.

        Examples
        --------
        >>> fixed = Settings(fixed_cycles=tuple(range(1, 16)))
        >>> fixed.suffices(14, at_cycle=14), fixed.suffices(14, at_cycle=15)
        (False, True)
        """
        if self.fixed_cycles:
            return learnt >= 8 and at_cycle >= self.fixed_cycles[-1]
        return learnt >= self.baseline_cycles

    def to_dict(self) -> dict[str, Any]:
        """Plain values for storage as JSON."""
        limits = {key: asdict(value) for key, value in self.fixed_limits.items()}
        return {name: getattr(self, name) for name in self.__dataclass_fields__} | {"fixed_limits": limits}

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Settings:
        """Read back what `to_dict` gave."""
        limits = {key: FixedLimits(**value) for key, value in stored.get("fixed_limits", {}).items()}
        rest = {name: value for name, value in stored.items() if name != "fixed_limits"}
        for name in ("fixed_cycles", "ignored", "instruments"):
            if name in rest:
                rest[name] = tuple(rest[name])
        return cls(**rest, fixed_limits=limits)

"""What sister beds of the same resin and process have shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass(frozen=True)
class Promise:
    """Where a bed's first runs are to be expected by its pulse test.

    Attributes
    ----------
    pulse : float
        What the pulse test gave, in the metric's own unit.
    centre, u : float
        Logarithm of the value expected of runs, and its standard uncertainty.
    dof : int
        Degrees of freedom behind that uncertainty.
    beds : int
        How many sister beds it comes from.
    weight : float
        How far it follows the pulse test (1) rather than the sisters' runs alone (0).

    Examples
    --------
    >>> Promise(2e-4, -8.3, 0.05, dof=3, beds=5, weight=0.8).worth_cycles(0.05, phi=0.0)
    1.0
    """

    pulse: float
    centre: float
    u: float
    dof: int
    beds: int
    weight: float

    def worth_cycles(self, sd: float, *, phi: float) -> float:
        """How many runs of the bed tell as much, if their logarithms have this standard deviation."""
        return sd**2 * (1 + phi) / (1 - phi) / self.u**2


@dataclass(frozen=True)
class Prior:
    """Experience of the fleet, as a young bed is judged with it.

    Attributes
    ----------
    beds : int
        How many beds it comes from.
    phi : float or None
        Pooled correlation of neighbouring cycles.
    phi_spread : float
        Standard deviation of the beds about it.
    sd : mapping
        Typical standard deviation by key, on the charted scale.
    worth : mapping
        How many degrees of freedom that is worth: great where beds are alike.
    promises : mapping
        What the bed's own pulse test promises, by key; it counts until the baseline is complete.
    sisters : tuple of str
        What these beds are called, so that a verdict can name whose experience it rests on.

    Examples
    --------
    >>> Prior.from_dict(Prior(3, phi=0.2, sisters=("Plover 1", "Knot 1", "Knot 2")).to_dict()).sisters[0]
    'Plover 1'
    """

    beds: int
    phi: float | None = None
    phi_spread: float = 0.15
    sd: Mapping[str, float] = field(default_factory=dict)
    worth: Mapping[str, float] = field(default_factory=dict)
    promises: Mapping[str, Promise] = field(default_factory=dict)
    sisters: tuple[str, ...] = ()

    def weight(self, key: str, *, cycles: int) -> float:
        """Part of a bed's spread that is the sisters', where its own comes from so many cycles; 0 to 1.

        Examples
        --------
        >>> Prior(3, sd={"skewness": 0.1}, worth={"skewness": 14.0}).weight("skewness", cycles=15)
        0.5
        """
        worth = self.worth.get(key, 0.0) if key in self.sd else 0.0
        return worth / (worth + max(cycles - 1, 0)) if worth else 0.0

    def to_dict(self) -> dict[str, Any]:
        """Plain values for storage as JSON."""
        return {
            "beds": self.beds,
            "phi": self.phi,
            "phi_spread": self.phi_spread,
            "sd": dict(self.sd),
            "worth": dict(self.worth),
            "promises": {key: asdict(promise) for key, promise in self.promises.items()},
            "sisters": list(self.sisters),
        }

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Prior:
        """Read back what `to_dict` gave."""
        rest = {name: value for name, value in stored.items() if name not in ("sisters", "promises")}
        promises = {key: Promise(**plain) for key, plain in stored.get("promises", {}).items()}
        return cls(**rest, promises=promises, sisters=tuple(stored.get("sisters", ())))

"""What sister beds of the same resin and process have shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


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
    """

    beds: int
    phi: float | None = None
    phi_spread: float = 0.15
    sd: Mapping[str, float] = field(default_factory=dict)
    worth: Mapping[str, float] = field(default_factory=dict)

    def to_dict(self) -> dict[str, Any]:
        """Plain values for storage as JSON."""
        return {
            "beds": self.beds,
            "phi": self.phi,
            "phi_spread": self.phi_spread,
            "sd": dict(self.sd),
            "worth": dict(self.worth),
        }

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Prior:
        """Read back what `to_dict` gave."""
        return cls(**stored)

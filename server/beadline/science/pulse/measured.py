"""Quantities read from one record, with the covariance that its noise gives them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beadline.science.estimates import Estimate

Array = NDArray[np.float64]
Values = Mapping[str, float]


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """Named quantities and their covariance.

    Attributes
    ----------
    values : mapping of str to float
        Quantities in SI units, in the order of the covariance.
    covariance : ndarray [k, k]
        Their covariance.

    Examples
    --------
    >>> import numpy as np
    >>> read = Measured({"a": 2.0, "b": 3.0}, np.diag([0.01, 0.04]))
    >>> found = read.derive(lambda q: q["a"] * q["b"])
    >>> found.value, round(found.u, 9)
    (6.0, 0.5)
    """

    values: Values
    covariance: Array

    def __contains__(self, name: str) -> bool:
        return name in self.values

    def has(self, *names: str) -> bool:
        """Whether all of the quantities could be read."""
        return all(name in self.values for name in names)

    def u(self, name: str) -> float:
        """Standard uncertainty of one quantity."""
        place = list(self.values).index(name)
        return float(np.sqrt(max(self.covariance[place, place], 0.0)))

    def derive(self, rule: Callable[[Values], float]) -> Estimate:
        """Carry the covariance through a formula, to first order, by central differences.

        References
        ----------
        JCGM 100:2008, 5.2.2 (law of propagation for correlated quantities).
        """
        value = float(rule(self.values))
        names = list(self.values)
        spread: Array = np.sqrt(np.maximum(np.diag(self.covariance), 0.0))
        gradient = np.zeros(len(names))
        for place, name in enumerate(names):
            step = 1e-3 * spread[place]
            if step > 1e-12 * abs(self.values[name]):
                ahead = rule({**self.values, name: self.values[name] + step})
                behind = rule({**self.values, name: self.values[name] - step})
                gradient[place] = (ahead - behind) / (2 * step)
        variance = float(gradient @ self.covariance @ gradient)
        return Estimate(value, float(np.sqrt(max(variance, 0.0))))

    def joined(self, more: Mapping[str, Estimate]) -> Measured:
        """Add independent quantities."""
        size = len(self.values)
        covariance = np.zeros((size + len(more), size + len(more)))
        covariance[:size, :size] = self.covariance
        for place, extra in enumerate(more.values(), start=size):
            covariance[place, place] = extra.u**2
        return Measured({**self.values, **{name: extra.value for name, extra in more.items()}}, covariance)

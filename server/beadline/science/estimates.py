"""A value with its standard uncertainty, and a reason to doubt one."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number that says how well it is known.

    Attributes
    ----------
    value : float
        The estimate, in the unit of its metric.
    u : float
        Standard uncertainty in the same unit; not negative.

    Examples
    --------
    >>> Estimate(value=0.034e-2, u=0.001e-2).u
    1e-05
    """

    value: float
    u: float


@dataclass(frozen=True, slots=True)
class Doubt:
    """A named reason why a result deserves less trust.

    Attributes
    ----------
    code : str
        Stored name of the reason; never renamed.
    sentence : str
        What was seen and what to do, for the person who reads the result.
    """

    code: str
    sentence: str

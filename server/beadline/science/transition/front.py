"""A flexible front on plateaus with a common slope."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beadline.science.transition import shapes
from beadline.science.transition.result import Array


@dataclass(frozen=True, slots=True, eq=False)
class Front:
    """Plateau line and the parts of a front, in fractions of the outlined step.

    Attributes
    ----------
    level, slope_per_cv : float
        The common line under both plateaus, at and around `about_cv`.
    heights : ndarray [1 to 3]
        Heights of core, late part, early part (those that are there).
    core, late, early : tuple of float
        Parameters of the parts; empty for a part that isn't there. The late part has the core's
        mean and width and a tail of its own.
    about_cv : float
        Volume about which slope and moments are taken.
    """

    level: float
    slope_per_cv: float
    heights: Array
    core: tuple[float, ...]
    late: tuple[float, ...] = ()
    early: tuple[float, ...] = ()
    about_cv: float = 0.0

    @property
    def height(self) -> float:
        """Height of the whole step."""
        return float(np.sum(self.heights))

    @property
    def sd_cv(self) -> float:
        """Standard deviation of the core [CV]."""
        return float(np.exp(self.core[1]))

    def curve(self, volume_cv: Array) -> Array:
        """Plateau line and front together.

        Examples
        --------
        >>> front = Front(0.1, 0.0, np.array([1.0]), (1.0, float(np.log(0.05)), 0.0))
        >>> round(float(front.curve(np.array([1.0]))[0]), 4)
        0.6
        """
        return self.plateau(volume_cv) + self.rise(volume_cv)

    def plateau(self, volume_cv: Array) -> Array:
        """The line that the front starts from."""
        return self.level + self.slope_per_cv * (volume_cv - self.about_cv)

    def parts(self, volume_cv: Array) -> list[shapes.Shape]:
        """The parts that are there, at the points asked for."""
        found = [shapes.core(volume_cv, *self.core)]
        if self.late:
            found.append(shapes.late(volume_cv, *self.core[:2], *self.late))
        if self.early:
            found.append(shapes.early(volume_cv, *self.early))
        return found

    def rise(self, volume_cv: Array) -> Array:
        """The front without its plateaus, at the points asked for."""
        return self._rise(self.parts(volume_cv))

    def _rise(self, parts: list[shapes.Shape]) -> Array:
        return np.asarray(sum(h * part.cumulative for h, part in zip(self.heights, parts, strict=True)))

    def rise_and_tangents(self, volume_cv: Array) -> tuple[Array, Array]:
        """Front [n] and its derivatives [p, n], for the price of one."""
        parts = self.parts(volume_cv)
        return self._rise(parts), self._tangents(parts)

    def tangents(self, volume_cv: Array) -> Array:
        """Derivatives of the front without its plateaus [p, n]: by height, then by parts' parameters."""
        return self._tangents(self.parts(volume_cv))

    def _tangents(self, parts: list[shapes.Shape]) -> Array:
        by_part = [h * part.tangents for h, part in zip(self.heights, parts, strict=True)]
        if self.late:  # the late part shares mean and width with the core
            by_part[0][:2] += by_part[1][:2]
            by_part[1] = by_part[1][2:]
        return np.concatenate([np.array([part.cumulative for part in parts]), *by_part])

    def moments(self) -> Array:
        """Moments 0 to 4 about `about_cv` of each part, not weighted by its height [parts, 5]."""
        rows = [shapes.core_moments(*self.core, about=self.about_cv)]
        if self.late:
            rows.append(shapes.late_moments(*self.core[:2], *self.late, about=self.about_cv))
        if self.early:
            rows.append(shapes.early_moments(*self.early, about=self.about_cv))
        return np.array(rows)

    def vector(self) -> Array:
        """All free numbers in a row, as the fit sees them."""
        return np.array([self.level, self.slope_per_cv, *self.heights, *self.core, *self.late, *self.early])

    def at(self, vector: Array) -> Front:
        """The same kind of front with other numbers."""
        k, c = 2 + self.heights.size, 5 + self.heights.size
        after_late = c + len(self.late)
        level, slope, *_ = numbers = vector.tolist()
        core, late = tuple(numbers[k:c]), tuple(numbers[c:after_late])
        return Front(level, slope, vector[2:k], core, late, tuple(numbers[after_late:]), self.about_cv)

    def plain(self) -> bool:
        """Whether every part has a sensible weight and width."""
        share = self.heights / self.height if self.height > 0 else np.zeros(1)
        widths = [self.core[1], *self.late, *self.early[1:]]
        return bool(
            np.all(np.isfinite(self.vector()))
            and share[0] > 0.35
            and np.all(share > 0.001)
            and max(widths) < 1.5
            and min(widths) > -9
        )

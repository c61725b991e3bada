"""A look at whole curves: do they differ in shape from those of the baseline, and where?

Each curve is laid over the baseline's mean by its 50 % point, and what a stretch along the volume axis would
do is taken out, so that start mark, volume scale and plain width don't count: those have metrics of their
own. The rest is described by the few ways in which the baseline's own curves vary (a T2 statistic), by what
these leave over (a residual), and by the area gained in the early and in the late part.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift.reading import Reading
from beadline.science.estimates import Estimate

Floats = NDArray[np.float64]
COMPONENTS = 2
_DECIMALS = 7
_MIN_CURVES = 8


@dataclass(frozen=True)
class CurveModel:
    """Normal curve of one transition.

    Attributes
    ----------
    mean : array
        Mean curve of the baseline [fraction].
    middle : float
        Where it passes 50 % [grid steps].
    stretch : array
        Unit vector of what a stretch along the volume axis does.
    components : array
        Ways in which curves of the baseline vary [components, grid], unit vectors.
    spread : array
        Standard deviation along each.
    """

    mean: Floats
    middle: float
    stretch: Floats
    components: Floats
    spread: Floats

    def measured(self, curve: Floats) -> dict[str, float]:
        """T2, residual and areas of one curve, by metric name; empty for a curve that can't be laid over."""
        rest = self._rest(np.asarray(curve, float))
        if rest is None:
            return {}
        along = self.components @ rest
        low, high = np.searchsorted(self.mean, 0.2), np.searchsorted(self.mean, 0.8)
        return {
            "curve_scores": float(np.sum((along / self.spread) ** 2)) + 1e-12,
            "curve_residual": max(float(rest @ rest - along @ along), 0.0) + 1e-12,
            "curve_early": float(rest[:low].sum()),
            "curve_late": -float(rest[high:].sum()),
        }

    def _rest(self, curve: Floats) -> Floats | None:
        laid = _laid_over(curve, self.middle, len(self.mean))
        if laid is None:
            return None
        rest = laid - self.mean
        left: Floats = rest - self.stretch * (self.stretch @ rest)
        return left


@dataclass(frozen=True)
class Shape:
    """Normal curves of all transitions of a bed."""

    models: Mapping[str, CurveModel]

    def added(self, reading: Reading) -> Reading:
        """The reading with what its curves show as further values."""
        extra = {
            f"{name}/{metric}": Estimate(value, 0.0)
            for name, model in self.models.items()
            if name in reading.curves
            for metric, value in model.measured(reading.curves[name]).items()
        }
        return replace(reading, values={**reading.values, **extra}) if extra else reading

    def to_dict(self) -> dict[str, Any]:
        """Plain values for storage as JSON."""
        return {
            name: {
                "mean": model.mean.tolist(),
                "middle": model.middle,
                "stretch": model.stretch.tolist(),
                "components": model.components.tolist(),
                "spread": model.spread.tolist(),
            }
            for name, model in self.models.items()
        }

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Shape:
        """Read back what `to_dict` gave."""
        return cls(
            {
                name: CurveModel(
                    np.array(m["mean"]),
                    m["middle"],
                    np.array(m["stretch"]),
                    np.array(m["components"]),
                    np.array(m["spread"]),
                )
                for name, m in stored.items()
            }
        )


def learn(readings: Sequence[Reading]) -> tuple[Shape, list[Reading]]:
    """Learn normal curves; the readings come back with their own curves' values.

    Parameters
    ----------
    readings : sequence of Reading
        Cycles of the baseline.

    Notes
    -----
    The values of a baseline cycle are measured against the other cycles, without it: against itself it would
    look better than any later cycle can.

    References
    ----------
    Jackson, J. E., Mudholkar, G. S. (1979), Control procedures for residuals associated with principal
    component analysis, Technometrics 21, 341-349 (from memory). Limits here come from the charts of the two
    statistics.

    Examples
    --------
    >>> grid = np.linspace(-4, 4, 81)
    >>> curves = [1 / (1 + np.exp(-grid * (2 + 0.05 * np.sin(7.0 * i)))) for i in range(12)]
    >>> shape, _ = learn([Reading(i, {}, {"wash": curve}) for i, curve in enumerate(curves)])
    >>> sorted(shape.models)
    ['wash']
    """
    names = sorted({name for reading in readings for name in reading.curves})
    models: dict[str, CurveModel] = {}
    extra: list[dict[str, Estimate]] = [{} for _ in readings]
    for name in names:
        having = [i for i, reading in enumerate(readings) if name in reading.curves]
        curves = [np.asarray(readings[i].curves[name], float) for i in having]
        model = _model(curves) if len(curves) >= _MIN_CURVES and len({c.shape for c in curves}) == 1 else None
        if model is None:
            continue
        models[name] = model
        for i, own in zip(having, range(len(curves)), strict=True):
            others = _model(curves[:own] + curves[own + 1 :])
            for metric, value in others.measured(curves[own]).items() if others else ():
                extra[i][f"{name}/{metric}"] = Estimate(value, 0.0)
    rows = [replace(r, values={**r.values, **e}) for r, e in zip(readings, extra, strict=True)]
    return Shape(models), rows


def _model(curves: Sequence[Floats]) -> CurveModel | None:
    middles = [middle for curve in curves if (middle := _middle(curve)) is not None]
    if len(middles) < len(curves):
        return None
    middle = round(float(np.median(middles)), _DECIMALS)
    laid = np.array([_laid_over(curve, middle, len(curve)) for curve in curves])
    mean = np.median(laid, axis=0)
    stretch = (np.arange(len(mean)) - middle) * np.gradient(mean)
    stretch = stretch / np.linalg.norm(stretch)
    rest = laid - mean
    rest = rest - np.outer(rest @ stretch, stretch)
    centred = rest - rest.mean(0)
    _, size, ways = np.linalg.svd(centred, full_matrices=False)
    spread = size[:COMPONENTS] / np.sqrt(len(curves) - 1)
    rounded = [np.round(part, _DECIMALS) for part in (mean, stretch, ways[:COMPONENTS])]
    return CurveModel(rounded[0], middle, rounded[1], rounded[2], np.maximum(np.round(spread, 12), 1e-9))


def _middle(curve: Floats) -> float | None:
    """Where a rising curve first passes 50 %, between grid points."""
    if not np.isfinite(curve).all():
        return None
    above = curve >= 0.5
    index = int(above.argmax())
    if index == 0 or not above[index]:
        return None
    return index - 1 + float((0.5 - curve[index - 1]) / (curve[index] - curve[index - 1]))


def _laid_over(curve: Floats, middle: float, size: int) -> Floats | None:
    """The curve shifted so that it passes 50 % at `middle`."""
    own = _middle(curve) if len(curve) == size else None
    if own is None:
        return None
    grid = np.arange(size)
    laid: Floats = np.interp(grid + (own - middle), grid, curve)
    return laid
